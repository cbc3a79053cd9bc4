#include "command.h"

#include "specimen_layout.h"
#include "text_file.h"

#include <stdlib.h>
#include <string.h>

/// The last part of the folder's path where that serves as an id, in quotes where YAML could take it for something
/// else; else a word to be replaced. Free with free().
static char* id_of(const char* path)
{
    const char* slash = strrchr(path, '/');
    const char* name = slash != NULL ? slash + 1 : path;
    char* id = NULL;
    const char* why = NULL;
    if (!rlv_text_is_id(name, &why))
        name = "specimen";
    return asprintf(&id, "\"%s\"", name) >= 0 ? id : NULL; // what an id may hold needs no escape
}

static rlv_status lay_out(rlv_answer* answer, const char* id, const char* unit, rlv_error* error)
{
    char* text = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&text, &size);
    if (stream != NULL)
        specimen_layout_yaml(stream, id, unit);
    if (stream == NULL || fclose(stream) != 0)
    {
        free(text);
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a text");
    }
    rlv_status status = new_folder_add_text(&answer->fresh, "specimen.yaml", text, error);
    free(text);
    if (status == RLV_DONE)
        status = new_folder_add_text(&answer->fresh, "points.csv", specimen_layout_points, error);
    if (status == RLV_DONE)
        status = new_folder_add_text(&answer->fresh, "elements.csv", specimen_layout_elements, error);
    return status == RLV_DONE ? new_folder_add_folder(&answer->fresh, "meshes", error) : status;
}

static void tell(rlv_answer* answer, const char* folder)
{
    static const char* const files[] = {"specimen.yaml", "points.csv", "elements.csv", "meshes/"};
    static const char* const holds[] = {"the record, each key explained beside it", "points that you place on meshes",
                                        "elements as you write them down", "room for the meshes"};
    json_t* list = record_list(answer->record, "files");
    record_text(answer->record, "folder", folder);
    fprintf(answer->text, "%s\n", folder);
    for (size_t i = 0; i < 4; i++)
    {
        record_line(list, files[i]);
        fprintf(answer->text, "  %-14s %s\n", files[i], holds[i]);
    }
    snprintf(answer->next, sizeof answer->next,
             "copy the first mesh into meshes/, and name it, with its unit, under stages in specimen.yaml.");
}

rlv_status command_new(const rlv_options* options, rlv_answer* answer, rlv_error* error)
{
    static const char* const unit_name[] = {"mm", "mm", "cm", "m", "in"}; // by rlv_unit; not said: mm, to be checked
    const char *path = options->path[0], *unit = unit_name[options->unit];
    record_text(answer->parameters, "unit", unit);
    rlv_status status = new_folder_begin(&answer->fresh, path, "specimen.yaml", error);
    if (status != RLV_DONE)
        return status;
    char* id = id_of(answer->fresh.path);
    status = id != NULL ? lay_out(answer, id, unit, error)
                        : rlv_fail(error, RLV_SYSTEM, path, "close other programs", "no memory for a name");
    free(id);
    if (status == RLV_DONE)
        tell(answer, path);
    return status;
}
