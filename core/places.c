#include "places.h"

#include "order.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum
{
    ROUNDS = 3,
    NEAR_STEPS = 3, ///< on each side, that tell one step's pitch
};

/// What makes the row longer by more than this share of a step lies beside it.
static const double MOST_DETOUR = 0.25;

// --- the order -------------------------------------------------------------------------------------------------------

/// A row as it is being put into order: `size` elements of `order`, from one end to the other.
typedef struct row_path
{
    const rlv_row_element* element;
    size_t count, size;
    size_t* order;
    size_t* parent; ///< of the tree
    double* room;   ///< `count`
    double step_mm; ///< median distance of neighbours in the tree
} row_path;

static double apart(const row_path* p, size_t a, size_t b)
{
    return rlv_vec3_length(rlv_vec3_sub(p->element[a].at_mm, p->element[b].at_mm));
}

/// Join each element to the nearest that is joined, the nearest first. `order` is in the order of joining.
static void grow_tree(row_path* p)
{
    double* far = p->room;
    for (size_t i = 0; i < p->count; i++)
    {
        far[i] = INFINITY;
        p->order[i] = i;
        p->parent[i] = SIZE_MAX;
    }
    for (size_t n = 0; n < p->count; n++)
    {
        size_t next = n;
        for (size_t k = n + 1; k < p->count; k++)
            next = far[p->order[k]] < far[p->order[next]] ? k : next;
        const size_t joined = p->order[next];
        p->order[next] = p->order[n];
        p->order[n] = joined;
        for (size_t k = n + 1; k < p->count; k++)
            if (apart(p, joined, p->order[k]) < far[p->order[k]])
            {
                far[p->order[k]] = apart(p, joined, p->order[k]);
                p->parent[p->order[k]] = joined;
            }
    }
    for (size_t n = 1; n < p->count; n++)
        far[n - 1] = apart(p, p->order[n], p->parent[p->order[n]]);
    p->step_mm = rlv_median_sorting(p->count - 1, far);
}

/// The element farthest from `from` along the tree; `p->parent` becomes the tree seen from there.
static size_t farthest(row_path* p, size_t from)
{
    // Turn the tree about: the parents of `from` and its forebears are their children now.
    for (size_t at = from, child = SIZE_MAX; at != SIZE_MAX;)
    {
        const size_t next = p->parent[at];
        p->parent[at] = child;
        child = at;
        at = next;
    }
    size_t most = from;
    p->room[from] = 0.0;
    for (size_t i = 0; i < p->count; i++)
    {
        p->room[i] = 0.0;
        for (size_t at = i; p->parent[at] != SIZE_MAX; at = p->parent[at])
            p->room[i] += apart(p, at, p->parent[at]);
        most = p->room[i] > p->room[most] ? i : most;
    }
    return most;
}

/// How much longer a row is by what stands at `k` of its order. An end is no detour.
static double detour_at(const row_path* p, size_t k)
{
    if (k == 0 || k + 1 == p->size)
        return -INFINITY;
    return apart(p, p->order[k - 1], p->order[k]) + apart(p, p->order[k], p->order[k + 1]) -
           apart(p, p->order[k - 1], p->order[k + 1]);
}

static void take_out(row_path* p, size_t k)
{
    memmove(p->order + k, p->order + k + 1, (p->size - k - 1) * sizeof *p->order);
    p->size--;
}

static void drop_detours(row_path* p)
{
    while (p->size > 2)
    {
        size_t worst = 1;
        for (size_t k = 1; k + 1 < p->size; k++)
            worst = detour_at(p, k) > detour_at(p, worst) ? k : worst;
        if (!(detour_at(p, worst) > MOST_DETOUR * p->step_mm))
            return;
        take_out(p, worst);
    }
}

static bool is_in(const row_path* p, size_t element)
{
    for (size_t k = 0; k < p->size; k++)
        if (p->order[k] == element)
            return true;
    return false;
}

/// Let in what lies beside the row and makes it no longer.
static void let_in(row_path* p)
{
    for (size_t i = 0; i < p->count; i++)
    {
        size_t best = 0;
        double least = MOST_DETOUR * p->step_mm;
        for (size_t k = 1; k < p->size && !is_in(p, i); k++)
        {
            const double detour =
                apart(p, p->order[k - 1], i) + apart(p, i, p->order[k]) - apart(p, p->order[k - 1], p->order[k]);
            if (detour < least)
            {
                least = detour;
                best = k;
            }
        }
        if (best == 0)
            continue;
        memmove(p->order + best + 1, p->order + best, (p->size - best) * sizeof *p->order);
        p->order[best] = i;
        p->size++;
    }
}

static bool is_known(const rlv_row_element* element)
{
    return element->low == element->high;
}

/// Above zero where the order runs from head to tail, below where from tail to head, 0 where that is not known.
static double heading(const row_path* p)
{
    double known = 0.0, ahead = 0.0;
    for (size_t i = 0; i < p->size; i++)
        for (size_t k = i + 1; k < p->size; k++)
        {
            const rlv_row_element *a = &p->element[p->order[i]], *b = &p->element[p->order[k]];
            if (is_known(a) && is_known(b))
                known += b->low > a->low ? 1.0 : -1.0;
        }
    for (size_t k = 0; k + 1 < p->size; k++)
    {
        const rlv_row_element *a = &p->element[p->order[k]], *b = &p->element[p->order[k + 1]];
        const rlv_vec3 step = rlv_vec3_unit(rlv_vec3_sub(b->at_mm, a->at_mm));
        ahead -= rlv_vec3_dot(step, rlv_vec3_add(a->anterior, b->anterior));
    }
    return known != 0.0 ? known : ahead;
}

static rlv_status find_order(row_path* p, rlv_error* error)
{
    if (p->count < 3)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "place more of its elements", "fewer than three elements");
    grow_tree(p);
    const size_t from = farthest(p, p->order[0]), to = farthest(p, from);
    p->size = 0;
    for (size_t at = to; at != SIZE_MAX; at = p->parent[at])
        p->order[p->size++] = at;
    drop_detours(p);
    let_in(p);
    const double way = heading(p);
    if (p->size < 3 || way == 0.0)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "give one of its elements a place, or the landmark anterior",
                        p->size < 3 ? "fewer than three elements lie in a row" : "which end is the head is not known");
    for (size_t k = 0; k < p->size / 2 && way < 0.0; k++)
    {
        const size_t swap = p->order[k];
        p->order[k] = p->order[p->size - 1 - k];
        p->order[p->size - 1 - k] = swap;
    }
    return RLV_DONE;
}

// --- the count -------------------------------------------------------------------------------------------------------

/// What a count is judged by.
typedef struct row_count
{
    const row_path* path;
    int first;
    size_t places;
    double* length_mm; ///< path->size - 1: of each step
    double* pitch_mm;  ///< there
    double* pitch_sd_mm;
    double spread;   ///< sd of a pitch as a share of it
    double* forward; ///< path->size * places: log of the sum over all counts up to there
    double* back;    ///< from there on
    double* best;    ///< log of the likeliest up to there
    size_t* from;    ///< the place before it there
} row_count;

static double log_add(double a, double b)
{
    const double most = fmax(a, b);
    return most == -INFINITY ? most : most + log1p(exp(fmin(a, b) - most));
}

/// The median pitch of the steps from one up to another; NaN where there are none.
static double median_pitch(const row_count* c, const double* steps, size_t from, size_t to)
{
    double pitch[NEAR_STEPS];
    for (size_t k = from; k < to; k++)
        pitch[k - from] = c->length_mm[k] / steps[k];
    return to > from ? rlv_median_sorting(to - from, pitch) : (double)NAN;
}

/// The pitch at each step from those about it, of which each has so many places (`steps`).
static void find_pitches(const row_count* c, const double* steps)
{
    const size_t all = c->path->size - 1;
    for (size_t i = 0; i < all; i++)
    {
        const double before = median_pitch(c, steps, i > NEAR_STEPS ? i - NEAR_STEPS : 0, i);
        const double after = median_pitch(c, steps, i + 1, i + 1 + NEAR_STEPS < all ? i + 1 + NEAR_STEPS : all);
        const double a = isnan(before) ? after : before, b = isnan(after) ? before : after;
        c->pitch_mm[i] = 0.5 * (a + b);
        c->pitch_sd_mm[i] = hypot(c->spread * c->pitch_mm[i], 0.25 * (a - b));
    }
}

/// The first guess: places by the recorded pitch at the middle of the row, or by the median step. `steps` has room for
/// one a step.
static void guess_pitches(row_count* c, const rlv_row_spacing* spacing, double* steps)
{
    const double taper = isnan(spacing->taper) ? 1.0 : spacing->taper;
    const double pitch = isnan(spacing->pitch_mm) ? c->path->step_mm : 0.5 * spacing->pitch_mm * (1.0 + taper);
    c->spread = isnan(spacing->pitch_sd_mm) || isnan(spacing->pitch_mm) ? RLV_PLACES_SPREAD
                                                                        : spacing->pitch_sd_mm / spacing->pitch_mm;
    for (size_t i = 0; i + 1 < c->path->size; i++)
    {
        c->length_mm[i] = apart(c->path, c->path->order[i], c->path->order[i + 1]);
        steps[i] = fmax(round(c->length_mm[i] / pitch), 1.0);
    }
    find_pitches(c, steps);
}

static bool may_have(const row_count* c, size_t i, size_t place)
{
    const rlv_row_element* e = &c->path->element[c->path->order[i]];
    const int number = c->first + (int)place;
    return number >= e->low && number <= e->high;
}

/// Log probability of a place by what is known from elsewhere.
static double log_expected(const row_count* c, size_t i, size_t place)
{
    const rlv_row_element* e = &c->path->element[c->path->order[i]];
    const double off = (c->first + (double)place - e->expected) / e->expected_sd;
    return isnan(off) ? 0.0 : -0.5 * off * off;
}

/// Log likelihood of the step from element i to the next one, of so many places.
static double log_step(const row_count* c, size_t i, size_t steps)
{
    const row_path* p = c->path;
    const double off = c->length_mm[i] - (double)steps * c->pitch_mm[i];
    const double variance = (double)steps * pow(c->pitch_sd_mm[i], 2.0) + p->element[p->order[i]].variance_mm2 +
                            p->element[p->order[i + 1]].variance_mm2;
    const double even = (1.0 - RLV_PLACES_ODD) * exp(-0.5 * off * off / variance) / sqrt(2.0 * M_PI * variance);
    const double odd = RLV_PLACES_ODD / ((double)c->places * c->pitch_mm[i]);
    return log(even + odd) + ((double)steps - 1.0) * log(RLV_PLACES_EMPTY);
}

static void sum_forward(row_count* c)
{
    const size_t n = c->places;
    for (size_t i = 0; i < c->path->size; i++)
        for (size_t k = 0; k < n; k++)
        {
            double *sum = &c->forward[i * n + k], *best = &c->best[i * n + k];
            *sum = *best = i == 0 && may_have(c, 0, k) ? log_expected(c, 0, k) : -INFINITY;
            for (size_t j = 0; j < k && i > 0 && may_have(c, i, k); j++)
            {
                const double before = c->forward[(i - 1) * n + j];
                const double step = log_step(c, i - 1, k - j) + log_expected(c, i, k);
                *sum = before == -INFINITY ? *sum : log_add(*sum, before + step);
                if (c->best[(i - 1) * n + j] + step > *best)
                {
                    *best = c->best[(i - 1) * n + j] + step;
                    c->from[i * n + k] = j;
                }
            }
        }
}

static void sum_back(row_count* c)
{
    const size_t n = c->places;
    for (size_t i = c->path->size; i-- > 0;)
        for (size_t k = 0; k < n; k++)
        {
            double* sum = &c->back[i * n + k];
            *sum = i + 1 == c->path->size ? 0.0 : -INFINITY;
            for (size_t j = k + 1; j < n && i + 1 < c->path->size; j++)
                if (may_have(c, i + 1, j))
                    *sum = log_add(*sum, c->back[(i + 1) * n + j] + log_step(c, i, j - k) + log_expected(c, i + 1, j));
        }
}

/// Probability that `steps` places lie from element i - 1 to i.
static double step_probability(const row_count* c, size_t i, size_t steps, double all)
{
    double sum = -INFINITY;
    for (size_t k = steps; k < c->places; k++)
        if (may_have(c, i, k) && c->forward[(i - 1) * c->places + k - steps] > -INFINITY)
            sum = log_add(sum, c->forward[(i - 1) * c->places + k - steps] + log_step(c, i - 1, steps) +
                                   log_expected(c, i, k) + c->back[i * c->places + k]);
    return exp(sum - all);
}

static rlv_status tell_count(rlv_counted* counted, const row_count* c, rlv_error* error)
{
    const size_t n = c->places, last = c->path->size - 1;
    size_t place = 0;
    double all = -INFINITY;
    for (size_t k = 0; k < n; k++)
    {
        all = log_add(all, c->forward[last * n + k]);
        place = c->best[last * n + k] > c->best[last * n + place] ? k : place;
    }
    if (all == -INFINITY)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "look at its places and at the places of its elements",
                        "no count from head to tail agrees with the places that are known");
    for (size_t i = last + 1; i-- > 0;)
    {
        const size_t before = i > 0 ? c->from[i * n + place] : 0;
        counted[c->path->order[i]] =
            (rlv_counted){.in_row = true,
                          .order = i,
                          .place = c->first + (int)place,
                          .probability = exp(c->forward[i * n + place] + c->back[i * n + place] - all),
                          .step = i > 0 ? step_probability(c, i, place - before, all) : NAN};
        place = before;
    }
    return RLV_DONE;
}

/// Places of each step, as they are counted.
static void find_steps(const row_count* c, const rlv_counted* counted, double* steps)
{
    for (size_t i = 0; i + 1 < c->path->size; i++)
        steps[i] = counted[c->path->order[i + 1]].place - counted[c->path->order[i]].place;
}

static rlv_status count_rounds(rlv_counted* counted, row_count* c, const rlv_row_spacing* spacing, double* steps,
                               rlv_error* error)
{
    guess_pitches(c, spacing, steps);
    rlv_status status = RLV_DONE;
    for (int round = 0; round < ROUNDS && status == RLV_DONE; round++)
    {
        if (round > 0)
        {
            find_steps(c, counted, steps);
            find_pitches(c, steps);
        }
        sum_forward(c);
        sum_back(c);
        status = tell_count(counted, c, error);
    }
    return status;
}

static rlv_status count_path(rlv_counted* counted, const row_path* path, const rlv_row_spacing* spacing,
                             rlv_error* error)
{
    row_count c = {.path = path, .first = spacing->first};
    c.places = spacing->last >= spacing->first ? (size_t)(spacing->last - spacing->first) + 1 : 0;
    if (path->size > c.places)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "look at its places, and at which elements are its",
                        "%zu elements lie in it, and it has %zu places", path->size, c.places);
    const size_t cells = path->size * c.places;
    double* steps = rlv_reserve(path->size, sizeof *steps, error);
    c.length_mm = rlv_reserve(path->size, sizeof *c.length_mm, error);
    c.pitch_mm = rlv_reserve(path->size, sizeof *c.pitch_mm, error);
    c.pitch_sd_mm = rlv_reserve(path->size, sizeof *c.pitch_sd_mm, error);
    c.forward = rlv_reserve(cells, sizeof *c.forward, error);
    c.back = rlv_reserve(cells, sizeof *c.back, error);
    c.best = rlv_reserve(cells, sizeof *c.best, error);
    c.from = rlv_reserve(cells, sizeof *c.from, error);
    const bool room = steps != NULL && c.length_mm != NULL && c.pitch_mm != NULL && c.pitch_sd_mm != NULL &&
                      c.forward != NULL && c.back != NULL && c.best != NULL && c.from != NULL;
    const rlv_status status = room ? count_rounds(counted, &c, spacing, steps, error) : RLV_SYSTEM;
    free(steps);
    free(c.length_mm);
    free(c.pitch_mm);
    free(c.pitch_sd_mm);
    free(c.forward);
    free(c.back);
    free(c.best);
    free(c.from);
    return status;
}

rlv_status rlv_places_count(rlv_counted* counted, size_t count, const rlv_row_element* element,
                            const rlv_row_spacing* spacing, rlv_error* error)
{
    row_path path = {.element = element, .count = count};
    path.order = rlv_reserve(count, sizeof *path.order, error);
    path.parent = rlv_reserve(count, sizeof *path.parent, error);
    path.room = rlv_reserve(count, sizeof *path.room, error);
    for (size_t i = 0; i < count; i++)
        counted[i] = (rlv_counted){.place = INT_MIN, .probability = NAN, .step = NAN};
    rlv_status status =
        path.order != NULL && path.parent != NULL && path.room != NULL ? find_order(&path, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
        status = count_path(counted, &path, spacing, error);
    free(path.order);
    free(path.parent);
    free(path.room);
    return status;
}
