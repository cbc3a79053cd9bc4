// Removed and added volumes against robust mesh booleans: npm package manifold-3d, whose version stands at the head of
// booleans.txt; booleans.mjs beside it made that file.

#include "columns.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define PAIRS 5

typedef struct boolean_pair
{
    char name[64];
    double volume_mm3[2];
    double only_mm3[2];
    rlv_mesh mesh[2];
} boolean_pair;

static bool read_mesh(FILE* file, rlv_mesh* mesh)
{
    size_t vertices, triangles;
    if (fscanf(file, " mesh %zu %zu", &vertices, &triangles) != 2 ||
        rlv_mesh_reserve(mesh, vertices, triangles, false, false, NULL) != RLV_DONE)
        return false;
    for (size_t i = 0; i < 3 * vertices; i++)
        if (fscanf(file, "%f", &mesh->position_mm[i]) != 1)
            return false;
    for (size_t i = 0; i < 3 * triangles; i++)
        if (fscanf(file, "%u", &mesh->corner[i]) != 1 || mesh->corner[i] >= vertices)
            return false;
    return true;
}

static void read_pairs(boolean_pair pair[PAIRS])
{
    FILE* file = fopen(RLV_TESTS_DIR "/outside/booleans.txt", "r");
    cr_assert_not_null(file);
    cr_assert_eq(fscanf(file, "%*[^\n]"), 0);
    for (int i = 0; i < PAIRS; i++)
    {
        pair[i] = (boolean_pair){0};
        cr_assert_eq(fscanf(file, " pair %63s volumes %lf %lf %lf %lf", pair[i].name, &pair[i].volume_mm3[0],
                            &pair[i].volume_mm3[1], &pair[i].only_mm3[0], &pair[i].only_mm3[1]),
                     5);
        cr_assert(read_mesh(file, &pair[i].mesh[0]) && read_mesh(file, &pair[i].mesh[1]), "%s", pair[i].name);
    }
    fclose(file);
}

static void free_pairs(boolean_pair pair[PAIRS])
{
    for (int i = 0; i < PAIRS; i++)
        for (int k = 0; k < 2; k++)
            rlv_mesh_free(&pair[i].mesh[k]);
}

static rlv_columns_difference compare(const boolean_pair* pair, int axis, double pitch_mm)
{
    rlv_columns_difference d;
    rlv_error error = {0};
    const rlv_solid first = {&pair->mesh[0], NULL}, second = {&pair->mesh[1], NULL};
    cr_assert_eq(rlv_columns_compare(&d, &first, &second, 1, (rlv_axis)axis, pitch_mm, &error), RLV_DONE, "%s",
                 error.what);
    return d;
}

// The library takes faces closer than its own tolerance as touching or not as it finds fit, and leaves films of a
// micrometre there that it counts as volume (a thousandth of a cubic millimetre in these pairs): this much is its own.
#define FILM_MM3 0.01

/// What sampling may miss of a solid that one mesh fills alone. Only cells that the outline of its plan crosses are
/// misjudged, each by a share of its area that is spread evenly (variance 1/12), times the run's length there: outlines
/// are no longer here than the plan of the box around (its girth), four cells in pi, and runs no longer than half the
/// box is deep. Four standard deviations.
static double tolerance_mm3(const rlv_mesh mesh[2], int axis, double pitch_mm)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (int k = 0; k < 2; k++)
        for (size_t i = 0; i < mesh[k].vertex_count; i++)
            for (int d = 0; d < 3; d++)
            {
                low[d] = fmin(low[d], (double)mesh[k].position_mm[3 * i + (size_t)d]);
                high[d] = fmax(high[d], (double)mesh[k].position_mm[3 * i + (size_t)d]);
            }
    int u = (axis + 1) % 3, v = (axis + 2) % 3;
    double girth_mm = 2.0 * (high[u] - low[u] + high[v] - low[v]), run_mm = 0.5 * (high[axis] - low[axis]);
    double cells = girth_mm / pitch_mm * 4.0 / M_PI;
    return 4.0 * pitch_mm * pitch_mm * run_mm * sqrt(cells / 12.0) + FILM_MM3;
}

Test(booleans, what_one_solid_fills_alone_is_what_robust_booleans_find)
{
    boolean_pair pair[PAIRS];
    read_pairs(pair);
    const double pitch_mm = 0.1;
    for (int i = 0; i < PAIRS; i++)
        for (int axis = 0; axis < 3; axis++)
        {
            rlv_columns_difference d = compare(&pair[i], axis, pitch_mm);
            // Where only one solid fills anything alone, that is the signed volume, which is exact but for the films.
            bool both = fmin(pair[i].only_mm3[0], pair[i].only_mm3[1]) > FILM_MM3;
            double tolerance = both ? tolerance_mm3(pair[i].mesh, axis, pitch_mm) : FILM_MM3;
            const double only[2] = {d.label[0].first_only_mm3, d.label[0].second_only_mm3};
            for (int k = 0; k < 2; k++)
            {
                // What is asked of removed volumes, 0.02 %, is less than the bound.
                double asked = fmin(tolerance, fmax(2e-4 * pair[i].only_mm3[k], FILM_MM3));
                cr_expect_float_eq(only[k], pair[i].only_mm3[k], asked, "%s, axis %d, %s: %.6f for %.6f (+- %.3f)",
                                   pair[i].name, axis, k == 0 ? "first" : "second", only[k], pair[i].only_mm3[k],
                                   asked);
            }
            cr_expect_not(d.open);
            rlv_columns_difference_free(&d);
        }
    free_pairs(pair);
}

Test(booleans, signed_volume_is_exact_at_any_pitch)
{
    boolean_pair pair[PAIRS];
    read_pairs(pair);
    for (int i = 0; i < PAIRS; i++)
        for (double pitch_mm = 0.4; pitch_mm < 50.0; pitch_mm *= 5.0)
        {
            rlv_columns_difference d = compare(&pair[i], i % 3, pitch_mm);
            double expected = pair[i].volume_mm3[0] - pair[i].volume_mm3[1];
            // The file gives twelve figures.
            cr_expect_float_eq(d.signed_mm3, expected, 2e-11 * pair[i].volume_mm3[0], "%s, pitch %g: %.9g for %.9g",
                               pair[i].name, pitch_mm, d.signed_mm3, expected);
            rlv_columns_difference_free(&d);
        }
    free_pairs(pair);
}
