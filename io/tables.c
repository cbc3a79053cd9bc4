#include "tables.h"

#include "number.h"
#include "text_file.h"

#include <csv.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIELDS 64 ///< of a row that is kept so that it can be refused; those beyond are only counted

/// What passes between libcsv and a table.
typedef struct reader
{
    rlv_table table;
    struct csv_parser parser;
    rlv_status (*take)(void* user, const rlv_table* table);
    void* user;
    size_t line;        ///< that is being fed
    bool begun;         ///< a row has begun
    char* text[FIELDS]; ///< fields of the row, each with a block of its own that is used again
    size_t room[FIELDS];
    size_t field_count;
    bool header_read;
    size_t header_count;
    size_t column_of[RLV_TABLE_COLUMNS]; ///< of the header's fields
    rlv_status status;
} reader;

rlv_status rlv_table_refuse(const rlv_table* table, const char* mend, const char* format, ...)
{
    char what[sizeof table->reading->error->what], where[sizeof table->reading->error->where];
    snprintf(where, sizeof where, "%.900s:%zu", table->reading->path, table->line);
    va_list words;
    va_start(words, format);
    rlv_print_list(what, sizeof what, format, words);
    va_end(words);
    return rlv_fail(table->reading->error, RLV_BAD_INPUT, where, mend, "%s", what);
}

rlv_status rlv_table_need(const rlv_table* table, size_t column)
{
    if (table->field[column] != NULL)
        return RLV_DONE;
    return rlv_table_refuse(table, "fill it in, or take the row away", "%s is empty", table->column[column].name);
}

rlv_status rlv_table_number(const rlv_table* table, size_t column, double* number)
{
    const char* text = table->field[column];
    const char* name = table->column[column].name;
    rlv_status status = rlv_table_need(table, column);
    if (status != RLV_DONE)
        return status;
    const char* end = rlv_number(text, number, table->reading->plain);
    if (end != NULL && *end == '\0' && isfinite(*number))
        return RLV_DONE;
    if (end != NULL && *end == ',')
        return rlv_table_refuse(table, "write a decimal point, and nothing between thousands",
                                "%s: '%.40s' has a comma", name, text);
    if (end != NULL && *end == '\0')
        return rlv_table_refuse(table, "give the number, or take the row away", "%s: '%.40s' is no finite number", name,
                                text);
    return rlv_table_refuse(table, "write it as 12.5: the unit is in the column's name or the mesh's",
                            "%s: '%.40s' is not a number", name, text);
}

/// The header of a table that other programs part by semicolons or tabs.
static rlv_status check_parting(const reader* r)
{
    if (r->field_count > 1)
        return RLV_DONE;
    if (strchr(r->text[0], ';') != NULL)
        return rlv_table_refuse(&r->table, "save it as CSV with commas between columns and points in numbers",
                                "the columns are parted by semicolons");
    if (strchr(r->text[0], '\t') != NULL)
        return rlv_table_refuse(&r->table, "save it as CSV with commas between columns and points in numbers",
                                "the columns are parted by tabs");
    return RLV_DONE;
}

/// All names of columns, for the way out of an error.
static void name_columns(const reader* r, char* words, size_t size)
{
    size_t used = 0;
    for (size_t i = 0; i < r->table.column_count && used < size; i++)
        used += (size_t)snprintf(words + used, size - used, "%s%s", i == 0 ? "the columns are " : ",",
                                 r->table.column[i].name);
}

static rlv_status read_header(reader* r)
{
    char mend[256];
    bool seen[RLV_TABLE_COLUMNS] = {false};
    rlv_status status = check_parting(r);
    if (status != RLV_DONE)
        return status;
    name_columns(r, mend, sizeof mend);
    for (size_t i = 0; i < r->field_count; i++)
    {
        size_t column = 0;
        const char* name = i < FIELDS ? r->text[i] : "";
        while (column < r->table.column_count && strcmp(name, r->table.column[column].name) != 0)
            column++;
        if (column == r->table.column_count)
            return rlv_table_refuse(&r->table, mend, "there is no column '%.60s'", name);
        if (seen[column])
            return rlv_table_refuse(&r->table, "leave one of them out", "the column %s stands there twice", name);
        seen[column] = true;
        r->column_of[i] = column;
    }
    for (size_t i = 0; i < r->table.column_count; i++)
        if (!seen[i] && !r->table.column[i].optional)
            return rlv_table_refuse(&r->table, mend, "the column %s is missing", r->table.column[i].name);
    r->header_count = r->field_count;
    r->header_read = true;
    return RLV_DONE;
}

static rlv_status read_row(reader* r)
{
    size_t lacking = r->header_count; // the first column that has to be there, behind the row's end
    for (size_t i = r->field_count; i < r->header_count && lacking == r->header_count; i++)
        if (!r->table.column[r->column_of[i]].optional)
            lacking = i;
    if (r->field_count > r->header_count || lacking < r->header_count)
        return rlv_table_refuse(&r->table,
                                r->field_count > r->header_count
                                    ? "write decimal points, and put quotes about text that holds a comma"
                                    : "fill the row, leaving what is not known empty between commas",
                                "%zu fields, where the header has %zu", r->field_count, r->header_count);
    memset(r->table.field, 0, sizeof r->table.field);
    for (size_t i = 0; i < r->field_count; i++)
        r->table.field[r->column_of[i]] = r->text[i][0] != '\0' ? r->text[i] : NULL;
    return r->take(r->user, &r->table);
}

/// libcsv has a field.
static void take_field(void* bytes, size_t size, void* user)
{
    reader* r = user;
    size_t at = r->field_count++;
    if (r->status != RLV_DONE || at >= FIELDS)
        return;
    if (r->room[at] < size + 1)
    {
        char* wider = realloc(r->text[at], 2 * (size + 1));
        if (wider == NULL)
        {
            r->status = rlv_fail(r->table.reading->error, RLV_SYSTEM, r->table.reading->path, "close other programs",
                                 "no memory for a table");
            return;
        }
        r->text[at] = wider;
        r->room[at] = 2 * (size + 1);
    }
    if (size > 0)
        memcpy(r->text[at], bytes, size);
    r->text[at][size] = '\0';
}

/// A row of commas only, as spreadsheets leave them behind.
static bool nothing_in(const reader* r)
{
    for (size_t i = 0; i < r->field_count && i < FIELDS; i++)
        if (r->text[i][0] != '\0')
            return false;
    return r->field_count <= FIELDS;
}

/// libcsv has a row.
static void take_row(int end, void* user)
{
    reader* r = user;
    (void)end;
    if (r->status == RLV_DONE && !nothing_in(r))
        r->status = r->header_read ? read_row(r) : read_header(r);
    r->field_count = 0;
    r->begun = false;
}

/// Feed libcsv line by line, so that the line of a row is known.
static rlv_status feed(reader* r)
{
    const rlv_reading* reading = r->table.reading;
    const char* text = (const char*)reading->data;
    size_t at = rlv_text_start(reading);
    while (at < reading->size && r->status == RLV_DONE)
    {
        size_t end = at;
        while (end < reading->size && text[end] != '\n' && (text[end] != '\r' || text[end + 1] == '\n'))
            end++;
        end += end < reading->size;
        const bool empty = !r->begun && strspn(text + at, " \t\r\n") >= end - at;
        if (!r->begun)
            r->table.line = r->line;
        r->begun = !empty; // until the row ends
        if (csv_parse(&r->parser, text + at, end - at, take_field, take_row, r) != end - at && r->status == RLV_DONE)
            return csv_error(&r->parser) == CSV_EPARSE
                       ? rlv_table_refuse(&r->table, "write a quote within quotes twice, and nothing behind the last",
                                          "a quote stands where none can")
                       : rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs",
                                  "no memory for a table");
        at = end;
        r->line++;
    }
    if (r->status == RLV_DONE && csv_fini(&r->parser, take_field, take_row, r) != 0 && r->status == RLV_DONE)
        return rlv_table_refuse(&r->table, "close it", "a quote is opened here and never closed");
    return r->status;
}

rlv_status rlv_table_read(const rlv_reading* reading, const rlv_table_column* column, size_t column_count,
                          rlv_status (*take)(void* user, const rlv_table* table), void* user)
{
    reader r = {.table = {.reading = reading, .column = column, .column_count = column_count, .line = 1},
                .take = take,
                .user = user,
                .line = 1};
    if (csv_init(&r.parser, CSV_STRICT | CSV_STRICT_FINI) != 0)
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs", "no memory for a table");
    rlv_status status = feed(&r);
    if (status == RLV_DONE && !r.header_read)
    {
        r.table.line = 1;
        status = rlv_table_refuse(&r.table, "begin it with the names of its columns", "the table has no header");
    }
    csv_free(&r.parser);
    for (size_t i = 0; i < FIELDS; i++)
        free(r.text[i]);
    return status;
}
