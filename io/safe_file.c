#include "safe_file.h"

#include "temporary.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char* const mend_disk = "see that the disk has room and may be written to";

/// The folder part of `path`, with its slash, on the heap; "./" where there is none.
static char* folder_of(const char* path)
{
    const char* slash = strrchr(path, '/');
    return slash != NULL ? strndup(path, (size_t)(slash - path) + 1) : strdup("./");
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

rlv_status rlv_safe_file_settle(const char* path, char** settled, mode_t* mode, rlv_error* error)
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
    rlv_status status = rlv_safe_file_settle(path, &file->path, &mode, error);
    if (status != RLV_DONE)
        return status;
    int descriptor = -1;
    char* folder = folder_of(file->path);
    if (folder != NULL)
    {
        rlv_temporary_sweep(folder);
        descriptor = rlv_temporary_file(folder, &file->temporary);
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
        const int reason = rlv_folder_flush_above(file->path); // so that the new name outlives a power cut
        if (reason != 0)
            status = rlv_fail(error, RLV_SYSTEM, file->path, mend_disk,
                              "was written, but its folder could not be flushed to disk: %s", strerror(reason));
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
    if (reason == ENAMETOOLONG)
        return rlv_fail(error, RLV_BAD_INPUT, folder, "give a shorter name", "the name is too long");
    if (reason != 0)
        return rlv_fail(error, RLV_SYSTEM, folder, mend_disk, "the folder cannot be made: %s", strerror(reason));
    return RLV_DONE;
}
