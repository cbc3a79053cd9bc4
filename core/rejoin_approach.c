#include "rejoin_parts.h"

#include <math.h>
#include <stdlib.h>

enum
{
    DIRECTIONS = 600,
    FIRST = 250, // samples of either part that look first
    EACH = 2500, // and in all
    ALLOWED = 2, // that may meet something all the same
};

static const double least_clearance_mm =
    0.5; ///< either part is made thinner by this, at least, or by 4 sd of the gap's noise

/// Samples of a part, drawn in by the clearance, in the other part's coordinates.
typedef struct thinned
{
    size_t count;
    rlv_vec3* at;
} thinned;

static rlv_status thin(thinned* t, const rlv_gap_part* part, const rlv_pose* to_other, double clearance_mm,
                       rlv_error* error)
{
    const rlv_sampling* s = part->sampling;
    const size_t stride = s->count / EACH + 1;
    if ((t->at = rlv_reserve(s->count / stride + 1, sizeof *t->at, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < s->count; i += stride)
        t->at[t->count++] = rlv_pose_apply(to_other, rlv_vec3_along(rlv_vec3_from(s->position_mm + 3 * i),
                                                                    -clearance_mm, rlv_vec3_from(s->normal + 3 * i)));
    return RLV_DONE;
}

/// How many of some samples run into the other part along a direction.
static size_t meetings(const thinned* t, size_t first, size_t stride, const rlv_gap_part* other, rlv_vec3 along,
                       rlv_ray* ray, rlv_hit* hit)
{
    size_t count = 0, met = 0;
    for (size_t i = first; i < t->count; i += stride, count++)
        ray[count] = (rlv_ray){.origin_mm = {(float)t->at[i].x, (float)t->at[i].y, (float)t->at[i].z},
                               .direction = {(float)along.x, (float)along.y, (float)along.z},
                               .limit = INFINITY};
    rlv_tree_rays(other->tree, count, ray, hit);
    for (size_t i = 0; i < count; i++)
        met += hit[i].triangle != RLV_TREE_NONE &&
               rlv_vec3_dot(along, rlv_mesh_twice_area(other->mesh, hit[i].triangle)) < 0.0;
    return met;
}

/// Whether the piece can leave along a direction of the block's coordinates.
static bool is_free(const thinned part[2], const rlv_joining* w, rlv_vec3 away, rlv_ray* ray, rlv_hit* hit)
{
    // The block leaves the piece the other way.
    const rlv_vec3 back = rlv_mat3_apply(rlv_mat3_transpose(w->closed.rotation), rlv_vec3_scale(away, -1.0));
    for (int round = 0; round < 2; round++)
    {
        size_t met = 0;
        for (int k = 0; k < 2; k++)
        {
            const size_t stride = round == 0 ? part[k].count / FIRST + 1 : 1;
            met += meetings(&part[k], 0, stride, &w->part[1 - k], k == 1 ? away : back, ray, hit);
            if (met > ALLOWED)
                return false;
        }
    }
    return true;
}

static rlv_vec3 direction_of(int i)
{
    const double z = 1.0 - (2.0 * i + 1.0) / DIRECTIONS, turn = i * M_PI * (3.0 - sqrt(5.0)), ring = sqrt(1.0 - z * z);
    return rlv_vec3_of(ring * cos(turn), ring * sin(turn), z);
}

/// The free direction that is farthest from any that is not.
static void choose(rlv_rejoin* rejoin, const bool* open)
{
    int count = 0;
    double widest = -1.0;
    for (int i = 0; i < DIRECTIONS; i++)
    {
        if (!open[i])
            continue;
        count++;
        double nearest = M_PI;
        for (int j = 0; j < DIRECTIONS; j++)
            if (!open[j])
                nearest = fmin(nearest, acos(fmin(1.0, rlv_vec3_dot(direction_of(i), direction_of(j)))));
        if (nearest <= widest)
            continue;
        widest = nearest;
        rejoin->approach = rlv_vec3_scale(direction_of(i), -1.0);
    }
    // The border lies half way, about, to the nearest direction that is not free.
    const double half_step = 0.5 * sqrt(4.0 * M_PI / DIRECTIONS);
    rejoin->approach_known = count > 0;
    rejoin->approach_deg = count > 0 ? fmax(0.0, widest - half_step) * 180.0 / M_PI : 0.0;
    rejoin->approach_share = (double)count / DIRECTIONS;
}

rlv_status rlv_joining_approach(rlv_rejoin* rejoin, const rlv_joining* w, rlv_error* error)
{
    const double clearance = fmax(least_clearance_mm, 4.0 * w->noise_mm);
    const rlv_pose to_piece = rlv_pose_inverse(&w->closed);
    thinned part[2] = {0};
    rlv_ray* ray = rlv_reserve(EACH + 1, sizeof *ray, error);
    rlv_hit* hit = ray != NULL ? rlv_reserve(EACH + 1, sizeof *hit, error) : NULL;
    rlv_status status = hit != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
        status = thin(&part[0], &w->part[0], &to_piece, clearance, error);
    if (status == RLV_DONE)
        status = thin(&part[1], &w->part[1], &w->closed, clearance, error);
    if (status == RLV_DONE)
    {
        bool open[DIRECTIONS];
        for (int i = 0; i < DIRECTIONS; i++)
        {
            const rlv_vec3 away = direction_of(i);
            open[i] = rlv_vec3_dot(away, w->joint_normal) > 0.0 && is_free(part, w, away, ray, hit);
        }
        choose(rejoin, open);
    }
    free(part[0].at);
    free(part[1].at);
    free(hit);
    free(ray);
    return status;
}
