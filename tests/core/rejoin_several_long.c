/// Simulated breaks in three and four parts put back: what solving together betters, how often the intervals hold the
/// truth, what rings miss by, and which are told to be wrong.

#include "rejoin_several.h"

#include "support/rejoining.h"
#include "support/scene.h"

#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum
{
    BREAKS = 60,
    PIECES = BREAKS * (BREAKING_PARTS - 1),
};

static const size_t triangles = 40000;

/// What the breaks came to. Errors are at the middle of the joint by which a piece went on.
typedef struct tally
{
    int breaks, left, pieces, rings, no_ring;
    double turn_mm[PIECES], turn_deg[PIECES], mm[PIECES], deg[PIECES];
    double far_turn_mm[BREAKS], far_mm[BREAKS]; ///< of the piece that went on last
    double p[PIECES];
    int inside, axes, wrong, joints, joint_inside;
    double chi2[PIECES], joint_chi2[2 * PIECES], seconds;
} tally;

static int axes_inside(const rlv_pose* pose, const rlv_pose* truth)
{
    const rlv_pose back = rlv_pose_inverse(truth);
    const rlv_vec3 at = pose->centre_mm, off = rlv_vec3_sub(rlv_pose_apply(pose, rlv_pose_apply(&back, at)), at);
    const double axis[3] = {off.x, off.y, off.z};
    int inside = 0;
    for (int k = 0; k < 3; k++)
        inside += fabs(axis[k]) <= RLV_HALF_95 * sqrt(pose->covariance[8 * k]);
    return inside;
}

static void count_piece(tally* t, const rlv_several_body* body, const rlv_pose* truth)
{
    rlv_pose turn = body->in_turn;
    turn.centre_mm = body->pose.centre_mm;
    rejoining_apart(&turn, truth, &t->turn_mm[t->pieces], &t->turn_deg[t->pieces]);
    rejoining_apart(&body->pose, truth, &t->mm[t->pieces], &t->deg[t->pieces]);
    // The place along each axis, at the joint's middle, held against its 95 % interval.
    t->inside += axes_inside(&body->pose, truth);
    t->axes += 3;
    t->chi2[t->pieces++] = rejoining_chi2(&body->pose, truth);
}

/// What the joints come to by themselves, that the whole can be held against.
static void count_joint(tally* t, const rlv_several* s, const rlv_several_joint* joint, const breaking_parts* made)
{
    const rlv_pose away = rlv_pose_inverse(&made->in_block[joint->into]),
                   apart = rlv_pose_compose(&away, &made->in_block[joint->from]),
                   truth = rlv_pose_compose(&s->body[joint->into].in_turn, &apart);
    t->joint_chi2[t->joints++] = rejoining_chi2(&joint->of.closed, &truth);
    t->joint_inside += axes_inside(&joint->of.closed, &truth);
}

static void count_break(tally* t, const breaking_parts* made, const rlv_several* s)
{
    size_t last = 1;
    for (size_t k = 1; k < s->body_count; k++)
    {
        if (!s->body[k].placed)
        {
            t->left++;
            continue;
        }
        count_piece(t, &s->body[k], &made->in_block[k]);
        if (s->body[k].joint >= s->body[last].joint)
            last = k, t->far_turn_mm[t->breaks] = t->turn_mm[t->pieces - 1],
            t->far_mm[t->breaks] = t->mm[t->pieces - 1];
    }
    for (size_t j = 0; j < s->joint_count; j++)
        if (s->joint[j].counted)
            count_joint(t, s, &s->joint[j], made);
    t->breaks++;
    t->no_ring += s->ring_count == 0;
    for (size_t r = 0; r < s->ring_count; r++)
    {
        t->wrong += s->ring[r].p < RLV_SEVERAL_WRONG_P;
        t->p[t->rings++] = s->ring[r].p;
    }
}

/// One break in a line: each piece's error one after the other and together, and its rings.
static void tell_each(const tally* t, int k, const rlv_several* s, int piece, int ring, const char* what)
{
    printf("%d: %zu bodies, %zu joints, %zu rings %s;", k, s->body_count, s->joint_count, s->ring_count, what);
    for (; piece < t->pieces; piece++)
        printf(" %.3f>%.3f mm %.3f>%.3f deg", t->turn_mm[piece], t->mm[piece], t->turn_deg[piece], t->deg[piece]);
    for (size_t r = 0; r < s->ring_count; r++, ring++)
        printf(" misses %.3f of %.3f mm, %.3f of %.3f deg, p %.3g", s->ring[r].miss_mm, s->ring[r].expected_mm,
               s->ring[r].miss_deg, s->ring[r].expected_deg, t->p[ring]);
    printf("\n");
    fflush(stdout);
}

/// Put one break back, each part said to have come off the one before it round the ring (the last is then as many
/// joints away from the block as can be), or nothing said.
static void try_break(tally* t, int k, bool said, bool with_before)
{
    const size_t parts = k % 2 == 0 ? 4 : 3;
    const breaking_plan plan = breaking_draw(6000 + (uint64_t)k, triangles);
    breaking_parts made = breaking_make_parts(&plan, parts, parts);
    rlv_several_piece piece[BREAKING_PARTS - 1] = {0};
    for (size_t i = 1; i < parts; i++)
        piece[i - 1] = (rlv_several_piece){.mesh = &made.part[i],
                                           .parent = said ? i - 1 : RLV_SEVERAL_ANY,
                                           .before = with_before ? &made.before : NULL};
    const rlv_several_input input = {
        .block = &made.part[0], .piece_count = parts - 1, .piece = piece, .seed = plan.seed};
    rlv_several s = {0};
    rlv_error error = {0};
    const double start = rejoining_seconds();
    const rlv_status status = rlv_rejoin_several(&s, &input, &error);
    t->seconds += rejoining_seconds() - start;
    cr_expect(status == RLV_DONE || status == RLV_IMPOSSIBLE, "%d: %s", k, error.what);
    const int first = t->pieces, first_ring = t->rings;
    count_break(t, &made, &s);
    if (getenv("RLV_EACH") != NULL)
        tell_each(t, k, &s, first, first_ring, error.what);
    rlv_several_free(&s);
    breaking_parts_free(&made);
}

/// A squared distance of six degrees is below 12.59 in 95 % and below 22.46 in 99.9 %.
static void tell_distances(const char* of, double* chi2, int count)
{
    int beyond[2] = {0};
    for (int k = 0; k < count; k++)
        beyond[0] += chi2[k] > 12.591587243743977, beyond[1] += chi2[k] > 22.457744484825323;
    printf("  %s: %d, chi2 %.2f in the median (5.35), beyond 95 %%: %.3f, beyond 99.9 %%: %.3f\n", of, count,
           rejoining_quantile(chi2, count, 0.5), (double)beyond[0] / count, (double)beyond[1] / count);
}

/// Tell what the breaks came to, and hold it against the aims: the medians of one joint (rejoin_long.c), and what
/// chance leaves of shares over so many (three sds, of pieces and of rings; a piece's coordinates stray together).
static void judge(tally* t, const char* name, double mm, double deg)
{
    int below = 0, low = 0;
    for (int r = 0; r < t->rings; r++)
        below += t->p[r] < 0.5, low += t->p[r] < 0.05;
    const double q[8] = {
        rejoining_quantile(t->turn_mm, t->pieces, 0.5),     rejoining_quantile(t->mm, t->pieces, 0.5),
        rejoining_quantile(t->turn_deg, t->pieces, 0.5),    rejoining_quantile(t->deg, t->pieces, 0.5),
        rejoining_quantile(t->turn_mm, t->pieces, 0.95),    rejoining_quantile(t->mm, t->pieces, 0.95),
        rejoining_quantile(t->far_turn_mm, t->breaks, 0.5), rejoining_quantile(t->far_mm, t->breaks, 0.5)};
    printf(
        "%s: %d breaks, %d pieces, %d not placed, %d rings, %d breaks without; one after the other %.3f mm %.3f deg, "
        "together %.3f mm %.3f deg (medians); 95 %% %.3f, %.3f mm; the last piece %.3f, %.3f mm; inside %.3f of %d; "
        "joints by themselves: inside %.3f of %d; p below 0.5: %.3f, below 0.05: %.3f, wrong: %d; %.1f s a break\n",
        name, t->breaks, t->pieces, t->left, t->rings, t->no_ring, q[0], q[2], q[1], q[3], q[4], q[5], q[6], q[7],
        (double)t->inside / t->axes, t->axes, (double)t->joint_inside / (3 * t->joints), 3 * t->joints,
        (double)below / t->rings, (double)low / t->rings, t->wrong, t->seconds / t->breaks);
    tell_distances("pieces together", t->chi2, t->pieces);
    tell_distances("joints by themselves", t->joint_chi2, t->joints);
    cr_expect_leq(t->left, 0.02 * (t->pieces + t->left), "%d not placed", t->left);
    cr_expect(q[1] <= mm && q[3] <= deg, "median %.3f mm %.3f deg", q[1], q[3]);
    const double inside = (double)t->inside / t->axes, stray = sqrt(0.05 * 0.95 / t->pieces);
    cr_expect_geq(inside, 0.95 - 3.0 * stray, "inside %.3f", inside);
    cr_expect_leq((double)below / t->rings, 0.5 + 3.0 * sqrt(0.25 / t->rings));
    cr_expect_leq((double)low / t->rings, 0.05 + 3.0 * sqrt(0.05 * 0.95 / t->rings));
}

Test(rejoin_several_long, rings_of_parts_go_back_by_their_faces)
{
    static tally t;
    const int trials = scene_trials(BREAKS);
    for (int k = 0; k < trials; k++)
        try_break(&t, k, true, false);
    judge(&t, "by their faces", 0.25, 0.5);
    // What piles up along the row is taken back by the ring.
    cr_expect_lt(rejoining_quantile(t.far_mm, t.breaks, 0.5), rejoining_quantile(t.far_turn_mm, t.breaks, 0.5));
}

Test(rejoin_several_long, parts_that_nobody_knows_the_order_of_go_back)
{
    static tally t;
    const int trials = scene_trials(BREAKS / 3);
    for (int k = 0; k < trials; k++)
        try_break(&t, k, false, false);
    judge(&t, "in any order", 0.25, 0.5);
}

Test(rejoin_several_long, rings_of_parts_go_back_by_the_stage_from_before)
{
    static tally t;
    const int trials = scene_trials(BREAKS);
    for (int k = 0; k < trials; k++)
        try_break(&t, k, true, true);
    judge(&t, "with the stage from before", 0.12, 0.12);
}

/// Put three parts back from where they truly lie, the last bent by `deg` where that is above 0. Returns the p of the
/// ring; NaN where there is none.
static double ring_of_bent(breaking_parts* made, double deg)
{
    rlv_several_piece piece[2] = {0};
    for (size_t i = 1; i < 3; i++)
        piece[i - 1] = (rlv_several_piece){.mesh = &made->part[i], .parent = 0, .start = &made->in_block[i]};
    const rlv_several_input input = {.block = &made->part[0], .piece_count = 2, .piece = piece};
    rlv_several s;
    rlv_error error = {0};
    rlv_rejoin_several(&s, &input, &error);
    const double p = s.ring_count > 0 ? s.ring[0].p : (double)NAN;
    if (s.ring_count > 0 && deg > 0.0)
    {
        const rlv_several_joint *on_block = &s.joint[s.body[2].joint], *other = &s.joint[2];
        rejoining_bend(&made->part[2], &made->in_block[2], &on_block->of, &other->of, deg);
    }
    rlv_several_free(&s);
    return p;
}

Test(rejoin_several_long, a_bent_piece_does_not_close_its_ring)
{
    const int trials = scene_trials(20);
    int rings = 0, told = 0, sound = 0;
    for (int k = 0; k < trials; k++)
    {
        const breaking_plan plan = breaking_draw(7000 + (uint64_t)k, triangles);
        breaking_parts made = breaking_make_parts(&plan, 3, 3);
        const double before = ring_of_bent(&made, 3.0), after = ring_of_bent(&made, 0.0);
        breaking_parts_free(&made);
        if (isnan(before) || isnan(after))
            continue;
        rings++;
        sound += before >= RLV_SEVERAL_WRONG_P;
        told += after < RLV_SEVERAL_WRONG_P;
        if (getenv("RLV_EACH") != NULL)
            printf("%d: p %.3g, bent %.3g\n", k, before, after), fflush(stdout);
    }
    printf("bent by 3 degrees: %d rings, %d told to be wrong; as they broke %d sound\n", rings, told, sound);
    cr_expect_gt(rings, trials / 2);
    // A ring is expected to miss by a degree at most, of which 3 is as 25 of a chi-square whose 99.9 % is 22.5.
    cr_expect_geq(told, 0.9 * rings);
    cr_expect_geq(sound, 0.9 * rings);
}
