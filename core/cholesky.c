#include "cholesky.h"

#include "each_width.h"

#include <math.h>
#include <string.h>

enum
{
    WIDE = 4, // partial sums of a dot product, and rows that share what is loaded for one
};

typedef double wide __attribute__((vector_size(WIDE * sizeof(double))));

#define INLINE static inline __attribute__((always_inline))

INLINE wide load(const double* at)
{
    wide value;
    memcpy(&value, at, sizeof value);
    return value;
}

INLINE double sum_of(wide a)
{
    return (a[0] + a[1]) + (a[2] + a[3]);
}

INLINE double dot(size_t count, const double* a, const double* b)
{
    wide sum = {0};
    size_t k = 0;
    for (; k + WIDE <= count; k += WIDE)
        sum += load(a + k) * load(b + k);
    double whole = sum_of(sum);
    for (; k < count; k++)
        whole += a[k] * b[k];
    return whole;
}

/// Dot products of a row with WIDE others, `apart` from each other. `count` is a multiple of WIDE.
INLINE void dots(size_t count, const double* row, const double* other, size_t apart, double product[WIDE])
{
    wide sum[WIDE] = {{0}};
    for (size_t k = 0; k < count; k += WIDE)
    {
        const wide own = load(row + k);
        for (size_t m = 0; m < WIDE; m++)
            sum[m] += own * load(other + m * apart + k);
    }
    for (size_t m = 0; m < WIDE; m++)
        product[m] = sum_of(sum[m]);
}

EACH_WIDTH void rlv_cholesky(size_t count, double* matrix)
{
    for (size_t i = 0; i < count; i++)
    {
        double* row = matrix + count * i;
        size_t j = 0;
        for (; j + WIDE <= i; j += WIDE)
        {
            double product[WIDE];
            dots(j, row, matrix + count * j, count, product);
            for (size_t m = j; m < j + WIDE; m++)
            {
                double left = row[m] - product[m - j];
                for (size_t k = j; k < m; k++)
                    left -= row[k] * matrix[count * m + k];
                row[m] = left / matrix[(count + 1) * m];
            }
        }
        for (; j < i; j++)
            row[j] = (row[j] - dot(j, row, matrix + count * j)) / matrix[(count + 1) * j];
        row[i] = sqrt(row[i] - dot(i, row, row));
    }
}
