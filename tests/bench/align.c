/// Time to align two stages of about half a million triangles each from random attitudes, beside Open3D's feature
/// matching and refinement where Python can import it.
///
/// Usage: bench_align [TRIANGLES]
///
/// Seconds are those of the median trial, on the clock and of all threads' processor time. What Open3D does includes
/// its search trees, so its ratio is to our tree and alignment together. A trial is found where the far corner is off
/// by less than a millimetre.

#include "align.h"
#include "beside/open3d_align.h"
#include "beside/python.h"
#include "support/stages.h"

#include <stdio.h>
#include <stdlib.h>

enum
{
    TRIALS = 9
};

typedef struct trials
{
    timing run[TRIALS];
    int done, found;
} trials;

static void count_trial(trials* of, timing run, double off_mm)
{
    of->run[of->done++] = run;
    of->found += off_mm < 1.0;
}

/// False where there is no memory.
static bool align_ours(trials* tree_only, trials* both, const stage_pair* pair)
{
    rlv_error error = {0};
    rlv_tree* tree = NULL;
    rlv_alignment found;
    const timing start = timing_start();
    if (rlv_tree_build(&tree, &pair->before, &error) != RLV_DONE)
        return false;
    const timing built = timing_since(start);
    const rlv_status status =
        rlv_align(&found, &pair->before, tree, &pair->after, &(rlv_align_options){.seed = 1}, &error);
    const timing all = timing_since(start);
    const double off_mm = stage_farthest_mm(&pair->after, &found.pose, &pair->truth);
    rlv_tree_free(tree);
    printf("align %zu + %zu triangles: tree %.3f s, align %.3f s, far corner off by %.3f mm\n",
           pair->before.triangle_count, pair->after.triangle_count, built.wall_s, all.wall_s - built.wall_s, off_mm);
    count_trial(tree_only, built, INFINITY);
    count_trial(both, all, status == RLV_DONE && !found.ambiguous ? off_mm : INFINITY);
    return true;
}

static void align_theirs(trials* them, const char* python, const stage_pair* pair)
{
    char trouble[200];
    rlv_pose pose;
    timing took;
    if (!open3d_align(&pose, &took, python, &pair->before, &pair->after, trouble, sizeof trouble))
    {
        printf("    Open3D: %s\n", trouble);
        return;
    }
    const double off_mm = stage_farthest_mm(&pair->after, &pose, &pair->truth);
    printf("    Open3D: %.3f s, far corner off by %.3f mm\n", took.wall_s, off_mm);
    count_trial(them, took, off_mm);
}

static double row(const char* by, trials* of, double ours_s)
{
    if (of->done == 0)
    {
        printf("%-16s %9s\n", by, "not there");
        return 0.0;
    }
    const timing middle = timing_median(of->run, (size_t)of->done);
    printf("%-16s %9.3f %10.3f", by, middle.wall_s, middle.processor_s);
    if (ours_s > 0.0)
        printf(" %7.2f", middle.wall_s / ours_s);
    printf("\n");
    return middle.wall_s;
}

int main(int argc, char** argv)
{
    const size_t triangles = argc > 1 ? (size_t)strtoul(argv[1], NULL, 10) : 500000;
    const char* python = python_with("open3d");
    trials tree_only = {0}, ours = {0}, theirs = {0};
    for (int k = 0; k < TRIALS; k++)
    {
        stage_pair pair = {0};
        stage_pair_make(
            &pair, &(stage_wish){.seed = (uint64_t)k, .triangles = triangles, .most_carved = 0.5, .any_pose = true});
        if (!align_ours(&tree_only, &ours, &pair))
            return 4;
        if (python != NULL)
            align_theirs(&theirs, python, &pair);
        fflush(stdout);
        stage_pair_free(&pair);
    }
    printf("%-16s %9s %10s %7s\n", "by", "seconds", "processor", "ratio");
    row("our tree", &tree_only, 0.0);
    const double ours_s = row("and align", &ours, 0.0);
    row("Open3D", &theirs, ours_s);
    printf("found: ours %d of %d, Open3D %d of %d\n", ours.found, ours.done, theirs.found, theirs.done);
    return 0;
}
