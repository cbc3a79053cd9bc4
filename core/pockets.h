/// Pockets: surface that a region of change all but encloses, too narrow to tell by itself whether it changed too.
///
/// Between the grooves of a tool, and between bones, a change goes on below what a patch of surface can tell. Taken for
/// still, a pocket would be short in the volume, and pull the alignment after it; taken into the region around it, it
/// is measured like the rest, at the price of noise. So regions are closed: grown by RLV_POCKET_LENGTHS correlation
/// lengths and shrunk by as much, along the surface, which fills what is narrower than twice that and leaves the
/// outline elsewhere as it is (J. Serra, Image Analysis and Mathematical Morphology, 1982). That is done where all
/// pockets of a region together changed its way, by RLV_POCKET_SD; the sd is by clusters of surface, since neighbours
/// err together (K.-Y. Liang, S. L. Zeger, Biometrika 73, 1986).

#ifndef RLV_POCKETS_H
#define RLV_POCKETS_H

#include "depths.h"
#include "error.h"
#include "regions.h"
#include "sampling.h"

#define RLV_POCKET_LENGTHS 8
#define RLV_POCKET_SD 4.0 ///< warp shifts pockets too, and most so where they are few

/// Grow the labels of `regions` over their pockets, and what is near them with it. Only surface of no declared part is
/// taken, and only into a region of none: bone that stands in a cut did not go with it.
rlv_status rlv_pockets_close(rlv_regions* regions, const rlv_depths* before, const rlv_sampling* before_sampling,
                             const rlv_depths* after, const rlv_sampling* after_sampling, rlv_error* error);

#endif
