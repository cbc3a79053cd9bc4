#include "extents.h"

#include "averages.h"
#include "cubes.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

// Area

/// The levels that areas are taken over.
enum
{
    AT,
    AT_LOW, // of the interval: the field's error as far down as 95 % go
    AT_HIGH,
    AT_DEEPER, // one sd of the noise deeper
    AT_SHALLOWER,
    AT_TWICE,
    LEVELS,
};

/// What the samples of one region add up to.
typedef struct tally
{
    double over_mm2[LEVELS];
    double whole_mm2;
    double rim_mm;
    bool shown;
} tally;

static bool is_whole(const rlv_regions* regions, size_t region)
{
    return regions->part[region] >= RLV_DEPTHS_WHOLE;
}

/// The depth of a sample in its region's sense, less what the field did along the rim.
static double depth_of(const rlv_regions* regions, const rlv_depths* depths, size_t sample, size_t region,
                       const rlv_rim* rim)
{
    return regions->sign[region] * ((double)depths->apart_mm[sample] - rim[region].misfit_mm);
}

static void add_sample(tally* t, double depth_mm, double area_mm2, const rlv_rim* rim, double noise_mm)
{
    const double from = rim->from_mm, field = RLV_HALF_95 * rim->misfit_sd_mm;
    const double level[LEVELS] = {from, from + field, from - field, from + noise_mm, from - noise_mm, 2.0 * from};
    for (int k = 0; k < LEVELS; k++)
    {
        const double deep = fmax(level[k], 0.0); // below nothing there is only noise
        t->over_mm2[k] += depth_mm > deep ? area_mm2 : depth_mm < -deep ? -area_mm2 : 0.0;
    }
}

static void tally_samples(tally* list, const rlv_regions* regions, const rlv_sampling* sampling,
                          const rlv_depths* depths, const uint16_t* label, const uint8_t* seed, const rlv_rim* rim)
{
    for (size_t i = 0; i < depths->count; i++)
    {
        if (label[i] == 0 || isnan(depths->depth_mm[i]))
            continue;
        const size_t r = label[i] - 1u;
        const double area = (double)sampling->area_mm2[i];
        list[r].shown |= seed[i] != 0;
        list[r].whole_mm2 += seed[i] ? area : 0.0;
        add_sample(list + r, depth_of(regions, depths, i, r, rim), area, rim + r, regions->noise.sd_mm);
    }
}

/// Which region a sample counts for: 0, or 1 + its number.
static size_t counts_for(const rlv_regions* regions, const rlv_depths* depths, const uint16_t* label,
                         const uint8_t* seed, const rlv_rim* rim, uint32_t sample)
{
    const size_t l = label[sample];
    if (l == 0 || isnan(depths->depth_mm[sample]))
        return 0;
    const bool counts = is_whole(regions, l - 1) ? seed[sample] != 0
                                                 : depth_of(regions, depths, sample, l - 1, rim) > rim[l - 1].from_mm;
    return counts ? l : 0;
}

/// The lengths of the rims: of all triangles that a rim crosses, each as long as its area is over its width.
static void measure_rims(tally* list, const rlv_regions* regions, rlv_stage stage, const rlv_depths* depths,
                         const uint16_t* label, const uint8_t* seed, const rlv_rim* rim)
{
    for (size_t t = 0; t < stage.mesh->triangle_count; t++)
    {
        size_t of[3];
        for (size_t k = 0; k < 3; k++)
            of[k] =
                counts_for(regions, depths, label, seed, rim, stage.sampling->of_vertex[stage.mesh->corner[3 * t + k]]);
        if (of[0] == of[1] && of[1] == of[2])
            continue;
        const double length = sqrt(0.5 * (0.5 * rlv_vec3_length(rlv_mesh_twice_area(stage.mesh, t))));
        for (size_t k = 0; k < 3; k++)
            if (of[k] != 0 && of[k] != (k > 0 ? of[0] : 0) && (k < 2 || of[k] != of[1]))
                list[of[k] - 1].rim_mm += length;
    }
}

/// How far short of a step a rim is passed on its bridge, where it is as steep as one.
static double bridged_mm(const tally* t, const rlv_rim* rim, double spacing_mm)
{
    const double slope = rim->from_mm * t->rim_mm / fmax(t->over_mm2[AT] - t->over_mm2[AT_TWICE], 1e-9);
    return spacing_mm * fmax(0.5 - rim->from_mm / rim->depth_mm, 0.0) * fmin(slope * spacing_mm / rim->depth_mm, 1.0);
}

static rlv_interval area_of(const tally* t, bool whole, const rlv_rim* rim, const rlv_depth_noise* noise,
                            double spacing_mm)
{
    const double sampled2 = t->rim_mm * pow(spacing_mm, 3) / 6.0;
    if (whole)
    {
        const double half = RLV_HALF_95 * sqrt(sampled2);
        return (rlv_interval){t->whole_mm2, fmax(t->whole_mm2 - half, 0.0), t->whole_mm2 + half};
    }
    const double bridged = t->rim_mm * bridged_mm(t, rim, spacing_mm);
    const double area = fmax(t->over_mm2[AT] - bridged, 0.0);
    const double shifted = (t->over_mm2[AT_SHALLOWER] - t->over_mm2[AT_DEEPER]) / 2.0;
    const double spot = sqrt(2.0 * M_PI) * noise->length_mm;
    const double half = RLV_HALF_95 * sqrt(sampled2 + shifted * shifted * spot / fmax(t->rim_mm, spot) +
                                           bridged * bridged / 3.0 + pow(t->rim_mm * spacing_mm, 2) / 108.0);
    return (rlv_interval){area, fmax(area - hypot(t->over_mm2[AT] - t->over_mm2[AT_LOW], half), 0.0),
                          area + hypot(t->over_mm2[AT_HIGH] - t->over_mm2[AT], half)};
}

rlv_status rlv_extents_area(rlv_interval* area_mm2, const rlv_regions* regions, rlv_stage stage,
                            const rlv_depths* depths, const uint16_t* label, const uint8_t* seed, const rlv_rim* rim,
                            rlv_error* error)
{
    tally* list = rlv_reserve(regions->count, sizeof *list, error);
    if (list == NULL)
        return RLV_SYSTEM;
    tally_samples(list, regions, stage.sampling, depths, label, seed, rim);
    measure_rims(list, regions, stage, depths, label, seed, rim);
    for (size_t r = 0; r < regions->count; r++)
        area_mm2[r] = list[r].shown ? area_of(list + r, is_whole(regions, r), rim + r, &regions->noise,
                                              stage.sampling->spacing_mm)
                                    : (rlv_interval){NAN, NAN, NAN};
    free(list);
    return RLV_DONE;
}

// Greatest depth

/// What a cell's mean hides of a peak: see the header.
static const double HIDDEN = 0.25, HIDDEN_HALF = 0.2;

/// Cells of one stage, each with the mean depth of its region's samples in it.
typedef struct floor_cells
{
    rlv_cubes cells;
    uint16_t* label; ///< of a cell: the first of its samples' that has one
    double* mean_mm; ///< a magnitude
    double* sd_mm;   ///< of its noise
    double* told_mm; ///< drawn to what it shares with its neighbours
    double* told_sd_mm;
    uint32_t* start; ///< one a label and one more: offsets into `of`
    uint32_t* of;    ///< cells, label by label
} floor_cells;

static void free_floor(floor_cells* f)
{
    rlv_cubes_free(&f->cells);
    free(f->label);
    free(f->mean_mm);
    free(f->sd_mm);
    free(f->told_mm);
    free(f->told_sd_mm);
    free(f->start);
    free(f->of);
}

static rlv_status reserve_floor(floor_cells* f, const rlv_depths* depths, size_t regions, double side_mm,
                                rlv_error* error)
{
    rlv_status status = rlv_cubes_build(&f->cells, depths->count, depths->position_mm, NULL, side_mm, error);
    const size_t count = f->cells.count;
    if (status == RLV_DONE && ((f->label = rlv_reserve(count, sizeof *f->label, error)) == NULL ||
                               (f->mean_mm = rlv_reserve(count, sizeof *f->mean_mm, error)) == NULL ||
                               (f->sd_mm = rlv_reserve(count, sizeof *f->sd_mm, error)) == NULL ||
                               (f->told_mm = rlv_reserve(count, sizeof *f->told_mm, error)) == NULL ||
                               (f->told_sd_mm = rlv_reserve(count, sizeof *f->told_sd_mm, error)) == NULL ||
                               (f->start = rlv_reserve(regions + 3, sizeof *f->start, error)) == NULL ||
                               (f->of = rlv_reserve(count, sizeof *f->of, error)) == NULL))
        status = RLV_SYSTEM;
    return status;
}

/// How alike the noise of two samples is.
static double alike(const float* a, const float* b, double length_mm)
{
    double apart2 = 0.0;
    for (int k = 0; k < 3; k++)
        apart2 += pow((double)a[k] - (double)b[k], 2);
    return exp(-apart2 / (2.0 * length_mm * length_mm));
}

static bool is_member(const floor_cells* f, size_t c, const rlv_depths* depths, const uint16_t* label,
                      const uint8_t* seed, uint32_t i)
{
    return seed[i] && label[i] == f->label[c] && !isnan(depths->depth_mm[i]);
}

static void average_cell(floor_cells* f, size_t c, const rlv_regions* regions, const rlv_depths* depths,
                         const uint16_t* label, const uint8_t* seed)
{
    double sum = 0.0, shared = 0.0, n = 0.0;
    const uint32_t *first = f->cells.member + f->cells.start[c], *end = f->cells.member + f->cells.start[c + 1];
    for (const uint32_t* m = first; m < end && f->label[c] == 0; m++)
        f->label[c] = seed[*m] && !isnan(depths->depth_mm[*m]) ? label[*m] : 0;
    for (const uint32_t* m = first; m < end && f->label[c] != 0; m++)
    {
        if (!is_member(f, c, depths, label, seed, *m))
            continue;
        sum += (double)depths->apart_mm[*m];
        n += 1.0;
        for (const uint32_t* o = first; o < end; o++)
            if (is_member(f, c, depths, label, seed, *o))
                shared += alike(depths->position_mm + 3 * (size_t)*m, depths->position_mm + 3 * (size_t)*o,
                                regions->noise.length_mm);
    }
    if (n == 0.0)
        return;
    f->mean_mm[c] = fabs(sum / n);
    f->sd_mm[c] = regions->noise.sd_mm * sqrt(shared) / n;
}

/// List the cells by their labels.
static void list_cells(floor_cells* f, size_t regions)
{
    for (size_t c = 0; c < f->cells.count; c++)
        f->start[f->label[c] + 2]++;
    for (size_t l = 0; l <= regions; l++)
        f->start[l + 2] += f->start[l + 1];
    for (size_t c = 0; c < f->cells.count; c++)
        f->of[f->start[f->label[c] + 1]++] = (uint32_t)c;
}

/// The mean of a cell and its neighbours of the same region; `*count` gets how many there are.
static double shared_mean(const floor_cells* f, size_t c, double* count)
{
    double sum = 0.0;
    *count = 0.0;
    for (int step = 0; step < 27; step++)
    {
        const int to[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
        const uint32_t near = rlv_cubes_near(&f->cells, (uint32_t)c, to);
        if (near == RLV_CUBES_NONE || f->label[near] != f->label[c])
            continue;
        sum += f->mean_mm[near];
        *count += 1.0;
    }
    return sum / *count;
}

/// The variance of how a region's floor strays from its shared means by more than noise: by the median of squares over
/// its deeper half, since at rims cells stray by the wall.
static rlv_status measure_roughness(double* rough2, const floor_cells* f, size_t label, double greatest_mm, float* room,
                                    rlv_error* error)
{
    size_t n = 0;
    double noise2 = 0.0, count;
    for (uint32_t k = f->start[label]; k < f->start[label + 1]; k++)
    {
        const size_t c = f->of[k];
        if (f->mean_mm[c] < 0.5 * greatest_mm)
            continue;
        const double away = f->mean_mm[c] - shared_mean(f, c, &count);
        if (count < 2.0)
            continue;
        room[n++] = (float)(away * away / (1.0 - 1.0 / count));
        noise2 += f->sd_mm[c] * f->sd_mm[c];
    }
    *rough2 = 0.0;
    if (n == 0)
        return RLV_DONE;
    const double median = rlv_median_of(n, room, error);
    *rough2 = fmax(median / gsl_cdf_chisq_Pinv(0.5, 1.0) - noise2 / (double)n, 0.0);
    return isnan(median) ? RLV_SYSTEM : RLV_DONE;
}

/// The place that the greatest of a region's cells lies below with a probability.
static double greatest_below(const floor_cells* f, size_t label, double alone, double share)
{
    double low = 0.0, high = 0.0;
    const uint32_t *first = f->of + f->start[label], *end = f->of + f->start[label + 1];
    for (const uint32_t* c = first; c < end; c++)
        high = fmax(high, f->told_mm[*c] + 8.0 * f->told_sd_mm[*c]);
    for (int step = 0; step < 50; step++)
    {
        const double middle = 0.5 * (low + high);
        double sum = 0.0;
        for (const uint32_t* c = first; c < end; c++)
            if (f->told_mm[*c] + 8.0 * f->told_sd_mm[*c] > middle)
                sum += alone * log(gsl_cdf_ugaussian_P((middle - f->told_mm[*c]) / f->told_sd_mm[*c]));
        if (sum < log(share))
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

/// Draw the cells of a region to what they share; how many of them stand alone is returned, as a share.
static double draw_cells(floor_cells* f, size_t label, double rough2, double length_mm)
{
    double most = 0.0, kept = 0.0;
    const double n = (double)(f->start[label + 1] - f->start[label]);
    for (uint32_t k = f->start[label]; k < f->start[label + 1]; k++)
    {
        const size_t c = f->of[k];
        double count;
        const double mean = shared_mean(f, c, &count), noise2 = f->sd_mm[c] * f->sd_mm[c];
        const double own = rough2 > 0.0 ? rough2 / (rough2 + noise2) : 0.0;
        f->told_mm[c] = mean + own * (f->mean_mm[c] - mean);
        f->told_sd_mm[c] = sqrt(noise2 * (own + (1.0 - own) / count));
        most += count, kept += own;
    }
    const double own = kept / n, spot = 2.0 * M_PI * length_mm * length_mm / (f->cells.side_mm * f->cells.side_mm);
    return 1.0 / fmax(own + (1.0 - own) * most / n, fmin(spot, n));
}

/// How far the deepest of a region's cells lies below what it shares with its neighbours.
static double drop_of(const floor_cells* f, size_t label)
{
    size_t best = f->of[f->start[label]];
    for (uint32_t k = f->start[label]; k < f->start[label + 1]; k++)
        if (f->told_mm[f->of[k]] > f->told_mm[best])
            best = f->of[k];
    double count;
    return fmax(f->told_mm[best] - shared_mean(f, best, &count), 0.0);
}

/// The greatest depth where the floor is as rough as this.
static rlv_interval greatest_of(floor_cells* f, size_t label, double rough2, const rlv_regions* regions)
{
    const double alone = draw_cells(f, label, rough2, regions->noise.length_mm), drop = drop_of(f, label);
    const double middle = greatest_below(f, label, alone, 0.5), low = greatest_below(f, label, alone, 0.025),
                 high = greatest_below(f, label, alone, 0.975), peak = HIDDEN * drop, doubt = HIDDEN_HALF * drop;
    return (rlv_interval){middle + peak, middle + peak - hypot(middle - low, doubt),
                          middle + peak + hypot(high - middle, doubt)};
}

static rlv_status tell_deepest(rlv_deepest* deepest, floor_cells* f, size_t label, const rlv_regions* regions,
                               float* room, rlv_error* error)
{
    double rough2;
    const rlv_status status = measure_roughness(&rough2, f, label, deepest->greatest_mm, room, error);
    if (status != RLV_DONE)
        return status;
    const rlv_interval even = greatest_of(f, label, 0.0, regions), rough = greatest_of(f, label, rough2, regions);
    deepest->depth_mm = (rlv_interval){.value = 0.5 * (even.value + rough.value),
                                       .low = fmin(even.low, rough.low),
                                       .high = fmax(even.high, rough.high)};
    return RLV_DONE;
}

rlv_status rlv_extents_deepest(rlv_deepest* deepest, const rlv_regions* regions, const rlv_depths* depths,
                               const uint16_t* label, const uint8_t* seed, rlv_error* error)
{
    floor_cells f = {0};
    float* room = NULL;
    rlv_status status = reserve_floor(&f, depths, regions->count, regions->noise.scale_mm[0], error);
    if (status == RLV_DONE && (room = rlv_reserve(f.cells.count, sizeof *room, error)) == NULL)
        status = RLV_SYSTEM;
    for (size_t r = 0; r < regions->count; r++)
        deepest[r] = (rlv_deepest){.depth_mm = {NAN, NAN, NAN}};
    for (size_t c = 0; status == RLV_DONE && c < f.cells.count; c++)
    {
        average_cell(&f, c, regions, depths, label, seed);
        if (f.label[c] == 0)
            continue;
        rlv_deepest* of = deepest + f.label[c] - 1;
        if (of->greatest_mm == 0.0 || f.mean_mm[c] > of->greatest_mm)
        {
            of->greatest_mm = f.mean_mm[c];
            memcpy(of->place_mm, depths->position_mm + 3 * (size_t)f.cells.member[f.cells.start[c]],
                   sizeof of->place_mm);
        }
    }
    if (status == RLV_DONE)
        list_cells(&f, regions->count);
    for (size_t r = 0; status == RLV_DONE && r < regions->count; r++)
        if (deepest[r].greatest_mm > 0.0)
            status = tell_deepest(deepest + r, &f, r + 1, regions, room, error);
    free(room);
    free_floor(&f);
    return status;
}
