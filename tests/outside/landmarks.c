/// Rigid fits of landmarks against R's package shapes on skulls that it brings.
///
/// Expected values: landmarks.txt, made by landmarks.R with the version written there; R is not needed here.

#include "pose.h"

#include <criterion/criterion.h>
#include <float.h>
#include <stdio.h>
#include <stdlib.h>

enum
{
    LANDMARKS = 7
};

static void read_numbers(FILE* file, double* number, size_t count)
{
    char line[4096], *at = line;
    while (fgets(line, sizeof line, file) != NULL && line[0] == '#')
        ;
    for (size_t i = 0; i < count; i++)
        number[i] = strtod(at, &at);
}

static void read_skull(FILE* file, rlv_vec3 mark[LANDMARKS])
{
    double number[3 * LANDMARKS];
    read_numbers(file, number, 3 * LANDMARKS);
    for (int i = 0; i < LANDMARKS; i++)
        mark[i] = rlv_vec3_of(number[3 * i], number[3 * i + 1], number[3 * i + 2]);
}

static void check_fit(const double expected[11], const rlv_vec3* to, const rlv_vec3* from, bool scale)
{
    rlv_pose pose;
    rlv_error error = {0};
    cr_assert_eq(rlv_pose_fit(&pose, LANDMARKS, from, to, NULL, scale, &error), RLV_DONE, "%s", error.what);
    // Some hundred products of sixteen figures each, and an eigenvalue problem whose two greatest differ by a tenth at
    // least of the greatest.
    const double rounding = 1e4 * DBL_EPSILON;
    for (int k = 0; k < 9; k++) // theirs acts on rows: the transpose of ours
        cr_expect_float_eq(pose.rotation.m[k], expected[3 * (k % 3) + k / 3], rounding, "%d: %.17g", k,
                           pose.rotation.m[k]);
    cr_expect_float_eq(pose.scale, expected[9], rounding);
    double square = 0.0;
    for (int i = 0; i < LANDMARKS; i++)
    {
        const rlv_vec3 off = rlv_vec3_sub(rlv_pose_apply(&pose, from[i]), to[i]);
        square += rlv_vec3_dot(off, off);
    }
    cr_expect_float_eq(square, expected[10], expected[10] * rounding * 100.0, "%.17g", square);
}

Test(landmarks, skulls_are_fitted_as_r_shapes_does)
{
    FILE* file = fopen(RLV_TESTS_DIR "/outside/landmarks.txt", "r");
    cr_assert_not_null(file);
    for (int pair = 0; pair < 3; pair++)
    {
        double names[2], rigid[11], scaled[11];
        rlv_vec3 to[LANDMARKS], from[LANDMARKS];
        read_numbers(file, names, 2);
        read_numbers(file, rigid, 11);
        read_numbers(file, scaled, 11);
        read_skull(file, to);
        read_skull(file, from);
        check_fit(rigid, to, from, false);
        check_fit(scaled, to, from, true);
    }
    fclose(file);
}
