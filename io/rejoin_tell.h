/// A piece put back, or several, as a command tells it: to people, and as files of --out.

#ifndef RLV_REJOIN_TELL_H
#define RLV_REJOIN_TELL_H

#include "rejoin_pieces.h"

/// Write what people read of one piece, or of several, into the answer's text.
void rejoin_tell(rlv_answer* answer, const rejoin_told* told);
void rejoin_tell_pieces(rlv_answer* answer, const rejoin_pieces* pieces);

/// Write its files into the answer's folder, where there is one. Of several pieces those that were placed have a
/// picture and a mesh each, numbered as the pieces are.
rlv_status rejoin_keep(rlv_answer* answer, const rejoin_told* told, rlv_error* error);
rlv_status rejoin_keep_pieces(rlv_answer* answer, const rejoin_pieces* pieces, rlv_error* error);

#endif
