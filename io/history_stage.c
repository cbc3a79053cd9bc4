#include "history_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double apart(const rlv_point_record* a, const rlv_point_record* b)
{
    return sqrt(pow(a->at[0] - b->at[0], 2) + pow(a->at[1] - b->at[1], 2) + pow(a->at[2] - b->at[2], 2));
}

static rlv_scale_bar bar_of(const rlv_specimen* specimen, const char* stage, const rlv_scale_bar_record* record)
{
    const rlv_point_record *a = rlv_specimen_point(specimen, stage, "block", record->bar, "a"),
                           *b = rlv_specimen_point(specimen, stage, "block", record->bar, "b");
    return (rlv_scale_bar){
        .measured_units = apart(a, b),
        .point_sd_mm = {a->sd_mm != NULL ? *a->sd_mm : (double)NAN, b->sd_mm != NULL ? *b->sd_mm : (double)NAN},
        .certified_mm = record->length_mm,
        .certified_sd_mm = record->sd_mm};
}

static void warn_of_bars(const history_stage* stage, rlv_answer* answer)
{
    const rlv_mesh_record* mesh = &stage->record->mesh;
    for (size_t i = 0; i < mesh->bar_count; i++)
        if (stage->residual[i].alarm)
            answer_warn(answer,
                        "%s: %s is off the other bars by %s mm, %s times what is usual for it; measure it again",
                        stage->record->id, mesh->bar[i].bar, words_figures(stage->residual[i].residual_mm, 2).text,
                        words_figures(fabs(stage->residual[i].sds), 2).text);
    if (stage->scale.inflated)
        answer_warn(
            answer,
            "%s: its scale bars differ by more than how sure they are allows; how unsure the scale is is taken %s "
            "times as large",
            stage->record->id, words_figures(stage->scale.birge_ratio, 2).text);
}

static rlv_status scale_stage(history_stage* stage, const rlv_specimen* specimen, rlv_answer* answer, rlv_error* error)
{
    const rlv_mesh_record* mesh = &stage->record->mesh;
    rlv_scale_bar* bar = rlv_reserve(mesh->bar_count, sizeof *bar, error);
    stage->residual = bar != NULL ? rlv_reserve(mesh->bar_count, sizeof *stage->residual, error) : NULL;
    rlv_status status = stage->residual != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; status == RLV_DONE && i < mesh->bar_count; i++)
        bar[i] = bar_of(specimen, stage->record->id, mesh->bar + i);
    if (status == RLV_DONE)
        status = rlv_scale_from_bars(&stage->scale, stage->residual, mesh->bar_count, bar, error);
    if (status == RLV_BAD_INPUT)
        snprintf(error->where, sizeof error->where, "specimen.yaml: stages, %s: scale_bars", stage->record->id);
    if (status == RLV_DONE)
    {
        stage->mm_per_unit = stage->scale.mm_per_unit;
        stage->scale_sd = stage->scale.relative_sd;
        stage->shared_scale_sd = stage->scale.certificate_sd;
        warn_of_bars(stage, answer);
    }
    free(bar);
    return status;
}

static rlv_status read_mesh(history_stage* stage, const rlv_specimen* specimen, rlv_answer* answer, rlv_error* error)
{
    const rlv_mesh_record* mesh = &stage->record->mesh;
    if (mesh->bar_count > 0)
    {
        const rlv_status status = scale_stage(stage, specimen, answer, error);
        return status == RLV_DONE
                   ? given_mesh_read_scaled(&stage->given, stage->path, stage->mm_per_unit, answer, error)
                   : status;
    }
    stage->mm_per_unit = rlv_unit_mm(*mesh->unit);
    stage->scale_sd = stage->shared_scale_sd = mesh->scale_sd != NULL ? *mesh->scale_sd : 0.0;
    return given_mesh_read(&stage->given, stage->path, *mesh->unit, answer, error);
}

/// Take out what is not the block. What is left is open where it lay.
static rlv_status drop_support(history_stage* stage, rlv_answer* answer, rlv_error* error)
{
    stage->dropped = stage->parts.support_count;
    if (stage->dropped == 0)
        return RLV_DONE;
    const rlv_status status = rlv_parts_drop_support(&stage->parts, &stage->given.mesh, error);
    if (status != RLV_DONE)
        return status;
    rlv_mesh_borders borders = {0};
    const rlv_status found = rlv_mesh_borders_find(&borders, &stage->given.mesh, error);
    if (found == RLV_DONE)
    {
        stage->given.health.border_loops = borders.loop_count;
        stage->given.health.open_edges = borders.start[borders.loop_count];
        stage->given.health.closed = borders.loop_count == 0;
    }
    rlv_mesh_borders_free(&borders);
    stage->given.measures = rlv_mesh_measure(&stage->given.mesh);
    if (found == RLV_DONE && !stage->given.health.closed)
        answer_warn(answer, "%s: open where its support touched; volumes of change are told against a common base",
                    stage->record->id);
    return found;
}

rlv_status history_read_stage(history_stage* stage, const rlv_specimen* specimen, const rlv_stage_record* record,
                              rlv_answer* answer, rlv_error* error)
{
    stage->record = record;
    stage->path = rlv_specimen_path(specimen, record->mesh.mesh);
    if (stage->path == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a path");
    rlv_status status = read_mesh(stage, specimen, answer, error);
    if (status == RLV_DONE)
        status =
            rlv_parts_find(&stage->parts, specimen, record->id, &stage->given.mesh, stage->mm_per_unit, NULL, error);
    return status == RLV_DONE ? drop_support(stage, answer, error) : status;
}

void history_free_stage(history_stage* stage)
{
    rlv_tree_free(stage->tree);
    given_mesh_free(&stage->given);
    rlv_parts_free(&stage->parts);
    free(stage->residual);
    free(stage->path);
    *stage = (history_stage){0};
}
