/// The scanned rabbit, cut by a rough face, worn, shaken and moved: both parts go back to where they were.
///
/// Data: see support/rabbit.h. The truth is the cut itself: the place that the parts were moved from.

#include "rejoin.h"

#include "noise.h"
#include "support/rabbit.h"
#include "support/rejoining.h"
#include "support/scene.h"
#include "tree.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    SPLITS = 2 // of each triangle into four: edges of about 0.6 mm
};

static const double pitch_mm = 0.7, worn_mm = 0.6;

/// The cut: a height over a level plane, and how far each part's face was worn from it.
typedef struct rough_cut
{
    rlv_vec3 middle;
    noise_waves relief, worn[2];
} rough_cut;

static double cut_height(const rough_cut* cut, double x, double z)
{
    return cut->middle.y + noise_waves_at(&cut->relief, rlv_vec3_of(x, 0, z));
}

/// The rabbit in finer triangles.
static rlv_mesh whole_rabbit(const double* position, const uint32_t* corner, size_t cells)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    const size_t side = (size_t)1 << SPLITS, each = side * side;
    cr_assert_eq(rlv_mesh_reserve(&mesh, 3 * each * cells, each * cells, false, false, &error), RLV_DONE);
    float* to = mesh.position_mm;
    for (size_t t = 0; t < cells; t++)
        for (size_t i = 0; i < side; i++)
            for (size_t k = 0; k < 2 * i + 1; k++)
            {
                // Row i of the triangle from its first corner; every other one stands on its head.
                const size_t j = k / 2;
                const size_t up[3][2] = {{i, j}, {i + 1, j}, {i + 1, j + 1}},
                             down[3][2] = {{i, j}, {i + 1, j + 1}, {i, j + 1}};
                for (size_t c = 0; c < 3; c++)
                {
                    const size_t* at = k % 2 == 0 ? up[c] : down[c];
                    const double v = (double)at[0] / (double)side, w = (double)at[1] / (double)side;
                    for (size_t axis = 0; axis < 3; axis++)
                        *to++ = (float)((1.0 - v) * position[3 * corner[3 * t] + axis] +
                                        (v - w) * position[3 * corner[3 * t + 1] + axis] +
                                        w * position[3 * corner[3 * t + 2] + axis]);
                }
            }
    for (size_t c = 0; c < 3 * mesh.triangle_count; c++)
        mesh.corner[c] = (uint32_t)c;
    rlv_mesh_health health;
    cr_assert_eq(rlv_mesh_weld(&mesh, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, &error), RLV_DONE, "%s", error.what);
    return mesh;
}

/// Whether the rabbit is over a place: what is met first upward is met from inside.
static bool is_inside(const rlv_tree* tree, const rlv_mesh* rabbit, rlv_vec3 at)
{
    const rlv_ray ray = {{(float)at.x, (float)at.y, (float)at.z}, {0, 1, 0}, INFINITY};
    rlv_hit hit;
    rlv_tree_rays(tree, 1, &ray, &hit);
    return hit.triangle != RLV_TREE_NONE && rlv_mesh_twice_area(rabbit, hit.triangle).y > 0.0;
}

/// The block below the cut (0), or the piece above it (1): what is left of the skin, and its own worn face.
static rlv_mesh part_of(const rlv_mesh* rabbit, const rlv_tree* tree, const rough_cut* cut, int part)
{
    const rlv_mesh_measures size = rlv_mesh_measure(rabbit);
    const double reach = 0.5 * fmax(size.high_mm.x - size.low_mm.x, size.high_mm.z - size.low_mm.z) + 2.0;
    const size_t n = (size_t)(2.0 * reach / pitch_mm) + 1;
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    cr_assert_eq(
        rlv_mesh_reserve(&mesh, rabbit->vertex_count + n * n, rabbit->triangle_count + 2 * n * n, false, false, &error),
        RLV_DONE);
    memcpy(mesh.position_mm, rabbit->position_mm, 3 * rabbit->vertex_count * sizeof(float));
    mesh.origin_mm = rabbit->origin_mm;
    uint32_t* to = mesh.corner;
    for (size_t t = 0; t < rabbit->triangle_count; t++)
    {
        rlv_vec3 middle = {0, 0, 0};
        for (size_t k = 0; k < 3; k++)
            middle = rlv_vec3_along(middle, 1.0 / 3.0, rlv_mesh_vertex(rabbit, rabbit->corner[3 * t + k]));
        if ((middle.y > cut_height(cut, middle.x, middle.z)) == (part == 1))
            memcpy(to, rabbit->corner + 3 * t, 3 * sizeof *to), to += 3;
    }
    bool* in = calloc(n * n, sizeof *in);
    const uint32_t first = (uint32_t)rabbit->vertex_count;
    for (size_t i = 0; i < n * n; i++)
    {
        // Either face has a grid of its own.
        const double x = cut->middle.x - reach + pitch_mm * ((double)(i % n) + 0.4 * part),
                     z = cut->middle.z - reach + pitch_mm * ((double)(i / n) + 0.3 * part),
                     worn = worn_mm * fmin(1.0, fmax(0.0, noise_waves_at(&cut->worn[part], rlv_vec3_of(x, 0, z)))),
                     y = cut_height(cut, x, z) + (part == 0 ? -worn : worn);
        const rlv_vec3 at = rlv_vec3_sub(rlv_vec3_of(x, y, z), rabbit->origin_mm);
        in[i] = is_inside(tree, rabbit, at);
        float* p = mesh.position_mm + 3 * (first + i);
        p[0] = (float)at.x, p[1] = (float)at.y, p[2] = (float)at.z;
    }
    for (size_t j = 0; j + 1 < n; j++)
        for (size_t i = 0; i + 1 < n; i++)
        {
            const size_t a = j * n + i, b = a + 1, c = a + n, d = c + 1;
            if (!in[a] || !in[b] || !in[c] || !in[d])
                continue;
            const uint32_t v[4] = {first + (uint32_t)a, first + (uint32_t)b, first + (uint32_t)c, first + (uint32_t)d};
            const uint32_t up[6] = {v[0], v[2], v[1], v[1], v[2], v[3]}, down[6] = {v[0], v[1], v[2], v[1], v[3], v[2]};
            memcpy(to, part == 0 ? up : down, sizeof up), to += 6;
        }
    free(in);
    mesh.triangle_count = (size_t)(to - mesh.corner) / 3;
    rlv_mesh_health health;
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, &error), RLV_DONE, "%s", error.what);
    return mesh;
}

Test(rejoin_outside, broken_rabbit_goes_back_to_where_it_was)
{
    double* position = NULL;
    uint32_t* corner = NULL;
    size_t points = 0, cells = 0;
    if (!rabbit_read(&position, &points, &corner, &cells))
        cr_skip_test("the rabbit is not there: npm install --no-save --prefix build/outside bunny");
    rlv_mesh before = whole_rabbit(position, corner, cells), part[2];
    rlv_tree* tree = NULL;
    rlv_error error = {0};
    cr_assert_eq(rlv_tree_build(&tree, &before, &error), RLV_DONE);
    const rlv_mesh_measures size = rlv_mesh_measure(&before);
    const rough_cut cut = {
        .middle = rlv_vec3_scale(rlv_vec3_add(size.low_mm, size.high_mm), 0.5),
        .relief = noise_waves_fractal(2.5, 60.0, 6, 0.57, 11),
        .worn = {noise_waves_fractal(1.0, 25.0, 4, 0.6, 12), noise_waves_fractal(1.0, 25.0, 4, 0.6, 13)}};
    for (int k = 0; k < 2; k++)
        part[k] = part_of(&before, tree, &cut, k);
    const scan_noise noise = {.noise_sd_mm = 0.1, .noise_length_mm = 2.0, .any_pose = true, .place_mm = 200.0};
    scan_random random = {5};
    scene_scan(&before, noise, &random);
    const rlv_pose block_home = scene_scan(&part[0], noise, &random), piece_home = scene_scan(&part[1], noise, &random),
                   back = rlv_pose_inverse(&block_home), truth = rlv_pose_compose(&back, &piece_home);
    // What 95 % of simulated breaks stay below, with the stage from before and without it (core/rejoin_long.c).
    const double most_mm[2] = {0.25, 0.5}, most_deg[2] = {0.35, 1.0};
    for (int k = 0; k < 2; k++)
    {
        rlv_rejoin r = {0};
        double mm, deg;
        const rlv_rejoin_input input = {.block = &part[0], .piece = &part[1], .before = k == 0 ? &before : NULL};
        cr_assert_eq(rlv_rejoin_measure(&r, &input, &error), RLV_DONE, "%s", error.what);
        rejoining_apart(&r.closed, &truth, &mm, &deg);
        cr_expect(mm < most_mm[k] && deg < most_deg[k], "%d: %.3f mm %.3f deg", k, mm, deg);
        cr_expect_eq(r.found_known, k == 0);
        rlv_rejoin_free(&r);
    }
    rlv_tree_free(tree);
    rlv_mesh_free(&before);
    rlv_mesh_free(&part[0]);
    rlv_mesh_free(&part[1]);
    free(corner);
    free(position);
}
