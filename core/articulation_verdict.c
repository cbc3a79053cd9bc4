#include "articulation_tell.h"
#include "directions.h"

/// What the words mean (rlv_articulation_word).
static const double LEAST_IN_PLACE = 0.75, LEAST_NEAR = 0.75, NEAR_OF_BODY = 0.2;

rlv_vec3 rlv_articulation_motion_from(const rlv_unfilled* life, const rlv_placed_element* element)
{
    const double* at = element->element.position_mm;
    return rlv_vec3_sub(rlv_vec3_of(at[0], at[1], at[2]), life->position_mm);
}

/// The errors of both, and natural scatter.
static void covariance_of_both(double covariance[9], const rlv_unfilled* life, const rlv_placed_element* element)
{
    for (int k = 0; k < 9; k++)
        covariance[k] = life->covariance_mm2[k] + element->element.position_cov_mm2[k] + element->covered_cov_mm2[k];
}

rlv_interval rlv_articulation_distance_from(const rlv_unfilled* life, const rlv_placed_element* element)
{
    const rlv_vec3 off = rlv_articulation_motion_from(life, element);
    double covariance[9];
    covariance_of_both(covariance, life, element);
    const double far = rlv_vec3_length(off),
                 half = sqrt(life->radius2 / 3.0 * rlv_variance_along(covariance, rlv_vec3_unit(off)));
    return (rlv_interval){far, fmax(far - half, 0.0), far + half};
}

/// Whether an element may lie in life position there: inside the 95 % region, its own errors with it.
static bool may_lie_at(const rlv_placed_element* element, const rlv_unfilled* life)
{
    const rlv_vec3 off = rlv_articulation_motion_from(life, element);
    double covariance[9], variance[3], sum = 0.0;
    rlv_vec3 axis[3];
    covariance_of_both(covariance, life, element);
    if (rlv_principal_axes(variance, axis, covariance, NULL) != RLV_DONE)
        return true;
    for (int k = 0; k < 3; k++)
        sum += pow(rlv_vec3_dot(off, axis[k]), 2.0) / variance[k];
    return sum <= life->radius2;
}

/// Tell what lies off its row from what may have more than one place in it.
static void tell_nearest(rlv_articulated* told, const rlv_articulation* a, const rlv_placed_element* element)
{
    told->why = RLV_OFF_ROW;
    for (size_t i = 0; i < a->unfilled_count; i++)
    {
        const rlv_unfilled* life = &a->unfilled[i];
        if (life->row != element->row || life->place < element->place_low || life->place > element->place_high)
            continue;
        if (may_lie_at(element, life))
            told->why = RLV_WITHOUT_PLACE;
        const rlv_interval distance_mm = rlv_articulation_distance_from(life, element);
        if (told->nearest == SIZE_MAX || distance_mm.value < told->nearest_mm.value)
            told->nearest = i, told->nearest_mm = distance_mm;
    }
}

void rlv_articulation_tell_nearest(rlv_articulation* a, const rlv_placed_element* element)
{
    for (size_t i = 0; i < a->count; i++)
        if (a->element[i].why == RLV_ROW_UNUSED && a->row[element[i].row].used)
            tell_nearest(&a->element[i], a, &element[i]);
}

/// The effective number of `all` elements.
static double effective_of(const rlv_articulation* a, double all)
{
    double squares = all;
    for (size_t g = 0; g < a->group_count; g++)
    {
        const double of = (double)a->group[g].count;
        squares += of * of - of;
    }
    return all * all / squares;
}

rlv_interval rlv_articulation_share_tested(const rlv_articulation* a, size_t untested)
{
    const double tested = (double)(a->verdict.judged + a->verdict.off_row - untested);
    if (!(tested > 0.0))
        return rlv_articulation_share(0.0, 0.0);
    const double effective = effective_of(a, tested);
    return rlv_articulation_share((double)(a->verdict.in_place - untested) / tested * effective, effective);
}

rlv_articulation_verdict rlv_articulation_judge(const rlv_articulation* a)
{
    const double near_mm = NEAR_OF_BODY * rlv_body_axis_length_mm(&a->axis);
    rlv_articulation_verdict v = {0};
    size_t near = 0;
    for (size_t i = 0; i < a->count; i++)
    {
        const rlv_articulated* one = &a->element[i];
        const bool told = one->state != RLV_UNASSIGNED, off_row = !told && one->why == RLV_OFF_ROW;
        v.judged += told;
        v.off_row += off_row;
        v.in_place += one->state == RLV_IN_PLACE;
        near += told ? one->motion.shift_mm.value < near_mm : off_row && one->nearest_mm.value < near_mm;
    }
    const double all = (double)(v.judged + v.off_row), share = all > 0.0 ? (double)v.in_place / all : 0.0;
    v.effective = effective_of(a, all);
    v.share = rlv_articulation_share(share * v.effective, v.effective);
    v.word = share >= LEAST_IN_PLACE            ? RLV_ARTICULATED
             : (double)near >= LEAST_NEAR * all ? RLV_ASSOCIATED
                                                : RLV_ISOLATED;
    v.sure = v.word == RLV_ARTICULATED ? v.share.low >= LEAST_IN_PLACE : v.share.high < LEAST_IN_PLACE;
    return v;
}
