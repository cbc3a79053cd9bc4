#include "rejoin.h"

#include "noise.h"
#include "support/rejoining.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

static const size_t triangles = 24000;

Test(rejoin, piece_goes_back_by_the_stage_from_before)
{
    int inside = 0;
    for (uint64_t seed = 0; seed < 3; seed++)
    {
        const breaking_plan plan = breaking_draw(seed, triangles);
        const rejoining r = rejoining_try(&plan, true);
        cr_assert_eq(r.status, RLV_DONE);
        cr_expect(r.found_known);
        cr_expect_eq(r.verdict, RLV_REJOIN_FITS);
        // What 95 % of 200 breaks must stay below (rejoin_long.c holds the medians).
        cr_expect(r.closed_mm < 0.25 && r.closed_deg < 0.35, "%d: %.3f mm %.3f deg", (int)seed, r.closed_mm,
                  r.closed_deg);
        // 99.9 % of a chi-square of six degrees.
        cr_expect_lt(r.closed_chi2, 22.5, "%d: %.1f", (int)seed, r.closed_chi2);
        inside += r.true_gap_mm3 >= r.gap_mm3.low && r.true_gap_mm3 <= r.gap_mm3.high;
    }
    cr_expect_geq(inside, 2, "%d of 3", inside); // of three intervals of 95 %, two miss once in 140 times
}

Test(rejoin, piece_goes_back_without_it)
{
    const breaking_plan plan = breaking_draw(4, triangles);
    const rejoining r = rejoining_try(&plan, false);
    cr_assert_eq(r.status, RLV_DONE);
    cr_expect(!r.found_known);
    cr_expect(r.closed_mm < 0.5 && r.closed_deg < 1.0, "%.3f mm %.3f deg", r.closed_mm, r.closed_deg);
}

Test(rejoin, face_of_another_break_is_refused_with_the_figure)
{
    breaking_plan plan = breaking_draw(0, triangles);
    plan.foreign = true;
    breaking made = breaking_make(&plan, false);
    const rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece};
    rlv_rejoin rejoin = {0};
    rlv_error error = {0};
    cr_expect_eq(rlv_rejoin_measure(&rejoin, &input, &error), RLV_IMPOSSIBLE);
    cr_expect_eq(rejoin.verdict, RLV_REJOIN_NONE);
    cr_expect_gt(strlen(rejoin.reason), 0);
    cr_expect_gt(strlen(error.what), 0);
    rlv_rejoin_free(&rejoin);
    breaking_free(&made);
}

Test(rejoin, joint_that_stood_open_is_closed)
{
    breaking_plan plan = breaking_draw(3, triangles);
    plan.open_mm = 1.2;
    breaking made = breaking_make(&plan, false);
    const rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece, .before = &made.before};
    rlv_rejoin r = {0};
    rlv_error error = {0};
    double mm, deg;
    cr_assert_eq(rlv_rejoin_measure(&r, &input, &error), RLV_DONE, "%s", error.what);
    cr_assert(r.found_known && r.stood_open);
    rejoining_apart(&r.found, &made.as_found, &mm, &deg);
    cr_expect(mm < 0.25 && deg < 0.35, "as found: %.3f mm %.3f deg", mm, deg);
    rejoining_apart(&r.closed, &made.closed, &mm, &deg); // by the faces alone
    cr_expect(mm < 0.5 && deg < 1.0, "closed: %.3f mm %.3f deg", mm, deg);
    cr_expect_float_eq(r.closing_length_mm.value, 1.2, 0.25);
    cr_expect_gt(r.gap_before.median_mm.value, r.gap_after.median_mm.value + 0.6); // along steep flanks less than 1.2
    cr_expect_gt(r.gap_before.volume_mm3.low, r.gap_after.volume_mm3.high);
    rlv_rejoin_free(&r);
    breaking_free(&made);
}

/// A stage that shows the whole rock, as from before, stands for one at which the piece is back.
/// The width of the gap at the vertex nearest to a place.
static double nearest_width(const rlv_mesh* mesh, const float* width_mm, rlv_vec3 at)
{
    double least = INFINITY, width = (double)NAN;
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        const double apart = rlv_vec3_length(rlv_vec3_sub(rlv_mesh_vertex(mesh, v), at));
        if (apart < least && !isnan(width_mm[v]))
            least = apart, width = (double)width_mm[v];
    }
    return width;
}

Test(rejoin, piece_is_found_where_it_is_back)
{
    const breaking_plan plan = breaking_draw(3, triangles);
    breaking made = breaking_make(&plan, false);
    const rlv_pose into_block = rlv_pose_inverse(&made.from_block);
    rlv_mesh after = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_copy(&after, &made.before, &error), RLV_DONE);
    rlv_pose_move_mesh(&into_block, &after);
    rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece, .before = &made.before, .after = &after};
    rlv_rejoin r = {0};
    double mm, deg;
    cr_assert_eq(rlv_rejoin_measure(&r, &input, &error), RLV_DONE, "%s", error.what);
    cr_assert(r.back_known);
    rejoining_apart(&r.back, &made.as_found, &mm, &deg);
    cr_expect(mm < 0.25 && deg < 0.35, "%.3f mm %.3f deg", mm, deg); // as where it was found
    // It went back where it was: the gap is that as found, within the same outline. What both faces share changes by
    // the rim times how far apart the two places are, at most.
    const rlv_rejoin_gap *was = &r.gap_before, *is = &r.gap_back;
    rejoining_apart(&r.back, &r.found, &mm, &deg);
    cr_expect_leq(fabs(is->area_mm2 - was->area_mm2), 4.0 * sqrt(was->area_mm2) * fmax(mm, 0.05), "%.1f, %.1f mm2",
                  is->area_mm2, was->area_mm2);
    cr_expect(is->volume_mm3.low <= was->volume_mm3.value && was->volume_mm3.value <= is->volume_mm3.high);
    // Its width is told at the places of both faces.
    const float* width[2] = {r.block_back_mm, r.piece_back_mm};
    const size_t count[2] = {made.block.vertex_count, made.piece.vertex_count};
    for (int k = 0; k < 2; k++)
    {
        size_t told = 0;
        cr_assert_not_null(width[k]);
        for (size_t v = 0; v < count[k]; v++)
            told += isfinite(width[k][v]) ? 1 : 0;
        cr_expect_gt(told, 100);
    }
    cr_expect(is->max_mm.low <= was->max_mm.value && was->max_mm.value <= is->max_mm.high, "%.3f, %.3f mm",
              is->max_mm.value, was->max_mm.value);
    rlv_rejoin_free(&r);
    rlv_mesh_free(&after);
    breaking_free(&made);
}

Test(rejoin, what_is_told_is_whole)
{
    const breaking_plan plan = breaking_draw(8, triangles);
    breaking made = breaking_make(&plan, false);
    const rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece, .before = &made.before};
    rlv_rejoin r = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_measure(&r, &input, &error), RLV_DONE, "%s", error.what);
    // The widths of a map are those of the gap.
    size_t on_face = 0;
    for (size_t v = 0; v < made.block.vertex_count; v++)
        if (!isnan(r.block_after_mm[v]))
        {
            on_face++;
            cr_assert_leq((double)r.block_after_mm[v], r.gap_after.max_mm.value + 1e-6);
        }
    cr_expect_gt(on_face, 1000);
    // What touches is no farther apart than the limit that is told; contacts are of it, and open is all beyond.
    size_t touching = 0, open = 0;
    for (size_t v = 0; v < made.block.vertex_count; v++)
    {
        touching += fabs((double)r.block_after_mm[v]) <= r.touching_mm;
        open += (double)r.block_after_mm[v] > r.touching_mm;
    }
    cr_expect_gt(r.touching_mm, 0.0);
    cr_expect((touching > 0) == (r.touching > 0.0) && (open > 0) == (r.gap_after.open_mm2 > 0.0));
    for (size_t k = 0; k < r.contact_count; k++)
        cr_expect_leq(nearest_width(&made.block, r.block_after_mm, r.contact[k].at_mm), r.touching_mm + 1e-6);
    cr_expect(r.block_before_mm != NULL && r.piece_before_mm != NULL && r.piece_after_mm != NULL);
    // A tight break: as found it is as it is closed, within the two places' own sd.
    cr_expect_lt(r.closing_length_mm.value, 4.0 * rlv_pose_position_sd_mm(&r.found));
    cr_expect_gt(r.contact_count, 3);
    for (size_t k = 1; k < r.contact_count; k++)
        cr_expect_geq(r.contact[k - 1].pressed_mm, r.contact[k].pressed_mm);
    cr_expect_float_eq(r.touching + r.worn, 1.0, 0.05);
    // Nothing but noise steps: a stretch's two planes hold each other to some hundredths; 0.5 is ten of these.
    cr_expect_gt(r.step_count, 10);
    cr_expect_lt(r.step_median_mm, 0.5);
    // It comes in against the way it comes off.
    cr_expect(r.approach_known);
    cr_expect_lt(rlv_vec3_dot(r.approach, r.joint_normal), -0.7);
    rlv_rejoin_free(&r);
    breaking_free(&made);
}

Test(rejoin, outlined_faces_are_kept_to)
{
    const breaking_plan plan = breaking_draw(5, triangles);
    breaking made = breaking_make(&plan, false);
    const rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece, .start = &made.closed};
    rlv_rejoin all = {0}, half = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_measure(&all, &input, &error), RLV_DONE, "%s", error.what);
    // Half of the block's face only, by a plane through the joint's middle.
    uint8_t* face = calloc(made.block.triangle_count, 1);
    const rlv_vec3 some = fabs(all.joint_normal.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0),
                   side = rlv_vec3_unit(rlv_vec3_cross(all.joint_normal, some));
    for (size_t t = 0; t < made.block.triangle_count; t++)
        face[t] = !isnan(all.block_after_mm[made.block.corner[3 * t]]) &&
                  rlv_vec3_dot(rlv_vec3_sub(rlv_mesh_vertex(&made.block, made.block.corner[3 * t]), all.joint_mm),
                               side) > 0.0;
    rlv_rejoin_input outlined = input;
    outlined.block_face = face;
    cr_assert_eq(rlv_rejoin_measure(&half, &outlined, &error), RLV_DONE, "%s", error.what);
    cr_expect(half.joint_mm2 > 0.3 * all.joint_mm2 && half.joint_mm2 < 0.7 * all.joint_mm2);
    cr_expect_gt(half.partner[0], 0.9); // all of what was outlined had one
    cr_expect(isnan(half.partner[1]));
    free(face);
    rlv_rejoin_free(&all);
    rlv_rejoin_free(&half);
    breaking_free(&made);
}

/// A square plate's side of a joint as an open sheet: `count` by `count` points over `side_mm`, at a height that rises
/// along x; seen from above, or from below.
static rlv_mesh sheet(size_t count, double side_mm, double low_mm, double high_mm, bool above)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, count * count, 2 * (count - 1) * (count - 1), false, false, &error), RLV_DONE);
    for (size_t i = 0; i < count * count; i++)
    {
        const double x = (double)(i % count) / (double)(count - 1), y = (double)(i / count) / (double)(count - 1);
        mesh.position_mm[3 * i] = (float)(side_mm * x);
        mesh.position_mm[3 * i + 1] = (float)(side_mm * y);
        mesh.position_mm[3 * i + 2] = (float)(low_mm + (high_mm - low_mm) * x);
    }
    uint32_t* c = mesh.corner;
    for (size_t j = 0; j + 1 < count; j++)
        for (size_t i = 0; i + 1 < count; i++, c += 6)
        {
            const uint32_t a = (uint32_t)(j * count + i), b = a + 1, d = (uint32_t)(a + count), e = d + 1;
            const uint32_t up[6] = {a, b, e, a, e, d}, down[6] = {a, e, b, a, d, e};
            memcpy(c, above ? up : down, sizeof up);
        }
    return mesh;
}

Test(rejoin, wedge_has_the_volume_and_the_angle_of_the_handbook)
{
    rlv_mesh block = sheet(60, 40.0, 0.0, 0.0, true), piece = sheet(47, 40.0, 0.5, 1.5, false);
    const rlv_pose home = rlv_pose_identity();
    rlv_rejoin_gap gap;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_gap_at(&gap, &(rlv_rejoin_input){.block = &block, .piece = &piece}, &home, &error),
                 RLV_DONE, "%s", error.what);
    // A prism of mean thickness 1 over 40 by 40; samples at the sheets' border rows lose or gain half a cell's row.
    cr_expect_float_eq(gap.volume_mm3.value, 1600.0, 1600.0 / 46.0);
    cr_expect_float_eq(gap.wedge_deg, atan(1.0 / 40.0) * 180.0 / M_PI, 0.05);
    cr_expect_gt(gap.wedge_towards.x, 0.999);
    cr_expect_float_eq(gap.median_mm.value, 1.0, 0.03); // the row of a cell, 1 / 46 of the rise
    cr_expect_float_eq(gap.p95_mm.value, 1.45, 0.05);   // a spot of 2.5 mm hangs over the border
    cr_expect_float_eq(gap.area_mm2, 1600.0, 1600.0 * 2.0 / 46.0);
    rlv_mesh_free(&block);
    rlv_mesh_free(&piece);
}

/// A rough square side of a joint, worn by `worn_mm` but for three spots, scanned with noise of `noise_mm`.
static rlv_mesh worn_side(double worn_mm, double noise_mm, bool above)
{
    const size_t count = 70;
    const double side_mm = 60.0, spot[3][2] = {{15, 14}, {44, 20}, {27, 46}};
    const noise_waves relief = noise_waves_fractal(3.0, 40.0, 5, 0.57, 21);
    rlv_mesh mesh = sheet(count, side_mm, 0.0, 0.0, above);
    for (size_t i = 0; i < mesh.vertex_count; i++)
    {
        float* at = mesh.position_mm + 3 * i;
        // Either side has a grid of its own.
        const double x = (double)at[0] + (above ? 0.0 : 0.37), y = (double)at[1] + (above ? 0.0 : 0.29);
        double worn = worn_mm;
        for (int k = 0; k < 3; k++)
            worn *= fmin(1.0, fmax(0.0, (hypot(x - spot[k][0], y - spot[k][1]) - 3.0) / 3.0));
        const double noise = noise_mm * noise_smooth_at(above ? 31 : 32, 2.0, rlv_vec3_of(x, y, 0));
        at[0] = (float)x, at[1] = (float)y;
        at[2] = (float)(noise_waves_at(&relief, rlv_vec3_of(x, y, 0)) + noise + (above ? -worn : worn));
    }
    return mesh;
}

Test(rejoin, faces_worn_nearly_all_over_are_held_apart_by_the_spots_that_were_not)
{
    rlv_mesh block = worn_side(0.7, 0.1, true), piece = worn_side(0.7, 0.1, false);
    const rlv_pose home = rlv_pose_identity();
    rlv_rejoin rejoin = {0};
    rlv_error error = {0};
    cr_assert_eq(
        rlv_rejoin_measure(&rejoin, &(rlv_rejoin_input){.block = &block, .piece = &piece, .start = &home}, &error),
        RLV_DONE, "%s", error.what);
    cr_expect_eq(rejoin.verdict, RLV_REJOIN_LOOSE);
    cr_expect_gt(strlen(rejoin.reason), 0);
    // Both sides were worn. The spots settle the place to within what noise explains of a width: three sds of a spot.
    const double told_mm = 3.0 * 0.6 * rejoin.noise_mm;
    cr_expect_float_eq(rejoin.held_apart_mm, 1.4, told_mm, "held apart by %.3f mm", rejoin.held_apart_mm);
    const double up_mm = rlv_vec3_dot(rlv_vec3_sub(rlv_pose_apply(&rejoin.closed, rejoin.joint_mm), rejoin.joint_mm),
                                      rejoin.joint_normal);
    cr_expect_float_eq(up_mm, 0.0, told_mm, "%.3f mm off", up_mm);
    rlv_rejoin_free(&rejoin);
    rlv_mesh_free(&block);
    rlv_mesh_free(&piece);
}

Test(rejoin, parts_that_do_not_face_one_another_are_refused)
{
    rlv_mesh block = sheet(20, 40.0, 0.0, 0.0, true), piece = sheet(20, 40.0, 50.0, 50.0, false);
    const rlv_pose home = rlv_pose_identity();
    rlv_rejoin rejoin = {0};
    rlv_error error = {0};
    cr_expect_eq(
        rlv_rejoin_measure(&rejoin, &(rlv_rejoin_input){.block = &block, .piece = &piece, .start = &home}, &error),
        RLV_IMPOSSIBLE);
    cr_expect_gt(strlen(error.mend), 0);
    rlv_rejoin_free(&rejoin);
    rlv_mesh_free(&block);
    rlv_mesh_free(&piece);
}

Test(rejoin, flat_joint_is_loose)
{
    rlv_mesh block = sheet(60, 40.0, 0.0, 0.0, true), piece = sheet(47, 40.0, 0.05, 0.05, false);
    const rlv_pose home = rlv_pose_identity();
    rlv_rejoin rejoin = {0};
    rlv_error error = {0};
    cr_expect_eq(
        rlv_rejoin_measure(&rejoin, &(rlv_rejoin_input){.block = &block, .piece = &piece, .start = &home}, &error),
        RLV_DONE, "%s", error.what);
    cr_expect_eq(rejoin.verdict, RLV_REJOIN_LOOSE); // two planes slide
    cr_expect_gt(strlen(rejoin.reason), 0);
    rlv_rejoin_free(&rejoin);
    rlv_mesh_free(&block);
    rlv_mesh_free(&piece);
}

Test(rejoin, same_bytes_for_any_thread_count)
{
    const breaking_plan plan = breaking_draw(3, triangles);
    breaking made = breaking_make(&plan, false);
    const rlv_rejoin_input input = {.block = &made.block, .piece = &made.piece, .before = &made.before};
    rlv_rejoin r[2] = {0};
    rlv_error error = {0};
    for (int k = 0; k < 2; k++)
    {
        omp_set_num_threads(1 + 2 * k);
        cr_assert_eq(rlv_rejoin_measure(&r[k], &input, &error), RLV_DONE, "%s", error.what);
    }
    cr_expect_eq(memcmp(&r[0].closed, &r[1].closed, sizeof r[0].closed), 0);
    cr_expect_eq(memcmp(&r[0].gap_after, &r[1].gap_after, sizeof r[0].gap_after), 0);
    cr_expect_eq(memcmp(r[0].contact, r[1].contact, sizeof r[0].contact), 0);
    cr_expect_eq(memcmp(r[0].piece_after_mm, r[1].piece_after_mm, made.piece.vertex_count * sizeof(float)), 0);
    cr_expect_eq(r[0].approach_deg, r[1].approach_deg);
    rlv_rejoin_free(&r[0]);
    rlv_rejoin_free(&r[1]);
    breaking_free(&made);
}
