// A block as it stands: both views upright on one floor, at a scale that the paper holds.

#include "standing.h"

#include <criterion/criterion.h>
#include <math.h>

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

Test(standing, a_sheet_that_is_fitted_has_a_round_scale_and_the_least_paper)
{
    rlv_mesh mesh;
    rlv_tree* tree = NULL;
    rlv_standing s = box_on_floor(&mesh, &tree);
    rlv_sheet sheet = {0};
    double scale;
    cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
    cr_expect_float_eq(sheet.width_mm, 420.0, 1e-9);
    cr_expect_float_eq(sheet.height_mm, 297.0, 1e-9);
    // 500 mm of elevation over 700 mm of plan, on what head, sizes and foot leave of 297: 1 : 5 would take 240.
    cr_expect_float_eq(scale, 0.1, 1e-12);
    rlv_sheet_free(&sheet);
    s.scale = 0.5;
    cr_assert_eq(rlv_sheet_of_standing(&sheet, &s, &scale, NULL), RLV_DONE);
    cr_expect_eq(scale, 0.5);
    cr_expect_gt(sheet.width_mm, 800.0, "1600 mm at 1 : 2");
    rlv_sheet_free(&sheet);
    rlv_tree_free(tree);
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
