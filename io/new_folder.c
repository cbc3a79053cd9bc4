#include "new_folder.h"

#include "safe_file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

static const char temporary_start[] = ".rilievo-";
static const char temporary_end[] = ".folder";
static const char* const mend_disk = "see that the disk has room and may be written to";

static rlv_status no_memory(const char* path, rlv_error* error)
{
    return rlv_fail(error, RLV_SYSTEM, path, "close other programs", "no memory for a name");
}

static rlv_status fail_to_make(const char* path, int reason, rlv_error* error)
{
    return rlv_fail(error, reason == ENAMETOOLONG ? RLV_BAD_INPUT : RLV_SYSTEM, path,
                    reason == ENAMETOOLONG ? "give a shorter name" : mend_disk, "the folder cannot be made: %s",
                    strerror(reason));
}

static int remove_one(const char* path, const struct stat* at, int kind, struct FTW* walk)
{
    (void)at;
    (void)kind;
    (void)walk;
    return remove(path);
}

static void remove_tree(const char* path)
{
    nftw(path, remove_one, 8, FTW_DEPTH | FTW_PHYS | FTW_MOUNT);
}

static bool is_temporary(const char* name)
{
    size_t length = strlen(name), end = sizeof temporary_end - 1;
    return strncmp(name, temporary_start, sizeof temporary_start - 1) == 0 && length > end &&
           strcmp(name + length - end, temporary_end) == 0;
}

/// Take away the temporary folders in `parent` whose makers are dead.
static void sweep(const char* parent)
{
    DIR* stream = opendir(parent);
    for (const struct dirent* entry = stream != NULL ? readdir(stream) : NULL; entry != NULL; entry = readdir(stream))
    {
        char* path = NULL;
        if (!is_temporary(entry->d_name) || asprintf(&path, "%s/%s", parent, entry->d_name) < 0)
            continue;
        int descriptor = open(path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
        if (descriptor >= 0 && flock(descriptor, LOCK_EX | LOCK_NB) == 0)
            remove_tree(path);
        if (descriptor >= 0)
            close(descriptor);
        free(path);
    }
    if (stream != NULL)
        closedir(stream);
}

/// Whether a folder holds anything; `*marked`: whether that is `mark`.
static bool holds_something(const char* path, const char* mark, bool* marked)
{
    DIR* stream = opendir(path);
    bool something = stream == NULL; // what may not be looked into is not taken for empty
    *marked = false;
    for (const struct dirent* entry = stream != NULL ? readdir(stream) : NULL; entry != NULL; entry = readdir(stream))
    {
        bool itself = strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0;
        something = something || !itself;
        *marked = *marked || strcmp(entry->d_name, mark) == 0;
    }
    if (stream != NULL)
        closedir(stream);
    return something;
}

/// Refuse what stands in its place and is no empty folder.
static rlv_status check_place(const char* path, const char* mark, rlv_error* error)
{
    struct stat there, here;
    bool marked = false;
    if (stat(path, &there) != 0)
        return RLV_DONE;
    if (!S_ISDIR(there.st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, path, "give another name", "a file has that name");
    if (holds_something(path, mark, &marked))
        return marked ? rlv_fail(error, RLV_BAD_INPUT, path, "give another name",
                                 "the folder holds a %s already", mark)
                      : rlv_fail(error, RLV_BAD_INPUT, path, "name an empty folder or a new one",
                                 "the folder is not empty");
    if (stat(".", &here) == 0 && here.st_dev == there.st_dev && here.st_ino == there.st_ino)
        return rlv_fail(error, RLV_BAD_INPUT, path, "go to the folder above, and name this one from there",
                        "it is the folder at hand, which cannot be replaced from within");
    return RLV_DONE;
}

/// The path that is meant, links followed and slashes at its end left out, and the folder that it stands in.
static rlv_status settle(new_folder* folder, const char* path, rlv_error* error)
{
    folder->path = realpath(path, NULL);
    if (folder->path == NULL)
        folder->path = strdup(path);
    if (folder->path == NULL)
        return no_memory(path, error);
    for (size_t length = strlen(folder->path); length > 1 && folder->path[length - 1] == '/';)
        folder->path[--length] = '\0';
    const char* slash = strrchr(folder->path, '/');
    folder->parent = slash == NULL           ? strdup(".")
                     : slash == folder->path ? strdup("/")
                                             : strndup(folder->path, (size_t)(slash - folder->path));
    return folder->parent != NULL ? RLV_DONE : no_memory(path, error);
}

static rlv_status make_temporary(new_folder* folder, rlv_error* error)
{
    for (unsigned number = 0;; number++)
    {
        if (asprintf(&folder->temporary, "%s/%s%ld-%u%s", folder->parent, temporary_start, (long)getpid(), number,
                     temporary_end) < 0)
        {
            folder->temporary = NULL;
            return no_memory(folder->path, error);
        }
        int reason = mkdir(folder->temporary, 0777) == 0 ? 0 : errno;
        if (reason == 0)
            break;
        free(folder->temporary);
        folder->temporary = NULL;
        if (reason != EEXIST)
            return fail_to_make(folder->path, reason, error);
    }
    folder->lock = open(folder->temporary, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    // Where the file system knows no locks nobody can take one, so that nothing is swept there.
    if (folder->lock < 0 || (flock(folder->lock, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK))
        return fail_to_make(folder->path, errno, error);
    return RLV_DONE;
}

rlv_status new_folder_begin(new_folder* folder, const char* path, const char* mark, rlv_error* error)
{
    folder->lock = -1;
    if (path[0] == '\0')
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the name of a folder", "the name of the folder is empty");
    rlv_status status = check_place(path, mark, error);
    if (status == RLV_DONE)
        status = settle(folder, path, error);
    if (status == RLV_DONE)
        status = rlv_folder_make(folder->parent, folder->made, sizeof folder->made, error);
    if (status == RLV_DONE)
    {
        sweep(folder->parent);
        status = make_temporary(folder, error);
    }
    if (status != RLV_DONE)
        new_folder_abandon(folder);
    return status;
}

/// The path that a name has for now; NULL where memory is not to be had.
static char* path_of(const new_folder* folder, const char* name)
{
    char* path = NULL;
    return asprintf(&path, "%s/%s", folder->temporary, name) >= 0 ? path : NULL;
}

rlv_status new_folder_add_text(new_folder* folder, const char* name, const char* text, rlv_error* error)
{
    rlv_safe_file file = {0};
    char* path = path_of(folder, name);
    if (path == NULL)
        return no_memory(folder->path, error);
    rlv_status status = rlv_safe_file_open(&file, path, error);
    free(path);
    if (status != RLV_DONE)
        return status;
    fputs(text, file.stream);
    return rlv_safe_file_commit(&file, error);
}

rlv_status new_folder_add_folder(new_folder* folder, const char* name, rlv_error* error)
{
    char* path = path_of(folder, name);
    if (path == NULL)
        return no_memory(folder->path, error);
    int reason = mkdir(path, 0777) == 0 ? 0 : errno;
    free(path);
    return reason == 0 ? RLV_DONE : fail_to_make(folder->path, reason, error);
}

/// Have a folder's names written to disk. Some file systems cannot.
static bool flush(const char* path)
{
    int descriptor = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    bool flushed = descriptor >= 0 && (fsync(descriptor) == 0 || errno == EINVAL || errno == ENOTSUP);
    if (descriptor >= 0)
        close(descriptor);
    return flushed;
}

rlv_status new_folder_commit(new_folder* folder, rlv_error* error)
{
    struct stat old;
    rlv_status status = RLV_DONE;
    if (stat(folder->path, &old) == 0)
        (void)fchmod(folder->lock, old.st_mode & 07777); // a disk without permissions: nothing to carry over
    if (!flush(folder->temporary))
        status = fail_to_make(folder->path, errno, error);
    else if (rename(folder->temporary, folder->path) != 0)
        status = errno == ENOTEMPTY || errno == EEXIST || errno == ENOTDIR
                     ? rlv_fail(error, RLV_BAD_INPUT, folder->path, "name an empty folder or a new one",
                                "something was put there in the meantime")
                     : fail_to_make(folder->path, errno, error);
    else
    {
        free(folder->temporary); // it has its name now: nothing to take away
        folder->temporary = NULL;
        folder->made[0] = '\0';
        if (!flush(folder->parent))
            status = rlv_fail(error, RLV_SYSTEM, folder->path, mend_disk,
                              "was made, but the folder above could not be flushed to disk: %s", strerror(errno));
    }
    new_folder_abandon(folder);
    return status;
}

/// Take the parents that were made away again, from the last up to the first.
static void remove_made(new_folder* folder)
{
    size_t least = strlen(folder->made);
    for (size_t length = strlen(folder->parent); least > 0 && length >= least; length--)
    {
        if (folder->parent[length] != '\0' && folder->parent[length] != '/')
            continue;
        folder->parent[length] = '\0';
        if (rmdir(folder->parent) != 0 && errno != ENOENT)
            return;
    }
}

void new_folder_abandon(new_folder* folder)
{
    if (folder->temporary != NULL)
        remove_tree(folder->temporary);
    if (folder->path != NULL && folder->lock >= 0)
        close(folder->lock);
    if (folder->parent != NULL)
        remove_made(folder);
    free(folder->path);
    free(folder->parent);
    free(folder->temporary);
    *folder = (new_folder){0};
}
