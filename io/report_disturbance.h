/// Which way the elements of a disturbed skeleton went, and how they lie, as tables and sentences.

#ifndef RLV_REPORT_DISTURBANCE_H
#define RLV_REPORT_DISTURBANCE_H

#include "history_articulation.h"
#include "report_words.h"
#include "table.h"

typedef enum disturbance_table
{
    DISTURBANCE_MOTIONS, ///< a row a motion: of an element, or of a stretch
    DISTURBANCE_LEVEL,   ///< which way they went in the level: of all, each row, each part of the body
    DISTURBANCE_SPACE,   ///< and in space
    DISTURBANCE_AXES,    ///< how poles and long axes lie
    DISTURBANCE_CARRIED, ///< one row, where an element lies off its row: whether a current carried it
    DISTURBANCE_TABLES,
} disturbance_table;

/// One of the tables; empty where nothing was fitted. `articulation` must outlive it. Free with table_free.
rlv_table disturbance_table_of(const history_articulation* articulation, disturbance_table which);

/// Which way they went, by both ways to tell it: what is counted of motions alone, and what is weighed with all that is
/// loose. Without a full stop at its end.
report_text disturbance_brief(const history_articulation* articulation);

/// What is said of all of them, without full stops: which way in the level, in space, and how poles and long axes lie.
report_lines disturbance_lines(const history_articulation* articulation);

#endif
