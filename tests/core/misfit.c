#include "misfit.h"
#include "scan.h"
#include "support/ellipsoid.h"

#include <criterion/criterion.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    SIDE = 14, // patches along a plate
    TRIALS = 400,
};

/// A dish of 200 mm with a bent surface (a flat one would not resist every motion), its patches, and one draw of the
/// error on it.
typedef struct dish
{
    rlv_patch patch[SIDE * SIDE];
    bool hidden[SIDE * SIDE];
    double truth_mm3;
    double motion[6]; ///< shift and turn vector about the origin
} dish;

static rlv_patch dish_patch(int i, int j)
{
    const double pitch = 200.0 / SIDE, x = (i - SIDE / 2) * pitch, y = (j - SIDE / 2) * pitch;
    rlv_patch p = {.centre_mm = {x, y, 20.0 * sin(x / 40.0) * cos(y / 50.0)}, .area_mm2 = pitch * pitch};
    p.normal =
        rlv_vec3_unit(rlv_vec3_of(-0.5 * cos(x / 40.0) * cos(y / 50.0), 0.4 * sin(x / 40.0) * sin(y / 50.0), 1.0));
    p.turn_mm = rlv_vec3_cross(p.centre_mm, p.normal);
    p.breadth_mm = rlv_vec3_dot(p.centre_mm, p.normal);
    p.spread_mm2 = pitch * pitch / 12.0;
    return p;
}

/// Warp as cosines in space with a Gaussian covariance of sd 1.
typedef struct waves
{
    rlv_vec3 turn[60];
    double phase[3][60], strength[3][60];
} waves;

static waves draw_waves(scan_random* random, double length_mm)
{
    waves w;
    for (int k = 0; k < 60; k++)
    {
        w.turn[k] = rlv_vec3_scale(
            rlv_vec3_of(scan_random_normal(random), scan_random_normal(random), scan_random_normal(random)),
            1.0 / length_mm);
        for (int c = 0; c < 3; c++)
        {
            w.phase[c][k] = 2.0 * M_PI * scan_random_unit(random);
            w.strength[c][k] = sqrt(2.0 / 60.0);
        }
    }
    return w;
}

static double warp_along(const waves* w, const rlv_patch* p)
{
    double at[3] = {0};
    for (int k = 0; k < 60; k++)
        for (int c = 0; c < 3; c++)
            at[c] += w->strength[c][k] * cos(rlv_vec3_dot(w->turn[k], p->centre_mm) + w->phase[c][k]);
    return rlv_vec3_dot(p->normal, rlv_vec3_of(at[0], at[1], at[2]));
}

static dish draw_dish(scan_random* random, double warp_sd_mm, double length_mm, double noise_mm, double scale)
{
    dish d = {0};
    const waves w = draw_waves(random, length_mm);
    const double reach = 30.0 + 40.0 * scan_random_unit(random);
    const rlv_vec3 shift = {0.3 * scan_random_normal(random), 0.3 * scan_random_normal(random),
                            0.3 * scan_random_normal(random)},
                   turn = {0.002 * scan_random_normal(random), 0.002 * scan_random_normal(random),
                           0.002 * scan_random_normal(random)};
    for (int k = 0; k < SIDE * SIDE; k++)
    {
        rlv_patch* p = d.patch + k;
        *p = dish_patch(k / SIDE, k % SIDE);
        d.hidden[k] = hypot(p->centre_mm.x - 20.0, p->centre_mm.y + 10.0) < reach;
        p->depth_mm = rlv_vec3_dot(shift, p->normal) + rlv_vec3_dot(turn, p->turn_mm) + scale * p->breadth_mm +
                      warp_sd_mm * warp_along(&w, p) + noise_mm * scan_random_normal(random);
        d.truth_mm3 += d.hidden[k] ? p->area_mm2 * p->depth_mm : 0.0;
    }
    const double motion[6] = {shift.x, shift.y, shift.z, turn.x, turn.y, turn.z};
    memcpy(d.motion, motion, sizeof motion);
    return d;
}

/// Warp of 30 to 160 mm and 0.05 to 0.4 mm over noise of 0.1 mm a patch.
static dish draw_warped_dish(uint64_t seed)
{
    scan_random random = {seed};
    const double length = 30.0 * pow(160.0 / 30.0, scan_random_unit(&random));
    const double sd = 0.05 * pow(8.0, scan_random_unit(&random));
    return draw_dish(&random, sd, length, 0.1, 0.0);
}

/// The patches of a dish that are hidden, or those that are seen; returns how many.
static size_t pick_patches(rlv_patch picked[SIDE * SIDE], const dish* d, bool hidden)
{
    size_t count = 0;
    for (int k = 0; k < SIDE * SIDE; k++)
        if (d->hidden[k] == hidden)
            picked[count++] = d->patch[k];
    return count;
}

/// Fit what is seen of a dish and predict what is hidden.
static rlv_flux_error predict_hidden(const dish* d, double scale_sd)
{
    rlv_patch seen[SIDE * SIDE], hidden[SIDE * SIDE];
    const size_t seen_count = pick_patches(seen, d, false), hidden_count = pick_patches(hidden, d, true);
    rlv_error error = {0};
    rlv_misfit* misfit = NULL;
    cr_assert_eq(rlv_misfit_fit(&misfit, seen, NULL, seen_count, 0.0, scale_sd, &error), RLV_DONE, "%s", error.what);
    const rlv_flux flux = {hidden, hidden_count, hidden, hidden_count, false};
    rlv_flux_error predicted;
    cr_assert_eq(rlv_misfit_predict(misfit, &flux, 1, &predicted, &error), RLV_DONE);
    rlv_misfit_free(misfit);
    return predicted;
}

/// Warp of 30 to 160 mm and 0.05 to 0.4 mm over noise of 0.1 mm a patch: the truth lies inside in 95 % of trials. The
/// sd of that share over 400 trials is 1.1 %; 93 and 97 % are asked for, and a sample may stray by two of its sd
/// beyond.
Test(misfit, intervals_of_hidden_volume_hold_the_truth)
{
    int inside = 0;
#pragma omp parallel for reduction(+ : inside) schedule(dynamic, 1)
    for (int t = 0; t < TRIALS; t++)
    {
        const dish d = draw_warped_dish(1000 + (uint64_t)t);
        const rlv_flux_error e = predict_hidden(&d, 0.0);
        inside += d.truth_mm3 >= e.low_mm3 && d.truth_mm3 <= e.high_mm3;
    }
    const double share = (double)inside / TRIALS;
    cr_expect(share > 0.93 - 0.022 && share < 0.97 + 0.022, "inside in %.3f of %d", share, TRIALS);
}

/// How far least squares over what is seen of a dish puts the motion from the truth, in terms of the covariance that is
/// told: d' C^-1 d.
static double motion_distance(const dish* d)
{
    rlv_patch seen[SIDE * SIDE];
    double covariance[49], normal[36] = {0}, right[6] = {0}, off[7] = {0};
    const size_t count = pick_patches(seen, d, false);
    rlv_error error = {0};
    rlv_misfit* misfit = NULL;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_patch* p = seen + i;
        const double row[6] = {p->normal.x, p->normal.y, p->normal.z, p->turn_mm.x, p->turn_mm.y, p->turn_mm.z};
        for (int k = 0; k < 6; k++)
        {
            right[k] += row[k] * p->depth_mm;
            for (int l = 0; l < 6; l++)
                normal[6 * k + l] += row[k] * row[l];
        }
    }
    gsl_matrix_view n = gsl_matrix_view_array(normal, 6, 6);
    gsl_vector_view b = gsl_vector_view_array(right, 6);
    gsl_linalg_cholesky_decomp1(&n.matrix);
    gsl_linalg_cholesky_svx(&n.matrix, &b.vector);
    cr_assert_eq(rlv_misfit_fit(&misfit, seen, NULL, count, 0.0, 0.0, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(rlv_misfit_motion(covariance, misfit, rlv_vec3_of(0, 0, 0), &error), RLV_DONE);
    rlv_misfit_free(misfit);
    for (int k = 0; k < 6; k++)
        off[k] = right[k] - d->motion[k];
    return ellipsoid_distance(6, off, covariance);
}

/// Under warp a motion lies within its 95 % ellipsoid (six degrees of freedom: 12.592) as often as it should: 93 to 97
/// % and two sd of a share of 200 beyond.
Test(misfit, covariance_of_a_motion_holds_the_truth)
{
    enum
    {
        DRAWS = 200,
    };
    int inside = 0;
#pragma omp parallel for reduction(+ : inside) schedule(dynamic, 1)
    for (int t = 0; t < DRAWS; t++)
    {
        const dish d = draw_warped_dish(4000 + (uint64_t)t);
        inside += motion_distance(&d) < 12.592;
    }
    const double share = (double)inside / DRAWS;
    cr_expect(share > 0.93 - 0.031 && share < 0.97 + 0.031, "inside in %.3f of %d", share, DRAWS);
}

/// A rigid motion without noise is a trend and nothing else: what is hidden is predicted to rounding (depths below 1 mm
/// in double, a variance floor of 1e-12 mm2 a patch: 1e-6 mm over 20,000 mm2 is 0.02 mm3, and a prior of slipping
/// motions of the same order).
Test(misfit, rigid_motion_is_predicted_exactly)
{
    scan_random random = {5};
    const dish d = draw_dish(&random, 0.0, 50.0, 0.0, 0.0);
    const rlv_flux_error e = predict_hidden(&d, 0.0);
    cr_expect(fabs(e.mean_mm3 - d.truth_mm3) < 0.05, "off by %g of %g", e.mean_mm3 - d.truth_mm3, d.truth_mm3);
}

/// A scale error of 1 in 1000 is far outside of no scale, and is found where the scale is free.
Test(misfit, free_scale_is_predicted_with_its_prior)
{
    scan_random random = {6};
    const dish d = draw_dish(&random, 0.0, 50.0, 0.0, 0.001);
    const rlv_flux_error fixed = predict_hidden(&d, 0.0), free_scale = predict_hidden(&d, 0.001);
    cr_expect(fabs(free_scale.mean_mm3 - d.truth_mm3) < 0.05 + 0.1 * fabs(fixed.mean_mm3 - d.truth_mm3));
}

Test(misfit, few_patches_are_refused_with_a_mend)
{
    rlv_patch patch[10];
    for (int k = 0; k < 10; k++)
        patch[k] = dish_patch(k, k);
    rlv_misfit* misfit = NULL;
    rlv_error error = {0};
    cr_expect_eq(rlv_misfit_fit(&misfit, patch, NULL, 10, 0.0, 0.0, &error), RLV_IMPOSSIBLE);
    cr_expect_null(misfit);
    cr_expect_neq(error.mend[0], '\0');
}

/// Patches keep the whole area and the whole integral of the depth.
Test(misfit, patches_keep_area_and_depth)
{
    enum
    {
        N = 500,
    };
    float position[3 * N], normal[3 * N], area[N], depth[N];
    scan_random random = {7};
    double area_sum = 0.0, depth_sum = 0.0;
    for (int i = 0; i < N; i++)
    {
        for (int k = 0; k < 3; k++)
            position[3 * i + k] = (float)(100.0 * scan_random_unit(&random));
        normal[3 * i] = normal[3 * i + 1] = 0.0f;
        normal[3 * i + 2] = 1.0f;
        area[i] = (float)(1.0 + scan_random_unit(&random));
        depth[i] = (float)scan_random_normal(&random);
        area_sum += (double)area[i];
        depth_sum += (double)area[i] * (double)depth[i];
    }
    rlv_patch* patch;
    size_t count;
    rlv_error error = {0};
    cr_assert_eq(
        rlv_patches_gather(&patch, NULL, &count, N, position, normal, area, depth, NULL, 30.0, 0.0, 0.0, &error),
        RLV_DONE);
    for (size_t p = 0; p < count; p++)
    {
        area_sum -= patch[p].area_mm2;
        depth_sum -= patch[p].area_mm2 * patch[p].depth_mm;
    }
    // Doubles over 500 terms of order one.
    cr_expect(fabs(area_sum) < 1e-10 && fabs(depth_sum) < 1e-10);
    free(patch);
}
