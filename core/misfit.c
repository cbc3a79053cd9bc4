#include "misfit.h"

#include "cholesky.h"
#include "cubes.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    MOST_TREND = 7,
    RANGES = 13, // odd, as STRENGTHS is: every other point makes the coarse grid
    STRENGTHS = 17,
    GRID = RANGES * STRENGTHS + 1, // the last point is a field without warp
    LEAST_PATCHES = 20,
    MOST_GRAINS = 12, // along a patch
};

/// A point whose log likelihood lies this far below the best carries no weight, nor do those beside it.
static const double HOPE = 10.0;

/// What a patch has for itself beside the noise that it shares with its neighbours, as a part of it. It outweighs what
/// is lost beyond the grains' reach, so that covariances stay positive definite.
static const double LONE_NOISE = 0.05;

/// Strengths of the grid: the least, and the factor from one to the next (10^(6 / 16)).
static const double LEAST_STRENGTH = 0.03, STRENGTH_STEP = 2.3713737056616555;

/// Grid points of less than this share of the likelihood are left out of a prediction.
static const double LEAST_WEIGHT = 1e-4;

typedef struct grid_point
{
    double length_mm;  ///< of the warp
    double strength;   ///< variance of the warp over the nugget's of a patch of mean area
    double nugget_mm2; ///< estimated variance of a patch of mean area
    double weight;
    const double* warp; ///< the field's, of this length; NULL without warp
} grid_point;

struct rlv_misfit
{
    size_t count, trend_count;
    rlv_patch* patch;
    double* noise_per_mm2; ///< count * count: covariance of the noise's means, for an integral of one
    double* warp; ///< RANGES * count * count, lower triangles: covariance of a warp of unit variance, by its length
    double mean_area_mm2;
    double size_mm;              ///< turns and breadths are divided by it, so that all columns are of one order
    double scale_mean, scale_sd; ///< prior of the log of the scale that is left
    grid_point grid[GRID];
};

// Patches

typedef struct point_list
{
    size_t count;
    uint32_t* index;
    float* position_mm;
    uint8_t* tag;
} point_list;

static rlv_status list_points(point_list* list, size_t count, const float* position_mm, const float* normal,
                              const float* area_mm2, const float* depth_mm, const uint8_t* skip, rlv_error* error)
{
    if ((list->index = rlv_reserve(count, sizeof *list->index, error)) == NULL ||
        (list->position_mm = rlv_reserve(3 * count, sizeof *list->position_mm, error)) == NULL ||
        (list->tag = rlv_reserve(count, 1, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        if ((skip != NULL && skip[i]) || (depth_mm != NULL && isnan(depth_mm[i])) || !(area_mm2[i] > 0.0f))
            continue;
        list->index[list->count] = (uint32_t)i;
        list->tag[list->count] = rlv_cubes_facing(normal + 3 * i);
        memcpy(list->position_mm + 3 * list->count, position_mm + 3 * i, 3 * sizeof(float));
        list->count++;
    }
    return RLV_DONE;
}

static rlv_patch gather_cell(const rlv_cubes* cells, size_t cell, const point_list* list, const float* normal,
                             const float* area_mm2, const float* depth_mm)
{
    rlv_patch patch = {0};
    double squares = 0.0;
    for (uint32_t m = cells->start[cell]; m < cells->start[cell + 1]; m++)
    {
        const uint32_t p = cells->member[m], i = list->index[p];
        const double w = (double)area_mm2[i];
        const rlv_vec3 x = rlv_vec3_from(list->position_mm + 3 * p), n = rlv_vec3_from(normal + 3 * (size_t)i);
        patch.area_mm2 += w;
        patch.centre_mm = rlv_vec3_along(patch.centre_mm, w, x);
        patch.normal = rlv_vec3_along(patch.normal, w, n);
        patch.turn_mm = rlv_vec3_along(patch.turn_mm, w, rlv_vec3_cross(x, n));
        patch.breadth_mm += w * rlv_vec3_dot(x, n);
        patch.depth_mm += depth_mm != NULL ? w * (double)depth_mm[i] : 0.0;
        squares += w * rlv_vec3_dot(x, x);
    }
    const double per = 1.0 / patch.area_mm2;
    patch.centre_mm = rlv_vec3_scale(patch.centre_mm, per);
    patch.normal = rlv_vec3_scale(patch.normal, per);
    patch.turn_mm = rlv_vec3_scale(patch.turn_mm, per);
    patch.breadth_mm *= per;
    patch.depth_mm *= per;
    patch.spread_mm2 = fmax(0.5 * (squares * per - rlv_vec3_dot(patch.centre_mm, patch.centre_mm)), 0.0);
    return patch;
}

// Noise

/// Covariance of the warp's means over two patches, for unit variance. A patch spreads along two directions; two thirds
/// of its spread along all three agree with that to first order, and, being a convolution, keep the matrix positive
/// definite.
static double covariance(const rlv_patch* p, const rlv_patch* q, double length_mm)
{
    const rlv_vec3 step = rlv_vec3_sub(p->centre_mm, q->centre_mm);
    const double own = length_mm * length_mm, wide = own + (p->spread_mm2 + q->spread_mm2) * 2.0 / 3.0;
    const double share = own / wide;
    return rlv_vec3_dot(p->normal, q->normal) * share * sqrt(share) * exp(-0.5 * rlv_vec3_dot(step, step) / wide);
}

/// Covariance of the means of a noise over two grains, for an integral of one: as the warp's, and widened by what a
/// patch's two directions want, so that the integral stays.
static double noise_between(const rlv_patch* p, const rlv_patch* q, double length_mm)
{
    const double own = length_mm * length_mm;
    const double wider = sqrt(sqrt((1.0 + p->spread_mm2 / own * 4.0 / 3.0) * (1.0 + q->spread_mm2 / own * 4.0 / 3.0)));
    return covariance(p, q, length_mm) * wider / (2.0 * M_PI * own);
}

/// Grains of the patches, and the patch (RLV_CUBES_NONE where it was left out) that each is part of.
typedef struct grains
{
    size_t count;
    rlv_patch* grain;
    uint32_t* parent;
    float* centre_mm; ///< 3 * count
} grains;

static void free_grains(grains* g)
{
    free(g->grain);
    free(g->parent);
    free(g->centre_mm);
}

/// Cells of a whole share of the patches' side lie within the patches' cells.
static rlv_status gather_grains(grains* g, const point_list* list, const rlv_cubes* cells, const uint32_t* kept,
                                const float* normal, const float* area_mm2, double side_mm, rlv_error* error)
{
    rlv_cubes fine = {0};
    rlv_status status = rlv_cubes_build(&fine, list->count, list->position_mm, list->tag, side_mm, error);
    if (status == RLV_DONE && ((g->grain = rlv_reserve(fine.count, sizeof *g->grain, error)) == NULL ||
                               (g->parent = rlv_reserve(fine.count, sizeof *g->parent, error)) == NULL ||
                               (g->centre_mm = rlv_reserve(3 * fine.count, sizeof *g->centre_mm, error)) == NULL))
        status = RLV_SYSTEM;
    for (size_t c = 0; status == RLV_DONE && c < fine.count; c++)
    {
        g->grain[c] = gather_cell(&fine, c, list, normal, area_mm2, NULL);
        g->parent[c] = kept[cells->of_point[fine.member[fine.start[c]]]];
        const rlv_vec3 at = g->grain[c].centre_mm;
        g->centre_mm[3 * c] = (float)at.x;
        g->centre_mm[3 * c + 1] = (float)at.y;
        g->centre_mm[3 * c + 2] = (float)at.z;
    }
    g->count = status == RLV_DONE ? fine.count : 0;
    rlv_cubes_free(&fine);
    return status;
}

/// Add what grain `i` shares with the grains of one cell.
static void add_shared(double* noise, size_t patches, const grains* g, size_t i, const rlv_cubes* near, uint32_t cell,
                       double length_mm)
{
    for (uint32_t m = near->start[cell]; m < near->start[cell + 1]; m++)
    {
        const uint32_t j = near->member[m];
        if (g->parent[j] != RLV_CUBES_NONE)
            noise[patches * g->parent[i] + g->parent[j]] +=
                g->grain[i].area_mm2 * g->grain[j].area_mm2 * noise_between(g->grain + i, g->grain + j, length_mm);
    }
}

/// Fill the noise's covariances from the grains, in a fixed order.
static rlv_status sum_grains(double* noise, const rlv_patch* patch, size_t patches, const grains* g, double side_mm,
                             double length_mm, rlv_error* error)
{
    // Beyond 4.5 lengths, with grains of two, a Gaussian has fallen to 1 in 400.
    rlv_cubes near = {0};
    rlv_status status =
        rlv_cubes_build(&near, g->count, g->centre_mm, NULL, 4.5 * fmax(length_mm, 0.5 * side_mm), error);
    for (size_t i = 0; status == RLV_DONE && i < g->count; i++)
        for (int k = 0; g->parent[i] != RLV_CUBES_NONE && k < 27; k++)
        {
            const uint32_t cell =
                rlv_cubes_near(&near, near.of_point[i], (const int[3]){k % 3 - 1, k / 3 % 3 - 1, k / 9 - 1});
            if (cell != RLV_CUBES_NONE)
                add_shared(noise, patches, g, i, &near, cell, length_mm);
        }
    for (size_t p = 0; status == RLV_DONE && p < patches; p++)
    {
        for (size_t q = 0; q < patches; q++)
            noise[patches * p + q] /= patch[p].area_mm2 * patch[q].area_mm2;
        noise[(patches + 1) * p] *= 1.0 + LONE_NOISE;
    }
    rlv_cubes_free(&near);
    return status;
}

static rlv_status relate_noise(double** noise, const rlv_patch* patch, size_t patches, const point_list* list,
                               const rlv_cubes* cells, const uint32_t* kept, const float* normal, const float* area_mm2,
                               double length_mm, rlv_error* error)
{
    grains g = {0};
    const double along = fmin(fmax(round(0.5 * cells->side_mm / length_mm), 2.0), MOST_GRAINS);
    const double side = cells->side_mm / along;
    if ((*noise = rlv_reserve(patches * patches, sizeof **noise, error)) == NULL)
        return RLV_SYSTEM;
    rlv_status status = gather_grains(&g, list, cells, kept, normal, area_mm2, side, error);
    if (status == RLV_DONE)
        status = sum_grains(*noise, patch, patches, &g, side, length_mm, error);
    free_grains(&g);
    return status;
}

/// Gather the cells that are not too small; `kept` gets the patch of each.
static void gather_cells(rlv_patch* patch, size_t* patch_count, uint32_t* kept, const rlv_cubes* cells,
                         const point_list* list, const float* normal, const float* area_mm2, const float* depth_mm,
                         double least)
{
    double area = 0.0;
    for (size_t i = 0; i < list->count; i++)
        area += (double)area_mm2[list->index[i]];
    for (size_t c = 0; c < cells->count; c++)
    {
        const rlv_patch one = gather_cell(cells, c, list, normal, area_mm2, depth_mm);
        kept[c] = RLV_CUBES_NONE;
        if (one.area_mm2 >= least * area / (double)cells->count)
        {
            kept[c] = (uint32_t)*patch_count;
            patch[(*patch_count)++] = one;
        }
    }
}

rlv_status rlv_patches_gather(rlv_patch** patch, double** noise_per_mm2, size_t* patch_count, size_t count,
                              const float* position_mm, const float* normal, const float* area_mm2,
                              const float* depth_mm, const uint8_t* skip, double side_mm, double noise_length_mm,
                              double least, rlv_error* error)
{
    point_list list = {0};
    rlv_cubes cells = {0};
    uint32_t* kept = NULL;
    *patch = NULL;
    *patch_count = 0;
    if (noise_per_mm2 != NULL)
        *noise_per_mm2 = NULL;
    rlv_status status = list_points(&list, count, position_mm, normal, area_mm2, depth_mm, skip, error);
    if (status == RLV_DONE)
        status = rlv_cubes_build(&cells, list.count, list.position_mm, list.tag, side_mm, error);
    if (status == RLV_DONE && ((*patch = rlv_reserve(cells.count, sizeof **patch, error)) == NULL ||
                               (kept = rlv_reserve(cells.count, sizeof *kept, error)) == NULL))
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
        gather_cells(*patch, patch_count, kept, &cells, &list, normal, area_mm2, depth_mm, least);
    if (status == RLV_DONE && noise_per_mm2 != NULL)
        status = relate_noise(noise_per_mm2, *patch, *patch_count, &list, &cells, kept, normal, area_mm2,
                              noise_length_mm, error);
    rlv_cubes_free(&cells);
    free(kept);
    free(list.index);
    free(list.position_mm);
    free(list.tag);
    return status;
}

// The model

/// The trend at a patch, about the origin.
static void trend_of(const rlv_misfit* field, const rlv_patch* p, double row[MOST_TREND])
{
    const double per = 1.0 / field->size_mm;
    row[0] = p->normal.x;
    row[1] = p->normal.y;
    row[2] = p->normal.z;
    row[3] = p->turn_mm.x * per;
    row[4] = p->turn_mm.y * per;
    row[5] = p->turn_mm.z * per;
    row[6] = p->breadth_mm * per;
}

/// What one grid point needs: the Cholesky factor of the patches' covariance (in units of the nugget of a patch of mean
/// area), and the trend and the depths solved with it.
typedef struct solved
{
    double* block;          ///< what the views below look at
    gsl_matrix_view factor; ///< count x count, lower
    gsl_matrix_view trend;  ///< count x trend_count: L^-1 X
    gsl_vector_view depth;  ///< L^-1 r
    gsl_vector_view cross;  ///< count, for a prediction
    gsl_matrix_view
        normal; ///< trend_count x trend_count: Cholesky factor of X' V^-1 X (with the prior of scale once known)
    gsl_vector_view motion; ///< b
    double log_determinant; ///< log |V| + log |X' V^-1 X|
    double residual;        ///< r' P r
} solved;

/// Room for one grid point; the caller frees `block`. GSL's own allocators would abort where memory is short.
static bool reserve_solved(solved* s, size_t count, size_t trend_count)
{
    double* at = s->block =
        rlv_reserve(count * (count + trend_count + 2) + trend_count * (trend_count + 1), sizeof *s->block, NULL);
    if (at == NULL)
        return false;
    s->factor = gsl_matrix_view_array(at, count, count);
    s->trend = gsl_matrix_view_array(at += count * count, count, trend_count);
    s->depth = gsl_vector_view_array(at += count * trend_count, count);
    s->cross = gsl_vector_view_array(at += count, count);
    s->normal = gsl_matrix_view_array(at += count, trend_count, trend_count);
    s->motion = gsl_vector_view_array(at + trend_count * trend_count, trend_count);
    return true;
}

static void fill_covariance(const rlv_misfit* field, const grid_point* at, gsl_matrix* v)
{
    for (size_t i = 0; i < field->count; i++)
    {
        const double* noise = field->noise_per_mm2 + field->count * i;
        for (size_t j = 0; j <= i; j++)
        {
            const double warp = at->warp != NULL ? at->warp[field->count * i + j] : 0.0;
            gsl_matrix_set(v, i, j, at->strength * warp + field->mean_area_mm2 * noise[j]);
        }
    }
}

static double log_diagonal(const gsl_matrix* factor)
{
    double sum = 0.0;
    for (size_t i = 0; i < factor->size1; i++)
        sum += log(gsl_matrix_get(factor, i, i));
    return sum;
}

/// A motion that the surface does not resist (along a plate, about a turned body's axis) is held by a prior this weak,
/// relative to the best resisted one; its flux through any part of that surface is nothing.
static const double SLIP_PRIOR = 1e-10;

/// Solve the field at one grid point. `scale_precision` is the prior's, 0 for none.
static void solve(const rlv_misfit* field, const grid_point* at, double scale_precision, solved* s)
{
    gsl_matrix *factor = &s->factor.matrix, *trend = &s->trend.matrix, *normal = &s->normal.matrix;
    gsl_vector *depth = &s->depth.vector, *motion = &s->motion.vector;
    fill_covariance(field, at, factor);
    rlv_cholesky(field->count, factor->data);
    for (size_t i = 0; i < field->count; i++)
    {
        double row[MOST_TREND];
        trend_of(field, field->patch + i, row);
        for (size_t k = 0; k < field->trend_count; k++)
            gsl_matrix_set(trend, i, k, row[k]);
        gsl_vector_set(depth, i, field->patch[i].depth_mm);
    }
    gsl_blas_dtrsm(CblasLeft, CblasLower, CblasNoTrans, CblasNonUnit, 1.0, factor, trend);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, factor, depth);
    gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1.0, trend, trend, 0.0, normal);
    double greatest = 0.0;
    for (size_t k = 0; k < field->trend_count; k++)
        greatest = fmax(greatest, gsl_matrix_get(normal, k, k));
    for (size_t k = 0; k < field->trend_count; k++)
        *gsl_matrix_ptr(normal, k, k) += SLIP_PRIOR * greatest;
    if (field->trend_count == MOST_TREND)
        *gsl_matrix_ptr(normal, 6, 6) += scale_precision;
    gsl_blas_dgemv(CblasTrans, 1.0, trend, depth, 0.0, motion);
    if (field->trend_count == MOST_TREND)
        *gsl_vector_ptr(motion, 6) += scale_precision * field->scale_mean * field->size_mm;
    gsl_linalg_cholesky_decomp1(normal);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, normal, motion);
    const double explained = gsl_blas_dnrm2(motion), total = gsl_blas_dnrm2(depth);
    gsl_blas_dtrsv(CblasLower, CblasTrans, CblasNonUnit, normal, motion);
    s->residual = fmax(total * total - explained * explained, 0.0);
    s->log_determinant = 2.0 * (log_diagonal(factor) + log_diagonal(normal));
}

/// Variances are never taken for smaller than this: a tenth of what rounding to float leaves on a block of 300 mm.
static const double LEAST_VARIANCE_MM2 = 1e-12;

/// The restricted likelihood of a grid point, and the nugget that goes with it.
static double log_likelihood(const rlv_misfit* field, grid_point* at, const solved* s)
{
    const double freedom = (double)(field->count - field->trend_count);
    at->nugget_mm2 = fmax(s->residual / freedom, LEAST_VARIANCE_MM2);
    return -0.5 * (freedom * log(at->nugget_mm2) + s->residual / at->nugget_mm2 + s->log_determinant);
}

/// The grid: ranges from one and a half patches (what is shorter is the nugget, and would crowd out a weak long warp)
/// to twice the half width of the block, strengths over six decades.
static void lay_grid(rlv_misfit* field)
{
    const double shortest = 1.5 * sqrt(field->mean_area_mm2), longest = 2.0 * field->size_mm;
    const size_t n = field->count;
    for (int i = 0; i < RANGES; i++)
        for (int j = 0; j < STRENGTHS; j++)
            field->grid[STRENGTHS * i + j] =
                (grid_point){.length_mm = shortest * pow(longest / shortest, (double)i / (RANGES - 1)),
                             .strength = LEAST_STRENGTH * pow(STRENGTH_STEP, j),
                             .warp = field->warp + n * n * (size_t)i};
    field->grid[GRID - 1] = (grid_point){.length_mm = shortest, .strength = 0.0};
#pragma omp parallel for collapse(2) schedule(static)
    for (size_t r = 0; r < RANGES; r++)
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j <= i; j++)
                field->warp[n * (n * r + i) + j] =
                    covariance(field->patch + i, field->patch + j, field->grid[STRENGTHS * r].length_mm);
}

/// Evaluate the marked points of the grid.
static rlv_status evaluate(rlv_misfit* field, const bool wanted[GRID], double likelihood[GRID], rlv_error* error)
{
    bool held = true;
#pragma omp parallel
    {
        solved s;
        const bool mine = reserve_solved(&s, field->count, field->trend_count);
#pragma omp for schedule(dynamic, 1)
        for (int g = 0; g < GRID; g++)
        {
            if (!mine || !wanted[g])
                continue;
            solve(field, field->grid + g, 0.0, &s);
            const double found = log_likelihood(field, field->grid + g, &s);
            likelihood[g] = isfinite(found) ? found : -INFINITY; // no covariance of this range is positive definite
        }
        if (!mine)
        {
#pragma omp atomic write
            held = false;
        }
        free(s.block);
    }
    return held ? RLV_DONE : rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the misfit");
}

/// Whether a point between the coarse grid's has a neighbour there whose likelihood is within HOPE of the best.
static bool hopeful(const double likelihood[GRID], int range, int strength, double best)
{
    for (int i = range - 1; i <= range + 1; i++)
        for (int j = strength - 1; j <= strength + 1; j++)
            if (i >= 0 && i < RANGES && j >= 0 && j < STRENGTHS && likelihood[STRENGTHS * i + j] > best - HOPE)
                return true;
    return false;
}

/// Weigh the grid, first every other point of it, then what lies between where the likelihood is not lost.
static rlv_status weigh_grid(rlv_misfit* field, rlv_error* error)
{
    double likelihood[GRID], best = -INFINITY, sum = 0.0;
    bool wanted[GRID] = {false};
    for (int g = 0; g < GRID; g++)
    {
        wanted[g] = g == GRID - 1 || (g / STRENGTHS % 2 == 0 && g % STRENGTHS % 2 == 0);
        likelihood[g] = -INFINITY;
    }
    rlv_status status = evaluate(field, wanted, likelihood, error);
    for (int g = 0; g < GRID; g++)
        best = fmax(best, likelihood[g]);
    for (int g = 0; g < GRID; g++)
        wanted[g] = !wanted[g] && hopeful(likelihood, g / STRENGTHS, g % STRENGTHS, best);
    if (status == RLV_DONE)
        status = evaluate(field, wanted, likelihood, error);
    if (status != RLV_DONE)
        return status;
    // Before the data speak, every sd of the warp is as likely as any other (A. Gelman, Prior distributions for
    // variance parameters in hierarchical models, Bayesian Analysis 1, 2006), from none on: even in the log, weak warps
    // would crowd out the one whose long waves show least where the surface held still.
    for (int g = 0; g < GRID; g++)
        likelihood[g] += 0.5 * log(g < GRID - 1 ? field->grid[g].strength : LEAST_STRENGTH / STRENGTH_STEP);
    best = -INFINITY;
    for (int g = 0; g < GRID; g++)
        best = fmax(best, likelihood[g]);
    if (!isfinite(best))
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "look at the surface that held still for folds and stray shells",
                        "no covariance of the misfit there is positive definite");
    for (int g = 0; g < GRID; g++)
        sum += field->grid[g].weight = exp(likelihood[g] - best);
    for (int g = 0; g < GRID; g++)
        field->grid[g].weight /= sum;
    return RLV_DONE;
}

/// Copy the noise's covariances; without any, the noise of two patches is independent.
static void set_noise(rlv_misfit* field, const double* noise_per_mm2)
{
    if (noise_per_mm2 != NULL)
        memcpy(field->noise_per_mm2, noise_per_mm2, field->count * field->count * sizeof *noise_per_mm2);
    else
        for (size_t i = 0; i < field->count; i++)
            field->noise_per_mm2[(field->count + 1) * i] = 1.0 / field->patch[i].area_mm2;
}

rlv_status rlv_misfit_fit(rlv_misfit** field, const rlv_patch* patch, const double* noise_per_mm2, size_t count,
                          double scale_mean, double scale_sd, rlv_error* error)
{
    *field = NULL;
    if (count < LEAST_PATCHES)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL,
                        "scan more of the surface that did not change, or put marks on the rim",
                        "only %zu patches of surface held still; %d are needed", count, LEAST_PATCHES);
    rlv_misfit* f = rlv_reserve(1, sizeof *f, error);
    if (f == NULL)
        return RLV_SYSTEM;
    f->count = count;
    f->scale_mean = scale_mean;
    f->scale_sd = scale_sd;
    f->trend_count = scale_sd > 0.0 ? MOST_TREND : MOST_TREND - 1;
    rlv_status status = RLV_SYSTEM;
    if ((f->patch = rlv_reserve(count, sizeof *f->patch, error)) != NULL &&
        (f->noise_per_mm2 = rlv_reserve(count * count, sizeof *f->noise_per_mm2, error)) != NULL &&
        (f->warp = rlv_reserve(RANGES * count * count, sizeof *f->warp, error)) != NULL)
    {
        memcpy(f->patch, patch, count * sizeof *patch);
        set_noise(f, noise_per_mm2);
        rlv_vec3 low = patch[0].centre_mm, high = low;
        for (size_t i = 0; i < count; i++)
        {
            const rlv_vec3 c = patch[i].centre_mm;
            f->mean_area_mm2 += patch[i].area_mm2 / (double)count;
            low = rlv_vec3_of(fmin(low.x, c.x), fmin(low.y, c.y), fmin(low.z, c.z));
            high = rlv_vec3_of(fmax(high.x, c.x), fmax(high.y, c.y), fmax(high.z, c.z));
        }
        f->size_mm = fmax(0.5 * rlv_vec3_length(rlv_vec3_sub(high, low)), 1e-6);
        lay_grid(f);
        status = weigh_grid(f, error);
    }
    if (status != RLV_DONE)
        rlv_misfit_free(f);
    else
        *field = f;
    return status;
}

void rlv_misfit_free(rlv_misfit* field)
{
    if (field != NULL)
    {
        free(field->patch);
        free(field->noise_per_mm2);
        free(field->warp);
    }
    free(field);
}

rlv_misfit_summary rlv_misfit_summarise(const rlv_misfit* field)
{
    rlv_misfit_summary summary = {0};
    double warp = 0.0, log_length = 0.0;
    for (int g = 0; g < GRID; g++)
    {
        const grid_point* at = field->grid + g;
        summary.noise_mm4 += at->weight * at->nugget_mm2 * field->mean_area_mm2;
        summary.warp_sd_mm += at->weight * at->strength * at->nugget_mm2;
        if (at->strength > 0.0)
            warp += at->weight, log_length += at->weight * log(at->length_mm);
    }
    summary.warp_sd_mm = sqrt(summary.warp_sd_mm);
    summary.warp_length_mm = warp > 0.0 ? exp(log_length / warp) : 0.0;
    summary.no_warp = field->grid[GRID - 1].weight;
    return summary;
}

// Prediction

/// One grid point's say on one volume.
typedef struct say
{
    double mean, variance;
} say;

static double area_of(const rlv_patch* patch, size_t count)
{
    double area = 0.0;
    for (size_t i = 0; i < count; i++)
        area += patch[i].area_mm2;
    return area;
}

static double own_covariance(const rlv_patch* patch, size_t count, double length_mm)
{
    double sum = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        double row = 0.5 * patch[i].area_mm2 * covariance(patch + i, patch + i, length_mm);
        for (size_t j = 0; j < i; j++)
            row += patch[j].area_mm2 * covariance(patch + i, patch + j, length_mm);
        sum += 2.0 * patch[i].area_mm2 * row;
    }
    return sum;
}

/// Add to `cross` what a surface shares with each patch of the field, for a warp of unit variance; half its weight, as
/// the surfaces before and after share a volume.
static void add_cross(const rlv_misfit* field, const rlv_patch* patch, size_t count, double length_mm, double* cross)
{
    for (size_t i = 0; i < field->count; i++)
    {
        double sum = 0.0;
        for (size_t j = 0; j < count; j++)
            sum += patch[j].area_mm2 * covariance(field->patch + i, patch + j, length_mm);
        cross[i] += 0.5 * sum;
    }
}

/// What volumes share with a warp of unit variance, by volume and range: with themselves, and then with each patch. The
/// ranges of `point` alone are filled. The caller's: free(); NULL where memory ran out.
static double* share_warps(const rlv_misfit* field, const rlv_flux* flux, size_t count, const int* point, size_t points)
{
    const size_t row = 1 + field->count;
    bool wanted[RANGES + 1] = {false}; // the last for the point without warp
    double* shared = rlv_reserve(count * RANGES * row, sizeof *shared, NULL);
    if (shared == NULL)
        return NULL;
    for (size_t p = 0; p < points; p++)
        wanted[point[p] / STRENGTHS] = true;
#pragma omp parallel for collapse(2) schedule(dynamic, 1)
    for (size_t t = 0; t < count; t++)
        for (size_t r = 0; r < RANGES; r++)
        {
            const double length = field->grid[STRENGTHS * r].length_mm;
            double* at = shared + (RANGES * t + r) * row;
            if (!wanted[r])
                continue;
            at[0] = 0.5 * (own_covariance(flux[t].before, flux[t].before_count, length) +
                           own_covariance(flux[t].after, flux[t].after_count, length));
            add_cross(field, flux[t].before, flux[t].before_count, length, at + 1);
            add_cross(field, flux[t].after, flux[t].after_count, length, at + 1);
        }
    return shared;
}

/// The flux of the trend's columns: rigid motions pass through the surface before and after alike, so that their mean
/// is the least noisy; scale moves the surface after.
static void flux_of_trend(const rlv_misfit* field, const rlv_flux* flux, double sum[MOST_TREND])
{
    double row[MOST_TREND];
    memset(sum, 0, MOST_TREND * sizeof *sum);
    for (size_t i = 0; i < flux->before_count; i++)
    {
        trend_of(field, flux->before + i, row);
        for (int k = 0; k < 6; k++)
            sum[k] += 0.5 * flux->before[i].area_mm2 * row[k];
    }
    for (size_t i = 0; i < flux->after_count; i++)
    {
        trend_of(field, flux->after + i, row);
        for (int k = 0; k < 6; k++)
            sum[k] += 0.5 * flux->after[i].area_mm2 * row[k];
        sum[6] += flux->after[i].area_mm2 * row[6];
    }
}

/// Universal block kriging of one volume's error at one grid point: Cressie 1993, equations 3.4.1 ff. in the form with
/// the Cholesky factor. `shared` as share_warps has it of this volume and range.
static say krige(const rlv_misfit* field, const grid_point* at, solved* s, const rlv_flux* flux, const double* shared)
{
    gsl_vector* cross = &s->cross.vector;
    double trend[MOST_TREND], mean = 0.0, residual = 0.0;
    flux_of_trend(field, flux, trend);
    gsl_vector_set_zero(cross);
    double own = 0.5 * field->mean_area_mm2 *
                 (area_of(flux->before, flux->before_count) + area_of(flux->after, flux->after_count));
    own += at->warp != NULL ? at->strength * shared[0] : 0.0;
    for (size_t i = 0; at->warp != NULL && i < field->count; i++)
        gsl_vector_set(cross, i, at->strength * shared[1 + i]);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &s->factor.matrix, cross);
    double known, motion, left[MOST_TREND];
    gsl_blas_ddot(cross, cross, &known);
    gsl_blas_ddot(cross, &s->depth.vector, &residual);
    memcpy(left, trend, sizeof left);
    gsl_vector_view rest = gsl_vector_view_array(left, field->trend_count);
    gsl_blas_dgemv(CblasTrans, -1.0, &s->trend.matrix, cross, 1.0, &rest.vector);
    gsl_blas_ddot(&rest.vector, &s->motion.vector, &mean);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &s->normal.matrix, &rest.vector);
    gsl_blas_ddot(&rest.vector, &rest.vector, &motion);
    return flux->blind ? (say){0.0, at->nugget_mm2 * own}
                       : (say){mean + residual, at->nugget_mm2 * fmax(own - known + motion, 0.0)};
}

/// The place below which `share` of the mixture lies, by bisection.
static double mixture_quantile(const say* row, const double* weight, size_t count, double freedom, double share,
                               double mean, double sd)
{
    double low = mean - 60.0 * sd, high = mean + 60.0 * sd;
    for (int step = 0; step < 60; step++)
    {
        const double middle = 0.5 * (low + high);
        double below = 0.0;
        for (size_t g = 0; g < count; g++)
            below += weight[g] * (row[g].variance > 0.0
                                      ? gsl_cdf_tdist_P((middle - row[g].mean) / sqrt(row[g].variance), freedom)
                                      : (middle >= row[g].mean ? 1.0 : 0.0));
        if (below < share)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

static rlv_flux_error mix(const say* row, const double* weight, size_t count, double freedom)
{
    double mean = 0.0, variance = 0.0, sum = 0.0;
    for (size_t g = 0; g < count; g++)
        mean += weight[g] * row[g].mean, sum += weight[g];
    mean /= sum;
    for (size_t g = 0; g < count; g++)
        variance += weight[g] / sum * (row[g].variance + (row[g].mean - mean) * (row[g].mean - mean));
    rlv_flux_error mixed = {mean, sqrt(variance), mean, mean};
    if (variance > 0.0)
    {
        mixed.low_mm3 = mixture_quantile(row, weight, count, freedom, 0.025 * sum, mean, mixed.sd_mm3);
        mixed.high_mm3 = mixture_quantile(row, weight, count, freedom, 0.975 * sum, mean, mixed.sd_mm3);
    }
    return mixed;
}

/// Krige all volumes at the grid points that matter; `row` gets a say for each volume and point, volume by volume.
static bool krige_all(const rlv_misfit* field, const rlv_flux* flux, size_t count, const int* point, size_t points,
                      say* row)
{
    double* shared = share_warps(field, flux, count, point, points);
    bool held = shared != NULL;
#pragma omp parallel if (held)
    {
        solved s;
        const bool mine = reserve_solved(&s, field->count, field->trend_count);
#pragma omp for schedule(dynamic, 1)
        for (size_t g = 0; g < points; g++)
        {
            const grid_point* at = field->grid + point[g];
            const size_t range = (size_t)(point[g] / STRENGTHS);
            const double scale = field->scale_sd * field->size_mm; // columns are divided by the size
            const double precision = scale > 0.0 ? at->nugget_mm2 / (scale * scale) : 0.0;
            if (!mine || shared == NULL)
                continue;
            solve(field, at, precision, &s);
            for (size_t t = 0; t < count; t++)
                row[points * t + g] =
                    krige(field, at, &s, flux + t, shared + (RANGES * t + range) * (1 + field->count));
        }
        if (!mine)
        {
#pragma omp atomic write
            held = false;
        }
        free(s.block);
    }
    free(shared);
    return held;
}

rlv_status rlv_misfit_predict(const rlv_misfit* field, const rlv_flux* flux, size_t count, rlv_flux_error* flux_error,
                              rlv_error* error)
{
    int point[GRID];
    double weight[GRID];
    size_t points = 0;
    for (int g = 0; g < GRID; g++)
        if (field->grid[g].weight > LEAST_WEIGHT)
            point[points] = g, weight[points++] = field->grid[g].weight;
    say* row = rlv_reserve(points * count, sizeof *row, error);
    if (row == NULL)
        return RLV_SYSTEM;
    rlv_status status = RLV_DONE;
    if (!krige_all(field, flux, count, point, points, row))
        status = rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the misfit");
    for (size_t t = 0; status == RLV_DONE && t < count; t++)
        flux_error[t] = mix(row + points * t, weight, points, (double)(field->count - field->trend_count));
    free(row);
    return status;
}

// Motion

/// The trend about a centre, and the same weighted by area: count x trend_count each.
static void lay_motion(const rlv_misfit* field, rlv_vec3 centre, gsl_matrix* trend, gsl_matrix* weighed)
{
    for (size_t i = 0; i < field->count; i++)
    {
        rlv_patch p = field->patch[i];
        p.turn_mm = rlv_vec3_sub(p.turn_mm, rlv_vec3_cross(centre, p.normal));
        p.breadth_mm -= rlv_vec3_dot(centre, p.normal);
        double row[MOST_TREND];
        trend_of(field, &p, row);
        for (size_t k = 0; k < field->trend_count; k++)
        {
            gsl_matrix_set(trend, i, k, row[k]);
            gsl_matrix_set(weighed, i, k, row[k] * p.area_mm2 / field->mean_area_mm2);
        }
    }
}

/// Add X'W V W X of one grid point, times `share`, to `meat`.
static void add_meat(const rlv_misfit* field, const grid_point* at, double share, const gsl_matrix* weighed,
                     gsl_matrix* v, gsl_matrix* carried, gsl_matrix* meat)
{
    fill_covariance(field, at, v);
    gsl_blas_dsymm(CblasLeft, CblasLower, share * at->nugget_mm2, v, weighed, 0.0, carried);
    gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1.0, weighed, carried, 1.0, meat);
}

/// What is known of the scale beforehand narrows all that goes with it: the best linear update by one observation.
static void update_by_scale(const rlv_misfit* field, gsl_matrix* covariance)
{
    double column[MOST_TREND];
    const double sd = field->scale_sd * field->size_mm, sum = gsl_matrix_get(covariance, 6, 6) + sd * sd;
    for (size_t k = 0; k < MOST_TREND; k++)
        column[k] = gsl_matrix_get(covariance, k, 6);
    for (size_t k = 0; k < MOST_TREND; k++)
        for (size_t l = 0; l < MOST_TREND; l++)
            *gsl_matrix_ptr(covariance, k, l) -= column[k] * column[l] / sum;
}

rlv_status rlv_misfit_motion(double covariance[49], const rlv_misfit* field, rlv_vec3 centre_mm, rlv_error* error)
{
    const size_t n = field->count, k = field->trend_count;
    double bread_at[MOST_TREND * MOST_TREND], meat_at[MOST_TREND * MOST_TREND] = {0};
    double* room = rlv_reserve(n * (n + 3 * k), sizeof *room, error);
    memset(covariance, 0, 49 * sizeof *covariance);
    if (room == NULL)
        return RLV_SYSTEM;
    gsl_matrix_view v = gsl_matrix_view_array(room, n, n), trend = gsl_matrix_view_array(room + n * n, n, k),
                    weighed = gsl_matrix_view_array(room + n * (n + k), n, k),
                    carried = gsl_matrix_view_array(room + n * (n + 2 * k), n, k),
                    bread = gsl_matrix_view_array(bread_at, k, k), meat = gsl_matrix_view_array(meat_at, k, k);
    double greatest = 0.0;
    lay_motion(field, centre_mm, &trend.matrix, &weighed.matrix);
    gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1.0, &trend.matrix, &weighed.matrix, 0.0, &bread.matrix);
    for (size_t i = 0; i < k; i++)
        greatest = fmax(greatest, gsl_matrix_get(&bread.matrix, i, i));
    for (size_t i = 0; i < k; i++)
        *gsl_matrix_ptr(&bread.matrix, i, i) += SLIP_PRIOR * greatest;
    for (int g = 0; g < GRID; g++)
        if (field->grid[g].weight > LEAST_WEIGHT)
            add_meat(field, field->grid + g, field->grid[g].weight, &weighed.matrix, &v.matrix, &carried.matrix,
                     &meat.matrix);
    // Meat between two inverses of the bread.
    gsl_linalg_cholesky_decomp1(&bread.matrix);
    gsl_linalg_cholesky_invert(&bread.matrix);
    gsl_matrix_view half = gsl_matrix_view_array(room, k, k), whole = gsl_matrix_view_array(room + k * k, k, k);
    gsl_blas_dgemm(CblasNoTrans, CblasNoTrans, 1.0, &bread.matrix, &meat.matrix, 0.0, &half.matrix);
    gsl_blas_dgemm(CblasNoTrans, CblasNoTrans, 1.0, &half.matrix, &bread.matrix, 0.0, &whole.matrix);
    if (k == MOST_TREND)
        update_by_scale(field, &whole.matrix);
    for (size_t i = 0; i < k; i++)
        for (size_t j = 0; j < k; j++)
            covariance[7 * i + j] =
                gsl_matrix_get(&whole.matrix, i, j) / (i > 2 ? field->size_mm : 1.0) / (j > 2 ? field->size_mm : 1.0);
    free(room);
    return RLV_DONE;
}
