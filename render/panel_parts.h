/// What the files of a panel share: elements, expected places and curves over its surface. Internal.

#ifndef RLV_PANEL_PARTS_H
#define RLV_PANEL_PARTS_H

#include "panel.h"

/// Draw the corridors, the expected places, the elements and the curves of `marks`, on a panel whose upper left corner
/// is at a place.
void panel_draw_bodies(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                       const rlv_panel_marks* marks);

/// Whether the surface hides an element for the most part.
bool panel_hides(const rlv_panel* panel, const rlv_panel_area* area);

/// The middle of an element as it is seen, in mm from the panel's upper left corner, y downwards, and half of what it
/// spans across and down.
void panel_area_extent(const rlv_panel* panel, const rlv_panel_area* area, double middle[2], double half[2]);

/// The shadow of an expected place's ellipsoid along the view, in mm from the panel's upper left corner, y downwards:
/// at each of PANEL_STEPS directions on the page the farthest point.
enum
{
    PANEL_STEPS = 72
};
void panel_shadow(const rlv_panel* panel, const rlv_panel_expected* of, double at[PANEL_STEPS][2]);

/// The outlines of elements and of expected places, and the arrows, that are drawn in sight, as stretches on the sheet;
/// `line` NULL: how many there are at the most.
size_t panel_body_lines(const rlv_panel* panel, double left_mm, double top_mm, const rlv_panel_marks* marks,
                        rlv_stretch* line);

/// Draw a grid's lines. Then its letters in the strips along the upper and the left edge that nothing else is drawn in;
/// their boxes into `taken`, columns + rows at most; how many. And what its squares are, for a key.
#define PANEL_STRIP_MM 3.4 // on A3
void panel_draw_grid(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                     const rlv_panel_grid* grid);
size_t panel_letter_grid(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                         const rlv_panel_grid* grid, rlv_box2* taken);
void panel_key_grid(rlv_key* key, const rlv_panel_grid* grid);

/// Add them to a key: what `panel` shows, or may show where it is NULL.
void panel_key_bodies(rlv_key* key, const rlv_panel* panel, const rlv_panel_marks* marks);

#endif
