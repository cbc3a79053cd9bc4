#include "align_field.h"
#include "align_refine.h"
#include "align_samples.h"
#include "align_search.h"
#include "rejoin_parts.h"

#include <stdlib.h>
#include <string.h>

static const size_t block_samples = 30000, piece_samples = 40000;
static const size_t stride = 8;            ///< of the samples that sort out candidates
static const double open_imbalance = 1e-3; ///< sum of area vectors over area, above which a mesh is taken for open

/// The block seen from inside: its face is then the piece's own surface, and all that aligns one surface to another
/// finds where it lies.
typedef struct inside_out
{
    rlv_mesh block; ///< shares all but its corners
    rlv_samples samples, whole, piece;
    rlv_distance_field field;
} inside_out;

static void inside_out_free(inside_out* io)
{
    free(io->block.corner);
    rlv_samples_free(&io->samples);
    rlv_samples_free(&io->whole);
    rlv_samples_free(&io->piece);
    rlv_distance_field_free(&io->field);
}

static rlv_status turn_corners(inside_out* io, const rlv_mesh* block, rlv_error* error)
{
    io->block = *block;
    io->block.corner = rlv_reserve(3 * block->triangle_count, sizeof *io->block.corner, error);
    if (io->block.corner == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < block->triangle_count; t++)
    {
        io->block.corner[3 * t] = block->corner[3 * t];
        io->block.corner[3 * t + 1] = block->corner[3 * t + 2];
        io->block.corner[3 * t + 2] = block->corner[3 * t + 1];
    }
    return RLV_DONE;
}

/// The field of the block, inside out: solid in solid sticks out, and what lies off the block is no loss.
static void turn_field(rlv_distance_field* field)
{
    const size_t count = field->size[0] * field->size[1] * field->size[2];
    for (size_t c = 0; c < count; c++)
    {
        rlv_distance_field_cell* cell = field->cell + c;
        cell->distance_mm = -cell->distance_mm;
        for (int k = 0; k < 3; k++)
            cell->normal[k] = (int8_t)-cell->normal[k];
        cell->kind = cell->kind == RLV_FIELD_INSIDE    ? (uint8_t)RLV_FIELD_OUTSIDE
                     : cell->kind == RLV_FIELD_OUTSIDE ? (uint8_t)RLV_FIELD_INSIDE
                                                       : cell->kind;
    }
    field->open = true;
}

/// What is not on an outlined face, or NULL where none was outlined.
static rlv_status left_out(uint8_t** out, const uint8_t* face, size_t count, rlv_error* error)
{
    *out = NULL;
    if (face == NULL)
        return RLV_DONE;
    if ((*out = rlv_reserve(count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < count; t++)
        (*out)[t] = face[t] == 0;
    return RLV_DONE;
}

static rlv_status sample_faces(inside_out* io, const rlv_joining* w, rlv_error* error)
{
    const rlv_rejoin_input* input = w->input;
    uint8_t *block_out = NULL, *piece_out = NULL;
    rlv_status status = left_out(&block_out, input->block_face, input->block->triangle_count, error);
    if (status == RLV_DONE)
        status = left_out(&piece_out, input->piece_face, input->piece->triangle_count, error);
    if (status == RLV_DONE)
        status = rlv_samples_take(&io->whole, input->block, NULL, block_samples, input->seed + 11, error);
    if (status == RLV_DONE)
        status = rlv_samples_take(&io->samples, input->block, block_out, block_samples, input->seed + 12, error);
    if (status == RLV_DONE)
        status = rlv_samples_take(&io->piece, input->piece, piece_out, piece_samples, input->seed + 13, error);
    for (size_t i = 0; status == RLV_DONE && i < 3 * io->samples.count; i++)
    {
        io->samples.normal[i] = -io->samples.normal[i];
        io->samples.facet[i] = -io->samples.facet[i];
    }
    free(piece_out);
    free(block_out);
    return status;
}

/// Put a fit in its place in the list, by falling gain, unless a better one is nearly the same pose.
static size_t enter(rlv_fit* list, size_t count, size_t most, const rlv_fit* entering, const rlv_samples* piece,
                    double same_mm)
{
    size_t at = count;
    while (at > 0 && entering->gain > list[at - 1].gain)
        at--;
    for (size_t i = 0; i < at; i++)
        if (rlv_search_apart_mm(piece, &list[i].pose, &entering->pose) < same_mm)
            return count;
    size_t kept = at;
    rlv_fit after[RLV_CANDIDATES];
    const size_t behind = count - at;
    memcpy(after, list + at, behind * sizeof *list);
    if (kept < most)
        list[kept++] = *entering;
    for (size_t i = 0; i < behind && kept < most; i++)
        if (rlv_search_apart_mm(piece, &after[i].pose, &entering->pose) >= same_mm)
            list[kept++] = after[i];
    return kept;
}

static rlv_status try_candidates(rlv_pose* pose, size_t most, size_t* count, const inside_out* io, const rlv_joining* w,
                                 const rlv_pose_candidate* candidate, size_t tried, rlv_error* error)
{
    const rlv_refine refine = {.before = &io->block, .tree = w->tree[RLV_JOIN_BLOCK], .samples = &io->piece};
    rlv_fit list[RLV_CANDIDATES];
    rlv_status status = RLV_DONE;
    most = most < RLV_CANDIDATES ? most : RLV_CANDIDATES;
    *count = 0;
    for (size_t i = 0; i < tried && status == RLV_DONE; i++)
    {
        rlv_fit fit = {.pose = candidate[i].pose};
        status = rlv_refine_pose(&fit, &refine, 1.5 * io->field.side_mm, stride, 12, true, error);
        if (status == RLV_DONE)
            *count = enter(list, *count, most, &fit, &io->piece, 2.0 * io->field.side_mm);
    }
    for (size_t i = 0; i < *count; i++)
        pose[i] = list[i].pose;
    return status;
}

rlv_status rlv_joining_search(rlv_pose* pose, size_t most, size_t* count, const rlv_joining* w, rlv_error* error)
{
    inside_out io = {0};
    rlv_pose_candidate candidate[RLV_CANDIDATES];
    size_t tried = 0;
    *count = 0;
    rlv_status status = turn_corners(&io, w->input->block, error);
    if (status == RLV_DONE)
        status = sample_faces(&io, w, error);
    if (status == RLV_DONE)
        status = rlv_distance_field_build(&io.field, &io.whole, io.whole.imbalance > open_imbalance, error);
    if (status == RLV_DONE)
    {
        turn_field(&io.field);
        const rlv_search search = {.before = &io.samples,
                                   .before_tree = w->tree[RLV_JOIN_BLOCK],
                                   .after = &io.piece,
                                   .after_tree = w->tree[RLV_JOIN_PIECE],
                                   .field = &io.field};
        status = rlv_search_poses(&search, candidate, &tried, &w->input->progress, error);
    }
    if (status == RLV_DONE)
        status = try_candidates(pose, most, count, &io, w, candidate, tried, error);
    inside_out_free(&io);
    return status;
}
