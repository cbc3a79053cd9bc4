// Bone that is left: triangles within an outline of a view, or close to it, are taken out of a set, and no others.

#include "panel.h"

#include <criterion/criterion.h>
#include <omp.h>
#include <string.h>

TestSuite(panel_rest);

// A field of SIDE by SIDE small triangles: the middle of triangle (i, j) is at x = i, y = j mm, and as high as is
// asked.
enum
{
    SIDE = 21,
    COUNT = SIDE * SIDE,
};

typedef struct field
{
    rlv_mesh mesh;
    float at[9 * COUNT];
    uint32_t corner[3 * COUNT];
    uint8_t set[COUNT];
} field;

static void lay(field* f, double height_mm)
{
    static const float off[3][2] = {{0.1f, 0.1f}, {-0.1f, 0.0f}, {0.0f, -0.1f}}; // their mean is 0
    for (size_t t = 0; t < COUNT; t++)
    {
        f->set[t] = 1;
        for (size_t k = 0; k < 3; k++)
        {
            f->corner[3 * t + k] = (uint32_t)(3 * t + k);
            f->at[9 * t + 3 * k] = (float)(t % SIDE) + off[k][0];
            f->at[9 * t + 3 * k + 1] = (float)(t / SIDE) + off[k][1];
            f->at[9 * t + 3 * k + 2] = (float)height_mm;
        }
    }
    f->mesh = (rlv_mesh){.vertex_count = 3 * COUNT, .triangle_count = COUNT, .position_mm = f->at, .corner = f->corner};
}

static const rlv_camera_axes from_above = {.right = {1, 0, 0}, .up = {0, 1, 0}, .towards = {0, 0, 1}};

// An L: of the square from 4.5 to 14.5 mm the upper right quarter, from 9.5 on, is not in it.
static const rlv_vec3 ell[6] = {{4.5, 4.5, 0},  {14.5, 4.5, 3}, {14.5, 9.5, 0},
                                {9.5, 9.5, -2}, {9.5, 14.5, 0}, {4.5, 14.5, 1}};

static bool in_ell(double x, double y)
{
    return x > 4.5 && x < 14.5 && y > 4.5 && y < 14.5 && !(x > 9.5 && y > 9.5);
}

static void leave(field* f, size_t count, const rlv_panel_area* area, double round_mm)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_panel_leave_areas(f->set, &f->mesh, &from_above, count, area, round_mm, &error), RLV_DONE, "%s",
                 error.what);
}

Test(panel_rest, what_lies_within_an_outline_is_taken_and_its_bay_is_not)
{
    static field f;
    const rlv_panel_area area = {.ring_count = 6, .ring_mm = ell};
    lay(&f, 50.0); // how high it lies over its outline is not seen from above
    leave(&f, 1, &area, 0.0);
    for (size_t t = 0; t < COUNT; t++)
        cr_expect_eq(f.set[t], !in_ell((double)(t % SIDE), (double)(t / SIDE)), "%zu, %zu", t % SIDE, t / SIDE);
}

Test(panel_rest, what_is_close_to_an_outline_is_taken_with_it)
{
    static field f;
    const rlv_panel_area area = {.ring_count = 6, .ring_mm = ell};
    lay(&f, 0.0);
    leave(&f, 1, &area, 0.75);
    // Rows 4 and 15 lie half a millimetre off its edges, 3 and 16 one and a half; the corner is 0.71 mm off (4, 4).
    cr_expect_eq(f.set[4 * SIDE + 4], 0);
    cr_expect_eq(f.set[4 * SIDE + 9], 0);
    cr_expect_eq(f.set[15 * SIDE + 9], 0);
    cr_expect_eq(f.set[3 * SIDE + 9], 1);
    cr_expect_eq(f.set[16 * SIDE + 7], 1);
    cr_expect_eq(f.set[10 * SIDE + 10], 0, "in the bay, 0.5 mm off both its edges");
    cr_expect_eq(f.set[11 * SIDE + 11], 1);
}

Test(panel_rest, areas_take_what_any_of_them_holds_and_give_nothing_back)
{
    static field f;
    const rlv_vec3 square[4] = {{15.5, 15.5, 0}, {19.5, 15.5, 0}, {19.5, 19.5, 0}, {15.5, 19.5, 0}};
    const rlv_panel_area area[2] = {{.ring_count = 6, .ring_mm = ell}, {.ring_count = 4, .ring_mm = square}};
    lay(&f, 0.0);
    f.set[0] = 0;
    leave(&f, 2, area, 0.0);
    size_t left = 0;
    for (size_t t = 0; t < COUNT; t++)
        left += f.set[t];
    cr_expect_eq(left, COUNT - 1 - 75 - 16); // an L of three quarters of 10 x 10, and 4 x 4
    cr_expect_eq(f.set[0], 0);
    lay(&f, 0.0);
    leave(&f, 0, NULL, 5.0);
    cr_expect_eq(memchr(f.set, 0, COUNT), NULL);
}

Test(panel_rest, an_outline_is_where_the_view_shows_it)
{
    static field f;
    // Seen from the side, with y towards the eye: all triangles lie at one height, and the outline of an L beside it
    // is a line that rises and falls by a few millimetres.
    const rlv_camera_axes side = {.right = {1, 0, 0}, .up = {0, 0, 1}, .towards = {0, -1, 0}};
    const rlv_panel_area area = {.ring_count = 6, .ring_mm = ell};
    lay(&f, 10.0);
    cr_assert_eq(rlv_panel_leave_areas(f.set, &f.mesh, &side, 1, &area, 0.0, NULL), RLV_DONE);
    cr_expect_eq(memchr(f.set, 0, COUNT), NULL);
    lay(&f, 1.0);
    cr_assert_eq(rlv_panel_leave_areas(f.set, &f.mesh, &side, 1, &area, 0.0, NULL), RLV_DONE);
    for (size_t t = 0; t < COUNT; t++) // at 13 mm to the right, between the edges to and from (14.5, 3)
        cr_expect_eq(f.set[t], f.set[t % SIDE], "whatever their depth");
    cr_expect_eq(f.set[13], 0);
    cr_expect_eq(f.set[2], 1);
}

Test(panel_rest, one_thread_and_two_take_the_same)
{
    static field f[2];
    const rlv_panel_area area = {.ring_count = 6, .ring_mm = ell};
    for (int k = 0; k < 2; k++)
    {
        omp_set_num_threads(k + 1);
        lay(&f[k], 0.0);
        leave(&f[k], 1, &area, 0.6);
    }
    cr_expect_arr_eq(f[0].set, f[1].set, COUNT);
}
