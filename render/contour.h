/// Contours: where a field on a grid of pixels passes a level, as lines to a fraction of a pixel.
///
/// Marching squares (after W. Lorensen, H. Cline, Marching cubes, SIGGRAPH 1987), with a saddle decided by its mean.
/// Values stand at the middles of pixels. Lines have the higher values on their left, and y upwards: the middle of
/// pixel (x, y), rows counted from the top, is at (x + 0.5, -(y + 0.5)).

#ifndef RLV_CONTOUR_H
#define RLV_CONTOUR_H

#include "lines.h"

/// The contour of `width * height` values at a level, into zeroed `lines`. Where a value is NaN there is nothing, and
/// lines end. Free with rlv_lines_free, which is safe after a failure.
rlv_status rlv_contour_at(rlv_lines* lines, size_t width, size_t height, const float* value, float level,
                          rlv_error* error);

/// The border of a set of pixels (those that are not 0), calmed by a bell curve of an sd of `calm_px` pixels (0: none)
/// so that the pixels' steps do not show; lines close at the edge of the grid. A straight border stays where it is;
/// one round a disc of radius r moves inwards by about calm^2 / (2 r).
rlv_status rlv_contour_set(rlv_lines* lines, size_t width, size_t height, const uint8_t* in, double calm_px,
                           rlv_error* error);

/// Calm a field in place by the same bell curve, over the values that are there.
rlv_status rlv_contour_calm(size_t width, size_t height, float* value, double calm_px, rlv_error* error);

#endif
