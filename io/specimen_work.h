/// What a command on a specimen holds, and how its answer begins and lists.

#ifndef RLV_SPECIMEN_WORK_H
#define RLV_SPECIMEN_WORK_H

#include "history_sheets.h"
#include "report_tables.h"
#include "report_words.h"
#include "specimen_between.h"

/// The record, what was measured of it, and what is told of that. A zeroed one holds nothing.
typedef struct specimen_work
{
    rlv_specimen specimen;
    specimen_between between; ///< where two stages were named
    rlv_history history;
    report_tables tables;
    history_sheets sheets;
} specimen_work;

void specimen_work_free(specimen_work* work);

/// "LQ-0417, Armoured fish: 6 stages", and a new line.
void specimen_tell_heading(FILE* text, const rlv_specimen* specimen, const char* what);

/// Each line by its name, indented.
void specimen_tell_lines(FILE* text, const report_lines* lines);

#endif
