/// How long columns take, and how far they are from the truth: a rock before and after a plane cut and a pit, meshed
/// alike, so that what was not cut is the same to the bit and what went is the difference of two exact volumes.
///
/// bench_columns [--triangles N] [--repeat N]
///
/// Beside ours stands a robust boolean of CGAL, where that was found when this was configured: once, on rocks of at
/// most 50,000 triangles, its seconds scaled to the size of ours in proportion.

#include "columns.h"
#include "beside/boolean.h"
#include "rock.h"

#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// Volume by the divergence theorem, in long double, one triangle after the other.
static double exact_volume(const rlv_mesh* mesh)
{
    long double sum = 0.0L;
    for (size_t i = 0; i < mesh->triangle_count; i++)
    {
        rlv_vec3 a = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * i]);
        rlv_vec3 b = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * i + 1]);
        rlv_vec3 c = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * i + 2]);
        sum += (long double)rlv_vec3_dot(a, rlv_vec3_cross(b, c));
    }
    return (double)(sum / 6.0L);
}

/// Label 1 for the triangles that differ in at least `corners` corners: with more of them on one side than on the
/// other, labels do not meet to the triangle, as those of a real change do not.
static uint16_t* labels(const rlv_mesh* mesh, const rlv_mesh* other, int corners)
{
    uint16_t* label = calloc(mesh->triangle_count, sizeof *label);
    for (size_t i = 0; label != NULL && i < mesh->triangle_count; i++)
    {
        int changed = 0;
        for (size_t k = 0; k < 3; k++)
        {
            size_t vertex = mesh->corner[3 * i + k];
            changed += memcmp(mesh->position_mm + 3 * vertex, other->position_mm + 3 * vertex, 3 * sizeof(float)) != 0;
        }
        label[i] = changed >= corners;
    }
    return label;
}

static int by_value(const void* a, const void* b)
{
    double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

#define BOOLEAN_MOST 50000

/// Prints the rows of one pitch; returns the seconds of three axes.
static double measure(const rlv_solid solid[2], double pitch, double truth, int repeat)
{
    double all = 0.0;
    for (int axis = 0; axis < 3; axis++)
    {
        double seconds[64];
        rlv_columns_difference d = {0};
        for (int i = 0; i < repeat; i++)
        {
            rlv_columns_difference_free(&d);
            double start = omp_get_wtime();
            if (rlv_columns_compare(&d, &solid[0], &solid[1], 2, (rlv_axis)axis, pitch, NULL) != RLV_DONE)
                return 0.0;
            seconds[i] = omp_get_wtime() - start;
        }
        qsort(seconds, (size_t)repeat, sizeof *seconds, by_value);
        all += seconds[repeat / 2];
        printf("pitch %.2f mm, axis %c: %6.3f s, error of the label %+.5f %%, of all labels %+.1e %%\n", pitch,
               "xyz"[axis], seconds[repeat / 2], 100.0 * (d.label[1].signed_mm3 / truth - 1.0),
               100.0 * (d.signed_mm3 / truth - 1.0));
        rlv_columns_difference_free(&d);
    }
    printf("pitch %.2f mm, three axes: %.3f s\n", pitch, all);
    return all;
}

#if defined(RLV_CGAL)

static void measure_boolean(const rock block[2], size_t triangles, double our_seconds)
{
    rlv_mesh mesh[2] = {0};
    const size_t most = triangles < BOOLEAN_MOST ? triangles : BOOLEAN_MOST;
    if (rock_mesh(&mesh[0], &block[0], most, 0, NULL) == RLV_DONE &&
        rock_mesh(&mesh[1], &block[1], most, 0, NULL) == RLV_DONE)
    {
        boolean_mesh given[2];
        boolean_result result = {0};
        for (int i = 0; i < 2; i++)
            given[i] =
                (boolean_mesh){mesh[i].vertex_count, mesh[i].triangle_count, mesh[i].position_mm, mesh[i].corner};
        const double truth = exact_volume(&mesh[0]) - exact_volume(&mesh[1]);
        const double scale = (double)triangles / (double)mesh[0].triangle_count;
        if (boolean_cgal(&result, given))
            printf("CGAL's boolean on %zu triangles each, scaled by %.1f: load %.2f s, boolean %.2f s (%.2f s of the "
                   "processor), %.1f times ours at the last pitch on three axes; error of the volume %+.1e %%\n",
                   mesh[0].triangle_count, scale, result.load.wall_s * scale, result.work.wall_s * scale,
                   result.work.processor_s * scale, result.work.wall_s * scale / our_seconds,
                   100.0 * (result.removed_mm3 / truth - 1.0));
        else
            printf("CGAL's boolean on %zu triangles each: %s, after %.2f s\n", mesh[0].triangle_count, result.trouble,
                   result.work.wall_s);
    }
    rlv_mesh_free(&mesh[0]);
    rlv_mesh_free(&mesh[1]);
}

#else

static void measure_boolean(const rock block[2], size_t triangles, double our_seconds)
{
    (void)block, (void)triangles, (void)our_seconds;
    printf("CGAL's boolean: not there\n");
}

#endif

static size_t option(int count, char** words, const char* name, size_t otherwise)
{
    for (int i = 1; i + 1 < count; i++)
        if (strcmp(words[i], name) == 0)
            return strtoull(words[i + 1], NULL, 10);
    return otherwise;
}

int main(int count, char** words)
{
    size_t triangles = option(count, words, "--triangles", 5000000);
    int repeat = (int)option(count, words, "--repeat", 3);
    repeat = repeat < 1 ? 1 : repeat > 63 ? 63 : repeat;
    rock before = {.half_axes_mm = {115, 95, 80}, .relief_mm = 3, .relief_length_mm = 60, .facets = 0.6, .seed = 7};
    rock after = before;
    after.cut_count = 2;
    after.cut[0] = (rock_cut){.plane = true, .direction = {0.5, 0.3, 0.8}, .distance_mm = 62};
    after.cut[1] = (rock_cut){.direction = {-1.0, 0.2, 0.3}, .depth_mm = 6, .half_angle_rad = 0.4, .soft_mm = 8};
    rlv_mesh mesh[2] = {0};
    rlv_error error = {0};
    if (rock_mesh(&mesh[0], &before, triangles, 0, &error) != RLV_DONE ||
        rock_mesh(&mesh[1], &after, triangles, 0, &error) != RLV_DONE)
    {
        fprintf(stderr, "bench_columns: %s; %s\n", error.what, error.mend);
        return (int)error.status;
    }
    uint16_t* label[2] = {labels(&mesh[0], &mesh[1], 1), labels(&mesh[1], &mesh[0], 1)};
    uint16_t* shifted = labels(&mesh[1], &mesh[0], 2);
    double volume[2] = {exact_volume(&mesh[0]), exact_volume(&mesh[1])};
    double truth = volume[0] - volume[1];
    printf("%zu triangles each, %.1f mm3 of %.1f removed (%.2f %%), %d threads\n", mesh[0].triangle_count, truth,
           volume[0], 100.0 * truth / volume[0], omp_get_max_threads());
    static const double pitches[] = {0.5, 0.2, 0.1};
    double seconds = 0.0;
    for (int i = 0; i < 3; i++)
    {
        const rlv_solid solid[2] = {{&mesh[0], label[0]}, {&mesh[1], label[1]}};
        seconds = measure(solid, pitches[i], truth, repeat);
    }
    printf("labels that do not meet at the rim:\n");
    const rlv_solid unmet[2] = {{&mesh[0], label[0]}, {&mesh[1], shifted}};
    measure(unmet, pitches[0], truth, repeat);
    fflush(stdout);
    measure_boolean((const rock[2]){before, after}, mesh[0].triangle_count, seconds);
    for (int i = 0; i < 2; i++)
    {
        free(label[i]);
        rlv_mesh_free(&mesh[i]);
    }
    free(shifted);
    return 0;
}
