/// The pieces in a specimen's report: each with a mesh of its own put back, with its tables, its JSON and its part of
/// the page.

#ifndef RLV_REPORT_REJOIN_H
#define RLV_REPORT_REJOIN_H

#include "history_rejoin_pieces.h"
#include "history_sheets.h"
#include "page.h"
#include "rejoin_record.h"

enum
{
    REPORT_REJOIN_TABLES = REJOIN_TABLES + 2, ///< and the joints and the rings of several pieces
};

/// A zeroed one tells of no piece. Free with report_rejoin_free.
typedef struct report_rejoin
{
    const rlv_history* history; ///< whose pieces these are; must outlive it
    size_t count;
    history_rejoin* one;           ///< those that could not be put back say why; `several`'s where these are together
    history_rejoin_pieces several; ///< all of them, solved together
    bool together;                 ///< `several` is told: what was put back, joints and rings
    size_t table_count;
    rlv_table table[REPORT_REJOIN_TABLES];
} report_rejoin;

/// Put back every piece of a history that has a mesh of its own, into a zeroed `rejoin`, as `rejoin SPECIMEN` does: all
/// together; each by itself where their stages have no common frame, or there is only one. What does not fit is a
/// warning. RLV_BAD_INPUT where an outlined face is refused.
rlv_status report_rejoin_measure(report_rejoin* rejoin, const rlv_history* history, rlv_answer* answer,
                                 rlv_error* error);
void report_rejoin_free(report_rejoin* rejoin);

/// Put all pieces into `record`, a list under `rejoin`, joints and rings under `rejoin_together`, and the rows of their
/// tables beside those in its `tables`.
void report_rejoin_record(json_t* record, const report_rejoin* rejoin);

/// A line a piece, and a ring: what a terminal shows of them.
void report_rejoin_tell(FILE* text, const report_rejoin* rejoin);

/// The section of the page, with the pictures that are of it.
void report_rejoin_put(rlv_page* p, const report_rejoin* rejoin, const history_sheets* sheets);

#endif
