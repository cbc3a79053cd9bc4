#include "rejoin_fit.h"

#include <gsl/gsl_eigen.h>
#include <stdlib.h>
#include <string.h>

#define N RLV_FIT_PARAMETERS

static const double least_left = 0.3; ///< of what held still, to leave out what lies near a change
static const size_t leading = 2000;   ///< samples of a pair that lead the way

void rlv_fit_free(rlv_fit_problem* problem)
{
    for (size_t p = 0; p < problem->pair_count; p++)
    {
        free(problem->pair[p].at);
        free(problem->pair[p].normal);
        free(problem->pair[p].residual_mm);
        free(problem->pair[p].weight);
        free(problem->pair[p].stirred);
    }
    problem->pair_count = 0;
}

rlv_status rlv_fit_add(rlv_fit_problem* problem, const rlv_fit_pair* pair, rlv_error* error)
{
    const size_t count = pair->samples->count;
    rlv_fit_pair* to = problem->pair + problem->pair_count++;
    *to = *pair;
    to->at = rlv_reserve(count, sizeof *to->at, error);
    to->normal = rlv_reserve(count, sizeof *to->normal, error);
    to->residual_mm = rlv_reserve(count, sizeof *to->residual_mm, error);
    to->weight = rlv_reserve(count, sizeof *to->weight, error);
    to->stirred = rlv_reserve(count, 1, error);
    return to->at != NULL && to->normal != NULL && to->residual_mm != NULL && to->weight != NULL && to->stirred != NULL
               ? RLV_DONE
               : RLV_SYSTEM;
}

static rlv_vec3 facet_normal(const rlv_mesh* mesh, uint32_t triangle)
{
    return rlv_vec3_unit(rlv_mesh_twice_area(mesh, triangle));
}

/// The residual of one sample; everything here is in the other body's local coordinates.
static double residual_of(const rlv_fit_problem* problem, const rlv_fit_pair* pair, rlv_vec3 at, rlv_vec3 own,
                          const rlv_nearest* near, rlv_vec3* normal)
{
    if (near->triangle == RLV_TREE_NONE || (pair->foot != NULL && pair->foot[near->triangle] == 0))
        return NAN;
    const rlv_vec3 foot = facet_normal(problem->body[pair->other].mesh, near->triangle);
    const double turn = pair->face ? -1.0 : 1.0;
    if (!(turn * rlv_vec3_dot(foot, own) > 0.5))
        return NAN;
    *normal = rlv_vec3_unit(rlv_vec3_along(foot, turn, own));
    const rlv_vec3 apart = rlv_vec3_sub(at, rlv_vec3_from(near->point_mm));
    const double along = rlv_vec3_dot(apart, *normal), distance = rlv_vec3_length(apart);
    // A foot well to the side is on an edge of the other surface.
    const double aside2 = distance * distance - along * along;
    return aside2 > 0.25 * along * along + 9.0 * pair->sd_mm * pair->sd_mm ? NAN : along;
}

static rlv_status measure_pair(rlv_fit_problem* problem, rlv_fit_pair* pair, double reach_mm, rlv_error* error)
{
    const size_t stride = problem->stride > 1 ? problem->stride : 1, all = pair->samples->count,
                 count = (all + stride - 1) / stride;
    const rlv_pose* world = &problem->body[pair->other].pose;
    const rlv_pose to_other = rlv_pose_inverse(world),
                   local = rlv_pose_compose(&to_other, &problem->body[pair->own].pose);
    float* query = rlv_reserve(3 * count, sizeof *query, error);
    rlv_nearest* near = query != NULL ? rlv_reserve(count, sizeof *near, error) : NULL;
    if (near == NULL)
    {
        free(query);
        return RLV_SYSTEM;
    }
    for (size_t k = 0; k < count; k++)
    {
        const rlv_vec3 at = rlv_pose_apply(&local, rlv_vec3_from(pair->samples->position_mm + 3 * k * stride));
        query[3 * k] = (float)at.x, query[3 * k + 1] = (float)at.y, query[3 * k + 2] = (float)at.z;
    }
    rlv_tree_nearest(problem->body[pair->other].tree, count, query, (float)reach_mm, near);
    for (size_t i = 0; i < all; i++)
    {
        pair->residual_mm[i] = NAN;
        pair->weight[i] = 0.0;
    }
#pragma omp parallel for schedule(static)
    for (size_t k = 0; k < count; k++)
    {
        const size_t i = k * stride;
        const rlv_vec3 at = rlv_vec3_from(query + 3 * k),
                       own = rlv_mat3_apply(local.rotation, rlv_vec3_from(pair->samples->normal + 3 * i));
        rlv_vec3 normal = own;
        pair->residual_mm[i] = residual_of(problem, pair, at, own, near + k, &normal);
        pair->at[i] = rlv_pose_apply(world, at);
        pair->normal[i] = rlv_mat3_apply(world->rotation, normal);
    }
    free(near);
    free(query);
    return RLV_DONE;
}

rlv_status rlv_fit_measure(rlv_fit_problem* problem, double reach_mm, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t p = 0; p < problem->pair_count && status == RLV_DONE; p++)
        status = measure_pair(problem, problem->pair + p, reach_mm, error);
    return status;
}

void rlv_fit_offsets(double share[RLV_FIT_OFFSETS], const rlv_fit_problem* problem, const rlv_fit_pair* pair, size_t i)
{
    const rlv_vec3 arm = rlv_vec3_scale(rlv_vec3_sub(pair->at[i], problem->centre_mm), 1.0 / problem->radius_mm);
    share[0] = pair->face ? 1.0 : 0.0;
    for (int k = 0; k < 2; k++)
        share[1 + k] = pair->face ? rlv_vec3_dot(arm, problem->along[k]) : 0.0;
}

double rlv_fit_left_over(const rlv_fit_problem* problem, const rlv_fit_pair* pair, size_t i)
{
    if (!pair->face)
        return pair->residual_mm[i];
    double share[RLV_FIT_OFFSETS], left = pair->residual_mm[i];
    rlv_fit_offsets(share, problem, pair, i);
    for (int k = 0; k < RLV_FIT_OFFSETS; k++)
        left -= share[k] * problem->offset_mm[k];
    return left;
}

/// Tukey's biweight, whose reach is another on either side. Of two faces a gap gives way; of a part and what it was
/// before, what was taken off it since does.
static double one_sided_weight(double residual_mm, double sd_mm, bool face)
{
    const bool gives_way = face ? residual_mm > 0.0 : residual_mm < 0.0;
    const double u = residual_mm / (sd_mm * (gives_way ? RLV_FIT_GAP_SDS : RLV_FIT_PENETRATION_SDS));
    return fabs(u) < 1.0 ? (1.0 - u * u) * (1.0 - u * u) : 0.0;
}

/// Weights where the two are one surface: the probability of belonging to a Gaussian about zero over an even
/// background (expectation and maximisation), whose sd is found too.
static void weigh_surface(rlv_fit_pair* pair, double window_mm)
{
    double share = 0.5, sd = pair->sd_mm;
    for (int round = 0; round < 6; round++)
    {
        const double peak = share / (sd * 2.5066282746310002), even = (1.0 - share) / (2.0 * window_mm);
        double sum = 0.0, square = 0.0, inside = 0.0;
        for (size_t i = 0; i < pair->samples->count; i++)
        {
            const double r = pair->residual_mm[i];
            pair->weight[i] = 0.0;
            if (!(fabs(r) < window_mm) || pair->stirred[i] != 0)
                continue;
            const double gauss = peak * exp(-0.5 * r * r / (sd * sd));
            pair->weight[i] = gauss / (gauss + even);
            sum += pair->weight[i];
            square += pair->weight[i] * r * r;
            inside += 1.0;
        }
        if (!(sum > 0.0))
            return;
        sd = fmin(fmax(sqrt(square / sum), 1e-4), RLV_FIT_WIDEST_SDS / RLV_FIT_WINDOW_SDS * window_mm);
        share = fmin(fmax(sum / inside, 0.01), 0.99);
    }
    pair->sd_mm = sd;
}

/// `scale_mm` stands for the sd on the way to it.
static void weigh(rlv_fit_problem* problem, double scale_mm, double window_mm, bool last)
{
    for (size_t p = 0; p < problem->pair_count; p++)
    {
        rlv_fit_pair* pair = problem->pair + p;
        if (!pair->face && last)
            weigh_surface(pair, window_mm);
        else
            for (size_t i = 0; i < pair->samples->count; i++)
                pair->weight[i] = isnan(pair->residual_mm[i])
                                      ? 0.0
                                      : one_sided_weight(rlv_fit_left_over(problem, pair, i), scale_mm, pair->face);
    }
}

/// How a residual changes with all parameters: those of the bodies, then the offset.
void rlv_fit_gradient(double j[N], const rlv_fit_problem* problem, const rlv_fit_pair* pair, size_t i)
{
    const rlv_vec3 n = pair->normal[i], arm = rlv_vec3_sub(pair->at[i], problem->centre_mm),
                   turn = rlv_vec3_scale(rlv_vec3_cross(arm, n), 1.0 / problem->radius_mm);
    const double six[6] = {n.x, n.y, n.z, turn.x, turn.y, turn.z};
    const int own = problem->body[pair->own].parameter, other = problem->body[pair->other].parameter;
    memset(j, 0, N * sizeof *j);
    for (int k = 0; k < 6; k++)
    {
        if (own >= 0)
            j[own + k] += six[k];
        if (other >= 0)
            j[other + k] -= six[k];
    }
    double share[RLV_FIT_OFFSETS];
    rlv_fit_offsets(share, problem, pair, i);
    for (int k = 0; k < RLV_FIT_OFFSETS; k++)
        j[problem->parameters + k] = -share[k];
}

/// Inverse of a symmetric matrix of `n` rows, its eigenvalues held above a share of the greatest.
bool rlv_fit_invert(int n, const double* a, double share, double* inverse)
{
    double copy[N * N], vector[N * N], value[N];
    for (int i = 0; i < n * n; i++)
        if (!isfinite(copy[i] = a[i]))
            return false;
    gsl_eigen_symmv_workspace* space = gsl_eigen_symmv_alloc((size_t)n);
    if (space == NULL)
        return false;
    gsl_matrix_view from = gsl_matrix_view_array(copy, (size_t)n, (size_t)n),
                    to = gsl_matrix_view_array(vector, (size_t)n, (size_t)n);
    gsl_vector_view values = gsl_vector_view_array(value, (size_t)n);
    gsl_eigen_symmv(&from.matrix, &values.vector, &to.matrix, space);
    gsl_eigen_symmv_free(space);
    double greatest = 0.0;
    for (int k = 0; k < n; k++)
        greatest = fmax(greatest, value[k]);
    if (!(greatest > 0.0))
        return false;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
        {
            double sum = 0.0;
            for (int k = 0; k < n; k++)
                sum += vector[i * n + k] * vector[j * n + k] / fmax(value[k], share * greatest);
            inverse[i * n + j] = sum;
        }
    return true;
}

static void nudge(rlv_fit_problem* problem, const double* delta)
{
    for (int b = 0; b < RLV_FIT_BODIES; b++)
    {
        const int at = problem->body[b].parameter;
        if (problem->body[b].mesh == NULL || at < 0)
            continue;
        const double r = problem->radius_mm, small[7] = {delta[at],
                                                         delta[at + 1],
                                                         delta[at + 2],
                                                         delta[at + 3] / r,
                                                         delta[at + 4] / r,
                                                         delta[at + 5] / r,
                                                         0.0};
        problem->body[b].pose = rlv_pose_nudge(&problem->body[b].pose, problem->centre_mm, small);
    }
}

/// One weighted Gauss-Newton step. Returns how far things moved, infinity where nothing is held.
static double step(rlv_fit_problem* problem)
{
    const int n = problem->parameters + RLV_FIT_OFFSETS;
    double a[N * N] = {0}, b[N] = {0};
    for (size_t p = 0; p < problem->pair_count; p++)
    {
        const rlv_fit_pair* pair = problem->pair + p;
        for (size_t i = 0; i < pair->samples->count; i++)
        {
            if (!(pair->weight[i] > 1e-6))
                continue;
            double j[N];
            rlv_fit_gradient(j, problem, pair, i);
            const double w = pair->weight[i] * pair->info;
            for (int r = 0; r < n; r++)
            {
                b[r] -= w * j[r] * rlv_fit_left_over(problem, pair, i);
                for (int c = 0; c <= r; c++)
                    a[r * n + c] += w * j[r] * j[c];
            }
        }
    }
    for (int r = 0; r < n; r++)
        for (int c = 0; c < r; c++)
            a[c * n + r] = a[r * n + c];
    const double prior = 1.0 / (problem->offset_sd_mm * problem->offset_sd_mm);
    for (int k = 0, r = problem->parameters; k < RLV_FIT_OFFSETS; k++, r++)
    {
        a[r * n + r] += prior;
        b[r] -= problem->parameters > 6 ? prior * problem->offset_mm[k] : 0.0; // else it stays as it was given
    }
    double inverse[N * N], delta[N] = {0}, moved = 0.0;
    if (!rlv_fit_invert(n, a, 1e-5, inverse))
        return INFINITY;
    for (int r = 0; r < n; r++)
    {
        for (int c = 0; c < n; c++)
            delta[r] += inverse[r * n + c] * b[c];
        moved = fmax(moved, fabs(delta[r]));
    }
    nudge(problem, delta);
    if (problem->parameters > 6) // without outer surfaces it cannot be told from the piece's place
        for (int k = 0; k < RLV_FIT_OFFSETS; k++)
            problem->offset_mm[k] += delta[problem->parameters + k];
    return moved;
}

/// A change fades out softly, and would draw the fit after it: set apart the cells of an outer surface that changed or
/// have a neighbour that did, where enough is left.
static rlv_status set_apart(rlv_fit_pair* pair, rlv_error* error)
{
    const size_t count = pair->samples->count;
    rlv_sample_cells cells = {0};
    rlv_status status = rlv_sample_cells_sort(&cells, count, pair->samples->position_mm, RLV_FIT_PATCH_MM, error);
    if (status != RLV_DONE)
        return status;
    const size_t nx = cells.size[0], ny = cells.size[1], nz = cells.size[2];
    uint8_t* changed = rlv_reserve(nx * ny * nz, 1, error);
    uint8_t* stirred = changed != NULL ? rlv_reserve(count, 1, error) : NULL;
    double held = 0.0, left = 0.0;
    for (size_t c = 0; c < nx * ny * nz && stirred != NULL; c++)
    {
        const double all = (double)(cells.start[c + 1] - cells.start[c]);
        double sum = 0.0;
        for (uint32_t k = cells.start[c]; k < cells.start[c + 1]; k++)
            sum += pair->weight[cells.item[k]];
        changed[c] = all > 3.0 && sum < 0.5 * all;
        held += sum;
    }
    for (size_t c = 0; c < nx * ny * nz && stirred != NULL; c++)
    {
        const size_t x = c % nx, y = c / nx % ny, z = c / nx / ny;
        bool near = false;
        for (size_t k = z > 0 ? z - 1 : 0; k < nz && k <= z + 1; k++)
            for (size_t j = y > 0 ? y - 1 : 0; j < ny && j <= y + 1; j++)
                for (size_t i = x > 0 ? x - 1 : 0; i < nx && i <= x + 1; i++)
                    near = near || changed[(k * ny + j) * nx + i] != 0;
        for (uint32_t k = cells.start[c]; k < cells.start[c + 1]; k++)
        {
            stirred[cells.item[k]] = near;
            left += near ? 0.0 : pair->weight[cells.item[k]];
        }
    }
    if (stirred != NULL && left > least_left * held)
        memcpy(pair->stirred, stirred, count);
    status = stirred != NULL ? RLV_DONE : RLV_SYSTEM;
    free(stirred);
    free(changed);
    rlv_sample_cells_free(&cells);
    return status;
}

/// One round. Tells how far things moved, infinity where nothing is held.
static rlv_status run_round(double* moved, rlv_fit_problem* problem, double scale_mm, bool last, rlv_error* error)
{
    rlv_status status = rlv_fit_measure(problem, RLV_FIT_WINDOW_SDS * scale_mm + fabs(problem->offset_mm[0]), error);
    if (status != RLV_DONE)
        return status;
    weigh(problem, scale_mm, RLV_FIT_WINDOW_SDS * scale_mm, last);
    if ((status = rlv_fit_weigh_patches(problem, error)) == RLV_DONE)
        *moved = step(problem);
    return status;
}

rlv_status rlv_fit_close(rlv_fit_problem* problem, double start_mm, rlv_error* error)
{
    const double sd = problem->pair[0].sd_mm;
    rlv_status status = RLV_DONE;
    problem->stride = problem->pair[0].samples->count / leading;
    double scale = fmax(start_mm, sd), moved = 0.0;
    for (int round = 0; round < 40 && status == RLV_DONE && !(scale <= sd && moved < 0.1 * sd); round++)
    {
        scale = fmax(sd, round > 0 ? 0.7 * scale : scale);
        status = run_round(&moved, problem, scale, scale <= sd, error);
        if (!isfinite(moved))
            break;
    }
    problem->stride = 1;
    for (int round = 0; round < 12 && status == RLV_DONE && (round < 3 || moved > 0.01 * sd); round++)
    {
        if (round == 1)
            for (size_t p = 0; p < problem->pair_count && status == RLV_DONE; p++)
                status = problem->pair[p].face ? RLV_DONE : set_apart(problem->pair + p, error);
        if (status == RLV_DONE)
            status = run_round(&moved, problem, sd, true, error);
        if (!isfinite(moved))
            break;
    }
    if (status == RLV_DONE)
        status = rlv_fit_measure(problem, RLV_FIT_WINDOW_SDS * sd + fabs(problem->offset_mm[0]), error);
    if (status != RLV_DONE)
        return status;
    weigh(problem, sd, RLV_FIT_WINDOW_SDS * sd, true);
    return rlv_fit_weigh_patches(problem, error);
}
