/// Borders: the open edges, each in the direction of its triangle, walked as loops that pass no vertex twice. Where
/// triangles disagree (on a one-sided shell) the edges left over are walked in whichever direction closes a loop.

#include "mesh_edges.h"

#include <stdlib.h>
#include <string.h>

/// A way along an open edge.
typedef struct border_arc
{
    uint32_t from, to, edge;
} border_arc;

/// The walk: arcs sorted by where they start, and the path walked so far. An arc on the path stands for its first
/// vertex.
typedef struct border_walk
{
    border_arc* arc;
    size_t count;
    bool* used;     ///< one an edge: walked
    bool* closed;   ///< one an edge: in a loop
    uint32_t* path; ///< arcs walked and not yet closed
    uint32_t* step; ///< by the first arc that starts at a vertex: 1 + where on the path that vertex lies, or 0
    uint32_t* past; ///< by the first arc that starts at a vertex: how many of its arcs are known to be used
    size_t length;
    rlv_mesh_borders* borders;
} border_walk;

static int compare_arcs(const void* a, const void* b)
{
    const border_arc *x = a, *y = b;
    if (x->from != y->from)
        return x->from < y->from ? -1 : 1;
    if (x->to != y->to)
        return x->to < y->to ? -1 : 1;
    return (x->edge > y->edge) - (x->edge < y->edge);
}

/// The first of the arcs that start at `vertex`, or `count`.
static size_t first_from(const border_walk* walk, uint32_t vertex)
{
    size_t low = 0, high = walk->count;
    while (low < high)
    {
        size_t middle = low + (high - low) / 2;
        if (walk->arc[middle].from < vertex)
            low = middle + 1;
        else
            high = middle;
    }
    return low < walk->count && walk->arc[low].from == vertex ? low : walk->count;
}

/// The first unused arc that starts where `first` does, or `count`. What is used stays so: the next search goes on
/// there.
static size_t unused_from(border_walk* walk, size_t first)
{
    size_t i = first + walk->past[first];
    while (i < walk->count && walk->arc[i].from == walk->arc[first].from && walk->used[walk->arc[i].edge])
        i++;
    walk->past[first] = (uint32_t)(i - first);
    return i < walk->count && walk->arc[i].from == walk->arc[first].from ? i : walk->count;
}

/// Take the part of the path from `begin` on as a loop.
static void close_loop(border_walk* walk, size_t begin)
{
    rlv_mesh_borders* borders = walk->borders;
    size_t next = borders->start[borders->loop_count];
    for (size_t i = begin; i < walk->length; i++)
    {
        const border_arc* arc = &walk->arc[walk->path[i]];
        borders->vertex[next++] = arc->from;
        walk->closed[arc->edge] = true;
        walk->step[first_from(walk, arc->from)] = 0;
    }
    borders->start[++borders->loop_count] = next;
    walk->length = begin;
}

/// Walk on from the vertex of arc `first` until nothing is left to walk there. Of what leads nowhere the walk backs
/// out.
static void walk_from(border_walk* walk, size_t first)
{
    size_t vertex = first_from(walk, walk->arc[first].from);
    for (;;)
    {
        size_t next = vertex != walk->count ? unused_from(walk, vertex) : walk->count;
        if (next == walk->count && walk->length == 0)
            return;
        if (next == walk->count)
        {
            vertex = first_from(walk, walk->arc[walk->path[--walk->length]].from);
            walk->step[vertex] = 0;
            continue;
        }
        walk->used[walk->arc[next].edge] = true;
        walk->path[walk->length++] = (uint32_t)next;
        walk->step[vertex] = (uint32_t)walk->length;
        vertex = first_from(walk, walk->arc[next].to);
        if (vertex != walk->count && walk->step[vertex] != 0)
            close_loop(walk, walk->step[vertex] - 1);
    }
}

static void walk_all(border_walk* walk)
{
    if (walk->count == 0)
        return;
    memset(walk->past, 0, walk->count * sizeof *walk->past);
    qsort(walk->arc, walk->count, sizeof *walk->arc, compare_arcs);
    for (size_t i = 0; i < walk->count; i++)
        if (!walk->used[walk->arc[i].edge])
            walk_from(walk, i);
}

/// Walk once along the triangles, and what that leaves once more both ways.
static void walk_twice(border_walk* walk, const rlv_open_edge* open, size_t count)
{
    for (size_t i = 0; i < count; i++)
        walk->arc[i] = (border_arc){open[i].from, open[i].to, (uint32_t)i};
    walk->count = count;
    walk_all(walk);
    walk->count = 0;
    for (size_t i = 0; i < count; i++)
        if (!walk->closed[i])
        {
            walk->used[i] = false;
            walk->arc[walk->count++] = (border_arc){open[i].from, open[i].to, (uint32_t)i};
            walk->arc[walk->count++] = (border_arc){open[i].to, open[i].from, (uint32_t)i};
        }
    walk_all(walk);
}

rlv_status rlv_edges_walk(rlv_mesh_borders* borders, const rlv_open_edge* open, size_t count, rlv_error* error)
{
    border_walk walk = {.borders = borders};
    walk.arc = rlv_reserve(2 * count, sizeof *walk.arc, error);
    walk.used = rlv_reserve(count, sizeof *walk.used, error);
    walk.closed = rlv_reserve(count, sizeof *walk.closed, error);
    walk.path = rlv_reserve(2 * count, sizeof *walk.path, error);
    walk.step = rlv_reserve(2 * count, sizeof *walk.step, error);
    walk.past = rlv_reserve(2 * count, sizeof *walk.past, error);
    borders->start = rlv_reserve(count + 1, sizeof *borders->start, error);
    borders->vertex = rlv_reserve(count, sizeof *borders->vertex, error);
    bool held = walk.arc != NULL && walk.used != NULL && walk.closed != NULL && walk.path != NULL &&
                walk.step != NULL && walk.past != NULL && borders->start != NULL && borders->vertex != NULL;
    if (held)
        walk_twice(&walk, open, count);
    else
        rlv_mesh_borders_free(borders);
    free(walk.arc);
    free(walk.used);
    free(walk.closed);
    free(walk.path);
    free(walk.step);
    free(walk.past);
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
