#include "articulation_tell.h"
#include "order.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <stdlib.h>

enum
{
    MOST_TERMS = 400, ///< of Poisson's distribution: its mean is below a hundred here
    DIRECTIONS = 3,
};

/// The F distribution's function where its numerator is off by a noncentrality: a mixture, by Poisson's distribution of
/// half of that, of beta distributions (N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions 2,
/// 2nd ed. 1995, chapter 30).
static double noncentral_f(double f, double parts, double freedom, double noncentrality)
{
    const double x = parts * f / (parts * f + freedom);
    double sum = 0.0;
    for (unsigned k = 0; k < MOST_TERMS; k++)
    {
        const double share = gsl_ran_poisson_pdf(k, 0.5 * noncentrality);
        sum += share * gsl_cdf_beta_P(x, 0.5 * parts + k, 0.5 * freedom);
        if (share < 1e-12 && k > 0.5 * noncentrality)
            break;
    }
    return sum;
}

/// The noncentrality that a test at a level finds with a probability.
static double found_from(double level, double freedom, double power)
{
    double critical_low = 0.0, critical_high = 1e6, low = 0.0, high = 500.0;
    for (int n = 0; n < 80; n++)
    {
        const double middle = 0.5 * (critical_low + critical_high);
        *(gsl_cdf_fdist_Q(middle, DIRECTIONS, freedom) > level ? &critical_low : &critical_high) = middle;
    }
    for (int n = 0; n < 50; n++)
    {
        const double middle = 0.5 * (low + high);
        *(1.0 - noncentral_f(critical_high, DIRECTIONS, freedom, middle) < power ? &low : &high) = middle;
    }
    return high;
}

rlv_life_test rlv_articulation_test_of(const rlv_life* life, const rlv_life_element* of,
                                       const rlv_placed_element* element)
{
    rlv_life_test t = rlv_life_test_of(life, of);
    const rlv_body_frame frame = rlv_life_at(life, of->row, of->slot).frame;
    const rlv_vec3 axis[3] = {frame.along, frame.side, frame.other};
    for (int v = 0; v < 3; v++)
        t.variance[v] += rlv_variance_along(element[of->given].covered_cov_mm2, axis[v]);
    return t;
}

/// The median of a row's limits, the least and the greatest.
static rlv_interval range_of(size_t count, double* limit)
{
    const double median = rlv_median_sorting(count, limit);
    return (rlv_interval){median, limit[0], limit[count - 1]};
}

rlv_status rlv_articulation_tell_detectable(rlv_articulation* a, const rlv_life* life,
                                            const rlv_placed_element* element, double level, rlv_error* error)
{
    static const double power[RLV_ARTICULATION_POWERS] = {0.8, 0.9};
    double* room = rlv_reserve(life->count, sizeof *room, error);
    if (room == NULL)
        return RLV_SYSTEM;
    const double freedom = rlv_life_freedom(life);
    for (size_t k = 0; k < RLV_ARTICULATION_POWERS; k++)
    {
        // Of two tests the least p counts twice (Simes).
        const double sds[2] = {sqrt(found_from(level, freedom, power[k])),
                               sqrt(found_from(0.5 * level, freedom, power[k]))};
        for (size_t r = 0; r < life->rows; r++)
        {
            size_t tested = 0;
            for (size_t i = life->row[r].begin; i < life->row[r].end; i++)
            {
                const rlv_life_test t = rlv_articulation_test_of(life, &life->element[i], element);
                const double most = fmax(t.variance[0], fmax(t.variance[1], t.variance[2]));
                if (!isfinite(most))
                    continue;
                room[tested] = sqrt(most) * sds[isfinite(rlv_life_p_turn(life, &t)) ? 1 : 0];
                a->element[life->element[i].given].detectable_mm[k] = room[tested++];
            }
            if (tested > 0)
                a->row[life->row[r].given].detectable_mm[k] = range_of(tested, room);
        }
    }
    free(room);
    return RLV_DONE;
}

/// Length of a row from one slot to another, by its life positions.
static double length_between(const rlv_life* life, size_t row, size_t from, size_t to)
{
    double sum = 0.0;
    for (size_t i = from; i < to; i++)
        sum += rlv_vec3_length(rlv_vec3_sub(rlv_life_at(life, row, i + 1).at_mm, rlv_life_at(life, row, i).at_mm));
    return sum;
}

static rlv_spacing_gap gap_at(const rlv_life* life, size_t row, size_t slot)
{
    enum
    {
        BESIDE = 3,
    };
    const size_t first = life->first[row], last = life->first[row + 1] - 1,
                 from = slot - first > BESIDE ? slot - BESIDE : first,
                 to = last - slot - 1 > BESIDE ? slot + 1 + BESIDE : last;
    const double step = length_between(life, row, slot, slot + 1),
                 beside = (length_between(life, row, from, slot) + length_between(life, row, slot + 1, to)) /
                          fmax((double)(slot - from + to - slot - 1), 1.0),
                 sd = sqrt(rlv_life_variance(life, row, slot, 0) + rlv_life_variance(life, row, slot + 1, 0)),
                 half = gsl_cdf_tdist_Pinv(0.975, rlv_life_freedom(life)) * sd;
    return (rlv_spacing_gap){.row = life->row[row].given,
                             .place = rlv_life_place_of(life, row, slot),
                             .more_mm = {step - beside, step - beside - half, step - beside + half},
                             .pitches = beside > 0.0 ? (step - beside) / beside : (double)NAN,
                             .p = life->gap_p[slot]};
}

rlv_status rlv_articulation_tell_gaps(rlv_articulation* a, const rlv_life* life, rlv_error* error)
{
    if ((a->gap = rlv_reserve(life->slots, sizeof *a->gap, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t r = 0; r < life->rows; r++)
        for (size_t s = life->first[r]; s + 1 < life->first[r + 1]; s++)
            if (life->gap[s])
            {
                // What made it look wide may have been left out since.
                const rlv_spacing_gap gap = gap_at(life, r, s);
                if (gap.more_mm.low > 0.0 || gap.more_mm.high < 0.0)
                    a->gap[a->gap_count++] = gap;
            }
    return RLV_DONE;
}
