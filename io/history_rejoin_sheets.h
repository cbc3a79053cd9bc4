/// The sheets of a specimen's joints: each piece that was put back, laid open.

#ifndef RLV_HISTORY_REJOIN_SHEETS_H
#define RLV_HISTORY_REJOIN_SHEETS_H

#include "history_rejoin.h"
#include "history_sheets.h"

/// Draw the sheet of a piece that was put back into the answer's folder and a zeroed `list`, as `PIECE-joint.png`.
rlv_status history_rejoin_sheet_draw(history_sheets* list, const history_rejoin* rejoin,
                                     const history_sheet_order* order, rlv_answer* answer, rlv_error* error);

/// Those of `count` pieces that were measured, which must stay.
history_sheets_plan history_rejoin_sheets_of_all(size_t count, const history_rejoin* rejoin);

#endif
