#include "sheets.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PAD 9.0      // round the plan, for the letters of its sections
#define GAP 10.0     // between plan and sections
#define ROW 3.6      // of a table
#define CELL_GAP 4.0 // between its columns
#define ASIDE 92.0   // the least width of what stands beside the section: legend and table

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
        box.width += column_wide(sheet, table, k) + (k > 0 ? CELL_GAP : 0.0);
    if (table->column_count > 0)
        box.height = ROW * (double)(table->row_count + 1) + 2.0;
    return box;
}

void rlv_sheet_table_print(rlv_sheet* sheet, const rlv_sheet_table* table, double x_mm, double y_mm)
{
    double x = x_mm, head = y_mm + 2.2;
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
                           head + 1.6 + ROW * (double)(i + 1) - 0.6, &how);
        x += wide + CELL_GAP;
    }
    if (table->column_count > 0)
    {
        rlv_sheet_grey(sheet, RLV_INK_RULE);
        rlv_sheet_line(sheet, x_mm, head + 1.3, x_mm + box.width, head + 1.3, RLV_LINE_HAIR);
    }
}

// A map while it is laid out: everything is in mm on paper.
typedef struct layout
{
    const rlv_depth_map* map;
    rlv_panel_view view;
    rlv_panel panel;
    rlv_profile profile[2]; // A beneath, B beside
    rlv_plane plane[2];
    double low[2][2], high[2][2]; // boxes of the profiles, of the thing
    double plan_wide, plan_tall, below_tall, beside_wide, beneath_wide;
    rlv_box2 table;
} layout;

static rlv_status cut(layout* of, rlv_error* error)
{
    const rlv_camera_axes* axes = &of->view.axes;
    // A-A' looks up the plan, with what faces the reader of the plan upwards; B-B' looks to the right, with it to the
    // right, so that both stand in line with the plan.
    of->plane[0] = (rlv_plane){of->map->cross_mm, axes->right, axes->towards};
    of->plane[1] = (rlv_plane){of->map->cross_mm, axes->towards, axes->up};
    const rlv_profile_stage after = {of->map->surface.mesh, of->map->bone, of->map->surface.region};
    rlv_status status = RLV_DONE;
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
    {
        status = rlv_profile_cut(&of->profile[k], &of->map->before, &after, &of->plane[k], error);
        if (status == RLV_DONE && !rlv_profile_box(&of->profile[k], of->low[k], of->high[k]))
            status = rlv_fail(error, RLV_BAD_INPUT, NULL, "let the sections cross inside the block",
                              "section %s of a depth map misses both meshes", k == 0 ? "A" : "B");
    }
    return status;
}

static void measure(layout* of, const rlv_sheet* ruler)
{
    double scale = of->view.scale;
    of->plan_wide = of->view.span_mm[0] * scale + 2.0 * PAD;
    of->plan_tall = of->view.span_mm[1] * scale + 2.0 * PAD;
    of->below_tall = (of->high[0][1] - of->low[0][1]) * scale;
    of->beside_wide = (of->high[1][0] - of->low[1][0]) * scale;
    of->table = rlv_sheet_table_size(ruler, &of->map->table);
    of->beneath_wide = fmax(fmax(of->beside_wide, of->table.width), ASIDE);
    // Beneath B-B' stand legend, key and table, beside A-A'.
    of->below_tall = fmax(of->below_tall, 52.0 + of->table.height);
}

static rlv_status draw_sections(rlv_sheet* sheet, const layout* of, double plan_x, double plan_y, rlv_error* error)
{
    double scale = of->view.scale;
    rlv_vec3 cross = rlv_panel_place(&of->view, of->map->cross_mm);
    double middle_x = plan_x + 0.5 * of->panel.width_mm, middle_y = plan_y + 0.5 * of->panel.height_mm;
    // Beneath the plan: x in line with it, the highest point of the section a gap beneath it.
    double top = plan_y + of->plan_tall + GAP;
    rlv_status status =
        rlv_profile_draw(sheet, &of->profile[0], middle_x + cross.x, top + of->high[0][1] * scale, scale, error);
    double left = plan_x + of->plan_wide + GAP;
    if (status == RLV_DONE)
        status =
            rlv_profile_draw(sheet, &of->profile[1], left - of->low[1][0] * scale, middle_y - cross.y, scale, error);
    // Letters stand where the traces' letters stand in the plan.
    const rlv_lettering how = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .share = 0.5};
    double ends_x[2] = {middle_x + cross.x + of->low[0][0] * scale, middle_x + cross.x + of->high[0][0] * scale};
    double ends_y[2] = {middle_y - cross.y - of->low[1][1] * scale, middle_y - cross.y - of->high[1][1] * scale};
    rlv_sheet_text(sheet, "A", ends_x[0], top - 3.0, &how);
    rlv_sheet_text(sheet, "A\xe2\x80\xb2", ends_x[1], top - 3.0, &how);
    rlv_sheet_text(sheet, "B", left - 4.0, ends_y[0], &how);
    rlv_sheet_text(sheet, "B\xe2\x80\xb2", left - 4.0, ends_y[1] + 2.4, &how);
    return status;
}

static void draw_aside(rlv_sheet* sheet, const layout* of, double x, double y)
{
    const rlv_depth_map* map = of->map;
    const rlv_overlay* overlay = map->surface.overlay;
    double wide = fmin(of->beneath_wide, 120.0);
    y += rlv_profile_key(sheet, x, y, wide, 2, of->profile) + 5.0;
    double key = rlv_panel_key(sheet, &of->panel, x, y, wide);
    y += key > 0.0 ? key + 4.0 : 0.0;
    if (overlay != NULL)
    {
        rlv_box2 box = rlv_mark_legend(sheet, x, y, wide, overlay->deepest_mm, &of->panel.seen, overlay->caption,
                                       map->limit_words);
        y += box.height + 6.0;
    }
    if (map->table.column_count == 0)
        return;
    if (map->table_caption != NULL)
        rlv_sheet_text(sheet, map->table_caption, x, y, &small);
    rlv_sheet_table_print(sheet, &map->table, x, y + 2.2);
}

static rlv_status draw(rlv_sheet* sheet, layout* of, size_t* left_out, rlv_error* error)
{
    const rlv_depth_map* map = of->map;
    double foot = rlv_title_foot_mm(&map->title, sheet->width_mm), top = rlv_title_head(sheet, &map->title);
    double wide = of->plan_wide + GAP + of->beneath_wide, tall = of->plan_tall + GAP + of->below_tall;
    double x = RLV_SHEET_MARGIN + 0.5 * (sheet->width_mm - 2.0 * RLV_SHEET_MARGIN - wide);
    double y = top + 0.5 * (sheet->height_mm - top - foot - tall);

    // Traces run over the whole block, ends included.
    const rlv_camera_axes* axes = &of->view.axes;
    size_t count = map->marks.trace_count;
    rlv_panel_trace* trace = rlv_reserve(count + 2, sizeof *trace, error);
    if (trace == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        trace[i] = map->marks.trace[i];
    double over = 1.5 / of->view.scale;
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
        draw_aside(sheet, of, x + of->plan_wide + GAP, y + of->plan_tall + GAP);
        rlv_paper paper = rlv_paper_holding(sheet->width_mm, sheet->height_mm, map->paper);
        rlv_title_foot(sheet, &map->title, &paper, of->view.scale, pixel_mm);
    }
    free(trace);
    return status;
}

static rlv_status draw_depth_map(rlv_sheet* sheet, const rlv_depth_map* map, size_t* left_out, rlv_error* error)
{
    layout of = {.map = map};
    const rlv_mesh* mesh[2] = {map->before.mesh, map->surface.mesh};
    of.view = rlv_panel_view_of(2, mesh, &map->axes, map->scale > 0.0 ? map->scale : 1.0);
    rlv_status status = cut(&of, error);
    if (status == RLV_DONE)
        status = rlv_sheet_reserve(sheet, 100.0, 100.0, error); // to measure letters on
    if (status == RLV_DONE)
    {
        measure(&of, sheet);
        rlv_sheet_free(sheet);
        double wide = of.plan_wide + GAP + of.beneath_wide + 2.0 * RLV_SHEET_MARGIN;
        double tall = RLV_TITLE_HEAD_MM + of.plan_tall + GAP + of.below_tall + 8.0;
        rlv_paper paper = rlv_paper_holding(wide, tall + rlv_title_foot_mm(&map->title, wide), map->paper);
        status = rlv_sheet_reserve(sheet, paper.width_mm, paper.height_mm, error);
    }
    if (status == RLV_DONE)
        status = draw(sheet, &of, left_out, error);
    rlv_panel_free(&of.panel);
    for (int k = 0; k < 2; k++)
        rlv_profile_free(&of.profile[k]);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}

rlv_status rlv_sheet_of_depth(rlv_sheet* sheet, const rlv_depth_map* map, size_t* left_out, rlv_error* error)
{
    memset(sheet, 0, sizeof *sheet);
    const char** note = NULL;
    rlv_depth_map noted = *map;
    noted.title = rlv_title_with(&map->title, map->surface.overlay != NULL, &note, error);
    rlv_status status = note != NULL ? draw_depth_map(sheet, &noted, left_out, error) : RLV_SYSTEM;
    free(note);
    return status;
}
