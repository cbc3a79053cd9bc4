/// The faces of a break: which samples of two parts look at one another across a gap. Internal to rejoin.

#ifndef RLV_REJOIN_FACE_H
#define RLV_REJOIN_FACE_H

#include "error.h"
#include "mesh.h"
#include "pose.h"
#include "sampling.h"
#include "tree.h"

/// What is asked: which samples of a part have the other part within `reach_mm` before them, facing them.
typedef struct rlv_face_search
{
    const rlv_sampling* part;
    const rlv_mesh* other;
    const rlv_tree* other_tree;
    rlv_pose to_other; ///< from the part's local coordinates to the other's
    double reach_mm;
    const rlv_mesh* before; ///< what lies on its surface is no face; may be NULL
    const rlv_tree* before_tree;
    rlv_pose to_before;   ///< from the part's local coordinates
    double skin_mm;       ///< how close is on it
    const uint8_t* given; ///< one a sample: nothing else is face; may be NULL
} rlv_face_search;

/// Mark the samples of the face in `face`, and in `rim` those beside it that have the other part before them without
/// its facing them, as on the flanks of a rim that was worn on both sides: only where there is a stage from before,
/// since a hollow of the outer surface is like that too. One a sample each.
rlv_status rlv_face_find(uint8_t* face, uint8_t* rim, const rlv_face_search* search, rlv_error* error);

#endif
