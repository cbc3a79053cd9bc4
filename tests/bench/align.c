/// Time to align two stages of about half a million triangles each from random attitudes.

#include "align.h"
#include "support/stages.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double now_s(void)
{
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC, &at);
    return (double)at.tv_sec + 1e-9 * (double)at.tv_nsec;
}

static int rising(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

int main(int argc, char** argv)
{
    enum
    {
        TRIALS = 9
    };
    const size_t triangles = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 500000;
    double tree_s[TRIALS], align_s[TRIALS];
    int good = 0;
    for (int k = 0; k < TRIALS; k++)
    {
        stage_pair pair = {0};
        rlv_error error = {0};
        rlv_tree* tree = NULL;
        rlv_alignment found;
        stage_pair_make(
            &pair, &(stage_wish){.seed = (uint64_t)k, .triangles = triangles, .most_carved = 0.5, .any_pose = true});
        double start = now_s();
        if (rlv_tree_build(&tree, &pair.before, &error) != RLV_DONE)
            return 4;
        tree_s[k] = now_s() - start;
        start = now_s();
        rlv_status status = rlv_align(&found, &pair.before, tree, &pair.after, &(rlv_align_options){.seed = 1}, &error);
        align_s[k] = now_s() - start;
        const double off_mm = stage_farthest_mm(&pair.after, &found.pose, &pair.truth);
        good += status == RLV_DONE && !found.ambiguous && off_mm < 1.0;
        printf("align %zu + %zu triangles: tree %.3f s, align %.3f s, far corner off by %.3f mm\n",
               pair.before.triangle_count, pair.after.triangle_count, tree_s[k], align_s[k], off_mm);
        rlv_tree_free(tree);
        stage_pair_free(&pair);
    }
    qsort(tree_s, TRIALS, sizeof *tree_s, rising);
    qsort(align_s, TRIALS, sizeof *align_s, rising);
    printf("median: tree of BEFORE %.3f s, align %.3f s; found %d of %d\n", tree_s[TRIALS / 2], align_s[TRIALS / 2],
           good, TRIALS);
    return 0;
}
