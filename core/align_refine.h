/// Refinement of a pose: iterated fit from point to plane, with a robust weight that shrinks, and the pose's
/// covariance.
///
/// Point to plane after Y. Chen, G. Medioni, Object modelling by registration of multiple range images, Image and
/// Vision Computing 10, 1992; the normal is the mean of both surfaces' (S. Rusinkiewicz, A symmetric objective function
/// for ICP, 2019). A residual's weight is the probability that it belongs to surface that held still: a Gaussian about
/// zero of unknown width over an even background of change, fitted by expectation and maximisation (A. Dempster, N.
/// Laird, D. Rubin, 1977), so that the width is found even where most of the surface has gone. The covariance is a
/// sandwich over patches of surface, with the products of neighbouring patches as far as the residuals are correlated
/// (T. Conley, GMM estimation with cross sectional dependence, J. Econometrics 92, 1999).
///
/// Poses here act on AFTER's local coordinates (about its origin_mm) and lead to BEFORE's local ones.

#ifndef RLV_ALIGN_REFINE_H
#define RLV_ALIGN_REFINE_H

#include "align_samples.h"
#include "error.h"
#include "mesh.h"
#include "pose.h"
#include "tree.h"

/// What is held against what.
typedef struct rlv_refine
{
    const rlv_mesh* before;
    const rlv_tree* tree;           ///< of `before`
    const uint8_t* before_left_out; ///< one a triangle of `before`; may be NULL
    const rlv_samples* samples;     ///< of AFTER
    double scale_sd;                ///< sd of the log of the scale; 0: scale stays as it is
} rlv_refine;

/// How a pose fits.
typedef struct rlv_fit
{
    rlv_pose pose;          ///< local to local, covariance about pose.centre_mm (local to BEFORE)
    double sd_mm;           ///< sd of the residuals of surface that held still
    double rms_mm;          ///< their root mean square
    double stable_fraction; ///< share of AFTER's area that held still
    double far_sd_mm;       ///< sd of the place of the farthest sample along its least sure direction
    int slippable;          ///< independent motions that the surface does not resist
    rlv_vec3 slip_axis;     ///< direction of the weakest rotation or translation, local to BEFORE
    bool slip_turns;        ///< whether the weakest motion is rather a turn
    double gain;            ///< mean log likelihood of a sample, over that of an even spread
    double evidence;        ///< share that held times the log of how much narrower than an even spread it lies
    bool converged;
} rlv_fit;

/// Refine `fit->pose` from a misfit of about `reach_mm`, on every `stride`-th sample, for at most `rounds` rounds.
/// Fills all but the covariance and what comes of it.
rlv_status rlv_refine_pose(rlv_fit* fit, const rlv_refine* refine, double reach_mm, size_t stride, int rounds,
                           bool careful, rlv_error* error);

/// Refine on all samples from a pose that is right to about `fit->sd_mm`, leave out patches that changed, and find the
/// covariance and the slippable motions.
rlv_status rlv_refine_finish(rlv_fit* fit, const rlv_refine* refine, rlv_error* error);

#endif
