/// A smoother of rows: one value a place, smooth along each row, with a smooth part that all rows share.
///
///     y_i = f(u_s) + g_s + h_s + e_i,  s the place (slot) of i,  e_i ~ N(0, phi / w_i),
///
/// g_s one coefficient a slot, differences of second or third order along its row penalised by `own`; f, where there is
/// one, a cubic spline at even knots along u, third differences penalised by `shared`; h, where there is one, a walk
/// whose steps are penalised by `walk`. With q a row's fineness (places in the length that has one on the mean of the
/// rows), `own` is times q to the power 2 order - 1, so that one smoothness over length holds for all rows; `walk` is
/// over the square of the length from a place to the next: a step is uneven in proportion to itself. As a mixed model
/// (D. Ruppert, M. P. Wand, R. J. Carroll, Semiparametric Regression, 2003) the penalties are ratios of variances: they
/// are chosen by restricted likelihood, and phi times the inverse of the normal matrix is the covariance of what is not
/// known, bias of smoothing included.
///
/// Given f, rows know nothing of each other: the normal matrix is a band of a few unknowns a row, bordered by the
/// knots, and is factored row by row with what is left on the knots at the end (G. H. Golub, C. F. Van Loan, Matrix
/// Computations, 4th ed. 2013, sections 3.2 and 4.3).

#ifndef RLV_SMOOTHER_H
#define RLV_SMOOTHER_H

#include "error.h"

#include <stdbool.h>

typedef struct rlv_smoother
{
    size_t rows, slots, knots; ///< knots: coefficients of f; 0 where nothing is shared
    size_t order_own;          ///< 2 or 3: differences of g that are penalised
    size_t width;              ///< unknowns of a slot: g, and h where rows walk
    size_t own;                ///< unknowns of all slots, in their order; the knots come after them
    size_t size;               ///< all unknowns
    size_t band;               ///< of the own part, below its diagonal
    size_t order_shared;       ///< differences of f that are penalised: 3, or 2 where some slots are shaped
    const bool* gap;           ///< one a slot, or NULL: the walk's step from it to the next is free. Read at factoring
    bool* shaped;              ///< one a slot: its shape is told from elsewhere
    size_t* first;             ///< rows + 1: a row's slots are first[r] up to first[r + 1]
    double* fine;              ///< one a row: its fineness
    double* step;              ///< one a slot: length to the next; where rows walk
    size_t* knot;              ///< one a slot: first of its four coefficients of f
    double* basis;             ///< four a slot
    double* weight;            ///< one a slot: as last factored
    double* factor;            ///< own * (band + 1): L of the own part by rows, the diagonal last
    double* border;            ///< own * knots: L^-1 of what ties the own part to the knots
    double* left;              ///< knots * knots: the factor of what is left on the knots
    double* room;              ///< size: the solution last found
    double* side;              ///< size: a right-hand side
    double* within;            ///< width * n * n, n the slots of the longest row
    double* block;             ///< n * n
    double* reach;             ///< knots * n
} rlv_smoother;

/// Penalties, as ratios to the weights.
typedef struct rlv_smoother_penalty
{
    double own, shared, walk, shaped;
} rlv_smoother_penalty;

/// Lay a smoother for rows whose slots begin at `first` (rows + 1 offsets; copied) at places `u` (one a slot, rising in
/// a row), with the fineness of each row, the order of the differences of g, and `knots` (0, or 4 and more)
/// coefficients of f. `step` (one a slot, the last of a row unread; NULL: no walk) has lengths to the next place, about
/// one; `gap` (one a slot) is read on; `shaped` (one a slot, three or more side by side in a row that has any; NULL:
/// none) is copied, and goes with an order of 3. Free with rlv_smoother_free, safe after a failure.
rlv_status rlv_smoother_lay(rlv_smoother* smoother, size_t rows, const size_t* first, const double* u,
                            const double* fine, const double* step, size_t order_own, size_t knots, const bool* gap,
                            const bool* shaped, rlv_error* error);
void rlv_smoother_free(rlv_smoother* smoother);

/// Factor the normal matrix for the sum of weights of each slot. What is found of it is not a number where it is not
/// positive definite.
void rlv_smoother_factor(rlv_smoother* smoother, const double* weight, rlv_smoother_penalty penalty);

/// After factoring: fit. `sum` is the weighted sum of y in each slot. `value` gets f + g + h of each slot, `shared`
/// (may be NULL) f alone. Returns sum' c, what the fit explains of the weighted squares.
double rlv_smoother_fit(rlv_smoother* smoother, const double* sum, double* value, double* shared);

/// After factoring: the covariance over phi of the values of the n slots of a row, n * n.
void rlv_smoother_spread(rlv_smoother* smoother, size_t row, double* block);

/// The diagonals of those blocks alone, of all rows: one a slot.
void rlv_smoother_variances(rlv_smoother* smoother, double* variance);

/// Part of minus twice the log of the restricted likelihood that penalties and weights bring: log det of the normal
/// matrix less that of the penalty. After factoring.
double rlv_smoother_log_det(const rlv_smoother* smoother, rlv_smoother_penalty penalty);

/// Degrees of freedom that polynomials without penalty take.
double rlv_smoother_free_terms(const rlv_smoother* smoother);

#endif
