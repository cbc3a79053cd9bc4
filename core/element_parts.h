/// What the files behind element.h share.

#ifndef RLV_ELEMENT_PARTS_H
#define RLV_ELEMENT_PARTS_H

#include "element.h"

#define RLV_ELEMENT_POINTS 64                       ///< of a part's border, at most
#define RLV_ELEMENT_LIMIT_RAD (20.0 * M_PI / 180.0) ///< beyond it first order says little, and an axis as little
#define RLV_ELEMENT_ANY_TURN (M_PI * M_PI / 3.0)    ///< variance of an even turn

/// A 95 % interval about `value`.
static inline rlv_interval rlv_element_interval(double value, double sd)
{
    return (rlv_interval){value, value - 1.959964 * sd, value + 1.959964 * sd};
}

/// The longest border of a part as an outline of `*count` points; 0 where it has none. `point` holds
/// RLV_ELEMENT_POINTS.
rlv_status rlv_element_border(rlv_placed_point* point, size_t* count, const rlv_element_part* part, rlv_error* error);

/// Measure a part that has no border: it shows on both sides.
rlv_status rlv_element_solid(rlv_element* element, const rlv_element_part* part, rlv_error* error);

static inline rlv_vec3 rlv_element_axis(const rlv_element* element, int k)
{
    return rlv_vec3_of(element->frame[k], element->frame[3 + k], element->frame[6 + k]);
}

/// m C mT, row-major.
static inline void rlv_element_turn_cov(double cov[9], rlv_mat3 m, const double of[9])
{
    rlv_mat3 c;
    for (int k = 0; k < 9; k++)
        c.m[k] = of[k];
    c = rlv_mat3_multiply(rlv_mat3_multiply(m, c), rlv_mat3_transpose(m));
    for (int k = 0; k < 9; k++)
        cov[k] = 0.5 * (c.m[k] + c.m[3 * (k % 3) + k / 3]);
}

#endif
