#include "history_scene.h"

#include "history_parts.h"

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

/// Leave out of a set what is bone now, and two triangles round it: that far two outlines of one edge differ.
static rlv_status leave_out_present(uint8_t* set, const history_scene* scene, rlv_error* error)
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
                set[i] = 0;
    free(near);
    return RLV_DONE;
}

/// The middle of a triangle of AFTER, in BEFORE's local coordinates.
static void put_middle(float query[3], const history_scene* scene, size_t triangle)
{
    const rlv_mesh* mesh = &scene->moved;
    const uint32_t* corner = mesh->corner + 3 * triangle;
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t k = 0; k < 3; k++)
        sum = rlv_vec3_add(sum, rlv_vec3_from(mesh->position_mm + 3 * (size_t)corner[k]));
    const rlv_vec3 shift = rlv_vec3_sub(mesh->origin_mm, scene->before->given.mesh.origin_mm),
                   middle = rlv_vec3_along(shift, 1.0 / 3.0, sum);
    query[0] = (float)middle.x;
    query[1] = (float)middle.y;
    query[2] = (float)middle.z;
}

/// Keep of a set the triangles whose nearest one of BEFORE is bone.
static rlv_status keep_on_bone(uint8_t* set, const history_scene* scene, const uint8_t* bone, rlv_error* error)
{
    const size_t triangles = scene->moved.triangle_count;
    size_t count = 0, next = 0;
    for (size_t i = 0; i < triangles; i++)
        count += set[i];
    float* query = rlv_reserve(3 * count, sizeof *query, error);
    rlv_nearest* nearest = query != NULL ? rlv_reserve(count, sizeof *nearest, error) : NULL;
    for (size_t i = 0; nearest != NULL && i < triangles; i++)
        if (set[i] != 0)
            put_middle(query + 3 * next++, scene, i);
    if (nearest != NULL)
        rlv_tree_nearest(scene->before->tree, count, query, INFINITY, nearest);
    next = 0;
    for (size_t i = 0; nearest != NULL && i < triangles; i++)
        if (set[i] != 0)
        {
            const uint32_t triangle = nearest[next++].triangle;
            set[i] = triangle != RLV_TREE_NONE && bone[triangle] != 0;
        }
    const bool held = nearest != NULL;
    free(nearest);
    free(query);
    return held ? RLV_DONE : RLV_SYSTEM;
}

/// Bone of BEFORE on AFTER's surface that is none now: what lay over it did not change or was bone itself.
static rlv_status set_of_former_bone(uint8_t** in, history_scene* scene, const uint8_t* bone, rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    uint8_t* set = add_set(scene, scene->moved.triangle_count, error);
    rlv_status status = set != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; status == RLV_DONE && i < scene->moved.triangle_count; i++)
    {
        const uint16_t label = scene->depth.label[i];
        set[i] = label == 0 || change->region[label - 1].kind == RLV_CHANGE_BONE;
    }
    if (status == RLV_DONE && scene->bone != NULL)
        status = leave_out_present(set, scene, error);
    if (status == RLV_DONE)
        status = keep_on_bone(set, scene, bone, error);
    *in = status == RLV_DONE ? set : NULL;
    return status;
}

static void add_line(rlv_panel_outline* line, size_t* count, const uint8_t* in, rlv_panel_outline how)
{
    if (in == NULL)
        return;
    how.in = in;
    line[(*count)++] = how;
}

// One line and one entry of the key on every view: maps of depth are drawn on the stage after.
static const rlv_panel_outline of_bone = {.line_mm = RLV_LINE_MEDIUM, .words = "bone, as the stage drawn shows it"};
static const rlv_panel_outline of_former = {
    .line_mm = RLV_LINE_MEDIUM, .quiet = true, .words = "bone that shows no more"};
static const rlv_panel_outline of_lost = {.line_mm = LINE_LOST, .words = "bone lost"};
static const rlv_panel_outline of_detached = {
    .line_mm = RLV_LINE_HEAVY, .least_mm2 = LEAST_OF_PIECE, .dashed = true, .words = "piece detached"};
static const rlv_panel_outline of_joined = {
    .line_mm = RLV_LINE_HEAVY, .least_mm2 = LEAST_OF_PIECE, .dashed = true, .words = "piece joined"};

/// The recorded outline of a piece on a stage, in the frame of the scene; NULL where there is none.
static rlv_status ring_of(const rlv_vec3** ring, size_t* count, history_scene* scene, const rlv_history* history,
                          const history_stage* stage, const char* piece, rlv_error* error)
{
    const rlv_specimen* specimen = history->specimen;
    const size_t* index = NULL;
    *count = 0;
    for (size_t i = 0; i < specimen->mask_count && *count == 0; i++)
    {
        const rlv_mask_record* mask = &specimen->mask[i];
        if (mask->kind == RLV_MASK_PIECE && mask->outline != NULL && strcmp(mask->piece, piece) == 0 &&
            strcmp(mask->stage, stage->record->id) == 0)
            index = rlv_specimen_points(specimen, mask->stage, "block", mask->outline, count);
    }
    if (*count == 0)
        return RLV_DONE;
    rlv_vec3* at = rlv_reserve(*count, sizeof *at, error);
    if (at == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < *count; i++)
    {
        const double* point = specimen->point[index[i]].at;
        at[i] = rlv_vec3_scale(rlv_vec3_of(point[0], point[1], point[2]), stage->mm_per_unit);
        if (stage == scene->after)
            at[i] = rlv_pose_apply(&scene->step->change.alignment.pose, at[i]);
    }
    scene->ring[scene->ring_count++] = at;
    *ring = at;
    return RLV_DONE;
}

/// Outline the pieces of a class by what was recorded of them on a stage; false where one has no outline there.
static rlv_status outline_pieces(bool* all, history_scene* scene, const rlv_history* history,
                                 const history_stage* stage, rlv_change_class kind, rlv_panel_outline how,
                                 rlv_panel_outline* line, size_t* lines, rlv_error* error)
{
    const history_step* step = scene->step;
    rlv_status status = RLV_DONE;
    size_t begun = *lines;
    *all = true;
    for (size_t p = 0; p < step->piece_count && status == RLV_DONE && *all; p++)
    {
        bool changed = false;
        for (size_t i = 0; step->region != NULL && i < step->change.region_count; i++)
            changed = changed || (step->change.region[i].kind == kind && step->region[i].piece == step->piece[p]);
        if (!changed)
            continue;
        const char* id = history->specimen->piece[step->piece[p]].id;
        status = ring_of(&how.ring_mm, &how.ring_count, scene, history, stage, id, error);
        *all = how.ring_count > 0;
        if (status == RLV_DONE && *all)
            line[(*lines)++] = how;
    }
    *all = *all && *lines > begun;
    if (!*all)
        *lines = begun;
    return status;
}

static rlv_status outline_before(history_scene* scene, const rlv_history* history, uint8_t** bone, rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    size_t triangles = scene->before->given.mesh.triangle_count;
    uint8_t *lost = NULL, *detached = NULL;
    bool recorded = false;
    rlv_status status = set_of_bone(bone, scene, scene->before, error);
    if (status == RLV_DONE)
        status = set_of_class(&lost, scene, RLV_CHANGE_BONE, change->before_label, triangles, error);
    add_line(scene->before_line, &scene->before_lines, *bone, of_bone);
    if (status == RLV_DONE)
        status = outline_pieces(&recorded, scene, history, scene->before, RLV_CHANGE_DETACHED, of_detached,
                                scene->before_line, &scene->before_lines, error);
    if (status == RLV_DONE && !recorded)
        status = set_of_class(&detached, scene, RLV_CHANGE_DETACHED, change->before_label, triangles, error);
    add_line(scene->before_line, &scene->before_lines, detached, of_detached);
    add_line(scene->before_line, &scene->before_lines, lost, of_lost);
    return status;
}

/// The scar of what came off lies under the outline that the piece had before.
static rlv_status outline_scars(history_scene* scene, rlv_error* error)
{
    size_t begun = scene->after_lines;
    for (size_t i = 0; i < scene->before_lines; i++)
        if (scene->before_line[i].ring_count > 0)
            scene->after_line[scene->after_lines++] = scene->before_line[i];
    if (scene->after_lines > begun)
        return RLV_DONE;
    uint8_t* in = NULL;
    rlv_status status = set_of_class(&in, scene, RLV_CHANGE_DETACHED, scene->step->change.after_label,
                                     scene->moved.triangle_count, error);
    add_line(scene->after_line, &scene->after_lines, in, of_detached);
    return status;
}

/// What is back has an outline of its own.
static rlv_status outline_joined(history_scene* scene, const rlv_history* history, rlv_error* error)
{
    uint8_t* in = NULL;
    bool recorded = false;
    rlv_status status = outline_pieces(&recorded, scene, history, scene->after, RLV_CHANGE_JOINED, of_joined,
                                       scene->after_line, &scene->after_lines, error);
    if (status == RLV_DONE && !recorded)
        status = set_of_class(&in, scene, RLV_CHANGE_JOINED, scene->step->change.after_label,
                              scene->moved.triangle_count, error);
    add_line(scene->after_line, &scene->after_lines, in, of_joined);
    return status;
}

static rlv_status outline_after(history_scene* scene, const rlv_history* history, const uint8_t* former_bone,
                                rlv_error* error)
{
    const rlv_change* change = &scene->step->change;
    size_t triangles = scene->moved.triangle_count;
    uint8_t *former = NULL, *lost = NULL;
    rlv_status status = set_of_bone(&scene->bone, scene, scene->after, error);
    if (status == RLV_DONE && former_bone != NULL)
        status = set_of_former_bone(&former, scene, former_bone, error);
    if (status == RLV_DONE)
        status = set_of_class(&lost, scene, RLV_CHANGE_BONE, change->after_label, triangles, error);
    rlv_panel_outline how = of_former;
    if (scene->bone == NULL)
        how.words = "bone as it showed before";
    scene->former = former != NULL;
    add_line(scene->after_line, &scene->after_lines, former, how);
    add_line(scene->after_line, &scene->after_lines, scene->bone, of_bone);
    if (status == RLV_DONE)
        status = outline_scars(scene, error);
    if (status == RLV_DONE)
        status = outline_joined(scene, history, error);
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
    scene->came = rlv_reserve(change->region_count, sizeof *scene->came, error);
    scene->place = rlv_reserve(change->region_count, sizeof *scene->place, error);
    if (scene->place == NULL || scene->tag == NULL || scene->tagged == NULL || scene->came == NULL)
        return RLV_SYSTEM;
    history_region_places(scene->place, change, &scene->before->given.mesh);
    for (size_t i = 0; i < change->region_count; i++)
    {
        rlv_change_class kind = change->region[i].kind;
        scene->tag[i].words = kind != RLV_CHANGE_REMOVED ? history_scene_class(change, kind) : NULL;
        scene->came[i] = !rlv_change_went(kind);
        scene->tag[i].strong = kind == RLV_CHANGE_BONE;
    }
    for (size_t i = 0; i < scene->moved.triangle_count; i++)
    {
        uint16_t label = scene->depth.label[i];
        scene->tagged[i] = label != 0 && scene->tag[label - 1].words != NULL ? label : 0;
    }
    return RLV_DONE;
}

static double deepest_of(const history_step* step)
{
    double deepest = 0.0;
    for (size_t i = 0; step->measured && i < step->change.region_count; i++)
        deepest = fmax(deepest, step->change.region[i].max_depth_mm.value);
    return deepest;
}

void history_scene_range_words(char* words, size_t size, const rlv_history* history, const history_step* step)
{
    size_t with = 0;
    for (size_t i = 0; i < history->step_count; i++)
        with += deepest_of(&history->step[i]) > 0.0;
    words[0] = '\0';
    if (deepest_of(step) > 0.0)
        rlv_print(words, size, "colours of this step%s; its deepest place: %s" RLV_THIN "mm",
                  with > 1 ? " alone: another’s may end elsewhere" : "", words_figures(deepest_of(step), 3).text);
}

rlv_status history_scene_make(history_scene* scene, const rlv_history* history, const history_step* step,
                              rlv_error* error)
{
    uint8_t* bone = NULL;
    history_scene_range_words(scene->colour_words, sizeof scene->colour_words, history, step);
    scene->step = step;
    scene->before = &history->stage[step->before];
    scene->after = &history->stage[step->after];
    rlv_status status = rlv_mesh_copy(&scene->moved, &scene->after->given.mesh, error);
    if (status != RLV_DONE)
        return status;
    rlv_pose_move_mesh(&step->change.alignment.pose, &scene->moved);
    status = rlv_tree_build(&scene->after_tree, &scene->moved, error);
    if (status == RLV_DONE)
        status = depth_overlay_make(&scene->depth, &step->change, &scene->before->given.mesh, scene->before->tree,
                                    &scene->moved, error);
    if (status == RLV_DONE)
        status = outline_before(scene, history, &bone, error);
    if (status == RLV_DONE)
        status = outline_after(scene, history, bone, error);
    return status == RLV_DONE ? tag_regions(scene, error) : status;
}

void history_scene_free(history_scene* scene)
{
    rlv_mesh_free(&scene->moved);
    rlv_tree_free(scene->after_tree);
    depth_overlay_free(&scene->depth);
    for (size_t i = 0; i < scene->set_count; i++)
        free(scene->set[i]);
    for (size_t i = 0; i < scene->ring_count; i++)
        free(scene->ring[i]);
    free(scene->came);
    free(scene->tag);
    free(scene->place);
    free(scene->tagged);
    *scene = (history_scene){0};
}

rlv_panel_surface history_scene_before(const history_scene* scene)
{
    return (rlv_panel_surface){.mesh = &scene->before->given.mesh,
                               .tree = scene->before->tree,
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
                             .deepest_mm = scene->depth.end_mm,
                             .caption = "depth that went, mm",
                             .bare = "surface where no change was found",
                             .note = scene->colour_words[0] != '\0' ? scene->colour_words : NULL};
    surface.overlay = overlay;
    surface.region = scene->depth.label;
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
