/// A plane cut through a mesh: the profile of a block, as lines in the plane's own frame.
///
/// A vertex on the plane counts as above it, so that every triangle is either cut from one edge to another or not at
/// all, and no case is special. Where the plane passes an edge is computed once from the edge's two vertices in the
/// order of their numbers: neighbouring triangles get the same point to the bit, and the lines of a closed mesh close.

#ifndef RLV_SECTION_H
#define RLV_SECTION_H

#include "lines.h"
#include "mesh.h"

/// A plane with a frame: x runs along `right`, y along `up`, both of length one and square to each other. The reader
/// looks against right x up.
typedef struct rlv_plane
{
    rlv_vec3 origin_mm; ///< where x and y are 0, in the mesh's own frame (not local)
    rlv_vec3 right, up;
} rlv_plane;

/// The plane through a point that faces `towards` the reader, with `up` (made square to it) upwards. A direction that
/// is none is replaced as a camera's is (camera.h in the pictures): `towards` by +z, `up` by the coordinate axis most
/// square to it.
rlv_plane rlv_plane_facing(rlv_vec3 origin_mm, rlv_vec3 towards, rlv_vec3 up);

/// Where a point falls in the plane's frame: x, y, and z its height over the plane, towards the reader.
rlv_vec3 rlv_plane_place(const rlv_plane* plane, rlv_vec3 point_mm);

/// Cut a mesh, into zeroed `lines`, in mm. Lines run with the solid on their left: counter-clockwise round solid,
/// clockwise round hollows, so that rlv_lines_area is the area of the section. They close where the mesh does; on an
/// open mesh they end at its border. The mesh must be welded, and wound consistently (rlv_mesh_mend).
/// `only` (one a triangle; may be NULL: all) cuts just the triangles that are not 0 there: the stretches of bone in a
/// profile. RLV_BAD_INPUT where the plane is not finite. Free with rlv_lines_free, which is safe after a failure.
rlv_status rlv_section_cut(rlv_lines* lines, const rlv_mesh* mesh, const rlv_plane* plane, const uint8_t* only,
                           rlv_error* error);

#endif
