/// What of a specimen runs over the joint of a piece that is put back: broken bones and rows, as points say.

#ifndef RLV_HISTORY_ACROSS_H
#define RLV_HISTORY_ACROSS_H

#include "history_rejoin.h"

/// Find every element that has points on the piece's own mesh and on what it goes back to, as a broken bone, and every
/// row of which either has elements; and measure them over the joint, into the piece's `told`, which was measured.
/// Points on the piece are those of its mesh's stage; on the block too, or where that shows too few of one run, of the
/// stage that shows the most of it while the piece is off. RLV_BAD_INPUT where points are refused (element.h).
rlv_status history_across_measure(history_rejoin* rejoin, rlv_answer* answer, rlv_error* error);

#endif
