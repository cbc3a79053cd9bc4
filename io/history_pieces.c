#include "history_pieces.h"

#include "sampling.h"
#include "scale.h"

#include <stdlib.h>

enum
{
    MOST_SAMPLES = 250000,
};

static double length_of(const rlv_point_record* a, const rlv_point_record* b)
{
    return rlv_vec3_length(rlv_vec3_of(a->at[0] - b->at[0], a->at[1] - b->at[1], a->at[2] - b->at[2]));
}

static double sd_of(const rlv_point_record* point)
{
    return point->sd_mm != NULL ? *point->sd_mm : (double)NAN;
}

static rlv_status scale_by_bars(rlv_scale* scale, const rlv_specimen* specimen, const history_piece* one,
                                rlv_error* error)
{
    const rlv_mesh_record* mesh = &one->at->mesh;
    rlv_scale_bar* bar = rlv_reserve(mesh->bar_count, sizeof *bar, error);
    rlv_scale_residual* residual = rlv_reserve(mesh->bar_count, sizeof *residual, error);
    rlv_status status = bar != NULL && residual != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < mesh->bar_count && status == RLV_DONE; i++)
    {
        const rlv_point_record *a = rlv_specimen_point(specimen, one->at->stage, one->piece->id, mesh->bar[i].bar, "a"),
                               *b = rlv_specimen_point(specimen, one->at->stage, one->piece->id, mesh->bar[i].bar, "b");
        bar[i] = (rlv_scale_bar){.measured_units = length_of(a, b),
                                 .point_sd_mm = {sd_of(a), sd_of(b)},
                                 .certified_mm = mesh->bar[i].length_mm,
                                 .certified_sd_mm = mesh->bar[i].sd_mm};
    }
    if (status == RLV_DONE)
        status = rlv_scale_from_bars(scale, residual, mesh->bar_count, bar, error);
    free(bar);
    free(residual);
    return status;
}

/// Under a shallow bend the mean height over a chord is two thirds of the greatest (of a parabola), which is what
/// another tessellation may lie off.
static rlv_status measure_chords(history_piece* one, rlv_error* error)
{
    rlv_sampling sampling = {0};
    const rlv_status status = rlv_sampling_take(&sampling, &one->given.mesh, NULL, MOST_SAMPLES, error);
    for (size_t i = 0; i < sampling.count && status == RLV_DONE; i++)
        one->chord_mm3 += 2.0 / 3.0 * (double)(sampling.area_mm2[i] * sampling.chord_mm[i]);
    rlv_sampling_free(&sampling);
    return status;
}

static rlv_status read_one(history_piece* one, const rlv_specimen* specimen, rlv_answer* answer, rlv_error* error)
{
    const rlv_mesh_record* mesh = &one->at->mesh;
    rlv_scale scale = {0};
    one->path = rlv_specimen_path(specimen, mesh->mesh);
    if (one->path == NULL)
        return rlv_fail(error, RLV_SYSTEM, mesh->mesh, "close other programs", "no memory for a name");
    rlv_status status = mesh->bar_count > 0 ? scale_by_bars(&scale, specimen, one, error) : RLV_DONE;
    if (status == RLV_DONE && mesh->bar_count > 0)
        status = given_mesh_read_scaled(&one->given, one->path, scale.mm_per_unit, answer, error);
    else if (status == RLV_DONE)
        status = given_mesh_read(&one->given, one->path, *mesh->unit, answer, error);
    if (status != RLV_DONE)
        return status;
    if ((status = measure_chords(one, error)) != RLV_DONE)
        return status;
    one->mm_per_unit = mesh->bar_count > 0 ? scale.mm_per_unit : rlv_unit_mm(*mesh->unit);
    one->scale_sd = mesh->bar_count > 0 ? scale.relative_sd : mesh->scale_sd != NULL ? *mesh->scale_sd : 0.0;
    return RLV_DONE;
}

const history_piece* history_pieces_find(const history_pieces* pieces, const rlv_piece_record* piece,
                                         const rlv_piece_mesh_record* at)
{
    for (size_t i = 0; i < pieces->count; i++)
        if (pieces->one[i].piece == piece && pieces->one[i].at == at)
            return &pieces->one[i];
    return NULL;
}

rlv_status history_pieces_read(history_pieces* pieces, const rlv_specimen* specimen, rlv_answer* answer,
                               rlv_error* error)
{
    size_t count = 0;
    for (size_t i = 0; i < specimen->piece_count; i++)
        count += specimen->piece[i].mesh_count;
    pieces->one = rlv_reserve(count, sizeof *pieces->one, error);
    rlv_status status = pieces->one != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < specimen->piece_count; i++)
        for (size_t k = 0; k < specimen->piece[i].mesh_count && status == RLV_DONE; k++)
        {
            history_piece* one = &pieces->one[pieces->count++];
            one->piece = &specimen->piece[i];
            one->at = &specimen->piece[i].mesh[k];
            status = read_one(one, specimen, answer, error);
        }
    return status;
}

void history_pieces_free(history_pieces* pieces)
{
    for (size_t i = 0; i < pieces->count; i++)
    {
        given_mesh_free(&pieces->one[i].given);
        free(pieces->one[i].path);
    }
    free(pieces->one);
    *pieces = (history_pieces){0};
}
