/// The truth of a demo as JSON: what each stage took off, what it held and weighed, where every scan lies, and where
/// every scute belongs.

#ifndef RLV_SAMPLES_TRUTH_H
#define RLV_SAMPLES_TRUTH_H

#include "book.h"
#include "demo_specimen.h"
#include "mesh.h"
#include "placed.h"
#include "pose.h"
#include "scan.h"

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

/// All that the truth is told from.
typedef struct truth_plan
{
    const demo_specimen* specimen;
    const placed_points* placed;
    const demo_book* book;
    truth_scan scan[SPECIMEN_STAGES];
    truth_scan slab;    ///< the slab, where it was before it came off
    double support_mm3; ///< of the field's support; 0: there is none
    uint64_t seed;
} truth_plan;

/// The whole truth as a new object, owned by the caller (json_decref); NULL without memory.
json_t* truth_json(const truth_plan* plan);

#endif
