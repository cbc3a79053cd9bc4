#include "scan.h"

#include "noise.h"
#include "rock.h"

#include <criterion/criterion.h>
#include <omp.h>
#include <string.h>

static rlv_mesh ball_mesh(double radius_mm, size_t triangles)
{
    rock ball = {.half_axes_mm = {radius_mm, radius_mm, radius_mm}, .seed = 1};
    rlv_mesh mesh = {0};
    cr_assert_eq(rock_mesh(&mesh, &ball, triangles, 3, NULL), RLV_DONE);
    return mesh;
}

Test(scan, generator_is_splitmix64)
{
    scan_random random = {1234567}; // the test values passed around with the generator; from memory
    cr_expect_eq(scan_random_bits(&random), 6457827717110365317u);
    cr_expect_eq(scan_random_bits(&random), 3203168211198807973u);
}

Test(scan, normal_numbers_have_mean_0_sd_1_and_no_skew)
{
    enum
    {
        N = 200000
    };
    scan_random random = {5};
    double sum[4] = {0};
    for (int i = 0; i < N; i++)
    {
        double x = scan_random_normal(&random);
        sum[0] += x;
        sum[1] += x * x;
        sum[2] += x * x * x;
        sum[3] += x * x * x * x;
    }
    // Five sd of each mean; the variances of x, x^2, x^3, x^4 are 1, 2, 15, 96.
    const double expected[4] = {0, 1, 0, 3}, variance[4] = {1, 2, 15, 96};
    for (int i = 0; i < 4; i++)
        cr_expect_float_eq(sum[i] / N, expected[i], 5 * sqrt(variance[i] / N));
}

Test(scan, rotations_are_proper_and_turn_every_axis_everywhere)
{
    enum
    {
        N = 20000
    };
    scan_random random = {8};
    double mean[9] = {0}, square[9] = {0};
    for (int i = 0; i < N; i++)
    {
        rlv_mat3 r = scan_random_rotation(&random);
        rlv_mat3 unit = rlv_mat3_multiply(r, rlv_mat3_transpose(r));
        for (int k = 0; k < 9; k++)
        {
            cr_assert_float_eq(unit.m[k], k % 4 == 0 ? 1.0 : 0.0, 1e-14);
            mean[k] += r.m[k] / N;
            square[k] += r.m[k] * r.m[k] / N;
        }
    }
    // A coordinate of an even direction has variance 1/3, and its square variance 1/5 - 1/9. Five sd.
    for (int k = 0; k < 9; k++)
    {
        cr_expect_float_eq(mean[k], 0.0, 5 * sqrt(1.0 / 3 / N));
        cr_expect_float_eq(square[k], 1.0 / 3, 5 * sqrt((1.0 / 5 - 1.0 / 9) / N));
    }
}

Test(scan, smooth_noise_has_the_stated_covariance)
{
    enum
    {
        N = 40000
    };
    const double length = 2.0;
    for (int lag = 0; lag <= 6; lag++)
    {
        double sum = 0.0;
        for (int i = 0; i < N; i++)
        {
            // Points many lengths apart, at every place within a cell of the lattice, and lags in even directions.
            scan_random random = {noise_hash(77, (uint64_t)i)};
            rlv_vec3 at = {40.0 * (i % 200) + scan_random_unit(&random), 40.0 * (i / 200) + scan_random_unit(&random),
                           scan_random_unit(&random)};
            double z = 2 * scan_random_unit(&random) - 1, turn = 2 * M_PI * scan_random_unit(&random);
            rlv_vec3 to = {sqrt(1 - z * z) * cos(turn), sqrt(1 - z * z) * sin(turn), z};
            sum += noise_smooth_at(9, length, at) * noise_smooth_at(9, length, rlv_vec3_along(at, lag, to));
        }
        // Five sd of a mean of products of normal numbers (variance at most 2), and a hundredth for the cut-off kernel.
        cr_expect_float_eq(sum / N, exp(-lag * lag / (2 * length * length)), 5 * sqrt(2.0 / N) + 0.01);
    }
}

Test(scan, noise_of_a_mesh_goes_along_its_normals_with_the_stated_sd)
{
    const double radius = 100.0, sd = 0.12, length[2] = {1.5, 0.0};
    for (int white = 0; white < 2; white++)
    {
        rlv_mesh mesh = ball_mesh(radius, 60000);
        rlv_mesh still = {0};
        cr_assert_eq(rlv_mesh_copy(&still, &mesh, NULL), RLV_DONE);
        scan_noise noise = {.noise_sd_mm = sd, .noise_length_mm = length[white], .seed = 4};
        cr_assert_eq(scan_mesh(&mesh, &noise, NULL, NULL), RLV_DONE);
        double square = 0.0, aside = 0.0;
        for (size_t i = 0; i < mesh.vertex_count; i++)
        {
            rlv_vec3 moved = rlv_vec3_sub(rlv_mesh_vertex(&mesh, i), rlv_mesh_vertex(&still, i));
            double along = rlv_vec3_dot(moved, rlv_vec3_unit(rlv_mesh_vertex(&still, i)));
            square += along * along;
            aside = fmax(aside, rlv_vec3_length(moved) - fabs(along));
        }
        double found = sqrt(square / (double)mesh.vertex_count);
        // Squares are correlated over an area of pi length^2 (integral of exp(-d^2 / length^2)); that many are
        // independent.
        double patches =
            white ? (double)mesh.vertex_count : 4 * M_PI * radius * radius / (M_PI * length[white] * length[white]);
        cr_expect_float_eq(found / sd, 1.0, 5 / sqrt(2 * patches));
        // A vertex normal, weighted by area, leans with the shape of its triangles: by under 0.1 on this mesh.
        cr_expect_lt(aside, 0.5 * 0.1 * 0.1 * 6 * sd);
        rlv_mesh_free(&mesh);
        rlv_mesh_free(&still);
    }
}

Test(scan, warp_has_the_stated_covariance_and_independent_components)
{
    enum
    {
        SEEDS = 60,
        POINTS = 100
    };
    const double length = 50.0;
    double covariance[4] = {0}, across = 0.0;
    for (uint64_t seed = 0; seed < SEEDS; seed++)
    {
        noise_waves one = noise_waves_gaussian(1.0, length, noise_hash(3, seed));
        noise_waves other = noise_waves_gaussian(1.0, length, noise_hash(4, seed));
        for (int i = 0; i < POINTS; i++)
        {
            rlv_vec3 at = {613.0 * i, 127.0 * i, 411.0 * i};
            for (int lag = 0; lag < 4; lag++)
                covariance[lag] += noise_waves_at(&one, at) *
                                   noise_waves_at(&one, rlv_vec3_along(at, 25.0 * lag, rlv_vec3_of(0.6, 0, 0.8)));
            across += noise_waves_at(&one, at) * noise_waves_at(&other, at);
        }
    }
    // Products of normal numbers, of variance at most 2, far apart; and what one draw of 256 waves is off by.
    const double tolerance = 5 * sqrt(2.0 / (SEEDS * POINTS) + 1.0 / (2.0 * NOISE_WAVES * SEEDS));
    for (int lag = 0; lag < 4; lag++)
        cr_expect_float_eq(covariance[lag] / (SEEDS * POINTS), exp(-lag * lag / 8.0), tolerance);
    cr_expect_float_eq(across / (SEEDS * POINTS), 0.0, tolerance);
}

Test(scan, truth_carries_the_scan_back)
{
    rlv_mesh mesh = ball_mesh(100.0, 3000), still = {0};
    cr_assert_eq(rlv_mesh_copy(&still, &mesh, NULL), RLV_DONE);
    scan_noise noise = {.scale_sd = 3e-4, .any_pose = true, .place_mm = 1000, .seed = 6};
    rlv_pose truth;
    cr_assert_eq(scan_mesh(&mesh, &noise, &truth, NULL), RLV_DONE);
    double moved = 0.0, back = 0.0;
    for (size_t i = 0; i < mesh.vertex_count; i++)
    {
        rlv_vec3 was = rlv_mesh_vertex(&still, i), now = rlv_mesh_vertex(&mesh, i);
        moved = fmax(moved, rlv_vec3_length(rlv_vec3_sub(now, was)));
        back = fmax(back, rlv_vec3_length(rlv_vec3_sub(rlv_pose_apply(&truth, now), was)));
    }
    cr_expect_gt(moved, 10.0);
    // Local coordinates of up to 100 mm in float, and the part of the origin that was rounded off (at most 1000 2^-24).
    cr_expect_lt(back, 3 * (100 + 1000) * 0x1p-24);
    cr_expect(truth.scale != 1.0);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&still);
}

Test(scan, same_seed_gives_the_same_bytes_on_any_number_of_threads)
{
    scan_noise noise = {.noise_sd_mm = 0.1,
                        .noise_length_mm = 1,
                        .warp_sd_mm = 0.2,
                        .warp_length_mm = 60,
                        .scale_sd = 1e-4,
                        .any_pose = true,
                        .place_mm = 500,
                        .seed = 11};
    rlv_mesh mesh[3] = {ball_mesh(60.0, 20000), ball_mesh(60.0, 20000), ball_mesh(60.0, 20000)};
    scan_mesh(&mesh[0], &noise, NULL, NULL);
    omp_set_num_threads(1);
    scan_mesh(&mesh[1], &noise, NULL, NULL);
    noise.seed = 12;
    scan_mesh(&mesh[2], &noise, NULL, NULL);
    const size_t bytes = 3 * mesh[0].vertex_count * sizeof(float);
    cr_expect(memcmp(mesh[0].position_mm, mesh[1].position_mm, bytes) == 0);
    cr_expect(memcmp(&mesh[0].origin_mm, &mesh[1].origin_mm, sizeof(rlv_vec3)) == 0);
    cr_expect(memcmp(mesh[0].position_mm, mesh[2].position_mm, bytes) != 0);
    for (int i = 0; i < 3; i++)
        rlv_mesh_free(&mesh[i]);
}
