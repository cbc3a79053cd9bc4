#include "depths.h"

#include "order.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static rlv_status reserve_depths(rlv_depths* depths, size_t count, rlv_error* error)
{
    depths->count = count;
    if ((depths->position_mm = rlv_reserve(3 * count, sizeof(float), error)) == NULL ||
        (depths->normal = rlv_reserve(3 * count, sizeof(float), error)) == NULL ||
        (depths->depth_mm = rlv_reserve(count, sizeof(float), error)) == NULL ||
        (depths->apart_mm = rlv_reserve(count, sizeof(float), error)) == NULL ||
        (depths->foot = rlv_reserve(count, sizeof(uint32_t), error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

void rlv_depths_free(rlv_depths* depths)
{
    free(depths->position_mm);
    free(depths->normal);
    free(depths->depth_mm);
    free(depths->apart_mm);
    free(depths->foot);
    free(depths->part);
    free(depths->over);
    memset(depths, 0, sizeof *depths);
}

static void put(float* at, rlv_vec3 v)
{
    at[0] = (float)v.x;
    at[1] = (float)v.y;
    at[2] = (float)v.z;
}

/// `pose` between two local frames instead of the meshes' own.
static rlv_pose between_origins(const rlv_pose* pose, rlv_vec3 from_origin, rlv_vec3 to_origin)
{
    rlv_pose local = *pose;
    local.translation_mm = rlv_vec3_sub(rlv_pose_apply(pose, from_origin), to_origin);
    return local;
}

/// Corners of a triangle, in the mesh's local frame.
static void corners_of(const rlv_mesh* mesh, uint32_t triangle, rlv_vec3 corner[3])
{
    for (size_t k = 0; k < 3; k++)
        corner[k] = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * (size_t)triangle + k]);
}

/// A ray from a sample to the middle of the triangle that is nearest to it.
static rlv_ray ray_to(const rlv_mesh* mesh, uint32_t triangle, const float* from)
{
    rlv_vec3 corner[3];
    rlv_ray ray = {.origin_mm = {from[0], from[1], from[2]}, .limit = INFINITY};
    corners_of(mesh, triangle, corner);
    rlv_vec3 middle = rlv_vec3_scale(rlv_vec3_add(corner[0], rlv_vec3_add(corner[1], corner[2])), 1.0 / 3.0);
    put(ray.direction, rlv_vec3_sub(middle, rlv_vec3_from(from)));
    return ray;
}

/// On which side of the other surface a sample lies: +1 outside, -1 inside, by the face that its ray meets first. The
/// normal at the nearest point would be at a loss where that lies on a sharp edge.
static double side_of(const rlv_mesh* mesh, const rlv_ray* ray, const rlv_hit* hit)
{
    if (hit->triangle == RLV_TREE_NONE)
        return 1.0;
    return rlv_vec3_dot(rlv_mesh_twice_area(mesh, hit->triangle), rlv_vec3_from(ray->direction)) < 0.0 ? 1.0 : -1.0;
}

/// How a sample lies over its foot on the other surface.
typedef struct footing
{
    double along_mm; ///< the sample's normal
    double apart_mm;
} footing;

static footing footing_of(const float* here, rlv_vec3 here_normal, const float* there)
{
    const rlv_vec3 step = rlv_vec3_sub(rlv_vec3_from(here), rlv_vec3_from(there));
    return (footing){rlv_vec3_dot(step, here_normal), rlv_vec3_length(step)};
}

/// Whether there is no verdict: the foot is on a border, and the sample lies beyond it.
static bool is_beyond(const footing* f, bool at_border, double spacing_mm)
{
    return at_border && f->apart_mm * f->apart_mm - f->along_mm * f->along_mm > 0.25 * spacing_mm * spacing_mm;
}

/// The size of a sample's depth further off than half a spacing. There the other surface tells which side of it the
/// sample is on: where a wall was taken away, the nearest point may lie before it as well as behind.
static double far_depth(const footing* f)
{
    return f->apart_mm <= 2.0 * fabs(f->along_mm) ? fabs(f->along_mm) : f->apart_mm;
}

static bool has_wholes(const rlv_sampling* sampling)
{
    for (size_t i = 0; sampling->part != NULL && i < sampling->count; i++)
        if (sampling->part[i] >= RLV_DEPTHS_WHOLE)
            return true;
    return false;
}

/// Cast rays from the samples with `asked` set (NULL: all) along their own normals, or along `direction` in the other
/// stage's frame where that is given, in order. `ray` and `hit` have room for one a sample.
static void look_along(rlv_ray* ray, rlv_hit* hit, const uint8_t* asked, rlv_stage here, rlv_stage there,
                       const float* query, const rlv_pose* to_other, const rlv_vec3* direction)
{
    size_t count = 0;
    for (size_t i = 0; i < here.sampling->count; i++)
    {
        if (asked != NULL && !asked[i])
            continue;
        memcpy(ray[count].origin_mm, query + 3 * i, sizeof ray[count].origin_mm);
        put(ray[count].direction,
            direction != NULL ? *direction
                              : rlv_mat3_apply(to_other->rotation, rlv_vec3_from(here.sampling->normal + 3 * i)));
        ray[count++].limit = INFINITY;
    }
    rlv_tree_rays(there.tree, count, ray, hit);
}

/// The sample that a ray met.
static uint32_t met(rlv_stage there, const rlv_hit* hit)
{
    return hit->triangle != RLV_TREE_NONE ? there.sampling->of_vertex[there.mesh->corner[3 * (size_t)hit->triangle]]
                                          : RLV_TREE_NONE;
}

static bool is_whole(rlv_stage there, uint32_t sample)
{
    return sample != RLV_TREE_NONE && there.sampling->part[sample] >= RLV_DEPTHS_WHOLE;
}

/// Where a piece's joint turns up steeply to the surface, the joint's own normal leads out of the block beside the
/// piece, and the nearest point is beside it too, on what never moved. So a sample that lies deeper inside the other
/// stage than its samples are apart, and has no piece over it along its normal, is asked again along the mean normal of
/// each piece that it faces. What never moved lies inside by noise alone: its ray would meet the piece through the
/// whole of the block.
static rlv_status look_under(rlv_depths* depths, rlv_stage here, rlv_stage there, const float* query,
                             const rlv_pose* to_other, double turn, rlv_ray* ray, rlv_hit* hit, rlv_error* error)
{
    rlv_vec3 mean[RLV_DEPTHS_UNSURE] = {0};
    for (size_t i = 0; i < there.sampling->count; i++)
        if (is_whole(there, (uint32_t)i) && there.sampling->part[i] < RLV_DEPTHS_UNSURE)
            mean[there.sampling->part[i]] =
                rlv_vec3_along(mean[there.sampling->part[i]], (double)there.sampling->area_mm2[i],
                               rlv_vec3_from(there.sampling->normal + 3 * i));
    uint8_t* asked = rlv_reserve(depths->count, 1, error);
    for (int part = RLV_DEPTHS_WHOLE; asked != NULL && part < RLV_DEPTHS_UNSURE; part++)
    {
        if (!(rlv_vec3_length(mean[part]) > 0.0))
            continue;
        const rlv_vec3 up = rlv_vec3_unit(mean[part]),
                       up_here = rlv_mat3_apply(rlv_mat3_transpose(to_other->rotation), up);
        for (size_t i = 0; i < depths->count; i++)
            asked[i] = turn * (double)depths->depth_mm[i] < -there.sampling->spacing_mm &&
                       rlv_vec3_dot(rlv_vec3_from(here.sampling->normal + 3 * i), up_here) > 0.0 &&
                       !is_whole(there, depths->over[i]) && !is_whole(there, depths->foot[i]);
        look_along(ray, hit, asked, here, there, query, to_other, &up);
        for (size_t i = 0, n = 0; i < depths->count; i++)
        {
            const uint32_t over = asked[i] ? met(there, hit + n++) : RLV_TREE_NONE;
            if (is_whole(there, over) && there.sampling->part[over] == part)
                depths->over[i] = over;
        }
    }
    free(asked);
    return asked != NULL ? RLV_DONE : RLV_SYSTEM;
}

/// The other stage's sample over each sample here: where a ray along the outward normal first meets that stage, or one
/// along a piece's mean normal meets that piece. `ray` and `hit` have room for one a sample.
static rlv_status look_over(rlv_depths* depths, rlv_stage here, rlv_stage there, const float* query,
                            const rlv_pose* to_other, double turn, rlv_ray* ray, rlv_hit* hit, rlv_error* error)
{
    if ((depths->over = rlv_reserve(depths->count, sizeof *depths->over, error)) == NULL)
        return RLV_SYSTEM;
    look_along(ray, hit, NULL, here, there, query, to_other, NULL);
    for (size_t i = 0; i < depths->count; i++)
        depths->over[i] = met(there, hit + i);
    return look_under(depths, here, there, query, to_other, turn, ray, hit, error);
}

/// What one side is measured with: one of each a sample.
typedef struct workroom
{
    float* query;                       ///< 3: where it lies in the other stage
    rlv_nearest *nearest, *own_nearest; ///< the latter where nobody keeps it
    uint32_t* far;                      ///< samples whose side a ray must tell
    float* far_mm;                      ///< the size of their depth, by sample
    rlv_ray* ray;
    rlv_hit* hit;
} workroom;

static rlv_status reserve_room(workroom* room, rlv_nearest* known, size_t count, rlv_error* error)
{
    room->nearest = known != NULL ? known : (room->own_nearest = rlv_nearest_reserve(count, error));
    const bool held = room->nearest != NULL &&
                      (room->query = rlv_reserve(3 * count, sizeof *room->query, error)) != NULL &&
                      (room->far = rlv_reserve(count, sizeof *room->far, error)) != NULL &&
                      (room->far_mm = rlv_reserve(count, sizeof *room->far_mm, error)) != NULL &&
                      (room->ray = rlv_reserve(count, sizeof *room->ray, error)) != NULL &&
                      (room->hit = rlv_reserve(count, sizeof *room->hit, error)) != NULL;
    return held ? RLV_DONE : RLV_SYSTEM;
}

static void free_room(workroom* room)
{
    free(room->query);
    free(room->own_nearest);
    free(room->far);
    free(room->far_mm);
    free(room->ray);
    free(room->hit);
}

/// Give the samples that lie far off their depth, by which side of the other surface they are on.
static void settle_far(rlv_depths* depths, rlv_stage there, const workroom* room, double turn)
{
    size_t count = 0;
    for (size_t i = 0; i < depths->count; i++)
        if (isinf(depths->depth_mm[i]))
        {
            room->ray[count] = ray_to(there.mesh, room->nearest[i].triangle, room->query + 3 * i);
            room->far[count++] = (uint32_t)i;
        }
    rlv_tree_rays(there.tree, count, room->ray, room->hit);
#pragma omp parallel for schedule(static)
    for (size_t k = 0; k < count; k++)
        depths->depth_mm[room->far[k]] =
            (float)(turn * side_of(there.mesh, &room->ray[k], &room->hit[k])) * room->far_mm[room->far[k]];
}

/// Fill `depths` at the samples of `here`; `into` carries them into BEFORE's local frame and `to_other` into the
/// other's; `turn` is +1 at BEFORE's samples and -1 at AFTER's.
static rlv_status measure_side(rlv_depths* depths, rlv_stage here, rlv_stage there, const rlv_pose* into,
                               const rlv_pose* to_other, double turn, rlv_error* error)
{
    const size_t count = here.sampling->count;
    const double spacing = there.sampling->spacing_mm;
    workroom room = {0};
    rlv_status status = reserve_depths(depths, count, error);
    if (status == RLV_DONE)
        status = reserve_room(&room, here.known, count, error);
    if (status != RLV_DONE)
        goto end;
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < count; i++)
    {
        rlv_vec3 at = rlv_vec3_from(here.sampling->position_mm + 3 * i);
        put(room.query + 3 * i, rlv_pose_apply(to_other, at));
        put(depths->position_mm + 3 * i, rlv_pose_apply(into, at));
        put(depths->normal + 3 * i, rlv_mat3_apply(into->rotation, rlv_vec3_from(here.sampling->normal + 3 * i)));
    }
    rlv_tree_nearest_again(there.tree, count, room.query, INFINITY, room.nearest);
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < count; i++)
    {
        const uint32_t vertex = there.mesh->corner[3 * (size_t)room.nearest[i].triangle];
        const uint32_t foot = there.sampling->of_vertex[vertex];
        rlv_vec3 normal = rlv_mat3_apply(to_other->rotation, rlv_vec3_from(here.sampling->normal + 3 * i));
        const footing f = footing_of(room.query + 3 * i, normal, room.nearest[i].point_mm);
        depths->foot[i] = foot;
        depths->depth_mm[i] = is_beyond(&f, there.sampling->border[foot] != 0, spacing) ? NAN
                              : f.apart_mm < 0.5 * spacing                              ? (float)(turn * f.along_mm)
                                                                                        : INFINITY;
        room.far_mm[i] = (float)far_depth(&f);
    }
    settle_far(depths, there, &room, turn);
    for (size_t i = 0; i < count; i++)
        depths->apart_mm[i] = copysignf(room.nearest[i].distance_mm, depths->depth_mm[i]);
    if (has_wholes(there.sampling))
        status = look_over(depths, here, there, room.query, to_other, turn, room.ray, room.hit, error);
end:
    free_room(&room);
    if (status != RLV_DONE)
        rlv_depths_free(depths);
    return status;
}

/// How much deeper than its foot a sample may lie for the two to look at each other, beside the bulk's sd.
static const double MUTUAL = 2.0, MUTUAL_SD = 3.0;

/// The part of a sample that has none of its own: that of a piece that its foot lies on, or that lies over it where it
/// moved; else its foot's, where the two look at each other.
static uint8_t part_through(const rlv_depths* here, size_t i, const rlv_depths* there, const uint8_t* theirs,
                            double still_mm)
{
    const uint8_t foot = theirs[here->foot[i]];
    const double depth = fabs((double)here->depth_mm[i]);
    if (foot >= RLV_DEPTHS_WHOLE)
        return foot;
    if (here->over != NULL && here->over[i] != RLV_TREE_NONE && theirs[here->over[i]] >= RLV_DEPTHS_WHOLE &&
        depth > still_mm)
        return theirs[here->over[i]];
    const bool mutual = depth <= MUTUAL * fabs((double)there->depth_mm[here->foot[i]]) + still_mm;
    return foot == RLV_DEPTHS_STAYS && !mutual ? RLV_DEPTHS_UNSURE : foot;
}

/// Parts of the samples here: their own, else through the other stage, whose depths are known.
static rlv_status find_parts(rlv_depths* here, const uint8_t* own, const rlv_depths* there, const uint8_t* theirs,
                             rlv_error* error)
{
    rlv_bulk bulk;
    if ((here->part = rlv_reserve(here->count, 1, error)) == NULL ||
        rlv_bulk_of(&bulk, here->count, here->depth_mm, error) != RLV_DONE)
        return RLV_SYSTEM;
    for (size_t i = 0; i < here->count; i++)
    {
        here->part[i] = own != NULL ? own[i] : 0;
        if (here->part[i] == 0 && theirs != NULL)
            here->part[i] = part_through(here, i, there, theirs, MUTUAL_SD * bulk.sd);
    }
    return RLV_DONE;
}

rlv_status rlv_depths_measure(rlv_depths* at_before, rlv_depths* at_after, rlv_stage before, rlv_stage after,
                              const rlv_pose* pose, rlv_error* error)
{
    const rlv_pose into = between_origins(pose, after.mesh->origin_mm, before.mesh->origin_mm);
    const rlv_pose back = rlv_pose_inverse(&into), stay = rlv_pose_identity();
    rlv_status status = measure_side(at_before, before, after, &stay, &back, 1.0, error);
    if (status == RLV_DONE)
        status = measure_side(at_after, after, before, &into, &into, -1.0, error);
    const uint8_t *part_before = before.sampling->part, *part_after = after.sampling->part;
    if (status == RLV_DONE && (part_before != NULL || part_after != NULL))
    {
        status = find_parts(at_before, part_before, at_after, part_after, error);
        if (status == RLV_DONE)
            status = find_parts(at_after, part_after, at_before, part_before, error);
    }
    if (status != RLV_DONE)
    {
        rlv_depths_free(at_before);
        rlv_depths_free(at_after);
    }
    return status;
}

/// Mean and sd of sorted values between `low` and `high`.
static rlv_bulk moments_between(size_t count, const float* sorted, double low, double high)
{
    const double middle = 0.5 * (low + high);
    double sum = 0.0, squares = 0.0;
    size_t n = 0;
    for (size_t i = 0; i < count && (double)sorted[i] <= high; i++)
    {
        if ((double)sorted[i] < low)
            continue;
        const double off = (double)sorted[i] - middle;
        sum += off;
        squares += off * off;
        n++;
    }
    const double mean = n > 0 ? sum / (double)n : 0.0;
    return (rlv_bulk){middle + mean, n > 1 ? sqrt(fmax(squares / (double)n - mean * mean, 0.0)) : 0.0};
}

rlv_status rlv_bulk_of(rlv_bulk* bulk, size_t count, const float* value, rlv_error* error)
{
    enum
    {
        MOST = 60000, // enough for an sd to three parts in a thousand
    };
    *bulk = (rlv_bulk){0, 0};
    const size_t stride = count / MOST + 1;
    float* sorted = rlv_reserve(2 * (count / stride + 1), sizeof *sorted, error);
    if (sorted == NULL)
        return RLV_SYSTEM;
    size_t n = 0;
    for (size_t i = 0; i < count; i += stride)
        if (!isnan(value[i]))
            sorted[n++] = value[i];
    rlv_order_floats(n, sorted, sorted + n);
    const size_t quarter = n / 4;
    double width = INFINITY;
    for (size_t i = 0; i + quarter < n; i++)
        if ((double)sorted[i + quarter] - (double)sorted[i] < width)
        {
            width = (double)sorted[i + quarter] - (double)sorted[i];
            bulk->centre = 0.5 * ((double)sorted[i + quarter] + (double)sorted[i]);
        }
    bulk->sd = n > 8 ? width / (2.0 * gsl_cdf_ugaussian_Pinv(0.625)) : 0.0;
    // Cut close, at 1.5 sd, so that what was carved from half of a block stays out; a normal cut there keeps this much
    // of its sd.
    const double cut = 1.5;
    const double cut_sd = sqrt(1.0 - 2.0 * cut * gsl_ran_ugaussian_pdf(cut) / (2.0 * gsl_cdf_ugaussian_P(cut) - 1.0));
    for (int pass = 0; pass < 40 && bulk->sd > 0.0; pass++)
    {
        const rlv_bulk next = moments_between(n, sorted, bulk->centre - cut * bulk->sd, bulk->centre + cut * bulk->sd);
        *bulk = (rlv_bulk){next.centre, next.sd / cut_sd};
    }
    free(sorted);
    return RLV_DONE;
}
