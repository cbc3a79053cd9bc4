#include "net.h"

#include "state.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define RADIUS 51.0
#define RIM 9.0    // round it: letters, and the dots of a rose
#define APART 10.0 // between dials
#define NAME 8.0   // over a dial
#define LINE 3.7   // beneath it
#define AIR 5.0
#define SIGN 2.5    // across a direction's sign
#define CORNER 0.8  // of it, from its middle to the lowest corner of a triangle
#define DOT 0.9     // across an azimuth's dot
#define OUTSIDE 2.0 // of the rim, an arc of a current
#define BEYOND 4.4  // the same beyond the dots of a rose, which stand in four rows
#define INSIDE 5.0  // of the rim, an arc of a range: within the heads of arrows and the interval of the mean

static const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK};
static const rlv_lettering quiet = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY};
static const rlv_lettering over = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .halo_mm = 0.5};
static const rlv_lettering letters = {.size_mm = RLV_LETTER_PLAIN, .grey = RLV_INK_BLACK, .share = 0.5};

// --- Where directions fall -------------------------------------------------------------------------------------------

bool rlv_net_place(const rlv_compass* compass, rlv_vec3 direction, double radius, double at[2])
{
    rlv_vec3 unit = rlv_vec3_unit(direction);
    double up = rlv_vec3_dot(unit, compass->up);
    bool down = up <= 1e-12;
    double sense = down ? 1.0 : -1.0;
    double east = sense * rlv_vec3_dot(unit, compass->east), north = sense * rlv_vec3_dot(unit, compass->north);
    // sqrt(2) sin(45 - P / 2) is the root of 1 - sin P; the level part has length cos P.
    double level = hypot(east, north), reach = radius * sqrt(fmax(1.0 - fabs(up), 0.0));
    at[0] = level > 0.0 ? reach * east / level : 0.0;
    at[1] = level > 0.0 ? -reach * north / level : 0.0;
    return down;
}

double rlv_rose_width_deg(size_t count)
{
    return count < 24 ? 30.0 : count < 60 ? 20.0 : 10.0;
}

bool rlv_rose_has_petals(size_t count)
{
    return count >= 5;
}

void rlv_rose_count(size_t count, const double* azimuth_deg, double width_deg, size_t* petal)
{
    size_t petals = (size_t)(360.0 / width_deg + 0.5);
    memset(petal, 0, petals * sizeof *petal);
    for (size_t i = 0; i < count; i++)
    {
        double azimuth = fmod(azimuth_deg[i], 360.0);
        azimuth = azimuth < 0.0 ? azimuth + 360.0 : azimuth;
        petal[(size_t)(azimuth / width_deg) % petals]++;
    }
}

double rlv_rose_radius(size_t count, size_t most, double radius)
{
    return most > 0 ? radius * sqrt((double)count / (double)most) : 0.0;
}

// --- Strokes and signs -----------------------------------------------------------------------------------------------

// Of a level bedding the curve runs along the rim: a broad grey one beside a thin black one is seen.
static const rlv_stroke of_rim = {RLV_LINE_THIN, RLV_INK_BLACK, RLV_DASH_NONE};
static const rlv_stroke of_bedding = {RLV_LINE_HEAVY, RLV_INK_GREY, RLV_DASH_EVEN};
static const rlv_stroke of_cone = {RLV_LINE_STRONG, RLV_INK_BLACK, RLV_DASH_NONE};
static const rlv_stroke of_cone_above = {RLV_LINE_STRONG, RLV_INK_BLACK, RLV_DASH_EVEN};

static const rlv_stroke of_likely = {RLV_LINE_STRONG, RLV_INK_BLACK, RLV_DASH_EVEN};

static const rlv_rgb of_petal = {0.62f, 0.735f, 0.80f};

enum
{
    SIGN_MEAN,
    SIGN_MEAN_ABOVE,
    SIGN_POLE,
    SIGN_AXIS,
    SIGN_AZIMUTH,
    SIGN_ARROW,
    SIGN_SPREAD,
    SIGN_LIKELY,
    SIGN_CURRENT,
    SIGN_RANGE,
    SIGN_ABOVE, ///< and a state
};

// A state's shape, open.
static void draw_open(rlv_sheet* sheet, rlv_articulation_state state, double x, double y, double size)
{
    rlv_state_path(sheet, state, x, y, 0.5 * size, 0.5 * size, 0.0);
    cairo_set_source_rgb(sheet->cairo, 1.0, 1.0, 1.0);
    cairo_fill_preserve(sheet->cairo);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_pen(sheet, RLV_LINE_MEDIUM);
    cairo_stroke(sheet->cairo);
}

// Two rings, the inner one full where the mean points down.
static void draw_mean(rlv_sheet* sheet, double x, double y, bool down)
{
    cairo_t* c = sheet->cairo;
    const double u = sheet->unit;
    cairo_arc(c, x, y, 1.9 * u, 0.0, 2.0 * G_PI);
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_fill_preserve(c);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_pen(sheet, RLV_LINE_STRONG);
    cairo_stroke(c);
    rlv_mark_symbol(sheet, down ? RLV_SYMBOL_DISC : RLV_SYMBOL_RING, x, y, 1.7 * u);
}

static void draw_pole(rlv_sheet* sheet, double x, double y)
{
    const double half = 1.6 * sheet->unit;
    rlv_sheet_grey(sheet, RLV_INK_GREY);
    rlv_sheet_line(sheet, x - half, y, x + half, y, RLV_LINE_HEAVY);
    rlv_sheet_line(sheet, x, y - half, x, y + half, RLV_LINE_HEAVY);
}

static void draw_principal(rlv_sheet* sheet, double x, double y)
{
    const double half = 1.25 * sheet->unit;
    cairo_rectangle(sheet->cairo, x - half, y - half, 2.0 * half, 2.0 * half);
    cairo_set_source_rgb(sheet->cairo, 1.0, 1.0, 1.0);
    cairo_fill_preserve(sheet->cairo);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_pen(sheet, RLV_LINE_STRONG);
    cairo_stroke(sheet->cairo);
    rlv_mark_symbol(sheet, RLV_SYMBOL_CROSS, x, y, 1.6 * sheet->unit);
}

// A dashed arrow with an open head.
static void draw_likely(rlv_sheet* sheet, const double from[2], const double to[2])
{
    const double way = atan2(to[1] - from[1], to[0] - from[0]), head = 2.4 * sheet->unit;
    rlv_stroke_begin(sheet, &of_likely);
    rlv_sheet_line(sheet, from[0], from[1], to[0], to[1], of_likely.line_mm);
    rlv_stroke_end(sheet);
    for (int side = -1; side <= 1; side += 2)
        rlv_sheet_line(sheet, to[0], to[1], to[0] - head * cos(way + 0.35 * side),
                       to[1] - head * sin(way + 0.35 * side), of_likely.line_mm);
}

// Of an arc, straight: a current's with its mark, a range's fine.
static void draw_arc_sign(rlv_sheet* sheet, rlv_box2 box, bool current)
{
    const double u = sheet->unit, y = box.top + 0.5 * box.height, line_mm = current ? RLV_LINE_HEAVY : RLV_LINE_THIN;
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_line(sheet, box.left, y, box.left + box.width, y, line_mm);
    for (int i = 0; i < 2; i++)
        rlv_sheet_line(sheet, box.left + i * box.width, y - 0.7 * u, box.left + i * box.width, y + 0.7 * u, line_mm);
    if (current)
        rlv_mark_symbol(sheet, RLV_SYMBOL_DISC, box.left + 0.5 * box.width, y, 1.6 * u);
}

static void draw_sign(rlv_sheet* sheet, rlv_box2 box, int which)
{
    const double u = sheet->unit;
    double x = box.left + 0.5 * box.width, y = box.top + 0.5 * box.height;
    if (which >= SIGN_ABOVE)
        draw_open(sheet, (rlv_articulation_state)(which - SIGN_ABOVE), x, y, SIGN * u);
    else if (which == SIGN_MEAN || which == SIGN_MEAN_ABOVE)
        draw_mean(sheet, x, y, which == SIGN_MEAN);
    else if (which == SIGN_POLE)
        draw_pole(sheet, x, y);
    else if (which == SIGN_AXIS)
        draw_principal(sheet, x, y);
    else if (which == SIGN_AZIMUTH || which == SIGN_ARROW)
    {
        rlv_sheet_grey(sheet, RLV_INK_BLACK);
        if (which == SIGN_ARROW)
            rlv_mark_arrow(sheet, box.left, y, box.left + box.width, y, RLV_LINE_STRONG);
        else
            rlv_mark_symbol(sheet, RLV_SYMBOL_DISC, x, y, DOT * u);
    }
    else if (which == SIGN_LIKELY)
        draw_likely(sheet, (double[2]){box.left, y}, (double[2]){box.left + box.width, y});
    else if (which == SIGN_CURRENT || which == SIGN_RANGE)
        draw_arc_sign(sheet, box, which == SIGN_CURRENT);
    else
    {
        rlv_sheet_grey(sheet, RLV_INK_BLACK);
        rlv_sheet_line(sheet, box.left, y, box.left + box.width, y, RLV_LINE_HEAVY);
        for (int i = 0; i < 2; i++)
            rlv_sheet_line(sheet, box.left + i * box.width, y - 0.8 * u, box.left + i * box.width, y + 0.8 * u,
                           RLV_LINE_HEAVY);
        rlv_mark_arrow(sheet, x, y + 1.8 * u, x, y - 0.2 * u, RLV_LINE_STRONG);
    }
}

static void add_sign(rlv_key* key, int which, const char* words)
{
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_sign, .which = which};
    snprintf(entry.words, sizeof entry.words, "%s", words);
    rlv_key_add(key, &entry);
}

static void add_line(rlv_key* key, rlv_stroke stroke, const char* words)
{
    rlv_key_entry entry = {.kind = RLV_KEY_LINE, .stroke = stroke};
    snprintf(entry.words, sizeof entry.words, "%s", words);
    rlv_key_add(key, &entry);
}

// --- A dial ----------------------------------------------------------------------------------------------------------

// A dial on its page: the middle and the radius in mm.
typedef struct dial
{
    rlv_sheet* sheet;
    const rlv_net_sheet* of;
    double x, y, radius;
} dial;

static void polar(const dial* on, double azimuth_deg, double reach, double at[2])
{
    double angle = azimuth_deg * G_PI / 180.0;
    at[0] = on->x + reach * sin(angle);
    at[1] = on->y - reach * cos(angle);
}

// The rim with its ticks and letters; spokes every 30 degrees.
static void draw_rim(const dial* on)
{
    static const char* const compass[4] = {"N", "E", "S", "W"};
    static const char* const axes[4] = {"+y", "+x", "\xe2\x88\x92y", "\xe2\x88\x92x"};
    const double u = on->sheet->unit;
    cairo_t* c = on->sheet->cairo;
    double a[2], b[2];
    rlv_sheet_grey(on->sheet, RLV_INK_RULE);
    for (int k = 0; k < 12; k++)
    {
        polar(on, 30.0 * k, on->radius, a);
        rlv_sheet_line(on->sheet, on->x, on->y, a[0], a[1], RLV_LINE_HAIR);
    }
    rlv_stroke_begin(on->sheet, &of_rim);
    cairo_arc(c, on->x, on->y, on->radius, 0.0, 2.0 * G_PI);
    cairo_stroke(c);
    rlv_stroke_end(on->sheet);
    for (int k = 0; k < 36; k++)
    {
        polar(on, 10.0 * k, on->radius, a);
        polar(on, 10.0 * k, on->radius - (k % 3 == 0 ? 1.8 : 0.9) * u, b);
        rlv_sheet_line(on->sheet, a[0], a[1], b[0], b[1], RLV_LINE_THIN);
    }
    double cap = rlv_sheet_measure(on->sheet, "N", &letters).cap_mm;
    for (int k = 0; k < 4; k++)
    {
        rlv_lettering how = letters;
        how.bold = k == 0;
        polar(on, 90.0 * k, on->radius + (RIM - 2.6) * u, a);
        rlv_sheet_text(on->sheet, on->of->north_known ? compass[k] : axes[k], a[0], a[1] + 0.5 * cap, &how);
    }
}

// Circles of plunge 30 and 60 degrees.
static void draw_plunges(const dial* on)
{
    double cap = rlv_sheet_measure(on->sheet, "0", &quiet).cap_mm;
    for (int k = 1; k <= 2; k++)
    {
        double reach = on->radius * sqrt(2.0) * sin((45.0 - 15.0 * k) * G_PI / 180.0), at[2];
        rlv_sheet_grey(on->sheet, RLV_INK_RULE);
        rlv_sheet_pen(on->sheet, RLV_LINE_HAIR);
        cairo_arc(on->sheet->cairo, on->x, on->y, reach, 0.0, 2.0 * G_PI);
        cairo_stroke(on->sheet->cairo);
        char words[16];
        snprintf(words, sizeof words, "%d\xc2\xb0", 30 * k);
        rlv_lettering how = quiet;
        how.share = 0.5;
        how.halo_mm = 0.5;
        polar(on, 15.0, reach, at);
        rlv_sheet_text(on->sheet, words, at[0], at[1] + 0.5 * cap, &how);
    }
}

// A curve of directions, from degree to degree: where it points down (`below`) or where its opposite does.
typedef rlv_vec3 (*curve_at)(const void* of, double degree);

static void draw_curve(const dial* on, curve_at at, const void* of, bool below, const rlv_stroke* how)
{
    cairo_t* c = on->sheet->cairo;
    bool drawing = false;
    cairo_new_path(c);
    for (int k = 0; k <= 720; k++)
    {
        double place[2];
        bool down = rlv_net_place(&on->of->compass, at(of, 0.5 * k), on->radius, place);
        if (down != below)
        {
            drawing = false;
            continue;
        }
        if (drawing)
            cairo_line_to(c, on->x + place[0], on->y + place[1]);
        else
            cairo_move_to(c, on->x + place[0], on->y + place[1]);
        drawing = true;
    }
    rlv_stroke_begin(on->sheet, how);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    cairo_stroke(c);
    rlv_stroke_end(on->sheet);
}

// A circle about an axis, at an angle from it.
typedef struct cone
{
    rlv_vec3 axis;
    double half_rad;
} cone;

static rlv_vec3 cone_at(const void* of, double degree)
{
    const cone* round = of;
    rlv_vec3 axis = rlv_vec3_unit(round->axis), a = rlv_vec3_across(axis), b = rlv_vec3_cross(axis, a);
    double angle = degree * G_PI / 180.0, across = sin(round->half_rad);
    rlv_vec3 at = rlv_vec3_scale(axis, cos(round->half_rad));
    return rlv_vec3_along(rlv_vec3_along(at, across * cos(angle), a), across * sin(angle), b);
}

static bool has_cone(const rlv_net* net)
{
    return net->mean != NULL && net->cone_deg > 0.0 && net->cone_deg < 90.0;
}

// Whether a cone reaches over the horizon, or lies above it, in part.
static bool cone_sides(const rlv_compass* compass, const rlv_net* net, bool below)
{
    if (!has_cone(net))
        return false;
    double plunge = asin(fmin(fmax(-rlv_vec3_dot(*net->mean, compass->up), -1.0), 1.0)) * 180.0 / G_PI;
    return below ? plunge > -net->cone_deg : plunge < net->cone_deg;
}

static void draw_bedding(const dial* on)
{
    const cone level = {*on->of->bedding, 0.5 * G_PI};
    double at[2];
    draw_curve(on, cone_at, &level, true, &of_bedding);
    rlv_net_place(&on->of->compass, *on->of->bedding, on->radius, at);
    draw_pole(on->sheet, on->x + at[0], on->y + at[1]);
}

static void draw_point(const dial* on, const rlv_net* net, const rlv_net_point* point)
{
    const double size = SIGN * on->sheet->unit;
    double at[2];
    bool down = rlv_net_place(&on->of->compass, point->way, on->radius, at);
    const double x = on->x + at[0], y = on->y + at[1];
    if (net->directed && !down)
        draw_open(on->sheet, point->state, x, y, size);
    else if (point->state == RLV_UNASSIGNED)
        rlv_open_symbol(on->sheet, point->open, x, y, size);
    else
        rlv_state_symbol(on->sheet, point->state, x, y, size);
}

// Those that left their places over those that did not, which are many.
static void draw_points(const dial* on, const rlv_net* net)
{
    for (int displaced = 0; displaced < 2; displaced++)
        for (size_t i = 0; i < net->count; i++)
            if ((net->point[i].state != RLV_IN_PLACE) == (displaced == 1))
                draw_point(on, net, &net->point[i]);
}

// The axes of the tensor, beneath the directions that it is of: they lie among those, and would cover their signs.
static void draw_axes(const dial* on, const rlv_net* net)
{
    double at[2];
    for (int k = 0; k < 3 && net->tensor != NULL; k++)
    {
        rlv_net_place(&on->of->compass, net->tensor->axis[k], on->radius, at);
        draw_principal(on->sheet, on->x + at[0], on->y + at[1]);
    }
}

static void draw_summary(const dial* on, const rlv_net* net)
{
    double at[2];
    if (has_cone(net))
    {
        const cone round = {*net->mean, net->cone_deg * G_PI / 180.0};
        draw_curve(on, cone_at, &round, true, &of_cone);
        draw_curve(on, cone_at, &round, false, &of_cone_above);
    }
    if (net->mean != NULL)
    {
        bool down = rlv_net_place(&on->of->compass, *net->mean, on->radius, at);
        draw_mean(on->sheet, on->x + at[0], on->y + at[1], down);
    }
}

static void print_labels(const dial* on, size_t count, const rlv_label* label, const char* const* text)
{
    for (size_t i = 0; i < count; i++)
    {
        if (!label[i].placed)
            continue;
        rlv_lettering how = over;
        how.share = 0.5;
        rlv_mark_leader(on->sheet, &label[i]);
        double cap = rlv_sheet_measure(on->sheet, text[i], &how).cap_mm;
        rlv_sheet_text(on->sheet, text[i], label[i].left + 0.5 * label[i].width,
                       label[i].top + 0.5 * (label[i].height + cap), &how);
    }
}

// Labels of points, and of the three axes; signs are kept clear.
static rlv_status label_net(const dial* on, const rlv_net* net, size_t* left_out, rlv_error* error)
{
    static const char* const principal[3] = {"S1", "S2", "S3"};
    const double u = on->sheet->unit;
    size_t most = net->count + 5, count = 0;
    rlv_label* label = rlv_reserve(most, sizeof *label, error);
    const char** text = rlv_reserve(most, sizeof *text, error);
    rlv_box2* sign = rlv_reserve(most, sizeof *sign, error);
    bool held = label != NULL && text != NULL && sign != NULL;
    size_t signs = 0, axes = net->tensor != NULL ? 3 : 0;
    for (size_t i = 0; held && i < net->count + axes; i++)
    {
        bool axis = i >= net->count;
        double at[2], half = (axis ? 1.4 : net->point[i].state == RLV_INVERTED ? CORNER * SIGN : 0.55 * SIGN) * u;
        rlv_net_place(&on->of->compass, axis ? net->tensor->axis[i - net->count] : net->point[i].way, on->radius, at);
        at[0] += on->x;
        at[1] += on->y;
        sign[signs++] = (rlv_box2){at[0] - half, at[1] - half, 2.0 * half, 2.0 * half};
        text[count] = axis ? principal[i - net->count] : net->point[i].label;
        if (text[count] == NULL)
            continue;
        rlv_text_size size = rlv_sheet_measure(on->sheet, text[count], &over);
        label[count++] = (rlv_label){.anchor = {at[0], at[1]},
                                     .width = size.width_mm + 0.5 * u,
                                     .height = size.cap_mm + 1.0 * u,
                                     .clear = half + 0.3 * u};
    }
    if (held)
    {
        double reach = on->radius + 1.0 * u;
        const rlv_box2 within = {on->x - reach, on->y - reach, 2.0 * reach, 2.0 * reach};
        const rlv_label_place among = {within, signs, sign, .gap = 0.3 * u};
        *left_out += rlv_labels_place(count, label, &among);
    }
    if (held)
        print_labels(on, count, label, text);
    free(label);
    free(text);
    free(sign);
    return held ? RLV_DONE : RLV_SYSTEM;
}

static void put_words(const dial* on, const char* name, const char* words)
{
    const double u = on->sheet->unit;
    rlv_lettering how = {.size_mm = RLV_LETTER_PLAIN, .grey = RLV_INK_BLACK, .bold = true};
    double left = on->x - on->radius;
    rlv_sheet_text(on->sheet, name, left, on->y - on->radius - (RIM + 2.6) * u, &how);
    how = small;
    how.width_mm = 2.0 * on->radius + 0.5 * APART * u;
    how.most_lines = RLV_NET_LINES;
    if (words != NULL)
        rlv_sheet_text(on->sheet, words, left, on->y + on->radius + (RIM + 3.0) * u, &how);
}

static rlv_status draw_net(const dial* on, const rlv_net* net, size_t* left_out, rlv_error* error)
{
    draw_plunges(on);
    draw_rim(on);
    if (on->of->bedding != NULL)
        draw_bedding(on);
    draw_axes(on, net);
    draw_points(on, net);
    draw_summary(on, net);
    put_words(on, net->name, net->words);
    return label_net(on, net, left_out, error);
}

// --- A rose ----------------------------------------------------------------------------------------------------------

enum
{
    RIM_SIDES = 72, ///< stretches of the rim, which names keep off
    ARC_SIDES = 24, ///< of an arc
};

// How far from the middle an arc is drawn.
static double arc_reach(const dial* on, const rlv_rose* rose, const rlv_rose_arc* arc)
{
    const double off = !arc->current ? -INSIDE : rlv_rose_has_petals(rose->count) ? BEYOND : OUTSIDE;
    return on->radius + off * on->sheet->unit;
}

// What names never touch: the letters of the compass, and the arcs, ARC_SIDES boxes each.
static void lay_obstacles(rlv_box2* box, const dial* on, const rlv_rose* rose)
{
    const double u = on->sheet->unit;
    double at[2], next[2];
    for (int k = 0; k < 4; k++)
    {
        polar(on, 90.0 * k, on->radius + (RIM - 2.6) * u, at);
        *box++ = (rlv_box2){at[0] - 2.2 * u, at[1] - 2.2 * u, 4.4 * u, 4.4 * u};
    }
    for (size_t i = 0; i < rose->arc_count; i++)
        for (int k = 0; k < ARC_SIDES; k++)
        {
            const rlv_rose_arc* arc = &rose->arc[i];
            const double step = (arc->to_deg - arc->from_deg) / ARC_SIDES, reach = arc_reach(on, rose, arc);
            polar(on, arc->from_deg + step * k, reach, at);
            polar(on, arc->from_deg + step * (k + 1), reach, next);
            *box++ = (rlv_box2){fmin(at[0], next[0]) - 0.3 * u, fmin(at[1], next[1]) - 0.3 * u,
                                fabs(next[0] - at[0]) + 0.6 * u, fabs(next[1] - at[1]) + 0.6 * u};
        }
}

// Names beside the tips of `count` arrows, off the arrows, the arcs, the rim and its letters.
static rlv_status name_arrows(const dial* on, const rlv_rose* rose, size_t count, const double* azimuth_deg,
                              const char* const* name, size_t* left_out, rlv_error* error)
{
    const double u = on->sheet->unit, reach = on->radius + (RIM + 0.5 * APART) * u;
    const size_t lines = RIM_SIDES + count, boxes = 4 + ARC_SIDES * rose->arc_count;
    rlv_label* label = rlv_reserve(count, sizeof *label, error);
    rlv_stretch* line = rlv_reserve(lines, sizeof *line, error);
    rlv_box2* box = rlv_reserve(boxes, sizeof *box, error);
    if (label == NULL || line == NULL || box == NULL)
    {
        free(box);
        free(label);
        free(line);
        return RLV_SYSTEM;
    }
    lay_obstacles(box, on, rose);
    for (int k = 0; k < RIM_SIDES; k++)
    {
        polar(on, 360.0 / RIM_SIDES * k, on->radius, line[k].from);
        polar(on, 360.0 / RIM_SIDES * (k + 1), on->radius, line[k].to);
    }
    for (size_t i = 0; i < count; i++)
    {
        const rlv_text_size size = rlv_sheet_measure(on->sheet, name[i], &over);
        label[i] = (rlv_label){.width = size.width_mm + 0.5 * u, .height = size.cap_mm + 1.0 * u, .clear = 0.8 * u};
        polar(on, azimuth_deg[i], on->radius, label[i].anchor);
        line[RIM_SIDES + i] = (rlv_stretch){{on->x, on->y}, {label[i].anchor[0], label[i].anchor[1]}};
    }
    const rlv_label_place among = {.within = {on->x - reach, on->y - reach, 2.0 * reach, 2.0 * reach},
                                   .obstacle_count = boxes,
                                   .obstacle = box,
                                   .gap = 0.3 * u,
                                   .line_count = lines,
                                   .line = line};
    *left_out += rlv_labels_place(count, label, &among);
    print_labels(on, count, label, name);
    free(box);
    free(label);
    free(line);
    return RLV_DONE;
}

// Of counted arrows (petals have no names) and of dashed ones.
static rlv_status name_all(const dial* on, const rlv_rose* rose, size_t* left_out, rlv_error* error)
{
    const size_t counted = rlv_rose_has_petals(rose->count) || rose->label == NULL ? 0 : rose->count,
                 likely = rose->likely_label != NULL ? rose->likely_count : 0, all = counted + likely;
    if (all == 0)
        return RLV_DONE;
    double* azimuth_deg = rlv_reserve(all, sizeof *azimuth_deg, error);
    const char** name = rlv_reserve(all, sizeof *name, error);
    rlv_status status = azimuth_deg != NULL && name != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < all && status == RLV_DONE; i++)
    {
        azimuth_deg[i] = i < counted ? rose->azimuth_deg[i] : rose->likely_deg[i - counted];
        name[i] = i < counted ? rose->label[i] : rose->likely_label[i - counted];
    }
    if (status == RLV_DONE)
        status = name_arrows(on, rose, all, azimuth_deg, name, left_out, error);
    free(azimuth_deg);
    free(name);
    return status;
}

// An arc about the dial, clockwise, with ends on it that stand out by half of their length to either side.
static void draw_arc(const dial* on, double reach, double from_deg, double to_deg, double half_end, double line_mm)
{
    double a[2], b[2];
    rlv_sheet_pen(on->sheet, line_mm);
    cairo_new_path(on->sheet->cairo);
    cairo_arc(on->sheet->cairo, on->x, on->y, reach, (from_deg - 90.0) * G_PI / 180.0, (to_deg - 90.0) * G_PI / 180.0);
    cairo_stroke(on->sheet->cairo);
    for (int end = 0; end < 2; end++)
    {
        polar(on, end == 0 ? from_deg : to_deg, reach - half_end, a);
        polar(on, end == 0 ? from_deg : to_deg, reach + half_end, b);
        rlv_sheet_line(on->sheet, a[0], a[1], b[0], b[1], line_mm);
    }
}

// What is beside the count: dashed arrows, and arcs with ends on them.
static void draw_beside(const dial* on, const rlv_rose* rose)
{
    const double u = on->sheet->unit;
    double a[2];
    for (size_t i = 0; i < rose->likely_count; i++)
    {
        polar(on, rose->likely_deg[i], on->radius - 1.0 * u, a);
        draw_likely(on->sheet, (double[2]){on->x, on->y}, a);
    }
    for (size_t i = 0; i < rose->arc_count; i++)
    {
        const rlv_rose_arc* arc = &rose->arc[i];
        const double reach = arc_reach(on, rose, arc), line_mm = arc->current ? RLV_LINE_HEAVY : RLV_LINE_THIN;
        rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
        draw_arc(on, reach, arc->from_deg, arc->to_deg, 0.7 * u, line_mm);
        polar(on, arc->middle_deg, reach, a);
        if (arc->current)
            rlv_mark_symbol(on->sheet, RLV_SYMBOL_DISC, a[0], a[1], 1.6 * u);
    }
}

// So few make no petals: each is an arrow to the rim.
static void draw_arrows(const dial* on, const rlv_rose* rose)
{
    const double reach = on->radius - 1.0 * on->sheet->unit;
    for (size_t i = 0; i < rose->count; i++)
    {
        double at[2];
        polar(on, rose->azimuth_deg[i], reach, at);
        rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
        rlv_mark_arrow(on->sheet, on->x, on->y, at[0], at[1], RLV_LINE_STRONG);
    }
}

static void draw_petals(const dial* on, double width_deg, const size_t* petal, size_t most)
{
    cairo_t* c = on->sheet->cairo;
    for (size_t k = 0; (double)k * width_deg < 359.9; k++)
    {
        double from = ((double)k * width_deg - 90.0) * G_PI / 180.0;
        if (petal[k] == 0)
            continue;
        cairo_new_path(c);
        cairo_move_to(c, on->x, on->y);
        cairo_arc(c, on->x, on->y, rlv_rose_radius(petal[k], most, on->radius), from, from + width_deg * G_PI / 180.0);
        cairo_close_path(c);
        rlv_sheet_colour(on->sheet, of_petal);
        cairo_fill_preserve(c);
        rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
        rlv_sheet_pen(on->sheet, RLV_LINE_THIN);
        cairo_stroke(c);
    }
}

// Rings at round numbers, each with its number, along 105 degrees where no letter of the compass stands.
static void draw_rings(const dial* on, size_t most)
{
    double cap = rlv_sheet_measure(on->sheet, "0", &quiet).cap_mm;
    size_t step = (size_t)fmax(rlv_round_step((double)most, 4), 1.0);
    for (size_t count = step; count <= most; count += step)
    {
        double reach = rlv_rose_radius(count, most, on->radius), at[2];
        rlv_sheet_grey(on->sheet, RLV_INK_RULE);
        rlv_sheet_pen(on->sheet, RLV_LINE_HAIR);
        cairo_arc(on->sheet->cairo, on->x, on->y, reach, 0.0, 2.0 * G_PI);
        cairo_stroke(on->sheet->cairo);
        char words[24];
        snprintf(words, sizeof words, "%zu", count);
        rlv_lettering how = quiet;
        how.share = 0.5;
        how.halo_mm = 0.5;
        polar(on, 105.0, reach - 1.6 * on->sheet->unit, at);
        rlv_sheet_text(on->sheet, words, at[0], at[1] + 0.5 * cap, &how);
    }
}

static int by_azimuth(const void* one, const void* other)
{
    const double *a = one, *b = other;
    return *a < *b ? -1 : *a > *b;
}

// Dots outside the rim; those that would cover each other stand one behind the other.
static rlv_status draw_azimuths(const dial* on, const rlv_rose* rose, rlv_error* error)
{
    const double u = on->sheet->unit, apart = 1.1 * DOT * u / on->radius * 180.0 / G_PI;
    double* sorted = rlv_reserve(rose->count, sizeof *sorted, error);
    if (sorted == NULL)
        return RLV_SYSTEM;
    memcpy(sorted, rose->azimuth_deg, rose->count * sizeof *sorted);
    qsort(sorted, rose->count, sizeof *sorted, by_azimuth);
    rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
    size_t behind = 0;
    for (size_t i = 0; i < rose->count; i++)
    {
        double at[2];
        behind = i > 0 && sorted[i] - sorted[i - 1] < apart ? behind + 1 : 0;
        polar(on, sorted[i], on->radius + (1.1 + 1.1 * DOT * (double)(behind % 4)) * u, at);
        rlv_mark_symbol(on->sheet, RLV_SYMBOL_DISC, at[0], at[1], DOT * u);
    }
    free(sorted);
    return RLV_DONE;
}

static bool has_spread(const rlv_rose* rose)
{
    return isfinite(rose->mean_deg) && rose->half_deg < 179.0;
}

// The mean as an arrow to the rim, its interval as an arc with ends on it.
static void draw_spread(const dial* on, const rlv_rose* rose)
{
    const double u = on->sheet->unit, reach = on->radius - 3.0 * u;
    double a[2];
    polar(on, rose->mean_deg, reach, a);
    cairo_set_source_rgba(on->sheet->cairo, 1.0, 1.0, 1.0, 0.8);
    rlv_sheet_line(on->sheet, on->x, on->y, a[0], a[1], 1.4);
    rlv_sheet_grey(on->sheet, RLV_INK_BLACK);
    rlv_mark_arrow(on->sheet, on->x, on->y, a[0], a[1], RLV_LINE_HEAVY);
    draw_arc(on, reach, rose->mean_deg - rose->half_deg, rose->mean_deg + rose->half_deg, 1.1 * u, RLV_LINE_HEAVY);
}

static rlv_status draw_rose(const dial* on, const rlv_rose* rose, size_t* left_out, rlv_error* error)
{
    size_t petal[36], most = 1;
    double width_deg = rlv_rose_width_deg(rose->count);
    rlv_rose_count(rose->count, rose->azimuth_deg, width_deg, petal);
    for (size_t k = 0; (double)k * width_deg < 359.9; k++)
        most = petal[k] > most ? petal[k] : most;
    draw_rim(on);
    rlv_status status = RLV_DONE;
    if (rlv_rose_has_petals(rose->count))
    {
        draw_petals(on, width_deg, petal, most);
        draw_rings(on, most);
        status = draw_azimuths(on, rose, error);
    }
    else
        draw_arrows(on, rose);
    draw_beside(on, rose);
    if (status == RLV_DONE)
        status = name_all(on, rose, left_out, error);
    if (has_spread(rose))
        draw_spread(on, rose);
    put_words(on, rose->name, rose->words);
    return status;
}

// --- On paper --------------------------------------------------------------------------------------------------------

static void add_states(rlv_key* key, const rlv_net_sheet* nets)
{
    bool seen[RLV_ARTICULATION_STATES] = {0}, above[RLV_ARTICULATION_STATES] = {0}, open[RLV_OPEN_WHYS] = {0};
    for (size_t n = 0; n < nets->net_count; n++)
        for (size_t i = 0; i < nets->net[n].count; i++)
        {
            double at[2];
            bool down = rlv_net_place(&nets->compass, nets->net[n].point[i].way, 1.0, at);
            bool* of = nets->net[n].directed && !down ? above : seen;
            of[nets->net[n].point[i].state] = true;
            if (of == seen && nets->net[n].point[i].state == RLV_UNASSIGNED)
                open[nets->net[n].point[i].open] = true;
        }
    for (int i = 0; i < RLV_UNASSIGNED; i++)
        if (seen[i])
        {
            rlv_key_entry entry = rlv_state_key((rlv_articulation_state)i);
            rlv_key_add(key, &entry);
        }
    for (int i = RLV_OPEN_WHYS; i-- > 0;)
        if (open[i])
        {
            rlv_key_entry entry = rlv_open_key((rlv_open_why)i);
            rlv_key_add(key, &entry);
        }
    for (int i = 0; i < RLV_ARTICULATION_STATES; i++)
        if (above[i])
        {
            char words[96];
            snprintf(words, sizeof words, "%.40s, pointing up: drawn at its opposite",
                     rlv_state_key((rlv_articulation_state)i).words);
            add_sign(key, SIGN_ABOVE + i, words);
        }
}

// What is on a rose beside its count.
static void add_beside(rlv_key* key, const rlv_rose* rose)
{
    if (rose->likely_count > 0)
        add_sign(key, SIGN_LIKELY, "off its row: from its likeliest place; not counted");
    for (size_t i = 0; i < rose->arc_count; i++)
        if (rose->arc[i].current)
            add_sign(key, SIGN_CURRENT, "current and its 95" RLV_THIN "% interval");
        else
            add_sign(key, SIGN_RANGE, "directions along one stretch");
}

rlv_key rlv_net_key(const rlv_net_sheet* nets)
{
    rlv_key key = {0};
    add_states(&key, nets);
    for (size_t n = 0; n < nets->net_count; n++)
    {
        const rlv_net* net = &nets->net[n];
        double at[2];
        if (net->mean != NULL && rlv_net_place(&nets->compass, *net->mean, 1.0, at))
            add_sign(&key, SIGN_MEAN, "mean direction");
        else if (net->mean != NULL)
            add_sign(&key, SIGN_MEAN_ABOVE, "mean direction, pointing up");
        if (cone_sides(&nets->compass, net, true))
            add_line(&key, of_cone, "its 95" RLV_THIN "% cone");
        if (cone_sides(&nets->compass, net, false))
            add_line(&key, of_cone_above, "the same above the horizon, at its opposite");
        if (net->tensor != NULL)
            add_sign(&key, SIGN_AXIS, "axes of the orientation tensor");
    }
    if (nets->bedding != NULL && nets->net_count > 0)
    {
        add_line(&key, of_bedding, "bedding");
        add_sign(&key, SIGN_POLE, "pole of bedding");
    }
    if (nets->rose != NULL)
    {
        rlv_key_entry entry = {.kind = RLV_KEY_AREA, .tint = of_petal};
        snprintf(entry.words, sizeof entry.words,
                 "number in a sector of %.0f\xc2\xb0, by area; each ring bears its number",
                 rlv_rose_width_deg(nets->rose->count));
        if (rlv_rose_has_petals(nets->rose->count))
            rlv_key_add(&key, &entry);
        if (nets->rose->count > 0)
            add_sign(&key, rlv_rose_has_petals(nets->rose->count) ? SIGN_AZIMUTH : SIGN_ARROW, "one motion");
        if (has_spread(nets->rose))
            add_sign(&key, SIGN_SPREAD, "mean and its 95" RLV_THIN "% interval");
        add_beside(&key, nets->rose);
    }
    return key;
}

// A sheet while it is laid out.
typedef struct laid_nets
{
    const rlv_net_sheet* nets;
    rlv_sheet* ruler;
    rlv_key key;
    size_t dials;
} laid_nets;

static void need(const void* user, double unit, double size_mm[2])
{
    const laid_nets* of = user;
    double dial_wide = 2.0 * (RADIUS + RIM), dials = (double)of->dials;
    size_mm[0] = fmax(dials * dial_wide + (dials - 1.0) * APART + 2.0 * RLV_SHEET_MARGIN, 190.0) * unit;
    of->ruler->unit = unit;
    size_mm[1] = (RLV_TITLE_HEAD_MM + NAME + dial_wide + LINE * (RLV_NET_LINES + 1) + 2.0 * AIR) * unit +
                 rlv_key_tall(of->ruler, &of->key, size_mm[0] - 2.0 * RLV_SHEET_MARGIN * unit) +
                 rlv_title_foot_mm(&of->nets->title, size_mm[0], unit);
}

static rlv_status draw_all(rlv_sheet* sheet, const laid_nets* of, const rlv_paper* paper, size_t* left_out,
                           rlv_error* error)
{
    const rlv_net_sheet* nets = of->nets;
    const double u = sheet->unit, margin = RLV_SHEET_MARGIN * u, width = sheet->width_mm - 2.0 * margin;
    double size_mm[2], top = rlv_title_head(sheet, &nets->title);
    need(of, u, size_mm);
    double spare = fmax(sheet->height_mm - size_mm[1], 0.0), step = width / (double)of->dials;
    double middle = top + 0.45 * spare + (NAME + RIM + RADIUS) * u;
    rlv_status status = RLV_DONE;
    cairo_set_line_cap(sheet->cairo, CAIRO_LINE_CAP_BUTT);
    for (size_t i = 0; i < of->dials && status == RLV_DONE; i++)
    {
        const dial on = {sheet, nets, margin + step * ((double)i + 0.5), middle, RADIUS * u};
        status = i < nets->net_count ? draw_net(&on, &nets->net[i], left_out, error)
                                     : draw_rose(&on, nets->rose, left_out, error);
    }
    double y = middle + (RADIUS + RIM + LINE * (RLV_NET_LINES + 1) + AIR) * u;
    rlv_key_print(sheet, &of->key, margin, y, width);
    rlv_title_foot(sheet, &nets->title, paper, 0.0, 0.0);
    return status;
}

#define NOTE_NET                                                                                                       \
    "Nets: equal-area projection (J. H. Lambert, 1772; W. Schmidt, 1925) of the lower hemisphere; circles at plunges " \
    "of 30\xc2\xb0 and 60\xc2\xb0."
#define NOTE_FRAME "North or up is not known: directions are in the block’s own frame, with z up and y to the top."

rlv_status rlv_sheet_of_nets(rlv_sheet* sheet, const rlv_net_sheet* given, size_t* left_out, rlv_error* error)
{
    memset(sheet, 0, sizeof *sheet);
    if (given->net_count + (given->rose != NULL ? 1 : 0) == 0 || given->net_count > RLV_NET_MOST)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give one to three nets, or a rose", "a sheet of no directions");
    const char* note[3] = {NOTE_NET, RLV_NOTE_STATES, NOTE_FRAME};
    const char** room = NULL;
    rlv_net_sheet nets = *given;
    nets.title = rlv_title_noted(&given->title, given->north_known ? 2 : 3, note, &room, error);
    rlv_sheet ruler = {0};
    size_t missed = 0;
    rlv_status status = room != NULL ? rlv_sheet_reserve(&ruler, 100.0, 100.0, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        const laid_nets of = {&nets, &ruler, rlv_net_key(&nets), nets.net_count + (nets.rose != NULL ? 1 : 0)};
        double unit;
        rlv_paper paper = rlv_paper_for(need, &of, nets.paper, &unit);
        status = rlv_sheet_reserve(sheet, paper.width_mm, paper.height_mm, error);
        sheet->unit = unit;
        if (status == RLV_DONE)
            status = draw_all(sheet, &of, &paper, &missed, error);
    }
    if (left_out != NULL)
        *left_out = missed;
    free(room);
    rlv_sheet_free(&ruler);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}
