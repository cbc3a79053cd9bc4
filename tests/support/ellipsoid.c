#include "ellipsoid.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <string.h>

double ellipsoid_distance(size_t count, const double off[7], const double covariance[49])
{
    double factor[49], solved[7], square;
    memcpy(factor, covariance, sizeof factor);
    memcpy(solved, off, count * sizeof *solved);
    gsl_matrix_view c = gsl_matrix_view_array_with_tda(factor, count, count, 7);
    gsl_vector_view d = gsl_vector_view_array(solved, count);
    gsl_linalg_cholesky_decomp1(&c.matrix);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &c.matrix, &d.vector);
    gsl_blas_ddot(&d.vector, &d.vector, &square);
    return square;
}
