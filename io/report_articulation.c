#include "report_articulation.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

enum
{
    CANDIDATES_TOLD = 4, ///< life positions of one element, to people
};

/// What is less likely is not told to people.
static const double LEAST_LIKELY = 0.03;

/// A count that is less sure than this is told not to be.
static const double SURE_COUNT = 0.9;

const char* articulation_where_name(history_where where)
{
    static const char* const name[HISTORY_WHERES] = {[HISTORY_IN_ROCK] = "in the rock",
                                                     [HISTORY_AT_SURFACE] = "at the surface",
                                                     [HISTORY_TAKEN] = "matrix taken",
                                                     [HISTORY_NOT_COLLECTED] = "not collected"};
    return name[where];
}

static const char* reason_name(history_left_out why)
{
    static const char* const name[] = {[HISTORY_NO_ROW] = "belongs to no row",
                                       [HISTORY_NOT_PLACED] = "not known in the block's frame",
                                       [HISTORY_ROW_UNUSED] = "its row is left out",
                                       [HISTORY_NOTHING_TELLS] = "the others do not tell where it belongs",
                                       [HISTORY_NO_PLACE] = "more than one free place of its row fits",
                                       [HISTORY_OFF_ROW] =
                                           "lies off its row: it has moved, from which place is not known",
                                       [HISTORY_SPOIL] = "found in the spoil"};
    return name[why];
}

static const rlv_specimen* specimen_of(const history_articulation* a)
{
    return a->elements->history->specimen;
}

/// What is told of an element; NULL where it is in no judgement.
static const rlv_articulated* told_of(const history_articulation* a, size_t element)
{
    return a->fitted && a->given_of[element] != SIZE_MAX ? &a->fit.element[a->given_of[element]] : NULL;
}

// --- directions ------------------------------------------------------------------------------------------------------

/// A motion in the block's frame.
static rlv_vec3 motion_vector(const rlv_body_motion* m, const rlv_mat3* body)
{
    return rlv_mat3_apply(*body, rlv_vec3_of(m->along_mm.value, m->across_mm.value, m->out_mm.value));
}

/// "tail, left": which way something moved on the body, the greatest part first. What may be none and what is under a
/// third of the greatest is left out.
static report_text body_way(const rlv_body_motion* m)
{
    static const char* const ends[3][2] = {{"head", "tail"}, {"right", "left"}, {"in", "out"}};
    const rlv_interval part[3] = {m->along_mm, m->across_mm, m->out_mm};
    int order[3] = {0, 1, 2};
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2; k++)
            if (fabs(part[order[k]].value) < fabs(part[order[k + 1]].value))
            {
                const int swap = order[k];
                order[k] = order[k + 1];
                order[k + 1] = swap;
            }
    report_text words = {""};
    size_t length = 0;
    const double greatest = fabs(part[order[0]].value);
    for (int k = 0; k < 3 && greatest > 0.0; k++)
    {
        const rlv_interval p = part[order[k]];
        const bool sure = p.low > 0.0 || p.high < 0.0;
        if (k == 0 || (sure && 3.0 * fabs(p.value) >= greatest))
            length += (size_t)snprintf(words.text + length, sizeof words.text - length, "%s%s", k > 0 ? ", " : "",
                                       ends[order[k]][p.value > 0.0]);
    }
    return words;
}

/// "082/15": azimuth and plunge of a motion, as the trade writes them.
static report_text compass_way(const history_articulation* a, rlv_vec3 motion)
{
    report_text words = {""};
    if (!a->elements->compass_known || !(rlv_vec3_length(motion) > 0.0))
        return words;
    const rlv_trend trend = rlv_trend_of(&a->elements->compass, motion);
    const long plunge = lround(trend.plunge_deg);
    snprintf(words.text, sizeof words.text, "%03d/%s%02ld", (int)lround(trend.trend_deg) % 360,
             plunge < 0 ? WORDS_MINUS : "", labs(plunge));
    return words;
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

static const char* or_null(const char* text)
{
    return text[0] != '\0' ? text : NULL;
}

/// "7", "7-9".
static report_text places_words(int first, int last)
{
    report_text words = {""};
    if (first != INT_MIN)
        snprintf(words.text, sizeof words.text, last > first ? "%d-%d" : "%d", first, last);
    return words;
}

// --- a row an element ------------------------------------------------------------------------------------------------

#define MOTION_COLUMNS                                                                                                 \
    {"shift", "mm", "shift", TABLE_INTERVAL, "Distance from its life position."},                                      \
        {"shift_pitches", NULL, "in pitches", TABLE_NUMBER, "The same over the distance of the row's places there."},  \
        {"along", "mm", "along", TABLE_INTERVAL, "Part of it along the body, above zero to the tail."},                \
        {"across", "mm", "across", TABLE_INTERVAL, "Part across the body, above zero to the animal's left."},          \
        {"out", "mm", "out", TABLE_INTERVAL, "Part out of the body wall, above zero away from the body."},             \
        {"shift_trend", "deg", "trend of shift", TABLE_NUMBER, "Azimuth of the shift, clockwise from true north."},    \
    {                                                                                                                  \
        "shift_plunge", "deg", "plunge of shift", TABLE_NUMBER, "Of the shift below the horizon."                      \
    }

static void put_motion(rlv_table* t, const history_articulation* a, const rlv_body_motion* m, const rlv_mat3* body)
{
    table_interval(t, m->shift_mm);
    table_number(t, m->shift_pitches, m->shift_pitches * words_sd(m->shift_mm) / m->shift_mm.value);
    table_interval(t, m->along_mm);
    table_interval(t, m->across_mm);
    table_interval(t, m->out_mm);
    put_trend(t, a, motion_vector(m, body));
}

static const table_column element_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"kind", NULL, "kind", TABLE_TEXT, "What it is, in the recorder's words."},
    {"row", NULL, "row", TABLE_TEXT, "Row of life positions, as recorded."},
    {"side", NULL, "side", TABLE_TEXT, "Side of the body, as recorded."},
    {"place", NULL, "place", TABLE_TEXT, "Place in the row that it is judged at."},
    {"place_from", NULL, "place from", TABLE_TEXT,
     "recorded; counted: along its row; found: of the free places of its row the one that is clearly its own."},
    {"place_sure", "percent", "place, how sure", TABLE_NUMBER, "Probability of a counted place."},
    {"place_margin", NULL, "place, how clear", TABLE_NUMBER,
     "Log likelihood of a found place over the next best's: 3 is twenty to one."},
    {"state", NULL, "state", TABLE_TEXT,
     "in place, shifted, rotated, inverted or unassigned: the first that holds of inverted, rotated, shifted."},
    {"why", NULL, "why unassigned", TABLE_TEXT, "Why it is in no judgement."},
    {"nearest_free", NULL, "nearest free place", TABLE_COUNT,
     "Where it has no place: the life position of its row without an element that it is nearest to."},
    {"nearest_free_distance", "mm", "off by", TABLE_NUMBER, "Distance from that."},
    {"group", NULL, "group", TABLE_COUNT, "Number of the stretch that it moved with."},
    MOTION_COLUMNS,
    {"rotation", "deg", "rotation", TABLE_INTERVAL,
     "Whole angle between its attitude and that of its life position, over the axes that are known."},
    {"about_pole", "deg", "about the pole", TABLE_INTERVAL,
     "Part of it about the pole, from the tail towards the animal's left, seen from outside."},
    {"tilt", "deg", "tilt", TABLE_INTERVAL, "Angle between its pole and that of its life position."},
    {"tilt_direction", "deg", "tilt direction", TABLE_NUMBER,
     "Where the pole leans to: 0 the tail, 90 the animal's left, 180 the head, -90 its right."},
    {"p_shift", NULL, "p of shift", TABLE_NUMBER, "p of its place, left out of the fit."},
    {"p_rotation", NULL, "p of rotation", TABLE_NUMBER, "p of its attitude, left out of the fit."},
    {"p_single", NULL, "p of both", TABLE_NUMBER, "Of both together, for this element alone."},
    {"p", NULL, "p adjusted", TABLE_NUMBER,
     "The same adjusted over all elements: where those below 0.05 are told as moved, 5 % of them at most are not, on "
     "the mean."},
    {"row_end", NULL, "row's end", TABLE_FLAG,
     "First or last element of its row: its life position is extrapolated, and its intervals are wide."},
    {"life", "mm", "life position", TABLE_PLACE, "Where it belongs, in the block's frame."}};

static void put_place(rlv_table* t, const rlv_articulated* told, const rlv_element_record* record)
{
    if (told != NULL && told->place != INT_MIN)
        table_text(t, places_words(told->place, told->place).text);
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
    const rlv_articulated* told = told_of(a, element);
    if (told != NULL && told->placed)
        return "found";
    return is_counted(a, element) ? "counted" : a->elements->one[element].record->place_known ? "recorded" : NULL;
}

static void put_nearest(rlv_table* t, const history_articulation* a, size_t element)
{
    const history_nearest* nearest = &a->nearest[element];
    const bool known =
        (a->why[element] == HISTORY_OFF_ROW || a->why[element] == HISTORY_NO_PLACE) && nearest->unfilled != SIZE_MAX;
    if (!known)
    {
        table_none(t);
        table_none(t);
        return;
    }
    const rlv_unfilled* life = &a->fit.unfilled[nearest->unfilled];
    const double* c = life->covariance_mm2;
    table_count(t, (size_t)life->place);
    table_number(t, nearest->distance_mm, sqrt((c[0] + c[4] + c[8]) / 3.0));
}

static void put_judgement(rlv_table* t, const history_articulation* a, const rlv_articulated* told)
{
    if (told == NULL || told->state == RLV_UNASSIGNED)
    {
        for (size_t k = 0; k < sizeof element_columns / sizeof *element_columns - 12; k++)
            table_none(t);
        return;
    }
    if (told->group > 0)
        table_count(t, told->group);
    else
        table_none(t);
    put_motion(t, a, &told->motion, &told->body);
    table_interval(t, told->motion.rotation_deg);
    table_interval(t, told->motion.about_pole_deg);
    table_interval(t, told->motion.tilt_deg);
    table_number(t, told->motion.tilt_direction_deg, 1.0);
    table_figures(t, told->p_shift, 2);
    table_figures(t, told->p_rotation, 2);
    table_figures(t, told->p, 2);
    table_figures(t, told->p_adjusted, 2);
    table_flag(t, told->row_end);
    table_place(t, told->life_mm, sqrt(told->life_cov_mm2[0] + told->life_cov_mm2[4] + told->life_cov_mm2[8]));
}

static rlv_table elements_table(const history_articulation* a)
{
    rlv_table t = table_of("articulation", "Elements and their life positions", COLUMNS(element_columns));
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const rlv_element_record* record = a->elements->one[i].record;
        const rlv_articulated* told = told_of(a, i);
        table_text(&t, record->id);
        table_text(&t, record->kind);
        table_text(&t, record->row);
        table_text(&t, record->side);
        put_place(&t, told, record);
        table_text(&t, place_from(a, i));
        table_number(&t, is_counted(a, i) ? 100.0 * a->counted[a->given_of[i]].probability : (double)NAN, 1.0);
        table_figures(&t, told != NULL ? told->margin : (double)NAN, 2);
        table_text(&t, rlv_articulation_state_word(history_state(a, i)));
        table_text(&t, reason_name(a->why[i]));
        put_nearest(&t, a, i);
        put_judgement(&t, a, told);
    }
    return t;
}

static const table_column off_row_columns[] = {{"id", NULL, "element", TABLE_TEXT, "Id of the element."},
                                               {"row", NULL, "row", TABLE_TEXT, "Its row."},
                                               {"nearest_free", NULL, "nearest free place", TABLE_COUNT,
                                                "The life position without an element that it is nearest to."},
                                               {"distance", "mm", "off by", TABLE_NUMBER, "Distance from that."}};

const char* articulation_group_words(const history_articulation* a)
{
    return a->fit.group_count > 0
               ? "An element of a stretch is shifted with it: its own p need not tell that, its stretch's does."
               : NULL;
}

rlv_table articulation_off_row_wall(const history_articulation* a)
{
    rlv_table t = table_of("off_row", "Elements that lie off their row", COLUMNS(off_row_columns));
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const rlv_element_record* record = a->elements->one[i].record;
        if (a->why[i] != HISTORY_OFF_ROW)
            continue;
        table_text(&t, record->id);
        table_text(&t, record->row);
        put_nearest(&t, a, i);
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
    {"p", NULL, "p", TABLE_NUMBER, "Of as clear a common motion anywhere: times the number of stretches looked at."}};

/// The body's axes at the middle of a group: those of its middle element.
static const rlv_mat3* group_body(const history_articulation* a, size_t group)
{
    size_t members = 0;
    for (size_t i = 0; i < a->fit.count; i++)
        if (a->fit.element[i].group == group + 1 && ++members > a->fit.group[group].count / 2)
            return &a->fit.element[i].body;
    return NULL;
}

static void put_group(rlv_table* t, const history_articulation* a, size_t g)
{
    const rlv_articulation_group* group = &a->fit.group[g];
    table_count(t, g + 1);
    table_text(t, specimen_of(a)->row[group->row].id);
    table_text(t, places_words(group->first, group->last).text);
    table_count(t, group->count);
}

static rlv_table groups_table(const history_articulation* a)
{
    rlv_table t = table_of("groups", "Stretches that moved together", COLUMNS(group_columns));
    for (size_t g = 0; g < a->fit.group_count; g++)
    {
        const rlv_articulation_group* group = &a->fit.group[g];
        put_group(&t, a, g);
        put_motion(&t, a, &group->motion, group_body(a, g));
        table_figures(&t, group->p, 2);
    }
    return t;
}

// --- unfilled life positions -----------------------------------------------------------------------------------------

/// Half of the longest axis of its 95 % region.
static double region_half_mm(const rlv_unfilled* life)
{
    double value[3];
    rlv_vec3 axis[3];
    if (rlv_principal_axes(value, axis, life->covariance_mm2, NULL) != RLV_DONE)
        return (double)NAN;
    return sqrt(life->radius2 * fmax(value[0], 0.0));
}

/// "from above": which side of the block is nearest; NULL where up is not known.
static const char* nearest_side(const history_articulation* a, const history_unfilled* u)
{
    if (!a->elements->up_known || isnan(u->depth_mm.value))
        return NULL;
    const double falls = -rlv_vec3_dot(u->way, a->elements->up);
    return falls > M_SQRT1_2 ? "above" : falls < -M_SQRT1_2 ? "below" : "the side";
}

static const char* taken_at(const history_articulation* a, const history_unfilled* u)
{
    return u->where == HISTORY_TAKEN ? a->elements->history->stage[u->stage].record->id : NULL;
}

static const table_column unfilled_columns[] = {
    {"row", NULL, "row", TABLE_TEXT, "Row of life positions."},
    {"place", NULL, "place", TABLE_COUNT, "Place in it, counted from the head."},
    {"position", "mm", "position", TABLE_PLACE, "Middle of where its element belongs, in the block's frame."},
    {"region_half", "mm", "± 95 %", TABLE_NUMBER,
     "Half of the longest axis of the region that holds the place of the element, were it in life position, with a "
     "probability of 95 %."},
    {"corridor", NULL, "beyond the row's end", TABLE_FLAG,
     "Beyond the last element of its row: the region is a corridor that the row goes on in."},
    {"where", NULL, "where", TABLE_TEXT,
     "in the rock: in the matrix that is left; at the surface: so near today's that it cannot be told whether below "
     "it; matrix taken; not collected: beyond the block at every stage."},
    {"stage", NULL, "taken at", TABLE_TEXT, "Stage at which the place is in the block no more."},
    {"with_piece", NULL, "with a piece", TABLE_FLAG, "Whether a piece came off at that stage, and may hold it."},
    {"depth", "mm", "depth", TABLE_INTERVAL,
     "Distance from the nearest place of today's surface, above zero inside the rock."},
    {"nearest_side", NULL, "nearest from", TABLE_TEXT,
     "Which side that place of the surface is on, as the block lay in the rock: above, the side, below."}};

static void put_unfilled(rlv_table* t, const history_articulation* a, size_t i)
{
    const rlv_unfilled* life = &a->fit.unfilled[i];
    const history_unfilled* u = &a->unfilled[i];
    const double half = region_half_mm(life);
    table_text(t, specimen_of(a)->row[life->row].id);
    table_count(t, (size_t)life->place);
    table_place(t, life->position_mm, half / sqrt(life->radius2));
    table_number(t, half, half / 10.0);
    table_flag(t, life->corridor);
    table_text(t, articulation_where_name(u->where));
    table_text(t, taken_at(a, u));
    table_flag(t, u->taken_with_piece);
    table_interval(t, u->depth_mm);
    table_text(t, nearest_side(a, u));
}

static rlv_table unfilled_table(const history_articulation* a)
{
    rlv_table t = table_of("unfilled", "Life positions without an element", COLUMNS(unfilled_columns));
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        put_unfilled(&t, a, i);
    return t;
}

// --- candidates ------------------------------------------------------------------------------------------------------

static const table_column candidate_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the element that was found in the spoil."},
    {"bag", NULL, "bag", TABLE_TEXT, "Bag of spoil."},
    {"bag_stage", NULL, "bag's stage", TABLE_TEXT, "Stage that the bag's spoil was taken off for."},
    {"bag_area", NULL, "bag's area", TABLE_TEXT, "Area that the spoil came from, where one was recorded."},
    {"row", NULL, "row", TABLE_TEXT, "Row of the life position; empty: none of those that are unfilled."},
    {"place", NULL, "place", TABLE_COUNT, "Place of it in that row."},
    {"probability", "percent", "probability", TABLE_NUMBER,
     "Probability that the element is the one that belonged there."}};

static void put_bag(rlv_table* t, const history_element* one)
{
    table_text(t, one->record->id);
    table_text(t, one->record->bag);
    table_text(t, one->bag->stage);
    table_text(t, one->bag->area);
}

static rlv_table candidates_table(const history_articulation* a)
{
    rlv_table t = table_of("candidates", "Life positions of elements from the spoil", COLUMNS(candidate_columns));
    for (size_t i = 0; i < a->stray_count && a->fitted; i++)
    {
        const history_stray* stray = &a->stray[i];
        for (size_t k = 0; k < stray->candidates.count; k++)
        {
            const rlv_candidate* c = &stray->candidates.candidate[k];
            put_bag(&t, &a->elements->one[stray->element]);
            table_text(&t, specimen_of(a)->row[a->fit.unfilled[c->unfilled].row].id);
            table_count(&t, (size_t)a->fit.unfilled[c->unfilled].place);
            table_number(&t, 100.0 * c->probability, 1.0);
        }
        put_bag(&t, &a->elements->one[stray->element]);
        table_none(&t);
        table_none(&t);
        table_number(&t, 100.0 * stray->candidates.none, 1.0);
    }
    return t;
}

report_text articulation_candidates_words(const history_articulation* a, size_t number)
{
    const history_stray* stray = &a->stray[number];
    const history_element* one = &a->elements->one[stray->element];
    report_text words = {""};
    size_t length =
        (size_t)snprintf(words.text, sizeof words.text, "bag %.60s, stage %.60s: ", one->record->bag, one->bag->stage);
    size_t told = 0;
    if (stray->candidates.count == 0)
        snprintf(words.text + length, sizeof words.text - length, "no free life position of its row is known");
    if (stray->candidates.count == 0)
        return words;
    for (; told < stray->candidates.count && told < CANDIDATES_TOLD; told++)
    {
        const rlv_candidate* c = &stray->candidates.candidate[told];
        const rlv_unfilled* life = &a->fit.unfilled[c->unfilled];
        if (c->probability < LEAST_LIKELY)
            break;
        length += (size_t)snprintf(words.text + length, sizeof words.text - length, "%.60s %d (%s), ",
                                   specimen_of(a)->row[life->row].id, life->place, words_share(c->probability).text);
    }
    double rest = 0.0;
    for (size_t k = told; k < stray->candidates.count; k++)
        rest += stray->candidates.candidate[k].probability;
    if (rest >= 0.005)
        length += (size_t)snprintf(words.text + length, sizeof words.text - length, "%s (%s), ",
                                   told > 0 ? "another" : "any of those unfilled", words_share(rest).text);
    snprintf(words.text + length, sizeof words.text - length, "none of these (%s)",
             words_share(stray->candidates.none).text);
    return words;
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
    {"pitch", "mm", "pitch", TABLE_NUMBER, "Median distance from place to place."}};

static rlv_table rows_table(const history_articulation* a)
{
    rlv_table t = table_of("articulation_rows", "Rows", COLUMNS(row_columns));
    for (size_t r = 0; r < a->row_count; r++)
    {
        const rlv_row_record* record = &specimen_of(a)->row[r];
        const rlv_articulation_row_told* told = a->fitted ? &a->fit.row[r] : &(rlv_articulation_row_told){0};
        table_text(&t, record->id);
        table_text(&t, record->side);
        table_text(&t, places_words(record->first_place, record->last_place).text);
        table_count(&t, a->row_known[r]);
        table_flag(&t, told->used);
        table_count(&t, told->held);
        table_count(&t, told->in_place);
        table_flag(&t, told->short_row);
        table_number(&t, told->used ? told->pitch_mm : (double)NAN, a->fit.scatter_along_mm);
    }
    return t;
}

static rlv_interval in_percent(rlv_interval share)
{
    return (rlv_interval){100.0 * share.value, 100.0 * share.low, 100.0 * share.high};
}

static const table_column share_columns[] = {
    {"from", "mm", "from", TABLE_NUMBER, "Where the part begins, along the body from the head."},
    {"to", "mm", "to", TABLE_NUMBER, "Where it ends."},
    {"held", NULL, "elements", TABLE_COUNT, "Elements whose life position lies there."},
    {"in_place", NULL, "in place", TABLE_COUNT, "Of these, in place."},
    {"share", "percent", "share in place", TABLE_INTERVAL, "The same as a share, with its exact binomial interval."}};

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
    }
    return t;
}

static const table_column skeleton_columns[] = {
    {"word", NULL, "skeleton", TABLE_TEXT,
     "articulated: three quarters of the elements judged, at least, are in place; associated: three quarters lie "
     "within "
     "a fifth of the body's length of their life position; isolated: neither."},
    {"held", NULL, "judged", TABLE_COUNT, "Elements that are judged."},
    {"share_in_place", "percent", "share in place", TABLE_INTERVAL, "Of them, with its exact binomial interval."},
    {"groups", NULL, "groups", TABLE_COUNT, "Stretches that moved together."},
    {"unfilled", NULL, "unfilled", TABLE_COUNT, "Life positions without an element."},
    {"tests", NULL, "tests", TABLE_COUNT, "Elements whose p was adjusted together."},
    {"body_length", "mm", "length of the body", TABLE_NUMBER, "Along its axis, from the first place to the last."},
    {"scatter_along", "mm", "scatter along", TABLE_NUMBER, "Natural scatter about the order along the body, one sd."},
    {"scatter_across", "mm", "scatter across", TABLE_NUMBER, "The same across the body and out of it, each."},
    {"scatter_turn", "deg", "scatter of attitude", TABLE_NUMBER,
     "Natural scatter of the attitude about each axis, one sd."},
    {"crossing", NULL, "crosses itself", TABLE_FLAG, "Whether the body comes nearer to itself than it is wide."}};

static size_t judged_count(const history_articulation* a)
{
    size_t held = 0;
    for (size_t r = 0; r < a->fit.row_count; r++)
        held += a->fit.row[r].held;
    return held;
}

static rlv_table skeleton_table(const history_articulation* a)
{
    rlv_table t = table_of("skeleton", "The skeleton", COLUMNS(skeleton_columns));
    if (!a->fitted)
        return t;
    table_text(&t, rlv_articulation_word_of(a->fit.word));
    table_count(&t, judged_count(a));
    table_interval(&t, in_percent(a->fit.share_in_place));
    table_count(&t, a->fit.group_count);
    table_count(&t, a->fit.unfilled_count);
    table_count(&t, a->fit.tests);
    table_number(&t, rlv_body_axis_length_mm(&a->fit.axis), 1.0);
    table_figures(&t, a->fit.scatter_along_mm, 2);
    table_figures(&t, a->fit.scatter_across_mm, 2);
    table_figures(&t, a->fit.scatter_deg, 2);
    table_flag(&t, a->fit.crossing);
    return t;
}

report_text articulation_verdict(const history_articulation* a)
{
    report_text words;
    const size_t held = judged_count(a);
    const rlv_interval share = in_percent(a->fit.share_in_place);
    snprintf(words.text, sizeof words.text,
             "%s, %zu of %zu elements that can be judged are in place (%.0f %%, %.0f to %.0f %%)",
             rlv_articulation_word_of(a->fit.word), (size_t)lround(0.01 * share.value * (double)held), held,
             share.value, floor(share.low), ceil(share.high));
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

// --- the wall --------------------------------------------------------------------------------------------------------

#define WALL_MOTION_COLUMNS                                                                                            \
    {"shift", "mm", "shift", TABLE_INTERVAL, "Distance from the life position."},                                      \
        {"pitches", NULL, "in pitches", TABLE_NUMBER, "The same over the distance of the row's places."},              \
        {"towards", NULL, "towards", TABLE_TEXT, "Which way on the body, the greatest part first."},                   \
    {                                                                                                                  \
        "trend_plunge", NULL, "trend/plunge °", TABLE_TEXT, "The same by compass; a plunge below zero points upwards." \
    }

static void put_wall_motion(rlv_table* t, const history_articulation* a, const rlv_body_motion* m, const rlv_mat3* body)
{
    const double share = words_sd(m->shift_mm) / m->shift_mm.value;
    table_interval(t, m->shift_mm);
    table_number(t, m->shift_pitches, m->shift_pitches * share);
    table_text(t, or_null(body_way(m).text));
    table_text(t, or_null(compass_way(a, motion_vector(m, body)).text));
}

static const table_column groups_wall_columns[] = {
    GROUP_COLUMNS, WALL_MOTION_COLUMNS, {"p", NULL, "p", TABLE_TEXT, "Times the number of stretches looked at."}};

rlv_table articulation_groups_wall(const history_articulation* a)
{
    rlv_table t = table_of("groups", "Stretches that moved together", COLUMNS(groups_wall_columns));
    for (size_t g = 0; g < a->fit.group_count; g++)
    {
        const rlv_articulation_group* group = &a->fit.group[g];
        put_group(&t, a, g);
        put_wall_motion(&t, a, &group->motion, group_body(a, g));
        table_text(&t, report_p(group->p).text);
    }
    return t;
}

static const table_column moved_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"state", NULL, "state", TABLE_TEXT, "shifted, rotated or inverted."},
    WALL_MOTION_COLUMNS,
    {"rotation", "deg", "rotation", TABLE_NUMBER, "Whole angle against its attitude in life."},
    {"p", NULL, "p", TABLE_TEXT, "Adjusted over all elements."},
    {"group", NULL, "group", TABLE_COUNT, "Stretch that it moved with."}};

rlv_table articulation_moved_wall(const history_articulation* a)
{
    rlv_table t = table_of("moved", "Elements that have left their life position", COLUMNS(moved_columns));
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const rlv_articulated* told = told_of(a, i);
        if (told == NULL || told->state == RLV_IN_PLACE || told->state == RLV_UNASSIGNED)
            continue;
        table_text(&t, a->elements->one[i].record->id);
        table_text(&t, rlv_articulation_state_word(told->state));
        put_wall_motion(&t, a, &told->motion, &told->body);
        table_number(&t, told->motion.rotation_deg.value, fmax(words_sd(told->motion.rotation_deg), 2.0));
        table_text(&t, or_null(report_p(told->p_adjusted).text));
        if (told->group > 0)
            table_count(&t, told->group);
        else
            table_none(&t);
    }
    return t;
}

static const table_column unfilled_wall_columns[] = {
    {"row", NULL, "row", TABLE_TEXT, "Row of life positions."},
    {"place", NULL, "place", TABLE_TEXT, "Place in it, counted from the head; several where the row goes on."},
    {"position", "mm", "position", TABLE_PLACE, "Middle of where its element belongs: of the first of several."},
    {"region_half", NULL, "± 95 % mm", TABLE_TEXT, "Half of the longest axis of its 95 % region."},
    {"where", NULL, "where", TABLE_TEXT, "Where that is today."},
    {"depth", NULL, "depth mm", TABLE_TEXT, "Below the nearest place of today's surface."},
    {"nearest_side", NULL, "nearest from", TABLE_TEXT, "Which side that place of the surface is on."}};

static bool has_rock(const history_unfilled* u)
{
    return u->where == HISTORY_IN_ROCK || u->where == HISTORY_AT_SURFACE;
}

/// The last of the life positions from `first` on that are told as one: those of a corridor that lie alike, all with
/// rock about them or all without.
static size_t last_alike(const history_articulation* a, size_t first)
{
    const rlv_unfilled* life = a->fit.unfilled;
    const history_unfilled* u = a->unfilled;
    size_t last = first;
    while (last + 1 < a->fit.unfilled_count && life[first].corridor && life[last + 1].corridor &&
           life[last + 1].row == life[first].row && life[last + 1].place == life[last].place + 1 &&
           ((has_rock(&u[first]) && has_rock(&u[last + 1])) ||
            (u[last + 1].where == u[first].where && u[last + 1].stage == u[first].stage)))
        last++;
    return last;
}

/// "matrix taken at skull", "in the rock (corridor)"; of several at the surface where one of them is.
static report_text where_words(const history_articulation* a, size_t first, size_t last)
{
    report_text words = {""};
    const history_unfilled* u = &a->unfilled[first];
    history_where where = u->where;
    for (size_t i = first; i <= last; i++)
        where = a->unfilled[i].where == HISTORY_AT_SURFACE ? HISTORY_AT_SURFACE : where;
    const char* name = articulation_where_name(where);
    const char* stage = taken_at(a, u);
    if (name != NULL)
        snprintf(words.text, sizeof words.text, "%s%s%.60s%s%s", name, stage != NULL ? " at " : "",
                 stage != NULL ? stage : "", u->taken_with_piece ? ", where a piece came off" : "",
                 a->fit.unfilled[first].corridor ? " (corridor)" : "");
    return words;
}

/// "2.3"; of several "11 to 89".
static report_text regions_words(const history_articulation* a, size_t first, size_t last)
{
    report_text words;
    double least = INFINITY, most = 0.0;
    for (size_t i = first; i <= last; i++)
    {
        const double half = region_half_mm(&a->fit.unfilled[i]);
        least = fmin(least, half);
        most = fmax(most, half);
    }
    if (last == first)
        snprintf(words.text, sizeof words.text, "%s", words_at_most(most).text);
    else
        snprintf(words.text, sizeof words.text, "%s to %s", words_at_most(least).text, words_at_most(most).text);
    return words;
}

/// "3.1 (2.0 to 4.2)"; of several from the least to the greatest that it may be: "−4 to 39". Empty where there is
/// no rock.
static report_text depths_words(const history_articulation* a, size_t first, size_t last)
{
    report_text words = {""};
    rlv_interval all = a->unfilled[first].depth_mm;
    for (size_t i = first; i <= last; i++)
    {
        all.low = fmin(all.low, a->unfilled[i].depth_mm.low);
        all.high = fmax(all.high, a->unfilled[i].depth_mm.high);
    }
    if (last == first)
        snprintf(words.text, sizeof words.text, "%s (%s)", words_value(all, 1.0).text, words_ends(all, 1.0).text);
    else
        snprintf(words.text, sizeof words.text, "%s", words_ends(all, 1.0).text);
    return words;
}

const char* articulation_corridor_words(const history_articulation* a)
{
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        if (a->fit.unfilled[i].corridor)
            return "Beyond its last element a row goes on in a corridor, that widens: no place in it is one to dig at.";
    return NULL;
}

rlv_table articulation_unfilled_wall(const history_articulation* a)
{
    rlv_table t = table_of("unfilled", "Life positions without an element", COLUMNS(unfilled_wall_columns));
    for (size_t i = 0, last; i < a->fit.unfilled_count; i = last + 1)
    {
        const rlv_unfilled* life = &a->fit.unfilled[i];
        const history_unfilled* u = &a->unfilled[i];
        last = last_alike(a, i);
        table_text(&t, specimen_of(a)->row[life->row].id);
        table_text(&t, places_words(life->place, a->fit.unfilled[last].place).text);
        table_place(&t, life->position_mm, region_half_mm(life) / sqrt(life->radius2));
        table_text(&t, regions_words(a, i, last).text);
        table_text(&t, or_null(where_words(a, i, last).text));
        table_text(&t, has_rock(u) ? depths_words(a, i, last).text : NULL);
        table_text(&t, has_rock(u) ? nearest_side(a, u) : NULL);
    }
    return t;
}

// --- what could not be told ------------------------------------------------------------------------------------------

/// Ids of the elements that are left out for a reason, parted by commas.
static size_t list_left_out(report_text* words, const history_articulation* a, history_left_out why)
{
    size_t length = 0, count = 0;
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const char* id = a->elements->one[i].record->id;
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
        const char* id = specimen_of(a)->row[r].id;
        if (told->used != used || (used && !told->short_row) || length + strlen(id) + 4 > sizeof words->text)
            continue;
        length +=
            (size_t)snprintf(words->text + length, sizeof words->text - length, "%s%s", count > 0 ? ", " : "", id);
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
        length += (size_t)snprintf(words->text + length, sizeof words->text - length,
                                   c->order == 0 ? "%s%.60s may not be its place %d (sure to %s)"
                                                 : "%sthe step before %.60s, place %d (sure to %s)",
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
                {HISTORY_NOT_PLACED, "not judged, since they are not known in the block's frame"}};
    enum
    {
        LEFT = sizeof left / sizeof *left,
        ALL = LEFT + 4,
    };
    for (; *next < ALL + a->row_count; ++*next)
    {
        const size_t k = *next;
        report_text names = {""};
        words->text[0] = '\0';
        if (k < LEFT && list_left_out(&names, a, left[k].why) > 0)
            snprintf(words->text, sizeof words->text, "%s: %.900s", left[k].text, names.text);
        else if (k == LEFT && list_rows(&names, a, false) > 0)
            snprintf(words->text, sizeof words->text,
                     "rows without %d elements of a known place, and so left out: %.900s", RLV_ARTICULATION_LEAST,
                     names.text);
        else if (k == LEFT + 1 && list_rows(&names, a, true) > 0)
            snprintf(words->text, sizeof words->text,
                     "rows with under 15 elements, in which what has moved is found less surely: %.900s", names.text);
        else if (k == LEFT + 2 && a->fitted)
            snprintf(words->text, sizeof words->text,
                     "a slip of all rows together, which looks as the animal's own curve does, and one along the body "
                     "by whole places");
        else if (k == LEFT + 3 && a->fitted)
            snprintf(words->text, sizeof words->text,
                     "a stretch that moved together at the end of its row; the first and the last of a row are judged "
                     "less surely");
        else if (k >= ALL)
            list_unsure(&names, a, k - ALL);
        if (k >= ALL && names.text[0] != '\0')
            snprintf(words->text, sizeof words->text, "the count of row %.60s: %.900s", specimen_of(a)->row[k - ALL].id,
                     names.text);
        if (words->text[0] != '\0')
        {
            ++*next;
            return true;
        }
    }
    return false;
}
