/// The grid that two solids are scanned onto.

#include "columns_parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define CELL_LIMIT 2147483648.0 ///< cells of a grid
#define SIDE_LIMIT 16777216.0   ///< cells along a side: leaves 5 bits or more for the sub-grid in a coordinate
#define COORDINATE_BITS 30      ///< of a snapped coordinate, so that an edge function fits 63 bits
#define SUB_GRID_BITS_MOST 14   ///< at 0.5 mm this is 0.03 um, what a float is good for 256 mm from its origin
#define BAND_CELLS 32768        ///< aimed at: a band's crossings then stay in the cache
#define TILE_BITS_LEAST 2       ///< a tile is four cells wide
#define TILE_LIMIT 1048576      ///< tiles of a grid; they grow before they pass it

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

static void divide_grid(columns_grid* g, const double extent[2], const double low[3])
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

rlv_status columns_grid_lay(columns_grid* g, const rlv_solid* const solid[2], rlv_axis axis, double pitch_mm,
                            rlv_error* error)
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

rlv_status columns_surface_lay(columns_surface* s, const columns_grid* g, const rlv_solid* solid, rlv_error* error)
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

void columns_surface_free(columns_surface* s)
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
