#include "command.h"

#include "history_sheets.h"
#include "report_page.h"
#include "report_record.h"
#include "report_tables.h"
#include "report_words.h"
#include "specimen_inputs.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// All that the command holds.
typedef struct report
{
    rlv_specimen specimen;
    rlv_history history;
    report_tables tables;
    history_sheets sheets;
} report;

static void report_free(report* r)
{
    history_sheets_free(&r->sheets);
    report_tables_free(&r->tables);
    history_free(&r->history);
    rlv_specimen_free(&r->specimen);
}

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

static rlv_status keep(report* r, rlv_answer* answer, rlv_error* error)
{
    const report_page_source source = {&r->history, &r->tables, &r->sheets, answer};
    rlv_status status = report_tables_keep(&r->tables, &answer->folder, error);
    if (status == RLV_DONE)
        status = report_page_keep(&source, &answer->folder, "report.html", error);
    return status == RLV_DONE ? answer_keep_record(answer, "report.json", error) : status;
}

static void tell(rlv_answer* answer, const report* r)
{
    const report_lines lines = report_summary(&r->history);
    fprintf(answer->text, "%s%s%s: %s\n\n", r->specimen.id, r->specimen.title != NULL ? ", " : "",
            r->specimen.title != NULL ? r->specimen.title : "", words_count(r->history.stage_count, "stage").text);
    for (size_t i = 0; i < lines.count; i++)
        fprintf(answer->text, "  %-20s  %s\n", lines.line[i].name, lines.line[i].words.text);
    fputs("\n  What is called matrix may hold bone that had never shown: a mesh cannot tell.\n", answer->text);
    snprintf(answer->next, sizeof answer->next,
             "open %.300s/report.html; tables/ beside it has the same as CSV, report.json as JSON.",
             answer->folder.path);
}

/// Put what is known into the answer; where nothing could be measured that is the record alone.
static rlv_status put_all(report* r, rlv_answer* answer, bool measured, rlv_error* error)
{
    specimen_inputs_within(answer, &r->specimen);
    rlv_status status = measured ? history_sheets_draw(&r->sheets, &r->history, answer, error) : RLV_DONE;
    if (status != RLV_DONE)
        return status;
    rlv_tell(&answer->progress, "write the report", 0.0);
    r->tables = report_tables_of(&r->history, answer);
    report_record(answer->record, &r->history, &r->tables);
    record_pictures(answer->record, &r->sheets);
    tell(answer, r);
    return measured ? keep(r, answer, error) : RLV_DONE;
}

rlv_status command_report(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    report r = {0};
    const history_options how = {0};
    rlv_error ignored = {0};
    rlv_status status = rlv_specimen_read(&r.specimen, options->path[0], error);
    if (status == RLV_DONE)
        status = open_out(answer, options, error);
    if (status == RLV_DONE)
    {
        specimen_inputs(answer, &r.specimen);
        status = history_measure(&r.history, &r.specimen, &how, answer, error);
    }
    if (status == RLV_DONE)
        status = put_all(&r, answer, true, error);
    else if (status == RLV_IMPOSSIBLE && r.history.stage_count > 0)
        (void)put_all(&r, answer, false, &ignored);
    report_free(&r);
    return status;
}
