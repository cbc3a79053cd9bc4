/// The closing fit: surfaces held against one another until the gap between two of them is closed. Internal to rejoin.
///
/// Up to three bodies lie in one world: the stage from before the break, the block and the piece. The first that is
/// there is the world and stays. Point to plane from both sides of a pair (Y. Chen, G. Medioni, Object modelling by
/// registration of multiple range images, 1992), the normal the mean of both surfaces' (S. Rusinkiewicz, A symmetric
/// objective function for ICP, 2019).

#ifndef RLV_REJOIN_FIT_H
#define RLV_REJOIN_FIT_H

#include "align_samples.h"
#include "error.h"
#include "mesh.h"
#include "pose.h"
#include "tree.h"

enum
{
    RLV_FIT_BODIES = 3,
    RLV_FIT_PAIRS = 4,
    RLV_FIT_OFFSETS = 3,     ///< how far apart closed faces seem to lie: in the middle, and how that leans
    RLV_FIT_PARAMETERS = 15, ///< six of the block, six of the piece, and these
};

/// A body as it lies in the world.
typedef struct rlv_fit_body
{
    const rlv_mesh* mesh;
    const rlv_tree* tree;
    rlv_pose pose; ///< from its local coordinates to the world
    int parameter; ///< where its six begin; below zero: it stays
} rlv_fit_body;

/// Samples of one body that are held against another.
typedef struct rlv_fit_pair
{
    const rlv_samples* samples;
    int own, other;
    const uint8_t* foot; ///< one a triangle of the other: 1 where a foot may lie; NULL: anywhere
    bool face;           ///< the two face one another across a gap; else they are one surface
    double sd_mm;        ///< of the residuals where the two are one
    double info;         ///< what a sample weighs: 1 over the variance of its residual, neighbours counted
    // Of each sample, in the world:
    rlv_vec3* at;
    rlv_vec3* normal;    ///< outward of the other body
    double* residual_mm; ///< positive where the gap is open, or the sample stands out; NaN without a foot
    double* weight;
    uint8_t* stirred; ///< 1 where what was taken off lies so near that it may have thinned the surface
} rlv_fit_pair;

typedef struct rlv_fit_problem
{
    rlv_fit_body body[RLV_FIT_BODIES];
    rlv_fit_pair pair[RLV_FIT_PAIRS];
    size_t pair_count;
    size_t stride;                     ///< only every so many samples are looked at; 0: all
    int parameters;                    ///< 6 or 12
    rlv_vec3 along[2];                 ///< two directions along the joint, at right angles, of length one
    double offset_mm[RLV_FIT_OFFSETS]; ///< how far apart the closed faces seem to lie: in the middle, and what is added
                                       ///< radius_mm further on along either direction
    double offset_sd_mm;               ///< and how far each may, for wear and grains alone
    rlv_vec3 centre_mm;                ///< that turns are about
    double radius_mm;                  ///< that turns are measured with
} rlv_fit_problem;

/// A gap stops pulling at so many sds, a penetration resists up to so many.
#define RLV_FIT_GAP_SDS 2.0
#define RLV_FIT_PENETRATION_SDS 4.0
#define RLV_FIT_WINDOW_SDS 8.0 ///< residuals are looked at within so many sds of those to begin with
#define RLV_FIT_WIDEST_SDS 2.0 ///< and the sd found is held below so many: one that comes there is of no peak at all
#define RLV_FIT_PATCH_MM 8.0   ///< side of the patches whose means are taken for independent, about

/// Add a pair; its work arrays are the problem's. Free with rlv_fit_free, which is safe after a failure.
rlv_status rlv_fit_add(rlv_fit_problem* problem, const rlv_fit_pair* pair, rlv_error* error);
void rlv_fit_free(rlv_fit_problem* problem);

/// Measure every residual within `reach_mm`.
rlv_status rlv_fit_measure(rlv_fit_problem* problem, double reach_mm, rlv_error* error);

/// Close the gap: from a misfit of about `start_mm` down to the noise of the first pair.
rlv_status rlv_fit_close(rlv_fit_problem* problem, double start_mm, rlv_error* error);

/// What share of a pair's samples weighs.
double rlv_fit_share(const rlv_fit_pair* pair);

/// The sd of a residual between the two faces where they are one, as last measured: what is left within the quietest
/// quarter of the patches.
rlv_status rlv_fit_noise(double* noise_mm, const rlv_fit_problem* problem, rlv_error* error);

/// The covariance over the parameters (12 x 12, row by row, as many as there are; turns in radians), by a cluster
/// sandwich. False where the surfaces hold nothing.
bool rlv_fit_covariance(const rlv_fit_problem* problem, double* covariance, rlv_error* error);

// What its two rooms share

/// How much each offset adds to the width that a pair's sample is expected to show.
void rlv_fit_offsets(double share[RLV_FIT_OFFSETS], const rlv_fit_problem* problem, const rlv_fit_pair* pair, size_t i);

/// A residual as the fit sees it: less how far apart closed faces seem to lie.
double rlv_fit_left_over(const rlv_fit_problem* problem, const rlv_fit_pair* pair, size_t i);

/// How a residual changes with all parameters: those of the bodies, then the offsets.
void rlv_fit_gradient(double gradient[RLV_FIT_PARAMETERS], const rlv_fit_problem* problem, const rlv_fit_pair* pair,
                      size_t i);

/// Inverse of a symmetric matrix of `n` rows, its eigenvalues held above a share of the greatest.
bool rlv_fit_invert(int n, const double* a, double share, double* inverse);

/// Set what a sample of each pair weighs, from the scatter of the means of patches: variance of a mean times its area.
rlv_status rlv_fit_weigh_patches(rlv_fit_problem* problem, rlv_error* error);

#endif
