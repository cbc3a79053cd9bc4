#include "cholesky.h"

#include <criterion/criterion.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>

/// A Gaussian covariance along a line with a nugget of its own: positive definite, of condition about 1e3.
static void fill(size_t n, double* v)
{
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            v[n * i + j] = (i == j ? 0.02 : 0.0) + exp(-0.02 * pow((double)i - (double)j, 2));
}

Test(cholesky, factor_is_the_reference_librarys)
{
    const size_t sizes[] = {1, 2, 3, 4, 5, 7, 8, 64, 361};
    for (size_t s = 0; s < sizeof sizes / sizeof *sizes; s++)
    {
        const size_t n = sizes[s];
        double *own = malloc(n * n * sizeof *own), *theirs = malloc(n * n * sizeof *theirs);
        fill(n, own);
        fill(n, theirs);
        gsl_matrix_view view = gsl_matrix_view_array(theirs, n, n);
        gsl_linalg_cholesky_decomp1(&view.matrix);
        rlv_cholesky(n, own);
        // Backward stable: off by n roundings, times a condition of about 1000.
        const double tolerance = 1e3 * (double)n * 2.2e-16;
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j <= i; j++)
                cr_assert(fabs(own[n * i + j] - theirs[n * i + j]) <= tolerance, "%zu rows: (%zu, %zu)", n, i, j);
        free(own);
        free(theirs);
    }
}

Test(cholesky, what_lies_above_the_diagonal_is_left_alone)
{
    double v[4] = {4.0, NAN, 2.0, 5.0};
    rlv_cholesky(2, v);
    cr_assert_eq(v[0], 2.0);
    cr_assert(isnan(v[1]));
    cr_assert_eq(v[2], 1.0);
    cr_assert_eq(v[3], 2.0);
}

Test(cholesky, matrix_that_is_not_positive_definite_has_no_factor)
{
    double v[4] = {1.0, 0.0, 2.0, 1.0};
    rlv_cholesky(2, v);
    cr_assert(isnan(v[3]));
}
