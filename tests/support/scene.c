#include "scene.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static void need(rlv_status status, const rlv_error* error)
{
    if (status == RLV_DONE)
        return;
    fprintf(stderr, "the scenery of a test could not be made: %s\n", error->what);
    exit(EXIT_FAILURE);
}

rlv_mesh scene_mesh(const rock* block, size_t triangles, uint64_t seed)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    need(rock_mesh(&mesh, block, triangles, seed, &error), &error);
    return mesh;
}

rlv_pose scene_scan(rlv_mesh* mesh, scan_noise noise, scan_random* random)
{
    rlv_pose home;
    rlv_error error = {0};
    noise.seed = scan_random_bits(random);
    need(scan_mesh(mesh, &noise, &home, &error), &error);
    return home;
}

scan_noise scene_draw_noise(scan_random* random)
{
    scan_noise noise = {.noise_sd_mm = 0.1, .noise_length_mm = 2.0};
    noise.warp_sd_mm = 0.05 + 0.23 * scan_random_unit(random);
    noise.warp_length_mm = 30.0 * pow(160.0 / 30.0, scan_random_unit(random));
    noise.scale_sd = 1e-4 * pow(5.0, scan_random_unit(random));
    return noise;
}

int scene_trials(int all)
{
    const char* asked = getenv("RLV_TRIALS");
    const int count = asked != NULL ? atoi(asked) : all;
    return count > 0 && count < all ? count : all;
}
