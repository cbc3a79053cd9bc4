#include "smoother.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// What keeps a row without weights, and the polynomials that f and g share, from being undetermined: far below any
/// weight, far above rounding.
static const double RIDGE = 1e-6;

/// A penalty above this changes nothing any more, and its rounding would come near the ridge.
static const double MOST_PENALTY = 2e5;

/// Differences of third, second and first order.
static const double THIRD[4] = {-1, 3, -3, 1}, SECOND[3] = {1, -2, 1}, FIRST[2] = {-1, 1};

void rlv_smoother_free(rlv_smoother* s)
{
    free(s->first);
    free(s->stiff);
    free(s->order);
    free(s->knot);
    free(s->basis);
    free(s->plain);
    if (s->factor != NULL)
        gsl_matrix_free(s->factor);
    if (s->room != NULL)
        gsl_vector_free(s->room);
    *s = (rlv_smoother){0};
}

/// The four cubic B-splines that are not zero at `t` of their middle interval (0 to 1).
static void cubic_basis(double t, double* b)
{
    const double r = 1.0 - t;
    b[0] = r * r * r / 6.0;
    b[1] = (3 * t * t * t - 6 * t * t + 4) / 6.0;
    b[2] = (3 * r * r * r - 6 * r * r + 4) / 6.0;
    b[3] = t * t * t / 6.0;
}

typedef struct placed
{
    double at;
    size_t index;
} placed;

static int by_place(const void* a, const void* b)
{
    const placed *x = a, *y = b;
    if (x->at != y->at)
        return x->at < y->at ? -1 : 1;
    return x->index < y->index ? -1 : x->index > y->index;
}

static size_t apart(size_t a, size_t b)
{
    return a > b ? a - b : b - a;
}

static size_t larger(size_t a, size_t b)
{
    return a > b ? a : b;
}

/// The unknown that is a slot's h.
static size_t walk_of(const rlv_smoother* s, size_t slot)
{
    return s->slots + s->knots + slot;
}

/// Put the unknowns in order along u, and find how wide the band is.
static rlv_status find_order(rlv_smoother* s, const double* u, double low, double step, rlv_error* error)
{
    placed* all = rlv_reserve(s->size, sizeof *all, error);
    if (all == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < s->slots; i++)
        all[i] = (placed){u[i], i};
    for (size_t i = 0; i < s->slots && s->walk; i++)
        all[walk_of(s, i)] = (placed){u[i], walk_of(s, i)};
    for (size_t k = 0; k < s->knots; k++)
        all[s->slots + k] = (placed){low + ((double)k - 1.0) * step, s->slots + k};
    qsort(all, s->size, sizeof *all, by_place);
    for (size_t i = 0; i < s->size; i++)
        s->order[all[i].index] = i;
    free(all);
    size_t band = 3;
    for (size_t r = 0; r < s->rows; r++)
        for (size_t i = s->first[r]; i + 1 < s->first[r + 1]; i++)
            for (size_t k = 1; k <= 2 && i + k < s->first[r + 1]; k++)
                band = larger(band, apart(s->order[i], s->order[i + k]));
    for (size_t r = 0; r < s->rows && s->walk; r++)
        for (size_t i = s->first[r]; i < s->first[r + 1]; i++)
        {
            band = larger(band, apart(s->order[i], s->order[walk_of(s, i)]));
            if (i + 1 < s->first[r + 1])
                band = larger(band, apart(s->order[walk_of(s, i)], s->order[walk_of(s, i + 1)]));
        }
    for (size_t i = 0; i < s->slots && s->knots > 0; i++)
        for (size_t k = 0; k < 4; k++)
        {
            const size_t knot = s->order[s->slots + s->knot[i] + k];
            band = larger(band, apart(s->order[i], knot));
            if (s->walk)
                band = larger(band, apart(s->order[walk_of(s, i)], knot));
        }
    for (size_t k = 0; k + 3 < s->knots; k++)
        band = larger(band, apart(s->order[s->slots + k], s->order[s->slots + k + 3]));
    s->band = band < s->size ? band : s->size - 1;
    return RLV_DONE;
}

rlv_status rlv_smoother_lay(rlv_smoother* s, size_t rows, const size_t* first, const double* u, const double* stiff,
                            size_t knots, bool walk, rlv_error* error)
{
    s->rows = rows;
    s->slots = first[rows];
    s->knots = knots;
    s->walk = walk;
    s->size = s->slots + knots + (walk ? s->slots : 0);
    if ((s->first = rlv_reserve(rows + 1, sizeof *first, error)) == NULL ||
        (s->stiff = rlv_reserve(rows, sizeof *stiff, error)) == NULL ||
        (s->order = rlv_reserve(s->size, sizeof *s->order, error)) == NULL ||
        (s->knot = rlv_reserve(s->slots, sizeof *s->knot, error)) == NULL ||
        (s->basis = rlv_reserve(4 * s->slots, sizeof *s->basis, error)) == NULL ||
        (s->plain = rlv_reserve(s->size, sizeof *s->plain, error)) == NULL)
        return RLV_SYSTEM;
    memcpy(s->first, first, (rows + 1) * sizeof *first);
    memcpy(s->stiff, stiff, rows * sizeof *stiff);
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < s->slots; i++)
        low = fmin(low, u[i]), high = fmax(high, u[i]);
    const double step = knots > 3 && high > low ? (high - low) / (double)(knots - 3) : 1.0;
    for (size_t i = 0; i < s->slots && knots > 3; i++)
    {
        const double x = (u[i] - low) / step;
        s->knot[i] = (size_t)fmin(floor(x), (double)(knots - 4));
        cubic_basis(x - (double)s->knot[i], s->basis + 4 * i);
    }
    if (find_order(s, u, low, step, error) != RLV_DONE)
        return RLV_SYSTEM;
    s->factor = gsl_matrix_alloc(s->size, s->band + 1);
    s->room = gsl_vector_alloc(s->size);
    if (s->factor == NULL || s->room == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, NULL, "no memory for %zu unknowns", s->size);
    return RLV_DONE;
}

/// Add to an entry of the normal matrix, which is kept by its lower half: row i of the store holds column i from the
/// diagonal down.
static void add(rlv_smoother* s, size_t a, size_t b, double value)
{
    const size_t i = s->order[a], j = s->order[b];
    if (i >= j)
        *gsl_matrix_ptr(s->factor, j, i - j) += value;
}

static void add_difference(rlv_smoother* s, size_t from, size_t terms, const double* term, double penalty)
{
    for (size_t a = 0; a < terms; a++)
        for (size_t b = 0; b < terms; b++)
            add(s, from + a, from + b, penalty * term[a] * term[b]);
}

static double own_penalty(const rlv_smoother* s, size_t row, rlv_smoother_penalty penalty)
{
    return fmin(penalty.own * s->stiff[row], MOST_PENALTY);
}

static double walk_penalty(const rlv_smoother* s, size_t row, rlv_smoother_penalty penalty)
{
    return fmin(penalty.walk * pow(s->stiff[row], 2.0 / 3.0), MOST_PENALTY);
}

void rlv_smoother_factor(rlv_smoother* s, const double* weight, rlv_smoother_penalty penalty)
{
    gsl_matrix_set_zero(s->factor);
    for (size_t i = 0; i < s->size; i++)
        add(s, i, i, RIDGE);
    for (size_t i = 0; i < s->slots; i++)
    {
        add(s, i, i, weight[i]);
        if (s->walk)
        {
            add(s, walk_of(s, i), walk_of(s, i), weight[i]);
            add(s, i, walk_of(s, i), weight[i]);
            add(s, walk_of(s, i), i, weight[i]);
        }
        for (size_t a = 0; a < 4 && s->knots > 0; a++)
        {
            const size_t k = s->slots + s->knot[i] + a;
            const double value = weight[i] * s->basis[4 * i + a];
            add(s, i, k, value);
            add(s, k, i, value);
            if (s->walk)
            {
                add(s, walk_of(s, i), k, value);
                add(s, k, walk_of(s, i), value);
            }
            for (size_t b = 0; b < 4; b++)
                add(s, k, s->slots + s->knot[i] + b, value * s->basis[4 * i + b]);
        }
    }
    for (size_t r = 0; r < s->rows; r++)
        for (size_t i = s->first[r]; i + 2 < s->first[r + 1]; i++)
            add_difference(s, i, 3, SECOND, own_penalty(s, r, penalty));
    for (size_t r = 0; r < s->rows && s->walk; r++)
        for (size_t i = s->first[r]; i + 1 < s->first[r + 1]; i++)
            add_difference(s, walk_of(s, i), 2, FIRST, walk_penalty(s, r, penalty));
    for (size_t k = 0; k + 3 < s->knots; k++)
        add_difference(s, s->slots + k, 4, THIRD, fmin(penalty.shared, MOST_PENALTY));
    gsl_linalg_cholesky_band_decomp(s->factor);
}

/// f + g + h at a slot, from the coefficients in the order of the band.
static double value_at(const rlv_smoother* s, const gsl_vector* c, size_t slot, double* shared)
{
    double f = 0.0;
    for (size_t a = 0; a < 4 && s->knots > 0; a++)
        f += s->basis[4 * slot + a] * gsl_vector_get(c, s->order[s->slots + s->knot[slot] + a]);
    if (shared != NULL)
        *shared = f;
    return f + gsl_vector_get(c, s->order[slot]) + (s->walk ? gsl_vector_get(c, s->order[walk_of(s, slot)]) : 0.0);
}

static void lay_side(rlv_smoother* s, size_t slot, double sum)
{
    *gsl_vector_ptr(s->room, s->order[slot]) += sum;
    if (s->walk)
        *gsl_vector_ptr(s->room, s->order[walk_of(s, slot)]) += sum;
    for (size_t a = 0; a < 4 && s->knots > 0; a++)
        *gsl_vector_ptr(s->room, s->order[s->slots + s->knot[slot] + a]) += sum * s->basis[4 * slot + a];
}

/// Solve with the factor, `x` being zero before `from`. GSL's own solves through general strides: five times slower,
/// and covariances take one for each slot.
static void solve(const rlv_smoother* s, double* x, size_t from)
{
    const size_t size = s->size, wide = s->band + 1;
    const double* l = s->factor->data;
    for (size_t j = from; j < size; j++)
    {
        const double* column = l + j * s->factor->tda;
        const size_t reach = wide < size - j ? wide : size - j;
        const double v = x[j] /= column[0];
        for (size_t i = 1; i < reach; i++)
            x[j + i] -= column[i] * v;
    }
    for (size_t j = size; j-- > 0;)
    {
        const double* column = l + j * s->factor->tda;
        const size_t reach = wide < size - j ? wide : size - j;
        double sum[4] = {0, 0, 0, 0};
        size_t i = 1;
        for (; i + 4 <= reach; i += 4)
            for (size_t k = 0; k < 4; k++)
                sum[k] += column[i + k] * x[j + i + k];
        for (; i < reach; i++)
            sum[0] += column[i] * x[j + i];
        x[j] = (x[j] - ((sum[0] + sum[1]) + (sum[2] + sum[3]))) / column[0];
    }
}

double rlv_smoother_fit(rlv_smoother* s, const double* sum, double* value, double* shared)
{
    gsl_vector_set_zero(s->room);
    for (size_t i = 0; i < s->slots; i++)
        lay_side(s, i, sum[i]);
    memcpy(s->plain, s->room->data, s->size * sizeof *s->plain);
    solve(s, s->room->data, 0);
    double explained = 0.0;
    for (size_t i = 0; i < s->size; i++)
        explained += s->plain[i] * gsl_vector_get(s->room, i);
    for (size_t i = 0; i < s->slots; i++)
        value[i] = value_at(s, s->room, i, shared == NULL ? NULL : &shared[i]);
    return explained;
}

size_t rlv_smoother_spread_size(const rlv_smoother* s)
{
    size_t size = 0;
    for (size_t r = 0; r < s->rows; r++)
        size += (s->first[r + 1] - s->first[r]) * (s->first[r + 1] - s->first[r]);
    return size;
}

/// The first unknown in the band that a slot has a part in.
static size_t first_of(const rlv_smoother* s, size_t slot)
{
    size_t first = s->order[slot];
    if (s->walk && s->order[walk_of(s, slot)] < first)
        first = s->order[walk_of(s, slot)];
    for (size_t a = 0; a < 4 && s->knots > 0; a++)
        if (s->order[s->slots + s->knot[slot] + a] < first)
            first = s->order[s->slots + s->knot[slot] + a];
    return first;
}

void rlv_smoother_spread(rlv_smoother* s, double* block)
{
    for (size_t r = 0; r < s->rows; r++)
        for (size_t i = s->first[r]; i < s->first[r + 1]; i++)
        {
            gsl_vector_set_zero(s->room);
            lay_side(s, i, 1.0);
            solve(s, s->room->data, first_of(s, i));
            for (size_t j = s->first[r]; j < s->first[r + 1]; j++)
                *block++ = value_at(s, s->room, j, NULL);
        }
}

double rlv_smoother_log_det(const rlv_smoother* s, rlv_smoother_penalty penalty)
{
    double sum = 0.0;
    for (size_t i = 0; i < s->size; i++)
        sum += 2.0 * log(gsl_matrix_get(s->factor, i, 0));
    for (size_t r = 0; r < s->rows; r++)
        if (s->first[r + 1] - s->first[r] > 2)
            sum -= (double)(s->first[r + 1] - s->first[r] - 2) * log(own_penalty(s, r, penalty));
    for (size_t r = 0; r < s->rows && s->walk; r++)
        sum -= (double)(s->first[r + 1] - s->first[r] - 1) * log(walk_penalty(s, r, penalty));
    if (s->knots > 3)
        sum -= (double)(s->knots - 3) * log(fmin(penalty.shared, MOST_PENALTY));
    return sum;
}

double rlv_smoother_free_terms(const rlv_smoother* s)
{
    return 2.0 * (double)s->rows + (s->knots > 0 ? 1.0 : 0.0);
}
