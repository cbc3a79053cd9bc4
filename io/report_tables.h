/// The tables of a report: what was measured of a specimen's life, and what was recorded of it, as they go into
/// `tables/` and onto the page.
///
/// Each table is one CSV file, its meanings in `tables/meanings.csv`; the JSON holds the same rows. What is told of a
/// step stands under `from` and `to`, the ids of its two stages.

#ifndef RLV_REPORT_TABLES_H
#define RLV_REPORT_TABLES_H

#include "history.h"
#include "table.h"

typedef enum report_table
{
    // measured
    REPORT_STAGES,
    REPORT_SCALE_BARS,
    REPORT_POSES,
    REPORT_TRANSFORMS,
    REPORT_EDGES,
    REPORT_LOOPS,
    REPORT_REGIONS,
    REPORT_LIMITS,
    REPORT_VOLUMES,
    REPORT_MASSES,
    REPORT_VOLUMES_SO_FAR,
    REPORT_MASSES_SO_FAR,
    REPORT_VOLUME_CHECK,
    REPORT_MASS_BALANCE,
    REPORT_SPOIL_BALANCE,
    REPORT_RATES,
    REPORT_LEFT,
    // recorded
    REPORT_WORK,
    REPORT_TREATMENTS,
    REPORT_DECISIONS,
    REPORT_SPOIL,
    REPORT_PIECES,
    REPORT_ELEMENTS,
    REPORT_ROWS,
    REPORT_JOINTS,
    REPORT_DENSITIES,
    REPORT_INPUTS,
    REPORT_TABLES,
} report_table;

typedef struct report_path
{
    char text[80];
} report_path;

typedef struct report_tables
{
    rlv_table table[REPORT_TABLES];
} report_tables;

/// Fill all tables, or only those of what was measured: the others stay empty. `history` and the names in it must
/// outlive them. What a table lacks memory for is told when it is written. Free with report_tables_free.
report_tables report_tables_of(const rlv_history* history, const rlv_answer* answer);
report_tables report_tables_measured(const rlv_history* history);
void report_tables_free(report_tables* tables);

/// The regions of one step alone, without the stages' names; `wall`: as the wall has them, without areas and places
/// too, and last what a piece's own mesh tells of its joint, which is in no region. Free with table_free; `caption`
/// must outlive it.
rlv_table report_regions_of_step(const rlv_history* history, size_t step, bool wall, const char* caption);

/// Write all of them that have rows, and of `more` others, into `tables/`, and `tables/meanings.csv`.
rlv_status report_tables_keep(const report_tables* tables, size_t more, const rlv_table* other, out_folder* out,
                              rlv_error* error);

/// The path of a table from the page.
report_path report_table_path(const rlv_table* t);

/// The tables of what was recorded, and of the inputs: internal to the two files that fill tables.
rlv_table report_recorded(report_table which, const rlv_history* history, const rlv_answer* answer);

#endif
