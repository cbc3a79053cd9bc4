#include "history_parts.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    TIE_POINTS = 3,  // as few as fix a pose
    MOST_TIES = 256, // more would tell no more
    PLACES = 20000,  // of a region's surface that are asked how far they are from another: 2 mm apart on 800 cm2
};

void history_free_step(history_step* step)
{
    rlv_change_free(&step->change);
    free(step->region);
    free(step->before_part);
    free(step->after_part);
    *step = (history_step){0};
}

static rlv_vec3 point_in(const history_stage* stage, const rlv_point_record* point)
{
    return rlv_vec3_scale(rlv_vec3_of(point->at[0], point->at[1], point->at[2]), stage->mm_per_unit);
}

/// Whether an object is a scale bar of some stage: those lie beside the block, and not where they lay.
static bool is_bar(const rlv_specimen* specimen, const char* object)
{
    for (size_t k = 0; k < specimen->stage_count; k++)
        for (size_t i = 0; i < specimen->stage[k].mesh.bar_count; i++)
            if (strcmp(specimen->stage[k].mesh.bar[i].bar, object) == 0)
                return true;
    return false;
}

/// Points with one name on both stages, in mm, each stage's in its own frame.
typedef struct ties
{
    size_t count;
    rlv_vec3 here[MOST_TIES], there[MOST_TIES];
    double variance_mm2[MOST_TIES]; ///< of the two together, along any one direction
} ties;

static double variance_of(const rlv_point_record* point)
{
    const double sd_mm = point->sd_mm != NULL ? *point->sd_mm : RLV_SCALE_POINT_SD_MM;
    return sd_mm * sd_mm;
}

/// The numbered points of outlines are none.
static void list_ties(ties* list, const rlv_history* history, size_t into, size_t from)
{
    const rlv_specimen* specimen = history->specimen;
    const history_stage *a = history->stage + into, *b = history->stage + from;
    list->count = 0;
    for (size_t i = 0; i < specimen->point_count && list->count < MOST_TIES; i++)
    {
        const rlv_point_record* p = specimen->point + i;
        if (strcmp(p->stage, a->record->id) != 0 || strcmp(p->mesh, "block") != 0 ||
            p->point[strspn(p->point, "0123456789")] == '\0' || is_bar(specimen, p->object))
            continue;
        const rlv_point_record* q = rlv_specimen_point(specimen, b->record->id, "block", p->object, p->point);
        if (q == NULL)
            continue;
        list->here[list->count] = point_in(a, p);
        list->there[list->count] = point_in(b, q);
        list->variance_mm2[list->count++] = variance_of(p) + variance_of(q);
    }
}

/// A start from tie points, where there are enough: how many.
static size_t start_of(rlv_pose* start, const rlv_history* history, const history_edge* edge)
{
    rlv_error unfit = {0};
    ties list;
    list_ties(&list, history, edge->into, edge->from);
    return list.count >= TIE_POINTS &&
                   rlv_pose_fit(start, list.count, list.there, list.here, NULL, false, &unfit) == RLV_DONE
               ? list.count
               : 0;
}

history_ties history_measure_ties(const rlv_history* history, const history_edge* edge)
{
    ties list;
    list_ties(&list, history, edge->into, edge->from);
    history_ties told = {.count = list.count, .p = (double)NAN};
    const double scans = edge->alignment.rms_mm * edge->alignment.rms_mm;
    double squares = 0.0, chi_square = 0.0;
    for (size_t i = 0; i < list.count; i++)
    {
        const rlv_vec3 seen = rlv_pose_apply(&edge->alignment.pose, list.there[i]);
        const double off = rlv_vec3_length(rlv_vec3_sub(seen, list.here[i]));
        squares += off * off;
        chi_square += off * off /
                      (list.variance_mm2[i] + scans + rlv_pose_variance_at(&edge->alignment.pose, list.here[i]) / 3.0);
        told.most_mm = fmax(told.most_mm, off);
    }
    if (list.count == 0)
        return told;
    told.rms_mm = sqrt(squares / (double)list.count);
    told.p = gsl_cdf_chisq_Q(chi_square, 3.0 * (double)list.count);
    return told;
}

static void note_failure(char* why, size_t size, const rlv_error* error)
{
    snprintf(why, size, "%s%s%s", error->what, error->mend[0] != '\0' ? "; " : "", error->mend);
}

/// Give a part number to each piece that came off (`joined` false) or went back at a step, if a mask says where it was;
/// `number` is one a piece of the specimen.
static rlv_status number_pieces(uint8_t* number, history_step* step, const rlv_history* history, bool joined,
                                rlv_answer* answer, rlv_error* error)
{
    const rlv_specimen* specimen = history->specimen;
    const history_stage* stage = history->stage + (joined ? step->after : step->before);
    const char* after = history->stage[step->after].record->id;
    for (size_t i = 0; i < specimen->piece_count; i++)
    {
        const rlv_piece_record* piece = specimen->piece + i;
        if (!rlv_specimen_piece_moves(specimen, piece, step->after, joined))
            continue;
        bool masked = false;
        for (size_t t = 0; stage->parts.piece != NULL && t < stage->parts.triangle_count && !masked; t++)
            masked = stage->parts.piece[t] == i + 1;
        if (!masked)
            answer_warn(answer,
                        "%s: piece %s %s here, and no mask on %s says where it was: the block’s meshes have it as %s",
                        after, piece->id, joined ? "went back" : "came off", stage->record->id,
                        history_class_name(joined ? RLV_CHANGE_ADDED : RLV_CHANGE_REMOVED));
        else if (RLV_PART_PIECE + step->piece_count >= RLV_PART_COUNT)
            return rlv_fail(error, RLV_BAD_INPUT, "specimen.yaml", "put a stage between",
                            "more than %d pieces come off or go back at %s", RLV_PART_COUNT - RLV_PART_PIECE, after);
        else
        {
            number[i] = (uint8_t)(RLV_PART_PIECE + step->piece_count);
            step->piece[step->piece_count++] = i;
        }
    }
    return RLV_DONE;
}

/// The parts of one stage's triangles at a step, as change.h has them: pieces that came off and bone, or (`joined`)
/// pieces that went back. NULL where there are none.
static rlv_status parts_of(uint8_t** part, history_step* step, const rlv_history* history, bool joined,
                           rlv_answer* answer, rlv_error* error)
{
    const rlv_parts* parts = &history->stage[joined ? step->after : step->before].parts;
    uint8_t* number = rlv_reserve(history->specimen->piece_count, 1, error);
    rlv_status status = number != NULL ? number_pieces(number, step, history, joined, answer, error) : RLV_SYSTEM;
    if (status == RLV_DONE && (*part = rlv_reserve(parts->triangle_count, 1, error)) == NULL)
        status = RLV_SYSTEM;
    bool any = false;
    for (size_t t = 0; status == RLV_DONE && t < parts->triangle_count; t++)
    {
        const uint32_t piece = parts->piece != NULL ? parts->piece[t] : 0;
        if (piece > 0 && number[piece - 1] != 0)
            (*part)[t] = number[piece - 1];
        else if (!joined && (parts->is[t] & RLV_IS_BONE) != 0)
            (*part)[t] = RLV_PART_BONE;
        any |= (*part)[t] != 0;
    }
    free(number);
    if (!any)
    {
        free(*part);
        *part = NULL;
    }
    return status;
}

/// The faces of a stage that are bone, as a mesh of their own with its index; nothing where there are none.
typedef struct bone_surface
{
    rlv_mesh mesh;
    rlv_tree* tree;
} bone_surface;

static rlv_status take_bone(bone_surface* bone, const history_stage* stage, rlv_error* error)
{
    const size_t count = stage->parts.triangle_count;
    size_t bones = 0;
    uint8_t* drop = rlv_reserve(count, 1, error);
    if (drop == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < count; t++)
    {
        drop[t] = (stage->parts.is[t] & RLV_IS_BONE) == 0;
        bones += !drop[t];
    }
    rlv_status status = RLV_DONE;
    if (bones > 0)
    {
        status = rlv_mesh_copy(&bone->mesh, &stage->given.mesh, error);
        if (status == RLV_DONE)
            status = rlv_mesh_drop(&bone->mesh, drop, error);
        if (status == RLV_DONE)
            status = rlv_tree_build(&bone->tree, &bone->mesh, error);
    }
    free(drop);
    return status;
}

static void free_bone(bone_surface* bone)
{
    rlv_tree_free(bone->tree);
    rlv_mesh_free(&bone->mesh);
}

/// Places of a region's surface, at a corner of each triangle or of every so-manieth, and how far each is from another
/// surface.
typedef struct region_places
{
    size_t count;
    rlv_vec3* at_mm; ///< in the frame of their own mesh
    float* query;    ///< in that of the mesh that is asked, about its origin
    rlv_nearest* nearest;
} region_places;

static rlv_status reserve_places(region_places* places, rlv_error* error)
{
    return (places->at_mm = rlv_reserve(PLACES, sizeof *places->at_mm, error)) != NULL &&
                   (places->query = rlv_reserve(3 * (size_t)PLACES, sizeof *places->query, error)) != NULL &&
                   (places->nearest = rlv_reserve(PLACES, sizeof *places->nearest, error)) != NULL
               ? RLV_DONE
               : RLV_SYSTEM;
}

static void free_places(region_places* places)
{
    free(places->at_mm);
    free(places->query);
    free(places->nearest);
}

static void take_places(region_places* places, const rlv_mesh* mesh, const uint16_t* label, size_t region)
{
    size_t all = 0, seen = 0;
    for (size_t t = 0; t < mesh->triangle_count; t++)
        all += label[t] == region + 1;
    const size_t stride = all / PLACES + 1;
    places->count = 0;
    for (size_t t = 0; t < mesh->triangle_count && places->count < PLACES; t++)
        if (label[t] == region + 1 && seen++ % stride == 0)
            places->at_mm[places->count++] = rlv_mesh_vertex(mesh, mesh->corner[3 * t]);
}

/// How far the places are from a surface, carried by `into` from their frame into its own.
static void ask_places(region_places* places, const rlv_mesh* mesh, const rlv_tree* tree, const rlv_pose* into)
{
    for (size_t i = 0; i < places->count; i++)
    {
        const rlv_vec3 at = rlv_vec3_sub(rlv_pose_apply(into, places->at_mm[i]), mesh->origin_mm);
        places->query[3 * i] = (float)at.x;
        places->query[3 * i + 1] = (float)at.y;
        places->query[3 * i + 2] = (float)at.z;
    }
    rlv_tree_nearest(tree, places->count, places->query, INFINITY, places->nearest);
}

/// Only the places that lie as far as that from the surface asked last: a region's margin, which is not told from
/// noise, goes. Where that would leave none all stay.
static void keep_told(region_places* places, double from_mm)
{
    size_t kept = 0;
    for (size_t i = 0; i < places->count; i++)
        kept += (double)places->nearest[i].distance_mm >= from_mm;
    if (kept == 0)
        return;
    kept = 0;
    for (size_t i = 0; i < places->count; i++)
        if ((double)places->nearest[i].distance_mm >= from_mm)
            places->at_mm[kept++] = places->at_mm[i];
    places->count = kept;
}

/// The place of AFTER's surface that lies farthest from BEFORE's, in BEFORE's frame; the region's own place where AFTER
/// has none.
static rlv_vec3 deepest_of(region_places* places, const history_step* step, size_t region, const history_stage* before,
                           const history_stage* after)
{
    const rlv_pose* pose = &step->change.alignment.pose;
    size_t deepest = SIZE_MAX;
    take_places(places, &after->given.mesh, step->change.after_label, region);
    ask_places(places, &before->given.mesh, before->tree, pose);
    for (size_t i = 0; i < places->count; i++)
        if (deepest == SIZE_MAX || places->nearest[i].distance_mm > places->nearest[deepest].distance_mm)
            deepest = i;
    return deepest != SIZE_MAX ? rlv_pose_apply(pose, places->at_mm[deepest]) : step->region[region].place_mm;
}

/// The least distance from the surface of a region on BEFORE, where the change is told, to bone of either stage.
static double bone_from(region_places* places, const history_step* step, size_t region, const history_stage* before,
                        const history_stage* after, const bone_surface bone[2])
{
    const rlv_pose stay = rlv_pose_identity(), into = rlv_pose_inverse(&step->change.alignment.pose);
    double least_mm = INFINITY;
    take_places(places, &before->given.mesh, step->change.before_label, region);
    ask_places(places, &after->given.mesh, after->tree, &into);
    keep_told(places, step->change.region[region].area_from_mm);
    for (int k = 0; k < 2; k++)
        if (bone[k].tree != NULL)
        {
            ask_places(places, &bone[k].mesh, bone[k].tree, k == 0 ? &stay : &into);
            for (size_t i = 0; i < places->count; i++)
                least_mm = fmin(least_mm, (double)places->nearest[i].distance_mm);
        }
    return isinf(least_mm) ? (double)NAN : least_mm;
}

rlv_status history_region_distances(history_step* step, const history_stage* before, const history_stage* after,
                                    rlv_error* error)
{
    region_places places = {0};
    bone_surface bone[2] = {0};
    rlv_status status = reserve_places(&places, error);
    if (status == RLV_DONE)
        status = take_bone(&bone[0], before, error);
    if (status == RLV_DONE)
        status = take_bone(&bone[1], after, error);
    for (size_t r = 0; status == RLV_DONE && r < step->change.region_count; r++)
    {
        step->region[r].deepest_mm = deepest_of(&places, step, r, before, after);
        step->region[r].nearest_bone_mm = bone_from(&places, step, r, before, after, bone);
    }
    free_bone(&bone[0]);
    free_bone(&bone[1]);
    free_places(&places);
    return status;
}

/// How the triangles of regions lie in areas of work, by number of region, 0 for none.
typedef struct area_counts
{
    size_t *all, *in_one, *most, *in_any; ///< of a region; in the area at hand; in the one with most; in all of them
} area_counts;

/// An area of work row `i` that no earlier row has named; NULL: none.
static const char* next_area(const rlv_stage_record* after, size_t i)
{
    const char* area = after->work[i].area;
    for (size_t j = 0; j < i && area != NULL; j++)
        if (after->work[j].area != NULL && strcmp(after->work[j].area, area) == 0)
            return NULL;
    return area;
}

/// Name the area that most of each region lies in.
static void name_area(history_step* step, area_counts* counts, const rlv_outline* outline, const char* area)
{
    const size_t regions = step->change.region_count;
    memset(counts->in_one, 0, (regions + 1) * sizeof *counts->in_one);
    for (size_t t = 0; t < outline->triangle_count; t++)
        counts->in_one[step->change.before_label[outline->triangle[t]]]++;
    for (size_t r = 1; r <= regions; r++)
    {
        counts->in_any[r] += counts->in_one[r];
        if (counts->in_one[r] > counts->most[r])
            counts->most[r] = counts->in_one[r];
        if (2 * counts->in_one[r] > counts->all[r])
            step->region[r - 1].area = area;
    }
}

/// Whether a region of matrix lies in an area.
static bool has_region(const history_step* step, const char* area)
{
    for (size_t r = 0; r < step->change.region_count; r++)
        if (step->change.region[r].kind == RLV_CHANGE_REMOVED && step->region[r].area != NULL &&
            strcmp(step->region[r].area, area) == 0)
            return true;
    return false;
}

/// A region of matrix of which a tenth or more of what lies in areas lies in another than most, or an area with
/// hours and no region: what was recorded for the areas cannot be told apart.
static void note_mixed(history_step* step, const area_counts* counts, const rlv_stage_record* after)
{
    for (size_t i = 0; i < after->work_count && step->change.region_count > 0; i++)
        step->areas_mixed |= after->work[i].area != NULL && !has_region(step, after->work[i].area);
    for (size_t r = 1; r <= step->change.region_count; r++)
        step->areas_mixed |= step->change.region[r - 1].kind == RLV_CHANGE_REMOVED &&
                             10 * (counts->in_any[r] - counts->most[r]) >= counts->in_any[r] && counts->in_any[r] > 0;
    for (size_t r = 0; step->areas_mixed && r < step->change.region_count; r++)
        step->region[r].area = NULL;
}

static rlv_status name_areas(history_step* step, const rlv_history* history, rlv_error* error)
{
    const history_stage *before = history->stage + step->before, *after = history->stage + step->after;
    const size_t room = step->change.region_count + 1;
    rlv_surface* surface = NULL;
    rlv_status status = RLV_DONE;
    size_t* count = rlv_reserve(4 * room, sizeof *count, error);
    if (count == NULL)
        return RLV_SYSTEM;
    area_counts counts = {count, count + room, count + 2 * room, count + 3 * room};
    for (size_t t = 0; t < before->given.mesh.triangle_count; t++)
        counts.all[step->change.before_label[t]]++;
    for (size_t i = 0; status == RLV_DONE && i < after->record->work_count; i++)
    {
        const char* area = next_area(after->record, i);
        if (area == NULL)
            continue;
        char key[256];
        snprintf(key, sizeof key, "specimen.yaml: stages, %s: work[%zu].area", after->record->id, i);
        const rlv_named_points named = {before->record->id, "block", area, before->mm_per_unit, key};
        rlv_outline outline = {0};
        if (surface == NULL)
            status = rlv_surface_prepare(&surface, &before->given.mesh, before->tree, error);
        if (status == RLV_DONE)
            status = rlv_named_outline_find(&outline, surface, history->specimen, &named, error);
        if (status == RLV_DONE)
            name_area(step, &counts, &outline, area);
        rlv_outline_free(&outline);
    }
    note_mixed(step, &counts, after->record);
    rlv_surface_free(surface);
    free(count);
    return status;
}

static rlv_vec3 middle_of(const rlv_mesh* mesh, size_t triangle)
{
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t k = 0; k < 3; k++)
        sum = rlv_vec3_along(sum, 1.0 / 3.0, rlv_mesh_vertex(mesh, mesh->corner[3 * triangle + k]));
    return sum;
}

void history_region_places(rlv_vec3* place, const rlv_change* change, const rlv_mesh* before)
{
    for (size_t r = 0; r < change->region_count; r++)
        place[r] = rlv_vec3_of(INFINITY, 0.0, 0.0);
    for (size_t t = 0; t < before->triangle_count; t++)
    {
        const uint16_t label = change->before_label[t];
        if (label == 0)
            continue;
        const rlv_vec3 middle = middle_of(before, t), centroid = change->region[label - 1].centroid_mm;
        if (rlv_vec3_length(rlv_vec3_sub(middle, centroid)) < rlv_vec3_length(rlv_vec3_sub(place[label - 1], centroid)))
            place[label - 1] = middle;
    }
    for (size_t r = 0; r < change->region_count; r++)
        if (isinf(place[r].x))
            place[r] = change->region[r].centroid_mm;
}

/// The same into the step's regions.
static rlv_status tell_places(history_step* step, const rlv_mesh* before, rlv_error* error)
{
    rlv_vec3* place = rlv_reserve(step->change.region_count, sizeof *place, error);
    if (place == NULL)
        return RLV_SYSTEM;
    history_region_places(place, &step->change, before);
    for (size_t r = 0; r < step->change.region_count; r++)
        step->region[r].place_mm = place[r];
    free(place);
    return RLV_DONE;
}

static rlv_status describe_regions(history_step* step, const rlv_history* history, rlv_error* error)
{
    const history_stage *before = history->stage + step->before, *after = history->stage + step->after;
    if ((step->region = rlv_reserve(step->change.region_count, sizeof *step->region, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t r = 0; r < step->change.region_count; r++)
    {
        const uint8_t part = step->change.region[r].part;
        step->region[r] =
            (history_region){.piece = part >= RLV_PART_PIECE ? step->piece[part - RLV_PART_PIECE] : SIZE_MAX,
                             .centroid_mm = step->change.region[r].centroid_mm};
    }
    rlv_status status = tell_places(step, &before->given.mesh, error);
    if (status == RLV_DONE)
        status = history_region_distances(step, before, after, error);
    return status == RLV_DONE ? name_areas(step, history, error) : status;
}

static void sum_hours(history_step* step, const rlv_stage_record* after)
{
    step->hours = after->work_count > 0 ? 0.0 : (double)NAN;
    for (size_t i = 0; i < after->work_count; i++)
        step->hours += after->work[i].hours;
}

rlv_change_options history_options_of(const rlv_history* history, const history_edge* edge, const rlv_pose* start)
{
    return (rlv_change_options){.start = start,
                                .before_tree = history->stage[edge->into].tree,
                                .after_tree = history->stage[edge->from].tree,
                                .before_scale_sd = history->stage[edge->into].scale_sd,
                                .after_scale_sd = history->stage[edge->from].scale_sd};
}

rlv_status history_prepare_step(rlv_history* history, size_t k, rlv_answer* answer, rlv_error* error)
{
    history_step* step = history->step + k;
    sum_hours(step, history->stage[k + 1].record);
    const rlv_status status = parts_of(&step->before_part, step, history, false, answer, error);
    return status == RLV_DONE ? parts_of(&step->after_part, step, history, true, answer, error) : status;
}

rlv_status history_measure_step(const rlv_history* history, history_step* step, history_edge* edge,
                                const rlv_progress* progress, rlv_error* error)
{
    rlv_pose start;
    edge->start_ties = start_of(&start, history, edge);
    rlv_change_options options = history_options_of(history, edge, edge->start_ties > 0 ? &start : NULL);
    options.progress = *progress;
    options.before_part = step->before_part;
    options.after_part = step->after_part;
    rlv_error own = {0};
    const rlv_status status = rlv_change_measure(&step->change, &history->stage[step->before].given.mesh,
                                                 &history->stage[step->after].given.mesh, &options, &own);
    edge->alignment = step->change.alignment;
    if (status == RLV_IMPOSSIBLE)
    {
        note_failure(step->why, sizeof step->why, &own);
        note_failure(edge->why, sizeof edge->why, &own);
        return RLV_DONE;
    }
    if (status != RLV_DONE)
    {
        *error = own;
        return status;
    }
    step->measured = edge->done = true;
    edge->ties = history_measure_ties(history, edge);
    return describe_regions(step, history, error);
}

rlv_status history_align_edge(const rlv_history* history, const history_step* step, history_edge* edge,
                              const rlv_progress* progress, rlv_error* error)
{
    rlv_pose start;
    edge->start_ties = start_of(&start, history, edge);
    rlv_change_options options = history_options_of(history, edge, edge->start_ties > 0 ? &start : NULL);
    options.progress = *progress;
    options.before_part = step != NULL ? step->before_part : NULL;
    options.after_part = step != NULL ? step->after_part : NULL;
    rlv_error own = {0};
    const rlv_status status = rlv_change_align(&edge->alignment, &history->stage[edge->into].given.mesh,
                                               &history->stage[edge->from].given.mesh, &options, &own);
    if (status == RLV_IMPOSSIBLE)
    {
        note_failure(edge->why, sizeof edge->why, &own);
        return RLV_DONE;
    }
    edge->done = status == RLV_DONE;
    if (status != RLV_DONE)
        *error = own;
    else
        edge->ties = history_measure_ties(history, edge);
    return status;
}
