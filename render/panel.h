/// A panel: one view of a mesh on a sheet, at a true scale, with all that is told on it.
///
/// Clay and colours are an embedded picture at a stated resolution; every line and letter over it is a vector. Outlines
/// are of what is seen: a set of triangles is looked up in each pixel, and its border followed to a fraction of one
/// (contour.h), calmed over 0.3 mm of paper and simplified to a third of its line's width. Projection is parallel:
/// lengths across the view are true, along a slope they are shortened by its cosine (a slope of 60 degrees shows half
/// its length).
///
/// First rlv_panel_view_of chooses what is seen, for all meshes that share it; rlv_panel_make looks, once; then
/// rlv_panel_draw puts it on any number of sheets.

#ifndef RLV_PANEL_H
#define RLV_PANEL_H

#include "aspect.h"
#include "cast.h"
#include "key.h"
#include "state.h"
#include "view.h"

/// What a panel sees: the picture's axes, the point in its middle, and how large a millimetre is on paper.
typedef struct rlv_panel_view
{
    rlv_camera_axes axes;
    rlv_vec3 middle_mm; ///< in the mesh's own frame (not local)
    double scale;       ///< paper over thing: 0.5 is 1 : 2
    double span_mm[2];  ///< what the meshes span, across and upwards, of the thing
} rlv_panel_view;

/// The view that holds `count` meshes of one frame, seen along `axes` (make them of an aspect, or of a camera by
/// rlv_camera_axes_of). All stages of a comparison share it.
rlv_panel_view rlv_panel_view_of(size_t count, const rlv_mesh* const* mesh, const rlv_camera_axes* axes, double scale);

/// Where a point falls, in mm on paper from the panel's middle: x to the right, y upwards, z towards the eye.
rlv_vec3 rlv_panel_place(const rlv_panel_view* view, rlv_vec3 point_mm);

/// An outline round a set of triangles, as far as it is seen; or one that a person recorded, from point to point.
typedef struct rlv_panel_outline
{
    const uint8_t* in;       ///< one a triangle, not 0: in the set; not looked at where there is a ring
    size_t ring_count;       ///< points of a recorded outline, in its order, closed by itself
    const rlv_vec3* ring_mm; ///< in the mesh's frame; they may lie off the surface, as where a piece is gone
    double line_mm;          ///< on A3; 0: RLV_LINE_MEDIUM
    double least_mm2; ///< islands and holes that enclose less on A3 are left out; 0: 1 mm2, all that a hand draws
    double calm_mm;   ///< on paper, sd of the bell that its border is calmed by: what is narrower goes; 0: as usual
    bool dashed;
    bool quiet;        ///< grey
    const char* words; ///< what it is, for the key; NULL: it is not explained
} rlv_panel_outline;

/// What stands beside a region's number, in one box with it.
typedef struct rlv_panel_tag
{
    const char* words; ///< NULL: the number alone
    bool strong;       ///< white on black
} rlv_panel_tag;

/// Squares that places are told by: thin lines over the surface and under all else, with a letter for each column along
/// the upper edge of the panel, and a number for each row along the left one.
typedef struct rlv_panel_grid
{
    rlv_vec3 corner_mm; ///< the upper left corner of the first square, in the mesh's frame
    double side_mm;
    size_t columns, rows; ///< to the right, and downwards in the view
} rlv_panel_grid;

/// A surface and what is known of it. Whatever is NULL or 0 is left out. Nothing is copied: it must stay while the
/// panel is used.
typedef struct rlv_panel_surface
{
    const rlv_mesh* mesh;
    const rlv_tree* tree;
    bool own_colour;            ///< vertex colours in place of clay
    const rlv_overlay* overlay; ///< depth in colour, and what is hatched
    double isoline_mm;          ///< lines of equal depth at multiples of this, calmed over 1.2 mm of paper
    size_t outline_count;
    const rlv_panel_outline* outline;
    const uint16_t* region;        ///< one a triangle: 0, or the number of a region
    size_t region_count;           ///< the highest number
    const rlv_panel_tag* tag;      ///< region_count
    bool unnumbered;               ///< tags bear their words alone, and a region without one nothing
    const rlv_vec3* region_mm;     ///< region_count: a place of each. The number of one that is out of sight points to
                                   ///< it, with a ring there; NULL: such a region bears none
    const rlv_panel_grid* squares; ///< the number of one that is seen stands in the square of that place, as far as it
                                   ///< is seen there; NULL: where it is deepest inside
    double unit;                   ///< of the sheet: specks and crowds are as a reader of it sees them; 0: 1
    double pixel_mm;              ///< of the picture on paper; 0: RLV_SHEET_PIXEL_MM, doubled until 8 million pixels do
    int rays, samples;            ///< as of a view; 0: 4 from every other pixel, and 4
    const struct rlv_panel* like; ///< another panel, which must stay while this one is made and drawn: where it is of
                                  ///< the same mesh, index, view, size and rays, what it saw is painted anew, and not
                                  ///< looked for again; a panel that was lent it lends no further
} rlv_panel_surface;

/// An arrow in the mesh's frame: a motion, a current. `times` longer than true (0: 1), which its caller tells.
typedef struct rlv_panel_arrow
{
    rlv_vec3 from_mm, to_mm;
    double times;
    const char* label;
} rlv_panel_arrow;

/// A point in the mesh's frame; one that the surface hides is drawn open and grey.
typedef struct rlv_panel_point
{
    rlv_vec3 at_mm;
    double beneath_mm; ///< how far beneath the surface it may lie and still count as seen, such as half an element's
                       ///< thickness; 0: 0.5 mm
    rlv_symbol symbol;
    const char* label;
} rlv_panel_point;

/// The trace of a section: a line over the view, with its letter at both ends (the second primed).
typedef struct rlv_panel_trace
{
    rlv_vec3 from_mm, to_mm;
    const char* letter;
} rlv_panel_trace;

/// An element in its state. One that the surface hides for the most part is drawn open and grey, and is not named: it
/// shows from another side.
typedef struct rlv_panel_area
{
    size_t ring_count; ///< three at least: its outline, closed by itself
    const rlv_vec3* ring_mm;
    rlv_articulation_state state;
    rlv_open_why open;       ///< of RLV_UNASSIGNED
    const char* label;       ///< inside where there is room for it; may be NULL
    const rlv_vec3* life_mm; ///< where it belonged: an arrow leads from there to its middle; NULL: none
} rlv_panel_area;

/// Take from a set of triangles (one entry each, not 0: in it) those whose middles lie, as a view along `axes` shows
/// them, within one of `count` areas or no farther than `round_mm` from its outline: what is left of bone is of none.
rlv_status rlv_panel_leave_areas(uint8_t* set, const rlv_mesh* mesh, const rlv_camera_axes* axes, size_t count,
                                 const rlv_panel_area* area, double round_mm, rlv_error* error);

/// A place that is known as surely as its covariance says: drawn as the shadow of the ellipsoid d' covariance^-1 d <=
/// radius2 along the view. Those of a corridor, one after another with one `row` and `place` after place, are joined to
/// a band whose tint is stronger where the place is likelier; of them those that are vague have no outline, but a tick
/// on the line through the middles, and a label of one may be that of many.
typedef struct rlv_panel_expected
{
    rlv_vec3 at_mm;
    const double* covariance_mm2; ///< 9
    double radius2;
    bool corridor, vague; ///< vague: of a corridor
    size_t row;
    int place;
    const char* label; ///< may be NULL
} rlv_panel_expected;

/// A line through the block, drawn over it as if all of it were seen.
typedef struct rlv_panel_curve
{
    size_t count;
    const rlv_vec3* at_mm;
    bool guessed;      ///< carried on beyond what tells it: dashed, and thinner
    const char* words; ///< for the key, for one of several that are alike; NULL: it is not in the key
} rlv_panel_curve;

/// The letter of a column, from 0: "A" to "Z" without I and O, then "AA" and so on.
void rlv_grid_letter(char into[4], size_t column);

/// What is drawn over the surface.
typedef struct rlv_panel_marks
{
    const rlv_panel_grid* grid; ///< NULL: none
    size_t area_count;
    const rlv_panel_area* area;
    size_t expected_count;
    const rlv_panel_expected* expected;
    size_t curve_count;
    const rlv_panel_curve* curve;
    size_t arrow_count;
    const rlv_panel_arrow* arrow;
    size_t point_count;
    const rlv_panel_point* point;
    size_t trace_count;
    const rlv_panel_trace* trace;
    size_t direction_count;
    const rlv_direction* direction; ///< of the cross of axes, in the upper right corner; none: no cross
    bool bar;                       ///< a scale bar in the lower left corner
} rlv_panel_marks;

/// A level of depth, as lines.
typedef struct rlv_panel_isoline
{
    double depth_mm;
    rlv_lines lines;
} rlv_panel_isoline;

/// A stretch of a region that touches no other of it, beside the one that has its number: what is coloured of it.
typedef struct rlv_panel_island
{
    size_t region; ///< from 0
    double at[3];  ///< its deepest place, as of a region
} rlv_panel_island;

/// What was seen. Lines are in mm on paper from the panel's upper left corner, y upwards (so that y is negative).
typedef struct rlv_panel
{
    rlv_panel_view view;
    const rlv_panel_surface* surface;
    double width_mm, height_mm; ///< on paper, whole pixels
    rlv_picture picture;
    const rlv_cast* cast; ///< what was seen, pixel by pixel: its own, or `like`'s
    rlv_cast* own_cast;   ///< NULL where `like` lent it
    rlv_paint_seen seen;
    rlv_lines hatched, coloured, added;
    size_t outline_count;
    rlv_lines* outline;
    bool thinned; ///< somewhere it is too crowded (crowd.h) for all of what is fine to be outlined and hatched
    size_t isoline_count;
    rlv_panel_isoline* isoline;
    size_t region_count;
    double (*region_at)[3]; ///< one a region: x, y (downwards) of the place deepest inside what is seen of it (in its
                            ///< square, if there), and the radius of the disc that fits; a radius of 0: out of sight
    size_t island_count;
    rlv_panel_island* island; ///< other stretches of what is seen of them
} rlv_panel;

/// Look at a surface, into a zeroed `panel` of at least `width_mm` by `height_mm` on paper. RLV_BAD_INPUT where it
/// cannot be drawn. Free with rlv_panel_free, which is safe after a failure.
rlv_status rlv_panel_make(rlv_panel* panel, const rlv_panel_surface* surface, const rlv_panel_view* view,
                          double width_mm, double height_mm, rlv_error* error);
void rlv_panel_free(rlv_panel* panel);

/// The ray to the eye from a point that is lifted towards it: where it meets the surface, that hides the point.
/// That of a recorded outline is a share of what the view spans: it may run along the foot of the joint round a piece,
/// which is some mm deep; what stands higher over it hides it.
#define RLV_PANEL_LIFT 0.02
rlv_ray rlv_panel_ray(const rlv_panel* panel, rlv_vec3 point_mm, double lift_mm);

/// Draw a panel with its upper left corner at a place (moved to the next whole pixel of its picture). `marks` may be
/// NULL. Labels keep off each other, off numbers, bar and axes, and inside the panel; `left_out` (may be NULL) is how
/// many found no room.
rlv_status rlv_panel_draw(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                          const rlv_panel_marks* marks, size_t* left_out, rlv_error* error);

/// Add to a key the lines that a panel shows: outlines that have words and are in sight, the edge of what changed, the
/// lines of equal depth with their step, and what `marks` (may be NULL) have: traces of sections, states, expected
/// places, curves, arrows. What hatching, dots and colours mean is the legend's (marks.h).
void rlv_panel_key(rlv_key* key, const rlv_panel* panel, const rlv_panel_marks* marks);

/// The same before a panel is made: all lines that a panel of a surface may turn out to show, to leave room for them.
void rlv_panel_key_most(rlv_key* key, const rlv_panel_surface* surface, const rlv_panel_marks* marks);

#endif
