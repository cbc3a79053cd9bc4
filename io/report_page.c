#include "report_page.h"

#include "report_words.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

typedef report_page_source source_of;

static const rlv_table* table_at(const source_of* s, report_table which)
{
    return &s->tables->table[which];
}

/// A table with its CSV; nothing where it has no rows.
static bool put_table(rlv_page* p, const source_of* s, report_table which)
{
    const rlv_table* t = table_at(s, which);
    if (table_rows(t) > 0)
        page_table(p, t, report_table_path(t).text);
    return table_rows(t) > 0;
}

/// A section that is one table, or one line.
static void put_recorded(rlv_page* p, const source_of* s, const char* id, const char* heading, report_table which)
{
    page_section(p, id, heading);
    if (!put_table(p, s, which))
        page_paragraph(p, "Not recorded.");
}

__attribute__((format(printf, 2, 3))) static void put_paragraph(rlv_page* p, const char* format, ...)
{
    char* text = NULL;
    va_list list;
    va_start(list, format);
    if (vasprintf(&text, format, list) >= 0)
    {
        page_paragraph(p, text);
        free(text);
    }
    else
        p->out_of_memory = true;
    va_end(list);
}

static void put_lines(rlv_page* p, const report_lines* lines)
{
    for (size_t i = 0; i < lines->count; i++)
        page_fact(p, lines->line[i].name, lines->line[i].words.text);
}

// --- Summary ---------------------------------------------------------------------------------------------------------

/// All warnings in one box, a line each.
static void put_warnings(rlv_page* p, const rlv_answer* answer)
{
    char* text = NULL;
    size_t size = 0, count = json_array_size(answer->warnings);
    FILE* stream = count > 0 ? open_memstream(&text, &size) : NULL;
    for (size_t i = 0; i < count && stream != NULL; i++)
        fprintf(stream, "%s%s.", i > 0 ? "\n" : "", json_string_value(json_array_get(answer->warnings, i)));
    if (stream != NULL && fclose(stream) == 0)
        page_box(p, PAGE_CAUTION, text);
    else if (count > 0)
        p->out_of_memory = true;
    free(text);
}

static void put_summary(rlv_page* p, const source_of* s)
{
    const report_lines lines = report_summary(s->history);
    page_section(p, "summary", "Summary");
    for (size_t i = 0; i < lines.count; i++)
        if (lines.line[i].alarm)
        {
            char text[1200];
            snprintf(text, sizeof text, "%s: %s.", lines.line[i].name, lines.line[i].words.text);
            page_box(p, PAGE_WARNING, text);
        }
    put_lines(p, &lines);
    page_paragraph(p,
                   "A figure stands before the 95 % interval that its scans allow. What is called matrix may hold bone "
                   "that had never shown: a mesh cannot tell the two apart.");
    if (json_array_size(s->answer->warnings) > 0)
    {
        page_part(p, "warnings", "What to look at before these figures are used");
        put_warnings(p, s->answer);
    }
}

// --- Record ----------------------------------------------------------------------------------------------------------

static void put_specimen(rlv_page* p, const rlv_specimen* specimen)
{
    const char* const fact[][2] = {{"Specimen", specimen->id},           {"Title", specimen->title},
                                   {"Taxon", specimen->taxon},           {"Institution", specimen->institution},
                                   {"Collection", specimen->collection}, {"Locality", specimen->locality},
                                   {"Stratum", specimen->stratum},       {"Collector", specimen->collector},
                                   {"Collected", specimen->collected},   {"Preparator", specimen->preparator},
                                   {"Rights", specimen->rights},         {"Note", specimen->note}};
    char missing[256] = "";
    page_section(p, "record", "The specimen");
    for (size_t i = 0; i < sizeof fact / sizeof *fact; i++)
        if (fact[i][1] != NULL)
            page_fact(p, fact[i][0], fact[i][1]);
        else
            snprintf(missing + strlen(missing), sizeof missing - strlen(missing), "%s%s",
                     missing[0] != '\0' ? ", " : "", fact[i][0]);
    if (missing[0] != '\0')
        page_fact(p, "Not recorded", missing);
}

static void put_setting(rlv_page* p, const source_of* s)
{
    const rlv_specimen* specimen = s->history->specimen;
    char text[512];
    snprintf(text, sizeof text, "that of the mesh of ‘%.200s’: right-handed, in millimetres",
             s->history->stage[s->history->frame].record->id);
    page_fact(p, "The block's frame", text);
    page_fact(p, "Up in the rock", specimen->up != NULL ? "recorded" : "not recorded");
    page_fact(p, "North", specimen->north != NULL ? "recorded" : "not recorded");
    page_fact(p, "Bedding", specimen->bedding != NULL ? "recorded" : "not recorded");
    put_table(p, s, REPORT_DENSITIES);
    if (table_rows(table_at(s, REPORT_DENSITIES)) == 0)
        page_paragraph(p, "Densities: not recorded, so that volumes are not told in grams.");
}

// --- Stages ----------------------------------------------------------------------------------------------------------

static void put_notes(rlv_page* p, const rlv_history* history)
{
    for (size_t i = 0; i < history->stage_count; i++)
        if (history->stage[i].record->note != NULL)
            page_fact(p, history->stage[i].record->id, history->stage[i].record->note);
}

static void put_alarms(rlv_page* p, const rlv_history* history)
{
    for (size_t i = 0; i < history->stage_count; i++)
    {
        const history_stage* stage = &history->stage[i];
        char text[600];
        if (stage->record->mesh.bar_count == 0 || stage->scale.alarms == 0)
            continue;
        snprintf(
            text, sizeof text,
            "At ‘%.200s’ %s not fit the others (see the table). No bar is left out. Without %s one unit of the mesh "
            "would be %s mm instead of %s mm: measure the bars' ends again before the stage's figures are used.",
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
        put_paragraph(p, "The stages could not be brought into one frame: %s.", history->apart);
    else
        put_paragraph(p,
                      "All stages are in the frame of ‘%s’. Alignments of neighbours, and of stages two apart, were "
                      "fitted together; where they do not close, they are wrong by at least that much.",
                      history->stage[history->frame].record->id);
    if (history->joined && history->stages.inflated)
        page_box(p, PAGE_CAUTION,
                 "The alignments disagree by more than they say of themselves: the uncertainty of all poses "
                 "has been widened to what they do.");
    if (put_table(p, s, REPORT_POSES))
        page_link(p, report_table_path(table_at(s, REPORT_TRANSFORMS)).text,
                  "The motions themselves, 4 by 4 matrices (CSV)");
    put_table(p, s, REPORT_EDGES);
    put_table(p, s, REPORT_LOOPS);
}

static void put_picture(rlv_page* p, const history_sheet* sheet)
{
    const page_picture picture = {.path = sheet->path,
                                  .alt = sheet->alt,
                                  .caption = sheet->caption,
                                  .width = (unsigned)sheet->width,
                                  .height = (unsigned)sheet->height,
                                  .full = sheet->print,
                                  .full_words = sheet->print != NULL ? "for print, at its true scale (PDF)" : NULL};
    page_figure(p, &picture);
}

static void put_pictures(rlv_page* p, const source_of* s, history_sheet_kind kind, size_t stage)
{
    for (size_t i = 0; i < s->sheets->count; i++)
        if (s->sheets->sheet[i].kind == kind && s->sheets->sheet[i].stage == stage && s->sheets->sheet[i].width > 0)
            put_picture(p, &s->sheets->sheet[i]);
}

static void put_stages(rlv_page* p, const source_of* s)
{
    page_section(p, "stages", "Stages");
    put_table(p, s, REPORT_STAGES);
    put_pictures(p, s, HISTORY_SHEET_HISTORY, s->history->stage_count - 1);
    put_notes(p, s->history);
    page_part(p, "scale", "Scale");
    put_alarms(p, s->history);
    if (!put_table(p, s, REPORT_SCALE_BARS))
        page_paragraph(p, "No scale bars are recorded: the unit of each mesh was said.");
    put_frame(p, s);
}

// --- Changes ---------------------------------------------------------------------------------------------------------

/// What the step led to, when, and how.
static void put_story(rlv_page* p, const rlv_history* history, size_t which)
{
    const rlv_stage_record* after = history->stage[history->step[which].after].record;
    char* text = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&text, &size);
    if (stream == NULL)
    {
        p->out_of_memory = true;
        return;
    }
    fprintf(stream, "%s%s%s", after->title != NULL ? after->title : after->id, after->date != NULL ? ", " : "",
            after->date != NULL ? after->date : "");
    for (size_t i = 0; i < after->work_count; i++)
        fprintf(stream, "%s%s %s h%s%s", i == 0 ? ". Work: " : "; ", after->work[i].tool,
                words_exact(after->work[i].hours).text, after->work[i].area != NULL ? " on " : "",
                after->work[i].area != NULL ? after->work[i].area : "");
    fputs(after->work_count > 0 ? "." : ". Hours: not recorded.", stream);
    if (fclose(stream) == 0)
        page_paragraph(p, text);
    free(text);
}

static void put_step_table(rlv_page* p, const source_of* s, size_t which)
{
    char caption[1200];
    snprintf(caption, sizeof caption, "What changed from %s, region by region",
             report_step_name(s->history, which).text);
    rlv_table t = report_regions_of_step(s->history, which, true, caption);
    page_table(p, &t, report_table_path(table_at(s, REPORT_REGIONS)).text);
    table_free(&t);
}

static void put_step(rlv_page* p, const source_of* s, size_t which)
{
    const history_step* step = &s->history->step[which];
    const report_lines lines = report_step(s->history, which);
    char id[64];
    snprintf(id, sizeof id, "step-%zu", which + 1);
    page_part(p, id, report_step_name(s->history, which).text);
    put_story(p, s->history, which);
    if (!step->measured)
    {
        put_paragraph(p, "Not measured: %s.", step->why);
        return;
    }
    put_lines(p, &lines);
    put_step_table(p, s, which);
    put_pictures(p, s, HISTORY_SHEET_COMPARISON, step->after);
    put_pictures(p, s, HISTORY_SHEET_DEPTH, step->after);
    page_paragraph(p, report_limits(s->history, which).text);
}

static void put_changes(rlv_page* p, const source_of* s)
{
    page_section(p, "changes", "What changed in each step");
    if (s->history->step_count == 0)
    {
        page_paragraph(p, "One stage is recorded: nothing can have changed yet.");
        return;
    }
    page_paragraph(p,
                   "Hours, grams weighed and mL/h are of an area of work as a whole, or of the step where no area was "
                   "named; they stand at its largest region. Depth is along the surface's normal.");
    for (size_t i = 0; i < s->history->step_count; i++)
        put_step(p, s, i);
}

// --- Ledger ----------------------------------------------------------------------------------------------------------

static void put_ledger(rlv_page* p, const source_of* s)
{
    page_section(p, "ledger", "Ledger");
    if (s->history->row == NULL)
    {
        page_paragraph(p, "There is nothing to add up.");
        return;
    }
    page_paragraph(p, "A class of which no region was found is 0, with an upper end that is what the detection limit "
                      "leaves room for. A dash is what is not known.");
    put_table(p, s, REPORT_VOLUMES);
    put_table(p, s, REPORT_MASSES);
    page_part(p, "so-far", "In all");
    put_table(p, s, REPORT_VOLUMES_SO_FAR);
    put_table(p, s, REPORT_MASSES_SO_FAR);
    page_part(p, "balance", "Does it balance?");
    page_paragraph(p, "Two checks that do not hang on each other. The first is of scales alone: what the block lost in "
                      "weight against what was kept. The second holds the meshes against the scales.");
    put_table(p, s, REPORT_MASS_BALANCE);
    put_table(p, s, REPORT_SPOIL_BALANCE);
}

static void put_rates(rlv_page* p, const source_of* s)
{
    page_section(p, "rates", "Rates by tool");
    if (!put_table(p, s, REPORT_RATES))
    {
        page_paragraph(p, "Hours: not recorded.");
        return;
    }
    if (!s->history->rates.scatter_known)
        page_paragraph(p,
                       "There are no more steps than tools, so that how much one hour differs from another cannot be "
                       "told: the intervals hold the measurement alone.");
    else
        put_paragraph(p,
                      "One hour differs from another by about %s mL (sd). A rate that the recorded steps do not tell "
                      "has none.",
                      words_figures(s->history->rates.scatter_ml, 2).text);
}

static void put_left(rlv_page* p, const source_of* s)
{
    page_section(p, "left", "What is left in the block");
    page_fact(p, "Volume", report_left(s->history).text);
    if (put_table(p, s, REPORT_LEFT))
        page_box(p, PAGE_NOTE,
                 "This is arithmetic on your own recorded rates: the whole volume over a rate. It is no plan "
                 "and no advice; most of a block is never taken off, and none of its bone.");
}

// --- As recorded -----------------------------------------------------------------------------------------------------

static void put_work(rlv_page* p, const source_of* s)
{
    page_section(p, "treatments", "Treatments and decisions");
    page_paragraph(p, "As they were recorded. Nothing here is recommended.");
    if (!put_table(p, s, REPORT_TREATMENTS))
        page_paragraph(p, "Treatments: not recorded.");
    if (!put_table(p, s, REPORT_DECISIONS))
        page_paragraph(p, "Decisions: not recorded.");
    if (!put_table(p, s, REPORT_WORK))
        page_paragraph(p, "Hours: not recorded.");
}

static void put_elements(rlv_page* p, const source_of* s)
{
    page_section(p, "elements", "Elements");
    if (!put_table(p, s, REPORT_ELEMENTS))
        page_paragraph(p, "Elements: not recorded.");
    if (!put_table(p, s, REPORT_ROWS))
        page_paragraph(p, "Rows of life positions: not recorded.");
    if (!put_table(p, s, REPORT_JOINTS))
        page_paragraph(p, "Joints: not recorded.");
}

// --- Provenance ------------------------------------------------------------------------------------------------------

static void put_parameters(rlv_page* p, json_t* parameters)
{
    const char* key;
    json_t* value;
    json_object_foreach(parameters, key, value)
    {
        char* text = json_is_string(value) ? strdup(json_string_value(value)) : json_dumps(value, JSON_ENCODE_ANY);
        if (text != NULL)
            page_fact(p, key, text);
        else
            p->out_of_memory = true;
        free(text);
    }
}

static void put_inputs(rlv_page* p, const source_of* s)
{
    page_section(p, "inputs", "Inputs, parameters, files");
    page_fact(p, "Made by", "rilievo " RLV_VERSION);
    put_parameters(p, s->answer->parameters);
    put_table(p, s, REPORT_INPUTS);
    page_link(p, "report.json", "report.json: everything here for machines, the record in Darwin Core's terms");
    page_link(p, "tables/meanings.csv", "tables/meanings.csv: what each column of the tables means");
}

// --- All -------------------------------------------------------------------------------------------------------------

static report_text title_of(const rlv_specimen* specimen)
{
    report_text title;
    snprintf(title.text, sizeof title.text, "%.200s%s%.500s", specimen->id, specimen->title != NULL ? ": " : "",
             specimen->title != NULL ? specimen->title : "");
    return title;
}

/// From which date to which; dates are as they were written.
static report_text lead_of(const rlv_history* history)
{
    report_text lead;
    const char* first = history->stage[0].record->date;
    const char* last = history->stage[history->stage_count - 1].record->date;
    bool dated = first != NULL && last != NULL;
    snprintf(lead.text, sizeof lead.text, "Its preparation as measured over %s%s%s%s%s",
             words_count(history->stage_count, "stage").text, dated ? ", " : "", dated ? first : "",
             dated && history->stage_count > 1 ? " to " : "", dated && history->stage_count > 1 ? last : "");
    return lead;
}

static void put_all(rlv_page* p, const source_of* s)
{
    put_summary(p, s);
    put_specimen(p, s->history->specimen);
    put_setting(p, s);
    put_stages(p, s);
    put_changes(p, s);
    put_ledger(p, s);
    put_rates(p, s);
    put_left(p, s);
    put_work(p, s);
    put_recorded(p, s, "spoil", "Spoil", REPORT_SPOIL);
    put_recorded(p, s, "pieces", "Pieces", REPORT_PIECES);
    put_elements(p, s);
    report_methods(p);
    put_inputs(p, s);
    report_cautions(p);
}

rlv_status report_page_keep(const report_page_source* s, out_folder* out, const char* name, rlv_error* error)
{
    rlv_page p = {0};
    FILE* stream = NULL;
    rlv_status status = page_begin(&p, title_of(s->history->specimen).text, lead_of(s->history).text, "en", error);
    if (status == RLV_DONE)
        status = out_folder_add(out, name, &stream, error);
    if (status == RLV_DONE)
    {
        put_all(&p, s);
        status = page_write(&p,
                            "Made by rilievo " RLV_VERSION ". A figure here is advice to a trained person, not a "
                            "certificate.",
                            stream, out->file[out->file_count - 1].path, error);
    }
    page_free(&p);
    return status == RLV_DONE ? out_folder_finish(out, stream, error) : status;
}
