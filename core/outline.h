/// Outlines: which triangles of a mesh a person's ring of points encloses, and lines of points over a mesh.
///
/// Points are put on the mesh (nearest point), and each is joined to the next over the mesh's edges. Of all ways the
/// one is taken that keeps closest to the section that a plane through both points and along the surface's normal cuts:
/// what somebody who looks straight at the block sees as the straight line between them. It is a shortest path (P. E.
/// Hart, N. J. Nilsson, B. Raphael, A formal basis for the heuristic determination of minimum cost paths, IEEE
/// Transactions on Systems Science and Cybernetics 4(2), 1968) in which an edge's length is weighted by the square of
/// its distance from that section. The edges walked are walls; two floods, one from either side of the walls, tell what
/// they part, and the side with the smaller area is enclosed. No triangle is cut: the border lies within about an
/// edge's length of the sections (measured in docs/methods.md).
///
/// One outline encloses part of one shell. Whatever lies on another shell, a crumb that floats inside the ring say,
/// is not in it.

#ifndef RLV_OUTLINE_H
#define RLV_OUTLINE_H

#include "error.h"
#include "mesh.h"
#include "tree.h"

/// A point may lie off the mesh by this share of the outline's size (the diagonal of the box round its points), and by
/// RLV_OUTLINE_LEAST_MM where that is more: three sd of a point that a person places (0.3 mm, from memory).
#define RLV_OUTLINE_SHARE 0.1
#define RLV_OUTLINE_LEAST_MM 1.0

/// A mended mesh made ready for outlines.
typedef struct rlv_surface rlv_surface;

/// Make a mended mesh ready. The mesh must outlive the surface and stay as it is, and so must `tree`, the mesh's index,
/// where it is given; NULL: one is built. Holds 12 bytes a triangle (and 45 more for an index of its own; about 75
/// while that is built). RLV_SYSTEM where memory fails, RLV_BAD_INPUT as rlv_tree_build. Free with rlv_surface_free.
rlv_status rlv_surface_prepare(rlv_surface** surface, const rlv_mesh* mesh, const rlv_tree* tree, rlv_error* error);
void rlv_surface_free(rlv_surface* surface);

/// What an outline encloses.
typedef struct rlv_outline
{
    size_t triangle_count;
    uint32_t* triangle; ///< triangle_count, rising
    double area_mm2;    ///< of those triangles
    size_t border_count;
    uint32_t* border;   ///< border_count vertices, a closed walk with what it encloses on its left, seen from outside
    double length_mm;   ///< of the border, without its zigzag across the sections
    double farthest_mm; ///< how far off the mesh the farthest point lay
} rlv_outline;

/// Find what a ring of `count` points (3 at least, in the mesh's frame; whether the first is repeated at the end, and
/// which way they run, does not matter) encloses, into a zeroed `outline`. On an open mesh it may run along the border.
/// RLV_BAD_INPUT where a point is not finite or not on the mesh; the points lie on parts that do not hang together;
/// the ring crosses itself, is so small that no triangle lies in it, or does not part the surface in two (round a
/// handle; along an open border all the way). Where two sides are equal in area, which one is taken does not depend on
/// the order of the points. Time grows with the smaller side; memory is 1 byte a triangle of the mesh and about 16 a
/// triangle of that side (6 more a triangle of the mesh while a refusal is told). The same bytes whatever the thread
/// count; a surface may serve several calls at a time. Free with rlv_outline_free, which is safe after a failure.
rlv_status rlv_outline_find(rlv_outline* outline, const rlv_surface* surface, size_t count, const rlv_vec3* point_mm,
                            rlv_error* error);
void rlv_outline_free(rlv_outline* outline);

/// A line of points, as a path over the mesh.
typedef struct rlv_trace
{
    size_t count;
    uint32_t* vertex;   ///< count vertices, each joined to the next by an edge
    double length_mm;   ///< without the zigzag across the sections
    double farthest_mm; ///< how far off the mesh the farthest point lay
} rlv_trace;

/// Join `count` points (2 at least) in their order, into a zeroed `trace`. Fails as rlv_outline_find does, but may
/// cross itself. Free with rlv_trace_free, which is safe after a failure.
rlv_status rlv_trace_find(rlv_trace* trace, const rlv_surface* surface, size_t count, const rlv_vec3* point_mm,
                          rlv_error* error);
void rlv_trace_free(rlv_trace* trace);

#endif
