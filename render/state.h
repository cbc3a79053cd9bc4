/// How the state of an element looks on every picture: by a shape, a tone and a pattern at once.
///
/// No state is told by colour alone: a plate in place is round and plain, one that shifted square and hatched, one that
/// turned a diamond with dots, one that lies inverted a triangle with crossed lines. One that has no state is open,
/// with a sign that says why: a question mark where it left a place that is not known, a dash where it could not be
/// judged, and nothing where it belongs to no row. Tones are of the palette of M. Okabe and K. Ito (Color Universal
/// Design, 2008), which is read with any colour vision, lightened so that letters and relief show through; in order of
/// the states they fall in lightness too. Shapes have one area at one size.

#ifndef RLV_STATE_H
#define RLV_STATE_H

#include "articulation.h"
#include "key.h"

/// Why an element has no state (RLV_UNASSIGNED).
typedef enum rlv_open_why
{
    RLV_OPEN_UNJUDGED, ///< its row was left out, or nothing tells where it belongs
    RLV_OPEN_OFF_ROW,  ///< it lies off its row: it has moved, from which place is not sure
    RLV_OPEN_NO_ROW,   ///< it belongs to no row
    RLV_OPEN_WHYS,
} rlv_open_why;

/// Make the shape of a state the current path, about a middle: half its length along a line that is turned by
/// `turn_rad` from the page's x (clockwise, as y is downwards), and half its width across that.
void rlv_state_path(rlv_sheet* sheet, rlv_articulation_state state, double x_mm, double y_mm, double half_length_mm,
                    double half_width_mm, double turn_rad);

/// The same shape with its corners on the ellipse of those half lengths: no larger than what it stands for.
void rlv_state_path_inside(rlv_sheet* sheet, rlv_articulation_state state, double x_mm, double y_mm,
                           double half_length_mm, double half_width_mm, double turn_rad);

/// Fill the current path with a state's tone, as far as it covers (1: all), and with its pattern; then draw its
/// outline, `line_mm` as on A3. The path is used up.
void rlv_state_fill(rlv_sheet* sheet, rlv_articulation_state state, double covers, double line_mm);

/// A small sign of a state, or of why there is none, as large across as is said.
void rlv_state_symbol(rlv_sheet* sheet, rlv_articulation_state state, double x_mm, double y_mm, double size_mm);
void rlv_open_symbol(rlv_sheet* sheet, rlv_open_why why, double x_mm, double y_mm, double size_mm);

/// The tone alone.
rlv_rgb rlv_state_tone(rlv_articulation_state state);

/// What a key says of a state, or of why there is none.
rlv_key_entry rlv_state_key(rlv_articulation_state state);
rlv_key_entry rlv_open_key(rlv_open_why why);

/// What a sheet with such tones says in small print.
#define RLV_NOTE_STATES                                                                                                \
    "Tones of states: M. Okabe, K. Ito, Color Universal Design, 2008, lightened; shape and pattern tell them too."

#endif
