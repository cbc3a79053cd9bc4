// A block as it stands: both views upright on one floor, at a scale that the paper holds.

#include "standing.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

TestSuite(standing);

static float corner[24];
static uint32_t side[36] = {0, 2, 1, 1, 2, 3, 4, 5, 6, 5, 7, 6, 0, 1, 4, 1, 5, 4,
                            2, 6, 3, 3, 6, 7, 0, 4, 2, 2, 4, 6, 1, 3, 5, 3, 7, 5};

// A box of 400 by 300 by 120 mm with its height along z.
static rlv_standing box_on_floor(rlv_mesh* mesh, rlv_tree** tree)
{
    for (int i = 0; i < 8; i++)
    {
        corner[3 * i] = i & 1 ? 400.0f : 0.0f;
        corner[3 * i + 1] = i & 2 ? 300.0f : 0.0f;
        corner[3 * i + 2] = i & 4 ? 120.0f : 0.0f;
    }
    *mesh = (rlv_mesh){.vertex_count = 8, .triangle_count = 12, .position_mm = corner, .corner = side};
    cr_assert_eq(rlv_tree_build(tree, mesh, NULL), RLV_DONE);
    rlv_standing s = {.title = {.specimen = "B-1", .subject = "As it will stand"},
                      .surface = {.mesh = mesh, .tree = *tree},
                      .up = {0, 0, 1},
                      .in_case = true,
                      .case_mm = {900, 700, 500},
                      .name = {"Front", "From the right", "From above"},
                      .paper = 3};
    cr_assert_eq(rlv_footprint_of(&s.box, mesh, s.up, NULL), RLV_DONE);
    return s;
}

Test(standing, elevations_stand_upright_and_the_front_shows_the_length)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    const rlv_standing s = box_on_floor(&mesh, &tree);
    const rlv_mesh* one = &mesh;
    const double wide[2] = {400.0, 300.0};
    for (int view = 0; view < 2; view++)
    {
        const rlv_camera_axes axes = rlv_standing_axes(&s, view);
        const rlv_panel_view seen = rlv_panel_view_of(1, &one, &axes, 1.0);
        cr_expect_float_eq(axes.up.z, 1.0, 1e-12);
        cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(rlv_vec3_cross(axes.right, axes.up), axes.towards)), 1e-12);
        cr_expect_float_eq(seen.span_mm[0], wide[view], 1e-4); // of floats of some hundred mm
        cr_expect_float_eq(seen.span_mm[1], 120.0, 1e-4);
    }
    rlv_tree_free(tree);
}

Test(standing, a_sheet_that_is_fitted_has_a_round_scale_and_paper_on_which_the_block_is_seen)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    rlv_standing s = box_on_floor(&mesh, &tree);
    rlv_sheet sheet = {0};
    double scale;
    cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
    // On A3 1 : 5 fits no way: elevations beside each other and the plan beneath take 320 by 240 mm without a figure,
    // those above each other 200 and two rows of figures, all in a row 500. At 1 : 10 the block's 40 mm are less than
    // an eighth of the paper; A2 holds 1 : 5.
    cr_expect_float_eq(scale, 0.2, 1e-12);
    cr_expect_float_eq(sheet.width_mm, 594.0, 1e-9);
    cr_expect_float_eq(sheet.height_mm, 420.0, 1e-9);
    rlv_sheet_free(&sheet);
    s.in_case = false; // without its case it is seen on A3
    cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
    cr_expect_float_eq(sheet.width_mm, 420.0, 1e-9);
    rlv_sheet_free(&sheet);
    s.in_case = true;
    s.scale = 0.5;
    cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
    cr_expect_eq(scale, 0.5);
    cr_expect_gt(sheet.width_mm, 800.0, "1600 mm at 1 : 2");
    rlv_sheet_free(&sheet);
    rlv_tree_free(tree);
}

Test(standing, a_way_of_laying_out_that_holds_a_larger_scale_is_taken)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    rlv_standing s = box_on_floor(&mesh, &tree);
    rlv_sheet sheet = {0};
    double scale;
    // At 1 : 5 a tall case takes 160 mm of elevation over 64 of plan, and figures beneath both, which A3 lying does not
    // hold beneath each other but side by side: 90 + 64 + 90 mm.
    s.case_mm[0] = 450.0;
    s.case_mm[1] = 320.0;
    s.case_mm[2] = 800.0;
    cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
    cr_expect_float_eq(scale, 0.2, 1e-12);
    rlv_sheet_free(&sheet);
    rlv_tree_free(tree);
}

Test(standing, lines_of_sizes_begin_at_the_farthest_points)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    const rlv_standing s = box_on_floor(&mesh, &tree);
    corner[3 * 5 + 2] = 150.0f; // one corner at x 400, y 0 stands up
    const rlv_vec3 top = rlv_standing_farthest(&s, RLV_STANDING_FRONT, (double[]){0.0, 1.0}),
                   front = rlv_standing_farthest(&s, RLV_STANDING_PLAN, (double[]){0.0, -1.0}),
                   right = rlv_standing_farthest(&s, RLV_STANDING_FRONT, (double[]){1.0, 0.0});
    const rlv_camera_axes axes = rlv_standing_axes(&s, RLV_STANDING_FRONT);
    cr_expect_eq(top.x, 400.0);
    cr_expect_eq(top.y, 0.0);
    cr_expect_eq(top.z, 150.0);
    cr_expect_float_eq(rlv_vec3_dot(front, axes.towards), axes.towards.y > 0.0 ? 300.0 : 0.0, 1e-9);
    cr_expect_float_eq(rlv_vec3_dot(right, axes.right), axes.right.x > 0.0 ? 400.0 : 0.0, 1e-9);
    rlv_tree_free(tree);
}

// Ink in a part of a sheet, as a share of it.
static double ink_of(const rlv_sheet* sheet, double left, double top, double right, double foot)
{
    cairo_surface_t* image =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)(4.0 * sheet->width_mm), (int)(4.0 * sheet->height_mm));
    cairo_t* c = cairo_create(image);
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_paint(c);
    cairo_scale(c, 4.0 * 25.4 / 72.0, 4.0 * 25.4 / 72.0); // a record is in points
    cairo_set_source_surface(c, sheet->record, 0.0, 0.0);
    cairo_paint(c);
    cairo_surface_flush(image);
    const unsigned char* data = cairo_image_surface_get_data(image);
    double dark = 0.0, all = 0.0;
    for (int y = (int)(4.0 * top); y < (int)(4.0 * foot); y++)
        for (int x = (int)(4.0 * left); x < (int)(4.0 * right); x++)
        {
            const size_t at = (size_t)y * (size_t)cairo_image_surface_get_stride(image) + 4 * (size_t)x;
            dark += data[at] < 200 ? 1.0 : 0.0;
            all += 1.0;
        }
    cairo_destroy(c);
    cairo_surface_destroy(image);
    return dark / all;
}

Test(standing, views_begin_at_the_left_margin)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    const rlv_standing s = box_on_floor(&mesh, &tree);
    rlv_sheet sheet = {0};
    double scale;
    cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
    cr_expect_eq(ink_of(&sheet, 0.0, 40.0, 14.0, 240.0), 0.0);
    cr_expect_gt(ink_of(&sheet, 14.0, 40.0, 20.0, 240.0), 0.0, "the floor of the front");
    rlv_sheet_free(&sheet);
    rlv_tree_free(tree);
}

Test(standing, an_outline_is_in_sight_from_the_side_that_it_lies_on)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    rlv_standing s = box_on_floor(&mesh, &tree);
    const rlv_vec3 above[4] = {{150, 100, 120}, {250, 100, 120}, {250, 200, 120}, {150, 200, 120}},
                   below[4] = {{150, 100, 0}, {250, 100, 0}, {250, 200, 0}, {150, 200, 0}};
    const rlv_standing_outline on_top = {.ring_count = 4, .ring_mm = above, .label = "x"},
                               beneath = {.ring_count = 4, .ring_mm = below, .dashed = true, .label = "x"};
    const rlv_vec3 up = {0, 0, 1}, down = {0, 0, -1};
    cr_expect_eq(rlv_standing_in_sight(&s, &on_top, up), 1.0);
    cr_expect_eq(rlv_standing_in_sight(&s, &on_top, down), 0.0);
    cr_expect_eq(rlv_standing_in_sight(&s, &beneath, up), 0.0);
    cr_expect_eq(rlv_standing_in_sight(&s, &beneath, down), 1.0);
    // One that is seen is drawn; one that is not leaves no ink there, but has a view of the underside of its own, in
    // the column at the right.
    rlv_sheet sheet = {0};
    double scale, ink[3], column[3];
    for (int k = 0; k < 3; k++)
    {
        s.outline_count = k > 0 ? 1 : 0;
        s.outline = k == 1 ? &on_top : &beneath;
        cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
        ink[k] = ink_of(&sheet, 0.0, 40.0, 0.4 * sheet.width_mm, 360.0);
        column[k] = ink_of(&sheet, sheet.width_mm - 110.0, 180.0, sheet.width_mm - 15.0, 300.0);
        rlv_sheet_free(&sheet);
    }
    cr_expect_neq(ink[1], ink[0]); // its white edge takes away what its line and its name add
    cr_expect_eq(ink[2], ink[0]);
    cr_expect_gt(column[2], column[1], "%g and %g", column[2], column[1]);
    rlv_tree_free(tree);
}

// 901 less 400 is 501, and not the 500.5 that lie between the sizes as they are measured; halves go to even, as printf
// writes them.
Test(standing, what_a_case_leaves_is_what_is_left_between_the_sizes_as_they_are_written)
{
    const double size_mm[] = {400.5, 401.5, 300.4, 100.6, 99.5, 901.0, 500.5, 899.49999};
    const size_t count = sizeof size_mm / sizeof *size_mm;
    char written[2][16];
    cr_expect_eq(rlv_standing_room(901.0, 400.5), 501.0);
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < count; k++)
        {
            snprintf(written[0], sizeof *written, "%.0f", size_mm[i]);
            snprintf(written[1], sizeof *written, "%.0f", size_mm[k]);
            cr_expect_eq(rlv_standing_room(size_mm[i], size_mm[k]), atof(written[0]) - atof(written[1]), "%g in %g",
                         size_mm[k], size_mm[i]);
        }
}

Test(standing, a_block_without_a_size_is_refused)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    rlv_standing s = box_on_floor(&mesh, &tree);
    rlv_sheet sheet = {0};
    double scale;
    s.box.height_mm = 0.0;
    cr_expect_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_BAD_INPUT);
    rlv_tree_free(tree);
}

Test(standing, the_plan_has_the_front_at_its_foot_and_north_as_it_lay)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    rlv_standing s = box_on_floor(&mesh, &tree);
    const rlv_mesh* one = &mesh;
    const rlv_camera_axes front = rlv_standing_axes(&s, RLV_STANDING_FRONT),
                          left = rlv_standing_axes(&s, RLV_STANDING_SIDE),
                          plan = rlv_standing_axes(&s, RLV_STANDING_PLAN);
    const rlv_panel_view seen = rlv_panel_view_of(1, &one, &plan, 1.0);
    double bearing_deg;
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(rlv_vec3_cross(plan.right, plan.up), plan.towards)), 1e-12);
    cr_expect_float_eq(plan.towards.z, 1.0, 1e-12);
    cr_expect_float_eq(rlv_vec3_dot(plan.up, front.towards), -1.0, 1e-12);
    cr_expect_float_eq(rlv_vec3_dot(plan.right, left.towards), 1.0, 1e-12);
    cr_expect_float_eq(seen.span_mm[0], 400.0, 1e-4); // of floats of some hundred mm
    cr_expect_float_eq(seen.span_mm[1], 300.0, 1e-4);
    cr_expect_not(rlv_standing_bearing(&s, &bearing_deg), "north is not known");
    s.north_known = true;
    s.north = plan.right;
    cr_expect(rlv_standing_bearing(&s, &bearing_deg));
    cr_expect_float_eq(bearing_deg, 90.0, 1e-9);
    s.north = rlv_vec3_along(plan.towards, 0.5, plan.up); // at 63 degrees, steeper than 60
    cr_expect_not(rlv_standing_bearing(&s, &bearing_deg));
    rlv_tree_free(tree);
}

Test(standing, the_middle_is_told_from_the_left_end_the_floor_and_the_front)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    rlv_standing s = box_on_floor(&mesh, &tree);
    double from_mm[3];
    const rlv_camera_axes front = rlv_standing_axes(&s, RLV_STANDING_FRONT);
    // 50 mm right of the box's middle as the front is seen, 20 mm lower, and 30 mm nearer to the front.
    s.centre_mm = rlv_vec3_of(200.0, 150.0, 40.0);
    s.centre_mm = rlv_vec3_along(rlv_vec3_along(s.centre_mm, 50.0, front.right), 30.0, front.towards);
    rlv_standing_centre(&s, from_mm);
    cr_expect_float_eq(from_mm[0], 250.0, 1e-4); // of floats of some hundred mm
    cr_expect_float_eq(from_mm[1], 40.0, 1e-4);
    cr_expect_float_eq(from_mm[2], 120.0, 1e-4);
    rlv_tree_free(tree);
}
