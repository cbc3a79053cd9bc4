#include "history_sheet_job.h"

#include "side_by_side.h"

#include <stdlib.h>

const char* history_sheet_name(history_sheet_kind kind)
{
    static const char* const name[HISTORY_SHEET_KINDS] = {"comparison", "depth",     "history",    "stage",
                                                          "bone-map",   "body-plan", "directions", "joint"};
    return name[kind];
}

static void free_entry(history_sheet* entry)
{
    free(entry->path);
    free(entry->print);
    free(entry->caption);
    free(entry->alt);
}

void history_sheets_free(history_sheets* sheets)
{
    for (size_t i = 0; i < sheets->count; i++)
        free_entry(&sheets->sheet[i]);
    free(sheets->sheet);
    *sheets = (history_sheets){0};
}

// --- Drawn, and then kept --------------------------------------------------------------------------------------------

void sheet_free_drawn(drawn_sheet* drawn)
{
    free_entry(&drawn->entry);
    free(drawn->bytes[0]);
    free(drawn->bytes[1]);
    *drawn = (drawn_sheet){0};
}

static rlv_status write_file(out_folder* folder, const char* path, const char* bytes, size_t size, rlv_error* error)
{
    FILE* stream = NULL;
    rlv_status status = out_folder_add(folder, path, &stream, error);
    if (status != RLV_DONE)
        return status;
    (void)fwrite(bytes, 1, size, stream); // what does not fit is told when it is finished
    return out_folder_finish(folder, stream, error);
}

rlv_status sheet_keep_drawn(history_sheets* list, drawn_sheet* drawn, rlv_answer* answer, rlv_error* error)
{
    const history_sheet* entry = &drawn->entry;
    rlv_status status = write_file(&answer->folder, entry->path, drawn->bytes[0], drawn->size[0], error);
    if (status == RLV_DONE && entry->print != NULL)
        status = write_file(&answer->folder, entry->print, drawn->bytes[1], drawn->size[1], error);
    if (status != RLV_DONE)
        return status;
    if (drawn->left_out > 0)
        answer_warn(answer, "%s: %s found no room", entry->path, words_count(drawn->left_out, "label").text);
    history_sheet* more = realloc(list->sheet, (list->count + 1) * sizeof *more);
    if (more == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a list of pictures");
    list->sheet = more;
    list->sheet[list->count++] = *entry;
    drawn->entry = (history_sheet){0};
    sheet_free_drawn(drawn);
    return RLV_DONE;
}

static rlv_status draw_step(drawn_sheet* drawn, const rlv_history* history, const history_sheet_order* order,
                            rlv_error* error)
{
    const history_step* step = &history->step[order->stage - 1];
    if (!step->measured)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "draw its stages one by one",
                        "the step to %.100s was not measured: %.300s", history->stage[order->stage].record->id,
                        step->why);
    history_scene scene = {0};
    sheet_job job = {.drawn = drawn, .history = history, .order = *order};
    rlv_status status = history_scene_make(&scene, history, step, error);
    if (status == RLV_DONE)
        status = sheet_of_step(job, &scene, error);
    history_scene_free(&scene);
    return status;
}

static rlv_status draw_one(drawn_sheet* drawn, const rlv_history* history, const history_sheet_order* order,
                           rlv_error* error)
{
    sheet_job job = {.drawn = drawn, .history = history, .order = *order};
    if (order->kind == HISTORY_SHEET_STAGE)
        return sheet_of_stages(job, error);
    if (order->kind != HISTORY_SHEET_HISTORY)
        return draw_step(drawn, history, order, error);
    job.order.stage = history->stage_count - 1;
    if (!history->joined)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "draw its stages one by one",
                        "the stages are not in one frame: %.400s", history->apart);
    return sheet_of_stages(job, error);
}

rlv_status history_sheet_draw(history_sheets* list, const rlv_history* history, const history_sheet_order* order,
                              rlv_answer* answer, rlv_error* error)
{
    drawn_sheet drawn = {0};
    rlv_status status = draw_one(&drawn, history, order, error);
    if (status == RLV_DONE)
        status = sheet_keep_drawn(list, &drawn, answer, error);
    sheet_free_drawn(&drawn);
    return status;
}

// --- All of them -----------------------------------------------------------------------------------------------------

/// Two sheets a step, which share a scene; and last the one of all stages.
typedef struct all_sheets
{
    const rlv_history* history;
    drawn_sheet* drawn;
} all_sheets;

static rlv_status draw_some(void* user, size_t index, const rlv_progress* progress, rlv_error* error)
{
    static const history_sheet_kind kind[2] = {HISTORY_SHEET_COMPARISON, HISTORY_SHEET_DEPTH};
    const all_sheets* all = user;
    const rlv_history* history = all->history;
    sheet_job job = {.history = history, .all = true, .drawn = all->drawn + 2 * index};
    (void)progress;
    if (index == history->step_count)
    {
        job.order = (history_sheet_order){.kind = HISTORY_SHEET_HISTORY, .stage = history->stage_count - 1};
        return history->joined ? sheet_of_stages(job, error) : RLV_DONE;
    }
    if (!history->step[index].measured)
        return RLV_DONE;
    history_scene scene = {0};
    rlv_status status = history_scene_make(&scene, history, &history->step[index], error);
    for (size_t k = 0; k < 2 && status == RLV_DONE; k++, job.drawn++)
    {
        job.order = (history_sheet_order){.kind = kind[k], .stage = index + 1};
        status = sheet_of_step(job, &scene, error);
    }
    history_scene_free(&scene);
    return status;
}

rlv_status sheet_open_fonts(rlv_error* error)
{
    rlv_sheet sheet = {0};
    rlv_status status = rlv_sheet_reserve(&sheet, 10.0, 10.0, error);
    for (int bold = 0; bold < 2 && status == RLV_DONE; bold++)
        (void)rlv_sheet_text(&sheet, "A", 1.0, 5.0, &(rlv_lettering){.size_mm = RLV_LETTER_SMALL, .bold = bold != 0});
    rlv_sheet_free(&sheet);
    return status;
}

rlv_status history_sheets_draw(history_sheets* list, const rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    const size_t most = 2 * history->step_count + 1;
    // Fonts are opened here once, and not by two threads for the first time together.
    rlv_status warm = sheet_open_fonts(error);
    if (warm != RLV_DONE)
        return warm;
    all_sheets all = {history, rlv_reserve(most, sizeof *all.drawn, error)};
    rlv_status status = RLV_SYSTEM;
    if (all.drawn != NULL)
        status = side_by_side(history->step_count + 1, draw_some, &all, "sheets", &answer->progress, error);
    for (size_t i = 0; i < most && status == RLV_DONE; i++)
        if (all.drawn[i].entry.path != NULL)
            status = sheet_keep_drawn(list, &all.drawn[i], answer, error);
    for (size_t i = 0; all.drawn != NULL && i < most; i++)
        sheet_free_drawn(&all.drawn[i]);
    free(all.drawn);
    if (status == RLV_DONE && !history->joined)
        answer_warn(answer, "there is no sheet of all stages, since they are not in one frame");
    return status;
}
