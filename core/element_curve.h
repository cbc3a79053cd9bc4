/// The smooth closed curve that an element's outline is consistent with, if it is, and what noise does to the outline's
/// extremes.
///
/// The curve has four harmonics over arc length, with a penalty on the third derivative, so that a gap between points
/// is bridged and not filled with waves. It is no better an outline (it cuts corners): it tells whether the points are
/// as rough as their sds say, and how closely they crowd at an end, for the outermost of many noisy points lies farther
/// out than any of them truly does.

#ifndef RLV_ELEMENT_CURVE_H
#define RLV_ELEMENT_CURVE_H

#include "error.h"
#include "vector.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct rlv_element_curve
{
    bool fits;        ///< the points lie off it by no more than their sds allow
    double birge;     ///< 1, or where they do not: how many times more
    rlv_vec3* smooth; ///< the points as the curve has them, or as they are where it does not fit
} rlv_element_curve;

/// Fit `count` points. Fewer than nine are taken as they are: a person may have marked corners. Free with
/// rlv_element_curve_free, also after a failure.
rlv_status rlv_element_curve_fit(rlv_element_curve* curve, size_t count, const rlv_vec3* at, const double* sd,
                                 rlv_error* error);
void rlv_element_curve_free(rlv_element_curve* curve);

/// Of the outermost of points that are off by their sds along an axis.
typedef struct rlv_extreme
{
    double push_mm;            ///< how much farther out it lies, on the mean, than the outermost place
    double variance_mm2;       ///< of where it lies
    double point_variance_mm2; ///< of one point there alone
} rlv_extreme;

/// By integrating the distribution of the greatest of `count` normal numbers; `sense` -1: of the least.
rlv_extreme rlv_extreme_of(size_t count, const rlv_vec3* at, const double* sd, rlv_vec3 axis, double sense);

#endif
