#include "out_folder.h"

#include "grow.h"
#include "ply.h"
#include "safe_file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char* const mend_room = "make room on the disk, or name another folder";
static const char* const mend_rights = "change its permissions, or name another folder";
static const char* const mend_memory = "close other programs";
static const char* const mend_other = "name another folder";
static const char* const mend_new = "name a new or an empty folder";

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

static void free_folder(out_folder* folder)
{
    for (size_t i = 0; i < folder->file_count; i++)
    {
        free(folder->file[i].path);
        free(folder->file[i].target);
    }
    free(folder->file);
    free(folder->path);
    *folder = (out_folder){0};
}

void out_folder_abandon(out_folder* folder)
{
    if (folder->path == NULL)
        return;
    for (size_t i = 0; i < folder->file_count; i++)
        if (folder->file[i].stream != NULL)
            fclose(folder->file[i].stream);
    rlv_temporary_folder_remove(&folder->stage);
    remove_made(folder);
    free_folder(folder);
}

// --- Opening ---------------------------------------------------------------------------------------------------------

/// `path` without the slashes at its end.
static rlv_status keep_path(out_folder* folder, const char* path, rlv_error* error)
{
    size_t length = strlen(path);
    while (length > 1 && path[length - 1] == '/')
        length--;
    *folder = (out_folder){.path = strndup(path, length)};
    return folder->path != NULL ? RLV_DONE : rlv_fail(error, RLV_SYSTEM, path, mend_memory, "no memory for a name");
}

/// Make the temporary folder in `parent`.
static rlv_status make_stage(out_folder* folder, const char* parent, rlv_error* error)
{
    int reason = rlv_temporary_folder_make(&folder->stage, parent);
    return reason == 0 ? RLV_DONE
                       : rlv_fail(error, RLV_SYSTEM, folder->path,
                                  reason == ENOSPC || reason == EDQUOT ? mend_room : mend_rights,
                                  "nothing can be written to %.400s: %s", parent, strerror(reason));
}

rlv_status out_folder_open(out_folder* folder, const char* path, rlv_error* error)
{
    rlv_status status = keep_path(folder, path, error);
    if (status == RLV_DONE)
        status = rlv_folder_make(path, folder->made, sizeof folder->made, error);
    if (status == RLV_DONE && faccessat(AT_FDCWD, path, R_OK | W_OK | X_OK, AT_EACCESS) != 0)
        status = rlv_fail(error, RLV_SYSTEM, path, mend_rights, "the folder cannot be read and written to: %s",
                          strerror(errno));
    if (status == RLV_DONE)
    {
        rlv_temporary_sweep(path);
        status = make_stage(folder, path, error);
    }
    if (status != RLV_DONE)
        out_folder_abandon(folder);
    return status;
}

/// The last part of a path: the name of the folder.
static const char* leaf_of(const char* path)
{
    const char* slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

/// Look for a folder, `name` or below it, that may not be emptied: its name in `found`, and the errno; 0 where all may.
/// One that is gone by now, as where another run replaces it, stands in nobody's way.
static int find_shut(int at, const char* name, char* found, size_t size)
{
    int inner = faccessat(at, name, R_OK | W_OK | X_OK, AT_EACCESS) == 0
                    ? openat(at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC)
                    : -1;
    DIR* stream = inner >= 0 ? fdopendir(inner) : NULL;
    if (stream == NULL)
    {
        int reason = errno;
        if (inner >= 0)
            close(inner);
        snprintf(found, size, "%s", leaf_of(name));
        return reason == ENOENT ? 0 : reason;
    }
    int reason = 0;
    for (const struct dirent* entry = readdir(stream); entry != NULL && reason == 0; entry = readdir(stream))
    {
        struct stat what;
        if (!rlv_folder_is_dots(entry->d_name) && fstatat(inner, entry->d_name, &what, AT_SYMLINK_NOFOLLOW) == 0 &&
            S_ISDIR(what.st_mode))
            reason = find_shut(inner, entry->d_name, found, size);
    }
    closedir(stream);
    return reason;
}

/// Whether a folder is empty, as one is that is gone by now, and whether it holds `mark`. 0, or an errno.
static int look_inside(const char* path, const char* mark, bool* empty, bool* marked)
{
    *empty = true;
    *marked = false;
    DIR* stream = opendir(path);
    if (stream == NULL)
        return errno == ENOENT ? 0 : errno;
    for (const struct dirent* entry = readdir(stream); entry != NULL; entry = readdir(stream))
    {
        *empty = *empty && rlv_folder_is_dots(entry->d_name);
        *marked = *marked || (mark != NULL && strcmp(entry->d_name, mark) == 0);
    }
    closedir(stream);
    return 0;
}

static bool is_at_hand(const struct stat* folder)
{
    struct stat here;
    return stat(".", &here) == 0 && here.st_dev == folder->st_dev && here.st_ino == folder->st_ino;
}

static rlv_status fail_shut(const char* path, const char* shut, int reason, rlv_error* error)
{
    return rlv_fail(error, RLV_SYSTEM, path, mend_rights, "the folder %s cannot be read and written to: %s", shut,
                    strerror(reason));
}

/// Refuse a folder that is to be new and is not, or is to be replaced and was written by somebody else.
static rlv_status check_content(const out_folder* folder, const struct stat* old, const char* mark, rlv_error* error)
{
    const char* path = folder->path;
    bool empty = false, marked = false;
    const int reason = look_inside(path, mark, &empty, &marked);
    if (reason != 0)
        return fail_shut(path, leaf_of(path), reason, error);
    if (folder->way == OUT_WHOLE)
        return empty || marked || mark == NULL
                   ? RLV_DONE
                   : rlv_fail(error, RLV_BAD_INPUT, path, mend_new,
                              "it would be replaced whole, but it holds no %s and so was not written by this command",
                              mark);
    if (marked)
        return rlv_fail(error, RLV_BAD_INPUT, path, "give another name", "the folder holds a %s already", mark);
    if (!empty)
        return rlv_fail(error, RLV_BAD_INPUT, path, mend_new, "the folder is not empty");
    if (is_at_hand(old))
        return rlv_fail(error, RLV_BAD_INPUT, path, "go to the folder above, and name this one from there",
                        "it is the folder at hand, which cannot be replaced from within");
    return RLV_DONE;
}

/// In a folder where everybody may write, but take away only what is his own.
static bool is_anothers(const struct stat* old, const char* parent)
{
    struct stat above;
    uid_t self = geteuid();
    return stat(parent, &above) == 0 && (above.st_mode & S_ISVTX) != 0 && self != 0 && above.st_uid != self &&
           old->st_uid != self;
}

static bool is_disk(const char* path)
{
    struct statx what;
    return statx(AT_FDCWD, path, AT_SYMLINK_NOFOLLOW, 0, &what) == 0 &&
           (what.stx_attributes & STATX_ATTR_MOUNT_ROOT) != 0;
}

/// Refuse a folder that cannot be taken away.
static rlv_status check_rights(const char* path, const struct stat* old, const char* parent, rlv_error* error)
{
    char shut[256];
    if (is_disk(path))
        return rlv_fail(error, RLV_BAD_INPUT, path, "name a folder on that disk",
                        "a disk is mounted there, and cannot be replaced");
    if (is_anothers(old, parent))
        return rlv_fail(error, RLV_SYSTEM, path, mend_other, "it is another user's, and cannot be replaced");
    const int reason = find_shut(AT_FDCWD, path, shut, sizeof shut);
    return reason == 0 ? RLV_DONE : fail_shut(path, shut, reason, error);
}

/// Refuse what cannot be replaced; `*mode` gets the permissions of what can, 0 where there is nothing.
static rlv_status check_old(const out_folder* folder, const char* parent, const char* mark, mode_t* mode,
                            rlv_error* error)
{
    struct stat old;
    const char* path = folder->path;
    *mode = 0;
    if (lstat(path, &old) != 0)
        return errno == ENOENT ? RLV_DONE
               : errno == ENAMETOOLONG
                   ? rlv_fail(error, RLV_BAD_INPUT, path, "give a shorter name", "the name is too long")
                   : rlv_fail(error, RLV_SYSTEM, path, mend_rights, "it cannot be looked at: %s", strerror(errno));
    if (S_ISLNK(old.st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, path, "remove the link, or name the folder that it leads to",
                        "a link has the name of the folder that is to be written");
    if (!S_ISDIR(old.st_mode))
        return rlv_fail(error, RLV_BAD_INPUT, path, "move it away, or name another folder",
                        "a file has that name, and a folder is to be written");
    rlv_status status = check_content(folder, &old, mark, error);
    if (status == RLV_DONE)
        status = check_rights(path, &old, parent, error);
    if (status == RLV_DONE)
        *mode = old.st_mode & 07777;
    return status;
}

static rlv_status open_beside(out_folder* folder, const char* parent, const char* mark, rlv_error* error)
{
    mode_t mode = 0;
    rlv_status status = rlv_folder_make(parent, folder->made, sizeof folder->made, error);
    if (status != RLV_DONE)
        return status;
    rlv_temporary_sweep(parent);
    status = check_old(folder, parent, mark, &mode, error);
    if (status == RLV_DONE)
        status = make_stage(folder, parent, error);
    if (status == RLV_DONE && mode != 0)
        (void)!fchmod(folder->stage.fresh, mode); // a disk without permissions has nothing to carry over
    return status;
}

static rlv_status open_in_its_parent(out_folder* folder, const char* path, out_way way, const char* mark,
                                     rlv_error* error)
{
    rlv_status status = keep_path(folder, path, error);
    if (status != RLV_DONE)
        return status;
    folder->way = way;
    const char* leaf = leaf_of(folder->path);
    char* parent = leaf > folder->path ? strndup(folder->path, (size_t)(leaf - folder->path)) : strdup(".");
    if (parent == NULL)
        status = rlv_fail(error, RLV_SYSTEM, path, mend_memory, "no memory for a name");
    else if (leaf[0] == '\0' || rlv_folder_is_dots(leaf))
        status = rlv_fail(error, RLV_BAD_INPUT, path, "give the name of a folder that may be made or replaced",
                          "no folder is named that could be written whole");
    else
        status = open_beside(folder, parent, mark, error);
    free(parent);
    if (status != RLV_DONE)
        out_folder_abandon(folder);
    return status;
}

rlv_status out_folder_open_whole(out_folder* folder, const char* path, const char* mark, rlv_error* error)
{
    return open_in_its_parent(folder, path, OUT_WHOLE, mark, error);
}

rlv_status out_folder_open_new(out_folder* folder, const char* path, const char* mark, rlv_error* error)
{
    char* meant = realpath(path, NULL); // where there is one; else it is to be made by the name that was given
    const rlv_status status = open_in_its_parent(folder, meant != NULL ? meant : path, OUT_NEW, mark, error);
    free(meant);
    return status;
}

// --- Files -----------------------------------------------------------------------------------------------------------

/// Whether a name leads to a file within the folder.
static bool is_within(const char* name)
{
    for (const char* part = name;; part++)
    {
        size_t length = strcspn(part, "/");
        if (length == 0 || (length == 1 && part[0] == '.') || (length == 2 && part[0] == '.' && part[1] == '.'))
            return false;
        part += length;
        if (*part == '\0')
            return true;
    }
}

/// Make the sub-folders that `path` leads through, beneath the open folder `at`. 0, or an errno.
static int make_parents(int at, char* path)
{
    for (char* slash = strchr(path, '/'); slash != NULL; slash = strchr(slash + 1, '/'))
    {
        *slash = '\0';
        int reason = mkdirat(at, path, 0777) == 0 ? 0 : errno;
        *slash = '/';
        if (reason != 0 && reason != EEXIST)
            return reason;
    }
    return 0;
}

/// Whether a link to a file leads to the folder's own disk, from where a file can take its place in one step.
static rlv_status check_link(const out_folder* folder, const out_file* file, rlv_error* error)
{
    struct stat target, stage;
    if (strcmp(file->target, file->path) == 0 || stat(file->target, &target) != 0 ||
        fstat(folder->stage.at, &stage) != 0 || target.st_dev == stage.st_dev)
        return RLV_DONE;
    return rlv_fail(error, RLV_BAD_INPUT, file->path, "remove the link, or name another folder",
                    "a link to another disk has the name of a file that is to be written");
}

/// Room for one more file, with its path.
static rlv_status reserve_file(out_folder* folder, const char* name, rlv_error* error)
{
    if (!rlv_grow(&folder->file, &folder->file_room, folder->file_count + 1, sizeof *folder->file))
        return rlv_fail(error, RLV_SYSTEM, folder->path, mend_memory, "no memory for a list of files");
    out_file* file = &folder->file[folder->file_count];
    *file = (out_file){0};
    if (asprintf(&file->path, "%s/%s", folder->path, name) < 0)
    {
        file->path = NULL;
        return rlv_fail(error, RLV_SYSTEM, folder->path, mend_memory, "no memory for a name");
    }
    folder->file_count++;
    return RLV_DONE;
}

/// Drop the last file of the list, which could not be opened.
static void forget_file(out_folder* folder)
{
    const out_file* file = &folder->file[--folder->file_count];
    free(file->path);
    free(file->target);
}

/// The name of a file within the folder.
static char* name_of(const out_folder* folder, const out_file* file)
{
    return file->path + strlen(folder->path) + 1;
}

static rlv_status open_file(const out_folder* folder, out_file* file, mode_t mode, rlv_error* error)
{
    int at = folder->stage.fresh, descriptor = -1;
    int reason = make_parents(at, name_of(folder, file));
    if (reason == 0)
    {
        descriptor = openat(at, name_of(folder, file), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        reason = descriptor < 0 ? errno : 0;
    }
    if (reason == EEXIST || reason == ENOTDIR || reason == EISDIR)
        return rlv_fail(error, RLV_BAD_INPUT, file->path, "give them names that differ",
                        "two of the files to be written have this name");
    if (reason == ENAMETOOLONG)
        return rlv_fail(error, RLV_BAD_INPUT, file->path, "give a shorter name", "the name is too long");
    if (descriptor >= 0 && mode != 0)
        (void)!fchmod(descriptor, mode); // a disk without permissions has nothing to carry over
    file->stream = descriptor >= 0 ? fdopen(descriptor, "wb") : NULL;
    if (file->stream != NULL)
        return RLV_DONE;
    reason = reason != 0 ? reason : errno;
    if (descriptor >= 0)
        close(descriptor);
    return rlv_fail(error, RLV_SYSTEM, file->path, mend_room, "it could not be written: %s", strerror(reason));
}

static rlv_status fail_astray(const out_folder* folder, const char* name, rlv_error* error)
{
    return rlv_fail(error, RLV_BAD_INPUT, folder->path, "give the name of a file within the folder",
                    "\"%.200s\" is no name of a file to write", name);
}

rlv_status out_folder_add(out_folder* folder, const char* name, FILE** stream, rlv_error* error)
{
    mode_t mode = 0;
    if (!is_within(name))
        return fail_astray(folder, name, error);
    rlv_status status = reserve_file(folder, name, error);
    if (status != RLV_DONE)
        return status;
    out_file* file = &folder->file[folder->file_count - 1];
    if (folder->way == OUT_AMONG_OTHERS)
    {
        status = rlv_safe_file_settle(file->path, &file->target, &mode, error);
        if (status == RLV_DONE)
            status = check_link(folder, file, error);
    }
    if (status == RLV_DONE)
        status = open_file(folder, file, mode, error);
    if (status == RLV_DONE)
        *stream = file->stream;
    else
        forget_file(folder);
    return status;
}

/// Flush, bring to the disk, close.
static rlv_status finish_file(out_file* file, rlv_error* error)
{
    errno = 0;
    bool whole = !ferror(file->stream) && fflush(file->stream) == 0 && fsync(fileno(file->stream)) == 0;
    int reason = errno;
    if (fclose(file->stream) != 0 && whole)
    {
        whole = false;
        reason = errno;
    }
    file->stream = NULL;
    return whole ? RLV_DONE
                 : rlv_fail(error, RLV_SYSTEM, file->path, mend_room, "it could not be written whole: %s",
                            reason != 0 ? strerror(reason) : "the disk refused a part of it");
}

rlv_status out_folder_finish(out_folder* folder, FILE* stream, rlv_error* error)
{
    for (size_t i = folder->file_count; i-- > 0;)
        if (folder->file[i].stream == stream)
            return finish_file(&folder->file[i], error);
    return RLV_DONE;
}

rlv_status out_folder_add_folder(out_folder* folder, const char* name, rlv_error* error)
{
    char* path = NULL;
    if (!is_within(name))
        return fail_astray(folder, name, error);
    if (asprintf(&path, "%s/", name) < 0)
        return rlv_fail(error, RLV_SYSTEM, folder->path, mend_memory, "no memory for a name");
    const int reason = make_parents(folder->stage.fresh, path);
    free(path);
    return reason == 0 ? RLV_DONE
                       : rlv_fail(error, RLV_SYSTEM, folder->path, mend_room,
                                  "the folder %.200s cannot be made in it: %s", name, strerror(reason));
}

rlv_status out_folder_add_mesh(out_folder* folder, const char* name, const rlv_mesh* mesh, rlv_error* error)
{
    FILE* stream = NULL;
    rlv_status status = out_folder_add(folder, name, &stream, error);
    if (status != RLV_DONE)
        return status;
    if (!rlv_ply_write(mesh, stream))
        return rlv_fail(error, RLV_SYSTEM, folder->file[folder->file_count - 1].path, mend_room,
                        "it could not be written: %s", strerror(errno));
    return out_folder_finish(folder, stream, error);
}

// --- Putting in place ------------------------------------------------------------------------------------------------

/// Bring the names in and below an open folder to the disk. 0, or an errno. Closes it.
static int flush_folders(int at)
{
    DIR* stream = at >= 0 ? fdopendir(at) : NULL;
    if (stream == NULL)
    {
        int reason = errno;
        if (at >= 0)
            close(at);
        return reason;
    }
    int reason = 0;
    for (const struct dirent* entry = readdir(stream); entry != NULL && reason == 0; entry = readdir(stream))
    {
        struct stat what;
        if (rlv_folder_is_dots(entry->d_name))
            continue;
        if (fstatat(at, entry->d_name, &what, AT_SYMLINK_NOFOLLOW) != 0)
            reason = errno;
        else if (S_ISDIR(what.st_mode))
            reason = flush_folders(openat(at, entry->d_name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC));
    }
    if (reason == 0 && !rlv_folder_flush(at))
        reason = errno;
    closedir(stream);
    return reason;
}

rlv_status out_folder_seal(out_folder* folder, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < folder->file_count && status == RLV_DONE; i++)
        if (folder->file[i].stream != NULL)
            status = finish_file(&folder->file[i], error);
    if (status != RLV_DONE)
        return status;
    int reason = flush_folders(openat(folder->stage.at, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (reason == 0 && !rlv_folder_flush(folder->stage.parent))
        reason = errno;
    return reason == 0 ? RLV_DONE
                       : rlv_fail(error, RLV_SYSTEM, folder->path, mend_room, "it could not be written whole: %s",
                                  strerror(reason));
}

/// The folder that has changed places is in place: bring that to the disk, and remove the old one.
static rlv_status settle_swap(out_folder* folder, rlv_error* error)
{
    char left[64];
    snprintf(left, sizeof left, "%s", folder->stage.name);
    if (!rlv_folder_flush(folder->stage.parent))
        return rlv_fail(error, RLV_SYSTEM, folder->path, mend_room,
                        "it was written, but the folder above it could not be flushed to disk: %s", strerror(errno));
    int reason = rlv_temporary_folder_remove(&folder->stage);
    return reason == 0
               ? RLV_DONE
               : rlv_fail(error, RLV_SYSTEM, folder->path, "remove it, or let the next run try again",
                          "it was written, but what it replaces is left beside it in %s: %s", left, strerror(reason));
}

/// Give the whole folder its name. 0, or an errno.
static int place_whole(const out_folder* folder)
{
    struct stat old;
    const char* leaf = leaf_of(folder->path);
    if (folder->way == OUT_NEW)
        return rlv_temporary_folder_place(&folder->stage, leaf);
    // What came there since the folder was opened, and is none, is not replaced.
    if (fstatat(folder->stage.parent, leaf, &old, AT_SYMLINK_NOFOLLOW) == 0 && !S_ISDIR(old.st_mode))
        return ENOTDIR;
    return rlv_temporary_folder_swap(&folder->stage, leaf);
}

static rlv_status commit_whole(out_folder* folder, rlv_error* error)
{
    const int reason = place_whole(folder);
    if (folder->way == OUT_NEW && (reason == EEXIST || reason == ENOTEMPTY || reason == ENOTDIR))
        return rlv_fail(error, RLV_BAD_INPUT, folder->path, mend_new, "something was put there in the meantime");
    if (reason == EXDEV || reason == EBUSY || reason == EPERM || reason == EACCES)
        return rlv_fail(error, RLV_SYSTEM, folder->path, "move it away, or name another folder",
                        "the folder that is there cannot be replaced: %s", strerror(reason));
    if (reason != 0)
        return rlv_fail(error, RLV_SYSTEM, folder->path, mend_room, "it could not be put in place: %s",
                        strerror(reason));
    return settle_swap(folder, error);
}

/// Give one file its name among others. 0, or an errno.
static int place_file(const out_folder* folder, const out_file* file)
{
    int reason = make_parents(folder->stage.parent, name_of(folder, file));
    if (reason != 0)
        return reason;
    return renameat(folder->stage.fresh, name_of(folder, file), AT_FDCWD, file->target) == 0 ? 0 : errno;
}

static bool share_folder(const char* path, const char* other)
{
    size_t length = (size_t)(leaf_of(path) - path);
    return length == (size_t)(leaf_of(other) - other) && memcmp(path, other, length) == 0;
}

static rlv_status commit_among_others(out_folder* folder, rlv_error* error)
{
    for (size_t i = 0; i < folder->file_count; i++)
    {
        const out_file* file = &folder->file[i];
        int reason = place_file(folder, file);
        bool last_there = i + 1 == folder->file_count || !share_folder(file->target, file[1].target);
        if (reason == 0 && last_there)
            reason = rlv_folder_flush_above(file->target);
        if (reason != 0)
            return rlv_fail(error, RLV_SYSTEM, file->path, mend_room, "it could not be put in place: %s",
                            strerror(reason));
    }
    return RLV_DONE;
}

rlv_status out_folder_commit(out_folder* folder, rlv_error* error)
{
    rlv_status status = out_folder_seal(folder, error);
    if (status == RLV_DONE)
        status = folder->way == OUT_AMONG_OTHERS ? commit_among_others(folder, error) : commit_whole(folder, error);
    if (status == RLV_DONE)
        folder->made[0] = '\0'; // to stay
    out_folder_abandon(folder);
    return status;
}
