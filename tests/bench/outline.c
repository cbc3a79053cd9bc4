/// How quick outlines are on a closed rock, and how far borders lie from the sections they are to keep to: on a plane,
/// a sphere and the rock, in mean edges of each mesh.
///
/// Usage: bench_outline [--triangles N] [--outlines N]
///
/// Seconds are on the clock, and for the outlines, which one thread works on, the processor's. A way between two points
/// is held against the plane through both that it keeps to best.

#include "outline.h"
#include "rock.h"
#include "support/shapes.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define POINTS 16

static double now(clockid_t clock_of)
{
    struct timespec t;
    clock_gettime(clock_of, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double next_share(uint64_t* state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static void stop(rlv_status status, const rlv_error* error)
{
    if (status == RLV_DONE)
        return;
    fprintf(stderr, "%s; %s\n", error->what, error->mend);
    exit((int)status);
}

/// A shaken square grid of side 100 mm.
static void add_plane(rlv_mesh* mesh, size_t cells, uint64_t seed)
{
    const size_t n = cells + 1;
    float* at = calloc(3 * n * n, sizeof *at);
    uint32_t* corner = calloc(6 * cells * cells, sizeof *corner);
    if (at == NULL || corner == NULL)
        abort();
    for (size_t i = 0; i < n * n; i++)
    {
        at[3 * i] = (float)(100.0 / (double)cells * ((double)(i % n) + 0.6 * next_share(&seed)));
        at[3 * i + 1] = (float)(100.0 / (double)cells * ((double)(i / n) + 0.6 * next_share(&seed)));
    }
    for (size_t i = 0; i < cells * cells; i++)
    {
        const uint32_t a = (uint32_t)(i / cells * n + i % cells), b = a + 1, c = a + (uint32_t)n, d = c + 1;
        memcpy(corner + 6 * i, (const uint32_t[6]){a, b, d, a, d, c}, 6 * sizeof *corner);
    }
    shape_add(mesh, n * n, at, 2 * cells * cells, corner);
    free(at);
    free(corner);
}

typedef struct deviations
{
    size_t count;
    double most, squares; ///< in mean edges
} deviations;

/// How far a way between two points lies off the plane through both that it keeps to best, tried degree by degree about
/// `up`.
static void add_deviation(deviations* all, const rlv_mesh* mesh, const rlv_trace* trace, rlv_vec3 a, rlv_vec3 b,
                          rlv_vec3 up, double edge_mm)
{
    const rlv_vec3 way = rlv_vec3_unit(rlv_vec3_sub(b, a)), across = rlv_vec3_unit(rlv_vec3_cross(up, way));
    const rlv_vec3 upright = rlv_vec3_cross(way, across);
    double best_most = INFINITY, best_squares = INFINITY;
    for (int degrees = -60; degrees <= 60; degrees++)
    {
        const double turn = degrees * M_PI / 180.0;
        const rlv_vec3 normal = rlv_vec3_along(rlv_vec3_scale(across, cos(turn)), sin(turn), upright);
        double most = 0.0, squares = 0.0;
        for (size_t i = 0; i < trace->count; i++)
        {
            const rlv_vec3 d = rlv_vec3_sub(rlv_mesh_vertex(mesh, trace->vertex[i]), a);
            const double off = rlv_vec3_dot(d, normal) / edge_mm;
            most = fmax(most, fabs(off));
            squares += off * off;
        }
        if (squares < best_squares)
            best_squares = squares, best_most = most;
    }
    all->count += trace->count;
    all->squares += best_squares;
    all->most = fmax(all->most, best_most);
}

/// A ring of points: on the plane about its middle, else on a cone about a direction.
static void draw_ring(rlv_vec3* point, const rock* body, uint64_t* seed)
{
    const double begin = 2.0 * M_PI * next_share(seed);
    if (body == NULL)
    {
        const double radius = 10.0 + 30.0 * next_share(seed);
        for (size_t i = 0; i < POINTS; i++)
        {
            const double turn = begin + 2.0 * M_PI * (double)i / POINTS;
            point[i] = rlv_vec3_of(50.0 + radius * cos(turn), 50.0 + radius * sin(turn), 0.3);
        }
        return;
    }
    const double z = 2.0 * next_share(seed) - 1.0, around = 2.0 * M_PI * next_share(seed);
    const double open = 0.15 + 0.6 * next_share(seed), flat = sqrt(1.0 - z * z);
    const rlv_vec3 axis = rlv_vec3_of(flat * cos(around), flat * sin(around), z);
    const rlv_vec3 side = rlv_vec3_unit(rlv_vec3_cross(axis, rlv_vec3_of(0.3, 0.5, 0.8)));
    const rlv_vec3 other = rlv_vec3_cross(axis, side);
    for (size_t i = 0; i < POINTS; i++)
    {
        const double turn = begin + 2.0 * M_PI * (double)i / POINTS;
        const rlv_vec3 tilt =
            rlv_vec3_add(rlv_vec3_scale(side, sin(open) * cos(turn)), rlv_vec3_scale(other, sin(open) * sin(turn)));
        const rlv_vec3 way = rlv_vec3_along(tilt, cos(open), axis);
        point[i] = rlv_vec3_scale(way, rock_radius(body, way));
    }
}

/// Work on one mesh; `body` is NULL for the plane.
static void work_on(const char* name, const rlv_mesh* mesh, const rock* body, size_t outlines)
{
    rlv_error error = {0};
    rlv_surface* surface = NULL;
    rlv_tree* tree = NULL;
    const double begin = now(CLOCK_MONOTONIC);
    stop(rlv_tree_build(&tree, mesh, &error), &error);
    const double indexed = now(CLOCK_MONOTONIC);
    stop(rlv_surface_prepare(&surface, mesh, tree, &error), &error);
    const double prepared = now(CLOCK_MONOTONIC);
    deviations all = {0};
    const rlv_mesh_measures measures = rlv_mesh_measure(mesh);
    const double edge = sqrt(4.0 * measures.area_mm2 / (sqrt(3.0) * (double)mesh->triangle_count));
    double taken = 0.0, share = 0.0;
    uint64_t seed = 7;
    for (size_t i = 0; i < outlines; i++)
    {
        rlv_vec3 point[POINTS];
        rlv_outline outline = {0};
        draw_ring(point, body, &seed);
        const double start = now(CLOCK_PROCESS_CPUTIME_ID);
        stop(rlv_outline_find(&outline, surface, POINTS, point, &error), &error);
        taken += now(CLOCK_PROCESS_CPUTIME_ID) - start;
        share += outline.area_mm2 / measures.area_mm2;
        rlv_outline_free(&outline);
        for (size_t k = 0; k < POINTS; k++)
        {
            const rlv_vec3 pair[2] = {point[k], point[(k + 1) % POINTS]};
            rlv_trace trace = {0};
            stop(rlv_trace_find(&trace, surface, 2, pair, &error), &error);
            add_deviation(&all, mesh, &trace, pair[0], pair[1], body != NULL ? pair[0] : rlv_vec3_of(0, 0, 1), edge);
            rlv_trace_free(&trace);
        }
    }
    printf("%-8s %9zu triangles: index %.2f s, neighbours %.2f s, %zu outlines %.3f s (%.0f %% of the surface each); "
           "off the sections, in mean edges of %.2f mm: rms %.2f, most %.2f\n",
           name, mesh->triangle_count, indexed - begin, prepared - indexed, outlines, taken,
           100.0 * share / (double)outlines, edge, sqrt(all.squares / (double)all.count), all.most);
    rlv_surface_free(surface);
    rlv_tree_free(tree);
}

int main(int count, char** word)
{
    size_t triangles = 5000000, outlines = 20;
    for (int i = 1; i + 1 < count; i += 2)
        if (strcmp(word[i], "--triangles") == 0)
            triangles = strtoull(word[i + 1], NULL, 10);
        else if (strcmp(word[i], "--outlines") == 0)
            outlines = strtoull(word[i + 1], NULL, 10);
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    add_plane(&mesh, (size_t)sqrt((double)triangles / 2.0), 3);
    work_on("plane", &mesh, NULL, outlines);
    rlv_mesh_free(&mesh);
    const rock ball = {.half_axes_mm = {100, 100, 100}};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 100.0, (size_t)sqrt((double)triangles / 8.0));
    work_on("sphere", &mesh, &ball, outlines);
    rlv_mesh_free(&mesh);
    const rock block = {
        .half_axes_mm = {150, 100, 70}, .relief_mm = 2.0, .relief_length_mm = 40.0, .facets = 0.5, .seed = 11};
    stop(rock_mesh(&mesh, &block, triangles, 5, &error), &error);
    work_on("rock", &mesh, &block, outlines);
    rlv_mesh_free(&mesh);
    return 0;
}
