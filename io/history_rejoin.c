#include "history_rejoin.h"

#include "history_across.h"
#include "history_view.h"
#include "named_outline.h"

#include <stdlib.h>
#include <string.h>

void history_rejoin_free(history_rejoin* rejoin)
{
    rejoin_told_free(&rejoin->told);
    for (int k = 0; k < 3; k++)
        rlv_mesh_free(&rejoin->moved[k]);
    free(rejoin->face[0]);
    free(rejoin->face[1]);
    free(rejoin->bone[0]);
    free(rejoin->bone[1]);
    *rejoin = (history_rejoin){0};
}

// --- Which ----------------------------------------------------------------------------------------------------------

/// The ids of the pieces with a mesh of their own.
static void list_pieces(char mend[512], const rlv_specimen* specimen)
{
    size_t put = 0, listed = 0;
    for (size_t i = 0; i < specimen->piece_count && put + 120 < 512; i++)
        if (specimen->piece[i].mesh_count > 0)
            put += rlv_print(mend + put, 512 - put, "%s%.100s", listed++ == 0 ? "say one of " : ", ",
                             specimen->piece[i].id);
    if (listed == 0)
        snprintf(mend, 512, "record it under pieces in specimen.yaml, with its own mesh under meshes");
}

rlv_status history_rejoin_choose(const rlv_piece_record** piece, const rlv_specimen* specimen, const char* id,
                                 rlv_error* error)
{
    char mend[512];
    *piece = rlv_specimen_piece(specimen, id);
    list_pieces(mend, specimen);
    if (*piece == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder, mend, "there is no piece '%.100s'", id);
    if ((*piece)->mesh_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder,
                        "write it under meshes of that piece in specimen.yaml, with the stage that it was made at",
                        "the piece '%.100s' has no mesh of its own", id);
    return RLV_DONE;
}

/// The last of a piece's meshes that was made while it was off; the last of all where none was.
static const rlv_piece_mesh_record* mesh_to_put_back(const rlv_specimen* s, const rlv_piece_record* piece)
{
    const size_t off = piece->detached != NULL ? rlv_specimen_stage_number(s, piece->detached) : 0,
                 back = rlv_specimen_stage_number(s, piece->joined);
    const rlv_piece_mesh_record *best = NULL, *last = NULL;
    size_t best_at = 0, last_at = 0;
    for (size_t k = 0; k < piece->mesh_count; k++)
    {
        const size_t at = rlv_specimen_stage_number(s, piece->mesh[k].stage);
        if (at >= off && at < back && (best == NULL || at > best_at))
        {
            best = &piece->mesh[k];
            best_at = at;
        }
        if (last == NULL || at > last_at)
        {
            last = &piece->mesh[k];
            last_at = at;
        }
    }
    return best != NULL ? best : last;
}

// --- What it is put back by ------------------------------------------------------------------------------------------

/// A stage of the block as a part, in the block's frame. `moved` is where its mesh goes if that is another.
static rlv_status part_of_stage(rejoin_part* part, rlv_mesh* moved, const rlv_history* history, size_t index,
                                rlv_error* error)
{
    const history_stage* stage = &history->stage[index];
    *part = (rejoin_part){.mesh = &stage->given.mesh,
                          .name = stage->record->id,
                          .file = stage->record->mesh.mesh,
                          .date = stage->record->date,
                          .sha256 = stage->given.source.sha256,
                          .scale_sd = stage->scale_sd};
    if (!history->joined || index == history->frame)
        return RLV_DONE;
    const rlv_pose pose = history_pose(history, index);
    const rlv_status status = rlv_mesh_copy(moved, &stage->given.mesh, error);
    if (status == RLV_DONE)
    {
        rlv_pose_move_mesh(&pose, moved);
        part->mesh = moved;
    }
    return status;
}

static rejoin_part part_of_piece(const history_piece* one, const rlv_specimen* specimen)
{
    const rlv_stage_record* stage = rlv_specimen_stage(specimen, one->at->stage);
    return (rejoin_part){.mesh = &one->given.mesh,
                         .name = one->piece->id,
                         .file = one->at->mesh.mesh,
                         .date = stage != NULL ? stage->date : NULL,
                         .sha256 = one->given.source.sha256,
                         .scale_sd = one->scale_sd};
}

/// The mesh of a piece at a stage; NULL where it has none.
static const history_piece* mesh_at(const rlv_history* history, const rlv_piece_record* piece, const char* stage)
{
    for (size_t k = 0; piece != NULL && k < piece->mesh_count; k++)
        if (strcmp(piece->mesh[k].stage, stage) == 0)
            return history_pieces_find(&history->pieces, piece, &piece->mesh[k]);
    return NULL;
}

const history_piece* history_rejoin_mesh_at(const history_rejoin* rejoin, const rlv_piece_record* piece)
{
    return mesh_at(rejoin->history, piece, rejoin->history->stage[rejoin->stage].record->id);
}

/// What a piece of a piece came off, which is itself aside: in that piece's own frame.
static rlv_status parts_by_parent(history_rejoin* r, const rlv_history* history, rlv_error* error)
{
    rejoin_told* told = &r->told;
    const rlv_specimen* s = told->specimen;
    const rlv_piece_record* parent = rlv_specimen_piece(s, told->record->parent);
    const history_piece* own = mesh_at(history, parent, history->stage[r->stage].record->id);
    if (own == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, s->folder, "write its mesh at that stage under meshes of that piece",
                        "'%.100s' came off the piece '%.100s', which has no mesh at '%.100s'", told->record->id,
                        told->record->parent, history->stage[r->stage].record->id);
    told->block = part_of_piece(own, s);
    const size_t off = rlv_specimen_stage_number(s, told->record->detached);
    const history_piece* before =
        off != SIZE_MAX && off > 0 ? mesh_at(history, parent, history->stage[off - 1].record->id) : NULL;
    if (before != NULL)
        told->before = part_of_piece(before, s);
    rejoin_name_axes(told);
    return RLV_DONE;
}

static rlv_status parts_by_block(history_rejoin* r, const rlv_history* history, rlv_error* error)
{
    rejoin_told* told = &r->told;
    const rlv_specimen* s = told->specimen;
    const size_t off = rlv_specimen_stage_number(s, told->record->detached),
                 back = rlv_specimen_stage_number(s, told->record->joined);
    rlv_status status = part_of_stage(&told->block, &r->moved[0], history, r->stage, error);
    if (status == RLV_DONE && off != SIZE_MAX && off > 0 && off <= r->stage)
        status = part_of_stage(&told->before, &r->moved[1], history, off - 1, error);
    if (status == RLV_DONE && back != SIZE_MAX && back > r->stage && history->joined)
        status = part_of_stage(&told->after, &r->moved[2], history, back, error);
    told->placed = history->joined;
    told->way_count = history_view_ways(told->way, history, history->joined ? history->frame : r->stage);
    if (told->way_count == 0)
        rejoin_name_axes(told);
    return status;
}

// --- Outlined faces --------------------------------------------------------------------------------------------------

/// What a recorded outline encloses on a mesh in its own frame; nothing where it is not on that mesh.
static rlv_status find_face(uint8_t** face, const rlv_mesh* mesh, const rlv_named_points* named,
                            const rlv_specimen* specimen, rlv_error* error)
{
    size_t count = 0;
    rlv_surface* surface = NULL;
    rlv_outline outline = {0};
    rlv_specimen_points(specimen, named->stage, named->mesh, named->object, &count);
    if (count == 0)
        return RLV_DONE;
    rlv_status status = rlv_surface_prepare(&surface, mesh, NULL, error);
    if (status == RLV_DONE)
        status = rlv_named_outline_find(&outline, surface, specimen, named, error);
    if (status == RLV_DONE && (*face = rlv_reserve(mesh->triangle_count, 1, error)) == NULL)
        status = RLV_SYSTEM;
    for (size_t i = 0; status == RLV_DONE && i < outline.triangle_count; i++)
        (*face)[outline.triangle[i]] = 1;
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    return status;
}

static rlv_status find_faces(history_rejoin* r, const rlv_history* history, const history_piece* own, rlv_error* error)
{
    rejoin_told* told = &r->told;
    char key[64];
    snprintf(key, sizeof key, "specimen.yaml: pieces[%zu].face", (size_t)(told->record - told->specimen->piece));
    const char* stage = history->stage[r->stage].record->id;
    if (told->record->face == NULL)
        return RLV_DONE;
    const rlv_named_points on_block = {stage, "block", told->record->face, history->stage[r->stage].mm_per_unit, key},
                           on_piece = {stage, told->record->id, told->record->face, own->mm_per_unit, key};
    rlv_status status = RLV_DONE;
    if (!rlv_specimen_is_aside(told->specimen, told->record, r->stage))
        status = find_face(&r->face[0], &history->stage[r->stage].given.mesh, &on_block, told->specimen, error);
    if (status == RLV_DONE)
        status = find_face(&r->face[1], told->piece.mesh, &on_piece, told->specimen, error);
    told->block_face = r->face[0];
    told->piece_face = r->face[1];
    return status;
}

// --- Bone on either --------------------------------------------------------------------------------------------------

static bool masks_bone(const rlv_specimen* specimen, const char* stage, const char* mesh)
{
    for (size_t i = 0; i < specimen->mask_count; i++)
        if (specimen->mask[i].kind == RLV_MASK_BONE && strcmp(specimen->mask[i].stage, stage) == 0 &&
            strcmp(rlv_mask_mesh(&specimen->mask[i]), mesh) == 0)
            return true;
    return false;
}

/// One a triangle of what masks say of the bone on a piece's own mesh; nothing where there are none.
static rlv_status bone_of_piece(uint8_t** bone, const rlv_specimen* specimen, const char* stage,
                                const history_piece* own, rlv_error* error)
{
    rlv_parts parts = {0};
    if (!masks_bone(specimen, stage, own->piece->id))
        return RLV_DONE;
    const rlv_status status =
        rlv_parts_find_on_piece(&parts, specimen, stage, own->piece->id, &own->given.mesh, own->mm_per_unit, error);
    if (status == RLV_DONE)
    {
        for (size_t t = 0; t < parts.triangle_count; t++)
            parts.is[t] = (parts.is[t] & RLV_IS_BONE) != 0;
        *bone = parts.is;
        parts.is = NULL;
    }
    rlv_parts_free(&parts);
    return status;
}

static rlv_status bone_of_block(uint8_t** bone, const rlv_specimen* specimen, const history_stage* stage,
                                rlv_error* error)
{
    if (!masks_bone(specimen, stage->record->id, "block"))
        return RLV_DONE;
    if ((*bone = rlv_reserve(stage->parts.triangle_count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < stage->parts.triangle_count; t++)
        (*bone)[t] = (stage->parts.is[t] & RLV_IS_BONE) != 0;
    return RLV_DONE;
}

/// Of what the piece is put back on: its parent's own mesh, where `on_parent`, else the block's.
static rlv_status find_bone(history_rejoin* r, const rlv_history* history, const history_piece* own, bool on_parent,
                            rlv_error* error)
{
    const rlv_specimen* s = history->specimen;
    const history_stage* stage = &history->stage[r->stage];
    rlv_status status =
        on_parent ? bone_of_piece(&r->bone[0], s, stage->record->id,
                                  history_rejoin_mesh_at(r, rlv_specimen_piece(s, r->told.record->parent)), error)
                  : bone_of_block(&r->bone[0], s, stage, error);
    if (status == RLV_DONE)
        status = bone_of_piece(&r->bone[1], s, stage->record->id, own, error);
    r->told.block_bone = r->bone[0];
    r->told.piece_bone = r->bone[1];
    return status;
}

rlv_status history_rejoin_prepare(history_rejoin* r, const rlv_history* history, const rlv_piece_record* piece,
                                  double film_mm, bool in_block, rlv_error* error)
{
    const rlv_specimen* s = history->specimen;
    const rlv_piece_mesh_record* at = mesh_to_put_back(s, piece);
    const history_piece* own = history_pieces_find(&history->pieces, piece, at);
    if (own == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, s->folder, "write its mesh under meshes of that piece",
                        "the piece '%.100s' has no mesh of its own", piece->id);
    r->stage = rlv_specimen_stage_number(s, at->stage);
    r->history = history;
    r->told.record = piece;
    r->told.specimen = s;
    r->told.film_mm = film_mm;
    r->told.piece = part_of_piece(own, s);
    const bool aside = rlv_specimen_is_aside(s, piece, r->stage), on_parent = aside && !in_block;
    rlv_status status = on_parent ? parts_by_parent(r, history, error) : parts_by_block(r, history, error);
    if (aside && in_block)
        r->told.before = (rejoin_part){0}; // which does not show it: what it came off was off by then
    if (status == RLV_DONE)
        status = find_faces(r, history, own, error);
    return status == RLV_DONE ? find_bone(r, history, own, on_parent, error) : status;
}

rlv_status history_rejoin_measure(history_rejoin* r, const rlv_history* history, const rlv_piece_record* piece,
                                  double film_mm, rlv_answer* answer, rlv_error* error)
{
    rlv_status status = history_rejoin_prepare(r, history, piece, film_mm, false, error);
    if (status == RLV_DONE)
        status = rejoin_told_measure(&r->told, answer, error);
    return status == RLV_DONE ? history_across_measure(r, answer, error) : status;
}
