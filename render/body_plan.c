#include "body_plan_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// mm on A3.
#define NAMES 39.0    // left of the rows
#define AIR 4.0       // above and beneath them
#define AXIS 9.0      // of the numbers along the axis
#define STRIP 24.0    // of the share in place
#define CAPTION 6.0   // over the strip
#define ROOM 7.5      // beside the plates of a row, for labels
#define MOST_MORE 7.0 // that is added to it
#define LIFE 1.3      // across the ring that marks a life position

#define NOTE                                                                                                           \
    "The body is laid flat, its outside up. Rows stand apart as they have room; plates and motions are to scale "      \
    "along the body "                                                                                                  \
    "and across it, and a motion out of the body wall does not show."

static const rlv_lettering quiet = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_GREY};
static const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK};

static const rlv_stroke of_unfilled = {RLV_LINE_MEDIUM, RLV_INK_BLACK, RLV_DASH_EVEN};
static const rlv_stroke of_corridor = {RLV_LINE_THIN, RLV_INK_GREY, RLV_DASH_EVEN};

// --- Marks -----------------------------------------------------------------------------------------------------------

static void draw_unfilled(rlv_sheet* sheet, double x, double y, double half_wide, double half_tall, bool corridor)
{
    rlv_state_path(sheet, RLV_IN_PLACE, x, y, half_wide, half_tall, 0.0);
    cairo_set_source_rgb(sheet->cairo, 1.0, 1.0, 1.0);
    cairo_fill_preserve(sheet->cairo);
    rlv_stroke_begin(sheet, corridor ? &of_corridor : &of_unfilled);
    cairo_stroke(sheet->cairo);
    rlv_stroke_end(sheet);
}

static void draw_life(rlv_sheet* sheet, double x, double y)
{
    cairo_arc(sheet->cairo, x, y, 0.5 * LIFE * sheet->unit, 0.0, 2.0 * G_PI);
    cairo_set_source_rgb(sheet->cairo, 1.0, 1.0, 1.0);
    cairo_fill(sheet->cairo);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_mark_symbol(sheet, RLV_SYMBOL_RING, x, y, LIFE * sheet->unit);
}

// From a life position to an element; one that was cut is broken before its head.
static void draw_motion(rlv_sheet* sheet, const double from[2], const double to[2], bool cut)
{
    const double u = sheet->unit;
    cairo_set_source_rgba(sheet->cairo, 1.0, 1.0, 1.0, 0.85);
    rlv_sheet_line(sheet, from[0], from[1], to[0], to[1], 3.2 * RLV_LINE_STRONG);
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_mark_arrow(sheet, from[0], from[1], to[0], to[1], RLV_LINE_STRONG);
    draw_life(sheet, from[0], from[1]);
    double length = hypot(to[0] - from[0], to[1] - from[1]);
    if (!cut || !(length > 0.0))
        return;
    double x = 0.5 * (from[0] + to[0]), y = 0.5 * (from[1] + to[1]);
    double ux = (to[0] - from[0]) / length, uy = (to[1] - from[1]) / length, tall = 1.4 * u;
    for (int side = -1; side <= 1; side += 2)
    {
        double at_x = x + 0.5 * side * u * ux, at_y = y + 0.5 * side * u * uy;
        rlv_sheet_line(sheet, at_x - tall * uy + 0.5 * tall * ux, at_y + tall * ux + 0.5 * tall * uy,
                       at_x + tall * uy - 0.5 * tall * ux, at_y - tall * ux - 0.5 * tall * uy, RLV_LINE_THIN);
    }
}

enum
{
    SIGN_MOTION,
    SIGN_CUT,
    SIGN_UNFILLED,
    SIGN_CORRIDOR,
    SIGN_GROUP,
};

static void draw_bracket(rlv_sheet* sheet, double left, double right, double y)
{
    const double tick = 1.1 * sheet->unit;
    rlv_sheet_grey(sheet, RLV_INK_BLACK);
    rlv_sheet_line(sheet, left, y, right, y, RLV_LINE_STRONG);
    rlv_sheet_line(sheet, left, y, left, y + tick, RLV_LINE_STRONG);
    rlv_sheet_line(sheet, right, y, right, y + tick, RLV_LINE_STRONG);
}

static void draw_sign(rlv_sheet* sheet, rlv_box2 box, int which)
{
    double middle = box.top + 0.5 * box.height, right = box.left + box.width;
    const double from[2] = {box.left + 0.5 * LIFE * sheet->unit, middle}, to[2] = {right, middle};
    if (which == SIGN_MOTION || which == SIGN_CUT)
        draw_motion(sheet, from, to, which == SIGN_CUT);
    else if (which == SIGN_GROUP)
        draw_bracket(sheet, box.left, right, middle - 0.4 * sheet->unit);
    else
        draw_unfilled(sheet, 0.5 * (box.left + right), middle, 0.5 * box.height, 0.62 * box.height,
                      which == SIGN_CORRIDOR);
}

static void add_sign(rlv_key* key, int which, const char* words)
{
    rlv_key_entry entry = {.kind = RLV_KEY_DRAWN, .draw = draw_sign, .which = which};
    snprintf(entry.words, sizeof entry.words, "%s", words);
    rlv_key_add(key, &entry);
}

// --- What is on it ---------------------------------------------------------------------------------------------------

static rlv_open_why open_why(const plan_page* page, const plan_plate* plate)
{
    return page->plan->of.open != NULL ? page->plan->of.open[plate->element] : RLV_OPEN_UNJUDGED;
}

rlv_key plan_key(const plan_page* page)
{
    const rlv_articulation* told = page->plan->of.told;
    rlv_key key = {0};
    bool state[RLV_ARTICULATION_STATES] = {0}, open[RLV_OPEN_WHYS] = {0}, moved = false, any_cut = false,
         unfilled[2] = {false, false};
    for (size_t i = 0; i < page->lay->plate_count; i++)
    {
        const plan_plate* plate = &page->lay->plate[i];
        double at[2];
        bool cut;
        plan_at(page, plate, at, &cut);
        state[told->element[plate->element].state] = true;
        if (told->element[plate->element].state == RLV_UNASSIGNED)
            open[open_why(page, plate)] = true;
        double far = hypot(at[0] - plan_x(page, plate->life_mm),
                           at[1] - plan_y(page, page->plan->of.element[plate->element].row));
        moved = moved || (plate->placed && far >= PLAN_LEAST_ARROW * page->unit);
        any_cut = any_cut || (plate->placed && cut);
    }
    for (size_t i = 0; i < told->unfilled_count; i++)
        unfilled[told->unfilled[i].corridor] = true;
    for (int i = 0; i < RLV_UNASSIGNED; i++)
        if (state[i])
        {
            rlv_key_entry entry = rlv_state_key((rlv_articulation_state)i);
            rlv_key_add(&key, &entry);
        }
    for (int i = RLV_OPEN_WHYS; i-- > 0;)
        if (open[i])
        {
            rlv_key_entry entry = rlv_open_key((rlv_open_why)i);
            rlv_key_add(&key, &entry);
        }
    if (moved)
        add_sign(&key, SIGN_MOTION, "from its life position to where it lies");
    if (any_cut)
        add_sign(&key, SIGN_CUT, "the same, longer than is drawn");
    if (unfilled[0])
        add_sign(&key, SIGN_UNFILLED, "place without an element");
    if (unfilled[1])
        add_sign(&key, SIGN_CORRIDOR, "place without an element, beyond its row’s last");
    if (told->group_count > 0)
        add_sign(&key, SIGN_GROUP, "moved together");
    return key;
}

// Names of the rows stand from here on.
static double margin_of(const plan_page* page)
{
    return page->left - NAMES * page->unit;
}

void plan_row_words(char into[64], const rlv_skeleton* of, size_t row)
{
    const rlv_articulation_row_told* told = &of->told->row[row];
    size_t off = 0;
    for (size_t i = 0; i < of->told->count && of->open != NULL; i++)
        off += of->element[i].row == row && of->open[i] == RLV_OPEN_OFF_ROW &&
               of->told->element[i].state == RLV_UNASSIGNED;
    if (off == 0)
        snprintf(into, 64, "%zu of %zu in place", told->in_place, told->held);
    else if (told->in_place == told->held)
        snprintf(into, 64, "%zu in place, %zu off the row", told->in_place, off);
    else
        snprintf(into, 64, "%zu of %zu in place, %zu off the row", told->in_place, told->held, off);
}

static void name_row(rlv_sheet* sheet, const plan_page* page, size_t row)
{
    const double u = sheet->unit, left = margin_of(page), y = plan_y(page, row);
    const rlv_body_row* named = &page->plan->of.row[row];
    rlv_lettering how = {.size_mm = RLV_LETTER_PLAIN,
                         .grey = RLV_INK_BLACK,
                         .bold = true,
                         .width_mm = (NAMES - 6.0) * u,
                         .most_lines = 1};
    rlv_sheet_text(sheet, named->id, left + 4.0 * u, y - 1.4 * u, &how);
    how = small;
    how.width_mm = (NAMES - 6.0) * u;
    how.most_lines = 1;
    if (named->title != NULL)
        rlv_sheet_text(sheet, named->title, left + 4.0 * u, y + 1.8 * u, &how);
    char words[64];
    plan_row_words(words, &page->plan->of, row);
    how.grey = RLV_INK_GREY;
    rlv_sheet_text(sheet, words, left + 4.0 * u, y + (named->title != NULL ? 5.0 : 1.8) * u, &how);
}

// The animal's right and left, beside the rows of each.
static void name_sides(rlv_sheet* sheet, const plan_page* page)
{
    static const char* const name[3] = {[RLV_BODY_LEFT] = "left side", [RLV_BODY_RIGHT] = "right side"};
    const double u = sheet->unit, x = margin_of(page) + 1.6 * u;
    for (int side = RLV_BODY_LEFT; side <= RLV_BODY_RIGHT; side++)
    {
        double low = INFINITY, high = -INFINITY;
        for (size_t k = 0; k < page->lay->row_count; k++)
            if (page->plan->of.row[page->lay->order[k]].side == (rlv_body_side)side)
            {
                size_t r = page->lay->order[k];
                low = fmin(low, plan_y(page, r) - plan_half(page, r));
                high = fmax(high, plan_y(page, r) + plan_half(page, r));
            }
        if (!(high > low))
            continue;
        rlv_lettering how = quiet;
        how.share = 0.5;
        how.turn_rad = -0.5 * G_PI;
        rlv_sheet_text(sheet, name[side], x, 0.5 * (low + high), &how);
        rlv_sheet_grey(sheet, RLV_INK_RULE);
        rlv_sheet_line(sheet, x + 0.9 * u, low + u, x + 0.9 * u, high - u, RLV_LINE_HAIR);
    }
}

// A row's line from its first life position to its last.
static void draw_lines(rlv_sheet* sheet, const plan_page* page)
{
    const plan_lay* lay = page->lay;
    rlv_sheet_grey(sheet, RLV_INK_RULE);
    for (size_t i = 0; i < lay->place_count; i++)
    {
        size_t last = i;
        while (last + 1 < lay->place_count && lay->place[last + 1].row == lay->place[i].row)
            last++;
        double y = plan_y(page, lay->place[i].row);
        rlv_sheet_line(sheet, plan_x(page, lay->place[i].life_mm), y, plan_x(page, lay->place[last].life_mm), y,
                       RLV_LINE_HAIR);
        i = last;
    }
}

static void put_numbers(rlv_sheet* sheet, const plan_page* page)
{
    for (size_t i = 0; i < page->lay->place_count; i++)
    {
        const plan_place* place = &page->lay->place[i];
        char words[16];
        double at[2];
        rlv_lettering how = page->numbered[place->row] && !place->unfilled ? small : quiet;
        how.share = 0.5;
        if (plan_number(page, sheet, place, words, at))
            rlv_sheet_text(sheet, words, at[0], at[1], &how);
    }
}

// An arrow ends at the edge of its plate; where the plate covers its life position it is drawn over it, to its middle.
static void end_at_edge(const plan_page* page, const plan_plate* plate, const double from[2], double to[2])
{
    double x = to[0] - from[0], y = to[1] - from[1], length = hypot(x, y);
    double c = cos(plate->turn_rad), s = sin(plate->turn_rad);
    double reach = page->scale / hypot((c * x + s * y) / (length * plate->half_mm[0]),
                                       (c * y - s * x) / (length * plate->half_mm[1]));
    double left = length - reach;
    if (left < 2.0 * PLAN_LEAST_ARROW * page->unit)
        return;
    to[0] = from[0] + x * left / length;
    to[1] = from[1] + y * left / length;
}

static void draw_plates(rlv_sheet* sheet, const plan_page* page)
{
    const double u = sheet->unit;
    const rlv_articulation* told = page->plan->of.told;
    for (size_t i = 0; i < page->lay->place_count; i++)
    {
        const plan_place* place = &page->lay->place[i];
        const double* half = page->lay->row_mm[place->row];
        if (place->unfilled)
            draw_unfilled(sheet, plan_x(page, place->life_mm), plan_y(page, place->row), half[0] * page->scale,
                          half[1] * page->scale, place->corridor);
    }
    for (size_t i = 0; i < page->lay->plate_count; i++)
    {
        const plan_plate* plate = &page->lay->plate[i];
        rlv_articulation_state state = told->element[plate->element].state;
        double at[2];
        bool cut;
        plan_at(page, plate, at, &cut);
        if (state == RLV_UNASSIGNED)
        {
            rlv_open_symbol(sheet, open_why(page, plate), at[0], at[1], PLAN_SIGN * u);
            continue;
        }
        plan_path(sheet, page, plate);
        rlv_state_fill(sheet, state, 1.0, state == RLV_IN_PLACE ? RLV_LINE_THIN : RLV_LINE_MEDIUM);
    }
}

static void draw_motions(rlv_sheet* sheet, const plan_page* page)
{
    for (size_t i = 0; i < page->lay->plate_count; i++)
    {
        double from[2], to[2];
        bool cut;
        if (!plan_moved(page, &page->lay->plate[i], from, to, &cut))
            continue;
        end_at_edge(page, &page->lay->plate[i], from, to);
        draw_motion(sheet, from, to, cut);
    }
}

// What is said of the tray, and of rows that are not there.
static void name_tray(rlv_sheet* sheet, const plan_page* page)
{
    const double u = sheet->unit, y = page->top + plan_tall(page) + 0.5 * PLAN_TRAY * u;
    const rlv_articulation* told = page->plan->of.told;
    char words[1024] = ""; // more than its one line holds, which is cut with a sign that it was
    size_t put = 0;
    for (size_t r = 0; r < told->row_count && put + 200 < sizeof words; r++)
        if (!told->row[r].used)
            put += rlv_print(words + put, sizeof words - put, "%s%s",
                             put > 0 ? ", " : "row left out: ", rlv_shorten_name(page->plan->of.row[r].id, 30).text);
    rlv_lettering how = small;
    how.width_mm = (NAMES - 6.0) * u;
    how.most_lines = 1;
    if (page->lay->unassigned)
        rlv_sheet_text(sheet, "no place: where it lies", margin_of(page) + 4.0 * u, y - 0.4 * u, &how);
    how.grey = RLV_INK_GREY;
    if (put > 0)
        rlv_sheet_text(sheet, words, margin_of(page) + 4.0 * u, y + 2.8 * u, &how);
}

static void draw_groups(rlv_sheet* sheet, const plan_page* page)
{
    const double u = sheet->unit;
    for (size_t g = 0; g < page->plan->of.told->group_count; g++)
    {
        rlv_box2 box = plan_bracket(page, g);
        draw_bracket(sheet, box.left, box.left + box.width, box.top + box.height - 1.0 * u);
        rlv_lettering how = plan_letters;
        how.halo_mm = 0.3; // the bracket is near
        rlv_sheet_text(sheet, page->plan->of.group[g], box.left, box.top + box.height - 2.3 * u, &how);
    }
}

static void draw_labels(rlv_sheet* sheet, const plan_page* page)
{
    for (size_t i = 0; i < page->label_count; i++)
    {
        const rlv_label* label = &page->label[i];
        if (page->text[i][0] == '\0' || !label->placed)
            continue;
        rlv_mark_leader(sheet, label);
        rlv_lettering how = plan_letters;
        how.share = 0.5;
        double cap = rlv_sheet_measure(sheet, page->text[i], &how).cap_mm;
        rlv_sheet_text(sheet, page->text[i], label->left + 0.5 * label->width, label->top + 0.5 * (label->height + cap),
                       &how);
    }
}

// Millimetres along the axis, under the rows; and rules through them.
static void draw_axis(rlv_sheet* sheet, const plan_page* page, double y)
{
    const double u = sheet->unit, length = rlv_body_axis_length_mm(&page->plan->of.told->axis);
    double step = rlv_round_step(length, (int)fmax(fmin(page->width / (16.0 * u), 14.0), 1.0));
    double cap = rlv_sheet_measure(sheet, "0", &quiet).cap_mm;
    rlv_lettering middle = quiet;
    middle.share = 0.5;
    rlv_sheet_grey(sheet, RLV_INK_GREY);
    rlv_sheet_line(sheet, plan_x(page, 0.0), y, plan_x(page, length), y, RLV_LINE_THIN);
    for (double k = 0.0; k * step <= length * (1.0 + 1e-9); k += 1.0)
    {
        char words[48];
        double x = plan_x(page, k * step);
        rlv_sheet_grey(sheet, RLV_INK_GREY);
        rlv_sheet_line(sheet, x, y, x, y + 1.0 * u, RLV_LINE_HAIR);
        rlv_step_words(words, sizeof words, k * step, step);
        rlv_sheet_text(sheet, words, x, y + 1.8 * u + cap, &middle);
    }
    rlv_lettering left = quiet;
    left.share = 1.0;
    rlv_sheet_text(sheet, "head", plan_x(page, 0.0) - 2.0 * u, y + 0.5 * cap, &left);
    rlv_sheet_text(sheet, "tail", plan_x(page, length) + 1.5 * u, y + 0.5 * cap, &quiet);
    rlv_sheet_text(sheet, "mm along the body axis", margin_of(page), y + 1.8 * u + cap, &quiet);
}

static const rlv_rgb of_interval = {0.86f, 0.845f, 0.815f};

// The share in place along the axis: a bar at the share, on the room of its interval, and how many of how many.
static void draw_strip(rlv_sheet* sheet, const plan_page* page, double top)
{
    const double u = sheet->unit, foot = top + STRIP * u;
    const rlv_articulation* told = page->plan->of.told;
    double cap = rlv_sheet_measure(sheet, "0", &quiet).cap_mm;
    double from = plan_x(page, 0.0), to = plan_x(page, rlv_body_axis_length_mm(&told->axis));
    if (told->part_count > 0)
    {
        from = fmin(from, plan_x(page, told->part[0].from_mm));
        to = fmax(to, plan_x(page, told->part[told->part_count - 1].to_mm));
    }
    rlv_lettering right = quiet, middle = plan_letters;
    right.share = 1.0;
    middle.share = 0.5;
    rlv_sheet_text(sheet, page->plan->of.summary != NULL ? page->plan->of.summary : "share in place", from,
                   top - 2.2 * u, &small);
    rlv_sheet_text(sheet, "share in place", margin_of(page), top + cap, &small);
    rlv_sheet_text(sheet, "with 95" RLV_THIN "% interval", margin_of(page), top + cap + 3.3 * u, &quiet);
    for (int k = 0; k <= 4; k++)
    {
        double y = foot - 0.25 * k * STRIP * u;
        rlv_sheet_grey(sheet, RLV_INK_RULE);
        rlv_sheet_line(sheet, from, y, to, y, RLV_LINE_HAIR);
        char words[16];
        snprintf(words, sizeof words, "%d" RLV_THIN "%%", 25 * k);
        if (k % 2 == 0)
            rlv_sheet_text(sheet, words, from - 1.5 * u, y + 0.5 * cap, &right);
    }
    for (size_t i = 0; i < told->part_count; i++)
    {
        const rlv_articulation_part* part = &told->part[i];
        double a = plan_x(page, part->from_mm) + 0.3 * u, b = plan_x(page, part->to_mm) - 0.3 * u;
        char words[64];
        if (part->held == 0)
        {
            rlv_sheet_text(sheet, "none held", 0.5 * (a + b), foot - 1.2 * u, &middle);
            continue;
        }
        double y = foot - part->share.value * STRIP * u;
        rlv_sheet_colour(sheet, of_interval);
        cairo_rectangle(sheet->cairo, a, foot - part->share.high * STRIP * u, b - a,
                        (part->share.high - part->share.low) * STRIP * u);
        cairo_fill(sheet->cairo);
        rlv_sheet_grey(sheet, RLV_INK_BLACK);
        rlv_sheet_line(sheet, a, y, b, y, RLV_LINE_HEAVY);
        snprintf(words, sizeof words, "%zu of %zu", part->in_place, part->held);
        bool over = part->share.value < 0.8;
        rlv_sheet_text(sheet, words, 0.5 * (a + b), over ? y - 1.2 * u : y + 1.3 * u + cap, &middle);
    }
}

// --- On paper --------------------------------------------------------------------------------------------------------

typedef struct plan_fit
{
    const rlv_body_plan* plan;
    const plan_lay* lay;
    rlv_sheet* ruler;
    double scale;
    double least_wide; // what is fitted lies on its paper
} plan_fit;

// What stands beneath the rows, the foot included.
static double beneath_mm(const plan_fit* of, double page_wide, double unit)
{
    const plan_page page = {.plan = of->plan, .lay = of->lay, .scale = of->scale, .unit = unit, .room = 1e3};
    rlv_key key = plan_key(&page);
    of->ruler->unit = unit;
    double tray = of->lay->tray ? PLAN_TRAY * unit : 0.0;
    return tray + (AIR + AXIS + CAPTION + STRIP + 2.0 * AIR) * unit +
           rlv_key_tall(of->ruler, &key, page_wide - 2.0 * RLV_SHEET_MARGIN * unit) +
           rlv_title_foot_mm(&of->plan->title, page_wide, unit);
}

static void need(const void* user, double unit, double size_mm[2])
{
    const plan_fit* of = user;
    size_mm[0] = (of->lay->to_mm - of->lay->from_mm) * of->scale + (NAMES + 8.0 + 2.0 * RLV_SHEET_MARGIN) * unit;
    size_mm[0] = fmax(size_mm[0], of->least_wide);
    const plan_page page = {.plan = of->plan, .lay = of->lay, .scale = of->scale, .room = ROOM * unit};
    size_mm[1] = RLV_TITLE_HEAD_MM * unit + plan_tall(&page) + beneath_mm(of, size_mm[0], unit);
}

#define SMALLEST 1e-3 // from this scale on none is tried

// The largest round scale at which the plan needs no more than a paper that lies.
static void fit_scale(plan_fit* of, int least)
{
    rlv_paper upright = rlv_paper_holding(1.0, 1.0, least);
    double most = fmax(upright.width_mm, upright.height_mm), unit;
    of->least_wide = most;
    of->scale = rlv_round_scale(most / (of->lay->to_mm - of->lay->from_mm));
    rlv_paper paper = rlv_paper_for(need, of, least, &unit);
    while (fmax(paper.width_mm, paper.height_mm) > most && of->scale > SMALLEST)
    {
        of->scale = rlv_round_scale(0.999 * of->scale);
        paper = rlv_paper_for(need, of, least, &unit);
    }
}

// The page at a size of paper.
static rlv_paper page_on(plan_page* page, plan_fit* of, int least)
{
    double unit;
    if (!(of->plan->scale > 0.0))
        fit_scale(of, least);
    rlv_paper paper = rlv_paper_for(need, of, least, &unit);
    *page = (plan_page){.plan = of->plan, .lay = of->lay, .scale = of->scale, .unit = unit, .room = ROOM * unit};
    page->width = (of->lay->to_mm - of->lay->from_mm) * of->scale;
    double wide = page->width + (NAMES + 8.0 + 2.0 * RLV_SHEET_MARGIN) * unit;
    page->left = (RLV_SHEET_MARGIN + NAMES) * unit + 0.5 * fmax(paper.width_mm - wide, 0.0);
    // What height is left goes between the rows, up to a most, and above them.
    double spare = paper.height_mm - RLV_TITLE_HEAD_MM * unit - beneath_mm(of, paper.width_mm, unit) - plan_tall(page);
    double more = fmin(fmax(0.5 * spare / (double)of->lay->row_count, 0.0), MOST_MORE * unit);
    page->room += more;
    page->top = RLV_TITLE_HEAD_MM * unit;
    page->top += 0.35 * fmax(spare - 2.0 * more * (double)of->lay->row_count, 0.0);
    return paper;
}

static rlv_status draw(rlv_sheet* sheet, const plan_page* page, rlv_paper paper, rlv_error* error)
{
    rlv_status status = rlv_sheet_reserve(sheet, paper.width_mm, paper.height_mm, error);
    if (status != RLV_DONE)
        return status;
    const double u = sheet->unit = page->unit;
    rlv_title_head(sheet, &page->plan->title);
    double foot = page->top + plan_tall(page) + (page->lay->tray ? PLAN_TRAY * u : 0.0);
    cairo_set_line_cap(sheet->cairo, CAIRO_LINE_CAP_BUTT);
    for (size_t k = 0; k < page->lay->row_count; k++)
        name_row(sheet, page, page->lay->order[k]);
    name_sides(sheet, page);
    name_tray(sheet, page);
    draw_lines(sheet, page);
    draw_plates(sheet, page);
    put_numbers(sheet, page);
    draw_motions(sheet, page);
    draw_groups(sheet, page);
    draw_labels(sheet, page);
    draw_axis(sheet, page, foot + AIR * u);
    double strip = foot + (AIR + AXIS + CAPTION) * u;
    draw_strip(sheet, page, strip);
    rlv_key key = plan_key(page);
    rlv_key_print(sheet, &key, RLV_SHEET_MARGIN * u, strip + (STRIP + AIR) * u,
                  sheet->width_mm - 2.0 * RLV_SHEET_MARGIN * u);
    rlv_title_foot(sheet, &page->plan->title, &paper, page->scale, 0.0);
    return RLV_DONE;
}

rlv_status plan_page_make(plan_page* page, const rlv_body_plan* plan, const plan_lay* lay, rlv_sheet* ruler,
                          rlv_paper* paper, size_t* left_out, rlv_error* error)
{
    plan_fit fit = {.plan = plan, .lay = lay, .ruler = ruler, .scale = plan->scale};
    rlv_status status = RLV_DONE;
    *left_out = 1;
    for (int least = plan->paper; least >= 0 && *left_out > 0 && status == RLV_DONE; least--)
        for (int brief = 0; brief < 2 && *left_out > 0 && status == RLV_DONE; brief++)
        {
            plan_page_free(page);
            *paper = page_on(page, &fit, least);
            page->brief = brief == 1;
            ruler->unit = page->unit;
            status = plan_label(page, ruler, left_out, error);
        }
    return status;
}

rlv_status rlv_sheet_of_body_plan(rlv_sheet* sheet, const rlv_body_plan* plan, size_t* left_out, rlv_error* error)
{
    static const char* const note[2] = {NOTE, RLV_NOTE_STATES};
    const char** room = NULL;
    rlv_body_plan noted = *plan;
    noted.title = rlv_title_noted(&plan->title, 2, note, &room, error);
    plan_lay lay = {0};
    rlv_sheet ruler = {0};
    plan_page page = {0};
    rlv_paper paper = {0};
    size_t missed = 0;
    memset(sheet, 0, sizeof *sheet);
    rlv_status status = room != NULL ? rlv_sheet_reserve(&ruler, 100.0, 100.0, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
        status = plan_lay_make(&lay, &plan->of, error);
    if (status == RLV_DONE)
        status = plan_page_make(&page, &noted, &lay, &ruler, &paper, &missed, error);
    if (status == RLV_DONE)
        status = draw(sheet, &page, paper, error);
    if (left_out != NULL)
        *left_out = missed;
    plan_page_free(&page);
    plan_lay_free(&lay);
    free(room);
    rlv_sheet_free(&ruler);
    if (status != RLV_DONE)
        rlv_sheet_free(sheet);
    return status;
}
