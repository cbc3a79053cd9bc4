/// Which closed shells of a mesh lie inside which, and which are to be turned. Internal to the mesh's own rooms.

#ifndef RLV_MESH_NEST_H
#define RLV_MESH_NEST_H

#include "mesh.h"

/// A connected part of a mesh.
typedef struct rlv_shell
{
    size_t triangles;
    uint32_t first; ///< its first triangle
    double area_mm2;
    double volume_mm3;     ///< signed, as wound
    float low[3], high[3]; ///< local box
    bool closed;           ///< bounds a solid: no open edge, wound consistently
    bool turn;             ///< to be turned
} rlv_shell;

/// Say of every closed shell whether it is to be turned. `label` has one shell index a triangle. A shell in no solid is
/// turned where it is wound inwards, and all that lies inside it with it; a shell in a solid stays as it is relative to
/// that solid: a cavity, or a second solid.
rlv_status rlv_mesh_nest(rlv_shell* shell, size_t shell_count, const _Atomic uint32_t* label, const rlv_mesh* mesh,
                         rlv_error* error);

#endif
