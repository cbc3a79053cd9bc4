/// A piece of a specimen put back: from its own mesh, the block at that stage, the stage before it came off, and the
/// one at which it is back.

#ifndef RLV_HISTORY_REJOIN_H
#define RLV_HISTORY_REJOIN_H

#include "history.h"
#include "rejoin_told.h"

/// A piece and its meshes, in the block's frame where the stages are joined, else in that of the block's stage.
typedef struct history_rejoin
{
    rejoin_told told;
    const rlv_history* history;
    size_t stage;      ///< that the piece's mesh was made at
    rlv_mesh moved[3]; ///< of the block, the stage before and the stage after; empty where their own serve
    uint8_t* face[2];  ///< of the block and of the piece
    uint8_t* bone[2];  ///< the same
} history_rejoin;

/// The mesh of a piece at the stage of the joint; NULL where it has none.
const history_piece* history_rejoin_mesh_at(const history_rejoin* rejoin, const rlv_piece_record* piece);

/// The piece of an id, which has a mesh of its own. RLV_BAD_INPUT where there is none; the error lists those that would
/// do.
rlv_status history_rejoin_choose(const rlv_piece_record** piece, const rlv_specimen* specimen, const char* id,
                                 rlv_error* error);

/// Gather what a piece is put back by, into a zeroed `rejoin`, without measuring. `in_block`: in the block's frame,
/// also where what it came off is aside. RLV_BAD_INPUT where it has no mesh, or an outlined face is refused.
rlv_status history_rejoin_prepare(history_rejoin* rejoin, const rlv_history* history, const rlv_piece_record* piece,
                                  double film_mm, bool in_block, rlv_error* error);

/// Put a piece back, into a zeroed `rejoin`; inputs are read already, pieces too. Of its meshes the last is taken at a
/// stage at which it is off. What it came off is the block at that stage, or its parent's own mesh where that is aside.
/// Bone is what masks say of either at that stage; what runs over the joint is measured too (history_across.h).
/// As rejoin_told_measure; RLV_BAD_INPUT also where an outlined face, a mask or an element's points are refused.
/// `history` must outlive it. Free with history_rejoin_free, also after a failure.
rlv_status history_rejoin_measure(history_rejoin* rejoin, const rlv_history* history, const rlv_piece_record* piece,
                                  double film_mm, rlv_answer* answer, rlv_error* error);
void history_rejoin_free(history_rejoin* rejoin);

#endif
