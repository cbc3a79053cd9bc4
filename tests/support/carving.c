#include "carving.h"

#include "scene.h"

#include <math.h>

static rock block_of(const carving_plan* plan, scan_random* random)
{
    rock block = {.relief_length_mm = 100.0, .facets = plan->smooth ? 0.0 : 0.5};
    block.half_axes_mm = rlv_vec3_of(85.0 + 30.0 * scan_random_unit(random), 70.0 + 20.0 * scan_random_unit(random),
                                     55.0 + 20.0 * scan_random_unit(random));
    block.relief_mm = plan->smooth ? 0.0 : 2.0 + 4.0 * scan_random_unit(random);
    block.seed = scan_random_bits(random);
    return block;
}

static void add_cut(rock* block, const carving_plan* plan, scan_random* random)
{
    const rlv_vec3 any = rlv_mat3_apply(scan_random_rotation(random), rlv_vec3_of(0, 0, 1));
    // Deep pits have sloping walls: a scan cannot stand on a wall of 40 mm with one triangle.
    block->cut[block->cut_count++] = (rock_cut){.direction = plan->up ? rlv_vec3_of(0, 0, 1) : any,
                                                .depth_mm = plan->depth_mm,
                                                .half_angle_rad = acos(1.0 - 2.0 * plan->share),
                                                .soft_mm = plan->depth_mm > 4.0 ? 0.7 * plan->depth_mm : 0.0};
}

carving carve(const carving_plan* plan)
{
    carving c = {0};
    scan_random random = {plan->seed * 1000003u + 17u};
    const rock before = block_of(plan, &random);
    rock after = before;
    if (plan->depth_mm > 0.0)
        add_cut(&after, plan, &random);
    c.cut = after.cut[0];
    const uint64_t mesh_seed = scan_random_bits(&random) | 1u;
    c.before = scene_mesh(&before, plan->triangles, mesh_seed);
    c.after = scene_mesh(&after, plan->triangles, plan->same_mesh ? mesh_seed : mesh_seed + 2);
    c.removed_mm3 = rlv_mesh_measure(&c.before).volume_mm3 - rlv_mesh_measure(&c.after).volume_mm3;
    scan_noise moved = plan->scan;
    moved.any_pose = plan->any_pose;
    moved.place_mm = 200.0;
    const rlv_pose before_home = scene_scan(&c.before, plan->scan, &random);
    const rlv_pose after_home = scene_scan(&c.after, moved, &random);
    const rlv_pose away = rlv_pose_inverse(&before_home);
    c.truth = rlv_pose_compose(&away, &after_home);
    return c;
}

void carving_free(carving* c)
{
    rlv_mesh_free(&c->before);
    rlv_mesh_free(&c->after);
}

carving_plan carving_draw(uint64_t seed, double shallowest_mm, size_t triangles)
{
    scan_random random = {seed};
    carving_plan plan = {.seed = seed, .triangles = triangles};
    plan.share = 0.1 + 0.4 * scan_random_unit(&random);
    plan.depth_mm = shallowest_mm * pow(40.0 / shallowest_mm, scan_random_unit(&random));
    plan.scan = scene_draw_noise(&random);
    return plan;
}

void carving_open(rlv_mesh* mesh, double z_mm)
{
    size_t kept = 0;
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        bool above = true;
        for (size_t k = 0; k < 3; k++)
            above &= rlv_mesh_vertex(mesh, mesh->corner[3 * t + k]).z > z_mm;
        for (size_t k = 0; above && k < 3; k++)
            mesh->corner[3 * kept + k] = mesh->corner[3 * t + k];
        kept += above;
    }
    mesh->triangle_count = kept;
}
