/// A triangle mesh and its health: what is there, what is wrong with it, and how much it holds.
///
/// Coordinates are read in double and kept in float about a local origin, so that a georeferenced scan keeps its
/// microns. A mesh is plain data: whoever fills one by hand may use every function here.
/// Volume, centroid and second moments are sums over signed tetrahedra (the divergence theorem; after
/// B. Mirtich, Fast and accurate computation of polyhedral mass properties, Journal of Graphics Tools 1(2), 1996).

#ifndef RLV_MESH_H
#define RLV_MESH_H

#include "error.h"
#include "vector.h"

#include <stdbool.h>
#include <stdint.h>

/// A triangle mesh, in millimetres. A zeroed one is empty. Corners are counter-clockwise seen from outside.
typedef struct rlv_mesh
{
    rlv_vec3 origin_mm; ///< where the local zero lies in the mesh's own frame
    size_t vertex_count;
    float* position_mm; ///< 3 * vertex_count, about origin_mm
    size_t triangle_count;
    uint32_t* corner; ///< 3 * triangle_count, each below vertex_count
    uint8_t* colour;  ///< 3 * vertex_count, 8-bit red, green, blue; NULL where the file has none
    uint32_t* object; ///< triangle_count, which object_name a triangle belongs to; NULL where there are none
    size_t object_count;
    char** object_name; ///< object_count names, UTF-8
} rlv_mesh;

/// Reserve the arrays of a zeroed mesh: `vertices` positions and `triangles` corners, zeroed; colour and object only
/// where asked for. Free with rlv_mesh_free.
rlv_status rlv_mesh_reserve(rlv_mesh* mesh, size_t vertices, size_t triangles, bool colour, bool object,
                            rlv_error* error);

/// Free what a mesh owns and zero it. Safe on a zeroed mesh and after a failure.
void rlv_mesh_free(rlv_mesh* mesh);

/// A deep copy of `from` in a zeroed `to`.
rlv_status rlv_mesh_copy(rlv_mesh* to, const rlv_mesh* from, rlv_error* error);

/// Where vertex `index` lies in the mesh's own frame, in mm.
static inline rlv_vec3 rlv_mesh_vertex(const rlv_mesh* mesh, size_t index)
{
    return rlv_vec3_add(mesh->origin_mm, rlv_vec3_from(mesh->position_mm + 3 * index));
}

/// A triangle's outward normal, twice its area long.
static inline rlv_vec3 rlv_mesh_twice_area(const rlv_mesh* mesh, size_t triangle)
{
    const uint32_t* corner = mesh->corner + 3 * triangle;
    const rlv_vec3 a = rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[0]);
    return rlv_vec3_cross(rlv_vec3_sub(rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[1]), a),
                          rlv_vec3_sub(rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[2]), a));
}

/// Merge the vertices that lie at the same place to the bit (-0 and 0 are one; colours must be the same too), keeping
/// the order of first appearance. Triangles keep their order; none is dropped. On RLV_SYSTEM the mesh is as it was.
rlv_status rlv_mesh_weld(rlv_mesh* mesh, rlv_error* error);

/// What rlv_mesh_mend found, and what it did about it. Counts are of the mesh as it came unless they say otherwise.
typedef struct rlv_mesh_health
{
    size_t zero_area;       ///< triangles without area (a corner twice, or all three on a line); dropped or flipped
    size_t duplicate;       ///< triangles that repeat another's three corners; dropped but for the first
    size_t unused_vertices; ///< vertices that no triangle uses; kept
    size_t mixed_winding;   ///< triangles turned to agree with their neighbours
    size_t inside_out;      ///< closed shells turned so that their outside is outside (cavities stay cavities)
    size_t branching_edges; ///< edges shared by more than two triangles, once duplicates are gone
    size_t shells;          ///< parts connected over edges of two triangles, after mending
    size_t islands;         ///< shells with less than a thousandth of the whole area
    size_t open_edges;      ///< edges with one triangle, after mending
    size_t border_loops;    ///< closed walks along open edges
    bool closed;            ///< every edge is passed as often one way as the other, so that a volume can be trusted
    bool one_sided;         ///< a shell cannot be wound consistently (as on a Moebius band); left as it was
} rlv_mesh_health;

/// Make a mesh fit to be measured: drop duplicates and triangles without area (one that fills a slit, with its corners
/// on a line, is joined with its neighbour over the long side and cut along the other diagonal instead), wind each
/// shell consistently (as most of its own triangles were), and turn every closed shell the right way out. A shell that
/// lies in no solid is turned where it is wound inwards, and what lies inside it is turned with it: a whole file may be
/// inside out. A shell inside a solid is a cavity where it was wound against that solid, and a second solid (an
/// overlapping shell, counted once by `columns`) otherwise. Two solids that touch at a vertex or along an edge are two
/// shells. RLV_BAD_INPUT where no triangle is left.
rlv_status rlv_mesh_mend(rlv_mesh* mesh, rlv_mesh_health* health, rlv_error* error);

/// Take away the triangles whose entry in `drop` (triangle_count bytes) is not 0, and all vertices that none of those
/// left uses. Triangles and vertices keep their order, colours and objects; names stay, also of objects that are gone.
/// What the triangles parted from is an open border now. A mended mesh stays mended, but where more than two triangles
/// shared an edge: there the two that are left may disagree. All may be dropped: the mesh is then empty of triangles.
/// On RLV_SYSTEM it is as it was.
rlv_status rlv_mesh_drop(rlv_mesh* mesh, const uint8_t* drop, rlv_error* error);

/// Size and mass properties of a mesh, from its surface alone. For a mesh that is not closed only `area_mm2`, `low_mm`,
/// `high_mm` and `surface_centroid_mm` mean anything.
typedef struct rlv_mesh_measures
{
    rlv_vec3 low_mm, high_mm;     ///< corners of the bounding box
    double area_mm2;              ///< area of the surface
    rlv_vec3 surface_centroid_mm; ///< centroid of the surface
    double volume_mm3;            ///< volume, by the divergence theorem
    rlv_vec3 centroid_mm;         ///< centroid of the solid
    rlv_mat3 moment_mm5;          ///< second moments of volume about centroid_mm: integral of x xT
} rlv_mesh_measures;

/// Measure a mesh. Sums run over blocks of fixed size in a fixed order, so that the result does not depend on threads.
rlv_mesh_measures rlv_mesh_measure(const rlv_mesh* mesh);

/// The open borders of a mended mesh as closed loops of vertices.
typedef struct rlv_mesh_borders
{
    size_t loop_count;
    size_t* start;    ///< loop_count + 1 offsets into vertex
    uint32_t* vertex; ///< vertices of each loop in order, along the direction of its triangles
} rlv_mesh_borders;

/// Walk the open borders as loops into a zeroed `borders`. Where borders touch at a vertex, loops are split there.
/// Free with rlv_mesh_borders_free, which is safe after a failure.
rlv_status rlv_mesh_borders_find(rlv_mesh_borders* borders, const rlv_mesh* mesh, rlv_error* error);
void rlv_mesh_borders_free(rlv_mesh_borders* borders);

#endif
