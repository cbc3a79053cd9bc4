#include "history_parts.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <string.h>

static char id[4][4] = {"s1", "s2", "s3", "s4"}, P[] = "P", Q[] = "Q";

/// Three stages and the steps between them; two pieces, each with two closed meshes.
typedef struct life
{
    rlv_stage_record record[3];
    rlv_piece_record piece[2];
    rlv_specimen specimen;
    history_stage stage[3];
    history_step step[2];
    history_piece mesh[4];
    rlv_history history;
    rlv_answer answer;
} life;

static rlv_interval around(double value, double half)
{
    return (rlv_interval){value, value - half, value + half};
}

static void see(history_step* step, rlv_change_class kind, double volume_mm3, double half)
{
    step->change.total[kind] = (rlv_change_total){.known = true, .regions = 1, .volume_mm3 = around(volume_mm3, half)};
}

static void fill(life* l)
{
    memset(l, 0, sizeof *l);
    for (size_t k = 0; k < 3; k++)
    {
        l->record[k].id = id[k];
        l->stage[k].record = &l->record[k];
    }
    l->piece[0].id = P;
    l->piece[1].id = Q;
    l->specimen = (rlv_specimen){.stage_count = 3, .stage = l->record, .piece_count = 2, .piece = l->piece};
    for (size_t i = 0; i < 4; i++)
    {
        l->mesh[i].piece = &l->piece[i / 2];
        l->mesh[i].given.health.closed = true;
        l->mesh[i].given.measures.volume_mm3 = 10000.0 * (double)(4 - i);
    }
    for (size_t k = 0; k < 2; k++)
        l->step[k] = (history_step){.before = k, .after = k + 1, .measured = true};
    l->history = (rlv_history){.specimen = &l->specimen,
                               .stage_count = 3,
                               .stage = l->stage,
                               .step_count = 2,
                               .step = l->step,
                               .pieces = {.count = 4, .one = l->mesh}};
    l->answer.warnings = json_array();
}

static void part(life* l)
{
    history_part_joints(&l->history, &l->answer);
    json_decref(l->answer.warnings);
}

Test(history_joints, the_regions_of_a_masked_piece_hold_its_own_volume_too)
{
    life l;
    fill(&l);
    l.piece[0].detached = id[1];
    l.step[0].piece_count = 1;
    see(&l.step[0], RLV_CHANGE_REMOVED, 60000.0, 1000.0);
    see(&l.step[0], RLV_CHANGE_DETACHED, 47000.0, 900.0);
    rlv_change_region region[3] = {
        {.kind = RLV_CHANGE_REMOVED, .volume_mm3 = around(60000.0, 1000.0), .mean_depth_mm = around(6.0, 0.1)},
        {.kind = RLV_CHANGE_DETACHED, .volume_mm3 = around(35250.0, 800.0), .mean_depth_mm = around(4.7, 0.1)},
        {.kind = RLV_CHANGE_DETACHED, .volume_mm3 = around(11750.0, 400.0), .mean_depth_mm = around(2.0, 0.1)}};
    history_region told[3] = {{.piece = SIZE_MAX}, {.piece = 0}, {.piece = 0}};
    l.step[0].change.region_count = 3;
    l.step[0].change.region = region;
    l.step[0].region = told;
    part(&l);
    const rlv_interval whole = l.step[0].change.total[RLV_CHANGE_DETACHED].volume_mm3;
    cr_expect_float_eq(region[1].volume_mm3.value, 30000.0, 1e-9); // three quarters of 40000
    cr_expect_float_eq(region[2].volume_mm3.value, 10000.0, 1e-9);
    cr_expect_float_eq(region[1].volume_mm3.low + region[2].volume_mm3.low, whole.low, 1e-9);
    cr_expect_float_eq(region[1].mean_depth_mm.value, 4.0, 1e-9); // volume over area, as before
    cr_expect_float_eq(region[0].volume_mm3.value, 60000.0, 1e-9);
}

Test(history_joints, a_masked_piece_has_its_own_volume_and_the_rest_of_its_hollow_is_matrix)
{
    life l;
    fill(&l);
    l.piece[0].detached = id[1];
    l.step[0].piece_count = 1;
    see(&l.step[0], RLV_CHANGE_REMOVED, 60000.0, 1000.0);
    see(&l.step[0], RLV_CHANGE_DETACHED, 47000.0, 900.0);
    part(&l);
    const rlv_change_total* total = l.step[0].change.total;
    cr_expect_float_eq(total[RLV_CHANGE_DETACHED].volume_mm3.value, 40000.0, 1e-9);
    cr_expect_float_eq(total[RLV_CHANGE_REMOVED].volume_mm3.value, 67000.0, 1e-9);
    cr_expect_float_eq(l.step[0].crumbled_mm3.value, 7000.0, 1e-9);
    cr_expect(isnan(l.step[0].gap_mm3.value));
    // The seam between matrix and piece counts once, in the matrix; the piece's own volume is sure here.
    cr_expect_float_eq(total[RLV_CHANGE_REMOVED].volume_mm3.high - 67000.0, 1000.0, 1e-9);
    // What crumbled is as unsure as the piece's hollow, its own volume being sure here.
    cr_expect_float_eq(l.step[0].crumbled_mm3.high - 7000.0, 900.0, 1e-9);
    cr_expect_float_eq(l.step[0].seen_mm3[RLV_CHANGE_REMOVED].value, 60000.0, 1e-9, "the tools took no crumbs");
}

Test(history_joints, what_crumbled_is_told_where_no_tool_took_matrix)
{
    life l;
    fill(&l);
    l.piece[0].detached = id[1];
    l.step[0].piece_count = 1;
    see(&l.step[0], RLV_CHANGE_DETACHED, 47000.0, 900.0);
    l.step[0].change.total[RLV_CHANGE_REMOVED] = (rlv_change_total){.known = true};
    part(&l);
    cr_expect_float_eq(l.step[0].change.total[RLV_CHANGE_REMOVED].volume_mm3.value, 7000.0, 1e-9);
    cr_expect_eq(l.step[0].change.total[RLV_CHANGE_REMOVED].regions, 1);
}

Test(history_joints, a_piece_that_no_mask_tells_of_is_taken_out_of_matrix_and_of_what_the_tools_took)
{
    life l;
    fill(&l);
    l.piece[0].detached = id[1];
    see(&l.step[0], RLV_CHANGE_REMOVED, 100000.0, 1000.0);
    part(&l);
    cr_expect_float_eq(l.step[0].change.total[RLV_CHANGE_REMOVED].volume_mm3.value, 60000.0, 1e-9);
    cr_expect_float_eq(l.step[0].change.total[RLV_CHANGE_DETACHED].volume_mm3.value, 40000.0, 1e-9);
    cr_expect_float_eq(l.step[0].seen_mm3[RLV_CHANGE_REMOVED].value, 60000.0, 1e-9);
}

Test(history_joints, a_piece_of_a_piece_that_is_off_is_not_the_block_s)
{
    life l;
    fill(&l);
    l.piece[0].detached = id[1];
    l.piece[1].detached = id[2];
    l.piece[1].parent = P;
    see(&l.step[0], RLV_CHANGE_REMOVED, 100000.0, 1000.0);
    see(&l.step[1], RLV_CHANGE_REMOVED, 50000.0, 1000.0);
    part(&l);
    cr_expect_float_eq(l.step[1].change.total[RLV_CHANGE_REMOVED].volume_mm3.value, 50000.0, 1e-9);
    cr_expect_eq(l.step[1].change.total[RLV_CHANGE_DETACHED].regions, 0);
}

Test(history_joints, a_piece_goes_back_as_its_last_mesh_has_it_with_the_gap_beside)
{
    life l;
    fill(&l);
    l.piece[0].detached = id[1];
    l.piece[0].joined = id[2];
    l.step[1].piece_count = 1;
    see(&l.step[1], RLV_CHANGE_JOINED, 32000.0, 900.0);
    part(&l);
    cr_expect_float_eq(l.step[1].change.total[RLV_CHANGE_JOINED].volume_mm3.value, 30000.0, 1e-9);
    cr_expect_float_eq(l.step[1].gap_mm3.value, 2000.0, 1e-9);
}

Test(history_joints, without_a_closed_mesh_of_its_own_a_piece_stays_as_the_block_s_meshes_have_it)
{
    life l;
    fill(&l);
    l.mesh[0].given.health.closed = l.mesh[1].given.health.closed = false;
    l.piece[0].detached = id[1];
    l.step[0].piece_count = 1;
    see(&l.step[0], RLV_CHANGE_REMOVED, 60000.0, 1000.0);
    see(&l.step[0], RLV_CHANGE_DETACHED, 47000.0, 900.0);
    part(&l);
    cr_expect_float_eq(l.step[0].change.total[RLV_CHANGE_DETACHED].volume_mm3.value, 47000.0, 1e-9);
    cr_expect_float_eq(l.step[0].change.total[RLV_CHANGE_REMOVED].volume_mm3.value, 60000.0, 1e-9);
    cr_expect(isnan(l.step[0].crumbled_mm3.value));
}
