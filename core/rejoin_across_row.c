#include "rejoin_across_parts.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    MOST = 2 * RLV_ACROSS_MOST,
    TERMS = RLV_ACROSS_UNKNOWNS, ///< of the curve: where either side meets the joint, its slope there, and one bend
};

/// The elements of a row next to the joint, from the block's farthest to the piece's: those of the block come first.
typedef struct row
{
    size_t count, of_block;
    size_t which[MOST]; ///< index into its side's points
    const rlv_across_joint* joint;
    rlv_across* across; ///< its axes, and where it crosses
} row;

static rlv_vec3 carried(const row* r, const rlv_across_side side[2], size_t i)
{
    const rlv_across_side* own = &side[i < r->of_block ? 0 : 1];
    return rlv_pose_apply(&own->pose, own->point[r->which[i]].at_mm);
}

// --- The elements ----------------------------------------------------------------------------------------------------

static double far_of(const row* r, const rlv_across_side* side, size_t i)
{
    const rlv_vec3 at = rlv_pose_apply(&side->pose, side->point[i].at_mm);
    return fabs(rlv_vec3_dot(rlv_vec3_sub(at, r->joint->middle_mm), r->joint->normal));
}

/// Take those of either side that lie nearest to the joint.
static void take_nearest(row* r, const rlv_across_side side[2])
{
    for (int k = 0; k < 2; k++)
    {
        size_t nearest[RLV_ACROSS_MOST], count = 0;
        for (size_t i = 0; i < side[k].count; i++)
        {
            size_t at = count < RLV_ACROSS_MOST ? count++ : RLV_ACROSS_MOST;
            for (; at > 0 && far_of(r, &side[k], i) < far_of(r, &side[k], nearest[at - 1]); at--)
                if (at < RLV_ACROSS_MOST)
                    nearest[at] = nearest[at - 1];
            if (at < RLV_ACROSS_MOST)
                nearest[at] = i;
        }
        for (size_t i = 0; i < count; i++)
            r->which[r->count + i] = nearest[k == 0 ? count - 1 - i : i];
        r->count += count;
        if (k == 0)
            r->of_block = count;
    }
}

/// Where the row crosses, and its axes: first between the middles of either side, then along the curve there.
static bool lay_axes(row* r, const rlv_across_side side[2])
{
    const rlv_vec3 normal = r->joint->normal, last = carried(r, side, r->of_block - 1),
                   first = carried(r, side, r->of_block);
    rlv_vec3 middle[2] = {{0, 0, 0}, {0, 0, 0}};
    for (size_t i = 0; i < r->count; i++)
    {
        const int k = i < r->of_block ? 0 : 1;
        middle[k] = rlv_vec3_along(middle[k], 1.0 / (double)(k == 0 ? r->of_block : r->count - r->of_block),
                                   carried(r, side, i));
    }
    const rlv_vec3 along = rlv_vec3_unit(rlv_vec3_sub(middle[1], middle[0])), over = rlv_vec3_sub(first, last);
    const double least = sin(RLV_ACROSS_LEAST_DEG * M_PI / 180.0);
    if (!(rlv_vec3_dot(along, normal) > least) || !(rlv_vec3_dot(rlv_vec3_unit(over), normal) > least))
        return false;
    const double share = rlv_vec3_dot(rlv_vec3_sub(r->joint->middle_mm, last), normal) / rlv_vec3_dot(over, normal);
    r->across->at_mm = rlv_vec3_along(last, share, over);
    rlv_across_axes(r->across, along, r->joint->outward);
    return true;
}

// --- The curve -------------------------------------------------------------------------------------------------------

/// A curve through a row's elements, across and out.
typedef struct curve
{
    double s[MOST];               ///< along the run
    double term[2][TERMS];        ///< across, out: block's end, piece's end, block's slope, piece's slope, bend
    double spread[TERMS * TERMS]; ///< covariance of the terms, over the scatter's variance
    double square;                ///< sum of squares that is left of both
} curve;

static void terms_of(double x[TERMS], const row* r, size_t i, double s)
{
    const bool piece = i >= r->of_block;
    const double all[TERMS] = {piece ? 0.0 : 1.0, piece ? 1.0 : 0.0, piece ? 0.0 : s, piece ? s : 0.0, 0.5 * s * s};
    memcpy(x, all, sizeof all);
}

static bool fit_curve(curve* c, const row* r, const rlv_across_side side[2])
{
    double x[MOST][TERMS], y[2][MOST], normal[TERMS * TERMS] = {0}, sum[2][TERMS] = {{0}};
    for (size_t i = 0; i < r->count; i++)
    {
        const rlv_vec3 from = rlv_vec3_sub(carried(r, side, i), r->across->at_mm);
        c->s[i] = rlv_vec3_dot(from, r->across->along);
        y[0][i] = rlv_vec3_dot(from, r->across->across);
        y[1][i] = rlv_vec3_dot(from, r->across->out);
        terms_of(x[i], r, i, c->s[i]);
        for (int a = 0; a < TERMS; a++)
        {
            for (int b = 0; b < TERMS; b++)
                normal[TERMS * a + b] += x[i][a] * x[i][b];
            sum[0][a] += x[i][a] * y[0][i];
            sum[1][a] += x[i][a] * y[1][i];
        }
    }
    if (!rlv_across_invert(TERMS, normal, c->spread))
        return false;
    c->square = 0.0;
    for (int k = 0; k < 2; k++)
    {
        for (int a = 0; a < TERMS; a++)
        {
            c->term[k][a] = 0.0;
            for (int b = 0; b < TERMS; b++)
                c->term[k][a] += c->spread[TERMS * a + b] * sum[k][b];
        }
        for (size_t i = 0; i < r->count; i++)
        {
            double left = y[k][i];
            for (int a = 0; a < TERMS; a++)
                left -= x[i][a] * c->term[k][a];
            c->square += left * left;
        }
    }
    return true;
}

static bool numbers_of(double number[RLV_ACROSS_NUMBERS], const void* of, const rlv_across_side side[2])
{
    const row* r = of;
    curve c;
    if (!fit_curve(&c, r, side))
        return false;
    const rlv_vec3 over = rlv_vec3_sub(carried(r, side, r->of_block), carried(r, side, r->of_block - 1));
    number[RLV_ACROSS_GAP] = rlv_vec3_dot(over, r->across->along);
    number[RLV_ACROSS_TWIST] = 0.0;
    for (int k = 0; k < 2; k++)
    {
        number[RLV_ACROSS_ACROSS + k] = c.term[k][1] - c.term[k][0];
        number[RLV_ACROSS_BEND_ACROSS + k] = atan(c.term[k][3]) - atan(c.term[k][2]);
    }
    return true;
}

/// The mean variance of the points' own sds, of all that are looked at.
static double own_variance(const row* r, const rlv_across_side side[2])
{
    double sum = 0.0;
    for (size_t i = 0; i < r->count; i++)
        sum += pow(rlv_placed_point_sd(&side[i < r->of_block ? 0 : 1].point[r->which[i]]), 2);
    return sum / (double)r->count;
}

/// A scatter may by chance be so small that it tells less than the points' sds do, which are known: these then stand,
/// with all degrees of freedom.
static void hold_above(double* variance, double* freedom, double own)
{
    if (rlv_across_half(*variance, 0.0, *freedom) >= RLV_HALF_95 * sqrt(own))
        return;
    *variance = own;
    *freedom = (double)INFINITY;
}

/// What the scatter about the curve leaves the numbers uncertain by: no less than the points' own sds do.
static void add_scatter(rlv_across_told* told, const curve* c, double own)
{
    double scatter = c->square / told->freedom;
    hold_above(&scatter, &told->freedom, own);
    double change[TERMS][RLV_ACROSS_NUMBERS];
    for (int k = 0; k < 2; k++)
    {
        memset(change, 0, sizeof change);
        change[0][RLV_ACROSS_ACROSS + k] = -1.0;
        change[1][RLV_ACROSS_ACROSS + k] = 1.0;
        change[2][RLV_ACROSS_BEND_ACROSS + k] = -1.0 / (1.0 + c->term[k][2] * c->term[k][2]);
        change[3][RLV_ACROSS_BEND_ACROSS + k] = 1.0 / (1.0 + c->term[k][3] * c->term[k][3]);
        for (int a = 0; a < TERMS; a++)
            for (int b = 0; b < TERMS; b++)
                rlv_across_add(told->of_points, change[a], change[b], scatter * c->spread[TERMS * a + b]);
    }
}

// --- The pitch -------------------------------------------------------------------------------------------------------

/// The way of the curve at a place along the run.
static rlv_vec3 way_at(const row* r, const curve* c, int part, double s)
{
    const double across = c->term[0][2 + part] + c->term[0][4] * s, out = c->term[1][2 + part] + c->term[1][4] * s;
    return rlv_vec3_unit(
        rlv_vec3_along(rlv_vec3_along(r->across->along, across, r->across->across), out, r->across->out));
}

/// Places from an element to the next.
static int places_between(const row* r, const rlv_across_side side[2], size_t i)
{
    if (side[0].place == NULL || side[1].place == NULL)
        return 1;
    int place[2];
    for (size_t k = 0; k < 2; k++)
        place[k] = side[i + k < r->of_block ? 0 : 1].place[r->which[i + k]];
    return place[0] == place[1] ? 1 : abs(place[1] - place[0]);
}

/// Spacings but for the one over the joint, as a straight line over the run: pitch at the joint, with its variance.
typedef struct taper
{
    double pitch, of_pitch, variance, freedom; ///< of_pitch: variance of the pitch over that of one spacing
} taper;

static bool fit_taper(taper* t, const row* r, const curve* c, const rlv_across_side side[2])
{
    double w[MOST], x[MOST], g[MOST], sum[6] = {0};
    size_t count = 0;
    for (size_t i = 0; i + 1 < r->count; i++)
    {
        if (i + 1 == r->of_block)
            continue;
        const int part = i < r->of_block ? 0 : 1, places = places_between(r, side, i);
        const rlv_vec3 over = rlv_vec3_sub(carried(r, side, i + 1), carried(r, side, i));
        x[count] = 0.5 * (c->s[i] + c->s[i + 1]);
        g[count] = rlv_vec3_dot(over, way_at(r, c, part, x[count])) / places;
        w[count] = places;
        const double term[5] = {1.0, x[count], x[count] * x[count], g[count], x[count] * g[count]};
        for (int k = 0; k < 5; k++)
            sum[k] += w[count] * term[k];
        count++;
    }
    const double det = sum[0] * sum[2] - sum[1] * sum[1];
    if (!(det > 0.0))
        return false;
    const double slope = (sum[0] * sum[4] - sum[1] * sum[3]) / det;
    t->pitch = (sum[2] * sum[3] - sum[1] * sum[4]) / det;
    t->of_pitch = sum[2] / det;
    t->freedom = (double)count - 2.0;
    t->variance = 0.0;
    for (size_t i = 0; i < count; i++)
        t->variance += w[i] * pow(g[i] - t->pitch - slope * x[i], 2) / t->freedom;
    hold_above(&t->variance, &t->freedom, 2.0 * own_variance(r, side)); // a spacing is of two points
    return true;
}

/// `moved` is the variance of the spacing over the joint by the poses.
static void tell_pitch(rlv_across* a, const row* r, const curve* c, const rlv_across_side side[2], double moved)
{
    const rlv_interval none = {(double)NAN, (double)NAN, (double)NAN};
    taper t;
    const rlv_vec3 over = rlv_vec3_sub(carried(r, side, r->of_block), carried(r, side, r->of_block - 1)),
                   way = rlv_vec3_unit(rlv_vec3_add(way_at(r, c, 0, 0.0), way_at(r, c, 1, 0.0)));
    const double spacing = rlv_vec3_dot(over, way);
    a->places = places_between(r, side, r->of_block - 1);
    a->pitch_mm = a->step_mm = none;
    a->step_p = (double)NAN;
    double point = 0.0;
    for (size_t i = r->of_block - 1; i <= r->of_block; i++)
        point += pow(rlv_placed_point_sd(&side[i < r->of_block ? 0 : 1].point[r->which[i]]), 2);
    const double half = RLV_HALF_95 * sqrt(point + moved);
    a->spacing_mm = (rlv_interval){spacing, spacing - half, spacing + half};
    if (!fit_taper(&t, r, c, side))
        return;
    const double places = a->places, step = spacing - places * t.pitch,
                 own = t.variance * (places + places * places * t.of_pitch),
                 pitch_half = rlv_across_half(t.variance * t.of_pitch, 0.0, t.freedom),
                 step_half = rlv_across_half(own, moved, t.freedom);
    a->pitch_mm = (rlv_interval){t.pitch, t.pitch - pitch_half, t.pitch + pitch_half};
    a->step_mm = (rlv_interval){step, step - step_half, step + step_half};
    a->step_p =
        2.0 * gsl_cdf_tdist_Q(fabs(step) / sqrt(own + moved), fmin(rlv_across_freedom(own, moved, t.freedom), 1e6));
}

// --- Telling ---------------------------------------------------------------------------------------------------------

rlv_status rlv_across_row(rlv_across* across, const rlv_across_side side[2], const rlv_across_joint* joint,
                          rlv_error* error)
{
    *across = (rlv_across){.places = 0};
    row r = {.joint = joint, .across = across};
    const rlv_status status = rlv_across_check(side, RLV_ACROSS_LEAST, "element", error);
    if (status != RLV_DONE)
        return status;
    take_nearest(&r, side);
    curve c;
    if (!lay_axes(&r, side) || !fit_curve(&c, &r, side))
        return rlv_across_fail_along(error);
    // Again about the curve's own way where it crosses.
    rlv_across_axes(across, rlv_vec3_unit(rlv_vec3_add(way_at(&r, &c, 0, 0.0), way_at(&r, &c, 1, 0.0))),
                    joint->outward);
    rlv_across_told told = {.freedom = 2.0 * ((double)r.count - TERMS)};
    if (!fit_curve(&c, &r, side) || !numbers_of(told.number, &r, side) ||
        !rlv_across_poses(&told, side, numbers_of, &r))
        return rlv_across_fail_along(error);
    add_scatter(&told, &c, own_variance(&r, side));
    across->used[0] = r.of_block;
    across->used[1] = r.count - r.of_block;
    across->carried_mm[0] = -c.s[r.of_block - 1];
    across->carried_mm[1] = c.s[r.of_block];
    across->rms_mm = sqrt(c.square / (double)r.count);
    rlv_across_tell(across, &told);
    across->gap_mm = across->twist_deg = (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    tell_pitch(across, &r, &c, side, told.of_poses[RLV_ACROSS_GAP][RLV_ACROSS_GAP]);
    return RLV_DONE;
}
