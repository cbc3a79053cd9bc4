#include "noise.h"
#include "rejoin.h"
#include "support/rejoining.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

static const size_t triangles = 24000;

/// The triangles of a mesh whose middle lies within so far of a place.
static uint8_t* mark_around(const rlv_mesh* mesh, rlv_vec3 at, double radius_mm)
{
    uint8_t* bone = calloc(mesh->triangle_count, 1);
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        rlv_vec3 middle = {0, 0, 0};
        for (size_t k = 0; k < 3; k++)
            middle = rlv_vec3_along(middle, 1.0 / 3.0, rlv_mesh_vertex(mesh, mesh->corner[3 * t + k]));
        bone[t] = rlv_vec3_length(rlv_vec3_sub(middle, at)) < radius_mm;
    }
    return bone;
}

/// A level sheet of 40 by 40 mm, facing up or down, on which a round bone stands proud.
static rlv_mesh sheet_with_bone(size_t count, double height_mm, bool above, rlv_vec3 bone, double proud_mm)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, count * count, 2 * (count - 1) * (count - 1), false, false, &error), RLV_DONE);
    for (size_t i = 0; i < count * count; i++)
    {
        const double x = 40.0 * (double)(i % count) / (double)(count - 1),
                     y = 40.0 * (double)(i / count) / (double)(count - 1), r = hypot(x - bone.x, y - bone.y);
        mesh.position_mm[3 * i] = (float)x;
        mesh.position_mm[3 * i + 1] = (float)y;
        mesh.position_mm[3 * i + 2] = (float)(height_mm + (r < 6.0 ? proud_mm - 0.004 * r * r : 0.0));
    }
    uint32_t* c = mesh.corner;
    for (size_t j = 0; j + 1 < count; j++)
        for (size_t i = 0; i + 1 < count; i++, c += 6)
        {
            const uint32_t a = (uint32_t)(j * count + i), b = a + 1, d = (uint32_t)(a + count), e = d + 1;
            const uint32_t up[6] = {a, b, e, a, e, d}, down[6] = {a, e, b, a, d, e};
            for (size_t k = 0; k < 6; k++)
                c[k] = above ? up[k] : down[k];
        }
    return mesh;
}

Test(rejoin_bone, bone_that_stands_proud_of_a_face_has_the_least_width)
{
    const rlv_vec3 at = {12, 20, 0};
    rlv_mesh block = sheet_with_bone(80, 0.0, true, at, 0.6), piece = sheet_with_bone(67, 1.0, false, at, 0.0);
    uint8_t* bone = mark_around(&block, at, 6.0);
    const rlv_pose home = rlv_pose_identity();
    rlv_rejoin_gap gap, none;
    rlv_error error = {0};
    rlv_rejoin_input input = {.block = &block, .piece = &piece};
    cr_assert_eq(rlv_rejoin_gap_at(&none, &input, &home, &error), RLV_DONE, "%s", error.what);
    cr_expect(none.bone == 0 && isnan(none.bone_mm.value) && none.bone_mm2 == 0.0);
    input.block_bone = bone;
    cr_assert_eq(rlv_rejoin_gap_at(&gap, &input, &home, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(gap.bone, RLV_REJOIN_BONE_BLOCK);
    // 0.4 mm on top; over a spot of 2.5 mm (sd) the dome falls off by 0.004 mm-1 of 12.5 mm2 in the mean, less where
    // the bone ends; and the row of samples at its edge is part rock.
    cr_expect(gap.bone_mm.value > 0.39 && gap.bone_mm.value < 0.46, "%.3f mm", gap.bone_mm.value);
    cr_expect(gap.bone_mm.low < 0.4 && gap.bone_mm.high > 0.4);
    cr_expect_lt(hypot(gap.bone_at_mm.x - 12.0, gap.bone_at_mm.y - 20.0), 1.5);
    cr_expect_float_eq(gap.bone_rim_mm, 12.0, 2.5); // of the sheet's edge: a spot, and a row of the rim
    cr_expect_float_eq(gap.bone_mm2, 36.0 * M_PI, 2.0 * M_PI * 6.0); // a row of samples more or less
    // The spot as a whole is no nearer than what lies in it on the mean: bone is not averaged with rock.
    cr_expect_eq(gap.median_mm.value, none.median_mm.value);
    free(bone);
    rlv_mesh_free(&block);
    rlv_mesh_free(&piece);
}

/// A vertex of the block with the least width on the joint, or the greatest.
static rlv_vec3 far_vertex(const rlv_mesh* block, const float* width_mm, bool widest)
{
    size_t best = SIZE_MAX;
    for (size_t v = 0; v < block->vertex_count; v++)
        if (!isnan(width_mm[v]) && (best == SIZE_MAX || (width_mm[v] > width_mm[best]) == widest))
            best = v;
    return rlv_mesh_vertex(block, best);
}

Test(rejoin_bone, first_contact_and_hollows_are_told_apart)
{
    breaking_plan plan = breaking_draw(8, triangles);
    plan.hollows = 3;
    breaking made = breaking_make(&plan, false);
    rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece, .before = &made.before};
    rlv_rejoin r = {0}, with = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_measure(&r, &input, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(r.bone_touch, RLV_REJOIN_BONE_UNKNOWN);
    const rlv_vec3 nearest = far_vertex(&made.block, r.block_after_mm, false),
                   widest = far_vertex(&made.block, r.block_after_mm, true),
                   off = rlv_vec3_along(r.joint_mm, -200.0, r.joint_normal);
    const struct
    {
        rlv_vec3 at;
        rlv_rejoin_bone_touch touch;
    } place[] = {{nearest, RLV_REJOIN_BONE_FIRST}, {widest, RLV_REJOIN_BONE_CLEAR}, {off, RLV_REJOIN_BONE_NONE}};
    for (int k = 0; k < 3; k++)
    {
        uint8_t* bone = mark_around(&made.block, place[k].at, 2.5);
        input.block_bone = bone;
        cr_assert_eq(rlv_rejoin_measure(&with, &input, &error), RLV_DONE, "%s", error.what);
        cr_expect_eq(with.bone_touch, place[k].touch, "%d: %d, %.3f mm (%.3f to %.3f)", k, (int)with.bone_touch,
                     with.gap_after.bone_mm.value, with.gap_after.bone_mm.low, with.gap_after.bone_mm.high);
        size_t on_bone = 0;
        for (size_t i = 0; i < with.contact_count; i++)
            on_bone += with.contact[i].bone != 0;
        cr_expect((on_bone > 0) == (k == 0), "%d: %zu contacts on bone", k, on_bone);
        // What is bone changes nothing else.
        cr_expect_eq(with.gap_after.p95_mm.value, r.gap_after.p95_mm.value);
        rlv_rejoin_free(&with);
        free(bone);
    }
    rlv_rejoin_free(&r);
    breaking_free(&made);
}

/// Bone in a round patch on one face or on both of a simulated break: whether the interval holds the least width of the
/// true parts in the true place.
static bool holds_truth(uint64_t seed)
{
    const breaking_plan plan = breaking_draw(seed, triangles);
    breaking made = breaking_make(&plan, true);
    scan_random random = {noise_hash(seed, 99)};
    rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece, .start = &made.closed, .seed = seed};
    rlv_rejoin r = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_measure(&r, &input, &error), RLV_DONE, "%s", error.what);
    size_t v;
    do
        v = (size_t)(scan_random_unit(&random) * (double)made.block.vertex_count);
    while (isnan(r.block_after_mm[v]));
    const rlv_pose back = rlv_pose_inverse(&made.closed);
    const rlv_vec3 at = rlv_mesh_vertex(&made.block, v);
    const double radius_mm = 4.0 + 8.0 * scan_random_unit(&random);
    uint8_t *of_block = mark_around(&made.block, at, radius_mm),
            *of_piece = mark_around(&made.piece, rlv_pose_apply(&back, at), radius_mm);
    input.block_bone = of_block;
    input.piece_bone = of_piece;
    rlv_rejoin_free(&r);
    cr_assert_eq(rlv_rejoin_measure(&r, &input, &error), RLV_DONE, "%s", error.what);
    const rlv_interval told = r.gap_after.bone_mm;
    rlv_rejoin_gap truly;
    input.block = &made.true_block;
    input.piece = &made.true_piece;
    cr_assert_eq(rlv_rejoin_gap_at(&truly, &input, &made.closed, &error), RLV_DONE, "%s", error.what);
    free(of_piece);
    free(of_block);
    rlv_rejoin_free(&r);
    breaking_free(&made);
    return told.low <= truly.bone_mm.value && truly.bone_mm.value <= told.high;
}

Test(rejoin_bone, interval_of_the_least_width_holds_it)
{
    int inside = 0;
    for (uint64_t seed = 0; seed < 5; seed++)
        inside += holds_truth(4000 + seed);
    cr_expect_geq(inside, 4, "%d of 5", inside); // of five intervals of 95 %, two miss once in 45 times
}
