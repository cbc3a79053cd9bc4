#include "panel_parts.h"

#include <math.h>

#define COVERS 0.62 // of the clay beneath an element's tone: relief shows through

static const rlv_stroke of_expected = {RLV_LINE_STRONG, RLV_INK_BLACK, RLV_DASH_EVEN};
static const rlv_stroke of_hidden = {RLV_LINE_MEDIUM, RLV_INK_GREY, RLV_DASH_EVEN};
static const rlv_stroke of_curve = {RLV_LINE_STRONG, RLV_INK_BLACK, RLV_DASH_SECTION};
static const rlv_stroke of_guessed = {RLV_LINE_MEDIUM, RLV_INK_BLACK, RLV_DASH_EVEN};

// A panel while bodies are drawn on it.
typedef struct bodies
{
    rlv_sheet* sheet;
    const rlv_panel* panel;
    double left, top;
} bodies;

static void place(const bodies* on, rlv_vec3 point_mm, double at[2])
{
    rlv_vec3 where = rlv_panel_place(&on->panel->view, point_mm);
    at[0] = on->left + 0.5 * on->panel->width_mm + where.x;
    at[1] = on->top + 0.5 * on->panel->height_mm - where.y;
}

// --- Expected places -------------------------------------------------------------------------------------------------

// The covariance on the page is P covariance P', with P the picture's two axes.
void panel_shadow_square(const rlv_panel* panel, const rlv_panel_expected* of, double flat[2][2])
{
    const rlv_camera_axes* axes = &panel->view.axes;
    const double* c = of->covariance_mm2;
    const rlv_vec3 axis[2] = {axes->right, axes->up};
    for (int i = 0; i < 2; i++)
    {
        rlv_vec3 a = axis[i];
        rlv_vec3 turned = {c[0] * a.x + c[1] * a.y + c[2] * a.z, c[3] * a.x + c[4] * a.y + c[5] * a.z,
                           c[6] * a.x + c[7] * a.y + c[8] * a.z};
        for (int k = 0; k < 2; k++)
            flat[k][i] = rlv_vec3_dot(axis[k], turned) * of->radius2;
    }
}

void panel_shadow(const rlv_panel* panel, const rlv_panel_expected* of, double at[PANEL_STEPS][2])
{
    double flat[2][2];
    panel_shadow_square(panel, of, flat);
    rlv_vec3 middle = rlv_panel_place(&panel->view, of->at_mm);
    for (int k = 0; k < PANEL_STEPS; k++)
    {
        double x = cos(2.0 * G_PI * k / PANEL_STEPS), y = sin(2.0 * G_PI * k / PANEL_STEPS);
        double across = flat[0][0] * x + flat[0][1] * y, upwards = flat[1][0] * x + flat[1][1] * y;
        double length = sqrt(fmax(x * across + y * upwards, 1e-12)), scale = panel->view.scale;
        at[k][0] = 0.5 * panel->width_mm + middle.x + scale * across / length;
        at[k][1] = 0.5 * panel->height_mm - middle.y - scale * upwards / length;
    }
}

static void shadow_on_sheet(const bodies* on, const rlv_panel_expected* of, double at[PANEL_STEPS][2])
{
    panel_shadow(on->panel, of, at);
    for (int k = 0; k < PANEL_STEPS; k++)
    {
        at[k][0] += on->left;
        at[k][1] += on->top;
    }
}

static void ring_path(cairo_t* c, double at[PANEL_STEPS][2])
{
    for (int k = 0; k < PANEL_STEPS; k++)
        cairo_line_to(c, at[k][0], at[k][1]);
    cairo_close_path(c);
}

static double ring_length(double at[PANEL_STEPS][2])
{
    double length = 0.0;
    for (int k = 0; k < PANEL_STEPS; k++)
    {
        const double* next = at[(k + 1) % PANEL_STEPS];
        length += hypot(next[0] - at[k][0], next[1] - at[k][1]);
    }
    return length;
}

static void draw_expected(const bodies* on, const rlv_panel_marks* marks)
{
    cairo_t* c = on->sheet->cairo;
    double at[PANEL_STEPS][2];
    for (size_t i = 0; i < marks->expected_count; i++)
    {
        if (marks->expected[i].vague)
            continue;
        shadow_on_sheet(on, &marks->expected[i], at);
        ring_path(c, at);
        cairo_set_source_rgba(c, 1.0, 1.0, 1.0, marks->expected[i].corridor ? 0.0 : 0.45); // its tint stays in sight
        cairo_fill_preserve(c);
        cairo_set_source_rgba(c, 1.0, 1.0, 1.0, 0.8);
        rlv_sheet_pen(on->sheet, 2.4 * of_expected.line_mm);
        cairo_stroke_preserve(c);
        rlv_stroke_begin_ring(on->sheet, &of_expected, ring_length(at));
        cairo_stroke(c);
        rlv_stroke_end(on->sheet);
    }
}

// --- Elements --------------------------------------------------------------------------------------------------------

void panel_area_extent(const rlv_panel* panel, const rlv_panel_area* area, double middle[2], double half[2])
{
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    for (size_t i = 0; i < area->ring_count; i++)
    {
        rlv_vec3 where = rlv_panel_place(&panel->view, area->ring_mm[i]);
        const double at[2] = {0.5 * panel->width_mm + where.x, 0.5 * panel->height_mm - where.y};
        for (int k = 0; k < 2; k++)
        {
            low[k] = fmin(low[k], at[k]);
            high[k] = fmax(high[k], at[k]);
        }
    }
    for (int k = 0; k < 2; k++)
    {
        middle[k] = 0.5 * (low[k] + high[k]);
        half[k] = fmax(0.5 * (high[k] - low[k]), 1e-6);
    }
}

// Of what the view spans: an outline was recorded on the surface that an element has, and matrix may stand round it.
#define LIFT 0.01

bool panel_hides(const rlv_panel* panel, const rlv_panel_area* area)
{
    double lift_mm = LIFT * hypot(panel->view.span_mm[0], panel->view.span_mm[1]);
    size_t hidden = 0;
    for (size_t i = 0; i < area->ring_count; i++)
    {
        rlv_ray ray = rlv_panel_ray(panel, area->ring_mm[i], lift_mm);
        bool blocked = false;
        rlv_tree_blocked(panel->surface->tree, 1, &ray, &blocked);
        hidden += blocked;
    }
    return 2 * hidden > area->ring_count;
}

static void area_path(const bodies* on, const rlv_panel_area* area)
{
    cairo_new_path(on->sheet->cairo);
    for (size_t i = 0; i < area->ring_count; i++)
    {
        double at[2];
        place(on, area->ring_mm[i], at);
        cairo_line_to(on->sheet->cairo, at[0], at[1]);
    }
    cairo_close_path(on->sheet->cairo);
}

// What belongs to no row is bone as what is in place is, and no less pale: white it would be the brightest thing.
static void fill_area(rlv_sheet* sheet, const rlv_panel_area* area)
{
    const bool no_row = area->state == RLV_UNASSIGNED && area->open == RLV_OPEN_NO_ROW;
    const bool plain = no_row || area->state == RLV_IN_PLACE;
    rlv_state_fill(sheet, no_row ? RLV_IN_PLACE : area->state, COVERS, plain ? RLV_LINE_THIN : RLV_LINE_STRONG);
}

static void draw_areas(const bodies* on, const rlv_panel_marks* marks)
{
    cairo_t* c = on->sheet->cairo;
    for (size_t i = 0; i < marks->area_count; i++)
    {
        const rlv_panel_area* area = &marks->area[i];
        bool hidden = panel_hides(on->panel, area);
        area_path(on, area);
        if (hidden)
        {
            rlv_stroke_begin(on->sheet, &of_hidden);
            cairo_stroke(c);
            rlv_stroke_end(on->sheet);
            continue;
        }
        fill_area(on->sheet, area);
        double middle[2], half[2];
        panel_area_extent(on->panel, area, middle, half);
        if (area->state == RLV_UNASSIGNED)
            rlv_open_symbol(on->sheet, area->open, on->left + middle[0], on->top + middle[1], 2.6 * on->sheet->unit);
    }
}

// From where elements that are seen belonged, to their middles, over all of them.
static void draw_motions(const bodies* on, const rlv_panel_marks* marks)
{
    for (size_t i = 0; i < marks->area_count; i++)
    {
        const rlv_panel_area* area = &marks->area[i];
        double from[2], middle[2], half[2];
        if (area->life_mm == NULL || panel_hides(on->panel, area))
            continue;
        place(on, *area->life_mm, from);
        panel_area_extent(on->panel, area, middle, half);
        double x = on->left + middle[0], y = on->top + middle[1];
        cairo_set_source_rgb(on->sheet->cairo, 1.0, 1.0, 1.0);
        rlv_sheet_line(on->sheet, from[0], from[1], x, y, 3.0 * RLV_LINE_STRONG);
        rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
        rlv_mark_arrow(on->sheet, from[0], from[1], x, y, RLV_LINE_STRONG);
    }
}

static void draw_curves(const bodies* on, const rlv_panel_marks* marks)
{
    cairo_t* c = on->sheet->cairo;
    for (size_t i = 0; i < marks->curve_count; i++)
    {
        const rlv_panel_curve* curve = &marks->curve[i];
        const rlv_stroke* stroke = curve->guessed ? &of_guessed : &of_curve;
        cairo_new_path(c);
        for (size_t k = 0; k < curve->count; k++)
        {
            double at[2];
            place(on, curve->at_mm[k], at);
            cairo_line_to(c, at[0], at[1]);
        }
        cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
        cairo_set_source_rgba(c, 1.0, 1.0, 1.0, 0.75);
        rlv_sheet_pen(on->sheet, 2.6 * stroke->line_mm);
        cairo_stroke_preserve(c);
        rlv_stroke_begin(on->sheet, stroke);
        cairo_stroke(c);
        rlv_stroke_end(on->sheet);
    }
}

enum
{
    OUTLINE = 24 ///< stretches of one outline, at most: labels need it no finer
};

// Every few points of a ring, closed.
static size_t add_ring(rlv_stretch* line, size_t count, double (*at)[2], size_t points)
{
    const size_t every = (points + OUTLINE - 1) / OUTLINE;
    for (size_t i = 0; i < points; i += every)
    {
        const double *from = at[i], *to = at[i + every < points ? i + every : 0];
        line[count++] = (rlv_stretch){{from[0], from[1]}, {to[0], to[1]}};
    }
    return count;
}

static size_t add_area(rlv_stretch* line, size_t count, const bodies* on, const rlv_panel_area* area)
{
    double at[OUTLINE][2], middle[2], half[2], from[2];
    const size_t every = (area->ring_count + OUTLINE - 1) / OUTLINE;
    size_t points = 0;
    for (size_t i = 0; i < area->ring_count; i += every)
        place(on, area->ring_mm[i], at[points++]);
    count = add_ring(line, count, at, points);
    if (area->life_mm == NULL)
        return count;
    panel_area_extent(on->panel, area, middle, half);
    place(on, *area->life_mm, from);
    line[count++] = (rlv_stretch){{from[0], from[1]}, {on->left + middle[0], on->top + middle[1]}};
    return count;
}

// From a place of a corridor to the next: the line that is drawn there.
static bool add_way(rlv_stretch* line, const bodies* on, const rlv_panel_marks* marks, size_t expected)
{
    const rlv_panel_expected *of = &marks->expected[expected], *next = panel_corridor_next(marks, of);
    if (next == NULL)
        return false;
    place(on, of->at_mm, line->from);
    place(on, next->at_mm, line->to);
    return true;
}

size_t panel_body_lines(const rlv_panel* panel, double left_mm, double top_mm, const rlv_panel_marks* marks,
                        rlv_stretch* line, size_t* first)
{
    const bodies on = {NULL, panel, left_mm, top_mm};
    double at[PANEL_STEPS][2];
    size_t count = 0;
    if (line == NULL)
        return (OUTLINE + 1) * (marks->area_count + marks->expected_count);
    for (size_t i = 0; i < marks->area_count; i++)
    {
        first[i] = count;
        if (!panel_hides(panel, &marks->area[i]))
            count = add_area(line, count, &on, &marks->area[i]);
    }
    for (size_t i = 0; i < marks->expected_count; i++)
    {
        first[marks->area_count + i] = count;
        count += add_way(&line[count], &on, marks, i);
        if (marks->expected[i].vague || marks->expected[i].label == NULL)
            continue;
        shadow_on_sheet(&on, &marks->expected[i], at);
        count = add_ring(line, count, at, PANEL_STEPS);
    }
    first[marks->area_count + marks->expected_count] = count;
    return count;
}

void panel_draw_bodies(rlv_sheet* sheet, const rlv_panel* panel, double left_mm, double top_mm,
                       const rlv_panel_marks* marks)
{
    const bodies on = {sheet, panel, left_mm, top_mm};
    cairo_save(sheet->cairo);
    cairo_rectangle(sheet->cairo, left_mm, top_mm, panel->width_mm, panel->height_mm);
    cairo_clip(sheet->cairo);
    panel_draw_corridors(sheet, panel, left_mm, top_mm, marks);
    draw_curves(&on, marks); // beneath plates, whose edges its casing would erase
    draw_areas(&on, marks);
    draw_expected(&on, marks);
    draw_motions(&on, marks);
    cairo_restore(sheet->cairo);
}

// --- The key ---------------------------------------------------------------------------------------------------------

enum
{
    SIGN_EXPECTED,
    SIGN_HIDDEN,
    SIGN_CORRIDOR,
    SIGN_ARROW,
};

static void draw_sign(rlv_sheet* sheet, rlv_box2 box, int which)
{
    cairo_t* c = sheet->cairo;
    double x = box.left + 0.5 * box.width, y = box.top + 0.5 * box.height;
    if (which == SIGN_ARROW)
    {
        rlv_sheet_grey(sheet, RLV_INK_BLACK);
        rlv_mark_arrow(sheet, box.left, y, box.left + box.width, y, RLV_LINE_STRONG);
        return;
    }
    if (which == SIGN_CORRIDOR)
    {
        panel_corridor_sign(sheet, box);
        return;
    }
    rlv_state_path(sheet, RLV_IN_PLACE, x, y, 0.48 * box.width, 0.55 * box.height, 0.0);
    rlv_stroke_begin(sheet, which == SIGN_HIDDEN ? &of_hidden : &of_expected);
    cairo_stroke(c);
    rlv_stroke_end(sheet);
}

static void add_sign(rlv_key* key, int which, const char* words)
{
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_sign, .which = which};
    snprintf(entry.words, sizeof entry.words, "%s", words);
    rlv_key_add(key, &entry);
}

void panel_key_bodies(rlv_key* key, const rlv_panel* panel, const rlv_panel_marks* marks)
{
    bool seen[RLV_ARTICULATION_STATES] = {0}, open[RLV_OPEN_WHYS] = {0}, expected = false, moved = false,
         hidden = panel == NULL && marks->area_count > 0;
    for (size_t i = 0; i < marks->area_count; i++)
    {
        bool out_of_sight = panel != NULL && panel_hides(panel, &marks->area[i]);
        hidden = hidden || out_of_sight;
        moved = moved || (marks->area[i].life_mm != NULL && !out_of_sight);
        if (marks->area[i].state == RLV_UNASSIGNED)
            open[marks->area[i].open] = open[marks->area[i].open] || !out_of_sight;
        else
            seen[marks->area[i].state] = seen[marks->area[i].state] || !out_of_sight;
    }
    for (int i = 0; i < RLV_ARTICULATION_STATES; i++)
        if (seen[i])
        {
            rlv_key_entry entry = rlv_state_key((rlv_articulation_state)i);
            rlv_key_add(key, &entry);
        }
    for (int i = RLV_OPEN_WHYS; i-- > 0;)
        if (open[i])
        {
            rlv_key_entry entry = rlv_open_key((rlv_open_why)i);
            if (i == RLV_OPEN_OFF_ROW && marks->expected_count > 0)
                snprintf(entry.words + strlen(entry.words), sizeof entry.words - strlen(entry.words),
                         " (see the table)");
            rlv_key_add(key, &entry);
        }
    if (hidden)
        add_sign(key, SIGN_HIDDEN, "element that is hidden from here");
    for (size_t i = 0; i < marks->expected_count; i++)
        expected = expected || !marks->expected[i].vague;
    if (expected)
        add_sign(key, SIGN_EXPECTED, "place (pl.) without an element, with 95" RLV_THIN "% of where it may be");
    if (panel_has_corridors(marks))
        add_sign(key, SIGN_CORRIDOR,
                 "beyond a row’s last element: likelier where stronger, a tick a place; dots: 95 %");
    for (size_t i = 0; i < marks->curve_count; i++)
    {
        if (marks->curve[i].words == NULL)
            continue;
        rlv_key_entry entry = {.kind = RLV_KEY_LINE, .stroke = marks->curve[i].guessed ? of_guessed : of_curve};
        snprintf(entry.words, sizeof entry.words, "%s", marks->curve[i].words);
        rlv_key_add(key, &entry);
    }
    if (moved)
        add_sign(key, SIGN_ARROW, "from a life position to its element");
}
