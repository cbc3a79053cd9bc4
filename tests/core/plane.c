#include "plane.h"

#include "noise.h"
#include "scan.h"

#include <criterion/criterion.h>
#include <float.h>

enum
{
    TRIALS = 2000,
    POINTS = 9,
};

/// Points on the plane z = 0.2 x - 0.1 y + 400 over 200 by 150 mm, each off by its sd along each axis.
static void draw(scan_random* random, rlv_placed_point* point, double true_sd_mm, double sd_mm)
{
    for (int i = 0; i < POINTS; i++)
    {
        const double x = 100.0 * (i % 3 - 1), y = 75.0 * (i / 3 - 1);
        point[i].at_mm = rlv_vec3_of(x, y, 0.2 * x - 0.1 * y + 400.0);
        point[i].at_mm.x += true_sd_mm * scan_random_normal(random);
        point[i].at_mm.y += true_sd_mm * scan_random_normal(random);
        point[i].at_mm.z += true_sd_mm * scan_random_normal(random);
        point[i].sd_mm = sd_mm;
    }
}

static rlv_vec3 truth(void)
{
    return rlv_vec3_unit(rlv_vec3_of(-0.2, 0.1, 1.0));
}

Test(plane, three_points_span_their_plane)
{
    const rlv_placed_point point[] = {{{1, 0, 5}, 0.1}, {{0, 2, 5}, 0.1}, {{-3, -1, 5}, 0.1}};
    rlv_fitted_plane plane;
    cr_assert_eq(rlv_plane_fit(&plane, 3, point, NULL), RLV_DONE);
    cr_expect_float_eq(fabs(plane.pole.z), 1.0, 16 * DBL_EPSILON);
    cr_expect_float_eq(plane.rms_mm, 0.0, 64 * DBL_EPSILON);
    cr_expect(!plane.inflated);
    // Nothing turns about the pole.
    cr_expect_float_eq(plane.cov_rad2[8], 0.0, 16 * DBL_EPSILON);
}

Test(plane, the_pole_lies_in_its_region_in_95_of_100_trials)
{
    scan_random random = {noise_hash(1, 7)};
    int inside = 0, inflated = 0;
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_placed_point point[POINTS];
        rlv_fitted_plane plane;
        draw(&random, point, 0.5, 0.5);
        cr_assert_eq(rlv_plane_fit(&plane, POINTS, point, NULL), RLV_DONE);
        const rlv_vec3 pole = plane.pole.z < 0.0 ? rlv_vec3_scale(plane.pole, -1.0) : plane.pole;
        // The turn from one to the other, in the two directions across the pole; x and y nearly are those.
        const rlv_vec3 turn = rlv_vec3_cross(truth(), pole);
        const double* c = plane.cov_rad2;
        const double square = (c[4] * turn.x * turn.x - 2.0 * c[1] * turn.x * turn.y + c[0] * turn.y * turn.y) /
                              (c[0] * c[4] - c[1] * c[1]);
        inside += square <= 5.991465; // chi-square with two degrees of freedom
        inflated += plane.inflated;
    }
    // 95 % of 2000 has an sd of 0.5 %; widening where scatter is great by chance adds to the share, by less than 1 %.
    cr_log_info("inside %.4f, inflated %.4f\n", (double)inside / TRIALS, (double)inflated / TRIALS);
    cr_expect(inside > 0.93 * TRIALS && inside < 0.97 * TRIALS, "inside in %d", inside);
    cr_expect(inflated > 0.03 * TRIALS && inflated < 0.07 * TRIALS, "inflated in %d", inflated);
}

Test(plane, bedding_rougher_than_its_sds_is_told_less_surely)
{
    scan_random random = {noise_hash(2, 7)};
    rlv_placed_point rough[POINTS], sure[POINTS];
    rlv_fitted_plane told, fine;
    draw(&random, rough, 3.0, 0.3);
    for (int i = 0; i < POINTS; i++)
        sure[i] = (rlv_placed_point){rough[i].at_mm, 5.0};
    cr_assert_eq(rlv_plane_fit(&told, POINTS, rough, NULL), RLV_DONE);
    cr_assert_eq(rlv_plane_fit(&fine, POINTS, sure, NULL), RLV_DONE);
    cr_expect(told.inflated && !fine.inflated);
    // With equal sds the fit is the same, and widened it holds the scatter: rms 3 mm times sqrt(9 / 6) for six degrees
    // of freedom, over a spread of 100 mm by sqrt(6): an sd along x of rms * sqrt(9 / 6) / 245.
    cr_expect_float_eq(sqrt(fmax(told.cov_rad2[0], told.cov_rad2[4])), told.rms_mm * sqrt(1.5) / (75.0 * sqrt(6.0)),
                       0.1 * told.rms_mm / 245.0);
}

Test(plane, a_measured_plane_tilts_alike_in_every_direction)
{
    const rlv_fitted_plane plane = rlv_plane_known(rlv_vec3_of(0, 0, 3), 2.0);
    const double variance = pow(2.0 * M_PI / 180.0, 2.0);
    for (int k = 0; k < 9; k++)
        cr_expect_float_eq(plane.cov_rad2[k], k == 0 || k == 4 ? variance : 0.0, variance * 8 * DBL_EPSILON);
}

Test(plane, points_that_are_no_plane_are_refused)
{
    const rlv_placed_point line[] = {{{0, 0, 0}, 0.3}, {{10, 0.1, 0}, 0.3}, {{20, -0.1, 0}, 0.3}, {{30, 0, 0.1}, 0.3}};
    const rlv_placed_point odd[] = {{{0, 0, 0}, 0.3}, {{10, 0, 0}, 0.3}, {{0, (double)NAN, 0}, 0.3}};
    const rlv_placed_point sure[] = {{{0, 0, 0}, 0.3}, {{10, 0, 0}, 0.0}, {{0, 10, 0}, 0.3}};
    rlv_fitted_plane plane;
    rlv_error error = {0};
    cr_expect_eq(rlv_plane_fit(&plane, 2, line, &error), RLV_BAD_INPUT);
    cr_expect_eq(rlv_plane_fit(&plane, 4, line, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "the 4 points lie on a line within their sds");
    cr_expect_eq(rlv_plane_fit(&plane, 3, odd, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "point 3 is nowhere: it is not finite");
    cr_expect_eq(rlv_plane_fit(&plane, 3, sure, &error), RLV_BAD_INPUT);
}

Test(plane, points_that_are_a_line_within_their_scatter_are_refused)
{
    // They lie off the line by 1 mm one way and by 0.5 mm the other: sds of 0.05 mm would make a plane of that.
    const rlv_placed_point rough[] = {
        {{0, 1, 0.5}, 0.05}, {{10, -1, -0.5}, 0.05}, {{20, 1, -0.5}, 0.05}, {{30, -1, 0.5}, 0.05}};
    rlv_fitted_plane plane;
    rlv_error error = {0};
    cr_expect_eq(rlv_plane_fit(&plane, 4, rough, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "the 4 points lie on a line within their scatter");
}

Test(plane, a_plane_that_was_measured_is_as_sure_as_it_was_said_to_be)
{
    const rlv_fitted_plane plane = rlv_plane_known(rlv_vec3_of(0.3, -0.4, 1.2), 2.5);
    cr_expect_float_eq(rlv_plane_pole_sd_deg(&plane), 2.5, 1e-12);
}
