#include "smoother.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <gsl/gsl_linalg.h>
#include <stdlib.h>
#include <string.h>

enum
{
    ROWS = 3,
    SLOTS = 27,
    KNOTS = 7,
};

static const size_t first[ROWS + 1] = {0, 8, 17, 27};

/// A smoother that is kept small enough for its normal matrix to be written out.
typedef struct small_one
{
    rlv_smoother of;
    double u[SLOTS], fine[ROWS], step[SLOTS], weight[SLOTS], sum[SLOTS];
    bool gap[SLOTS], shaped[SLOTS];
    rlv_smoother_penalty penalty;
    size_t size;
    gsl_matrix *normal, *design; ///< of g, f and h in turn; what they make of the values
} small_one;

/// Slots that are shaped, where some are: a part of the second row, and all of the third.
static bool is_shaped(size_t slot)
{
    return (slot >= 10 && slot < 15) || slot >= first[2];
}

static void make_small(small_one* s, bool walk, size_t knots, size_t order, bool shaped)
{
    scan_random random = {7};
    rlv_error error = {0};
    *s = (small_one){.penalty = {.own = 3.0, .shared = 0.7, .walk = 2.0, .shaped = 5.0}};
    for (size_t r = 0; r < ROWS; r++)
    {
        s->fine[r] = 0.7 + 0.3 * (double)r;
        for (size_t i = first[r]; i < first[r + 1]; i++)
        {
            s->u[i] = 5.0 * (double)r + (double)(i - first[r]) * 3.0 + scan_random_unit(&random);
            s->step[i] = 0.5 + scan_random_unit(&random);
            s->weight[i] = i % 5 == 3 ? 0.0 : 0.5 + scan_random_unit(&random);
            s->sum[i] = s->weight[i] * scan_random_normal(&random);
        }
    }
    s->gap[11] = true;
    for (size_t i = 0; i < SLOTS; i++)
        s->shaped[i] = shaped && is_shaped(i);
    cr_assert_eq(rlv_smoother_lay(&s->of, ROWS, first, s->u, s->fine, walk ? s->step : NULL, order, knots, s->gap,
                                  s->shaped, &error),
                 RLV_DONE);
    rlv_smoother_factor(&s->of, s->weight, s->penalty);
}

static void penalise(gsl_matrix* m, const size_t* at, size_t order, double penalty)
{
    static const double term[4][4] = {{1}, {-1, 1}, {1, -2, 1}, {-1, 3, -3, 1}};
    for (size_t a = 0; a <= order; a++)
        for (size_t b = 0; b <= order; b++)
            *gsl_matrix_ptr(m, at[a], at[b]) += penalty * term[order][a] * term[order][b];
}

/// The normal matrix as the header states the model, g first, then f, then h.
/// Differences of g in a row with shaped slots: of second order within these, else of third, one for each slot more.
static void penalise_shaped(small_one* s, size_t row)
{
    const double own = s->penalty.own * pow(s->fine[row], 5.0), told = s->penalty.shaped * pow(s->fine[row], 3.0);
    for (size_t i = first[row]; i + 2 < first[row + 1]; i++)
    {
        const size_t g[4] = {i, i + 1, i + 2, i + 3};
        const bool within = s->shaped[i] && s->shaped[i + 2], before = !s->shaped[i] && i < first[row] + 2;
        if (within)
            penalise(s->normal, g, 2, told);
        if (before)
            penalise(s->normal, g, 3, own);
        if (s->shaped[i] && i + 3 < first[row + 1] && !s->shaped[i + 3])
            penalise(s->normal, g, 3, own);
    }
}

static void write_out(small_one* s, bool walk, size_t knots, size_t order, bool shaped)
{
    s->size = SLOTS + knots + (walk ? SLOTS : 0);
    s->normal = gsl_matrix_calloc(s->size, s->size);
    s->design = gsl_matrix_calloc(SLOTS, s->size);
    for (size_t i = 0; i < SLOTS; i++)
    {
        gsl_matrix_set(s->design, i, i, 1.0);
        for (size_t a = 0; a < 4 && knots > 0; a++)
            gsl_matrix_set(s->design, i, SLOTS + s->of.knot[i] + a, s->of.basis[4 * i + a]);
        if (walk)
            gsl_matrix_set(s->design, i, SLOTS + knots + i, 1.0);
    }
    for (size_t i = 0; i < s->size; i++)
        gsl_matrix_set(s->normal, i, i, 1e-6); // the ridge
    for (size_t i = 0; i < SLOTS; i++)
        for (size_t a = 0; a < s->size; a++)
            for (size_t b = 0; b < s->size; b++)
                *gsl_matrix_ptr(s->normal, a, b) +=
                    s->weight[i] * gsl_matrix_get(s->design, i, a) * gsl_matrix_get(s->design, i, b);
    for (size_t r = 0; r < ROWS; r++)
        for (size_t i = first[r]; i + 1 < first[r + 1]; i++)
        {
            const size_t g[4] = {i, i + 1, i + 2, i + 3}, h[2] = {SLOTS + knots + i, SLOTS + knots + i + 1};
            if (i + order < first[r + 1] && (r == 0 || !shaped))
                penalise(s->normal, g, order, s->penalty.own * pow(s->fine[r], 2.0 * (double)order - 1.0));
            if (walk && !s->gap[i])
                penalise(s->normal, h, 1, s->penalty.walk / pow(s->step[i], 2.0));
        }
    for (size_t r = 1; r < ROWS && shaped; r++)
        penalise_shaped(s, r);
    for (size_t k = 0; k + (shaped ? 2 : 3) < knots; k++)
        penalise(s->normal, (size_t[]){SLOTS + k, SLOTS + k + 1, SLOTS + k + 2, SLOTS + k + 3}, shaped ? 2 : 3,
                 s->penalty.shared);
}

static void free_small(small_one* s)
{
    rlv_smoother_free(&s->of);
    gsl_matrix_free(s->normal);
    gsl_matrix_free(s->design);
}

/// Rounding: the condition is a ridge of 1e-6 against entries of some tens, 1e8, times 1e-16, times what adds up.
static const double ROUNDING = 1e-6;

static void hold_against_dense(bool walk, size_t knots, size_t order, bool shaped)
{
    small_one s;
    make_small(&s, walk, knots, order, shaped);
    write_out(&s, walk, knots, order, shaped);
    gsl_matrix* inverse = gsl_matrix_alloc(s.size, s.size);
    gsl_matrix_memcpy(inverse, s.normal);
    gsl_linalg_cholesky_decomp1(inverse);
    double fitted[SLOTS], variance[SLOTS], block[SLOTS * SLOTS], explained = 0.0;
    gsl_linalg_cholesky_invert(inverse);
    // What the penalty alone has is left out of the other side.
    rlv_smoother_penalty one = {1.0, 1.0, 1.0, 1.0};
    double of_penalty = rlv_smoother_log_det(&s.of, one) - rlv_smoother_log_det(&s.of, s.penalty), expected = 0.0;
    for (size_t r = 0; r < ROWS; r++)
        expected += (shaped && r == 1   ? 4.0 * log(s.penalty.own) + 3.0 * log(s.penalty.shaped)
                     : shaped && r == 2 ? 8.0 * log(s.penalty.shaped)
                                        : (double)(first[r + 1] - first[r] - order) * log(s.penalty.own)) +
                    (walk ? (double)(first[r + 1] - first[r] - 1) * log(s.penalty.walk) : 0.0);
    expected += (walk ? -log(s.penalty.walk) : 0.0) +
                (knots > 0 ? (double)(knots - (shaped ? 2 : 3)) * log(s.penalty.shared) : 0.0);
    cr_expect_float_eq(of_penalty, expected, 1e-9);
    const double told = rlv_smoother_fit(&s.of, s.sum, fitted, NULL);
    rlv_smoother_variances(&s.of, variance);
    double whole[SLOTS][SLOTS];
    for (size_t i = 0; i < SLOTS; i++)
        for (size_t j = 0; j < SLOTS; j++)
        {
            whole[i][j] = 0.0;
            for (size_t a = 0; a < s.size; a++)
                for (size_t b = 0; b < s.size; b++)
                    whole[i][j] +=
                        gsl_matrix_get(s.design, i, a) * gsl_matrix_get(inverse, a, b) * gsl_matrix_get(s.design, j, b);
        }
    for (size_t i = 0; i < SLOTS; i++)
    {
        double value = 0.0;
        for (size_t j = 0; j < SLOTS; j++)
            value += whole[i][j] * s.sum[j];
        explained += value * s.sum[i];
        cr_expect_float_eq(fitted[i], value, ROUNDING);
        cr_expect_float_eq(variance[i], whole[i][i], ROUNDING * whole[i][i]);
    }
    cr_expect_float_eq(told, explained, ROUNDING);
    for (size_t r = 0; r < ROWS; r++)
    {
        const size_t n = first[r + 1] - first[r];
        rlv_smoother_spread(&s.of, r, block);
        for (size_t i = 0; i < n * n; i++)
            cr_expect_float_eq(block[i], whole[first[r] + i / n][first[r] + i % n], ROUNDING * variance[first[r]]);
    }
    gsl_matrix_free(inverse);
    free_small(&s);
}

Test(smoother, fits_and_covariances_are_those_of_the_normal_matrix_written_out)
{
    hold_against_dense(true, KNOTS, 3, false);
    hold_against_dense(false, KNOTS, 2, false);
    hold_against_dense(false, 0, 2, false);
    hold_against_dense(true, 0, 3, false);
}

Test(smoother, rows_whose_shape_is_told_are_those_of_the_normal_matrix_written_out)
{
    hold_against_dense(true, KNOTS, 3, true);
    hold_against_dense(true, 0, 3, true);
}

/// log det of the normal matrix as the smoother has it: that of weights and penalties, less that of penalties.
Test(smoother, the_determinant_is_that_of_the_normal_matrix_written_out)
{
    small_one s, t;
    make_small(&s, true, KNOTS, 3, false);
    write_out(&s, true, KNOTS, 3, false);
    gsl_linalg_cholesky_decomp1(s.normal);
    double expected = 0.0;
    for (size_t i = 0; i < s.size; i++)
        expected += 2.0 * log(gsl_matrix_get(s.normal, i, i));
    make_small(&t, true, KNOTS, 3, false);
    for (size_t i = 0; i < SLOTS; i++)
        t.weight[i] *= 2.0;
    rlv_smoother_factor(&t.of, t.weight, t.penalty);
    write_out(&t, true, KNOTS, 3, false);
    gsl_linalg_cholesky_decomp1(t.normal);
    for (size_t i = 0; i < t.size; i++)
        expected -= 2.0 * log(gsl_matrix_get(t.normal, i, i));
    cr_expect_float_eq(rlv_smoother_log_det(&s.of, s.penalty) - rlv_smoother_log_det(&t.of, t.penalty), expected,
                       ROUNDING);
    free_small(&s);
    free_small(&t);
}
