/// The spatial index against brute force in double, and against itself. See core/tree.h.

#include "tree.h"
#include "tree_parts.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

// ------------------------------------------------------------------------------------------------------ meshes to test

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number generators, OOPSLA 2014).
static uint64_t draw_bits(uint64_t* state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15u);
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9u;
    z = (z ^ z >> 27) * 0x94D049BB133111EBu;
    return z ^ z >> 31;
}

/// Even over [-1, 1).
static float draw(uint64_t* state)
{
    return (float)((double)(draw_bits(state) >> 11) * 0x1p-52 - 1.0);
}

static rlv_mesh soup_of(size_t triangles)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, 3 * triangles, triangles, false, false, NULL), RLV_DONE);
    for (size_t i = 0; i < 3 * triangles; i++)
        mesh.corner[i] = (uint32_t)i;
    return mesh;
}

/// Small triangles anywhere in a cube of 2 mm, a fifth of them without area: points, and three corners on a line.
static rlv_mesh random_soup(size_t triangles, float size, uint64_t seed)
{
    rlv_mesh mesh = soup_of(triangles);
    for (size_t t = 0; t < triangles; t++)
    {
        float centre[3] = {draw(&seed), draw(&seed), draw(&seed)};
        float* p = mesh.position_mm + 9 * t;
        for (size_t i = 0; i < 9; i++)
            p[i] = centre[i % 3] + size * draw(&seed);
        if (t % 10 == 3)
            memcpy(p + 3, p, 3 * sizeof *p), memcpy(p + 6, p, 3 * sizeof *p);
        if (t % 10 == 7)
            for (size_t i = 0; i < 3; i++)
                p[6 + i] = 0.5f * (p[i] + p[3 + i]);
    }
    return mesh;
}

/// A closed, wrinkled, star-shaped surface by `depth` halvings of an octahedron's edges. Triangles repeat their corners
/// to the bit: a corner depends on its direction alone, and the middle of an edge on its two ends in either order.
typedef struct wrinkled
{
    rlv_mesh mesh;
    size_t next;
} wrinkled;

static void wrinkled_corner(wrinkled* to, rlv_vec3 d)
{
    double r = 50.0 + 4.0 * sin(3.1 * d.x + 1.0) * sin(4.7 * d.y) + 2.0 * sin(17.0 * d.z) * cos(13.0 * d.x);
    float* p = to->mesh.position_mm + to->next;
    to->next += 3;
    p[0] = (float)(r * d.x);
    p[1] = (float)(r * d.y);
    p[2] = (float)(r * d.z);
}

static rlv_vec3 middle(rlv_vec3 a, rlv_vec3 b)
{
    rlv_vec3 sum = rlv_vec3_add(a, b);
    return rlv_vec3_scale(sum, 1.0 / sqrt(rlv_vec3_dot(sum, sum)));
}

static void wrinkled_divide(wrinkled* to, rlv_vec3 a, rlv_vec3 b, rlv_vec3 c, int depth)
{
    if (depth == 0)
    {
        wrinkled_corner(to, a);
        wrinkled_corner(to, b);
        wrinkled_corner(to, c);
        return;
    }
    rlv_vec3 ab = middle(a, b), bc = middle(b, c), ca = middle(c, a);
    wrinkled_divide(to, a, ab, ca, depth - 1);
    wrinkled_divide(to, ab, b, bc, depth - 1);
    wrinkled_divide(to, ca, bc, c, depth - 1);
    wrinkled_divide(to, ab, bc, ca, depth - 1);
}

static rlv_mesh wrinkled_ball(int depth)
{
    wrinkled to = {soup_of((size_t)8 << 2 * depth), 0};
    for (int octant = 0; octant < 8; octant++)
    {
        double x = octant & 1 ? -1.0 : 1.0, y = octant & 2 ? -1.0 : 1.0, z = octant & 4 ? -1.0 : 1.0;
        rlv_vec3 a = {x, 0.0, 0.0}, b = {0.0, y, 0.0}, c = {0.0, 0.0, z};
        bool turn = x * y * z < 0.0;
        wrinkled_divide(&to, a, turn ? c : b, turn ? b : c, depth);
    }
    return to.mesh;
}

static rlv_tree* tree_of(const rlv_mesh* mesh)
{
    rlv_tree* tree = NULL;
    rlv_error error = {0};
    cr_assert_eq(rlv_tree_build(&tree, mesh, &error), RLV_DONE, "%s", error.what);
    return tree;
}

static rlv_vec3 corner_of(const rlv_mesh* mesh, size_t triangle, size_t k)
{
    return rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * triangle + k]);
}

// --------------------------------------------------------------------------------------------------- brute force

static double segment_distance(rlv_vec3 q, rlv_vec3 a, rlv_vec3 b)
{
    rlv_vec3 edge = rlv_vec3_sub(b, a), from = rlv_vec3_sub(q, a);
    double length = rlv_vec3_dot(edge, edge);
    double t = length > 0.0 ? fmin(1.0, fmax(0.0, rlv_vec3_dot(from, edge) / length)) : 0.0;
    rlv_vec3 gap = rlv_vec3_along(from, -t, edge);
    return sqrt(rlv_vec3_dot(gap, gap));
}

/// Distance to a triangle: its plane where the query projects inside all three edges, and its edges.
static double triangle_distance(const rlv_mesh* mesh, size_t triangle, rlv_vec3 q)
{
    rlv_vec3 corner[3] = {corner_of(mesh, triangle, 0), corner_of(mesh, triangle, 1), corner_of(mesh, triangle, 2)};
    rlv_vec3 n = rlv_vec3_cross(rlv_vec3_sub(corner[1], corner[0]), rlv_vec3_sub(corner[2], corner[0]));
    double best = INFINITY;
    bool inside = rlv_vec3_dot(n, n) > 0.0;
    for (size_t k = 0; k < 3; k++)
    {
        rlv_vec3 a = corner[k], b = corner[(k + 1) % 3];
        best = fmin(best, segment_distance(q, a, b));
        inside = inside && rlv_vec3_dot(rlv_vec3_cross(rlv_vec3_sub(b, a), rlv_vec3_sub(q, a)), n) >= 0.0;
    }
    if (inside)
        best = fmin(best, fabs(rlv_vec3_dot(rlv_vec3_sub(q, corner[0]), n)) / sqrt(rlv_vec3_dot(n, n)));
    return best;
}

static double length_of(rlv_vec3 a)
{
    return sqrt(rlv_vec3_dot(a, a));
}

/// How much further than the nearest triangle the chosen one may lie. A walk compares squared distances in float. At
/// an edge, the point differs from the true one by a few roundings of the way from the query to the corners: 16 of half
/// an epsilon hold the three differences, two products and sums of three each. In the plane, that error is divided by
/// the sine of the angle between the edges, but never more than the triangle's height, since edges are tried too.
static double slack_of(const rlv_mesh* mesh, size_t triangle, rlv_vec3 q)
{
    double reach = 0.0, longest = 0.0;
    for (size_t k = 0; k < 3; k++)
    {
        reach = fmax(reach, length_of(rlv_vec3_sub(corner_of(mesh, triangle, k), q)));
        longest = fmax(longest,
                       length_of(rlv_vec3_sub(corner_of(mesh, triangle, (k + 1) % 3), corner_of(mesh, triangle, k))));
    }
    rlv_vec3 ab = rlv_vec3_sub(corner_of(mesh, triangle, 1), corner_of(mesh, triangle, 0));
    rlv_vec3 ac = rlv_vec3_sub(corner_of(mesh, triangle, 2), corner_of(mesh, triangle, 0));
    double twice = length_of(rlv_vec3_cross(ab, ac));
    double rounding = 16.0 * 0.5 * FLT_EPSILON * reach;
    double thin = twice > 0.0 ? rounding * length_of(ab) * length_of(ac) / twice : 0.0;
    double height = longest > 0.0 ? twice / longest : 0.0;
    return rounding + fmin(thin, height);
}

static void check_nearest(const rlv_mesh* mesh, size_t count, const float* query)
{
    rlv_tree* tree = tree_of(mesh);
    rlv_nearest* found = malloc(count * sizeof *found);
    rlv_tree_nearest(tree, count, query, INFINITY, found);
    for (size_t i = 0; i < count; i++)
    {
        rlv_vec3 q = rlv_vec3_from(query + 3 * i);
        size_t nearest = 0;
        double least = INFINITY;
        for (size_t t = 0; t < mesh->triangle_count; t++)
        {
            double here = triangle_distance(mesh, t, q);
            nearest = here < least ? t : nearest;
            least = fmin(here, least);
        }
        cr_assert_lt(found[i].triangle, mesh->triangle_count);
        double told = (double)found[i].distance_mm, rounding = FLT_EPSILON * (length_of(q) + least);
        cr_assert_leq(told, least + slack_of(mesh, nearest, q) + rounding, "query %zu: %g, not %g", i, told, least);
        cr_assert_float_eq(told, triangle_distance(mesh, found[i].triangle, q), rounding + 1e-7 * told);
        double reach = length_of(rlv_vec3_sub(rlv_vec3_from(found[i].point_mm), q));
        cr_assert_float_eq(told, reach, 2.0 * rounding + FLT_EPSILON * reach);
    }
    free(found);
    rlv_tree_free(tree);
}

static float* random_points(size_t count, float size, uint64_t seed)
{
    float* at = malloc(3 * count * sizeof *at);
    for (size_t i = 0; i < 3 * count; i++)
        at[i] = size * draw(&seed);
    return at;
}

Test(tree, nearest_is_brute_force_with_triangles_without_area)
{
    for (size_t triangles = 1; triangles <= 3000; triangles = triangles * 3 + 1)
    {
        rlv_mesh mesh = random_soup(triangles, 0.2f, triangles);
        float* query = random_points(1500, 1.5f, 7);
        check_nearest(&mesh, 1500, query);
        free(query);
        rlv_mesh_free(&mesh);
    }
}

Test(tree, nearest_is_brute_force_on_a_closed_surface)
{
    rlv_mesh mesh = wrinkled_ball(4);
    float* query = random_points(2000, 60.0f, 3);
    check_nearest(&mesh, 2000, query);
    free(query);
    rlv_mesh_free(&mesh);
}

Test(tree, nearest_is_brute_force_where_one_axis_is_a_billion_times_another)
{
    rlv_mesh mesh = random_soup(800, 0.2f, 5);
    float* query = random_points(1000, 1.5f, 6);
    for (size_t i = 0; i < 3000; i++)
        query[i] *= i % 3 == 0 ? 1e6f : i % 3 == 2 ? 1e-3f : 1.0f;
    for (size_t i = 0; i < 3 * mesh.vertex_count; i++)
        mesh.position_mm[i] *= i % 3 == 0 ? 1e6f : i % 3 == 2 ? 1e-3f : 1.0f;
    check_nearest(&mesh, 1000, query);
    free(query);
    rlv_mesh_free(&mesh);
}

Test(tree, nearest_of_a_thousand_copies_of_one_triangle)
{
    rlv_mesh mesh = soup_of(1000);
    for (size_t t = 0; t < 1000; t++)
        memcpy(mesh.position_mm + 9 * t, (float[9]){0, 0, 0, 3, 0, 0, 0, 4, 0}, 9 * sizeof(float));
    float* query = random_points(500, 5.0f, 8);
    check_nearest(&mesh, 500, query);
    rlv_tree* tree = tree_of(&mesh);
    rlv_ray ray = {{0.5f, 0.5f, -2.0f}, {0.0f, 0.0f, 4.0f}, INFINITY};
    rlv_hit hit;
    rlv_tree_rays(tree, 1, &ray, &hit);
    cr_assert_lt(hit.triangle, 1000);
    cr_assert_eq(hit.distance, 0.5f);
    rlv_tree_free(tree);
    free(query);
    rlv_mesh_free(&mesh);
}

Test(tree, one_triangle_is_met_from_either_side)
{
    rlv_mesh mesh = soup_of(1);
    memcpy(mesh.position_mm, (float[9]){0, 0, 1, 4, 0, 1, 0, 4, 1}, 9 * sizeof(float));
    rlv_tree* tree = tree_of(&mesh);
    rlv_ray ray[5] = {{{1, 2, 3}, {0, 0, -1}, INFINITY},
                      {{1, 2, -1}, {0, 0, 0.5f}, INFINITY},
                      {{1, 2, 3}, {0, 0, -1}, 2.0f},
                      {{1, 2, 3}, {0, 0, -1}, 1.9f},
                      {{3, 3, 3}, {0, 0, -1}, INFINITY}};
    const float distance[5] = {2.0f, 4.0f, 2.0f, INFINITY, INFINITY};
    rlv_hit hit[5];
    rlv_tree_rays(tree, 5, ray, hit);
    for (size_t i = 0; i < 5; i++)
        cr_assert_eq(hit[i].distance, distance[i], "ray %zu", i);
    cr_assert_eq(hit[0].u, 0.25f);
    cr_assert_eq(hit[0].v, 0.5f);
    rlv_nearest nearest;
    rlv_tree_nearest(tree, 1, (float[3]){1, 1, 4}, INFINITY, &nearest);
    cr_assert_eq(nearest.distance_mm, 3.0f);
    cr_assert_eq(nearest.point_mm[0], 1.0f);
    cr_assert_eq(nearest.point_mm[1], 1.0f);
    cr_assert_eq(nearest.point_mm[2], 1.0f);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

Test(tree, nearest_keeps_to_its_limit)
{
    rlv_mesh mesh = random_soup(700, 0.1f, 11);
    rlv_tree* tree = tree_of(&mesh);
    float* query = random_points(3000, 1.5f, 12);
    rlv_nearest free_of_limit[3000], found[3000];
    const float limit = 0.2f;
    rlv_tree_nearest(tree, 3000, query, INFINITY, free_of_limit);
    rlv_tree_nearest(tree, 3000, query, limit, found);
    size_t within = 0;
    for (size_t i = 0; i < 3000; i++)
    {
        // Distances are compared as squares in float: a few roundings of the reach (here below 4) either way.
        float slack = 16.0f * FLT_EPSILON * 4.0f;
        if (free_of_limit[i].distance_mm < limit - slack)
        {
            within++;
            cr_assert_float_eq(found[i].distance_mm, free_of_limit[i].distance_mm, slack);
        }
        if (free_of_limit[i].distance_mm > limit + slack)
        {
            cr_assert_eq(found[i].triangle, RLV_TREE_NONE);
            cr_assert(isinf(found[i].distance_mm));
        }
    }
    cr_assert(within > 300 && within < 2700, "%zu queries tell nothing", within);
    free(query);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

Test(tree, query_or_ray_that_is_nowhere_finds_nothing)
{
    rlv_mesh mesh = wrinkled_ball(2);
    rlv_tree* tree = tree_of(&mesh);
    rlv_nearest nearest[2];
    rlv_tree_nearest(tree, 2, (float[6]){NAN, 0, 0, INFINITY, 0, 0}, INFINITY, nearest);
    rlv_ray ray[4] = {{{0, 0, 0}, {0, 0, 0}, INFINITY},
                      {{0, 0, 0}, {NAN, 0, 1}, INFINITY},
                      {{NAN, 0, 0}, {0, 0, 1}, INFINITY},
                      {{0, 0, 0}, {0, 0, 1}, NAN}};
    rlv_hit hit[4];
    bool blocked[4];
    rlv_tree_rays(tree, 4, ray, hit);
    rlv_tree_blocked(tree, 4, ray, blocked);
    for (size_t i = 0; i < 2; i++)
        cr_assert_eq(nearest[i].triangle, RLV_TREE_NONE);
    for (size_t i = 0; i < 4; i++)
        cr_assert(hit[i].triangle == RLV_TREE_NONE && isinf(hit[i].distance) && !blocked[i], "ray %zu", i);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

Test(tree, ray_without_a_limit_hides_nothing_from_its_neighbours)
{
    rlv_mesh mesh = wrinkled_ball(4);
    rlv_tree* tree = tree_of(&mesh);
    for (size_t odd = 0; odd < 16; odd++)
    {
        rlv_ray ray[16];
        bool blocked[16];
        for (size_t i = 0; i < 16; i++)
            ray[i] = (rlv_ray){{0.01f * (float)i, 0, 0}, {0.1f, 0.2f, 1}, i == odd ? NAN : INFINITY};
        rlv_tree_blocked(tree, 16, ray, blocked);
        for (size_t i = 0; i < 16; i++)
            cr_assert_eq(blocked[i], i != odd, "ray %zu of a bundle with ray %zu without a limit", i, odd);
    }
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

Test(tree, mesh_with_a_corner_nowhere_is_refused)
{
    const float bad[2] = {NAN, INFINITY};
    for (int i = 0; i < 3; i++)
    {
        rlv_mesh mesh = wrinkled_ball(2);
        if (i < 2)
            mesh.position_mm[100] = bad[i];
        else
            mesh.corner[100] = (uint32_t)mesh.vertex_count;
        rlv_tree* tree = NULL;
        rlv_error error = {0};
        cr_assert_eq(rlv_tree_build(&tree, &mesh, &error), RLV_BAD_INPUT);
        cr_assert_null(tree);
        cr_assert_not_null(strstr(error.what, i < 2 ? "triangle 11 " : "triangle 33 "), "%s", error.what);
        rlv_mesh_free(&mesh);
    }
}

Test(tree, empty_mesh_is_refused)
{
    rlv_mesh mesh = {0};
    rlv_tree* tree = NULL;
    rlv_error error = {0};
    cr_assert_eq(rlv_tree_build(&tree, &mesh, &error), RLV_BAD_INPUT);
    cr_assert_null(tree);
    cr_assert_eq(error.status, RLV_BAD_INPUT);
    cr_assert_gt(strlen(error.what), 0);
}

/// Rays from the middle at every corner and at points of every edge, aimed in float: none may pass between triangles.
Test(tree, rays_at_edges_and_corners_never_leak)
{
    rlv_mesh mesh = wrinkled_ball(6);
    rlv_tree* tree = tree_of(&mesh);
    size_t count = 3 * mesh.triangle_count, leaked = 0;
    rlv_ray* ray = malloc(count * sizeof *ray);
    rlv_hit* hit = malloc(count * sizeof *hit);
    bool* blocked = malloc(count * sizeof *blocked);
    uint64_t seed = 1;
    for (int round = 0; round < 12; round++)
    {
        const float away = (float)round, origin[3] = {away * draw(&seed), away * draw(&seed), away * draw(&seed)};
        for (size_t i = 0; i < count; i++)
        {
            const float* a = mesh.position_mm + 3 * i;
            const float* b = mesh.position_mm + 9 * (i / 3) + 3 * ((i + 1) % 3);
            float t = round % 3 == 0 ? 0.0f : 0.5f + 0.5f * draw(&seed);
            for (size_t k = 0; k < 3; k++)
            {
                ray[i].origin_mm[k] = origin[k];
                ray[i].direction[k] = a[k] + t * (b[k] - a[k]) - origin[k];
            }
            ray[i].limit = INFINITY;
        }
        rlv_tree_rays(tree, count, ray, hit);
        rlv_tree_blocked(tree, count, ray, blocked);
        for (size_t i = 0; i < count; i++)
            leaked += hit[i].triangle == RLV_TREE_NONE || !blocked[i];
    }
    cr_assert_eq(leaked, 0, "%zu of %zu rays leaked", leaked, 12 * count);
    free(blocked);
    free(hit);
    free(ray);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

/// The same far from zero, where the corners lie on a coarse grid, and rays lie in the planes of boxes.
Test(tree, rays_far_from_zero_never_leak)
{
    rlv_mesh mesh = wrinkled_ball(5);
    for (size_t i = 0; i < 3 * mesh.vertex_count; i++)
        mesh.position_mm[i] = mesh.position_mm[i] * 0.01f + (i % 3 == 0 ? 1000.0f : i % 3 == 1 ? -2000.0f : 500.0f);
    rlv_tree* tree = tree_of(&mesh);
    size_t count = mesh.vertex_count, leaked = 0;
    rlv_ray* ray = malloc(count * sizeof *ray);
    rlv_hit* hit = malloc(count * sizeof *hit);
    uint64_t seed = 2;
    for (int round = 0; round < 20; round++)
    {
        const float origin[3] = {1000.0f + 0.1f * draw(&seed), -2000.0f + 0.1f * draw(&seed),
                                 500.0f + 0.1f * draw(&seed)};
        for (size_t i = 0; i < count; i++)
        {
            ray[i].limit = INFINITY;
            memcpy(ray[i].origin_mm, origin, sizeof origin);
            for (size_t k = 0; k < 3; k++)
                ray[i].direction[k] = mesh.position_mm[3 * i + k] - origin[k];
            // Every third one along an axis, from a point that shares two coordinates with the corner.
            if (i % 3 == 0)
                for (size_t k = 0; k < 3; k++)
                {
                    bool along = k == i / 3 % 3;
                    float to = mesh.position_mm[3 * i + k], a = fabsf(to - origin[k]) < 0.15f ? to : origin[k];
                    ray[i].origin_mm[k] = along ? origin[k] : a;
                    ray[i].direction[k] = !along ? 0.0f : to != origin[k] ? to - origin[k] : 1.0f;
                }
        }
        rlv_tree_rays(tree, count, ray, hit);
        for (size_t i = 0; i < count; i++)
            leaked += hit[i].triangle == RLV_TREE_NONE;
    }
    cr_assert_eq(leaked, 0, "%zu of %zu rays leaked", leaked, 20 * count);
    free(hit);
    free(ray);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

/// A flat wall is where the slack of the box test matters: the boxes of leaves meet in planes without overlapping, so
/// that a ray at such a plane is lost where the box test and the triangle test round to different sides of it.
Test(tree, rays_at_a_flat_wall_never_leak)
{
    enum
    {
        side = 48,
        rays = 200000
    };
    uint64_t seed = 41;
    float x[side + 1], y[side + 1];
    for (size_t i = 0; i <= side; i++)
    {
        x[i] = (float)i + 0.3f * draw(&seed);
        y[i] = (float)i + 0.3f * draw(&seed);
    }
    rlv_mesh mesh = soup_of(2 * side * side);
    float* p = mesh.position_mm;
    for (size_t i = 0; i < side; i++)
        for (size_t k = 0; k < side; k++, p += 18)
            memcpy(p,
                   (float[18]){x[i], y[k], 7, x[i + 1], y[k], 7, x[i + 1], y[k + 1], 7, x[i], y[k], 7, x[i + 1],
                               y[k + 1], 7, x[i], y[k + 1], 7},
                   18 * sizeof *p);
    rlv_tree* tree = tree_of(&mesh);
    rlv_ray* ray = malloc(rays * sizeof *ray);
    rlv_hit* hit = malloc(rays * sizeof *hit);
    for (size_t i = 0; i < rays; i++)
    {
        size_t line = 2 + draw_bits(&seed) % (side - 3);
        float along = 5.0f + (side - 10) * (0.5f + 0.5f * draw(&seed));
        const float target[3] = {i % 2 ? x[line] : along, i % 2 ? along : y[line], 7.0f};
        for (size_t k = 0; k < 3; k++)
        {
            ray[i].origin_mm[k] = 20.0f + 30.0f * draw(&seed);
            ray[i].direction[k] = target[k] - ray[i].origin_mm[k];
        }
        ray[i].limit = INFINITY;
    }
    rlv_tree_rays(tree, rays, ray, hit);
    size_t leaked = 0;
    for (size_t i = 0; i < rays; i++)
        leaked += hit[i].triangle == RLV_TREE_NONE;
    cr_assert_eq(leaked, 0, "%zu of %d rays leaked", leaked, rays);
    free(hit);
    free(ray);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

/// One triangle and one ray in double, in the ray's sheared frame (Woop, Benthin & Wald 2013).
typedef struct exact_meeting
{
    bool inside;     ///< the ray passes between the edges
    double margin;   ///< how far from the nearest edge, across the ray
    double distance; ///< along the ray, to the triangle's plane
    double across;   ///< how far off the float test may see the ray, across
    double along;    ///< and how far off the distance may come out
} exact_meeting;

static double plane_segment_distance(const double* a, const double* b)
{
    double x = b[0] - a[0], y = b[1] - a[1], length = x * x + y * y;
    double t = length > 0.0 ? fmin(1.0, fmax(0.0, -(a[0] * x + a[1] * y) / length)) : 0.0;
    return hypot(a[0] + t * x, a[1] + t * y);
}

/// With u half an epsilon, a corner's place across the ray is rounded by 5 u of its reach (see tree_walk.h), and the
/// signs of the edge functions are exact for the places so rounded: what passes further than that from every edge is
/// told rightly. An edge function is rounded by 4 u s^2, s the greatest offset of a corner across the ray; three of
/// them over their sum weigh depths that differ by `rise`; a shift across moves the depth by the slope, at most rise *
/// longest / |sum|; sum, quotient and product round by 8 u of the depth.
static exact_meeting meet(const rlv_mesh* mesh, size_t triangle, const rlv_ray* ray)
{
    const float* d = ray->direction;
    size_t kz = fabsf(d[0]) > fabsf(d[1]) ? 0 : 1;
    kz = fabsf(d[2]) > fabsf(d[kz]) ? 2 : kz;
    size_t kx = (kz + 1) % 3, ky = (kz + 2) % 3;
    double at[3][3], reach = 0.0, offset = 0.0, low = INFINITY, high = -INFINITY, longest = 0.0;
    for (size_t i = 0; i < 3; i++)
    {
        const float* p = mesh->position_mm + 9 * triangle + 3 * i;
        double x = (double)p[kx] - (double)ray->origin_mm[kx], y = (double)p[ky] - (double)ray->origin_mm[ky];
        double z = (double)p[kz] - (double)ray->origin_mm[kz];
        at[i][0] = x - (double)d[kx] / (double)d[kz] * z;
        at[i][1] = y - (double)d[ky] / (double)d[kz] * z;
        at[i][2] = z;
        reach = fmax(reach, fmax(fabs(x), fabs(y)) + fabs(z));
        offset = fmax(offset, fmax(fabs(at[i][0]), fabs(at[i][1])));
        low = fmin(low, z);
        high = fmax(high, z);
    }
    double edge[3], sum = 0.0, depth = 0.0;
    exact_meeting met = {.margin = INFINITY};
    for (size_t i = 0; i < 3; i++)
    {
        const double *b = at[(i + 1) % 3], *c = at[(i + 2) % 3];
        edge[i] = c[0] * b[1] - c[1] * b[0];
        sum += edge[i];
        depth += edge[i] * at[i][2];
        longest = fmax(longest, hypot(c[0] - b[0], c[1] - b[1]));
        met.margin = fmin(met.margin, plane_segment_distance(b, c));
    }
    const double u = 0.5 * FLT_EPSILON, scale = 1.0 / fabs((double)d[kz]);
    double rise = high - low;
    met.inside = sum != 0.0 && fmin(edge[0], fmin(edge[1], edge[2])) * fmax(edge[0], fmax(edge[1], edge[2])) >= 0.0;
    met.distance = depth / sum / (double)d[kz];
    met.across = 5.0 * u * reach;
    met.along = scale * (rise * (met.across * longest + 12.0 * u * offset * offset) / fabs(sum) +
                         8.0 * u * fmax(fabs(low), fabs(high)));
    return met;
}

Test(tree, rays_are_brute_force_in_double)
{
    rlv_mesh mesh = random_soup(900, 0.2f, 21);
    rlv_tree* tree = tree_of(&mesh);
    enum
    {
        rays = 4000
    };
    rlv_ray* ray = malloc(rays * sizeof *ray);
    rlv_hit* hit = malloc(rays * sizeof *hit);
    uint64_t seed = 22;
    size_t hits = 0;
    for (size_t i = 0; i < rays; i++)
    {
        for (size_t k = 0; k < 3; k++)
        {
            ray[i].origin_mm[k] = 1.5f * draw(&seed);
            ray[i].direction[k] = 3.0f * draw(&seed);
        }
        if (i % 5 == 0)
            ray[i].direction[i % 3] = 0.0f;
        ray[i].limit = i % 2 == 0 ? INFINITY : 0.3f;
    }
    rlv_tree_rays(tree, rays, ray, hit);
    for (size_t i = 0; i < rays; i++)
    {
        double told = (double)hit[i].distance, limit = (double)ray[i].limit;
        hits += hit[i].triangle != RLV_TREE_NONE;
        for (size_t t = 0; t < mesh.triangle_count; t++)
        {
            exact_meeting met = meet(&mesh, t, ray + i);
            bool clear = met.margin > met.across;
            if (clear && met.inside && met.distance > met.along && met.distance < limit - met.along)
                cr_assert_leq(told, met.distance + met.along, "ray %zu passed triangle %zu", i, t);
            if (t != hit[i].triangle)
                continue;
            cr_assert(!clear || met.inside, "ray %zu does not meet triangle %zu", i, t);
            cr_assert_leq(told, limit);
            cr_assert_float_eq(told, met.distance, met.along);
        }
    }
    cr_assert(hits > rays / 10 && hits < rays, "%zu hits tell nothing", hits);
    free(hit);
    free(ray);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

/// Rays and queries over a closed surface, near and far.
typedef struct answers
{
    rlv_nearest nearest[5000];
    rlv_hit hit[5000];
    bool blocked[5000];
} answers;

static answers* answers_of(const rlv_tree* tree, const tree_walks* walk)
{
    answers* all = calloc(1, sizeof *all);
    float* query = random_points(5000, 80.0f, 31);
    rlv_ray* ray = malloc(5000 * sizeof *ray);
    uint64_t seed = 32;
    for (size_t i = 0; i < 5000; i++)
    {
        ray[i].limit = i % 3 == 0 ? 0.8f : INFINITY;
        for (size_t k = 0; k < 3; k++)
        {
            ray[i].origin_mm[k] = query[3 * i + k];
            ray[i].direction[k] = 60.0f * draw(&seed);
        }
    }
    if (walk != NULL)
    {
        walk->nearest(tree, 5000, query, INFINITY, false, all->nearest);
        walk->rays(tree, 5000, ray, all->hit);
        walk->blocked(tree, 5000, ray, all->blocked);
    }
    else
    {
        rlv_tree_nearest(tree, 5000, query, INFINITY, all->nearest);
        rlv_tree_rays(tree, 5000, ray, all->hit);
        rlv_tree_blocked(tree, 5000, ray, all->blocked);
    }
    free(ray);
    free(query);
    return all;
}

/// Queries that moved a little, by far, or stayed; on the surface, near it and far off; and some never asked before.
Test(tree, what_was_told_last_changes_no_answer)
{
    enum
    {
        COUNT = 6000
    };
    rlv_mesh mesh = wrinkled_ball(5);
    rlv_tree* tree = tree_of(&mesh);
    float *query = random_points(COUNT, 80.0f, 41), *move = random_points(COUNT, 1.0f, 42);
    rlv_nearest *again = calloc(COUNT, sizeof *again), *anew = calloc(COUNT, sizeof *anew);
    for (size_t i = 0; i < COUNT; i += 2)
        memcpy(query + 3 * i, mesh.position_mm + 3 * (i % mesh.vertex_count), 3 * sizeof *query);
    rlv_tree_nearest(tree, COUNT, query, INFINITY, again);
    for (size_t i = 0; i < 3 * COUNT; i++)
        query[i] += move[i] * (i / 3 % 5 == 0 ? 0.0f : i / 3 % 5 == 1 ? 30.0f : 0.1f);
    for (size_t i = 0; i < COUNT; i += 7)
        again[i].triangle = RLV_TREE_NONE;
    for (int round = 0; round < 2; round++)
    {
        const float limit = round == 0 ? INFINITY : 2.0f;
        rlv_tree_nearest(tree, COUNT, query, limit, anew);
        rlv_tree_nearest_again(tree, COUNT, query, limit, again);
        cr_expect_eq(memcmp(again, anew, COUNT * sizeof *anew), 0, "round %d", round);
    }
    free(query);
    free(move);
    free(again);
    free(anew);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

Test(tree, blocked_agrees_with_first_hits)
{
    rlv_mesh mesh = wrinkled_ball(5);
    rlv_tree* tree = tree_of(&mesh);
    answers* all = answers_of(tree, NULL);
    size_t hits = 0;
    for (size_t i = 0; i < 5000; i++)
    {
        cr_assert_eq(all->blocked[i], all->hit[i].triangle != RLV_TREE_NONE, "ray %zu", i);
        hits += all->blocked[i];
    }
    cr_assert(hits > 500 && hits < 4500, "%zu hits tell nothing", hits);
    free(all);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

/// A thousand triangles share one Morton cell with thousands around: a cluster that no bit parts takes several nodes.
Test(tree, index_of_few_queries_gives_the_answers_of_many)
{
    rlv_mesh mesh[2] = {wrinkled_ball(6), random_soup(3000, 1e-4f, 5)};
    for (size_t t = 0; t < 1000; t++)
        memcpy(mesh[1].corner + 3 * t, mesh[1].corner, 3 * sizeof *mesh[1].corner);
    for (int m = 0; m < 2; m++)
    {
        rlv_tree *many = tree_of(mesh + m), *few = NULL;
        cr_assert_eq(rlv_tree_build_for(&few, mesh + m, 1, NULL), RLV_DONE);
        cr_assert_neq(few->node_count, many->node_count, "the two were built alike, which tells nothing");
        answers *of_many = answers_of(many, NULL), *of_few = answers_of(few, NULL);
        cr_assert_eq(memcmp(of_many, of_few, sizeof *of_many), 0, "mesh %d", m);
        free(of_many);
        free(of_few);
        rlv_tree_free(many);
        rlv_tree_free(few);
        rlv_mesh_free(mesh + m);
    }
}

Test(tree, any_number_of_threads_gives_the_same_bytes)
{
    rlv_mesh mesh = wrinkled_ball(7); // 131,072 triangles: many clusters and tasks
    omp_set_num_threads(1);
    rlv_tree* one = tree_of(&mesh);
    answers* of_one = answers_of(one, NULL);
    for (int threads = 2; threads <= 5; threads++)
    {
        omp_set_num_threads(threads);
        rlv_tree* many = tree_of(&mesh);
        answers* of_many = answers_of(many, NULL);
        cr_assert_eq(one->node_count, many->node_count);
        cr_assert_eq(memcmp(one->node, many->node, one->node_count * sizeof *one->node), 0);
        cr_assert_eq(memcmp(one->leaf, many->leaf, one->triangle_count * TREE_LEAF_FLOATS * sizeof *one->leaf), 0);
        cr_assert_eq(memcmp(of_one, of_many, sizeof *of_one), 0);
        free(of_many);
        rlv_tree_free(many);
    }
    free(of_one);
    rlv_tree_free(one);
    rlv_mesh_free(&mesh);
}

#if defined(__x86_64__)
Test(tree, wide_and_narrow_instructions_give_the_same_bytes)
{
    if (!__builtin_cpu_supports("avx2"))
        cr_skip_test("this machine has no AVX2");
    rlv_mesh mesh = wrinkled_ball(5);
    rlv_tree* tree = tree_of(&mesh);
    answers *narrow = answers_of(tree, &tree_walks_plain), *wide = answers_of(tree, &tree_walks_avx2);
    cr_assert_eq(memcmp(narrow, wide, sizeof *narrow), 0);
    free(narrow);
    free(wide);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}
#endif
