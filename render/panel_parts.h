/// What the files of a panel share: elements, expected places and curves over its surface. Internal.

#ifndef RLV_PANEL_PARTS_H
#define RLV_PANEL_PARTS_H

#include "panel.h"

/// Draw the lines of corridors, the expected places, the elements and the curves of `marks`, on a panel whose upper
/// left corner is at a place.
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

/// The square of that shadow, mm2 of the thing: its points are d with d' square^-1 d <= 1, d to the right and upwards.
void panel_shadow_square(const rlv_panel* panel, const rlv_panel_expected* of, double square[2][2]);

/// Whether any of the expected places is of a corridor.
bool panel_has_corridors(const rlv_panel_marks* marks);

/// The next place of the same corridor; NULL where it ends, or `of` is of none.
const rlv_panel_expected* panel_corridor_next(const rlv_panel_marks* marks, const rlv_panel_expected* of);

/// What a panel shows with the tint of its corridors, as a zeroed `picture`, which its caller frees. A place's tint is
/// strongest in its middle and ends at the edge of its region; it is paler as the region is wider; places that follow
/// each other are swept; and only where the surface is seen. It is worked out here, and not painted with masks, for
/// those make whole pages of a PDF into pixels.
/// `edge` (zeroed; its caller frees it) is the border of all that they may cover where the surface is seen, in pixels
/// as contour.h has them: what is left of a tint in grey print.
rlv_status panel_tint_corridors(rlv_picture* picture, rlv_lines* edge, const rlv_panel* panel,
                                const rlv_panel_marks* marks, rlv_error* error);

/// Draw that border: dotted.
void panel_draw_corridor_edge(rlv_sheet* sheet, const rlv_lines* edge, double left_mm, double top_mm, double pixel_mm);

/// The line through the middles of each corridor's places, with a tick at those that are vague; and the sign of a
/// corridor for a key.
void panel_draw_corridors(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                          const rlv_panel_marks* marks);
void panel_corridor_sign(rlv_sheet* sheet, rlv_box2 box);

/// The outlines of elements and of expected places, the lines of corridors, and the arrows, that are drawn in sight, as
/// stretches on the sheet; `line` NULL: how many there are at the most. Those of area i are from `first[i]` up to
/// `first[i + 1]`, and after the areas those of the expected places likewise: one more than both.
size_t panel_body_lines(const rlv_panel* panel, double left_mm, double top_mm, const rlv_panel_marks* marks,
                        rlv_stretch* line, size_t* first);

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
