/// Vectors of three and matrices of three by three, in double and by value: the little geometry that measuring needs.
/// Pictures use cglm, in float; larger linear algebra is GSL's.

#ifndef RLV_VECTOR_H
#define RLV_VECTOR_H

#include <math.h>

typedef struct rlv_vec3
{
    double x, y, z;
} rlv_vec3;

/// Row-major: m[3 * row + column]. Acts on column vectors.
typedef struct rlv_mat3
{
    double m[9];
} rlv_mat3;

static inline rlv_vec3 rlv_vec3_of(double x, double y, double z)
{
    return (rlv_vec3){x, y, z};
}

/// A double as a float holds it, by splitting (T. J. Dekker, Numer. Math. 18, 1971), up to 1e29 in size. A conversion
/// there and back is left out by a compiler in common use where it works on several at once (GCC 12 from -O2 on).
static inline double rlv_float_rounded(double value)
{
    const double high = 536870913.0 * value; // 2^29 + 1: a double has 29 bits more than a float
    return high - (high - value);
}

static inline rlv_vec3 rlv_vec3_from(const float* at)
{
    return (rlv_vec3){(double)at[0], (double)at[1], (double)at[2]};
}

static inline rlv_vec3 rlv_vec3_add(rlv_vec3 a, rlv_vec3 b)
{
    return (rlv_vec3){a.x + b.x, a.y + b.y, a.z + b.z};
}

static inline rlv_vec3 rlv_vec3_sub(rlv_vec3 a, rlv_vec3 b)
{
    return (rlv_vec3){a.x - b.x, a.y - b.y, a.z - b.z};
}

static inline rlv_vec3 rlv_vec3_scale(rlv_vec3 a, double factor)
{
    return (rlv_vec3){a.x * factor, a.y * factor, a.z * factor};
}

/// a + factor * b
static inline rlv_vec3 rlv_vec3_along(rlv_vec3 a, double factor, rlv_vec3 b)
{
    return (rlv_vec3){a.x + factor * b.x, a.y + factor * b.y, a.z + factor * b.z};
}

static inline double rlv_vec3_dot(rlv_vec3 a, rlv_vec3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static inline rlv_vec3 rlv_vec3_cross(rlv_vec3 a, rlv_vec3 b)
{
    return (rlv_vec3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

static inline double rlv_vec3_length(rlv_vec3 a)
{
    return sqrt(rlv_vec3_dot(a, a));
}

/// `a` at length one; the zero vector stays zero.
static inline rlv_vec3 rlv_vec3_unit(rlv_vec3 a)
{
    double length = rlv_vec3_length(a);
    return length > 0.0 ? rlv_vec3_scale(a, 1.0 / length) : (rlv_vec3){0.0, 0.0, 0.0};
}

/// A unit vector square to `a`, which has length one: the coordinate axis most square to it, made so in full.
static inline rlv_vec3 rlv_vec3_across(rlv_vec3 a)
{
    const double x = fabs(a.x), y = fabs(a.y), z = fabs(a.z);
    const rlv_vec3 far = x <= y && x <= z ? rlv_vec3_of(1, 0, 0) : y <= z ? rlv_vec3_of(0, 1, 0) : rlv_vec3_of(0, 0, 1);
    return rlv_vec3_unit(rlv_vec3_along(far, -rlv_vec3_dot(far, a), a));
}

static inline rlv_mat3 rlv_mat3_of_columns(rlv_vec3 a, rlv_vec3 b, rlv_vec3 c)
{
    return (rlv_mat3){{a.x, b.x, c.x, a.y, b.y, c.y, a.z, b.z, c.z}};
}

static inline rlv_vec3 rlv_mat3_column(rlv_mat3 a, int column)
{
    return (rlv_vec3){a.m[column], a.m[3 + column], a.m[6 + column]};
}

static inline rlv_mat3 rlv_mat3_identity(void)
{
    return (rlv_mat3){{1, 0, 0, 0, 1, 0, 0, 0, 1}};
}

static inline rlv_vec3 rlv_mat3_apply(rlv_mat3 a, rlv_vec3 v)
{
    return (rlv_vec3){a.m[0] * v.x + a.m[1] * v.y + a.m[2] * v.z, a.m[3] * v.x + a.m[4] * v.y + a.m[5] * v.z,
                      a.m[6] * v.x + a.m[7] * v.y + a.m[8] * v.z};
}

/// v' C v of a covariance, row by row: the variance along a unit vector. Not below zero.
static inline double rlv_variance_along(const double covariance[9], rlv_vec3 v)
{
    const double at[3] = {v.x, v.y, v.z};
    double sum = 0.0;
    for (int k = 0; k < 9; k++)
        sum += at[k / 3] * covariance[k] * at[k % 3];
    return fmax(sum, 0.0);
}

static inline rlv_mat3 rlv_mat3_transpose(rlv_mat3 a)
{
    return (rlv_mat3){{a.m[0], a.m[3], a.m[6], a.m[1], a.m[4], a.m[7], a.m[2], a.m[5], a.m[8]}};
}

static inline rlv_mat3 rlv_mat3_multiply(rlv_mat3 a, rlv_mat3 b)
{
    rlv_mat3 c;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            c.m[3 * i + j] = a.m[3 * i] * b.m[j] + a.m[3 * i + 1] * b.m[3 + j] + a.m[3 * i + 2] * b.m[6 + j];
    return c;
}

#endif
