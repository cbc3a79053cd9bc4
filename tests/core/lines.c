// Lines: joined head to tail, simplified within a tolerance, with areas that add up by sign.

#include "lines.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

TestSuite(lines);

// A link between two of `count` places on a circle of the given radius.
static rlv_link link_of(uint64_t from, uint64_t to, double radius, double count)
{
    rlv_link link = {.from = from, .to = to};
    link.from_at[0] = radius * cos(2.0 * M_PI * (double)from / count);
    link.from_at[1] = radius * sin(2.0 * M_PI * (double)from / count);
    link.to_at[0] = radius * cos(2.0 * M_PI * (double)to / count);
    link.to_at[1] = radius * sin(2.0 * M_PI * (double)to / count);
    return link;
}

static rlv_lines circle(size_t count, double radius)
{
    rlv_link* link = calloc(count, sizeof *link);
    for (size_t i = 0; i < count; i++)
    {
        size_t k = i * 7 % count; // in no order; count is no multiple of 7
        link[i] = link_of(k, (k + 1) % count, radius, (double)count);
    }
    rlv_lines lines;
    cr_assert_eq(rlv_lines_join(&lines, count, link, NULL), RLV_DONE);
    free(link);
    return lines;
}

Test(lines, links_in_any_order_join_into_one_closed_line)
{
    rlv_lines lines = circle(360, 10.0);
    cr_assert_eq(lines.line_count, 1);
    cr_expect(lines.closed[0]);
    cr_expect_eq(lines.point_count, 360);
    // A regular polygon of n corners: n/2 r^2 sin(2 pi / n), perimeter 2 n r sin(pi / n).
    cr_expect_float_eq(rlv_lines_area(&lines), 180.0 * 100.0 * sin(M_PI / 180.0), 1e-9);
    cr_expect_float_eq(rlv_lines_length(&lines), 7200.0 * sin(M_PI / 360.0), 1e-9);
    rlv_lines_free(&lines);
}

Test(lines, a_gap_leaves_an_open_line_that_starts_where_the_gap_ends)
{
    rlv_link link[5];
    for (uint64_t i = 0; i < 5; i++)
        link[i] = link_of(4 - i, 5 - i, 1.0, 10.0);
    rlv_lines lines;
    cr_assert_eq(rlv_lines_join(&lines, 5, link, NULL), RLV_DONE);
    cr_assert_eq(lines.line_count, 1);
    cr_expect_not(lines.closed[0]);
    cr_expect_eq(lines.point_count, 6);
    cr_expect_float_eq(lines.point[0], 1.0, 1e-15);
    cr_expect_eq(rlv_lines_area(&lines), 0.0);
    rlv_lines_free(&lines);
}

Test(lines, two_loops_through_one_place_both_close)
{
    // A figure of eight: places 0 1 2 and 0 3 4.
    const double at[5][2] = {{0, 0}, {1, 0}, {1, 1}, {-1, 0}, {-1, -1}};
    const uint64_t way[6][2] = {{0, 1}, {1, 2}, {2, 0}, {0, 3}, {3, 4}, {4, 0}};
    rlv_link link[6];
    for (int i = 0; i < 6; i++)
    {
        link[i] = (rlv_link){.from = way[i][0], .to = way[i][1]};
        memcpy(link[i].from_at, at[way[i][0]], sizeof link[i].from_at);
        memcpy(link[i].to_at, at[way[i][1]], sizeof link[i].to_at);
    }
    rlv_lines lines;
    cr_assert_eq(rlv_lines_join(&lines, 6, link, NULL), RLV_DONE);
    for (size_t i = 0; i < lines.line_count; i++)
        cr_expect(lines.closed[i]);
    cr_expect_float_eq(rlv_lines_area(&lines), 1.0, 1e-15); // two right-angled triangles of a half each
    rlv_lines_free(&lines);
}

Test(lines, simplified_lines_stay_within_the_tolerance)
{
    const double radius = 50.0, tolerance = 0.1;
    rlv_lines lines = circle(3600, radius);
    double area = rlv_lines_area(&lines), length = rlv_lines_length(&lines);
    cr_assert_eq(rlv_lines_simplify(&lines, tolerance, NULL), RLV_DONE);
    // A chord that sags by the tolerance spans 2 acos(1 - 0.1 / 50), 7.25 degrees: no fewer than 50 fit round a
    // circle, and halving leaves no more than twice as many.
    cr_expect_leq(lines.point_count, 100);
    cr_expect_geq(lines.point_count, 49);
    cr_expect_leq(fabs(rlv_lines_area(&lines) - area), tolerance * length);
    for (size_t i = 0; i < lines.point_count; i++)
    {
        const double *a = lines.point + 2 * i, *b = lines.point + 2 * ((i + 1) % lines.point_count);
        cr_expect_geq(hypot(0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])), radius - tolerance - 1e-9);
    }
    rlv_lines_free(&lines);
}

Test(lines, what_is_too_small_to_draw_is_dropped)
{
    rlv_link link[6 + 4];
    for (uint64_t i = 0; i < 6; i++)
        link[i] = link_of(i, (i + 1) % 6, 1.0, 6.0);
    for (uint64_t i = 0; i < 4; i++)
    {
        link[6 + i] = link_of(i, (i + 1) % 4, 0.1, 4.0);
        link[6 + i].from += 100;
        link[6 + i].to += 100;
    }
    rlv_lines lines;
    cr_assert_eq(rlv_lines_join(&lines, 10, link, NULL), RLV_DONE);
    cr_assert_eq(lines.line_count, 2);
    rlv_lines_drop_small(&lines, 0.1, 0.0);
    cr_assert_eq(lines.line_count, 1);
    cr_expect_eq(lines.point_count, 6);
    cr_expect_float_eq(rlv_lines_area(&lines), 1.5 * sqrt(3.0), 1e-12); // a hexagon of side 1
    rlv_lines_free(&lines);
}

Test(lines, a_point_lies_off_a_stretch_by_its_foot_or_by_the_nearer_end)
{
    const double a[2] = {1.0, 1.0}, b[2] = {5.0, 1.0};
    cr_expect_eq(rlv_off_stretch((double[]){3.0, 3.0}, a, b), 2.0);
    cr_expect_eq(rlv_off_stretch((double[]){8.0, 5.0}, a, b), 5.0); // 3, 4, 5
    cr_expect_eq(rlv_off_stretch((double[]){-2.0, -3.0}, a, b), 5.0);
    cr_expect_eq(rlv_off_stretch((double[]){4.0, 5.0}, a, a), 5.0); // a stretch of no length
}

Test(lines, no_links_are_no_lines)
{
    rlv_lines lines;
    double low[2], high[2];
    cr_assert_eq(rlv_lines_join(&lines, 0, NULL, NULL), RLV_DONE);
    cr_expect_eq(lines.line_count, 0);
    cr_expect_not(rlv_lines_box(&lines, low, high));
    cr_expect_eq(rlv_lines_simplify(&lines, 1.0, NULL), RLV_DONE);
    rlv_lines_free(&lines);
}
