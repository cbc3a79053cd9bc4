#include "averages.h"

#include "order.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void rlv_averages_free(rlv_averages* a)
{
    rlv_cubes_free(&a->cells);
    free(a->own);
    free(a->smooth);
    free(a->support);
    free(a->chord);
    free(a->area);
    memset(a, 0, sizeof *a);
}

static void average_cell(rlv_averages* a, const rlv_depths* depths, const rlv_sampling* sampling, double chord_level,
                         size_t c)
{
    double depth = 0.0, area = 0.0, chord = 0.0;
    for (uint32_t m = a->cells.start[c]; m < a->cells.start[c + 1]; m++)
    {
        const uint32_t i = a->cells.member[m];
        const double w = (double)sampling->area_mm2[i], d = (double)depths->depth_mm[i];
        if (isnan(d))
            continue;
        // What bends everywhere is noise, and is in the sd already; only what bends more asks for an allowance.
        const double bend = (double)sampling->chord_mm[i];
        chord += w * sqrt(fmax(bend * bend - 4.0 * chord_level * chord_level, 0.0));
        depth += w * d;
        area += w;
    }
    a->own[c] = area > 0.0 ? (float)(depth / area) : NAN;
    a->chord[c] = area > 0.0 ? (float)(chord / area) : 0.0f;
    a->area[c] = (float)area;
}

static void smooth_cell(rlv_averages* a, size_t c)
{
    double depth = 0.0, weight = 0.0, squares = 0.0;
    for (int step = 0; step < 27; step++)
    {
        const int to[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
        const uint32_t near = rlv_averages_near(a, c, step);
        if (near == RLV_CUBES_NONE || !(a->area[near] > 0.0f))
            continue;
        const double w = (double)a->area[near] * exp(-0.5 * (double)(to[0] * to[0] + to[1] * to[1] + to[2] * to[2]));
        depth += w * (double)a->own[near];
        weight += w;
        squares += w * w;
    }
    a->smooth[c] = weight > 0.0 && a->area[c] > 0.0f ? (float)(depth / weight) : NAN;
    a->support[c] = weight > 0.0 ? (float)(squares / (weight * weight)) : 1.0f;
}

double rlv_median_of(size_t count, const float* value, rlv_error* error)
{
    const size_t stride = count / 20000 + 1;
    float* sorted = rlv_reserve(2 * (count / stride + 1), sizeof *sorted, error);
    if (sorted == NULL)
        return NAN;
    size_t n = 0;
    for (size_t i = 0; i < count; i += stride)
        sorted[n++] = value[i];
    rlv_order_floats(n, sorted, sorted + n);
    const double median = n > 0 ? (double)sorted[n / 2] : 0.0;
    free(sorted);
    return median;
}

rlv_status rlv_averages_take(rlv_averages* a, const rlv_depths* depths, const rlv_sampling* sampling,
                             const uint8_t* tag, double scale_mm, rlv_error* error)
{
    const double chord_level = rlv_median_of(sampling->count, sampling->chord_mm, error);
    rlv_status status = rlv_cubes_build(&a->cells, depths->count, depths->position_mm, tag, scale_mm, error);
    if (status != RLV_DONE)
        return status;
    const size_t n = a->cells.count;
    if (isnan(chord_level) || (a->own = rlv_reserve(n, sizeof(float), error)) == NULL ||
        (a->smooth = rlv_reserve(n, sizeof(float), error)) == NULL ||
        (a->support = rlv_reserve(n, sizeof(float), error)) == NULL ||
        (a->chord = rlv_reserve(n, sizeof(float), error)) == NULL ||
        (a->area = rlv_reserve(n, sizeof(float), error)) == NULL)
        return RLV_SYSTEM;
#pragma omp parallel for schedule(static)
    for (size_t c = 0; c < n; c++)
        average_cell(a, depths, sampling, chord_level, c);
#pragma omp parallel for schedule(static)
    for (size_t c = 0; c < n; c++)
        smooth_cell(a, c);
    return RLV_DONE;
}
