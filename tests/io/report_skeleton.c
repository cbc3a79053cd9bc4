/// Tests of the skeleton in a report: its section, its tables and its findings, of a specimen of one stage.

#include "report_articulation_parts.h"
#include "report_findings.h"
#include "report_record.h"
#include "report_skeleton_methods.h"
#include "support/boxed_fish.h"
#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <glib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

TestSuite(report_skeleton, .init = program_enter, .fini = program_leave, .timeout = 600);

/// The specimen as it was measured.
typedef struct life
{
    rlv_specimen specimen;
    rlv_history history;
    report_skeleton skeleton;
    rlv_answer answer;
} life;

/// Read and measure the folder `fish`. One stage cannot change: nothing but its skeleton is measured.
static void life_begin(life* l)
{
    const history_options how = {.poses_only = true};
    rlv_error error = {0};
    *l = (life){.answer = {.inputs = json_array(), .warnings = json_array(), .parameters = json_object()}};
    l->answer.record = json_object();
    cr_assert_eq(rlv_specimen_read(&l->specimen, "fish", &error), RLV_DONE, "%s", error.what);
    const rlv_status status = history_measure(&l->history, &l->specimen, &how, &l->answer, &error);
    cr_assert(status == RLV_DONE || status == RLV_IMPOSSIBLE, "%s", error.what);
    cr_assert_eq(report_skeleton_measure(&l->skeleton, &l->history, &l->answer, &error), RLV_DONE, "%s", error.what);
}

static void life_end(life* l)
{
    report_skeleton_free(&l->skeleton);
    history_free(&l->history);
    rlv_specimen_free(&l->specimen);
    json_decref(l->answer.inputs);
    json_decref(l->answer.warnings);
    json_decref(l->answer.parameters);
    json_decref(l->answer.record);
}

/// The section alone, as a page. Free with free().
static char* page_of(const life* l)
{
    rlv_page p = {0};
    rlv_error error = {0};
    char* text = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&text, &size);
    cr_assert_eq(page_begin(&p, "fish", NULL, "en", &error), RLV_DONE);
    report_skeleton_put(&p, &l->skeleton, &(history_sheets){0});
    cr_assert_eq(page_write(&p, "", stream, "page", &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    page_free(&p);
    return text;
}

static bool found(const life* l, const char* of, const char* words)
{
    report_findings all = {0};
    bool is = false;
    report_findings_find(&all, &l->history, &l->skeleton, NULL);
    for (size_t i = 0; i < all.count; i++)
        is |= strcmp(all.one[i].of.text, of) == 0 && strstr(all.one[i].words.text, words) != NULL;
    report_findings_free(&all);
    return is;
}

static void write_disturbed(void)
{
    boxed_fish f = boxed_fish_make();
    boxed_fish_bone(&f, 1, 9)->element.position_mm[1] += 30.0;
    boxed_fish_write(&f);
}

Test(report_skeleton, its_section_says_what_moved_and_where_to_expect_bone)
{
    static const char* const parts[] = {"articulated, ", "Displaced",
                                        "shifted: L09",  "Bone may lie",
                                        "place 8 of D",  "What has left its life position",
                                        "L09",           "Where bone may still lie",
                                        "1 place free",  "in the rock",
                                        "motions.csv",   "What could not be told"};
    life l;
    write_disturbed();
    life_begin(&l);
    cr_assert(l.skeleton.judged);
    char* html = page_of(&l);
    const char* at = html;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
    {
        at = strstr(at, parts[i]);
        cr_assert_not_null(at, "%s is missing or out of order", parts[i]);
    }
    free(html);
    life_end(&l);
}

Test(report_skeleton, the_level_that_motions_are_told_in_is_named_without_a_second_colon)
{
    life l;
    write_disturbed();
    life_begin(&l);
    for (int bedding = 0; bedding < 2; bedding++)
    {
        l.skeleton.articulation.level_of_bedding = bedding == 1;
        const report_lines lines = disturbance_lines(&l.skeleton.articulation);
        cr_expect_str_eq(lines.line[0].name, "In the level");
        cr_expect_null(strchr(lines.line[0].words.text, ':'), "%s", lines.line[0].words.text);
        cr_expect_eq(strstr(lines.line[0].words.text, "taken in the bedding") != NULL, bedding == 1);
    }
    life_end(&l);
}

Test(report_skeleton, of_a_row_that_is_left_out_it_says_that_nothing_can_be_said)
{
    life l;
    boxed_fish f = boxed_fish_make();
    f.last_of_right = 4;
    boxed_fish_write(&f);
    life_begin(&l);
    cr_assert(l.skeleton.judged);
    rlv_table wall = articulation_unfilled_wall(&l.skeleton.articulation);
    cr_assert_eq(table_rows(&wall), 2); // the free place of the dorsal row, and the right row
    cr_expect_not_null(strstr(table_show(&wall, 1, 0).number.text, " of R"));
    cr_expect_not_null(strstr(table_show(&wall, 1, 4).text, "nothing can be said"));
    table_free(&wall);
    cr_expect_not_null(strstr(articulation_open_words(&l.skeleton.articulation, 2).text,
                              "left out, with 4 of 6 elements of a known place that are needed"));
    cr_expect(found(&l, "R", "nothing can be said"));
    life_end(&l);
}

Test(report_skeleton, its_methods_name_what_was_done_and_where_it_comes_from)
{
    static const char* const sources[] = {
        "Eilers",  "Patterson", "Simes",          "Benjamini, Y. Hochberg", "false discovery rate", "Bogomolov",
        "Clopper", "Korn",      "three quarters", "a fifth of the body",    "where along it"};
    life l;
    rlv_page p = {0};
    rlv_error error = {0};
    char* text = NULL;
    size_t size = 0;
    write_disturbed();
    life_begin(&l);
    FILE* stream = open_memstream(&text, &size);
    cr_assert_eq(page_begin(&p, "fish", NULL, "en", &error), RLV_DONE);
    page_section(&p, "methods", "Methods");
    report_skeleton_methods(&p, &l.skeleton.articulation);
    cr_assert_eq(page_write(&p, "", stream, "page", &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    page_free(&p);
    for (size_t i = 0; i < sizeof sources / sizeof *sources; i++)
        cr_expect_not_null(strstr(text, sources[i]), "%s", sources[i]);
    free(text);
    life_end(&l);
}

Test(report_skeleton, what_moved_and_what_is_missing_are_to_be_looked_at)
{
    life l;
    write_disturbed();
    life_begin(&l);
    cr_expect(found(&l, "L09", "shifted from the life position"));
    cr_expect(found(&l, "place 8 of D", "no loose element’s; in the rock"));
    life_end(&l);
}

// Where among the findings a place is; SIZE_MAX where it is not, or without those words.
static size_t rank_of(const report_findings* all, const char* of, const char* words)
{
    for (size_t i = 0; i < all->count; i++)
        if (strcmp(all->one[i].of.text, of) == 0 && strstr(all->one[i].words.text, words) != NULL)
            return i;
    return SIZE_MAX;
}

Test(report_skeleton, where_bone_may_lie_is_told_likeliest_first)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    cr_assert_eq(a->fit.unfilled_count, 1);
    rlv_unfilled* place = calloc(2, sizeof *place);
    history_unfilled* there = calloc(2, sizeof *there);
    place[0] = place[1] = a->fit.unfilled[0];
    there[0] = there[1] = a->unfilled[0];
    place[1].place = 9; // as if it were open too, and an element from the spoil likely belonged at the first
    rlv_candidate claim = {.unfilled = 0, .probability = 0.6};
    history_stray loose = {.candidates = {.count = 1, .candidate = &claim}};
    history_articulation two = *a;
    two.fit.unfilled = place;
    two.fit.unfilled_count = 2;
    two.unfilled = there;
    two.stray = &loose;
    two.stray_count = 1;
    report_skeleton told = l.skeleton;
    told.articulation = two;
    report_findings all = {0};
    report_findings_find(&all, &l.history, &told, NULL);
    const size_t first = rank_of(&all, "place 9 of D", "to over 99 % no loose element’s"),
                 second = rank_of(&all, "place 8 of D", "to 40 % no loose element’s");
    cr_expect_neq(first, SIZE_MAX);
    cr_expect_neq(second, SIZE_MAX);
    cr_expect_lt(first, second);
    cr_expect_lt(rank_of(&all, "where bone may lie", "2 places without an element"), first);
    cr_expect_eq(rank_of(&all, "where bone may lie", "Left out"), SIZE_MAX);
    report_findings_free(&all);
    claim.probability = 0.8; // now it probably did
    report_findings_find(&all, &l.history, &told, NULL);
    cr_expect_eq(rank_of(&all, "place 8 of D", "no loose element’s"), SIZE_MAX);
    cr_expect_neq(rank_of(&all, "where bone may lie", "1 place without an element"), SIZE_MAX);
    cr_expect_neq(
        rank_of(&all, "where bone may lie", "Left out, since a loose element probably came from there: place 8 of D"),
        SIZE_MAX);
    report_findings_free(&all);
    free(place);
    free(there);
    life_end(&l);
}

Test(report_skeleton, where_bone_may_lie_says_how_high_a_plate_reaches_and_from_where_its_clearance_holds)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    const articulation_target target = {.unfilled = 0, .unclaimed = 100.0};
    double clearance_mm = 15.0;
    rlv_advice_record advice = {.clearance_mm = &clearance_mm}, *own = l.specimen.advice;
    l.specimen.advice = NULL;
    a->unfilled[0].where = HISTORY_IN_ROCK;
    a->unfilled[0].depth_mm = (rlv_interval){20.0, 17.0, 23.0};
    const char* row = l.specimen.row[a->fit.unfilled[0].row].id;
    for (size_t i = 0; i < a->elements->count; i++)
        l.skeleton.elements.one[i].told.length_mm = l.skeleton.elements.one[i].told.thickness_mm =
            (rlv_interval){NAN, NAN, NAN};
    report_text words = articulation_target_words(a, &target);
    cr_expect_null(strstr(words.text, "near face"), "%s", words.text);
    cr_expect_null(strstr(words.text, "clearance"), "%s", words.text);
    cr_expect_null(strstr(words.text, "shows already"), "%s", words.text);
    articulation_targets targets = articulation_targets_of(a);
    cr_expect_not_null(strstr(articulation_targets_head(a, &targets).text, "the thickness of fewer than three"));
    // Three plates of 3, 4 and 5 mm: one more is 4 mm thick, and 4.303 times 1 sqrt(4/3) mm more or less; half of that
    // is 2.48, which with 3 mm makes 3.9.
    for (size_t i = 0, told = 0; i < a->elements->count && told < 3; i++)
        if (l.skeleton.elements.one[i].record->row != NULL && strcmp(l.skeleton.elements.one[i].record->row, row) == 0)
            l.skeleton.elements.one[i].told.thickness_mm.value = 3.0 + (double)told++;
    words = articulation_target_words(a, &target);
    cr_expect_not_null(strstr(words.text, "the near face of a plate that lies flat there at 18 mm (14 to 22 mm)"), "%s",
                       words.text);
    cr_expect_null(strstr(articulation_targets_head(a, &targets).text, "fewer than three"));
    articulation_targets_free(&targets);
    l.specimen.advice = &advice;
    words = articulation_target_words(a, &target);
    cr_expect_not_null(strstr(words.text, "all of the rock over it lies within the 15 mm of clearance recorded"), "%s",
                       words.text);
    clearance_mm = 4.0;
    a->unfilled[0].at_bone = true;
    words = articulation_target_words(a, &target);
    cr_expect_not_null(strstr(words.text, "4 mm, begins 10 mm under today’s surface"), "%s", words.text);
    cr_expect_not_null(strstr(words.text, "bone shows already"), "%s", words.text);
    l.specimen.advice = own;
    life_end(&l);
}

// A free place between two plates that stand on edge towards the surface: half of their width nearer.
Test(report_skeleton, where_its_attitude_is_known_the_nearest_edge_of_a_plate_is_told)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    const size_t row = a->fit.unfilled[0].row;
    const rlv_mat3 on_edge = rlv_rotation_from_vector(rlv_vec3_of(M_PI_2, 0, 0)); // its width along z
    a->unfilled[0].where = HISTORY_IN_ROCK;
    a->unfilled[0].depth_mm = (rlv_interval){20.0, 17.0, 23.0};
    a->unfilled[0].way = rlv_vec3_of(0, 0, -1);
    a->fit.scatter_deg = 0.0;
    for (size_t i = 0; i < a->elements->count; i++)
    {
        rlv_element* told = &l.skeleton.elements.one[i].told;
        told->length_mm = (rlv_interval){16.0, 16.0, 16.0};
        told->width_mm = (rlv_interval){10.0, 10.0, 10.0};
        told->thickness_mm = (rlv_interval){NAN, NAN, NAN};
    }
    for (size_t i = 0; i < a->given_count; i++)
        if (a->given[i].row == row)
            a->fit.element[i].life_frame = on_edge;
    const articulation_target target = {.unfilled = 0, .unclaimed = 100.0};
    report_text words = articulation_target_words(a, &target);
    cr_expect_not_null(
        strstr(words.text, "the nearest edge of a plate that stands as its row does there at 15.0 mm (12.0 "), "%s",
        words.text);
    rlv_table wall = articulation_unfilled_wall(a);
    cr_expect_not_null(strstr(table_show(&wall, 0, 6).text, "an edge at 15.0 (12.0 to 18.0)"), "%s",
                       table_show(&wall, 0, 6).text);
    table_free(&wall);
    cr_expect_float_eq(articulation_nearest_edge(a, 0).most_mm, 8.0, 1e-9);
    a->unfilled[0].where = HISTORY_AT_SURFACE; // its edges stand out of the rock, or deeper than it
    cr_expect(isnan(articulation_nearest_edge(a, 0).depth_mm.value));
    a->unfilled[0].where = HISTORY_IN_ROCK;
    for (size_t i = 0; i < a->given_count; i++)
        a->fit.element[i].life_frame.m[0] = (double)NAN;
    words = articulation_target_words(a, &target);
    cr_expect_not_null(strstr(words.text, "an edge up to 8.0 mm higher than its middle, however it stands"), "%s",
                       words.text);
    life_end(&l);
}

// What people read of where a place lies follows its interval, and is the same in all that tells it.
Test(report_skeleton, a_place_that_is_well_inside_is_told_as_probably_in_the_rock_though_its_interval_holds_0)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    const articulation_target target = {.unfilled = 0, .unclaimed = 100.0};
    history_unfilled* u = &a->unfilled[0];
    u->depth_mm = (rlv_interval){6.0, -1.0, 13.0};
    u->where = history_where_of(u->depth_mm, true);
    const char* words = "probably in the rock; its depth is not sure";
    rlv_table wall = articulation_unfilled_wall(a);
    cr_expect_not_null(strstr(table_show(&wall, 0, 4).text, words));
    table_free(&wall);
    articulation_tables all = articulation_tables_of(a);
    cr_expect_str_eq(table_show(&all.table[ARTICULATION_UNFILLED], 0, 8).text, words);
    articulation_tables_free(&all);
    const report_text said = articulation_target_words(a, &target);
    cr_expect_not_null(strstr(said.text, "probably in the rock, 6 mm (−1 to 13 mm) deep under today’s surface"), "%s",
                       said.text);
    life_end(&l);
}

// The index of an element among all; SIZE_MAX where there is none.
static size_t element_at(const history_articulation* a, const char* id)
{
    for (size_t i = 0; i < a->elements->count; i++)
        if (strcmp(a->elements->one[i].record->id, id) == 0)
            return i;
    return SIZE_MAX;
}

static bool in_summary(const life* l, const char* name, const char* words)
{
    const report_lines lines = articulation_summary(&l->skeleton.articulation);
    for (size_t i = 0; i < lines.count; i++)
        if (strcmp(lines.line[i].name, name) == 0 && strstr(lines.line[i].words.text, words) != NULL)
            return true;
    return false;
}

// Of places that no stage in the block's frame can show, nothing is said of where they are, nor that they are found.
Test(report_skeleton, where_the_last_stage_is_not_joined_it_says_that_places_are_not_known)
{
    life l;
    write_disturbed();
    life_begin(&l);
    cr_assert_eq(l.skeleton.articulation.fit.unfilled_count, 1);
    cr_expect_not(in_summary(&l, "Bone may lie", "not known where"));
    l.skeleton.articulation.unfilled[0].where = HISTORY_WHERE_UNKNOWN;
    cr_expect(
        in_summary(&l, "Bone may lie", "it is not known where: the last stage does not lie in the block’s frame"));
    life_end(&l);
}

Test(report_skeleton, the_summary_tells_of_what_lies_off_its_row_what_is_to_be_looked_at)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    const size_t off = element_at(a, "R05");
    cr_assert_neq(off, SIZE_MAX);
    rlv_candidate from = {.unfilled = 0, .probability = 0.92};
    history_stray loose = {.element = off, .candidates = {.count = 1, .candidate = &from}};
    history_stray* own = a->stray;
    const size_t own_count = a->stray_count;
    rlv_articulated* told = &a->fit.element[a->given_of[off]];
    const rlv_articulation_state state = told->state;
    a->stray = &loose;
    a->stray_count = 1;
    a->why[off] = HISTORY_OFF_ROW; // as if it had been carried off its row, from the free place of the first
    told->state = RLV_UNASSIGNED;
    const rlv_interval far_mm = rlv_articulation_distance_from(&a->fit.unfilled[0], &a->given[a->given_of[off]]);
    const report_text far = report_interval(far_mm, "mm"),
                      words = report_say("probably from place 8 of D (92 %%), by %s towards ", far.text);
    cr_expect(far_mm.value > 20.0); // R05 lies on its own row, on the other side of the body
    cr_expect(found(&l, "R05", words.text));
    rlv_table wall = articulation_off_row_wall(a);
    cr_assert_eq(table_rows(&wall), 1);
    cr_expect_str_eq(table_show(&wall, 0, 2).text, "place 8 of D (92 %)");
    cr_expect_not_null(strstr(far.text, table_show(&wall, 0, 3).number.text));
    table_free(&wall);
    cr_expect(in_summary(&l, "Displaced", "each with the place that it probably came from: R05 (place 8 of D, 92 %)"));
    cr_expect_not(in_summary(&l, "Displaced", "not known"));
    cr_expect_not(in_summary(&l, "Bone may lie", "place 8 of D")); // nor is it pointed at under What next
    const rlv_counted sure = a->counted[0];
    for (size_t i = 0; i < a->given_count; i++)
        a->counted[i] = (rlv_counted){.place = a->given[i].place_low, .probability = 0.35};
    cr_expect(found(&l, "R05", "place 8 of D (92 %), between D07 and D09, by "));
    cr_expect(in_summary(&l, "Displaced", "R05 (place 8 of D, between D07 and D09, 92 %)"));
    for (size_t i = 0; i < a->given_count; i++)
        a->counted[i] = sure; // no row of this fish was counted
    cr_expect(in_summary(&l, "Bone may lie", "each place without an element was probably a loose one’s"));
    from.probability = 0.4;
    cr_expect(found(&l, "R05", "from which place is not known"));
    cr_expect(in_summary(&l, "Displaced", "from which place is not known: R05"));
    cr_expect(in_summary(&l, "Bone may lie", "in the rock place 8 of D (60 %)"));
    cr_expect(found(&l, "place 8 of D", "to 60 % no loose element’s; in the rock"));
    a->stray = own;
    a->stray_count = own_count;
    a->why[off] = HISTORY_JUDGED;
    told->state = state;
    life_end(&l);
}

Test(report_skeleton, the_summary_tells_what_was_counted_and_what_was_weighed_of_which_way_they_went)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    cr_assert_eq(a->stray_count, 0);
    cr_expect(in_summary(&l, "Which way", "counted, without what is loose: 1 of 1 motions have a direction"));
    cr_expect(in_summary(&l, "Which way", "no mean (fewer than five). Nothing lies off its row"));
    history_stray stray = {.element = 0}, *own = a->stray; // no more than why it is loose is asked for
    const history_left_out why = a->why[0];
    a->stray = &stray;
    a->stray_count = 1;
    a->why[0] = HISTORY_OFF_ROW;
    a->carried.probability = 0.3;
    cr_expect(in_summary(&l, "Which way", "a current carried it one way is 30 % likely; no direction of it is told"));
    a->carried.probability = 0.97;
    a->carried.motion_mm = rlv_vec3_of(18.0, 0.0, 0.0);
    a->carried.direction_sd_deg = 9.5;
    cr_expect(in_summary(&l, "Which way", "likely, by about 18 mm towards "));
    cr_expect(in_summary(&l, "Which way", " ± 19° (95 %) in the level"));
    // The one motion that there is went with a current of its own way, and not with the opposite one.
    const rlv_vec3 went = a->disturbance.motion[0].motion_mm,
                   level = rlv_vec3_along(went, -rlv_vec3_dot(went, a->level_up), a->level_up);
    a->carried.motion_mm = level;
    cr_expect(in_summary(&l, "Which way", "every motion that has a direction went with it"));
    a->carried.motion_mm = rlv_vec3_scale(level, -1.0);
    cr_expect(in_summary(&l, "Which way", "; not with it: "));
    cr_expect(in_summary(&l, "Which way", " (180° off)"));
    a->stray = own;
    a->why[0] = why;
    a->stray_count = 0;
    life_end(&l);
}

Test(report_skeleton, neighbours_that_are_alike_are_told_together_with_a_dash)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    rlv_unfilled place[3] = {a->fit.unfilled[0], a->fit.unfilled[0], a->fit.unfilled[0]}, *own = a->fit.unfilled;
    history_unfilled there[3] = {a->unfilled[0], a->unfilled[0], a->unfilled[0]}, *own_there = a->unfilled;
    place[1].place = 9;
    place[2].place = 10;
    a->fit.unfilled = place;
    a->fit.unfilled_count = 3;
    a->unfilled = there;
    cr_expect(in_summary(&l, "Bone may lie", "from there: in the rock places 8–10 of D (over 99 %)"));
    there[2].where = HISTORY_AT_SURFACE;
    cr_expect(in_summary(&l, "Bone may lie",
                         "in the rock places 8–9 of D (over 99 %); within its error of today’s surface place 10"));
    there[2].where = HISTORY_PROBABLY_IN_ROCK;
    cr_expect(in_summary(&l, "Bone may lie", "in the rock places 8–9 of D (over 99 %); probably in the rock place 10"));
    there[2].where = HISTORY_AT_OR_ABOVE;
    cr_expect(in_summary(&l, "Bone may lie", "; near today’s surface, or above it place 10"));
    there[1].where = there[2].where = HISTORY_TAKEN;
    cr_expect(in_summary(&l, "Bone may lie", "in its spoil if anywhere: places 9–10 of D"));
    a->fit.unfilled = own;
    a->fit.unfilled_count = 1;
    a->unfilled = own_there;
    life_end(&l);
}

Test(report_skeleton, what_is_barely_told_as_displaced_is_said_to_be)
{
    life l;
    write_disturbed();
    life_begin(&l);
    history_articulation* a = &l.skeleton.articulation;
    rlv_articulated* told = &a->fit.element[a->given_of[element_at(a, "L09")]];
    cr_assert_eq(told->state, RLV_SHIFTED);
    cr_expect_not(articulation_is_barely(told));
    cr_expect(found(&l, "L09", "other elements: by ")); // how far, with its interval
    cr_expect(found(&l, "L09", " mm), p < 0.001"));
    cr_expect_not(in_summary(&l, "Displaced", "barely"));
    told->p_adjusted = 0.02; // a level of 0.05 is within a factor of ten of that
    cr_expect(found(&l, "L09", "; but barely told, with p 0.020: it may lie in place after all"));
    cr_expect(in_summary(&l, "Displaced", "shifted: L09 (barely, p 0.020)"));
    rlv_table wall = articulation_moved_wall(a);
    cr_expect_str_eq(table_show(&wall, 0, 7).text, "0.020, barely");
    table_free(&wall);
    char* html = page_of(&l);
    cr_expect_not_null(strstr(html, "shifted, barely"));
    free(html);
    told->p_adjusted = 0.004;
    cr_expect_not(articulation_is_barely(told));
    life_end(&l);
}

// The column of a table that people see under a heading.
static size_t column_of(const rlv_table* t, const char* heading)
{
    for (size_t k = 0; k < t->column_count; k++)
        if (t->column[k].heading != NULL && strcmp(t->column[k].heading, heading) == 0)
            return k;
    cr_assert_fail("no column %s", heading);
    return 0;
}

static elements_judged judged_so(const void* user, size_t element)
{
    const history_articulation* a = user;
    elements_judged of = {.place = articulation_place_told(a, element),
                          .place_known = articulation_place_known(a, element),
                          .told_mm = (double)NAN};
    const rlv_articulated* told = history_told(a, element);
    of.told_mm = told != NULL ? told->detectable_mm[0] : of.told_mm;
    return of;
}

Test(report_skeleton, its_table_of_elements_has_the_places_as_counted_and_the_shift_that_is_found)
{
    life l;
    boxed_fish f = boxed_fish_make();
    f.places = false;
    boxed_fish_write(&f);
    life_begin(&l);
    const history_articulation* a = &l.skeleton.articulation;
    rlv_table wall = elements_wall(&l.skeleton.elements, judged_so, a);
    const size_t place = column_of(&wall, "place"), how = column_of(&wall, "known how"),
                 told = column_of(&wall, "shift found in 80 %"), one = element_at(a, "D05");
    cr_expect_str_eq(table_show(&wall, one, place).text, "5");
    const char* text = table_show(&wall, one, how).text;
    cr_assert_not_null(text);
    cr_expect_eq(strncmp(text, "counted, ", strlen("counted, ")), 0, "%s", text);
    cr_expect_str_eq(table_show(&wall, one, told).number.text,
                     words_figures(history_told(a, one)->detectable_mm[0], 2).text);
    table_free(&wall);
    char* html = page_of(&l);
    cr_expect_not_null(strstr(html, "5 <span class=\"beneath\">counted, "));
    cr_expect_not_null(strstr(html, "as counted along the row"));
    free(html);
    life_end(&l);
}

Test(report_skeleton, beside_a_note_on_an_element_stands_how_it_was_measured_to_lie_to_bedding)
{
    life l;
    boxed_fish f = boxed_fish_make();
    boxed_fish_write(&f);
    life_begin(&l);
    rlv_element_record* record = l.specimen.element;
    char note[] = "steep to the bedding";
    char* own[2] = {record[0].note, record[1].note};
    history_element* one = l.skeleton.elements.one;
    record[0].note = record[1].note = note;
    one[0].bedding_deg = (rlv_interval){34.0, 26.0, 42.0};
    one[1].bedding_deg = (rlv_interval){NAN, NAN, NAN};
    const report_text
        of = report_say("%s, %s", record[0].id, record[1].id),
        words = report_say(
            "“steep to the bedding”; measured to bedding: %s 34° (26 to 42°): 0° is flat in it, 90° on edge; "
            "whether the note agrees is for the reader",
            record[0].id);
    cr_expect(found(&l, of.text, words.text));
    one[0].bedding_deg.value = NAN;
    cr_expect(found(&l, of.text, "“steep to the bedding”"));
    cr_expect_not(found(&l, of.text, "measured"));
    record[0].note = own[0];
    record[1].note = own[1];
    life_end(&l);
}

Test(report_skeleton, an_axis_that_may_point_anywhere_is_told_as_unknown)
{
    life l;
    boxed_fish f = boxed_fish_make();
    boxed_fish_write(&f);
    life_begin(&l);
    history_element* one = &l.skeleton.elements.one[0];
    one->plunge_deg = one->trend_deg = (rlv_interval){4.0, 3.0, 5.0};
    for (int wide = 0; wide < 2; wide++)
    {
        for (int k = 0; k < 9; k++) // sds that 90 degrees to either side in 95 % lie between
            one->told.attitude_cov_rad2[k] = k % 4 == 0 ? pow((wide ? 45.93 : 45.91) * G_PI / 180.0, 2.0) : 0.0;
        rlv_table wall = elements_wall(&l.skeleton.elements, NULL, NULL);
        const char* text = table_show(&wall, 0, column_of(&wall, "trend/plunge of its length °")).text;
        cr_assert_not_null(text);
        cr_expect_eq(strcmp(text, "unknown") == 0, wide == 1, "%s", text);
        table_free(&wall);
    }
    life_end(&l);
}

Test(report_skeleton, its_words_have_the_signs_of_print)
{
    life l;
    write_disturbed();
    life_begin(&l);
    char* html = page_of(&l);
    const char* main = strstr(html, "<main");
    cr_assert_not_null(main);
    for (const char* at = main; (at = strpbrk(at, "'-")) != NULL; at++)
        cr_expect(*at == '-' && !(g_ascii_isdigit(at[-1]) && g_ascii_isdigit(at[1])), "%.60s", at - 30);
    free(html);
    life_end(&l);
}

Test(report_skeleton, its_tables_stand_among_all_in_json)
{
    life l;
    write_disturbed();
    life_begin(&l);
    report_tables tables = report_tables_of(&l.history, &l.answer);
    report_record(l.answer.record, &l.history, &tables, &l.skeleton, NULL);
    const json_t* all = json_object_get(l.answer.record, "tables");
    cr_expect_eq(json_array_size(json_object_get(all, "unfilled")), 1);
    cr_expect_eq(json_array_size(json_object_get(all, "elements")), BOXED_ROWS * BOXED_PLACES - 1);
    cr_expect_eq(json_array_size(json_object_get(all, "elements_recorded")), BOXED_ROWS * BOXED_PLACES - 1);
    const json_t* told = json_object_get(l.answer.record, "articulation");
    const json_t* unfilled = json_array_get(json_object_get(told, "unfilled"), 0);
    cr_expect_eq(json_array_size(json_object_get(unfilled, "covariance_mm2")), 9);
    report_tables_free(&tables);
    life_end(&l);
}

Test(report_skeleton, rows_that_are_too_short_are_a_warning_and_one_line)
{
    life l;
    boxed_fish f = boxed_fish_make();
    boxed_fish_write(&f);
    program_write("fish/elements.csv", "id,kind,row,place,side,stage,part,bag,note\nD01,scute,D,1,,field,,,\n");
    life_begin(&l);
    cr_expect(l.skeleton.measured && !l.skeleton.judged);
    cr_expect_not_null(
        strstr(json_string_value(json_array_get(l.answer.warnings, json_array_size(l.answer.warnings) - 1)),
               "the skeleton cannot be judged"));
    char* html = page_of(&l);
    cr_expect_null(strstr(html, "Where bone may still lie"));
    cr_expect_not_null(strstr(html, "Where each element lies"));
    cr_expect_not_null(strstr(html, l.skeleton.why));
    free(html);
    life_end(&l);
}

Test(report_skeleton, without_an_element_it_is_not_recorded)
{
    life l;
    boxed_fish f = boxed_fish_make();
    boxed_fish_write(&f);
    program_write("fish/elements.csv", "id,kind,row,place,side,stage,part,bag,note\n");
    life_begin(&l);
    char* html = page_of(&l);
    cr_expect_not_null(strstr(html, "Elements: not recorded."));
    free(html);
    life_end(&l);
}
