#include "change.h"
#include "rock.h"
#include "scan.h"
#include "support/carving.h"
#include "support/preparing.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <string.h>

static rlv_change measure(const rlv_mesh* before, const rlv_mesh* after, const rlv_change_options* options)
{
    rlv_change change = {0};
    rlv_error error = {0};
    const rlv_status status = rlv_change_measure(&change, before, after, options, &error);
    cr_assert_eq(status, RLV_DONE, "%s; %s", error.what, error.mend);
    return change;
}

static const rlv_change_options aligned = {.aligned = true};

static bool holds(rlv_interval interval, double truth)
{
    return truth >= interval.low && truth <= interval.high;
}

/// Carve by a plan, scanned with noise of the bench.
static carving carve_scanned(carving_plan plan)
{
    plan.scan.noise_sd_mm = 0.1;
    plan.scan.noise_length_mm = 2.0;
    return carve(&plan);
}

Test(change, same_mesh_twice_shows_none)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 60.0, 60);
    rlv_change change = measure(&mesh, &mesh, &aligned);
    cr_expect_eq(change.region_count, 0);
    cr_expect_eq(change.went.volume_mm3.value, 0.0);
    cr_expect_eq(change.came.volume_mm3.value, 0.0);
    // Sums of prisms of 1e6 mm3 in double.
    cr_expect(fabs(change.untold_mm3.value) < 1e-6);
    rlv_change_free(&change);
    rlv_mesh_free(&mesh);
}

/// Where no region is found, what may hide below the detection limit is told, and is not nothing.
Test(change, noise_alone_is_never_called_nothing)
{
    carving c = carve_scanned((carving_plan){.seed = 3, .triangles = 30000});
    rlv_change change = measure(&c.before, &c.after, &aligned);
    cr_expect_eq(change.region_count, 0, "%zu regions", change.region_count);
    cr_expect_eq(change.went.volume_mm3.value, 0.0);
    cr_expect_gt(change.went.volume_mm3.high, 0.0);
    for (int k = 1; k < RLV_CHANGE_LIMITS; k++)
        cr_expect(change.limit[k].area_mm2 > change.limit[k - 1].area_mm2 &&
                  change.limit[k].depth_mm <= change.limit[k - 1].depth_mm);
    rlv_change_free(&change);
    carving_free(&c);
}

/// Without noise, on rocks whose uncut part is the same mesh, the removed volume is right to 0.02 %.
Test(change, removed_volume_without_noise)
{
    for (uint64_t seed = 1; seed <= 4; seed++)
    {
        carving c = carve(&(carving_plan){.seed = seed,
                                          .triangles = 60000,
                                          .depth_mm = 3.0 * (double)(seed * seed),
                                          .share = 0.1 + 0.1 * (double)seed,
                                          .same_mesh = true});
        rlv_change change = measure(&c.before, &c.after, &aligned);
        cr_assert_geq(change.region_count, 1);
        cr_expect(fabs(change.went.volume_mm3.value - c.removed_mm3) < 2e-4 * c.removed_mm3, "%g of %g",
                  change.went.volume_mm3.value - c.removed_mm3, c.removed_mm3);
        cr_expect_eq(change.region[0].kind, RLV_CHANGE_REMOVED);
        rlv_change_free(&change);
        carving_free(&c);
    }
}

Test(change, three_parts_add_up_to_the_divergence_theorem)
{
    carving c = carve_scanned((carving_plan){.seed = 5,
                                             .triangles = 40000,
                                             .depth_mm = 5.0,
                                             .share = 0.2,
                                             .scan = {.warp_sd_mm = 0.1, .warp_length_mm = 60.0}});
    rlv_change change = measure(&c.before, &c.after, &aligned);
    const double sum = change.went.volume_mm3.value - change.came.volume_mm3.value + change.untold_mm3.value;
    // The columns' sums are exact to rounding of volumes of a million mm3.
    cr_expect(fabs(sum - change.divergence_mm3) < 1e-3, "%g against %g", sum, change.divergence_mm3);
    rlv_change_free(&change);
    carving_free(&c);
}

/// Taking BEFORE for AFTER turns what was removed into what was added.
Test(change, swapped_stages_add_what_was_removed)
{
    carving c =
        carve(&(carving_plan){.seed = 6, .triangles = 60000, .depth_mm = 6.0, .share = 0.15, .same_mesh = true});
    rlv_change change = measure(&c.after, &c.before, &aligned);
    cr_assert_geq(change.region_count, 1);
    cr_expect_eq(change.region[0].kind, RLV_CHANGE_ADDED);
    cr_expect(fabs(change.came.volume_mm3.value - c.removed_mm3) < 2e-4 * c.removed_mm3);
    rlv_change_free(&change);
    carving_free(&c);
}

/// A skin of even depth: the region's depth is the skin's, its area the surface that the cone takes.
Test(change, depth_of_a_region_is_the_depth_of_the_cut)
{
    carving c = carve(&(carving_plan){
        .seed = 7, .triangles = 120000, .depth_mm = 4.0, .share = 0.2, .smooth = true, .same_mesh = true});
    rlv_change change = measure(&c.before, &c.after, &aligned);
    cr_assert_eq(change.region_count, 1);
    // The area that the cone takes, and its rim, which is told to a spacing of the samples, here the mesh's edges
    // of 1.6 mm.
    double area = 0.0, radius = 0.0;
    for (size_t t = 0; t < c.before.triangle_count; t++)
    {
        const rlv_vec3 a = rlv_mesh_vertex(&c.before, c.before.corner[3 * t]),
                       b = rlv_mesh_vertex(&c.before, c.before.corner[3 * t + 1]),
                       d = rlv_mesh_vertex(&c.before, c.before.corner[3 * t + 2]);
        const rlv_vec3 middle = rlv_vec3_add(a, rlv_vec3_add(b, d));
        if (acos(rlv_vec3_dot(rlv_vec3_unit(middle), rlv_vec3_unit(c.cut.direction))) > c.cut.half_angle_rad)
            continue;
        area += 0.5 * rlv_vec3_length(rlv_vec3_cross(rlv_vec3_sub(b, a), rlv_vec3_sub(d, a)));
        radius = fmax(radius, rlv_vec3_length(middle) / 3.0);
    }
    const double rim = 2.0 * M_PI * radius * sin(c.cut.half_angle_rad) * 1.6;
    const rlv_interval told = change.region[0].area_mm2, deepest = change.region[0].max_depth_mm;
    cr_expect(fabs(told.value - area) < rim, "%g for %g, rim %g", told.value, area, rim);
    cr_expect(holds(told, area), "%g in %g to %g", area, told.low, told.high);
    cr_expect_float_eq(change.region[0].mean_depth_mm.value, change.region[0].volume_mm3.value / told.value, 1e-9);
    // Along the radius 4 mm; a smooth block's normals stray from its radii by up to a third of a radian, so that the
    // deepest place lies between 4 cos(1/3) and 4 mm below the old surface.
    cr_expect(deepest.value > 3.78 && deepest.value < 4.01 && deepest.low < deepest.high, "%g", deepest.value);
    rlv_change_free(&change);
    carving_free(&c);
}

/// A cut that is shallower than the warp is strong is found by its rim.
Test(change, shallow_cut_is_found_under_warp_by_its_rim)
{
    carving c = carve_scanned((carving_plan){.seed = 9,
                                             .triangles = 80000,
                                             .depth_mm = 1.6,
                                             .share = 0.3,
                                             .scan = {.warp_sd_mm = 0.25, .warp_length_mm = 90.0}});
    rlv_change change = measure(&c.before, &c.after, &aligned);
    cr_assert_geq(change.region_count, 1);
    cr_expect(holds(change.went.volume_mm3, c.removed_mm3), "%g to %g for %g", change.went.volume_mm3.low,
              change.went.volume_mm3.high, c.removed_mm3);
    rlv_change_free(&change);
    carving_free(&c);
}

/// A stage that lies 0.3 mm off, known from all that held still, adds as much over all that the columns of a cut run
/// through, half a triangle past its samples. Taken off under the samples alone it would stay on a strip about the
/// cut, of half an edge on each stage: over four cuts, less than one such strip is left on the mean.
Test(change, what_held_still_corrects_all_that_the_columns_of_a_cut_run_through)
{
    const double off_mm = 0.3;
    double left = 0.0, strip = 0.0;
    for (uint64_t seed = 21; seed <= 24; seed++)
    {
        carving c =
            carve(&(carving_plan){.seed = seed, .triangles = 30000, .depth_mm = 8.0, .share = 0.02, .same_mesh = true});
        const rlv_vec3 out = rlv_vec3_unit(c.cut.direction);
        rlv_pose off = rlv_pose_identity();
        off.translation_mm = rlv_vec3_scale(out, -off_mm);
        rlv_pose_move_mesh(&off, &c.after);
        rlv_change change = measure(&c.before, &c.after, &aligned);
        const rlv_mesh_measures size = rlv_mesh_measure(&c.before);
        const double edge = sqrt(4.0 / sqrt(3.0) * size.area_mm2 / (double)c.before.triangle_count),
                     rim = 2.0 * M_PI * sqrt(size.area_mm2 / (4.0 * M_PI)) * sin(c.cut.half_angle_rad);
        left += fabs(change.went.volume_mm3.value - c.removed_mm3) / 4.0;
        strip += off_mm * rim * 0.5 * edge / 4.0;
        rlv_change_free(&change);
        carving_free(&c);
    }
    cr_expect_lt(left, strip, "%.1f mm3, a strip %.1f", left, strip);
}

/// The scale of BEFORE is that of every volume: a relative sd of 1 in 1000 is 3 in 1000 of it.
Test(change, uncertain_scale_widens_the_interval)
{
    carving c =
        carve(&(carving_plan){.seed = 10, .triangles = 30000, .depth_mm = 10.0, .share = 0.2, .same_mesh = true});
    rlv_change exact = measure(&c.before, &c.after, &aligned);
    const rlv_change_options loose = {.aligned = true, .before_scale_sd = 0.001};
    rlv_change change = measure(&c.before, &c.after, &loose);
    const double wider = change.went.volume_mm3.high - change.went.volume_mm3.low;
    cr_expect_geq(wider, 2.0 * 1.95 * 0.003 * c.removed_mm3);
    cr_expect_lt(exact.went.volume_mm3.high - exact.went.volume_mm3.low, 0.1 * wider);
    rlv_change_free(&exact);
    rlv_change_free(&change);
    carving_free(&c);
}

/// What goes evenly from all of a block looks like a smaller scale. Half a mm in a metre is as likely as not where the
/// scales are known to three tenths: what was not told must leave room for it.
Test(change, an_even_loss_that_was_taken_for_scale_lies_within_what_was_not_told)
{
    carving c = carve_scanned((carving_plan){.seed = 14, .triangles = 30000});
    rlv_pose shrink = rlv_pose_identity();
    shrink.scale = 0.9995;
    const double before = rlv_mesh_measure(&c.after).volume_mm3;
    rlv_pose_move_mesh(&shrink, &c.after);
    const double lost = before - rlv_mesh_measure(&c.after).volume_mm3;
    const rlv_pose start = rlv_pose_identity();
    const rlv_change_options options = {.start = &start, .before_scale_sd = 0.0003, .after_scale_sd = 0.0003};
    rlv_change change = measure(&c.before, &c.after, &options);
    cr_expect_gt(change.alignment.pose.scale, 1.0003, "the alignment makes up for it: %.6f",
                 change.alignment.pose.scale);
    cr_expect(holds(change.untold_mm3, lost), "%.0f not in %.0f to %.0f", lost, change.untold_mm3.low,
              change.untold_mm3.high);
    cr_expect(holds(change.untold_mm3, 0.0), "or it was scale: 0 not in %.0f to %.0f", change.untold_mm3.low,
              change.untold_mm3.high);
    rlv_change_free(&change);
    carving_free(&c);
}

static bool is_finite(rlv_interval interval)
{
    return isfinite(interval.value) && isfinite(interval.low) && isfinite(interval.high);
}

/// Slivers whose areas round to nothing spoil no figure, in either stage or in both: a needle through the block and out
/// of it, where samples have no area and those of the block may have their nearest point.
Test(change, slivers_whose_areas_round_to_nothing_are_left_out)
{
    for (int slivers = 1; slivers <= 3; slivers++)
    {
        carving c = carve_scanned(
            (carving_plan){.seed = 11, .triangles = 60000, .depth_mm = 8.0, .share = 0.15, .same_mesh = true});
        if (slivers & 1)
            shape_add_needle(&c.before, 200.0);
        if (slivers & 2)
            shape_add_needle(&c.after, 200.0);
        rlv_change change = measure(&c.before, &c.after, &aligned);
        cr_expect(holds(change.went.volume_mm3, c.removed_mm3), "needles %d: %g in %g to %g", slivers, c.removed_mm3,
                  change.went.volume_mm3.low, change.went.volume_mm3.high);
        cr_expect(is_finite(change.went.volume_mm3) && is_finite(change.came.volume_mm3) &&
                  is_finite(change.untold_mm3));
        for (int k = 0; k < RLV_CHANGE_LIMITS; k++)
            cr_expect(isfinite(change.limit[k].depth_mm));
        for (size_t r = 0; r < change.region_count; r++)
            cr_expect(change.region[r].area_mm2.value > 0.0 && is_finite(change.region[r].area_mm2) &&
                      is_finite(change.region[r].volume_mm3) &&
                      isfinite(rlv_vec3_length(change.region[r].centroid_mm)));
        rlv_change_free(&change);
        carving_free(&c);
    }
}

Test(change, thread_count_changes_no_byte)
{
    carving c = carve_scanned((carving_plan){.seed = 11,
                                             .triangles = 30000,
                                             .depth_mm = 3.0,
                                             .share = 0.2,
                                             .scan = {.warp_sd_mm = 0.1, .warp_length_mm = 60.0}});
    omp_set_num_threads(1);
    rlv_change one = measure(&c.before, &c.after, &aligned);
    omp_set_num_threads(2);
    rlv_change two = measure(&c.before, &c.after, &aligned);
    cr_expect_eq(memcmp(&one.went.volume_mm3, &two.went.volume_mm3, sizeof one.went.volume_mm3), 0);
    cr_expect_eq(memcmp(&one.untold_mm3, &two.untold_mm3, sizeof one.untold_mm3), 0);
    cr_assert_eq(one.region_count, two.region_count);
    cr_expect_eq(memcmp(one.before_label, two.before_label, c.before.triangle_count * sizeof(uint16_t)), 0);
    cr_expect_eq(memcmp(one.after_label, two.after_label, c.after.triangle_count * sizeof(uint16_t)), 0);
    for (size_t r = 0; r < one.region_count; r++)
        cr_expect_eq(memcmp(&one.region[r].volume_mm3, &two.region[r].volume_mm3, sizeof(rlv_interval)), 0);
    rlv_change_free(&one);
    rlv_change_free(&two);
    carving_free(&c);
}

Test(change, lent_indexes_change_no_byte)
{
    carving c = carve_scanned((carving_plan){.seed = 11, .triangles = 30000, .depth_mm = 3.0, .share = 0.2});
    rlv_tree *before = NULL, *after = NULL;
    cr_assert_eq(rlv_tree_build(&before, &c.before, NULL), RLV_DONE);
    cr_assert_eq(rlv_tree_build(&after, &c.after, NULL), RLV_DONE);
    rlv_change own = measure(&c.before, &c.after, &(rlv_change_options){0}),
               lent = measure(&c.before, &c.after, &(rlv_change_options){.before_tree = before, .after_tree = after});
    cr_expect_eq(memcmp(&own.alignment.pose, &lent.alignment.pose, sizeof own.alignment.pose), 0);
    cr_expect_eq(memcmp(&own.went.volume_mm3, &lent.went.volume_mm3, sizeof own.went.volume_mm3), 0);
    cr_expect_eq(memcmp(own.after_label, lent.after_label, c.after.triangle_count * sizeof(uint16_t)), 0);
    rlv_change_free(&own);
    rlv_change_free(&lent);
    rlv_tree_free(before);
    rlv_tree_free(after);
    carving_free(&c);
}

/// An open scan (the lower half was never seen): the removal is measured against a common base.
Test(change, open_scans_are_measured_against_a_common_base)
{
    carving c = carve(
        &(carving_plan){.seed = 12, .triangles = 60000, .depth_mm = 5.0, .share = 0.08, .up = true, .same_mesh = true});
    carving_open(&c.before, -10.0);
    carving_open(&c.after, -10.0);
    rlv_change change = measure(&c.before, &c.after, &aligned);
    cr_expect(change.open);
    cr_expect(isnan(change.divergence_mm3));
    // The cut lies high on the part that both saw. Columns of a seven-hundredth of the block's diagonal, open: half a
    // column's width along the cut's rim of some 250 mm times its depth would be 200 mm3; errors along a rim fall off
    // as its cells' root.
    cr_expect(fabs(change.went.volume_mm3.value - c.removed_mm3) < 2e-3 * c.removed_mm3, "%g of %g",
              change.went.volume_mm3.value - c.removed_mm3, c.removed_mm3);
    rlv_change_free(&change);
    carving_free(&c);
}

/// A seeded share of the coverage simulation: 40 draws of cut, noise, warp and scale, cuts of 2 mm and more. Fewer than
/// 34 inside would come once in 500 such tests were the true share 95 %.
Test(change, intervals_hold_the_truth_in_a_seeded_share_of_trials)
{
    int inside = 0;
    enum
    {
        TRIALS = 40,
    };
#pragma omp parallel for reduction(+ : inside) schedule(dynamic, 1)
    for (int t = 0; t < TRIALS; t++)
    {
        const carving_plan plan = carving_draw(9000 + (uint64_t)t, 2.0, 24000);
        carving c = carve(&plan);
        const rlv_change_options options = {
            .aligned = true, .before_scale_sd = plan.scan.scale_sd, .after_scale_sd = plan.scan.scale_sd};
        rlv_change change = {0};
        rlv_error error = {0};
        if (rlv_change_measure(&change, &c.before, &c.after, &options, &error) == RLV_DONE)
            inside += holds(change.went.volume_mm3, c.removed_mm3);
        rlv_change_free(&change);
        carving_free(&c);
    }
    cr_expect_geq(inside, 34, "inside in %d of %d", inside, TRIALS);
}

/// Noise alone, cuts deeper than three detection limits: what is told is right to 0.3 % on the mean.
Test(change, noise_without_warp_brings_no_bias)
{
    enum
    {
        TRIALS = 24,
    };
    double bias = 0.0;
    int counted = 0;
#pragma omp parallel for reduction(+ : bias, counted) schedule(dynamic, 1)
    for (int t = 0; t < TRIALS; t++)
    {
        carving_plan plan = carving_draw(9500 + (uint64_t)t, 1.0, 24000);
        plan.scan.warp_sd_mm = plan.scan.scale_sd = 0.0;
        carving c = carve(&plan);
        const rlv_pose start = rlv_pose_identity();
        rlv_change change = {0};
        rlv_error error = {0};
        if (rlv_change_measure(&change, &c.before, &c.after, &(rlv_change_options){.start = &start}, &error) ==
                RLV_DONE &&
            plan.depth_mm > 3.0 * change.limit[0].depth_mm)
        {
            bias += change.went.volume_mm3.value / c.removed_mm3 - 1.0;
            counted++;
        }
        rlv_change_free(&change);
        carving_free(&c);
    }
    cr_expect_geq(counted, TRIALS / 2, "%d of %d", counted, TRIALS);
    cr_expect_lt(fabs(bias / counted), 0.003, "%g over %d", bias / counted, counted);
}

/// An even cut of a millimetre over a sixth of a block that warps by 0.27 mm is taken for warp, but for a scrap at its
/// rim. The volumes of the two meshes know better.
static void expect_room_for_the_missing(uint64_t seed)
{
    const preparing_plan plan = preparing_draw(seed, 120000);
    preparing p = prepare(&plan);
    const rlv_pose start = rlv_pose_identity();
    rlv_change change = {0};
    cr_assert_eq(rlv_change_measure(&change, &p.before, &p.after,
                                    &(rlv_change_options){.start = &start,
                                                          .before_scale_sd = plan.scan.scale_sd,
                                                          .after_scale_sd = plan.scan.scale_sd,
                                                          .before_part = p.before_part,
                                                          .after_part = p.after_part,
                                                          .seed = seed},
                                    NULL),
                 RLV_DONE);
    const rlv_change_total* matrix = change.total + RLV_CHANGE_REMOVED;
    const double truth = p.truth_mm3[RLV_CHANGE_REMOVED];
    cr_expect_gt(matrix->regions, 0);
    cr_expect_lt(matrix->volume_mm3.value, 0.5 * truth, "the cut was found: this draw no longer tests what it is for");
    cr_expect_gt(change.untold_mm3.low, 0.0);
    cr_expect(matrix->faint);
    cr_expect_leq(truth, matrix->volume_mm3.high);
    rlv_change_free(&change);
    preparing_free(&p);
}

Test(change, a_scrap_of_a_cut_leaves_room_for_what_the_balance_surely_misses)
{
    expect_room_for_the_missing(70139);
}

/// Here the balance alone is no sure sign (2.5 sd of its error): that more is missing than was found is the other half.
Test(change, a_scrap_of_a_cut_leaves_room_where_more_is_missing_than_was_found)
{
    expect_room_for_the_missing(70380);
}
