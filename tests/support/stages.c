#include "stages.h"

#include "scene.h"

#include <math.h>
#include <string.h>

double stage_uniform(scan_random* random, double low, double high)
{
    return low + (high - low) * scan_random_unit(random);
}

rlv_vec3 stage_direction(scan_random* random)
{
    const double x = scan_random_normal(random), y = scan_random_normal(random), z = scan_random_normal(random);
    return rlv_vec3_unit(rlv_vec3_of(x, y, z));
}

rock stage_random_rock(scan_random* random)
{
    rock made = {0};
    made.half_axes_mm.x = stage_uniform(random, 80, 130);
    made.half_axes_mm.y = stage_uniform(random, 60, 110);
    made.half_axes_mm.z = stage_uniform(random, 45, 90);
    made.relief_mm = stage_uniform(random, 1.5, 5);
    made.relief_length_mm = stage_uniform(random, 40, 100);
    made.facets = scan_random_unit(random);
    made.seed = scan_random_bits(random);
    return made;
}

/// Share of directions along which the rock has become shorter.
static double carved_share(const rock* before, const rock* after)
{
    scan_random random = {.state = 77};
    int gone = 0;
    const int count = 1000;
    for (int i = 0; i < count; i++)
    {
        rlv_vec3 along = stage_direction(&random);
        gone += rock_radius(after, along) < rock_radius(before, along) - 0.01;
    }
    return (double)gone / count;
}

static rock_cut random_cut(const rock* from, scan_random* random)
{
    rock_cut cut = {.direction = stage_direction(random), .plane = scan_random_unit(random) < 0.4};
    if (cut.plane)
        cut.distance_mm = rock_radius(from, cut.direction) * stage_uniform(random, 0.35, 0.9);
    else
    {
        cut.depth_mm = stage_uniform(random, 1, 25);
        cut.half_angle_rad = stage_uniform(random, 0.2, 1.1);
        cut.soft_mm = scan_random_unit(random) < 0.5 ? 0.0 : stage_uniform(random, 2, 15);
    }
    return cut;
}

static void carve(rock* after, const rock* before, double most, scan_random* random)
{
    const int cuts = 1 + (int)(4.0 * scan_random_unit(random));
    for (int i = 0; i < cuts; i++)
    {
        after->cut[after->cut_count++] = random_cut(before, random);
        if (carved_share(before, after) > most)
            after->cut_count--;
    }
}

static size_t some_triangles(scan_random* random, size_t wished)
{
    const double drawn = scan_random_unit(random);
    return wished != 0 ? wished : (size_t)(30000.0 * pow(5.0, drawn));
}

void stage_pair_make(stage_pair* pair, const stage_wish* wish)
{
    scan_random random = {.state = 0x1234567u * (wish->seed + 1)};
    rock before = stage_random_rock(&random);
    if (wish->relief_mm > 0.0)
        before.relief_mm = wish->relief_mm;
    rock after = before;
    carve(&after, &before, wish->most_carved, &random);
    pair->carved = carved_share(&before, &after);
    pair->before = scene_mesh(&before, some_triangles(&random, wish->triangles), 2 * wish->seed + 1);
    pair->after = scene_mesh(&after, some_triangles(&random, wish->triangles), 2 * wish->seed + 2);
    scan_noise noise = {.noise_sd_mm = wish->noise_sd_mm > 0.0 ? wish->noise_sd_mm : 0.1,
                        .noise_length_mm = stage_uniform(&random, 1, 3)};
    (void)scene_scan(&pair->before, noise, &random);
    noise.any_pose = wish->any_pose;
    noise.place_mm = 500;
    noise.scale_sd = wish->scale_sd;
    pair->truth = scene_scan(&pair->after, noise, &random);
}

void stage_pair_free(stage_pair* pair)
{
    rlv_mesh_free(&pair->before);
    rlv_mesh_free(&pair->after);
}

double stage_farthest_mm(const rlv_mesh* mesh, const rlv_pose* a, const rlv_pose* b)
{
    double worst = 0.0;
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        rlv_vec3 p = rlv_mesh_vertex(mesh, i);
        worst = fmax(worst, rlv_vec3_length(rlv_vec3_sub(rlv_pose_apply(a, p), rlv_pose_apply(b, p))));
    }
    return worst;
}

/// Middle along a direction, and area, of a triangle.
static double middle_along(const rlv_mesh* mesh, size_t triangle, rlv_vec3 direction, double* area)
{
    rlv_vec3 p[3];
    for (size_t k = 0; k < 3; k++)
        p[k] = rlv_mesh_vertex(mesh, mesh->corner[3 * triangle + k]);
    *area = 0.5 * rlv_vec3_length(rlv_vec3_cross(rlv_vec3_sub(p[1], p[0]), rlv_vec3_sub(p[2], p[0])));
    return rlv_vec3_dot(direction, rlv_vec3_add(rlv_vec3_add(p[0], p[1]), p[2])) / 3.0;
}

void stage_keep_side(rlv_mesh* mesh, rlv_vec3 direction, double distance_mm)
{
    size_t kept = 0;
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        double area;
        if (!(middle_along(mesh, t, direction, &area) > distance_mm))
            continue;
        memmove(mesh->corner + 3 * kept, mesh->corner + 3 * t, 3 * sizeof *mesh->corner);
        kept++;
    }
    mesh->triangle_count = kept;
}

double stage_quantile_mm(const rlv_mesh* mesh, rlv_vec3 direction, double share)
{
    double low = -1000.0, high = 1000.0;
    for (int i = 0; i < 40; i++)
    {
        const double middle = 0.5 * (low + high);
        double beyond = 0.0, all = 0.0;
        for (size_t t = 0; t < mesh->triangle_count; t++)
        {
            double area;
            const double along = middle_along(mesh, t, direction, &area);
            all += area;
            beyond += along > middle ? area : 0.0;
        }
        if (beyond > share * all)
            low = middle;
        else
            high = middle;
    }
    return low;
}
