// How a block stands: the centre of volume, and how far the centre of mass may lie from that; and what its sheet says.

#include "history.h"
#include "history_sheet_job.h"
#include "standing.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

TestSuite(history_standing);

Test(history_standing, the_centre_of_mass_is_bounded_by_what_weight_and_volume_differ_by)
{
    // A box of 400 by 300 by 100 mm: its corners lie 255 mm from its middle.
    float corner[24];
    for (int i = 0; i < 8; i++)
    {
        corner[3 * i] = i & 1 ? 400.0f : 0.0f;
        corner[3 * i + 1] = i & 2 ? 300.0f : 0.0f;
        corner[3 * i + 2] = i & 4 ? 100.0f : 0.0f;
    }
    double vector[] = {0.0, 0.0, 1.0};
    rlv_direction_record up = {.stage = (char*)"s", .count = 3, .vector = vector};
    rlv_display_record display = {.up = &up};
    rlv_mass_record mass = {30000.0, 0.0}; // of 12,000 mL
    rlv_density_record matrix = {.material = (char*)"matrix", .g_cm3 = 2.4};
    rlv_stage_record record = {.id = (char*)"s", .mass = &mass};
    rlv_specimen specimen = {
        .stage_count = 1, .stage = &record, .density_count = 1, .density = &matrix, .display = &display};
    history_stage stage = {.record = &record,
                           .mm_per_unit = 1.0,
                           .given = {.mesh = {.vertex_count = 8, .position_mm = corner},
                                     .health = {.closed = true},
                                     .measures = {.volume_mm3 = 12e6, .centroid_mm = {200.0, 150.0, 50.0}}}};
    const rlv_history history = {.specimen = &specimen, .stage_count = 1, .stage = &stage};
    history_standing s = history_standing_of(&history);
    cr_assert(s.known);
    cr_assert(s.centre_known);
    cr_expect_eq(s.centre_mm.x, 200.0);
    cr_expect_float_eq(s.whole_g_cm3, 2.5, 1e-12);
    // 2.5 where matrix has 2.4: a share of 0.04 of the mass, of sds of nothing, at a corner at the farthest.
    const double reach = sqrt(200.0 * 200.0 + 150.0 * 150.0 + 50.0 * 50.0);
    cr_expect_float_eq(s.drawn_mm, 0.04 * reach, 1e-3);
    matrix.sd_g_cm3 = 0.024; // 1 %, of a share of 0.96
    s = history_standing_of(&history);
    cr_expect_float_eq(s.drawn_mm, (0.04 + RLV_HALF_95 * 0.0096) * reach, 1e-3);
    specimen.density_count = 0;
    s = history_standing_of(&history);
    cr_expect(s.centre_known && isnan(s.drawn_mm));
    stage.given.health.closed = false; // without a volume there is no centre of it
    cr_expect_not(history_standing_of(&history).centre_known);
}

static bool says(const sheet_lines* lines, const char* words)
{
    for (size_t i = 0; i < lines->count; i++)
        if (strstr(lines->text[i], words) != NULL)
            return true;
    return false;
}

Test(history_standing, a_piece_that_was_put_back_is_outlined_where_the_last_stage_has_it)
{
    rlv_point_record point[3] = {{.at = {2, 0, 0}}, {.at = {4, 0, 0}}, {.at = {2, 3, 0}}};
    for (int i = 0; i < 3; i++)
    {
        point[i].stage = (char*)"back";
        point[i].mesh = (char*)"block";
        point[i].object = (char*)"slab";
        point[i].point = (char*)(i == 0 ? "1" : i == 1 ? "2" : "3");
    }
    size_t order[3] = {0, 1, 2};
    rlv_stage_record record[2] = {{.id = (char*)"back"}, {.id = (char*)"last"}};
    rlv_piece_record piece = {.id = (char*)"A", .joined = (char*)"back"};
    rlv_mask_record mask = {
        .stage = (char*)"back", .kind = RLV_MASK_PIECE, .piece = (char*)"A", .outline = (char*)"slab"};
    rlv_specimen specimen = {.stage_count = 2,
                             .stage = record,
                             .piece_count = 1,
                             .piece = &piece,
                             .mask_count = 1,
                             .mask = &mask,
                             .point_count = 3,
                             .point = point,
                             .point_order = order};
    history_stage stage[2] = {{.record = &record[0], .mm_per_unit = 10.0}, {.record = &record[1], .mm_per_unit = 1.0}};
    rlv_pose pose[2] = {rlv_pose_identity(), rlv_pose_identity()};
    pose[0].translation_mm = rlv_vec3_of(0.0, 0.0, 7.0);
    pose[1].translation_mm = rlv_vec3_of(5.0, 0.0, 0.0);
    rlv_history history = {
        .specimen = &specimen, .stage_count = 2, .stage = stage, .joined = true, .stages = {.pose = pose}};
    standing_outlines found = {0};
    cr_assert_eq(sheet_find_outlines(&found, &history, NULL), RLV_DONE);
    cr_assert_eq(found.count, 1);
    cr_expect_str_eq(found.outline[0].label, "not to lift by: A");
    cr_expect_float_eq(found.outline[0].ring_mm[2].x, 20.0 - 5.0, 1e-12);
    cr_expect_float_eq(found.outline[0].ring_mm[2].y, 30.0, 1e-12);
    cr_expect_float_eq(found.outline[0].ring_mm[2].z, 7.0, 1e-12);
    sheet_free_outlines(&found);
    piece.joined = NULL; // it lies aside
    found = (standing_outlines){0};
    cr_assert_eq(sheet_find_outlines(&found, &history, NULL), RLV_DONE);
    cr_expect_eq(found.count, 0);
    sheet_free_outlines(&found);
}

Test(history_standing, its_sheet_tells_what_may_be_touched_and_whether_that_is_seen)
{
    // A box of 100 by 100 by 50 mm, with a ring on its top and one on its underside.
    float position[24];
    for (int i = 0; i < 8; i++)
    {
        position[3 * i] = i & 1 ? 100.0f : 0.0f;
        position[3 * i + 1] = i & 2 ? 100.0f : 0.0f;
        position[3 * i + 2] = i & 4 ? 50.0f : 0.0f;
    }
    uint32_t corner[36] = {0, 2, 1, 1, 2, 3, 4, 5, 6, 5, 7, 6, 0, 1, 4, 1, 5, 4,
                           2, 6, 3, 3, 6, 7, 0, 4, 2, 2, 4, 6, 1, 3, 5, 3, 7, 5};
    const rlv_vec3 over[3] = {{20, 20, 50}, {60, 20, 50}, {20, 60, 50}},
                   under[3] = {{20, 20, 0}, {60, 20, 0}, {20, 60, 0}};
    char* ban[] = {(char*)"skull", (char*)"tail"};
    rlv_display_record display = {.rests_on = (char*)"base", .untouchable_count = 2, .untouchable = ban};
    rlv_stage_record record = {.id = (char*)"s"};
    double limit_kg = 20.0;
    rlv_advice_record advice = {.lift_limit_kg = &limit_kg};
    rlv_piece_record piece = {.id = (char*)"slab A", .joined = (char*)"s"};
    rlv_specimen specimen = {
        .stage_count = 1, .stage = &record, .piece_count = 1, .piece = &piece, .display = &display, .advice = &advice};
    history_stage stage = {.record = &record, .mm_per_unit = 1.0};
    const rlv_history history = {.specimen = &specimen,
                                 .stage_count = 1,
                                 .stage = &stage,
                                 .standing = {.known = true,
                                              .shown = true,
                                              .turn_deg = (double)NAN,
                                              .box = {.length_mm = 400.5, .width_mm = 300.4, .height_mm = 100.6},
                                              .case_known = true,
                                              .case_mm = {901.0, 700.0, 500.4},
                                              .room_mm = {500.5, 399.6, 399.8}}};
    const rlv_mesh mesh = {.vertex_count = 8, .triangle_count = 12, .position_mm = position, .corner = corner};
    rlv_tree* tree = NULL;
    cr_assert_eq(rlv_tree_build(&tree, &mesh, NULL), RLV_DONE);
    const rlv_standing_outline outline[2] = {
        {.ring_count = 3, .ring_mm = over, .label = "nothing may touch: skull"},
        {.ring_count = 3, .ring_mm = under, .dashed = true, .label = "support may touch: base"}};
    const rlv_standing standing = {.surface = {.mesh = &mesh, .tree = tree},
                                   .box = {.length_mm = 100, .width_mm = 100, .height_mm = 50, .along = {1, 0, 0}},
                                   .up = {0, 0, 1},
                                   .outline_count = 2,
                                   .outline = outline};
    sheet_lines lines = {0};
    sheet_standing_lines(&lines, &history, &standing, false);
    // Sizes and room add up as they are told: 901 is 400 and 501, 500 is 101 and 399.
    cr_expect(says(&lines, "400 × 300 × 101" RLV_THIN "mm"));
    cr_expect(says(&lines, "501" RLV_THIN "mm along its length and 400 along its width, both sides together; 399"));
    cr_expect(says(&lines, "Nothing may touch the outlines ‘skull’, ‘tail’"));
    // Whatever else there is to say, and however long its names are.
    cr_expect(says(&lines, "A qualified person decides how it is lifted and held"));
    cr_expect(says(&lines, "Not to lift, tilt or strap by, since nothing here tells that it holds: ‘slab A’"));
    cr_expect(says(&lines, "Its support may touch the outline ‘base’, on the underside"));
    rlv_tree_free(tree);
}
