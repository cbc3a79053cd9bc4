/// Tables: rows of cells under columns that say what they hold, written as CSV and shown to people from one source.
///
/// A column has a key with its unit (for CSV: `area_mm2`), a heading for people, and a sentence on what it means. A
/// file of meanings beside the CSV files lists those for all tables, so that a figure can be read in thirty years. In
/// CSV numbers are exact (they read back to the same bits) and in the units of the keys; people read millilitres,
/// square centimetres and millimetres, with no more figures than the uncertainty allows (words.h).
///
/// Cells are added one after another, row by row, each by the function of its column's kind. A call that does not
/// fit, or memory that is not to be had, is kept and told when the table is written, so that the calls themselves need
/// no checking.

#ifndef RLV_TABLE_H
#define RLV_TABLE_H

#include "out_folder.h"
#include "vector.h"
#include "words.h"

typedef enum table_kind
{
    TABLE_TEXT,
    TABLE_COUNT, ///< a whole number
    TABLE_FLAG,  ///< yes or no
    TABLE_NUMBER,
    TABLE_INTERVAL, ///< a number and its 95 % interval: three columns of CSV, one for people
    TABLE_PLACE,    ///< x, y and z: three columns of CSV, one for people
} table_kind;

typedef struct table_column
{
    const char* key;     ///< without its unit
    const char* unit;    ///< that ends the key: "mm", "mm2", "mm3", "g", "deg"…; NULL: none
    const char* heading; ///< for people, without unit; NULL: people are not shown it
    table_kind kind;
    const char* meaning; ///< a sentence
} table_column;

typedef struct table_cell
{
    table_kind kind;
    bool known;
    size_t text;      ///< where it begins among the table's texts
    double number[3]; ///< value; value, low and high; x, y and z
    double sd;        ///< standard uncertainty of a number or a place; 0: not known
    int figures;      ///< of a number that is itself an uncertainty, or a limit; 0: as `sd` allows
    bool to;          ///< told to so many decimals of its shown unit, whatever its uncertainty
    int decimals;     ///< those
} table_cell;

typedef struct rlv_table
{
    const char* name;    ///< of its file, without ".csv"
    const char* caption; ///< for people
    const char* dash;    ///< what a dash in it stands for, for people; told where there is one. NULL: nothing is said
    size_t column_count;
    const table_column* column;
    uint64_t beneath;             ///< bit i: on a page column i stands beneath the one before it
    size_t cell_count, cell_room; ///< row by row
    table_cell* cell;
    size_t text_size, text_room;
    char* text;
    bool out_of_memory, misused;
} rlv_table;

/// An empty table. `name`, `caption` and the columns must outlive it. Free with table_free.
rlv_table table_of(const char* name, const char* caption, size_t column_count, const table_column* column);
void table_free(rlv_table* t);

/// On a page the column of this key stands small beneath the one before it, and where a cell of it is not known nothing
/// stands there: for what is read along with that one, in a table that would else be too wide.
void table_beneath(rlv_table* t, const char* key);

/// Whether it does.
bool table_is_beneath(const rlv_table* t, size_t column);

/// The next cell. What is not known (NULL, NaN) is empty in CSV.
void table_text(rlv_table* t, const char* text);
void table_count(rlv_table* t, size_t count);
void table_flag(rlv_table* t, bool flag);
void table_number(rlv_table* t, double value,
                  double sd); ///< `sd` in the column's unit; 0: up to four figures are shown
void table_figures(rlv_table* t, double value, int figures); ///< so many figures are shown: of an sd, a limit, a p
void table_recorded(rlv_table* t, double value); ///< shown as it was written down: every figure, and none more
void table_interval(rlv_table* t, rlv_interval interval);
void table_found(rlv_table* t, rlv_interval interval); ///< of a thing that is there: never shown as 0, unless it is 0
/// So many decimals are shown, in the unit that people read: of figures that must add up as they stand.
void table_number_to(rlv_table* t, double value, int decimals);
void table_interval_to(rlv_table* t, rlv_interval interval, int decimals);
void table_place(rlv_table* t, rlv_vec3 place, double sd);
void table_none(rlv_table* t); ///< nothing there, in a column of any kind

/// RLV_SYSTEM where a cell was lost for want of memory or does not fit its column, or the last row is not full.
rlv_status table_check(const rlv_table* t, rlv_error* error);

/// Write it as CSV (RFC 4180, with line feeds), its column names first. `where` names the stream in an error.
rlv_status table_write_csv(const rlv_table* t, FILE* stream, const char* where, rlv_error* error);

/// Write it as `folder/name.csv`; `folder` is within the out folder, and NULL for itself.
rlv_status table_keep(const rlv_table* t, out_folder* out, const char* folder, rlv_error* error);

/// The file of meanings: its head, then the columns of one table after another, told to be in `file`. How many of the
/// table's rows have something in a column is told beside it: a column that nothing fills stays where it is, so that
/// what reads many specimens finds the same columns in each, and is known by its 0.
void table_write_meanings_head(FILE* stream);
void table_write_meanings(const rlv_table* t, const char* file, FILE* stream);

/// Write `count` tables so, and beside them `meanings.csv`; those without rows only where `empty_too`.
rlv_status table_keep_all(const rlv_table* table, size_t count, bool empty_too, out_folder* out, const char* folder,
                          rlv_error* error);

size_t table_rows(const rlv_table* t);

/// Whether people are shown a dash: something that is not known, in a column that they see.
bool table_has_dash(const rlv_table* t);

/// The heading for people of a column's unit: "mL" for "mm3"; "" where it has none.
const char* table_shown_unit(const table_column* column);

/// A cell as people read it. A bound on what was looked for and not found is told as that: "none told", "at most 0.18".
typedef struct table_shown
{
    const char* text; ///< of a text or flag; else NULL, and of a span of places, "13–20", which is in `number`
    rlv_words number; ///< else
    rlv_words ends;   ///< of an interval: "11.9 to 12.7"; else empty
} table_shown;
table_shown table_show(const rlv_table* t, size_t row, size_t column);

/// Tell it in lines that start with two spaces, the headings first: columns stand under each other, and those in which
/// nothing is known are left out; a text that is far too long ends in an ellipsis. Nothing where there is no row.
void table_tell(const rlv_table* t, FILE* text);

/// The same beneath an empty line and a heading; where it has no row, `none` in its place, or not even the heading
/// where that is NULL.
void table_tell_under(const rlv_table* t, FILE* text, const char* heading, const char* none);

#endif
