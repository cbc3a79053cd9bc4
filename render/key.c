#include "key.h"

#include <math.h>
#include <string.h>

// mm on A3.
#define SIGN 8.0 // of a line or a tint
#define TALL 2.4 // of a tint
#define BESIDE 1.6
#define ROW 3.7
#define BETWEEN 5.0 // columns

static const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK};

void rlv_stroke_begin(rlv_sheet* sheet, const rlv_stroke* stroke)
{
    static const double share[5][4] = {[RLV_DASH_EVEN] = {6.0, 4.0},
                                       [RLV_DASH_BEFORE] = {9.0, 5.0},
                                       [RLV_DASH_SECTION] = {22.0, 5.0, 2.2, 5.0},
                                       [RLV_DASH_DOTS] = {1.2, 2.0}};
    static const int count[5] = {
        [RLV_DASH_EVEN] = 2, [RLV_DASH_BEFORE] = 2, [RLV_DASH_SECTION] = 4, [RLV_DASH_DOTS] = 2};
    double dash[4];
    for (int i = 0; i < 4; i++)
        dash[i] = share[stroke->dash][i] * stroke->line_mm * sqrt(sheet->unit);
    cairo_set_dash(sheet->cairo, dash, count[stroke->dash], 0.0);
    cairo_set_line_cap(sheet->cairo, CAIRO_LINE_CAP_BUTT);
    rlv_sheet_grey(sheet, stroke->grey);
    rlv_sheet_pen(sheet, stroke->line_mm);
}

#define RING_DASHES 8.0

void rlv_stroke_begin_ring(rlv_sheet* sheet, const rlv_stroke* stroke, double length_mm)
{
    const double period = 10.0 * sqrt(sheet->unit); // of RLV_DASH_EVEN, over its line
    const double line_mm = fmin(stroke->line_mm, fmax(RLV_LINE_THIN, length_mm / (RING_DASHES * period)));
    const rlv_stroke finer = {line_mm, stroke->grey, stroke->dash};
    rlv_stroke_begin(sheet, &finer);
    if (stroke->dash != RLV_DASH_EVEN)
        return;
    const double one = length_mm / fmax(RING_DASHES, round(length_mm / (period * line_mm)));
    const double dash[2] = {0.6 * one, 0.4 * one};
    // A gap that is no longer than the line is wide is not seen.
    cairo_set_dash(sheet->cairo, dash, dash[1] > line_mm * sqrt(sheet->unit) ? 2 : 0, 0.0);
}

void rlv_stroke_end(rlv_sheet* sheet)
{
    cairo_set_dash(sheet->cairo, NULL, 0, 0.0);
}

void rlv_key_add(rlv_key* key, const rlv_key_entry* entry)
{
    for (size_t i = 0; i < key->count; i++)
        if (key->entry[i].kind == entry->kind && strcmp(key->entry[i].words, entry->words) == 0)
            return;
    if (key->count < RLV_KEY_MOST)
        key->entry[key->count++] = *entry;
}

static void put_sign(rlv_sheet* sheet, const rlv_key_entry* entry, double x, double middle)
{
    cairo_t* c = sheet->cairo;
    const double u = sheet->unit;
    if (entry->kind == RLV_KEY_LINE)
    {
        rlv_stroke_begin(sheet, &entry->stroke);
        cairo_move_to(c, x, middle);
        cairo_line_to(c, x + SIGN * u, middle);
        cairo_stroke(c);
        rlv_stroke_end(sheet);
    }
    else if (entry->kind == RLV_KEY_DRAWN)
        entry->draw(sheet, (rlv_box2){x, middle - 0.5 * TALL * u, SIGN * u, TALL * u}, entry->which);
    else
    {
        cairo_rectangle(c, x, middle - 0.5 * TALL * u, SIGN * u, TALL * u);
        rlv_sheet_colour(sheet, entry->tint);
        cairo_fill_preserve(c);
        if (entry->dotted)
            rlv_mark_dots(sheet);
        cairo_new_path(c);
    }
}

double rlv_key_wide(const rlv_sheet* sheet, const rlv_key* key)
{
    double widest = 0.0;
    for (size_t i = 0; i < key->count; i++)
        widest = fmax(widest, rlv_sheet_measure(sheet, key->entry[i].words, &small).width_mm);
    return (SIGN + BESIDE) * sheet->unit + widest;
}

// How many stand side by side, and how far apart.
static size_t columns_of(const rlv_sheet* sheet, const rlv_key* key, double width_mm, double* apart)
{
    *apart = rlv_key_wide(sheet, key) + BETWEEN * sheet->unit;
    double columns = floor((width_mm + BETWEEN * sheet->unit) / *apart);
    return columns >= 1.0 ? (size_t)fmin(columns, RLV_KEY_MOST) : 1;
}

static double rows_tall(const rlv_sheet* sheet, const rlv_key* key, size_t columns)
{
    return ROW * sheet->unit * (double)((key->count + columns - 1) / columns);
}

double rlv_key_tall(const rlv_sheet* sheet, const rlv_key* key, double width_mm)
{
    double apart;
    return rows_tall(sheet, key, columns_of(sheet, key, width_mm, &apart));
}

double rlv_key_print(rlv_sheet* sheet, const rlv_key* key, double x_mm, double y_mm, double width_mm)
{
    const double u = sheet->unit, cap = rlv_sheet_measure(sheet, "A", &small).cap_mm;
    double apart;
    size_t columns = columns_of(sheet, key, width_mm, &apart);
    for (size_t i = 0; i < key->count; i++)
    {
        double x = x_mm + apart * (double)(i % columns), middle = y_mm + ROW * u * ((double)(i / columns) + 0.5);
        put_sign(sheet, &key->entry[i], x, middle);
        rlv_sheet_text(sheet, key->entry[i].words, x + (SIGN + BESIDE) * u, middle + 0.5 * cap, &small);
    }
    return rows_tall(sheet, key, columns);
}
