#include "standing.h"

#include "marks.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define TIER 8.0   // between a size's line and what it measures, or the next line
#define LEFT 9.0   // of a view
#define RIGHT 21.0 // of it, for the lines of heights
#define BELOW 26.0 // beneath the floor, for the lines of widths
#define NAME 7.0   // over a view, for its name
#define LINE 4.6   // of what is said beneath
#define PAD 1.0    // of a picture round the block
#define OVER 6.0   // of the floor beyond what stands on it
#define BAR 14.0   // for the scale bar over what is said
#define SIDE 8.0   // for the arrow to the front
#define NORTH 7.0  // half the arrow to north
#define CENTRE 1.5 // radius of the sign of the middle

#define LEVEL_LEAST 0.5 // of a direction that is drawn on the plan: it dips by 60 degrees at most

static const rlv_lettering of_size = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .share = 0.5, .halo_mm = 0.8};
static const rlv_lettering of_name = {.size_mm = RLV_LETTER_HEAD, .grey = RLV_INK_BLACK, .bold = true};
static const rlv_lettering of_line = {.size_mm = RLV_LETTER_SMALL * 1.08, .grey = RLV_INK_BLACK};
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

// The elevations, and beneath them the plan; what is said stands on the plan's right.
static double lower_tall(const rlv_standing* s, double scale, double unit)
{
    const double plan = all_spans(s, RLV_STANDING_PLAN, TALL) * scale + (NAME + BELOW + SIDE) * unit,
                 words = (BAR + 2.0 * LINE * (double)s->line_count) * unit; // most lines take one, some three
    return fmax(plan, words);
}

static void need_at(const rlv_standing* s, double scale, double unit, double size_mm[2])
{
    size_mm[0] = (all_spans(s, RLV_STANDING_FRONT, WIDE) + all_spans(s, RLV_STANDING_SIDE, WIDE)) * scale +
                 (2.0 * (LEFT + RIGHT) + 2.0 * RLV_SHEET_MARGIN) * unit;
    size_mm[1] = all_spans(s, RLV_STANDING_FRONT, TALL) * scale + (RLV_TITLE_HEAD_MM + NAME + BELOW) * unit +
                 lower_tall(s, scale, unit) + rlv_title_foot_mm(&s->title, size_mm[0], unit);
}

typedef struct fitting
{
    const rlv_standing* of;
    double scale;
} fitting;

static void need(const void* user, double unit, double size_mm[2])
{
    const fitting* f = user;
    need_at(f->of, f->scale, unit, size_mm);
}

#define SMALLEST 1e-4

// The paper; without a scale asked for, the largest round one at which the least lying paper does.
static rlv_paper paper_for(const rlv_standing* s, double* scale, double* unit)
{
    if (s->scale > 0.0)
    {
        const fitting f = {s, s->scale};
        *scale = s->scale;
        return rlv_paper_for(need, &f, s->paper, unit);
    }
    rlv_paper paper = rlv_paper_holding(2.0, 1.0, s->paper);
    double size_mm[2];
    *unit = rlv_paper_unit(&paper);
    *scale = 1.0;
    for (need_at(s, *scale, *unit, size_mm);
         *scale > SMALLEST && (size_mm[0] > paper.width_mm || size_mm[1] > paper.height_mm);
         need_at(s, *scale, *unit, size_mm))
        *scale = rlv_round_scale(0.999 * *scale);
    return paper;
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
}

// How far the block's lower edge is over the view's: it stands in the middle of its case.
static double block_foot(const elevation* at)
{
    return at->view == RLV_STANDING_PLAN
               ? at->floor - 0.5 * (all_spans(at->of, at->view, TALL) - block_spans(at->of, at->view, TALL)) * at->scale
               : at->floor;
}

// What a case leaves on either side, in whole millimetres that add up to the case's as they stand.
static void share_room(double case_mm, double block_mm, double side_mm[2])
{
    const double room = round(case_mm) - round(block_mm);
    side_mm[0] = floor(0.5 * room);
    side_mm[1] = room - side_mm[0];
}

// Widths beneath, the block's with the room beside it and then the case's.
static void draw_widths(rlv_sheet* sheet, const elevation* at)
{
    const rlv_standing* s = at->of;
    const double u = sheet->unit, wide = block_spans(s, at->view, WIDE), half = 0.5 * wide * at->scale,
                 foot = block_foot(at), first = at->floor + 1.2 * TIER * u, second = first + TIER * u,
                 case_half = 0.5 * case_spans(s, at->view, WIDE) * at->scale;
    double side[2];
    draw_witness(sheet, at->x - half, foot, at->x - half, first + u);
    draw_witness(sheet, at->x + half, foot, at->x + half, first + u);
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
    double side[2];
    draw_witness(sheet, at->x, top, right + u, top);
    draw_size(sheet, right, foot, right, top, tall);
    if (at->view == RLV_STANDING_PLAN)
        draw_witness(sheet, at->x, foot, right + u, foot);
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

// The usual sign of a centre of gravity: a disc in quarters, on a white bed so that it is seen on any surface.
static void draw_centre(rlv_sheet* sheet, double x, double y)
{
    cairo_t* c = sheet->cairo;
    const double u = sheet->unit, radius = CENTRE * u;
    cairo_arc(c, x, y, radius + 0.5 * u, 0.0, 2.0 * G_PI);
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_fill(c);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    for (int quarter = 0; quarter < 2; quarter++)
    {
        cairo_move_to(c, x, y);
        cairo_arc(c, x, y, radius, quarter * G_PI, (quarter + 0.5) * G_PI);
        cairo_close_path(c);
        cairo_fill(c);
    }
    cairo_arc(c, x, y, radius, 0.0, 2.0 * G_PI);
    rlv_sheet_pen(sheet, RLV_LINE_THIN);
    cairo_stroke(c);
    rlv_sheet_line(sheet, x - 1.6 * radius, y, x + 1.6 * radius, y, RLV_LINE_HAIR);
    rlv_sheet_line(sheet, x, y - 1.6 * radius, x, y + 1.6 * radius, RLV_LINE_HAIR);
}

static rlv_status draw_view(rlv_sheet* sheet, const elevation* at, double* pixel_mm, rlv_error* error)
{
    const rlv_standing* s = at->of;
    const rlv_camera_axes axes = rlv_standing_axes(s, at->view);
    const rlv_panel_view seen = rlv_panel_view_of(1, &s->surface.mesh, &axes, at->scale);
    const double pad = PAD * sheet->unit;
    rlv_panel panel = {0};
    rlv_status status = rlv_panel_make(&panel, &s->surface, &seen, seen.span_mm[0] * at->scale + 2.0 * pad,
                                       seen.span_mm[1] * at->scale + 2.0 * pad, error);
    if (status == RLV_DONE)
    {
        // Its middle is the box's; a panel stands on whole pixels, and all else on the panel.
        const double left = at->x - 0.5 * panel.width_mm,
                     top = block_foot(at) - 0.5 * seen.span_mm[1] * at->scale - 0.5 * panel.height_mm;
        status = rlv_panel_draw(sheet, &panel, left, top, NULL, NULL, error);
        const rlv_vec3 centre = rlv_panel_place(&seen, s->centre_mm);
        if (s->centre_known)
            draw_centre(sheet, at->x + centre.x, block_foot(at) - 0.5 * seen.span_mm[1] * at->scale - centre.y);
    }
    *pixel_mm = panel.picture.pixel_mm;
    rlv_panel_free(&panel);
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
    if (s->name[at->view] != NULL)
        rlv_sheet_text(sheet, s->name[at->view], at->x - 0.5 * all_spans(s, at->view, WIDE) * at->scale,
                       at->floor - all_spans(s, at->view, TALL) * at->scale - 3.0 * sheet->unit, &of_name);
    return RLV_DONE;
}

static void draw_words(rlv_sheet* sheet, const rlv_standing* s, double x, double y, double scale)
{
    const double u = sheet->unit;
    rlv_lettering how = of_line;
    how.width_mm = sheet->width_mm - RLV_SHEET_MARGIN * u - x;
    rlv_mark_bar(sheet, x, y, scale, fmin(60.0 * u, how.width_mm));
    y += BAR * u;
    if (s->centre_known)
        draw_centre(sheet, x - 5.0 * u, y - 0.8 * u);
    for (size_t i = 0; i < s->line_count; i++)
        y += rlv_sheet_text(sheet, s->line[i], x, y, &how).height_mm + 1.4 * u;
}

static rlv_status draw(rlv_sheet* sheet, const rlv_standing* s, double scale, const rlv_paper* paper, rlv_error* error)
{
    const double u = sheet->unit, top = rlv_title_head(sheet, &s->title),
                 foot = rlv_title_foot_mm(&s->title, sheet->width_mm, u),
                 upper = all_spans(s, RLV_STANDING_FRONT, TALL) * scale,
                 tall = upper + (NAME + BELOW) * u + lower_tall(s, scale, u),
                 air = fmax(sheet->height_mm - top - foot - tall, 0.0),
                 wide = (all_spans(s, RLV_STANDING_FRONT, WIDE) + all_spans(s, RLV_STANDING_SIDE, WIDE)) * scale +
                        2.0 * (LEFT + RIGHT) * u,
                 left = 0.5 * (sheet->width_mm - wide), floor = top + 0.3 * air + NAME * u + upper,
                 lower = floor + BELOW * u + 0.3 * air,
                 front = left + LEFT * u + 0.5 * all_spans(s, RLV_STANDING_FRONT, WIDE) * scale,
                 side = left + wide - RIGHT * u - 0.5 * all_spans(s, RLV_STANDING_SIDE, WIDE) * scale;
    const elevation at[RLV_STANDING_VIEWS] = {
        {s, RLV_STANDING_FRONT, front, floor, scale},
        {s, RLV_STANDING_SIDE, side, floor, scale},
        {s, RLV_STANDING_PLAN, front, lower + NAME * u + all_spans(s, RLV_STANDING_PLAN, TALL) * scale, scale}};
    double pixel_mm = 0.0;
    rlv_status status = RLV_DONE;
    for (int view = 0; view < RLV_STANDING_VIEWS && status == RLV_DONE; view++)
        status = draw_view(sheet, &at[view], &pixel_mm, error);
    draw_words(sheet, s, side - 0.5 * all_spans(s, RLV_STANDING_SIDE, WIDE) * scale, lower + NAME * u, scale);
    rlv_title_foot(sheet, &s->title, paper, scale, pixel_mm);
    return status;
}

rlv_status rlv_sheet_of_standing(rlv_sheet* sheet, const rlv_standing* standing, double* scale, rlv_error* error)
{
    const char** note = NULL;
    rlv_standing noted = *standing;
    double unit;
    memset(sheet, 0, sizeof *sheet);
    if (!(standing->box.length_mm > 0.0) || !(standing->box.width_mm > 0.0) || !(standing->box.height_mm > 0.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the box that it stands in", "a block without a size");
    noted.title = rlv_title_with(&standing->title, false, &note, error);
    if (note == NULL)
        return RLV_SYSTEM;
    const rlv_paper paper = paper_for(&noted, scale, &unit);
    rlv_status status = rlv_sheet_reserve(sheet, paper.width_mm, paper.height_mm, error);
    if (status == RLV_DONE)
    {
        sheet->unit = unit;
        status = draw(sheet, &noted, *scale, &paper, error);
    }
    free(note);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}
