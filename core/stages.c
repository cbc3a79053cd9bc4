#include "stages.h"

#include "stages_graph.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_eigen.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// A covariance whose least variance (in mm) is this share of its greatest is not positive definite but for rounding.
static const double LEAST_SHARE = 1e-12;

/// A scale's information beyond its prior is rounding below this share.
static const double LEAST_SCALE = 1e-6;

// What is given

/// The stage's name, or its place.
static void name_stage(char name[64], const rlv_stages_options* options, size_t stage)
{
    if (options->name != NULL && options->name[stage] != NULL)
        snprintf(name, 64, "%s", options->name[stage]);
    else
        snprintf(name, 64, "%zu", stage + 1);
}

static bool pose_is_finite(const rlv_pose* pose)
{
    double sum = pose->translation_mm.x + pose->translation_mm.y + pose->translation_mm.z + pose->centre_mm.x +
                 pose->centre_mm.y + pose->centre_mm.z + pose->scale;
    for (int i = 0; i < 9; i++)
        sum += pose->rotation.m[i];
    for (int i = 0; i < 49; i++)
        sum += pose->covariance[i];
    return isfinite(sum) && pose->scale > 0.0;
}

/// Invert the leading `size` rows and columns of a 7 x 7 covariance; false where it is not positive definite.
static bool invert_covariance(double information[49], const double covariance[49], size_t size, double reach_mm)
{
    double value[7], spoiled[49];
    memset(information, 0, 49 * sizeof *information);
    for (size_t i = 0; i < size; i++)
        for (size_t j = 0; j < size; j++)
            information[7 * i + j] = 0.5 * (covariance[7 * i + j] + covariance[7 * j + i]) * (i > 2 ? reach_mm : 1.0) *
                                     (j > 2 ? reach_mm : 1.0);
    memcpy(spoiled, information, sizeof spoiled);
    gsl_matrix_view c = gsl_matrix_view_array_with_tda(information, size, size, 7),
                    s = gsl_matrix_view_array_with_tda(spoiled, size, size, 7);
    gsl_vector_view values = gsl_vector_view_array(value, size);
    gsl_eigen_symm_workspace* workspace = gsl_eigen_symm_alloc(size);
    if (workspace == NULL)
        return false;
    gsl_eigen_symm(&s.matrix, &values.vector, workspace);
    gsl_eigen_symm_free(workspace);
    if (!(gsl_vector_min(&values.vector) > LEAST_SHARE * gsl_vector_max(&values.vector)))
        return false;
    gsl_linalg_cholesky_decomp1(&c.matrix);
    gsl_linalg_cholesky_invert(&c.matrix);
    return true;
}

/// Make an edge ready to be counted. `both_exact`: neither of its stages' scales is uncertain.
static rlv_status prepare_edge(rlv_graph_edge* own, const rlv_stage_edge* given, size_t place, double reach_mm,
                               bool both_exact, rlv_error* error)
{
    const double* c = given->pose.covariance;
    const double log_scale = log(given->pose.scale);
    const bool certain = !(c[48] > 0.0);
    *own = (rlv_graph_edge){.into = given->into, .from = given->from, .pose = given->pose, .freedom = certain ? 6 : 7};
    if (certain && !both_exact)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "align it again with the scales' sd, or say that they are exact",
                        "edge %zu takes scale as certain, but its stages' scales are not", place);
    if (certain && fabs(log_scale) > 1e-9)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the scales' sd, or align it without scale",
                        "edge %zu has a scale of %.9g that is said to be certain", place, given->pose.scale);
    if (!invert_covariance(own->information, c, certain ? 6 : 7, reach_mm))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the covariance that the alignment found",
                        "the covariance of edge %zu is not positive definite", place);
    const double r2 = reach_mm * reach_mm;
    own->cost_mm2 = c[0] + c[8] + c[16] + 0.4 * r2 * (c[24] + c[32] + c[40]) + 0.6 * r2 * c[48];
    if (certain || given->scale_prior_sd == 0.0)
        return RLV_DONE;
    // What the prior says cannot be more than what is known in all.
    const double variance = given->scale_prior_sd * given->scale_prior_sd, share = c[48] / fmax(variance, c[48]);
    own->prior_per_mm2 = 1.0 / (fmax(variance, c[48]) * r2);
    if (1.0 - share < LEAST_SCALE)
        own->freedom = 6;
    else
        own->constant = own->prior_per_mm2 * r2 * log_scale * log_scale / (1.0 - share);
    return RLV_DONE;
}

static rlv_status check_options(const rlv_stages_options* o, rlv_error* error)
{
    if (o->stage_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give one stage at least", "there is no stage");
    if (o->frame >= o->stage_count)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "name one of the stages", "the frame stage is not one of them");
    if (!(isfinite(o->reach_mm) && o->reach_mm > 0.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give half the block's length", "a reach of %g mm is none",
                        o->reach_mm);
    for (size_t k = 0; o->scale_sd != NULL && k < o->stage_count; k++)
        if (!(isfinite(o->scale_sd[k]) && o->scale_sd[k] >= 0.0))
        {
            char name[64];
            name_stage(name, o, k);
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "give 0 where it is exact", "stage %s has a scale sd of %g",
                            name, o->scale_sd[k]);
        }
    return RLV_DONE;
}

static double scale_sd_of(const rlv_stages_options* options, size_t stage)
{
    return options->scale_sd != NULL ? options->scale_sd[stage] : 0.0;
}

/// Whether only a part of an edge's covariance is its own.
static bool shares(const rlv_stage_edge* edge)
{
    return edge->own_covariance[0] > 0.0;
}

/// The edge as its closure is held against it: without what its stages share with their other edges.
static rlv_stage_edge alone(const rlv_stage_edge* edge)
{
    rlv_stage_edge own = *edge;
    if (!shares(edge))
        return own;
    memcpy(own.pose.covariance, edge->own_covariance, sizeof own.pose.covariance);
    own.scale_prior_sd = 0.0;
    return own;
}

/// The edge with its own errors' variance `ratio` times as large.
static rlv_stage_edge inflated(const rlv_stage_edge* edge, double ratio)
{
    rlv_stage_edge whole = *edge;
    const double* own = shares(edge) ? edge->own_covariance : edge->pose.covariance;
    for (int i = 0; i < 49; i++)
        whole.pose.covariance[i] += (ratio - 1.0) * own[i];
    return whole;
}

/// How far off the scale is at which all of a stage's edges see it: its bars', and half of what an edge shares with
/// others.
static double seen_scale_sd(const rlv_stages_options* options, size_t stage, size_t edge_count,
                            const rlv_stage_edge* edge)
{
    double shared = 0.0;
    for (size_t e = 0; e < edge_count; e++)
        if (shares(edge + e) && (edge[e].into == stage || edge[e].from == stage))
            shared = fmax(shared, 0.5 * (edge[e].pose.covariance[48] - edge[e].own_covariance[48]));
    return hypot(scale_sd_of(options, stage), sqrt(shared));
}

/// Make a graph of edges: as their closures are held against them (`ratio` 0), or whole, their own variances inflated.
static rlv_status prepare_graph(rlv_graph* graph, size_t edge_count, const rlv_stage_edge* edge, double ratio,
                                const rlv_stages_options* options, rlv_error* error)
{
    rlv_status status = rlv_graph_make(graph, options->stage_count, edge_count, error);
    if (status != RLV_DONE)
        return status;
    graph->reach_mm = options->reach_mm;
    for (size_t k = 0; k < options->stage_count; k++)
        graph->scale_sd[k] = ratio > 0.0 ? scale_sd_of(options, k) : seen_scale_sd(options, k, edge_count, edge);
    for (size_t e = 0; status == RLV_DONE && e < edge_count; e++)
    {
        const rlv_stage_edge counted = ratio > 0.0 ? inflated(edge + e, ratio) : alone(edge + e), *own = &counted;
        if (own->into >= options->stage_count || own->from >= options->stage_count || own->into == own->from)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "name two of the stages", "edge %zu does not join two stages",
                            e + 1);
        if (!pose_is_finite(&own->pose) || !(isfinite(own->scale_prior_sd) && own->scale_prior_sd >= 0.0))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the pose that the alignment found",
                            "edge %zu holds a number that is not one", e + 1);
        status = prepare_edge(graph->edge + e, own, e + 1, options->reach_mm,
                              graph->scale_sd[own->into] == 0.0 && graph->scale_sd[own->from] == 0.0, error);
    }
    return status;
}

/// Refuse a graph that does not hang together, by the names of the stages left over.
static rlv_status check_reach(rlv_graph* graph, const bool* active, const rlv_stages_options* options, rlv_error* error)
{
    rlv_graph_grow(graph, active, options->frame);
    if (graph->reached == graph->stage_count)
        return RLV_DONE;
    char list[400] = "", name[64];
    size_t length = 0;
    for (size_t k = 0; k < graph->stage_count; k++)
        if (!isfinite(graph->cost_mm2[k]) && length + 70 < sizeof list)
        {
            name_stage(name, options, k);
            length += (size_t)snprintf(list + length, sizeof list - length, "%s%s", length > 0 ? ", " : "", name);
        }
    name_stage(name, options, options->frame);
    return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "align one of them with a stage that is joined",
                    "no alignment leads from stage %s to: %s", name, list);
}

// Wrong edges

/// The work of joining.
typedef struct join
{
    rlv_graph graph; ///< of what edges have to themselves: closures are held against it
    rlv_graph whole; ///< of all that they are unsure of: poses and covariances come from it
    size_t frame;
    bool* active;  ///< one an edge: not rejected
    bool* trial;   ///< room for as many
    double* drop;  ///< one an edge: what the misfit falls by without it; NaN where it is the only way
    double misfit; ///< of the active edges
} join;

/// The misfit of `active` with one edge more or less; NaN where the stages then fall apart.
static double misfit_with(join* j, size_t edge, bool in)
{
    memcpy(j->trial, j->active, j->graph.edge_count * sizeof *j->trial);
    j->trial[edge] = in;
    const double misfit = rlv_graph_solve(&j->graph, j->trial, j->frame);
    return j->graph.reached == j->graph.stage_count ? misfit : NAN;
}

static double p_of(double distance, double freedom)
{
    return freedom > 0.0 ? gsl_cdf_chisq_Q(fmax(distance, 0.0), freedom) : NAN;
}

/// What each active edge adds to the misfit; the number of those that can be left out.
static size_t find_drops(join* j)
{
    size_t tried = 0;
    j->misfit = rlv_graph_solve(&j->graph, j->active, j->frame);
    for (size_t e = 0; e < j->graph.edge_count; e++)
    {
        if (!j->active[e])
            continue;
        j->drop[e] = j->misfit - misfit_with(j, e, false);
        tried += (size_t)!isnan(j->drop[e]);
    }
    return tried;
}

/// The active edge of the greatest drop, RLV_GRAPH_NONE where none can be left out.
static size_t greatest_drop(const join* j)
{
    size_t worst = RLV_GRAPH_NONE;
    for (size_t e = 0; e < j->graph.edge_count; e++)
        if (j->active[e] && !isnan(j->drop[e]) && (worst == RLV_GRAPH_NONE || j->drop[e] > j->drop[worst]))
            worst = e;
    return worst;
}

/// Reject edges as long as the worst is wrong and stands alone. Marks suspects where it does not.
static void reject_wrong(join* j, rlv_stages* stages)
{
    for (;;)
    {
        const size_t tried = find_drops(j), worst = greatest_drop(j);
        if (worst == RLV_GRAPH_NONE ||
            !(p_of(j->drop[worst], j->graph.edge[worst].freedom) < RLV_STAGES_WRONG_P / (double)tried))
            return;
        size_t alike = 0;
        for (size_t e = 0; e < j->graph.edge_count; e++)
            alike += (size_t)(j->active[e] && j->drop[e] > j->drop[worst] - RLV_STAGES_MARGIN);
        if (alike == 1)
        {
            j->active[worst] = false;
            continue;
        }
        for (size_t e = 0; e < j->graph.edge_count; e++)
            stages->edge[e].suspect = j->active[e] && j->drop[e] > j->drop[worst] - RLV_STAGES_MARGIN;
        stages->contradictory = true;
        return;
    }
}

/// Take back rejected edges that fit the final graph, and tell the others' distance from it.
static void take_back(join* j)
{
    bool changed = false;
    for (size_t e = 0; e < j->graph.edge_count; e++)
    {
        if (j->active[e])
            continue;
        j->drop[e] = misfit_with(j, e, true) - j->misfit;
        if (!(p_of(j->drop[e], j->graph.edge[e].freedom) >= RLV_STAGES_MISFIT_P))
            continue;
        j->active[e] = changed = true;
        j->misfit += j->drop[e];
    }
    if (changed)
        find_drops(j);
    for (size_t e = 0; changed && e < j->graph.edge_count; e++)
        if (!j->active[e])
            j->drop[e] = misfit_with(j, e, true) - j->misfit;
}

// What is told

static rlv_closure closure_of(const double residual[7], double distance, int freedom)
{
    rlv_closure c = {
        .log_scale = residual[6], .distance = isnan(distance) ? NAN : fmax(distance, 0.0), .freedom = freedom};
    c.shift_mm = rlv_vec3_length(rlv_vec3_of(residual[0], residual[1], residual[2]));
    c.turn_deg = rlv_vec3_length(rlv_vec3_of(residual[3], residual[4], residual[5])) * 180.0 / M_PI;
    c.p = isnan(distance) ? NAN : p_of(distance, freedom);
    return c;
}

/// The tree of surest chains over the accepted edges, kept while other graphs are solved.
typedef struct chains
{
    size_t* via;   ///< one a stage: its edge towards the frame
    size_t* depth; ///< one a stage: edges to the frame
    size_t* way;   ///< room for the stages along a loop: 2 * stage_count + 2
} chains;

static void free_chains(chains* c)
{
    free(c->via);
    free(c->depth);
    free(c->way);
}

static rlv_status keep_chains(chains* c, const rlv_graph* g, rlv_error* error)
{
    if ((c->via = rlv_reserve(g->stage_count, sizeof *c->via, error)) == NULL ||
        (c->depth = rlv_reserve(g->stage_count, sizeof *c->depth, error)) == NULL ||
        (c->way = rlv_reserve(2 * g->stage_count + 2, sizeof *c->way, error)) == NULL)
        return RLV_SYSTEM;
    memcpy(c->via, g->via, g->stage_count * sizeof *c->via);
    for (size_t n = 1; n < g->reached; n++)
        c->depth[g->order[n]] = 1 + c->depth[rlv_graph_across(g->edge + g->via[g->order[n]], g->order[n])];
    return RLV_DONE;
}

/// List the stages from `from` to `into` along the tree in `c->way`. Returns how many.
static size_t walk_tree(const rlv_graph* g, chains* c, size_t from, size_t into)
{
    // Up from both ends to where they meet; the second half is laid at the end of the room, in order.
    size_t *front = c->way, *back = c->way + 2 * g->stage_count + 2;
    size_t* const end = back;
    *front++ = from;
    *--back = into;
    while (from != into)
    {
        const bool from_side = c->depth[from] >= c->depth[into];
        size_t* lower = from_side ? &from : &into;
        *lower = rlv_graph_across(g->edge + c->via[*lower], *lower);
        if (from != into && from_side)
            *front++ = from;
        else if (from != into)
            *--back = into;
    }
    const size_t rest = (size_t)(end - back);
    memmove(front, back, rest * sizeof *back);
    return (size_t)(front - c->way) + rest;
}

/// The edge of the tree between two neighbouring stages.
static size_t edge_between(const rlv_graph* g, const chains* c, size_t a, size_t b)
{
    return c->depth[a] > c->depth[b] && rlv_graph_across(g->edge + c->via[a], a) == b ? c->via[a] : c->via[b];
}

/// How far the edge is from the way back: its pose after the inverse of what the edges along the way make together.
static void loop_residual(double residual[7], const rlv_graph* g, const chains* c, size_t edge, size_t stages)
{
    rlv_pose whole = rlv_pose_identity();
    for (size_t n = 1; n < stages; n++)
    {
        const rlv_graph_edge* e = g->edge + edge_between(g, c, c->way[n - 1], c->way[n]);
        const rlv_pose back = rlv_pose_inverse(&e->pose);
        whole = rlv_pose_compose(e->from == c->way[n - 1] ? &e->pose : &back, &whole);
    }
    const rlv_pose undo = rlv_pose_inverse(&whole), off = rlv_pose_compose(&g->edge[edge].pose, &undo);
    const rlv_vec3 centre = g->edge[edge].pose.centre_mm, turn = rlv_rotation_to_vector(off.rotation),
                   shift = rlv_vec3_sub(rlv_pose_apply(&off, centre), centre);
    const double seven[7] = {shift.x, shift.y, shift.z, turn.x, turn.y, turn.z, log(off.scale)};
    memcpy(residual, seven, sizeof seven);
}

/// One loop: its way, its closure, and how much less the way alone misfits than the whole loop.
static void tell_loop(rlv_loop_closure* loop, join* j, chains* c, size_t edge, size_t* stage)
{
    rlv_graph* g = &j->graph;
    const size_t into = g->edge[edge].into;
    double residual[7];
    loop->edge = edge;
    loop->stage_count = walk_tree(g, c, g->edge[edge].from, into);
    loop->stage = stage;
    memcpy(stage, c->way, loop->stage_count * sizeof *stage);
    loop_residual(residual, g, c, edge, loop->stage_count);
    memset(j->trial, 0, g->edge_count * sizeof *j->trial);
    for (size_t n = 1; n < loop->stage_count; n++)
        j->trial[edge_between(g, c, c->way[n - 1], c->way[n])] = true;
    const double way = rlv_graph_solve(g, j->trial, into);
    j->trial[edge] = true;
    loop->closure = closure_of(residual, rlv_graph_solve(g, j->trial, into) - way, g->edge[edge].freedom);
}

static rlv_status tell_loops(rlv_stages* stages, join* j, chains* c, rlv_error* error)
{
    const size_t n = stages->stage_count;
    if ((stages->loop = rlv_reserve(stages->loop_count, sizeof *stages->loop, error)) == NULL ||
        (stages->loop_stage = rlv_reserve(stages->loop_count * n, sizeof *stages->loop_stage, error)) == NULL)
        return RLV_SYSTEM;
    size_t told = 0;
    for (size_t e = 0; e < stages->edge_count; e++)
    {
        const rlv_graph_edge* own = j->graph.edge + e;
        if (c->via[own->into] == e || c->via[own->from] == e)
            continue;
        tell_loop(stages->loop + told, j, c, e, stages->loop_stage + told * n);
        told++;
    }
    return RLV_DONE;
}

/// What each edge is off, of the closures' graph as it stands.
static void tell_edges(rlv_stages* stages, const join* j)
{
    for (size_t e = 0; e < stages->edge_count; e++)
    {
        double residual[7];
        rlv_graph_residual(residual, &j->graph, e);
        stages->edge[e].closure = closure_of(residual, j->drop[e], j->graph.edge[e].freedom);
        stages->edge[e].rejected = !j->active[e];
        stages->rejected += (size_t)!j->active[e];
    }
}

/// The solution as it stands in the whole graph: poses and covariances.
static rlv_status tell_poses(rlv_stages* stages, const join* j, const chains* c, bool nothing_shared, rlv_error* error)
{
    const rlv_graph* g = &j->whole;
    double* covariance = rlv_reserve(49 * stages->stage_count, sizeof *covariance, error);
    rlv_status status =
        covariance != NULL ? rlv_graph_covariances(covariance, g, j->active, nothing_shared, error) : RLV_SYSTEM;
    for (size_t k = 0; status == RLV_DONE && k < stages->stage_count; k++)
    {
        stages->pose[k] = g->pose[k];
        stages->pose[k].centre_mm = g->centre_mm;
        stages->chain[k] = c->depth[k];
        for (int i = 0; i < 49; i++)
            stages->pose[k].covariance[i] = k == j->frame ? 0.0 : covariance[49 * k + (size_t)i];
    }
    free(covariance);
    return status;
}

/// What the misfit is held against.
static void weigh_misfit(rlv_stages* stages, const join* j)
{
    stages->chi_square = fmax(j->misfit, 0.0);
    stages->freedom = -6.0 * (double)(stages->stage_count - 1);
    for (size_t e = 0; e < stages->edge_count; e++)
        stages->freedom += j->active[e] ? j->graph.edge[e].freedom : 0.0;
    stages->p = p_of(stages->chi_square, stages->freedom);
    stages->inflated = stages->p < RLV_STAGES_MISFIT_P && stages->chi_square > stages->freedom;
}

static rlv_status make_join(join* j, rlv_stages* stages, size_t edge_count, size_t stage_count, rlv_error* error)
{
    if ((j->active = rlv_reserve(edge_count, sizeof *j->active, error)) == NULL ||
        (j->trial = rlv_reserve(edge_count, sizeof *j->trial, error)) == NULL ||
        (j->drop = rlv_reserve(edge_count, sizeof *j->drop, error)) == NULL ||
        (stages->pose = rlv_reserve(stage_count, sizeof *stages->pose, error)) == NULL ||
        (stages->chain = rlv_reserve(stage_count, sizeof *stages->chain, error)) == NULL ||
        (stages->edge = rlv_reserve(edge_count, sizeof *stages->edge, error)) == NULL)
        return RLV_SYSTEM;
    stages->stage_count = stage_count;
    stages->edge_count = edge_count;
    memset(j->active, 1, edge_count * sizeof *j->active);
    return RLV_DONE;
}

rlv_status rlv_stages_join(rlv_stages* stages, size_t edge_count, const rlv_stage_edge* edge,
                           const rlv_stages_options* options, rlv_error* error)
{
    join j = {.frame = options->frame};
    chains c = {0};
    *stages = (rlv_stages){0};
    rlv_status status = check_options(options, error);
    if (status == RLV_DONE)
        status = prepare_graph(&j.graph, edge_count, edge, 0.0, options, error);
    if (status == RLV_DONE)
        status = make_join(&j, stages, edge_count, options->stage_count, error);
    if (status == RLV_DONE)
        status = check_reach(&j.graph, j.active, options, error);
    if (status == RLV_DONE)
    {
        reject_wrong(&j, stages);
        take_back(&j);
        stages->loop_count = edge_count + 1 - options->stage_count;
        j.misfit = rlv_graph_solve(&j.graph, j.active, j.frame);
        weigh_misfit(stages, &j);
        tell_edges(stages, &j);
        const double ratio = stages->inflated ? stages->chi_square / stages->freedom : 1.0;
        status = prepare_graph(&j.whole, edge_count, edge, ratio, options, error);
    }
    if (status == RLV_DONE)
    {
        rlv_graph_solve(&j.whole, j.active, j.frame);
        status = keep_chains(&c, &j.whole, error);
    }
    if (status == RLV_DONE)
        status = tell_poses(stages, &j, &c, options->nothing_shared, error);
    if (status == RLV_DONE)
        status = tell_loops(stages, &j, &c, error);
    free_chains(&c);
    rlv_graph_free(&j.graph);
    rlv_graph_free(&j.whole);
    free(j.active);
    free(j.trial);
    free(j.drop);
    return status;
}

void rlv_stages_free(rlv_stages* stages)
{
    free(stages->pose);
    free(stages->chain);
    free(stages->edge);
    free(stages->loop);
    free(stages->loop_stage);
    *stages = (rlv_stages){0};
}
