#include "report_words.h"

#include "change_words.h"
#include "interval.h"
#include "report_region.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CUT " …"

report_text report_say(const char* format, ...)
{
    report_text said;
    char whole[sizeof said.text + 8]; // longer than what fits by more than the letter that may be lost at its end
    va_list list;
    va_start(list, format);
    const bool fits = rlv_print_list(whole, sizeof whole, format, list) < sizeof said.text;
    va_end(list);
    rlv_print(said.text, sizeof said.text, "%.*s%s", (int)(sizeof said.text - (fits ? 1 : sizeof CUT)), whole,
              fits ? "" : CUT);
    return said;
}

#define ITEM 160 // bytes of a piece of a list, at most: it is never cut

void report_add(report_text* said, const char* format, ...)
{
    const size_t length = strlen(said->text), room = sizeof said->text - sizeof CUT;
    if (length > room - 1 || (length >= strlen(CUT) && strcmp(said->text + length - strlen(CUT), CUT) == 0))
        return; // it was full before
    char more[sizeof said->text];
    va_list list;
    va_start(list, format);
    const size_t put = rlv_print_list(more, sizeof more, format, list);
    va_end(list);
    if (put < room - length)
        memcpy(said->text + length, more, put + 1);
    else
        rlv_print(said->text + length, sizeof said->text - length, "%.*s" CUT,
                  put > ITEM ? (int)(room - length - 1) : 0, more);
}

static const char* stage_id(const rlv_history* history, size_t stage)
{
    return history->stage[stage].record->id;
}

report_text report_step_name(const rlv_history* history, size_t step)
{
    return report_say("%.200s → %.200s", stage_id(history, history->step[step].before),
                      stage_id(history, history->step[step].after));
}

report_text report_p(double p)
{
    report_text words = {""};
    if (p < 0.001)
        snprintf(words.text, sizeof words.text, "< 0.001");
    else if (p <= 1.0)
        snprintf(words.text, sizeof words.text, "%s", words_number(p, p < 0.1 ? 3 : 2).text);
    return words;
}

report_text report_place_in_row(const rlv_element_record* element)
{
    if (!element->place_known)
        return (report_text){""};
    return element->last_place > element->first_place ? report_say("%d-%d", element->first_place, element->last_place)
                                                      : report_say("%d", element->first_place);
}

rlv_interval report_in_ml(rlv_interval mm3)
{
    return (rlv_interval){mm3.value / 1000.0, mm3.low / 1000.0, mm3.high / 1000.0};
}

report_text report_interval(rlv_interval interval, const char* unit)
{
    if (!isfinite(interval.low) || !isfinite(interval.high))
        return report_say("%s %s", words_value(interval, 1.0).text, unit);
    return report_say("%s %s (%s %s)", words_value(interval, 1.0).text, unit, words_ends(interval, 1.0).text, unit);
}

// --- Classes ---------------------------------------------------------------------------------------------------------

/// Whether the record has a piece come off, or go back, at a step. Where it has none, there was none: it needs no mesh.
static bool piece_moves(const rlv_history* history, rlv_change_class kind, size_t step)
{
    const bool back = kind == RLV_CHANGE_JOINED;
    const rlv_specimen* specimen = history->specimen;
    for (size_t i = 0; i < specimen->piece_count; i++)
        if (rlv_specimen_piece_moves(specimen, &specimen->piece[i], history->step[step].after, back))
            return true;
    return false;
}

static bool is_of_pieces(rlv_change_class kind)
{
    return kind == RLV_CHANGE_DETACHED || kind == RLV_CHANGE_JOINED;
}

/// A class over steps `first` up to `last`, whose sum is `row` (NULL: there is no ledger).
static report_class class_over(const rlv_history* history, rlv_change_class kind, size_t first, size_t last,
                               const rlv_ledger_row* row)
{
    const rlv_interval unknown = {NAN, NAN, NAN};
    report_class found = {.steps = last - first};
    bool measured = false;
    double unseen_ml = 0.0;
    for (size_t i = first; i < last; i++)
    {
        const rlv_change_total* total = &history->step[i].change.total[kind];
        const bool told = history->step[i].measured && total->known;
        const bool none = history->step[i].measured && is_of_pieces(kind) && !piece_moves(history, kind, i);
        found.steps_known += told || none;
        measured = measured || told;
        if (!told)
            continue;
        found.regions += total->regions;
        found.faint = found.faint || total->faint;
        double unseen_mm3;
        rlv_interval mm3 = history_class_volume(&unseen_mm3, &history->step[i], kind);
        mm3.high -= unseen_mm3;
        found.ml = rlv_interval_add(found.ml, report_in_ml(mm3));
        unseen_ml += unseen_mm3 / 1000.0;
    }
    found.ml.high += unseen_ml;
    found.known = found.steps_known == found.steps;
    if (found.steps_known == 0)
        found.ml = found.g = unknown;
    else if (measured && row != NULL && isfinite(row->ml[kind].value))
        found.ml = row->ml[kind];
    if (measured)
        found.g = row != NULL ? row->g[kind] : unknown;
    return found;
}

report_class report_class_of(const rlv_history* history, rlv_change_class kind, size_t which)
{
    if (which == REPORT_ALL)
        return report_class_so_far(history, kind, history->step_count - 1);
    return class_over(history, kind, which, which + 1, history->row != NULL ? &history->row[which] : NULL);
}

report_class report_class_so_far(const rlv_history* history, rlv_change_class kind, size_t last)
{
    return class_over(history, kind, 0, last + 1, history->row != NULL ? &history->cumulative[last] : NULL);
}

/// What a class is where it cannot be known, step by step.
static report_text unknown_class(const rlv_history* history, rlv_change_class kind, size_t which)
{
    const history_step* step = which != REPORT_ALL ? &history->step[which] : NULL;
    if (step != NULL && !step->measured)
        return report_say("not measured: %s", step->why);
    if (kind != RLV_CHANGE_BONE)
        return report_say("not known: no mask says where it was, and it has no closed mesh of its own");
    return step != NULL ? report_say("not known: no bone is marked on ‘%.200s’", stage_id(history, step->before))
                        : report_say("not known: no bone is marked on any stage before the last");
}

/// What the block's meshes saw of a piece that is none of it by its own mesh.
static void add_joint(report_text* said, const history_step* step, rlv_change_class kind)
{
    const bool off = kind == RLV_CHANGE_DETACHED, back = kind == RLV_CHANGE_JOINED;
    const rlv_interval joint = off ? step->crumbled_mm3 : step->gap_mm3;
    if ((!off && !back) || !isfinite(joint.value))
        return;
    const rlv_interval ml = report_in_ml(joint);
    report_add(said, ", by its own mesh; its outline on the block held %s more, which %s",
               report_interval(ml, "mL").text,
               off ? "counts as matrix removed: crumbs of its joint, or an opening that no scan saw"
                   : "is the gap of its joint");
}

static report_text class_words(const rlv_history* history, rlv_change_class kind, size_t which)
{
    const report_class found = report_class_of(history, kind, which);
    report_text said = {""};
    if (found.steps_known == 0)
        return unknown_class(history, kind, which);
    if (found.regions == 0)
        said = report_say("none that can be told from noise%s; at most %s mL, as a film all over that is too thin to "
                          "be told",
                          kind == RLV_CHANGE_BONE ? ", of bone that showed and was marked" : "",
                          words_at_most(found.ml.high).text);
    else
    {
        said = report_interval(found.ml, "mL");
        if (isfinite(found.g.value))
            report_add(&said, ", %s", report_interval(found.g, "g").text);
        report_add(&said, ", in %s%s", words_count(found.regions, "region").text,
                   kind == RLV_CHANGE_BONE ? " of bone that showed" : "");
        if (found.faint)
            report_add(
                &said,
                "; more of it may be spread thinner than the scans can tell from noise: the upper end leaves room "
                "for that");
    }
    if (which != REPORT_ALL)
        add_joint(&said, &history->step[which], kind);
    if (!found.known)
        report_add(&said, "; known in %zu of %zu steps", found.steps_known, found.steps);
    return said;
}

/// The steps in which bone was lost, in order of time.
static void add_steps_of_bone(report_text* said, const rlv_history* history)
{
    const char* parted = ": ";
    for (size_t i = 0; i < history->step_count; i++)
    {
        const report_class found = report_class_of(history, RLV_CHANGE_BONE, i);
        if (found.regions == 0)
            continue;
        report_add(said, "%s%s %s", parted, report_step_name(history, i).text, report_interval(found.ml, "mL").text);
        parted = ", ";
    }
}

// --- Lines -----------------------------------------------------------------------------------------------------------

static void put(report_lines* lines, const char* name, report_text words, bool alarm)
{
    if (lines->count < REPORT_LINES)
        lines->line[lines->count++] = (report_line){name, words, alarm};
}

rlv_interval report_untold(const rlv_history* history, size_t which)
{
    size_t first = which == REPORT_ALL ? 0 : which, last = which == REPORT_ALL ? history->step_count : which + 1;
    rlv_interval sum = {0};
    for (size_t i = first; i < last; i++)
    {
        const rlv_interval* untold = &history->step[i].change.untold_mm3;
        if (!history->step[i].measured)
            return (rlv_interval){NAN, NAN, NAN};
        sum = rlv_interval_add(sum, report_in_ml(*untold));
    }
    return sum;
}

/// Pieces come and go by the record: where none did, and none was found, there is nothing to say.
static bool has_pieces(const rlv_history* history, rlv_change_class kind, size_t which)
{
    for (size_t i = 0; i < history->step_count; i++)
        if ((which == REPORT_ALL || which == i) &&
            (piece_moves(history, kind, i) || history->step[i].change.total[kind].regions > 0))
            return true;
    return false;
}

enum
{
    NAMED_ELEMENTS = 8, ///< of those in the spoil, or that a note names; what comes beyond is counted
};

static bool is_in_spoil(const rlv_history* history, const rlv_element_record* element, size_t which)
{
    const rlv_specimen* specimen = history->specimen;
    for (size_t i = 0; i < specimen->spoil_count && element->bag != NULL; i++)
        if (strcmp(specimen->spoil[i].bag, element->bag) == 0)
            return which == REPORT_ALL ||
                   strcmp(specimen->spoil[i].stage, stage_id(history, history->step[which].after)) == 0;
    return false;
}

report_text report_in_spoil(const rlv_history* history, size_t which)
{
    const rlv_specimen* specimen = history->specimen;
    report_text names = {""};
    size_t count = 0;
    for (size_t i = 0; i < specimen->element_count; i++)
    {
        const rlv_element_record* element = &specimen->element[i];
        if (is_in_spoil(history, element, which) && count++ < NAMED_ELEMENTS)
            report_add(&names, "%s%.100s (bag %.100s)", count > 1 ? ", " : "", element->id, element->bag);
    }
    if (count == 0)
        return (report_text){""};
    if (count > NAMED_ELEMENTS)
        report_add(&names, " and %zu more", count - NAMED_ELEMENTS);
    return report_say("%s %s recorded from the spoil, %.800s: what of %s had not shown counts as matrix",
                      words_count(count, "element").text, count > 1 ? "are" : "is", names.text,
                      count > 1 ? "them" : "it");
}

/// Whether an id stands in words as one by itself: D05 is not in D051.
static bool names_id(const char* words, const char* id)
{
    const size_t length = strlen(id);
    for (const char* at = words; length > 0 && (at = strstr(at, id)) != NULL; at++)
        if ((at == words || !isalnum((unsigned char)at[-1])) && !isalnum((unsigned char)at[length]))
            return true;
    return false;
}

bool report_had_shown(const rlv_history* history, const rlv_element_record* element, size_t stage)
{
    for (size_t i = 0; i <= stage && element->bag == NULL && element->stage != NULL; i++)
        if (strcmp(stage_id(history, i), element->stage) == 0)
            return true;
    return false;
}

bool report_is_named(const rlv_history* history, size_t which, const rlv_element_record* element)
{
    const history_step* step = &history->step[which];
    const char* note = history->stage[step->after].record->note;
    return note != NULL && report_had_shown(history, element, step->before) && names_id(note, element->id);
}

report_text report_named(const rlv_history* history, size_t which)
{
    const rlv_specimen* specimen = history->specimen;
    report_text names = {""};
    size_t count = 0;
    for (size_t i = 0; i < specimen->element_count; i++)
        if (report_is_named(history, which, &specimen->element[i]) && count++ < NAMED_ELEMENTS)
            report_add(&names, "%s%.100s", count > 1 ? ", " : "", specimen->element[i].id);
    if (count > NAMED_ELEMENTS)
        report_add(&names, " and %zu more", count - NAMED_ELEMENTS);
    return names;
}

/// " (a loss of less than 0.21 mm over 1.0 cm² would not have been told there)"
static report_text least_told(const history_step* step)
{
    const rlv_detection_limit* limit = &step->change.limit[0];
    return step->measured && limit->depth_mm > 0.0 && isfinite(limit->depth_mm)
               ? report_say(" (a loss of less than %s mm over %s cm² would not have been told there)",
                            words_figures(limit->depth_mm, 2).text, words_figures(limit->area_mm2 / 100.0, 2).text)
               : (report_text){""};
}

/// What somebody wrote down of elements that may tell of bone where meshes tell of none: those that a step's note names
/// after they had shown, and those in the spoil. Other notes need not be of losses, and are not counted among them.
static void add_recorded(report_text* bone, const rlv_history* history)
{
    const rlv_specimen* specimen = history->specimen;
    size_t spoil = 0;
    report_text told = {""};
    for (size_t i = 0; i < history->step_count; i++)
    {
        const report_text names = report_named(history, i);
        if (names.text[0] != '\0')
            report_add(&told, "%s%.300s, which showed before and which the note at ‘%.100s’ names%.120s",
                       told.text[0] != '\0' ? "; " : "", names.text, stage_id(history, history->step[i].after),
                       least_told(&history->step[i]).text);
    }
    for (size_t i = 0; i < specimen->element_count; i++)
        spoil += is_in_spoil(history, &specimen->element[i], REPORT_ALL);
    if (spoil > 0)
        report_add(&told, "%s%s in the spoil", told.text[0] != '\0' ? "; " : "", words_count(spoil, "element").text);
    if (told.text[0] != '\0')
        report_add(bone, ". Recorded besides, and in no figure: %s. What next lists them", told.text);
}

/// Of one step: which elements are in its spoil, and which its note names.
static void add_spoil_and_note(report_text* bone, const rlv_history* history, size_t which)
{
    const history_step* step = &history->step[which];
    const report_text in_spoil = report_in_spoil(history, which);
    if (in_spoil.text[0] != '\0')
        report_add(bone, ". %s", in_spoil.text);
    const report_text names = report_named(history, which);
    if (names.text[0] != '\0')
        report_add(bone, ". Recorded, and in no figure: the note at ‘%.100s’ names %.300s, which showed before%s",
                   stage_id(history, step->after), names.text, least_told(step).text);
}

static void put_classes(report_lines* lines, const rlv_history* history, size_t which)
{
    report_text bone = class_words(history, RLV_CHANGE_BONE, which);
    bool lost = report_class_of(history, RLV_CHANGE_BONE, which).regions > 0;
    if (lost && which == REPORT_ALL)
        add_steps_of_bone(&bone, history);
    if (which == REPORT_ALL)
        add_recorded(&bone, history);
    else
        add_spoil_and_note(&bone, history, which);
    put(lines, "Bone lost", bone, lost);
    put(lines, "Matrix removed", class_words(history, RLV_CHANGE_REMOVED, which), false);
    if (has_pieces(history, RLV_CHANGE_DETACHED, which))
        put(lines, "Pieces detached", class_words(history, RLV_CHANGE_DETACHED, which), false);
    if (has_pieces(history, RLV_CHANGE_JOINED, which))
        put(lines, "Pieces joined again", class_words(history, RLV_CHANGE_JOINED, which), false);
    report_text added = class_words(history, RLV_CHANGE_ADDED, which);
    if (has_pieces(history, RLV_CHANGE_JOINED, which))
        report_add(&added, "; the gap that a piece put back leaves is no material, and is not in it");
    put(lines, "Material added", added, false);
}

static void put_untold(report_lines* lines, const rlv_history* history, size_t which)
{
    const rlv_interval untold = report_untold(history, which);
    put(lines, "Not told apart",
        isfinite(untold.value) ? report_say("%s net over the rest of the surface; what went is positive",
                                            report_interval(untold, "mL").text)
                               : report_say("not known: a step was not measured"),
        false);
}

/// Whether the two sides of a balance, as they stand rounded, subtract to what is unexplained as it stands.
static bool subtracts(const rlv_balance* balance, int decimals)
{
    const double unit = pow(10.0, decimals);
    return nearbyint(balance->left_g * unit) - nearbyint(balance->right_g * unit) ==
           nearbyint(balance->unexplained_g.value * unit);
}

int report_balance_decimals(const rlv_balance* balance, bool spoil)
{
    if (!balance->closed)
        return 0;
    const int left = spoil ? 0 : words_written(balance->left_g), right = words_written(balance->right_g),
              written = left > right ? left : right, doubt = words_decimals(words_sd(balance->unexplained_g));
    const int allowed = doubt < written ? doubt : written;
    for (int decimals = allowed; decimals <= written; decimals++)
        if (subtracts(balance, decimals))
            return decimals;
    return allowed;
}

report_text report_unexplained(const rlv_balance* balance, bool spoil)
{
    const int decimals = report_balance_decimals(balance, spoil);
    return report_say("%s g (%s g)", words_number(balance->unexplained_g.value, decimals).text,
                      words_ends_to(balance->unexplained_g, 1.0, decimals).text);
}

static report_text balance_words(const rlv_balance* balance, bool spoil, const char* left, const char* right)
{
    if (!balance->closed)
        return report_say("not known; missing: %s", balance->missing_words);
    const int decimals = report_balance_decimals(balance, spoil);
    report_text said =
        report_say("%s: %s %s g, %s %s g; unexplained %s", balance->within ? "closes" : "does not close", left,
                   words_number(balance->left_g, decimals).text, right, words_number(balance->right_g, decimals).text,
                   report_unexplained(balance, spoil).text);
    if (balance->holds_drying)
        report_add(&said, ", drying in it, which was not recorded");
    if (balance->damp)
        report_add(&said, "; a bag was weighed damp, and its water counts as spoil");
    return said;
}

static void put_balances(report_lines* lines, const rlv_history* history, size_t which)
{
    if (history->row == NULL)
        return;
    const rlv_ledger_row* row =
        which == REPORT_ALL ? &history->cumulative[history->step_count - 1] : &history->row[which];
    put(lines, "Mass balance",
        balance_words(&row->mass, false, "the block lost", "spoil, pieces and drying less resin come to"),
        row->mass.closed && !row->mass.within);
    put(lines, "Spoil against volume", balance_words(&row->spoil, true, "measured", "weighed"),
        row->spoil.closed && !row->spoil.within);
}

report_text report_left(const rlv_history* history)
{
    const history_stage* last = &history->stage[history->stage_count - 1];
    if (!last->given.health.closed)
        return report_say("not known: the mesh of ‘%.200s’ is open", last->record->id);
    const rlv_interval ml = report_in_ml(history_stage_volume(history, history->stage_count - 1));
    return report_say("%s at ‘%.200s’, bone and all", report_interval(ml, "mL").text, last->record->id);
}

static const rlv_stage_record* last_stage(const rlv_history* history)
{
    return history->stage[history->stage_count - 1].record;
}

report_text report_weight(const rlv_history* history)
{
    const rlv_stage_record* last = last_stage(history);
    const rlv_advice_record* advice = history->specimen->advice;
    if (last->mass == NULL)
        return report_say("not weighed at ‘%.200s’", last->id);
    const double kg = last->mass->grams / 1000.0, half = RLV_HALF_95 * last->mass->sd_g / 1000.0;
    const report_text weighed = half > 0.0 ? report_interval((rlv_interval){kg, kg - half, kg + half}, "kg")
                                           : report_say("%s kg", words_recorded(kg).text);
    report_text said = report_say("the block weighed %s at ‘%.200s’", weighed.text, last->id);
    if (advice != NULL && advice->lift_limit_kg != NULL)
        report_add(&said,
                   ": %s the %s kg recorded for lifting by one person; a qualified person decides how it is lifted",
                   last->mass->grams > 1000.0 * *advice->lift_limit_kg ? "over" : "not over",
                   words_recorded(*advice->lift_limit_kg).text);
    return said;
}

report_text report_put_back(const rlv_history* history)
{
    const rlv_specimen* specimen = history->specimen;
    const size_t last = history->stage_count - 1;
    report_text names = {""};
    size_t count = 0;
    for (size_t i = 0; i < specimen->piece_count; i++)
    {
        const rlv_piece_record* piece = &specimen->piece[i];
        if (rlv_specimen_is_back(specimen, piece, last))
            report_add(&names, "%s‘%.60s’, put back at ‘%.60s’", count++ > 0 ? "; " : "", piece->id, piece->joined);
    }
    // What must be read comes first: a long row of names is cut at its end.
    return count > 0 ? report_say("Not to lift, tilt or strap by, since nothing here tells that %s: %.800s",
                                  count > 1 ? "they hold" : "it holds", names.text)
                     : names;
}

static int by_falling_length(const void* a, const void* b)
{
    const double p = *(const double*)a, q = *(const double*)b;
    return (p < q) - (p > q);
}

static void add_case(report_text* said, const rlv_display_record* display)
{
    report_add(said, ". The case recorded is %s × %s × %s mm inside, ", words_recorded(*display->case_length_mm).text,
               words_recorded(*display->case_width_mm).text, words_recorded(*display->case_height_mm).text);
}

/// The box about the mesh's own axes, by falling length, which stands in no known way.
static report_text size_unturned(const rlv_history* history)
{
    const rlv_mesh_measures* measures = &history->stage[history->stage_count - 1].given.measures;
    const rlv_vec3 size = rlv_vec3_sub(measures->high_mm, measures->low_mm);
    double side_mm[] = {size.x, size.y, size.z}, inside[3];
    if (!(fmin(size.x, fmin(size.y, size.z)) > 0.0))
        return report_say("not known");
    qsort(side_mm, 3, sizeof *side_mm, by_falling_length);
    report_text said = report_say("%s × %s × %s mm, length × width × height of the box along the axes of the mesh of "
                                  "‘%.200s’, by falling length: another box about it may be smaller",
                                  words_number(side_mm[0], 0).text, words_number(side_mm[1], 0).text,
                                  words_number(side_mm[2], 0).text, last_stage(history)->id);
    if (!history->standing.case_known)
        return said;
    memcpy(inside, history->standing.case_mm, sizeof inside);
    add_case(&said, history->specimen->display);
    qsort(inside, 3, sizeof *inside, by_falling_length);
    const bool fits = side_mm[0] <= inside[0] && side_mm[1] <= inside[1] && side_mm[2] <= inside[2];
    report_add(&said, "%s",
               fits ? "which that box fits into one way round: whether it does as it will stand is not told"
                    : "which that box does not fit into; turned otherwise the block may");
    return said;
}

/// Into the case as it stands, the longer side of its plan along the case's longer.
static void hold_against_case(report_text* said, const rlv_history* history)
{
    const history_standing* s = &history->standing;
    add_case(said, history->specimen->display);
    if (!history_standing_fits(s))
        report_add(said, "which it does not fit into so");
    else
        report_add(
            said,
            "which leaves %s mm beside it along its length and %s along its width, both sides together, and %s above",
            words_number(history_standing_room(s, 0), 0).text, words_number(history_standing_room(s, 1), 0).text,
            words_number(history_standing_room(s, 2), 0).text);
}

report_text report_way_up(const rlv_history* history)
{
    const double turn_deg = history->standing.turn_deg;
    if (!history->standing.known || isnan(turn_deg))
        return (report_text){""};
    if (turn_deg < 10.0)
        return report_say("the side that was up in the rock, within %.0f°", fmax(ceil(turn_deg), 1.0));
    if (turn_deg > 170.0)
        return report_say("the side that was down in the rock, within %.0f°", fmax(ceil(180.0 - turn_deg), 1.0));
    return report_say("%.0f° from what was up in the rock", turn_deg);
}

report_text report_size(const rlv_history* history)
{
    const history_standing* s = &history->standing;
    if (!s->known)
        return size_unturned(history);
    const report_text up = report_way_up(history);
    report_text said = report_say(
        "%s × %s × %s mm at ‘%.200s’, length × width × height as %s, by the smallest rectangle about its plan",
        words_number(s->box.length_mm, 0).text, words_number(s->box.width_mm, 0).text,
        words_number(s->box.height_mm, 0).text, last_stage(history)->id,
        s->shown ? "it will stand" : "it lay in the rock, up being up");
    if (up.text[0] != '\0')
        report_add(&said, ". Up will be %s", up.text);
    if (s->shown && s->case_known)
        hold_against_case(&said, history);
    return said;
}

/// Whether an area was named by another row of work before.
static bool is_named_before(const rlv_stage_record* stage, size_t row)
{
    for (size_t i = 0; i < row; i++)
        if (stage->work[i].area != NULL && strcmp(stage->work[i].area, stage->work[row].area) == 0)
            return true;
    return false;
}

/// Areas of work that were named and could not be told apart: what was recorded for them is of the step as a whole.
static void put_mixed(report_lines* lines, const rlv_history* history, size_t step)
{
    const rlv_stage_record* after = history->stage[history->step[step].after].record;
    report_text names = {""};
    for (size_t i = 0; i < after->work_count; i++)
        if (after->work[i].area != NULL && !is_named_before(after, i))
            report_add(&names, "%s‘%.100s’", names.text[0] != '\0' ? ", " : "", after->work[i].area);
    if (history->step[step].areas_mixed && names.text[0] != '\0')
        put(lines, "Areas of work",
            report_say(
                "%.700s: not told apart, since a region of matrix runs over several of them, or one of them holds "
                "none; hours and spoil recorded for them are of all matrix of the step together",
                names.text),
            false);
}

report_lines report_step(const rlv_history* history, size_t step)
{
    report_lines lines = {0};
    put_classes(&lines, history, step);
    if (history->row != NULL && (history->row[step].mass.closed || history->row[step].spoil.closed))
        put_balances(&lines, history, step);
    put_untold(&lines, history, step);
    put_mixed(&lines, history, step);
    return lines;
}

static void put_left(report_lines* lines, const rlv_history* history)
{
    put(lines, "Left in the block", report_left(history), false);
    put(lines, "Mass of the block", report_weight(history), false);
    put(lines, "Size of the block", report_size(history), false);
}

report_lines report_summary(const rlv_history* history)
{
    report_lines lines = {0};
    if (history->step_count > 0)
    {
        put_classes(&lines, history, REPORT_ALL);
        put_left(&lines, history);
        put_balances(&lines, history, REPORT_ALL);
        put_untold(&lines, history, REPORT_ALL);
    }
    else
        put_left(&lines, history);
    if (!history->joined)
        put(&lines, "One frame", report_say("not all stages are in one frame: %s", history->apart), true);
    return lines;
}

report_text report_limits(const rlv_history* history, size_t step)
{
    const rlv_change* change = &history->step[step].change;
    report_text said = {"A change is told from noise where it is deeper, on the mean, than "};
    for (size_t i = 0; i < RLV_CHANGE_LIMITS; i++)
        report_add(&said, "%s%s",
                   i == 0                       ? ""
                   : i + 1 == RLV_CHANGE_LIMITS ? " or "
                                                : ", ",
                   change_limit_words(&change->limit[i]).text);
    report_add(&said, ".");
    return said;
}
