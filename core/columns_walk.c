/// Walking the columns: which runs one solid fills and the other does not.

#include "columns_parts.h"

#include <stdlib.h>
#include <string.h>

#define TOUCHING_DEPTH 512 ///< 2^-22 of the range, a few roundings of float vertices: closer is touching

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
static columns_tile_share* share_of(columns_worker* w, uint32_t tile, uint16_t label)
{
    size_t slot = w->slot[label];
    if (slot < w->share_count && w->share[slot].tile == tile && w->share[slot].label == label)
        return &w->share[slot];
    if (w->share_count == w->share_room)
    {
        size_t room = w->share_room == 0 ? 4096 : 2 * w->share_room;
        columns_tile_share* share = realloc(w->share, room * sizeof *share);
        if (share == NULL)
            return NULL;
        w->share = share;
        w->share_room = room;
    }
    w->slot[label] = w->share_count;
    w->share[w->share_count] = (columns_tile_share){.tile = tile, .label = label};
    return &w->share[w->share_count++];
}

static bool add_run(columns_worker* w, uint32_t tile, uint8_t* flag, crossing low, crossing high, int mesh)
{
    uint16_t label = label_of_run(low, high);
    uint32_t length = crossing_depth(high) - crossing_depth(low);
    if (crossing_label(low) != crossing_label(high))
        *flag |= TILE_ENDS_MIX;
    columns_sampled_row* row = &w->row[label];
    row->only[mesh] += length;
    row->longest = length > row->longest ? length : row->longest;
    columns_tile_share* share = share_of(w, tile, label);
    if (share != NULL)
        share->only[mesh] += length;
    return share != NULL;
}

static bool winds_twice(const int winding[2])
{
    return winding[0] < 0 || winding[0] > 1 || winding[1] < 0 || winding[1] > 1;
}

/// Walk one column from its low end; false where memory ran out.
static bool walk_column(columns_worker* w, uint32_t tile, uint8_t* flag, const crossing* key, size_t count)
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
static bool walk_band(columns_worker* w, const columns_grid* g, columns_tiling* t, int64_t row, int64_t row_end)
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
static bool work_band(columns_worker* w, const columns_surface surfaces[2], const columns_grid* g, columns_tiling* t,
                      int64_t band, columns_band_shares* shares)
{
    int64_t row = band * g->band_rows, row_end = least(g->size[1], row + g->band_rows);
    w->crossing_count = 0;
    w->share_count = 0;
    for (int mesh = 0; mesh < 2; mesh++)
        for (size_t i = 0; i < surfaces[mesh].chunk_count; i++)
        {
            const columns_chunk* c = &surfaces[mesh].chunk[i];
            for (uint32_t k = c->start[band]; k < c->start[band + 1]; k++)
            {
                if (!columns_scan(w, &surfaces[mesh], g, c->first + c->place[k], mesh, row, row_end))
                    return false;
            }
        }
    if (!columns_scan_sort(w, (size_t)((row_end - row) * g->size[0])) || !walk_band(w, g, t, row, row_end))
        return false;
    shares->share = malloc((w->share_count + 1) * sizeof *shares->share);
    if (shares->share == NULL)
        return false;
    shares->count = w->share_count;
    if (w->share_count != 0)
        memcpy(shares->share, w->share, w->share_count * sizeof *shares->share);
    return true;
}

static void add_worker(columns_worker* sum, const columns_worker* w, size_t label_count)
{
    for (size_t i = 0; i < label_count; i++)
    {
        columns_sampled_row* to = &sum->row[i];
        const columns_sampled_row* from = &w->row[i];
        to->only[0] += from->only[0];
        to->only[1] += from->only[1];
        to->longest = from->longest > to->longest ? from->longest : to->longest;
    }
    sum->left_out += w->left_out;
    sum->overlap += w->overlap;
    sum->open += w->open;
}

void columns_worker_free(columns_worker* w)
{
    free(w->key);
    free(w->cell);
    free(w->sorted);
    free(w->start);
    free(w->share);
    free(w->slot);
    free(w->row);
}

rlv_status columns_walk(columns_worker* sum, columns_band_shares* shares, const columns_surface surfaces[2],
                        const columns_grid* g, columns_tiling* t, size_t label_count, rlv_error* error)
{
    bool held = true;
#pragma omp parallel reduction(&& : held) if (g->band_count > 1)
    {
        columns_worker w = {0};
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
        columns_worker_free(&w);
    }
    return held ? RLV_DONE
                : rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or take a wider pitch",
                           "no memory for a band of columns");
}
