#include "regions_parts.h"

#include "averages.h"
#include "pockets.h"
#include "steps.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    MOST_REGIONS = 65000, // one label is kept for none
    PAIRS_OF = 1500,      // points, spread over the whole block, whose neighbours make the variogram
    MOST_PAIRS = 150000,  // a bin
    BINS = 32,
    PARTS = RLV_DEPTHS_UNSURE + 1,
};

static uint8_t part_of(const regions_side* s, uint32_t i)
{
    return s->depths->part != NULL ? s->depths->part[i] : 0;
}

static rlv_status prepare_side(regions_side* s, const rlv_depths* depths, const rlv_sampling* sampling,
                               rlv_error* error)
{
    s->depths = depths;
    s->sampling = sampling;
    if ((s->tag = rlv_reserve(depths->count, 1, error)) == NULL ||
        (s->seed = rlv_reserve(depths->count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < depths->count; i++)
        s->tag[i] = (uint8_t)(rlv_cubes_facing(depths->normal + 3 * i) + 6 * part_of(s, (uint32_t)i));
    return rlv_bulk_of(&s->bulk, depths->count, depths->depth_mm, error);
}

static void free_side(regions_side* s)
{
    free(s->tag);
    free(s->seed);
}

double regions_apart2(const float* a, const float* b)
{
    const double x = (double)a[0] - (double)b[0], y = (double)a[1] - (double)b[1], z = (double)a[2] - (double)b[2];
    return x * x + y * y + z * z;
}

/// Differences of depth between samples, by their distance.
typedef struct differences
{
    size_t count[BINS];
    float* value; ///< BINS rows of MOST_PAIRS
} differences;

/// Whether a sample's depth is one of the bulk: what lies deep is carved, and as rough as the rock.
static bool is_bulk(const regions_side* s, uint32_t i)
{
    return fabs((double)s->depths->depth_mm[i] - s->bulk.centre) <= 4.0 * s->bulk.sd;
}

/// Note how sample `i` differs from its neighbours within the variogram's reach.
static void note_pairs(const regions_side* s, const rlv_cubes* cells, uint32_t i, double bin_mm, differences* d)
{
    for (int step = 0; step < 27; step++)
    {
        const int to[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
        const uint32_t cell = rlv_cubes_near(cells, cells->of_point[i], to);
        if (cell == RLV_CUBES_NONE)
            continue;
        for (uint32_t m = cells->start[cell]; m < cells->start[cell + 1]; m++)
        {
            const uint32_t j = cells->member[m];
            const double apart = sqrt(regions_apart2(s->depths->position_mm + 3 * i, s->depths->position_mm + 3 * j));
            const int bin = (int)(apart / bin_mm);
            const float difference = fabsf(s->depths->depth_mm[i] - s->depths->depth_mm[j]);
            if (j == i || bin >= BINS || d->count[bin] == MOST_PAIRS || !is_bulk(s, j))
                continue;
            d->value[MOST_PAIRS * (size_t)bin + d->count[bin]++] = difference;
        }
    }
}

/// The level at which a variogram stands still (the noise's variance), and where it has come to 1 - exp(-1/2) of it.
/// Beyond the noise it goes on rising, slowly, with the warp.
static void read_variogram(const double* level, double bin_mm, rlv_depth_noise* noise)
{
    int still = BINS - 1;
    for (int b = 0; b < BINS / 2; b++)
        if (level[b] > 0.0 && level[2 * b + 1] < 1.25 * level[b])
        {
            still = 2 * b + 1;
            break;
        }
    int rise = 0;
    while (rise < still && level[rise] < (1.0 - exp(-0.5)) * level[still])
        rise++;
    noise->sd_mm = fmax(noise->sd_mm, sqrt(level[still]));
    noise->length_mm = fmax(noise->length_mm, rise * bin_mm);
}

/// Sd and correlation length of the noise, from the variogram of the depths by medians, which neither a cut nor slow
/// warp disturbs much (after N. Cressie, D. M. Hawkins, Robust estimation of the variogram, Mathematical Geology 12,
/// 1980). The greater of what is in `noise` and what this side shows; the length is never below the spacing.
static rlv_status measure_noise(rlv_depth_noise* noise, const regions_side* s, rlv_error* error)
{
    const double bin = 0.5 * s->sampling->spacing_mm;
    rlv_cubes cells = {0};
    differences d = {.value = rlv_reserve(BINS * (size_t)MOST_PAIRS, sizeof(float), error)};
    rlv_status status =
        d.value == NULL ? RLV_SYSTEM
                        : rlv_cubes_build(&cells, s->depths->count, s->depths->position_mm, s->tag, bin * BINS, error);
    if (status == RLV_DONE)
    {
        const size_t stride = s->depths->count / PAIRS_OF + 1;
        for (size_t i = 0; i < s->depths->count; i += stride)
            if (is_bulk(s, (uint32_t)i))
                note_pairs(s, &cells, (uint32_t)i, bin, &d);
        double level[BINS];
        for (int b = 0; b < BINS; b++)
        {
            const double median =
                d.count[b] >= 50 ? rlv_median_of(d.count[b], d.value + MOST_PAIRS * (size_t)b, error) : 0.0;
            status = isnan(median) ? RLV_SYSTEM : status;
            const double sd = median / gsl_cdf_ugaussian_Pinv(0.75);
            level[b] = 0.5 * sd * sd;
        }
        noise->length_mm = fmax(noise->length_mm, s->sampling->spacing_mm);
        read_variogram(level, bin, noise);
    }
    rlv_cubes_free(&cells);
    free(d.value);
    return status;
}

/// Mark the seeds of one side at one scale, and tell the sd of the averages there.
static rlv_status seed_scale(regions_side* s, double scale_mm, double threshold, double* sd_mm, rlv_error* error)
{
    rlv_averages a = {0};
    float* level = NULL;
    rlv_bulk bulk = {0};
    rlv_status status = rlv_averages_take(&a, s->depths, s->sampling, s->tag, scale_mm, error);
    if (status != RLV_DONE)
        goto end;
    status = RLV_SYSTEM;
    const double usual = rlv_median_of(a.cells.count, a.support, error);
    if (isnan(usual) || (level = rlv_reserve(a.cells.count, sizeof *level, error)) == NULL)
        goto end;
    for (size_t c = 0; c < a.cells.count; c++)
        level[c] = (float)((double)a.smooth[c] / sqrt(fmax((double)a.support[c] / usual, 1.0)));
    if ((status = rlv_bulk_of(&bulk, a.cells.count, level, error)) != RLV_DONE)
        goto end;
    *sd_mm = bulk.sd;
    for (size_t c = 0; c < a.cells.count; c++)
    {
        const double excess = (double)level[c] - bulk.centre;
        const double needed = threshold * bulk.sd + RLV_REGION_CHORD_ALLOWANCE * (double)a.chord[c];
        // A cell beside a deep one is no seed: its own mean must carry half of it.
        if (!(fabs(excess) > needed) || !(((double)a.own[c] - bulk.centre) * copysign(1.0, excess) > 0.5 * needed))
            continue;
        for (uint32_t m = a.cells.start[c]; m < a.cells.start[c + 1]; m++)
            if (s->seed[a.cells.member[m]] == 0)
                s->seed[a.cells.member[m]] = excess > 0.0 ? 1 : -1;
    }
end:
    rlv_averages_free(&a);
    free(level);
    return status;
}

static void free_seeds(regions_seeds* list)
{
    free(list->sample);
    free(list->parent);
    free(list->position_mm);
    free(list->kind);
    free(list->of_before);
    free(list->of_after);
}

uint32_t regions_root(uint32_t* parent, uint32_t i)
{
    while (parent[i] != i)
        i = parent[i] = parent[parent[i]];
    return i;
}

void regions_join(uint32_t* parent, uint32_t a, uint32_t b)
{
    a = regions_root(parent, a);
    b = regions_root(parent, b);
    if (a < b)
        parent[b] = a;
    else
        parent[a] = b;
}

double regions_seed_area(const regions_seeds* list, size_t i, const regions_side* before, const regions_side* after)
{
    const regions_side* s = i < list->before_count ? before : after;
    return (double)s->sampling->area_mm2[list->sample[i]];
}

bool regions_is_shown(double area_mm2, size_t samples, double length_mm)
{
    return area_mm2 > 2.0 * M_PI * length_mm * length_mm && (double)samples > 2.0 * M_PI;
}

static void list_side(regions_seeds* list, const regions_side* s, uint32_t* of_sample)
{
    for (size_t i = 0; i < s->depths->count; i++)
    {
        of_sample[i] = RLV_CUBES_NONE;
        if (s->seed[i] == 0)
            continue;
        of_sample[i] = (uint32_t)list->count;
        list->sample[list->count] = (uint32_t)i;
        list->parent[list->count] = (uint32_t)list->count;
        list->kind[list->count] = (uint8_t)(2 * part_of(s, (uint32_t)i) + (s->seed[i] < 0));
        memcpy(list->position_mm + 3 * list->count, s->depths->position_mm + 3 * i, 3 * sizeof(float));
        list->count++;
    }
}

static rlv_status list_seeds(regions_seeds* list, const regions_side* before, const regions_side* after,
                             rlv_error* error)
{
    size_t most = before->depths->count + after->depths->count;
    if ((list->sample = rlv_reserve(most, sizeof(uint32_t), error)) == NULL ||
        (list->parent = rlv_reserve(most, sizeof(uint32_t), error)) == NULL ||
        (list->position_mm = rlv_reserve(3 * most, sizeof(float), error)) == NULL ||
        (list->kind = rlv_reserve(most, 1, error)) == NULL ||
        (list->of_before = rlv_reserve(before->depths->count, sizeof(uint32_t), error)) == NULL ||
        (list->of_after = rlv_reserve(after->depths->count, sizeof(uint32_t), error)) == NULL)
        return RLV_SYSTEM;
    list_side(list, before, list->of_before);
    list->before_count = list->count;
    list_side(list, after, list->of_after);
    return RLV_DONE;
}

/// The first seed of a cell that counts, or RLV_CUBES_NONE.
static uint32_t first_of(const rlv_cubes* cells, uint32_t cell, const uint8_t* counts)
{
    for (uint32_t m = cells->start[cell]; m < cells->start[cell + 1]; m++)
        if (counts == NULL || counts[cells->member[m]])
            return cells->member[m];
    return RLV_CUBES_NONE;
}

static void link_cell(uint32_t* parent, const rlv_cubes* cells, uint32_t cell, const uint8_t* counts)
{
    const uint32_t first = first_of(cells, cell, counts);
    if (first == RLV_CUBES_NONE)
        return;
    for (uint32_t m = cells->start[cell]; m < cells->start[cell + 1]; m++)
        if (counts == NULL || counts[cells->member[m]])
            regions_join(parent, first, cells->member[m]);
    for (int step = 14; step < 27; step++) // half of the neighbours: the others look back
    {
        const int to[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
        const uint32_t near = rlv_cubes_near(cells, cell, to);
        const uint32_t other = near != RLV_CUBES_NONE ? first_of(cells, near, counts) : RLV_CUBES_NONE;
        if (other != RLV_CUBES_NONE)
            regions_join(parent, first, other);
    }
}

rlv_status regions_link(uint32_t* parent, const regions_seeds* list, const regions_side* before,
                        const regions_side* after, const uint8_t* counts, double reach_mm, rlv_error* error)
{
    rlv_cubes cells = {0};
    const rlv_status status = rlv_cubes_build(&cells, list->count, list->position_mm, list->kind, reach_mm, error);
    for (size_t c = 0; status == RLV_DONE && c < cells.count; c++)
        link_cell(parent, &cells, (uint32_t)c, counts);
    for (size_t i = 0; status == RLV_DONE && i < list->count; i++)
    {
        const bool at_before = i < list->before_count;
        const uint32_t foot = (at_before ? before : after)->depths->foot[list->sample[i]];
        const uint32_t other = (at_before ? list->of_after : list->of_before)[foot];
        if (other != RLV_CUBES_NONE && list->kind[other] == list->kind[i] &&
            (counts == NULL || (counts[i] && counts[other])))
            regions_join(parent, (uint32_t)i, other);
    }
    rlv_cubes_free(&cells);
    return status;
}

/// Give slivers of one sign along a far larger region of the other to it: at its rim two tessellations cut the corner
/// differently, and the sums over its margin would be torn.
static rlv_status absorb_slivers(regions_seeds* list, const regions_side* before, const regions_side* after,
                                 double reach_mm, rlv_error* error)
{
    const double sliver = 0.05;
    rlv_cubes cells = {0};
    rlv_cubes_about about = {0};
    double* area = rlv_reserve(list->count, sizeof *area, error);
    rlv_status status = area == NULL
                            ? RLV_SYSTEM
                            : rlv_cubes_build(&cells, list->count, list->position_mm, list->kind, reach_mm, error);
    for (size_t i = 0; status == RLV_DONE && i < list->count; i++)
        area[regions_root(list->parent, (uint32_t)i)] += regions_seed_area(list, i, before, after);
    for (size_t i = 0; status == RLV_DONE && i < list->count; i++)
    {
        rlv_cubes_look_about(&about, &cells, list->position_mm + 3 * i, list->kind[i] ^ 1);
        for (size_t k = 0; k < about.count; k++)
        {
            const uint32_t own = regions_root(list->parent, (uint32_t)i);
            const uint32_t other = regions_root(list->parent, cells.member[cells.start[about.cell[k]]]);
            if (own == other || area[own] >= sliver * area[other])
                continue;
            list->parent[own] = other; // the larger one keeps its name, and with it its sign
            area[other] += area[own];
        }
    }
    rlv_cubes_free(&cells);
    free(area);
    return status;
}

/// A region while it is made.
typedef struct making
{
    uint32_t root;
    double area_mm2, depth_mm3;
    double before_mm2;          ///< the part of area_mm2 that BEFORE's samples make
    size_t count, before_count; ///< seeds, and those of them on BEFORE
} making;

static int by_area(const void* a, const void* b)
{
    const making *x = a, *y = b;
    if (x->area_mm2 != y->area_mm2)
        return x->area_mm2 < y->area_mm2 ? 1 : -1;
    return (x->root > y->root) - (x->root < y->root);
}

/// Keep what both stages show: at a sharp edge one tessellation alone may stand out. Returns how many are kept; the
/// others follow them.
static size_t keep_credible(making* region, size_t count, double length_mm)
{
    size_t kept = 0;
    for (size_t r = 0; r < count && kept < MOST_REGIONS; r++)
    {
        if (!regions_is_shown(region[r].before_mm2, region[r].before_count, length_mm) ||
            !regions_is_shown(region[r].area_mm2 - region[r].before_mm2, region[r].count - region[r].before_count,
                              length_mm))
            continue;
        const making credible = region[r];
        memmove(region + kept + 1, region + kept, (r - kept) * sizeof *region);
        region[kept++] = credible;
    }
    return kept;
}

/// Number the regions by falling area and label their seeds; `mean_mm` gets each region's mean depth.
static rlv_status number_regions(rlv_regions* regions, regions_seeds* list, const regions_side* before,
                                 const regions_side* after, double** mean_mm, rlv_error* error)
{
    rlv_status status = RLV_SYSTEM;
    making* region = NULL;
    uint32_t* number = rlv_reserve(list->count, sizeof *number, error);
    if (number == NULL)
        return status;
    size_t count = 0;
    for (size_t i = 0; i < list->count; i++)
        if (list->parent[i] == i)
            number[i] = (uint32_t)count++;
    if ((region = rlv_reserve(count, sizeof *region, error)) == NULL)
        goto end;
    for (size_t i = 0; i < list->count; i++)
    {
        const uint32_t root = regions_root(list->parent, (uint32_t)i);
        const regions_side* s = i < list->before_count ? before : after;
        const double area = regions_seed_area(list, i, before, after);
        region[number[root]].root = root;
        region[number[root]].area_mm2 += area;
        region[number[root]].before_mm2 += i < list->before_count ? area : 0.0;
        region[number[root]].count++;
        region[number[root]].before_count += i < list->before_count;
        region[number[root]].depth_mm3 += area * (double)s->depths->depth_mm[list->sample[i]];
    }
    qsort(region, count, sizeof *region, by_area);
    regions->count = keep_credible(region, count, regions->noise.length_mm);
    if ((regions->sign = rlv_reserve(regions->count, sizeof *regions->sign, error)) == NULL ||
        (regions->part = rlv_reserve(regions->count, 1, error)) == NULL ||
        (*mean_mm = rlv_reserve(regions->count, sizeof **mean_mm, error)) == NULL)
        goto end;
    for (size_t r = 0; r < count; r++)
        number[region[r].root] = r < regions->count ? (uint32_t)(r + 1) : 0;
    for (size_t r = 0; r < regions->count; r++)
    {
        regions->sign[r] = list->kind[region[r].root] & 1 ? -1 : 1;
        regions->part[r] = list->kind[region[r].root] >> 1;
        (*mean_mm)[r] = fabs(region[r].depth_mm3 / region[r].area_mm2);
    }
    for (size_t i = 0; i < list->count; i++)
    {
        const uint16_t label = (uint16_t)number[regions_root(list->parent, (uint32_t)i)];
        if (i < list->before_count)
            regions->before[list->sample[i]] = label;
        else
            regions->after[list->sample[i]] = label;
    }
    status = RLV_DONE;
end:
    free(number);
    free(region);
    return status;
}

/// The seed nearest to a place of those in the cells about it, within one side of these, or RLV_CUBES_NONE.
static uint32_t nearest_seed(const rlv_cubes* cells, const rlv_cubes_about* about, const regions_seeds* list,
                             const float* place, double* apart2)
{
    uint32_t best = RLV_CUBES_NONE;
    *apart2 = cells->side_mm * cells->side_mm;
    for (size_t k = 0; k < about->count; k++)
        for (uint32_t m = cells->start[about->cell[k]]; m < cells->start[about->cell[k] + 1]; m++)
        {
            const double d2 = regions_apart2(list->position_mm + 3 * (size_t)cells->member[m], place);
            if (d2 < *apart2)
                *apart2 = d2, best = cells->member[m];
        }
    return best;
}

/// Whether a sample whose part is not told belongs to a region beside it: rock came away there, or came, as its depth
/// says. Where columns have both of their ends on such flanks, between two bones, nothing else would claim them.
static bool is_beside(const regions_side* s, size_t sample, const rlv_regions* regions, uint16_t label)
{
    return part_of(s, (uint32_t)sample) == RLV_DEPTHS_UNSURE && regions->part[label - 1] == 0 &&
           (double)s->depths->depth_mm[sample] * regions->sign[label - 1] > 0.0;
}

/// What regions grow with.
typedef struct growing
{
    const rlv_regions* regions;
    const regions_seeds* list;
    rlv_cubes cells;      ///< of the seeds, four lengths wide, their parts as tags
    uint16_t* seed_label; ///< one a seed
    const double* mean_mm;
    uint8_t most_part;
} growing;

/// Label a sample, and tell whether it is near, by the seeds about it; `about` is of each part.
static void grow_to(uint16_t* label, uint8_t* near, const growing* g, const regions_side* s, size_t sample,
                    rlv_cubes_about* about)
{
    const double length = g->regions->noise.length_mm, thin = 10.0 * g->regions->noise.sd_mm;
    const float* place = s->depths->position_mm + 3 * sample;
    for (uint8_t part = 0; part <= g->most_part; part++)
    {
        double apart2;
        rlv_cubes_look_about(about + part, &g->cells, place, part);
        const uint32_t seed = nearest_seed(&g->cells, about + part, g->list, place, &apart2);
        if (seed == RLV_CUBES_NONE || g->seed_label[seed] == 0)
            continue;
        const double by = g->mean_mm[g->seed_label[seed] - 1] < thin ? 2.0 * length : length;
        *near |= apart2 <= (by + 2.0 * length) * (by + 2.0 * length);
        if ((part == part_of(s, (uint32_t)sample) && apart2 <= by * by) ||
            is_beside(s, sample, g->regions, g->seed_label[seed]))
            *label = g->seed_label[seed];
    }
}

/// Grow the regions over one side: by one length, two where the step is thin, on their own part; mark what lies within
/// two lengths more, on any part.
static void grow(uint16_t* label, uint8_t* near, const growing* g, const regions_side* s)
{
#pragma omp parallel
    {
        rlv_cubes_about about[PARTS] = {0};
#pragma omp for schedule(dynamic, 4096)
        for (size_t i = 0; i < s->depths->count; i++)
        {
            // Where the part is not told, the surface is not where it was.
            near[i] = label[i] != 0 || part_of(s, (uint32_t)i) == RLV_DEPTHS_UNSURE;
            if (label[i] == 0)
                grow_to(label + i, near + i, g, s, i, about);
        }
    }
}

static rlv_status grow_regions(rlv_regions* regions, regions_seeds* list, const regions_side* before,
                               const regions_side* after, const double* mean_mm, rlv_error* error)
{
    growing g = {.regions = regions, .list = list, .mean_mm = mean_mm};
    g.seed_label = rlv_reserve(list->count, sizeof *g.seed_label, error);
    uint8_t* part = g.seed_label != NULL ? rlv_reserve(list->count, 1, error) : NULL;
    for (size_t i = 0; part != NULL && i < list->count; i++)
    {
        part[i] = list->kind[i] >> 1;
        g.most_part = part[i] > g.most_part ? part[i] : g.most_part;
        g.seed_label[i] = (i < list->before_count ? regions->before : regions->after)[list->sample[i]];
    }
    rlv_status status = part == NULL ? RLV_SYSTEM
                                     : rlv_cubes_build(&g.cells, list->count, list->position_mm, part,
                                                       4.0 * regions->noise.length_mm, error);
    if (status == RLV_DONE)
    {
        grow(regions->before, regions->before_near, &g, before);
        grow(regions->after, regions->after_near, &g, after);
    }
    rlv_cubes_free(&g.cells);
    free(g.seed_label);
    free(part);
    return status;
}

/// How many sd a seed must stand out so that chance makes one in two hundred blocks, with `cells` looked at.
static double seed_threshold(double cells)
{
    return fmax(RLV_REGION_SEED_SD, gsl_cdf_ugaussian_Qinv(0.0025 / fmax(cells, 1.0)));
}

/// Where the part is not told, nothing is seeded; the other stage's labels stand there.
static void leave_unsure(regions_side* s)
{
    for (size_t i = 0; s->depths->part != NULL && i < s->depths->count; i++)
        if (s->depths->part[i] == RLV_DEPTHS_UNSURE)
            s->seed[i] = 0;
}

/// What comes off or goes back as a whole: BEFORE's own parts go, AFTER's come, and so do those on their feet.
static void seed_wholes(regions_side* s, int8_t own_sign)
{
    const uint8_t* own = s->sampling->part;
    for (size_t i = 0; s->depths->part != NULL && i < s->depths->count; i++)
        if (s->depths->part[i] >= RLV_DEPTHS_WHOLE && s->depths->part[i] != RLV_DEPTHS_UNSURE)
            s->seed[i] = isnan(s->depths->depth_mm[i])                 ? 0
                         : own != NULL && own[i] == s->depths->part[i] ? own_sign
                                                                       : (int8_t)-own_sign;
}

/// What a step set off on BEFORE is a seed on AFTER too, on the same part: the depths there are too slight to seed it.
static void seed_at_feet(regions_side* after, const regions_side* before)
{
    for (size_t i = 0; i < after->depths->count; i++)
    {
        const uint32_t foot = after->depths->foot[i];
        if (after->seed[i] == 0 && !isnan(after->depths->depth_mm[i]) &&
            part_of(after, (uint32_t)i) == part_of(before, foot))
            after->seed[i] = before->seed[foot];
    }
}

/// A step goes round rock and the bones in it alike; what it says of a bone, the bone's own depths must say.
static rlv_status seed_steps(regions_side* before, double* step_mm, double scale_mm, rlv_error* error)
{
    const size_t count = before->depths->count;
    if (before->depths->part == NULL)
        return rlv_steps_find(before->seed, step_mm, before->depths, before->sampling, scale_mm, error);
    int8_t* seed = rlv_reserve(count, 1, error);
    if (seed == NULL)
        return RLV_SYSTEM;
    memcpy(seed, before->seed, count);
    const rlv_status status = rlv_steps_find(seed, step_mm, before->depths, before->sampling, scale_mm, error);
    for (size_t i = 0; i < count; i++)
        if (part_of(before, (uint32_t)i) == 0)
            before->seed[i] = seed[i];
    free(seed);
    return status;
}

/// Seeds of one side by its own depths, at all scales.
static rlv_status seed_side(regions_side* s, rlv_depth_noise* noise, double area_mm2, double least_mm, rlv_error* error)
{
    static const double lengths[RLV_REGION_SCALES] = {1.0 / 3.0, 1.0, 2.0};
    rlv_status status = RLV_DONE;
    noise->threshold = 0.0;
    for (int k = 0; status == RLV_DONE && k < RLV_REGION_SCALES; k++)
    {
        const double scale = fmax(lengths[k] * noise->length_mm, least_mm * (k + 1));
        const double threshold = seed_threshold(area_mm2 / (scale * scale));
        noise->threshold = fmax(noise->threshold, threshold);
        noise->scale_mm[k] = scale;
        status = seed_scale(s, scale, threshold, &noise->scale_sd_mm[k], error);
    }
    return status;
}

/// Run the two sides side by side: their noise first, which both then share, and their seeds.
static rlv_status seed_sides(rlv_depth_noise* noise, regions_side* before, regions_side* after, double least_mm,
                             rlv_error* error)
{
    regions_side* s[2] = {before, after};
    rlv_depth_noise own[2] = {0};
    rlv_error own_error[2] = {0};
    rlv_status status[2];
    double area = 0.0;
    for (size_t i = 0; i < before->sampling->count; i++)
        area += (double)before->sampling->area_mm2[i];
#pragma omp parallel for schedule(static, 1)
    for (int k = 0; k < 2; k++)
        status[k] = measure_noise(own + k, s[k], own_error + k);
    noise->sd_mm = fmax(own[0].sd_mm, own[1].sd_mm);
    noise->length_mm = fmax(own[0].length_mm, own[1].length_mm);
    own[0] = own[1] = *noise;
#pragma omp parallel for schedule(static, 1)
    for (int k = 0; k < 2; k++)
        if (status[k] == RLV_DONE)
            status[k] = seed_side(s[k], own + k, area, least_mm, own_error + k);
    *noise = own[0];
    for (int k = 0; k < RLV_REGION_SCALES; k++)
        noise->scale_sd_mm[k] = fmax(own[0].scale_sd_mm[k], own[1].scale_sd_mm[k]);
    return rlv_first_failure(2, status, own_error, error);
}

static rlv_status find_seeds(rlv_depth_noise* noise, regions_side* before, regions_side* after, rlv_error* error)
{
    const double least = 1.5 * fmax(before->sampling->spacing_mm, after->sampling->spacing_mm);
    rlv_status status = seed_sides(noise, before, after, least, error);
    for (int k = 0; status == RLV_DONE && k < RLV_REGION_STEPS; k++)
    {
        const double scale = fmax(3.0 * noise->length_mm, 2.0 * least) * (1 << k);
        status = seed_steps(before, noise->step_mm + k, scale, error);
        noise->step_scale_mm[k] = scale;
    }
    if (status == RLV_DONE)
    {
        seed_at_feet(after, before);
        leave_unsure(before);
        leave_unsure(after);
        seed_wholes(before, 1);
        seed_wholes(after, -1);
    }
    return status;
}

static rlv_status reserve_labels(rlv_regions* regions, const regions_side* before, const regions_side* after,
                                 rlv_error* error)
{
    const size_t nb = before->depths->count, na = after->depths->count;
    if ((regions->before = rlv_reserve(nb, sizeof(uint16_t), error)) == NULL ||
        (regions->after = rlv_reserve(na, sizeof(uint16_t), error)) == NULL ||
        (regions->before_near = rlv_reserve(nb, 1, error)) == NULL ||
        (regions->after_near = rlv_reserve(na, 1, error)) == NULL ||
        (regions->before_seed = rlv_reserve(nb, 1, error)) == NULL ||
        (regions->after_seed = rlv_reserve(na, 1, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

rlv_status rlv_regions_find(rlv_regions* regions, const rlv_depths* before, const rlv_sampling* before_sampling,
                            const rlv_depths* after, const rlv_sampling* after_sampling, rlv_error* error)
{
    regions_side b = {0}, a = {0};
    regions_seeds list = {0};
    double* mean_mm = NULL;
    rlv_status status = prepare_side(&b, before, before_sampling, error);
    if (status != RLV_DONE || (status = prepare_side(&a, after, after_sampling, error)) != RLV_DONE ||
        (status = reserve_labels(regions, &b, &a, error)) != RLV_DONE ||
        (status = find_seeds(&regions->noise, &b, &a, error)) != RLV_DONE ||
        (status = list_seeds(&list, &b, &a, error)) != RLV_DONE)
        goto end;
    const double reach = fmax(2.0 * regions->noise.length_mm, regions->noise.scale_mm[0]);
    if ((status = regions_link(list.parent, &list, &b, &a, NULL, reach, error)) != RLV_DONE ||
        (status = absorb_slivers(&list, &b, &a, reach, error)) != RLV_DONE ||
        (status = regions_split(&list, &b, &a, &regions->noise, error)) != RLV_DONE ||
        (status = number_regions(regions, &list, &b, &a, &mean_mm, error)) != RLV_DONE)
        goto end;
    for (size_t i = 0; i < before->count; i++)
        regions->before_seed[i] = regions->before[i] != 0;
    for (size_t i = 0; i < after->count; i++)
        regions->after_seed[i] = regions->after[i] != 0;
    if ((status = grow_regions(regions, &list, &b, &a, mean_mm, error)) == RLV_DONE)
        status = rlv_pockets_close(regions, before, before_sampling, after, after_sampling, error);
end:
    free(mean_mm);
    free_seeds(&list);
    free_side(&b);
    free_side(&a);
    if (status != RLV_DONE)
        rlv_regions_free(regions);
    return status;
}

void rlv_regions_free(rlv_regions* regions)
{
    free(regions->sign);
    free(regions->part);
    free(regions->before);
    free(regions->after);
    free(regions->before_near);
    free(regions->after_near);
    free(regions->before_seed);
    free(regions->after_seed);
    memset(regions, 0, sizeof *regions);
}
