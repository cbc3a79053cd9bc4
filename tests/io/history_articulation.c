/// Tests of where unfilled life positions lie in a block that was cut: of two stages that are known to lie as their
/// files say, since a box cannot be aligned with a box.

#include "history_articulation.h"
#include "support/boxed_fish.h"
#include "support/program.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

TestSuite(history_articulation, .init = program_enter, .fini = program_leave, .timeout = 600);

typedef struct life
{
    rlv_specimen specimen;
    rlv_history history;
    history_elements elements;
    history_articulation articulation;
    rlv_answer answer;
} life;

/// The fish in its box, then cut off `off_mm` from the place that is missing along x; `record` stands in its record.
static void write_cut(double off_mm, const char* record)
{
    boxed_fish f = boxed_fish_make();
    rlv_vec3 high = f.high;
    high.x = boxed_fish_bone(&f, 0, BOXED_WITHOUT)->element.position_mm[0] + off_mm;
    const rlv_vec3 low = f.low;
    boxed_fish_write(&f);
    boxed_fish_rock("fish/meshes/cut.ply", low, high);
    program_change("fish/specimen.yaml", "north:", "  - {id: cut, mesh: meshes/cut.ply, mesh_unit: mm}\nnorth:");
    program_change("fish/specimen.yaml", "spoil:", record);
}

static void life_begin(life* l)
{
    const history_options how = {.poses_only = true};
    rlv_error error = {0};
    *l = (life){.answer = {.inputs = json_array(), .warnings = json_array(), .parameters = json_object()}};
    cr_assert_eq(rlv_specimen_read(&l->specimen, "fish", &error), RLV_DONE, "%s", error.what);
    const rlv_status status = history_measure(&l->history, &l->specimen, &how, &l->answer, &error);
    cr_assert(status == RLV_DONE || status == RLV_IMPOSSIBLE, "%s", error.what);
    rlv_stages_free(&l->history.stages);
    l->history.joined = true;
    l->history.stages = (rlv_stages){.stage_count = 2, .pose = calloc(2, sizeof(rlv_pose))};
    l->history.stages.pose[0] = l->history.stages.pose[1] = rlv_pose_identity();
    cr_assert_eq(history_elements_measure(&l->elements, &l->history, &l->answer, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(history_articulation_measure(&l->articulation, &l->elements, &l->answer, &error), RLV_DONE, "%s",
                 error.what);
    cr_assert_eq(l->articulation.fit.unfilled_count, 1);
}

static void life_end(life* l)
{
    history_articulation_free(&l->articulation);
    history_elements_free(&l->elements);
    history_free(&l->history);
    rlv_specimen_free(&l->specimen);
    json_decref(l->answer.inputs);
    json_decref(l->answer.warnings);
    json_decref(l->answer.parameters);
}

Test(history_articulation, rock_that_was_cut_off_was_taken_at_that_stage)
{
    life l;
    write_cut(-12.0, "spoil:");
    life_begin(&l);
    const history_unfilled* u = l.articulation.unfilled;
    cr_expect_eq(u->where, HISTORY_TAKEN);
    cr_expect_eq(u->stage, 1);
    cr_expect_not(u->taken_with_piece);
    cr_expect(u->depth_mm.low < -12.0 && u->depth_mm.high > -12.0, "%g", u->depth_mm.value);
    // Into the block is against x: the cut face is nearest.
    cr_expect_float_eq(u->way.x, -1.0, 1e-6);
    life_end(&l);
}

Test(history_articulation, what_was_taken_when_a_piece_came_off_may_be_in_it)
{
    life l;
    write_cut(-12.0, "pieces:\n  - {id: slab, detached: cut}\nspoil:");
    life_begin(&l);
    cr_expect_eq(l.articulation.unfilled->where, HISTORY_TAKEN);
    cr_expect(l.articulation.unfilled->taken_with_piece);
    life_end(&l);
}

Test(history_articulation, a_cut_short_of_it_leaves_it_in_the_rock_that_deep)
{
    life l;
    write_cut(12.0, "spoil:");
    life_begin(&l);
    const history_unfilled* u = l.articulation.unfilled;
    cr_expect_eq(u->where, HISTORY_IN_ROCK);
    cr_expect(u->depth_mm.low < 12.0 && u->depth_mm.high > 12.0, "%g", u->depth_mm.value);
    cr_expect_float_eq(u->way.x, -1.0, 1e-6);
    life_end(&l);
}

Test(history_articulation, bone_that_shows_over_it_is_known_by_the_mask_of_the_last_stage)
{
    life l;
    rlv_error error = {0};
    write_cut(12.0, "spoil:");
    life_begin(&l);
    cr_expect_not(l.articulation.unfilled->at_bone);
    memset(l.history.stage[1].parts.is, RLV_IS_BONE, l.history.stage[1].given.mesh.triangle_count);
    history_articulation_free(&l.articulation);
    cr_assert_eq(history_articulation_measure(&l.articulation, &l.elements, &l.answer, &error), RLV_DONE, "%s",
                 error.what);
    cr_expect(l.articulation.unfilled->at_bone);
    life_end(&l);
}

Test(history_articulation, a_cut_through_it_leaves_open_on_which_side_it_lies)
{
    life l;
    write_cut(0.0, "spoil:");
    life_begin(&l);
    // On which of the three its value tells, by the noise of the scans.
    cr_expect_neq(l.articulation.unfilled->where, HISTORY_IN_ROCK);
    cr_expect(history_may_hold_bone(l.articulation.unfilled->where));
    cr_expect(l.articulation.unfilled->depth_mm.low < 0.0 && l.articulation.unfilled->depth_mm.high > 0.0);
    life_end(&l);
}

// The borders of the rule: the interval's end at 0, and the value at half of its half.
Test(history_articulation, where_a_place_lies_follows_the_interval_of_its_depth)
{
    const struct
    {
        rlv_interval depth_mm;
        history_where where;
    } told[] = {{{6, -1, 13}, HISTORY_PROBABLY_IN_ROCK}, {{28, -1.5, 57.5}, HISTORY_PROBABLY_IN_ROCK},
                {{7, 0, 14}, HISTORY_IN_ROCK},           {{7, -0.01, 14.01}, HISTORY_PROBABLY_IN_ROCK},
                {{5, -5, 15}, HISTORY_PROBABLY_IN_ROCK}, {{4.99, -5.01, 14.99}, HISTORY_AT_SURFACE},
                {{0, -10, 10}, HISTORY_AT_SURFACE},      {{-4.99, -14.99, 5.01}, HISTORY_AT_SURFACE},
                {{-5, -15, 5}, HISTORY_AT_OR_ABOVE},     {{-7, -14.01, 0.01}, HISTORY_AT_OR_ABOVE},
                {{-7, -14, 0}, HISTORY_NOT_COLLECTED},   {{NAN, NAN, NAN}, HISTORY_NOT_COLLECTED}};
    for (size_t i = 0; i < sizeof told / sizeof *told; i++)
    {
        const rlv_interval at = told[i].depth_mm;
        cr_expect_eq(history_where_of(at, at.value > 0.0), told[i].where, "%g (%g to %g)", at.value, at.low, at.high);
    }
    cr_expect(history_may_hold_bone(HISTORY_AT_OR_ABOVE));
    cr_expect_not(history_may_hold_bone(HISTORY_TAKEN));
}
