/// `articulation` on a small specimen of one stage, an invented skeleton in a box of rock: what is told of what was
/// moved, where what is missing is looked for, and what is refused. tests/samples/demo_articulation.c holds the demo's
/// truth against it.

#include "support/program.h"
#include "support/skeleton.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

TestSuite(command_articulation, .init = program_enter, .fini = program_leave, .timeout = 600);

enum
{
    ROWS = 3,
    PLACES = 18,
    WITHOUT = 8, ///< place of the first row that has no element
};

#define MARGIN_MM 30.0 ///< of rock about the skeleton

static const char* const row_id[ROWS] = {"D", "L", "R"};
static const char* const row_side[ROWS] = {"median", "left", "right"};

/// The specimen as it is about to be written.
typedef struct fish
{
    skeleton* bones;
    bool places;         ///< written down, and known to be counted from the head
    rlv_vec3 low, high;  ///< corners of the rock
    const char* more;    ///< lines of elements.csv
    const char* points;  ///< of points.csv
    size_t least_places; ///< of the third row: elements from there on are left out
} fish;

static fish fish_make(void)
{
    skeleton_plan plan = skeleton_draw(5, PLACES);
    plan.shape = SKELETON_STRAIGHT;
    plan.rows = ROWS;
    plan.missing = 0.0;
    for (size_t r = 0; r < ROWS; r++)
        plan.places[r] = PLACES;
    fish f = {.bones = skeleton_make(&plan),
              .places = true,
              .low = {INFINITY, INFINITY, INFINITY},
              .high = {-INFINITY, -INFINITY, -INFINITY},
              .more = "",
              .points = "",
              .least_places = PLACES};
    for (size_t i = 0; i < f.bones->count; i++)
    {
        const double* at = f.bones->element[i].element.position_mm;
        f.low = rlv_vec3_of(fmin(f.low.x, at[0]), fmin(f.low.y, at[1]), fmin(f.low.z, at[2]));
        f.high = rlv_vec3_of(fmax(f.high.x, at[0]), fmax(f.high.y, at[1]), fmax(f.high.z, at[2]));
    }
    const rlv_vec3 margin = rlv_vec3_of(MARGIN_MM, MARGIN_MM, MARGIN_MM);
    f.low = rlv_vec3_sub(f.low, margin);
    f.high = rlv_vec3_add(f.high, margin);
    return f;
}

static rlv_placed_element* bone_at(const fish* f, size_t row, int place)
{
    for (size_t i = 0; i < f->bones->count; i++)
        if (f->bones->element[i].row == row && f->bones->element[i].place_low == place)
            return &f->bones->element[i];
    cr_assert_fail("no bone at place %d of row %zu", place, row);
    return NULL;
}

/// An outline of 12 points of a plate of 12 by 8 mm, and the landmarks that tell its attitude.
static void write_plate(FILE* file, const char* id, const rlv_element* e)
{
    static const struct
    {
        const char* name;
        double along, across;
    } mark[] = {{"anterior", 6.0, 0.0}, {"posterior", -6.0, 0.0}, {"left", 0.0, 4.0}, {"right", 0.0, -4.0}};
    rlv_mat3 frame;
    memcpy(frame.m, e->frame, sizeof frame.m);
    const rlv_vec3 middle = rlv_vec3_of(e->position_mm[0], e->position_mm[1], e->position_mm[2]);
    for (int k = 0; k < 16; k++)
    {
        const double turn = 2.0 * M_PI * k / 12;
        const double along = k < 12 ? 6.0 * cos(turn) : mark[k - 12].along;
        const double across = k < 12 ? 4.0 * sin(turn) : mark[k - 12].across;
        const rlv_vec3 at = rlv_vec3_add(middle, rlv_mat3_apply(frame, rlv_vec3_of(along, across, 0.0)));
        char number[16];
        snprintf(number, sizeof number, "%d", k + 1);
        fprintf(file, "field,block,%s,%s,%.6f,%.6f,%.6f,0.3\n", id, k < 12 ? number : mark[k - 12].name, at.x, at.y,
                at.z);
    }
}

static void write_rock(const fish* f)
{
    static const char faces[] = "4 3 2 1 0\n4 4 5 6 7\n4 0 1 5 4\n4 1 2 6 5\n4 2 3 7 6\n4 3 0 4 7\n";
    FILE* file = fopen("fish/meshes/field.ply", "w");
    cr_assert_not_null(file);
    fputs("ply\nformat ascii 1.0\nelement vertex 8\nproperty double x\nproperty double y\nproperty double z\n"
          "element face 6\nproperty list uchar int vertex_indices\nend_header\n",
          file);
    for (int k = 0; k < 8; k++)
        fprintf(file, "%.6f %.6f %.6f\n", k % 4 == 1 || k % 4 == 2 ? f->high.x : f->low.x,
                k % 4 >= 2 ? f->high.y : f->low.y, k >= 4 ? f->high.z : f->low.z);
    fputs(faces, file);
    fclose(file);
}

static void write_record(const fish* f)
{
    FILE* file = fopen("fish/specimen.yaml", "w");
    cr_assert_not_null(file);
    fputs("specimen: LQ-0417\nstages:\n  - id: field\n    mesh: meshes/field.ply\n    mesh_unit: mm\n"
          "north: {stage: field, vector: [0, 1, 0]}\nup: {stage: field, vector: [0, 0, 1]}\n"
          "spoil:\n  - {bag: S1, stage: field}\nrows:\n",
          file);
    for (size_t r = 0; r < ROWS; r++)
        fprintf(file, "  - {id: %s, side: %s, kind: scute, places: [1, %d], places_known: %s}\n", row_id[r],
                row_side[r], PLACES, f->places ? "true" : "false");
    fclose(file);
}

/// Write the folder `fish`, and let the bones go.
static void fish_write(fish* f)
{
    cr_assert_eq(program_shell("mkdir -p fish/meshes"), 0);
    write_rock(f);
    write_record(f);
    FILE* points = fopen("fish/points.csv", "w");
    FILE* elements = fopen("fish/elements.csv", "w");
    cr_assert(points != NULL && elements != NULL);
    fputs("stage,mesh,object,point,x,y,z,sd_mm\n", points);
    fputs("id,kind,row,place,side,stage,part,bag,note\n", elements);
    for (size_t i = 0; i < f->bones->count; i++)
    {
        const rlv_placed_element* bone = &f->bones->element[i];
        char id[32], place[32] = "";
        if ((bone->row == 0 && bone->place_low == WITHOUT) ||
            (bone->row == 2 && bone->place_low > (int)f->least_places))
            continue;
        snprintf(id, sizeof id, "%s%02d", row_id[bone->row], bone->place_low);
        if (f->places || (bone->row == 0 && bone->place_low == 1))
            snprintf(place, sizeof place, "%d", bone->place_low);
        fprintf(elements, "%s,scute,%s,%s,,field,,,\n", id, row_id[bone->row], place);
        write_plate(points, id, &bone->element);
    }
    fputs(f->more, elements);
    fputs(f->points, points);
    fclose(points);
    fclose(elements);
    free(f->bones);
}

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
    fish f = fish_make();
    double* at = bone_at(&f, 1, 9)->element.position_mm;
    at[1] += 30.0; // to the north
    double* frame = bone_at(&f, 2, 6)->element.frame;
    for (int k = 0; k < 3; k++) // half a turn about the long axis
    {
        frame[3 * k + 1] = -frame[3 * k + 1];
        frame[3 * k + 2] = -frame[3 * k + 2];
    }
    fish_write(&f);
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
    fish f = fish_make();
    const double* truth = bone_at(&f, 0, WITHOUT)->element.position_mm;
    const double true_depth =
        fmin(fmin(fmin(truth[0] - f.low.x, f.high.x - truth[0]), fmin(truth[1] - f.low.y, f.high.y - truth[1])),
             fmin(truth[2] - f.low.z, f.high.z - truth[2]));
    const double at[3] = {truth[0], truth[1], truth[2]};
    fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* unfilled = json_object_get(record, "unfilled");
    cr_assert_eq(json_array_size(unfilled), 1);
    const json_t* one = json_array_get(unfilled, 0);
    told_has_keys(one, keys);
    cr_expect_eq(json_array_size(json_object_get(one, "covariance_mm2")), 9);
    cr_expect_str_eq(told_text(one, "row"), "D");
    cr_expect_eq((int)told_number(one, "place"), WITHOUT);
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
    fish f = fish_make();
    // The rock ends 12 mm short of the missing place along x.
    f.high.x = bone_at(&f, 0, WITHOUT)->element.position_mm[0] - 12.0;
    fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* one = json_array_get(json_object_get(record, "unfilled"), 0);
    cr_expect_str_eq(told_text(one, "where"), "not collected");
    cr_expect(told_number(one, "depth_low_mm") < -12.0 && told_number(one, "depth_high_mm") > -12.0, "%g",
              told_number(one, "depth_mm"));
    json_decref(record);
}

Test(command_articulation, places_that_nobody_counted_are_counted_along_their_rows)
{
    fish f = fish_make();
    f.places = false;
    fish_write(&f);
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
    fish f = fish_make();
    f.more = "S,scute,D,,,,,S1,\n";
    fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* rows = json_object_get(record, "candidates");
    // One life position of its row is free, and one in ten from the spoil belongs nowhere, whatever is known of it.
    cr_assert_eq(json_array_size(rows), 2);
    const json_t *place = json_array_get(rows, 0), *none = json_array_get(rows, 1);
    cr_expect_str_eq(told_text(place, "row"), "D");
    cr_expect_eq((int)told_number(place, "place"), WITHOUT);
    cr_expect_float_eq(told_number(place, "probability_percent"), 90.0, 1e-6);
    cr_expect(json_is_null(json_object_get(none, "row")));
    cr_expect_float_eq(told_number(none, "probability_percent"), 10.0, 1e-6);
    cr_expect_str_eq(told_text(element_of(record, "S"), "why"), "found in the spoil");
    json_decref(record);
}

Test(command_articulation, what_lies_off_a_row_whose_places_nobody_counted_has_moved)
{
    fish f = fish_make();
    f.places = false;
    rlv_element* moved = &bone_at(&f, 1, 9)->element;
    for (int k = 0; k < 3; k++) // out of the body wall: along it by a pitch would be its neighbour's place
        moved->position_mm[k] += 20.0 * moved->frame[3 * k + 2];
    fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    const json_t* off = element_of(record, "L09");
    cr_expect_str_eq(told_text(off, "state"), "unassigned");
    cr_expect_not_null(strstr(told_text(off, "why"), "lies off its row"));
    cr_expect_eq((int)told_number(off, "nearest_free"), 9);
    // Scatter and error are 1.1 mm at the most.
    cr_expect_float_eq(told_number(off, "nearest_free_distance_mm"), 20.0, 5.0);
    json_decref(record);
}

Test(command_articulation, the_same_bytes_for_any_number_of_threads)
{
    static const char* const files[] = {
        "articulation.csv",   "groups.csv",   "unfilled.csv",     "candidates.csv",    "articulation_rows.csv",
        "share_in_place.csv", "skeleton.csv", "motions.csv",      "motions_level.csv", "motions_space.csv",
        "displaced_axes.csv", "meanings.csv", "articulation.json"};
    fish f = fish_make();
    fish_write(&f);
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
    fish f = fish_make();
    f.least_places = 4;
    fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    cr_expect(told_warns(record, "row R is left out: it has 4 elements with a known place, and 6 are needed"));
    cr_expect_str_eq(told_text(element_of(record, "R02"), "state"), "unassigned");
    cr_expect_str_eq(told_text(element_of(record, "R02"), "why"), "its row is left out");
    cr_expect_str_eq(told_text(element_of(record, "L02"), "state"), "in place");
    json_decref(record);
}

Test(command_articulation, an_element_of_no_row_or_no_place_is_told_as_such)
{
    fish f = fish_make();
    f.more = "SK,skull roof,,,,field,,,\nK,scute,L,,,field,,,\n";
    f.points = "field,block,SK,1,0,0,0,0.3\nfield,block,SK,2,40,0,0,0.3\nfield,block,SK,3,20,30,0,0.3\n"
               "field,block,K,apex,0,0,0,0.3\n";
    fish_write(&f);
    json_t* record = told_by("articulation fish --json", 0);
    cr_expect_str_eq(told_text(element_of(record, "SK"), "why"), "belongs to no row");
    cr_expect_str_eq(told_text(element_of(record, "K"), "why"), "not known in the block's frame");
    json_decref(record);
}

// --- what cannot be measured, and what is refused --------------------------------------------------------------------

Test(command_articulation, without_one_row_that_is_long_enough_nothing_can_be_judged)
{
    fish f = fish_make();
    f.more = "";
    fish_write(&f);
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

static void expect_refused(const char* more, const char* points, const char* where, const char* what)
{
    fish f = fish_make();
    f.more = more;
    f.points = points;
    fish_write(&f);
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

Test(command_articulation, its_pictures_are_drawn_by_name_and_are_the_same_bytes_for_any_number_of_threads)
{
    static const char* const pictures[] = {"bone-map", "body-plan", "directions"};
    fish f = fish_make();
    fish_write(&f);
    for (size_t i = 0; i < sizeof pictures / sizeof *pictures; i++)
    {
        for (int threads = 1; threads <= 2; threads++)
        {
            char line[160];
            snprintf(line, sizeof line, "render fish --picture %s --format pdf --threads %d --out out%d --json",
                     pictures[i], threads, threads);
            json_t* record = told_by(line, 0);
            const json_t* picture = json_object_get(record, "picture");
            char file[64];
            snprintf(file, sizeof file, "%s.pdf", pictures[i]);
            cr_expect_str_eq(told_text(picture, "path"), file);
            cr_expect_not(told_warns(record, "found no room"));
            json_decref(record);
        }
        cr_expect_eq(program_shell("cmp out1/%s.pdf out2/%s.pdf", pictures[i], pictures[i]), 0, "%s", pictures[i]);
    }
}

Test(command_articulation, a_bone_map_is_at_true_scale_from_the_side_and_on_the_stage_that_are_named)
{
    fish f = fish_make();
    fish_write(&f);
    json_t* record =
        told_by("render fish --picture bone-map --stage field --view 45,30 --format svg --out out --json", 0);
    const json_t* picture = json_object_get(record, "picture");
    cr_expect_str_eq(told_text(picture, "path"), "bone-map-az45-el30.svg");
    cr_expect_float_eq(told_number(picture, "scale"), 1.0, 1e-12);
    cr_expect_not_null(strstr(told_text(picture, "alt"), "53 elements"), "%s", told_text(picture, "alt"));
    json_decref(record);
    static const char* const refused[] = {"render fish --picture body-plan --out o --stage field",
                                          "render fish --picture directions --out o --view upper",
                                          "render fish --picture bone-map --out o --stage nowhere"};
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++)
    {
        program_run run = program_call(refused[i], NULL);
        cr_expect_eq(run.status, 2, "%s", refused[i]);
        program_free(&run);
    }
    cr_expect_eq(folder_count("o"), -1);
}
