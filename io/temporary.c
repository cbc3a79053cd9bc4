#include "temporary.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

static const char temporary_start[] = ".rilievo-";
static const char temporary_end[] = ".partial";

// What a temporary folder holds.
static const char lock_name[] = "lock";
static const char new_name[] = "new";
static const char previous_name[] = "previous";

enum
{
    SWAP_TRIES = 100, ///< how often other runs may come between before a swap is given up
};

static void name_temporary(char name[64], unsigned number)
{
    snprintf(name, 64, "%s%ld-%u%s", temporary_start, (long)getpid(), number, temporary_end);
}

static bool is_temporary(const char* name)
{
    size_t length = strlen(name), end = sizeof temporary_end - 1;
    return strncmp(name, temporary_start, sizeof temporary_start - 1) == 0 && length > end &&
           strcmp(name + length - end, temporary_end) == 0;
}

/// Whether an open file is still the one of that name: a sweep may have come between its making and its locking.
static bool still_named(int descriptor, int at, const char* name)
{
    struct stat open_one, named_one;
    return fstat(descriptor, &open_one) == 0 && fstatat(at, name, &named_one, AT_SYMLINK_NOFOLLOW) == 0 &&
           open_one.st_dev == named_one.st_dev && open_one.st_ino == named_one.st_ino;
}

static int open_folder(int at, const char* name)
{
    return openat(at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
}

/// Close, and keep errno.
static void close_quietly(int descriptor)
{
    int reason = errno;
    if (descriptor >= 0)
        close(descriptor);
    errno = reason;
}

bool rlv_folder_flush(int descriptor)
{
    return fsync(descriptor) == 0 || errno == EINVAL || errno == ENOTSUP;
}

int rlv_folder_flush_above(const char* path)
{
    const char* slash = strrchr(path, '/');
    char* folder = slash != NULL ? strndup(path, (size_t)(slash - path) + 1) : strdup(".");
    const int at = folder != NULL ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
    const int reason = at >= 0 && rlv_folder_flush(at) ? 0 : errno;
    free(folder);
    if (at >= 0)
        close(at);
    return reason;
}

bool rlv_folder_is_dots(const char* name)
{
    return strcmp(name, ".") == 0 || strcmp(name, "..") == 0;
}

int rlv_temporary_file(const char* folder, char** path)
{
    char name[64];
    for (unsigned number = 0;; number++)
    {
        name_temporary(name, number);
        if (asprintf(path, "%s%s", folder, name) < 0)
        {
            *path = NULL;
            errno = ENOMEM;
            return -1;
        }
        int descriptor = open(*path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (descriptor >= 0)
        {
            // A lock that is taken already is a sweep's, which is about to remove the file.
            const bool swept = flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
            if (!swept && still_named(descriptor, AT_FDCWD, *path))
                return descriptor;
            close(descriptor);
        }
        else if (errno != EEXIST)
        {
            int reason = errno;
            free(*path);
            *path = NULL;
            errno = reason;
            return -1;
        }
        free(*path);
    }
}

static int empty_folder(int at, const char* kept);

/// Remove what has this name, with all that it holds. 0, or the errno of what could not be removed.
static int remove_tree(int at, const char* name)
{
    if (unlinkat(at, name, 0) == 0 || errno == ENOENT)
        return 0;
    if (errno != EISDIR && errno != EPERM)
        return errno;
    int inner = open_folder(at, name);
    if (inner < 0)
        return errno;
    int reason = empty_folder(inner, NULL);
    close(inner);
    if (unlinkat(at, name, AT_REMOVEDIR) == 0)
        return 0;
    return reason != 0 ? reason : errno;
}

/// Remove what a folder holds but the name `kept`. Passes are made until one finds nothing that it can remove: a folder
/// that shrinks while it is read may be read in part.
static int empty_folder(int at, const char* kept)
{
    int copy = open_folder(at, ".");
    DIR* stream = copy >= 0 ? fdopendir(copy) : NULL;
    int reason = stream == NULL ? errno : 0;
    if (stream == NULL)
        close_quietly(copy);
    for (bool removed = stream != NULL; removed;)
    {
        removed = false;
        reason = 0;
        rewinddir(stream);
        for (const struct dirent* entry = readdir(stream); entry != NULL; entry = readdir(stream))
        {
            if (rlv_folder_is_dots(entry->d_name) || (kept != NULL && strcmp(entry->d_name, kept) == 0))
                continue;
            int why = remove_tree(at, entry->d_name);
            removed = removed || why == 0;
            reason = why != 0 ? why : reason;
        }
    }
    if (stream != NULL)
        closedir(stream);
    return reason;
}

/// Open a temporary folder and its lock. `*locked` tells whether the lock is ours; it is not where the file system
/// knows no locks. 0, EAGAIN where the folder is another's or gone, or the errno of what failed.
static int claim(int parent, const char* name, int* at, int* lock, bool* locked)
{
    *lock = -1;
    *locked = false;
    *at = open_folder(parent, name);
    if (*at >= 0)
        *lock = openat(*at, lock_name, O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0666);
    int reason = *lock >= 0 ? 0 : errno == ENOENT ? EAGAIN : errno;
    if (reason == 0)
    {
        *locked = flock(*lock, LOCK_EX | LOCK_NB) == 0;
        if ((!*locked && errno == EWOULDBLOCK) || !still_named(*lock, *at, lock_name))
            reason = EAGAIN;
    }
    if (reason != 0)
    {
        close_quietly(*lock);
        close_quietly(*at);
    }
    return reason;
}

/// Move what a swap had moved aside back to its place, unless something stands there by now. 0, or the errno of what
/// failed.
static int put_back(int parent, int at)
{
    int previous = open_folder(at, previous_name);
    DIR* stream = previous >= 0 ? fdopendir(previous) : NULL;
    if (stream == NULL)
    {
        int reason = errno;
        close_quietly(previous);
        return reason == ENOENT ? 0 : reason;
    }
    int reason = 0;
    for (const struct dirent* entry = readdir(stream); entry != NULL; entry = readdir(stream))
    {
        struct stat there;
        if (rlv_folder_is_dots(entry->d_name) || fstatat(parent, entry->d_name, &there, AT_SYMLINK_NOFOLLOW) == 0)
            continue;
        // A folder that came there in between is not taken away by this: then that one stays.
        if (renameat(previous, entry->d_name, parent, entry->d_name) != 0 && errno != ENOTEMPTY && errno != EEXIST)
            reason = errno;
    }
    closedir(stream);
    if (reason == 0 && !rlv_folder_flush(parent))
        reason = errno;
    return reason;
}

/// Take a temporary folder away that is claimed, and let go of it. The lock goes last, so that nobody takes a
/// half-emptied one for new.
static int dissolve(int parent, const char* name, int at, int lock)
{
    int reason = put_back(parent, at);
    if (reason == 0)
        reason = empty_folder(at, lock_name);
    if (reason == 0 && unlinkat(at, lock_name, 0) != 0 && errno != ENOENT)
        reason = errno;
    // Closed first: a network disk keeps a removed file by another name while it is open.
    close_quietly(at);
    close_quietly(lock);
    // Another sweep may take it by now, and is about to remove it.
    if (reason == 0 && unlinkat(parent, name, AT_REMOVEDIR) != 0 && errno != ENOENT && errno != ENOTEMPTY)
        reason = errno;
    return reason;
}

/// Make and claim a temporary folder in the open `folder->parent`.
static int make_claimed(rlv_temporary_folder* folder)
{
    for (unsigned number = 0;; number++)
    {
        bool locked;
        name_temporary(folder->name, number);
        int reason = mkdirat(folder->parent, folder->name, 0777) == 0 ? 0 : errno;
        if (reason == EEXIST)
            continue;
        if (reason == 0)
        {
            reason = claim(folder->parent, folder->name, &folder->at, &folder->lock, &locked);
            if (reason == EAGAIN)
                continue; // a sweep's by now
            if (reason != 0)
                unlinkat(folder->parent, folder->name, AT_REMOVEDIR);
        }
        return reason;
    }
}

int rlv_temporary_folder_make(rlv_temporary_folder* folder, const char* parent)
{
    *folder = (rlv_temporary_folder){.at = -1, .fresh = -1, .lock = -1};
    folder->parent = open(parent, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder->parent < 0)
        return errno;
    int reason = make_claimed(folder);
    if (reason != 0)
    {
        close(folder->parent);
        return reason;
    }
    folder->made = true;
    if (mkdirat(folder->at, new_name, 0777) == 0)
        folder->fresh = open_folder(folder->at, new_name);
    if (folder->fresh >= 0)
        return 0;
    reason = errno;
    rlv_temporary_folder_remove(folder);
    return reason;
}

int rlv_temporary_folder_place(const rlv_temporary_folder* folder, const char* name)
{
    return renameat(folder->at, new_name, folder->parent, name) == 0 ? 0 : errno;
}

/// The swap in two steps. EEXIST or ENOTEMPTY where another run put its own there in between.
static int swap_in_two(const rlv_temporary_folder* folder, const char* name)
{
    if (mkdirat(folder->at, previous_name, 0777) != 0 && errno != EEXIST)
        return errno;
    int previous = open_folder(folder->at, previous_name);
    if (previous < 0)
        return errno;
    int reason = remove_tree(previous, name); // of a try before: what stands in its place now is another run's, whole
    if (reason == 0 && renameat(folder->parent, name, previous, name) != 0 && errno != ENOENT)
        reason = errno;
    if (reason == 0 && !rlv_folder_flush(previous))
        reason = errno;
    close(previous);
    return reason == 0 ? rlv_temporary_folder_place(folder, name) : reason;
}

int rlv_temporary_folder_swap(const rlv_temporary_folder* folder, const char* name)
{
    int reason = 0;
    for (int tries = 0; tries < SWAP_TRIES; tries++)
    {
        if (renameat2(folder->at, new_name, folder->parent, name, RENAME_EXCHANGE) == 0)
            return 0;
        reason = errno;
        if (reason == ENOENT) // there is none yet
            reason = rlv_temporary_folder_place(folder, name);
        else if (reason == EINVAL || reason == ENOSYS || reason == ENOTSUP)
            reason = swap_in_two(folder, name);
        if (reason != EEXIST && reason != ENOTEMPTY)
            return reason;
    }
    return reason;
}

int rlv_temporary_folder_remove(rlv_temporary_folder* folder)
{
    if (!folder->made)
        return 0;
    close_quietly(folder->fresh);
    int reason = dissolve(folder->parent, folder->name, folder->at, folder->lock);
    close_quietly(folder->parent);
    *folder = (rlv_temporary_folder){0};
    return reason;
}

static void sweep_file(int at, const char* name)
{
    int descriptor = openat(at, name, O_WRONLY | O_NONBLOCK | O_NOFOLLOW | O_CLOEXEC);
    if (descriptor < 0)
        return;
    if (flock(descriptor, LOCK_EX | LOCK_NB) == 0)
        unlinkat(at, name, 0);
    close(descriptor);
}

static void sweep_folder(int parent, const char* name)
{
    int at, lock;
    bool locked;
    if (claim(parent, name, &at, &lock, &locked) != 0)
        return;
    if (locked)
        dissolve(parent, name, at, lock);
    else
    {
        close(at);
        close(lock);
    }
}

void rlv_temporary_sweep(const char* folder)
{
    DIR* stream = opendir(folder);
    if (stream == NULL)
        return;
    for (const struct dirent* entry = readdir(stream); entry != NULL; entry = readdir(stream))
    {
        struct stat what;
        if (!is_temporary(entry->d_name) || fstatat(dirfd(stream), entry->d_name, &what, AT_SYMLINK_NOFOLLOW) != 0)
            continue;
        if (S_ISDIR(what.st_mode))
            sweep_folder(dirfd(stream), entry->d_name);
        else
            sweep_file(dirfd(stream), entry->d_name);
    }
    closedir(stream);
}
