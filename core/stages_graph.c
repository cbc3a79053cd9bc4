#include "stages_graph.h"

#include <float.h>
#include <gsl/gsl_blas.h>
#include <gsl/gsl_eigen.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    MOST_STEPS = 100,
    MOST_HALVINGS = 40,
};

rlv_status rlv_graph_make(rlv_graph* graph, size_t stage_count, size_t edge_count, rlv_error* error)
{
    const size_t most = 7 * stage_count;
    graph->stage_count = stage_count;
    graph->edge_count = edge_count;
    if ((graph->edge = rlv_reserve(edge_count, sizeof *graph->edge, error)) == NULL ||
        (graph->scale_sd = rlv_reserve(stage_count, sizeof *graph->scale_sd, error)) == NULL ||
        (graph->pose = rlv_reserve(2 * stage_count, sizeof *graph->pose, error)) == NULL ||
        (graph->own_scale = rlv_reserve(2 * stage_count, sizeof *graph->own_scale, error)) == NULL ||
        (graph->via = rlv_reserve(stage_count, sizeof *graph->via, error)) == NULL ||
        (graph->cost_mm2 = rlv_reserve(stage_count, sizeof *graph->cost_mm2, error)) == NULL ||
        (graph->order = rlv_reserve(stage_count, sizeof *graph->order, error)) == NULL ||
        (graph->shift = rlv_reserve(stage_count, sizeof *graph->shift, error)) == NULL ||
        (graph->scale = rlv_reserve(stage_count, sizeof *graph->scale, error)) == NULL ||
        (graph->room = rlv_reserve(most * (most + 1), sizeof *graph->room, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

void rlv_graph_free(rlv_graph* graph)
{
    free(graph->edge);
    free(graph->scale_sd);
    free(graph->pose);
    free(graph->own_scale);
    free(graph->via);
    free(graph->cost_mm2);
    free(graph->order);
    free(graph->shift);
    free(graph->scale);
    free(graph->room);
    *graph = (rlv_graph){0};
}

size_t rlv_graph_across(const rlv_graph_edge* edge, size_t stage)
{
    return edge->into == stage ? edge->from : edge->into;
}

// The tree

/// Lay the pose of a stage that the tree has just reached. Scales start at their priors' mean.
static void place_stage(rlv_graph* g, size_t stage)
{
    const rlv_graph_edge* e = g->edge + g->via[stage];
    const size_t before = rlv_graph_across(e, stage);
    rlv_pose step = e->from == stage ? e->pose : rlv_pose_inverse(&e->pose);
    // The centre of the edge keeps its place where the scale is taken out.
    const rlv_vec3 centre = e->from == stage ? e->pose.centre_mm : rlv_pose_apply(&step, e->pose.centre_mm);
    rlv_pose whole = rlv_pose_nudge(&step, centre, (double[7]){0, 0, 0, 0, 0, 0, -log(step.scale)});
    whole.scale = 1.0;
    g->pose[stage] = rlv_pose_compose(g->pose + before, &whole);
}

/// Reach the cheapest stage that is not yet reached.
static bool reach_next(rlv_graph* g, const bool* active)
{
    size_t best = RLV_GRAPH_NONE, over = RLV_GRAPH_NONE;
    double least = INFINITY;
    for (size_t e = 0; e < g->edge_count; e++)
    {
        const size_t a = g->edge[e].into, b = g->edge[e].from;
        if (!active[e] || isfinite(g->cost_mm2[a]) == isfinite(g->cost_mm2[b]))
            continue;
        const size_t in = isfinite(g->cost_mm2[a]) ? a : b;
        if (g->cost_mm2[in] + g->edge[e].cost_mm2 < least)
        {
            least = g->cost_mm2[in] + g->edge[e].cost_mm2;
            best = in == a ? b : a;
            over = e;
        }
    }
    if (best == RLV_GRAPH_NONE)
        return false;
    g->cost_mm2[best] = least;
    g->via[best] = over;
    g->order[g->reached++] = best;
    place_stage(g, best);
    return true;
}

/// Which column is whose.
static void number_columns(rlv_graph* g)
{
    g->columns = 0;
    for (size_t n = 0; n < g->reached; n++)
    {
        const size_t k = g->order[n];
        g->shift[k] = RLV_GRAPH_NONE;
        if (k != g->root)
        {
            g->shift[k] = g->columns;
            g->columns += 6;
        }
        g->scale[k] = g->scale_sd[k] > 0.0 ? g->columns++ : RLV_GRAPH_NONE;
    }
}

/// Whether an edge counts: it is active, and its stages are reached.
static bool counts(const rlv_graph* g, const bool* active, size_t edge)
{
    return active[edge] && isfinite(g->cost_mm2[g->edge[edge].into]);
}

/// The centre: the mean of the images of the counting edges' centres.
static void place_centre(rlv_graph* g, const bool* active)
{
    rlv_vec3 sum = {0, 0, 0};
    size_t count = 0;
    for (size_t e = 0; e < g->edge_count; e++)
        if (counts(g, active, e))
        {
            sum = rlv_vec3_add(sum, rlv_pose_apply(g->pose + g->edge[e].into, g->edge[e].pose.centre_mm));
            count++;
        }
    g->centre_mm = rlv_vec3_scale(sum, count > 0 ? 1.0 / (double)count : 0.0);
}

void rlv_graph_grow(rlv_graph* graph, const bool* active, size_t root)
{
    graph->root = root;
    for (size_t k = 0; k < graph->stage_count; k++)
    {
        graph->via[k] = graph->shift[k] = graph->scale[k] = RLV_GRAPH_NONE;
        graph->cost_mm2[k] = INFINITY;
        graph->pose[k] = rlv_pose_identity();
        graph->own_scale[k] = 0.0;
    }
    graph->cost_mm2[root] = 0.0;
    graph->order[0] = root;
    graph->reached = 1;
    while (reach_next(graph, active))
        ;
    number_columns(graph);
    place_centre(graph, active);
}

// One edge

void rlv_graph_residual(double residual[7], const rlv_graph* graph, size_t edge)
{
    const rlv_graph_edge* e = graph->edge + edge;
    const rlv_pose home = rlv_pose_inverse(graph->pose + e->into);
    const rlv_pose says = rlv_pose_compose(&home, graph->pose + e->from), back = rlv_pose_inverse(&says);
    const rlv_pose off = rlv_pose_compose(&e->pose, &back);
    const rlv_vec3 centre = e->pose.centre_mm, shift = rlv_vec3_sub(rlv_pose_apply(&off, centre), centre),
                   turn = rlv_rotation_to_vector(off.rotation);
    const double seven[7] = {shift.x, shift.y, shift.z, turn.x, turn.y, turn.z, log(off.scale)};
    memcpy(residual, seven, sizeof seven);
}

/// Put a 3 x 3 matrix, times `factor`, into a 7 x 7 one.
static void put_block(double seven[49], int row, int column, rlv_mat3 block, double factor)
{
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            seven[7 * (row + i) + column + j] = factor * block.m[3 * i + j];
}

static rlv_mat3 cross_matrix(rlv_vec3 v)
{
    return (rlv_mat3){{0, -v.z, v.y, v.z, 0, -v.x, -v.y, v.x, 0}};
}

/// Inverse of the right Jacobian of the rotation vector: log(exp([w]x) exp([d]x)) = w + J d to first order in d.
static rlv_mat3 turn_jacobian(rlv_vec3 w)
{
    const double angle = rlv_vec3_length(w), half = 0.5 * angle;
    // (1 - half cot(half)) / angle^2; below 1e-3 the next term of the series, angle^4 / 30240, is under rounding.
    const double share =
        angle > 1e-3 ? (1.0 - half * cos(half) / sin(half)) / (angle * angle) : 1.0 / 12.0 + angle * angle / 720.0;
    const rlv_mat3 cross = cross_matrix(w), square = rlv_mat3_multiply(cross, cross);
    rlv_mat3 jacobian = rlv_mat3_identity();
    for (int i = 0; i < 9; i++)
        jacobian.m[i] += 0.5 * cross.m[i] + share * square.m[i];
    return jacobian;
}

/// How the residual (in the seven numbers) falls with the difference of the two stages' perturbations, `from` less
/// `into`. Perturbed by the motion M about the common centre, the graph says M' Q, M' being M seen in `into`'s frame,
/// and the residual motion D = P Q^-1 becomes D M'^-1.
static void edge_jacobian(double jacobian[49], const rlv_graph* g, size_t edge, const double residual[7])
{
    const rlv_graph_edge* e = g->edge + edge;
    const rlv_pose* into = g->pose + e->into;
    const rlv_vec3 arm = rlv_vec3_sub(rlv_pose_apply(into, e->pose.centre_mm), g->centre_mm),
                   turn = rlv_vec3_of(residual[3], residual[4], residual[5]);
    const rlv_mat3 home = rlv_mat3_transpose(into->rotation), left = rlv_rotation_from_vector(turn);
    const rlv_mat3 shift = rlv_mat3_multiply(left, home);
    const double size = exp(residual[6]) / into->scale, per_reach = size / g->reach_mm;
    const rlv_vec3 spread = rlv_mat3_apply(shift, arm);
    memset(jacobian, 0, 49 * sizeof *jacobian);
    put_block(jacobian, 0, 0, shift, size);
    put_block(jacobian, 0, 3, rlv_mat3_multiply(shift, cross_matrix(arm)), -per_reach);
    jacobian[6] = per_reach * spread.x;
    jacobian[13] = per_reach * spread.y;
    jacobian[20] = per_reach * spread.z;
    put_block(jacobian, 3, 3, rlv_mat3_multiply(turn_jacobian(turn), home), 1.0);
    jacobian[48] = 1.0;
}

/// a' b of two 7 x 7 matrices.
static void multiply_seven(double product[49], const double a[49], bool transpose_a, const double b[49])
{
    gsl_matrix_const_view left = gsl_matrix_const_view_array(a, 7, 7), right = gsl_matrix_const_view_array(b, 7, 7);
    gsl_matrix_view into = gsl_matrix_view_array(product, 7, 7);
    gsl_blas_dgemm(transpose_a ? CblasTrans : CblasNoTrans, CblasNoTrans, 1.0, &left.matrix, &right.matrix, 0.0,
                   &into.matrix);
}

static void scale_residual(double residual[7], double reach_mm)
{
    for (int i = 3; i < 7; i++)
        residual[i] *= reach_mm;
}

/// Information of an edge on the difference of its stages' perturbations, without its scale's prior; `pull` (may be
/// NULL) gets what it pulls that difference with.
static void edge_information(double information[49], double pull[7], const rlv_graph* g, size_t edge)
{
    const rlv_graph_edge* e = g->edge + edge;
    double residual[7], jacobian[49], weighed[49];
    rlv_graph_residual(residual, g, edge);
    edge_jacobian(jacobian, g, edge, residual);
    multiply_seven(weighed, e->information, false, jacobian);
    multiply_seven(information, jacobian, true, weighed);
    information[48] -= e->prior_per_mm2;
    if (pull == NULL)
        return;
    scale_residual(residual, g->reach_mm);
    for (int j = 0; j < 7; j++)
    {
        pull[j] = 0.0;
        for (int i = 0; i < 7; i++)
            pull[j] += weighed[7 * i + j] * residual[i];
    }
    pull[6] += e->prior_per_mm2 * g->reach_mm * (g->own_scale[e->from] - g->own_scale[e->into]);
}

/// The column of parameter `i` (0 to 6) of a stage.
static size_t column_of(const rlv_graph* g, size_t stage, int i)
{
    if (i == 6)
        return g->scale[stage];
    return g->shift[stage] != RLV_GRAPH_NONE ? g->shift[stage] + (size_t)i : RLV_GRAPH_NONE;
}

/// Add a 7 x 7 block times `sign` to the rows of one stage and the columns of another.
static void add_block(gsl_matrix* h, const rlv_graph* g, size_t a, size_t b, double sign, const double block[49])
{
    for (int i = 0; i < 7; i++)
        for (int j = 0; j < 7; j++)
        {
            const size_t row = column_of(g, a, i), column = column_of(g, b, j);
            if (row != RLV_GRAPH_NONE && column != RLV_GRAPH_NONE)
                *gsl_matrix_ptr(h, row, column) += sign * block[7 * i + j];
        }
}

static double scale_information(const rlv_graph* g, size_t stage)
{
    const double sd_mm = g->scale_sd[stage] * g->reach_mm;
    return 1.0 / (sd_mm * sd_mm);
}

/// Normal matrix of the counting edges and the scales' priors, and its right side (may be NULL).
static void lay_normal(gsl_matrix* h, gsl_vector* right, const rlv_graph* g, const bool* active)
{
    gsl_matrix_set_zero(h);
    if (right != NULL)
        gsl_vector_set_zero(right);
    for (size_t e = 0; e < g->edge_count; e++)
    {
        if (!counts(g, active, e))
            continue;
        double information[49], pull[7];
        const size_t end[2] = {g->edge[e].into, g->edge[e].from};
        edge_information(information, right != NULL ? pull : NULL, g, e);
        for (int a = 0; a < 2; a++)
        {
            for (int b = 0; b < 2; b++)
                add_block(h, g, end[a], end[b], a == b ? 1.0 : -1.0, information);
            for (int i = 0; right != NULL && i < 7; i++)
                if (column_of(g, end[a], i) != RLV_GRAPH_NONE)
                    *gsl_vector_ptr(right, column_of(g, end[a], i)) += a == 1 ? pull[i] : -pull[i];
        }
    }
    for (size_t n = 0; n < g->reached; n++)
    {
        const size_t k = g->order[n], column = g->scale[k];
        if (column == RLV_GRAPH_NONE)
            continue;
        *gsl_matrix_ptr(h, column, column) += scale_information(g, k);
        if (right != NULL)
            *gsl_vector_ptr(right, column) -= scale_information(g, k) * g->reach_mm * g->own_scale[k];
    }
}

// Least squares

/// Chi-square of the counting edges and the scales' priors.
static double misfit_of(const rlv_graph* g, const bool* active)
{
    double sum = 0.0;
    for (size_t e = 0; e < g->edge_count; e++)
    {
        if (!counts(g, active, e))
            continue;
        const rlv_graph_edge* own = g->edge + e;
        double residual[7];
        rlv_graph_residual(residual, g, e);
        scale_residual(residual, g->reach_mm);
        for (int i = 0; i < 7; i++)
            for (int j = 0; j < 7; j++)
                sum += residual[i] * own->information[7 * i + j] * residual[j];
        const double scale_mm = g->reach_mm * (g->own_scale[own->from] - g->own_scale[own->into]);
        sum += own->constant - own->prior_per_mm2 * scale_mm * scale_mm;
    }
    for (size_t n = 0; n < g->reached; n++)
        if (g->scale[g->order[n]] != RLV_GRAPH_NONE)
        {
            const double scale_mm = g->reach_mm * g->own_scale[g->order[n]];
            sum += scale_information(g, g->order[n]) * scale_mm * scale_mm;
        }
    return sum;
}

/// Move all stages from where they were kept (the second half of the arrays) by `share` of a step.
static void move_stages(rlv_graph* g, const gsl_vector* step, double share)
{
    const rlv_pose* kept = g->pose + g->stage_count;
    const double* kept_scale = g->own_scale + g->stage_count;
    for (size_t n = 0; n < g->reached; n++)
    {
        const size_t k = g->order[n], own = g->scale[k];
        g->own_scale[k] =
            kept_scale[k] + (own != RLV_GRAPH_NONE ? share * gsl_vector_get(step, own) / g->reach_mm : 0.0);
    }
    for (size_t n = 1; n < g->reached; n++)
    {
        const size_t k = g->order[n];
        double delta[7];
        for (int i = 0; i < 6; i++)
            delta[i] = share * gsl_vector_get(step, g->shift[k] + (size_t)i) / (i > 2 ? g->reach_mm : 1.0);
        const double scale = exp(g->own_scale[k] - g->own_scale[g->root]);
        delta[6] = log(scale / kept[k].scale);
        g->pose[k] = rlv_pose_nudge(kept + k, g->centre_mm, delta);
        g->pose[k].scale = scale;
    }
}

/// What rounding leaves of a step in mm: a few products of coordinates of this size.
static double rounding_mm(const rlv_graph* g)
{
    double size = g->reach_mm + rlv_vec3_length(g->centre_mm);
    for (size_t n = 0; n < g->reached; n++)
        size = fmax(size, rlv_vec3_length(g->pose[g->order[n]].translation_mm));
    return 16.0 * DBL_EPSILON * size;
}

double rlv_graph_solve(rlv_graph* graph, const bool* active, size_t root)
{
    rlv_graph* g = graph;
    rlv_graph_grow(g, active, root);
    double misfit = misfit_of(g, active), last = INFINITY;
    for (int n = 0; g->columns > 0 && n < MOST_STEPS; n++)
    {
        gsl_matrix_view h = gsl_matrix_view_array(g->room, g->columns, g->columns);
        gsl_vector_view step = gsl_vector_view_array(g->room + g->columns * g->columns, g->columns);
        lay_normal(&h.matrix, &step.vector, g, active);
        gsl_linalg_cholesky_decomp1(&h.matrix);
        gsl_linalg_cholesky_svx(&h.matrix, &step.vector);
        const double most = fmax(gsl_vector_max(&step.vector), -gsl_vector_min(&step.vector));
        // Near the end steps shrink until only rounding is left of them, and then no longer.
        const bool near_end = most < 1e-6 * g->reach_mm;
        if (most <= rounding_mm(g) || (near_end && most >= 0.5 * last))
            break;
        last = most;
        memcpy(g->pose + g->stage_count, g->pose, g->stage_count * sizeof *g->pose);
        memcpy(g->own_scale + g->stage_count, g->own_scale, g->stage_count * sizeof *g->own_scale);
        move_stages(g, &step.vector, 1.0);
        double bettered = misfit_of(g, active), share = 1.0;
        for (int halving = 0; !near_end && !(bettered <= misfit) && halving < MOST_HALVINGS; halving++)
        {
            share *= 0.5;
            move_stages(g, &step.vector, share);
            bettered = misfit_of(g, active);
        }
        misfit = bettered;
    }
    place_centre(g, active);
    return misfit;
}

// Covariances

/// Copy a stage's 7 x 7 block of a covariance over columns; scale is its own less the root's.
static void take_stage(double covariance[49], const gsl_matrix* all, const rlv_graph* g, size_t stage)
{
    memset(covariance, 0, 49 * sizeof *covariance);
    for (int i = 0; i < 7; i++)
        for (int j = 0; j < 7; j++)
        {
            const size_t row[2] = {column_of(g, stage, i), i == 6 ? g->scale[g->root] : RLV_GRAPH_NONE};
            const size_t column[2] = {column_of(g, stage, j), j == 6 ? g->scale[g->root] : RLV_GRAPH_NONE};
            for (int a = 0; a < 2; a++)
                for (int b = 0; b < 2; b++)
                    if (row[a] != RLV_GRAPH_NONE && column[b] != RLV_GRAPH_NONE)
                        covariance[7 * i + j] += (a == b ? 1.0 : -1.0) * gsl_matrix_get(all, row[a], column[b]);
        }
}

/// Room for covariances.
typedef struct spread
{
    double *inverse, *meat, *half, *chain_normal; ///< columns * columns (the last: of a chain)
    double* shared;                               ///< columns * 7: what one stage's error does to the right side
    bool* chain;                                  ///< one an edge
    size_t *shift, *scale;                        ///< one a stage: columns of a chain
} spread;

static void free_spread(spread* s)
{
    free(s->inverse);
    free(s->meat);
    free(s->half);
    free(s->chain_normal);
    free(s->shared);
    free(s->chain);
    free(s->shift);
    free(s->scale);
}

static rlv_status make_spread(spread* s, const rlv_graph* g, rlv_error* error)
{
    const size_t square = g->columns * g->columns;
    if ((s->inverse = rlv_reserve(square, sizeof(double), error)) == NULL ||
        (s->meat = rlv_reserve(square, sizeof(double), error)) == NULL ||
        (s->half = rlv_reserve(square, sizeof(double), error)) == NULL ||
        (s->chain_normal = rlv_reserve(square, sizeof(double), error)) == NULL ||
        (s->shared = rlv_reserve(7 * g->columns, sizeof(double), error)) == NULL ||
        (s->chain = rlv_reserve(g->edge_count, sizeof *s->chain, error)) == NULL ||
        (s->shift = rlv_reserve(g->stage_count, sizeof *s->shift, error)) == NULL ||
        (s->scale = rlv_reserve(g->stage_count, sizeof *s->scale, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

/// The covariance of least squares over the chain of the tree that leads to `stage`, and nothing else.
static void chain_covariance(double covariance[49], const rlv_graph* g, size_t stage, spread* s)
{
    rlv_graph alone = *g; // the same poses, fewer columns
    memset(s->chain, 0, g->edge_count * sizeof *s->chain);
    for (size_t k = 0; k < g->stage_count; k++)
        s->shift[k] = s->scale[k] = RLV_GRAPH_NONE;
    alone.shift = s->shift;
    alone.scale = s->scale;
    alone.columns = 0;
    for (size_t k = stage;; k = rlv_graph_across(g->edge + g->via[k], k))
    {
        if (g->scale_sd[k] > 0.0)
            s->scale[k] = alone.columns++;
        if (k == g->root)
            break;
        s->chain[g->via[k]] = true;
        s->shift[k] = alone.columns;
        alone.columns += 6;
    }
    gsl_matrix_view h = gsl_matrix_view_array(s->chain_normal, alone.columns, alone.columns);
    lay_normal(&h.matrix, NULL, &alone, s->chain);
    gsl_linalg_cholesky_decomp1(&h.matrix);
    gsl_linalg_cholesky_invert(&h.matrix);
    take_stage(covariance, &h.matrix, &alone, stage);
}

/// The symmetric root of a positive semidefinite 7 x 7 matrix, in place.
static void take_root(double seven[49], gsl_eigen_symmv_workspace* workspace)
{
    double value[7], vector[49], wide[49];
    gsl_matrix_view a = gsl_matrix_view_array(seven, 7, 7), v = gsl_matrix_view_array(vector, 7, 7),
                    w = gsl_matrix_view_array(wide, 7, 7);
    gsl_vector_view values = gsl_vector_view_array(value, 7);
    gsl_eigen_symmv(&a.matrix, &values.vector, &v.matrix, workspace);
    for (int i = 0; i < 7; i++)
        for (int j = 0; j < 7; j++)
            wide[7 * i + j] = vector[7 * i + j] * sqrt(fmax(value[j], 0.0));
    gsl_blas_dgemm(CblasNoTrans, CblasTrans, 1.0, &w.matrix, &v.matrix, 0.0, &a.matrix);
}

/// Add to `meat` what one stage's error does: half of each of its edges' variance, the same error in all.
static void add_stage_error(gsl_matrix* meat, const rlv_graph* g, const bool* active, size_t stage, spread* s,
                            gsl_eigen_symmv_workspace* workspace)
{
    gsl_matrix_view shared = gsl_matrix_view_array(s->shared, g->columns, 7);
    gsl_matrix_set_zero(&shared.matrix);
    for (size_t e = 0; e < g->edge_count; e++)
    {
        const rlv_graph_edge* own = g->edge + e;
        if (!counts(g, active, e) || (own->into != stage && own->from != stage))
            continue;
        double root[49];
        edge_information(root, NULL, g, e);
        take_root(root, workspace);
        const size_t end[2] = {own->into, own->from};
        for (int a = 0; a < 2; a++)
            for (int i = 0; i < 7; i++)
                for (int j = 0; j < 7; j++)
                    if (column_of(g, end[a], i) != RLV_GRAPH_NONE)
                        *gsl_matrix_ptr(&shared.matrix, column_of(g, end[a], i), (size_t)j) +=
                            (end[a] == stage ? M_SQRT1_2 : -M_SQRT1_2) * root[7 * i + j];
    }
    gsl_blas_dsyrk(CblasLower, CblasNoTrans, 1.0, &shared.matrix, 1.0, meat);
}

/// The covariance of least squares over the active edges, as if nothing were shared, into `s->inverse`.
static void alone_covariance(const rlv_graph* g, const bool* active, spread* s)
{
    gsl_matrix_view inverse = gsl_matrix_view_array(s->inverse, g->columns, g->columns);
    lay_normal(&inverse.matrix, NULL, g, active);
    gsl_linalg_cholesky_decomp1(&inverse.matrix);
    gsl_linalg_cholesky_invert(&inverse.matrix);
}

/// The covariance of the whole solution under stage errors, into `s->meat`.
static rlv_status shared_covariance(const rlv_graph* g, const bool* active, spread* s, rlv_error* error)
{
    gsl_eigen_symmv_workspace* workspace = gsl_eigen_symmv_alloc(7);
    if (workspace == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the stages' covariances");
    gsl_matrix_view inverse = gsl_matrix_view_array(s->inverse, g->columns, g->columns),
                    meat = gsl_matrix_view_array(s->meat, g->columns, g->columns),
                    half = gsl_matrix_view_array(s->half, g->columns, g->columns);
    gsl_matrix_set_zero(&meat.matrix);
    for (size_t n = 0; n < g->reached; n++)
    {
        const size_t k = g->order[n];
        add_stage_error(&meat.matrix, g, active, k, s, workspace);
        if (g->scale[k] != RLV_GRAPH_NONE)
            *gsl_matrix_ptr(&meat.matrix, g->scale[k], g->scale[k]) += scale_information(g, k);
    }
    gsl_blas_dsymm(CblasLeft, CblasLower, 1.0, &meat.matrix, &inverse.matrix, 0.0, &half.matrix);
    gsl_blas_dgemm(CblasNoTrans, CblasNoTrans, 1.0, &inverse.matrix, &half.matrix, 0.0, &meat.matrix);
    gsl_eigen_symmv_free(workspace);
    return RLV_DONE;
}

/// Raise the leading `size` rows and columns of a positive definite 7 x 7 matrix to the least above it and another.
static rlv_status raise_above(double covariance[49], const double other[49], size_t size, rlv_error* error)
{
    double factor[49], white[49], value[7], vector[49];
    memcpy(factor, covariance, sizeof factor);
    memcpy(white, other, sizeof white);
    gsl_matrix_view l = gsl_matrix_view_array_with_tda(factor, size, size, 7),
                    w = gsl_matrix_view_array_with_tda(white, size, size, 7),
                    v = gsl_matrix_view_array_with_tda(vector, size, size, 7),
                    c = gsl_matrix_view_array_with_tda(covariance, size, size, 7);
    gsl_vector_view values = gsl_vector_view_array(value, size);
    gsl_eigen_symmv_workspace* workspace = gsl_eigen_symmv_alloc(size);
    if (workspace == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for a stage's covariance");
    gsl_linalg_cholesky_decomp1(&l.matrix);
    gsl_blas_dtrsm(CblasLeft, CblasLower, CblasNoTrans, CblasNonUnit, 1.0, &l.matrix, &w.matrix);
    gsl_blas_dtrsm(CblasRight, CblasLower, CblasTrans, CblasNonUnit, 1.0, &l.matrix, &w.matrix);
    gsl_eigen_symmv(&w.matrix, &values.vector, &v.matrix, workspace);
    gsl_eigen_symmv_free(workspace);
    // What has to be added: the part of `other` above the unit matrix, carried back.
    for (size_t j = 0; j < size; j++)
    {
        gsl_vector_view column = gsl_matrix_column(&v.matrix, j);
        gsl_vector_scale(&column.vector, sqrt(fmax(value[j] - 1.0, 0.0)));
    }
    gsl_blas_dtrmm(CblasLeft, CblasLower, CblasNoTrans, CblasNonUnit, 1.0, &l.matrix, &v.matrix);
    gsl_blas_dgemm(CblasNoTrans, CblasTrans, 1.0, &v.matrix, &v.matrix, 1.0, &c.matrix);
    return RLV_DONE;
}

/// What is told of a stage where edges may share errors: the least above its chain's covariance and that of stage
/// errors, `meat`.
static rlv_status bound_covariance(double covariance[49], const gsl_matrix* meat, const rlv_graph* g, size_t stage,
                                   spread* s, rlv_error* error)
{
    double shared[49];
    chain_covariance(covariance, g, stage, s);
    take_stage(shared, meat, g, stage);
    return raise_above(covariance, shared, covariance[48] > 0.0 ? 7 : 6, error);
}

rlv_status rlv_graph_covariances(double* covariance, const rlv_graph* graph, const bool* active, bool nothing_shared,
                                 rlv_error* error)
{
    spread s = {0};
    rlv_status status = make_spread(&s, graph, error);
    if (graph->columns == 0 || status != RLV_DONE)
    {
        free_spread(&s);
        return status;
    }
    alone_covariance(graph, active, &s);
    if (!nothing_shared)
        status = shared_covariance(graph, active, &s, error);
    const gsl_matrix_view inverse = gsl_matrix_view_array(s.inverse, graph->columns, graph->columns),
                          meat = gsl_matrix_view_array(s.meat, graph->columns, graph->columns);
    for (size_t n = 1; status == RLV_DONE && n < graph->reached; n++)
    {
        const size_t k = graph->order[n];
        double* own = covariance + 49 * k;
        if (nothing_shared)
            take_stage(own, &inverse.matrix, graph, k);
        else
            status = bound_covariance(own, &meat.matrix, graph, k, &s, error);
        for (int i = 0; i < 49; i++)
            own[i] /= (i / 7 > 2 ? graph->reach_mm : 1.0) * (i % 7 > 2 ? graph->reach_mm : 1.0);
    }
    free_spread(&s);
    return status;
}
