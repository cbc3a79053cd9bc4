/// How quick the spatial index is on a closed rock, beside Embree 3, CGAL and Open3D, each where it is there: the first
/// two where they were found when this was configured, the last where Python can import it.
///
/// Usage: bench_tree [--triangles N] [--repeat N]
///
/// Queries are the vertices of a second scan of the same rock after two cuts, with noise of 0.1 mm; rays are an
/// orthographic camera of 1500 by 1500. Seconds are those of the median run, on the clock and of all threads'
/// processor time; the ratio is a library's seconds to ours. Where a library is much slower, a share of the queries is
/// asked, and its seconds are scaled to all. The aims are for 5 million triangles on two cores.

#include "tree.h"
#include "beside/index.h"
#include "rock.h"
#include "scan.h"

#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if !defined(RLV_EMBREE)
#define index_embree NULL
#endif
#if !defined(RLV_CGAL)
#define index_cgal NULL
#endif

#define CAMERA 1500

_Static_assert(sizeof(rlv_ray) == 7 * sizeof(float), "a ray is handed on as seven floats");

typedef struct bench
{
    rlv_mesh before, after;
    size_t ray_count;
    rlv_ray* ray;
    rlv_nearest* nearest;
    rlv_hit* hit;
    bool* blocked;
    size_t repeat;
} bench;

static bool data_make(bench* data, size_t triangles)
{
    rock block = {
        .half_axes_mm = {100.0, 85.0, 70.0}, .relief_mm = 4.0, .relief_length_mm = 60.0, .facets = 0.3, .seed = 417};
    rlv_error error = {0};
    if (rock_mesh(&data->before, &block, triangles, 0, &error) != RLV_DONE)
        return false;
    block.cut_count = 2;
    block.cut[0] = (rock_cut){.plane = true, .direction = {0.0, 0.0, 1.0}, .distance_mm = 45.0};
    block.cut[1] = (rock_cut){.direction = {1.0, 0.0, 0.0}, .depth_mm = 12.0, .half_angle_rad = 0.5, .soft_mm = 5.0};
    if (rock_mesh(&data->after, &block, triangles, 2, &error) != RLV_DONE)
        return false;
    scan_noise noise = {.noise_sd_mm = 0.1, .noise_length_mm = 2.0, .seed = 1};
    if (scan_mesh(&data->after, &noise, NULL, &error) != RLV_DONE)
        return false;
    data->ray_count = (size_t)CAMERA * CAMERA;
    data->ray = malloc(data->ray_count * sizeof *data->ray);
    data->hit = malloc(data->ray_count * sizeof *data->hit);
    data->blocked = malloc(data->ray_count * sizeof *data->blocked);
    data->nearest = malloc(data->after.vertex_count * sizeof *data->nearest);
    if (data->ray == NULL || data->hit == NULL || data->blocked == NULL || data->nearest == NULL)
        return false;
    for (size_t y = 0; y < CAMERA; y++)
        for (size_t x = 0; x < CAMERA; x++)
        {
            // An oblique view, so that no direction is easier than another.
            float u = 220.0f * (((float)x + 0.5f) / CAMERA - 0.5f), v = 220.0f * (((float)y + 0.5f) / CAMERA - 0.5f);
            data->ray[y * CAMERA + x] = (rlv_ray){{0.8f * u + 0.36f * v + 0.48f * 300.0f, 0.8f * v - 0.6f * 300.0f,
                                                   -0.6f * u + 0.48f * v + 0.64f * 300.0f},
                                                  {-0.48f, 0.6f, -0.64f},
                                                  INFINITY};
        }
    return true;
}

static void data_free(bench* data)
{
    rlv_mesh_free(&data->before);
    rlv_mesh_free(&data->after);
    free(data->ray);
    free(data->hit);
    free(data->blocked);
    free(data->nearest);
}

/// Most memory that the process ever held, in bytes.
static size_t most_memory(void)
{
    size_t kilobytes = 0;
    FILE* file = fopen("/proc/self/status", "r");
    char line[256];
    while (file != NULL && fgets(line, sizeof line, file) != NULL)
        if (sscanf(line, "VmHWM: %zu", &kilobytes) == 1)
            break;
    if (file != NULL)
        fclose(file);
    return kilobytes << 10;
}

static bool measure_ours(index_result* result, bench* data)
{
    for (size_t i = 0; i < data->repeat; i++)
    {
        rlv_tree* tree = NULL;
        size_t before = most_memory();
        timing start = timing_start();
        if (rlv_tree_build(&tree, &data->before, NULL) != RLV_DONE)
            return false;
        result->run[INDEX_BUILD][i] = timing_since(start);
        if (i == 0)
            printf("the tree holds %.0f MB; building it took the process from %.0f to %.0f MB at most\n",
                   (double)rlv_tree_bytes(tree) / 1e6, (double)before / 1e6, (double)most_memory() / 1e6);
        start = timing_start();
        rlv_tree_nearest(tree, data->after.vertex_count, data->after.position_mm, INFINITY, data->nearest);
        result->run[INDEX_NEAREST][i] = timing_since(start);
        start = timing_start();
        rlv_tree_rays(tree, data->ray_count, data->ray, data->hit);
        result->run[INDEX_RAYS][i] = timing_since(start);
        start = timing_start();
        rlv_tree_blocked(tree, data->ray_count, data->ray, data->blocked);
        result->run[INDEX_BLOCKED][i] = timing_since(start);
        rlv_tree_free(tree);
    }
    return true;
}

/// A library that stands beside ours.
typedef struct library
{
    const char* name;
    index_measure* measure; ///< NULL where it was not found
    bool there;
    bool astray; ///< its rays meet something else than ours, and their times tell nothing
    index_result result;
} library;

/// How far a library's answers are from ours, where it was asked.
static void compare(library* them, const bench* data)
{
    const index_result* result = &them->result;
    double greatest = 0.0;
    size_t queries = 0, rays = 0, other = 0;
    for (size_t i = 0; i < data->after.vertex_count; i++)
        if (index_asked(i, result->share))
        {
            queries++;
            greatest = fmax(greatest, fabs((double)result->distance_mm[i] - (double)data->nearest[i].distance_mm));
        }
    for (size_t i = 0; i < data->ray_count; i++)
        if (index_asked(i, result->share))
        {
            rays++;
            other += (result->met[i] != 0) != (data->hit[i].triangle != RLV_TREE_NONE);
        }
    printf("%s: nearest distances of %zu queries differ by %.3g mm at most; %zu of %zu rays hit for one and miss for "
           "the other",
           them->name, queries, greatest, other, rays);
    if (result->share > 1)
        printf("; it was asked one block of queries in %zu, and its seconds are scaled to all", result->share);
    printf("\n");
    // Two that round differently part at silhouettes alone, by far fewer.
    them->astray = other > rays / 1000;
}

static bool measure_theirs(library* them, const bench* data)
{
    const index_work work = {.vertex_count = data->before.vertex_count,
                             .triangle_count = data->before.triangle_count,
                             .position_mm = data->before.position_mm,
                             .corner = data->before.corner,
                             .query_count = data->after.vertex_count,
                             .query_mm = data->after.position_mm,
                             .ray_count = data->ray_count,
                             .ray = (const float*)data->ray,
                             .repeat = data->repeat};
    them->result.share = 1;
    them->result.distance_mm = malloc(work.query_count * sizeof *them->result.distance_mm);
    them->result.met = malloc(work.ray_count);
    const bool room = them->result.distance_mm != NULL && them->result.met != NULL;
    them->there = room && them->measure != NULL && them->measure(&them->result, &work);
    if (them->there)
        compare(them, data);
    else
        printf("%s: %s\n", them->name, them->result.trouble[0] != '\0' ? them->result.trouble : "not there");
    fflush(stdout);
    free(them->result.distance_mm);
    free(them->result.met);
    return room;
}

/// The share of `count` items that was asked.
static double share_asked(size_t count, size_t share)
{
    size_t asked = 0;
    for (size_t i = 0; i < count; i++)
        asked += index_asked(i, share);
    return (double)asked / (double)count;
}

static void their_row(const char* work, int kind, library* them, const bench* data, double our_seconds)
{
    const timing run = timing_median(them->result.run[kind], data->repeat);
    const size_t count = kind == INDEX_NEAREST ? data->after.vertex_count : data->ray_count;
    const double asked = kind == INDEX_BUILD ? 1.0 : share_asked(count, them->result.share);
    const bool rays = kind == INDEX_RAYS || kind == INDEX_PACKETS || kind == INDEX_BLOCKED;
    if (kind == INDEX_PACKETS && (!them->there || run.wall_s == 0.0))
        return;
    if (!them->there || (rays && them->astray))
        printf("%-32s %-8s %9s\n", work, them->name, them->there ? "astray" : "not there");
    else
        printf("%-32s %-8s %9.3f %10.3f %7.2f\n", work, them->name, run.wall_s / asked, run.processor_s / asked,
               run.wall_s / asked / our_seconds);
}

static void rows(library* them, size_t libraries, index_result* ours, const bench* data)
{
    static const char* const work[INDEX_KINDS] = {"build", "nearest point", "rays, first hit",
                                                  "rays, first hit, eight at once", "rays, any hit"};
    static const char* const aim[INDEX_KINDS] = {"1.0 s", "1.5 s", "0.2 s", "", ""};
    printf("%-32s %-8s %9s %10s %7s   %s\n", "work", "by", "seconds", "processor", "ratio", "aim at 5 million");
    for (int kind = 0; kind < INDEX_KINDS; kind++)
    {
        const timing us = timing_median(ours->run[kind == INDEX_PACKETS ? INDEX_RAYS : kind], data->repeat);
        if (kind != INDEX_PACKETS)
            printf("%-32s %-8s %9.3f %10.3f %7s   %s\n", work[kind], "ours", us.wall_s, us.processor_s, "", aim[kind]);
        for (size_t l = 0; l < libraries; l++)
            their_row(work[kind], kind, them + l, data, us.wall_s);
    }
}

int main(int count, char** word)
{
    static index_result ours;
    static library them[] = {{.name = "Embree", .measure = index_embree},
                             {.name = "CGAL", .measure = index_cgal},
                             {.name = "Open3D", .measure = index_open3d}};
    const size_t libraries = sizeof them / sizeof *them;
    size_t triangles = 5000000;
    bench data = {.repeat = 3};
    for (int i = 1; i + 1 < count; i += 2)
    {
        if (strcmp(word[i], "--triangles") == 0)
            triangles = strtoull(word[i + 1], NULL, 10);
        else if (strcmp(word[i], "--repeat") == 0)
            data.repeat = strtoull(word[i + 1], NULL, 10);
    }
    if (data.repeat < 1 || data.repeat > INDEX_REPEAT_MOST || !data_make(&data, triangles))
    {
        fprintf(stderr, "bench_tree: no data of %zu triangles\n", triangles);
        data_free(&data);
        return 2;
    }
    printf("%zu triangles, %zu queries, %zu rays, %d threads\n", data.before.triangle_count, data.after.vertex_count,
           data.ray_count, omp_get_max_threads());
    bool done = measure_ours(&ours, &data);
    for (size_t l = 0; done && l < libraries; l++)
        done = measure_theirs(them + l, &data);
    if (done)
        rows(them, libraries, &ours, &data);
    data_free(&data);
    return done ? 0 : 4;
}
