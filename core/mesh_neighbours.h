/// Which triangle lies across each side of each triangle: the table for walks and floods over a surface.
///
/// Shells are what hangs together over edges of exactly two triangles (mesh.h), and so is this: a side on an open
/// border, or on an edge that more than two triangles share, has none across. Internal to core.

#ifndef RLV_MESH_NEIGHBOURS_H
#define RLV_MESH_NEIGHBOURS_H

#include "mesh.h"

#define RLV_NO_NEIGHBOUR UINT32_MAX

/// Fill `*neighbour` with 3 entries a triangle of a mended mesh; side k runs from corner k to the next. 12 bytes a
/// triangle, and while it is built up to 30 more. RLV_SYSTEM as rlv_edges_build. Free with free().
rlv_status rlv_mesh_neighbours(uint32_t** neighbour, const rlv_mesh* mesh, rlv_error* error);

/// Which side of a triangle joins two of its corners.
static inline unsigned rlv_side_of(const rlv_mesh* mesh, uint32_t triangle, uint32_t a, uint32_t b)
{
    const uint32_t* c = mesh->corner + 3 * (size_t)triangle;
    if ((c[0] == a && c[1] == b) || (c[0] == b && c[1] == a))
        return 0;
    return (c[1] == a && c[2] == b) || (c[1] == b && c[2] == a) ? 1 : 2;
}

/// Whether a triangle runs along a side from `a`, one of its ends.
static inline bool rlv_side_starts(const rlv_mesh* mesh, uint32_t triangle, unsigned side, uint32_t a)
{
    return mesh->corner[3 * (size_t)triangle + side] == a;
}

#endif
