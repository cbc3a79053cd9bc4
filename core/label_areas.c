#include "label_areas.h"

#include "cubes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

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

/// The corners of triangles by the samples that they belong to: `triangle[start[sample]]` up to that of the next one, a
/// triangle as often as it has corners there.
typedef struct corners
{
    size_t* start;
    uint32_t* triangle;
} corners;

static rlv_status gather_corners(corners* c, const rlv_labelled* side, rlv_error* error)
{
    const size_t count = 3 * side->mesh->triangle_count, samples = side->sampling->count;
    c->start = rlv_reserve(samples + 2, sizeof *c->start, error);
    c->triangle = c->start != NULL ? rlv_reserve(count, sizeof *c->triangle, error) : NULL;
    if (c->triangle == NULL)
        return RLV_SYSTEM;
    for (int round = 0; round < 2; round++)
    {
        for (size_t i = 0; i < count; i++)
        {
            const uint32_t sample = side->sampling->of_vertex[side->mesh->corner[i]];
            if (sample == RLV_CUBES_NONE)
                continue;
            if (round == 1)
                c->triangle[c->start[sample + 1]] = (uint32_t)(i / 3);
            c->start[sample + 2 - (size_t)round]++; // first how many, then where the next one goes
        }
        for (size_t k = 2; round == 0 && k <= samples; k++)
            c->start[k] += c->start[k - 1];
    }
    return RLV_DONE;
}

/// Put a label's area among a sample's, the largest first and of equal ones that which came first; what the last one
/// has to leave for it, or it itself where there is no room, is handed back.
static float rank_area(rlv_label_areas* f, uint16_t label, float area_mm2)
{
    for (int k = 0; k < RLV_LABEL_AREAS_MOST; k++)
        if (area_mm2 > f->area_mm2[k])
        {
            const uint16_t other = f->label[k];
            const float other_mm2 = f->area_mm2[k];
            f->label[k] = label;
            f->area_mm2[k] = area_mm2;
            label = other;
            area_mm2 = other_mm2;
        }
    return area_mm2;
}

static int by_label(const void* a, const void* b)
{
    const uint16_t *p = a, *q = b;
    return (*p > *q) - (*p < *q);
}

/// Add up a sample's corners by label. As doubles, which hold a sum of hundreds of floats whole, so that it is the same
/// in whatever order they come. `label` has room for one a corner.
static void add_corners(rlv_label_areas* f, const rlv_labelled* side, size_t count, const uint32_t* triangle,
                        uint16_t* label)
{
    float rest = 0.0f;
    for (size_t i = 0; i < count; i++)
        label[i] = side->label[triangle[i]];
    qsort(label, count, sizeof *label, by_label);
    for (size_t i = 0; i < count; i++)
    {
        if (i > 0 && label[i] == label[i - 1])
            continue;
        double area = 0.0;
        for (size_t k = 0; k < count; k++)
            if (side->label[triangle[k]] == label[i])
                area += (double)(float)(rlv_vec3_length(rlv_mesh_twice_area(side->mesh, triangle[k])) / 6.0);
        rest += rank_area(f, label[i], (float)area);
    }
    f->area_mm2[RLV_LABEL_AREAS_MOST - 1] += rest;
}

/// Hand each triangle's area to the samples of its corners.
static rlv_status spread_triangles(rlv_label_areas* areas, const rlv_labelled* side, rlv_error* error)
{
    corners c = {0};
    uint16_t* label = rlv_reserve(3 * side->mesh->triangle_count, sizeof *label, error);
    rlv_status status = label != NULL ? gather_corners(&c, side, error) : RLV_SYSTEM;
    const size_t samples = status == RLV_DONE ? side->sampling->count : 0;
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < samples; i++)
        add_corners(areas + i, side, c.start[i + 1] - c.start[i], c.triangle + c.start[i], label + c.start[i]);
    free(label);
    free(c.start);
    free(c.triangle);
    return status;
}

/// Let a sample take from no label what its foot has more of than itself; where that does not suffice for all that the
/// foot has, each the same share of what it lacks.
static void follow_foot(rlv_label_areas* f, const rlv_label_areas* foot)
{
    const double own = whole_of(f), other = whole_of(foot), free_mm2 = area_of(f, 0);
    double lacking[RLV_LABEL_AREAS_MOST] = {0.0}, all = 0.0;
    int slot[RLV_LABEL_AREAS_MOST], next = 0;
    while (next < RLV_LABEL_AREAS_MOST && f->area_mm2[next] > 0.0f)
        next++;
    for (int k = 0; k < RLV_LABEL_AREAS_MOST && own > 0.0 && free_mm2 > 0.0; k++)
    {
        if (foot->label[k] == 0 || !(foot->area_mm2[k] > 0.0f))
            continue;
        const double more = own * (double)foot->area_mm2[k] / other - area_of(f, foot->label[k]);
        for (slot[k] = 0; slot[k] < next && f->label[slot[k]] != foot->label[k]; slot[k]++)
            ;
        if (!(more > 0.0) || slot[k] == RLV_LABEL_AREAS_MOST)
            continue;
        if (slot[k] == next)
            f->label[next++] = foot->label[k];
        lacking[k] = more;
        all += more;
    }
    const double share = all > free_mm2 ? free_mm2 / all : 1.0;
    for (int k = 0; k < RLV_LABEL_AREAS_MOST; k++)
        if (lacking[k] > 0.0)
            f->area_mm2[slot[k]] += (float)(share * lacking[k]);
    for (int k = 0; k < RLV_LABEL_AREAS_MOST; k++)
        if (f->label[k] == 0)
            f->area_mm2[k] = (float)fmax((double)f->area_mm2[k] - share * all, 0.0);
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
    for (int s = 0; s < 2; s++)
    {
        if (spread_triangles(areas[s], side + s, error) != RLV_DONE)
            goto end;
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
