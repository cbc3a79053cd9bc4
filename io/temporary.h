/// Temporaries: files and folders that are their writer's while it lives, and the next sweep's after it.
///
/// A temporary is named by process and number, so that its name is short whatever it will become, and locked while its
/// writer lives. A lock dies with its process, on any machine that shares the disk; a process number would be used
/// again. Where a file system knows no locks nobody can take one, so that nothing is swept there. Internal to io.

#ifndef RLV_TEMPORARY_H
#define RLV_TEMPORARY_H

#include <stdbool.h>

/// Make and lock a temporary file in `folder` (which ends in a slash). Returns a descriptor to write to and its path in
/// `*path` (free()); -1 with errno set where that fails. The lock ends when the descriptor is closed.
int rlv_temporary_file(const char* folder, char** path);

/// A temporary folder. It holds a lock, `new` (what is being made) and, for a moment on some file systems, `previous`
/// (what that takes the place of). A zeroed one is none.
typedef struct rlv_temporary_folder
{
    bool made;
    int parent; ///< open: the folder that it stands in
    int at;     ///< open: itself
    int fresh;  ///< open: its `new`
    int lock;
    char name[64];
} rlv_temporary_folder;

/// Make and lock a temporary folder in `parent`, with an empty `new` in it. 0, or the errno of what failed.
int rlv_temporary_folder_make(rlv_temporary_folder* folder, const char* parent);

/// Give `new` the name `name` beside the temporary one, where there is none or an empty folder. 0, or the errno of what
/// failed: EEXIST, ENOTEMPTY or ENOTDIR where something else has that name.
int rlv_temporary_folder_place(const rlv_temporary_folder* folder, const char* name);

/// Put `new` in the place of the folder `name` beside the temporary one, whether there is one or not. 0, or the errno
/// of what failed; then `name` is as it was once rlv_temporary_folder_remove has been called.
///
/// Both names change hands in one step (renameat2 with RENAME_EXCHANGE). Some file systems have no such step (network
/// disks for the most part): there the old one first moves into the temporary folder. Whoever is killed between the
/// two moves leaves no `name`, and both folders whole in the temporary one; the next sweep puts the old one back.
int rlv_temporary_folder_swap(const rlv_temporary_folder* folder, const char* name);

/// Remove it with all that it holds, and let go of the lock. What was moved out of its place by a swap that failed goes
/// back first. 0, or the errno of what could not be removed: the next sweep will try again. Safe on a zeroed one.
int rlv_temporary_folder_remove(rlv_temporary_folder* folder);

/// Take away the temporaries in `folder` whose writers are dead, and put back what they had moved aside.
void rlv_temporary_sweep(const char* folder);

/// Have an open folder's names written to disk. False with errno set where that failed; true where the file system
/// cannot do it.
bool rlv_folder_flush(int descriptor);

/// The same of the folder that holds `path`. 0, or the errno of what failed.
int rlv_folder_flush_above(const char* path);

/// Whether a name in a folder is that folder itself, or the one above.
bool rlv_folder_is_dots(const char* name);

#endif
