/// Triangles whose corners lie on one line. Internal to the mesh's own rooms.

#ifndef RLV_MESH_FLAT_H
#define RLV_MESH_FLAT_H

#include "mesh.h"

/// What is the matter with a triangle.
enum
{
    RLV_FLAT_NOT = 0,
    RLV_FLAT_POINT = 1, ///< two of its corners are in one place
    RLV_FLAT_LINE = 2,  ///< three places on one line
};

/// A triangle on a line fills a slit between its neighbours: dropped, it would leave the mesh open. Wherever one
/// triangle lies across its long side, the two are made anew out of their four corners, with the other diagonal: the
/// surface stays where it is, to the bit. `flat` has one of the above a triangle; those made anew become RLV_FLAT_NOT.
rlv_status rlv_mesh_flip_flat(rlv_mesh* mesh, uint8_t* flat, rlv_error* error);

#endif
