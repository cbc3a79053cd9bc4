#include "preparing.h"

#include "scene.h"

#include <math.h>
#include <stdlib.h>

static const double BONE_RAD = 0.32;

static double angle_between(rlv_vec3 a, rlv_vec3 b)
{
    return atan2(rlv_vec3_length(rlv_vec3_cross(a, b)), rlv_vec3_dot(a, b));
}

/// Where things are done: the cone of the matrix with the bone in it, the chip on the bone, the film and the piece on
/// sides of their own.
typedef struct places
{
    rlv_vec3 matrix, bone, chip, film, piece;
    double matrix_rad, chip_rad;
} places;

/// The direction `angle` away from `from`, towards `beside`.
static rlv_vec3 turned(rlv_vec3 from, rlv_vec3 beside, double angle)
{
    const rlv_vec3 across = rlv_vec3_unit(rlv_vec3_cross(rlv_vec3_cross(from, beside), from));
    return rlv_vec3_along(rlv_vec3_scale(from, cos(angle)), sin(angle), across);
}

static places place_all(const preparing_plan* plan, scan_random* random)
{
    const rlv_mat3 any = scan_random_rotation(random);
    const rlv_vec3 x = rlv_mat3_apply(any, rlv_vec3_of(1, 0, 0)), y = rlv_mat3_apply(any, rlv_vec3_of(0, 1, 0)),
                   z = rlv_mat3_apply(any, rlv_vec3_of(0, 0, 1));
    places p = {.matrix = z, .matrix_rad = acos(1.0 - 2.0 * plan->matrix_share), .chip_rad = plan->chip_mm_wide / 75.0};
    p.bone = turned(z, x, 0.6 * p.matrix_rad * scan_random_unit(random));
    p.chip = turned(p.bone, y, plan->chip_off * BONE_RAD);
    p.film = turned(rlv_vec3_scale(z, -1.0), x, 0.3);
    p.piece = turned(rlv_vec3_scale(z, -1.0), rlv_vec3_scale(x, -1.0), 1.0);
    return p;
}

static void add_cuts(rock* block, const preparing_plan* plan, const places* p)
{
    if (plan->matrix_mm > 0.0)
        block->cut[block->cut_count++] = (rock_cut){.direction = p->matrix,
                                                    .depth_mm = plan->matrix_mm,
                                                    .half_angle_rad = p->matrix_rad,
                                                    .soft_mm = fmax(0.7 * plan->matrix_mm, 1.0),
                                                    .spared = p->bone,
                                                    .spared_rad = BONE_RAD};
    if (plan->chip_mm > 0.0)
        block->cut[block->cut_count++] = (rock_cut){
            .direction = p->chip, .depth_mm = plan->chip_mm, .half_angle_rad = p->chip_rad, .soft_mm = plan->chip_mm};
    if (plan->film_mm > 0.0)
        block->cut[block->cut_count++] =
            (rock_cut){.direction = p->film, .depth_mm = -plan->film_mm, .half_angle_rad = 0.3, .soft_mm = 3.0};
}

static void add_piece(rock* block, const preparing_plan* plan, const places* p)
{
    if (plan->piece_mm > 0.0)
        block->cut[block->cut_count++] = (rock_cut){
            .plane = true, .direction = p->piece, .distance_mm = rock_radius(block, p->piece) - plan->piece_mm};
}

static rlv_vec3 corner_of(const rlv_mesh* mesh, size_t t, size_t k)
{
    return rlv_mesh_vertex(mesh, mesh->corner[3 * t + k]);
}

static double wedge(const rlv_mesh* mesh, size_t t)
{
    return rlv_vec3_dot(corner_of(mesh, t, 0), rlv_vec3_cross(corner_of(mesh, t, 1), corner_of(mesh, t, 2))) / 6.0;
}

static rlv_vec3 middle_of(const rlv_mesh* mesh, size_t t)
{
    return rlv_vec3_unit(
        rlv_vec3_add(corner_of(mesh, t, 0), rlv_vec3_add(corner_of(mesh, t, 1), corner_of(mesh, t, 2))));
}

/// The part of each triangle of `mesh`, which shows the block with its piece on: the piece is where another mesh with
/// the same directions, `without`, lies deeper by the plane alone.
static uint8_t* parts_of(const rlv_mesh* mesh, const places* p, const rock* with, const rock* without)
{
    uint8_t* part = calloc(mesh->triangle_count, 1);
    if (part == NULL)
        exit(EXIT_FAILURE);
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        const rlv_vec3 u = middle_of(mesh, t);
        if (angle_between(u, p->bone) < BONE_RAD)
            part[t] = RLV_PART_BONE;
        else if (without != NULL && rlv_vec3_dot(u, p->piece) > 0.3 && rock_radius(without, u) < rock_radius(with, u))
            part[t] = RLV_PART_PIECE;
    }
    return part;
}

/// What lies between two meshes of the same directions, by the part of the first.
static void add_truth(preparing* made, const rlv_mesh* before, const rlv_mesh* after, const uint8_t* part, bool back)
{
    for (size_t t = 0; t < before->triangle_count; t++)
    {
        const double went = wedge(before, t) - wedge(after, t);
        const rlv_change_class kind = part[t] == RLV_PART_PIECE  ? back ? RLV_CHANGE_JOINED : RLV_CHANGE_DETACHED
                                      : went < 0.0               ? RLV_CHANGE_ADDED
                                      : part[t] == RLV_PART_BONE ? RLV_CHANGE_BONE
                                                                 : RLV_CHANGE_REMOVED;
        made->truth_mm3[kind] += fabs(went);
    }
}

preparing prepare(const preparing_plan* plan)
{
    preparing made = {0};
    scan_random random = {plan->seed * 1000003u + 31u};
    rock block = {.half_axes_mm = {85.0 + 20.0 * scan_random_unit(&random), 75.0 + 15.0 * scan_random_unit(&random),
                                   60.0 + 15.0 * scan_random_unit(&random)},
                  .relief_mm = 2.0 + 2.0 * scan_random_unit(&random),
                  .relief_length_mm = 100.0,
                  .facets = 0.4,
                  .seed = scan_random_bits(&random)};
    const places p = place_all(plan, &random);
    rock before = block, after = block;
    add_cuts(&after, plan, &p);
    add_piece(plan->back ? &before : &after, plan, &p);
    const uint64_t seed = scan_random_bits(&random) | 1u;
    made.before = scene_mesh(&before, plan->triangles, seed);
    made.after = scene_mesh(&after, plan->triangles, seed + 2);
    rlv_mesh twin = scene_mesh(&after, plan->triangles, seed);
    // With the piece on, a stage shows which triangles are the piece's; without it, which were below it.
    rock with = block, without = block;
    add_piece(&without, plan, &p);
    made.before_part = parts_of(&made.before, &p, &with, plan->piece_mm > 0.0 ? &without : NULL);
    add_truth(&made, &made.before, &twin, made.before_part, plan->back);
    made.after_part = parts_of(&made.after, &p, &with, plan->back && plan->piece_mm > 0.0 ? &without : NULL);
    // Of AFTER only the piece that is back is said; of BEFORE only one that is still on.
    for (size_t t = 0; t < made.after.triangle_count; t++)
        made.after_part[t] = made.after_part[t] == RLV_PART_PIECE ? RLV_PART_PIECE : RLV_PART_NONE;
    for (size_t t = 0; plan->back && t < made.before.triangle_count; t++)
        made.before_part[t] = made.before_part[t] == RLV_PART_PIECE ? RLV_PART_NONE : made.before_part[t];
    rlv_mesh_free(&twin);
    (void)scene_scan(&made.before, plan->scan, &random);
    (void)scene_scan(&made.after, plan->scan, &random);
    return made;
}

void preparing_free(preparing* p)
{
    rlv_mesh_free(&p->before);
    rlv_mesh_free(&p->after);
    free(p->before_part);
    free(p->after_part);
}

preparing_plan preparing_draw(uint64_t seed, size_t triangles)
{
    scan_random random = {seed};
    preparing_plan plan = {.seed = seed, .triangles = triangles};
    plan.matrix_mm = pow(15.0, scan_random_unit(&random));
    plan.matrix_share = 0.08 + 0.22 * scan_random_unit(&random);
    plan.chip_mm = pow(6.0, scan_random_unit(&random));
    plan.chip_mm_wide = 7.0 + 9.0 * scan_random_unit(&random);
    plan.chip_off = 1.2 * scan_random_unit(&random);
    plan.film_mm = 0.6 * pow(5.0, scan_random_unit(&random));
    plan.piece_mm = 6.0 + 14.0 * scan_random_unit(&random);
    plan.back = scan_random_unit(&random) < 0.5;
    plan.scan = scene_draw_noise(&random);
    return plan;
}
