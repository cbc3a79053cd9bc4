#include "depth_overlay.h"

#include <criterion/criterion.h>
#include <string.h>

// The overlay of AFTER over BEFORE.
static depth_overlay overlay_of(const rlv_change* change, const rlv_mesh* before, const rlv_mesh* after)
{
    rlv_tree* tree = NULL;
    depth_overlay overlay = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_tree_build(&tree, before, &error), RLV_DONE);
    cr_assert_eq(depth_overlay_make(&overlay, change, before, tree, after, &error), RLV_DONE);
    rlv_tree_free(tree);
    return overlay;
}

Test(depth_overlay, hatches_what_is_under_the_limit_and_parts_what_came_from_what_went)
{
    // Three far triangles of AFTER, 2 and 0.1 mm below BEFORE's plane and 0.001 mm above it.
    float before_at[9] = {-1000, -1000, 0, 1000, -1000, 0, 0, 1000, 0};
    uint32_t before_corner[3] = {0, 1, 2}, corner[9] = {0, 1, 2, 3, 4, 5, 6, 7, 8};
    float at[27];
    const float height[3] = {-2.0f, -0.1f, 0.001f};
    for (size_t i = 0; i < 9; i++)
    {
        at[3 * i] = (float)(10 * (i / 3) + (i % 3 == 1 ? 1 : 0));
        at[3 * i + 1] = i % 3 == 2 ? 1.0f : 0.0f;
        at[3 * i + 2] = height[i / 3];
    }
    rlv_mesh before = {.vertex_count = 3, .position_mm = before_at, .triangle_count = 1, .corner = before_corner};
    rlv_mesh after = {.vertex_count = 9, .position_mm = at, .triangle_count = 3, .corner = corner};
    rlv_change_region region[2] = {{.kind = RLV_CHANGE_REMOVED}, {.kind = RLV_CHANGE_ADDED}};
    uint16_t label[3] = {1, 1, 2};
    rlv_change change = {.region_count = 2, .region = region, .after_label = label};
    change.limit[0].depth_mm = 0.5;
    depth_overlay overlay = overlay_of(&change, &before, &after);
    // Distances are of floats of some mm: 1e-6 of the box of 2000 mm.
    cr_assert_float_eq(overlay.depth_mm[0], 2.0f, 2e-3f);
    cr_assert_float_eq(overlay.deepest_mm, 2.0, 2e-3);
    cr_assert_eq(overlay.shown[0], 1);
    cr_assert_eq(overlay.shown[1], 2);
    cr_assert_eq(overlay.shown[2], 2);
    // Under a hundredth of the scale what came would have the colour of what went.
    cr_assert_lt(overlay.depth_mm[6], -0.01f * 2.0f);
    depth_overlay_free(&overlay);
}

enum
{
    SIDE = 6 ///< cells of the plate of AFTER along a side
};

Test(depth_overlay, a_hole_in_a_region_is_filled_as_far_as_it_lies_as_deep)
{
    // A plate under the upper face of BEFORE, a flat pyramid that stands on its tip; each cell of the plate is two
    // triangles. Its third row was told, the rows beside it were not: those to the left lie as deep, that to the right
    // under the limit, and the far right ones above.
    float before_at[12] = {-1000, -1000, 0, 1000, -1000, 0, 0, 1000, 0, 0, 0, -500};
    uint32_t before_corner[12] = {0, 1, 2, 1, 0, 3, 2, 1, 3, 0, 2, 3}, corner[6 * SIDE * SIDE];
    float at[3 * (SIDE + 1) * (SIDE + 1)];
    const float height[SIDE + 1] = {-3.0f, -3.0f, -3.0f, -3.0f, -0.1f, 2.0f, 2.0f};
    uint16_t label[2 * SIDE * SIDE] = {0};
    for (uint32_t i = 0; i < (SIDE + 1) * (SIDE + 1); i++)
    {
        at[3 * i] = (float)(i % (SIDE + 1));
        at[3 * i + 1] = (float)(i / (SIDE + 1));
        at[3 * i + 2] = height[i % (SIDE + 1)];
    }
    for (uint32_t i = 0; i < SIDE * SIDE; i++)
    {
        uint32_t a = i / SIDE * (SIDE + 1) + i % SIDE, up = a + SIDE + 1;
        const uint32_t two[6] = {a, a + 1, up + 1, a, up + 1, up};
        for (uint32_t k = 0; k < 6; k++)
            corner[6 * i + k] = two[k];
        label[2 * i] = label[2 * i + 1] = i % SIDE == 2 ? 1 : 0;
    }
    rlv_mesh before = {.vertex_count = 4, .position_mm = before_at, .triangle_count = 4, .corner = before_corner};
    rlv_mesh after = {.vertex_count = (SIDE + 1) * (SIDE + 1),
                      .position_mm = at,
                      .triangle_count = 2 * SIDE * SIDE,
                      .corner = corner};
    rlv_change_region region = {.kind = RLV_CHANGE_REMOVED};
    rlv_change change = {.region_count = 1, .region = &region, .after_label = label};
    change.limit[0].depth_mm = 0.5;
    depth_overlay overlay = overlay_of(&change, &before, &after);
    for (size_t i = 0; i < SIDE * SIDE; i++)
        for (size_t k = 0; k < 2; k++)
        {
            cr_expect_eq(overlay.label[2 * i + k], i % SIDE <= 2 ? 1 : 0, "cell %zu", i);
            cr_expect_eq(overlay.shown[2 * i + k], i % SIDE <= 2 ? 1 : 0, "cell %zu", i);
        }
    cr_expect_float_eq(overlay.depth_mm[0], 3.0f, 2e-3f);
    cr_expect_float_eq(overlay.deepest_mm, 3.0, 2e-3);
    cr_expect_float_eq(overlay.end_mm, 3.0, 1e-9);
    cr_expect_eq(label[0], 0); // the change's own labels stay
    depth_overlay_free(&overlay);
}

enum
{
    PLATE = 20 ///< cells of 1 mm of a plate along a side
};

Test(depth_overlay, specks_below_the_least_told_area_are_hatched_and_one_deep_corner_does_not_stretch_the_colours)
{
    // A plate 2.9 mm under the upper face of BEFORE, but for a strip that lies under the limit, a speck of one cell in
    // it, and a corner vertex that lies 5 mm deep: its two triangles are 3 of some 320 mm2.
    float before_at[12] = {-1000, -1000, 0, 1000, -1000, 0, 0, 1000, 0, 0, 0, -500};
    uint32_t before_corner[12] = {0, 1, 2, 1, 0, 3, 2, 1, 3, 0, 2, 3}, corner[6 * PLATE * PLATE];
    float at[3 * (PLATE + 1) * (PLATE + 1)];
    uint16_t label[2 * PLATE * PLATE];
    for (uint32_t i = 0; i < (PLATE + 1) * (PLATE + 1); i++)
    {
        const uint32_t x = i % (PLATE + 1), y = i / (PLATE + 1);
        at[3 * i] = (float)x;
        at[3 * i + 1] = (float)y;
        at[3 * i + 2] = i == 0 ? -5.0f : x == 8 && y == 8 ? -1.0f : 6 <= x && x <= 10 ? -0.1f : -2.9f;
    }
    for (uint32_t i = 0; i < PLATE * PLATE; i++)
    {
        uint32_t a = i / PLATE * (PLATE + 1) + i % PLATE, up = a + PLATE + 1;
        const uint32_t two[6] = {a, a + 1, up + 1, a, up + 1, up};
        memcpy(corner + 6 * i, two, sizeof two);
        label[2 * i] = label[2 * i + 1] = 1;
    }
    rlv_mesh before = {.vertex_count = 4, .position_mm = before_at, .triangle_count = 4, .corner = before_corner};
    rlv_mesh after = {.vertex_count = (PLATE + 1) * (PLATE + 1),
                      .position_mm = at,
                      .triangle_count = 2 * PLATE * PLATE,
                      .corner = corner};
    rlv_change_region region = {.kind = RLV_CHANGE_REMOVED};
    rlv_change change = {.region_count = 1, .region = &region, .after_label = label};
    change.limit[0].depth_mm = 0.5;
    depth_overlay overlay = overlay_of(&change, &before, &after);
    const size_t speck = 2 * (8 * PLATE + 8), plain = 2 * (8 * PLATE + 15);
    cr_expect_eq(overlay.shown[speck], 1); // with no least area all that is deep enough is coloured
    depth_overlay_free(&overlay);
    change.limit[0].area_mm2 = 20.0;
    overlay = overlay_of(&change, &before, &after);
    cr_expect_eq(overlay.shown[speck], 2);
    cr_expect_eq(overlay.shown[plain], 1);
    cr_expect_float_eq(overlay.deepest_mm, 5.0, 2e-3);
    cr_expect_float_eq(overlay.end_mm, 3.0, 1e-9);
    depth_overlay_free(&overlay);
    change.limit[0].area_mm2 = 1e4; // more than all: what is told keeps its largest patch
    overlay = overlay_of(&change, &before, &after);
    cr_expect_eq(overlay.shown[speck], 2);
    cr_expect_eq(overlay.shown[plain], 1);
    depth_overlay_free(&overlay);
}
