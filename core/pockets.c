#include "pockets.h"

#include "cubes.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum
{
    NEAR = 2,    // correlation lengths beyond a pocket that are not trusted as having held still
    CLUSTER = 8, // correlation lengths along the side of a cluster
    UNREACHED = UINT8_MAX,
};

/// The samples of both stages as one list, and the cells of one correlation length that steps along the surface are
/// counted in.
typedef struct ground
{
    const rlv_depths* depths[2];
    const rlv_sampling* sampling[2];
    uint16_t* label[2];
    uint8_t* near[2];
    size_t count;
    float* position_mm;
    uint8_t* part;
    rlv_cubes cells, clusters;
    uint16_t* region;  ///< one a cell: the region that it is of, or lies nearest to
    uint8_t* outward;  ///< one a cell: steps from that region
    uint8_t* inward;   ///< one a cell: steps from where regions grown as far as pockets are wide end
    uint32_t* waiting; ///< one a cell
} ground;

static void free_ground(ground* g)
{
    free(g->position_mm);
    free(g->part);
    rlv_cubes_free(&g->cells);
    rlv_cubes_free(&g->clusters);
    free(g->region);
    free(g->outward);
    free(g->inward);
    free(g->waiting);
}

/// Which stage a sample of the list is of; its number there replaces that in the list.
static int stage_of(const ground* g, uint32_t* i)
{
    if (*i < g->depths[0]->count)
        return 0;
    *i -= (uint32_t)g->depths[0]->count;
    return 1;
}

static rlv_status lay_ground(ground* g, double length_mm, rlv_error* error)
{
    g->count = g->depths[0]->count + g->depths[1]->count;
    if ((g->position_mm = rlv_reserve(3 * g->count, sizeof(float), error)) == NULL ||
        (g->part = rlv_reserve(g->count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t k = 0, to = 0; k < 2; to += g->depths[k++]->count)
    {
        memcpy(g->position_mm + 3 * to, g->depths[k]->position_mm, 3 * g->depths[k]->count * sizeof(float));
        if (g->depths[k]->part != NULL)
            memcpy(g->part + to, g->depths[k]->part, g->depths[k]->count);
    }
    rlv_status status = rlv_cubes_build(&g->cells, g->count, g->position_mm, g->part, length_mm, error);
    if (status == RLV_DONE)
        status = rlv_cubes_build(&g->clusters, g->count, g->position_mm, NULL, CLUSTER * length_mm, error);
    const size_t cells = g->cells.count;
    if (status == RLV_DONE &&
        ((g->region = rlv_reserve(cells, sizeof *g->region, error)) == NULL ||
         (g->outward = rlv_reserve(cells, 1, error)) == NULL || (g->inward = rlv_reserve(cells, 1, error)) == NULL ||
         (g->waiting = rlv_reserve(cells, sizeof *g->waiting, error)) == NULL))
        status = RLV_SYSTEM;
    return status;
}

/// The label of a cell: that of its first sample that has one, of a region that may have pockets.
static uint16_t label_of_cell(const ground* g, const rlv_regions* regions, size_t cell)
{
    for (uint32_t m = g->cells.start[cell]; m < g->cells.start[cell + 1]; m++)
    {
        uint32_t i = g->cells.member[m];
        const bool rock = g->part[i] == 0;
        const uint16_t label = g->label[stage_of(g, &i)][i];
        if (rock && label != 0 && regions->part[label - 1] == 0)
            return label;
    }
    return 0;
}

static uint32_t beside(const ground* g, uint32_t cell, int step)
{
    const int to[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
    return rlv_cubes_near(&g->cells, cell, to);
}

/// Count steps along the surface from the first `count` cells of `waiting`, whose own are set, to at most `most`:
/// `steps` is one a cell, UNREACHED where none came yet. A cell that is come to takes over its region; `within` one, no
/// step leads to another.
static void flood(ground* g, size_t count, uint8_t* steps, uint8_t most, bool within)
{
    for (size_t next = 0; next < count; next++)
    {
        const uint32_t cell = g->waiting[next];
        for (int step = 0; step < 27 && steps[cell] < most; step++)
        {
            const uint32_t other = beside(g, cell, step);
            if (other == RLV_CUBES_NONE || steps[other] != UNREACHED || (within && g->region[other] != g->region[cell]))
                continue;
            steps[other] = (uint8_t)(steps[cell] + 1);
            g->region[other] = g->region[cell];
            g->waiting[count++] = other;
        }
    }
}

/// Grow all regions at once, a step at a time: each cell goes to the first that comes to it.
static void grow(ground* g, const rlv_regions* regions)
{
    size_t count = 0;
    for (size_t c = 0; c < g->cells.count; c++)
    {
        g->region[c] = label_of_cell(g, regions, c);
        g->outward[c] = g->region[c] != 0 ? 0 : UNREACHED;
        if (g->region[c] != 0)
            g->waiting[count++] = (uint32_t)c;
    }
    flood(g, count, g->outward, RLV_POCKET_LENGTHS, false);
}

/// Whether what a region has grown to ends at a cell: beside it lies what none has come to, or another.
static bool is_edge(const ground* g, uint32_t cell)
{
    for (int step = 0; step < 27; step++)
    {
        const uint32_t other = beside(g, cell, step);
        if (other != RLV_CUBES_NONE && g->region[other] != g->region[cell])
            return true;
    }
    return false;
}

/// Count the steps back from where the grown regions end.
static void shrink(ground* g)
{
    size_t count = 0;
    for (size_t c = 0; c < g->cells.count; c++)
    {
        const bool edge = g->region[c] != 0 && is_edge(g, (uint32_t)c);
        g->inward[c] = edge ? 1 : UNREACHED;
        if (edge)
            g->waiting[count++] = (uint32_t)c;
    }
    flood(g, count, g->inward, RLV_POCKET_LENGTHS, true);
}

static bool is_pocket(const ground* g, size_t cell)
{
    return g->region[cell] != 0 && g->outward[cell] > 0 && g->inward[cell] > RLV_POCKET_LENGTHS;
}

/// What the pockets of one region hold in one cluster of surface.
typedef struct share
{
    uint16_t region;
    uint32_t cluster;
    double area_mm2, depth_mm3;
} share;

static share share_of(const ground* g, size_t cell)
{
    share s = {.region = g->region[cell], .cluster = g->clusters.of_point[g->cells.member[g->cells.start[cell]]]};
    for (uint32_t m = g->cells.start[cell]; m < g->cells.start[cell + 1]; m++)
    {
        uint32_t i = g->cells.member[m];
        const int k = stage_of(g, &i);
        if (g->label[k][i] != 0 || isnan(g->depths[k]->depth_mm[i]))
            continue;
        s.area_mm2 += (double)g->sampling[k]->area_mm2[i];
        s.depth_mm3 += (double)g->sampling[k]->area_mm2[i] * (double)g->depths[k]->depth_mm[i];
    }
    return s;
}

static int by_region_and_cluster(const void* a, const void* b)
{
    const share *x = a, *y = b;
    if (x->region != y->region)
        return x->region < y->region ? -1 : 1;
    return (x->cluster > y->cluster) - (x->cluster < y->cluster);
}

/// Whether a region's pockets changed its way on the whole.
static bool went_along(const share* s, size_t count, int sign)
{
    double area = 0.0, depth = 0.0, off2 = 0.0;
    for (size_t i = 0; i < count; i++)
        area += s[i].area_mm2, depth += s[i].depth_mm3;
    for (size_t i = 0, next; i < count; i = next)
    {
        double off = 0.0;
        for (next = i; next < count && s[next].cluster == s[i].cluster; next++)
            off += s[next].depth_mm3 - depth / area * s[next].area_mm2;
        off2 += off * off;
    }
    return sign * depth > RLV_POCKET_SD * sqrt(off2);
}

/// Mark the regions whose pockets changed their way: one a region in `along`.
static rlv_status judge_pockets(const ground* g, const rlv_regions* regions, uint8_t* along, rlv_error* error)
{
    size_t count = 0;
    share* list = rlv_reserve(g->cells.count, sizeof *list, error);
    if (list == NULL)
        return RLV_SYSTEM;
    for (size_t c = 0; c < g->cells.count; c++)
    {
        const share s = is_pocket(g, c) ? share_of(g, c) : (share){0};
        if (s.area_mm2 > 0.0)
            list[count++] = s;
    }
    qsort(list, count, sizeof *list, by_region_and_cluster);
    for (size_t i = 0, next; i < count; i = next)
    {
        for (next = i; next < count && list[next].region == list[i].region; next++)
            ;
        along[list[i].region - 1] = went_along(list + i, next - i, regions->sign[list[i].region - 1]);
    }
    free(list);
    return RLV_DONE;
}

/// Steps to the nearest pocket from cells around it, over `inward`, which is done with: 0 in a pocket.
static void mark_pockets(ground* g, const uint8_t* along)
{
    size_t count = 0;
    for (size_t c = 0; c < g->cells.count; c++)
    {
        const bool pocket = is_pocket(g, c) && along[g->region[c] - 1];
        g->inward[c] = pocket ? 0 : UNREACHED;
        if (pocket)
            g->waiting[count++] = (uint32_t)c;
    }
    flood(g, count, g->inward, NEAR, false);
}

static void label_pockets(ground* g)
{
    for (size_t p = 0; p < g->count; p++)
    {
        const uint32_t cell = g->cells.of_point[p];
        uint32_t i = (uint32_t)p;
        const int k = stage_of(g, &i);
        if (g->inward[cell] == 0 && g->label[k][i] == 0 && g->part[p] == 0)
            g->label[k][i] = g->region[cell];
        g->near[k][i] |= g->inward[cell] <= NEAR;
    }
}

rlv_status rlv_pockets_close(rlv_regions* regions, const rlv_depths* before, const rlv_sampling* before_sampling,
                             const rlv_depths* after, const rlv_sampling* after_sampling, rlv_error* error)
{
    if (regions->count == 0)
        return RLV_DONE;
    ground g = {.depths = {before, after},
                .sampling = {before_sampling, after_sampling},
                .label = {regions->before, regions->after},
                .near = {regions->before_near, regions->after_near}};
    uint8_t* along = rlv_reserve(regions->count, 1, error);
    rlv_status status = along != NULL ? lay_ground(&g, regions->noise.length_mm, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        grow(&g, regions);
        shrink(&g);
        status = judge_pockets(&g, regions, along, error);
    }
    if (status == RLV_DONE)
    {
        mark_pockets(&g, along);
        label_pockets(&g);
    }
    free(along);
    free_ground(&g);
    return status;
}
