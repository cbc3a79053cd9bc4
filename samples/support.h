/// What the field block lies between: two sandbags, left in its scan as somebody in a hurry would.

#ifndef RLV_SAMPLES_SUPPORT_H
#define RLV_SAMPLES_SUPPORT_H

#include "block.h"
#include "mesh.h"

/// Add two sandbags to a stage's mesh, one along each long side, pressed against it, as closed shells of the object
/// `support`; `volume_mm3` is theirs..
rlv_status support_add(rlv_mesh* mesh, const demo_block* block, uint64_t seed, double* volume_mm3, rlv_error* error);

#endif
