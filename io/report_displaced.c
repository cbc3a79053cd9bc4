#include "report_articulation_parts.h"
#include "report_place.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/// A p within a factor of ten of the level that it is told by is near it: what is told so is told barely (from memory,
/// no source).
static const double NEAR_LEVEL = 10.0;

rlv_interval articulation_length_of(rlv_interval length)
{
    length.high = fmax(length.high, length.value);
    return length;
}

/// Whether an element has left its life position by itself, in a state.
static bool is_alone(const history_articulation* a, size_t element, rlv_articulation_state state)
{
    const rlv_articulated* told = history_told(a, element);
    return told != NULL && told->state == state && (state != RLV_SHIFTED || told->group == 0);
}

bool articulation_is_barely(const rlv_articulated* told)
{
    return told->state != RLV_IN_PLACE && told->state != RLV_UNASSIGNED && told->group == 0 &&
           told->p_adjusted >= RLV_ARTICULATION_LEVEL / NEAR_LEVEL;
}

static bool is_group_barely(const rlv_articulation_group* group)
{
    return group->p >= RLV_ARTICULATION_GROUP_LEVEL / NEAR_LEVEL;
}

/// "p 0.005", "p < 0.001"
static report_text p_told(double p)
{
    const report_text words = report_p(p);
    return report_say("p %s", words.text);
}

/// The place that an element off its row more likely than not came from; NULL where there is none such, or it is not
/// off its row.
static const rlv_candidate* probable_place(const history_articulation* a, size_t element)
{
    for (size_t i = 0; i < a->stray_count && a->why[element] == HISTORY_OFF_ROW; i++)
    {
        const rlv_candidates* told = &a->stray[i].candidates;
        if (a->stray[i].element == element && told->count > 0 && told->candidate[0].probability > 0.5)
            return &told->candidate[0];
    }
    return NULL;
}

static bool is_from_unknown(const history_articulation* a, size_t element)
{
    return a->why[element] == HISTORY_OFF_ROW && probable_place(a, element) == NULL;
}

static bool is_surely_inverted(const history_articulation* a, size_t element)
{
    return is_alone(a, element, RLV_INVERTED) && !articulation_is_barely(history_told(a, element));
}

// --- thing by thing --------------------------------------------------------------------------------------------------

static void say_group(articulation_said* said, const history_articulation* a, size_t g)
{
    const rlv_articulation_group* group = &a->fit.group[g];
    said->of = report_say("places %s of %s", words_span(group->first, group->last).text,
                          articulation_specimen(a)->row[group->row].id);
    said->words = report_say("moved together, by %s", report_interval(group->motion.shift_mm, "mm").text);
    if (is_group_barely(group))
        report_add(&said->words, "; but barely told, with %s: that they did may be chance", p_told(group->p).text);
}

static void name_one(articulation_said* said, const history_articulation* a, size_t element)
{
    report_add(&said->of, "%s%s", said->of.text[0] != '\0' ? ", " : "", articulation_id(a, element));
    report_add_with_square(&said->at, a->elements->history, &a->elements->one[element]);
}

/// All elements that something holds of, together, at the first of them; false at the others, and where it does not.
static bool name_all(articulation_said* said, const history_articulation* a, size_t element,
                     bool (*is)(const history_articulation*, size_t))
{
    for (size_t i = 0; i < element; i++)
        if (is(a, i))
            return false;
    for (size_t i = element; is(a, element) && i < a->elements->count; i++)
        if (is(a, i))
            name_one(said, a, i);
    return said->of.text[0] != '\0';
}

static void add_how_sure(report_text* words, const rlv_articulated* told)
{
    if (articulation_is_barely(told))
        report_add(words, "; but barely told, with %s: it may lie in place after all", p_told(told->p_adjusted).text);
    else
        report_add(words, ", %s", p_told(told->p_adjusted).text);
}

static bool say_state(articulation_said* said, const history_articulation* a, size_t element,
                      rlv_articulation_state state)
{
    static const char inverted[] = "inverted: the external face looks the other way than the life position’s";
    if (!is_alone(a, element, state))
        return false;
    if (is_surely_inverted(a, element))
    {
        said->words = report_say("%s", inverted);
        return name_all(said, a, element, is_surely_inverted);
    }
    const rlv_articulated* told = history_told(a, element);
    name_one(said, a, element);
    if (state == RLV_INVERTED)
        said->words = report_say("%s", inverted);
    else if (state == RLV_SHIFTED)
        said->words = report_say("shifted from the life position, by the order of the other elements: by %s",
                                 report_interval(articulation_length_of(told->motion.shift_mm), "mm").text);
    else
        said->words = report_say("rotated against the life position, by the order of the other elements: by %s",
                                 report_interval(articulation_length_of(told->motion.rotation_deg), "°").text);
    add_how_sure(&said->words, told);
    return true;
}

static bool say_off_row(articulation_said* said, const history_articulation* a, size_t element)
{
    const rlv_candidate* from = probable_place(a, element);
    if (from == NULL)
    {
        said->words = report_say("off the row, and so moved; from which place is not known");
        return name_all(said, a, element, is_from_unknown);
    }
    name_one(said, a, element);
    const articulation_came came = articulation_came_from(a, from->unfilled, element);
    const rlv_unfilled* life = &a->fit.unfilled[from->unfilled];
    said->words = report_say("off the row, and so moved; probably from %s (%s)%s, by %s",
                             articulation_place_name(a, life).text, words_chance(from->probability).text,
                             articulation_between(a, life).text, report_interval(came.far_mm, "mm").text);
    if (came.compass)
        report_add(&said->words, " towards %s°", words_trend(came.trend_deg, came.plunge_deg).text);
    return true;
}

bool articulation_displaced(const history_articulation* a, size_t* next, articulation_said* said)
{
    const size_t groups = a->fit.group_count, elements = a->elements->count;
    static const rlv_articulation_state state[] = {RLV_INVERTED, RLV_ROTATED, RLV_SHIFTED, RLV_UNASSIGNED};
    while (*next < groups + sizeof state / sizeof *state * elements)
    {
        const size_t k = (*next)++;
        *said = (articulation_said){0};
        if (k < groups)
        {
            say_group(said, a, k);
            return true;
        }
        const rlv_articulation_state of = state[(k - groups) / elements];
        const size_t element = (k - groups) % elements;
        if (of == RLV_UNASSIGNED ? say_off_row(said, a, element) : say_state(said, a, element, of))
            return true;
    }
    return false;
}

// --- in one line -----------------------------------------------------------------------------------------------------

/// "; inverted: " before the first, ", " before the others.
static const char* list_sign(const report_text* words, size_t told)
{
    return told > 0 ? ", " : words->text[0] != '\0' ? "; " : "";
}

static void add_state(report_text* words, const history_articulation* a, rlv_articulation_state state, const char* name)
{
    size_t told = 0;
    for (size_t i = 0; i < a->elements->count; i++)
    {
        if (!is_alone(a, i, state))
            continue;
        report_add(words, "%s%s%s%s", list_sign(words, told), told == 0 ? name : "", told == 0 ? ": " : "",
                   articulation_id(a, i));
        told++;
        if (articulation_is_barely(history_told(a, i)))
            report_add(words, " (barely, %s)", p_told(history_told(a, i)->p_adjusted).text);
    }
}

static void add_off_row(report_text* words, const history_articulation* a)
{
    size_t told = 0;
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const rlv_candidate* from = probable_place(a, i);
        if (from == NULL)
            continue;
        const rlv_unfilled* life = &a->fit.unfilled[from->unfilled];
        report_add(words, "%s%s%s (%s%s, %s)", list_sign(words, told),
                   told == 0 ? "off their rows, each with the place that it probably came from: " : "",
                   articulation_id(a, i), articulation_place_name(a, life).text, articulation_between(a, life).text,
                   words_chance(from->probability).text);
        told++;
    }
    told = 0;
    for (size_t i = 0; i < a->elements->count; i++)
        if (is_from_unknown(a, i))
        {
            report_add(words, "%s%s%s", list_sign(words, told),
                       told == 0 ? "off their rows, from which place is not known: " : "", articulation_id(a, i));
            told++;
        }
}

report_text articulation_displaced_words(const history_articulation* a)
{
    report_text words = {""};
    for (size_t g = 0; g < a->fit.group_count; g++)
    {
        const rlv_articulation_group* group = &a->fit.group[g];
        report_add(&words, "%splaces %s of %s together, by %s", words.text[0] != '\0' ? "; " : "",
                   words_span(group->first, group->last).text, articulation_specimen(a)->row[group->row].id,
                   report_interval(group->motion.shift_mm, "mm").text);
        if (is_group_barely(group))
            report_add(&words, " (barely, %s)", p_told(group->p).text);
    }
    add_state(&words, a, RLV_INVERTED, "inverted");
    add_state(&words, a, RLV_ROTATED, "rotated");
    add_state(&words, a, RLV_SHIFTED, "shifted");
    add_off_row(&words, a);
    if (words.text[0] == '\0')
        report_add(&words, "no element that is judged");
    return words;
}
