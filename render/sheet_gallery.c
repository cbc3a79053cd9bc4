#include "sheets.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define GAP 8.0          // between views
#define PAD 1.0          // round what a view shows
#define GRID_PAD 4.5     // and where squares bear letters
#define STRIP 23.0       // of scale bar, axes, key and legend, where the key is no taller
#define BAR 100.0        // what bar and axes take of it
#define SECOND_BAR 12.0  // from a bar to one beneath it
#define BEDDING 30.0     // and what its sign takes besides
#define BEDDING_AT 46.0  // from a bar's right end to the middle of its sign,
#define BEDDING_END 66.0 // and to the end of its words
#define ASIDE 32.0       // the least width of bar, axes and key in a column on the right,
#define WIDE 84.0        // and with a legend
#define HEAD_BAR 40.0    // the longest bar beside the title,
#define HEAD_AXES 23.0   // the axes there,
#define HEAD_TALL 13.0   // and how tall the key may be
#define NEAR 3.0         // between a caption and a strip beneath it
#define CLOSE 1.0        // between captions, which end with air, and the foot
#define MOST_AIR 16.0    // that is added between rows
#define LINE 3.5         // of a caption
#define HEAD 4.8         // a caption's first line

#define LARGEST 10.0 // the scales that are tried
#define SMALLEST 1e-4

static const rlv_lettering name_letters = {.size_mm = RLV_LETTER_PLAIN, .grey = RLV_INK_BLACK, .bold = true};
static const rlv_lettering date_letters = {.size_mm = RLV_LETTER_PLAIN, .grey = RLV_INK_GREY};

// A gallery while it is laid out.
typedef struct hanging
{
    const rlv_gallery* gallery;
    rlv_panel_view view; // at 1 : 1
    rlv_sheet* ruler;    // to measure letters on
    rlv_key most;        // all that the key may have to explain
    double scale;        // that was asked for
    size_t columns;
} hanging;

// Where key, legend, bar and axes stand: in a strip beneath the views, or in a cell that no view needs; beside the
// title, where they are few; in a column on the right.
typedef enum tool_place
{
    BENEATH,
    IN_HEAD,
    IN_COLUMN,
    TOOLS_COUNT,
} tool_place;

// How views stand on a page.
typedef struct arrangement
{
    size_t columns, rows;
    tool_place tools;
    double unit, scale, view_tall; // of the mesh alone
    double cell_wide;              // with gap
    rlv_paper paper;
} arrangement;

// All lines that the views may turn out to have.
static rlv_key most_of(const rlv_gallery* gallery)
{
    rlv_key key = {0};
    for (size_t i = 0; i < gallery->view_count; i++)
        rlv_panel_key_most(&key, &gallery->view[i].surface, &gallery->view[i].marks);
    return key;
}

// The least width at which a caption is still read: about 40 letters.
#define CAPTION_WIDE 58.0

// Round each view: letters of squares need room.
static double pad_of(const rlv_gallery* gallery)
{
    for (size_t i = 0; i < gallery->view_count; i++)
        if (gallery->view[i].marks.grid != NULL)
            return GRID_PAD;
    return PAD;
}

static arrangement arrange_at(const hanging* of, size_t columns, double scale, double unit)
{
    const double pad = 2.0 * pad_of(of->gallery) * unit;
    arrangement as = {.columns = columns, .unit = unit, .scale = scale};
    as.rows = (of->gallery->view_count + columns - 1) / columns;
    as.view_tall = of->view.span_mm[1] * scale + pad;
    as.cell_wide = fmax(of->view.span_mm[0] * scale + pad, CAPTION_WIDE * unit) + GAP * unit;
    return as;
}

static double view_wide(const arrangement* as)
{
    return as->cell_wide - GAP * as->unit;
}

static rlv_lettering line_letters(double width)
{
    return (rlv_lettering){.size_mm = RLV_LETTER_SMALL * 1.08, .grey = RLV_INK_BLACK, .width_mm = width};
}

// How many lines of print one line of a caption takes: what is too long for a width is broken, never cut.
static size_t broken_lines(const rlv_sheet* sheet, const char* words, double width)
{
    const rlv_lettering how = line_letters(width);
    const double one = rlv_sheet_measure(sheet, "A", &how).height_mm;
    return (size_t)fmax(round(rlv_sheet_measure(sheet, words, &how).height_mm / one), 1.0);
}

// How tall the captions of some views are.
static double caption_mm(const hanging* of, const arrangement* as, size_t first, size_t count)
{
    size_t most = 0;
    of->ruler->unit = as->unit;
    for (size_t i = first; i < first + count && i < of->gallery->view_count; i++)
    {
        const rlv_sheet_view* view = &of->gallery->view[i];
        size_t lines = 0;
        for (size_t k = 0; k < view->line_count; k++)
            lines += broken_lines(of->ruler, view->line[k], view_wide(as));
        most = lines > most ? lines : most;
    }
    return HEAD + LINE * (double)most + 2.0;
}

// A row of views with its captions and a gap.
static double row_tall(const hanging* of, const arrangement* as, size_t row)
{
    return as->view_tall + (caption_mm(of, as, row * as->columns, as->columns) + GAP) * as->unit;
}

static double rows_tall(const hanging* of, const arrangement* as)
{
    double tall = 0.0;
    for (size_t row = 0; row < as->rows; row++)
        tall += row_tall(of, as, row);
    return tall;
}

static size_t empty_cells(const rlv_gallery* gallery, const arrangement* as)
{
    return as->columns * as->rows - gallery->view_count;
}

// A cell that no view needs takes the key, if it is large enough; else there is a strip beneath the views, and so there
// is where a table follows it.
static bool key_in_cell(const rlv_gallery* gallery, const arrangement* as)
{
    return gallery->table.row_count == 0 && empty_cells(gallery, as) > 0 && as->cell_wide > 75.0 * as->unit &&
           as->view_tall > 45.0 * as->unit;
}

static bool has_overlay(const rlv_gallery* gallery)
{
    for (size_t i = 0; i < gallery->view_count; i++)
        if (gallery->view[i].surface.overlay != NULL)
            return true;
    return false;
}

// The strip in columns: bar and axes, the key, the legend.
typedef struct strip
{
    double key, key_wide, legend, legend_wide; // from the left margin
} strip;

static strip strip_of(const rlv_gallery* gallery, double width, double unit)
{
    double legend = has_overlay(gallery) ? fmin(110.0 * unit, 0.36 * width) : 0.0, bar = fmin(BAR * unit, 0.38 * width);
    bar += gallery->bedding != NULL ? BEDDING * unit : 0.0;
    return (strip){bar, width - bar - (legend > 0.0 ? legend + GAP * unit : 0.0), width - legend, legend};
}

// How tall bar, key and legend of a strip are on a page, at any scale.
static double signs_mm(const hanging* of, double page_wide, double unit)
{
    strip in = strip_of(of->gallery, page_wide - 2.0 * RLV_SHEET_MARGIN * unit, unit);
    of->ruler->unit = unit;
    return fmax(STRIP * unit, rlv_key_tall(of->ruler, &of->most, in.key_wide) + 4.0 * unit);
}

// And all of it, with the table beneath them.
static double strip_mm(const hanging* of, double page_wide, double unit)
{
    const rlv_sheet_table* table = &of->gallery->table;
    double signs = signs_mm(of, page_wide, unit);
    return signs + (table->row_count > 0 ? rlv_sheet_table_size(of->ruler, table).height + (GAP + HEAD) * unit : 0.0);
}

static double aside_mm(const rlv_gallery* gallery, double unit)
{
    return (has_overlay(gallery) || gallery->bedding != NULL ? WIDE : ASIDE) * unit;
}

static double page_wide(const hanging* of, const arrangement* as)
{
    const rlv_gallery* gallery = of->gallery;
    of->ruler->unit = as->unit;
    const double table = gallery->table.row_count > 0 ? rlv_sheet_table_size(of->ruler, &gallery->table).width : 0.0,
                 aside = as->tools == IN_COLUMN ? aside_mm(gallery, as->unit) + GAP * as->unit : 0.0;
    return fmax((double)as->columns * as->cell_wide - GAP * as->unit + aside, fmax(table, 150.0 * as->unit)) +
           2.0 * RLV_SHEET_MARGIN * as->unit;
}

static bool has_strip(const rlv_gallery* gallery, const arrangement* as)
{
    return as->tools == BENEATH && !key_in_cell(gallery, as);
}

// How wide key, bar and axes are beside the title; whether they are few enough to stand there, on a page of a width.
static double head_mm(const hanging* of, double unit)
{
    of->ruler->unit = unit;
    return rlv_key_wide(of->ruler, &of->most) + (GAP + HEAD_BAR + HEAD_AXES) * unit;
}

static bool head_holds(const hanging* of, double wide, double unit)
{
    const rlv_gallery* gallery = of->gallery;
    of->ruler->unit = unit;
    return !has_overlay(gallery) && gallery->bedding == NULL && gallery->table.row_count == 0 &&
           rlv_key_tall(of->ruler, &of->most, 0.0) <= HEAD_TALL * unit &&
           rlv_title_head_wide(of->ruler, &gallery->title) + GAP * unit + head_mm(of, unit) <=
               wide - 2.0 * RLV_SHEET_MARGIN * unit;
}

static double page_tall(const hanging* of, const arrangement* as, double wide, double strip_tall)
{
    return RLV_TITLE_HEAD_MM * as->unit + rows_tall(of, as) + (has_strip(of->gallery, as) ? strip_tall : 0.0) +
           rlv_title_foot_mm(&of->gallery->title, wide, as->unit);
}

// The largest round scale at which an arrangement fits a page; 0: none does. A smaller one need not fit where a larger
// one does: its cells may be too small for the key, which then takes a strip.
static double largest_scale(const hanging* of, size_t columns, tool_place tools, rlv_paper paper)
{
    const double unit = rlv_paper_unit(&paper), strip_tall = strip_mm(of, paper.width_mm, unit);
    if (tools == IN_HEAD && !head_holds(of, paper.width_mm, unit))
        return 0.0;
    for (double scale = LARGEST; scale > SMALLEST; scale = rlv_round_scale(0.999 * scale))
    {
        arrangement as = arrange_at(of, columns, scale, unit);
        as.tools = tools;
        if (page_wide(of, &as) <= paper.width_mm && page_tall(of, &as, paper.width_mm, strip_tall) <= paper.height_mm)
            return scale;
    }
    return 0.0;
}

// What the arrangement at a scale that was asked for needs, as rlv_paper_for asks. The foot's height hangs on the
// page's width: it is no taller on a wider page.
static void need(const void* user, double unit, double size_mm[2])
{
    const hanging* of = user;
    arrangement as = arrange_at(of, of->columns, of->scale, unit);
    size_mm[0] = page_wide(of, &as);
    size_mm[1] = page_tall(of, &as, size_mm[0], strip_mm(of, size_mm[0], unit));
}

static arrangement arrange_on_need(hanging* of, size_t columns, double scale)
{
    double unit;
    of->columns = columns;
    of->scale = scale;
    rlv_paper paper = rlv_paper_for(need, of, of->gallery->paper, &unit);
    arrangement as = arrange_at(of, columns, scale, unit);
    as.paper = paper;
    return as;
}

// Of all numbers of columns, places of the key, and the paper either way round, the one with the largest scale;
// of those with the same, the one with the fewest empty cells; lying before upright.
static arrangement arrange_to_fit(hanging* of)
{
    const rlv_gallery* gallery = of->gallery;
    rlv_paper paper = rlv_paper_holding(1.0, 1.0, gallery->paper);
    const rlv_paper way[2] = {rlv_paper_holding(paper.height_mm, paper.width_mm, gallery->paper), paper};
    const int places = gallery->table.row_count == 0 ? TOOLS_COUNT : 1;
    arrangement best = {0};
    for (int k = 0; k < 2 * places; k++)
        for (size_t columns = gallery->view_count; columns >= 1; columns--)
        {
            const rlv_paper* on = &way[k % 2];
            const double scale = largest_scale(of, columns, (tool_place)(k / 2), *on);
            arrangement as = arrange_at(of, columns, scale, rlv_paper_unit(on));
            as.tools = (tool_place)(k / 2);
            as.paper = *on;
            if (scale > 1.001 * best.scale || (scale > 0.999 * best.scale && as.tools == best.tools &&
                                               empty_cells(gallery, &as) < empty_cells(gallery, &best)))
                best = as;
        }
    return best.scale > 0.0 ? best : arrange_on_need(of, 1, SMALLEST);
}

// --- A feature -------------------------------------------------------------------------------------------------------

// The last view larger than the others, with the key in a column beside it or in a strip beneath it: the others in a
// column before it, or in a row over it.
typedef struct featured
{
    bool any, column, beneath;
    arrangement small, large;
} featured;

// How tall a strip beneath the last view is, with a bar for each scale.
static double feature_strip_mm(const hanging* of, const featured* f)
{
    const double u = f->small.unit;
    const strip in = strip_of(of->gallery, view_wide(&f->large), u);
    of->ruler->unit = u;
    return fmax((STRIP + SECOND_BAR - 8.0) * u, rlv_key_tall(of->ruler, &of->most, in.key_wide) + 1.5 * u);
}

static void feature_needs(const hanging* of, const featured* f, const rlv_paper* paper, double size_mm[2])
{
    const rlv_gallery* gallery = of->gallery;
    const double u = f->small.unit, beside = (double)(gallery->view_count - 1) * f->small.cell_wide - GAP * u,
                 last = f->large.view_tall + caption_mm(of, &f->large, gallery->view_count - 1, 1) * u +
                        (f->beneath ? NEAR * u + feature_strip_mm(of, f) : GAP * u),
                 beneath = view_wide(&f->large) + (f->beneath ? 0.0 : GAP * u + aside_mm(gallery, u));
    double others = 0.0;
    for (size_t i = 0; i + 1 < gallery->view_count; i++)
        others += f->small.view_tall + (caption_mm(of, &f->small, i, 1) + GAP) * u;
    const double row = f->small.view_tall + (caption_mm(of, &f->small, 0, gallery->view_count - 1) + GAP) * u;
    size_mm[0] = (f->column ? f->small.cell_wide + beneath : fmax(beside, beneath)) + 2.0 * RLV_SHEET_MARGIN * u;
    size_mm[1] = (f->column ? fmax(others, last) : row + last) + RLV_TITLE_HEAD_MM * u +
                 rlv_title_foot_mm(&gallery->title, paper->width_mm, u);
}

// The largest round scale for the last view, on either way of the paper, that leaves the others as large as they are
// in rows.
static featured feature_of(const hanging* of, const arrangement* rows)
{
    const rlv_gallery* gallery = of->gallery;
    featured best = {.large = *rows};
    if (!gallery->feature || gallery->view_count < 2 || gallery->scale > 0.0 || gallery->table.row_count > 0)
        return best;
    const rlv_paper paper = rlv_paper_holding(1.0, 1.0, gallery->paper);
    const rlv_paper way[2] = {rlv_paper_holding(paper.height_mm, paper.width_mm, gallery->paper), paper};
    for (int k = 0; k < 8; k++)
    {
        const rlv_paper* on = &way[k % 2];
        const double unit = rlv_paper_unit(on);
        featured f = {
            .any = true, .column = k % 4 < 2, .beneath = k >= 4, .small = arrange_at(of, 1, rows->scale, unit)};
        double size_mm[2], scale = LARGEST;
        for (; scale > 1.001 * best.large.scale; scale = rlv_round_scale(0.999 * scale))
        {
            f.large = arrange_at(of, 1, scale, unit);
            feature_needs(of, &f, on, size_mm);
            if (size_mm[0] <= on->width_mm && size_mm[1] <= on->height_mm)
                break;
        }
        f.small.paper = f.large.paper = *on;
        if (scale > 1.001 * best.large.scale)
            best = f;
    }
    return best;
}

// At a scale that was asked for: the number of columns that needs the least paper, and leaves the fewest cells empty.
static arrangement arrange_at_scale(hanging* of)
{
    const rlv_gallery* gallery = of->gallery;
    arrangement best = {0};
    for (size_t columns = gallery->view_count; columns >= 1; columns--)
    {
        arrangement as = arrange_on_need(of, columns, gallery->scale);
        double area = as.paper.width_mm * as.paper.height_mm, least = best.paper.width_mm * best.paper.height_mm;
        if (best.columns == 0 || area < 0.999 * least ||
            (area < 1.001 * least && empty_cells(gallery, &as) < empty_cells(gallery, &best)))
            best = as;
    }
    return best;
}

// A view's name with its date, and its scale where it has one of its own (above 0).
static void put_caption(rlv_sheet* sheet, const rlv_sheet_view* view, double scale, double x, double y, double width)
{
    const double u = sheet->unit;
    char beside[256] = "", at[48];
    rlv_scale_words(at, sizeof at, scale);
    snprintf(beside, sizeof beside, "%.200s%s%s", view->date != NULL ? view->date : "",
             view->date != NULL && scale > 0.0 ? " \xc2\xb7 " : "", scale > 0.0 ? at : "");
    double baseline = y + 3.6 * u;
    if (view->name != NULL)
    {
        rlv_lettering how = name_letters;
        how.width_mm = width;
        how.most_lines = 1;
        double wide = rlv_sheet_text(sheet, view->name, x, baseline, &how).width_mm + 2.5 * u;
        how = date_letters;
        how.width_mm = width - wide;
        how.most_lines = 1;
        if (beside[0] != '\0' && how.width_mm > 8.0 * u)
            rlv_sheet_text(sheet, beside, x + wide, baseline, &how);
    }
    size_t lines = 0;
    for (size_t i = 0; i < view->line_count; i++)
    {
        const rlv_lettering how = line_letters(width);
        rlv_sheet_text(sheet, view->line[i], x, baseline + (HEAD - 0.6 + LINE * (double)lines) * u, &how);
        lines += broken_lines(sheet, view->line[i], width);
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
    rlv_key key;
    rlv_overlay overlay; // whose colours go deepest
    double pixel_mm;
    size_t left_out;
    bool own_scale; // captions tell a scale each
} gathered;

static rlv_status put_view(rlv_sheet* sheet, const rlv_gallery* gallery, const arrangement* of,
                           const rlv_panel_view* view_at_one, size_t index, double x, double y, gathered* all,
                           rlv_error* error)
{
    rlv_panel_view seen_as = *view_at_one;
    seen_as.scale = of->scale;
    const rlv_sheet_view* view = &gallery->view[index];
    rlv_panel *panel = &all->panel[index % 2], *last = &all->panel[(index + 1) % 2];
    rlv_panel_surface surface = view->surface;
    rlv_panel_marks marks = view->marks;
    marks.bar = false;
    marks.direction_count = 0;
    size_t left_out = 0;
    double wide = of->cell_wide - GAP * of->unit;
    surface.like = index > 0 ? last : NULL;
    surface.unit = of->unit;
    surface.squares = marks.grid;
    rlv_panel_free(panel);
    rlv_status status = rlv_panel_make(panel, &surface, &seen_as, wide, of->view_tall, error);
    if (status == RLV_DONE)
        status = rlv_panel_draw(sheet, panel, x, y, &marks, &left_out, error);
    if (status == RLV_DONE)
    {
        merge(&all->seen, &panel->seen);
        all->left_out += left_out;
        all->pixel_mm = panel->picture.pixel_mm;
        if (view->surface.overlay != NULL && view->surface.overlay->deepest_mm > all->overlay.deepest_mm)
            all->overlay = *view->surface.overlay;
        put_caption(sheet, view, all->own_scale ? of->scale : 0.0, x, y + of->view_tall, wide);
        rlv_panel_key(&all->key, panel, &marks);
    }
    panel->surface = &view->surface; // which stays
    return status;
}

// The scale bar with the axes beside it, and one for a second scale (above 0) beneath.
static void put_bar(rlv_sheet* sheet, const rlv_gallery* gallery, double scale, double other, double x, double y,
                    double longest)
{
    const double u = sheet->unit;
    rlv_box2 bar = rlv_mark_bar(sheet, x, y, scale, longest);
    if (gallery->direction_count > 0)
        rlv_mark_axes(sheet, bar.left + bar.width + 14.0 * u, y + 5.0 * u, 6.0, &gallery->axes,
                      gallery->direction_count, gallery->direction);
    if (gallery->bedding != NULL)
        rlv_mark_bedding(sheet, bar.left + bar.width + BEDDING_AT * u, y + 4.0 * u, 6.0, &gallery->axes,
                         *gallery->bedding, gallery->bedding_up, gallery->bedding_words);
    if (other > 0.0)
        rlv_mark_bar(sheet, x, y + SECOND_BAR * u, other, longest);
}

// Scale bars, axes, key and legend in a strip.
static void put_strip(rlv_sheet* sheet, const rlv_gallery* gallery, double scale, double other, const gathered* all,
                      double x, double y, double width)
{
    const double u = sheet->unit;
    strip in = strip_of(gallery, width, u);
    put_bar(sheet, gallery, scale, other, x, y + 5.0 * u, fmin(60.0 * u, 0.2 * width));
    rlv_key_print(sheet, &all->key, x + in.key, y + 1.0 * u, in.key_wide);
    rlv_mark_legend(sheet, x + in.legend, y + 1.0 * u, in.legend_wide, &all->overlay, &all->seen, gallery->limit_words);
}

static void put_table(rlv_sheet* sheet, const rlv_gallery* gallery, double y)
{
    const double u = sheet->unit, left = RLV_SHEET_MARGIN * u;
    if (gallery->table.row_count == 0)
        return;
    rlv_lettering how = name_letters;
    how.width_mm = sheet->width_mm - 2.0 * left;
    how.most_lines = 1;
    if (gallery->table_caption != NULL)
        rlv_sheet_text(sheet, gallery->table_caption, left, y, &how);
    rlv_sheet_table_print(sheet, &gallery->table, left, y + HEAD * u);
}

// The same in a cell or a column, one beneath the other, in line with the views' upper edge. With a second scale (above
// 0) there are two bars.
static void put_key(rlv_sheet* sheet, const rlv_gallery* gallery, double scale, double other, const gathered* all,
                    double x, double y, double wide)
{
    const double u = sheet->unit;
    wide = fmin(wide, 120.0 * u);
    y += 4.0 * u;
    if (has_overlay(gallery))
        y += rlv_mark_legend(sheet, x, y, wide, &all->overlay, &all->seen, gallery->limit_words).height + 5.0 * u;
    if (all->key.count > 0)
        y += rlv_key_print(sheet, &all->key, x, y, wide) + 5.0 * u;
    const bool narrow = wide < WIDE * u - 1e-9; // the axes have no room beside the bar
    if (!narrow)
    {
        put_bar(sheet, gallery, scale, other, x, y + 4.0 * u,
                gallery->bedding != NULL ? fmin(0.5 * wide, wide - BEDDING_END * u) : 0.5 * wide);
        return;
    }
    rlv_mark_bar(sheet, x, y + 4.0 * u, scale, 0.85 * wide);
    if (gallery->direction_count > 0)
        rlv_mark_axes(sheet, x + 10.0 * u, y + 24.0 * u, 6.0, &gallery->axes, gallery->direction_count,
                      gallery->direction);
}

// The same beside the title: key, bar and axes up to the right margin.
static void put_beside_title(rlv_sheet* sheet, const hanging* in, double scale, const gathered* all)
{
    const double u = sheet->unit, top = RLV_SHEET_MARGIN * u,
                 x = sheet->width_mm - top - head_mm(in, u) + rlv_key_wide(in->ruler, &in->most) + GAP * u,
                 free_mm = HEAD_BAR * u - rlv_bar_of(scale, HEAD_BAR * u).paper_mm;
    put_bar(sheet, in->gallery, scale, 0.0, x + free_mm, top, HEAD_BAR * u);
    rlv_key_print(sheet, &all->key, x + free_mm - GAP * u - rlv_key_wide(in->ruler, &all->key), top, 0.0);
}

// Where the views stand on the page. What room is left over is shared out between the columns, and above, between and
// beneath the rows; key and legend follow the views, and are never left alone at the foot.
typedef struct places
{
    double left, top, step_x, air, strip, aside;
} places;

static places places_of(const hanging* in, const arrangement* of, double top, double foot)
{
    const rlv_gallery* gallery = in->gallery;
    const bool column = of->tools == IN_COLUMN;
    const double u = of->unit, margin = RLV_SHEET_MARGIN * u, aside = column ? aside_mm(gallery, u) + GAP * u : 0.0,
                 width = of->paper.width_mm - 2.0 * margin - aside;
    double columns = (double)of->columns, rows = (double)of->rows, tall = rows_tall(in, of);
    double strip_tall = has_strip(gallery, of) ? strip_mm(in, of->paper.width_mm, u) : 0.0;
    double spare =
        of->paper.height_mm - top - foot - strip_tall - tall + (has_strip(gallery, of) ? 0.0 : (GAP - CLOSE) * u);
    double air = fmin(spare / (rows + 2.0), MOST_AIR * u), rest = spare - air * rows;
    places at = {.left = margin, .top = top + 0.4 * rest, .step_x = (width + GAP * u) / columns, .air = air};
    at.left += 0.5 * (at.step_x - of->cell_wide);
    at.strip = at.top + tall + rows * air;
    at.aside = margin + width + GAP * u;
    return at;
}

static double top_of_row(const hanging* in, const arrangement* of, const places* at, size_t row)
{
    double top = at->top;
    for (size_t i = 0; i < row; i++)
        top += row_tall(in, of, i) + at->air;
    return top;
}

static rlv_status draw_rows(rlv_sheet* sheet, const hanging* in, const arrangement* of, gathered* all, rlv_error* error)
{
    const rlv_gallery* gallery = in->gallery;
    const double top = rlv_title_head(sheet, &gallery->title), u = of->unit;
    const places at = places_of(in, of, top, rlv_title_foot_mm(&gallery->title, sheet->width_mm, u));
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < gallery->view_count && status == RLV_DONE; i++)
        status = put_view(sheet, gallery, of, &in->view, i, at.left + at.step_x * (double)(i % of->columns),
                          top_of_row(in, of, &at, i / of->columns), all, error);
    if (status != RLV_DONE)
        return status;
    const size_t next = gallery->view_count;
    if (of->tools == IN_HEAD)
        put_beside_title(sheet, in, of->scale, all);
    else if (of->tools == IN_COLUMN)
        put_key(sheet, gallery, of->scale, 0.0, all, at.aside, at.top, aside_mm(gallery, u));
    else if (key_in_cell(gallery, of))
        put_key(sheet, gallery, of->scale, 0.0, all, at.left + at.step_x * (double)(next % of->columns),
                top_of_row(in, of, &at, next / of->columns), of->cell_wide - GAP * u);
    else
    {
        put_strip(sheet, gallery, of->scale, 0.0, all, RLV_SHEET_MARGIN * u, at.strip,
                  sheet->width_mm - 2.0 * RLV_SHEET_MARGIN * u);
        put_table(sheet, gallery, at.strip + signs_mm(in, sheet->width_mm, u) + 0.5 * GAP * u);
    }
    rlv_title_foot(sheet, &gallery->title, &of->paper, of->scale, all->pixel_mm);
    return RLV_DONE;
}

// What room is left over is shared out between the columns, and between the rows.
static rlv_status draw_feature(rlv_sheet* sheet, const hanging* in, const featured* f, gathered* all, rlv_error* error)
{
    const rlv_gallery* gallery = in->gallery;
    const double u = f->small.unit, margin = RLV_SHEET_MARGIN * u, top = rlv_title_head(sheet, &gallery->title);
    const size_t last = gallery->view_count - 1;
    double size_mm[2];
    feature_needs(in, f, &f->small.paper, size_mm);
    const double spare[2] = {sheet->width_mm - size_mm[0], sheet->height_mm - size_mm[1]},
                 parts = f->column ? (double)last : 2.0, air = fmin(spare[1] / (parts + 1.0), MOST_AIR * u);
    double x = margin, y = top + 0.5 * (spare[1] - air * (parts - 1.0));
    const double begun = y, apart = (sheet->width_mm - 2.0 * margin) / (double)last,
                 inset = 0.5 * (apart - view_wide(&f->small));
    rlv_status status = RLV_DONE;
    all->own_scale = true;
    for (size_t i = 0; i < last && status == RLV_DONE; i++)
    {
        status = put_view(sheet, gallery, &f->small, &in->view, i, f->column ? x : x + inset + apart * (double)i, y,
                          all, error);
        if (f->column)
            y += f->small.view_tall + (caption_mm(in, &f->small, i, 1) + GAP) * u + air;
    }
    if (f->column)
        x += f->small.cell_wide + 0.5 * spare[0];
    else if (f->beneath)
        x += 0.5 * (sheet->width_mm - 2.0 * margin - view_wide(&f->large));
    y = f->column ? begun : begun + f->small.view_tall + (caption_mm(in, &f->small, 0, last) + GAP) * u + air;
    if (status == RLV_DONE)
        status = put_view(sheet, gallery, &f->large, &in->view, last, x, y, all, error);
    if (status != RLV_DONE)
        return status;
    if (f->beneath)
        put_strip(sheet, gallery, f->large.scale, f->small.scale, all, x,
                  y + f->large.view_tall + (caption_mm(in, &f->large, last, 1) + NEAR) * u, view_wide(&f->large));
    else
        put_key(sheet, gallery, f->large.scale, f->small.scale, all, sheet->width_mm - margin - aside_mm(gallery, u), y,
                aside_mm(gallery, u));
    rlv_title_foot(sheet, &gallery->title, &f->small.paper, 0.0, all->pixel_mm);
    return RLV_DONE;
}

static rlv_status draw_gallery(rlv_sheet* sheet, const rlv_gallery* gallery, size_t* left_out, rlv_error* error)
{
    const rlv_mesh** mesh = rlv_reserve(gallery->view_count, sizeof(const rlv_mesh*), error);
    if (mesh == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < gallery->view_count; i++)
        mesh[i] = gallery->view[i].surface.mesh;
    rlv_sheet ruler = {0};
    hanging in = {.gallery = gallery,
                  .view = rlv_panel_view_of(gallery->view_count, mesh, &gallery->axes, 1.0),
                  .ruler = &ruler,
                  .most = most_of(gallery)};
    free(mesh);
    rlv_status status = rlv_sheet_reserve(&ruler, 100.0, 100.0, error);
    if (status != RLV_DONE)
        return status;
    const arrangement of = gallery->scale > 0.0 ? arrange_at_scale(&in) : arrange_to_fit(&in);
    const featured f = feature_of(&in, &of);
    const rlv_paper* paper = f.any ? &f.small.paper : &of.paper;
    gathered all = {0};
    status = rlv_sheet_reserve(sheet, paper->width_mm, paper->height_mm, error);
    if (status == RLV_DONE)
    {
        sheet->unit = f.any ? f.small.unit : of.unit;
        status = f.any ? draw_feature(sheet, &in, &f, &all, error) : draw_rows(sheet, &in, &of, &all, error);
        if (left_out != NULL)
            *left_out = all.left_out;
    }
    rlv_panel_free(&all.panel[0]);
    rlv_panel_free(&all.panel[1]);
    rlv_sheet_free(&ruler);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}

rlv_status rlv_sheet_of_gallery(rlv_sheet* sheet, const rlv_gallery* gallery, size_t* left_out, rlv_error* error)
{
    memset(sheet, 0, sizeof *sheet);
    if (gallery->view_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give at least one view", "a sheet without a view");
    const char** note = NULL;
    rlv_gallery noted = *gallery;
    noted.title = rlv_title_with(&gallery->title, has_overlay(gallery), &note, error);
    rlv_status status = note != NULL ? draw_gallery(sheet, &noted, left_out, error) : RLV_SYSTEM;
    free(note);
    return status;
}
