#include "rejoin_face.h"

#include "rejoin_parts.h"

#include <math.h>
#include <stdlib.h>

/// Two faces look at each other where their normals are apart by more than about 110 degrees.
static const double facing = -0.35;
/// What lies within 70 degrees or so of a sample's normal lies before it.
static const double before = 0.3;

/// The nearest points of another mesh to all samples of a part.
static void ask(rlv_nearest* near, float* query, const rlv_sampling* part, const rlv_tree* tree, const rlv_pose* pose,
                double reach_mm)
{
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < part->count; i++)
    {
        const rlv_vec3 at = rlv_pose_apply(pose, rlv_vec3_from(part->position_mm + 3 * i));
        query[3 * i] = (float)at.x, query[3 * i + 1] = (float)at.y, query[3 * i + 2] = (float)at.z;
    }
    rlv_tree_nearest(tree, part->count, query, (float)reach_mm, near);
}

typedef struct view
{
    bool across; ///< it looks at the other, which faces it
    bool before; ///< the other lies before it
} view;

static view view_of(const rlv_face_search* s, size_t i, const float* query, const rlv_nearest* near)
{
    if (near->triangle == RLV_TREE_NONE || (s->given != NULL && s->given[i] == 0))
        return (view){false, false};
    const rlv_vec3 own = rlv_mat3_apply(s->to_other.rotation, rlv_vec3_from(s->part->normal + 3 * i)),
                   other = rlv_vec3_unit(rlv_mesh_twice_area(s->other, near->triangle)),
                   apart = rlv_vec3_sub(rlv_vec3_from(near->point_mm), rlv_vec3_from(query));
    const double distance = rlv_vec3_length(apart), along = rlv_vec3_dot(apart, own);
    // A millimetre aside is noise and wear; beyond that the other must lie before it.
    return (view){.across = rlv_vec3_dot(own, other) <= facing && (distance < 1.0 || fabs(along) > 0.5 * distance),
                  .before = along > before * distance};
}

rlv_status rlv_face_find(uint8_t* face, uint8_t* rim, const rlv_face_search* s, rlv_error* error)
{
    const size_t count = s->part->count;
    float* query = rlv_reserve(3 * count, sizeof *query, error);
    rlv_nearest* near = query != NULL ? rlv_reserve(count, sizeof *near, error) : NULL;
    if (near == NULL)
    {
        free(query);
        return RLV_SYSTEM;
    }
    ask(near, query, s->part, s->other_tree, &s->to_other, s->reach_mm);
    for (size_t i = 0; i < count; i++)
    {
        const view v = view_of(s, i, query + 3 * i, near + i);
        face[i] = v.across;
        rim[i] = s->before != NULL && v.before && !v.across;
    }
    if (s->before != NULL)
    {
        ask(near, query, s->part, s->before_tree, &s->to_before, s->skin_mm);
        for (size_t i = 0; i < count; i++)
            if ((face[i] != 0 || rim[i] != 0) && near[i].triangle != RLV_TREE_NONE)
            {
                const rlv_vec3 own = rlv_mat3_apply(s->to_before.rotation, rlv_vec3_from(s->part->normal + 3 * i)),
                               other = rlv_vec3_unit(rlv_mesh_twice_area(s->before, near[i].triangle));
                if (rlv_vec3_dot(own, other) >= 0.5)
                    face[i] = rim[i] = 0;
            }
    }
    free(near);
    free(query);
    return RLV_DONE;
}

// The joint

/// Noise is correlated over about 25 mm2: samples closer than this say hardly more (a hundredth of a mean's variance).
static const double sample_mm2 = 2.0;
static const size_t least_samples = 2000, most_face_samples = 15000, most_outer_samples = 20000;
static const double least_face_mm2 = 60.0; ///< a smaller joint than a thumb nail's holds nothing
static const double skin_mm = 0.3;         ///< what lies so close to the stage from before is outer surface

/// How many of a triangle's corners are of marked samples.
static int corners_marked(const rlv_mesh* mesh, const rlv_sampling* sampling, const uint8_t* mark, size_t t)
{
    int count = 0;
    for (size_t k = 0; k < 3; k++)
    {
        const uint32_t sample = sampling->of_vertex[mesh->corner[3 * t + k]];
        count += sample != RLV_CUBES_NONE && mark[sample] != 0;
    }
    return count;
}

rlv_status rlv_joining_given(uint8_t** given, const rlv_mesh* mesh, const rlv_sampling* sampling,
                             const uint8_t* triangle, rlv_error* error)
{
    *given = NULL;
    if (triangle == NULL)
        return RLV_DONE;
    if ((*given = rlv_reserve(sampling->count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < mesh->triangle_count; t++)
        for (size_t k = 0; k < 3 && triangle[t] != 0; k++)
        {
            const uint32_t sample = sampling->of_vertex[mesh->corner[3 * t + k]];
            if (sample != RLV_CUBES_NONE)
                (*given)[sample] = 1;
        }
    return RLV_DONE;
}

static rlv_status find_face(rlv_joining* w, int own, double reach_mm, rlv_error* error)
{
    const int other = own == RLV_JOIN_BLOCK ? RLV_JOIN_PIECE : RLV_JOIN_BLOCK;
    const rlv_mesh* mesh = w->mesh[own];
    const rlv_face_search search = {
        .part = &w->sampling[own],
        .other = w->mesh[other],
        .other_tree = w->tree[other],
        .to_other = own == RLV_JOIN_PIECE ? w->found : rlv_pose_inverse(&w->found),
        .reach_mm = reach_mm,
        .before = w->in_stage ? w->mesh[RLV_JOIN_BEFORE] : NULL,
        .before_tree = w->tree[RLV_JOIN_BEFORE],
        .to_before = w->in_before[own],
        .skin_mm = skin_mm,
        .given = w->given[own],
    };
    rlv_status status = rlv_face_find(w->sample_face[own], w->sample_rim[own], &search, error);
    w->face_mm2[own] = w->outer_mm2[own] = 0.0;
    for (size_t t = 0; t < mesh->triangle_count && status == RLV_DONE; t++)
    {
        w->face[own][t] = corners_marked(mesh, &w->sampling[own], w->sample_face[own], t) >= 2;
        w->beyond[own][t] = w->face[own][t] == 0;
        *(w->face[own][t] != 0 ? &w->face_mm2[own] : &w->outer_mm2[own]) +=
            0.5 * rlv_vec3_length(rlv_mesh_twice_area(mesh, t));
    }
    return status;
}

/// Whether a ray from a sample meets the other part where that faces it, ahead or, where the two lie in one another,
/// behind.
static bool meets(const rlv_mesh* other, rlv_vec3 along, const rlv_hit hit[2])
{
    for (int k = 0; k < 2; k++)
        if (hit[k].triangle != RLV_TREE_NONE && rlv_vec3_dot(along, rlv_mesh_twice_area(other, hit[k].triangle)) < 0.0)
            return true;
    return false;
}

/// Keep of a rim what meets the other part along the joint's normal, whatever its own slope is: nothing lies over what
/// was carved beyond it.
static rlv_status keep_under(uint8_t* rim, const rlv_joining* w, int own, rlv_error* error)
{
    const int other = own == RLV_JOIN_BLOCK ? RLV_JOIN_PIECE : RLV_JOIN_BLOCK;
    const rlv_sampling* s = &w->sampling[own];
    const rlv_pose back = rlv_pose_inverse(&w->found), *to_other = own == RLV_JOIN_PIECE ? &w->found : &back;
    const rlv_vec3 along =
        own == RLV_JOIN_BLOCK ? rlv_mat3_apply(back.rotation, w->joint_normal) : rlv_vec3_scale(w->joint_normal, -1.0);
    size_t count = 0, next = 0;
    for (size_t i = 0; i < s->count; i++)
        count += rim[i] != 0;
    rlv_ray* ray = rlv_reserve(2 * count, sizeof *ray, error);
    rlv_hit* hit = ray != NULL ? rlv_reserve(2 * count, sizeof *hit, error) : NULL;
    for (size_t i = 0; i < s->count && hit != NULL; i++)
    {
        const rlv_vec3 at = rlv_pose_apply(to_other, rlv_vec3_from(s->position_mm + 3 * i));
        for (size_t k = 0; k < 2 && rim[i] != 0; k++, next++)
        {
            const rlv_vec3 way = rlv_vec3_scale(along, k == 0 ? 1.0 : -1.0);
            ray[next] = (rlv_ray){.origin_mm = {(float)at.x, (float)at.y, (float)at.z},
                                  .direction = {(float)way.x, (float)way.y, (float)way.z},
                                  .limit = (float)RLV_REJOIN_REACH_MM};
        }
    }
    if (hit != NULL)
        rlv_tree_rays(w->tree[other], 2 * count, ray, hit);
    for (size_t i = 0, k = 0; i < s->count && hit != NULL; i++)
        if (rim[i] != 0)
            rim[i] = meets(w->mesh[other], along, hit + 2 * k++);
    const rlv_status status = hit != NULL ? RLV_DONE : RLV_SYSTEM;
    free(hit);
    free(ray);
    return status;
}

/// What bounds the gap: the face and its rim, and the triangles next to these.
static rlv_status find_outline(rlv_joining* w, int own, rlv_error* error)
{
    const rlv_status status = keep_under(w->sample_rim[own], w, own, error);
    for (size_t t = 0; t < w->mesh[own]->triangle_count && status == RLV_DONE; t++)
        w->outline[own][t] = corners_marked(w->mesh[own], &w->sampling[own], w->sample_face[own], t) > 0 ||
                             corners_marked(w->mesh[own], &w->sampling[own], w->sample_rim[own], t) > 0;
    return status;
}

static size_t samples_for(double area_mm2, size_t most)
{
    const double count = area_mm2 / sample_mm2;
    return count < (double)least_samples ? least_samples : count < (double)most ? (size_t)count : most;
}

static rlv_status sample_part(rlv_joining* w, int own, rlv_error* error)
{
    const uint64_t seed = 4 * w->input->seed + 2 * (uint64_t)own;
    rlv_samples_free(&w->face_samples[own]);
    rlv_samples_free(&w->outer_samples[own]);
    rlv_gap_part_free(&w->part[own - 1]);
    rlv_status status = rlv_samples_take(&w->face_samples[own], w->mesh[own], w->beyond[own],
                                         samples_for(w->face_mm2[own], most_face_samples), seed, error);
    if (status == RLV_DONE && w->in_stage)
        status = rlv_samples_take(&w->outer_samples[own], w->mesh[own], w->face[own],
                                  samples_for(w->outer_mm2[own], most_outer_samples), seed + 1, error);
    if (status == RLV_DONE)
        status = rlv_gap_part_take(&w->part[own - 1], w->mesh[own], w->tree[own], w->face[own], w->outline[own],
                                   &w->sampling[own], w->sample_face[own], error);
    w->part[own - 1].bone = w->bone[own];
    return status;
}

rlv_status rlv_joining_faces(rlv_joining* w, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE && status == RLV_DONE; own++)
        status = find_face(w, own, RLV_REJOIN_REACH_MM, error);
    if (status == RLV_DONE && !(fmin(w->face_mm2[RLV_JOIN_BLOCK], w->face_mm2[RLV_JOIN_PIECE]) > least_face_mm2))
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL,
                        "check that the two meshes are of one break and in their right units, or outline their faces",
                        "the two parts face one another over %.0f mm2 only",
                        fmin(w->face_mm2[RLV_JOIN_BLOCK], w->face_mm2[RLV_JOIN_PIECE]));
    // Of the block's face no more than all can fit and touch.
    if (status == RLV_DONE && w->face_mm2[RLV_JOIN_BLOCK] <= w->beaten_mm2)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "outline the two faces, or give a start",
                        "more of the two parts fits and touches in another place than faces one another in this one");
    if (status != RLV_DONE)
        return status;
    rlv_vec3 sum = {0, 0, 0};
    for (size_t t = 0; t < w->mesh[RLV_JOIN_BLOCK]->triangle_count; t++)
        if (w->face[RLV_JOIN_BLOCK][t] != 0)
            sum = rlv_vec3_add(sum, rlv_mesh_twice_area(w->mesh[RLV_JOIN_BLOCK], t));
    w->joint_normal = rlv_vec3_unit(sum);
    for (int own = RLV_JOIN_BLOCK; own <= RLV_JOIN_PIECE && status == RLV_DONE; own++)
    {
        status = find_outline(w, own, error);
        if (status == RLV_DONE)
            status = sample_part(w, own, error);
    }
    w->joint_mm = w->face_samples[RLV_JOIN_BLOCK].centre_mm;
    return status;
}

/// The least width of the face over its plane.
static double least_width(const rlv_samples* face, rlv_vec3 normal)
{
    enum
    {
        DIRECTIONS = 24
    };
    const rlv_vec3 some = fabs(normal.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0),
                   a = rlv_vec3_unit(rlv_vec3_cross(normal, some)), b = rlv_vec3_cross(normal, a);
    double least = INFINITY;
    for (int k = 0; k < DIRECTIONS; k++)
    {
        const double turn = M_PI * k / DIRECTIONS;
        const rlv_vec3 along = rlv_vec3_add(rlv_vec3_scale(a, cos(turn)), rlv_vec3_scale(b, sin(turn)));
        double low = INFINITY, high = -INFINITY;
        for (size_t i = 0; i < face->count; i++)
        {
            const double at = rlv_vec3_dot(rlv_vec3_from(face->position_mm + 3 * i), along);
            low = fmin(low, at), high = fmax(high, at);
        }
        least = fmin(least, high - low);
    }
    return least;
}

void rlv_joining_describe(rlv_rejoin* rejoin, const rlv_joining* w)
{
    const rlv_samples* face = &w->face_samples[RLV_JOIN_BLOCK];
    double square = 0.0, count = 0.0;
    for (size_t i = 0; i < face->count; i++)
    {
        const double level = rlv_vec3_dot(rlv_vec3_from(face->normal + 3 * i), w->joint_normal);
        if (level > 0.2)
            square += 1.0 / (level * level) - 1.0, count += 1.0;
    }
    rejoin->slope = count > 0.0 ? sqrt(square / count) : 0.0;
    rejoin->across_mm = least_width(face, w->joint_normal);
    rejoin->joint_normal = w->joint_normal;
    rejoin->joint_mm = rlv_vec3_add(w->joint_mm, w->mesh[RLV_JOIN_BLOCK]->origin_mm);
    rejoin->joint_mm2 = w->face_mm2[RLV_JOIN_BLOCK];
    const uint8_t* given[2] = {w->input->block_face, w->input->piece_face};
    for (int k = 0; k < 2; k++)
    {
        double all = 0.0;
        for (size_t t = 0; given[k] != NULL && t < w->mesh[k + 1]->triangle_count; t++)
            all += given[k][t] != 0 ? 0.5 * rlv_vec3_length(rlv_mesh_twice_area(w->mesh[k + 1], t)) : 0.0;
        rejoin->partner[k] = given[k] != NULL && all > 0.0 ? w->face_mm2[k + 1] / all : NAN;
    }
}
