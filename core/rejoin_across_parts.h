/// What bones and rows share on their way over a joint. Internal to rejoin_across.

#ifndef RLV_REJOIN_ACROSS_PARTS_H
#define RLV_REJOIN_ACROSS_PARTS_H

#include "rejoin_across.h"

/// What is told of a run, as numbers: mm and radians.
enum
{
    RLV_ACROSS_GAP,
    RLV_ACROSS_ACROSS,
    RLV_ACROSS_OUT,
    RLV_ACROSS_BEND_ACROSS,
    RLV_ACROSS_BEND_OUT,
    RLV_ACROSS_TWIST,
    RLV_ACROSS_NUMBERS,
};

/// Those numbers, and what they are uncertain by: for their points, and for the two poses.
typedef struct rlv_across_told
{
    double number[RLV_ACROSS_NUMBERS];
    double of_points[RLV_ACROSS_NUMBERS][RLV_ACROSS_NUMBERS], of_poses[RLV_ACROSS_NUMBERS][RLV_ACROSS_NUMBERS];
    double freedom; ///< degrees of freedom that the points' share is known with; INFINITY
} rlv_across_told;

/// Add `weight` times the outer product of a change.
void rlv_across_add(double to[RLV_ACROSS_NUMBERS][RLV_ACROSS_NUMBERS], const double change[RLV_ACROSS_NUMBERS],
                    const double other[RLV_ACROSS_NUMBERS], double weight);

#define RLV_ACROSS_UNKNOWNS 5
/// Inverse of a symmetric matrix of `n` rows, RLV_ACROSS_UNKNOWNS at most, whatever their units. False where it has
/// none.
bool rlv_across_invert(int n, const double* a, double* inverse);

/// What the numbers are of sides whose poses may be moved. False where they cannot be told.
typedef bool rlv_across_numbers(double number[RLV_ACROSS_NUMBERS], const void* of, const rlv_across_side side[2]);

/// Carry the covariance of both poses to the numbers.
bool rlv_across_poses(rlv_across_told* told, const rlv_across_side side[2], rlv_across_numbers* numbers,
                      const void* of);

/// Fill what bones and rows have in common.
void rlv_across_tell(rlv_across* across, const rlv_across_told* told);

/// Half of the 95 % interval of a number, by what variances its points and the poses bring.
double rlv_across_half(double of_points, double of_poses, double freedom);
double rlv_across_freedom(double of_points, double of_poses, double freedom); ///< of both together

/// Refuse points that are none, and say it of "block" or "piece".
rlv_status rlv_across_check(const rlv_across_side side[2], size_t least, const char* what, rlv_error* error);
rlv_status rlv_across_fail_along(rlv_error* error);

/// Axes of a run: `along` of length one, `out` about as wanted.
void rlv_across_axes(rlv_across* across, rlv_vec3 along, rlv_vec3 outward);

#endif
