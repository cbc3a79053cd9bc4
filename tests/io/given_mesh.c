/// Tests of a mesh that is read at a scale of its own.

#include "given_mesh.h"
#include "support/program.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <string.h>

static void enter(void)
{
    rlv_mesh mesh = {0};
    program_enter();
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 50.0, 8);
    cr_assert_eq(rlv_mesh_file_write(&mesh, "ball.ply", NULL), RLV_DONE);
    rlv_mesh_free(&mesh);
}

TestSuite(given_mesh, .init = enter, .fini = program_leave, .timeout = 60);

static void expect_refused(double mm_per_unit)
{
    given_mesh given = {0};
    rlv_answer answer = {0};
    rlv_error error = {0};
    cr_assert_eq(given_mesh_read_scaled(&given, "ball.ply", mm_per_unit, &answer, &error), RLV_BAD_INPUT, "%g",
                 mm_per_unit);
    cr_assert_str_eq(error.where, "ball.ply");
    cr_assert_not_null(strstr(error.mend, "scale bars"), "%g: %s; %s", mm_per_unit, error.what, error.mend);
    given_mesh_free(&given);
}

Test(given_mesh, a_scale_that_no_mesh_has_is_refused)
{
    // Past what a float holds, a coordinate would have no value that C defines; and nothing is 1e12 mm long.
    const double scales[] = {1e11, 2.0 * (double)FLT_MAX, DBL_MAX, (double)INFINITY, (double)NAN};
    for (size_t i = 0; i < sizeof scales / sizeof *scales; i++)
        expect_refused(scales[i]);
}

// A cloud of points left beside a mesh is no part of the block: all rooms that ask for its size go by vertices.
Test(given_mesh, vertices_that_no_triangle_uses_are_not_of_the_block)
{
    program_write("loose.ply", "ply\nformat ascii 1.0\nelement vertex 6\nproperty float x\nproperty float y\n"
                               "property float z\nelement face 5\nproperty list uchar int vertex_indices\nend_header\n"
                               "0 0 0\n40 0 0\n900 0 0\n0 30 0\n0 0 20\n0 0 -900\n"
                               "3 0 3 1\n3 0 1 4\n3 1 3 4\n3 0 4 3\n3 2 2 5\n");
    given_mesh given = {0};
    rlv_answer answer = {.inputs = json_array(), .warnings = json_array()};
    rlv_error error = {0};
    cr_assert_eq(given_mesh_read(&given, "loose.ply", RLV_UNIT_MM, &answer, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(given.vertices, 6);
    cr_expect_eq(given.mesh.vertex_count, 4);
    cr_expect_eq(given.mesh.triangle_count, 4);
    for (size_t v = 0; v < given.mesh.vertex_count; v++)
        for (int k = 0; k < 3; k++)
            cr_expect_leq(fabsf(given.mesh.position_mm[3 * v + (size_t)k]), 40.0f);
    given_mesh_free(&given);
    json_decref(answer.inputs);
    json_decref(answer.warnings);
}
