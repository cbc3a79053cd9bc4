#include "articulation_tell.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>

/// How far the line of the body that keeps its length lies off the axis, as a share of how far the rows do: that line
/// may be anywhere between the rows. From memory, no source.
static const double OFF_AXIS = 0.5;

/// The last of places along the axis.
typedef struct last_place
{
    double along_mm, variance_mm2; ///< of it along the axis
    size_t row, slot;
} last_place;

static void take_last(last_place* last, const rlv_life* life, size_t row, size_t slot)
{
    if (life->value[0][slot] > last->along_mm)
        *last = (last_place){life->value[0][slot], rlv_life_variance(life, row, slot, 0), row, slot};
}

/// Round steps, so many that a few of them go a length: 1, 2 or 5 times a power of ten.
static double round_step(double length_mm)
{
    const double least = length_mm / (RLV_ARTICULATION_STATIONS - 2), power = pow(10.0, floor(log10(least)));
    return power * (least <= power ? 1.0 : least <= 2.0 * power ? 2.0 : least <= 5.0 * power ? 5.0 : 10.0);
}

/// A place of a row: between two of its slots, by a share.
typedef struct between_slots
{
    size_t slot; ///< from the row's first
    double share;
} between_slots;

/// Where a row is a distance along the axis from the head. False where it does not reach there.
static bool find_slots(between_slots* at, const rlv_life* life, size_t row, double along_mm)
{
    const size_t n = life->first[row + 1] - life->first[row];
    const double* u = life->value[0] + life->first[row];
    size_t s = 0;
    while (s + 1 < n && u[s + 1] < along_mm)
        s++;
    if (s + 1 >= n || u[s] > along_mm)
        return false;
    *at = (between_slots){s, (along_mm - u[s]) / fmax(u[s + 1] - u[s], 1e-6)};
    return true;
}

static rlv_vec3 place_at(const rlv_life* life, size_t row, between_slots at)
{
    const size_t slot = life->first[row] + at.slot;
    return rlv_vec3_along(rlv_vec3_scale(rlv_life_at(life, row, slot).at_mm, 1.0 - at.share), at.share,
                          rlv_life_at(life, row, slot + 1).at_mm);
}

/// Variance of the offset of one place of a row less that of another. `spread` is the covariance of a row's `n` slots.
static double variance_between(const double* spread, size_t n, between_slots a, between_slots b)
{
    const size_t slot[4] = {a.slot, a.slot + 1, b.slot, b.slot + 1};
    const double weight[4] = {1.0 - a.share, a.share, b.share - 1.0, -b.share};
    double sum = 0.0;
    for (size_t i = 0; i < 4; i++)
        for (size_t k = 0; k < 4; k++)
            sum += weight[i] * weight[k] * spread[slot[i] * n + slot[k]];
    return fmax(sum, 0.0);
}

/// How far the rows have gone from one distance to another, and how unsure that is to each side.
typedef struct way_gone
{
    rlv_vec3 way_mm;
    double variance_mm2;
} way_gone;

/// The mean of the rows that reach so far, each by how sure it is, and as unsure as one of them, for they share what
/// they do not know. False where none does.
static bool go(way_gone* gone, rlv_life* life, double from_mm, double to_mm, double* spread)
{
    double weights = 0.0, rows = 0.0;
    *gone = (way_gone){0};
    for (size_t r = 0; r < life->rows; r++)
    {
        between_slots from, to;
        if (!find_slots(&from, life, r, from_mm) || !find_slots(&to, life, r, to_mm))
            continue;
        rlv_smoother_spread(&life->smoother[RLV_LIFE_ACROSS], r, spread);
        const size_t n = life->first[r + 1] - life->first[r];
        const double variance = RLV_LIFE_WIDENING_AHEAD * life->spread[RLV_LIFE_ACROSS].unit *
                                variance_between(spread, n, from, to),
                     weight = 1.0 / fmax(variance, 1e-9);
        gone->way_mm =
            rlv_vec3_along(gone->way_mm, weight, rlv_vec3_sub(place_at(life, r, to), place_at(life, r, from)));
        weights += weight;
        rows += 1.0;
    }
    if (rows > 0.0)
        *gone = (way_gone){rlv_vec3_scale(gone->way_mm, 1.0 / weights), rows / weights};
    return rows > 0.0;
}

/// `variance_mm2` is of the axis at the last element.
static bool station_at(rlv_body_station* station, rlv_life* life, double from_mm, double ahead_mm, double step_mm,
                       double variance_mm2, double* spread)
{
    way_gone whole, last;
    const double back = fmin(0.5 * step_mm, ahead_mm);
    if (!go(&whole, life, from_mm, from_mm + ahead_mm, spread) ||
        !go(&last, life, from_mm + ahead_mm - back, from_mm + ahead_mm, spread))
        return false;
    const double place = whole.variance_mm2 + variance_mm2;
    *station = (rlv_body_station){
        ahead_mm, rlv_vec3_add(rlv_body_axis_at(&life->axis, from_mm).at_mm, whole.way_mm), rlv_vec3_unit(last.way_mm),
        sqrt(place), sqrt(last.variance_mm2 / (back * back) + place / (ahead_mm * ahead_mm)) * 180.0 / M_PI};
    return true;
}

/// Room for the covariances of the longest row.
static double* reserve_spread(const rlv_life* life, rlv_error* error)
{
    size_t longest = 0;
    for (size_t r = 0; r < life->rows; r++)
        longest = life->first[r + 1] - life->first[r] > longest ? life->first[r + 1] - life->first[r] : longest;
    return rlv_reserve(longest * longest, sizeof(double), error);
}

/// Variance of a length along the axis ahead by bending: the axis, which goes on straight in the model, turns as it
/// does where it is held, and the line of the body that keeps its length lies off it by a share of how far the rows do.
static double bending_mm2(const rlv_life* life, double length_mm)
{
    double bend = 0.0, off = 0.0;
    for (size_t i = 0; i < life->axis.count; i++)
        bend += pow(life->axis.bend[0][i], 2.0) + pow(life->axis.bend[1][i], 2.0);
    for (size_t i = 0; i < life->slots; i++)
        off += pow(life->value[1][i], 2.0) + pow(life->value[2][i], 2.0);
    return OFF_AXIS * OFF_AXIS * off / (double)life->slots * bend / (double)life->axis.count * length_mm * length_mm;
}

rlv_status rlv_articulation_tell_ahead(rlv_articulation* a, rlv_life* life, rlv_error* error)
{
    rlv_body_ahead* ahead = &a->ahead;
    last_place held = {.along_mm = -INFINITY}, all = held;
    for (size_t i = 0; i < life->count; i++)
        if (life->element[i].trust[0] > 0.0 && !life->element[i].open)
            take_last(&held, life, life->element[i].row, life->element[i].slot);
    for (size_t r = 0; r < life->rows; r++)
        for (size_t s = life->first[r]; s < life->first[r + 1]; s++)
            take_last(&all, life, r, s);
    const double length = all.along_mm - held.along_mm;
    if (!isfinite(held.along_mm) || !(length > 0.5 * life->row[all.row].pitch_mm))
        return RLV_DONE;
    double* spread = reserve_spread(life, error);
    if (spread == NULL)
        return RLV_SYSTEM;
    ahead->freedom = rlv_life_freedom(life);
    const double step = round_step(length),
                 half = gsl_cdf_tdist_Pinv(0.975, ahead->freedom) * sqrt(RLV_LIFE_WIDENING_CORRIDOR * all.variance_mm2 +
                                                                         held.variance_mm2 + bending_mm2(life, length));
    const double variance =
        0.5 * (rlv_life_variance(life, held.row, held.slot, 1) + rlv_life_variance(life, held.row, held.slot, 2));
    ahead->from_mm = held.along_mm;
    ahead->length_mm = (rlv_interval){length, fmax(length - half, 0.0), length + half};
    while (ahead->count < RLV_ARTICULATION_STATIONS &&
           station_at(&ahead->station[ahead->count], life, held.along_mm, (double)(ahead->count + 1) * step, step,
                      variance, spread))
        ahead->count++;
    free(spread);
    return RLV_DONE;
}
