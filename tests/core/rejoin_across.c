#include "rejoin_across.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum
{
#if defined(__SANITIZE_ADDRESS__)
    TRIALS = 300,
#else
    TRIALS = 2000,
#endif
    MOST_POINTS = 40,
    KINDS = 8, ///< of numbers that are held against their truth
};

static const char* const kind_name[KINDS] = {"across",   "out",  "offset",      "bend across",
                                             "bend out", "bend", "gap or step", "twist or pitch"};
static const double deg = 180.0 / M_PI;

/// A straight line as it truly lies, from the block to the piece.
typedef struct line
{
    rlv_vec3 at, way;
} line;

/// A run over the joint at the origin, whose normal is z, with what is truly so, in the block's frame.
typedef struct truth
{
    line side[2];
    double other[2]; ///< of a bone: gap and twist; of a row: step and pitch
} truth;

typedef struct tally
{
    int inside[KINDS], trials, rejected, stepped;
} tally;

static rlv_vec3 draw_point(scan_random* random, rlv_vec3 at, double sd)
{
    return rlv_vec3_add(at, rlv_vec3_of(sd * scan_random_normal(random), sd * scan_random_normal(random),
                                        sd * scan_random_normal(random)));
}

static rlv_vec3 turned_from(rlv_vec3 way, rlv_vec3 about, double angle)
{
    return rlv_mat3_apply(rlv_rotation_from_vector(rlv_vec3_scale(about, angle)), way);
}

/// A side whose points are as said in the block's frame: carried into the piece's own by `home`, and told to lie there
/// by a pose that errs as its covariance says.
static rlv_across_side put_aside(size_t count, rlv_placed_point* point, bool piece, scan_random* random, double mm,
                                 double turn_deg)
{
    rlv_across_side side = {.count = count, .point = point, .pose = rlv_pose_identity()};
    if (!piece)
        return side;
    rlv_pose home = rlv_pose_identity();
    home.rotation = rlv_rotation_from_vector(rlv_vec3_of(0.4, -1.1, 0.7));
    home.translation_mm = rlv_vec3_of(90.0, -35.0, 12.0);
    const rlv_pose away = rlv_pose_inverse(&home);
    for (size_t i = 0; i < count; i++)
        point[i].at_mm = rlv_pose_apply(&away, point[i].at_mm);
    double delta[7] = {0};
    side.pose = home;
    for (int k = 0; k < 6; k++)
    {
        const double sd = k < 3 ? mm : turn_deg / deg;
        delta[k] = sd * scan_random_normal(random);
        side.pose.covariance[8 * k] = sd * sd;
    }
    const rlv_vec3 centre = {4.0, -3.0, 0.0};
    side.pose = rlv_pose_nudge(&side.pose, centre, delta);
    side.pose.centre_mm = centre;
    return side;
}

static bool holds(rlv_interval interval, double truly)
{
    return interval.low <= truly && truly <= interval.high;
}

static rlv_vec3 meet(const line* l, rlv_vec3 at, rlv_vec3 normal)
{
    const double far = rlv_vec3_dot(rlv_vec3_sub(at, l->at), normal) / rlv_vec3_dot(l->way, normal);
    return rlv_vec3_along(l->at, far, l->way);
}

static double slope_of(const line* l, const rlv_across* a, rlv_vec3 towards)
{
    return deg * atan2(rlv_vec3_dot(l->way, towards), rlv_vec3_dot(l->way, a->along));
}

static void count(tally* t, const rlv_across* a, const truth* truly, bool row)
{
    const rlv_vec3 off =
        rlv_vec3_sub(meet(&truly->side[1], a->at_mm, a->along), meet(&truly->side[0], a->at_mm, a->along));
    const double across = rlv_vec3_dot(off, a->across), out = rlv_vec3_dot(off, a->out),
                 bend_across = slope_of(&truly->side[1], a, a->across) - slope_of(&truly->side[0], a, a->across),
                 bend_out = slope_of(&truly->side[1], a, a->out) - slope_of(&truly->side[0], a, a->out);
    const bool inside[KINDS] = {holds(a->across_mm, across),
                                holds(a->out_mm, out),
                                holds(a->offset_mm, hypot(across, out)),
                                holds(a->bend_across_deg, bend_across),
                                holds(a->bend_out_deg, bend_out),
                                holds(a->bend_deg, hypot(bend_across, bend_out)),
                                holds(row ? a->step_mm : a->gap_mm, truly->other[0]),
                                holds(row ? a->pitch_mm : a->twist_deg, truly->other[1])};
    for (int k = 0; k < KINDS; k++)
        t->inside[k] += inside[k];
    t->rejected += a->p < 0.05;
    t->stepped += a->step_p < 0.05;
    t->trials++;
}

/// Of intervals of 95 % the share that holds the truth: 93 to 97 % is what is promised, and 2 % are four sds of what
/// chance leaves of 2,000. A length cannot be below zero: where the truth is 0, or not far from it, no interval from
/// above misses it, and 97.5 % hold.
static void expect_inside(const tally* t, const char* name, int kinds, bool straight, double most_pitch)
{
    const double chance = fmax(0.02, 4.0 * sqrt(0.95 * 0.05 / t->trials));
    for (int k = 0; k < kinds; k++)
    {
        const bool length = k == 2 || k == 5;
        const double share = (double)t->inside[k] / t->trials,
                     most = length   ? 0.975 + 4.0 * sqrt(0.975 * 0.025 / t->trials)
                            : k == 7 ? fmax(most_pitch, 0.95 + chance)
                                     : 0.95 + chance;
        cr_expect(share > 0.95 - chance && share < most, "%s: %s inside in %.3f", name, kind_name[k], share);
    }
    const double rejected = (double)t->rejected / t->trials;
    if (straight)
        cr_expect(fabs(rejected - 0.05) < chance, "%s: said not to go straight on in %.3f", name, rejected);
}

// --- Bones -----------------------------------------------------------------------------------------------------------

/// What a bone is like.
typedef struct bone_plan
{
    double wide_mm, long_mm; ///< of a half
    double slant, off_mm[2], bend_deg[2], twist_deg, gap_mm;
    size_t points; ///< on either long side; 0: points along it
    double sd_mm, pose_mm, pose_deg;
} bone_plan;

/// The points of a half, along the line; `way` is where the half goes from the joint.
static size_t place_half(rlv_placed_point* point, const bone_plan* plan, const line* l, rlv_vec3 pole, bool piece,
                         scan_random* random)
{
    const double sign = piece ? 1.0 : -1.0;
    const rlv_vec3 side = rlv_vec3_unit(rlv_vec3_cross(pole, l->way));
    size_t n = 0;
    if (plan->points == 0)
    {
        for (int k = 0; k < 4; k++)
            point[n++].at_mm = rlv_vec3_along(l->at, sign * (0.5 * plan->gap_mm + plan->long_mm * k / 3.0), l->way);
    }
    else
        for (size_t e = 0; e < 2; e++)
            for (size_t k = 0; k < plan->points; k++)
            {
                // Up the one side and down the other; the broken edge is at a slant.
                const double share = (double)(e == 0 ? k : plan->points - 1 - k) / (double)(plan->points - 1),
                             wide = (e == 0 ? 0.5 : -0.5) * plan->wide_mm,
                             edge = sign * 0.5 * plan->gap_mm + plan->slant * wide,
                             far = edge + share * (sign * plan->long_mm - edge);
                point[n++].at_mm = rlv_vec3_along(rlv_vec3_along(l->at, far, l->way), wide, side);
            }
    for (size_t i = 0; i < n; i++)
    {
        point[i].sd_mm = plan->sd_mm;
        point[i].at_mm = draw_point(random, point[i].at_mm, plan->sd_mm);
    }
    return n;
}

static rlv_status try_bone(rlv_across* a, truth* truly, const bone_plan* plan, scan_random* random)
{
    rlv_placed_point point[2][MOST_POINTS];
    rlv_across_side side[2];
    // The run leans on the joint by 25 degrees.
    const rlv_vec3 way = rlv_vec3_unit(rlv_vec3_of(0.35, 0.3, 1.0)), out = rlv_vec3_across(way),
                   left = rlv_vec3_cross(out, way);
    truly->side[0] = (line){rlv_vec3_of(4, -3, 0), way};
    truly->side[1] =
        (line){rlv_vec3_along(rlv_vec3_along(truly->side[0].at, plan->off_mm[0], left), plan->off_mm[1], out),
               turned_from(turned_from(way, out, plan->bend_deg[0] / deg), left, plan->bend_deg[1] / deg)};
    truly->other[0] = plan->gap_mm;
    truly->other[1] = plan->twist_deg;
    for (int k = 0; k < 2; k++)
    {
        const rlv_vec3 pole = turned_from(out, way, k == 0 ? 0.0 : plan->twist_deg / deg);
        const size_t n = place_half(point[k], plan, &truly->side[k], pole, k == 1, random);
        side[k] = put_aside(n, point[k], k == 1, random, plan->pose_mm, plan->pose_deg);
        side[k].outline = plan->points > 0;
    }
    const rlv_across_joint joint = {{0, 0, 0}, {0, 0, 1}, out};
    rlv_error error = {0};
    return rlv_across_bone(a, side, &joint, &error);
}

static void simulate_bone(const char* name, const bone_plan* plan, int kinds, bool straight)
{
    tally t = {0};
    scan_random random = {417};
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_across a;
        truth truly;
        cr_assert_eq(try_bone(&a, &truly, plan, &random), RLV_DONE);
        count(&t, &a, &truly, false);
    }
    expect_inside(&t, name, kinds, straight, 0.0);
    if (!straight)
        cr_expect(t.rejected > 0.9 * t.trials, "%s: said not to go straight on in %d of %d", name, t.rejected,
                  t.trials);
}

Test(rejoin_across, intervals_of_a_broken_bone_hold_its_truth)
{
    const bone_plan outlined = {.wide_mm = 12,
                                .long_mm = 40,
                                .slant = 0.5,
                                .gap_mm = 0.6,
                                .points = 8,
                                .sd_mm = 0.3,
                                .pose_mm = 0.08,
                                .pose_deg = 0.15},
                    marked = {.long_mm = 30, .gap_mm = 0.6, .sd_mm = 0.3, .pose_mm = 0.08, .pose_deg = 0.15};
    simulate_bone("outline, straight", &outlined, 8, true);
    simulate_bone("points, straight", &marked, 7, true);
    bone_plan off = outlined;
    off.off_mm[0] = 1.2, off.off_mm[1] = -0.8, off.bend_deg[0] = 3.0, off.bend_deg[1] = 2.0;
    simulate_bone("outline, off", &off, 7, false); // a bend turns its plane about more than the run
    off = marked;
    off.off_mm[0] = 1.2, off.off_mm[1] = -0.8, off.bend_deg[0] = 3.0;
    simulate_bone("points, off", &off, 7, false);
}

// --- Rows ------------------------------------------------------------------------------------------------------------

typedef struct row_plan
{
    double radius_mm, pitch_mm, taper; ///< taper: of the pitch, from one place to the next
    double scatter_mm, jitter;         ///< of spacing, in pitches; below zero: of places along the run, in mm
    double off_mm[2], step_mm, pose_mm, pose_deg;
    size_t of[2];
} row_plan;

static rlv_status try_row(rlv_across* a, truth* truly, const row_plan* plan, scan_random* random)
{
    rlv_placed_point point[2][MOST_POINTS];
    int place[2][MOST_POINTS];
    rlv_across_side side[2];
    // An arc that crosses the joint at the origin, along z there, and bends towards x.
    truly->side[0] = (line){{0, 0, 0}, {0, 0, 1}};
    truly->side[1] = (line){{plan->off_mm[0], plan->off_mm[1], 0}, {0, 0, 1}};
    truly->other[0] = plan->step_mm;
    truly->other[1] = plan->pitch_mm;
    for (int k = 0; k < 2; k++)
    {
        double s = 0.5 * (plan->pitch_mm + plan->step_mm);
        for (size_t i = 0; i < plan->of[k]; i++)
        {
            const double sign = k == 0 ? -1.0 : 1.0,
                         pitch = plan->pitch_mm * (1.0 + sign * plan->taper * ((double)i + 1.0)),
                         jitter = plan->jitter * plan->pitch_mm * scan_random_normal(random);
            // The step over the joint has its jitter too: all of it on the block's side.
            if (i == 0 && k == 0 && plan->jitter > 0.0)
                s += plan->jitter * plan->pitch_mm * scan_random_normal(random);
            const double at = plan->jitter < 0.0 ? s - plan->jitter * scan_random_normal(random) : s;
            const double angle = sign * at / plan->radius_mm;
            const rlv_vec3 on = {plan->radius_mm * (1.0 - cos(angle)) + (k == 1 ? plan->off_mm[0] : 0.0),
                                 k == 1 ? plan->off_mm[1] : 0.0, plan->radius_mm * sin(angle)};
            point[k][i] =
                (rlv_placed_point){rlv_vec3_add(on, rlv_vec3_of(plan->scatter_mm * scan_random_normal(random),
                                                                plan->scatter_mm * scan_random_normal(random), 0)),
                                   0.2};
            place[k][i] = 20 + (k == 0 ? -(int)i - 1 : (int)i);
            s += pitch + (plan->jitter > 0.0 ? jitter : 0.0);
        }
        side[k] = put_aside(plan->of[k], point[k], k == 1, random, plan->pose_mm, plan->pose_deg);
        side[k].place = place[k];
    }
    const rlv_across_joint joint = {{4, -3, 0}, rlv_vec3_unit(rlv_vec3_of(0.2, 0.1, 1.0)), {0, 1, 0}};
    rlv_error error = {0};
    return rlv_across_row(a, side, &joint, &error);
}

static void simulate_row(const char* name, const row_plan* plan, bool straight)
{
    tally t = {0};
    scan_random random = {418};
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_across a;
        truth truly;
        cr_assert_eq(try_row(&a, &truly, plan, &random), RLV_DONE);
        // What the arc truly does where the run was found to cross: both sides bend alike, and do not meet at z = 0.
        const double s = a.at_mm.z / plan->radius_mm;
        for (int k = 0; k < 2; k++)
            truly.side[k] = (line){rlv_vec3_add(truly.side[k].at, rlv_vec3_of(plan->radius_mm * (1.0 - cos(s)), 0,
                                                                              plan->radius_mm * sin(s))),
                                   {sin(s), 0, cos(s)}};
        count(&t, &a, &truly, true);
    }
    // Spacings between places that scatter each by itself make up for one another: the pitch is surer than is told.
    expect_inside(&t, name, 8, straight, plan->jitter < 0.0 ? 1.01 : 0.0);
    if (straight)
        cr_expect(fabs((double)t.stepped / t.trials - 0.05) < fmax(0.02, 4.0 * sqrt(0.05 * 0.95 / t.trials)),
                  "%s: a step told in %d of %d", name, t.stepped, t.trials);
}

Test(rejoin_across, intervals_of_a_row_hold_its_truth)
{
    const row_plan plan = {.radius_mm = 260,
                           .pitch_mm = 14,
                           .taper = 0.012,
                           .scatter_mm = 0.5,
                           .jitter = 0.08,
                           .pose_mm = 0.08,
                           .pose_deg = 0.15,
                           .of = {9, 5}};
    simulate_row("row, straight", &plan, true);
    row_plan other = plan;
    other.of[0] = other.of[1] = 3;
    simulate_row("row of three and three", &other, true);
    other = plan;
    other.off_mm[0] = 2.0, other.off_mm[1] = -1.0, other.step_mm = 3.0;
    simulate_row("row, off", &other, false);
    other = plan;
    other.jitter = -0.5;
    simulate_row("row, places scatter", &other, true);
    other = plan;
    other.pose_mm = 0.8, other.pose_deg = 0.5;
    simulate_row("row, loose piece", &other, true);
}

// --- What is told beside, and refused --------------------------------------------------------------------------------

Test(rejoin_across, a_half_that_is_rougher_than_its_sds_say_is_less_sure)
{
    bone_plan plan = {.long_mm = 30, .gap_mm = 0.6, .sd_mm = 0.3, .pose_mm = 0.08, .pose_deg = 0.15};
    scan_random random[2] = {{7}, {7}};
    rlv_across a, rough;
    truth truly;
    cr_assert_eq(try_bone(&a, &truly, &plan, &random[0]), RLV_DONE);
    cr_expect(isnan(a.twist_deg.value) && isnan(a.step_mm.value));
    cr_expect_eq(a.used[0] + a.used[1], 8);
    cr_expect_float_eq(a.carried_mm[0] + a.carried_mm[1], a.gap_mm.value, 1e-9);
    // The same points, said to be five times as sure as they are.
    rlv_placed_point point[2][4];
    rlv_across_side side[2];
    const rlv_across_joint joint = {{0, 0, 0}, {0, 0, 1}, {1, 0, 0}};
    for (int k = 0; k < 2; k++)
    {
        for (int i = 0; i < 4; i++)
            point[k][i] = (rlv_placed_point){
                draw_point(&random[1], rlv_vec3_of(0, 0, (k == 0 ? -1.0 : 1.0) * (1.0 + 9.0 * i)), 0.5), 0.1};
        side[k] = (rlv_across_side){.count = 4, .point = point[k], .pose = rlv_pose_identity()};
    }
    rlv_error error = {0};
    cr_assert_eq(rlv_across_bone(&rough, side, &joint, &error), RLV_DONE, "%s", error.what);
    const double told = rough.across_mm.high - rough.across_mm.low;
    for (int k = 0; k < 2; k++)
        for (int i = 0; i < 4; i++)
            point[k][i].sd_mm = 10.0;
    cr_assert_eq(rlv_across_bone(&a, side, &joint, &error), RLV_DONE, "%s", error.what);
    // In proportion to the sds where they explain the scatter.
    cr_expect_gt(told, 1.5 * (a.across_mm.high - a.across_mm.low) / 100.0);
}

Test(rejoin_across, too_few_points_and_runs_along_the_joint_are_told_not_guessed)
{
    rlv_placed_point point[2][3] = {{{{0, 0, -1}, 0.3}, {{0, 0, -9}, 0.3}, {{0, 0, -17}, 0.3}},
                                    {{{0, 0, 1}, 0.3}, {{0, 0, 9}, 0.3}, {{0, 0, 17}, 0.3}}};
    rlv_across_side side[2] = {{.count = 3, .point = point[0], .pose = rlv_pose_identity()},
                               {.count = 2, .point = point[1], .pose = rlv_pose_identity()}};
    rlv_across_joint joint = {{0, 0, 0}, {0, 0, 1}, {1, 0, 0}};
    rlv_across a;
    rlv_error error = {0};
    cr_expect_eq(rlv_across_row(&a, side, &joint, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "the piece has 2 elements of it, and 3 are needed"), "%s", error.what);
    cr_expect_eq(rlv_across_bone(&a, side, &joint, &error), RLV_DONE);
    side[1].outline = true;
    cr_expect_eq(rlv_across_bone(&a, side, &joint, &error), RLV_IMPOSSIBLE);
    side[1].outline = false;
    side[0].count = 1;
    cr_expect_eq(rlv_across_bone(&a, side, &joint, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "the block has 1 point of it"), "%s", error.what);
    side[0].count = side[1].count = 3;
    joint.normal = rlv_vec3_unit(rlv_vec3_of(0, 1, 0.1)); // the run leans on it by 6 degrees
    cr_expect_eq(rlv_across_bone(&a, side, &joint, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "along the joint, not over it"), "%s", error.what);
    cr_expect_eq(rlv_across_row(&a, side, &joint, &error), RLV_IMPOSSIBLE);
    point[0][1].sd_mm = -1.0;
    cr_expect_eq(rlv_across_bone(&a, side, &joint, &error), RLV_BAD_INPUT);
}

/// Elements that lie on one curve to the last digit, each known to 0.3 mm.
static rlv_across across_of_even_row(int of, double off_mm)
{
    rlv_placed_point point[2][5];
    rlv_across_side side[2];
    const rlv_across_joint joint = {{0, 0, 0}, {0, 0, 1}, {1, 0, 0}};
    for (int k = 0; k < 2; k++)
    {
        for (int i = 0; i < of; i++)
            point[k][i] =
                (rlv_placed_point){{k == 0 ? 0.0 : off_mm, 0.0, (k == 0 ? -1.0 : 1.0) * (5.0 + 10.0 * i)}, 0.3};
        side[k] = (rlv_across_side){.count = (size_t)of, .point = point[k], .pose = rlv_pose_identity()};
    }
    rlv_across across;
    rlv_error error = {0};
    cr_assert_eq(rlv_across_row(&across, side, &joint, &error), RLV_DONE, "%s", error.what);
    return across;
}

Test(rejoin_across, a_row_without_scatter_is_as_uncertain_as_its_points)
{
    for (int of = 3; of <= 5; of++)
    {
        const rlv_across straight = across_of_even_row(of, 0.0), off = across_of_even_row(of, 4.0);
        // Either end of the curve is known no better than the mean of its own points, and no worse than one carried
        // on by its whole length: 1.96 * 0.3 * root 2 of two such means is 0.83 over the root of `of`.
        const double half = 0.5 * (straight.across_mm.high - straight.across_mm.low),
                     least = 1.96 * 0.3 * sqrt(2.0 / of);
        cr_expect(half > least && isfinite(half), "%d: %.3f mm, at least %.3f", of, half, least);
        cr_expect_gt(straight.bend_across_deg.high - straight.bend_across_deg.low, 0.0);
        cr_expect_gt(straight.pitch_mm.high - straight.pitch_mm.low, 0.0);
        cr_expect_gt(straight.step_mm.high - straight.step_mm.low, 2.0 * 1.96 * 0.3 * sqrt(2.0));
        cr_expect_float_eq(straight.p, 1.0, 1e-9);
        cr_expect_float_eq(straight.step_p, 1.0, 1e-6);
        cr_expect_float_eq(off.across_mm.high - off.across_mm.low, 2.0 * half, 1e-6);
        cr_expect_lt(off.p, 1.0);
    }
    // Twice as many points do not make it less sure.
    const rlv_across few = across_of_even_row(3, 0.0), more = across_of_even_row(5, 0.0);
    cr_expect_lt(more.across_mm.high - more.across_mm.low, few.across_mm.high - few.across_mm.low);
}

Test(rejoin_across, a_row_without_places_counts_one_pitch_over_the_joint)
{
    rlv_placed_point point[2][5];
    int place[2][5];
    rlv_across_side side[2];
    const rlv_across_joint joint = {{0, 0, 0}, {0, 0, 1}, {1, 0, 0}};
    for (int k = 0; k < 2; k++)
    {
        for (int i = 0; i < 5; i++)
        {
            // Two places are not there: spacing over the joint is three pitches of 10 mm.
            const double sign = k == 0 ? -1.0 : 1.0;
            point[k][4 - i] = (rlv_placed_point){
                {0.01 * (i * i % 3), 0.01 * (i % 2), sign * (15.0 + 10.0 * i + 0.01 * (i % 2))}, 0.3};
            place[k][4 - i] = 10 + (k == 0 ? -i : 3 + i);
        }
        side[k] = (rlv_across_side){.count = 5, .point = point[k], .pose = rlv_pose_identity(), .place = place[k]};
    }
    rlv_across with, without;
    rlv_error error = {0};
    cr_assert_eq(rlv_across_row(&with, side, &joint, &error), RLV_DONE, "%s", error.what);
    side[0].place = NULL;
    cr_assert_eq(rlv_across_row(&without, side, &joint, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(with.places, 3);
    cr_expect_eq(without.places, 1);
    cr_expect_float_eq(with.step_mm.value, 0.0, 0.1); // 0.01 mm on each place, three pitches
    cr_expect_float_eq(without.step_mm.value, 20.0, 0.1);
    cr_expect_lt(without.step_p, 1e-6);
    cr_expect(isnan(with.twist_deg.value) && isnan(with.gap_mm.value));
    cr_expect_gt(rlv_vec3_dot(with.along, joint.normal), 0.999);
    cr_expect_gt(rlv_vec3_dot(with.out, joint.outward), 0.999);
}
