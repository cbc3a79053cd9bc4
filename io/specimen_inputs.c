#include "specimen_inputs.h"

#include <stdlib.h>
#include <string.h>

static void tell_input(rlv_answer* answer, const char* path, const char* sha256)
{
    json_t* row = record_row(answer->inputs);
    record_text(row, "path", path);
    record_text(row, "sha256", sha256);
}

void specimen_inputs(rlv_answer* answer, const rlv_specimen* specimen)
{
    const char* const file[][2] = {{"specimen.yaml", specimen->yaml_sha256},
                                   {"points.csv", specimen->points_sha256},
                                   {"elements.csv", specimen->elements_sha256}};
    for (size_t i = 0; i < 3; i++)
        if (file[i][1][0] != '\0')
            tell_input(answer, file[i][0], file[i][1]);
    for (size_t i = 0; i < specimen->compared_file_count; i++)
        tell_input(answer, specimen->compared_file[i].within, specimen->compared_file[i].sha256);
}

void specimen_inputs_within(rlv_answer* answer, const rlv_specimen* specimen)
{
    const char* folder = specimen->folder;
    size_t length = strlen(folder);
    while (length > 1 && folder[length - 1] == '/')
        length--;
    for (size_t i = 0; i < json_array_size(answer->inputs); i++)
    {
        json_t* row = json_array_get(answer->inputs, i);
        const char* path = json_string_value(json_object_get(row, "path"));
        if (path != NULL && strncmp(path, folder, length) == 0 && path[length] == '/')
        {
            char* within = strdup(path + length + strspn(path + length, "/"));
            record_text(row, "path", within);
            free(within);
        }
    }
}
