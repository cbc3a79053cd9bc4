#include "history_view.h"
#include "interval.h"
#include "report_articulation_parts.h"
#include "report_place.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

/// A count that is less sure than this is told not to be.
static const double SURE_COUNT = 0.9;

const char* articulation_where_name(history_where where)
{
    static const char* const name[HISTORY_WHERES] = {[HISTORY_IN_ROCK] = "in the rock",
                                                     [HISTORY_PROBABLY_IN_ROCK] =
                                                         "probably in the rock; its depth is not sure",
                                                     [HISTORY_AT_SURFACE] = "within its error of the surface",
                                                     [HISTORY_AT_OR_ABOVE] = "near the surface, or above it",
                                                     [HISTORY_TAKEN] = "matrix taken",
                                                     [HISTORY_NOT_COLLECTED] = "not collected"};
    return name[where];
}

static const char* reason_name(history_left_out why)
{
    static const char* const name[] = {[HISTORY_NO_ROW] = "belongs to no row",
                                       [HISTORY_NOT_PLACED] = "not known in the block’s frame",
                                       [HISTORY_ROW_UNUSED] = "its row is left out",
                                       [HISTORY_NOTHING_TELLS] = "the others do not tell where it belongs",
                                       [HISTORY_NO_PLACE] = "more than one free place of its row fits",
                                       [HISTORY_OFF_ROW] =
                                           "lies off its row: it has moved, from which place is not sure",
                                       [HISTORY_SPOIL] = "found in the spoil"};
    return name[why];
}

/// The same of one element, with what would mend it where that is known.
static report_text reason_words(const history_articulation* a, size_t element)
{
    const history_left_out why = a->why[element];
    const char *name = reason_name(why), *refused = a->elements->one[element].refused;
    report_text words = {""};
    if (name != NULL)
        report_add(&words, "%s%s%.400s", name, why == HISTORY_NOT_PLACED && refused[0] != '\0' ? ": " : "",
                   why == HISTORY_NOT_PLACED ? refused : "");
    return words;
}

const rlv_specimen* articulation_specimen(const history_articulation* a)
{
    return a->elements->history->specimen;
}

const char* articulation_id(const history_articulation* a, size_t element)
{
    return a->elements->one[element].record->id;
}

// --- directions ------------------------------------------------------------------------------------------------------

/// Of a vector with such sds along three axes square to each other: the greatest sd across it, by the two eigenvalues
/// of their covariance in the plane across it, of which `sum` and `product` are told by the whole one.
static double direction_sd_deg(const double part[3], const double sd[3])
{
    const double square = part[0] * part[0] + part[1] * part[1] + part[2] * part[2];
    double sum = 0.0, product = 0.0;
    for (int k = 0; k < 3; k++)
    {
        const double share = part[k] * part[k] / square;
        sum += sd[k] * sd[k] * (1.0 - share);
        product += share * pow(sd[(k + 1) % 3] * sd[(k + 2) % 3], 2.0);
    }
    const double across = 0.5 * sum + sqrt(fmax(0.25 * sum * sum - product, 0.0));
    return square > 0.0 ? sqrt(across / square) * 180.0 / M_PI : (double)NAN;
}

double articulation_way_half_deg(articulation_way way)
{
    return fmin(RLV_HALF_95 * way.sd_deg, 180.0);
}

articulation_way articulation_way_of(const rlv_body_motion* m, const rlv_mat3* body)
{
    const double part[3] = {m->along_mm.value, m->across_mm.value, m->out_mm.value},
                 sd[3] = {words_sd(m->along_mm), words_sd(m->across_mm), words_sd(m->out_mm)};
    return (articulation_way){rlv_mat3_apply(*body, rlv_vec3_of(part[0], part[1], part[2])),
                              direction_sd_deg(part, sd)};
}

articulation_way articulation_way_of_group(const history_articulation* a, size_t group)
{
    const rlv_body_motion* m = &a->fit.group[group].motion;
    const double part[3] = {m->along_mm.value, m->across_mm.value, m->out_mm.value},
                 sd[3] = {words_sd(m->along_mm), words_sd(m->across_mm), words_sd(m->out_mm)};
    for (size_t i = 0; i < a->disturbance.motion_count; i++)
        if (a->disturbance.motion[i].group == group + 1)
            return (articulation_way){a->disturbance.motion[i].motion_mm, direction_sd_deg(part, sd)};
    return (articulation_way){{NAN, NAN, NAN}, NAN};
}

articulation_way articulation_way_at(const history_articulation* a, size_t group, bool last)
{
    const rlv_articulation_group* g = &a->fit.group[group];
    size_t end = SIZE_MAX;
    for (size_t i = 0; i < a->given_count; i++)
        if (a->fit.element[i].group == group + 1 &&
            (end == SIZE_MAX || (a->fit.element[i].place > a->fit.element[end].place) == last))
            end = i;
    return end == SIZE_MAX ? (articulation_way){{NAN, NAN, NAN}, NAN}
                           : articulation_way_of(&g->motion, &a->fit.element[end].body);
}

static void put_trend(rlv_table* t, const history_articulation* a, rlv_vec3 motion)
{
    if (!a->elements->compass_known || !(rlv_vec3_length(motion) > 0.0))
    {
        table_none(t);
        table_none(t);
        return;
    }
    const rlv_trend trend = rlv_trend_of(&a->elements->compass, motion);
    table_number(t, trend.trend_deg, 1.0);
    table_number(t, trend.plunge_deg, 1.0);
}

articulation_came articulation_came_from(const history_articulation* a, size_t unfilled, size_t element)
{
    const rlv_unfilled* life = &a->fit.unfilled[unfilled];
    const rlv_placed_element* given = &a->given[a->given_of[element]];
    articulation_came came = {.far_mm = rlv_articulation_distance_from(life, given)};
    came.compass = a->elements->compass_known && came.far_mm.value > 0.0;
    if (came.compass)
    {
        const rlv_trend trend = rlv_trend_of(&a->elements->compass, rlv_articulation_motion_from(life, given));
        came.trend_deg = trend.trend_deg;
        came.plunge_deg = trend.plunge_deg;
    }
    return came;
}

const char* articulation_or_null(const char* text)
{
    return text[0] != '\0' ? text : NULL;
}

report_text articulation_places(int first, int last)
{
    report_text words = {""};
    if (first != INT_MIN)
        snprintf(words.text, sizeof words.text, last > first ? "%d-%d" : "%d", first, last);
    return words;
}

// --- a row an element ------------------------------------------------------------------------------------------------

#define MOTION_COLUMNS                                                                                                 \
    {"shift", "mm", "shift", TABLE_INTERVAL,                                                                           \
     "Distance from its life position, less what errors add to it: not the difference of the two places, but the "     \
     "true distance that makes so long a measured one likeliest (G. J. Feldman, R. D. Cousins, Phys. Rev. D 57, "      \
     "1998). It is the shorter of the two, and 0 where errors alone may have made the difference; along, across and "  \
     "out are the difference itself, and add up in squares to it."},                                                   \
        {"shift_pitches", NULL, "in pitches", TABLE_NUMBER, "The same over the distance of the row’s places there."},  \
        {"along", "mm", "along", TABLE_INTERVAL, "Part of it along the body, above zero to the tail."},                \
        {"across", "mm", "across", TABLE_INTERVAL, "Part across the body, above zero to the animal’s left."},          \
        {"out", "mm", "out", TABLE_INTERVAL, "Part out of the body wall, above zero away from the body."},             \
        {"shift_trend", "deg", "trend of shift", TABLE_NUMBER, "Azimuth of the shift, clockwise from true north."},    \
        {"shift_plunge", "deg", "plunge of shift", TABLE_NUMBER, "Of the shift below the horizon."},                   \
    {                                                                                                                  \
        "shift_direction_half", "deg", "± 95 %", TABLE_NUMBER,                                                         \
            "Half of the 95 % interval of the shift’s direction, an angle in space, to first order, along the way "  \
            "that it is least sure in; 180: any direction."                                                            \
    }

static void put_motion(rlv_table* t, const history_articulation* a, const rlv_body_motion* m, articulation_way way)
{
    table_interval(t, m->shift_mm);
    table_number(t, m->shift_pitches, m->shift_pitches * words_sd(m->shift_mm) / m->shift_mm.value);
    table_interval(t, m->along_mm);
    table_interval(t, m->across_mm);
    table_interval(t, m->out_mm);
    put_trend(t, a, way.motion_mm);
    table_figures(t, articulation_way_half_deg(way), 2);
}

static const table_column element_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"kind", NULL, "kind", TABLE_TEXT, "What it is, in the recorder’s words."},
    {"row", NULL, "row", TABLE_TEXT, "Row of life positions, as recorded."},
    {"side", NULL, "side", TABLE_TEXT, "Side of the body, as recorded."},
    {"place", NULL, "place", TABLE_TEXT, "Place in the row that it is judged at."},
    {"place_from", NULL, "place from", TABLE_TEXT,
     "recorded; counted: along its row; found: of the free places of its row the one that is clearly its own."},
    {"place_sure", "percent", "place, how sure", TABLE_NUMBER, "Probability of a counted place."},
    {"place_margin", NULL, "place, how clear", TABLE_NUMBER,
     "Log likelihood of a found place over the next best’s: 3 is twenty to one."},
    {"state", NULL, "state", TABLE_TEXT,
     "in place, shifted, rotated, inverted or unassigned: the first that holds of inverted, rotated, shifted. What is "
     "unassigned has its reason under why."},
    {"why", NULL, "why unassigned", TABLE_TEXT, "Why it is in no judgement."},
    {"nearest_free", NULL, "nearest free place", TABLE_COUNT,
     "Where it has no place: the life position of its row without an element that it is nearest to."},
    {"nearest_free_distance", "mm", "off by", TABLE_INTERVAL, "Distance from that."},
    {"group", NULL, "group", TABLE_COUNT, "Number of the stretch that it moved with."},
    MOTION_COLUMNS,
    {"rotation", "deg", "rotation", TABLE_INTERVAL,
     "Whole angle between its attitude and that of its life position, over the axes that are known; less what errors "
     "add to it, as shift."},
    {"about_pole", "deg", "about the pole", TABLE_INTERVAL,
     "Part of it about the pole, from the tail towards the animal’s left, seen from outside."},
    {"tilt", "deg", "tilt", TABLE_INTERVAL,
     "Angle between its pole and that of its life position, less what errors add to it, as shift."},
    {"tilt_direction", "deg", "tilt direction", TABLE_NUMBER,
     "Where the pole leans to: 0 the tail, 90 the animal’s left, 180 the head, -90 its right."},
    {"p_shift", NULL, "p of shift", TABLE_NUMBER,
     "p of its place, left out of the fit; what is below 1e-100 is told as that."},
    {"p_rotation", NULL, "p of rotation", TABLE_NUMBER,
     "p of its attitude, left out of the fit; what is below 1e-100 is told as that."},
    {"p_single", NULL, "p of both", TABLE_NUMBER, "Of both together, for this element alone."},
    {"p", NULL, "p adjusted", TABLE_NUMBER,
     "The same adjusted over all elements: where those below 0.05 are told as moved, 5 % of them at most are not, on "
     "the mean."},
    {"row_end", NULL, "row’s end", TABLE_FLAG,
     "First or last element of its row: its life position is extrapolated, and its intervals are wide."},
    {"life", "mm", "life position", TABLE_PLACE, "Where it belongs, in the block’s frame."},
    {"detectable_80", "mm", "shift found in 80 %", TABLE_NUMBER,
     "Shift of it, whichever way, that would have been told with a probability of 80 %, by its own errors: in place is "
     "no more than that none was found."},
    {"detectable_90", "mm", "in 90 %", TABLE_NUMBER, "The same with 90 %."},
    {"remark", NULL, "remark", TABLE_TEXT,
     "Of one that is in place and of which no shift under half a pitch would have been told in 80 % of cases."},
    {"neighbours", NULL, "neighbours", TABLE_TEXT,
     "Ids of the elements in place that are nearest to its life position in its row, towards the head and the tail: of "
     "all that it is held against they tell most where it belongs. Of one off its row: those of nearest_free."}};

static void put_place(rlv_table* t, const rlv_articulated* told, const rlv_element_record* record)
{
    if (told != NULL && told->place != INT_MIN)
        table_text(t, articulation_places(told->place, told->place).text);
    else
        table_text(t, record->place_known ? report_place_in_row(record).text : NULL);
}

static bool is_counted(const history_articulation* a, size_t element)
{
    const size_t given = a->given_of[element];
    return given != SIZE_MAX && a->counted[given].place != INT_MIN && !a->elements->one[element].record->place_known;
}

static const char* place_from(const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    if (told != NULL && told->placed)
        return "found";
    return is_counted(a, element) ? "counted" : a->elements->one[element].record->place_known ? "recorded" : NULL;
}

report_text articulation_place_told(const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    if (told == NULL || told->place == INT_MIN || (!told->placed && !is_counted(a, element)))
        return (report_text){""};
    return report_say("%d", told->place);
}

report_text articulation_place_known(const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    if (told != NULL && told->placed)
        return report_say("found");
    return is_counted(a, element)
               ? report_say("counted, %s", words_chance(a->counted[a->given_of[element]].probability).text)
               : (report_text){""};
}

static void put_nearest(rlv_table* t, const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    if (told == NULL || told->nearest == SIZE_MAX)
    {
        table_none(t);
        table_none(t);
        return;
    }
    table_count(t, (size_t)a->fit.unfilled[told->nearest].place);
    table_interval(t, told->nearest_mm);
}

/// No tail of a distribution is trusted farther out than this.
static const double LEAST_P = 1e-100;

static double told_p(double p)
{
    return p < LEAST_P ? LEAST_P : p;
}

bool articulation_is_untested(const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    return told != NULL && told->state == RLV_IN_PLACE &&
           told->detectable_mm[0] > 0.5 * a->fit.row[a->given[a->given_of[element]].row].pitch_mm;
}

/// How many of a row, of a part of the body, or of all (SIZE_MAX).
static size_t count_untested(const history_articulation* a, size_t row, size_t part)
{
    size_t count = 0;
    for (size_t i = 0; i < a->given_count; i++)
        count += articulation_is_untested(a, a->element_of[i]) && (row == SIZE_MAX || a->given[i].row == row) &&
                 (part == SIZE_MAX || rlv_articulation_part_at(&a->fit, a->fit.element[i].along_mm) == part);
    return count;
}

size_t articulation_untested(const history_articulation* a)
{
    return count_untested(a, SIZE_MAX, SIZE_MAX);
}

size_t articulation_untested_in_row(const history_articulation* a, size_t row)
{
    return count_untested(a, row, SIZE_MAX);
}

size_t articulation_untested_in_part(const history_articulation* a, size_t part)
{
    return count_untested(a, SIZE_MAX, part);
}

report_text articulation_unsure_words(const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    report_text words = {""};
    if (articulation_is_untested(a, element))
        report_add(&words, "position too unsure to tell less than %s mm",
                   words_figures(told->detectable_mm[0], 2).text);
    return words;
}

size_t articulation_held_beside(const history_articulation* a, size_t row, int place, int side, bool still)
{
    size_t nearest = SIZE_MAX;
    for (size_t i = 0; i < a->given_count; i++)
    {
        const int other = a->fit.element[i].place;
        if (a->given[i].row == row && other != INT_MIN && (other - place) * side > 0 &&
            (!still || a->fit.element[i].state == RLV_IN_PLACE) &&
            (nearest == SIZE_MAX || (other - a->fit.element[nearest].place) * side < 0))
            nearest = i;
    }
    return nearest;
}

report_text articulation_neighbours(const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    report_text words = {""};
    if (told == NULL || !a->fitted)
        return words;
    const int place = told->state != RLV_UNASSIGNED ? told->place
                      : told->nearest != SIZE_MAX   ? a->fit.unfilled[told->nearest].place
                                                    : INT_MIN;
    for (int side = -1; side <= 1 && place != INT_MIN; side += 2)
    {
        const size_t beside = articulation_held_beside(a, a->given[a->given_of[element]].row, place, side, true);
        if (beside != SIZE_MAX)
            report_add(&words, "%s%.100s", words.text[0] != '\0' ? ", " : "",
                       articulation_id(a, a->element_of[beside]));
    }
    return words;
}

static void put_judgement(rlv_table* t, const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    if (told == NULL || told->state == RLV_UNASSIGNED)
    {
        for (size_t k = 0; k < sizeof element_columns / sizeof *element_columns - 13; k++)
            table_none(t);
        return;
    }
    if (told->group > 0)
        table_count(t, told->group);
    else
        table_none(t);
    put_motion(t, a, &told->motion, articulation_way_of(&told->motion, &told->body));
    table_interval(t, told->motion.rotation_deg);
    table_interval(t, told->motion.about_pole_deg);
    table_interval(t, told->motion.tilt_deg);
    table_number(t, told->motion.tilt_direction_deg, 1.0);
    table_figures(t, told_p(told->p_shift), 2);
    table_figures(t, told_p(told->p_rotation), 2);
    table_figures(t, told_p(told->p), 2);
    table_figures(t, told_p(told->p_adjusted), 2);
    table_flag(t, told->row_end);
    table_place(t, told->life_mm, sqrt(told->life_cov_mm2[0] + told->life_cov_mm2[4] + told->life_cov_mm2[8]));
    for (size_t k = 0; k < RLV_ARTICULATION_POWERS; k++)
        table_figures(t, told->detectable_mm[k], 2);
    table_text(t, articulation_or_null(articulation_unsure_words(a, element).text));
}

static rlv_table elements_table(const history_articulation* a)
{
    rlv_table t = table_of("articulation", "Elements and their life positions", COLUMNS(element_columns));
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const rlv_element_record* record = a->elements->one[i].record;
        const rlv_articulated* told = history_told(a, i);
        table_text(&t, record->id);
        table_text(&t, record->kind);
        table_text(&t, record->row);
        table_text(&t, record->side);
        put_place(&t, told, record);
        table_text(&t, place_from(a, i));
        table_number(&t, is_counted(a, i) ? 100.0 * a->counted[a->given_of[i]].probability : (double)NAN, 1.0);
        table_figures(&t, told != NULL ? told->margin : (double)NAN, 2);
        table_text(&t, rlv_articulation_state_word(history_state(a, i)));
        table_text(&t, articulation_or_null(reason_words(a, i).text));
        put_nearest(&t, a, i);
        put_judgement(&t, a, i);
        table_text(&t, articulation_or_null(articulation_neighbours(a, i).text));
    }
    return t;
}

// --- groups ----------------------------------------------------------------------------------------------------------

#define GROUP_COLUMNS                                                                                                  \
    {"group", NULL, "group", TABLE_COUNT, "Number of the stretch."}, {"row", NULL, "row", TABLE_TEXT, "Its row."},     \
        {"places", NULL, "places", TABLE_TEXT, "First and last place of it."},                                         \
    {                                                                                                                  \
        "elements", NULL, "elements", TABLE_COUNT, "Elements of it."                                                   \
    }

static const table_column group_columns[] = {
    GROUP_COLUMNS,
    MOTION_COLUMNS,
    {"first_trend", "deg", "trend at first", TABLE_NUMBER,
     "Azimuth of that motion where its first element belongs: along a row that curves one motion of the body has as "
     "many directions as the row. The trend and plunge before are those at its middle."},
    {"last_trend", "deg", "trend at last", TABLE_NUMBER, "The same where its last one belongs."},
    {"p", NULL, "p", TABLE_NUMBER, "Of as clear a common motion anywhere: times the number of stretches looked at."}};

/// Azimuth of a stretch's motion at one of its ends.
static double trend_at_end(const history_articulation* a, size_t group, bool last)
{
    const articulation_way way = articulation_way_at(a, group, last);
    return a->elements->compass_known && rlv_vec3_length(way.motion_mm) > 0.0
               ? rlv_trend_of(&a->elements->compass, way.motion_mm).trend_deg
               : (double)NAN;
}

static void put_group(rlv_table* t, const history_articulation* a, size_t g)
{
    const rlv_articulation_group* group = &a->fit.group[g];
    table_count(t, g + 1);
    table_text(t, articulation_specimen(a)->row[group->row].id);
    table_text(t, articulation_places(group->first, group->last).text);
    table_count(t, group->count);
}

static rlv_table groups_table(const history_articulation* a)
{
    rlv_table t = table_of("groups", "Stretches that moved together", COLUMNS(group_columns));
    for (size_t g = 0; g < a->fit.group_count; g++)
    {
        const rlv_articulation_group* group = &a->fit.group[g];
        put_group(&t, a, g);
        put_motion(&t, a, &group->motion, articulation_way_of_group(a, g));
        table_number(&t, trend_at_end(a, g, false), 1.0);
        table_number(&t, trend_at_end(a, g, true), 1.0);
        table_figures(&t, group->p, 2);
    }
    return t;
}

// --- unfilled life positions -----------------------------------------------------------------------------------------

double articulation_region_half_mm(const rlv_unfilled* life)
{
    double value[3];
    rlv_vec3 axis[3];
    if (rlv_principal_axes(value, axis, life->covariance_mm2, NULL) != RLV_DONE)
        return (double)NAN;
    return sqrt(life->radius2 * fmax(value[0], 0.0));
}

const char* articulation_nearest_side(const history_articulation* a, const history_unfilled* u)
{
    if (!a->elements->up_known || isnan(u->depth_mm.value))
        return NULL;
    const double falls = -rlv_vec3_dot(u->way, a->elements->up);
    if (fabs(falls) > M_SQRT1_2)
        return falls > 0.0 ? "above" : "below";
    const rlv_history* history = a->elements->history;
    const char* side = history_view_side(history, history->frame, rlv_vec3_scale(u->way, -1.0));
    return side != NULL ? side : "the side";
}

const char* articulation_taken_at(const history_articulation* a, const history_unfilled* u)
{
    return u->where == HISTORY_TAKEN ? a->elements->history->stage[u->stage].record->id : NULL;
}

double articulation_number_sure(const history_articulation* a, const rlv_unfilled* life)
{
    double sure = (double)NAN;
    for (int side = -1; side <= 1; side += 2)
    {
        const size_t beside = articulation_held_beside(a, life->row, life->place, side, false);
        if (beside != SIZE_MAX && a->counted[beside].place != INT_MIN)
            sure = fmin(a->counted[beside].probability, sure); // NaN is none
    }
    return sure;
}

report_text articulation_between(const history_articulation* a, const rlv_unfilled* life)
{
    report_text words = {""};
    const size_t before = articulation_held_beside(a, life->row, life->place, -1, false),
                 after = articulation_held_beside(a, life->row, life->place, 1, false);
    if (articulation_number_sure(a, life) < ARTICULATION_SURE && before != SIZE_MAX && after != SIZE_MAX)
        report_add(&words, ", between %.100s and %.100s", articulation_id(a, a->element_of[before]),
                   articulation_id(a, a->element_of[after]));
    return words;
}

static const table_column unfilled_columns[] = {
    {"row", NULL, "row", TABLE_TEXT, "Row of life positions."},
    {"place", NULL, "place", TABLE_COUNT, "Place in it, counted from the head."},
    {"place_sure", "percent", "place, how sure", TABLE_NUMBER,
     "Probability of that number, where the row was counted: of the less sure of its neighbours’."},
    {"position", "mm", "position", TABLE_PLACE, "Middle of where its element belongs, in the block’s frame."},
    {"square", NULL, "square", TABLE_TEXT, "Square of the maps that it lies in."},
    {"find_by", NULL, "to find it", TABLE_TEXT,
     "The same with how far it lies, on the map, from the nearest element that shows and from the nearest edge."},
    {"region_half", "mm", "± 95 %", TABLE_NUMBER,
     "Half of the longest axis of the region that holds the place of the element, were it in life position, with a "
     "probability of 95 %."},
    {"corridor", NULL, "beyond the row’s end", TABLE_FLAG,
     "Beyond the last element of its row: the region is a corridor that the row goes on in."},
    {"where", NULL, "where", TABLE_TEXT,
     "in the rock: in the matrix that is left; " ARTICULATION_WHERE_MEANING
     "; matrix taken; not collected: beyond the block at every stage."},
    {"stage", NULL, "taken at", TABLE_TEXT, "Stage at which the place is in the block no more."},
    {"with_piece", NULL, "with a piece", TABLE_FLAG, "Whether a piece came off at that stage, and may hold it."},
    {"depth", "mm", "depth", TABLE_INTERVAL,
     "Distance from the nearest place of today’s surface: above zero beneath it, inside the rock; below zero above it, "
     "where no rock is any more."},
    {"edge_depth", "mm", "depth of an edge", TABLE_INTERVAL,
     "Of the nearest edge of a plate there: as large as its nearest neighbours (six at most) and in the attitude in "
     "life that those on either side have. Depth is of its middle. Empty where sizes or attitudes are not known."},
    {"nearest_side", NULL, "nearest from", TABLE_TEXT,
     "Which side that place of the surface is on: above or below, as the block lay in the rock; else the side of the "
     "body, by the name of the view that shows it, or of the compass."},
    {"at_bone", NULL, "at bone", TABLE_FLAG,
     "Whether that place of the surface is masked as bone: another shows there."},
    {"unclaimed", "percent", "of none known", TABLE_NUMBER,
     "Probability that the element that belonged there is none of the loose ones in candidates.csv."}};

static void put_unfilled(rlv_table* t, const history_articulation* a, size_t i)
{
    const rlv_unfilled* life = &a->fit.unfilled[i];
    const history_unfilled* u = &a->unfilled[i];
    const double half = articulation_region_half_mm(life);
    table_text(t, articulation_specimen(a)->row[life->row].id);
    table_count(t, (size_t)life->place);
    table_number(t, 100.0 * articulation_number_sure(a, life), 1.0);
    table_place(t, life->position_mm, half / sqrt(life->radius2));
    table_text(t, articulation_or_null(history_grid_square(&a->elements->history->grid, life->position_mm).name));
    table_text(t, articulation_or_null(report_place(a->elements, life->position_mm).text));
    table_number(t, half, half / 10.0);
    table_flag(t, life->corridor);
    table_text(t, articulation_where_name(u->where));
    table_text(t, articulation_taken_at(a, u));
    table_flag(t, u->taken_with_piece);
    table_interval(t, u->depth_mm);
    table_interval(t, articulation_nearest_edge(a, i).depth_mm);
    table_text(t, articulation_nearest_side(a, u));
    table_flag(t, u->at_bone);
    table_number(t, 100.0 * history_unclaimed(a, i), 1.0);
}

static rlv_table unfilled_table(const history_articulation* a)
{
    rlv_table t = table_of("unfilled", "Life positions without an element", COLUMNS(unfilled_columns));
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        put_unfilled(&t, a, i);
    return t;
}

// --- candidates ------------------------------------------------------------------------------------------------------

const char* articulation_loose_name(history_left_out why)
{
    return why == HISTORY_SPOIL      ? "in the spoil"
           : why == HISTORY_OFF_ROW  ? "off its row"
           : why == HISTORY_NO_PLACE ? "by more than one free place"
                                     : "not measured";
}

static const table_column candidate_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the loose element."},
    {"found", NULL, "found", TABLE_TEXT,
     "in the spoil; off its row; by more than one free place; not measured: its place is not known."},
    {"bag", NULL, "bag", TABLE_TEXT, "Bag of spoil."},
    {"bag_stage", NULL, "bag’s stage", TABLE_TEXT, "Stage that the bag’s spoil was taken off for."},
    {"bag_area", NULL, "bag’s area", TABLE_TEXT, "Area that the spoil came from, where one was recorded."},
    {"row", NULL, "row", TABLE_TEXT, "Row of the life position; empty: none of those that are unfilled."},
    {"place", NULL, "place", TABLE_COUNT, "Place of it in that row."},
    {"probability", "percent", "probability", TABLE_NUMBER,
     "Probability that the element is the one that belonged there; no two had one place."},
    {"moved", "mm", "moved by", TABLE_INTERVAL, "Distance from that life position, of an element off its row."},
    {"moved_trend", "deg", "trend of that", TABLE_NUMBER, "Which way it went from there, clockwise from true north."},
    {"moved_plunge", "deg", "plunge of that", TABLE_NUMBER, "Of that way below the horizon."}};

static void put_loose(rlv_table* t, const history_articulation* a, size_t element)
{
    const history_element* one = &a->elements->one[element];
    const bool bagged = a->why[element] == HISTORY_SPOIL;
    table_text(t, one->record->id);
    table_text(t, articulation_loose_name(a->why[element]));
    table_text(t, bagged ? one->record->bag : NULL);
    table_text(t, bagged ? one->bag->stage : NULL);
    table_text(t, bagged ? one->bag->area : NULL);
}

/// How far and which way an element off its row went from a place that it may have had.
static void put_came(rlv_table* t, const history_articulation* a, size_t unfilled, size_t element)
{
    articulation_came came = {.far_mm = {(double)NAN, (double)NAN, (double)NAN}};
    if (a->why[element] == HISTORY_OFF_ROW)
        came = articulation_came_from(a, unfilled, element);
    table_interval(t, came.far_mm);
    table_number(t, came.compass ? came.trend_deg : (double)NAN, 1.0);
    table_number(t, came.compass ? came.plunge_deg : (double)NAN, 1.0);
}

static rlv_table candidates_table(const history_articulation* a)
{
    rlv_table t = table_of("candidates", "Life positions that loose elements may have had", COLUMNS(candidate_columns));
    for (size_t i = 0; i < a->stray_count && a->fitted; i++)
    {
        const history_stray* stray = &a->stray[i];
        for (size_t k = 0; k < stray->candidates.count; k++)
        {
            const rlv_candidate* c = &stray->candidates.candidate[k];
            put_loose(&t, a, stray->element);
            table_text(&t, articulation_specimen(a)->row[a->fit.unfilled[c->unfilled].row].id);
            table_count(&t, (size_t)a->fit.unfilled[c->unfilled].place);
            table_number(&t, 100.0 * c->probability, 1.0);
            put_came(&t, a, c->unfilled, stray->element);
        }
        put_loose(&t, a, stray->element);
        table_none(&t);
        table_none(&t);
        table_number(&t, 100.0 * stray->candidates.none, 1.0);
        for (int k = 0; k < 3; k++)
            table_none(&t);
    }
    return t;
}

// --- rows, parts, the whole ------------------------------------------------------------------------------------------

static const table_column row_columns[] = {
    {"row", NULL, "row", TABLE_TEXT, "Id of the row."},
    {"side", NULL, "side", TABLE_TEXT, "Side of the body."},
    {"places", NULL, "places", TABLE_TEXT, "First and last place."},
    {"known", NULL, "placed by the record", TABLE_COUNT, "Elements whose place is known before the fit."},
    {"used", NULL, "used", TABLE_FLAG, "Whether it has elements enough."},
    {"held", NULL, "judged", TABLE_COUNT, "Elements that are judged."},
    {"in_place", NULL, "in place", TABLE_COUNT, "Of these, in place."},
    {"short", NULL, "short", TABLE_FLAG, "Under 15 elements: what has moved is found there less surely."},
    {"pitch", "mm", "pitch", TABLE_NUMBER, "Median distance from place to place."},
    {"lost", NULL, "places not listed", TABLE_COUNT,
     "Its places without an element that are known no better than to the length of the row: in no list."},
    {"detectable_80", "mm", "shift found in 80 %", TABLE_NUMBER,
     "Shift of one of its elements, whichever way, that is told with a probability of 80 %, by the element’s own "
     "errors: the median of the row. In place is no more than that none was found."},
    {"detectable_80_least", "mm", "least", TABLE_NUMBER, "The same of its element that is known best."},
    {"detectable_80_most", "mm", "most", TABLE_NUMBER, "And of the one that is known least."},
    {"detectable_90", "mm", "in 90 %", TABLE_NUMBER, "The median with 90 %."},
    {"detectable_90_least", "mm", "least", TABLE_NUMBER, "The least with 90 %."},
    {"detectable_90_most", "mm", "most", TABLE_NUMBER, "The greatest with 90 %."},
    {"compared", NULL, "compared", TABLE_FLAG, "Whether it was fitted with its table of a comparative specimen."},
    {"compared_p", NULL, "p of the table", TABLE_NUMBER,
     "p of its elements departing so far from that; below 0.01 the row was fitted without."},
    {"compared_scale", NULL, "scale", TABLE_INTERVAL, "This animal’s row over the table’s."},
    {"untested", NULL, "untested", TABLE_COUNT,
     "Of those in place, how many could not be tested: no shift of theirs under half a pitch would have been told in "
     "80 % of cases."}};

/// The median, the least or the greatest.
static double limit_of(const rlv_interval* limit, int end)
{
    return end == 0 ? limit->value : end == 1 ? limit->low : limit->high;
}

static rlv_table rows_table(const history_articulation* a)
{
    rlv_table t = table_of("articulation_rows", "Rows", COLUMNS(row_columns));
    for (size_t r = 0; r < a->row_count; r++)
    {
        const rlv_row_record* record = &articulation_specimen(a)->row[r];
        const rlv_articulation_row_told* told = a->fitted ? &a->fit.row[r] : &(rlv_articulation_row_told){0};
        table_text(&t, record->id);
        table_text(&t, record->side);
        table_text(&t, articulation_places(record->first_place, record->last_place).text);
        table_count(&t, a->row_known[r]);
        table_flag(&t, told->used);
        table_count(&t, told->held);
        table_count(&t, told->in_place);
        table_flag(&t, told->short_row);
        table_number(&t, told->used ? told->pitch_mm : (double)NAN, a->fit.scatter_along_mm);
        table_count(&t, told->lost);
        for (size_t k = 0; k < RLV_ARTICULATION_POWERS; k++)
            for (int end = 0; end < 3; end++)
                table_figures(&t, told->used ? limit_of(&told->detectable_mm[k], end) : (double)NAN, 2);
        table_flag(&t, told->compared);
        table_figures(&t, a->fitted ? told->compared_p : (double)NAN, 2);
        table_interval(&t, told->compared ? told->scale : (rlv_interval){NAN, NAN, NAN});
        table_count(&t, articulation_untested_in_row(a, r));
    }
    return t;
}

static rlv_interval in_percent(rlv_interval share)
{
    return (rlv_interval){100.0 * share.value, 100.0 * share.low, 100.0 * share.high};
}

static const table_column share_columns[] = {
    {"from", "mm", "from", TABLE_NUMBER, "Where the part begins, along the body from the first place of all rows."},
    {"to", "mm", "to", TABLE_NUMBER, "Where it ends."},
    {"held", NULL, "elements", TABLE_COUNT, "Judged elements whose life position lies there."},
    {"in_place", NULL, "in place", TABLE_COUNT, "Of these, in place."},
    {"share", "percent", "share in place", TABLE_INTERVAL,
     "The same as a share of them, with its exact binomial interval, each element by itself: of few elements it tells "
     "little."},
    {"untested", NULL, "of these untested", TABLE_COUNT,
     "Of those in place, how many could not be tested: no shift of theirs under half a pitch would have been told in "
     "80 % of cases."},
    {"share_tested", "percent", "share without them", TABLE_INTERVAL,
     "The share without those that could not be tested, with its interval. It is rather too low, since what is "
     "displaced counts whatever its errors, as the other is rather too high."}};

rlv_table articulation_shares_wall(const history_articulation* a)
{
    rlv_table t = table_of("share_in_place", "Share in place along the body", COLUMNS(share_columns));
    for (size_t k = 0; k < a->fit.part_count; k++)
    {
        const rlv_articulation_part* part = &a->fit.part[k];
        table_number_to(&t, part->from_mm - a->fit.part[0].from_mm, 0);
        table_number_to(&t, part->to_mm - a->fit.part[0].from_mm, 0);
        table_count(&t, part->held);
        table_count(&t, part->in_place);
        table_interval(&t, in_percent(part->share));
        const size_t untested = articulation_untested_in_part(a, k);
        table_count(&t, untested);
        table_interval(&t, in_percent(rlv_articulation_share((double)(part->in_place - untested),
                                                             (double)(part->held - untested))));
    }
    return t;
}

static const table_column skeleton_columns[] = {
    {"word", NULL, "skeleton", TABLE_TEXT,
     "articulated: three quarters of the elements counted, at least, are in place; associated: three quarters lie "
     "within a fifth of the body’s length (from the first place of all rows to the last) of their life position; "
     "isolated: neither."},
    {"word_sure", NULL, "surely", TABLE_FLAG, "Whether the interval of the share holds no other word’s."},
    {"held", NULL, "judged", TABLE_COUNT, "Elements that are judged."},
    {"off_row", NULL, "off their rows", TABLE_COUNT, "Elements beside them that lie off their rows, and have moved."},
    {"in_place", NULL, "in place", TABLE_COUNT, "Of both, in place."},
    {"in_place_faced", NULL, "face known", TABLE_COUNT,
     "Of those in place, with an external face that is known: of the others it is not known that they are not inverted "
     "where they lie."},
    {"share_in_place", "percent", "share in place", TABLE_INTERVAL,
     "Of both, with its exact binomial interval for the effective number."},
    {"effective", NULL, "effective number", TABLE_NUMBER,
     "Number of elements that moved, or not, by themselves and would tell the share as surely: a stretch is one "
     "event."},
    {"groups", NULL, "groups", TABLE_COUNT, "Stretches that moved together."},
    {"unfilled", NULL, "unfilled", TABLE_COUNT, "Life positions without an element."},
    {"tests", NULL, "tests", TABLE_COUNT, "Elements whose p was adjusted together."},
    {"body_length", "mm", "length of the body", TABLE_NUMBER,
     "Along its axis, from the first place of all rows to the last, held or not: snout and fin beyond are not in it."},
    {"scatter_along", "mm", "scatter along", TABLE_INTERVAL,
     "Natural scatter about the order along the body, one sd. Where the interval begins at 0 it may be none, and its "
     "value is nothing to quote; its end holds all unevenness of the steps that would do for scatter."},
    {"scatter_across", "mm", "scatter across", TABLE_INTERVAL, "The same across the body and out of it, each."},
    {"scatter_turn", "deg", "scatter of attitude", TABLE_NUMBER,
     "Natural scatter of the attitude about each axis, one sd."},
    {"crossing", NULL, "crosses itself", TABLE_FLAG, "Whether the body comes nearer to itself than it is wide."},
    {"tested", NULL, "tested", TABLE_COUNT,
     "Elements judged or off their rows, without those in place that could not be tested: of which no shift under half "
     "a pitch would have been told in 80 % of cases."},
    {"in_place_tested", NULL, "in place, tested", TABLE_COUNT, "Of these, in place."},
    {"share_in_place_tested", "percent", "share in place, tested", TABLE_INTERVAL,
     "The same as a share, with its interval. It is rather too low, since what is displaced counts whatever its "
     "errors; share_in_place takes all that could not be tested as in place, and is rather too high."}};

size_t articulation_in_place_faced(const history_articulation* a)
{
    size_t count = 0;
    for (size_t i = 0; i < a->given_count; i++)
        count += a->fit.element[i].state == RLV_IN_PLACE && (a->given[i].element.known & RLV_ELEMENT_FACE) != 0;
    return count;
}

static rlv_table skeleton_table(const history_articulation* a)
{
    rlv_table t = table_of("skeleton", "The skeleton", COLUMNS(skeleton_columns));
    if (!a->fitted)
        return t;
    const rlv_articulation_verdict v = a->fit.verdict;
    table_text(&t, rlv_articulation_word_of(v.word));
    table_flag(&t, v.sure);
    table_count(&t, v.judged);
    table_count(&t, v.off_row);
    table_count(&t, v.in_place);
    table_count(&t, articulation_in_place_faced(a));
    table_interval(&t, in_percent(v.share));
    table_figures(&t, v.effective, 3);
    table_count(&t, a->fit.group_count);
    table_count(&t, a->fit.unfilled_count);
    table_count(&t, a->fit.tests);
    table_number(&t, rlv_body_axis_length_mm(&a->fit.axis), 1.0);
    table_interval(&t, a->fit.scatter_mm[0]);
    table_interval(&t, a->fit.scatter_mm[1]);
    table_figures(&t, a->fit.scatter_deg, 2);
    table_flag(&t, a->fit.crossing);
    const size_t untested = articulation_untested(a);
    table_count(&t, v.judged + v.off_row - untested);
    table_count(&t, v.in_place - untested);
    table_interval(&t, in_percent(rlv_articulation_share_tested(&a->fit, untested)));
    return t;
}

/// "31 of 46 (67.3 %, 47 to 84 %)"
static report_text share_words(size_t some, size_t all, const char* what, rlv_interval share)
{
    const rlv_interval percent = in_percent(share);
    return report_say("%zu of %zu%s (%.1f %%, %.0f to %.0f %%)", some, all, what, percent.value, floor(percent.low),
                      ceil(percent.high));
}

report_text articulation_verdict(const history_articulation* a)
{
    const rlv_articulation_verdict v = a->fit.verdict;
    const size_t all = v.judged + v.off_row, untested = articulation_untested(a);
    report_text words =
        report_say("%s%s, %s", rlv_articulation_word_of(v.word), v.sure ? "" : " by the count, though not surely",
                   share_words(v.in_place, all, " elements are in place", v.share).text);
    if (untested == v.in_place && untested > 0)
        report_add(&words, "; none of those in place could be tested");
    else if (untested > 0)
        report_add(
            &words, "; without the %zu in place that could not be tested, %s", untested,
            share_words(v.in_place - untested, all - untested, "", rlv_articulation_share_tested(&a->fit, untested))
                .text);
    if (v.off_row > 0)
        report_add(&words, "; %zu of the others lie%s off %s", v.off_row, v.off_row == 1 ? "s" : "",
                   v.off_row == 1 ? "its row" : "their rows");
    return words;
}

articulation_tables articulation_tables_of(const history_articulation* a)
{
    articulation_tables tables = {{[ARTICULATION_ELEMENTS] = elements_table(a),
                                   [ARTICULATION_GROUPS] = groups_table(a),
                                   [ARTICULATION_UNFILLED] = unfilled_table(a),
                                   [ARTICULATION_CANDIDATES] = candidates_table(a),
                                   [ARTICULATION_ROWS] = rows_table(a),
                                   [ARTICULATION_SHARES] = articulation_shares_wall(a),
                                   [ARTICULATION_GAPS] = articulation_gaps_table(a),
                                   [ARTICULATION_AHEAD] = articulation_ahead_table(a),
                                   [ARTICULATION_SKELETON] = skeleton_table(a)}};
    for (size_t k = 0; k < DISTURBANCE_TABLES; k++)
        tables.table[ARTICULATION_OWN + k] = disturbance_table_of(a, (disturbance_table)k);
    return tables;
}

void articulation_tables_free(articulation_tables* tables)
{
    for (size_t i = 0; i < ARTICULATION_TABLES; i++)
        table_free(&tables->table[i]);
}

// --- what could not be told ------------------------------------------------------------------------------------------

/// Ids of the elements that are left out for a reason, parted by commas.
static size_t list_left_out(report_text* words, const history_articulation* a, history_left_out why)
{
    size_t length = 0, count = 0;
    for (size_t i = 0; i < a->elements->count; i++)
    {
        report_text named = {""};
        const char *refused = a->elements->one[i].refused, *id = named.text;
        report_add(&named, "%s", a->elements->one[i].record->id);
        if (why == HISTORY_NOT_PLACED && refused[0] != '\0')
            report_add(&named, " (%.400s)", refused);
        if (a->why[i] != why)
            continue;
        if (length + strlen(id) + 8 < sizeof words->text)
            length +=
                (size_t)snprintf(words->text + length, sizeof words->text - length, "%s%s", count > 0 ? ", " : "", id);
        else if (words->text[length - 1] != '.')
            length += (size_t)snprintf(words->text + length, sizeof words->text - length, " ...");
        count++;
    }
    return count;
}

/// The rows that are short, or left out.
static size_t list_rows(report_text* words, const history_articulation* a, bool used)
{
    size_t length = 0, count = 0;
    for (size_t r = 0; r < a->row_count; r++)
    {
        const rlv_articulation_row_told* told = a->fitted ? &a->fit.row[r] : &(rlv_articulation_row_told){0};
        const char* id = articulation_specimen(a)->row[r].id;
        if (told->used != used || (used && !told->short_row) || length + strlen(id) + 4 > sizeof words->text)
            continue;
        length +=
            (size_t)snprintf(words->text + length, sizeof words->text - length, "%s%s", count > 0 ? ", " : "", id);
        count++;
    }
    return count;
}

/// Of the rows that have any, how many of their places without an element are in no list.
static size_t list_lost(report_text* words, const history_articulation* a)
{
    size_t length = 0, count = 0;
    for (size_t r = 0; r < a->row_count && a->fitted; r++)
    {
        const char* id = articulation_specimen(a)->row[r].id;
        if (a->fit.row[r].lost == 0 || length + strlen(id) + 40 > sizeof words->text)
            continue;
        length += (size_t)snprintf(words->text + length, sizeof words->text - length, "%s%zu of %s",
                                   count > 0 ? ", " : "", a->fit.row[r].lost, id);
        count++;
    }
    return count;
}

/// Where the count of a row is not sure: at its first element, and from which element to the next.
static void list_unsure(report_text* words, const history_articulation* a, size_t row)
{
    size_t length = 0;
    for (size_t i = 0; i < a->given_count; i++)
    {
        const rlv_counted* c = &a->counted[i];
        const rlv_element_record* record = a->elements->one[a->element_of[i]].record;
        const double sure = c->order == 0 ? c->probability : c->step;
        if (a->given[i].row != row || c->place == INT_MIN || sure >= SURE_COUNT || length + 200 > sizeof words->text)
            continue;
        length += rlv_print(words->text + length, sizeof words->text - length,
                            c->order == 0 ? "%s%.100s may not be its place %d (sure to %s)"
                                          : "%sthe step before %.100s, place %d (sure to %s)",
                            length > 0 ? "; " : "", record->id, c->place, words_share(sure).text);
    }
}

bool articulation_untold(const history_articulation* a, size_t* next, report_text* words)
{
    static const struct
    {
        history_left_out why;
        const char* text;
    } left[] = {{HISTORY_ROW_UNUSED, "not judged, since their row is left out"},
                {HISTORY_NOTHING_TELLS, "not judged, since the others do not tell where they belong"},
                {HISTORY_NO_PLACE, "not judged, since more than one of the free places of their row fits"},
                {HISTORY_NO_ROW, "not judged, since they belong to no row"},
                {HISTORY_NOT_PLACED, "not judged, since they are not known in the block’s frame"}};
    enum
    {
        LEFT = sizeof left / sizeof *left,
        ALL = LEFT + 5,
    };
    for (; *next < ALL + a->row_count; ++*next)
    {
        const size_t k = *next;
        report_text names = {""};
        words->text[0] = '\0';
        if (k < LEFT && list_left_out(&names, a, left[k].why) > 0)
            rlv_print(words->text, sizeof words->text, "%s: %.900s", left[k].text, names.text);
        else if (k == LEFT && list_rows(&names, a, false) > 0)
            rlv_print(words->text, sizeof words->text,
                      "rows without %d elements of a known place, and so left out: %.900s", RLV_ARTICULATION_LEAST,
                      names.text);
        else if (k == LEFT + 1 && list_rows(&names, a, true) > 0)
            rlv_print(words->text, sizeof words->text,
                      "rows with under 15 elements, in which what has moved is found less surely: %.900s", names.text);
        else if (k == LEFT + 2 && list_lost(&names, a) > 0)
            rlv_print(words->text, sizeof words->text,
                      "where these places without an element lie, since they are known no better than to the length of "
                      "their row: %.900s",
                      names.text);
        else if (k == LEFT + 3 && a->fitted)
            snprintf(words->text, sizeof words->text,
                     "a slip of all rows together, which looks as the animal’s own curve does, and one along the body "
                     "by whole places");
        else if (k == LEFT + 4 && a->fitted)
            snprintf(words->text, sizeof words->text,
                     "a stretch that moved together at the end of its row; the first and the last of a row are judged "
                     "less surely");
        else if (k >= ALL)
            list_unsure(&names, a, k - ALL);
        if (k >= ALL && names.text[0] != '\0')
            rlv_print(words->text, sizeof words->text, "the count of row %.100s: %.900s",
                      articulation_specimen(a)->row[k - ALL].id, names.text);
        if (words->text[0] != '\0')
        {
            ++*next;
            return true;
        }
    }
    return false;
}
