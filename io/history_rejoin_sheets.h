/// The sheets of a specimen's joints: each piece that was put back, laid open.

#ifndef RLV_HISTORY_REJOIN_SHEETS_H
#define RLV_HISTORY_REJOIN_SHEETS_H

#include "history_rejoin.h"
#include "history_sheets.h"

/// Draw the sheet of a piece that was put back into the answer's folder and a zeroed `list`, as `PIECE-joint.png`.
rlv_status history_rejoin_sheet_draw(history_sheets* list, const history_rejoin* rejoin,
                                     const history_sheet_order* order, rlv_answer* answer, rlv_error* error);

/// Draw those of `count` pieces that were measured into `pictures/` of the answer's folder, each as PNG and as PDF, and
/// add them to `list`.
rlv_status history_rejoin_sheets_draw(history_sheets* list, size_t count, const history_rejoin* rejoin,
                                      rlv_answer* answer, rlv_error* error);

#endif
