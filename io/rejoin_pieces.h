/// Several pieces put back, as they are told: each as one piece is (rejoin_told.h), the joints between them, and the
/// rings that these make.

#ifndef RLV_REJOIN_PIECES_H
#define RLV_REJOIN_PIECES_H

#include "rejoin_several.h"
#include "rejoin_told.h"
#include "report_words.h"

/// The pieces, and what was measured of them. Of a zeroed one `count` and `told` are the caller's to fill.
typedef struct rejoin_pieces
{
    size_t count;
    rejoin_told* const* told; ///< one a piece; the caller's
    size_t* parent;     ///< one a piece: the body that the record says it came off (0: the block); NULL: no record
    rejoin_part* block; ///< one a piece: the block, as it was given
    rlv_mesh* laid;     ///< one a piece: its mesh in its place, where another went on it
    rlv_several of;     ///< what the pieces' own joints held is in `told`
} rejoin_pieces;

/// Put the pieces back, into `pieces` with each `told` filled as for rejoin_told_measure; warnings go to the answer. A
/// piece that went on another has that for its block. RLV_IMPOSSIBLE where one could not be placed; what is known is
/// told. Free with rejoin_pieces_free, also after a failure; it leaves `told` and `parent` alone.
rlv_status rejoin_pieces_measure(rejoin_pieces* pieces, rlv_answer* answer, rlv_error* error);
void rejoin_pieces_free(rejoin_pieces* pieces);

/// What was measured of a joint by itself.
const rlv_rejoin* rejoin_pieces_joint(const rejoin_pieces* pieces, const rlv_several_joint* joint);

/// The names of a joint's two bodies.
const char* rejoin_pieces_into(const rejoin_pieces* pieces, const rlv_several_joint* joint);
const char* rejoin_pieces_from(const rejoin_pieces* pieces, const rlv_several_joint* joint);

/// The name of a body of a ring.
const char* rejoin_pieces_name(const rejoin_pieces* pieces, size_t body);

/// Whether a ring closes, as far as its joints tell.
bool rejoin_ring_closes(const rlv_several_ring* ring);

/// "block – lid – plug – block"
report_text rejoin_ring_name(const rejoin_pieces* pieces, const rlv_several_ring* ring);

/// "it closes: at the joint of plug on lid it misses by 0.27 mm and 0.33°, where 0.23 mm and 0.23° are to be expected
/// (p 0.19)"
report_text rejoin_ring_words(const rejoin_pieces* pieces, const rlv_several_ring* ring);

/// All that is told of rings, a sentence each without a full stop; `next` begins at 0. False where there is none any
/// more.
bool rejoin_rings_words(const rejoin_pieces* pieces, size_t* next, report_text* words);

#endif
