#include "lettering.h"

#include "colour.h"
#include "marks.h"

#include <glib.h>
#include <math.h>
#include <pango/pangocairo.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

// Places on the page, in its unit, from the left or the bottom.
#define MARGIN 5.0
#define TITLE_TOP 4.6
#define TITLE_SIZE 2.7
#define LABEL_SIZE 1.5
#define SMALL_SIZE 1.32
#define BAR_LEAST 17.0 // the scale bar's longest length
#define BAR_TALL 0.62
#define BAND_BOTTOM 11.6 // the foot of scale bar and legend, over the page's lower edge
#define LEGEND_WIDE 40.0
#define LEGEND_TALL 1.5
#define SWATCH_WIDE 3.6
#define AXIS_LONG 3.6

typedef struct letterer
{
    cairo_t* cairo;
    PangoContext* context;
    double unit, width, height;
} letterer;

static double page_unit(size_t width, size_t height)
{
    return fmin((double)height, 0.75 * (double)width) / 100.0;
}

rlv_scale_bar rlv_scale_bar_of(size_t width, size_t height, double width_mm)
{
    double unit = page_unit(width, height), pixels_a_mm = (double)width / width_mm;
    double longest_mm = 2.0 * BAR_LEAST * unit / pixels_a_mm;
    double power = pow(10.0, floor(log10(longest_mm)));
    double first = longest_mm / power;
    double digit = first >= 5.0 ? 5.0 : first >= 2.0 ? 2.0 : 1.0;
    rlv_scale_bar bar = {.length_mm = digit * power, .parts = digit == 2.0 ? 4 : 5};
    bar.left_px = round(MARGIN * unit);
    bar.height_px = fmax(round(BAR_TALL * unit), 2.0);
    bar.top_px = round((double)height - BAND_BOTTOM * unit) - bar.height_px;
    bar.length_px = bar.length_mm * pixels_a_mm;
    return bar;
}

double rlv_paper_scale(size_t width, size_t height, double width_mm)
{
    const double long_mm = 420.0, short_mm = 297.0; // A3, ISO 216
    double height_mm = width_mm * (double)height / (double)width;
    double wide = width >= height ? long_mm : short_mm, tall = width >= height ? short_mm : long_mm;
    double largest = fmin(wide / width_mm, tall / height_mm) * (1.0 + 1e-9);
    double power = pow(10.0, floor(log10(largest)));
    double first = largest / power;
    return (first >= 5.0 ? 5.0 : first >= 2.0 ? 2.0 : 1.0) * power;
}

static void ink(const letterer* on, double grey)
{
    cairo_set_source_rgb(on->cairo, grey, 0.985 * grey, 0.97 * grey);
}

static void ink_colour(const letterer* on, rlv_rgb colour)
{
    cairo_set_source_rgb(on->cairo, (double)colour.r, (double)colour.g, (double)colour.b);
}

// A text laid out in a size (in the page's unit) and a weight. Free with g_object_unref.
static PangoLayout* set_text(const letterer* on, const char* text, double size, PangoWeight weight)
{
    PangoLayout* layout = pango_layout_new(on->context);
    PangoFontDescription* font = pango_font_description_new();
    pango_font_description_set_family(font, "DejaVu Sans");
    pango_font_description_set_weight(font, weight);
    pango_font_description_set_absolute_size(font, size * on->unit * PANGO_SCALE);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    char* sound = g_utf8_make_valid(text, -1);
    pango_layout_set_text(layout, sound, -1);
    g_free(sound);
    return layout;
}

// Draw a layout with its first baseline at y and the given share of its width left of x; free it; return its width.
static double put_text(const letterer* on, PangoLayout* layout, double x, double baseline, double share)
{
    PangoRectangle extent;
    pango_layout_get_pixel_extents(layout, NULL, &extent);
    double first = (double)pango_layout_get_baseline(layout) / PANGO_SCALE;
    cairo_move_to(on->cairo, x - share * extent.width, baseline - first);
    pango_cairo_show_layout(on->cairo, layout);
    g_object_unref(layout);
    return extent.width;
}

static double label(const letterer* on, const char* text, double size, double x, double baseline, double share)
{
    return put_text(on, set_text(on, text, size, PANGO_WEIGHT_NORMAL), x, baseline, share);
}

static void put_title(const letterer* on, const char* title)
{
    PangoLayout* layout = set_text(on, title, TITLE_SIZE, PANGO_WEIGHT_NORMAL);
    pango_layout_set_width(layout, (int)((on->width - (2.0 * MARGIN + 12.0) * on->unit) * PANGO_SCALE));
    pango_layout_set_height(layout, -2);
    pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    ink(on, 0.13);
    put_text(on, layout, MARGIN * on->unit, (TITLE_TOP + TITLE_SIZE) * on->unit, 0.0);
}

static void put_footer(const letterer* on, const char* footer)
{
    PangoLayout* layout = set_text(on, footer, SMALL_SIZE, PANGO_WEIGHT_NORMAL);
    pango_layout_set_width(layout, (int)((on->width - 2.0 * MARGIN * on->unit) * PANGO_SCALE));
    pango_layout_set_height(layout, -3);
    pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    pango_layout_set_line_spacing(layout, 1.12F);
    ink(on, 0.36);
    put_text(on, layout, MARGIN * on->unit, on->height - (MARGIN + 1.6) * on->unit, 0.0);
}

static void put_rule(const letterer* on)
{
    double y = round(on->height - (MARGIN + 4.0) * on->unit) + 0.5;
    cairo_set_line_width(on->cairo, fmax(round(0.06 * on->unit), 1.0));
    ink(on, 0.72);
    cairo_move_to(on->cairo, MARGIN * on->unit, y);
    cairo_line_to(on->cairo, on->width - MARGIN * on->unit, y);
    cairo_stroke(on->cairo);
}

// A number with the decimals that its step has, and a true minus sign.
static void write_number(char* into, size_t size, double value, double step)
{
    int decimals = (int)fmin(fmax(ceil(-log10(step) - 1e-9), 0.0), 9.0);
    bool below = value < -0.5 * step;
    snprintf(into, size, "%s%.*f", below ? "\xe2\x88\x92" : "", decimals, fabs(value));
}

// The number of a length in the unit that keeps it short; returns the unit.
static const char* write_length(char* into, size_t size, double length_mm)
{
    bool large = length_mm >= 1e4, small = length_mm < 0.1;
    snprintf(into, size, "%.10g", large ? length_mm / 1e3 : small ? length_mm * 1e3 : length_mm);
    return large ? "m" : small ? "\xc2\xb5m" : "mm";
}

static void write_scale(char* into, size_t size, double scale)
{
    if (scale >= 1.0)
        snprintf(into, size, "%.10g : 1 when printed at 100\xe2\x80\xaf%%", scale);
    else
        snprintf(into, size, "1 : %.10g when printed at 100\xe2\x80\xaf%%", 1.0 / scale);
}

static void put_scale_bar(const letterer* on, size_t width, size_t height, double width_mm)
{
    rlv_scale_bar bar = rlv_scale_bar_of(width, height, width_mm);
    cairo_t* c = on->cairo;
    ink(on, 0.10);
    cairo_rectangle(c, bar.left_px, bar.top_px, bar.length_px, bar.height_px);
    cairo_fill(c);
    double line = fmax(round(0.08 * on->unit), 1.0), part = bar.length_px / bar.parts;
    cairo_set_source_rgb(c, 1, 1, 1);
    for (int i = 1; i < bar.parts; i += 2)
        cairo_rectangle(c, bar.left_px + i * part, bar.top_px + line, part, bar.height_px - 2.0 * line);
    cairo_fill(c);

    char words[64];
    double baseline = bar.top_px - 0.75 * on->unit;
    ink(on, 0.13);
    label(on, "0", LABEL_SIZE, bar.left_px, baseline, 0.0);
    // The number stands over the bar's end, its unit beyond.
    const char* unit = write_length(words, sizeof words, bar.length_mm);
    double half = 0.5 * label(on, words, LABEL_SIZE, bar.left_px + bar.length_px, baseline, 0.5);
    label(on, unit, LABEL_SIZE, bar.left_px + bar.length_px + half + 0.45 * on->unit, baseline, 0.0);
    write_scale(words, sizeof words, rlv_paper_scale(width, height, width_mm));
    ink(on, 0.36);
    label(on, words, SMALL_SIZE, bar.left_px, bar.top_px + bar.height_px + 1.9 * on->unit, 0.0);
}

static void put_axes(const letterer* on, const rlv_camera* camera)
{
    static const char* const name[3] = {"x", "y", "z"};
    rlv_camera_axes axes = rlv_camera_axes_of(camera);
    const rlv_vec3 way[3] = {{axes.right.x, axes.up.x, axes.towards.x},
                             {axes.right.y, axes.up.y, axes.towards.y},
                             {axes.right.z, axes.up.z, axes.towards.z}};
    // What points away from the eye is drawn first, and fainter.
    int order[3] = {0, 1, 2};
    for (int i = 0; i < 2; i++)
        for (int j = 0; j < 2 - i; j++)
            if (way[order[j]].z > way[order[j + 1]].z)
            {
                int other = order[j];
                order[j] = order[j + 1];
                order[j + 1] = other;
            }
    double x = on->width - (MARGIN + 4.6) * on->unit, y = (TITLE_TOP + 3.4) * on->unit, length = AXIS_LONG * on->unit;
    cairo_set_line_cap(on->cairo, CAIRO_LINE_CAP_ROUND);
    for (int k = 0; k < 3; k++)
    {
        rlv_vec3 to = way[order[k]];
        double flat = hypot(to.x, to.y);
        ink(on, to.z < -0.35 ? 0.62 : 0.16);
        cairo_set_line_width(on->cairo, fmax(0.16 * on->unit, 1.0));
        cairo_move_to(on->cairo, x, y);
        cairo_line_to(on->cairo, x + length * to.x, y - length * to.y);
        cairo_stroke(on->cairo);
        double beyond = length * flat + 1.15 * on->unit;
        double lx = flat > 0.08 ? to.x / flat : -0.7071, ly = flat > 0.08 ? to.y / flat : -0.7071;
        label(on, name[order[k]], LABEL_SIZE, x + beyond * lx, y - beyond * ly + 0.42 * on->unit, 0.5);
    }
}

static rlv_rgb scale_colour(double share)
{
    return share < 0.0 ? rlv_colour_added(-share) : rlv_colour_removed(share);
}

// The colours, column by column, with the dots of what was added; and a pointed end where the picture goes past it.
static void put_colours(const letterer* on, double left, double top, double wide, double tall, double low,
                        const rlv_paint_pattern* pattern)
{
    cairo_t* c = on->cairo;
    for (double x = 0.0; x < wide; x += 1.0)
    {
        double share = low + (1.0 - low) * (x + 0.5) / wide;
        ink_colour(on, scale_colour(share));
        cairo_rectangle(c, left + x, top, fmin(1.0, wide - x), tall);
        cairo_fill(c);
    }
    if (low >= 0.0)
        return;
    cairo_save(c);
    cairo_rectangle(c, left, top, wide * low / (low - 1.0), tall);
    cairo_clip(c);
    ink_colour(on, RLV_PAINT_INK);
    double row_gap = pattern->dot_gap * 0.86602540378443865;
    for (double row = floor(top / row_gap); row * row_gap <= top + tall + row_gap; row += 1.0)
        for (double dot = floor(left / pattern->dot_gap) - 1.0; dot * pattern->dot_gap <= left + wide; dot += 1.0)
        {
            double shift = fmod(row, 2.0) != 0.0 ? 0.5 : 0.0;
            cairo_arc(c, (dot + shift) * pattern->dot_gap, row * row_gap, pattern->dot_radius, 0.0, 2.0 * G_PI);
            cairo_fill(c);
        }
    cairo_restore(c);
}

static void put_end(const letterer* on, double x, double top, double tall, double way, rlv_rgb colour)
{
    cairo_t* c = on->cairo;
    cairo_move_to(c, x, top);
    cairo_line_to(c, x + way * 0.8 * tall, top + 0.5 * tall);
    cairo_line_to(c, x, top + tall);
    cairo_close_path(c);
    ink_colour(on, colour);
    cairo_fill(c);
}

static void put_ticks(const letterer* on, double left, double bottom, double wide, double low, double deepest_mm)
{
    double span = (1.0 - low) * deepest_mm, step = rlv_round_step(span, 6);
    cairo_set_line_width(on->cairo, fmax(round(0.07 * on->unit), 1.0));
    for (double k = ceil(low * deepest_mm / step - 1e-9); k * step <= deepest_mm * (1.0 + 1e-9); k += 1.0)
    {
        double x = left + wide * (k * step / deepest_mm - low) / (1.0 - low);
        ink(on, 0.25);
        cairo_move_to(on->cairo, x, bottom);
        cairo_line_to(on->cairo, x, bottom + 0.55 * on->unit);
        cairo_stroke(on->cairo);
        char words[48];
        write_number(words, sizeof words, k * step, step);
        ink(on, 0.13);
        label(on, words, LABEL_SIZE, x, bottom + 2.15 * on->unit, 0.5);
    }
}

static void put_hatching(const letterer* on, double left, double top, double tall, const rlv_paint_pattern* pattern)
{
    cairo_t* c = on->cairo;
    double wide = SWATCH_WIDE * on->unit;
    cairo_save(c);
    cairo_rectangle(c, left, top, wide, tall);
    cairo_clip_preserve(c);
    cairo_set_source_rgb(c, 0.86, 0.84, 0.81);
    cairo_fill(c);
    ink_colour(on, RLV_PAINT_INK);
    cairo_set_line_width(c, pattern->hatch_line);
    double gap = pattern->hatch_gap * 1.4142135623730951;
    for (double from = floor((left + top) / gap) * gap; from <= left + top + wide + tall; from += gap)
    {
        cairo_move_to(c, from - top, top);
        cairo_line_to(c, from - top - tall, top + tall);
        cairo_stroke(c);
    }
    cairo_restore(c);
    cairo_rectangle(c, left, top, wide, tall);
    ink(on, 0.45);
    cairo_set_line_width(c, 1.0);
    cairo_stroke(c);
}

static void put_legend(const letterer* on, const rlv_overlay* overlay, const rlv_paint_seen* seen)
{
    rlv_paint_pattern pattern = rlv_paint_pattern_of(on->unit);
    double wide = round(LEGEND_WIDE * on->unit), tall = round(LEGEND_TALL * on->unit);
    double left = round(on->width - MARGIN * on->unit) - wide;
    double top = round(on->height - (BAND_BOTTOM + 1.2) * on->unit) - tall;
    bool scale = overlay->depth_mm != NULL && overlay->deepest_mm > 0.0;
    if (scale)
    {
        double low = !seen->added ? 0.0 : -1.0;
        put_colours(on, left, top, wide, tall, low, &pattern);
        if (seen->past_removed)
            put_end(on, left + wide, top, tall, 1.0, scale_colour(1.0));
        if (seen->past_added)
            put_end(on, left, top, tall, -1.0, scale_colour(-1.0));
        put_ticks(on, left, top + tall, wide, low, overlay->deepest_mm);
        ink(on, 0.13);
        if (overlay->caption != NULL)
            label(on, overlay->caption, LABEL_SIZE, left + wide * low / (low - 1.0), top - 0.8 * on->unit, 0.0);
        if (seen->added)
            label(on, "added", LABEL_SIZE, left, top - 0.8 * on->unit, 0.0);
    }
    if (!seen->hatched)
        return;
    double at = scale ? left - 22.0 * on->unit : left + wide - 22.0 * on->unit;
    put_hatching(on, at, top, tall, &pattern);
    ink(on, 0.13);
    label(on, "not told apart", LABEL_SIZE, at + (SWATCH_WIDE + 0.9) * on->unit, top + 0.45 * on->unit, 0.0);
    label(on, "from noise", LABEL_SIZE, at + (SWATCH_WIDE + 0.9) * on->unit, top + 2.4 * on->unit, 0.0);
}

// Cairo draws on words of 32 bits; a picture is bytes.
static cairo_surface_t* surface_of(const rlv_picture* picture)
{
    cairo_surface_t* surface =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)picture->width, (int)picture->height);
    if (cairo_surface_status(surface) != CAIRO_STATUS_SUCCESS)
        return surface;
    unsigned char* data = cairo_image_surface_get_data(surface);
    size_t stride = (size_t)cairo_image_surface_get_stride(surface);
    for (size_t y = 0; y < picture->height; y++)
        for (size_t x = 0; x < picture->width; x++)
        {
            const uint8_t* from = picture->rgb + 3 * (y * picture->width + x);
            uint32_t word = (uint32_t)from[0] << 16 | (uint32_t)from[1] << 8 | from[2];
            memcpy(data + y * stride + 4 * x, &word, sizeof word);
        }
    cairo_surface_mark_dirty(surface);
    return surface;
}

static void take_back(rlv_picture* picture, cairo_surface_t* surface)
{
    cairo_surface_flush(surface);
    const unsigned char* data = cairo_image_surface_get_data(surface);
    size_t stride = (size_t)cairo_image_surface_get_stride(surface);
    for (size_t y = 0; y < picture->height; y++)
        for (size_t x = 0; x < picture->width; x++)
        {
            uint32_t word;
            memcpy(&word, data + y * stride + 4 * x, sizeof word);
            uint8_t* to = picture->rgb + 3 * (y * picture->width + x);
            to[0] = (uint8_t)(word >> 16);
            to[1] = (uint8_t)(word >> 8);
            to[2] = (uint8_t)word;
        }
}

// Grey edges and no hinting, whatever the machine's own settings say: letters are the same everywhere.
static PangoContext* plain_context(cairo_t* cairo)
{
    PangoContext* context = pango_cairo_create_context(cairo);
    cairo_font_options_t* plain = cairo_font_options_create();
    cairo_font_options_set_antialias(plain, CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(plain, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(plain, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(context, plain);
    pango_cairo_context_set_resolution(context, 96.0);
    pango_context_set_language(context, pango_language_from_string("en"));
    cairo_font_options_destroy(plain);
    return context;
}

rlv_status rlv_letter(rlv_picture* picture, const rlv_camera* camera, const rlv_overlay* overlay,
                      const rlv_view_options* options, const rlv_paint_seen* seen, rlv_error* error)
{
    cairo_surface_t* surface = surface_of(picture);
    cairo_t* cairo = cairo_create(surface);
    letterer on = {cairo, plain_context(cairo), page_unit(picture->width, picture->height), (double)picture->width,
                   (double)picture->height};
    if (options->title != NULL)
        put_title(&on, options->title);
    put_axes(&on, camera);
    put_scale_bar(&on, picture->width, picture->height, camera->width_mm);
    if (overlay != NULL)
        put_legend(&on, overlay, seen);
    if (options->footer != NULL)
    {
        put_rule(&on);
        put_footer(&on, options->footer);
    }
    cairo_status_t drawn = cairo_status(cairo);
    if (drawn == CAIRO_STATUS_SUCCESS)
        take_back(picture, surface);
    g_object_unref(on.context);
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
    if (drawn != CAIRO_STATUS_SUCCESS)
        return rlv_fail(error, RLV_SYSTEM, NULL, "ask for a smaller picture", "letters could not be drawn (%s)",
                        cairo_status_to_string(drawn));
    return RLV_DONE;
}
