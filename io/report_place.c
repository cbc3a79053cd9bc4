#include "report_place.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static rlv_vec3 middle_of(const history_element* e)
{
    return rlv_vec3_of(e->told.position_mm[0], e->told.position_mm[1], e->told.position_mm[2]);
}

/// Whether an element shows on the block at the last stage.
static bool shows(const history_element* e, size_t last)
{
    for (size_t i = 0; i < e->sighting_count; i++)
        if (e->sighting[i].stage == last && e->sighting[i].placed)
            return e->placed;
    return false;
}

static const history_element* nearest_element(const history_elements* elements, rlv_vec3 at_mm, double* apart_mm)
{
    const rlv_history* history = elements->history;
    const history_element* nearest = NULL;
    *apart_mm = INFINITY;
    for (size_t i = 0; i < elements->count; i++)
    {
        const history_element* e = &elements->one[i];
        const double apart = history_grid_apart_mm(&history->grid, middle_of(e), at_mm);
        if (!shows(e, history->stage_count - 1) || !(apart < *apart_mm))
            continue;
        *apart_mm = apart;
        nearest = e;
    }
    return nearest;
}

void report_add_with_square(report_text* names, const rlv_history* history, const history_element* element)
{
    const history_square square =
        element->placed ? history_grid_square(&history->grid, middle_of(element)) : (history_square){""};
    report_add(names, "%s%.100s", names->text[0] != '\0' ? ", " : "", element->record->id);
    if (square.name[0] != '\0')
        report_add(names, " (square %s)", square.name);
}

report_text report_place(const history_elements* elements, rlv_vec3 at_mm)
{
    const rlv_history* history = elements->history;
    const size_t last = history->stage_count - 1;
    const history_square square = history_grid_square(&history->grid, at_mm);
    report_text words = {""};
    double apart_mm, in_mm;
    if (square.name[0] == '\0')
        return words;
    const history_element* beside = nearest_element(elements, at_mm, &apart_mm);
    const rlv_pose pose = history_pose(history, last);
    const char* edge = history_grid_edge(&history->grid, &history->stage[last].given.mesh, &pose, at_mm, &in_mm);
    size_t put = (size_t)snprintf(words.text, sizeof words.text, "%s", square.name);
    if (beside != NULL && nearbyint(apart_mm) < 1.0)
        put += rlv_print(words.text + put, sizeof words.text - put, ", at the middle of %.100s", beside->record->id);
    else if (beside != NULL)
        put += rlv_print(words.text + put, sizeof words.text - put, ", %s mm %s %.100s", words_number(apart_mm, 0).text,
                         history_grid_way(&history->grid, middle_of(beside), at_mm), beside->record->id);
    if (edge != NULL && nearbyint(in_mm) < 1.0)
        snprintf(words.text + put, sizeof words.text - put, ", at the %s edge", edge);
    else if (edge != NULL)
        snprintf(words.text + put, sizeof words.text - put, ", %s mm from the %s edge", words_number(in_mm, 0).text,
                 edge);
    return words;
}

report_text report_places(const history_elements* elements, rlv_vec3 first_mm, rlv_vec3 last_mm)
{
    const history_grid* grid = &elements->history->grid;
    const history_square first = history_grid_square(grid, first_mm), last = history_grid_square(grid, last_mm);
    report_text words = {""};
    if (rlv_vec3_length(rlv_vec3_sub(last_mm, first_mm)) == 0.0)
        return report_place(elements, first_mm);
    if (first.name[0] == '\0' || last.name[0] == '\0')
        return words;
    if (strcmp(first.name, last.name) == 0)
        report_add(&words, "in %s, along the corridor", first.name);
    else
        report_add(&words, "from %s to %s, along the corridor", first.name, last.name);
    return words;
}

report_text report_place_meaning(const rlv_history* history)
{
    report_text words = {""};
    if (history->grid.known)
        snprintf(words.text, sizeof words.text,
                 "Squares of %s mm, by the letter and the number that stand along the edges of the bone map and of the "
                 "maps of depth. Distances are those of the map: from the middle of the nearest element that shows, "
                 "and along the map’s rows or columns from the edge of the block as it is now. %s.",
                 words_recorded(history->grid.side_mm).text,
                 history->grid.north_up ? "North is at the top of the maps"
                                        : "Upper and lower, left and right are those of the maps");
    return words;
}

// --- how to read the maps --------------------------------------------------------------------------------------------

enum
{
    MARKS_TOLD = 12 ///< by their squares; what comes beyond is counted
};

static void add_line(report_lines* lines, const char* name, report_text words)
{
    if (lines->count < REPORT_LINES)
        lines->line[lines->count++] = (report_line){name, words, false};
}

static bool is_element(const rlv_specimen* specimen, const char* object)
{
    for (size_t i = 0; i < specimen->element_count; i++)
        if (strcmp(specimen->element[i].id, object) == 0)
            return true;
    return false;
}

static bool is_scale_bar(const rlv_stage_record* stage, const char* object)
{
    for (size_t i = 0; i < stage->mesh.bar_count; i++)
        if (strcmp(stage->mesh.bar[i].bar, object) == 0)
            return true;
    return false;
}

/// Whether a point is a mark on the block at a stage that stays from stage to stage.
static bool is_mark(const rlv_history* history, const rlv_point_record* point, size_t stage)
{
    const rlv_specimen* specimen = history->specimen;
    const rlv_stage_record* record = history->stage[stage].record;
    if (strcmp(point->stage, record->id) != 0 || strcmp(point->mesh, "block") != 0 ||
        point->point[strspn(point->point, "0123456789")] == '\0' || is_element(specimen, point->object) ||
        is_scale_bar(record, point->object))
        return false;
    for (size_t i = 0; i < stage; i++)
        if (rlv_specimen_point(specimen, history->stage[i].record->id, "block", point->object, point->point) != NULL)
            return true;
    return false;
}

/// "marks m1 in C2, 12 mm from its western and 30 mm from its northern line": one mark after another.
static report_text marks_words(const rlv_history* history)
{
    report_text words = {""};
    const size_t last = history->stage_count - 1;
    const rlv_pose pose = history_pose(history, last);
    const bool north_up = history->grid.north_up;
    size_t count = 0;
    for (size_t i = 0; i < history->specimen->point_count; i++)
    {
        const rlv_point_record* point = &history->specimen->point[i];
        if (!is_mark(history, point, last) || count++ >= MARKS_TOLD)
            continue;
        const rlv_vec3 own = rlv_vec3_scale(rlv_vec3_of(point->at[0], point->at[1], point->at[2]),
                                            history->stage[last].mm_per_unit),
                       at_mm = rlv_pose_apply(&pose, own);
        double in_mm[2];
        history_grid_in_square(&history->grid, at_mm, in_mm);
        report_add(&words, "%s%.40s %.40s in %s, %s mm from its %s and %s mm from its %s line", count > 1 ? "; " : "",
                   point->object, point->point, history_grid_square(&history->grid, at_mm).name,
                   words_number(in_mm[0], 0).text, north_up ? "western" : "left", words_number(in_mm[1], 0).text,
                   north_up ? "northern" : "upper");
    }
    if (count > MARKS_TOLD)
        report_add(&words, "; and %zu more", count - MARKS_TOLD);
    return words;
}

/// "7 mm beyond the block’s outermost place on its western side"
static void add_begins(report_text* words, double in_mm, const char* side)
{
    if (nearbyint(in_mm) < 1.0)
        report_add(words, "level with the block’s outermost place on its %s side", side);
    else
        report_add(words, "%s mm beyond the block’s outermost place on its %s side", words_number(in_mm, 0).text, side);
}

static report_text squares_words(const rlv_history* history)
{
    const history_grid* grid = &history->grid;
    const size_t last = history->stage_count - 1;
    const rlv_pose pose = history_pose(history, last);
    double in_mm[2];
    history_grid_begins(grid, &history->stage[last].given.mesh, &pose, in_mm);
    report_text words = report_say("Of %s mm, the same on every map of this specimen: letters go from left to right, "
                                   "numbers from the top down. Square A1 begins ",
                                   words_recorded(grid->side_mm).text);
    add_begins(&words, in_mm[0], grid->north_up ? "western" : "left");
    report_add(&words, " and ");
    add_begins(&words, in_mm[1], grid->north_up ? "northern" : "upper");
    report_add(&words, ", as the block is now");
    return words;
}

report_lines report_map_reading(const rlv_history* history)
{
    report_lines lines = {0};
    if (!history->grid.known)
        return lines;
    add_line(&lines, "Squares", squares_words(history));
    const report_text marks = marks_words(history);
    if (marks.text[0] != '\0')
        add_line(&lines, "Marks in them", marks);
    add_line(
        &lines, "North",
        history->grid.north_up
            ? report_say("At the top of the maps, which are seen from the side that was up in the rock: east is to "
                         "the right")
            : report_say("Not at the top of the maps: each says from which side it is seen"));
    add_line(&lines, "Hatch",
             report_say("On a map of depth: what changed there, if anything, is less than the detection limit, and is "
                        "neither told nor denied. Its key says how much that is"));
    add_line(
        &lines, "To measure",
        report_say("On a sheet printed at its own size, by its scale; check that with the bar printed on it. A map "
                   "shows lengths as they lie across the view: one on a slope is shorter there. Depth is measured "
                   "on a section, along the view; figures of depth are square to the surface before, and are less "
                   "beneath a slope"));
    return lines;
}
