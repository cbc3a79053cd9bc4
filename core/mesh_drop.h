/// Triangles taken away, vertices left. Internal to the mesh's own rooms.

#ifndef RLV_MESH_DROP_H
#define RLV_MESH_DROP_H

#include "mesh.h"

/// Drop the triangles whose entry in `drop` is not 0, keeping the order of the others; all vertices stay.
void rlv_mesh_drop_triangles(rlv_mesh* mesh, const uint8_t* drop);

#endif
