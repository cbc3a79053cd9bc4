/// Tests of cutting polygons into triangles.

#include "polygons.h"
#include "scan.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

/// The area of one polygon's triangles; none may be turned against the polygon, which faces along z.
static double cut_area(size_t count, const float* position)
{
    rlv_polygons polygons = {0};
    size_t bad;
    cr_assert(rlv_polygons_room(&polygons, count));
    for (uint32_t i = 0; i < count; i++)
        polygons.corner[i] = i;
    cr_assert(rlv_polygons_close(&polygons, count));
    cr_assert_eq(polygons.triangle_count, count - 2);
    uint32_t* triangle = calloc(3 * polygons.triangle_count, sizeof *triangle);
    cr_assert(rlv_polygons_cut(&polygons, position, triangle, NULL, &bad));
    double area = 0.0;
    for (size_t t = 0; t < polygons.triangle_count; t++)
    {
        rlv_vec3 a = rlv_vec3_from(position + 3 * (size_t)triangle[3 * t]);
        rlv_vec3 b = rlv_vec3_from(position + 3 * (size_t)triangle[3 * t + 1]);
        rlv_vec3 c = rlv_vec3_from(position + 3 * (size_t)triangle[3 * t + 2]);
        double part = 0.5 * rlv_vec3_cross(rlv_vec3_sub(b, a), rlv_vec3_sub(c, a)).z;
        cr_assert_geq(part, 0.0, "a triangle is turned over");
        area += part;
    }
    free(triangle);
    rlv_polygons_free(&polygons);
    return area;
}

/// The shoelace formula.
static double polygon_area(size_t count, const float* position)
{
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        const float *p = position + 3 * i, *q = position + 3 * ((i + 1) % count);
        sum += 0.5 * ((double)p[0] * (double)q[1] - (double)q[0] * (double)p[1]);
    }
    return sum;
}

Test(polygons, a_star_shaped_polygon_of_any_size_keeps_its_area_and_its_side, .timeout = 60)
{
    scan_random random = {17};
    float* position = calloc(3 * RLV_MOST_CORNERS, sizeof *position);
    for (int trial = 0; trial < 200; trial++)
    {
        size_t count = trial == 0 ? RLV_MOST_CORNERS : 4 + scan_random_bits(&random) % 60;
        for (size_t i = 0; i < count; i++)
        {
            double angle = 2.0 * M_PI * (double)i / (double)count, radius = 1.0 + 9.0 * scan_random_unit(&random);
            position[3 * i] = (float)(radius * cos(angle));
            position[3 * i + 1] = (float)(radius * sin(angle));
        }
        // Both are sums of about `count` products no larger than 200, in double.
        double slack = 200.0 * (double)count * ldexp(1.0, -52);
        cr_assert_float_eq(cut_area(count, position), polygon_area(count, position), slack);
    }
    free(position);
}

Test(polygons, a_comb_that_no_fan_covers_keeps_its_area)
{
    // Ten teeth on a back: from each corner most of the rest is out of sight.
    float position[3 * 42] = {0};
    size_t count = 0;
    for (int tooth = 9; tooth >= 0; tooth--)
    {
        const float at[4][2] = {
            {(float)(2 * tooth + 1), 1}, {(float)(2 * tooth + 1), 9}, {(float)(2 * tooth), 9}, {(float)(2 * tooth), 1}};
        for (int i = 0; i < 4; i++, count++)
        {
            position[3 * count] = at[i][0];
            position[3 * count + 1] = at[i][1];
        }
    }
    position[3 * count + 1] = 0;
    count++;
    position[3 * count] = 19;
    count++;
    cr_assert_eq(cut_area(count, position), 10 * 8 + 19);
}

Test(polygons, a_polygon_without_area_or_crossing_itself_gives_all_its_triangles)
{
    const float line[15] = {0, 0, 0, 1, 0, 0, 2, 0, 0, 1, 0, 0, 0.5F, 0, 0};
    const float bow[12] = {0, 0, 0, 2, 2, 0, 2, 0, 0, 0, 1, 0};
    rlv_polygons polygons = {0};
    uint32_t triangle[9];
    size_t bad;
    cr_assert_eq(cut_area(5, line), 0.0);
    cr_assert(rlv_polygons_room(&polygons, 4));
    for (uint32_t i = 0; i < 4; i++)
        polygons.corner[i] = i;
    cr_assert(rlv_polygons_close(&polygons, 4));
    cr_assert(rlv_polygons_cut(&polygons, bow, triangle, NULL, &bad));
    rlv_polygons_free(&polygons);
}

Test(polygons, a_polygon_too_large_to_cut_is_named)
{
    const size_t count = RLV_MOST_CORNERS + 1;
    rlv_polygons polygons = {0};
    float* position = calloc(3 * count, sizeof *position);
    uint32_t* triangle = calloc(3 * count, sizeof *triangle);
    size_t bad = 7;
    cr_assert(rlv_polygons_room(&polygons, count));
    for (uint32_t i = 0; i < count; i++)
    {
        double angle = 2.0 * M_PI * i / (double)count, radius = i == 5 ? 0.5 : 1.0;
        polygons.corner[i] = i;
        position[3 * i] = (float)(radius * cos(angle));
        position[3 * i + 1] = (float)(radius * sin(angle));
    }
    cr_assert(rlv_polygons_close(&polygons, count));
    cr_assert_not(rlv_polygons_cut(&polygons, position, triangle, NULL, &bad));
    cr_assert_eq(bad, 0);
    rlv_polygons_free(&polygons);
    free(position);
    free(triangle);
}
