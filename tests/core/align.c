#include "align.h"
#include "rock.h"
#include "scan.h"

#include <criterion/criterion.h>

/// Greatest distance between where two poses put the vertices of a mesh.
static double farthest_mm(const rlv_mesh* mesh, const rlv_pose* a, const rlv_pose* b)
{
    double worst = 0.0;
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        rlv_vec3 p = rlv_mesh_vertex(mesh, i);
        worst = fmax(worst, rlv_vec3_length(rlv_vec3_sub(rlv_pose_apply(a, p), rlv_pose_apply(b, p))));
    }
    return worst;
}

/// A block, and what is left of it after a slab and a pit were taken, both as scans; `truth` carries AFTER home.
static void make_pair(rlv_mesh* before, rlv_mesh* after, rlv_pose* truth, uint64_t seed)
{
    rlv_error error = {0};
    rock stage = {.half_axes_mm = {110, 85, 65}, .relief_mm = 3, .relief_length_mm = 60, .facets = 0.4, .seed = seed};
    cr_assert_eq(rock_mesh(before, &stage, 60000, 2 * seed + 1, &error), RLV_DONE, "%s", error.what);
    stage.cut_count = 2;
    stage.cut[0] = (rock_cut){.plane = true, .direction = {0, 0, 1}, .distance_mm = 40};
    stage.cut[1] = (rock_cut){.direction = {1, 0, 0}, .depth_mm = 6, .half_angle_rad = 0.5, .soft_mm = 4};
    cr_assert_eq(rock_mesh(after, &stage, 50000, 2 * seed + 2, &error), RLV_DONE, "%s", error.what);
    scan_noise noise = {.noise_sd_mm = 0.1, .noise_length_mm = 2, .seed = 2 * seed + 1};
    cr_assert_eq(scan_mesh(before, &noise, NULL, &error), RLV_DONE, "%s", error.what);
    noise = (scan_noise){.noise_sd_mm = 0.1, .noise_length_mm = 2, .any_pose = true, .place_mm = 500, .seed = 2 * seed};
    cr_assert_eq(scan_mesh(after, &noise, truth, &error), RLV_DONE, "%s", error.what);
}

Test(align, carved_block_comes_home_from_any_attitude)
{
    for (uint64_t seed = 1; seed <= 3; seed++)
    {
        rlv_mesh before = {0}, after = {0};
        rlv_pose truth;
        rlv_error error = {0};
        rlv_tree* tree = NULL;
        make_pair(&before, &after, &truth, seed);
        cr_assert_eq(rlv_tree_build(&tree, &before, &error), RLV_DONE);
        rlv_alignment found;
        rlv_align_options options = {.seed = 1};
        cr_assert_eq(rlv_align(&found, &before, tree, &after, &options, &error), RLV_DONE, "%s", error.what);
        cr_expect(!found.ambiguous, "%s", found.reason);
        // The aim is 1 mm at the far corner; a pose from 10,000 patches of 0.14 mm is some hundredths off.
        cr_expect_lt(farthest_mm(&after, &found.pose, &truth), 0.2);
        rlv_tree_free(tree);
        rlv_mesh_free(&before);
        rlv_mesh_free(&after);
    }
}
