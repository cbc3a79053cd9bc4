/// Borders: the open edges, each in the direction of its triangle, walked as loops that pass no vertex twice.

#include "mesh_edges.h"

#include <stdlib.h>
#include <string.h>

/// The walk: open edges sorted by where they start, and the path walked so far. An edge stands for its first vertex.
typedef struct border_walk
{
    const rlv_open_edge* open;
    size_t count;
    bool* used;     ///< one an edge
    uint32_t* path; ///< edges walked and not yet closed
    uint32_t* step; ///< by the first edge that starts at a vertex: 1 + where on the path that vertex lies, or 0
    size_t length;
    rlv_mesh_borders* borders;
} border_walk;

static int compare_open(const void* a, const void* b)
{
    const rlv_open_edge *x = a, *y = b;
    if (x->from != y->from)
        return x->from < y->from ? -1 : 1;
    if (x->to != y->to)
        return x->to < y->to ? -1 : 1;
    return (x->triangle > y->triangle) - (x->triangle < y->triangle);
}

/// The first of the edges that start at `vertex`, or `count`.
static size_t first_from(const border_walk* walk, uint32_t vertex)
{
    size_t low = 0, high = walk->count;
    while (low < high)
    {
        size_t middle = low + (high - low) / 2;
        if (walk->open[middle].from < vertex)
            low = middle + 1;
        else
            high = middle;
    }
    return low < walk->count && walk->open[low].from == vertex ? low : walk->count;
}

/// Take the part of the path from `begin` on as a loop.
static void close_loop(border_walk* walk, size_t begin)
{
    rlv_mesh_borders* borders = walk->borders;
    size_t next = borders->start[borders->loop_count];
    for (size_t i = begin; i < walk->length; i++)
    {
        uint32_t vertex = walk->open[walk->path[i]].from;
        borders->vertex[next++] = vertex;
        walk->step[first_from(walk, vertex)] = 0;
    }
    borders->start[++borders->loop_count] = next;
    walk->length = begin;
}

/// Walk on from `edge` until nothing is left to walk there. What leads nowhere (where triangles disagree) is dropped.
static void walk_from(border_walk* walk, size_t edge)
{
    size_t vertex = first_from(walk, walk->open[edge].from);
    for (;;)
    {
        size_t next = vertex;
        while (next < walk->count && walk->open[next].from == walk->open[vertex].from && walk->used[next])
            next++;
        bool stuck = vertex == walk->count || next == walk->count || walk->open[next].from != walk->open[vertex].from;
        if (stuck && walk->length == 0)
            return;
        if (stuck)
        {
            vertex = first_from(walk, walk->open[walk->path[--walk->length]].from);
            walk->step[vertex] = 0;
            continue;
        }
        walk->used[next] = true;
        walk->path[walk->length++] = (uint32_t)next;
        walk->step[vertex] = (uint32_t)walk->length;
        vertex = first_from(walk, walk->open[next].to);
        if (vertex != walk->count && walk->step[vertex] != 0)
            close_loop(walk, walk->step[vertex] - 1);
    }
}

rlv_status rlv_edges_walk(rlv_mesh_borders* borders, rlv_open_edge* open, size_t count, rlv_error* error)
{
    border_walk walk = {.open = open, .count = count, .borders = borders};
    walk.used = rlv_reserve(count, sizeof *walk.used, error);
    walk.path = rlv_reserve(count, sizeof *walk.path, error);
    walk.step = rlv_reserve(count, sizeof *walk.step, error);
    borders->start = rlv_reserve(count + 1, sizeof *borders->start, error);
    borders->vertex = rlv_reserve(count, sizeof *borders->vertex, error);
    bool held = walk.used != NULL && walk.path != NULL && walk.step != NULL && borders->start != NULL &&
                borders->vertex != NULL;
    if (held)
    {
        qsort(open, count, sizeof *open, compare_open);
        for (size_t i = 0; i < count; i++)
            if (!walk.used[i])
                walk_from(&walk, i);
    }
    else
        rlv_mesh_borders_free(borders);
    free(walk.used);
    free(walk.path);
    free(walk.step);
    return held ? RLV_DONE : RLV_SYSTEM;
}

rlv_status rlv_mesh_borders_find(rlv_mesh_borders* borders, const rlv_mesh* mesh, rlv_error* error)
{
    rlv_edges edges = {0};
    rlv_open_edge* open = NULL;
    size_t count = 0;
    rlv_status status = rlv_edges_build(&edges, mesh, error);
    if (status == RLV_DONE)
        status = rlv_edges_open(&open, &count, &edges, mesh, error);
    rlv_edges_free(&edges);
    if (status == RLV_DONE)
        status = rlv_edges_walk(borders, open, count, error);
    free(open);
    return status;
}

void rlv_mesh_borders_free(rlv_mesh_borders* borders)
{
    free(borders->start);
    free(borders->vertex);
    memset(borders, 0, sizeof *borders);
}
