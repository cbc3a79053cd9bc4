#include "report_articulation_parts.h"

#include <gsl/gsl_cdf.h>

#include <limits.h>
#include <math.h>
#include <stdlib.h>

enum
{
    MEASURED = 6, ///< plates of a row, at most, that tell how large the next one is: those nearest to its place
    LEAST = 3,    ///< and at least
};

static const double RADIAN = M_PI / 180.0;

static const rlv_interval UNTOLD = {(double)NAN, (double)NAN, (double)NAN};

// --- sizes -----------------------------------------------------------------------------------------------------------

/// Sizes of the plates nearest to a place, by how far they lie from it.
typedef struct nearest_sizes
{
    size_t count;
    int apart[MEASURED];
    double mm[MEASURED];
} nearest_sizes;

static void add_size(nearest_sizes* sizes, int apart, double mm)
{
    size_t at = sizes->count < MEASURED ? sizes->count++ : MEASURED;
    for (; at > 0 && apart < sizes->apart[at - 1]; at--)
        if (at < MEASURED)
        {
            sizes->apart[at] = sizes->apart[at - 1];
            sizes->mm[at] = sizes->mm[at - 1];
        }
    if (at < MEASURED)
    {
        sizes->apart[at] = apart;
        sizes->mm[at] = mm;
    }
}

/// A size of one more plate, with the interval that holds it: the mean of the nearest ones, and how they scatter.
static rlv_interval next_of(const nearest_sizes* sizes)
{
    if (sizes->count < LEAST)
        return UNTOLD;
    const double n = (double)sizes->count;
    double mean = 0.0, squares = 0.0;
    for (size_t i = 0; i < sizes->count; i++)
        mean += sizes->mm[i] / n;
    for (size_t i = 0; i < sizes->count; i++)
        squares += (sizes->mm[i] - mean) * (sizes->mm[i] - mean);
    const double half = gsl_cdf_tdist_Pinv(0.975, n - 1.0) * sqrt(squares / (n - 1.0) * (1.0 + 1.0 / n));
    return (rlv_interval){mean, fmax(mean - half, 0.0), mean + half};
}

/// Length, width and thickness of a plate at a place of a row; NaN each where fewer than three were measured.
static void sizes_at(rlv_interval size_mm[3], const history_articulation* a, const rlv_unfilled* life)
{
    nearest_sizes sizes[3] = {0};
    for (size_t i = 0; i < a->given_count; i++)
    {
        const int place = a->fit.element[i].place;
        const rlv_element* told = &a->elements->one[a->element_of[i]].told;
        const double mm[3] = {told->length_mm.value, told->width_mm.value, told->thickness_mm.value};
        for (int k = 0; k < 3 && a->given[i].row == life->row && place != INT_MIN; k++)
            if (isfinite(mm[k]))
                add_size(&sizes[k], abs(place - life->place), mm[k]);
    }
    for (int k = 0; k < 3; k++)
        size_mm[k] = next_of(&sizes[k]);
}

// --- how far a plate reaches -----------------------------------------------------------------------------------------

static double reach_of(const rlv_mat3* frame, const rlv_interval size_mm[3], rlv_vec3 way)
{
    double reach = 0.0;
    for (int k = 0; k < 3; k++)
        reach += 0.5 * size_mm[k].value * fabs(rlv_vec3_dot(rlv_mat3_column(*frame, k), way));
    return reach;
}

rlv_interval articulation_plate_reach(const rlv_mat3* frame, const rlv_interval size_mm[3], double turn_sd_deg,
                                      rlv_vec3 way)
{
    const double reach = reach_of(frame, size_mm, way);
    double less = 0.0, more = 0.0;
    for (int k = 0; k < 3; k++)
    {
        const double along = 0.5 * fabs(rlv_vec3_dot(rlv_mat3_column(*frame, k), way));
        less += pow(along * (size_mm[k].value - size_mm[k].low), 2);
        more += pow(along * (size_mm[k].high - size_mm[k].value), 2);
    }
    for (int k = 0; k < 3; k++) // turned about each axis, either way: the reach has a kink where a side lies square
    {
        const double turn = RLV_HALF_95 * turn_sd_deg * RADIAN;
        double off = 0.0;
        for (int sign = -1; sign <= 1; sign += 2)
        {
            const rlv_vec3 about =
                rlv_vec3_of(k == 0 ? sign * turn : 0.0, k == 1 ? sign * turn : 0.0, k == 2 ? sign * turn : 0.0);
            const rlv_mat3 turned = rlv_mat3_multiply(rlv_rotation_from_vector(about), *frame);
            off = fmax(off, fabs(reach_of(&turned, size_mm, way) - reach));
        }
        less += off * off;
        more += off * off;
    }
    return (rlv_interval){reach, fmax(reach - sqrt(less), 0.0), reach + sqrt(more)};
}

/// The same at a life position by the attitude in life of the elements held on either side of it: the mean of what each
/// tells, and by how much they differ.
static rlv_interval reach_at(const history_articulation* a, const rlv_unfilled* life, const rlv_interval size_mm[3],
                             rlv_vec3 way)
{
    rlv_interval told[2];
    size_t count = 0;
    for (int side = -1; side <= 1; side += 2)
    {
        const size_t beside = articulation_held_beside(a, life->row, life->place, side, false);
        if (beside == SIZE_MAX || !isfinite(a->fit.element[beside].life_frame.m[0]))
            continue;
        told[count++] = articulation_plate_reach(&a->fit.element[beside].life_frame, size_mm, a->fit.scatter_deg, way);
    }
    if (count == 0)
        return UNTOLD;
    const rlv_interval one = told[0], other = told[count - 1];
    const double reach = (one.value + other.value) / 2.0, apart = fabs(one.value - other.value) / 2.0,
                 less = fmax(one.value - one.low, other.value - other.low),
                 more = fmax(one.high - one.value, other.high - other.value);
    return (rlv_interval){reach, fmax(reach - hypot(less, apart), 0.0), reach + hypot(more, apart)};
}

rlv_interval articulation_shallower(rlv_interval depth_mm, rlv_interval reach_mm)
{
    const double at = depth_mm.value - reach_mm.value;
    return (rlv_interval){at, at - hypot(depth_mm.value - depth_mm.low, reach_mm.high - reach_mm.value),
                          at + hypot(depth_mm.high - depth_mm.value, reach_mm.value - reach_mm.low)};
}

articulation_edge articulation_nearest_edge(const history_articulation* a, size_t unfilled)
{
    const rlv_unfilled* life = &a->fit.unfilled[unfilled];
    const history_unfilled* u = &a->unfilled[unfilled];
    articulation_edge edge = {.depth_mm = UNTOLD, .most_mm = (double)NAN};
    rlv_interval size_mm[3];
    sizes_at(size_mm, a, life);
    if (!isfinite(size_mm[0].value + size_mm[1].value) ||
        (u->where != HISTORY_IN_ROCK && u->where != HISTORY_PROBABLY_IN_ROCK))
        return edge;
    if (!isfinite(size_mm[2].value)) // what is not known adds nothing, and the words say so
        size_mm[2] = (rlv_interval){0.0, 0.0, 0.0};
    edge.most_mm = 0.5 * fmax(size_mm[0].value, size_mm[1].value);
    const rlv_interval reach_mm = reach_at(a, life, size_mm, u->way);
    if (isfinite(reach_mm.value))
        edge.depth_mm = articulation_shallower(u->depth_mm, reach_mm);
    return edge;
}
