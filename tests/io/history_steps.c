// Steps: the place that a region of change is told by.

#include "history_parts.h"

#include <math.h>
#include <stdlib.h>

#include <criterion/criterion.h>

TestSuite(history_steps);

enum
{
    SIDE = 30 ///< cells of a plate, of 1 mm
};

Test(history_steps, the_place_of_a_bent_region_lies_in_it_as_near_to_its_centroid_as_it_comes)
{
    static float position[3 * (SIDE + 1) * (SIDE + 1)];
    static uint32_t corner[6 * SIDE * SIDE];
    static uint16_t label[2 * SIDE * SIDE];
    for (uint32_t i = 0; i < (SIDE + 1) * (SIDE + 1); i++)
    {
        position[3 * i] = (float)(i % (SIDE + 1));
        position[3 * i + 1] = (float)(i / (SIDE + 1));
    }
    for (uint32_t i = 0; i < SIDE * SIDE; i++)
    {
        const uint32_t a = i / SIDE * (SIDE + 1) + i % SIDE, x = i % SIDE, y = i / SIDE;
        const uint32_t two[6] = {a, a + 1, a + SIDE + 2, a, a + SIDE + 2, a + SIDE + 1};
        for (uint32_t k = 0; k < 6; k++)
            corner[6 * i + k] = two[k];
        // A frame of 5 mm, open on the right, about nothing; beside it no triangle is of the second region.
        label[2 * i] = label[2 * i + 1] = x < 5 || y < 5 || y >= SIDE - 5;
    }
    const rlv_mesh mesh = {.vertex_count = (SIDE + 1) * (SIDE + 1),
                           .triangle_count = 2 * SIDE * SIDE,
                           .position_mm = position,
                           .corner = corner};
    rlv_change_region region[2] = {{.centroid_mm = {11.0, 15.0, 0.0}}, {.centroid_mm = {40.0, 1.0, 2.0}}};
    const rlv_change change = {.region_count = 2, .region = region, .before_label = label};
    rlv_vec3 place[2];
    history_region_places(place, &change, &mesh);
    // The left bar is nearest: middles of its last triangles lie a third of a cell from its edge at x = 5.
    cr_expect_float_eq(place[0].x, 5.0 - 1.0 / 3.0, 1e-5);
    cr_expect_float_eq(place[0].y, 15.0, 1.0);
    cr_expect_eq(place[1].x, 40.0);
}

/// A plate of SIDE by SIDE cells of 1 mm, its vertices as deep as `depth_mm` says.
static rlv_mesh plate(float (*depth_mm)(uint32_t x, uint32_t y))
{
    const size_t row = SIDE + 1;
    rlv_mesh mesh = {.vertex_count = row * row, .triangle_count = 2 * (size_t)SIDE * SIDE};
    mesh.position_mm = malloc(3 * mesh.vertex_count * sizeof *mesh.position_mm);
    mesh.corner = malloc(3 * mesh.triangle_count * sizeof *mesh.corner);
    for (uint32_t i = 0; i < mesh.vertex_count; i++)
    {
        mesh.position_mm[3 * i] = (float)(i % row);
        mesh.position_mm[3 * i + 1] = (float)(i / row);
        mesh.position_mm[3 * i + 2] = -depth_mm(i % (SIDE + 1), i / (SIDE + 1));
    }
    for (uint32_t i = 0; i < SIDE * SIDE; i++)
    {
        const uint32_t a = i / SIDE * (SIDE + 1) + i % SIDE;
        const uint32_t two[6] = {a, a + 1, a + SIDE + 2, a, a + SIDE + 2, a + SIDE + 1};
        for (uint32_t k = 0; k < 6; k++)
            mesh.corner[6 * i + k] = two[k];
    }
    return mesh;
}

static float flat(uint32_t x, uint32_t y)
{
    (void)x, (void)y;
    return 0.0F;
}

/// 2 mm from x = 10 on, and 5 at one place of it.
static float pit(uint32_t x, uint32_t y)
{
    return x < 10 ? 0.0F : x == 25 && y == 7 ? 5.0F : 2.0F;
}

static history_stage stage_with(rlv_mesh mesh, uint8_t* is)
{
    history_stage stage = {.given.mesh = mesh, .parts = {.triangle_count = mesh.triangle_count, .is = is}};
    rlv_error error = {0};
    cr_assert_eq(rlv_tree_build(&stage.tree, &mesh, &error), RLV_DONE, "%s", error.what);
    return stage;
}

static void drop_stage(history_stage* stage)
{
    rlv_tree_free(stage->tree);
    rlv_mesh_free(&stage->given.mesh);
}

// A region's margin, here from x = 6 on, reaches beyond what went, from x = 10 on: bone that ends at x = 4 is 6 mm from
// where the change is told and not 2. A place of it may lie up to a cell further: a triangle is asked at one corner.
Test(history_steps, a_region_is_as_far_from_bone_as_what_went_and_deepest_where_it_went_deepest)
{
    static uint16_t label[2 * SIDE * SIDE];
    static uint8_t bone[2 * SIDE * SIDE], none[2 * SIDE * SIDE];
    for (uint32_t i = 0; i < SIDE * SIDE; i++)
    {
        label[2 * i] = label[2 * i + 1] = i % SIDE >= 6;
        bone[2 * i] = bone[2 * i + 1] = i % SIDE < 4 ? RLV_IS_BONE : 0;
    }
    history_stage before = stage_with(plate(flat), bone), after = stage_with(plate(pit), none);
    rlv_change_region region = {.area_from_mm = 0.5};
    history_region beside = {0};
    history_step step = {.region = &beside,
                         .change = {.region_count = 1,
                                    .region = &region,
                                    .before_label = label,
                                    .after_label = label,
                                    .alignment.pose = rlv_pose_identity()}};
    rlv_error error = {0};
    cr_assert_eq(history_region_distances(&step, &before, &after, &error), RLV_DONE, "%s", error.what);
    cr_expect(beside.nearest_bone_mm >= 6.0 - 1e-4 && beside.nearest_bone_mm <= 7.0, "%g", beside.nearest_bone_mm);
    cr_expect_float_eq(beside.deepest_mm.x, 25.0, 1e-4);
    cr_expect_float_eq(beside.deepest_mm.y, 7.0, 1e-4);
    region.area_from_mm = 0.0; // a piece: all of it is what its outline says
    cr_assert_eq(history_region_distances(&step, &before, &after, &error), RLV_DONE, "%s", error.what);
    cr_expect_float_eq(beside.nearest_bone_mm, 2.0, 1e-4);
    drop_stage(&before);
    drop_stage(&after);
}
