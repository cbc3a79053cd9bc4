#include "history_sheet_job.h"

#include "side_by_side.h"

#include <stdlib.h>

const char* history_sheet_name(history_sheet_kind kind)
{
    static const char* const name[HISTORY_SHEET_KINDS] = {"comparison", "depth",    "history",   "stage",      "plain",
                                                          "standing",   "bone-map", "body-plan", "directions", "joint"};
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
    if (order->kind == HISTORY_SHEET_STAGE || order->kind == HISTORY_SHEET_PLAIN)
        return sheet_of_stages(job, error);
    if (order->kind != HISTORY_SHEET_HISTORY && order->kind != HISTORY_SHEET_STANDING)
        return draw_step(drawn, history, order, error);
    job.order.stage = history->stage_count - 1;
    if (order->kind == HISTORY_SHEET_STANDING)
        return sheet_of_standing(job, error);
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

/// The last stage alone; none where it cannot be seen from the usual side.
static rlv_status draw_plain(sheet_job job, rlv_error* error)
{
    history_view view;
    rlv_error ignored = {0};
    job.order = (history_sheet_order){.kind = HISTORY_SHEET_PLAIN, .stage = job.history->stage_count - 1};
    return history_view_find(&view, job.history, job.order.stage, NULL, &ignored) == RLV_DONE
               ? sheet_of_stages(job, error)
               : RLV_DONE;
}

/// The two sheets of a step, which share a scene; after all steps the one of all stages, and the last as it stands and
/// alone.
static rlv_status draw_some(drawn_sheet* drawn, const void* of, size_t index, rlv_error* error)
{
    static const history_sheet_kind kind[HISTORY_SHEETS_A_JOB] = {HISTORY_SHEET_COMPARISON, HISTORY_SHEET_DEPTH};
    const rlv_history* history = of;
    sheet_job job = {.history = history, .all = true, .drawn = drawn};
    if (index == history->step_count)
    {
        job.order = (history_sheet_order){.kind = HISTORY_SHEET_HISTORY, .stage = history->stage_count - 1};
        return history->joined ? sheet_of_stages(job, error) : RLV_DONE;
    }
    if (index == history->step_count + 2)
        return draw_plain(job, error);
    if (index > history->step_count)
    {
        job.order = (history_sheet_order){.kind = HISTORY_SHEET_STANDING, .stage = history->stage_count - 1};
        return history->standing.known ? sheet_of_standing(job, error) : RLV_DONE;
    }
    if (!history->step[index].measured)
        return RLV_DONE;
    history_scene scene = {0};
    rlv_status status = history_scene_make(&scene, history, &history->step[index], error);
    for (size_t k = 0; k < HISTORY_SHEETS_A_JOB && status == RLV_DONE; k++, job.drawn++)
    {
        job.order = (history_sheet_order){.kind = kind[k], .stage = index + 1};
        status = sheet_of_step(job, &scene, error);
    }
    history_scene_free(&scene);
    return status;
}

history_sheets_plan history_sheets_of_all(const rlv_history* history, rlv_answer* answer)
{
    if (!history->joined)
        answer_warn(answer, "there is no sheet of all stages, since they are not in one frame");
    return (history_sheets_plan){history->step_count + 3, draw_some, history};
}

/// Fonts are opened once, and not by two threads for the first time together.
static rlv_status open_fonts(rlv_error* error)
{
    rlv_sheet sheet = {0};
    rlv_status status = rlv_sheet_reserve(&sheet, 10.0, 10.0, error);
    for (int bold = 0; bold < 2 && status == RLV_DONE; bold++)
        (void)rlv_sheet_text(&sheet, "A", 1.0, 5.0, &(rlv_lettering){.size_mm = RLV_LETTER_SMALL, .bold = bold != 0});
    rlv_sheet_free(&sheet);
    return status;
}

/// The jobs of several plans as one row. What a job drew is written as soon as all jobs before it have been, so that
/// the files are the same in any order of work, and no more of them are held in memory than must wait.
typedef struct all_sheets
{
    const history_sheets_plan* plan;
    size_t jobs, next;  ///< the first that is not yet written
    bool* done;         ///< one a job
    drawn_sheet* drawn; ///< HISTORY_SHEETS_A_JOB a job
    history_sheets* list;
    rlv_answer* answer;
} all_sheets;

/// Write what may be written.
static rlv_status keep_done(all_sheets* all, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (; all->next < all->jobs && all->done[all->next] && status == RLV_DONE; all->next++)
        for (size_t k = 0; k < HISTORY_SHEETS_A_JOB && status == RLV_DONE; k++)
        {
            drawn_sheet* drawn = &all->drawn[HISTORY_SHEETS_A_JOB * all->next + k];
            if (drawn->entry.path != NULL)
                status = sheet_keep_drawn(all->list, drawn, all->answer, error);
        }
    return status;
}

static rlv_status draw_job(void* user, size_t index, const rlv_progress* progress, rlv_error* error)
{
    all_sheets* all = user;
    const history_sheets_plan* plan = all->plan;
    size_t own = index;
    (void)progress;
    for (; own >= plan->count; plan++)
        own -= plan->count;
    rlv_status status = plan->draw(all->drawn + HISTORY_SHEETS_A_JOB * index, plan->of, own, error);
    if (status != RLV_DONE)
        return status;
#pragma omp critical(rlv_keep_sheets)
    {
        all->done[index] = true;
        status = keep_done(all, error);
    }
    return status;
}

rlv_status history_sheets_draw(history_sheets* list, size_t count, const history_sheets_plan* plan, rlv_answer* answer,
                               rlv_error* error)
{
    size_t jobs = 0;
    for (size_t i = 0; i < count; i++)
        jobs += plan[i].count;
    const size_t most = HISTORY_SHEETS_A_JOB * jobs;
    rlv_status status = open_fonts(error);
    if (status != RLV_DONE)
        return status;
    all_sheets all = {.plan = plan,
                      .jobs = jobs,
                      .done = rlv_reserve(jobs, sizeof *all.done, error),
                      .drawn = rlv_reserve(most, sizeof *all.drawn, error),
                      .list = list,
                      .answer = answer};
    const bool held = all.done != NULL && all.drawn != NULL;
    status = held ? side_by_side(jobs, draw_job, &all, "sheets", &answer->progress, error) : RLV_SYSTEM;
    for (size_t i = 0; all.drawn != NULL && i < most; i++)
        sheet_free_drawn(&all.drawn[i]);
    free(all.drawn);
    free(all.done);
    return status;
}
