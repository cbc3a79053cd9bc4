#include "depth_pictures.h"

#include "tree.h"
#include "view.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    PICTURE_WIDTH = 1600,
    PICTURE_HEIGHT = 1200,
};

/// Above this share of the changed area facing away, one view does not show the change.
static const double far_share = 0.05;

/// All that the pictures are drawn from.
typedef struct depth_scene
{
    const rlv_change* change;
    const given_mesh* before;
    const given_mesh* after;
    rlv_tree* before_tree;
    rlv_tree* after_tree;
    float* depth_mm; ///< one a vertex of AFTER
    uint8_t* shown;  ///< one a triangle of AFTER
    double deepest_mm;
    double limit_mm; ///< detection limit of the smallest patch
    rlv_vec3 towards;
    bool both_sides;
} depth_scene;

/// Twice the area of a triangle, along its normal.
static rlv_vec3 twice_area(const rlv_mesh* mesh, size_t triangle)
{
    const uint32_t* corner = mesh->corner + 3 * triangle;
    rlv_vec3 a = rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[0]);
    rlv_vec3 b = rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[1]);
    rlv_vec3 c = rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[2]);
    return rlv_vec3_cross(rlv_vec3_sub(b, a), rlv_vec3_sub(c, a));
}

/// Where to look from: against the mean normal of what was removed, weighed by how deep it went; of what was added
/// where nothing was removed. Sums run in the order of the triangles, on one thread.
static void choose_side(depth_scene* scene)
{
    const rlv_change* change = scene->change;
    const rlv_mesh* mesh = &scene->before->mesh;
    rlv_vec3 sum[2] = {{0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}};
    for (size_t i = 0; i < mesh->triangle_count; i++)
        if (change->before_label[i] > 0)
        {
            const rlv_change_region* region = &change->region[change->before_label[i] - 1];
            rlv_vec3* side = &sum[region->kind == RLV_CHANGE_REMOVED ? 0 : 1];
            *side = rlv_vec3_along(*side, fabs(region->mean_depth_mm), twice_area(mesh, i));
        }
    rlv_vec3 most = rlv_vec3_length(sum[0]) > 0.0 ? sum[0] : sum[1];
    scene->towards = rlv_vec3_length(most) > 0.0 ? rlv_vec3_unit(most) : rlv_vec3_of(0.0, 0.0, 1.0);
    double all = 0.0, away = 0.0;
    for (size_t i = 0; i < mesh->triangle_count; i++)
        if (change->before_label[i] > 0)
        {
            rlv_vec3 area = twice_area(mesh, i);
            all += rlv_vec3_length(area);
            away += rlv_vec3_dot(area, scene->towards) < 0.0 ? rlv_vec3_length(area) : 0.0;
        }
    scene->both_sides = away > far_share * all;
}

/// How far the vertices of AFTER that lie in changed regions are from BEFORE; positive where material went.
static rlv_status measure_depth(depth_scene* scene, rlv_error* error)
{
    const rlv_mesh* mesh = &scene->after->mesh;
    const uint16_t* label = scene->change->after_label;
    rlv_vec3 shift = rlv_vec3_sub(mesh->origin_mm, scene->before->mesh.origin_mm);
    float* query = rlv_reserve(3 * mesh->vertex_count, sizeof *query, error);
    rlv_nearest* nearest = query != NULL ? rlv_reserve(mesh->vertex_count, sizeof *nearest, error) : NULL;
    uint32_t* vertex = nearest != NULL ? rlv_reserve(mesh->vertex_count, sizeof *vertex, error) : NULL;
    size_t count = 0;
    for (size_t i = 0; vertex != NULL && i < 3 * mesh->triangle_count; i++)
    {
        uint32_t at = mesh->corner[i];
        if (label[i / 3] == 0 || scene->depth_mm[at] != 0.0f)
            continue;
        rlv_vec3 place = rlv_vec3_add(shift, rlv_vec3_from(mesh->position_mm + 3 * (size_t)at));
        query[3 * count] = (float)place.x;
        query[3 * count + 1] = (float)place.y;
        query[3 * count + 2] = (float)place.z;
        scene->depth_mm[at] = scene->change->region[label[i / 3] - 1].kind == RLV_CHANGE_REMOVED ? 1.0f : -1.0f;
        vertex[count++] = at;
    }
    if (vertex != NULL)
        rlv_tree_nearest(scene->before_tree, count, query, INFINITY, nearest);
    for (size_t i = 0; i < count; i++)
    {
        scene->depth_mm[vertex[i]] *= nearest[i].distance_mm;
        scene->deepest_mm = fmax(scene->deepest_mm, (double)nearest[i].distance_mm);
    }
    bool held = vertex != NULL;
    free(vertex);
    free(nearest);
    free(query);
    return held ? RLV_DONE : RLV_SYSTEM;
}

/// Which triangles are coloured, and which only hatched: inside a region, but here not deeper than noise alone can
/// look.
static void choose_shown(depth_scene* scene)
{
    const rlv_mesh* mesh = &scene->after->mesh;
    for (size_t i = 0; i < mesh->triangle_count; i++)
    {
        double greatest = 0.0;
        for (size_t k = 0; k < 3; k++)
            greatest = fmax(greatest, fabs((double)scene->depth_mm[mesh->corner[3 * i + k]]));
        scene->shown[i] = scene->change->after_label[i] == 0 ? 0 : greatest < scene->limit_mm ? 2 : 1;
    }
}

static rlv_status prepare(depth_scene* scene, rlv_error* error)
{
    rlv_status status = rlv_tree_build(&scene->before_tree, &scene->before->mesh, error);
    if (status == RLV_DONE)
        status = rlv_tree_build(&scene->after_tree, &scene->after->mesh, error);
    if (status != RLV_DONE)
        return status;
    scene->depth_mm = rlv_reserve(scene->after->mesh.vertex_count, sizeof *scene->depth_mm, error);
    scene->shown = rlv_reserve(scene->after->mesh.triangle_count, sizeof *scene->shown, error);
    if (scene->depth_mm == NULL || scene->shown == NULL)
        return RLV_SYSTEM;
    scene->limit_mm = isfinite(scene->change->limit[0].depth_mm) ? scene->change->limit[0].depth_mm : 0.0;
    choose_side(scene);
    status = measure_depth(scene, error);
    if (status == RLV_DONE)
        choose_shown(scene);
    return status;
}

static rlv_vec3 lesser(rlv_vec3 a, rlv_vec3 b)
{
    return rlv_vec3_of(fmin(a.x, b.x), fmin(a.y, b.y), fmin(a.z, b.z));
}

static rlv_vec3 greater(rlv_vec3 a, rlv_vec3 b)
{
    return rlv_vec3_of(fmax(a.x, b.x), fmax(a.y, b.y), fmax(a.z, b.z));
}

/// One camera for all pictures of a side: the box holds both stages.
static rlv_camera camera_of(const depth_scene* scene, rlv_vec3 towards)
{
    rlv_mesh_measures after = rlv_mesh_measure(&scene->after->mesh);
    rlv_vec3 low = lesser(scene->before->measures.low_mm, after.low_mm);
    rlv_vec3 high = greater(scene->before->measures.high_mm, after.high_mm);
    rlv_vec3 up = fabs(towards.z) < 0.9 ? rlv_vec3_of(0.0, 0.0, 1.0) : rlv_vec3_of(0.0, 1.0, 0.0);
    return rlv_camera_of_box(low, high, towards, up, PICTURE_WIDTH, PICTURE_HEIGHT);
}

/// Draw one picture into a file of the folder.
static rlv_status draw(const depth_scene* scene, const char* name, const rlv_camera* camera, bool of_before,
                       const rlv_overlay* overlay, const rlv_view_options* how, rlv_answer* answer, rlv_error* error)
{
    const given_mesh* shown = of_before ? scene->before : scene->after;
    rlv_picture picture = {0};
    FILE* stream = NULL;
    char source[512];
    snprintf(source, sizeof source, "%s %s\n%s %s", given_name(scene->before->path), scene->before->source.sha256,
             given_name(scene->after->path), scene->after->source.sha256);
    const rlv_picture_text text[] = {
        {"Title", how->title}, {"Description", how->footer}, {"Software", "rilievo " RLV_VERSION}, {"Source", source}};
    rlv_status status = rlv_view_draw(&picture, PICTURE_WIDTH, PICTURE_HEIGHT, &shown->mesh,
                                      of_before ? scene->before_tree : scene->after_tree, camera, overlay, how, error);
    if (status == RLV_DONE)
        status = out_folder_add(&answer->folder, name, &stream, error);
    if (status == RLV_DONE)
        status = rlv_picture_write_png(&picture, stream, sizeof text / sizeof text[0], text, error);
    rlv_picture_free(&picture);
    return status;
}

/// What the pictures say beneath: the headline of the change.
static void footer_of(char footer[512], const depth_scene* scene)
{
    const rlv_change* change = scene->change;
    size_t removed = 0;
    for (size_t i = 0; i < change->region_count; i++)
        removed += change->region[i].kind == RLV_CHANGE_REMOVED;
    if (removed > 0)
        snprintf(footer, 512,
                 "removed %s mL (95 %% interval %s mL); hatched: less than %s mm, not told apart from noise",
                 words_value(change->removed_mm3, 1000.0).text, words_ends(change->removed_mm3, 1000.0).text,
                 words_figures(scene->limit_mm, 2).text);
    else
        snprintf(footer, 512, "no removal told apart from noise; detection limit %s mm over %s cm²",
                 words_figures(scene->limit_mm, 2).text, words_figures(change->limit[0].area_mm2 / 100.0, 2).text);
}

static rlv_status draw_all(const depth_scene* scene, rlv_answer* answer, rlv_error* error)
{
    char title[3][160], footer[512];
    const char* before = given_name(scene->before->path);
    const char* after = given_name(scene->after->path);
    snprintf(title[0], sizeof title[0], "Before: %.120s", before);
    snprintf(title[1], sizeof title[1], "After: %.120s", after);
    snprintf(title[2], sizeof title[2], "Depth of change from %.60s to %.60s", before, after);
    footer_of(footer, scene);
    rlv_view_options how[3];
    for (size_t i = 0; i < 3; i++)
        how[i] = (rlv_view_options){.occlusion_rays = 16, .samples = 4, .title = title[i], .footer = footer};
    const rlv_overlay depth = {.depth_mm = scene->depth_mm,
                               .shown = scene->shown,
                               .deepest_mm = scene->deepest_mm,
                               .caption = "distance to BEFORE, mm"};
    rlv_camera near = camera_of(scene, scene->towards);
    rlv_camera far = camera_of(scene, rlv_vec3_scale(scene->towards, -1.0));
    rlv_tell(&answer->progress, "pictures", 0.0);
    rlv_status status = draw(scene, "before.png", &near, true, NULL, &how[0], answer, error);
    rlv_tell(&answer->progress, "pictures", 0.3);
    if (status == RLV_DONE)
        status = draw(scene, "after.png", &near, false, NULL, &how[1], answer, error);
    rlv_tell(&answer->progress, "pictures", 0.6);
    if (status == RLV_DONE)
        status = draw(scene, "depth.png", &near, false, &depth, &how[2], answer, error);
    if (status == RLV_DONE && scene->both_sides)
        status = draw(scene, "depth-opposite.png", &far, false, &depth, &how[2], answer, error);
    rlv_tell(&answer->progress, "pictures", 1.0);
    return status;
}

rlv_status depth_pictures_keep(const rlv_change* change, const given_mesh* before, const given_mesh* after,
                               rlv_answer* answer, rlv_error* error)
{
    depth_scene scene = {.change = change, .before = before, .after = after};
    rlv_status status = prepare(&scene, error);
    if (status == RLV_DONE)
        status = draw_all(&scene, answer, error);
    rlv_tree_free(scene.before_tree);
    rlv_tree_free(scene.after_tree);
    free(scene.depth_mm);
    free(scene.shown);
    return status;
}
