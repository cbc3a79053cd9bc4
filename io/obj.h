/// OBJ, in text. Internal to io. After Wavefront Technologies, Advanced Visualizer manual, appendix B1: Object files,
/// 1992; vertex colours behind the coordinates are common practice.

#ifndef RLV_OBJ_H
#define RLV_OBJ_H

#include "reading.h"

/// Read the OBJ file that `reading` holds into a zeroed mesh. `split` tells whether faces name texture points or
/// normals, so that vertices may have been repeated for them and are to be welded. The caller frees the mesh after a
/// failure.
rlv_status rlv_obj_read(rlv_mesh* mesh, rlv_reading* reading, bool* split);

#endif
