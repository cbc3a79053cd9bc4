#include "panel_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define OFF_MM (0.5 * PANEL_STRIP_MM) // from the panel's edge to the middle of a letter

static const rlv_lettering of_grid = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY, .share = 0.5};
static const double veil[2] = {0.5, 0.42}; // of a line's white bed, and of its ink

static const char letters[] = "ABCDEFGHJKLMNPQRSTUVWXYZ";

void rlv_grid_letter(char into[4], size_t column)
{
    const size_t count = sizeof letters - 1;
    const size_t round = column / count;
    size_t put = 0;
    if (round > 0)
        into[put++] = letters[(round - 1) % count];
    into[put++] = letters[column % count];
    into[put] = '\0';
}

// A grid on the sheet: where its lines begin, and what of the panel it covers.
typedef struct grid_place
{
    double x, y, side;
    rlv_box2 box;
} grid_place;

static grid_place place_of(const rlv_panel* panel, double left, double top, const rlv_panel_grid* grid)
{
    const rlv_vec3 corner = rlv_panel_place(&panel->view, grid->corner_mm);
    return (grid_place){left + 0.5 * panel->width_mm + corner.x,
                        top + 0.5 * panel->height_mm - corner.y,
                        grid->side_mm * panel->view.scale,
                        {left, top, panel->width_mm, panel->height_mm}};
}

static void draw_line(rlv_sheet* sheet, double x0, double y0, double x1, double y1)
{
    cairo_set_source_rgba(sheet->cairo, 1.0, 1.0, 1.0, veil[0]);
    rlv_sheet_line(sheet, x0, y0, x1, y1, 2.5 * RLV_LINE_HAIR);
    cairo_set_source_rgba(sheet->cairo, 0.1, 0.1, 0.1, veil[1]);
    rlv_sheet_line(sheet, x0, y0, x1, y1, RLV_LINE_HAIR);
}

static void draw_lines(rlv_sheet* sheet, const grid_place* at, const rlv_panel_grid* grid)
{
    const rlv_box2* box = &at->box;
    const double from = 2.0 * OFF_MM * sheet->unit; // beyond the letters
    for (size_t i = 0; i <= grid->columns; i++)
    {
        const double x = at->x + at->side * (double)i;
        if (x > box->left + from && x < box->left + box->width)
            draw_line(sheet, x, box->top + from, x,
                      fmin(at->y + at->side * (double)grid->rows, box->top + box->height));
    }
    for (size_t i = 0; i <= grid->rows; i++)
    {
        const double y = at->y + at->side * (double)i;
        if (y > box->top + from && y < box->top + box->height)
            draw_line(sheet, box->left + from, y,
                      fmin(at->x + at->side * (double)grid->columns, box->left + box->width), y);
    }
}

// The middle of what is seen of a square between two ends of the panel; false where that is too little for a letter.
static bool middle_of(double* middle, double begin, double side, double least, double most, double room)
{
    const double from = fmax(begin, least), to = fmin(begin + side, most);
    *middle = 0.5 * (from + to);
    return to - from > room;
}

// A letter about a place; its box.
static rlv_box2 put_letter(rlv_sheet* sheet, const char* letter, double x, double y)
{
    const rlv_text_size size = rlv_sheet_measure(sheet, letter, &of_grid);
    rlv_sheet_text(sheet, letter, x, y + 0.5 * size.cap_mm, &of_grid);
    return (rlv_box2){x - 0.5 * size.width_mm, y - 0.5 * size.cap_mm, size.width_mm, size.cap_mm};
}

void panel_draw_grid(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                     const rlv_panel_grid* grid)
{
    const grid_place at = place_of(panel, left_mm, top_mm, grid);
    draw_lines(sheet, &at, grid);
}

size_t panel_letter_grid(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                         const rlv_panel_grid* grid, rlv_box2* taken)
{
    const grid_place at = place_of(panel, left_mm, top_mm, grid);
    const double off = OFF_MM * sheet->unit, room = 3.0 * sheet->unit, right = left_mm + panel->width_mm,
                 bottom = top_mm + panel->height_mm;
    size_t count = 0;
    double middle;
    char name[24];
    for (size_t i = 0; i < grid->columns; i++)
        if (middle_of(&middle, at.x + at.side * (double)i, at.side, left_mm + 2.0 * off, right, room))
        {
            rlv_grid_letter(name, i);
            taken[count++] = put_letter(sheet, name, middle, top_mm + off);
        }
    for (size_t i = 0; i < grid->rows; i++)
        if (middle_of(&middle, at.y + at.side * (double)i, at.side, top_mm + 2.0 * off, bottom, room))
        {
            snprintf(name, sizeof name, "%zu", i + 1);
            taken[count++] = put_letter(sheet, name, left_mm + off, middle);
        }
    return count;
}

enum
{
    SIGN_SQUARE
};

static void draw_sign(rlv_sheet* sheet, rlv_box2 box, int which)
{
    (void)which;
    const double side = fmin(box.width, box.height), x = box.left + 0.5 * (box.width - side), y = box.top;
    for (int k = 0; k < 2; k++)
    {
        draw_line(sheet, x + side * k, y, x + side * k, y + side);
        draw_line(sheet, x, y + side * k, x + side, y + side * k);
    }
}

void panel_key_grid(rlv_key* key, const rlv_panel_grid* grid)
{
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_sign, .which = SIGN_SQUARE};
    char side[32];
    rlv_step_words(side, sizeof side, grid->side_mm, grid->side_mm);
    snprintf(entry.words, sizeof entry.words, "squares of %s" RLV_THIN "mm", side);
    rlv_key_add(key, &entry);
}
