#include "command.h"

#include "history_sheets.h"
#include "history_view.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static history_sheet_kind kind_of(const char* name)
{
    int kind = 0;
    while (kind + 1 < HISTORY_SHEET_KINDS && strcmp(history_sheet_name((history_sheet_kind)kind), name) != 0)
        kind++;
    return (history_sheet_kind)kind;
}

static rlv_sheet_format format_of(const char* name)
{
    return name == NULL || strcmp(name, "png") == 0 ? RLV_SHEET_PNG
           : strcmp(name, "pdf") == 0               ? RLV_SHEET_PDF
                                                    : RLV_SHEET_SVG;
}

static rlv_status check_call(const rlv_options* options, rlv_error* error)
{
    if (options->picture == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say --picture comparison, depth, history or stage",
                        "no picture is named");
    if (options->out == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say --out DIR", "there is no folder to write the picture to");
    bool all = kind_of(options->picture) == HISTORY_SHEET_HISTORY;
    if (all && options->stage != NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave it out, or ask for the picture stage",
                        "--picture history shows all stages, and takes no --stage");
    if (!all && options->stage == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say --stage ID", "--picture %s needs a stage", options->picture);
    return RLV_DONE;
}

/// The ids of the stages from `first` on, as many as fit.
static void list_stages(char* into, size_t size, const char* lead, const rlv_specimen* specimen, size_t first)
{
    size_t put = (size_t)snprintf(into, size, "%s", lead);
    for (size_t i = first; i < specimen->stage_count; i++)
    {
        size_t length = strlen(specimen->stage[i].id);
        if (put + length + 8 > size)
        {
            snprintf(into + put, size - put, ", \xe2\x80\xa6");
            return;
        }
        put += (size_t)snprintf(into + put, size - put, "%s%s", i > first ? ", " : "", specimen->stage[i].id);
    }
}

/// The stage that was named, and for a step one that has a stage before it.
static rlv_status find_stage(history_sheet_order* order, const rlv_specimen* specimen, const char* id, rlv_error* error)
{
    char mend[512];
    bool of_step = order->kind == HISTORY_SHEET_COMPARISON || order->kind == HISTORY_SHEET_DEPTH;
    const rlv_stage_record* stage = rlv_specimen_stage(specimen, id);
    if (of_step && specimen->stage_count < 2)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder, "record the next stage, or ask for the picture stage",
                        "the specimen has a single stage, and no step to draw");
    list_stages(mend, sizeof mend, "say one of ", specimen, of_step ? 1 : 0);
    if (stage == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder, mend, "there is no stage '%.100s'", id);
    order->stage = (size_t)(stage - specimen->stage);
    if (of_step && order->stage == 0)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder, mend,
                        "'%.100s' is the first stage, and no step leads to it", id);
    return RLV_DONE;
}

/// The files of the record, as inputs.
static void record_files(rlv_answer* answer, const rlv_specimen* specimen)
{
    const char* const file[3][2] = {{"specimen.yaml", specimen->yaml_sha256},
                                    {"points.csv", specimen->points_sha256},
                                    {"elements.csv", specimen->elements_sha256}};
    for (size_t i = 0; i < 3; i++)
    {
        if (file[i][1][0] == '\0')
            continue;
        char* path = rlv_specimen_path(specimen, file[i][0]);
        json_t* row = record_row(answer->inputs);
        record_text(row, "path", path != NULL ? path : file[i][0]);
        record_text(row, "sha256", file[i][1]);
        free(path);
    }
}

static void tell_picture(rlv_answer* answer, const rlv_options* options, const history_sheet* sheet)
{
    json_t* picture = record_object(answer->record, "picture");
    record_text(picture, "path", sheet->path);
    record_text(picture, "format", options->format != NULL ? options->format : "png");
    record_real(picture, "width_mm", sheet->paper_mm[0]);
    record_real(picture, "height_mm", sheet->paper_mm[1]);
    record_real(picture, "scale", sheet->scale > 0.0 ? sheet->scale : (double)NAN);
    if (sheet->width > 0)
    {
        record_count(picture, "width_pixels", sheet->width);
        record_count(picture, "height_pixels", sheet->height);
    }
    record_text(picture, "caption", sheet->caption);
    record_text(picture, "alt", sheet->alt);
    fprintf(answer->text, "%s/%s: %s x %s mm\n  %s\n", options->out, sheet->path,
            words_figures(sheet->paper_mm[0], 4).text, words_figures(sheet->paper_mm[1], 4).text, sheet->caption);
    snprintf(answer->next, sizeof answer->next,
             "print it at 100 %% and lay a ruler against its control length before you measure on it.");
}

static rlv_status draw(const rlv_options* options, const rlv_specimen* specimen, const history_sheet_order* order,
                       rlv_answer* answer, rlv_error* error)
{
    rlv_history history = {0};
    history_sheets drawn = {0};
    const history_options how = {.poses_only = order->kind == HISTORY_SHEET_STAGE};
    rlv_status status = history_measure(&history, specimen, &how, answer, error);
    if (status == RLV_DONE)
        status = history_sheet_draw(&drawn, &history, order, answer, error);
    if (status == RLV_DONE)
        tell_picture(answer, options, &drawn.sheet[0]);
    else if (status == RLV_IMPOSSIBLE)
        record_null(answer->record, "picture");
    history_sheets_free(&drawn);
    history_free(&history);
    return status;
}

rlv_status command_render(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    rlv_specimen specimen = {0};
    rlv_status status = check_call(options, error);
    if (status != RLV_DONE)
        return status;
    history_sheet_order order = {.kind = kind_of(options->picture),
                                 .view = options->view,
                                 .scale = options->scale,
                                 .fit = options->fit,
                                 .format = format_of(options->format)};
    record_text(answer->parameters, "picture", options->picture);
    record_text(answer->parameters, "stage", options->stage);
    record_text(answer->parameters, "view", options->view);
    record_real(answer->parameters, "scale", options->scale > 0.0 ? options->scale : (double)NAN);
    status = rlv_specimen_read(&specimen, options->path[0], error);
    if (status == RLV_DONE)
        status = history_view_check(&specimen, options->view, error);
    if (status == RLV_DONE && options->stage != NULL)
        status = find_stage(&order, &specimen, options->stage, error);
    if (status == RLV_DONE)
        record_files(answer, &specimen);
    if (status == RLV_DONE)
        status = draw(options, &specimen, &order, answer, error);
    rlv_specimen_free(&specimen);
    return status;
}
