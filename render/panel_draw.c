#include "panel_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// Ids of what lies where it belonged are many, and say the least: where they are crowded on a large sheet they are
// smaller yet, but never below the least that is read at arm's length.
static const rlv_lettering slight = {.size_mm = 0.84 * RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .halo_mm = 0.5};
static const rlv_lettering plain = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .halo_mm = 0.55};

#define SYMBOL_MM 1.9
#define PAD_MM 0.6 // of a label's box, both sides of its letters
#define GAP_MM 0.5 // between labels
#define BESIDE 0.9 // from a symbol's middle to its label, over its radius

// A panel while it is drawn: where it is on the sheet, and the labels that are still to be placed.
typedef struct drawing
{
    rlv_sheet* sheet;
    const rlv_panel* panel;
    const rlv_panel_marks* marks;
    double left, top;
    size_t label_count, obstacle_count;
    rlv_label* label;
    const char** text; // of each label; NULL: a region's number
    bool* slight;      // of each label: its letters are smaller
    rlv_lettering how_slight;
    size_t line_count;
    size_t *body, *first_line; // of each label the body that it names, or SIZE_MAX; and the first line of each body
    rlv_stretch* line;         // what labels keep off: outlines and arrows of bodies
    size_t* region;
    rlv_box2* obstacle; // what labels keep clear of: bar, axes, letters of traces, numbers of levels
} drawing;

static void place_on_sheet(const drawing* on, rlv_vec3 point_mm, double at[2])
{
    rlv_vec3 place = rlv_panel_place(&on->panel->view, point_mm);
    at[0] = on->left + 0.5 * on->panel->width_mm + place.x;
    at[1] = on->top + 0.5 * on->panel->height_mm - place.y;
}

static void path_of(const drawing* on, const rlv_lines* lines)
{
    rlv_sheet_path(on->sheet, lines, on->left, on->top, 1.0);
}

static const char* tag_of(const drawing* on, size_t region)
{
    const rlv_panel_tag* tag = on->panel->surface->tag;
    return tag != NULL ? tag[region].words : NULL;
}

static const rlv_stroke of_edge = {RLV_LINE_MEDIUM, RLV_INK_BLACK, RLV_DASH_DOTS};
static const rlv_stroke of_isoline = {RLV_LINE_HAIR, RLV_INK_GREY, RLV_DASH_NONE};
static const rlv_stroke of_trace = {RLV_LINE_MEDIUM, RLV_INK_BLACK, RLV_DASH_SECTION};

static void stroke(const drawing* on, const rlv_lines* lines, double line_mm)
{
    path_of(on, lines);
    rlv_sheet_pen(on->sheet, line_mm);
    cairo_stroke(on->sheet->cairo);
}

static void draw_overlay(const drawing* on)
{
    const rlv_panel* panel = on->panel;
    cairo_t* c = on->sheet->cairo;
    if (panel->hatched.line_count > 0)
    {
        path_of(on, &panel->hatched);
        rlv_mark_hatch(on->sheet);
    }
    if (panel->added.line_count > 0)
    {
        path_of(on, &panel->added);
        rlv_mark_dots(on->sheet);
    }
    rlv_sheet_colour(on->sheet, RLV_PAINT_INK);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    stroke(on, &panel->hatched, RLV_LINE_HAIR);
    rlv_stroke_begin(on->sheet, &of_edge); // broken, so that it is told apart from bone and from lines of equal depth
    stroke(on, &panel->coloured, of_edge.line_mm);
    rlv_stroke_end(on->sheet);
}

static rlv_stroke stroke_of(const rlv_panel_outline* outline)
{
    return (rlv_stroke){outline->line_mm > 0.0 ? outline->line_mm : RLV_LINE_MEDIUM,
                        outline->quiet ? RLV_INK_GREY : RLV_INK_BLACK, outline->dashed ? RLV_DASH_EVEN : RLV_DASH_NONE};
}

static void draw_outlines(const drawing* on)
{
    cairo_t* c = on->sheet->cairo;
    for (size_t i = 0; i < on->panel->outline_count; i++)
    {
        const rlv_stroke how = stroke_of(&on->panel->surface->outline[i]);
        // A white line beneath keeps it apart from dark colours, and a dashed one together.
        cairo_set_source_rgba(c, 1.0, 1.0, 1.0, 0.75);
        stroke(on, &on->panel->outline[i], 2.6 * how.line_mm);
        rlv_stroke_begin(on->sheet, &how);
        stroke(on, &on->panel->outline[i], how.line_mm);
        rlv_stroke_end(on->sheet);
    }
}

static bool is_taken(const drawing* on, rlv_box2 box)
{
    for (size_t i = 0; i < on->obstacle_count; i++)
    {
        const rlv_box2* other = &on->obstacle[i];
        if (box.left < other->left + other->width && other->left < box.left + box.width &&
            box.top < other->top + other->height && other->top < box.top + box.height)
            return true;
    }
    for (size_t i = 0; i < on->label_count; i++)
    {
        const rlv_label* label = &on->label[i];
        if (label->fixed && box.left < label->left + label->width && label->left < box.left + box.width &&
            box.top < label->top + label->height && label->top < box.top + box.height)
            return true;
    }
    return false;
}

// A place and a direction on a line, a share of its length from its first point.
static void along_line(const rlv_lines* lines, size_t line, double share, double at[2], double* turn_rad)
{
    double left = share * rlv_line_length(lines, line);
    for (size_t k = lines->start[line]; k + 1 < lines->start[line + 1]; k++)
    {
        const double *a = lines->point + 2 * k, *b = a + 2;
        double step = hypot(b[0] - a[0], b[1] - a[1]), part = step > 0.0 ? fmin(left / step, 1.0) : 0.0;
        at[0] = a[0] + part * (b[0] - a[0]);
        at[1] = a[1] + part * (b[1] - a[1]);
        *turn_rad = atan2(a[1] - b[1], b[0] - a[0]);
        if (left <= step)
            return;
        left -= step;
    }
}

#define PLACES 24          // along a line that are tried for its number
#define NUMBER_LINE 3.5    // widths of a number that a line is long at least to bear it
#define NUMBERS_APART 25.0 // mm on A3: numbers that are farther from each other stand no better for it
#define LINES_APART 2.5    // the same of a number and another line
#define STRAIGHT 0.92      // of a number's width that the line under it reaches as the crow flies

// How far a place is from the nearest line of equal depth but its own.
static double off_others(const rlv_panel* panel, const rlv_lines* own, size_t line, const double at[2], double most)
{
    for (size_t i = 0; i < panel->isoline_count; i++)
    {
        const rlv_lines* other = &panel->isoline[i].lines;
        for (size_t k = 0; k < other->line_count; k++)
            for (size_t p = other->start[k]; p + 1 < other->start[k + 1] && (other != own || k != line); p++)
                most = fmin(most, rlv_off_stretch(at, other->point + 2 * p, other->point + 2 * p + 2));
    }
    return most;
}

// A number's place on a line of equal depth.
typedef struct isoline_place
{
    double x, y, turn_rad, worth; // on the sheet
} isoline_place;

// Of places along a line where it runs straight and nothing stands, the one farthest from numbers that are there (from
// obstacle `first` on) and from other lines; a worth of 0: none.
static isoline_place best_on_line(const drawing* on, const rlv_lines* lines, size_t line, rlv_text_size size,
                                  double reach, size_t first)
{
    const double u = on->sheet->unit, length = rlv_line_length(lines, line), half = 0.5 * size.width_mm / length;
    isoline_place best = {0};
    for (int i = 0; i < PLACES; i++)
    {
        const double share = (i + 0.5) / PLACES;
        double at[2] = {0.0, 0.0}, a[2] = {0.0, 0.0}, b[2] = {0.0, 0.0}, turn;
        if (share < half || share + half > 1.0)
            continue;
        along_line(lines, line, share, at, &turn);
        along_line(lines, line, share - half, a, &turn);
        along_line(lines, line, share + half, b, &turn);
        const double x = on->left + at[0], y = on->top - at[1];
        if (hypot(b[0] - a[0], b[1] - a[1]) < STRAIGHT * size.width_mm ||
            is_taken(on, (rlv_box2){x - reach, y - reach, 2.0 * reach, 2.0 * reach}))
            continue;
        double apart = NUMBERS_APART * u;
        for (size_t k = first; k < on->obstacle_count; k++)
            apart = fmin(apart, hypot(x - on->obstacle[k].left - 0.5 * on->obstacle[k].width,
                                      y - on->obstacle[k].top - 0.5 * on->obstacle[k].height));
        const double worth =
            apart / NUMBERS_APART + off_others(on->panel, lines, line, at, LINES_APART * u) / LINES_APART;
        if (worth > best.worth)
            best = (isoline_place){x, y, atan2(a[1] - b[1], b[0] - a[0]), worth};
    }
    return best;
}

// The number of a level on a line of its, along it and upright, the line broken by its halo; none where the line is
// short or all places are taken. Numbers before it are obstacles from `first` on. Whether it bears one.
static bool label_isoline(drawing* on, const rlv_panel_isoline* of, size_t line, size_t first, bool with_unit)
{
    char words[48];
    rlv_step_words(words, sizeof words, of->depth_mm, on->panel->surface->isoline_mm);
    if (with_unit)
        strcat(words, RLV_THIN "mm"); // a number of its step's decimals leaves room
    rlv_lettering how = plain;
    how.share = 0.5;
    const rlv_text_size size = rlv_sheet_measure(on->sheet, words, &how);
    const double reach = 0.5 * hypot(size.width_mm, size.cap_mm) + 0.4 * on->sheet->unit;
    if (rlv_line_length(&of->lines, line) < NUMBER_LINE * size.width_mm)
        return false;
    const isoline_place at = best_on_line(on, &of->lines, line, size, reach, first);
    if (!(at.worth > 0.0))
        return false;
    how.turn_rad = fabs(at.turn_rad) > G_PI_2 ? at.turn_rad - copysign(G_PI, at.turn_rad) : at.turn_rad;
    rlv_sheet_text(on->sheet, words, at.x - 0.5 * size.cap_mm * sin(how.turn_rad),
                   at.y + 0.5 * size.cap_mm * cos(how.turn_rad), &how);
    on->obstacle[on->obstacle_count++] = (rlv_box2){at.x - reach, at.y - reach, 2.0 * reach, 2.0 * reach};
    return true;
}

// Every line that is long enough has its number; the unit stands once a panel.
static void label_isolines(drawing* on)
{
    const size_t first = on->obstacle_count;
    bool told = false;
    for (size_t i = 0; i < on->panel->isoline_count; i++)
        for (size_t k = 0; k < on->panel->isoline[i].lines.line_count; k++)
            told |= label_isoline(on, &on->panel->isoline[i], k, first, !told);
}

static size_t isoline_lines(const rlv_panel* panel)
{
    size_t count = 0;
    for (size_t i = 0; i < panel->isoline_count; i++)
        count += panel->isoline[i].lines.line_count;
    return count;
}

static void draw_isolines(const drawing* on)
{
    for (size_t i = 0; i < on->panel->isoline_count; i++)
    {
        rlv_sheet_grey(on->sheet, of_isoline.grey);
        stroke(on, &on->panel->isoline[i].lines, of_isoline.line_mm);
    }
}

// A section's trace: thin and dash-dotted across, strong at its ends, with its letters beyond them.
static void draw_trace(drawing* on, const rlv_panel_trace* trace)
{
    const double u = on->sheet->unit;
    double a[2], b[2];
    place_on_sheet(on, trace->from_mm, a);
    place_on_sheet(on, trace->to_mm, b);
    double length = hypot(b[0] - a[0], b[1] - a[1]);
    if (!(length > 0.0))
        return;
    double x = (b[0] - a[0]) / length, y = (b[1] - a[1]) / length, end = fmin(5.0 * u, 0.3 * length);
    cairo_set_source_rgba(on->sheet->cairo, 1.0, 1.0, 1.0, 0.7); // unbroken: one line over whatever it crosses
    rlv_sheet_line(on->sheet, a[0], a[1], b[0], b[1], 2.5 * of_trace.line_mm);
    rlv_stroke_begin(on->sheet, &of_trace);
    rlv_sheet_grey(on->sheet, of_trace.grey);
    rlv_sheet_line(on->sheet, a[0], a[1], b[0], b[1], of_trace.line_mm);
    rlv_stroke_end(on->sheet);
    rlv_sheet_line(on->sheet, a[0], a[1], a[0] + end * x, a[1] + end * y, RLV_LINE_HEAVY);
    rlv_sheet_line(on->sheet, b[0], b[1], b[0] - end * x, b[1] - end * y, RLV_LINE_HEAVY);
    rlv_lettering how = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .share = 0.5, .halo_mm = 0.7};
    const rlv_short_name letter = rlv_shorten_name(trace->letter, 48);
    char primed[192];
    rlv_print(primed, sizeof primed, "%s\xe2\x80\xb2", letter.text);
    double cap = rlv_sheet_measure(on->sheet, "A", &how).cap_mm, off = 2.8 * u;
    rlv_sheet_text(on->sheet, letter.text, a[0] - off * x, a[1] - off * y + 0.5 * cap, &how);
    rlv_sheet_text(on->sheet, primed, b[0] + off * x, b[1] + off * y + 0.5 * cap, &how);
    on->obstacle[on->obstacle_count++] = (rlv_box2){a[0] - off * x - off, a[1] - off * y - off, 2.0 * off, 2.0 * off};
    on->obstacle[on->obstacle_count++] = (rlv_box2){b[0] + off * x - off, b[1] + off * y - off, 2.0 * off, 2.0 * off};
}

static void add_label(drawing* on, const char* text, double x, double y, double clear, bool is_slight)
{
    const double u = on->sheet->unit;
    rlv_text_size size = rlv_sheet_measure(on->sheet, text, is_slight ? &on->how_slight : &plain);
    on->slight[on->label_count] = is_slight;
    rlv_label* label = &on->label[on->label_count];
    *label = (rlv_label){
        .anchor = {x, y}, .width = size.width_mm + PAD_MM * u, .height = size.cap_mm + 1.3 * u, .clear = clear};
    on->body[on->label_count] = SIZE_MAX;
    on->text[on->label_count++] = text;
}

// A point is hidden where the surface lies between it and the eye.
static bool is_hidden(const drawing* on, const rlv_panel_point* point)
{
    double pixel_mm = on->panel->picture.pixel_mm / on->panel->view.scale;
    double beneath_mm = point->beneath_mm > 0.0 ? point->beneath_mm : 0.5;
    rlv_ray ray = rlv_panel_ray(on->panel, point->at_mm, fmax(beneath_mm, pixel_mm));
    bool blocked = false;
    rlv_tree_blocked(on->panel->surface->tree, 1, &ray, &blocked);
    return blocked;
}

static void draw_arrows(drawing* on)
{
    for (size_t i = 0; i < on->marks->arrow_count; i++)
    {
        const rlv_panel_arrow* arrow = &on->marks->arrow[i];
        double times = arrow->times > 0.0 ? arrow->times : 1.0, a[2], b[2];
        rlv_vec3 to = rlv_vec3_along(arrow->from_mm, times, rlv_vec3_sub(arrow->to_mm, arrow->from_mm));
        place_on_sheet(on, arrow->from_mm, a);
        place_on_sheet(on, to, b);
        cairo_set_source_rgb(on->sheet->cairo, 1.0, 1.0, 1.0);
        rlv_sheet_line(on->sheet, a[0], a[1], b[0], b[1], 3.0 * RLV_LINE_STRONG);
        rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
        rlv_mark_arrow(on->sheet, a[0], a[1], b[0], b[1], RLV_LINE_STRONG);
        if (arrow->label != NULL)
            add_label(on, arrow->label, b[0], b[1], on->sheet->unit, false);
    }
}

static void draw_points(drawing* on)
{
    cairo_t* c = on->sheet->cairo;
    const double u = on->sheet->unit, size = SYMBOL_MM * u;
    for (size_t i = 0; i < on->marks->point_count; i++)
    {
        const rlv_panel_point* point = &on->marks->point[i];
        double at[2];
        place_on_sheet(on, point->at_mm, at);
        bool hidden = is_hidden(on, point);
        cairo_arc(c, at[0], at[1], 0.5 * size + 0.3 * u, 0.0, 2.0 * G_PI);
        cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
        cairo_fill(c);
        rlv_sheet_grey(on->sheet, hidden ? RLV_INK_GREY : RLV_INK_BLACK);
        rlv_mark_symbol(on->sheet, hidden ? RLV_SYMBOL_RING : point->symbol, at[0], at[1], size);
        if (point->label != NULL)
            add_label(on, point->label, at[0], at[1], 0.5 * size + BESIDE * u, false);
    }
}

static const rlv_lettering tag_letters = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .bold = true};

#define TAG_PAD 1.2

static rlv_text_size tag_size(const drawing* on, size_t region)
{
    return rlv_sheet_measure(on->sheet, on->panel->surface->tag[region].words, &tag_letters);
}

// A region's number and words in a box, with the number in its disc at the left end.
static void draw_tag(const drawing* on, size_t region, const rlv_label* label)
{
    cairo_t* c = on->sheet->cairo;
    const rlv_panel_tag* tag = &on->panel->surface->tag[region];
    char number[24];
    snprintf(number, sizeof number, "%zu", region + 1);
    const double u = on->sheet->unit, round = 0.8 * u;
    const bool numbered = !on->panel->surface->unnumbered;
    double radius = 0.5 * label->height, y = label->top + radius, left = label->left + radius;
    double right = label->left + label->width - round;
    cairo_arc(c, left, y, radius, G_PI_2, 3.0 * G_PI_2);
    cairo_arc(c, right, y - radius + round, round, -G_PI_2, 0.0);
    cairo_arc(c, right, y + radius - round, round, 0.0, G_PI_2);
    cairo_close_path(c);
    if (tag->strong)
        rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
    else
        cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_fill_preserve(c);
    rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
    rlv_sheet_pen(on->sheet, RLV_LINE_THIN);
    cairo_stroke(c);
    rlv_lettering how = tag_letters;
    how.grey = tag->strong ? 1.0 : RLV_INK_BLACK;
    double cap = rlv_sheet_measure(on->sheet, "A", &how).cap_mm;
    how.share = numbered ? 0.0 : 0.5;
    rlv_sheet_text(on->sheet, tag->words,
                   numbered ? left + radius + 0.7 * TAG_PAD * u : label->left + 0.5 * label->width, y + 0.5 * cap,
                   &how);
    if (numbered)
        rlv_mark_number(on->sheet, number, left, y);
}

static void draw_ring(rlv_sheet* sheet, double x, double y)
{
    cairo_set_source_rgb(sheet->cairo, 1.0, 1.0, 1.0);
    cairo_arc(sheet->cairo, x, y, 0.5 * SYMBOL_MM * sheet->unit, 0.0, 2.0 * G_PI);
    cairo_fill(sheet->cairo);
    rlv_sheet_grey(sheet, RLV_INK_GREY);
    rlv_mark_symbol(sheet, RLV_SYMBOL_RING, x, y, SYMBOL_MM * sheet->unit);
}

// Where a region lies that is out of sight, with a ring there.
static bool place_hidden(const drawing* on, size_t region, double at[3])
{
    double on_sheet[2];
    if (on->panel->surface->region_mm == NULL)
        return false;
    place_on_sheet(on, on->panel->surface->region_mm[region], on_sheet);
    draw_ring(on->sheet, on_sheet[0], on_sheet[1]);
    at[0] = on_sheet[0] - on->left;
    at[1] = on_sheet[1] - on->top;
    at[2] = 0.0;
    return true;
}

// Numbers of regions: inside where the disc fits, else beside with a leader.
static void add_numbers(drawing* on)
{
    const double u = on->sheet->unit;
    for (size_t i = 0; i < on->panel->region_count; i++)
    {
        double hidden[3];
        const bool seen = on->panel->region_at[i][2] > 0.0;
        const bool numbered = !on->panel->surface->unnumbered;
        if ((!numbered && tag_of(on, i) == NULL) || (!seen && !place_hidden(on, i, hidden)))
            continue;
        const double* at = seen ? on->panel->region_at[i] : hidden;
        char words[24];
        snprintf(words, sizeof words, "%zu", i + 1);
        double radius = rlv_mark_number_radius(on->sheet, words), x = on->left + at[0], y = on->top + at[1];
        rlv_label* label = &on->label[on->label_count];
        on->body[on->label_count] = SIZE_MAX;
        *label = (rlv_label){.anchor = {x, y},
                             .width = 2.0 * radius,
                             .height = 2.0 * radius,
                             .clear = (seen ? 0.4 : 0.5 * SYMBOL_MM + 0.3) * u};
        if (tag_of(on, i) != NULL)
        {
            label->width = (numbered ? 2.0 * radius : 0.0) + tag_size(on, i).width_mm + 2.0 * TAG_PAD * u;
            radius = 0.5 * hypot(label->width, label->height);
        }
        label->left = x - 0.5 * label->width;
        label->top = y - 0.5 * label->height;
        label->fixed =
            at[2] >= 1.15 * radius && !is_taken(on, (rlv_box2){label->left, label->top, label->width, label->height});
        on->region[on->label_count++] = i + 1;
    }
}

// The number again on each other stretch of a region that has room for it.
static void add_islands(drawing* on)
{
    for (size_t i = 0; i < on->panel->island_count; i++)
    {
        const rlv_panel_island* island = &on->panel->island[i];
        char words[24];
        snprintf(words, sizeof words, "%zu", island->region + 1);
        const double radius = rlv_mark_number_radius(on->sheet, words), x = on->left + island->at[0],
                     y = on->top + island->at[1];
        const rlv_box2 box = {x - radius, y - radius, 2.0 * radius, 2.0 * radius};
        if (island->at[2] < 1.15 * radius || is_taken(on, box))
            continue;
        on->body[on->label_count] = SIZE_MAX;
        on->label[on->label_count] = (rlv_label){.anchor = {x, y},
                                                 .width = box.width,
                                                 .height = box.height,
                                                 .clear = 0.4 * on->sheet->unit,
                                                 .fixed = true,
                                                 .left = box.left,
                                                 .top = box.top};
        on->slight[on->label_count] = true; // its words stand at the region's own place
        on->region[on->label_count++] = island->region + 1;
    }
}

static int by_size(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

// How far elements are from their nearest neighbours: three quarters of them are so far, at least.
static double spacing_of(const drawing* on, double (*at)[2], double* nearest)
{
    const size_t count = on->marks->area_count;
    for (size_t i = 0; i < count; i++)
    {
        double half[2];
        panel_area_extent(on->panel, &on->marks->area[i], at[i], half);
    }
    for (size_t i = 0; i < count; i++)
    {
        nearest[i] = INFINITY;
        for (size_t k = 0; k < count; k++)
            if (k != i)
                nearest[i] = fmin(nearest[i], hypot(at[k][0] - at[i][0], at[k][1] - at[i][1]));
    }
    qsort(nearest, count, sizeof *nearest, by_size);
    return count > 0 ? nearest[count / 4] : INFINITY;
}

// Letters that leave room for the ids of neighbours side by side.
static rlv_status choose_slight(drawing* on, rlv_error* error)
{
    const size_t count = on->marks->area_count;
    const double u = on->sheet->unit;
    double(*at)[2] = rlv_reserve(count, sizeof *at, error), widest = 0.0;
    double* nearest = at != NULL ? rlv_reserve(count, sizeof *nearest, error) : NULL;
    on->how_slight = slight;
    if (nearest != NULL)
    {
        for (size_t i = 0; i < count; i++)
            if (on->marks->area[i].label != NULL && on->marks->area[i].state == RLV_IN_PLACE)
                widest = fmax(widest, rlv_sheet_measure(on->sheet, on->marks->area[i].label, &slight).width_mm);
        const double share = (spacing_of(on, at, nearest) - (PAD_MM + GAP_MM) * u) / widest;
        if (share < 1.0)
            on->how_slight.size_mm = fmin(slight.size_mm, fmax(share * slight.size_mm, RLV_LETTER_SMALL / u));
    }
    free(at);
    free(nearest);
    return nearest != NULL ? RLV_DONE : RLV_SYSTEM;
}

// Of an ellipse as wide and as tall as an element, that a label inside it may fill: elements are no ellipses.
#define INSIDE 0.9

static void add_body(drawing* on, const rlv_panel_area* area)
{
    const double u = on->sheet->unit;
    double middle[2], half[2];
    panel_area_extent(on->panel, area, middle, half);
    double x = on->left + middle[0], y = on->top + middle[1];
    bool open = area->state == RLV_UNASSIGNED; // its sign stands in its middle
    add_label(on, area->label, x, y, open ? 1.7 * u : fmax(fmin(half[0], half[1]), u), area->state == RLV_IN_PLACE);
    on->body[on->label_count - 1] = (size_t)(area - on->marks->area);
    rlv_label* label = &on->label[on->label_count - 1];
    label->left = x - 0.5 * label->width;
    label->top = y - 0.5 * label->height;
    label->fixed = !open && area->life_mm == NULL &&
                   pow(0.5 * label->width / half[0], 2.0) + pow(0.5 * label->height / half[1], 2.0) < INSIDE &&
                   !is_taken(on, (rlv_box2){label->left, label->top, label->width, label->height});
}

// Ids of elements, inside where they fit and no arrow ends there, of those that moved first; and of places where
// elements are expected.
static void add_bodies(drawing* on)
{
    const double u = on->sheet->unit;
    for (int still = 0; still < 2; still++)
        for (size_t i = 0; i < on->marks->area_count; i++)
        {
            const rlv_panel_area* area = &on->marks->area[i];
            if ((area->state == RLV_IN_PLACE) == (still == 1) && area->label != NULL && !panel_hides(on->panel, area))
                add_body(on, area);
        }
    for (size_t i = 0; i < on->marks->expected_count; i++)
        if (on->marks->expected[i].label != NULL)
        {
            double at[2];
            place_on_sheet(on, on->marks->expected[i].at_mm, at);
            add_label(on, on->marks->expected[i].label, at[0], at[1], 1.2 * u, true);
            on->body[on->label_count - 1] = on->marks->area_count + i;
        }
}

static void draw_labels(const drawing* on)
{
    for (size_t i = 0; i < on->label_count; i++)
        rlv_mark_leader(on->sheet, &on->label[i]);
    for (size_t i = 0; i < on->label_count; i++)
    {
        const rlv_label* label = &on->label[i];
        if (!label->placed)
            continue;
        double x = label->left + 0.5 * label->width, y = label->top + 0.5 * label->height;
        if (on->text[i] == NULL)
        {
            char words[24];
            snprintf(words, sizeof words, "%zu", on->region[i]);
            if (tag_of(on, on->region[i] - 1) != NULL && !on->slight[i])
                draw_tag(on, on->region[i] - 1, label);
            else
                rlv_mark_number(on->sheet, words, x, y);
            continue;
        }
        rlv_lettering how = on->slight[i] ? on->how_slight : plain;
        how.share = 0.5;
        how.halo_mm =
            on->slight[i] && label->fixed ? 0.35 : how.halo_mm; // inside a plain tint: its outline stays whole
        double cap = rlv_sheet_measure(on->sheet, on->text[i], &how).cap_mm;
        rlv_sheet_text(on->sheet, on->text[i], x, y + 0.5 * cap, &how);
    }
}

#define AXES_MM 7.0

// The bar in the lower left corner and the axes in the upper right one, clear of the strips that squares have for
// their letters.
static void draw_furniture(drawing* on)
{
    const double u = on->sheet->unit, strip = on->marks->grid != NULL ? PANEL_STRIP_MM * u : 0.0;
    if (on->marks->bar)
    {
        double longest = fmin(0.4 * on->panel->width_mm, 60.0 * u);
        on->obstacle[on->obstacle_count++] =
            rlv_mark_bar(on->sheet, on->left + strip + (strip > 0.0 ? 1.2 * u : 0.0),
                         on->top + on->panel->height_mm - 7.0 * u, on->panel->view.scale, longest);
    }
    if (on->marks->direction_count > 0)
    {
        double reach = (AXES_MM + 4.5) * u;
        on->obstacle[on->obstacle_count++] =
            rlv_mark_axes(on->sheet, on->left + on->panel->width_mm - reach, on->top + strip + reach, AXES_MM,
                          &on->panel->view.axes, on->marks->direction_count, on->marks->direction);
    }
}

static void own_outlines(drawing* on)
{
    for (size_t i = 0; i < on->label_count; i++)
        if (on->body[i] != SIZE_MAX)
        {
            on->label[i].own_first = on->first_line[on->body[i]];
            on->label[i].own_count = on->first_line[on->body[i] + 1] - on->first_line[on->body[i]];
        }
}

static void draw_all(drawing* on, size_t* left_out)
{
    if (on->marks->grid != NULL)
        panel_draw_grid(on->sheet, on->panel, on->left, on->top, on->marks->grid);
    draw_overlay(on);
    draw_outlines(on);
    draw_isolines(on);
    panel_draw_bodies(on->sheet, on->panel, on->left, on->top, on->marks);
    for (size_t i = 0; i < on->marks->trace_count; i++)
        draw_trace(on, &on->marks->trace[i]);
    draw_furniture(on);
    if (on->marks->grid != NULL)
        on->obstacle_count += panel_letter_grid(on->sheet, on->panel, on->left, on->top, on->marks->grid,
                                                on->obstacle + on->obstacle_count);
    add_numbers(on);
    add_islands(on);
    label_isolines(on);
    draw_arrows(on);
    draw_points(on);
    add_bodies(on);
    rlv_box2 within = {on->left, on->top, on->panel->width_mm, on->panel->height_mm};
    on->line_count = panel_body_lines(on->panel, on->left, on->top, on->marks, on->line, on->first_line);
    own_outlines(on);
    const rlv_label_place among = {within,         on->obstacle_count, on->obstacle,
                                   on->line_count, on->line,           GAP_MM * on->sheet->unit};
    size_t missed = rlv_labels_place(on->label_count, on->label, &among);
    if (left_out != NULL)
        *left_out = missed;
    draw_labels(on);
}

// What was seen, under the tint of what may lie beneath.
static rlv_status put_picture(const drawing* on, rlv_error* error)
{
    const rlv_panel* panel = on->panel;
    if (!panel_has_corridors(on->marks))
        return rlv_sheet_picture(on->sheet, &panel->picture, on->left, on->top, error);
    rlv_picture tinted = {0};
    rlv_lines edge = {0};
    rlv_status status = panel_tint_corridors(&tinted, &edge, panel, on->marks, error);
    if (status == RLV_DONE)
        status = rlv_sheet_picture(on->sheet, &tinted, on->left, on->top, error);
    if (status == RLV_DONE)
        panel_draw_corridor_edge(on->sheet, &edge, on->left, on->top, tinted.pixel_mm);
    rlv_lines_free(&edge);
    rlv_picture_free(&tinted);
    return status;
}

static void note_view(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm)
{
    const double from[2] = {left_mm, top_mm}, to[2] = {left_mm + panel->width_mm, top_mm + panel->height_mm};
    const bool first = !(sheet->views_mm[0][0] < sheet->views_mm[1][0]);
    for (int k = 0; k < 2; k++)
    {
        sheet->views_mm[0][k] = first ? from[k] : fmin(from[k], sheet->views_mm[0][k]);
        sheet->views_mm[1][k] = first ? to[k] : fmax(to[k], sheet->views_mm[1][k]);
    }
}

rlv_status rlv_panel_draw(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                          const rlv_panel_marks* marks, size_t* left_out, rlv_error* error)
{
    static const rlv_panel_marks none = {0};
    double pixel_mm = panel->picture.pixel_mm;
    drawing on = {.sheet = sheet,
                  .panel = panel,
                  .marks = marks != NULL ? marks : &none,
                  .left = round(left_mm / pixel_mm) * pixel_mm,
                  .top = round(top_mm / pixel_mm) * pixel_mm};
    note_view(sheet, panel, on.left, on.top);
    size_t most = panel->region_count + panel->island_count + on.marks->arrow_count + on.marks->point_count +
                  on.marks->area_count + on.marks->expected_count;
    on.label = rlv_reserve(most, sizeof *on.label, error);
    on.text = rlv_reserve(most, sizeof *on.text, error);
    on.region = rlv_reserve(most, sizeof *on.region, error);
    on.slight = rlv_reserve(most, sizeof *on.slight, error);
    on.line = rlv_reserve(panel_body_lines(panel, 0.0, 0.0, on.marks, NULL, NULL), sizeof *on.line, error);
    on.body = rlv_reserve(most, sizeof *on.body, error);
    on.first_line = rlv_reserve(on.marks->area_count + on.marks->expected_count + 1, sizeof *on.first_line, error);
    const size_t squares = on.marks->grid != NULL ? on.marks->grid->columns + on.marks->grid->rows : 0;
    on.obstacle =
        rlv_reserve(2 + 2 * on.marks->trace_count + isoline_lines(panel) + squares, sizeof *on.obstacle, error);
    rlv_status status = RLV_SYSTEM;
    if (on.label != NULL && on.text != NULL && on.region != NULL && on.obstacle != NULL && on.slight != NULL &&
        on.line != NULL && on.body != NULL && on.first_line != NULL)
        status = choose_slight(&on, error);
    if (status == RLV_DONE)
        status = put_picture(&on, error);
    if (status == RLV_DONE)
        draw_all(&on, left_out);
    free(on.label);
    free(on.text);
    free(on.region);
    free(on.slight);
    free(on.line);
    free(on.body);
    free(on.first_line);
    free(on.obstacle);
    return status;
}

static void draw_hidden(rlv_sheet* sheet, rlv_box2 box, int which)
{
    (void)which;
    draw_ring(sheet, box.left + 0.5 * box.width, box.top + 0.5 * box.height);
}

// Regions whose numbers point to a ring; without a panel, those that may turn out to.
static void add_hidden(rlv_key* key, const rlv_panel_surface* surface, const rlv_panel* panel)
{
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_hidden};
    bool any = panel == NULL && surface->region_count > 0;
    for (size_t i = 0; panel != NULL && i < panel->region_count; i++)
        any = any || !(panel->region_at[i][2] > 0.0);
    if (!any || surface->region_mm == NULL)
        return;
    snprintf(entry.words, sizeof entry.words, "region that is hidden from here");
    rlv_key_add(key, &entry);
}

enum
{
    SIGN_NUMBER,
    SIGN_CLAY,
    SIGN_SPECKS,        // on a colour of depth,
    SIGN_SPECKS_ON_CLAY // and without one
};

static void draw_sign(rlv_sheet* sheet, rlv_box2 box, int which)
{
    cairo_t* c = sheet->cairo;
    const double x = box.left + 0.5 * box.width, y = box.top + 0.5 * box.height;
    if (which == SIGN_NUMBER)
    {
        rlv_mark_number(sheet, "1", x, y);
        return;
    }
    cairo_rectangle(c, box.left, box.top, box.width, box.height);
    rlv_sheet_colour(sheet, which == SIGN_SPECKS ? rlv_colour_removed(0.1) : RLV_PAINT_CLAY);
    cairo_fill(c);
    rlv_sheet_colour(sheet, which == SIGN_SPECKS ? RLV_PAINT_CLAY : rlv_rgb_mix(RLV_PAINT_CLAY, RLV_PAINT_INK, 0.35f));
    for (int k = 0; which != SIGN_CLAY && k < 51; k++) // granules in three rows, of three sizes
    {
        const double r = (0.06 + 0.02 * (k % 3)) * box.height, row = k % 3 - 1, column = k / 3;
        cairo_arc(c, box.left + box.width * (0.5 + column + 0.25 * row) / 17.0, y + 0.3 * row * box.height, r, 0.0,
                  2.0 * G_PI);
        cairo_fill(c);
    }
}

static void add_sign(rlv_key* key, int which, const char* words)
{
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_sign, .which = which};
    snprintf(entry.words, sizeof entry.words, "%s", words);
    rlv_key_add(key, &entry);
}

// What is no line: numbers of regions, bare surface, and where lines were left out. Of a panel that was not made, all
// that there may be.
static void add_signs(rlv_key* key, const rlv_panel_surface* surface, const rlv_panel* panel)
{
    bool numbers = panel == NULL && surface->region_count > 0;
    for (size_t i = 0; panel != NULL && i < panel->region_count; i++)
        numbers = numbers || panel->region_at[i][2] > 0.0 || surface->region_mm != NULL;
    if (numbers && !surface->unnumbered)
        add_sign(key, SIGN_NUMBER, "region, by its number");
    if (surface->overlay != NULL && surface->overlay->bare != NULL)
        add_sign(key, SIGN_CLAY, surface->overlay->bare);
    if (panel != NULL ? panel->thinned : surface->outline_count > 0 || surface->overlay != NULL)
        add_sign(key, surface->overlay != NULL ? SIGN_SPECKS : SIGN_SPECKS_ON_CLAY, "too fine to outline");
}

static void add_line(rlv_key* key, rlv_stroke how, const char* words)
{
    rlv_key_entry entry = {.kind = RLV_KEY_LINE, .stroke = how};
    snprintf(entry.words, sizeof entry.words, "%s", words);
    rlv_key_add(key, &entry);
}

// The lines of a surface; those that a panel saw, where there is one.
static void add_lines(rlv_key* key, const rlv_panel_surface* surface, const rlv_panel* panel)
{
    for (size_t i = 0; i < surface->outline_count; i++)
        if (surface->outline[i].words != NULL && (panel == NULL || panel->outline[i].line_count > 0))
            add_line(key, stroke_of(&surface->outline[i]), surface->outline[i].words);
    char words[96];
    const char* noun = surface->overlay != NULL && surface->overlay->noun != NULL ? surface->overlay->noun : "depth";
    if (surface->overlay != NULL && (panel == NULL || panel->coloured.line_count > 0))
    {
        snprintf(words, sizeof words, "edge of the coloured %.40ss", noun);
        add_line(key, of_edge, words);
    }
    if (surface->isoline_mm > 0.0 && (panel == NULL || panel->isoline_count > 0))
    {
        snprintf(words, sizeof words, "equal %.40s, every %.10g" RLV_THIN "mm", noun, surface->isoline_mm);
        add_line(key, of_isoline, words);
    }
}

static void add_marks(rlv_key* key, const rlv_panel* panel, const rlv_panel_marks* marks)
{
    if (marks == NULL)
        return;
    if (marks->trace_count > 0)
        add_line(key, of_trace, "where a section is cut");
    panel_key_bodies(key, panel, marks);
    if (marks->grid != NULL)
        panel_key_grid(key, marks->grid);
}

void rlv_panel_key(rlv_key* key, const rlv_panel* panel, const rlv_panel_marks* marks)
{
    add_lines(key, panel->surface, panel);
    add_signs(key, panel->surface, panel);
    add_hidden(key, panel->surface, panel);
    add_marks(key, panel, marks);
}

void rlv_panel_key_most(rlv_key* key, const rlv_panel_surface* surface, const rlv_panel_marks* marks)
{
    add_lines(key, surface, NULL);
    add_signs(key, surface, NULL);
    add_hidden(key, surface, NULL);
    add_marks(key, NULL, marks);
}
