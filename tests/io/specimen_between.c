/// Tests of a record between two stages, made of a record of five that is read from a folder.

#include "specimen_between.h"
#include "support/program.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const char record[] =
    "specimen: LQ-0417\n"
    "frame_stage: tail\n"
    "north: {stage: field, vector: [0, 1, 0]}\n"
    "up: {stage: skull, vector: [0, 0, 1]}\n"
    "stages:\n"
    "  - {id: field, mesh: meshes/a.ply, mesh_unit: mm, mass: {grams: 9000, sd_g: 2}}\n"
    "  - id: overburden\n"
    "    mesh: meshes/b.ply\n"
    "    mesh_unit: mm\n"
    "    work: [{tool: chisel, hours: 4, area: top}, {tool: scribe, hours: 1}]\n"
    "    decisions: [{what: keep the rim, why: it holds}]\n"
    "    treatments: [{what: consolidant, material: resin, dry_g: 0.5}]\n"
    "    drying: {grams: 30, sd_g: 3}\n"
    "  - id: skull\n"
    "    mesh: meshes/c.ply\n"
    "    mesh_unit: mm\n"
    "    work: [{tool: brush, hours: 0.5, area: rim}]\n"
    "    decisions: [{what: stop there, why: it is thin}]\n"
    "    note: of skull\n"
    "  - id: tail\n"
    "    title: the tail\n"
    "    date: \"2031-07-02\"\n"
    "    mesh: meshes/d.ply\n"
    "    mesh_unit: mm\n"
    "    work: [{tool: scribe, hours: 2}]\n"
    "    treatments: [{what: adhesive, material: resin, dry_g: 0.25}, {what: coating, material: wax}]\n"
    "    drying: {grams: 40, sd_g: 4}\n"
    "    mass: {grams: 7000, sd_g: 2}\n"
    "  - {id: last, mesh: meshes/e.ply, mesh_unit: mm}\n"
    "masks:\n"
    "  - {stage: field, is: bone, object: bone}\n"
    "  - {stage: field, is: piece, piece: both, object: both}\n"
    "  - {stage: overburden, is: piece, piece: off, object: off}\n"
    "  - {stage: tail, is: piece, piece: both, object: both}\n"
    "pieces:\n"
    "  - {id: both, detached: overburden, joined: tail, meshes: [{stage: skull, mesh: meshes/f.ply, mesh_unit: mm}]}\n"
    "  - {id: off, detached: skull, meshes: [{stage: skull, mesh: meshes/f.ply, mesh_unit: mm}]}\n"
    "  - {id: late, detached: last}\n"
    "  - {id: found, joined: skull, counterpart: true}\n"
    "spoil:\n"
    "  - {bag: S1, stage: overburden, area: top, mass: {grams: 800, sd_g: 1}, state: dry}\n"
    "  - {bag: S2, stage: skull, area: rim, mass: {grams: 200, sd_g: 1}, state: damp}\n"
    "  - {bag: S3, stage: last, mass: {grams: 100, sd_g: 1}, state: dry}\n";

static const char points[] =
    "stage,mesh,object,point,x,y,z\n"
    "field,block,top,1,0,0,9\nfield,block,top,2,5,0,9\nfield,block,top,3,5,5,9\n"
    "overburden,block,rim,1,0,0,8\noverburden,block,rim,2,5,0,8\noverburden,block,rim,3,5,5,8\n";

enum
{
    FIELD,
    OVERBURDEN,
    SKULL,
    TAIL,
    LAST
};

enum
{
    BOTH,
    OFF,
    LATE,
    FOUND
};

static rlv_specimen whole;
static specimen_between between;

static void enter(void)
{
    rlv_error error = {0};
    program_enter();
    mkdir("meshes", 0777);
    for (char name[] = "meshes/a.ply"; name[7] <= 'f'; name[7]++)
        program_write(name, "p");
    program_write("specimen.yaml", record);
    program_write("points.csv", points);
    cr_assert_eq(rlv_specimen_read(&whole, ".", &error), RLV_DONE, "%s: %s; %s", error.where, error.what, error.mend);
}

static void leave(void)
{
    specimen_between_free(&between);
    rlv_specimen_free(&whole);
    program_leave();
}

TestSuite(specimen_between, .init = enter, .fini = leave, .timeout = 60);

/// What lies between two stages; what was made before is freed.
static const rlv_specimen* take(size_t before, size_t after)
{
    specimen_between_free(&between);
    cr_assert_eq(specimen_between_make(&between, &whole, before, after, NULL), RLV_DONE);
    cr_assert_eq(between.specimen.stage_count, 2);
    cr_assert_str_eq(between.specimen.stage[0].id, whole.stage[before].id);
    cr_assert_str_eq(between.specimen.stage[1].id, whole.stage[after].id);
    return &between.specimen;
}

static bool is(const char* a, const char* b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

Test(specimen_between, work_decisions_and_treatments_of_stages_in_between_are_the_second_ones_in_their_order)
{
    const rlv_stage_record* after = &take(FIELD, TAIL)->stage[1];
    cr_assert_eq(after->work_count, 4);
    cr_assert(is(after->work[0].tool, "chisel") && is(after->work[1].tool, "scribe"));
    cr_assert(is(after->work[2].tool, "brush") && is(after->work[3].tool, "scribe") && after->work[3].hours == 2.0);
    cr_assert_eq(after->decision_count, 2);
    cr_assert(is(after->decision[0].what, "keep the rim") && is(after->decision[1].what, "stop there"));
    cr_assert_eq(after->treatment_count, 3);
    cr_assert(is(after->treatment[0].what, "consolidant") && is(after->treatment[2].what, "coating"));
    cr_assert(is(after->title, "the tail") && after->note == NULL && after->mass->grams == 7000.0);
    cr_assert_eq(take(FIELD, TAIL)->stage[0].mass->grams, 9000.0);
}

Test(specimen_between, what_was_done_up_to_the_first_and_after_the_second_is_left_out)
{
    const rlv_specimen* s = take(OVERBURDEN, TAIL);
    cr_assert_eq(s->stage[1].work_count, 2);
    cr_assert(is(s->stage[1].work[0].tool, "brush") && s->stage[1].work[1].hours == 2.0);
    cr_assert_eq(s->stage[1].treatment_count, 2);
    cr_assert_eq(s->spoil_count, 1);
    s = take(TAIL, LAST);
    cr_assert(s->stage[1].work_count == 0 && s->stage[1].treatment_count == 0 && s->stage[1].decision_count == 0);
    cr_assert_null(s->stage[1].drying);
}

Test(specimen_between, drying_is_added_up_and_its_sds_in_quadrature)
{
    const rlv_specimen* s = take(FIELD, TAIL);
    cr_assert_eq(s->stage[1].drying->grams, 70.0);
    cr_assert_float_eq(s->stage[1].drying->sd_g, 5.0, 1e-12, "3 and 4 in quadrature, but for rounding");
    cr_assert_eq(take(FIELD, SKULL)->stage[1].drying->grams, 30.0, "recorded in between alone");
    cr_assert_null(take(OVERBURDEN, SKULL)->stage[1].drying);
    cr_assert_eq(whole.stage[TAIL].drying->grams, 40.0, "the record is as it was");
}

Test(specimen_between, bags_of_stages_in_between_are_the_second_ones)
{
    const rlv_specimen* s = take(FIELD, TAIL);
    cr_assert_eq(s->spoil_count, 2);
    for (size_t i = 0; i < 2; i++)
        cr_assert_str_eq(s->spoil[i].stage, "tail");
    cr_assert(is(s->spoil[0].bag, "S1") && s->spoil[0].mass->grams == 800.0);
    cr_assert(is(s->spoil[1].bag, "S2") && is(s->spoil[1].state, "damp"));
    cr_assert(whole.spoil_count == 3 && is(whole.spoil[0].stage, "overburden"));
}

Test(specimen_between, a_piece_off_in_between_counts_as_detached_at_the_second)
{
    const rlv_specimen* s = take(OVERBURDEN, TAIL);
    cr_assert_str_eq(s->piece[OFF].detached, "tail");
    cr_assert_null(s->piece[OFF].joined);
    cr_assert_str_eq(s->piece[FOUND].joined, "tail", "and one that was found and joined as joined");
    cr_assert_str_eq(take(FIELD, SKULL)->piece[BOTH].detached, "skull");
    cr_assert_null(between.specimen.piece[BOTH].joined, "it comes back later");
    cr_assert_str_eq(whole.piece[BOTH].detached, "overburden");
}

Test(specimen_between, a_piece_that_went_and_came_back_in_between_did_neither)
{
    const rlv_specimen* s = take(FIELD, TAIL);
    cr_assert(s->piece[BOTH].detached == NULL && s->piece[BOTH].joined == NULL);
    s = take(SKULL, TAIL);
    cr_assert_null(s->piece[BOTH].detached, "it went before the first");
    cr_assert_str_eq(s->piece[BOTH].joined, "tail");
}

Test(specimen_between, a_piece_that_comes_off_outside_is_as_if_it_never_did)
{
    const rlv_specimen* s = take(OVERBURDEN, TAIL);
    cr_assert(s->piece[LATE].detached == NULL && s->piece[LATE].joined == NULL);
    s = take(TAIL, LAST);
    cr_assert(s->piece[OFF].detached == NULL && s->piece[BOTH].joined == NULL);
    cr_assert_str_eq(s->piece[LATE].detached, "last");
}

/// The masks that are on one of the two stages, as letters in their order: one a number.
static const char* masks_in_use(const rlv_specimen* s)
{
    static char found[8];
    cr_assert_eq(s->mask_count, 4, "they keep their numbers");
    for (size_t i = 0; i < s->mask_count; i++)
        found[i] = rlv_specimen_stage(s, s->mask[i].stage) != NULL ? (char)('0' + i) : '-';
    found[s->mask_count] = '\0';
    return found;
}

Test(specimen_between, meshes_of_pieces_that_neither_went_nor_came_between_the_two_are_left_out)
{
    const rlv_specimen* s = take(OVERBURDEN, SKULL);
    cr_assert_eq(s->piece[OFF].mesh_count, 1);
    cr_assert_eq(s->piece[BOTH].mesh_count, 0, "it is off at both");
    s = take(SKULL, TAIL);
    cr_assert_eq(s->piece[OFF].mesh_count, 0, "it went before the first");
    cr_assert_eq(s->piece[BOTH].mesh_count, 1);
    cr_assert_eq(take(FIELD, TAIL)->piece[BOTH].mesh_count, 0, "it went and came back");
    cr_assert_eq(whole.piece[BOTH].mesh_count, 1);
}

Test(specimen_between, a_mask_of_a_piece_is_in_use_where_the_piece_goes_or_comes_between_the_two)
{
    cr_assert_str_eq(masks_in_use(take(FIELD, OVERBURDEN)), "01--", "'off' is not off yet at overburden");
    cr_assert_str_eq(masks_in_use(take(OVERBURDEN, SKULL)), "--2-");
    cr_assert_str_eq(masks_in_use(take(SKULL, TAIL)), "---3");
    cr_assert_str_eq(masks_in_use(take(FIELD, TAIL)), "0---", "'both' did neither");
    cr_assert_str_eq(masks_in_use(take(TAIL, LAST)), "----", "'both' was back at tail");
    cr_assert_str_eq(whole.mask[3].stage, "tail");
}

static void rename_text(char** text, const char* to)
{
    free(*text);
    *text = strdup(to);
}

static void expect_fault(size_t before, size_t after, const char* where, const char* what, const char* mend)
{
    rlv_error error = {0};
    specimen_between_free(&between);
    cr_assert_eq(specimen_between_make(&between, &whole, before, after, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, where);
    cr_assert_str_eq(error.what, what);
    cr_assert_str_eq(error.mend, mend);
}

Test(specimen_between, a_mask_at_fault_is_told_by_its_number_and_stages_in_the_whole_record)
{
    // Piece 'off' comes off at skull. Between field and tail it is as if it came off at tail, the stage after field;
    // but whoever follows the error must be right about the record.
    rename_text(&whole.mask[2].stage, "tail");
    expect_fault(FIELD, TAIL, "specimen.yaml: masks[2].stage",
                 "the piece 'off' is masked at 'tail', where the mask means nothing",
                 "mask it at 'overburden', the last stage before it comes off");
    cr_assert_str_eq(masks_in_use(take(FIELD, OVERBURDEN)), "01--", "it is on another stage");
    rename_text(&whole.mask[1].piece, "late");
    expect_fault(FIELD, OVERBURDEN, "specimen.yaml: masks[1].stage",
                 "the piece 'late' is masked at 'field', where the mask means nothing",
                 "mask it at 'tail', the last stage before it comes off");
    rename_text(&whole.mask[1].piece, "");
    expect_fault(FIELD, OVERBURDEN, "specimen.yaml: masks[1].piece", "there is no piece ''",
                 "name one of the pieces by its id");
}

Test(specimen_between, areas_are_kept_for_neighbours_and_dropped_where_their_stage_is_not_there)
{
    const rlv_specimen* s = take(FIELD, OVERBURDEN);
    cr_assert_str_eq(s->stage[1].work[0].area, "top");
    cr_assert_str_eq(s->spoil[0].area, "top");
    s = take(FIELD, SKULL);
    for (size_t i = 0; i < s->stage[1].work_count; i++)
        cr_assert_null(s->stage[1].work[i].area);
    for (size_t i = 0; i < s->spoil_count; i++)
        cr_assert_null(s->spoil[i].area);
    cr_assert_str_eq(whole.stage[SKULL].work[0].area, "rim");
}

Test(specimen_between, the_frame_is_as_it_was_where_it_is_one_of_the_two_and_else_the_first_of_them)
{
    cr_assert_str_eq(rlv_specimen_frame(take(FIELD, TAIL))->id, "tail");
    cr_assert_str_eq(rlv_specimen_frame(take(TAIL, LAST))->id, "tail");
    cr_assert_str_eq(rlv_specimen_frame(take(OVERBURDEN, SKULL))->id, "overburden");
    free(whole.frame_stage);
    whole.frame_stage = NULL;
    cr_assert_str_eq(rlv_specimen_frame(take(FIELD, TAIL))->id, "field");
    cr_assert_str_eq(rlv_specimen_frame(take(SKULL, TAIL))->id, "skull");
}

Test(specimen_between, north_and_up_are_kept_where_they_are_recorded_on_one_of_the_two)
{
    const rlv_specimen* s = take(FIELD, SKULL);
    cr_assert(s->north != NULL && s->up != NULL);
    s = take(FIELD, TAIL);
    cr_assert(s->north != NULL && s->up == NULL);
    s = take(OVERBURDEN, SKULL);
    cr_assert(s->north == NULL && s->up != NULL);
    s = take(TAIL, LAST);
    cr_assert(s->north == NULL && s->up == NULL);
}

Test(specimen_between, points_are_found_by_stage_as_before)
{
    size_t count = 0;
    cr_assert_not_null(rlv_specimen_points(take(FIELD, OVERBURDEN), "field", "block", "top", &count));
    cr_assert_eq(count, 3);
}

Test(specimen_between, a_zeroed_one_is_freed)
{
    specimen_between empty = {0};
    specimen_between_free(&empty);
    specimen_between_free(&empty);
    cr_assert_null(empty.specimen.stage);
}
