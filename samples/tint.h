/// Colours of the demo's rock and bone, as they are under even light.

#ifndef RLV_SAMPLES_TINT_H
#define RLV_SAMPLES_TINT_H

#include "block.h"

typedef struct tint
{
    double r, g, b;
} tint;

tint tint_mixed(tint a, tint b, double share);
tint tint_lit(tint a, double light);
uint8_t tint_byte(double value);

/// Marl: banded by its laminae; weathered on the field's surface, paler where it is fresh, stained where the skin was.
tint tint_matrix(const demo_block* block, rlv_vec3 at, double fresh, double skin);

/// Marl along a joint: stained by what water brought.
tint tint_joint(const demo_block* block, rlv_vec3 at);

#endif
