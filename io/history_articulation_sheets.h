/// The sheets of a specimen's skeleton: its bone map on the block at true scale, its unrolled body plan, and the
/// directions of what was displaced.

#ifndef RLV_HISTORY_ARTICULATION_SHEETS_H
#define RLV_HISTORY_ARTICULATION_SHEETS_H

#include "history_articulation.h"
#include "history_sheets.h"

/// The stage that a skeleton is shown on where nobody names one: the last, or that of the frame where they are not
/// joined.
size_t articulation_sheet_stage(const rlv_history* history);

/// Draw one sheet (HISTORY_SHEET_BONES, _PLAN or _DIRECTIONS) of a fitted articulation into the answer's folder and a
/// zeroed `list`, as `KIND[-VIEW].png`. A bone map shows the block at the order's stage, at 1 : 1 unless the order says
/// otherwise; the others are of all stages, and from no side. RLV_IMPOSSIBLE where that stage is not in the block's
/// frame, or there is no direction that a sheet of them could show; as history_view_find where the view cannot be had.
rlv_status articulation_sheet_draw(history_sheets* list, const history_articulation* articulation,
                                   const history_sheet_order* order, rlv_answer* answer, rlv_error* error);

/// All of them that can be. `articulation` must stay.
history_sheets_plan articulation_sheets_of_all(const history_articulation* articulation);

#endif
