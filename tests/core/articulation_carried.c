#include "articulation_carried.h"

#include <criterion/criterion.h>

static const rlv_vec3 UP = {0.0, 0.6, 0.8};

static double sum_of(const rlv_carried_way* way, size_t count, bool current)
{
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
        if ((rlv_vec3_length(way[i].motion_mm) > 0.0) == current)
            sum += exp(way[i].log_prior);
    return sum;
}

Test(articulation_carried, a_current_is_as_likely_as_none_and_runs_in_the_level)
{
    static rlv_carried_way way[RLV_CARRIED_WAYS];
    const rlv_told_motions told = {.up = UP};
    const size_t count = rlv_carried_ways(way, 10.0, &told);
    cr_expect_eq(count, RLV_CARRIED_FAR * (1 + RLV_CARRIED_AZIMUTHS * RLV_CARRIED_SPREADS));
    cr_expect_float_eq(sum_of(way, count, true), sum_of(way, count, false), 1e-9);
    for (size_t i = 0; i < count; i++)
    {
        cr_expect_float_eq(rlv_vec3_dot(way[i].motion_mm, UP), 0.0, 1e-9);
        // What went like the others is as long, on the root mean square in the level, as what went anyhow.
        const double level = rlv_vec3_dot(way[i].motion_mm, way[i].motion_mm) + way[i].alike_cov_mm2[0] +
                             way[i].alike_cov_mm2[4] + way[i].alike_cov_mm2[8] - way[i].far_mm2;
        if (rlv_vec3_length(way[i].motion_mm) > 0.0)
            cr_expect_float_eq(level / (2.0 * way[i].far_mm2), 1.0, 1e-9);
    }
    cr_expect_float_eq(way[0].far_mm2, 25.0, 1e-9, "half a pitch");
    cr_expect_float_eq(way[count - 1].far_mm2, 160.0 * 160.0, 1e-6, "sixteen");
}

Test(articulation_carried, without_a_level_it_runs_any_way_in_space)
{
    static rlv_carried_way way[RLV_CARRIED_WAYS];
    const size_t count = rlv_carried_ways(way, 10.0, NULL);
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    cr_expect_eq(count, RLV_CARRIED_WAYS);
    for (size_t i = 0; i < count; i++)
        sum = rlv_vec3_add(sum, rlv_vec3_unit(way[i].motion_mm));
    // Even: their mean is nothing, to how evenly a spiral of 42 lays them.
    cr_expect_lt(rlv_vec3_length(sum) / (double)count, 0.02);
}

Test(articulation_carried, motions_told_one_way_make_that_way_likely_and_scattered_ones_none)
{
    static rlv_carried_way way[RLV_CARRIED_WAYS];
    enum
    {
        MOTIONS = 8,
    };
    const double sd[MOTIONS] = {0.2, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2};
    rlv_vec3 alike[MOTIONS], any[MOTIONS];
    const rlv_vec3 up = {0.0, 0.0, 1.0};
    for (size_t i = 0; i < MOTIONS; i++)
    {
        const double turn = 2.0 * M_PI * (double)i / MOTIONS;
        alike[i] = rlv_vec3_of(5.0, 0.3 * sin(turn), 2.0 * cos(turn));
        any[i] = rlv_vec3_of(5.0 * cos(turn), 5.0 * sin(turn), 0.0);
    }
    const rlv_told_motions one_way = {up, MOTIONS, alike, sd}, every_way = {up, MOTIONS, any, sd};
    size_t count = rlv_carried_ways(way, 10.0, &one_way), best = 0;
    cr_expect_gt(sum_of(way, count, true), 20.0 * sum_of(way, count, false));
    for (size_t i = 0; i < count; i++)
        best = way[i].log_prior > way[best].log_prior ? i : best;
    cr_expect_gt(rlv_vec3_unit(way[best].motion_mm).x, cos(M_PI / RLV_CARRIED_AZIMUTHS) - 1e-9);
    count = rlv_carried_ways(way, 10.0, &every_way);
    cr_expect_lt(sum_of(way, count, true), 0.5 * sum_of(way, count, false));
}
