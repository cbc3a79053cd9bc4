/// What columns are made of. Private to the files of `columns`.

#ifndef RLV_COLUMNS_PARTS_H
#define RLV_COLUMNS_PARTS_H

#include "columns.h"

#include <stdatomic.h>

#define CHUNK_TRIANGLES 65536   ///< at most, so that a place in a chunk fits 16 bits
#define CHUNK_LEAST 4096        ///< less work than that is not worth another thread
#define BLOCK_TRIANGLES 64      ///< of a chunk, which share one box of tiles
#define DEPTH_MOST 2147483647.0 ///< the range of depth, in its own units

/// The grid that both meshes are scanned onto. Samples are at the cells' centres.
typedef struct columns_grid
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
    double units_per_mm;           ///< of the sub-grid
    int64_t band_rows, band_count; ///< a band is a whole number of tiles high
    int tile_bits;                 ///< a tile is 2^tile_bits cells wide
    int64_t tiles[2];
    double tile_mm, tiles_per_mm;
} columns_grid;

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
typedef struct columns_tiling
{
    _Atomic uint32_t* seen; ///< two a tile, of triangles that face down and up: 0, 1 + their label, or TILE_MIXED
    uint8_t* flag;          ///< one a tile, as met
    uint8_t* sampled;       ///< one a tile: its own flags and those its neighbours met; 0 where it is summed exactly
    uint32_t* table;        ///< (tiles + 1) each way: sampled tiles below and left of each corner
    _Atomic int64_t* exact; ///< one a tile: signed prisms in it where it is sampled, in exact_unit_mm3
    double exact_unit_mm3;
} columns_tiling;

/// What the triangles of one label hold exactly.
typedef struct columns_exact_row
{
    uint16_t label;
    double prism_mm3; ///< signed volume between the triangles and the middle depth
} columns_exact_row;

/// Tiles from `low` to `high`, both included.
typedef struct columns_tile_box
{
    int32_t low[2], high[2];
} columns_tile_box;

/// A chunk of a mesh: its triangles that may hold a sample, by band, and what its labels hold exactly.
typedef struct columns_chunk
{
    size_t first, count;     ///< triangles
    uint16_t* place;         ///< triangles that may hold a sample, counted from `first`, sorted by band
    uint32_t* start;         ///< band_count + 1 offsets into place
    columns_tile_box* reach; ///< tiles that each block of triangles reaches
    size_t row_count;
    columns_exact_row* row; ///< one a label seen
} columns_chunk;

/// One of the two meshes, as the grid sees it.
typedef struct columns_surface
{
    const rlv_mesh* mesh;
    const uint16_t* label;
    double shift_mm[3]; ///< from the mesh's local zero to the grid's corner and middle
    size_t chunk_count;
    columns_chunk* chunk;
} columns_surface;

/// A triangle in the grid's frame: across, up, and depth about the middle.
typedef struct columns_triangle
{
    double at_mm[3][3];
} columns_triangle;

/// A crossing of a column with a triangle, as a key that sorts by depth, then entering before leaving (so that surfaces
/// that touch do not wind less than nought), then by mesh and label.
typedef uint64_t crossing;

#define CROSSING_LEAVES (UINT64_C(1) << 17)
#define CROSSING_SECOND (UINT64_C(1) << 16)

static inline uint32_t crossing_depth(crossing key)
{
    return (uint32_t)(key >> 32);
}

static inline int crossing_turn(crossing key)
{
    return (key & CROSSING_LEAVES) != 0 ? -1 : 1;
}

static inline int crossing_mesh(crossing key)
{
    return (key & CROSSING_SECOND) != 0;
}

static inline uint16_t crossing_label(crossing key)
{
    return (uint16_t)key;
}

/// What the columns sampled of one label, in depth units times cells.
typedef struct columns_sampled_row
{
    int64_t only[2]; ///< filled by one solid alone
    uint32_t longest;
} columns_sampled_row;

/// And of one label in one tile.
typedef struct columns_tile_share
{
    uint32_t tile;
    uint16_t label;
    int64_t only[2];
} columns_tile_share;

/// What was sampled in the tiles of a band, tile by tile.
typedef struct columns_band_shares
{
    size_t count;
    columns_tile_share* share;
} columns_band_shares;

/// What one thread needs to work through bands, and the sums it has gathered.
typedef struct columns_worker
{
    size_t crossing_count, crossing_room;
    crossing* key;  ///< as found
    uint32_t* cell; ///< of each, in the band
    crossing* sorted;
    uint32_t* start; ///< offsets into sorted by cell
    size_t share_count, share_room;
    columns_tile_share* share;
    size_t* slot; ///< one a label: where in `share` it was met last
    columns_sampled_row* row;
    int64_t left_out, overlap, open; ///< columns
} columns_worker;

static inline int64_t least(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static inline int64_t most(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

static inline double lower(double a, double b)
{
    return a < b ? a : b;
}

static inline double upper(double a, double b)
{
    return a > b ? a : b;
}

static inline int64_t ceil_shift(int64_t value, int bits)
{
    return (value + ((int64_t)1 << bits) - 1) >> bits;
}

static inline uint16_t label_of(const columns_surface* s, size_t index)
{
    return s->label != NULL ? s->label[index] : 0;
}

/// A triangle of a mesh in the grid's frame. Each corner depends on its vertex alone, so that a closed mesh stays so.
static inline columns_triangle triangle_at(const columns_surface* s, const columns_grid* g, size_t index)
{
    columns_triangle t;
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

/// Twice the area of a triangle on the plane, above zero where it turns counter-clockwise.
static inline double twice_area(const double a[3], const double b[3], const double c[3])
{
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

static inline size_t tile_count(const columns_grid* g)
{
    return (size_t)(g->tiles[0] * g->tiles[1]);
}

static inline int32_t lesser(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

static inline int32_t greater(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static inline int32_t tile_at(const columns_grid* g, double at_mm, int side)
{
    return greater(0, lesser((int32_t)g->tiles[side] - 1, (int32_t)(at_mm * g->tiles_per_mm)));
}

/// Tiles along one side that a polygon of `count` corners reaches.
static inline void reach_along(double (*at_mm)[3], int count, const columns_grid* g, int side, int32_t* low,
                               int32_t* high)
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

/// Tiles that the box around a triangle reaches.
static inline columns_tile_box reach_of(columns_triangle* t, const columns_grid* g)
{
    columns_tile_box box;
    for (int side = 0; side < 2; side++)
        reach_along(t->at_mm, 3, g, side, &box.low[side], &box.high[side]);
    return box;
}

static inline void extend_reach(columns_tile_box* box, const columns_tile_box* by)
{
    for (int side = 0; side < 2; side++)
    {
        box->low[side] = lesser(box->low[side], by->low[side]);
        box->high[side] = greater(box->high[side], by->high[side]);
    }
}

/// Whether any tile of a box is sampled.
static inline bool any_sampled(const columns_tiling* t, const columns_grid* g, const columns_tile_box* box)
{
    const int64_t width = g->tiles[0] + 1;
    const uint32_t* below = t->table + box->low[1] * width;
    const uint32_t* above = t->table + (box->high[1] + 1) * width;
    return above[box->high[0] + 1] - above[box->low[0]] != below[box->high[0] + 1] - below[box->low[0]];
}

/// Where a coordinate lies on the sub-grid, from sample 0 on.
static inline int64_t snap(const columns_grid* g, double at_mm)
{
    return (int64_t)lrint(at_mm * g->units_per_mm) - ((int64_t)1 << g->sub_bits) / 2;
}

/// Lay a grid over both solids along `axis`. Fails as rlv_columns_compare does.
rlv_status columns_grid_lay(columns_grid* g, const rlv_solid* const solid[2], rlv_axis axis, double pitch_mm,
                            rlv_error* error);

/// See a solid as the grid does, in chunks of triangles not yet sorted. Free with columns_surface_free.
rlv_status columns_surface_lay(columns_surface* s, const columns_grid* g, const rlv_solid* solid, rlv_error* error);
void columns_surface_free(columns_surface* s);

/// Reserve the tiles of a grid. Free with columns_tiling_free.
rlv_status columns_tiling_lay(columns_tiling* t, const columns_grid* g, size_t label_count, rlv_error* error);
void columns_tiling_free(columns_tiling* t);

/// Note the label of a triangle in all tiles it reaches. `up`: it faces up.
void columns_tiles_see(columns_tiling* t, const columns_grid* g, const columns_triangle* at,
                       const columns_tile_box* box, uint16_t label, bool up);

/// Decide which tiles are sampled, and count them in the table.
void columns_tiles_choose(columns_tiling* t, const columns_grid* g, size_t label_count);

/// Volume of a triangle's prism in sampled tiles, to each of which `sign` times its part is added.
double columns_tiles_sum(columns_tiling* t, const columns_grid* g, const columns_triangle* at,
                         const columns_tile_box* box, double sign);

/// Sum a mesh's triangles exactly by label, note their labels in the tiles, and sort those that may hold a sample by
/// band, on all threads.
rlv_status columns_surface_sort(columns_surface* s, const columns_grid* g, columns_tiling* t, size_t label_count,
                                rlv_error* error);

/// Take what lies in sampled tiles out of the exact sums of a mesh, on all threads. `sign`: 1 for the first mesh, -1
/// for the second.
rlv_status columns_surface_take_out(columns_surface* s, const columns_grid* g, columns_tiling* t, double sign,
                                    size_t label_count, rlv_error* error);

/// Find the samples of triangle `index` in rows `row` up to `row_end`; false where memory ran out.
bool columns_scan(columns_worker* w, const columns_surface* s, const columns_grid* g, size_t index, int mesh,
                  int64_t row, int64_t row_end);

/// Sort the crossings found by cell and depth; false where memory ran out.
bool columns_scan_sort(columns_worker* w, size_t cells);

/// Scan and walk all bands, on all threads, into the rows and counts of `sum` and one of `shares` a band.
rlv_status columns_walk(columns_worker* sum, columns_band_shares* shares, const columns_surface surfaces[2],
                        const columns_grid* g, columns_tiling* t, size_t label_count, rlv_error* error);
void columns_worker_free(columns_worker* w);

#endif
