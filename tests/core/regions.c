#include "regions.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum
{
    SIDE = 120,
    COUNT = SIDE * SIDE,
};

/// A plane of samples one millimetre apart, of noise of 0.05 mm, each stage's own.
typedef struct plane
{
    size_t count;
    float position_mm[3 * COUNT], normal[3 * COUNT], depth_mm[COUNT], area_mm2[COUNT], chord_mm[COUNT];
    uint32_t foot[COUNT];
    uint8_t border[COUNT];
} plane;

/// `coarse`: in the middle samples lie thirteen millimetres apart, each with all the area about it.
static void fill(plane* p, uint64_t seed, bool coarse)
{
    scan_random random = {seed};
    p->count = 0;
    for (int i = 0; i < COUNT; i++)
    {
        const int x = i % SIDE - SIDE / 2, y = i / SIDE - SIDE / 2;
        const bool middle = coarse && abs(x) <= 32 && abs(y) <= 32;
        if (middle && (x % 13 != 0 || y % 13 != 0))
            continue;
        const size_t n = p->count++;
        p->position_mm[3 * n] = (float)x;
        p->position_mm[3 * n + 1] = (float)y;
        p->normal[3 * n + 2] = 1.0f;
        p->depth_mm[n] = (float)(0.05 * scan_random_normal(&random));
        p->area_mm2[n] = middle ? 169.0f : 1.0f;
        p->foot[n] = (uint32_t)n;
    }
}

/// Lift what lies within `reach_mm` of the middle.
static void lift(plane* p, double reach_mm)
{
    for (size_t n = 0; n < p->count; n++)
        if (hypot((double)p->position_mm[3 * n], (double)p->position_mm[3 * n + 1]) <= reach_mm)
            p->depth_mm[n] = -3.0f;
}

static size_t count_regions(plane p[2])
{
    rlv_regions regions = {0};
    rlv_depths depths[2] = {0};
    rlv_sampling sampling[2] = {0};
    rlv_error error = {0};
    for (int k = 0; k < 2; k++)
    {
        depths[k] = (rlv_depths){p[k].count,    p[k].position_mm, p[k].normal, p[k].depth_mm,
                                 p[k].depth_mm, p[k].foot,        NULL,        NULL};
        sampling[k] = (rlv_sampling){.count = p[k].count,
                                     .position_mm = p[k].position_mm,
                                     .normal = p[k].normal,
                                     .area_mm2 = p[k].area_mm2,
                                     .chord_mm = p[k].chord_mm,
                                     .border = p[k].border,
                                     .spacing_mm = 1.0};
    }
    cr_assert_eq(rlv_regions_find(&regions, &depths[0], &sampling[0], &depths[1], &sampling[1], &error), RLV_DONE, "%s",
                 error.what);
    const size_t count = regions.count;
    rlv_regions_free(&regions);
    return count;
}

Test(regions, one_sample_is_no_region_however_large_its_triangles)
{
    // Noise of one sample and the next is independent here, so that its length is the spacing and a spot of it
    // 6.3 mm2. The one sample has far more, as where a hole was filled with few triangles.
    plane* p = calloc(2, sizeof *p);
    for (int k = 0; k < 2; k++)
    {
        fill(p + k, 11 + (uint64_t)k, true);
        lift(p + k, 1.0);
    }
    cr_expect_eq(count_regions(p), 0);
    // A patch of less area and more samples is one.
    for (int k = 0; k < 2; k++)
    {
        fill(p + k, 11 + (uint64_t)k, false);
        lift(p + k, 4.0);
    }
    cr_expect_eq(count_regions(p), 1);
    free(p);
}

/// Take 3 mm off left and right of a wall of two samples, over 18 by 20 mm each, and `wall_mm` off the wall.
static void cut_beside_wall(plane* p, double wall_mm)
{
    for (size_t n = 0; n < p->count; n++)
    {
        const float x = p->position_mm[3 * n], y = p->position_mm[3 * n + 1];
        if (fabsf(y) <= 10.0f && x >= -20.0f && x <= 19.0f)
            p->depth_mm[n] = x <= -2.0f || x >= 1.0f ? 3.0f : (float)wall_mm;
    }
}

static size_t count_beside_wall(double wall_mm)
{
    plane* p = calloc(2, sizeof *p);
    for (int k = 0; k < 2; k++)
    {
        fill(p + k, 11 + (uint64_t)k, false);
        cut_beside_wall(p + k, wall_mm);
    }
    const size_t count = count_regions(p);
    free(p);
    return count;
}

Test(regions, two_cuts_with_a_wall_that_held_still_between_them_are_two)
{
    cr_expect_eq(count_beside_wall(0.0), 2);
    cr_expect_eq(count_beside_wall(0.1), 2);
}

Test(regions, two_cuts_over_a_wall_that_went_down_too_are_one)
{
    // An eighth of the mean depth is less than 0.375 mm.
    cr_expect_eq(count_beside_wall(0.5), 1);
    cr_expect_eq(count_beside_wall(2.0), 1);
}
