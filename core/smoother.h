/// A smoother of rows: one value a place, smooth along each row, with a smooth part that all rows share.
///
///     y_i = f(u_s) + g_s + h_s + e_i,  s the place (slot) of i,  e_i ~ N(0, phi / w_i),
///
/// g_s one coefficient a slot, second differences along its row penalised by `own` (over the row's factor); f, where
/// there is one, a cubic spline at even knots along u, third differences penalised by `shared`; h, where there is one,
/// a walk whose steps are penalised by `walk` (over the row's factor to the power two thirds: a step in proportion to
/// the pitch). As a mixed model (D. Ruppert, M. P. Wand, R. J. Carroll, Semiparametric Regression, 2003) the penalties
/// are ratios of variances: they are chosen by restricted likelihood, and phi times the inverse of the normal matrix is
/// the covariance of what is not known, bias of smoothing included. Unknowns are ordered along u, so that the normal
/// matrix is a band; GSL factors it.

#ifndef RLV_SMOOTHER_H
#define RLV_SMOOTHER_H

#include "error.h"

#include <gsl/gsl_matrix.h>
#include <stdbool.h>

typedef struct rlv_smoother
{
    size_t rows, slots, knots; ///< knots: coefficients of f; 0 where nothing is shared
    bool walk;                 ///< whether rows walk
    size_t size;               ///< unknowns: slots + knots, and slots again where rows walk
    size_t band;
    size_t* first; ///< rows + 1: a row's slots are first[r] up to first[r + 1]
    double* stiff; ///< one a row: its penalty is `own` times this
    size_t* order; ///< one an unknown (g, f, h): its place in the band
    size_t* knot;  ///< one a slot: first of its four coefficients of f
    double* basis; ///< four a slot
    gsl_matrix* factor;
    gsl_vector* room;
    double* plain; ///< size: right-hand sides
} rlv_smoother;

/// Penalties, as ratios to the weights.
typedef struct rlv_smoother_penalty
{
    double own, shared, walk;
} rlv_smoother_penalty;

/// Lay a smoother for rows whose slots begin at `first` (rows + 1 offsets; copied) at places `u` (one a slot, rising in
/// a row), with `stiff` a row and `knots` (0, or 4 and more) coefficients shared. Free with rlv_smoother_free, safe
/// after a failure.
rlv_status rlv_smoother_lay(rlv_smoother* smoother, size_t rows, const size_t* first, const double* u,
                            const double* stiff, size_t knots, bool walk, rlv_error* error);
void rlv_smoother_free(rlv_smoother* smoother);

/// Factor the normal matrix for the sum of weights of each slot.
void rlv_smoother_factor(rlv_smoother* smoother, const double* weight, rlv_smoother_penalty penalty);

/// After factoring: fit. `sum` is the weighted sum of y in each slot. `value` gets f + g + h of each slot, `shared`
/// (may be NULL) f alone. Returns sum' c, what the fit explains of the weighted squares.
double rlv_smoother_fit(rlv_smoother* smoother, const double* sum, double* value, double* shared);

/// After factoring: the covariance over phi of the values of the slots of each row: a block of n_r * n_r for each, row
/// by row.
void rlv_smoother_spread(rlv_smoother* smoother, double* block);
size_t rlv_smoother_spread_size(const rlv_smoother* smoother);

/// Part of minus twice the log of the restricted likelihood that penalties and weights bring: log det of the normal
/// matrix less that of the penalty. After factoring.
double rlv_smoother_log_det(const rlv_smoother* smoother, rlv_smoother_penalty penalty);

/// Degrees of freedom that polynomials without penalty take.
double rlv_smoother_free_terms(const rlv_smoother* smoother);

#endif
