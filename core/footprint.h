/// The box that a body stands in: how high it is along a direction, and the smallest rectangle that holds its plan.
///
/// A side of the smallest rectangle lies along a side of the plan's convex hull (H. Freeman, R. Shapira, Communications
/// of the ACM 18, 1975), so that trying each side of the hull finds it. The hull is a monotone chain (A. M. Andrew,
/// Information Processing Letters 9, 1979).

#ifndef RLV_FOOTPRINT_H
#define RLV_FOOTPRINT_H

#include "error.h"
#include "mesh.h"
#include "vector.h"

typedef struct rlv_footprint
{
    double length_mm, width_mm; ///< of the rectangle, the longer first
    double height_mm;           ///< along `up`
    rlv_vec3 along;             ///< of length one, across `up`: the way that the length runs
} rlv_footprint;

/// The box about the vertices of a mesh that stands with `up`, of length one, upwards. Of rectangles as small the one
/// that the hull's first side has. RLV_BAD_INPUT where the mesh has no vertex, or all lie on one upright plane.
rlv_status rlv_footprint_of(rlv_footprint* footprint, const rlv_mesh* mesh, rlv_vec3 up, rlv_error* error);

#endif
