/// The folder that a command writes into: all of its files appear together, or none does.
///
/// Files are written in a temporary folder, which the next run sweeps if this one is killed. When all are there they
/// are brought to the disk (out_folder_seal: a full disk shows here), and then given their places, in one of three
/// ways:
///
/// - *Among others* (out_folder_open): each file takes its name in the folder, in the place of one that had it; all
///   else in the folder stays. A link stays a link. Whoever is killed between two names leaves each file old or new,
///   whole.
/// - *As a whole* (out_folder_open_whole): the folder itself changes places with the one that was there, in one step,
///   and the old one is removed. Whoever is killed at any moment leaves the old folder or the new one, whole. (On a
///   file system without that step, temporary.h tells what is left between two.) Of two that run at once both end
///   whole, and the later stays.
/// - *As a new one* (out_folder_open_new): the folder gets its name where there is none or an empty one. Nothing is
///   replaced, nor what came there meanwhile; of two that run at once the earlier stays.
///
/// What cannot be written is refused when the folder is opened, before any work.

#ifndef RLV_OUT_FOLDER_H
#define RLV_OUT_FOLDER_H

#include "error.h"
#include "mesh.h"
#include "temporary.h"

#include <stdbool.h>
#include <stdio.h>
#include <sys/types.h>

/// A file of the folder.
typedef struct out_file
{
    char* path;   ///< that it will have
    char* target; ///< where that leads, where it is a link; NULL: to itself
    FILE* stream; ///< NULL: finished
} out_file;

/// How the files get their places.
typedef enum out_way
{
    OUT_AMONG_OTHERS,
    OUT_WHOLE,
    OUT_NEW,
} out_way;

typedef struct out_folder
{
    char* path;      ///< NULL: nothing is to be written
    char made[4096]; ///< the first folder that had to be made; empty where none
    out_way way;
    rlv_temporary_folder stage;
    size_t file_count, file_room;
    out_file* file;
} out_folder;

/// Make the folder where it is missing, and see that it can be written to, before any work is done.
rlv_status out_folder_open(out_folder* folder, const char* path, rlv_error* error);

/// Begin a folder that will take the place of `path`, of which the parents are made where they are missing. Where
/// `mark` is given, a folder that is there already and not empty must hold a file of that name: so that nobody's own
/// papers are replaced by a slip of the pen. Refused (RLV_BAD_INPUT): a link, a file, a disk of its own, a path that
/// ends in no name, a folder without its mark. RLV_SYSTEM: what may not be written to or removed.
rlv_status out_folder_open_whole(out_folder* folder, const char* path, const char* mark, rlv_error* error);

/// Begin a folder that is to be new at `path`, links followed, of which the parents are made where they are missing. An
/// empty one may be there; the new one gets its permissions. Refused (RLV_BAD_INPUT): a file, a folder that holds
/// anything (`mark` is told by name), and the one that the program stands in, which cannot be replaced under one's
/// feet; else as out_folder_open_whole.
rlv_status out_folder_open_new(out_folder* folder, const char* path, const char* mark, rlv_error* error);

/// A new file in the folder, to be written to `*stream`; the folder closes it. `name` may lead into sub-folders
/// ("pictures/depth.png"), which are made.
rlv_status out_folder_add(out_folder* folder, const char* name, FILE** stream, rlv_error* error);

/// An empty sub-folder.
rlv_status out_folder_add_folder(out_folder* folder, const char* name, rlv_error* error);

/// Write a mesh that will be called `name` (PLY).
rlv_status out_folder_add_mesh(out_folder* folder, const char* name, const rlv_mesh* mesh, rlv_error* error);

/// Bring a file to the disk and close its stream. What is not finished so is finished by the seal; a command that
/// writes hundreds of files must, since a process can hold only so many open.
rlv_status out_folder_finish(out_folder* folder, FILE* stream, rlv_error* error);

/// Bring everything to the disk, still in the temporary folder.
rlv_status out_folder_seal(out_folder* folder, rlv_error* error);

/// Seal, and put everything in its place. After it, or after out_folder_abandon, the folder is closed.
rlv_status out_folder_commit(out_folder* folder, rlv_error* error);

/// Leave the folder as it was. Safe on a zeroed or closed one.
void out_folder_abandon(out_folder* folder);

#endif
