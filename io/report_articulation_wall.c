#include "interval.h"
#include "report_articulation_parts.h"
#include "report_disturbance.h"
#include "report_place.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

enum
{
    CANDIDATES_TOLD = 4, ///< life positions of one element, or elements of one life position, to people
};

/// What is less likely is not told to people.
static const double LEAST_LIKELY = 0.03;

static const rlv_unfilled* unfilled_of(const history_articulation* a, size_t i)
{
    return &a->fit.unfilled[i];
}

static const char* row_id(const history_articulation* a, size_t row)
{
    return articulation_specimen(a)->row[row].id;
}

static const char* comma(const report_text* words)
{
    return words->text[0] != '\0' ? ", " : "";
}

report_text articulation_place_name(const history_articulation* a, const rlv_unfilled* life)
{
    report_text name;
    rlv_print(name.text, sizeof name.text, "place %d of %.100s", life->place, row_id(a, life->row));
    return name;
}

// --- motions ---------------------------------------------------------------------------------------------------------

static const char* const body_ends[3][2] = {{"head", "tail"}, {"right", "left"}, {"in", "out"}};

/// The parts of a motion on the body, the greatest first.
static void order_parts(size_t order[3], const rlv_interval part[3])
{
    for (size_t i = 0; i < 3; i++)
    {
        size_t k = i;
        for (; k > 0 && fabs(part[i].value) > fabs(part[order[k - 1]].value); k--)
            order[k] = order[k - 1];
        order[k] = i;
    }
}

/// "tail, left": which way something moved on the body, the greatest part first. What may be none and what is under a
/// third of the greatest is left out.
static report_text body_way(const rlv_body_motion* m)
{
    const rlv_interval part[3] = {m->along_mm, m->across_mm, m->out_mm};
    size_t order[3];
    report_text words = {""};
    order_parts(order, part);
    const double greatest = fabs(part[order[0]].value);
    for (size_t i = 0; i < 3; i++)
    {
        const rlv_interval* p = &part[order[i]];
        const bool sure = p->low > 0.0 || p->high < 0.0;
        if (sure && 3.0 * fabs(p->value) >= greatest)
            report_add(&words, "%s%s", comma(&words), body_ends[order[i]][p->value > 0.0]);
    }
    return words;
}

/// Whether a motion has a direction: as the disturbance has it, of a stretch (from 1) or, where that is 0, of an
/// element that moved by itself (`given`: among those given).
static bool has_direction(const history_articulation* a, size_t group, size_t given)
{
    for (size_t i = 0; i < a->disturbance.motion_count; i++)
    {
        const rlv_disturbance_motion* m = &a->disturbance.motion[i];
        if (m->group == group && (group > 0 || m->element == given))
            return m->trust > 0.0;
    }
    return false;
}

/// "082/15 ± 12": azimuth and plunge of a motion that has a direction, as the trade writes them, with half of the 95 %
/// interval, an angle in space. Empty where it may be none.
static report_text compass_way(const history_articulation* a, const rlv_body_motion* m, articulation_way way)
{
    report_text words = {""};
    const double half = ceil(articulation_way_half_deg(way));
    if (!(m->shift_mm.low > 0.0) || !a->elements->compass_known || !(rlv_vec3_length(way.motion_mm) > 0.0))
        return words;
    const rlv_trend trend = rlv_trend_of(&a->elements->compass, way.motion_mm);
    report_add(&words, "%s ± %.0f", words_trend(trend.trend_deg, trend.plunge_deg).text, half);
    return words;
}

#define MOTION_COLUMNS                                                                                                 \
    {"shift", "mm", "shift", TABLE_INTERVAL, "Distance from the life position."},                                      \
        {"pitches", NULL, "in pitches", TABLE_NUMBER, "The same over the distance of the row’s places."},              \
        {"towards", NULL, "towards", TABLE_TEXT, "Which way on the body, the greatest part first."},                   \
    {                                                                                                                  \
        "trend_plunge", NULL, "trend/plunge °", TABLE_TEXT, "The same by compass; a plunge below zero points upwards." \
    }

static void put_motion(rlv_table* t, const history_articulation* a, const rlv_articulated* told, size_t given)
{
    const rlv_body_motion* m = &told->motion;
    const articulation_way way = articulation_way_of(m, &told->body);
    const bool directed = has_direction(a, told->group, given);
    const double share = words_sd(articulation_length_of(m->shift_mm)) / m->shift_mm.value;
    table_interval(t, articulation_length_of(m->shift_mm));
    table_number(t, m->shift_pitches, m->shift_pitches * share);
    table_text(t, articulation_or_null(body_way(m).text));
    table_text(t, directed ? articulation_or_null(compass_way(a, m, way).text) : NULL);
}

// --- stretches -------------------------------------------------------------------------------------------------------

static const table_column groups_columns[] = {
    {"group", NULL, "stretch", TABLE_COUNT, "Number of the stretch."},
    {"row", NULL, "row", TABLE_TEXT, "Its row."},
    {"places", NULL, "places", TABLE_TEXT, "First and last place of it."},
    {"elements", NULL, "elements", TABLE_COUNT, "Elements of it."},
    {"shift", "mm", "shift", TABLE_INTERVAL, "Distance from the life position."},
    {"pitches", NULL, "in pitches", TABLE_NUMBER, "The same over the distance of the row’s places."},
    {"towards", NULL, "on the body, mm", TABLE_TEXT, "Which way on the body and how far, the greatest part first."},
    {"trend_plunge", NULL, "by compass, first to last", TABLE_TEXT,
     "Trend and plunge of that motion where its first and where its last element belongs, in degrees: a row that "
     "curves "
     "turns it. A plunge below zero points upwards."},
    {"p", NULL, "p", TABLE_TEXT, "Times the number of stretches looked at."}};

/// "tail 4.6 (3.1 to 6.1), left 2.4 (1.0 to 3.8)": the parts that are surely some, the greatest first.
static report_text body_parts(const rlv_body_motion* m)
{
    const rlv_interval part[3] = {m->along_mm, m->across_mm, m->out_mm};
    size_t order[3];
    report_text words = {""};
    order_parts(order, part);
    for (size_t i = 0; i < 3; i++)
    {
        const rlv_interval* p = &part[order[i]];
        const bool back = p->value < 0.0;
        const rlv_interval size = back ? (rlv_interval){-p->value, -p->high, -p->low} : *p;
        if (size.low > 0.0)
            report_add(&words, "%s%s %s (%s)", comma(&words), body_ends[order[i]][!back], words_value(size, 1.0).text,
                       words_ends(size, 1.0).text);
    }
    return words;
}

/// "017/20 ± 9 to 325/19 ± 9".
static report_text compass_range(const history_articulation* a, size_t g)
{
    const rlv_body_motion* m = &a->fit.group[g].motion;
    if (!has_direction(a, g + 1, SIZE_MAX))
        return (report_text){""};
    report_text words = compass_way(a, m, articulation_way_at(a, g, false));
    const report_text last = compass_way(a, m, articulation_way_at(a, g, true));
    if (words.text[0] != '\0' && last.text[0] != '\0')
        report_add(&words, " to %.120s", last.text);
    return words;
}

rlv_table articulation_groups_wall(const history_articulation* a)
{
    rlv_table t = table_of("groups", "Stretches that moved together", COLUMNS(groups_columns));
    for (size_t g = 0; g < a->fit.group_count; g++)
    {
        const rlv_articulation_group* group = &a->fit.group[g];
        table_count(&t, g + 1);
        table_text(&t, row_id(a, group->row));
        table_text(&t, articulation_places(group->first, group->last).text);
        table_count(&t, group->count);
        table_interval(&t, group->motion.shift_mm);
        table_number(&t, group->motion.shift_pitches,
                     group->motion.shift_pitches * words_sd(group->motion.shift_mm) / group->motion.shift_mm.value);
        table_text(&t, articulation_or_null(body_parts(&group->motion).text));
        table_text(&t, articulation_or_null(compass_range(a, g).text));
        table_text(&t, report_p(group->p).text);
    }
    return t;
}

const char* articulation_group_words(const history_articulation* a)
{
    return a->fit.group_count > 0
               ? "Why an element of a stretch is told as shifted whatever its own p: how far one of them lies off is "
                 "within the scatter of its row, that all of them lie off the same way is not. The p of the stretch "
                 "tells how seldom chance would make so clear a common motion anywhere. The stretch’s motion is the "
                 "one to quote, in the body’s own directions: where the row curves, one motion of the body has "
                 "another compass direction at its first element than at its last. That of one element differs from it "
                 "by the scatter of the row."
               : NULL;
}

// --- elements that are displaced -------------------------------------------------------------------------------------

static const table_column moved_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"state", NULL, "state", TABLE_TEXT, "shifted, rotated or inverted."},
    MOTION_COLUMNS,
    {"rotation", "deg", "rotation", TABLE_INTERVAL, "Whole angle against its attitude in life."},
    {"p", NULL, "p", TABLE_TEXT, "Adjusted over all elements; and that of its stretch."},
    {"group", NULL, "stretch", TABLE_COUNT, "Stretch that it moved with."},
    {"neighbours", NULL, "neighbours", TABLE_TEXT,
     "Of its row, the elements in place that are nearest to its life position."}};

/// "0.79; < 0.001 as stretch 1", "0.012, barely"
static report_text p_words(const history_articulation* a, const rlv_articulated* told)
{
    report_text words = report_p(told->p_adjusted);
    if (articulation_is_barely(told))
        report_add(&words, ", barely");
    if (told->group > 0)
        report_add(&words, "%s%.20s as stretch %zu", words.text[0] != '\0' ? "; " : "",
                   report_p(a->fit.group[told->group - 1].p).text, told->group);
    return words;
}

rlv_table articulation_moved_wall(const history_articulation* a)
{
    rlv_table t = table_of("moved", "Elements that have left their life position", COLUMNS(moved_columns));
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const rlv_articulated* told = history_told(a, i);
        if (told == NULL || told->state == RLV_IN_PLACE || told->state == RLV_UNASSIGNED)
            continue;
        table_text(&t, articulation_id(a, i));
        table_text(&t, rlv_articulation_state_word(told->state));
        put_motion(&t, a, told, a->given_of[i]);
        table_interval(&t, articulation_length_of(told->motion.rotation_deg));
        table_text(&t, articulation_or_null(p_words(a, told).text));
        if (told->group > 0)
            table_count(&t, told->group);
        else
            table_none(&t);
        table_text(&t, articulation_or_null(articulation_neighbours(a, i).text));
    }
    return t;
}

static const table_column off_row_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"row", NULL, "row", TABLE_TEXT, "Its row."},
    {"likeliest", NULL, "likeliest place", TABLE_TEXT,
     "Of the free places the one that it most likely had, with its probability: all are under loose elements."},
    {"moved", "mm", "if from there, moved by", TABLE_INTERVAL, "Distance from that life position."},
    {"trend_plunge", NULL, "trend/plunge °", TABLE_TEXT,
     "Of that motion: the way that it went, from true north, and below the horizon."},
    {"nearest_free", NULL, "nearest free place", TABLE_TEXT,
     "The life position without an element that it is nearest to, whether it had that or not."},
    {"least", "mm", "the least that it moved by", TABLE_INTERVAL,
     "Distance from that: from any other free place it has moved farther."},
    {"neighbours", NULL, "its neighbours", TABLE_TEXT, "Of that place: the elements in place that are nearest to it."}};

/// The likeliest place of a loose element; NULL where there is none.
static const rlv_candidate* likeliest_of(const history_articulation* a, size_t element)
{
    for (size_t i = 0; i < a->stray_count; i++)
        if (a->stray[i].element == element && a->stray[i].candidates.count > 0)
            return &a->stray[i].candidates.candidate[0];
    return NULL;
}

/// "place 9 of LR (90 %)", and how it came from there.
static void put_likeliest(rlv_table* t, const history_articulation* a, size_t element)
{
    const rlv_candidate* from = likeliest_of(a, element);
    if (from == NULL)
    {
        for (int k = 0; k < 3; k++)
            table_none(t);
        return;
    }
    const articulation_came came = articulation_came_from(a, from->unfilled, element);
    table_text(t, report_say("%.120s (%s)", articulation_place_name(a, unfilled_of(a, from->unfilled)).text,
                             words_chance(from->probability).text)
                      .text);
    table_interval(t, came.far_mm);
    table_text(t, came.compass ? words_trend(came.trend_deg, came.plunge_deg).text : NULL);
}

rlv_table articulation_off_row_wall(const history_articulation* a)
{
    rlv_table t = table_of("off_row", "Elements that lie off their row", COLUMNS(off_row_columns));
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const rlv_articulated* told = history_told(a, i);
        if (a->why[i] != HISTORY_OFF_ROW)
            continue;
        table_text(&t, articulation_id(a, i));
        table_text(&t, a->elements->one[i].record->row);
        put_likeliest(&t, a, i);
        table_text(&t,
                   told->nearest != SIZE_MAX ? articulation_place_name(a, unfilled_of(a, told->nearest)).text : NULL);
        table_interval(&t, told->nearest_mm);
        table_text(&t, articulation_or_null(articulation_neighbours(a, i).text));
    }
    return t;
}

// --- loose elements and free places ----------------------------------------------------------------------------------

/// "place 25 of LL (45 %), place 31 of LL (43 %), none of these (2 %)"
static report_text candidates_words(const history_articulation* a, const rlv_candidates* candidates)
{
    report_text words = {""};
    double rest = 0.0;
    size_t told = 0;
    for (size_t k = 0; k < candidates->count; k++)
    {
        const rlv_candidate* c = &candidates->candidate[k];
        if (told == k && k < CANDIDATES_TOLD && c->probability >= LEAST_LIKELY)
        {
            told++;
            report_add(&words, "%s%.100s (%s)", comma(&words),
                       articulation_place_name(a, unfilled_of(a, c->unfilled)).text, words_chance(c->probability).text);
        }
        else
            rest += c->probability;
    }
    if (rest >= 0.005)
        report_add(&words, "%s%s (%s)", comma(&words), told > 0 ? "another" : "any of those that are free",
                   words_chance(rest).text);
    if (candidates->count == 0)
        report_add(&words, "no free place of its row is known");
    else
        report_add(&words, ", none of these (%s)", words_chance(candidates->none).text);
    return words;
}

static const table_column loose_columns[] = {
    {"id", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"row", NULL, "row", TABLE_TEXT, "Row, as recorded."},
    {"found", NULL, "found", TABLE_TEXT, "Where it was found."},
    {"places", NULL, "free places that it may have had", TABLE_TEXT, "With their probabilities."}};

rlv_table articulation_loose_wall(const history_articulation* a)
{
    rlv_table t =
        table_of("loose", "Loose elements, and the free places that they may have had", COLUMNS(loose_columns));
    for (size_t i = 0; i < a->stray_count; i++)
    {
        const size_t element = a->stray[i].element;
        const history_element* one = &a->elements->one[element];
        report_text found = {""};
        report_add(&found, "%s", articulation_loose_name(a->why[element]));
        if (a->why[element] == HISTORY_SPOIL)
            report_add(&found, ", bag %.100s at %.100s", one->record->bag, one->bag->stage);
        table_text(&t, articulation_id(a, element));
        table_text(&t, one->record->row);
        table_text(&t, found.text);
        table_text(&t, candidates_words(a, &a->stray[i].candidates).text);
    }
    return t;
}

bool articulation_has_off_row(const history_articulation* a)
{
    for (size_t i = 0; i < a->stray_count; i++)
        if (a->why[a->stray[i].element] == HISTORY_OFF_ROW)
            return true;
    return false;
}

carried_off articulation_off_current(const history_articulation* a, const rlv_disturbance_motion* m)
{
    const rlv_carried* c = &a->carried;
    carried_way way;
    if (!(m->trust > 0.0) || !articulation_carried_way(&way, a))
        return (carried_off){NAN, NAN};
    const rlv_vec3 level = rlv_vec3_along(m->motion_mm, -rlv_vec3_dot(m->motion_mm, a->level_up), a->level_up);
    const double cosine = rlv_vec3_dot(rlv_vec3_unit(level), rlv_vec3_unit(c->motion_mm)), degree = M_PI / 180.0,
                 sd = hypot(hypot(m->direction_sd_deg, c->direction_sd_deg), RLV_CARRIED_SCATTER / degree);
    return (carried_off){acos(fmax(fmin(cosine, 1.0), -1.0)) / degree, RLV_HALF_95 * sd};
}

bool articulation_carried_way(carried_way* way, const history_articulation* a)
{
    const rlv_carried* c = &a->carried;
    if (!(c->probability >= 0.5) || !(rlv_vec3_length(c->motion_mm) > 0.0) || !a->elements->compass_known)
        return false;
    *way = (carried_way){rlv_vec3_length(c->motion_mm),
                         (int)lround(rlv_trend_of(&a->elements->compass, c->motion_mm).trend_deg) % 360,
                         ceil(fmin(RLV_HALF_95 * c->direction_sd_deg, 180.0))};
    return true;
}

report_text articulation_carried_words(const history_articulation* a)
{
    report_text words = {""};
    carried_way way;
    if (!articulation_has_off_row(a))
        return words;
    report_add(&words,
               "That what lies off its row was carried one way, by a current say, is %s likely. So tell where it lies "
               "to the free places and the motions of what kept its place",
               words_chance(a->carried.probability).text);
    if (articulation_carried_way(&way, a))
        report_add(&words, ". It was by about %.0f mm towards %03d° (± %.0f°), on the mean over all that it may be",
                   way.far_mm, way.trend_deg, way.half_deg);
    report_add(&words, ". The probabilities hold both, each by how likely it is.");
    return words;
}

/// The probability that a loose element had an unfilled life position.
static double claim_of(const history_stray* stray, size_t unfilled)
{
    for (size_t k = 0; k < stray->candidates.count; k++)
        if (stray->candidates.candidate[k].unfilled == unfilled)
            return stray->candidates.candidate[k].probability;
    return 0.0;
}

/// "LR09 (73 %), LR12 (20 %)": the loose elements that an unfilled life position may have been that of, the likeliest
/// first.
static report_text claims_words(const history_articulation* a, size_t unfilled)
{
    report_text words = {""};
    double last = INFINITY;
    size_t before = 0;
    for (int told = 0; told < CANDIDATES_TOLD; told++)
    {
        double most = 0.0;
        size_t who = SIZE_MAX;
        for (size_t i = 0; i < a->stray_count; i++)
        {
            const double p = claim_of(&a->stray[i], unfilled);
            if (p >= LEAST_LIKELY && p > most && (p < last || (p == last && i > before)))
                most = p, who = i;
        }
        if (who == SIZE_MAX)
            break;
        last = most, before = who;
        report_add(&words, "%s%.100s (%s)", comma(&words), articulation_id(a, a->stray[who].element),
                   words_chance(most).text);
    }
    return words;
}

static const table_column unfilled_columns[] = {
    {"place", NULL, "place", TABLE_TEXT, "Place in its row, counted from the head; several where the row goes on."},
    {"place_sure", NULL, "number sure to", TABLE_TEXT, "How sure that number is, where the row was counted."},
    {"find_by", NULL, "to find it", TABLE_TEXT,
     "Where its element belongs: the square of the maps, and two things that show beside it; of several the squares of "
     "the first and the last."},
    {"region_half", NULL, "± 95 % mm", TABLE_TEXT, "Half of the longest axis of its 95 % region."},
    {"where", NULL, "where", TABLE_TEXT, "Where that is today."},
    {"depth", NULL, "depth mm", TABLE_TEXT,
     "Of the middle of its element below the nearest place of today’s surface, and which side that is on."},
    {"edge", NULL, "its nearest edge", TABLE_TEXT,
     "How deep the nearest edge of a plate there lies, as large as its neighbours and in their attitude in life."},
    {"claims", NULL, "may have been that of", TABLE_TEXT, "Loose elements, with their probabilities."},
    {"unclaimed", NULL, "of none known", TABLE_TEXT, "Probability that no loose element belonged there."}};

/// Whether a life position of a corridor is known no better than to the next place.
bool articulation_is_vague(const history_articulation* a, size_t i)
{
    const rlv_unfilled* life = unfilled_of(a, i);
    return life->corridor && articulation_region_half_mm(life) > a->fit.row[life->row].pitch_mm;
}

/// The last of the life positions from `first` on that are told as one: those of a corridor that are as vague, all with
/// rock about them or all without.
static size_t last_alike(const history_articulation* a, size_t first)
{
    const history_unfilled* u = a->unfilled;
    size_t last = first;
    while (last + 1 < a->fit.unfilled_count && articulation_is_vague(a, first) && articulation_is_vague(a, last + 1) &&
           unfilled_of(a, last + 1)->row == unfilled_of(a, last)->row &&
           unfilled_of(a, last + 1)->place == unfilled_of(a, last)->place + 1 &&
           ((history_may_hold_bone(u[first].where) && history_may_hold_bone(u[last + 1].where)) ||
            (u[last + 1].where == u[first].where && u[last + 1].stage == u[first].stage)))
        last++;
    return last;
}

/// Where several places lie, in one name: that of all, or what holds of each.
static const char* where_of_several(const history_articulation* a, size_t first, size_t last)
{
    bool same = true, rock = true;
    for (size_t i = first; i <= last; i++)
    {
        const history_where where = a->unfilled[i].where;
        same = same && where == a->unfilled[first].where;
        rock = rock && (where == HISTORY_IN_ROCK || where == HISTORY_PROBABLY_IN_ROCK);
    }
    return same || !history_may_hold_bone(a->unfilled[first].where) ? articulation_where_name(a->unfilled[first].where)
           : rock                                                   ? "in the rock, or probably; how deep is not sure"
                                                                    : "in the rock, or near its surface";
}

/// "matrix taken at skull", "in the rock, corridor".
static report_text where_words(const history_articulation* a, size_t first, size_t last)
{
    report_text words = {""};
    const history_unfilled* u = &a->unfilled[first];
    const char *name = where_of_several(a, first, last), *stage = articulation_taken_at(a, u);
    if (name == NULL)
        return words;
    report_add(&words, "%s", name);
    if (stage != NULL)
        report_add(&words, " at %.100s%s", stage, u->taken_with_piece ? ", where a piece came off" : "");
    if (unfilled_of(a, first)->corridor)
        report_add(&words, "; beyond the row’s end");
    if (last == first && history_may_hold_bone(u->where) && u->at_bone)
        report_add(&words, "; bone shows at the surface nearest to it");
    return words;
}

/// "2.3"; of several "11 to 89".
static report_text regions_words(const history_articulation* a, size_t first, size_t last)
{
    report_text words = {""};
    double least = INFINITY, most = 0.0;
    for (size_t i = first; i <= last; i++)
    {
        const double half = articulation_region_half_mm(unfilled_of(a, i));
        least = fmin(least, half);
        most = fmax(most, half);
    }
    if (last > first)
        report_add(&words, "%s to ", words_at_most(least).text);
    report_add(&words, "%s", words_at_most(most).text);
    return words;
}

/// "3.1 (2.0 to 4.2), from above"; of several from the least to the greatest that it may be: "−4 to 39". Empty where
/// there is no rock.
static report_text depths_words(const history_articulation* a, size_t first, size_t last)
{
    report_text words = {""};
    rlv_interval all = a->unfilled[first].depth_mm;
    for (size_t i = first; i <= last; i++)
    {
        all.low = fmin(all.low, a->unfilled[i].depth_mm.low);
        all.high = fmax(all.high, a->unfilled[i].depth_mm.high);
    }
    if (!history_may_hold_bone(a->unfilled[first].where))
        return words;
    const char* side = articulation_nearest_side(a, &a->unfilled[first]);
    if (last == first)
        report_add(&words, "%s (%s)", words_value(all, 1.0).text, words_ends(all, 1.0).text);
    else
        report_add(&words, "%s", words_ends(all, 1.0).text);
    if (side != NULL && last == first)
        report_add(&words, ", from %s", side);
    return words;
}

/// "an edge at 1.2 (−0.8 to 3.2)"; empty where that is not known.
static report_text edge_words(const history_articulation* a, size_t i)
{
    report_text words = {""};
    const rlv_interval mm = articulation_nearest_edge(a, i).depth_mm;
    if (isfinite(mm.value))
        report_add(&words, "an edge at %s (%s)", words_value(mm, 1.0).text, words_ends(mm, 1.0).text);
    return words;
}

const char* articulation_corridor_words(const history_articulation* a)
{
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        if (unfilled_of(a, i)->corridor)
            return "Beyond its last element a row goes on in a corridor, that widens. Places there that are known no "
                   "better than to the next one stand on one line: none of them is one to dig at.";
    return NULL;
}

/// "25 of LL", "24-35 of LR"; "any of VL" where its places are not known.
static report_text places_name(const history_articulation* a, size_t row, int first, int last)
{
    report_text name = articulation_places(first, last);
    report_add(&name, "%s of %.100s", first == INT_MIN ? "any" : "", row_id(a, row));
    return name;
}

static void put_unfilled(rlv_table* t, const history_articulation* a, size_t first, size_t last)
{
    const rlv_unfilled* life = unfilled_of(a, first);
    const double sure = articulation_number_sure(a, life);
    table_text(t, places_name(a, life->row, life->place, unfilled_of(a, last)->place).text);
    table_text(t, isnan(sure) ? NULL : words_share(sure).text);
    table_text(
        t, articulation_or_null(report_places(a->elements, life->position_mm, unfilled_of(a, last)->position_mm).text));
    table_text(t, regions_words(a, first, last).text);
    table_text(t, articulation_or_null(where_words(a, first, last).text));
    table_text(t, articulation_or_null(depths_words(a, first, last).text));
    table_text(t, last > first ? NULL : articulation_or_null(edge_words(a, first).text));
    table_text(t, last > first ? NULL : articulation_or_null(claims_words(a, first).text));
    table_text(t, last > first ? NULL : words_chance(history_unclaimed(a, first)).text);
}

static void put_left_out(rlv_table* t, const history_articulation* a, size_t row)
{
    const rlv_articulation_row* places = &a->row[row];
    const bool known = places->last >= places->first;
    table_text(t, places_name(a, row, known ? places->first : INT_MIN, known ? places->last : INT_MIN).text);
    table_none(t);
    table_none(t);
    table_none(t);
    table_text(t, "nothing can be said: the row is left out");
    table_none(t);
    table_none(t);
    table_none(t);
    table_none(t);
}

rlv_table articulation_unfilled_wall(const history_articulation* a)
{
    rlv_table t = table_of("unfilled", "Life positions without an element", COLUMNS(unfilled_columns));
    table_beneath(&t, "edge");
    for (size_t i = 0, last; i < a->fit.unfilled_count; i = last + 1)
    {
        last = last_alike(a, i);
        put_unfilled(&t, a, i, last);
    }
    for (size_t r = 0; r < a->row_count; r++)
        if (!a->fit.row[r].used)
            put_left_out(&t, a, r);
    return t;
}

// --- sentences -------------------------------------------------------------------------------------------------------

/// "LL29, LL31": the loose elements of a row.
static report_text loose_of(const history_articulation* a, size_t row)
{
    report_text words = {""};
    for (size_t i = 0; i < a->stray_count; i++)
    {
        const char* of = a->elements->one[a->stray[i].element].record->row;
        if (of != NULL && strcmp(of, row_id(a, row)) == 0)
            report_add(&words, "%s%.100s", comma(&words), articulation_id(a, a->stray[i].element));
    }
    return words;
}

/// The place that a counted row's first element is told to have; INT_MIN of a row that was not counted.
static int first_place(const history_articulation* a, size_t row)
{
    for (size_t i = 0; i < a->given_count; i++)
        if (a->given[i].row == row && a->counted[i].place != INT_MIN && a->counted[i].order == 0)
            return a->counted[i].place;
    return INT_MIN;
}

/// How sure the number of a row's first counted element is; NaN where it was not counted.
static double first_sure(const history_articulation* a, size_t row)
{
    for (size_t i = 0; i < a->given_count; i++)
        if (a->given[i].row == row && a->counted[i].place != INT_MIN && a->counted[i].order == 0)
            return a->counted[i].probability;
    return (double)NAN;
}

/// Below this a number is told not to be sure.
static const double SURE = ARTICULATION_SURE;

static report_text left_out_words(const history_articulation* a, size_t row)
{
    report_text words = {""};
    const rlv_articulation_row* places = &a->row[row];
    report_add(&words, "left out, with %zu of %d elements of a known place that are needed: nothing can be said of ",
               a->row_known[row], RLV_ARTICULATION_LEAST);
    if (places->last >= places->first)
        report_add(&words, "where its %d places lie, nor of which are free", places->last - places->first + 1);
    else
        report_add(&words, "where its places lie");
    return words;
}

report_text articulation_open_words(const history_articulation* a, size_t row)
{
    report_text words = {""};
    if (!a->fit.row[row].used)
        return left_out_words(a, row);
    const history_open open = history_open_of(a, row);
    const size_t all = open.free + open.beyond;
    const report_text loose = loose_of(a, row);
    if (all == 0)
        report_add(&words, "every place has its element");
    else
    {
        report_add(&words, "%s free between its first and its last element", words_count(open.free, "place").text);
        if (open.beyond > 0)
            report_add(&words, ", %zu beyond", open.beyond);
        if (open.loose > 0)
            report_add(&words, "; loose: %.300s. So %s%zu of its elements %s not accounted for", loose.text,
                       all > open.loose ? "at least " : "it may be that ", all > open.loose ? all - open.loose : 0,
                       all > open.loose && all - open.loose == 1 ? "is" : "are");
        else
            report_add(&words, "; none of its elements is loose: %zu %s not accounted for", all,
                       all == 1 ? "is" : "are");
    }
    const double sure = first_sure(a, row);
    if (sure < SURE)
        report_add(
            &words,
            ". Its numbers may all be off together: that its first element is at the place told is sure to %s only. "
            "Where its places lie does not hang on that",
            words_share(sure).text);
    if (sure < SURE && first_place(a, row) == articulation_specimen(a)->row[row].first_place)
        report_add(&words,
                   ", but which there are does. As it is counted its first place is held; to %s there are "
                   "places before it too, which are in no list, and as many fewer beyond its last",
                   words_share(1.0 - sure).text);
    return words;
}

report_text articulation_verdict_meaning(const history_articulation* a)
{
    report_text words = {""};
    const rlv_articulation_verdict v = a->fit.verdict;
    report_add(
        &words,
        "Articulated: three quarters of the elements counted, at least, are in place. Associated: three quarters lie "
        "within a fifth of the body’s length (%.0f of %.0f mm, along its axis from the first place of all rows to the "
        "last) of their life position. Isolated: neither.",
        0.2 * rlv_body_axis_length_mm(&a->fit.axis), rlv_body_axis_length_mm(&a->fit.axis));
    if (!v.sure)
        report_add(&words, " The interval of the share passes three quarters, so another word is not ruled out.");
    if (v.effective + 0.5 < (double)(v.judged + v.off_row))
        report_add(
            &words,
            " In that interval a stretch that moved together weighs as one event: the %zu elements tell the share as "
            "surely as %.0f would of which each moved, or stayed, by itself.",
            v.judged + v.off_row, v.effective);
    return words;
}

report_text articulation_verdict_counted(const history_articulation* a)
{
    report_text words = {""};
    const rlv_articulation_verdict v = a->fit.verdict;
    size_t spoil = 0, other = 0;
    for (size_t i = 0; i < a->elements->count; i++)
    {
        spoil += a->why[i] == HISTORY_SPOIL;
        other += history_state(a, i) == RLV_UNASSIGNED && a->why[i] != HISTORY_SPOIL && a->why[i] != HISTORY_OFF_ROW;
    }
    report_add(&words, "Counted are %zu elements whose state is told", v.judged);
    if (v.off_row > 0)
        report_add(&words, ", and %zu that lie off their rows, and so have moved", v.off_row);
    const size_t untested = articulation_untested(a);
    if (untested > 0)
        report_add(&words,
                   ". %zu of those in place could not be tested: no shift of theirs under half a pitch would have been "
                   "told in 80 %% of cases. The share with them takes all of "
                   "them as in place, and is rather too high; that without them keeps all that was found displaced, "
                   "however unsure, and is rather too low",
                   untested);
    report_add(&words,
               ". Of %zu of the %zu in place the external face is known: of the others it cannot be told whether "
               "they lie inverted in their place",
               articulation_in_place_faced(a), v.in_place);
    report_add(&words, "; not counted are %zu from the spoil and %zu others, listed under ‘What could not be told’.",
               spoil, other);
    return words;
}

report_lines articulation_summary(const history_articulation* a)
{
    return (report_lines){.count = 4,
                          .line = {{"Skeleton", articulation_verdict(a), false},
                                   {"Displaced", articulation_displaced_words(a), false},
                                   {"Which way", disturbance_brief(a), false},
                                   {"Bone may lie", articulation_targets_brief(a), false}}};
}
