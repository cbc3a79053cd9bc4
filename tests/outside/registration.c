/// The scanned rabbit, cut, cut anew, shaken and moved, against what SciPy and Open3D say of the motion.
///
/// Data: npm package `bunny` (public domain; the Stanford rabbit, thinned), fetched by tests/run.sh. Expected values:
/// registration.txt, made by registration.py with the versions written there. The recipe of the second state is the
/// same in both files.

#include "align.h"
#include "mesh.h"

#include "support/rabbit.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double noise_sd_mm = 0.1, stays = 0.8;

static double mix(uint64_t index)
{
    uint64_t z = (index + 1) * 0x9E3779B97F4A7C15u;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1.0p-53;
}

/// The vertex in the middle of an edge, made when it is first asked for.
typedef struct middles
{
    uint64_t* key; ///< of the edge, by the vertex less the first middle
    size_t first, count;
    double* position;
} middles;

static uint32_t between(middles* m, uint32_t a, uint32_t b)
{
    const uint64_t key = a < b ? (uint64_t)a << 32 | b : (uint64_t)b << 32 | a;
    for (size_t i = m->count; i-- > 0;) // a few thousand edges: a plain look through is quick enough
        if (m->key[i] == key)
            return (uint32_t)(m->first + i);
    for (size_t k = 0; k < 3; k++)
        m->position[3 * (m->first + m->count) + k] = 0.5 * (m->position[3 * a + k] + m->position[3 * b + k]);
    m->key[m->count] = key;
    return (uint32_t)(m->first + m->count++);
}

static void shake_and_cut(double* position, size_t points)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < points; i++)
    {
        low = fmin(low, position[3 * i + 1]);
        high = fmax(high, position[3 * i + 1]);
    }
    const double top = low + stays * (high - low);
    for (size_t i = 0; i < points; i++)
    {
        position[3 * i + 1] = fmin(position[3 * i + 1], top);
        for (size_t k = 0; k < 3; k++)
        {
            double sum = -6.0;
            for (uint64_t j = 0; j < 12; j++)
                sum += mix(12 * (3 * i + k) + j);
            position[3 * i + k] += noise_sd_mm / sqrt(3.0) * sum;
        }
    }
}

static void fill(rlv_mesh* mesh, const double* position, size_t points, const uint32_t* corner, size_t cells)
{
    rlv_error error = {0};
    rlv_mesh_health health;
    cr_assert_eq(rlv_mesh_reserve(mesh, points, cells, false, false, &error), RLV_DONE);
    for (size_t i = 0; i < 3 * points; i++)
        mesh->position_mm[i] = (float)position[i];
    memcpy(mesh->corner, corner, 3 * cells * sizeof *corner);
    cr_assert_eq(rlv_mesh_mend(mesh, &health, &error), RLV_DONE, "%s", error.what);
}

/// The second state, where it was scanned.
static void make_second(rlv_mesh* mesh, const double* position, size_t points, const uint32_t* corner, size_t cells)
{
    middles m = {.key = calloc(3 * cells, sizeof *m.key),
                 .first = points,
                 .position = calloc(3 * (points + 3 * cells), sizeof *m.position)};
    uint32_t* quarter = calloc(12 * cells, sizeof *quarter);
    memcpy(m.position, position, 3 * points * sizeof *position);
    for (size_t t = 0; t < cells; t++)
    {
        const uint32_t a = corner[3 * t], b = corner[3 * t + 1], c = corner[3 * t + 2];
        const uint32_t ab = between(&m, a, b), bc = between(&m, b, c), ca = between(&m, c, a);
        const uint32_t four[12] = {a, ab, ca, ab, b, bc, ca, bc, c, ab, bc, ca};
        memcpy(quarter + 12 * t, four, sizeof four);
    }
    shake_and_cut(m.position, points + m.count);
    fill(mesh, m.position, points + m.count, quarter, 4 * cells);
    free(quarter);
    free(m.position);
    free(m.key);
}

/// A line of numbers of registration.txt, past the remarks.
static void read_numbers(FILE* file, double* number, int count)
{
    char line[4096];
    while (fgets(line, sizeof line, file) != NULL && line[0] == '#')
        ;
    char* at = line;
    for (int i = 0; i < count; i++)
        number[i] = strtod(at, &at);
}

static rlv_pose pose_of(const double matrix[16])
{
    rlv_pose pose = rlv_pose_identity();
    for (int i = 0; i < 9; i++)
        pose.rotation.m[i] = matrix[4 * (i / 3) + i % 3];
    pose.translation_mm = rlv_vec3_of(matrix[3], matrix[7], matrix[11]);
    return pose;
}

static double farthest_mm(const rlv_mesh* mesh, const rlv_pose* a, const rlv_pose* b)
{
    double worst = 0.0;
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        rlv_vec3 p = rlv_mesh_vertex(mesh, i);
        worst = fmax(worst, rlv_vec3_length(rlv_vec3_sub(rlv_pose_apply(a, p), rlv_pose_apply(b, p))));
    }
    return worst;
}

Test(registration, rabbit_comes_home_as_scipy_and_open3d_say)
{
    double* position = NULL;
    uint32_t* corner = NULL;
    size_t points = 0, cells = 0;
    if (!rabbit_read(&position, &points, &corner, &cells))
        cr_skip_test("the rabbit is not there: npm install --no-save --prefix build/outside bunny");
    double motion[6], scipy[16], open3d[16];
    FILE* file = fopen(RLV_TESTS_DIR "/outside/registration.txt", "r");
    cr_assert_not_null(file);
    read_numbers(file, motion, 6);
    read_numbers(file, scipy, 16);
    read_numbers(file, open3d, 16);
    fclose(file);

    rlv_mesh before = {0}, after = {0};
    rlv_tree* tree = NULL;
    rlv_error error = {0};
    fill(&before, position, points, corner, cells);
    make_second(&after, position, points, corner, cells);
    rlv_pose made = rlv_pose_identity();
    made.rotation = rlv_rotation_from_vector(rlv_vec3_of(motion[0], motion[1], motion[2]));
    made.translation_mm = rlv_vec3_of(motion[3], motion[4], motion[5]);
    rlv_pose_move_mesh(&made, &after);
    cr_assert_eq(rlv_tree_build(&tree, &before, &error), RLV_DONE);
    rlv_alignment found;
    cr_expect_eq(rlv_align(&found, &before, tree, &after, &(rlv_align_options){.seed = 1}, &error), RLV_DONE, "%s",
                 error.what);
    cr_expect(!found.ambiguous, "%s", found.reason);

    // Each of the three is uncertain by about our own sd at the farthest vertex (the radius is some 100 mm); two of
    // them differ by sqrt(2) times that, and hardly ever by four times as much.
    const double radius_mm = 100.0;
    const double sd_mm = found.position_sd_mm + radius_mm * found.rotation_sd_deg * M_PI / 180.0;
    rlv_pose truth = rlv_pose_inverse(&made), by_scipy = pose_of(scipy), by_open3d = pose_of(open3d);
    cr_log_info("sd %.4f mm; off truth %.4f, SciPy %.4f, Open3D %.4f mm; SciPy off truth %.4f mm\n", sd_mm,
                farthest_mm(&after, &found.pose, &truth), farthest_mm(&after, &found.pose, &by_scipy),
                farthest_mm(&after, &found.pose, &by_open3d), farthest_mm(&after, &by_scipy, &truth));
    cr_expect_lt(farthest_mm(&after, &found.pose, &truth), 4.0 * sd_mm);
    cr_expect_lt(farthest_mm(&after, &found.pose, &by_scipy), 4.0 * sqrt(2.0) * sd_mm);
    cr_expect_lt(farthest_mm(&after, &found.pose, &by_open3d), 4.0 * sqrt(2.0) * sd_mm);
    rlv_tree_free(tree);
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
    free(corner);
    free(position);
}
