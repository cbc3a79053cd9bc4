#include "axis.h"

#include <criterion/criterion.h>
#include <stdlib.h>

enum
{
    POINTS = 81,
};

static rlv_body_axis lay(const rlv_vec3* point, size_t count, double step)
{
    rlv_body_axis axis = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_body_axis_lay(&axis, count, point, step, &error), RLV_DONE, "%s", error.what);
    return axis;
}

/// A helix of radius 40 mm that climbs 20 mm a radian: curvature 0.02 / mm, torsion 0.01 / mm.
static rlv_vec3 helix(double turn)
{
    return rlv_vec3_of(40 * cos(turn), 40 * sin(turn), 20 * turn);
}

static rlv_body_axis lay_helix(rlv_vec3* point)
{
    for (int i = 0; i < POINTS; i++)
        point[i] = helix(4.0 * i / (POINTS - 1));
    return lay(point, POINTS, 0.5);
}

Test(axis, length_and_bend_of_a_helix_are_the_handbooks)
{
    rlv_vec3 point[POINTS];
    rlv_body_axis axis = lay_helix(point);
    // sqrt(40^2 + 20^2) a radian. A natural spline is off by h^2 k / 8 = 0.013 mm where it ends, h = 2.2 mm, and by its
    // fourth power inside.
    cr_expect_float_eq(rlv_body_axis_length_mm(&axis), 4.0 * sqrt(2000.0), 0.03);
    for (double u = 40.0; u < 140.0; u += 7.0)
    {
        const rlv_body_frame f = rlv_body_axis_at(&axis, u);
        // a / (a^2 + b^2) = 0.02. The bend is read over two steps of 0.5 mm and the spline's second derivative is good
        // to h^2 / 12 of its own second derivative: (2.2^2 / 12) / 44.7^2 = 2e-4 of it.
        cr_expect_float_eq(hypot(f.bend[0], f.bend[1]), 0.02, 0.02 * 1e-3);
    }
    rlv_body_axis_free(&axis);
}

Test(axis, the_frame_turns_against_the_helix_by_its_torsion)
{
    // In a rotation-minimising frame the Frenet normal turns by the torsion, b / (a^2 + b^2) = 0.01 / mm.
    rlv_vec3 point[POINTS];
    rlv_body_axis axis = lay_helix(point);
    double before = 0.0;
    for (double u = 40.0; u <= 140.0; u += 10.0)
    {
        const rlv_body_frame f = rlv_body_axis_at(&axis, u);
        const double turn = atan2(f.bend[1], f.bend[0]);
        // The direction of the bend is good to the thousandth that its size is.
        if (u > 40.0)
            cr_expect_float_eq(remainder(turn - before, 2 * M_PI), 0.01 * 10.0, 2e-3);
        before = turn;
    }
    rlv_body_axis_free(&axis);
}

Test(axis, frames_are_right_handed_and_square)
{
    rlv_vec3 point[POINTS];
    rlv_body_axis axis = lay_helix(point);
    for (double u = -20.0; u < 200.0; u += 3.7)
    {
        const rlv_body_frame f = rlv_body_axis_at(&axis, u);
        cr_expect_float_eq(rlv_vec3_dot(f.along, f.side), 0.0, 1e-12);
        cr_expect_float_eq(rlv_vec3_dot(rlv_vec3_cross(f.along, f.side), f.other), 1.0, 1e-12);
    }
    rlv_body_axis_free(&axis);
}

Test(axis, a_foot_is_found_from_beside_the_axis_and_beyond_its_ends)
{
    rlv_vec3 point[POINTS];
    rlv_body_axis axis = lay_helix(point);
    for (double u = -15.0; u < 195.0; u += 11.3)
    {
        const rlv_body_frame f = rlv_body_axis_at(&axis, u);
        const rlv_vec3 beside = rlv_vec3_along(rlv_vec3_along(f.at_mm, 9.0, f.side), -7.0, f.other);
        // Between points the tangent is read along a straight line: off by less than (0.5 k)^2 / 8 rad, over 11 mm.
        cr_expect_float_eq(rlv_body_axis_foot(&axis, beside, u + 8.0, 20.0), u, 11.0 * 0.01 * 0.01 / 8.0 + 0.01);
    }
    rlv_body_axis_free(&axis);
}

Test(axis, it_goes_on_straight_beyond_its_ends)
{
    rlv_vec3 point[POINTS];
    rlv_body_axis axis = lay_helix(point);
    const double end = rlv_body_axis_length_mm(&axis);
    const rlv_body_frame a = rlv_body_axis_at(&axis, end + 5.0), b = rlv_body_axis_at(&axis, end + 25.0);
    cr_expect_float_eq(rlv_vec3_length(rlv_vec3_sub(b.at_mm, a.at_mm)), 20.0, 1e-9);
    cr_expect_float_eq(rlv_vec3_dot(rlv_vec3_sub(b.at_mm, a.at_mm), a.along), 20.0, 1e-9);
    cr_expect(a.bend[0] == 0.0 && a.bend[1] == 0.0);
    rlv_body_axis_free(&axis);
}

Test(axis, points_that_coincide_are_refused)
{
    const rlv_vec3 point[4] = {{0, 0, 0}, {1, 0, 0}, {1, 0, 0}, {2, 0, 0}};
    rlv_body_axis axis = {0};
    rlv_error error = {0};
    cr_expect_eq(rlv_body_axis_lay(&axis, 4, point, 0.1, &error), RLV_BAD_INPUT);
    cr_expect(error.what[0] != '\0' && error.mend[0] != '\0');
    rlv_body_axis_free(&axis);
}

Test(axis, two_points_are_refused)
{
    const rlv_vec3 point[2] = {{0, 0, 0}, {1, 0, 0}};
    rlv_body_axis axis = {0};
    rlv_error error = {0};
    cr_expect_eq(rlv_body_axis_lay(&axis, 2, point, 0.1, &error), RLV_BAD_INPUT);
    rlv_body_axis_free(&axis);
}
