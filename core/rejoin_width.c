#include "rejoin_gap.h"

#include <math.h>
#include <stdlib.h>

/// What noise adds to the quantiles of widths is taken off by simulation and extrapolation (J. R. Cook, L. A.
/// Stefanski, Simulation-extrapolation estimation in parametric measurement error models, J. Am. Stat. Assoc. 89,
/// 1994), without the simulation: Gaussian noise on known widths has a known distribution. The quantile is taken of
/// the widths as scanned, with as much noise again, and with twice as much; a straight line through the first two tells
/// it for noise less by as much, and how far the third lies off that line how much is left out.
enum
{
    STEPS = 3,
};
static const double line[STEPS] = {2.0, -1.0, 0.0}, off_line[STEPS] = {1.0, -2.0, 1.0};

/// The widest twentieth of a joint lies at its rim and in hollows. Noise there also turns samples of steep flanks in
/// and out of the face, and is greater across a slope: over 35 pairs of parts with and without noise, in their true
/// place, the 95 % width differed by 0.38 sds of a spot (root mean square about its mean), of which pulls explain 0.24.
static const double p95_beyond = 0.3;

/// The greatest width is a single spot's, and the one that noise widened: 25 pairs of parts with and without noise, in
/// their true place, differed there by so many sds of a spot (root mean square).
static const double max_noise = 1.2;

/// A width and the area that has it.
typedef struct weighed
{
    float width_mm, area_mm2;
    uint32_t index; ///< of the sample, those of the piece after the block's
} weighed;

/// All widths of both faces, rising.
typedef struct width_list
{
    weighed* item;
    size_t count;
    double area_mm2;
} width_list;

static int narrower(const void* a, const void* b)
{
    const weighed *x = a, *y = b;
    if (x->width_mm != y->width_mm)
        return x->width_mm < y->width_mm ? -1 : 1;
    return (x->index > y->index) - (x->index < y->index);
}

static rlv_status list_widths(width_list* list, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                              rlv_error* error)
{
    *list = (width_list){.item = rlv_reserve(part[0].count + part[1].count, sizeof *list->item, error)};
    if (list->item == NULL)
        return RLV_SYSTEM;
    for (size_t k = 0; k < 2; k++)
        for (size_t i = 0; i < part[k].count; i++)
            if (!isnan(widths->spot[k][i]))
            {
                // Each part tells half.
                list->item[list->count++] =
                    (weighed){widths->spot[k][i], 0.5f * part[k].area_mm2[i], (uint32_t)(k * part[0].count + i)};
                list->area_mm2 += 0.5 * (double)part[k].area_mm2[i];
            }
    qsort(list->item, list->count, sizeof *list->item, narrower);
    return RLV_DONE;
}

/// The width below which `share` of the area lies.
static double plain_quantile(const width_list* list, double share)
{
    double sum = 0.0;
    for (size_t i = 0; i < list->count; i++)
        if ((sum += (double)list->item[i].area_mm2) >= share * list->area_mm2)
            return (double)list->item[i].width_mm;
    return list->count > 0 ? (double)list->item[list->count - 1].width_mm : NAN;
}

/// The same with noise of `sd_mm` added to each width.
static double noisier_quantile(const width_list* list, double share, double sd_mm, double near_mm)
{
    double low = near_mm - 4.0 * sd_mm, high = near_mm + 4.0 * sd_mm;
    while (high - low > 1e-4 * sd_mm)
    {
        const double middle = 0.5 * (low + high);
        double below = 0.0;
        for (size_t i = 0; i < list->count && (double)list->item[i].width_mm < middle + 5.0 * sd_mm; i++)
        {
            const double u = (middle - (double)list->item[i].width_mm) / sd_mm;
            below += (double)list->item[i].area_mm2 * (u > 5.0 ? 1.0 : 0.5 * erfc(-u * M_SQRT1_2));
        }
        *(below < share * list->area_mm2 ? &low : &high) = middle;
    }
    return 0.5 * (low + high);
}

/// Add to each sample's `pull` how much a quantile moves as its width does, `times` over, where the density of widths
/// is taken with a kernel of `sd_mm`.
static void add_pull(double* pull, const width_list* list, double quantile_mm, double sd_mm, double times)
{
    double total = 0.0;
    for (size_t i = 0; i < list->count; i++)
    {
        const double u = ((double)list->item[i].width_mm - quantile_mm) / sd_mm;
        total += fabs(u) < 6.0 ? (double)list->item[i].area_mm2 * exp(-0.5 * u * u) : 0.0;
    }
    for (size_t i = 0; i < list->count && times != 0.0 && total > 0.0; i++)
    {
        const double u = ((double)list->item[i].width_mm - quantile_mm) / sd_mm;
        pull[list->item[i].index] +=
            fabs(u) < 6.0 ? times * (double)list->item[i].area_mm2 * exp(-0.5 * u * u) / total : 0.0;
    }
}

/// Cells that pulls are summed in, a good deal smaller than noise is long: samples of both parts, in the block's
/// coordinates.
typedef struct pull_cells
{
    rlv_cubes cubes;
    rlv_vec3* at; ///< one a cell: the mean of its samples
    double* pull; ///< one a cell
} pull_cells;

static void pull_cells_free(pull_cells* cells)
{
    rlv_cubes_free(&cells->cubes);
    free(cells->at);
    free(cells->pull);
}

static rlv_status pull_cells_make(pull_cells* cells, const rlv_gap_part part[2], const rlv_pose* to_block,
                                  rlv_error* error)
{
    const size_t count = part[0].count + part[1].count;
    float* at = rlv_reserve(3 * count, sizeof *at, error);
    if (at == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        const bool piece = i >= part[0].count;
        const rlv_vec3 local = rlv_vec3_from(part[piece].at + 3 * (piece ? i - part[0].count : i)),
                       world = piece ? rlv_pose_apply(to_block, local) : local;
        at[3 * i] = (float)world.x, at[3 * i + 1] = (float)world.y, at[3 * i + 2] = (float)world.z;
    }
    rlv_status status = rlv_cubes_build(&cells->cubes, count, at, NULL, RLV_REJOIN_SPOT_MM, error);
    if (status == RLV_DONE && ((cells->at = rlv_reserve(cells->cubes.count, sizeof *cells->at, error)) == NULL ||
                               (cells->pull = rlv_reserve(cells->cubes.count, sizeof *cells->pull, error)) == NULL))
        status = RLV_SYSTEM;
    for (size_t c = 0; status == RLV_DONE && c < cells->cubes.count; c++)
    {
        const uint32_t first = cells->cubes.start[c], end = cells->cubes.start[c + 1];
        for (uint32_t m = first; m < end; m++)
            cells->at[c] = rlv_vec3_along(cells->at[c], 1.0 / (end - first),
                                          rlv_vec3_from(at + 3 * (size_t)cells->cubes.member[m]));
    }
    free(at);
    return status;
}

/// The variance that noise of unit variance gives to what the cells pull at. Averaging over spots makes noise less and
/// longer by as much: the integral of its covariance stays, so that it is correlated over RLV_GAP_NOISE_MM2 over the
/// share of the variance that is left, as a Gaussian.
static double noise_variance(const pull_cells* cells)
{
    const double area = RLV_GAP_NOISE_MM2 / (RLV_GAP_SPOT_SHARE * RLV_GAP_SPOT_SHARE);
    const int reach = (int)ceil(1.2 * sqrt(area) / RLV_REJOIN_SPOT_MM); // a hundredth is left there
    double sum = 0.0;
    for (size_t c = 0; c < cells->cubes.count; c++)
    {
        if (cells->pull[c] == 0.0)
            continue;
        for (int x = -reach; x <= reach; x++)
            for (int y = -reach; y <= reach; y++)
                for (int z = -reach; z <= reach; z++)
                {
                    const uint32_t other = rlv_cubes_near(&cells->cubes, (uint32_t)c, (int[3]){x, y, z});
                    if (other == RLV_CUBES_NONE || cells->pull[other] == 0.0)
                        continue;
                    const rlv_vec3 apart = rlv_vec3_sub(cells->at[c], cells->at[other]);
                    sum += cells->pull[c] * cells->pull[other] * exp(-M_PI * rlv_vec3_dot(apart, apart) / area);
                }
    }
    return fmax(sum, 0.0);
}

/// The variance of a quantile that moves with each width as `pull` says: by the piece's place, and by noise.
static double pulled_variance(const double* pull, pull_cells* cells, const rlv_gap_part part[2],
                              const rlv_pose* to_block, double spot_mm)
{
    double change[6] = {0};
    for (size_t c = 0; c < cells->cubes.count; c++)
        cells->pull[c] = 0.0;
    for (size_t i = 0; i < part[0].count + part[1].count; i++)
    {
        if (pull[i] == 0.0)
            continue;
        double six[6];
        rlv_gap_width_change(six, part, i, to_block);
        for (int j = 0; j < 6; j++)
            change[j] += pull[i] * six[j];
        cells->pull[cells->cubes.of_point[i]] += pull[i];
    }
    return rlv_gap_variance(change, to_block) + spot_mm * spot_mm * noise_variance(cells);
}

/// A quantile of the widths and its interval, with so many sds of a spot `beyond` what pulls explain. Nothing is taken
/// off for noise that is only supposed, not `measured`.
static rlv_interval tell_quantile(double share, double beyond, const width_list* list, double* pull, pull_cells* cells,
                                  const rlv_gap_part part[2], const rlv_pose* to_block, double spot_mm, bool measured)
{
    const double scanned = plain_quantile(list, share);
    double told = measured ? 0.0 : scanned, left_out = 0.0;
    for (size_t i = 0; i < part[0].count + part[1].count; i++)
        pull[i] = 0.0;
    if (!measured)
        add_pull(pull, list, scanned, 0.5 * spot_mm, 1.0);
    for (int k = 0; k < STEPS && measured; k++)
    {
        const double sd = spot_mm * sqrt(k), noisier = k == 0 ? scanned : noisier_quantile(list, share, sd, scanned);
        told += line[k] * noisier;
        left_out += off_line[k] * noisier;
        // Between samples the density of the widths as scanned is taken with a kernel of half the noise.
        add_pull(pull, list, noisier, k == 0 ? 0.5 * spot_mm : sd, line[k]);
    }
    const double half = RLV_HALF_95 * sqrt(pulled_variance(pull, cells, part, to_block, spot_mm) + left_out * left_out +
                                           pow(beyond * spot_mm, 2));
    return (rlv_interval){told, told - half, told + half};
}

rlv_status rlv_gap_tell_widths(rlv_rejoin_gap* gap, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                               const rlv_pose* to_block, double place_sd_mm, double noise_mm, bool measured,
                               rlv_error* error)
{
    const double least_mm = 1e-4; // of scans without noise: densities need some
    const double spot = fmax(RLV_GAP_SPOT_SHARE * noise_mm, least_mm);
    width_list list = {0};
    pull_cells cells = {0};
    double* pull = NULL;
    rlv_status status = list_widths(&list, widths, part, error);
    if (status == RLV_DONE)
        status = pull_cells_make(&cells, part, to_block, error);
    if (status == RLV_DONE && (pull = rlv_reserve(part[0].count + part[1].count, sizeof *pull, error)) == NULL)
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        gap->area_mm2 = list.area_mm2;
        gap->median_mm = tell_quantile(0.5, 0.0, &list, pull, &cells, part, to_block, spot, measured);
        gap->p95_mm = tell_quantile(0.95, p95_beyond, &list, pull, &cells, part, to_block, spot, measured);
        const double most = list.count > 0 ? (double)list.item[list.count - 1].width_mm : NAN,
                     half = RLV_HALF_95 * hypot(place_sd_mm, max_noise * spot);
        gap->max_mm = (rlv_interval){most, most - half, most + half};
        for (size_t i = 0; i < list.count; i++)
            gap->open_mm2 +=
                (double)list.item[i].width_mm > rlv_gap_touching_mm(noise_mm) ? (double)list.item[i].area_mm2 : 0.0;
    }
    free(pull);
    pull_cells_free(&cells);
    free(list.item);
    return status;
}
