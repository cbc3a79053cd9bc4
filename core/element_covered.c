#include "element_parts.h"
#include "order.h"

/// An element is taken to be covered in part where it is shorter or narrower than this share of the greatest of those
/// that it is held against: five places of a row that tapers by a twentieth a place, and scatter, make no more of it.
static const double WHOLE = 0.8;

/// How steeply a plate falls from its middle to its rim, on the mean: half of one that is arched or keeled, seen by
/// itself, faces aside by as much. One sd, in radians. From memory, no source: a fifth of the width high.
static const double FLANK_RAD = 0.4;

static double value_of(rlv_interval size)
{
    return isfinite(size.value) ? size.value : 0.0;
}

static double size_of(const rlv_element* element, int k)
{
    return value_of(k == 0 ? element->length_mm : element->width_mm);
}

/// What a size lacks of another; 0 where that is little.
static double lacking(double shown, double whole)
{
    return shown > 0.0 && shown < WHOLE * whole ? whole - shown : 0.0;
}

rlv_element_covered rlv_element_covered_of(const rlv_element* element, size_t count, const rlv_element* const* alike)
{
    rlv_element_covered covered = {.partial = false};
    for (int k = 0; k < 2; k++)
    {
        double size[RLV_ELEMENT_ALIKE];
        const size_t n = count < RLV_ELEMENT_ALIKE ? count : RLV_ELEMENT_ALIKE;
        const double shown = size_of(element, k);
        for (size_t i = 0; i < n; i++)
            size[i] = size_of(alike[i], k);
        covered.usual_mm[k] = n > 0 ? rlv_median_sorting(n, size) : shown;
        covered.whole_mm[k] = n > 0 ? fmax(size[n - 1], shown) : shown;
        covered.missing_mm[k] = lacking(shown, covered.whole_mm[k]);
        covered.less_mm[k] = lacking(shown, covered.usual_mm[k]);
        covered.partial |= covered.missing_mm[k] > 0.0;
    }
    return covered;
}

/// Add to a covariance what varies so much along each axis of the element's frame.
static void add_along(double covariance[9], const rlv_element* element, const double variance[3])
{
    for (int axis = 0; axis < 3; axis++)
        for (int k = 0; k < 9; k++)
            covariance[k] += variance[axis] * element->frame[k / 3 * 3 + axis] * element->frame[k % 3 * 3 + axis];
}

/// How far the centre may be off along each axis of the frame, by what is missing of sizes: one sd. Where the frame has
/// turned with the centre its extents are not those of life: then length times width tells what is missing, which may
/// all be along the longer of them. One that is as large as the others, but turned, misses nothing.
static void find_off(double off[2], const rlv_element* element, const double whole[2], const double missing[2])
{
    const double all = whole[0] * whole[1],
                 share = all > 0.0 ? fmax(1.0 - size_of(element, 0) * size_of(element, 1) / all, 0.0) : 0.0;
    for (int k = 0; k < 2; k++)
        off[k] = 0.5 * (!element->by_centre                    ? missing[k]
                        : missing[0] > 0.0 || missing[1] > 0.0 ? share * fmax(whole[0], whole[1])
                                                               : 0.0);
}

/// Variances of turns about the axes of the frame. What is missing along one axis tilts the plate about the other: by a
/// whole flank where half is missing. Of a size that none of them has nothing is known to be missing.
static void find_turn(double turn[3], const rlv_element* element, const rlv_element_covered* covered)
{
    double off[2];
    find_off(off, element, covered->whole_mm, covered->missing_mm);
    for (int k = 0; k < 2; k++)
        turn[1 - k] = off[k] > 0.0 ? pow(FLANK_RAD * fmin(4.0 * off[k] / covered->whole_mm[k], 1.0), 2.0) : 0.0;
    turn[2] =
        element->by_centre ? pow(atan(off[0] / (0.5 * fmin(size_of(element, 0), size_of(element, 1)))), 2.0) : 0.0;
}

/// The rest of a sliver lies any way from it, by half of what is missing of the longer or of the lesser extent of a
/// whole one; where there is no other to tell these, of one as wide as it is long.
static void widen_sliver(rlv_element* element, const double whole[2])
{
    const double shown[2] = {size_of(element, 0), size_of(element, 1)};
    const double length = fmax(shown[0], shown[1]), width = fmin(shown[0], shown[1]);
    const bool alone = whole[0] == shown[0] && whole[1] == shown[1];
    const double whole_width = alone ? length : fmin(whole[0], whole[1]),
                 off = 0.5 * fmax(fmax(fmax(whole[0], whole[1]) - length, whole_width - width), 0.0);
    for (int k = 0; k < 9; k += 4)
        element->position_cov_mm2[k] += off * off;
}

static void widen(rlv_element* element, const rlv_element_covered* covered, const double whole[2],
                  const double missing[2])
{
    double off[2], turn[3];
    if (element->sliver)
        widen_sliver(element, whole);
    if (element->sliver || !covered->partial)
        return;
    find_off(off, element, whole, missing);
    find_turn(turn, element, covered);
    const double place[3] = {off[0] * off[0], off[1] * off[1], 0.0};
    add_along(element->position_cov_mm2, element, place);
    add_along(element->attitude_cov_rad2, element, turn);
}

void rlv_element_widen(rlv_element* element, const rlv_element_covered* covered)
{
    widen(element, covered, covered->whole_mm, covered->missing_mm);
}

void rlv_element_widen_in_row(rlv_element* element, const rlv_element_covered* covered)
{
    widen(element, covered, covered->usual_mm, covered->less_mm);
}
