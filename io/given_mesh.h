/// A mesh given on the command line: read, mended, measured, and its faults put into words.

#ifndef RLV_GIVEN_MESH_H
#define RLV_GIVEN_MESH_H

#include "answer.h"
#include "mesh.h"
#include "mesh_file.h"

typedef struct given_mesh
{
    const char* path;
    rlv_mesh mesh; ///< mended
    rlv_mesh_source source;
    rlv_mesh_health health;
    rlv_mesh_measures measures; ///< of the mended mesh
    size_t vertices, triangles; ///< as read, before mending
} given_mesh;

/// Read the mesh at `path` into a zeroed `given`; put its path and checksum into the answer's inputs, and a warning for
/// all that is wrong with it. Free with given_mesh_free, also after a failure.
rlv_status given_mesh_read(given_mesh* given, const char* path, rlv_unit unit, rlv_answer* answer, rlv_error* error);

/// The same where scale bars, not a unit, say how many millimetres one unit of the file is; RLV_BAD_INPUT also where
/// that makes it larger than anything is. `path` must stay.
rlv_status given_mesh_read_scaled(given_mesh* given, const char* path, double mm_per_unit, rlv_answer* answer,
                                  rlv_error* error);
void given_mesh_free(given_mesh* given);

/// Longest side of its box.
double given_mesh_size_mm(const given_mesh* given);

/// Refuse two stages of one block whose sizes differ as units do; the mend names the unit that would bring them
/// together.
rlv_status given_mesh_same_unit(const given_mesh* before, const given_mesh* after, rlv_unit before_unit,
                                rlv_unit after_unit, rlv_answer* answer, rlv_error* error);

/// The two meshes of `align` and `change`, read and held against each other.
rlv_status given_mesh_read_pair(given_mesh pair[2], const rlv_options* options, rlv_answer* answer, rlv_error* error);

/// A file's name without its folders.
const char* given_name(const char* path);

#endif
