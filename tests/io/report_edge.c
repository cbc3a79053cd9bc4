#include "report_articulation_parts.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(report_edge);

static const rlv_vec3 down = {0, 0, -1};

/// A frame whose long axis is x, and whose width falls by an angle towards z.
static rlv_mat3 tilted(double deg)
{
    return rlv_rotation_from_vector(rlv_vec3_of(deg * M_PI / 180.0, 0, 0));
}

Test(report_edge, a_tilted_plate_reaches_as_far_as_its_width_and_thickness_stand_up)
{
    const rlv_interval size[3] = {{20, 20, 20}, {10, 10, 10}, {2, 2, 2}};
    // Half of 10 mm by the sine of the tilt, and half of 2 mm by its cosine; the length lies level.
    const double tilt[] = {0, 30, 60, 90};
    for (size_t i = 0; i < 4; i++)
    {
        const rlv_mat3 frame = tilted(tilt[i]);
        const rlv_interval reach = articulation_plate_reach(&frame, size, 0.0, down);
        const double of = tilt[i] * M_PI / 180.0, expected = 5.0 * sin(of) + cos(of);
        cr_expect_float_eq(reach.value, expected, 1e-9, "%g: %g", tilt[i], reach.value);
        cr_expect_float_eq(reach.low, expected, 1e-9);
        cr_expect_float_eq(reach.high, expected, 1e-9);
    }
}

Test(report_edge, what_is_unsure_of_its_sizes_and_its_attitude_widens_the_reach)
{
    // The width is 10 mm, 2 mm more or less; on edge that is 1 mm of reach.
    const rlv_interval size[3] = {{0, 0, 0}, {10, 8, 12}, {0, 0, 0}};
    const rlv_mat3 on_edge = tilted(90), flat = tilted(0);
    rlv_interval reach = articulation_plate_reach(&on_edge, size, 0.0, down);
    cr_expect_float_eq(reach.low, 4.0, 1e-9);
    cr_expect_float_eq(reach.high, 6.0, 1e-9);
    // A flat plate that may be turned by 10 degrees reaches up to the sine of 19.6 degrees of half its width.
    const rlv_interval sure[3] = {{0, 0, 0}, {10, 10, 10}, {0, 0, 0}};
    reach = articulation_plate_reach(&flat, sure, 10.0, down);
    cr_expect_float_eq(reach.value, 0.0, 1e-9);
    cr_expect_float_eq(reach.high, 5.0 * sin(RLV_HALF_95 * 10.0 * M_PI / 180.0), 1e-9);
    cr_expect_eq(reach.low, 0.0, "no plate reaches less than its middle");
}

Test(report_edge, what_reaches_higher_lies_shallower_by_both_errors)
{
    // 4 and 3 make 5.
    const rlv_interval edge = articulation_shallower((rlv_interval){20, 16, 24}, (rlv_interval){6, 3, 9});
    cr_expect_float_eq(edge.value, 14.0, 1e-12);
    cr_expect_float_eq(edge.low, 9.0, 1e-12);
    cr_expect_float_eq(edge.high, 19.0, 1e-12);
}
