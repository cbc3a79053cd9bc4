#include "history_rejoin_pieces.h"

#include "history_across.h"

#include <stdlib.h>
#include <string.h>

void history_rejoin_pieces_free(history_rejoin_pieces* p)
{
    rejoin_pieces_free(&p->of);
    for (size_t k = 0; p->one != NULL && k < p->count; k++)
        history_rejoin_free(&p->one[k]);
    free(p->one);
    free(p->told);
    free(p->parent);
    *p = (history_rejoin_pieces){0};
}

// --- Which -----------------------------------------------------------------------------------------------------------

static rlv_status choose_named(const rlv_piece_record** piece, const rlv_specimen* specimen, size_t count,
                               const char* const* id, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < count && status == RLV_DONE; k++)
    {
        status = history_rejoin_choose(&piece[k], specimen, id[k], error);
        for (size_t before = 0; before < k && status == RLV_DONE; before++)
            if (piece[before] == piece[k])
                status = rlv_fail(error, RLV_BAD_INPUT, specimen->folder, "name each piece once",
                                  "the piece '%.100s' is named twice", id[k]);
    }
    return status;
}

rlv_status history_rejoin_choose_pieces(const rlv_piece_record*** piece, size_t* found, const rlv_specimen* specimen,
                                        size_t count, const char* const* id, rlv_error* error)
{
    const size_t most = count > 0 ? count : specimen->piece_count;
    *found = count;
    if ((*piece = rlv_reserve(most, sizeof **piece, error)) == NULL)
        return RLV_SYSTEM;
    if (count > 0)
        return choose_named(*piece, specimen, count, id, error);
    for (size_t k = 0; k < specimen->piece_count; k++)
        if (specimen->piece[k].mesh_count > 0)
            (*piece)[(*found)++] = &specimen->piece[k];
    return *found > 0 ? RLV_DONE
                      : rlv_fail(error, RLV_IMPOSSIBLE, specimen->folder,
                                 "record them under pieces in specimen.yaml, each with its own mesh under meshes",
                                 "no piece with a mesh of its own is recorded");
}

// --- Measuring -------------------------------------------------------------------------------------------------------

/// Pieces that were off at one stage lie on one block.
static void share_blocks(history_rejoin_pieces* p)
{
    for (size_t k = 1; k < p->count; k++)
        for (size_t before = 0; before < k; before++)
            if (p->one[before].stage == p->one[k].stage)
            {
                p->told[k]->block.mesh = p->told[before]->block.mesh;
                break;
            }
}

/// What each came off, as a body: the block, or one of the others; a piece that is not put back is none.
static void find_parents(history_rejoin_pieces* p)
{
    for (size_t k = 0; k < p->count; k++)
    {
        const char* parent = p->told[k]->record->parent;
        p->parent[k] = parent == NULL ? 0 : RLV_SEVERAL_ANY;
        for (size_t other = 0; parent != NULL && other < p->count; other++)
            if (strcmp(p->told[other]->record->id, parent) == 0)
                p->parent[k] = other + 1;
    }
}

static rlv_status check_frame(const history_rejoin_pieces* p, const rlv_history* history, rlv_error* error)
{
    for (size_t k = 1; k < p->count && !history->joined; k++)
        if (p->one[k].stage != p->one[0].stage)
            return rlv_fail(error, RLV_IMPOSSIBLE, history->specimen->folder,
                            "put back by themselves those that were off at one stage",
                            "'%.100s' was off at '%.100s' and '%.100s' at '%.100s', and the two stages have no common "
                            "frame",
                            p->told[0]->record->id, history->stage[p->one[0].stage].record->id, p->told[k]->record->id,
                            history->stage[p->one[k].stage].record->id);
    return RLV_DONE;
}

rlv_status history_rejoin_pieces_measure(history_rejoin_pieces* p, const rlv_history* history, size_t count,
                                         const rlv_piece_record* const* piece, double film_mm, rlv_answer* answer,
                                         rlv_error* error)
{
    if ((p->one = rlv_reserve(count, sizeof *p->one, error)) == NULL ||
        (p->told = rlv_reserve(count, sizeof *p->told, error)) == NULL ||
        (p->parent = rlv_reserve(count, sizeof *p->parent, error)) == NULL)
        return RLV_SYSTEM;
    p->count = count;
    rlv_status status = RLV_DONE;
    for (size_t k = 0; k < count && status == RLV_DONE; k++)
    {
        p->told[k] = &p->one[k].told;
        status = history_rejoin_prepare(&p->one[k], history, piece[k], film_mm, true, error);
    }
    if (status == RLV_DONE)
        status = check_frame(p, history, error);
    if (status != RLV_DONE)
        return status;
    share_blocks(p);
    find_parents(p);
    p->of.count = count;
    p->of.told = p->told;
    p->of.parent = p->parent;
    status = rejoin_pieces_measure(&p->of, answer, error);
    // What runs over a joint is told of those on the block itself; also where another piece found no place.
    for (size_t k = 0; k < count && (status == RLV_DONE || status == RLV_IMPOSSIBLE); k++)
        if (p->told[k]->measured && p->parent[k] == 0 && p->of.of.joint[p->of.of.body[k + 1].joint].into == 0)
        {
            rlv_error own = {0};
            const rlv_status across = history_across_measure(&p->one[k], answer, &own);
            if (across != RLV_DONE)
            {
                *error = own;
                status = across;
            }
        }
    return status;
}
