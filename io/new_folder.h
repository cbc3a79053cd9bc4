/// A folder that is not there yet, or there and empty: it appears with all that it holds, or not at all.
///
/// It is made beside its place under a temporary name, locked while its maker lives, and renamed when all is on the
/// disk. What a killed run left is swept by the next in that place.

#ifndef RLV_NEW_FOLDER_H
#define RLV_NEW_FOLDER_H

#include "error.h"

typedef struct new_folder
{
    char* path;      ///< that it will have, links followed; NULL: none is being made
    char* parent;    ///< in which it stands
    char* temporary; ///< the path that it has until then
    int lock;        ///< open: the temporary folder
    char made[4096]; ///< the first parent that had to be made; empty where none
} new_folder;

/// Begin a folder that will be `path`, its parents made where they are missing. RLV_BAD_INPUT where something else than
/// an empty folder has that name (a folder that holds `mark` is told by name), and where it is the one that the program
/// stands in, which cannot be replaced under one's feet.
rlv_status new_folder_begin(new_folder* folder, const char* path, const char* mark, rlv_error* error);

/// A file in it that holds `text`, or an empty folder in it.
rlv_status new_folder_add_text(new_folder* folder, const char* name, const char* text, rlv_error* error);
rlv_status new_folder_add_folder(new_folder* folder, const char* name, rlv_error* error);

/// Give it its name. After it, or after new_folder_abandon, none is being made.
rlv_status new_folder_commit(new_folder* folder, rlv_error* error);

/// Leave everything as it was. Safe on a zeroed one.
void new_folder_abandon(new_folder* folder);

#endif
