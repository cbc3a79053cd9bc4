/// Solid depth columns: what two meshes fill, seen along one axis, and what one fills that the other does not.
///
/// Triangles are scan-converted onto a square grid with an exact integer fill rule, so that every column of a closed
/// mesh enters as often as it leaves (after J. Shade et al., Layered depth images, SIGGRAPH 1998). Solid is where
/// the winding number is above zero: overlapping shells count once.
///
/// Sampling errors are taken out by a control variate: what a label's triangles hold exactly (prisms under triangles)
/// stands in for what the columns sampled of them, wherever it may: in every tile of four by four cells in and beside
/// which the ends of runs carry the same label, columns balance and no mesh crosses itself. Elsewhere, along the rims
/// of labels, the columns stand, scaled so that all labels together are exact. So the sums of all labels are exact to
/// rounding for closed meshes that do not cross themselves, at any pitch, and each label's is off by what sampling
/// misses along its rim alone, where runs are short.

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

/// What one label holds. `first_only_mm3` less `second_only_mm3` is `signed_mm3`: what sampling missed of that is
/// shared between the two by their size.
typedef struct rlv_columns_label
{
    double first_only_mm3;  ///< filled by the first solid and not by the second
    double second_only_mm3; ///< filled by the second and not by the first
    double signed_mm3;      ///< first minus second, control variate applied
    double max_run_mm;      ///< longest run along the axis
} rlv_columns_label;

/// The comparison of two solids along one axis.
typedef struct rlv_columns_difference
{
    rlv_axis axis;
    double pitch_mm;
    size_t label_count;
    rlv_columns_label* label; ///< label_count rows; row 0 is what no label claimed
    double signed_mm3;        ///< sum of all rows
    double left_out_mm2;      ///< open meshes: plan area where only one of the two sees a surface, or sees it otherwise
    double overlap_mm2;       ///< plan area where a mesh winds more than once or less than nought: it crosses itself
    bool open;                ///< a column does not balance: a mesh is open, seen along this axis
} rlv_columns_difference;

/// Compare two solids along an axis. A run (a stretch that one solid fills and the other does not) belongs to the label
/// at its ends; where they differ, to a label before none, then to the first solid's; where both ends lie on one solid,
/// to the lower label. Memory is held for a band of columns at a time, beside about two bytes a triangle.
///
/// Closed meshes balance in every column. One that leaves once more than it enters is open below: where both do so,
/// both are closed against one base below them. All other columns that do not balance (only one mesh is open there, or
/// one is open above, or more than once, as where its border hangs over, or faces the wrong way) are left out of all
/// sums, and their area is told. A mesh whose openings are seen edge-on balances, and is measured as if they were shut
/// by walls along the axis.
///
/// `label_count` is 1 to 65536. RLV_BAD_INPUT for a pitch that is not above zero and finite, a label that is not below
/// the count, a coordinate that is not finite, or no triangle at all; RLV_IMPOSSIBLE where the grid would pass 2^31
/// cells or 2^24 along a side (the error names a pitch that fits). Free with rlv_columns_difference_free, which is safe
/// after a failure.
rlv_status rlv_columns_compare(rlv_columns_difference* difference, const rlv_solid* first, const rlv_solid* second,
                               size_t label_count, rlv_axis axis, double pitch_mm, rlv_error* error);
void rlv_columns_difference_free(rlv_columns_difference* difference);

#endif
