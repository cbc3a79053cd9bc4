/// What the files of `outline` share: points put on a mesh, and walks over its edges. Private to them.

#ifndef RLV_OUTLINE_PARTS_H
#define RLV_OUTLINE_PARTS_H

#include "mesh_neighbours.h"
#include "outline.h"

struct rlv_surface
{
    const rlv_mesh* mesh;
    const rlv_tree* tree;
    rlv_tree* own_tree;  ///< where none was given
    uint32_t* neighbour; ///< 3 a triangle
};

/// A point on the mesh, in local coordinates.
typedef struct outline_corner
{
    rlv_vec3 foot; ///< its nearest point
    uint32_t triangle, vertex;
    rlv_vec3 normal; ///< of the surface about it
    double edge_mm;  ///< mean length of the edges about it
} outline_corner;

/// A step over an edge, to `vertex`.
typedef struct outline_step
{
    uint32_t vertex, triangle; ///< a triangle at the edge
    double length_mm;          ///< along the section
} outline_step;

typedef struct outline_walk
{
    size_t count, capacity;
    outline_step* step;
} outline_walk;

/// Put `count` points on the mesh, into a block that the caller frees; points that fall on the vertex of the one before
/// are left out, and with `closed` a last that falls on the first. `*kept` are left.
rlv_status rlv_outline_corners(outline_corner** corner, size_t* kept, double* farthest_mm, const rlv_surface* surface,
                               size_t count, const rlv_vec3* point_mm, bool closed, rlv_error* error);

/// Append the way from one corner to another to `walk`: every vertex after the first. The way back is the same way.
rlv_status rlv_outline_join(outline_walk* walk, const rlv_surface* surface, const outline_corner* from,
                            const outline_corner* to, rlv_error* error);

/// Cut small loops and spurs off a closed walk: near a sharp corner two ways may touch or cross within the mesh's
/// fineness.
rlv_status rlv_outline_tidy(outline_walk* walk, rlv_error* error);

/// What a closed walk encloses: fills the triangles and the area, and turns the walk so that they are on its left.
rlv_status rlv_outline_part(rlv_outline* outline, outline_walk* walk, const rlv_surface* surface, rlv_error* error);

/// Make room for one more element of `size` bytes in a block of `count`. Returns the block, or NULL with the error
/// filled, the block still the caller's.
void* rlv_outline_room(void* block, size_t count, size_t* capacity, size_t size, rlv_error* error);

static inline rlv_vec3 outline_at(const rlv_surface* surface, uint32_t vertex)
{
    return rlv_vec3_from(surface->mesh->position_mm + 3 * (size_t)vertex);
}

/// Twice the area of a triangle, as a vector along its normal.
static inline rlv_vec3 outline_area2(const rlv_surface* surface, uint32_t triangle)
{
    const uint32_t* c = surface->mesh->corner + 3 * (size_t)triangle;
    const rlv_vec3 a = outline_at(surface, c[0]);
    return rlv_vec3_cross(rlv_vec3_sub(outline_at(surface, c[1]), a), rlv_vec3_sub(outline_at(surface, c[2]), a));
}

/// Vertices and a number for each: a small open-addressed table.
typedef struct outline_numbers
{
    size_t count, mask; ///< mask + 1 places, a power of two
    uint64_t* entry;    ///< vertex << 32 | number; OUTLINE_FREE where free
} outline_numbers;

#define OUTLINE_FREE UINT64_MAX

rlv_status rlv_outline_numbers_begin(outline_numbers* numbers, rlv_error* error);
void rlv_outline_numbers_free(outline_numbers* numbers);

/// The entry of a vertex, added as `vertex << 32 | UINT32_MAX` where it is not there; NULL where memory fails. Good
/// until the next call.
uint64_t* rlv_outline_numbers_at(outline_numbers* numbers, uint32_t vertex, rlv_error* error);

#endif
