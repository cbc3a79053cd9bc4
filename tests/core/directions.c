#include "directions.h"

#include "noise.h"
#include "scan.h"

#include <criterion/criterion.h>
#include <float.h>
#include <stdio.h>

enum
{
    TRIALS = 2000,
    MOST = 60,
};

#define DEG (M_PI / 180.0)

/// A dozen products and a few functions good to an ulp each, in degrees of up to 360.
#define ROUNDING_DEG (360.0 * 32 * DBL_EPSILON)

/// A share of `TRIALS` near 95 % has an sd of 0.5 %: 93 to 97 % is four of them.
static void expect_coverage(const char* what, int inside)
{
    const double share = (double)inside / TRIALS;
    cr_log_info("%s: inside in %.4f\n", what, share);
    cr_expect(share > 0.93 && share < 0.97, "%s: inside in %.4f of %d", what, share, (int)TRIALS);
}

static rlv_compass compass_of(rlv_vec3 up, rlv_vec3 north)
{
    rlv_compass compass;
    rlv_error error = {0};
    cr_assert_eq(rlv_compass_of(&compass, up, north, &error), RLV_DONE, "%s", error.what);
    return compass;
}

static double apart_deg(rlv_vec3 a, rlv_vec3 b)
{
    return atan2(rlv_vec3_length(rlv_vec3_cross(a, b)), rlv_vec3_dot(a, b)) / DEG;
}

// --- compass ---------------------------------------------------------------------------------------------------------

Test(directions, an_azimuth_runs_clockwise_from_north_and_a_plunge_is_positive_down)
{
    // x east, y north, z up, as on a map.
    const rlv_compass map = compass_of(rlv_vec3_of(0, 0, 2), rlv_vec3_of(0, 5, 0));
    const struct
    {
        rlv_vec3 way;
        double trend, plunge;
    } known[] = {{{0, 1, 0}, 0, 0},     {{3, 0, 0}, 90, 0},    {{0, -1, 0}, 180, 0},   {{-1, 0, 0}, 270, 0},
                 {{1, 1, 0}, 45, 0},    {{0, 1, -1}, 0, 45},   {{-1, 0, 1}, 270, -45}, {{0, 0, -1}, 0, 90},
                 {{0, 0, 0.1}, 0, -90}, {{-1e-30, 1, 0}, 0, 0}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
    {
        const rlv_trend told = rlv_trend_of(&map, known[i].way);
        cr_expect_float_eq(told.trend_deg, known[i].trend, ROUNDING_DEG, "%zu: %g", i, told.trend_deg);
        cr_expect_float_eq(told.plunge_deg, known[i].plunge, ROUNDING_DEG, "%zu: %g", i, told.plunge_deg);
    }
}

Test(directions, a_plane_dips_to_the_right_of_its_strike)
{
    const rlv_compass map = compass_of(rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0));
    // A plane that falls 30 degrees to the east strikes north; its pole leans east.
    const rlv_vec3 east_down = rlv_vec3_of(sin(30 * DEG), 0.0, cos(30 * DEG));
    for (int sense = -1; sense <= 1; sense += 2)
    {
        const rlv_strike told = rlv_strike_of(&map, rlv_vec3_scale(east_down, 7.0 * sense));
        cr_expect_float_eq(told.strike_deg, 0.0, ROUNDING_DEG);
        cr_expect_float_eq(told.dip_deg, 30.0, ROUNDING_DEG);
    }
    // It falls along the azimuth to the right of its strike.
    const rlv_vec3 pole = rlv_strike_pole(&map, (rlv_strike){200.0, 40.0});
    cr_expect_float_eq(rlv_vec3_dot(pole, rlv_trend_vector(&map, (rlv_trend){290.0, 40.0})), 0.0, ROUNDING_DEG);
    const rlv_strike level = rlv_strike_of(&map, rlv_vec3_of(0, 0, -1)), wall = rlv_strike_of(&map, map.north);
    cr_expect_eq(level.strike_deg, 0.0);
    cr_expect_eq(level.dip_deg, 0.0);
    cr_expect_float_eq(wall.dip_deg, 90.0, ROUNDING_DEG);
}

Test(directions, trend_and_strike_lead_there_and_back_in_any_frame)
{
    scan_random random = {noise_hash(1, 2)};
    for (int i = 0; i < 500; i++)
    {
        rlv_vec3 v[3];
        for (int k = 0; k < 3; k++)
        {
            v[k].x = scan_random_normal(&random);
            v[k].y = scan_random_normal(&random);
            v[k].z = scan_random_normal(&random);
        }
        if (fabs(rlv_vec3_dot(rlv_vec3_unit(v[0]), rlv_vec3_unit(v[1]))) > 0.999)
            continue;
        const rlv_compass compass = compass_of(v[0], v[1]);
        cr_expect_lt(apart_deg(rlv_trend_vector(&compass, rlv_trend_of(&compass, v[2])), v[2]), ROUNDING_DEG);
        const rlv_vec3 pole = rlv_strike_pole(&compass, rlv_strike_of(&compass, v[2]));
        cr_expect_geq(rlv_vec3_dot(pole, compass.up), 0.0);
        // The dip is found from 90 degrees less a plunge.
        cr_expect_lt(fmin(apart_deg(pole, v[2]), apart_deg(rlv_vec3_scale(pole, -1.0), v[2])), 2.0 * ROUNDING_DEG);
    }
}

Test(directions, a_compass_without_up_or_north_is_refused)
{
    rlv_compass compass;
    rlv_error error = {0};
    cr_expect_eq(rlv_compass_of(&compass, rlv_vec3_of(0, 0, 0), rlv_vec3_of(0, 1, 0), &error), RLV_BAD_INPUT);
    cr_expect_eq(rlv_compass_of(&compass, rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, (double)NAN, 0), &error), RLV_BAD_INPUT);
    cr_expect_eq(rlv_compass_of(&compass, rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 0.01, -1), &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "north lies along up");
}

// --- directions in space ---------------------------------------------------------------------------------------------

/// A direction of Fisher's distribution about z: its cosine by inverting the distribution.
static rlv_vec3 draw_fisher(scan_random* random, double kappa)
{
    const double u = scan_random_unit(random), turn = 2.0 * M_PI * scan_random_unit(random);
    const double c = 1.0 + log(u + (1.0 - u) * exp(-2.0 * kappa)) / kappa, s = sqrt(fmax(1.0 - c * c, 0.0));
    return rlv_vec3_of(s * cos(turn), s * sin(turn), c);
}

static rlv_vec3 draw_uniform(scan_random* random)
{
    const double c = 2.0 * scan_random_unit(random) - 1.0, turn = 2.0 * M_PI * scan_random_unit(random);
    return rlv_vec3_of(sqrt(1.0 - c * c) * cos(turn), sqrt(1.0 - c * c) * sin(turn), c);
}

Test(directions, the_cone_holds_the_true_mean_in_95_of_100_samples)
{
    const size_t counts[] = {3, 8, 30};
    const double kappas[] = {8.0, 40.0}; // Fisher's cone is exact for close directions (kappa above 3, say)
    for (size_t k = 0; k < 6; k++)
    {
        scan_random random = {noise_hash(7, k)};
        int inside = 0;
        for (int trial = 0; trial < TRIALS; trial++)
        {
            rlv_vec3 way[MOST];
            rlv_sphere_mean mean;
            for (size_t i = 0; i < counts[k % 3]; i++)
                way[i] = draw_fisher(&random, kappas[k / 3]);
            cr_assert_eq(rlv_sphere_mean_of(&mean, counts[k % 3], way, NULL), RLV_DONE);
            inside += apart_deg(mean.mean, rlv_vec3_of(0, 0, 1)) <= mean.cone_deg;
        }
        char what[80];
        snprintf(what, sizeof what, "cone of %zu, kappa %g", counts[k % 3], kappas[k / 3]);
        expect_coverage(what, inside);
    }
}

// Scatter of 15 degrees one way, and none, half or all of it the other. Of few that scatter alike all around, the
// widest way is found too wide, and the wider of the two leaves the mean out in 3 of 100 at the least.
Test(directions, the_wider_of_cone_and_widest_interval_holds_the_mean_however_directions_scatter)
{
    const size_t counts[] = {5, 8, 30};
    const double others[] = {0.0, 0.5, 1.0};
    for (size_t k = 0; k < 9; k++)
    {
        scan_random random = {noise_hash(15, k)};
        int inside = 0;
        for (int trial = 0; trial < TRIALS; trial++)
        {
            rlv_vec3 way[MOST];
            rlv_sphere_mean mean;
            for (size_t i = 0; i < counts[k % 3]; i++)
            {
                const double x = 15 * DEG * scan_random_normal(&random),
                             y = others[k / 3] * 15 * DEG * scan_random_normal(&random), far = hypot(x, y);
                way[i] = rlv_vec3_of(sin(far) * x / far, sin(far) * y / far, cos(far));
            }
            cr_assert_eq(rlv_sphere_mean_of(&mean, counts[k % 3], way, NULL), RLV_DONE);
            inside += apart_deg(mean.mean, rlv_vec3_of(0, 0, 1)) <= fmax(mean.cone_deg, mean.widest_deg);
        }
        const double share = (double)inside / TRIALS;
        cr_log_info("%zu, %g: %.4f\n", counts[k % 3], others[k / 3], share);
        cr_expect(share > 0.93 && share < 0.985, "%zu, %g: %.4f", counts[k % 3], others[k / 3], share);
    }
}

// Three in a plane, one and two 10 degrees to either side of it: Student's for two degrees of freedom is 4.303, the sd
// of the sines sin 10, the mean resultant length (1 + 2 cos 10) / 3.
Test(directions, the_widest_interval_is_students)
{
    const rlv_vec3 way[] = {{0, 0, 1}, {sin(10 * DEG), 0, cos(10 * DEG)}, {-sin(10 * DEG), 0, cos(10 * DEG)}};
    rlv_sphere_mean mean;
    cr_assert_eq(rlv_sphere_mean_of(&mean, 3, way, NULL), RLV_DONE);
    const double tangent = 4.302653 * sin(10 * DEG) / sqrt(3.0) / ((1.0 + 2.0 * cos(10 * DEG)) / 3.0);
    cr_expect_float_eq(mean.widest_deg, atan(tangent) / DEG, 1e-5); // six decimals of Student's
}

Test(directions, two_uniform_directions_sum_beyond_r_with_the_chance_that_geometry_tells)
{
    // The cosine between two is even in -1 to 1 and R^2 = 2 + 2 cos: P(R > r) = 1 - r^2 / 4.
    for (double r = 0.0; r <= 2.0; r += 0.125)
        cr_expect_float_eq(rlv_sphere_uniform_p(2, r), 1.0 - 0.25 * r * r, 16 * DBL_EPSILON);
}

Test(directions, the_test_of_uniformity_raises_a_false_alarm_in_5_of_100)
{
    const size_t counts[] = {3, 20, 21, 60};
    for (size_t k = 0; k < 4; k++)
    {
        scan_random random = {noise_hash(8, k)};
        int quiet = 0;
        for (int trial = 0; trial < TRIALS; trial++)
        {
            rlv_vec3 way[MOST];
            rlv_sphere_mean mean;
            for (size_t i = 0; i < counts[k]; i++)
                way[i] = draw_uniform(&random);
            cr_assert_eq(rlv_sphere_mean_of(&mean, counts[k], way, NULL), RLV_DONE);
            quiet += mean.uniform_p > 0.05;
        }
        char what[80];
        snprintf(what, sizeof what, "no alarm, %zu uniform directions", counts[k]);
        expect_coverage(what, quiet);
    }
}

Test(directions, the_formula_for_many_goes_on_where_the_exact_one_ends)
{
    // Of one 3 R^2 / n the chance moves by about a share of 1 / n^2 from n to n + 1 (the correction takes the first
    // order up), and the correction's own error is of that order: twice 1 / 400 of p, and 1e-4 where p is nothing.
    for (double s = 0.5; s < 16.0; s += 0.5)
    {
        const double exact = rlv_sphere_uniform_p(20, sqrt(s * 20.0 / 3.0));
        const double many = rlv_sphere_uniform_p(21, sqrt(s * 21.0 / 3.0));
        cr_expect_float_eq(many, exact, 1e-4 + exact * 2.0 / 400.0 + 0.1 * s * exact / 20.0, "s %g: %g, %g", s, exact,
                           many);
    }
}

Test(directions, one_direction_has_a_mean_and_no_cone)
{
    const rlv_vec3 way = {0, 3, 4};
    rlv_sphere_mean mean;
    cr_assert_eq(rlv_sphere_mean_of(&mean, 1, &way, NULL), RLV_DONE);
    cr_expect_lt(apart_deg(mean.mean, way), ROUNDING_DEG);
    cr_expect(isnan(mean.cone_deg) && isnan(mean.widest_deg) && isnan(mean.kappa) && isnan(mean.uniform_p));
}

Test(directions, directions_that_cancel_point_anywhere)
{
    const rlv_vec3 way[] = {{1, 2, 3}, {-1, -2, -3}};
    rlv_sphere_mean mean;
    cr_assert_eq(rlv_sphere_mean_of(&mean, 2, way, NULL), RLV_DONE);
    cr_expect_eq(mean.cone_deg, 180.0);
    cr_expect_eq(mean.widest_deg, 180.0);
    cr_expect_eq(mean.resultant, 0.0);
    cr_expect_eq(mean.uniform_p, 1.0);
}

Test(directions, what_points_nowhere_is_refused_by_its_place)
{
    const rlv_vec3 way[] = {{1, 0, 0}, {0, 0, 0}}, odd[] = {{1, 0, 0}, {0, 1, 0}, {0, (double)INFINITY, 1}};
    rlv_sphere_mean mean;
    rlv_orientation orientation;
    rlv_circle_mean circle;
    rlv_error error = {0};
    cr_expect_eq(rlv_sphere_mean_of(&mean, 2, way, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "direction 2 points nowhere");
    cr_expect_eq(rlv_orientation_of(&orientation, 3, odd, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "direction 3 points nowhere");
    cr_expect_eq(rlv_sphere_mean_of(&mean, 0, way, &error), RLV_BAD_INPUT);
    cr_expect_eq(rlv_circle_mean_of(&circle, 0, NULL, NULL, &error), RLV_BAD_INPUT);
    cr_expect_eq(rlv_circle_mean_of(&circle, 1, &(double){(double)NAN}, NULL, &error), RLV_BAD_INPUT);
}

// --- axes ------------------------------------------------------------------------------------------------------------

Test(directions, an_orientation_tensor_has_the_shares_that_lie_along_each_axis)
{
    // Six along x, three along y, one along z, of any length and sense: 0.6, 0.3, 0.1.
    rlv_vec3 axis[10];
    for (int i = 0; i < 10; i++)
        axis[i] = i < 6   ? rlv_vec3_of(i % 2 == 0 ? 2 : -1, 0, 0)
                  : i < 9 ? rlv_vec3_of(0, i - 7.5, 0)
                          : rlv_vec3_of(0, 0, 9);
    rlv_orientation told;
    cr_assert_eq(rlv_orientation_of(&told, 10, axis, NULL), RLV_DONE);
    const double expected[3] = {0.6, 0.3, 0.1};
    for (int k = 0; k < 3; k++)
        cr_expect_float_eq(told.eigenvalue[k], expected[k], 32 * DBL_EPSILON);
    cr_expect_float_eq(fabs(told.axis[0].x), 1.0, 32 * DBL_EPSILON);
    cr_expect_float_eq(rlv_vec3_dot(rlv_vec3_cross(told.axis[0], told.axis[1]), told.axis[2]), 1.0, 32 * DBL_EPSILON);
    cr_expect_float_eq(told.shape, log(2.0) / log(3.0), 64 * DBL_EPSILON);
    cr_expect_float_eq(told.strength, log(6.0), 64 * DBL_EPSILON);
}

Test(directions, clusters_and_girdles_fall_on_either_side_of_shape_one)
{
    rlv_vec3 cluster[MOST], girdle[MOST];
    scan_random random = {noise_hash(9, 9)};
    for (int i = 0; i < MOST; i++)
    {
        cluster[i] =
            rlv_vec3_of(0.2 * scan_random_normal(&random), 0.2 * scan_random_normal(&random), i % 2 == 0 ? 1.0 : -1.0);
        girdle[i] = rlv_vec3_of(cos(i), sin(i), 0.2 * scan_random_normal(&random));
    }
    rlv_orientation c, g;
    cr_assert_eq(rlv_orientation_of(&c, MOST, cluster, NULL), RLV_DONE);
    cr_assert_eq(rlv_orientation_of(&g, MOST, girdle, NULL), RLV_DONE);
    cr_expect_gt(c.shape, 1.0);
    cr_expect_lt(g.shape, 1.0);
    cr_expect_gt(fabs(c.axis[0].z), 0.99);
    cr_expect_gt(fabs(g.axis[2].z), 0.99);
    cr_expect_lt(c.uniform_p, 1e-6);
    cr_expect_lt(g.uniform_p, 1e-6);
}

Test(directions, axes_all_alike_are_an_infinitely_strong_cluster)
{
    const rlv_vec3 axis[] = {{1, 1, 0}, {-2, -2, 0}};
    rlv_orientation told;
    cr_assert_eq(rlv_orientation_of(&told, 2, axis, NULL), RLV_DONE);
    cr_expect_eq(told.strength, (double)INFINITY);
    cr_expect_eq(told.shape, (double)INFINITY);
}

Test(directions, bingham_test_raises_a_false_alarm_in_5_of_100)
{
    scan_random random = {noise_hash(10, 1)};
    int quiet = 0;
    for (int trial = 0; trial < TRIALS; trial++)
    {
        rlv_vec3 axis[MOST];
        rlv_orientation told;
        for (int i = 0; i < MOST; i++)
            axis[i] = draw_uniform(&random);
        cr_assert_eq(rlv_orientation_of(&told, MOST, axis, NULL), RLV_DONE);
        quiet += told.uniform_p > 0.05;
    }
    expect_coverage("no alarm, 60 uniform axes", quiet);
}

// --- azimuths --------------------------------------------------------------------------------------------------------

static double draw_von_mises_deg(scan_random* random, double mean_deg, double kappa)
{
    for (;;)
    {
        const double turn = M_PI * (2.0 * scan_random_unit(random) - 1.0);
        if (scan_random_unit(random) < exp(kappa * (cos(turn) - 1.0)))
            return mean_deg + turn / DEG;
    }
}

Test(directions, the_interval_of_a_mean_azimuth_holds_it_in_95_of_100_samples)
{
    const struct
    {
        size_t count;
        double kappa;
    } cases[] = {{5, 20.0}, {8, 4.0}, {8, 20.0}, {20, 1.5}, {20, 2.0}, {20, 6.0}, {60, 0.8}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++)
    {
        scan_random random = {noise_hash(11, k)};
        int inside = 0;
        for (int trial = 0; trial < TRIALS; trial++)
        {
            double azimuth[MOST];
            rlv_circle_mean mean;
            for (size_t i = 0; i < cases[k].count; i++)
                azimuth[i] = draw_von_mises_deg(&random, 350.0, cases[k].kappa);
            cr_assert_eq(rlv_circle_mean_of(&mean, cases[k].count, azimuth, NULL, NULL), RLV_DONE);
            inside += fabs(remainder(mean.mean_deg - 350.0, 360.0)) <= mean.half_deg;
        }
        char what[80];
        snprintf(what, sizeof what, "mean of %zu azimuths, kappa %g", cases[k].count, cases[k].kappa);
        expect_coverage(what, inside);
    }
}

Test(directions, azimuths_across_north_have_their_mean_there)
{
    rlv_circle_mean mean;
    cr_assert_eq(rlv_circle_mean_of(&mean, 2, (const double[]){350.0, 370.0}, NULL, NULL), RLV_DONE);
    cr_expect(fabs(remainder(mean.mean_deg, 360.0)) < ROUNDING_DEG && mean.mean_deg < 360.0);
    cr_expect_float_eq(mean.resultant_share, cos(10 * DEG), 8 * DBL_EPSILON);
}

// Two steps of length 1 that include the angle a end sqrt(2 + 2 cos a) out, and every a is as likely: P(R > r) = a /
// pi.
Test(directions, a_walk_of_two_steps_ends_where_the_angle_between_them_says)
{
    const double pair[2] = {3.0, 4.0};
    for (double a = 0.0; a <= M_PI; a += 0.125)
        cr_expect_float_eq(rlv_circle_uniform_p(2, NULL, sqrt(2.0 + 2.0 * cos(a))), a / M_PI, 1e-7, "%g", a);
    cr_expect_float_eq(rlv_circle_uniform_p(2, pair, 5.0), 0.5, 8 * DBL_EPSILON); // 3, 4, 5: a right angle
    cr_expect_eq(rlv_circle_uniform_p(2, pair, 7.5), 0.0);
    cr_expect_eq(rlv_circle_uniform_p(2, pair, 0.5), 1.0);
    cr_expect(isnan(rlv_circle_uniform_p(1, NULL, 0.5)));
}

// Kluyver's own: a walk of n equal steps ends within one step of where it began with the chance 1 / (n + 1).
Test(directions, a_walk_ends_within_one_step_with_the_chance_that_kluyver_found)
{
    for (size_t n = 3; n <= 40; n++)
    {
        const double p = rlv_circle_uniform_p(n, NULL, 1.0), told = n < 5 ? 1e-5 : 1e-8;
        cr_expect_float_eq(p, 1.0 - 1.0 / ((double)n + 1.0), told, "%zu steps: %.12g", n, p);
    }
}

// The third step is short: the walk ends about where two steps did, 0.001 nearer or farther.
Test(directions, a_short_step_changes_little)
{
    const double length[3] = {1.0, 1.0, 0.001}, at = 1.5, two = rlv_circle_uniform_p(2, NULL, at);
    const double slope = (rlv_circle_uniform_p(2, NULL, at - 0.001) - rlv_circle_uniform_p(2, NULL, at + 0.001)) / 2.0;
    cr_expect_float_eq(rlv_circle_uniform_p(3, length, at), two, slope + 1e-5);
}

Test(directions, rayleigh_raises_a_false_alarm_in_5_of_100_whatever_the_weights)
{
    const struct
    {
        size_t count;
        bool weighted;
    } cases[] = {{6, false}, {30, false}, {5, true}, {12, true}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++)
    {
        scan_random random = {noise_hash(12, k)};
        int quiet = 0;
        for (int trial = 0; trial < TRIALS; trial++)
        {
            double azimuth[MOST], weight[MOST];
            rlv_circle_mean mean;
            for (size_t i = 0; i < cases[k].count; i++)
            {
                azimuth[i] = 360.0 * scan_random_unit(&random);
                weight[i] = 0.1 + 0.9 * scan_random_unit(&random);
            }
            cr_assert_eq(rlv_circle_mean_of(&mean, cases[k].count, azimuth, cases[k].weighted ? weight : NULL, NULL),
                         RLV_DONE);
            quiet += mean.uniform_p > 0.05;
        }
        char what[80];
        snprintf(what, sizeof what, "no alarm, %zu azimuths%s", cases[k].count,
                 cases[k].weighted ? " of unlike weights" : "");
        expect_coverage(what, quiet);
    }
}

// The mean of a cosine over 2000 draws has an sd of 0.7 / sqrt(2000) = 0.016 at most: four of them.
Test(directions, the_trust_in_a_direction_is_the_mean_cosine_of_its_error)
{
    const double far[] = {0.0, 0.5, 1.0, 2.5, 4.0};
    scan_random random = {noise_hash(14, 1)};
    for (size_t k = 0; k < sizeof far / sizeof *far; k++)
    {
        double sum = 0.0;
        for (int trial = 0; trial < TRIALS; trial++)
            sum += cos(atan2(scan_random_normal(&random), far[k] + scan_random_normal(&random)));
        cr_expect_float_eq(rlv_circle_trust(far[k]), sum / TRIALS, 4.0 * 0.016, "%g", far[k]);
    }
    // Far out the error is normal, of sd 1 / far: a mean cosine of 1 - 1 / (2 far^2), less a term of the fourth order.
    cr_expect_float_eq(rlv_circle_trust(100.0), 1.0 - 0.5e-4, 1e-8);
}
