#include "rejoin_gap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    CELLS_AROUND = 27,
};

static const double widest_mm = 15.0; ///< a gap is not looked for beyond
static const double facing = -0.3;    ///< of the other face's normal along the ray
static const double repeat_mm = 16.0; ///< side of the patches that must repeat each other's relief

void rlv_gap_part_free(rlv_gap_part* part)
{
    rlv_cubes_free(&part->cells);
    free(part->sample);
    free(part->of);
    free(part->rim);
    free(part->at);
    free(part->normal);
    free(part->area_mm2);
    free(part->vector_mm2);
    memset(part, 0, sizeof *part);
}

/// The cells' own means are taken first: a spot is a few cells wide.
rlv_status rlv_gap_average(float* to, const rlv_gap_part* part, size_t size, const float* value, rlv_error* error)
{
    enum
    {
        MOST = 3
    };
    typedef struct cell_mean
    {
        double area, at[3], value[MOST];
    } cell_mean;
    cell_mean* mean = rlv_reserve(part->cells.count, sizeof *mean, error);
    if (mean == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < part->count; i++)
    {
        if (isnan(value[size * i]))
            continue;
        cell_mean* m = mean + part->cells.of_point[i];
        const double area = (double)part->area_mm2[i];
        m->area += area;
        for (size_t k = 0; k < 3; k++)
            m->at[k] += area * (double)part->at[3 * i + k];
        for (size_t k = 0; k < size; k++)
            m->value[k] += area * (double)value[size * i + k];
    }
    for (size_t c = 0; c < part->cells.count; c++)
        for (size_t k = 0; k < 3 && mean[c].area > 0.0; k++)
            mean[c].at[k] /= mean[c].area;
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < part->count; i++)
    {
        double sum[MOST] = {0}, total = 0.0;
        for (int step = 0; step < CELLS_AROUND; step++)
        {
            const int by[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
            const uint32_t c = rlv_cubes_near(&part->cells, part->cells.of_point[i], by);
            if (c == RLV_CUBES_NONE || !(mean[c].area > 0.0))
                continue;
            double apart2 = 0.0;
            for (size_t k = 0; k < 3; k++)
                apart2 += pow(mean[c].at[k] - (double)part->at[3 * i + k], 2);
            const double w = exp(-0.5 * apart2 / (RLV_REJOIN_SPOT_MM * RLV_REJOIN_SPOT_MM));
            total += w * mean[c].area;
            for (size_t k = 0; k < size; k++)
                sum[k] += w * mean[c].value[k];
        }
        for (size_t k = 0; k < size; k++)
            to[size * i + k] = total > 0.0 ? (float)(sum[k] / total) : NAN;
    }
    free(mean);
    return RLV_DONE;
}

static void put(float* to, rlv_vec3 v)
{
    to[0] = (float)v.x, to[1] = (float)v.y, to[2] = (float)v.z;
}

/// Number the samples that what is outlined has corners of.
static rlv_status number_samples(rlv_gap_part* part, const uint8_t* sample_face, rlv_error* error)
{
    const rlv_sampling* s = part->sampling;
    if ((part->of = rlv_reserve(s->count, sizeof *part->of, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < s->count; i++)
        part->of[i] = sample_face[i] != 0 ? 0 : RLV_TREE_NONE;
    for (size_t c = 0; c < 3 * part->mesh->triangle_count; c++)
    {
        const uint32_t of = s->of_vertex[part->mesh->corner[c]];
        if (part->outline[c / 3] != 0 && of != RLV_CUBES_NONE)
            part->of[of] = 0;
    }
    for (size_t i = 0; i < s->count; i++)
        if (part->of[i] == 0)
            part->of[i] = (uint32_t)part->count++;
    return RLV_DONE;
}

static rlv_status gather_samples(rlv_gap_part* part, const uint8_t* sample_face, rlv_error* error)
{
    const rlv_sampling* s = part->sampling;
    if ((part->sample = rlv_reserve(part->count, sizeof *part->sample, error)) == NULL ||
        (part->rim = rlv_reserve(part->count, 1, error)) == NULL ||
        (part->at = rlv_reserve(3 * part->count, sizeof *part->at, error)) == NULL ||
        (part->normal = rlv_reserve(3 * part->count, sizeof *part->normal, error)) == NULL ||
        (part->area_mm2 = rlv_reserve(part->count, sizeof *part->area_mm2, error)) == NULL ||
        (part->vector_mm2 = rlv_reserve(3 * part->count, sizeof *part->vector_mm2, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < s->count; i++)
    {
        const size_t to = part->of[i];
        if (to == RLV_TREE_NONE)
            continue;
        part->sample[to] = (uint32_t)i;
        part->rim[to] = sample_face[i] == 0;
        memcpy(part->at + 3 * to, s->position_mm + 3 * i, 3 * sizeof(float));
        part->area_mm2[to] = s->area_mm2[i];
    }
    for (size_t t = 0; t < part->mesh->triangle_count; t++)
    {
        if (part->outline[t] == 0)
            continue;
        const rlv_vec3 vector = rlv_mesh_twice_area(part->mesh, t);
        for (size_t k = 0; k < 3; k++)
        {
            const uint32_t of = s->of_vertex[part->mesh->corner[3 * t + k]];
            float* to = part->vector_mm2 + 3 * (size_t)(of != RLV_CUBES_NONE ? part->of[of] : 0);
            if (of == RLV_CUBES_NONE)
                continue;
            to[0] += (float)(vector.x / 6.0), to[1] += (float)(vector.y / 6.0), to[2] += (float)(vector.z / 6.0);
        }
    }
    return RLV_DONE;
}

/// The mean normal of the face around each sample; its own where there is no face around it.
static rlv_status smooth_normals(rlv_gap_part* part, rlv_error* error)
{
    float* of_face = rlv_reserve(3 * part->count, sizeof *of_face, error);
    if (of_face == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < 3 * part->count; i++)
        of_face[i] = part->rim[i / 3] == 0 ? part->sampling->normal[3 * (size_t)part->sample[i / 3] + i % 3] : NAN;
    const rlv_status status = rlv_gap_average(part->normal, part, 3, of_face, error);
    for (size_t i = 0; i < part->count && status == RLV_DONE; i++)
    {
        float* normal = part->normal + 3 * i;
        if (isnan(normal[0]))
            memcpy(normal, part->sampling->normal + 3 * (size_t)part->sample[i], 3 * sizeof *normal);
        put(normal, rlv_vec3_unit(rlv_vec3_from(normal)));
    }
    free(of_face);
    return status;
}

rlv_status rlv_gap_part_take(rlv_gap_part* part, const rlv_mesh* mesh, const rlv_tree* tree, const uint8_t* face,
                             const uint8_t* outline, const rlv_sampling* sampling, const uint8_t* sample_face,
                             rlv_error* error)
{
    part->mesh = mesh;
    part->tree = tree;
    part->face = face;
    part->outline = outline;
    part->sampling = sampling;
    rlv_status status = number_samples(part, sample_face, error);
    if (status == RLV_DONE)
        status = gather_samples(part, sample_face, error);
    if (status == RLV_DONE)
        status = rlv_cubes_build(&part->cells, part->count, part->at, NULL, RLV_REJOIN_SPOT_MM, error);
    return status == RLV_DONE ? smooth_normals(part, error) : status;
}

/// The signed way from each sample along its direction to the other part, NaN where there is none. `direction` is one
/// for all where given (in the part's coordinates, outward), and leads to all that is outlined of the other; else each
/// sample of the face looks for the other's face along its own normal.
static rlv_status cast(float* width, const rlv_gap_part* part, const rlv_gap_part* other, const rlv_pose* to_other,
                       const rlv_vec3* direction, rlv_error* error)
{
    rlv_ray* ray = rlv_reserve(2 * part->count, sizeof *ray, error);
    rlv_hit* hit = ray != NULL ? rlv_reserve(2 * part->count, sizeof *hit, error) : NULL;
    if (hit == NULL)
    {
        free(ray);
        return RLV_SYSTEM;
    }
    for (size_t i = 0; i < part->count; i++)
    {
        const rlv_vec3 at = rlv_pose_apply(to_other, rlv_vec3_from(part->at + 3 * i)),
                       n = rlv_mat3_apply(to_other->rotation,
                                          direction != NULL ? *direction : rlv_vec3_from(part->normal + 3 * i));
        for (size_t k = 0; k < 2; k++)
        {
            put(ray[2 * i + k].origin_mm, at);
            put(ray[2 * i + k].direction, rlv_vec3_scale(n, k == 0 ? 1.0 : -1.0));
            ray[2 * i + k].limit = (float)widest_mm;
        }
    }
    const uint8_t* foot = direction != NULL ? other->outline : other->face;
    const double most = direction != NULL ? 0.0 : facing;
    rlv_tree_rays(other->tree, 2 * part->count, ray, hit);
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < part->count; i++)
    {
        width[i] = NAN;
        if (direction == NULL && part->rim[i] != 0)
            continue;
        const rlv_vec3 n = rlv_vec3_from(ray[2 * i].direction);
        for (size_t k = 0; k < 2; k++)
        {
            const rlv_hit* h = hit + 2 * i + k;
            if (h->triangle == RLV_TREE_NONE || foot[h->triangle] == 0 ||
                rlv_vec3_dot(n, rlv_vec3_unit(rlv_mesh_twice_area(other->mesh, h->triangle))) > most)
                continue;
            if (isnan(width[i]) || h->distance < fabsf(width[i]))
                width[i] = k == 0 ? h->distance : -h->distance;
        }
    }
    free(hit);
    free(ray);
    return RLV_DONE;
}

void rlv_gap_widths_free(rlv_gap_widths* widths)
{
    for (int k = 0; k < 2; k++)
    {
        free(widths->raw[k]);
        free(widths->spot[k]);
        free(widths->thick[k]);
    }
    memset(widths, 0, sizeof *widths);
}

rlv_status rlv_gap_measure(rlv_gap_widths* widths, const rlv_gap_part part[2], const rlv_pose* to_block,
                           rlv_vec3 joint_normal, rlv_error* error)
{
    const rlv_pose to_piece = rlv_pose_inverse(to_block);
    rlv_status status = RLV_DONE;
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
    {
        const rlv_pose* to_other = k == 0 ? &to_piece : to_block;
        // Outward of either part along the joint's normal.
        const rlv_vec3 out =
            k == 0 ? joint_normal : rlv_mat3_apply(to_piece.rotation, rlv_vec3_scale(joint_normal, -1.0));
        float** room[3] = {&widths->raw[k], &widths->spot[k], &widths->thick[k]};
        for (int r = 0; r < 3 && status == RLV_DONE; r++)
            if ((*room[r] = rlv_reserve(part[k].count, sizeof(float), error)) == NULL)
                status = RLV_SYSTEM;
        if (status == RLV_DONE)
            status = cast(widths->raw[k], part + k, part + 1 - k, to_other, NULL, error);
        if (status == RLV_DONE)
            status = cast(widths->thick[k], part + k, part + 1 - k, to_other, &out, error);
        if (status == RLV_DONE)
            status = rlv_gap_average(widths->spot[k], part + k, 1, widths->raw[k], error);
        // A spot of a sample without a partner is beyond the common rim.
        for (size_t i = 0; i < part[k].count && status == RLV_DONE; i++)
            if (isnan(widths->raw[k][i]))
                widths->spot[k][i] = NAN;
    }
    return status;
}

// Telling

void rlv_gap_width_change(double six[6], const rlv_gap_part part[2], size_t index, const rlv_pose* to_block)
{
    const bool piece = index >= part[0].count;
    const size_t i = piece ? index - part[0].count : index;
    const rlv_vec3 own = rlv_vec3_from(part[piece].normal + 3 * i), local = rlv_vec3_from(part[piece].at + 3 * i),
                   normal = piece ? rlv_vec3_scale(rlv_mat3_apply(to_block->rotation, own), -1.0) : own,
                   at = piece ? rlv_pose_apply(to_block, local) : local;
    rlv_gap_change(six, at, normal, to_block->centre_mm);
}

/// A plane of values over the joint's plane, by least squares over the block's face.
typedef struct trend
{
    rlv_vec3 a, b; ///< axes along the joint
    double mean[3], slope[2];
} trend;

static bool find_trend(trend* t, const rlv_gap_part* block, const float* value, rlv_vec3 normal)
{
    const rlv_vec3 some = fabs(normal.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0);
    *t = (trend){.a = rlv_vec3_unit(rlv_vec3_cross(normal, some))};
    t->b = rlv_vec3_cross(normal, t->a);
    double m[9] = {0}; // sums of 1, x, y, v, xx, xy, yy, xv, yv
    for (size_t i = 0; i < block->count; i++)
    {
        if (isnan(value[i]))
            continue;
        const rlv_vec3 at = rlv_vec3_from(block->at + 3 * i);
        const double x = rlv_vec3_dot(at, t->a), y = rlv_vec3_dot(at, t->b), v = (double)value[i];
        const double term[9] = {1, x, y, v, x * x, x * y, y * y, x * v, y * v};
        for (int k = 0; k < 9; k++)
            m[k] += (double)block->area_mm2[i] * term[k];
    }
    if (!(m[0] > 0.0))
        return false;
    for (int k = 1; k < 9; k++)
        m[k] /= m[0];
    const double xx = m[4] - m[1] * m[1], xy = m[5] - m[1] * m[2], yy = m[6] - m[2] * m[2], xv = m[7] - m[1] * m[3],
                 yv = m[8] - m[2] * m[3], det = xx * yy - xy * xy;
    if (!(det > 0.0))
        return false;
    memcpy(t->mean, m + 1, sizeof t->mean);
    t->slope[0] = (yy * xv - xy * yv) / det;
    t->slope[1] = (xx * yv - xy * xv) / det;
    return true;
}

/// How the gap opens: the slope of the widths over the joint's plane.
static void tell_wedge(rlv_rejoin_gap* gap, const rlv_gap_widths* widths, const rlv_gap_part* block, rlv_vec3 normal)
{
    trend t;
    if (!find_trend(&t, block, widths->spot[0], normal))
        return;
    gap->wedge_deg = atan(hypot(t.slope[0], t.slope[1])) * 180.0 / M_PI;
    gap->wedge_towards = rlv_vec3_unit(rlv_vec3_add(rlv_vec3_scale(t.a, t.slope[0]), rlv_vec3_scale(t.b, t.slope[1])));
}

rlv_status rlv_gap_tell(rlv_rejoin_gap* gap, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                        const rlv_pose* to_block, rlv_vec3 joint_normal, double noise_mm, bool measured,
                        rlv_error* error)
{
    double place = 0.0;
    rlv_gap_volume(&gap->volume_mm3, &place, widths, part, to_block, joint_normal, noise_mm);
    tell_wedge(gap, widths, part, joint_normal);
    const rlv_status status = rlv_gap_tell_bone(gap, widths, part, to_block, noise_mm, measured, error);
    return status == RLV_DONE ? rlv_gap_tell_widths(gap, widths, part, to_block, place, noise_mm, measured, error)
                              : status;
}

/// Sums of one patch: 1, x, y, v, xx, xy, yy, xv, yv, vv for heights and for widths.
typedef struct patch_sums
{
    double height[10], width[10];
} patch_sums;

static void add_to(double m[10], double x, double y, double v, double area)
{
    const double term[10] = {1, x, y, v, x * x, x * y, y * y, x * v, y * v, v * v};
    for (int k = 0; k < 10; k++)
        m[k] += area * term[k];
}

/// What is left of a value's variance about its plane.
static double about_plane(const double m[10])
{
    const double xx = m[4] / m[0] - pow(m[1] / m[0], 2), xy = m[5] / m[0] - m[1] / m[0] * m[2] / m[0],
                 yy = m[6] / m[0] - pow(m[2] / m[0], 2), xv = m[7] / m[0] - m[1] / m[0] * m[3] / m[0],
                 yv = m[8] / m[0] - m[2] / m[0] * m[3] / m[0], vv = m[9] / m[0] - pow(m[3] / m[0], 2),
                 det = xx * yy - xy * xy;
    return det > 0.0 ? fmax(0.0, vv - (yy * xv * xv - 2.0 * xy * xv * yv + xx * yv * yv) / det) : NAN;
}

static int rising(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

rlv_status rlv_gap_fit(double* fit, double* relief_mm, const rlv_gap_widths* widths, const rlv_gap_part* block,
                       rlv_vec3 joint_normal, rlv_error* error)
{
    rlv_cubes patches = {0};
    *fit = *relief_mm = 0.0;
    rlv_status status = rlv_cubes_build(&patches, block->count, block->at, NULL, repeat_mm, error);
    patch_sums* sums = status == RLV_DONE ? rlv_reserve(patches.count, sizeof *sums, error) : NULL;
    double* ratio = sums != NULL ? rlv_reserve(2 * patches.count, sizeof *ratio, error) : NULL;
    float* height = ratio != NULL ? rlv_reserve(block->count, sizeof *height, error) : NULL;
    for (size_t i = 0; i < block->count && height != NULL; i++)
        height[i] = block->rim[i] == 0 ? (float)rlv_vec3_dot(rlv_vec3_from(block->at + 3 * i), joint_normal) : NAN;
    status = height != NULL ? rlv_gap_average(height, block, 1, height, error) : RLV_SYSTEM;
    trend axes;
    if (status == RLV_DONE && find_trend(&axes, block, height, joint_normal))
    {
        for (size_t i = 0; i < block->count; i++)
        {
            const rlv_vec3 at = rlv_vec3_from(block->at + 3 * i);
            const double x = rlv_vec3_dot(at, axes.a) - axes.mean[0], y = rlv_vec3_dot(at, axes.b) - axes.mean[1],
                         area = (double)block->area_mm2[i];
            if (isnan(widths->spot[0][i]))
                continue;
            patch_sums* to = sums + patches.of_point[i];
            add_to(to->height, x, y, (double)height[i] - axes.mean[2], area);
            add_to(to->width, x, y, (double)widths->spot[0][i], area);
        }
        double* variance = ratio + patches.count;
        size_t count = 0;
        for (size_t c = 0; c < patches.count; c++)
            if (sums[c].width[0] > 0.25 * repeat_mm * repeat_mm)
            {
                const double width = about_plane(sums[c].width), relief = about_plane(sums[c].height);
                if (!(relief > 0.0) || isnan(width))
                    continue;
                ratio[count] = width / relief;
                variance[count++] = relief;
            }
        qsort(ratio, count, sizeof *ratio, rising);
        qsort(variance, count, sizeof *variance, rising);
        *fit = count > 0 ? fmax(0.0, 1.0 - ratio[count / 2]) : 0.0;
        *relief_mm = count > 0 ? sqrt(variance[count / 2]) : 0.0;
    }
    free(height);
    free(ratio);
    free(sums);
    rlv_cubes_free(&patches);
    return status;
}

rlv_status rlv_gap_map(float** map, const rlv_gap_part* part, const float* spot, rlv_error* error)
{
    if ((*map = rlv_reserve(part->mesh->vertex_count, sizeof **map, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t v = 0; v < part->mesh->vertex_count; v++)
    {
        const uint32_t sample = part->sampling->of_vertex[v];
        const uint32_t at = sample != RLV_CUBES_NONE ? part->of[sample] : RLV_TREE_NONE;
        (*map)[v] = at != RLV_TREE_NONE ? spot[at] : NAN;
    }
    return RLV_DONE;
}
