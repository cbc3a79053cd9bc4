/// Several pieces put back as tables and as JSON.

#ifndef RLV_REJOIN_PIECES_RECORD_H
#define RLV_REJOIN_PIECES_RECORD_H

#include "record.h"
#include "rejoin_pieces.h"
#include "table.h"

/// The joints, a row each, and the rings. Free with table_free; `pieces` must outlive them.
rlv_table rejoin_joints_table(const rejoin_pieces* pieces);
rlv_table rejoin_rings_table(const rejoin_pieces* pieces);

/// Put all of it into `object`: `pieces` (each with the keys of one), `joints` and `rings`. The latter two are null
/// where nothing was `measured`.
void rejoin_pieces_record(json_t* object, const rejoin_pieces* pieces, bool measured);

/// Parts of that: the keys of one piece; and joints and rings.
void rejoin_pieces_record_piece(json_t* row, const rejoin_told* told);
void rejoin_pieces_record_whole(json_t* object, const rejoin_pieces* pieces);

#endif
