/// Alignment: the motion that carries one stage's mesh into another's frame, and how surely.
///
/// From any attitude and without tie points: local frames of reference with descriptors give candidate poses, a signed
/// distance field ranks them (what is left of a block lies inside what was there), the best are refined from point to
/// plane (Y. Chen, G. Medioni, Object modelling by registration of multiple range images, 1992) with a robust weight
/// that shrinks. Rivals that fit about as well make the answer ambiguous; motions that slide the surface along itself
/// (N. Gelfand, L. Guibas, Shape segmentation using local slippage analysis, 2004) are named. The covariance is a
/// cluster sandwich over patches of surface, since neighbouring residuals are correlated.

#ifndef RLV_ALIGN_H
#define RLV_ALIGN_H

#include "error.h"
#include "mesh.h"
#include "pose.h"
#include "tree.h"

typedef struct rlv_align_options
{
    double scale_sd;       ///< sd of log(scale of AFTER / scale of BEFORE); 0: scale is certain and stays 1
    const rlv_pose* start; ///< refine from here only; NULL: search from any attitude
    const uint8_t*
        before_left_out; ///< one a triangle of BEFORE: 1 where the surface is known to have changed; may be NULL
    const uint8_t* after_left_out; ///< the same for AFTER; may be NULL
    const rlv_tree* after_tree;    ///< AFTER's tree; NULL: a search builds one
    uint64_t seed;                 ///< of the sampling; the same seed gives the same bytes
    rlv_progress progress;
} rlv_align_options;

typedef struct rlv_alignment
{
    rlv_pose pose;          ///< carries AFTER into BEFORE's frame, with covariance
    double rms_mm;          ///< root mean square of the normal residuals on the surface that held still
    double stable_fraction; ///< share of AFTER's surface (area) that held still
    double position_sd_mm;  ///< rlv_pose_position_sd_mm of the pose
    double rotation_sd_deg; ///< rlv_pose_rotation_sd_deg of the pose
    bool ambiguous;         ///< another pose fits about as well, or the surface slides along itself: do not use
    bool loose;       ///< ambiguous for one reason only: it is the right pose, but weakly held (by noise and warp)
    int slippable;    ///< how many independent motions the surface does not resist
    char reason[256]; ///< in words, where ambiguous
} rlv_alignment;

/// Align AFTER to BEFORE. Both are mended. `before_tree` is BEFORE's tree. Done with `ambiguous` set where several
/// poses serve; RLV_IMPOSSIBLE where no pose is credible (no common surface): then `alignment` holds the best that was
/// found.
rlv_status rlv_align(rlv_alignment* alignment, const rlv_mesh* before, const rlv_tree* before_tree,
                     const rlv_mesh* after, const rlv_align_options* options, rlv_error* error);

#endif
