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
    VIEWS = 4, ///< of the depth, at most
};

/// Another view is drawn while more than this share of the changed area has faced none yet. Below it lie the flanks of
/// a rough surface that does face the view.
static const double unseen_share = 0.25;

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
    size_t view_count;
    rlv_vec3 towards[VIEWS]; ///< the first serves both stages too
} depth_scene;

/// The mean normal of what changed and has faced no view yet, weighed by how deep it went: of what was removed, and
/// where nothing was, of what was added. `unseen` is its share of the changed area. Sums run in the order of the
/// triangles, on one thread.
static rlv_vec3 side_of_unseen(const depth_scene* scene, double* unseen)
{
    const rlv_change* change = scene->change;
    const rlv_mesh* mesh = &scene->before->mesh;
    rlv_vec3 sum[2] = {{0.0, 0.0, 0.0}, {0.0, 0.0, 0.0}};
    double all = 0.0, left = 0.0;
    for (size_t i = 0; i < mesh->triangle_count; i++)
    {
        if (change->before_label[i] == 0)
            continue;
        const rlv_change_region* region = &change->region[change->before_label[i] - 1];
        rlv_vec3* side = &sum[rlv_change_went(region->kind) ? 0 : 1];
        rlv_vec3 area = rlv_mesh_twice_area(mesh, i);
        bool seen = false;
        for (size_t k = 0; k < scene->view_count; k++)
            seen = seen || rlv_vec3_dot(area, scene->towards[k]) > 0.0;
        all += rlv_vec3_length(area);
        left += seen ? 0.0 : rlv_vec3_length(area);
        if (!seen && region->area_mm2 > 0.0)
            *side = rlv_vec3_along(*side, fabs(region->volume_mm3.value) / region->area_mm2, area);
    }
    *unseen = all > 0.0 ? left / all : 0.0;
    return rlv_vec3_unit(rlv_vec3_length(sum[0]) > 0.0 ? sum[0] : sum[1]);
}

static void choose_sides(depth_scene* scene)
{
    double unseen = 1.0;
    rlv_vec3 side = side_of_unseen(scene, &unseen);
    while (scene->view_count < VIEWS && unseen > unseen_share && rlv_vec3_length(side) > 0.0)
    {
        scene->towards[scene->view_count++] = side;
        side = side_of_unseen(scene, &unseen);
    }
    if (scene->view_count == 0)
        scene->towards[scene->view_count++] = rlv_vec3_of(0.0, 0.0, 1.0);
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
        scene->depth_mm[at] = rlv_change_went(scene->change->region[label[i / 3] - 1].kind) ? 1.0f : -1.0f;
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
    choose_sides(scene);
    status = measure_depth(scene, error);
    if (status == RLV_DONE)
        choose_shown(scene);
    return status;
}

/// Widen a box in the camera's axes by a mesh.
static void widen(rlv_vec3 box[2], const rlv_mesh* mesh, const rlv_vec3 axis[3])
{
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        rlv_vec3 at = rlv_mesh_vertex(mesh, i);
        rlv_vec3 seen = rlv_vec3_of(rlv_vec3_dot(at, axis[0]), rlv_vec3_dot(at, axis[1]), rlv_vec3_dot(at, axis[2]));
        box[0] = rlv_vec3_of(fmin(box[0].x, seen.x), fmin(box[0].y, seen.y), fmin(box[0].z, seen.z));
        box[1] = rlv_vec3_of(fmax(box[1].x, seen.x), fmax(box[1].y, seen.y), fmax(box[1].z, seen.z));
    }
}

/// One camera for all pictures of a side: it holds both stages. The box is along the camera's own axes, so that it is
/// no wider than the block looks from there.
static rlv_camera camera_of(const depth_scene* scene, rlv_vec3 towards)
{
    rlv_vec3 upright = fabs(towards.z) < 0.9 ? rlv_vec3_of(0.0, 0.0, 1.0) : rlv_vec3_of(0.0, 1.0, 0.0);
    rlv_vec3 right = rlv_vec3_unit(rlv_vec3_cross(upright, towards));
    const rlv_vec3 axis[3] = {right, rlv_vec3_cross(towards, right), towards};
    rlv_vec3 box[2] = {{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};
    widen(box, &scene->before->mesh, axis);
    widen(box, &scene->after->mesh, axis);
    rlv_camera camera = rlv_camera_of_box(box[0], box[1], rlv_vec3_of(0.0, 0.0, 1.0), rlv_vec3_of(0.0, 1.0, 0.0),
                                          PICTURE_WIDTH, PICTURE_HEIGHT);
    rlv_vec3 target = camera.target_mm;
    camera.target_mm =
        rlv_vec3_along(rlv_vec3_along(rlv_vec3_scale(axis[0], target.x), target.y, axis[1]), target.z, axis[2]);
    camera.towards = axis[2];
    camera.up = axis[1];
    return camera;
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
    {
        status = rlv_picture_write_png(&picture, stream, sizeof text / sizeof text[0], text, error);
        // A picture does not know what file it goes to.
        if (status != RLV_DONE && error->where[0] == '\0')
            snprintf(error->where, sizeof error->where, "%s", answer->folder.file[answer->folder.file_count - 1].path);
    }
    rlv_picture_free(&picture);
    return status;
}

/// What the pictures say beneath: the headline of the change.
static void footer_of(char footer[512], const depth_scene* scene)
{
    const rlv_change* change = scene->change;
    if (change->went.regions > 0)
        snprintf(footer, 512,
                 "removed %s mL (95 %% interval %s mL); hatched: less than %s mm, not told apart from noise",
                 words_value(change->went.volume_mm3, 1000.0).text, words_ends(change->went.volume_mm3, 1000.0).text,
                 words_figures(scene->limit_mm, 2).text);
    else
        snprintf(footer, 512, "no removal told apart from noise; detection limit %s mm over %s cm²",
                 words_figures(scene->limit_mm, 2).text, words_figures(change->limit[0].area_mm2 / 100.0, 2).text);
}

static rlv_status draw_stages(const depth_scene* scene, const rlv_camera* camera, rlv_answer* answer, rlv_error* error)
{
    char title[2][160];
    snprintf(title[0], sizeof title[0], "Before: %.120s", given_name(scene->before->path));
    snprintf(title[1], sizeof title[1], "After: %.120s", given_name(scene->after->path));
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < 2 && status == RLV_DONE; i++)
    {
        const rlv_view_options how = {.occlusion_rays = 16,
                                      .samples = 4,
                                      .title = title[i],
                                      .footer = "through the same camera as depth.png, in BEFORE's frame"};
        rlv_tell(&answer->progress, "pictures", (double)i / (double)(2 + scene->view_count));
        status = draw(scene, i == 0 ? "before.png" : "after.png", camera, i == 0, NULL, &how, answer, error);
    }
    return status;
}

static rlv_status draw_depths(const depth_scene* scene, rlv_answer* answer, rlv_error* error)
{
    char title[160], footer[512], name[32];
    const rlv_overlay depth = {.depth_mm = scene->depth_mm,
                               .shown = scene->shown,
                               .deepest_mm = scene->deepest_mm,
                               .caption = "depth removed, mm"};
    footer_of(footer, scene);
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < scene->view_count && status == RLV_DONE; i++)
    {
        const rlv_view_options how = {.occlusion_rays = 16, .samples = 4, .title = title, .footer = footer};
        rlv_camera camera = camera_of(scene, scene->towards[i]);
        snprintf(title, sizeof title, "Depth of change from %.60s to %.60s", given_name(scene->before->path),
                 given_name(scene->after->path));
        snprintf(name, sizeof name, i == 0 ? "depth.png" : "depth-%zu.png", i + 1);
        rlv_tell(&answer->progress, "pictures", (double)(i + 2) / (double)(2 + scene->view_count));
        status = draw(scene, name, &camera, false, &depth, &how, answer, error);
    }
    return status;
}

rlv_status depth_pictures_keep(const rlv_change* change, const given_mesh* before, const given_mesh* after,
                               rlv_answer* answer, rlv_error* error)
{
    depth_scene scene = {.change = change, .before = before, .after = after};
    rlv_status status = prepare(&scene, error);
    if (status == RLV_DONE)
    {
        rlv_camera camera = camera_of(&scene, scene.towards[0]);
        status = draw_stages(&scene, &camera, answer, error);
    }
    if (status == RLV_DONE)
        status = draw_depths(&scene, answer, error);
    rlv_tree_free(scene.before_tree);
    rlv_tree_free(scene.after_tree);
    free(scene.depth_mm);
    free(scene.shown);
    return status;
}
