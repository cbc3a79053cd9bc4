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

Test(history_articulation, a_cut_through_it_leaves_open_on_which_side_it_lies)
{
    life l;
    write_cut(0.0, "spoil:");
    life_begin(&l);
    cr_expect_eq(l.articulation.unfilled->where, HISTORY_AT_SURFACE);
    cr_expect(l.articulation.unfilled->depth_mm.low < 0.0 && l.articulation.unfilled->depth_mm.high > 0.0);
    life_end(&l);
}

// --- the skeleton in one word ----------------------------------------------------------------------------------------

enum
{
    COUNTED = 20
};

/// Elements that are told, and a free place that those off their row are nearest to.
typedef struct hand_made
{
    history_elements elements;
    history_articulation articulation;
    rlv_articulated told[COUNTED];
    rlv_articulation_group group;
    size_t given_of[COUNTED];
    history_left_out why[COUNTED];
    history_nearest nearest[COUNTED];
} hand_made;

/// `off` of them lie off their rows, `shifted` are shifted by 5 mm; the rest are in place. The body is 100 mm long.
static void hand_make(hand_made* h, size_t shifted, size_t off)
{
    *h = (hand_made){0};
    h->elements.count = COUNTED;
    h->articulation = (history_articulation){.elements = &h->elements,
                                             .given_of = h->given_of,
                                             .why = h->why,
                                             .nearest = h->nearest,
                                             .fitted = true,
                                             .fit = {.element = h->told, .group = &h->group, .count = COUNTED}};
    h->articulation.fit.axis.count = 101;
    h->articulation.fit.axis.step_mm = 1.0;
    for (size_t i = 0; i < COUNTED; i++)
    {
        h->given_of[i] = i;
        h->told[i].state = i < shifted ? RLV_SHIFTED : i < shifted + off ? RLV_UNASSIGNED : RLV_IN_PLACE;
        h->told[i].motion.shift_mm.value = i < shifted ? 5.0 : 0.1;
        h->why[i] = i >= shifted && i < shifted + off ? HISTORY_OFF_ROW : HISTORY_JUDGED;
        h->nearest[i].distance_mm.value = 30.0; // more than a fifth of the body
    }
}

/// The probability of so many of COUNTED, or more (`up`), or fewer.
static double tail(size_t some, double share, bool up)
{
    double term = pow(1.0 - share, COUNTED), sum = 0.0;
    for (size_t k = 0; k <= COUNTED; k++)
    {
        sum += (up ? k >= some : k <= some) ? term : 0.0;
        term *= share / (1.0 - share) * (double)(COUNTED - k) / (double)(k + 1);
    }
    return sum;
}

Test(history_articulation, the_share_has_its_exact_interval_and_the_word_is_sure_where_it_holds_no_other)
{
    static hand_made h;
    hand_make(&h, 4, 0);
    history_verdict v = history_verdict_of(&h.articulation);
    cr_expect_eq(v.word, RLV_ARTICULATED);
    cr_expect_not(v.sure);
    cr_expect_float_eq(v.share.value, 0.8, 1e-12);
    // C. J. Clopper, E. S. Pearson, Biometrika 26, 1934: each end leaves 2.5 % beyond it.
    cr_expect_float_eq(tail(16, v.share.low, true), 0.025, 1e-9);
    cr_expect_float_eq(tail(16, v.share.high, false), 0.025, 1e-9);
    hand_make(&h, 0, 0);
    v = history_verdict_of(&h.articulation);
    cr_expect(v.sure);
    cr_expect_float_eq(v.share.high, 1.0, 1e-12);
}

Test(history_articulation, what_lies_off_its_row_counts_as_displaced)
{
    static hand_made h;
    hand_make(&h, 2, 4);
    const history_verdict v = history_verdict_of(&h.articulation);
    cr_expect_eq(v.judged, COUNTED - 4);
    cr_expect_eq(v.off_row, 4);
    cr_expect_float_eq(v.share.value, 0.7, 1e-12);
    // 16 of 20 lie within a fifth of the body's length.
    cr_expect_eq(v.word, RLV_ASSOCIATED);
    hand_make(&h, 2, 8);
    cr_expect_eq(history_verdict_of(&h.articulation).word, RLV_ISOLATED);
}

Test(history_articulation, a_stretch_weighs_as_one_event_in_how_sure_the_share_is)
{
    static hand_made h;
    hand_make(&h, 4, 0);
    const rlv_interval alone = history_verdict_of(&h.articulation).share;
    h.articulation.fit.group_count = 1;
    h.group.count = 4;
    const history_verdict v = history_verdict_of(&h.articulation);
    // L. Kish: (16 + 4)^2 / (16 + 4^2)
    cr_expect_float_eq(v.effective, 12.5, 1e-12);
    cr_expect_float_eq(v.share.value, alone.value, 1e-12);
    cr_expect(v.share.low < alone.low && v.share.high > alone.high);
}
