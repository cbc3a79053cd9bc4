#include "specimen_parts.h"

#include "grow.h"
#include "tables.h"
#include "text_file.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define MOST_BYTES ((size_t)256 << 20)
#define REACH 1e12 ///< a coordinate beyond is damage, in any unit

enum
{
    POINT_STAGE,
    POINT_MESH,
    POINT_OBJECT,
    POINT_NAME,
    POINT_X,
    POINT_Y,
    POINT_Z,
    POINT_SD,
    POINT_COLUMNS,
};

static const rlv_table_column point_columns[POINT_COLUMNS] = {{"stage", false}, {"mesh", false}, {"object", false},
                                                              {"point", false}, {"x", false},    {"y", false},
                                                              {"z", false},     {"sd_mm", true}};

enum
{
    ELEMENT_ID,
    ELEMENT_KIND,
    ELEMENT_ROW,
    ELEMENT_PLACE,
    ELEMENT_SIDE,
    ELEMENT_STAGE,
    ELEMENT_PART,
    ELEMENT_BAG,
    ELEMENT_NOTE,
    ELEMENT_COLUMNS,
};

static const rlv_table_column element_columns[ELEMENT_COLUMNS] = {{"id", false},    {"kind", false}, {"row", false},
                                                                  {"place", false}, {"side", false}, {"stage", false},
                                                                  {"part", false},  {"bag", false},  {"note", true}};

/// A table on its way into a specimen.
typedef struct filler
{
    rlv_specimen* specimen;
    size_t room; ///< for rows
} filler;

static rlv_status no_memory(const rlv_table* table)
{
    return rlv_fail(table->reading->error, RLV_SYSTEM, table->reading->path, "close other programs",
                    "no memory for a row");
}

/// A copy of a field; NULL stays NULL.
static rlv_status copy(const rlv_table* table, size_t column, char** text)
{
    if (table->field[column] == NULL)
        return RLV_DONE;
    *text = strdup(table->field[column]);
    return *text != NULL ? RLV_DONE : no_memory(table);
}

/// Read the rows of a table, which may be missing.
static rlv_status read_rows(rlv_specimen* specimen, const char* path, char* sha256, const rlv_table_column* column,
                            size_t column_count, rlv_status (*take)(void* user, const rlv_table* table),
                            rlv_error* error)
{
    rlv_reading reading = {0};
    filler f = {.specimen = specimen};
    if (access(path, F_OK) != 0 && errno == ENOENT)
        return RLV_DONE;
    rlv_status status = rlv_text_file_open(&reading, path, MOST_BYTES, sha256, error);
    if (status == RLV_DONE)
        status = rlv_table_read(&reading, column, column_count, take, &f);
    rlv_reading_close(&reading);
    return status;
}

// ---- points ---------------------------------------------------------------------------------------------------------

static rlv_status check_point(const rlv_specimen* specimen, const rlv_table* table)
{
    const char *stage = table->field[POINT_STAGE], *mesh = table->field[POINT_MESH];
    const char* why = NULL;
    for (size_t i = POINT_STAGE; i <= POINT_NAME; i++)
    {
        rlv_status status = rlv_table_need(table, i);
        if (status != RLV_DONE)
            return status;
    }
    for (size_t i = POINT_OBJECT; i <= POINT_NAME; i++)
        if (!rlv_text_is_id(table->field[i], &why))
            return rlv_table_refuse(table, "use letters, digits, space, _, - and .", "%s: '%.100s' %s",
                                    table->column[i].name, table->field[i], why);
    const rlv_point_record* last = specimen->point_count > 0 ? &specimen->point[specimen->point_count - 1] : NULL;
    if (last != NULL && strcmp(last->stage, stage) == 0 && strcmp(last->mesh, mesh) == 0)
        return RLV_DONE; // as the row before, which held
    if (rlv_specimen_stage(specimen, stage) == NULL)
        return rlv_table_refuse(table, "name one of the stages of " RLV_SPECIMEN_YAML ", by its id",
                                "there is no stage '%.100s'", stage);
    if (strcmp(mesh, "block") != 0 && rlv_specimen_piece(specimen, mesh) == NULL)
        return rlv_table_refuse(table, "say block, or the id of a piece", "there is no mesh '%.100s'", mesh);
    if (rlv_specimen_mesh(specimen, stage, mesh) == NULL)
        return rlv_table_refuse(table, "give the piece a mesh at that stage, or name another stage",
                                "the piece '%.100s' has no mesh at the stage '%.100s'", mesh, stage);
    return RLV_DONE;
}

static rlv_status read_place(rlv_point_record* point, const rlv_table* table)
{
    for (size_t i = 0; i < 3; i++)
    {
        rlv_status status = rlv_table_number(table, POINT_X + i, &point->at[i]);
        if (status != RLV_DONE)
            return status;
        if (!(fabs(point->at[i]) <= REACH))
            return rlv_table_refuse(table, "give it in the coordinates of the mesh's file", "%s is out of all reach",
                                    table->column[POINT_X + i].name);
    }
    if (table->field[POINT_SD] == NULL)
        return RLV_DONE;
    point->sd_mm = malloc(sizeof *point->sd_mm);
    if (point->sd_mm == NULL)
        return no_memory(table);
    rlv_status status = rlv_table_number(table, POINT_SD, point->sd_mm);
    if (status == RLV_DONE && !(*point->sd_mm > 0.0))
        return rlv_table_refuse(table, "say how sure the point is, or leave it empty", "sd_mm is not above zero");
    return status;
}

static rlv_status take_point(void* user, const rlv_table* table)
{
    filler* f = user;
    rlv_specimen* specimen = f->specimen;
    rlv_status status = check_point(specimen, table);
    if (status != RLV_DONE)
        return status;
    if (!rlv_grow(&specimen->point, &f->room, specimen->point_count + 1, sizeof *specimen->point))
        return no_memory(table);
    rlv_point_record* point = &specimen->point[specimen->point_count++];
    *point = (rlv_point_record){0};
    char** const text[] = {&point->stage, &point->mesh, &point->object, &point->point};
    point->line = table->line;
    for (size_t i = 0; i < 4 && status == RLV_DONE; i++)
        status = copy(table, POINT_STAGE + i, text[i]);
    return status == RLV_DONE ? read_place(point, table) : status;
}

static int compare_object(const rlv_point_record* a, const rlv_point_record* b)
{
    int order = strcmp(a->stage, b->stage);
    order = order != 0 ? order : strcmp(a->mesh, b->mesh);
    return order != 0 ? order : strcmp(a->object, b->object);
}

static int compare_name(const void* left, const void* right, void* user)
{
    const rlv_point_record* point = user;
    const rlv_point_record *a = &point[*(const size_t*)left], *b = &point[*(const size_t*)right];
    int order = compare_object(a, b);
    order = order != 0 ? order : strcmp(a->point, b->point);
    return order != 0 ? order : a->line < b->line ? -1 : a->line > b->line;
}

static int compare_number(const void* left, const void* right, void* user)
{
    const rlv_point_record* point = user;
    const rlv_point_record *a = &point[*(const size_t*)left], *b = &point[*(const size_t*)right];
    size_t p = rlv_specimen_point_number(a), q = rlv_specimen_point_number(b);
    return p != q ? (p < q ? -1 : 1) : a->line < b->line ? -1 : a->line > b->line;
}

static int compare_line(const void* left, const void* right, void* user)
{
    (void)user;
    size_t a = *(const size_t*)left, b = *(const size_t*)right;
    return a < b ? -1 : a > b;
}

static rlv_status refuse_point(const rlv_point_record* point, const char* path, rlv_error* error, const char* mend,
                               const char* what)
{
    char where[sizeof error->where];
    snprintf(where, sizeof where, "%.900s:%zu", path, point->line);
    return rlv_fail(error, RLV_BAD_INPUT, where, mend, "the point %.60s of '%.100s' at '%.100s' %s", point->point,
                    point->object, point->stage, what);
}

/// Put the points of one object in order: an outline's by their numbers, which run from 1 without a gap.
static rlv_status order_object(const rlv_specimen* specimen, size_t* index, size_t count, const char* path,
                               rlv_error* error)
{
    bool numbered = rlv_specimen_numbered(specimen, index, count);
    qsort_r(index, count, sizeof *index, numbered ? compare_number : compare_line, specimen->point);
    for (size_t i = 0; i < count && numbered; i++)
    {
        const rlv_point_record* point = &specimen->point[index[i]];
        size_t number = rlv_specimen_point_number(point);
        if (number <= i)
            return refuse_point(point, path, error, "number an outline 1, 2, 3 to its end",
                                "repeats a number of its outline");
        if (number > i + 1)
            return refuse_point(point, path, error,
                                "number an outline 1, 2, 3 to its end; give points that are none names with a letter",
                                "comes after a gap in the numbers of its outline");
    }
    return RLV_DONE;
}

rlv_status rlv_specimen_order_points(rlv_specimen* specimen, const char* path, rlv_error* error)
{
    const rlv_point_record* point = specimen->point;
    size_t count = specimen->point_count;
    size_t* order = rlv_reserve(count, sizeof *order, error);
    specimen->point_order = order;
    if (order == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        order[i] = i;
    qsort_r(order, count, sizeof *order, compare_name, specimen->point);
    rlv_status status = RLV_DONE;
    for (size_t i = 1; i < count; i++)
        if (compare_object(&point[order[i - 1]], &point[order[i]]) == 0 &&
            strcmp(point[order[i - 1]].point, point[order[i]].point) == 0)
            return refuse_point(&point[order[i]], path, error, "leave one of them out", "stands there twice");
    for (size_t first = 0, end = 0; first < count && status == RLV_DONE; first = end)
    {
        for (end = first + 1; end < count && compare_object(&point[order[first]], &point[order[end]]) == 0;)
            end++;
        status = order_object(specimen, order + first, end - first, path, error);
    }
    return status;
}

rlv_status rlv_specimen_read_points(rlv_specimen* specimen, const char* path, rlv_error* error)
{
    const rlv_status status =
        read_rows(specimen, path, specimen->points_sha256, point_columns, POINT_COLUMNS, take_point, error);
    return status == RLV_DONE ? rlv_specimen_order_points(specimen, path, error) : status;
}

// ---- elements -------------------------------------------------------------------------------------------------------

/// A place: `4`, or a range `3-5`.
static rlv_status read_range(rlv_element_record* element, const rlv_table* table)
{
    const char* text = table->field[ELEMENT_PLACE];
    int end = 0, parts = 0;
    if (text == NULL)
        return RLV_DONE;
    if (strspn(text, "0123456789-") == strlen(text) && strlen(text) < 12)
    {
        parts = sscanf(text, "%4d%n-%4d%n", &element->first_place, &end, &element->last_place, &end);
        if (parts == 1)
            element->last_place = element->first_place;
    }
    if (parts < 1 || text[end] != '\0' || element->first_place < 1 || element->last_place < element->first_place)
        return rlv_table_refuse(table, "write it as 4, or as 3-5 where it is one of several, or leave it empty",
                                "place: '%.40s' is no place and no range of places", text);
    element->place_known = true;
    return RLV_DONE;
}

static rlv_status check_row(const rlv_specimen* specimen, const rlv_element_record* element, const rlv_table* table)
{
    const rlv_row_record* row = rlv_specimen_row(specimen, element->row);
    if (element->row != NULL && row == NULL)
        return rlv_table_refuse(table, "name one of the rows of " RLV_SPECIMEN_YAML ", by its id, or leave it empty",
                                "there is no row '%.100s'", element->row);
    if (element->place_known && row == NULL)
        return rlv_table_refuse(table, "name the row, or leave the place empty", "a place without a row");
    if (row != NULL && element->side != NULL && strcmp(element->side, row->side) != 0)
        return rlv_table_refuse(table, "see to the side, or to the row; a side may be left empty",
                                "side: '%s', and the row '%.100s' is '%s'", element->side, row->id, row->side);
    if (element->place_known && (element->first_place < row->first_place || element->last_place > row->last_place))
        return rlv_table_refuse(table, "see to the place, or widen the places of the row",
                                "the place %s is not among the places %d to %d of the row '%.100s'",
                                table->field[ELEMENT_PLACE], row->first_place, row->last_place, row->id);
    return RLV_DONE;
}

static rlv_status check_element(const rlv_specimen* specimen, const rlv_element_record* element, const rlv_table* table)
{
    const char* side = element->side;
    const char* why = NULL;
    if (!rlv_text_is_id(element->id, &why))
        return rlv_table_refuse(table, "use letters, digits, space, _, - and .", "id: '%.100s' %s", element->id, why);
    if (side != NULL && strcmp(side, "left") != 0 && strcmp(side, "right") != 0 && strcmp(side, "median") != 0)
        return rlv_table_refuse(table, "say left, right or median, or leave it empty", "side: '%.40s' is no side",
                                side);
    if (element->stage != NULL && rlv_specimen_stage(specimen, element->stage) == NULL)
        return rlv_table_refuse(table, "name one of the stages of " RLV_SPECIMEN_YAML ", by its id",
                                "there is no stage '%.100s'", element->stage);
    if (element->part != NULL && element->part[0] == '#' &&
        (strlen(element->part) != 7 || strspn(element->part + 1, "0123456789abcdefABCDEF") != 6))
        return rlv_table_refuse(table, "write a colour as #c9b28e", "part: '%.40s' is no colour", element->part);
    if (element->bag != NULL && rlv_specimen_bag(specimen, element->bag) == NULL)
        return rlv_table_refuse(table, "name one of the bags under spoil in " RLV_SPECIMEN_YAML,
                                "there is no bag '%.100s'", element->bag);
    if (element->stage == NULL && element->bag == NULL)
        return rlv_table_refuse(table, "write the stage at which it was seen first, or the bag that it was found in",
                                "neither stage nor bag: nobody could say where it was");
    return check_row(specimen, element, table);
}

static rlv_status take_element(void* user, const rlv_table* table)
{
    filler* f = user;
    rlv_specimen* specimen = f->specimen;
    rlv_status status = rlv_table_need(table, ELEMENT_ID);
    if (status == RLV_DONE)
        status = rlv_table_need(table, ELEMENT_KIND);
    if (status != RLV_DONE)
        return status;
    if (!rlv_grow(&specimen->element, &f->room, specimen->element_count + 1, sizeof *specimen->element))
        return no_memory(table);
    rlv_element_record* element = &specimen->element[specimen->element_count++];
    *element = (rlv_element_record){0};
    char** const text[ELEMENT_COLUMNS] = {&element->id,    &element->kind, &element->row, NULL,          &element->side,
                                          &element->stage, &element->part, &element->bag, &element->note};
    element->line = table->line;
    for (size_t i = 0; i < ELEMENT_COLUMNS && status == RLV_DONE; i++)
        if (text[i] != NULL)
            status = copy(table, i, text[i]);
    if (status == RLV_DONE)
        status = read_range(element, table);
    return status == RLV_DONE ? check_element(specimen, element, table) : status;
}

static int compare_element(const void* left, const void* right, void* user)
{
    const rlv_element_record* element = user;
    const rlv_element_record *a = &element[*(const size_t*)left], *b = &element[*(const size_t*)right];
    int order = strcmp(a->id, b->id);
    return order != 0 ? order : a->line < b->line ? -1 : a->line > b->line;
}

/// Two elements that say they are in the one place. A range says that it is one of several.
static bool same_place(const rlv_element_record* a, const rlv_element_record* b)
{
    return a->place_known && b->place_known && a->first_place == a->last_place && b->first_place == b->last_place &&
           a->first_place == b->first_place && strcmp(a->row, b->row) == 0;
}

static int compare_place(const void* left, const void* right, void* user)
{
    const rlv_element_record* element = user;
    const rlv_element_record *a = &element[*(const size_t*)left], *b = &element[*(const size_t*)right];
    int order = a->place_known - b->place_known;
    order = order == 0 && a->place_known ? strcmp(a->row, b->row) : order;
    order = order == 0 ? a->first_place - b->first_place : order;
    order = order == 0 ? a->last_place - b->last_place : order;
    return order != 0 ? order : a->line < b->line ? -1 : a->line > b->line;
}

static rlv_status check_unique(const rlv_specimen* specimen, const char* path, rlv_error* error)
{
    size_t count = specimen->element_count;
    size_t* order = rlv_reserve(count, sizeof *order, error);
    char where[sizeof error->where];
    if (order == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        order[i] = i;
    qsort_r(order, count, sizeof *order, compare_element, specimen->element);
    rlv_status status = RLV_DONE;
    for (size_t i = 1; i < count && status == RLV_DONE; i++)
    {
        const rlv_element_record *first = &specimen->element[order[i - 1]], *second = &specimen->element[order[i]];
        snprintf(where, sizeof where, "%.900s:%zu", path, second->line);
        if (strcmp(first->id, second->id) == 0)
            status = rlv_fail(error, RLV_BAD_INPUT, where, "give each element an id of its own",
                              "the id '%.100s' stands in line %zu already", second->id, first->line);
    }
    qsort_r(order, count, sizeof *order, compare_place, specimen->element);
    for (size_t i = 1; i < count && status == RLV_DONE; i++)
    {
        const rlv_element_record *first = &specimen->element[order[i - 1]], *second = &specimen->element[order[i]];
        snprintf(where, sizeof where, "%.900s:%zu", path, second->line);
        if (same_place(first, second))
            status =
                rlv_fail(error, RLV_BAD_INPUT, where, "write a range where it is not sure, as 3-5, or leave it empty",
                         "the place %d of the row '%.100s' is that of '%.100s' in line %zu already",
                         second->first_place, second->row, first->id, first->line);
    }
    free(order);
    return status;
}

rlv_status rlv_specimen_read_elements(rlv_specimen* specimen, const char* path, rlv_error* error)
{
    const rlv_status status =
        read_rows(specimen, path, specimen->elements_sha256, element_columns, ELEMENT_COLUMNS, take_element, error);
    return status == RLV_DONE ? check_unique(specimen, path, error) : status;
}
