#include "state.h"

#include <math.h>

rlv_rgb rlv_state_tone(rlv_articulation_state state)
{
    static const rlv_rgb tone[RLV_ARTICULATION_STATES] = {[RLV_IN_PLACE] = {0.925f, 0.910f, 0.880f},
                                                          [RLV_SHIFTED] = {0.902f, 0.624f, 0.0f},
                                                          [RLV_ROTATED] = {0.337f, 0.706f, 0.914f},
                                                          [RLV_INVERTED] = {0.800f, 0.475f, 0.655f},
                                                          [RLV_UNASSIGNED] = {1.0f, 1.0f, 1.0f}};
    static const float lighter[RLV_ARTICULATION_STATES] = {
        [RLV_SHIFTED] = 0.42f, [RLV_ROTATED] = 0.18f, [RLV_INVERTED] = 0.15f};
    return rlv_rgb_mix(tone[state], (rlv_rgb){1.0f, 1.0f, 1.0f}, lighter[state]);
}

// Corners of the shapes that have any, for half lengths of one; each shape has the area of the unit circle.
#define SQUARE 0.8862  // sqrt(pi) / 2
#define DIAMOND 1.2533 // sqrt(pi / 2)
#define TALL 1.5551    // of an equilateral triangle: its corners lie so far from its middle
#define BASE 0.7776    // and its base
#define SIDE 1.3468    // half its base

static const double square[4][2] = {{-SQUARE, -SQUARE}, {SQUARE, -SQUARE}, {SQUARE, SQUARE}, {-SQUARE, SQUARE}};
static const double diamond[4][2] = {{-DIAMOND, 0.0}, {0.0, -DIAMOND}, {DIAMOND, 0.0}, {0.0, DIAMOND}};
static const double triangle[3][2] = {{0.0, TALL}, {-SIDE, -BASE}, {SIDE, -BASE}};

void rlv_state_path(rlv_sheet* sheet, rlv_articulation_state state, double x_mm, double y_mm, double half_length_mm,
                    double half_width_mm, double turn_rad)
{
    cairo_t* c = sheet->cairo;
    const double(*corner)[2] = state == RLV_SHIFTED ? square : state == RLV_ROTATED ? diamond : triangle;
    int corners = state == RLV_INVERTED ? 3 : 4;
    cairo_new_path(c);
    cairo_save(c);
    cairo_translate(c, x_mm, y_mm);
    cairo_rotate(c, turn_rad);
    cairo_scale(c, fmax(half_length_mm, 1e-3), fmax(half_width_mm, 1e-3));
    if (state == RLV_IN_PLACE || state == RLV_UNASSIGNED)
        cairo_arc(c, 0.0, 0.0, 1.0, 0.0, 2.0 * G_PI);
    else
        for (int i = 0; i < corners; i++)
            cairo_line_to(c, corner[i][0], corner[i][1]);
    cairo_close_path(c);
    cairo_restore(c);
}

void rlv_state_path_inside(rlv_sheet* sheet, rlv_articulation_state state, double x_mm, double y_mm,
                           double half_length_mm, double half_width_mm, double turn_rad)
{
    const double reach = state == RLV_SHIFTED    ? hypot(SQUARE, SQUARE)
                         : state == RLV_ROTATED  ? DIAMOND
                         : state == RLV_INVERTED ? TALL
                                                 : 1.0;
    rlv_state_path(sheet, state, x_mm, y_mm, half_length_mm / reach, half_width_mm / reach, turn_rad);
}

void rlv_state_fill(rlv_sheet* sheet, rlv_articulation_state state, double covers, double line_mm)
{
    cairo_t* c = sheet->cairo;
    rlv_rgb tone = rlv_state_tone(state);
    cairo_path_t* path = cairo_copy_path(c);
    cairo_set_source_rgba(c, (double)tone.r, (double)tone.g, (double)tone.b, covers);
    cairo_fill_preserve(c);
    if (state == RLV_SHIFTED || state == RLV_INVERTED)
        rlv_mark_hatch(sheet);
    if (state == RLV_ROTATED)
        rlv_mark_dots(sheet);
    if (state == RLV_INVERTED)
    {
        cairo_append_path(c, path);
        rlv_mark_hatch_across(sheet);
    }
    cairo_new_path(c);
    cairo_append_path(c, path);
    cairo_path_destroy(path);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_pen(sheet, line_mm);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    cairo_stroke(c);
}

void rlv_state_symbol(rlv_sheet* sheet, rlv_articulation_state state, double x_mm, double y_mm, double size_mm)
{
    rlv_state_path(sheet, state, x_mm, y_mm, 0.5 * size_mm, 0.5 * size_mm, 0.0);
    rlv_state_fill(sheet, state, 1.0, RLV_LINE_THIN);
}

void rlv_open_symbol(rlv_sheet* sheet, rlv_open_why why, double x_mm, double y_mm, double size_mm)
{
    static const char* const sign[RLV_OPEN_WHYS] = {[RLV_OPEN_UNJUDGED] = "\u2013", [RLV_OPEN_OFF_ROW] = "?"};
    rlv_state_symbol(sheet, RLV_UNASSIGNED, x_mm, y_mm, size_mm);
    if (sign[why] == NULL)
        return;
    const rlv_lettering how = {
        .size_mm = 0.95 * size_mm / sheet->unit, .grey = RLV_INK_BLACK, .bold = why == RLV_OPEN_OFF_ROW, .share = 0.5};
    rlv_sheet_text(sheet, sign[why], x_mm, y_mm + 0.5 * rlv_sheet_measure(sheet, "?", &how).cap_mm, &how);
}

static void draw_in_key(rlv_sheet* sheet, rlv_box2 box, int state)
{
    rlv_articulation_state of = (rlv_articulation_state)state;
    const double size = 1.12 * box.height;
    // The middle of a triangle's height is not that of its area: it stands in its line by the former.
    const double up = of == RLV_INVERTED ? 0.25 * (TALL - BASE) * size : 0.0;
    rlv_state_symbol(sheet, of, box.left + 0.5 * box.width, box.top + 0.5 * box.height - up, size);
}

static void draw_open_in_key(rlv_sheet* sheet, rlv_box2 box, int why)
{
    rlv_open_symbol(sheet, (rlv_open_why)why, box.left + 0.5 * box.width, box.top + 0.5 * box.height,
                    1.15 * box.height);
}

rlv_key_entry rlv_state_key(rlv_articulation_state state)
{
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_in_key, .which = (int)state};
    snprintf(entry.words, sizeof entry.words, "%s", rlv_articulation_state_word(state));
    return entry;
}

rlv_key_entry rlv_open_key(rlv_open_why why)
{
    static const char* const words[RLV_OPEN_WHYS] = {[RLV_OPEN_UNJUDGED] = "not judged: nothing tells where it belongs",
                                                     [RLV_OPEN_OFF_ROW] =
                                                         "off its row: moved, from which place is not sure",
                                                     [RLV_OPEN_NO_ROW] = "belongs to no row"};
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_open_in_key, .which = (int)why};
    snprintf(entry.words, sizeof entry.words, "%s", words[why]);
    return entry;
}
