/// The report as JSON: the record in standard terms, what was measured, and every row of every table.

#ifndef RLV_REPORT_RECORD_H
#define RLV_REPORT_RECORD_H

#include "report_rejoin.h"
#include "report_skeleton.h"
#include "report_tables.h"

/// Put it all into `record` (the answer's own keys stay before it). What could not be measured is null; `rejoin` may
/// be NULL, and is told in the findings alone (report_rejoin_record).
void report_record(json_t* record, const rlv_history* history, const report_tables* tables,
                   const report_skeleton* skeleton, const report_rejoin* rejoin);

/// Put one step into `object`: its change as `change` tells it of two meshes, and beside it classes, hours and
/// balances.
void report_record_step(json_t* object, const rlv_history* history, size_t step);

/// Put what all steps come to into `object`: classes, balances, and what is left of the block.
void report_record_sums(json_t* object, const rlv_history* history);

/// Put the frame that the stages are joined in into `object`.
void report_record_frame(json_t* object, const rlv_history* history);

/// A table's rows as a list: keys are those of the CSV, but a place is one list of three.
json_t* report_rows(const rlv_table* t);

#endif
