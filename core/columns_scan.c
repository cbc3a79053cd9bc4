/// Scan conversion with the edge functions of J. Pineda, A parallel algorithm for polygon rasterization, SIGGRAPH 1988.

#include "columns_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// A triangle on the sub-grid, counter-clockwise. Sample (i, j) is at (i, j) << sub_bits.
typedef struct flat_triangle
{
    int64_t x[3], y[3];
    double depth[3]; ///< in depth units, above the low end
    int64_t area;    ///< twice its area, above zero
    uint64_t mark;   ///< what its crossings share
} flat_triangle;

/// Lay a triangle on the sub-grid; false where it has no area there.
static bool flatten(flat_triangle* flat, const columns_surface* s, const columns_grid* g, size_t index, int mesh)
{
    const columns_triangle t = triangle_at(s, g, index);
    const double depth_scale = 1.0 / g->depth_unit_mm;
    for (int i = 0; i < 3; i++)
    {
        flat->x[i] = snap(g, t.at_mm[i][0]);
        flat->y[i] = snap(g, t.at_mm[i][1]);
        flat->depth[i] = t.at_mm[i][2] * depth_scale + 0.5 * DEPTH_MOST;
    }
    flat->area =
        (flat->x[1] - flat->x[0]) * (flat->y[2] - flat->y[0]) - (flat->y[1] - flat->y[0]) * (flat->x[2] - flat->x[0]);
    flat->mark = (mesh != 0 ? CROSSING_SECOND : 0) | label_of(s, index);
    if ((flat->area > 0) == (g->hand > 0.0))
        flat->mark |= CROSSING_LEAVES;
    if (flat->area < 0)
    {
        int64_t x = flat->x[1], y = flat->y[1];
        double depth = flat->depth[1];
        flat->x[1] = flat->x[2], flat->y[1] = flat->y[2], flat->depth[1] = flat->depth[2];
        flat->x[2] = x, flat->y[2] = y, flat->depth[2] = depth;
        flat->area = -flat->area;
    }
    return flat->area != 0;
}

/// Double a worker's room for crossings.
static bool widen(columns_worker* w)
{
    size_t room = w->crossing_room == 0 ? 65536 : 2 * w->crossing_room;
    crossing* key = realloc(w->key, room * sizeof *key);
    if (key != NULL)
        w->key = key;
    uint32_t* cell = realloc(w->cell, room * sizeof *cell);
    if (cell != NULL)
        w->cell = cell;
    if (key == NULL || cell == NULL)
        return false;
    w->crossing_room = room;
    return true;
}

/// The three edge functions of a triangle, as whole numbers; edge i lies opposite corner i.
/// A sample belongs where all three are at least `need`. Samples on an edge go to one side of it, as if all samples
/// were moved by (-e, -e^2) for an e as small as can be: of the two directions of an edge one needs 0, the other 1.
typedef struct edges
{
    int64_t value[3];  ///< at the first sample of the row
    int64_t across[3]; ///< what a step to the next sample in the row adds
    int64_t up[3];     ///< what a step to the next row adds
    int64_t need[3];
} edges;

static void lay_edges(edges* e, const flat_triangle* flat, int64_t column, int64_t row, int bits)
{
    for (int i = 0; i < 3; i++)
    {
        int a = (i + 1) % 3, b = (i + 2) % 3;
        int64_t dx = flat->x[b] - flat->x[a], dy = flat->y[b] - flat->y[a];
        e->value[i] = dx * ((row << bits) - flat->y[a]) - dy * ((column << bits) - flat->x[a]);
        e->across[i] = -dy * ((int64_t)1 << bits);
        e->up[i] = dx * ((int64_t)1 << bits);
        e->need[i] = dy > 0 || (dy == 0 && dx < 0) ? 0 : 1;
    }
}

static int64_t floor_divide(int64_t a, int64_t b)
{
    int64_t q = a / b;
    return q - (a % b != 0 && (a < 0) != (b < 0));
}

/// Narrow the samples `span[0]` to `span[1]` of a row to those inside the triangle.
static void narrow(const edges* e, int64_t span[2])
{
    for (int i = 0; i < 3; i++)
    {
        int64_t spare = e->value[i] - e->need[i];
        if (e->across[i] > 0)
            span[0] = most(span[0], -floor_divide(spare, e->across[i]));
        else if (e->across[i] < 0)
            span[1] = least(span[1], floor_divide(spare, -e->across[i]));
        else if (spare < 0)
            span[1] = span[0] - 1;
    }
}

bool columns_scan(columns_worker* w, const columns_surface* s, const columns_grid* g, size_t index, int mesh,
                  int64_t row, int64_t row_end)
{
    flat_triangle f;
    if (!flatten(&f, s, g, index, mesh))
        return true;
    const flat_triangle* flat = &f;
    int64_t low = most(0, ceil_shift(least(flat->x[0], least(flat->x[1], flat->x[2])), g->sub_bits));
    int64_t high = least(g->size[0] - 1, most(flat->x[0], most(flat->x[1], flat->x[2])) >> g->sub_bits);
    int64_t from = most(row, ceil_shift(least(flat->y[0], least(flat->y[1], flat->y[2])), g->sub_bits));
    int64_t to = least(row_end - 1, most(flat->y[0], most(flat->y[1], flat->y[2])) >> g->sub_bits);
    if (low > high || from > to)
        return true;
    edges e;
    lay_edges(&e, flat, low, from, g->sub_bits);
    const double share = 1.0 / (double)flat->area;
    for (int64_t j = from; j <= to; j++)
    {
        int64_t span[2] = {0, high - low};
        if (high > low)
            narrow(&e, span);
        else if (e.value[0] < e.need[0] || e.value[1] < e.need[1] || e.value[2] < e.need[2])
            span[1] = -1;
        for (int64_t i = span[0]; i <= span[1]; i++)
        {
            double depth = 0.0;
            for (int k = 0; k < 3; k++)
                depth += (double)(e.value[k] + i * e.across[k]) * flat->depth[k];
            depth = lower(upper(depth * share + 0.5, 0.0), DEPTH_MOST);
            if (w->crossing_count == w->crossing_room && !widen(w))
                return false;
            w->key[w->crossing_count] = ((uint64_t)depth << 32) | flat->mark;
            w->cell[w->crossing_count++] = (uint32_t)((j - row) * g->size[0] + low + i);
        }
        for (int k = 0; k < 3; k++)
            e.value[k] += e.up[k];
    }
    return true;
}

static int compare_crossings(const void* a, const void* b)
{
    crossing x = *(const crossing*)a, y = *(const crossing*)b;
    return (x > y) - (x < y);
}

static void sort_crossings(crossing* key, size_t count)
{
    if (count > 32)
    {
        qsort(key, count, sizeof *key, compare_crossings);
        return;
    }
    for (size_t i = 1; i < count; i++)
    {
        crossing moving = key[i];
        size_t j = i;
        for (; j > 0 && key[j - 1] > moving; j--)
            key[j] = key[j - 1];
        key[j] = moving;
    }
}

bool columns_scan_sort(columns_worker* w, size_t cells)
{
    crossing* sorted = realloc(w->sorted, (w->crossing_count + 1) * sizeof *sorted);
    if (sorted == NULL)
        return false;
    w->sorted = sorted;
    memset(w->start, 0, (cells + 2) * sizeof *w->start);
    for (size_t i = 0; i < w->crossing_count; i++)
        w->start[w->cell[i] + 2]++;
    for (size_t i = 0; i < cells; i++)
        w->start[i + 2] += w->start[i + 1];
    for (size_t i = 0; i < w->crossing_count; i++)
        w->sorted[w->start[w->cell[i] + 1]++] = w->key[i];
    for (size_t i = 0; i < cells; i++)
        sort_crossings(w->sorted + w->start[i], w->start[i + 1] - w->start[i]);
    return true;
}
