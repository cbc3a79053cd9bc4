/// The report's page, in the order in which a preparator asks: in short what went, what is left, whether any of it was
/// bone and whether it balances, warnings before all; what to look at next; each step; what is left; the skeleton; the
/// pieces put back; the balances; what was recorded; and how it was measured, for whoever doubts it.
///
/// A part that is not recorded is one line. Dates are the specimen's; no clock is read.

#ifndef RLV_REPORT_PAGE_H
#define RLV_REPORT_PAGE_H

#include "history_sheets.h"
#include "page.h"
#include "report_rejoin.h"
#include "report_skeleton.h"
#include "report_tables.h"

/// What the page tells of.
typedef struct report_page_source
{
    const rlv_history* history;
    const report_tables* tables;
    const history_sheets* sheets;
    const rlv_answer* answer; ///< its warnings and parameters
    const report_skeleton* skeleton;
    const report_rejoin* rejoin;
} report_page_source;

/// Write the page into a file of the out folder.
rlv_status report_page_keep(const report_page_source* source, out_folder* out, const char* name, rlv_error* error);

#endif
