#include "cubes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    AXIS_BITS = 19, // three axes and a tag of seven bits fill a key of 64
    AXIS_MASK = (1 << AXIS_BITS) - 1,
    AXIS_ZERO = 1 << (AXIS_BITS - 1),
};

static uint64_t key_of(const float point_mm[3], uint8_t tag, double per_mm)
{
    uint64_t key = tag;
    for (int i = 0; i < 3; i++)
    {
        double at = (double)point_mm[i] * per_mm;
        at = at < -AXIS_ZERO ? -AXIS_ZERO : at > AXIS_MASK - AXIS_ZERO ? AXIS_MASK - AXIS_ZERO : at;
        int64_t whole = (int64_t)at; // the floor, without a call
        whole -= (double)whole > at;
        key = key << AXIS_BITS | (uint64_t)(whole + AXIS_ZERO);
    }
    return key;
}

enum
{
    RUN_BITS =
        2, // of the last axis: so many neighbours stand side by side in the table, for they are asked of together
};

static size_t place_of(const rlv_cubes* cells, uint64_t key)
{
    const uint64_t within = key & ((1u << RUN_BITS) - 1u);
    key >>= RUN_BITS;
    key ^= key >> 31; // a mixer with odd constants: other neighbours must not share a run of the table
    key *= 0x9e3779b97f4a7c15u;
    key ^= key >> 29;
    return (size_t)(key << RUN_BITS | within) & cells->table_mask;
}

/// The number of the cell with `key`; a free place in the table where there is none.
static uint32_t* find(const rlv_cubes* cells, uint64_t key)
{
    size_t place = place_of(cells, key);
    while (cells->table[place] != RLV_CUBES_NONE && cells->key[cells->table[place]] != key)
        place = (place + 1) & cells->table_mask;
    return cells->table + place;
}

/// A table of `places`, a power of two, with all cells in it.
static rlv_status make_table(rlv_cubes* cells, size_t places, rlv_error* error)
{
    free(cells->table);
    cells->table_mask = places - 1;
    cells->table = rlv_reserve(places, sizeof *cells->table, error);
    if (cells->table == NULL)
        return RLV_SYSTEM;
    memset(cells->table, 0xff, places * sizeof *cells->table);
    for (size_t c = 0; c < cells->count; c++)
        *find(cells, cells->key[c]) = (uint32_t)c;
    return RLV_DONE;
}

/// Number the cells in the order in which points come to them. The table grows with the cells, which are far fewer than
/// the points: a small one stays near the processor.
static rlv_status number_cells(rlv_cubes* cells, size_t count, const float* point_mm, const uint8_t* tag,
                               rlv_error* error)
{
    const double per_mm = 1.0 / cells->side_mm;
    rlv_status status = make_table(cells, 1024, error);
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        uint64_t key = key_of(point_mm + 3 * i, tag != NULL ? tag[i] : 0, per_mm);
        uint32_t* number = find(cells, key);
        cells->of_point[i] = *number;
        if (*number != RLV_CUBES_NONE)
            continue;
        cells->of_point[i] = *number = (uint32_t)cells->count;
        cells->key[cells->count++] = key;
        if (2 * cells->count > cells->table_mask)
            status = make_table(cells, 2 * (cells->table_mask + 1), error);
    }
    return status;
}

static rlv_status list_members(rlv_cubes* cells, size_t count, rlv_error* error)
{
    cells->start = rlv_reserve(cells->count + 1, sizeof *cells->start, error);
    cells->member = cells->start != NULL ? rlv_reserve(count, sizeof *cells->member, error) : NULL;
    if (cells->member == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        cells->start[cells->of_point[i] + 1]++;
    for (size_t c = 0; c < cells->count; c++)
        cells->start[c + 1] += cells->start[c];
    for (size_t i = count; i-- > 0;)
        cells->member[--cells->start[cells->of_point[i] + 1]] = (uint32_t)i;
    // Filling from the back left each start one cell early.
    memmove(cells->start, cells->start + 1, cells->count * sizeof *cells->start);
    cells->start[cells->count] = (uint32_t)count;
    return RLV_DONE;
}

rlv_status rlv_cubes_build(rlv_cubes* cells, size_t count, const float* point_mm, const uint8_t* tag, double side_mm,
                           rlv_error* error)
{
    cells->side_mm = side_mm;
    cells->of_point = rlv_reserve(count, sizeof *cells->of_point, error);
    cells->key = cells->of_point != NULL ? rlv_reserve(count, sizeof *cells->key, error) : NULL;
    rlv_status status = cells->key != NULL ? number_cells(cells, count, point_mm, tag, error) : RLV_SYSTEM;
    return status == RLV_DONE ? list_members(cells, count, error) : status;
}

void rlv_cubes_free(rlv_cubes* cells)
{
    free(cells->of_point);
    free(cells->start);
    free(cells->member);
    free(cells->key);
    free(cells->table);
    memset(cells, 0, sizeof *cells);
}

/// The key of the cell `step` away; false beyond what keys can tell.
static bool move_key(uint64_t* key, const int step[3])
{
    uint64_t moved = *key >> (3 * AXIS_BITS);
    for (int i = 0; i < 3; i++)
    {
        const int64_t at = (int64_t)(*key >> ((2 - i) * AXIS_BITS) & AXIS_MASK) + step[i];
        if (at < 0 || at > AXIS_MASK)
            return false;
        moved = moved << AXIS_BITS | (uint64_t)at;
    }
    *key = moved;
    return true;
}

uint32_t rlv_cubes_near(const rlv_cubes* cells, uint32_t cell, const int step[3])
{
    uint64_t key = cells->key[cell];
    return move_key(&key, step) ? *find(cells, key) : RLV_CUBES_NONE;
}

uint32_t rlv_cubes_at(const rlv_cubes* cells, const float point_mm[3], uint8_t tag)
{
    return *find(cells, key_of(point_mm, tag, 1.0 / cells->side_mm));
}

void rlv_cubes_look_about(rlv_cubes_about* about, const rlv_cubes* cells, const float point_mm[3], uint8_t tag)
{
    const uint64_t own = key_of(point_mm, tag, 1.0 / cells->side_mm);
    if (about->known && about->key == own)
        return;
    *about = (rlv_cubes_about){.known = true, .key = own};
    for (int step = 0; step < 27; step++)
    {
        uint64_t key = own;
        const uint32_t cell = move_key(&key, (const int[3]){step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1})
                                  ? *find(cells, key)
                                  : RLV_CUBES_NONE;
        if (cell != RLV_CUBES_NONE)
            about->cell[about->count++] = cell;
    }
}

uint8_t rlv_cubes_facing(const float normal[3])
{
    int axis = 0;
    for (int k = 1; k < 3; k++)
        if (fabsf(normal[k]) > fabsf(normal[axis]))
            axis = k;
    return (uint8_t)(2 * axis + (normal[axis] < 0.0f));
}
