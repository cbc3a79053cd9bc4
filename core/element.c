#include "element_parts.h"

#include "directions.h"
#include "element_curve.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

#define NONE SIZE_MAX
#define SURE 3.29 ///< sds beyond which a sign is taken as known: wrong once in a thousand

/// What tells the long axis, the surest anatomy first.
typedef enum axis_source
{
    AXIS_ENDS,  ///< posterior to anterior
    AXIS_SIDES, ///< across the line from right to left
    AXIS_END,   ///< between the centroid and one of the ends
    AXIS_SIDE,  ///< across the line between the centroid and one of the sides
    AXIS_SHAPE,
    AXIS_NONE,
} axis_source;

/// What is measured from the same points again and again, each a little moved.
typedef struct job
{
    size_t outline, count; ///< the outline's points come first
    rlv_vec3* at;
    double* sd;
    size_t landmark[RLV_LANDMARKS]; ///< index, or NONE
    size_t ring_count;              ///< points round the plate: the outline's, or landmarks
    size_t ring[RLV_LANDMARKS];     ///< those landmarks, where there is no outline
    axis_source source;
    double sense;       ///< of the pole against the ring's vector area
    rlv_vec3 reference; ///< an axis by shape is taken in this sense
    rlv_vec3 outward;
    rlv_element_curve curve;
} job;

typedef struct figure
{
    rlv_vec3 position;
    rlv_mat3 frame; ///< columns: long, width, pole
    double size[3]; ///< length, width, thickness; NaN
} figure;

static const char* const names[RLV_LANDMARKS] = {"anterior", "left", "posterior", "right", "apex", "base"};

const char* rlv_landmark_name(rlv_landmark landmark)
{
    return names[landmark];
}

rlv_landmark rlv_landmark_of(const char* name)
{
    int k = 0;
    while (k < RLV_LANDMARKS && strcmp(name, names[k]) != 0)
        k++;
    return (rlv_landmark)k;
}

// --- what is there ---------------------------------------------------------------------------------------------------

static bool has(const job* j, rlv_landmark k)
{
    return j->landmark[k] != NONE;
}

static bool has_pair(const job* j, rlv_landmark k)
{
    return has(j, k) && has(j, k + 2);
}

static rlv_vec3 mark(const job* j, const rlv_vec3* at, rlv_landmark k)
{
    return at[j->landmark[k]];
}

static axis_source choose_axis(const job* j)
{
    if (has_pair(j, RLV_LANDMARK_ANTERIOR))
        return AXIS_ENDS;
    if (has_pair(j, RLV_LANDMARK_LEFT))
        return AXIS_SIDES;
    if (j->outline == 0)
        return AXIS_NONE;
    if (has(j, RLV_LANDMARK_ANTERIOR) || has(j, RLV_LANDMARK_POSTERIOR))
        return AXIS_END;
    return has(j, RLV_LANDMARK_LEFT) || has(j, RLV_LANDMARK_RIGHT) ? AXIS_SIDE : AXIS_SHAPE;
}

static rlv_status fill(job* j, size_t outline_count, const rlv_placed_point* outline, const rlv_element_seen* seen,
                       rlv_error* error)
{
    rlv_placed_point placed[RLV_LANDMARKS];
    size_t marks = 0;
    rlv_status status = rlv_placed_points_check(outline_count, outline, error);
    j->outline = outline_count;
    j->outward = seen->outward;
    for (int k = 0; k < RLV_LANDMARKS; k++)
    {
        j->landmark[k] = seen->landmark[k] != NULL ? outline_count + marks : NONE;
        if (seen->landmark[k] == NULL)
            continue;
        placed[marks++] = *seen->landmark[k];
        if (status == RLV_DONE && rlv_placed_points_check(1, seen->landmark[k], NULL) != RLV_DONE)
            status = rlv_fail(error, RLV_BAD_INPUT, NULL, "place it again, and write an sd above zero, or none",
                              "the landmark %s is not finite, or its sd is not above zero", names[k]);
        if (outline_count == 0 && k <= RLV_LANDMARK_RIGHT)
            j->ring[j->ring_count++] = j->landmark[k];
    }
    if (status != RLV_DONE)
        return status;
    j->count = outline_count + marks;
    j->at = rlv_reserve(j->count, sizeof *j->at, error);
    j->sd = rlv_reserve(j->count, sizeof *j->sd, error);
    if (j->at == NULL || j->sd == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < j->count; i++)
    {
        const rlv_placed_point* point = i < outline_count ? &outline[i] : &placed[i - outline_count];
        j->at[i] = point->at_mm;
        j->sd[i] = rlv_placed_point_sd(point);
    }
    j->ring_count = outline_count > 0 ? outline_count : j->ring_count;
    j->source = choose_axis(j);
    j->sense = 1.0;
    return RLV_DONE;
}

static rlv_status check_enough(const job* j, rlv_error* error)
{
    static const char* const mend = "give an outline of three numbered points or more, or two opposite landmarks: "
                                    "anterior and posterior, or left and right";
    if (j->outline > 0 && j->outline < 3)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "%zu points enclose nothing", j->outline);
    if (j->outline == 0 && j->source == AXIS_NONE)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, mend, "%zu landmarks, and no two of them opposite, tell no place",
                        j->count);
    return RLV_DONE;
}

static void job_free(job* j)
{
    free(j->at);
    free(j->sd);
    rlv_element_curve_free(&j->curve);
}

// --- one figure ------------------------------------------------------------------------------------------------------

static bool is_plate(const job* j)
{
    return j->ring_count >= 3;
}

static rlv_vec3 ring_at(const job* j, const rlv_vec3* at, size_t i)
{
    i = i < j->ring_count ? i : i - j->ring_count;
    return at[j->outline > 0 ? i : j->ring[i]];
}

static rlv_vec3 ring_mean(const job* j, const rlv_vec3* at)
{
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < j->ring_count; i++)
        sum = rlv_vec3_add(sum, rlv_vec3_sub(ring_at(j, at, i), at[0]));
    return rlv_vec3_along(at[0], 1.0 / (double)j->ring_count, sum);
}

static rlv_vec3 vector_area(const job* j, const rlv_vec3* at, rlv_vec3 about)
{
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < j->ring_count; i++)
        sum = rlv_vec3_along(
            sum, 0.5,
            rlv_vec3_cross(rlv_vec3_sub(ring_at(j, at, i), about), rlv_vec3_sub(ring_at(j, at, i + 1), about)));
    return sum;
}

/// Centroid of the area that the outline encloses: of the fan of triangles about `about`, seen along the pole.
static rlv_vec3 area_centroid(const job* j, const rlv_vec3* at, rlv_vec3 about, rlv_vec3 area)
{
    const rlv_vec3 pole = rlv_vec3_unit(area);
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < j->outline; i++)
    {
        const rlv_vec3 a = rlv_vec3_sub(ring_at(j, at, i), about), b = rlv_vec3_sub(ring_at(j, at, i + 1), about);
        sum = rlv_vec3_along(sum, rlv_vec3_dot(rlv_vec3_cross(a, b), pole) / 6.0, rlv_vec3_add(a, b));
    }
    return rlv_vec3_along(about, 1.0 / rlv_vec3_length(area), sum);
}

/// The mean of the middles between opposite landmarks.
static rlv_vec3 middle(const job* j, const rlv_vec3* at)
{
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    double pairs = 0.0;
    for (rlv_landmark k = RLV_LANDMARK_ANTERIOR; k <= RLV_LANDMARK_LEFT; k++)
        if (has_pair(j, k))
        {
            sum = rlv_vec3_add(sum, rlv_vec3_along(rlv_vec3_scale(mark(j, at, k), 0.5), 0.5, mark(j, at, k + 2)));
            pairs += 1.0;
        }
    return rlv_vec3_scale(sum, 1.0 / pairs);
}

/// The outline's longer axis, by second moments of area in the plane across the pole.
static rlv_vec3 shape_axis(const job* j, const rlv_vec3* at, rlv_vec3 centre, rlv_vec3 pole)
{
    const rlv_vec3 e = rlv_vec3_across(pole), f = rlv_vec3_cross(pole, e);
    double xx = 0.0, xy = 0.0, yy = 0.0;
    for (size_t i = 0; i < j->outline; i++)
    {
        const rlv_vec3 a = rlv_vec3_sub(ring_at(j, at, i), centre), b = rlv_vec3_sub(ring_at(j, at, i + 1), centre);
        const double ax = rlv_vec3_dot(a, e), ay = rlv_vec3_dot(a, f), bx = rlv_vec3_dot(b, e), by = rlv_vec3_dot(b, f);
        const double weight = ax * by - ay * bx; // a triangle with a corner at the centre: 24 times its moments
        xx += weight * (ax * ax + bx * bx + (ax + bx) * (ax + bx));
        xy += weight * (ax * ay + bx * by + (ax + bx) * (ay + by));
        yy += weight * (ay * ay + by * by + (ay + by) * (ay + by));
    }
    // Numbered against the pole's sense, all moments are below zero.
    const double sign = xx + yy < 0.0 ? -1.0 : 1.0, turn = 0.5 * atan2(2.0 * sign * xy, sign * (xx - yy));
    const rlv_vec3 axis = rlv_vec3_along(rlv_vec3_scale(e, cos(turn)), sin(turn), f);
    return rlv_vec3_dot(axis, j->reference) < 0.0 ? rlv_vec3_scale(axis, -1.0) : axis;
}

/// From the posterior to the anterior, or from right to left (`k` the first of the two): between both, or between the
/// centroid and one of them.
static rlv_vec3 between(const job* j, const rlv_vec3* at, rlv_landmark k, rlv_vec3 centre)
{
    return rlv_vec3_sub(has(j, k) ? mark(j, at, k) : centre, has(j, k + 2) ? mark(j, at, k + 2) : centre);
}

static rlv_vec3 long_axis(const job* j, const rlv_vec3* at, rlv_vec3 centre, rlv_vec3 pole)
{
    switch (j->source)
    {
    case AXIS_ENDS:
    case AXIS_END:
        return between(j, at, RLV_LANDMARK_ANTERIOR, centre);
    case AXIS_SIDES:
    case AXIS_SIDE:
        return rlv_vec3_cross(between(j, at, RLV_LANDMARK_LEFT, centre), pole);
    default:
        return shape_axis(j, at, centre, pole);
    }
}

static rlv_mat3 frame_of(rlv_vec3 x, rlv_vec3 z)
{
    x = rlv_vec3_unit(rlv_vec3_along(x, -rlv_vec3_dot(x, z), z));
    return rlv_mat3_of_columns(x, rlv_vec3_cross(z, x), z);
}

static double extent(const job* j, const rlv_vec3* at, rlv_vec3 axis, rlv_landmark k)
{
    if (j->outline == 0)
        return has_pair(j, k) ? fabs(rlv_vec3_dot(rlv_vec3_sub(mark(j, at, k), mark(j, at, k + 2)), axis))
                              : (double)NAN;
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < j->outline; i++)
    {
        const double along = rlv_vec3_dot(rlv_vec3_sub(at[i], at[0]), axis);
        low = fmin(low, along);
        high = fmax(high, along);
    }
    return high - low;
}

static figure draw(const job* j, const rlv_vec3* at)
{
    figure f;
    rlv_vec3 pole, way;
    if (is_plate(j))
    {
        const rlv_vec3 about = ring_mean(j, at), area = vector_area(j, at, about);
        f.position = j->outline > 0 ? area_centroid(j, at, about, area) : middle(j, at);
        pole = rlv_vec3_scale(rlv_vec3_unit(area), j->sense);
        way = long_axis(j, at, f.position, pole);
    }
    else
    {
        // Two ends, or two sides: nothing else of the frame is known.
        const bool ends = j->source == AXIS_ENDS;
        f.position = middle(j, at);
        way = rlv_vec3_unit(between(j, at, ends ? RLV_LANDMARK_ANTERIOR : RLV_LANDMARK_LEFT, f.position));
        const rlv_vec3 out = rlv_vec3_along(j->outward, -rlv_vec3_dot(j->outward, way), way);
        pole = rlv_vec3_length(out) > 0.0 ? rlv_vec3_unit(out) : rlv_vec3_across(way);
        way = ends ? way : rlv_vec3_cross(way, pole);
    }
    f.frame = frame_of(way, pole);
    f.size[0] = extent(j, at, rlv_mat3_column(f.frame, 0), RLV_LANDMARK_ANTERIOR);
    f.size[1] = extent(j, at, rlv_mat3_column(f.frame, 1), RLV_LANDMARK_LEFT);
    f.size[2] =
        is_plate(j) && has(j, RLV_LANDMARK_APEX) && has(j, RLV_LANDMARK_BASE)
            ? fabs(rlv_vec3_dot(rlv_vec3_sub(mark(j, at, RLV_LANDMARK_APEX), mark(j, at, RLV_LANDMARK_BASE)), pole))
            : (double)NAN;
    return f;
}

// --- which face ------------------------------------------------------------------------------------------------------

static double mark_variance(const job* j, rlv_landmark k, double centre)
{
    return has(j, k) ? pow(j->sd[j->landmark[k]], 2.0) : centre;
}

/// How many sds anterior cross left stands out along the pole; 0 where it is not known.
static double handedness(const job* j, const figure* f, double centre_variance)
{
    const bool front = has(j, RLV_LANDMARK_ANTERIOR) || has(j, RLV_LANDMARK_POSTERIOR);
    const bool side = has(j, RLV_LANDMARK_LEFT) || has(j, RLV_LANDMARK_RIGHT);
    if (!front || !side)
        return 0.0;
    const rlv_vec3 ahead = between(j, j->at, RLV_LANDMARK_ANTERIOR, f->position);
    const rlv_vec3 left = between(j, j->at, RLV_LANDMARK_LEFT, f->position);
    const double sd = sqrt(mark_variance(j, RLV_LANDMARK_LEFT, centre_variance) +
                           mark_variance(j, RLV_LANDMARK_RIGHT, centre_variance));
    return rlv_vec3_dot(rlv_vec3_cross(rlv_vec3_unit(ahead), left), rlv_mat3_column(f->frame, 2)) / sd;
}

/// The same of the apex above the outline, or above the base.
static double height(const job* j, const figure* f, double centre_variance)
{
    if (!has(j, RLV_LANDMARK_APEX) && !has(j, RLV_LANDMARK_BASE))
        return 0.0;
    const rlv_vec3 top = has(j, RLV_LANDMARK_APEX) ? mark(j, j->at, RLV_LANDMARK_APEX) : f->position;
    const rlv_vec3 foot = has(j, RLV_LANDMARK_BASE) ? mark(j, j->at, RLV_LANDMARK_BASE) : f->position;
    const double sd = sqrt(mark_variance(j, RLV_LANDMARK_APEX, centre_variance) +
                           mark_variance(j, RLV_LANDMARK_BASE, centre_variance));
    return rlv_vec3_dot(rlv_vec3_sub(top, foot), rlv_mat3_column(f->frame, 2)) / sd;
}

/// Turn the pole to the external face where that is known, else outwards, else to a side that does not depend on how
/// the points were numbered. True where it is known.
static bool find_face(job* j, rlv_element* element)
{
    figure f = draw(j, j->at);
    double mean = 0.0;
    for (size_t i = 0; i < j->ring_count; i++)
        mean += pow(j->sd[j->outline > 0 ? i : j->ring[i]], 2.0) / (double)j->ring_count;
    const double centre_variance = mean / (double)j->ring_count;
    const double hand = handedness(j, &f, centre_variance), apex = height(j, &f, centre_variance);
    element->contradicts = fabs(hand) > SURE && fabs(apex) > SURE && hand * apex < 0.0;
    const double surest = fabs(hand) >= fabs(apex) ? hand : apex;
    const bool known = fabs(surest) > SURE && !element->contradicts;
    const rlv_vec3 pole = rlv_mat3_column(f.frame, 2), any = rlv_vec3_of(1.0, 1e-3, 1e-6);
    const double out = rlv_vec3_dot(pole, rlv_vec3_length(j->outward) > 0.0 ? j->outward : any);
    j->sense = (known ? surest : out) < 0.0 ? -1.0 : 1.0;
    return known;
}

// --- errors ----------------------------------------------------------------------------------------------------------

/// Sums over all coordinates of all points.
typedef struct spread
{
    double position[9], attitude[9];
    double size[3], push[3]; ///< variances of the extents, and how far noise pushes them outwards
} spread;

static void add_outer(double cov[9], rlv_vec3 step)
{
    const double v[3] = {step.x, step.y, step.z};
    for (int k = 0; k < 9; k++)
        cov[k] += v[k / 3] * v[k % 3];
}

/// What a coordinate does that is moved by sqrt(3) sds to either side: Gauss and Hermite's three points.
static void add_coordinate(spread* s, const figure* at_rest, const figure* up, const figure* down, bool of_outline)
{
    const double per_sd = 0.5 / sqrt(3.0);
    add_outer(s->position, rlv_vec3_scale(rlv_vec3_sub(up->position, down->position), per_sd));
    add_outer(
        s->attitude,
        rlv_vec3_scale(rlv_rotation_to_vector(rlv_mat3_multiply(up->frame, rlv_mat3_transpose(down->frame))), per_sd));
    for (int k = of_outline ? 2 : 0; k < 3; k++) // what an outline's points do to its extents: spread_extremes
    {
        s->size[k] += pow(per_sd * (up->size[k] - down->size[k]), 2.0);
        s->push[k] += (up->size[k] + down->size[k] - 2.0 * at_rest->size[k]) / 6.0;
    }
}

static spread spread_of(const job* j, const figure* at_rest)
{
    spread s = {0};
    for (size_t i = 0; i < j->count; i++)
    {
        const rlv_vec3 rest = j->at[i];
        for (int axis = 0; axis < 3; axis++)
        {
            const double step = sqrt(3.0) * j->sd[i];
            const rlv_vec3 way = rlv_vec3_of(axis == 0, axis == 1, axis == 2);
            j->at[i] = rlv_vec3_along(rest, step, way);
            const figure up = draw(j, j->at);
            j->at[i] = rlv_vec3_along(rest, -step, way);
            const figure down = draw(j, j->at);
            j->at[i] = rest;
            add_coordinate(&s, at_rest, &up, &down, i < j->outline);
        }
    }
    return s;
}

/// An outline's extents are told by its outermost points, whichever they are. Where several crowd at an end the
/// outermost is less uncertain than one of them, but how far noise pushed it is the less known: by simulation (tests
/// `intervals_of_…`) the variance together lies between the two, nearer to that of one point.
static void spread_extremes(spread* s, const job* j, rlv_mat3 frame)
{
    for (int k = 0; k < 2 && j->outline > 0; k++)
    {
        for (int sense = -1; sense <= 1; sense += 2)
        {
            const rlv_extreme end =
                rlv_extreme_of(j->outline, j->curve.smooth, j->sd, rlv_mat3_column(frame, k), sense);
            s->push[k] += end.push_mm;
            s->size[k] += (end.variance_mm2 + 2.0 * end.point_variance_mm2) / 3.0;
        }
    }
}

/// Whether turns about axis `k` of the frame are known.
static bool is_held(const double attitude[9], rlv_mat3 frame, int k)
{
    double turned[9];
    rlv_element_turn_cov(turned, rlv_mat3_transpose(frame), attitude);
    return turned[4 * k] < RLV_ELEMENT_LIMIT_RAD * RLV_ELEMENT_LIMIT_RAD;
}

/// Let turns about axis `k` of the frame be any.
static void free_turn(double attitude[9], rlv_mat3 frame, int k)
{
    double turned[9];
    rlv_element_turn_cov(turned, rlv_mat3_transpose(frame), attitude);
    for (int i = 0; i < 3; i++)
        turned[3 * k + i] = turned[3 * i + k] = 0.0;
    turned[4 * k] = RLV_ELEMENT_ANY_TURN;
    rlv_element_turn_cov(attitude, frame, turned);
}

static void settle_attitude(rlv_element* element, const job* j, rlv_mat3 frame, bool face)
{
    double* cov = element->attitude_cov_rad2;
    const bool ends_only = !is_plate(j) && j->source == AXIS_ENDS;
    if (is_plate(j))
        element->known |= RLV_ELEMENT_POLE | (face ? RLV_ELEMENT_FACE : 0u);
    const bool plate_long = is_plate(j) && is_held(cov, frame, 2);
    if (plate_long || ends_only)
        element->known |= RLV_ELEMENT_LONG;
    const bool by_ends = j->source == AXIS_ENDS || j->source == AXIS_END;
    const bool by_sides = j->source == AXIS_SIDES || j->source == AXIS_SIDE;
    if ((element->known & RLV_ELEMENT_LONG) != 0 && (by_ends || (by_sides && face)))
        element->known |= RLV_ELEMENT_FRONT;
    element->long_by_shape = j->source == AXIS_SHAPE;
    element->by_centre = j->source == AXIS_END || j->source == AXIS_SIDE || j->source == AXIS_SHAPE;
    if (ends_only || (is_plate(j) && !plate_long))
        free_turn(cov, frame, ends_only ? 0 : 2);
    if (!is_plate(j) && !ends_only)
        for (int k = 0; k < 9; k++)
            cov[k] = k % 4 == 0 ? RLV_ELEMENT_ANY_TURN : 0.0;
}

static rlv_interval size_of(const figure* f, const spread* s, double factor, int k)
{
    rlv_interval size = rlv_element_interval(fmax(f->size[k] - s->push[k], 0.0), sqrt(factor * s->size[k]));
    size.low = isnan(f->size[k]) ? f->size[k] : fmax(size.low, 0.0);
    return isnan(f->size[k]) ? (rlv_interval){f->size[k], f->size[k], f->size[k]} : size;
}

/// Whether the points round the plate lie on a line within their sds: chi-square of their distances from the best one.
static bool is_line(const job* j)
{
    double moment[9] = {0.0}, value[3], weights = 0.0;
    rlv_vec3 axis[3], mean = {0.0, 0.0, 0.0};
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i < j->ring_count; i++)
        {
            const double weight = pow(j->sd[j->outline > 0 ? i : j->ring[i]], -2.0);
            const rlv_vec3 off = rlv_vec3_sub(ring_at(j, j->at, i), j->at[0]);
            const double v[3] = {off.x - mean.x, off.y - mean.y, off.z - mean.z};
            weights += pass == 0 ? weight : 0.0;
            for (int k = 0; k < 9; k++)
                moment[k] += pass == 1 ? weight * v[k / 3] * v[k % 3] : 0.0;
            if (pass == 0) // the mean as it stands so far
                mean = rlv_vec3_along(mean, weight / weights, rlv_vec3_sub(off, mean));
        }
    if (rlv_principal_axes(value, axis, moment, NULL) != RLV_DONE)
        return false;
    const double freedom = 2.0 * (double)j->ring_count - 4.0;
    return value[1] + value[2] <= gsl_cdf_chisq_Pinv(0.95, freedom);
}

/// Whether the points enclose so little that the pole is not known.
static bool is_sliver(const job* j, const double attitude[9], rlv_mat3 frame)
{
    return is_plate(j) && (!is_held(attitude, frame, 0) || !is_held(attitude, frame, 1));
}

/// Of a sliver nothing is told but where it lies: the mean of its points, for the centroid of an area of next to none
/// is anywhere; and how far it reaches. A middle between landmarks stays as it is.
static void settle_sliver(rlv_element* element, const job* j, double factor)
{
    element->sliver = true;
    for (int k = 0; k < 9; k++)
        element->attitude_cov_rad2[k] = k % 4 == 0 ? RLV_ELEMENT_ANY_TURN : 0.0;
    if (j->outline == 0)
        return;
    double variance = 0.0;
    for (size_t i = 0; i < j->outline; i++)
        variance += factor * j->sd[i] * j->sd[i] / (double)(j->outline * j->outline);
    const rlv_vec3 middle = ring_mean(j, j->at);
    const double at[3] = {middle.x, middle.y, middle.z};
    memcpy(element->position_mm, at, sizeof at);
    for (int k = 0; k < 9; k++)
        element->position_cov_mm2[k] = k % 4 == 0 ? variance : 0.0;
}

static rlv_status check_ends(const job* j, const double attitude[9], rlv_mat3 frame, rlv_error* error)
{
    if (!is_plate(j) && !is_held(attitude, frame, 2) && j->source == AXIS_ENDS)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "place them at its two ends",
                        "its anterior and posterior points lie in one place within their sds");
    return RLV_DONE;
}

/// How far, in sds, `p` and `q` lie to either side of the line through `a` and `b`, in the plane across `pole`: the
/// lesser of the two; 0 where they lie on one side.
static double parted(const job* j, size_t a, size_t b, size_t p, size_t q, rlv_vec3 pole)
{
    const rlv_vec3 across = rlv_vec3_unit(rlv_vec3_cross(pole, rlv_vec3_sub(j->at[b], j->at[a])));
    const double left = rlv_vec3_dot(rlv_vec3_sub(j->at[p], j->at[a]), across) / j->sd[p];
    const double right = rlv_vec3_dot(rlv_vec3_sub(j->at[q], j->at[a]), across) / j->sd[q];
    return left * right < 0.0 ? fmin(fabs(left), fabs(right)) : 0.0;
}

/// Two sides that cross by more than errors of their points can make them.
static rlv_status check_crossing(const job* j, rlv_vec3 pole, rlv_error* error)
{
    const size_t n = j->outline;
    for (size_t i = 0; i < n; i++)
        for (size_t k = i + 2; k < n; k++)
        {
            const size_t i_next = i + 1, k_next = (k + 1) % n;
            if (k_next != i && parted(j, i, i_next, k, k_next, pole) > SURE &&
                parted(j, k, k_next, i, i_next, pole) > SURE)
                return rlv_fail(error, RLV_BAD_INPUT, NULL, "number its points in order round it",
                                "its outline crosses itself between points %zu and %zu and points %zu and %zu", i + 1,
                                i_next + 1, k + 1, k_next + 1);
        }
    return RLV_DONE;
}

static rlv_status measure(rlv_element* element, job* j, rlv_error* error)
{
    const bool plate = is_plate(j);
    const rlv_vec3 area = plate ? vector_area(j, j->at, ring_mean(j, j->at)) : (rlv_vec3){0.0, 0.0, 0.0};
    if (plate && (is_line(j) || !(rlv_vec3_length(area) > 0.0)))
        return rlv_fail(error, RLV_BAD_INPUT, NULL,
                        "place points on all sides of it; of a thing as narrow as that, give only its anterior and "
                        "posterior ends",
                        "its %zu points lie on a line within their sds", j->ring_count);
    if (check_crossing(j, plate ? rlv_vec3_unit(area) : j->outward, error) != RLV_DONE)
        return RLV_BAD_INPUT;
    const bool face = plate && find_face(j, element);
    const figure f = draw(j, j->at);
    j->reference = rlv_mat3_column(f.frame, 0);
    spread s = spread_of(j, &f);
    spread_extremes(&s, j, f.frame);
    const double factor = j->curve.birge * j->curve.birge;
    element->inflated = factor > 1.0;
    const double at[3] = {f.position.x, f.position.y, f.position.z};
    memcpy(element->position_mm, at, sizeof at);
    memcpy(element->frame, f.frame.m, sizeof f.frame.m);
    for (int k = 0; k < 9; k++)
    {
        element->position_cov_mm2[k] = factor * s.position[k];
        element->attitude_cov_rad2[k] = factor * s.attitude[k];
    }
    const rlv_status status = check_ends(j, element->attitude_cov_rad2, f.frame, error);
    if (status != RLV_DONE)
        return status;
    if (is_sliver(j, element->attitude_cov_rad2, f.frame))
        settle_sliver(element, j, factor);
    else
        settle_attitude(element, j, f.frame, face);
    element->length_mm = size_of(&f, &s, factor, 0);
    element->width_mm = size_of(&f, &s, factor, 1);
    element->thickness_mm = size_of(&f, &s, factor, 2);
    return RLV_DONE;
}

rlv_status rlv_element_measure(rlv_element* element, const rlv_element_seen* seen, rlv_error* error)
{
    *element = (rlv_element){0};
    job j = {0};
    rlv_placed_point border[RLV_ELEMENT_POINTS];
    const rlv_placed_point* outline = seen->outline;
    size_t count = seen->outline_count;
    rlv_status status = RLV_DONE;
    if (count == 0 && seen->part != NULL)
    {
        status = rlv_element_border(border, &count, seen->part, error);
        if (status == RLV_DONE && count == 0)
            return rlv_element_solid(element, seen->part, error);
        outline = border;
    }
    if (status == RLV_DONE)
        status = fill(&j, count, outline, seen, error);
    if (status == RLV_DONE)
        status = check_enough(&j, error);
    if (status == RLV_DONE)
        status = rlv_element_curve_fit(&j.curve, j.outline, j.at, j.sd, error);
    if (status == RLV_DONE)
        status = measure(element, &j, error);
    job_free(&j);
    return status;
}

/// What a pose's covariance does to a place and an attitude there.
static rlv_element_errors errors_of(const rlv_pose* pose, rlv_vec3 place)
{
    rlv_element_errors errors;
    rlv_pose_covariance_at(pose, place, errors.position_cov_mm2);
    for (int k = 0; k < 9; k++)
        errors.attitude_cov_rad2[k] = pose->covariance[7 * (3 + k / 3) + 3 + k % 3];
    return errors;
}

void rlv_element_add_errors(rlv_element* element, const rlv_element_errors* errors)
{
    for (int k = 0; k < 9; k++)
    {
        element->position_cov_mm2[k] += errors->position_cov_mm2[k];
        element->attitude_cov_rad2[k] += errors->attitude_cov_rad2[k];
    }
}

/// Either half of the interval by itself, with the scale's error; NaN stays NaN.
static rlv_interval carried_size(rlv_interval size, const rlv_pose* pose)
{
    const double value = pose->scale * size.value;
    const double of_scale = 1.959964 * value * sqrt(fmax(pose->covariance[48], 0.0));
    const double low = value - hypot(pose->scale * (size.value - size.low), of_scale);
    const double high = value + hypot(pose->scale * (size.high - size.value), of_scale);
    return (rlv_interval){value, low < 0.0 ? 0.0 : low, high};
}

void rlv_element_carry(rlv_element* element, const rlv_pose* pose, rlv_element_errors* of_pose)
{
    const rlv_mat3 turn = pose->rotation;
    const rlv_vec3 from = rlv_vec3_of(element->position_mm[0], element->position_mm[1], element->position_mm[2]);
    const rlv_vec3 to = rlv_pose_apply(pose, from);
    rlv_element_turn_cov(element->position_cov_mm2, turn, element->position_cov_mm2);
    rlv_element_turn_cov(element->attitude_cov_rad2, turn, element->attitude_cov_rad2);
    for (int k = 0; k < 9; k++)
        element->position_cov_mm2[k] *= pose->scale * pose->scale;
    const rlv_element_errors errors = errors_of(pose, to);
    if (of_pose != NULL)
        *of_pose = errors;
    else
        rlv_element_add_errors(element, &errors);
    rlv_mat3 frame;
    memcpy(frame.m, element->frame, sizeof frame.m);
    frame = rlv_mat3_multiply(turn, frame);
    memcpy(element->frame, frame.m, sizeof frame.m);
    element->position_mm[0] = to.x;
    element->position_mm[1] = to.y;
    element->position_mm[2] = to.z;
    rlv_interval* size[3] = {&element->length_mm, &element->width_mm, &element->thickness_mm};
    for (int k = 0; k < 3; k++)
        *size[k] = carried_size(*size[k], pose);
}
