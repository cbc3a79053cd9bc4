#include "numbering.h"

#include "order.h"

#include <stdlib.h>
#include <string.h>

#define NONE SIZE_MAX

enum
{
    MOST_STEP = 12,   ///< places of a step
    MOST_PASSED = 3,  ///< elements of the chain passed over at a time
    PITCH_ROUNDS = 3, ///< of dealing out and of finding the pitch again
    BESIDE = 4,       ///< links to either side that tell the pitch at one
    MOST_SLOTS = 1000,
};

/// Sd of a step of one place, of its length: 8 % in the spacing and as much again of where elements lie.
static const double STEP_SD = 0.12;

/// Costs, in log likelihood: of a place that has no element (one in ten), and of an element that is passed over (one in
/// twenty).
static const double OF_MISSING = 2.1972, OF_PASSING = 2.9957;

/// How well another row of as many places foretells the count, in places.
static const double ALIKE_SD = 1.5;

/// A row while it is numbered.
typedef struct job
{
    const rlv_placed_element* element;
    size_t count;   ///< of the row
    size_t* member; ///< indices of its elements
    size_t* near;   ///< its tree: the member that each hangs on
    double* reach;
    size_t* chain; ///< members, from head to tail
    size_t length;
    int first;
    size_t places;
    double* pitch;   ///< one a link of the chain
    double* level;   ///< one a link of the chain: where another row says that it is, in places from the first; NaN
    double* cost[2]; ///< length * places: up to a link at a place, and from it on
    size_t* from;    ///< length * places: where the best came from
    size_t* dealt;   ///< one a link: its place from the first, or NONE where it was passed over
    double* room;
} job;

static rlv_vec3 at(const job* j, size_t member)
{
    const double* p = j->element[j->member[member]].element.position_mm;
    return rlv_vec3_of(p[0], p[1], p[2]);
}

static double apart(const job* j, size_t a, size_t b)
{
    return rlv_vec3_length(rlv_vec3_sub(at(j, a), at(j, b)));
}

static bool is_known(const rlv_placed_element* e)
{
    return e->place_low == e->place_high;
}

// The chain

/// Prim's tree, from the first member. `order` gets the members in the order in which they joined it.
static void grow_tree(job* j, size_t* order)
{
    for (size_t i = 0; i < j->count; i++)
        j->reach[i] = i == 0 ? 0.0 : INFINITY, j->near[i] = NONE;
    for (size_t n = 0; n < j->count; n++)
    {
        size_t next = NONE;
        for (size_t i = 0; i < j->count; i++)
            if (j->reach[i] >= 0.0 && (next == NONE || j->reach[i] < j->reach[next]))
                next = i;
        order[n] = next;
        j->reach[next] = -1.0;
        for (size_t i = 0; i < j->count; i++)
            if (j->reach[i] >= 0.0 && apart(j, next, i) < j->reach[i])
                j->reach[i] = apart(j, next, i), j->near[i] = next;
    }
}

/// The member that is furthest from another along the tree, and in `j->reach` how far all are. `order` is the tree's.
static size_t furthest(job* j, size_t from, const size_t* order)
{
    for (size_t i = 0; i < j->count; i++)
        j->reach[i] = i == from ? 0.0 : INFINITY;
    for (size_t i = from; j->near[i] != NONE; i = j->near[i]) // up to the root, and from there down
        j->reach[j->near[i]] = j->reach[i] + apart(j, i, j->near[i]);
    size_t best = from;
    for (size_t n = 0; n < j->count; n++)
    {
        const size_t i = order[n];
        if (isinf(j->reach[i]))
            j->reach[i] = j->reach[j->near[i]] + apart(j, i, j->near[i]);
        best = j->reach[i] > j->reach[best] ? i : best;
    }
    return best;
}

/// The longest path of the tree. Each member's next on the way to `a` is the neighbour that is nearer to it.
static void find_chain(job* j, size_t* order)
{
    grow_tree(j, order);
    const size_t a = furthest(j, 0, order), b = furthest(j, a, order);
    j->length = 0;
    for (size_t i = b; i != a;)
    {
        j->chain[j->length++] = i;
        size_t next = j->near[i];
        for (size_t k = 0; k < j->count; k++)
            if (j->near[k] == i && (next == NONE || j->reach[k] < j->reach[next]))
                next = k;
        i = next;
    }
    j->chain[j->length++] = a;
}

/// Turn the chain round where it runs from tail to head: by known places, else by where anterior ends look.
static void turn_chain(job* j)
{
    double by_place = 0.0, by_front = 0.0;
    for (size_t i = 0; i + 1 < j->length; i++)
    {
        const rlv_placed_element *a = &j->element[j->member[j->chain[i]]], *b = &j->element[j->member[j->chain[i + 1]]];
        const rlv_vec3 step = rlv_vec3_sub(at(j, j->chain[i + 1]), at(j, j->chain[i]));
        const double* f = a->element.frame;
        if (is_known(a) && is_known(b))
            by_place += b->place_low > a->place_low ? 1.0 : -1.0;
        if (a->element.known & RLV_ELEMENT_FRONT)
            by_front -= rlv_vec3_dot(rlv_vec3_unit(step), rlv_vec3_of(f[0], f[3], f[6]));
    }
    if (by_place < 0.0 || (by_place == 0.0 && by_front < 0.0))
        for (size_t i = 0; i < j->length / 2; i++)
        {
            const size_t other = j->chain[j->length - 1 - i];
            j->chain[j->length - 1 - i] = j->chain[i];
            j->chain[i] = other;
        }
}

// Dealing out

/// Cost of a step of `places` between two links that lie `length` apart, where the pitch is so much.
static double step_cost(double length, double places, double pitch)
{
    const double z = (length - places * pitch) / (STEP_SD * pitch * sqrt(places));
    return 2.0 * log1p(z * z / 3.0) + 0.5 * log(places) + OF_MISSING * (places - 1.0);
}

static double place_cost(const job* j, size_t link, size_t place)
{
    const rlv_placed_element* e = &j->element[j->member[j->chain[link]]];
    const int number = j->first + (int)place;
    if (number < e->place_low || number > e->place_high)
        return INFINITY;
    const double off = isnan(j->level[link]) ? 0.0 : ((double)place - j->level[link]) / ALIKE_SD;
    return 0.5 * off * off / (double)j->length; // all links of a row say the same: they are one witness
}

/// Costs up to each link at each place, where `back` is 0; where it is 1, from there on, that link's own left out.
static void sum_costs(job* j, int back)
{
    const size_t n = j->length, p = j->places;
    for (size_t k = 0; k < n; k++)
    {
        const size_t link = back ? n - 1 - k : k;
        for (size_t place = 0; place < p; place++)
        {
            double least = k <= MOST_PASSED ? OF_PASSING * (double)k : INFINITY; // the others are passed over
            size_t from = NONE;
            for (size_t passed = 0; passed <= MOST_PASSED && passed < k; passed++)
            {
                const size_t other = back ? link + passed + 1 : link - passed - 1;
                const double length = apart(j, j->chain[link], j->chain[other]),
                             pitch = 0.5 * (j->pitch[link] + j->pitch[other]);
                for (size_t step = 1; step <= MOST_STEP; step++)
                {
                    if (back ? place + step >= p : place < step)
                        break;
                    const size_t there = back ? place + step : place - step;
                    double sum = j->cost[back][other * p + there] + OF_PASSING * (double)passed;
                    if (!(sum < least))
                        continue;
                    sum += step_cost(length, (double)step, pitch) + (back ? place_cost(j, other, there) : 0.0);
                    if (sum < least)
                        least = sum, from = other * p + there;
                }
            }
            if (!back)
                j->from[link * p + place] = from;
            j->cost[back][link * p + place] = least + (back ? 0.0 : place_cost(j, link, place));
        }
    }
}

/// The best dealing. Its cost; infinite where none keeps to what is known.
static double deal(job* j)
{
    const size_t p = j->places;
    double least = INFINITY;
    size_t best = NONE;
    sum_costs(j, 0);
    for (size_t k = 0; k < j->length; k++)
        for (size_t place = 0; place < p; place++)
        {
            const double after = j->length - 1 - k <= MOST_PASSED ? OF_PASSING * (double)(j->length - 1 - k) : INFINITY;
            if (j->cost[0][k * p + place] + after < least)
                least = j->cost[0][k * p + place] + after, best = k * p + place;
        }
    for (size_t k = 0; k < j->length; k++)
        j->dealt[k] = NONE;
    for (; best != NONE; best = j->from[best])
        j->dealt[best / p] = best % p;
    return least;
}

/// The pitch at each link: the median of the steps beside it, as they are between links that follow each other or, with
/// `dealt`, of each place between those that were dealt.
static void find_pitch(job* j, bool dealt)
{
    for (size_t k = 0; k < j->length; k++)
    {
        const size_t from = k > BESIDE ? k - BESIDE : 0, to = k + BESIDE < j->length ? k + BESIDE : j->length - 1;
        size_t n = 0, before = NONE;
        for (size_t i = from; i <= to; i++)
        {
            if (dealt && j->dealt[i] == NONE)
                continue;
            if (before != NONE)
                j->room[n++] =
                    apart(j, j->chain[i], j->chain[before]) / (dealt ? (double)(j->dealt[i] - j->dealt[before]) : 1.0);
            before = i;
        }
        if (n > 0)
            j->pitch[k] = fmax(rlv_median_sorting(n, j->room), 1e-3);
    }
}

/// Where another row says that the links of this one are.
static void find_levels(job* j, size_t count, const rlv_numbered* numbered, size_t other, int other_first)
{
    for (size_t k = 0; k < j->length; k++)
    {
        size_t nearest[2] = {NONE, NONE};
        double least = INFINITY;
        const rlv_vec3 here = at(j, j->chain[k]);
        for (int end = 0; end < 2; end++, least = INFINITY)
            for (size_t i = 0; i < count; i++)
            {
                const double* p = j->element[i].element.position_mm;
                const double far = rlv_vec3_length(rlv_vec3_sub(rlv_vec3_of(p[0], p[1], p[2]), here));
                if (j->element[i].row == other && numbered[i].place != INT_MIN && far < least &&
                    (end == 0 || numbered[i].place != numbered[nearest[0]].place))
                    least = far, nearest[end] = i;
            }
        j->level[k] = NAN;
        if (nearest[1] == NONE)
            continue;
        const double *a = j->element[nearest[0]].element.position_mm, *b = j->element[nearest[1]].element.position_mm;
        const rlv_vec3 from = rlv_vec3_of(a[0], a[1], a[2]), way = rlv_vec3_sub(rlv_vec3_of(b[0], b[1], b[2]), from);
        const double share = rlv_vec3_dot(rlv_vec3_sub(here, from), way) / rlv_vec3_dot(way, way);
        j->level[k] = numbered[nearest[0]].place - other_first +
                      fmin(fmax(share, -2.0), 2.0) * (numbered[nearest[1]].place - numbered[nearest[0]].place);
    }
}

/// A row that is numbered already and has as many places, to a tenth; `rows` where there is none.
static size_t alike(const bool* done, size_t rows, const rlv_articulation_row* row, size_t of)
{
    if (row[of].first > row[of].last)
        return rows;
    const double places = (double)(row[of].last - row[of].first) + 1.0;
    for (size_t r = 0; r < rows; r++)
        if (done[r] && row[r].first <= row[r].last &&
            fabs((double)(row[r].last - row[r].first) + 1.0 - places) <= 0.1 * places)
            return r;
    return rows;
}

static void tell(const job* j, rlv_numbered* numbered)
{
    const size_t p = j->places;
    for (size_t k = 0; k < j->length; k++)
    {
        rlv_numbered* n = &numbered[j->member[j->chain[k]]];
        const rlv_placed_element* e = &j->element[j->member[j->chain[k]]];
        if (j->dealt[k] == NONE)
            continue;
        double own = INFINITY, other = INFINITY;
        for (size_t place = 0; place < p; place++)
        {
            const double sum = j->cost[0][k * p + place] + j->cost[1][k * p + place];
            if (place == j->dealt[k])
                own = sum;
            else
                other = fmin(other, sum);
        }
        n->place = j->first + (int)j->dealt[k];
        n->margin = is_known(e) ? INFINITY : other - own;
    }
}

static rlv_status reserve(job* j, rlv_error* error)
{
    if ((j->near = rlv_reserve(j->count, sizeof *j->near, error)) == NULL ||
        (j->reach = rlv_reserve(j->count, sizeof *j->reach, error)) == NULL ||
        (j->chain = rlv_reserve(j->count, sizeof *j->chain, error)) == NULL ||
        (j->pitch = rlv_reserve(j->count, sizeof *j->pitch, error)) == NULL ||
        (j->level = rlv_reserve(j->count, sizeof *j->level, error)) == NULL ||
        (j->cost[0] = rlv_reserve(j->count * j->places, sizeof(double), error)) == NULL ||
        (j->cost[1] = rlv_reserve(j->count * j->places, sizeof(double), error)) == NULL ||
        (j->from = rlv_reserve(j->count * j->places, sizeof *j->from, error)) == NULL ||
        (j->dealt = rlv_reserve(j->count, sizeof *j->dealt, error)) == NULL ||
        (j->room = rlv_reserve(j->count, sizeof *j->room, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

static void free_job(job* j)
{
    free(j->member);
    free(j->near);
    free(j->reach);
    free(j->chain);
    free(j->pitch);
    free(j->level);
    free(j->cost[0]);
    free(j->cost[1]);
    free(j->from);
    free(j->dealt);
    free(j->room);
}

/// Members of a row and its extent: as given, and as far as known places go; where neither is known, twice as many
/// places as elements.
static rlv_status take_row(job* j, size_t count, size_t r, const rlv_articulation_row* row, rlv_error* error)
{
    int low = INT_MAX, high = INT_MIN;
    if ((j->member = rlv_reserve(count, sizeof *j->member, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_placed_element* e = &j->element[i];
        if (e->row != r)
            continue;
        j->member[j->count++] = i;
        if (is_known(e))
            low = e->place_low < low ? e->place_low : low, high = e->place_low > high ? e->place_low : high;
    }
    if (row->first <= row->last)
        low = row->first < low ? row->first : low, high = row->last > high ? row->last : high;
    else
    {
        low = low == INT_MAX ? 1 : low;
        const int far = low + 2 * (int)(j->count < MOST_SLOTS ? j->count : MOST_SLOTS);
        high = far > high ? far : high;
    }
    j->first = low;
    j->places = (size_t)((long)high - low + 1);
    return RLV_DONE;
}

static bool is_dealt(const job* j)
{
    size_t dealt = 0;
    for (size_t k = 0; k < j->length; k++)
        dealt += j->dealt[k] != NONE;
    return dealt >= RLV_ARTICULATION_LEAST - 1;
}

/// Chain a row and deal its places out.
static rlv_status number_row(job* j, rlv_numbered* numbered, size_t count, size_t other,
                             const rlv_articulation_row* row, rlv_error* error)
{
    if (reserve(j, error) != RLV_DONE)
        return RLV_SYSTEM;
    find_chain(j, j->dealt);
    turn_chain(j);
    if (j->length < RLV_ARTICULATION_LEAST)
        return RLV_DONE;
    for (size_t k = 0; k < j->length; k++)
        j->level[k] = NAN;
    if (row != NULL)
        find_levels(j, count, numbered, other, row[other].first);
    find_pitch(j, false);
    for (int round = 0; round < PITCH_ROUNDS; round++)
    {
        if (!(deal(j) < INFINITY) || !is_dealt(j))
            return RLV_DONE;
        find_pitch(j, true);
    }
    if (!(deal(j) < INFINITY))
        return RLV_DONE;
    sum_costs(j, 1);
    tell(j, numbered);
    return RLV_DONE;
}

/// The row that is numbered next: with most known places, then with most elements.
static size_t next_row(const bool* done, size_t count, const rlv_placed_element* element, size_t rows)
{
    size_t best = rows, most[2] = {0, 0};
    for (size_t r = 0; r < rows; r++)
    {
        size_t known = 0, all = 0;
        for (size_t i = 0; i < count; i++)
            if (element[i].row == r)
                all++, known += is_known(&element[i]);
        if (!done[r] && (best == rows || known > most[0] || (known == most[0] && all > most[1])))
            best = r, most[0] = known, most[1] = all;
    }
    return best;
}

rlv_status rlv_number_rows(rlv_numbered* numbered, size_t count, const rlv_placed_element* element, size_t row_count,
                           const rlv_articulation_row* row, rlv_error* error)
{
    bool* done = rlv_reserve(2 * row_count, sizeof *done, error);
    rlv_status status = done == NULL ? RLV_SYSTEM : RLV_DONE;
    for (size_t i = 0; i < count; i++)
        numbered[i] =
            is_known(&element[i]) ? (rlv_numbered){element[i].place_low, INFINITY} : (rlv_numbered){INT_MIN, 0.0};
    for (size_t n = 0; n < row_count && status == RLV_DONE; n++)
    {
        const size_t r = next_row(done, count, element, row_count);
        bool *told = done + row_count, open = false;
        job j = {.element = element};
        status = take_row(&j, count, r, &row[r], error);
        for (size_t i = 0; i < j.count; i++)
            open |= !is_known(&element[j.member[i]]);
        const size_t other = alike(told, row_count, row, r);
        if (status == RLV_DONE && open && j.count >= RLV_ARTICULATION_LEAST && j.count <= MOST_SLOTS &&
            j.places <= MOST_SLOTS)
            status = number_row(&j, numbered, count, other, other < row_count ? row : NULL, error);
        done[r] = true;
        told[r] = j.count >= RLV_ARTICULATION_LEAST;
        free_job(&j);
    }
    free(done);
    return status;
}
