/// A stage of the demo specimen as one closed mesh: its upper surface, broken sides and base, coloured as rock and bone
/// are.
///
/// The upper surface is a grid over the outline that is drawn together where the surface is steep and where bones are;
/// the rows of the sides halve their columns twice on the way down, so that the base, which nobody looks at, is coarse.
/// Placing the grid by weighted means of neighbours is W. T. Tutte's, How to draw a graph, 1963.

#ifndef RLV_SAMPLES_SOLID_H
#define RLV_SAMPLES_SOLID_H

#include "demo_specimen.h"
#include "mesh.h"

/// Fewest and most triangles that a stage is made with.
#define SOLID_LEAST 40000
#define SOLID_MOST 5000000

/// Mesh a stage into a zeroed `mesh` with about `triangles` triangles. Vertices lie on the true solid; `mesh_seed`
/// shifts and shakes the grid, so that two stages share no vertex. Objects: `matrix` and `bone`.
rlv_status solid_mesh(rlv_mesh* mesh, const demo_specimen* specimen, int stage, size_t triangles, uint64_t mesh_seed,
                      rlv_error* error);

#endif
