/// Files that are there whole or not at all.
///
/// A file is written to a temporary name in its own folder, flushed to disk, and renamed over the old one, so that
/// after a power cut there is the old or the new. What a killed run left is swept by the next.

#ifndef RLV_SAFE_FILE_H
#define RLV_SAFE_FILE_H

#include "error.h"

#include <stdio.h>
#include <sys/types.h>

/// A file being written. A zeroed one is none.
typedef struct rlv_safe_file
{
    FILE* stream;    ///< write here
    char* path;      ///< the name it will have
    char* temporary; ///< the name it has until then
} rlv_safe_file;

/// Open a new file that will be called `path`. Finish with rlv_safe_file_commit or rlv_safe_file_abandon.
rlv_status rlv_safe_file_open(rlv_safe_file* file, const char* path, rlv_error* error);

/// Flush, sync and rename. After a failure nothing is left behind, and the old file is as it was.
rlv_status rlv_safe_file_commit(rlv_safe_file* file, rlv_error* error);

/// Drop what was written. Safe on a zeroed or finished file.
void rlv_safe_file_abandon(rlv_safe_file* file);

/// Where writing to `path` really goes, in `*settled` (free()): a link is followed, so that it stays a link. `*mode`
/// gets the permissions of the file that is there, 0 where there is none. RLV_BAD_INPUT for what is no file.
rlv_status rlv_safe_file_settle(const char* path, char** settled, mode_t* mode, rlv_error* error);

/// Make `folder` and its parents where they are missing; `made` tells the first folder that was made (empty where
/// none), so that a command that fails can take it away again.
rlv_status rlv_folder_make(const char* folder, char* made, size_t made_size, rlv_error* error);

#endif
