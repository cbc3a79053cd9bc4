#include "plane.h"

#include "directions.h"
#include "scale.h"

#include <gsl/gsl_cdf.h>

#define LIMIT_RAD (20.0 * M_PI / 180.0) ///< beyond it first order says little, and a pole as little

double rlv_placed_point_sd(const rlv_placed_point* point)
{
    return isnan(point->sd_mm) ? RLV_SCALE_POINT_SD_MM : point->sd_mm;
}

rlv_status rlv_placed_points_check(size_t count, const rlv_placed_point* point, rlv_error* error)
{
    for (size_t i = 0; i < count; i++)
    {
        const double sd = rlv_placed_point_sd(&point[i]);
        if (!isfinite(rlv_vec3_length(point[i].at_mm)))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "place it again", "point %zu is nowhere: it is not finite",
                            i + 1);
        if (!(sd > 0.0 && isfinite(sd)))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "write an sd above zero, or none", "point %zu has the sd %g mm",
                            i + 1, sd);
    }
    return RLV_DONE;
}

/// Weighted mean and second moments about it.
static double gather(rlv_vec3* centre, double moment[9], size_t count, const rlv_placed_point* point)
{
    double total = 0.0;
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < count; i++)
    {
        const double weight = pow(rlv_placed_point_sd(&point[i]), -2.0);
        total += weight;
        // About the first point: far from the origin figures would be lost.
        sum = rlv_vec3_along(sum, weight, rlv_vec3_sub(point[i].at_mm, point[0].at_mm));
    }
    *centre = rlv_vec3_along(point[0].at_mm, 1.0 / total, sum);
    for (int k = 0; k < 9; k++)
        moment[k] = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 off = rlv_vec3_sub(point[i].at_mm, *centre);
        const double v[3] = {off.x, off.y, off.z}, weight = pow(rlv_placed_point_sd(&point[i]), -2.0);
        for (int k = 0; k < 9; k++)
            moment[k] += weight * v[k / 3] * v[k % 3];
    }
    return total;
}

static void add_outer(double cov[9], rlv_vec3 axis, double variance)
{
    const double v[3] = {axis.x, axis.y, axis.z};
    for (int k = 0; k < 9; k++)
        cov[k] += variance * v[k / 3] * v[k % 3];
}

rlv_status rlv_plane_fit(rlv_fitted_plane* plane, size_t count, const rlv_placed_point* point, rlv_error* error)
{
    static const char* const mend = "place three points or more that lie well off one line";
    *plane = (rlv_fitted_plane){.rms_mm = (double)NAN};
    if (count < 3)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "%zu points are no plane", count);
    double moment[9], value[3];
    rlv_vec3 axis[3];
    rlv_status status = rlv_placed_points_check(count, point, error);
    if (status != RLV_DONE)
        return status;
    gather(&plane->centre_mm, moment, count, point);
    if ((status = rlv_principal_axes(value, axis, moment, error)) != RLV_DONE)
        return status;
    plane->pole = axis[2];
    const double freedom = (double)count - 3.0, chi_square = fmax(value[2], 0.0);
    plane->inflated = freedom > 0.0 && gsl_cdf_chisq_Q(chi_square, freedom) < 0.05;
    const double factor = plane->inflated ? chi_square / freedom : 1.0;
    // A point off the plane by e turns the pole towards axis k by e times its distance along k, over the moment there.
    if (!(value[1] / factor > 1.0 / (LIMIT_RAD * LIMIT_RAD)))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "the %zu points lie on a line within their %s", count,
                        plane->inflated ? "scatter" : "sds");
    // Tilting along one axis is a turn about the other.
    add_outer(plane->cov_rad2, axis[0], factor / value[1]);
    add_outer(plane->cov_rad2, axis[1], factor / value[0]);
    double square = 0.0;
    for (size_t i = 0; i < count; i++)
        square += pow(rlv_vec3_dot(rlv_vec3_sub(point[i].at_mm, plane->centre_mm), plane->pole), 2.0);
    plane->rms_mm = sqrt(square / (double)count);
    return RLV_DONE;
}

rlv_fitted_plane rlv_plane_known(rlv_vec3 pole, double sd_deg)
{
    rlv_fitted_plane plane = {.pole = rlv_vec3_unit(pole), .rms_mm = (double)NAN};
    const double variance = pow(sd_deg * M_PI / 180.0, 2.0);
    for (int k = 0; k < 9; k += 4)
        plane.cov_rad2[k] = variance;
    add_outer(plane.cov_rad2, plane.pole, -variance);
    return plane;
}

double rlv_plane_pole_sd_deg(const rlv_fitted_plane* plane)
{
    double variance[3];
    rlv_vec3 axis[3];
    if (rlv_principal_axes(variance, axis, plane->cov_rad2, NULL) != RLV_DONE)
        return (double)NAN;
    return sqrt(fmax(variance[0], 0.0)) * 180.0 / M_PI;
}
