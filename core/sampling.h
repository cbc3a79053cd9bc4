/// Samples of a surface: a thinned set of its vertices, each standing for the area, the normal and the noise around it.
///
/// A mesh of millions of vertices says nothing about a slow misfit that some hundred thousand of them do not. One
/// vertex stands for all in a cell; area and normal are sums over the cell.

#ifndef RLV_SAMPLING_H
#define RLV_SAMPLING_H

#include "error.h"
#include "mesh.h"

typedef struct rlv_sampling
{
    size_t count;
    double spacing_mm;   ///< root of the mean area of a sample
    float* position_mm;  ///< 3 * count, in the mesh's local coordinates
    float* normal;       ///< 3 * count, length one, outward, averaged over the sample's cell
    float* area_mm2;     ///< count
    float* chord_mm;     ///< count: how far another tessellation of the same surface may lie off, from its bend between
                         ///< triangles
    uint8_t* border;     ///< count: 1 where the cell touches an open border
    uint8_t* part;       ///< count: what most of a sample's triangles are of; NULL where nothing is known
    uint32_t* of_vertex; ///< one a vertex of the mesh: its sample (RLV_CUBES_NONE for a vertex without triangles)
} rlv_sampling;

/// Take about `most` samples (all used vertices where there are fewer) of a mended mesh. `part` (one a triangle, below
/// 15; may be NULL) keeps the samples of unlike parts apart. Free with rlv_sampling_free.
rlv_status rlv_sampling_take(rlv_sampling* sampling, const rlv_mesh* mesh, const uint8_t* part, size_t most,
                             rlv_error* error);
void rlv_sampling_free(rlv_sampling* sampling);

#endif
