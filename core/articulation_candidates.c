#include "articulation_carried.h"

#include "cholesky.h"

#include <gsl/gsl_randist.h>
#include <stdlib.h>
#include <string.h>

enum
{
    NEAREST = 8, ///< elements of a row that tell the size at a place of it
    SIZES = 2,
};

/// The least scatter of the log of a size: rows made by nature are no more even than that.
static const double LEAST_LOG_SD = 0.02;

/// Logs of ratios of likelihoods are kept within these, so that products of RLV_STRAYS_TOGETHER of them stay numbers.
static const double LEAST_LOG_RATIO = -50.0, MOST_LOG_RATIO = 50.0;

/// The log of a size where an element is expected: Student's t about a mean.
typedef struct expected_size
{
    double mean, sd, freedom;
    bool known;
} expected_size;

/// What all strays are held against.
typedef struct job
{
    const rlv_articulation* fit;
    const rlv_placed_element* element;
    expected_size any[SIZES];
    expected_size* size;        ///< SIZES an unfilled position
    expected_size other[SIZES]; ///< of what is none of them
    double moved_mm2;           ///< variance of the place of what is not in life position, per axis
    rlv_vec3 middle_mm;
    double spread_mm2[9]; ///< of all life positions
    double* ratio;        ///< strays * unfilled: likelihood times prior, over that of none; 0 where it may not belong
    double* sum[2];       ///< (unfilled + 1) << strays: over assignments to the positions before one, and from it on
    size_t way_count;
    rlv_carried_way* way;        ///< in which strays may have been carried
    double* told;                ///< strays * unfilled: probabilities, summed over the ways
    double most_log;             ///< log evidence of the likeliest way so far, by which weights are taken
    double weight, current;      ///< sums of the weights of all ways, and of those with a current
    rlv_vec3 motion_mm, way_sum; ///< the same of common motions, and of their directions
} job;

void rlv_candidates_free(rlv_candidates* candidates, size_t stray_count)
{
    for (size_t i = 0; i < stray_count; i++)
    {
        free(candidates[i].candidate);
        candidates[i] = (rlv_candidates){0};
    }
}

// Sizes

static rlv_interval size_of(const rlv_element* e, int which)
{
    return which == 0 ? e->length_mm : e->width_mm;
}

/// Whether a size was measured, of an element that has a place.
static bool sized(const job* j, size_t i, int which)
{
    return j->fit->element[i].state != RLV_UNASSIGNED && size_of(&j->element[i].element, which).value > 0.0;
}

static double log_size(const job* j, size_t i, int which)
{
    return log(size_of(&j->element[i].element, which).value);
}

static expected_size size_of_any(const job* j, int which)
{
    double count = 0.0, sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < j->fit->count; i++)
        if (sized(j, i, which))
        {
            const double v = log_size(j, i, which);
            count += 1.0, sum += v, squares += v * v;
        }
    const double variance = count > 1.0 ? fmax(squares - sum * sum / count, 0.0) / (count - 1.0) : 0.0;
    return (expected_size){.mean = sum / fmax(count, 1.0),
                           .sd = fmax(sqrt(variance * (1.0 + 1.0 / fmax(count, 1.0))), LEAST_LOG_SD),
                           .freedom = count - 1.0,
                           .known = count > 2.0};
}

/// The row's elements nearest to a place, by place. Returns how many.
static size_t nearest_sized(const job* j, size_t row, int place, int which, size_t* nearest)
{
    size_t count = 0;
    for (size_t i = 0; i < j->fit->count; i++)
    {
        if (j->element[i].row != row || !sized(j, i, which))
            continue;
        size_t k = count;
        while (k > 0 &&
               labs((long)j->fit->element[nearest[k - 1]].place - place) > labs((long)j->fit->element[i].place - place))
        {
            if (k < NEAREST)
                nearest[k] = nearest[k - 1];
            k--;
        }
        if (k < NEAREST)
            nearest[k] = i, count = count < NEAREST ? count + 1 : NEAREST;
    }
    return count;
}

/// A straight line through the sizes beside a place, read at it.
static expected_size size_at(const job* j, size_t row, int place, int which)
{
    size_t nearest[NEAREST];
    const size_t n = nearest_sized(j, row, place, which, nearest);
    if (n < 4)
        return j->any[which];
    double x = 0.0, y = 0.0, xx = 0.0, xy = 0.0, left = 0.0;
    for (size_t i = 0; i < n; i++)
        x += (j->fit->element[nearest[i]].place - place) / (double)n, y += log_size(j, nearest[i], which) / (double)n;
    for (size_t i = 0; i < n; i++)
    {
        const double dx = j->fit->element[nearest[i]].place - place - x;
        xx += dx * dx, xy += dx * (log_size(j, nearest[i], which) - y);
    }
    const double slope = xx > 0.0 ? xy / xx : 0.0, freedom = (double)n - 2.0;
    for (size_t i = 0; i < n; i++)
    {
        const double dx = j->fit->element[nearest[i]].place - place - x;
        left += pow(log_size(j, nearest[i], which) - y - slope * dx, 2.0);
    }
    const double sd = fmax(sqrt(left / freedom), LEAST_LOG_SD),
                 grown = sqrt(1.0 + 1.0 / (double)n + (xx > 0.0 ? x * x / xx : 0.0));
    return (expected_size){.mean = y - slope * x, .sd = sd * grown, .freedom = freedom, .known = true};
}

/// Log density of a stray's sizes, its measuring errors added to what is expected.
static double log_of_size(const rlv_stray* stray, const expected_size* expected)
{
    const rlv_interval size[SIZES] = {stray->length_mm, stray->width_mm};
    double sum = 0.0;
    for (int k = 0; k < SIZES; k++)
    {
        if (!(size[k].value > 0.0) || !expected[k].known)
            continue;
        const double measured = (size[k].high - size[k].low) / (2.0 * RLV_HALF_95 * size[k].value),
                     sd = hypot(expected[k].sd, measured);
        sum += log(gsl_ran_tdist_pdf((log(size[k].value) - expected[k].mean) / sd, expected[k].freedom) / sd);
    }
    return sum;
}

// Places

/// Log density of a normal vector of three, but for a constant. A covariance that is none tells nothing: 0.
static double log_normal(rlv_vec3 off, const double* a, const double* b, const double* c)
{
    double m[9], part[3] = {off.x, off.y, off.z}, sum = 0.0;
    for (int k = 0; k < 9; k++)
        m[k] = a[k] + b[k] + c[k];
    rlv_cholesky(3, m);
    for (int i = 0; i < 3; i++)
    {
        for (int k = 0; k < i; k++)
            part[i] -= m[3 * i + k] * part[k];
        part[i] /= m[4 * i];
        sum -= 0.5 * part[i] * part[i] + log(m[4 * i]);
    }
    return isfinite(sum) ? sum : 0.0;
}

static const double nothing[9];

/// Log of a share of one density and the rest of another, of their logs.
static double log_mixed(double share, double a, double b)
{
    const double most = fmax(a, b);
    return most + log(share * exp(a - most) + (1.0 - share) * exp(b - most));
}

/// Log density of where a stray lies, of one whose life position is an unfilled one and that has left it.
static double log_of_moved(const job* j, const rlv_stray* stray, const rlv_unfilled* u, const rlv_carried_way* way)
{
    const rlv_vec3 off = rlv_vec3_sub(stray->centre_mm, u->position_mm);
    const double far = stray->moved ? way->far_mm2 : j->moved_mm2, anyhow[9] = {far, 0, 0, 0, far, 0, 0, 0, far},
                 of_any = log_normal(off, stray->covariance_mm2, u->covariance_mm2, anyhow);
    if (!(rlv_vec3_length(way->motion_mm) > 0.0))
        return of_any;
    const double of_alike =
        log_normal(rlv_vec3_sub(off, way->motion_mm), stray->covariance_mm2, u->covariance_mm2, way->alike_cov_mm2);
    return log_mixed(RLV_CARRIED_ALIKE, of_alike, of_any);
}

/// The same, whether or not it has left it.
static double log_of_place(const job* j, const rlv_stray* stray, const rlv_unfilled* u, const rlv_carried_way* way)
{
    const double moved = log_of_moved(j, stray, u, way);
    if (stray->moved)
        return moved;
    const rlv_vec3 off = rlv_vec3_sub(stray->centre_mm, u->position_mm);
    return log_mixed(j->fit->verdict.share.value, log_normal(off, stray->covariance_mm2, u->covariance_mm2, nothing),
                     moved);
}

/// The widest pitch of the rows.
static double widest_pitch_mm(const rlv_articulation* fit)
{
    double pitch = 0.0;
    for (size_t r = 0; r < fit->row_count; r++)
        pitch = fit->row[r].used ? fmax(pitch, fit->row[r].pitch_mm) : pitch;
    return pitch;
}

static void find_spread(job* j)
{
    size_t moved = 0, placed = 0;
    const double pitch = widest_pitch_mm(j->fit);
    double squares = 0.0;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i < j->fit->count; i++)
        {
            const rlv_articulated* e = &j->fit->element[i];
            if (e->state == RLV_UNASSIGNED)
                continue;
            const rlv_vec3 d = rlv_vec3_sub(e->life_mm, j->middle_mm);
            const double v[3] = {d.x, d.y, d.z};
            if (pass == 0) // the middle as it stands so far
                j->middle_mm = rlv_vec3_along(j->middle_mm, 1.0 / (double)++placed, d);
            for (int k = 0; k < 9 && pass == 1; k++)
                j->spread_mm2[k] += v[k / 3] * v[k % 3] / (double)placed;
            if (pass == 1 && e->state != RLV_IN_PLACE)
                moved++, squares += e->motion.shift_mm.value * e->motion.shift_mm.value / 3.0;
        }
    // Where none was seen to have moved, as far as to the next place.
    j->moved_mm2 = moved > 0 ? squares / (double)moved : pitch * pitch;
}

// Assignments

static bool may_belong(const rlv_stray* stray, const rlv_unfilled* u)
{
    return (stray->row == NULL || stray->row[u->row]) && u->place >= stray->place_low && u->place <= stray->place_high;
}

static void find_ratios(job* j, const rlv_stray* stray, const rlv_carried_way* way, double* ratio)
{
    size_t allowed = 0;
    for (size_t k = 0; k < j->fit->unfilled_count; k++)
        allowed += may_belong(stray, &j->fit->unfilled[k]);
    const double of_none = log(RLV_STRAY_NONE) + log_of_size(stray, j->other) +
                           (stray->located ? log_normal(rlv_vec3_sub(stray->centre_mm, j->middle_mm),
                                                        stray->covariance_mm2, j->spread_mm2, nothing)
                                           : 0.0);
    for (size_t k = 0; k < j->fit->unfilled_count; k++)
    {
        const rlv_unfilled* u = &j->fit->unfilled[k];
        if (!may_belong(stray, u))
            continue;
        const double of_place = log((1.0 - RLV_STRAY_NONE) / (double)allowed) +
                                log_of_size(stray, j->size + SIZES * k) +
                                (stray->located ? log_of_place(j, stray, u, way) : 0.0);
        ratio[k] = exp(fmin(fmax(of_place - of_none, LEAST_LOG_RATIO), MOST_LOG_RATIO));
    }
}

/// Sums over all assignments of strays to the first positions, by which strays have one; and of what is left to the
/// positions from there on.
static void sum_assignments(job* j, size_t strays)
{
    const size_t places = j->fit->unfilled_count, sets = (size_t)1 << strays;
    double *before = j->sum[0], *after = j->sum[1] + places * sets;
    before[0] = 1.0;
    for (size_t set = 0; set < sets; set++)
        after[set] = 1.0;
    for (size_t k = 0; k < places; k++, before += sets)
        for (size_t set = 0; set < sets; set++)
        {
            before[sets + set] = before[set];
            for (size_t s = 0; s < strays; s++)
                if (set >> s & 1)
                    before[sets + set] += before[set ^ (size_t)1 << s] * j->ratio[s * places + k];
        }
    for (size_t k = places; k-- > 0;)
    {
        after -= sets;
        for (size_t set = 0; set < sets; set++)
        {
            after[set] = after[sets + set];
            for (size_t s = 0; s < strays; s++)
                if (!(set >> s & 1))
                    after[set] += after[sets + (set | (size_t)1 << s)] * j->ratio[s * places + k];
        }
    }
}

static int by_probability(const void* a, const void* b)
{
    const rlv_candidate *x = a, *y = b;
    if (x->probability != y->probability)
        return x->probability > y->probability ? -1 : 1;
    return x->unfilled < y->unfilled ? -1 : x->unfilled > y->unfilled;
}

/// Add what one way tells of one of the strays that were summed together.
static void add_stray(job* j, double* told, size_t which, size_t strays, double weight)
{
    const size_t places = j->fit->unfilled_count, sets = (size_t)1 << strays, own = (size_t)1 << which;
    for (size_t k = 0; k < places; k++)
    {
        const double *before = j->sum[0] + k * sets, *after = j->sum[1] + (k + 1) * sets;
        double sum = 0.0;
        for (size_t set = 0; set < sets; set++)
            if (!(set & own))
                sum += before[set] * after[set | own];
        told[k] += weight * sum * j->ratio[which * places + k] / j->sum[1][0];
    }
}

static void tell_stray(rlv_candidates* told, const job* j, const rlv_stray* stray, const double* sum)
{
    double some = 0.0;
    for (size_t k = 0; k < j->fit->unfilled_count; k++)
    {
        if (!may_belong(stray, &j->fit->unfilled[k]))
            continue;
        const double p = sum[k] / j->weight;
        told->candidate[told->count++] = (rlv_candidate){k, p};
        some += p;
    }
    told->none = fmax(1.0 - some, 0.0);
    qsort(told->candidate, told->count, sizeof *told->candidate, by_probability);
}

/// What strays are told by: `together` at a time.
typedef struct stray_list
{
    size_t count, together;
    const rlv_stray* stray;
} stray_list;

/// Likelihood ratios and sums over assignments of the strays from `first` on, had they been carried one way. Returns
/// the log of the sum over all.
static double sum_way(job* j, const stray_list* list, size_t first, const rlv_carried_way* way)
{
    const size_t places = j->fit->unfilled_count;
    memset(j->ratio, 0, list->together * places * sizeof(double));
    memset(j->sum[0], 0, (places + 1) * sizeof(double) << list->together);
    for (size_t s = 0; s < list->together; s++)
        find_ratios(j, &list->stray[first + s], way, j->ratio + s * places);
    sum_assignments(j, list->together);
    return log(j->sum[1][0]);
}

/// Take the likeliest way's weight for 1: what was summed with another is scaled.
static double weight_of(job* j, size_t all, double log_evidence)
{
    if (log_evidence > j->most_log)
    {
        const double scale = exp(j->most_log - log_evidence);
        for (size_t i = 0; i < all; i++)
            j->told[i] *= scale;
        j->weight *= scale, j->current *= scale;
        j->motion_mm = rlv_vec3_scale(j->motion_mm, scale), j->way_sum = rlv_vec3_scale(j->way_sum, scale);
        j->most_log = log_evidence;
    }
    return exp(log_evidence - j->most_log);
}

/// Add what one way tells of all strays, by how likely it is.
static void add_way(job* j, const stray_list* list, const rlv_carried_way* way)
{
    const size_t places = j->fit->unfilled_count;
    double log_evidence = way->log_prior;
    for (size_t first = 0; first < list->count; first += list->together)
        log_evidence += sum_way(j, list, first, way);
    const double weight = weight_of(j, list->count * places, log_evidence);
    for (size_t first = 0; first < list->count; first += list->together)
    {
        if (list->together < list->count) // else they stand as they were summed last
            sum_way(j, list, first, way);
        for (size_t s = 0; s < list->together; s++)
            add_stray(j, j->told + (first + s) * places, s, list->together, weight);
    }
    j->weight += weight;
    if (!(rlv_vec3_length(way->motion_mm) > 0.0))
        return;
    j->current += weight;
    j->motion_mm = rlv_vec3_along(j->motion_mm, weight, way->motion_mm);
    j->way_sum = rlv_vec3_along(j->way_sum, weight, rlv_vec3_unit(way->motion_mm));
}

static bool is_size(rlv_interval size)
{
    return isnan(size.value) || (size.value > 0.0 && size.low <= size.value && size.value <= size.high);
}

static rlv_status check_strays(size_t count, const rlv_stray* stray, rlv_error* error)
{
    for (size_t i = 0; i < count; i++)
    {
        const rlv_stray* s = &stray[i];
        bool good = is_size(s->length_mm) && is_size(s->width_mm) && s->place_low <= s->place_high;
        if (s->located)
        {
            good &= isfinite(s->centre_mm.x) && isfinite(s->centre_mm.y) && isfinite(s->centre_mm.z);
            for (int k = 0; k < 9; k++)
                good &= isfinite(s->covariance_mm2[k]) && (k % 4 != 0 || s->covariance_mm2[k] >= 0.0);
        }
        if (!good)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "leave out what is not known of it",
                            "stray %zu has a size, a range of places or a part of the rock that is none", i + 1);
    }
    return RLV_DONE;
}

static rlv_status prepare(job* j, const stray_list* list, const rlv_told_motions* motions, rlv_error* error)
{
    const size_t places = j->fit->unfilled_count, sets = (size_t)1 << list->together;
    if ((j->size = rlv_reserve(SIZES * places, sizeof *j->size, error)) == NULL ||
        (j->ratio = rlv_reserve(list->together * places, sizeof(double), error)) == NULL ||
        (j->told = rlv_reserve(list->count * places, sizeof(double), error)) == NULL ||
        (j->way = rlv_reserve(RLV_CARRIED_WAYS, sizeof *j->way, error)) == NULL ||
        (j->sum[0] = rlv_reserve((places + 1) * sets, sizeof(double), error)) == NULL ||
        (j->sum[1] = rlv_reserve((places + 1) * sets, sizeof(double), error)) == NULL)
        return RLV_SYSTEM;
    find_spread(j);
    j->most_log = -INFINITY;
    j->way_count = rlv_carried_ways(j->way, widest_pitch_mm(j->fit), motions);
    for (int which = 0; which < SIZES; which++)
    {
        j->any[which] = j->other[which] = size_of_any(j, which);
        j->other[which].sd = hypot(j->any[which].sd, M_LN2);
    }
    for (size_t k = 0; k < places; k++)
        for (int which = 0; which < SIZES; which++)
            j->size[SIZES * k + (size_t)which] = size_at(j, j->fit->unfilled[k].row, j->fit->unfilled[k].place, which);
    return RLV_DONE;
}

static rlv_carried carried_of(const job* j)
{
    const double r = j->current > 0.0 ? fmin(rlv_vec3_length(j->way_sum) / j->current, 1.0) : 0.0;
    return (rlv_carried){.probability = j->current / j->weight,
                         .motion_mm = rlv_vec3_scale(j->motion_mm, j->current > 0.0 ? 1.0 / j->current : 0.0),
                         .direction_sd_deg = sqrt(-2.0 * log(r)) * 180.0 / M_PI};
}

rlv_status rlv_articulation_candidates(rlv_candidates* candidates, rlv_carried* carried,
                                       const rlv_articulation* articulation, size_t count,
                                       const rlv_placed_element* element, size_t stray_count, const rlv_stray* stray,
                                       const rlv_told_motions* motions, rlv_error* error)
{
    job j = {.fit = articulation, .element = element};
    const stray_list list = {stray_count, stray_count <= RLV_STRAYS_TOGETHER ? stray_count : 1, stray};
    rlv_status status = check_strays(stray_count, stray, error);
    if (status == RLV_DONE && count != articulation->count)
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "give those that were fitted", "%zu elements instead of %zu",
                          count, articulation->count);
    if (status == RLV_DONE)
        status = prepare(&j, &list, motions, error);
    for (size_t i = 0; i < stray_count && status == RLV_DONE; i++)
        if ((candidates[i].candidate = rlv_reserve(articulation->unfilled_count, sizeof(rlv_candidate), error)) == NULL)
            status = RLV_SYSTEM;
    for (size_t w = 0; w < j.way_count && status == RLV_DONE && stray_count > 0; w++)
        add_way(&j, &list, &j.way[w]);
    for (size_t i = 0; i < stray_count && status == RLV_DONE; i++)
        tell_stray(&candidates[i], &j, &stray[i], j.told + i * articulation->unfilled_count);
    *carried = status == RLV_DONE && stray_count > 0 ? carried_of(&j) : (rlv_carried){0};
    free(j.size);
    free(j.ratio);
    free(j.told);
    free(j.way);
    free(j.sum[0]);
    free(j.sum[1]);
    return status;
}
