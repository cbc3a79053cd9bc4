/// The edges of a mesh: which triangles meet at each, in a table sorted by vertices.
///
/// Every triangle enters under each of its three edges; an edge is kept with the lower of its two vertices. Internal to
/// the mesh's own rooms.

#ifndef RLV_MESH_EDGES_H
#define RLV_MESH_EDGES_H

#include "mesh.h"

#define RLV_SMALL 20000 ///< elements up to which one thread is quicker than waking the others

typedef struct rlv_edges
{
    size_t vertex_count;
    uint32_t* end;   ///< one a vertex: one past its last entry; the first begins where the vertex before ends
    uint64_t* entry; ///< upper vertex << 32 | triangle, sorted within a vertex
} rlv_edges;

/// The triangles that meet at one edge.
typedef struct rlv_edge_run
{
    const uint64_t* entry;
    size_t count;
    uint32_t lower, upper;
} rlv_edge_run;

/// Build the table into a zeroed `edges`. No triangle may hold a vertex twice. RLV_SYSTEM where memory fails or the
/// mesh has more than 1,431 million triangles. Free with rlv_edges_free, which is safe after a failure.
rlv_status rlv_edges_build(rlv_edges* edges, const rlv_mesh* mesh, rlv_error* error);
void rlv_edges_free(rlv_edges* edges);

/// The first run of a vertex, with an empty run (count 0) where it has none; then each next one.
static inline rlv_edge_run rlv_edges_run(const rlv_edges* edges, uint32_t lower, const rlv_edge_run* last)
{
    const uint64_t* at =
        last != NULL ? last->entry + last->count : edges->entry + (lower != 0 ? edges->end[lower - 1] : 0);
    const uint64_t* end = edges->entry + edges->end[lower];
    rlv_edge_run run = {at, 0, lower, 0};
    if (at == end)
        return run;
    run.upper = (uint32_t)(*at >> 32);
    while (at + run.count < end && (uint32_t)(at[run.count] >> 32) == run.upper)
        run.count++;
    return run;
}

static inline uint32_t rlv_run_triangle(const rlv_edge_run* run, size_t index)
{
    return (uint32_t)run->entry[index];
}

/// Whether a triangle runs along an edge from its lower to its upper vertex.
static inline bool rlv_runs_up(const rlv_mesh* mesh, uint32_t triangle, uint32_t lower, uint32_t upper)
{
    const uint32_t* c = mesh->corner + 3 * (size_t)triangle;
    return c[0] == lower ? c[1] == upper : c[1] == lower ? c[2] == upper : c[0] == upper;
}

/// The corner of a triangle that is not on an edge.
static inline uint32_t rlv_opposite(const rlv_mesh* mesh, uint32_t triangle, uint32_t lower, uint32_t upper)
{
    const uint32_t* c = mesh->corner + 3 * (size_t)triangle;
    return c[0] ^ c[1] ^ c[2] ^ lower ^ upper;
}

/// Sort entries, by upper vertex and then by triangle.
void rlv_edges_sort(uint64_t* entry, size_t count);

/// An open edge, in the direction of its triangle.
typedef struct rlv_open_edge
{
    uint32_t from, to, triangle;
} rlv_open_edge;

/// The open edges of a mesh, sorted by their lower vertex, into a block that the caller frees.
rlv_status rlv_edges_open(rlv_open_edge** open, size_t* count, const rlv_edges* edges, const rlv_mesh* mesh,
                          rlv_error* error);

/// Walk `count` open edges as loops into a zeroed `borders`.
rlv_status rlv_edges_walk(rlv_mesh_borders* borders, const rlv_open_edge* open, size_t count, rlv_error* error);

#endif
