/// The formats that Assimp reads. Internal to io.
///
/// Assimp works in a process of its own: it reads some forty formats, and a damaged file that brings it down, or that
/// it never comes back from, must not take the caller along. The mesh comes back as PLY in memory.

#ifndef RLV_ASSIMP_FILE_H
#define RLV_ASSIMP_FILE_H

#include "reading.h"

/// Whether Assimp reads files whose name ends in `extension` (without the dot).
bool rlv_assimp_knows(const char* extension);

/// Read the file at reading->path into a zeroed mesh, with one object a node. Transforms of nodes are applied; axes
/// stay as the file has them. Vertices may be repeated, and are to be welded. The caller frees the mesh after a
/// failure.
rlv_status rlv_assimp_read(rlv_mesh* mesh, rlv_reading* reading);

#endif
