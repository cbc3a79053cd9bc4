/// Tables that a person wrote, as CSV (RFC 4180, read by libcsv): columns known by their names, in any order, each row
/// with its line. Internal to io.
///
/// Nothing is guessed: semicolons, tabs and decimal commas are refused in words that say what to do. A byte-order mark
/// is stepped over; lines end with LF, CRLF or CR; fields may be quoted, and hold line ends then; space about a field
/// that is not quoted is dropped; lines without anything are stepped over.

#ifndef RLV_TABLES_H
#define RLV_TABLES_H

#include "reading.h"

#define RLV_TABLE_COLUMNS 16

typedef struct rlv_table_column
{
    const char* name;
    bool optional; ///< the header may lack it, and a row may end before it
} rlv_table_column;

/// A table that is being read.
typedef struct rlv_table
{
    const rlv_reading* reading;
    const rlv_table_column* column;
    size_t column_count;                  ///< RLV_TABLE_COLUMNS at most
    size_t line;                          ///< on which the row begins, from 1
    const char* field[RLV_TABLE_COLUMNS]; ///< of the row, by column; NULL: empty, or not there
} rlv_table;

/// Read the whole text of `reading`, and call `take` for each row below the header; what it returns other than RLV_DONE
/// ends the reading. RLV_BAD_INPUT with the line for what is no such table.
rlv_status rlv_table_read(const rlv_reading* reading, const rlv_table_column* column, size_t column_count,
                          rlv_status (*take)(void* user, const rlv_table* table), void* user);

/// Refuse the row at hand, with its line.
rlv_status rlv_table_refuse(const rlv_table* table, const char* mend, const char* format, ...)
    __attribute__((format(printf, 3, 4)));

/// The finite number in a field that is not empty.
rlv_status rlv_table_number(const rlv_table* table, size_t column, double* number);

/// Refuse a row in which that field is empty.
rlv_status rlv_table_need(const rlv_table* table, size_t column);

#endif
