/// Sheets to pin on the wall: a step's comparison, a specimen's whole history, a map of depth with sections.
///
/// All take plain structs and fill one sheet (sheet.h), which is then written as PNG, PDF or SVG; what is printed says
/// its scale, its sources and its date. A sheet that is asked for at a scale is never shrunk: its paper grows, from the
/// size asked for through the A series to a roll. Meshes are in one frame and in millimetres.

#ifndef RLV_SHEETS_H
#define RLV_SHEETS_H

#include "panel.h"
#include "profile.h"
#include "title.h"

/// One view among several of a sheet, with its words beneath.
typedef struct rlv_sheet_view
{
    rlv_panel_surface surface;
    rlv_panel_marks marks; ///< `bar` and the axes are drawn once a sheet, and left out here
    const char* name;      ///< "Before", or a stage's id
    const char* date;      ///< beside the name; may be NULL
    size_t line_count;     ///< at most 6; one that is too long for the view's width is broken
    const char* const* line;
} rlv_sheet_view;

/// A table in small print; the first column and those of words stand left, numbers right.
typedef struct rlv_sheet_table
{
    size_t column_count, row_count;
    const char* const* head; ///< column_count
    const char* const* cell; ///< row_count * column_count
    const bool* right;       ///< column_count: stand right
} rlv_sheet_table;

/// Views of one camera and, but for a feature, one scale in rows: the comparison of a step (before, after, depth), or a
/// history of n stages. There is one legend, of the view that has an overlay (they share one colour scale), one key,
/// one scale bar and one cross of axes.
typedef struct rlv_gallery
{
    rlv_title title;
    rlv_camera_axes axes;
    size_t view_count;
    const rlv_sheet_view* view;
    double scale; ///< paper over thing; 0: fitted to the paper, at the largest round scale (marks.h) that it holds
    int paper;    ///< the least size of the A series: 3 is A3
    size_t direction_count;
    const rlv_direction* direction;
    const char* limit_words;    ///< beside the legend's hatching
    const rlv_vec3* bedding;    ///< its pole, for a sign beside the axes; NULL: none
    const rlv_vec3* bedding_up; ///< which way is up, so that it is the mark of strike and dip on a map; NULL: not known
    const char* bedding_words;
    rlv_sheet_table table; ///< beneath all else; no row: none
    const char* table_caption;
    bool feature; ///< draw the last view larger than the others, at a round scale of its own, where a fitted sheet
                  ///< holds it so and the others no smaller than without; each caption then tells its scale
} rlv_gallery;

/// Draw a gallery into a zeroed `sheet`. `left_out` (may be NULL): labels that found no room. Free with rlv_sheet_free,
/// which is safe after a failure.
rlv_status rlv_sheet_of_gallery(rlv_sheet* sheet, const rlv_gallery* gallery, size_t* left_out, rlv_error* error);

/// A map of depth: the view of AFTER with its overlay, outlines and numbered regions, at a true scale, and two sections
/// through one place, laid out as a plan has them: A-A' beneath, in line with the plan, B-B' beside it.
typedef struct rlv_depth_map
{
    rlv_title title;
    rlv_camera_axes axes;
    rlv_panel_surface surface; ///< of AFTER
    rlv_panel_marks marks;     ///< traces are added
    rlv_profile_stage before;
    const uint8_t* bone; ///< one a triangle of AFTER; may be NULL
    const char* within;  ///< what is in AFTER that sections show no border of, for the key; may be NULL
    rlv_vec3 cross_mm;   ///< where both sections pass
    double scale;        ///< 0: 1 : 1
    int paper;           ///< the least size of the A series
    rlv_sheet_table table;
    const char* table_caption;
    const char* limit_words;
} rlv_depth_map;

/// Lower a map's scale to the largest round one (marks.h), of those below the scale that it has, at which it needs no
/// more than its least paper; nothing is drawn. Fails as rlv_sheet_of_depth where a section misses both meshes.
rlv_status rlv_depth_map_fit(rlv_depth_map* map, rlv_error* error);

/// Draw a map of depth into a zeroed `sheet`. Free with rlv_sheet_free, which is safe after a failure.
rlv_status rlv_sheet_of_depth(rlv_sheet* sheet, const rlv_depth_map* map, size_t* left_out, rlv_error* error);

/// How wide and tall a table is in print; and print it.
rlv_box2 rlv_sheet_table_size(const rlv_sheet* sheet, const rlv_sheet_table* table);
void rlv_sheet_table_print(rlv_sheet* sheet, const rlv_sheet_table* table, double x_mm, double y_mm);

#endif
