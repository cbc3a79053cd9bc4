#include "depth_pictures.h"

#include "depth_overlay.h"
#include "sheet.h"
#include "view.h"

#include <math.h>
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
    depth_overlay depth;
    size_t view_count;
    rlv_vec3 towards[VIEWS]; ///< the first serves both stages too
} depth_scene;

static void choose_sides(depth_scene* scene)
{
    double unseen = 1.0;
    rlv_vec3 side =
        rlv_vec3_unit(depth_side(scene->change, &scene->before->mesh, scene->view_count, scene->towards, &unseen));
    while (scene->view_count < VIEWS && unseen > unseen_share && rlv_vec3_length(side) > 0.0)
    {
        scene->towards[scene->view_count++] = side;
        side =
            rlv_vec3_unit(depth_side(scene->change, &scene->before->mesh, scene->view_count, scene->towards, &unseen));
    }
    if (scene->view_count == 0)
        scene->towards[scene->view_count++] = rlv_vec3_of(0.0, 0.0, 1.0);
}

static rlv_status prepare(depth_scene* scene, rlv_error* error)
{
    rlv_status status = rlv_tree_build(&scene->before_tree, &scene->before->mesh, error);
    if (status == RLV_DONE)
        status = rlv_tree_build(&scene->after_tree, &scene->after->mesh, error);
    if (status != RLV_DONE)
        return status;
    choose_sides(scene);
    return depth_overlay_make(&scene->depth, scene->change, &scene->before->mesh, scene->before_tree,
                              &scene->after->mesh, error);
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
                 "removed %s" RLV_THIN "mL (95" RLV_THIN "%% interval %s" RLV_THIN "mL); hatched: less than %s" RLV_THIN
                 "mm, not told apart from noise",
                 words_value(change->went.volume_mm3, 1000.0).text, words_ends(change->went.volume_mm3, 1000.0).text,
                 words_figures(scene->depth.limit_mm, 2).text);
    else
        snprintf(
            footer, 512, "no removal told apart from noise; detection limit %s" RLV_THIN "mm over %s" RLV_THIN "cm²",
            words_figures(scene->depth.limit_mm, 2).text, words_figures(change->limit[0].area_mm2 / 100.0, 2).text);
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
    const rlv_overlay depth = {.depth_mm = scene->depth.depth_mm,
                               .shown = scene->depth.shown,
                               .deepest_mm = scene->depth.end_mm,
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
    depth_overlay_free(&scene.depth);
    return status;
}
