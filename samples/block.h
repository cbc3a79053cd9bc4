/// The field block that the fish lies in: its outline in plan, its broken sides and base, and the laminae of the marl.
///
/// The sides begin at the outline, where the upper surface ends, and everything that is done to the block in
/// preparation stays inside a rim along it: so what is taken off is the volume between two upper surfaces.

#ifndef RLV_SAMPLES_BLOCK_H
#define RLV_SAMPLES_BLOCK_H

#include "noise.h"
#include "vector.h"

#include <stdint.h>

typedef struct demo_block
{
    double half_mm[2]; ///< of the outline along x and y
    rlv_vec3 bedding_normal;
    double bedding_mm; ///< height of the fish's bedding plane at the middle
    uint64_t seed;
    noise_waves top;   ///< relief of the broken top,
    noise_waves side;  ///< of the sides,
    noise_waves base;  ///< and of the base
    double lobe[8][2]; ///< how the outline departs from a rounded box
} demo_block;

/// The block of a seed.
demo_block block_make(rlv_vec3 bedding_normal, double bedding_mm, uint64_t seed);

/// Distance of the outline from the middle, by bearing in plan.
double block_radius_mm(const demo_block* block, double bearing_rad);

/// About how far inside the outline a place is; negative outside.
double block_inside_mm(const demo_block* block, double x_mm, double y_mm);

/// Height of the field's upper surface, as broken along the bedding.
double block_top_mm(const demo_block* block, double x_mm, double y_mm);

/// Height of the base, and of its edge where `inside_mm` is 0.
double block_base_mm(const demo_block* block, double x_mm, double y_mm, double inside_mm);

/// How far a side stands out of the outline at a height: broken ledges of the laminae, and relief. 0 at the top edge
/// (`share` 0), drawn in towards the base's (`share` 1).
double block_side_mm(const demo_block* block, double x_mm, double y_mm, double z_mm, double share);

/// Where in the laminae a height above the bedding lies: the lamina's number, and how far up it (0 to 1).
typedef struct block_lamina
{
    int64_t number;
    double share;
} block_lamina;
block_lamina block_lamina_at(const demo_block* block, rlv_vec3 at_mm);

#endif
