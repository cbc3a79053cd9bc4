/// A plane through points, and how surely it lies so.
///
/// Least squares across the plane, weighted by the points' sds: the pole is the eigenvector of the least eigenvalue of
/// the weighted second moments, and tilts by first-order perturbation (P. R. Bevington, D. K. Robinson, Data Reduction
/// and Error Analysis for the Physical Sciences, 1992, has the line; the plane is the same twice). Where the points lie
/// off the plane by more than their sds allow (p below 0.05), the covariance is multiplied by chi-square over its
/// degrees of freedom (R. T. Birge, Phys. Rev. 40, 1932): rock is not flat.

#ifndef RLV_PLANE_H
#define RLV_PLANE_H

#include "error.h"
#include "vector.h"

#include <stdbool.h>

/// A point that a person placed.
typedef struct rlv_placed_point
{
    rlv_vec3 at_mm;
    double sd_mm; ///< along each axis; NaN where not given: RLV_SCALE_POINT_SD_MM
} rlv_placed_point;

typedef struct rlv_fitted_plane
{
    rlv_vec3 centre_mm;
    rlv_vec3 pole;      ///< a unit vector of either sense
    double cov_rad2[9]; ///< 3 x 3, row-major: of a small rotation vector applied to the pole; nothing about the pole
    double rms_mm;      ///< root mean square distance of the points from it
    bool inflated;      ///< the points lie off it by more than their sds allow; the covariance is larger by as much
} rlv_fitted_plane;

/// The plane of `count` points, three at least. RLV_BAD_INPUT where there are fewer, one is not finite, an sd is not
/// above zero, or they lie on a line within their sds, or within their scatter where that is greater (the pole would be
/// uncertain by more than 20 degrees).
rlv_status rlv_plane_fit(rlv_fitted_plane* plane, size_t count, const rlv_placed_point* point, rlv_error* error);

/// A plane that was measured: a pole (any length above zero), uncertain by `sd_deg` along each direction that it can
/// tilt in.
rlv_fitted_plane rlv_plane_known(rlv_vec3 pole, double sd_deg);

/// How surely a plane's pole points, along the way that it is least sure in.
double rlv_plane_pole_sd_deg(const rlv_fitted_plane* plane);

/// The sd of a placed point: its own, or RLV_SCALE_POINT_SD_MM.
double rlv_placed_point_sd(const rlv_placed_point* point);

/// Refuse points of which one is not finite or has an sd that is not above zero; it is named by its place, from 1.
rlv_status rlv_placed_points_check(size_t count, const rlv_placed_point* point, rlv_error* error);

#endif
