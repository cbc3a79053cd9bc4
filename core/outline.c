#include "outline_parts.h"

#include <stdlib.h>
#include <string.h>

rlv_status rlv_surface_prepare(rlv_surface** surface, const rlv_mesh* mesh, const rlv_tree* tree, rlv_error* error)
{
    rlv_surface* made = rlv_reserve(1, sizeof *made, error);
    if (made == NULL)
        return RLV_SYSTEM;
    made->mesh = mesh;
    rlv_status status = tree != NULL ? RLV_DONE : rlv_tree_build(&made->own_tree, mesh, error);
    made->tree = tree != NULL ? tree : made->own_tree;
    if (status == RLV_DONE)
        status = rlv_mesh_neighbours(&made->neighbour, mesh, error);
    if (status != RLV_DONE)
    {
        rlv_surface_free(made);
        return status;
    }
    *surface = made;
    return RLV_DONE;
}

void rlv_surface_free(rlv_surface* surface)
{
    if (surface == NULL)
        return;
    if (surface->own_tree != NULL)
        rlv_tree_free(surface->own_tree);
    free(surface->neighbour);
    free(surface);
}

void* rlv_outline_room(void* block, size_t count, size_t* capacity, size_t size, rlv_error* error)
{
    if (count < *capacity)
        return block;
    const size_t wanted = *capacity < 64 ? 64 : *capacity + *capacity / 2;
    void* larger = realloc(block, wanted * size);
    if (larger == NULL)
    {
        rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh", "no memory for an outline");
        return NULL;
    }
    *capacity = wanted;
    return larger;
}

// --- numbers ---------------------------------------------------------------------------------------------------------

static rlv_status numbers_reserve(outline_numbers* numbers, size_t places, rlv_error* error)
{
    numbers->entry = rlv_reserve(places, sizeof *numbers->entry, error);
    if (numbers->entry == NULL)
        return RLV_SYSTEM;
    memset(numbers->entry, 0xff, places * sizeof *numbers->entry); // OUTLINE_FREE
    numbers->mask = places - 1;
    return RLV_DONE;
}

rlv_status rlv_outline_numbers_begin(outline_numbers* numbers, rlv_error* error)
{
    *numbers = (outline_numbers){0};
    return numbers_reserve(numbers, 1024, error);
}

void rlv_outline_numbers_free(outline_numbers* numbers)
{
    free(numbers->entry);
    *numbers = (outline_numbers){0};
}

/// The place of a vertex, or the free one where it belongs.
static uint64_t* place_of(const outline_numbers* numbers, uint32_t vertex)
{
    size_t place = (vertex * 0x9e3779b97f4a7c15u >> 24) & numbers->mask;
    while (numbers->entry[place] != OUTLINE_FREE && numbers->entry[place] >> 32 != vertex)
        place = (place + 1) & numbers->mask;
    return numbers->entry + place;
}

static rlv_status numbers_grow(outline_numbers* numbers, rlv_error* error)
{
    const outline_numbers old = *numbers;
    if (numbers_reserve(numbers, 2 * (old.mask + 1), error) != RLV_DONE)
    {
        *numbers = old;
        return RLV_SYSTEM;
    }
    for (size_t i = 0; i <= old.mask; i++)
        if (old.entry[i] != OUTLINE_FREE)
            *place_of(numbers, (uint32_t)(old.entry[i] >> 32)) = old.entry[i];
    free(old.entry);
    return RLV_DONE;
}

uint64_t* rlv_outline_numbers_at(outline_numbers* numbers, uint32_t vertex, rlv_error* error)
{
    if (2 * numbers->count > numbers->mask && numbers_grow(numbers, error) != RLV_DONE)
        return NULL;
    uint64_t* at = place_of(numbers, vertex);
    if (*at == OUTLINE_FREE)
    {
        *at = (uint64_t)vertex << 32 | UINT32_MAX;
        numbers->count++;
    }
    return at;
}

// --- outlines --------------------------------------------------------------------------------------------------------

static uint32_t vertex_around(const outline_corner* corner, size_t count, size_t first, size_t step, bool back)
{
    return corner[(first + (back ? count - step : step)) % count].vertex;
}

/// Where a ring begins and which way it runs, whatever order it was given in: at its lowest vertex, towards the lower
/// neighbour. Where that vertex comes twice the ring touches itself there, and the first is taken.
static size_t ring_start(const outline_corner* corner, size_t count, bool* back)
{
    size_t first = 0;
    for (size_t i = 1; i < count; i++)
        if (corner[i].vertex < corner[first].vertex)
            first = i;
    *back = vertex_around(corner, count, first, 1, true) < vertex_around(corner, count, first, 1, false);
    return first;
}

static rlv_status walk_ring(outline_walk* walk, const rlv_surface* surface, const outline_corner* corner, size_t count,
                            rlv_error* error)
{
    bool back;
    size_t at = ring_start(corner, count, &back);
    rlv_status status = RLV_DONE;
    for (size_t i = 0; status == RLV_DONE && i < count; i++)
    {
        const size_t next = (at + (back ? count - 1 : 1)) % count;
        status = rlv_outline_join(walk, surface, corner + at, corner + next, error);
        at = next;
    }
    return status;
}

static rlv_status keep_border(rlv_outline* outline, const outline_walk* walk, rlv_error* error)
{
    outline->border = rlv_reserve(walk->count, sizeof *outline->border, error);
    if (outline->border == NULL)
        return RLV_SYSTEM;
    outline->border_count = walk->count;
    for (size_t i = 0; i < walk->count; i++)
    {
        outline->border[i] = walk->step[i].vertex;
        outline->length_mm += walk->step[i].length_mm;
    }
    return RLV_DONE;
}

rlv_status rlv_outline_find(rlv_outline* outline, const rlv_surface* surface, size_t count, const rlv_vec3* point_mm,
                            rlv_error* error)
{
    if (count < 3)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "place at least three points around it",
                        "an outline of %zu point%s encloses nothing", count, count == 1 ? "" : "s");
    outline_walk walk = {0};
    outline_corner* corner = NULL;
    size_t kept = 0;
    rlv_status status =
        rlv_outline_corners(&corner, &kept, &outline->farthest_mm, surface, count, point_mm, true, error);
    if (status == RLV_DONE && kept < 3)
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "place its points farther apart, or use a finer mesh",
                          "its %zu points fall on %zu vert%s of the mesh: it is smaller than the mesh can tell", count,
                          kept, kept == 1 ? "ex" : "ices");
    if (status == RLV_DONE)
        status = walk_ring(&walk, surface, corner, kept, error);
    if (status == RLV_DONE)
        status = rlv_outline_tidy(&walk, error);
    if (status == RLV_DONE)
        status = rlv_outline_part(outline, &walk, surface, error);
    if (status == RLV_DONE)
        status = keep_border(outline, &walk, error);
    free(corner);
    free(walk.step);
    if (status != RLV_DONE)
        rlv_outline_free(outline);
    return status;
}

void rlv_outline_free(rlv_outline* outline)
{
    free(outline->triangle);
    free(outline->border);
    memset(outline, 0, sizeof *outline);
}

// --- traces ----------------------------------------------------------------------------------------------------------

static rlv_status keep_trace(rlv_trace* trace, const outline_walk* walk, uint32_t first, rlv_error* error)
{
    trace->vertex = rlv_reserve(walk->count + 1, sizeof *trace->vertex, error);
    if (trace->vertex == NULL)
        return RLV_SYSTEM;
    trace->vertex[trace->count++] = first;
    for (size_t i = 0; i < walk->count; i++)
    {
        trace->vertex[trace->count++] = walk->step[i].vertex;
        trace->length_mm += walk->step[i].length_mm;
    }
    return RLV_DONE;
}

rlv_status rlv_trace_find(rlv_trace* trace, const rlv_surface* surface, size_t count, const rlv_vec3* point_mm,
                          rlv_error* error)
{
    if (count < 2)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "place at least two points along it",
                        "a line of %zu point%s leads nowhere", count, count == 1 ? "" : "s");
    outline_walk walk = {0};
    outline_corner* corner = NULL;
    size_t kept = 0;
    rlv_status status =
        rlv_outline_corners(&corner, &kept, &trace->farthest_mm, surface, count, point_mm, false, error);
    if (status == RLV_DONE && kept < 2)
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "place its points farther apart, or use a finer mesh",
                          "its %zu points fall on one vertex of the mesh: it is shorter than the mesh can tell", count);
    for (size_t i = 1; status == RLV_DONE && i < kept; i++)
        status = rlv_outline_join(&walk, surface, corner + i - 1, corner + i, error);
    if (status == RLV_DONE)
        status = keep_trace(trace, &walk, corner[0].vertex, error);
    free(corner);
    free(walk.step);
    if (status != RLV_DONE)
        rlv_trace_free(trace);
    return status;
}

void rlv_trace_free(rlv_trace* trace)
{
    free(trace->vertex);
    memset(trace, 0, sizeof *trace);
}
