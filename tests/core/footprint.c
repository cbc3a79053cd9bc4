// The box that a body stands in.

#include "footprint.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(footprint);

static rlv_mesh box(double x, double y, double z)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(0.0, 0.0, 0.0), rlv_vec3_of(x, y, z));
    return mesh;
}

// Turn a mesh about the z axis.
static void turn(rlv_mesh* mesh, double angle)
{
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        float* at = mesh->position_mm + 3 * i;
        const double x = (double)at[0], y = (double)at[1];
        at[0] = (float)(x * cos(angle) - y * sin(angle));
        at[1] = (float)(x * sin(angle) + y * cos(angle));
    }
}

Test(footprint, a_box_that_stands_askew_has_its_own_sides)
{
    rlv_mesh mesh = box(300.0, 120.0, 80.0);
    turn(&mesh, 0.4);
    rlv_footprint f;
    cr_assert_eq(rlv_footprint_of(&f, &mesh, rlv_vec3_of(0.0, 0.0, 1.0), NULL), RLV_DONE);
    // Positions are floats of some hundred millimetres: 2^-24 of 300 mm each, of two ends.
    const double float_mm = 2.0 * 300.0 * ldexp(1.0, -24);
    cr_assert_float_eq(f.length_mm, 300.0, float_mm);
    cr_assert_float_eq(f.width_mm, 120.0, float_mm);
    cr_assert_float_eq(f.height_mm, 80.0, float_mm);
    cr_assert_float_eq(fabs(f.along.x), cos(0.4), 1e-6);
    cr_assert_float_eq(f.along.y / f.along.x, tan(0.4), 1e-6);
    rlv_mesh_free(&mesh);
}

Test(footprint, height_is_along_up_whatever_the_length)
{
    rlv_mesh mesh = box(300.0, 120.0, 80.0);
    rlv_footprint f;
    cr_assert_eq(rlv_footprint_of(&f, &mesh, rlv_vec3_of(1.0, 0.0, 0.0), NULL), RLV_DONE);
    cr_assert_float_eq(f.height_mm, 300.0, 1e-4);
    cr_assert_float_eq(f.length_mm, 120.0, 1e-4);
    cr_assert_float_eq(f.width_mm, 80.0, 1e-4);
    rlv_mesh_free(&mesh);
}

Test(footprint, rectangle_of_a_disc_is_the_square_of_its_hull)
{
    // A right prism over a regular polygon of 8 sides, of radius 50: across its flats it measures 100 cos(pi / 8), and
    // no rectangle about it is smaller than that square.
    rlv_mesh mesh = {0};
    const double line[][2] = {{0.0, 0.0}, {50.0, 0.0}, {50.0, 10.0}, {0.0, 10.0}};
    shape_add_turned(&mesh, 4, line, 8, false);
    rlv_footprint f;
    cr_assert_eq(rlv_footprint_of(&f, &mesh, rlv_vec3_of(0.0, 0.0, 1.0), NULL), RLV_DONE);
    cr_assert_float_eq(f.length_mm, 100.0 * cos(M_PI / 8.0), 1e-4);
    cr_assert_float_eq(f.width_mm, 100.0 * cos(M_PI / 8.0), 1e-4);
    rlv_mesh_free(&mesh);
}

Test(footprint, a_mesh_without_a_plan_is_refused)
{
    rlv_mesh flat = {.vertex_count = 3, .position_mm = (float[]){0, 0, 0, 10, 0, 0, 5, 0, 8}};
    rlv_mesh none = {0};
    rlv_footprint f;
    rlv_error error = {0};
    cr_assert_eq(rlv_footprint_of(&f, &flat, rlv_vec3_of(0.0, 0.0, 1.0), &error), RLV_BAD_INPUT);
    cr_assert_eq(rlv_footprint_of(&f, &none, rlv_vec3_of(0.0, 0.0, 1.0), &error), RLV_BAD_INPUT);
}
