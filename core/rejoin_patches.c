#include "rejoin_fit.h"

#include <gsl/gsl_linalg.h>
#include <stdlib.h>
#include <string.h>

#define N RLV_FIT_PARAMETERS

/// What neighbours share along their common edge is lost to patches of one size as 1 over their side: patches of twice
/// the side lose half as much, so that twice what these gain is what there is. At most:
static const double most_gain = 3.0;

typedef struct patch
{
    double weight, area_mm2, mean_mm;
    double plain[3]; ///< count, sum and sum of squares of all residuals, whatever they weigh
    double score[N];
    double resistance[N * N]; ///< its share of all parameters' resistance
} patch;

typedef struct patches
{
    size_t count;
    patch* patch;
} patches;

/// Mean slope of weight times residual, over the mean weight: what is left of the resistance where the loss bends.
static double bend(const rlv_fit_problem* problem, const rlv_fit_pair* pair)
{
    double slope = 0.0, total = 0.0;
    for (size_t i = 0; i < pair->samples->count; i++)
    {
        const double w = pair->weight[i], r = rlv_fit_left_over(problem, pair, i);
        if (!(w > 0.0))
            continue;
        const double c = pair->sd_mm * (r > 0.0 ? RLV_FIT_GAP_SDS : RLV_FIT_PENETRATION_SDS), u2 = r * r / (c * c);
        slope +=
            pair->face ? (1.0 - u2) * (1.0 - 5.0 * u2) : w * (1.0 - (1.0 - w) * r * r / (pair->sd_mm * pair->sd_mm));
        total += w;
    }
    return total > 0.0 ? fmax(slope / total, 0.2) : 0.0;
}

/// Patches of all samples of the pairs of one kind, and of one body where they are outer surfaces: both sides of a gap
/// share a patch. Scores are summed where asked for.
static rlv_status patches_sum(patches* p, const rlv_fit_problem* problem, bool face, int own, double side_mm,
                              bool scores, rlv_error* error)
{
    size_t total = 0;
    for (size_t k = 0; k < problem->pair_count; k++)
        if (problem->pair[k].face == face && (face || problem->pair[k].own == own))
            total += problem->pair[k].samples->count;
    float* at = rlv_reserve(3 * total, sizeof *at, error);
    rlv_sample_cells cells = {0};
    *p = (patches){0};
    if (at == NULL)
        return RLV_SYSTEM;
    size_t next = 0;
    for (size_t k = 0; k < problem->pair_count; k++)
    {
        const rlv_fit_pair* pair = problem->pair + k;
        if (pair->face == face && (face || pair->own == own))
            for (size_t i = 0; i < pair->samples->count; i++, next++)
            {
                at[3 * next] = (float)pair->at[i].x;
                at[3 * next + 1] = (float)pair->at[i].y;
                at[3 * next + 2] = (float)pair->at[i].z;
            }
    }
    rlv_status status = rlv_sample_cells_sort(&cells, total, at, side_mm, error);
    free(at);
    const size_t all = status == RLV_DONE ? cells.size[0] * cells.size[1] * cells.size[2] : 0;
    uint32_t* of = status == RLV_DONE ? rlv_reserve(total, sizeof *of, error) : NULL;
    for (size_t c = 0; c < all && of != NULL; c++)
    {
        if (cells.start[c + 1] == cells.start[c])
            continue;
        for (uint32_t k = cells.start[c]; k < cells.start[c + 1]; k++)
            of[cells.item[k]] = (uint32_t)p->count;
        p->count++;
    }
    p->patch = of != NULL ? rlv_reserve(p->count, sizeof *p->patch, error) : NULL;
    double factor[RLV_FIT_PAIRS] = {0};
    for (size_t k = 0; k < problem->pair_count && scores; k++)
        factor[k] = bend(problem, problem->pair + k);
    next = 0;
    for (size_t k = 0; k < problem->pair_count && p->patch != NULL; k++)
    {
        const rlv_fit_pair* pair = problem->pair + k;
        if (pair->face != face || !(face || pair->own == own))
            continue;
        const double area = pair->samples->step_mm2 * (face ? 0.5 : 1.0);
        for (size_t i = 0; i < pair->samples->count; i++)
        {
            patch* to = p->patch + of[next++];
            const double w = pair->weight[i], r = pair->residual_mm[i];
            to->area_mm2 += area;
            if (!isnan(r))
            {
                to->plain[0] += 1.0;
                to->plain[1] += r;
                to->plain[2] += r * r;
            }
            if (!(w > 0.0))
                continue;
            const double left = rlv_fit_left_over(problem, pair, i);
            to->weight += w * area;
            to->mean_mm += w * area * left;
            if (!scores)
                continue;
            double j[N];
            rlv_fit_gradient(j, problem, pair, i);
            const double resists = w * pair->info * factor[k];
            for (int q = 0; q < N; q++)
                to->score[q] += w * pair->info * left * j[q];
            for (int q = 0; q < N * N; q++)
                to->resistance[q] += resists * j[q / N] * j[q % N];
        }
    }
    for (size_t c = 0; c < p->count && p->patch != NULL; c++)
        p->patch[c].mean_mm /= p->patch[c].weight > 0.0 ? p->patch[c].weight : 1.0;
    free(of);
    rlv_sample_cells_free(&cells);
    return p->patch != NULL ? RLV_DONE : RLV_SYSTEM;
}

double rlv_fit_share(const rlv_fit_pair* pair)
{
    double sum = 0.0;
    for (size_t i = 0; i < pair->samples->count; i++)
        sum += pair->weight[i];
    return sum / (double)pair->samples->count;
}

/// Variance of a patch's mean times its area, over the patches of one kind that are mostly there; zero where these are
/// few.
static rlv_status mean_scatter(double* scatter, const rlv_fit_problem* problem, const rlv_fit_pair* pair,
                               rlv_error* error)
{
    patches p = {0};
    rlv_status status = patches_sum(&p, problem, pair->face, pair->own, RLV_FIT_PATCH_MM, false, error);
    double sum = 0.0, count = 0.0;
    for (size_t c = 0; c < p.count && status == RLV_DONE; c++)
        if (p.patch[c].weight > 0.3 * p.patch[c].area_mm2 &&
            p.patch[c].area_mm2 > 0.25 * RLV_FIT_PATCH_MM * RLV_FIT_PATCH_MM)
        {
            sum += p.patch[c].mean_mm * p.patch[c].mean_mm * p.patch[c].weight;
            count += 1.0;
        }
    *scatter = count > 3.0 ? sum / count : 0.0;
    free(p.patch);
    return status;
}

rlv_status rlv_fit_weigh_patches(rlv_fit_problem* problem, rlv_error* error)
{
    double face_scatter = -1.0; // of both sides of the gap, which share their patches
    for (size_t k = 0; k < problem->pair_count; k++)
    {
        rlv_fit_pair* pair = problem->pair + k;
        double scatter = pair->face ? face_scatter : -1.0;
        rlv_status status = RLV_DONE;
        if (problem->stride > 1)
            scatter = 0.0; // patches are not filled
        else if (scatter < 0.0)
            status = mean_scatter(&scatter, problem, pair, error);
        if (status != RLV_DONE)
            return status;
        if (pair->face)
            face_scatter = scatter;
        const double area = pair->samples->step_mm2 * (pair->face ? 0.5 : 1.0);
        const double least = 4.0 * pair->sd_mm * pair->sd_mm; // noise is correlated over a square millimetre at least
        pair->info = area / fmax(scatter > 0.0 ? scatter : 25.0 * pair->sd_mm * pair->sd_mm, least);
    }
    return RLV_DONE;
}

static int rising(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

rlv_status rlv_fit_noise(double* noise_mm, const rlv_fit_problem* problem, rlv_error* error)
{
    const double least = 20.0;  // residuals in a patch that tells
    const double within = 0.85; // of noise correlated over 2 mm, what is left within a patch
    patches p = {0};
    rlv_status status = patches_sum(&p, problem, true, 0, RLV_FIT_PATCH_MM, false, error);
    double* sd = status == RLV_DONE ? rlv_reserve(p.count, sizeof *sd, error) : NULL;
    size_t count = 0;
    for (size_t c = 0; c < p.count && sd != NULL; c++)
    {
        const double *s = p.patch[c].plain, mean = s[0] > 0.0 ? s[1] / s[0] : 0.0;
        if (s[0] > least)
            sd[count++] = sqrt(fmax(0.0, s[2] / s[0] - mean * mean));
    }
    if (count > 0)
    {
        qsort(sd, count, sizeof *sd, rising);
        *noise_mm = sd[count / 4] / within;
    }
    free(p.patch);
    free(sd);
    return sd != NULL ? RLV_DONE : RLV_SYSTEM;
}

static bool has_pairs(const rlv_fit_problem* problem, bool face, int own)
{
    for (size_t k = 0; k < problem->pair_count; k++)
        if (problem->pair[k].face == face && (face || problem->pair[k].own == own))
            return true;
    return false;
}

/// What is left of all parameters' resistance.
static void resistance(const rlv_fit_problem* problem, double bread[N * N])
{
    const int n = problem->parameters + RLV_FIT_OFFSETS;
    for (size_t p = 0; p < problem->pair_count; p++)
    {
        const rlv_fit_pair* pair = problem->pair + p;
        const double factor = bend(problem, pair) * pair->info;
        for (size_t i = 0; i < pair->samples->count; i++)
        {
            if (!(pair->weight[i] > 0.0))
                continue;
            double j[N];
            rlv_fit_gradient(j, problem, pair, i);
            for (int r = 0; r < n; r++)
                for (int c = 0; c < n; c++)
                    bread[r * n + c] += factor * pair->weight[i] * j[r] * j[c];
        }
    }
}

/// A patch draws the fit towards itself, and its score is less by what it drew: tell what it would be were the patch
/// left out of the fit (the jackknife of clusters; R. M. Bell, D. F. McCaffrey, Bias reduction in standard errors for
/// linear regression with multi-stage samples, Survey Methodology 28, 2002). Where a few patches hold a direction, as
/// what is left of a carved piece's outer surface may, that is much.
static bool leave_out(double score[N], const patch* p, int n, const double* inverse)
{
    double left[N * N], own[N];
    size_t order[N];
    for (int r = 0; r < n; r++)
    {
        own[r] = p->score[r];
        for (int c = 0; c < n; c++)
        {
            double sum = 0.0;
            for (int k = 0; k < n; k++)
                sum += p->resistance[r * N + k] * inverse[k * n + c];
            left[r * n + c] = (r == c ? 1.0 : 0.0) - sum;
        }
    }
    int sign;
    gsl_permutation permutation = {(size_t)n, order};
    gsl_matrix_view matrix = gsl_matrix_view_array(left, (size_t)n, (size_t)n);
    gsl_vector_view from = gsl_vector_view_array(own, (size_t)n), to = gsl_vector_view_array(score, (size_t)n);
    gsl_permutation_init(&permutation);
    gsl_linalg_LU_decomp(&matrix.matrix, &permutation, &sign);
    for (int r = 0; r < n; r++)
        if (!(fabs(left[r * n + r]) > 1e-6)) // without this patch nothing is held
            return false;
    gsl_linalg_LU_solve(&matrix.matrix, &permutation, &from.vector, &to.vector);
    return true;
}

/// The sum of the products of the patches' scores, each as if its patch were left out of the fit, in `meat`. How many
/// patches there are, zero where memory is short or one alone holds a direction. `variance` is of all parameters
/// together, from the products of each score as it is and as if it were left out: what the one lacks the other has too
/// much, so that patches of any size tell it without bias (P. Kline, R. Saggio, M. Sølvsten, Leave-out estimation of
/// variance components, Econometrica 88, 2020).
static double score_products(const rlv_fit_problem* problem, bool face, int own, double side_mm, const double* inverse,
                             double meat[N * N], double* variance, rlv_error* error)
{
    const int n = problem->parameters + RLV_FIT_OFFSETS;
    patches p = {0};
    double count = 0.0, square[N * N];
    if (patches_sum(&p, problem, face, own, side_mm, true, error) != RLV_DONE)
        return 0.0;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
        {
            square[i * n + j] = meat[i * n + j] = 0.0;
            for (int k = 0; k < n; k++)
                square[i * n + j] += inverse[i * n + k] * inverse[k * n + j];
        }
    *variance = 0.0;
    bool held = true;
    for (size_t k = 0; k < p.count && held; k++)
    {
        double alone[N];
        if (!(p.patch[k].weight > 0.0))
            continue;
        count += 1.0;
        held = leave_out(alone, &p.patch[k], n, inverse);
        for (int r = 0; r < n && held; r++)
            for (int c = 0; c < n; c++)
            {
                meat[r * n + c] += alone[r] * alone[c];
                *variance += p.patch[k].score[r] * square[r * n + c] * alone[c];
            }
    }
    free(p.patch);
    return held ? count : 0.0;
}

bool rlv_fit_covariance(const rlv_fit_problem* problem, double* covariance, rlv_error* error)
{
    const int n = problem->parameters + RLV_FIT_OFFSETS, told = problem->parameters;
    double bread[N * N] = {0}, meat[N * N] = {0}, inverse[N * N];
    const double prior = 1.0 / (problem->offset_sd_mm * problem->offset_sd_mm);
    resistance(problem, bread);
    for (int r = told; r < n; r++)
        bread[r * n + r] += prior;
    if (!rlv_fit_invert(n, bread, 1e-9, inverse))
        return false;
    double patch_count = 0.0;
    for (int kind = 0; kind < 3; kind++) // the faces, then the outer surface of either part
    {
        double own[N * N], coarse[N * N], fine_variance, coarse_variance;
        if (!has_pairs(problem, kind == 0, kind))
            continue;
        const double count =
            score_products(problem, kind == 0, kind, RLV_FIT_PATCH_MM, inverse, own, &fine_variance, error);
        if (!(count > 0.0) || !(score_products(problem, kind == 0, kind, 2.0 * RLV_FIT_PATCH_MM, inverse, coarse,
                                               &coarse_variance, error) > 0.0))
            return false;
        const double gain = fmin(fmax(2.0 * coarse_variance / fine_variance - 1.0, 1.0), most_gain);
        for (int i = 0; i < n * n; i++)
            meat[i] += gain * own[i];
        patch_count += count;
    }
    for (int r = told; r < n; r++)
        meat[r * n + r] += prior;
    if (!(patch_count > n + 1.0))
        return false;
    for (int i = 0; i < told; i++)
        for (int j = 0; j < told; j++)
        {
            double sum = 0.0;
            for (int k = 0; k < n; k++)
                for (int l = 0; l < n; l++)
                    sum += inverse[i * n + k] * meat[k * n + l] * inverse[l * n + j];
            const double unit = (i % 6 > 2 ? problem->radius_mm : 1.0) * (j % 6 > 2 ? problem->radius_mm : 1.0);
            covariance[i * told + j] = sum / unit;
        }
    return true;
}
