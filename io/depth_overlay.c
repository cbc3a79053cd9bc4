#include "depth_overlay.h"

#include "paint.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

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
        if (!seen && region->area_mm2.value > 0.0)
            *side = rlv_vec3_along(*side, 0.5 * fabs(region->volume_mm3.value) / region->area_mm2.value, area);
    }
    if (unseen != NULL)
        *unseen = all > 0.0 ? left / all : 0.0;
    return rlv_vec3_length(sum[0]) > 0.0 ? sum[0] : sum[1];
}

/// An overlay while it is measured.
typedef struct measuring
{
    depth_overlay* overlay;
    const rlv_change* change;
    const rlv_mesh *before, *after;
    const rlv_tree* tree; ///< of BEFORE
    rlv_vec3 shift;       ///< from AFTER's local coordinates to BEFORE's
} measuring;

static void put_place(const measuring* m, size_t vertex, float query[3])
{
    rlv_vec3 place = rlv_vec3_add(m->shift, rlv_vec3_from(m->after->position_mm + 3 * vertex));
    query[0] = (float)place.x;
    query[1] = (float)place.y;
    query[2] = (float)place.z;
}

/// How far the vertices of AFTER that lie in changed regions are from BEFORE; positive where material went.
static rlv_status measure_depth(measuring* m, rlv_error* error)
{
    depth_overlay* overlay = m->overlay;
    const rlv_mesh* after = m->after;
    const uint16_t* label = m->change->after_label;
    float* query = rlv_reserve(3 * after->vertex_count, sizeof *query, error);
    rlv_nearest* nearest = query != NULL ? rlv_reserve(after->vertex_count, sizeof *nearest, error) : NULL;
    uint32_t* vertex = nearest != NULL ? rlv_reserve(after->vertex_count, sizeof *vertex, error) : NULL;
    size_t count = 0;
    for (size_t i = 0; vertex != NULL && i < 3 * after->triangle_count; i++)
    {
        uint32_t at = after->corner[i];
        if (label[i / 3] == 0 || overlay->depth_mm[at] != 0.0f)
            continue;
        put_place(m, at, query + 3 * count);
        overlay->depth_mm[at] = rlv_change_went(m->change->region[label[i / 3] - 1].kind) ? 1.0f : -1.0f;
        vertex[count++] = at;
    }
    if (vertex != NULL)
        rlv_tree_nearest(m->tree, count, query, INFINITY, nearest);
    for (size_t i = 0; i < count; i++)
        overlay->depth_mm[vertex[i]] *= nearest[i].distance_mm;
    bool held = vertex != NULL;
    free(vertex);
    free(nearest);
    free(query);
    return held ? RLV_DONE : RLV_SYSTEM;
}

enum
{
    LOOKS = 6 ///< directions in which a place looks for BEFORE's surface
};

/// Whether a place lies inside BEFORE: of rays to all sides, most meet its surface first from within. The triangle that
/// is nearest does not tell under an overhang, where it is the edge of one.
static bool is_inside(const measuring* m, const float place[3])
{
    // Along the axes, and off them by odd amounts, so that no ray runs along a face of something square.
    static const float way[LOOKS][3] = {{1.0f, 0.13f, 0.07f},   {-1.0f, 0.11f, -0.09f}, {0.07f, 1.0f, 0.13f},
                                        {-0.09f, -1.0f, 0.11f}, {0.13f, 0.07f, 1.0f},   {0.11f, -0.09f, -1.0f}};
    rlv_ray ray[LOOKS];
    rlv_hit hit[LOOKS];
    int within = 0;
    for (size_t i = 0; i < LOOKS; i++)
    {
        ray[i].limit = INFINITY;
        memcpy(ray[i].origin_mm, place, sizeof ray[i].origin_mm);
        memcpy(ray[i].direction, way[i], sizeof ray[i].direction);
    }
    rlv_tree_rays(m->tree, LOOKS, ray, hit);
    for (size_t i = 0; i < LOOKS; i++)
        within += isfinite(hit[i].distance) &&
                  rlv_vec3_dot(rlv_vec3_from(way[i]), rlv_mesh_twice_area(m->before, hit[i].triangle)) > 0.0;
    return 2 * within > LOOKS;
}

/// The distance of a vertex from BEFORE: positive inside it, negative outside; 0 under the limit, on whichever side.
static float signed_distance(const measuring* m, size_t vertex)
{
    float query[3];
    rlv_nearest nearest;
    put_place(m, vertex, query);
    rlv_tree_nearest(m->tree, 1, query, INFINITY, &nearest);
    if (nearest.triangle == RLV_TREE_NONE || !((double)nearest.distance_mm >= m->overlay->limit_mm))
        return 0.0f;
    return is_inside(m, query) ? nearest.distance_mm : -nearest.distance_mm;
}

/// Holes while they are filled: of each vertex the region that it belongs to, and its distance where that was measured.
typedef struct filling
{
    uint16_t* owner;
    float* distance; ///< NaN: not measured yet
} filling;

/// Whether a triangle of no region lies in the hole of one that its corners touch; which one.
static uint16_t hole_of(const measuring* m, const filling* f, const uint32_t* corner)
{
    uint16_t region = 0;
    for (size_t k = 0; k < 3; k++)
        region = region == 0 ? f->owner[corner[k]] : region;
    if (region == 0)
        return 0;
    float side = rlv_change_went(m->change->region[region - 1].kind) ? 1.0f : -1.0f;
    for (size_t k = 0; k < 3; k++)
    {
        float* distance = &f->distance[corner[k]];
        if (isnan(*distance))
            *distance = signed_distance(m, corner[k]);
        if (!((double)(side * *distance) >= m->overlay->limit_mm))
            return 0;
    }
    return region;
}

/// Sweep to and fro over the triangles until no hole grows.
static void fill_holes(const measuring* m, const filling* f)
{
    const rlv_mesh* after = m->after;
    uint16_t* label = m->overlay->label;
    bool grown = true;
    for (int sweep = 0; grown; sweep++)
    {
        grown = false;
        for (size_t i = 0; i < after->triangle_count; i++)
        {
            size_t t = sweep % 2 == 0 ? i : after->triangle_count - 1 - i;
            const uint32_t* corner = after->corner + 3 * t;
            uint16_t region = label[t] == 0 ? hole_of(m, f, corner) : 0;
            if (region == 0)
                continue;
            grown = true;
            label[t] = region;
            for (size_t k = 0; k < 3; k++)
            {
                f->owner[corner[k]] = region;
                if (m->overlay->depth_mm[corner[k]] == 0.0f)
                    m->overlay->depth_mm[corner[k]] = f->distance[corner[k]];
            }
        }
    }
}

static rlv_status find_holes(measuring* m, rlv_error* error)
{
    const rlv_mesh* after = m->after;
    filling f = {rlv_reserve(after->vertex_count, sizeof *f.owner, error), NULL};
    if (f.owner != NULL)
        f.distance = rlv_reserve(after->vertex_count, sizeof *f.distance, error);
    if (f.distance != NULL)
    {
        for (size_t i = 0; i < after->vertex_count; i++)
            f.distance[i] = NAN;
        for (size_t i = 0; i < 3 * after->triangle_count; i++)
            if (m->overlay->label[i / 3] != 0)
                f.owner[after->corner[i]] = m->overlay->label[i / 3];
        fill_holes(m, &f);
    }
    bool held = f.distance != NULL;
    free(f.owner);
    free(f.distance);
    return held ? RLV_DONE : RLV_SYSTEM;
}

static void choose_shown(const measuring* m)
{
    depth_overlay* overlay = m->overlay;
    for (size_t i = 0; i < m->after->triangle_count; i++)
    {
        double greatest = 0.0;
        for (size_t k = 0; k < 3; k++)
            greatest = fmax(greatest, fabs((double)overlay->depth_mm[m->after->corner[3 * i + k]]));
        overlay->shown[i] = overlay->label[i] == 0 ? 0 : greatest < overlay->limit_mm ? 2 : 1;
        if (overlay->label[i] != 0)
            overlay->deepest_mm = fmax(overlay->deepest_mm, greatest);
    }
}

/// Patches of coloured triangles that hang together by their corners.
typedef struct patches
{
    uint32_t* to;     ///< one a vertex: a vertex of the same patch, itself at the root of it
    double* area_mm2; ///< one a vertex: of the patch, at its root
    double* most_mm2; ///< one a region: of its largest patch
} patches;

static uint32_t root_of(const patches* p, uint32_t vertex)
{
    while (p->to[vertex] != vertex)
        vertex = p->to[vertex] = p->to[p->to[vertex]];
    return vertex;
}

static void join_patches(const measuring* m, const patches* p)
{
    const rlv_mesh* after = m->after;
    for (size_t v = 0; v < after->vertex_count; v++)
        p->to[v] = (uint32_t)v;
    for (size_t t = 0; t < after->triangle_count; t++)
        for (size_t k = 1; k < 3 && m->overlay->shown[t] == 1; k++)
            p->to[root_of(p, after->corner[3 * t + k])] = root_of(p, after->corner[3 * t]);
    for (size_t t = 0; t < after->triangle_count; t++)
    {
        if (m->overlay->shown[t] != 1)
            continue;
        double* area = &p->area_mm2[root_of(p, after->corner[3 * t])];
        double* most = &p->most_mm2[m->overlay->label[t]];
        *area += 0.5 * rlv_vec3_length(rlv_mesh_twice_area(after, t));
        *most = fmax(*most, *area);
    }
}

/// A patch that is smaller than the least that is told from noise is hatched, however deep: a speck of a scan's noise
/// looks no other. The largest of each region stays, that no region that is told goes without its colour.
static rlv_status hatch_specks(const measuring* m, rlv_error* error)
{
    const rlv_mesh* after = m->after;
    const double least_mm2 = m->change->limit[0].area_mm2;
    patches p = {rlv_reserve(after->vertex_count, sizeof *p.to, error), NULL, NULL};
    if (p.to != NULL)
        p.area_mm2 = rlv_reserve(after->vertex_count, sizeof *p.area_mm2, error);
    if (p.area_mm2 != NULL)
        p.most_mm2 = rlv_reserve(m->change->region_count + 1, sizeof *p.most_mm2, error);
    const bool held = p.most_mm2 != NULL;
    if (held)
        join_patches(m, &p);
    for (size_t t = 0; held && t < after->triangle_count; t++)
    {
        const double area = m->overlay->shown[t] == 1 ? p.area_mm2[root_of(&p, after->corner[3 * t])] : INFINITY;
        if (area < least_mm2 && area < p.most_mm2[m->overlay->label[t]])
            m->overlay->shown[t] = 2;
    }
    free(p.to);
    free(p.area_mm2);
    free(p.most_mm2);
    return held ? RLV_DONE : RLV_SYSTEM;
}

/// The least round number that is no less than a depth, but for a thousandth of it.
static double round_end(double depth_mm)
{
    static const double round[] = {1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0};
    if (!(depth_mm > 0.0) || !isfinite(depth_mm))
        return 0.0;
    const double power = pow(10.0, floor(log10(depth_mm)));
    size_t i = 0;
    while (i + 1 < sizeof round / sizeof round[0] && round[i] * power < depth_mm * (1.0 - 1e-3))
        i++;
    return round[i] * power;
}

enum
{
    BINS = 4096 ///< of the depths, up to the deepest
};

/// Where colours end: a round depth that SHARE of the coloured area does not pass, so that one deep corner does not
/// leave all else the palest of them.
static double colour_end(const measuring* m)
{
    const depth_overlay* overlay = m->overlay;
    double bin[BINS] = {0.0}, all = 0.0, below = 0.0;
    for (size_t t = 0; t < m->after->triangle_count; t++)
    {
        if (overlay->shown[t] != 1)
            continue;
        double greatest = 0.0;
        for (size_t k = 0; k < 3; k++)
            greatest = fmax(greatest, fabs((double)overlay->depth_mm[m->after->corner[3 * t + k]]));
        const double area = rlv_vec3_length(rlv_mesh_twice_area(m->after, t));
        bin[(size_t)fmin(BINS * greatest / overlay->deepest_mm, BINS - 1)] += area;
        all += area;
    }
    size_t i = 0;
    while (i < BINS && (below += bin[i]) < DEPTH_OVERLAY_SHARE * all)
        i++;
    return round_end(overlay->deepest_mm * fmin((double)(i + 1) / BINS, 1.0));
}

/// What is painted cannot tell a shallow gain from a shallow loss: so near 0 both have the colour of what went. Where
/// material came, the least depth is the first that has the other colour.
static void part_from_zero(const measuring* m)
{
    depth_overlay* overlay = m->overlay;
    const float least = (float)(1.01 * RLV_PAINT_LEAST * overlay->end_mm);
    for (size_t i = 0; i < 3 * m->after->triangle_count; i++)
    {
        uint16_t label = overlay->label[i / 3];
        float* depth = &overlay->depth_mm[m->after->corner[i]];
        if (label != 0 && !rlv_change_went(m->change->region[label - 1].kind) && *depth <= 0.0f)
            *depth = fminf(*depth, -least);
    }
}

rlv_status depth_overlay_make(depth_overlay* overlay, const rlv_change* change, const rlv_mesh* before,
                              const rlv_tree* before_tree, const rlv_mesh* after, rlv_error* error)
{
    measuring m = {overlay, change, before, after, before_tree, rlv_vec3_sub(after->origin_mm, before->origin_mm)};
    overlay->depth_mm = rlv_reserve(after->vertex_count, sizeof *overlay->depth_mm, error);
    overlay->shown = rlv_reserve(after->triangle_count, sizeof *overlay->shown, error);
    overlay->label = rlv_reserve(after->triangle_count, sizeof *overlay->label, error);
    if (overlay->depth_mm == NULL || overlay->shown == NULL || overlay->label == NULL)
        return RLV_SYSTEM;
    memcpy(overlay->label, change->after_label, after->triangle_count * sizeof *overlay->label);
    overlay->limit_mm = isfinite(change->limit[0].depth_mm) ? change->limit[0].depth_mm : 0.0;
    rlv_status status = measure_depth(&m, error);
    if (status == RLV_DONE && overlay->limit_mm > 0.0)
        status = find_holes(&m, error);
    if (status != RLV_DONE)
        return status;
    choose_shown(&m);
    status = hatch_specks(&m, error);
    overlay->end_mm = colour_end(&m);
    part_from_zero(&m);
    return status;
}

void depth_overlay_free(depth_overlay* overlay)
{
    free(overlay->depth_mm);
    free(overlay->shown);
    free(overlay->label);
    *overlay = (depth_overlay){0};
}
