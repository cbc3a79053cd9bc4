#include "tint.h"

#include <math.h>

tint tint_mixed(tint a, tint b, double share)
{
    return (tint){a.r + (b.r - a.r) * share, a.g + (b.g - a.g) * share, a.b + (b.b - a.b) * share};
}

tint tint_lit(tint a, double light)
{
    return (tint){a.r * light, a.g * light, a.b * light};
}

uint8_t tint_byte(double value)
{
    return (uint8_t)fmin(fmax(value + 0.5, 0.0), 255.0);
}

tint tint_matrix(const demo_block* block, rlv_vec3 at, double fresh, double skin)
{
    block_lamina lamina = block_lamina_at(block, at);
    double band = (double)(noise_hash(block->seed + 40, (uint64_t)(lamina.number + 1000)) >> 11) * 0x1p-53;
    double cloud = noise_smooth_at(block->seed + 41, 14.0, at), speck = noise_smooth_at(block->seed + 42, 1.3, at);
    tint weathered = tint_mixed((tint){158, 136, 104}, (tint){186, 165, 130}, band);
    tint broken = tint_mixed((tint){196, 184, 158}, (tint){213, 203, 180}, band);
    tint stained = {160, 140, 112};
    tint own = tint_mixed(tint_mixed(weathered, broken, fresh), stained, 0.75 * skin * fresh);
    return tint_lit(own, 1.0 + 0.035 * cloud + 0.025 * speck);
}

tint tint_joint(const demo_block* block, rlv_vec3 at)
{
    double cloud = noise_smooth_at(block->seed + 45, 8.0, at);
    tint own = tint_mixed(tint_matrix(block, at, 0.6, 0.0), (tint){168, 122, 74}, 0.45);
    return tint_lit(own, 1.0 + 0.06 * cloud);
}
