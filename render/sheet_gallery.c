#include "sheets.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GAP 8.0       // between views
#define STRIP 20.0    // of scale bar, axes and legend
#define MOST_AIR 16.0 // that is added between rows
#define LINE 3.5      // of a caption
#define HEAD 4.8      // a caption's first line
#define SMALLEST 1e-4 // the least scale that is tried

static const rlv_lettering name_letters = {.size_mm = RLV_LETTER_PLAIN, .grey = RLV_INK_BLACK, .bold = true};
static const rlv_lettering date_letters = {.size_mm = RLV_LETTER_PLAIN, .grey = RLV_INK_GREY};

// How views stand on a page.
typedef struct arrangement
{
    size_t columns, rows;
    double scale, view_wide, view_tall; // of the mesh alone
    double cell_wide, cell_tall;        // with caption and gap
    rlv_paper paper;
} arrangement;

static double caption_mm(const rlv_gallery* gallery)
{
    size_t lines = 0, keys = 0;
    for (size_t i = 0; i < gallery->view_count; i++)
    {
        const rlv_panel_surface* surface = &gallery->view[i].surface;
        size_t count = 0;
        for (size_t k = 0; k < surface->outline_count; k++)
            count += surface->outline[k].words != NULL ? 1 : 0;
        keys = count > keys ? count : keys;
        lines = gallery->view[i].line_count > lines ? gallery->view[i].line_count : lines;
    }
    // Two of a key stand side by side in the narrowest caption.
    return HEAD + LINE * (double)(lines + (keys + 1) / 2) + 2.0;
}

// The least width at which a caption is still read: about 40 letters.
#define CAPTION_WIDE 58.0

static arrangement arrange_at(const rlv_gallery* gallery, const rlv_panel_view* view, size_t columns, double scale)
{
    arrangement of = {.columns = columns, .scale = scale};
    of.rows = (gallery->view_count + columns - 1) / columns;
    of.view_wide = view->span_mm[0] * scale + 2.0;
    of.view_tall = view->span_mm[1] * scale + 2.0;
    of.cell_wide = fmax(of.view_wide, CAPTION_WIDE) + GAP;
    of.cell_tall = of.view_tall + caption_mm(gallery) + GAP;
    return of;
}

// A cell that no view needs takes the key, if it is large enough; else there is a strip beneath the views.
static bool key_in_cell(const rlv_gallery* gallery, const arrangement* of)
{
    return of->columns * of->rows > gallery->view_count && of->cell_wide > 75.0 && of->view_tall > 45.0;
}

static double strip_mm(const rlv_gallery* gallery, const arrangement* of)
{
    return key_in_cell(gallery, of) ? 0.0 : STRIP;
}

static double page_wide(const arrangement* of)
{
    return fmax((double)of->columns * of->cell_wide - GAP, 150.0) + 2.0 * RLV_SHEET_MARGIN;
}

static double page_tall(const rlv_gallery* gallery, const arrangement* of, double wide)
{
    return RLV_TITLE_HEAD_MM + (double)of->rows * of->cell_tall + strip_mm(gallery, of) +
           rlv_title_foot_mm(&gallery->title, wide);
}

// The paper that an arrangement needs. The foot's height hangs on the page's width, so it is asked twice.
static rlv_paper paper_for(const rlv_gallery* gallery, const arrangement* of)
{
    double wide = page_wide(of);
    rlv_paper paper = rlv_paper_holding(wide, page_tall(gallery, of, wide), gallery->paper);
    return rlv_paper_holding(wide, fmax(page_tall(gallery, of, paper.width_mm), 10.0), gallery->paper);
}

static bool fits(const rlv_gallery* gallery, const arrangement* of, rlv_paper paper)
{
    return page_wide(of) <= paper.width_mm && page_tall(gallery, of, paper.width_mm) <= paper.height_mm;
}

// The largest scale at which an arrangement fits a page: halved in until two figures stand, and then one at which a
// ruler of scales helps, where that costs little.
static double largest_scale(const rlv_gallery* gallery, const rlv_panel_view* view, size_t columns, rlv_paper paper)
{
    double low = 0.0, high = 10.0;
    for (int i = 0; i < 40; i++)
    {
        double middle = 0.5 * (low + high);
        arrangement of = arrange_at(gallery, view, columns, middle);
        if (fits(gallery, &of, paper))
            low = middle;
        else
            high = middle;
    }
    if (!(low > SMALLEST))
        return 0.0;
    double standard = rlv_standard_scale(low);
    if (standard >= 0.8 * low)
        return standard;
    double ratio = low < 1.0 ? 1.0 / low : low, figure = pow(10.0, floor(log10(ratio)) - 1.0);
    return low < 1.0 ? 1.0 / (ceil(ratio / figure - 1e-9) * figure) : floor(ratio / figure + 1e-9) * figure;
}

// Of all numbers of columns, and the paper either way round, the one with the largest scale; lying before upright.
static arrangement arrange_to_fit(const rlv_gallery* gallery, const rlv_panel_view* view)
{
    rlv_paper paper = rlv_paper_holding(1.0, 1.0, gallery->paper);
    const rlv_paper way[2] = {rlv_paper_holding(paper.height_mm, paper.width_mm, gallery->paper), paper};
    arrangement best = {0};
    for (int k = 0; k < 2; k++)
        for (size_t columns = gallery->view_count; columns >= 1; columns--)
        {
            double scale = largest_scale(gallery, view, columns, way[k]);
            if (scale <= 1.02 * best.scale)
                continue;
            best = arrange_at(gallery, view, columns, scale);
            best.paper = way[k];
        }
    if (best.columns > 0)
        return best;
    best = arrange_at(gallery, view, 1, SMALLEST);
    best.paper = paper_for(gallery, &best);
    return best;
}

// At a scale that was asked for: the number of columns that needs the least paper.
static arrangement arrange_at_scale(const rlv_gallery* gallery, const rlv_panel_view* view)
{
    arrangement best = {0};
    for (size_t columns = gallery->view_count; columns >= 1; columns--)
    {
        arrangement of = arrange_at(gallery, view, columns, gallery->scale);
        of.paper = paper_for(gallery, &of);
        if (best.columns == 0 ||
            of.paper.width_mm * of.paper.height_mm < 0.999 * best.paper.width_mm * best.paper.height_mm)
            best = of;
    }
    return best;
}

static void put_caption(rlv_sheet* sheet, const rlv_sheet_view* view, double x, double y, double width)
{
    double baseline = y + 3.6;
    if (view->name != NULL)
    {
        double wide = rlv_sheet_text(sheet, view->name, x, baseline, &name_letters).width_mm;
        if (view->date != NULL)
            rlv_sheet_text(sheet, view->date, x + wide + 2.5, baseline, &date_letters);
    }
    for (size_t i = 0; i < view->line_count; i++)
    {
        const rlv_lettering how = {
            .size_mm = RLV_LETTER_SMALL * 1.08, .grey = RLV_INK_BLACK, .width_mm = width, .most_lines = 1};
        rlv_sheet_text(sheet, view->line[i], x, baseline + HEAD - 0.6 + LINE * (double)i, &how);
    }
}

static void merge(rlv_paint_seen* into, const rlv_paint_seen* from)
{
    into->removed |= from->removed;
    into->added |= from->added;
    into->hatched |= from->hatched;
    into->past_removed |= from->past_removed;
    into->past_added |= from->past_added;
}

// What is gathered while views are drawn.
typedef struct gathered
{
    rlv_panel panel[2]; // of this view and the last: the depth of change lies on what "after" has seen
    rlv_paint_seen seen;
    double deepest_mm, pixel_mm;
    const char* caption;
    size_t left_out;
} gathered;

static rlv_status put_view(rlv_sheet* sheet, const rlv_gallery* gallery, const arrangement* of,
                           const rlv_panel_view* seen_as, size_t index, double x, double y, gathered* all,
                           rlv_error* error)
{
    const rlv_sheet_view* view = &gallery->view[index];
    rlv_panel *panel = &all->panel[index % 2], *last = &all->panel[(index + 1) % 2];
    rlv_panel_surface surface = view->surface;
    rlv_panel_marks marks = view->marks;
    marks.bar = false;
    marks.direction_count = 0;
    size_t left_out = 0;
    double wide = of->cell_wide - GAP;
    surface.like = index > 0 ? last : NULL;
    rlv_panel_free(panel);
    rlv_status status = rlv_panel_make(panel, &surface, seen_as, wide, of->view_tall, error);
    if (status == RLV_DONE)
        status = rlv_panel_draw(sheet, panel, x, y, &marks, &left_out, error);
    if (status == RLV_DONE)
    {
        merge(&all->seen, &panel->seen);
        all->left_out += left_out;
        all->pixel_mm = panel->picture.pixel_mm;
        if (view->surface.overlay != NULL && view->surface.overlay->deepest_mm > all->deepest_mm)
        {
            all->deepest_mm = view->surface.overlay->deepest_mm;
            all->caption = view->surface.overlay->caption;
        }
        put_caption(sheet, view, x, y + of->view_tall, wide);
        rlv_panel_key(sheet, panel, x, y + of->view_tall + HEAD + LINE * (double)view->line_count + 0.8, wide);
    }
    panel->surface = &view->surface; // which stays
    return status;
}

// Scale bar, axes and legend in a strip: bar and axes on the left, the legend on the right.
static void put_strip(rlv_sheet* sheet, const rlv_gallery* gallery, const arrangement* of, const gathered* all,
                      double y)
{
    double left = RLV_SHEET_MARGIN, width = sheet->width_mm - 2.0 * left, wide = fmin(120.0, 0.45 * width);
    rlv_box2 bar = rlv_mark_bar(sheet, left, y + 4.0, of->scale, fmin(70.0, 0.3 * width));
    if (gallery->direction_count > 0)
        rlv_mark_axes(sheet, bar.left + bar.width + 16.0, y + 10.0, 6.0, &gallery->axes, gallery->direction_count,
                      gallery->direction);
    rlv_mark_legend(sheet, left + width - wide, y + 1.0, wide, all->deepest_mm, &all->seen, all->caption,
                    gallery->limit_words);
}

// The same in a cell: the legend in line with the views' upper edge, the bar with their lower one.
static void put_key(rlv_sheet* sheet, const rlv_gallery* gallery, const arrangement* of, const gathered* all, double x,
                    double y)
{
    double wide = fmin(of->cell_wide - GAP, 120.0);
    rlv_mark_legend(sheet, x, y + 4.0, wide, all->deepest_mm, &all->seen, all->caption, gallery->limit_words);
    rlv_box2 bar = rlv_mark_bar(sheet, x, y + of->view_tall - 8.0, of->scale, 0.55 * wide);
    if (gallery->direction_count > 0)
        rlv_mark_axes(sheet, bar.left + bar.width + 14.0, y + of->view_tall - 7.0, 6.0, &gallery->axes,
                      gallery->direction_count, gallery->direction);
}

static rlv_status draw_gallery(rlv_sheet* sheet, const rlv_gallery* gallery, size_t* left_out, rlv_error* error)
{
    const rlv_mesh** mesh = rlv_reserve(gallery->view_count, sizeof(const rlv_mesh*), error);
    if (mesh == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < gallery->view_count; i++)
        mesh[i] = gallery->view[i].surface.mesh;
    rlv_panel_view seen_as = rlv_panel_view_of(gallery->view_count, mesh, &gallery->axes, 1.0);
    free(mesh);
    arrangement of = gallery->scale > 0.0 ? arrange_at_scale(gallery, &seen_as) : arrange_to_fit(gallery, &seen_as);
    seen_as.scale = of.scale;

    rlv_status status = rlv_sheet_reserve(sheet, of.paper.width_mm, of.paper.height_mm, error);
    if (status != RLV_DONE)
        return status;
    double top = rlv_title_head(sheet, &gallery->title), left = RLV_SHEET_MARGIN;
    double foot = rlv_title_foot_mm(&gallery->title, sheet->width_mm);
    // What room is left over is shared out between the columns, and above and between the rows; what they do
    // not need stays beneath them.
    double spare_x = sheet->width_mm - 2.0 * left - ((double)of.columns * of.cell_wide - GAP);
    double spare_y = sheet->height_mm - top - foot - strip_mm(gallery, &of) - (double)of.rows * of.cell_tall;
    double step_x = of.cell_wide + (of.columns > 1 ? spare_x / (double)(of.columns - 1) : 0.0);
    double air = fmin(spare_y / (double)(of.rows + 1), MOST_AIR), step_y = of.cell_tall + air;
    top += air;
    gathered all = {0};
    for (size_t i = 0; i < gallery->view_count && status == RLV_DONE; i++)
        status = put_view(sheet, gallery, &of, &seen_as, i, left + step_x * (double)(i % of.columns),
                          top + step_y * (double)(i / of.columns), &all, error);
    if (status == RLV_DONE)
    {
        size_t last = of.columns * of.rows - 1;
        if (key_in_cell(gallery, &of))
            put_key(sheet, gallery, &of, &all, left + step_x * (double)(last % of.columns),
                    top + step_y * (double)(last / of.columns));
        else
            put_strip(sheet, gallery, &of, &all, sheet->height_mm - foot - STRIP);
        rlv_title_foot(sheet, &gallery->title, &of.paper, of.scale, all.pixel_mm);
        if (left_out != NULL)
            *left_out = all.left_out;
    }
    rlv_panel_free(&all.panel[0]);
    rlv_panel_free(&all.panel[1]);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}

rlv_status rlv_sheet_of_gallery(rlv_sheet* sheet, const rlv_gallery* gallery, size_t* left_out, rlv_error* error)
{
    memset(sheet, 0, sizeof *sheet);
    if (gallery->view_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give at least one view", "a sheet without a view");
    bool colours = false;
    for (size_t i = 0; i < gallery->view_count; i++)
        colours = colours || gallery->view[i].surface.overlay != NULL;
    const char** note = NULL;
    rlv_gallery noted = *gallery;
    noted.title = rlv_title_with(&gallery->title, colours, &note, error);
    rlv_status status = note != NULL ? draw_gallery(sheet, &noted, left_out, error) : RLV_SYSTEM;
    free(note);
    return status;
}
