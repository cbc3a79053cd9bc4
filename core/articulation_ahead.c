#include "articulation_tell.h"
#include "pose.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>

/// How far the line of the body that keeps its length lies off the axis, as a share of how far the rows do: that line
/// may be anywhere between the rows. From memory, no source.
static const double OFF_AXIS = 0.5;

/// Beyond the last element the axis turns on as it did along this share of its length before it, which ends a share
/// before it: nearer by, the axis is laid through the places beyond too, which go on straight. Of 50 curled and diving
/// animals that were cut at three quarters, the direction lagged by 9 degrees where the corridors alone told it, by 3
/// and by none at the first stations so; places lay off by half as much.
static const double TURN_SHARE = 0.15, TURN_BEFORE = 0.1;

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

/// How unsure it is to each side where the rows go from one distance to another: as unsure as one of those that reach
/// so far, for they share what they do not know. False where none does.
static bool find_variance(double* variance_mm2, rlv_life* life, double from_mm, double to_mm, double* spread)
{
    double weights = 0.0, rows = 0.0;
    for (size_t r = 0; r < life->rows; r++)
    {
        between_slots from, to;
        if (!find_slots(&from, life, r, from_mm) || !find_slots(&to, life, r, to_mm))
            continue;
        rlv_smoother_spread(&life->smoother[RLV_LIFE_ACROSS], r, spread);
        const size_t n = life->first[r + 1] - life->first[r];
        const double variance =
            RLV_LIFE_WIDENING_AHEAD * life->spread[RLV_LIFE_ACROSS].unit * variance_between(spread, n, from, to);
        weights += 1.0 / fmax(variance, 1e-9);
        rows += 1.0;
    }
    *variance_mm2 = rows / weights;
    return rows > 0.0;
}

/// A place and the frame there, and how it turns from there on.
typedef struct turning
{
    rlv_body_frame frame;
    double from_mm;
} turning;

/// Where the axis is known by elements to both sides, with the mean bend before: in the axis's own frame, which turns
/// no more than it must.
static turning turning_before(const rlv_body_axis* axis, double from_mm)
{
    enum
    {
        READINGS = 20,
    };
    turning t = {.from_mm = (1.0 - TURN_BEFORE) * from_mm};
    double bend[2] = {0.0, 0.0};
    for (int i = 0; i < READINGS; i++)
    {
        const rlv_body_frame at = rlv_body_axis_at(axis, t.from_mm - TURN_SHARE * from_mm * (i + 0.5) / READINGS);
        for (int k = 0; k < 2; k++)
            bend[k] += at.bend[k] / READINGS;
    }
    t.frame = rlv_body_axis_at(axis, t.from_mm);
    t.frame.bend[0] = bend[0], t.frame.bend[1] = bend[1];
    return t;
}

/// A distance on along an arc of a circle.
static rlv_body_frame turn_on(const turning* t, double along_mm)
{
    const rlv_body_frame f = t->frame;
    const double far = along_mm - t->from_mm, bend = hypot(f.bend[0], f.bend[1]), angle = bend * far;
    rlv_body_frame to = f;
    if (!(angle > 1e-9))
    {
        to.at_mm = rlv_vec3_along(f.at_mm, far, f.along);
        return to;
    }
    const rlv_vec3 in =
        rlv_vec3_scale(rlv_vec3_along(rlv_vec3_scale(f.side, f.bend[0]), f.bend[1], f.other), 1.0 / bend);
    to.at_mm = rlv_vec3_along(rlv_vec3_along(f.at_mm, sin(angle) / bend, f.along), (1.0 - cos(angle)) / bend, in);
    to.along = rlv_vec3_along(rlv_vec3_scale(f.along, cos(angle)), sin(angle), in);
    return to;
}

/// `variance_mm2` is of the axis at the last element.
static bool station_at(rlv_body_station* station, rlv_life* life, const turning* t, double from_mm, double ahead_mm,
                       double step_mm, double variance_mm2, double* spread)
{
    double whole, last;
    const double back = fmin(0.5 * step_mm, ahead_mm);
    if (!find_variance(&whole, life, from_mm, from_mm + ahead_mm, spread) ||
        !find_variance(&last, life, from_mm + ahead_mm - back, from_mm + ahead_mm, spread))
        return false;
    const rlv_body_frame at = turn_on(t, from_mm + ahead_mm);
    const double place = whole + variance_mm2;
    *station = (rlv_body_station){ahead_mm, at.at_mm, at.along, sqrt(place),
                                  sqrt(last / (back * back) + place / (ahead_mm * ahead_mm)) * 180.0 / M_PI};
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
                 half = gsl_cdf_tdist_Pinv(0.975, ahead->freedom) * sqrt(RLV_LIFE_WIDENING_AHEAD * all.variance_mm2 +
                                                                         held.variance_mm2 + bending_mm2(life, length));
    const double variance =
        0.5 * (rlv_life_variance(life, held.row, held.slot, 1) + rlv_life_variance(life, held.row, held.slot, 2));
    ahead->from_mm = held.along_mm;
    ahead->length_mm = (rlv_interval){length, fmax(length - half, 0.0), length + half};
    const turning t = turning_before(&life->axis, held.along_mm);
    while (ahead->count < RLV_ARTICULATION_STATIONS &&
           station_at(&ahead->station[ahead->count], life, &t, held.along_mm, (double)(ahead->count + 1) * step, step,
                      variance, spread))
        ahead->count++;
    free(spread);
    return RLV_DONE;
}
