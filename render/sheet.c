#include "sheet.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define POINTS_A_MM (72.0 / 25.4)
#define ROLL "roll"
#define BAND 256 // rows of a PNG that are drawn at a time

// Grey edges and no hinting, whatever the machine's own settings say: letters are the same everywhere, at any size.
static PangoContext* plain_context(cairo_t* cairo)
{
    PangoContext* context = pango_cairo_create_context(cairo);
    cairo_font_options_t* plain = cairo_font_options_create();
    cairo_font_options_set_antialias(plain, CAIRO_ANTIALIAS_GRAY);
    cairo_font_options_set_hint_style(plain, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(plain, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(context, plain);
    pango_cairo_context_set_resolution(context, 72.0);
    pango_context_set_round_glyph_positions(context, FALSE);
    pango_context_set_language(context, pango_language_from_string("en"));
    pango_context_set_base_dir(context, PANGO_DIRECTION_LTR);
    cairo_font_options_destroy(plain);
    return context;
}

// A context on a sheet's surface, which is there.
static rlv_status begin_drawing(rlv_sheet* sheet, double units_a_mm, rlv_error* error)
{
    sheet->cairo = cairo_create(sheet->record);
    cairo_scale(sheet->cairo, units_a_mm, units_a_mm);
    sheet->pango = plain_context(sheet->cairo);
    if (cairo_status(sheet->cairo) == CAIRO_STATUS_SUCCESS)
        return RLV_DONE;
    rlv_sheet_free(sheet);
    return rlv_fail(error, RLV_SYSTEM, NULL, "give the program more memory", "no room for a sheet");
}

static rlv_status drawing_failed(cairo_status_t drawn, rlv_error* error)
{
    return rlv_fail(error, RLV_SYSTEM, NULL, "check the free memory and disk space", "a sheet could not be drawn (%s)",
                    cairo_status_to_string(drawn));
}

rlv_status rlv_sheet_reserve(rlv_sheet* sheet, double width_mm, double height_mm, rlv_error* error)
{
    memset(sheet, 0, sizeof *sheet);
    if (!(width_mm >= 10.0) || !(height_mm >= 10.0) || !(width_mm <= 5000.0) || !(height_mm <= 5000.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for sides of 10 to 5000 mm, or for a smaller scale",
                        "a sheet of %g by %g mm", width_mm, height_mm);
    cairo_rectangle_t whole = {0.0, 0.0, width_mm * POINTS_A_MM, height_mm * POINTS_A_MM};
    sheet->width_mm = width_mm;
    sheet->height_mm = height_mm;
    sheet->unit = 1.0;
    sheet->record = cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, &whole);
    return begin_drawing(sheet, POINTS_A_MM, error);
}

// Cairo draws on words of 32 bits; a picture is bytes.
static cairo_surface_t* image_of(const rlv_picture* picture)
{
    cairo_surface_t* image = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)picture->width, (int)picture->height);
    if (cairo_surface_status(image) != CAIRO_STATUS_SUCCESS)
        return image;
    unsigned char* data = cairo_image_surface_get_data(image);
    size_t stride = (size_t)cairo_image_surface_get_stride(image);
    for (size_t y = 0; y < picture->height; y++)
        for (size_t x = 0; x < picture->width; x++)
        {
            const uint8_t* from = picture->rgb + 3 * (y * picture->width + x);
            uint32_t word = (uint32_t)from[0] << 16 | (uint32_t)from[1] << 8 | from[2];
            memcpy(data + y * stride + 4 * x, &word, sizeof word);
        }
    cairo_surface_mark_dirty(image);
    return image;
}

rlv_status rlv_sheet_over(rlv_sheet* sheet, const rlv_picture* picture, rlv_error* error)
{
    *sheet = (rlv_sheet){.width_mm = (double)picture->width * picture->pixel_mm,
                         .height_mm = (double)picture->height * picture->pixel_mm,
                         .unit = 1.0,
                         .record = image_of(picture)};
    return begin_drawing(sheet, 1.0 / picture->pixel_mm, error);
}

// A row of an image as bytes of red, green and blue.
static void take_row(cairo_surface_t* image, size_t y, uint8_t* rgb, size_t width)
{
    const unsigned char* row = cairo_image_surface_get_data(image) + y * (size_t)cairo_image_surface_get_stride(image);
    for (size_t x = 0; x < width; x++)
    {
        uint32_t word;
        memcpy(&word, row + 4 * x, sizeof word);
        rgb[3 * x] = (uint8_t)(word >> 16);
        rgb[3 * x + 1] = (uint8_t)(word >> 8);
        rgb[3 * x + 2] = (uint8_t)word;
    }
}

rlv_status rlv_sheet_take_back(const rlv_sheet* sheet, rlv_picture* picture, rlv_error* error)
{
    cairo_status_t drawn = cairo_status(sheet->cairo);
    if (drawn != CAIRO_STATUS_SUCCESS)
        return drawing_failed(drawn, error);
    cairo_surface_flush(sheet->record);
    for (size_t y = 0; y < picture->height; y++)
        take_row(sheet->record, y, picture->rgb + 3 * y * picture->width, picture->width);
    return RLV_DONE;
}

void rlv_sheet_free(rlv_sheet* sheet)
{
    if (sheet->pango != NULL)
        g_object_unref(sheet->pango);
    cairo_destroy(sheet->cairo);
    cairo_surface_destroy(sheet->record);
    memset(sheet, 0, sizeof *sheet);
}

rlv_paper rlv_paper_holding(double width_mm, double height_mm, int least)
{
    static const double sides[6] = {1189.0, 841.0, 594.0, 420.0, 297.0, 210.0};
    static const char* const names[5][2] = {{"A0 upright", "A0 lying"},
                                            {"A1 upright", "A1 lying"},
                                            {"A2 upright", "A2 lying"},
                                            {"A3 upright", "A3 lying"},
                                            {"A4 upright", "A4 lying"}};
    const double fits = 1e-6;
    for (int size = least > 4 ? 4 : least; size >= 0; size--)
        for (int k = 0; k < 2; k++)
        {
            int lying = (width_mm > height_mm) != (k == 1);
            double wide = sides[lying ? size : size + 1], tall = sides[lying ? size + 1 : size];
            if (width_mm <= wide + fits && height_mm <= tall + fits)
                return (rlv_paper){wide, tall, names[size][lying]};
        }
    static const double rolls[4] = {914.0, 1067.0, 1118.0, 1524.0};
    for (int i = 0; i < 4; i++)
        if (fmin(width_mm, height_mm) <= rolls[i] + fits)
            return width_mm <= height_mm ? (rlv_paper){rolls[i], ceil(height_mm - fits), ROLL}
                                         : (rlv_paper){ceil(width_mm - fits), rolls[i], ROLL};
    return (rlv_paper){ceil(width_mm - fits), ceil(height_mm - fits), ROLL};
}

#define LONG_A3 420.0
#define SHORT_A3 297.0
#define MOST_UNIT (1189.0 / LONG_A3) // of A0
#define LEAST_SHARE 0.6              // of the unit that a paper asks for

// The shares that letters may have of what a paper asks for. They are few, so that sheets of one size which hang beside
// each other have letters, margins and control lines of one size too, whatever is on them.
static const double shares[] = {1.0, 0.7, LEAST_SHARE};

double rlv_paper_unit(const rlv_paper* paper)
{
    double longer = fmax(paper->width_mm, paper->height_mm), shorter = fmin(paper->width_mm, paper->height_mm);
    return fmin(fmax(fmin(longer / LONG_A3, shorter / SHORT_A3), 1.0), MOST_UNIT);
}

// Whether two papers are one size either way round, or one roll.
static bool same_size(const rlv_paper* a, const rlv_paper* b)
{
    double sides[2][2] = {{fmin(a->width_mm, a->height_mm), fmax(a->width_mm, a->height_mm)},
                          {fmin(b->width_mm, b->height_mm), fmax(b->width_mm, b->height_mm)}};
    bool rolls = strcmp(a->name, ROLL) == 0 && strcmp(b->name, ROLL) == 0;
    return sides[0][0] == sides[1][0] && (rolls || sides[0][1] == sides[1][1]);
}

rlv_paper rlv_paper_for(rlv_paper_need need, const void* of, int least, double* unit)
{
    // A larger paper asks for larger letters, which take more paper: from the least one on, until one holds its own.
    // Units rise from paper to paper, and there is a greatest one.
    rlv_paper paper = rlv_paper_holding(1.0, 1.0, least);
    double size_mm[2], asked = 0.0;
    while (rlv_paper_unit(&paper) > asked)
    {
        asked = rlv_paper_unit(&paper);
        need(of, fmax(LEAST_SHARE * asked, 1.0), size_mm);
        paper = rlv_paper_holding(size_mm[0], size_mm[1], least);
    }
    for (size_t i = 0; i < sizeof shares / sizeof *shares; i++)
    {
        *unit = fmax(asked * shares[i], 1.0);
        need(of, *unit, size_mm);
        rlv_paper held = rlv_paper_holding(size_mm[0], size_mm[1], least);
        if (same_size(&held, &paper))
            return held;
    }
    return paper;
}

void rlv_sheet_grey(rlv_sheet* sheet, double grey)
{
    cairo_set_source_rgb(sheet->cairo, grey, 0.985 * grey, 0.97 * grey);
}

void rlv_sheet_colour(rlv_sheet* sheet, rlv_rgb srgb)
{
    cairo_set_source_rgb(sheet->cairo, (double)srgb.r, (double)srgb.g, (double)srgb.b);
}

void rlv_sheet_pen(rlv_sheet* sheet, double width_mm)
{
    cairo_set_line_width(sheet->cairo, width_mm * sqrt(sheet->unit));
}

void rlv_sheet_line(rlv_sheet* sheet, double x0, double y0, double x1, double y1, double width_mm)
{
    rlv_sheet_pen(sheet, width_mm);
    cairo_move_to(sheet->cairo, x0, y0);
    cairo_line_to(sheet->cairo, x1, y1);
    cairo_stroke(sheet->cairo);
}

void rlv_sheet_path(rlv_sheet* sheet, const rlv_lines* lines, double x_mm, double y_mm, double scale)
{
    for (size_t i = 0; i < lines->line_count; i++)
    {
        cairo_new_sub_path(sheet->cairo);
        for (size_t k = lines->start[i]; k < lines->start[i + 1]; k++)
            cairo_line_to(sheet->cairo, x_mm + scale * lines->point[2 * k], y_mm - scale * lines->point[2 * k + 1]);
        if (lines->closed[i])
            cairo_close_path(sheet->cairo);
    }
}

// A text laid out. Free with g_object_unref.
static PangoLayout* layout_of(const rlv_sheet* sheet, const char* text, const rlv_lettering* how)
{
    PangoLayout* layout = pango_layout_new(sheet->pango);
    PangoFontDescription* font = pango_font_description_new();
    pango_font_description_set_family(font, "DejaVu Sans");
    pango_font_description_set_weight(font, how->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font, how->size_mm * sheet->unit * PANGO_SCALE);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    pango_layout_set_auto_dir(layout, FALSE);
    if (how->width_mm > 0.0)
    {
        pango_layout_set_width(layout, (int)(how->width_mm * PANGO_SCALE));
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
        pango_layout_set_line_spacing(layout, 1.12F);
        pango_layout_set_alignment(layout, how->share > 0.75   ? PANGO_ALIGN_RIGHT
                                           : how->share > 0.25 ? PANGO_ALIGN_CENTER
                                                               : PANGO_ALIGN_LEFT);
        if (how->most_lines > 0)
        {
            pango_layout_set_height(layout, -how->most_lines);
            pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
        }
    }
    char* sound = g_utf8_make_valid(text, -1);
    pango_layout_set_text(layout, sound, -1);
    g_free(sound);
    return layout;
}

static rlv_text_size size_of(const rlv_sheet* sheet, PangoLayout* layout, const rlv_lettering* how)
{
    PangoRectangle extent;
    pango_layout_get_extents(layout, NULL, &extent);
    // A capital of DejaVu Sans is 1493 of its em's 2048 units high.
    return (rlv_text_size){(double)extent.width / PANGO_SCALE, (double)extent.height / PANGO_SCALE,
                           (double)pango_layout_get_baseline(layout) / PANGO_SCALE,
                           how->size_mm * sheet->unit * 1493.0 / 2048.0};
}

rlv_text_size rlv_sheet_measure(const rlv_sheet* sheet, const char* text, const rlv_lettering* how)
{
    PangoLayout* layout = layout_of(sheet, text, how);
    rlv_text_size size = size_of(sheet, layout, how);
    g_object_unref(layout);
    return size;
}

rlv_text_size rlv_sheet_text(rlv_sheet* sheet, const char* text, double x_mm, double baseline_mm,
                             const rlv_lettering* how)
{
    cairo_t* c = sheet->cairo;
    PangoLayout* layout = layout_of(sheet, text, how);
    rlv_text_size size = size_of(sheet, layout, how);
    double left = how->width_mm > 0.0 ? -how->share * how->width_mm : -how->share * size.width_mm;
    cairo_save(c);
    cairo_translate(c, x_mm, baseline_mm);
    cairo_rotate(c, how->turn_rad);
    if (how->halo_mm > 0.0)
    {
        cairo_move_to(c, left, -size.baseline_mm);
        pango_cairo_layout_path(c, layout);
        cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
        cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
        cairo_set_line_width(c, 2.0 * how->halo_mm * sheet->unit);
        cairo_stroke(c);
    }
    rlv_sheet_grey(sheet, how->grey);
    cairo_move_to(c, left, -size.baseline_mm);
    pango_cairo_show_layout(c, layout);
    cairo_restore(c);
    cairo_new_path(c);
    g_object_unref(layout);
    return size;
}

rlv_status rlv_sheet_picture(rlv_sheet* sheet, const rlv_picture* picture, double x_mm, double y_mm, rlv_error* error)
{
    cairo_surface_t* image = image_of(picture);
    if (cairo_surface_status(image) != CAIRO_STATUS_SUCCESS)
    {
        cairo_surface_destroy(image);
        return rlv_fail(error, RLV_SYSTEM, NULL, "ask for larger pixels", "no room for a picture of %zu by %zu pixels",
                        picture->width, picture->height);
    }
    cairo_t* c = sheet->cairo;
    cairo_save(c);
    cairo_translate(c, x_mm, y_mm);
    cairo_scale(c, picture->pixel_mm, picture->pixel_mm);
    cairo_set_source_surface(c, image, 0.0, 0.0);
    cairo_pattern_set_filter(cairo_get_source(c), CAIRO_FILTER_GOOD);
    cairo_paint(c);
    cairo_restore(c);
    cairo_surface_destroy(image);
    return RLV_DONE;
}

// Replay the record onto a surface whose unit is 1/scale points.
static cairo_status_t replay(const rlv_sheet* sheet, cairo_surface_t* surface, double scale, double shift_y)
{
    cairo_t* c = cairo_create(surface);
    cairo_translate(c, 0.0, -shift_y);
    cairo_scale(c, scale, scale);
    cairo_set_source_surface(c, sheet->record, 0.0, 0.0);
    cairo_paint(c);
    cairo_status_t drawn = cairo_status(c);
    cairo_destroy(c);
    return drawn;
}

// The rows of a PNG, drawn a band at a time, so that a roll of paper takes no more memory than a page.
typedef struct bands
{
    const rlv_sheet* sheet;
    cairo_surface_t* image;
    double pixel_mm;
    cairo_status_t drawn;
} bands;

static void band_row(void* user, size_t y, uint8_t* rgb, size_t width)
{
    bands* of = user;
    if (y % BAND == 0)
    {
        cairo_t* c = cairo_create(of->image);
        cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
        cairo_paint(c);
        cairo_destroy(c);
        cairo_status_t drawn = replay(of->sheet, of->image, 1.0 / (POINTS_A_MM * of->pixel_mm), (double)y);
        cairo_surface_flush(of->image);
        if (of->drawn == CAIRO_STATUS_SUCCESS)
            of->drawn = drawn;
    }
    take_row(of->image, y % BAND, rgb, width);
}

static rlv_status write_png(const rlv_sheet* sheet, FILE* stream, const rlv_sheet_info* info, rlv_error* error)
{
    double pixel_mm = info->pixel_mm > 0.0 ? info->pixel_mm : RLV_SHEET_PIXEL_MM;
    double width = ceil(sheet->width_mm / pixel_mm - 1e-6), height = ceil(sheet->height_mm / pixel_mm - 1e-6);
    const rlv_picture_text all[6] = {{"Title", info->title},         {"Author", info->author},
                                     {"Description", info->subject}, {"Software", info->software},
                                     {"Source", info->source},       {"Creation Time", info->date}};
    rlv_picture_text text[6];
    size_t count = 0;
    for (size_t i = 0; i < 6; i++)
        if (all[i].text != NULL)
            text[count++] = all[i];
    if (!(width <= 32767.0) || !(height <= 32767.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for larger pixels, or for PDF", "a PNG of %.0f by %.0f pixels",
                        width, height);
    bands of = {sheet, cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)width, BAND), pixel_mm,
                CAIRO_STATUS_SUCCESS};
    rlv_picture_rows rows = {(size_t)width, (size_t)height, pixel_mm, band_row, &of};
    cairo_status_t held = cairo_surface_status(of.image);
    rlv_status status = held == CAIRO_STATUS_SUCCESS ? rlv_picture_write_rows(&rows, stream, count, text, error)
                                                     : drawing_failed(held, error);
    if (status == RLV_DONE && of.drawn != CAIRO_STATUS_SUCCESS)
        status = drawing_failed(of.drawn, error);
    cairo_surface_destroy(of.image);
    return status;
}

static cairo_status_t keep_bytes(void* user, const unsigned char* data, unsigned int length)
{
    g_byte_array_append(user, data, length);
    return CAIRO_STATUS_SUCCESS;
}

static rlv_status write_bytes(FILE* stream, const char* data, size_t size, rlv_error* error)
{
    if (fwrite(data, 1, size, stream) == size && fflush(stream) == 0 && !ferror(stream))
        return RLV_DONE;
    return rlv_fail(error, RLV_SYSTEM, NULL, "check the disk's free space and rights", "a sheet could not be written");
}

// The digits of a date as PDF has them (year, and month and day where they are known); false where it is no date.
static bool date_digits(const char* date, char digits[9])
{
    size_t put = 0;
    static const char shape[] = "dddd-dd-dd";
    size_t i = 0;
    for (; shape[i] != '\0' && date[i] != '\0' && date[i] != 'T'; i++)
    {
        bool digit = date[i] >= '0' && date[i] <= '9';
        if (shape[i] == 'd' ? !digit : date[i] != '-')
            return false;
        if (digit)
            digits[put++] = date[i];
    }
    digits[put] = '\0';
    return (i == 4 || i == 7 || i == 10) && (date[i] == '\0' || date[i] == 'T');
}

static void set_metadata(cairo_surface_t* surface, const rlv_sheet_info* info)
{
    const struct
    {
        cairo_pdf_metadata_t key;
        const char* text;
    } field[] = {{CAIRO_PDF_METADATA_TITLE, info->title},
                 {CAIRO_PDF_METADATA_AUTHOR, info->author},
                 {CAIRO_PDF_METADATA_SUBJECT, info->subject},
                 {CAIRO_PDF_METADATA_KEYWORDS, info->source},
                 {CAIRO_PDF_METADATA_CREATOR, info->software}};
    for (size_t i = 0; i < sizeof field / sizeof field[0]; i++)
    {
        char* sound = field[i].text != NULL ? g_utf8_make_valid(field[i].text, -1) : NULL;
        if (sound != NULL)
            cairo_pdf_surface_set_metadata(surface, field[i].key, sound);
        g_free(sound);
    }
    // Without a date of the caller's there is none: Cairo would take the clock's.
    char date[32] = "", digits[9] = "";
    if (info->date != NULL && date_digits(info->date, digits))
        snprintf(date, sizeof date, "%.4s-%.2s-%.2sT00:00:00Z", digits, digits[4] != '\0' ? digits + 4 : "01",
                 digits[4] != '\0' && digits[6] != '\0' ? digits + 6 : "01");
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, date);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_MOD_DATE, date);
}

// Cairo 1.16 leaves out the prefix that a PDF's date has, and adds a time that nobody told. Both are put right in
// place, padded by spaces behind the string, so that no offset in the file moves.
static void mend_date(GByteArray* pdf, const char* key, const char* date)
{
    char digits[9], wrong[48];
    if (date == NULL || !date_digits(date, digits))
        return;
    snprintf(wrong, sizeof wrong, "%s (%.4s%.2s%.2s", key, digits, digits[4] != '\0' ? digits + 4 : "01",
             digits[4] != '\0' && digits[6] != '\0' ? digits + 6 : "01");
    size_t length = strlen(wrong), at = pdf->len;
    while (at > 0 && (at + length > pdf->len || memcmp(pdf->data + at, wrong, length) != 0))
        at--;
    size_t from = at + strlen(key) + 1, to = from;
    while (to < pdf->len && pdf->data[to] != ')' && to - from < 32)
        to++;
    char right[16];
    size_t size = (size_t)snprintf(right, sizeof right, "(D:%s)", digits);
    if (at == 0 || to - from + 1 < size)
        return;
    memset(pdf->data + from, ' ', to - from + 1);
    memcpy(pdf->data + from, right, size);
}

static rlv_status write_pdf(const rlv_sheet* sheet, FILE* stream, const rlv_sheet_info* info, rlv_error* error)
{
    GByteArray* bytes = g_byte_array_new();
    cairo_surface_t* surface = cairo_pdf_surface_create_for_stream(keep_bytes, bytes, sheet->width_mm * POINTS_A_MM,
                                                                   sheet->height_mm * POINTS_A_MM);
    cairo_pdf_surface_restrict_to_version(surface, CAIRO_PDF_VERSION_1_5);
    set_metadata(surface, info);
    cairo_status_t drawn = replay(sheet, surface, 1.0, 0.0);
    cairo_surface_finish(surface);
    if (drawn == CAIRO_STATUS_SUCCESS)
        drawn = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    mend_date(bytes, "/CreationDate", info->date);
    mend_date(bytes, "/ModDate", info->date);
    rlv_status status = drawn == CAIRO_STATUS_SUCCESS ? write_bytes(stream, (const char*)bytes->data, bytes->len, error)
                                                      : drawing_failed(drawn, error);
    g_byte_array_unref(bytes);
    return status;
}

// A text as an element of SVG.
static void put_element(GString* svg, const char* name, const char* text)
{
    if (text == NULL)
        return;
    char* sound = g_utf8_make_valid(text, -1);
    char* escaped = g_markup_escape_text(sound, -1);
    g_string_append_printf(svg, "<%s>%s</%s>\n", name, escaped, name);
    g_free(escaped);
    g_free(sound);
}

// The length of a name that Cairo numbers by a counter of the whole process: surface12, image7; 0 where none is here.
static size_t numbered_name(const char* at, const char* end, size_t* word)
{
    static const char* const names[2] = {"surface", "image"};
    for (int i = 0; i < 2; i++)
    {
        size_t length = strlen(names[i]), all = length;
        if ((size_t)(end - at) <= length || memcmp(at, names[i], length) != 0)
            continue;
        while (at + all < end && at[all] >= '0' && at[all] <= '9')
            all++;
        *word = length;
        return all > length ? all : 0;
    }
    return 0;
}

// Copy SVG, its surfaces and images counted from 1 in the order they appear.
static void put_renumbered(GString* svg, const char* from, const char* end)
{
    GHashTable* known = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    const char* done = from;
    for (const char* at = from; at + 1 < end; at++)
    {
        size_t word = 0, length = *at == '"' || *at == '#' ? numbered_name(at + 1, end, &word) : 0;
        if (length == 0)
            continue;
        char* name = g_strndup(at + 1, length);
        guint number = GPOINTER_TO_UINT(g_hash_table_lookup(known, name));
        if (number == 0)
        {
            number = g_hash_table_size(known) + 1;
            g_hash_table_insert(known, g_strdup(name), GUINT_TO_POINTER(number));
        }
        g_free(name);
        g_string_append_len(svg, done, at + 1 + word - done);
        g_string_append_printf(svg, "%u", number);
        done = at + 1 + length;
        at += length;
    }
    g_string_append_len(svg, done, end - done);
    g_hash_table_unref(known);
}

// Cairo 1.16 keeps a reference to what an SVG was painted from when the SVG is gone: the record would never be freed.
static void drop_kept(cairo_surface_t* record, unsigned int references)
{
    if (cairo_version() != CAIRO_VERSION_ENCODE(1, 16, 0))
        return;
    while (cairo_surface_get_reference_count(record) > references)
        cairo_surface_destroy(record);
}

static rlv_status write_svg(const rlv_sheet* sheet, FILE* stream, const rlv_sheet_info* info, rlv_error* error)
{
    GByteArray* bytes = g_byte_array_new();
    unsigned int references = cairo_surface_get_reference_count(sheet->record);
    cairo_surface_t* surface =
        cairo_svg_surface_create_for_stream(keep_bytes, bytes, sheet->width_mm, sheet->height_mm);
    cairo_svg_surface_set_document_unit(surface, CAIRO_SVG_UNIT_MM);
    cairo_status_t drawn = replay(sheet, surface, 1.0 / POINTS_A_MM, 0.0);
    cairo_surface_finish(surface);
    if (drawn == CAIRO_STATUS_SUCCESS)
        drawn = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    drop_kept(sheet->record, references);
    if (drawn != CAIRO_STATUS_SUCCESS)
    {
        g_byte_array_unref(bytes);
        return drawing_failed(drawn, error);
    }
    const char *from = (const char*)bytes->data, *end = from + bytes->len;
    const char* opened = g_strstr_len(from, end - from, "<svg");
    const char* body = opened != NULL ? memchr(opened, '>', (size_t)(end - opened)) : NULL;
    body = body != NULL ? body + 1 : from;
    GString* svg = g_string_sized_new(bytes->len + 1024);
    g_string_append_len(svg, from, body - from);
    g_string_append_c(svg, '\n');
    put_element(svg, "title", info->title);
    put_element(svg, "desc", info->subject);
    put_renumbered(svg, body, end);
    g_byte_array_unref(bytes);
    rlv_status status = write_bytes(stream, svg->str, svg->len, error);
    g_string_free(svg, TRUE);
    return status;
}

rlv_status rlv_sheet_write(const rlv_sheet* sheet, rlv_sheet_format format, FILE* stream, const rlv_sheet_info* info,
                           rlv_error* error)
{
    static const rlv_sheet_info nothing = {0};
    if (info == NULL)
        info = &nothing;
    cairo_status_t drawn = cairo_status(sheet->cairo);
    if (drawn != CAIRO_STATUS_SUCCESS)
        return drawing_failed(drawn, error);
    char digits[9];
    if (info->date != NULL && !date_digits(info->date, digits))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "write it as 2031-05-12", "the date of a sheet is %.40s",
                        info->date);
    switch (format)
    {
    case RLV_SHEET_PNG:
        return write_png(sheet, stream, info, error);
    case RLV_SHEET_PDF:
        return write_pdf(sheet, stream, info, error);
    default:
        return write_svg(sheet, stream, info, error);
    }
}
