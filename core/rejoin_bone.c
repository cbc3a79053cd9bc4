#include "rejoin_gap.h"

#include <math.h>
#include <stdlib.h>

enum
{
    STEPS = 240,
    CELLS_AROUND = 27,
};

static const double spot_mm2 = 4.0 * M_PI * RLV_REJOIN_SPOT_MM * RLV_REJOIN_SPOT_MM; ///< that a Gaussian mean rests on
/// Of bone for which the least width counts as one of so many independent ones: 160 patches of bone on simulated breaks
/// then erred by 0.010 mm in the mean, where with nothing taken off they are told 0.041 mm too near.
static const double apart_mm2 = 12.0;
static const double reach_sds = 6.0;
static const double least_share = 0.5; ///< of the most bone that a spot nearby has: at a bone's edge, spots are noisier

/// A spot of bone on the joint.
typedef struct bone_spot
{
    double width_mm, sd_mm, spots; ///< spots: how many independent ones it stands for
    size_t index;                  ///< of its sample, those of the piece after the block's
} bone_spot;

typedef struct bone_list
{
    bone_spot* spot;
    size_t count, least; ///< least: the one of the least width
} bone_list;

/// Means over bone alone, and what share of the spot is bone.
static rlv_status average_bone(float* mean, float* share, float* room, const rlv_gap_widths* widths,
                               const rlv_gap_part* part, int k, rlv_error* error)
{
    for (size_t i = 0; i < part->count; i++)
        room[i] = rlv_gap_is_bone(part, i) ? widths->raw[k][i] : NAN;
    rlv_status status = rlv_gap_average(mean, part, 1, room, error);
    for (size_t i = 0; i < part->count; i++)
        room[i] = isnan(widths->raw[k][i]) ? NAN : rlv_gap_is_bone(part, i) ? 1.0f : 0.0f;
    if (status == RLV_DONE)
        status = rlv_gap_average(share, part, 1, room, error);
    return status;
}

/// The most bone that a spot near each of a part's cells has, into a block that the caller frees.
static rlv_status most_nearby(float** most, const rlv_gap_part* part, const float* share, rlv_error* error)
{
    const size_t cells = part->cells.count;
    float* own = rlv_reserve(cells, sizeof *own, error);
    if (own == NULL || (*most = rlv_reserve(cells, sizeof **most, error)) == NULL)
    {
        free(own);
        return RLV_SYSTEM;
    }
    for (size_t i = 0; i < part->count; i++)
        if (share[i] > own[part->cells.of_point[i]]) // false of NaN
            own[part->cells.of_point[i]] = share[i];
    for (size_t c = 0; c < cells; c++)
        for (int step = 0; step < CELLS_AROUND; step++)
        {
            const uint32_t near =
                rlv_cubes_near(&part->cells, (uint32_t)c, (int[3]){step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1});
            if (near != RLV_CUBES_NONE && own[near] > (*most)[c])
                (*most)[c] = own[near];
        }
    free(own);
    return RLV_DONE;
}

/// Add the spots of bone of one part.
static void add_spots(bone_list* list, rlv_rejoin_gap* gap, const float* raw, const float* mean, const float* share,
                      const float* most, const rlv_gap_part* part, size_t first, double noise_mm)
{
    for (size_t i = 0; i < part->count; i++)
    {
        const double area = (double)part->area_mm2[i], bone = (double)share[i];
        if (!rlv_gap_is_bone(part, i) || isnan(raw[i]) || isnan(mean[i]))
            continue;
        gap->bone_mm2 += area;
        if (bone < least_share * (double)most[part->cells.of_point[i]])
            continue;
        // Of a little bone a mean is noisier than that of a whole spot.
        const double of_one = sqrt(RLV_GAP_NOISE_MM2 / (RLV_GAP_NOISE_MM2 + bone * spot_mm2));
        list->spot[list->count] = (bone_spot){.width_mm = (double)mean[i],
                                              .sd_mm = noise_mm * fmax(RLV_GAP_SPOT_SHARE, of_one),
                                              .spots = area / apart_mm2,
                                              .index = first + i};
        if (list->spot[list->count].width_mm < list->spot[list->least].width_mm)
            list->least = list->count;
        list->count++;
    }
}

static rlv_status list_bone(bone_list* list, rlv_rejoin_gap* gap, const rlv_gap_widths* widths,
                            const rlv_gap_part part[2], double noise_mm, rlv_error* error)
{
    const size_t all = part[0].count + part[1].count;
    float* room = rlv_reserve(3 * all, sizeof *room, error);
    rlv_status status = RLV_SYSTEM;
    if (room != NULL && (list->spot = rlv_reserve(all, sizeof *list->spot, error)) != NULL)
        status = RLV_DONE;
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
    {
        if (part[k].bone == NULL)
            continue;
        float *mean = room, *share = room + all, *most = NULL;
        status = average_bone(mean, share, room + 2 * all, widths, &part[k], k, error);
        if (status == RLV_DONE)
            status = most_nearby(&most, &part[k], share, error);
        if (status == RLV_DONE)
            add_spots(list, gap, widths->raw[k], mean, share, most, &part[k], (size_t)k * part[0].count, noise_mm);
        free(most);
    }
    free(room);
    return status;
}

/// The mean and the variance of the least width, if each had its noise once more.
static void least_again(double* mean, double* variance, const bone_list* list)
{
    double all = 0.0, sd = 0.0;
    for (size_t i = 0; i < list->count; i++)
    {
        all += list->spot[i].spots;
        sd = fmax(sd, list->spot[i].sd_mm);
    }
    const double least = list->spot[list->least].width_mm, low = least - reach_sds * sd,
                 step = 2.0 * reach_sds * sd / STEPS, times = fmax(1.0, 1.0 / all); // it is one spot at least
    double before = 1.0, sum = 0.0, square = 0.0;
    for (int s = 1; s <= STEPS; s++)
    {
        const double x = low + s * step;
        double above = 0.0; // log of the chance that all lie above x
        for (size_t i = 0; i < list->count && above > -50.0; i++)
        {
            const double u = (x - list->spot[i].width_mm) / list->spot[i].sd_mm;
            above += u > -reach_sds ? times * list->spot[i].spots * log(0.5 * erfc(fmin(u, 12.0) * M_SQRT1_2)) : 0.0;
        }
        const double now = exp(above), middle = x - 0.5 * step;
        sum += (before - now) * middle;
        square += (before - now) * (middle - least) * (middle - least);
        before = now;
    }
    sum += before * (low + STEPS * step);
    square += before * pow(reach_sds * sd, 2);
    *mean = sum;
    *variance = fmax(0.0, square - pow(sum - least, 2));
}

/// How far a sample lies from the joint's rim: from what is outlined and no face, or an open border.
static double rim_distance(const rlv_gap_part* part, size_t index)
{
    const rlv_vec3 at = rlv_vec3_from(part->at + 3 * index);
    double nearest = INFINITY;
    for (size_t i = 0; i < part->count; i++)
        if (part->rim[i] != 0 || part->sampling->border[part->sample[i]] != 0)
            nearest = fmin(nearest, rlv_vec3_length(rlv_vec3_sub(rlv_vec3_from(part->at + 3 * i), at)));
    return nearest < INFINITY ? nearest : (double)NAN;
}

static void tell(rlv_rejoin_gap* gap, const bone_list* list, const rlv_gap_part part[2], const rlv_pose* to_block,
                 bool measured)
{
    const bone_spot* least = &list->spot[list->least];
    const int k = least->index < part[0].count ? 0 : 1;
    const size_t i = least->index - (k == 0 ? 0 : part[0].count);
    double again = 0.0, variance = 0.0, change[6];
    least_again(&again, &variance, list);
    rlv_gap_width_change(change, part, least->index, to_block);
    const double by_noise = measured ? fmax(0.0, least->width_mm - again) : 0.0, told = least->width_mm + by_noise,
                 half = RLV_HALF_95 * sqrt(variance + by_noise * by_noise + rlv_gap_variance(change, to_block));
    const rlv_vec3 local = rlv_vec3_from(part[k].at + 3 * i);
    gap->bone = k == 0 ? RLV_REJOIN_BONE_BLOCK : RLV_REJOIN_BONE_PIECE;
    gap->bone_mm = (rlv_interval){told, told - half, told + half};
    gap->bone_at_mm = rlv_vec3_add(k == 0 ? local : rlv_pose_apply(to_block, local), part[0].mesh->origin_mm);
    gap->bone_rim_mm = rim_distance(&part[k], i);
}

rlv_status rlv_gap_tell_bone(rlv_rejoin_gap* gap, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                             const rlv_pose* to_block, double noise_mm, bool measured, rlv_error* error)
{
    const double least_mm = 1e-4; // of scans without noise: densities need some
    gap->bone_mm = (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    gap->bone_rim_mm = (double)NAN;
    if (part[0].bone == NULL && part[1].bone == NULL)
        return RLV_DONE;
    bone_list list = {0};
    const rlv_status status = list_bone(&list, gap, widths, part, fmax(noise_mm, least_mm), error);
    if (status == RLV_DONE && list.count > 0)
        tell(gap, &list, part, to_block, measured);
    free(list.spot);
    return status;
}

rlv_rejoin_bone_touch rlv_gap_bone_touch(const rlv_rejoin_gap* gap, const rlv_gap_widths* widths,
                                         const rlv_gap_part part[2])
{
    if (part[0].bone == NULL && part[1].bone == NULL)
        return RLV_REJOIN_BONE_UNKNOWN;
    if (isnan(gap->bone_mm.value))
        return RLV_REJOIN_BONE_NONE;
    double rock = INFINITY;
    for (int k = 0; k < 2; k++)
        for (size_t i = 0; i < part[k].count; i++)
            if (!isnan(widths->spot[k][i]) && !rlv_gap_is_bone(&part[k], i))
                rock = fmin(rock, (double)widths->spot[k][i]);
    if (gap->bone_mm.value <= rock || gap->bone_mm.high <= 0.0)
        return RLV_REJOIN_BONE_FIRST;
    return gap->bone_mm.low <= 0.0 ? RLV_REJOIN_BONE_MAY : RLV_REJOIN_BONE_CLEAR;
}
