/// Exact sums by label, and which triangles may hold a sample, by band.

#include "columns_parts.h"

#include <stdlib.h>

/// The box around a triangle, across and up.
typedef struct span
{
    double low_mm[2], high_mm[2];
} span;

static inline span span_of(const columns_triangle* t)
{
    span box;
    for (int i = 0; i < 2; i++)
    {
        box.low_mm[i] = lower(t->at_mm[0][i], lower(t->at_mm[1][i], t->at_mm[2][i]));
        box.high_mm[i] = upper(t->at_mm[0][i], upper(t->at_mm[1][i], t->at_mm[2][i]));
    }
    return box;
}

static inline columns_tile_box tiles_of(const span* box, const columns_grid* g)
{
    return (columns_tile_box){{tile_at(g, box->low_mm[0], 0), tile_at(g, box->low_mm[1], 1)},
                              {tile_at(g, box->high_mm[0], 0), tile_at(g, box->high_mm[1], 1)}};
}

/// Bands that a triangle's samples may lie in; false where its box on the sub-grid holds no sample.
static inline bool bands_of(const span* box, const columns_grid* g, uint32_t bands[2])
{
    int64_t low = 0, high = 0;
    for (int i = 0; i < 2; i++)
    {
        low = most(0, ceil_shift(snap(g, box->low_mm[i]), g->sub_bits));
        high = least(g->size[i] - 1, snap(g, box->high_mm[i]) >> g->sub_bits);
        if (low > high)
            return false;
    }
    bands[0] = (uint32_t)low / (uint32_t)g->band_rows;
    bands[1] = (uint32_t)high / (uint32_t)g->band_rows;
    return true;
}

/// One thread's room for work on a chunk.
typedef struct sorter
{
    uint32_t (*bands)[2]; ///< one a triangle
    uint16_t* place;
    columns_exact_row* row; ///< one a label, zero between chunks
    uint16_t* seen;         ///< labels seen in the chunk
    bool* known;            ///< one a label
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
static rlv_status keep_rows(columns_chunk* c, sorter* room, rlv_error* error)
{
    c->row = rlv_reserve(room->row_count, sizeof *c->row, error);
    c->row_count = c->row != NULL ? room->row_count : 0;
    for (size_t i = 0; i < room->row_count; i++)
    {
        uint16_t label = room->seen[i];
        room->row[label].label = label;
        if (c->row != NULL)
            c->row[i] = room->row[label];
        room->row[label] = (columns_exact_row){0};
        room->known[label] = false;
    }
    room->row_count = 0;
    return c->row != NULL ? RLV_DONE : RLV_SYSTEM;
}

/// Sort the `count` triangles in `room` by band, into the chunk.
static rlv_status keep_places(columns_chunk* c, const sorter* room, size_t count, const columns_grid* g,
                              rlv_error* error)
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

static columns_exact_row* row_of(sorter* room, uint16_t label)
{
    if (!room->known[label])
    {
        room->known[label] = true;
        room->seen[room->row_count++] = label;
    }
    return &room->row[label];
}

/// Sum a chunk's triangles exactly, note their labels in the tiles, and sort those that may hold a sample by band.
static rlv_status sort_chunk(columns_chunk* c, const columns_surface* s, const columns_grid* g, columns_tiling* t,
                             size_t label_count, sorter* room, rlv_error* error)
{
    size_t count = 0;
    c->reach = rlv_reserve(c->count / BLOCK_TRIANGLES + 1, sizeof *c->reach, error);
    if (c->reach == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < c->count; i++)
    {
        columns_triangle at = triangle_at(s, g, c->first + i);
        uint16_t label = label_of(s, c->first + i);
        if (label >= label_count)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "count the labels from 0", "triangle %zu has label %u of %zu",
                            c->first + i, (unsigned)label, label_count);
        columns_exact_row* row = row_of(room, label);
        const double twice = twice_area(at.at_mm[0], at.at_mm[1], at.at_mm[2]);
        row->prism_mm3 += g->hand * twice * ((at.at_mm[0][2] + at.at_mm[1][2] + at.at_mm[2][2]) / 6.0);
        const span within = span_of(&at);
        columns_tile_box box = tiles_of(&within, g);
        if (i % BLOCK_TRIANGLES == 0)
            c->reach[i / BLOCK_TRIANGLES] = box;
        extend_reach(&c->reach[i / BLOCK_TRIANGLES], &box);
        if (label_count > 1)
            columns_tiles_see(t, g, &at, &box, label, g->hand * twice > 0.0);
        room->place[count] = (uint16_t)i;
        count += bands_of(&within, g, room->bands[count]);
    }
    rlv_status status = keep_rows(c, room, error);
    return status == RLV_DONE ? keep_places(c, room, count, g, error) : status;
}

/// Take what lies in sampled tiles out of a chunk's rows.
static void take_out_chunk(columns_chunk* c, const columns_surface* s, const columns_grid* g, columns_tiling* t,
                           double sign, double* inside_mm3)
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
        columns_triangle at = triangle_at(s, g, c->first + i);
        columns_tile_box box = reach_of(&at, g);
        if (any_sampled(t, g, &box))
            inside_mm3[label_of(s, c->first + i)] += columns_tiles_sum(t, g, &at, &box, sign);
    }
    for (size_t i = 0; i < c->row_count; i++)
        c->row[i].prism_mm3 -= inside_mm3[c->row[i].label];
}

rlv_status columns_surface_sort(columns_surface* s, const columns_grid* g, columns_tiling* t, size_t label_count,
                                rlv_error* error)
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

rlv_status columns_surface_take_out(columns_surface* s, const columns_grid* g, columns_tiling* t, double sign,
                                    size_t label_count, rlv_error* error)
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
