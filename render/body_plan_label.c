#include "body_plan_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const rlv_lettering plan_letters = {.size_mm = RLV_LETTER_SMALL, .grey = RLV_INK_BLACK, .halo_mm = 0.5};

#define FOOT_MM 4.0 // of a row's room, that numbers beneath its plates take

double plan_x(const plan_page* page, double along_mm)
{
    return page->left + (along_mm - page->lay->from_mm) * page->scale;
}

double plan_half(const plan_page* page, size_t row)
{
    return page->lay->row_mm[row][1] * page->scale + page->room;
}

double plan_y(const plan_page* page, size_t row)
{
    double y = page->top + plan_half(page, row);
    for (size_t k = 0; k < page->lay->rank[row]; k++)
        y += 2.0 * plan_half(page, page->lay->order[k]);
    return y;
}

double plan_tall(const plan_page* page)
{
    double tall = 0.0;
    for (size_t k = 0; k < page->lay->row_count; k++)
        tall += 2.0 * plan_half(page, page->lay->order[k]);
    return tall;
}

void plan_at(const plan_page* page, const plan_plate* plate, double at[2], bool* cut)
{
    const plan_lay* lay = page->lay;
    size_t row = page->plan->of.element[plate->element].row;
    double line = plate->placed ? plan_y(page, row)
                                : page->top + plan_tall(page) + 0.5 * PLAN_TRAY * page->unit +
                                      (page->aside != NULL ? page->aside[plate - lay->plate] : 0.0);
    const double from[2] = {plan_x(page, plate->life_mm), line};
    const double way[2] = {(plate->at_mm[0] - plate->life_mm) * page->scale, plate->at_mm[1] * page->scale};
    const double low[2] = {page->left, page->top}, high[2] = {plan_x(page, lay->to_mm), page->top + plan_tall(page)};
    double share = 1.0;
    for (int k = 0; k < 2 && plate->placed; k++)
    {
        double room = way[k] > 0.0 ? fmax(high[k] - from[k], 0.0) : fmax(from[k] - low[k], 0.0);
        share = fmin(share, fabs(way[k]) > room ? room / fabs(way[k]) : 1.0);
    }
    *cut = share < 1.0;
    for (int k = 0; k < 2; k++)
        at[k] = from[k] + share * way[k];
}

bool plan_moved(const plan_page* page, const plan_plate* plate, double from[2], double to[2], bool* cut)
{
    from[0] = plan_x(page, plate->life_mm);
    from[1] = plan_y(page, page->plan->of.element[plate->element].row);
    plan_at(page, plate, to, cut);
    return plate->placed && page->plan->of.told->element[plate->element].state != RLV_IN_PLACE &&
           hypot(to[0] - from[0], to[1] - from[1]) >= PLAN_LEAST_ARROW * page->unit;
}

void plan_path(rlv_sheet* sheet, const plan_page* page, const plan_plate* plate)
{
    double at[2], least = 0.8 * page->unit;
    bool cut;
    plan_at(page, plate, at, &cut);
    rlv_state_path_inside(sheet, page->plan->of.told->element[plate->element].state, at[0], at[1],
                          fmax(plate->half_mm[0] * page->scale, least), fmax(plate->half_mm[1] * page->scale, least),
                          plate->turn_rad);
}

// The box of a plate's outline, or of its sign.
static rlv_box2 box_of(const plan_page* page, rlv_sheet* ruler, const plan_plate* plate)
{
    double at[2], low[2], high[2];
    const double sign = PLAN_SIGN * page->unit;
    bool cut;
    plan_at(page, plate, at, &cut);
    if (page->plan->of.told->element[plate->element].state == RLV_UNASSIGNED)
        return (rlv_box2){at[0] - 0.5 * sign, at[1] - 0.5 * sign, sign, sign};
    plan_path(ruler, page, plate);
    cairo_path_extents(ruler->cairo, &low[0], &low[1], &high[0], &high[1]);
    cairo_new_path(ruler->cairo);
    return (rlv_box2){low[0], low[1], high[0] - low[0], high[1] - low[1]};
}

// Signs in the tray stand at their places along the body: those that would cover each other, one below the other.
static void stand_aside(plan_page* page)
{
    enum
    {
        LANES = 3
    };
    static const double lane_mm[LANES] = {0.0, 1.15 * PLAN_SIGN, -1.15 * PLAN_SIGN};
    const plan_lay* lay = page->lay;
    for (size_t i = 0; i < lay->plate_count; i++)
        for (int lane = 0; lane < LANES && !lay->plate[i].placed; lane++)
        {
            bool taken = false;
            page->aside[i] = lane_mm[lane] * page->unit;
            for (size_t k = 0; k < i; k++)
                taken = taken || (!lay->plate[k].placed && page->aside[k] == page->aside[i] &&
                                  fabs(lay->plate[k].at_mm[0] - lay->plate[i].at_mm[0]) * page->scale <
                                      1.1 * PLAN_SIGN * page->unit);
            if (!taken)
                break;
        }
}

// How far plates reach below the lines of their rows; one that went to another row does not count.
static void find_feet(plan_page* page, rlv_sheet* ruler)
{
    const plan_lay* lay = page->lay;
    for (size_t i = 0; i < lay->place_count; i++)
        page->foot[lay->place[i].row] = lay->row_mm[lay->place[i].row][1] * page->scale;
    for (size_t i = 0; i < lay->plate_count; i++)
    {
        const size_t row = page->plan->of.element[lay->plate[i].element].row;
        if (!lay->plate[i].placed)
            continue;
        const rlv_box2 box = box_of(page, ruler, &lay->plate[i]);
        const double foot = box.top + box.height - plan_y(page, row),
                     most = plan_half(page, row) - FOOT_MM * page->unit;
        if (foot <= most)
            page->foot[row] = fmax(page->foot[row], foot);
    }
}

// Half of what a plate as it lies spans along the page and down it.
static void span_of(const plan_page* page, const plan_plate* plate, double span[2])
{
    double c = fabs(cos(plate->turn_rad)), s = fabs(sin(plate->turn_rad));
    double half[2] = {plate->half_mm[0] * page->scale, plate->half_mm[1] * page->scale};
    span[0] = hypot(c * half[0], s * half[1]);
    span[1] = hypot(s * half[0], c * half[1]);
}

static bool in_place(const plan_page* page, const plan_place* place)
{
    return !place->unfilled && page->plan->of.told->element[place->of].state == RLV_IN_PLACE;
}

// A rectangle of the letters' size inside the ellipse, with some air.
static bool holds_number(const plan_page* page, const rlv_sheet* ruler, const plan_place* place)
{
    char words[16];
    double span[2] = {page->lay->row_mm[place->row][0] * page->scale, page->lay->row_mm[place->row][1] * page->scale};
    snprintf(words, sizeof words, "%d", place->place);
    rlv_text_size size = rlv_sheet_measure(ruler, words, &plan_letters);
    if (!place->unfilled)
        span_of(page, &page->lay->plate[place->plate], span);
    return pow(0.5 * size.width_mm / span[0], 2.0) + pow(0.5 * size.cap_mm / span[1], 2.0) < 0.8;
}

bool plan_number(const plan_page* page, const rlv_sheet* ruler, const plan_place* place, char words[16], double at[2])
{
    bool inside = page->numbered[place->row], still = in_place(page, place), cut;
    snprintf(words, 16, "%d", place->place);
    double cap = rlv_sheet_measure(ruler, words, &plan_letters).cap_mm;
    at[0] = plan_x(page, place->life_mm);
    at[1] = plan_y(page, place->row);
    if (!inside)
    {
        at[1] += page->foot[place->row] + 1.2 * page->unit + cap;
        return place->place == 1 || place->place % 5 == 0;
    }
    if (still)
        plan_at(page, &page->lay->plate[place->plate], at, &cut);
    at[1] += 0.5 * cap;
    return still || place->unfilled;
}

const char* plan_why_no_arrow(const plan_page* page, const plan_plate* plate)
{
    const rlv_skeleton* of = &page->plan->of;
    double from[2], to[2];
    bool cut;
    if (of->went == NULL || !of->went[plate->element] || !plate->placed || plan_moved(page, plate, from, to, &cut))
        return "";
    const double far = of->told->element[plate->element].motion.shift_mm.value * page->scale;
    return far < PLAN_LEAST_ARROW * page->unit ? ", too short to draw" : ", mostly out of the body wall";
}

// An id and, unless labels are brief, what is said beside it.
static void words_of(const plan_page* page, const plan_plate* plate, char words[PLAN_WORDS])
{
    const rlv_skeleton* of = &page->plan->of;
    const char* amount = page->brief ? NULL : of->amount[plate->element];
    rlv_print(words, PLAN_WORDS, "%s%s%s%s", rlv_shorten_name(of->id[plate->element], 30).text,
              amount != NULL ? " " : "", amount != NULL ? amount : "",
              amount != NULL ? plan_why_no_arrow(page, plate) : "");
}

static void add_plates(plan_page* page, const rlv_sheet* ruler)
{
    const double u = page->unit;
    for (size_t i = 0; i < page->lay->plate_count; i++)
        if (page->plan->of.told->element[page->lay->plate[i].element].state != RLV_IN_PLACE)
        {
            const plan_plate* plate = &page->lay->plate[i];
            rlv_label* label = &page->label[page->label_count];
            double at[2], half = fmin(plate->half_mm[0], plate->half_mm[1]) * page->scale;
            bool cut;
            plan_at(page, plate, at, &cut);
            page->labelled[page->label_count] = plate;
            words_of(page, plate, page->text[page->label_count]);
            rlv_text_size size = rlv_sheet_measure(ruler, page->text[page->label_count], &plan_letters);
            *label = (rlv_label){.anchor = {at[0], at[1]},
                                 .width = size.width_mm + 0.6 * u,
                                 .height = size.cap_mm + 1.2 * u,
                                 .clear = fmax(half, 1.2 * u)};
            page->label_count++;
        }
}

static void add_obstacle(plan_page* page, double x, double y, double half_wide, double half_tall)
{
    page->obstacle[page->obstacle_count++] = (rlv_box2){x - half_wide, y - half_tall, 2.0 * half_wide, 2.0 * half_tall};
}

#define COVERED 0.95 // of what a plate spans: its corners are round
#define SHAFT 8      // boxes along an arrow, at most, that labels keep off

#define ROUND_NUMBER 0.6 // clear of a number, that no label reads as part of it

// Beneath a row the line of its numbers is theirs alone: beside an id a number would read as part of it.
static void keep_number_lines(plan_page* page, const rlv_sheet* ruler)
{
    const plan_lay* lay = page->lay;
    const double cap = rlv_sheet_measure(ruler, "0", &plan_letters).cap_mm, u = page->unit;
    for (size_t i = 0, last; i < lay->place_count; i = last + 1)
    {
        const size_t row = lay->place[i].row;
        for (last = i; last + 1 < lay->place_count && lay->place[last + 1].row == row;)
            last++;
        const double from = plan_x(page, lay->place[i].life_mm), to = plan_x(page, lay->place[last].life_mm);
        if (!page->numbered[row])
            add_obstacle(page, 0.5 * (from + to), plan_y(page, row) + page->foot[row] + 1.2 * u + 0.5 * cap,
                         0.5 * (to - from) + 2.0 * u, 0.5 * cap + 0.3 * u);
    }
}

static bool meets_label(const plan_page* page, rlv_box2 box, double gap)
{
    for (size_t i = 0; i < page->label_count; i++)
    {
        const rlv_label* label = &page->label[i];
        if (label->fixed &&
            rlv_boxes_overlap((rlv_box2){label->left, label->top, label->width, label->height}, box, gap))
            return true;
    }
    return false;
}

static bool meets_obstacle(const plan_page* page, rlv_box2 box, double gap)
{
    for (size_t i = 0; i < page->obstacle_count; i++)
        if (rlv_boxes_overlap(box, page->obstacle[i], gap))
            return true;
    return false;
}

#define RAISED 1.0 // heights of a label that it may stand higher so as to clear its plate's neighbours

// A label stands over the middle of its plate, where that is free: anywhere else it may seem to be a neighbour's.
static void centre_labels(plan_page* page, rlv_sheet* ruler)
{
    const double gap = 0.4 * page->unit, step = 0.3 * page->unit;
    for (size_t i = 0; i < page->label_count; i++)
    {
        rlv_label* label = &page->label[i];
        const plan_plate* plate = page->labelled[i];
        if (plate == NULL || !plate->placed)
            continue;
        const double foot = box_of(page, ruler, plate).top - gap, low = foot - label->height;
        rlv_box2 box = {label->anchor[0] - 0.5 * label->width, low, label->width, label->height};
        while (meets_obstacle(page, box, 0.9 * gap) && box.top > low - RAISED * label->height)
            box.top -= step;
        if (box.top < page->top || meets_obstacle(page, box, 0.9 * gap) || meets_label(page, box, 0.9 * gap))
            continue;
        label->fixed = true;
        label->left = box.left;
        label->top = box.top;
    }
}

static void add_obstacles(plan_page* page, rlv_sheet* ruler)
{
    const double u = page->unit;
    keep_number_lines(page, ruler);
    for (size_t i = 0; i < page->lay->place_count; i++)
    {
        const plan_place* place = &page->lay->place[i];
        const double* half = page->lay->row_mm[place->row];
        char words[16];
        double at[2];
        if (place->unfilled)
            add_obstacle(page, plan_x(page, place->life_mm), plan_y(page, place->row), COVERED * half[0] * page->scale,
                         COVERED * half[1] * page->scale);
        if (!plan_number(page, ruler, place, words, at))
            continue;
        rlv_text_size size = rlv_sheet_measure(ruler, words, &plan_letters);
        add_obstacle(page, at[0], at[1] - 0.5 * size.cap_mm, 0.5 * size.width_mm + ROUND_NUMBER * u,
                     0.5 * size.cap_mm + 0.3 * u);
    }
    for (size_t i = 0; i < page->lay->plate_count; i++)
    {
        const plan_plate* plate = &page->lay->plate[i];
        double from[2], at[2];
        bool cut, moved = plan_moved(page, plate, from, at, &cut);
        page->obstacle[page->obstacle_count++] = box_of(page, ruler, plate);
        for (int k = 0; k < SHAFT && moved; k++)
        {
            double share = (double)k / SHAFT;
            add_obstacle(page, from[0] + share * (at[0] - from[0]), from[1] + share * (at[1] - from[1]), 0.2 * u,
                         0.2 * u);
        }
    }
}

// Words over a group stand where they are; neither a label nor its leader runs through them.
static void add_groups(plan_page* page)
{
    for (size_t g = 0; g < page->plan->of.told->group_count; g++)
    {
        rlv_box2 box = plan_bracket(page, g);
        page->text[page->label_count][0] = '\0';
        page->label[page->label_count++] =
            (rlv_label){.anchor = {box.left + 0.5 * box.width, box.top + 0.5 * box.height},
                        .width = box.width,
                        .height = box.height,
                        .fixed = true,
                        .left = box.left,
                        .top = box.top};
    }
}

rlv_box2 plan_bracket(const plan_page* page, size_t group)
{
    const rlv_articulation_group* of = &page->plan->of.told->group[group];
    double from = INFINITY, to = -INFINITY, half = page->lay->row_mm[of->row][0] * page->scale;
    for (size_t i = 0; i < page->lay->place_count; i++)
    {
        const plan_place* place = &page->lay->place[i];
        if (place->row != of->row || place->place < of->first || place->place > of->last)
            continue;
        double x = plan_x(page, place->life_mm);
        from = fmin(from, x - half);
        to = fmax(to, x + half);
    }
    return (rlv_box2){from, plan_y(page, of->row) - plan_half(page, of->row) + 0.6 * page->unit, to - from,
                      3.8 * page->unit};
}

rlv_status plan_label(plan_page* page, rlv_sheet* ruler, size_t* left_out, rlv_error* error)
{
    const rlv_articulation* told = page->plan->of.told;
    size_t most = page->lay->plate_count + told->group_count;
    page->label = rlv_reserve(most, sizeof *page->label, error);
    page->text = rlv_reserve(most, sizeof *page->text, error);
    page->obstacle =
        rlv_reserve((SHAFT + 1) * most + 2 * page->lay->place_count + told->row_count, sizeof *page->obstacle, error);
    page->labelled = rlv_reserve(most, sizeof *page->labelled, error);
    page->numbered = rlv_reserve(told->row_count, sizeof *page->numbered, error);
    page->foot = rlv_reserve(told->row_count, sizeof *page->foot, error);
    page->aside = rlv_reserve(page->lay->plate_count, sizeof *page->aside, error);
    if (page->labelled == NULL || page->foot == NULL || page->aside == NULL || page->label == NULL ||
        page->text == NULL || page->obstacle == NULL || page->numbered == NULL)
        return RLV_SYSTEM;
    page->label_count = page->obstacle_count = 0;
    for (size_t r = 0; r < told->row_count; r++)
        page->numbered[r] = true;
    for (size_t i = 0; i < page->lay->place_count; i++)
    {
        const plan_place* place = &page->lay->place[i];
        if ((in_place(page, place) || place->unfilled) && !holds_number(page, ruler, place))
            page->numbered[place->row] = false;
    }
    stand_aside(page);
    find_feet(page, ruler);
    add_groups(page);
    add_plates(page, ruler);
    add_obstacles(page, ruler);
    centre_labels(page, ruler);
    double tray = page->lay->tray ? PLAN_TRAY * page->unit : 0.0;
    rlv_box2 within = {page->left - 2.0 * page->unit, page->top, page->width + 4.0 * page->unit,
                       plan_tall(page) + tray};
    const rlv_label_place among = {within, page->obstacle_count, page->obstacle, .gap = 0.35 * page->unit};
    *left_out = rlv_labels_place(page->label_count, page->label, &among);
    return RLV_DONE;
}

void plan_page_free(plan_page* page)
{
    free(page->label);
    free(page->text);
    free(page->labelled);
    page->labelled = NULL;
    free(page->obstacle);
    free(page->numbered);
    free(page->foot);
    free(page->aside);
    page->foot = page->aside = NULL;
    page->numbered = NULL;
    page->label = NULL;
    page->text = NULL;
    page->obstacle = NULL;
}
