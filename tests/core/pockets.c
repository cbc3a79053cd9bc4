#include "pockets.h"

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

/// A plane of samples one millimetre apart, about the middle, which both stages share; correlation length 1 mm.
typedef struct ground
{
    float position_mm[3 * COUNT];
    uint8_t part[COUNT];
    uint16_t before[COUNT], after[COUNT];
    uint8_t before_near[COUNT], after_near[COUNT];
    float depth_mm[COUNT], area_mm2[COUNT];
} ground;

/// What of the plane something is.
typedef bool where(double x_mm, double y_mm);

/// `thinly_mm`: what went beside the cut, under noise of 0.05 mm.
static ground* lay(where* cut, where* bone, double thinly_mm)
{
    scan_random random = {17};
    ground* g = calloc(1, sizeof *g);
    for (size_t n = 0; n < COUNT; n++)
    {
        const double x = (double)(n % SIDE) - SIDE / 2 + 0.5, y = (double)(n / SIDE) - SIDE / 2 + 0.5;
        g->position_mm[3 * n] = (float)x;
        g->position_mm[3 * n + 1] = (float)y;
        g->part[n] = bone(x, y) ? RLV_DEPTHS_STAYS : 0;
        g->before[n] = g->after[n] = cut(x, y);
        g->area_mm2[n] = 1.0f;
        g->depth_mm[n] = (float)(thinly_mm + 0.05 * scan_random_normal(&random));
    }
    return g;
}

static void close_pockets(ground* g)
{
    int8_t sign = 1;
    uint8_t part = 0;
    rlv_regions regions = {.count = 1,
                           .sign = &sign,
                           .part = &part,
                           .before = g->before,
                           .after = g->after,
                           .before_near = g->before_near,
                           .after_near = g->after_near,
                           .noise.length_mm = 1.0};
    const rlv_depths depths = {.count = COUNT, .position_mm = g->position_mm, .depth_mm = g->depth_mm, .part = g->part};
    const rlv_sampling sampling = {.count = COUNT, .area_mm2 = g->area_mm2};
    rlv_error error = {0};
    cr_assert_eq(rlv_pockets_close(&regions, &depths, &sampling, &depths, &sampling, &error), RLV_DONE, "%s",
                 error.what);
}

static bool nowhere(double x_mm, double y_mm)
{
    return x_mm > SIDE && y_mm > SIDE;
}

/// Grooves 6 mm wide with ridges of 8 mm between them.
static bool grooves(double x_mm, double y_mm)
{
    return hypot(x_mm, y_mm) < 40.0 && fmod(x_mm + 700.0, 14.0) < 6.0;
}

static bool disc(double x_mm, double y_mm)
{
    return hypot(x_mm, y_mm) < 20.0;
}

/// Two cuts with 24 mm between them: more than twice RLV_POCKET_LENGTHS.
static bool apart(double x_mm, double y_mm)
{
    return fabs(y_mm) < 30.0 && fabs(x_mm) > 12.0 && fabs(x_mm) < 45.0;
}

/// A frame around what is 12 mm wide, with a bone in the middle of it.
static bool frame(double x_mm, double y_mm)
{
    return fmax(fabs(x_mm), fabs(y_mm)) < 30.0 && fmax(fabs(x_mm), fabs(y_mm)) > 6.0;
}

static bool in_frame(double x_mm, double y_mm)
{
    return fmax(fabs(x_mm), fabs(y_mm)) < 3.0;
}

static size_t labelled(const ground* g)
{
    size_t count = 0;
    for (size_t n = 0; n < COUNT; n++)
        count += g->before[n] != 0;
    return count;
}

Test(pockets, ridges_between_grooves_belong_to_the_cut_and_are_not_still)
{
    ground* g = lay(grooves, nowhere, 0.05);
    close_pockets(g);
    for (size_t n = 0; n < COUNT; n++)
        if (hypot((double)g->position_mm[3 * n], (double)g->position_mm[3 * n + 1]) < 30.0)
        {
            cr_expect_eq(g->before[n], 1);
            cr_expect_eq(g->after[n], 1);
            cr_expect(grooves((double)g->position_mm[3 * n], (double)g->position_mm[3 * n + 1]) || g->before_near[n]);
        }
    free(g);
}

Test(pockets, a_round_cut_and_broad_surface_between_two_have_none)
{
    where* cut[2] = {disc, apart};
    for (int k = 0; k < 2; k++)
    {
        ground* g = lay(cut[k], nowhere, 0.05);
        const size_t before = labelled(g);
        close_pockets(g);
        cr_expect_eq(labelled(g), before);
        free(g);
    }
}

Test(pockets, bone_in_a_pocket_did_not_go_with_it)
{
    ground* g = lay(frame, in_frame, 0.05);
    close_pockets(g);
    for (size_t n = 0; n < COUNT; n++)
    {
        const double x = (double)g->position_mm[3 * n], y = (double)g->position_mm[3 * n + 1];
        if (fmax(fabs(x), fabs(y)) < 30.0)
            cr_expect_eq(g->before[n] != 0, !in_frame(x, y), "%.1f %.1f", x, y);
    }
    free(g);
}

/// Pockets that did not change, or came where the rest went, tell how the stages lie on each other.
Test(pockets, that_did_not_go_along_stay_still)
{
    const double depth[2] = {0.0, -0.05};
    for (int k = 0; k < 2; k++)
    {
        ground* g = lay(grooves, nowhere, depth[k]);
        const size_t before = labelled(g);
        close_pockets(g);
        cr_expect_eq(labelled(g), before);
        free(g);
    }
}
