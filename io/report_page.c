#include "report_page_parts.h"

#include "marks.h"
#include "rejoin_words.h"
#include "report_findings.h"
#include "report_place.h"
#include "report_words.h"
#include "sheet.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

typedef report_page_source source_of;

// --- What the page's files share -------------------------------------------------------------------------------------

bool report_page_table(rlv_page* p, const source_of* s, report_table which)
{
    const rlv_table* t = &s->tables->table[which];
    if (table_rows(t) > 0)
        page_table(p, t, report_table_path(t).text);
    return table_rows(t) > 0;
}

void report_page_table_or(rlv_page* p, const source_of* s, report_table which, const char* without)
{
    if (!report_page_table(p, s, which))
        page_paragraph(p, without);
}

/// What printf makes of it, on the heap; NULL, and told to the page, without memory.
__attribute__((format(printf, 2, 0))) static char* print(rlv_page* p, const char* format, va_list list)
{
    char* text = NULL;
    if (vasprintf(&text, format, list) >= 0)
    {
        rlv_whole_letters(text);
        return text;
    }
    p->out_of_memory = true;
    return NULL;
}

void report_page_say(rlv_page* p, const char* format, ...)
{
    va_list list;
    va_start(list, format);
    char* text = print(p, format, list);
    va_end(list);
    if (text != NULL)
        page_paragraph(p, text);
    free(text);
}

void report_page_tell(rlv_page* p, const char* name, const char* format, ...)
{
    va_list list;
    va_start(list, format);
    char* text = print(p, format, list);
    va_end(list);
    if (text != NULL)
        page_fact(p, name, text);
    free(text);
}

/// A page shows a sheet smaller than it is: where it is whole, at what scale, and on what paper, by the file's name
/// too, which print has no link for.
static void say_where_whole(char* text, size_t size, const history_sheet* sheet)
{
    char scale[48];
    const rlv_paper paper = rlv_paper_holding(sheet->paper_mm[0], sheet->paper_mm[1], 4);
    rlv_scale_words(scale, sizeof scale, sheet->scale);
    if (sheet->print == NULL)
        snprintf(text, size, "%s", sheet->caption);
    else
        snprintf(text, size, "%s Reduced here; %s%son paper %s × %s mm (%s): %s", sheet->caption,
                 sheet->scale > 0.0 ? scale : "whole ", sheet->scale > 0.0 ? " " : "",
                 words_number(sheet->paper_mm[0], 0).text, words_number(sheet->paper_mm[1], 0).text, paper.name,
                 sheet->print);
}

static void put_picture(rlv_page* p, const history_sheet* sheet)
{
    char caption[2400];
    say_where_whole(caption, sizeof caption, sheet);
    const page_picture picture = {.path = sheet->path,
                                  .alt = sheet->alt,
                                  .caption = caption,
                                  .width = (unsigned)sheet->width,
                                  .height = (unsigned)sheet->height,
                                  .full = sheet->print,
                                  .full_words = sheet->print != NULL ? "for print, at its true scale (PDF)" : NULL};
    page_figure(p, &picture);
}

void report_page_pictures(rlv_page* p, const history_sheets* sheets, history_sheet_kind kind, size_t stage)
{
    for (size_t i = 0; i < sheets->count; i++)
        if (sheets->sheet[i].kind == kind && sheets->sheet[i].stage == stage && sheets->sheet[i].width > 0)
            put_picture(p, &sheets->sheet[i]);
}

void report_page_caution(rlv_page* p, const rlv_history* history, report_caution caution)
{
    static const struct
    {
        page_box_kind kind;
        const char* text;
    } caution_text[] = {
        [REPORT_CAUTION_CUT] = {PAGE_CAUTION,
                                "What has been cut cannot be put back. Bone that never showed cannot be told from "
                                "matrix by a mesh: check every region against the specimen, the small ones first."},
        [REPORT_CAUTION_DUST] =
            {PAGE_WARNING,
             "Dust: stone dust can hold silica, and every millilitre removed is dust made. Solvents, resins and acids "
             "harm too. Local exposure limits and the maker’s data sheets decide what to wear and how to work."},
        [REPORT_CAUTION_LIFTING] = {PAGE_WARNING,
                                    "Lifting: a block can tip or part along a joint, and its centre of mass moves as "
                                    "matrix comes off. A qualified person decides how it is lifted and held."},
    };
    const report_text back = caution == REPORT_CAUTION_LIFTING ? report_put_back(history) : (report_text){""};
    char text[sizeof back + 512];
    rlv_print(text, sizeof text, "%s%s%s%s", caution_text[caution].text, back.text[0] != '\0' ? "\n" : "", back.text,
              back.text[0] != '\0' ? "." : "");
    page_box(p, caution_text[caution].kind, text);
}

// --- Summary ---------------------------------------------------------------------------------------------------------

static void put_lines(rlv_page* p, const report_lines* lines)
{
    for (size_t i = 0; i < lines->count; i++)
        page_fact(p, lines->line[i].name, lines->line[i].words.text);
}

/// All warnings in one box, a line with a bullet each.
static void put_warnings(rlv_page* p, const rlv_answer* answer)
{
    char* text = NULL;
    size_t size = 0, count = json_array_size(answer->warnings);
    FILE* stream = count > 0 ? open_memstream(&text, &size) : NULL;
    if (stream != NULL)
        fputs("Before these figures are used:\n", stream);
    for (size_t i = 0; i < count && stream != NULL; i++)
        fprintf(stream, "%s• %s.", i > 0 ? "\n" : "", json_string_value(json_array_get(answer->warnings, i)));
    if (stream != NULL && fclose(stream) == 0)
        page_box(p, PAGE_CAUTION, text);
    else if (count > 0)
        p->out_of_memory = true;
    free(text);
}

static void put_alarms(rlv_page* p, const report_lines* lines)
{
    for (size_t i = 0; i < lines->count; i++)
        if (lines->line[i].alarm)
        {
            char text[1200];
            snprintf(text, sizeof text, "%s: %s.", lines->line[i].name, lines->line[i].words.text);
            page_box(p, PAGE_WARNING, text);
        }
}

static void put_findings(rlv_page* p, const source_of* s)
{
    report_findings found = {0};
    report_findings_find(&found, s->history, s->skeleton, s->rejoin);
    page_section(p, "next", "What next");
    page_paragraph(p, found.count > 0 ? "What the figures ask to be looked at, and what would make them surer. How to "
                                        "work is the trade’s own: nothing here says."
                                      : "Nothing was found that asks for another look.");
    for (size_t i = 0; i < found.count; i++)
    {
        const report_finding* one = &found.one[i];
        if (i == 0 || found.one[i - 1].kind != one->kind)
            page_part(p, report_finding_key(one->kind), report_finding_heading(one->kind));
        report_page_tell(p, one->at.text[0] != '\0' ? one->at.text : one->of.text, "%s.", one->words.text);
    }
    p->out_of_memory = p->out_of_memory || found.out_of_memory;
    report_findings_free(&found);
}

static void put_reading(rlv_page* p)
{
    page_part(p, "reading", "How to read these figures");
    page_fact(p, "Interval",
              "A figure stands before its interval: 12 mL (11 to 13 mL) means that the truth lies between 11 and 13 in "
              "95 cases of 100, as far as the scans tell. Where nothing was found, the upper end is a bound: "
              "what a film just thinner than the detection limit would come to, were it on all of the surface.");
    page_fact(
        p, "sd",
        "Standard deviation: how unsure a figure is. Its 95 % interval reaches about two of them to either side.");
    page_fact(p, "Matrix",
              "What went and was not marked as bone, or as a piece, on the mesh before. It may hold bone that had "
              "never shown: a mesh cannot tell the two apart.");
    page_fact(p, "Bone lost", "What went from bone that showed, and was marked, on the mesh before.");
    page_fact(p, "Region", "A stretch of surface that changed as one.");
    page_fact(
        p, "Nearest bone",
        "Of a region: how far it was, at the least, from bone that showed before or after the step and was marked "
        "there. Bone that came to light later is not among it, and may lie nearer.");
    page_fact(p, "Depth",
              "How far the surface went down, from where it was before to where it is after, straight into the block "
              "(square to the surface as it was). Mean depth is volume over area. Where material came, it is how far "
              "the surface rose.");
    page_fact(p, "Detection limit",
              "How deep a change must be to be told from the noise of two scans; the wider it is, the shallower it may "
              "be. Below that it is neither told nor denied.");
    page_fact(p, "Not told apart",
              "What the two meshes differ by outside all regions, added up: what went is positive. Noise, or change "
              "too thin to be told place by place.");
}

static void put_map_reading(rlv_page* p, const rlv_history* history)
{
    const report_lines lines = report_map_reading(history);
    if (lines.count == 0)
        return;
    page_part(p, "maps", "How to read the maps");
    for (size_t i = 0; i < lines.count; i++)
        report_page_tell(p, lines.line[i].name, "%s.", lines.line[i].words.text);
}

/// Whether each piece goes back, and what it takes to fill its joint.
static void put_pieces_back(rlv_page* p, const source_of* s)
{
    for (size_t k = 0; s->rejoin != NULL && k < s->rejoin->count; k++)
    {
        const rejoin_told* told = &s->rejoin->one[k].told;
        const report_text back = rejoin_back(told);
        report_text gap = {""};
        if (told->measured)
            gap = report_say(". Closed, the gap between the faces would take %s to fill",
                             report_interval(report_in_ml(told->of.gap_after.volume_mm3), "mL").text);
        report_page_tell(p, "Piece put back", "%s: %s%s%s%s", told->piece.name, back.text,
                         back.text[0] != '\0' ? "; " : "", rejoin_verdict(told).text, gap.text);
    }
}

static const history_sheet* newest_of(const history_sheets* sheets, history_sheet_kind kind)
{
    const history_sheet* newest = NULL;
    for (size_t i = 0; i < sheets->count; i++)
        if (sheets->sheet[i].kind == kind && sheets->sheet[i].width > 0 &&
            (newest == NULL || sheets->sheet[i].stage >= newest->stage))
            newest = &sheets->sheet[i];
    return newest;
}

/// The views of a sheet, as a part of it.
static void part_of(double part[2][2], const history_sheet* sheet)
{
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2 && sheet->views_mm[0][0] < sheet->views_mm[1][0]; k++)
            part[i][k] = fmin(fmax(sheet->views_mm[i][k] / sheet->paper_mm[k], 0.0), 1.0);
}

/// One picture says what the page is about: the bone map, or else the block alone, or as it stands, or what changed
/// last.
static void put_opening(rlv_page* p, const history_sheets* sheets)
{
    static const history_sheet_kind choice[] = {HISTORY_SHEET_BONES, HISTORY_SHEET_PLAIN, HISTORY_SHEET_STANDING,
                                                HISTORY_SHEET_COMPARISON};
    const history_sheet* sheet = NULL;
    for (size_t i = 0; i < sizeof choice / sizeof *choice && sheet == NULL; i++)
        sheet = newest_of(sheets, choice[i]);
    if (sheet == NULL)
        return;
    char caption[2400];
    rlv_print(caption, sizeof caption, "%s It stands whole in its section, with its key.", sheet->caption);
    page_picture picture = {.path = sheet->path,
                            .alt = sheet->alt,
                            .caption = caption,
                            .width = (unsigned)sheet->width,
                            .height = (unsigned)sheet->height,
                            .full = sheet->print,
                            .full_words = sheet->print != NULL ? "for print, at its true scale (PDF)" : NULL,
                            .opening = true};
    part_of(picture.part, sheet);
    page_figure(p, &picture);
}

static void put_summary(rlv_page* p, const source_of* s)
{
    const report_lines lines = report_summary(s->history);
    page_section(p, "summary", "In short");
    put_alarms(p, &lines);
    put_opening(p, s->sheets);
    put_warnings(p, s->answer);
    put_lines(p, &lines);
    put_pieces_back(p, s);
    if (s->skeleton->judged)
    {
        const report_lines skeleton = articulation_summary(&s->skeleton->articulation);
        put_lines(p, &skeleton);
    }
    page_part(p, "went", "What went at each step");
    report_page_table_or(p, s, REPORT_VOLUMES, "One stage is recorded: nothing can have changed yet.");
    put_reading(p);
    put_map_reading(p, s->history);
}

// --- Changes ---------------------------------------------------------------------------------------------------------

static void put_work(rlv_page* p, const rlv_stage_record* stage)
{
    char* text = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&text, &size);
    for (size_t i = 0; i < stage->work_count && stream != NULL; i++)
        fprintf(stream, "%s%s %s h%s%s", i > 0 ? "; " : "", stage->work[i].tool,
                words_recorded(stage->work[i].hours).text, stage->work[i].area != NULL ? " on " : "",
                stage->work[i].area != NULL ? stage->work[i].area : "");
    if (stream != NULL && fclose(stream) == 0)
        page_fact(p, "Work", stage->work_count > 0 ? text : "hours: not recorded");
    else
        p->out_of_memory = true;
    free(text);
}

static void put_decisions(rlv_page* p, const rlv_stage_record* stage)
{
    for (size_t i = 0; i < stage->decision_count; i++)
        report_page_tell(p, "Decided", "%s, since %s", stage->decision[i].what, stage->decision[i].why);
}

static void put_treatments(rlv_page* p, const rlv_stage_record* stage)
{
    for (size_t i = 0; i < stage->treatment_count; i++)
    {
        const rlv_treatment_record* t = &stage->treatment[i];
        report_page_tell(p, "Treated", "%s%s%s%s%s", t->what, t->material != NULL ? ": " : "",
                         t->material != NULL ? t->material : "", t->area != NULL ? ", on " : "",
                         t->area != NULL ? t->area : "");
    }
}

/// What somebody wrote down at a stage.
static void put_note(rlv_page* p, const rlv_stage_record* stage)
{
    char name[128];
    rlv_print(name, sizeof name, "Note at ‘%.100s’", stage->id);
    if (stage->note != NULL)
        page_fact(p, name, stage->note);
}

/// What the record tells of a stage: what was done, when, and why.
static void put_story(rlv_page* p, const rlv_stage_record* stage, bool worked)
{
    if (stage->title != NULL || stage->date != NULL)
        report_page_tell(p, "Stage", "%s%s%s", stage->title != NULL ? stage->title : stage->id,
                         stage->date != NULL ? ", " : "", stage->date != NULL ? stage->date : "");
    if (worked)
        put_work(p, stage);
    put_decisions(p, stage);
    put_treatments(p, stage);
}

static void put_step_table(rlv_page* p, const source_of* s, size_t which)
{
    char caption[1200];
    snprintf(caption, sizeof caption, "What changed from %s, region by region",
             report_step_name(s->history, which).text);
    rlv_table t = report_regions_of_step(s->history, which, true, caption);
    page_table(p, &t, report_table_path(&s->tables->table[REPORT_REGIONS]).text);
    table_free(&t);
}

/// What was measured at a step; what somebody noted stands beside what became of the bone.
static void put_measured(rlv_page* p, const source_of* s, size_t which)
{
    const report_lines lines = report_step(s->history, which);
    for (size_t i = 0; i < lines.count; i++)
    {
        page_fact(p, lines.line[i].name, lines.line[i].words.text);
        if (i == 0) // bone lost comes first
            put_note(p, s->history->stage[s->history->step[which].after].record);
    }
}

static void put_step(rlv_page* p, const source_of* s, size_t which)
{
    const history_step* step = &s->history->step[which];
    const rlv_stage_record* after = s->history->stage[step->after].record;
    char id[64];
    snprintf(id, sizeof id, "step-%zu", which + 1);
    page_part(p, id, report_step_name(s->history, which).text);
    put_story(p, after, true);
    if (!step->measured)
    {
        put_note(p, after);
        report_page_say(p, "Not measured: %s.", step->why);
        return;
    }
    put_measured(p, s, which);
    put_step_table(p, s, which);
    page_paragraph(p, report_limits(s->history, which).text);
    report_page_pictures(p, s->sheets, HISTORY_SHEET_COMPARISON, step->after);
    report_page_pictures(p, s->sheets, HISTORY_SHEET_DEPTH, step->after);
}

static void put_changes(rlv_page* p, const source_of* s)
{
    const rlv_stage_record* first = s->history->stage[0].record;
    page_section(p, "changes", "Step by step");
    report_page_caution(p, s->history, REPORT_CAUTION_CUT);
    page_paragraph(p,
                   "In the tables, hours, grams weighed and mL/h are of an area of work as a whole, or of the step "
                   "where no area was named; they stand once, at its largest region. An area is what changed deeper "
                   "than the detection limit, or than half of the mean depth where that is less. No mean depth is "
                   "told where most of a region lies on the surface after, or where no area is sure; no mass where "
                   "no density is recorded. The square is that of a region’s middle; where it is deepest has its own. "
                   "Nearest bone is told from where the surface went down that deep, as it was before, to bone that "
                   "is marked before or after: a region’s margin, which noise draws, is not in it.");
    report_page_pictures(p, s->sheets, HISTORY_SHEET_HISTORY, s->history->stage_count - 1);
    page_part(p, "step-0", first->id);
    put_story(p, first, false);
    put_note(p, first);
    if (s->history->step_count == 0)
        page_paragraph(p, "One stage is recorded: nothing can have changed yet.");
    for (size_t i = 0; i < s->history->step_count; i++)
        put_step(p, s, i);
}

// --- What is left, and whether it balances ---------------------------------------------------------------------------

static void put_rates(rlv_page* p, const source_of* s)
{
    page_part(p, "rates", "Rates by tool");
    if (!report_page_table(p, s, REPORT_RATES))
    {
        page_paragraph(p, "Hours: not recorded.");
        return;
    }
    if (!s->history->rates.scatter_known)
        page_paragraph(p, "There are no more steps than tools, so that how much one hour differs from another cannot "
                          "be told: the intervals hold the measurement alone.");
    else
        report_page_say(p,
                        "One hour differs from another by about %s mL (sd), whatever the tool. A rate that the "
                        "recorded steps do not tell has none.",
                        words_figures(s->history->rates.scatter_ml, 2).text);
}

static void put_left(rlv_page* p, const source_of* s)
{
    page_section(p, "left", "What is left in the block");
    page_fact(p, "Volume", report_left(s->history).text);
    page_fact(p, "Mass", report_weight(s->history).text);
    page_fact(p, "Size", report_size(s->history).text);
    report_page_caution(p, s->history, REPORT_CAUTION_LIFTING);
    report_page_pictures(p, s->sheets, HISTORY_SHEET_STANDING, s->history->stage_count - 1);
    report_page_pictures(p, s->sheets, HISTORY_SHEET_PLAIN, s->history->stage_count - 1);
    if (report_page_table(p, s, REPORT_LEFT))
        page_box(p, PAGE_NOTE,
                 "This is arithmetic on your own recorded rates: the whole volume over a rate. It is no plan and no "
                 "advice; most of a block is never taken off, and none of its bone.");
    put_rates(p, s);
}

static void put_ledger(rlv_page* p, const source_of* s)
{
    page_section(p, "ledger", "Does it balance?");
    if (s->history->row == NULL)
    {
        page_paragraph(p, "There is nothing to add up.");
        return;
    }
    page_paragraph(p, "Two checks that do not hang on each other. The first is of scales alone: what the block lost in "
                      "weight against what was kept. The second holds the meshes against the scales. It closes where "
                      "nothing lies within the interval of what is unexplained.");
    report_page_table(p, s, REPORT_MASS_BALANCE);
    report_page_table(p, s, REPORT_SPOIL_BALANCE);
    page_part(p, "grams", "Grams, and sums so far");
    page_paragraph(
        p, "A class of which no region was found is told as none, with an upper end that is no interval’s: it is, at "
           "most, what the detection limit leaves room for.");
    report_page_table(p, s, REPORT_MASSES);
    report_page_table(p, s, REPORT_VOLUMES_SO_FAR);
    report_page_table(p, s, REPORT_MASSES_SO_FAR);
}

// --- All -------------------------------------------------------------------------------------------------------------

static report_text title_of(const rlv_specimen* specimen)
{
    report_text title;
    const bool both = specimen->title != NULL && !words_say_id(specimen->title, specimen->id);
    rlv_print(title.text, sizeof title.text, "%.200s%s%.500s", both || specimen->title == NULL ? specimen->id : "",
              both ? ": " : "", specimen->title != NULL ? specimen->title : "");
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
    put_findings(p, s);
    put_changes(p, s);
    put_left(p, s);
    report_skeleton_put(p, s->skeleton, s->sheets);
    report_rejoin_put(p, s->rejoin, s->sheets);
    put_ledger(p, s);
    report_page_recorded(p, s);
    report_page_technical(p, s);
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
        status = page_write(
            &p, "Made by rilievo " RLV_VERSION ". A figure here is advice to a trained person, not a certificate.",
            stream, out->file[out->file_count - 1].path, error);
    }
    page_free(&p);
    return status == RLV_DONE ? out_folder_finish(out, stream, error) : status;
}
