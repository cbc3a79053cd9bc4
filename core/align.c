#include "align.h"
#include "align_field.h"
#include "align_refine.h"
#include "align_samples.h"
#include "align_search.h"

#include <stdio.h>
#include <string.h>

static const size_t after_samples = 40000, before_samples = 30000;
static const size_t rough_stride = 24;     ///< of the samples that sort out candidates
static const size_t coarse_stride = 8;     ///< and of those that choose among the few that are left
static const double open_imbalance = 1e-3; ///< sum of area vectors over area, above which a mesh is taken for open
#define TRIED 8                            ///< candidates that are held against the mesh itself
#define TWELFTHS 12                        ///< turns about an axis that are tried for rivals
#define TURNED (3 * (TWELFTHS - 1))
#define TURNS_TRIED 4 ///< and of these, those held against the mesh
/// A fit this far behind the best in gain (nats a sample) cannot catch up by being refined with care.
static const double hopeful_gain = 0.5;
static const double hopeful_score = 0.4; ///< nor one with so small a share of the best one's score
#define CONTENDERS 12
/// Least evidence of a pose that is believed, in nats a sample. The best poses of unrelated blocks reach 0.15; two
/// scans that share a quarter of their surface with residuals of 0.2 mm in 100 mm reach 0.65.
static const double least_evidence = 0.3;
/// How far a rival must be behind: this much, and this much for the whole surface. A symmetric block's rivals come
/// within 0.02. A rival behind by 0.2 on the whole surface fits it with residuals wider by a fifth: warp could do as
/// much.
static const double clear_gain[2] = {0.05, 0.15};
/// Beyond this sd at the farthest corner, in radii of the block, a pose is not to be relied on: three sd are then past
/// a hundredth of the radius, 1 mm on a block of 200 mm.
static const double loose_share = 1.0 / 300.0;
#define CHOSEN 3 ///< and of these, those that are refined with care

/// A pose that was held against the mesh.
typedef struct contender
{
    rlv_fit fit;
    double score; ///< of the field
    bool careful; ///< refined with care
} contender;

/// All that one alignment works with.
typedef struct alignment_work
{
    const rlv_mesh *before, *after;
    const rlv_align_options* options;
    rlv_samples before_samples, after_samples;
    rlv_tree* own_tree; ///< of AFTER, where none was lent
    rlv_distance_field field;
    rlv_refine refine;
    rlv_search search;
    contender contender[CONTENDERS]; ///< distinct poses, best first
    size_t count;
} alignment_work;

static void work_free(alignment_work* w)
{
    rlv_distance_field_free(&w->field);
    rlv_tree_free(w->own_tree);
    rlv_samples_free(&w->before_samples);
    rlv_samples_free(&w->after_samples);
}

/// From the meshes' own frames to their local ones.
static rlv_pose to_local(const rlv_pose* pose, rlv_vec3 before_origin, rlv_vec3 after_origin)
{
    rlv_pose local = *pose;
    local.translation_mm = rlv_vec3_sub(rlv_pose_apply(pose, after_origin), before_origin);
    local.centre_mm = rlv_vec3_sub(pose->centre_mm, before_origin);
    return local;
}

/// And back.
static rlv_pose to_global(const rlv_pose* pose, rlv_vec3 before_origin, rlv_vec3 after_origin)
{
    rlv_pose global = *pose;
    rlv_vec3 turned = rlv_vec3_scale(rlv_mat3_apply(pose->rotation, after_origin), pose->scale);
    global.translation_mm = rlv_vec3_add(rlv_vec3_sub(pose->translation_mm, turned), before_origin);
    global.centre_mm = rlv_vec3_add(pose->centre_mm, before_origin);
    return global;
}

/// Put a contender in its place in the list, by falling gain, unless a better one is nearly the same pose.
static void enter(alignment_work* w, const contender* entering)
{
    const double same_mm = 2.0 * w->field.side_mm;
    contender list[CONTENDERS + 1];
    size_t kept = 0;
    bool placed = false;
    for (size_t i = 0; i <= w->count; i++)
    {
        const bool here = !placed && (i == w->count || entering->fit.gain > w->contender[i].fit.gain);
        const contender* next[2] = {here ? entering : NULL, i < w->count ? &w->contender[i] : NULL};
        placed = placed || here;
        for (int k = 0; k < 2; k++)
        {
            bool same = next[k] == NULL;
            for (size_t j = 0; j < kept && !same; j++)
                same = rlv_search_apart_mm(&w->after_samples, &next[k]->fit.pose, &list[j].fit.pose) < same_mm;
            if (!same && kept < CONTENDERS)
                list[kept++] = *next[k];
        }
    }
    memcpy(w->contender, list, kept * sizeof *list);
    w->count = kept;
}

/// Hold candidates against the mesh, roughly.
static rlv_status try_candidates(alignment_work* w, const rlv_pose_candidate* candidate, size_t count, rlv_error* error)
{
    for (size_t i = 0; i < count; i++)
    {
        contender entering = {.fit.pose = candidate[i].pose, .score = candidate[i].score};
        rlv_status status =
            rlv_refine_pose(&entering.fit, &w->refine, 1.5 * w->field.side_mm, rough_stride, 10, false, error);
        if (status != RLV_DONE)
            return status;
        enter(w, &entering);
    }
    return RLV_DONE;
}

/// Refine with care the contenders that may turn out best, or as good as the best.
static rlv_status choose(alignment_work* w, rlv_error* error)
{
    contender again[CONTENDERS];
    size_t count = 0;
    for (size_t i = 0; i < w->count && count < CHOSEN; i++)
    {
        const contender* own = w->contender + i;
        if (!own->careful && own->fit.gain > w->contender[0].fit.gain - hopeful_gain &&
            (i == 0 || own->score > hopeful_score * w->contender[0].score))
            again[count++] = *own;
    }
    for (size_t i = 0; i < count; i++)
    {
        again[i].careful = true;
        rlv_status status =
            rlv_refine_pose(&again[i].fit, &w->refine, 3.0 * again[i].fit.sd_mm, coarse_stride, 12, true, error);
        if (status != RLV_DONE)
            return status;
        enter(w, &again[i]);
    }
    return RLV_DONE;
}

/// Poses that a body with some symmetry would take for the best one as well: BEFORE turned about its principal axes, by
/// twelfths.
static rlv_status turn_candidates(const alignment_work* w, rlv_pose_candidate candidate[TURNED], rlv_error* error)
{
    rlv_vec3 axis[3];
    rlv_status status = rlv_samples_axes(&w->before_samples, axis, error);
    for (int i = 0; i < TURNED && status == RLV_DONE; i++)
    {
        const double angle = 2.0 * M_PI / TWELFTHS * (i / 3 + 1);
        rlv_pose turn = rlv_pose_identity();
        turn.rotation = rlv_rotation_from_vector(rlv_vec3_scale(axis[i % 3], angle));
        rlv_vec3 centre = w->before_samples.centre_mm;
        turn.translation_mm = rlv_vec3_sub(centre, rlv_mat3_apply(turn.rotation, centre));
        candidate[i].pose = rlv_pose_compose(&turn, &w->contender[0].fit.pose);
    }
    return status;
}

/// Look for rivals among the poses that a symmetry would carry the best one to.
static rlv_status try_turns(alignment_work* w, rlv_error* error)
{
    rlv_pose_candidate candidate[TURNED];
    rlv_status status = turn_candidates(w, candidate, error);
    if (status != RLV_DONE)
        return status;
    const double own = rlv_distance_field_score(&w->field, &w->after_samples, &w->contender[0].fit.pose,
                                                w->field.side_mm, 0, w->after_samples.count / 2000 + 1);
    size_t count = rlv_search_settle(&w->search, candidate, TURNED, TURNS_TRIED, error), close = 0;
    while (close < count && candidate[close].score > 0.5 * own)
        close++;
    return try_candidates(w, candidate, close, error);
}

static rlv_status search_all(alignment_work* w, const rlv_tree* before_tree, rlv_error* error)
{
    const rlv_align_options* options = w->options;
    rlv_status status = rlv_samples_take(&w->before_samples, w->before, options->before_left_out, before_samples,
                                         options->seed + 1, error);
    if (status == RLV_DONE)
        status = rlv_distance_field_build(&w->field, &w->before_samples, w->before_samples.imbalance > open_imbalance,
                                          error);
    if (status == RLV_DONE && options->after_tree == NULL)
        status = rlv_tree_build(&w->own_tree, w->after, error);
    if (status != RLV_DONE)
        return status;
    rlv_pose_candidate candidate[RLV_CANDIDATES];
    w->search = (rlv_search){.before = &w->before_samples,
                             .before_tree = before_tree,
                             .after = &w->after_samples,
                             .after_tree = options->after_tree != NULL ? options->after_tree : w->own_tree,
                             .field = &w->field};
    size_t count = 0;
    status = rlv_search_poses(&w->search, candidate, &count, &options->progress, error);
    if (status == RLV_DONE)
        status = try_candidates(w, candidate, count < TRIED ? count : TRIED, error);
    if (status == RLV_DONE)
        status = choose(w, error);
    if (status == RLV_DONE && w->count > 0)
        status = try_turns(w, error);
    if (status == RLV_DONE)
        status = choose(w, error);
    return status;
}

static void report(rlv_alignment* alignment, const alignment_work* w)
{
    const rlv_fit* fit = &w->contender[0].fit;
    alignment->pose = to_global(&fit->pose, w->before->origin_mm, w->after->origin_mm);
    alignment->rms_mm = fit->rms_mm;
    alignment->stable_fraction = fit->stable_fraction;
    alignment->position_sd_mm = rlv_pose_position_sd_mm(&alignment->pose);
    alignment->rotation_sd_deg = rlv_pose_rotation_sd_deg(&alignment->pose);
    alignment->slippable = fit->slippable;
}

/// Whether the best pose may be believed.
static rlv_status judge(rlv_alignment* alignment, const alignment_work* w, rlv_error* error)
{
    if (w->count == 0 || !(w->contender[0].fit.evidence > least_evidence))
        return rlv_fail(
            error, RLV_IMPOSSIBLE, NULL,
            "check that both meshes are of one block and in their right units; where a block was turned over, "
            "leave marks on the rim that both stages show",
            "no common surface was found between the two meshes");
    const rlv_fit* fit = &w->contender[0].fit;
    const double behind = w->count > 1 ? fit->gain - w->contender[1].fit.gain : INFINITY;
    const double clear = clear_gain[0] + clear_gain[1] * fit->stable_fraction;
    alignment->ambiguous = true;
    if (fit->slippable > 0)
        snprintf(alignment->reason, sizeof alignment->reason,
                 "the surface slides along itself: %d independent motion%s, the weakest a %s %.2f %.2f %.2f",
                 fit->slippable, fit->slippable > 1 ? "s" : "", fit->slip_turns ? "turn about" : "shift along",
                 fit->slip_axis.x, fit->slip_axis.y, fit->slip_axis.z);
    else if (behind < clear)
        snprintf(alignment->reason, sizeof alignment->reason,
                 "another pose, %.0f mm away at the farthest corner, fits about as well: the block is nearly symmetric",
                 rlv_search_apart_mm(&w->after_samples, &fit->pose, &w->contender[1].fit.pose));
    else if (!(fit->far_sd_mm < loose_share * w->after_samples.radius_mm))
    {
        alignment->loose = true;
        snprintf(alignment->reason, sizeof alignment->reason,
                 "the surface hardly holds the pose: at the farthest corner it is uncertain by %.2g mm (sd)",
                 fit->far_sd_mm);
    }
    else
        alignment->ambiguous = false;
    return RLV_DONE;
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
        w.contender[0].fit.pose = to_local(options->start, before->origin_mm, after->origin_mm);
        w.count = 1;
        status = rlv_refine_pose(&w.contender[0].fit, &w.refine, w.after_samples.radius_mm / 20.0, coarse_stride, 20,
                                 true, error);
    }
    else if (status == RLV_DONE)
        status = search_all(&w, before_tree, error);
    if (status == RLV_DONE && w.count > 0)
    {
        status = rlv_refine_finish(&w.contender[0].fit, &w.refine, error);
        report(alignment, &w);
    }
    if (status == RLV_DONE)
        status = judge(alignment, &w, error);
    work_free(&w);
    return status;
}
