/// Tiles: where sums are exact, and where they are sampled.

#include "columns_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A convex polygon in the grid's frame. Room for a triangle clipped four times.
typedef struct polygon
{
    int count;
    double at_mm[7][3];
} polygon;

/// Signed volume of the prism between a convex polygon of `count` corners (three numbers each) and the middle depth:
/// above zero where it faces up and lies above.
static double prism_mm3(const double* at_mm, int count, const columns_grid* g)
{
    double sum = 0.0;
    const double* a = at_mm;
    for (int i = 2; i < count; i++)
    {
        const double *b = at_mm + 3 * (i - 1), *c = b + 3;
        sum += twice_area(a, b, c) * ((a[2] + b[2] + c[2]) / 6.0);
    }
    return g->hand * sum;
}

static void add_to_tile(columns_tiling* t, size_t tile, double volume_mm3)
{
    int64_t units = (int64_t)llrint(volume_mm3 / t->exact_unit_mm3);
    atomic_fetch_add_explicit(&t->exact[tile], units, memory_order_relaxed);
}

rlv_status columns_tiling_lay(columns_tiling* t, const columns_grid* g, size_t label_count, rlv_error* error)
{
    size_t count = tile_count(g), corners = (size_t)((g->tiles[0] + 1) * (g->tiles[1] + 1));
    // 13 bits are left for solids over one another in a tile; whatever passes them on the way to the sum wraps around.
    t->exact_unit_mm3 = ldexp(g->tile_mm * g->tile_mm * g->depth_unit_mm * DEPTH_MOST, -50);
    bool held = (t->seen = rlv_reserve(label_count > 1 ? 2 * count : 0, sizeof *t->seen, error)) != NULL &&
                (t->flag = rlv_reserve(count, sizeof *t->flag, error)) != NULL &&
                (t->sampled = rlv_reserve(count, sizeof *t->sampled, error)) != NULL &&
                (t->table = rlv_reserve(corners, sizeof *t->table, error)) != NULL &&
                (t->exact = rlv_reserve(count, sizeof *t->exact, error)) != NULL;
    return held ? RLV_DONE : RLV_SYSTEM;
}

void columns_tiling_free(columns_tiling* t)
{
    free(t->seen);
    free(t->flag);
    free(t->sampled);
    free(t->table);
    free(t->exact);
}

/// Cut off what lies below `bound` along a side (`sign` 1) or above it (-1), after I. E. Sutherland, G. W. Hodgman,
/// Reentrant polygon clipping, Communications of the ACM 17(1), 1974. An edge is cut at the same point from either end.
static void clip(polygon* p, int side, double bound, double sign)
{
    polygon kept;
    kept.count = 0;
    for (int i = 0; i < p->count; i++)
    {
        const double *a = p->at_mm[i], *b = p->at_mm[i + 1 < p->count ? i + 1 : 0];
        bool a_in = sign * (a[side] - bound) >= 0.0, b_in = sign * (b[side] - bound) >= 0.0;
        if (a_in)
            memcpy(kept.at_mm[kept.count++], a, sizeof kept.at_mm[0]);
        if (a_in == b_in)
            continue;
        const double *low = a[side] < b[side] ? a : b, *high = low == a ? b : a;
        double share = (bound - low[side]) / (high[side] - low[side]);
        for (int d = 0; d < 3; d++)
            kept.at_mm[kept.count][d] = low[d] + share * (high[d] - low[d]);
        kept.at_mm[kept.count++][side] = bound;
    }
    *p = kept;
}

/// Cut a polygon to tile `at` along a side, of the tiles `low` to `high` that it reaches there. The outermost parts are
/// not cut outwards, so that the parts always add up to the whole.
static void cut_to(polygon* p, int side, int32_t at, int32_t low, int32_t high, double side_mm)
{
    if (at > low)
        clip(p, side, (double)at * side_mm, 1.0);
    if (at < high)
        clip(p, side, (double)(at + 1) * side_mm, -1.0);
}

/// The part of a triangle in a row of tiles, of those in the box it reaches.
static polygon strip_of(const columns_triangle* t, const columns_grid* g, const columns_tile_box* box, int32_t row)
{
    polygon p;
    p.count = 3;
    memcpy(p.at_mm, t->at_mm, sizeof t->at_mm);
    cut_to(&p, 1, row, box->low[1], box->high[1], g->tile_mm);
    return p;
}

static void see_in_tile(columns_tiling* t, size_t place, uint16_t label)
{
    const uint32_t own = 1U + label;
    uint32_t seen = atomic_load_explicit(&t->seen[place], memory_order_relaxed);
    while (seen != own && seen != TILE_MIXED)
        if (atomic_compare_exchange_weak_explicit(&t->seen[place], &seen, seen == 0 ? own : TILE_MIXED,
                                                  memory_order_relaxed, memory_order_relaxed))
            return;
}

void columns_tiles_see(columns_tiling* t, const columns_grid* g, const columns_triangle* at,
                       const columns_tile_box* box, uint16_t label, bool up)
{
    for (int32_t row = box->low[1]; row <= box->high[1]; row++)
    {
        int32_t low = box->low[0], high = box->high[0];
        if (box->high[1] - box->low[1] > 1 && high - low > 1)
        {
            polygon strip = strip_of(at, g, box, row);
            if (strip.count == 0)
                continue;
            reach_along(strip.at_mm, strip.count, g, 0, &low, &high);
        }
        for (int32_t column = low; column <= high; column++)
            see_in_tile(t, 2 * (size_t)(row * g->tiles[0] + column) + up, label);
    }
}

/// Flags of a tile and of its neighbours: what was met in the columns of one may reach into the next.
static uint8_t flags_around(const columns_tiling* t, const columns_grid* g, int64_t column, int64_t row)
{
    uint8_t flags = 0;
    for (int64_t j = most(0, row - 1); j <= least(g->tiles[1] - 1, row + 1); j++)
        for (int64_t i = most(0, column - 1); i <= least(g->tiles[0] - 1, column + 1); i++)
            flags |= t->flag[j * g->tiles[0] + i];
    return flags;
}

void columns_tiles_choose(columns_tiling* t, const columns_grid* g, size_t label_count)
{
#pragma omp parallel for schedule(static) if (tile_count(g) > CHUNK_LEAST)
    for (int64_t row = 0; row < g->tiles[1]; row++)
        for (int64_t column = 0; column < g->tiles[0]; column++)
        {
            size_t tile = (size_t)(row * g->tiles[0] + column);
            t->sampled[tile] = flags_around(t, g, column, row);
            if (label_count > 1 && (t->seen[2 * tile] == TILE_MIXED || t->seen[2 * tile + 1] == TILE_MIXED))
                t->sampled[tile] |= TILE_LABELS_MIX;
        }
    const size_t width = (size_t)g->tiles[0] + 1;
    for (size_t row = 0; row < (size_t)g->tiles[1]; row++)
        for (size_t column = 0, count = 0; column < (size_t)g->tiles[0]; column++)
        {
            count += t->sampled[row * (width - 1) + column] != 0;
            t->table[(row + 1) * width + column + 1] = t->table[row * width + column + 1] + (uint32_t)count;
        }
}

double columns_tiles_sum(columns_tiling* t, const columns_grid* g, const columns_triangle* at,
                         const columns_tile_box* box, double sign)
{
    if (box->low[0] == box->high[0] && box->low[1] == box->high[1])
    {
        double volume = prism_mm3(at->at_mm[0], 3, g); // whole in one tile, as most are
        add_to_tile(t, (size_t)(box->low[1] * g->tiles[0] + box->low[0]), sign * volume);
        return volume;
    }
    double sum = 0.0;
    for (int32_t row = box->low[1]; row <= box->high[1]; row++)
    {
        const columns_tile_box tiles = {{box->low[0], row}, {box->high[0], row}};
        if (!any_sampled(t, g, &tiles))
            continue;
        polygon strip = strip_of(at, g, box, row);
        if (strip.count == 0)
            continue;
        int32_t low, high;
        reach_along(strip.at_mm, strip.count, g, 0, &low, &high);
        for (int32_t column = low; column <= high; column++)
        {
            size_t tile = (size_t)(row * g->tiles[0] + column);
            if (t->sampled[tile] == 0)
                continue;
            polygon piece = strip;
            cut_to(&piece, 0, column, low, high, g->tile_mm);
            double volume = prism_mm3(piece.at_mm[0], piece.count, g);
            add_to_tile(t, tile, sign * volume);
            sum += volume;
        }
    }
    return sum;
}
