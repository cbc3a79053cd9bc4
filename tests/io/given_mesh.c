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
