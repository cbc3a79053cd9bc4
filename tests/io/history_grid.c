#include "history_grid.h"

#include "history.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

TestSuite(history_grid);

static const rlv_camera_axes from_above = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};

/// Squares of 50 mm, five across and four down, whose upper left corner is at (−100, 80).
static history_grid fifties(void)
{
    return (history_grid){
        .known = true, .axes = from_above, .corner_mm = {-100, 80, 0}, .side_mm = 50.0, .columns = 5, .rows = 4};
}

static void cr_named(const char* name, double x, double y)
{
    const history_grid grid = fifties();
    cr_expect_str_eq(history_grid_square(&grid, rlv_vec3_of(x, y, 33.0)).name, name, "%g, %g", x, y);
}

Test(history_grid, letters_go_to_the_right_and_numbers_down_from_the_upper_left_corner)
{
    cr_named("A1", -99.0, 79.0);
    cr_named("B1", -49.0, 79.0);
    cr_named("A2", -99.0, 29.0);
    cr_named("E4", 149.0, -119.0);
    cr_named("E4", 500.0, -500.0); // beyond them: the nearest
    cr_named("", (double)NAN, 0.0);
    cr_expect_str_eq(history_grid_square(&(history_grid){0}, rlv_vec3_of(0, 0, 0)).name, "");
}

Test(history_grid, what_lies_beside_what_is_told_as_the_map_shows_it)
{
    const history_grid grid = fifties();
    const rlv_vec3 from = {10, 10, 0};
    cr_expect_str_eq(history_grid_way(&grid, from, rlv_vec3_of(30, 11, 90)), "towards the right edge of the map from");
    cr_expect_str_eq(history_grid_way(&grid, from, rlv_vec3_of(10, 30, 0)), "towards the upper edge of the map from");
    cr_expect_str_eq(history_grid_way(&grid, from, rlv_vec3_of(0, 0, 0)), "towards the lower left of the map from");
    cr_expect_str_eq(history_grid_way(&grid, from, rlv_vec3_of(-9, 10.1, 0)), "towards the left edge of the map from");
    cr_expect_null(history_grid_way(&grid, from, rlv_vec3_of(10, 10, 50)), "one place of the map");
    cr_expect_null(history_grid_way(&grid, from, rlv_vec3_of((double)NAN, 10, 50)));
    cr_expect_float_eq(history_grid_apart_mm(&grid, from, rlv_vec3_of(13, 14, 70)), 5.0, 1e-12); // 3, 4, 5
}

Test(history_grid, where_north_is_at_the_top_ways_and_edges_are_those_of_the_compass)
{
    static const char* const way[8] = {"east of", "south-east of", "south of", "south-west of",
                                       "west of", "north-west of", "north of", "north-east of"};
    history_grid grid = fifties();
    grid.north_up = true;
    for (int k = 0; k < 8; k++) // clockwise from the east
        cr_expect_str_eq(
            history_grid_way(&grid, rlv_vec3_of(0, 0, 0), rlv_vec3_of(cos(k * M_PI / 4), -sin(k * M_PI / 4), 5)),
            way[k]);
    float at[12] = {0, 0, 0, 100, 0, 0, 100, 60, 0, 0, 60, 0};
    uint32_t corner[6] = {0, 1, 2, 0, 2, 3};
    const rlv_mesh plate = {.vertex_count = 4, .triangle_count = 2, .position_mm = at, .corner = corner};
    const rlv_pose pose = rlv_pose_identity();
    double in;
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(12, 30, 0), &in), "western");
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(95, 20, 0), &in), "eastern");
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(50, 53, 0), &in), "northern");
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(50, 7, 0), &in), "southern");
}

Test(history_grid, the_nearest_edge_is_that_of_the_mesh_along_the_row_or_the_column)
{
    const history_grid grid = fifties();
    float at[12] = {0, 0, 0, 100, 0, 0, 100, 60, 0, 0, 60, 0};
    uint32_t corner[6] = {0, 1, 2, 0, 2, 3};
    const rlv_mesh plate = {.vertex_count = 4, .triangle_count = 2, .position_mm = at, .corner = corner};
    rlv_pose pose = rlv_pose_identity();
    double in;
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(12, 30, -9), &in), "left");
    cr_expect_float_eq(in, 12.0, 1e-6);
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(50, 53, 0), &in), "upper");
    cr_expect_float_eq(in, 7.0, 1e-6);
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(95, 20, 0), &in), "right");
    cr_expect_null(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(-5, 20, 0), &in), "it lies beyond the plate");
    // On an edge, whichever it is: the line through the place then only touches the plate.
    const struct
    {
        const char* name;
        double x, y;
    } on[] = {{"left", 0, 30}, {"right", 100, 30}, {"upper", 50, 60}, {"lower", 50, 0}};
    for (size_t k = 0; k < sizeof on / sizeof *on; k++)
    {
        const char* edge = history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(on[k].x, on[k].y, 0), &in);
        cr_assert_not_null(edge, "the %s one", on[k].name);
        cr_expect_str_eq(edge, on[k].name);
        cr_expect_eq(in, 0.0);
    }
    pose.translation_mm = rlv_vec3_of(-8, 0, 0);
    cr_expect_str_eq(history_grid_edge(&grid, &plate, &pose, rlv_vec3_of(-5, 20, 0), &in), "left");
    cr_expect_float_eq(in, 3.0, 1e-6);
}

Test(history_grid, a_place_is_told_from_the_lines_of_its_square_and_a_mesh_from_those_of_the_first)
{
    const history_grid grid = fifties();
    float at[9] = {-93, 0, 0, 100, 0, 0, 0, 61, 0};
    uint32_t corner[3] = {0, 1, 2};
    const rlv_mesh plate = {.vertex_count = 3, .triangle_count = 1, .position_mm = at, .corner = corner};
    rlv_pose pose = rlv_pose_identity();
    double in[2];
    history_grid_in_square(&grid, rlv_vec3_of(-38, 21, 7), in); // B2, from (-50, 30)
    cr_expect_float_eq(in[0], 12.0, 1e-9);
    cr_expect_float_eq(in[1], 9.0, 1e-9);
    pose.translation_mm = rlv_vec3_of(2, 0, 0);
    history_grid_begins(&grid, &plate, &pose, in);
    cr_expect_float_eq(in[0], 9.0, 1e-5); // of float coordinates
    cr_expect_float_eq(in[1], 19.0, 1e-5);
}

Test(history_grid, the_squares_of_a_sheet_are_those_of_the_block_in_the_frame_of_its_stage)
{
    rlv_pose pose[2] = {rlv_pose_identity(), rlv_pose_identity()};
    rlv_history history = {.stage_count = 2, .joined = true, .grid = fifties()};
    rlv_panel_grid on;
    pose[1].rotation = rlv_rotation_from_vector(rlv_vec3_of(0, 0, M_PI_2));
    pose[1].translation_mm = rlv_vec3_of(5, 0, 0);
    history.stages.stage_count = 2;
    history.stages.pose = pose;
    const rlv_camera_axes turned = {
        {0, -1, 0}, {1, 0, 0}, {0, 0, 1}}; // the block's x and y, as the second stage has them
    cr_assert(history_grid_on(&on, &history, 1, &turned));
    const rlv_vec3 back = rlv_pose_apply(&pose[1], on.corner_mm);
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(back, history.grid.corner_mm)), 1e-9);
    cr_expect_float_eq(on.side_mm, 50.0, 1e-9);
    cr_expect_not(history_grid_on(&on, &history, 1, &from_above), "another side has no squares");
    cr_expect_not(history_grid_on(&on, &(rlv_history){.stage_count = 2}, 1, &from_above));
}
