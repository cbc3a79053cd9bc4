#include "history_scene.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_OF_PIECE 60.0 // of paper: scraps inside a scar are no pieces
#define LINE_LOST 0.7       // bone lost: heavier than anything else on a sheet

const char* history_scene_class(const rlv_change* change, rlv_change_class kind)
{
    return kind == RLV_CHANGE_REMOVED && !change->total[RLV_CHANGE_BONE].known ? "removed" : history_class_name(kind);
}

static uint8_t* add_set(history_scene* scene, size_t triangles, rlv_error* error)
{
    uint8_t* set = rlv_reserve(triangles, sizeof *set, error);
    if (set != NULL)
        scene->set[scene->set_count++] = set;
    return set;
}

/// The triangles of regions of a class; `*in` stays NULL where there are none.
static rlv_status set_of_class(uint8_t** in, history_scene* scene, rlv_change_class kind, const uint16_t* label,
                               size_t triangles, rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    bool any = false;
    for (size_t i = 0; i < change->region_count; i++)
        any = any || change->region[i].kind == kind;
    if (!any)
        return RLV_DONE;
    *in = add_set(scene, triangles, error);
    if (*in == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < triangles; i++)
        (*in)[i] = label[i] != 0 && change->region[label[i] - 1].kind == kind;
    return RLV_DONE;
}

/// The bone of a stage's own mask; NULL where it has none.
static rlv_status set_of_bone(uint8_t** in, history_scene* scene, const history_stage* stage, rlv_error* error)
{
    if (stage->parts.is == NULL || stage->parts.bone_count == 0)
        return RLV_DONE;
    size_t triangles = stage->given.mesh.triangle_count;
    *in = add_set(scene, triangles, error);
    if (*in == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < triangles; i++)
        (*in)[i] = (stage->parts.is[i] & RLV_IS_BONE) != 0;
    return RLV_DONE;
}

/// Bone of BEFORE on AFTER's surface: the nearest triangle of BEFORE is bone, and what lay over it did not change or
/// was bone itself.
static rlv_status set_of_former_bone(uint8_t** in, history_scene* scene, const uint8_t* bone, rlv_error* error)
{
    const rlv_mesh* mesh = &scene->moved;
    const rlv_change* change = &scene->step->change;
    rlv_vec3 shift = rlv_vec3_sub(mesh->origin_mm, scene->before->given.mesh.origin_mm);
    uint8_t* set = add_set(scene, mesh->triangle_count, error);
    float* query = set != NULL ? rlv_reserve(3 * mesh->triangle_count, sizeof *query, error) : NULL;
    rlv_nearest* nearest = query != NULL ? rlv_reserve(mesh->triangle_count, sizeof *nearest, error) : NULL;
    if (nearest != NULL)
    {
        for (size_t i = 0; i < mesh->triangle_count; i++)
        {
            const uint32_t* corner = mesh->corner + 3 * i;
            rlv_vec3 sum = {0.0, 0.0, 0.0};
            for (size_t k = 0; k < 3; k++)
                sum = rlv_vec3_add(sum, rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[k]));
            rlv_vec3 middle = rlv_vec3_along(shift, 1.0 / 3.0, sum);
            query[3 * i] = (float)middle.x;
            query[3 * i + 1] = (float)middle.y;
            query[3 * i + 2] = (float)middle.z;
        }
        rlv_tree_nearest(scene->before_tree, mesh->triangle_count, query, INFINITY, nearest);
        for (size_t i = 0; i < mesh->triangle_count; i++)
        {
            uint16_t label = change->after_label[i];
            bool same = label == 0 || change->region[label - 1].kind == RLV_CHANGE_BONE;
            set[i] = same && nearest[i].triangle != RLV_TREE_NONE && bone[nearest[i].triangle] != 0;
        }
        *in = set;
    }
    bool held = nearest != NULL;
    free(nearest);
    free(query);
    return held ? RLV_DONE : RLV_SYSTEM;
}

/// Leave out of the former bone what is bone now, and two triangles round it: that far two outlines of one edge differ.
static rlv_status leave_out_present(uint8_t* former, const history_scene* scene, rlv_error* error)
{
    const rlv_mesh* mesh = &scene->moved;
    uint8_t* near = rlv_reserve(mesh->vertex_count, sizeof *near, error);
    if (near == NULL)
        return RLV_SYSTEM;
    for (uint8_t ring = 1; ring <= 3; ring++)
        for (size_t i = 0; i < mesh->triangle_count; i++)
        {
            const uint32_t* corner = mesh->corner + 3 * i;
            bool reached = scene->bone[i] != 0;
            for (size_t k = 0; k < 3; k++)
                reached = reached || (near[corner[k]] != 0 && near[corner[k]] < ring);
            for (size_t k = 0; k < 3 && reached; k++)
                near[corner[k]] = near[corner[k]] != 0 ? near[corner[k]] : ring;
        }
    for (size_t i = 0; i < mesh->triangle_count; i++)
        for (size_t k = 0; k < 3; k++)
            if (near[mesh->corner[3 * i + k]] != 0)
                former[i] = 0;
    free(near);
    return RLV_DONE;
}

static void add_line(rlv_panel_outline* line, size_t* count, const uint8_t* in, rlv_panel_outline how)
{
    if (in == NULL)
        return;
    how.in = in;
    line[(*count)++] = how;
}

static const rlv_panel_outline of_bone = {.line_mm = RLV_LINE_MEDIUM, .words = "bone"};
static const rlv_panel_outline of_former = {
    .line_mm = RLV_LINE_MEDIUM, .quiet = true, .words = "bone that shows no more"};
static const rlv_panel_outline of_lost = {.line_mm = LINE_LOST, .words = "bone lost"};
static const rlv_panel_outline of_detached = {
    .line_mm = RLV_LINE_HEAVY, .least_mm2 = LEAST_OF_PIECE, .dashed = true, .words = "piece detached"};
static const rlv_panel_outline of_joined = {
    .line_mm = RLV_LINE_HEAVY, .least_mm2 = LEAST_OF_PIECE, .dashed = true, .words = "piece joined"};

static rlv_status outline_before(history_scene* scene, uint8_t** bone, rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    size_t triangles = scene->before->given.mesh.triangle_count;
    uint8_t *lost = NULL, *detached = NULL;
    rlv_status status = set_of_bone(bone, scene, scene->before, error);
    if (status == RLV_DONE)
        status = set_of_class(&lost, scene, RLV_CHANGE_BONE, change->before_label, triangles, error);
    if (status == RLV_DONE)
        status = set_of_class(&detached, scene, RLV_CHANGE_DETACHED, change->before_label, triangles, error);
    add_line(scene->before_line, &scene->before_lines, *bone, of_bone);
    add_line(scene->before_line, &scene->before_lines, detached, of_detached);
    add_line(scene->before_line, &scene->before_lines, lost, of_lost);
    return status;
}

static rlv_status outline_after(history_scene* scene, const uint8_t* former_bone, rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    size_t triangles = scene->moved.triangle_count;
    uint8_t *former = NULL, *lost = NULL, *detached = NULL, *joined = NULL;
    rlv_status status = set_of_bone(&scene->bone, scene, scene->after, error);
    if (status == RLV_DONE && former_bone != NULL)
        status = set_of_former_bone(&former, scene, former_bone, error);
    if (status == RLV_DONE && former != NULL && scene->bone != NULL)
        status = leave_out_present(former, scene, error);
    if (status == RLV_DONE)
        status = set_of_class(&lost, scene, RLV_CHANGE_BONE, change->after_label, triangles, error);
    if (status == RLV_DONE)
        status = set_of_class(&detached, scene, RLV_CHANGE_DETACHED, change->after_label, triangles, error);
    if (status == RLV_DONE)
        status = set_of_class(&joined, scene, RLV_CHANGE_JOINED, change->after_label, triangles, error);
    rlv_panel_outline how = of_former;
    if (scene->bone == NULL)
        how.words = "bone as it showed before";
    scene->former = former != NULL;
    add_line(scene->after_line, &scene->after_lines, former, how);
    add_line(scene->after_line, &scene->after_lines, scene->bone, of_bone);
    add_line(scene->after_line, &scene->after_lines, detached, of_detached);
    add_line(scene->after_line, &scene->after_lines, joined, of_joined);
    add_line(scene->after_line, &scene->after_lines, lost, of_lost);
    if (scene->bone == NULL)
        scene->bone = former;
    return status;
}

static rlv_status tag_regions(history_scene* scene, rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    scene->tag = rlv_reserve(change->region_count, sizeof *scene->tag, error);
    scene->tagged = rlv_reserve(scene->moved.triangle_count, sizeof *scene->tagged, error);
    if (scene->tag == NULL || scene->tagged == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < change->region_count; i++)
    {
        rlv_change_class kind = change->region[i].kind;
        scene->tag[i].words = kind != RLV_CHANGE_REMOVED ? history_scene_class(change, kind) : NULL;
        scene->tag[i].strong = kind == RLV_CHANGE_BONE;
    }
    for (size_t i = 0; i < scene->moved.triangle_count; i++)
    {
        uint16_t label = change->after_label[i];
        scene->tagged[i] = label != 0 && scene->tag[label - 1].words != NULL ? label : 0;
    }
    return RLV_DONE;
}

rlv_status history_scene_make(history_scene* scene, const rlv_history* history, const history_step* step,
                              rlv_error* error)
{
    uint8_t* bone = NULL;
    scene->step = step;
    scene->before = &history->stage[step->before];
    scene->after = &history->stage[step->after];
    rlv_status status = rlv_mesh_copy(&scene->moved, &scene->after->given.mesh, error);
    if (status != RLV_DONE)
        return status;
    rlv_pose_move_mesh(&step->change.alignment.pose, &scene->moved);
    status = rlv_tree_build(&scene->before_tree, &scene->before->given.mesh, error);
    if (status == RLV_DONE)
        status = rlv_tree_build(&scene->after_tree, &scene->moved, error);
    if (status == RLV_DONE)
        status = depth_overlay_make(&scene->depth, &step->change, &scene->before->given.mesh, scene->before_tree,
                                    &scene->moved, error);
    if (status == RLV_DONE)
        status = outline_before(scene, &bone, error);
    if (status == RLV_DONE)
        status = outline_after(scene, bone, error);
    return status == RLV_DONE ? tag_regions(scene, error) : status;
}

void history_scene_free(history_scene* scene)
{
    rlv_mesh_free(&scene->moved);
    rlv_tree_free(scene->before_tree);
    rlv_tree_free(scene->after_tree);
    depth_overlay_free(&scene->depth);
    for (size_t i = 0; i < scene->set_count; i++)
        free(scene->set[i]);
    free(scene->tag);
    free(scene->tagged);
    *scene = (history_scene){0};
}

rlv_panel_surface history_scene_before(const history_scene* scene)
{
    return (rlv_panel_surface){.mesh = &scene->before->given.mesh,
                               .tree = scene->before_tree,
                               .outline_count = scene->before_lines,
                               .outline = scene->before_line};
}

rlv_panel_surface history_scene_after(const history_scene* scene)
{
    return (rlv_panel_surface){.mesh = &scene->moved,
                               .tree = scene->after_tree,
                               .outline_count = scene->after_lines,
                               .outline = scene->after_line};
}

rlv_panel_surface history_scene_depth(const history_scene* scene, rlv_overlay* overlay)
{
    rlv_panel_surface surface = history_scene_after(scene);
    *overlay = (rlv_overlay){.depth_mm = scene->depth.depth_mm,
                             .shown = scene->depth.shown,
                             .deepest_mm = scene->depth.deepest_mm,
                             .caption = "depth that went, mm"};
    surface.overlay = overlay;
    surface.region = scene->step->change.after_label;
    surface.region_count = scene->step->change.region_count;
    surface.tag = scene->tag;
    return surface;
}

rlv_vec3 history_scene_deepest(const history_scene* scene)
{
    size_t deepest = 0;
    for (size_t i = 1; i < scene->moved.vertex_count; i++)
        if (fabsf(scene->depth.depth_mm[i]) > fabsf(scene->depth.depth_mm[deepest]))
            deepest = i;
    if (scene->depth.depth_mm[deepest] == 0.0f)
        return rlv_pose_apply(&scene->step->change.alignment.pose, scene->after->given.measures.surface_centroid_mm);
    return rlv_mesh_vertex(&scene->moved, deepest);
}
