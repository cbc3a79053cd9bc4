#include "rock.h"

#include <criterion/criterion.h>
#include <omp.h>
#include <string.h>

static rock plain_sphere(double radius_mm)
{
    return (rock){.half_axes_mm = {radius_mm, radius_mm, radius_mm}, .seed = 1};
}

static rock quarried(void)
{
    return (rock){.half_axes_mm = {95, 75, 40}, .relief_mm = 1.5, .relief_length_mm = 150, .facets = 0.6, .seed = 12};
}

static double mesh_volume(const rock* stone, size_t triangles, uint64_t mesh_seed)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rock_mesh(&mesh, stone, triangles, mesh_seed, NULL), RLV_DONE);
    double volume = rlv_mesh_measure(&mesh).volume_mm3;
    rlv_mesh_free(&mesh);
    return volume;
}

Test(rock, ellipsoid_has_the_handbook_volume)
{
    rock ball = plain_sphere(100.0);
    cr_expect_float_eq(rock_volume(&ball), 4.0 / 3.0 * M_PI * 1e6, 64 * 0x1p-53 * 5e6);
    rock egg = {.half_axes_mm = {120, 80, 30}, .seed = 1};
    cr_expect_float_eq(rock_volume(&egg), 4.0 / 3.0 * M_PI * 120 * 80 * 30, 64 * 0x1p-53 * 5e6);
}

Test(rock, plane_takes_a_cap_of_the_handbook_volume)
{
    rock ball = plain_sphere(100.0);
    ball.cut_count = 1;
    ball.cut[0] = (rock_cut){.plane = true, .direction = {1, 2, 3}, .distance_mm = 80};
    double cap = M_PI * 20 * 20 * (3 * 100 - 20) / 3.0, whole = 4.0 / 3.0 * M_PI * 1e6;
    cr_expect_float_eq(rock_volume(&ball), whole - cap, 1e-7 * whole); // what the header promises
}

Test(rock, stepped_pit_takes_its_part_of_a_shell)
{
    rock ball = plain_sphere(100.0);
    ball.cut_count = 1;
    ball.cut[0] = (rock_cut){.direction = {-1, 2, 0.5}, .depth_mm = 8, .half_angle_rad = 0.3};
    double pit = 2.0 * M_PI * (1.0 - cos(0.3)) * (1e6 - 92.0 * 92.0 * 92.0) / 3.0;
    cr_expect_float_eq(rock_volume(&ball), 4.0 / 3.0 * M_PI * 1e6 - pit, 1e-6 * pit); // as the header says
}

Test(rock, mesh_is_one_closed_shell_wound_outward)
{
    rock block = quarried();
    for (uint64_t seed = 0; seed < 3; seed++)
    {
        rlv_mesh mesh = {0};
        cr_assert_eq(rock_mesh(&mesh, &block, 30000, seed, NULL), RLV_DONE);
        const size_t triangles = mesh.triangle_count;
        cr_expect_eq(mesh.vertex_count, triangles / 2 + 2); // Euler: a sphere
        rlv_mesh_health health;
        cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
        cr_expect(health.closed);
        cr_expect_eq(health.shells, 1);
        cr_expect_eq(health.unused_vertices + health.mixed_winding + health.inside_out, 0);
        cr_expect_eq(mesh.triangle_count, triangles);
        rlv_mesh_free(&mesh);
    }
}

Test(rock, vertices_lie_on_the_true_surface)
{
    rock block = quarried();
    block.cut_count = 2;
    block.cut[0] = (rock_cut){.plane = true, .direction = {0, 0, 1}, .distance_mm = 30};
    block.cut[1] = (rock_cut){.direction = {1, 1, 0}, .depth_mm = 5, .half_angle_rad = 0.4, .soft_mm = 4};
    rlv_mesh mesh = {0};
    cr_assert_eq(rock_mesh(&mesh, &block, 3000, 5, NULL), RLV_DONE);
    for (size_t i = 0; i < mesh.vertex_count; i++)
    {
        rlv_vec3 at = rlv_mesh_vertex(&mesh, i);
        // Rounding to float moves a vertex by up to 2^-25 of its coordinates, and sideways on slopes of up to about
        // ten.
        cr_expect_float_eq(rlv_vec3_length(at), rock_radius(&block, rlv_vec3_unit(at)), 10 * 100 * 0x1p-24);
    }
    rlv_mesh_free(&mesh);
}

Test(rock, mesh_volume_goes_to_the_true_volume)
{
    rock block = quarried();
    double truth = rock_volume(&block);
    double coarse = mesh_volume(&block, 60000, 0) - truth, fine = mesh_volume(&block, 240000, 0) - truth;
    // Flat triangles cut corners: an error of second order in their size, so four times the triangles leave a fourth.
    cr_expect(fabs(coarse) > 1e-6 * truth);
    cr_expect_float_eq(fine / coarse, 0.25, 0.05);
    // What is left after Richardson's extrapolation is of higher order: the true volume, reached without the
    // quadrature.
    cr_expect_float_eq((4.0 * fine - coarse) / 3.0, 0.0, 0.05 * fabs(fine));
}

Test(rock, a_second_mesh_shares_no_vertex_and_the_same_seed_gives_the_same_bytes)
{
    rock block = quarried();
    rlv_mesh first = {0}, second = {0}, again = {0};
    cr_assert_eq(rock_mesh(&first, &block, 20000, 1, NULL), RLV_DONE);
    cr_assert_eq(rock_mesh(&second, &block, 20000, 2, NULL), RLV_DONE);
    omp_set_num_threads(1);
    cr_assert_eq(rock_mesh(&again, &block, 20000, 1, NULL), RLV_DONE);
    size_t shared = 0;
    for (size_t i = 0; i < first.vertex_count; i++)
        shared += memcmp(first.position_mm + 3 * i, second.position_mm + 3 * i, 3 * sizeof(float)) == 0;
    cr_expect_eq(shared, 0);
    cr_expect(memcmp(first.position_mm, again.position_mm, 3 * first.vertex_count * sizeof(float)) == 0);
    cr_expect(memcmp(first.corner, again.corner, 3 * first.triangle_count * sizeof(uint32_t)) == 0);
    rlv_mesh_free(&first);
    rlv_mesh_free(&second);
    rlv_mesh_free(&again);
}

Test(rock, volume_is_the_same_on_any_number_of_threads)
{
    rock block = quarried();
    double many = rock_volume(&block);
    omp_set_num_threads(1);
    cr_expect(rock_volume(&block) == many);
}

Test(rock, too_few_triangles_are_refused)
{
    rock block = quarried();
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    cr_expect_eq(rock_mesh(&mesh, &block, 0, 0, &error), RLV_BAD_INPUT);
    cr_expect(mesh.position_mm == NULL);
}
