#include "history_sheet_job.h"

#include <math.h>
#include <stdlib.h>

void sheet_free_look(stage_look* look)
{
    rlv_mesh_free(&look->moved);
    rlv_tree_free(look->tree);
    free(look->bone);
}

rlv_status sheet_look_at(stage_look* look, rlv_sheet_view* view, const rlv_history* history, size_t index, bool move,
                         rlv_error* error)
{
    const history_stage* stage = &history->stage[index];
    const rlv_mesh* mesh = &stage->given.mesh;
    const rlv_tree* tree = stage->tree;
    rlv_status status = RLV_DONE;
    if (move && index != history->frame)
    {
        rlv_pose pose = history_pose(history, index);
        status = rlv_mesh_copy(&look->moved, mesh, error);
        if (status != RLV_DONE)
            return status;
        rlv_pose_move_mesh(&pose, &look->moved);
        mesh = &look->moved;
        status = rlv_tree_build(&look->tree, mesh, error);
        tree = look->tree;
    }
    if (status == RLV_DONE && stage->parts.is != NULL && stage->parts.bone_count > 0)
    {
        look->bone = rlv_reserve(mesh->triangle_count, sizeof *look->bone, error);
        status = look->bone != NULL ? RLV_DONE : RLV_SYSTEM;
        for (size_t i = 0; look->bone != NULL && i < mesh->triangle_count; i++)
            look->bone[i] = (stage->parts.is[i] & RLV_IS_BONE) != 0;
        look->outline = (rlv_panel_outline){.in = look->bone, .line_mm = RLV_LINE_MEDIUM, .words = "bone"};
    }
    view->surface = (rlv_panel_surface){
        .mesh = mesh, .tree = tree, .outline_count = look->bone != NULL ? 1 : 0, .outline = &look->outline};
    sheet_stage_date(look->date, sizeof look->date, stage->record);
    view->name = sheet_stage_title(stage->record);
    view->date = look->date;
    view->line = look->lines.at;
    return status;
}

/// What went and came from the first stage to this one.
static void add_so_far(sheet_lines* lines, const rlv_history* history, size_t stage)
{
    size_t before = lines->count;
    if (stage == 0 || history->cumulative == NULL)
        return;
    for (int kind = 0; kind < RLV_CHANGE_CLASSES; kind++)
    {
        rlv_interval ml = history->cumulative[stage - 1].ml[kind];
        bool found = false;
        for (size_t i = 0; i < stage; i++)
            found = found || (history->step[i].measured && history->step[i].change.total[kind].regions > 0);
        if (found && isfinite(ml.value))
            sheet_line(lines, "%s%s %s" RLV_THIN "mL (%s)", lines->count == before ? "so far: " : "",
                       history_class_name((rlv_change_class)kind), words_value(ml, 1.0).text, words_ends(ml, 1.0).text);
    }
    for (size_t i = 0; i < stage && lines->count == before; i++)
        if (!history->step[i].measured)
            sheet_line(lines, "so far: not known, a step was not measured");
}

static rlv_status draw_stages(sheet_job* job, size_t first, size_t count, rlv_error* error)
{
    const rlv_history* history = job->history;
    stage_look* look = rlv_reserve(count, sizeof *look, error);
    rlv_sheet_view* view = look != NULL ? rlv_reserve(count, sizeof *view, error) : NULL;
    rlv_status status = view != NULL ? RLV_DONE : RLV_SYSTEM;
    rlv_sheet sheet = {0};
    char caption[800], alt[1024];
    bool alone = count == 1;
    const char* bare = job->order.kind == HISTORY_SHEET_PLAIN ? ", with nothing drawn over it" : "";
    const char *id = history->stage[first].record->id, *last = history->stage[first + count - 1].record->id;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        status = sheet_look_at(&look[i], &view[i], history, first + i, job->order.kind == HISTORY_SHEET_HISTORY, error);
        if (status == RLV_DONE && !alone)
            add_so_far(&look[i].lines, history, first + i);
        if (job->order.kind == HISTORY_SHEET_PLAIN)
            view[i].surface.outline_count = 0;
        view[i].line_count = look[i].lines.count;
        sheet_add_stage(job, &history->stage[first + i]);
    }
    const rlv_gallery gallery = {.title = job->title,
                                 .axes = job->view.axes,
                                 .view_count = count,
                                 .view = view,
                                 .scale = job->order.scale,
                                 .paper = job->order.scale > 0.0 ? SHEET_SMALL : SHEET_PAPER,
                                 .direction_count =
                                     job->order.kind == HISTORY_SHEET_PLAIN ? 0 : job->view.direction_count,
                                 .direction = job->view.direction};
    char words[544];
    if (alone)
        sheet_stage_words(words, sizeof words, history->stage[first].record);
    else
        sheet_from_to(words, sizeof words, history->stage[first].record, history->stage[first + count - 1].record);
    if (alone)
        snprintf(job->subject, sizeof job->subject, "Stage %s", words);
    else
        snprintf(job->subject, sizeof job->subject, "All %zu stages, from %s", count, words);
    if (status == RLV_DONE)
        status = rlv_sheet_of_gallery(&sheet, &gallery, &job->left_out, error);
    if (status == RLV_DONE && alone)
    {
        snprintf(caption, sizeof caption, "Stage %s, %s%s.", id, job->view.words, bare);
        snprintf(alt, sizeof alt, "The block at stage %s, %s%s.", id, job->view.words, bare);
    }
    else if (status == RLV_DONE)
    {
        snprintf(caption, sizeof caption, "The %zu stages through one camera and at one scale, %s.", count,
                 job->view.words);
        snprintf(alt, sizeof alt, "The block at its %zu stages, from %s to %s, from one side and at one scale.", count,
                 id, last);
    }
    if (status == RLV_DONE)
        status = sheet_keep(job, &sheet, caption, alt, error);
    rlv_sheet_free(&sheet);
    for (size_t i = 0; look != NULL && i < count; i++)
        sheet_free_look(&look[i]);
    free(look);
    free(view);
    return status;
}

rlv_status sheet_of_stages(sheet_job job, rlv_error* error)
{
    bool alone = job.order.kind != HISTORY_SHEET_HISTORY;
    size_t count = job.history->stage_count;
    rlv_status status = sheet_begin(&job, alone ? job.order.stage : job.history->frame, error);
    if (status == RLV_DONE)
        status = draw_stages(&job, alone ? job.order.stage : 0, alone ? 1 : count, error);
    free(job.title_stage);
    return status;
}
