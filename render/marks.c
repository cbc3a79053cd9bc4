#include "marks.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK};
static const rlv_lettering number_letters = {.size_mm = RLV_LETTER_PLAIN, .grey = RLV_INK_BLACK};
static const rlv_lettering quiet = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY};

// Round numbers are a digit of a series times a power of ten. Both series are the same numbers read from both ends, so
// that a scale below 1 : 1 is as round as one above: 1/2 is 5/10, 1 : 2.5 is 4/10, and 1 : 4 is 2.5/10.
typedef struct rounded
{
    double digit, power;
} rounded;

static const double by_halves[] = {5.0, 2.0, 1.0};
static const double by_ruler[] = {5.0, 4.0, 2.5, 2.0, 1.0};
#define SERIES(of) of, sizeof of / sizeof of[0]

// The largest that is not over a number, with 1e-9 of it to spare.
static rounded round_down(double value, const double* series, size_t count)
{
    double largest = value * (1.0 + 1e-9), power = pow(10.0, floor(log10(largest))), first = largest / power;
    size_t i = 0;
    while (i + 1 < count && first < series[i])
        i++;
    return (rounded){series[i], power};
}

double rlv_round_step(double span, int most)
{
    double least = span / (double)most, power = pow(10.0, floor(log10(least))), step = 10.0 * power;
    for (size_t i = 0; i < sizeof by_halves / sizeof by_halves[0]; i++)
        step = by_halves[i] * power >= least * (1.0 - 1e-9) ? by_halves[i] * power : step;
    return step;
}

double rlv_standard_scale(double scale)
{
    rounded down = round_down(scale, SERIES(by_halves));
    return down.digit * down.power;
}

double rlv_round_scale(double scale)
{
    rounded down = round_down(scale, SERIES(by_ruler));
    return down.digit * down.power;
}

void rlv_scale_words(char* into, size_t size, double scale)
{
    double ratio = scale >= 1.0 ? scale : 1.0 / scale;
    ratio = fabs(ratio - round(ratio)) < 1e-6 * ratio ? round(ratio) : ratio;
    if (scale >= 1.0)
        snprintf(into, size, "%.4g : 1", ratio);
    else
        snprintf(into, size, "1 : %.4g", ratio);
}

void rlv_step_words(char* into, size_t size, double value, double step)
{
    int decimals = (int)fmin(fmax(ceil(-log10(step) - 1e-9), 0.0), 9.0);
    bool below = value < -0.5 * step;
    snprintf(into, size, "%s%.*f", below ? "\xe2\x88\x92" : "", decimals, fabs(value));
}

rlv_bar rlv_bar_of(double scale, double longest_mm)
{
    rounded down = round_down(longest_mm / scale, SERIES(by_halves));
    double length_mm = down.digit * down.power;
    return (rlv_bar){length_mm, length_mm * scale, down.digit == 2.0 ? 4 : 5};
}

#define BAR_TALL 1.1

rlv_box2 rlv_mark_bar(rlv_sheet* sheet, double x_mm, double y_mm, double scale, double longest_mm)
{
    rlv_bar bar = rlv_bar_of(scale, longest_mm);
    const double u = sheet->unit, line = RLV_LINE_HAIR * sqrt(u), tall = BAR_TALL * u;
    double cap = rlv_sheet_measure(sheet, "0", &small).cap_mm, top = y_mm + cap + 1.1 * u;
    double part = bar.paper_mm / bar.parts;
    cairo_t* c = sheet->cairo;
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    cairo_rectangle(c, x_mm, top, bar.paper_mm, tall);
    cairo_fill(c);
    // Light parts are let into the dark bar, which so has its ends where its length says, to a share of a pixel.
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    for (int i = 1; i < bar.parts; i += 2)
        cairo_rectangle(c, x_mm + i * part, top + line, part - (i + 1 == bar.parts ? line : 0.0), tall - 2.0 * line);
    cairo_fill(c);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);

    bool metres = bar.length_mm >= 1e4, microns = bar.length_mm < 0.1;
    char words[96];
    snprintf(words, sizeof words, "%.10g", bar.length_mm * (metres ? 1e-3 : microns ? 1e3 : 1.0));
    rlv_lettering middle = small;
    rlv_sheet_text(sheet, "0", x_mm, top - 0.8 * u, &middle);
    middle.share = 0.5;
    double half = 0.5 * rlv_sheet_text(sheet, words, x_mm + bar.paper_mm, top - 0.8 * u, &middle).width_mm;
    double end = x_mm + bar.paper_mm + half + 0.7 * u;
    end += rlv_sheet_text(sheet, metres ? "m" : microns ? "\xc2\xb5m" : "mm", end, top - 0.8 * u, &small).width_mm;
    rlv_scale_words(words, sizeof words, scale);
    size_t put = strlen(words);
    snprintf(words + put, sizeof words - put, " when printed at 100" RLV_THIN "%%");
    rlv_sheet_text(sheet, words, x_mm, top + tall + 1.0 * u + cap, &quiet);
    return (rlv_box2){x_mm, y_mm, end - x_mm, 2.0 * cap + 2.1 * u + tall};
}

rlv_box2 rlv_mark_axes(rlv_sheet* sheet, double x_mm, double y_mm, double length_mm, const rlv_camera_axes* axes,
                       size_t count, const rlv_direction* direction)
{
    cairo_t* c = sheet->cairo;
    const double u = sheet->unit;
    double cap = rlv_sheet_measure(sheet, "x", &small).cap_mm, ring = 1.1 * u;
    length_mm *= u;
    cairo_set_line_cap(c, CAIRO_LINE_CAP_ROUND);
    for (size_t round = 0; round < 2; round++) // what leans away is drawn first
        for (size_t i = 0; i < count; i++)
        {
            rlv_vec3 way = rlv_vec3_unit(direction[i].way);
            double x = rlv_vec3_dot(way, axes->right), y = rlv_vec3_dot(way, axes->up);
            double z = rlv_vec3_dot(way, axes->towards), flat = hypot(x, y);
            bool away = z < -0.35;
            if (away != (round == 0))
                continue;
            rlv_lettering how = small;
            how.grey = away ? RLV_INK_GREY : RLV_INK_BLACK;
            how.share = 0.5;
            rlv_sheet_grey(sheet, how.grey);
            if (flat > 0.12)
                rlv_mark_arrow(sheet, x_mm, y_mm, x_mm + length_mm * x, y_mm - length_mm * y, RLV_LINE_MEDIUM);
            else
            {
                rlv_sheet_pen(sheet, RLV_LINE_THIN);
                cairo_arc(c, x_mm, y_mm, ring, 0.0, 2.0 * G_PI);
                cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
                cairo_fill_preserve(c);
                rlv_sheet_grey(sheet, how.grey);
                cairo_stroke(c);
                if (away)
                    rlv_mark_symbol(sheet, RLV_SYMBOL_CROSS, x_mm, y_mm, 1.5 * u);
                else
                    rlv_mark_symbol(sheet, RLV_SYMBOL_DISC, x_mm, y_mm, 0.8 * u);
            }
            double half = 0.5 * rlv_sheet_measure(sheet, direction[i].name, &how).width_mm;
            double ux = flat > 0.12 ? x / flat : -0.7071, uy = flat > 0.12 ? y / flat : -0.7071;
            double far = (flat > 0.12 ? length_mm * flat : ring) + 1.5 * u;
            rlv_sheet_text(sheet, direction[i].name, x_mm + ux * (far + fmax(half - 0.6 * u, 0.0)),
                           y_mm - uy * far + 0.5 * cap, &how);
        }
    double reach = length_mm + 4.5 * u;
    return (rlv_box2){x_mm - reach, y_mm - reach, 2.0 * reach, 2.0 * reach};
}

/// A disc of bedding as the picture's axes see it, with its laminae and its pole.
static void draw_bedding_disc(rlv_sheet* sheet, double x_mm, double y_mm, double radius, const rlv_camera_axes* axes,
                              rlv_vec3 pole)
{
    cairo_t* c = sheet->cairo;
    rlv_vec3 n = rlv_vec3_unit(pole);
    double towards = rlv_vec3_dot(n, axes->towards), x = rlv_vec3_dot(n, axes->right), y = -rlv_vec3_dot(n, axes->up);
    double flat = hypot(x, y), ux = flat > 0.0 ? x / flat : 0.0, uy = flat > 0.0 ? y / flat : -1.0;
    // The disc is foreshortened along the pole's own direction on the page. Laminae lie across that.
    double sense = towards < 0.0 ? -1.0 : 1.0, short_half = radius * fabs(towards);
    rlv_sheet_grey(sheet, RLV_INK_GREY);
    rlv_mark_arrow(sheet, x_mm, y_mm, x_mm + sense * radius * x, y_mm + sense * radius * y, RLV_LINE_MEDIUM);
    for (int k = 0; k < 3; k++)
    {
        double off = 0.22 * radius * flat * k;
        cairo_save(c);
        cairo_translate(c, x_mm - sense * off * ux, y_mm - sense * off * uy);
        cairo_rotate(c, atan2(uy, ux));
        cairo_scale(c, fmax(short_half, 0.02 * radius), radius);
        cairo_new_path(c);
        // Of what lies beneath only the nearer half shows.
        cairo_arc(c, 0.0, 0.0, 1.0, k == 0 || sense < 0.0 ? -0.5 * G_PI : 0.5 * G_PI,
                  k == 0        ? 1.5 * G_PI
                  : sense < 0.0 ? 0.5 * G_PI
                                : 1.5 * G_PI);
        cairo_restore(c);
        if (k == 0)
        {
            cairo_set_source_rgba(c, 1.0, 1.0, 1.0, 0.6);
            cairo_fill_preserve(c);
        }
        rlv_sheet_grey(sheet, RLV_INK_GREY);
        rlv_sheet_pen(sheet, k == 0 ? RLV_LINE_MEDIUM : RLV_LINE_HAIR);
        cairo_stroke(c);
    }
}

/// Seen from above: strike, dip and its number.
static void draw_strike(rlv_sheet* sheet, double x_mm, double y_mm, double radius, const rlv_camera_axes* axes,
                        rlv_vec3 pole, rlv_vec3 up)
{
    const rlv_vec3 top = rlv_vec3_unit(up), own = rlv_vec3_unit(pole),
                   n = rlv_vec3_dot(own, top) < 0.0 ? rlv_vec3_scale(own, -1.0) : own;
    // The upper pole leans to where the plane falls.
    const rlv_vec3 falls = rlv_vec3_along(n, -rlv_vec3_dot(n, top), top);
    const double dip = atan2(rlv_vec3_length(falls), rlv_vec3_dot(n, top)) * 180.0 / G_PI,
                 x = rlv_vec3_dot(falls, axes->right), y = -rlv_vec3_dot(falls, axes->up), flat = hypot(x, y);
    char words[16];
    rlv_lettering how = small;
    how.share = 0.5;
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    if (dip < 0.5 || !(flat > 0.0))
    {
        rlv_mark_symbol(sheet, RLV_SYMBOL_RING, x_mm, y_mm, radius);
        rlv_sheet_line(sheet, x_mm - radius, y_mm, x_mm + radius, y_mm, RLV_LINE_MEDIUM);
        rlv_sheet_line(sheet, x_mm, y_mm - radius, x_mm, y_mm + radius, RLV_LINE_MEDIUM);
        return;
    }
    const double ux = x / flat, uy = y / flat, tick = 0.4 * radius, cap = rlv_sheet_measure(sheet, "0", &how).cap_mm,
                 far = tick + 1.3 * cap;
    rlv_sheet_line(sheet, x_mm - uy * radius, y_mm + ux * radius, x_mm + uy * radius, y_mm - ux * radius,
                   RLV_LINE_STRONG);
    rlv_sheet_line(sheet, x_mm, y_mm, x_mm + ux * tick, y_mm + uy * tick, RLV_LINE_STRONG);
    snprintf(words, sizeof words, "%.0f", dip);
    rlv_sheet_text(sheet, words, x_mm + ux * far, y_mm + uy * far + 0.5 * cap, &how);
}

rlv_box2 rlv_mark_bedding(rlv_sheet* sheet, double x_mm, double y_mm, double radius_mm, const rlv_camera_axes* axes,
                          rlv_vec3 pole, const rlv_vec3* up, const char* words)
{
    const double radius = radius_mm * sheet->unit;
    if (up != NULL && rlv_vec3_dot(rlv_vec3_unit(*up), axes->towards) > 0.9) // within 26 degrees of above
        draw_strike(sheet, x_mm, y_mm, radius, axes, pole, *up);
    else
        draw_bedding_disc(sheet, x_mm, y_mm, radius, axes, pole);
    rlv_lettering how = small;
    how.share = 0.5;
    how.width_mm = RLV_BEDDING_WIDE * sheet->unit;
    double tall = radius + 2.2 * sheet->unit + rlv_sheet_measure(sheet, "0", &how).cap_mm, half = radius;
    if (words != NULL)
    {
        const rlv_text_size size = rlv_sheet_text(sheet, words, x_mm, y_mm + tall, &how);
        tall += size.height_mm - size.baseline_mm;
        half = fmax(half, 0.5 * how.width_mm);
    }
    return (rlv_box2){x_mm - half, y_mm - radius, 2.0 * half, radius + tall};
}

static rlv_rgb scale_colour(double share)
{
    return share < 0.0 ? rlv_colour_added(-share) : rlv_colour_removed(share);
}

#define LEGEND_TALL 2.4
#define SWATCH 6.5

// Colours from `low` to 1 as one gradient, so that no seam shows; a pointed end where the picture goes past the scale.
static void put_colours(rlv_sheet* sheet, double x, double y, double width, double low, const rlv_paint_seen* seen)
{
    cairo_t* c = sheet->cairo;
    const double tall = LEGEND_TALL * sheet->unit;
    cairo_pattern_t* colours = cairo_pattern_create_linear(x, 0.0, x + width, 0.0);
    for (int i = 0; i <= 128; i++)
    {
        double at = i / 128.0;
        rlv_rgb colour = scale_colour(low + (1.0 - low) * at);
        cairo_pattern_add_color_stop_rgb(colours, at, (double)colour.r, (double)colour.g, (double)colour.b);
    }
    cairo_set_source(c, colours);
    cairo_pattern_destroy(colours);
    cairo_rectangle(c, x, y, width, tall);
    cairo_fill(c);
    for (int side = 0; side < 2; side++)
    {
        if (side == 0 ? !seen->past_removed : !seen->past_added)
            continue;
        double end = side == 0 ? x + width : x, way = side == 0 ? 1.0 : -1.0;
        cairo_move_to(c, end, y);
        cairo_line_to(c, end + way * 0.8 * tall, y + 0.5 * tall);
        cairo_line_to(c, end, y + tall);
        rlv_sheet_colour(sheet, scale_colour(way));
        cairo_fill(c);
    }
    if (low < 0.0)
    {
        cairo_rectangle(c, x, y, width * low / (low - 1.0), tall);
        rlv_mark_dots(sheet);
    }
}

static void put_ticks(rlv_sheet* sheet, double x, double y, double width, double low, double deepest_mm)
{
    const double u = sheet->unit;
    double cap = rlv_sheet_measure(sheet, "0", &small).cap_mm;
    double step = rlv_round_step((1.0 - low) * deepest_mm, (int)fmax(fmin(width / (9.0 * u), 8.0), 1.0));
    rlv_lettering middle = small;
    middle.share = 0.5;
    for (double k = ceil(low * deepest_mm / step - 1e-9); k * step <= deepest_mm * (1.0 + 1e-9); k += 1.0)
    {
        double at = x + width * (k * step / deepest_mm - low) / (1.0 - low);
        rlv_sheet_grey(sheet, RLV_INK_BLACK);
        rlv_sheet_line(sheet, at, y, at, y + 0.9 * u, RLV_LINE_HAIR);
        char words[48];
        rlv_step_words(words, sizeof words, k * step, step);
        rlv_sheet_text(sheet, words, at, y + 1.7 * u + cap, &middle);
    }
}

rlv_box2 rlv_mark_legend(rlv_sheet* sheet, double x_mm, double y_mm, double width_mm, const rlv_overlay* overlay,
                         const rlv_paint_seen* seen, const char* limit_words)
{
    const double u = sheet->unit, tall = LEGEND_TALL * u, swatch = SWATCH * u, beside = swatch + 1.8 * u;
    double cap = rlv_sheet_measure(sheet, "0", &small).cap_mm, y = y_mm;
    if (overlay->deepest_mm > 0.0 && (seen->removed || seen->added))
    {
        double low = seen->added ? -1.0 : 0.0, pointed = 0.8 * tall;
        double left = x_mm + (seen->past_added ? pointed : 0.0);
        double width = width_mm - (left - x_mm) - (seen->past_removed ? pointed : 0.0);
        rlv_sheet_text(sheet, overlay->caption != NULL ? overlay->caption : "depth removed, mm",
                       left + width * low / (low - 1.0), y + cap, &small);
        if (seen->added)
            rlv_sheet_text(sheet, overlay->below != NULL ? overlay->below : "added, mm (dotted)", left, y + cap,
                           &small);
        y += cap + 1.2 * u;
        put_colours(sheet, left, y, width, low, seen);
        put_ticks(sheet, left, y + tall, width, low, overlay->deepest_mm);
        y += tall + 1.7 * u + cap + 2.2 * u;
        if (overlay->note != NULL)
        {
            rlv_lettering note = quiet;
            note.width_mm = width_mm;
            y += rlv_sheet_text(sheet, overlay->note, x_mm, y + cap, &note).height_mm + 1.2 * u;
        }
    }
    if (seen->hatched)
    {
        rlv_sheet_grey(sheet, 0.88);
        cairo_rectangle(sheet->cairo, x_mm, y, swatch, tall);
        cairo_fill(sheet->cairo);
        cairo_rectangle(sheet->cairo, x_mm, y, swatch, tall);
        rlv_mark_hatch(sheet);
        char words[256];
        snprintf(words, sizeof words, "%s%s%s",
                 overlay->hatched != NULL ? overlay->hatched : "not told apart from noise",
                 limit_words != NULL ? ": " : "", limit_words != NULL ? limit_words : "");
        rlv_lettering lines = small;
        lines.width_mm = width_mm - beside;
        double high = rlv_sheet_text(sheet, words, x_mm + beside, y + 0.5 * (tall + cap), &lines).height_mm;
        y += fmax(tall, high);
    }
    return (rlv_box2){x_mm, y_mm, width_mm, y - y_mm};
}

#define HATCH_GAP 0.75
#define DOT_GAP 1.0

// Lines of equal x + y, or with `across` of equal x - y.
static void put_hatch(rlv_sheet* sheet, bool across)
{
    cairo_t* c = sheet->cairo;
    double x0, y0, x1, y1;
    cairo_path_extents(c, &x0, &y0, &x1, &y1);
    cairo_save(c);
    cairo_clip(c);
    double gap = HATCH_GAP * sheet->unit * sqrt(2.0), top = across ? -y1 : y0, foot = across ? -y0 : y1;
    for (double k = floor((x0 + top) / gap); k * gap <= x1 + foot; k += 1.0)
    {
        cairo_move_to(c, k * gap - top, across ? y1 : y0);
        cairo_line_to(c, k * gap - foot, across ? y0 : y1);
    }
    rlv_sheet_colour(sheet, RLV_PAINT_INK);
    rlv_sheet_pen(sheet, RLV_LINE_HAIR);
    cairo_stroke(c);
    cairo_restore(c);
}

void rlv_mark_hatch(rlv_sheet* sheet)
{
    put_hatch(sheet, false);
}

void rlv_mark_hatch_across(rlv_sheet* sheet)
{
    put_hatch(sheet, true);
}

void rlv_mark_dots(rlv_sheet* sheet)
{
    cairo_t* c = sheet->cairo;
    double x0, y0, x1, y1, gap = DOT_GAP * sheet->unit, row_gap = gap * sqrt(0.75);
    cairo_path_extents(c, &x0, &y0, &x1, &y1);
    cairo_save(c);
    cairo_clip(c);
    cairo_set_line_cap(c, CAIRO_LINE_CAP_ROUND);
    for (double row = floor(y0 / row_gap); row * row_gap <= y1 + row_gap; row += 1.0)
    {
        double shift = fmod(row, 2.0) != 0.0 ? 0.5 : 0.0;
        for (double dot = floor(x0 / gap) - 1.0; (dot + shift) * gap <= x1 + gap; dot += 1.0)
        {
            cairo_move_to(c, (dot + shift) * gap, row * row_gap);
            cairo_line_to(c, (dot + shift) * gap, row * row_gap);
        }
    }
    rlv_sheet_colour(sheet, RLV_PAINT_INK);
    cairo_set_line_width(c, 0.3 * sheet->unit);
    cairo_stroke(c);
    cairo_restore(c);
}

void rlv_mark_arrow(rlv_sheet* sheet, double x0, double y0, double x1, double y1, double line_mm)
{
    cairo_t* c = sheet->cairo;
    double length = hypot(x1 - x0, y1 - y0);
    if (!(length > 0.0))
        return;
    double x = (x1 - x0) / length, y = (y1 - y0) / length;
    double drawn = line_mm * sqrt(sheet->unit), head = fmin(6.5 * drawn + 0.4 * sheet->unit, 0.5 * length);
    double half = 0.32 * head;
    cairo_save(c);
    cairo_set_line_cap(c, CAIRO_LINE_CAP_BUTT);
    rlv_sheet_line(sheet, x0, y0, x1 - 0.8 * head * x, y1 - 0.8 * head * y, line_mm);
    cairo_move_to(c, x1, y1);
    cairo_line_to(c, x1 - head * x - half * y, y1 - head * y + half * x);
    cairo_line_to(c, x1 - 0.8 * head * x, y1 - 0.8 * head * y);
    cairo_line_to(c, x1 - head * x + half * y, y1 - head * y - half * x);
    cairo_close_path(c);
    cairo_fill(c);
    cairo_restore(c);
}

#define LEAST_LEADER 1.2 // a shorter one reads as a hyphen

void rlv_mark_leader(rlv_sheet* sheet, const rlv_label* label)
{
    double x = label->foot[0] - label->anchor[0], y = label->foot[1] - label->anchor[1], length = hypot(x, y);
    if (!label->placed || !label->led || !(length > 0.0))
        return;
    double from = fmin(fmax(label->clear - 0.4 * sheet->unit, 0.0), length) / length;
    if (label->own_count > 0) // one that is too short to be seen starts inside its outline
        from = fmin(from, fmax(1.0 - LEAST_LEADER * sheet->unit / length, 0.0));
    else if ((1.0 - from) * length < LEAST_LEADER * sheet->unit)
        return;
    double start[2] = {label->anchor[0] + from * x, label->anchor[1] + from * y};
    cairo_set_source_rgba(sheet->cairo, 1.0, 1.0, 1.0, 0.8);
    rlv_sheet_line(sheet, start[0], start[1], label->foot[0], label->foot[1], 0.55);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_line(sheet, start[0], start[1], label->foot[0], label->foot[1], RLV_LINE_HAIR);
}

void rlv_mark_symbol(rlv_sheet* sheet, rlv_symbol symbol, double x_mm, double y_mm, double size_mm)
{
    cairo_t* c = sheet->cairo;
    double half = 0.5 * size_mm, line = 0.16 * size_mm;
    cairo_set_line_width(c, line);
    switch (symbol)
    {
    case RLV_SYMBOL_DISC:
        cairo_arc(c, x_mm, y_mm, half, 0.0, 2.0 * G_PI);
        cairo_fill(c);
        break;
    case RLV_SYMBOL_RING:
        cairo_arc(c, x_mm, y_mm, half - 0.5 * line, 0.0, 2.0 * G_PI);
        cairo_stroke(c);
        break;
    case RLV_SYMBOL_SQUARE:
        cairo_rectangle(c, x_mm - 0.85 * half, y_mm - 0.85 * half, 1.7 * half, 1.7 * half);
        cairo_fill(c);
        break;
    case RLV_SYMBOL_DIAMOND:
    case RLV_SYMBOL_TRIANGLE:
        cairo_move_to(c, x_mm, y_mm - 1.1 * half);
        cairo_line_to(c, x_mm + half, y_mm + (symbol == RLV_SYMBOL_TRIANGLE ? 0.75 * half : 0.0));
        if (symbol == RLV_SYMBOL_DIAMOND)
            cairo_line_to(c, x_mm, y_mm + 1.1 * half);
        cairo_line_to(c, x_mm - half, y_mm + (symbol == RLV_SYMBOL_TRIANGLE ? 0.75 * half : 0.0));
        cairo_close_path(c);
        cairo_fill(c);
        break;
    default:
        rlv_sheet_line(sheet, x_mm - 0.7 * half, y_mm - 0.7 * half, x_mm + 0.7 * half, y_mm + 0.7 * half, line);
        rlv_sheet_line(sheet, x_mm - 0.7 * half, y_mm + 0.7 * half, x_mm + 0.7 * half, y_mm - 0.7 * half, line);
    }
}

double rlv_mark_number_radius(const rlv_sheet* sheet, const char* number)
{
    rlv_text_size size = rlv_sheet_measure(sheet, number, &number_letters);
    return fmax(0.5 * hypot(size.width_mm, size.cap_mm) + 0.5 * sheet->unit, 1.75 * sheet->unit);
}

double rlv_mark_number(rlv_sheet* sheet, const char* number, double x_mm, double y_mm)
{
    cairo_t* c = sheet->cairo;
    double radius = rlv_mark_number_radius(sheet, number);
    cairo_arc(c, x_mm, y_mm, radius, 0.0, 2.0 * G_PI);
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_fill_preserve(c);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_pen(sheet, RLV_LINE_THIN);
    cairo_stroke(c);
    rlv_lettering middle = number_letters;
    middle.share = 0.5;
    rlv_sheet_text(sheet, number, x_mm, y_mm + 0.5 * rlv_sheet_measure(sheet, number, &number_letters).cap_mm, &middle);
    return radius;
}

// Letters of a large sheet are longer than 100 mm of them.
static double control_mm(double unit)
{
    return unit < 200.0 / RLV_CONTROL_MM ? 100.0 : 200.0;
}

rlv_box2 rlv_mark_control(rlv_sheet* sheet, double x_mm, double y_mm)
{
    const double u = sheet->unit, length = control_mm(u);
    double cap = rlv_sheet_measure(sheet, "0", &quiet).cap_mm, line = y_mm + 1.2 * u;
    char words[80];
    rlv_sheet_grey(sheet, RLV_INK_GREY);
    rlv_sheet_line(sheet, x_mm, line, x_mm + length, line, RLV_LINE_HAIR);
    for (int i = 0; i <= 10; i++)
    {
        double at = x_mm + 0.1 * length * i, half = (i % 5 == 0 ? 1.2 : 0.6) * u;
        rlv_sheet_line(sheet, at, line - half, at, line + half, RLV_LINE_HAIR);
    }
    snprintf(words, sizeof words, "print at 100" RLV_THIN "%%: this line is %.0f" RLV_THIN "mm long", length);
    double wide = rlv_sheet_text(sheet, words, x_mm, line + 2.2 * u + cap, &quiet).width_mm;
    return (rlv_box2){x_mm, y_mm, fmax(length, wide), 3.4 * u + cap};
}
