#include "open3d_align.h"

#include "python.h"

#include <stdio.h>

static bool give(const hand_over* folder, const rlv_mesh* before, const rlv_mesh* after)
{
    return hand_over_put(folder, "before_position", before->position_mm, 12 * before->vertex_count) &&
           hand_over_put(folder, "before_corner", before->corner, 12 * before->triangle_count) &&
           hand_over_put(folder, "after_position", after->position_mm, 12 * after->vertex_count) &&
           hand_over_put(folder, "after_corner", after->corner, 12 * after->triangle_count);
}

/// Positions were handed over about each mesh's own origin.
static rlv_pose pose_between(const double matrix[16], const rlv_mesh* before, const rlv_mesh* after)
{
    rlv_pose pose = rlv_pose_identity();
    for (int i = 0; i < 9; i++)
        pose.rotation.m[i] = matrix[4 * (i / 3) + i % 3];
    const rlv_vec3 carried = rlv_pose_apply(&pose, after->origin_mm);
    pose.translation_mm =
        rlv_vec3_sub(rlv_vec3_add(rlv_vec3_of(matrix[3], matrix[7], matrix[11]), before->origin_mm), carried);
    return pose;
}

bool open3d_align(rlv_pose* pose, timing* took, const char* python, const rlv_mesh* before, const rlv_mesh* after,
                  char* trouble, size_t room)
{
    hand_over folder;
    double matrix[16];
    if (!hand_over_open(&folder))
    {
        snprintf(trouble, room, "no folder to hand over in");
        return false;
    }
    bool done = give(&folder, before, after);
    if (!done)
        snprintf(trouble, room, "no room to hand over in");
    done = done && hand_over_run(&folder, python, "open3d_align.py", 1, trouble, room);
    if (done && !(hand_over_take(&folder, "transform", matrix, sizeof matrix) &&
                  hand_over_take(&folder, "times", took, sizeof *took)))
    {
        snprintf(trouble, room, "open3d_align.py left no whole answer");
        done = false;
    }
    if (done)
        *pose = pose_between(matrix, before, after);
    hand_over_close(&folder);
    return done;
}
