#include "history_sheet_job.h"

#include <stdlib.h>

const char* history_sheet_name(history_sheet_kind kind)
{
    static const char* const name[HISTORY_SHEET_KINDS] = {"comparison", "depth", "history", "stage"};
    return name[kind];
}

void history_sheets_free(history_sheets* sheets)
{
    for (size_t i = 0; i < sheets->count; i++)
    {
        free(sheets->sheet[i].path);
        free(sheets->sheet[i].print);
        free(sheets->sheet[i].caption);
        free(sheets->sheet[i].alt);
    }
    free(sheets->sheet);
    *sheets = (history_sheets){0};
}

rlv_status history_sheet_draw(history_sheets* drawn, const rlv_history* history, const history_sheet_order* order,
                              rlv_answer* answer, rlv_error* error)
{
    sheet_job job = {.drawn = drawn, .history = history, .order = *order, .answer = answer};
    if (order->kind == HISTORY_SHEET_STAGE)
        return sheet_of_stages(job, error);
    if (order->kind == HISTORY_SHEET_HISTORY)
    {
        job.order.stage = history->stage_count - 1;
        if (!history->joined)
            return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "draw its stages one by one",
                            "the stages are not in one frame: %.400s", history->apart);
        return sheet_of_stages(job, error);
    }
    const history_step* step = &history->step[order->stage - 1];
    if (!step->measured)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "draw its stages one by one",
                        "the step to %.100s was not measured: %.300s", history->stage[order->stage].record->id,
                        step->why);
    history_scene scene = {0};
    rlv_status status = history_scene_make(&scene, history, step, error);
    if (status == RLV_DONE)
        status = sheet_of_step(job, &scene, error);
    history_scene_free(&scene);
    return status;
}

static rlv_status draw_both(history_sheets* drawn, const rlv_history* history, size_t index, rlv_answer* answer,
                            rlv_error* error)
{
    static const history_sheet_kind kind[2] = {HISTORY_SHEET_COMPARISON, HISTORY_SHEET_DEPTH};
    history_scene scene = {0};
    rlv_status status = history_scene_make(&scene, history, &history->step[index], error);
    for (size_t k = 0; k < 2 && status == RLV_DONE; k++)
    {
        sheet_job job = {.drawn = drawn, .history = history, .all = true, .answer = answer};
        job.order = (history_sheet_order){.kind = kind[k], .stage = index + 1};
        rlv_tell(&answer->progress, "sheets", ((double)index + 0.5 * (double)k) / (double)(history->step_count + 1));
        status = sheet_of_step(job, &scene, error);
    }
    history_scene_free(&scene);
    return status;
}

rlv_status history_sheets_draw(history_sheets* drawn, const rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < history->step_count && status == RLV_DONE; i++)
        if (history->step[i].measured)
            status = draw_both(drawn, history, i, answer, error);
    if (status != RLV_DONE)
        return status;
    if (!history->joined)
    {
        answer_warn(answer, "there is no sheet of all stages, since they are not in one frame");
        return RLV_DONE;
    }
    sheet_job job = {.drawn = drawn, .history = history, .all = true, .answer = answer};
    job.order = (history_sheet_order){.kind = HISTORY_SHEET_HISTORY, .stage = history->stage_count - 1};
    rlv_tell(&answer->progress, "sheets", (double)history->step_count / (double)(history->step_count + 1));
    return sheet_of_stages(job, error);
}
