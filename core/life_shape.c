#include "life.h"

#include "cholesky.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

enum
{
    SETTLE_ROUNDS = 6, ///< of penalties and fits of a comparative specimen
    BENDS = 8,
    TERMS = 4, ///< position, scale; a parabola and a cubic that a table does not have
};

/// A table is left out where its p is below this.
static const double MISFIT_LEVEL = 0.01;

/// How far the line of a body that keeps its length lies off the middle of its rows, to each side, one sd: as a share
/// of how far the rows lie off that. Of a row that is its own axis: of how far it lies off the other animal's. From
/// memory, no source.
static const double OFF_AXIS = 0.3, OFF_ROW = 0.7;

/// The least sd of a step from place to place, as a share of it: a fit may take a walk for a smooth departure. From
/// memory, no source: half of RLV_PLACES_SPREAD.
static const double LEAST_UNEVEN = 0.05;

/// Penalty of a walk that does not walk.
static const double STILL = 1e6;

// --- the shape of a comparative specimen -----------------------------------------------------------------------------

void rlv_life_shapes_free(rlv_life_shape* shape, size_t row_count)
{
    for (size_t r = 0; r < row_count && shape != NULL; r++)
    {
        free(shape[r].along_mm);
        free(shape[r].turn[0]);
        free(shape[r].turn[1]);
        free(shape[r].breadth_mm);
    }
    free(shape);
}

/// The places of one specimen as elements of an animal.
static size_t gather_specimen(rlv_placed_element* element, size_t count, const rlv_compared_place* place,
                              size_t specimen)
{
    size_t held = 0;
    for (size_t i = 0; i < count; i++)
    {
        if (place[i].specimen != specimen)
            continue;
        rlv_placed_element* e = &element[held++];
        *e = (rlv_placed_element){.row = place[i].row, .place_low = place[i].place, .place_high = place[i].place};
        const double at[3] = {place[i].at_mm.x, place[i].at_mm.y, place[i].at_mm.z};
        for (int k = 0; k < 3; k++)
        {
            e->element.position_mm[k] = at[k];
            e->element.position_cov_mm2[4 * k] = place[i].sd_mm * place[i].sd_mm;
        }
    }
    return held;
}

/// Fit the order of a comparative specimen, all of it in place: with the penalties of the likelihood, and then without
/// the walk, since its own uneven steps are not this animal's.
static rlv_status settle(rlv_life* life, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    rlv_life_look(life);
    for (int round = 0; round < SETTLE_ROUNDS && status == RLV_DONE; round++)
    {
        for (int k = 0; k <= RLV_LIFE_ACROSS && status == RLV_DONE; k++)
            status = rlv_life_choose(life, (rlv_life_kind)k, error);
        if (round == 0 && status == RLV_DONE)
            status = rlv_life_centre(life, error);
        rlv_life_look(life);
        rlv_life_spread_of(life, RLV_LIFE_ACROSS + 1, RLV_LIFE_NONE, 1.0);
    }
    life->spread[RLV_LIFE_ALONG].penalty.walk = STILL;
    for (int round = 0; round < SETTLE_ROUNDS && status == RLV_DONE; round++)
        rlv_life_fit(life, RLV_LIFE_ALONG);
    return status;
}

/// By how much the axis has turned to N1 or N2 from its first point up to a distance.
static double turn_up_to(const rlv_body_axis* axis, size_t side, double along_mm)
{
    const double x = along_mm / axis->step_mm;
    double sum = 0.0;
    for (size_t i = 0; i + 1 < axis->count && (double)i < x; i++)
        sum += axis->bend[side][i] * axis->step_mm * fmin(x - (double)i, 1.0);
    return sum;
}

/// Root mean square of how far rows lie off the axis, a tenth of its length to either side of a place on it.
static double breadth_at(const rlv_life* life, double along_mm)
{
    const double reach = 0.1 * rlv_body_axis_length_mm(&life->axis);
    double sum = 0.0, count = 0.0;
    for (size_t i = 0; i < life->slots; i++)
    {
        // What lies further off weighs less, and that nothing lies near is no fault.
        const double far = (life->value[0][i] - along_mm) / reach, weight = 1.0 / (1.0 + pow(far, 4.0));
        sum += weight * (life->value[1][i] * life->value[1][i] + life->value[2][i] * life->value[2][i]);
        count += weight;
    }
    return sqrt(sum / count);
}

static rlv_status take_shapes(rlv_life_shape* shape, const rlv_life* life, rlv_error* error)
{
    for (size_t r = 0; r < life->rows; r++)
    {
        const size_t n = life->first[r + 1] - life->first[r];
        rlv_life_shape* s = &shape[life->row[r].given];
        s->lone = life->rows == 1;
        if ((s->along_mm = rlv_reserve(n, sizeof *s->along_mm, error)) == NULL ||
            (s->turn[0] = rlv_reserve(n, sizeof(double), error)) == NULL ||
            (s->turn[1] = rlv_reserve(n, sizeof(double), error)) == NULL ||
            (s->breadth_mm = rlv_reserve(n, sizeof(double), error)) == NULL)
            return RLV_SYSTEM;
        memcpy(s->along_mm, life->value[0] + life->first[r], n * sizeof *s->along_mm);
        for (size_t i = 0; i < 2 * n; i++)
            s->turn[i / n][i % n] = turn_up_to(&life->axis, i / n, s->along_mm[i % n]);
        for (size_t i = 0; i < n; i++)
            s->breadth_mm[i] = breadth_at(life, s->along_mm[i]);
        s->first = life->row[r].first;
        s->last = s->first + (int)n - 1;
    }
    return RLV_DONE;
}

static rlv_status shapes_of_specimen(rlv_life_shape* shape, size_t row_count, size_t count,
                                     const rlv_compared_place* place, size_t specimen, rlv_error* error)
{
    rlv_life life = {0};
    rlv_placed_element* element = rlv_reserve(count, sizeof *element, error);
    rlv_articulation_row* row = rlv_reserve(row_count, sizeof *row, error);
    rlv_status status = element != NULL && row != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t r = 0; r < row_count && status == RLV_DONE; r++)
        row[r] = (rlv_articulation_row){1, 0}; // from its first place to its last
    if (status == RLV_DONE)
    {
        const size_t held = gather_specimen(element, count, place, specimen);
        status = rlv_life_start(&life, held, element, row_count, row, NULL, error);
    }
    if (status == RLV_DONE)
        status = settle(&life, error);
    if (status == RLV_DONE)
        status = take_shapes(shape, &life, error);
    rlv_life_free(&life);
    free(element);
    free(row);
    return status;
}

static rlv_status check_places(size_t row_count, size_t count, const rlv_compared_place* place, size_t* held,
                               rlv_error* error)
{
    for (size_t i = 0; i < count; i++)
    {
        const rlv_compared_place* p = &place[i];
        if (p->row >= row_count || !isfinite(p->at_mm.x) || !isfinite(p->at_mm.y) || !isfinite(p->at_mm.z) ||
            !(p->sd_mm >= 0.0) || !isfinite(p->sd_mm))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a row that there is, and where the place is",
                            "place %zu of the comparative specimens is none", i + 1);
        held[p->row]++;
        for (size_t k = 0; k < i; k++)
            if (place[k].row == p->row && (place[k].specimen != p->specimen || place[k].place == p->place))
                return rlv_fail(error, RLV_BAD_INPUT, NULL, "give each place once, of one specimen",
                                "row %zu has place %d twice, or places of two comparative specimens", p->row + 1,
                                p->place);
    }
    for (size_t r = 0; r < row_count; r++)
        if (held[r] > 0 && held[r] < RLV_ARTICULATION_LEAST)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "measure more of its places, or leave them out",
                            "row %zu has %zu places of a comparative specimen, and %d are needed", r + 1, held[r],
                            RLV_ARTICULATION_LEAST);
    return RLV_DONE;
}

rlv_status rlv_life_shapes_of(rlv_life_shape* shape, size_t row_count, size_t count, const rlv_compared_place* place,
                              rlv_error* error)
{
    size_t* held = rlv_reserve(row_count, sizeof *held, error);
    rlv_status status = held == NULL ? RLV_SYSTEM : check_places(row_count, count, place, held, error);
    free(held);
    for (size_t r = 0; r < row_count; r++)
        shape[r].p = NAN;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        if (shape[place[i].row].along_mm == NULL)
            status = shapes_of_specimen(shape, row_count, count, place, place[i].specimen, error);
    return status;
}

// --- how it fits -----------------------------------------------------------------------------------------------------

/// A shaped row as measured: distances along the axis on those of the shape, and other terms; weighed by the root of
/// the inverse of their covariance.
typedef struct shape_fit
{
    size_t count, terms;
    double* value;       ///< one an element in the fit
    double* term[TERMS]; ///< one an element each
    double* covariance;  ///< count * count: its Cholesky factor
    double half_mm;      ///< of the shape, for one unit of the second term
} shape_fit;

static void free_fit(shape_fit* f)
{
    free(f->value);
    free(f->covariance);
    for (int k = 0; k < TERMS; k++)
        free(f->term[k]);
}

/// The index of a slot's place in its row's shape; beyond that its end.
static size_t in_shape(const rlv_life* life, size_t row, size_t slot)
{
    const rlv_life_shape* s = life->row[row].shape;
    const int place = rlv_life_place_of(life, row, slot);
    return (size_t)((place < s->first ? s->first : place > s->last ? s->last : place) - s->first);
}

/// How bending makes distances along both axes unsure up to each slot of a row, where the line of the body that keeps
/// its length lies off the axis by a share of the breadth there, or by one that changes from end to end: BENDS parts,
/// one sd each, into `bent`.
static void find_bends(const rlv_life* life, size_t row, double* bent)
{
    const rlv_life_shape* s = life->row[row].shape;
    const size_t first = life->first[row], n = life->first[row + 1] - first;
    memset(bent, 0, BENDS * sizeof *bent);
    for (size_t i = 1; i < n; i++)
    {
        const size_t slot = first + i, at = in_shape(life, row, slot), before = in_shape(life, row, slot - 1);
        const double end = 2.0 * (double)i / (double)n - 1.0, *u = life->value[0],
                     far = hypot(life->value[1][slot], life->value[2][slot]),
                     own = OFF_AXIS * breadth_at(life, u[slot]),
                     other = s->lone ? OFF_ROW * far : OFF_AXIS * fabs(life->row[row].scale) * s->breadth_mm[at];
        for (size_t k = 0; k < 2; k++)
        {
            const double turn = turn_up_to(&life->axis, k, u[slot]) - turn_up_to(&life->axis, k, u[slot - 1]),
                         shape = s->turn[k][at] - s->turn[k][before];
            const double part[BENDS / 2] = {own * turn, own * turn * end, other * shape, other * shape * end};
            for (size_t b = 0; b < BENDS / 2; b++)
                bent[i * BENDS + k * BENDS / 2 + b] = bent[(i - 1) * BENDS + k * BENDS / 2 + b] + part[b];
        }
    }
}

double rlv_life_drift_of(const rlv_life* life, size_t row)
{
    const rlv_life_shape* s = life->row[row].shape;
    const size_t first = life->first[row], n = life->first[row + 1] - first;
    double sum = 0.0;
    for (size_t i = first + 1; i < first + n; i++)
    {
        const size_t at = in_shape(life, row, i), before = in_shape(life, row, i - 1);
        const double far = hypot(life->value[1][i], life->value[2][i]), own = OFF_AXIS * far,
                     other = s->lone ? OFF_ROW * far : OFF_AXIS * fabs(life->row[row].scale) * s->breadth_mm[at];
        for (size_t k = 0; k < 2; k++)
            sum += pow(own * (turn_up_to(&life->axis, k, life->value[0][i]) -
                              turn_up_to(&life->axis, k, life->value[0][i - 1])),
                       2.0) +
                   pow(other * (s->turn[k][at] - s->turn[k][before]), 2.0);
    }
    return hypot(RLV_COMPARED_DRIFT, sqrt(sum / (double)(n - 1)) / life->row[row].pitch_mm);
}

/// Covariance of two elements' distances, what two animals of one kind depart left in: the walk, of both, which starts
/// at the row's first slot; a pitch that changes evenly by RLV_COMPARED_DRIFT; and bending.
static double covariance_of(const rlv_life* life, size_t row, const double* bent, size_t a, size_t b)
{
    const rlv_life_spread* s = &life->spread[RLV_LIFE_ALONG];
    const size_t first = life->first[row];
    const double step = 1.0 / life->smoother[RLV_LIFE_ALONG].fine[row], steps = (double)((a < b ? a : b) - first),
                 x = (double)(a - first), y = (double)(b - first), all = (double)(life->first[row + 1] - first),
                 drift = 0.5 * RLV_COMPARED_DRIFT * life->row[row].pitch_mm / all;
    const double walk = fmax(s->unit / s->penalty.walk * step * step, pow(LEAST_UNEVEN * life->row[row].pitch_mm, 2.0));
    double sum = 2.0 * walk * steps + drift * drift * x * x * y * y;
    for (size_t k = 0; k < BENDS; k++)
        sum += bent[(a - first) * BENDS + k] * bent[(b - first) * BENDS + k];
    return sum;
}

/// L^-1 of a vector in its place.
static void whiten(const shape_fit* f, double* v)
{
    for (size_t i = 0; i < f->count; i++)
    {
        for (size_t k = 0; k < i; k++)
            v[i] -= f->covariance[i * f->count + k] * v[k];
        v[i] /= f->covariance[i * f->count + i];
    }
}

/// Write the row out: two terms, and one or two more that the table does not have.
static rlv_status lay_fit(shape_fit* f, const rlv_life* life, size_t row, rlv_error* error)
{
    const rlv_life_row* r = &life->row[row];
    const size_t most = r->end - r->begin;
    rlv_status status = (f->value = rlv_reserve(most, sizeof(double), error)) != NULL &&
                                (f->covariance = rlv_reserve(most * most, sizeof(double), error)) != NULL
                            ? RLV_DONE
                            : RLV_SYSTEM;
    for (int k = 0; k < TERMS && status == RLV_DONE; k++)
        if ((f->term[k] = rlv_reserve(most, sizeof(double), error)) == NULL)
            status = RLV_SYSTEM;
    size_t* of = rlv_reserve(most, sizeof *of, error);
    double* bent = rlv_reserve(BENDS * (life->first[row + 1] - life->first[row]), sizeof *bent, error);
    if (status != RLV_DONE || of == NULL || bent == NULL)
    {
        free(of);
        free(bent);
        return RLV_SYSTEM;
    }
    find_bends(life, row, bent);
    for (size_t i = r->begin; i < r->end; i++)
        if (life->element[i].trust[0] > 0.5)
            of[f->count++] = i;
    const double middle = 0.5 * (life->shape[life->first[row]] + life->shape[life->first[row + 1] - 1]),
                 half = fmax(fabs(life->shape[life->first[row + 1] - 1] - middle), 1e-3);
    f->half_mm = half;
    for (size_t i = 0; i < f->count; i++)
    {
        const rlv_life_element* e = &life->element[of[i]];
        const double x = (life->shape[e->slot] - middle) / half;
        f->value[i] = rlv_life_along_of(life, e);
        f->term[0][i] = 1.0, f->term[1][i] = x, f->term[2][i] = x * x, f->term[3][i] = x * x * x;
        for (size_t k = 0; k < f->count; k++)
            f->covariance[i * f->count + k] = covariance_of(life, row, bent, e->slot, life->element[of[k]].slot);
        f->covariance[i * f->count + i] +=
            rlv_life_scatter(life, e, 0) / (life->stretch[e->slot] * life->stretch[e->slot]);
    }
    free(of);
    free(bent);
    rlv_cholesky(f->count, f->covariance);
    whiten(f, f->value);
    for (int k = 0; k < TERMS; k++)
        whiten(f, f->term[k]);
    f->terms = f->count > 6 ? 4 : 3;
    return RLV_DONE;
}

/// What generalised least squares find.
typedef struct shape_found
{
    double scale, scale_variance; ///< of the second term
    double others;                ///< what the terms after it take off the squares that are left
} shape_found;

/// By the Gram-Schmidt process.
static shape_found solve(const shape_fit* f)
{
    shape_found found = {NAN, NAN, 0.0};
    double* v = f->value;
    for (size_t k = 0; k < f->terms; k++)
    {
        double* t = f->term[k];
        double length = 0.0, dot = 0.0;
        for (size_t j = 0; j < k; j++)
        {
            double along = 0.0;
            for (size_t i = 0; i < f->count; i++)
                along += f->term[j][i] * t[i];
            for (size_t i = 0; i < f->count; i++)
                t[i] -= along * f->term[j][i];
        }
        for (size_t i = 0; i < f->count; i++)
            length += t[i] * t[i];
        for (size_t i = 0; i < f->count; i++)
            t[i] /= length > 0.0 ? sqrt(length) : 1.0;
        for (size_t i = 0; i < f->count; i++)
            dot += t[i] * v[i];
        for (size_t i = 0; i < f->count; i++)
            v[i] -= dot * t[i];
        if (k == 1 && length > 0.0)
            found.scale = dot / sqrt(length), found.scale_variance = 1.0 / length;
        found.others += k >= 2 ? dot * dot : 0.0;
    }
    return found;
}

rlv_status rlv_life_shapes_test(const rlv_life* life, rlv_life_shape* shape, bool* misfit, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    *misfit = false;
    for (size_t r = 0; r < life->rows && status == RLV_DONE; r++)
    {
        rlv_life_shape* s = &shape[life->row[r].given];
        shape_fit f = {0};
        if (life->row[r].shape == NULL)
            continue;
        status = lay_fit(&f, life, r, error);
        if (status == RLV_DONE && f.count >= RLV_COMPARED_LEAST)
        {
            const double others = (double)(f.terms - 2);
            s->p = gsl_cdf_fdist_Q(solve(&f).others / others, others, life->spread[RLV_LIFE_ALONG].freedom);
            const rlv_interval scale = rlv_life_scale_of(life, r);
            s->misfits =
                !(s->p >= MISFIT_LEVEL) || !(scale.low > 0.0); // one that may run backwards is none of this row
            *misfit |= s->misfits;
        }
        free_fit(&f);
    }
    return status;
}

rlv_interval rlv_life_scale_of(const rlv_life* life, size_t row)
{
    rlv_interval scale = {NAN, NAN, NAN};
    shape_fit f = {0};
    rlv_error none = {0};
    if (life->row[row].shape != NULL && lay_fit(&f, life, row, &none) == RLV_DONE && f.count > 1)
    {
        const shape_found found = solve(&f);
        const double half =
            gsl_cdf_tdist_Pinv(0.975, life->spread[RLV_LIFE_ALONG].freedom) * sqrt(found.scale_variance) / f.half_mm;
        scale = (rlv_interval){found.scale / f.half_mm, found.scale / f.half_mm - half, found.scale / f.half_mm + half};
    }
    free_fit(&f);
    return scale;
}
