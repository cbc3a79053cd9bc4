#include "ledger.h"

#include <float.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double MM3_PER_ML = 1000.0;

/// A singular value of the hours (each tool's scaled to one) below this share of the greatest is rounding: hours are
/// written down to four or five figures.
static const double LEAST_SINGULAR = 1e-9;

/// So is a tool's part of a direction that the hours do not tell.
static const double LEAST_PART = 1e-6;

/// Step of the scatters that are averaged over, in the log of t^2. The integrand is analytic and as wide as one or
/// more: the trapezoidal rule is good to rounding.
static const double LOG_STEP = 0.25;

/// Below this share of the variance that a row's measurement has, scatter changes nothing.
static const double LEAST_SCATTER = 1e-7;

/// A rate that the record does not tell.
static const rlv_rate UNTOLD = {.ml_per_h = {NAN, NAN, NAN}, .low_half_ml_per_h = NAN, .high_half_ml_per_h = NAN};

/// The rows that are used, and a fit to them.
typedef struct record
{
    size_t rows, tools;
    double* hours;                          ///< rows * tools
    double* sum_h;                          ///< one a row
    double* volume_ml;                      ///< one a row
    double* variance;                       ///< one a row: of the measurement
    double* weight_root;                    ///< one a row: root of the weight of the fit
    double* residual;                       ///< one a row: weighted, of the fit
    double *left, *right, *singular, *room; ///< U (tall * tools), V (tools * tools), S and room (tools each)
    double* scaling;                        ///< one a tool: what its column was divided by
    double* gain;                           ///< tools * rows: rates from volumes
    double* rate;                           ///< one a tool
    bool* determined;                       ///< one a tool
    size_t rank;
} record;

static void free_record(record* r)
{
    free(r->hours);
    free(r->sum_h);
    free(r->volume_ml);
    free(r->variance);
    free(r->weight_root);
    free(r->residual);
    free(r->left);
    free(r->right);
    free(r->singular);
    free(r->room);
    free(r->scaling);
    free(r->gain);
    free(r->rate);
    free(r->determined);
}

static rlv_status make_record(record* r, size_t rows, size_t tools, rlv_error* error)
{
    const size_t tall = rows > tools ? rows : tools, word = sizeof(double);
    r->tools = tools;
    if ((r->hours = rlv_reserve(rows * tools, word, error)) == NULL ||
        (r->sum_h = rlv_reserve(rows, word, error)) == NULL ||
        (r->volume_ml = rlv_reserve(rows, word, error)) == NULL ||
        (r->variance = rlv_reserve(rows, word, error)) == NULL ||
        (r->weight_root = rlv_reserve(rows, word, error)) == NULL ||
        (r->residual = rlv_reserve(rows, word, error)) == NULL ||
        (r->left = rlv_reserve(tall * tools, word, error)) == NULL ||
        (r->right = rlv_reserve(tools * tools, word, error)) == NULL ||
        (r->singular = rlv_reserve(tools, word, error)) == NULL ||
        (r->room = rlv_reserve(tools, word, error)) == NULL || (r->scaling = rlv_reserve(tools, word, error)) == NULL ||
        (r->gain = rlv_reserve(tools * rows, word, error)) == NULL ||
        (r->rate = rlv_reserve(tools, word, error)) == NULL ||
        (r->determined = rlv_reserve(tools, sizeof *r->determined, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

/// Keep the rows that have a volume and hours.
static rlv_status read_rows(record* r, size_t row_count, const rlv_interval* volume_mm3, const double* hours,
                            rlv_error* error)
{
    double most = 0.0;
    for (size_t k = 0; k < row_count; k++)
    {
        const rlv_interval v = volume_mm3[k];
        const bool sound = isnan(v.value) || (isfinite(v.high - v.low) && v.low <= v.value && v.value <= v.high);
        double sum = 0.0;
        bool negative = false;
        for (size_t t = 0; t < r->tools; t++)
        {
            sum += hours[r->tools * k + t];
            negative |= hours[r->tools * k + t] < 0.0;
        }
        if (!sound || negative || !isfinite(sum))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "give hours from 0 up and volumes inside their intervals",
                            "row %zu of the work holds hours or a volume that are none", k + 1);
        if (isnan(v.value) || !(sum > 0.0))
            continue;
        memcpy(r->hours + r->tools * r->rows, hours + r->tools * k, r->tools * sizeof *hours);
        r->sum_h[r->rows] = sum;
        r->volume_ml[r->rows] = v.value / MM3_PER_ML;
        const double sd = (v.high - v.low) / (2.0 * RLV_HALF_95 * MM3_PER_ML);
        r->variance[r->rows++] = sd * sd;
        most = fmax(most, fmax(fabs(v.value) / MM3_PER_ML, sd));
    }
    // A volume without an interval is taken as exact, but for a part in 10^9 of the greatest: weights stay finite.
    for (size_t k = 0; k < r->rows; k++)
        r->variance[k] = fmax(r->variance[k], fmax(1e-18 * most * most, DBL_MIN));
    return RLV_DONE;
}

/// What each tool's hours are divided by: their length.
static void find_scaling(record* r)
{
    for (size_t t = 0; t < r->tools; t++)
        for (size_t k = 0; k < r->rows; k++)
            r->scaling[t] = hypot(r->scaling[t], r->hours[r->tools * k + t]);
}

/// Weighted and scaled hours of the tools with `in` set (NULL: all); the others nothing.
static void lay_hours(record* r, gsl_matrix* a, const bool* in)
{
    gsl_matrix_set_zero(a);
    for (size_t t = 0; t < r->tools; t++)
        for (size_t k = 0; r->scaling[t] > 0.0 && (in == NULL || in[t]) && k < r->rows; k++)
            gsl_matrix_set(a, k, t, r->weight_root[k] * r->hours[r->tools * k + t] / r->scaling[t]);
}

/// Singular values of the weighted hours, and how many of them are more than rounding.
static void take_apart(record* r, const bool* in)
{
    const size_t tall = r->rows > r->tools ? r->rows : r->tools;
    gsl_matrix_view a = gsl_matrix_view_array(r->left, tall, r->tools),
                    v = gsl_matrix_view_array(r->right, r->tools, r->tools);
    gsl_vector_view s = gsl_vector_view_array(r->singular, r->tools);
    lay_hours(r, &a.matrix, in);
    gsl_linalg_SV_decomp_jacobi(&a.matrix, &v.matrix, &s.vector);
    r->rank = 0;
    while (r->rank < r->tools && r->singular[r->rank] > LEAST_SINGULAR * r->singular[0])
        r->rank++;
}

/// The least-squares rates of the tools with `in` set (NULL: all) with scatter `t2` an hour, of least length where the
/// hours do not tell them. Returns the weighted misfit.
static double fit_rates(record* r, double t2, const bool* in)
{
    for (size_t k = 0; k < r->rows; k++)
        r->weight_root[k] = 1.0 / sqrt(r->variance[k] + t2 * r->sum_h[k]);
    gsl_matrix_const_view v = gsl_matrix_const_view_array(r->right, r->tools, r->tools),
                          a = gsl_matrix_const_view_array(r->left, r->rows, r->tools);
    take_apart(r, in);
    memset(r->gain, 0, r->tools * r->rows * sizeof *r->gain);
    for (size_t t = 0; t < r->tools; t++)
    {
        r->rate[t] = 0.0;
        for (size_t k = 0; r->scaling[t] > 0.0 && k < r->rows; k++)
        {
            double* gain = r->gain + r->rows * t + k;
            for (size_t i = 0; i < r->rank; i++)
                *gain += gsl_matrix_get(&v.matrix, t, i) * gsl_matrix_get(&a.matrix, k, i) / r->singular[i];
            *gain *= r->weight_root[k] / r->scaling[t];
            r->rate[t] += *gain * r->volume_ml[k];
        }
    }
    double misfit = 0.0;
    for (size_t k = 0; k < r->rows; k++)
    {
        double off = r->volume_ml[k];
        for (size_t t = 0; t < r->tools; t++)
            off -= r->hours[r->tools * k + t] * r->rate[t];
        r->residual[k] = off * r->weight_root[k];
        misfit += r->residual[k] * r->residual[k];
    }
    return misfit;
}

/// Which rates the hours tell, being no part of a direction that they do not. Weights have no say in that.
static void find_determined(record* r)
{
    for (size_t k = 0; k < r->rows; k++)
        r->weight_root[k] = 1.0;
    take_apart(r, NULL);
    for (size_t t = 0; t < r->tools; t++)
    {
        double part = 0.0;
        for (size_t i = r->rank; i < r->tools; i++)
            part = hypot(part, r->right[r->tools * t + i]);
        r->determined[t] = r->scaling[t] > 0.0 && part < LEAST_PART;
    }
}

/// The scatter an hour that makes the misfit equal to its degrees of freedom, by halving; 0 where it is no larger.
static double find_scatter(record* r, double freedom)
{
    double low = 0.0, high = 0.0;
    for (size_t k = 0; k < r->rows; k++)
        high = fmax(high, (r->volume_ml[k] * r->volume_ml[k] + r->variance[k]) / r->sum_h[k]);
    // The residuals of no rates at all, squared, over that scatter: the misfit cannot be larger then.
    high *= (double)r->rows / freedom;
    if (fit_rates(r, 0.0, NULL) <= freedom)
        return 0.0;
    for (int n = 0; n < 200 && high - low > 4.0 * DBL_EPSILON * high; n++)
    {
        const double middle = 0.5 * (low + high);
        if (fit_rates(r, middle, NULL) > freedom)
            low = middle;
        else
            high = middle;
    }
    return high;
}

// No rate below 0

/// How the misfit's half falls with a tool's rate.
static double pull_of(const record* r, size_t tool)
{
    double pull = 0.0;
    for (size_t k = 0; k < r->rows; k++)
        pull += r->residual[k] * r->weight_root[k] * r->hours[r->tools * k + tool];
    return pull;
}

/// Take a step from rates `x` towards the fit of the tools that are `in`, up to the first that falls to 0, which goes
/// out. True where the whole step was taken.
static bool step_within(record* r, double* x, bool* in)
{
    double share = 1.0;
    size_t first = r->tools;
    for (size_t t = 0; t < r->tools; t++)
        if (r->determined[t] && in[t] && r->rate[t] <= 0.0 && x[t] / (x[t] - r->rate[t]) < share)
            share = x[t] / (x[t] - r->rate[t]), first = t;
    for (size_t t = 0; t < r->tools; t++)
        x[t] = in[t] ? x[t] + share * (r->rate[t] - x[t]) : 0.0;
    if (first == r->tools)
        return true;
    in[first] = false;
    x[first] = 0.0;
    return false;
}

/// Lawson and Hanson's least squares with every rate that is told from 0 up; those that are not are left free. `x` gets
/// the rates, `in` which are above 0.
static void fit_from_zero(record* r, double t2, double* x, bool* in)
{
    for (size_t t = 0; t < r->tools; t++)
    {
        x[t] = 0.0;
        in[t] = !r->determined[t];
    }
    for (size_t round = 0; round < 10 * r->tools; round++)
    {
        fit_rates(r, t2, in);
        size_t best = r->tools;
        double most = 0.0;
        for (size_t t = 0; t < r->tools; t++)
        {
            // In units of its sd: what is below rounding there does not count.
            double own = 0.0;
            for (size_t k = 0; k < r->rows; k++)
                own = hypot(own, r->weight_root[k] * r->hours[r->tools * k + t]);
            const double pull = in[t] ? 0.0 : pull_of(r, t) / own;
            if (pull > fmax(most, 1e-9))
                most = pull, best = t;
        }
        if (best == r->tools)
            return;
        in[best] = true;
        do
            fit_rates(r, t2, in);
        while (!step_within(r, x, in));
    }
}

// Scatter averaged over

/// Fits for a row of scatters: what they weigh, and each tool's rate and its sd.
typedef struct average
{
    size_t count;
    double* weight; ///< one a scatter
    double* rate;   ///< tools * count
    double* sd;     ///< tools * count
} average;

static void free_average(average* a)
{
    free(a->weight);
    free(a->rate);
    free(a->sd);
}

/// After a fit: the log of its restricted likelihood.
static double log_likelihood(const record* r, double misfit)
{
    double sum = -0.5 * misfit;
    for (size_t k = 0; k < r->rows; k++)
        sum += log(r->weight_root[k]);
    for (size_t i = 0; i < r->rank; i++)
        sum -= log(r->singular[i]);
    return sum;
}

/// After a fit: the log of Jeffreys' prior of t^2, the root of half the squares of hours times weights.
static double log_prior(const record* r)
{
    double told = 0.0;
    for (size_t k = 0; k < r->rows; k++)
        told = hypot(told, r->weight_root[k] * r->weight_root[k] * r->sum_h[k]);
    return log(M_SQRT1_2 * told);
}

/// Keep the fit as it stands.
static void keep_fit(const record* r, average* a, size_t place)
{
    for (size_t t = 0; t < r->tools; t++)
    {
        double variance = 0.0;
        for (size_t k = 0; k < r->rows; k++)
        {
            const double spread = r->gain[r->rows * t + k] / r->weight_root[k];
            variance += spread * spread;
        }
        a->rate[a->count * t + place] = r->rate[t];
        a->sd[a->count * t + place] = sqrt(variance);
    }
}

/// The logs of the scatters (t^2) that are worth a look: from where they change nothing to where no weight is left,
/// which falls with the power freedom / 2 of t^2 at the far end.
static void find_span(const record* r, double freedom, double* low, double* high)
{
    *low = INFINITY, *high = 0.0;
    for (size_t k = 0; k < r->rows; k++)
    {
        *low = fmin(*low, r->variance[k] / r->sum_h[k]);
        *high = fmax(*high, (r->volume_ml[k] * r->volume_ml[k] + r->variance[k]) / r->sum_h[k]);
    }
    *low = log(*low * LEAST_SCATTER);
    *high = log(*high) + fmax(16.0 / freedom, 4.0) * M_LN10;
}

/// Fit without scatter, and, where there are degrees of freedom, with all scatters.
static rlv_status average_scatters(record* r, average* a, double freedom, rlv_error* error)
{
    double low, high;
    find_span(r, freedom, &low, &high);
    a->count = freedom > 0.0 ? 2 + (size_t)ceil((high - low) / LOG_STEP) : 1;
    if ((a->weight = rlv_reserve(a->count, sizeof(double), error)) == NULL ||
        (a->rate = rlv_reserve(a->count * r->tools, sizeof(double), error)) == NULL ||
        (a->sd = rlv_reserve(a->count * r->tools, sizeof(double), error)) == NULL)
        return RLV_SYSTEM;
    a->weight[0] = log_likelihood(r, fit_rates(r, 0.0, NULL)) - log(LOG_STEP);
    keep_fit(r, a, 0);
    double most = a->weight[0];
    for (size_t i = 1; i < a->count; i++)
    {
        const double log_t2 = low + (double)(i - 1) * LOG_STEP, misfit = fit_rates(r, exp(log_t2), NULL);
        a->weight[i] = log_likelihood(r, misfit) + log_prior(r) + log_t2; // d t^2 = t^2 d log t^2
        most = fmax(most, a->weight[i]);
        keep_fit(r, a, i);
    }
    for (size_t i = 0; i < a->count; i++)
        a->weight[i] = exp(a->weight[i] - most);
    return RLV_DONE;
}

/// The rate below which `share` of the average lies, by halving.
static double quantile_of(const average* a, size_t tool, double share)
{
    const double *rate = a->rate + a->count * tool, *sd = a->sd + a->count * tool;
    double low = INFINITY, high = -INFINITY, whole = 0.0;
    for (size_t i = 0; i < a->count; i++)
    {
        whole += a->weight[i];
        low = fmin(low, rate[i] - 6.0 * sd[i]);
        high = fmax(high, rate[i] + 6.0 * sd[i]);
    }
    for (int n = 0; n < 200; n++)
    {
        const double middle = 0.5 * (low + high);
        double below = 0.0;
        for (size_t i = 0; i < a->count; i++)
            below += a->weight[i] * gsl_cdf_ugaussian_P((middle - rate[i]) / sd[i]);
        if (!(low < middle && middle < high))
            break;
        if (below < share * whole)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

static rlv_rate tell_rate(const record* r, const average* a, size_t tool)
{
    if (!r->determined[tool])
        return UNTOLD;
    const double value = r->rate[tool];
    rlv_rate rate = {.determined = true,
                     .low_half_ml_per_h = fmax(value - quantile_of(a, tool, 0.025), 0.0),
                     .high_half_ml_per_h = fmax(quantile_of(a, tool, 0.975) - value, 0.0)};
    rate.ml_per_h = (rlv_interval){value, value - rate.low_half_ml_per_h, value + rate.high_half_ml_per_h};
    return rate;
}

/// Do the fit again with no rate below 0, where one was. An interval holds both answers.
static rlv_status bound_rates(record* r, rlv_rate* rate, double t2, rlv_error* error)
{
    bool below = false;
    for (size_t t = 0; t < r->tools; t++)
        below |= r->determined[t] && r->rate[t] < 0.0;
    double* x = rlv_reserve(r->tools, sizeof *x, error);
    bool* in = rlv_reserve(r->tools, sizeof *in, error);
    const bool room = x != NULL && in != NULL;
    if (below && room)
        fit_from_zero(r, t2, x, in);
    for (size_t t = 0; room && t < r->tools; t++)
    {
        rlv_interval* told = &rate[t].ml_per_h;
        if (!rate[t].determined)
            continue;
        if (below)
        {
            rate[t].at_bound = !in[t];
            *told = (rlv_interval){x[t], fmin(told->low, x[t]), fmax(told->high, x[t])};
        }
        told->low = fmax(told->low, 0.0);
    }
    free(x);
    free(in);
    return room ? RLV_DONE : RLV_SYSTEM;
}

static rlv_status tell_rates(record* r, rlv_rates* rates, rlv_rate* rate, rlv_error* error)
{
    average a = {0};
    find_scaling(r);
    find_determined(r);
    const size_t freedom = r->rows - r->rank;
    const double misfit = fit_rates(r, 0.0, NULL);
    rates->rows_used = r->rows;
    rates->rank = r->rank;
    rates->scatter_known = freedom > 0;
    double t2 = 0.0;
    if (freedom > 0)
    {
        rates->chi_square = misfit;
        rates->p = gsl_cdf_chisq_Q(misfit, (double)freedom);
        t2 = find_scatter(r, (double)freedom);
        rates->scatter_ml = sqrt(t2);
    }
    rlv_status status = average_scatters(r, &a, (double)freedom, error);
    if (status == RLV_DONE)
    {
        fit_rates(r, t2, NULL);
        for (size_t t = 0; t < r->tools; t++)
            rate[t] = tell_rate(r, &a, t);
        status = bound_rates(r, rate, t2, error);
    }
    free_average(&a);
    return status;
}

rlv_status rlv_ledger_rates(rlv_rates* rates, rlv_rate* rate, size_t row_count, size_t tool_count,
                            const rlv_interval* volume_mm3, const double* hours, rlv_error* error)
{
    record r = {0};
    *rates = (rlv_rates){.scatter_ml = NAN, .chi_square = NAN, .p = NAN};
    for (size_t t = 0; t < tool_count; t++)
        rate[t] = UNTOLD;
    rlv_status status = make_record(&r, row_count, tool_count, error);
    if (status == RLV_DONE)
        status = read_rows(&r, row_count, volume_mm3, hours, error);
    if (status == RLV_DONE && r.rows > 0)
        status = tell_rates(&r, rates, rate, error);
    free_record(&r);
    return status;
}

/// Where (V - x r)^2 = v^2 + x^2 s^2, with the halves v and s of both intervals: an end of Fieller's.
static double fieller_end(double volume, double half, double rate, double rate_half, bool upper)
{
    const double a = rate * rate - rate_half * rate_half, b = volume * rate, c = volume * volume - half * half,
                 root = sqrt(fmax(b * b - a * c, 0.0));
    if (upper)
        return a > 0.0 ? (b + root) / a : INFINITY;
    return c > 0.0 ? c / (b + root) : 0.0;
}

rlv_interval rlv_ledger_hours(const rlv_rate* rate, rlv_interval volume_mm3)
{
    if (!rate->determined || isnan(volume_mm3.value))
        return (rlv_interval){NAN, NAN, NAN};
    const double volume = volume_mm3.value / MM3_PER_ML, low = volume - volume_mm3.low / MM3_PER_ML,
                 high = volume_mm3.high / MM3_PER_ML - volume, value = rate->ml_per_h.value;
    // Few hours are a small volume at a high rate.
    return (rlv_interval){volume == 0.0 ? 0.0 : volume / value,
                          fieller_end(volume, low, value, rate->high_half_ml_per_h, false),
                          fieller_end(volume, high, value, rate->low_half_ml_per_h, true)};
}
