#include "directions.h"
#include "rejoin_across_parts.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    CHORDS = 9,
};

static const double first_chord = 0.25, last_chord = 0.75; ///< of how far an outline reaches from the joint

/// The half of a bone, as a line.
typedef struct half
{
    rlv_vec3 at, way;      ///< the way leads from the block to the piece, of length one
    rlv_vec3 pole;         ///< of its plane; zero where it has none
    rlv_vec3 end;          ///< of its line, nearest to the joint
    size_t count;          ///< of what the line was laid through
    double square;         ///< sum of the squared distances from it, weighted for points
    double off_mm[CHORDS]; ///< of the middles of chords, across the line in the outline's plane
} half;

/// All that halves are told from.
typedef struct bone
{
    const rlv_across_joint* joint;
    rlv_vec3* room;          ///< the points of one side, carried
    double chord[2][CHORDS]; ///< distances from the joint's plane
    rlv_across* across;      ///< its axes, and where it crosses
    rlv_error* error;
} bone;

/// Points that lie closer than this, root mean square, are one point: in mm, or of an end's in their sds.
static const double LEAST_APART = 1e-3;

/// Straight through points with weights; NULL: all alike.
static bool lay_line(half* h, size_t count, const rlv_vec3* at, const rlv_placed_point* weighed, const bone* b)
{
    rlv_vec3 axis[3];
    double moment[9] = {0}, value[3], total = 0.0;
    h->at = rlv_vec3_of(0, 0, 0);
    for (size_t i = 0; i < count; i++)
    {
        const double weight = weighed != NULL ? pow(rlv_placed_point_sd(&weighed[i]), -2.0) : 1.0;
        h->at = rlv_vec3_along(h->at, weight, at[i]);
        total += weight;
    }
    h->at = rlv_vec3_scale(h->at, 1.0 / total);
    for (size_t i = 0; i < count; i++)
    {
        const double weight = weighed != NULL ? pow(rlv_placed_point_sd(&weighed[i]), -2.0) : 1.0;
        const rlv_vec3 off = rlv_vec3_sub(at[i], h->at);
        const double v[3] = {off.x, off.y, off.z};
        for (int k = 0; k < 9; k++)
            moment[k] += weight * v[k / 3] * v[k % 3];
    }
    if (rlv_principal_axes(value, axis, moment, b->error) != RLV_DONE ||
        !(value[0] > (double)count * LEAST_APART * LEAST_APART))
        return false;
    h->way = rlv_vec3_scale(axis[0], rlv_vec3_dot(axis[0], b->joint->normal) < 0.0 ? -1.0 : 1.0);
    h->count = count;
    h->square = fmax(value[1], 0.0) + fmax(value[2], 0.0);
    return true;
}

/// The end of a line along points, nearest to the joint: `sign` is of the side that they lie on.
static void end_of_points(half* h, size_t count, const rlv_vec3* at, double sign)
{
    double nearest = INFINITY;
    for (size_t i = 0; i < count; i++)
        nearest = fmin(nearest, sign * rlv_vec3_dot(rlv_vec3_sub(at[i], h->at), h->way));
    h->end = rlv_vec3_along(h->at, sign * nearest, h->way);
}

static double height_of(const bone* b, rlv_vec3 at)
{
    return rlv_vec3_dot(rlv_vec3_sub(at, b->joint->middle_mm), b->joint->normal);
}

/// The middle of the chord of an outline at a height over the joint.
static bool chord_middle(rlv_vec3* middle, const bone* b, size_t count, const rlv_vec3* at, double height,
                         rlv_vec3 wide)
{
    double least = INFINITY, most = -INFINITY;
    rlv_vec3 low = {0, 0, 0}, high = {0, 0, 0};
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 from = at[i], to = at[(i + 1) % count];
        const double h = height_of(b, from) - height, g = height_of(b, to) - height;
        if ((h < 0.0) == (g < 0.0))
            continue;
        const rlv_vec3 cut = rlv_vec3_along(from, h / (h - g), rlv_vec3_sub(to, from));
        const double across = rlv_vec3_dot(cut, wide);
        if (across < least)
            least = across, low = cut;
        if (across > most)
            most = across, high = cut;
    }
    *middle = rlv_vec3_scale(rlv_vec3_add(low, high), 0.5);
    return least < INFINITY;
}

/// Where the midline leaves an outline, nearest to the joint.
static bool end_of_outline(half* h, size_t count, const rlv_vec3* at, double sign)
{
    const rlv_vec3 wide = rlv_vec3_unit(rlv_vec3_cross(h->pole, h->way));
    double nearest = INFINITY;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 from = rlv_vec3_sub(at[i], h->at), to = rlv_vec3_sub(at[(i + 1) % count], h->at);
        const double a = rlv_vec3_dot(from, wide), c = rlv_vec3_dot(to, wide);
        if ((a < 0.0) == (c < 0.0))
            continue;
        const rlv_vec3 cut = rlv_vec3_along(from, a / (a - c), rlv_vec3_sub(to, from));
        nearest = fmin(nearest, sign * rlv_vec3_dot(cut, h->way));
    }
    h->end = rlv_vec3_along(h->at, sign * nearest, h->way);
    return nearest < INFINITY;
}

static rlv_vec3 pole_of(size_t count, const rlv_vec3* at, rlv_vec3 outward)
{
    rlv_vec3 sum = {0, 0, 0};
    for (size_t i = 1; i + 1 < count; i++)
        sum = rlv_vec3_add(sum, rlv_vec3_cross(rlv_vec3_sub(at[i], at[0]), rlv_vec3_sub(at[i + 1], at[0])));
    return rlv_vec3_scale(rlv_vec3_unit(sum), rlv_vec3_dot(sum, outward) < 0.0 ? -1.0 : 1.0);
}

static bool lay_midline(half* h, const bone* b, int own, size_t count, const rlv_vec3* at)
{
    rlv_vec3 middle[CHORDS];
    h->pole = pole_of(count, at, b->joint->outward);
    const rlv_vec3 wide = rlv_vec3_unit(rlv_vec3_cross(h->pole, b->joint->normal));
    for (size_t k = 0; k < CHORDS; k++)
        if (!chord_middle(&middle[k], b, count, at, b->chord[own][k], wide))
            return false;
    if (!lay_line(h, CHORDS, middle, NULL, b))
        return false;
    const rlv_vec3 side = rlv_vec3_unit(rlv_vec3_cross(h->pole, h->way));
    for (size_t k = 0; k < CHORDS; k++)
        h->off_mm[k] = rlv_vec3_dot(rlv_vec3_sub(middle[k], h->at), side);
    return end_of_outline(h, count, at, own == 0 ? -1.0 : 1.0);
}

/// The half of a side whose points lie in the room.
static bool half_of_room(half* h, const bone* b, int own, const rlv_across_side* side)
{
    *h = (half){.count = 0};
    if (side->outline)
        return lay_midline(h, b, own, side->count, b->room);
    if (!lay_line(h, side->count, b->room, side->point, b))
        return false;
    end_of_points(h, side->count, b->room, own == 0 ? -1.0 : 1.0);
    return true;
}

static bool half_of(half* h, const bone* b, int own, const rlv_across_side* side)
{
    for (size_t i = 0; i < side->count; i++)
        b->room[i] = rlv_pose_apply(&side->pose, side->point[i].at_mm);
    return half_of_room(h, b, own, side);
}

/// Choose the chords of an outline: fixed, whatever its points do then.
static void choose_chords(bone* b, int own, const rlv_across_side* side)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < side->count; i++)
    {
        const double height = height_of(b, rlv_pose_apply(&side->pose, side->point[i].at_mm));
        low = fmin(low, height);
        high = fmax(high, height);
    }
    for (int k = 0; k < CHORDS; k++)
    {
        const double share = first_chord + (last_chord - first_chord) * k / (CHORDS - 1);
        b->chord[own][k] = own == 0 ? high - share * (high - low) : low + share * (high - low);
    }
}

// --- Numbers ---------------------------------------------------------------------------------------------------------

static rlv_vec3 meet(const half* h, rlv_vec3 at, rlv_vec3 normal)
{
    const double far = rlv_vec3_dot(rlv_vec3_sub(at, h->at), normal) / rlv_vec3_dot(h->way, normal);
    return rlv_vec3_along(h->at, far, h->way);
}

static double turned_by(rlv_vec3 from, rlv_vec3 to, rlv_vec3 along)
{
    return atan2(rlv_vec3_dot(rlv_vec3_cross(from, to), along),
                 rlv_vec3_dot(from, to) - rlv_vec3_dot(from, along) * rlv_vec3_dot(to, along));
}

static void compare(double number[RLV_ACROSS_NUMBERS], const half h[2], const rlv_across* a)
{
    const rlv_vec3 off = rlv_vec3_sub(meet(&h[1], a->at_mm, a->along), meet(&h[0], a->at_mm, a->along));
    double slope[2][2];
    for (int k = 0; k < 2; k++)
    {
        const double on = rlv_vec3_dot(h[k].way, a->along);
        slope[k][0] = atan(rlv_vec3_dot(h[k].way, a->across) / on);
        slope[k][1] = atan(rlv_vec3_dot(h[k].way, a->out) / on);
    }
    const bool planes = rlv_vec3_length(h[0].pole) > 0.0 && rlv_vec3_length(h[1].pole) > 0.0;
    number[RLV_ACROSS_GAP] = rlv_vec3_dot(rlv_vec3_sub(h[1].end, h[0].end), a->along);
    number[RLV_ACROSS_ACROSS] = rlv_vec3_dot(off, a->across);
    number[RLV_ACROSS_OUT] = rlv_vec3_dot(off, a->out);
    number[RLV_ACROSS_BEND_ACROSS] = slope[1][0] - slope[0][0];
    number[RLV_ACROSS_BEND_OUT] = slope[1][1] - slope[0][1];
    number[RLV_ACROSS_TWIST] = planes ? turned_by(h[0].pole, h[1].pole, a->along) : 0.0;
}

static bool numbers_of(double number[RLV_ACROSS_NUMBERS], const void* of, const rlv_across_side side[2])
{
    const bone* b = of;
    half h[2];
    if (!half_of(&h[0], b, 0, &side[0]) || !half_of(&h[1], b, 1, &side[1]))
        return false;
    compare(number, h, b->across);
    return true;
}

/// How much rougher a half is than its points' sds say: 1, or the Birge ratio squared where chance hardly makes it so.
/// Of the middles of chords `expected` is the covariance of how far they lie off.
static double roughness(const half* h, const rlv_across_side* side, double expected[CHORDS][CHORDS])
{
    double chi_square = h->square, freedom = 2.0 * (double)h->count - 4.0;
    if (side->outline)
    {
        double trace = 0.0, square = 0.0, sum = 0.0;
        for (int i = 0; i < CHORDS; i++)
        {
            trace += expected[i][i];
            sum += h->off_mm[i] * h->off_mm[i];
            for (int j = 0; j < CHORDS; j++)
                square += expected[i][j] * expected[i][j];
        }
        // Their sum of squares is about a chi-square of fewer degrees: its mean and its variance say of how many.
        freedom = square > 0.0 ? trace * trace / square : 0.0;
        chi_square = trace > 0.0 ? sum * freedom / trace : 0.0;
    }
    return freedom > 0.0 && gsl_cdf_chisq_Q(chi_square, freedom) < 0.05 ? chi_square / freedom : 1.0;
}

/// Carry the errors of one side's points.
static bool add_points(rlv_across_told* told, const bone* b, const half h[2], int own, const rlv_across_side* side)
{
    double of[RLV_ACROSS_NUMBERS][RLV_ACROSS_NUMBERS] = {{0}}, expected[CHORDS][CHORDS] = {{0}};
    half moved[2] = {h[0], h[1]};
    for (size_t c = 0; c < 3 * side->count; c++)
    {
        const double sd = rlv_placed_point_sd(&side->point[c / 3]);
        double number[2][RLV_ACROSS_NUMBERS], change[RLV_ACROSS_NUMBERS], off[2][CHORDS];
        for (int k = 0; k < 2; k++)
        {
            for (size_t i = 0; i < side->count; i++)
                b->room[i] = rlv_pose_apply(&side->pose, side->point[i].at_mm);
            const double step = k == 0 ? sd : -sd;
            b->room[c / 3] = rlv_vec3_along(b->room[c / 3], step, rlv_vec3_of(c % 3 == 0, c % 3 == 1, c % 3 == 2));
            if (!half_of_room(&moved[own], b, own, side))
                return false;
            compare(number[k], moved, b->across);
            memcpy(off[k], moved[own].off_mm, sizeof off[k]);
        }
        for (int i = 0; i < RLV_ACROSS_NUMBERS; i++)
            change[i] = 0.5 * (number[0][i] - number[1][i]);
        rlv_across_add(of, change, change, 1.0);
        for (int i = 0; i < CHORDS; i++)
            for (int j = 0; j < CHORDS; j++)
                expected[i][j] += 0.25 * (off[0][i] - off[1][i]) * (off[0][j] - off[1][j]);
    }
    const double rough = roughness(&h[own], side, expected);
    for (int i = 0; i < RLV_ACROSS_NUMBERS; i++)
        for (int j = 0; j < RLV_ACROSS_NUMBERS; j++)
            told->of_points[i][j] += rough * of[i][j];
    return true;
}

// --- Telling ---------------------------------------------------------------------------------------------------------

/// The axes of a bone, and where it crosses. False where it runs along the joint.
static bool lay_axes(rlv_across* a, const half h[2], const rlv_across_joint* joint)
{
    const double least = sin(RLV_ACROSS_LEAST_DEG * M_PI / 180.0);
    if (rlv_vec3_dot(h[0].way, joint->normal) < least || rlv_vec3_dot(h[1].way, joint->normal) < least)
        return false;
    const rlv_vec3 poles = rlv_vec3_add(h[0].pole, h[1].pole);
    rlv_across_axes(a, rlv_vec3_unit(rlv_vec3_add(h[0].way, h[1].way)),
                    rlv_vec3_length(poles) > 0.5 ? poles : joint->outward);
    a->at_mm = rlv_vec3_scale(
        rlv_vec3_add(meet(&h[0], joint->middle_mm, joint->normal), meet(&h[1], joint->middle_mm, joint->normal)), 0.5);
    return true;
}

static double rms_of(const half h[2], const rlv_across_side side[2])
{
    double square = 0.0, count = 0.0;
    for (int k = 0; k < 2; k++)
    {
        double weight = 0.0;
        for (size_t i = 0; i < side[k].count; i++)
            weight += pow(rlv_placed_point_sd(&side[k].point[i]), -2.0) / (double)side[k].count;
        square += side[k].outline ? h[k].square : h[k].square / weight;
        count += (double)h[k].count;
    }
    return sqrt(square / count);
}

static rlv_status tell(rlv_across* a, bone* b, const rlv_across_side side[2], rlv_error* error)
{
    half h[2];
    for (int k = 0; k < 2; k++)
    {
        choose_chords(b, k, &side[k]);
        if (!half_of(&h[k], b, k, &side[k]))
            return error->status == RLV_SYSTEM
                       ? RLV_SYSTEM
                       : rlv_fail(error, RLV_IMPOSSIBLE, NULL, "place its points along the bone, or well round it",
                                  "the %s's points tell no line", k == 0 ? "block" : "piece");
    }
    if (!lay_axes(a, h, b->joint))
        return rlv_across_fail_along(error);
    rlv_across_told told = {.freedom = (double)INFINITY};
    compare(told.number, h, a);
    for (int k = 0; k < 2; k++)
    {
        a->used[k] = side[k].count;
        a->carried_mm[k] = (k == 0 ? 1.0 : -1.0) * rlv_vec3_dot(rlv_vec3_sub(a->at_mm, h[k].end), a->along);
        if (!add_points(&told, b, h, k, &side[k]))
            return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "place its points along the bone, or well round it",
                            "the %s's points tell no line within their sds", k == 0 ? "block" : "piece");
    }
    if (!rlv_across_poses(&told, side, numbers_of, b))
        return rlv_across_fail_along(error);
    a->rms_mm = rms_of(h, side);
    rlv_across_tell(a, &told);
    if (!side[0].outline || !side[1].outline)
        a->twist_deg = (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    return RLV_DONE;
}

rlv_status rlv_across_bone(rlv_across* across, const rlv_across_side side[2], const rlv_across_joint* joint,
                           rlv_error* error)
{
    const rlv_interval none = {(double)NAN, (double)NAN, (double)NAN};
    *across = (rlv_across){.spacing_mm = none, .pitch_mm = none, .step_mm = none, .step_p = (double)NAN};
    rlv_status status = rlv_across_check(side, 2, "point", error);
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
        if (side[k].outline && side[k].count < 3)
            status = rlv_fail(error, RLV_IMPOSSIBLE, NULL, "number three or more round it",
                              "the %s has an outline of two points", k == 0 ? "block" : "piece");
    if (status != RLV_DONE)
        return status;
    const size_t most = side[0].count > side[1].count ? side[0].count : side[1].count;
    bone b = {.joint = joint, .across = across, .error = error, .room = rlv_reserve(most, sizeof *b.room, error)};
    status = b.room != NULL ? tell(across, &b, side, error) : RLV_SYSTEM;
    free(b.room);
    return status;
}
