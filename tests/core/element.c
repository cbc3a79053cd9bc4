#include "element.h"

#include "noise.h"
#include "scan.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum
{
    TRIALS = 2000,
    MOST = 40,
};

#define DEG (M_PI / 180.0)
#define CHI3 7.814728 ///< 95 % of chi-square with three degrees of freedom
#define CHI2 5.991465 ///< with two

/// A share of `TRIALS` near 95 % has an sd of 0.5 %: 93 to 97 % is four of them.
static void expect_coverage(const char* what, int inside)
{
    const double share = (double)inside / TRIALS;
    cr_log_info("%s: inside in %.4f\n", what, share);
    cr_expect(share > 0.93 && share < 0.97, "%s: inside in %.4f of %d", what, share, (int)TRIALS);
}

// --- an invented plate -----------------------------------------------------------------------------------------------

/// A plate: an oval fuller behind, bent like a saddle, with points at uneven steps round it.
typedef struct plate
{
    double length, width, bend; ///< mm; the rim rises by `bend` fore and aft, and falls by it at the sides
    size_t points;
    rlv_mat3 turn; ///< of its frame (long, left, external) in the block
    rlv_vec3 at;
    double sd;
} plate;

static rlv_vec3 on_rim(const plate* p, double turn)
{
    const double x = 0.5 * p->length * cos(turn), y = 0.5 * p->width * sin(turn);
    return rlv_vec3_add(p->at, rlv_mat3_apply(p->turn, rlv_vec3_of(x, y, p->bend * cos(2.0 * turn))));
}

static rlv_vec3 shaken(scan_random* random, rlv_vec3 at, double sd)
{
    at.x += sd * scan_random_normal(random);
    at.y += sd * scan_random_normal(random);
    at.z += sd * scan_random_normal(random);
    return at;
}

static void draw_outline(rlv_placed_point* outline, const plate* p, scan_random* random)
{
    for (size_t i = 0; i < p->points; i++)
    {
        const double uneven = 0.15 * sin(3.0 * (double)i), step = ((double)i + uneven) / (double)p->points;
        outline[i] = (rlv_placed_point){shaken(random, on_rim(p, 2.0 * M_PI * step), p->sd), p->sd};
    }
}

/// anterior, left, posterior, right, apex, base.
static void draw_landmarks(rlv_placed_point mark[RLV_LANDMARKS], const plate* p, scan_random* random)
{
    for (int k = 0; k < 4; k++)
        mark[k] = (rlv_placed_point){shaken(random, on_rim(p, 0.5 * M_PI * k), p->sd), p->sd};
    for (int k = 0; k < 2; k++)
    {
        const rlv_vec3 off = rlv_vec3_of(-0.1 * p->length, 0.0, k == 0 ? 6.0 : -1.5);
        mark[4 + k] =
            (rlv_placed_point){shaken(random, rlv_vec3_add(p->at, rlv_mat3_apply(p->turn, off)), p->sd), p->sd};
    }
}

static rlv_element measured(const rlv_element_seen* seen)
{
    rlv_element element;
    rlv_error error = {0};
    cr_assert_eq(rlv_element_measure(&element, seen, &error), RLV_DONE, "%s", error.what);
    return element;
}

static rlv_vec3 axis_of(const rlv_element* e, int k)
{
    return rlv_vec3_of(e->frame[k], e->frame[3 + k], e->frame[6 + k]);
}

static rlv_mat3 frame_of(const rlv_element* e)
{
    rlv_mat3 frame;
    memcpy(frame.m, e->frame, sizeof frame.m);
    return frame;
}

static rlv_vec3 place_of(const rlv_element* e)
{
    return rlv_vec3_of(e->position_mm[0], e->position_mm[1], e->position_mm[2]);
}

static double square_of(const double cov[9], rlv_vec3 off)
{
    rlv_vec3 c[3];
    for (int k = 0; k < 3; k++)
        c[k] = rlv_vec3_of(cov[3 * k], cov[3 * k + 1], cov[3 * k + 2]);
    // Cramer's rule.
    const double det = rlv_vec3_dot(c[0], rlv_vec3_cross(c[1], c[2]));
    const rlv_vec3 x = rlv_vec3_of(rlv_vec3_dot(off, rlv_vec3_cross(c[1], c[2])) / det,
                                   rlv_vec3_dot(c[0], rlv_vec3_cross(off, c[2])) / det,
                                   rlv_vec3_dot(c[0], rlv_vec3_cross(c[1], off)) / det);
    return rlv_vec3_dot(off, x);
}

static bool holds(rlv_interval interval, double truth)
{
    return interval.low <= truth && truth <= interval.high;
}

static plate usual(void)
{
    return (plate){.length = 27.0, .width = 20.0, .points = 16, .turn = rlv_mat3_identity(), .sd = 0.3};
}

// --- what is exact ---------------------------------------------------------------------------------------------------

Test(element, a_square_has_its_middle_its_pole_and_its_sides)
{
    const double sd = 1e-6, lift = 40.0;
    const rlv_placed_point outline[] = {
        {{0, 0, lift}, sd}, {{30, 0, lift}, sd}, {{30, 20, lift}, sd}, {{0, 20, lift}, sd}};
    const rlv_element e = measured(&(rlv_element_seen){.outline_count = 4, .outline = outline, .outward = {0, 0, -1}});
    // Everything is off by what an sd of a nanometre does to it, and no more.
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(place_of(&e), rlv_vec3_of(15, 10, lift))), 10.0 * sd);
    cr_expect_float_eq(axis_of(&e, 2).z, -1.0, sd);
    cr_expect_float_eq(fabs(axis_of(&e, 0).x), 1.0, sd);
    cr_expect_float_eq(e.length_mm.value, 30.0, 10.0 * sd);
    cr_expect_float_eq(e.width_mm.value, 20.0, 10.0 * sd);
    cr_expect(isnan(e.thickness_mm.value));
    cr_expect_eq(e.known, (unsigned)(RLV_ELEMENT_POLE | RLV_ELEMENT_LONG));
    cr_expect(e.long_by_shape && !e.inflated);
    // The mean of four places: half an sd along the pole.
    cr_expect_float_eq(sqrt(e.position_cov_mm2[8]), 0.5 * sd, 1e-3 * sd);
}

Test(element, the_middle_is_that_of_the_area_not_of_the_points)
{
    // A square with nine of its twelve points crowded on one side.
    rlv_placed_point outline[12];
    for (int i = 0; i < 9; i++)
        outline[i] = (rlv_placed_point){{-10.0, 10.0 - 2.5 * i, 0.0}, 1e-6};
    outline[9] = (rlv_placed_point){{10, -10, 0}, 1e-6};
    outline[10] = (rlv_placed_point){{10, 0, 0}, 1e-6};
    outline[11] = (rlv_placed_point){{10, 10, 0}, 1e-6};
    const rlv_element e = measured(&(rlv_element_seen){.outline_count = 12, .outline = outline});
    // It is no smooth curve, whatever its sds say: an outline this sure is widened by thousands, and its middle stays.
    cr_expect(e.inflated);
    cr_expect_lt(rlv_vec3_length(place_of(&e)), 1e-5);
}

Test(element, landmarks_tell_every_axis_and_both_senses)
{
    scan_random random = {noise_hash(1, 1)};
    plate p = usual();
    rlv_placed_point outline[MOST], mark[RLV_LANDMARKS];
    for (int trial = 0; trial < 50; trial++)
    {
        p.turn = scan_random_rotation(&random);
        p.at = rlv_vec3_of(100, -300, 50);
        draw_outline(outline, &p, &random);
        draw_landmarks(mark, &p, &random);
        const rlv_element e = measured(&(rlv_element_seen){
            .outline_count = p.points, .outline = outline, .landmark = {&mark[0], &mark[1], &mark[2]}});
        cr_expect_eq(e.known, 15u);
        cr_expect(!e.long_by_shape && !e.contradicts);
        for (int k = 0; k < 3; k++) // a tilt of several degrees leaves a cosine of 0.99
            cr_expect_gt(rlv_vec3_dot(axis_of(&e, k), rlv_mat3_column(p.turn, k)), 0.99);
        cr_expect_float_eq(rlv_vec3_dot(rlv_vec3_cross(axis_of(&e, 0), axis_of(&e, 1)), axis_of(&e, 2)), 1.0, 1e-12);
    }
}

Test(element, numbering_the_other_way_about_changes_nothing)
{
    scan_random random = {noise_hash(2, 1)};
    plate p = usual();
    rlv_placed_point outline[MOST], back[MOST];
    p.turn = scan_random_rotation(&random);
    draw_outline(outline, &p, &random);
    for (size_t i = 0; i < p.points; i++)
        back[i] = outline[p.points - 1 - i];
    const rlv_element a = measured(&(rlv_element_seen){.outline_count = p.points, .outline = outline});
    const rlv_element b = measured(&(rlv_element_seen){.outline_count = p.points, .outline = back});
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(place_of(&a), place_of(&b))), 1e-12);
    cr_expect_float_eq(rlv_vec3_dot(axis_of(&a, 2), axis_of(&b, 2)), 1.0, 1e-14);
    cr_expect_float_eq(fabs(rlv_vec3_dot(axis_of(&a, 0), axis_of(&b, 0))), 1.0, 1e-14);
    // The smooth curve, which tells how far noise pushes an extent, begins at another point: its harmonics are weighed
    // alike from any.
    cr_expect_float_eq(a.length_mm.value, b.length_mm.value, 1e-9, "%.17g %.17g", a.length_mm.value, b.length_mm.value);
}

Test(element, the_apex_tells_the_external_face)
{
    scan_random random = {noise_hash(3, 1)};
    plate p = usual();
    rlv_placed_point outline[MOST], mark[RLV_LANDMARKS];
    draw_outline(outline, &p, &random);
    draw_landmarks(mark, &p, &random);
    const rlv_element_seen down = {
        .outline_count = p.points, .outline = outline, .landmark[4] = &mark[4], .outward = {0, 0, -1}};
    const rlv_element e = measured(&down);
    cr_expect_eq(e.known, (unsigned)(RLV_ELEMENT_POLE | RLV_ELEMENT_FACE | RLV_ELEMENT_LONG));
    cr_expect_gt(axis_of(&e, 2).z, 0.9);
    rlv_placed_point low = mark[4];
    low.at_mm.z = 0.3; // an sd above the plate: it could be either face
    rlv_element_seen unsure = down;
    unsure.landmark[4] = &low;
    const rlv_element u = measured(&unsure);
    cr_expect_eq(u.known & RLV_ELEMENT_FACE, 0u);
    cr_expect_lt(axis_of(&u, 2).z, -0.9); // outwards, where nothing better is known
}

Test(element, landmarks_that_contradict_each_other_leave_the_face_unknown)
{
    scan_random random = {noise_hash(4, 1)};
    plate p = usual();
    rlv_placed_point outline[MOST], mark[RLV_LANDMARKS];
    draw_outline(outline, &p, &random);
    draw_landmarks(mark, &p, &random);
    // Left and right were taken for each other.
    const rlv_element e = measured(&(rlv_element_seen){
        .outline_count = p.points, .outline = outline, .landmark = {&mark[0], &mark[3], &mark[2], &mark[1], &mark[4]}});
    cr_expect(e.contradicts);
    cr_expect_eq(e.known & RLV_ELEMENT_FACE, 0u);
    cr_expect_neq(e.known & RLV_ELEMENT_FRONT, 0u);
}

Test(element, two_ends_are_a_place_and_a_line)
{
    const rlv_placed_point a = {{10, 0, 0}, 0.3}, p = {{-30, 0, 0}, 0.4};
    const rlv_element e = measured(&(rlv_element_seen){.landmark = {&a, NULL, &p}, .outward = {1, 0, 5}});
    cr_expect_eq(e.known, (unsigned)(RLV_ELEMENT_LONG | RLV_ELEMENT_FRONT));
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(place_of(&e), rlv_vec3_of(-10, 0, 0))), 1e-12);
    cr_expect_float_eq(axis_of(&e, 0).x, 1.0, 1e-12);
    cr_expect_float_eq(axis_of(&e, 2).z, 1.0, 1e-12);                   // outwards, without meaning
    cr_expect_float_eq(sqrt(e.position_cov_mm2[0]), 0.25, 1e-6);        // half of 0.3 and 0.4 together
    cr_expect_float_eq(sqrt(e.attitude_cov_rad2[4]), 0.5 / 40.0, 1e-5); // 0.5 mm over 40
    cr_expect_float_eq(e.attitude_cov_rad2[0], M_PI * M_PI / 3.0, 1e-12);
    cr_expect_float_eq(e.length_mm.value, 40.0, 0.01); // less what noise across it adds: 2 * 0.25 / 80
    cr_expect(isnan(e.width_mm.value));
}

Test(element, landmarks_alone_make_a_plate)
{
    scan_random random = {noise_hash(5, 1)};
    plate p = usual();
    p.turn = scan_random_rotation(&random);
    rlv_placed_point mark[RLV_LANDMARKS];
    draw_landmarks(mark, &p, &random);
    const rlv_element e =
        measured(&(rlv_element_seen){.landmark = {&mark[0], &mark[1], &mark[2], &mark[3], &mark[4], &mark[5]}});
    cr_expect_eq(e.known, 15u);
    cr_expect(holds(e.length_mm, p.length), "%g", e.length_mm.value);
    cr_expect(holds(e.width_mm, p.width), "%g", e.width_mm.value);
    cr_expect(holds(e.thickness_mm, 7.5), "%g", e.thickness_mm.value);
}

Test(element, a_round_plate_has_no_long_axis)
{
    scan_random random = {noise_hash(6, 1)};
    plate p = usual();
    p.width = p.length;
    rlv_placed_point outline[MOST];
    draw_outline(outline, &p, &random);
    const rlv_element e = measured(&(rlv_element_seen){.outline_count = p.points, .outline = outline});
    cr_expect_eq(e.known, (unsigned)RLV_ELEMENT_POLE);
    // Turns about the pole are any.
    cr_expect_float_eq(square_of(e.attitude_cov_rad2, axis_of(&e, 2)), 3.0 / (M_PI * M_PI), 1e-6);
}

// --- intervals -------------------------------------------------------------------------------------------------------

/// The outline that a plate's points would make without error, measured as closely as it can be.
static rlv_element truth_of(const plate* p)
{
    plate exact = *p;
    scan_random none = {0};
    rlv_placed_point outline[MOST], mark[RLV_LANDMARKS];
    exact.sd = 0.0;
    draw_outline(outline, &exact, &none);
    draw_landmarks(mark, &exact, &none);
    for (size_t i = 0; i < p->points; i++)
        outline[i].sd_mm = 1e-6;
    for (int k = 0; k < RLV_LANDMARKS; k++)
        mark[k].sd_mm = 1e-6;
    return measured(&(rlv_element_seen){
        .outline_count = p->points, .outline = outline, .landmark = {&mark[0], &mark[1], &mark[2]}});
}

static void check_plate(const char* name, plate p, double length, double width)
{
    scan_random random = {noise_hash(7, (uint64_t)p.points + (uint64_t)(100.0 * p.width))};
    int place = 0, attitude = 0, along = 0, across = 0;
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_placed_point outline[MOST], mark[RLV_LANDMARKS];
        p.turn = scan_random_rotation(&random);
        const rlv_element truth = truth_of(&p);
        draw_outline(outline, &p, &random);
        draw_landmarks(mark, &p, &random);
        const rlv_element e = measured(&(rlv_element_seen){
            .outline_count = p.points, .outline = outline, .landmark = {&mark[0], &mark[1], &mark[2]}});
        place += square_of(e.position_cov_mm2, rlv_vec3_sub(place_of(&e), place_of(&truth))) <= CHI3;
        const rlv_vec3 turn =
            rlv_rotation_to_vector(rlv_mat3_multiply(frame_of(&e), rlv_mat3_transpose(frame_of(&truth))));
        attitude += square_of(e.attitude_cov_rad2, turn) <= CHI3;
        along += holds(e.length_mm, length);
        across += holds(e.width_mm, width);
    }
    char what[120];
    const char* const parts[] = {"position", "attitude", "length", "width"};
    const int inside[] = {place, attitude, along, across};
    for (int k = 0; k < 4; k++)
    {
        snprintf(what, sizeof what, "%s, %s", name, parts[k]);
        expect_coverage(what, inside[k]);
    }
}

Test(element, intervals_of_a_large_scute_hold_95_of_100)
{
    check_plate("27 by 20 mm, 16 points", usual(), 27.0, 20.0);
}

Test(element, intervals_of_a_wide_and_bent_scute_hold_95_of_100)
{
    plate p = usual();
    p.length = 10.0;
    p.width = 18.0;
    p.bend = 1.5;
    p.points = 21;
    check_plate("10 by 18 mm, bent, 21 points", p, 10.0, 18.0);
}

Test(element, intervals_of_a_small_scute_hold_95_of_100)
{
    plate p = usual();
    p.length = 6.0;
    p.width = 4.0;
    p.points = 12;
    p.sd = 0.15;
    check_plate("6 by 4 mm, 12 points of 0.15 mm", p, 6.0, 4.0);
}

Test(element, an_unsaid_sd_is_the_usual_one)
{
    scan_random random = {noise_hash(8, 1)};
    plate p = usual();
    rlv_placed_point said[MOST], unsaid[MOST];
    draw_outline(said, &p, &random);
    memcpy(unsaid, said, sizeof said);
    for (size_t i = 0; i < p.points; i++)
        unsaid[i].sd_mm = (double)NAN;
    const rlv_element a = measured(&(rlv_element_seen){.outline_count = p.points, .outline = said});
    const rlv_element b = measured(&(rlv_element_seen){.outline_count = p.points, .outline = unsaid});
    cr_expect_eq(memcmp(a.position_cov_mm2, b.position_cov_mm2, sizeof a.position_cov_mm2), 0);
}

Test(element, an_outline_rougher_than_its_sds_is_told_less_surely)
{
    scan_random random = {noise_hash(9, 1)};
    plate p = usual();
    rlv_placed_point outline[MOST];
    p.sd = 1.0;
    draw_outline(outline, &p, &random);
    for (size_t i = 0; i < p.points; i++)
        outline[i].sd_mm = 0.25;
    const rlv_element e = measured(&(rlv_element_seen){.outline_count = p.points, .outline = outline});
    cr_expect(e.inflated);
    // The ratio is that of the sds, as closely as some twenty degrees of freedom tell: within 2.5 sds of 16 %.
    cr_expect_float_eq(sqrt(e.position_cov_mm2[8]) / (0.25 / 4.0), 4.0, 4.0 * 0.4);
}

// --- carried by a pose -----------------------------------------------------------------------------------------------

Test(element, a_pose_carries_the_element_with_its_own_errors)
{
    scan_random random = {noise_hash(10, 1)};
    plate p = usual();
    p.at = rlv_vec3_of(120, 40, -60);
    rlv_placed_point outline[MOST];
    int place = 0, attitude = 0;
    const double sd[7] = {0.1, 0.3, 0.2, 0.002, 0.004, 0.003, 0.0005};
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_pose pose = rlv_pose_identity();
        double delta[7];
        pose.rotation = scan_random_rotation(&random);
        pose.translation_mm = rlv_vec3_of(5, 6, 7);
        pose.centre_mm = rlv_vec3_of(20, -30, 10);
        for (int k = 0; k < 7; k++)
        {
            pose.covariance[8 * k] = sd[k] * sd[k];
            delta[k] = sd[k] * scan_random_normal(&random);
        }
        const rlv_pose told = rlv_pose_nudge(&pose, pose.centre_mm, delta);
        rlv_pose known = told;
        memcpy(known.covariance, pose.covariance, sizeof known.covariance);
        known.centre_mm = pose.centre_mm;
        draw_outline(outline, &p, &random);
        rlv_element truth = truth_of(&p), e = measured(&(rlv_element_seen){
                                              .outline_count = p.points, .outline = outline, .outward = {0, 0, 1}});
        // Where it truly lies in the target: by the true pose.
        rlv_pose sure = pose;
        memset(sure.covariance, 0, sizeof sure.covariance);
        rlv_element_carry(&truth, &sure, NULL);
        rlv_element_carry(&e, &known, NULL);
        place += square_of(e.position_cov_mm2, rlv_vec3_sub(place_of(&e), place_of(&truth))) <= CHI3;
        rlv_mat3 f = frame_of(&e);
        if (rlv_vec3_dot(axis_of(&e, 0), axis_of(&truth, 0)) < 0.0)
            for (int k = 0; k < 9; k++)
                f.m[k] *= k % 3 < 2 ? -1.0 : 1.0;
        const rlv_vec3 turn = rlv_rotation_to_vector(rlv_mat3_multiply(f, rlv_mat3_transpose(frame_of(&truth))));
        attitude += square_of(e.attitude_cov_rad2, turn) <= CHI3;
    }
    expect_coverage("carried position", place);
    expect_coverage("carried attitude", attitude);
}

static void expect_interval(rlv_interval is, double value, double low, double high)
{
    cr_expect_float_eq(is.value, value, 1e-9);
    cr_expect_float_eq(is.low, low, 1e-9);
    cr_expect_float_eq(is.high, high, 1e-9);
}

Test(element, a_pose_carries_either_half_of_an_interval_and_what_is_not_known)
{
    const rlv_interval none = {(double)NAN, (double)NAN, (double)NAN};
    const rlv_element before = {.length_mm = {30.0, 27.0, 31.0}, .width_mm = {1.0, 0.0, 4.0}, .thickness_mm = none};
    rlv_pose pose = rlv_pose_identity();
    rlv_element e = before;
    rlv_element_carry(&e, &pose, NULL);
    expect_interval(e.length_mm, 30.0, 27.0, 31.0);
    expect_interval(e.width_mm, 1.0, 0.0, 4.0);
    cr_expect(isnan(e.thickness_mm.value) && isnan(e.thickness_mm.low) && isnan(e.thickness_mm.high));
    // The scale's own error is added to either half in squares.
    pose.scale = 2.0;
    pose.covariance[48] = 0.02 * 0.02;
    e = before;
    rlv_element_carry(&e, &pose, NULL);
    const double scale = 1.959964 * 60.0 * 0.02;
    expect_interval(e.length_mm, 60.0, 60.0 - hypot(6.0, scale), 60.0 + hypot(2.0, scale));
    cr_expect_eq(e.width_mm.low, 0.0);
}

// --- several sightings -----------------------------------------------------------------------------------------------

/// A sighting of a plate that has been moved by `off` and turned by `turn_deg` about an edge.
static rlv_element sighting(plate p, scan_random* random, rlv_vec3 off, double turn_deg, unsigned marks)
{
    rlv_placed_point outline[MOST], mark[RLV_LANDMARKS];
    p.at = rlv_vec3_add(p.at, off);
    p.turn = rlv_mat3_multiply(rlv_rotation_from_vector(rlv_vec3_of(turn_deg * DEG, 0, 0)), p.turn);
    draw_outline(outline, &p, random);
    draw_landmarks(mark, &p, random);
    rlv_element_seen seen = {.outline_count = p.points, .outline = outline, .outward = {0, 0, 1}};
    for (int k = 0; k < RLV_LANDMARKS; k++)
        seen.landmark[k] = (marks >> k & 1u) != 0 ? &mark[k] : NULL;
    return measured(&seen);
}

Test(element, sightings_are_fused_to_what_all_of_them_say)
{
    scan_random random = {noise_hash(11, 1)};
    plate p = usual();
    int place = 0, attitude = 0, quiet = 0;
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_element seen[4];
        rlv_element_fusion fusion;
        p.sd = 0.3;
        // Landmarks on some of them only: one knows all, one no face, one no anatomy at all.
        const unsigned marks[4] = {0x7, 0x1, 0x0, 0xf};
        for (int i = 0; i < 4; i++)
            seen[i] = sighting(p, &random, rlv_vec3_of(0, 0, 0), 0.0, marks[i]);
        cr_assert_eq(rlv_element_fuse(&fusion, NULL, 4, seen, NULL, NULL), RLV_DONE);
        const rlv_element truth = truth_of(&p);
        const rlv_element* e = &fusion.element;
        place += square_of(e->position_cov_mm2, rlv_vec3_sub(place_of(e), place_of(&truth))) <= CHI3;
        const rlv_vec3 turn =
            rlv_rotation_to_vector(rlv_mat3_multiply(frame_of(e), rlv_mat3_transpose(frame_of(&truth))));
        attitude += square_of(e->attitude_cov_rad2, turn) <= CHI3;
        quiet += fusion.p > 0.05;
        if (trial == 0)
        {
            cr_expect_eq(e->known, 15u);
            cr_expect_eq(fusion.whole, 4u);
            cr_expect_lt(e->position_cov_mm2[0], 0.3 * seen[0].position_cov_mm2[0]);
        }
    }
    expect_coverage("fused position", place);
    expect_coverage("fused attitude", attitude);
    expect_coverage("no difference told at 0.05", quiet);
}

Test(element, errors_that_sightings_share_are_not_shrunk_by_fusing)
{
    scan_random random = {noise_hash(19, 1)};
    const plate p = usual();
    const rlv_element truth = truth_of(&p);
    int place = 0, quiet = 0;
    const double sd = 0.25;
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_element seen[4];
        rlv_element_errors shared[4] = {0};
        rlv_element_fusion fusion;
        // One error of the frame for all four, and one of each stage, as large.
        const rlv_vec3 frame = shaken(&random, rlv_vec3_of(0, 0, 0), sd);
        for (int i = 0; i < 4; i++)
        {
            seen[i] = sighting(p, &random, shaken(&random, frame, sd), 0.0, 0x7);
            for (int k = 0; k < 9; k += 4)
                shared[i].position_cov_mm2[k] = 2.0 * sd * sd;
        }
        cr_assert_eq(rlv_element_fuse(&fusion, NULL, 4, seen, shared, NULL), RLV_DONE);
        const rlv_vec3 off = rlv_vec3_sub(place_of(&fusion.element), place_of(&truth));
        place += square_of(fusion.element.position_cov_mm2, off) <= CHI3;
        quiet += !fusion.disturbed;
    }
    // What a mean of four has of the stages' own errors is taken four times too large, so that it holds more.
    cr_log_info("shared errors: inside in %.4f, quiet in %.4f\n", (double)place / TRIALS, (double)quiet / TRIALS);
    cr_expect(place > 0.93 * TRIALS, "%d", place);
    // An alarm at 0.001, and fewer: the frame's error is no difference. Two in 2000 is its mean, seven its mean and 3
    // sds.
    cr_expect_geq(quiet, TRIALS - 7);
}

Test(element, what_the_work_has_moved_is_told_and_where_it_lay_first)
{
    scan_random random = {noise_hash(12, 1)};
    const plate p = usual();
    int found = 0, shift = 0, first = 0;
    for (int trial = 0; trial < 400; trial++)
    {
        rlv_element seen[4];
        rlv_element_fusion fusion;
        for (int i = 0; i < 4; i++)
            seen[i] = sighting(p, &random, i < 2 ? rlv_vec3_of(0, 0, 0) : rlv_vec3_of(1.2, 0, 0), 0.0, 0x7);
        cr_assert_eq(rlv_element_fuse(&fusion, NULL, 4, seen, NULL, NULL), RLV_DONE);
        found += fusion.disturbed && fusion.since >= 2; // one that looks smaller by chance does not count
        shift += fusion.disturbed && fabs(fusion.shift_mm - 1.2) < 1.96 * fusion.shift_sd_mm;
        first +=
            fusion.disturbed && fabs(fusion.element.position_mm[0]) < 4.0 * sqrt(fusion.element.position_cov_mm2[0]);
    }
    // A position's sd is 0.3 / sqrt(16) along the pole and somewhat more across; 1.2 mm between two pairs is some ten.
    // What hides it is a pair of which both look smaller by chance than the fullest: at 15 % each, and two pairs, 18 of
    // 400 with an sd of 4.
    cr_expect_gt(found, 400 - 18 - 12, "%d", found);
    cr_expect_gt(first, 400 - 18 - 12, "%d", first);
    // A length across two more dimensions is biased by about sd^2 / 1.2: half a tenth of an sd. 400 trials: sd 1.1 %.
    cr_expect_gt(shift, 360);
}

Test(element, a_turn_without_a_shift_is_found_too)
{
    scan_random random = {noise_hash(13, 1)};
    const plate p = usual();
    rlv_element seen[2];
    rlv_element_fusion fusion;
    for (int i = 0; i < 2; i++)
        seen[i] = sighting(p, &random, rlv_vec3_of(0, 0, 0), i == 0 ? 0.0 : 12.0, 0x7);
    cr_assert_eq(rlv_element_fuse(&fusion, NULL, 2, seen, NULL, NULL), RLV_DONE);
    cr_expect(fusion.disturbed);
    cr_expect_float_eq(fusion.turn_deg, 12.0, 4.0 * fusion.turn_sd_deg);
    cr_expect_lt(fusion.turn_sd_deg, 3.0);
}

Test(element, a_sighting_that_shows_half_of_it_does_not_count)
{
    scan_random random = {noise_hash(14, 1)};
    plate p = usual(), half = usual();
    half.length = 14.0; // its hind half, whose middle is 6.5 mm behind
    rlv_element seen[2] = {sighting(half, &random, rlv_vec3_of(-6.5, 0, 0), 0.0, 0x7),
                           sighting(p, &random, rlv_vec3_of(0, 0, 0), 0.0, 0x7)};
    bool partial[2];
    rlv_element_fusion fusion;
    cr_assert_eq(rlv_element_fuse(&fusion, partial, 2, seen, NULL, NULL), RLV_DONE);
    cr_expect(partial[0] && !partial[1] && !fusion.disturbed);
    cr_expect_eq(fusion.whole, 1u);
    cr_expect_eq(fusion.element.position_mm[0], seen[1].position_mm[0]);
    cr_expect(isnan(fusion.p));
}

/// A flat oval of 40 by 20 mm along x, exact, as the landmarks in `mark` (NULL: not there) and `points` of its rim show
/// it from above.
static rlv_element oval(size_t points, const rlv_placed_point* const mark[RLV_LANDMARKS])
{
    rlv_placed_point rim[MOST];
    for (size_t i = 0; i < points; i++)
    {
        const double turn = 2.0 * M_PI * (double)i / (double)points;
        rim[i] = (rlv_placed_point){{20.0 * cos(turn), 10.0 * sin(turn), 0.0}, 0.1};
    }
    rlv_element_seen seen = {.outline_count = points, .outline = rim, .outward = {0, 0, 1}};
    memcpy(seen.landmark, mark, sizeof seen.landmark);
    return measured(&seen);
}

static const rlv_placed_point east = {{20, 0, 0}, 0.1}, west = {{-20, 0, 0}, 0.1}, north = {{0, 10, 0}, 0.1},
                              south = {{0, -10, 0}, 0.1}, above = {{0, 0, 4}, 0.1}, below = {{0, 0, -4}, 0.1};

static rlv_element_fusion fused(size_t count, const rlv_element* seen, bool* partial)
{
    rlv_element_fusion fusion;
    cr_assert_eq(rlv_element_fuse(&fusion, partial, count, seen, NULL, NULL), RLV_DONE);
    return fusion;
}

Test(element, the_face_that_one_sighting_knows_is_the_face_of_all)
{
    // From above it is the inner face that shows: the apex is beneath it. Its ends alone do not tell that.
    const rlv_element seen[3] = {oval(12, (const rlv_placed_point*[]){&east, NULL, &west, NULL, NULL, NULL}),
                                 oval(12, (const rlv_placed_point*[]){NULL, NULL, NULL, NULL, &below, NULL}),
                                 oval(12, (const rlv_placed_point*[]){&east, NULL, &west, NULL, NULL, NULL})};
    for (int first = 0; first < 2; first++)
    {
        const rlv_element_fusion fusion = fused(2, seen + first, NULL);
        cr_expect_eq(fusion.element.known, 15u);
        cr_expect_float_eq(axis_of(&fusion.element, 2).z, -1.0, 1e-9);
        cr_expect_float_eq(axis_of(&fusion.element, 0).x, 1.0, 1e-9);
        cr_expect_gt(fusion.p, 0.99); // exact points do not differ
    }
}

Test(element, the_front_that_one_sighting_knows_is_the_front_of_all)
{
    // Sides without a face tell a line and no front; two ends alone tell that it is to the west.
    const rlv_element seen[3] = {oval(12, (const rlv_placed_point*[]){NULL, &north, NULL, &south, NULL, NULL}),
                                 oval(0, (const rlv_placed_point*[]){&west, NULL, &east, NULL, NULL, NULL}),
                                 oval(12, (const rlv_placed_point*[]){NULL, &north, NULL, &south, NULL, NULL})};
    cr_assert_gt(axis_of(&seen[0], 0).x, 0.0); // seen from above, the filled-in front of the first is to the east
    for (int first = 0; first < 2; first++)
    {
        const rlv_element_fusion fusion = fused(2, seen + first, NULL);
        cr_expect_eq(fusion.element.known & RLV_ELEMENT_FRONT, (unsigned)RLV_ELEMENT_FRONT);
        cr_expect_float_eq(axis_of(&fusion.element, 0).x, -1.0, 1e-9);
        cr_expect_gt(fusion.p, 0.99);
    }
}

Test(element, what_was_turned_over_is_told_though_one_between_knows_no_face)
{
    const rlv_element seen[3] = {oval(12, (const rlv_placed_point*[]){NULL, NULL, NULL, NULL, &above, NULL}),
                                 oval(12, (const rlv_placed_point*[]){&east, NULL, &west, NULL, NULL, NULL}),
                                 oval(12, (const rlv_placed_point*[]){NULL, NULL, NULL, NULL, &below, NULL})};
    const rlv_element_fusion fusion = fused(3, seen, NULL);
    cr_expect(fusion.disturbed);
    cr_expect_float_eq(fusion.turn_deg, 180.0, 1e-6);
    cr_expect_float_eq(axis_of(&fusion.element, 2).z, 1.0, 1e-9);
}

Test(element, an_axis_by_shape_is_not_held_against_one_by_anatomy)
{
    // Wider than long: its sides are to the west and the east, and its longer axis lies across its anatomy's.
    const rlv_element seen[3] = {oval(12, (const rlv_placed_point*[]){NULL, NULL, NULL, NULL, &above, NULL}),
                                 oval(12, (const rlv_placed_point*[]){NULL, &west, NULL, &east, NULL, NULL}),
                                 oval(12, (const rlv_placed_point*[]){NULL, NULL, NULL, NULL, &above, NULL})};
    for (int first = 0; first < 2; first++)
    {
        const rlv_element_fusion fusion = fused(2, seen + first, NULL);
        cr_expect_gt(fusion.p, 0.99);
        cr_expect(!fusion.element.long_by_shape);
        cr_expect_float_eq(fabs(axis_of(&fusion.element, 0).y), 1.0, 1e-9);
        cr_expect_float_eq(axis_of(&fusion.element, 2).z, 1.0, 1e-9);
        cr_expect_eq(fusion.element.known, (unsigned)(RLV_ELEMENT_POLE | RLV_ELEMENT_FACE | RLV_ELEMENT_LONG));
        cr_expect_float_eq(fusion.element.length_mm.value, seen[1].length_mm.value, 1e-9);
    }
}

Test(element, ends_alone_are_held_against_the_extent_along_them)
{
    // Wider than long: the ends lie 20 mm apart, across 40 mm.
    const rlv_placed_point* const ends[RLV_LANDMARKS] = {&north, NULL, &south, NULL, NULL, NULL};
    const rlv_placed_point* const apex[RLV_LANDMARKS] = {NULL, NULL, NULL, NULL, &above, NULL};
    const rlv_element bare = oval(0, ends), by_ends[2] = {oval(12, ends), bare};
    bool partial[2];
    cr_expect_eq(fused(2, by_ends, partial).whole, 2u);
    cr_expect(!partial[0] && !partial[1]);
    // Of an outline whose own axis lies elsewhere they tell nothing less or more: that keeps its axis and its face.
    const rlv_element by_shape[3] = {oval(12, apex), bare, oval(12, apex)};
    for (int first = 0; first < 2; first++)
    {
        const rlv_element_fusion fusion = fused(2, by_shape + first, partial);
        cr_expect_eq(fusion.whole, 2u);
        cr_expect_gt(fusion.p, 0.99);
        cr_expect(fusion.element.long_by_shape);
        cr_expect_eq(fusion.element.known, by_shape[0].known);
    }
    // Ends that lie nearer to each other than the outline reaches do show less.
    const rlv_placed_point nearer = {{0, 4, 0}, 0.1};
    const rlv_element less[2] = {by_ends[0],
                                 oval(0, (const rlv_placed_point*[]){&nearer, NULL, &south, NULL, NULL, NULL})};
    cr_expect_eq(fused(2, less, partial).whole, 1u);
    cr_expect(!partial[0] && partial[1]);
}

Test(element, what_makes_an_interval_lopsided_is_not_averaged_away)
{
    // Noise makes a solid's extents too great by as much each time: 4 more below than above.
    rlv_element solid = oval(12, (const rlv_placed_point* [RLV_LANDMARKS]){NULL});
    solid.thickness_mm = (rlv_interval){20.0, 14.0, 22.0};
    const rlv_element seen[4] = {solid, solid, solid, solid};
    expect_interval(fused(4, seen, NULL).element.thickness_mm, 20.0, 20.0 - 1.0 - 4.0, 20.0 + 1.0);
}

// --- against a plane -------------------------------------------------------------------------------------------------

Test(element, the_angle_to_bedding_is_held_from_flat_to_steep)
{
    const double angles[] = {0.0, 1.0, 2.0, 8.0, 60.0};
    for (size_t a = 0; a < sizeof angles / sizeof *angles; a++)
    {
        scan_random random = {noise_hash(15, a)};
        int inside = 0;
        for (int trial = 0; trial < TRIALS; trial++)
        {
            // A pole and a plane, each off by its sd along either way that it can tilt.
            const rlv_vec3 tilt =
                rlv_vec3_of(0.012 * scan_random_normal(&random), 0.012 * scan_random_normal(&random), 0);
            const rlv_vec3 own =
                rlv_vec3_of(0.016 * scan_random_normal(&random), 0.016 * scan_random_normal(&random), 0);
            const rlv_vec3 bed = rlv_mat3_apply(rlv_rotation_from_vector(tilt), rlv_vec3_of(0, 0, 1));
            rlv_element e = {.known = RLV_ELEMENT_POLE,
                             .attitude_cov_rad2 = {2.56e-4, 0, 0, 0, 2.56e-4, 0, 0, 0, 2.56e-4}};
            const rlv_mat3 f = rlv_mat3_multiply(rlv_rotation_from_vector(rlv_vec3_of(angles[a] * DEG, 0, 0)),
                                                 rlv_rotation_from_vector(own));
            memcpy(e.frame, f.m, sizeof f.m);
            const rlv_fitted_plane plane =
                rlv_plane_known(trial % 2 == 0 ? bed : rlv_vec3_scale(bed, -1.0), 0.012 / DEG);
            inside += holds(rlv_element_angle_deg(&e, &plane), angles[a]);
        }
        char what[60];
        snprintf(what, sizeof what, "angle to bedding of %g degrees", angles[a]);
        expect_coverage(what, inside);
    }
}

Test(element, without_a_pole_there_is_no_angle)
{
    const rlv_element e = {.known = RLV_ELEMENT_LONG};
    const rlv_fitted_plane plane = rlv_plane_known(rlv_vec3_of(0, 0, 1), 1.0);
    cr_expect(isnan(rlv_element_angle_deg(&e, &plane).value));
}

// --- a part of a mesh ------------------------------------------------------------------------------------------------

/// A sheet of squares cut in two, with an oval part of it that bears a keel, and noise along z.
typedef struct sheet
{
    rlv_mesh mesh;
    uint32_t* part;
    size_t part_count;
} sheet;

enum
{
    ACROSS = 44,
    UP = 34,
};

static const double pitch_mm = 0.7;

static void sheet_make(sheet* s, rlv_vec3 centre, double noise_mm, uint64_t seed)
{
    cr_assert_eq(rlv_mesh_reserve(&s->mesh, ACROSS * UP, 2 * (ACROSS - 1) * (UP - 1), false, false, NULL), RLV_DONE);
    s->part = calloc(s->mesh.triangle_count, sizeof *s->part);
    for (size_t i = 0; i < ACROSS * UP; i++)
    {
        const double x = pitch_mm * (double)(i % ACROSS), y = pitch_mm * (double)(i / ACROSS);
        const double off = hypot((x - centre.x) / 10.0, (y - centre.y) / 7.0);
        const double keel = 4.0 * fmax(0.6 - off * off, 0.0); // flat about the rim
        s->mesh.position_mm[3 * i] = (float)x;
        s->mesh.position_mm[3 * i + 1] = (float)y;
        s->mesh.position_mm[3 * i + 2] = (float)(keel + noise_mm * noise_smooth_at(seed, 1.0, rlv_vec3_of(x, y, 0.0)));
    }
    uint32_t* corner = s->mesh.corner;
    for (uint32_t k = 0; k < (ACROSS - 1) * (UP - 1); k++)
    {
        const uint32_t a = k / (ACROSS - 1) * ACROSS + k % (ACROSS - 1);
        const uint32_t two[6] = {a, a + 1, a + ACROSS, a + 1, a + ACROSS + 1, a + ACROSS};
        memcpy(corner + 6 * k, two, sizeof two);
    }
    for (size_t t = 0; t < s->mesh.triangle_count; t++)
    {
        double x = 0.0, y = 0.0;
        for (size_t k = 0; k < 3; k++)
        {
            x += pitch_mm * (double)(corner[3 * t + k] % ACROSS) / 3.0;
            y += pitch_mm * (double)(corner[3 * t + k] / ACROSS) / 3.0;
        }
        if (hypot((x - centre.x) / 10.0, (y - centre.y) / 7.0) < 1.0)
            s->part[s->part_count++] = (uint32_t)t;
    }
}

static void sheet_free(sheet* s)
{
    rlv_mesh_free(&s->mesh);
    free(s->part);
}

Test(element, a_painted_part_of_a_mesh_is_found_where_it_is)
{
    enum
    {
        FEW = 500
    };
    scan_random random = {noise_hash(17, 1)};
    int place = 0, pole = 0, length = 0, width = 0;
    for (int trial = 0; trial < FEW; trial++)
    {
        sheet s = {0};
        const rlv_vec3 centre = rlv_vec3_of(15.0 + scan_random_unit(&random), 11.5 + scan_random_unit(&random), 0.0);
        sheet_make(&s, centre, 0.15, noise_hash(18, (uint64_t)trial));
        const rlv_element_part part = {&s.mesh, s.part_count, s.part, 0.15, 1.0};
        const rlv_element e = measured(&(rlv_element_seen){.part = &part, .outward = {0, 0, 1}});
        // The keel stands on the rim's plane, and does not matter.
        place += square_of(e.position_cov_mm2, rlv_vec3_sub(place_of(&e), centre)) <= CHI3;
        const rlv_vec3 turn = rlv_vec3_cross(rlv_vec3_of(0, 0, 1), axis_of(&e, 2));
        const double* c = e.attitude_cov_rad2;
        pole += (c[4] * turn.x * turn.x - 2.0 * c[1] * turn.x * turn.y + c[0] * turn.y * turn.y) /
                    (c[0] * c[4] - c[1] * c[1]) <=
                CHI2;
        length += holds(e.length_mm, 20.0);
        width += holds(e.width_mm, 14.0);
        sheet_free(&s);
    }
    // 95 % of 500 has an sd of 1 %. Noise is taken as one sd along each axis, and is along z alone: in the sheet's
    // plane intervals hold more.
    cr_log_info("part: place inside %d, pole %d, length %d, width %d of %d\n", place, pole, length, width, (int)FEW);
    cr_expect(place > 0.91 * FEW);
    cr_expect(pole > 0.91 * FEW && pole < 0.99 * FEW);
    cr_expect(length > 0.91 * FEW);
    cr_expect(width > 0.91 * FEW);
}

Test(element, a_part_with_one_long_straight_side_is_measured)
{
    // Half a disc as a fan: 47 short edges round it, and the diameter as one. A stretch of the border is 3.2 mm.
    enum
    {
        ROUND = 48,
    };
    const double radius = 10.0, stretch = 3.0 * (M_PI + 2.0) * radius / ROUND;
    rlv_mesh mesh = {0};
    uint32_t all[ROUND];
    cr_assert_eq(rlv_mesh_reserve(&mesh, ROUND + 1, ROUND, false, false, NULL), RLV_DONE);
    memcpy(mesh.position_mm + 3 * ROUND, (const float[]){0.0F, 5.0F, 0.0F}, 3 * sizeof(float));
    for (uint32_t i = 0; i < ROUND; i++)
    {
        const double turn = M_PI * i / (ROUND - 1);
        const float at[3] = {(float)(radius * cos(turn)), (float)(radius * sin(turn)), 0.0F};
        const uint32_t corner[3] = {ROUND, i, (i + 1) % ROUND};
        memcpy(mesh.position_mm + 3 * i, at, sizeof at);
        memcpy(mesh.corner + 3 * i, corner, sizeof corner);
        all[i] = i;
    }
    const rlv_element_part part = {&mesh, ROUND, all, 0.05, (double)NAN};
    const rlv_element e = measured(&(rlv_element_seen){.part = &part, .outward = {0, 0, 1}});
    // Means of stretches cut either corner by half a stretch squared at most, which moves the middle by its share of
    // the area times its distance (a radius at most); the arc by less than stretch^2 / (6 radius).
    const double share = 0.5 * stretch * stretch / (0.5 * M_PI * radius * radius);
    const double cut = share * radius + stretch * stretch / (6.0 * radius);
    cr_expect_float_eq(e.position_mm[0], 0.0, cut);
    cr_expect_float_eq(e.position_mm[1], 4.0 * radius / (3.0 * M_PI), cut);
    cr_expect_float_eq(axis_of(&e, 2).z, 1.0, 1e-9);
    // Its ends are the two corners.
    cr_expect(e.length_mm.value <= 2.0 * radius && e.length_mm.value >= 2.0 * radius - stretch, "%g",
              e.length_mm.value);
    rlv_mesh_free(&mesh);
}

Test(element, a_part_without_a_border_shows_on_both_sides)
{
    // A box of 30 by 18 by 4 mm, cut small enough to carry noise: here without any.
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(-15, -9, 98), rlv_vec3_of(15, 9, 102));
    uint32_t all[12];
    for (uint32_t i = 0; i < 12; i++)
        all[i] = i;
    const rlv_element_part part = {&mesh, 12, all, 0.05, 1.0};
    const rlv_element e = measured(&(rlv_element_seen){.part = &part});
    cr_expect_eq(e.known, (unsigned)(RLV_ELEMENT_POLE | RLV_ELEMENT_LONG));
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(place_of(&e), rlv_vec3_of(0, 0, 100))), 1e-5); // floats
    cr_expect_float_eq(fabs(axis_of(&e, 2).z), 1.0, 1e-6);
    cr_expect_float_eq(e.length_mm.value, 30.0, 1e-4);
    cr_expect_float_eq(e.width_mm.value, 18.0, 1e-4);
    cr_expect_float_eq(e.thickness_mm.value, 4.0, 1e-4);
    // Noise of integral 2 pi l^2 s^2 over the two broad faces moves the middle along the pole by sqrt(integral * area)
    // * 2 mm over the volume; the rims, a fifth of the area, add a little.
    const double noise = sqrt(2.0 * M_PI) * 0.05, broad = noise * sqrt(2.0 * 30.0 * 18.0) * 2.0 / (30.0 * 18.0 * 4.0);
    cr_expect(sqrt(e.position_cov_mm2[8]) > 0.5 * broad && sqrt(e.position_cov_mm2[8]) < 1.5 * broad);
    rlv_mesh_free(&mesh);
}

Test(element, a_part_that_is_nothing_is_refused)
{
    rlv_element element;
    rlv_error error = {0};
    rlv_mesh mesh = {0};
    const uint32_t none = 0;
    const rlv_element_part empty = {&mesh, 0, &none, 0.1, 1.0}, sure = {&mesh, 1, &none, 0.0, 1.0};
    cr_expect_eq(rlv_element_measure(&element, &(rlv_element_seen){.part = &empty}, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "the part has no faces");
    cr_expect_eq(rlv_element_measure(&element, &(rlv_element_seen){.part = &sure}, &error), RLV_BAD_INPUT);
}

// --- refusals --------------------------------------------------------------------------------------------------------

static void expect_refused(const rlv_element_seen* seen, const char* what)
{
    rlv_element element;
    rlv_error error = {0};
    cr_expect_eq(rlv_element_measure(&element, seen, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, what);
    cr_expect_neq(error.mend[0], '\0');
}

/// Measure an outline of which no attitude is told.
static rlv_element measured_as_sliver(size_t count, const rlv_placed_point* outline)
{
    rlv_element element;
    rlv_error error = {0};
    cr_assert_eq(rlv_element_measure(&element, &(rlv_element_seen){.outline_count = count, .outline = outline}, &error),
                 RLV_DONE, "%s", error.what);
    cr_expect(element.sliver);
    cr_expect_eq(element.known, 0);
    for (int k = 0; k < 9; k++)
        cr_expect_float_eq(element.attitude_cov_rad2[k], k % 4 == 0 ? M_PI * M_PI / 3.0 : 0.0, 1e-12);
    return element;
}

Test(element, an_outline_on_a_line_is_refused)
{
    rlv_placed_point line[8];
    scan_random random = {noise_hash(16, 1)};
    for (int i = 0; i < 8; i++)
        line[i] = (rlv_placed_point){shaken(&random, rlv_vec3_of(2.0 * i, i, 0.0), 0.2), 0.3};
    expect_refused(&(rlv_element_seen){.outline_count = 8, .outline = line},
                   "its 8 points lie on a line within their sds");
    const rlv_placed_point exact[] = {{{0, 0, 0}, 0.3}, {{1, 1, 1}, 0.3}, {{3, 3, 3}, 0.3}};
    expect_refused(&(rlv_element_seen){.outline_count = 3, .outline = exact},
                   "its 3 points lie on a line within their sds");
    // A crescent: no line, but it encloses less than its points' sds tell.
    rlv_placed_point crescent[12];
    for (int i = 0; i < 12; i++)
    {
        const double turn = M_PI * (i < 6 ? i : 11 - i) / 5.0, reach = i < 6 ? 5.0 : 4.8;
        crescent[i] = (rlv_placed_point){{reach * cos(turn), reach * sin(turn), 0.0}, 0.3};
    }
    const rlv_element element = measured_as_sliver(12, crescent);
    // Where it lies is the mean of its points, with the sd of a mean of twelve.
    rlv_vec3 mean = {0.0, 0.0, 0.0};
    for (int i = 0; i < 12; i++)
        mean = rlv_vec3_along(mean, 1.0 / 12.0, crescent[i].at_mm);
    cr_expect_float_eq(element.position_mm[0], mean.x, 1e-12);
    cr_expect_float_eq(element.position_mm[1], mean.y, 1e-12);
    cr_expect_float_eq(element.position_cov_mm2[0], element.position_cov_mm2[8], 1e-12);
    cr_expect_geq(element.position_cov_mm2[0], 0.3 * 0.3 / 12.0 - 1e-12);
}

Test(element, the_rest_of_a_sliver_may_lie_any_way_from_it)
{
    rlv_element sliver = {.sliver = true, .length_mm = {10.0, 9.0, 11.0}, .width_mm = {1.0, 0.0, 2.0}};
    const rlv_element whole = {.length_mm = {12.0, 11.0, 13.0}, .width_mm = {9.0, 8.0, 10.0}};
    const rlv_element* alike[] = {&whole};
    rlv_element widened = sliver;
    rlv_element_covered covered = rlv_element_covered_of(&sliver, 1, alike);
    rlv_element_widen(&widened, &covered);
    for (int k = 0; k < 9; k++) // eight of its nine millimetres of width are hidden: half of that is one sd
        cr_expect_float_eq(widened.position_cov_mm2[k], k % 4 == 0 ? 16.0 : 0.0, 1e-12);
    widened = sliver;
    covered = rlv_element_covered_of(&sliver, 0, NULL);
    rlv_element_widen(&widened, &covered);
    cr_expect_float_eq(widened.position_cov_mm2[4], 4.5 * 4.5, 1e-12, "of a whole as wide as long");
}

Test(element, a_sliver_beside_a_fuller_sighting_is_left_out_of_where_it_lies)
{
    rlv_element sighting[2] = {
        {.known = RLV_ELEMENT_POLE | RLV_ELEMENT_LONG, .length_mm = {10.0, 9.0, 11.0}, .width_mm = {8.0, 7.0, 9.0}},
        {.sliver = true, .length_mm = {11.0, 8.0, 14.0}, .width_mm = {8.0, 1.0, 15.0}}};
    sighting[1].position_mm[0] = 4.0;
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 9; k++)
        {
            sighting[i].frame[k] = k % 4 == 0 ? 1.0 : 0.0;
            sighting[i].position_cov_mm2[k] = sighting[i].attitude_cov_rad2[k] = k % 4 == 0 ? 0.01 : 0.0;
        }
    bool partial[2];
    rlv_element_fusion fusion;
    cr_assert_eq(rlv_element_fuse(&fusion, partial, 2, sighting, NULL, NULL), RLV_DONE);
    cr_expect(!partial[0] && partial[1]);
    cr_expect(!fusion.disturbed);
    cr_expect_eq(fusion.element.position_mm[0], 0.0);
    // Of two slivers, that are two places of it, the fuller one tells where it lies.
    sighting[0].sliver = true;
    cr_assert_eq(rlv_element_fuse(&fusion, partial, 2, sighting, NULL, NULL), RLV_DONE);
    cr_expect(partial[0] && !partial[1] && !fusion.disturbed);
    cr_expect_eq(fusion.element.position_mm[0], 4.0);
}

Test(element, of_an_outline_too_rough_to_tell_how_it_is_turned_it_is_told_where_it_lies)
{
    // Narrow, and 1 mm to either side by turns: sds of 0.1 mm would tell its pole within 20 degrees, but are not kept.
    rlv_placed_point rim[16];
    for (int i = 0; i < 16; i++)
    {
        const double turn = 2.0 * M_PI * (i + 0.5) / 16.0;
        rim[i] = (rlv_placed_point){{10.0 * cos(turn), sin(turn), i % 2 == 0 ? 1.0 : -1.0}, 0.1};
    }
    rlv_element element;
    rlv_error error = {0};
    measured_as_sliver(16, rim);
    for (int i = 0; i < 16; i++)
        rim[i].at_mm.z = 0.0;
    cr_expect_eq(rlv_element_measure(&element, &(rlv_element_seen){.outline_count = 16, .outline = rim}, &error),
                 RLV_DONE);
    cr_expect(!element.sliver && (element.known & RLV_ELEMENT_POLE) != 0);
}

Test(element, too_few_points_are_refused)
{
    const rlv_placed_point p[] = {{{0, 0, 0}, 0.3}, {{9, 1, 1}, 0.3}};
    expect_refused(&(rlv_element_seen){.outline_count = 2, .outline = p}, "2 points enclose nothing");
    expect_refused(&(rlv_element_seen){.landmark = {&p[0], &p[1]}},
                   "2 landmarks, and no two of them opposite, tell no place");
    expect_refused(&(rlv_element_seen){0}, "0 landmarks, and no two of them opposite, tell no place");
}

Test(element, what_is_not_finite_is_refused)
{
    const rlv_placed_point odd[] = {{{0, 0, 0}, 0.3}, {{9, (double)NAN, 1}, 0.3}, {{0, 5, 0}, 0.3}};
    const rlv_placed_point sure[] = {{{0, 0, 0}, 0.3}, {{9, 0, 1}, -0.3}, {{0, 5, 0}, 0.3}};
    expect_refused(&(rlv_element_seen){.outline_count = 3, .outline = odd}, "point 2 is nowhere: it is not finite");
    expect_refused(&(rlv_element_seen){.outline_count = 3, .outline = sure}, "point 2 has the sd -0.3 mm");
    expect_refused(&(rlv_element_seen){.landmark = {&odd[0], NULL, &odd[1]}},
                   "the landmark posterior is not finite, or its sd is not above zero");
}

Test(element, two_ends_in_one_place_are_refused)
{
    const rlv_placed_point p[] = {{{0, 0, 0}, 0.3}, {{0.4, 0, 0}, 0.3}};
    expect_refused(&(rlv_element_seen){.landmark = {&p[0], NULL, &p[1]}},
                   "its anterior and posterior points lie in one place within their sds");
}

Test(element, an_outline_that_crosses_itself_is_refused)
{
    const rlv_placed_point bow[] = {{{0, 0, 0}, 0.3}, {{20, 22, 0}, 0.3}, {{20, 0, 0}, 0.3}, {{0, 20, 0}, 0.3}};
    expect_refused(&(rlv_element_seen){.outline_count = 4, .outline = bow},
                   "its outline crosses itself between points 1 and 2 and points 3 and 4");
}

Test(element, landmarks_have_names)
{
    cr_expect_str_eq(rlv_landmark_name(RLV_LANDMARK_LEFT), "left");
    cr_expect_eq(rlv_landmark_of("apex"), RLV_LANDMARK_APEX);
    cr_expect_eq(rlv_landmark_of("1"), RLV_LANDMARKS);
}
