#include "pockets.h"

#include "cubes.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum
{
    NEAR = 2, // correlation lengths beyond a pocket that are not trusted as having held still
    UNREACHED = UINT8_MAX,
};

/// The samples of both stages as one list, and the cells of one correlation length that steps along the surface are
/// counted in.
typedef struct ground
{
    const rlv_depths* depths[2];
    uint16_t* label[2];
    uint8_t* near[2];
    size_t count;
    float* position_mm;
    uint8_t* part;
    rlv_cubes cells;
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
    const rlv_status status = rlv_cubes_build(&g->cells, g->count, g->position_mm, g->part, length_mm, error);
    const size_t cells = g->cells.count;
    if (status != RLV_DONE || (g->region = rlv_reserve(cells, sizeof *g->region, error)) == NULL ||
        (g->outward = rlv_reserve(cells, 1, error)) == NULL || (g->inward = rlv_reserve(cells, 1, error)) == NULL ||
        (g->waiting = rlv_reserve(cells, sizeof *g->waiting, error)) == NULL)
        return status != RLV_DONE ? status : RLV_SYSTEM;
    return RLV_DONE;
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
    for (size_t next = 0; next < count; next++)
    {
        const uint32_t cell = g->waiting[next];
        for (int step = 0; step < 27 && g->outward[cell] < RLV_POCKET_LENGTHS; step++)
        {
            const uint32_t other = beside(g, cell, step);
            if (other == RLV_CUBES_NONE || g->outward[other] != UNREACHED)
                continue;
            g->outward[other] = g->outward[cell] + 1;
            g->region[other] = g->region[cell];
            g->waiting[count++] = other;
        }
    }
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
    for (size_t next = 0; next < count; next++)
    {
        const uint32_t cell = g->waiting[next];
        for (int step = 0; step < 27 && g->inward[cell] <= RLV_POCKET_LENGTHS; step++)
        {
            const uint32_t other = beside(g, cell, step);
            if (other == RLV_CUBES_NONE || g->inward[other] != UNREACHED || g->region[other] != g->region[cell])
                continue;
            g->inward[other] = g->inward[cell] + 1;
            g->waiting[count++] = other;
        }
    }
}

/// Steps to the nearest pocket from cells around it, over `inward`, which is done with: 0 in a pocket.
static void mark_pockets(ground* g)
{
    size_t count = 0;
    for (size_t c = 0; c < g->cells.count; c++)
    {
        const bool pocket = g->region[c] != 0 && g->outward[c] > 0 && g->inward[c] > RLV_POCKET_LENGTHS;
        g->inward[c] = pocket ? 0 : UNREACHED;
        if (pocket)
            g->waiting[count++] = (uint32_t)c;
    }
    for (size_t next = 0; next < count; next++)
    {
        const uint32_t cell = g->waiting[next];
        for (int step = 0; step < 27 && g->inward[cell] < NEAR; step++)
        {
            const uint32_t other = beside(g, cell, step);
            if (other == RLV_CUBES_NONE || g->inward[other] != UNREACHED)
                continue;
            g->inward[other] = g->inward[cell] + 1;
            g->waiting[count++] = other;
        }
    }
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

rlv_status rlv_pockets_close(rlv_regions* regions, const rlv_depths* before, const rlv_depths* after, rlv_error* error)
{
    if (regions->count == 0)
        return RLV_DONE;
    ground g = {.depths = {before, after},
                .label = {regions->before, regions->after},
                .near = {regions->before_near, regions->after_near}};
    const rlv_status status = lay_ground(&g, regions->noise.length_mm, error);
    if (status == RLV_DONE)
    {
        grow(&g, regions);
        shrink(&g);
        mark_pockets(&g);
        label_pockets(&g);
    }
    free_ground(&g);
    return status;
}
