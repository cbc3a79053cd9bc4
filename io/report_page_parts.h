/// What the files of the report's page share: internal to them.

#ifndef RLV_REPORT_PAGE_PARTS_H
#define RLV_REPORT_PAGE_PARTS_H

#include "report_page.h"

/// A table with its CSV; false, and nothing on the page, where it has no rows.
bool report_page_table(rlv_page* p, const report_page_source* s, report_table which);

/// A table with its CSV, or a paragraph where it has no rows.
void report_page_table_or(rlv_page* p, const report_page_source* s, report_table which, const char* without);

/// A paragraph, or a fact, of a text that is put together.
__attribute__((format(printf, 2, 3))) void report_page_say(rlv_page* p, const char* format, ...);
__attribute__((format(printf, 3, 4))) void report_page_tell(rlv_page* p, const char* name, const char* format, ...);

/// What was recorded: the specimen and how it lay, how it will be shown, treatments and decisions, spoil, pieces,
/// elements.
void report_page_recorded(rlv_page* p, const report_page_source* s);

/// How it was measured: stages and their meshes, scale, one frame, limits, methods; inputs, parameters, files.
void report_page_technical(rlv_page* p, const report_page_source* s);

/// What a reader could get wrong, or be hurt by, where it belongs.
typedef enum report_caution
{
    REPORT_CAUTION_CUT,     ///< what has been cut cannot be put back
    REPORT_CAUTION_DUST,    ///< dust and solvents
    REPORT_CAUTION_LIFTING, ///< lifting and tipping, and what a block is not to be lifted by
} report_caution;
void report_page_caution(rlv_page* p, const rlv_history* history, report_caution caution);

/// The pictures of a kind; `stage` as the sheets have it.
void report_page_pictures(rlv_page* p, const history_sheets* sheets, history_sheet_kind kind, size_t stage);

#endif
