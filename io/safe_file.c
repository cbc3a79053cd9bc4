#include "safe_file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

// A temporary is named by process and number, so that it is short whatever the file is called, and locked while its
// writer lives. A lock dies with its process, on any machine that shares the disk; a process number would be used
// again.
static const char temporary_start[] = ".rilievo-";
static const char temporary_end[] = ".partial";

static const char* const mend_disk = "see that the disk has room and may be written to";

/// The folder part of `path`, with its slash, on the heap; "./" where there is none.
static char* folder_of(const char* path)
{
    const char* slash = strrchr(path, '/');
    return slash != NULL ? strndup(path, (size_t)(slash - path) + 1) : strdup("./");
}

static bool is_temporary(const char* name)
{
    size_t length = strlen(name), end = sizeof temporary_end - 1;
    return strncmp(name, temporary_start, sizeof temporary_start - 1) == 0 && length > end &&
           strcmp(name + length - end, temporary_end) == 0;
}

/// Remove a temporary of `folder` (open as `at`) unless somebody still holds its lock.
static void sweep_one(int at, const char* name)
{
    int descriptor = openat(at, name, O_WRONLY | O_NONBLOCK | O_NOFOLLOW | O_CLOEXEC);
    if (descriptor < 0)
        return;
    if (flock(descriptor, LOCK_EX | LOCK_NB) == 0)
        unlinkat(at, name, 0);
    close(descriptor);
}

static void sweep(const char* folder)
{
    DIR* stream = opendir(folder);
    if (stream == NULL)
        return;
    for (const struct dirent* entry = readdir(stream); entry != NULL; entry = readdir(stream))
        if (is_temporary(entry->d_name))
            sweep_one(dirfd(stream), entry->d_name);
    closedir(stream);
}

/// Whether the open file is still the one of that name: a sweep may have come between its making and its locking.
static bool still_named(int descriptor, const char* name)
{
    struct stat open_one, named_one;
    return fstat(descriptor, &open_one) == 0 && stat(name, &named_one) == 0 && open_one.st_dev == named_one.st_dev &&
           open_one.st_ino == named_one.st_ino;
}

/// Make and lock a temporary in `folder`; its name goes to `*name`. -1 with errno set where that fails.
static int make_temporary(const char* folder, char** name)
{
    for (unsigned number = 0;; number++)
    {
        if (asprintf(name, "%s%s%ld-%u%s", folder, temporary_start, (long)getpid(), number, temporary_end) < 0)
        {
            *name = NULL;
            errno = ENOMEM;
            return -1;
        }
        int descriptor = open(*name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (descriptor >= 0)
        {
            // Where the file system knows no locks, nobody else can take one either, so that nothing is swept.
            // A lock that is taken already is a sweep's, which is about to remove the file.
            const bool swept = flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
            if (!swept && still_named(descriptor, *name))
                return descriptor;
            close(descriptor);
        }
        else if (errno != EEXIST)
        {
            int reason = errno;
            free(*name);
            *name = NULL;
            errno = reason;
            return -1;
        }
        free(*name);
    }
}

/// The status of a failure to make a file: a folder that is missing or shut is the caller's to mend.
static rlv_status fail_to_make(const char* path, int reason, rlv_error* error)
{
    if (reason == ENOENT || reason == ENOTDIR)
        return rlv_fail(error, RLV_BAD_INPUT, path, "make the folder first, or give another",
                        "its folder does not exist");
    if (reason == ENAMETOOLONG)
        return rlv_fail(error, RLV_BAD_INPUT, path, "give a shorter name", "the name is too long");
    return rlv_fail(error, RLV_SYSTEM, path, mend_disk, "cannot be written: %s", strerror(reason));
}

/// Where writing to `path` really goes: a link is followed, so that it stays a link. RLV_BAD_INPUT for what is no file.
static rlv_status settle_path(const char* path, char** settled, mode_t* mode, rlv_error* error)
{
    size_t length = strlen(path);
    if (length == 0 || path[length - 1] == '/')
        return rlv_fail(error, RLV_BAD_INPUT, path, "give the name of a file",
                        "the name of a file to write is missing");
    struct stat old;
    *mode = 0;
    if (stat(path, &old) == 0)
    {
        if (!S_ISREG(old.st_mode))
            return rlv_fail(error, RLV_BAD_INPUT, path, "give another name",
                            S_ISDIR(old.st_mode) ? "a folder has the name of the file to write"
                                                 : "a file cannot be written in place of a device or a pipe");
        *mode = old.st_mode & 07777;
        *settled = realpath(path, NULL);
    }
    else if (errno == ENOENT)
        *settled = strdup(path);
    else
        return fail_to_make(path, errno, error);
    return *settled != NULL ? RLV_DONE
                            : rlv_fail(error, RLV_SYSTEM, path, mend_disk, "cannot be written: %s", strerror(errno));
}

rlv_status rlv_safe_file_open(rlv_safe_file* file, const char* path, rlv_error* error)
{
    memset(file, 0, sizeof *file);
    mode_t mode = 0;
    rlv_status status = settle_path(path, &file->path, &mode, error);
    if (status != RLV_DONE)
        return status;
    int descriptor = -1;
    char* folder = folder_of(file->path);
    if (folder != NULL)
    {
        sweep(folder);
        descriptor = make_temporary(folder, &file->temporary);
    }
    int reason = errno;
    free(folder);
    if (descriptor >= 0 && mode != 0 && fchmod(descriptor, mode) != 0)
        mode = 0; // a disk without permissions: nothing to carry over
    file->stream = descriptor >= 0 ? fdopen(descriptor, "wb") : NULL;
    if (file->stream != NULL)
        return RLV_DONE;
    if (descriptor >= 0)
    {
        reason = errno;
        close(descriptor);
    }
    rlv_safe_file_abandon(file);
    return fail_to_make(path, reason, error);
}

/// Have the folder of `path` written to disk, so that the new name outlives a power cut.
static bool sync_folder(const char* path)
{
    char* folder = folder_of(path);
    int descriptor = folder != NULL ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
    free(folder);
    if (descriptor < 0)
        return false;
    bool synced = fsync(descriptor) == 0 || errno == EINVAL || errno == ENOTSUP; // some file systems cannot
    close(descriptor);
    return synced;
}

rlv_status rlv_safe_file_commit(rlv_safe_file* file, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    errno = 0;
    bool flushed = fflush(file->stream) == 0 && !ferror(file->stream);
    if (!flushed || fsync(fileno(file->stream)) != 0)
        status = rlv_fail(error, RLV_SYSTEM, file->path, mend_disk, "could not be written whole: %s",
                          errno != 0 ? strerror(errno) : "the disk refused a part of it");
    else if (rename(file->temporary, file->path) != 0)
        status = rlv_fail(error, RLV_SYSTEM, file->path, mend_disk, "could not be put in place: %s", strerror(errno));
    else
    {
        free(file->temporary); // it has its name now: nothing to take away
        file->temporary = NULL;
        if (!sync_folder(file->path))
            status = rlv_fail(error, RLV_SYSTEM, file->path, mend_disk,
                              "was written, but its folder could not be flushed to disk: %s", strerror(errno));
    }
    rlv_safe_file_abandon(file);
    return status;
}

void rlv_safe_file_abandon(rlv_safe_file* file)
{
    if (file->temporary != NULL)
        unlink(file->temporary); // while the lock is still held
    if (file->stream != NULL)
        fclose(file->stream);
    free(file->path);
    free(file->temporary);
    memset(file, 0, sizeof *file);
}

/// Make one folder where it is missing, and note it in `made` if it is the first. 0, or why not.
static int make_one(const char* folder, char* made, size_t made_size)
{
    struct stat there;
    if (mkdir(folder, 0777) == 0)
    {
        if (made != NULL && made_size > 0 && made[0] == '\0')
            snprintf(made, made_size, "%s", folder);
        return 0;
    }
    int reason = errno;
    if (stat(folder, &there) == 0)
        return S_ISDIR(there.st_mode) ? 0 : ENOTDIR;
    return reason;
}

rlv_status rlv_folder_make(const char* folder, char* made, size_t made_size, rlv_error* error)
{
    if (made != NULL && made_size > 0)
        made[0] = '\0';
    if (folder[0] == '\0')
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the name of a folder", "the name of the folder is empty");
    char* part = strdup(folder);
    if (part == NULL)
        return rlv_fail(error, RLV_SYSTEM, folder, "close other programs", "no memory for a name");
    int reason = 0;
    for (char* at = part + 1; reason == 0 && *at != '\0'; at++)
        if (*at == '/' && at[-1] != '/')
        {
            *at = '\0';
            reason = make_one(part, made, made_size);
            *at = '/';
        }
    if (reason == 0)
        reason = make_one(part, made, made_size);
    free(part);
    if (reason == ENOTDIR)
        return rlv_fail(error, RLV_BAD_INPUT, folder, "give another name",
                        "a file stands where the folder is to be made");
    if (reason != 0)
        return rlv_fail(error, RLV_SYSTEM, folder, mend_disk, "the folder cannot be made: %s", strerror(reason));
    return RLV_DONE;
}
