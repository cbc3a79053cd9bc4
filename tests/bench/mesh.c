/// How quick welding, mending and measuring are on a closed rock, beside Assimp's joining of vertices and its search
/// for degenerate triangles, as the general library.
///
/// Usage: bench_mesh [--triangles N] [--repeat N]
///
/// Seconds are medians, on the clock and of all threads' processor time: on a shared machine the second, over the
/// number of threads, tells what the first would be alone. Assimp works on a rock of at most 500,000 triangles, and its
/// seconds are scaled to the size of ours, in proportion. The aims are for 5 million triangles on two cores.

#include "mesh.h"
#include "rock.h"

#include <assimp/cimport.h>
#include <assimp/postprocess.h>
#include <assimp/scene.h>
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define REPEAT_MOST 99
#define ASSIMP_MOST 500000

typedef struct timing
{
    double wall[REPEAT_MOST], processor[REPEAT_MOST];
    size_t count;
    size_t extra_bytes; ///< most memory held beyond what was held before
} timing;

static int by_size(const void* a, const void* b)
{
    double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

static double median(double* seconds, size_t count)
{
    qsort(seconds, count, sizeof *seconds, by_size);
    return seconds[count / 2];
}

static double processor_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static size_t memory(const char* key)
{
    size_t kilobytes = 0, length = strlen(key);
    FILE* file = fopen("/proc/self/status", "r");
    char line[256];
    while (file != NULL && fgets(line, sizeof line, file) != NULL)
        if (strncmp(line, key, length) == 0)
            kilobytes = strtoull(line + length + 1, NULL, 10);
    if (file != NULL)
        fclose(file);
    return kilobytes << 10;
}

/// Forget the most memory held so far.
static void forget_peak(void)
{
    FILE* file = fopen("/proc/self/clear_refs", "w");
    if (file == NULL)
        return;
    fputs("5", file);
    fclose(file);
}

/// A way to spoil a copy of the rock before it is worked on.
typedef void spoiling(rlv_mesh* mesh);
typedef bool working(rlv_mesh* mesh);

static uint64_t state = 1;

static size_t below(size_t count)
{
    state = state * 6364136223846793005u + 1442695040888963407u;
    return (size_t)((double)(state >> 11) * 0x1p-53 * (double)count);
}

static void leave(rlv_mesh* mesh)
{
    (void)mesh;
}

static void swap_corners(uint32_t* a, uint32_t* b)
{
    uint32_t kept[3];
    memcpy(kept, a, sizeof kept);
    memcpy(a, b, sizeof kept);
    memcpy(b, kept, sizeof kept);
}

/// Triangles in random order: no neighbour is near another in memory.
static void shuffle(rlv_mesh* mesh)
{
    for (size_t t = mesh->triangle_count; t > 1; t--)
        swap_corners(mesh->corner + 3 * (t - 1), mesh->corner + 3 * below(t));
}

static void turn_some(rlv_mesh* mesh)
{
    for (size_t i = 0; i < mesh->triangle_count / 100; i++)
    {
        uint32_t* c = mesh->corner + 3 * below(mesh->triangle_count);
        uint32_t second = c[1];
        c[1] = c[2];
        c[2] = second;
    }
}

static void open_some(rlv_mesh* mesh)
{
    size_t holes = mesh->triangle_count / 5000;
    for (size_t i = 0; i < holes; i++)
        swap_corners(mesh->corner + 3 * (mesh->triangle_count - 1 - i), mesh->corner + 3 * below(mesh->triangle_count));
    mesh->triangle_count -= holes;
}

/// A thousandth each: repeated triangles, and triangles with a corner twice.
static void repeat_some(rlv_mesh* mesh)
{
    size_t n = mesh->triangle_count;
    for (size_t i = 0; i < n / 1000; i++)
    {
        memcpy(mesh->corner + 3 * below(n), mesh->corner + 3 * below(n), 3 * sizeof *mesh->corner);
        uint32_t* c = mesh->corner + 3 * below(n);
        c[1] = c[0];
    }
}

/// Every triangle gets vertices of its own, as in STL.
static void break_up(rlv_mesh* mesh)
{
    float* position = malloc(9 * mesh->triangle_count * sizeof *position);
    if (position == NULL)
        abort();
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
    {
        memcpy(position + 3 * i, mesh->position_mm + 3 * (size_t)mesh->corner[i], 3 * sizeof *position);
        mesh->corner[i] = (uint32_t)i;
    }
    free(mesh->position_mm);
    mesh->position_mm = position;
    mesh->vertex_count = 3 * mesh->triangle_count;
}

static bool weld(rlv_mesh* mesh)
{
    return rlv_mesh_weld(mesh, NULL) == RLV_DONE;
}

static bool mend(rlv_mesh* mesh)
{
    rlv_mesh_health health;
    return rlv_mesh_mend(mesh, &health, NULL) == RLV_DONE;
}

static bool measure(rlv_mesh* mesh)
{
    return rlv_mesh_measure(mesh).volume_mm3 > 0.0;
}

static bool find_borders(rlv_mesh* mesh)
{
    rlv_mesh_borders borders = {0};
    bool done = rlv_mesh_borders_find(&borders, mesh, NULL) == RLV_DONE;
    rlv_mesh_borders_free(&borders);
    return done;
}

static bool row(const char* name, const rlv_mesh* from, size_t repeat, spoiling* spoil, working* work, const char* aim,
                double* seconds)
{
    timing times = {0};
    for (size_t i = 0; i < repeat; i++)
    {
        rlv_mesh mesh = {0};
        if (rlv_mesh_copy(&mesh, from, NULL) != RLV_DONE)
            return false;
        spoil(&mesh);
        forget_peak();
        size_t held = memory("VmRSS:");
        double wall = omp_get_wtime(), processor = processor_now();
        bool done = work(&mesh);
        times.wall[i] = omp_get_wtime() - wall;
        times.processor[i] = processor_now() - processor;
        size_t peak = memory("VmHWM:");
        if (peak > held && peak - held > times.extra_bytes)
            times.extra_bytes = peak - held;
        rlv_mesh_free(&mesh);
        if (!done)
            return false;
    }
    *seconds = median(times.wall, repeat);
    printf("%-44s %8.3f %10.3f %8.0f   %s\n", name, *seconds, median(times.processor, repeat),
           (double)times.extra_bytes / 1e6, aim);
    return true;
}

/// A mesh as the bytes of a binary STL.
static char* stl_of(const rlv_mesh* mesh, size_t* bytes)
{
    *bytes = 84 + 50 * mesh->triangle_count;
    char* stl = calloc(*bytes, 1);
    if (stl == NULL)
        return NULL;
    uint32_t count = (uint32_t)mesh->triangle_count;
    memcpy(stl + 80, &count, sizeof count);
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        memcpy(stl + 84 + 50 * (i / 3) + 12 + 12 * (i % 3), mesh->position_mm + 3 * (size_t)mesh->corner[i], 12);
    return stl;
}

static void assimp_rows(const rlv_mesh* small, size_t triangles, double our_weld, double our_mend)
{
    size_t bytes = 0;
    char* stl = stl_of(small, &bytes);
    const struct aiScene* scene = stl != NULL ? aiImportFileFromMemory(stl, (unsigned)bytes, 0, "stl") : NULL;
    if (scene == NULL)
    {
        free(stl);
        printf("Assimp did not read the rock: %s\n", aiGetErrorString());
        return;
    }
    double scale = (double)triangles / (double)small->triangle_count, start = omp_get_wtime();
    scene = aiApplyPostProcessing(scene, aiProcess_JoinIdenticalVertices);
    double join = (omp_get_wtime() - start) * scale;
    start = omp_get_wtime();
    scene = aiApplyPostProcessing(scene, aiProcess_FindDegenerates);
    double degenerate = (omp_get_wtime() - start) * scale;
    printf("\nAssimp on %zu triangles, scaled by %.1f: join identical vertices %.2f s (%.0f times our weld), find "
           "degenerate "
           "triangles %.3f s (%.2f times our whole mend)\n",
           small->triangle_count, scale, join, join / our_weld, degenerate, degenerate / our_mend);
    aiReleaseImport(scene);
    free(stl);
}

static bool make_rock(rlv_mesh* mesh, size_t triangles)
{
    const rock block = {
        .half_axes_mm = {100.0, 85.0, 70.0}, .relief_mm = 4.0, .relief_length_mm = 60.0, .facets = 0.3, .seed = 417};
    return rock_mesh(mesh, &block, triangles, 1, NULL) == RLV_DONE;
}

int main(int count, char** word)
{
    size_t triangles = 5000000, repeat = 3;
    for (int i = 1; i + 1 < count; i += 2)
    {
        if (strcmp(word[i], "--triangles") == 0)
            triangles = strtoull(word[i + 1], NULL, 10);
        else if (strcmp(word[i], "--repeat") == 0)
            repeat = strtoull(word[i + 1], NULL, 10);
    }
    rlv_mesh whole = {0}, small = {0};
    if (repeat < 1 || repeat > REPEAT_MOST || !make_rock(&whole, triangles) ||
        !make_rock(&small, triangles < ASSIMP_MOST ? triangles : ASSIMP_MOST))
    {
        fprintf(stderr, "bench_mesh: no rock of %zu triangles\n", triangles);
        return 2;
    }
    printf("%zu triangles, %zu vertices, %d threads\n", whole.triangle_count, whole.vertex_count,
           omp_get_max_threads());
    printf("%-44s %8s %10s %8s   %s\n", "work", "seconds", "processor", "MB more", "aim at 5 million");
    double weld_seconds = 0.0, mend_seconds = 0.0, ignored = 0.0;
    bool done = row("weld, three vertices a triangle", &whole, repeat, break_up, weld, "0.6 s", &weld_seconds) &&
                row("weld, nothing repeated", &whole, repeat, leave, weld, "", &ignored) &&
                row("mend, sound", &whole, repeat, leave, mend, "0.4 s, 200 MB", &mend_seconds) &&
                row("mend, sound, triangles in random order", &whole, repeat, shuffle, mend, "", &ignored) &&
                row("mend, 1 in 100 turned", &whole, repeat, turn_some, mend, "", &ignored) &&
                row("mend, 1 in 5000 missing", &whole, repeat, open_some, mend, "", &ignored) &&
                row("mend, 1 in 1000 repeated and without area", &whole, repeat, repeat_some, mend, "", &ignored) &&
                row("measure", &whole, repeat, leave, measure, "", &ignored) &&
                row("borders, 1 in 5000 missing", &whole, repeat, open_some, find_borders, "", &ignored);
    if (done)
        assimp_rows(&small, whole.triangle_count, weld_seconds, mend_seconds);
    rlv_mesh_free(&whole);
    rlv_mesh_free(&small);
    return done ? 0 : 4;
}
