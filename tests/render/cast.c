// What a camera sees: heights, facings and how open a place lies, against what can be worked out by hand.

#include "cast.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(cast);

// A floor at z = 0 for x > 0 and a wall at x = 0 up to z = 400, both 800 mm long about y = 0: its own diagonal sets the
// reach.
static rlv_mesh floor_and_wall(void)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, 8, 4, false, false, NULL), RLV_DONE);
    const float at[24] = {0, -400, 0, 400, -400, 0, 400, 400, 0,   0, 400,  0,
                          0, -400, 0, 0,   400,  0, 0,   400, 400, 0, -400, 400};
    const uint32_t corner[12] = {0, 1, 2, 0, 2, 3, 4, 5, 6, 4, 6, 7};
    memcpy(mesh.position_mm, at, sizeof at);
    memcpy(mesh.corner, corner, sizeof corner);
    return mesh;
}

#define SIDE 160

static void cast_it(rlv_cast* cast, const rlv_mesh* mesh, rlv_vec3 towards, rlv_vec3 target, double width_mm, int rays)
{
    rlv_tree* tree = NULL;
    cr_assert_eq(rlv_tree_build(&tree, mesh, NULL), RLV_DONE);
    rlv_camera camera = {target, towards, {0, 1, 0}, width_mm};
    rlv_frame all = {0, 0, SIDE, SIDE};
    rlv_cast_light light = {.rays = rays, .towards = rlv_vec3_unit(rlv_vec3_of(-1, 0, 1))};
    cr_assert_eq(rlv_cast_make(cast, SIDE, SIDE, all, mesh, tree, &camera, &light, NULL), RLV_DONE);
    rlv_tree_free(tree);
}

// How open the floor lies at a distance from an endless wall as high as the reach: by the midpoint rule over the half
// sphere of the definition, 1 - 1/pi * integral of (1 - d / reach) cos(polar) where a direction meets the wall at d <
// reach.
static double open_before_wall(double distance, double reach)
{
    const int steps = 800;
    double shut = 0.0;
    for (int i = 0; i < steps; i++)
        for (int j = 0; j < steps; j++)
        {
            double polar = 0.5 * M_PI * (i + 0.5) / steps, turn = M_PI * ((j + 0.5) / steps - 0.5);
            double far = distance / (sin(polar) * cos(turn));
            if (far < reach)
                shut += (1.0 - far / reach) * cos(polar) * sin(polar);
        }
    return 1.0 - shut * (0.5 * M_PI / steps) * (M_PI / steps) / M_PI;
}

Test(cast, the_foot_of_a_wall_is_as_open_as_the_integral_says)
{
    rlv_mesh mesh = floor_and_wall();
    rlv_cast cast = {0};
    cast_it(&cast, &mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(40, 0, 0), 80.0, 16);
    double reach = RLV_CAST_REACH * sqrt(400.0 * 400.0 + 800.0 * 800.0 + 400.0 * 400.0);
    for (size_t x = 6; x < SIDE; x += 14)
    {
        double distance = ((double)(cast.left + x) + 0.5) * 80.0 / SIDE;
        double expected = open_before_wall(distance, reach);
        // 256 directions of a low-discrepancy sequence: errors of the order of (log n)^2 / n, about 0.02.
        for (size_t y = 40; y < 120; y += 7)
            cr_expect_float_eq((double)cast.open[y * cast.width + x], expected, 0.02, "at %g mm: %g, not %g", distance,
                               (double)cast.open[y * cast.width + x], expected);
    }
    rlv_cast_free(&cast);
    rlv_mesh_free(&mesh);
}

Test(cast, occlusion_is_smooth_from_pixel_to_pixel)
{
    rlv_mesh mesh = floor_and_wall();
    rlv_cast cast = {0};
    cast_it(&cast, &mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(40, 0, 0), 80.0, 16);
    // Along the wall nothing changes: what varies there is grain, and a step of the 256 directions is 1 / 256.
    for (size_t x = 6; x < SIDE; x += 14)
        for (size_t y = 40; y < 120; y++)
        {
            float step = cast.open[y * cast.width + x] - cast.open[(y + 1) * cast.width + x];
            cr_expect_lt(fabsf(step), 1.5f / 256.0f, "%zu %zu: %g", x, y, (double)step);
        }
    rlv_cast_free(&cast);
    rlv_mesh_free(&mesh);
}

Test(cast, a_plane_is_open_and_faces_the_eye_at_its_height)
{
    rlv_mesh mesh = floor_and_wall();
    mesh.triangle_count = 2;
    rlv_cast cast = {0};
    cast_it(&cast, &mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(200, 0, -3.25), 100.0, 16);
    for (size_t p = 0; p < cast.width * cast.height; p++)
    {
        cr_assert_neq(cast.triangle[p], RLV_TREE_NONE);
        // Float holds heights of 400 mm to 3e-5 mm.
        cr_expect_float_eq(cast.height_mm[p], 3.25f, 1e-4f);
        cr_expect_float_eq(cast.normal[3 * p + 2], 1.0f, 1e-6f);
        cr_expect_eq(cast.open[p], 1.0f);
        cr_expect_eq(cast.back[p], 0);
    }
    rlv_cast_free(&cast);
    rlv_mesh_free(&mesh);
}

Test(cast, a_ridge_stays_sharp_though_its_slopes_share_vertices)
{
    // A roof of two slopes of 45 degrees that share their ridge's vertices: each keeps its own facing up to the ridge.
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, 6, 4, false, false, NULL), RLV_DONE);
    const float at[18] = {-10, -10, -10, 0, -10, 0, 10, -10, -10, -10, 10, -10, 0, 10, 0, 10, 10, -10};
    const uint32_t corner[12] = {0, 1, 4, 0, 4, 3, 1, 2, 5, 1, 5, 4};
    memcpy(mesh.position_mm, at, sizeof at);
    memcpy(mesh.corner, corner, sizeof corner);
    rlv_cast cast = {0};
    cast_it(&cast, &mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 0, 0), 16.0, 0);
    for (size_t x = 10; x < SIDE - 10; x += 9)
    {
        size_t p = SIDE / 2 * cast.width + x;
        double right = x < SIDE / 2 ? -1.0 : 1.0;
        // A ridge vertex's mean lies 45 degrees off each slope. A cosine near one holds an angle to the root of float's
        // width.
        double cosine = ((double)cast.normal[3 * p] * right + (double)cast.normal[3 * p + 2]) * M_SQRT1_2;
        double off = acos(fmin(cosine, 1.0));
        cr_expect_lt(off, 1e-3, "%zu: %g", x, off);
    }
    rlv_cast_free(&cast);
    rlv_mesh_free(&mesh);
}

Test(cast, the_shadow_of_a_wall_ends_where_its_height_and_the_lamp_say)
{
    // The lamp stands 45 degrees high behind a wall of 400 mm: half of its disc is hidden 400 mm from the wall, all of
    // it up to 400 mm / tan(45 degrees + its half angle), none beyond 400 mm / tan(45 degrees - its half angle).
    rlv_mesh mesh = floor_and_wall();
    for (size_t i = 0; i < 12; i++) // the floor, longer
        mesh.position_mm[i] *= i % 3 == 0 ? 2.0f : 1.0f;
    rlv_cast cast = {0};
    cast_it(&cast, &mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(400, 0, 0), 320.0, 64);
    double full = 400.0 / tan(M_PI_4 + RLV_CAST_LAMP_RAD), none = 400.0 / tan(M_PI_4 - RLV_CAST_LAMP_RAD);
    for (size_t x = 3; x + 3 < cast.width; x++)
    {
        double distance = 400.0 + ((double)(cast.left + x) + 0.5 - 0.5 * SIDE) * 320.0 / SIDE;
        double lit = (double)cast.lit[SIDE / 2 * cast.width + x];
        // The gathering reaches 2.5 pixels of 2 mm, a place looks from half a pixel over the floor.
        if (distance < full - 6.0)
            cr_expect_float_eq(lit, 0.0, 1e-6, "at %g mm: %g", distance, lit);
        if (distance > none + 6.0)
            cr_expect_float_eq(lit, 1.0, 1e-6, "at %g mm: %g", distance, lit);
        // Half hidden: 16 * 16 directions miss a half by 0.02, and a pixel is 0.01 of the disc here.
        if (fabs(distance - 400.0) < 1.01)
            cr_expect_float_eq(lit, 0.5, 0.04, "at %g mm: %g", distance, lit);
    }
    rlv_cast_free(&cast);
    rlv_mesh_free(&mesh);
}
