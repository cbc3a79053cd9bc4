// How long a picture takes once the tree stands: 1920 by 1440 pixels of an invented rock with a pit, 16 occlusion rays
// a pixel, four samples on edges. Arguments: triangles (5e6), repeats (3).

#include "rock.h"
#include "view.h"

#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define MOST 15

static double processor_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static int by_size(const void* a, const void* b)
{
    double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

static double median(double* value, int count)
{
    qsort(value, (size_t)count, sizeof *value, by_size);
    return value[count / 2];
}

static void time_views(const char* name, const rlv_mesh* mesh, const rlv_tree* tree, const rlv_camera* camera,
                       const rlv_overlay* overlay, const rlv_view_options* options, int repeats)
{
    double wall[MOST], busy[MOST], filled = 0.0;
    for (int i = 0; i < repeats; i++)
    {
        rlv_picture picture;
        rlv_error error = {0};
        wall[i] = omp_get_wtime();
        busy[i] = processor_s();
        if (rlv_view_draw(&picture, 1920, 1440, mesh, tree, camera, overlay, options, &error) != RLV_DONE)
        {
            fprintf(stderr, "%s\n", error.what);
            exit(1);
        }
        wall[i] = omp_get_wtime() - wall[i];
        busy[i] = processor_s() - busy[i];
        size_t ink = 0;
        for (size_t p = 0; p < picture.width * picture.height; p++)
            ink += picture.rgb[3 * p] != 255;
        filled = (double)ink / (double)(picture.width * picture.height);
        rlv_picture_free(&picture);
    }
    printf("%-34s %6.2f s  (processor %6.2f s, %2.0f %% of the page filled)\n", name, median(wall, repeats),
           median(busy, repeats), 100.0 * filled);
}

int main(int argc, char** argv)
{
    size_t triangles = argc > 1 ? (size_t)atof(argv[1]) : 5000000;
    int repeats = argc > 2 ? atoi(argv[2]) : 3;
    if (repeats < 1 || repeats > MOST)
        repeats = 3;
    rock shape = {.half_axes_mm = {120, 100, 80}, .relief_mm = 4, .relief_length_mm = 60, .facets = 0.5, .seed = 7};
    shape.cut_count = 1;
    shape.cut[0] = (rock_cut){.direction = {0, 0, 1}, .depth_mm = 12, .half_angle_rad = 0.6, .soft_mm = 8};
    rlv_mesh mesh = {0};
    rlv_tree* tree = NULL;
    rlv_error error = {0};
    if (rock_mesh(&mesh, &shape, triangles, 1, &error) != RLV_DONE || rlv_tree_build(&tree, &mesh, &error) != RLV_DONE)
    {
        fprintf(stderr, "%s\n", error.what);
        return 1;
    }
    float* depth = calloc(mesh.vertex_count, sizeof *depth);
    uint8_t* shown = calloc(mesh.triangle_count, 1);
    if (depth == NULL || shown == NULL)
        return 1;
    for (size_t t = 0; t < mesh.triangle_count; t++)
    {
        rlv_vec3 way = rlv_vec3_unit(rlv_mesh_vertex(&mesh, mesh.corner[3 * t]));
        shown[t] = way.z > cos(0.6) ? 1 : way.z > cos(0.65) ? 2 : 0;
        depth[mesh.corner[3 * t]] = (float)(12.0 * fmax(way.z, 0.0));
    }
    rlv_overlay overlay = {.depth_mm = depth, .shown = shown, .deepest_mm = 12.0, .caption = "depth removed, mm"};
    rlv_camera camera = rlv_camera_of_box(rlv_vec3_of(-128, -108, -88), rlv_vec3_of(128, 108, 88), rlv_vec3_of(0, 0, 1),
                                          rlv_vec3_of(0, 1, 0), 1920, 1440);
    printf("a view of %zu triangles, 1920 by 1440 pixels, %d threads, median of %d\n", mesh.triangle_count,
           omp_get_max_threads(), repeats);
    rlv_view_options full = {.occlusion_rays = 16, .samples = 4, .title = "Bench", .footer = "Bench"}, plain = {0};
    time_views("16 occlusion rays, smooth edges", &mesh, tree, &camera, &overlay, &full, repeats);
    full.occlusion_rays = 4;
    time_views("4 occlusion rays, smooth edges", &mesh, tree, &camera, &overlay, &full, repeats);
    time_views("no occlusion, one ray a pixel", &mesh, tree, &camera, NULL, &plain, repeats);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
    free(depth);
    free(shown);
    return 0;
}
