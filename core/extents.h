/// Extents: over what area a region of change went deeper than can be told from noise, and how deep at most.
///
/// **Area.** A change that fades out has no edge; what can be told is the area that went deeper than some depth L: the
/// detection limit of the smallest patch or, where that is less, half of the region's mean depth. With the distances d
/// of the samples of one stage from the other, their areas a, and the field's error m along the region's rim, which is
/// predicted with its sd (misfit.h), it is
///     A(L) = sum of a over d - m > L, less the sum of a over d - m < -L.
/// What lies still beside the cut strays past either level alike, so that noise cancels on the mean. A step of depth D
/// is bridged by triangles of about the samples' spacing h, whose slope passes L short of the step by h (1/2 - L / D);
/// that much, times the rim's length P, is taken off as far as the slope at the rim, L P / (A(L) - A(2 L)), is as steep
/// as such a bridge's, D / h. Around A stand
///   - the field's error: A(L + 1.96 sd) and A(L - 1.96 sd), so that an even slope counts for more than a step;
///   - what was taken off for a bridge, as likely anywhere from nothing to twice that;
///   - noise of sd s and correlation length l: along the rim it moves the edge by s / slope, alike over sqrt(2 pi) l;
///     with E = (A(L - s) - A(L + s)) / 2 s, which is P / slope, the variance is s^2 E^2 sqrt(2 pi) l / P;
///   - the tessellations: each bridges the edge in its own way, alike along all of it, which moves it by up to a sixth
///   of
///     h either way, each place as likely (found from the same rocks meshed anew);
///   - the sampling: a sample is taken whole or not at all, wherever the edge crosses what it stands for; were that
///     even and by chance, each of the P / h samples along the rim gives h^4 / 6.
/// A piece that came off or went back as a whole is what its mask says: its samples' areas, to the sampling.
///
/// **Greatest depth.** The greatest of many noisy depths is too great. Depths are averaged over cells of the finest
/// scale that regions are sought at; each cell's mean has a noise of sd s, from the samples' noise and its correlation.
/// A cell and its neighbours share a mean; how far cells stray from that by more than noise is the floor's own
/// roughness, r, and a cell is drawn to the shared mean by s^2 / (r^2 + s^2) (B. Efron, C. Morris, J. Am. Stat. Assoc.
/// 70, 1975). With the cells so told, each with its own sd, as many of them independent as neighbours leave, the
/// distribution of the greatest is the product of theirs, with a median and the ends of 95 % of it. Roughness itself
/// cannot be told from noise well: what is told lies half-way between a floor as rough as it looks and an even one, and
/// the interval holds both. A cell of side S hides its peak: where the floor is a cap, kappa r^2 / 2 below it, the
/// cell's mean is short by kappa S^2 / 12, by as much again since its middle is not the peak's, and at most by kappa
/// S^2 / 3; the mean that it shares with its eight neighbours is short by 2 kappa S^2 / 3 more. So a quarter of what
/// parts the deepest cell from its shared mean is added, give or take 0.2 of it.

#ifndef RLV_EXTENTS_H
#define RLV_EXTENTS_H

#include "depths.h"
#include "error.h"
#include "interval.h"
#include "regions.h"

/// What is known of a region before its area is.
typedef struct rlv_rim
{
    double misfit_mm, misfit_sd_mm; ///< of the field along the rim: measured less true depth, on the mean
    double from_mm;                 ///< L
    double depth_mm;                ///< D: the region's mean depth, by and large
} rlv_rim;

/// The areas of all regions into `area_mm2` (one a region, as `rim`), on the stage whose depths and whose labels and
/// seeds (rlv_regions.before and before_seed, or AFTER's) are given; NaN where that stage shows none of a region.
rlv_status rlv_extents_area(rlv_interval* area_mm2, const rlv_regions* regions, rlv_stage stage,
                            const rlv_depths* depths, const uint16_t* label, const uint8_t* seed, const rlv_rim* rim,
                            rlv_error* error);

/// The greatest depth of a region, a magnitude, without what the field did there.
typedef struct rlv_deepest
{
    rlv_interval depth_mm;
    float place_mm[3];  ///< in the deepest cell, in BEFORE's local coordinates
    double greatest_mm; ///< what its mean was, with noise
} rlv_deepest;

/// The greatest depths of all regions (one a region), by the labels and seeds of one stage; `depth_mm.value` is NaN
/// where that stage shows none of a region.
rlv_status rlv_extents_deepest(rlv_deepest* deepest, const rlv_regions* regions, const rlv_depths* depths,
                               const uint16_t* label, const uint8_t* seed, rlv_error* error);

#endif
