/// The key of a sheet: what its lines, tints and signs mean.
///
/// Whatever draws on a sheet adds the kinds of what it drew, each once, in the order in which they are added; so a
/// sheet explains what is on it, all of that, and nothing else. A stroke here is drawn as it is on the sheet.

#ifndef RLV_KEY_H
#define RLV_KEY_H

#include "marks.h"

/// How a line is broken.
typedef enum rlv_dash
{
    RLV_DASH_NONE,
    RLV_DASH_EVEN,    ///< six of its widths, and four left out
    RLV_DASH_BEFORE,  ///< finer: what is no more
    RLV_DASH_SECTION, ///< long and short: where a section is cut
    RLV_DASH_DOTS,    ///< as long as wide: the edge of a colour
} rlv_dash;

/// How a line is drawn.
typedef struct rlv_stroke
{
    double line_mm; ///< as on A3
    double grey;
    rlv_dash dash;
} rlv_stroke;

/// Take a stroke as the pen, and let its dashes go again.
void rlv_stroke_begin(rlv_sheet* sheet, const rlv_stroke* stroke);

/// The same for a closed line of a length: whole dashes, eight at least, so that a small ring still reads as one; its
/// line is then finer, down to RLV_LINE_THIN, and no longer dashed where even that has no room for eight.
void rlv_stroke_begin_ring(rlv_sheet* sheet, const rlv_stroke* stroke, double length_mm);
void rlv_stroke_end(rlv_sheet* sheet);

typedef enum rlv_key_kind
{
    RLV_KEY_LINE,
    RLV_KEY_AREA,
    RLV_KEY_DRAWN, ///< by a function of its own
} rlv_key_kind;

/// A kind of line, tint or sign, and what it means.
typedef struct rlv_key_entry
{
    rlv_key_kind kind;
    rlv_stroke stroke; ///< of a line
    rlv_rgb tint;      ///< of an area
    bool dotted;
    void (*draw)(rlv_sheet* sheet, rlv_box2 box, int which); ///< of a sign, into a box
    int which;
    char words[96];
} rlv_key_entry;

#define RLV_KEY_MOST 24

typedef struct rlv_key
{
    size_t count;
    rlv_key_entry entry[RLV_KEY_MOST];
} rlv_key;

/// Add a kind, unless one of the same words and kind is there; what no longer has room is not added.
void rlv_key_add(rlv_key* key, const rlv_key_entry* entry);

/// Print a key from a place on: entries side by side in columns of one width, as many as `width_mm` holds, read row by
/// row. Returns the height that it takes, 0 where it is empty; rlv_key_tall prints nothing.
double rlv_key_print(rlv_sheet* sheet, const rlv_key* key, double x_mm, double y_mm, double width_mm);
double rlv_key_tall(const rlv_sheet* sheet, const rlv_key* key, double width_mm);

/// How wide it is in one column.
double rlv_key_wide(const rlv_sheet* sheet, const rlv_key* key);

#endif
