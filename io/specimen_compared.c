#include "specimen_parts.h"

#include "grow.h"
#include "order.h"
#include "tables.h"
#include "text_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_BYTES ((size_t)16 << 20)
#define REACH_MM 1e7 ///< ten kilometres: what is further off is no measurement

/// The fewest places of a row that tell a shape: as many as a row of any animal needs.
static const size_t LEAST_PLACES = 6;

enum
{
    COMPARED_PLACE,
    COMPARED_X,
    COMPARED_Y,
    COMPARED_Z,
    COMPARED_ROW,
    COMPARED_SD,
    COMPARED_NOTE,
    COMPARED_COLUMNS,
};

static const rlv_table_column columns[COMPARED_COLUMNS] = {
    {"place", false}, {"x", false}, {"y", false}, {"z", false}, {"row", true}, {"sd_mm", true}, {"note", true}};

/// A table on its way into a specimen.
typedef struct filler
{
    rlv_specimen* specimen;
    size_t file, room;
} filler;

static const rlv_row_record* named_row(const rlv_specimen* specimen, const rlv_table* table, const char* within,
                                       const char** why)
{
    const rlv_row_record *row = rlv_specimen_row(specimen, table->field[COMPARED_ROW]), *only = NULL;
    size_t rows = 0;
    for (size_t r = 0; r < specimen->row_count; r++)
        if (specimen->row[r].life_positions != NULL && strcmp(specimen->row[r].life_positions, within) == 0)
            rows++, only = &specimen->row[r];
    if (table->field[COMPARED_ROW] == NULL)
    {
        *why = "no row is said, and more than one row has this table";
        return rows == 1 ? only : NULL;
    }
    *why = "the row is none of those that have this table";
    return row != NULL && row->life_positions != NULL && strcmp(row->life_positions, within) == 0 ? row : NULL;
}

static rlv_status read_place(rlv_compared_record* place, const rlv_row_record* row, const rlv_table* table)
{
    const char* text = table->field[COMPARED_PLACE];
    rlv_status status = rlv_table_need(table, COMPARED_PLACE);
    if (status != RLV_DONE)
        return status;
    const size_t digits = strspn(text, "0123456789");
    if (digits == 0 || digits > 4 || text[digits] != '\0')
        return rlv_table_refuse(table, "write the number of the place, counted from the head",
                                "place: '%.40s' is no place", text);
    place->place = (int)strtol(text, NULL, 10);
    if (place->place < row->first_place || place->place > row->last_place)
        return rlv_table_refuse(table, "see to the place, or widen the places of the row",
                                "the place %d is not among the places %d to %d of the row '%.100s'", place->place,
                                row->first_place, row->last_place, row->id);
    for (size_t k = 0; k < 3; k++)
    {
        status = rlv_table_need(table, COMPARED_X + k);
        if (status == RLV_DONE)
            status = rlv_table_number(table, COMPARED_X + k, &place->at_mm[k]);
        if (status == RLV_DONE && !(fabs(place->at_mm[k]) < REACH_MM))
            status = rlv_table_refuse(table, "give it in millimetres", "%s is out of all reach",
                                      table->column[COMPARED_X + k].name);
        if (status != RLV_DONE)
            return status;
    }
    if (table->field[COMPARED_SD] == NULL)
        return RLV_DONE;
    status = rlv_table_number(table, COMPARED_SD, &place->sd_mm);
    if (status == RLV_DONE && !(place->sd_mm > 0.0))
        status = rlv_table_refuse(table, "say how sure the place is, or leave it empty", "sd_mm is not above zero");
    return status;
}

static rlv_status take_place(void* user, const rlv_table* table)
{
    filler* f = user;
    rlv_specimen* s = f->specimen;
    const char* why = NULL;
    const rlv_row_record* row = named_row(s, table, s->compared_file[f->file].within, &why);
    if (row == NULL)
        return rlv_table_refuse(table, "name the row in a column row, by its id in " RLV_SPECIMEN_YAML, "%s", why);
    rlv_compared_record place = {.row = (size_t)(row - s->row), .file = f->file, .line = table->line};
    const rlv_status status = read_place(&place, row, table);
    if (status != RLV_DONE)
        return status;
    for (size_t i = 0; i < s->compared_count; i++)
        if (s->compared[i].row == place.row && s->compared[i].place == place.place)
            return rlv_table_refuse(table, "leave one of them out", "the place %d stands in line %zu already",
                                    place.place, s->compared[i].line);
    if (!rlv_grow(&s->compared, &f->room, s->compared_count + 1, sizeof *s->compared))
        return rlv_fail(table->reading->error, RLV_SYSTEM, table->reading->path, "close other programs",
                        "no memory for a row");
    s->compared[s->compared_count++] = place;
    return RLV_DONE;
}

/// The file of a row, read already or a new one.
static size_t file_of(rlv_specimen* specimen, const char* within)
{
    for (size_t i = 0; i < specimen->compared_file_count; i++)
        if (strcmp(specimen->compared_file[i].within, within) == 0)
            return i;
    specimen->compared_file[specimen->compared_file_count].within = within;
    return specimen->compared_file_count++;
}

/// A step from a place to the next is no more than this many times the middle one of its row, and no less than one over
/// it: a pitch halves along a body, and a natural gap doubles it.
static const double MOST_UNEVEN = 6.0;

static int by_place(const void* a, const void* b)
{
    const rlv_compared_record *p = a, *q = b;
    return (p->place > q->place) - (p->place < q->place);
}

static double step_mm(const rlv_compared_record* from)
{
    double square = 0.0;
    for (size_t k = 0; k < 3; k++)
        square += pow(from[1].at_mm[k] - from[0].at_mm[k], 2.0);
    return sqrt(square) / (from[1].place - from[0].place);
}

/// Refuse a place that lies far out of line: a slip of the pen, or another row's.
static rlv_status check_steps(const rlv_specimen* s, size_t row, const char* path, rlv_error* error)
{
    size_t count = 0;
    rlv_compared_record* place = rlv_reserve(s->compared_count, sizeof *place, error);
    double* step = place != NULL ? rlv_reserve(s->compared_count, sizeof *step, error) : NULL;
    rlv_status status = step != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < s->compared_count && status == RLV_DONE; i++)
        if (s->compared[i].row == row)
            place[count++] = s->compared[i];
    if (status == RLV_DONE)
        qsort(place, count, sizeof *place, by_place);
    for (size_t i = 0; i + 1 < count; i++)
        step[i] = step_mm(place + i);
    const double middle = status == RLV_DONE && count > 1 ? rlv_median_sorting(count - 1, step) : 0.0;
    for (size_t i = 0; i + 1 < count && status == RLV_DONE; i++)
    {
        const double is = step_mm(place + i);
        if (!(is <= MOST_UNEVEN * middle && is * MOST_UNEVEN >= middle))
            status = rlv_fail(
                error, RLV_BAD_INPUT, path, "see to their coordinates, in millimetres and in one frame",
                "from place %d (line %zu) to %d (line %zu) of the row '%.100s' it is %.3g mm a place, where "
                "its middle step is %.3g mm",
                place[i].place, place[i].line, place[i + 1].place, place[i + 1].line, s->row[row].id, is, middle);
    }
    free(place);
    free(step);
    return status;
}

static rlv_status read_file(filler* f, rlv_error* error)
{
    rlv_compared_file* file = &f->specimen->compared_file[f->file];
    rlv_reading reading = {0};
    char* path = rlv_specimen_path(f->specimen, file->within);
    rlv_status status = path == NULL
                            ? rlv_fail(error, RLV_SYSTEM, file->within, "close other programs", "no memory for a name")
                            : rlv_text_file_open(&reading, path, MOST_BYTES, file->sha256, error);
    if (status == RLV_DONE)
        status = rlv_table_read(&reading, columns, COMPARED_COLUMNS, take_place, f);
    rlv_reading_close(&reading);
    for (size_t r = 0; r < f->specimen->row_count && status == RLV_DONE; r++)
    {
        const rlv_row_record* row = &f->specimen->row[r];
        size_t held = 0;
        for (size_t i = 0; i < f->specimen->compared_count; i++)
            held += f->specimen->compared[i].row == r;
        if (row->life_positions != NULL && strcmp(row->life_positions, file->within) == 0 && held < LEAST_PLACES)
            status = rlv_fail(error, RLV_BAD_INPUT, path, "measure more of its places, or take life_positions away",
                              "%zu places of the row '%.100s', and %zu are needed", held, row->id, LEAST_PLACES);
        else if (held > 0)
            status = check_steps(f->specimen, r, path, error);
    }
    free(path);
    return status;
}

rlv_status rlv_specimen_read_compared(rlv_specimen* specimen, rlv_error* error)
{
    filler f = {.specimen = specimen};
    rlv_status status = RLV_DONE;
    specimen->compared_file = rlv_reserve(specimen->row_count, sizeof *specimen->compared_file, error);
    if (specimen->compared_file == NULL)
        return RLV_SYSTEM;
    for (size_t r = 0; r < specimen->row_count && status == RLV_DONE; r++)
    {
        const size_t known = specimen->compared_file_count;
        if (specimen->row[r].life_positions == NULL)
            continue;
        f.file = file_of(specimen, specimen->row[r].life_positions);
        if (f.file == known)
            status = read_file(&f, error);
    }
    return status;
}
