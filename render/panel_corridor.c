#include "panel_parts.h"

#include "contour.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// Bluish green of the states' palette (state.h), which no state has; and darker, of the line through the middles.
static const rlv_rgb of_tint = {0.0f, 0.620f, 0.451f};
static const rlv_rgb of_line = {0.0f, 0.330f, 0.240f};
#define VEIL 0.6 // of the clay that a corridor covers in the middle of its narrowest place
#define TICK_MM 1.3

/// An expected place as it is swept along its corridor: the tint at a point is `strength` (1 - q)^2 where q, which is 1
/// at the edge of the shadow of its 95 % region, is below that.
typedef struct swept
{
    double at[2];      // mm from the panel's upper left corner, y downwards
    double square[3];  // of the shadow, mm2 on paper: across, across and down, down
    double inverse[3]; // of it
    double width, strength;
} swept;

typedef struct sweep
{
    size_t count;
    swept* one;
} sweep;

static double width_of(const rlv_panel_expected* of)
{
    return sqrt(of->radius2 * (of->covariance_mm2[0] + of->covariance_mm2[4] + of->covariance_mm2[8]));
}

const rlv_panel_expected* panel_corridor_next(const rlv_panel_marks* marks, const rlv_panel_expected* of)
{
    const rlv_panel_expected* other = of + 1;
    bool goes_on = of->corridor && (size_t)(other - marks->expected) < marks->expected_count && other->corridor &&
                   other->row == of->row && other->place == of->place + 1;
    return goes_on ? other : NULL;
}

static bool begins(const rlv_panel_marks* marks, const rlv_panel_expected* of)
{
    return of->corridor && (of == marks->expected || !(of - 1)->corridor || panel_corridor_next(marks, of - 1) == NULL);
}

static swept swept_of(const rlv_panel* panel, const rlv_panel_expected* of)
{
    swept s = {.width = width_of(of)};
    double flat[2][2];
    const double k = panel->view.scale * panel->view.scale;
    rlv_vec3 middle = rlv_panel_place(&panel->view, of->at_mm);
    panel_shadow_square(panel, of, flat);
    s.at[0] = 0.5 * panel->width_mm + middle.x;
    s.at[1] = 0.5 * panel->height_mm - middle.y;
    s.square[0] = k * flat[0][0];
    s.square[1] = -k * flat[0][1];
    s.square[2] = k * flat[1][1];
    return s;
}

static double between(double a, double b, double share)
{
    return a + share * (b - a);
}

static swept between_two(const swept* a, const swept* b, double share)
{
    swept s = {.at = {between(a->at[0], b->at[0], share), between(a->at[1], b->at[1], share)},
               .width = between(a->width, b->width, share)};
    for (int i = 0; i < 3; i++)
        s.square[i] = between(a->square[i], b->square[i], share);
    return s;
}

// Half of the shorter axis of a shadow, mm.
static double thinnest(const swept* s)
{
    double mean = 0.5 * (s->square[0] + s->square[2]), apart = 0.5 * (s->square[0] - s->square[2]);
    return sqrt(fmax(mean - hypot(apart, s->square[1]), 1e-6));
}

#define FINE 8.0 // steps on the way of half an axis: the tint then waves by a hundredth of itself at most
#define LEAST_STEPS 4.0
#define MOST_STEPS 64.0

static size_t steps_between(const swept* a, const swept* b)
{
    double way = hypot(b->at[0] - a->at[0], b->at[1] - a->at[1]);
    return (size_t)fmin(fmax(ceil(FINE * way / fmin(thinnest(a), thinnest(b))), LEAST_STEPS), MOST_STEPS);
}

// The tint goes with one over the root of the width: less and less is said of more and more room, and it is still seen
// how far.
static void add(sweep* into, swept s, double narrowest)
{
    double most = s.square[0] * s.square[2], least = 1e-9 * most;
    double determinant = fmax(most - s.square[1] * s.square[1], least);
    s.inverse[0] = s.square[2] / determinant;
    s.inverse[1] = -s.square[1] / determinant;
    s.inverse[2] = s.square[0] / determinant;
    s.strength = VEIL * sqrt(narrowest / s.width);
    if (determinant > 0.0)
        into->one[into->count++] = s;
}

// One corridor, from the first of its places on.
static void sweep_one(sweep* into, const rlv_panel* panel, const rlv_panel_marks* marks,
                      const rlv_panel_expected* first)
{
    double narrowest = INFINITY;
    for (const rlv_panel_expected* of = first; of != NULL; of = panel_corridor_next(marks, of))
        narrowest = fmin(narrowest, width_of(of));
    for (const rlv_panel_expected *of = first, *next; of != NULL; of = next)
    {
        const swept here = swept_of(panel, of);
        add(into, here, narrowest);
        if ((next = panel_corridor_next(marks, of)) == NULL)
            break;
        const swept there = swept_of(panel, next);
        const size_t steps = steps_between(&here, &there);
        for (size_t i = 1; i < steps; i++)
            add(into, between_two(&here, &there, (double)i / (double)steps), narrowest);
    }
}

// The strongest tint in each pixel of a row.
static void tint_row(float* tint, const sweep* all, const rlv_picture* picture, size_t row)
{
    const double y = ((double)row + 0.5) * picture->pixel_mm;
    for (size_t i = 0; i < all->count; i++)
    {
        const swept* s = &all->one[i];
        double down = y - s->at[1], reach = sqrt(s->square[0]);
        if (down * down >= s->square[2])
            continue;
        double low = floor((s->at[0] - reach) / picture->pixel_mm), high = ceil((s->at[0] + reach) / picture->pixel_mm);
        size_t end = (size_t)fmin(fmax(high, 0.0), (double)picture->width);
        for (size_t x = (size_t)fmax(low, 0.0); x < end; x++)
        {
            double across = ((double)x + 0.5) * picture->pixel_mm - s->at[0];
            double q =
                across * across * s->inverse[0] + 2.0 * across * down * s->inverse[1] + down * down * s->inverse[2];
            if (q < 1.0)
                tint[x] = fmaxf(tint[x], (float)(s->strength * (1.0 - q) * (1.0 - q)));
        }
    }
}

// Whether the surface is seen in a pixel of the panel: of rock that is not there nothing is said.
static bool is_seen(const rlv_cast* cast, size_t x, size_t y)
{
    bool within = x >= cast->left && y >= cast->top && x - cast->left < cast->width && y - cast->top < cast->height;
    return within && cast->triangle[(y - cast->top) * cast->width + x - cast->left] != RLV_TREE_NONE;
}

static void put_row(rlv_picture* picture, const rlv_cast* cast, const float* tint, size_t row)
{
    const float colour[3] = {of_tint.r, of_tint.g, of_tint.b};
    for (size_t x = 0; x < picture->width; x++)
    {
        uint8_t* pixel = picture->rgb + 3 * (row * picture->width + x);
        if (tint[x] > 0.0f && is_seen(cast, x, row))
            for (int k = 0; k < 3; k++)
                pixel[k] = (uint8_t)lroundf((float)pixel[k] + tint[x] * (255.0f * colour[k] - (float)pixel[k]));
    }
}

bool panel_has_corridors(const rlv_panel_marks* marks)
{
    for (size_t i = 0; i < marks->expected_count; i++)
        if (marks->expected[i].corridor)
            return true;
    return false;
}

#define EDGE_CALM_PX 1.5

// The border of the pixels that are tinted.
static rlv_status find_edge(rlv_lines* edge, const rlv_picture* picture, const rlv_cast* cast, const float* tint,
                            rlv_error* error)
{
    uint8_t* in = rlv_reserve(picture->width * picture->height, 1, error);
    if (in == NULL)
        return RLV_SYSTEM;
    for (size_t y = 0; y < picture->height; y++)
        for (size_t x = 0; x < picture->width; x++)
            in[y * picture->width + x] = tint[y * picture->width + x] > 0.0f && is_seen(cast, x, y);
    rlv_status status = rlv_contour_set(edge, picture->width, picture->height, in, EDGE_CALM_PX, error);
    free(in);
    return status;
}

rlv_status panel_tint_corridors(rlv_picture* picture, rlv_lines* edge, const rlv_panel* panel,
                                const rlv_panel_marks* marks, rlv_error* error)
{
    const rlv_picture* from = &panel->picture;
    const size_t most = marks->expected_count * ((size_t)MOST_STEPS + 1);
    sweep all = {0, rlv_reserve(most, sizeof *all.one, error)};
    float* tint = all.one != NULL ? rlv_reserve(from->width * from->height, sizeof *tint, error) : NULL;
    rlv_status status =
        tint != NULL ? rlv_picture_reserve(picture, from->width, from->height, from->pixel_mm, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        memcpy(picture->rgb, from->rgb, 3 * from->width * from->height);
        for (size_t i = 0; i < marks->expected_count; i++)
            if (begins(marks, &marks->expected[i]))
                sweep_one(&all, panel, marks, &marks->expected[i]);
#pragma omp parallel for schedule(dynamic, 16)
        for (size_t y = 0; y < from->height; y++)
        {
            tint_row(tint + y * from->width, &all, from, y);
            put_row(picture, panel->cast, tint + y * from->width, y);
        }
        status = find_edge(edge, from, panel->cast, tint, error);
    }
    free(tint);
    free(all.one);
    return status;
}

static const rlv_stroke of_corridor_edge = {RLV_LINE_MEDIUM, RLV_INK_BLACK, RLV_DASH_DOTS};

void panel_draw_corridor_edge(rlv_sheet* sheet, const rlv_lines* edge, double left_mm, double top_mm, double pixel_mm)
{
    rlv_stroke_begin(sheet, &of_corridor_edge);
    rlv_sheet_path(sheet, edge, left_mm, top_mm, pixel_mm);
    cairo_stroke(sheet->cairo);
    rlv_stroke_end(sheet);
}

// --- The line through the middles ------------------------------------------------------------------------------------

// Twice: white and wider, that it is told apart from relief, and as it is.
static void stroke_line(rlv_sheet* sheet, double line_mm)
{
    cairo_set_source_rgba(sheet->cairo, 1.0, 1.0, 1.0, 0.6);
    rlv_sheet_pen(sheet, 3.0 * line_mm);
    cairo_stroke_preserve(sheet->cairo);
    rlv_sheet_colour(sheet, of_line);
    rlv_sheet_pen(sheet, line_mm);
    cairo_stroke(sheet->cairo);
}

// A tick at a place, across the way from the place before it to the one behind it.
static void tick(cairo_t* c, const double at[2], double x, double y, double half)
{
    double length = hypot(x, y);
    if (!(length > 0.0))
        return;
    cairo_move_to(c, at[0] - half * y / length, at[1] + half * x / length);
    cairo_line_to(c, at[0] + half * y / length, at[1] - half * x / length);
}

void panel_draw_corridors(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                          const rlv_panel_marks* marks)
{
    cairo_t* c = sheet->cairo;
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    for (size_t i = 0; i < marks->expected_count; i++)
    {
        const rlv_panel_expected* first = &marks->expected[i];
        if (!begins(marks, first))
            continue;
        swept before = swept_of(panel, first), here = before, behind;
        for (const rlv_panel_expected *of = first, *next; of != NULL; of = next, before = here, here = behind)
        {
            next = panel_corridor_next(marks, of);
            behind = next != NULL ? swept_of(panel, next) : here;
            const double at[2] = {left_mm + here.at[0], top_mm + here.at[1]};
            if (next != NULL)
            {
                cairo_move_to(c, at[0], at[1]);
                cairo_line_to(c, left_mm + behind.at[0], top_mm + behind.at[1]);
            }
            if (of->vague)
                tick(c, at, behind.at[0] - before.at[0], behind.at[1] - before.at[1], 0.5 * TICK_MM * sheet->unit);
        }
        stroke_line(sheet, RLV_LINE_THIN);
    }
}

void panel_corridor_sign(rlv_sheet* sheet, rlv_box2 box)
{
    enum
    {
        TICKS = 3
    };
    cairo_t* c = sheet->cairo;
    const double y = box.top + 0.5 * box.height;
    cairo_pattern_t* fade = cairo_pattern_create_radial(0.0, 0.0, 0.0, 0.0, 0.0, 1.0);
    for (int i = 0; i <= 8; i++)
    {
        double at = i / 8.0, left = 1.0 - at * at;
        cairo_pattern_add_color_stop_rgba(fade, at, (double)of_tint.r, (double)of_tint.g, (double)of_tint.b,
                                          VEIL * left * left);
    }
    cairo_save(c);
    cairo_translate(c, box.left + 0.5 * box.width, y);
    cairo_scale(c, 0.55 * box.width, 0.75 * box.height);
    cairo_arc(c, 0.0, 0.0, 1.0, 0.0, 2.0 * G_PI);
    cairo_set_source(c, fade);
    cairo_fill_preserve(c);
    cairo_restore(c);
    cairo_pattern_destroy(fade);
    rlv_stroke_begin(sheet, &of_corridor_edge);
    cairo_stroke(c);
    rlv_stroke_end(sheet);
    cairo_move_to(c, box.left, y);
    cairo_line_to(c, box.left + box.width, y);
    for (int i = 0; i < TICKS; i++)
    {
        const double at[2] = {box.left + box.width * (i + 0.5) / TICKS, y};
        tick(c, at, 1.0, 0.0, 0.5 * TICK_MM * sheet->unit);
    }
    stroke_line(sheet, RLV_LINE_THIN);
}
