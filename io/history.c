#include "history_parts.h"

#include "change_words.h"
#include "history_growth.h"
#include "side_by_side.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct
{
    const char *name, *key;
} classes[RLV_CHANGE_CLASSES] = {
    [RLV_CHANGE_REMOVED] = {"matrix removed", "matrix_removed"},
    [RLV_CHANGE_BONE] = {"bone lost", "bone_lost"},
    [RLV_CHANGE_DETACHED] = {"piece detached", "piece_detached"},
    [RLV_CHANGE_ADDED] = {"material added", "material_added"},
    [RLV_CHANGE_JOINED] = {"piece joined", "piece_joined"},
};

const char* history_class_name(rlv_change_class kind)
{
    return classes[kind].name;
}

const char* history_class_key(rlv_change_class kind)
{
    return classes[kind].key;
}

rlv_pose history_pose(const rlv_history* history, size_t stage)
{
    return history->joined ? history->stages.pose[stage] : rlv_pose_identity();
}

static rlv_status read_stages(rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    const rlv_specimen* specimen = history->specimen;
    history->stage_count = specimen->stage_count;
    history->frame = (size_t)(rlv_specimen_frame(specimen) - specimen->stage);
    if ((history->stage = rlv_reserve(history->stage_count, sizeof *history->stage, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t k = 0; k < history->stage_count; k++)
    {
        const rlv_status status = history_read_stage(history->stage + k, specimen, specimen->stage + k, answer, error);
        if (status != RLV_DONE)
            return status;
    }
    return RLV_DONE;
}

/// Stages of one block are of about one size: the one that is not was read with the wrong scale.
static rlv_status same_scale(const rlv_history* history, rlv_error* error)
{
    for (size_t k = 0; k + 1 < history->stage_count; k++)
    {
        const double a = given_mesh_size_mm(&history->stage[k].given),
                     b = given_mesh_size_mm(&history->stage[k + 1].given);
        if (fmax(a, b) > HISTORY_MOST_RATIO * fmin(a, b))
            return rlv_fail(error, RLV_BAD_INPUT, history->stage[k + 1].path,
                            "look at the units and the scale bars of both",
                            "it is %s mm across and %s is %s mm: not one scale", words_figures(b, 3).text,
                            history->stage[k].record->id, words_figures(a, 3).text);
    }
    return RLV_DONE;
}

static rlv_status index_stage(void* user, size_t k, const rlv_progress* progress, rlv_error* error)
{
    const rlv_history* history = user;
    (void)progress;
    return rlv_tree_build(&history->stage[k].tree, &history->stage[k].given.mesh, error);
}

/// All edges: the steps' own first, then those that join stages two apart.
static rlv_status list_edges(rlv_history* history, rlv_error* error)
{
    const size_t steps = history->stage_count - 1, wide = steps > 0 ? steps - 1 : 0;
    history->step_count = steps;
    history->edge_count = steps + wide;
    if ((history->step = rlv_reserve(steps, sizeof *history->step, error)) == NULL ||
        (history->edge = rlv_reserve(history->edge_count, sizeof *history->edge, error)) == NULL ||
        (history->graph_edge = rlv_reserve(history->edge_count, sizeof *history->graph_edge, error)) == NULL)
        return RLV_SYSTEM;
    const rlv_interval unknown = {(double)NAN, (double)NAN, (double)NAN};
    for (size_t k = 0; k < steps; k++)
        history->step[k] = (history_step){.before = k, .after = k + 1, .crumbled_mm3 = unknown, .gap_mm3 = unknown};
    for (size_t k = 0; k < history->edge_count; k++)
        history->edge[k] = k < steps ? (history_edge){.into = k, .from = k + 1}
                                     : (history_edge){.into = k - steps, .from = k - steps + 2};
    return RLV_DONE;
}

/// What is to be measured, for one of several at a time.
typedef struct edge_jobs
{
    rlv_history* history;
    bool poses_only;
} edge_jobs;

static rlv_status measure_edge(void* user, size_t k, const rlv_progress* progress, rlv_error* error)
{
    const edge_jobs* jobs = user;
    rlv_history* history = jobs->history;
    history_step* step = k < history->step_count ? history->step + k : NULL;
    return step != NULL && !jobs->poses_only
               ? history_measure_step(history, step, history->edge + k, progress, error)
               : history_align_edge(history, step, history->edge + k, progress, error);
}

static void warn_of_step(const rlv_history* history, size_t k, rlv_answer* answer)
{
    const char *before = history->stage[k].record->id, *after = history->stage[k + 1].record->id;
    char name[256];
    rlv_print(name, sizeof name, "%.100s to %.100s", before, after);
    if (history->step[k].measured)
        change_warn(answer, name, &history->step[k].change);
    else
        answer_warn(answer, "from %s to %s nothing could be measured: %s", before, after, history->step[k].why);
}

static rlv_status measure_edges(rlv_history* history, const history_options* options, rlv_answer* answer,
                                rlv_error* error)
{
    edge_jobs jobs = {history, options->poses_only};
    rlv_status status = list_edges(history, error);
    for (size_t k = 0; k < history->step_count && status == RLV_DONE; k++)
        status = history_prepare_step(history, k, answer, error);
    if (status == RLV_DONE)
        status = side_by_side(history->edge_count, measure_edge, &jobs, "align and measure", &answer->progress, error);
    for (size_t k = 0; k < history->step_count && status == RLV_DONE && !options->poses_only; k++)
        warn_of_step(history, k, answer);
    return status;
}

static void warn_of_closure(const rlv_history* history, rlv_answer* answer)
{
    for (size_t e = 0; e < history->stages.edge_count; e++)
    {
        const rlv_edge_closure* closure = history->stages.edge + e;
        const history_edge* edge = history->edge + history->graph_edge[e];
        if (closure->rejected || closure->suspect)
            answer_warn(
                answer, "the alignment of %s to %s %s: it is off by %s mm and %s degrees from what the others say",
                history->stage[edge->from].record->id, history->stage[edge->into].record->id,
                closure->rejected ? "is left out" : "may be wrong, or one of its loop",
                words_figures(closure->closure.shift_mm, 2).text, words_figures(closure->closure.turn_deg, 2).text);
    }
}

/// One alignment in a thousand is warned of that is right.
static const double WRONG_TIES = 0.001;

bool history_ties_contradict(const rlv_history* history, const history_edge* edge, char* words, size_t size)
{
    if (!edge->done || edge->ties.count == 0 || !(edge->ties.p < WRONG_TIES))
        return false;
    rlv_print(
        words, size,
        "the tie points of %.100s and %.100s do not meet: where the surfaces lie on each other the %zu points lie "
        "%s mm apart on the whole, at most %s mm, which is farther than how sure they are allows: look at their "
        "names and places, and at the alignment",
        history->stage[edge->into].record->id, history->stage[edge->from].record->id, edge->ties.count,
        words_figures(edge->ties.rms_mm, 2).text, words_figures(edge->ties.most_mm, 2).text);
    return true;
}

static void warn_of_ties(const rlv_history* history, rlv_answer* answer)
{
    char words[512];
    for (size_t e = 0; e < history->edge_count; e++)
        if (history_ties_contradict(history, history->edge + e, words, sizeof words))
            answer_warn(answer, "%s", words);
}

/// Half of the longest side of all stages.
static double reach_of(const rlv_history* history)
{
    double size = 0.0;
    for (size_t k = 0; k < history->stage_count; k++)
        size = fmax(size, given_mesh_size_mm(&history->stage[k].given));
    return 0.5 * size;
}

/// Warp as long as the block bends the scale that an alignment finds by as much as it shifts its ends, and beyond what
/// the bars know: so bars rule the scale.
///
/// A stage's warp is the same in each of its edges. What least squares makes of it over the whole surface falls out of
/// every loop; only that an edge looks at the share f that held still does not. Least squares over the whole being the
/// surer of the two, it differs from that over a part by a motion whose covariance is the part's less the whole's (J.
/// A. Hausman, Specification tests in econometrics, Econometrica 46, 1978): where warp is short against the block, so
/// that covariances go with 1 / area, 1 - f of the part's; longer warp bends both more alike. In a loop of three stages
/// what the two edges of a stage leave out is the same for a part: where the third edge leaves out what the other two
/// do, the loop is off by half the sum of all three (tests/io/history.c). Noise of the scans is shared in the same way;
/// what settling leaves is not.
rlv_stage_edge history_graph_edge(const history_edge* edge, double reach_mm)
{
    rlv_stage_edge e = {.into = edge->into, .from = edge->from, .pose = edge->alignment.pose};
    const double bent = rlv_pose_position_sd_mm(&e.pose) / reach_mm,
                 own = 0.5 * (1.0 - fmin(fmax(edge->alignment.stable_fraction, 0.0), 1.0));
    if (e.pose.covariance[48] > 0.0)
        e.pose.covariance[48] += bent * bent; // what it held of a prior is drowned: scale_prior_sd stays 0
    for (int i = 0; i < 49; i++)
        e.own_covariance[i] = own * e.pose.covariance[i];
    for (int i = 0; i < 7; i++)
    {
        const double settled = i == 6 && !(e.pose.covariance[48] > 0.0) ? 0.0
                               : i < 3                                  ? HISTORY_SETTLING_MM
                                                                        : HISTORY_SETTLING_MM / reach_mm;
        e.pose.covariance[8 * i] += settled * settled;
        e.own_covariance[8 * i] += settled * settled;
    }
    return e;
}

static rlv_status join_stages(rlv_history* history, rlv_answer* answer, rlv_error* error)
{
    const size_t stages = history->stage_count;
    const double reach_mm = reach_of(history);
    size_t count = 0;
    rlv_stage_edge* edge = rlv_reserve(history->edge_count, sizeof *edge, error);
    double* scale_sd = edge != NULL ? rlv_reserve(stages, sizeof *scale_sd, error) : NULL;
    const char** name = scale_sd != NULL ? rlv_reserve(stages, sizeof *name, error) : NULL;
    rlv_status status = name != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t k = 0; status == RLV_DONE && k < stages; k++)
    {
        scale_sd[k] = history->stage[k].scale_sd;
        name[k] = history->stage[k].record->id;
    }
    for (size_t e = 0; status == RLV_DONE && e < history->edge_count; e++)
    {
        const history_edge* own = history->edge + e;
        if (!own->done)
            continue;
        history->graph_edge[count] = e;
        edge[count++] = history_graph_edge(own, reach_mm);
    }
    if (status == RLV_DONE)
    {
        const rlv_stages_options options = {
            .stage_count = stages, .frame = history->frame, .scale_sd = scale_sd, .name = name, .reach_mm = reach_mm};
        rlv_error own = {0};
        status = rlv_stages_join(&history->stages, count, edge, &options, &own);
        history->joined = status == RLV_DONE;
        if (status == RLV_IMPOSSIBLE)
        {
            snprintf(history->apart, sizeof history->apart, "%s%s%s", own.what, own.mend[0] != '\0' ? "; " : "",
                     own.mend);
            answer_warn(answer, "the stages are not in one frame: %s", history->apart);
            status = RLV_DONE;
        }
        else if (status != RLV_DONE)
            *error = own;
        else
            warn_of_closure(history, answer);
    }
    free(edge);
    free(scale_sd);
    free(name);
    return status;
}

/// Regions lie in their step's frame until now. Where the stages are not joined there is no other.
static void place_regions(rlv_history* history)
{
    const double nowhere = (double)NAN;
    for (size_t k = 0; k < history->step_count; k++)
    {
        const rlv_pose pose = history_pose(history, history->step[k].before);
        for (size_t r = 0; history->step[k].measured && r < history->step[k].change.region_count; r++)
        {
            history_region* region = &history->step[k].region[r];
            rlv_vec3* const at[3] = {&region->centroid_mm, &region->place_mm, &region->deepest_mm};
            for (int i = 0; i < 3; i++)
                *at[i] = history->joined ? rlv_pose_apply(&pose, *at[i]) : rlv_vec3_of(nowhere, nowhere, nowhere);
        }
    }
}

static rlv_status need_something(rlv_history* history, rlv_error* error)
{
    bool any = history->step_count == 0;
    for (size_t e = 0; e < history->edge_count; e++)
        any = any || history->edge[e].done;
    if (any)
        return RLV_DONE;
    rlv_print(history->apart, sizeof history->apart, "no two of them could be aligned: %.1000s", history->edge[0].why);
    return rlv_fail(error, RLV_IMPOSSIBLE, history->specimen->folder,
                    "put marks on the rim that stay through the stages, or tie points in points.csv",
                    "no two of its stages could be aligned: %s", history->edge[0].why);
}

rlv_status history_measure(rlv_history* history, const rlv_specimen* specimen, const history_options* options,
                           rlv_answer* answer, rlv_error* error)
{
    history->specimen = specimen;
    rlv_status status = read_stages(history, answer, error);
    if (status == RLV_DONE)
        status = same_scale(history, error);
    if (status == RLV_DONE && (!options->poses_only || options->pieces))
        status = history_pieces_read(&history->pieces, specimen, answer, error);
    if (status == RLV_DONE)
        status = side_by_side(history->stage_count, index_stage, history, "index", &answer->progress, error);
    if (status == RLV_DONE)
        status = measure_edges(history, options, answer, error);
    if (status == RLV_DONE)
    {
        history_record_parameters(answer->parameters, history);
        status = need_something(history, error);
    }
    if (status == RLV_DONE)
        warn_of_ties(history, answer);
    if (status == RLV_DONE)
        status = join_stages(history, answer, error);
    if (status == RLV_DONE)
    {
        history->grid = history_grid_of(history);
        history->standing = history_standing_of(history);
    }
    if (status != RLV_DONE || options->poses_only)
        return status;
    place_regions(history);
    history_part_joints(history, answer);
    history_warn_of_growth(history, answer);
    return history_add_up(history, error);
}

void history_free(rlv_history* history)
{
    for (size_t k = 0; history->stage != NULL && k < history->stage_count; k++)
        history_free_stage(history->stage + k);
    for (size_t k = 0; history->step != NULL && k < history->step_count; k++)
        history_free_step(history->step + k);
    history_pieces_free(&history->pieces);
    rlv_stages_free(&history->stages);
    free(history->stage);
    free(history->step);
    free(history->edge);
    free(history->graph_edge);
    free(history->row);
    free(history->cumulative);
    free(history->tool);
    free(history->rate);
    *history = (rlv_history){0};
}
