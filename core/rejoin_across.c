#include "rejoin_across_parts.h"
#include "rejoin_fit.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

void rlv_across_add(double to[RLV_ACROSS_NUMBERS][RLV_ACROSS_NUMBERS], const double change[RLV_ACROSS_NUMBERS],
                    const double other[RLV_ACROSS_NUMBERS], double weight)
{
    for (int i = 0; i < RLV_ACROSS_NUMBERS; i++)
        for (int j = 0; j < RLV_ACROSS_NUMBERS; j++)
            to[i][j] += weight * change[i] * other[j];
}

bool rlv_across_invert(int n, const double* a, double* inverse)
{
    double even[RLV_ACROSS_UNKNOWNS * RLV_ACROSS_UNKNOWNS] = {0};
    for (int k = 0; k < n; k++)
        if (!(a[(n + 1) * k] > 0.0))
            return false;
    for (int k = 0; k < n * n; k++)
        even[k] = a[k] / sqrt(a[(n + 1) * (k / n)] * a[(n + 1) * (k % n)]);
    if (!rlv_fit_invert(n, even, 1e-12, inverse))
        return false;
    for (int k = 0; k < n * n; k++)
        inverse[k] /= sqrt(a[(n + 1) * (k / n)] * a[(n + 1) * (k % n)]);
    return true;
}

// --- Poses -----------------------------------------------------------------------------------------------------------

enum
{
    PARAMETERS = 7,
};

/// How the numbers change with one of the seven of a side's pose.
static bool change_with(double change[RLV_ACROSS_NUMBERS], const rlv_across_side side[2], int own, int parameter,
                        rlv_across_numbers* numbers, const void* of)
{
    const double step = parameter < 3 ? 1e-3 : 1e-5; // mm; radians, or of scale
    double high[RLV_ACROSS_NUMBERS], low[RLV_ACROSS_NUMBERS];
    for (int k = 0; k < 2; k++)
    {
        rlv_across_side moved[2] = {side[0], side[1]};
        double delta[PARAMETERS] = {0};
        delta[parameter] = k == 0 ? step : -step;
        moved[own].pose = rlv_pose_nudge(&side[own].pose, side[own].pose.centre_mm, delta);
        if (!numbers(k == 0 ? high : low, of, moved))
            return false;
    }
    for (int i = 0; i < RLV_ACROSS_NUMBERS; i++)
        change[i] = (high[i] - low[i]) / (2.0 * step);
    return true;
}

bool rlv_across_poses(rlv_across_told* told, const rlv_across_side side[2], rlv_across_numbers* numbers, const void* of)
{
    for (int own = 0; own < 2; own++)
    {
        const double* covariance = side[own].pose.covariance;
        double change[PARAMETERS][RLV_ACROSS_NUMBERS] = {{0}};
        for (int k = 0; k < PARAMETERS; k++)
            if (covariance[PARAMETERS * k + k] > 0.0 && !change_with(change[k], side, own, k, numbers, of))
                return false;
        for (int k = 0; k < PARAMETERS; k++)
            for (int l = 0; l < PARAMETERS; l++)
                rlv_across_add(told->of_poses, change[k], change[l], covariance[PARAMETERS * k + l]);
    }
    return true;
}

// --- Intervals -------------------------------------------------------------------------------------------------------

double rlv_across_freedom(double of_points, double of_poses, double freedom)
{
    const double all = of_points + of_poses;
    return of_points > 0.0 ? freedom * (all / of_points) * (all / of_points) : (double)INFINITY;
}

double rlv_across_half(double of_points, double of_poses, double freedom)
{
    const double known = rlv_across_freedom(of_points, of_poses, freedom),
                 times = known < 1e6 ? gsl_cdf_tdist_Pinv(0.975, known) : RLV_HALF_95;
    return times * sqrt(of_points + of_poses);
}

static rlv_interval interval_of(const rlv_across_told* told, int i, double unit)
{
    const double half = rlv_across_half(told->of_points[i][i], told->of_poses[i][i], told->freedom);
    return (rlv_interval){unit * told->number[i], unit * (told->number[i] - half), unit * (told->number[i] + half)};
}

/// How likely the length of a vector of two parts, each of sd 1 about a mean of length `truly`, is `length` at most: a
/// sum over chi-squares, which Poisson's numbers weigh.
static double shorter(double length, double truly)
{
    const double mean = 0.5 * truly * truly;
    const int most = (int)(mean + 10.0 * sqrt(mean) + 20.0);
    double sum = 0.0;
    for (int j = 0; j <= most; j++)
        sum +=
            exp(j * log(fmax(mean, 1e-300)) - mean - lgamma(j + 1.0)) * gsl_cdf_chisq_P(length * length, 2.0 + 2.0 * j);
    return truly > 0.0 ? sum : gsl_cdf_chisq_P(length * length, 2.0);
}

/// The length of which `length` is one that such a share lies below; 0 where none is.
static double length_with(double share, double length)
{
    if (shorter(length, 0.0) <= share)
        return 0.0;
    double low = 0.0, high = length + 5.0;
    for (int k = 0; k < 40; k++)
        *(shorter(length, 0.5 * (low + high)) > share ? &low : &high) = 0.5 * (low + high);
    return 0.5 * (low + high);
}

/// Two numbers together, the first of which is `i`.
static rlv_interval length_of(const rlv_across_told* told, int i, double unit)
{
    const double a = told->number[i], b = told->number[i + 1], length = hypot(a, b),
                 u = length > 0.0 ? a / length : 1.0, v = length > 0.0 ? b / length : 0.0;
    double of[2];
    for (int k = 0; k < 2; k++)
    {
        const double(*c)[RLV_ACROSS_NUMBERS] = k == 0 ? told->of_points : told->of_poses;
        of[k] = u * u * c[i][i] + 2.0 * u * v * c[i][i + 1] + v * v * c[i + 1][i + 1];
    }
    const double half = rlv_across_half(of[0], of[1], told->freedom), sd = half / RLV_HALF_95, far = 12.0;
    if (!(sd > 0.0) || length > far * sd) // there it is normal
        return (rlv_interval){unit * length, unit * (length - half), unit * (length + half)};
    // What was found is no shorter than its part along the truth, which is normal: so far may the truth lie beyond it.
    return (rlv_interval){unit * length, unit * sd * length_with(0.975, length / sd), unit * (length + half)};
}

/// The chance of as great an offset and bend or greater, if the run went straight on: by F, or by chi-square where the
/// points' share is known.
static double straight_p(const rlv_across_told* told)
{
    enum
    {
        TESTED = 4
    };
    double c[TESTED * TESTED], inverse[TESTED * TESTED], x[TESTED], of_points = 0.0, of_poses = 0.0, square = 0.0;
    for (int i = 0; i < TESTED; i++)
    {
        const int a = RLV_ACROSS_ACROSS + i;
        x[i] = told->number[a];
        for (int j = 0; j < TESTED; j++)
            c[TESTED * i + j] = told->of_points[a][RLV_ACROSS_ACROSS + j] + told->of_poses[a][RLV_ACROSS_ACROSS + j];
        of_points += told->of_points[a][a] / c[TESTED * i + i] / TESTED;
        of_poses += told->of_poses[a][a] / c[TESTED * i + i] / TESTED;
    }
    if (!rlv_across_invert(TESTED, c, inverse))
        return (double)NAN;
    for (int k = 0; k < TESTED * TESTED; k++)
        square += x[k / TESTED] * inverse[k] * x[k % TESTED];
    const double known = rlv_across_freedom(of_points, of_poses, told->freedom);
    return known < 1e6 ? gsl_cdf_fdist_Q(square / TESTED, TESTED, known) : gsl_cdf_chisq_Q(square, TESTED);
}

void rlv_across_tell(rlv_across* across, const rlv_across_told* told)
{
    const double deg = 180.0 / M_PI;
    across->across_mm = interval_of(told, RLV_ACROSS_ACROSS, 1.0);
    across->out_mm = interval_of(told, RLV_ACROSS_OUT, 1.0);
    across->offset_mm = length_of(told, RLV_ACROSS_ACROSS, 1.0);
    across->bend_across_deg = interval_of(told, RLV_ACROSS_BEND_ACROSS, deg);
    across->bend_out_deg = interval_of(told, RLV_ACROSS_BEND_OUT, deg);
    across->bend_deg = length_of(told, RLV_ACROSS_BEND_ACROSS, deg);
    across->gap_mm = interval_of(told, RLV_ACROSS_GAP, 1.0);
    across->twist_deg = interval_of(told, RLV_ACROSS_TWIST, deg);
    across->p = straight_p(told);
}

// --- What is looked at -----------------------------------------------------------------------------------------------

rlv_status rlv_across_check(const rlv_across_side side[2], size_t least, const char* what, rlv_error* error)
{
    static const char* const part[2] = {"block", "piece"};
    for (int k = 0; k < 2; k++)
    {
        const rlv_status status = rlv_placed_points_check(side[k].count, side[k].point, error);
        if (status != RLV_DONE)
            return status;
        if (side[k].count < least)
            return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "place more of them near the joint, and measure again",
                            "the %s has %zu %s%s of it, and %zu are needed on either part", part[k], side[k].count,
                            what, side[k].count == 1 ? "" : "s", least);
    }
    return RLV_DONE;
}

rlv_status rlv_across_fail_along(rlv_error* error)
{
    return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "see that its points lie where they are said to",
                    "it runs along the joint, not over it: within %.0f degrees", RLV_ACROSS_LEAST_DEG);
}

void rlv_across_axes(rlv_across* across, rlv_vec3 along, rlv_vec3 outward)
{
    const rlv_vec3 out = rlv_vec3_along(rlv_vec3_unit(outward), -rlv_vec3_dot(rlv_vec3_unit(outward), along), along);
    across->along = along;
    // What points along the run says nothing of its outside.
    across->out = rlv_vec3_length(out) > 0.1 ? rlv_vec3_unit(out) : rlv_vec3_across(along);
    across->across = rlv_vec3_cross(across->out, along);
}
