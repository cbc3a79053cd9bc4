#include "life.h"

#include "cholesky.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_cdf.h>
#include <string.h>

enum
{
    MOST_GROUP = RLV_LIFE_MOST_GROUP,
};

/// An element belongs to a common motion where its distance from it is not beyond that of 1 in 1,000: chi-square of
/// three.
static const double MOST_CHI2 = 16.27;

/// And where it fits better there than in its life position by this much, of chi-square.
static const double CLEARLY = 4.0;

/// A window's prediction from what lies outside it.
typedef struct window
{
    size_t count; ///< elements, neighbours in their row
    const rlv_life_element* element;
    double off[3][MOST_GROUP];                 ///< from the prediction, mm
    double spread[2][MOST_GROUP * MOST_GROUP]; ///< count * count: covariance of it, along and across, mm^2
    double gap[MOST_GROUP * MOST_GROUP], side[MOST_GROUP * MOST_GROUP]; ///< room for what is solved
    size_t own[MOST_GROUP];                                             ///< indices of the elements that matter
    bool moved[MOST_GROUP];
} window;

/// Covariance, mm^2, of the life positions of a window's elements as the fit has it.
static void lay_spread(const rlv_life* life, window* w, size_t kind)
{
    const size_t row = w->element->row, slots = life->first[row + 1] - life->first[row];
    const double* block = life->covariance[kind] + life->block[row];
    for (size_t i = 0; i < w->count; i++)
        for (size_t j = 0; j < w->count; j++)
        {
            const size_t a = w->element[i].slot, b = w->element[j].slot;
            const double stretch = kind == 0 ? life->stretch[a] * life->stretch[b] : 1.0;
            w->spread[kind][i * w->count + j] =
                stretch * life->spread[kind].unit * block[(a - life->first[row]) * slots + b - life->first[row]];
        }
}

/// Take a window's own elements out of its prediction: with K the covariance of all and N the noise of those in the
/// fit, residuals e become e + K (N - K)^-1 e and the covariance K + K (N - K)^-1 K. (`kind` 0: along, 1: both
/// offsets.) False where that cannot be told: a leverage is one, but for rounding.
static bool leave_out(const rlv_life* life, window* w, size_t kind)
{
    const size_t n = w->count, from = kind == 0 ? 0 : 1, to = kind == 0 ? 1 : 3;
    double* k = w->spread[kind];
    size_t held = 0;
    lay_spread(life, w, kind);
    for (size_t i = 0; i < n; i++)
    {
        for (size_t v = from; v < to; v++)
            w->off[v][i] = w->element[i].off[v];
        if (w->element[i].trust[0] > 0.0)
            w->own[held++] = i;
    }
    if (held == 0)
        return true;
    gsl_matrix_view gap = gsl_matrix_view_array(w->gap, held, held), side = gsl_matrix_view_array(w->side, held, n);
    for (size_t i = 0; i < held; i++)
        for (size_t j = 0; j < held; j++)
        {
            // What keeps it positive where a leverage is one but for rounding: a millionth of the noise.
            const double noise = i == j ? (1.0 + 1e-6) * rlv_life_scatter(life, &w->element[w->own[i]], from) : 0.0;
            w->gap[i * held + j] = noise - k[w->own[i] * n + w->own[j]];
        }
    for (size_t i = 0; i < held; i++)
        for (size_t j = 0; j < n; j++)
            w->side[i * n + j] = k[w->own[i] * n + j];
    // L^-1 K: its squares are what the covariance gains, and it carries L^-1 e to the residuals.
    rlv_cholesky(held, w->gap);
    if (!isfinite(w->gap[held * held - 1]))
        return false;
    gsl_blas_dtrsm(CblasLeft, CblasLower, CblasNoTrans, CblasNonUnit, 1.0, &gap.matrix, &side.matrix);
    for (size_t v = from; v < to; v++)
    {
        double e[MOST_GROUP];
        gsl_vector_view x = gsl_vector_view_array(e, held);
        for (size_t i = 0; i < held; i++)
            e[i] = w->element[w->own[i]].off[v];
        gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &gap.matrix, &x.vector);
        for (size_t i = 0; i < held; i++)
            for (size_t j = 0; j < n; j++)
                w->off[v][j] += w->side[i * n + j] * e[i];
    }
    gsl_matrix_view all = gsl_matrix_view_array(k, n, n);
    gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1.0, &side.matrix, &side.matrix, 1.0, &all.matrix);
    return true;
}

/// The common motion of a window's elements that moved, by generalised least squares.
static void common_motion(const rlv_life* life, window* w, double shift[3], double variance[3])
{
    size_t held = 0;
    for (size_t i = 0; i < w->count; i++)
        if (w->moved[i])
            w->own[held++] = i;
    for (size_t v = 0; v < 3; v++)
    {
        const double* k = w->spread[rlv_life_spread_index(v)];
        gsl_matrix_view g = gsl_matrix_view_array(w->gap, held, held);
        double one[MOST_GROUP], off[MOST_GROUP], weight = 0.0, sum = 0.0;
        gsl_vector_view a = gsl_vector_view_array(one, held), b = gsl_vector_view_array(off, held);
        for (size_t i = 0; i < held; i++)
            for (size_t j = 0; j < held; j++)
                w->gap[i * held + j] = k[w->own[i] * w->count + w->own[j]] +
                                       (i == j ? rlv_life_scatter(life, &w->element[w->own[i]], v) : 0.0);
        for (size_t i = 0; i < held; i++)
            one[i] = 1.0, off[i] = w->off[v][w->own[i]];
        rlv_cholesky(held, w->gap);
        gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &g.matrix, &a.vector);
        gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &g.matrix, &b.vector);
        for (size_t i = 0; i < held; i++)
            weight += one[i] * one[i], sum += one[i] * off[i];
        shift[v] = sum / weight;
        variance[v] = 1.0 / weight;
    }
}

/// Whether an element lies where a common motion would have brought it, and clearly not where it belongs.
static bool moved_alike(const rlv_life* life, const rlv_life_element* e, const rlv_life_group* motion)
{
    const rlv_life_test t = rlv_life_test_of(life, e);
    double here = 0.0, there = 0.0;
    for (size_t v = 0; v < 3; v++)
    {
        here += t.off[v] * t.off[v] / t.variance[v];
        there += (t.off[v] - motion->shift[v]) * (t.off[v] - motion->shift[v]) / (t.variance[v] + motion->variance[v]);
    }
    return there < MOST_CHI2 && here > there + CLEARLY;
}

bool rlv_life_grow_group(rlv_life* life, size_t group, const rlv_life_group* motion)
{
    const rlv_life_row* row = &life->row[life->element[motion->first].row];
    size_t first = motion->first, last = motion->last;
    bool grown = false;
    for (bool on = true; on && first > row->begin && last - first + 1 < MOST_GROUP;)
        on = life->element[first - 1].group == 0 && moved_alike(life, &life->element[first - 1], motion) && first--;
    for (bool on = true; on && last + 1 < row->end && last - first + 1 < MOST_GROUP;)
        on = life->element[last + 1].group == 0 && moved_alike(life, &life->element[last + 1], motion) && ++last;
    for (size_t i = first; i <= last; i++)
    {
        rlv_life_element* e = &life->element[i];
        if (e->group == 0 && moved_alike(life, e, motion))
            e->group = group, e->trust[0] = 0.0, grown = true;
    }
    return grown;
}

/// Of a motion of so many elements, along the body alone or whichever way, times the windows of all rows.
static double p_of_motion(const rlv_life* life, const rlv_life_group* motion, size_t elements)
{
    double chi2[3], sum = 0.0;
    for (size_t v = 0; v < 3; v++)
        sum += chi2[v] = motion->shift[v] * motion->shift[v] / motion->variance[v];
    const double along = gsl_cdf_fdist_Q(chi2[0], 1.0, life->spread[RLV_LIFE_ALONG].freedom),
                 all = gsl_cdf_fdist_Q(sum / 3.0, 3.0, rlv_life_freedom(life));
    return fmin(rlv_life_windows(life) * rlv_life_price_of_window(elements) * fmin(along, all), 1.0);
}

rlv_life_group rlv_life_group_motion(rlv_life* life, size_t group)
{
    size_t from = life->count, last = 0;
    for (size_t i = 0; i < life->count; i++)
        if (life->element[i].group == group)
            from = i < from ? i : from, last = i;
    const size_t row = life->element[from].row;
    for (size_t k = 0; k < 2; k++) // as last factored: along, and both offsets
        rlv_smoother_spread(&life->smoother[k], row, life->covariance[k] + life->block[row]);
    window w;
    w.count = last - from + 1;
    w.element = life->element + from;
    rlv_life_group motion = {.first = from, .last = last, .p = 1.0};
    if (!leave_out(life, &w, 0) || !leave_out(life, &w, 1))
        return motion;
    size_t moved = 0;
    for (size_t i = 0; i < w.count; i++)
        moved += w.moved[i] = w.element[i].group == group;
    common_motion(life, &w, motion.shift, motion.variance);
    motion.p = p_of_motion(life, &motion, moved);
    return motion;
}
