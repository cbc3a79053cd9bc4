#include "command.h"

#include "history_articulation_sheets.h"
#include "history_rejoin_sheets.h"
#include "rejoin_words.h"
#include "report_page.h"
#include "report_record.h"
#include "specimen_inputs.h"
#include "specimen_work.h"

#include <math.h>
#include <stdlib.h>

/// The folder of --out, or SPECIMEN/out. It is replaced whole, and so has to be one that a report was written to.
static rlv_status open_out(rlv_answer* answer, const rlv_options* options, rlv_error* error)
{
    char* path = NULL;
    if (options->out != NULL)
        return out_folder_open_whole(&answer->folder, options->out, "report.html", error);
    if (asprintf(&path, "%s/out", options->path[0]) < 0)
        return rlv_fail(error, RLV_SYSTEM, options->path[0], "close other programs", "no memory for a name");
    rlv_status status = out_folder_open_whole(&answer->folder, path, "report.html", error);
    free(path);
    return status;
}

static void record_pictures(json_t* record, const history_sheets* sheets)
{
    json_t* list = record_list(record, "pictures");
    for (size_t i = 0; i < sheets->count; i++)
    {
        const history_sheet* sheet = &sheets->sheet[i];
        json_t* row = record_row(list);
        record_text(row, "path", sheet->path);
        record_text(row, "print", sheet->print);
        record_text(row, "caption", sheet->caption);
        record_text(row, "alt", sheet->alt);
        record_count(row, "width_px", sheet->width);
        record_count(row, "height_px", sheet->height);
        record_real(row, "scale", sheet->scale > 0.0 ? sheet->scale : (double)NAN);
    }
}

/// All that the command holds.
typedef struct work
{
    specimen_work of;
    report_skeleton skeleton;
    report_rejoin rejoin;
} work;

static void work_free(work* w)
{
    report_rejoin_free(&w->rejoin);
    report_skeleton_free(&w->skeleton);
    specimen_work_free(&w->of);
}

/// The tables of the skeleton and of the pieces, after those of the history.
static rlv_status keep_tables(work* w, rlv_answer* answer, rlv_error* error)
{
    rlv_table more[SKELETON_TABLES + REPORT_REJOIN_TABLES];
    size_t count = 0;
    for (size_t i = 0; i < SKELETON_TABLES && w->skeleton.measured; i++)
        more[count++] = w->skeleton.table[i];
    for (size_t i = 0; i < w->rejoin.table_count; i++)
        more[count++] = w->rejoin.table[i];
    return report_tables_keep(&w->of.tables, count, more, &answer->folder, error);
}

static rlv_status keep(work* w, rlv_answer* answer, rlv_error* error)
{
    const report_page_source source = {&w->of.history, &w->of.tables, &w->of.sheets, answer, &w->skeleton, &w->rejoin};
    rlv_status status = keep_tables(w, answer, error);
    if (status == RLV_DONE)
        status = report_page_keep(&source, &answer->folder, "report.html", error);
    return status == RLV_DONE ? answer_keep_record(answer, "report.json", error) : status;
}

static void tell(rlv_answer* answer, const work* w)
{
    const rlv_history* history = &w->of.history;
    const report_lines lines = report_summary(history);
    specimen_tell_heading(answer->text, &w->of.specimen, words_count(history->stage_count, "stage").text);
    fputc('\n', answer->text);
    specimen_tell_lines(answer->text, &lines);
    if (w->skeleton.judged)
    {
        const report_lines skeleton = articulation_summary(&w->skeleton.articulation);
        specimen_tell_lines(answer->text, &skeleton);
    }
    report_rejoin_tell(answer->text, &w->rejoin);
    fputs("\n  What is called matrix may hold bone that had never shown: a mesh cannot tell.\n", answer->text);
    rlv_print(answer->next, sizeof answer->next,
              "open %.300s/report.html; tables/ beside it has the same as CSV, report.json as JSON.",
              answer->folder.path);
}

/// The pictures of all that was measured.
static rlv_status draw(work* w, rlv_answer* answer, rlv_error* error)
{
    enum
    {
        SUBJECTS = 3,
    };
    history_sheets_plan plan[SUBJECTS];
    size_t count = 0;
    plan[count++] = history_sheets_of_all(&w->of.history, answer);
    if (w->skeleton.judged)
        plan[count++] = articulation_sheets_of_all(&w->skeleton.articulation);
    plan[count++] = history_rejoin_sheets_of_all(w->rejoin.count, w->rejoin.one);
    return history_sheets_draw(&w->of.sheets, count, plan, answer, error);
}

/// Put what is known into the answer; where nothing could be measured that is the record alone.
static rlv_status put_all(work* w, rlv_answer* answer, bool measured, rlv_error* error)
{
    specimen_work* of = &w->of;
    specimen_inputs_within(answer, &of->specimen);
    const rlv_status status = measured ? draw(w, answer, error) : RLV_DONE;
    if (status != RLV_DONE)
        return status;
    rlv_tell(&answer->progress, "write the report", 0.0);
    of->tables = report_tables_of(&of->history, answer);
    report_record(answer->record, &of->history, &of->tables, &w->skeleton, &w->rejoin);
    report_rejoin_record(answer->record, &w->rejoin);
    record_pictures(answer->record, &of->sheets);
    tell(answer, w);
    return measured ? keep(w, answer, error) : RLV_DONE;
}

rlv_status command_report(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    work w = {0};
    const history_options how = {0};
    rlv_error ignored = {0};
    rlv_status status = rlv_specimen_read(&w.of.specimen, options->path[0], error);
    if (status == RLV_DONE)
        status = open_out(answer, options, error);
    if (status == RLV_DONE)
    {
        specimen_inputs(answer, &w.of.specimen);
        status = history_measure(&w.of.history, &w.of.specimen, &how, answer, error);
    }
    if (status == RLV_DONE)
        status = report_skeleton_measure(&w.skeleton, &w.of.history, answer, error);
    if (status == RLV_DONE)
        status = report_rejoin_measure(&w.rejoin, &w.of.history, answer, error);
    if (status == RLV_DONE)
        status = put_all(&w, answer, true, error);
    else if (status == RLV_IMPOSSIBLE && w.of.history.stage_count > 0)
        (void)put_all(&w, answer, false, &ignored);
    work_free(&w);
    return status;
}
