#include "articulation.h"

#include "articulation_tell.h"
#include "assignment.h"
#include "life.h"
#include "order.h"
#include "places.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

enum
{
    L1_ROUNDS = 12,
    FALLING_ROUNDS = 2,
    MOST_ROUNDS = 20,  ///< of leaving out and letting in
    CHOOSE_ROUNDS = 3, ///< after which penalties stay
    MOST_GROUPS = 8,
    MOST_UNSEEN = 6, ///< a row of less than this part of all elements does not sway what smoothness all have
    POSITIONS = RLV_LIFE_ACROSS + 1,
    MOST_TRIES = 2,   ///< stretches that are taken out to see whether they stand, before another look at all
    MOST_LOOKS = 5,   ///< at a row, of which gaps and what lies apart are taken out
    GROUP_ROUNDS = 8, ///< of least distances, before a row's stretches are sought
};

/// An element is left out of the fit where its leave-one-out p is below this.
static const double LEAVE_OUT = 0.01;

/// A step of the spacing is a natural gap where its p, times the steps of its row, is below this.
static const double GAP_LEVEL = 0.01;

/// An element that lies beside its row belongs to a place no further than these pitches, and where twenty to one is for
/// it. Costs that no assignment takes while there is another: of no place, and of a place that an element cannot have.
static const double MOST_CARRIED = 3.0, CLEAR_MARGIN = 3.0, OF_NO_PLACE = 1e3, FORBIDDEN = 1e6;

/// How likely an element is to have been carried off, before anything is known of it: a tenth, as an odd step of a
/// count is (places.h).
static const double CARRIED = RLV_PLACES_ODD;

/// Neighbours of a row, no further apart than these places, lie off alike where chi-square of three is below the second
/// (1 in 1,000).
enum
{
    MOST_APART = 2
};
static const double MOST_NEIGHBOURS_CHI2 = 16.27;

/// An element is far off, in sds, where one of 6,000 that are in place would be.
static const double FAR = 4.5;

/// Median of the length of a normal vector of three of sd one.
static const double MEDIAN_LENGTH = 1.5382;

/// Lengths of what is off, of position (`first` 0) or attitude (`first` 3), scaled up where not all of it is known.
static double length_off(const rlv_life_element* e, size_t first)
{
    double sum = 0.0;
    int told = 0;
    for (size_t v = first; v < first + 3; v++)
        if (e->told[v])
            sum += e->off[v] * e->off[v], told++;
    return told > 0 ? sqrt(3.0 * sum / told) : NAN;
}

/// The sd of what is off, from its median. 0 where nothing is known.
static double robust_sd(const rlv_life* life, size_t first, double* room)
{
    size_t n = 0;
    for (size_t i = 0; i < life->count; i++)
    {
        const double length = length_off(&life->element[i], first);
        if (!isnan(length))
            room[n++] = length;
    }
    if (n == 0)
        return 0.0;
    return rlv_median_sorting(n, room) / MEDIAN_LENGTH;
}

typedef enum trust_rule
{
    TRUST_L1,      ///< by the inverse of the distance: the least sum of distances
    TRUST_FALLING, ///< by its square beyond two sds: what lies far off has no say
    TRUST_CUT,     ///< in full within FAR sds, not at all beyond
} trust_rule;

static double trust_at(trust_rule rule, double far)
{
    if (rule == TRUST_CUT)
        return far < FAR;
    return rule == TRUST_L1 ? 1.0 / fmax(far, 1.0) : 1.0 / (1.0 + 0.25 * far * far);
}

/// Trust each element by its distance, of position (`part` 0) or attitude (1).
static void trust_by_distance(rlv_life* life, size_t part, trust_rule rule, double* room)
{
    const double sd = robust_sd(life, 3 * part, room);
    for (size_t i = 0; i < life->count; i++)
    {
        const double far = length_off(&life->element[i], 3 * part) / fmax(sd, 1e-9);
        life->element[i].trust[part] = isnan(far) ? 0.0 : trust_at(rule, far);
    }
}

static void fit_all(rlv_life* life)
{
    for (int k = 0; k < RLV_LIFE_KINDS; k++)
        rlv_life_fit(life, (rlv_life_kind)k);
}

static void fit_rounds(rlv_life* life, trust_rule rule, int rounds, double* room)
{
    for (int n = 0; n < rounds; n++)
    {
        trust_by_distance(life, 0, rule, room);
        trust_by_distance(life, 1, rule, room);
        fit_all(life);
    }
}

/// The first fit: least distances; then the axis once more; then, with penalties that the likelihood chooses, falling
/// trust; and at last what is not far off. Penalties guessed wrong leave so much of a strongly bent or twisted animal
/// that elements which were carried off do not stand out.
static rlv_status first_fit(rlv_life* life, double* room, rlv_error* error)
{
    rlv_life_look(life);
    fit_rounds(life, TRUST_L1, L1_ROUNDS, room);
    rlv_status status = rlv_life_centre(life, error);
    if (status == RLV_DONE)
        status = rlv_life_base(life, error);
    if (status != RLV_DONE)
        return status;
    rlv_life_look(life);
    fit_rounds(life, TRUST_L1, L1_ROUNDS, room);
    for (int n = 0; n < FALLING_ROUNDS; n++)
    {
        for (int k = 0; k < RLV_LIFE_KINDS; k++)
            if (rlv_life_choose(life, (rlv_life_kind)k, error) != RLV_DONE)
                return RLV_SYSTEM;
        fit_rounds(life, TRUST_FALLING, L1_ROUNDS / 2, room);
    }
    fit_rounds(life, TRUST_CUT, 3, room);
    return RLV_DONE;
}

/// Share of the variance of a normal vector of three that is left where what lies beyond the probability `out` is cut.
static double kept_share(double out)
{
    const double cut = gsl_cdf_chisq_Qinv(out, 3.0);
    return gsl_cdf_chisq_P(cut, 5.0) / gsl_cdf_chisq_P(cut, 3.0);
}

/// Estimate penalties (where `choose`) and scatter of the first `kinds`.
static rlv_status estimate(rlv_life* life, size_t kinds, size_t row, bool choose, rlv_error* error)
{
    for (size_t k = 0; k < kinds && choose; k++)
        if (rlv_life_choose(life, (rlv_life_kind)k, error) != RLV_DONE)
            return RLV_SYSTEM;
    rlv_life_spread_of(life, kinds, row, kept_share(LEAVE_OUT));
    return RLV_DONE;
}

/// Leave out what a leave-one-out test rejects, let in what it does not, until nothing changes.
static rlv_status settle(rlv_life* life, rlv_error* error)
{
    for (int round = 0; round < MOST_ROUNDS; round++)
    {
        bool changed = false;
        if (estimate(life, RLV_LIFE_KINDS, RLV_LIFE_ALL, round < CHOOSE_ROUNDS, error) != RLV_DONE)
            return RLV_SYSTEM;
        for (size_t i = 0; i < life->count; i++)
        {
            rlv_life_element* e = &life->element[i];
            const rlv_life_test t = rlv_life_test_of(life, e);
            const double p[2] = {rlv_life_p_shift(life, &t), rlv_life_p_turn(life, &t)};
            for (int k = 0; k < 2; k++)
            {
                // What is not told stays in.
                const double trust = !(p[k] <= LEAVE_OUT) && (k == 1 || e->group == 0);
                changed |= trust != e->trust[k];
                e->trust[k] = trust;
            }
        }
        if (!changed && round > 0)
            break;
    }
    return estimate(life, RLV_LIFE_KINDS, RLV_LIFE_ALL, false, error);
}

/// Log density of an element's position where the others say that it belongs, but for a constant.
static double log_density(const rlv_life* life, const rlv_life_element* e)
{
    const rlv_life_test t = rlv_life_test_of(life, e);
    double sum = 0.0;
    for (size_t v = 0; v < 3; v++)
        sum -= 0.5 * (t.off[v] * t.off[v] / t.variance[v] + log(t.variance[v]));
    return sum;
}

/// The outermost element of a row, from one of its ends, and the next one; false where there is none between others.
static bool outermost(rlv_life* life, size_t row, bool tail, rlv_life_element* end[2])
{
    const size_t begin = life->row[row].begin, last = life->row[row].end - 1;
    if (last - begin < RLV_ARTICULATION_LEAST)
        return false;
    end[0] = &life->element[tail ? last : begin];
    end[1] = &life->element[tail ? last - 1 : begin + 1];
    return true;
}

static rlv_status refit(rlv_life* life, rlv_error* error)
{
    for (int k = 0; k < POSITIONS; k++)
        rlv_life_fit(life, (rlv_life_kind)k);
    return estimate(life, POSITIONS, RLV_LIFE_ALL, false, error);
}

/// At a row's end two elements may each look displaced once the other is in the fit: the end one pulls the curve, and
/// the one before it is left out. Where that was so, the likelier of the two stays in. `*changed` gets whether any did.
static rlv_status weigh_ends(rlv_life* life, bool* changed, rlv_error* error)
{
    *changed = false;
    for (size_t k = 0; k < 2 * life->rows; k++)
    {
        rlv_life_element* end[2];
        if (!outermost(life, k / 2, k % 2 == 1, end) || !(end[0]->trust[0] > 0.0) || end[1]->trust[0] > 0.0 ||
            end[1]->group > 0)
            continue;
        const double with_end = log_density(life, end[0]);
        end[0]->trust[0] = 0.0, end[1]->trust[0] = 1.0;
        if (refit(life, error) != RLV_DONE)
            return RLV_SYSTEM;
        if (log_density(life, end[1]) > with_end)
        {
            *changed = true;
            continue;
        }
        end[0]->trust[0] = 1.0, end[1]->trust[0] = 0.0;
        if (refit(life, error) != RLV_DONE)
            return RLV_SYSTEM;
    }
    return RLV_DONE;
}

static rlv_status leave_out(rlv_life* life, rlv_error* error)
{
    bool changed = false;
    rlv_status status = settle(life, error);
    if (status == RLV_DONE)
        status = weigh_ends(life, &changed, error);
    if (status == RLV_DONE && changed)
        status = settle(life, error);
    return status;
}

/// A fit as it stood.
typedef struct kept_fit
{
    double* value; ///< RLV_LIFE_VALUES * slots
    double* trust; ///< two an element
    rlv_life_spread spread[RLV_LIFE_KINDS];
} kept_fit;

static rlv_status make_kept(kept_fit* kept, const rlv_life* life, rlv_error* error)
{
    if ((kept->value = rlv_reserve(RLV_LIFE_VALUES * life->slots, sizeof(double), error)) == NULL ||
        (kept->trust = rlv_reserve(2 * life->count, sizeof(double), error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

static void keep(kept_fit* kept, const rlv_life* life)
{
    for (size_t v = 0; v < RLV_LIFE_VALUES; v++)
        memcpy(kept->value + v * life->slots, life->value[v], life->slots * sizeof(double));
    for (size_t i = 0; i < life->count; i++)
        memcpy(kept->trust + 2 * i, life->element[i].trust, 2 * sizeof(double));
    memcpy(kept->spread, life->spread, sizeof kept->spread);
}

static void put_back(const kept_fit* kept, rlv_life* life)
{
    for (size_t v = 0; v < RLV_LIFE_VALUES; v++)
        memcpy(life->value[v], kept->value + v * life->slots, life->slots * sizeof(double));
    for (size_t i = 0; i < life->count; i++)
        memcpy(life->element[i].trust, kept->trust + 2 * i, 2 * sizeof(double));
    memcpy(life->spread, kept->spread, sizeof kept->spread);
    rlv_life_look(life);
}

/// Let in again what lies off in a row as one of its neighbours does: the edge of a stretch that moved, or of a gap in
/// the spacing, which a smooth curve cuts across.
static void let_in_neighbours(rlv_life* life, size_t row)
{
    for (size_t i = life->row[row].begin; i + 1 < life->row[row].end; i++)
        for (size_t j = i + 1; j < life->row[row].end && life->element[j].slot - life->element[i].slot <= MOST_APART;
             j++)
        {
            rlv_life_element *a = &life->element[i], *b = &life->element[j];
            double sum = 0.0;
            for (size_t v = 0; v < 3; v++)
                sum += (a->off[v] - b->off[v]) * (a->off[v] - b->off[v]) /
                       (rlv_life_scatter(life, a, v) + rlv_life_scatter(life, b, v));
            if (sum < MOST_NEIGHBOURS_CHI2)
                a->trust[0] = b->trust[0] = 1.0;
        }
}

static void leave_groups_out(rlv_life* life)
{
    for (size_t i = 0; i < life->count; i++)
        if (life->element[i].group > 0)
            life->element[i].trust[0] = 0.0;
}

/// Fit positions with the smoothness and the scatter that the other rows have, `row` itself by least distances.
static rlv_status fit_by_others(rlv_life* life, size_t row, double* room, rlv_error* error)
{
    if (life->rows > 1)
    {
        for (size_t i = life->row[row].begin; i < life->row[row].end; i++)
            life->element[i].trust[0] = 0.0;
        const bool much = MOST_UNSEEN * (life->row[row].end - life->row[row].begin) > life->count;
        if (estimate(life, POSITIONS, RLV_LIFE_NONE, much, error) != RLV_DONE)
            return RLV_SYSTEM;
    }
    for (int n = 0; n <= GROUP_ROUNDS; n++)
    {
        trust_by_distance(life, 0, n < GROUP_ROUNDS ? TRUST_L1 : TRUST_CUT, room);
        if (n == GROUP_ROUNDS)
            let_in_neighbours(life, row);
        leave_groups_out(life);
        for (int k = 0; k < POSITIONS; k++)
            rlv_life_fit(life, (rlv_life_kind)k);
    }
    return estimate(life, POSITIONS, row, false, error);
}

/// Fit positions again, with the smoothness as it is, for the covariances of a row.
static rlv_status fit_positions(rlv_life* life, size_t row, rlv_error* error)
{
    for (int n = 0; n < 3; n++)
        for (int k = 0; k < POSITIONS; k++)
            rlv_life_fit(life, (rlv_life_kind)k);
    return estimate(life, POSITIONS, row, false, error);
}

/// Let in again what lies where a row belongs, now that it is fitted anew. Returns whether there was any.
static bool let_in(rlv_life* life, size_t row)
{
    bool any = false;
    for (size_t i = life->row[row].begin; i < life->row[row].end; i++)
    {
        rlv_life_element* e = &life->element[i];
        if (e->trust[0] > 0.0 || e->group > 0)
            continue;
        const rlv_life_test t = rlv_life_test_of(life, e);
        if (rlv_life_p_shift(life, &t) > LEAVE_OUT)
            e->trust[0] = 1.0, any = true;
    }
    return any;
}

/// Take out of the fit what a scan of a row found to lie apart, and make the gap that it found free. Returns whether
/// there was anything.
static bool heed(rlv_life* life, size_t row, const rlv_life_scanned* scanned, const bool* out)
{
    bool any = scanned->gap != SIZE_MAX && scanned->gap_p < GAP_LEVEL;
    if (any)
        life->gap[scanned->gap] = true, life->gap_p[scanned->gap] = scanned->gap_p;
    for (size_t i = life->row[row].begin; i < life->row[row].end; i++)
        if (out[i])
            life->element[i].trust[0] = 0.0, any = true;
    return any;
}

/// The stretch of a row that most clearly moved together, `row` being fitted by the others. Gaps in its spacing are
/// made free first, and let in again what they pulled along; and what lies apart both from the row and from the stretch
/// is left out, for of that a window may have its motion alone.
static rlv_status seek_in_row(rlv_life* life, size_t row, bool* member, bool* out, rlv_life_scanned* found,
                              rlv_error* error)
{
    rlv_status status = rlv_life_scan(life, row, found, member, out, error);
    for (int n = 1; n < MOST_LOOKS && status == RLV_DONE && heed(life, row, found, out); n++)
    {
        status = fit_positions(life, row, error);
        if (status == RLV_DONE && found->gap != SIZE_MAX && life->gap[found->gap] && let_in(life, row))
            status = fit_positions(life, row, error);
        if (status == RLV_DONE)
            status = rlv_life_scan(life, row, found, member, out, error);
    }
    return status;
}

/// The stretch of each row that most clearly moved together: `p` has one a row, and `member` the elements of all.
static rlv_status seek_groups(rlv_life* life, const kept_fit* kept, double* room, double* p, bool* member,
                              rlv_error* error)
{
    bool* own = rlv_reserve(2 * life->count, sizeof *own, error);
    rlv_status status = own == NULL ? RLV_SYSTEM : RLV_DONE;
    for (size_t r = 0; r < life->rows && status == RLV_DONE; r++)
    {
        rlv_life_scanned found;
        put_back(kept, life);
        if ((status = fit_by_others(life, r, room, error)) != RLV_DONE ||
            (status = seek_in_row(life, r, own, own + life->count, &found, error)) != RLV_DONE)
            break;
        p[r] = found.p;
        for (size_t i = life->row[r].begin; i < life->row[r].end; i++)
            member[i] = own[i];
    }
    put_back(kept, life);
    free(own);
    return status;
}

/// Read a stretch's motion anew. Its p is the larger of two: that which it was found with, by the other rows'
/// smoothness, and that of its motion now, by the smoothness of all, which is estimated without it.
static void read_motion(rlv_life* life, rlv_life_group* group, size_t which)
{
    const double sought = group->sought_p;
    *group = rlv_life_group_motion(life, which);
    group->sought_p = sought;
    group->p = fmax(sought, group->p);
}

/// Make a stretch none, and number those after it anew.
static void forget_group(rlv_life* life, rlv_life_group* group, size_t* count, size_t which)
{
    for (size_t i = 0; i < life->count; i++)
        if (life->element[i].group >= which)
            life->element[i].group = life->element[i].group == which ? 0 : life->element[i].group - 1;
    for (size_t g = which; g < *count; g++)
        group[g - 1] = group[g];
    --*count;
}

/// Take one more stretch of a row out, and fit anew. It stands where its motion does, with the smoothness of all rows.
static rlv_status try_group(rlv_life* life, rlv_life_group* group, size_t* count, size_t row, const bool* member,
                            bool* stands, rlv_error* error)
{
    const size_t last = ++*count;
    for (size_t i = life->row[row].begin; i < life->row[row].end; i++)
        if (member[i])
            life->element[i].group = last, life->element[i].trust[0] = 0.0;
    for (bool grown = true; grown;)
    {
        if (leave_out(life, error) != RLV_DONE)
            return RLV_SYSTEM;
        read_motion(life, &group[last - 1], last);
        grown = group[last - 1].p < RLV_ARTICULATION_GROUP_LEVEL && rlv_life_grow_group(life, last, &group[last - 1]);
    }
    *stands = group[last - 1].p < RLV_ARTICULATION_GROUP_LEVEL;
    if (!*stands)
        forget_group(life, group, count, last);
    return RLV_DONE;
}

/// Look at all stretches again, now that the others are out: what stood only against another's pull is forgotten.
static rlv_status look_again(rlv_life* life, rlv_life_group* group, size_t* count, rlv_error* error)
{
    while (*count > 0)
    {
        size_t weakest = 1;
        for (size_t g = 1; g <= *count; g++)
        {
            read_motion(life, &group[g - 1], g);
            weakest = group[g - 1].p > group[weakest - 1].p ? g : weakest;
        }
        if (group[weakest - 1].p < RLV_ARTICULATION_GROUP_LEVEL)
            return RLV_DONE;
        forget_group(life, group, count, weakest);
        if (leave_out(life, error) != RLV_DONE)
            return RLV_SYSTEM;
    }
    return RLV_DONE;
}

/// Try the clearest stretches of all rows, one after another, until one stands. The p of those that were tried
/// become 1.
static rlv_status try_groups(rlv_life* life, rlv_life_group* group, size_t* count, const kept_fit* kept, double* p,
                             const bool* member, bool* stands, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    *stands = false;
    for (int n = 0; n < MOST_TRIES && status == RLV_DONE && !*stands; n++)
    {
        size_t row = 0;
        for (size_t r = 1; r < life->rows; r++)
            row = p[r] < p[row] ? r : row;
        if (!(p[row] < RLV_ARTICULATION_GROUP_LEVEL))
            break;
        put_back(kept, life);
        group[*count].sought_p = p[row];
        p[row] = 1.0;
        status = try_group(life, group, count, row, member, stands, error);
    }
    return status;
}

/// Find stretches that moved together, one after another, the clearest first.
static rlv_status find_groups(rlv_life* life, double* room, rlv_life_group* group, size_t* count, rlv_error* error)
{
    kept_fit kept = {0};
    bool* member = rlv_reserve(life->count, sizeof *member, error);
    double* p = rlv_reserve(life->rows, sizeof *p, error);
    rlv_status status = member == NULL || p == NULL ? RLV_SYSTEM : make_kept(&kept, life, error);
    for (bool stands = true; status == RLV_DONE && *count < MOST_GROUPS && stands;)
    {
        keep(&kept, life);
        status = seek_groups(life, &kept, room, p, member, error);
        if (status == RLV_DONE)
            status = try_groups(life, group, count, &kept, p, member, &stands, error);
    }
    free(kept.value);
    free(kept.trust);
    free(member);
    free(p);
    return status;
}

// Open places

/// An element whose place is open, at a slot.
static rlv_life_element at_slot(const rlv_life* life, const rlv_placed_element* given, size_t index, size_t row,
                                size_t slot)
{
    const double* at = given->element.position_mm;
    rlv_life_element e = {.given = index,
                          .row = row,
                          .slot = slot,
                          .at_mm = {at[0], at[1], at[2]},
                          .measured = &given->element,
                          .open = true};
    memcpy(e.frame.m, given->element.frame, sizeof e.frame.m);
    rlv_life_measure(life, &e);
    return e;
}

/// Elements that are still without a place, and the free slots of the rows that are used.
typedef struct open_places
{
    size_t elements, slots;
    size_t *element, *slot, *row;
    double* cost; ///< elements * (slots + elements): the last columns are of no place
    size_t* column;
} open_places;

static void free_open(open_places* o)
{
    free(o->element);
    free(o->slot);
    free(o->row);
    free(o->cost);
    free(o->column);
}

/// Cost of an element lying so many pitches from a place: Cauchy's distribution in space, of what was carried.
static double carried_cost(double pitches)
{
    return 2.0 * log1p(pitches * pitches);
}

/// Cost of an element having a place, by how it lies to it: where it belongs, by its life position's own distribution,
/// or carried from there. In units in which what was carried by nothing costs 0.
static double place_cost(const rlv_life* life, const rlv_placed_element* given, size_t row, size_t slot)
{
    const int place = rlv_life_place_of(life, row, slot);
    if (life->row[row].given != given->row || place < given->place_low || place > given->place_high)
        return FORBIDDEN;
    const rlv_life_element e = at_slot(life, given, 0, row, slot);
    const double pitch = life->row[row].pitch_mm;
    double far = 0.0, square = 0.0, density = 1.0;
    for (size_t v = 0; v < 3; v++)
    {
        const double variance = rlv_life_variance(life, row, slot, v) + rlv_life_scatter(life, &e, v);
        far += e.off[v] * e.off[v] / (pitch * pitch);
        square += e.off[v] * e.off[v] / variance;
        density *= pitch / sqrt(2.0 * M_PI * variance);
    }
    const double here = (1.0 - CARRIED) / CARRIED * M_PI * M_PI * density * exp(-0.5 * square);
    return -log(exp(-carried_cost(sqrt(far))) + here);
}

static rlv_status gather_open(open_places* o, const rlv_life* life, size_t count, const rlv_placed_element* element,
                              rlv_error* error)
{
    bool* filled = rlv_reserve(life->slots, sizeof *filled, error);
    o->element = rlv_reserve(count, sizeof *o->element, error);
    o->slot = rlv_reserve(life->slots, sizeof *o->slot, error);
    o->row = rlv_reserve(life->slots, sizeof *o->row, error);
    rlv_status status =
        filled != NULL && o->element != NULL && o->slot != NULL && o->row != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < life->count && status == RLV_DONE; i++)
        filled[life->element[i].slot] = true;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        if (!rlv_life_has_place(&element[i]))
            o->element[o->elements++] = i;
    for (size_t r = 0; r < life->rows && status == RLV_DONE; r++)
        for (size_t s = life->first[r]; s < life->first[r + 1]; s++)
            if (!filled[s])
                o->row[o->slots] = r, o->slot[o->slots++] = s;
    free(filled);
    const size_t columns = o->slots + o->elements;
    if (status != RLV_DONE || (o->cost = rlv_reserve(o->elements * columns, sizeof(double), error)) == NULL ||
        (o->column = rlv_reserve(o->elements, sizeof *o->column, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < o->elements; i++)
        for (size_t k = 0; k < columns; k++)
            o->cost[i * columns + k] =
                k < o->slots ? place_cost(life, &element[o->element[i]], o->row[k], o->slot[k]) : OF_NO_PLACE;
    return RLV_DONE;
}

/// How much worse the best assignment is that gives an element none or another than it has.
static rlv_status margin_of(double* margin, open_places* o, size_t index, size_t column, double least, size_t* room,
                            rlv_error* error)
{
    double* cost = &o->cost[index * (o->slots + o->elements) + column];
    const double was = *cost;
    double other;
    *cost = FORBIDDEN;
    const rlv_status status = rlv_assign(o->elements, o->slots + o->elements, o->cost, room, &other, error);
    *cost = was;
    *margin = other - least;
    return status;
}

/// Place elements that lie beside the row's chain: all at once, where the least cost is clear of any other.
static rlv_status place_open(rlv_life* life, size_t count, const rlv_placed_element* element, double* margin,
                             rlv_error* error)
{
    open_places o = {0};
    double least = 0.0;
    rlv_status status = gather_open(&o, life, count, element, error);
    size_t* room = rlv_reserve(o.elements, sizeof *room, error);
    if (room == NULL)
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
        status = rlv_assign(o.elements, o.slots + o.elements, o.cost, o.column, &least, error);
    for (size_t i = 0; i < o.elements && status == RLV_DONE; i++)
    {
        const size_t k = o.column[i];
        double clear = 0.0;
        if (k >= o.slots || o.cost[i * (o.slots + o.elements) + k] > carried_cost(MOST_CARRIED))
            continue;
        status = margin_of(&clear, &o, i, k, least, room, error);
        if (!(clear >= CLEAR_MARGIN))
            continue;
        margin[o.element[i]] = clear;
        life->element[life->count++] = at_slot(life, &element[o.element[i]], o.element[i], o.row[k], o.slot[k]);
    }
    free_open(&o);
    free(room);
    return status;
}

/// What is further off, in mm, is no measurement: ten kilometres.
static const double MOST_MM = 1e7;

static rlv_status check_given(size_t count, const rlv_placed_element* element, size_t row_count, rlv_error* error)
{
    for (size_t i = 0; i < count; i++)
    {
        const rlv_placed_element* e = &element[i];
        bool finite = true;
        for (int k = 0; k < 3; k++)
            finite &= fabs(e->element.position_mm[k]) < MOST_MM && e->element.position_cov_mm2[4 * k] >= 0.0 &&
                      (e->element.known == 0 || e->element.attitude_cov_rad2[4 * k] >= 0.0);
        for (int k = 0; k < 9; k++)
            finite &=
                isfinite(e->element.position_cov_mm2[k]) &&
                (e->element.known == 0 || (isfinite(e->element.frame[k]) && isfinite(e->element.attitude_cov_rad2[k])));
        if (!finite)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "measure it again, or leave it out",
                            "element %zu has a position, an attitude or a covariance that is none", i + 1);
        if (e->row >= row_count || e->place_low > e->place_high)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a row that there is, and a place or a rising range",
                            "element %zu belongs to row %zu of %zu, places %d to %d", i + 1, e->row + 1, row_count,
                            e->place_low, e->place_high);
    }
    return RLV_DONE;
}

static rlv_status fit_life(rlv_life* life, rlv_life_group* group, size_t* groups, size_t count, rlv_error* error)
{
    double* room = rlv_reserve(count, sizeof *room, error);
    rlv_status status = room == NULL ? RLV_SYSTEM : RLV_DONE;
    if (status == RLV_DONE)
        status = find_groups(life, room, group, groups, error);
    if (status == RLV_DONE)
        status = leave_out(life, error);
    if (status == RLV_DONE)
        status = look_again(life, group, groups, error);
    if (status == RLV_DONE)
        status = rlv_life_temper(life, error);
    free(room);
    return status;
}

/// A first fit with the shapes of comparative specimens; those that misfit are left out of the next one.
static rlv_status start_life(rlv_life* life, size_t count, const rlv_placed_element* element, size_t row_count,
                             const rlv_articulation_row* row, rlv_life_shape* shape, rlv_error* error)
{
    double* room = rlv_reserve(count, sizeof *room, error);
    rlv_status status = room == NULL ? RLV_SYSTEM : RLV_DONE;
    for (bool misfit = true; status == RLV_DONE && misfit;)
    {
        rlv_life_free(life);
        status = rlv_life_start(life, count, element, row_count, row, shape, error);
        if (status == RLV_DONE)
            status = first_fit(life, room, error);
        if (status == RLV_DONE)
            status = estimate(life, RLV_LIFE_KINDS, RLV_LIFE_NONE, true, error);
        if (status == RLV_DONE)
            status = rlv_life_shapes_test(life, shape, &misfit, error);
    }
    free(room);
    return status;
}

rlv_status rlv_articulation_fit_compared(rlv_articulation* articulation, size_t count,
                                         const rlv_placed_element* element, size_t row_count,
                                         const rlv_articulation_row* row, size_t compared_count,
                                         const rlv_compared_place* compared, rlv_error* error)
{
    rlv_life life = {0};
    rlv_life_group group[MOST_GROUPS + 1] = {0};
    size_t groups = 0;
    if (check_given(count, element, row_count, error) != RLV_DONE)
        return RLV_BAD_INPUT;
    double* margin = rlv_reserve(count, sizeof *margin, error);
    rlv_life_shape* shape = rlv_reserve(row_count, sizeof *shape, error);
    rlv_status status = margin == NULL || shape == NULL ? RLV_SYSTEM : RLV_DONE;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        margin[i] = NAN;
    if (status == RLV_DONE)
        status = rlv_life_shapes_of(shape, row_count, compared_count, compared, error);
    if (status == RLV_DONE)
        status = start_life(&life, count, element, row_count, row, shape, error);
    if (status == RLV_DONE)
        status = fit_life(&life, group, &groups, count, error);
    if (status == RLV_DONE)
        status = place_open(&life, count, element, margin, error);
    if (status == RLV_DONE)
        status = rlv_articulation_tell(articulation, &life, group, groups, count, element, margin, row_count, error);
    for (size_t r = 0; r < row_count && status == RLV_DONE; r++)
        articulation->row[r].compared_p = shape[r].p;
    if (status != RLV_DONE)
        rlv_articulation_free(articulation);
    rlv_life_shapes_free(shape, row_count);
    rlv_life_free(&life);
    free(margin);
    return status;
}

rlv_status rlv_articulation_fit(rlv_articulation* articulation, size_t count, const rlv_placed_element* element,
                                size_t row_count, const rlv_articulation_row* row, rlv_error* error)
{
    return rlv_articulation_fit_compared(articulation, count, element, row_count, row, 0, NULL, error);
}
