#include "articulation_length.h"

#include "interval.h"

#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

enum
{
    MOST_CELLS = 600, ///< of measured lengths about a true one
};

/// How finely the distribution is summed, and how far to either side, in sds: beyond lie six in ten million.
static const double CELL = 0.02, REACH = 5.0;

/// log of the density of a measured length x at a true one d, but for what x alone brings and -(x - d)^2 / 2; z = x d.
static double log_shape(int parts, double z)
{
    if (parts == 1)
        return log1p(exp(-2.0 * z)) - M_LN2;
    if (parts == 2)
        return log(gsl_sf_bessel_I0_scaled(z));
    return z < 1e-6 ? -z : log(-expm1(-2.0 * z) / (2.0 * z));
}

/// What x alone brings.
static double density_of(int parts, double x)
{
    return parts == 1 ? M_SQRT2 * M_2_SQRTPI / 2.0 : parts == 2 ? x : M_SQRT2 * M_2_SQRTPI / 2.0 * x * x;
}

/// The share of a unit vector's mean along its direction, in von Mises and Fisher's distribution of that dimension.
static double mean_cosine(int parts, double z)
{
    if (parts == 1)
        return tanh(z);
    if (parts == 2)
        return gsl_sf_bessel_I1_scaled(z) / gsl_sf_bessel_I0_scaled(z);
    return z < 1e-3 ? z / 3.0 : 1.0 / tanh(z) - 1.0 / z;
}

/// The true length of the greatest likelihood: where d = x A(x d), by halving; 0 where x^2 is no more than the parts.
static double likeliest(int parts, double x)
{
    double low = 0.0, high = x;
    if (x * x <= parts)
        return 0.0;
    for (int n = 0; n < 40; n++)
    {
        const double middle = 0.5 * (low + high);
        *(x * mean_cosine(parts, x * middle) > middle ? &low : &high) = middle;
    }
    return 0.5 * (low + high);
}

/// Accept the measured lengths of the greatest ratio at a true one, up to 95 %. `best` has log likelihoods of the
/// likeliest true lengths, at even cells of the measured.
static void accept(int parts, double d, const double* best, double* from, double* to)
{
    const size_t first = d > REACH ? (size_t)((d - REACH) / CELL) : 0, cells = (size_t)((d + REACH) / CELL) - first;
    double mass[MOST_CELLS] = {0}, ratio[MOST_CELLS] = {0}, sum = 0.0;
    size_t peak = 0;
    for (size_t i = 0; i < cells; i++)
    {
        const double x = CELL * ((double)(first + i) + 0.5),
                     log_here = log_shape(parts, x * d) - 0.5 * (x - d) * (x - d);
        mass[i] = CELL * density_of(parts, x) * exp(log_here);
        ratio[i] = log_here - best[first + i];
        peak = ratio[i] > ratio[peak] ? i : peak;
    }
    size_t low = peak, high = peak + 1; // cells low up to high are accepted
    sum = mass[peak];
    bool down = false;
    while (sum < 0.95 && (low > 0 || high < cells))
    {
        down = low > 0 && (high == cells || ratio[low - 1] > ratio[high]);
        sum += down ? mass[--low] : mass[high++];
    }
    // Of the last cell, only what was needed.
    const double over = CELL * (sum - 0.95) / mass[down ? low : high - 1];
    *from = CELL * (double)(first + low) + (down ? over : 0.0);
    *to = CELL * (double)(first + high) - (down ? 0.0 : over);
}

void rlv_length_lay(rlv_length_table* table)
{
    enum
    {
        CELLS = 800, ///< CELL * CELLS is more than RLV_LENGTH_FAR + REACH
    };
    double best[CELLS];
    for (int parts = 1; parts <= RLV_LENGTH_PARTS; parts++)
    {
        for (size_t i = 0; i < CELLS; i++)
        {
            const double x = CELL * ((double)i + 0.5), d = likeliest(parts, x);
            best[i] = log_shape(parts, x * d) - 0.5 * (x - d) * (x - d);
        }
        for (size_t k = 0; k <= RLV_LENGTH_STEPS; k++)
            accept(parts, RLV_LENGTH_FAR * (double)k / RLV_LENGTH_STEPS, best, &table->from[parts - 1][k],
                   &table->to[parts - 1][k]);
    }
}

/// Where a rising edge of what is accepted passes a measured length: the true length there. The least of those, or with
/// `last` the greatest.
static double crossing(const double* edge, double x, bool last)
{
    size_t k = 0;
    while (k < RLV_LENGTH_STEPS && (last ? edge[k + 1] <= x : edge[k + 1] < x))
        k++;
    if (k == RLV_LENGTH_STEPS)
        return RLV_LENGTH_FAR;
    const double step = edge[k + 1] - edge[k], share = step > 0.0 ? (x - edge[k]) / step : 0.0;
    return RLV_LENGTH_FAR / RLV_LENGTH_STEPS * ((double)k + fmin(fmax(share, 0.0), 1.0));
}

/// In sds: of a length of alike errors.
static rlv_interval unit_length(const rlv_length_table* table, int parts, double x)
{
    const double *from = table->from[parts - 1], *to = table->to[parts - 1];
    if (x > from[RLV_LENGTH_STEPS])
    {
        const double far = x - 0.5 * (parts - 1) / x; // the mean of x is so much more than d
        return (rlv_interval){far, far - RLV_HALF_95, far + RLV_HALF_95};
    }
    const double value = likeliest(parts, x);
    return (rlv_interval){value, fmin(crossing(to, x, false), value), fmax(crossing(from, x, true), value)};
}

static rlv_interval scaled(rlv_interval length, double sd)
{
    return (rlv_interval){length.value * sd, length.low * sd, length.high * sd};
}

/// As it is told for errors that are alike.
static rlv_interval first_order(const rlv_length_table* table, int parts, const double* off, const double* variance,
                                double widen)
{
    double square = 0.0, first = 0.0, second = 0.0, sum = 0.0, squares = 0.0;
    for (int k = 0; k < parts; k++)
    {
        square += off[k] * off[k];
        first += off[k] * off[k] * variance[k];
        second += off[k] * off[k] * variance[k] * variance[k];
        sum += variance[k];
        squares += variance[k] * variance[k];
    }
    const double own = square > 0.0 ? first / square : sum / parts; // along the vector
    const double across = square > 0.0 ? squares - 2.0 * second / square + own * own : (parts - 1) * own * own;
    const double more = square > 0.0 ? fmax(across - (parts - 1) * own * own, 0.0) / (2.0 * square) : 0.0;
    const double sd = widen * sqrt(own + more), length = sqrt(fmax(square - sum + parts * own, 0.0));
    return scaled(unit_length(table, parts, length / sd), sd);
}

/// By how many sds the vector is off, each part in its own: its likeliest length is that of the vector that was
/// measured, scaled; it is no shorter than that many of the least sd.
static rlv_interval by_sds(const rlv_length_table* table, int parts, const double* off, const double* variance,
                           double widen)
{
    double square = 0.0, sds = 0.0, least = INFINITY;
    for (int k = 0; k < parts; k++)
    {
        square += off[k] * off[k];
        sds += off[k] * off[k] / variance[k];
        least = fmin(least, variance[k]);
    }
    if (!(sds > 0.0))
        return (rlv_interval){0.0, 0.0, 0.0};
    const rlv_interval length = unit_length(table, parts, sqrt(sds) / widen);
    const double along = widen * sqrt(square / sds);
    return (rlv_interval){length.value * along, length.low * widen * sqrt(least), length.high * along};
}

rlv_interval rlv_length_of(const rlv_length_table* table, int parts, const double* off, const double* variance,
                           double widen)
{
    const rlv_interval told = first_order(table, parts, off, variance, widen);
    if (told.low > 0.0)
        return told;
    const rlv_interval other = by_sds(table, parts, off, variance, widen);
    return other.low > 0.0 ? (rlv_interval){other.value, other.low, fmax(told.high, other.high)} : told;
}
