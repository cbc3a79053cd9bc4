#include "regions_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Least share of what a region comes to, its area times its depth, that a core makes.
#define LEAST_SHARE 0.025

/// A wall is what went down by less than this share of a region's mean depth: its scan is never quite still.
#define WALL_SHARE 0.125

/// A core spans so many of the noise's lengths as make four of its spots: less has no volume worth telling alone.
#define SPAN 2.0

/// Seeds as they hang together: in regions as they were joined, and by their own depths within those.
typedef struct split
{
    regions_seeds* list;
    const regions_side *before, *after;
    uint32_t* region;  ///< the root that each seed was joined under
    uint32_t* own;     ///< union-find of clear seeds
    uint8_t* clear;    ///< whether a seed's own depth stands out
    uint32_t* core;    ///< of each seed: the root of its core, or RLV_CUBES_NONE
    double* depth_mm3; ///< area times depth of each region, at its root
    double* limit_mm;  ///< from which depth its seeds are clear, at its root
} split;

static rlv_status reserve_split(split* s, rlv_error* error)
{
    const size_t count = s->list->count;
    if ((s->region = rlv_reserve(count, sizeof *s->region, error)) == NULL ||
        (s->own = rlv_reserve(count, sizeof *s->own, error)) == NULL ||
        (s->clear = rlv_reserve(count, 1, error)) == NULL ||
        (s->core = rlv_reserve(count, sizeof *s->core, error)) == NULL ||
        (s->depth_mm3 = rlv_reserve(count, sizeof *s->depth_mm3, error)) == NULL ||
        (s->limit_mm = rlv_reserve(count, sizeof *s->limit_mm, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        s->region[i] = regions_root(s->list->parent, (uint32_t)i);
        s->own[i] = (uint32_t)i;
        s->core[i] = RLV_CUBES_NONE;
    }
    return RLV_DONE;
}

static void free_split(split* s)
{
    free(s->region);
    free(s->own);
    free(s->clear);
    free(s->core);
    free(s->depth_mm3);
    free(s->limit_mm);
}

static double depth_of(const split* s, size_t seed)
{
    const regions_side* side = seed < s->list->before_count ? s->before : s->after;
    const double depth = (double)side->depths->depth_mm[s->list->sample[seed]];
    return isnan(depth) ? 0.0 : fabs(depth);
}

/// Which seeds stand out by their own depth. What goes or comes as a whole is left to itself.
static void find_clear(split* s, const rlv_depth_noise* noise)
{
    const double spot_mm = noise->threshold * noise->scale_sd_mm[0];
    // The limits hold areas until they are known.
    for (size_t i = 0; i < s->list->count; i++)
    {
        const double area = regions_seed_area(s->list, i, s->before, s->after);
        s->limit_mm[s->region[i]] += area;
        s->depth_mm3[s->region[i]] += area * depth_of(s, i);
    }
    for (size_t i = 0; i < s->list->count; i++)
        if (s->region[i] == i)
        {
            const double mean_mm = s->depth_mm3[i] / s->limit_mm[i];
            s->limit_mm[i] = fmin(fmax(spot_mm, WALL_SHARE * mean_mm), 0.5 * mean_mm);
        }
    for (size_t i = 0; i < s->list->count; i++)
    {
        const uint32_t region = s->region[i];
        s->clear[i] = s->list->kind[i] == s->list->kind[region] && s->list->kind[i] >> 1 < RLV_DEPTHS_WHOLE &&
                      depth_of(s, i) >= s->limit_mm[region];
    }
}

/// What hangs together by its own depths.
typedef struct cluster
{
    double area_mm2[2]; ///< on BEFORE and AFTER
    size_t count[2];
    double depth_mm3;
} cluster;

static bool is_core(const split* s, const cluster* one, uint32_t root, double length_mm)
{
    return regions_is_shown(one->area_mm2[0], one->count[0], SPAN * length_mm) &&
           regions_is_shown(one->area_mm2[1], one->count[1], SPAN * length_mm) &&
           one->depth_mm3 >= LEAST_SHARE * s->depth_mm3[s->region[root]];
}

/// Name the core of every clear seed, in regions that have several; returns whether there are any.
static rlv_status find_cores(split* s, double length_mm, bool* any, rlv_error* error)
{
    const size_t count = s->list->count;
    cluster* of_root = rlv_reserve(count, sizeof *of_root, error);
    uint32_t* cores = of_root != NULL ? rlv_reserve(count, sizeof *cores, error) : NULL;
    *any = false;
    for (size_t i = 0; cores != NULL && i < count; i++)
        if (s->clear[i])
        {
            cluster* one = of_root + regions_root(s->own, (uint32_t)i);
            const double area = regions_seed_area(s->list, i, s->before, s->after);
            one->area_mm2[i >= s->list->before_count] += area;
            one->depth_mm3 += area * depth_of(s, i);
            one->count[i >= s->list->before_count]++;
        }
    for (size_t i = 0; cores != NULL && i < count; i++)
        if (s->clear[i] && s->own[i] == i && is_core(s, of_root + i, (uint32_t)i, length_mm))
            cores[s->region[i]]++;
    for (size_t i = 0; cores != NULL && i < count; i++)
    {
        const uint32_t root = s->clear[i] ? regions_root(s->own, (uint32_t)i) : RLV_CUBES_NONE;
        if (root == RLV_CUBES_NONE || cores[s->region[i]] < 2 || !is_core(s, of_root + root, root, length_mm))
            continue;
        s->core[i] = root;
        *any = true;
    }
    const rlv_status status = cores != NULL ? RLV_DONE : RLV_SYSTEM;
    free(of_root);
    free(cores);
    return status;
}

/// The core of the seed that lies nearest to `seed`, of those that have one and lie in the same region.
static uint32_t nearest_core(const split* s, const rlv_cubes* cells, rlv_cubes_about* about, const uint32_t* listed,
                             uint32_t seed)
{
    uint32_t best = RLV_CUBES_NONE;
    double least2 = cells->side_mm * cells->side_mm;
    const float* place = s->list->position_mm + 3 * (size_t)seed;
    rlv_cubes_look_about(about, cells, place, 0);
    for (size_t k = 0; k < about->count; k++)
        for (uint32_t m = cells->start[about->cell[k]]; m < cells->start[about->cell[k] + 1]; m++)
        {
            const uint32_t other = listed[cells->member[m]];
            const double apart2 = regions_apart2(s->list->position_mm + 3 * (size_t)other, place);
            if (apart2 < least2 && s->region[other] == s->region[seed])
                least2 = apart2, best = s->core[other];
        }
    return best;
}

/// List the seeds that have a core, and where they lie, into `listed` and `place`; returns how many.
static size_t list_cored(const split* s, uint32_t* listed, float* place)
{
    size_t count = 0;
    for (size_t i = 0; i < s->list->count; i++)
        if (s->core[i] != RLV_CUBES_NONE)
        {
            memcpy(place + 3 * count, s->list->position_mm + 3 * i, 3 * sizeof *place);
            listed[count++] = (uint32_t)i;
        }
    return count;
}

/// One pass from what has a core to what lies within `reach_mm` of it; `given` tells how many got one.
static rlv_status spread_once(split* s, const uint8_t* parted, double reach_mm, uint32_t* listed, float* place,
                              uint32_t* next, size_t* given, rlv_error* error)
{
    rlv_cubes cells = {0};
    const rlv_status status = rlv_cubes_build(&cells, list_cored(s, listed, place), place, NULL, reach_mm, error);
    *given = 0;
    if (status == RLV_DONE)
    {
#pragma omp parallel
        {
            rlv_cubes_about about = {0};
#pragma omp for schedule(dynamic, 1024)
            for (size_t i = 0; i < s->list->count; i++)
                next[i] = parted[s->region[i]] && s->core[i] == RLV_CUBES_NONE
                              ? nearest_core(s, &cells, &about, listed, (uint32_t)i)
                              : RLV_CUBES_NONE;
        }
        for (size_t i = 0; i < s->list->count; i++)
            if (next[i] != RLV_CUBES_NONE)
            {
                s->core[i] = next[i];
                ++*given;
            }
    }
    rlv_cubes_free(&cells);
    return status;
}

/// Give the other seeds of parted regions to their nearest cores, pass after pass. What is out of reach follows its
/// region's root.
static rlv_status spread_cores(split* s, double reach_mm, rlv_error* error)
{
    const size_t count = s->list->count;
    uint32_t *listed = rlv_reserve(count, sizeof *listed, error), *next = NULL;
    float* place = listed != NULL ? rlv_reserve(3 * count, sizeof *place, error) : NULL;
    uint8_t* parted = place != NULL ? rlv_reserve(count, 1, error) : NULL;
    rlv_status status = RLV_SYSTEM;
    if (parted != NULL && (next = rlv_reserve(count, sizeof *next, error)) != NULL)
    {
        for (size_t i = 0; i < count; i++)
            if (s->core[i] != RLV_CUBES_NONE)
                parted[s->region[i]] = 1;
        status = RLV_DONE;
    }
    for (size_t given = 1; status == RLV_DONE && given > 0;)
        status = spread_once(s, parted, reach_mm, listed, place, next, &given, error);
    free(listed);
    free(next);
    free(place);
    free(parted);
    return status;
}

/// Hang every seed that has a core under it.
static void part(split* s)
{
    // What follows a root that itself goes to a core must not go with it.
    uint32_t* parent = s->list->parent;
    for (size_t i = 0; i < s->list->count; i++)
        parent[i] = s->core[i] != RLV_CUBES_NONE ? s->core[i] : s->region[i];
}

rlv_status regions_split(regions_seeds* list, const regions_side* before, const regions_side* after,
                         const rlv_depth_noise* noise, rlv_error* error)
{
    split s = {.list = list, .before = before, .after = after};
    bool any = false;
    rlv_status status = reserve_split(&s, error);
    if (status == RLV_DONE)
    {
        find_clear(&s, noise);
        status = regions_link(s.own, list, before, after, s.clear, noise->scale_mm[0], error);
    }
    if (status == RLV_DONE)
        status = find_cores(&s, noise->length_mm, &any, error);
    if (status == RLV_DONE && any)
        status = spread_cores(&s, fmax(noise->length_mm, noise->scale_mm[0]), error);
    if (status == RLV_DONE && any)
        part(&s);
    free_split(&s);
    return status;
}
