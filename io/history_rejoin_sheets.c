#include "history_rejoin_sheets.h"

#include "history_sheet_job.h"
#include "rejoin_sheet.h"

static rlv_status draw(history_sheets* list, const history_rejoin* rejoin, const history_sheet_order* order, bool all,
                       rlv_answer* answer, rlv_error* error)
{
    rejoin_sheet joint = {0};
    drawn_sheet drawn = {0};
    sheet_job job = {.drawn = &drawn, .history = rejoin->history, .order = *order, .all = all};
    rlv_status status = rejoin_sheet_draw(&joint, &rejoin->told, order->scale, error);
    job.title = joint.title;
    job.left_out = joint.left_out;
    if (status == RLV_DONE)
        status = sheet_keep(&job, &joint.sheet, joint.caption, joint.alt, error);
    if (status == RLV_DONE)
        status = sheet_keep_drawn(list, &drawn, answer, error);
    sheet_free_drawn(&drawn);
    rejoin_sheet_free(&joint);
    return status;
}

rlv_status history_rejoin_sheet_draw(history_sheets* list, const history_rejoin* rejoin,
                                     const history_sheet_order* order, rlv_answer* answer, rlv_error* error)
{
    return draw(list, rejoin, order, false, answer, error);
}

rlv_status history_rejoin_sheets_draw(history_sheets* list, size_t count, const history_rejoin* rejoin,
                                      rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        const rejoin_told* told = &rejoin[i].told;
        if (!told->measured)
            continue;
        const history_sheet_order order = {.kind = HISTORY_SHEET_JOINT,
                                           .stage = (size_t)(told->record - told->specimen->piece)};
        status = draw(list, &rejoin[i], &order, true, answer, error);
    }
    return status;
}
