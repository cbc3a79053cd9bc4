#include "sampling.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>

static double area_of(const rlv_sampling* s)
{
    double sum = 0.0;
    for (size_t i = 0; i < s->count; i++)
        sum += (double)s->area_mm2[i];
    return sum;
}

static bool is_finite(const rlv_sampling* s)
{
    bool finite = isfinite(s->spacing_mm);
    for (size_t i = 0; i < s->count; i++)
        for (size_t k = 0; k < 3; k++)
            finite = finite && isfinite(s->position_mm[3 * i + k]) && isfinite(s->normal[3 * i + k]) &&
                     isfinite(s->area_mm2[i]) && isfinite(s->chord_mm[i]);
    return finite;
}

static rlv_sampling take(const rlv_mesh* mesh, size_t most)
{
    rlv_sampling sampling = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_sampling_take(&sampling, mesh, NULL, most, &error), RLV_DONE, "%s", error.what);
    return sampling;
}

/// Samples keep the surface's area. A float area takes some ten roundings of 6e-8, which mostly cancel over thousands.
Test(sampling, samples_keep_the_area)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 60.0, 60);
    rlv_sampling sampling = take(&mesh, 2000);
    cr_expect_float_eq(area_of(&sampling) / rlv_mesh_measure(&mesh).area_mm2, 1.0, 6e-7);
    cr_expect(is_finite(&sampling));
    rlv_sampling_free(&sampling);
    rlv_mesh_free(&mesh);
}

/// Slivers whose areas round to nothing add none, and their samples are numbers, whether each vertex is a sample or
/// many share one.
Test(sampling, slivers_whose_areas_round_to_nothing_are_finite_and_add_no_area)
{
    static const size_t most[] = {1000000, 2000};
    for (size_t k = 0; k < 2; k++)
    {
        rlv_mesh plain = {0}, mixed = {0};
        shape_add_sphere(&plain, rlv_vec3_of(0, 0, 0), 60.0, 60);
        shape_add_sphere(&mixed, rlv_vec3_of(0, 0, 0), 60.0, 60);
        shape_add_needle(&mixed, 120.0);
        rlv_sampling of_plain = take(&plain, most[k]), of_mixed = take(&mixed, most[k]);
        cr_expect(is_finite(&of_mixed));
        // Other cells where the most is passed: the same floats, added in another order.
        cr_expect_float_eq(area_of(&of_mixed), area_of(&of_plain), 1e-6 * area_of(&of_plain));
        size_t without = 0;
        for (size_t i = 0; i < of_mixed.count; i++)
            without += of_mixed.area_mm2[i] == 0.0f;
        cr_expect_gt(without, 0, "the needle has area: this tests nothing");
        rlv_sampling_free(&of_plain);
        rlv_sampling_free(&of_mixed);
        rlv_mesh_free(&plain);
        rlv_mesh_free(&mixed);
    }
}

Test(sampling, mesh_of_slivers_alone_is_refused)
{
    rlv_mesh mesh = {0};
    rlv_sampling sampling = {0};
    rlv_error error = {0};
    shape_add_needle(&mesh, 120.0);
    cr_expect_eq(rlv_sampling_take(&sampling, &mesh, NULL, 2000, &error), RLV_BAD_INPUT);
    cr_expect_null(sampling.area_mm2);
    cr_expect_neq(error.mend[0], '\0');
    rlv_mesh_free(&mesh);
}
