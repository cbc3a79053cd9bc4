/// A block as it stands: from the front, from the side and from above, with the box that it stands in and its case.
///
/// Views as a workshop draws them: all at one scale, both elevations in line on one floor and the plan beneath the
/// front, with the front at its foot and an arrow to north; every size that somebody needs
/// to build for it written on its line (lines, arrows and figures after ISO 129-1, which is common practice). The front
/// is the side that the length of the smallest rectangle about its plan runs along (footprint.h); the side view is from
/// the reader's right of it. The block stands in the middle of its case.

#ifndef RLV_STANDING_H
#define RLV_STANDING_H

#include "footprint.h"
#include "panel.h"
#include "title.h"

enum
{
    RLV_STANDING_FRONT,
    RLV_STANDING_SIDE,
    RLV_STANDING_PLAN,
    RLV_STANDING_VIEWS,
};

typedef struct rlv_standing
{
    rlv_title title;
    rlv_panel_surface surface;
    rlv_footprint box; ///< of the surface's mesh, with
    rlv_vec3 up;       ///< of length one
    bool north_known;
    rlv_vec3 north; ///< as it lay in the rock, in the mesh's frame
    bool centre_known;
    rlv_vec3 centre_mm; ///< marked on each view: the middle of its volume
    bool in_case;
    double case_mm[3];                    ///< inside: its longer and its shorter side, and its height
    const char* name[RLV_STANDING_VIEWS]; ///< of the views; may be NULL
    double scale;                         ///< paper over thing; 0: the largest round one that the least paper holds
    int paper;                            ///< the least size of the A series
    size_t line_count;                    ///< what is said beside the plan, a text each
    const char* const* line;
} rlv_standing;

/// The axes of a view.
rlv_camera_axes rlv_standing_axes(const rlv_standing* standing, int view);

/// Where north is on the plan, clockwise from its top; false where it is not known, or so steep as the block stands
/// that no arrow is drawn.
bool rlv_standing_bearing(const rlv_standing* standing, double* clockwise_deg);

/// How far the centre is from the left end of the box in the front view, over the floor, and from the box's front, mm.
void rlv_standing_centre(const rlv_standing* standing, double from_mm[3]);

/// Draw it into a zeroed `sheet`; its scale is told in `scale`. Free with rlv_sheet_free, which is safe after a
/// failure.
rlv_status rlv_sheet_of_standing(rlv_sheet* sheet, const rlv_standing* standing, double* scale, rlv_error* error);

#endif
