#include "history_articulation_sheets.h"

#include "body_plan.h"
#include "history_sheet_job.h"
#include "labels.h"
#include "net.h"
#include "report_articulation_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEVEL 0.05 // of tests of single figures: a mean is drawn, and a motion told, where one rejects below this

static const history_element* element_of(const history_articulation* a, size_t given)
{
    return &a->elements->one[a->element_of[given]];
}

size_t articulation_sheet_stage(const rlv_history* history)
{
    return history->joined ? history->stage_count - 1 : history->frame;
}

/// What every one of these sheets begins with: its subject, and the stages that elements were seen on.
static rlv_status begin(sheet_job* job, const history_articulation* a, const char* subject, rlv_error* error)
{
    rlv_status status = sheet_begin(job, a->elements->history->frame, error);
    if (status != RLV_DONE)
        return status;
    snprintf(job->subject, sizeof job->subject, "%s", subject);
    for (size_t i = 0; i < job->history->stage_count; i++)
        sheet_add_stage(job, &job->history->stage[i]);
    return RLV_DONE;
}

static rlv_open_why open_why(const history_articulation* a, size_t element)
{
    return a->why[element] == HISTORY_OFF_ROW  ? RLV_OPEN_OFF_ROW
           : a->why[element] == HISTORY_NO_ROW ? RLV_OPEN_NO_ROW
                                               : RLV_OPEN_UNJUDGED;
}

// --- The body plan ---------------------------------------------------------------------------------------------------

typedef struct plan_words
{
    rlv_open_why* open;
    bool* went; ///< how far it went is said beside its id
    const char **id, **amount, **group;
    char (*text)[64], (*group_text)[96];
    rlv_body_row* row;
    report_text summary;
} plan_words;

static void free_words(plan_words* words)
{
    free(words->open);
    free(words->went);
    free(words->id);
    free(words->amount);
    free(words->group);
    free(words->text);
    free(words->group_text);
    free(words->row);
}

static rlv_status reserve_words(plan_words* words, const history_articulation* a, rlv_error* error)
{
    words->open = rlv_reserve(a->given_count, sizeof *words->open, error);
    words->went = rlv_reserve(a->given_count, sizeof *words->went, error);
    words->id = rlv_reserve(a->given_count, sizeof *words->id, error);
    words->amount = rlv_reserve(a->given_count, sizeof *words->amount, error);
    words->text = rlv_reserve(a->given_count, sizeof *words->text, error);
    words->group = rlv_reserve(a->fit.group_count, sizeof *words->group, error);
    words->group_text = rlv_reserve(a->fit.group_count, sizeof *words->group_text, error);
    words->row = rlv_reserve(a->row_count, sizeof *words->row, error);
    bool held = words->open != NULL && words->went != NULL && words->id != NULL && words->amount != NULL &&
                words->text != NULL && words->group != NULL && words->group_text != NULL && words->row != NULL;
    return held ? RLV_DONE : RLV_SYSTEM;
}

/// Whether how far an element is from its life position is more than scatter.
static bool went(const rlv_articulated* one)
{
    return one->state != RLV_IN_PLACE && one->state != RLV_UNASSIGNED &&
           (one->state == RLV_SHIFTED || one->group > 0 || one->p_shift < LEVEL);
}

static bool went_by_itself(const rlv_articulated* one)
{
    return one->group == 0 && went(one) && isfinite(one->motion.shift_mm.value);
}

/// "6.2 mm", "118°": what is said of an element beside its id. What moved with a stretch leaves that to the stretch.
static void put_amount(char words[64], const rlv_articulated* one)
{
    const rlv_body_motion* m = &one->motion;
    size_t put = 0;
    words[0] = '\0';
    if (one->state == RLV_IN_PLACE || one->state == RLV_UNASSIGNED)
        return;
    if (went_by_itself(one))
        put = (size_t)snprintf(words, 64, "%.20s" RLV_THIN "mm", words_value(m->shift_mm, 1.0).text);
    if (one->state == RLV_ROTATED && isfinite(m->rotation_deg.value))
        snprintf(words + put, 64 - put, "%s%.20s\xc2\xb0", put > 0 ? ", " : "", words_value(m->rotation_deg, 1.0).text);
}

static rlv_body_side side_of(const rlv_row_record* row)
{
    return row->side != NULL && strcmp(row->side, "left") == 0    ? RLV_BODY_LEFT
           : row->side != NULL && strcmp(row->side, "right") == 0 ? RLV_BODY_RIGHT
                                                                  : RLV_BODY_MEDIAN;
}

static rlv_status skeleton_of(rlv_skeleton* of, plan_words* words, const history_articulation* a, rlv_error* error)
{
    rlv_status status = reserve_words(words, a, error);
    if (status != RLV_DONE)
        return status;
    for (size_t i = 0; i < a->given_count; i++)
    {
        put_amount(words->text[i], &a->fit.element[i]);
        words->went[i] = went_by_itself(&a->fit.element[i]);
        words->open[i] = open_why(a, a->element_of[i]);
        words->id[i] = element_of(a, i)->record->id;
        words->amount[i] = words->text[i][0] != '\0' ? words->text[i] : NULL;
    }
    for (size_t g = 0; g < a->fit.group_count; g++)
    {
        const rlv_articulation_group* group = &a->fit.group[g];
        snprintf(words->group_text[g], sizeof words->group_text[g], "%zu together, %.20s" RLV_THIN "mm (%.40s)",
                 group->count, words_value(group->motion.shift_mm, 1.0).text,
                 words_ends(group->motion.shift_mm, 1.0).text);
        words->group[g] = words->group_text[g];
    }
    for (size_t r = 0; r < a->row_count; r++)
    {
        const rlv_row_record* row = &a->elements->history->specimen->row[r];
        words->row[r] = (rlv_body_row){row->id, row->title, side_of(row)};
    }
    sheet_letters(words->summary.text, sizeof words->summary.text, articulation_verdict(a).text);
    *of = (rlv_skeleton){.told = &a->fit,
                         .element = a->given,
                         .open = words->open,
                         .id = words->id,
                         .amount = words->amount,
                         .went = words->went,
                         .group = words->group,
                         .summary = words->summary.text,
                         .row = words->row};
    return RLV_DONE;
}

enum
{
    FEW_ROWS = 2, ///< whose plan needs no more than A4
};

static rlv_status draw_plan(sheet_job* job, const history_articulation* a, rlv_error* error)
{
    plan_words words = {0};
    rlv_sheet sheet = {0};
    rlv_body_plan plan = {.scale = job->order.scale,
                          .paper = job->order.scale > 0.0 || a->row_count <= FEW_ROWS ? SHEET_SMALL : SHEET_PAPER};
    rlv_status status = begin(job, a, "The unrolled body plan: where each element lies, and where it belonged", error);
    if (status == RLV_DONE)
        status = skeleton_of(&plan.of, &words, a, error);
    if (status == RLV_DONE)
    {
        job->title.frame = "the body’s own: along its axis, and across it";
        plan.title = job->title;
        status = rlv_sheet_of_body_plan(&sheet, &plan, &job->left_out, error);
    }
    if (status == RLV_DONE)
    {
        char alt[1400];
        snprintf(
            alt, sizeof alt,
            "The rows of the skeleton, one above the other, with each element at its place along the body axis, by "
            "its state; %s and %s. %s.",
            words_count(a->fit.unfilled_count, "unfilled life position").text,
            words_count(a->fit.group_count, "stretch/stretches").text, words.summary.text);
        status = sheet_keep(job, &sheet,
                            "The body laid flat, head to the left: where each element lies and where it belonged, with "
                            "the share in place along the body.",
                            alt, error);
    }
    rlv_sheet_free(&sheet);
    free_words(&words);
    return status;
}

// --- The bone map ----------------------------------------------------------------------------------------------------

/// What is drawn on a bone map.
typedef struct bones
{
    rlv_vec3** ring; ///< one an element
    rlv_panel_area* area;
    rlv_panel_expected* expected;
    char (*expected_text)[192];
    rlv_panel_curve axis[3]; ///< told by elements; beyond the first of them, and beyond the last
    char beyond_text[96];
    rlv_panel_grid grid;
    rlv_panel_marks marks;
} bones;

static void free_bones(bones* b, const history_articulation* a)
{
    for (size_t i = 0; b->ring != NULL && i < a->elements->count; i++)
        free(b->ring[i]);
    free(b->ring);
    free(b->area);
    free(b->expected);
    free(b->expected_text);
}

/// The last stage that shows all of an element by an outline of points, on the block; NULL where none does.
static const history_sighting* outlined(const history_element* e)
{
    for (size_t i = e->sighting_count; i-- > 0;)
    {
        const history_sighting* s = &e->sighting[i];
        bool before = !e->fusion.disturbed || i < e->fusion.since;
        if (s->placed && !s->by_part && !s->partial && before && strcmp(s->mesh, "block") == 0)
            return s;
    }
    return NULL;
}

/// Its outline in the block frame; the count is 0 where it has landmarks alone.
static rlv_status recorded_ring(rlv_vec3** ring, size_t* count, const rlv_history* history, const history_element* e,
                                rlv_error* error)
{
    const history_sighting* s = outlined(e);
    size_t points = 0;
    *count = 0;
    if (s == NULL)
        return RLV_DONE;
    const history_stage* stage = &history->stage[s->stage];
    const size_t* index = rlv_specimen_points(history->specimen, stage->record->id, "block", e->record->id, &points);
    const rlv_pose pose = history_pose(history, s->stage);
    if ((*ring = rlv_reserve(points, sizeof **ring, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < points; i++)
    {
        const rlv_point_record* point = &history->specimen->point[index[i]];
        if (rlv_specimen_point_number(point) > 0)
            (*ring)[(*count)++] = rlv_pose_apply(
                &pose, rlv_vec3_scale(rlv_vec3_of(point->at[0], point->at[1], point->at[2]), stage->mm_per_unit));
    }
    return RLV_DONE;
}

enum
{
    ROUND = 24 ///< points of an ellipse in place of an outline
};

#define UNSIZED 3.0 // half of an element whose size is not known, mm

/// An ellipse of its length and width, in its plate's plane.
static rlv_status ellipse_ring(rlv_vec3** ring, size_t* count, const rlv_element* e, rlv_error* error)
{
    double half[2] = {0.5 * e->length_mm.value, 0.5 * e->width_mm.value};
    free(*ring);
    if ((*ring = rlv_reserve(ROUND, sizeof **ring, error)) == NULL)
        return RLV_SYSTEM;
    half[0] = isfinite(half[0]) ? half[0] : isfinite(half[1]) ? half[1] : UNSIZED;
    half[1] = isfinite(half[1]) ? half[1] : half[0];
    for (size_t i = 0; i < ROUND; i++)
    {
        double angle = 2.0 * M_PI * (double)i / ROUND, a = half[0] * cos(angle), b = half[1] * sin(angle);
        (*ring)[i] = rlv_vec3_of(e->position_mm[0] + a * e->frame[0] + b * e->frame[1],
                                 e->position_mm[1] + a * e->frame[3] + b * e->frame[4],
                                 e->position_mm[2] + a * e->frame[6] + b * e->frame[7]);
    }
    *count = ROUND;
    return RLV_DONE;
}

/// Where an element that went belonged; NULL of all others.
static const rlv_vec3* life_of(const history_articulation* a, size_t element)
{
    const size_t given = a->given_of[element];
    return given != SIZE_MAX && went(&a->fit.element[given]) ? &a->fit.element[given].life_mm : NULL;
}

static rlv_status add_areas(bones* b, const history_articulation* a, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < a->elements->count && status == RLV_DONE; i++)
    {
        const history_element* e = &a->elements->one[i];
        size_t count = 0;
        if (!e->placed)
            continue;
        status = recorded_ring(&b->ring[i], &count, a->elements->history, e, error);
        if (status == RLV_DONE && count < 3)
            status = ellipse_ring(&b->ring[i], &count, &e->told, error);
        b->area[b->marks.area_count++] = (rlv_panel_area){.ring_count = count,
                                                          .ring_mm = b->ring[i],
                                                          .state = history_state(a, i),
                                                          .open = open_why(a, i),
                                                          .label = e->record->id,
                                                          .life_mm = life_of(a, i)};
    }
    return status;
}

/// Of the vague places of a row that follow each other, the one in the middle bears the name of all; NULL of others.
static void name_expected(bones* b, const history_articulation* a, size_t first, size_t last)
{
    const rlv_unfilled* u = a->fit.unfilled;
    const size_t middle = first + (last - first) / 2;
    const rlv_short_name row = rlv_shorten_name(a->elements->history->specimen->row[u[first].row].id, 20);
    const size_t size = sizeof b->expected_text[middle];
    if (last > first)
        snprintf(b->expected_text[middle], size, "%s pl. %d\u2013%d", row.text, u[first].place, u[last].place);
    else
        snprintf(b->expected_text[middle], size, "%s pl. %d", row.text, u[first].place);
    b->expected[middle].label = b->expected_text[middle];
}

static size_t last_vague(const history_articulation* a, size_t first)
{
    const rlv_unfilled* u = a->fit.unfilled;
    size_t last = first;
    while (articulation_is_vague(a, first) && last + 1 < a->fit.unfilled_count && articulation_is_vague(a, last + 1) &&
           u[last + 1].row == u[last].row && u[last + 1].place == u[last].place + 1)
        last++;
    return last;
}

static void add_expected(bones* b, const history_articulation* a)
{
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
    {
        const rlv_unfilled* u = &a->fit.unfilled[i];
        b->expected[b->marks.expected_count++] = (rlv_panel_expected){.at_mm = u->position_mm,
                                                                      .covariance_mm2 = u->covariance_mm2,
                                                                      .radius2 = u->radius2,
                                                                      .corridor = u->corridor,
                                                                      .vague = articulation_is_vague(a, i),
                                                                      .row = u->row,
                                                                      .place = u->place};
    }
    for (size_t first = 0, last; first < a->fit.unfilled_count; first = last + 1)
    {
        last = last_vague(a, first);
        name_expected(b, a, first, last);
    }
}

/// The axis, solid as far as elements in place tell it. Beyond them it is only carried on.
static void add_axis(bones* b, const history_articulation* a)
{
    const rlv_body_axis* axis = &a->fit.axis;
    const rlv_body_ahead* ahead = &a->fit.ahead;
    double from = INFINITY, to = -INFINITY;
    for (size_t i = 0; i < a->given_count; i++)
        if (a->fit.element[i].state == RLV_IN_PLACE)
        {
            from = fmin(from, a->fit.element[i].along_mm);
            to = fmax(to, a->fit.element[i].along_mm);
        }
    const size_t last = axis->count - 1;
    const size_t first_told = from < to ? (size_t)fmin(fmax(floor(from / axis->step_mm), 0.0), (double)last) : 0,
                 last_told = from < to ? (size_t)fmin(fmax(ceil(to / axis->step_mm), 0.0), (double)last) : last;
    snprintf(b->beyond_text, sizeof b->beyond_text, "body axis beyond the elements that tell it");
    if (ahead->count > 0 && isfinite(ahead->station[ahead->count - 1].across_sd_mm))
    {
        const rlv_body_station* far = &ahead->station[ahead->count - 1];
        snprintf(b->beyond_text, sizeof b->beyond_text,
                 "body axis beyond its elements: \u00b1 %.8s" RLV_THIN "mm (95" RLV_THIN "%%), %.0f" RLV_THIN "mm on",
                 words_figures(RLV_HALF_95 * far->across_sd_mm, 2).text, far->ahead_mm);
    }
    b->axis[b->marks.curve_count++] =
        (rlv_panel_curve){last_told - first_told + 1, axis->at_mm + first_told, false, "body axis"};
    if (first_told > 0)
        b->axis[b->marks.curve_count++] =
            (rlv_panel_curve){first_told + 1, axis->at_mm, true, last_told < last ? NULL : b->beyond_text};
    if (last_told < last)
        b->axis[b->marks.curve_count++] =
            (rlv_panel_curve){last - last_told + 1, axis->at_mm + last_told, true, b->beyond_text};
}

static rlv_status bones_of(bones* b, const history_articulation* a, rlv_error* error)
{
    size_t elements = a->elements->count;
    b->ring = rlv_reserve(elements, sizeof *b->ring, error);
    b->area = rlv_reserve(elements, sizeof *b->area, error);
    b->expected = rlv_reserve(a->fit.unfilled_count, sizeof *b->expected, error);
    b->expected_text = rlv_reserve(a->fit.unfilled_count, sizeof *b->expected_text, error);
    if (b->ring == NULL || b->area == NULL || b->expected == NULL || b->expected_text == NULL)
        return RLV_SYSTEM;
    rlv_status status = add_areas(b, a, error);
    add_expected(b, a);
    add_axis(b, a);
    b->marks.area = b->area;
    b->marks.expected = b->expected;
    b->marks.curve = b->axis;
    return status;
}

// --- Bone that is no element -----------------------------------------------------------------------------------------

#define ROUND_ELEMENT 2.0 // mm from an element's outline that bone still counts as its own: points are set by hand

// On paper: bone beside elements that is narrower, or encloses less, is roughness, such as tubercles of skin.
#define CALM_BONE_MM 2.0
#define LEAST_BONE_MM2 100.0

/// Of the bone of a stage, what is of no element that is drawn.
static rlv_status outline_rest(stage_look* look, const rlv_mesh* mesh, const bones* b, const rlv_camera_axes* axes,
                               rlv_error* error)
{
    look->outline.line_mm = RLV_LINE_THIN;
    look->outline.calm_mm = CALM_BONE_MM;
    look->outline.least_mm2 = LEAST_BONE_MM2;
    look->outline.words = "bone that showed, no element recorded; granules and scraps left out";
    return rlv_panel_leave_areas(look->bone, mesh, axes, b->marks.area_count, b->marks.area, ROUND_ELEMENT, error);
}

static void bedding_words(char* into, size_t size, const history_elements* elements)
{
    const rlv_strike strike = rlv_strike_of(&elements->compass, elements->bedding.pole);
    const double sd_deg = rlv_plane_pole_sd_deg(&elements->bedding);
    if (elements->compass_known)
        snprintf(into, size, "bedding: dip %.8s\u00b0 \u00b1 %.8s\u00b0 (95" RLV_THIN "%%) towards %03d\u00b0",
                 words_known(strike.dip_deg, sd_deg).text, words_figures(RLV_HALF_95 * sd_deg, 2).text,
                 (int)lround(strike.strike_deg + 90.0) % 360);
    else
        snprintf(into, size, "bedding");
}

/// The table of free places as it is printed on a bone map.
typedef struct places_table
{
    size_t rows;
    char (*text)[240];
    const char** cell;
} places_table;

enum
{
    PLACES_COLUMNS = 6,
    PLACES_MOST = 24, ///< rows on a map; the report's table has all
};

static const char* const places_head[PLACES_COLUMNS] = {
    "place", "to find it", "where", "depth mm", "may have been that of", "of none known"};
static const bool places_right[PLACES_COLUMNS] = {false};

static void free_places(places_table* t)
{
    free(t->text);
    free(t->cell);
}

static rlv_status places_of(places_table* t, const history_articulation* a, rlv_error* error)
{
    static const size_t column[PLACES_COLUMNS] = {0, 2, 4, 5, 7, 8}; // of the table that people read
    rlv_table wall = articulation_unfilled_wall(a);
    t->rows = table_rows(&wall) < PLACES_MOST ? table_rows(&wall) : PLACES_MOST;
    t->text = rlv_reserve(t->rows * PLACES_COLUMNS, sizeof *t->text, error);
    t->cell = rlv_reserve(t->rows * PLACES_COLUMNS, sizeof *t->cell, error);
    rlv_status status = t->text != NULL && t->cell != NULL ? table_check(&wall, error) : RLV_SYSTEM;
    for (size_t i = 0; i < t->rows * PLACES_COLUMNS && status == RLV_DONE; i++)
    {
        const table_shown shown = table_show(&wall, i / PLACES_COLUMNS, column[i % PLACES_COLUMNS]);
        sheet_letters(t->text[i], sizeof t->text[i], shown.text != NULL ? shown.text : shown.number.text);
        t->cell[i] = t->text[i];
    }
    table_free(&wall);
    return status;
}

static rlv_status put_bones(sheet_job* job, const history_articulation* a, rlv_sheet_view* view,
                            const places_table* places, rlv_error* error)
{
    char bedding[120], caption[400], alt[1600];
    rlv_sheet sheet = {0};
    rlv_gallery gallery = {.title = job->title,
                           .axes = job->view.axes,
                           .view_count = 1,
                           .view = view,
                           .scale = job->order.fit           ? 0.0
                                    : job->order.scale > 0.0 ? job->order.scale
                                                             : 1.0,
                           .paper = job->order.fit ? SHEET_PAPER : SHEET_SMALL,
                           .direction_count = job->view.direction_count,
                           .direction = job->view.direction,
                           .table = {PLACES_COLUMNS, places->rows, places_head, places->cell, places_right},
                           .table_caption = "Places without an element: where bone may lie. Depth is of the middle of "
                                            "a plate below the nearest place of today’s surface, below zero above it; "
                                            "its edges may lie nearer"};
    if (a->elements->bedding_known)
    {
        bedding_words(bedding, sizeof bedding, a->elements);
        gallery.bedding = &a->elements->bedding.pole;
        gallery.bedding_words = bedding;
        gallery.bedding_up = a->elements->up_known ? &a->elements->up : NULL;
    }
    job->order.scale = gallery.scale;
    rlv_status status = rlv_sheet_of_gallery(&sheet, &gallery, &job->left_out, error);
    snprintf(caption, sizeof caption, "Bone map on stage %.100s, %s.", job->history->stage[job->order.stage].record->id,
             job->view.words);
    snprintf(alt, sizeof alt,
             "The block at stage %.100s with the outlines of %s in their states, arrows from life positions, %s and "
             "the body axis. %s.",
             job->history->stage[job->order.stage].record->id, words_count(view->marks.area_count, "element").text,
             words_count(a->fit.unfilled_count, "unfilled life position").text, articulation_verdict(a).text);
    if (status == RLV_DONE)
        status = sheet_keep(job, &sheet, caption, alt, error);
    rlv_sheet_free(&sheet);
    return status;
}

static rlv_status draw_bones(sheet_job* job, const history_articulation* a, rlv_error* error)
{
    bones b = {0};
    places_table places = {0};
    stage_look look = {0};
    rlv_sheet_view view = {0};
    const char* stage = job->history->stage[job->order.stage].record->id;
    if (!job->history->joined && job->order.stage != job->history->frame)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "name the stage of the frame, or none",
                        "stage %.100s is not in the block's frame: %.400s", stage, job->history->apart);
    rlv_status status = begin(job, a, "", error);
    if (status == RLV_DONE)
        status = sheet_look_at(&look, &view, job->history, job->order.stage, true, error);
    if (status == RLV_DONE)
        status = bones_of(&b, a, error);
    if (status == RLV_DONE)
        status = places_of(&places, a, error);
    if (status == RLV_DONE && look.bone != NULL)
        status = outline_rest(&look, view.surface.mesh, &b, &job->view.axes, error);
    if (status == RLV_DONE)
    {
        char words[256];
        sheet_stage_words(words, sizeof words, job->history->stage[job->order.stage].record);
        snprintf(job->subject, sizeof job->subject, "Bone map, on stage %s", words);
        view.marks = b.marks;
        if (history_grid_on(&b.grid, job->history, job->history->frame, &job->view.axes))
            view.marks.grid = &b.grid;
        sheet_line(&look.lines, "%s", articulation_verdict(a).text);
        view.line_count = look.lines.count;
        status = put_bones(job, a, &view, &places, error);
    }
    free_bones(&b, a);
    free_places(&places);
    sheet_free_look(&look);
    return status;
}

// --- Directions ------------------------------------------------------------------------------------------------------

enum
{
    NAMED = 30 ///< motions, at most, that bear their ids
};

/// What a sheet of directions holds.
typedef struct directions
{
    rlv_net_point *pole, *motion;
    char (*name)[192]; ///< of each motion
    double* azimuth_deg;
    const char** azimuth_name;
    double* likely_deg; ///< of each off its row, from its likeliest place
    char (*likely_text)[192];
    const char** likely_name;
    rlv_rose_arc* arc; ///< of each stretch, then of the current
    size_t poles, azimuths, likely, arcs;
    report_text words[3]; ///< beneath the poles, the motions and the rose
} directions;

static void free_directions(directions* d)
{
    free(d->pole);
    free(d->motion);
    free(d->name);
    free(d->azimuth_deg);
    free(d->azimuth_name);
    free(d->likely_deg);
    free(d->likely_text);
    free(d->likely_name);
    free(d->arc);
}

/// The element that moved, or the places of the stretch that did.
static void name_motion(char name[192], const history_articulation* a, const rlv_disturbance_motion* m)
{
    if (m->group > 0)
        rlv_print(name, 192, "places %d\u2013%d of %s", a->fit.group[m->group - 1].first,
                  a->fit.group[m->group - 1].last,
                  rlv_shorten_name(a->elements->history->specimen->row[m->row].id, 40).text);
    else
        rlv_print(name, 192, "%s", rlv_shorten_name(element_of(a, m->element)->record->id, 80).text);
}

/// Which of the poles that are drawn count in the tensor, and which elements have none that is drawn.
static void add_sample(report_text* words, const history_articulation* a, const directions* d)
{
    size_t together = 0;
    for (size_t i = 0; i < a->given_count; i++)
        together += a->fit.element[i].group > 0 && a->fit.element[i].state == RLV_SHIFTED &&
                    (a->given[i].element.known & RLV_ELEMENT_POLE) != 0;
    const rlv_disturbance_axes* poles = &a->disturbance.all.poles;
    report_add(words, ". Counted: %zu displaced by themselves", poles->tensor.count - poles->off_row);
    if (poles->off_row > 0)
        report_add(words, " and %zu off their rows", poles->off_row);
    if (together > 0)
        report_add(words, "; not %zu that only moved with a stretch, which is one motion", together);
    size_t placed = 0;
    for (size_t i = 0; i < a->elements->count; i++)
        placed += a->elements->one[i].placed;
    report_add(words, ". Drawn: %zu known poles of the %zu elements that are placed", d->poles, placed);
    if (placed > d->poles)
        report_add(words, "; left out: %zu, of no known pole or not judged", placed - d->poles);
}

/// Which way a motion went in the level, from north; NaN where it has no direction there.
static double level_trend_deg(const history_articulation* a, rlv_vec3 motion)
{
    const rlv_vec3 level = rlv_vec3_along(motion, -rlv_vec3_dot(motion, a->level_up), a->level_up);
    return rlv_vec3_length(level) > 0.0 ? rlv_trend_of(&a->elements->compass, level).trend_deg : (double)NAN;
}

/// What lies off its row, from where it most likely belonged.
static void add_likely(directions* d, const history_articulation* a)
{
    for (size_t i = 0; i < a->stray_count; i++)
    {
        const history_stray* stray = &a->stray[i];
        if (a->why[stray->element] != HISTORY_OFF_ROW || stray->candidates.count == 0)
            continue;
        const rlv_candidate* from = &stray->candidates.candidate[0];
        const double trend_deg = level_trend_deg(
            a, rlv_articulation_motion_from(&a->fit.unfilled[from->unfilled], &a->given[a->given_of[stray->element]]));
        if (!isfinite(trend_deg))
            continue;
        rlv_print(d->likely_text[d->likely], sizeof d->likely_text[d->likely], "%s %s",
                  rlv_shorten_name(articulation_id(a, stray->element), 80).text, words_chance(from->probability).text);
        d->likely_name[d->likely] = d->likely_text[d->likely];
        d->likely_deg[d->likely++] = trend_deg;
    }
}

/// The directions that one motion on the body has over the elements of its stretch, where the row curves.
static void add_range(directions* d, const history_articulation* a, const rlv_disturbance_motion* m)
{
    rlv_rose_arc arc = {.middle_deg = m->trend_deg, .from_deg = m->trend_deg, .to_deg = m->trend_deg};
    for (size_t i = 0; i < a->given_count; i++)
    {
        if (a->fit.element[i].group != m->group)
            continue;
        const articulation_way way = articulation_way_of(&a->fit.group[m->group - 1].motion, &a->fit.element[i].body);
        const double off = remainder(level_trend_deg(a, way.motion_mm) - m->trend_deg, 360.0);
        arc.from_deg = fmin(arc.from_deg, m->trend_deg + off);
        arc.to_deg = fmax(arc.to_deg, m->trend_deg + off);
    }
    if (arc.to_deg > arc.from_deg)
        d->arc[d->arcs++] = arc;
}

/// What is told by compass beside the counted motions: nothing where north or up is not known.
static rlv_status add_beside(directions* d, const history_articulation* a, rlv_error* error)
{
    const rlv_disturbance* of = &a->disturbance;
    carried_way way;
    d->likely_deg = rlv_reserve(a->stray_count, sizeof *d->likely_deg, error);
    d->likely_text = rlv_reserve(a->stray_count, sizeof *d->likely_text, error);
    d->likely_name = rlv_reserve(a->stray_count, sizeof *d->likely_name, error);
    d->arc = rlv_reserve(of->motion_count + 1, sizeof *d->arc, error);
    if (d->likely_deg == NULL || d->likely_text == NULL || d->likely_name == NULL || d->arc == NULL)
        return RLV_SYSTEM;
    if (!a->elements->compass_known || !(rlv_vec3_length(a->level_up) > 0.0))
        return RLV_DONE;
    add_likely(d, a);
    for (size_t i = 0; i < of->motion_count; i++)
        if (of->motion[i].group > 0 && of->motion[i].trust > 0.0 && isfinite(of->motion[i].trend_deg))
            add_range(d, a, &of->motion[i]);
    if (!articulation_has_off_row(a) || !articulation_carried_way(&way, a))
        return RLV_DONE;
    d->arc[d->arcs++] = (rlv_rose_arc){way.trend_deg, way.trend_deg - way.half_deg, way.trend_deg + way.half_deg, true};
    report_text words = d->words[2];
    report_add(&words, ". Current, from those off their rows too: %s likely, towards %03d ± %.0f°",
               words_chance(a->carried.probability).text, way.trend_deg, way.half_deg);
    sheet_letters(d->words[2].text, sizeof d->words[2].text, words.text);
    return RLV_DONE;
}

static rlv_status directions_of(directions* d, const history_articulation* a, rlv_error* error)
{
    static const size_t line_of[3] = {2, 1, 0};
    const rlv_disturbance* of = &a->disturbance;
    d->pole = rlv_reserve(a->given_count, sizeof *d->pole, error);
    d->motion = rlv_reserve(of->motion_count, sizeof *d->motion, error);
    d->name = rlv_reserve(of->motion_count, sizeof *d->name, error);
    d->azimuth_deg = rlv_reserve(of->motion_count, sizeof *d->azimuth_deg, error);
    d->azimuth_name = rlv_reserve(of->motion_count, sizeof *d->azimuth_name, error);
    if (d->name == NULL || d->pole == NULL || d->motion == NULL || d->azimuth_deg == NULL || d->azimuth_name == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < a->given_count; i++)
    {
        const rlv_element* e = &a->given[i].element;
        const rlv_articulation_state state = a->fit.element[i].state;
        const rlv_open_why open = open_why(a, a->element_of[i]);
        if ((e->known & RLV_ELEMENT_POLE) == 0 || (state == RLV_UNASSIGNED && open != RLV_OPEN_OFF_ROW))
            continue;
        d->pole[d->poles++] = (rlv_net_point){rlv_vec3_of(e->frame[2], e->frame[5], e->frame[8]), state, NULL, open};
    }
    for (size_t i = 0; i < of->motion_count; i++)
    {
        const rlv_disturbance_motion* m = &of->motion[i];
        name_motion(d->name[i], a, m);
        d->motion[i] = (rlv_net_point){m->motion_mm, a->fit.element[m->element].state,
                                       of->motion_count <= NAMED ? d->name[i] : NULL, RLV_OPEN_UNJUDGED};
        if (m->trust > 0.0 && isfinite(m->trend_deg))
        {
            d->azimuth_name[d->azimuths] = d->name[i];
            d->azimuth_deg[d->azimuths++] = m->trend_deg;
        }
    }
    const report_lines lines = disturbance_lines(a);
    for (int i = 0; i < 3; i++)
    {
        const report_line* line = &lines.line[line_of[i]];
        report_text words;
        rlv_print(words.text, sizeof words.text, "%s: %.900s", line->name, line->words.text);
        if (i == 0)
            add_sample(&words, a, d);
        sheet_letters(d->words[i].text, sizeof d->words[i].text, words.text);
    }
    const rlv_status status = add_beside(d, a, error);
    if (status != RLV_DONE)
        return status;
    return d->poles + of->motion_count + d->likely > 0
               ? RLV_DONE
               : rlv_fail(error, RLV_IMPOSSIBLE, NULL, "ask for the bone map or the body plan",
                          "no plate has a known pole, and nothing has moved: there is no direction to draw");
}

static rlv_status put_directions(sheet_job* job, const history_articulation* a, const directions* d, rlv_error* error)
{
    const history_elements* elements = a->elements;
    const rlv_disturbed* all = &a->disturbance.all;
    bool one_way = all->space.why == NULL && all->space.mean.uniform_p < LEVEL;
    bool one_bearing = all->level.why == NULL && all->level.uniform_p < LEVEL;
    rlv_sheet sheet = {0};
    const rlv_net net[2] = {{.name = "Poles of plates",
                             .count = d->poles,
                             .point = d->pole,
                             .tensor = all->poles.why == NULL ? &all->poles.tensor : NULL,
                             .words = d->words[0].text},
                            {.name = "Motions from life positions",
                             .directed = true,
                             .count = a->disturbance.motion_count,
                             .point = d->motion,
                             .mean = one_way ? &all->space.mean.mean : NULL,
                             .cone_deg = all->space.cone_deg,
                             .words = d->words[1].text}};
    const rlv_rose rose = {.name = a->level_of_bedding ? "Motions in the level of the bedding" : "Motions in the level",
                           .count = d->azimuths,
                           .azimuth_deg = d->azimuth_deg,
                           .label = d->azimuth_name,
                           .mean_deg = one_bearing ? all->level.trend_deg : NAN,
                           .half_deg = all->level.half_deg,
                           .likely_count = d->likely,
                           .likely_deg = d->likely_deg,
                           .likely_label = d->likely <= NAMED ? d->likely_name : NULL,
                           .arc_count = d->arcs,
                           .arc = d->arc,
                           .words = d->words[2].text};
    const rlv_net_sheet nets = {.title = job->title,
                                .compass = elements->compass_known
                                               ? elements->compass
                                               : (rlv_compass){{0.0, 1.0, 0.0}, {1.0, 0.0, 0.0}, {0.0, 0.0, 1.0}},
                                .north_known = elements->compass_known,
                                .bedding = elements->bedding_known ? &elements->bedding.pole : NULL,
                                .net_count = 2,
                                .net = net,
                                .rose = d->azimuths + d->likely > 0 ? &rose : NULL,
                                .paper = SHEET_PAPER};
    rlv_status status = rlv_sheet_of_nets(&sheet, &nets, &job->left_out, error);
    if (status == RLV_DONE)
    {
        char alt[4000];
        snprintf(alt, sizeof alt, "Lower-hemisphere equal-area nets of the poles of %s and of %s%s%s. %s. %s%s%s.",
                 words_count(d->poles, "plate").text, words_count(a->disturbance.motion_count, "motion").text,
                 d->azimuths > 0 ? ", and a rose of the motions in the level" : "",
                 d->likely > 0 ? "; dashed on a rose, what lies off its row, from its likeliest place" : "",
                 d->words[0].text, d->words[1].text, d->arcs > 0 ? ". " : "", d->arcs > 0 ? d->words[2].text : "");
        status =
            sheet_keep(job, &sheet, "How the plates lie, and which way those that were displaced went.", alt, error);
    }
    rlv_sheet_free(&sheet);
    return status;
}

static rlv_status draw_directions(sheet_job* job, const history_articulation* a, rlv_error* error)
{
    directions d = {0};
    rlv_status status = begin(job, a, "How plates lie, and which way those that were displaced went", error);
    if (status == RLV_DONE)
        status = directions_of(&d, a, error);
    if (status == RLV_DONE)
    {
        snprintf(job->frame, sizeof job->frame, "%s",
                 a->elements->compass_known ? "true north and up, as they are recorded" : "the block’s own axes");
        status = put_directions(job, a, &d, error);
    }
    free_directions(&d);
    return status;
}

// --- Into files ------------------------------------------------------------------------------------------------------

static rlv_status draw_one(sheet_job job, const history_articulation* a, rlv_error* error)
{
    rlv_status status = job.order.kind == HISTORY_SHEET_BONES  ? draw_bones(&job, a, error)
                        : job.order.kind == HISTORY_SHEET_PLAN ? draw_plan(&job, a, error)
                                                               : draw_directions(&job, a, error);
    free(job.title_stage);
    return status;
}

rlv_status articulation_sheet_draw(history_sheets* list, const history_articulation* articulation,
                                   const history_sheet_order* order, rlv_answer* answer, rlv_error* error)
{
    drawn_sheet drawn = {0};
    const sheet_job job = {.drawn = &drawn, .history = articulation->elements->history, .order = *order};
    rlv_status status = draw_one(job, articulation, error);
    if (status == RLV_DONE)
        status = sheet_keep_drawn(list, &drawn, answer, error);
    sheet_free_drawn(&drawn);
    return status;
}

static const history_sheet_kind kinds[] = {HISTORY_SHEET_BONES, HISTORY_SHEET_PLAN, HISTORY_SHEET_DIRECTIONS};

static rlv_status draw_some(drawn_sheet* drawn, const void* of, size_t index, rlv_error* error)
{
    const history_articulation* articulation = of;
    const rlv_history* history = articulation->elements->history;
    const sheet_job job = {.drawn = drawn,
                           .history = history,
                           .all = true,
                           .order = {.kind = kinds[index], .stage = articulation_sheet_stage(history)}};
    rlv_status status = draw_one(job, articulation, error);
    if (status != RLV_IMPOSSIBLE)
        return status;
    *error = (rlv_error){0}; // there is nothing that it could show
    return RLV_DONE;
}

history_sheets_plan articulation_sheets_of_all(const history_articulation* articulation)
{
    return (history_sheets_plan){sizeof kinds / sizeof *kinds, draw_some, articulation};
}
