#include "depths.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Points of a profile along straight runs, `cuts` to a run.
static size_t profile(double (*out)[2], size_t count, double (*corner)[2], size_t cuts)
{
    size_t n = 0;
    for (size_t i = 0; i + 1 < count; i++)
        for (size_t k = 0; k < cuts; k++, n++)
            for (size_t j = 0; j < 2; j++)
                out[n][j] = corner[i][j] + (corner[i + 1][j] - corner[i][j]) * (double)k / (double)cuts;
    out[n][0] = corner[count - 1][0];
    out[n][1] = corner[count - 1][1];
    return n + 1;
}

/// Depths at the samples of BEFORE and AFTER, which lie in one frame; `after_part` is one a triangle of AFTER, or NULL.
static void measure(rlv_depths depths[2], rlv_mesh mesh[2], const uint8_t* after_part)
{
    rlv_sampling sampling[2] = {0};
    rlv_tree* tree[2] = {NULL, NULL};
    rlv_error error = {0};
    const rlv_pose stay = rlv_pose_identity();
    for (size_t i = 0; i < 2; i++)
    {
        cr_assert_eq(rlv_sampling_take(&sampling[i], &mesh[i], i == 1 ? after_part : NULL, 100000, &error), RLV_DONE,
                     "%s", error.what);
        cr_assert_eq(rlv_tree_build(&tree[i], &mesh[i], &error), RLV_DONE, "%s", error.what);
    }
    const rlv_stage before = {&mesh[0], tree[0], &sampling[0], NULL}, after = {&mesh[1], tree[1], &sampling[1], NULL};
    cr_assert_eq(rlv_depths_measure(&depths[0], &depths[1], before, after, &stay, &error), RLV_DONE, "%s", error.what);
    for (size_t i = 0; i < 2; i++)
    {
        rlv_sampling_free(&sampling[i]);
        rlv_tree_free(tree[i]);
    }
}

Test(depths, of_an_overhanging_boss_that_was_taken_off_are_positive_though_the_nearest_point_lies_before_its_flank)
{
    // Turned about the axis: a disc with a boss that widens upwards, so that its flank looks down on the disc that is
    // left. Seen from the flank the nearest point of AFTER is straight below, on the outward side.
    double with_boss[6][2] = {{0, 0}, {60, 0}, {60, 20}, {10, 20}, {30, 40}, {0, 40}};
    double without[4][2] = {{0, 0}, {60, 0}, {60, 20}, {0, 20}};
    double rz[64][2];
    rlv_mesh mesh[2] = {0};
    rlv_depths depths[2] = {0};
    shape_add_turned(&mesh[0], profile(rz, 6, with_boss, 10), (const double(*)[2])rz, 90, false);
    shape_add_turned(&mesh[1], profile(rz, 4, without, 10), (const double(*)[2])rz, 90, false);
    measure(depths, mesh, NULL);
    size_t flank = 0;
    for (size_t i = 0; i < depths[0].count; i++)
    {
        double z = (double)depths[0].position_mm[3 * i + 2], x = (double)depths[0].position_mm[3 * i];
        double radius = hypot(x, (double)depths[0].position_mm[3 * i + 1]);
        // Positions are in the mesh's local frame, whose origin is zero here. Samples half a spacing from AFTER say
        // nothing of a side.
        if (radius > 30.0 + 1e-3 || z < 24.0)
            continue;
        flank++;
        // The whole distance to AFTER's flat top, or its part along the normal where that is half of it or more (the
        // rule of the header).
        double depth = (double)depths[0].depth_mm[i];
        cr_assert(depth > 0.5 * (z - 20.0) - 1e-4 && depth < z - 20.0 + 1e-4, "%g at radius %g, height %g", depth,
                  radius, z);
    }
    cr_assert_gt(flank, 500);
    for (size_t i = 0; i < depths[1].count; i++)
        cr_assert_geq(depths[1].depth_mm[i], -1e-4f, "AFTER's own samples under the boss");
    for (size_t i = 0; i < 2; i++)
    {
        rlv_depths_free(&depths[i]);
        rlv_mesh_free(&mesh[i]);
    }
}

Test(depths, under_a_piece_that_is_back_all_of_its_joint_is_the_pieces_though_its_normal_leads_out_beside_it)
{
    // Turned about the axis: a disc with a lid, which lies in a hollow whose floor falls towards the rim. From there
    // the normal leads out through the disc's side, and that is nearest too; the lid is straight above. The underside
    // lies a trifle inside the other stage, as noise would have it: it is not under the lid.
    double open[6][2] = {{60, 0.05}, {60, 20}, {58, 20}, {57, 4}, {45, 14}, {0, 14}};
    double with_lid[3][2] = {{60, 0}, {60, 20}, {0, 20}};
    double rz[128][2];
    rlv_mesh mesh[2] = {0};
    rlv_depths depths[2] = {0};
    double all[7][2] = {{0, 0.05}};
    memcpy(all + 1, open, sizeof open);
    shape_add_turned(&mesh[0], profile(rz, 7, all, 10), (const double(*)[2])rz, 90, false);
    all[0][1] = 0.0;
    memcpy(all + 1, with_lid, sizeof with_lid);
    shape_add_turned(&mesh[1], profile(rz, 4, all, 30), (const double(*)[2])rz, 90, false);
    uint8_t* part = calloc(mesh[1].triangle_count, 1);
    for (size_t t = 0; t < mesh[1].triangle_count; t++)
    {
        bool lid = true;
        for (size_t k = 0; k < 3; k++)
        {
            const float* at = mesh[1].position_mm + 3 * (size_t)mesh[1].corner[3 * t + k];
            lid = lid && (double)at[2] > 20.0 - 1e-3 && hypot((double)at[0], (double)at[1]) < 58.0 + 1e-3;
        }
        part[t] = lid ? RLV_DEPTHS_WHOLE : 0;
    }
    measure(depths, mesh, part);
    size_t floor = 0, under = 0;
    for (size_t i = 0; i < depths[0].count; i++)
    {
        const float* at = depths[0].position_mm + 3 * i;
        const double radius = hypot((double)at[0], (double)at[1]), z = (double)at[2];
        if (radius < 55.0 && z < 1.0)
        {
            under++;
            cr_expect_eq(depths[0].part[i], 0, "%.1f mm out on the underside: part %d", radius, (int)depths[0].part[i]);
        }
        if (radius > 56.0 || z < 3.0)
            continue;
        floor++;
        cr_expect_eq(depths[0].part[i], RLV_DEPTHS_WHOLE, "%.1f mm out, %.1f up: part %d", radius, z,
                     (int)depths[0].part[i]);
    }
    cr_expect_gt(floor, 500);
    cr_expect_gt(under, 100);
    for (size_t i = 0; i < 2; i++)
    {
        rlv_depths_free(&depths[i]);
        rlv_mesh_free(&mesh[i]);
    }
    free(part);
}
