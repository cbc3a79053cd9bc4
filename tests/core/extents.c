#include "support/reaching.h"

#include <criterion/criterion.h>
#include <math.h>

static bool holds(rlv_interval told, double truth)
{
    return truth >= told.low && truth <= told.high;
}

/// A seeded share of the simulation in extents_long.c: 40 cuts of 2 mm and more. Fewer than 34 inside would come once
/// in 500 such tests were the true share 95 %. That 40 of 40 hold is no fault in a sample this small, but an interval
/// that holds all because it is wide is: the told must be sharp too. An edge of some 500 mm, known to a spacing of 2.7
/// mm, is 1,350 mm2 of 15,000 or more; half of it either way, with slack for faint edges, is a tenth.
Test(extents, intervals_hold_the_truth_in_a_seeded_share_of_trials)
{
    enum
    {
        TRIALS = 40,
    };
    static reaching out[TRIALS];
    int measured = 0, area = 0, mean = 0, greatest = 0, sharp = 0;
#pragma omp parallel for schedule(dynamic, 1)
    for (int t = 0; t < TRIALS; t++)
        out[t] = reach_once(9000 + (uint64_t)t, 2.0, 24000);
    for (int t = 0; t < TRIALS; t++)
    {
        const rlv_change_region* r = &out[t].region;
        measured += out[t].measured;
        area += out[t].measured && holds(r->area_mm2, out[t].area_mm2);
        mean += out[t].measured && holds(r->mean_depth_mm, out[t].mean_depth_mm);
        greatest += out[t].measured && holds(r->max_depth_mm, out[t].max_depth_mm);
        sharp += out[t].measured && r->area_mm2.high - r->area_mm2.low < 0.1 * out[t].area_mm2;
    }
    cr_assert_geq(measured, 36, "%d of %d cuts are one region", measured, TRIALS);
    const int least = measured - (TRIALS - 34);
    cr_expect_geq(area, least, "area inside in %d of %d", area, measured);
    cr_expect_geq(mean, least, "mean depth inside in %d of %d", mean, measured);
    cr_expect_geq(greatest, least, "greatest depth inside in %d of %d", greatest, measured);
    cr_expect_geq(sharp, least, "sharp in %d of %d", sharp, measured);
}
