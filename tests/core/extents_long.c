/// How often the intervals of a region's area, mean depth and greatest depth hold the truth, over 200 cuts of 2 to 40 mm.

#include "support/reaching.h"
#include "support/scene.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum
{
    TRIALS = 200,
    FIGURES = 3,
};

static const char* const name[FIGURES] = {"area", "mean depth", "greatest depth"};

Test(extents_coverage, intervals_hold_the_truth_in_90_to_98_percent)
{
    static reaching out[TRIALS];
    const int trials = scene_trials(TRIALS);
#pragma omp parallel for schedule(dynamic, 1)
    for (int t = 0; t < trials; t++)
        out[t] = reach_once(71000 + (uint64_t)t, 2.0, 24000);
    for (int f = 0; f < FIGURES; f++)
    {
        int n = 0, inside = 0, below = 0;
        double bias = 0.0, width = 0.0;
        for (int t = 0; t < trials; t++)
        {
            if (!out[t].measured)
                continue;
            const rlv_change_region* r = &out[t].region;
            const rlv_interval told = f == 0 ? r->area_mm2 : f == 1 ? r->mean_depth_mm : r->max_depth_mm;
            const double truth = f == 0 ? out[t].area_mm2 : f == 1 ? out[t].mean_depth_mm : out[t].max_depth_mm;
            if (isnan(told.value))
                continue;
            n++;
            inside += truth >= told.low && truth <= told.high;
            below += truth < told.low;
            bias += told.value / truth - 1.0;
            width += (told.high - told.low) / truth;
            if (getenv("RLV_EACH") != NULL)
                printf("%d %s truth %.3f told %.3f (%.3f %.3f)%s\n", 71000 + t, name[f], truth, told.value, told.low,
                       told.high, truth < told.low || truth > told.high ? " OUT" : "");
        }
        const double share = n > 0 ? (double)inside / n : 0.0;
        printf("%s: inside %.1f %% of %d measured of %d (truth below in %d), bias %+.2f %%, width %.2f %%\n", name[f],
               100.0 * share, n, trials, below, 100.0 * bias / n, 100.0 * width / n);
        const double stray = trials < TRIALS ? 2.0 * sqrt(0.05 * 0.95 / trials) : 0.0;
        cr_expect(share >= 0.90 - stray && share <= 0.98 + stray, "%s: inside in %.3f", name[f], share);
    }
}
