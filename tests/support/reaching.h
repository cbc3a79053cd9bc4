/// How far a cut reaches and how deep, known from noise-free meshes, beside what a measured change tells of it.

#ifndef RLV_TESTS_REACHING_H
#define RLV_TESTS_REACHING_H

#include "carving.h"
#include "change.h"

typedef struct reaching
{
    bool measured; ///< false where no region was found, or the cut fell into several
    rlv_change_region region;
    double area_mm2, mean_depth_mm, max_depth_mm; ///< truth; the area where the new surface lies further off than the
                                                  ///< limit that was told
} reaching;

/// Draw, carve, scan and measure: one trial, from its seed.
reaching reach_once(uint64_t seed, double shallowest_mm, size_t triangles);

#endif
