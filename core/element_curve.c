#include "element_curve.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <stdlib.h>

enum
{
    LEAST = 9,
    HARMONICS = 4,
    TERMS = 2 * HARMONICS + 1,
    STEPS = 200, ///< of an integral
};

#define STIFFNESS 1e-4 ///< weighs the penalty: the fourth harmonic is held by four tenths of what the points weigh

static void terms(double row[TERMS], double turn)
{
    row[0] = 1.0;
    for (int k = 1; k <= HARMONICS; k++)
    {
        row[2 * k - 1] = cos(k * turn);
        row[2 * k] = sin(k * turn);
    }
}

/// Share of the way round at which each point lies, as an angle.
static void arc_angles(double* turn, size_t count, const rlv_vec3* at)
{
    double whole = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        turn[i] = whole;
        whole += rlv_vec3_length(rlv_vec3_sub(at[(i + 1) % count], at[i]));
    }
    for (size_t i = 0; i < count; i++)
        turn[i] *= 2.0 * M_PI / whole;
}

/// Solve for one point after another what it adds to each term: `share` has TERMS rows of `count`.
static void solve(double* share, size_t count, const double* turn, const double* sd)
{
    double normal[TERMS * TERMS] = {0.0}, row[TERMS], weights = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        terms(row, turn[i]);
        const double weight = 1.0 / (sd[i] * sd[i]);
        weights += weight;
        for (int a = 0; a < TERMS; a++)
        {
            share[(size_t)a * count + i] = weight * row[a];
            for (int b = 0; b < TERMS; b++)
                normal[TERMS * a + b] += weight * row[a] * row[b];
        }
    }
    for (int a = 1; a < TERMS; a++)
        normal[(TERMS + 1) * a] += STIFFNESS * pow((a + 1) / 2, 6.0) * 0.5 * weights;
    gsl_matrix_view matrix = gsl_matrix_view_array(normal, TERMS, TERMS);
    gsl_linalg_cholesky_decomp1(&matrix.matrix);
    for (size_t i = 0; i < count; i++)
    {
        gsl_vector_view one = gsl_vector_view_array_with_stride(share + i, count, TERMS);
        gsl_linalg_cholesky_svx(&matrix.matrix, &one.vector);
    }
}

/// The points as the curve has them; their chi-square against it, and its degrees of freedom.
static double smooth(rlv_vec3* on, double* freedom, const double* share, size_t count, const double* turn,
                     const rlv_vec3* at, const double* sd)
{
    double chi_square = 0.0, row[TERMS];
    *freedom = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        terms(row, turn[i]);
        on[i] = at[0];
        for (size_t k = 0; k < count; k++)
        {
            double weight = 0.0;
            for (int a = 0; a < TERMS; a++)
                weight += row[a] * share[(size_t)a * count + k];
            on[i] = rlv_vec3_along(on[i], weight, rlv_vec3_sub(at[k], at[0]));
            *freedom += k == i ? 3.0 * (1.0 - weight) : 0.0;
        }
        const rlv_vec3 off = rlv_vec3_sub(at[i], on[i]);
        chi_square += rlv_vec3_dot(off, off) / (sd[i] * sd[i]);
    }
    // Along the curve a point has nothing to say: its place there set its angle. One in three is gone.
    *freedom *= 2.0 / 3.0;
    return chi_square;
}

rlv_status rlv_element_curve_fit(rlv_element_curve* curve, size_t count, const rlv_vec3* at, const double* sd,
                                 rlv_error* error)
{
    *curve = (rlv_element_curve){.birge = 1.0};
    curve->smooth = rlv_reserve(count, sizeof *curve->smooth, error);
    double* share = rlv_reserve(TERMS * count, sizeof *share, error);
    double* turn = rlv_reserve(count, sizeof *turn, error);
    const bool room = share != NULL && turn != NULL && curve->smooth != NULL;
    if (room && count >= LEAST)
    {
        double freedom;
        arc_angles(turn, count, at);
        solve(share, count, turn, sd);
        const double chi_square = smooth(curve->smooth, &freedom, share, count, turn, at, sd);
        curve->fits = gsl_cdf_chisq_Q(chi_square, freedom) >= 0.05;
        curve->birge = curve->fits ? 1.0 : sqrt(chi_square / freedom);
    }
    for (size_t i = 0; room && !curve->fits && i < count; i++)
        curve->smooth[i] = at[i];
    free(share);
    free(turn);
    return room ? RLV_DONE : RLV_SYSTEM;
}

void rlv_element_curve_free(rlv_element_curve* curve)
{
    free(curve->smooth);
    *curve = (rlv_element_curve){0};
}

rlv_extreme rlv_extreme_of(size_t count, const rlv_vec3* at, const double* sd, rlv_vec3 axis, double sense)
{
    double top = -INFINITY, widest = 0.0, below = 0.0, square = 0.0;
    rlv_extreme end = {0};
    for (size_t i = 0; i < count; i++)
    {
        const double along = sense * rlv_vec3_dot(rlv_vec3_sub(at[i], at[0]), axis);
        end.point_variance_mm2 = along > top ? sd[i] * sd[i] : end.point_variance_mm2;
        top = fmax(top, along);
        widest = fmax(widest, sd[i]);
    }
    // From six sds below the outermost place to six above: sums of the distribution's steps.
    for (int step = 0; step <= STEPS; step++)
    {
        const double x = 12.0 * widest * ((double)step / STEPS - 0.5);
        double under = 1.0;
        for (size_t i = 0; i < count; i++)
            under *= gsl_cdf_ugaussian_P((top + x - sense * rlv_vec3_dot(rlv_vec3_sub(at[i], at[0]), axis)) / sd[i]);
        const double middle = x - 6.0 * widest / STEPS;
        end.push_mm += (under - below) * middle;
        square += (under - below) * middle * middle;
        below = under;
    }
    end.variance_mm2 = fmax(square - end.push_mm * end.push_mm, 0.0);
    return end;
}
