#include "specimen.h"

#include "specimen_parts.h"

#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

char* rlv_specimen_path(const rlv_specimen* specimen, const char* within)
{
    size_t length = strlen(specimen->folder);
    char* path = NULL;
    bool slash = length > 0 && specimen->folder[length - 1] == '/';
    return asprintf(&path, "%s%s%s", specimen->folder, slash ? "" : "/", within) >= 0 ? path : NULL;
}

static rlv_status check_folder(const char* folder, rlv_error* error)
{
    struct stat there;
    if (stat(folder, &there) != 0)
        return rlv_fail(error, RLV_BAD_INPUT, folder, "check the name; rilievo new lays a folder out",
                        "there is no such folder");
    if (!S_ISDIR(there.st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, folder, "name the folder that holds " RLV_SPECIMEN_YAML,
                        "a file, where the folder of a specimen is expected");
    return RLV_DONE;
}

static rlv_status read_parts(rlv_specimen* specimen, char* const path[3], rlv_error* error)
{
    rlv_status status = rlv_specimen_read_yaml(specimen, path[0], error);
    if (status == RLV_DONE)
        status = rlv_specimen_check_record(specimen, path[0], error);
    if (status == RLV_DONE)
        status = rlv_specimen_read_points(specimen, path[1], error);
    if (status == RLV_DONE)
        status = rlv_specimen_read_elements(specimen, path[2], error);
    if (status == RLV_DONE)
        status = rlv_specimen_check_places(specimen, path[0], error);
    if (status == RLV_DONE)
        status = rlv_specimen_read_compared(specimen, error);
    return status;
}

static rlv_status read_folder(rlv_specimen* specimen, const char* folder, rlv_error* error)
{
    static const char* const name[3] = {RLV_SPECIMEN_YAML, RLV_SPECIMEN_POINTS, RLV_SPECIMEN_ELEMENTS};
    char* path[3] = {NULL};
    rlv_status status = check_folder(folder, error);
    if (status != RLV_DONE)
        return status;
    specimen->folder = strdup(folder);
    for (int i = 0; i < 3 && specimen->folder != NULL; i++)
        path[i] = rlv_specimen_path(specimen, name[i]);
    if (path[0] == NULL || path[1] == NULL || path[2] == NULL)
        status = rlv_fail(error, RLV_SYSTEM, folder, "close other programs", "no memory for a name");
    else
        status = read_parts(specimen, path, error);
    for (int i = 0; i < 3; i++)
        free(path[i]);
    return status;
}

rlv_status rlv_specimen_read(rlv_specimen* specimen, const char* folder, rlv_error* error)
{
    rlv_error own = {0}; // the readers count on one
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    if (plain == (locale_t)0)
        return rlv_fail(error, RLV_SYSTEM, folder, "close other programs", "no memory for a locale");
    // Numbers are read, and told in errors, with a point, whatever the thread's own locale says.
    locale_t before = uselocale(plain);
    rlv_status status = read_folder(specimen, folder, &own);
    uselocale(before);
    freelocale(plain);
    if (status != RLV_DONE && error != NULL)
        *error = own;
    return status;
}

static void free_tables(rlv_specimen* specimen)
{
    for (size_t i = 0; i < specimen->point_count; i++)
    {
        rlv_point_record* point = &specimen->point[i];
        free(point->stage);
        free(point->mesh);
        free(point->object);
        free(point->point);
        free(point->sd_mm);
    }
    for (size_t i = 0; i < specimen->element_count; i++)
    {
        rlv_element_record* element = &specimen->element[i];
        char* const text[] = {element->id,    element->kind, element->row, element->side,
                              element->stage, element->part, element->bag, element->note};
        for (size_t k = 0; k < sizeof text / sizeof *text; k++)
            free(text[k]);
    }
    free(specimen->point);
    free(specimen->point_order);
    free(specimen->element);
    free(specimen->compared);
    free(specimen->compared_file);
}

void rlv_specimen_free(rlv_specimen* specimen)
{
    free_tables(specimen);
    free(specimen->folder);
    rlv_specimen_free_yaml(specimen);
    *specimen = (rlv_specimen){0};
}

const rlv_stage_record* rlv_specimen_stage(const rlv_specimen* specimen, const char* id)
{
    for (size_t i = 0; i < specimen->stage_count && id != NULL; i++)
        if (strcmp(specimen->stage[i].id, id) == 0)
            return &specimen->stage[i];
    return NULL;
}

size_t rlv_specimen_stage_number(const rlv_specimen* specimen, const char* id)
{
    const rlv_stage_record* stage = rlv_specimen_stage(specimen, id);
    return stage != NULL ? (size_t)(stage - specimen->stage) : SIZE_MAX;
}

const rlv_piece_record* rlv_specimen_piece(const rlv_specimen* specimen, const char* id)
{
    for (size_t i = 0; i < specimen->piece_count && id != NULL; i++)
        if (strcmp(specimen->piece[i].id, id) == 0)
            return &specimen->piece[i];
    return NULL;
}

const rlv_row_record* rlv_specimen_row(const rlv_specimen* specimen, const char* id)
{
    for (size_t i = 0; i < specimen->row_count && id != NULL; i++)
        if (strcmp(specimen->row[i].id, id) == 0)
            return &specimen->row[i];
    return NULL;
}

const rlv_spoil_record* rlv_specimen_bag(const rlv_specimen* specimen, const char* id)
{
    for (size_t i = 0; i < specimen->spoil_count && id != NULL; i++)
        if (strcmp(specimen->spoil[i].bag, id) == 0)
            return &specimen->spoil[i];
    return NULL;
}

const rlv_density_record* rlv_specimen_density(const rlv_specimen* specimen, const char* material)
{
    for (size_t i = 0; i < specimen->density_count && material != NULL; i++)
        if (strcmp(specimen->density[i].material, material) == 0)
            return &specimen->density[i];
    return NULL;
}

bool rlv_specimen_is_aside(const rlv_specimen* specimen, const rlv_piece_record* piece, size_t stage)
{
    // As many steps as there are pieces: parents may not run in a circle, but nor must this.
    for (size_t step = 0; step < specimen->piece_count && piece->parent != NULL; step++)
    {
        if ((piece = rlv_specimen_piece(specimen, piece->parent)) == NULL)
            return false;
        const size_t off = rlv_specimen_stage_number(specimen, piece->detached),
                     back = rlv_specimen_stage_number(specimen, piece->joined);
        if (off <= stage && (back == SIZE_MAX || back > stage))
            return true;
    }
    return false;
}

bool rlv_specimen_is_back(const rlv_specimen* specimen, const rlv_piece_record* piece, size_t stage)
{
    return piece->joined != NULL && rlv_specimen_stage_number(specimen, piece->joined) <= stage &&
           !rlv_specimen_is_aside(specimen, piece, stage);
}

bool rlv_specimen_piece_moves(const rlv_specimen* specimen, const rlv_piece_record* piece, size_t stage, bool back)
{
    const char* when = back ? piece->joined : piece->detached;
    return stage > 0 && when != NULL && strcmp(when, specimen->stage[stage].id) == 0 &&
           !rlv_specimen_is_aside(specimen, piece, back ? stage : stage - 1);
}

const rlv_mesh_record* rlv_specimen_mesh(const rlv_specimen* specimen, const char* stage, const char* mesh)
{
    if (strcmp(mesh, "block") == 0)
    {
        const rlv_stage_record* found = rlv_specimen_stage(specimen, stage);
        return found != NULL ? &found->mesh : NULL;
    }
    const rlv_piece_record* piece = rlv_specimen_piece(specimen, mesh);
    for (size_t i = 0; piece != NULL && i < piece->mesh_count; i++)
        if (strcmp(piece->mesh[i].stage, stage) == 0)
            return &piece->mesh[i].mesh;
    return NULL;
}

const rlv_stage_record* rlv_specimen_frame(const rlv_specimen* specimen)
{
    return specimen->frame_stage != NULL ? rlv_specimen_stage(specimen, specimen->frame_stage) : specimen->stage;
}

/// Where in the order the points of an object begin: the first that is not before them.
static size_t first_of(const rlv_specimen* specimen, const char* const name[3], bool behind)
{
    size_t low = 0, high = specimen->point_count;
    while (low < high)
    {
        size_t middle = low + (high - low) / 2;
        const rlv_point_record* point = &specimen->point[specimen->point_order[middle]];
        int order = strcmp(point->stage, name[0]);
        order = order != 0 ? order : strcmp(point->mesh, name[1]);
        order = order != 0 ? order : strcmp(point->object, name[2]);
        if (order < 0 || (order == 0 && behind))
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

const size_t* rlv_specimen_points(const rlv_specimen* specimen, const char* stage, const char* mesh, const char* object,
                                  size_t* count)
{
    const char* const name[3] = {stage, mesh, object};
    size_t first = first_of(specimen, name, false);
    *count = first_of(specimen, name, true) - first;
    return *count > 0 ? specimen->point_order + first : NULL;
}

const rlv_point_record* rlv_specimen_point(const rlv_specimen* specimen, const char* stage, const char* mesh,
                                           const char* object, const char* point)
{
    size_t count = 0;
    const size_t* index = rlv_specimen_points(specimen, stage, mesh, object, &count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(specimen->point[index[i]].point, point) == 0)
            return &specimen->point[index[i]];
    return NULL;
}

size_t rlv_specimen_point_number(const rlv_point_record* point)
{
    size_t length = strspn(point->point, "0123456789");
    return length > 0 && length <= 9 && point->point[length] == '\0' ? strtoul(point->point, NULL, 10) : 0;
}

bool rlv_specimen_numbered(const rlv_specimen* specimen, const size_t* index, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (rlv_specimen_point_number(&specimen->point[index[i]]) == 0)
            return false;
    return count > 0;
}
