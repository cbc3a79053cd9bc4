#include "rejoin_gap.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    CELLS_AROUND = 27,
};

static const double rim_share = 0.4; ///< sd of what is taken for the volume at the rim, as a share of it

/// The volume along the joint's normal, how much of it is the rim's, and how it changes with the piece's place.
typedef struct prism
{
    double volume_mm3, rim_mm3, area_mm2;
    double change[6]; ///< with the six numbers of the pose's covariance
} prism;

/// How thick the gap is at the nearest sample that has a partner; zero where there is none about.
static double thick_beside(const rlv_gap_part* part, const float* thick, size_t i)
{
    double nearest = INFINITY, beside = 0.0;
    for (int step = 0; step < CELLS_AROUND; step++)
    {
        const int by[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
        const uint32_t c = rlv_cubes_near(&part->cells, part->cells.of_point[i], by);
        for (uint32_t m = c != RLV_CUBES_NONE ? part->cells.start[c] : 0;
             c != RLV_CUBES_NONE && m < part->cells.start[c + 1]; m++)
        {
            const uint32_t k = part->cells.member[m];
            const double apart =
                rlv_vec3_length(rlv_vec3_sub(rlv_vec3_from(part->at + 3 * (size_t)k), rlv_vec3_from(part->at + 3 * i)));
            if (!isnan(thick[k]) && apart < nearest)
                nearest = apart, beside = (double)thick[k];
        }
    }
    return beside;
}

/// The prisms of one part: its own area, projected along the joint, times how thick the gap is there. Areas are
/// signed, so that what is outlined beyond the rim, up the one part's side and down the other's, cancels.
static void add_prisms(prism* sum, const rlv_gap_part* part, const float* thick, rlv_vec3 out, const rlv_pose* to_block,
                       rlv_vec3 joint_normal)
{
    for (size_t i = 0; i < part->count; i++)
    {
        // Each part tells half.
        const double plan = 0.5 * rlv_vec3_dot(rlv_vec3_from(part->vector_mm2 + 3 * i), out);
        if (isnan(thick[i]))
            sum->rim_mm3 += plan * thick_beside(part, thick, i);
        else
            sum->volume_mm3 += plan * (double)thick[i];
        sum->area_mm2 += plan;
        double six[6];
        rlv_gap_change(six, rlv_pose_apply(to_block, rlv_vec3_from(part->at + 3 * i)), joint_normal,
                       to_block->centre_mm);
        for (int j = 0; j < 6; j++)
            sum->change[j] += plan * six[j];
    }
}

void rlv_gap_change(double change[6], rlv_vec3 at_mm, rlv_vec3 normal, rlv_vec3 centre_mm)
{
    const rlv_vec3 turn = rlv_vec3_cross(rlv_vec3_sub(at_mm, centre_mm), normal);
    const double six[6] = {normal.x, normal.y, normal.z, turn.x, turn.y, turn.z};
    memcpy(change, six, sizeof six);
}

double rlv_gap_variance(const double change[6], const rlv_pose* pose)
{
    double sum = 0.0;
    for (int i = 0; i < 6; i++)
        for (int j = 0; j < 6; j++)
            sum += change[i] * change[j] * pose->covariance[7 * i + j];
    return sum;
}

void rlv_gap_volume(rlv_interval* volume_mm3, double* place_sd_mm, const rlv_gap_widths* widths,
                    const rlv_gap_part part[2], const rlv_pose* to_block, rlv_vec3 joint_normal, double noise_mm)
{
    prism sum = {0};
    rlv_pose place[2] = {rlv_pose_identity(), *to_block};
    place[0].centre_mm = to_block->centre_mm;
    const rlv_vec3 out[2] = {
        joint_normal, rlv_mat3_apply(rlv_mat3_transpose(to_block->rotation), rlv_vec3_scale(joint_normal, -1.0))};
    for (int k = 0; k < 2; k++)
        add_prisms(&sum, &part[k], widths->thick[k], out[k], &place[k], joint_normal);
    const double variance = rlv_gap_variance(sum.change, to_block),
                 noise = noise_mm * sqrt(RLV_GAP_NOISE_MM2 * sum.area_mm2), rim = rim_share * sum.rim_mm3,
                 half = RLV_HALF_95 * sqrt(variance + noise * noise + rim * rim);
    const double volume = sum.volume_mm3 + sum.rim_mm3;
    *volume_mm3 = (rlv_interval){volume, volume - half, volume + half};
    *place_sd_mm = sum.area_mm2 > 0.0 ? sqrt(variance) / sum.area_mm2 : NAN;
}
