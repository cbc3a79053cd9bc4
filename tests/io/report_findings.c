/// Tests of what a report asks to be looked at: each finding comes of something, and goes with it.

#include "report_findings.h"

#include "support/short_life.h"

#include <criterion/criterion.h>
#include <glib.h>
#include <malloc.h>
#include <math.h>
#include <string.h>

static short_life life;
static report_findings found;
static const report_skeleton skeleton; ///< that the record has; none

static void set_up(void)
{
    short_life_fill(&life);
}

static void tear_down(void)
{
    report_findings_free(&found);
}

TestSuite(report_findings, .init = set_up, .fini = tear_down);

/// What is said of something; empty where nothing is.
static const char* said(report_finding_kind kind, const char* of, const char* words)
{
    report_findings_free(&found);
    report_findings_find(&found, &life.history, &skeleton, NULL);
    for (size_t i = 0; i < found.count; i++)
        if (found.one[i].kind == kind && strcmp(found.one[i].of.text, of) == 0 &&
            strstr(found.one[i].words.text, words) != NULL)
            return found.one[i].words.text;
    return "";
}

#define SAYS(kind, of, words) cr_expect_str_neq(said(kind, of, words), "", "%s: %s", of, words)
#define IS_SILENT(kind, of, words) cr_expect_str_eq(said(kind, of, words), "", "%s: %s", of, words)

Test(report_findings, bone_that_was_lost_is_to_be_looked_at_where_it_was)
{
    SAYS(REPORT_LOOK, "field → skull", "bone was lost: 0.4 mL");
    SAYS(REPORT_LOOK, "field → skull", "at its deepest 6.20 mm (6.04 to 6.36). It is region 3");
    IS_SILENT(REPORT_LOOK, "skull → cleaned", "bone was lost");
}

Test(report_findings, a_region_that_may_be_nothing_is_to_be_looked_at)
{
    IS_SILENT(REPORT_LOOK, "skull → cleaned", "slight");
    life.region[1][2].volume_mm3 = (rlv_interval){100.0, -20.0, 220.0};
    SAYS(REPORT_LOOK, "skull → cleaned", "region 3 is so slight");
}

Test(report_findings, what_the_record_notes_of_a_step_or_an_element_is_quoted)
{
    rlv_element_record element[] = {{.id = (char*)"D05", .note = (char*)"a corner chipped"},
                                    {.id = (char*)"D08", .note = (char*)"on edge"},
                                    {.id = (char*)"LL29", .note = (char*)"on edge"},
                                    {.id = (char*)"LR20", .bag = (char*)"S1", .note = (char*)"found in the spoil"}};
    IS_SILENT(REPORT_LOOK, "skull → cleaned", "notes");
    IS_SILENT(REPORT_LOOK, "field → skull", "spoil");
    life.stage[2].note = (char*)"D05 lost a corner";
    life.specimen.element = element;
    life.specimen.element_count = 4;
    SAYS(REPORT_LOOK, "skull → cleaned", "the record of ‘cleaned’ notes “D05 lost a corner”");
    SAYS(REPORT_LOOK, "D05", "“a corner chipped”");
    SAYS(REPORT_LOOK, "D08, LL29", "“on edge”");
    IS_SILENT(REPORT_LOOK, "LL29", "");
    IS_SILENT(REPORT_LOOK, "LR20", "");
    SAYS(REPORT_LOOK, "field → skull", "LR20 (bag S1): what of it had not shown counts as matrix, and is in no figure");
}

Test(report_findings, material_that_came_is_held_against_the_treatments_recorded)
{
    rlv_change_total* added = &life.step[1].change.total[RLV_CHANGE_ADDED];
    double dry_g = 2.32;
    rlv_treatment_record fill = {.what = (char*)"gap fill", .material = (char*)"matrix", .dry_g = &dry_g};
    life.density[0].sd_g_cm3 = 0.0; // so that 2.32 g are 1 mL
    *added = (rlv_change_total){.known = true, .regions = 1, .volume_mm3 = {5000.0, 4000.0, 6000.0}};
    SAYS(REPORT_LOOK, "skull → cleaned", "the record names none that was added");
    life.stage[2].treatment = &fill;
    life.stage[2].treatment_count = 1;
    SAYS(REPORT_LOOK, "skull → cleaned", "left 1.0 mL at most");
    dry_g = 2.32 * 4.5;
    IS_SILENT(REPORT_LOOK, "skull → cleaned", "material came");
}

Test(report_findings, what_no_region_holds_is_told_where_it_is_not_nothing)
{
    IS_SILENT(REPORT_LOOK, "field → skull", "all regions hold");
    life.step[0].change.untold_mm3 = (rlv_interval){12500.0, 3500.0, 21500.0};
    SAYS(REPORT_LOOK, "field → skull", "more went than all regions hold");
}

Test(report_findings, a_balance_that_does_not_close_is_told_at_its_step)
{
    IS_SILENT(REPORT_LOOK, "field → skull", "do not agree");
    life.row[0].spoil.within = false;
    SAYS(REPORT_LOOK, "field → skull", "meshes and scales do not agree");
}

Test(report_findings, what_thins_out_is_to_be_looked_at)
{
    IS_SILENT(REPORT_LOOK, "field → skull", "may go on, thinner");
    life.step[0].change.total[RLV_CHANGE_REMOVED].faint = true;
    SAYS(REPORT_LOOK, "field → skull", "matrix removed may go on, thinner than the scans can tell from noise");
}

Test(report_findings, matrix_that_went_in_no_area_of_work_is_to_be_looked_at)
{
    IS_SILENT(REPORT_LOOK, "field → skull", "no area of work");
    life.beside[0][1].area = NULL;
    SAYS(REPORT_LOOK, "field → skull", "matrix went where no area of work is recorded: region 2, 60 mL");
    life.step[0].areas_mixed = true;
    IS_SILENT(REPORT_LOOK, "field → skull", "no area of work");
    IS_SILENT(REPORT_LOOK, "skull → cleaned", "no area of work"); // hours there are of the step as a whole
}

Test(report_findings, tie_points_alignments_and_bars_that_contradict_are_to_be_looked_at)
{
    IS_SILENT(REPORT_LOOK, "tie points", "");
    IS_SILENT(REPORT_LOOK, "an alignment", "");
    IS_SILENT(REPORT_LOOK, "field", "does not fit");
    life.edge[0].ties = (history_ties){.count = 4, .rms_mm = 0.97, .most_mm = 1.2, .p = 1e-5};
    SAYS(REPORT_LOOK, "tie points", "the tie points of field and skull do not meet");
    SAYS(REPORT_LOOK, "tie points", "the 4 points lie 0.97 mm apart on the whole, at most 1.2 mm");
    life.edge[0].ties.p = 0.01;
    IS_SILENT(REPORT_LOOK, "tie points", "");
    life.closure[1].suspect = true;
    life.closure[1].closure.shift_mm = 2.5;
    SAYS(REPORT_LOOK, "an alignment", "that of cleaned to skull may be wrong, or one of its loop: the others disagree");
    life.residual[1].alarm = true;
    SAYS(REPORT_LOOK, "field", "scale bar ‘rod 2’ does not fit the others: it is off by −0.090 mm");
}

Test(report_findings, a_wide_interval_is_told_with_its_step_and_why)
{
    life.cumulative[1].ml[RLV_CHANGE_BONE] = (rlv_interval){0.42, 0.22, 0.62};
    life.step[0].change.total[RLV_CHANGE_BONE].volume_mm3 = (rlv_interval){420.0, 100.0, 740.0};
    SAYS(REPORT_WIDE, "bone lost", "most of the doubt from field → skull: its two scans have a noise of 0.080 mm (sd)");
    life.step[0].change.warp_sd_mm = 0.2;
    SAYS(REPORT_WIDE, "bone lost", "bent against each other by 0.20 mm");
    life.step[0].change.total[RLV_CHANGE_BONE].faint = true;
    SAYS(REPORT_WIDE, "bone lost", "thinner than the scans can tell from noise (0.40 mm over 1.0 cm²)");
    life.cumulative[1].ml[RLV_CHANGE_BONE] = (rlv_interval){0.42, 0.40, 0.44};
    IS_SILENT(REPORT_WIDE, "bone lost", "");
}

Test(report_findings, bone_that_was_not_found_has_a_step_that_leaves_most_room_for_it)
{
    life.step[0].change.total[RLV_CHANGE_BONE] = life.step[1].change.total[RLV_CHANGE_BONE] =
        (rlv_change_total){.known = true, .volume_mm3 = {0.0, 0.0, 340.0}};
    life.step[1].change.total[RLV_CHANGE_BONE].volume_mm3.high = 910.0;
    life.row[1].ml[RLV_CHANGE_BONE] = (rlv_interval){0.0, 0.0, 0.91};
    SAYS(REPORT_WIDE, "bone lost", "skull → cleaned leaves most room for some: at most 0.91 mL");
}

Test(report_findings, the_doubt_of_what_is_left_is_told_with_its_cause)
{
    IS_SILENT(REPORT_WIDE, "left in the block", "");
    life.read[2].scale_sd = 5e-3; // 1.5 % of a volume, 2.9 % either way
    SAYS(REPORT_WIDE, "left in the block", "the scale of ‘cleaned’, known to 5.0 mm in a metre");
}

Test(report_findings, what_is_not_recorded_is_told_with_what_it_would_tell)
{
    IS_SILENT(REPORT_MISSING, "mass of the block", "");
    life.stage[1].mass = NULL;
    SAYS(REPORT_MISSING, "mass of the block", "at skull: weighed");
    IS_SILENT(REPORT_MISSING, "mass of the spoil", "");
    life.bag[1].mass = NULL;
    SAYS(REPORT_MISSING, "mass of the spoil", "at cleaned: ");
    IS_SILENT(REPORT_MISSING, "how sure the scale is", "");
    life.read[0].scale_sd = life.read[2].scale_sd = 0.0;
    SAYS(REPORT_MISSING, "how sure the scale is", "at field, cleaned: it is taken as exact");
    IS_SILENT(REPORT_MISSING, "bone on the mesh", "");
    life.step[1].change.total[RLV_CHANGE_BONE].known = false;
    SAYS(REPORT_MISSING, "bone on the mesh", "at skull: nobody marked it");
    IS_SILENT(REPORT_MISSING, "dry mass of damp spoil", "");
    life.bag[0].state = (char*)"damp";
    SAYS(REPORT_MISSING, "dry mass of damp spoil", "of S1: ");
    SAYS(REPORT_MISSING, "hours by area", "for ‘needle’");
    IS_SILENT(REPORT_MISSING, "hours by area", "for ‘scribe’");
    SAYS(REPORT_MISSING, "a closed mesh", "at skull: ");
    SAYS(REPORT_MISSING, "a closed mesh of a piece", "of slab A: ");
    IS_SILENT(REPORT_MISSING, "density of the matrix", "");
    life.specimen.density_count = 0;
    SAYS(REPORT_MISSING, "density of the matrix", "grams");
}

Test(report_findings, none_recommends_how_to_work)
{
    static const char* const words[] = {"should", "recommend", "apply ", "use a ", "consolidat", "solvent", "resin is"};
    report_findings_find(&found, &life.history, &skeleton, NULL);
    cr_assert_gt(found.count, 3);
    for (size_t i = 0; i < found.count; i++)
        for (size_t k = 0; k < sizeof words / sizeof *words; k++)
            cr_expect_null(strstr(found.one[i].words.text, words[k]), "%s", found.one[i].words.text);
}

Test(report_findings, they_come_by_kind)
{
    report_findings_find(&found, &life.history, &skeleton, NULL);
    cr_expect_not(found.out_of_memory);
    for (size_t i = 1; i < found.count; i++)
        cr_expect_leq(found.one[i - 1].kind, found.one[i].kind);
}

Test(report_findings, bone_that_was_lost_comes_before_all_that_somebody_noted)
{
    life.stage[1].note = (char*)"keep off the edges";
    report_findings_find(&found, &life.history, &skeleton, NULL);
    cr_assert_gt(found.count, 1);
    cr_expect_not_null(strstr(found.one[0].words.text, "bone was lost"), "%s", found.one[0].words.text);
    SAYS(REPORT_LOOK, "field → skull", "notes “keep off the edges”");
}

Test(report_findings, bone_that_was_lost_is_told_with_the_element_that_it_is_of)
{
    rlv_element_record record[] = {{.id = (char*)"D05", .stage = (char*)"field"},
                                   {.id = (char*)"D06", .stage = (char*)"field"},
                                   {.id = (char*)"D07", .stage = (char*)"skull"}}; // had not shown
    history_element element[3];
    for (size_t i = 0; i < 3; i++)
        element[i] = (history_element){
            .record = &record[i],
            .placed = true,
            .told = {.position_mm = {10.0 - 4.0 * (double)i, 0.0, 0.0}, .length_mm = {9.0, 8.0, 10.0}}};
    const report_skeleton bones = {.measured = true,
                                   .elements = {.history = &life.history, .count = 3, .one = element}};
    life.beside[0][2].place_mm = rlv_vec3_of(2.0, 0.0, 0.0); // 4 mm from D06
    report_findings_find(&found, &life.history, &bones, NULL);
    cr_expect_not_null(strstr(found.one[0].words.text, "It is region 3 of the step’s table and map, on D06"), "%s",
                       found.one[0].words.text);
    report_findings_free(&found);
    const double radius_mm = sqrt(life.region[0][2].area_mm2.value / acos(-1.0));
    life.beside[0][2].place_mm = rlv_vec3_of(6.0 - 4.5 - radius_mm - 0.1, 0.0, 0.0); // just beyond D06
    report_findings_find(&found, &life.history, &bones, NULL);
    cr_expect_null(strstr(found.one[0].words.text, " on D0"), "%s", found.one[0].words.text);
    life.region[0][1].kind = RLV_CHANGE_BONE;
    life.beside[0][2].place_mm = life.beside[0][1].place_mm = rlv_vec3_of(10.0, 0.0, 0.0);
    report_findings_free(&found);
    report_findings_find(&found, &life.history, &bones, NULL);
    cr_expect_not_null(strstr(found.one[0].words.text, "; region 2 on D05, 60"), "%s", found.one[0].words.text);
    cr_expect_not_null(strstr(found.one[0].words.text, "; region 3 on D05, 0.4"), "%s", found.one[0].words.text);
}

Test(report_findings, an_element_that_had_shown_and_that_a_note_names_comes_right_after_bone_lost)
{
    rlv_element_record element[] = {{.id = (char*)"D05", .stage = (char*)"skull", .note = (char*)"chipped"}};
    life.specimen.element = element;
    life.specimen.element_count = 1;
    life.stage[1].note = (char*)"keep off the edges";
    life.stage[2].note = (char*)"D05 lost a corner";
    report_findings_find(&found, &life.history, &skeleton, NULL);
    cr_assert_gt(found.count, 1);
    cr_expect_str_eq(found.one[1].of.text, "D05");
    SAYS(REPORT_LOOK, "D05", "it showed before skull → cleaned, and the record of ‘cleaned’ notes “D05 lost a corner”");
    SAYS(REPORT_LOOK, "D05", "“chipped”. No bone lost was told from noise in that step, on any element");
    IS_SILENT(REPORT_LOOK, "skull → cleaned", "D05 lost a corner"); // is quoted once
    IS_SILENT(REPORT_LOOK, "D05", "the record of elements notes");
    life.step[1].change.total[RLV_CHANGE_BONE].regions = 1;
    IS_SILENT(REPORT_LOOK, "D05", "No bone lost");
}

Test(report_findings, a_piece_that_is_back_is_not_to_be_lifted_by)
{
    history_rejoin one = {.told = {.measured = true, .record = &life.piece, .piece = {.name = "slab A"}}};
    const report_rejoin rejoin = {.count = 1, .one = &one};
    one.told.of = (rlv_rejoin){
        .contact_count = 2,
        .step_count = 5,
        .step_max_mm = 1.87,
        .gap_after = {.median_mm = {1.95, 1.90, 2.01}, .p95_mm = {2.90, 2.79, 3.01}},
        .back_known = true,
        .gap_back = {.median_mm = {2.04, 1.99, 2.10}, .p95_mm = {3.03, 2.94, 3.13}},
    };
    life.piece.joined = NULL;
    report_findings_find(&found, &life.history, &skeleton, &rejoin);
    for (size_t i = 0; i < found.count; i++)
        cr_expect_null(strstr(found.one[i].words.text, "lift"), "%s", found.one[i].words.text);
    report_findings_free(&found);
    life.piece.joined = life.stage[2].id;
    life.stage[1].note = (char*)"keep off the edges";
    report_findings_find(&found, &life.history, &skeleton, &rejoin);
    cr_assert_gt(found.count, 2);
    cr_expect_not_null(strstr(found.one[0].words.text, "bone was lost"), "%s", found.one[0].words.text);
    cr_expect_str_eq(found.one[1].of.text, "slab A");
    cr_expect_str_eq(found.one[1].words.text,
                     "back since ‘cleaned’: closed, it touches at 2 places only, and the outer surface steps by up to "
                     "1.9 mm; as it went back, its gap is 2.04 mm (1.99 to 2.10 mm) wide in the median, and 95 % of it "
                     "no wider than 3.03 mm (2.94 to 3.13 mm). Nothing here tells that it holds: not to lift, tilt or "
                     "strap by it");
    report_findings_free(&found);
    one.told.of.contact_count = 0;
    report_findings_find(&found, &life.history, &skeleton, &rejoin);
    cr_expect_not_null(strstr(found.one[1].words.text, "it touches nowhere"), "%s", found.one[1].words.text);
    report_findings_free(&found);
    one.told.measured = false;
    report_findings_find(&found, &life.history, &skeleton, &rejoin);
    cr_expect_str_neq(found.one[1].of.text, "slab A");
}

Test(report_findings, elements_are_told_with_their_squares_of_the_map)
{
    rlv_element_record record[] = {{.id = (char*)"D05", .stage = (char*)"skull", .note = (char*)"chipped"},
                                   {.id = (char*)"D08", .note = (char*)"on edge"},
                                   {.id = (char*)"LL29", .note = (char*)"on edge"}};
    history_element element[3];
    for (size_t i = 0; i < 3; i++)
        element[i] = (history_element){.record = &record[i],
                                       .placed = i < 2,
                                       .bedding_deg = {(double)NAN, (double)NAN, (double)NAN},
                                       .told = {.position_mm = {20.0 + 60.0 * (double)i, 70.0, 0.0}}};
    const report_skeleton bones = {.measured = true,
                                   .elements = {.history = &life.history, .count = 3, .one = element}};
    size_t squares = 0;
    life.specimen.element = record;
    life.specimen.element_count = 3;
    life.stage[2].note = (char*)"D05 lost a corner";
    life.history.grid = (history_grid){.known = true,
                                       .axes = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
                                       .corner_mm = {0, 100, 0},
                                       .side_mm = 50.0,
                                       .columns = 4,
                                       .rows = 2};
    report_findings_find(&found, &life.history, &bones, NULL);
    for (size_t i = 0; i < found.count; i++)
    {
        const report_finding* one = &found.one[i];
        squares += one->at.text[0] != '\0';
        if (strcmp(one->of.text, "D05") == 0)
            cr_expect_str_eq(one->at.text, "D05 (square A1)");
        if (strcmp(one->of.text, "D08, LL29") == 0)
            cr_expect_str_eq(one->at.text, "D08 (square B1), LL29");
    }
    cr_expect_eq(squares, 2);
}

Test(report_findings, what_lies_on_no_square_has_none_whatever_its_memory_held)
{
    mallopt(M_PERTURB, 0x5a); // what is not written reads as this, or its complement
    report_findings_find(&found, &life.history, &skeleton, NULL);
    cr_assert_gt(found.count, 1);
    for (size_t i = 0; i < found.count; i++)
        cr_expect_str_empty(found.one[i].at.text, "%s", found.one[i].of.text);
}

// Ids may have a hundred bytes: a sentence has them whole.
Test(report_findings, long_ids_in_a_script_of_three_bytes_a_letter_stay_whole)
{
    char id[3][101] = {"a", "ab", "abc"};
    rlv_element_record element[3];
    for (int i = 0; i < 3; i++)
    {
        while (strlen(id[i]) + 3 < sizeof id[i])
            strcat(id[i], "ल");
        element[i] = (rlv_element_record){.id = id[i], .bag = (char*)"S1"};
        life.stage[i].id = id[i];
    }
    life.bag[0].stage = id[1];
    life.specimen.element = element;
    life.specimen.element_count = 3;
    life.stage[1].note = id[0];
    report_findings_find(&found, &life.history, &skeleton, NULL);
    for (size_t i = 0; i < found.count; i++)
    {
        cr_expect(g_utf8_validate(found.one[i].of.text, -1, NULL), "%s", found.one[i].of.text);
        cr_expect(g_utf8_validate(found.one[i].words.text, -1, NULL), "%s", found.one[i].words.text);
    }
    const report_text in_spoil = report_in_spoil(&life.history, 0);
    char whole[400];
    snprintf(whole, sizeof whole, "spoil, %s (bag S1), %s (bag S1), %s (bag S1)", id[0], id[1], id[2]);
    cr_expect_not_null(strstr(in_spoil.text, whole), "%s", in_spoil.text);
    cr_expect(g_utf8_validate(in_spoil.text, -1, NULL), "%s", in_spoil.text);
}
