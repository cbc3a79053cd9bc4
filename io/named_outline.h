/// An outline or a line by its name in points.csv, put on a mesh.

#ifndef RLV_NAMED_OUTLINE_H
#define RLV_NAMED_OUTLINE_H

#include "outline.h"
#include "specimen.h"

/// Where the points of an outline or a line are.
typedef struct rlv_named_points
{
    const char* stage;
    const char* mesh;   ///< `block` or a piece
    const char* object; ///< its name
    double mm_per_unit; ///< brings the mesh file's coordinates into the mesh's frame
    const char* key;    ///< path of the key that names it, for errors: `specimen.yaml: masks[1].outline`
} rlv_named_points;

/// What an outline encloses, as rlv_outline_find; its points are taken as rlv_specimen_points has them. Errors begin
/// with the key's path. RLV_BAD_INPUT also where there are no such points.
rlv_status rlv_named_outline_find(rlv_outline* outline, const rlv_surface* surface, const rlv_specimen* specimen,
                                  const rlv_named_points* named, rlv_error* error);

/// A line over the mesh, as rlv_trace_find.
rlv_status rlv_named_trace_find(rlv_trace* trace, const rlv_surface* surface, const rlv_specimen* specimen,
                                const rlv_named_points* named, rlv_error* error);

#endif
