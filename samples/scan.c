#include "scan.h"

#include "noise.h"

#include <math.h>
#include <stdlib.h>

uint64_t scan_random_bits(scan_random* random)
{
    uint64_t z = (random->state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

double scan_random_unit(scan_random* random)
{
    return (double)(scan_random_bits(random) >> 11) * 0x1p-53;
}

double scan_random_normal(scan_random* random)
{
    // G. E. P. Box, M. E. Muller, 1958; the second of the pair is let go, so that there is no state but the seed.
    double u = 1.0 - scan_random_unit(random), v = scan_random_unit(random);
    return sqrt(-2.0 * log(u)) * cos(2.0 * M_PI * v);
}

rlv_mat3 scan_random_rotation(scan_random* random)
{
    double u = scan_random_unit(random), a = 2.0 * M_PI * scan_random_unit(random);
    double b = 2.0 * M_PI * scan_random_unit(random);
    const double wxyz[4] = {sqrt(1.0 - u) * sin(a), sqrt(1.0 - u) * cos(a), sqrt(u) * sin(b), sqrt(u) * cos(b)};
    return rlv_rotation_from_quaternion(wxyz);
}

/// Normals of the vertices, weighted by area: 3 * vertex_count floats, not of length one.
static float* vertex_normals(const rlv_mesh* mesh, rlv_error* error)
{
    float* normal = rlv_reserve(3 * mesh->vertex_count, sizeof *normal, error);
    if (normal == NULL)
        return NULL;
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        const uint32_t* corner = mesh->corner + 3 * t;
        rlv_vec3 a = rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[0]);
        rlv_vec3 b = rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[1]);
        rlv_vec3 c = rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[2]);
        rlv_vec3 n = rlv_vec3_cross(rlv_vec3_sub(b, a), rlv_vec3_sub(c, a));
        for (int k = 0; k < 3; k++)
        {
            float* at = normal + 3 * (size_t)corner[k];
            at[0] += (float)n.x;
            at[1] += (float)n.y;
            at[2] += (float)n.z;
        }
    }
    return normal;
}

static double vertex_noise(const scan_noise* noise, uint64_t seed, size_t index, rlv_vec3 point_mm)
{
    if (noise->noise_length_mm > 0.0)
        return noise->noise_sd_mm * noise_smooth_at(seed, noise->noise_length_mm, point_mm);
    return noise->noise_sd_mm * noise_white(seed, index);
}

/// Move the vertices by noise along their normals and by warp.
static rlv_status shake(rlv_mesh* mesh, const scan_noise* noise, scan_random* random, rlv_error* error)
{
    float* normal = vertex_normals(mesh, error);
    if (normal == NULL)
        return RLV_SYSTEM;
    const bool noisy = noise->noise_sd_mm > 0.0, warped = noise->warp_sd_mm > 0.0 && noise->warp_length_mm > 0.0;
    const uint64_t noise_seed = scan_random_bits(random);
    noise_waves warp[3] = {0};
    for (int k = 0; k < 3; k++)
    {
        uint64_t seed = scan_random_bits(random);
        if (warped)
            warp[k] = noise_waves_gaussian(noise->warp_sd_mm, noise->warp_length_mm, seed);
    }
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        float* at = mesh->position_mm + 3 * i;
        rlv_vec3 local = rlv_vec3_from(at), point = rlv_vec3_add(mesh->origin_mm, local);
        if (noisy)
            local = rlv_vec3_along(local, vertex_noise(noise, noise_seed, i, point),
                                   rlv_vec3_unit(rlv_vec3_from(normal + 3 * i)));
        if (warped)
            local = rlv_vec3_add(local, rlv_vec3_of(noise_waves_at(&warp[0], point), noise_waves_at(&warp[1], point),
                                                    noise_waves_at(&warp[2], point)));
        at[0] = (float)local.x;
        at[1] = (float)local.y;
        at[2] = (float)local.z;
    }
    free(normal);
    return RLV_DONE;
}

rlv_status scan_mesh(rlv_mesh* mesh, const scan_noise* noise, rlv_pose* truth, rlv_error* error)
{
    scan_random random = {noise->seed};
    if (noise->noise_sd_mm > 0.0 || noise->warp_sd_mm > 0.0)
    {
        rlv_status status = shake(mesh, noise, &random, error);
        if (status != RLV_DONE)
            return status;
    }
    // The draws of the pose follow from the seed alone, whether there is noise or not.
    random.state = noise_hash(noise->seed, 1);
    rlv_pose pose = rlv_pose_identity();
    pose.scale = exp(noise->scale_sd * scan_random_normal(&random));
    if (noise->any_pose)
    {
        pose.rotation = scan_random_rotation(&random);
        pose.translation_mm.x = noise->place_mm * (2.0 * scan_random_unit(&random) - 1.0);
        pose.translation_mm.y = noise->place_mm * (2.0 * scan_random_unit(&random) - 1.0);
        pose.translation_mm.z = noise->place_mm * (2.0 * scan_random_unit(&random) - 1.0);
    }
    if (noise->any_pose || noise->scale_sd > 0.0)
        rlv_pose_move_mesh(&pose, mesh);
    if (truth != NULL)
        *truth = rlv_pose_inverse(&pose);
    return RLV_DONE;
}
