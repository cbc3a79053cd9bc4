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

/// Put one break back, each part said to have come off the one before it round the ring: the last is then as many
/// joints away from the block as can be.
static void try_break(tally* t, int k, bool with_before)
{
    const size_t parts = k % 2 == 0 ? 4 : 3;
    const breaking_plan plan = breaking_draw(5000 + (uint64_t)k, triangles);
    breaking_parts made = breaking_make_parts(&plan, parts, parts);
    rlv_several_piece piece[BREAKING_PARTS - 1] = {0};
    for (size_t i = 1; i < parts; i++)
        piece[i - 1] =
            (rlv_several_piece){.mesh = &made.part[i], .parent = i - 1, .before = with_before ? &made.before : NULL};
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
    {
        printf("%d: %zu parts, %zu joints, %zu rings%s%s;", k, parts, s.joint_count, s.ring_count,
               status == RLV_DONE ? "" : " ", error.what);
        for (int i = first; i < t->pieces; i++)
            printf(" %.3f>%.3f mm %.3f>%.3f deg", t->turn_mm[i], t->mm[i], t->turn_deg[i], t->deg[i]);
        for (int i = first_ring; i < t->rings; i++)
            printf(" misses %.3f of %.3f mm, %.3f of %.3f deg, p %.3g", s.ring[i - first_ring].miss_mm,
                   s.ring[i - first_ring].expected_mm, s.ring[i - first_ring].miss_deg,
                   s.ring[i - first_ring].expected_deg, t->p[i]);
        for (size_t j = 0; j < s.joint_count; j++)
            if (!s.joint[j].counted)
                printf(" [%zu-%zu: %.0f mm2, %.1f across, fit %.2f, verdict %d, carries %d]", s.joint[j].into,
                       s.joint[j].from, s.joint[j].of.joint_mm2, s.joint[j].of.across_mm, s.joint[j].of.fit,
                       s.joint[j].of.verdict, s.joint[j].carries);
        printf("\n");
        fflush(stdout);
    }
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

static void judge(tally* t, const char* name, int trials)
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
    (void)trials;
}

Test(rejoin_several_long, rings_of_parts_go_back_by_their_faces)
{
    static tally t;
    const int trials = scene_trials(BREAKS);
    for (int k = 0; k < trials; k++)
        try_break(&t, k, false);
    judge(&t, "by their faces", trials);
}

Test(rejoin_several_long, rings_of_parts_go_back_by_the_stage_from_before)
{
    static tally t;
    const int trials = scene_trials(BREAKS);
    for (int k = 0; k < trials; k++)
        try_break(&t, k, true);
    judge(&t, "with the stage from before", trials);
}
