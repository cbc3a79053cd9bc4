/// Open3D's alignment of two meshes, by matching features and refining, through a script in Python.

#ifndef RLV_BENCH_OPEN3D_ALIGN_H
#define RLV_BENCH_OPEN3D_ALIGN_H

#include "mesh.h"
#include "pose.h"
#include "timing.h"

#include <stdbool.h>
#include <stddef.h>

/// The motion that carries AFTER into BEFORE's frame, and how long the library took. False where it fell, with the
/// trouble in words. `python` is python_with("open3d").
bool open3d_align(rlv_pose* pose, timing* took, const char* python, const rlv_mesh* before, const rlv_mesh* after,
                  char* trouble, size_t room);

#endif
