/// Mesh files: reading any that the trade uses, and writing PLY.
///
/// PLY (binary and text), STL and OBJ are read here, in double and on all threads; every other format is Assimp's, in a
/// process of its own. What is in a file is checked before it is believed: counts against the file's size, indices
/// against counts, numbers against infinity. docs/files.md says what is kept and what is refused.

#ifndef RLV_MESH_FILE_H
#define RLV_MESH_FILE_H

#include "error.h"
#include "mesh.h"

/// What one unit of a file's coordinates is in millimetres. A unit is never guessed.
typedef enum rlv_unit
{
    RLV_UNIT_NONE = 0,
    RLV_UNIT_MM,
    RLV_UNIT_CM,
    RLV_UNIT_M,
    RLV_UNIT_IN,
} rlv_unit;

/// The unit that `name` names (`mm`, `cm`, `m`, `in`), or RLV_UNIT_NONE.
rlv_unit rlv_unit_from_name(const char* name);
double rlv_unit_mm(rlv_unit unit);

/// Where a mesh came from.
typedef struct rlv_mesh_source
{
    char sha256[65]; ///< of the file's bytes, in hexadecimal
    size_t bytes;
    char format[16]; ///< "PLY", "STL", "OBJ", or the format's usual extension in capitals
    size_t merged;   ///< vertices merged, where the format or the file repeats them
} rlv_mesh_source;

/// Read a mesh into a zeroed `mesh`, in millimetres; polygons are cut into triangles, formats that repeat their
/// vertices are welded. `unit` must be given, but for glTF, which is in metres by its standard (another unit is then
/// refused). Not mended: that is rlv_mesh_mend's. `source` may be NULL. RLV_BAD_INPUT with file, line or element named;
/// RLV_SYSTEM where the disk or memory fails. Nothing is left in `mesh` after a failure.
rlv_status rlv_mesh_file_read(rlv_mesh* mesh, rlv_mesh_source* source, const char* path, rlv_unit unit,
                              const rlv_progress* progress, rlv_error* error);

/// Write a mesh as binary little-endian PLY, in millimetres: doubles where the origin needs them, else floats; colours
/// and objects kept. Written to a temporary name in the same folder, flushed to disk, and renamed.
rlv_status rlv_mesh_file_write(const rlv_mesh* mesh, const char* path, rlv_error* error);

#endif
