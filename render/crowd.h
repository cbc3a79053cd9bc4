/// Crowds: where the border of a set of pixels is so fine and so dense that outlines would cover what they surround.
///
/// A pavement of granules or a rough scan has thousands of borders in a hand's breadth; drawn, they hide the surface
/// and say nothing. Such a place is told by how much border a window has, and its fine parts by an opening: what a disc
/// cannot reach that is as wide as such parts are on the average (J. Serra, Image analysis and mathematical morphology,
/// 1982). A single speck, a row of scutes, a thin ray in open ground have less border about them, and keep theirs.

#ifndef RLV_CROWD_H
#define RLV_CROWD_H

#include "error.h"

#include <stdbool.h>
#include <stdint.h>

/// Lines closer together than this over a whole window are a crowd; and the window's side. mm of paper on A3.
#define RLV_CROWD_APART 3.0
#define RLV_CROWD_WINDOW 30.0

/// What is wider than this is no granule but a bone of its own, however small it is printed and however many stand
/// about it (small scutes have 2 to 40 mm: from memory). mm of the thing.
#define RLV_CROWD_SPECK_MM 3.5

/// How far each pixel lies inside its part, in pixels, to the middle of the nearest border: 0 where `part` is 0, and
/// 1e9 where nothing bounds it. The picture's rim bounds parts too where `rim` says so. By two sweeps of the chamfer
/// 3-4 (G. Borgefors, Distance transformations in digital images, CVGIP 34, 1986). `part` and `far` hold width *
/// height.
void rlv_crowd_distances(size_t width, size_t height, const uint16_t* part, bool rim, float* far);

/// Take out of a set of pixels (those that are not 0) what is too fine to be outlined where it is crowded, on a sheet
/// of a unit where the thing is drawn at `scale` (0.5 is 1 : 2); `thinned` becomes true where anything was, and else
/// stays as it is.
rlv_status rlv_crowd_thin(size_t width, size_t height, uint8_t* in, double pixel_mm, double unit, double scale,
                          bool* thinned, rlv_error* error);

#endif
