/// The spatial index: the nearest point of a mesh, and the first triangle along a ray.
///
/// An eight-wide bounding volume hierarchy with binned surface-area heuristic, built on all threads (I. Wald, On fast
/// construction of SAH-based bounding volume hierarchies, IEEE Symposium on Interactive Ray Tracing 2007). Leaves hold
/// eight triangles that are tested together. Rays are watertight (S. Woop, C. Benthin, I. Wald, Watertight ray/triangle
/// intersection, Journal of Computer Graphics Techniques 2(1), 2013): a ray through an edge never leaks.
///
/// Queries are in the mesh's local coordinates: about its origin_mm, in float, millimetres. The same queries give the
/// same answers whatever the thread count: batches are cut into blocks of fixed size.

#ifndef RLV_TREE_H
#define RLV_TREE_H

#include "error.h"
#include "mesh.h"

#include <stdbool.h>
#include <stdint.h>

#define RLV_TREE_NONE UINT32_MAX ///< the triangle of an answer that found nothing

typedef struct rlv_tree rlv_tree;

/// Build the index of a mesh. The tree keeps copies of what it needs: the mesh may go. Triangles without area are kept.
/// RLV_BAD_INPUT where the mesh has no triangle, 2^28 or more, or one whose corner is missing or not finite. At most
/// about 75 bytes a triangle are held while it is built, 45 after. Free with rlv_tree_free.
rlv_status rlv_tree_build(rlv_tree** tree, const rlv_mesh* mesh, rlv_error* error);

/// The same for about `queries` queries in all: where they are not many times the triangles, the tree is made in half
/// the time, and takes a tenth longer to answer.
rlv_status rlv_tree_build_for(rlv_tree** tree, const rlv_mesh* mesh, size_t queries, rlv_error* error);
void rlv_tree_free(rlv_tree* tree);

/// Bytes that a tree holds.
size_t rlv_tree_bytes(const rlv_tree* tree);

/// The nearest point of the surface.
typedef struct rlv_nearest
{
    float point_mm[3];
    float distance_mm; ///< infinite where nothing lies within the limit
    uint32_t triangle; ///< RLV_TREE_NONE where nothing lies within the limit
} rlv_nearest;

/// The nearest points to `count` queries (3 * count floats) within `limit_mm` (INFINITY for no limit). Neighbouring
/// queries should be neighbours in the array: each starts from the last one's answer. A query that is not finite finds
/// nothing.
void rlv_tree_nearest(const rlv_tree* tree, size_t count, const float* query_mm, float limit_mm, rlv_nearest* nearest);

/// The same answers for queries that were asked before and have moved since by little: `nearest` holds what each was
/// told last (of this tree; RLV_TREE_NONE: nothing), so that no search goes farther than to that point.
void rlv_tree_nearest_again(const rlv_tree* tree, size_t count, const float* query_mm, float limit_mm,
                            rlv_nearest* nearest);

/// Room for `count` answers that were told nothing yet. The caller's: free(); NULL where there is no memory.
rlv_nearest* rlv_nearest_reserve(size_t count, rlv_error* error);

typedef struct rlv_ray
{
    float origin_mm[3];
    float direction[3]; ///< need not be of length one; distances are in its lengths
    float limit;        ///< how far to look, in lengths of `direction`
} rlv_ray;

/// Where a ray first meets the surface, from either side.
typedef struct rlv_hit
{
    float distance;    ///< in lengths of the ray's direction; infinite where it meets nothing
    float u, v;        ///< barycentric: point = (1 - u - v) * corner 0 + u * corner 1 + v * corner 2
    uint32_t triangle; ///< RLV_TREE_NONE where it meets nothing
} rlv_hit;

/// The first hits of `count` rays, at distances from 0 to the limit, both included. A ray that is not finite, or whose
/// direction is shorter than 1e-30, meets nothing.
void rlv_tree_rays(const rlv_tree* tree, size_t count, const rlv_ray* ray, rlv_hit* hit);

/// Whether each of `count` rays meets anything within its limit (quicker than the first hit).
void rlv_tree_blocked(const rlv_tree* tree, size_t count, const rlv_ray* ray, bool* blocked);

#endif
