#include "skeleton.h"

#include "pose.h"
#include "scan.h"

#include <stdio.h>
#include <stdlib.h>

#define DEGREE (M_PI / 180.0)

enum
{
    STEPS = 2000,
};

/// The body: its axis at even steps with an upright frame, and its build.
typedef struct body
{
    double length_mm, width_mm, height_mm, roll_rad, twist_rad;
    rlv_vec3 at[STEPS + 1], along[STEPS + 1], up[STEPS + 1];
} body;

static double between(scan_random* random, double low, double high)
{
    return low + (high - low) * scan_random_unit(random);
}

static rlv_vec3 any_way(scan_random* random)
{
    return rlv_vec3_unit(
        rlv_vec3_of(scan_random_normal(random), scan_random_normal(random), scan_random_normal(random)));
}

static rlv_vec3 turned(rlv_vec3 v, rlv_vec3 rotation)
{
    return rlv_mat3_apply(rlv_rotation_from_vector(rotation), v);
}

/// Walk the axis: curvature in two directions, each with one slow wave on it, no tighter than the body allows.
static void walk(body* b, skeleton_shape shape, scan_random* random)
{
    double turn[2] = {between(random, -15, 15), between(random, -15, 15)};
    if (shape == SKELETON_CURLED)
        turn[0] = between(random, 120, 300) * (scan_random_unit(random) < 0.5 ? -1 : 1);
    if (shape == SKELETON_DIVING)
        turn[0] = between(random, 60, 150), turn[1] = between(random, 40, 90);
    const double wave = between(random, 0.2, 0.7), phase = between(random, 0, 2 * M_PI), other = between(random, 0, 6);
    const double step = b->length_mm / STEPS, most = 1.0 / (2.6 * b->width_mm);
    const rlv_mat3 pose = scan_random_rotation(random);
    rlv_vec3 at = rlv_vec3_of(between(random, -200, 200), between(random, -200, 200), between(random, -50, 50));
    rlv_vec3 along = rlv_mat3_column(pose, 0), up = rlv_mat3_column(pose, 1);
    for (int i = 0; i <= STEPS; i++)
    {
        b->at[i] = at, b->along[i] = along, b->up[i] = up;
        const double s = (double)i / STEPS;
        const double k0 = turn[0] * DEGREE / b->length_mm * (1 + wave * cos(2 * M_PI * s + phase)),
                     k1 = turn[1] * DEGREE / b->length_mm * (1 + wave * cos(2 * M_PI * s + other));
        const double k = hypot(k0, k1), factor = k > most ? most / k : 1.0;
        // The plane of the curl is square to `up`: the animal lies on its belly, then the roll turns it over.
        const rlv_vec3 left = rlv_vec3_cross(along, up);
        const rlv_vec3 bend =
            rlv_vec3_add(rlv_vec3_scale(up, k0 * factor * step), rlv_vec3_scale(left, k1 * factor * step));
        const rlv_vec3 half = rlv_vec3_scale(bend, 0.5);
        at = rlv_vec3_along(at, step, turned(along, half));
        along = rlv_vec3_unit(turned(along, bend));
        up = turned(up, bend);
        up = rlv_vec3_unit(rlv_vec3_along(up, -rlv_vec3_dot(up, along), along));
    }
}

static body* make_body(const skeleton_plan* plan, scan_random* random)
{
    body* b = calloc(1, sizeof *b);
    b->length_mm = between(random, 400, 900);
    b->width_mm = b->length_mm * between(random, 0.03, 0.05);
    b->height_mm = b->width_mm * between(random, 0.6, 1.0);
    b->roll_rad = between(random, 0, 2 * M_PI);
    b->twist_rad = between(random, -80, 80) * DEGREE;
    if (plan->kind > 0)
    {
        scan_random kind = {plan->kind};
        b->length_mm = plan->scale * between(&kind, 400, 900);
        b->width_mm = b->length_mm * between(&kind, 0.03, 0.05);
        b->height_mm = b->width_mm * between(&kind, 0.6, 1.0);
    }
    walk(b, plan->shape, random);
    return b;
}

/// The skin at a distance from the snout and an angle about the axis, 0 on the back and positive to the left.
static rlv_vec3 skin(const body* b, double along_mm, double angle)
{
    const double x = fmin(fmax(along_mm / b->length_mm, 0.0), 1.0) * STEPS;
    int i = (int)x < STEPS ? (int)x : STEPS - 1;
    const double t = x - i, s = x / STEPS;
    const rlv_vec3 at = rlv_vec3_add(rlv_vec3_scale(b->at[i], 1 - t), rlv_vec3_scale(b->at[i + 1], t));
    const rlv_vec3 along = rlv_vec3_unit(rlv_vec3_along(rlv_vec3_scale(b->along[i], 1 - t), t, b->along[i + 1]));
    rlv_vec3 up = rlv_vec3_along(rlv_vec3_scale(b->up[i], 1 - t), t, b->up[i + 1]);
    up = rlv_vec3_unit(rlv_vec3_along(up, -rlv_vec3_dot(up, along), along));
    up = turned(up, rlv_vec3_scale(along, b->roll_rad + b->twist_rad * s));
    const rlv_vec3 left = rlv_vec3_cross(along, up);
    const double build = 0.2 + 0.8 * sin(M_PI * pow(s, 0.7));
    return rlv_vec3_along(rlv_vec3_along(at, build * b->height_mm * cos(angle), up), build * b->width_mm * sin(angle),
                          left);
}

/// Place and attitude of a plate: columns anterior, left, external.
static rlv_mat3 skin_frame(const body* b, double along_mm, double angle)
{
    const double ds = 0.5, da = 0.01;
    const rlv_vec3 way = rlv_vec3_sub(skin(b, along_mm + ds, angle), skin(b, along_mm - ds, angle)),
                   around = rlv_vec3_sub(skin(b, along_mm, angle + da), skin(b, along_mm, angle - da)),
                   out = rlv_vec3_unit(rlv_vec3_cross(around, way)), front = rlv_vec3_unit(rlv_vec3_scale(way, -1)),
                   left = rlv_vec3_cross(out, front);
    return rlv_mat3_of_columns(front, left, out);
}

static void scatter_vector(double sd, rlv_vec3* v, scan_random* random)
{
    v->x += sd * scan_random_normal(random);
    v->y += sd * scan_random_normal(random);
    v->z += sd * scan_random_normal(random);
}

static rlv_mat3 scatter_rotation(double sd_deg, rlv_mat3 r, scan_random* random)
{
    rlv_vec3 w = {0, 0, 0};
    scatter_vector(sd_deg * DEGREE, &w, random);
    return rlv_mat3_multiply(rlv_rotation_from_vector(w), r);
}

static void add_plate(skeleton* s, size_t row, int place, rlv_vec3 at, rlv_mat3 frame)
{
    const size_t i = s->count++;
    s->element[i] = (rlv_placed_element){.row = row, .place_low = place, .place_high = place};
    s->truth[i] = (skeleton_truth){.life_mm = at, .life = frame};
}

/// Where a row begins and ends, how much its pitch falls, and how it runs round the body.
typedef struct row_build
{
    double from_mm, to_mm, taper, drift;
} row_build;

static row_build draw_build(const skeleton_plan* p, double length_mm, size_t row, scan_random* random)
{
    const double from = length_mm * between(random, 0.12, 0.22), to = length_mm * between(random, 0.75, 0.95),
                 taper = between(random, 0, 0.4), drift = between(random, -0.1, 0.2);
    row_build build = {from, to, taper, drift};
    if (p->kind > 0)
    {
        scan_random kind = {p->kind * 31 + row + 1};
        skeleton_plan own = *p;
        own.kind = 0;
        build = draw_build(&own, length_mm, row, &kind);
        build.to_mm *= 1.0 + p->variety * scan_random_normal(random);
        build.taper += p->variety * scan_random_normal(random);
    }
    return build;
}

/// The place that a natural gap comes after, where a row has one. Of its own numbers, so that the animal is otherwise
/// the one without it.
static int gap_after(const skeleton_plan* p, size_t row)
{
    scan_random own = {p->seed * 131 + 17};
    const size_t in = p->rows < 2 ? 0 : 1 + (size_t)(scan_random_unit(&own) * (double)(p->rows - 1));
    const int place = 4 + (int)(scan_random_unit(&own) * (double)(p->places[in] - 7));
    return p->gaps > 0 && row == in ? place : 0;
}

/// Lay a row on the skin: an extent of the trunk, a falling pitch, scatter.
static void lay_row(skeleton* s, const body* b, size_t row, double angle, scan_random* random)
{
    const skeleton_plan* p = &s->plan;
    const int places = p->places[row], gap = gap_after(p, row);
    const row_build build = draw_build(p, b->length_mm, row, random);
    const double from = build.from_mm, to = build.to_mm, taper = build.taper, drift = build.drift;
    const double pitch = (to - from) / ((places - 1) * (1 - 0.5 * taper));
    double at = from;
    s->row[row] = (rlv_articulation_row){1, places};
    for (int k = 0; k < places; k++)
    {
        const double turn = angle * (1 + drift * at / b->length_mm);
        rlv_vec3 life = skin(b, at, turn);
        scatter_vector(p->scatter_mm, &life, random);
        const rlv_mat3 frame = scatter_rotation(p->scatter_deg, skin_frame(b, at, turn), random);
        const bool end = k == 0 || k + 1 == places;
        if (scan_random_unit(random) < p->missing && !end)
        {
            s->missing[s->missing_count].row = row;
            s->missing[s->missing_count].place = k + 1;
            s->missing[s->missing_count++].life_mm = life;
        }
        else if (s->count < SKELETON_MOST)
        {
            add_plate(s, row, k + 1, life, frame);
            // A walk between two neighbours that are held: half the variance of a step.
            s->truth[s->count - 1].uneven_mm = p->jitter * pitch * (1 - taper * k / fmax(places - 2, 1)) * M_SQRT1_2;
        }
        const double step =
            pitch * (1 - taper * k / fmax(places - 2, 1)) * (1 + p->jitter * scan_random_normal(random));
        at += k + 1 == gap ? SKELETON_GAP * step : step;
    }
}

/// Move or turn a plate: half are moved, a quarter turned, a quarter both. Distances are log-uniform from 4 to 60
/// combined sds, angles uniform from 20 to 180 degrees; one in five that turn is turned over about its length.
static void displace(skeleton* s, size_t i, scan_random* random)
{
    skeleton_truth* t = &s->truth[i];
    const double kind = scan_random_unit(random);
    if (kind < 0.5 || kind >= 0.75)
    {
        const double reach = s->combined_mm * exp(between(random, log(4), log(60)));
        t->shift_mm = rlv_vec3_scale(any_way(random), reach);
        t->shifted = true;
    }
    if (kind >= 0.5)
        t->rotation_deg = scan_random_unit(random) < 0.2 ? 172 : between(random, 20, 180), t->rotated = true;
}

static void displace_share(skeleton* s, scan_random* random)
{
    size_t left = (size_t)(s->plan.displaced * (double)s->count + 0.5);
    while (left > 0)
    {
        const size_t i = (size_t)(scan_random_unit(random) * (double)s->count);
        if (s->truth[i].shifted || s->truth[i].rotated || s->truth[i].in_patch)
            continue;
        displace(s, i, random);
        left--;
    }
}

/// Slide neighbouring plates of a row of 20 or more, well inside it, together: along and around the body.
static void slide_patch(skeleton* s, scan_random* random)
{
    size_t fit[SKELETON_ROWS], fits = 0;
    for (size_t r = 0; r < s->plan.rows; r++)
        if (s->plan.places[r] >= s->plan.patch + 12)
            fit[fits++] = r;
    if (fits == 0)
        return;
    const size_t row = fit[(size_t)(scan_random_unit(random) * (double)fits)];
    size_t first = 0, held = 0;
    while (s->element[first].row != row)
        first++;
    while (first + held < s->count && s->element[first + held].row == row)
        held++;
    const size_t from = first + 5 + (size_t)(scan_random_unit(random) * (double)(held - (size_t)s->plan.patch - 9));
    const double side = between(random, 0, 2 * M_PI);
    for (size_t i = from; i < from + (size_t)s->plan.patch && i < first + held; i++)
    {
        const rlv_mat3 f = s->truth[i].life;
        const rlv_vec3 front = rlv_mat3_column(f, 0), left = rlv_mat3_column(f, 1);
        s->truth[i].shift_mm =
            rlv_vec3_along(rlv_vec3_scale(front, s->plan.patch_mm * cos(side)), s->plan.patch_mm * sin(side), left);
        s->truth[i].shifted = s->truth[i].in_patch = true;
    }
}

static double sds_of(const skeleton* s, const skeleton_truth* t)
{
    const rlv_vec3 front = rlv_mat3_column(t->life, 0);
    const double along = rlv_vec3_dot(t->shift_mm, front),
                 across = rlv_vec3_length(rlv_vec3_along(t->shift_mm, -along, front));
    return hypot(along / hypot(s->combined_mm, t->uneven_mm), across / s->combined_mm);
}

/// What is measured of a plate.
static void measure(skeleton* s, size_t i, scan_random* random)
{
    const skeleton_plan* p = &s->plan;
    const skeleton_truth* t = &s->truth[i];
    rlv_element* e = &s->element[i].element;
    rlv_vec3 at = rlv_vec3_add(t->life_mm, t->shift_mm), axis = any_way(random);
    rlv_mat3 frame = t->life;
    if (t->rotation_deg == 172)
        axis = rlv_mat3_column(frame, 0);
    frame = rlv_mat3_multiply(rlv_rotation_from_vector(rlv_vec3_scale(axis, t->rotation_deg * DEGREE)), frame);
    frame = scatter_rotation(p->attitude_sd_deg, frame, random);
    scatter_vector(p->point_sd_mm, &at, random);
    e->position_mm[0] = at.x, e->position_mm[1] = at.y, e->position_mm[2] = at.z;
    for (int k = 0; k < 3; k++)
    {
        e->position_cov_mm2[4 * k] = p->point_sd_mm * p->point_sd_mm;
        e->attitude_cov_rad2[4 * k] = p->attitude_sd_deg * p->attitude_sd_deg * DEGREE * DEGREE;
    }
    for (int k = 0; k < 9; k++)
        e->frame[k] = frame.m[k];
    e->known = RLV_ELEMENT_POLE | RLV_ELEMENT_FACE | RLV_ELEMENT_LONG | RLV_ELEMENT_FRONT;
    const double part = scan_random_unit(random), kind = scan_random_unit(random);
    if (part < p->part_known)
        e->known = kind < 0.4   ? 0
                   : kind < 0.7 ? RLV_ELEMENT_POLE | RLV_ELEMENT_FACE
                   : kind < 0.9 ? RLV_ELEMENT_POLE | RLV_ELEMENT_FACE | RLV_ELEMENT_LONG
                                : RLV_ELEMENT_POLE | RLV_ELEMENT_LONG;
    e->length_mm = e->width_mm = e->thickness_mm = (rlv_interval){NAN, NAN, NAN};
}

skeleton_plan skeleton_draw(uint64_t seed, int least)
{
    scan_random random = {seed * 77 + 5};
    skeleton_plan p = {.seed = seed, .shape = (skeleton_shape)(seed % SKELETON_SHAPES)};
    p.rows = 3 + (size_t)(scan_random_unit(&random) * 5);
    for (size_t r = 0; r < p.rows; r++)
        p.places[r] = least + (int)(scan_random_unit(&random) * (SKELETON_PLACES + 1 - least));
    p.missing = between(&random, 0.02, 0.15);
    p.scatter_mm = between(&random, 0.5, 1.0);
    p.scatter_deg = 5.0;
    p.point_sd_mm = 0.3;
    p.attitude_sd_deg = 2.5;
    return p;
}

skeleton* skeleton_make(const skeleton_plan* plan)
{
    static const double angle_deg[SKELETON_ROWS] = {0, 62, -62, 128, -128, 95, -95};
    scan_random random = {plan->seed};
    skeleton* s = calloc(1, sizeof *s);
    body* b = make_body(plan, &random);
    s->plan = *plan;
    s->combined_mm = hypot(plan->scatter_mm, plan->point_sd_mm);
    s->combined_deg = hypot(plan->scatter_deg, plan->attitude_sd_deg);
    s->length_mm = b->length_mm;
    for (size_t r = 0; r < plan->rows; r++)
        lay_row(s, b, r, angle_deg[r] * DEGREE, &random);
    if (plan->patch > 0)
        slide_patch(s, &random);
    displace_share(s, &random);
    for (size_t i = 0; i < s->count; i++)
    {
        s->truth[i].shift_sds = sds_of(s, &s->truth[i]);
        measure(s, i, &random);
    }
    free(b);
    return s;
}
