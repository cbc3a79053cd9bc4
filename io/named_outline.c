#include "named_outline.h"

#include <stdio.h>
#include <stdlib.h>

static rlv_status fail_where(rlv_error* error, const rlv_named_points* named, rlv_status status, const char* mend,
                             const char* what)
{
    return rlv_fail(error, status, named->key, mend, "'%.100s': %s", named->object, what);
}

/// The points in their order and in the mesh's frame, into a block that the caller frees.
static rlv_status gather(rlv_vec3** point_mm, size_t* count, const rlv_specimen* specimen,
                         const rlv_named_points* named, rlv_error* error)
{
    const size_t* index = rlv_specimen_points(specimen, named->stage, named->mesh, named->object, count);
    if (index == NULL)
    {
        char what[300];
        rlv_print(what, sizeof what, "points.csv has no points of that name on '%.80s' at '%.80s'", named->mesh,
                  named->stage);
        return fail_where(error, named, RLV_BAD_INPUT, "write its points, numbered from 1, in points.csv", what);
    }
    *point_mm = rlv_reserve(*count, sizeof **point_mm, error);
    for (size_t i = 0; i < *count && *point_mm != NULL; i++)
    {
        const double* at = specimen->point[index[i]].at;
        (*point_mm)[i] = rlv_vec3_scale(rlv_vec3_of(at[0], at[1], at[2]), named->mm_per_unit);
    }
    return *point_mm != NULL ? RLV_DONE : RLV_SYSTEM;
}

/// Fill one of the two that a name may be of; the other is NULL.
static rlv_status find(rlv_outline* outline, rlv_trace* trace, const rlv_surface* surface, const rlv_specimen* specimen,
                       const rlv_named_points* named, rlv_error* error)
{
    rlv_vec3* point_mm = NULL;
    size_t count = 0;
    rlv_error own = {0};
    rlv_status status = gather(&point_mm, &count, specimen, named, error);
    if (status != RLV_DONE)
        return status;
    status = outline != NULL ? rlv_outline_find(outline, surface, count, point_mm, &own)
                             : rlv_trace_find(trace, surface, count, point_mm, &own);
    free(point_mm);
    return status == RLV_DONE ? RLV_DONE : fail_where(error, named, status, own.mend, own.what);
}

rlv_status rlv_named_outline_find(rlv_outline* outline, const rlv_surface* surface, const rlv_specimen* specimen,
                                  const rlv_named_points* named, rlv_error* error)
{
    return find(outline, NULL, surface, specimen, named, error);
}

rlv_status rlv_named_trace_find(rlv_trace* trace, const rlv_surface* surface, const rlv_specimen* specimen,
                                const rlv_named_points* named, rlv_error* error)
{
    return find(NULL, trace, surface, specimen, named, error);
}
