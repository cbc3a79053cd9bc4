#include "cubes.h"
#include "rejoin_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double cell_mm = 8.0;  ///< a stretch of the joint's edge
static const double least_each = 6; ///< samples of either part that a stretch needs
static const double agreeing = 0.8; ///< of the two outer surfaces' mean normals

/// What the outer samples of one part say in one stretch.
typedef struct side_sum
{
    double count;
    rlv_vec3 at, normal;
} side_sum;

/// Outer samples of both parts, in the block's coordinates.
typedef struct outer_points
{
    size_t count;
    float *at, *normal;
    uint8_t* part;
} outer_points;

static void outer_points_free(outer_points* p)
{
    free(p->at);
    free(p->normal);
    free(p->part);
}

static rlv_status gather_outer(outer_points* p, const rlv_joining* w, rlv_error* error)
{
    size_t room = 0;
    for (int k = 0; k < 2; k++)
        room += w->part[k].sampling->count;
    if ((p->at = rlv_reserve(3 * room, sizeof *p->at, error)) == NULL ||
        (p->normal = rlv_reserve(3 * room, sizeof *p->normal, error)) == NULL ||
        (p->part = rlv_reserve(room, 1, error)) == NULL)
        return RLV_SYSTEM;
    const rlv_pose place[2] = {rlv_pose_identity(), w->closed};
    for (int k = 0; k < 2; k++)
        for (size_t i = 0; i < w->part[k].sampling->count; i++)
        {
            if (w->sample_face[k + 1][i] != 0)
                continue;
            const rlv_vec3 at = rlv_pose_apply(&place[k], rlv_vec3_from(w->part[k].sampling->position_mm + 3 * i)),
                           n = rlv_mat3_apply(place[k].rotation, rlv_vec3_from(w->part[k].sampling->normal + 3 * i));
            float *a = p->at + 3 * p->count, *b = p->normal + 3 * p->count;
            a[0] = (float)at.x, a[1] = (float)at.y, a[2] = (float)at.z;
            b[0] = (float)n.x, b[1] = (float)n.y, b[2] = (float)n.z;
            p->part[p->count++] = (uint8_t)k;
        }
    return RLV_DONE;
}

/// Solve a symmetric system of three by Cramer's rule.
static bool solve3(const double a[6], const double b[3], double x[3])
{
    const double xx = a[0], xy = a[1], xz = a[2], yy = a[3], yz = a[4], zz = a[5];
    const double det = xx * (yy * zz - yz * yz) - xy * (xy * zz - yz * xz) + xz * (xy * yz - yy * xz);
    if (!(fabs(det) > 1e-9 * fabs(xx * yy * zz)))
        return false;
    x[0] = (b[0] * (yy * zz - yz * yz) - xy * (b[1] * zz - yz * b[2]) + xz * (b[1] * yz - yy * b[2])) / det;
    x[1] = (xx * (b[1] * zz - b[2] * yz) - b[0] * (xy * zz - yz * xz) + xz * (xy * b[2] - b[1] * xz)) / det;
    x[2] = (xx * (yy * b[2] - yz * b[1]) - xy * (xy * b[2] - xz * b[1]) + b[0] * (xy * yz - yy * xz)) / det;
    return true;
}

/// How much higher the piece's surface lies than the block's in one stretch: both on planes of one slope.
static bool step_in(double* step_mm, rlv_vec3* at, const outer_points* p, const uint32_t* member, size_t count)
{
    side_sum side[2] = {0};
    for (size_t i = 0; i < count; i++)
    {
        side_sum* s = &side[p->part[member[i]]];
        s->count += 1.0;
        s->at = rlv_vec3_add(s->at, rlv_vec3_from(p->at + 3 * (size_t)member[i]));
        s->normal = rlv_vec3_add(s->normal, rlv_vec3_from(p->normal + 3 * (size_t)member[i]));
    }
    if (side[0].count < least_each || side[1].count < least_each ||
        rlv_vec3_dot(rlv_vec3_unit(side[0].normal), rlv_vec3_unit(side[1].normal)) < agreeing)
        return false;
    const rlv_vec3 up = rlv_vec3_unit(rlv_vec3_add(rlv_vec3_unit(side[0].normal), rlv_vec3_unit(side[1].normal))),
                   some = fabs(up.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0),
                   a = rlv_vec3_unit(rlv_vec3_cross(up, some)), b = rlv_vec3_cross(up, a);
    const double all = side[0].count + side[1].count, share = side[1].count / all;
    const rlv_vec3 middle = rlv_vec3_scale(rlv_vec3_add(side[0].at, side[1].at), 1.0 / all);
    double m[6] = {0}, v[3] = {0}, height = 0.0, x[3];
    for (size_t i = 0; i < count; i++)
        height += rlv_vec3_dot(rlv_vec3_sub(rlv_vec3_from(p->at + 3 * (size_t)member[i]), middle), up) / all;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 off = rlv_vec3_sub(rlv_vec3_from(p->at + 3 * (size_t)member[i]), middle);
        const double t[3] = {rlv_vec3_dot(off, a), rlv_vec3_dot(off, b), (double)p->part[member[i]] - share},
                     z = rlv_vec3_dot(off, up) - height;
        m[0] += t[0] * t[0], m[1] += t[0] * t[1], m[2] += t[0] * t[2];
        m[3] += t[1] * t[1], m[4] += t[1] * t[2], m[5] += t[2] * t[2];
        for (int k = 0; k < 3; k++)
            v[k] += t[k] * z;
    }
    if (!solve3(m, v, x))
        return false;
    *step_mm = x[2];
    *at = middle;
    return true;
}

static int rising(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

rlv_status rlv_joining_steps(rlv_rejoin* rejoin, const rlv_joining* w, rlv_error* error)
{
    outer_points p = {0};
    rlv_cubes cells = {0};
    double* size = NULL;
    rlv_status status = gather_outer(&p, w, error);
    if (status == RLV_DONE)
        status = rlv_cubes_build(&cells, p.count, p.at, NULL, cell_mm, error);
    if (status == RLV_DONE && (size = rlv_reserve(cells.count, sizeof *size, error)) == NULL)
        status = RLV_SYSTEM;
    size_t count = 0;
    for (size_t c = 0; status == RLV_DONE && c < cells.count; c++)
    {
        double step = 0.0;
        rlv_vec3 at;
        if (!step_in(&step, &at, &p, cells.member + cells.start[c], cells.start[c + 1] - cells.start[c]))
            continue;
        size[count++] = fabs(step);
        if (!(fabs(step) > rejoin->step_max_mm))
            continue;
        rejoin->step_max_mm = fabs(step);
        rejoin->step_max_at_mm = rlv_vec3_add(at, w->mesh[RLV_JOIN_BLOCK]->origin_mm);
    }
    if (count > 0)
    {
        qsort(size, count, sizeof *size, rising);
        rejoin->step_median_mm = size[count / 2];
        rejoin->step_p95_mm = size[(size_t)(0.95 * (double)(count - 1))];
    }
    rejoin->step_count = count;
    free(size);
    rlv_cubes_free(&cells);
    outer_points_free(&p);
    return status;
}
