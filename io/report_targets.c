#include "report_articulation_parts.h"
#include "report_place.h"

#include <gsl/gsl_cdf.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// Below this chance, per cent, that no loose element came from a place it is not pointed at: its bone is most likely
/// found. From memory, no source: three in four.
static const double LEAST_UNCLAIMED = 25.0;

/// Below this the numbers of a row are told not to be sure.
static const double SURE = ARTICULATION_SURE;

static const rlv_unfilled* life_of(const history_articulation* a, const articulation_target* target)
{
    return &a->fit.unfilled[target->unfilled];
}

static bool has_rock(const history_articulation* a, size_t unfilled)
{
    return history_may_hold_bone(a->unfilled[unfilled].where);
}

/// Whether it is told as in the rock, or probably.
static bool is_in_rock(const history_articulation* a, size_t unfilled)
{
    return a->unfilled[unfilled].where == HISTORY_IN_ROCK || a->unfilled[unfilled].where == HISTORY_PROBABLY_IN_ROCK;
}

/// Where places lie that there is rock about, shortly.
static const char* near_name(history_where where)
{
    return where == HISTORY_IN_ROCK            ? "in the rock"
           : where == HISTORY_PROBABLY_IN_ROCK ? "probably in the rock"
           : where == HISTORY_AT_SURFACE       ? "within its error of today’s surface"
                                               : "near today’s surface, or above it";
}

static int by_falling_chance(const void* a, const void* b)
{
    const articulation_target *p = a, *q = b;
    return p->unclaimed != q->unclaimed ? (p->unclaimed < q->unclaimed) - (p->unclaimed > q->unclaimed)
                                        : (p->unfilled > q->unfilled) - (p->unfilled < q->unfilled);
}

/// Of a place, that no known loose element came from it, in whole per cent, as it is told: one figure for all that
/// asks.
static double chance_of(const history_articulation* a, size_t unfilled)
{
    return round(100.0 * history_unclaimed(a, unfilled));
}

articulation_targets articulation_targets_of(const history_articulation* a)
{
    articulation_targets targets = {.one = calloc(a->fit.unfilled_count + 1, sizeof *targets.one)};
    targets.out_of_memory = targets.one == NULL;
    for (size_t i = 0; i < a->fit.unfilled_count && targets.one != NULL; i++)
        if (has_rock(a, i) && !articulation_is_vague(a, i))
            targets.one[targets.count++] = (articulation_target){i, chance_of(a, i)};
    if (targets.count > 0)
        qsort(targets.one, targets.count, sizeof *targets.one, by_falling_chance);
    while (targets.pointed < targets.count && targets.one[targets.pointed].unclaimed >= LEAST_UNCLAIMED)
        targets.pointed++;
    return targets;
}

void articulation_targets_free(articulation_targets* targets)
{
    free(targets->one);
    *targets = (articulation_targets){0};
}

// --- place by place --------------------------------------------------------------------------------------------------

/// How thick one more plate of a row is, with its 95 % interval: the mean of those that were measured, and how they
/// scatter. NaN where fewer than three were.
static rlv_interval thickness_of(const history_articulation* a, size_t row)
{
    const char* id = articulation_specimen(a)->row[row].id;
    double sum = 0.0, squares = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < a->elements->count; i++)
    {
        const history_element* one = &a->elements->one[i];
        const double mm = one->told.thickness_mm.value;
        if (one->record->row == NULL || strcmp(one->record->row, id) != 0 || !isfinite(mm))
            continue;
        sum += mm;
        squares += mm * mm;
        count++;
    }
    if (count < 3)
        return (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    const double n = (double)count, mean = sum / n, variance = fmax(squares - n * mean * mean, 0.0) / (n - 1.0);
    const double half = gsl_cdf_tdist_Pinv(0.975, n - 1.0) * sqrt(variance * (1.0 + 1.0 / n));
    return (rlv_interval){mean, mean - half, mean + half};
}

/// How deep the near face of a plate that lies flat there is: half a thickness above its middle. NaN where its row does
/// not tell how thick that is.
static rlv_interval face_of(const history_articulation* a, const articulation_target* target)
{
    const rlv_interval thick_mm = thickness_of(a, life_of(a, target)->row),
                       half_mm = {thick_mm.value / 2.0, thick_mm.low / 2.0, thick_mm.high / 2.0};
    return articulation_shallower(a->unfilled[target->unfilled].depth_mm, half_mm);
}

/// How deep the shallowest bone of a place is told: of its plate's nearest edge where the attitude there is known, of
/// its near face where its row tells how thick that is, else of its middle.
static rlv_interval nearest_bone_of(const history_articulation* a, const articulation_target* target)
{
    const rlv_interval edge_mm = articulation_nearest_edge(a, target->unfilled).depth_mm, face_mm = face_of(a, target);
    return isfinite(edge_mm.value)   ? edge_mm
           : isfinite(face_mm.value) ? face_mm
                                     : a->unfilled[target->unfilled].depth_mm;
}

static void add_near_face(report_text* words, const history_articulation* a, const articulation_target* target)
{
    const articulation_edge edge = articulation_nearest_edge(a, target->unfilled);
    if (isfinite(edge.depth_mm.value))
    {
        report_add(words, ", the nearest edge of a plate that stands as its row does there at %s",
                   report_interval(edge.depth_mm, "mm").text);
        return;
    }
    if (isfinite(face_of(a, target).value))
        report_add(words, ", the near face of a plate that lies flat there at %s",
                   report_interval(face_of(a, target), "mm").text);
    if (isfinite(edge.most_mm))
        report_add(words, ", an edge up to %s mm higher than its middle, however it stands",
                   words_figures(edge.most_mm, 2).text);
}

/// From how deep on the clearance that is recorded holds: it is kept from the shallowest that the bone may be.
static void add_clearance(report_text* words, const history_articulation* a, const articulation_target* target)
{
    const rlv_specimen* specimen = articulation_specimen(a);
    if (specimen->advice == NULL || specimen->advice->clearance_mm == NULL)
        return;
    const double clearance_mm = *specimen->advice->clearance_mm,
                 from_mm = nearest_bone_of(a, target).low - clearance_mm;
    if (from_mm > 0.0)
        report_add(words, "; the clearance recorded, %s mm, begins %s mm under today’s surface",
                   words_recorded(clearance_mm).text, words_figures(from_mm, 2).text);
    else
        report_add(words, "; all of the rock over it lies within the %s mm of clearance recorded",
                   words_recorded(clearance_mm).text);
}

report_text articulation_target_words(const history_articulation* a, const articulation_target* target)
{
    const rlv_unfilled* life = life_of(a, target);
    const history_unfilled* u = &a->unfilled[target->unfilled];
    const report_text found = report_place(a->elements, life->position_mm);
    const char* side = articulation_nearest_side(a, u);
    const bool in_rock = is_in_rock(a, target->unfilled);
    report_text words = report_say("to %s no loose element’s; ", words_chance(target->unclaimed / 100.0).text);
    if (in_rock)
        report_add(&words, "%s, %s deep under today’s surface%s%s", near_name(u->where),
                   report_interval(u->depth_mm, "mm").text, side != NULL ? ", nearest from " : "",
                   side != NULL ? side : "");
    if (in_rock)
        add_near_face(&words, a, target);
    else
        report_add(&words, "%s", near_name(u->where));
    report_add(&words, "%s%s%s%s", found.text[0] != '\0' ? ", in square " : "", found.text,
               life->corridor ? ", beyond its row’s last element" : "",
               in_rock ? "" : "; just beneath it, or the rock that held it has gone");
    if (in_rock)
        add_clearance(&words, a, target);
    if (u->at_bone)
        report_add(&words, "; where today’s surface is nearest to it bone shows already");
    return words;
}

/// The least sure number of those pointed at of a row; 1 where there is none.
static double least_sure(const history_articulation* a, const articulation_targets* targets, size_t row)
{
    double sure = 1.0;
    for (size_t i = 0; i < targets->pointed; i++)
    {
        const rlv_unfilled* life = life_of(a, &targets->one[i]);
        const double one = life->row == row ? articulation_number_sure(a, life) : (double)NAN;
        sure = one < sure ? one : sure;
    }
    return sure;
}

/// How surely the places of rows are numbered, where that is not sure.
static void add_unsure_rows(report_text* words, const history_articulation* a, const articulation_targets* targets)
{
    for (size_t r = 0; r < a->row_count; r++)
    {
        const double sure = least_sure(a, targets, r);
        if (sure < SURE)
            report_add(words,
                       ". The numbers of row %s are sure to %s only, all together: as many places beyond its last "
                       "element may be none",
                       articulation_specimen(a)->row[r].id, words_chance(sure).text);
    }
}

/// Rows pointed at in the rock of which too few plates were measured for their thickness.
static void add_unmeasured_rows(report_text* words, const history_articulation* a, const articulation_targets* targets)
{
    report_text rows = {""};
    for (size_t r = 0; r < a->row_count; r++)
    {
        bool deep = false;
        for (size_t i = 0; i < targets->pointed; i++)
            deep = deep || (life_of(a, &targets->one[i])->row == r && is_in_rock(a, targets->one[i].unfilled));
        if (deep && isnan(thickness_of(a, r).value))
            report_add(&rows, "%s%.100s", rows.text[0] != '\0' ? ", " : "", articulation_specimen(a)->row[r].id);
    }
    if (rows.text[0] != '\0')
        report_add(words,
                   ". A depth is of the middle of a plate. Its near face lies half its thickness higher, which is not "
                   "in the figures of row %.300s: the thickness of fewer than three was measured there",
                   rows.text);
}

report_text articulation_targets_head(const history_articulation* a, const articulation_targets* targets)
{
    report_text words = report_say("%s without an element, where bone may lie, the likeliest first. The share is the "
                                   "chance that none of the loose elements came from there. It is not the chance of "
                                   "bone, which may have been carried off before it was buried",
                                   words_count(targets->pointed, "place").text);
    add_unsure_rows(&words, a, targets);
    add_unmeasured_rows(&words, a, targets);
    for (size_t i = targets->pointed; i < targets->count; i++)
        report_add(&words, "%s%s",
                   i == targets->pointed ? ". Left out, since a loose element probably came from there: " : ", ",
                   articulation_place_name(a, life_of(a, &targets->one[i])).text);
    return words;
}

// --- in one line -----------------------------------------------------------------------------------------------------

/// The last of the targets from `first` on that are told as one: neighbours in a row that nothing parts.
static size_t last_alike(const history_articulation* a, const articulation_targets* targets, size_t first)
{
    size_t last = first;
    while (last + 1 < targets->pointed)
    {
        const articulation_target *one = &targets->one[last], *next = &targets->one[last + 1];
        if (life_of(a, next)->row != life_of(a, one)->row || life_of(a, next)->place != life_of(a, one)->place + 1 ||
            next->unclaimed != one->unclaimed || a->unfilled[next->unfilled].where != a->unfilled[one->unfilled].where)
            break;
        last++;
    }
    return last;
}

static void add_targets(report_text* words, const history_articulation* a, const articulation_targets* targets)
{
    enum
    {
        MOST = 6, ///< that are told in one line
    };
    history_where before = HISTORY_WHERES;
    size_t told = 0, i = 0;
    for (; i < targets->pointed && told < MOST; told++)
    {
        const size_t last = last_alike(a, targets, i);
        const rlv_unfilled* life = life_of(a, &targets->one[i]);
        const history_where where = a->unfilled[targets->one[i].unfilled].where;
        if (told == 0)
            report_add(words, "likeliest first, each with the chance that no loose element came from there: ");
        if (where != before)
            report_add(words, "%s%s ", told > 0 ? "; " : "", near_name(where));
        report_add(words, "%splace%s %s of %s (%s)", where == before ? ", " : "", last > i ? "s" : "",
                   words_span(life->place, life_of(a, &targets->one[last])->place).text,
                   articulation_specimen(a)->row[life->row].id, words_chance(targets->one[i].unclaimed / 100.0).text);
        before = where;
        i = last + 1;
    }
    if (i < targets->pointed)
        report_add(words, "; and %zu more", targets->pointed - i);
}

/// Whether a place is told that is in the block no more: most likely nothing that is known came from it.
static bool is_gone(const history_articulation* a, size_t unfilled, size_t row, history_where where)
{
    return a->fit.unfilled[unfilled].row == row && a->unfilled[unfilled].where == where &&
           chance_of(a, unfilled) >= LEAST_UNCLAIMED;
}

/// Places that are in the block no more, row by row: "where matrix was taken: places 4, 12–14 of LR, place 3 of LL".
static void add_gone(report_text* words, const history_articulation* a, history_where where, const char* name)
{
    size_t told = 0;
    for (size_t r = 0; r < a->row_count; r++)
    {
        report_text numbers = {""};
        size_t count = 0;
        for (size_t i = 0, last; i < a->fit.unfilled_count; i = last + 1)
        {
            last = i;
            if (!is_gone(a, i, r, where))
                continue;
            while (last + 1 < a->fit.unfilled_count && is_gone(a, last + 1, r, where) &&
                   a->fit.unfilled[last + 1].place == a->fit.unfilled[last].place + 1)
                last++;
            report_add(&numbers, "%s%s", count > 0 ? ", " : "",
                       words_span(a->fit.unfilled[i].place, a->fit.unfilled[last].place).text);
            count += last - i + 1;
        }
        if (count == 0)
            continue;
        if (told++ == 0)
            report_add(words, "%s%s: ", words->text[0] != '\0' ? "; " : "", name);
        report_add(words, "%splace%s %s of %s", told > 1 ? ", " : "", count > 1 ? "s" : "", numbers.text,
                   articulation_specimen(a)->row[r].id);
    }
}

/// Those beyond a row's last element that are known no better than to the next.
static void add_vague(report_text* words, const history_articulation* a)
{
    for (size_t r = 0; r < a->row_count; r++)
    {
        size_t count = 0;
        for (size_t i = 0; i < a->fit.unfilled_count; i++)
            count += a->fit.unfilled[i].row == r && has_rock(a, i) && articulation_is_vague(a, i);
        if (count > 0)
            report_add(words, "%s%zu beyond the last element of %s, known too vaguely to point at",
                       words->text[0] != '\0' ? "; " : "", count, articulation_specimen(a)->row[r].id);
    }
}

/// "LL and LR": one of a list that has `count`.
static const char* and_sign(size_t told, size_t count)
{
    return told == 0 ? "" : told + 1 == count ? " and " : ", ";
}

static size_t missing_of(const history_articulation* a, size_t row)
{
    const history_open open = history_open_of(a, row);
    return a->fit.row[row].used && open.free + open.beyond > open.loose ? open.free + open.beyond - open.loose : 0;
}

static void add_missing(report_text* words, const history_articulation* a)
{
    size_t count = 0, told = 0;
    for (size_t r = 0; r < a->row_count; r++)
        count += missing_of(a, r) > 0;
    for (size_t r = 0; r < a->row_count; r++)
        if (missing_of(a, r) > 0)
        {
            report_add(words, "%s%s%zu of %s", told == 0 ? ". Even with all loose elements put back, at least " : "",
                       and_sign(told, count), missing_of(a, r), articulation_specimen(a)->row[r].id);
            told++;
        }
    if (told > 0)
        report_add(words, " would still be missing");
}

/// ". Nothing can be said of rows VL and VR"
static void add_left_out(report_text* words, const history_articulation* a)
{
    size_t count = 0, told = 0;
    for (size_t r = 0; r < a->row_count; r++)
        count += !a->fit.row[r].used;
    if (count > 0)
        report_add(words, ". Nothing can be said of row%s ", count > 1 ? "s" : "");
    for (size_t r = 0; r < a->row_count; r++)
        if (!a->fit.row[r].used)
            report_add(words, "%s%s", and_sign(told++, count), articulation_specimen(a)->row[r].id);
}

/// ". Numbers of places are sure to 88 % only in LL, 35 % in LR".
static void add_unsure_brief(report_text* words, const history_articulation* a, const articulation_targets* targets)
{
    size_t told = 0;
    for (size_t r = 0; r < a->row_count; r++)
        if (least_sure(a, targets, r) < SURE)
            report_add(words, "%s%s in %s", told++ == 0 ? ". The numbers of places are sure only to " : ", ",
                       words_chance(least_sure(a, targets, r)).text, articulation_specimen(a)->row[r].id);
}

/// What is said where no place is pointed at.
static const char* no_targets(const history_articulation* a, const articulation_targets* targets)
{
    size_t unknown = 0;
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        unknown += a->unfilled[i].where == HISTORY_WHERE_UNKNOWN;
    return a->fit.unfilled_count == 0 ? "every life position has its element"
           : targets->out_of_memory   ? "not told: the memory ran out"
           : unknown > 0              ? "it is not known where: the last stage does not lie in the block’s frame"
                                      : "each place without an element was probably a loose one’s";
}

report_text articulation_targets_brief(const history_articulation* a)
{
    report_text words = {""};
    articulation_targets targets = articulation_targets_of(a);
    add_targets(&words, a, &targets);
    add_gone(&words, a, HISTORY_TAKEN, "where matrix was taken, and so in its spoil if anywhere");
    add_gone(&words, a, HISTORY_NOT_COLLECTED, "beyond the block");
    add_vague(&words, a);
    if (words.text[0] == '\0')
        report_add(&words, "%s", no_targets(a, &targets));
    add_unsure_brief(&words, a, &targets);
    add_missing(&words, a);
    add_left_out(&words, a);
    articulation_targets_free(&targets);
    return words;
}
