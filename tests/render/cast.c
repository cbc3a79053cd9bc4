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

// A closed ball of 2 * (n - 1) * m triangles with bumps, its vertices shared: what one triangle does not cover, another
// does.
static rlv_mesh bumpy_ball(size_t n, size_t m)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, (n - 1) * m + 2, 2 * (n - 1) * m, false, false, NULL), RLV_DONE);
    float* at = mesh.position_mm;
    uint32_t* corner = mesh.corner;
    const size_t foot = (n - 1) * m, head = foot + 1;
    for (size_t i = 1; i < n; i++)
        for (size_t j = 0; j < m; j++, at += 3)
        {
            const double polar = M_PI * (double)i / (double)n, turn = 2.0 * M_PI * (double)j / (double)m,
                         radius = 40.0 + 3.0 * sin(7.0 * polar) * cos(9.0 * turn);
            at[0] = (float)(radius * sin(polar) * cos(turn));
            at[1] = (float)(radius * sin(polar) * sin(turn));
            at[2] = (float)(radius * cos(polar));
        }
    at[2] = 40.0f; // the head, which is named last but placed first here
    at[5] = -40.0f;
    for (size_t j = 0; j < m; j++)
    {
        const size_t next = (j + 1) % m, last = (n - 2) * m;
        const uint32_t cap[6] = {(uint32_t)foot,          (uint32_t)j,         (uint32_t)next, (uint32_t)head,
                                 (uint32_t)(last + next), (uint32_t)(last + j)};
        memcpy(corner, cap, sizeof cap);
        corner += 6;
        for (size_t i = 0; i + 2 < n; i++, corner += 6)
        {
            const size_t a = i * m + j, b = i * m + next;
            const uint32_t two[6] = {(uint32_t)a, (uint32_t)(a + m), (uint32_t)(b + m),
                                     (uint32_t)a, (uint32_t)(b + m), (uint32_t)b};
            memcpy(corner, two, sizeof two);
        }
    }
    return mesh;
}

// Each pixel against a ray through its middle. Corners move by up to half of 1 / 4096 of a pixel along either axis, so
// heights differ by that much of a pixel times the slope, beside the rounding of rays in float; where the slope passes
// 20, or a ray grazes the outline, either answer is right.
static void like_rays(const rlv_mesh* mesh, rlv_vec3 towards, rlv_vec3 target, double width_mm)
{
    rlv_tree* tree = NULL;
    rlv_cast cast = {0};
    cast_it(&cast, mesh, towards, target, width_mm, 0);
    cr_assert_eq(rlv_tree_build(&tree, mesh, NULL), RLV_DONE);
    size_t seen = 0, outline = 0, other = 0;
    for (size_t p = 0; p < cast.width * cast.height; p++)
    {
        const rlv_ray ray =
            rlv_cast_ray(&cast, (double)(cast.left + p % cast.width) + 0.5, (double)(cast.top + p / cast.width) + 0.5);
        rlv_hit hit;
        rlv_tree_rays(tree, 1, &ray, &hit);
        const bool met = hit.triangle != RLV_TREE_NONE;
        if (met != (cast.triangle[p] != RLV_TREE_NONE))
        {
            outline++;
            continue;
        }
        if (!met)
        {
            cr_expect_eq(cast.height_mm[p], -INFINITY);
            continue;
        }
        seen++;
        const double height = cast.eye_height_mm - (double)hit.distance, off = fabs((double)cast.height_mm[p] - height),
                     part = (double)cast.pixel_mm / 4096.0;
        if (off > 20.0 * part + 1e-4)
            other++;
        else if (hit.triangle == cast.triangle[p])
        {
            const float* w = cast.weight + 2 * p;
            cr_expect(w[0] >= 0.0f && w[1] >= 0.0f && w[0] + w[1] <= 1.0f + 1e-6f);
        }
    }
    cr_expect_gt(seen, SIDE * SIDE / 4, "%zu pixels seen", seen);
    // A pixel's middle lies within 1 / 4096 of a pixel of an outline of 2000 pixels in one case of two; of the pixels
    // some hundred stand beside one, where a slope may pass 20.
    cr_expect_leq(outline, 4, "%zu of %zu pixels are seen by one way alone", outline, seen);
    cr_expect_leq(other, 10, "%zu of %zu pixels lie at another height", other, seen);
    rlv_tree_free(tree);
    rlv_cast_free(&cast);
}

Test(cast, a_pixel_sees_what_a_ray_through_its_middle_meets)
{
    rlv_mesh mesh = bumpy_ball(150, 200);
    like_rays(&mesh, rlv_vec3_of(0.3, -0.5, 0.8), rlv_vec3_of(0, 0, 0), 90.0);
    like_rays(&mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 0, 0), 86.0); // the head lies on a corner of pixels
    like_rays(&mesh, rlv_vec3_of(1, 0, 0), rlv_vec3_of(3, 2, 1), 40.0); // most of it beyond the frame
    rlv_mesh_free(&mesh);
    mesh = bumpy_ball(4, 5); // triangles of thousands of pixels
    like_rays(&mesh, rlv_vec3_of(0.3, -0.5, 0.8), rlv_vec3_of(0, 0, 0), 90.0);
    rlv_mesh_free(&mesh);
}

Test(cast, a_mesh_far_wider_than_the_picture_is_seen_without_a_hole)
{
    rlv_mesh mesh = bumpy_ball(150, 200);
    rlv_cast cast = {0};
    cast_it(&cast, &mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(3.1, 2.2, 0), 1e-3, 0); // 10 million pixels across
    cr_assert_eq(cast.width * cast.height, (size_t)(SIDE * SIDE));
    for (size_t p = 0; p < cast.width * cast.height; p++)
        cr_assert_neq(cast.triangle[p], RLV_TREE_NONE);
    rlv_cast_free(&cast);
    rlv_mesh_free(&mesh);
}

// Two sheets at one height: whatever the order of work, the first of them is seen.
Test(cast, of_two_as_near_the_first_is_seen)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, 4, 4, false, false, NULL), RLV_DONE);
    const float at[12] = {-10, -10, 5, 10, -10, 5, 10, 10, 5, -10, 10, 5};
    const uint32_t corner[12] = {0, 2, 3, 0, 1, 2, 0, 1, 3, 1, 2, 3};
    memcpy(mesh.position_mm, at, sizeof at);
    memcpy(mesh.corner, corner, sizeof corner);
    rlv_cast cast = {0};
    cast_it(&cast, &mesh, rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 0, 0), 16.0, 0);
    for (size_t p = 0; p < cast.width * cast.height; p++)
    {
        cr_expect_lt(cast.triangle[p], 2u);
        cr_expect_eq(cast.height_mm[p], 5.0f);
    }
    rlv_cast_free(&cast);
    rlv_mesh_free(&mesh);
}
