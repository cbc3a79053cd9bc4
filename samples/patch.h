/// Patches of a grid: parts of a mask that hang together, and their outlines.

#ifndef RLV_SAMPLES_PATCH_H
#define RLV_SAMPLES_PATCH_H

#include "error.h"

#include <stddef.h>
#include <stdint.h>

#define PATCH_LARGEST SIZE_MAX

/// Of the points that are set in `mask` (`size[0]` by `size[1]`, x first), keep one part alone, whose points are
/// neighbours along x or y: the largest, or the one nearest to the point `near`.
rlv_status patch_keep(uint8_t* mask, const size_t size[2], size_t near, rlv_error* error);

/// Walk around the outside of the one part of a mask that patch_keep left, counter-clockwise (x to the right, y up),
/// and give `count` points of that walk at even steps, as indices. The mask's border must be clear. RLV_IMPOSSIBLE
/// where the mask is empty.
rlv_status patch_outline(const uint8_t* mask, const size_t size[2], size_t count, size_t* index, rlv_error* error);

#endif
