#include "sheets.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define PAD 9.0      // round the plan, for the letters of its sections
#define GAP 10.0     // between plan and sections
#define ROW 3.6      // of a table
#define CELL_GAP 4.0 // between its columns
#define ASIDE 92.0   // the least width of what explains the plan: key, legend and table
#define LEGEND 21.0  // of that, the legend's height with its note and hatching
#define AIR 4.0      // between key, legend and table, and over the foot
#define HEADING 6.5  // a table's caption

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

// A map while it is laid out: everything is in mm on paper.
typedef struct layout
{
    rlv_depth_map map; // with the sheet's own notes
    const char** note;
    rlv_panel_view view;
    rlv_panel panel;
    rlv_profile profile[2];       // A beneath, B beside
    rlv_profile_tints tints[2];   // at the view's scale
    double low[2][2], high[2][2]; // boxes of the profiles, of the thing
    rlv_sheet ruler;              // to measure letters on
    rlv_key most;                 // all that the key may have to explain
    bool apart;                   // key, legend and table stand beside section B-B', and not beneath it
    double unit, plan_wide, plan_tall, below_tall, beside_wide, aside_wide, aside_tall;
    double wide, tall; // of all of it
} layout;

static rlv_status cut(layout* of, rlv_error* error)
{
    const rlv_depth_map* map = &of->map;
    const rlv_camera_axes* axes = &of->view.axes;
    // A-A' looks up the plan, with what faces the reader of the plan upwards; B-B' looks to the right, with it to the
    // right, so that both stand in line with the plan.
    const rlv_plane plane[2] = {{map->cross_mm, axes->right, axes->towards}, {map->cross_mm, axes->towards, axes->up}};
    const rlv_profile_stage after = {map->surface.mesh, map->bone, map->surface.region, map->before.came};
    rlv_status status = RLV_DONE;
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
    {
        status = rlv_profile_cut(&of->profile[k], &map->before, &after, &plane[k], error);
        if (status == RLV_DONE && !rlv_profile_box(&of->profile[k], of->low[k], of->high[k]))
            status = rlv_fail(error, RLV_BAD_INPUT, NULL, "let the sections cross inside the block",
                              "section %s of a depth map misses both meshes", k == 0 ? "A" : "B");
    }
    return status;
}

// All that the map may turn out to have; a plan has traces.
static rlv_key most_of(const layout* of)
{
    rlv_key key = {0};
    rlv_panel_key_most(&key, &of->map.surface, &(rlv_panel_marks){.trace_count = 1});
    for (int k = 0; k < 2; k++)
        rlv_profile_key(&key, &of->profile[k], of->tints[k]);
    return key;
}

static void measure(layout* of, double unit)
{
    const rlv_depth_map* map = &of->map;
    const double u = unit, scale = of->view.scale;
    of->unit = of->ruler.unit = u;
    rlv_box2 table = rlv_sheet_table_size(&of->ruler, &map->table);
    of->plan_wide = of->view.span_mm[0] * scale + 2.0 * PAD * u;
    of->plan_tall = of->view.span_mm[1] * scale + 2.0 * PAD * u;
    of->below_tall = (of->high[0][1] - of->low[0][1]) * scale;
    of->beside_wide = (of->high[1][0] - of->low[1][0]) * scale;
    of->aside_wide = fmax(table.width, ASIDE * u);
    of->aside_tall = rlv_key_tall(&of->ruler, &of->most, of->aside_wide) + (LEGEND + 2.0 * AIR) * u;
    of->aside_tall += table.height > 0.0 ? table.height + HEADING * u : 0.0;
    double left = of->plan_wide + GAP * u, upper = of->plan_tall + GAP * u;
    of->wide =
        of->apart ? left + of->beside_wide + GAP * u + of->aside_wide : left + fmax(of->beside_wide, of->aside_wide);
    of->tall = of->apart ? fmax(upper + of->below_tall, of->aside_tall) : upper + fmax(of->below_tall, of->aside_tall);
}

// What the sheet needs, as rlv_paper_for asks.
static void need(const void* user, double unit, double size_mm[2])
{
    layout of = *(const layout*)user;
    measure(&of, unit);
    size_mm[0] = of.wide + 2.0 * RLV_SHEET_MARGIN * unit;
    size_mm[1] = of.tall + (RLV_TITLE_HEAD_MM + AIR) * unit + rlv_title_foot_mm(&of.map.title, size_mm[0], unit);
}

// Of both ways to lay it out, the one that needs less paper, or on the same paper the one with larger letters.
static rlv_paper arrange(layout* of)
{
    rlv_paper best = {0};
    double unit = 0.0;
    bool apart = false;
    for (int k = 0; k < 2; k++)
        of->tints[k] = rlv_profile_tints_at(&of->profile[k], of->view.scale);
    of->most = most_of(of);
    for (int way = 0; way < 2; way++)
    {
        double at;
        of->apart = way == 1;
        rlv_paper paper = rlv_paper_for(need, of, of->map.paper, &at);
        double area = paper.width_mm * paper.height_mm, least = best.width_mm * best.height_mm;
        if (way > 0 && (area > 1.001 * least || (area > 0.999 * least && at <= unit)))
            continue;
        best = paper;
        unit = at;
        apart = of->apart;
    }
    of->apart = apart;
    measure(of, unit);
    return best;
}

static rlv_status draw_sections(rlv_sheet* sheet, const layout* of, double plan_x, double plan_y, rlv_error* error)
{
    const double u = sheet->unit, scale = of->view.scale;
    rlv_vec3 cross = rlv_panel_place(&of->view, of->map.cross_mm);
    double middle_x = plan_x + 0.5 * of->panel.width_mm, middle_y = plan_y + 0.5 * of->panel.height_mm;
    // Beneath the plan: x in line with it, the highest point of the section a gap beneath it.
    double top = plan_y + of->plan_tall + GAP * u;
    rlv_status status = rlv_profile_draw(sheet, &of->profile[0], middle_x + cross.x, top + of->high[0][1] * scale,
                                         scale, of->tints[0], error);
    double left = plan_x + of->plan_wide + GAP * u;
    if (status == RLV_DONE)
        status = rlv_profile_draw(sheet, &of->profile[1], left - of->low[1][0] * scale, middle_y - cross.y, scale,
                                  of->tints[1], error);
    // Letters stand where the traces' letters stand in the plan.
    const rlv_lettering how = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .share = 0.5};
    double ends_x[2] = {middle_x + cross.x + of->low[0][0] * scale, middle_x + cross.x + of->high[0][0] * scale};
    double ends_y[2] = {middle_y - cross.y - of->low[1][1] * scale, middle_y - cross.y - of->high[1][1] * scale};
    rlv_sheet_text(sheet, "A", ends_x[0], top - 3.0 * u, &how);
    rlv_sheet_text(sheet, "A\xe2\x80\xb2", ends_x[1], top - 3.0 * u, &how);
    rlv_sheet_text(sheet, "B", left - 4.0 * u, ends_y[0], &how);
    rlv_sheet_text(sheet, "B\xe2\x80\xb2", left - 4.0 * u, ends_y[1] + 2.4 * u, &how);
    return status;
}

static void draw_aside(rlv_sheet* sheet, const layout* of, const rlv_panel_marks* marks, double x, double y)
{
    const rlv_depth_map* map = &of->map;
    const rlv_overlay* overlay = map->surface.overlay;
    const double u = sheet->unit;
    rlv_key key = {0};
    rlv_panel_key(&key, &of->panel, marks);
    for (int k = 0; k < 2; k++)
        rlv_profile_key(&key, &of->profile[k], of->tints[k]);
    y += rlv_key_print(sheet, &key, x, y, of->aside_wide) + AIR * u;
    if (overlay != NULL)
    {
        rlv_box2 box =
            rlv_mark_legend(sheet, x, y, fmin(of->aside_wide, 120.0 * u), overlay, &of->panel.seen, map->limit_words);
        y += box.height + AIR * u;
    }
    if (map->table.column_count == 0)
        return;
    if (map->table_caption != NULL)
        rlv_sheet_text(sheet, map->table_caption, x, y + 2.2 * u, &small);
    rlv_sheet_table_print(sheet, &map->table, x, y + (map->table_caption != NULL ? 4.4 : 0.0) * u);
}

static rlv_status draw(rlv_sheet* sheet, layout* of, const rlv_paper* paper, size_t* left_out, rlv_error* error)
{
    const rlv_depth_map* map = &of->map;
    const double u = sheet->unit, gap = GAP * u;
    double foot = rlv_title_foot_mm(&map->title, sheet->width_mm, u), top = rlv_title_head(sheet, &map->title);
    // What paper is left over lies round the whole: no part stands alone in it.
    double x = 0.5 * (sheet->width_mm - of->wide), y = top + 0.5 * (sheet->height_mm - top - foot - AIR * u - of->tall);

    // Traces run over the whole block, ends included.
    const rlv_camera_axes* axes = &of->view.axes;
    size_t count = map->marks.trace_count;
    rlv_panel_trace* trace = rlv_reserve(count + 2, sizeof *trace, error);
    if (trace == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        trace[i] = map->marks.trace[i];
    double over = 1.5 * u / of->view.scale;
    trace[count] = (rlv_panel_trace){rlv_vec3_along(map->cross_mm, of->low[0][0] - over, axes->right),
                                     rlv_vec3_along(map->cross_mm, of->high[0][0] + over, axes->right), "A"};
    trace[count + 1] = (rlv_panel_trace){rlv_vec3_along(map->cross_mm, of->low[1][1] - over, axes->up),
                                         rlv_vec3_along(map->cross_mm, of->high[1][1] + over, axes->up), "B"};
    rlv_panel_marks marks = map->marks;
    marks.trace = trace;
    marks.trace_count = count + 2;
    marks.bar = true;
    rlv_status status = rlv_panel_make(&of->panel, &map->surface, &of->view, of->plan_wide, of->plan_tall, error);
    if (status == RLV_DONE)
        status = rlv_panel_draw(sheet, &of->panel, x, y, &marks, left_out, error);
    double pixel_mm = of->panel.picture.pixel_mm;
    if (status == RLV_DONE)
        status = draw_sections(sheet, of, round(x / pixel_mm) * pixel_mm, round(y / pixel_mm) * pixel_mm, error);
    if (status == RLV_DONE)
    {
        double right = x + of->plan_wide + gap;
        if (of->apart)
            draw_aside(sheet, of, &marks, right + of->beside_wide + gap, y + PAD * u);
        else
            draw_aside(sheet, of, &marks, right, y + of->plan_tall + gap);
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
    for (int k = 0; k < 2; k++)
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
