#include "named_outline.h"

#include "support/numbered.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static rlv_point_record eleven[11];

/// Points 1 to 11 along the upper edge of a sphere of 50 mm, in metres; numbered, and written last first.
static rlv_specimen specimen_with_line(void)
{
    static char* const number[11] = {"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11"};
    for (size_t i = 0; i < 11; i++)
    {
        const double angle = -1.0 + 0.2 * (double)i;
        eleven[10 - i] = (rlv_point_record){.stage = "s1",
                                            .mesh = "flank",
                                            .object = "joint",
                                            .point = number[i],
                                            .at = {0.05 * sin(angle), 0.0, 0.05 * cos(angle)}};
    }
    rlv_specimen specimen = {0};
    numbered_place(&specimen, 11, eleven);
    return specimen;
}

Test(named_outline, a_line_runs_in_the_order_of_its_numbers)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 50.0, 40);
    rlv_surface* surface = NULL;
    cr_assert_eq(rlv_surface_prepare(&surface, &mesh, NULL, NULL), RLV_DONE);
    rlv_specimen specimen = specimen_with_line();
    const rlv_named_points named = {"s1", "flank", "joint", 1000.0, "specimen.yaml: joints[0].trace"};
    rlv_trace trace = {0};
    cr_assert_eq(rlv_named_trace_find(&trace, surface, &specimen, &named, NULL), RLV_DONE);
    // Two radians of the great circle, in order: read as text, 10 and 11 would come after 1 and the line go back and
    // forth. It runs along the octahedron's own edge, so that only its ends are an edge off: 90 degrees in 40 cuts, the
    // longest of them sqrt(2) of the mean.
    const double edge = sqrt(2.0) * 50.0 * M_PI / 80.0;
    cr_assert_float_eq(trace.length_mm, 100.0, 2.0 * edge);
    cr_assert_lt(mesh.position_mm[3 * (size_t)trace.vertex[0]], 0.0f);
    rlv_trace_free(&trace);
    numbered_free(&specimen);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(named_outline, a_line_that_is_not_there_is_refused_by_its_key)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 50.0, 10);
    rlv_surface* surface = NULL;
    cr_assert_eq(rlv_surface_prepare(&surface, &mesh, NULL, NULL), RLV_DONE);
    rlv_specimen specimen = specimen_with_line();
    rlv_named_points named = {"s1", "block", "joint", 1000.0, "specimen.yaml: joints[0].trace"}; // it is on the piece
    rlv_trace trace = {0};
    rlv_outline outline = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_named_trace_find(&trace, surface, &specimen, &named, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, "specimen.yaml: joints[0].trace");
    cr_assert_not_null(strstr(error.what, "'joint': points.csv has no points of that name on 'block' at 's1'"));
    named.mesh = "flank";
    cr_assert_eq(rlv_named_outline_find(&outline, surface, &specimen, &named, &error), RLV_BAD_INPUT);
    cr_assert_not_null(strstr(error.what, "'joint': it encloses nothing"), "%s", error.what);
    cr_assert_null(outline.triangle);
    numbered_free(&specimen);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}
