/// Small meshes for tests, added part by part to one mesh. All are wound outwards. A shape that cannot be made (no
/// memory) ends the test program.

#ifndef RLV_TESTS_SHAPES_H
#define RLV_TESTS_SHAPES_H

#include "mesh.h"

/// Add loose vertices and triangles (corners count from the first vertex added). Returns the first triangle added.
size_t shape_add(rlv_mesh* mesh, size_t vertices, const float* position, size_t triangles, const uint32_t* corner);

/// Add a box by its lower and upper corner: 8 vertices, 12 triangles.
size_t shape_add_box(rlv_mesh* mesh, rlv_vec3 low, rlv_vec3 high);

/// Add a sphere: an octahedron whose faces are cut into `cuts` * `cuts` triangles: 8 cuts^2 triangles, 4 cuts^2 + 2
/// vertices, each the float nearest to a point on the sphere.
size_t shape_add_sphere(rlv_mesh* mesh, rlv_vec3 centre, double radius, size_t cuts);

/// Add a solid of revolution about the z axis: a polygon of `count` (radius, z) points, each side joined over `steps`
/// turns. Points run up the outside from the lower end of the axis to its upper end (both of radius 0), or, where
/// `ring`, once round counter-clockwise in the (r, z) plane and back to the first.
size_t shape_add_turned(rlv_mesh* mesh, size_t count, const double (*rz)[2], size_t steps, bool ring);

/// Add a needle along z, from the origin up: closed, about a millimetre a step, and so thin (1e-24 mm) that its areas,
/// whose squares are some 1e-48 mm4, are nothing in float.
size_t shape_add_needle(rlv_mesh* mesh, double length);

/// Turn the triangles from `first` up to `end` the other way.
void shape_turn(rlv_mesh* mesh, size_t first, size_t end);

/// Move the vertices from `first` on.
void shape_shift(rlv_mesh* mesh, size_t first, rlv_vec3 by);

#endif
