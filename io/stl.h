/// STL, binary and text. Internal to io. After 3D Systems, StereoLithography interface specification, 1988.

#ifndef RLV_STL_H
#define RLV_STL_H

#include "reading.h"

/// Whether the bytes are binary STL: their count says so, since some writers begin the header with `solid` as the text
/// form does.
bool rlv_stl_is_binary(const uint8_t* data, size_t size);

/// Read the STL file that `reading` holds into a zeroed mesh with three vertices for each triangle, to be welded.
/// Solids of text become objects where there are several. The caller frees the mesh after a failure.
rlv_status rlv_stl_read(rlv_mesh* mesh, rlv_reading* reading);

#endif
