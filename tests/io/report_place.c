#include "report_place.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(report_place);

static float corner[12] = {0, 0, 0, 200, 0, 0, 200, 100, 0, 0, 100, 0};
static uint32_t side[6] = {0, 1, 2, 0, 2, 3};

/// A plate of 200 by 100 mm with squares of 50 mm, and two elements: the nearer one shows no more at the last stage.
typedef struct plate
{
    rlv_stage_record record[2];
    rlv_specimen specimen;
    history_stage stage[2];
    rlv_pose pose[2];
    rlv_history history;
    rlv_element_record named[2];
    history_sighting sighting[2];
    history_element one[2];
    history_elements elements;
} plate;

static void lay(plate* p)
{
    *p = (plate){.record = {{.id = (char*)"field"}, {.id = (char*)"cleaned"}},
                 .named = {{.id = (char*)"LL01"}, {.id = (char*)"LL02"}}};
    p->specimen = (rlv_specimen){.stage_count = 2, .stage = p->record};
    for (size_t i = 0; i < 2; i++)
    {
        p->pose[i] = rlv_pose_identity();
        p->stage[i].record = &p->record[i];
        p->stage[i].given.mesh =
            (rlv_mesh){.vertex_count = 4, .triangle_count = 2, .position_mm = corner, .corner = side};
        p->sighting[i] = (history_sighting){.stage = i, .mesh = "block", .placed = true};
        p->one[i] =
            (history_element){.record = &p->named[i], .sighting_count = 1, .sighting = &p->sighting[i], .placed = true};
        p->one[i].told.position_mm[0] = 70.0 - 20.0 * (double)i;
        p->one[i].told.position_mm[1] = 60.0;
    }
    p->history = (rlv_history){
        .specimen = &p->specimen, .stage_count = 2, .stage = p->stage, .joined = true, .stages = {.stage_count = 2}};
    p->history.stages.pose = p->pose;
    p->history.grid = (history_grid){.known = true,
                                     .axes = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
                                     .corner_mm = {0, 100, 0},
                                     .side_mm = 50.0,
                                     .columns = 4,
                                     .rows = 2};
    p->elements = (history_elements){.history = &p->history, .count = 2, .one = p->one};
}

Test(report_place, a_place_is_told_by_its_square_the_nearest_element_that_shows_and_the_nearest_edge)
{
    plate p;
    lay(&p);
    // 20 mm right of LL02, which shows at the last stage; 40 mm beneath the upper edge, less than to any other.
    cr_expect_str_eq(report_place(&p.elements, rlv_vec3_of(70, 60, -9)).text,
                     "B1, 20 mm towards the right edge of the map from LL02, 40 mm from the upper edge");
    p.history.grid.north_up = true;
    cr_expect_str_eq(report_place(&p.elements, rlv_vec3_of(70, 60, -9)).text,
                     "B1, 20 mm east of LL02, 40 mm from the northern edge");
    p.history.grid.north_up = false;
    p.sighting[0].stage = 1;
    cr_expect_str_eq(report_place(&p.elements, rlv_vec3_of(80, 60, -9)).text,
                     "B1, 10 mm towards the right edge of the map from LL01, 40 mm from the upper edge");
}

Test(report_place, a_place_in_the_middle_of_an_element_or_on_an_edge_is_no_distance_from_it)
{
    plate p;
    lay(&p);
    cr_expect_str_eq(report_place(&p.elements, rlv_vec3_of(50.0, 60.3, 5)).text,
                     "B1, at the middle of LL02, 40 mm from the upper edge");
    cr_expect_str_eq(report_place(&p.elements, rlv_vec3_of(50, 0, 0)).text,
                     "B2, 60 mm towards the lower edge of the map from LL02, at the lower edge");
}

Test(report_place, a_run_of_places_is_told_from_its_first_square_to_its_last)
{
    plate p;
    lay(&p);
    const rlv_vec3 first = {70, 60, 0}, beside = {90, 70, 0}, last = {170, 20, -30};
    cr_expect_str_eq(report_places(&p.elements, first, last).text, "from B1 to D2, along the corridor");
    cr_expect_str_eq(report_places(&p.elements, first, beside).text, "in B1, along the corridor");
    cr_expect_str_eq(report_places(&p.elements, first, first).text, report_place(&p.elements, first).text);
    p.history.grid.known = false;
    cr_expect_str_eq(report_places(&p.elements, first, last).text, "");
}

Test(report_place, what_is_not_known_is_left_out)
{
    plate p;
    lay(&p);
    p.elements.count = 0;
    cr_expect_str_eq(report_place(&p.elements, rlv_vec3_of(-10, 60, 0)).text, "A1", "it lies beyond the block");
    p.history.grid.known = false;
    cr_expect_str_eq(report_place(&p.elements, rlv_vec3_of(70, 60, 0)).text, "");
    cr_expect_str_eq(report_place_meaning(&p.history).text, "");
}

static report_text line_of(const plate* p, const char* name)
{
    const report_lines lines = report_map_reading(&p->history);
    for (size_t i = 0; i < lines.count; i++)
        if (strcmp(lines.line[i].name, name) == 0)
            return lines.line[i].words;
    return (report_text){""};
}

Test(report_place, how_the_maps_are_read_says_where_the_squares_begin_and_where_the_marks_lie)
{
    plate p;
    lay(&p);
    rlv_point_record point[4] = {{.stage = (char*)"field", .object = (char*)"marks", .point = (char*)"m1"},
                                 {.stage = (char*)"cleaned", .object = (char*)"marks", .point = (char*)"m1"},
                                 {.stage = (char*)"cleaned", .object = (char*)"marks", .point = (char*)"m2"},
                                 {.stage = (char*)"cleaned", .object = (char*)"marks", .point = (char*)"7"}};
    size_t order[4] = {1, 3, 2, 0};
    for (size_t i = 0; i < 4; i++)
    {
        point[i].mesh = (char*)"block";
        point[i].at[0] = 62.0;
        point[i].at[1] = 91.0;
    }
    p.stage[1].mm_per_unit = 1.0;
    p.specimen.point_count = 4;
    p.specimen.point = point;
    p.specimen.point_order = order;
    p.history.grid.corner_mm = rlv_vec3_of(-7, 112, 0);
    cr_expect_not_null(strstr(line_of(&p, "Squares").text,
                              "Square A1 begins 7 mm beyond the block’s outermost place on its left side and 12 mm "
                              "beyond the block’s outermost place on its upper side"),
                       "%s", line_of(&p, "Squares").text);
    p.history.grid.corner_mm = rlv_vec3_of(-7, 100.2, 0);
    cr_expect_not_null(
        strstr(line_of(&p, "Squares").text, "and level with the block’s outermost place on its upper side"));
    p.history.grid.corner_mm = rlv_vec3_of(-7, 112, 0);
    // Of the points of the last stage the one that another stage has too: 69 and 21 mm from the corner, in B1.
    cr_expect_str_eq(line_of(&p, "Marks in them").text,
                     "marks m1 in B1, 19 mm from its left and 21 mm from its upper line");
    p.history.grid.north_up = true;
    cr_expect_str_eq(line_of(&p, "Marks in them").text,
                     "marks m1 in B1, 19 mm from its western and 21 mm from its northern line");
    p.history.grid.known = false;
    cr_expect_eq(report_map_reading(&p.history).count, 0);
}
