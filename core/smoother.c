#include "smoother.h"

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
    WIDE = RLV_SMOOTHER_WIDE,
};

/// Differences of first, second and third order.
static const double DIFFERENCE[4][4] = {{1}, {-1, 1}, {1, -2, 1}, {-1, 3, -3, 1}};

void rlv_smoother_free(rlv_smoother* s)
{
    free(s->first);
    free(s->fine);
    free(s->order);
    free(s->knot);
    free(s->basis);
    free(s->plain);
    free(s->factor);
    free(s->room);
    free(s->wide);
    free(s->inverse);
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
    {
        const double at = s->knots > 0 ? u[i] : (double)i; // rows that share nothing come one after another
        all[i] = (placed){at, i};
        if (s->walk)
            all[walk_of(s, i)] = (placed){at, walk_of(s, i)};
    }
    for (size_t k = 0; k < s->knots; k++)
        all[s->slots + k] = (placed){low + ((double)k - 1.0) * step, s->slots + k};
    qsort(all, s->size, sizeof *all, by_place);
    for (size_t i = 0; i < s->size; i++)
        s->order[all[i].index] = i;
    free(all);
    size_t band = 3;
    for (size_t r = 0; r < s->rows; r++)
        for (size_t i = s->first[r]; i + 1 < s->first[r + 1]; i++)
            for (size_t k = 1; k <= s->order_own && i + k < s->first[r + 1]; k++)
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

rlv_status rlv_smoother_lay(rlv_smoother* s, size_t rows, const size_t* first, const double* u, const double* fine,
                            size_t order_own, size_t knots, bool walk, const bool* gap, rlv_error* error)
{
    s->rows = rows;
    s->slots = first[rows];
    s->knots = knots;
    s->order_own = order_own;
    s->walk = walk;
    s->gap = gap;
    s->size = s->slots + knots + (walk ? s->slots : 0);
    if ((s->first = rlv_reserve(rows + 1, sizeof *first, error)) == NULL ||
        (s->fine = rlv_reserve(rows, sizeof *fine, error)) == NULL ||
        (s->order = rlv_reserve(s->size, sizeof *s->order, error)) == NULL ||
        (s->knot = rlv_reserve(s->slots, sizeof *s->knot, error)) == NULL ||
        (s->basis = rlv_reserve(4 * s->slots, sizeof *s->basis, error)) == NULL ||
        (s->plain = rlv_reserve(s->size, sizeof *s->plain, error)) == NULL)
        return RLV_SYSTEM;
    memcpy(s->first, first, (rows + 1) * sizeof *first);
    memcpy(s->fine, fine, rows * sizeof *fine);
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
    if ((s->factor = rlv_reserve(s->size, (s->band + 1) * sizeof *s->factor, error)) == NULL ||
        (s->room = rlv_reserve(s->size, sizeof *s->room, error)) == NULL ||
        (s->wide = rlv_reserve(s->size, RLV_SMOOTHER_WIDE * sizeof *s->wide, error)) == NULL ||
        (s->inverse = rlv_reserve(s->size, (s->band + 1) * sizeof *s->inverse, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

static double* column_of(const rlv_smoother* s, size_t column)
{
    return s->factor + column * (s->band + 1);
}

/// Add to an entry of the normal matrix, which is kept by its lower half.
static void add(rlv_smoother* s, size_t a, size_t b, double value)
{
    const size_t i = s->order[a], j = s->order[b];
    if (i >= j)
        column_of(s, j)[i - j] += value;
}

static void add_difference(rlv_smoother* s, size_t from, size_t order, double penalty)
{
    const double* term = DIFFERENCE[order];
    for (size_t a = 0; a <= order; a++)
        for (size_t b = 0; b <= order; b++)
            add(s, from + a, from + b, penalty * term[a] * term[b]);
}

static double own_penalty(const rlv_smoother* s, size_t row, rlv_smoother_penalty penalty)
{
    return fmin(penalty.own * pow(s->fine[row], 2.0 * (double)s->order_own - 1.0), MOST_PENALTY);
}

static bool is_gap(const rlv_smoother* s, size_t slot)
{
    return s->gap != NULL && s->gap[slot];
}

static double walk_penalty(const rlv_smoother* s, size_t row, rlv_smoother_penalty penalty)
{
    return fmin(penalty.walk * s->fine[row] * s->fine[row], MOST_PENALTY);
}

/// Entries of a column that are not zero.
static size_t reach_of(const rlv_smoother* s, size_t column)
{
    return s->band + 1 < s->size - column ? s->band + 1 : s->size - column;
}

/// Divide a column by the root of its head: of what is below zero that is not a number, and so is all after it.
static inline void finish_column(double* column, size_t reach)
{
    const double root = sqrt(column[0]);
    for (size_t i = 0; i < reach; i++)
        column[i] /= root;
}

/// Take a finished column, from where it meets the head of another, out of that.
static inline void take_out(double* restrict other, const double* restrict from, size_t count)
{
    const double by = from[0];
    for (size_t i = 0; i < count; i++)
        other[i] -= by * from[i];
}

/// Two columns at a time: what lies after them is then read and written half as often.
EACH_WIDTH static void factor(rlv_smoother* s)
{
    for (size_t j = 0; j < s->size; j += 2)
    {
        double *first = column_of(s, j), *second = j + 1 < s->size ? column_of(s, j + 1) : NULL;
        const size_t reach = reach_of(s, j), further = second != NULL ? reach_of(s, j + 1) : 0;
        finish_column(first, reach);
        if (second == NULL)
            break;
        if (reach > 1)
            take_out(second, first + 1, reach - 1);
        finish_column(second, further);
        for (size_t k = 1; k < further; k++) // column j + 1 + k
        {
            double* restrict other = column_of(s, j + 1 + k);
            const double* restrict a = first + k + 1, * restrict b = second + k;
            const size_t both = k + 1 < reach ? reach - k - 1 : 0;
            const double by_a = both > 0 ? a[0] : 0.0, by_b = b[0];
            for (size_t i = 0; i < both; i++)
                other[i] -= by_a * a[i] + by_b * b[i];
            for (size_t i = both; i < further - k; i++)
                other[i] -= by_b * b[i];
        }
    }
}

void rlv_smoother_factor(rlv_smoother* s, const double* weight, rlv_smoother_penalty penalty)
{
    memset(s->factor, 0, s->size * (s->band + 1) * sizeof *s->factor);
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
        for (size_t i = s->first[r]; i + s->order_own < s->first[r + 1]; i++)
            add_difference(s, i, s->order_own, own_penalty(s, r, penalty));
    for (size_t r = 0; r < s->rows && s->walk; r++)
        for (size_t i = s->first[r]; i + 1 < s->first[r + 1]; i++)
            if (!is_gap(s, i))
                add_difference(s, walk_of(s, i), 1, walk_penalty(s, r, penalty));
    for (size_t k = 0; k + 3 < s->knots; k++)
        add_difference(s, s->slots + k, 3, fmin(penalty.shared, MOST_PENALTY));
    factor(s);
}

/// f + g + h at a slot, from coefficients in the order of the band that lie `stride` apart.
static double value_at(const rlv_smoother* s, const double* c, size_t stride, size_t slot, double* shared)
{
    double f = 0.0;
    for (size_t a = 0; a < 4 && s->knots > 0; a++)
        f += s->basis[4 * slot + a] * c[stride * s->order[s->slots + s->knot[slot] + a]];
    if (shared != NULL)
        *shared = f;
    return f + c[stride * s->order[slot]] + (s->walk ? c[stride * s->order[walk_of(s, slot)]] : 0.0);
}

/// The right-hand side that a slot's sum makes.
static void lay_side(const rlv_smoother* s, double* side, size_t stride, size_t slot, double sum)
{
    side[stride * s->order[slot]] += sum;
    if (s->walk)
        side[stride * s->order[walk_of(s, slot)]] += sum;
    for (size_t a = 0; a < 4 && s->knots > 0; a++)
        side[stride * s->order[s->slots + s->knot[slot] + a]] += sum * s->basis[4 * slot + a];
}

/// Solve with the factor, `x` being zero before `from`.
EACH_WIDTH static void solve(const rlv_smoother* s, double* restrict x, size_t from)
{
    for (size_t j = from; j < s->size; j++)
    {
        const double* restrict column = column_of(s, j);
        const size_t reach = reach_of(s, j);
        const double v = x[j] /= column[0];
        for (size_t i = 1; i < reach; i++)
            x[j + i] -= column[i] * v;
    }
    for (size_t j = s->size; j-- > 0;)
    {
        const double* restrict column = column_of(s, j);
        const size_t reach = reach_of(s, j);
        double sum[WIDE] = {0}; // apart, so that they need not wait for one another
        size_t i = 1;
        for (; i + WIDE <= reach; i += WIDE)
            for (size_t k = 0; k < WIDE; k++)
                sum[k] += column[i + k] * x[j + i + k];
        for (; i < reach; i++)
            sum[0] += column[i] * x[j + i];
        for (size_t k = 1; k < WIDE; k++)
            sum[0] += sum[k];
        x[j] = (x[j] - sum[0]) / column[0];
    }
}

/// Solve with L alone RLV_SMOOTHER_WIDE systems, side by side.
EACH_WIDTH static void descend_wide(const rlv_smoother* s, double* restrict x, size_t from)
{
    for (size_t j = from; j < s->size; j++)
    {
        const double* restrict column = column_of(s, j);
        const size_t reach = reach_of(s, j);
        for (size_t k = 0; k < WIDE; k++)
            x[WIDE * j + k] /= column[0];
        for (size_t i = 1; i < reach; i++)
            for (size_t k = 0; k < WIDE; k++)
                x[WIDE * (j + i) + k] -= column[i] * x[WIDE * j + k];
    }
}

/// And with its transpose.
EACH_WIDTH static void ascend_wide(const rlv_smoother* s, double* restrict x)
{
    for (size_t j = s->size; j-- > 0;)
    {
        const double* restrict column = column_of(s, j);
        const size_t reach = reach_of(s, j);
        double sum[WIDE] = {0};
        for (size_t i = 1; i < reach; i++)
            for (size_t k = 0; k < WIDE; k++)
                sum[k] += column[i] * x[WIDE * (j + i) + k];
        for (size_t k = 0; k < WIDE; k++)
            x[WIDE * j + k] = (x[WIDE * j + k] - sum[k]) / column[0];
    }
}

double rlv_smoother_fit(rlv_smoother* s, const double* sum, double* value, double* shared)
{
    memset(s->room, 0, s->size * sizeof *s->room);
    for (size_t i = 0; i < s->slots; i++)
        lay_side(s, s->room, 1, i, sum[i]);
    memcpy(s->plain, s->room, s->size * sizeof *s->plain);
    solve(s, s->room, 0);
    double explained = 0.0;
    for (size_t i = 0; i < s->size; i++)
        explained += s->plain[i] * s->room[i];
    for (size_t i = 0; i < s->slots; i++)
        value[i] = value_at(s, s->room, 1, i, shared == NULL ? NULL : &shared[i]);
    return explained;
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

/// Begin WIDE slots of a row at `slot`: L^-1 of their right-hand sides. Returns how many there are.
static size_t begin_wide(rlv_smoother* s, size_t row, size_t slot, size_t* from)
{
    const size_t left = s->first[row + 1] - slot, lanes = left < WIDE ? left : WIDE;
    *from = s->size;
    memset(s->wide, 0, s->size * WIDE * sizeof *s->wide);
    for (size_t k = 0; k < lanes; k++)
    {
        lay_side(s, s->wide + k, WIDE, slot + k, 1.0);
        *from = first_of(s, slot + k) < *from ? first_of(s, slot + k) : *from;
    }
    descend_wide(s, s->wide, *from);
    return lanes;
}

void rlv_smoother_spread(rlv_smoother* s, size_t row, double* block)
{
    const size_t first = s->first[row], n = s->first[row + 1] - first;
    for (size_t i = 0; i < n; i += WIDE)
    {
        size_t from;
        const size_t lanes = begin_wide(s, row, first + i, &from);
        ascend_wide(s, s->wide);
        for (size_t k = 0; k < lanes; k++)
            for (size_t j = 0; j < n; j++)
                block[(i + k) * n + j] = value_at(s, s->wide + k, WIDE, first + j, NULL);
    }
}

/// The entries of the inverse that lie in the band (K. Takahashi, J. Fagan, M.-S. Chen, Formation of a sparse bus
/// impedance matrix, 8th PICA Conf., 1973): from the last column on, each from those after it and the factor.
EACH_WIDTH static void invert(rlv_smoother* s)
{
    for (size_t j = s->size; j-- > 0;)
    {
        const size_t reach = reach_of(s, j);
        const double* restrict column = column_of(s, j);
        double* restrict own = s->inverse + j * (s->band + 1);
        memset(own, 0, reach * sizeof *own);
        for (size_t k = 1; k < reach; k++)
        {
            const double* restrict other = own + k * (s->band + 1), by = column[k];
            double sum[WIDE] = {0};
            size_t i = 0;
            for (; i + WIDE <= reach - k; i += WIDE)
                for (size_t w = 0; w < WIDE; w++)
                {
                    own[k + i + w] -= by * other[i + w];
                    sum[w] += column[k + i + w] * other[i + w];
                }
            for (; i < reach - k; i++)
            {
                own[k + i] -= by * other[i];
                sum[0] += column[k + i] * other[i];
            }
            for (size_t w = 1; w < WIDE; w++)
                sum[0] += sum[w];
            own[k] -= sum[0] - by * other[0]; // its head once, not twice
        }
        double head = 1.0 / column[0];
        for (size_t k = 1; k < reach; k++)
        {
            own[k] /= column[0];
            head -= column[k] * own[k];
        }
        own[0] = head / column[0];
    }
}

void rlv_smoother_variances(rlv_smoother* s, double* variance)
{
    invert(s);
    for (size_t i = 0; i < s->slots; i++)
    {
        size_t at[6], count = 0; // g, h and four of f
        double share[6];
        at[count] = s->order[i], share[count++] = 1.0;
        if (s->walk)
            at[count] = s->order[walk_of(s, i)], share[count++] = 1.0;
        for (size_t a = 0; a < 4 && s->knots > 0; a++)
            at[count] = s->order[s->slots + s->knot[i] + a], share[count++] = s->basis[4 * i + a];
        variance[i] = 0.0;
        for (size_t a = 0; a < count; a++)
            for (size_t b = 0; b < count; b++)
            {
                const size_t low = at[a] < at[b] ? at[a] : at[b], high = larger(at[a], at[b]);
                variance[i] += share[a] * share[b] * s->inverse[low * (s->band + 1) + high - low];
            }
    }
}

double rlv_smoother_log_det(const rlv_smoother* s, rlv_smoother_penalty penalty)
{
    double sum = 0.0;
    for (size_t i = 0; i < s->size; i++)
        sum += 2.0 * log(column_of(s, i)[0]);
    for (size_t r = 0; r < s->rows; r++)
        if (s->first[r + 1] - s->first[r] > s->order_own)
            sum -= (double)(s->first[r + 1] - s->first[r] - s->order_own) * log(own_penalty(s, r, penalty));
    for (size_t r = 0; r < s->rows && s->walk; r++)
        for (size_t i = s->first[r]; i + 1 < s->first[r + 1]; i++)
            sum -= is_gap(s, i) ? 0.0 : log(walk_penalty(s, r, penalty));
    if (s->knots > 3)
        sum -= (double)(s->knots - 3) * log(fmin(penalty.shared, MOST_PENALTY));
    return sum;
}

void rlv_smoother_steps(rlv_smoother* s, size_t row, rlv_smoother_penalty penalty, double* root)
{
    const size_t first = s->first[row], last = s->first[row + 1] - 1;
    for (size_t i = first; i < last; i++)
    {
        root[i - first] = 0.0;
        if (is_gap(s, i))
            continue;
        const size_t a = s->order[walk_of(s, i)], b = s->order[walk_of(s, i + 1)];
        const double step = s->room[b] - s->room[a];
        memset(s->plain, 0, s->size * sizeof *s->plain);
        s->plain[a] = -1.0, s->plain[b] = 1.0;
        solve(s, s->plain, a < b ? a : b);
        const double lost = 1.0 / walk_penalty(s, row, penalty) - (s->plain[b] - s->plain[a]);
        root[i - first] = lost > 0.0 ? step / sqrt(lost) : 0.0;
    }
}

double rlv_smoother_free_terms(const rlv_smoother* s)
{
    return (double)(s->order_own * s->rows) + (s->knots > 0 ? 1.0 : 0.0);
}
