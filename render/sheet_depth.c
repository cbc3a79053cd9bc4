#include "sheets.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define PAD 9.0      // round the plan, for the letters of its sections
#define STRIP 2.0    // and besides where squares bear letters too
#define GAP 10.0     // between plan and sections
#define ROW 3.6      // of a table
#define CELL_GAP 4.0 // between its columns
#define ASIDE 92.0   // the least width of what explains the plan: key, legend and table
#define LEGEND 21.0  // of that, the legend's height with its note and hatching
#define AIR 4.0      // between key, legend and table, and over the foot
#define HEADING 6.5  // a table's caption
#define CLOSE 5.0    // between plan and sections that lie level, with their letters at their ends
#define KEYS 104.0   // a key that has a column of its own: two entries beside each other,
#define NARROW 80.0  // and a legend that has a column of its own

static const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK};
static const rlv_lettering quiet = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY};

static double column_wide(const rlv_sheet* sheet, const rlv_sheet_table* table, size_t column)
{
    double wide = rlv_sheet_measure(sheet, table->head[column], &small).width_mm;
    for (size_t i = 0; i < table->row_count; i++)
        wide = fmax(wide, rlv_sheet_measure(sheet, table->cell[i * table->column_count + column], &small).width_mm);
    return wide;
}

rlv_box2 rlv_sheet_table_size(const rlv_sheet* sheet, const rlv_sheet_table* table)
{
    rlv_box2 box = {0.0, 0.0, 0.0, 0.0};
    for (size_t k = 0; k < table->column_count; k++)
        box.width += column_wide(sheet, table, k) + (k > 0 ? CELL_GAP * sheet->unit : 0.0);
    if (table->column_count > 0)
        box.height = (ROW * (double)(table->row_count + 1) + 2.0) * sheet->unit;
    return box;
}

void rlv_sheet_table_print(rlv_sheet* sheet, const rlv_sheet_table* table, double x_mm, double y_mm)
{
    const double u = sheet->unit;
    double x = x_mm, head = y_mm + 2.2 * u;
    rlv_box2 box = rlv_sheet_table_size(sheet, table);
    for (size_t k = 0; k < table->column_count; k++)
    {
        double wide = column_wide(sheet, table, k);
        bool right = table->right != NULL && table->right[k];
        rlv_lettering how = quiet;
        how.share = right ? 1.0 : 0.0;
        double at = right ? x + wide : x;
        rlv_sheet_text(sheet, table->head[k], at, head, &how);
        how.grey = RLV_INK_BLACK;
        for (size_t i = 0; i < table->row_count; i++)
            rlv_sheet_text(sheet, table->cell[i * table->column_count + k], at,
                           head + (1.0 + ROW * (double)(i + 1)) * u, &how);
        x += wide + CELL_GAP * u;
    }
    if (table->column_count > 0)
    {
        rlv_sheet_grey(sheet, RLV_INK_RULE);
        rlv_sheet_line(sheet, x_mm, head + 1.3 * u, x_mm + box.width, head + 1.3 * u, RLV_LINE_HAIR);
    }
}

// Where the table, and where the legend stands: beneath what comes before it, or in a column of its own; or key and
// legend beside the sections, and the table beneath all.
typedef enum asides
{
    STACKED,
    TABLE_BESIDE,
    ALL_BESIDE,
    BY_SECTIONS,
} asides;

// How plan, sections and what explains them may stand.
typedef struct arrangement
{
    bool level; // both sections lie beneath the plan, one beneath the other; else B-B' stands beside it, in line
    bool apart; // key, legend and table stand on the right of all else; else beneath B-B', or all
    asides columns;
} arrangement;

static const arrangement ways[] = {{false, false, STACKED},   {false, true, STACKED},      {true, true, STACKED},
                                   {true, false, STACKED},    {true, false, TABLE_BESIDE}, {true, false, ALL_BESIDE},
                                   {true, false, BY_SECTIONS}};

enum
{
    A_LEVEL,
    B_UPRIGHT,
    B_LEVEL,
    CUTS
};

// A map while it is laid out: everything is in mm on paper.
typedef struct layout
{
    rlv_depth_map map; // with the sheet's own notes
    const char** note;
    rlv_panel_view view;
    rlv_panel panel;
    rlv_profile profile[CUTS];
    rlv_profile_tints tints[CUTS];      // at the view's scale
    double low[CUTS][2], high[CUTS][2]; // boxes of the profiles, of the thing
    rlv_sheet ruler;                    // to measure letters on
    rlv_key most;                       // all that the key may have to explain
    arrangement way;
    double unit, plan_wide, plan_tall, below_tall, beside_wide, aside_wide, aside_tall, key_wide, key_tall;
    double wide, tall; // of all of it
} layout;

static rlv_status cut(layout* of, rlv_error* error)
{
    const rlv_depth_map* map = &of->map;
    const rlv_camera_axes* axes = &of->view.axes;
    // A-A' looks up the plan, with what faces the reader of the plan upwards. B-B' looks to the right, with it to the
    // right, so that it stands in line with the plan; or to the left, with it upwards.
    const rlv_plane plane[CUTS] = {{map->cross_mm, axes->right, axes->towards},
                                   {map->cross_mm, axes->towards, axes->up},
                                   {map->cross_mm, axes->up, axes->towards}};
    const rlv_profile_stage after = {.mesh = map->surface.mesh,
                                     .bone = map->bone,
                                     .region = map->surface.region,
                                     .came = map->before.came,
                                     .within = map->within};
    rlv_status status = RLV_DONE;
    for (int k = 0; k < CUTS && status == RLV_DONE; k++)
    {
        status = rlv_profile_cut(&of->profile[k], &map->before, &after, &plane[k], error);
        if (status == RLV_DONE && !rlv_profile_box(&of->profile[k], of->low[k], of->high[k]))
            status = rlv_fail(error, RLV_BAD_INPUT, NULL, "let the sections cross inside the block",
                              "section %s of a depth map misses both meshes", k == A_LEVEL ? "A" : "B");
    }
    return status;
}

// All that the map may turn out to have; a plan has traces.
static rlv_key most_of(const layout* of)
{
    rlv_key key = {0};
    rlv_panel_key_most(&key, &of->map.surface, &(rlv_panel_marks){.grid = of->map.marks.grid, .trace_count = 1});
    for (int k = 0; k < CUTS; k++)
        rlv_profile_key(&key, &of->profile[k], of->tints[k]);
    return key;
}

static double pad_of(const layout* of)
{
    return PAD + (of->map.marks.grid != NULL ? STRIP : 0.0);
}

// How wide what explains the map is at the least, and how tall it is in its width.
static double aside_least(const layout* of)
{
    const double u = of->unit, table = rlv_sheet_table_size(&of->ruler, &of->map.table).width;
    switch (of->way.columns)
    {
    case STACKED:
        return fmax(table, ASIDE * u);
    case TABLE_BESIDE:
        return table + (GAP + ASIDE) * u;
    case ALL_BESIDE:
        return table + (2.0 * GAP + KEYS + NARROW) * u;
    case BY_SECTIONS:
        break;
    }
    return table;
}

static double key_wide(const layout* of, double table_wide)
{
    const double u = of->unit;
    switch (of->way.columns)
    {
    case STACKED:
        return of->aside_wide;
    case TABLE_BESIDE:
        return of->aside_wide - table_wide - GAP * u;
    case ALL_BESIDE:
        return of->aside_wide - table_wide - (2.0 * GAP + NARROW) * u;
    case BY_SECTIONS:
        break;
    }
    return NARROW * u;
}

static void measure_aside(layout* of)
{
    const double u = of->unit, legend = (LEGEND + AIR) * u;
    const rlv_box2 table = rlv_sheet_table_size(&of->ruler, &of->map.table);
    const double table_tall = table.height > 0.0 ? table.height + HEADING * u : 0.0;
    of->key_wide = key_wide(of, table.width);
    const double key_tall = rlv_key_tall(&of->ruler, &of->most, of->key_wide) + AIR * u;
    of->key_tall = key_tall + legend;
    switch (of->way.columns)
    {
    case STACKED:
        of->aside_tall = key_tall + legend + table_tall;
        break;
    case TABLE_BESIDE:
        of->aside_tall = fmax(key_tall + legend, table_tall);
        break;
    case ALL_BESIDE:
        of->aside_tall = fmax(fmax(key_tall, legend), table_tall);
        break;
    case BY_SECTIONS:
        of->aside_tall = table_tall;
        break;
    }
}

static double section_tall(const layout* of, int which)
{
    return (of->high[which][1] - of->low[which][1]) * of->view.scale;
}

static double section_wide(const layout* of, int which)
{
    return (of->high[which][0] - of->low[which][0]) * of->view.scale;
}

// From the plan's left edge to the right end of the sections beneath it, with the letter there.
static double sections_wide(const layout* of)
{
    const double a = rlv_panel_place(&of->view, of->map.cross_mm).x + of->high[A_LEVEL][0] * of->view.scale;
    return 0.5 * of->plan_wide + fmax(a, 0.5 * section_wide(of, B_LEVEL)) + PAD * of->unit;
}

// How far they stand out to the left of the plan.
static double sections_out(const layout* of)
{
    const double a = -rlv_panel_place(&of->view, of->map.cross_mm).x - of->low[A_LEVEL][0] * of->view.scale;
    return fmax(fmax(a, 0.5 * section_wide(of, B_LEVEL)) + PAD * of->unit - 0.5 * of->plan_wide, 0.0);
}

static void measure(layout* of, double unit)
{
    const double u = unit, scale = of->view.scale, pad = pad_of(of) * u;
    of->unit = of->ruler.unit = u;
    of->plan_wide = of->view.span_mm[0] * scale + 2.0 * pad;
    of->plan_tall = of->view.span_mm[1] * scale + 2.0 * pad;
    of->aside_wide = aside_least(of);
    of->beside_wide = of->way.level ? 0.0 : section_wide(of, B_UPRIGHT);
    of->below_tall = section_tall(of, A_LEVEL) + (of->way.level ? section_tall(of, B_LEVEL) + CLOSE * u : 0.0);
    const double drawn = of->way.level ? fmax(of->plan_wide, section_wide(of, B_LEVEL) + 2.0 * PAD * u)
                                       : of->plan_wide + GAP * u + of->beside_wide,
                 upper = of->plan_tall + (of->way.level ? CLOSE : GAP) * u;
    if (of->way.apart)
        of->wide = drawn + GAP * u + of->aside_wide;
    else if (of->way.columns == BY_SECTIONS)
        of->wide = fmax(sections_out(of) + fmax(of->plan_wide, sections_wide(of) + NARROW * u), of->aside_wide);
    else if (of->way.level)
        of->wide = of->aside_wide = fmax(drawn, of->aside_wide);
    else
        of->wide = of->plan_wide + GAP * u + fmax(of->beside_wide, of->aside_wide);
    measure_aside(of);
    if (of->way.apart)
        of->tall = fmax(upper + of->below_tall, of->aside_tall);
    else if (of->way.columns == BY_SECTIONS)
        of->tall = upper + fmax(of->below_tall, of->key_tall) + (of->aside_tall > 0.0 ? GAP * u + of->aside_tall : 0.0);
    else if (of->way.level)
        of->tall = upper + of->below_tall + GAP * u + of->aside_tall;
    else
        of->tall = upper + fmax(of->below_tall, of->aside_tall);
}

// What the sheet needs, as rlv_paper_for asks.
static void need(const void* user, double unit, double size_mm[2])
{
    layout of = *(const layout*)user;
    measure(&of, unit);
    size_mm[0] = of.wide + 2.0 * RLV_SHEET_MARGIN * unit;
    size_mm[1] = of.tall + (RLV_TITLE_HEAD_MM + AIR) * unit + rlv_title_foot_mm(&of.map.title, size_mm[0], unit);
}

#define ROLL 1e6 // times the area: any sheet of the A series before a roll

// Of all ways to lay it out, the one that needs least paper, a roll last; on the same paper the one with larger
// letters.
static rlv_paper arrange(layout* of)
{
    rlv_paper best = {0};
    double unit = 0.0, least = INFINITY;
    arrangement chosen = ways[0];
    for (int k = 0; k < CUTS; k++)
        of->tints[k] = rlv_profile_tints_at(&of->profile[k], of->view.scale);
    of->most = most_of(of);
    for (size_t way = 0; way < sizeof ways / sizeof *ways; way++)
    {
        double at;
        of->way = ways[way];
        if ((of->way.columns == TABLE_BESIDE || of->way.columns == ALL_BESIDE) && of->map.table.column_count == 0)
            continue;
        rlv_paper paper = rlv_paper_for(need, of, of->map.paper, &at);
        const bool roll = strcmp(paper.name, "roll") == 0;
        const double area = paper.width_mm * paper.height_mm * (roll ? ROLL : 1.0);
        if (area > 1.001 * least || (area > 0.999 * least && at <= unit))
            continue;
        best = paper;
        least = area;
        unit = at;
        chosen = of->way;
    }
    of->way = chosen;
    measure(of, unit);
    return best;
}

static rlv_status put_section(rlv_sheet* sheet, const layout* of, int which, double x, double y, rlv_error* error)
{
    return rlv_profile_draw(sheet, &of->profile[which], x, y, of->view.scale, of->tints[which], error);
}

// The letters of a section that lies level: over its ends, or beside them.
static void put_letters(rlv_sheet* sheet, const layout* of, int which, double x, double top, bool beside)
{
    static const char* const letter[CUTS][2] = {{"A", "A\xe2\x80\xb2"}, {"B", "B\xe2\x80\xb2"}, {"B", "B\xe2\x80\xb2"}};
    const rlv_lettering how = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .share = 0.5};
    const double u = sheet->unit, scale = of->view.scale, off = beside ? 4.0 * u : 0.0,
                 y = beside ? top + 0.5 * section_tall(of, which) : top - 3.0 * u;
    rlv_sheet_text(sheet, letter[which][0], x + of->low[which][0] * scale - off, y, &how);
    rlv_sheet_text(sheet, letter[which][1], x + of->high[which][0] * scale + off, y, &how);
}

static rlv_status draw_sections(rlv_sheet* sheet, const layout* of, double plan_x, double plan_y, rlv_error* error)
{
    const double u = sheet->unit, scale = of->view.scale;
    rlv_vec3 cross = rlv_panel_place(&of->view, of->map.cross_mm);
    double middle_x = plan_x + 0.5 * of->panel.width_mm, middle_y = plan_y + 0.5 * of->panel.height_mm;
    // Beneath the plan: x in line with it, the highest point of the section a gap beneath it.
    double x = middle_x + cross.x, top = plan_y + of->plan_tall + (of->way.level ? CLOSE : GAP) * u;
    rlv_status status = put_section(sheet, of, A_LEVEL, x, top + of->high[A_LEVEL][1] * scale, error);
    put_letters(sheet, of, A_LEVEL, x, top, of->way.level);
    if (status == RLV_DONE && of->way.level)
    {
        x = middle_x - 0.5 * (of->low[B_LEVEL][0] + of->high[B_LEVEL][0]) * scale;
        top += section_tall(of, A_LEVEL) + CLOSE * u;
        put_letters(sheet, of, B_LEVEL, x, top, true);
        return put_section(sheet, of, B_LEVEL, x, top + of->high[B_LEVEL][1] * scale, error);
    }
    double left = plan_x + of->plan_wide + GAP * u;
    if (status == RLV_DONE)
        status = put_section(sheet, of, B_UPRIGHT, left - of->low[B_UPRIGHT][0] * scale, middle_y - cross.y, error);
    const rlv_lettering how = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .share = 0.5};
    rlv_sheet_text(sheet, "B", left - 4.0 * u, middle_y - cross.y - of->low[B_UPRIGHT][1] * scale, &how);
    rlv_sheet_text(sheet, "B\xe2\x80\xb2", left - 4.0 * u,
                   middle_y - cross.y - of->high[B_UPRIGHT][1] * scale + 2.4 * u, &how);
    return status;
}

// Key and legend, this beneath it or beside it; how far down they go.
static double put_key(rlv_sheet* sheet, const layout* of, const rlv_panel_marks* marks, double x, double y)
{
    const rlv_overlay* overlay = of->map.surface.overlay;
    const double u = sheet->unit;
    rlv_key key = {0};
    rlv_panel_key(&key, &of->panel, marks);
    for (int k = 0; k < CUTS; k++)
        if (k == A_LEVEL || (k == B_LEVEL) == of->way.level)
            rlv_profile_key(&key, &of->profile[k], of->tints[k]);
    const bool beside = of->way.columns == ALL_BESIDE;
    double below = y + rlv_key_print(sheet, &key, x, y, of->key_wide) + AIR * u;
    if (overlay != NULL)
        below += rlv_mark_legend(sheet, beside ? x + of->key_wide + GAP * u : x, beside ? y : below,
                                 beside ? NARROW * u : fmin(of->key_wide, 120.0 * u), overlay, &of->panel.seen,
                                 of->map.limit_words)
                     .height +
                 AIR * u;
    return below;
}

static void put_table(rlv_sheet* sheet, const rlv_depth_map* map, double x, double y)
{
    const double u = sheet->unit;
    if (map->table.column_count == 0)
        return;
    if (map->table_caption != NULL)
        rlv_sheet_text(sheet, map->table_caption, x, y + 2.2 * u, &small);
    rlv_sheet_table_print(sheet, &map->table, x, y + (map->table_caption != NULL ? 4.4 : 0.0) * u);
}

// What explains the map, of which the plan's upper left corner is at x, y; `left` is the left edge of all.
static void draw_aside(rlv_sheet* sheet, const layout* of, const rlv_panel_marks* marks, double left, double x,
                       double y)
{
    const double u = sheet->unit, foot = y + of->tall - of->aside_tall;
    if (of->way.columns == BY_SECTIONS)
    {
        put_key(sheet, of, marks, x + sections_wide(of), y + of->plan_tall + CLOSE * u);
        put_table(sheet, &of->map, left, foot);
        return;
    }
    const bool under = of->way.level && !of->way.apart, right = of->way.columns != STACKED;
    const double from = of->way.apart ? left + of->wide - of->aside_wide
                        : under       ? left
                                      : x + of->plan_wide + GAP * u,
                 top = of->way.apart ? y + pad_of(of) * u
                       : under       ? foot
                                     : y + of->plan_tall + GAP * u,
                 below = put_key(sheet, of, marks, from, top);
    put_table(sheet, &of->map, right ? from + of->aside_wide - rlv_sheet_table_size(sheet, &of->map.table).width : from,
              right ? top : below);
}

static rlv_status draw(rlv_sheet* sheet, layout* of, const rlv_paper* paper, size_t* left_out, rlv_error* error)
{
    const rlv_depth_map* map = &of->map;
    const double u = sheet->unit;
    double foot = rlv_title_foot_mm(&map->title, sheet->width_mm, u), top = rlv_title_head(sheet, &map->title);
    // What paper is left over lies round the whole: no part stands alone in it.
    double left = 0.5 * (sheet->width_mm - of->wide),
           y = top + 0.5 * (sheet->height_mm - top - foot - AIR * u - of->tall);
    const double x = of->way.columns == BY_SECTIONS    ? left + sections_out(of)
                     : of->way.level && !of->way.apart ? left + 0.5 * (of->wide - of->plan_wide)
                                                       : left;

    // Traces run over the whole block, ends included.
    const rlv_camera_axes* axes = &of->view.axes;
    size_t count = map->marks.trace_count;
    rlv_panel_trace* trace = rlv_reserve(count + 2, sizeof *trace, error);
    if (trace == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        trace[i] = map->marks.trace[i];
    double over = 1.5 * u / of->view.scale;
    trace[count] = (rlv_panel_trace){rlv_vec3_along(map->cross_mm, of->low[A_LEVEL][0] - over, axes->right),
                                     rlv_vec3_along(map->cross_mm, of->high[A_LEVEL][0] + over, axes->right), "A"};
    trace[count + 1] = (rlv_panel_trace){rlv_vec3_along(map->cross_mm, of->low[B_LEVEL][0] - over, axes->up),
                                         rlv_vec3_along(map->cross_mm, of->high[B_LEVEL][0] + over, axes->up), "B"};
    rlv_panel_marks marks = map->marks;
    marks.trace = trace;
    marks.trace_count = count + 2;
    marks.bar = true;
    of->map.surface.unit = u;
    of->map.surface.squares = marks.grid;
    rlv_status status = rlv_panel_make(&of->panel, &map->surface, &of->view, of->plan_wide, of->plan_tall, error);
    if (status == RLV_DONE)
        status = rlv_panel_draw(sheet, &of->panel, x, y, &marks, left_out, error);
    double pixel_mm = of->panel.picture.pixel_mm;
    if (status == RLV_DONE)
        status = draw_sections(sheet, of, round(x / pixel_mm) * pixel_mm, round(y / pixel_mm) * pixel_mm, error);
    if (status == RLV_DONE)
    {
        draw_aside(sheet, of, &marks, left, x, y);
        rlv_title_foot(sheet, &map->title, paper, of->view.scale, pixel_mm);
    }
    free(trace);
    return status;
}

// Everything that does not hang on the scale. Free with lay_free, also after a failure.
static rlv_status lay_begin(layout* of, const rlv_depth_map* map, rlv_error* error)
{
    const rlv_mesh* mesh[2] = {map->before.mesh, map->surface.mesh};
    *of = (layout){.map = *map};
    of->map.title = rlv_title_with(&map->title, map->surface.overlay != NULL, &of->note, error);
    if (of->note == NULL)
        return RLV_SYSTEM;
    of->view = rlv_panel_view_of(2, mesh, &map->axes, map->scale > 0.0 ? map->scale : 1.0);
    rlv_status status = cut(of, error);
    return status == RLV_DONE ? rlv_sheet_reserve(&of->ruler, 100.0, 100.0, error) : status;
}

static void lay_free(layout* of)
{
    rlv_sheet_free(&of->ruler);
    rlv_panel_free(&of->panel);
    for (int k = 0; k < CUTS; k++)
        rlv_profile_free(&of->profile[k]);
    free(of->note);
}

#define SMALLEST 1e-3 // from this scale on none is tried

rlv_status rlv_depth_map_fit(rlv_depth_map* map, rlv_error* error)
{
    layout of;
    const rlv_paper least = rlv_paper_holding(1.0, 1.0, map->paper);
    rlv_status status = lay_begin(&of, map, error);
    bool fits = status != RLV_DONE;
    while (!fits)
    {
        rlv_paper paper = arrange(&of);
        fits = fmax(paper.width_mm, paper.height_mm) <= fmax(least.width_mm, least.height_mm) ||
               !(of.view.scale > SMALLEST);
        of.view.scale = fits ? of.view.scale : rlv_round_scale(0.999 * of.view.scale);
    }
    if (status == RLV_DONE)
        map->scale = of.view.scale;
    lay_free(&of);
    return status;
}

rlv_status rlv_sheet_of_depth(rlv_sheet* sheet, const rlv_depth_map* map, size_t* left_out, rlv_error* error)
{
    layout of;
    memset(sheet, 0, sizeof *sheet);
    rlv_status status = lay_begin(&of, map, error);
    rlv_paper paper = {0};
    if (status == RLV_DONE)
    {
        paper = arrange(&of);
        status = rlv_sheet_reserve(sheet, paper.width_mm, paper.height_mm, error);
        sheet->unit = of.unit;
    }
    if (status == RLV_DONE)
        status = draw(sheet, &of, &paper, left_out, error);
    lay_free(&of);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}
