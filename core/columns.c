/// Layered depth columns after J. Shade, S. Gortler, L. He, R. Szeliski, Layered depth images, SIGGRAPH 1998, with the
/// edge functions of J. Pineda, A parallel algorithm for polygon rasterization, SIGGRAPH 1988.

#include "columns.h"

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CELL_LIMIT 2147483648.0 ///< cells of a grid
#define SIDE_LIMIT 16777216.0   ///< cells along a side: leaves 6 bits or more for the sub-grid in a 30-bit coordinate
#define COORDINATE_BITS 30      ///< of a snapped coordinate, so that an edge function fits 63 bits
#define SUB_GRID_BITS_MOST 14   ///< at 0.5 mm this is 0.03 um, as fine as a float 200 mm from its origin
#define BAND_CELLS 32768        ///< aimed at: a band's crossings then stay in the cache
#define CHUNK_TRIANGLES 65536   ///< at most, so that a place in a chunk fits 16 bits
#define DEPTH_MOST 2147483647.0 ///< depth is a whole number of this many parts of the range: sums are exact
#define TOUCHING_DEPTH 512      ///< 2^-22 of the range, the rounding of float vertices: closer is touching

/// The grid that both meshes are scanned onto. Samples are at the cells' centres.
typedef struct grid
{
    int across[2]; ///< coordinates in the plane, so that (across, along) is right-handed
    int along;     ///< coordinate that the columns run along
    double pitch_mm;
    double origin_mm[3]; ///< corner of cell (0, 0); [2] is the low end of the depth
    double middle_mm;    ///< depth that prisms are measured from, above origin_mm[2]
    double depth_unit_mm;
    int64_t size[2];
    int sub_bits; ///< a pitch is 2^sub_bits units of the sub-grid
    int64_t band_rows, band_count;
} grid;

/// A chunk of a mesh: its triangles that may hold a sample, by band, and what its labels hold exactly.
typedef struct chunk
{
    size_t first, count;   ///< triangles
    uint16_t* place;       ///< triangles that may hold a sample, counted from `first`, sorted by band
    uint32_t* start;       ///< band_count + 1 offsets into place
    size_t row_count;      ///< labels seen
    struct exact_row* row; ///< one a label seen
} chunk;

/// What the triangles of one label hold exactly, in a chunk.
typedef struct exact_row
{
    uint16_t label;
    double prism_mm3; ///< signed volume between the triangles and the middle depth
    double area_mm2;
} exact_row;

/// One of the two meshes, as the grid sees it.
typedef struct surface
{
    const rlv_mesh* mesh;
    const uint16_t* label;
    double shift_mm[3];  ///< from the mesh's local zero to the grid's: across, across, along
    double sub_scale;    ///< units of the sub-grid in a mm
    double sub_shift[2]; ///< units from the mesh's local zero to sample (0, 0)
    size_t chunk_count;
    chunk* chunk;
} surface;

/// A crossing of a column with a triangle, as a key that sorts by depth, then entering before leaving (so that surfaces
/// that touch do not wind less than nought), then by mesh and label.
typedef uint64_t crossing;
#define CROSSING_LEAVES (UINT64_C(1) << 17)
#define CROSSING_SECOND (UINT64_C(1) << 16)

static uint32_t crossing_depth(crossing key)
{
    return (uint32_t)(key >> 32);
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
    int64_t only[2];  ///< filled by one solid alone
    int64_t moved;    ///< signed depth of crossings taken over from other labels, less those given away
    uint32_t longest; ///< run
    bool irregular;   ///< some of it lies in columns that the control variate cannot speak for
} sampled_row;

/// What one thread needs to work through a band. Sums are whole numbers, so that their order does not matter.
typedef struct worker
{
    size_t crossing_count, crossing_room;
    crossing* key;  ///< as they were found
    uint32_t* cell; ///< cell in the band of each
    crossing* sorted;
    uint32_t* start; ///< offsets into sorted by cell
    sampled_row* row;
    int64_t left_out, overlap, open; ///< columns
} worker;

/// A triangle on the sub-grid, wound counter-clockwise.
typedef struct flat_triangle
{
    int64_t x[3], y[3];
    double depth[3]; ///< in depth units
    int64_t area;    ///< twice its area, above zero
    crossing mark;   ///< key without depth
} flat_triangle;

static int64_t ceil_shift(int64_t value, int bits)
{
    return (value + ((int64_t)1 << bits) - 1) >> bits;
}

static int64_t least(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t most(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

/// Where a vertex lies on the sub-grid: a function of the vertex alone, so that a closed mesh stays closed.
static int64_t snap(const surface* s, const grid* g, const float* at, int side)
{
    return (int64_t)lrint((double)at[g->across[side]] * s->sub_scale + s->sub_shift[side]);
}

// ---- the grid ----

/// Extend `low` and `high` by the triangles of a mesh; false where a coordinate is not finite.
static bool extend_box(const rlv_mesh* mesh, double low[3], double high[3])
{
    float a[3] = {INFINITY, INFINITY, INFINITY}, b[3] = {-INFINITY, -INFINITY, -INFINITY};
    bool sound = true;
#pragma omp parallel for reduction(min : a[:3]) reduction(max : b[:3]) reduction(&& : sound) schedule(static)
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

static rlv_status lay_grid(grid* g, const rlv_solid* const solid[2], rlv_axis axis, double pitch_mm, rlv_error* error)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    if (!extend_box(solid[0]->mesh, low, high) || !extend_box(solid[1]->mesh, low, high))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "repair the mesh", "a coordinate is not a finite number");
    if (!(low[0] <= high[0]))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a mesh with triangles", "neither solid has a triangle");
    g->along = (int)axis;
    g->across[0] = (g->along + 1) % 3;
    g->across[1] = (g->along + 2) % 3;
    g->pitch_mm = pitch_mm;
    const double extent[2] = {high[g->across[0]] - low[g->across[0]], high[g->across[1]] - low[g->across[1]]};
    if (!pitch_fits(extent, pitch_mm))
    {
        char mend[128];
        snprintf(mend, sizeof mend, "take a pitch of %.3g mm or more", fitting_pitch(extent));
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, mend, "a pitch of %g mm gives more columns than can be counted",
                        pitch_mm);
    }
    int side_bits = 0;
    for (int i = 0; i < 2; i++)
    {
        g->size[i] = (int64_t)fmax(1.0, ceil(extent[i] / pitch_mm));
        double middle = 0.5 * (low[g->across[i]] + high[g->across[i]]);
        g->origin_mm[i] = middle - 0.5 * pitch_mm * (double)g->size[i];
        while (((int64_t)1 << side_bits) < g->size[i] + 1)
            side_bits++;
    }
    g->sub_bits = (int)least(SUB_GRID_BITS_MOST, COORDINATE_BITS - side_bits);
    double range = high[g->along] - low[g->along];
    g->origin_mm[2] = low[g->along];
    g->middle_mm = 0.5 * range;
    g->depth_unit_mm = (range > 0.0 ? range : 1.0) / DEPTH_MOST;
    g->band_rows = most(1, BAND_CELLS / g->size[0]);
    g->band_count = (g->size[1] + g->band_rows - 1) / g->band_rows;
    return RLV_DONE;
}

static rlv_status lay_surface(surface* s, const grid* g, const rlv_solid* solid, rlv_error* error)
{
    s->mesh = solid->mesh;
    s->label = solid->label;
    const double origin[3] = {s->mesh->origin_mm.x, s->mesh->origin_mm.y, s->mesh->origin_mm.z};
    s->sub_scale = ldexp(1.0, g->sub_bits) / g->pitch_mm;
    for (int i = 0; i < 2; i++)
    {
        s->shift_mm[i] = origin[g->across[i]] - g->origin_mm[i];
        s->sub_shift[i] = s->shift_mm[i] * s->sub_scale - ldexp(0.5, g->sub_bits);
    }
    s->shift_mm[2] = origin[g->along] - g->origin_mm[2];
    size_t count = s->mesh->triangle_count;
    size_t length = count / 64 + 1;
    length = length < 1024 ? 1024 : length > CHUNK_TRIANGLES ? CHUNK_TRIANGLES : length;
    s->chunk_count = (count + length - 1) / length;
    s->chunk = rlv_reserve(s->chunk_count, sizeof *s->chunk, error);
    if (s->chunk == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < s->chunk_count; i++)
    {
        s->chunk[i].first = i * length;
        s->chunk[i].count = count - i * length < length ? count - i * length : length;
    }
    return RLV_DONE;
}

static void free_surface(surface* s)
{
    for (size_t i = 0; i < s->chunk_count && s->chunk != NULL; i++)
    {
        free(s->chunk[i].place);
        free(s->chunk[i].start);
        free(s->chunk[i].row);
    }
    free(s->chunk);
}

// ---- exact sums, and which triangles may hold a sample ----

/// Bands that a triangle's samples may lie in; false where its box on the sub-grid holds no sample.
static bool bands_of(const surface* s, const grid* g, const float* const at[3], uint32_t bands[2])
{
    int64_t low[2], high[2];
    for (int i = 0; i < 2; i++)
    {
        int64_t a = snap(s, g, at[0], i), b = snap(s, g, at[1], i), c = snap(s, g, at[2], i);
        low[i] = most(0, ceil_shift(least(a, least(b, c)), g->sub_bits));
        high[i] = least(g->size[i] - 1, most(a, most(b, c)) >> g->sub_bits);
    }
    if (low[0] > high[0] || low[1] > high[1])
        return false;
    bands[0] = (uint32_t)(low[1] / g->band_rows);
    bands[1] = (uint32_t)(high[1] / g->band_rows);
    return true;
}

/// Add what a triangle holds to its label's row.
static void add_exact(exact_row* row, const surface* s, const grid* g, const float* const at[3])
{
    double e[2][3], depth = 0.0;
    const int order[3] = {g->across[0], g->across[1], g->along};
    for (int d = 0; d < 3; d++)
    {
        e[0][d] = (double)at[1][order[d]] - (double)at[0][order[d]];
        e[1][d] = (double)at[2][order[d]] - (double)at[0][order[d]];
    }
    for (int i = 0; i < 3; i++)
        depth += (double)at[i][g->along];
    double n0 = e[0][1] * e[1][2] - e[0][2] * e[1][1];
    double n1 = e[0][2] * e[1][0] - e[0][0] * e[1][2];
    double n2 = e[0][0] * e[1][1] - e[0][1] * e[1][0];
    row->prism_mm3 += 0.5 * n2 * (depth / 3.0 + (s->shift_mm[2] - g->middle_mm));
    row->area_mm2 += 0.5 * sqrt(n0 * n0 + n1 * n1 + n2 * n2);
}

/// Room for one thread's work on a chunk.
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

/// Sum a chunk's triangles exactly, and sort those that may hold a sample by band.
static rlv_status sort_chunk(chunk* c, const surface* s, const grid* g, size_t label_count, sorter* room,
                             rlv_error* error)
{
    size_t count = 0;
    for (size_t i = 0; i < c->count; i++)
    {
        const uint32_t* corner = s->mesh->corner + 3 * (c->first + i);
        const float* const at[3] = {s->mesh->position_mm + 3 * (size_t)corner[0],
                                    s->mesh->position_mm + 3 * (size_t)corner[1],
                                    s->mesh->position_mm + 3 * (size_t)corner[2]};
        uint16_t label = s->label != NULL ? s->label[c->first + i] : 0;
        if (label >= label_count)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "count the labels from 0", "triangle %zu has label %u of %zu",
                            c->first + i, (unsigned)label, label_count);
        if (!room->known[label])
        {
            room->known[label] = true;
            room->seen[room->row_count++] = label;
        }
        add_exact(&room->row[label], s, g, at);
        room->place[count] = (uint16_t)i;
        count += bands_of(s, g, at, room->bands[count]);
    }
    rlv_status status = keep_rows(c, room, error);
    return status == RLV_DONE ? keep_places(c, room, count, g, error) : status;
}

/// Sort all chunks of a mesh, on all threads.
static rlv_status sort_surface(surface* s, const grid* g, size_t label_count, rlv_error* error)
{
    rlv_status status = RLV_DONE;
#pragma omp parallel
    {
        sorter room = {0};
        rlv_error own_error = {0};
        rlv_status own = reserve_sorter(&room, label_count, &own_error);
#pragma omp for schedule(dynamic)
        for (size_t i = 0; i < s->chunk_count; i++)
            if (own == RLV_DONE)
                own = sort_chunk(&s->chunk[i], s, g, label_count, &room, &own_error);
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

// ---- scan conversion ----

/// Lay a triangle on the sub-grid; false where it has no area there.
static bool flatten(flat_triangle* flat, const surface* s, const grid* g, size_t triangle, int mesh)
{
    const uint32_t* corner = s->mesh->corner + 3 * triangle;
    for (int i = 0; i < 3; i++)
    {
        const float* at = s->mesh->position_mm + 3 * (size_t)corner[i];
        flat->x[i] = snap(s, g, at, 0);
        flat->y[i] = snap(s, g, at, 1);
        flat->depth[i] = ((double)at[g->along] + s->shift_mm[2]) / g->depth_unit_mm;
    }
    flat->area =
        (flat->x[1] - flat->x[0]) * (flat->y[2] - flat->y[0]) - (flat->y[1] - flat->y[0]) * (flat->x[2] - flat->x[0]);
    flat->mark = (mesh != 0 ? CROSSING_SECOND : 0) | (s->label != NULL ? s->label[triangle] : 0);
    if (flat->area > 0)
        flat->mark |= CROSSING_LEAVES;
    else
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
            depth = fmin(fmax(depth * share + 0.5, 0.0), DEPTH_MOST);
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
        missing[crossing_mesh(key[i])] += (key[i] & CROSSING_LEAVES) != 0 ? 1 : -1;
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

/// Signed depth of a crossing in first minus second: what a run's end adds.
static int64_t signed_depth(crossing key)
{
    int64_t depth = (int64_t)crossing_depth(key) - (int64_t)(DEPTH_MOST / 2);
    bool leaves = (key & CROSSING_LEAVES) != 0;
    return leaves == (crossing_mesh(key) == 0) ? depth : -depth;
}

static void add_run(worker* w, crossing low, crossing high, int mesh)
{
    uint16_t label = label_of_run(low, high);
    sampled_row* row = &w->row[label];
    uint32_t length = crossing_depth(high) - crossing_depth(low);
    row->only[mesh] += length;
    row->longest = length > row->longest ? length : row->longest;
    const crossing ends[2] = {low, high};
    for (int i = 0; i < 2; i++)
        if (crossing_label(ends[i]) != label)
        {
            row->moved += signed_depth(ends[i]);
            w->row[crossing_label(ends[i])].moved -= signed_depth(ends[i]);
        }
}

static void walk_column(worker* w, const crossing* key, size_t count)
{
    column_start start = start_column(key, count);
    bool open = start.left_out || start.winding[0] != 0;
    w->open += open;
    w->left_out += start.left_out;
    bool irregular = open;
    if (!start.left_out)
    {
        int winding[2] = {start.winding[0], start.winding[1]};
        bool overlap = false;
        size_t run = 0; // where the run began
        for (size_t i = 0; i < count; i++)
        {
            if (i > 0 && crossing_depth(key[i]) - crossing_depth(key[i - 1]) > TOUCHING_DEPTH)
                overlap = overlap || winding[0] < 0 || winding[0] > 1 || winding[1] < 0 || winding[1] > 1;
            const bool fills[2] = {winding[0] > 0, winding[1] > 0};
            winding[crossing_mesh(key[i])] += (key[i] & CROSSING_LEAVES) != 0 ? -1 : 1;
            bool was = fills[0] != fills[1], is = (winding[0] > 0) != (winding[1] > 0);
            if (was && !is)
                add_run(w, key[run], key[i], fills[1]);
            if (!was && is)
                run = i;
        }
        w->overlap += overlap;
        irregular = irregular || overlap;
    }
    for (size_t i = 0; i < count && irregular; i++)
        w->row[crossing_label(key[i])].irregular = true;
}

/// Scan and walk one band.
static bool work_band(worker* w, const surface surfaces[2], const grid* g, int64_t band)
{
    int64_t row = band * g->band_rows, row_end = least(g->size[1], row + g->band_rows);
    w->crossing_count = 0;
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
    size_t cells = (size_t)((row_end - row) * g->size[0]);
    if (!sort_band(w, cells))
        return false;
    for (size_t i = 0; i < cells; i++)
        if (w->start[i + 1] > w->start[i])
            walk_column(w, w->sorted + w->start[i], w->start[i + 1] - w->start[i]);
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
        to->moved += from->moved;
        to->longest = from->longest > to->longest ? from->longest : to->longest;
        to->irregular = to->irregular || from->irregular;
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
    free(w->row);
}

/// Scan and walk all bands, on all threads, into the rows and counts of `sum`.
static rlv_status work_bands(worker* sum, const surface surfaces[2], const grid* g, size_t label_count,
                             rlv_error* error)
{
    bool held = true;
#pragma omp parallel reduction(&& : held)
    {
        worker w = {0};
        size_t cells = (size_t)(g->band_rows * g->size[0]);
        held = (w.start = calloc(cells + 2, sizeof *w.start)) != NULL &&
               (w.row = calloc(label_count, sizeof *w.row)) != NULL;
#pragma omp for schedule(dynamic)
        for (int64_t band = 0; band < g->band_count; band++)
            held = held && work_band(&w, surfaces, g, band);
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

static void add_exact_rows(rlv_columns_difference* difference, const surface surfaces[2])
{
    for (int mesh = 0; mesh < 2; mesh++)
        for (size_t i = 0; i < surfaces[mesh].chunk_count; i++)
            for (size_t k = 0; k < surfaces[mesh].chunk[i].row_count; k++)
            {
                const exact_row* from = &surfaces[mesh].chunk[i].row[k];
                rlv_columns_label* to = &difference->label[from->label];
                to->signed_mm3 += mesh == 0 ? from->prism_mm3 : -from->prism_mm3;
                *(mesh == 0 ? &to->first_area_mm2 : &to->second_area_mm2) += from->area_mm2;
            }
}

static void add_sampled_rows(rlv_columns_difference* difference, const worker* sum, const grid* g)
{
    double cell_mm2 = g->pitch_mm * g->pitch_mm, unit_mm3 = cell_mm2 * g->depth_unit_mm;
    for (size_t i = 0; i < difference->label_count; i++)
    {
        rlv_columns_label* to = &difference->label[i];
        const sampled_row* from = &sum->row[i];
        to->first_only_mm3 = unit_mm3 * (double)from->only[0];
        to->second_only_mm3 = unit_mm3 * (double)from->only[1];
        to->max_run_mm = g->depth_unit_mm * (double)from->longest;
        if (from->irregular)
            to->signed_mm3 = unit_mm3 * (double)(from->only[0] - from->only[1]);
        else
            to->signed_mm3 += unit_mm3 * (double)from->moved;
        difference->signed_mm3 += to->signed_mm3;
    }
    difference->left_out_mm2 = cell_mm2 * (double)sum->left_out;
    difference->overlap_mm2 = cell_mm2 * (double)sum->overlap;
    difference->open = sum->open != 0;
}

static rlv_status compare(rlv_columns_difference* difference, const rlv_solid* const solid[2], rlv_error* error)
{
    grid g = {0};
    surface surfaces[2] = {0};
    worker sum = {0};
    rlv_status status = lay_grid(&g, solid, difference->axis, difference->pitch_mm, error);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = lay_surface(&surfaces[i], &g, solid[i], error);
    for (int i = 0; i < 2 && status == RLV_DONE; i++)
        status = sort_surface(&surfaces[i], &g, difference->label_count, error);
    if (status == RLV_DONE && (sum.row = rlv_reserve(difference->label_count, sizeof *sum.row, error)) == NULL)
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
        status = work_bands(&sum, surfaces, &g, difference->label_count, error);
    if (status == RLV_DONE)
    {
        add_exact_rows(difference, surfaces);
        add_sampled_rows(difference, &sum, &g);
    }
    free_worker(&sum);
    for (int i = 0; i < 2; i++)
        free_surface(&surfaces[i]);
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
    const rlv_solid* const solid[2] = {first, second};
    rlv_status status = compare(difference, solid, error);
    if (status != RLV_DONE)
        rlv_columns_difference_free(difference);
    return status;
}

void rlv_columns_difference_free(rlv_columns_difference* difference)
{
    free(difference->label);
    *difference = (rlv_columns_difference){0};
}
