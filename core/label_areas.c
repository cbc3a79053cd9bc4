#include "label_areas.h"

#include "cubes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// The slot of a label: its own, else an empty one; NULL where all are taken.
static float* slot_of(rlv_label_areas* f, uint16_t label)
{
    for (int k = 0; k < RLV_LABEL_AREAS_MOST; k++)
    {
        if (!(f->area_mm2[k] > 0.0f))
            f->label[k] = label;
        if (f->label[k] == label)
            return f->area_mm2 + k;
    }
    return NULL;
}

static void add_area(rlv_label_areas* f, uint16_t label, float area_mm2)
{
    float* slot = slot_of(f, label);
    *(slot != NULL ? slot : f->area_mm2 + RLV_LABEL_AREAS_MOST - 1) += area_mm2;
}

static double area_of(const rlv_label_areas* f, uint16_t label)
{
    double area = 0.0;
    for (int k = 0; k < RLV_LABEL_AREAS_MOST; k++)
        area += f->label[k] == label ? (double)f->area_mm2[k] : 0.0;
    return area;
}

static double whole_of(const rlv_label_areas* f)
{
    double area = 0.0;
    for (int k = 0; k < RLV_LABEL_AREAS_MOST; k++)
        area += (double)f->area_mm2[k];
    return area;
}

/// Hand each triangle's area to the samples of its corners.
static void spread_triangles(rlv_label_areas* areas, const rlv_labelled* side)
{
    for (size_t t = 0; t < side->mesh->triangle_count; t++)
    {
        const float third = (float)(rlv_vec3_length(rlv_mesh_twice_area(side->mesh, t)) / 6.0);
        for (size_t k = 0; k < 3; k++)
        {
            const uint32_t sample = side->sampling->of_vertex[side->mesh->corner[3 * t + k]];
            if (sample != RLV_CUBES_NONE && third > 0.0f)
                add_area(areas + sample, side->label[t], third);
        }
    }
}

/// Let a sample take from no label what its foot has more of than itself.
static void follow_foot(rlv_label_areas* f, const rlv_label_areas* foot)
{
    const double own = whole_of(f), other = whole_of(foot);
    for (int k = 0; k < RLV_LABEL_AREAS_MOST && own > 0.0 && other > 0.0; k++)
    {
        if (foot->label[k] == 0 || !(foot->area_mm2[k] > 0.0f))
            continue;
        const double free_mm2 = area_of(f, 0),
                     lacking = own * (double)foot->area_mm2[k] / other - area_of(f, foot->label[k]);
        const float taken = (float)fmin(free_mm2, lacking);
        float* to = taken > 0.0f ? slot_of(f, foot->label[k]) : NULL;
        if (to == NULL)
            continue;
        *to += taken;
        for (int n = 0; n < RLV_LABEL_AREAS_MOST; n++)
            if (f->label[n] == 0)
                f->area_mm2[n] = fmaxf(f->area_mm2[n] - taken, 0.0f);
    }
}

rlv_status rlv_label_areas_take(rlv_label_areas* areas[2], const rlv_labelled side[2], rlv_error* error)
{
    rlv_label_areas* own[2] = {NULL, NULL};
    rlv_status status = RLV_SYSTEM;
    areas[0] = areas[1] = NULL;
    for (int s = 0; s < 2; s++)
        if ((areas[s] = rlv_reserve(side[s].sampling->count, sizeof *areas[s], error)) == NULL ||
            (own[s] = rlv_reserve(side[s].sampling->count, sizeof *own[s], error)) == NULL)
            goto end;
#pragma omp parallel for schedule(static, 1)
    for (int s = 0; s < 2; s++)
    {
        spread_triangles(areas[s], side + s);
        memcpy(own[s], areas[s], side[s].sampling->count * sizeof *own[s]);
    }
    for (int s = 0; s < 2; s++)
    {
#pragma omp parallel for schedule(static)
        for (size_t i = 0; i < side[s].sampling->count; i++)
            follow_foot(areas[s] + i, own[1 - s] + side[s].foot[i]);
    }
    status = RLV_DONE;
end:
    for (int s = 0; s < 2; s++)
    {
        free(own[s]);
        if (status != RLV_DONE)
        {
            free(areas[s]);
            areas[s] = NULL;
        }
    }
    return status;
}

double rlv_label_areas_sum(const rlv_label_areas* areas, const uint8_t* wanted)
{
    double area = 0.0;
    for (int k = 0; k < RLV_LABEL_AREAS_MOST; k++)
        area += wanted[areas->label[k]] != 0 ? (double)areas->area_mm2[k] : 0.0;
    return area;
}
