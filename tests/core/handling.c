#include "handling.h"

#include <criterion/criterion.h>
#include <math.h>

static const rlv_vec3 joint = {40.0, -20.0, 15.0}, normal = {0.0, 0.0, 1.0};

/// From nowhere by a shift and a turn about the joint's middle.
static rlv_handling handled(rlv_vec3 shift_mm, rlv_vec3 turn_deg)
{
    const rlv_pose from = rlv_pose_identity();
    const double small[7] = {shift_mm.x,
                             shift_mm.y,
                             shift_mm.z,
                             turn_deg.x * M_PI / 180.0,
                             turn_deg.y * M_PI / 180.0,
                             turn_deg.z * M_PI / 180.0,
                             0.0};
    const rlv_pose to = rlv_pose_nudge(&from, joint, small);
    return rlv_handling_of(&from, &to, joint, normal);
}

Test(handling, a_shift_is_pressed_and_slid)
{
    const rlv_handling motion = handled(rlv_vec3_of(0.3, -0.4, -1.2), rlv_vec3_of(0, 0, 0));
    cr_expect_float_eq(motion.press_mm.value, 1.2, 1e-12);
    cr_expect_float_eq(motion.slide_mm.value, 0.5, 1e-12);
    cr_expect_float_eq(motion.slide.x, 0.6, 1e-12);
    cr_expect_float_eq(motion.slide.y, -0.8, 1e-12);
    cr_expect_float_eq(motion.twist_deg.value, 0.0, 1e-12);
    cr_expect_float_eq(motion.rock_deg.value, 0.0, 1e-12);
}

Test(handling, what_goes_off_the_block_is_pressed_below_zero)
{
    cr_expect_float_eq(handled(rlv_vec3_of(0, 0, 0.7), rlv_vec3_of(0, 0, 0)).press_mm.value, -0.7, 1e-12);
}

// From above, x to the right and y upwards, a turn from x to y runs against the clock.
Test(handling, a_twist_is_told_as_one_looks_at_the_block)
{
    cr_expect_float_eq(handled(rlv_vec3_of(0, 0, 0), rlv_vec3_of(0, 0, -2.0)).twist_deg.value, 2.0, 1e-9);
    cr_expect_float_eq(handled(rlv_vec3_of(0, 0, 0), rlv_vec3_of(0, 0, 2.0)).twist_deg.value, -2.0, 1e-9);
}

// Checked by moving a point of the piece that lies on that side.
Test(handling, the_side_that_a_rock_tells_goes_in)
{
    for (int k = 0; k < 8; k++)
    {
        const double angle = k * M_PI / 4.0;
        const rlv_pose from = rlv_pose_identity();
        const double small[7] = {0, 0, 0, 0.02 * cos(angle), 0.02 * sin(angle), 0.0, 0.0};
        const rlv_pose to = rlv_pose_nudge(&from, joint, small);
        const rlv_handling motion = rlv_handling_of(&from, &to, joint, normal);
        const rlv_vec3 side = rlv_vec3_along(joint, 10.0, motion.rock);
        cr_expect_float_eq(motion.rock_deg.value, 0.02 * 180.0 / M_PI, 1e-9);
        cr_expect_float_eq(rlv_pose_apply(&to, side).z - side.z, -10.0 * sin(0.02), 1e-9);
    }
}

Test(handling, intervals_hold_both_poses)
{
    rlv_pose from = rlv_pose_identity(), to = rlv_pose_identity();
    from.centre_mm = to.centre_mm = joint;
    from.covariance[8 * 2] = 0.09; // sd 0.3 and 0.4 along the normal: 0.5 together
    to.covariance[8 * 2] = 0.16;
    to.covariance[8 * 5] = 0.01 * 0.01;
    const rlv_handling motion = rlv_handling_of(&from, &to, joint, normal);
    cr_expect_float_eq(motion.press_mm.high, RLV_HALF_95 * 0.5, 1e-12);
    cr_expect_float_eq(motion.press_mm.low, -RLV_HALF_95 * 0.5, 1e-12);
    cr_expect_float_eq(motion.twist_deg.high, RLV_HALF_95 * 0.01 * 180.0 / M_PI, 1e-12);
    cr_expect_eq(motion.slide_mm.low, 0.0);
}
