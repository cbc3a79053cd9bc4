/// How quick the spatial index is on a closed rock, beside Embree 3 (where it was found when this was configured).
///
/// Usage: bench_tree [--triangles N] [--repeat N]
///
/// Queries are the vertices of a second scan of the same rock after two cuts, with noise of 0.1 mm; rays are an
/// orthographic camera of 1500 by 1500. Seconds are medians; the ratio is Embree's seconds to ours. The aims are for
/// 5 million triangles on two cores.

#include "tree.h"
#include "rock.h"
#include "scan.h"

#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if defined(RLV_EMBREE)
#include <embree3/rtcore.h>
#endif

#define CAMERA 1500
#define REPEAT_MOST 99

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

typedef struct times
{
    double build, nearest, rays, rays_packed, blocked;
} times;

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

static bool ours(bench* data, times* seconds)
{
    double build[REPEAT_MOST], nearest[REPEAT_MOST], rays[REPEAT_MOST], blocked[REPEAT_MOST];
    for (size_t i = 0; i < data->repeat; i++)
    {
        rlv_tree* tree = NULL;
        size_t before = most_memory();
        double start = omp_get_wtime();
        if (rlv_tree_build(&tree, &data->before, NULL) != RLV_DONE)
            return false;
        build[i] = omp_get_wtime() - start;
        if (i == 0)
            printf("the tree holds %.0f MB; building it took the process from %.0f to %.0f MB at most\n",
                   (double)rlv_tree_bytes(tree) / 1e6, (double)before / 1e6, (double)most_memory() / 1e6);
        start = omp_get_wtime();
        rlv_tree_nearest(tree, data->after.vertex_count, data->after.position_mm, INFINITY, data->nearest);
        nearest[i] = omp_get_wtime() - start;
        start = omp_get_wtime();
        rlv_tree_rays(tree, data->ray_count, data->ray, data->hit);
        rays[i] = omp_get_wtime() - start;
        start = omp_get_wtime();
        rlv_tree_blocked(tree, data->ray_count, data->ray, data->blocked);
        blocked[i] = omp_get_wtime() - start;
        rlv_tree_free(tree);
    }
    *seconds = (times){median(build, data->repeat), median(nearest, data->repeat), median(rays, data->repeat),
                       median(rays, data->repeat), median(blocked, data->repeat)};
    return true;
}

#if defined(RLV_EMBREE)

typedef struct embree_nearest
{
    const rlv_mesh* mesh;
    float squared;
} embree_nearest;

static float dot(const float* a, const float* b)
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/// Nearest point of a triangle (C. Ericson, Real-time collision detection, 2005, section 5.1.5), squared distance.
static float triangle_squared(const float* q, const float* a, const float* b, const float* c)
{
    float ab[3], ac[3], ap[3], bp[3], cp[3], p[3];
    for (int i = 0; i < 3; i++)
    {
        ab[i] = b[i] - a[i];
        ac[i] = c[i] - a[i];
        ap[i] = q[i] - a[i];
        bp[i] = q[i] - b[i];
        cp[i] = q[i] - c[i];
    }
    float d1 = dot(ab, ap), d2 = dot(ac, ap), d3 = dot(ab, bp), d4 = dot(ac, bp), d5 = dot(ab, cp), d6 = dot(ac, cp);
    float v = 0.0f, w = 0.0f, va = d3 * d6 - d5 * d4, vb = d5 * d2 - d1 * d6, vc = d1 * d4 - d3 * d2;
    if (d1 <= 0.0f && d2 <= 0.0f)
        v = 0.0f;
    else if (d3 >= 0.0f && d4 <= d3)
        v = 1.0f;
    else if (d6 >= 0.0f && d5 <= d6)
        w = 1.0f;
    else if (vc <= 0.0f && d1 >= 0.0f && d3 <= 0.0f)
        v = d1 / (d1 - d3);
    else if (vb <= 0.0f && d2 >= 0.0f && d6 <= 0.0f)
        w = d2 / (d2 - d6);
    else if (va <= 0.0f && d4 - d3 >= 0.0f && d5 - d6 >= 0.0f)
        w = (d4 - d3) / ((d4 - d3) + (d5 - d6)), v = 1.0f - w;
    else
        v = vb / (va + vb + vc), w = vc / (va + vb + vc);
    for (int i = 0; i < 3; i++)
        p[i] = ap[i] - v * ab[i] - w * ac[i];
    return dot(p, p);
}

static bool embree_visit(struct RTCPointQueryFunctionArguments* of)
{
    embree_nearest* best = of->userPtr;
    const uint32_t* corner = best->mesh->corner + 3 * (size_t)of->primID;
    const float* at = best->mesh->position_mm;
    const float q[3] = {of->query->x, of->query->y, of->query->z};
    float squared =
        triangle_squared(q, at + 3 * (size_t)corner[0], at + 3 * (size_t)corner[1], at + 3 * (size_t)corner[2]);
    if (squared >= best->squared)
        return false;
    best->squared = squared;
    of->query->radius = sqrtf(squared);
    return true;
}

static RTCScene embree_build(RTCDevice device, const rlv_mesh* mesh)
{
    RTCScene scene = rtcNewScene(device);
    rtcSetSceneFlags(scene, RTC_SCENE_FLAG_ROBUST);
    RTCGeometry geometry = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
    void* position =
        rtcSetNewGeometryBuffer(geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 12, mesh->vertex_count);
    void* corner =
        rtcSetNewGeometryBuffer(geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 12, mesh->triangle_count);
    memcpy(position, mesh->position_mm, 12 * mesh->vertex_count);
    memcpy(corner, mesh->corner, 12 * mesh->triangle_count);
    rtcCommitGeometry(geometry);
    rtcAttachGeometry(scene, geometry);
    rtcReleaseGeometry(geometry);
    rtcCommitScene(scene);
    return scene;
}

static void embree_nearest_all(RTCScene scene, const bench* data, double* greatest)
{
    double worst = 0.0;
#pragma omp parallel for schedule(dynamic, 1024) reduction(max : worst)
    for (size_t i = 0; i < data->after.vertex_count; i++)
    {
        const float* q = data->after.position_mm + 3 * i;
        struct RTCPointQuery query = {q[0], q[1], q[2], 0.0f, INFINITY};
        struct RTCPointQueryContext context;
        rtcInitPointQueryContext(&context);
        embree_nearest best = {&data->before, INFINITY};
        rtcPointQuery(scene, &query, &context, embree_visit, &best);
        worst = fmax(worst, fabs(sqrt((double)best.squared) - (double)data->nearest[i].distance_mm));
    }
    *greatest = worst;
}

static size_t embree_rays_all(RTCScene scene, const bench* data)
{
    size_t other = 0;
#pragma omp parallel for schedule(dynamic, 1024) reduction(+ : other)
    for (size_t i = 0; i < data->ray_count; i++)
    {
        const rlv_ray* from = data->ray + i;
        struct RTCIntersectContext context;
        rtcInitIntersectContext(&context);
        context.flags = RTC_INTERSECT_CONTEXT_FLAG_COHERENT;
        struct RTCRayHit ray = {.ray = {from->origin_mm[0], from->origin_mm[1], from->origin_mm[2], 0.0f,
                                        from->direction[0], from->direction[1], from->direction[2], 0.0f, INFINITY,
                                        UINT32_MAX, 0, 0},
                                .hit = {.geomID = RTC_INVALID_GEOMETRY_ID, .primID = RLV_TREE_NONE}};
        rtcIntersect1(scene, &context, &ray);
        other += (ray.hit.geomID == RTC_INVALID_GEOMETRY_ID) != (data->hit[i].triangle == RLV_TREE_NONE);
    }
    return other;
}

/// The same in packets of eight, which is Embree's quickest way for a camera.
static void embree_packets_all(RTCScene scene, const bench* data)
{
#pragma omp parallel for schedule(dynamic, 128)
    for (size_t block = 0; block < data->ray_count / 8; block++)
    {
        _Alignas(32) int valid[8];
        _Alignas(32) struct RTCRayHit8 ray;
        for (size_t i = 0; i < 8; i++)
        {
            const rlv_ray* from = data->ray + 8 * block + i;
            valid[i] = -1;
            ray.ray.org_x[i] = from->origin_mm[0];
            ray.ray.org_y[i] = from->origin_mm[1];
            ray.ray.org_z[i] = from->origin_mm[2];
            ray.ray.dir_x[i] = from->direction[0];
            ray.ray.dir_y[i] = from->direction[1];
            ray.ray.dir_z[i] = from->direction[2];
            ray.ray.tnear[i] = 0.0f;
            ray.ray.tfar[i] = from->limit;
            ray.ray.time[i] = 0.0f;
            ray.ray.mask[i] = UINT32_MAX;
            ray.ray.flags[i] = 0;
            ray.hit.geomID[i] = RTC_INVALID_GEOMETRY_ID;
        }
        struct RTCIntersectContext context;
        rtcInitIntersectContext(&context);
        context.flags = RTC_INTERSECT_CONTEXT_FLAG_COHERENT;
        rtcIntersect8(valid, scene, &context, &ray);
    }
}

static void embree_blocked_all(RTCScene scene, const bench* data)
{
#pragma omp parallel for schedule(dynamic, 1024)
    for (size_t i = 0; i < data->ray_count; i++)
    {
        const rlv_ray* from = data->ray + i;
        struct RTCIntersectContext context;
        rtcInitIntersectContext(&context);
        context.flags = RTC_INTERSECT_CONTEXT_FLAG_COHERENT;
        struct RTCRay ray = {from->origin_mm[0],
                             from->origin_mm[1],
                             from->origin_mm[2],
                             0.0f,
                             from->direction[0],
                             from->direction[1],
                             from->direction[2],
                             0.0f,
                             INFINITY,
                             UINT32_MAX,
                             0,
                             0};
        rtcOccluded1(scene, &context, &ray);
    }
}

static void theirs(const bench* data, times* seconds)
{
    double build[REPEAT_MOST], nearest[REPEAT_MOST], rays[REPEAT_MOST], packed[REPEAT_MOST], blocked[REPEAT_MOST];
    double greatest = 0.0;
    size_t other = 0;
    RTCDevice device = rtcNewDevice(NULL);
    for (size_t i = 0; i < data->repeat; i++)
    {
        double start = omp_get_wtime();
        RTCScene scene = embree_build(device, &data->before);
        build[i] = omp_get_wtime() - start;
        start = omp_get_wtime();
        embree_nearest_all(scene, data, &greatest);
        nearest[i] = omp_get_wtime() - start;
        start = omp_get_wtime();
        other = embree_rays_all(scene, data);
        rays[i] = omp_get_wtime() - start;
        start = omp_get_wtime();
        embree_packets_all(scene, data);
        packed[i] = omp_get_wtime() - start;
        start = omp_get_wtime();
        embree_blocked_all(scene, data);
        blocked[i] = omp_get_wtime() - start;
        rtcReleaseScene(scene);
    }
    rtcReleaseDevice(device);
    printf("nearest distances differ by %.3g mm at most; %zu rays of %zu hit for one and miss for the other\n",
           greatest, other, data->ray_count);
    *seconds = (times){median(build, data->repeat), median(nearest, data->repeat), median(rays, data->repeat),
                       median(packed, data->repeat), median(blocked, data->repeat)};
}

#endif

static void row(const char* work, double our_seconds, double their_seconds, const char* aim)
{
    if (their_seconds > 0.0)
        printf("%-38s %8.3f %8.3f %8.2f   %s\n", work, our_seconds, their_seconds, their_seconds / our_seconds, aim);
    else
        printf("%-38s %8.3f %8s %8s   %s\n", work, our_seconds, "-", "-", aim);
}

int main(int count, char** word)
{
    size_t triangles = 5000000;
    bench data = {.repeat = 3};
    for (int i = 1; i + 1 < count; i += 2)
    {
        if (strcmp(word[i], "--triangles") == 0)
            triangles = strtoull(word[i + 1], NULL, 10);
        else if (strcmp(word[i], "--repeat") == 0)
            data.repeat = strtoull(word[i + 1], NULL, 10);
    }
    if (data.repeat < 1 || data.repeat > REPEAT_MOST || !data_make(&data, triangles))
    {
        fprintf(stderr, "bench_tree: no data of %zu triangles\n", triangles);
        data_free(&data);
        return 2;
    }
    times us = {0}, them = {0};
    printf("%zu triangles, %zu queries, %zu rays, %d threads\n", data.before.triangle_count, data.after.vertex_count,
           data.ray_count, omp_get_max_threads());
    bool done = ours(&data, &us);
#if defined(RLV_EMBREE)
    if (done)
        theirs(&data, &them);
#endif
    printf("%-38s %8s %8s %8s   %s\n", "work", "seconds", "Embree", "ratio", "aim at 5 million");
    row("build", us.build, them.build, "1.0 s");
    row("nearest point", us.nearest, them.nearest, "1.5 s");
    row("rays, first hit", us.rays, them.rays, "0.2 s");
    row("rays, first hit, Embree's packets", us.rays_packed, them.rays_packed, "");
    row("rays, any hit", us.blocked, them.blocked, "");
    data_free(&data);
    return done ? 0 : 4;
}
