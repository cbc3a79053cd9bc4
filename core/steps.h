/// Steps: pieces of surface that a step in depth sets off from the rest.
///
/// Warp is slow and a cut has a rim. Cells whose neighbourhood spans more depth than noise does make rims; what rims
/// part is pieces; the mean jump over a rim tells whether a piece lies deeper or higher than the surface that held
/// still, or whether the rim was but a sharp edge of the rock. The largest piece is taken to have held still; of two
/// about as large, the one that makes the other a removal.

#ifndef RLV_STEPS_H
#define RLV_STEPS_H

#include "depths.h"
#include "error.h"
#include "sampling.h"

/// Set `seed` (one a sample; those already set stay) to +1 where a step says that material went, -1 where it came.
/// Cells have sides of `scale_mm`. `least_mm` is the least step that makes a rim there.
rlv_status rlv_steps_find(int8_t* seed, double* least_mm, const rlv_depths* depths, const rlv_sampling* sampling,
                          double scale_mm, rlv_error* error);

#endif
