/// Layered depth columns after J. Shade, S. Gortler, L. He, R. Szeliski, Layered depth images, SIGGRAPH 1998, with the
/// edge functions of J. Pineda, A parallel algorithm for polygon rasterization, SIGGRAPH 1988.
///
/// Where sums are exact. Each crossing of a column ends one run. Where all runs end at crossings of their own label, a
/// label's signed volume is therefore the sum of the signed prisms under its triangles, whatever the pitch. Where the
/// ends of runs carry unlike labels, as along the rim of a region, that sum is off by the strip between the two rims
/// times the depth of the whole block, which is far more than what sampling misses there. So the grid is parted into
/// tiles of a few cells. A tile in or beside which unlike labels, an overlap or a left-out column is met is *sampled*;
/// in all others the triangles, clipped to the tile, are summed exactly. In a tile that is sampled for its labels
/// alone the sum over all labels is known all the same: what the columns missed of it is shared out among the tile's
/// labels by how much of each was sampled (a ratio estimator: W. G. Cochran, Sampling Techniques, 3rd ed. 1977,
/// chapter 6), so that the rows of closed meshes add up to the volumes' difference by the divergence theorem.
///
/// Depth is a whole number of 2^-31 of the common range (0.14 nm for 300 mm), and so are all sums of runs: they are
/// exact and do not depend on the order of threads. A sample's depth is interpolated between the corners of the snapped
/// triangle, so that it never leaves the triangle's own range, however steep; snapping moves a corner by no more than
/// the rounding of its float coordinates does.

#include "columns.h"

#include <math.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CELL_LIMIT 2147483648.0 ///< cells of a grid
#define SIDE_LIMIT 16777216.0   ///< cells along a side: leaves 5 bits or more for the sub-grid in a coordinate
#define COORDINATE_BITS 30      ///< of a snapped coordinate, so that an edge function fits 63 bits
#define SUB_GRID_BITS_MOST 14   ///< at 0.5 mm this is 0.03 um, what a float is good for 256 mm from its origin
#define BAND_CELLS 32768        ///< aimed at: a band's crossings then stay in the cache
#define CHUNK_TRIANGLES 65536   ///< at most, so that a place in a chunk fits 16 bits
#define CHUNK_LEAST 4096        ///< less work than that is not worth another thread
#define BLOCK_TRIANGLES 64      ///< of a chunk, which share one box of tiles
#define TILE_BITS_LEAST 2       ///< a tile is four cells wide
#define TILE_LIMIT 1048576      ///< tiles of a grid; they grow before they pass it
#define DEPTH_MOST 2147483647.0 ///< the range of depth, in its own units
#define TOUCHING_DEPTH 512      ///< 2^-22 of the range, a few roundings of float vertices: closer is touching

/// The grid that both meshes are scanned onto. Samples are at the cells' centres.
typedef struct grid
{
    int across[2]; ///< coordinates in the plane, the longer side last, so that a row of cells stays short
    int along;     ///< coordinate that the columns run along
    double hand;   ///< 1 where (across, along) is right-handed, else -1
    double pitch_mm;
    double corner_mm[2]; ///< of cell (0, 0)
    double middle_mm;    ///< of the range of depth: all depths are about it
    double depth_unit_mm;
    int64_t size[2];               ///< cells
    int sub_bits;                  ///< a pitch is 2^sub_bits units of the sub-grid
    int64_t band_rows, band_count; ///< a band is a whole number of tiles high
    int tile_bits;                 ///< a tile is 2^tile_bits cells wide
    int64_t tiles[2];
    double units_per_mm, tile_mm, tiles_per_mm; ///< units of the sub-grid
} grid;

/// Why a tile is sampled.
enum
{
    TILE_LABELS_MIX = 1, ///< triangles of one mesh or the other that face one way have unlike labels
    TILE_ENDS_MIX = 2,   ///< a run was met whose ends have unlike labels
    TILE_TWISTED = 4,    ///< a column was left out, or a mesh crosses itself
    TILE_SHARED_OUT = 8, ///< what sampling missed has been shared out
};

#define TILE_MIXED UINT32_MAX ///< more than one label was seen

/// The tiles of a grid. All numbers are whole, so that it does not matter which thread comes first.
typedef struct tiling
{
    _Atomic uint32_t* seen; ///< two a tile, of triangles that face down and up: 0, 1 + their label, or TILE_MIXED
    uint8_t* flag;          ///< one a tile, as met
    uint8_t* sampled;       ///< one a tile: its own flags and those its neighbours met; 0 where it is summed exactly
    uint32_t* table;        ///< (tiles + 1) each way: sampled tiles below and left of each corner
    _Atomic int64_t* exact; ///< one a tile: signed prisms in it where it is sampled, in exact_unit_mm3
    double exact_unit_mm3;
} tiling;

/// What the triangles of one label hold exactly.
typedef struct exact_row
{
    uint16_t label;
    double prism_mm3; ///< signed volume between the triangles and the middle depth
    double area_mm2;
} exact_row;

/// Tiles from `low` to `high`, both included.
typedef struct tile_box
{
    int32_t low[2], high[2];
} tile_box;

/// A chunk of a mesh: its triangles that may hold a sample, by band, and what its labels hold exactly.
typedef struct chunk
{
    size_t first, count; ///< triangles
    uint16_t* place;     ///< triangles that may hold a sample, counted from `first`, sorted by band
    uint32_t* start;     ///< band_count + 1 offsets into place
    tile_box* reach;     ///< tiles that each block of triangles reaches
    size_t row_count;
    exact_row* row; ///< one a label seen
} chunk;

/// One of the two meshes, as the grid sees it.
typedef struct surface
{
    const rlv_mesh* mesh;
    const uint16_t* label;
    double shift_mm[3]; ///< from the mesh's local zero to the grid's corner and middle
    size_t chunk_count;
    chunk* chunk;
} surface;

/// A triangle in the grid's frame: across, up, and depth about the middle.
typedef struct triangle
{
    double at_mm[3][3];
} triangle;

/// A convex polygon in the grid's frame. Room for a triangle clipped four times.
typedef struct polygon
{
    int count;
    double at_mm[7][3];
} polygon;

/// A triangle on the sub-grid, counter-clockwise. Sample (i, j) is at (i, j) << sub_bits.
typedef struct flat_triangle
{
    int64_t x[3], y[3];
    double depth[3]; ///< in depth units, above the low end
    int64_t area;    ///< twice its area, above zero
    uint64_t mark;   ///< what its crossings share
} flat_triangle;

/// A crossing of a column with a triangle, as a key that sorts by depth, then entering before leaving (so that surfaces
/// that touch do not wind less than nought), then by mesh and label.
typedef uint64_t crossing;

#define CROSSING_LEAVES (UINT64_C(1) << 17)
#define CROSSING_SECOND (UINT64_C(1) << 16)

static uint32_t crossing_depth(crossing key)
{
    return (uint32_t)(key >> 32);
}

static int crossing_turn(crossing key)
{
    return (key & CROSSING_LEAVES) != 0 ? -1 : 1;
}

static int crossing_mesh(crossing key)
{
    return (key & CROSSING_SECOND) != 0;
}

static uint16_t crossing_label(crossing key)
{
    return (uint16_t)key;
}

/// What the columns sampled of one label, in depth units times cells.
typedef struct sampled_row
{
    int64_t only[2]; ///< filled by one solid alone
    uint32_t longest;
} sampled_row;

/// And of one label in one tile.
typedef struct tile_share
{
    uint32_t tile;
    uint16_t label;
    int64_t only[2];
} tile_share;

/// What was sampled in the tiles of a band, tile by tile.
typedef struct band_shares
{
    size_t count;
    tile_share* share;
} band_shares;

/// What one thread needs to work through bands, and the sums it has gathered.
typedef struct worker
{
    size_t crossing_count, crossing_room;
    crossing* key;  ///< as found
    uint32_t* cell; ///< of each, in the band
    crossing* sorted;
    uint32_t* start; ///< offsets into sorted by cell
    size_t share_count, share_room;
    tile_share* share;
    size_t* slot; ///< one a label: where in `share` it was met last
    sampled_row* row;
    int64_t left_out, overlap, open; ///< columns
} worker;

static int64_t least(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t most(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

static double lower(double a, double b)
{
    return a < b ? a : b;
}

static double upper(double a, double b)
{
    return a > b ? a : b;
}

static int64_t ceil_shift(int64_t value, int bits)
{
    return (value + ((int64_t)1 << bits) - 1) >> bits;
}

static uint16_t label_of(const surface* s, size_t index)
{
    return s->label != NULL ? s->label[index] : 0;
}

/// A triangle of a mesh in the grid's frame. Each corner depends on its vertex alone, so that a closed mesh stays so.
static inline triangle triangle_at(const surface* s, const grid* g, size_t index)
{
    triangle t;
    const uint32_t* corner = s->mesh->corner + 3 * index;
    for (int i = 0; i < 3; i++)
    {
        const float* at = s->mesh->position_mm + 3 * (size_t)corner[i];
        t.at_mm[i][0] = (double)at[g->across[0]] + s->shift_mm[0];
        t.at_mm[i][1] = (double)at[g->across[1]] + s->shift_mm[1];
        t.at_mm[i][2] = (double)at[g->along] + s->shift_mm[2];
    }
    return t;
}

/// Twice the area of a triangle as a vector along its normal in a right-handed frame.
static inline rlv_vec3 twice_area(const double a[3], const double b[3], const double c[3])
{
    rlv_vec3 e = {b[0] - a[0], b[1] - a[1], b[2] - a[2]}, f = {c[0] - a[0], c[1] - a[1], c[2] - a[2]};
    return rlv_vec3_cross(e, f);
}

/// Signed volume of the prism between a convex polygon and the middle depth: above zero where it faces up, above it.
static double prism_mm3(const polygon* p, const grid* g)
{
    double sum = 0.0;
    const double* a = p->at_mm[0];
    for (int i = 2; i < p->count; i++)
    {
        const double *b = p->at_mm[i - 1], *c = p->at_mm[i];
        sum += twice_area(a, b, c).z * ((a[2] + b[2] + c[2]) / 6.0);
    }
    return g->hand * sum;
}

// ---- the grid ----

/// Extend `low` and `high` by the triangles of a mesh; false where a coordinate is not finite.
static bool extend_box(const rlv_mesh* mesh, double low[3], double high[3])
{
    float a[3] = {INFINITY, INFINITY, INFINITY}, b[3] = {-INFINITY, -INFINITY, -INFINITY};
    bool sound = true;
#pragma omp parallel for reduction(min : a[:3]) reduction(max : b[:3]) reduction(&& : sound) schedule(static)            \
    if (mesh->triangle_count > CHUNK_LEAST)
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
    {
        const float* at = mesh->position_mm + 3 * (size_t)mesh->corner[i];
        float spread = 0.0F;
        for (int d = 0; d < 3; d++)
        {
            a[d] = at[d] < a[d] ? at[d] : a[d];
            b[d] = at[d] > b[d] ? at[d] : b[d];
            spread += at[d] - at[d];
        }
        sound = sound && spread == 0.0F;
    }
    const double origin[3] = {mesh->origin_mm.x, mesh->origin_mm.y, mesh->origin_mm.z};
    for (int d = 0; d < 3 && mesh->triangle_count != 0; d++)
    {
        low[d] = fmin(low[d], origin[d] + (double)a[d]);
        high[d] = fmax(high[d], origin[d] + (double)b[d]);
        sound = sound && isfinite(origin[d]);
    }
    return sound;
}

static bool pitch_fits(const double extent[2], double pitch)
{
    double u = fmax(1.0, ceil(extent[0] / pitch)), v = fmax(1.0, ceil(extent[1] / pitch));
    return u <= SIDE_LIMIT && v <= SIDE_LIMIT && u * v <= CELL_LIMIT;
}

/// The smallest pitch of three figures that fits, or a little more.
static double fitting_pitch(const double extent[2])
{
    double pitch = fmax(fmax(extent[0], extent[1]) / SIDE_LIMIT, sqrt(extent[0] * extent[1] / CELL_LIMIT));
    double step = pow(10.0, floor(log10(pitch)) - 2.0);
    pitch = step * ceil(pitch / step);
    while (!pitch_fits(extent, pitch))
        pitch += step;
    return pitch;
}

static void divide_grid(grid* g, const double extent[2], const double low[3])
{
    int side_bits = 0;
    for (int i = 0; i < 2; i++)
    {
        g->size[i] = (int64_t)fmax(1.0, ceil(extent[i] / g->pitch_mm));
        g->corner_mm[i] = low[g->across[i]] + 0.5 * (extent[i] - g->pitch_mm * (double)g->size[i]);
        while (((int64_t)1 << side_bits) < g->size[i] + 1)
            side_bits++;
    }
    g->sub_bits = (int)least(SUB_GRID_BITS_MOST, COORDINATE_BITS - side_bits);
    g->tile_bits = TILE_BITS_LEAST;
    while (ceil_shift(g->size[0], g->tile_bits) * ceil_shift(g->size[1], g->tile_bits) > TILE_LIMIT)
        g->tile_bits++;
    for (int i = 0; i < 2; i++)
        g->tiles[i] = ceil_shift(g->size[i], g->tile_bits);
    g->units_per_mm = ldexp(1.0, g->sub_bits) / g->pitch_mm;
    g->tile_mm = ldexp(g->pitch_mm, g->tile_bits);
    g->tiles_per_mm = 1.0 / g->tile_mm;
    g->band_rows = most(1, (BAND_CELLS / g->size[0]) >> g->tile_bits) << g->tile_bits;
    g->band_count = (g->size[1] + g->band_rows - 1) / g->band_rows;
}

static rlv_status lay_grid(grid* g, const rlv_solid* const solid[2], rlv_axis axis, double pitch_mm, rlv_error* error)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    if (!extend_box(solid[0]->mesh, low, high) || !extend_box(solid[1]->mesh, low, high))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "repair the mesh", "a coordinate is not a finite number");
    if (!(low[0] <= high[0]))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a mesh with triangles", "neither solid has a triangle");
    g->along = (int)axis;
    const int next = (g->along + 1) % 3, last = (g->along + 2) % 3;
    g->hand = high[next] - low[next] <= high[last] - low[last] ? 1.0 : -1.0;
    g->across[0] = g->hand > 0.0 ? next : last;
    g->across[1] = g->hand > 0.0 ? last : next;
    g->pitch_mm = pitch_mm;
    const double extent[2] = {high[g->across[0]] - low[g->across[0]], high[g->across[1]] - low[g->across[1]]};
    if (!pitch_fits(extent, pitch_mm))
    {
        char mend[128];
        snprintf(mend, sizeof mend, "take a pitch of %.3g mm or more", fitting_pitch(extent));
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, mend, "a pitch of %g mm gives more columns than can be counted",
                        pitch_mm);
    }
    divide_grid(g, extent, low);
    double range = high[g->along] - low[g->along];
    g->middle_mm = low[g->along] + 0.5 * range;
    g->depth_unit_mm = (range > 0.0 ? range : 1.0) / DEPTH_MOST;
    return RLV_DONE;
}

static rlv_status lay_surface(surface* s, const grid* g, const rlv_solid* solid, rlv_error* error)
{
    s->mesh = solid->mesh;
    s->label = solid->label;
    const double origin[3] = {s->mesh->origin_mm.x, s->mesh->origin_mm.y, s->mesh->origin_mm.z};
    for (int i = 0; i < 2; i++)
        s->shift_mm[i] = origin[g->across[i]] - g->corner_mm[i];
    s->shift_mm[2] = origin[g->along] - g->middle_mm;
    size_t count = s->mesh->triangle_count, length = count / 64 + 1;
    length = length < CHUNK_LEAST ? CHUNK_LEAST : length > CHUNK_TRIANGLES ? CHUNK_TRIANGLES : length;
    s->chunk_count = (count + length - 1) / length;
    s->chunk = rlv_reserve(s->chunk_count, sizeof *s->chunk, error);
    for (size_t i = 0; i < s->chunk_count && s->chunk != NULL; i++)
    {
        s->chunk[i].first = i * length;
        s->chunk[i].count = count - i * length < length ? count - i * length : length;
    }
    return s->chunk != NULL ? RLV_DONE : RLV_SYSTEM;
}

static void free_surface(surface* s)
{
    for (size_t i = 0; i < s->chunk_count && s->chunk != NULL; i++)
    {
        free(s->chunk[i].place);
        free(s->chunk[i].start);
        free(s->chunk[i].reach);
        free(s->chunk[i].row);
    }
    free(s->chunk);
}

// ---- tiles ----

static size_t tile_count(const grid* g)
{
    return (size_t)(g->tiles[0] * g->tiles[1]);
}

static rlv_status lay_tiling(tiling* t, const grid* g, size_t label_count, rlv_error* error)
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

static void free_tiling(tiling* t)
{
    free(t->seen);
    free(t->flag);
    free(t->sampled);
    free(t->table);
    free(t->exact);
}

static inline int32_t lesser(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

static inline int32_t greater(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static inline int32_t tile_at(const grid* g, double at_mm, int side)
{
    return greater(0, lesser((int32_t)g->tiles[side] - 1, (int32_t)(at_mm * g->tiles_per_mm)));
}

/// Tiles along one side that a polygon of `count` corners reaches.
static inline void reach_along(double (*at_mm)[3], int count, const grid* g, int side, int32_t* low, int32_t* high)
{
    double a = at_mm[0][side], b = a;
    for (int i = 1; i < count; i++)
    {
        a = lower(a, at_mm[i][side]);
        b = upper(b, at_mm[i][side]);
    }
    *low = tile_at(g, a, side);
    *high = tile_at(g, b, side);
}

static inline tile_box reach_of(triangle* t, const grid* g)
{
    tile_box box;
    for (int side = 0; side < 2; side++)
        reach_along(t->at_mm, 3, g, side, &box.low[side], &box.high[side]);
    return box;
}

static void extend_reach(tile_box* box, const tile_box* by)
{
    for (int side = 0; side < 2; side++)
    {
        box->low[side] = lesser(box->low[side], by->low[side]);
        box->high[side] = greater(box->high[side], by->high[side]);
    }
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
static polygon strip_of(const triangle* t, const grid* g, const tile_box* box, int32_t row)
{
    polygon p;
    p.count = 3;
    memcpy(p.at_mm, t->at_mm, sizeof t->at_mm);
    cut_to(&p, 1, row, box->low[1], box->high[1], g->tile_mm);
    return p;
}

static void see_in_tile(tiling* t, size_t place, uint16_t label)
{
    const uint32_t own = 1U + label;
    uint32_t seen = atomic_load_explicit(&t->seen[place], memory_order_relaxed);
    while (seen != own && seen != TILE_MIXED)
        if (atomic_compare_exchange_weak_explicit(&t->seen[place], &seen, seen == 0 ? own : TILE_MIXED,
                                                  memory_order_relaxed, memory_order_relaxed))
            return;
}

/// Note the label of a triangle in all tiles it reaches. `up`: it faces up.
static void see_label(tiling* t, const grid* g, const triangle* at, const tile_box* box, uint16_t label, bool up)
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
static uint8_t flags_around(const tiling* t, const grid* g, int64_t column, int64_t row)
{
    uint8_t flags = 0;
    for (int64_t j = most(0, row - 1); j <= least(g->tiles[1] - 1, row + 1); j++)
        for (int64_t i = most(0, column - 1); i <= least(g->tiles[0] - 1, column + 1); i++)
            flags |= t->flag[j * g->tiles[0] + i];
    return flags;
}

/// Decide which tiles are sampled, and count them in the table.
static void choose_sampled(tiling* t, const grid* g, size_t label_count)
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

static bool any_sampled(const tiling* t, const grid* g, const tile_box* box)
{
    const int64_t width = g->tiles[0] + 1;
    const uint32_t* below = t->table + box->low[1] * width;
    const uint32_t* above = t->table + (box->high[1] + 1) * width;
    return above[box->high[0] + 1] - above[box->low[0]] != below[box->high[0] + 1] - below[box->low[0]];
}

// ---- exact sums, and which triangles may hold a sample ----

static int64_t snap(const grid* g, double at_mm)
{
    return (int64_t)lrint(at_mm * g->units_per_mm) - ((int64_t)1 << g->sub_bits) / 2;
}

/// Bands that a triangle's samples may lie in; false where its box on the sub-grid holds no sample.
static inline bool bands_of(const triangle* t, const grid* g, uint32_t bands[2])
{
    int64_t low[2], high[2];
    for (int i = 0; i < 2; i++)
    {
        double a = lower(t->at_mm[0][i], lower(t->at_mm[1][i], t->at_mm[2][i]));
        double b = upper(t->at_mm[0][i], upper(t->at_mm[1][i], t->at_mm[2][i]));
        low[i] = most(0, ceil_shift(snap(g, a), g->sub_bits));
        high[i] = least(g->size[i] - 1, snap(g, b) >> g->sub_bits);
    }
    if (low[0] > high[0] || low[1] > high[1])
        return false;
    bands[0] = (uint32_t)(low[1] / g->band_rows);
    bands[1] = (uint32_t)(high[1] / g->band_rows);
    return true;
}

/// One thread's room for work on a chunk.
typedef struct sorter
{
    uint32_t (*bands)[2]; ///< one a triangle
    uint16_t* place;
    exact_row* row; ///< one a label, zero between chunks
    uint16_t* seen; ///< labels seen in the chunk
    bool* known;    ///< one a label
    size_t row_count;
} sorter;

static rlv_status reserve_sorter(sorter* room, size_t label_count, rlv_error* error)
{
    bool held = (room->bands = rlv_reserve(CHUNK_TRIANGLES, sizeof *room->bands, error)) != NULL &&
                (room->place = rlv_reserve(CHUNK_TRIANGLES, sizeof *room->place, error)) != NULL &&
                (room->row = rlv_reserve(label_count, sizeof *room->row, error)) != NULL &&
                (room->seen = rlv_reserve(label_count, sizeof *room->seen, error)) != NULL &&
                (room->known = rlv_reserve(label_count, sizeof *room->known, error)) != NULL;
    return held ? RLV_DONE : RLV_SYSTEM;
}

static void free_sorter(sorter* room)
{
    free(room->bands);
    free(room->place);
    free(room->row);
    free(room->seen);
    free(room->known);
}

/// Hand the rows of the labels seen over to the chunk, and leave the room as it was.
static rlv_status keep_rows(chunk* c, sorter* room, rlv_error* error)
{
    c->row = rlv_reserve(room->row_count, sizeof *c->row, error);
    c->row_count = c->row != NULL ? room->row_count : 0;
    for (size_t i = 0; i < room->row_count; i++)
    {
        uint16_t label = room->seen[i];
        room->row[label].label = label;
        if (c->row != NULL)
            c->row[i] = room->row[label];
        room->row[label] = (exact_row){0};
        room->known[label] = false;
    }
    room->row_count = 0;
    return c->row != NULL ? RLV_DONE : RLV_SYSTEM;
}

/// Sort the `count` triangles in `room` by band, into the chunk.
static rlv_status keep_places(chunk* c, const sorter* room, size_t count, const grid* g, rlv_error* error)
{
    c->start = rlv_reserve((size_t)g->band_count + 2, sizeof *c->start, error);
    if (c->start == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        for (uint32_t band = room->bands[i][0]; band <= room->bands[i][1]; band++)
            c->start[band + 2]++;
    for (size_t band = 0; band < (size_t)g->band_count; band++)
        c->start[band + 2] += c->start[band + 1];
    c->place = rlv_reserve(c->start[g->band_count + 1], sizeof *c->place, error);
    if (c->place == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        for (uint32_t band = room->bands[i][0]; band <= room->bands[i][1]; band++)
            c->place[c->start[band + 1]++] = room->place[i];
    return RLV_DONE;
}

static exact_row* row_of(sorter* room, uint16_t label)
{
    if (!room->known[label])
    {
        room->known[label] = true;
        room->seen[room->row_count++] = label;
    }
    return &room->row[label];
}

/// Sum a chunk's triangles exactly, note their labels in the tiles, and sort those that may hold a sample by band.
static rlv_status sort_chunk(chunk* c, const surface* s, const grid* g, tiling* t, size_t label_count, sorter* room,
                             rlv_error* error)
{
    size_t count = 0;
    c->reach = rlv_reserve(c->count / BLOCK_TRIANGLES + 1, sizeof *c->reach, error);
    if (c->reach == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < c->count; i++)
    {
        triangle at = triangle_at(s, g, c->first + i);
        uint16_t label = label_of(s, c->first + i);
        if (label >= label_count)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "count the labels from 0", "triangle %zu has label %u of %zu",
                            c->first + i, (unsigned)label, label_count);
        exact_row* row = row_of(room, label);
        rlv_vec3 twice = twice_area(at.at_mm[0], at.at_mm[1], at.at_mm[2]);
        row->prism_mm3 += g->hand * twice.z * ((at.at_mm[0][2] + at.at_mm[1][2] + at.at_mm[2][2]) / 6.0);
        row->area_mm2 += 0.5 * rlv_vec3_length(twice);
        tile_box box = reach_of(&at, g);
        if (i % BLOCK_TRIANGLES == 0)
            c->reach[i / BLOCK_TRIANGLES] = box;
        extend_reach(&c->reach[i / BLOCK_TRIANGLES], &box);
        if (label_count > 1)
            see_label(t, g, &at, &box, label, g->hand * twice.z > 0.0);
        room->place[count] = (uint16_t)i;
        count += bands_of(&at, g, room->bands[count]);
    }
    rlv_status status = keep_rows(c, room, error);
    return status == RLV_DONE ? keep_places(c, room, count, g, error) : status;
}

/// Volume of a triangle's prism in sampled tiles, which is added to the tiles.
static double sum_in_sampled(tiling* t, const grid* g, const triangle* at, const tile_box* box, double sign)
{
    double sum = 0.0;
    for (int32_t row = box->low[1]; row <= box->high[1]; row++)
    {
        const tile_box tiles = {{box->low[0], row}, {box->high[0], row}};
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
            double volume = prism_mm3(&piece, g);
            sum += volume;
            atomic_fetch_add_explicit(&t->exact[tile], (int64_t)llrint(sign * volume / t->exact_unit_mm3),
                                      memory_order_relaxed);
        }
    }
    return sum;
}

/// Take what lies in sampled tiles out of a chunk's rows.
static void take_out_chunk(chunk* c, const surface* s, const grid* g, tiling* t, double sign, double* inside_mm3)
{
    for (size_t i = 0; i < c->row_count; i++)
        inside_mm3[c->row[i].label] = 0.0;
    for (size_t i = 0; i < c->count; i++)
    {
        if (i % BLOCK_TRIANGLES == 0 && !any_sampled(t, g, &c->reach[i / BLOCK_TRIANGLES]))
        {
            i += BLOCK_TRIANGLES - 1;
            continue;
        }
        triangle at = triangle_at(s, g, c->first + i);
        tile_box box = reach_of(&at, g);
        if (any_sampled(t, g, &box))
            inside_mm3[label_of(s, c->first + i)] += sum_in_sampled(t, g, &at, &box, sign);
    }
    for (size_t i = 0; i < c->row_count; i++)
        c->row[i].prism_mm3 -= inside_mm3[c->row[i].label];
}

/// Sort all chunks of a mesh, on all threads.
static rlv_status sort_surface(surface* s, const grid* g, tiling* t, size_t label_count, rlv_error* error)
{
    rlv_status status = RLV_DONE;
#pragma omp parallel if (s->chunk_count > 1)
    {
        sorter room = {0};
        rlv_error own_error = {0};
        rlv_status own = reserve_sorter(&room, label_count, &own_error);
#pragma omp for schedule(dynamic)
        for (size_t i = 0; i < s->chunk_count; i++)
            if (own == RLV_DONE)
                own = sort_chunk(&s->chunk[i], s, g, t, label_count, &room, &own_error);
        free_sorter(&room);
#pragma omp critical(rlv_columns_status)
        if (own != RLV_DONE)
        {
            status = own;
            if (error != NULL)
                *error = own_error;
        }
    }
    return status;
}

/// Take what lies in sampled tiles out of the exact sums of a mesh, on all threads.
static rlv_status take_out_surface(surface* s, const grid* g, tiling* t, double sign, size_t label_count,
                                   rlv_error* error)
{
    bool held = true;
#pragma omp parallel reduction(&& : held) if (s->chunk_count > 1)
    {
        double* inside_mm3 = calloc(label_count, sizeof *inside_mm3);
        held = inside_mm3 != NULL;
#pragma omp for schedule(dynamic)
        for (size_t i = 0; i < s->chunk_count; i++)
            if (held)
                take_out_chunk(&s->chunk[i], s, g, t, sign, inside_mm3);
        free(inside_mm3);
    }
    return held ? RLV_DONE
                : rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for %zu labels", label_count);
}

// ---- scan conversion ----

/// Lay a triangle on the sub-grid; false where it has no area there.
static bool flatten(flat_triangle* flat, const surface* s, const grid* g, size_t index, int mesh)
{
    const triangle t = triangle_at(s, g, index);
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
static bool widen(worker* w)
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

/// Find the samples of a triangle in rows `row` up to `row_end`; false where memory ran out.
static bool scan_triangle(worker* w, const flat_triangle* flat, const grid* g, int64_t row, int64_t row_end)
{
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

/// Sort a band's crossings by cell and depth.
static bool sort_band(worker* w, size_t cells)
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

// ---- walking the columns ----

/// How a column begins: with how much winding each mesh starts, or that it is left out.
typedef struct column_start
{
    bool left_out;
    int winding[2];
} column_start;

/// A closed mesh enters as often as it leaves. One that leaves once more than it enters is open below, and starts
/// solid. Both must agree; all else (one open and the other not, open above, open twice) is left out.
static column_start start_column(const crossing* key, size_t count)
{
    int missing[2] = {0, 0};
    for (size_t i = 0; i < count; i++)
        missing[crossing_mesh(key[i])] -= crossing_turn(key[i]);
    bool known = missing[0] == missing[1] && (missing[0] == 0 || missing[0] == 1);
    return (column_start){!known, {missing[0], missing[1]}};
}

/// Which label a run between two crossings belongs to: the one at its ends; a label before none; the first solid's
/// before the second's; the lower one where both ends lie on one solid.
static uint16_t label_of_run(crossing low, crossing high)
{
    uint16_t a = crossing_label(low), b = crossing_label(high);
    if (a == b || b == 0)
        return a;
    if (a == 0)
        return b;
    if (crossing_mesh(low) != crossing_mesh(high))
        return crossing_mesh(low) == 0 ? a : b;
    return a < b ? a : b;
}

/// The share of a label in a tile; NULL where memory ran out.
static tile_share* share_of(worker* w, uint32_t tile, uint16_t label)
{
    size_t slot = w->slot[label];
    if (slot < w->share_count && w->share[slot].tile == tile && w->share[slot].label == label)
        return &w->share[slot];
    if (w->share_count == w->share_room)
    {
        size_t room = w->share_room == 0 ? 4096 : 2 * w->share_room;
        tile_share* share = realloc(w->share, room * sizeof *share);
        if (share == NULL)
            return NULL;
        w->share = share;
        w->share_room = room;
    }
    w->slot[label] = w->share_count;
    w->share[w->share_count] = (tile_share){.tile = tile, .label = label};
    return &w->share[w->share_count++];
}

static bool add_run(worker* w, uint32_t tile, uint8_t* flag, crossing low, crossing high, int mesh)
{
    uint16_t label = label_of_run(low, high);
    uint32_t length = crossing_depth(high) - crossing_depth(low);
    if (crossing_label(low) != crossing_label(high))
        *flag |= TILE_ENDS_MIX;
    sampled_row* row = &w->row[label];
    row->only[mesh] += length;
    row->longest = length > row->longest ? length : row->longest;
    tile_share* share = share_of(w, tile, label);
    if (share != NULL)
        share->only[mesh] += length;
    return share != NULL;
}

static bool winds_twice(const int winding[2])
{
    return winding[0] < 0 || winding[0] > 1 || winding[1] < 0 || winding[1] > 1;
}

/// Walk one column from its low end; false where memory ran out.
static bool walk_column(worker* w, uint32_t tile, uint8_t* flag, const crossing* key, size_t count)
{
    column_start start = start_column(key, count);
    w->open += start.left_out || start.winding[0] != 0;
    w->left_out += start.left_out;
    if (start.left_out)
    {
        *flag |= TILE_TWISTED;
        return true;
    }
    int* winding = start.winding;
    bool overlap = false, held = true;
    for (size_t i = 0, run = 0; i < count; i++) // the run began at `run`
    {
        if (i > 0 && crossing_depth(key[i]) - crossing_depth(key[i - 1]) > TOUCHING_DEPTH)
            overlap = overlap || winds_twice(winding);
        const bool fills[2] = {winding[0] > 0, winding[1] > 0};
        winding[crossing_mesh(key[i])] += crossing_turn(key[i]);
        bool was = fills[0] != fills[1], is = (winding[0] > 0) != (winding[1] > 0);
        if (was && !is)
            held = held && add_run(w, tile, flag, key[run], key[i], fills[1]);
        if (!was && is)
            run = i;
    }
    w->overlap += overlap;
    if (overlap)
        *flag |= TILE_TWISTED;
    return held;
}

/// Walk the columns of the tiles in a band whose rows are `row` up to `row_end`.
static bool walk_band(worker* w, const grid* g, tiling* t, int64_t row, int64_t row_end)
{
    const int64_t side = (int64_t)1 << g->tile_bits;
    bool held = true;
    for (int64_t top = row; top < row_end; top += side)
        for (int64_t left = 0; left < g->size[0]; left += side)
        {
            uint32_t tile = (uint32_t)((top >> g->tile_bits) * g->tiles[0] + (left >> g->tile_bits));
            for (int64_t j = top; j < least(row_end, top + side); j++)
                for (int64_t i = left; i < least(g->size[0], left + side); i++)
                {
                    const uint32_t* at = w->start + (j - row) * g->size[0] + i;
                    if (at[1] > at[0])
                        held = held && walk_column(w, tile, &t->flag[tile], w->sorted + at[0], at[1] - at[0]);
                }
        }
    return held;
}

/// Scan and walk one band, and hand over what was sampled in its tiles.
static bool work_band(worker* w, const surface surfaces[2], const grid* g, tiling* t, int64_t band, band_shares* shares)
{
    int64_t row = band * g->band_rows, row_end = least(g->size[1], row + g->band_rows);
    w->crossing_count = 0;
    w->share_count = 0;
    for (int mesh = 0; mesh < 2; mesh++)
        for (size_t i = 0; i < surfaces[mesh].chunk_count; i++)
        {
            const chunk* c = &surfaces[mesh].chunk[i];
            for (uint32_t k = c->start[band]; k < c->start[band + 1]; k++)
            {
                flat_triangle flat;
                if (flatten(&flat, &surfaces[mesh], g, c->first + c->place[k], mesh) &&
                    !scan_triangle(w, &flat, g, row, row_end))
                    return false;
            }
        }
    if (!sort_band(w, (size_t)((row_end - row) * g->size[0])) || !walk_band(w, g, t, row, row_end))
        return false;
    shares->share = malloc((w->share_count + 1) * sizeof *shares->share);
    if (shares->share == NULL)
        return false;
    shares->count = w->share_count;
    if (w->share_count != 0)
        memcpy(shares->share, w->share, w->share_count * sizeof *shares->share);
    return true;
}

static void add_worker(worker* sum, const worker* w, size_t label_count)
{
    for (size_t i = 0; i < label_count; i++)
    {
        sampled_row* to = &sum->row[i];
        const sampled_row* from = &w->row[i];
        to->only[0] += from->only[0];
        to->only[1] += from->only[1];
        to->longest = from->longest > to->longest ? from->longest : to->longest;
    }
    sum->left_out += w->left_out;
    sum->overlap += w->overlap;
    sum->open += w->open;
}

static void free_worker(worker* w)
{
    free(w->key);
    free(w->cell);
    free(w->sorted);
    free(w->start);
    free(w->share);
    free(w->slot);
    free(w->row);
}

/// Scan and walk all bands, on all threads, into the rows and counts of `sum` and one of `shares` a band.
static rlv_status work_bands(worker* sum, band_shares* shares, const surface surfaces[2], const grid* g, tiling* t,
                             size_t label_count, rlv_error* error)
{
    bool held = true;
#pragma omp parallel reduction(&& : held) if (g->band_count > 1)
    {
        worker w = {0};
        size_t cells = (size_t)(g->band_rows * g->size[0]);
        held = (w.start = calloc(cells + 2, sizeof *w.start)) != NULL &&
               (w.slot = calloc(label_count, sizeof *w.slot)) != NULL &&
               (w.row = calloc(label_count, sizeof *w.row)) != NULL;
#pragma omp for schedule(dynamic)
        for (int64_t band = 0; band < g->band_count; band++)
            held = held && work_band(&w, surfaces, g, t, band, &shares[band]);
        if (held)
        {
#pragma omp critical(rlv_columns_sum)
            add_worker(sum, &w, label_count);
        }
        free_worker(&w);
    }
    return held ? RLV_DONE
                : rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or take a wider pitch",
                           "no memory for a band of columns");
}

// ---- the answer ----

/// Sums on the way to the answer.
typedef struct gathering
{
    grid grid;
    surface surface[2];
    tiling tiling;
    worker sum;          ///< rows and counts only
    band_shares* shares; ///< one a band
} gathering;

static void free_gathering(gathering* all)
{
    for (int64_t i = 0; i < all->grid.band_count && all->shares != NULL; i++)
        free(all->shares[i].share);
    free(all->shares);
    free_worker(&all->sum);
    free_tiling(&all->tiling);
    for (int i = 0; i < 2; i++)
        free_surface(&all->surface[i]);
}

static double run_unit_mm3(const grid* g)
{
    return g->pitch_mm * g->pitch_mm * g->depth_unit_mm;
}

static void add_exact_rows(rlv_columns_difference* difference, const surface* s, int mesh)
{
    for (size_t i = 0; i < s->chunk_count; i++)
        for (size_t k = 0; k < s->chunk[i].row_count; k++)
        {
            const exact_row* from = &s->chunk[i].row[k];
            rlv_columns_label* to = &difference->label[from->label];
            to->signed_mm3 += mesh == 0 ? from->prism_mm3 : -from->prism_mm3;
            *(mesh == 0 ? &to->first_area_mm2 : &to->second_area_mm2) += from->area_mm2;
        }
}

/// Add what was sampled in a sampled tile; where the sum over its labels is known, share out what sampling missed.
static void add_tile(rlv_columns_difference* difference, gathering* all, const tile_share* share, size_t count)
{
    tiling* t = &all->tiling;
    const double unit_mm3 = run_unit_mm3(&all->grid);
    int64_t sampled = 0, lengths = 0;
    for (size_t i = 0; i < count; i++)
    {
        sampled += share[i].only[0] - share[i].only[1];
        lengths += share[i].only[0] + share[i].only[1];
    }
    double missed_mm3 = t->exact_unit_mm3 * (double)t->exact[share->tile] - unit_mm3 * (double)sampled;
    if ((t->sampled[share->tile] & TILE_TWISTED) != 0)
        missed_mm3 = 0.0;
    t->sampled[share->tile] |= TILE_SHARED_OUT;
    for (size_t i = 0; i < count; i++)
    {
        double part = (double)(share[i].only[0] + share[i].only[1]);
        part = lengths > 0 ? part / (double)lengths : i == 0 ? 1.0 : 0.0;
        difference->label[share[i].label].signed_mm3 +=
            unit_mm3 * (double)(share[i].only[0] - share[i].only[1]) + part * missed_mm3;
    }
}

/// Add all sampled tiles, in the order of bands. Where no run was met in one, no label claims what it holds.
static void add_tiles(rlv_columns_difference* difference, gathering* all)
{
    tiling* t = &all->tiling;
    for (int64_t band = 0; band < all->grid.band_count; band++)
    {
        const band_shares* shares = &all->shares[band];
        for (size_t i = 0, end = 0; i < shares->count; i = end)
        {
            while (end < shares->count && shares->share[end].tile == shares->share[i].tile)
                end++;
            if (t->sampled[shares->share[i].tile] != 0)
                add_tile(difference, all, shares->share + i, end - i);
        }
    }
    for (size_t tile = 0; tile < tile_count(&all->grid); tile++)
        if (t->sampled[tile] != 0 && (t->sampled[tile] & (TILE_SHARED_OUT | TILE_TWISTED)) == 0)
            difference->label[0].signed_mm3 += t->exact_unit_mm3 * (double)t->exact[tile];
}

/// What one solid fills alone, so that first less second is the signed sum: what sampling missed is shared between the
/// two by their size.
static void settle_label(rlv_columns_label* label)
{
    double sum = label->first_only_mm3 + label->second_only_mm3;
    double missed = label->signed_mm3 - (label->first_only_mm3 - label->second_only_mm3);
    if (fabs(missed) < sum)
    {
        label->first_only_mm3 += missed * (label->first_only_mm3 / sum);
        label->second_only_mm3 -= missed * (label->second_only_mm3 / sum);
        return;
    }
    label->first_only_mm3 = fmax(label->signed_mm3, 0.0);
    label->second_only_mm3 = fmax(-label->signed_mm3, 0.0);
}

static void tell(rlv_columns_difference* difference, gathering* all)
{
    const grid* g = &all->grid;
    const double cell_mm2 = g->pitch_mm * g->pitch_mm;
    for (int mesh = 0; mesh < 2; mesh++)
        add_exact_rows(difference, &all->surface[mesh], mesh);
    add_tiles(difference, all);
    for (size_t i = 0; i < difference->label_count; i++)
    {
        rlv_columns_label* to = &difference->label[i];
        const sampled_row* from = &all->sum.row[i];
        to->first_only_mm3 = run_unit_mm3(g) * (double)from->only[0];
        to->second_only_mm3 = run_unit_mm3(g) * (double)from->only[1];
        to->max_run_mm = g->depth_unit_mm * (double)from->longest;
        settle_label(to);
        difference->signed_mm3 += to->signed_mm3;
    }
    difference->left_out_mm2 = cell_mm2 * (double)all->sum.left_out;
    difference->overlap_mm2 = cell_mm2 * (double)all->sum.overlap;
    difference->open = all->sum.open != 0;
}

static rlv_status gather(gathering* all, const rlv_columns_difference* difference, const rlv_solid* const solid[2],
                         rlv_error* error)
{
    grid* g = &all->grid;
    tiling* t = &all->tiling;
    const size_t labels = difference->label_count;
    rlv_status status = lay_grid(g, solid, difference->axis, difference->pitch_mm, error);
    if (status == RLV_DONE)
        status = lay_tiling(t, g, labels, error);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = lay_surface(&all->surface[i], g, solid[i], error);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = sort_surface(&all->surface[i], g, t, labels, error);
    if (status == RLV_DONE && ((all->sum.row = rlv_reserve(labels, sizeof *all->sum.row, error)) == NULL ||
                               (all->shares = rlv_reserve((size_t)g->band_count, sizeof *all->shares, error)) == NULL))
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
        status = work_bands(&all->sum, all->shares, all->surface, g, t, labels, error);
    if (status == RLV_DONE)
        choose_sampled(t, g, labels);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = take_out_surface(&all->surface[i], g, t, i == 0 ? 1.0 : -1.0, labels, error);
    return status;
}

rlv_status rlv_columns_compare(rlv_columns_difference* difference, const rlv_solid* first, const rlv_solid* second,
                               size_t label_count, rlv_axis axis, double pitch_mm, rlv_error* error)
{
    *difference = (rlv_columns_difference){.axis = axis, .pitch_mm = pitch_mm};
    if (!(pitch_mm > 0.0) || !isfinite(pitch_mm))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the side of a column in mm", "a pitch of %g mm", pitch_mm);
    if (label_count == 0 || label_count > 65536)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "count from 1 (for what no label claims) to 65536", "%zu labels",
                        label_count);
    difference->label = rlv_reserve(label_count, sizeof *difference->label, error);
    if (difference->label == NULL)
        return RLV_SYSTEM;
    difference->label_count = label_count;
    gathering all = {0};
    const rlv_solid* const solid[2] = {first, second};
    rlv_status status = gather(&all, difference, solid, error);
    if (status == RLV_DONE)
        tell(difference, &all);
    else
        rlv_columns_difference_free(difference);
    free_gathering(&all);
    return status;
}

void rlv_columns_difference_free(rlv_columns_difference* difference)
{
    free(difference->label);
    *difference = (rlv_columns_difference){0};
}
