/// A block as it stands: from the front, from the side and from above, with the box that it stands in and its case.
///
/// Views as a workshop draws them: all at one scale, the plan with the front at its foot and an arrow to north; every
/// size that somebody needs to build for it written on its line (lines, arrows and figures after ISO 129-1, which is
/// common practice). The front is the side that the length of the smallest rectangle about its plan runs along
/// (footprint.h); the side view is from the reader's right of it. The block stands in the middle of its case. What is
/// said stands in columns that the eye follows, of 95 mm on A3.
///
/// Of the ways to lay out the three views and what is said (the plan beneath the front; the elevations above each other
/// and the plan beside them; all in a row), and of lying and upright paper, that is taken which is drawn at the largest
/// scale; at the same scale both elevations stand in line on one floor, and of two such ways that which fills the page
/// better is taken. Where a block is small in its case, the next larger paper is taken if it holds a
/// larger scale, with letters as on the least where they must be.
///
/// Where the paper has room beside and beneath the elevations, a larger view from the front and above shows how it will
/// look, and one of the underside what outlines lie there.

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

/// A recorded outline, drawn on the views in which at least half of its points are in sight.
typedef struct rlv_standing_outline
{
    size_t ring_count; ///< three at least, closed by itself
    const rlv_vec3* ring_mm;
    bool dashed;
    const char* label; ///< beside it on one view, where most of it is seen
} rlv_standing_outline;

typedef struct rlv_standing
{
    rlv_title title;
    rlv_panel_surface surface;
    rlv_footprint box; ///< of the surface's mesh, with
    rlv_vec3 up;       ///< of length one
    bool north_known;
    rlv_vec3 north; ///< as it lay in the rock, in the mesh's frame
    bool centre_known;
    rlv_vec3 centre_mm; ///< marked on each view: the centre of volume
    bool in_case;
    double case_mm[3];                    ///< inside: its longer and its shorter side, and its height
    const char* name[RLV_STANDING_VIEWS]; ///< of the views; may be NULL
    double scale; ///< paper over thing; 0: the largest round one that the least paper holds, or the next
    int paper;    ///< the least size of the A series
    size_t outline_count;
    const rlv_standing_outline* outline;
    size_t line_count; ///< what is said, a text each
    const char* const* line;
} rlv_standing;

/// The axes of a view.
rlv_camera_axes rlv_standing_axes(const rlv_standing* standing, int view);

/// Where north is on the plan, clockwise from its top; false where it is not known, or so steep as the block stands
/// that no arrow is drawn.
bool rlv_standing_bearing(const rlv_standing* standing, double* clockwise_deg);

/// How far the centre is from the left end of the box in the front view, over the floor, and from the box's front, mm.
void rlv_standing_centre(const rlv_standing* standing, double from_mm[3]);

/// What a case leaves a block along one of its ways, both sides together, in whole mm: of both sizes as they are
/// written, to the nearest mm and halves to even, so that what stands on a sheet adds up.
double rlv_standing_room(double case_mm, double block_mm);

/// The point of the block that is farthest up in a view as it is drawn (`way` (0, 1)), or farthest to another side of
/// it: `way` is in the plane of the view, to the right and upwards.
rlv_vec3 rlv_standing_farthest(const rlv_standing* standing, int view, const double way[2]);

/// The share of the points of an outline that the surface does not hide from an eye that looks from `towards`, a
/// direction of length one; -1 where there is no memory. A point may lie as far beneath the surface as an outline of a
/// panel (panel.h).
double rlv_standing_in_sight(const rlv_standing* standing, const rlv_standing_outline* outline, rlv_vec3 towards);

#define RLV_STANDING_SIGHT 0.5 ///< the least share of an outline that is drawn

/// Draw it into a zeroed `sheet`; its scale is told in `scale`. Free with rlv_sheet_free, which is safe after a
/// failure.
rlv_status rlv_sheet_of_standing(rlv_sheet* sheet, const rlv_standing* standing, double* scale, rlv_error* error);

#endif
