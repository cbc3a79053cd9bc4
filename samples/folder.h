/// The demo as a specimen's folder: specimen.yaml, points.csv and elements.csv beside the meshes, as a workshop would
/// have written them. What is true of them is truth.json's.

#ifndef RLV_SAMPLES_FOLDER_H
#define RLV_SAMPLES_FOLDER_H

#include "book.h"
#include "demo_specimen.h"
#include "placed.h"

#define FOLDER_SLAB "slab A" ///< id of the slab among the pieces

/// All that the record is written from.
typedef struct folder_plan
{
    const demo_specimen* specimen;
    const placed_points* placed;
    const demo_book* book;
    rlv_pose to_true[SPECIMEN_STAGES]; ///< carries each stage's scan into the true frame
    double slab_scale_sd;              ///< of the slab's scan
    bool support;                      ///< the field's mesh has an object `support`
} folder_plan;

/// North in the true frame; up is its z.
#define FOLDER_NORTH ((rlv_vec3){0.342020143, 0.939692621, 0.0})

/// Write the three files into a folder that is there.
rlv_status folder_write(const folder_plan* plan, const char* folder, rlv_error* error);

#endif
