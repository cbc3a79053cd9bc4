#include "history_scene.h"

#include <criterion/criterion.h>
#include <string.h>

/// What is told of a step's colours, of steps with one region of a depth each; 0 is a step without.
static void range_of(size_t count, const double* deepest_mm, size_t which, char words[128])
{
    history_step step[4] = {0};
    rlv_change_region region[4] = {0};
    for (size_t i = 0; i < count; i++)
    {
        region[i].max_depth_mm.value = deepest_mm[i];
        step[i] =
            (history_step){.measured = true, .change = {.region_count = deepest_mm[i] > 0.0, .region = &region[i]}};
    }
    const rlv_history history = {.step_count = count, .step = step};
    history_scene_range_words(words, 128, &history, &step[which]);
}

Test(history_scene, a_step_s_colours_are_told_to_be_its_own_and_how_deep_it_goes)
{
    const double deepest[3] = {33.7, 2.1, 0.0};
    char words[128];
    range_of(3, deepest, 1, words);
    cr_expect_str_eq(words,
                     "colours of this step alone: another’s may end elsewhere; its deepest place: 2.10" RLV_THIN "mm");
    range_of(1, deepest, 0, words); // one alone is compared with nothing
    cr_expect_str_eq(words, "colours of this step; its deepest place: 33.7" RLV_THIN "mm");
    range_of(3, deepest, 2, words);
    cr_expect_str_eq(words, "");
}

enum
{
    PIECES = 8
};

/// A plate of PIECES squares at a height, two triangles a square.
static void lay_plate(rlv_mesh* mesh, float height_mm)
{
    cr_assert_eq(rlv_mesh_reserve(mesh, 4 * PIECES, 2 * PIECES, false, false, NULL), RLV_DONE);
    for (uint32_t i = 0; i < PIECES; i++)
    {
        for (uint32_t k = 0; k < 4; k++)
        {
            float* at = mesh->position_mm + 3 * (size_t)(4 * i + k);
            at[0] = 20.0f * (float)i + (k == 1 || k == 2 ? 10.0f : 0.0f);
            at[1] = k < 2 ? 0.0f : 10.0f;
            at[2] = height_mm;
        }
        const uint32_t two[6] = {0, 1, 2, 0, 2, 3};
        for (uint32_t k = 0; k < 6; k++)
            mesh->corner[6 * i + k] = 4 * i + two[k];
    }
}

Test(history_scene, the_scar_of_each_of_many_pieces_lies_under_the_outline_that_it_had)
{
    char id[PIECES][8], number[3][2] = {"1", "2", "3"}, before_id[] = "before", after_id[] = "after", block[] = "block";
    rlv_stage_record record[2] = {{.id = before_id}, {.id = after_id}};
    rlv_piece_record piece[PIECES] = {0};
    rlv_mask_record mask[PIECES] = {0};
    rlv_point_record point[3 * PIECES] = {0};
    size_t order[3 * PIECES];
    rlv_change_region region[PIECES] = {0};
    history_region told[PIECES] = {0};
    uint16_t label[2 * PIECES];
    history_stage stage[2] = {{.record = &record[0], .mm_per_unit = 1.0}, {.record = &record[1], .mm_per_unit = 1.0}};
    history_step step = {.before = 0, .after = 1, .measured = true, .region = told, .piece_count = PIECES};
    lay_plate(&stage[0].given.mesh, 0.0f);
    lay_plate(&stage[1].given.mesh, -5.0f);
    for (size_t i = 0; i < 2; i++)
        cr_assert_eq(rlv_tree_build(&stage[i].tree, &stage[i].given.mesh, NULL), RLV_DONE);
    for (size_t i = 0; i < PIECES; i++)
    {
        snprintf(id[i], sizeof id[i], "p%zu", i);
        piece[i].id = id[i];
        mask[i] = (rlv_mask_record){.stage = before_id, .kind = RLV_MASK_PIECE, .piece = id[i], .outline = id[i]};
        for (size_t k = 0; k < 3; k++)
        {
            order[3 * i + k] = 3 * i + k;
            point[3 * i + k] =
                (rlv_point_record){.stage = before_id,
                                   .mesh = block,
                                   .object = id[i],
                                   .point = number[k],
                                   .at = {20.0 * (double)i + (k == 1 ? 10.0 : 0.0), k == 2 ? 10.0 : 0.0}};
        }
        region[i] = (rlv_change_region){.kind = RLV_CHANGE_DETACHED, .max_depth_mm = {5.0, 5.0, 5.0}};
        told[i].piece = step.piece[i] = i;
        label[2 * i] = label[2 * i + 1] = (uint16_t)(i + 1);
    }
    rlv_specimen specimen = {.piece_count = PIECES,
                             .piece = piece,
                             .mask_count = PIECES,
                             .mask = mask,
                             .point_count = 3 * PIECES,
                             .point = point,
                             .point_order = order};
    step.change = (rlv_change){.region_count = PIECES, .region = region, .before_label = label, .after_label = label};
    step.change.alignment.pose = rlv_pose_identity();
    const rlv_history history = {
        .specimen = &specimen, .stage_count = 2, .stage = stage, .step_count = 1, .step = &step};
    history_scene scene = {0};
    rlv_error error = {0};
    cr_assert_eq(history_scene_make(&scene, &history, &step, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(scene.before_lines, PIECES);
    cr_expect_eq(scene.after_lines, PIECES);
    for (size_t i = 0; i < PIECES; i++)
    {
        cr_expect_eq(scene.after_line[i].ring_count, 3);
        cr_expect_eq(scene.after_line[i].ring_mm, scene.before_line[i].ring_mm);
        cr_expect_eq(scene.after_line[i].ring_mm[1].x, 20.0 * (double)i + 10.0);
    }
    history_scene_free(&scene);
    for (size_t i = 0; i < 2; i++)
    {
        rlv_tree_free(stage[i].tree);
        rlv_mesh_free(&stage[i].given.mesh);
    }
}
