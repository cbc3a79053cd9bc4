/// `articulation` on a small specimen of one stage, an invented skeleton in a box of rock: what is told of what was
/// moved, where what is missing is looked for, and what is refused. tests/samples/demo_articulation.c holds the demo's
/// truth against it.

#include "articulation.h"
#include "interval.h"
#include "support/boxed_fish.h"
#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

TestSuite(command_articulation, .init = program_enter, .fini = program_leave, .timeout = 600);

static const json_t* element_of(const json_t* record, const char* id)
{
    return told_row(json_object_get(record, "elements"), "id", id);
}

static size_t count_of(const json_t* record, const char* list, const char* key, const char* text)
{
    const json_t* rows = json_object_get(record, list);
    size_t count = 0;
    for (size_t i = 0; i < json_array_size(rows); i++)
    {
        const char* is = json_string_value(json_object_get(json_array_get(rows, i), key));
        count += is != NULL && strcmp(is, text) == 0;
    }
    return count;
}

// --- what is told ----------------------------------------------------------------------------------------------------

Test(command_articulation, what_was_moved_is_told_with_its_motion_and_nothing_else_is)
{
    static const char* const keys[] = {"id", "state", "shift_mm", "rotation_deg", "p", "group", NULL};
    boxed_fish f = boxed_fish_make();
    double* at = boxed_fish_bone(&f, 1, 9)->element.position_mm;
    at[1] += 30.0; // to the north
    double* frame = boxed_fish_bone(&f, 2, 6)->element.frame;
    for (int k = 0; k < 3; k++) // half a turn about the long axis
    {
        frame[3 * k + 1] = -frame[3 * k + 1];
        frame[3 * k + 2] = -frame[3 * k + 2];
    }
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json --threads 1", 0);
    const json_t *shifted = element_of(record, "L09"), *inverted = element_of(record, "R06");
    told_has_keys(shifted, keys);
    cr_expect_str_eq(told_text(shifted, "state"), "shifted");
    cr_expect(told_number(shifted, "shift_low_mm") < 30.0 && told_number(shifted, "shift_high_mm") > 30.0);
    // Natural scatter of up to 1 mm on 30: within 6 degrees at three sd.
    const double trend = remainder(told_number(shifted, "shift_trend_deg"), 360.0);
    cr_expect(fabs(trend) < 6.0 && fabs(told_number(shifted, "shift_plunge_deg")) < 6.0, "%g", trend);
    cr_expect_str_eq(told_text(inverted, "state"), "inverted");
    cr_expect_gt(told_number(inverted, "rotation_deg"), 150.0);
    cr_expect_lt(told_number(inverted, "p"), 0.05);
    // Of 53 one may be told by mistake.
    cr_expect_geq(count_of(record, "elements", "state", "in place"), 50);
    cr_expect_str_eq(told_text(json_object_get(record, "skeleton"), "word"), "articulated");
    json_decref(record);
}

Test(command_articulation, what_is_missing_is_looked_for_in_the_rock_with_its_depth)
{
    static const char* const keys[] = {"row", "place", "position_mm", "covariance_mm2", NULL};
    boxed_fish f = boxed_fish_make();
    const double* truth = boxed_fish_bone(&f, 0, BOXED_WITHOUT)->element.position_mm;
    const double true_depth =
        fmin(fmin(fmin(truth[0] - f.low.x, f.high.x - truth[0]), fmin(truth[1] - f.low.y, f.high.y - truth[1])),
             fmin(truth[2] - f.low.z, f.high.z - truth[2]));
    const double at[3] = {truth[0], truth[1], truth[2]};
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* unfilled = json_object_get(record, "unfilled");
    cr_assert_eq(json_array_size(unfilled), 1);
    const json_t* one = json_array_get(unfilled, 0);
    told_has_keys(one, keys);
    cr_expect_eq(json_array_size(json_object_get(one, "covariance_mm2")), 9);
    cr_expect_str_eq(told_text(one, "row"), "D");
    cr_expect_eq((int)told_number(one, "place"), BOXED_WITHOUT);
    cr_expect_str_eq(told_text(one, "where"), "in the rock");
    cr_expect(told_number(one, "depth_low_mm") < true_depth && told_number(one, "depth_high_mm") > true_depth,
              "%g, truly %g", told_number(one, "depth_mm"), true_depth);
    for (size_t k = 0; k < 3; k++)
        cr_expect_float_eq(json_number_value(json_array_get(json_object_get(one, "position_mm"), k)), at[k],
                           told_number(one, "region_half_mm"));
    json_decref(record);
}

Test(command_articulation, a_life_position_above_the_rock_was_not_collected)
{
    boxed_fish f = boxed_fish_make();
    // The rock ends 12 mm short of the missing place along x.
    f.high.x = boxed_fish_bone(&f, 0, BOXED_WITHOUT)->element.position_mm[0] - 12.0;
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* one = json_array_get(json_object_get(record, "unfilled"), 0);
    cr_expect_str_eq(told_text(one, "where"), "not collected");
    cr_expect(told_number(one, "depth_low_mm") < -12.0 && told_number(one, "depth_high_mm") > -12.0, "%g",
              told_number(one, "depth_mm"));
    json_decref(record);
}

Test(command_articulation, places_that_nobody_counted_are_counted_along_their_rows)
{
    boxed_fish f = boxed_fish_make();
    f.places = false;
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    cr_expect_str_eq(told_text(element_of(record, "D12"), "place"), "12");
    cr_expect_str_eq(told_text(element_of(record, "D12"), "place_from"), "counted");
    cr_expect_str_eq(told_text(element_of(record, "D01"), "place_from"), "recorded");
    // All 18 places of the others are held: there is one count.
    cr_expect_str_eq(told_text(element_of(record, "L12"), "place"), "12");
    cr_expect_float_eq(told_number(element_of(record, "L12"), "place_sure_percent"), 100.0, 1e-6);
    json_decref(record);
}

Test(command_articulation, an_element_from_the_spoil_has_candidates_whose_probabilities_add_up)
{
    boxed_fish f = boxed_fish_make();
    f.more = "S,scute,D,,,,,S1,\n";
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* rows = json_object_get(record, "candidates");
    // One life position of its row is free, and one in ten from the spoil belongs nowhere, whatever is known of it.
    cr_assert_eq(json_array_size(rows), 2);
    const json_t *place = json_array_get(rows, 0), *none = json_array_get(rows, 1);
    cr_expect_str_eq(told_text(place, "row"), "D");
    cr_expect_eq((int)told_number(place, "place"), BOXED_WITHOUT);
    cr_expect_float_eq(told_number(place, "probability_percent"), 90.0, 1e-6);
    cr_expect(json_is_null(json_object_get(none, "row")));
    cr_expect_float_eq(told_number(none, "probability_percent"), 10.0, 1e-6);
    cr_expect_str_eq(told_text(element_of(record, "S"), "why"), "found in the spoil");
    cr_expect(json_is_null(json_object_get(record, "carried")), "nothing lies off its row");
    json_decref(record);
}

/// Move an element out of the body wall, and towards the tail.
static void move(const boxed_fish* f, int place, double out_mm, double along_mm)
{
    rlv_element* moved = &boxed_fish_bone(f, 1, place)->element;
    for (int k = 0; k < 3; k++)
        moved->position_mm[k] += out_mm * moved->frame[3 * k + 2] - along_mm * moved->frame[3 * k];
}

Test(command_articulation, what_lies_off_its_row_is_given_the_free_place_that_is_clearly_its_own)
{
    boxed_fish f = boxed_fish_make();
    f.places = false;
    move(&f, 9, 20.0, 0.0);
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* off = element_of(record, "L09");
    cr_expect_str_eq(told_text(off, "place"), "9");
    cr_expect_str_eq(told_text(off, "place_from"), "found");
    cr_expect_str_eq(told_text(off, "state"), "shifted");
    cr_expect(told_number(off, "shift_low_mm") < 20.0 && told_number(off, "shift_high_mm") > 20.0);
    json_decref(record);
}

/// The pitch is 20 mm: both lie as near to the one free place as to the other.
static void write_two_off_their_row(void)
{
    boxed_fish f = boxed_fish_make();
    f.places = false;
    move(&f, 9, 25.0, 10.0);
    move(&f, 10, -25.0, -10.0);
    boxed_fish_write(&f);
}

Test(command_articulation, what_lies_off_its_row_between_two_free_places_has_moved_from_one_of_them)
{
    write_two_off_their_row();
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* off = element_of(record, "L09");
    cr_expect_str_eq(told_text(off, "state"), "unassigned");
    cr_expect_not_null(strstr(told_text(off, "why"), "lies off its row"));
    const int nearest = (int)told_number(off, "nearest_free");
    cr_expect(nearest == 9 || nearest == 10);
    // Scatter and error are 1.1 mm at the most.
    cr_expect_float_eq(told_number(off, "nearest_free_distance_mm"), hypot(25.0, 10.0), 5.0);
    cr_expect(told_number(off, "nearest_free_distance_low_mm") < told_number(off, "nearest_free_distance_mm"));
    json_decref(record);
}

Test(command_articulation, what_lies_off_its_row_is_told_how_far_each_place_is_that_it_may_have_had)
{
    write_two_off_their_row();
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* off = element_of(record, "L09");
    // Two lie off it, at 9 and 10: neighbours are what is in place.
    cr_expect_str_eq(told_text(element_of(record, "L11"), "neighbours"), "L08, L12");
    cr_expect_str_eq(told_text(off, "neighbours"), "L08, L11");
    const double nearest = told_number(off, "nearest_free"), least = told_number(off, "nearest_free_distance_mm");
    size_t i, places = 0;
    json_t* row;
    json_array_foreach(json_object_get(record, "candidates"), i, row)
    {
        if (strcmp(told_text(row, "id"), "L09") != 0 || !json_is_number(json_object_get(row, "place")))
            continue;
        const double moved = told_number(row, "moved_mm");
        places++;
        cr_expect(moved >= least && told_number(row, "moved_low_mm") < moved);
        cr_expect(told_number(row, "place") != nearest || moved == least);
    }
    cr_expect(places >= 2, "%zu", places);
    json_decref(record);
}

Test(command_articulation, loose_elements_share_the_free_places_of_their_row_and_count_as_displaced)
{
    write_two_off_their_row();
    json_t* record = told_by("articulation fish --json", 0);
    const json_t *whole = json_object_get(record, "skeleton"), *candidates = json_object_get(record, "candidates"),
                 *unfilled = json_object_get(record, "unfilled");
    const double held = told_number(whole, "held"), in_place = told_number(whole, "in_place");
    cr_expect_eq(told_number(whole, "off_row"), 2.0);
    const double carried = told_number(json_object_get(record, "carried"), "probability_percent");
    cr_expect(carried > 0.0 && carried < 100.0, "%g", carried);
    const json_t *current = json_object_get(record, "carried"), *motion = json_object_get(current, "motion_mm");
    double square = 0.0;
    for (size_t k = 0; k < 3; k++)
        square += pow(json_number_value(json_array_get(motion, k)), 2.0);
    cr_expect_float_eq(told_number(current, "far_mm"), sqrt(square), 1e-9);
    cr_expect_float_eq(told_number(current, "direction_half_deg"),
                       fmin(RLV_HALF_95 * told_number(current, "direction_sd_deg"), 180.0), 1e-9);
    cr_expect_float_eq(told_number(current, "told_with_percent"), 100.0 * RLV_CARRIED_TOLD_WITH, 1e-9);
    cr_expect_float_eq(told_number(whole, "share_in_place_percent"), 100.0 * in_place / (held + 2.0), 1e-9);
    // Every element was somewhere, and a place was that of one of them or of none known.
    double of_l09 = 0.0;
    for (size_t i = 0; i < json_array_size(candidates); i++)
        of_l09 += strcmp(told_text(json_array_get(candidates, i), "id"), "L09") == 0
                      ? told_number(json_array_get(candidates, i), "probability_percent")
                      : 0.0;
    cr_expect_float_eq(of_l09, 100.0, 1e-6);
    for (size_t i = 0; i < json_array_size(unfilled); i++)
    {
        const json_t* place = json_array_get(unfilled, i);
        double claimed = told_number(place, "unclaimed_percent");
        for (size_t k = 0; k < json_array_size(candidates); k++)
        {
            const json_t* c = json_array_get(candidates, k);
            if (!json_is_null(json_object_get(c, "row")) && strcmp(told_text(c, "row"), told_text(place, "row")) == 0 &&
                told_number(c, "place") == told_number(place, "place"))
                claimed += told_number(c, "probability_percent");
        }
        cr_expect_float_eq(claimed, 100.0, 1e-6);
    }
    json_decref(record);
}

Test(command_articulation, the_same_bytes_for_any_number_of_threads)
{
    static const char* const files[] = {
        "articulation.csv",   "groups.csv",   "unfilled.csv", "candidates.csv",    "articulation_rows.csv",
        "share_in_place.csv", "skeleton.csv", "motions.csv",  "motions_level.csv", "motions_space.csv",
        "displaced_axes.csv", "gaps.csv",     "ahead.csv",    "carried.csv",       "meanings.csv",
        "articulation.json"};
    boxed_fish f = boxed_fish_make();
    boxed_fish_write(&f);
    for (int threads = 1; threads <= 2; threads++)
    {
        char line[100];
        snprintf(line, sizeof line, "articulation fish --threads %d --out out%d", threads, threads);
        program_run run = program_call(line, NULL);
        cr_assert_eq(run.status, 0, "%s", run.err);
        cr_expect_not_null(strstr(run.out, "LQ-0417: articulated, "), "%s", run.out);
        program_free(&run);
    }
    cr_expect_eq(folder_count("out1"), (int)(sizeof files / sizeof *files));
    for (size_t i = 0; i < sizeof files / sizeof *files; i++)
        cr_expect_eq(program_shell("cmp out1/%s out2/%s", files[i], files[i]), 0, "%s", files[i]);
}

Test(command_articulation, a_row_with_too_few_elements_is_left_out_and_told)
{
    boxed_fish f = boxed_fish_make();
    f.last_of_right = 4;
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    cr_expect(told_warns(record, "row R is left out: it has 4 elements with a known place, and 6 are needed"));
    cr_expect_str_eq(told_text(element_of(record, "R02"), "state"), "unassigned");
    cr_expect_str_eq(told_text(element_of(record, "R02"), "why"), "its row is left out");
    cr_expect_str_eq(told_text(element_of(record, "L02"), "state"), "in place");
    json_decref(record);
}

Test(command_articulation, an_element_of_no_row_or_no_place_is_told_as_such)
{
    boxed_fish f = boxed_fish_make();
    f.more = "SK,skull roof,,,,field,,,\nK,scute,L,,,field,,,\n";
    f.points = "field,block,SK,1,0,0,0,0.3\nfield,block,SK,2,40,0,0,0.3\nfield,block,SK,3,20,30,0,0.3\n"
               "field,block,K,apex,0,0,0,0.3\n";
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    cr_expect_str_eq(told_text(element_of(record, "SK"), "why"), "belongs to no row");
    cr_expect_str_eq(
        told_text(element_of(record, "K"), "why"),
        "not known in the block’s frame: at field 1 point tells no place; give an outline of three, or two "
        "opposite landmarks (anterior and posterior, or left and right)");
    json_decref(record);
}

// --- what cannot be measured, and what is refused --------------------------------------------------------------------

Test(command_articulation, without_one_row_that_is_long_enough_nothing_can_be_judged)
{
    boxed_fish f = boxed_fish_make();
    f.more = "";
    boxed_fish_write(&f);
    program_write("fish/elements.csv", "id,kind,row,place,side,stage,part,bag,note\nD01,scute,D,1,,field,,,\n"
                                       "D02,scute,D,2,,field,,,\nD03,scute,D,3,,field,,,\n");
    json_t* record = told_by("articulation fish --json", 3);
    cr_expect(json_is_null(json_object_get(record, "unfilled")) && json_is_null(json_object_get(record, "skeleton")));
    cr_expect_str_eq(told_text(element_of(record, "D02"), "state"), "unassigned");
    cr_expect(json_is_null(json_object_get(element_of(record, "D02"), "shift_mm")));
    json_decref(record);
    program_write("fish/elements.csv", "id,kind,row,place,side,stage,part,bag,note\n");
    record = told_by("articulation fish --json", 3);
    cr_expect(json_is_null(json_object_get(record, "elements")));
    json_decref(record);
}

Test(command_articulation, without_rows_it_is_told_to_write_them)
{
    boxed_fish f = boxed_fish_make();
    boxed_fish_write(&f);
    program_shell("sed -i '/^rows:/,$d' fish/specimen.yaml");
    program_write("fish/elements.csv", "id,kind,row,place,side,stage,part,bag,note\nD01,scute,,,,field,,,\n");
    program_run run = program_call("articulation fish", NULL);
    cr_expect_eq(run.status, 3);
    cr_expect_not_null(strstr(run.err, "the record has no row of life positions; write them under rows"), "%s",
                       run.err);
    program_free(&run);
}

static void expect_refused(const char* more, const char* points, const char* where, const char* what)
{
    boxed_fish f = boxed_fish_make();
    f.more = more;
    f.points = points;
    boxed_fish_write(&f);
    program_run run = program_call("articulation fish --json", NULL);
    cr_expect_eq(run.status, 2, "%d: %s", run.status, run.err);
    cr_expect_str_empty(run.out);
    cr_expect_not_null(strstr(run.err, where), "%s", run.err);
    cr_expect_not_null(strstr(run.err, what), "%s", run.err);
    program_free(&run);
}

Test(command_articulation, what_means_nothing_is_refused_with_its_line)
{
    expect_refused("K,scute,L,,,field,,,\n",
                   "field,block,K,1,0,0,0,0.3\nfield,block,K,2,5,5,0,0.3\nfield,block,K,3,10,10,0,0.3\n",
                   "points.csv:", "its 3 points lie on a line within their sds");
    expect_refused("K,scute,L,,right,field,,,\n", "", "elements.csv:55", "side: 'right', and the row 'L' is 'left'");
    expect_refused("K,scute,L,3,,field,,,\n", "", "elements.csv:55", "the place 3 of the row 'L' is that of 'L03'");
    expect_refused("K,scute,L,,,,,,\n", "", "elements.csv:55", "neither stage nor bag");
}

Test(command_articulation, a_call_that_does_not_fit_is_refused)
{
    static const char* const lines[] = {"articulation", "articulation nowhere", "articulation a b"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
    {
        program_run run = program_call(lines[i], NULL);
        cr_expect_eq(run.status, 2, "%s", lines[i]);
        cr_expect_str_empty(run.out);
        program_free(&run);
    }
}

/// A row of the fish, as measured on another animal a third larger: its table.
static void write_life(const boxed_fish* f, size_t row, double stretched)
{
    FILE* file = fopen("life.csv", "w");
    fputs("place,x,y,z,sd_mm\n", file);
    for (size_t i = 0; i < f->bones->count; i++)
    {
        const rlv_placed_element* e = &f->bones->element[i];
        const double *at = e->element.position_mm, by = 1.3 * (1.0 + stretched * e->place_low);
        if (e->row == row)
            fprintf(file, "%d,%.3f,%.3f,%.3f,0.3\n", e->place_low, by * at[0], by * at[1], by * at[2]);
    }
    fclose(file);
}

/// Put it into the folder, and name it in the row's record.
static void use_life(const char* row)
{
    char record[40], with[80];
    cr_assert_eq(program_shell("mv life.csv fish/life.csv"), 0);
    snprintf(record, sizeof record, "{id: %s,", row);
    snprintf(with, sizeof with, "{id: %s, life_positions: life.csv,", row);
    program_change("fish/specimen.yaml", record, with);
}

static const json_t* row_of(const json_t* record, const char* id)
{
    return told_row(json_object_get(record, "rows"), "row", id);
}

/// Those in place with a remark are the ones that could not be tested: of the whole, the rows and the parts.
static void expect_untested(const json_t* record)
{
    const json_t* whole = json_object_get(record, "skeleton");
    size_t i;
    json_t* one;
    double untested = 0.0, of_rows = 0.0, of_parts = 0.0;
    json_array_foreach(json_object_get(record, "elements"), i, one) untested +=
        !json_is_null(json_object_get(one, "remark"));
    json_array_foreach(json_object_get(record, "rows"), i, one) of_rows += told_number(one, "untested");
    json_array_foreach(json_object_get(record, "share_in_place"), i, one)
    {
        const double left = told_number(one, "held") - told_number(one, "untested");
        of_parts += told_number(one, "untested");
        if (left > 0.0)
            cr_expect_float_eq(told_number(one, "share_tested_percent"),
                               100.0 * (told_number(one, "in_place") - told_number(one, "untested")) / left, 1e-9);
    }
    cr_expect_gt(untested, 0.0);
    cr_expect_eq(of_rows, untested);
    cr_expect_eq(of_parts, untested);
    cr_expect_eq(told_number(whole, "in_place_tested"), told_number(whole, "in_place") - untested);
    cr_expect_eq(told_number(whole, "tested"), told_number(whole, "held") + told_number(whole, "off_row") - untested);
    cr_expect_float_eq(told_number(whole, "share_in_place_tested_percent"),
                       100.0 * told_number(whole, "in_place_tested") / told_number(whole, "tested"), 1e-9);
    cr_expect_lt(told_number(whole, "share_in_place_tested_low_percent"),
                 told_number(whole, "share_in_place_tested_percent"));
}

Test(command_articulation, a_row_of_four_elements_is_judged_with_a_table_of_a_comparative_specimen)
{
    boxed_fish f = boxed_fish_make();
    f.last_of_right = 4;
    write_life(&f, 2, 0.0);
    boxed_fish_write(&f);
    use_life("R");
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* row = row_of(record, "R");
    cr_expect(json_is_true(json_object_get(row, "used")) && json_is_true(json_object_get(row, "compared")));
    cr_expect(told_number(row, "compared_scale_low") < 1.0 / 1.3 &&
              told_number(row, "compared_scale_high") > 1.0 / 1.3);
    cr_expect_str_eq(told_text(element_of(record, "R02"), "state"), "in place");
    cr_expect(json_is_null(json_object_get(row_of(record, "L"), "compared_p")));
    const json_t* left = row_of(record, "L");
    cr_expect_gt(told_number(left, "detectable_90_mm"), told_number(left, "detectable_80_mm"));
    cr_expect_leq(told_number(left, "detectable_80_least_mm"), told_number(left, "detectable_80_mm"));
    cr_expect_geq(told_number(left, "detectable_80_most_mm"), told_number(left, "detectable_80_mm"));
    const double own = told_number(element_of(record, "L12"), "detectable_80_mm");
    cr_expect(own >= told_number(left, "detectable_80_least_mm") && own <= told_number(left, "detectable_80_most_mm"));
    const json_t* whole = json_object_get(record, "skeleton");
    cr_expect_leq(told_number(whole, "in_place_faced"), told_number(whole, "in_place"));
    expect_untested(record);
    bool input = false;
    for (size_t i = 0; i < json_array_size(json_object_get(record, "inputs")); i++)
        input |= strstr(told_text(json_array_get(json_object_get(record, "inputs"), i), "path"), "life.csv") != NULL;
    cr_expect(input, "what was read is among the inputs");
    json_decref(record);
    program_run run = program_call("articulation fish", NULL);
    cr_expect_not_null(strstr(run.out, "It has the spacing of life.csv"), "%s", run.out);
    program_free(&run);
}

Test(command_articulation, a_table_that_misfits_is_a_warning_and_left_out)
{
    boxed_fish f = boxed_fish_make();
    write_life(&f, 1, 0.2);
    boxed_fish_write(&f);
    use_life("L");
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* row = row_of(record, "L");
    cr_expect(json_is_true(json_object_get(row, "used")) && json_is_false(json_object_get(row, "compared")));
    cr_expect_lt(told_number(row, "compared_p"), 0.01);
    cr_expect(told_warns(record, "row L does not have the spacing of life.csv"));
    json_decref(record);
}

Test(command_articulation, where_the_body_goes_on_is_told_until_it_leaves_the_block)
{
    boxed_fish f = boxed_fish_make();
    size_t kept = 0;
    for (size_t i = 0; i < f.bones->count; i++)
        if (f.bones->element[i].place_low <= 13)
            f.bones->element[kept++] = f.bones->element[i];
    f.bones->count = kept;
    boxed_fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* rows = json_object_get(record, "ahead");
    cr_assert_gt(json_array_size(rows), 1);
    for (size_t i = 0; i < json_array_size(rows); i++)
    {
        const json_t* row = json_array_get(rows, i);
        cr_expect(told_number(row, "plunge_low_deg") < told_number(row, "plunge_deg") &&
                  told_number(row, "plunge_high_deg") > told_number(row, "plunge_deg"));
        cr_expect(told_number(row, "depth_low_mm") < told_number(row, "depth_high_mm"));
        cr_expect(i + 1 == json_array_size(rows) || strcmp(told_text(row, "where"), "not collected") != 0);
        if (i > 0)
            cr_expect_gt(told_number(row, "half_mm"), told_number(json_array_get(rows, i - 1), "half_mm"));
    }
    cr_expect_str_eq(told_text(json_array_get(rows, 0), "where"), "in the rock");
    json_decref(record);
    program_run run = program_call("articulation fish", NULL);
    cr_expect_not_null(strstr(run.out, "where the rows go on beyond the last element"), "%s", run.out);
    program_free(&run);
}
