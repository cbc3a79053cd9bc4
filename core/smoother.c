#include "smoother.h"

#include "cholesky.h"
#include "each_width.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// What keeps a row without weights, and the polynomials that f and g share, from being undetermined: far below any
/// weight, far above rounding.
static const double RIDGE = 1e-6;

/// A penalty above this changes nothing any more, and its rounding would come near the ridge.
static const double MOST_PENALTY = 2e5;

enum
{
    TOGETHER = 4, ///< unknowns that are taken off the knots at a time
};

/// Differences of first, second and third order.
static const double DIFFERENCE[4][4] = {{1}, {-1, 1}, {1, -2, 1}, {-1, 3, -3, 1}};

void rlv_smoother_free(rlv_smoother* s)
{
    free(s->first);
    free(s->fine);
    free(s->step);
    free(s->knot);
    free(s->basis);
    free(s->weight);
    free(s->factor);
    free(s->border);
    free(s->left);
    free(s->room);
    free(s->side);
    free(s->within);
    free(s->block);
    free(s->reach);
    free(s->shaped);
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

static void lay_basis(rlv_smoother* s, const double* u)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < s->slots; i++)
        low = fmin(low, u[i]), high = fmax(high, u[i]);
    const double step = high > low ? (high - low) / (double)(s->knots - 3) : 1.0;
    for (size_t i = 0; i < s->slots; i++)
    {
        const double x = (u[i] - low) / step;
        s->knot[i] = (size_t)fmin(floor(x), (double)(s->knots - 4));
        cubic_basis(x - (double)s->knot[i], s->basis + 4 * i);
    }
}

static rlv_status reserve_all(rlv_smoother* s, rlv_error* error)
{
    size_t longest = 0;
    for (size_t r = 0; r < s->rows; r++)
        longest = s->first[r + 1] - s->first[r] > longest ? s->first[r + 1] - s->first[r] : longest;
    if ((s->step = rlv_reserve(s->slots, sizeof *s->step, error)) == NULL ||
        (s->knot = rlv_reserve(s->slots, sizeof *s->knot, error)) == NULL ||
        (s->basis = rlv_reserve(4 * s->slots, sizeof *s->basis, error)) == NULL ||
        (s->weight = rlv_reserve(s->slots, sizeof *s->weight, error)) == NULL ||
        (s->factor = rlv_reserve(s->own, (s->band + 1) * sizeof *s->factor, error)) == NULL ||
        (s->border = rlv_reserve(s->own, s->knots * sizeof *s->border, error)) == NULL ||
        (s->left = rlv_reserve(s->knots, s->knots * sizeof *s->left, error)) == NULL ||
        (s->room = rlv_reserve(s->size, sizeof *s->room, error)) == NULL ||
        (s->side = rlv_reserve(s->size, sizeof *s->side, error)) == NULL ||
        (s->within = rlv_reserve(s->width * longest, longest * sizeof *s->within, error)) == NULL ||
        (s->block = rlv_reserve(longest, longest * sizeof *s->block, error)) == NULL ||
        (s->reach = rlv_reserve(s->knots, longest * sizeof *s->reach, error)) == NULL ||
        (s->shaped = rlv_reserve(s->slots, sizeof *s->shaped, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

rlv_status rlv_smoother_lay(rlv_smoother* s, size_t rows, const size_t* first, const double* u, const double* fine,
                            const double* step, size_t order_own, size_t knots, const bool* gap, const bool* shaped,
                            rlv_error* error)
{
    s->rows = rows;
    s->slots = first[rows];
    s->knots = knots;
    s->order_own = order_own;
    s->order_shared = 3;
    s->gap = gap;
    s->width = step != NULL ? 2 : 1;
    s->own = s->width * s->slots;
    s->size = s->own + knots;
    s->band = s->width * order_own;
    if ((s->first = rlv_reserve(rows + 1, sizeof *first, error)) == NULL ||
        (s->fine = rlv_reserve(rows, sizeof *fine, error)) == NULL)
        return RLV_SYSTEM;
    memcpy(s->first, first, (rows + 1) * sizeof *first);
    memcpy(s->fine, fine, rows * sizeof *fine);
    if (reserve_all(s, error) != RLV_DONE)
        return RLV_SYSTEM;
    if (step != NULL)
        memcpy(s->step, step, s->slots * sizeof *step);
    for (size_t i = 0; i < s->slots && shaped != NULL; i++)
        if ((s->shaped[i] = shaped[i]))
            s->order_shared = 2;
    if (knots > 0)
        lay_basis(s, u);
    return RLV_DONE;
}

// --- the factor ------------------------------------------------------------------------------------------------------

/// A row of the own part's lower half: its entries up to the diagonal, which is the last.
static double* row_of(const rlv_smoother* s, size_t unknown)
{
    return s->factor + unknown * (s->band + 1);
}

/// Add to an entry of the own part, a >= b.
static void add(rlv_smoother* s, size_t a, size_t b, double value)
{
    row_of(s, a)[s->band - (a - b)] += value;
}

/// Penalise a difference of an unknown and those `width` apart after it.
static void add_difference(rlv_smoother* s, size_t from, size_t order, double penalty)
{
    const double* term = DIFFERENCE[order];
    for (size_t a = 0; a <= order; a++)
        for (size_t b = 0; b <= a; b++)
            add(s, from + s->width * a, from + s->width * b, penalty * term[a] * term[b]);
}

static double own_penalty(const rlv_smoother* s, size_t row, rlv_smoother_penalty penalty)
{
    return fmin(penalty.own * pow(s->fine[row], 2.0 * (double)s->order_own - 1.0), MOST_PENALTY);
}

static bool is_gap(const rlv_smoother* s, size_t slot)
{
    return s->gap != NULL && s->gap[slot];
}

static double walk_penalty(const rlv_smoother* s, size_t slot, rlv_smoother_penalty penalty)
{
    return fmin(penalty.walk / (s->step[slot] * s->step[slot]), MOST_PENALTY);
}

static double shared_penalty(rlv_smoother_penalty penalty)
{
    return fmin(penalty.shared, MOST_PENALTY);
}

/// How many differences of a row are of the shaped kind.
static size_t shaped_differences(const rlv_smoother* s, size_t row)
{
    size_t shaped = 0;
    for (size_t i = s->first[row]; i < s->first[row + 1]; i++)
        shaped += s->shaped[i];
    return shaped > 2 ? shaped - 2 : 0;
}

static double shaped_penalty(const rlv_smoother* s, size_t row, rlv_smoother_penalty penalty)
{
    return fmin(penalty.shaped * pow(s->fine[row], 3.0), MOST_PENALTY);
}

/// Penalise the differences of a row, its slots before and after those that are shaped apart: each brings in one slot
/// more.
static void lay_differences(rlv_smoother* s, size_t row, rlv_smoother_penalty penalty)
{
    const size_t first = s->first[row], end = s->first[row + 1], order = s->order_own;
    const double own = own_penalty(s, row, penalty), told = shaped_penalty(s, row, penalty);
    size_t from = first;
    while (from < end && !s->shaped[from])
        from++;
    const size_t inner = shaped_differences(s, row), to = inner > 0 ? from + inner + 2 : end;
    if (inner == 0)
    {
        for (size_t i = first; i + order < end; i++)
            add_difference(s, s->width * i, order, own);
        return;
    }
    for (size_t i = first; i < from; i++)
        add_difference(s, s->width * i, order, own);
    for (size_t i = from; i + 2 < to; i++)
        add_difference(s, s->width * i, 2, told);
    for (size_t i = to; i < end; i++)
        add_difference(s, s->width * (i - order), order, own);
}

static void lay_own(rlv_smoother* s, rlv_smoother_penalty penalty)
{
    memset(s->factor, 0, s->own * (s->band + 1) * sizeof *s->factor);
    for (size_t i = 0; i < s->slots; i++)
        for (size_t a = 0; a < s->width; a++)
            for (size_t b = 0; b <= a; b++)
                add(s, s->width * i + a, s->width * i + b, s->weight[i] + (a == b ? RIDGE : 0.0));
    for (size_t r = 0; r < s->rows; r++)
    {
        lay_differences(s, r, penalty);
        for (size_t i = s->first[r]; i + 1 < s->first[r + 1] && s->width > 1; i++)
            if (!is_gap(s, i))
                add_difference(s, s->width * i + 1, 1, walk_penalty(s, i, penalty));
    }
}

/// The own part's factor, row by row. What is below zero has a root that is not a number, and so is all after it.
static void factor_own(rlv_smoother* s)
{
    const size_t band = s->band;
    for (size_t i = 0; i < s->own; i++)
    {
        double* own = row_of(s, i);
        for (size_t k = i < band ? band - i : 0; k <= band; k++) // column i - band + k
        {
            const double* other = row_of(s, i + k - band);
            double sum = own[k];
            for (size_t m = i < band ? band - i : 0; m < k; m++)
                sum -= own[m] * other[m + band - k];
            own[k] = k < band ? sum / other[band] : sqrt(sum);
        }
    }
}

/// L^-1 of what ties the unknowns of a row to the knots: none to those before its first or after an unknown's own.
EACH_WIDTH static void lay_border(rlv_smoother* s, size_t row)
{
    const size_t first = s->width * s->first[row], low = s->knot[s->first[row]];
    for (size_t i = first; i < s->width * s->first[row + 1]; i++)
    {
        const size_t slot = i / s->width, high = s->knot[slot] + 4;
        const double* own = row_of(s, i);
        double* restrict border = s->border + i * s->knots;
        memset(border, 0, s->knots * sizeof *border);
        for (size_t a = 0; a < 4; a++)
            border[s->knot[slot] + a] = s->weight[slot] * s->basis[4 * slot + a];
        for (size_t k = 1; k <= s->band && k <= i - first; k++)
        {
            const double by = own[s->band - k], *restrict other = s->border + (i - k) * s->knots;
            for (size_t c = low; c < high; c++)
                border[c] -= by * other[c];
        }
        const double head = own[s->band];
        for (size_t c = low; c < high; c++)
            border[c] /= head;
    }
}

/// Take a row off the knots, some of its unknowns at a time: what is left is then read and written less often.
EACH_WIDTH static void take_off(rlv_smoother* s, size_t row)
{
    const size_t end = s->width * s->first[row + 1], low = s->knot[s->first[row]];
    for (size_t i = s->width * s->first[row]; i < end; i += TOGETHER)
    {
        const size_t count = end - i < TOGETHER ? end - i : TOGETHER, last = i + count - 1;
        const double* restrict a = s->border + i * s->knots;
        const double* restrict b = s->border + (count > 1 ? i + 1 : i) * s->knots;
        const double* restrict c = s->border + (count > 2 ? i + 2 : i) * s->knots;
        const double* restrict d = s->border + (count > 3 ? i + 3 : i) * s->knots;
        for (size_t k = low; k < s->knot[last / s->width] + 4; k++)
        {
            const double by[TOGETHER] = {a[k], count > 1 ? b[k] : 0.0, count > 2 ? c[k] : 0.0, count > 3 ? d[k] : 0.0};
            double* restrict left = s->left + k * s->knots;
            for (size_t m = low; m <= k; m++)
                left[m] -= by[0] * a[m] + by[1] * b[m] + by[2] * c[m] + by[3] * d[m];
        }
    }
}

static void lay_knots(rlv_smoother* s, rlv_smoother_penalty penalty)
{
    const double* term = DIFFERENCE[s->order_shared];
    memset(s->left, 0, s->knots * s->knots * sizeof *s->left);
    for (size_t k = 0; k < s->knots; k++)
        s->left[k * s->knots + k] = RIDGE;
    for (size_t k = 0; k + s->order_shared < s->knots; k++)
        for (size_t a = 0; a <= s->order_shared; a++)
            for (size_t b = 0; b <= a; b++)
                s->left[(k + a) * s->knots + k + b] += shared_penalty(penalty) * term[a] * term[b];
    for (size_t i = 0; i < s->slots; i++)
        for (size_t a = 0; a < 4; a++)
            for (size_t b = 0; b <= a; b++)
                s->left[(s->knot[i] + a) * s->knots + s->knot[i] + b] +=
                    s->weight[i] * s->basis[4 * i + a] * s->basis[4 * i + b];
}

void rlv_smoother_factor(rlv_smoother* s, const double* weight, rlv_smoother_penalty penalty)
{
    memcpy(s->weight, weight, s->slots * sizeof *weight);
    lay_own(s, penalty);
    factor_own(s);
    if (s->knots == 0)
        return;
    lay_knots(s, penalty);
    for (size_t r = 0; r < s->rows; r++)
    {
        lay_border(s, r);
        take_off(s, r);
    }
    rlv_cholesky(s->knots, s->left);
}

// --- what is solved with it ------------------------------------------------------------------------------------------

/// f + g + h at a slot, from all coefficients.
static double value_at(const rlv_smoother* s, const double* c, size_t slot, double* shared)
{
    double f = 0.0;
    for (size_t a = 0; a < 4 && s->knots > 0; a++)
        f += s->basis[4 * slot + a] * c[s->own + s->knot[slot] + a];
    if (shared != NULL)
        *shared = f;
    for (size_t a = 0; a < s->width; a++)
        f += c[s->width * slot + a];
    return f;
}

/// L^-1 of a right-hand side in its place: the unknowns of one row, zero before `from`, and what they take off the
/// knots.
static void descend_own(const rlv_smoother* s, double* x, size_t from, size_t to)
{
    const size_t band = s->band;
    for (size_t i = from; i < to; i++)
    {
        const double* own = row_of(s, i);
        double sum = x[i];
        for (size_t k = 1; k <= band && k <= i - from; k++)
            sum -= own[band - k] * x[i - k];
        const double *border = s->border + i * s->knots, by = x[i] = sum / own[band];
        for (size_t c = 0; c < s->knots; c++)
            x[s->own + c] -= border[c] * by;
    }
}

/// And then of the knots.
static void descend_knots(const rlv_smoother* s, double* x)
{
    for (size_t k = 0; k < s->knots; k++)
    {
        const double* left = s->left + k * s->knots;
        double sum = x[s->own + k];
        for (size_t c = 0; c < k; c++)
            sum -= left[c] * x[s->own + c];
        x[s->own + k] = sum / left[k];
    }
}

/// And of all of L's transpose.
static void ascend(const rlv_smoother* s, double* x)
{
    for (size_t k = s->knots; k-- > 0;)
    {
        const double* left = s->left + k * s->knots;
        const double by = x[s->own + k] /= left[k];
        for (size_t c = 0; c < k; c++)
            x[s->own + c] -= left[c] * by;
    }
    for (size_t i = s->own; i-- > 0;)
    {
        const double *own = row_of(s, i), *border = s->border + i * s->knots;
        double sum = x[i];
        for (size_t c = 0; c < s->knots; c++)
            sum -= border[c] * x[s->own + c];
        const double by = x[i] = sum / own[s->band];
        for (size_t k = 1; k <= s->band && k <= i; k++)
            x[i - k] -= own[s->band - k] * by;
    }
}

double rlv_smoother_fit(rlv_smoother* s, const double* sum, double* value, double* shared)
{
    double explained = 0.0;
    memset(s->room, 0, s->size * sizeof *s->room);
    for (size_t i = 0; i < s->slots; i++)
    {
        for (size_t a = 0; a < s->width; a++)
            s->room[s->width * i + a] = sum[i];
        for (size_t a = 0; a < 4 && s->knots > 0; a++)
            s->room[s->own + s->knot[i] + a] += sum[i] * s->basis[4 * i + a];
    }
    for (size_t r = 0; r < s->rows; r++)
        descend_own(s, s->room, s->width * s->first[r], s->width * s->first[r + 1]);
    descend_knots(s, s->room);
    for (size_t i = 0; i < s->size; i++)
        explained += s->room[i] * s->room[i];
    ascend(s, s->room);
    for (size_t i = 0; i < s->slots; i++)
        value[i] = value_at(s, s->room, i, shared == NULL ? NULL : &shared[i]);
    return explained;
}

/// The covariance over phi of a row's g + h, f being known: n * n into `block`.
EACH_WIDTH static void spread_within(rlv_smoother* s, size_t row, double* restrict block)
{
    const size_t first = s->first[row], n = s->first[row + 1] - first, unknowns = s->width * n, band = s->band;
    double* restrict x = s->within; // unknowns * n: a right-hand side a slot, side by side
    memset(x, 0, unknowns * n * sizeof *x);
    for (size_t i = 0; i < unknowns; i++)
    {
        const double* own = row_of(s, s->width * first + i);
        double* restrict at = x + i * n;
        at[i / s->width] = 1.0;
        for (size_t k = 1; k <= band && k <= i; k++)
            for (size_t c = 0; c <= (i - k) / s->width; c++)
                at[c] -= own[band - k] * x[(i - k) * n + c];
        for (size_t c = 0; c <= i / s->width; c++)
            at[c] /= own[band];
    }
    for (size_t i = unknowns; i-- > 0;)
    {
        const double* own = row_of(s, s->width * first + i);
        double* restrict at = x + i * n;
        for (size_t c = 0; c < n; c++)
            at[c] /= own[band];
        for (size_t k = 1; k <= band && k <= i; k++)
            for (size_t c = 0; c < n; c++)
                x[(i - k) * n + c] -= own[band - k] * at[c];
    }
    for (size_t i = 0; i < n; i++)
        for (size_t c = 0; c < n; c++)
            block[i * n + c] = x[s->width * i * n + c] + (s->width > 1 ? x[(2 * i + 1) * n + c] : 0.0);
}

/// What knowing f no better than the fit does adds to that: the root of it, knots * n into `reach`. With V within, W
/// the weights and B the basis, f's part in the values is B - V W B.
EACH_WIDTH static void reach_of(rlv_smoother* s, size_t row, const double* restrict within)
{
    const size_t first = s->first[row], n = s->first[row + 1] - first;
    memset(s->reach, 0, s->knots * n * sizeof *s->reach);
    for (size_t i = 0; i < n; i++)
        for (size_t a = 0; a < 4; a++)
        {
            double* restrict reach = s->reach + (s->knot[first + i] + a) * n;
            const double basis = s->basis[4 * (first + i) + a], by = s->weight[first + i] * basis;
            reach[i] += basis;
            for (size_t c = 0; c < n; c++)
                reach[c] -= by * within[i * n + c];
        }
    for (size_t k = 0; k < s->knots; k++)
    {
        const double* left = s->left + k * s->knots;
        double* restrict reach = s->reach + k * n;
        for (size_t m = 0; m < k; m++)
        {
            const double* restrict other = s->reach + m * n;
            for (size_t c = 0; c < n; c++)
                reach[c] -= left[m] * other[c];
        }
        for (size_t c = 0; c < n; c++)
            reach[c] /= left[k];
    }
}

EACH_WIDTH static void add_reach(const rlv_smoother* s, size_t n, double* restrict block)
{
    for (size_t k = 0; k < s->knots; k++)
    {
        const double* restrict reach = s->reach + k * n;
        for (size_t i = 0; i < n; i++)
            for (size_t c = 0; c < n; c++)
                block[i * n + c] += reach[i] * reach[c];
    }
}

void rlv_smoother_spread(rlv_smoother* s, size_t row, double* block)
{
    spread_within(s, row, block);
    if (s->knots == 0)
        return;
    reach_of(s, row, block);
    add_reach(s, s->first[row + 1] - s->first[row], block);
}

void rlv_smoother_variances(rlv_smoother* s, double* variance)
{
    for (size_t r = 0; r < s->rows; r++)
    {
        const size_t first = s->first[r], n = s->first[r + 1] - first;
        spread_within(s, r, s->block);
        if (s->knots > 0)
            reach_of(s, r, s->block);
        for (size_t i = 0; i < n; i++)
            variance[first + i] = s->block[i * n + i];
        for (size_t k = 0; k < s->knots; k++)
            for (size_t i = 0; i < n; i++)
                variance[first + i] += s->reach[k * n + i] * s->reach[k * n + i];
    }
}

double rlv_smoother_log_det(const rlv_smoother* s, rlv_smoother_penalty penalty)
{
    double sum = 0.0;
    for (size_t i = 0; i < s->own; i++)
        sum += 2.0 * log(row_of(s, i)[s->band]);
    for (size_t k = 0; k < s->knots; k++)
        sum += 2.0 * log(s->left[k * s->knots + k]);
    for (size_t r = 0; r < s->rows; r++)
    {
        const size_t n = s->first[r + 1] - s->first[r], shaped = shaped_differences(s, r),
                     all = shaped > 0         ? n - 2
                           : n > s->order_own ? n - s->order_own
                                              : 0;
        sum -= (double)(all - shaped) * log(own_penalty(s, r, penalty));
        sum -= shaped > 0 ? (double)shaped * log(shaped_penalty(s, r, penalty)) : 0.0;
    }
    for (size_t r = 0; r < s->rows && s->width > 1; r++)
        for (size_t i = s->first[r]; i + 1 < s->first[r + 1]; i++)
            sum -= is_gap(s, i) ? 0.0 : log(walk_penalty(s, i, penalty));
    if (s->knots > s->order_shared)
        sum -= (double)(s->knots - s->order_shared) * log(shared_penalty(penalty));
    return sum;
}

double rlv_smoother_free_terms(const rlv_smoother* s)
{
    double free = s->knots > 0 && s->order_shared == 3 ? 1.0 : 0.0;
    for (size_t r = 0; r < s->rows; r++)
        free += shaped_differences(s, r) > 0 ? 2.0 : (double)s->order_own;
    return free;
}
