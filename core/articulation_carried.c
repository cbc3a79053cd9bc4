#include "articulation_carried.h"

#include <gsl/gsl_sf_bessel.h>

/// How likely a current is before anything is known of it. From memory, no source.
static const double CURRENT = 0.5;

/// The least sd of a motion per axis, in pitches.
static const double LEAST_PITCHES = 0.5;

/// How what went like the others scatters about their motion: a share of it.
static const double spread_share[RLV_CARRIED_SPREADS] = {0.3, RLV_CARRIED_SCATTER};

static const rlv_vec3 NO_MOTION = {0.0, 0.0, 0.0};

/// A unit direction in the level; in space, as even as a spiral lays them, where up is not known (zero).
static rlv_vec3 direction_at(rlv_vec3 up, size_t k)
{
    if (rlv_vec3_length(up) > 0.0)
    {
        const rlv_vec3 e = rlv_vec3_across(up), f = rlv_vec3_cross(up, e);
        const double turn = 2.0 * M_PI * (double)k / RLV_CARRIED_AZIMUTHS;
        return rlv_vec3_along(rlv_vec3_scale(e, cos(turn)), sin(turn), f);
    }
    const double golden = M_PI * (3.0 - sqrt(5.0)), z = 1.0 - (2.0 * (double)k + 1.0) / RLV_CARRIED_DIRECTIONS,
                 level = sqrt(1.0 - z * z);
    return rlv_vec3_of(level * cos(golden * (double)k), level * sin(golden * (double)k), z);
}

/// Log likelihood of the azimuths of told motions, over that of any azimuth: von Mises' distribution about the common
/// motion for what went like the others, as wide as the scatter and each motion's own error together.
static double log_of_told(const rlv_told_motions* told, rlv_vec3 up, rlv_vec3 way, double share)
{
    double sum = 0.0;
    for (size_t i = 0; i < told->count; i++)
    {
        const rlv_vec3 level = rlv_vec3_along(told->motion_mm[i], -rlv_vec3_dot(told->motion_mm[i], up), up);
        const double kappa = 1.0 / (share * share + told->azimuth_sd_rad[i] * told->azimuth_sd_rad[i]),
                     off = rlv_vec3_dot(rlv_vec3_unit(level), way);
        sum += log(RLV_CARRIED_ALIKE * exp(kappa * (off - 1.0)) / gsl_sf_bessel_I0_scaled(kappa) + 1.0 -
                   RLV_CARRIED_ALIKE);
    }
    return sum;
}

/// Covariance of `level` per axis square to up, and of `along` along it; of `level` every way where up is zero.
static void lay_spread(double covariance[9], rlv_vec3 up, double level, double along)
{
    const double u[3] = {up.x, up.y, up.z};
    for (int k = 0; k < 9; k++)
        covariance[k] = (k % 4 == 0 ? level : 0.0) + (along - level) * u[k / 3] * u[k % 3];
}

size_t rlv_carried_ways(rlv_carried_way* way, double pitch_mm, const rlv_told_motions* told)
{
    const rlv_vec3 up = told != NULL ? rlv_vec3_unit(told->up) : NO_MOTION;
    const bool level = rlv_vec3_length(up) > 0.0;
    const size_t directions = level ? RLV_CARRIED_AZIMUTHS : RLV_CARRIED_DIRECTIONS;
    const double each = log(CURRENT / (double)(directions * RLV_CARRIED_SPREADS));
    size_t count = 0;
    for (size_t f = 0; f < RLV_CARRIED_FAR; f++)
    {
        const double far = pow(LEAST_PITCHES * pitch_mm, 2.0) * pow(2.0, (double)f);
        way[count++] = (rlv_carried_way){.far_mm2 = far, .log_prior = log(1.0 - CURRENT)};
        for (size_t s = 0; s < RLV_CARRIED_SPREADS; s++)
        {
            // As long on the root mean square as what went anyhow, over the axes in which the motion may be.
            const double axes = level ? 2.0 : 3.0, share = spread_share[s],
                         square = axes * far / (1.0 + axes * share * share);
            for (size_t k = 0; k < directions; k++)
            {
                const rlv_vec3 d = direction_at(up, k);
                rlv_carried_way* one = &way[count++];
                *one = (rlv_carried_way){.far_mm2 = far,
                                         .motion_mm = rlv_vec3_scale(d, sqrt(square)),
                                         .log_prior = each + (level ? log_of_told(told, up, d, share) : 0.0)};
                lay_spread(one->alike_cov_mm2, up, share * share * square, far);
            }
        }
    }
    return count;
}
