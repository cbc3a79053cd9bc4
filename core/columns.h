/// Solid depth columns: what two meshes fill, seen along one axis, and what one fills that the other does not.
///
/// Triangles are scan-converted onto a square grid with an exact integer fill rule, so that every column of a closed
/// mesh enters as often as it leaves (after J. Shade et al., Layered depth images, SIGGRAPH 1998). Solid is where
/// the winding number is above zero: overlapping shells count once.
///
/// Sampling errors are taken out by a control variate: what a label's triangles hold exactly (prisms under
/// triangles) is known, what the columns sampled of the same triangles is known, and their difference is added.
/// So the sums are exact to rounding wherever both ends of the runs carry the same label, at any pitch.

#ifndef RLV_COLUMNS_H
#define RLV_COLUMNS_H

#include "error.h"
#include "mesh.h"

#include <stdbool.h>
#include <stdint.h>

typedef enum rlv_axis
{
    RLV_AXIS_X = 0,
    RLV_AXIS_Y = 1,
    RLV_AXIS_Z = 2,
} rlv_axis;

/// One of two solids to compare. Both are in one frame.
typedef struct rlv_solid
{
    const rlv_mesh* mesh;  ///< mended; closed, or open towards the low end of the axis
    const uint16_t* label; ///< one a triangle: which region it belongs to, 0 for none; NULL: all 0
} rlv_solid;

/// What one label holds.
typedef struct rlv_columns_label
{
    double first_only_mm3;  ///< filled by the first solid and not by the second
    double second_only_mm3; ///< filled by the second and not by the first
    double signed_mm3;      ///< first minus second, control variate applied
    double first_area_mm2;  ///< area of the label's triangles on the first mesh, exact
    double second_area_mm2; ///< and on the second
    double max_run_mm;      ///< longest run along the axis
} rlv_columns_label;

/// The comparison of two solids along one axis.
typedef struct rlv_columns_difference
{
    rlv_axis axis;
    double pitch_mm;
    size_t label_count;
    rlv_columns_label* label;  ///< label_count rows; row 0 is what no label claimed
    double signed_mm3;         ///< sum of all rows
    double left_out_mm2;       ///< open meshes: plan area where only one of the two sees a surface
    double overlap_mm2;        ///< plan area where a mesh winds more than once or less than nought: it crosses itself
    bool open;                 ///< at least one of the meshes is open, and both were closed against a common base
} rlv_columns_difference;

/// Compare two solids along an axis. A run (a stretch that one solid fills and the other does not) belongs to the label
/// at its ends; where they differ, to a label before none, then to the first solid's. Memory is held for a band of columns at a
/// time. Closed meshes balance in every column; open ones are closed against one base below both, only where both have
/// the same number of open ends in a column; the rest is left out and its area told.
/// RLV_BAD_INPUT for a pitch that is not above zero; RLV_IMPOSSIBLE where the grid would pass 2^31 cells (the error names a pitch that fits).
/// Free with rlv_columns_difference_free, which is safe after a failure.
rlv_status rlv_columns_compare(rlv_columns_difference* difference, const rlv_solid* first, const rlv_solid* second,
                               size_t label_count, rlv_axis axis, double pitch_mm, rlv_error* error);
void rlv_columns_difference_free(rlv_columns_difference* difference);

#endif
