/// A sheet of paper, in millimetres, drawn once and written as PNG, PDF or SVG.
///
/// What is drawn is recorded, and replayed into each format: pixels in PNG; lines, areas and letters in PDF and SVG,
/// with the pictures among them embedded as they are. In PDF text stays text. Letters are set by Pango in DejaVu Sans;
/// what that lacks falls back to whatever font the machine has. No clock is read: the same drawing gives the same
/// bytes, whatever the number of threads. Line widths are those of ISO 128-2:2020, sizes of paper ISO 216:2007.
///
/// A large sheet is read from farther off. Letters, marks, gaps and margins grow with the paper, so that a map on A0
/// looks as one on A3 does from as much nearer: sizes below are those of A3 and less, and are multiplied by the sheet's
/// `unit` where they are drawn. Lines grow as its root, which keeps an outline fine enough to measure by. Nothing else
/// does: a length of the thing is true to the scale, and the ruler's line is as long as it says.

#ifndef RLV_SHEET_H
#define RLV_SHEET_H

#include "colour.h"
#include "lines.h"
#include "picture.h"

#include <pango/pangocairo.h>

/// Side of a pixel of a sheet's PNG and of the pictures on it, where nothing else is asked for: 10,000 pixels a metre,
/// which PNG holds without rounding.
#define RLV_SHEET_PIXEL_MM 0.1

/// Line widths, mm on A3.
#define RLV_LINE_HAIR 0.13
#define RLV_LINE_THIN 0.18
#define RLV_LINE_MEDIUM 0.25
#define RLV_LINE_STRONG 0.35
#define RLV_LINE_HEAVY 0.5

/// Sizes of letters (of the em), mm on A3. The small one is 6 points, the least that is read at arm's length.
#define RLV_LETTER_SMALL 2.12
#define RLV_LETTER_PLAIN 2.6
#define RLV_LETTER_HEAD 3.4
#define RLV_LETTER_TITLE 5.4

/// The two inks: black, and the one grey of all that is secondary. Rules are lighter.
#define RLV_INK_BLACK 0.11
#define RLV_INK_GREY 0.40
#define RLV_INK_RULE 0.70

typedef struct rlv_sheet
{
    double width_mm, height_mm;
    double unit;           ///< how many times as large as on A3 letters, marks, gaps and margins are; 1 on a new sheet
    double views_mm[2][2]; ///< upper left and lower right corner of what holds all views that were drawn; equal: none
    cairo_t* cairo;        ///< draws in mm from the upper left corner, y downwards
    cairo_surface_t* record;
    PangoContext* pango;
} rlv_sheet;

/// A blank sheet into a zeroed `sheet`. RLV_BAD_INPUT where a side is not 10 to 5000 mm (the PDF standard's limit is
/// 5080). Free with rlv_sheet_free, which is safe after a failure.
rlv_status rlv_sheet_reserve(rlv_sheet* sheet, double width_mm, double height_mm, rlv_error* error);
void rlv_sheet_free(rlv_sheet* sheet);

/// A sheet that draws on a picture's own pixels, over what is there, in mm of the page that it is printed as; and what
/// was drawn, back into the picture. Free with rlv_sheet_free.
rlv_status rlv_sheet_over(rlv_sheet* sheet, const rlv_picture* picture, rlv_error* error);
rlv_status rlv_sheet_take_back(const rlv_sheet* sheet, rlv_picture* picture, rlv_error* error);

/// A size of paper.
typedef struct rlv_paper
{
    double width_mm, height_mm;
    const char* name; ///< "A4" to "A0" with its way round, or "roll"
} rlv_paper;

/// The least paper of the A series from `least` (4: A4, 3: A3 …) that holds `width_mm` by `height_mm`, upright or
/// lying. Where A0 does not hold it, a roll: the least of the usual widths (914, 1067, 1118, 1524 mm: common practice,
/// no source) that takes the shorter side, as long as it must be; beyond those, the size asked for; both in whole mm.
rlv_paper rlv_paper_holding(double width_mm, double height_mm, int least);

/// How many times as large as on A3 letters are on a paper: as its long side is, or its short one where that is less;
/// no less than on A3, and no more than on A0.
double rlv_paper_unit(const rlv_paper* paper);

/// What a drawing takes on paper, margins and all, at a unit: width and height, mm.
typedef void (*rlv_paper_need)(const void* of, double unit, double size_mm[2]);

/// The least paper of the A series from `least`, or roll, that holds a drawing with letters of the size that such a
/// paper asks for, or with somewhat smaller ones (three fifths, at least) where that saves a size; `unit` is of
/// those.
rlv_paper rlv_paper_for(rlv_paper_need need, const void* of, int least, double* unit);

/// A space that is narrow and does not break: between a number and its unit.
#define RLV_THIN "\xe2\x80\xaf"

/// How letters look.
typedef struct rlv_lettering
{
    double size_mm; ///< of the em, on A3
    double grey;    ///< 0 black to 1 white
    bool bold;
    double width_mm; ///< lines break at this width; 0: never
    int most_lines;  ///< what is more ends in an ellipsis; 0: any number. Needs a width
    double share;    ///< of the width that stands left of x: 0 starts there, 0.5 is centred on it, 1 ends there
    double halo_mm;  ///< on A3: a white edge round the letters, so that they are read on a picture
    double turn_rad; ///< clockwise, about (x, baseline)
} rlv_lettering;

/// What a text takes: its width, the height of its lines, and how far its first baseline lies below its top. `cap_mm`
/// is the height of a capital.
typedef struct rlv_text_size
{
    double width_mm, height_mm, baseline_mm, cap_mm;
} rlv_text_size;

/// Measure a text, or set it with its first baseline at `baseline_mm`. What is not UTF-8 is shown as replacement
/// characters.
rlv_text_size rlv_sheet_measure(const rlv_sheet* sheet, const char* text, const rlv_lettering* how);
rlv_text_size rlv_sheet_text(rlv_sheet* sheet, const char* text, double x_mm, double baseline_mm,
                             const rlv_lettering* how);

/// Set the ink: a grey (warm, as all of the pictures are), or a colour.
void rlv_sheet_grey(rlv_sheet* sheet, double grey);
void rlv_sheet_colour(rlv_sheet* sheet, rlv_rgb srgb);

/// Set the width of lines, mm on A3.
void rlv_sheet_pen(rlv_sheet* sheet, double width_mm);

/// Draw a straight line, its width as on A3.
void rlv_sheet_line(rlv_sheet* sheet, double x0, double y0, double x1, double y1, double width_mm);

/// Make lines the current path, each point carried to origin + (scale * x, -scale * y): lines have y upwards.
void rlv_sheet_path(rlv_sheet* sheet, const rlv_lines* lines, double x_mm, double y_mm, double scale);

/// Put a picture with its upper left corner at a place, each pixel `picture->pixel_mm` on paper.
rlv_status rlv_sheet_picture(rlv_sheet* sheet, const rlv_picture* picture, double x_mm, double y_mm, rlv_error* error);

typedef enum rlv_sheet_format
{
    RLV_SHEET_PNG,
    RLV_SHEET_PDF,
    RLV_SHEET_SVG,
} rlv_sheet_format;

/// What is written beside the drawing. Each may be NULL.
typedef struct rlv_sheet_info
{
    const char *title, *subject, *author, *software, *source;
    const char* date; ///< ISO 8601, of the specimen; never the clock's
    double pixel_mm;  ///< of a PNG; 0: RLV_SHEET_PIXEL_MM
} rlv_sheet_info;

/// Write what was drawn to an open stream, in any number of formats. PNG has its physical size and text fields, PDF its
/// metadata, SVG a title and a description. RLV_BAD_INPUT where a PNG would have more than 32,767 pixels a side or a
/// date is no date; RLV_SYSTEM where drawing or writing failed.
rlv_status rlv_sheet_write(const rlv_sheet* sheet, rlv_sheet_format format, FILE* stream, const rlv_sheet_info* info,
                           rlv_error* error);

#endif
