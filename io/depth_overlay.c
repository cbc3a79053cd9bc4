#include "depth_overlay.h"

#include "paint.h"

#include <math.h>
#include <stdlib.h>

rlv_vec3 depth_side(const rlv_change* change, const rlv_mesh* before, size_t count, const rlv_vec3* towards,
                    double* unseen)
{
    rlv_vec3 sum[2] = {{0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}};
    double all = 0.0, left = 0.0;
    for (size_t i = 0; i < before->triangle_count; i++)
    {
        if (change->before_label[i] == 0)
            continue;
        const rlv_change_region* region = &change->region[change->before_label[i] - 1];
        rlv_vec3* side = &sum[rlv_change_went(region->kind) ? 0 : 1];
        rlv_vec3 area = rlv_mesh_twice_area(before, i);
        bool seen = false;
        for (size_t k = 0; k < count; k++)
            seen = seen || rlv_vec3_dot(area, towards[k]) > 0.0;
        all += rlv_vec3_length(area);
        left += seen ? 0.0 : rlv_vec3_length(area);
        if (!seen && region->area_mm2 > 0.0)
            *side = rlv_vec3_along(*side, 0.5 * fabs(region->volume_mm3.value) / region->area_mm2, area);
    }
    if (unseen != NULL)
        *unseen = all > 0.0 ? left / all : 0.0;
    return rlv_vec3_length(sum[0]) > 0.0 ? sum[0] : sum[1];
}

/// How far the vertices of AFTER that lie in changed regions are from BEFORE; positive where material went.
static rlv_status measure_depth(depth_overlay* overlay, const rlv_change* change, const rlv_mesh* before,
                                const rlv_tree* before_tree, const rlv_mesh* after, rlv_error* error)
{
    const uint16_t* label = change->after_label;
    rlv_vec3 shift = rlv_vec3_sub(after->origin_mm, before->origin_mm);
    float* query = rlv_reserve(3 * after->vertex_count, sizeof *query, error);
    rlv_nearest* nearest = query != NULL ? rlv_reserve(after->vertex_count, sizeof *nearest, error) : NULL;
    uint32_t* vertex = nearest != NULL ? rlv_reserve(after->vertex_count, sizeof *vertex, error) : NULL;
    size_t count = 0;
    for (size_t i = 0; vertex != NULL && i < 3 * after->triangle_count; i++)
    {
        uint32_t at = after->corner[i];
        if (label[i / 3] == 0 || overlay->depth_mm[at] != 0.0f)
            continue;
        rlv_vec3 place = rlv_vec3_add(shift, rlv_vec3_from(after->position_mm + 3 * (size_t)at));
        query[3 * count] = (float)place.x;
        query[3 * count + 1] = (float)place.y;
        query[3 * count + 2] = (float)place.z;
        overlay->depth_mm[at] = rlv_change_went(change->region[label[i / 3] - 1].kind) ? 1.0f : -1.0f;
        vertex[count++] = at;
    }
    if (vertex != NULL)
        rlv_tree_nearest(before_tree, count, query, INFINITY, nearest);
    for (size_t i = 0; i < count; i++)
    {
        overlay->depth_mm[vertex[i]] *= nearest[i].distance_mm;
        overlay->deepest_mm = fmax(overlay->deepest_mm, (double)nearest[i].distance_mm);
    }
    bool held = vertex != NULL;
    free(vertex);
    free(nearest);
    free(query);
    return held ? RLV_DONE : RLV_SYSTEM;
}

static void choose_shown(depth_overlay* overlay, const rlv_change* change, const rlv_mesh* after)
{
    for (size_t i = 0; i < after->triangle_count; i++)
    {
        double greatest = 0.0;
        for (size_t k = 0; k < 3; k++)
            greatest = fmax(greatest, fabs((double)overlay->depth_mm[after->corner[3 * i + k]]));
        overlay->shown[i] = change->after_label[i] == 0 ? 0 : greatest < overlay->limit_mm ? 2 : 1;
    }
}

/// What is painted cannot tell a shallow gain from a shallow loss: so near 0 both have the colour of what went. Where
/// material came, the least depth is the first that has the other colour.
static void part_from_zero(depth_overlay* overlay, const rlv_change* change, const rlv_mesh* after)
{
    const float least = (float)(1.01 * RLV_PAINT_LEAST * overlay->deepest_mm);
    for (size_t i = 0; i < 3 * after->triangle_count; i++)
    {
        uint16_t label = change->after_label[i / 3];
        float* depth = &overlay->depth_mm[after->corner[i]];
        if (label != 0 && !rlv_change_went(change->region[label - 1].kind) && *depth <= 0.0f)
            *depth = fminf(*depth, -least);
    }
}

rlv_status depth_overlay_make(depth_overlay* overlay, const rlv_change* change, const rlv_mesh* before,
                              const rlv_tree* before_tree, const rlv_mesh* after, rlv_error* error)
{
    overlay->depth_mm = rlv_reserve(after->vertex_count, sizeof *overlay->depth_mm, error);
    overlay->shown = rlv_reserve(after->triangle_count, sizeof *overlay->shown, error);
    if (overlay->depth_mm == NULL || overlay->shown == NULL)
        return RLV_SYSTEM;
    overlay->limit_mm = isfinite(change->limit[0].depth_mm) ? change->limit[0].depth_mm : 0.0;
    rlv_status status = measure_depth(overlay, change, before, before_tree, after, error);
    if (status == RLV_DONE)
    {
        choose_shown(overlay, change, after);
        part_from_zero(overlay, change, after);
    }
    return status;
}

void depth_overlay_free(depth_overlay* overlay)
{
    free(overlay->depth_mm);
    free(overlay->shown);
    *overlay = (depth_overlay){0};
}
