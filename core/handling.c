#include "handling.h"

#include <math.h>

/// The standard deviation of a vector along a direction.
static double sd_along(const double covariance[9], rlv_vec3 way)
{
    const double along[3] = {way.x, way.y, way.z};
    double variance = 0.0;
    for (int k = 0; k < 9; k++)
        variance += along[k / 3] * along[k % 3] * covariance[k];
    return sqrt(fmax(variance, 0.0));
}

/// A part of a vector that has a sign, in `unit` of it.
static rlv_interval part_along(rlv_vec3 v, const double covariance[9], rlv_vec3 way, double unit)
{
    const double value = unit * rlv_vec3_dot(v, way), half = unit * RLV_HALF_95 * sd_along(covariance, way);
    return (rlv_interval){value, value - half, value + half};
}

/// The length of what of a vector lies in a plane, and which way it is.
static rlv_interval part_across(rlv_vec3 v, const double covariance[9], rlv_vec3 normal, double unit, rlv_vec3* way)
{
    const rlv_vec3 across = rlv_vec3_along(v, -rlv_vec3_dot(v, normal), normal);
    *way = rlv_vec3_unit(across);
    rlv_interval part = part_along(v, covariance, *way, unit);
    part.low = fmax(part.low, 0.0);
    return part;
}

rlv_handling rlv_handling_of(const rlv_pose* from, const rlv_pose* to, rlv_vec3 joint_mm, rlv_vec3 normal)
{
    const rlv_pose back = rlv_pose_inverse(from);
    const rlv_vec3 shift = rlv_vec3_sub(rlv_pose_apply(to, rlv_pose_apply(&back, joint_mm)), joint_mm),
                   turn = rlv_rotation_to_vector(rlv_mat3_multiply(to->rotation, back.rotation)),
                   home = rlv_vec3_scale(normal, -1.0);
    double of_shift[9], of_turn[9], other[9];
    rlv_pose_covariance_at(from, joint_mm, of_shift);
    rlv_pose_covariance_at(to, joint_mm, other);
    for (int k = 0; k < 9; k++)
    {
        const int at = 7 * (3 + k / 3) + 3 + k % 3;
        of_shift[k] += other[k];
        of_turn[k] = from->covariance[at] + to->covariance[at];
    }
    rlv_handling motion;
    rlv_vec3 axis;
    motion.press_mm = part_along(shift, of_shift, home, 1.0);
    motion.slide_mm = part_across(shift, of_shift, normal, 1.0, &motion.slide);
    motion.twist_deg = part_along(turn, of_turn, home, 180.0 / M_PI);
    motion.rock_deg = part_across(turn, of_turn, normal, 180.0 / M_PI, &axis);
    // A turn moves what lies at d by axis x d: into the block, against the normal, where d is axis x normal.
    motion.rock = rlv_vec3_cross(axis, normal);
    return motion;
}
