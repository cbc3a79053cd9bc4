#include "life.h"

#include "order.h"
#include "pose.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_multimin.h>
#include <stdlib.h>
#include <string.h>

/// Penalties before any is estimated: a row's own values are smoothed over about a dozen places.
static const rlv_smoother_penalty FIRST_PENALTY = {30.0, 1.0, 30.0, 30.0};

/// Stands for the deviance of penalties that the numbers fail for.
static const double MOST_DEVIANCE = 1e100;

/// The logs of penalties that are looked at.
static const double LEAST_LOG = -7.0, MOST_LOG = 12.0;

/// Knots of what rows share: one for two pitches, but no more than these.
static const double MOST_KNOTS = 40.0;

/// A step of the walk is no shorter and no longer than this, in pitches of its row.
static const double LEAST_STEP = 0.4, MOST_STEP = 2.0;

/// The least of the stretch: an element further from the axis than most of its radius is none.
static const double LEAST_STRETCH = 0.3;

/// The least natural scatter: a tenth of what is usual, so that weights stay finite.
static const double LEAST_NATURAL[RLV_LIFE_KINDS] = {0.07 * 0.07, 0.07 * 0.07, 0.01 * 0.01};

rlv_life_kind rlv_life_kind_of(size_t value)
{
    return value == 0 ? RLV_LIFE_ALONG : value < 3 ? RLV_LIFE_ACROSS : RLV_LIFE_TURN;
}

size_t rlv_life_spread_index(size_t value)
{
    return value < 2 ? value : value - 1;
}

void rlv_life_free(rlv_life* life)
{
    free(life->element);
    free(life->row);
    free(life->first);
    free(life->block);
    free(life->base_line);
    free(life->shape);
    free(life->shaped);
    free(life->gap);
    free(life->gap_p);
    free(life->stretch);
    rlv_body_axis_free(&life->axis);
    for (size_t k = 0; k < RLV_LIFE_VALUES; k++)
        free(life->value[k]);
    for (size_t k = 0; k < 2; k++)
        free(life->room[k]);
    for (size_t k = 0; k < RLV_LIFE_KINDS; k++)
        rlv_smoother_free(&life->smoother[k]);
    for (size_t k = 0; k < RLV_LIFE_SPREADS; k++)
        free(life->covariance[k]);
    *life = (rlv_life){0};
}

/// The median pitch of each row along the axis.
static void find_pitches(rlv_life* life)
{
    for (size_t r = 0; r < life->rows; r++)
    {
        const size_t n = life->first[r + 1] - life->first[r] - 1;
        for (size_t i = 0; i < n; i++)
            life->room[0][i] = life->value[0][life->first[r] + i + 1] - life->value[0][life->first[r] + i];
        life->row[r].pitch_mm = fmax(rlv_median_sorting(n, life->room[0]), 1e-3);
    }
}

/// The scale of a shaped row, by its elements in the fit; as it was where two of them do not lie apart.
static void find_scale(rlv_life* life, size_t row)
{
    double weight = 0.0, x = 0.0, y = 0.0, xx = 0.0, xy = 0.0;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = life->row[row].begin; i < life->row[row].end; i++)
        {
            const rlv_life_element* e = &life->element[i];
            const double w = e->trust[0], at = life->shape[e->slot], is = rlv_life_along_of(life, e);
            if (pass == 0)
                weight += w, x += w * at, y += w * is;
            else if (weight > 0.0)
                xx += w * (at - x / weight) * (at - x / weight), xy += w * (at - x / weight) * (is - y / weight);
        }
    if (xx > 0.0)
        life->row[row].scale = xy / xx;
}

/// A line through each row's value that costs no penalty, so that what is left is small: for distances along the axis
/// a parabola, which is an even taper of the pitch, or the row's shape at its scale and a straight line; else a
/// straight line.
static void find_base_line(rlv_life* life, size_t value)
{
    for (size_t r = 0; r < life->rows; r++)
    {
        const size_t from = life->first[r], n = life->first[r + 1] - from;
        const bool shaped = value == 0 && life->row[r].shape != NULL;
        if (shaped)
            find_scale(life, r);
        const double *v = life->value[value] + from, *shape = life->shape + from,
                     scale = shaped ? life->row[r].scale : 0.0;
        const double middle = 0.5 * (double)(n - 1), square = ((double)n * (double)n - 1.0) / 12.0;
        double sum[3] = {0, 0, 0}, squares[3] = {0, 0, 0};
        for (int pass = 0; pass < 2; pass++)
            for (size_t i = 0; i < n; i++)
            {
                // Polynomials of the place that are orthogonal over a row's places.
                const double x = (double)i - middle, term[3] = {1.0, x, value == 0 && !shaped ? x * x - square : 0.0};
                double fitted = scale * shape[i];
                for (int k = 0; k < 3; k++)
                {
                    if (pass == 0)
                        sum[k] += term[k] * (v[i] - scale * shape[i]), squares[k] += term[k] * term[k];
                    fitted += squares[k] > 0.0 ? sum[k] / squares[k] * term[k] : 0.0;
                }
                life->base_line[from + i] = fitted;
            }
    }
}

rlv_status rlv_life_lay(rlv_life* life, rlv_error* error)
{
    double* fine = rlv_reserve(life->rows, sizeof *fine, error);
    double* step = rlv_reserve(life->slots, sizeof *step, error);
    if (fine == NULL || step == NULL)
    {
        free(fine);
        free(step);
        return RLV_SYSTEM;
    }
    find_pitches(life);
    double mean = 0.0, low = INFINITY, high = -INFINITY;
    for (size_t r = 0; r < life->rows; r++)
        mean += log(life->row[r].pitch_mm) / (double)life->rows;
    for (size_t r = 0; r < life->rows; r++)
        fine[r] = exp(mean) / life->row[r].pitch_mm;
    for (size_t i = 0; i < life->slots; i++)
        low = fmin(low, life->value[0][i]), high = fmax(high, life->value[0][i]);
    const size_t knots = 3 + (size_t)fmax(fmin((high - low) / (2.0 * exp(mean)), MOST_KNOTS), 1.0);
    rlv_status status = RLV_DONE;
    // What rows share along the axis is told over their base lines: over the distances themselves it would be what it
    // explains.
    find_base_line(life, 0);
    for (size_t r = 0; r < life->rows; r++)
        for (size_t i = life->first[r]; i < life->first[r + 1]; i++)
        {
            const size_t to = i + 1 < life->first[r + 1] ? i + 1 : i;
            const double pitch = life->row[r].pitch_mm, // of a row of one place too, which has no step
                length = to > life->first[r] ? life->base_line[to] - life->base_line[to - 1] : pitch;
            step[i] = fmin(fmax(length, LEAST_STEP * pitch), MOST_STEP * pitch) / exp(mean);
        }
    for (size_t k = 0; k < RLV_LIFE_KINDS && status == RLV_DONE; k++)
    {
        const bool along = k == RLV_LIFE_ALONG;
        rlv_smoother_free(&life->smoother[k]);
        status = rlv_smoother_lay(&life->smoother[k], life->rows, life->first, along ? life->base_line : life->value[0],
                                  fine, along ? step : NULL, along ? 3 : 2, k == RLV_LIFE_TURN ? 0 : knots, life->gap,
                                  along ? life->shaped : NULL, error);
        if (!(life->spread[k].penalty.own > 0.0))
            life->spread[k].penalty = FIRST_PENALTY;
    }
    free(fine);
    free(step);
    return status;
}

rlv_life_place rlv_life_at(const rlv_life* life, size_t row, size_t slot)
{
    rlv_life_place p = {.frame = rlv_body_axis_at(&life->axis, life->value[0][slot])};
    const rlv_body_frame* f = &p.frame;
    const double a = life->value[1][slot], b = life->value[2][slot];
    p.at_mm = rlv_vec3_along(rlv_vec3_along(f->at_mm, a, f->side), b, f->other);
    p.stretch = fmax(1.0 - f->bend[0] * a - f->bend[1] * b, LEAST_STRETCH);
    const rlv_mat3 axes = rlv_mat3_of_columns(f->along, f->side, f->other);
    const rlv_vec3 turn = {life->value[3][slot], life->value[4][slot], life->value[5][slot]};
    p.attitude = rlv_mat3_multiply(axes, rlv_mat3_multiply(life->row[row].base, rlv_rotation_from_vector(turn)));
    return p;
}

/// What measuring adds in the directions of a slot.
static void find_variances(rlv_life_element* e, const rlv_life_place* p)
{
    const double *position = e->measured->position_cov_mm2, *turn = e->measured->attitude_cov_rad2;
    e->variance[0] = rlv_variance_along(position, p->frame.along);
    e->variance[1] = rlv_variance_along(position, p->frame.side);
    e->variance[2] = rlv_variance_along(position, p->frame.other);
    for (int k = 0; k < 3; k++)
        e->variance[3 + k] = rlv_variance_along(turn, rlv_mat3_column(p->attitude, k));
}

void rlv_life_measure(const rlv_life* life, rlv_life_element* e)
{
    const rlv_life_place p = rlv_life_at(life, e->row, e->slot);
    const rlv_vec3 d = rlv_vec3_sub(e->at_mm, p.at_mm);
    e->off[0] = rlv_vec3_dot(d, p.frame.along);
    e->off[1] = rlv_vec3_dot(d, p.frame.side);
    e->off[2] = rlv_vec3_dot(d, p.frame.other);
    e->told[0] = e->told[1] = e->told[2] = true;
    const rlv_vec3 turn = rlv_life_turn(p.attitude, e->frame, e->measured->known, e->told + 3);
    e->off[3] = turn.x, e->off[4] = turn.y, e->off[5] = turn.z;
    find_variances(e, &p);
    for (size_t k = 3; k < RLV_LIFE_VALUES && !life->row[e->row].turned; k++)
        e->off[k] = 0.0, e->told[k] = false;
}

static void measure(rlv_life* life)
{
    for (size_t i = 0; i < life->count; i++)
        rlv_life_measure(life, &life->element[i]);
}

void rlv_life_look(rlv_life* life)
{
    for (size_t r = 0; r < life->rows; r++)
        for (size_t i = life->first[r]; i < life->first[r + 1]; i++)
            life->stretch[i] = rlv_life_at(life, r, i).stretch;
    measure(life);
}

/// Length of a unit of a slot's value: 1, but for the distance along the axis.
static double stretch_at(const rlv_life* life, size_t slot, size_t value)
{
    return value == 0 ? life->stretch[slot] : 1.0;
}

double rlv_life_scatter(const rlv_life* life, const rlv_life_element* e, size_t value)
{
    return life->spread[rlv_life_kind_of(value)].natural + e->variance[value];
}

double rlv_life_along_of(const rlv_life* life, const rlv_life_element* e)
{
    const double stretch = life->stretch[e->slot]; // 0 before it has been looked at
    return life->value[0][e->slot] + (stretch > 0.0 ? e->off[0] / stretch : 0.0);
}

/// Weight of an element for a value, in units of the value.
static double weight_of(const rlv_life* life, const rlv_life_element* e, size_t value)
{
    const rlv_life_kind kind = rlv_life_kind_of(value);
    if (!e->told[value])
        return 0.0;
    const double h = stretch_at(life, e->slot, value), unit = life->spread[kind].unit;
    return e->trust[kind == RLV_LIFE_TURN] * h * h * (unit > 0.0 ? unit / rlv_life_scatter(life, e, value) : 1.0);
}

/// Sum weights and weighted working values, less the base line, into slots. Returns the weighted squares.
static double gather(rlv_life* life, size_t value)
{
    double squares = 0.0;
    memset(life->room[0], 0, life->slots * sizeof(double));
    memset(life->room[1], 0, life->slots * sizeof(double));
    find_base_line(life, value);
    for (size_t i = 0; i < life->count; i++)
    {
        const rlv_life_element* e = &life->element[i];
        const double w = weight_of(life, e, value), y = life->value[value][e->slot] +
                                                        e->off[value] / stretch_at(life, e->slot, value) -
                                                        life->base_line[e->slot];
        life->room[0][e->slot] += w;
        life->room[1][e->slot] += w * y;
        squares += w * y * y;
    }
    return squares;
}

static size_t first_value(rlv_life_kind kind)
{
    return kind == RLV_LIFE_ALONG ? 0 : kind == RLV_LIFE_ACROSS ? 1 : 3;
}

static size_t value_count(rlv_life_kind kind)
{
    return kind == RLV_LIFE_ALONG ? 1 : kind == RLV_LIFE_ACROSS ? 2 : 3;
}

/// Whether a value has the weights of the one before it, to rounding: the factor then serves both.
static bool weighs_alike(const rlv_life* life, size_t value)
{
    for (size_t i = 0; i < life->count; i++)
    {
        const double a = weight_of(life, &life->element[i], value - 1), b = weight_of(life, &life->element[i], value);
        if (fabs(a - b) > 1e-9 * fabs(a))
            return false;
    }
    return true;
}

/// What measuring brings to the variance of weight one, at the weights as they are; `*held` gets the sum of them.
static double measured_unit(const rlv_life* life, rlv_life_kind kind, double* held)
{
    double measured = 0.0;
    *held = 0.0;
    for (size_t v = first_value(kind); v < first_value(kind) + value_count(kind); v++)
        for (size_t i = 0; i < life->count; i++)
        {
            const rlv_life_element* e = &life->element[i];
            const double share =
                e->told[v] && e->trust[kind == RLV_LIFE_TURN] > 0.0 ? 1.0 / rlv_life_scatter(life, e, v) : 0.0;
            *held += share;
            measured += share * e->variance[v];
        }
    return *held > 0.0 ? measured / *held : 0.0;
}

/// Fit all values of a kind. Returns minus twice the log of the restricted likelihood at the likeliest phi, which is
/// `*unit`: no less than what measuring alone brings. (Rows that walk and scatter little fit better than they were
/// measured; a phi below that would make ratios of variances to it out of steps that are no longer than the pitch is
/// uneven, and walk by many times that once phi is what it has to be.) `keep` false leaves the values as they are.
static double fit_kind(rlv_life* life, rlv_life_kind kind, bool keep, double* unit)
{
    rlv_smoother* s = &life->smoother[kind];
    double left = 0.0, freedom = 0.0, logs = 0.0;
    for (size_t k = 0; k < value_count(kind); k++)
    {
        const size_t v = first_value(kind) + k;
        const double squares = gather(life, v);
        double held = 0.0;
        for (size_t i = 0; i < life->count; i++)
            held += life->element[i].told[v] ? life->element[i].trust[kind == RLV_LIFE_TURN] : 0.0;
        if (k == 0 || !weighs_alike(life, v))
            rlv_smoother_factor(s, life->room[0], life->spread[kind].penalty);
        double* fitted = life->room[0]; // the weights are in the factor now
        left += squares - rlv_smoother_fit(s, life->room[1], fitted, NULL);
        freedom += fmax(held - rlv_smoother_free_terms(s), 1.0);
        logs += rlv_smoother_log_det(s, life->spread[kind].penalty);
        for (size_t i = 0; i < life->slots && keep; i++)
            life->value[v][i] = life->base_line[i] + fitted[i];
    }
    double weights;
    *unit = fmax(left / freedom, measured_unit(life, kind, &weights) + LEAST_NATURAL[kind]);
    return freedom * log(*unit) + left / *unit + logs;
}

rlv_life_profile rlv_life_try(rlv_life* life, size_t row, size_t value, rlv_smoother_penalty penalty)
{
    rlv_smoother* s = &life->smoother[rlv_life_kind_of(value)];
    double held = 0.0, *ahead = life->room[0]; // the weights are in the factor by then
    for (size_t i = 0; i < life->count; i++)
        held += life->element[i].trust[0];
    rlv_life_profile p = {.left = gather(life, value), .freedom = fmax(held - rlv_smoother_free_terms(s), 1.0)};
    rlv_smoother_factor(s, life->room[0], penalty);
    p.left -= rlv_smoother_fit(s, life->room[1], ahead, NULL);
    p.logs = rlv_smoother_log_det(s, penalty);
    for (size_t i = life->first[row]; i < life->first[row + 1]; i++)
        ahead[i] += life->base_line[i] - life->value[value][i];
    rlv_smoother_spread(s, row, life->covariance[rlv_life_spread_index(value)] + life->block[row]);
    return p;
}

void rlv_life_fit(rlv_life* life, rlv_life_kind kind)
{
    double unit;
    fit_kind(life, kind, true, &unit);
    rlv_life_look(life);
}

typedef struct choice
{
    rlv_life* life;
    rlv_life_kind kind;
} choice;

static double bounded(double x)
{
    return fmin(fmax(x, LEAST_LOG), MOST_LOG);
}

enum
{
    MOST_CHOSEN = 4
};

static bool has_shape(const rlv_life* life)
{
    bool shaped = false;
    for (size_t r = 0; r < life->rows; r++)
        shaped |= life->row[r].shape != NULL;
    return shaped;
}

/// How many penalties are chosen for a kind.
static size_t chosen_count(const rlv_life* life, rlv_life_kind kind)
{
    static const size_t count[RLV_LIFE_KINDS] = {3, 2, 1};
    return count[kind] + (kind == RLV_LIFE_ALONG && has_shape(life));
}

/// The penalty of departures from shapes that is the most: an sd of rlv_life_drift_of of the pitch from end to end.
/// A difference of second order has the variance unit over penalty, and the pitch changes by the sum of them.
static double most_shaped(const rlv_life* life)
{
    double least = INFINITY;
    for (size_t r = 0; r < life->rows; r++)
    {
        if (life->row[r].shape == NULL)
            continue;
        const double drift = rlv_life_drift_of(life, r) * life->row[r].pitch_mm,
                     fine = life->smoother[RLV_LIFE_ALONG].fine[r];
        least = fmin(least, (double)(life->first[r + 1] - life->first[r]) / (drift * drift * pow(fine, 3.0)));
    }
    return life->spread[RLV_LIFE_ALONG].unit * least;
}

/// The penalties that are chosen, in order.
static double* chosen(rlv_smoother_penalty* penalty, size_t index)
{
    double* const all[MOST_CHOSEN] = {&penalty->own, &penalty->shared, &penalty->walk, &penalty->shaped};
    return all[index];
}

static void take(rlv_life* life, rlv_life_kind kind, const gsl_vector* x)
{
    for (size_t k = 0; k < x->size; k++)
        *chosen(&life->spread[kind].penalty, k) = exp(bounded(gsl_vector_get(x, k)));
    const double most = kind == RLV_LIFE_ALONG ? most_shaped(life) : 0.0;
    if (most > 0.0) // some row is shaped, and scatter has been estimated
        life->spread[kind].penalty.shaped = fmin(life->spread[kind].penalty.shaped, most);
}

static double deviance(const gsl_vector* x, void* user)
{
    const choice* c = user;
    double unit, out = 0.0;
    take(c->life, c->kind, x);
    for (size_t k = 0; k < x->size; k++)
        out += fabs(gsl_vector_get(x, k) - bounded(gsl_vector_get(x, k)));
    const double found = fit_kind(c->life, c->kind, false, &unit) + out;
    return isfinite(found) ? found : MOST_DEVIANCE; // the search takes none for an answer that is not a number
}

/// Where the search starts: the best of the penalties as they are and a coarse grid, since the likelihood can have more
/// than one peak (all is scatter; or all is shared).
static void find_start(choice* c, gsl_vector* x)
{
    static const double grid[] = {-1.0, 4.0, 10.0};
    const size_t steps = sizeof grid / sizeof *grid;
    double best[MOST_CHOSEN], least = INFINITY;
    size_t all = 1;
    for (size_t k = 0; k < x->size; k++, all *= steps)
        best[k] = bounded(log(*chosen(&c->life->spread[c->kind].penalty, k)));
    // Once scatter has been estimated, the fit changes little from choice to choice.
    const size_t looks = c->life->spread[c->kind].unit > 0.0 ? 0 : all;
    for (size_t n = 0; n <= looks; n++)
    {
        double at[MOST_CHOSEN];
        for (size_t k = 0, digits = n - 1; k < x->size; k++, digits /= steps)
            gsl_vector_set(x, k, at[k] = n == 0 ? best[k] : grid[digits % steps]);
        const double found = deviance(x, c);
        if (found < least)
            least = found, memcpy(best, at, sizeof best);
    }
    for (size_t k = 0; k < x->size; k++)
        gsl_vector_set(x, k, best[k]);
}

rlv_status rlv_life_choose(rlv_life* life, rlv_life_kind kind, rlv_error* error)
{
    choice c = {life, kind};
    const size_t size = chosen_count(life, kind);
    gsl_multimin_function f = {deviance, size, &c};
    gsl_multimin_fminimizer* m = gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2, size);
    gsl_vector *x = gsl_vector_alloc(size), *step = gsl_vector_alloc(size);
    rlv_status status = RLV_DONE;
    if (m == NULL || x == NULL || step == NULL)
        status = rlv_fail(error, RLV_SYSTEM, NULL, NULL, "no memory to choose penalties");
    else
    {
        find_start(&c, x);
        gsl_vector_set_all(step, life->spread[kind].unit > 0.0 ? 0.75 : 1.5);
        gsl_multimin_fminimizer_set(m, &f, x, step);
        for (int n = 0; n < 40 * (int)size && gsl_multimin_fminimizer_size(m) > 0.25; n++)
            if (gsl_multimin_fminimizer_iterate(m) != 0)
                break;
        take(life, kind, gsl_multimin_fminimizer_x(m));
        rlv_life_fit(life, kind);
    }
    if (m != NULL)
        gsl_multimin_fminimizer_free(m);
    if (x != NULL)
        gsl_vector_free(x);
    if (step != NULL)
        gsl_vector_free(step);
    return status;
}

static double* variance_at(const rlv_life* life, size_t row, size_t slot, size_t value)
{
    const size_t n = life->first[row + 1] - life->first[row], i = slot - life->first[row];
    return &life->covariance[rlv_life_spread_index(value)][life->block[row] + i * n + i];
}

/// The scatter that a fit found: the mean variance of an element, weighted as the fit weighs, is phi; less what
/// measuring brings.
static void find_natural(rlv_life* life, rlv_life_kind kind, double phi)
{
    double held;
    const double measured = measured_unit(life, kind, &held);
    rlv_life_spread* s = &life->spread[kind];
    s->natural = held > 0.0 ? fmax(phi - measured, LEAST_NATURAL[kind]) : LEAST_NATURAL[kind];
    s->unit = held > 0.0 ? s->natural + measured : phi;
}

/// The variances of all slots, into the diagonals of their rows' blocks.
static void find_variances_of_all(const rlv_life* life, rlv_smoother* s, double* covariance)
{
    double* variance = life->room[0]; // the weights are in the factor now
    rlv_smoother_variances(s, variance);
    for (size_t r = 0; r < life->rows; r++)
    {
        const size_t n = life->first[r + 1] - life->first[r];
        for (size_t i = 0; i < n; i++)
            covariance[life->block[r] + i * n + i] = variance[life->first[r] + i];
    }
}

/// Copy the blocks of a row, or of all.
static void copy_spread(const rlv_life* life, size_t row, const double* from, double* to)
{
    for (size_t r = 0; r < life->rows; r++)
    {
        const size_t n = life->first[r + 1] - life->first[r];
        if (row == r || row == RLV_LIFE_ALL)
            memcpy(to + life->block[r], from + life->block[r], n * n * sizeof *to);
    }
}

/// Covariances of a kind, and the values that belong to the same weights.
static void find_spread(rlv_life* life, rlv_life_kind kind, size_t row)
{
    rlv_smoother* s = &life->smoother[kind];
    double freedom = 0.0;
    for (size_t k = 0; k < value_count(kind); k++)
    {
        const size_t v = first_value(kind) + k;
        gather(life, v);
        const bool anew = k == 0 || !weighs_alike(life, v);
        double* covariance = life->covariance[rlv_life_spread_index(v)];
        if (anew)
            rlv_smoother_factor(s, life->room[0], life->spread[kind].penalty);
        if (anew && row == RLV_LIFE_ALL)
            find_variances_of_all(life, s, covariance);
        else if (anew && row != RLV_LIFE_NONE)
            rlv_smoother_spread(s, row, covariance + life->block[row]);
        else if (!anew && kind == RLV_LIFE_TURN && row != RLV_LIFE_NONE)
            copy_spread(life, row, life->covariance[rlv_life_spread_index(v - 1)], covariance);
        rlv_smoother_fit(s, life->room[1], life->room[0], NULL);
        for (size_t i = 0; i < life->slots; i++)
            life->value[v][i] = life->base_line[i] + life->room[0][i];
        double held = 0.0;
        for (size_t i = 0; i < life->count; i++)
            held += weight_of(life, &life->element[i], v) > 0.0;
        freedom += fmax(held - rlv_smoother_free_terms(s), 1.0);
    }
    // What is smooth is random too: phi is known with all but the terms that are free.
    life->spread[kind].freedom = freedom;
}

void rlv_life_spread_of(rlv_life* life, size_t kinds, size_t row, double kept)
{
    // The stretch stays as it was from here on: weights and covariances belong together.
    for (size_t k = 0; k < kinds; k++)
    {
        double phi;
        fit_kind(life, (rlv_life_kind)k, true, &phi);
        measure(life);
        find_natural(life, (rlv_life_kind)k, phi / kept);
    }
    for (size_t k = 0; k < kinds; k++)
        find_spread(life, (rlv_life_kind)k, row);
    measure(life);
}

bool rlv_life_extrapolated(const rlv_life* life, size_t row, size_t slot, const rlv_life_element* but)
{
    bool before = false, after = false;
    for (size_t i = life->row[row].begin; i < life->row[row].end; i++)
    {
        const rlv_life_element* e = &life->element[i];
        before |= e != but && e->trust[0] > 0.0 && e->slot <= slot;
        after |= e != but && e->trust[0] > 0.0 && e->slot >= slot;
    }
    return !before || !after;
}

double rlv_life_variance(const rlv_life* life, size_t row, size_t slot, size_t value)
{
    const double h = stretch_at(life, slot, value);
    return h * h * life->spread[rlv_life_kind_of(value)].unit * *variance_at(life, row, slot, value);
}

/// Half of the 95 % interval of a life position or attitude, natural scatter included.
static double half_of(const rlv_life* life, size_t value, double known)
{
    const rlv_life_spread* s = &life->spread[rlv_life_kind_of(value)];
    return gsl_cdf_tdist_Pinv(0.975, fmax(s->freedom, 1.0)) * sqrt(known + s->natural);
}

bool rlv_life_is_told(const rlv_life* life, size_t row, size_t slot, const double* known)
{
    bool told = true;
    for (size_t v = 0; v < 3; v++)
        told &= half_of(life, v, known[v]) < life->row[row].pitch_mm * life->stretch[slot];
    return told;
}

/// The leave-one-out distance and variance of one value.
static void test_value(const rlv_life* life, const rlv_life_element* e, size_t v, double widen, rlv_life_test* t)
{
    const double leverage = weight_of(life, e, v) * *variance_at(life, e->row, e->slot, v);
    if (!e->told[v] || !(leverage < 1.0))
        return;
    t->off[v] = e->off[v] / (1.0 - leverage);
    t->known[v] = widen * rlv_life_variance(life, e->row, e->slot, v) / (1.0 - leverage);
    t->variance[v] = t->known[v] + rlv_life_scatter(life, e, v);
}

rlv_life_test rlv_life_test_of(const rlv_life* life, const rlv_life_element* e)
{
    const bool beyond = rlv_life_extrapolated(life, e->row, e->slot, e);
    rlv_life_test t;
    for (size_t v = 0; v < RLV_LIFE_VALUES; v++)
    {
        t.off[v] = e->off[v];
        t.variance[v] = t.known[v] = INFINITY;
        test_value(life, e, v, !beyond ? 1.0 : v < 3 ? RLV_LIFE_WIDENING : RLV_LIFE_WIDENING_TURN, &t);
        if (v >= 3 && !(half_of(life, v, t.known[v]) < M_PI_2))
            t.variance[v] = t.known[v] = INFINITY;
    }
    t.told = rlv_life_is_told(life, e->row, e->slot, t.known);
    for (size_t v = 0; v < RLV_LIFE_VALUES && !t.told; v++)
        t.variance[v] = t.known[v] = INFINITY;
    return t;
}

static double p_of(const rlv_life_test* t, size_t from, size_t to, double freedom)
{
    double sum = 0.0;
    int told = 0;
    for (size_t v = from; v < to; v++)
        if (isfinite(t->variance[v]))
            sum += t->off[v] * t->off[v] / t->variance[v], told++;
    return told > 0 ? gsl_cdf_fdist_Q(sum / told, told, freedom) : NAN;
}

double rlv_life_freedom(const rlv_life* life)
{
    return fmin(life->spread[RLV_LIFE_ALONG].freedom, life->spread[RLV_LIFE_ACROSS].freedom);
}

double rlv_life_p_shift(const rlv_life* life, const rlv_life_test* test)
{
    return p_of(test, 0, 3, rlv_life_freedom(life));
}

double rlv_life_p_turn(const rlv_life* life, const rlv_life_test* test)
{
    return p_of(test, 3, RLV_LIFE_VALUES, life->spread[RLV_LIFE_TURN].freedom);
}
