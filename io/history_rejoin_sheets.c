#include "history_rejoin_sheets.h"

#include "history_sheet_job.h"
#include "rejoin_sheet.h"

static rlv_status draw(drawn_sheet* drawn, const history_rejoin* rejoin, const history_sheet_order* order, bool all,
                       rlv_error* error)
{
    rejoin_sheet joint = {0};
    sheet_job job = {.drawn = drawn, .history = rejoin->history, .order = *order, .all = all};
    rlv_status status = rejoin_sheet_draw(&joint, &rejoin->told, order->scale, error);
    job.title = joint.title;
    job.left_out = joint.left_out;
    if (status == RLV_DONE)
        status = sheet_keep(&job, &joint.sheet, joint.caption, joint.alt, error);
    rejoin_sheet_free(&joint);
    return status;
}

rlv_status history_rejoin_sheet_draw(history_sheets* list, const history_rejoin* rejoin,
                                     const history_sheet_order* order, rlv_answer* answer, rlv_error* error)
{
    drawn_sheet drawn = {0};
    rlv_status status = draw(&drawn, rejoin, order, false, error);
    if (status == RLV_DONE)
        status = sheet_keep_drawn(list, &drawn, answer, error);
    sheet_free_drawn(&drawn);
    return status;
}

static rlv_status draw_some(drawn_sheet* drawn, const void* of, size_t index, rlv_error* error)
{
    const history_rejoin* rejoin = (const history_rejoin*)of + index;
    const rejoin_told* told = &rejoin->told;
    const history_sheet_order order = {.kind = HISTORY_SHEET_JOINT,
                                       .stage = told->measured ? (size_t)(told->record - told->specimen->piece) : 0};
    return told->measured ? draw(drawn, rejoin, &order, true, error) : RLV_DONE;
}

history_sheets_plan history_rejoin_sheets_of_all(size_t count, const history_rejoin* rejoin)
{
    return (history_sheets_plan){count, draw_some, rejoin};
}
