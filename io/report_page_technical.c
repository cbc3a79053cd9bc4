/// How a report's figures were measured, on its page: for whoever makes them again, or doubts them.

#include "report_page_parts.h"
#include "report_skeleton_methods.h"

#include "regions.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef report_page_source source_of;

// --- Stages and their frame ------------------------------------------------------------------------------------------

static void put_alarms(rlv_page* p, const rlv_history* history)
{
    for (size_t i = 0; i < history->stage_count; i++)
    {
        const history_stage* stage = &history->stage[i];
        char text[600];
        if (stage->record->mesh.bar_count == 0 || stage->scale.alarms == 0)
            continue;
        rlv_print(
            text, sizeof text,
            "At ‘%.200s’ %s not fit the others (see the table). No bar is left out. Without %s one unit of the mesh "
            "would be %s mm instead of %s mm: measure the bars’ ends again before the stage’s figures are used.",
            stage->record->id, stage->scale.alarms == 1 ? "one scale bar does" : "scale bars do",
            stage->scale.alarms == 1 ? "it" : "them", words_figures(stage->scale.mm_per_unit_without, 6).text,
            words_figures(stage->scale.mm_per_unit, 6).text);
        page_box(p, PAGE_CAUTION, text);
    }
}

static void put_frame(rlv_page* p, const source_of* s)
{
    const rlv_history* history = s->history;
    page_part(p, "frame", "One frame for all stages");
    if (!history->joined)
        report_page_say(p, "The stages could not be brought into one frame: %s.", history->apart);
    else
        report_page_say(p,
                        "All stages are in the frame of ‘%s’. Alignments of neighbours, and of stages two apart, were "
                        "fitted together; where they do not close, they are wrong by at least that much.",
                        history->stage[history->frame].record->id);
    if (history->joined && history->stages.inflated)
        page_box(p, PAGE_CAUTION,
                 "The alignments disagree by more than they say of themselves: the uncertainty of all poses has been "
                 "widened to what they do.");
    if (report_page_table(p, s, REPORT_POSES))
        page_link(p, report_table_path(&s->tables->table[REPORT_TRANSFORMS]).text,
                  "The motions themselves, 4 by 4 matrices (CSV)");
    report_page_table(p, s, REPORT_EDGES);
    report_page_table(p, s, REPORT_LOOPS);
    if (history->joined && history->stages.loop_count > 0)
        report_page_say(p,
                        "In these tables p is how often sound alignments would fail to close by as much. It is mostly "
                        "near 1, since what an alignment does not share with the others is taken wide: %s mm of "
                        "settling, and half of the share of its surface that did not hold still. So closures find "
                        "gross errors; that they close does not say that a pose is as sure as it is told.",
                        words_recorded(HISTORY_SETTLING_MM).text);
}

static void put_check(rlv_page* p, const source_of* s)
{
    if (table_rows(&s->tables->table[REPORT_VOLUME_CHECK]) == 0)
        return;
    page_part(p, "check", "Volumes added up two ways");
    page_paragraph(p, "What went, less what came, with what was not told apart, must be what the two meshes’ own "
                      "volumes differ by. This checks the sums of the program, not the scans.");
    report_page_table(p, s, REPORT_VOLUME_CHECK);
}

static void put_stages(rlv_page* p, const source_of* s)
{
    page_section(p, "stages", "How it was measured");
    report_page_table(p, s, REPORT_STAGES);
    page_part(p, "scale", "Scale");
    page_paragraph(p, "A scale bar has a certified length. Its residual is how far off that its length is on the mesh, "
                      "at the scale that all bars of the stage give together.");
    put_alarms(p, s->history);
    report_page_table_or(p, s, REPORT_SCALE_BARS, "No scale bars are recorded: the unit of each mesh was said.");
    put_frame(p, s);
    if (table_rows(&s->tables->table[REPORT_LIMITS]) > 0)
        page_link(p, report_table_path(&s->tables->table[REPORT_LIMITS]).text,
                  "How deep a change must be to be told, step by step (CSV)");
    put_check(p, s);
}

// --- Methods ---------------------------------------------------------------------------------------------------------

static const char units_and_scale[] =
    "A unit is never guessed. A mesh’s scale is what its record says, or that of its scale bars by weighted least "
    "squares; every bar is held against the others. Where bars disagree by more than they should, the scale’s sd is "
    "widened by the Birge ratio (R. T. Birge, Phys. Rev. 40, 1932).";

/// From what alignments began, as it was done.
static void put_alignment(rlv_page* p, const rlv_history* history)
{
    size_t done = 0, tied = 0, fewest = SIZE_MAX, most = 0;
    char began[400];
    for (size_t i = 0; i < history->edge_count; i++)
    {
        const history_edge* edge = &history->edge[i];
        done += edge->done;
        if (!edge->done || edge->start_ties == 0)
            continue;
        tied++;
        fewest = edge->start_ties < fewest ? edge->start_ties : fewest;
        most = edge->start_ties > most ? edge->start_ties : most;
    }
    static const char search[] =
        "were searched for from any attitude, without tie points: local frames with descriptors give candidate poses";
    if (done == 0)
        return;
    if (tied == 0)
        snprintf(began, sizeof began, "All %zu %s", done, search);
    else
    {
        char ties[64];
        if (fewest == most)
            snprintf(ties, sizeof ties, "%zu", most);
        else
            snprintf(ties, sizeof ties, "%zu to %zu", fewest, most);
        if (tied == done)
            snprintf(began, sizeof began, "All %zu began from tie points, %s each", done, ties);
        else
            snprintf(began, sizeof began, "%zu of %zu began from tie points, %s each; the others %s", tied, done, ties,
                     search);
    }
    report_page_tell(
        p, "Alignment",
        "Pairs of stages are brought together by the surface that held still. %s. Each was then refined from point to "
        "plane on the surfaces alone (Y. Chen, G. Medioni, Image and Vision Computing 10, 1992) with a robust weight; "
        "what changed is found, left out, and the refinement done again.%s All alignments are solved together for one "
        "pose a stage (G. Grisetti et al., IEEE Intelligent Transportation Systems Magazine 2, 2010).",
        began,
        tied > 0
            ? " Tie points only start an alignment: they have no weight in it, and what is left between them checks it."
            : "");
}

/// How far out of the noise regions had to stand, as the steps were measured.
static void put_change(rlv_page* p, const rlv_history* history)
{
    double least = INFINITY, most = 0.0;
    for (size_t i = 0; i < history->step_count; i++)
        if (history->step[i].measured)
        {
            least = fmin(least, history->step[i].change.seed_sd);
            most = fmax(most, history->step[i].change.seed_sd);
        }
    if (most <= 0.0)
        return;
    const rlv_words low = words_figures(least, 2), high = words_figures(most, 2);
    const bool one = strcmp(low.text, high.text) == 0;
    report_page_tell(
        p, "Change",
        "Regions are found where depth along the normal, smoothed at three scales, stands out of the noise by %s%s%s "
        "sd%s. Inside them solid columns of both stages are summed along three axes, signed.",
        low.text, one ? "" : " to ", one ? "" : high.text,
        most > RLV_REGION_SEED_SD ? ": the more places are looked at, the farther, so that noise seldom passes anywhere"
                                  : "");
}

static const char* const methods[][2] = {
    {"Intervals",
     "The residuals on the surface that held still are a random field: motion, noise, and slow warp of the scans, "
     "estimated by restricted likelihood (H. D. Patterson, R. Thompson, Biometrika 58, 1971). Block kriging (N. "
     "Cressie, Statistics for Spatial Data, 1993) tells what the same field did under the regions; it is subtracted, "
     "and its uncertainty carried. Intervals hold scale, alignment, noise, warp and the method, and are 95 % ones. The "
     "detection limit is of the same model, by area (after D. Lague, N. Brodu, J. Leroux, ISPRS Journal 82, 2013). It "
     "holds noise, warp, and that two tessellations of one surface differ, since triangles cut its corners each in "
     "their own way (chord_mm of each step in report.json), as that is on the mean of the surface; at sharp edges of a "
     "coarse mesh they differ by more, and the true limit is higher there."},
    {"Classes", "Bone is what was marked as bone on the stage before; a piece is what was marked as its. All else that "
                "went is told as matrix, also bone that had never shown."},
    {"Grams and balances", "Grams are volume times recorded density. Errors are carried to first order (JCGM 100:2008, "
                           "section 5); steps are added with their halves in quadrature, and a scale or density that "
                           "they share as one error. A balance closes where nothing lies within its 95 % interval."},
    {"Rates and hours",
     "Rates are least squares over the recorded steps, none below nothing (C. L. Lawson, R. J. Hanson, Solving Least "
     "Squares Problems, 1974), with one scatter from hour to hour, which all tools share: the one that makes the "
     "misfit what it ought to be (R. C. Paule, J. Mandel, J. Res. NBS 87, 1982). Their intervals do not trust that "
     "one: they are a mixture over every scatter, weighted by restricted likelihood and Jeffreys’ prior (G. E. P. Box, "
     "G. C. Tiao, Bayesian Inference in Statistical Analysis, 1973). Hours are a volume over a rate, with E. C. "
     "Fieller’s interval (J. R. Stat. Soc. B 16, 1954)."},
    {"Figures",
     "A number is rounded at the first figure of its standard uncertainty, or at the second where the first "
     "is a 1 (JCGM 100:2008, 7.2.6); the ends of an interval outward. A bound on what was not found has two "
     "figures, outward too. What was weighed stands as it was written down. All of a balance "
     "is told as the doubt of what it leaves unexplained allows, with more figures where its two sides do "
     "not subtract to that as they stand, but no more than were weighed. CSV and JSON hold all of them unrounded."},
};

/// What an upper end is that is no end of an interval.
static void put_bounds(rlv_page* p)
{
    report_page_tell(
        p, "At most",
        "Where nothing of a class was found, its upper end is a bound and no end of a 95 %% interval: at most a layer "
        "as deep as the detection limit of the widest patch, on all that seemed to hold still, and no less than that "
        "of the smallest patch on one such patch, the least that could be told at all. An upper end holds such "
        "a bound beside its interval where what was found is shallow (under %s detection limits on the mean), where it "
        "thins out by more than its interval, and where the balance of the two volumes says that some is missing: the "
        "same bound where it is shallow, else what that balance leaves room for, or twice what an even thinning out "
        "would hold, and no more than the same. Bounds of steps are added up, not in quadrature, so that no sum has "
        "less room than its steps.",
        words_recorded(RLV_CHANGE_FAINT).text);
}

static void put_methods(rlv_page* p, const source_of* s)
{
    const rlv_history* history = s->history;
    page_section(p, "methods", "Methods");
    page_fact(p, "Units and scale", units_and_scale);
    put_alignment(p, history);
    put_change(p, history);
    for (size_t i = 0; i < sizeof methods / sizeof *methods; i++)
        page_fact(p, methods[i][0], methods[i][1]);
    put_bounds(p);
    if (s->skeleton->judged)
        report_skeleton_methods(p, &s->skeleton->articulation);
}

// --- Inputs, parameters ----------------------------------------------------------------------------------------------

/// "into field, aligned overburden, tie_points 0, …"; a text is shown as it is.
static void write_value(FILE* stream, json_t* value)
{
    const char* key;
    json_t* one;
    bool first = true;
    if (json_is_string(value))
        fputs(json_string_value(value), stream);
    else if (json_is_integer(value))
        fprintf(stream, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
    else if (json_is_real(value))
        fputs(words_known(json_real_value(value), 0.0).text, stream);
    else if (json_is_boolean(value))
        fputs(json_is_true(value) ? "yes" : "no", stream);
    else if (json_is_null(value))
        fputs("not known", stream);
    json_object_foreach(value, key, one)
    {
        fprintf(stream, "%s%s ", first ? "" : ", ", key);
        write_value(stream, one);
        first = false;
    }
}

static void put_parameter(rlv_page* p, const char* key, json_t* value)
{
    char* text = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&text, &size);
    if (stream != NULL)
        write_value(stream, value);
    if (stream != NULL && fclose(stream) == 0)
        page_fact(p, key, text);
    else
        p->out_of_memory = true;
    free(text);
}

/// A line each; of a list, a line an entry.
static void put_parameters(rlv_page* p, json_t* parameters)
{
    const char* key;
    json_t* value;
    json_object_foreach(parameters, key, value)
    {
        if (!json_is_array(value))
            put_parameter(p, key, value);
        for (size_t i = 0; i < json_array_size(value); i++)
            put_parameter(p, key, json_array_get(value, i));
    }
}

static void put_inputs(rlv_page* p, const source_of* s)
{
    const rlv_specimen* specimen = s->history->specimen;
    page_section(p, "inputs", "Inputs, parameters, files");
    page_fact(p, "Made by", "rilievo " RLV_VERSION);
    report_page_tell(p, "Cite as", "%.200s%s%.400s: measurements of its preparation. Report by rilievo " RLV_VERSION,
                     specimen->id, specimen->title != NULL ? ", " : "", specimen->title != NULL ? specimen->title : "");
    page_link(p, "report.json", "report.json: everything here for machines, the record in Darwin Core’s terms");
    page_link(p, "tables/meanings.csv", "tables/meanings.csv: what each column of the tables means");
    report_page_table(p, s, REPORT_INPUTS);
    page_part(p, "parameters", "Parameters");
    page_paragraph(
        p,
        "What was asked for, what was chosen by the meshes, and what everything was judged by, under the keys of "
        "report.json; the program’s page of commands tells what each is. What else there is, is fixed by the version.");
    put_parameters(p, s->answer->parameters);
}

void report_page_technical(rlv_page* p, const source_of* s)
{
    put_stages(p, s);
    put_methods(p, s);
    put_inputs(p, s);
}
