#include "align.h"
#include "change.h"
#include "support/stages.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>

/// What a row of trials came to.
typedef struct tally
{
    int trials, good, wrong, unsure;
    double* error_mm;
} tally;

static int rising(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

/// Within 1 mm at the far corner is good, anything else with confidence is wrong.
static void count_trial(tally* t, const stage_pair* pair, const rlv_pose* truth, rlv_status status,
                        const rlv_alignment* found)
{
    const double off_mm = stage_farthest_mm(&pair->after, &found->pose, truth);
    const bool sure = status == RLV_DONE && !found->ambiguous;
    t->error_mm[t->trials++] = off_mm;
    t->good += sure && off_mm < 1.0;
    t->wrong += sure && !(off_mm < 1.0);
    t->unsure += !sure;
}

/// Align from nothing.
static void run_trial(tally* t, const stage_pair* pair, const rlv_pose* truth)
{
    rlv_error error = {0};
    rlv_tree* tree = NULL;
    rlv_alignment found;
    cr_assert_eq(rlv_tree_build(&tree, &pair->before, &error), RLV_DONE, "%s", error.what);
    rlv_status status =
        rlv_align(&found, &pair->before, tree, &pair->after, &(rlv_align_options){.seed = (uint64_t)t->trials}, &error);
    rlv_tree_free(tree);
    count_trial(t, pair, truth, status, &found);
}

/// One trial as the command does it: aligned again without what changed.
static tally try_carved(uint64_t seed, double* error_mm)
{
    tally one = {.error_mm = error_mm};
    rlv_error error = {0};
    rlv_alignment found;
    stage_pair pair = {0};
    stage_pair_make(&pair, &(stage_wish){.seed = seed, .most_carved = 0.5, .any_pose = true});
    const rlv_status status =
        rlv_change_align(&found, &pair.before, &pair.after, &(rlv_change_options){.seed = seed}, &error);
    count_trial(&one, &pair, &pair.truth, status, &found);
    stage_pair_free(&pair);
    return one;
}

/// Trials run side by side, one thread each.
Test(align_search, five_hundred_carved_blocks_come_home)
{
    enum
    {
        TRIALS = 500,
    };
    static double error_mm[TRIALS];
    int good = 0, wrong = 0, unsure = 0;
#pragma omp parallel for schedule(dynamic, 1) reduction(+ : good, wrong, unsure)
    for (int t = 0; t < TRIALS; t++)
    {
        const tally one = try_carved((uint64_t)t, error_mm + t);
        good += one.good;
        wrong += one.wrong;
        unsure += one.unsure;
    }
    qsort(error_mm, TRIALS, sizeof *error_mm, rising);
    printf("carved: good %d, wrong %d, unsure %d, median %.4f mm, greatest %.4f mm\n", good, wrong, unsure,
           error_mm[TRIALS / 2], error_mm[TRIALS - 1]);
    cr_expect_geq(good, TRIALS * 97 / 100);
    cr_expect_eq(wrong, 0);
    cr_expect_lt(error_mm[TRIALS / 2], 0.1);
}

Test(align_search, hundred_pairs_of_open_scans_share_a_rim)
{
    tally t = {.error_mm = calloc(100, sizeof(double))};
    for (uint64_t seed = 0; seed < 100; seed++)
    {
        stage_pair pair = {0};
        scan_random random = {.state = seed};
        stage_pair_make(&pair, &(stage_wish){.seed = seed, .triangles = 80000});
        rlv_vec3 up = stage_direction(&random), down = rlv_vec3_scale(up, -1.0);
        stage_keep_side(&pair.before, up, stage_quantile_mm(&pair.before, up, 0.575));
        stage_keep_side(&pair.after, down, stage_quantile_mm(&pair.after, down, 0.575));
        rlv_pose moved = rlv_pose_identity();
        moved.rotation = scan_random_rotation(&random);
        moved.translation_mm = rlv_vec3_scale(stage_direction(&random), 300.0);
        rlv_pose_move_mesh(&moved, &pair.after);
        rlv_pose truth = rlv_pose_inverse(&moved);
        run_trial(&t, &pair, &truth);
        stage_pair_free(&pair);
    }
    cr_log_info("rim: good %d, wrong %d, unsure %d\n", t.good, t.wrong, t.unsure);
    cr_expect_geq(t.good, 90);
    cr_expect_eq(t.wrong, 0);
    free(t.error_mm);
}

Test(align_search, hundred_unrelated_pairs_are_not_aligned)
{
    tally t = {.error_mm = calloc(100, sizeof(double))};
    for (uint64_t seed = 0; seed < 100; seed++)
    {
        stage_pair pair = {0}, other = {0};
        stage_pair_make(&pair, &(stage_wish){.seed = seed, .triangles = 40000, .any_pose = true});
        stage_pair_make(&other, &(stage_wish){.seed = seed + 1000, .triangles = 40000, .any_pose = true});
        stage_pair mixed = {.before = pair.before, .after = other.after};
        rlv_pose nowhere = rlv_pose_identity();
        nowhere.translation_mm.x = 1e9; // no pose is right
        run_trial(&t, &mixed, &nowhere);
        stage_pair_free(&pair);
        stage_pair_free(&other);
    }
    cr_expect_eq(t.wrong, 0, "%d of 100", t.wrong);
    free(t.error_mm);
}

Test(align_search, hundred_nearly_symmetric_bodies_are_never_wrong_with_confidence)
{
    tally t = {.error_mm = calloc(100, sizeof(double))};
    for (uint64_t seed = 0; seed < 100; seed++)
    {
        rlv_error error = {0};
        scan_random random = {.state = seed + 17};
        stage_pair pair = {0};
        rock body = {.half_axes_mm = {100, seed % 2 != 0 ? 100 : 80, seed % 4 < 2 ? 70 : 100},
                     .relief_length_mm = 60,
                     .relief_mm = 0.01 * pow(50.0, scan_random_unit(&random)),
                     .seed = seed};
        scan_noise noise = {.noise_sd_mm = 0.1, .noise_length_mm = 2, .seed = 2 * seed};
        cr_assert_eq(rock_mesh(&pair.before, &body, 50000, 2 * seed + 1, &error), RLV_DONE);
        cr_assert_eq(rock_mesh(&pair.after, &body, 50000, 2 * seed + 2, &error), RLV_DONE);
        cr_assert_eq(scan_mesh(&pair.before, &noise, NULL, &error), RLV_DONE);
        noise.seed = 2 * seed + 1;
        noise.any_pose = true;
        noise.place_mm = 300;
        cr_assert_eq(scan_mesh(&pair.after, &noise, &pair.truth, &error), RLV_DONE);
        run_trial(&t, &pair, &pair.truth);
        stage_pair_free(&pair);
    }
    cr_expect_eq(t.wrong, 0, "%d of 100", t.wrong);
    free(t.error_mm);
}
