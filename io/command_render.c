#include "command.h"

#include "elements_work.h"
#include "history_articulation_sheets.h"
#include "history_rejoin_sheets.h"
#include "history_view.h"
#include "marks.h"
#include "specimen_choice.h"
#include "specimen_inputs.h"
#include "specimen_work.h"

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
        return rlv_fail(error, RLV_BAD_INPUT, NULL,
                        "say --picture comparison, depth, history, stage, plain, standing, bone-map, body-plan, "
                        "directions or joint",
                        "no picture is named");
    if (options->out == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say --out DIR", "there is no folder to write the picture to");
    history_sheet_kind kind = kind_of(options->picture);
    bool standing = kind == HISTORY_SHEET_STANDING, all = kind == HISTORY_SHEET_HISTORY,
         joint = kind == HISTORY_SHEET_JOINT,
         diagram = kind == HISTORY_SHEET_PLAN || kind == HISTORY_SHEET_DIRECTIONS || joint;
    if (joint != (options->piece != NULL))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, joint ? "say --piece ID" : "leave --piece out",
                        joint ? "--picture %s needs a piece" : "--picture %s is of no piece", options->picture);
    if ((all || standing || diagram) && options->stage != NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave it out, or ask for the picture stage",
                        joint      ? "--picture %s is of a piece, and takes no --stage"
                        : standing ? "--picture %s is of the last stage, and takes no --stage"
                                   : "--picture %s is of all stages, and takes no --stage",
                        options->picture);
    if (diagram && options->view != NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave it out, or ask for the picture bone-map",
                        "--picture %s is seen from no side, and takes no --view", options->picture);
    if (standing && options->view != NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave it out, or ask for the picture stage",
                        "--picture %s is seen from the front and from the side, and takes no --view", options->picture);
    if (!all && kind < HISTORY_SHEET_STANDING && options->stage == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say --stage ID", "--picture %s needs a stage", options->picture);
    return RLV_DONE;
}

/// The stage that was named, and for a step one that has a stage before it.
static rlv_status find_stage(history_sheet_order* order, const rlv_specimen* specimen, const char* id, rlv_error* error)
{
    bool of_step = order->kind == HISTORY_SHEET_COMPARISON || order->kind == HISTORY_SHEET_DEPTH;
    if (of_step && specimen->stage_count < 2)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder, "record the next stage, or ask for the picture stage",
                        "the specimen has a single stage, and no step to draw");
    return specimen_choose_stage(&order->stage, specimen, id, of_step ? 1 : 0, error);
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
    char scale[48];
    rlv_scale_words(scale, sizeof scale, sheet->scale);
    fprintf(answer->text, "%s/%s: %s x %s mm%s%s\n  %s\n", options->out, sheet->path,
            words_figures(sheet->paper_mm[0], 4).text, words_figures(sheet->paper_mm[1], 4).text,
            sheet->scale > 0.0 ? ", at " : "", sheet->scale > 0.0 ? scale : "", sheet->caption);
    snprintf(answer->next, sizeof answer->next,
             "print it at 100 %% and lay a ruler against its control length before you measure on it.");
}

/// A picture of the skeleton: its elements are measured and its order fitted for it.
static rlv_status draw_skeleton(elements_work* w, history_sheet_order* order, bool staged, rlv_answer* answer,
                                rlv_error* error)
{
    history_articulation articulation = {0};
    rlv_status status = elements_work_measure_read(w, answer, error);
    if (!staged)
        order->stage = articulation_sheet_stage(&w->of.history);
    if (status == RLV_DONE)
        status = history_articulation_measure(&articulation, &w->elements, answer, error);
    if (status == RLV_DONE)
        status = articulation_sheet_draw(&w->of.sheets, &articulation, order, answer, error);
    history_articulation_free(&articulation);
    return status;
}

/// A picture of a joint: its piece is put back for it.
static rlv_status draw_joint(specimen_work* w, const history_sheet_order* order, rlv_answer* answer, rlv_error* error)
{
    const history_options how = {.poses_only = true, .pieces = true};
    history_rejoin rejoin = {0};
    specimen_inputs(answer, &w->specimen);
    rlv_status status = history_measure(&w->history, &w->specimen, &how, answer, error);
    if (status == RLV_DONE)
        status = history_rejoin_measure(&rejoin, &w->history, &w->specimen.piece[order->stage], REJOIN_FILM_MM, answer,
                                        error);
    if (status == RLV_DONE)
        status = history_rejoin_sheet_draw(&w->sheets, &rejoin, order, answer, error);
    history_rejoin_free(&rejoin);
    specimen_inputs_within(answer, &w->specimen);
    return status;
}

/// A picture of stages or of steps.
static rlv_status draw_stages(specimen_work* w, const history_sheet_order* order, rlv_answer* answer, rlv_error* error)
{
    const history_options how = {.poses_only = order->kind == HISTORY_SHEET_STAGE ||
                                               order->kind == HISTORY_SHEET_PLAIN ||
                                               order->kind == HISTORY_SHEET_STANDING};
    specimen_inputs(answer, &w->specimen);
    rlv_status status = history_measure(&w->history, &w->specimen, &how, answer, error);
    if (status == RLV_DONE)
        status = history_sheet_draw(&w->sheets, &w->history, order, answer, error);
    specimen_inputs_within(answer, &w->specimen);
    return status;
}

rlv_status command_render(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    elements_work w = {0};
    specimen_work* of = &w.of;
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
    record_text(answer->parameters, "piece", options->piece);
    record_text(answer->parameters, "view", options->view);
    record_real(answer->parameters, "scale", options->scale > 0.0 ? options->scale : (double)NAN);
    status = rlv_specimen_read(&of->specimen, options->path[0], error);
    if (status == RLV_DONE)
        status = history_view_check(&of->specimen, options->view, error);
    if (status == RLV_DONE && options->stage != NULL)
        status = find_stage(&order, &of->specimen, options->stage, error);
    const rlv_piece_record* piece = NULL;
    if (status == RLV_DONE && options->piece != NULL)
    {
        status = history_rejoin_choose(&piece, &of->specimen, options->piece, error);
        order.stage = status == RLV_DONE ? (size_t)(piece - of->specimen.piece) : 0;
    }
    bool called_well = status == RLV_DONE;
    if (called_well && order.kind == HISTORY_SHEET_JOINT)
        status = draw_joint(of, &order, answer, error);
    else if (called_well)
        status = order.kind >= HISTORY_SHEET_BONES ? draw_skeleton(&w, &order, options->stage != NULL, answer, error)
                                                   : draw_stages(of, &order, answer, error);
    if (status == RLV_DONE)
        tell_picture(answer, options, &of->sheets.sheet[0]);
    else if (called_well && status == RLV_IMPOSSIBLE)
        record_null(answer->record, "picture");
    elements_work_free(&w);
    return status;
}
