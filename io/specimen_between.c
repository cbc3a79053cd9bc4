#include "specimen_between.h"

#include "masks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Join one list of all stages after the first, up to the second, in their order.
#define JOIN(rows, row_count)                                                                                          \
    do                                                                                                                 \
    {                                                                                                                  \
        size_t most = 0;                                                                                               \
        for (size_t k = before + 1; k <= after; k++)                                                                   \
            most += whole->stage[k].row_count;                                                                         \
        if ((into->rows = rlv_reserve(most, sizeof *into->rows, error)) == NULL)                                       \
            return RLV_SYSTEM;                                                                                         \
        into->row_count = 0;                                                                                           \
        for (size_t k = before + 1; k <= after; k++)                                                                   \
            for (size_t i = 0; i < whole->stage[k].row_count; i++)                                                     \
                into->rows[into->row_count++] = whole->stage[k].rows[i];                                               \
    } while (0)

static rlv_status join_stages(rlv_stage_record* into, const rlv_specimen* whole, size_t before, size_t after,
                              rlv_error* error)
{
    *into = whole->stage[after];
    into->work = NULL;
    into->decision = NULL;
    into->treatment = NULL;
    JOIN(work, work_count);
    JOIN(decision, decision_count);
    JOIN(treatment, treatment_count);
    for (size_t i = 0; i < into->work_count && after > before + 1; i++)
        into->work[i].area = NULL;
    return RLV_DONE;
}

/// What was dried off in all; NULL where nothing was recorded.
static void join_drying(specimen_between* between, const rlv_specimen* whole, size_t before, size_t after)
{
    between->stage[1].drying = NULL;
    for (size_t k = before + 1; k <= after; k++)
    {
        const rlv_mass_record* own = whole->stage[k].drying;
        if (own == NULL)
            continue;
        between->drying.grams += own->grams;
        between->drying.sd_g = hypot(between->drying.sd_g, own->sd_g);
        between->stage[1].drying = &between->drying;
    }
}

static bool lies_between(size_t stage, size_t before, size_t after)
{
    return stage > before && stage <= after;
}

static void join_pieces(rlv_specimen* specimen, const rlv_specimen* whole, size_t before, size_t after)
{
    for (size_t i = 0; i < specimen->piece_count; i++)
    {
        rlv_piece_record* piece = specimen->piece + i;
        const size_t off = rlv_specimen_stage_number(whole, piece->detached),
                     back = rlv_specimen_stage_number(whole, piece->joined);
        const bool went = lies_between(off, before, after) && !rlv_specimen_is_aside(whole, whole->piece + i, off - 1),
                   came = lies_between(back, before, after) && !rlv_specimen_is_aside(whole, whole->piece + i, back);
        piece->detached = went && !came ? whole->stage[after].id : NULL;
        piece->joined = came && !went ? whole->stage[after].id : NULL;
        piece->mesh_count = went != came ? piece->mesh_count : 0;
    }
}

/// Bags of stages outside are left out.
static void join_spoil(rlv_specimen* specimen, const rlv_specimen* whole, size_t before, size_t after)
{
    specimen->spoil_count = 0;
    for (size_t i = 0; i < whole->spoil_count; i++)
    {
        if (!lies_between(rlv_specimen_stage_number(whole, whole->spoil[i].stage), before, after))
            continue;
        rlv_spoil_record* bag = &specimen->spoil[specimen->spoil_count++];
        *bag = whole->spoil[i];
        bag->stage = whole->stage[after].id;
        bag->area = after > before + 1 ? NULL : bag->area;
    }
}

/// Masks that the whole record has a use for, and the two stages have not, are on no stage. What is at fault is told as
/// the whole record has it: its stages are those that a person can name.
static rlv_status join_masks(specimen_between* between, const rlv_specimen* whole, rlv_error* error)
{
    rlv_specimen* specimen = &between->specimen;
    for (size_t i = 0; i < whole->mask_count; i++)
    {
        rlv_mask_record* mask = specimen->mask + i;
        *mask = whole->mask[i];
        if (mask->kind != RLV_MASK_PIECE || rlv_specimen_stage(specimen, mask->stage) == NULL)
            continue;
        const rlv_status status = rlv_mask_check_piece(whole, whole->mask + i, error);
        if (status != RLV_DONE)
            return status;
        if (rlv_mask_check_piece(specimen, mask, NULL) != RLV_DONE)
            mask->stage = between->nowhere;
    }
    return RLV_DONE;
}

/// A direction, where it is recorded on one of the two.
static rlv_direction_record* direction_on(const specimen_between* between, rlv_direction_record* direction)
{
    return direction != NULL && rlv_specimen_stage(&between->specimen, direction->stage) != NULL ? direction : NULL;
}

rlv_status specimen_between_make(specimen_between* between, const rlv_specimen* whole, size_t before, size_t after,
                                 rlv_error* error)
{
    rlv_specimen* specimen = &between->specimen;
    *specimen = *whole;
    specimen->stage = between->stage;
    specimen->stage_count = 2;
    specimen->between = whole->stage_count > 2;
    specimen->piece = NULL;
    specimen->mask = NULL;
    specimen->spoil = NULL;
    between->stage[0] = whole->stage[before];
    const size_t frame = (size_t)(rlv_specimen_frame(whole) - whole->stage);
    specimen->frame_stage = whole->stage[frame == after ? after : before].id;
    rlv_status status = join_stages(&between->stage[1], whole, before, after, error);
    if (status != RLV_DONE)
        return status;
    join_drying(between, whole, before, after);
    specimen->north = direction_on(between, whole->north);
    specimen->up = direction_on(between, whole->up);
    if ((specimen->piece = rlv_reserve(whole->piece_count, sizeof *specimen->piece, error)) == NULL ||
        (specimen->mask = rlv_reserve(whole->mask_count, sizeof *specimen->mask, error)) == NULL ||
        (specimen->spoil = rlv_reserve(whole->spoil_count, sizeof *specimen->spoil, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < whole->piece_count; i++)
        specimen->piece[i] = whole->piece[i];
    join_pieces(specimen, whole, before, after);
    join_spoil(specimen, whole, before, after);
    return join_masks(between, whole, error);
}

void specimen_between_free(specimen_between* between)
{
    if (between->specimen.stage == between->stage)
    {
        free(between->stage[1].work);
        free(between->stage[1].decision);
        free(between->stage[1].treatment);
        free(between->specimen.piece);
        free(between->specimen.mask);
        free(between->specimen.spoil);
    }
    memset(between, 0, sizeof *between);
}
