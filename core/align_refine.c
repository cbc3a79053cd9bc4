#include "align_refine.h"

#include <float.h>
#include <gsl/gsl_eigen.h>
#include <stdlib.h>
#include <string.h>

#define PARAMETERS 7

/// Least share of the surface (in the sense of the eigenvalues of the normalised Hessian) that must resist a motion. A
/// normal that leans against the motion by half a degree in the root mean square gives this much; the normals of two
/// noisy scans of a surface that leans nowhere give less than a quarter of it.
static const double resisting_share = 1e-4;

/// One round's view of the samples.
typedef struct work
{
    size_t count;
    size_t stride;
    const uint8_t* mask;  ///< one a sample: 0 where a patch is left out; NULL: none is
    float* query_mm;      ///< 3 * count
    rlv_nearest* nearest; ///< count, as the last round found them
    rlv_vec3* at;         ///< count, samples carried by the pose
    rlv_vec3* own;        ///< count, AFTER's normals carried by the pose
    rlv_vec3* foot;       ///< count, BEFORE's normals at the foot points
    double* residual_mm;  ///< count, signed distance along the normal; NaN where there is no partner
    double* weight;       ///< count, probability of having held still
} work;

static void work_free(work* w)
{
    free(w->query_mm);
    free(w->nearest);
    free(w->at);
    free(w->own);
    free(w->foot);
    free(w->residual_mm);
    free(w->weight);
    memset(w, 0, sizeof *w);
}

static rlv_status work_reserve(work* w, size_t samples, size_t stride, rlv_error* error)
{
    w->stride = stride;
    w->count = (samples + stride - 1) / stride;
    w->query_mm = rlv_reserve(3 * w->count, sizeof *w->query_mm, error);
    w->nearest = w->query_mm != NULL ? rlv_nearest_reserve(w->count, error) : NULL;
    w->at = w->nearest != NULL ? rlv_reserve(w->count, sizeof *w->at, error) : NULL;
    w->own = w->at != NULL ? rlv_reserve(w->count, sizeof *w->own, error) : NULL;
    w->foot = w->own != NULL ? rlv_reserve(w->count, sizeof *w->foot, error) : NULL;
    w->residual_mm = w->foot != NULL ? rlv_reserve(w->count, sizeof *w->residual_mm, error) : NULL;
    w->weight = w->residual_mm != NULL ? rlv_reserve(w->count, sizeof *w->weight, error) : NULL;
    if (w->weight != NULL)
        return RLV_DONE;
    work_free(w);
    return RLV_SYSTEM;
}

static rlv_vec3 facet_normal(const rlv_mesh* mesh, size_t triangle)
{
    rlv_vec3 corner[3];
    for (size_t k = 0; k < 3; k++)
        corner[k] = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * triangle + k]);
    return rlv_vec3_unit(rlv_vec3_cross(rlv_vec3_sub(corner[1], corner[0]), rlv_vec3_sub(corner[2], corner[0])));
}

/// Residual of sample `i` of the round. A foot point that lies aside of the sample rather than under it is on an open
/// border of BEFORE, and surfaces that face different ways are no partners.
static double residual_of(work* w, const rlv_refine* refine, size_t i, double sd_mm)
{
    const rlv_nearest* near = w->nearest + i;
    if (near->triangle == RLV_TREE_NONE)
        return NAN;
    if (refine->before_left_out != NULL && refine->before_left_out[near->triangle] != 0)
        return NAN;
    w->foot[i] = facet_normal(refine->before, near->triangle);
    if (!(rlv_vec3_dot(w->foot[i], w->own[i]) > 0.5))
        return NAN;
    rlv_vec3 apart = rlv_vec3_sub(w->at[i], rlv_vec3_from(near->point_mm));
    double along = rlv_vec3_dot(apart, rlv_vec3_unit(rlv_vec3_add(w->foot[i], w->own[i])));
    double distance = rlv_vec3_length(apart);
    if (distance * distance - along * along > 9.0 * sd_mm * sd_mm)
        return NAN;
    return copysign(distance, along);
}

static void measure(work* w, const rlv_refine* refine, const rlv_pose* pose, double limit_mm, double sd_mm)
{
    const rlv_samples* samples = refine->samples;
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < w->count; i++)
    {
        w->at[i] = rlv_pose_apply(pose, rlv_vec3_from(samples->position_mm + 3 * i * w->stride));
        w->own[i] = rlv_mat3_apply(pose->rotation, rlv_vec3_from(samples->normal + 3 * i * w->stride));
        w->query_mm[3 * i] = (float)w->at[i].x;
        w->query_mm[3 * i + 1] = (float)w->at[i].y;
        w->query_mm[3 * i + 2] = (float)w->at[i].z;
    }
    rlv_tree_nearest_again(refine->tree, w->count, w->query_mm, (float)limit_mm, w->nearest);
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < w->count; i++)
        w->residual_mm[i] = w->mask != NULL && w->mask[i * w->stride] == 0 ? NAN : residual_of(w, refine, i, sd_mm);
}

/// Width and share of a Gaussian about zero over an even background in +-window, and each residual's weight.
static void weigh(work* w, double window_mm, double floor_mm, bool sd_fixed, double* sd_mm, double* share)
{
    for (int round = 0; round < 6; round++)
    {
        const double peak = *share / (*sd_mm * 2.5066282746310002), even = (1.0 - *share) / (2.0 * window_mm);
        double sum = 0.0, square = 0.0;
        size_t inside = 0;
        for (size_t i = 0; i < w->count; i++)
        {
            const double r = w->residual_mm[i];
            w->weight[i] = 0.0;
            if (!(fabs(r) < window_mm))
                continue;
            const double u = r / *sd_mm, gauss = peak * exp(-0.5 * u * u);
            w->weight[i] = gauss / (gauss + even);
            sum += w->weight[i];
            square += w->weight[i] * r * r;
            inside++;
        }
        if (inside == 0 || !(sum > 0.0))
            return;
        if (!sd_fixed)
            *sd_mm = fmin(fmax(sqrt(square / sum), floor_mm), 0.25 * window_mm);
        *share = fmin(fmax(sum / (double)inside, 0.01), 0.99);
    }
}

/// How the residual at `at` changes with the seven parameters, where the surface faces `normal`. Turns are in units of
/// 1 / radius_mm radians, log scale too, so that all seven are comparable.
static void gradient(double j[PARAMETERS], rlv_vec3 at, rlv_vec3 centre, rlv_vec3 normal, double radius_mm)
{
    rlv_vec3 arm = rlv_vec3_scale(rlv_vec3_sub(at, centre), 1.0 / radius_mm);
    rlv_vec3 turn = rlv_vec3_cross(arm, normal);
    j[0] = normal.x, j[1] = normal.y, j[2] = normal.z;
    j[3] = turn.x, j[4] = turn.y, j[5] = turn.z;
    j[6] = rlv_vec3_dot(arm, normal);
}

/// Eigenvalues (rising) and eigenvectors (columns) of a symmetric n x n matrix.
static bool eigen(int n, const double* a, double* value, double* vector)
{
    double copy[PARAMETERS * PARAMETERS];
    for (int i = 0; i < n * n; i++)
    {
        if (!isfinite(a[i]))
            return false;
        copy[i] = a[i];
    }
    gsl_eigen_symmv_workspace* space = gsl_eigen_symmv_alloc((size_t)n);
    if (space == NULL)
        return false;
    gsl_matrix_view from = gsl_matrix_view_array(copy, (size_t)n, (size_t)n);
    gsl_matrix_view to = gsl_matrix_view_array(vector, (size_t)n, (size_t)n);
    gsl_vector_view values = gsl_vector_view_array(value, (size_t)n);
    gsl_eigen_symmv(&from.matrix, &values.vector, &to.matrix, space);
    gsl_eigen_symmv_sort(&values.vector, &to.matrix, GSL_EIGEN_SORT_VAL_ASC);
    gsl_eigen_symmv_free(space);
    return true;
}

/// Inverse of a symmetric matrix, its eigenvalues held above `floor`.
static bool invert(int n, const double* a, double floor, double* inverse)
{
    double value[PARAMETERS], vector[PARAMETERS * PARAMETERS];
    if (!eigen(n, a, value, vector))
        return false;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
        {
            double sum = 0.0;
            for (int k = 0; k < n; k++)
                sum += vector[i * n + k] * vector[j * n + k] / fmax(value[k], floor);
            inverse[i * n + j] = sum;
        }
    return true;
}

static rlv_vec3 centre_of(const work* w)
{
    rlv_vec3 sum = {0, 0, 0};
    double total = 0.0;
    for (size_t i = 0; i < w->count; i++)
        if (w->weight[i] > 0.0)
        {
            sum = rlv_vec3_along(sum, w->weight[i], w->at[i]);
            total += w->weight[i];
        }
    return total > 0.0 ? rlv_vec3_scale(sum, 1.0 / total) : sum;
}

/// One weighted Gauss-Newton step. Returns how far the farthest sample may have moved, or infinity where nothing is
/// held.
static double step_pose(work* w, const rlv_refine* refine, rlv_pose* pose, double prior_weight)
{
    const int n = refine->scale_sd > 0.0 ? 7 : 6;
    const double radius = refine->samples->radius_mm;
    const rlv_vec3 centre = centre_of(w);
    double a[PARAMETERS * PARAMETERS] = {0}, b[PARAMETERS] = {0}, total = 0.0;
    for (size_t i = 0; i < w->count; i++)
    {
        if (!(w->weight[i] > 1e-6))
            continue;
        double j[PARAMETERS];
        gradient(j, w->at[i], centre, rlv_vec3_unit(rlv_vec3_add(w->foot[i], w->own[i])), radius);
        for (int r = 0; r < n; r++)
        {
            const double weighted = w->weight[i] * j[r];
            b[r] -= weighted * w->residual_mm[i];
            for (int c = 0; c <= r; c++)
                a[r * n + c] += weighted * j[c];
        }
        total += w->weight[i];
    }
    if (!(total > 0.0))
        return INFINITY;
    for (int r = 0; r < n; r++)
        for (int c = 0; c < r; c++)
            a[c * n + r] = a[r * n + c];
    if (n == 7)
    {
        a[48] += prior_weight / (radius * radius);
        b[6] -= prior_weight / radius * log(pose->scale);
    }
    double inverse[PARAMETERS * PARAMETERS], delta[PARAMETERS] = {0};
    if (!invert(n, a, resisting_share * total, inverse))
        return INFINITY;
    for (int r = 0; r < n; r++)
        for (int c = 0; c < n; c++)
            delta[r] += inverse[r * n + c] * b[c];
    const double moved = sqrt(delta[0] * delta[0] + delta[1] * delta[1] + delta[2] * delta[2]) +
                         sqrt(delta[3] * delta[3] + delta[4] * delta[4] + delta[5] * delta[5]) + fabs(delta[6]);
    for (int k = 3; k < 7; k++)
        delta[k] /= radius;
    *pose = rlv_pose_nudge(pose, centre, delta);
    pose->centre_mm = centre;
    return moved;
}

/// What goes from one round to the next.
typedef struct rounds
{
    double window_mm, sd_mm, share;
    double inflation; ///< of the variance of the scale, since neighbouring residuals are correlated
} rounds;

/// The first `fixed` rounds keep the sd.
static void run_rounds(work* w, const rlv_refine* refine, rlv_fit* fit, rounds* state, int fixed, int count)
{
    const double floor_mm = 1e-7 * refine->samples->radius_mm; // float coordinates
    const double widest_mm = state->window_mm;
    fit->converged = false;
    for (int round = 0; round < count && !fit->converged; round++)
    {
        measure(w, refine, &fit->pose, state->window_mm, state->sd_mm);
        weigh(w, state->window_mm, floor_mm, round < fixed, &state->sd_mm, &state->share);
        const double prior = refine->scale_sd > 0.0 ? state->inflation * state->sd_mm * state->sd_mm /
                                                          (refine->scale_sd * refine->scale_sd)
                                                    : 0.0;
        const double moved = step_pose(w, refine, &fit->pose, prior);
        const bool narrow = state->window_mm <= 12.0 * state->sd_mm || (round > 1 && state->window_mm >= widest_mm);
        if (!isfinite(moved))
            break;
        fit->converged = round >= fixed && narrow && moved < 0.005 * state->sd_mm + floor_mm;
        state->window_mm = fmin(fmax(0.6 * state->window_mm, 10.0 * state->sd_mm), widest_mm);
    }
    measure(w, refine, &fit->pose, state->window_mm, state->sd_mm);
    weigh(w, state->window_mm, floor_mm, false, &state->sd_mm, &state->share);
}

/// Mean log of the likelihood of all samples over that of an even spread in +-`span_mm`: how much the pose explains.
/// `evidence` leaves out what it costs to say which samples held, since they do in patches, not one by one.
static double gain(const work* w, const rounds* state, double span_mm, double* evidence)
{
    double held = 0.0, sum = 0.0, count = 0.0;
    for (size_t i = 0; i < w->count; i++)
        if (w->mask == NULL || w->mask[i * w->stride] != 0)
        {
            held += w->weight[i];
            count += 1.0;
        }
    const double share = fmin(held / count, 0.99);
    const double peak = share * 2.0 * span_mm / (state->sd_mm * 2.5066282746310002);
    *evidence = share > 0.0 ? share * (log(2.0 * span_mm / (state->sd_mm * 2.5066282746310002)) - 0.5) : 0.0;
    for (size_t i = 0; i < w->count; i++)
        if (w->mask == NULL || w->mask[i * w->stride] != 0)
        {
            const double u = w->residual_mm[i] / state->sd_mm;
            sum += log(1.0 - share + (isfinite(u) ? peak * exp(-0.5 * u * u) : 0.0));
        }
    return sum / count;
}

/// Where a good part of the surface changed by little and evenly, a wide Gaussian that takes it in is a fit too, but a
/// worse one. Start again from narrower ones as long as these explain more.
static void narrow(work* w, const rlv_refine* refine, rlv_fit* fit, rounds* state, int count)
{
    const double span_mm = refine->samples->radius_mm / 20.0;
    double reached = gain(w, state, span_mm, &fit->evidence);
    for (int again = 0; again < 4; again++)
    {
        rlv_fit next = *fit;
        rounds trial = *state;
        trial.sd_mm *= 0.35;
        trial.window_mm = 10.0 * trial.sd_mm;
        run_rounds(w, refine, &next, &trial, 8, count + 8);
        const double found = gain(w, &trial, span_mm, &next.evidence);
        if (!(found > reached + 1e-3))
            break;
        reached = found;
        *fit = next;
        *state = trial;
    }
    fit->gain = reached;
    measure(w, refine, &fit->pose, state->window_mm, state->sd_mm);
    weigh(w, state->window_mm, 1e-7 * refine->samples->radius_mm, false, &state->sd_mm, &state->share);
}

static void summarise(const work* w, const rlv_refine* refine, double sd_mm, rlv_fit* fit)
{
    double sum = 0.0, square = 0.0;
    for (size_t i = 0; i < w->count; i++)
        if (w->weight[i] > 0.0)
        {
            sum += w->weight[i];
            square += w->weight[i] * w->residual_mm[i] * w->residual_mm[i];
        }
    fit->sd_mm = sd_mm;
    fit->rms_mm = sum > 0.0 ? sqrt(square / sum) : INFINITY;
    fit->stable_fraction = sum * (double)w->stride * refine->samples->step_mm2 / refine->samples->area_mm2;
}

rlv_status rlv_refine_pose(rlv_fit* fit, const rlv_refine* refine, double reach_mm, size_t stride, int count,
                           bool careful, rlv_error* error)
{
    work w = {0};
    rlv_status status = work_reserve(&w, refine->samples->count, stride, error);
    if (status != RLV_DONE)
        return status;
    rounds state = {.window_mm = 2.0 * reach_mm, .sd_mm = 0.5 * reach_mm, .share = 0.5, .inflation = 8.0};
    run_rounds(&w, refine, fit, &state, 0, count);
    if (careful)
        narrow(&w, refine, fit, &state, count);
    else
        fit->gain = gain(&w, &state, refine->samples->radius_mm / 20.0, &fit->evidence);
    summarise(&w, refine, state.sd_mm, fit);
    work_free(&w);
    return RLV_DONE;
}

/// A patch of surface: what its samples say together.
typedef struct patch
{
    rlv_vec3 at_mm;
    double count, weight, mean_mm;
    double score[PARAMETERS]; ///< sum of weight * residual * gradient
    bool held;
} patch;

typedef struct patches
{
    rlv_sample_cells cells;
    size_t count;
    patch* patch;
    uint32_t* of; ///< one a sample: its patch
} patches;

static void patches_free(patches* p)
{
    rlv_sample_cells_free(&p->cells);
    free(p->patch);
    free(p->of);
    memset(p, 0, sizeof *p);
}

/// Cut AFTER's samples into patches of a fortieth of its size, or of about a dozen samples where these are sparse.
static rlv_status patches_cut(patches* p, const rlv_samples* samples, rlv_error* error)
{
    const double side = fmax(2.0 * samples->radius_mm / 40.0, 3.0 * samples->spacing_mm);
    rlv_status status = rlv_sample_cells_sort(&p->cells, samples->count, samples->position_mm, side, error);
    if (status != RLV_DONE)
        return status;
    const size_t cells = p->cells.size[0] * p->cells.size[1] * p->cells.size[2];
    p->of = rlv_reserve(samples->count, sizeof *p->of, error);
    for (size_t c = 0; c < cells; c++)
        p->count += p->cells.start[c + 1] > p->cells.start[c];
    p->patch = p->of != NULL ? rlv_reserve(p->count, sizeof *p->patch, error) : NULL;
    if (p->patch == NULL)
    {
        patches_free(p);
        return RLV_SYSTEM;
    }
    uint32_t next = 0;
    for (size_t c = 0; c < cells; c++)
    {
        if (p->cells.start[c + 1] == p->cells.start[c])
            continue;
        for (uint32_t k = p->cells.start[c]; k < p->cells.start[c + 1]; k++)
            p->of[p->cells.item[k]] = next;
        next++;
    }
    return RLV_DONE;
}

static void patches_sum(patches* p, const work* w, rlv_vec3 centre, double radius_mm)
{
    for (size_t c = 0; c < p->count; c++)
    {
        const bool held = p->patch[c].held;
        p->patch[c] = (patch){.held = held};
    }
    for (size_t i = 0; i < w->count; i++)
    {
        patch* to = p->patch + p->of[i];
        to->count += 1.0;
        to->at_mm = rlv_vec3_add(to->at_mm, w->at[i]);
        if (!(w->weight[i] > 0.0))
            continue;
        double j[PARAMETERS];
        gradient(j, w->at[i], centre, rlv_vec3_unit(rlv_vec3_add(w->foot[i], w->own[i])), radius_mm);
        to->weight += w->weight[i];
        to->mean_mm += w->weight[i] * w->residual_mm[i];
        for (int k = 0; k < PARAMETERS; k++)
            to->score[k] += w->weight[i] * w->residual_mm[i] * j[k];
    }
    for (size_t c = 0; c < p->count; c++)
    {
        p->patch[c].at_mm = rlv_vec3_scale(p->patch[c].at_mm, 1.0 / p->patch[c].count);
        if (p->patch[c].weight > 0.0)
            p->patch[c].mean_mm /= p->patch[c].weight;
    }
}

static int rising(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

/// Median of |mean| of the patches that mostly held, as the sd of a Gaussian (1.4826: normal consistency).
static rlv_status patch_spread(const patches* p, double* spread_mm, rlv_error* error)
{
    double* size = rlv_reserve(p->count, sizeof *size, error);
    if (size == NULL)
        return RLV_SYSTEM;
    size_t count = 0;
    for (size_t c = 0; c < p->count; c++)
        if (p->patch[c].weight > 0.5 * p->patch[c].count)
            size[count++] = fabs(p->patch[c].mean_mm);
    qsort(size, count, sizeof *size, rising);
    *spread_mm = count > 0 ? 1.4826 * size[count / 2] : INFINITY;
    free(size);
    return RLV_DONE;
}

/// Which patches held: most of their samples did, and their mean does not stand out of the other patches' means; and,
/// where enough is left, none of their neighbours changed, since a change fades out softly.
static rlv_status patches_judge(patches* p, const rlv_samples* samples, uint8_t* mask, rlv_error* error)
{
    double spread = 0.0;
    rlv_status status = patch_spread(p, &spread, error);
    uint8_t* calm = status == RLV_DONE ? rlv_reserve(p->count, sizeof *calm, error) : NULL;
    if (calm == NULL)
        return RLV_SYSTEM;
    double held = 0.0, inner = 0.0;
    for (size_t c = 0; c < p->count; c++)
    {
        const patch* own = p->patch + c;
        p->patch[c].held = own->weight > 0.5 * own->count && fabs(own->mean_mm) < 4.0 * spread;
        held += p->patch[c].held ? own->count : 0.0;
    }
    const double reach2 = 2.25 * p->cells.side_mm * p->cells.side_mm;
#pragma omp parallel for schedule(dynamic, 64)
    for (size_t c = 0; c < p->count; c++)
    {
        calm[c] = p->patch[c].held;
        for (size_t d = 0; d < p->count && calm[c] != 0; d++)
        {
            rlv_vec3 apart = rlv_vec3_sub(p->patch[c].at_mm, p->patch[d].at_mm);
            if (!p->patch[d].held && 4.0 * p->patch[d].count > p->patch[c].count && rlv_vec3_dot(apart, apart) < reach2)
                calm[c] = 0;
        }
    }
    for (size_t c = 0; c < p->count; c++)
        inner += calm[c] != 0 ? p->patch[c].count : 0.0;
    for (size_t c = 0; c < p->count && inner > 0.5 * held; c++)
        p->patch[c].held = calm[c] != 0;
    for (size_t i = 0; i < samples->count; i++)
        mask[i] = p->patch[p->of[i]].held;
    free(calm);
    return RLV_DONE;
}

#define LAGS 24

/// As far as the patches' means are correlated, in mm: the end of the last bin of distance (of a patch's side) before
/// the correlation drops into its own noise.
static double correlation_reach(const patches* p)
{
    const double side = p->cells.side_mm;
    double product[LAGS] = {0}, pairs[LAGS] = {0}, variance = 0.0, total = 0.0;
    for (size_t c = 0; c < p->count; c++)
    {
        const patch* a = p->patch + c;
        if (!(a->weight > 0.25 * a->count) || a->weight < 3.0)
            continue;
        variance += a->mean_mm * a->mean_mm;
        total += 1.0;
        for (size_t d = c + 1; d < p->count; d++)
        {
            const patch* b = p->patch + d;
            rlv_vec3 apart = rlv_vec3_sub(a->at_mm, b->at_mm);
            const double bin = rlv_vec3_length(apart) / side + 0.5;
            if (bin < 1.0 || bin >= LAGS || !(b->weight > 0.25 * b->count) || b->weight < 3.0)
                continue;
            product[(int)bin] += a->mean_mm * b->mean_mm;
            pairs[(int)bin] += 1.0;
        }
    }
    if (!(variance > 0.0))
        return 1.5 * side;
    int lag = 1;
    while (lag < LAGS - 1 && pairs[lag] > 0.0 &&
           product[lag] / pairs[lag] * total / variance > fmax(0.03, 2.5 / sqrt(pairs[lag])))
        lag++;
    return fmax((double)lag + 0.5, 1.5) * side;
}

/// Sum of the products of scores of patches up to `reach_mm` apart (0: of each with itself), over those that weigh.
static void score_products(const patches* p, double reach_mm, double m[PARAMETERS * PARAMETERS])
{
    const double reach2 = reach_mm * reach_mm;
    memset(m, 0, PARAMETERS * PARAMETERS * sizeof *m);
    for (size_t c = 0; c < p->count; c++)
    {
        const patch* a = p->patch + c;
        if (!(a->weight > 0.0))
            continue;
        double near[PARAMETERS];
        memcpy(near, a->score, sizeof near);
        for (size_t d = 0; d < p->count && reach_mm > 0.0; d++)
        {
            rlv_vec3 apart = rlv_vec3_sub(a->at_mm, p->patch[d].at_mm);
            if (d == c || rlv_vec3_dot(apart, apart) > reach2)
                continue;
            for (int k = 0; k < PARAMETERS; k++)
                near[k] += p->patch[d].score[k];
        }
        for (int i = 0; i < PARAMETERS; i++)
            for (int j = 0; j < PARAMETERS; j++)
                m[i * PARAMETERS + j] += 0.5 * (a->score[i] * near[j] + a->score[j] * near[i]);
    }
}

/// The variance of the summed scores. Products of neighbours may leave some direction with too small a variance, even a
/// negative one: there half of what the patches alone say is held (seen in their own units, where they are the
/// identity).
static bool score_variance(const patches* p, int n, double meat[PARAMETERS * PARAMETERS])
{
    double alone[PARAMETERS * PARAMETERS], together[PARAMETERS * PARAMETERS];
    score_products(p, 0.0, alone);
    score_products(p, correlation_reach(p), together);
    double root[PARAMETERS * PARAMETERS], back[PARAMETERS * PARAMETERS], value[PARAMETERS],
        vector[PARAMETERS * PARAMETERS], seen[PARAMETERS * PARAMETERS] = {0};
    double a[PARAMETERS * PARAMETERS], t[PARAMETERS * PARAMETERS];
    for (int i = 0; i < n * n; i++)
    {
        a[i] = alone[i / n * PARAMETERS + i % n];
        t[i] = together[i / n * PARAMETERS + i % n];
    }
    if (!eigen(n, a, value, vector))
        return false;
    for (int i = 0; i < n * n; i++)
    {
        const int k = i % n;
        const double size = sqrt(fmax(value[k], 1e-12 * value[n - 1] + DBL_MIN));
        root[i] = vector[i] * size; // columns: eigenvectors times the root of their eigenvalues
        back[i] = vector[i] / size;
    }
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
            for (int k = 0; k < n; k++)
                for (int l = 0; l < n; l++)
                    seen[i * n + j] += back[k * n + i] * t[k * n + l] * back[l * n + j];
    if (!eigen(n, seen, value, vector))
        return false;
    memset(meat, 0, PARAMETERS * PARAMETERS * sizeof *meat);
    for (int k = 0; k < n; k++)
    {
        double column[PARAMETERS] = {0};
        for (int i = 0; i < n; i++)
            for (int j = 0; j < n; j++)
                column[i] += root[i * n + j] * vector[j * n + k];
        for (int i = 0; i < n; i++)
            for (int j = 0; j < n; j++)
                meat[i * n + j] += fmax(value[k], 0.5) * column[i] * column[j];
    }
    return true;
}

/// What the surface resists: the mean of the product of both surfaces' gradients. Noise leans the normals of the two
/// scans independently, so that it does not pass for relief. Times the slope of the robust weight (`weight *
/// residual`'s derivative).
static double resistance(const work* w, int n, rlv_vec3 centre, double radius_mm, double sd_mm,
                         double bread[PARAMETERS * PARAMETERS])
{
    double slope = 0.0, total = 0.0;
    memset(bread, 0, PARAMETERS * PARAMETERS * sizeof *bread);
    for (size_t i = 0; i < w->count; i++)
    {
        const double p = w->weight[i];
        if (!(p > 0.0))
            continue;
        const double u = w->residual_mm[i] / sd_mm;
        slope += p * (1.0 - (1.0 - p) * u * u);
        total += p;
        double own[PARAMETERS], foot[PARAMETERS];
        gradient(own, w->at[i], centre, w->own[i], radius_mm);
        gradient(foot, w->at[i], centre, w->foot[i], radius_mm);
        for (int r = 0; r < n; r++)
            for (int c = 0; c <= r; c++)
                bread[r * n + c] += 0.5 * p * (own[r] * foot[c] + own[c] * foot[r]);
    }
    const double factor = total > 0.0 ? fmax(slope / total, 0.1) : 0.0;
    for (int r = 0; r < n; r++)
        for (int c = 0; c <= r; c++)
            bread[r * n + c] = bread[c * n + r] = bread[r * n + c] * factor;
    return total * factor;
}

/// left * middle * left, all n x n, left symmetric.
static void sandwich(int n, const double* left, const double* middle, double* product)
{
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
        {
            double sum = 0.0;
            for (int k = 0; k < n; k++)
                for (int l = 0; l < n; l++)
                    sum += left[i * n + k] * middle[k * n + l] * left[l * n + j];
            product[i * n + j] = sum;
        }
}

/// Root mean square error of place at the worst corner of the samples' bounding box.
static double far_sd(const rlv_fit* fit, const rlv_samples* samples)
{
    double worst = 0.0;
    for (int corner = 0; corner < 8; corner++)
    {
        rlv_vec3 at = rlv_vec3_of(corner & 1 ? samples->low_mm.x : samples->high_mm.x,
                                  corner & 2 ? samples->low_mm.y : samples->high_mm.y,
                                  corner & 4 ? samples->low_mm.z : samples->high_mm.z);
        worst = fmax(worst, rlv_pose_variance_at(&fit->pose, rlv_pose_apply(&fit->pose, at)));
    }
    return sqrt(worst);
}

/// Count the motions that the surface does not resist, and name the weakest.
static bool find_slip(rlv_fit* fit, int n, const double* bread, double total)
{
    double value[PARAMETERS], vector[PARAMETERS * PARAMETERS], rigid[36];
    for (int i = 0; i < 36; i++)
        rigid[i] = bread[i / 6 * n + i % 6];
    if (!eigen(6, rigid, value, vector))
        return false;
    fit->slippable = 0;
    while (fit->slippable < 6 && value[fit->slippable] < resisting_share * total)
        fit->slippable++;
    rlv_vec3 shift = rlv_vec3_of(vector[0], vector[6], vector[12]);
    rlv_vec3 turn = rlv_vec3_of(vector[18], vector[24], vector[30]);
    fit->slip_turns = rlv_vec3_dot(turn, turn) > 0.25; // a turn about an axis off the centre shifts it too
    fit->slip_axis = rlv_vec3_unit(fit->slip_turns ? turn : shift);
    return true;
}

static bool find_covariance(rlv_fit* fit, const work* w, patches* p, const rlv_refine* refine, rounds* state)
{
    const int n = refine->scale_sd > 0.0 ? 7 : 6;
    const double radius = refine->samples->radius_mm;
    const rlv_vec3 centre = centre_of(w);
    double bread[49], meat[49], inverse[49], covariance[49];
    patches_sum(p, w, centre, radius);
    const double total = resistance(w, n, centre, radius, state->sd_mm, bread);
    if (!(total > 0.0) || !find_slip(fit, n, bread, total) || !score_variance(p, n, meat))
        return false;
    const double floor = 0.25 * resisting_share * total;
    if (n == 7)
    {
        // How much correlated neighbours inflate the variance of the scale: it sets how the data weigh against the
        // prior.
        if (!invert(n, bread, floor, inverse))
            return false;
        sandwich(n, inverse, meat, covariance);
        state->inflation = covariance[48] / (inverse[48] * state->sd_mm * state->sd_mm);
        const double relative = refine->scale_sd * radius, prior = state->inflation * state->sd_mm * state->sd_mm;
        bread[48] += prior / (relative * relative);
        meat[48] += prior * prior / (relative * relative);
    }
    if (!invert(n, bread, floor, inverse))
        return false;
    sandwich(n, inverse, meat, covariance);
    memset(fit->pose.covariance, 0, sizeof fit->pose.covariance);
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
            fit->pose.covariance[7 * i + j] = covariance[i * n + j] / ((i > 2 ? radius : 1.0) * (j > 2 ? radius : 1.0));
    fit->pose.centre_mm = centre;
    fit->far_sd_mm = far_sd(fit, refine->samples);
    return true;
}

rlv_status rlv_refine_finish(rlv_fit* fit, const rlv_refine* refine, rlv_error* error)
{
    const size_t count = refine->samples->count;
    work w = {0};
    patches p = {0};
    uint8_t* mask = rlv_reserve(count, sizeof *mask, error);
    rlv_status status = mask != NULL ? work_reserve(&w, count, 1, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
        status = patches_cut(&p, refine->samples, error);
    if (status == RLV_DONE)
    {
        rounds state = {.window_mm = 10.0 * fit->sd_mm, .sd_mm = fit->sd_mm, .share = 0.5, .inflation = 8.0};
        run_rounds(&w, refine, fit, &state, 0, 3);
        patches_sum(&p, &w, centre_of(&w), refine->samples->radius_mm);
        status = patches_judge(&p, refine->samples, mask, error);
        double open_fraction = 0.0;
        summarise(&w, refine, state.sd_mm, fit);
        open_fraction = fit->stable_fraction;
        w.mask = mask;
        if (status == RLV_DONE)
        {
            run_rounds(&w, refine, fit, &state, 0, 6);
            bool found = find_covariance(fit, &w, &p, refine, &state);
            if (found && refine->scale_sd > 0.0)
            {
                run_rounds(&w, refine, fit, &state, 0, 3);
                found = find_covariance(fit, &w, &p, refine, &state);
            }
            summarise(&w, refine, state.sd_mm, fit);
            fit->stable_fraction = open_fraction;
            if (!found)
                fit->slippable = 6;
        }
    }
    patches_free(&p);
    work_free(&w);
    free(mask);
    return status;
}
