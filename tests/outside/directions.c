/// Directions against R's package circular on the data sets that it brings, and against printed examples.
///
/// Expected values: directions.txt, made by directions.R with the versions written there; R is not needed here.
/// Printed examples: P. Wessel, Data Analysis (lecture notes, University of Hawaii), chapter 9, Analysis of directional
/// data (DA1_Chap9.tex of the author's repository DA1 at commit 1d2630d, 2018); and the worked example of fisher_mean
/// in the documentation of the library PmagPy (L. Tauxe and others), with its figures as its own tests have them.

#include "directions.h"

#include <criterion/criterion.h>
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum
{
    MOST = 100
};

#define DEG (M_PI / 180.0)

static void check_set(const char* name, size_t count, const double expected[6], const double* azimuth)
{
    rlv_circle_mean told;
    cr_assert_eq(rlv_circle_mean_of(&told, count, azimuth, NULL, NULL), RLV_DONE);
    // Sums of some tens of sines, to sixteen figures each, over a resultant that is at least a tenth as long.
    const double rounding = 10.0 * (double)count * DBL_EPSILON;
    cr_expect_float_eq(told.mean_deg, expected[0], rounding / DEG, "%s: %.15g", name, told.mean_deg);
    cr_expect_float_eq(told.resultant_share, expected[1], rounding, "%s", name);
    // R's root is found to 1e-14 of the share's function, which is as flat as 1 / (2 kappa^2).
    cr_expect_float_eq(told.kappa, expected[2], 1e-10 * expected[2] * fmax(1.0, expected[2]), "%s: %.15g", name,
                       told.kappa);
    cr_expect_float_eq(told.sd_deg, expected[3], 10.0 * rounding / DEG, "%s", name);
    // Both are exact but for what is left out: of the integral's oscillating tail, beyond 50, some 1e-8.
    cr_log_info("%s: p %.9g, by parts %.9g, exact %.9g\n", name, told.uniform_p, expected[4], expected[5]);
    cr_expect_float_eq(told.uniform_p, expected[5], 2e-8, "%s: %g for %g", name, told.uniform_p, expected[5]);
}

static void check_walk(const char* name, size_t count, const double expected[2], const double* length)
{
    // The series is told to be good to 1e-8; the integrand's tail beyond 1000, x to minus 3 for five steps, to 1e-9.
    const double told = rlv_circle_uniform_p(count, length, expected[0]);
    cr_expect_float_eq(told, expected[1], 1e-8, "%s: %.12g for %.12g", name, told, expected[1]);
}

static bool read_line(FILE* file, char line[4096])
{
    while (fgets(line, 4096, file) != NULL)
        if (line[0] != '#')
            return true;
    return false;
}

static void read_numbers(char* at, double* number, size_t count)
{
    for (size_t i = 0; i < count; i++)
        number[i] = strtod(at, &at);
}

Test(directions, azimuths_are_summed_up_as_r_circular_does)
{
    char line[4096], name[32];
    FILE* file = fopen(RLV_TESTS_DIR "/outside/directions.txt", "r");
    cr_assert_not_null(file);
    size_t sets = 0, walks = 0;
    for (size_t count = 0; read_line(file, line); sets++)
    {
        double expected[6], azimuth[MOST];
        cr_assert_eq(sscanf(line, "%31s %zu", name, &count), 2);
        cr_assert_leq(count, MOST);
        cr_assert(read_line(file, line));
        read_numbers(line, expected, 6);
        cr_assert(read_line(file, line));
        read_numbers(line, azimuth, count);
        const bool is_walk = strncmp(name, "walk", 4) == 0;
        walks += is_walk;
        (is_walk ? check_walk : check_set)(name, count, expected, azimuth);
    }
    fclose(file);
    cr_expect_eq(sets, 12);
    cr_expect_eq(walks, 4);
}

Test(directions, strikes_of_faults_have_the_printed_mean)
{
    // Wessel, section "Test for a random direction": strikes of 13 faults, doubled; and "Test for a specific
    // direction".
    static const double doubled[] = {220, 240, 260, 270, 276, 280, 282, 290, 300, 310, 200, 320, 340};
    rlv_circle_mean told;
    cr_assert_eq(rlv_circle_mean_of(&told, 13, doubled, NULL, NULL), RLV_DONE);
    cr_expect_float_eq(told.mean_deg, 277.0, 0.5);              // printed 277
    cr_expect_float_eq(told.resultant_share, 0.802, 0.0005);    // printed 0.802
    cr_expect_float_eq(told.kappa, 2.897, 0.02);                // printed 2.897, from a table by steps of R
    cr_expect_float_eq(told.mean_sd_deg * DEG, 0.1820, 0.0006); // printed 0.1820, with that kappa
    cr_expect_lt(told.uniform_p, 0.01);
    // "Critical R of 13 at 0.05 is 0.475", as closely as three figures tell (p falls by 2 n R p a unit of R).
    cr_expect_float_eq(rlv_circle_uniform_p(13, NULL, 13.0 * 0.475), 0.05, 2.0 * 13.0 * 0.475 * 0.05 * 0.0005);
}

/// Declination and inclination as a direction: x north, y east, z down.
static rlv_vec3 remanence(double dec_deg, double inc_deg)
{
    return rlv_vec3_of(cos(DEG * inc_deg) * cos(DEG * dec_deg), cos(DEG * inc_deg) * sin(DEG * dec_deg),
                       sin(DEG * inc_deg));
}

static rlv_sphere_mean remanence_mean(size_t count, const double di[][2])
{
    rlv_vec3 way[16];
    rlv_sphere_mean mean;
    for (size_t i = 0; i < count; i++)
        way[i] = remanence(di[i][0], di[i][1]);
    cr_assert_eq(rlv_sphere_mean_of(&mean, count, way, NULL), RLV_DONE);
    return mean;
}

Test(directions, remanence_of_two_sites_has_the_printed_means)
{
    // Wessel, sections "Test for a random direction" to "Test for equality of two mean directions" on the sphere. Its
    // inclinations are printed from the mean of z without the resultant's length, so x, y and z are held against it.
    static const double first[][2] = {{105, 40}, {130, 49}, {115, 57}, {120, 32}, {118, 55}, {145, 45}},
                        second[][2] = {{65, 25}, {72, 20}, {51, 30}, {75, 23}, {50, 18}, {45, 33}};
    const rlv_sphere_mean a = remanence_mean(6, first), b = remanence_mean(6, second);
    cr_expect_float_eq(a.resultant, 5.86, 0.005);
    cr_expect_float_eq(a.resultant_share, 0.977, 0.0005);
    cr_expect_float_eq(a.mean.x, -0.3621, 0.0006); // printed from means rounded to three figures
    cr_expect_float_eq(a.mean.y, 0.5770, 0.0006);
    cr_expect_float_eq(a.mean.z, 0.7321, 0.0006);
    // Printed k 35.7 is 5 / (6 - 5.86): R there has three figures, between 34.5 and 37.0.
    cr_expect(a.kappa > 5.0 / 0.145 && a.kappa < 5.0 / 0.135, "%g", a.kappa);
    cr_expect_float_eq(b.resultant, 5.88, 0.005);
    cr_expect_float_eq(atan2(b.mean.y, b.mean.x) / DEG, 59.9, 0.1);
    cr_expect_float_eq(b.resultant_share, 0.979, 0.0006);
    // "The critical R for 0.05 is 0.642": P falls by 2 n R p / (2 / 3) a unit of R there, some 0.6.
    cr_expect_float_eq(rlv_sphere_uniform_p(6, 6.0 * 0.642), 0.05, 0.6 * 0.0005 * 2.0);
}

Test(directions, four_directions_have_the_mean_and_cone_of_a_documented_example)
{
    static const double di[][2] = {{140, 21}, {127, 23}, {142, 19}, {136, 22}};
    const rlv_sphere_mean told = remanence_mean(4, di);
    // Four sines of sixteen figures; kappa divides by 4 - R = 0.019, the cone by its root.
    cr_expect_float_eq(atan2(told.mean.y, told.mean.x) / DEG, 136.30838974272072, 1e-12);
    cr_expect_float_eq(asin(told.mean.z) / DEG, 21.34778402689999, 1e-12);
    cr_expect_float_eq(told.resultant, 3.9812138971889026, 1e-14);
    cr_expect_float_eq(told.kappa, 159.69251473636305, 1e-10);
    cr_expect_float_eq(told.cone_deg, 7.292891411309177, 1e-12);
}
