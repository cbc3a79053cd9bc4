#include "align.h"
#include "align_field.h"
#include "align_refine.h"
#include "align_samples.h"
#include "align_search.h"

#include <stdio.h>

static const size_t after_samples = 40000, before_samples = 30000;
static const size_t coarse_stride = 8;     ///< of the samples that choose among candidates
static const double open_imbalance = 1e-3; ///< sum of area vectors over area, above which a mesh is taken for open

/// All that one alignment works with.
typedef struct alignment_work
{
    const rlv_mesh *before, *after;
    const rlv_align_options* options;
    rlv_samples before_samples, after_samples;
    rlv_tree* after_tree;
    rlv_distance_field field;
    rlv_refine refine;
    rlv_fit fit[RLV_CANDIDATES];
    double support[RLV_CANDIDATES];
    size_t fit_count;
} alignment_work;

static void work_free(alignment_work* w)
{
    rlv_distance_field_free(&w->field);
    rlv_tree_free(w->after_tree);
    rlv_samples_free(&w->before_samples);
    rlv_samples_free(&w->after_samples);
}

/// Between the meshes' own frames and their local ones.
static rlv_pose to_local(const rlv_pose* pose, rlv_vec3 before_origin, rlv_vec3 after_origin)
{
    rlv_pose local = *pose;
    local.translation_mm = rlv_vec3_sub(rlv_pose_apply(pose, after_origin), before_origin);
    local.centre_mm = rlv_vec3_sub(pose->centre_mm, before_origin);
    return local;
}

static rlv_pose to_global(const rlv_pose* pose, rlv_vec3 before_origin, rlv_vec3 after_origin)
{
    rlv_pose global = *pose;
    rlv_vec3 turned = rlv_vec3_scale(rlv_mat3_apply(pose->rotation, after_origin), pose->scale);
    global.translation_mm = rlv_vec3_add(rlv_vec3_sub(pose->translation_mm, turned), before_origin);
    global.centre_mm = rlv_vec3_add(pose->centre_mm, before_origin);
    return global;
}

static rlv_status find_candidates(alignment_work* w, const rlv_tree* before_tree, rlv_error* error)
{
    const rlv_align_options* options = w->options;
    rlv_status status = rlv_samples_take(&w->before_samples, w->before, options->before_left_out, before_samples,
                                         options->seed + 1, error);
    if (status == RLV_DONE)
        status = rlv_distance_field_build(&w->field, &w->before_samples, w->before_samples.imbalance > open_imbalance,
                                          error);
    if (status == RLV_DONE)
        status = rlv_tree_build(&w->after_tree, w->after, error);
    if (status != RLV_DONE)
        return status;
    rlv_candidate candidate[RLV_CANDIDATES];
    const rlv_search search = {.before = &w->before_samples,
                               .before_tree = before_tree,
                               .after = &w->after_samples,
                               .after_tree = w->after_tree,
                               .field = &w->field};
    status = rlv_search_poses(&search, candidate, &w->fit_count, &options->progress, error);
    for (size_t i = 0; i < w->fit_count && status == RLV_DONE; i++)
    {
        w->fit[i] = (rlv_fit){.pose = candidate[i].pose};
        status = rlv_refine_pose(&w->fit[i], &w->refine, 1.5 * w->field.side_mm, coarse_stride, 8, error);
    }
    return status;
}

rlv_status rlv_align(rlv_alignment* alignment, const rlv_mesh* before, const rlv_tree* before_tree,
                     const rlv_mesh* after, const rlv_align_options* options, rlv_error* error)
{
    *alignment = (rlv_alignment){.pose = rlv_pose_identity()};
    alignment_work w = {.before = before, .after = after, .options = options};
    rlv_status status =
        rlv_samples_take(&w.after_samples, after, options->after_left_out, after_samples, options->seed, error);
    w.refine = (rlv_refine){.before = before,
                            .tree = before_tree,
                            .before_left_out = options->before_left_out,
                            .samples = &w.after_samples,
                            .scale_sd = options->scale_sd};
    if (status == RLV_DONE && options->start != NULL)
    {
        w.fit[0].pose = to_local(options->start, before->origin_mm, after->origin_mm);
        w.fit_count = 1;
        status = rlv_refine_pose(&w.fit[0], &w.refine, w.after_samples.radius_mm / 20.0, coarse_stride, 20, error);
    }
    else if (status == RLV_DONE)
        status = find_candidates(&w, before_tree, error);
    size_t best = 0;
    for (size_t i = 1; i < w.fit_count && status == RLV_DONE; i++)
        if (w.fit[i].stable_fraction / w.fit[i].sd_mm > w.fit[best].stable_fraction / w.fit[best].sd_mm)
            best = i;
    if (status == RLV_DONE && w.fit_count > 0)
    {
        status = rlv_refine_finish(&w.fit[best], &w.refine, error);
        const rlv_fit* fit = &w.fit[best];
        alignment->pose = to_global(&fit->pose, before->origin_mm, after->origin_mm);
        alignment->rms_mm = fit->rms_mm;
        alignment->stable_fraction = fit->stable_fraction;
        alignment->position_sd_mm = rlv_pose_position_sd_mm(&alignment->pose);
        alignment->rotation_sd_deg = rlv_pose_rotation_sd_deg(&alignment->pose);
        alignment->slippable = fit->slippable;
        alignment->ambiguous = fit->slippable > 0;
        if (alignment->ambiguous)
            snprintf(alignment->reason, sizeof alignment->reason, "the surface does not resist %d motions",
                     fit->slippable);
    }
    work_free(&w);
    return status;
}
