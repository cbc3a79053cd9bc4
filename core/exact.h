/// Exact signs of small determinants of float coordinates: a filter in double, and an exact sum where it cannot tell.
/// After J. R. Shewchuk, Adaptive precision floating-point arithmetic and fast robust geometric predicates, Discrete &
/// Computational Geometry 18, 1997: the error bound of orient2d is section 4's, the exact sum grows an expansion
/// (section 2.4).

#ifndef RLV_EXACT_H
#define RLV_EXACT_H

#include <math.h>

/// The sign (-1, 0, 1) of the exact sum of six doubles.
static inline int rlv_exact_sign_of_six(const double term[6])
{
    double part[6]; // a nonoverlapping expansion, growing in magnitude
    for (int i = 0; i < 6; i++)
    {
        double carry = term[i];
        for (int j = 0; j < i; j++)
        {
            double sum = carry + part[j], virtual_part = sum - carry;
            part[j] = (carry - (sum - virtual_part)) + (part[j] - virtual_part);
            carry = sum;
        }
        part[i] = carry;
    }
    for (int i = 5; i >= 0; i--)
        if (part[i] != 0.0)
            return part[i] > 0.0 ? 1 : -1;
    return 0;
}

/// On which side of the line from a to b the point c lies, in the plane: 1 left, -1 right, 0 on it. Exact for numbers
/// that are floats: their products are exact in double.
static inline int rlv_exact_side(double ax, double ay, double bx, double by, double cx, double cy)
{
    double left = (ax - cx) * (by - cy), right = (ay - cy) * (bx - cx), side = left - right;
    double bound = 3.3306690738754716e-16 * (fabs(left) + fabs(right)); // (3 + 16 u) u, u = 2^-53
    if (side > bound)
        return 1;
    if (side < -bound)
        return -1;
    const double term[6] = {ax * by, -ay * bx, bx * cy, -by * cx, cx * ay, -cy * ax};
    return rlv_exact_sign_of_six(term);
}

/// Whether three points, each of three floats, lie on one line (or in one place).
static inline int rlv_exact_on_a_line(const float* a, const float* b, const float* c)
{
    for (int i = 0; i < 3; i++)
    {
        int j = (i + 1) % 3;
        if (rlv_exact_side((double)a[i], (double)a[j], (double)b[i], (double)b[j], (double)c[i], (double)c[j]) != 0)
            return 0;
    }
    return 1;
}

#endif
