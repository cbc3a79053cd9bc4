// Contours: fields with known level lines, to a fraction of a pixel.

#include "contour.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

TestSuite(contour);

#define SIDE 200

Test(contour, a_cone_has_circles_of_the_levels_radius)
{
    float* value = malloc(SIDE * SIDE * sizeof *value);
    for (size_t i = 0; i < SIDE * SIDE; i++)
        value[i] = (float)hypot((double)(i % SIDE) + 0.5 - 100.3, (double)(i / SIDE) + 0.5 - 99.6);
    for (double radius = 10.0; radius <= 90.0; radius += 20.0)
    {
        rlv_lines lines;
        cr_assert_eq(rlv_contour_at(&lines, SIDE, SIDE, value, (float)radius, NULL), RLV_DONE);
        cr_assert_eq(lines.line_count, 1);
        cr_expect(lines.closed[0]);
        // Linear between pixels, a cone bends by less than 1 / (8 radius) of a pixel; y upwards, from above.
        for (size_t k = 0; k < lines.point_count; k++)
            cr_expect_float_eq(hypot(lines.point[2 * k] - 100.3, lines.point[2 * k + 1] + 99.6), radius,
                               1.0 / (8.0 * radius) + 1e-4);
        // Higher values lie outside: clockwise.
        cr_expect_lt(rlv_lines_area(&lines), 0.0);
        rlv_lines_free(&lines);
    }
    free(value);
}

Test(contour, the_border_of_a_disc_of_pixels_is_its_circle)
{
    uint8_t* in = malloc(SIDE * SIDE);
    for (double radius = 20.0; radius <= 80.0; radius += 20.0)
    {
        size_t count = 0;
        for (size_t i = 0; i < SIDE * SIDE; i++)
            count += in[i] = hypot((double)(i % SIDE) + 0.5 - 100.0, (double)(i / SIDE) + 0.5 - 100.0) < radius;
        const double calm = 3.0;
        rlv_lines lines;
        cr_assert_eq(rlv_contour_set(&lines, SIDE, SIDE, in, calm, NULL), RLV_DONE);
        cr_assert_eq(lines.line_count, 1);
        // The bell draws a convex border in by calm^2 / (2 radius); pixels are in or out by half a pixel at the most,
        // so that their number is not quite the circle's. The bell is cut at 3 sd, which takes 3 % of its variance.
        double even = sqrt((double)count / M_PI), middle = even - calm * calm / (2.0 * even);
        for (size_t k = 0; k < lines.point_count; k++)
            cr_expect_float_eq(hypot(lines.point[2 * k] - 100.0, lines.point[2 * k + 1] + 100.0), middle, 0.5);
        cr_expect_float_eq(sqrt(rlv_lines_area(&lines) / M_PI), middle, 0.04 * calm * calm / (2.0 * even) + 0.01);
        rlv_lines_free(&lines);
    }
    free(in);
}

Test(contour, a_bell_wider_than_is_drawn_at_once_draws_a_border_in_by_its_own_square)
{
    uint8_t* in = malloc(SIDE * SIDE);
    const double calm = 7.0, radius = 70.0;
    size_t count = 0;
    for (size_t i = 0; i < SIDE * SIDE; i++)
        count += in[i] = hypot((double)(i % SIDE) + 0.5 - 100.0, (double)(i / SIDE) + 0.5 - 100.0) < radius;
    rlv_lines lines;
    cr_assert_eq(rlv_contour_set(&lines, SIDE, SIDE, in, calm, NULL), RLV_DONE);
    cr_assert_eq(lines.line_count, 1);
    // As above: each of the bells is cut, which takes 3 % of the variance; the next term is the square of the first
    // over the radius.
    double even = sqrt((double)count / M_PI), first = calm * calm / (2.0 * even);
    cr_expect_float_eq(sqrt(rlv_lines_area(&lines) / M_PI), even - first, 0.04 * first + first * first / even + 0.01);
    rlv_lines_free(&lines);
    free(in);
}

Test(contour, a_set_that_reaches_the_edge_is_closed_along_it)
{
    uint8_t in[20 * 10];
    for (size_t i = 0; i < sizeof in; i++)
        in[i] = i % 20 < 12;
    rlv_lines lines;
    cr_assert_eq(rlv_contour_set(&lines, 20, 10, in, 0.0, NULL), RLV_DONE);
    cr_assert_eq(lines.line_count, 1);
    cr_expect(lines.closed[0]);
    // 12 by 10 pixels, less the four corners that marching squares cut: half by half, halved.
    cr_expect_float_eq(rlv_lines_area(&lines), 120.0 - 4.0 * 0.125, 1e-6);
    rlv_lines_free(&lines);
}

Test(contour, a_hole_runs_the_other_way_round)
{
    uint8_t in[30 * 30];
    for (size_t i = 0; i < sizeof in; i++)
    {
        size_t x = i % 30, y = i / 30;
        in[i] = x >= 5 && x < 25 && y >= 5 && y < 25 && !(x >= 10 && x < 20 && y >= 10 && y < 20);
    }
    rlv_lines lines;
    cr_assert_eq(rlv_contour_set(&lines, 30, 30, in, 0.0, NULL), RLV_DONE);
    cr_assert_eq(lines.line_count, 2);
    cr_expect_float_eq(rlv_lines_area(&lines), 400.0 - 100.0, 1e-6); // the corners of both cancel
    rlv_lines_free(&lines);
}

Test(contour, lines_end_where_there_is_nothing)
{
    float value[20 * 20];
    for (size_t i = 0; i < 400; i++)
        value[i] = i % 20 >= 8 && i % 20 < 12 ? NAN : (float)(i / 20);
    rlv_lines lines;
    cr_assert_eq(rlv_contour_at(&lines, 20, 20, value, 9.5f, NULL), RLV_DONE);
    cr_assert_eq(lines.line_count, 2);
    cr_expect_not(lines.closed[0]);
    cr_expect_float_eq(rlv_lines_length(&lines), 14.0, 1e-9); // seven steps on either side
    for (size_t k = 0; k < lines.point_count; k++)
        cr_expect_float_eq(lines.point[2 * k + 1], -10.0, 1e-6); // half-way between the middles of rows 9 and 10
    rlv_lines_free(&lines);
}

Test(contour, a_slope_is_calm_already)
{
    float value[40 * 40];
    for (size_t i = 0; i < 1600; i++)
        value[i] = (float)(i % 40) * 2.0f - (float)(i / 40);
    cr_assert_eq(rlv_contour_calm(40, 40, value, 2.0, NULL), RLV_DONE);
    for (size_t y = 6; y < 34; y++)
        for (size_t x = 6; x < 34; x++)
            cr_expect_float_eq(value[40 * y + x], (float)x * 2.0f - (float)y, 1e-4);
}
