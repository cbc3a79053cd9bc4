/// One simulated break put back: what was found, beside the truth.

#ifndef RLV_TESTS_REJOINING_H
#define RLV_TESTS_REJOINING_H

#include "breaking.h"
#include "rejoin.h"

typedef struct rejoining
{
    rlv_status status;
    rlv_rejoin_verdict verdict;
    double fit, seconds;
    bool found_known;
    double found_mm, found_deg;     ///< how far the place as found is from the truth, at the joint
    double closed_mm, closed_deg;   ///< and the closed one
    double found_chi2, closed_chi2; ///< squared distance from it by its covariance, of six degrees
    rlv_interval gap_mm3, p95_mm;
    double true_gap_mm3, true_p95_mm, plan_mm2;
} rejoining;

/// How far one pose is from another at its own centre, in mm and degrees.
void rejoining_apart(const rlv_pose* pose, const rlv_pose* truth, double* mm, double* deg);

/// The squared distance of a pose from the truth by its covariance, of six degrees.
double rejoining_chi2(const rlv_pose* pose, const rlv_pose* truth);

/// Processor seconds of this process.
double rejoining_seconds(void);

/// Make a break and put it back, with the stage from before or without it. `true_p95_mm` is what the same measuring
/// tells of the true parts, without noise, in the true place.
rejoining rejoining_try(const breaking_plan* plan, bool with_before);

/// Bend a part about the line in which the planes of two of its joints meet, by `deg` from the one to the other, as a
/// piece that was mended out of shape. `place` carries it to where the joints were measured.
void rejoining_bend(rlv_mesh* mesh, const rlv_pose* place, const rlv_rejoin* one, const rlv_rejoin* two, double deg);

/// The value of `count` of which `share` are below; the list is sorted.
double rejoining_quantile(double* list, int count, double share);

#endif
