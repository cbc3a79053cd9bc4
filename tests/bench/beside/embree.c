/// The index of Embree 3, robust as ours is; nearest points by its point query with a triangle's nearest point of our
/// own writing, since it has none.

#include "index.h"

#include <embree3/rtcore.h>
#include <math.h>
#include <string.h>

typedef struct nearest_so_far
{
    const index_work* work;
    float squared;
} nearest_so_far;

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

static bool visit(struct RTCPointQueryFunctionArguments* of)
{
    nearest_so_far* best = of->userPtr;
    const uint32_t* corner = best->work->corner + 3 * (size_t)of->primID;
    const float* at = best->work->position_mm;
    const float q[3] = {of->query->x, of->query->y, of->query->z};
    float squared =
        triangle_squared(q, at + 3 * (size_t)corner[0], at + 3 * (size_t)corner[1], at + 3 * (size_t)corner[2]);
    if (squared >= best->squared)
        return false;
    best->squared = squared;
    of->query->radius = sqrtf(squared);
    return true;
}

static RTCScene build(RTCDevice device, const index_work* work)
{
    RTCScene scene = rtcNewScene(device);
    rtcSetSceneFlags(scene, RTC_SCENE_FLAG_ROBUST);
    RTCGeometry geometry = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
    void* position =
        rtcSetNewGeometryBuffer(geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 12, work->vertex_count);
    void* corner =
        rtcSetNewGeometryBuffer(geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 12, work->triangle_count);
    memcpy(position, work->position_mm, 12 * work->vertex_count);
    memcpy(corner, work->corner, 12 * work->triangle_count);
    rtcCommitGeometry(geometry);
    rtcAttachGeometry(scene, geometry);
    rtcReleaseGeometry(geometry);
    rtcCommitScene(scene);
    return scene;
}

static void nearest_all(RTCScene scene, const index_work* work, float* distance_mm)
{
#pragma omp parallel for schedule(dynamic, 1024)
    for (size_t i = 0; i < work->query_count; i++)
    {
        const float* q = work->query_mm + 3 * i;
        struct RTCPointQuery query = {q[0], q[1], q[2], 0.0f, INFINITY};
        struct RTCPointQueryContext context;
        rtcInitPointQueryContext(&context);
        nearest_so_far best = {work, INFINITY};
        rtcPointQuery(scene, &query, &context, visit, &best);
        distance_mm[i] = sqrtf(best.squared);
    }
}

static struct RTCRay ray_of(const float* from)
{
    return (struct RTCRay){.org_x = from[0],
                           .org_y = from[1],
                           .org_z = from[2],
                           .dir_x = from[3],
                           .dir_y = from[4],
                           .dir_z = from[5],
                           .tfar = from[6],
                           .mask = UINT32_MAX};
}

static struct RTCIntersectContext coherent(void)
{
    struct RTCIntersectContext context;
    rtcInitIntersectContext(&context);
    context.flags = RTC_INTERSECT_CONTEXT_FLAG_COHERENT;
    return context;
}

static void rays_all(RTCScene scene, const index_work* work, uint8_t* met)
{
#pragma omp parallel for schedule(dynamic, 1024)
    for (size_t i = 0; i < work->ray_count; i++)
    {
        struct RTCIntersectContext context = coherent();
        struct RTCRayHit ray = {.ray = ray_of(work->ray + 7 * i), .hit.geomID = RTC_INVALID_GEOMETRY_ID};
        rtcIntersect1(scene, &context, &ray);
        met[i] = ray.hit.geomID != RTC_INVALID_GEOMETRY_ID;
    }
}

/// In packets of eight, which is its quickest way for a camera.
static void packets_all(RTCScene scene, const index_work* work, uint8_t* met)
{
#pragma omp parallel for schedule(dynamic, 128)
    for (size_t block = 0; block < work->ray_count / 8; block++)
    {
        _Alignas(32) int valid[8];
        _Alignas(32) struct RTCRayHit8 ray;
        for (size_t i = 0; i < 8; i++)
        {
            const float* from = work->ray + 7 * (8 * block + i);
            valid[i] = -1;
            ray.ray.org_x[i] = from[0];
            ray.ray.org_y[i] = from[1];
            ray.ray.org_z[i] = from[2];
            ray.ray.dir_x[i] = from[3];
            ray.ray.dir_y[i] = from[4];
            ray.ray.dir_z[i] = from[5];
            ray.ray.tnear[i] = 0.0f;
            ray.ray.tfar[i] = from[6];
            ray.ray.time[i] = 0.0f;
            ray.ray.mask[i] = UINT32_MAX;
            ray.ray.flags[i] = 0;
            ray.hit.geomID[i] = RTC_INVALID_GEOMETRY_ID;
        }
        struct RTCIntersectContext context = coherent();
        rtcIntersect8(valid, scene, &context, &ray);
        for (size_t i = 0; i < 8; i++)
            met[8 * block + i] = ray.hit.geomID[i] != RTC_INVALID_GEOMETRY_ID;
    }
}

static void blocked_all(RTCScene scene, const index_work* work, uint8_t* met)
{
#pragma omp parallel for schedule(dynamic, 1024)
    for (size_t i = 0; i < work->ray_count; i++)
    {
        struct RTCIntersectContext context = coherent();
        struct RTCRay ray = ray_of(work->ray + 7 * i);
        rtcOccluded1(scene, &context, &ray);
        met[i] = ray.tfar < 0.0f;
    }
}

bool index_embree(index_result* result, const index_work* work)
{
    RTCDevice device = rtcNewDevice(NULL);
    if (device == NULL)
    {
        strcpy(result->trouble, "no device");
        return false;
    }
    for (size_t i = 0; i < work->repeat; i++)
    {
        timing start = timing_start();
        RTCScene scene = build(device, work);
        result->run[INDEX_BUILD][i] = timing_since(start);
        start = timing_start();
        nearest_all(scene, work, result->distance_mm);
        result->run[INDEX_NEAREST][i] = timing_since(start);
        start = timing_start();
        blocked_all(scene, work, result->met);
        result->run[INDEX_BLOCKED][i] = timing_since(start);
        start = timing_start();
        packets_all(scene, work, result->met);
        result->run[INDEX_PACKETS][i] = timing_since(start);
        start = timing_start();
        rays_all(scene, work, result->met);
        result->run[INDEX_RAYS][i] = timing_since(start);
        rtcReleaseScene(scene);
    }
    rtcReleaseDevice(device);
    return true;
}
