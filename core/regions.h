/// Regions: where the depth between two stages stands out of the noise.
///
/// The signed normal depth is averaged at three scales, a third, one and two correlation lengths of the noise. A cell
/// is a seed where its average passes 4.5 sd of its scale, or more where so many cells are looked at that chance alone
/// would reach it. Seeds of one sign that lie close make a region; where a wall that held still
/// stands between two cuts, each is one. A region then grows by one correlation length, two where the step is thin; it
/// never grows at a lower threshold, which would climb along the noise. Where slow warp is stronger than a shallow cut,
/// the cut's rim still tells: pieces of surface that a step sets off are seeds too (steps.h). What a region all but
/// encloses is taken into it (pockets.h). Where parts are known (depths.h), a region
/// lies on one part: bone and the rock about it are averaged apart, and a change of the one does not spread onto the
/// other. What a person said to have come off or gone back as a whole needs no finding: all of it is seed, its feather
/// edges too, to the sign of the stage that shows it.

#ifndef RLV_REGIONS_H
#define RLV_REGIONS_H

#include "depths.h"
#include "error.h"
#include "sampling.h"

#define RLV_REGION_SCALES 3
#define RLV_REGION_STEPS 2

#define RLV_REGION_SEED_SD 4.5         ///< seeds look out of the noise by this many sd at the least
#define RLV_REGION_CHORD_ALLOWANCE 3.0 ///< what two tessellations may differ by at a sharp edge, over its cell's mean

/// The noise of depth on the surface that held still.
typedef struct rlv_depth_noise
{
    double sd_mm;     ///< of one sample
    double length_mm; ///< correlation length: covariance has fallen to exp(-1/2); never below the samples' spacing
    double scale_mm[RLV_REGION_SCALES];     ///< the scales that depths were averaged at
    double scale_sd_mm[RLV_REGION_SCALES];  ///< sd of the averages
    double threshold;                       ///< how many sd make a seed
    double step_scale_mm[RLV_REGION_STEPS]; ///< the scales that steps were looked for at
    double step_mm[RLV_REGION_STEPS];       ///< the least step that sets a piece of surface off
} rlv_depth_noise;

typedef struct rlv_regions
{
    size_t count;         ///< regions, at most 65,000; smaller ones beyond that stay untold
    int8_t* sign;         ///< count: +1 removed, -1 added
    uint8_t* part;        ///< count: the part that a region lies on
    uint16_t* before;     ///< one a sample of BEFORE: 0, or 1 + its region
    uint16_t* after;      ///< one a sample of AFTER
    uint8_t* before_near; ///< 1 within two correlation lengths of a region: not to be trusted as having held still
    uint8_t* after_near;
    uint8_t* before_seed; ///< 1 where the depth itself stands out: the region without its margin
    uint8_t* after_seed;
    rlv_depth_noise noise;
} rlv_regions;

/// Find the regions of change from the depths of both stages into zeroed `regions`. Free with rlv_regions_free.
rlv_status rlv_regions_find(rlv_regions* regions, const rlv_depths* before, const rlv_sampling* before_sampling,
                            const rlv_depths* after, const rlv_sampling* after_sampling, rlv_error* error);
void rlv_regions_free(rlv_regions* regions);

#endif
