#include "table.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// How people read a unit of the keys.
typedef struct shown_unit
{
    const char *key, *shown;
    double size; ///< of the shown one, in the key's
} shown_unit;

static const shown_unit shown_units[] = {{"mm3", "mL", 1000.0}, {"mm2", "cm²", 100.0},   {"deg", "°", 1.0},
                                         {"percent", "%", 1.0}, {"g_cm3", "g/cm³", 1.0}, {"mm3_per_h", "mL/h", 1000.0}};

static const shown_unit* find_unit(const table_column* column)
{
    for (size_t i = 0; column->unit != NULL && i < sizeof shown_units / sizeof shown_units[0]; i++)
        if (strcmp(shown_units[i].key, column->unit) == 0)
            return &shown_units[i];
    return NULL;
}

const char* table_shown_unit(const table_column* column)
{
    const shown_unit* unit = find_unit(column);
    return unit != NULL ? unit->shown : column->unit != NULL ? column->unit : "";
}

rlv_table table_of(const char* name, const char* caption, size_t column_count, const table_column* column)
{
    return (rlv_table){.name = name, .caption = caption, .column_count = column_count, .column = column};
}

void table_beneath(rlv_table* t, const char* key)
{
    size_t i = 1;
    while (i < t->column_count && strcmp(t->column[i].key, key) != 0)
        i++;
    if (i < t->column_count && i < 64)
        t->beneath |= UINT64_C(1) << i;
    else
        t->misused = true;
}

bool table_is_beneath(const rlv_table* t, size_t column)
{
    return column < 64 && (t->beneath >> column & 1) != 0;
}

void table_free(rlv_table* t)
{
    free(t->cell);
    free(t->text);
    *t = (rlv_table){0};
}

/// Room for `more` elements beyond `count`; false where the memory is not to be had.
static bool grow(void** block, size_t count, size_t more, size_t* room, size_t size)
{
    if (count + more <= *room)
        return true;
    size_t wanted = 2 * (count + more) + 64;
    void* grown = realloc(*block, wanted * size);
    if (grown == NULL)
        return false;
    *block = grown;
    *room = wanted;
    return true;
}

static void add(rlv_table* t, table_cell cell)
{
    void* block = t->cell;
    if (!grow(&block, t->cell_count, 1, &t->cell_room, sizeof cell))
    {
        t->out_of_memory = true;
        return;
    }
    t->cell = block;
    t->misused = t->misused || (cell.known && cell.kind != t->column[t->cell_count % t->column_count].kind);
    t->cell[t->cell_count++] = cell;
}

void table_none(rlv_table* t)
{
    add(t, (table_cell){.known = false});
}

void table_text(rlv_table* t, const char* text)
{
    void* block = t->text;
    size_t length = text != NULL ? strlen(text) + 1 : 0;
    if (!grow(&block, t->text_size, length, &t->text_room, 1))
    {
        t->out_of_memory = true;
        return;
    }
    t->text = block;
    if (text != NULL)
        memcpy(t->text + t->text_size, text, length);
    add(t, (table_cell){.kind = TABLE_TEXT, .known = text != NULL, .text = t->text_size});
    t->text_size += length;
}

void table_count(rlv_table* t, size_t count)
{
    add(t, (table_cell){.kind = TABLE_COUNT, .known = true, .number = {(double)count}});
}

void table_flag(rlv_table* t, bool flag)
{
    add(t, (table_cell){.kind = TABLE_FLAG, .known = true, .number = {flag ? 1.0 : 0.0}});
}

void table_number(rlv_table* t, double value, double sd)
{
    add(t, (table_cell){.kind = TABLE_NUMBER, .known = isfinite(value), .number = {value}, .sd = sd});
}

void table_figures(rlv_table* t, double value, int figures)
{
    add(t, (table_cell){.kind = TABLE_NUMBER, .known = isfinite(value), .number = {value}, .figures = figures});
}

void table_interval(rlv_table* t, rlv_interval interval)
{
    add(t, (table_cell){.kind = TABLE_INTERVAL,
                        .known = isfinite(interval.value),
                        .number = {interval.value, interval.low, interval.high}});
}

static void show_to(rlv_table* t, int decimals)
{
    if (t->out_of_memory)
        return;
    t->cell[t->cell_count - 1].to = true;
    t->cell[t->cell_count - 1].decimals = decimals;
}

void table_number_to(rlv_table* t, double value, int decimals)
{
    table_number(t, value, 0.0);
    show_to(t, decimals);
}

void table_interval_to(rlv_table* t, rlv_interval interval, int decimals)
{
    table_interval(t, interval);
    show_to(t, decimals);
}

void table_found(rlv_table* t, rlv_interval interval)
{
    const shown_unit* in = find_unit(&t->column[t->cell_count % t->column_count]);
    if (isfinite(interval.value) && !words_is_bound(interval))
        table_interval_to(t, interval, words_found_decimals(interval, in != NULL ? in->size : 1.0));
    else
        table_interval(t, interval);
}

void table_recorded(rlv_table* t, double value)
{
    const shown_unit* in = find_unit(&t->column[t->cell_count % t->column_count]);
    table_number_to(t, value, isfinite(value) ? words_written(value / (in != NULL ? in->size : 1.0)) : 0);
}

void table_place(rlv_table* t, rlv_vec3 place, double sd)
{
    add(t, (table_cell){.kind = TABLE_PLACE,
                        .known = isfinite(place.x) && isfinite(place.y) && isfinite(place.z),
                        .number = {place.x, place.y, place.z},
                        .sd = sd});
}

rlv_status table_check(const rlv_table* t, rlv_error* error)
{
    if (t->out_of_memory)
        return rlv_fail(error, RLV_SYSTEM, t->name, "close other programs", "no memory for a table");
    if (t->misused || t->column_count == 0 || t->cell_count % t->column_count != 0)
        return rlv_fail(error, RLV_SYSTEM, t->name, NULL, "its cells do not fit its columns");
    return RLV_DONE;
}

size_t table_rows(const rlv_table* t)
{
    return t->column_count > 0 ? t->cell_count / t->column_count : 0;
}

bool table_has_dash(const rlv_table* t)
{
    for (size_t i = 0; i < t->cell_count; i++)
    {
        const size_t column = i % t->column_count;
        if (!t->cell[i].known && t->column[column].heading != NULL && !table_is_beneath(t, column))
            return true;
    }
    return false;
}

// --- CSV -------------------------------------------------------------------------------------------------------------

/// How the names of a column's parts differ.
static const char* const* parts_of(const table_column* column, size_t* count)
{
    static const char* const one[] = {""};
    static const char* const interval[] = {"", "_low", "_high"};
    static const char* const place[] = {"_x", "_y", "_z"};
    *count = column->kind == TABLE_INTERVAL || column->kind == TABLE_PLACE ? 3 : 1;
    return column->kind == TABLE_INTERVAL ? interval : column->kind == TABLE_PLACE ? place : one;
}

static void write_key(const table_column* column, const char* part, FILE* stream)
{
    fprintf(stream, "%s%s%s%s", column->key, part, column->unit != NULL ? "_" : "",
            column->unit != NULL ? column->unit : "");
}

static void write_head(const rlv_table* t, FILE* stream)
{
    for (size_t i = 0; i < t->column_count; i++)
    {
        size_t count;
        const char* const* part = parts_of(&t->column[i], &count);
        for (size_t k = 0; k < count; k++)
        {
            fputs(i + k > 0 ? "," : "", stream);
            write_key(&t->column[i], part[k], stream);
        }
    }
    fputc('\n', stream);
}

static void write_cell(const rlv_table* t, const table_cell* cell, const table_column* column, FILE* stream)
{
    size_t count;
    parts_of(column, &count);
    for (size_t k = 0; k < count; k++)
    {
        fputs(k > 0 ? "," : "", stream);
        if (!cell->known)
            continue;
        if (column->kind == TABLE_TEXT)
            words_write_csv(stream, t->text + cell->text);
        else if (column->kind == TABLE_FLAG)
            fputs(cell->number[0] != 0.0 ? "yes" : "no", stream);
        else if (column->kind == TABLE_COUNT)
            fprintf(stream, "%.0f", cell->number[0]);
        else
            fputs(words_exact(cell->number[k]).text, stream);
    }
}

rlv_status table_write_csv(const rlv_table* t, FILE* stream, const char* where, rlv_error* error)
{
    rlv_status status = table_check(t, error);
    if (status != RLV_DONE)
        return status;
    write_head(t, stream);
    for (size_t i = 0; i < t->cell_count; i++)
    {
        fputs(i % t->column_count > 0 ? "," : "", stream);
        write_cell(t, &t->cell[i], &t->column[i % t->column_count], stream);
        if ((i + 1) % t->column_count == 0)
            fputc('\n', stream);
    }
    return !ferror(stream) ? RLV_DONE
                           : rlv_fail(error, RLV_SYSTEM, where, "make room on the disk",
                                      "the table could not be written: %s", strerror(errno));
}

/// Add `folder/file.csv`; `folder` may be NULL.
static rlv_status add_csv(FILE** stream, out_folder* out, const char* folder, const char* file, rlv_error* error)
{
    char* name = NULL;
    if (asprintf(&name, "%s%s%s.csv", folder != NULL ? folder : "", folder != NULL ? "/" : "", file) < 0)
        return rlv_fail(error, RLV_SYSTEM, out->path, "close other programs", "no memory for a name");
    const rlv_status status = out_folder_add(out, name, stream, error);
    free(name);
    return status;
}

rlv_status table_keep(const rlv_table* t, out_folder* out, const char* folder, rlv_error* error)
{
    FILE* stream = NULL;
    rlv_status status = add_csv(&stream, out, folder, t->name, error);
    if (status == RLV_DONE)
        status = table_write_csv(t, stream, out->file[out->file_count - 1].path, error);
    return status == RLV_DONE ? out_folder_finish(out, stream, error) : status;
}

void table_write_meanings_head(FILE* stream)
{
    fputs("file,column,unit,kind,meaning,rows,filled\n", stream);
}

/// What a part of a column adds to its meaning.
static const char* part_meaning(table_kind kind, size_t part)
{
    static const char* const interval[] = {"", " Lower end of its 95 % interval.", " Upper end of its 95 % interval."};
    static const char* const place[] = {" Along x.", " Along y.", " Along z."};
    return kind == TABLE_INTERVAL ? interval[part] : kind == TABLE_PLACE ? place[part] : "";
}

/// In how many rows a part of a column says something.
static size_t rows_filled(const rlv_table* t, size_t column, size_t part)
{
    size_t filled = 0;
    for (size_t i = column; i < t->cell_count; i += t->column_count)
        filled += t->cell[i].known && !isnan(t->cell[i].number[part]);
    return filled;
}

void table_write_meanings(const rlv_table* t, const char* file, FILE* stream)
{
    static const char* const kind[] = {"text", "whole number", "yes or no", "number", "number", "number"};
    char meaning[1024];
    for (size_t i = 0; i < t->column_count; i++)
    {
        const table_column* column = &t->column[i];
        size_t count;
        const char* const* part = parts_of(column, &count);
        for (size_t k = 0; k < count; k++)
        {
            words_write_csv(stream, file);
            fputc(',', stream);
            write_key(column, part[k], stream);
            fprintf(stream, ",%s,%s,", column->unit != NULL ? column->unit : "", kind[column->kind]);
            snprintf(meaning, sizeof meaning, "%s%s", column->meaning, part_meaning(column->kind, k));
            words_write_csv(stream, meaning);
            fprintf(stream, ",%zu,%zu\n", table_rows(t), rows_filled(t, i, k));
        }
    }
}

rlv_status table_keep_all(const rlv_table* table, size_t count, bool empty_too, out_folder* out, const char* folder,
                          rlv_error* error)
{
    FILE* meanings = NULL;
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        if (empty_too || table_rows(&table[i]) > 0)
            status = table_keep(&table[i], out, folder, error);
    if (status == RLV_DONE)
        status = add_csv(&meanings, out, folder, "meanings", error);
    if (status != RLV_DONE)
        return status;
    table_write_meanings_head(meanings);
    for (size_t i = 0; i < count; i++)
        if (empty_too || table_rows(&table[i]) > 0)
        {
            char file[64];
            snprintf(file, sizeof file, "%s.csv", table[i].name);
            table_write_meanings(&table[i], file, meanings);
        }
    return out_folder_finish(out, meanings, error);
}

// --- For people ------------------------------------------------------------------------------------------------------

/// Where the hyphen of a span of places is, in "13-20" or "13-20 of LL"; 0 where there is none. Ids may look like one,
/// so that the column must be of places.
static size_t span_hyphen(const table_column* column, const char* text)
{
    if (strncmp(column->key, "place", strlen("place")) != 0)
        return 0;
    const size_t first = strspn(text, "0123456789");
    const size_t last = text[first] == '-' ? strspn(text + first + 1, "0123456789") : 0;
    const char* rest = text + first + 1 + last;
    return last > 0 && (*rest == '\0' || strncmp(rest, " of ", strlen(" of ")) == 0) ? first : 0;
}

/// A text as people read it: a span has a dash, where files for machines have a hyphen.
static void show_text(table_shown* shown, const table_column* column, const char* text)
{
    const size_t first = span_hyphen(column, text);
    if (first > 0 && strlen(text) + sizeof WORDS_DASH <= sizeof shown->number.text)
        snprintf(shown->number.text, sizeof shown->number.text, "%.*s" WORDS_DASH "%s", (int)first, text,
                 text + first + 1);
    else
        shown->text = text;
}

/// Decimals of an interval's ends. A share in per cent is told to whole ones at the least: tens would widen 16 to 100
/// to all there is.
static int interval_decimals(const table_column* column, const table_cell* cell, rlv_interval interval, double unit)
{
    const int decimals = cell->to ? cell->decimals : words_interval_decimals(interval, unit);
    const bool percent = column->unit != NULL && strcmp(column->unit, "percent") == 0;
    return percent && decimals < 0 ? 0 : decimals;
}

table_shown table_show(const rlv_table* t, size_t row, size_t column)
{
    const table_cell* cell = &t->cell[row * t->column_count + column];
    const shown_unit* in = find_unit(&t->column[column]);
    double unit = in != NULL ? in->size : 1.0;
    table_shown shown = {0};
    if (!cell->known)
        shown.text = WORDS_DASH;
    else if (cell->kind == TABLE_TEXT)
        show_text(&shown, &t->column[column], t->text + cell->text);
    else if (cell->kind == TABLE_FLAG)
        shown.text = cell->number[0] != 0.0 ? "yes" : "no";
    else if (cell->kind == TABLE_COUNT)
        shown.number = words_number(cell->number[0], 0);
    else if (cell->kind == TABLE_NUMBER && cell->to)
        shown.number = words_number(cell->number[0] / unit, cell->decimals);
    else if (cell->kind == TABLE_NUMBER && cell->figures > 0)
        shown.number = words_figures(cell->number[0] / unit, cell->figures);
    else if (cell->kind == TABLE_NUMBER)
        shown.number = words_known(cell->number[0] / unit, cell->sd / unit);
    else if (cell->kind == TABLE_INTERVAL)
    {
        const rlv_interval interval = {cell->number[0], cell->number[1], cell->number[2]};
        if (words_is_bound(interval) && isfinite(interval.high))
        {
            snprintf(shown.number.text, sizeof shown.number.text, "none told");
            snprintf(shown.ends.text, sizeof shown.ends.text, "at most %.24s",
                     words_at_most(interval.high / unit).text);
            return shown;
        }
        const int decimals = interval_decimals(&t->column[column], cell, interval, unit);
        shown.number = words_number(interval.value / unit, decimals);
        const bool sure = interval.low == interval.high; // nothing, by the record: it has no ends
        if (!sure && isfinite(interval.low) && isfinite(interval.high))
            shown.ends = words_ends_to(interval, unit, decimals);
        else if (!sure && isfinite(interval.low))
            snprintf(shown.ends.text, sizeof shown.ends.text, "at least %.24s",
                     words_at_least(interval.low / unit).text);
    }
    else
        snprintf(shown.number.text, sizeof shown.number.text, "%.24s, %.24s, %.24s",
                 words_known(cell->number[0] / unit, cell->sd / unit).text,
                 words_known(cell->number[1] / unit, cell->sd / unit).text,
                 words_known(cell->number[2] / unit, cell->sd / unit).text);
    return shown;
}
