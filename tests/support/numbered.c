#include "numbered.h"

#include "specimen_parts.h"

#include <stdio.h>
#include <stdlib.h>

void numbered_place(rlv_specimen* specimen, size_t count, rlv_point_record* point)
{
    rlv_error error = {0};
    specimen->point_count = count;
    specimen->point = point;
    for (size_t i = 0; i < count; i++)
        point[i].line = i + 2;
    if (rlv_specimen_order_points(specimen, "points.csv", &error) == RLV_DONE)
        return;
    fprintf(stderr, "%s: %s\n", error.where, error.what);
    exit(EXIT_FAILURE);
}

void numbered_free(rlv_specimen* specimen)
{
    free(specimen->point_order);
    specimen->point_order = NULL;
}
