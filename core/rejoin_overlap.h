/// How two bodies lie to each other where both are placed: what of the one is in or on the other, and what of their
/// surfaces look at each other. Internal to rejoin.

#ifndef RLV_REJOIN_OVERLAP_H
#define RLV_REJOIN_OVERLAP_H

#include "error.h"
#include "mesh.h"
#include "sampling.h"
#include "tree.h"

/// A body that is placed. The mesh must outlive it. Zeroed: none.
typedef struct rlv_lying
{
    const rlv_mesh* mesh;
    rlv_tree* tree;
    rlv_sampling sampling;
} rlv_lying;

/// Make one ready, into a zeroed `lying`. Free with rlv_lying_free, which is safe after a failure.
rlv_status rlv_lying_make(rlv_lying* lying, const rlv_mesh* mesh, rlv_error* error);
void rlv_lying_free(rlv_lying* lying);

/// Share of one body's surface, by area, that lies in another, or on its surface with the same side out.
rlv_status rlv_lying_within(double* share, const rlv_lying* one, const rlv_lying* other, rlv_error* error);

/// Area of one body's surface that looks across at each of `count` others, facing it, within `reach_mm`: each spot at
/// the nearest of them. Two bodies that only meet in an edge lie as near there, but what they look at lies nearer.
rlv_status rlv_lying_across(double* area_mm2, const rlv_lying* one, size_t count, const rlv_lying* const* other,
                            double reach_mm, rlv_error* error);

#endif
