/// The gap between two faces in one place of the piece: widths, volume, contacts. Internal to rejoin.
///
/// Both parts are sampled (sampling.h); from each sample of a face a ray goes along the local fracture normal, either
/// way, to the other face.

#ifndef RLV_REJOIN_GAP_H
#define RLV_REJOIN_GAP_H

#include "cubes.h"
#include "rejoin.h"
#include "rejoin_fit.h"
#include "sampling.h"
#include "tree.h"

#define RLV_GAP_NOISE_MM2 25.0 ///< over which the noise of a scan is correlated: 2 pi l^2, l = 2 mm
#define RLV_GAP_SPOT_SHARE 0.6 ///< sd of a spot's mean, as a share of a single width's

/// One part as the gap needs it. Everything is in its local coordinates.
typedef struct rlv_gap_part
{
    const rlv_mesh* mesh;
    const rlv_tree* tree;
    const uint8_t* face;    ///< one a triangle: 1 where it is of the face
    const uint8_t* outline; ///< one a triangle: 1 where it is of the face, of its rim, or next to these
    const rlv_sampling* sampling;
    const uint8_t* bone; ///< one a sample of the part: 1 where it is bone; NULL: not known
    size_t count;        ///< samples of what is outlined
    uint32_t* sample;    ///< which these are
    uint32_t* of;        ///< one a sample of the part: its place among them, or RLV_TREE_NONE
    uint8_t* rim;        ///< count: 1 where it is none of the face, and has no width
    float* at;           ///< 3 * count
    float* normal;       ///< 3 * count: the local fracture normal, outward
    float* area_mm2;     ///< count
    float* vector_mm2;   ///< 3 * count: a third of the area vectors of what is outlined around it
    rlv_cubes cells;     ///< of these samples, for averages over spots
} rlv_gap_part;

/// Gather a part's face, marked one a triangle and one a sample, and what is outlined, one a triangle, into a zeroed
/// `part`; what is given must outlive it. Free with rlv_gap_part_free.
rlv_status rlv_gap_part_take(rlv_gap_part* part, const rlv_mesh* mesh, const rlv_tree* tree, const uint8_t* face,
                             const uint8_t* outline, const rlv_sampling* sampling, const uint8_t* sample_face,
                             rlv_error* error);
void rlv_gap_part_free(rlv_gap_part* part);

/// Whether the sample at a place among what is outlined is bone.
static inline bool rlv_gap_is_bone(const rlv_gap_part* part, size_t i)
{
    return part->bone != NULL && part->bone[part->sample[i]] != 0;
}

/// Means of `size` numbers a sample, 3 at most (weighted by area, NaN left out), over the spot around each sample; `to`
/// is NaN where there is none.
rlv_status rlv_gap_average(float* to, const rlv_gap_part* part, size_t size, const float* value, rlv_error* error);

/// The widths over both faces in one place.
typedef struct rlv_gap_widths
{
    float* raw[2];   ///< one a sample of block and piece: the width; NaN where there is no partner, and on the rim
    float* spot[2];  ///< averaged over the spot
    float* thick[2]; ///< along the joint's mean normal, on the rim too
} rlv_gap_widths;

/// Measure the widths where `to_block` carries the piece's local coordinates into the block's, into zeroed `widths`.
rlv_status rlv_gap_measure(rlv_gap_widths* widths, const rlv_gap_part part[2], const rlv_pose* to_block,
                           rlv_vec3 joint_normal, rlv_error* error);
void rlv_gap_widths_free(rlv_gap_widths* widths);

/// Gap fill: the signed volume over the whole outline, as the prism sum along the joint's mean normal from both sides.
/// Where only one face is left along it, the gap ends in a slope from rim to rim, half as thick as it is beside.
/// `place_sd_mm` is told too: how far apart the faces may lie for the place alone.
void rlv_gap_volume(rlv_interval* volume_mm3, double* place_sd_mm, const rlv_gap_widths* widths,
                    const rlv_gap_part part[2], const rlv_pose* to_block, rlv_vec3 joint_normal, double noise_mm);

/// How a width along a normal changes with the six of the covariance of the piece's place, about `centre_mm`; all in
/// the block's coordinates.
void rlv_gap_change(double change[6], rlv_vec3 at_mm, rlv_vec3 normal, rlv_vec3 centre_mm);

/// The same of a sample's width along its own normal; those of the piece are numbered after the block's.
void rlv_gap_width_change(double change[6], const rlv_gap_part part[2], size_t index, const rlv_pose* to_block);

/// The variance of a number that changes with the six of a pose's covariance.
double rlv_gap_variance(const double change[6], const rlv_pose* pose);

/// The widths' median, 95 % and greatest with their intervals, and the areas.
rlv_status rlv_gap_tell_widths(rlv_rejoin_gap* gap, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                               const rlv_pose* to_block, double place_sd_mm, double noise_mm, bool measured,
                               rlv_error* error);

/// The least width over bone, and where it is; not a number where no bone lies on the joint. As rlv_gap_tell.
rlv_status rlv_gap_tell_bone(rlv_rejoin_gap* gap, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                             const rlv_pose* to_block, double noise_mm, bool measured, rlv_error* error);

/// Whether bone is the first to touch, where `gap` was told of these widths.
rlv_rejoin_bone_touch rlv_gap_bone_touch(const rlv_rejoin_gap* gap, const rlv_gap_widths* widths,
                                         const rlv_gap_part part[2]);

/// What the widths come to. `to_block` holds the covariance of the place; `noise_mm` is the sd of a single width,
/// `measured` on these scans or supposed.
rlv_status rlv_gap_tell(rlv_rejoin_gap* gap, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                        const rlv_pose* to_block, rlv_vec3 joint_normal, double noise_mm, bool measured,
                        rlv_error* error);

/// The width at each vertex of a part, NaN off the joint, into a block that the caller frees.
rlv_status rlv_gap_map(float** map, const rlv_gap_part* part, const float* spot, rlv_error* error);

/// How much of the block's relief the piece repeats, 0 to 1: 1 less the median, over patches of the face, of the
/// widths' variance over the heights', each about its own plane. Two bulges that nest repeat the block's shape, but no
/// relief.
/// `relief_mm` is the root of the median of the heights' variance.
rlv_status rlv_gap_fit(double* fit, double* relief_mm, const rlv_gap_widths* widths, const rlv_gap_part* block,
                       rlv_vec3 joint_normal, rlv_error* error);

/// Spots that stand nearer than this touch: three sds of what noise alone makes of the mean of a spot.
static inline double rlv_gap_touching_mm(double noise_mm)
{
    return 3.0 * RLV_GAP_SPOT_SHARE * noise_mm;
}

/// Shares of the block's side of the joint, by what `noise_mm` explains: the first three are together 1, or 0 where
/// there is no joint.
typedef struct rlv_gap_shares
{
    double touching, open, pressed; ///< pressed: rock would lie in rock
    double deep;                    ///< of all, pressed by more than the fit takes for a stuck grain
    double meeting;                 ///< of all, where the widths are below zero, noise or not
} rlv_gap_shares;
rlv_gap_shares rlv_gap_shares_of(const rlv_gap_widths* widths, const rlv_gap_part* block, double noise_mm);

/// What touches first, hardest first, the volume that presses, and the shares of the joint that touch and are worn;
/// fills these of `rejoin`.
rlv_status rlv_gap_contacts(rlv_rejoin* rejoin, const rlv_gap_widths* widths, const rlv_gap_part part[2],
                            const rlv_pose* to_block, double noise_mm, rlv_error* error);

#endif
