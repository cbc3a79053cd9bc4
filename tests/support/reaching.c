#include "reaching.h"

#include "tree.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum
{
    FINER = 4, // times the triangles of a scan
    SHARE = 4, // a triangle is halved along each side
};

static rlv_vec3 corner_of(const rlv_mesh* mesh, size_t t, size_t k)
{
    return rlv_mesh_vertex(mesh, mesh->corner[3 * t + k]);
}

/// The middles of the four parts of each triangle, in the tree's local frame, 3 * SHARE * triangles.
static float* middles_of(const rlv_mesh* mesh, rlv_vec3 origin)
{
    static const double weight[SHARE][3] = {{4, 1, 1}, {1, 4, 1}, {1, 1, 4}, {2, 2, 2}};
    float* list = malloc(3 * SHARE * mesh->triangle_count * sizeof *list);
    for (size_t i = 0; list != NULL && i < SHARE * mesh->triangle_count; i++)
    {
        rlv_vec3 p = rlv_vec3_scale(origin, -1.0);
        for (size_t k = 0; k < 3; k++)
            p = rlv_vec3_along(p, weight[i % SHARE][k] / 6.0, corner_of(mesh, i / SHARE, k));
        list[3 * i] = (float)p.x, list[3 * i + 1] = (float)p.y, list[3 * i + 2] = (float)p.z;
    }
    return list;
}

/// The nearest points of a mesh to `count` places about its own origin, and how far they are.
static void find_nearest(rlv_nearest* nearest, const float* place, size_t count, const rlv_mesh* to)
{
    rlv_tree* tree = NULL;
    if (place == NULL || nearest == NULL || rlv_tree_build(&tree, to, NULL) != RLV_DONE)
        exit(EXIT_FAILURE);
    rlv_tree_nearest(tree, count, place, INFINITY, nearest);
    rlv_tree_free(tree);
}

/// The same places about another origin.
static void move_origin(float* place, size_t count, rlv_vec3 from, rlv_vec3 to)
{
    const rlv_vec3 by = rlv_vec3_sub(from, to);
    for (size_t i = 0; i < count; i++)
        place[3 * i] += (float)by.x, place[3 * i + 1] += (float)by.y, place[3 * i + 2] += (float)by.z;
}

/// The area of the scan's triangles `own` over which the surface `before` lies further than `limit_mm` from `after`: a
/// rough surface has the more area the finer it is meshed, and that of the scan's own triangles is what is told.
static double area_beyond(const rlv_mesh* own, const rlv_mesh* before, const rlv_mesh* after, double limit_mm)
{
    const size_t count = SHARE * own->triangle_count;
    float* place = middles_of(own, before->origin_mm);
    rlv_nearest* nearest = malloc(count * sizeof *nearest);
    double area = 0.0;
    find_nearest(nearest, place, count, before);
    for (size_t i = 0; i < count; i++)
        memcpy(place + 3 * i, nearest[i].point_mm, sizeof nearest[i].point_mm);
    move_origin(place, count, before->origin_mm, after->origin_mm);
    find_nearest(nearest, place, count, after);
    for (size_t i = 0; i < count; i++)
        if ((double)nearest[i].distance_mm > limit_mm)
            area += 0.5 * rlv_vec3_length(rlv_mesh_twice_area(own, i / SHARE)) / SHARE;
    free(place);
    free(nearest);
    return area;
}

static double greatest_between(const rlv_mesh* from, const rlv_mesh* to)
{
    const size_t count = SHARE * from->triangle_count;
    float* place = middles_of(from, to->origin_mm);
    rlv_nearest* nearest = malloc(count * sizeof *nearest);
    double most = 0.0;
    find_nearest(nearest, place, count, to);
    for (size_t i = 0; i < count; i++)
        most = fmax(most, (double)nearest[i].distance_mm);
    free(place);
    free(nearest);
    return most;
}

static void find_truth(reaching* r, const carving_plan* plan)
{
    carving_plan still = *plan, fine = *plan;
    still.scan = fine.scan = (scan_noise){0};
    fine.triangles *= FINER;
    carving own = carve(&still), finer = carve(&fine);
    r->area_mm2 = area_beyond(&own.before, &finer.before, &finer.after, r->region.area_from_mm);
    r->max_depth_mm = greatest_between(&finer.after, &finer.before);
    r->mean_depth_mm = own.removed_mm3 / r->area_mm2;
    carving_free(&own);
    carving_free(&finer);
}

reaching reach_once(uint64_t seed, double shallowest_mm, size_t triangles)
{
    const carving_plan plan = carving_draw(seed, shallowest_mm, triangles);
    carving c = carve(&plan);
    const rlv_change_options options = {
        .aligned = true, .before_scale_sd = plan.scan.scale_sd, .after_scale_sd = plan.scan.scale_sd};
    rlv_change change = {0};
    reaching r = {0};
    if (rlv_change_measure(&change, &c.before, &c.after, &options, NULL) == RLV_DONE && change.region_count > 0 &&
        change.region[0].volume_mm3.value > 0.99 * change.went.volume_mm3.value)
    {
        r.measured = true;
        r.region = change.region[0];
        find_truth(&r, &plan);
    }
    if (getenv("RLV_EACH") != NULL)
        printf("%llu deep %.2f share %.2f warp %.2f over %.0f limits %.2f %.2f noise %.2f over %.2f n %zu\n",
               (unsigned long long)seed, plan.depth_mm, plan.share, plan.scan.warp_sd_mm, plan.scan.warp_length_mm,
               change.limit[0].depth_mm, r.region.area_from_mm, change.noise_sd_mm, change.noise_length_mm,
               change.region_count);
    rlv_change_free(&change);
    carving_free(&c);
    return r;
}
