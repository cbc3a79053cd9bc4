/// The report's page: its sections in order, what everybody wants first at its head.
///
/// A part that is not recorded is one line. Dates are the specimen's; no clock is read.

#ifndef RLV_REPORT_PAGE_H
#define RLV_REPORT_PAGE_H

#include "history_sheets.h"
#include "page.h"
#include "report_tables.h"

/// What the page tells of.
typedef struct report_page_source
{
    const rlv_history* history;
    const report_tables* tables;
    const history_sheets* sheets;
    const rlv_answer* answer; ///< its warnings and parameters
} report_page_source;

/// Write the page into a file of the out folder.
rlv_status report_page_keep(const report_page_source* source, out_folder* out, const char* name, rlv_error* error);

/// The sections on methods and on what to be careful about.
void report_methods(rlv_page* p);
void report_cautions(rlv_page* p);

#endif
