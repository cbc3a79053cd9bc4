#include "rejoin_overlap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    WAYS = 3,
    SAMPLES = 6000,
};

/// Rays from inside a closed body leave it through its back: two of three say so, should one graze an open border.
static const float way[WAYS][3] = {{0.36f, 0.48f, 0.8f}, {-0.6f, 0.64f, 0.48f}, {0.28f, -0.8f, 0.53f}};

/// Faces that fit lie within noise and wear of each other: what is deeper than this is in the other body, and what is
/// nearer may be on it.
static const double deep_mm = 1.0;
static const double same_side = 0.5; ///< normals within 60 degrees
static const double facing = -0.35;  ///< and over about 110 degrees apart, as the faces of a joint

rlv_status rlv_lying_make(rlv_lying* lying, const rlv_mesh* mesh, rlv_error* error)
{
    lying->mesh = mesh;
    const rlv_status status = rlv_tree_build_for(&lying->tree, mesh, (WAYS + 1) * SAMPLES, error);
    return status == RLV_DONE ? rlv_sampling_take(&lying->sampling, mesh, NULL, SAMPLES, error) : status;
}

void rlv_lying_free(rlv_lying* lying)
{
    rlv_tree_free(lying->tree);
    rlv_sampling_free(&lying->sampling);
    memset(lying, 0, sizeof *lying);
}

/// The samples of one body as the other's tree sees them, and what lies nearest to each.
typedef struct asking
{
    float* query;
    rlv_nearest* near;
} asking;

static void asking_free(asking* a)
{
    free(a->query);
    free(a->near);
}

static rlv_status ask(asking* a, const rlv_lying* one, const rlv_lying* other, double reach_mm, rlv_error* error)
{
    const size_t count = one->sampling.count;
    if ((a->query = rlv_reserve(3 * count, sizeof *a->query, error)) == NULL ||
        (a->near = rlv_reserve(count, sizeof *a->near, error)) == NULL)
        return RLV_SYSTEM;
    const rlv_vec3 off = rlv_vec3_sub(one->mesh->origin_mm, other->mesh->origin_mm);
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 at = rlv_vec3_add(rlv_vec3_from(one->sampling.position_mm + 3 * i), off);
        a->query[3 * i] = (float)at.x, a->query[3 * i + 1] = (float)at.y, a->query[3 * i + 2] = (float)at.z;
    }
    rlv_tree_nearest(other->tree, count, a->query, (float)reach_mm, a->near);
    return RLV_DONE;
}

/// How a sample's normal and that of what lies nearest to it agree: 1 the same way, -1 the other.
static double agreement(const rlv_lying* one, const rlv_lying* other, const rlv_nearest* near, size_t i)
{
    const rlv_vec3 normal = rlv_vec3_unit(rlv_mesh_twice_area(other->mesh, near->triangle));
    return rlv_vec3_dot(rlv_vec3_from(one->sampling.normal + 3 * i), normal);
}

/// Whether a place is inside a body, from what its rays meet.
static bool is_inside(const rlv_lying* body, const rlv_hit* hit)
{
    int from_behind = 0;
    for (int k = 0; k < WAYS; k++)
        if (hit[k].triangle != RLV_TREE_NONE)
            from_behind +=
                rlv_vec3_dot(rlv_mesh_twice_area(body->mesh, hit[k].triangle), rlv_vec3_from(way[k])) > 0.0 ? 1 : 0;
    return from_behind >= 2;
}

static rlv_hit* look_out(const rlv_lying* body, size_t count, const float* query, rlv_error* error)
{
    rlv_ray* ray = rlv_reserve(WAYS * count, sizeof *ray, error);
    rlv_hit* hit = ray != NULL ? rlv_reserve(WAYS * count, sizeof *hit, error) : NULL;
    for (size_t i = 0; hit != NULL && i < WAYS * count; i++)
    {
        memcpy(ray[i].origin_mm, query + 3 * (i / WAYS), sizeof ray[i].origin_mm);
        memcpy(ray[i].direction, way[i % WAYS], sizeof ray[i].direction);
        ray[i].limit = INFINITY;
    }
    if (hit != NULL)
        rlv_tree_rays(body->tree, WAYS * count, ray, hit);
    free(ray);
    return hit;
}

rlv_status rlv_lying_within(double* share, const rlv_lying* one, const rlv_lying* other, rlv_error* error)
{
    asking a = {0};
    const size_t count = one->sampling.count;
    rlv_status status = ask(&a, one, other, INFINITY, error);
    rlv_hit* hit = status == RLV_DONE ? look_out(other, count, a.query, error) : NULL;
    double within = 0.0, all = 0.0;
    for (size_t i = 0; hit != NULL && i < count; i++)
    {
        const double area = (double)one->sampling.area_mm2[i];
        const bool near = (double)a.near[i].distance_mm < deep_mm;
        all += area;
        if (near ? agreement(one, other, a.near + i, i) > same_side : is_inside(other, hit + WAYS * i))
            within += area;
    }
    *share = all > 0.0 ? within / all : 0.0;
    free(hit);
    asking_free(&a);
    return status == RLV_DONE && hit == NULL ? RLV_SYSTEM : status;
}

/// Let each sample look at a body, number `k`, if that lies nearer than what it looked at so far.
static rlv_status look_across(double* distance_mm, size_t* at, const rlv_lying* one, size_t k, const rlv_lying* other,
                              double reach_mm, rlv_error* error)
{
    asking a = {0};
    const rlv_status status = ask(&a, one, other, reach_mm, error);
    for (size_t i = 0; status == RLV_DONE && i < one->sampling.count; i++)
        if (a.near[i].triangle != RLV_TREE_NONE && (double)a.near[i].distance_mm < distance_mm[i] &&
            agreement(one, other, a.near + i, i) < facing)
        {
            distance_mm[i] = (double)a.near[i].distance_mm;
            at[i] = k;
        }
    asking_free(&a);
    return status;
}

rlv_status rlv_lying_across(double* area_mm2, const rlv_lying* one, size_t count, const rlv_lying* const* other,
                            double reach_mm, rlv_error* error)
{
    const size_t samples = one->sampling.count;
    size_t* at = rlv_reserve(samples, sizeof *at, error);
    double* distance_mm = at != NULL ? rlv_reserve(samples, sizeof *distance_mm, error) : NULL;
    rlv_status status = distance_mm != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < samples && status == RLV_DONE; i++)
    {
        distance_mm[i] = INFINITY;
        at[i] = count;
    }
    for (size_t k = 0; k < count && status == RLV_DONE; k++)
    {
        area_mm2[k] = 0.0;
        status = look_across(distance_mm, at, one, k, other[k], reach_mm, error);
    }
    for (size_t i = 0; i < samples && status == RLV_DONE; i++)
        if (at[i] < count)
            area_mm2[at[i]] += (double)one->sampling.area_mm2[i];
    free(distance_mm);
    free(at);
    return status;
}
