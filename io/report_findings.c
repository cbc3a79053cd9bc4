#include "report_findings.h"

#include "change_words.h"
#include "grow.h"
#include "history_growth.h"
#include "report_articulation.h"
#include "report_place.h"
#include "report_region.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// From here on an interval is wide: half of it is a fifth of the value, which leaves not one sure figure.
static const double wide_share = 0.2;

const char* report_finding_key(report_finding_kind kind)
{
    static const char* const key[REPORT_FINDING_KINDS] = {"look", "wide", "not_recorded"};
    return key[kind];
}

const char* report_finding_heading(report_finding_kind kind)
{
    static const char* const heading[REPORT_FINDING_KINDS] = {"Look at this on the specimen", "Wide intervals, and why",
                                                              "Not recorded, and what it would tell"};
    return heading[kind];
}

__attribute__((format(printf, 4, 5))) static void find(report_findings* f, report_finding_kind kind, const char* of,
                                                       const char* format, ...)
{
    if (!rlv_grow(&f->one, &f->room, f->count + 1, sizeof *f->one))
    {
        f->out_of_memory = true;
        return;
    }
    report_finding* finding = &f->one[f->count++];
    va_list list;
    *finding = (report_finding){.kind = kind}; // grown room holds anything
    snprintf(finding->of.text, sizeof finding->of.text, "%s", of);
    va_start(list, format);
    rlv_print_list(finding->words.text, sizeof finding->words.text, format, list);
    va_end(list);
}

/// Where on the maps the elements of the last finding are.
static void put_at(report_findings* f, const report_text* at)
{
    if (!f->out_of_memory)
        f->one[f->count - 1].at = *at;
}

/// An element of the record with its square; nothing where elements are not measured.
static void add_at(report_text* at, const rlv_history* history, const report_skeleton* skeleton, size_t element)
{
    if (skeleton->measured && element < skeleton->elements.count)
        report_add_with_square(at, history, &skeleton->elements.one[element]);
}

static const rlv_stage_record* stage_of(const rlv_history* history, size_t stage)
{
    return history->stage[stage].record;
}

/// Names with commas between them; empty: none yet.
static void add_name(report_text* names, const char* name)
{
    const size_t length = strlen(names->text);
    rlv_print(names->text + length, sizeof names->text - length, "%s%.100s", length > 0 ? ", " : "", name);
}

/// The number of a region, as the step's table and map have it.
static void add_region(report_text* regions, size_t region)
{
    char number[32];
    snprintf(number, sizeof number, "%zu", region + 1);
    add_name(regions, number);
}

static report_text volume_in_words(rlv_interval mm3)
{
    return report_interval(report_in_ml(mm3), "mL");
}

// --- What was found --------------------------------------------------------------------------------------------------

/// The element that a region lies on, of those that had shown before its step: the one whose middle is nearest to the
/// region's place, and no farther from it than half its length and a radius of the region's area. NULL: on none.
static const history_element* element_on(const report_skeleton* skeleton, const history_step* step, size_t region)
{
    const history_elements* all = &skeleton->elements;
    const double radius_mm = sqrt(fmax(step->change.region[region].area_mm2.value, 0.0) / acos(-1.0));
    const history_element* on = NULL;
    double nearest_mm = INFINITY;
    for (size_t i = 0; skeleton->measured && step->region != NULL && i < all->count; i++)
    {
        const history_element* one = &all->one[i];
        const double* at = one->told.position_mm;
        const double apart_mm =
            rlv_vec3_length(rlv_vec3_sub(rlv_vec3_of(at[0], at[1], at[2]), step->region[region].place_mm));
        if (!one->placed || !report_had_shown(all->history, one->record, step->before) || !(apart_mm < nearest_mm) ||
            !(apart_mm <= one->told.length_mm.value / 2.0 + radius_mm))
            continue;
        nearest_mm = apart_mm;
        on = one;
    }
    return on;
}

/// ". It is region 3 of the step's table and map, on D05": with its own volume where there are several.
static void add_lost(report_text* words, const report_skeleton* skeleton, const history_step* step, size_t region,
                     bool alone)
{
    const history_element* on = element_on(skeleton, step, region);
    report_add(words, alone ? ". It is region %zu of the step’s table and map" : "; region %zu", region + 1);
    if (on != NULL)
        report_add(words, "%s on %.100s", alone ? "," : "", on->record->id);
    if (!alone)
        report_add(words, ", %s", volume_in_words(step->change.region[region].volume_mm3).text);
}

static void look_at_bone(report_findings* f, const rlv_history* history, const report_skeleton* skeleton, size_t which)
{
    const history_step* step = &history->step[which];
    const rlv_change* change = &step->change;
    report_text lost = {""};
    rlv_interval deepest_mm = {0};
    size_t count = 0;
    for (size_t r = 0; r < change->region_count; r++)
        count += change->region[r].kind == RLV_CHANGE_BONE;
    for (size_t r = 0; r < change->region_count; r++)
        if (change->region[r].kind == RLV_CHANGE_BONE)
        {
            add_lost(&lost, skeleton, step, r, count == 1);
            if (change->region[r].max_depth_mm.value > deepest_mm.value)
                deepest_mm = change->region[r].max_depth_mm;
        }
    if (count > 0)
        find(f, REPORT_LOOK, report_step_name(history, which).text, "bone was lost: %s, at its deepest %s mm (%s)%s",
             volume_in_words(change->total[RLV_CHANGE_BONE].volume_mm3).text, words_value(deepest_mm, 1.0).text,
             words_ends(deepest_mm, 1.0).text, lost.text);
}

/// An element that had shown before a step and that its note names: it may have lost bone whatever the meshes tell. All
/// that somebody wrote of it stands together, with what the step's figures can say of a loss there.
static void look_at_named(report_findings* f, const rlv_history* history, const report_skeleton* skeleton, size_t which)
{
    const history_step* step = &history->step[which];
    const rlv_change_total* bone = &step->change.total[RLV_CHANGE_BONE];
    for (size_t i = 0; i < history->specimen->element_count; i++)
    {
        const rlv_element_record* element = &history->specimen->element[i];
        if (!report_is_named(history, which, element))
            continue;
        report_text words = report_say("it showed before %s, and the record of ‘%.100s’ notes “%.500s”",
                                       report_step_name(history, which).text, stage_of(history, step->after)->id,
                                       stage_of(history, step->after)->note);
        if (element->note != NULL)
            report_add(&words, "; that of elements, “%.300s”", element->note);
        if (step->measured && bone->known && bone->regions == 0)
            report_add(&words,
                       ". No bone lost was told from noise in that step, on any element: what went there was less than "
                       "%s on the mean, or smaller, and is in no figure",
                       change_limit_words(&step->change.limit[0]).text);
        find(f, REPORT_LOOK, element->id, "%s", words.text);
        report_text at = {""};
        add_at(&at, history, skeleton, i);
        put_at(f, &at);
    }
}

/// A piece that is back and was measured: it may look whole, and carry nothing. Contacts and steps are of its closed
/// place, the gap of that which it has.
static void look_at_put_back(report_findings* f, const rlv_history* history, const rejoin_told* told)
{
    const rlv_rejoin* of = &told->of;
    if (!told->measured || told->record == NULL ||
        !rlv_specimen_is_back(history->specimen, told->record, history->stage_count - 1))
        return;
    const rlv_rejoin_gap* gap = of->back_known ? &of->gap_back : &of->gap_after;
    report_text words = of->contact_count > 0
                            ? report_say("back since ‘%.100s’: closed, it touches at %s%s", told->record->joined,
                                         words_count(of->contact_count, "place").text,
                                         of->contact_count < REJOIN_CARRYING ? " only" : "")
                            : report_say("back since ‘%.100s’: closed, it touches nowhere", told->record->joined);
    if (of->step_count > 0)
        report_add(&words, ", and the outer surface steps by up to %s mm", words_figures(of->step_max_mm, 2).text);
    report_add(&words, "; %s, its gap is %s wide in the median, and 95 %% of it no wider than %s",
               of->back_known ? "as it went back" : "closed too", report_interval(gap->median_mm, "mm").text,
               report_interval(gap->p95_mm, "mm").text);
    report_add(&words, ". Nothing here tells that it holds: not to lift, tilt or strap by it");
    find(f, REPORT_LOOK, told->piece.name, "%s", words.text);
}

static void look_at_slight(report_findings* f, const rlv_history* history, size_t step)
{
    const rlv_change* change = &history->step[step].change;
    report_text regions = {""};
    size_t count = 0;
    for (size_t r = 0; r < change->region_count; r++)
        if (change->region[r].volume_mm3.low <= 0.0)
        {
            add_region(&regions, r);
            count++;
        }
    if (count > 0)
        find(f, REPORT_LOOK, report_step_name(history, step).text,
             "region%s %s %s so slight that %s interval%s down to nothing: only a look tells whether anything went "
             "there, and of what",
             count > 1 ? "s" : "", regions.text, count > 1 ? "are" : "is", count > 1 ? "their" : "its",
             count > 1 ? "s reach" : " reaches");
}

static void look_at_added(report_findings* f, const rlv_history* history, size_t step)
{
    const rlv_change_total* total = &history->step[step].change.total[RLV_CHANGE_ADDED];
    const double brought_mm3 = history_brought_mm3(history, step);
    if (total->regions == 0 || total->volume_mm3.low <= brought_mm3)
        return;
    if (brought_mm3 > 0.0)
        find(f, REPORT_LOOK, report_step_name(history, step).text,
             "material came, %s, and the treatments that are recorded left %s mL at most",
             volume_in_words(total->volume_mm3).text, words_at_most(brought_mm3 / 1000.0).text);
    else
        find(f, REPORT_LOOK, report_step_name(history, step).text,
             "material came, %s, and the record names none that was added", volume_in_words(total->volume_mm3).text);
}

static void look_at_untold(report_findings* f, const rlv_history* history, size_t step)
{
    const rlv_interval* untold = &history->step[step].change.untold_mm3;
    if (untold->low > 0.0 || untold->high < 0.0)
        find(f, REPORT_LOOK, report_step_name(history, step).text,
             "more %s than all regions hold: %s, spread over the rest of the surface, thinner than what can be told "
             "place by place",
             untold->value > 0.0 ? "went" : "came", volume_in_words(*untold).text);
}

static void look_at_balance(report_findings* f, const rlv_history* history, size_t step)
{
    const rlv_balance *mass = &history->row[step].mass, *spoil = &history->row[step].spoil;
    if (mass->closed && !mass->within)
        find(f, REPORT_LOOK, report_step_name(history, step).text,
             "the scales do not agree with each other: %s of what the block lost is not explained by spoil, pieces, "
             "drying and resin",
             report_unexplained(mass, false).text);
    if (spoil->closed && !spoil->within)
        find(f, REPORT_LOOK, report_step_name(history, step).text,
             "meshes and scales do not agree: measured volume comes to %s more than the spoil weighed%s",
             report_unexplained(spoil, true).text, spoil->damp ? ", and a bag was damp" : "");
}

/// What thins out where no mesh tells how far it reaches.
static void look_at_faint(report_findings* f, const rlv_history* history, size_t step)
{
    const rlv_change* change = &history->step[step].change;
    for (rlv_change_class kind = 0; kind < RLV_CHANGE_CLASSES; kind++)
        if (change->total[kind].known && change->total[kind].faint)
            find(f, REPORT_LOOK, report_step_name(history, step).text,
                 "%s may go on, thinner than the scans can tell from noise (%s): where it ends, only a look "
                 "tells",
                 history_class_name(kind), change_limit_words(&change->limit[0]).text);
}

/// Matrix that went where no work is recorded, if all hours were for areas of work that could be told apart.
static void look_at_unworked(report_findings* f, const rlv_history* history, size_t which)
{
    const history_step* step = &history->step[which];
    report_text regions = {""};
    size_t count = 0;
    double ml = 0.0;
    const report_work_kinds work = report_kinds_of_work(stage_of(history, step->after));
    if (!work.by_area || work.whole || step->areas_mixed)
        return;
    for (size_t r = 0; r < step->change.region_count; r++)
        if (step->change.region[r].kind == RLV_CHANGE_REMOVED && step->region[r].area == NULL)
        {
            add_region(&regions, r);
            ml += step->change.region[r].volume_mm3.value / 1000.0;
            count++;
        }
    if (count > 0)
        find(f, REPORT_LOOK, report_step_name(history, which).text,
             "matrix went where no area of work is recorded: region%s %s, %s mL", count > 1 ? "s" : "", regions.text,
             words_figures(ml, 2).text);
}

/// What the alignments of stages are contradicted by.
static void look_at_alignments(report_findings* f, const rlv_history* history)
{
    char words[512];
    for (size_t e = 0; e < history->edge_count; e++)
        if (history_ties_contradict(history, &history->edge[e], words, sizeof words))
            find(f, REPORT_LOOK, "tie points", "%s", words);
    for (size_t e = 0; e < history->stages.edge_count; e++)
    {
        const rlv_edge_closure* closure = &history->stages.edge[e];
        const history_edge* edge = &history->edge[history->graph_edge[e]];
        if (closure->rejected || closure->suspect)
            find(f, REPORT_LOOK, "an alignment", "that of %.200s to %.200s %s: the others disagree with it by %s mm",
                 stage_of(history, edge->from)->id, stage_of(history, edge->into)->id,
                 closure->rejected ? "is left out" : "may be wrong, or one of its loop",
                 words_figures(closure->closure.shift_mm, 2).text);
    }
}

/// Scale bars that do not fit the others of their stage.
static void look_at_bars(report_findings* f, const rlv_history* history)
{
    for (size_t i = 0; i < history->stage_count; i++)
    {
        const rlv_mesh_record* mesh = &stage_of(history, i)->mesh;
        for (size_t k = 0; k < mesh->bar_count && history->stage[i].residual != NULL; k++)
            if (history->stage[i].residual[k].alarm)
                find(f, REPORT_LOOK, stage_of(history, i)->id,
                     "scale bar ‘%.200s’ does not fit the others: it is off by %s mm", mesh->bar[k].bar,
                     words_figures(history->stage[i].residual[k].residual_mm, 2).text);
    }
}

/// What somebody wrote down of what a step did, word for word: it is for a reader to say what of it is damage.
static void look_at_record(report_findings* f, const rlv_history* history, size_t step)
{
    const rlv_stage_record* after = stage_of(history, history->step[step].after);
    const report_text in_spoil = report_in_spoil(history, step);
    if (in_spoil.text[0] != '\0')
        find(f, REPORT_LOOK, report_step_name(history, step).text, "%s, and is in no figure of bone lost",
             in_spoil.text);
    if (after->note != NULL && report_named(history, step).text[0] == '\0') // else it has been quoted
        find(f, REPORT_LOOK, report_step_name(history, step).text, "the record of ‘%.200s’ notes “%.700s”", after->id,
             after->note);
}

/// ", LL29 6° (0 to 52°)": what was measured between an element and bedding, which a note may say otherwise; nothing
/// where that is not known.
static void add_to_bedding(report_text* words, const report_skeleton* skeleton, size_t element)
{
    if (!skeleton->measured || element >= skeleton->elements.count ||
        isnan(skeleton->elements.one[element].bedding_deg.value))
        return;
    const history_element* one = &skeleton->elements.one[element];
    report_add(words, "%s%.100s %s° (%s°)", words->text[0] != '\0' ? ", " : "", one->record->id,
               words_value(one->bedding_deg, 1.0).text, words_ends(one->bedding_deg, 1.0).text);
}

/// Whether the note of an element stands elsewhere: what lies in the spoil is told with it, and what a step's note
/// names with that.
static bool is_quoted(const rlv_history* history, const rlv_element_record* element)
{
    bool quoted = element->bag != NULL;
    for (size_t i = 0; i < history->step_count; i++)
        quoted = quoted || report_is_named(history, i, element);
    return quoted;
}

/// Notes on elements, word for word, each with all elements that it stands at and how these lie to bedding.
static void look_at_elements(report_findings* f, const rlv_history* history, const report_skeleton* skeleton)
{
    const rlv_specimen* specimen = history->specimen;
    for (size_t i = 0; i < specimen->element_count; i++)
    {
        const rlv_element_record* one = &specimen->element[i];
        report_text names = {""}, at = {""}, measured = {""};
        bool told = one->note == NULL || is_quoted(history, one);
        for (size_t k = 0; k < specimen->element_count && !told; k++)
        {
            const rlv_element_record* other = &specimen->element[k];
            if (other->note == NULL || is_quoted(history, other) || strcmp(one->note, other->note) != 0)
                continue;
            told = k < i;
            add_name(&names, other->id);
            add_at(&at, history, skeleton, k);
            add_to_bedding(&measured, skeleton, k);
        }
        if (!told)
        {
            find(f, REPORT_LOOK, names.text, "the record of elements notes “%.800s”%s%.600s%s", one->note,
                 measured.text[0] != '\0' ? "; measured to bedding: " : "", measured.text,
                 measured.text[0] != '\0' ? ": 0° is flat in it, 90° on edge; whether the note agrees is for the reader"
                                          : "");
            put_at(f, &at);
        }
    }
}

static void look_at_steps(report_findings* f, const rlv_history* history, const report_skeleton* skeleton,
                          const report_rejoin* rejoin)
{
    for (size_t i = 0; i < history->step_count; i++)
        if (history->step[i].measured)
            look_at_bone(f, history, skeleton, i);
    for (size_t i = 0; i < history->step_count; i++)
        look_at_named(f, history, skeleton, i);
    for (size_t i = 0; rejoin != NULL && i < rejoin->count; i++)
        look_at_put_back(f, history, &rejoin->one[i].told);
    for (size_t i = 0; i < history->step_count; i++)
    {
        look_at_record(f, history, i);
        if (history->row != NULL)
            look_at_balance(f, history, i);
        if (!history->step[i].measured)
            continue;
        look_at_added(f, history, i);
        look_at_untold(f, history, i);
        look_at_slight(f, history, i);
        look_at_faint(f, history, i);
        look_at_unworked(f, history, i);
    }
    look_at_bars(f, history);
    look_at_alignments(f, history);
    if (history->joined && history->stages.inflated)
        find(f, REPORT_LOOK, "the frame of all stages",
             "the alignments disagree by more than they say of themselves; how sure all places are was widened for it");
}

// --- What is wide ----------------------------------------------------------------------------------------------------

/// What most of a step's doubt comes from.
static report_text why_wide(const rlv_change* change)
{
    report_text why;
    if (change->warp_sd_mm > change->noise_sd_mm)
        snprintf(why.text, sizeof why.text, "its two scans are bent against each other by %s mm (sd)",
                 words_figures(change->warp_sd_mm, 2).text);
    else
        snprintf(why.text, sizeof why.text, "its two scans have a noise of %s mm (sd)",
                 words_figures(change->noise_sd_mm, 2).text);
    return why;
}

static double width_of(const history_step* step, rlv_change_class kind)
{
    const rlv_interval* volume = &step->change.total[kind].volume_mm3;
    return step->measured && step->change.total[kind].known ? volume->high - volume->low : 0.0;
}

static size_t widest_step(const rlv_history* history, rlv_change_class kind)
{
    size_t widest = 0;
    for (size_t i = 1; i < history->step_count; i++)
        if (width_of(&history->step[i], kind) > width_of(&history->step[widest], kind))
            widest = i;
    return widest;
}

static void find_wide_class(report_findings* f, const rlv_history* history, rlv_change_class kind)
{
    const report_class all = report_class_of(history, kind, REPORT_ALL);
    if (all.steps_known == 0 || all.regions == 0 || all.ml.high - all.ml.low < 2.0 * wide_share * all.ml.value)
        return;
    const size_t widest = widest_step(history, kind);
    const history_step* step = &history->step[widest];
    const char* name = history_class_name(kind);
    if (step->change.total[kind].faint)
        find(f, REPORT_WIDE, name,
             "in all %s, most of the doubt from %s: more of it may be spread there, thinner than the scans can tell "
             "from "
             "noise (%s)",
             report_interval(all.ml, "mL").text, report_step_name(history, widest).text,
             change_limit_words(&step->change.limit[0]).text);
    else
        find(f, REPORT_WIDE, name, "in all %s, most of the doubt from %s: %s%s", report_interval(all.ml, "mL").text,
             report_step_name(history, widest).text,
             step->change.total[kind].regions == 0
                 ? "no region was found there, but some could lie below the detection limit; "
                 : "",
             why_wide(&step->change).text);
}

/// Bone that was looked for and not found is still the question: which step leaves most room.
static void find_wide_bone(report_findings* f, const rlv_history* history)
{
    const report_class all = report_class_of(history, RLV_CHANGE_BONE, REPORT_ALL);
    if (all.steps_known == 0 || all.regions > 0)
        return;
    const size_t widest = widest_step(history, RLV_CHANGE_BONE);
    const rlv_change* change = &history->step[widest].change;
    find(f, REPORT_WIDE, "bone lost",
         "none was found, but %s leaves most room for some: at most %s mL, since %s, so that only a chip deeper than "
         "%s is told there",
         report_step_name(history, widest).text,
         words_at_most(report_class_of(history, RLV_CHANGE_BONE, widest).ml.high).text, why_wide(change).text,
         change_limit_words(&change->limit[0]).text);
}

static void find_wide_left(report_findings* f, const rlv_history* history)
{
    const size_t last = history->stage_count - 1;
    const history_stage* stage = &history->stage[last];
    const rlv_interval left = history_stage_volume(history, last);
    if (!isfinite(left.value) || left.high - left.low < 0.02 * left.value)
        return;
    const double half = (left.high - left.low) / 2.0, of_scale = RLV_HALF_95 * 3.0 * stage->scale_sd * left.value;
    if (of_scale * of_scale > half * half / 2.0)
        find(f, REPORT_WIDE, "left in the block",
             "most of the doubt is in the scale of ‘%.200s’, known to %s mm in a metre: a share of a length is three "
             "times that share of a volume",
             stage->record->id, words_figures(1000.0 * stage->scale_sd, 2).text);
    else
        find(f, REPORT_WIDE, "left in the block", "most of the doubt is noise and slow warp of the scan of ‘%.200s’",
             stage->record->id);
}

static void find_wide(report_findings* f, const rlv_history* history)
{
    for (rlv_change_class kind = 0; kind < RLV_CHANGE_CLASSES && history->step_count > 0; kind++)
        find_wide_class(f, history, kind);
    if (history->step_count > 0)
        find_wide_bone(f, history);
    find_wide_left(f, history);
}

// --- What is not recorded --------------------------------------------------------------------------------------------

/// Stages that something holds of, from `first` on, by name.
typedef bool (*stage_is)(const rlv_history* history, size_t stage);
static report_text stages_that(const rlv_history* history, size_t first, stage_is is)
{
    report_text names = {""};
    for (size_t i = first; i < history->stage_count; i++)
        if (is(history, i))
            add_name(&names, stage_of(history, i)->id);
    return names;
}

static bool is_not_weighed(const rlv_history* history, size_t stage)
{
    return stage_of(history, stage)->mass == NULL;
}

static bool is_without_hours(const rlv_history* history, size_t stage)
{
    return stage_of(history, stage)->work_count == 0;
}

static bool is_without_drying(const rlv_history* history, size_t stage)
{
    return stage_of(history, stage)->drying == NULL && stage_of(history, stage)->mass != NULL &&
           stage_of(history, stage - 1)->mass != NULL;
}

static bool has_exact_scale(const rlv_history* history, size_t stage)
{
    return history->stage[stage].scale_sd <= 0.0;
}

static bool has_one_bar(const rlv_history* history, size_t stage)
{
    return stage_of(history, stage)->mesh.bar_count == 1;
}

static bool is_open(const rlv_history* history, size_t stage)
{
    return !history->stage[stage].given.health.closed;
}

static bool is_without_bone(const rlv_history* history, size_t stage)
{
    const history_step* step = stage < history->step_count ? &history->step[stage] : NULL;
    return step != NULL && step->measured && !step->change.total[RLV_CHANGE_BONE].known;
}

static bool is_without_dry_mass(const rlv_history* history, size_t stage)
{
    const rlv_stage_record* record = stage_of(history, stage);
    for (size_t i = 0; i < record->treatment_count; i++)
        if (record->treatment[i].dry_g == NULL)
            return true;
    return false;
}

static bool is_without_spoil(const rlv_history* history, size_t stage)
{
    const rlv_specimen* specimen = history->specimen;
    bool any = false;
    for (size_t i = 0; i < specimen->spoil_count; i++)
        if (strcmp(specimen->spoil[i].stage, stage_of(history, stage)->id) == 0)
        {
            any = true;
            if (specimen->spoil[i].mass == NULL)
                return true;
        }
    return !any;
}

/// What is not recorded of stages, and what it would tell.
static void find_missing_of_stages(report_findings* f, const rlv_history* history)
{
    static const struct
    {
        stage_is is;
        size_t first;
        const char *what, *tells;
    } missing[] = {
        {is_without_bone, 0, "bone on the mesh",
         "nobody marked it there, so that bone lost in the step after counts as matrix removed"},
        {is_not_weighed, 0, "mass of the block",
         "weighed, it would show what the scales say went in the steps beside it"},
        {is_without_spoil, 1, "mass of the spoil", "weighed, it would hold the measured volume against the scales"},
        {is_without_drying, 1, "water lost by drying",
         "it is taken as none; what dried away shows as unexplained grams"},
        {is_without_dry_mass, 1, "dry mass of a treatment", "it would show how many grams stayed in the block"},
        {is_without_hours, 1, "hours of work", "without them the step tells nothing of the rates of tools"},
        {is_open, 0, "a closed mesh", "the volume of an open one cannot be told"},
        {has_exact_scale, 0, "how sure the scale is",
         "it is taken as exact, so that no interval allows for it; scale bars or scale_sd would say"},
        {has_one_bar, 0, "a second scale bar", "one bar has no other to be checked against"},
    };
    for (size_t i = 0; i < sizeof missing / sizeof *missing; i++)
    {
        const report_text stages = stages_that(history, missing[i].first, missing[i].is);
        if (stages.text[0] != '\0')
            find(f, REPORT_MISSING, missing[i].what, "at %.600s: %s", stages.text, missing[i].tells);
    }
}

static void find_missing_of_bags(report_findings* f, const rlv_specimen* specimen)
{
    report_text bags = {""};
    for (size_t i = 0; i < specimen->spoil_count; i++)
        if (specimen->spoil[i].state != NULL && strcmp(specimen->spoil[i].state, "damp") == 0)
            add_name(&bags, specimen->spoil[i].bag);
    if (bags.text[0] != '\0')
        find(f, REPORT_MISSING, "dry mass of damp spoil",
             "of %.600s: its water counts as spoil in both balances; weighed dry, it would not", bags.text);
}

static void find_missing_of_pieces(report_findings* f, const rlv_history* history)
{
    const rlv_specimen* specimen = history->specimen;
    report_text meshes = {""}, masses = {""};
    for (size_t i = 0; i < specimen->piece_count; i++)
    {
        bool closed = false;
        for (size_t k = 0; k < history->pieces.count; k++)
            closed = closed || (history->pieces.one[k].piece == &specimen->piece[i] &&
                                history->pieces.one[k].given.health.closed);
        if (!closed)
            add_name(&meshes, specimen->piece[i].id);
        if (specimen->piece[i].mass == NULL)
            add_name(&masses, specimen->piece[i].id);
    }
    if (meshes.text[0] != '\0')
        find(f, REPORT_MISSING, "a closed mesh of a piece",
             "of %.600s: by the block’s meshes alone its volume holds what crumbled out of its joint, or the gap there",
             meshes.text);
    if (masses.text[0] != '\0')
        find(f, REPORT_MISSING, "mass of a piece", "of %.600s: weighed, it would close the block’s mass balance",
             masses.text);
}

static void find_missing(report_findings* f, const rlv_history* history)
{
    const rlv_specimen* specimen = history->specimen;
    find_missing_of_stages(f, history);
    if (rlv_specimen_density(specimen, "matrix") == NULL)
        find(f, REPORT_MISSING, "density of the matrix",
             "without it no volume can be told in grams, nor be held against the spoil");
    find_missing_of_bags(f, specimen);
    find_missing_of_pieces(f, history);
    for (size_t i = 0; i < history->tool_count; i++)
        if (!history->rate[i].determined)
            find(f, REPORT_MISSING, "hours by area",
                 "for ‘%.100s’: it was only used together with other tools, so that its own rate cannot be told",
                 history->tool[i]);
    if (specimen->up == NULL)
        find(f, REPORT_MISSING, "which way was up",
             "pictures are seen from the side where most went, not from the side that was up in the rock");
    else if (specimen->north == NULL)
        find(f, REPORT_MISSING, "north", "maps cannot be turned with north at the top");
}

static void look_at_moved(report_findings* f, const history_articulation* a)
{
    articulation_said said;
    for (size_t next = 0; articulation_displaced(a, &next, &said);)
    {
        find(f, REPORT_LOOK, said.of.text, "%s", said.words.text);
        put_at(f, &said.at);
    }
}

/// Where bone may still lie, likeliest first; and the rows of which nothing can be said.
static void look_at_unfilled(report_findings* f, const history_articulation* a)
{
    report_text left_out = {""};
    articulation_targets targets = articulation_targets_of(a);
    f->out_of_memory = f->out_of_memory || targets.out_of_memory;
    if (targets.pointed > 0)
        find(f, REPORT_LOOK, "where bone may lie", "%s", articulation_targets_head(a, &targets).text);
    for (size_t i = 0; i < targets.pointed; i++)
        find(f, REPORT_LOOK, articulation_place_name(a, &a->fit.unfilled[targets.one[i].unfilled]).text, "%s",
             articulation_target_words(a, &targets.one[i]).text);
    articulation_targets_free(&targets);
    for (size_t r = 0; r < a->row_count; r++)
        if (!a->fit.row[r].used)
            add_name(&left_out, a->elements->history->specimen->row[r].id);
    if (left_out.text[0] != '\0')
        find(f, REPORT_LOOK, left_out.text,
             "of these rows too few elements have a known place: nothing can be said of where more of them may lie");
}

void report_findings_find(report_findings* findings, const rlv_history* history, const report_skeleton* skeleton,
                          const report_rejoin* rejoin)
{
    look_at_steps(findings, history, skeleton, rejoin);
    if (skeleton->judged)
    {
        look_at_moved(findings, &skeleton->articulation);
        look_at_unfilled(findings, &skeleton->articulation);
    }
    look_at_elements(findings, history, skeleton);
    find_wide(findings, history);
    find_missing(findings, history);
}

void report_findings_free(report_findings* findings)
{
    free(findings->one);
    *findings = (report_findings){0};
}
