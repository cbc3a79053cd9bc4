/// A block as it stands: from the front and from the side, on its floor, with the box that it stands in and its case.
///
/// An elevation as a workshop draws it: both views at one scale, in line on one floor, every size that somebody needs
/// to build for it written on its line (lines, arrows and figures after ISO 129-1, which is common practice). The front
/// is the side that the length of the smallest rectangle about its plan runs along (footprint.h); the side view is from
/// the reader's right of it. The block stands in the middle of its case.

#ifndef RLV_STANDING_H
#define RLV_STANDING_H

#include "footprint.h"
#include "panel.h"
#include "title.h"

typedef struct rlv_standing
{
    rlv_title title;
    rlv_panel_surface surface;
    rlv_footprint box; ///< of the surface's mesh, with
    rlv_vec3 up;       ///< of length one
    bool in_case;
    double case_mm[3];   ///< inside: its longer and its shorter side, and its height
    const char* name[2]; ///< of the views; may be NULL
    double scale;        ///< paper over thing; 0: the largest round one that the least paper holds
    int paper;           ///< the least size of the A series
    size_t line_count;   ///< what is said beneath, a line each
    const char* const* line;
} rlv_standing;

/// The axes of the front view and of the side view.
rlv_camera_axes rlv_standing_axes(const rlv_standing* standing, int view);

/// Draw it into a zeroed `sheet`; its scale is told in `scale`. Free with rlv_sheet_free, which is safe after a
/// failure.
rlv_status rlv_sheet_of_standing(rlv_sheet* sheet, const rlv_standing* standing, double* scale, rlv_error* error);

#endif
