#include "history_parts.h"

#include "change_record.h"
#include "outline.h"

#include <math.h>

/// What an alignment was asked for.
static void put_edge(json_t* list, const rlv_history* history, const history_edge* edge)
{
    const rlv_change_options options = history_options_of(history, edge, NULL);
    json_t* row = record_row(list);
    record_text(row, "into", history->stage[edge->into].record->id);
    record_text(row, "aligned", history->stage[edge->from].record->id);
    record_count(row, "tie_points", edge->start_ties);
    record_real(row, "scale_sd", options.before_scale_sd);
    record_real(row, "scale_sd_after", options.after_scale_sd);
    record_count(row, "seed", options.seed);
}

static void put_step(json_t* list, const rlv_history* history, const history_step* step)
{
    const rlv_change* change = step->measured ? &step->change : NULL;
    json_t* row = record_row(list);
    record_text(row, "from", history->stage[step->before].record->id);
    record_text(row, "to", history->stage[step->after].record->id);
    change_record_chosen(row, change);
    record_flag(row, "bone_marked", change != NULL && change->total[RLV_CHANGE_BONE].known);
    record_count(row, "pieces_marked", step->piece_count);
}

static void put_stage(json_t* list, const history_stage* stage)
{
    const rlv_mesh_record* mesh = &stage->record->mesh;
    json_t* row = record_row(list);
    record_text(row, "stage", stage->record->id);
    record_text(row, "scale_from",
                mesh->bar_count > 0      ? "scale bars"
                : mesh->scale_sd != NULL ? "unit and scale_sd"
                                         : "unit, taken as exact");
    record_real(row, "mm_per_unit", stage->mm_per_unit);
    record_real(row, "scale_sd", stage->scale_sd);
    record_count(row, "support_triangles_left_out", stage->dropped);
}

void history_record_parameters(json_t* parameters, const rlv_history* history)
{
    const bool said = history->specimen->frame_stage != NULL;
    record_text(parameters, "frame_stage", history->stage[history->frame].record->id);
    record_flag(parameters, "frame_stage_defaulted", !said);
    json_t* stages = record_list(parameters, "stages");
    for (size_t i = 0; i < history->stage_count; i++)
        put_stage(stages, &history->stage[i]);
    json_t* edges = record_list(parameters, "alignments");
    for (size_t i = 0; i < history->edge_count; i++)
        put_edge(edges, history, &history->edge[i]);
    json_t* steps = record_list(parameters, "steps");
    for (size_t i = 0; i < history->step_count; i++)
        put_step(steps, history, &history->step[i]);
    json_t* thresholds = record_object(parameters, "thresholds");
    change_record_thresholds(thresholds);
    record_real(thresholds, "scale_point_sd_mm", RLV_SCALE_POINT_SD_MM);
    record_real(thresholds, "scale_bars_level", RLV_SCALE_LEVEL);
    record_real(thresholds, "outline_off_mesh_share", RLV_OUTLINE_SHARE);
    record_real(thresholds, "outline_off_mesh_mm", RLV_OUTLINE_LEAST_MM);
    record_real(thresholds, "stages_size_ratio", HISTORY_MOST_RATIO);
    record_real(thresholds, "alignment_settling_sd_mm", HISTORY_SETTLING_MM);
    record_real(thresholds, "alignment_wrong_p", RLV_STAGES_WRONG_P);
    record_real(thresholds, "alignment_wrong_margin", RLV_STAGES_MARGIN);
    record_real(thresholds, "alignments_misfit_p", RLV_STAGES_MISFIT_P);
}
