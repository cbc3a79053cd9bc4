#include "columns.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

// ---- solids to compare ----

static rlv_mesh new_mesh(size_t vertices, size_t triangles)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, vertices, triangles, false, false, NULL), RLV_DONE);
    return mesh;
}

static void put_vertex(rlv_mesh* mesh, size_t index, double x, double y, double z)
{
    mesh->position_mm[3 * index] = (float)x;
    mesh->position_mm[3 * index + 1] = (float)y;
    mesh->position_mm[3 * index + 2] = (float)z;
}

/// A box from `low` to `high`: triangles 2i and 2i + 1 are the faces -x +x -y +y -z +z.
static rlv_mesh box(rlv_vec3 low, rlv_vec3 high)
{
    static const uint32_t corners[36] = {0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5, 0, 1, 5, 0, 5, 4,
                                         2, 6, 7, 2, 7, 3, 0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6};
    rlv_mesh mesh = new_mesh(8, 12);
    for (size_t i = 0; i < 8; i++)
        put_vertex(&mesh, i, (i & 1) != 0 ? high.x : low.x, (i & 2) != 0 ? high.y : low.y,
                   (i & 4) != 0 ? high.z : low.z);
    memcpy(mesh.corner, corners, sizeof corners);
    return mesh;
}

static rlv_columns_difference compare(const rlv_mesh* first, const rlv_mesh* second, rlv_axis axis, double pitch)
{
    rlv_columns_difference difference;
    rlv_error error = {0};
    rlv_solid a = {first, NULL}, b = {second, NULL};
    cr_assert_eq(rlv_columns_compare(&difference, &a, &b, 1, axis, pitch, &error), RLV_DONE, "%s", error.what);
    return difference;
}

// Depth is a whole number of 2^-31 of the range, each end of a run rounded by half of that: for the sizes here the
// sums of runs stand to a part in 10^9. Where samples meet the exact area of a face, that is all there is.
#define ROUNDING 1e-8

Test(columns, shifted_cubes_leave_the_two_ends)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh b = box(rlv_vec3_of(2, 0, 0), rlv_vec3_of(12, 10, 10));
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_columns_difference d = compare(&a, &b, (rlv_axis)axis, 0.5);
        cr_assert_float_eq(d.label[0].first_only_mm3, 200.0, 200.0 * ROUNDING);
        cr_assert_float_eq(d.label[0].second_only_mm3, 200.0, 200.0 * ROUNDING);
        cr_assert_float_eq(d.signed_mm3, 0.0, 200.0 * ROUNDING);
        cr_assert_float_eq(d.label[0].max_run_mm, axis == 0 ? 2.0 : 10.0, 1e-7);
        cr_assert_float_eq(d.label[0].first_area_mm2, 600.0, 1e-4);
        cr_assert_not(d.open);
        cr_assert_eq(d.overlap_mm2, 0.0);
        cr_assert_eq(d.left_out_mm2, 0.0);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

Test(columns, a_pitch_that_is_not_above_zero_is_refused)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_solid s = {&a, NULL};
    const double pitches[] = {0.0, -1.0, (double)NAN, (double)INFINITY};
    for (int i = 0; i < 4; i++)
    {
        rlv_columns_difference d;
        rlv_error error = {0};
        cr_assert_eq(rlv_columns_compare(&d, &s, &s, 1, RLV_AXIS_Z, pitches[i], &error), RLV_BAD_INPUT);
        cr_assert_eq(error.status, RLV_BAD_INPUT);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&a);
}
