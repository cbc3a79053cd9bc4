/// Depths: how far one stage's surface lies from the other's, along the normal, at samples of both.
///
/// Positive where material went, along the outward normal. Where the nearest point lies well to the side (over a steep
/// wall), the whole distance is taken, with the sign of the side that the sample lies on. A sample whose nearest point
/// lies at an open border has no verdict: the other stage may just not have seen it.
///
/// Where parts are known, a sample's part is its own, or else the part that its foot lies on: under a piece that came
/// off lies what was the piece (a thick one is found along the normal: at its rim the nearest point is not its own),
/// below a chip of bone what was bone. But the side of a bone that came out of the rock
/// has its foot on the bone's edge, which did not move, and what went beside it was rock: so where a sample and its
/// foot on the part that stays (RLV_DEPTHS_STAYS) do not look at each other, its part is not told.

#ifndef RLV_DEPTHS_H
#define RLV_DEPTHS_H

#include "error.h"
#include "mesh.h"
#include "pose.h"
#include "sampling.h"
#include "tree.h"

#define RLV_DEPTHS_STAYS 1
#define RLV_DEPTHS_WHOLE 2   ///< from this part on, a part comes off or goes back as a whole
#define RLV_DEPTHS_UNSURE 15 ///< what the part of a sample is that may be of the part that stays, or rock

/// One stage's samples beside the other stage. Everything is in BEFORE's local coordinates (about its origin_mm).
typedef struct rlv_depths
{
    size_t count;
    float* position_mm; ///< 3 * count
    float* normal;      ///< 3 * count
    float* depth_mm;    ///< count; NaN where there is no verdict
    float* apart_mm; ///< count: the whole distance to the nearest point, with the depth's sign; on a slope it is more
    uint32_t* foot;  ///< count: the other stage's sample at the nearest point
    uint32_t* over;  ///< count: the other stage's sample along the outward normal, or of a piece along that piece's
                     ///< mean normal; RLV_TREE_NONE where that meets nothing; NULL where the other stage has no piece
    uint8_t* part;   ///< count; NULL where neither stage has parts
} rlv_depths;

/// A stage as depths need it.
typedef struct rlv_stage
{
    const rlv_mesh* mesh;
    const rlv_tree* tree;
    const rlv_sampling* sampling;
    rlv_nearest* known; ///< one a sample: the other stage's nearest point as it was found last (RLV_TREE_NONE: never),
                        ///< where the new one is left; NULL: it is not kept
} rlv_stage;

/// Measure the depths at BEFORE's samples and at AFTER's, where `pose` carries AFTER into BEFORE's frame; both `depths`
/// are zeroed. Free each with rlv_depths_free, which is safe after a failure.
rlv_status rlv_depths_measure(rlv_depths* at_before, rlv_depths* at_after, rlv_stage before, rlv_stage after,
                              const rlv_pose* pose, rlv_error* error);
void rlv_depths_free(rlv_depths* depths);

/// Centre and sd of the bulk of `count` values, NaN left out, though up to two thirds of them lie elsewhere: the
/// shortest stretch that holds a quarter (after P. J. Rousseeuw, Least median of squares regression, J. Am. Stat.
/// Assoc. 79, 1984), then moments of what lies within 1.5 sd until they stand, corrected for the cut.
typedef struct rlv_bulk
{
    double centre, sd;
} rlv_bulk;
rlv_status rlv_bulk_of(rlv_bulk* bulk, size_t count, const float* value, rlv_error* error);

#endif
