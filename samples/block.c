#include "block.h"

#include "scan.h"

#include <math.h>

#define LAMINA_MM 4.2      ///< mean thickness of a lamina
#define BOX_POWER 4.2      ///< of the superellipse that the outline departs from
#define TOP_RIM_MM 11.0    ///< height of the broken top over the bedding along the rim,
#define TOP_MIDDLE_MM 48.0 ///< and over the middle
#define BASE_MM 4.0

demo_block block_make(rlv_vec3 bedding_normal, double bedding_mm, uint64_t seed)
{
    demo_block block = {
        .half_mm = {190.0, 150.0}, .bedding_normal = bedding_normal, .bedding_mm = bedding_mm, .seed = seed};
    block.top = noise_waves_fractal(2.6, 130.0, 5, 0.55, noise_hash(seed, 1));
    block.side = noise_waves_fractal(1.7, 80.0, 5, 0.6, noise_hash(seed, 2));
    block.base = noise_waves_fractal(2.0, 110.0, 5, 0.55, noise_hash(seed, 3));
    scan_random random = {noise_hash(seed, 4)};
    for (int i = 0; i < 8; i++)
        for (int k = 0; k < 2; k++)
            block.lobe[i][k] = 0.011 * scan_random_normal(&random) / (1.0 + 0.25 * i);
    return block;
}

double block_radius_mm(const demo_block* block, double bearing_rad)
{
    double c = fabs(cos(bearing_rad)) / block->half_mm[0], s = fabs(sin(bearing_rad)) / block->half_mm[1];
    double radius = pow(pow(c, BOX_POWER) + pow(s, BOX_POWER), -1.0 / BOX_POWER), lobes = -0.015;
    for (int i = 0; i < 8; i++)
        lobes += block->lobe[i][0] * cos((i + 2) * bearing_rad) + block->lobe[i][1] * sin((i + 2) * bearing_rad);
    return radius * (1.0 + lobes);
}

double block_inside_mm(const demo_block* block, double x_mm, double y_mm)
{
    // Along the ray from the middle, shortened by the slant of a rounded box's sides to it (0.8 to 1).
    return 0.88 * (block_radius_mm(block, atan2(y_mm, x_mm)) - sqrt(x_mm * x_mm + y_mm * y_mm));
}

static double above_bedding(const demo_block* block, rlv_vec3 at)
{
    const rlv_vec3 n = block->bedding_normal;
    return at.z - block->bedding_mm + (n.x * at.x + n.y * at.y) / n.z;
}

/// Lower boundary of a lamina over the bedding.
static double lamina_floor_mm(const demo_block* block, int64_t number)
{
    double share = (double)(noise_hash(block->seed, (uint64_t)(number + 1000)) >> 11) * 0x1p-53;
    return LAMINA_MM * ((double)number + 0.75 * share);
}

block_lamina block_lamina_at(const demo_block* block, rlv_vec3 at_mm)
{
    double height = above_bedding(block, at_mm);
    int64_t number = (int64_t)floor(height / LAMINA_MM);
    if (height < lamina_floor_mm(block, number))
        number--;
    double low = lamina_floor_mm(block, number), high = lamina_floor_mm(block, number + 1);
    return (block_lamina){number, (height - low) / (high - low)};
}

static double smooth_step(double low, double high, double x)
{
    double t = fmin(fmax((x - low) / (high - low), 0.0), 1.0);
    return t * t * (3.0 - 2.0 * t);
}

double block_top_mm(const demo_block* block, double x_mm, double y_mm)
{
    double inside = block_inside_mm(block, x_mm, y_mm);
    double plane =
        block->bedding_mm - (block->bedding_normal.x * x_mm + block->bedding_normal.y * y_mm) / block->bedding_normal.z;
    double dome = TOP_RIM_MM + (TOP_MIDDLE_MM - TOP_RIM_MM) * smooth_step(-25.0, 75.0, inside);
    double height = plane + dome + noise_waves_at(&block->top, rlv_vec3_of(x_mm, y_mm, 0.0));
    // Broken along the bedding: wide treads, short risers.
    block_lamina lamina = block_lamina_at(block, rlv_vec3_of(x_mm, y_mm, height));
    double low = lamina_floor_mm(block, lamina.number), high = lamina_floor_mm(block, lamina.number + 1);
    double stepped = plane + low + (high - low) * (0.22 * lamina.share + 0.78 * smooth_step(0.55, 1.0, lamina.share));
    double chipped_edge = 9.0 * exp(-fmax(inside, -2.0) / 5.0);
    return 0.15 * height + 0.85 * stepped - chipped_edge;
}

double block_base_mm(const demo_block* block, double x_mm, double y_mm, double inside_mm)
{
    double rounded = 14.0 * (1.0 - smooth_step(-8.0, 34.0, inside_mm));
    return BASE_MM + rounded + noise_waves_at(&block->base, rlv_vec3_of(x_mm, y_mm, 50.0));
}

static double ledge_mm(const demo_block* block, int64_t number, double x_mm, double y_mm)
{
    return 1.35 * noise_smooth_at(block->seed, 26.0, rlv_vec3_of(x_mm, y_mm, 400.0 * (double)number));
}

double block_side_mm(const demo_block* block, double x_mm, double y_mm, double z_mm, double share)
{
    const rlv_vec3 at = {x_mm, y_mm, z_mm};
    block_lamina lamina = block_lamina_at(block, at);
    double ledge = ledge_mm(block, lamina.number, x_mm, y_mm);
    double next = ledge_mm(block, lamina.number + 1, x_mm, y_mm);
    ledge += (next - ledge) * smooth_step(0.82, 1.0, lamina.share);
    double bulge = 5.0 * sin(M_PI * fmin(1.0, 1.15 * share)), drawn_in = 10.0 * smooth_step(0.75, 1.0, share);
    return smooth_step(0.0, 0.05, share) * (ledge + noise_waves_at(&block->side, at) + bulge - drawn_in);
}
