#include "out_folder.h"

#include "ply.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char* const mend_room = "make room on the disk, or name another folder";

/// Take the folders that were made away again, from the leaf up to the first of them. Whatever holds a file stays.
static void remove_made(out_folder* folder)
{
    size_t least = strlen(folder->made);
    char* path = folder->path;
    if (least == 0)
        return;
    for (size_t length = strlen(path); length >= least; length--)
    {
        bool end = path[length] == '\0' || path[length] == '/';
        if (!end)
            continue;
        path[length] = '\0';
        if (length > 0 && path[length - 1] != '/' && rmdir(path) != 0 && errno != ENOENT)
            return;
    }
}

/// What is still under a temporary name goes.
static void drop_files(out_folder* folder)
{
    for (size_t i = 0; i < folder->file_count; i++)
        rlv_safe_file_abandon(&folder->file[i]);
}

rlv_status out_folder_open(out_folder* folder, const char* path, rlv_error* error)
{
    folder->path = strdup(path);
    if (folder->path == NULL)
        return rlv_fail(error, RLV_SYSTEM, path, "close other programs", "no memory for a name");
    rlv_status status = rlv_folder_make(path, folder->made, sizeof folder->made, error);
    if (status == RLV_DONE && access(path, R_OK | W_OK | X_OK) != 0)
        status = rlv_fail(error, RLV_SYSTEM, path, "change its permissions, or name another folder",
                          "the folder cannot be read and written to: %s", strerror(errno));
    if (status != RLV_DONE)
        out_folder_abandon(folder);
    return status;
}

rlv_status out_folder_add(out_folder* folder, const char* name, FILE** stream, rlv_error* error)
{
    if (folder->file_count == OUT_FOLDER_FILES)
        return rlv_fail(error, RLV_SYSTEM, folder->path, NULL, "more than %d files", OUT_FOLDER_FILES);
    char* path = NULL;
    if (asprintf(&path, "%s/%s", folder->path, name) < 0)
        return rlv_fail(error, RLV_SYSTEM, folder->path, "close other programs", "no memory for a name");
    rlv_status status = rlv_safe_file_open(&folder->file[folder->file_count], path, error);
    if (status == RLV_DONE)
        *stream = folder->file[folder->file_count++].stream;
    free(path);
    return status;
}

rlv_status out_folder_add_mesh(out_folder* folder, const char* name, const rlv_mesh* mesh, rlv_error* error)
{
    FILE* stream = NULL;
    rlv_status status = out_folder_add(folder, name, &stream, error);
    if (status == RLV_DONE && !rlv_ply_write(mesh, stream))
        status = rlv_fail(error, RLV_SYSTEM, folder->file[folder->file_count - 1].path, mend_room,
                          "it could not be written: %s", strerror(errno));
    return status;
}

rlv_status out_folder_seal(out_folder* folder, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < folder->file_count && status == RLV_DONE; i++)
    {
        rlv_safe_file* file = &folder->file[i];
        if (ferror(file->stream) || fflush(file->stream) != 0 || fsync(fileno(file->stream)) != 0)
            status = rlv_fail(error, RLV_SYSTEM, file->path, mend_room, "it could not be written: %s", strerror(errno));
    }
    return status;
}

rlv_status out_folder_commit(out_folder* folder, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < folder->file_count && status == RLV_DONE; i++)
        status = rlv_safe_file_commit(&folder->file[i], error);
    drop_files(folder);
    free(folder->path);
    *folder = (out_folder){0};
    return status;
}

void out_folder_abandon(out_folder* folder)
{
    if (folder->path == NULL)
        return;
    drop_files(folder);
    remove_made(folder);
    free(folder->path);
    *folder = (out_folder){0};
}
