#include "life.h"

#include <stdlib.h>
#include <string.h>

/// Log of the pitch at the tail over that at the head, for the whole length of a body: its sd before anything is known,
/// and that of one row, or of one part of a row, about what rows have in common. From memory, no source.
static const double TAPER_SD = 0.5, OWN_TAPER_SD = 0.3;

enum
{
    WINDOW = 6, ///< steps of a row before its end that its pitch there is read from
};

/// A row's distances along the axis: the slots of its first and last element, and their covariances.
typedef struct held_row
{
    size_t first, count;    ///< slots
    size_t low, high;       ///< of the first and of the last element, from `first`
    double *value, *spread; ///< count; count * count, in mm^2
} held_row;

static held_row held_of(rlv_life* life, size_t row, double* spread)
{
    const size_t first = life->first[row], n = life->first[row + 1] - first;
    rlv_smoother_spread(&life->smoother[RLV_LIFE_ALONG], row, spread);
    for (size_t i = 0; i < n * n; i++)
        spread[i] *= life->spread[RLV_LIFE_ALONG].unit;
    return (held_row){first,
                      n,
                      life->element[life->row[row].begin].slot - first,
                      life->element[life->row[row].end - 1].slot - first,
                      life->value[0] + first,
                      spread};
}

/// A difference of pitches: of the steps from `a` to `b`, less that of the steps from `c` to `d`.
typedef struct pitch_difference
{
    size_t a, b, c, d;
} pitch_difference;

static double read_difference(const held_row* h, pitch_difference p)
{
    return (h->value[p.b] - h->value[p.a]) / (double)(p.b - p.a) -
           (h->value[p.d] - h->value[p.c]) / (double)(p.d - p.c);
}

/// Its covariance with the distance of a slot.
static double covariance_with(const held_row* h, pitch_difference p, size_t slot)
{
    const double* c = h->spread + slot * h->count;
    return (c[p.b] - c[p.a]) / (double)(p.b - p.a) - (c[p.d] - c[p.c]) / (double)(p.d - p.c);
}

static double variance_of(const held_row* h, pitch_difference p)
{
    return (covariance_with(h, p, p.b) - covariance_with(h, p, p.a)) / (double)(p.b - p.a) -
           (covariance_with(h, p, p.d) - covariance_with(h, p, p.c)) / (double)(p.d - p.c);
}

/// How fast the pitch changes along the body, as a share of it for each mm: what rows have in common.
typedef struct taper_rate
{
    double mean, sd;
} taper_rate;

/// A row's own: of its second half against its first.
static taper_rate rate_of(const held_row* h)
{
    const size_t middle = (h->low + h->high) / 2;
    const pitch_difference p = {middle, h->high, h->low, middle};
    const double span = h->value[h->high] - h->value[h->low], pitch = span / (double)(h->high - h->low),
                 apart = 0.5 * span * pitch;
    return (taper_rate){read_difference(h, p) / apart, sqrt(fmax(variance_of(h, p), 0.0)) / apart};
}

static taper_rate common_rate(rlv_life* life, double* spread)
{
    const double length = rlv_body_axis_length_mm(&life->axis), own = OWN_TAPER_SD / length;
    double weight = length * length / (TAPER_SD * TAPER_SD), sum = 0.0;
    for (size_t r = 0; r < life->rows; r++)
    {
        if (life->row[r].guest)
            continue;
        const held_row h = held_of(life, r, spread);
        if (h.high < h.low + 2)
            continue;
        const taper_rate rate = rate_of(&h);
        const double w = 1.0 / (rate.sd * rate.sd + own * own);
        if (isfinite(w) && isfinite(rate.mean))
            weight += w, sum += w * rate.mean;
    }
    return (taper_rate){sum / weight, sqrt(1.0 / weight + own * own)};
}

/// Take what is known of tapers for one more measurement: that the pitch beyond the row's end is the one before it,
/// changed so (R. E. Kalman, J. Basic Eng. 82, 1960). What lies before the end has said its own and stays.
static void temper(rlv_life* life, size_t row, const held_row* h, taper_rate rate, bool tail)
{
    const size_t edge = tail ? h->high : h->low, beyond = tail ? h->count - 1 - h->high : h->low,
                 held = h->high - h->low, window = held < WINDOW ? held : WINDOW;
    if (beyond == 0 || window == 0)
        return;
    const pitch_difference p = tail ? (pitch_difference){edge, h->count - 1, edge - window, edge}
                                    : (pitch_difference){edge, edge + window, 0, edge};
    const double pitch = fabs(h->value[tail ? edge : edge + window] - h->value[tail ? edge - window : edge]) /
                         (double)window,
                 apart = 0.5 * pitch * pitch * (double)(beyond + window), error = apart * rate.sd,
                 variance = variance_of(h, p) + error * error, off = apart * rate.mean - read_difference(h, p);
    double* along = life->covariance[rlv_life_spread_index(0)] + life->block[row];
    for (size_t i = tail ? edge + 1 : 0; i < (tail ? h->count : edge); i++)
    {
        const double gain = covariance_with(h, p, i) / variance;
        const size_t at = i * h->count + i;
        along[at] -= gain * gain * variance / life->spread[RLV_LIFE_ALONG].unit;
        life->value[0][h->first + i] += gain * off;
    }
}

rlv_status rlv_life_temper(rlv_life* life, rlv_error* error)
{
    size_t longest = 0;
    for (size_t r = 0; r < life->rows; r++)
        longest = life->first[r + 1] - life->first[r] > longest ? life->first[r + 1] - life->first[r] : longest;
    double* spread = rlv_reserve(longest * longest, sizeof *spread, error);
    if (spread == NULL)
        return RLV_SYSTEM;
    const taper_rate rate = common_rate(life, spread);
    for (size_t r = 0; r < life->rows; r++)
    {
        // Both ends are read before either is moved.
        const held_row h = held_of(life, r, spread);
        temper(life, r, &h, rate, false);
        temper(life, r, &h, rate, true);
    }
    free(spread);
    return RLV_DONE;
}
