#include "disturbance.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>

static const double DEGREE = M_PI / 180.0;

static const char* const TOO_FEW = "fewer than five";
_Static_assert(RLV_DISTURBANCE_LEAST == 5, "which is how many TOO_FEW names");
static const char* const NO_UP = "which way was up is not known";

void rlv_disturbance_free(rlv_disturbance* d)
{
    free(d->motion);
    free(d->row);
    *d = (rlv_disturbance){0};
}

// The level

/// What is known of up and north.
typedef struct bearings
{
    bool up, north;
    rlv_compass compass; ///< where north is not known, it is any direction in the level
    double least;        ///< T2 from which a motion has a direction in the level
    double spread;       ///< half of a 95 % interval in sds, of a group's motion
} bearings;

static bool is_zero(rlv_vec3 v)
{
    return v.x == 0.0 && v.y == 0.0 && v.z == 0.0;
}

/// The axis of the frame that lies farthest from a direction.
static rlv_vec3 away_from(rlv_vec3 v)
{
    const double x = fabs(v.x), y = fabs(v.y), z = fabs(v.z);
    return rlv_vec3_of(x <= y && x <= z, y < x && y <= z, z < x && z < y);
}

static rlv_status take_bearings(bearings* b, const rlv_articulation* a, rlv_vec3 up, rlv_vec3 north, rlv_error* error)
{
    const double freedom = fmin(a->freedom_along, a->freedom_across);
    *b = (bearings){.up = !is_zero(up),
                    .north = !is_zero(up) && !is_zero(north),
                    .least = 2.0 * gsl_cdf_fdist_Pinv(0.95, 2.0, freedom),
                    .spread = gsl_cdf_tdist_Pinv(0.975, freedom)};
    return b->up ? rlv_compass_of(&b->compass, up, b->north ? north : away_from(up), error) : RLV_DONE;
}

static double quadratic(const double covariance[9], rlv_vec3 a, rlv_vec3 b)
{
    rlv_mat3 m;
    for (int k = 0; k < 9; k++)
        m.m[k] = covariance[k];
    return rlv_vec3_dot(a, rlv_mat3_apply(m, b));
}

/// What a motion is in the level.
static void lay_level(rlv_disturbance_motion* m, const bearings* b)
{
    m->level_mm = m->direction_sd_deg = m->trend_deg = (double)NAN;
    m->trust = 0.0;
    if (!b->up)
        return;
    const rlv_vec3 n = b->compass.north, e = b->compass.east;
    const double x = rlv_vec3_dot(m->motion_mm, n), y = rlv_vec3_dot(m->motion_mm, e);
    const double xx = quadratic(m->covariance_mm2, n, n), xy = quadratic(m->covariance_mm2, n, e),
                 yy = quadratic(m->covariance_mm2, e, e),
                 t2 = (yy * x * x - 2.0 * xy * x * y + xx * y * y) / (xx * yy - xy * xy);
    m->level_mm = hypot(x, y);
    const double across = sqrt(yy * x * x - 2.0 * xy * x * y + xx * y * y) / m->level_mm; // sd square to it
    m->direction_sd_deg = across / m->level_mm / DEGREE;
    m->trend_deg = b->north ? rlv_trend_of(&b->compass, m->motion_mm).trend_deg : (double)NAN;
    if (t2 > b->least)
        m->trust = rlv_circle_trust(m->level_mm / across);
}

// Motions

static double half_of(rlv_interval interval)
{
    return 0.5 * (interval.high - interval.low);
}

static bool is_displaced(const rlv_articulated* told)
{
    return told->state != RLV_IN_PLACE && told->state != RLV_UNASSIGNED;
}

static bool moved_alone(const rlv_articulated* told)
{
    return is_displaced(told) && told->group == 0 && told->motion.shift_mm.low > 0.0;
}

static rlv_disturbance_motion motion_of_element(const rlv_articulation* a, const rlv_placed_element* element, size_t i)
{
    const double *at = element[i].element.position_mm, *own = element[i].element.position_cov_mm2;
    rlv_disturbance_motion m = {.element = i, .row = element[i].row};
    m.motion_mm = rlv_vec3_sub(rlv_vec3_of(at[0], at[1], at[2]), a->element[i].life_mm);
    for (int k = 0; k < 9; k++)
        m.covariance_mm2[k] = own[k] + element[i].covered_cov_mm2[k] + a->element[i].life_cov_mm2[k];
    return m;
}

/// The element of a stretch nearest to its middle place.
static size_t middle_of(const rlv_articulation* a, size_t group)
{
    const rlv_articulation_group* g = &a->group[group - 1];
    size_t middle = a->count;
    for (size_t i = 0; i < a->count; i++)
        if (a->element[i].group == group &&
            (middle == a->count || abs(2 * a->element[i].place - g->first - g->last) <
                                       abs(2 * a->element[middle].place - g->first - g->last)))
            middle = i;
    return middle;
}

/// The common motion of a stretch, which is told in the body's directions at its middle.
static rlv_disturbance_motion motion_of_group(const rlv_articulation* a, size_t group, double spread)
{
    const rlv_articulation_group* g = &a->group[group - 1];
    rlv_disturbance_motion m = {.element = middle_of(a, group), .group = group, .row = g->row};
    const rlv_interval part[3] = {g->motion.along_mm, g->motion.across_mm, g->motion.out_mm};
    const double* body = a->element[m.element].body.m;
    double motion[3] = {0.0};
    for (int k = 0; k < 3; k++)
        for (int r = 0; r < 3; r++)
        {
            motion[r] += part[k].value * body[3 * r + k];
            for (int c = 0; c < 3; c++)
                m.covariance_mm2[3 * r + c] += pow(half_of(part[k]) / spread, 2.0) * body[3 * r + k] * body[3 * c + k];
        }
    m.motion_mm = rlv_vec3_of(motion[0], motion[1], motion[2]);
    return m;
}

static rlv_status find_motions(rlv_disturbance* d, const rlv_articulation* a, const rlv_placed_element* element,
                               const bearings* b, const size_t* part, rlv_error* error)
{
    if ((d->motion = rlv_reserve(a->count + a->group_count, sizeof *d->motion, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < a->count; i++)
        if (moved_alone(&a->element[i]))
            d->motion[d->motion_count++] = motion_of_element(a, element, i);
    for (size_t g = 1; g <= a->group_count; g++)
        d->motion[d->motion_count++] = motion_of_group(a, g, b->spread);
    for (size_t i = 0; i < d->motion_count; i++)
    {
        d->motion[i].part = part[d->motion[i].element];
        lay_level(&d->motion[i], b);
    }
    return RLV_DONE;
}

// Sums

/// All of a skeleton, a row of it, or a part of the body.
typedef struct scope
{
    size_t row, part; ///< SIZE_MAX: any
} scope;

static bool is_in(scope s, size_t row, size_t part)
{
    return (s.row == SIZE_MAX || s.row == row) && (s.part == SIZE_MAX || s.part == part);
}

/// What sums are made from, and room for what goes into one.
typedef struct summing
{
    const rlv_articulation* articulation;
    const rlv_placed_element* element;
    const bearings* bearings;
    size_t* part; ///< one an element
    double *azimuth_deg, *trust;
    rlv_vec3* way;
} summing;

static rlv_status sum_level(rlv_disturbance_level* told, const rlv_disturbance* d, const summing* s, scope in,
                            rlv_error* error)
{
    rlv_circle_mean mean;
    *told = (rlv_disturbance_level){.mean = {NAN, NAN, NAN},
                                    .trend_deg = NAN,
                                    .half_deg = NAN,
                                    .resultant_share = NAN,
                                    .kappa = NAN,
                                    .uniform_p = NAN};
    for (size_t i = 0; i < d->motion_count; i++)
        if (d->motion[i].trust > 0.0 && is_in(in, d->motion[i].row, d->motion[i].part))
        {
            s->azimuth_deg[told->count] = rlv_trend_of(&s->bearings->compass, d->motion[i].motion_mm).trend_deg;
            s->trust[told->count++] = d->motion[i].trust;
        }
    told->why = !s->bearings->up ? NO_UP : told->count < RLV_DISTURBANCE_LEAST ? TOO_FEW : NULL;
    if (told->why != NULL)
        return RLV_DONE;
    const rlv_status status = rlv_circle_mean_of(&mean, told->count, s->azimuth_deg, s->trust, error);
    if (status != RLV_DONE)
        return status;
    told->mean = rlv_trend_vector(&s->bearings->compass, (rlv_trend){mean.mean_deg, 0.0});
    told->trend_deg = s->bearings->north ? mean.mean_deg : (double)NAN;
    told->half_deg = mean.half_deg;
    told->resultant_share = mean.resultant_share;
    told->kappa = mean.kappa;
    told->uniform_p = mean.uniform_p;
    return RLV_DONE;
}

static rlv_status sum_space(rlv_disturbance_space* told, const rlv_disturbance* d, const summing* s, scope in,
                            rlv_error* error)
{
    size_t count = 0;
    for (size_t i = 0; i < d->motion_count; i++)
        if (is_in(in, d->motion[i].row, d->motion[i].part))
            s->way[count++] = d->motion[i].motion_mm;
    *told = (rlv_disturbance_space){
        .mean = {count, {NAN, NAN, NAN}, NAN, NAN, NAN, NAN, NAN, NAN}, .cone_deg = NAN, .trend = {NAN, NAN}};
    told->why = count < RLV_DISTURBANCE_LEAST ? TOO_FEW : NULL;
    if (told->why != NULL)
        return RLV_DONE;
    const rlv_status status = rlv_sphere_mean_of(&told->mean, count, s->way, error);
    told->cone_deg = fmax(told->mean.cone_deg, told->mean.widest_deg);
    if (status == RLV_DONE && s->bearings->north)
        told->trend = rlv_trend_of(&s->bearings->compass, told->mean.mean);
    return status;
}

/// It has moved, though no figure says from where.
static bool is_off_row(const rlv_articulated* told)
{
    return told->state == RLV_UNASSIGNED && told->why == RLV_OFF_ROW;
}

/// Whether an element's attitude tells of the disturbance, and not of the body.
static bool lies_anew(const rlv_articulated* told)
{
    return is_off_row(told) || (is_displaced(told) && (told->group == 0 || told->state != RLV_SHIFTED));
}

/// The tensor of a column of the frames of elements where all of `known` is, and which way that points.
static rlv_status sum_axes(rlv_disturbance_axes* told, const summing* s, scope in, int column, unsigned known,
                           rlv_error* error)
{
    const rlv_articulation* a = s->articulation;
    size_t count = 0, off_row = 0, unsure = 0;
    for (size_t i = 0; i < a->count; i++)
    {
        const rlv_element* e = &s->element[i].element;
        if (!lies_anew(&a->element[i]) || (e->known & known) != known || !is_in(in, s->element[i].row, s->part[i]))
            continue;
        if (!rlv_element_axis_told(e, column))
        {
            unsure++;
            continue;
        }
        s->way[count++] = rlv_vec3_of(e->frame[column], e->frame[3 + column], e->frame[6 + column]);
        off_row += is_off_row(&a->element[i]);
    }
    *told = (rlv_disturbance_axes){.tensor = {.count = count, .shape = NAN, .strength = NAN, .uniform_p = NAN},
                                   .off_row = off_row,
                                   .unsure = unsure};
    for (int k = 0; k < 3; k++)
    {
        told->tensor.eigenvalue[k] = (double)NAN;
        told->tensor.axis[k] = rlv_vec3_of((double)NAN, (double)NAN, (double)NAN);
    }
    told->why = count < RLV_DISTURBANCE_LEAST ? TOO_FEW : NULL;
    return told->why != NULL ? RLV_DONE : rlv_orientation_of(&told->tensor, count, s->way, error);
}

static rlv_status sum_up(rlv_disturbed* told, const rlv_disturbance* d, const summing* s, scope in, rlv_error* error)
{
    const rlv_articulation* a = s->articulation;
    for (size_t i = 0; i < a->count; i++)
        told->displaced += is_displaced(&a->element[i]) && is_in(in, s->element[i].row, s->part[i]);
    for (size_t i = 0; i < d->motion_count; i++)
        told->motions += is_in(in, d->motion[i].row, d->motion[i].part);
    rlv_status status = sum_level(&told->level, d, s, in, error);
    if (status == RLV_DONE)
        status = sum_space(&told->space, d, s, in, error);
    if (status == RLV_DONE)
        status = sum_axes(&told->poles, s, in, 2, RLV_ELEMENT_POLE, error);
    if (status == RLV_DONE)
        status = sum_axes(&told->long_axes, s, in, 0, RLV_ELEMENT_LONG, error);
    return status;
}

static rlv_status sum_all(rlv_disturbance* d, const summing* s, rlv_error* error)
{
    if ((d->row = rlv_reserve(s->articulation->row_count, sizeof *d->row, error)) == NULL)
        return RLV_SYSTEM;
    d->row_count = s->articulation->row_count;
    d->part_count = s->articulation->part_count;
    rlv_status status = sum_up(&d->all, d, s, (scope){SIZE_MAX, SIZE_MAX}, error);
    for (size_t r = 0; r < d->row_count && status == RLV_DONE; r++)
        status = sum_up(&d->row[r], d, s, (scope){r, SIZE_MAX}, error);
    for (size_t k = 0; k < d->part_count && status == RLV_DONE; k++)
        status = sum_up(&d->part[k], d, s, (scope){SIZE_MAX, k}, error);
    return status;
}

static rlv_status reserve_room(summing* s, rlv_error* error)
{
    const size_t most = s->articulation->count + s->articulation->group_count;
    const bool room = (s->part = rlv_reserve(most, sizeof *s->part, error)) != NULL &&
                      (s->azimuth_deg = rlv_reserve(most, sizeof(double), error)) != NULL &&
                      (s->trust = rlv_reserve(most, sizeof(double), error)) != NULL &&
                      (s->way = rlv_reserve(most, sizeof *s->way, error)) != NULL;
    return room ? RLV_DONE : RLV_SYSTEM;
}

rlv_status rlv_disturbance_of(rlv_disturbance* d, const rlv_articulation* a, const rlv_placed_element* element,
                              rlv_vec3 up, rlv_vec3 north, rlv_error* error)
{
    bearings b;
    summing s = {.articulation = a, .element = element, .bearings = &b};
    rlv_status status = take_bearings(&b, a, up, north, error);
    if (status == RLV_DONE)
        status = reserve_room(&s, error);
    for (size_t i = 0; i < a->count && status == RLV_DONE; i++)
        s.part[i] =
            a->element[i].state != RLV_UNASSIGNED ? rlv_articulation_part_at(a, a->element[i].along_mm) : SIZE_MAX;
    if (status == RLV_DONE)
        status = find_motions(d, a, element, &b, s.part, error);
    if (status == RLV_DONE)
        status = sum_all(d, &s, error);
    free(s.part);
    free(s.azimuth_deg);
    free(s.trust);
    free(s.way);
    return status;
}
