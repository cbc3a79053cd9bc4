#include "named_outline.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct numbered_point
{
    unsigned long number;
    size_t index; ///< in the specimen
} numbered_point;

static int by_number(const void* a, const void* b)
{
    const numbered_point *x = a, *y = b;
    if (x->number != y->number)
        return x->number < y->number ? -1 : 1;
    return (x->index > y->index) - (x->index < y->index);
}

static bool is_named(const rlv_point_record* point, const rlv_named_points* named)
{
    return strcmp(point->stage, named->stage) == 0 && strcmp(point->mesh, named->mesh) == 0 &&
           strcmp(point->object, named->object) == 0;
}

static void fail_where(rlv_error* error, const rlv_named_points* named, rlv_status status, const char* mend,
                       const char* what)
{
    rlv_fail(error, status, named->key, mend, "'%.100s': %s", named->object, what);
}

/// The points in their order and in the mesh's frame, into a block that the caller frees.
static rlv_status gather(rlv_vec3** point_mm, size_t* count, const rlv_specimen* specimen,
                         const rlv_named_points* named, rlv_error* error)
{
    rlv_status status = RLV_SYSTEM;
    numbered_point* found = rlv_reserve(specimen->point_count, sizeof *found, error);
    *count = 0;
    if (found == NULL)
        return status;
    for (size_t i = 0; i < specimen->point_count; i++)
        if (is_named(&specimen->point[i], named))
            found[(*count)++] = (numbered_point){strtoul(specimen->point[i].point, NULL, 10), i};
    qsort(found, *count, sizeof *found, by_number);
    *point_mm = rlv_reserve(*count, sizeof **point_mm, error);
    if (*point_mm != NULL)
    {
        for (size_t i = 0; i < *count; i++)
        {
            const double* at = specimen->point[found[i].index].at;
            (*point_mm)[i] = rlv_vec3_scale(rlv_vec3_of(at[0], at[1], at[2]), named->mm_per_unit);
        }
        status = RLV_DONE;
    }
    free(found);
    return status;
}

static rlv_status gather_some(rlv_vec3** point_mm, size_t* count, const rlv_specimen* specimen,
                              const rlv_named_points* named, rlv_error* error)
{
    const rlv_status status = gather(point_mm, count, specimen, named, error);
    if (status != RLV_DONE || *count != 0)
        return status;
    char what[300];
    snprintf(what, sizeof what, "points.csv has no points of that name on '%.80s' at '%.80s'", named->mesh,
             named->stage);
    fail_where(error, named, RLV_BAD_INPUT, "write its points, numbered from 1, in points.csv", what);
    return RLV_BAD_INPUT;
}

rlv_status rlv_named_outline_find(rlv_outline* outline, const rlv_surface* surface, const rlv_specimen* specimen,
                                  const rlv_named_points* named, rlv_error* error)
{
    rlv_vec3* point_mm = NULL;
    size_t count = 0;
    rlv_error own = {0};
    rlv_status status = gather_some(&point_mm, &count, specimen, named, error);
    if (status == RLV_DONE && (status = rlv_outline_find(outline, surface, count, point_mm, &own)) != RLV_DONE)
        fail_where(error, named, status, own.mend, own.what);
    free(point_mm);
    return status;
}

rlv_status rlv_named_trace_find(rlv_trace* trace, const rlv_surface* surface, const rlv_specimen* specimen,
                                const rlv_named_points* named, rlv_error* error)
{
    rlv_vec3* point_mm = NULL;
    size_t count = 0;
    rlv_error own = {0};
    rlv_status status = gather_some(&point_mm, &count, specimen, named, error);
    if (status == RLV_DONE && (status = rlv_trace_find(trace, surface, count, point_mm, &own)) != RLV_DONE)
        fail_where(error, named, status, own.mend, own.what);
    free(point_mm);
    return status;
}
