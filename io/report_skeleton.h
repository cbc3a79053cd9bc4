/// The skeleton in a specimen's report: its elements as measured, what has left its life position, and where bone may
/// still lie; all its tables, its JSON, and its section of the page.

#ifndef RLV_REPORT_SKELETON_H
#define RLV_REPORT_SKELETON_H

#include "history_sheets.h"
#include "page.h"
#include "report_articulation.h"
#include "report_elements.h"

enum
{
    SKELETON_TABLES = ELEMENTS_TABLES + ARTICULATION_TABLES
};

/// A zeroed one tells of no element. Free with report_skeleton_free.
typedef struct report_skeleton
{
    bool measured; ///< elements are
    bool judged;   ///< `articulation` is fitted
    history_elements elements;
    history_articulation articulation;
    rlv_table table[SKELETON_TABLES]; ///< as elements_table and then articulation_table have them
    char why[1056];                   ///< where elements are recorded, and not measured or not judged
} report_skeleton;

/// Measure and judge the elements of a history, into a zeroed `skeleton`; nothing where the record names none. What
/// cannot be measured or judged is a warning, and `why`. RLV_BAD_INPUT where points or parts are refused.
rlv_status report_skeleton_measure(report_skeleton* skeleton, const rlv_history* history, rlv_answer* answer,
                                   rlv_error* error);
void report_skeleton_free(report_skeleton* skeleton);

/// Put what `articulation` tells of a specimen into `record`; `table` are its own, as articulation_table has them. What
/// could not be fitted is null.
void report_articulation_record(json_t* record, const history_articulation* articulation, const rlv_table* table);

/// The section of the page: the word, what has moved, where to expect bone, what went with the spoil, which way they
/// went, and what could not be told; with those of `sheets` that are of it.
void report_skeleton_put(rlv_page* p, const report_skeleton* skeleton, const history_sheets* sheets);

#endif
