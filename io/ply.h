/// PLY, the polygon file format: reading its text and both its binary forms, and writing the little-endian one.
/// Internal to io. After G. Turk, The PLY polygon file format, 1994, and what writers have made of it since.

#ifndef RLV_PLY_H
#define RLV_PLY_H

#include "reading.h"

#include <stdio.h>

/// Whether these bytes begin as a PLY file does.
bool rlv_ply_recognise(const uint8_t* data, size_t size);

/// Read the PLY file that `reading` holds into a zeroed mesh. `split` tells whether its vertices carry texture points
/// or normals, for which they may have been repeated, and are to be welded. The caller frees the mesh after a failure.
rlv_status rlv_ply_read(rlv_mesh* mesh, rlv_reading* reading, bool* split);

/// Write a mesh as binary little-endian PLY. False where the stream or memory fails.
bool rlv_ply_write(const rlv_mesh* mesh, FILE* stream);

#endif
