/// The folder that a command writes into: all of its files appear together, or none does.
///
/// Files are written under temporary names. rlv_safe_file gives each the guarantee that it is there whole or not at
/// all; this adds that nothing is renamed before everything is safe on the disk, and that a folder made for a command
/// that then failed goes away again.

#ifndef RLV_OUT_FOLDER_H
#define RLV_OUT_FOLDER_H

#include "error.h"
#include "mesh.h"
#include "safe_file.h"

#define OUT_FOLDER_FILES 16

typedef struct out_folder
{
    char* path;      ///< NULL: nothing is to be written
    char made[4096]; ///< the first folder that had to be made; empty where none
    size_t file_count;
    rlv_safe_file file[OUT_FOLDER_FILES];
} out_folder;

/// Make the folder where it is missing, and see that it can be written to, before any work is done.
rlv_status out_folder_open(out_folder* folder, const char* path, rlv_error* error);

/// A new file in the folder, to be written to `*stream`; the folder closes it.
rlv_status out_folder_add(out_folder* folder, const char* name, FILE** stream, rlv_error* error);

/// Write a mesh that will be called `name` (PLY).
rlv_status out_folder_add_mesh(out_folder* folder, const char* name, const rlv_mesh* mesh, rlv_error* error);

/// Bring everything to the disk, still under temporary names.
rlv_status out_folder_seal(out_folder* folder, rlv_error* error);

/// Give every file its name. After it, or after out_folder_abandon, the folder is closed.
rlv_status out_folder_commit(out_folder* folder, rlv_error* error);

/// Leave the folder as it was. Safe on a zeroed or closed one.
void out_folder_abandon(out_folder* folder);

#endif
