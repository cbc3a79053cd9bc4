#include "standing.h"

#include "marks.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define TIER 8.0   // between a size's line and what it measures, or the next line
#define OVER 6.0   // of the floor beyond what stands on it
#define LEFT OVER  // of a view
#define RIGHT 21.0 // of it, for the lines of heights
#define BELOW 26.0 // beneath the floor, for the lines of widths
#define NAME 7.0   // over a view, for its name
#define PAD 1.0    // of a picture round the block
#define BAR 14.0   // for the scale bar over what is said
#define SIDE 8.0   // for the arrow to the front
#define NORTH 7.0  // half the arrow to north
#define CENTRE 1.5 // radius of the sign of the centre
#define NOTE 95.0  // a column of what is said
#define GUTTER 8.0 // between two of them
#define SPACE 1.9  // between what is said and what is said next
#define APART 30.0 // at the most between views, beside what they need
#define LABEL 4.0  // between the names of outlines beneath each other

#define LEVEL_LEAST 0.5 // of a direction that is drawn on the plan: it dips by 60 degrees at most

static const rlv_lettering of_size = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .share = 0.5, .halo_mm = 0.8};
static const rlv_lettering of_name = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .bold = true};
static const rlv_lettering of_line = {.size_mm = RLV_LETTER_SMALL * 1.08, .grey = RLV_INK_BLACK};
static const rlv_lettering of_case_words = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY, .share = 1.0};
static const rlv_lettering of_label = {
    .size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .share = 0.5, .halo_mm = 0.6};
static const rlv_stroke of_case = {RLV_LINE_MEDIUM, RLV_INK_GREY, RLV_DASH_EVEN};

rlv_camera_axes rlv_standing_axes(const rlv_standing* standing, int view)
{
    const rlv_vec3 across = rlv_vec3_cross(standing->box.along, standing->up); // towards who looks at the front
    if (view == RLV_STANDING_PLAN)                                             // the front at its foot
        return (rlv_camera_axes){standing->box.along, rlv_vec3_scale(across, -1.0), standing->up};
    const rlv_vec3 towards = view == RLV_STANDING_FRONT ? across : standing->box.along;
    return (rlv_camera_axes){rlv_vec3_cross(standing->up, towards), standing->up, towards};
}

bool rlv_standing_bearing(const rlv_standing* standing, double* clockwise_deg)
{
    const rlv_camera_axes plan = rlv_standing_axes(standing, RLV_STANDING_PLAN);
    const double right = rlv_vec3_dot(standing->north, plan.right), up = rlv_vec3_dot(standing->north, plan.up);
    *clockwise_deg = atan2(right, up) * 180.0 / M_PI;
    return standing->north_known && hypot(right, up) >= LEVEL_LEAST * rlv_vec3_length(standing->north);
}

void rlv_standing_centre(const rlv_standing* standing, double from_mm[3])
{
    for (int k = 0; k < 2; k++)
    {
        const rlv_camera_axes axes = rlv_standing_axes(standing, k == 0 ? RLV_STANDING_FRONT : RLV_STANDING_PLAN);
        const rlv_panel_view view = rlv_panel_view_of(1, &standing->surface.mesh, &axes, 1.0);
        const rlv_vec3 at = rlv_panel_place(&view, standing->centre_mm);
        from_mm[k + 1] = 0.5 * view.span_mm[1] + at.y;
        from_mm[0] = 0.5 * view.span_mm[0] + at.x;
    }
}

rlv_vec3 rlv_standing_farthest(const rlv_standing* standing, int view, const double way[2])
{
    const rlv_mesh* mesh = standing->surface.mesh;
    const rlv_camera_axes axes = rlv_standing_axes(standing, view);
    const rlv_vec3 along = rlv_vec3_along(rlv_vec3_scale(axes.right, way[0]), way[1], axes.up);
    rlv_vec3 best = {0.0, 0.0, 0.0};
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        const rlv_vec3 at = rlv_mesh_vertex(mesh, v);
        if (v == 0 || rlv_vec3_dot(at, along) > rlv_vec3_dot(best, along))
            best = at;
    }
    return best;
}

double rlv_standing_in_sight(const rlv_standing* standing, const rlv_standing_outline* outline, rlv_vec3 towards)
{
    const rlv_footprint* box = &standing->box;
    const double lift_mm = RLV_PANEL_LIFT * hypot(hypot(box->length_mm, box->width_mm), box->height_mm);
    rlv_error ignored = {0};
    const rlv_panel_view view = {.axes.towards = towards};
    const rlv_panel panel = {.view = view, .surface = &standing->surface};
    rlv_ray* ray = rlv_reserve(outline->ring_count, sizeof *ray, &ignored);
    bool* hidden = ray != NULL ? rlv_reserve(outline->ring_count, sizeof *hidden, &ignored) : NULL;
    size_t seen = 0;
    for (size_t i = 0; hidden != NULL && i < outline->ring_count; i++)
        ray[i] = rlv_panel_ray(&panel, outline->ring_mm[i], lift_mm);
    if (hidden != NULL)
        rlv_tree_blocked(standing->surface.tree, outline->ring_count, ray, hidden);
    for (size_t i = 0; hidden != NULL && i < outline->ring_count; i++)
        seen += hidden[i] ? 0 : 1;
    const double share = hidden != NULL ? (double)seen / (double)outline->ring_count : -1.0;
    free(hidden);
    free(ray);
    return share;
}

// Which size of a box a view has from left to right, and which from top to foot: 0 its length, 1 its width, 2 its
// height.
enum
{
    WIDE,
    TALL
};

static const int spanned[RLV_STANDING_VIEWS][2] = {
    [RLV_STANDING_FRONT] = {0, 2}, [RLV_STANDING_SIDE] = {1, 2}, [RLV_STANDING_PLAN] = {0, 1}};

// What a view spans, of the block, of the case, and of all that is drawn, mm of the thing.
static double block_spans(const rlv_standing* s, int view, int way)
{
    const double size[3] = {s->box.length_mm, s->box.width_mm, s->box.height_mm};
    return size[spanned[view][way]];
}

static double case_spans(const rlv_standing* s, int view, int way)
{
    return s->case_mm[spanned[view][way]];
}

static double all_spans(const rlv_standing* s, int view, int way)
{
    return s->in_case ? fmax(case_spans(s, view, way), block_spans(s, view, way)) : block_spans(s, view, way);
}

// --- Where things stand ----------------------------------------------------------------------------------------------

enum
{
    SQUARE, // the elevations in line, the plan beneath the front, what is said beneath the side
    STACK,  // the elevations above each other, the plan beside them, what is said beside that
    ROW,    // all three in a row, what is said beneath
    WAYS
};

// A way to lay it out on a paper. `line_mm` is how tall each text is in its column on A3.
typedef struct fitting
{
    const rlv_standing* of;
    const double* line_mm;
    int way;
    double scale, unit;
    rlv_paper paper;
} fitting;

// Where that puts things, from the upper left corner of all of them: where what a view spans begins, its floor, and
// the columns of what is said.
typedef struct arrangement
{
    double left[RLV_STANDING_VIEWS], floor[RLV_STANDING_VIEWS];
    double words_left, words_top;
    size_t columns;
    double wide, tall;
} arrangement;

// How many columns what is said takes, bar and all, if none is taller than a height.
static size_t columns_within(const fitting* f, double most_mm)
{
    size_t columns = 1;
    double at = BAR;
    for (size_t i = 0; i < f->of->line_count; i++)
    {
        const bool next = at > 0.0 && at + f->line_mm[i] > most_mm;
        columns += next ? 1 : 0;
        at = next ? f->line_mm[i] : at + f->line_mm[i];
    }
    return columns;
}

// The least height that so many columns hold it in, mm on A3.
static double words_tall(const fitting* f, size_t columns)
{
    double most_mm = BAR;
    for (size_t i = 0; i < f->of->line_count; i++)
        most_mm = fmax(most_mm, f->line_mm[i]);
    while (columns_within(f, most_mm) > columns)
        most_mm += 1.0;
    return most_mm;
}

// With so much air between views beside each other, and between those above each other.
static arrangement arrange(const fitting* f, double across, double down)
{
    const double u = f->unit;
    double wide[RLV_STANDING_VIEWS], tall[RLV_STANDING_VIEWS];
    for (int v = 0; v < RLV_STANDING_VIEWS; v++)
    {
        wide[v] = all_spans(f->of, v, WIDE) * f->scale + (LEFT + RIGHT) * u;
        tall[v] = all_spans(f->of, v, TALL) * f->scale + (NAME + BELOW + (v == RLV_STANDING_PLAN ? SIDE : 0.0)) * u;
    }
    const double first = fmax(wide[RLV_STANDING_FRONT], f->way == STACK ? wide[RLV_STANDING_SIDE] : 0.0) + across,
                 second = first + wide[f->way == STACK ? RLV_STANDING_PLAN : RLV_STANDING_SIDE] + across,
                 beneath = tall[RLV_STANDING_FRONT] + down;
    const double x[WAYS][4] = {{0.0, first, 0.0, first}, {0.0, 0.0, first, second}, {0.0, first, second, 0.0}},
                 y[WAYS][4] = {{0.0, 0.0, beneath, beneath},
                               {0.0, beneath, 0.0, 0.0},
                               {0.0, 0.0, 0.0, fmax(tall[RLV_STANDING_FRONT], tall[RLV_STANDING_PLAN]) + down}};
    arrangement a = {.words_left = x[f->way][3] + LEFT * u, .words_top = y[f->way][3] + NAME * u};
    for (int v = 0; v < RLV_STANDING_VIEWS; v++)
    {
        a.left[v] = x[f->way][v] + LEFT * u;
        a.floor[v] = y[f->way][v] + NAME * u + all_spans(f->of, v, TALL) * f->scale;
        a.wide = fmax(a.wide, x[f->way][v] + wide[v]);
        a.tall = fmax(a.tall, y[f->way][v] + tall[v]);
    }
    a.columns = (size_t)fmax(floor((a.wide - a.words_left + GUTTER * u) / ((NOTE + GUTTER) * u)), 1.0);
    a.wide = fmax(a.wide, a.words_left + (NOTE + GUTTER) * (double)a.columns * u - GUTTER * u);
    a.tall = fmax(a.tall, a.words_top + words_tall(f, a.columns) * u);
    return a;
}

static void need(const void* user, double unit, double size_mm[2])
{
    fitting f = *(const fitting*)user;
    f.unit = unit;
    const arrangement a = arrange(&f, 0.0, 0.0);
    size_mm[0] = a.wide + 2.0 * RLV_SHEET_MARGIN * unit;
    size_mm[1] = a.tall + RLV_TITLE_HEAD_MM * unit + rlv_title_foot_mm(&f.of->title, size_mm[0], unit);
}

// What of its page it fills, across or down, whichever is less; over 1: neither that nor the other side is held.
static double fill_of(const fitting* f)
{
    const arrangement a = arrange(f, 0.0, 0.0);
    const double wide = a.wide / (f->paper.width_mm - 2.0 * RLV_SHEET_MARGIN * f->unit),
                 tall = a.tall / (f->paper.height_mm - RLV_TITLE_HEAD_MM * f->unit -
                                  rlv_title_foot_mm(&f->of->title, f->paper.width_mm, f->unit));
    return fmax(wide, tall) > 1.0 ? 0.0 : fmin(wide, tall);
}

// Which of two on as much paper is better: elevations in line on one floor are read against each other; then what fills
// more.
static double merit_of(const fitting* f)
{
    const double fill = fill_of(f);
    return fill > 0.0 && f->way != STACK ? 1.0 + fill : fill;
}

// At a scale that was asked for the way that takes the least paper.
static fitting fit_at_scale(const rlv_standing* s, const double* line_mm)
{
    fitting best = {0};
    for (int way = 0; way < WAYS; way++)
    {
        fitting f = {.of = s, .line_mm = line_mm, .way = way, .scale = s->scale};
        f.paper = rlv_paper_for(need, &f, s->paper, &f.unit);
        const double area = f.paper.width_mm * f.paper.height_mm,
                     least = way > 0 ? best.paper.width_mm * best.paper.height_mm : INFINITY;
        if (area < 0.999 * least || (area < 1.001 * least && merit_of(&f) > merit_of(&best)))
            best = f;
    }
    return best;
}

#define SMALLEST 1e-4

// On a paper, lying or upright, the way that has the largest round scale; its letters are `share` of what is usual.
static fitting fit_on_size(const rlv_standing* s, const double* line_mm, int paper, double share)
{
    fitting best = {0};
    double most = 0.0;
    for (double scale = 1.0; most <= 0.0; scale = rlv_round_scale(0.999 * scale))
        for (int k = 0; k < 2 * WAYS; k++)
        {
            fitting f = {.of = s, .line_mm = line_mm, .way = k / 2, .scale = scale};
            f.paper = rlv_paper_holding(k % 2 == 0 ? 2.0 : 1.0, k % 2 == 0 ? 1.0 : 2.0, paper);
            f.unit = share * rlv_paper_unit(&f.paper);
            const double merit = scale > SMALLEST ? merit_of(&f) : 1.0;
            if (merit > most)
                best = f;
            most = fmax(most, merit);
        }
    return best;
}

#define SEEN 0.125 // of the paper's longer side: a block that is drawn smaller is lost in its case

// On the least paper, or on the next larger one where the block would be lost on that, and is drawn larger on this.
static fitting fit_on_paper(const rlv_standing* s, const double* line_mm)
{
    const fitting least = fit_on_size(s, line_mm, s->paper, 1.0);
    const double block_mm = fmax(block_spans(s, RLV_STANDING_FRONT, WIDE), block_spans(s, RLV_STANDING_FRONT, TALL));
    if (s->paper == 0 || block_mm * least.scale >= SEEN * fmax(least.paper.width_mm, least.paper.height_mm))
        return least;
    fitting larger = fit_on_size(s, line_mm, s->paper - 1, 1.0);
    if (larger.scale <= least.scale)
        larger = fit_on_size(s, line_mm, s->paper - 1, sqrt(0.5)); // letters as on the least
    return larger.scale > least.scale ? larger : least;
}

// How tall each text is in its column on A3, with the space after it; free it.
static double* measure_lines(const rlv_standing* s, rlv_error* error)
{
    rlv_sheet sheet = {0};
    rlv_lettering how = of_line;
    how.width_mm = NOTE;
    if (rlv_sheet_reserve(&sheet, 100.0, 100.0, error) != RLV_DONE)
        return NULL;
    double* line_mm = rlv_reserve(s->line_count + 1, sizeof *line_mm, error);
    for (size_t i = 0; line_mm != NULL && i < s->line_count; i++)
        line_mm[i] = rlv_sheet_measure(&sheet, s->line[i], &how).height_mm + SPACE;
    rlv_sheet_free(&sheet);
    return line_mm;
}

// --- Sizes -----------------------------------------------------------------------------------------------------------

// A size on its line from one place to another, upright or level, with an arrow at either end.
static void draw_size(rlv_sheet* sheet, double x0, double y0, double x1, double y1, double mm)
{
    const double u = sheet->unit, x = 0.5 * (x0 + x1), y = 0.5 * (y0 + y1), length = hypot(x1 - x0, y1 - y0);
    char words[40];
    snprintf(words, sizeof words, "%.0f", mm);
    rlv_lettering how = of_size;
    const bool upright = fabs(y1 - y0) > fabs(x1 - x0);
    how.turn_rad = upright ? -G_PI_2 : 0.0;
    const rlv_text_size size = rlv_sheet_measure(sheet, words, &how);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    if (length > 4.0 * u)
    {
        rlv_mark_arrow(sheet, x, y, x0, y0, RLV_LINE_HAIR);
        rlv_mark_arrow(sheet, x, y, x1, y1, RLV_LINE_HAIR);
    }
    else
        rlv_sheet_line(sheet, x0, y0, x1, y1, RLV_LINE_HAIR);
    // The figure stands over its line, or left of an upright one; one that is longer than its line stands beyond it.
    const double off = 0.9 * u, beyond = length < size.width_mm + 2.0 * u ? 0.5 * (length + size.width_mm) + off : 0.0;
    if (upright)
        rlv_sheet_text(sheet, words, x - off, y - beyond, &how);
    else
        rlv_sheet_text(sheet, words, x + beyond, y - off, &how);
}

static void draw_witness(rlv_sheet* sheet, double x0, double y0, double x1, double y1)
{
    rlv_sheet_grey(sheet, RLV_INK_GREY);
    rlv_sheet_line(sheet, x0, y0, x1, y1, RLV_LINE_HAIR);
}

// --- A view ----------------------------------------------------------------------------------------------------------

// A view on the sheet: the middle of what stands there, and the floor.
typedef struct elevation
{
    const rlv_standing* of;
    int view;
    double x, floor, scale;
} elevation;

static void draw_floor(rlv_sheet* sheet, const elevation* at)
{
    const double u = sheet->unit, half = 0.5 * all_spans(at->of, at->view, WIDE) * at->scale + OVER * u, step = 2.4 * u;
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_line(sheet, at->x - half, at->floor, at->x + half, at->floor, RLV_LINE_HEAVY);
    for (double x = at->x - half + step; x <= at->x + half; x += step)
        rlv_sheet_line(sheet, x, at->floor, x - 0.7 * step, at->floor + 0.7 * step, RLV_LINE_HAIR);
}

static void draw_case(rlv_sheet* sheet, const elevation* at)
{
    const double half = 0.5 * case_spans(at->of, at->view, WIDE) * at->scale,
                 top = at->floor - case_spans(at->of, at->view, TALL) * at->scale;
    rlv_stroke_begin(sheet, &of_case);
    cairo_move_to(sheet->cairo, at->x - half, at->floor);
    cairo_line_to(sheet->cairo, at->x - half, top);
    cairo_line_to(sheet->cairo, at->x + half, top);
    cairo_line_to(sheet->cairo, at->x + half, at->floor);
    if (at->view == RLV_STANDING_PLAN)
        cairo_close_path(sheet->cairo);
    cairo_stroke(sheet->cairo);
    rlv_stroke_end(sheet);
    if (rlv_sheet_measure(sheet, "case, inside", &of_case_words).width_mm < 2.0 * half - 3.0 * sheet->unit)
        rlv_sheet_text(sheet, "case, inside", at->x + half - 1.5 * sheet->unit, top + 3.2 * sheet->unit,
                       &of_case_words);
}

// How far the block's lower edge is over the view's: it stands in the middle of its case.
static double block_foot(const elevation* at)
{
    return at->view == RLV_STANDING_PLAN
               ? at->floor - 0.5 * (all_spans(at->of, at->view, TALL) - block_spans(at->of, at->view, TALL)) * at->scale
               : at->floor;
}

double rlv_standing_room(double case_mm, double block_mm)
{
    return nearbyint(case_mm) - nearbyint(block_mm);
}

// What a case leaves on either side, in whole millimetres that add up to the case's as they stand.
static void share_room(double case_mm, double block_mm, double side_mm[2])
{
    const double room = rlv_standing_room(case_mm, block_mm);
    side_mm[0] = floor(0.5 * room);
    side_mm[1] = room - side_mm[0];
}

// Where the block's farthest point to a side of the view stands on the sheet: the line that shows a size begins there.
static void stand_at(const elevation* at, double right, double up, double place[2])
{
    const rlv_standing* s = at->of;
    const rlv_camera_axes axes = rlv_standing_axes(s, at->view);
    const rlv_panel_view seen = rlv_panel_view_of(1, &s->surface.mesh, &axes, at->scale);
    const rlv_vec3 point = rlv_panel_place(&seen, rlv_standing_farthest(s, at->view, (double[]){right, up}));
    place[0] = at->x + point.x;
    place[1] = block_foot(at) - 0.5 * seen.span_mm[1] * at->scale - point.y;
}

// Widths beneath, the block's with the room beside it and then the case's.
static void draw_widths(rlv_sheet* sheet, const elevation* at)
{
    const rlv_standing* s = at->of;
    const double u = sheet->unit, wide = block_spans(s, at->view, WIDE), half = 0.5 * wide * at->scale,
                 first = at->floor + 1.2 * TIER * u, second = first + TIER * u,
                 case_half = 0.5 * case_spans(s, at->view, WIDE) * at->scale;
    double side[2], left[2], right[2];
    stand_at(at, -1.0, 0.0, left);
    stand_at(at, 1.0, 0.0, right);
    draw_witness(sheet, at->x - half, left[1], at->x - half, first + u);
    draw_witness(sheet, at->x + half, right[1], at->x + half, first + u);
    draw_size(sheet, at->x - half, first, at->x + half, first, wide);
    if (!s->in_case)
        return;
    draw_witness(sheet, at->x - case_half, at->floor, at->x - case_half, second + u);
    draw_witness(sheet, at->x + case_half, at->floor, at->x + case_half, second + u);
    draw_size(sheet, at->x - case_half, second, at->x + case_half, second, case_spans(s, at->view, WIDE));
    if (case_half <= half)
        return;
    share_room(case_spans(s, at->view, WIDE), wide, side);
    draw_size(sheet, at->x - case_half, first, at->x - half, first, side[0]);
    draw_size(sheet, at->x + half, first, at->x + case_half, first, side[1]);
}

// Heights on the right, likewise, with the room above; on a plan depths, with the room on either side.
static void draw_heights(rlv_sheet* sheet, const elevation* at)
{
    const rlv_standing* s = at->of;
    const double u = sheet->unit, tall = block_spans(s, at->view, TALL), foot = block_foot(at),
                 top = foot - tall * at->scale,
                 right = at->x + 0.5 * all_spans(s, at->view, WIDE) * at->scale + 1.2 * TIER * u,
                 far = right + TIER * u, case_half = 0.5 * case_spans(s, at->view, WIDE) * at->scale,
                 ceiling = at->floor - case_spans(s, at->view, TALL) * at->scale;
    double side[2], highest[2], lowest[2];
    stand_at(at, 0.0, 1.0, highest);
    stand_at(at, 0.0, -1.0, lowest);
    draw_witness(sheet, highest[0], top, right + u, top);
    draw_size(sheet, right, foot, right, top, tall);
    if (at->view == RLV_STANDING_PLAN)
        draw_witness(sheet, lowest[0], foot, right + u, foot);
    if (!s->in_case)
        return;
    draw_witness(sheet, at->x + case_half, ceiling, far + u, ceiling);
    draw_witness(sheet, at->x + case_half, at->floor, far + u, at->floor);
    draw_size(sheet, far, at->floor, far, ceiling, case_spans(s, at->view, TALL));
    if (ceiling >= top)
        return;
    share_room(case_spans(s, at->view, TALL), tall, side);
    const bool plan = at->view == RLV_STANDING_PLAN;
    draw_size(sheet, right, top, right, ceiling, plan ? side[0] : side[0] + side[1]);
    if (plan)
        draw_size(sheet, right, at->floor, right, foot, side[1]);
}

// Where the front is looked at from, and north, in the upper left corner.
static void draw_bearings(rlv_sheet* sheet, const elevation* at)
{
    const rlv_standing* s = at->of;
    const double u = sheet->unit, foot = at->floor + (BELOW + SIDE - 4.0) * u;
    double bearing_deg;
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_mark_arrow(sheet, at->x, foot, at->x, at->floor + (BELOW - 5.0) * u, RLV_LINE_STRONG);
    rlv_sheet_text(sheet, "front", at->x + 2.0 * u, foot, &of_line);
    if (!rlv_standing_bearing(s, &bearing_deg))
        return;
    const double turn = bearing_deg * M_PI / 180.0, x = sin(turn) * NORTH * u, y = -cos(turn) * NORTH * u,
                 middle_x = at->x - 0.5 * all_spans(s, at->view, WIDE) * at->scale + (NORTH + 5.0) * u,
                 middle_y = at->floor - all_spans(s, at->view, TALL) * at->scale + (NORTH + 5.0) * u;
    rlv_mark_arrow(sheet, middle_x - x, middle_y - y, middle_x + x, middle_y + y, RLV_LINE_STRONG);
    rlv_sheet_text(sheet, "N", middle_x + 1.35 * x, middle_y + 1.35 * y + 0.8 * u, &of_size);
}

// The sign of a centre, open so that it covers nothing: a ring with a cross through it, edged in white so that it is
// seen on any surface.
static void draw_centre(rlv_sheet* sheet, double x, double y)
{
    cairo_t* c = sheet->cairo;
    const double radius = CENTRE * sheet->unit, arm = 1.7 * radius;
    for (int ink = 0; ink < 2; ink++)
    {
        cairo_new_path(c);
        cairo_arc(c, x, y, radius, 0.0, 2.0 * G_PI);
        cairo_move_to(c, x - arm, y);
        cairo_line_to(c, x + arm, y);
        cairo_move_to(c, x, y - arm);
        cairo_line_to(c, x, y + arm);
        if (ink == 0)
            cairo_set_source_rgba(c, 1.0, 1.0, 1.0, 0.75);
        else
            rlv_sheet_grey(sheet, RLV_INK_BLACK);
        rlv_sheet_pen(sheet, ink == 0 ? 3.0 * RLV_LINE_THIN : RLV_LINE_THIN);
        cairo_stroke(c);
    }
}

// The view that an outline is labelled on: where most of it is seen, the plan where others show as much.
static int labelled_on(const rlv_standing* s, const rlv_standing_outline* outline)
{
    int best = RLV_STANDING_PLAN;
    double most = rlv_standing_in_sight(s, outline, rlv_standing_axes(s, best).towards);
    for (int view = 0; view < RLV_STANDING_PLAN; view++)
    {
        const double share = rlv_standing_in_sight(s, outline, rlv_standing_axes(s, view).towards);
        best = share > most ? view : best;
        most = fmax(most, share);
    }
    return best;
}

// Beside the block, over it or on the plan beneath it, whichever is nearer, with a line to the outline; those on one
// side in rows.
static void draw_label(rlv_sheet* sheet, const elevation* at, const rlv_panel_view* seen,
                       const rlv_standing_outline* outline, size_t row[2])
{
    const double u = sheet->unit, half_tall = 0.5 * seen->span_mm[1] * at->scale,
                 half_wide = 0.5 * seen->span_mm[0] * at->scale, middle = block_foot(at) - half_tall;
    rlv_vec3 end[2] = {{0.0, -INFINITY, 0.0}, {0.0, INFINITY, 0.0}}; // its highest and its lowest point
    for (size_t i = 0; i < outline->ring_count; i++)
    {
        const rlv_vec3 place = rlv_panel_place(seen, outline->ring_mm[i]);
        end[0] = place.y > end[0].y ? place : end[0];
        end[1] = place.y < end[1].y ? place : end[1];
    }
    const int beneath = at->view == RLV_STANDING_PLAN && end[0].y + end[1].y < 0.0;
    const rlv_vec3 from = end[beneath];
    const double free_wide = fmax(half_wide - 0.5 * rlv_sheet_measure(sheet, outline->label, &of_label).width_mm, 0.0),
                 x = at->x + fmin(fmax(from.x, -free_wide), free_wide), off = (2.0 + 3.4 * (double)row[beneath]) * u,
                 y = beneath ? middle + half_tall + off : middle - half_tall - off;
    row[beneath]++;
    draw_witness(sheet, at->x + from.x, middle - from.y, at->x + from.x, y);
    rlv_sheet_text(sheet, outline->label, x, beneath ? y + 2.2 * u : y - 0.7 * u, &of_label);
}

// The block from one side, its middle at a place of the sheet, with the outlines that are in sight from there, and its
// centre where `centre` says so.
static rlv_status draw_seen(rlv_sheet* sheet, const rlv_standing* s, const rlv_panel_view* seen, double x, double y,
                            bool centre, double* pixel_mm, rlv_error* error)
{
    const double pad = PAD * sheet->unit;
    rlv_panel panel = {0};
    rlv_panel_surface surface = s->surface;
    rlv_panel_outline* outline = rlv_reserve(s->outline_count + 1, sizeof *outline, error);
    if (outline == NULL)
        return RLV_SYSTEM;
    surface.outline = outline;
    for (size_t i = 0; i < s->outline_count; i++)
        if (rlv_standing_in_sight(s, &s->outline[i], seen->axes.towards) >= RLV_STANDING_SIGHT)
            outline[surface.outline_count++] = (rlv_panel_outline){.ring_count = s->outline[i].ring_count,
                                                                   .ring_mm = s->outline[i].ring_mm,
                                                                   .line_mm = RLV_LINE_THIN,
                                                                   .dashed = s->outline[i].dashed};
    rlv_status status = rlv_panel_make(&panel, &surface, seen, seen->span_mm[0] * seen->scale + 2.0 * pad,
                                       seen->span_mm[1] * seen->scale + 2.0 * pad, error);
    // Its middle is the box's; a panel stands on whole pixels, and all else on the panel.
    if (status == RLV_DONE)
        status = rlv_panel_draw(sheet, &panel, x - 0.5 * panel.width_mm, y - 0.5 * panel.height_mm, NULL, NULL, error);
    if (status == RLV_DONE && centre && s->centre_known)
    {
        const rlv_vec3 at = rlv_panel_place(seen, s->centre_mm);
        draw_centre(sheet, x + at.x, y - at.y);
    }
    *pixel_mm = panel.picture.pixel_mm;
    rlv_panel_free(&panel);
    free(outline);
    return status;
}

static rlv_status draw_view(rlv_sheet* sheet, const elevation* at, double* pixel_mm, rlv_error* error)
{
    const rlv_standing* s = at->of;
    const rlv_camera_axes axes = rlv_standing_axes(s, at->view);
    const rlv_panel_view seen = rlv_panel_view_of(1, &s->surface.mesh, &axes, at->scale);
    const rlv_status status =
        draw_seen(sheet, s, &seen, at->x, block_foot(at) - 0.5 * seen.span_mm[1] * at->scale, true, pixel_mm, error);
    if (status != RLV_DONE)
        return status;
    if (at->view == RLV_STANDING_PLAN)
        draw_bearings(sheet, at);
    else
        draw_floor(sheet, at);
    if (s->in_case)
        draw_case(sheet, at);
    draw_widths(sheet, at);
    draw_heights(sheet, at);
    size_t row[2] = {0, 0};
    for (size_t i = 0; i < s->outline_count; i++)
        if (s->outline[i].label != NULL && labelled_on(s, &s->outline[i]) == at->view &&
            rlv_standing_in_sight(s, &s->outline[i], axes.towards) >= RLV_STANDING_SIGHT)
            draw_label(sheet, at, &seen, &s->outline[i], row);
    if (s->name[at->view] != NULL)
        rlv_sheet_text(sheet, s->name[at->view], at->x - 0.5 * all_spans(s, at->view, WIDE) * at->scale,
                       at->floor - all_spans(s, at->view, TALL) * at->scale - 3.0 * sheet->unit, &of_name);
    return RLV_DONE;
}

// --- As it will look -------------------------------------------------------------------------------------------------

#define TURNED_DEG 30.0 // from the front towards the side that is drawn,
#define RAISED_DEG 30.0 // and over the floor

static rlv_camera_axes raised_axes(const rlv_standing* s)
{
    const double turned = TURNED_DEG * M_PI / 180.0, raised = RAISED_DEG * M_PI / 180.0;
    const rlv_vec3 front = rlv_standing_axes(s, RLV_STANDING_FRONT).towards,
                   side = rlv_standing_axes(s, RLV_STANDING_SIDE).towards,
                   level = rlv_vec3_along(rlv_vec3_scale(front, cos(turned)), sin(turned), side),
                   towards = rlv_vec3_along(rlv_vec3_scale(level, cos(raised)), sin(raised), s->up),
                   right = rlv_vec3_cross(s->up, level);
    return (rlv_camera_axes){right, rlv_vec3_cross(towards, right), towards};
}

// Whether the paper has room for what is said in a column at its right edge, over the height of the elevations: the
// cell beneath them then holds a larger view of the block, on which nothing is measured.
static bool has_raised(const fitting* f, double beside_mm)
{
    const arrangement a = arrange(f, 0.0, 0.0);
    return f->way == SQUARE && beside_mm >= (NOTE + GUTTER) * f->unit &&
           words_tall(f, 1) * f->unit <= a.words_top - NAME * f->unit;
}

// A view's name, and what is said of it beside that.
static void name_seen(rlv_sheet* sheet, const char* name, const char* beside, double x, double y)
{
    rlv_lettering how = of_line;
    how.grey = RLV_INK_GREY;
    const double wide = rlv_sheet_text(sheet, name, x, y, &of_name).width_mm;
    rlv_sheet_text(sheet, beside, x + wide + 3.0 * sheet->unit, y, &how);
}

// As large as a box holds it, in its middle.
static rlv_status draw_raised(rlv_sheet* sheet, const rlv_standing* s, rlv_box2 box, rlv_error* error)
{
    const double u = sheet->unit, pad = PAD * u;
    const rlv_camera_axes axes = raised_axes(s);
    rlv_panel_view seen = rlv_panel_view_of(1, &s->surface.mesh, &axes, 1.0);
    seen.scale = fmin((box.width - 2.0 * pad) / seen.span_mm[0], (box.height - 2.0 * pad) / seen.span_mm[1]);
    double pixel_mm;
    name_seen(sheet, "From the front and above", "not to scale", box.left, box.top - 3.0 * u);
    return draw_seen(sheet, s, &seen, box.left + 0.5 * box.width, box.top + 0.5 * box.height, false, &pixel_mm, error);
}

// The underside, its front at the foot as on the plan, so that its left and right are exchanged.
static rlv_camera_axes beneath_axes(const rlv_standing* s)
{
    const rlv_camera_axes plan = rlv_standing_axes(s, RLV_STANDING_PLAN);
    return (rlv_camera_axes){rlv_vec3_scale(plan.right, -1.0), plan.up, rlv_vec3_scale(plan.towards, -1.0)};
}

// Whether the underside has an outline to show, and a box as wide as what is said has room for it.
static bool has_beneath(const fitting* f, double tall)
{
    const rlv_standing* s = f->of;
    bool any = false;
    for (size_t i = 0; i < s->outline_count && !any; i++)
        any = rlv_standing_in_sight(s, &s->outline[i], beneath_axes(s).towards) >= RLV_STANDING_SIGHT;
    return any && block_spans(s, RLV_STANDING_PLAN, WIDE) * f->scale <= (NOTE - 2.0 * PAD) * f->unit &&
           block_spans(s, RLV_STANDING_PLAN, TALL) * f->scale + LABEL * f->unit * (double)(s->outline_count + 1) <=
               tall;
}

// At the scale of the others, at the top of a box, its outlines by name beneath it.
static rlv_status draw_beneath(rlv_sheet* sheet, const fitting* f, rlv_box2 box, rlv_error* error)
{
    const rlv_standing* s = f->of;
    const double u = sheet->unit;
    const rlv_camera_axes axes = beneath_axes(s);
    const rlv_panel_view seen = rlv_panel_view_of(1, &s->surface.mesh, &axes, f->scale);
    const double tall = seen.span_mm[1] * f->scale + 2.0 * PAD * u;
    double pixel_mm, y = box.top + tall + LABEL * u;
    name_seen(sheet, "From beneath", "its front at the foot", box.left, box.top - 3.0 * u);
    const rlv_status status = draw_seen(sheet, s, &seen, box.left + 0.5 * seen.span_mm[0] * f->scale + PAD * u,
                                        box.top + 0.5 * tall, true, &pixel_mm, error);
    rlv_lettering how = of_label;
    how.share = 0.0;
    for (size_t i = 0; i < s->outline_count; i++)
        if (s->outline[i].label != NULL && rlv_standing_in_sight(s, &s->outline[i], axes.towards) >= RLV_STANDING_SIGHT)
        {
            rlv_sheet_text(sheet, s->outline[i].label, box.left, y, &how);
            y += LABEL * u;
        }
    return status;
}

// Where a column of what is said begins: beneath a view where there are as many.
static double column_left(const fitting* f, const arrangement* a, size_t column)
{
    const double step = (NOTE + GUTTER) * f->unit;
    const bool line_up = f->way == ROW && a->columns == RLV_STANDING_VIEWS && a->left[1] - a->left[0] >= step &&
                         a->left[2] - a->left[1] >= step;
    return line_up ? a->left[column] : a->words_left + step * (double)column;
}

// In columns of one height, the bar first.
static void draw_words(rlv_sheet* sheet, const fitting* f, const arrangement* a, double left, double top)
{
    const rlv_standing* s = f->of;
    const double u = sheet->unit, most = top + words_tall(f, a->columns) * u;
    size_t column = 0;
    double x = left + column_left(f, a, 0);
    rlv_lettering how = of_line;
    how.width_mm = NOTE * u;
    rlv_mark_bar(sheet, x, top, f->scale, 60.0 * u);
    double y = top + BAR * u;
    for (size_t i = 0; i < s->line_count; i++)
    {
        if (y > top && y + f->line_mm[i] * u > most * (1.0 + 1e-9))
        {
            x = left + column_left(f, a, ++column);
            y = top;
        }
        const double baseline = y + rlv_sheet_measure(sheet, s->line[i], &how).baseline_mm;
        if (i == 0 && s->centre_known)
            draw_centre(sheet, x - 0.5 * LEFT * u, baseline - 0.8 * u);
        rlv_sheet_text(sheet, s->line[i], x, baseline, &how);
        y += f->line_mm[i] * u;
    }
}

static rlv_status draw(rlv_sheet* sheet, const fitting* f, rlv_error* error)
{
    const rlv_standing* s = f->of;
    const double u = sheet->unit, margin = RLV_SHEET_MARGIN * u, top = rlv_title_head(sheet, &s->title),
                 foot = rlv_title_foot_mm(&s->title, sheet->width_mm, u);
    arrangement a = arrange(f, 0.0, 0.0);
    const double beside = fmax(sheet->width_mm - 2.0 * margin - a.wide, 0.0),
                 air = fmax(sheet->height_mm - top - foot - a.tall, 0.0);
    const bool raised = has_raised(f, beside);
    const double across = raised ? 0.5 * (beside - (NOTE + GUTTER) * u) : f->way == SQUARE ? beside : 0.5 * beside;
    a = arrange(f, fmin(across, APART * u), fmin(0.3 * air, APART * u));
    rlv_box2 cell = {a.words_left, a.words_top, sheet->width_mm - 2.0 * margin - a.words_left,
                     all_spans(s, RLV_STANDING_PLAN, TALL) * f->scale};
    const bool beneath = raised && has_beneath(f, cell.height);
    if (raised)
    {
        a.columns = 1;
        a.words_left = sheet->width_mm - 2.0 * margin - NOTE * u;
        a.words_top = NAME * u;
    }
    const double y = top + 0.4 * fmax(sheet->height_mm - top - foot - a.tall, 0.0);
    double pixel_mm = 0.0;
    rlv_status status = RLV_DONE;
    for (int view = 0; view < RLV_STANDING_VIEWS && status == RLV_DONE; view++)
    {
        const double half = 0.5 * all_spans(s, view, WIDE) * f->scale;
        const elevation at = {s, view, margin + a.left[view] + half, y + a.floor[view], f->scale};
        status = draw_view(sheet, &at, &pixel_mm, error);
    }
    cell.left += margin;
    cell.top += y;
    if (beneath && status == RLV_DONE)
    {
        cell.width -= (NOTE + GUTTER) * u;
        status = draw_beneath(sheet, f, (rlv_box2){margin + a.words_left, cell.top, NOTE * u, cell.height}, error);
    }
    if (raised && status == RLV_DONE)
        status = draw_raised(sheet, s, cell, error);
    draw_words(sheet, f, &a, margin, y + a.words_top);
    rlv_title_foot(sheet, &s->title, &f->paper, f->scale, pixel_mm);
    return status;
}

rlv_status rlv_sheet_of_standing(rlv_sheet* sheet, const rlv_standing* standing, double* scale, rlv_error* error)
{
    const char** note = NULL;
    rlv_standing noted = *standing;
    memset(sheet, 0, sizeof *sheet);
    if (!(standing->box.length_mm > 0.0) || !(standing->box.width_mm > 0.0) || !(standing->box.height_mm > 0.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the box that it stands in", "a block without a size");
    noted.title = rlv_title_with(&standing->title, false, &note, error);
    double* line_mm = note != NULL ? measure_lines(&noted, error) : NULL;
    rlv_status status = line_mm != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        const fitting f = noted.scale > 0.0 ? fit_at_scale(&noted, line_mm) : fit_on_paper(&noted, line_mm);
        *scale = f.scale;
        status = rlv_sheet_reserve(sheet, f.paper.width_mm, f.paper.height_mm, error);
        if (status == RLV_DONE)
        {
            sheet->unit = f.unit;
            status = draw(sheet, &f, error);
        }
    }
    free(line_mm);
    free(note);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}
