/// The truth of a demo as JSON: what each stage took off, where every scan lies, and where every scute belongs.

#ifndef RLV_SAMPLES_TRUTH_H
#define RLV_SAMPLES_TRUTH_H

#include "mesh.h"
#include "pose.h"
#include "scan.h"
#include "specimen.h"

#include <jansson.h>

/// One scan of a stage, as it was made.
typedef struct truth_scan
{
    char file[32]; ///< of the mesh, within the demo's folder
    size_t triangles;
    double true_volume_mm3; ///< of the stage's mesh before noise, warp and scale error
    scan_noise noise;
    rlv_pose pose; ///< carries the scan into the true frame
} truth_scan;

/// The whole truth as a new object, owned by the caller (json_decref); NULL without memory.
json_t* truth_json(const demo_specimen* specimen, const truth_scan scan[SPECIMEN_STAGES], uint64_t seed);

#endif
