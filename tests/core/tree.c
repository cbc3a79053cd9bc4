/// The spatial index against brute force in double, and against itself. See core/tree.h.

#include "tree.h"
#include "tree_parts.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
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
