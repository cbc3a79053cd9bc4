/// Several pieces of a specimen put back together, each by its own mesh, in the block's frame.

#ifndef RLV_HISTORY_REJOIN_PIECES_H
#define RLV_HISTORY_REJOIN_PIECES_H

#include "history_rejoin.h"
#include "rejoin_pieces.h"

typedef struct history_rejoin_pieces
{
    size_t count;
    history_rejoin* one;
    rejoin_told** told; ///< of these
    size_t* parent;     ///< one a piece: what the record says it came off, among these
    rejoin_pieces of;
} history_rejoin_pieces;

/// The pieces that are named, or all that have a mesh of their own where `count` is 0: `*found` of them, into a list
/// that the caller frees. RLV_BAD_INPUT where one is none or is named twice, RLV_IMPOSSIBLE where the record has none.
rlv_status history_rejoin_choose_pieces(const rlv_piece_record*** piece, size_t* found, const rlv_specimen* specimen,
                                        size_t count, const char* const* id, rlv_error* error);

/// Put them back, into zeroed `pieces`, each at the last stage at which it is off. As rejoin_pieces_measure;
/// RLV_IMPOSSIBLE also where the stages that they need have no common frame. `history` must outlive it. Free with
/// history_rejoin_pieces_free, also after a failure.
rlv_status history_rejoin_pieces_measure(history_rejoin_pieces* pieces, const rlv_history* history, size_t count,
                                         const rlv_piece_record* const* piece, double film_mm, rlv_answer* answer,
                                         rlv_error* error);
void history_rejoin_pieces_free(history_rejoin_pieces* pieces);

#endif
