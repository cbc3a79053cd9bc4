/// Marks: what a sheet is read by. Scale bar, legend, axes, arrows, hatching, symbols and the control length.
///
/// All are vectors, in mm on the sheet. Where a place is asked for it is the upper left corner, unless it is said to be
/// a baseline; each returns the box that it takes, so that labels can keep clear of it.

#ifndef RLV_MARKS_H
#define RLV_MARKS_H

#include "camera.h"
#include "labels.h"
#include "paint.h"
#include "sheet.h"

/// Round steps (1, 2 or 5 times a power of ten) that cut `span` into at most `most` parts.
double rlv_round_step(double span, int most);

/// The scales of ISO 5455:1979 (1, 2 or 5 times a power of ten): the largest that is not over `scale` (paper over
/// thing, with 1e-9 of it to spare).
double rlv_standard_scale(double scale);

/// The scales that views are fitted to paper at: 1, 2, 2.5, 4 and 5 times a power of ten, so that one reads a length
/// off with a plain ruler; the largest that is not over `scale`, likewise.
double rlv_round_scale(double scale);

/// A scale in words: "1 : 2", "5 : 1", "1 : 3.47".
void rlv_scale_words(char* into, size_t size, double scale);

/// A number with the decimals that its step has, and a true minus sign.
void rlv_step_words(char* into, size_t size, double value, double step);

/// A scale bar, the longest round length that is no longer than `longest_mm` on paper, in equal parts; its scale in
/// words beside it.
typedef struct rlv_bar
{
    double length_mm, paper_mm; ///< of the thing, and on paper: length_mm * scale
    int parts;
} rlv_bar;
rlv_bar rlv_bar_of(double scale, double longest_mm);
rlv_box2 rlv_mark_bar(rlv_sheet* sheet, double x_mm, double y_mm, double scale, double longest_mm);

/// A direction with its name: x, y, z; north, up; head, back.
typedef struct rlv_direction
{
    rlv_vec3 way; ///< in the mesh's frame
    const char* name;
} rlv_direction;

/// A cross of directions as the picture's axes see them, about a middle point, each `length_mm` long on A3. One that
/// points at the reader is a ring with a dot, one that points away a ring with a cross; one that leans away is grey.
rlv_box2 rlv_mark_axes(rlv_sheet* sheet, double x_mm, double y_mm, double length_mm, const rlv_camera_axes* axes,
                       size_t count, const rlv_direction* direction);

#define RLV_BEDDING_WIDE 36.0 ///< mm on A3 that its words are broken to

/// Bedding about a middle point, `radius_mm` on A3, and words beneath (may be NULL). On a map, seen from `up` (NULL:
/// not known), it is the mark that geologists draw: a line along the strike, a tick to the side that it dips to, and
/// the dip in degrees; a cross in a ring where that is 0. Else a disc as the picture's axes see it, its laminae and its
/// pole.
rlv_box2 rlv_mark_bedding(rlv_sheet* sheet, double x_mm, double y_mm, double radius_mm, const rlv_camera_axes* axes,
                          rlv_vec3 pole, const rlv_vec3* up, const char* words);

/// The legend of depth: colours, ticks, and what dots and hatching mean; `limit_words` (may be NULL) follow the
/// hatching's own, such as the detection limit. Nothing that was not seen is explained.
rlv_box2 rlv_mark_legend(rlv_sheet* sheet, double x_mm, double y_mm, double width_mm, const rlv_overlay* overlay,
                         const rlv_paint_seen* seen, const char* limit_words);

/// Fill the current path with hatching (rising to the right, or across that) or with dots, from lines that run through
/// the sheet's corner, so that patterns of neighbours meet. The path is used up.
void rlv_mark_hatch(rlv_sheet* sheet);
void rlv_mark_hatch_across(rlv_sheet* sheet);
void rlv_mark_dots(rlv_sheet* sheet);

/// An arrow from one place to another, its head's length at most half of it.
void rlv_mark_arrow(rlv_sheet* sheet, double x0, double y0, double x1, double y1, double line_mm);

/// The leader of a label that is led: from the edge of what it names to its box.
void rlv_mark_leader(rlv_sheet* sheet, const rlv_label* label);

/// Signs of points, told apart by shape.
typedef enum rlv_symbol
{
    RLV_SYMBOL_DISC,
    RLV_SYMBOL_RING,
    RLV_SYMBOL_SQUARE,
    RLV_SYMBOL_DIAMOND,
    RLV_SYMBOL_TRIANGLE,
    RLV_SYMBOL_CROSS,
    RLV_SYMBOL_COUNT,
} rlv_symbol;
void rlv_mark_symbol(rlv_sheet* sheet, rlv_symbol symbol, double x_mm, double y_mm, double size_mm);

/// A number in a white disc, about a middle point; the radius of the disc.
double rlv_mark_number(rlv_sheet* sheet, const char* number, double x_mm, double y_mm);
double rlv_mark_number_radius(const rlv_sheet* sheet, const char* number);

/// 100 mm to lay a ruler against (200 mm on a large sheet), with the words that say so.
/// Neither is wider than RLV_CONTROL_MM of the sheet's unit.
rlv_box2 rlv_mark_control(rlv_sheet* sheet, double x_mm, double y_mm);
#define RLV_CONTROL_MM 100.0

#endif
