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
        put += rlv_print(words.text + put, sizeof words.text - put, ", at the middle of %.60s", beside->record->id);
    else if (beside != NULL)
        put += rlv_print(words.text + put, sizeof words.text - put, ", %s mm %s %.60s", words_number(apart_mm, 0).text,
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
