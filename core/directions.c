#include "directions.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_eigen.h>
#include <gsl/gsl_pow_int.h>
#include <gsl/gsl_sf_bessel.h>
#include <gsl/gsl_sf_gamma.h>
#include <stdlib.h>

#define RADIANS (M_PI / 180.0)
#define EXACT_COUNT 20  ///< up to here the exact sum keeps eight figures: its terms cancel as e to the count
#define MOST_TERMS 1000 ///< of a series that falls as k to minus half of one more than the steps

static double clamp(double value, double low, double high)
{
    return fmin(fmax(value, low), high);
}

/// From 0 up to 360; rounding may make 360 of a tiny negative.
static double turned(double angle_rad)
{
    const double deg = angle_rad / RADIANS;
    const double up = deg < 0.0 ? deg + 360.0 : deg;
    return up < 360.0 ? up : 0.0;
}

static bool is_direction(rlv_vec3 v)
{
    const double length = rlv_vec3_length(v);
    return isfinite(length) && length > 0.0;
}

static rlv_status check(size_t count, const rlv_vec3* direction, rlv_error* error)
{
    if (count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give one direction at least", "there are no directions");
    for (size_t i = 0; i < count; i++)
        if (!is_direction(direction[i]))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave it out, or give a vector of finite length above zero",
                            "direction %zu points nowhere", i + 1);
    return RLV_DONE;
}

// --- compass ---------------------------------------------------------------------------------------------------------

rlv_status rlv_compass_of(rlv_compass* compass, rlv_vec3 up, rlv_vec3 north, rlv_error* error)
{
    if (!is_direction(up) || !is_direction(north))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give vectors of finite length above zero",
                        "up or north points nowhere");
    compass->up = rlv_vec3_unit(up);
    const rlv_vec3 east = rlv_vec3_cross(rlv_vec3_unit(north), compass->up);
    if (rlv_vec3_length(east) < sin(RADIANS))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the direction of north, and of up", "north lies along up");
    compass->east = rlv_vec3_unit(east);
    compass->north = rlv_vec3_cross(compass->up, compass->east);
    return RLV_DONE;
}

rlv_trend rlv_trend_of(const rlv_compass* compass, rlv_vec3 direction)
{
    const double north = rlv_vec3_dot(direction, compass->north), east = rlv_vec3_dot(direction, compass->east);
    const double level = hypot(north, east);
    // Where rounding alone is level, so that no azimuth is made of it.
    const bool vertical = level <= 1e-12 * rlv_vec3_length(direction);
    return (rlv_trend){.trend_deg = vertical ? 0.0 : turned(atan2(east, north)),
                       .plunge_deg = atan2(-rlv_vec3_dot(direction, compass->up), level) / RADIANS};
}

rlv_vec3 rlv_trend_vector(const rlv_compass* compass, rlv_trend trend)
{
    const double azimuth = RADIANS * trend.trend_deg, plunge = RADIANS * trend.plunge_deg;
    const rlv_vec3 level = rlv_vec3_along(rlv_vec3_scale(compass->north, cos(azimuth)), sin(azimuth), compass->east);
    return rlv_vec3_along(rlv_vec3_scale(level, cos(plunge)), -sin(plunge), compass->up);
}

rlv_strike rlv_strike_of(const rlv_compass* compass, rlv_vec3 pole)
{
    // The pole that does not point down leans the way the plane dips: 90 degrees to the right of the strike.
    const double sense = rlv_vec3_dot(pole, compass->up) < 0.0 ? -1.0 : 1.0;
    const rlv_trend up = rlv_trend_of(compass, rlv_vec3_scale(pole, sense));
    const double dip = 90.0 + up.plunge_deg;
    const bool level = dip < 1e-9;
    return (rlv_strike){.strike_deg = level ? 0.0 : turned(RADIANS * (up.trend_deg - 90.0)),
                        .dip_deg = level ? 0.0 : dip};
}

rlv_vec3 rlv_strike_pole(const rlv_compass* compass, rlv_strike strike)
{
    return rlv_trend_vector(compass, (rlv_trend){strike.strike_deg + 90.0, strike.dip_deg - 90.0});
}

// --- directions in space ---------------------------------------------------------------------------------------------

/// Sum over k of (-1)^k C(n, k) (n - x - 2 k)^power, over those above zero, divided by 2^n times power!: the density
/// (power n - 1) or the upper tail (power n) of a sum of n numbers even in -1 to 1.
static double even_sum(size_t n, double x, size_t power)
{
    double sum = 0.0;
    for (size_t k = 0; k <= n && (double)n - x - 2.0 * (double)k > 0.0; k++)
        sum += (k % 2 == 0 ? 1.0 : -1.0) * gsl_sf_choose((unsigned)n, (unsigned)k) *
               pow((double)n - x - 2.0 * (double)k, (double)power);
    return sum / (exp2((double)n) * gsl_sf_fact((unsigned)power));
}

double rlv_sphere_uniform_p(size_t count, double resultant)
{
    const double n = (double)count, r = clamp(resultant, 0.0, n);
    if (count <= EXACT_COUNT)
        return count < 2 ? (double)NAN
                         : clamp(2.0 * (r * even_sum(count, r, count - 1) + even_sum(count, r, count)), 0.0, 1.0);
    const double s = 3.0 * r * r / n;
    return gsl_cdf_chisq_Q((1.0 - 1.0 / (2.0 * n)) * s + s * s / (10.0 * n), 3.0);
}

static double cone_deg(size_t count, double resultant)
{
    const double n = (double)count;
    if (count < 2)
        return (double)NAN;
    if (!(resultant > 0.0))
        return 180.0;
    const double off = (n - resultant) / resultant * (pow(20.0, 1.0 / (n - 1.0)) - 1.0);
    // 2 asin(sqrt(./2)) keeps the figures that acos loses near one.
    return off >= 2.0 ? 180.0 : 2.0 * asin(sqrt(0.5 * fmax(off, 0.0))) / RADIANS;
}

/// Half of the interval of the mean along the way in which directions scatter most about it.
static rlv_status widest_of(rlv_sphere_mean* mean, const rlv_vec3* direction, rlv_error* error)
{
    double scatter[9] = {0.0}, value[3];
    rlv_vec3 axis[3];
    const double n = (double)mean->count;
    mean->widest_deg = mean->count < 2 ? (double)NAN : 180.0;
    if (mean->count < 2 || !(mean->resultant > 0.0))
        return RLV_DONE;
    for (size_t i = 0; i < mean->count; i++)
    {
        const rlv_vec3 unit = rlv_vec3_unit(direction[i]);
        const rlv_vec3 off = rlv_vec3_along(unit, -rlv_vec3_dot(unit, mean->mean), mean->mean);
        const double v[3] = {off.x, off.y, off.z};
        for (int k = 0; k < 9; k++)
            scatter[k] += v[k / 3] * v[k % 3] / (n - 1.0);
    }
    const rlv_status status = rlv_principal_axes(value, axis, scatter, error);
    const double tangent = gsl_cdf_tdist_Pinv(0.975, n - 1.0) * sqrt(fmax(value[0], 0.0) / n) / mean->resultant_share;
    if (status == RLV_DONE && tangent < 1.0) // beyond half a right angle it is no tangent plane any more
        mean->widest_deg = atan(tangent) / RADIANS;
    return status;
}

rlv_status rlv_sphere_mean_of(rlv_sphere_mean* mean, size_t count, const rlv_vec3* direction, rlv_error* error)
{
    const rlv_status status = check(count, direction, error);
    if (status != RLV_DONE)
        return status;
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < count; i++)
        sum = rlv_vec3_add(sum, rlv_vec3_unit(direction[i]));
    const double n = (double)count, length = fmin(rlv_vec3_length(sum), n);
    // What n unit vectors leave when they cancel is their rounding.
    const double resultant = length > 4e-16 * n ? length : 0.0;
    *mean = (rlv_sphere_mean){.count = count,
                              .mean = resultant > 0.0 ? rlv_vec3_unit(sum) : rlv_vec3_of(0.0, 0.0, 0.0),
                              .resultant = resultant,
                              .resultant_share = resultant / n,
                              .kappa = count < 2 ? (double)NAN : (n - 1.0) / (n - resultant),
                              .cone_deg = cone_deg(count, resultant),
                              .uniform_p = rlv_sphere_uniform_p(count, resultant)};
    return widest_of(mean, direction, error);
}

// --- axes ------------------------------------------------------------------------------------------------------------

rlv_status rlv_principal_axes(double value[3], rlv_vec3 axis[3], const double matrix[9], rlv_error* error)
{
    double copy[9];
    rlv_mat3 columns;
    for (int k = 0; k < 9; k++)
        copy[k] = matrix[k];
    gsl_vector_view values = gsl_vector_view_array(value, 3);
    gsl_matrix_view a = gsl_matrix_view_array(copy, 3, 3), vectors = gsl_matrix_view_array(columns.m, 3, 3);
    gsl_eigen_symmv_workspace* room = gsl_eigen_symmv_alloc(3);
    if (room == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for three axes");
    gsl_eigen_symmv(&a.matrix, &values.vector, &vectors.matrix, room);
    gsl_eigen_symmv_sort(&values.vector, &vectors.matrix, GSL_EIGEN_SORT_VAL_DESC);
    gsl_eigen_symmv_free(room);
    for (int k = 0; k < 2; k++)
        axis[k] = rlv_mat3_column(columns, k);
    axis[2] = rlv_vec3_cross(axis[0], axis[1]);
    return RLV_DONE;
}

rlv_status rlv_orientation_of(rlv_orientation* orientation, size_t count, const rlv_vec3* axis, rlv_error* error)
{
    rlv_status status = check(count, axis, error);
    if (status != RLV_DONE)
        return status;
    double tensor[9] = {0.0};
    const double n = (double)count;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 unit = rlv_vec3_unit(axis[i]);
        const double v[3] = {unit.x, unit.y, unit.z};
        for (int k = 0; k < 9; k++)
            tensor[k] += v[k / 3] * v[k % 3] / n;
    }
    *orientation = (rlv_orientation){.count = count};
    double* s = orientation->eigenvalue;
    status = rlv_principal_axes(s, orientation->axis, tensor, error);
    if (status != RLV_DONE)
        return status;
    double off = 0.0;
    for (int k = 0; k < 3; k++)
    {
        s[k] = s[k] > 1e-15 ? s[k] : 0.0; // rounding of nothing
        off += (s[k] - 1.0 / 3.0) * (s[k] - 1.0 / 3.0);
    }
    const double along = log(s[0] / s[1]), across = log(s[1] / s[2]);
    orientation->shape = s[1] > 0.0 && s[0] < 1.0 ? along / across : (double)INFINITY;
    orientation->strength = log(s[0] / s[2]);
    orientation->uniform_p = gsl_cdf_chisq_Q(7.5 * n * off, 5.0);
    return RLV_DONE;
}

// --- azimuths --------------------------------------------------------------------------------------------------------

/// I1 / I0, the mean resultant length of a von Mises distribution.
static double resultant_of_kappa(double kappa)
{
    return gsl_sf_bessel_I1_scaled(kappa) / gsl_sf_bessel_I0_scaled(kappa);
}

/// By Newton's method, from the series of N. I. Fisher, Statistical analysis of circular data, 1993, section 4.5.5
/// (from memory; a start only).
static double kappa_of_resultant(double share)
{
    if (share <= 0.0)
        return 0.0;
    if (share > 1.0 - 1e-12)
        return (double)INFINITY;
    double kappa = share < 0.53   ? 2.0 * share + pow(share, 3.0) + 5.0 / 6.0 * pow(share, 5.0)
                   : share < 0.85 ? -0.4 + 1.39 * share + 0.43 / (1.0 - share)
                                  : 1.0 / (2.0 * (1.0 - share) - pow(1.0 - share, 2.0) - pow(1.0 - share, 3.0));
    for (int i = 0; i < 50; i++)
    {
        const double now = resultant_of_kappa(kappa), slope = 1.0 - now * now - now / kappa;
        const double step = (now - share) / slope;
        kappa = fmax(kappa - step, 0.5 * kappa);
        if (fabs(step) <= 1e-14 * kappa)
            break;
    }
    return kappa;
}

static double length_of(const double* length, size_t i)
{
    return length != NULL ? length[i] : 1.0;
}

/// Characteristic function of a walk: product of J0(t length). `most` gets what its size stays below from there on.
static double walk_at(size_t count, const double* length, double t, double* most)
{
    if (length == NULL)
    {
        *most = pow(fmin(1.0, 2.0 / (M_PI * t)), 0.5 * (double)count);
        return gsl_pow_uint(gsl_sf_bessel_J0(t), (unsigned)count);
    }
    double product = 1.0;
    *most = 1.0;
    for (size_t i = 0; i < count; i++)
    {
        const double x = t * length[i];
        product *= gsl_sf_bessel_J0(x);
        *most *= fmin(1.0, sqrt(2.0 / (M_PI * x)));
    }
    return product;
}

double rlv_circle_uniform_p(size_t count, const double* length, double resultant)
{
    if (count < 2)
        return (double)NAN;
    if (count == 2) // by the angle between the two
    {
        const double a = length_of(length, 0), b = length_of(length, 1);
        return acos(clamp((resultant * resultant - a * a - b * b) / (2.0 * a * b), -1.0, 1.0)) / M_PI;
    }
    double reach = 0.0, sum = 0.0, most = 1.0;
    for (size_t i = 0; i < count; i++)
        reach += length_of(length, i);
    const double r = clamp(resultant / reach, 0.0, 1.0);
    for (unsigned k = 1; k <= MOST_TERMS && most > 1e-11; k++)
    {
        const double zero = gsl_sf_bessel_zero_J0(k), j1 = gsl_sf_bessel_J1(zero);
        sum += walk_at(count, length, zero / reach, &most) * gsl_sf_bessel_J1(zero * r) / (zero * j1 * j1);
    }
    return clamp(1.0 - 2.0 * r * sum, 0.0, 1.0);
}

double rlv_circle_trust(double far_sd)
{
    const double g = 0.25 * far_sd * far_sd;
    return sqrt(0.5 * M_PI * g) * (gsl_sf_bessel_I0_scaled(g) + gsl_sf_bessel_I1_scaled(g));
}

/// 1 - cos of the interval's half: Watson and Williams where azimuths are close, Upton where they are loose. 1: beyond.
static double half_versine(double n, double share, double kappa)
{
    const double r = n * share;
    if (share > 0.75 && n > 1.0)
        return (1.0 + 3.0 / (8.0 * kappa)) * gsl_cdf_fdist_Pinv(0.95, 1.0, n - 1.0) * (n - r) / ((n - 1.0) * r);
    const double chi = gsl_cdf_chisq_Pinv(0.95, 1.0);
    const double square = 2.0 * n * (2.0 * r * r - n * chi) / (r * r * (4.0 * n - chi));
    return r > 0.0 && square > 0.0 ? 1.0 - fmin(sqrt(square), 1.0) : 1.0;
}

static double half_deg(double n, double share, double kappa)
{
    const double versine = n > 1.0 ? half_versine(n, share, kappa) : 1.0;
    return versine < 1.0 ? 2.0 * asin(sqrt(0.5 * versine)) / RADIANS : 180.0;
}

rlv_status rlv_circle_mean_of(rlv_circle_mean* mean, size_t count, const double* azimuth_deg, const double* weight,
                              rlv_error* error)
{
    if (count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give one azimuth at least", "there are no azimuths");
    double c = 0.0, s = 0.0, sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        const double w = length_of(weight, i);
        if (!isfinite(azimuth_deg[i]) || !isfinite(w) || !(w > 0.0))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave it out",
                            "azimuth %zu is not a finite number, or its weight is not above zero", i + 1);
        c += w * cos(RADIANS * azimuth_deg[i]);
        s += w * sin(RADIANS * azimuth_deg[i]);
        sum += w;
        squares += w * w;
    }
    const double length = fmin(hypot(c, s), sum), share = length > 4e-16 * sum ? length / sum : 0.0;
    const double n = sum * sum / squares, kappa = kappa_of_resultant(share);
    *mean = (rlv_circle_mean){.count = count,
                              .mean_deg = turned(atan2(s, c)),
                              .resultant_share = share,
                              .kappa = kappa,
                              .sd_deg = sqrt(-2.0 * log(share)) / RADIANS,
                              .mean_sd_deg = 1.0 / sqrt(n * kappa * share) / RADIANS,
                              .half_deg = half_deg(n, share, kappa),
                              .uniform_p = rlv_circle_uniform_p(count, weight, share * sum)};
    return RLV_DONE;
}
