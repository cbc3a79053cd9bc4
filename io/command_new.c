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

static rlv_status add_text(out_folder* folder, const char* name, const char* text, rlv_error* error)
{
    FILE* stream = NULL;
    const rlv_status status = out_folder_add(folder, name, &stream, error);
    if (status == RLV_DONE)
        fputs(text, stream);
    return status;
}

static rlv_status lay_out(out_folder* folder, const char* id, const char* unit, rlv_error* error)
{
    FILE* stream = NULL;
    rlv_status status = out_folder_add(folder, "specimen.yaml", &stream, error);
    if (status != RLV_DONE)
        return status;
    specimen_layout_yaml(stream, id, unit);
    status = add_text(folder, "points.csv", specimen_layout_points, error);
    if (status == RLV_DONE)
        status = add_text(folder, "elements.csv", specimen_layout_elements, error);
    return status == RLV_DONE ? out_folder_add_folder(folder, "meshes", error) : status;
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
    rlv_status status = out_folder_open_new(&answer->folder, path, "specimen.yaml", error);
    if (status != RLV_DONE)
        return status;
    char* id = id_of(answer->folder.path);
    status = id != NULL ? lay_out(&answer->folder, id, unit, error)
                        : rlv_fail(error, RLV_SYSTEM, path, "close other programs", "no memory for a name");
    free(id);
    if (status == RLV_DONE)
        tell(answer, path);
    return status;
}
