/// `elements` on a small specimen: what is told, what is refused, and that both come with the right exit status.

#include "support/program.h"
#include "support/told.h"
#include "support/two_stages.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

TestSuite(command_elements, .init = program_enter, .fini = program_leave, .timeout = 600);

static const char head[] = "id,kind,row,place,side,stage,part,bag,note\n";

static const char more[] = "north: {stage: field, vector: [0, 1, 0]}\n"
                           "up: {stage: field, vector: [0, 0, 1]}\n"
                           "bedding: {stage: field, points: bedding}\n"
                           "spoil:\n  - bag: S1\n    stage: field\n"
                           "rows:\n  - id: LL\n    side: left\n    places: [1, 30]\n";

static const char bedding[] = "field,block,bedding,1,-40,-30,5,0.3\nfield,block,bedding,2,40,-30,5,0.3\n"
                              "field,block,bedding,3,40,30,5,0.3\nfield,block,bedding,4,-40,30,5,0.3\n";

/// The points of a plate of 27 by 20 mm at (10, 20, 30), that points east and dips 30 degrees to the north. Exact: what
/// is told of it is off by rounding alone.
static void write_plate(FILE* file, const char* id, bool landmarks)
{
    for (int k = 0; k < 12; k++)
    {
        const double turn = 2.0 * M_PI * k / 12, x = 13.5 * cos(turn), y = 10.0 * sin(turn);
        fprintf(file, "field,block,%s,%d,%.9f,%.9f,%.9f,0.3\n", id, k + 1, 10.0 + x, 20.0 + y * cos(M_PI / 6),
                30.0 - y * sin(M_PI / 6));
    }
    static const struct
    {
        const char* name;
        double x, y;
    } mark[] = {{"anterior", 13.5, 0.0}, {"posterior", -13.5, 0.0}, {"left", 0.0, 10.0}};
    for (size_t k = 0; landmarks && k < 3; k++)
        fprintf(file, "field,block,%s,%s,%.9f,%.9f,%.9f,0.3\n", id, mark[k].name, 10.0 + mark[k].x,
                20.0 + mark[k].y * cos(M_PI / 6), 30.0 - mark[k].y * sin(M_PI / 6));
}

/// A block of 100 mm, so that nothing has to be aligned.
static const char box[] = "ply\nformat ascii 1.0\nelement vertex 8\nproperty float x\nproperty float y\n"
                          "property float z\nelement face 6\nproperty list uchar int vertex_indices\nend_header\n"
                          "-50 -50 -60\n50 -50 -60\n50 50 -60\n-50 50 -60\n-50 -50 40\n50 -50 40\n50 50 40\n-50 50 40\n"
                          "4 3 2 1 0\n4 4 5 6 7\n4 0 1 5 4\n4 1 2 6 5\n4 2 3 7 6\n4 3 0 4 7\n";

static void add_elements(const char* elements, const char* points)
{
    char text[4096];
    snprintf(text, sizeof text, "%s%s", head, elements);
    program_write("fish/elements.csv", text);
    FILE* file = fopen("fish/points.csv", "a");
    cr_assert_not_null(file);
    write_plate(file, "A1", true);
    write_plate(file, "A2", false);
    fputs(points, file);
    fclose(file);
}

/// The specimen `fish` of one stage, with elements.csv and what is added to points.csv.
static void write_fish(const char* elements, const char* points)
{
    char text[4096];
    cr_assert_eq(program_shell("mkdir -p fish/meshes"), 0);
    program_write("fish/meshes/field.ply", box);
    snprintf(text, sizeof text,
             "specimen: LQ-0417\nstages:\n  - id: field\n    mesh: meshes/field.ply\n    mesh_unit: mm\n%s", more);
    program_write("fish/specimen.yaml", text);
    snprintf(text, sizeof text, "stage,mesh,object,point,x,y,z,sd_mm\n%s", bedding);
    program_write("fish/points.csv", text);
    add_elements(elements, points);
}

/// The same of two stages, with bone as an object of the first one's mesh.
static void write_two(const char* elements)
{
    two_stages_write("fish", 21, more, bedding);
    add_elements(elements, "");
}

static const json_t* element_of(const json_t* record, const char* id)
{
    return told_row(json_object_get(record, "elements"), "element", id);
}

static void expect_text(const json_t* object, const char* key, const char* text)
{
    const char* is = json_string_value(json_object_get(object, key));
    cr_expect(is != NULL && strcmp(is, text) == 0, "%s is '%s', not '%s'", key, is != NULL ? is : "null", text);
}

static void expect_refused(const char* where, const char* what)
{
    program_run run = program_call("elements fish", NULL);
    cr_expect_eq(run.status, 2, "%d: %s", run.status, run.err);
    cr_expect_str_empty(run.out);
    cr_expect_not_null(strstr(run.err, where), "%s", run.err);
    cr_expect_not_null(strstr(run.err, what), "%s", run.err);
    program_free(&run);
}

// --- what is told ----------------------------------------------------------------------------------------------------

static const char three[] = "A1,scute,LL,4,left,field,,,\n"
                            "A2,scute,LL,5-7,left,field,,,<b>no landmarks</b>\n"
                            "C,scute,LL,,,,,S1,\n";

Test(command_elements, a_plate_is_told_as_it_lies_and_the_rest_as_far_as_it_is_known)
{
    write_fish(three, "");
    json_t* record = told_by("elements fish --json --threads 1", 0);
    const json_t* a = element_of(record, "A1");
    const json_t* at = json_object_get(a, "position_mm");
    // Points are exact to a nanometre; a polygon of twelve has its middle at the oval's.
    cr_expect_float_eq(json_number_value(json_array_get(at, 0)), 10.0, 1e-6);
    cr_expect_float_eq(json_number_value(json_array_get(at, 1)), 20.0, 1e-6);
    cr_expect_float_eq(json_number_value(json_array_get(at, 2)), 30.0, 1e-6);
    cr_expect_float_eq(told_number(a, "trend_deg"), 90.0, 1e-6);
    cr_expect_float_eq(told_number(a, "plunge_deg"), 0.0, 1e-6);
    cr_expect_float_eq(told_number(a, "bedding_deg"), 30.0, 1e-6);
    cr_expect(told_number(a, "bedding_low_deg") < 30.0 && told_number(a, "bedding_high_deg") > 30.0);
    cr_expect(told_number(a, "length_low_mm") < 27.0 && told_number(a, "length_high_mm") > 27.0);
    cr_expect(told_number(a, "width_low_mm") < 20.0 && told_number(a, "width_high_mm") > 20.0);
    expect_text(a, "face", "up");
    expect_text(a, "seen", "field");
    cr_expect(json_is_true(json_object_get(a, "anterior_known")));
    cr_expect_eq(json_array_size(json_object_get(a, "position_covariance_mm2")), 9);
    // Without landmarks: the same line, of which no end is known, and no face.
    const json_t* b = element_of(record, "A2");
    expect_text(b, "note", "<b>no landmarks</b>");
    cr_expect(json_is_null(json_object_get(b, "unplaced")) && json_is_null(json_object_get(b, "covered")));
    cr_expect_float_eq(told_number(b, "bedding_deg"), 30.0, 1e-6);
    cr_expect(json_is_null(json_object_get(b, "face")));
    cr_expect(json_is_true(json_object_get(b, "long_known")) && json_is_false(json_object_get(b, "anterior_known")));
    expect_text(b, "place", "5-7");
    // Found in the spoil: its bag, and no place.
    const json_t* c = element_of(record, "C");
    expect_text(c, "bag_stage", "field");
    cr_expect(json_is_null(json_object_get(c, "position_mm")));
    const json_t* plane = json_object_get(record, "bedding");
    cr_expect_float_eq(told_number(plane, "dip_deg"), 0.0, 1e-6);
    cr_expect_gt(told_number(plane, "sd_deg"), 0.0);
    cr_expect_str_eq(told_text(plane, "points"), "bedding");
    cr_expect_float_eq(json_number_value(json_array_get(json_object_get(plane, "pole"), 2)), 1.0, 1e-6);
    json_decref(record);
}

/// What is told of a part of the mesh in the file that --out wrote.
static void check_part(void)
{
    json_t* record = json_load_file("out1/elements.json", 0, NULL);
    const json_t* list = json_object_get(record, "sightings");
    size_t found = 0;
    for (size_t i = 0; i < json_array_size(list); i++)
    {
        const json_t* row = json_array_get(list, i);
        if (strcmp(json_string_value(json_object_get(row, "element")), "B") != 0)
            continue;
        found++;
        expect_text(row, "stage", "field");
        expect_text(row, "by", "part");
        cr_expect_gt(told_number(row, "exposed_mm2"), 10.0);
        cr_expect_float_eq(told_number(row, "exposed_share_percent"), 100.0, 1e-9);
    }
    cr_expect_eq(found, 1);
    json_decref(record);
}

Test(command_elements, two_stages_give_the_same_bytes_for_any_number_of_threads_and_a_part_its_area)
{
    static const char* const files[] = {"elements.csv", "sightings.csv", "attitudes.csv",
                                        "bedding.csv",  "meanings.csv",  "elements.json"};
    write_two("A1,scute,LL,4,left,field,,,\nB,bone,,,,field,bone,,\n");
    for (int threads = 1; threads <= 2; threads++)
    {
        char line[100];
        snprintf(line, sizeof line, "elements fish --threads %d --out out%d", threads, threads);
        program_run run = program_call(line, NULL);
        cr_assert_eq(run.status, 0, "%s", run.err);
        cr_expect_not_null(strstr(run.out, "090/00"), "%s", run.out);
        program_free(&run);
    }
    cr_expect_eq(folder_count("out1"), (int)(sizeof files / sizeof *files));
    for (size_t i = 0; i < sizeof files / sizeof *files; i++)
        cr_expect_eq(program_shell("cmp out1/%s out2/%s", files[i], files[i]), 0, "%s", files[i]);
    check_part();
}

Test(command_elements, without_north_and_up_there_is_no_trend_and_a_warning)
{
    write_fish("A1,scute,LL,4,left,field,,,\n", "");
    program_write("fish/specimen.yaml", "specimen: LQ-0417\nstages:\n  - id: field\n    mesh: meshes/field.ply\n"
                                        "    mesh_unit: mm\nrows:\n  - id: LL\n    side: left\n    places: [1, 30]\n");
    json_t* record = told_by("elements fish --json", 0);
    const json_t* a = element_of(record, "A1");
    cr_expect(json_is_null(json_object_get(a, "trend_deg")) && json_is_null(json_object_get(a, "face")));
    cr_expect(json_is_null(json_object_get(a, "bedding_deg")) && json_is_null(json_object_get(record, "bedding")));
    cr_expect(told_number(a, "length_low_mm") < 27.0 && told_number(a, "length_high_mm") > 27.0);
    cr_expect_eq(json_array_size(json_object_get(record, "warnings")), 2); // and no alignment tells the noise
    json_decref(record);
}

Test(command_elements, a_word_that_is_no_landmark_is_left_out_with_a_warning)
{
    write_fish("A1,scute,LL,4,left,field,,,\n", "field,block,A1,anterier,0,0,0,\n");
    json_t* record = told_by("elements fish --json", 0);
    cr_expect(told_warns(record, "'anterier' of 'A1' is no landmark"));
    json_decref(record);
}

Test(command_elements, fewer_than_three_numbered_points_are_left_out_where_something_else_tells_the_place)
{
    write_two("B,bone,,,,field,bone,,\n");
    json_t* record = told_by("elements fish --json", 0);
    const json_t* bare = json_object_get(element_of(record, "B"), "position_mm");
    FILE* file = fopen("fish/points.csv", "a");
    cr_assert_not_null(file);
    fputs("field,block,B,1,0,0,0,0.3\nfield,block,B,2,5,0,0,0.3\n", file);
    fclose(file);
    json_t* pointed = told_by("elements fish --json", 0);
    cr_expect(!json_is_null(bare) && json_equal(bare, json_object_get(element_of(pointed, "B"), "position_mm")));
    cr_expect(told_warns(pointed, "B at field: 2 points enclose nothing"));
    json_decref(record);
    json_decref(pointed);
    write_fish("K,scute,,,,field,,,\n", "field,block,K,1,0,9,0,0.3\nfield,block,K,anterior,-10,0,0,0.3\n"
                                        "field,block,K,posterior,10,0,0,0.3\n");
    record = told_by("elements fish --json", 0);
    cr_expect(!json_is_null(json_object_get(element_of(record, "K"), "position_mm")));
    cr_expect(told_warns(record, "K at field: 1 point encloses nothing"));
    json_decref(record);
}

Test(command_elements, without_an_outline_or_a_front_the_pole_still_points_out_of_the_block)
{
    // Two sides on the block's underside, whose middle is at z = -10: outwards there is down.
    write_fish("K,scute,,,,field,,,\n", "field,block,K,left,8,0,-60,0.3\nfield,block,K,right,-8,0,-60,0.3\n");
    json_t* record = told_by("elements fish --json", 0);
    const json_t* frame = json_object_get(element_of(record, "K"), "frame");
    cr_assert_eq(json_array_size(frame), 9);
    cr_expect_float_eq(json_number_value(json_array_get(frame, 8)), -1.0, 1e-6);
    json_decref(record);
}

Test(command_elements, without_an_element_nothing_can_be_measured)
{
    write_fish("", "");
    json_t* record = told_by("elements fish --json", 3);
    cr_expect(json_is_null(json_object_get(record, "elements")));
    cr_expect_eq(json_array_size(json_object_get(record, "inputs")), 3, "no mesh is read for it");
    json_decref(record);
    write_fish("C,scute,LL,,,,,S1,\n", "");
    record = told_by("elements fish --json", 3);
    expect_text(element_of(record, "C"), "bag", "S1");
    json_decref(record);
}

// --- what is refused -------------------------------------------------------------------------------------------------

Test(command_elements, an_outline_on_a_line_is_refused_with_its_line)
{
    write_fish("K,scute,,,,field,,,\n", "field,block,K,1,0,0,0,0.3\nfield,block,K,2,5,5,0,0.3\n"
                                        "field,block,K,3,10,10,0,0.3\nfield,block,K,4,15,15,0,0.3\n");
    expect_refused("points.csv:33", "'K' at 'field': its 4 points lie on a line within their sds");
}

Test(command_elements, an_outline_that_crosses_itself_is_refused)
{
    write_fish("K,scute,,,,field,,,\n", "field,block,K,1,0,0,0,0.3\nfield,block,K,2,20,22,0,0.3\n"
                                        "field,block,K,3,20,0,0,0.3\nfield,block,K,4,0,20,0,0.3\n");
    expect_refused("points.csv:33", "its outline crosses itself between points 1 and 2 and points 3 and 4");
}

Test(command_elements, an_outline_with_a_gap_beside_landmarks_is_refused)
{
    write_fish("K,scute,,,,field,,,\n", "field,block,K,1,0,0,0,0.3\nfield,block,K,2,20,0,0,0.3\n"
                                        "field,block,K,4,20,20,0,0.3\nfield,block,K,anterior,0,20,0,0.3\n");
    expect_refused("points.csv:33", "its outline has 3 points, and none is numbered 3");
}

/// Whether a warning is made of these two.
static bool is_warned(const json_t* record, const char* of, const char* words)
{
    const json_t* all = json_object_get(record, "warnings");
    for (size_t i = 0; i < json_array_size(all); i++)
    {
        const char* text = json_string_value(json_array_get(all, i));
        if (strncmp(text, of, strlen(of)) == 0 && strcmp(text + strlen(of), words) == 0)
            return true;
    }
    return false;
}

Test(command_elements, too_few_points_are_a_warning_and_no_place)
{
    write_fish("A1,scute,LL,4,left,field,,,\nK,scute,,,,field,,,\n", "field,block,K,apex,0,0,0,0.3\n");
    json_t* record = told_by("elements fish --json", 0);
    const json_t* one = element_of(record, "K");
    cr_expect(json_is_null(json_object_get(one, "position_mm")));
    const char* why = "at field 1 point tells no place; give an outline of three, or two opposite landmarks (anterior "
                      "and posterior, or left and right)";
    expect_text(one, "unplaced", why);
    cr_expect(is_warned(record, "K ", why)); // in the same words
    json_decref(record);
}

Test(command_elements, of_an_outline_that_encloses_too_little_one_sentence_warns)
{
    // A crescent 0.2 mm wide, of points known to 0.3 mm.
    char points[1200] = "";
    for (int i = 0; i < 12; i++)
    {
        const double turn = M_PI * (i < 6 ? i : 11 - i) / 5.0, reach = i < 6 ? 5.0 : 4.8;
        snprintf(points + strlen(points), sizeof points - strlen(points), "field,block,K,%d,%.6f,%.6f,0,0.3\n", i + 1,
                 reach * cos(turn), reach * sin(turn));
    }
    write_fish("A1,scute,LL,4,left,field,,,\nK,scute,,,,field,,,\n", points);
    json_t* record = told_by("elements fish --json", 0);
    cr_expect(is_warned(record, "K at field: ",
                        "its outline encloses too little, for the sds of its points, to tell how it is turned. It is "
                        "told where it lies alone; place points on all sides of it, where more of it shows"));
    json_decref(record);
}

/// Points round half of a plate as write_plate has it, at (x, 20, 30): all beyond its middle is covered.
static void write_half(char* text, size_t size, const char* id, double x)
{
    size_t length = strlen(text);
    for (int k = 0; k < 12; k++)
    {
        const double turn = 2.0 * M_PI * k / 12, y = 10.0 * sin(turn);
        length += (size_t)snprintf(text + length, size - length, "field,block,%s,%d,%.6f,%.6f,%.6f,0.3\n", id, k + 1,
                                   x + 13.5 * cos(turn), 20.0 + fmin(y, 0.0) * cos(M_PI / 6),
                                   30.0 - fmin(y, 0.0) * sin(M_PI / 6));
    }
}

Test(command_elements, what_is_covered_by_half_is_told_so_and_less_surely)
{
    char points[4096] = {""};
    write_half(points, sizeof points, "A3", 15.0);
    write_fish("A1,scute,LL,4,left,field,,,\nA2,scute,LL,5,left,field,,,\nA3,scute,LL,6,left,field,,,\"on edge\"\n",
               points);
    json_t* record = told_by("elements fish --json", 0);
    const json_t *whole = element_of(record, "A1"), *half = element_of(record, "A3");
    const char* covered = json_string_value(json_object_get(half, "covered"));
    cr_assert_not_null(covered);
    cr_expect_not_null(strstr(covered, "width by"), "%s", covered);
    cr_expect(json_is_null(json_object_get(whole, "covered")));
    // Half of the 10 mm that are missing, 1.96 sds.
    cr_expect_gt(told_number(half, "position_half_mm"), 0.9 * 1.96 * 5.0);
    cr_expect_lt(told_number(whole, "position_half_mm"), 2.0);
    json_decref(record);
}

Test(command_elements, a_part_that_no_mesh_has_is_refused)
{
    write_fish("K,scute,,,,field,scute 7,,\n", "");
    expect_refused("elements.csv:2", "no stage's mesh has the part 'scute 7' of 'K'");
}

Test(command_elements, an_element_on_the_wrong_side_or_in_a_taken_place_or_from_nowhere_is_refused)
{
    write_fish("K,scute,LL,4,right,field,,,\n", "");
    expect_refused("elements.csv:2", "side: 'right', and the row 'LL' is 'left'");
    write_fish("K,scute,LL,4,left,field,,,\nL,scute,LL,4,left,field,,,\n", "");
    expect_refused("elements.csv:3", "the place 4 of the row 'LL' is that of 'K' in line 2 already");
    write_fish("K,scute,LL,4,left,,,,\n", "");
    expect_refused("elements.csv:2", "neither stage nor bag");
}

Test(command_elements, bedding_on_a_line_is_refused)
{
    write_fish("A1,scute,,,,field,,,\n", "");
    program_write("fish/points.csv", "stage,mesh,object,point,x,y,z,sd_mm\nfield,block,bedding,1,0,0,0,0.3\n"
                                     "field,block,bedding,2,5,5,0,0.3\nfield,block,bedding,3,10,10,0,0.3\n");
    expect_refused("bedding.points", "the 3 points lie on a line within their sds");
}

Test(command_elements, a_call_that_does_not_fit_is_refused)
{
    program_run run = program_call("elements", NULL);
    cr_expect_eq(run.status, 2);
    program_free(&run);
    run = program_call("elements nowhere", NULL);
    cr_expect_eq(run.status, 2);
    cr_expect_str_empty(run.out);
    program_free(&run);
}
