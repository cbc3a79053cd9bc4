/// Coverage of the volumes of each class: 500 draws of a stage of preparation with matrix, bone, film and a piece that
/// comes off or goes back.

#include "change.h"
#include "support/preparing.h"
#include "support/scene.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum
{
    TRIALS = 500,
};

typedef struct outcome
{
    bool measured;
    bool declared[RLV_CHANGE_CLASSES], found[RLV_CHANGE_CLASSES], inside[RLV_CHANGE_CLASSES];
    double bias[RLV_CHANGE_CLASSES]; ///< share of the truth
} outcome;

static outcome try_one(uint64_t seed)
{
    const preparing_plan plan = preparing_draw(seed, 120000);
    preparing p = prepare(&plan);
    outcome o = {0};
    const rlv_pose start = rlv_pose_identity();
    const rlv_change_options options = {.start = &start,
                                        .before_scale_sd = plan.scan.scale_sd,
                                        .after_scale_sd = plan.scan.scale_sd,
                                        .before_part = p.before_part,
                                        .after_part = p.after_part,
                                        .seed = seed};
    rlv_change change = {0};
    rlv_error error = {0};
    o.measured = rlv_change_measure(&change, &p.before, &p.after, &options, &error) == RLV_DONE;
    for (int k = 0; o.measured && k < RLV_CHANGE_CLASSES; k++)
    {
        const rlv_interval v = change.total[k].volume_mm3;
        o.declared[k] = change.total[k].known && p.truth_mm3[k] > 0.0;
        o.found[k] = change.total[k].regions > 0;
        o.inside[k] = p.truth_mm3[k] >= v.low && p.truth_mm3[k] <= v.high;
        o.bias[k] = v.value / p.truth_mm3[k] - 1.0;
        if (getenv("RLV_EACH") != NULL && o.declared[k])
            printf("%llu class %d truth %.1f told %.1f (%.1f %.1f) faint %d regions %zu matrix %.2f chip %.2f off %.2f "
                   "wide %.1f film %.2f warp %.2f %.0f\n",
                   (unsigned long long)seed, k, p.truth_mm3[k], v.value, v.low, v.high, change.total[k].faint,
                   change.total[k].regions, plan.matrix_mm, plan.chip_mm, plan.chip_off, plan.chip_mm_wide,
                   plan.film_mm, plan.scan.warp_sd_mm, plan.scan.warp_length_mm);
    }
    fflush(stdout);
    rlv_change_free(&change);
    preparing_free(&p);
    return o;
}

Test(change_classes, intervals_of_every_class_hold_the_truth_in_93_to_97_percent)
{
    static const char* const name[RLV_CHANGE_CLASSES] = {"matrix removed", "bone lost", "piece detached",
                                                         "material added", "piece joined"};
    static outcome out[TRIALS];
    const int trials = scene_trials(TRIALS);
#pragma omp parallel for schedule(dynamic, 1)
    for (int t = 0; t < trials; t++)
        out[t] = try_one(70000 + (uint64_t)t);
    int all = 0, all_inside = 0;
    for (int k = 0; k < RLV_CHANGE_CLASSES; k++)
    {
        int n = 0, found = 0, inside = 0;
        double bias = 0.0;
        for (int t = 0; t < trials; t++)
        {
            n += out[t].declared[k];
            found += out[t].declared[k] && out[t].found[k];
            inside += out[t].declared[k] && out[t].inside[k];
            bias += out[t].declared[k] && out[t].found[k] ? out[t].bias[k] : 0.0;
        }
        printf("%-15s %4d measured, %4d with a region, inside %5.1f %%, mean bias %+.2f %%\n", name[k], n, found,
               n > 0 ? 100.0 * inside / n : 0.0, found > 0 ? 100.0 * bias / found : 0.0);
        all += n;
        all_inside += inside;
    }
    const double share = all > 0 ? (double)all_inside / all : 0.0;
    printf("all: inside %.1f %% of %d\n", 100.0 * share, all);
    const double stray = trials < TRIALS ? 2.0 * sqrt(0.05 * 0.95 / trials) : 0.0;
    cr_expect(share >= 0.93 - stray && share <= 0.97 + stray, "inside in %.3f", share);
}
