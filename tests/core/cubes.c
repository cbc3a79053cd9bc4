/// Tests of the cubic cells: held against a list of all points sorted by cell, which knows no table.

#include "cubes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    LIMIT = 1 << 18 ///< sides from zero to the end of the range
};

/// A power of two: a place over it is exact, so that floor() here says which cell holds it.
static const double SIDE_MM = 0.5;

typedef struct place
{
    long at[3];
    int tag;
    size_t point;
} place;

static uint64_t state = 417;

static double uniform(double low, double high)
{
    state = state * 6364136223846793005u + 1442695040888963407u; // Knuth's MMIX
    return low + (high - low) * ((double)(state >> 11) * 0x1p-53);
}

static int compare_cells(const void* left, const void* right)
{
    const place *a = left, *b = right;
    for (int i = 0; i < 3; i++)
        if (a->at[i] != b->at[i])
            return a->at[i] < b->at[i] ? -1 : 1;
    return a->tag - b->tag;
}

static int compare_places(const void* left, const void* right)
{
    const place *a = left, *b = right;
    const int order = compare_cells(a, b);
    return order != 0 ? order : (a->point > b->point) - (a->point < b->point);
}

/// Which cell a point lies in; what is beyond the range is in the outermost cell.
static place place_of(const float point_mm[3], uint8_t tag, size_t point)
{
    place p = {.tag = tag, .point = point};
    for (int i = 0; i < 3; i++)
        p.at[i] = (long)fmin(fmax(floor((double)point_mm[i] / SIDE_MM), -LIMIT), LIMIT - 1);
    return p;
}

static place* sorted_places(size_t count, const float* point_mm, const uint8_t* tag)
{
    place* sorted = calloc(count, sizeof *sorted);
    cr_assert_not_null(sorted);
    for (size_t i = 0; i < count; i++)
        sorted[i] = place_of(point_mm + 3 * i, tag != NULL ? tag[i] : 0, i);
    qsort(sorted, count, sizeof *sorted, compare_places);
    return sorted;
}

/// The cell of a place by the sorted list: that of any point there.
static uint32_t cell_of(const rlv_cubes* cells, const place* sorted, size_t count, const place* wanted)
{
    const place* found = bsearch(wanted, sorted, count, sizeof *sorted, compare_cells);
    return found != NULL ? cells->of_point[found->point] : RLV_CUBES_NONE;
}

static rlv_cubes build(size_t count, const float* point_mm, const uint8_t* tag)
{
    rlv_cubes cells = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_cubes_build(&cells, count, point_mm, tag, SIDE_MM, &error), RLV_DONE, "%s", error.what);
    return cells;
}

/// Cells hold the points that the sorted list has together, and no other; members keep the order of the points.
static void check_members(const rlv_cubes* cells, const place* sorted, size_t count)
{
    size_t runs = 0;
    for (size_t first = 0, end; first < count; first = end, runs++)
    {
        for (end = first; end < count && compare_cells(sorted + first, sorted + end) == 0;)
            end++;
        const uint32_t cell = cells->of_point[sorted[first].point];
        cr_assert_lt(cell, cells->count);
        cr_assert_eq(cells->start[cell + 1] - cells->start[cell], end - first);
        for (size_t i = first; i < end; i++)
        {
            cr_assert_eq(cells->of_point[sorted[i].point], cell);
            cr_assert_eq(cells->member[cells->start[cell] + (i - first)], sorted[i].point);
        }
    }
    cr_assert_eq(cells->count, runs);
    cr_assert_eq(cells->start[cells->count], count);
}

/// All 27 steps from every cell, and every point's own place.
static void check_look_ups(const rlv_cubes* cells, const place* sorted, size_t count, const float* point_mm,
                           const uint8_t* tag)
{
    for (uint32_t c = 0; c < cells->count; c++)
    {
        const size_t point = cells->member[cells->start[c]];
        const uint8_t own_tag = tag != NULL ? tag[point] : 0;
        const place own = place_of(point_mm + 3 * point, own_tag, point);
        cr_assert_eq(rlv_cubes_at(cells, point_mm + 3 * point, own_tag), c);
        for (int k = 0; k < 27; k++)
        {
            const int step[3] = {k % 3 - 1, k / 3 % 3 - 1, k / 9 - 1};
            place there = own;
            for (int i = 0; i < 3; i++)
                there.at[i] += step[i];
            cr_assert_eq(rlv_cubes_near(cells, c, step), cell_of(cells, sorted, count, &there), "cell %u, step %d", c,
                         k);
        }
    }
}

Test(cubes, many_points_are_sorted_as_a_list_sorts_them_while_the_table_grows)
{
    enum
    {
        COUNT = 150000
    };
    float* point_mm = calloc(3 * COUNT, sizeof *point_mm);
    uint8_t* tag = calloc(COUNT, 1);
    cr_assert(point_mm != NULL && tag != NULL);
    for (size_t i = 0; i < COUNT; i++)
    {
        // In a box of 32 x 32 x 16 cells about zero: each cell and tag has two points or so, and most have neighbours.
        for (size_t k = 0; k < 3; k++)
            point_mm[3 * i + k] = (float)(k < 2 ? uniform(-8.0, 8.0) : uniform(-4.0, 4.0));
        tag[i] = (uint8_t)(i % 4 == 0 ? 127 : i % 4);
    }
    place* sorted = sorted_places(COUNT, point_mm, tag);
    rlv_cubes cells = build(COUNT, point_mm, tag);
    // 1024 places at first, doubled before half are taken: 16 times as many cells ask for five doublings or more.
    cr_assert_gt(cells.count, 16 * 1024);
    check_members(&cells, sorted, COUNT);
    check_look_ups(&cells, sorted, COUNT, point_mm, tag);
    for (size_t i = 0; i < 20000; i++)
    {
        const float somewhere[3] = {(float)uniform(-10.0, 10.0), (float)uniform(-10.0, 10.0),
                                    (float)uniform(-6.0, 6.0)};
        const uint8_t of = (uint8_t)(i % 5);
        const place there = place_of(somewhere, of, 0);
        cr_assert_eq(rlv_cubes_at(&cells, somewhere, of), cell_of(&cells, sorted, COUNT, &there));
    }
    rlv_cubes_free(&cells);
    free(sorted);
    free(point_mm);
    free(tag);
}

Test(cubes, cells_are_numbered_in_the_order_in_which_their_first_point_comes)
{
    float point_mm[3 * 4000];
    for (size_t i = 0; i < 3 * 4000; i++)
        point_mm[i] = (float)uniform(-3.0, 3.0);
    rlv_cubes cells = build(4000, point_mm, NULL);
    uint32_t next = 0;
    for (size_t i = 0; i < 4000; i++)
    {
        cr_assert_leq(cells.of_point[i], next, "point %zu opened a cell out of turn", i);
        next += cells.of_point[i] == next;
    }
    cr_assert_eq(next, cells.count);
    rlv_cubes_free(&cells);
}

Test(cubes, a_point_on_a_face_lies_in_the_upper_cell_on_both_sides_of_zero)
{
    const float point_mm[] = {0, 0, 0, 0.25f, 0.25f, 0.25f, -0.5f, 0, 0, -0.25f, 0, 0, -0.75f, 0, 0, 0.5f, 0, 0};
    rlv_cubes cells = build(6, point_mm, NULL);
    const uint32_t expected[] = {0, 0, 1, 1, 2, 3};
    for (size_t i = 0; i < 6; i++)
        cr_assert_eq(cells.of_point[i], expected[i], "point %zu lies in cell %u", i, cells.of_point[i]);
    rlv_cubes_free(&cells);
}

Test(cubes, what_is_beyond_the_range_lies_in_the_outermost_cells_and_nothing_lies_beyond_those)
{
    // The last cell of the range, its ends, and far beyond it; the same below zero; each axis in turn.
    static const float end = (float)LIMIT * 0.5f;
    const float along[] = {end - 0.5f, end - 0.25f, end, end + 0.5f, 3e38f, -end, -end + 0.25f, -end - 0.5f, -3e38f, 0};
    enum
    {
        ALONG = sizeof along / sizeof *along
    };
    float point_mm[3 * 3 * ALONG] = {0};
    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < ALONG; i++)
            point_mm[3 * (ALONG * axis + i) + axis] = along[i];
    place* sorted = sorted_places(3 * ALONG, point_mm, NULL);
    rlv_cubes cells = build(3 * ALONG, point_mm, NULL);
    cr_assert_eq(cells.count, 7, "an upper and a lower end along each of three axes, and the middle");
    check_members(&cells, sorted, 3 * ALONG);
    check_look_ups(&cells, sorted, 3 * ALONG, point_mm, NULL);
    // Before it left the range a step of the last cell would have carried into the next axis or the tag.
    for (size_t axis = 0; axis < 3; axis++)
        for (int sign = -1; sign <= 1; sign += 2)
        {
            int step[3] = {0};
            step[axis] = sign;
            cr_assert_eq(rlv_cubes_near(&cells, cells.of_point[ALONG * axis + (sign > 0 ? 0 : 5)], step),
                         RLV_CUBES_NONE);
        }
    rlv_cubes_free(&cells);
    free(sorted);
}

Test(cubes, a_step_over_the_end_of_an_axis_does_not_carry_into_the_next)
{
    // One more than the last cell along y would be the first along y and one further along x, if it carried.
    const float last = (float)LIMIT * 0.5f - 0.25f, first = -(float)LIMIT * 0.5f + 0.25f;
    const float point_mm[] = {0.25f, last, 0.25f, 0.75f, first, 0.25f, 0.25f, 0.25f, last, 0.25f, 0.75f, first};
    rlv_cubes cells = build(4, point_mm, NULL);
    cr_assert_eq(cells.count, 4);
    cr_assert_eq(rlv_cubes_near(&cells, 0, (const int[3]){0, 1, 0}), RLV_CUBES_NONE);
    cr_assert_eq(rlv_cubes_near(&cells, 1, (const int[3]){0, -1, 0}), RLV_CUBES_NONE);
    cr_assert_eq(rlv_cubes_near(&cells, 2, (const int[3]){0, 0, 1}), RLV_CUBES_NONE);
    cr_assert_eq(rlv_cubes_near(&cells, 3, (const int[3]){0, 0, -1}), RLV_CUBES_NONE);
    rlv_cubes_free(&cells);
}

Test(cubes, a_tag_parts_points_of_one_cube)
{
    const float point_mm[] = {0.1f, 0.1f, 0.1f, 0.2f, 0.1f, 0.1f, 0.1f, 0.2f, 0.1f, 0.6f, 0.1f, 0.1f};
    const uint8_t tag[] = {0, 127, 0, 127};
    rlv_cubes cells = build(4, point_mm, tag);
    cr_assert_eq(cells.count, 3);
    cr_assert(cells.of_point[2] == 0 && cells.of_point[1] == 1);
    cr_assert_eq(rlv_cubes_near(&cells, 1, (const int[3]){1, 0, 0}), 2);
    cr_assert_eq(rlv_cubes_near(&cells, 0, (const int[3]){1, 0, 0}), RLV_CUBES_NONE);
    cr_assert_eq(rlv_cubes_at(&cells, point_mm, 127), 1);
    cr_assert_eq(rlv_cubes_at(&cells, point_mm, 1), RLV_CUBES_NONE);
    rlv_cubes_free(&cells);
}

Test(cubes, no_points_make_no_cells)
{
    const float anywhere[3] = {0};
    rlv_cubes cells = build(0, NULL, NULL);
    cr_assert_eq(cells.count, 0);
    cr_assert_eq(cells.start[0], 0);
    cr_assert_eq(rlv_cubes_at(&cells, anywhere, 0), RLV_CUBES_NONE);
    rlv_cubes_free(&cells);
}

Test(cubes, a_normal_faces_the_axis_that_it_is_nearest_to)
{
    static const float normal[6][3] = {{0.8f, -0.5f, 0.3f}, {-0.8f, 0.5f, 0.3f}, {0.3f, 0.8f, -0.5f},
                                       {0.3f, -0.8f, 0.5f}, {-0.5f, 0.3f, 0.8f}, {0.5f, 0.3f, -0.8f}};
    for (uint8_t i = 0; i < 6; i++)
        cr_assert_eq(rlv_cubes_facing(normal[i]), i);
}

Test(cubes, the_cells_about_a_place_are_its_own_and_the_26_beside_it)
{
    float point_mm[3 * 27];
    for (int i = 0; i < 27; i++)
    {
        const int at[3] = {i / 9, i / 3 % 3, i % 3};
        for (int k = 0; k < 3; k++)
            point_mm[3 * i + k] = (float)(SIDE_MM * (at[k] + 0.5));
    }
    rlv_cubes cells = {0};
    cr_assert_eq(rlv_cubes_build(&cells, 27, point_mm, NULL, SIDE_MM, NULL), RLV_DONE);
    rlv_cubes_about about = {0};
    rlv_cubes_look_about(&about, &cells, point_mm + 3 * 13, 0);
    cr_assert_eq(about.count, 27);
    for (int step = 0; step < 27; step++)
        cr_expect_eq(about.cell[step], cells.of_point[step]);
    rlv_cubes_look_about(&about, &cells, point_mm, 0);
    cr_expect_eq(about.count, 8, "beyond the first corner there is none");
    rlv_cubes_look_about(&about, &cells, point_mm, 1);
    cr_expect_eq(about.count, 0, "nor of another tag");
    rlv_cubes_free(&cells);
}
