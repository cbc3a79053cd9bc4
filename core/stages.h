/// One block frame for all stages: a graph of poses, not a chain.
///
/// Every pair of stages that was aligned is an edge; the frame stage stays where it is, and every other stage gets the
/// pose that suits all edges best, by least squares on the manifold of similarity motions (Gauss and Newton's method,
/// perturbed on the left; G. Grisetti, R. Kuemmerle, C. Stachniss, W. Burgard, A tutorial on graph-based SLAM, IEEE
/// Intelligent Transportation Systems Magazine 2, 2010). It starts from the tree of the surest chains of edges (E. W.
/// Dijkstra, Numerische Mathematik 1, 1959) and goes on until a step is rounding.
///
/// Scale. The log of stage k's scale against the truth, u_k, has a prior of sd s_k (0: exact). In the block frame a
/// stage's scale is u_k - u_frame, so that the prior of all stages' scales is s_frame^2 1 1' + diag(s_k^2). An edge
/// that was aligned under a prior holds it in its covariance and in its scale: both are taken out again (the edge's
/// quadratic form less that of its prior), and each stage's prior counts once.
///
/// What neighbouring edges share. Edges (k, k + 1) and (k, k + 2) both look at stage k: its noise and warp enter both,
/// with one sign where k is the edge's first stage and the other where it is the second. Two extremes hold what can be:
///
/// - *edge errors*: nothing is shared. Then more edges make a stage surer, and least squares' own covariance is right.
/// - *stage errors*: each stage has one error, a_k, and edge (i, j) is off by a_j - a_i. Then every loop closes, and
///   the error of stage k is a_k - a_frame, however many edges there are. A chain's covariance under edge errors holds
///   that and the errors of its inner stages twice over: it is a bound from above. It is also one for least squares
///   under edge errors, which takes that chain and more.
///
/// So a stage's covariance is never told below that of its surest chain from the frame, taken by itself. More
/// edges better the pose, show what does not close, and never shrink what is told below that. Where scales' priors
/// are weighed against edges that were counted as independent, a chain does not bound stage errors: there the
/// covariance of the solution itself is taken, each edge's error split in halves between its two stages and each
/// stage's half the same in all its edges. What is told is the least covariance above both (in the frame where one
/// is the unit matrix, the larger of both along each principal direction). A mixture of the extremes is a mean
/// of the two covariances, and lies below it too.
///
/// Where nothing can be shared, since each edge was measured on surfaces that no other looks at, `nothing_shared` says
/// so, and least squares' own covariance is told.
///
/// Simulated with six stages, eleven edges and full covariances, the sds told are 1.0 to 1.3 times the true ones under
/// stage errors, 1.2 to 1.4 times where half is shared, and 1.4 to 1.7 times under edge errors.
///
/// Closures. What a stage is off by in all of its edges alike (its warp, as the motion that least squares finds over
/// the whole surface) falls out of every loop, so that no loop can show it and closures must not be excused by it.
/// Where an edge says which part of its covariance is its own, all that is tested below is held against that part
/// alone, with each stage's scale as free as its edges share it to be; poses and what is told of their covariances
/// still come from the whole. In a simulation of eleven edges of six stages with a twentieth of the variance their own,
/// an edge that is off by twelve of its own sds (under three of all) is found, and p-values of sound graphs are even;
/// held against the whole covariance no such edge is found and p is above 0.99.
///
/// Wrong edges. The chi-square distance of an edge is what the whole misfit falls by where it is left out. While the
/// greatest has a p-value below 0.001 over the number of edges tried, and leaving out that edge mends the misfit by
/// more than leaving out any other would (by 18.5, which chi-square with seven degrees of freedom passes once in 100),
/// it is rejected: marked, left out, and its distance from the others still told. A rejected edge that fits the final
/// graph is taken back. Where several edges would mend it equally, as in a single loop, none is rejected: all are
/// marked as suspects. Where what is left still does not fit (p below 0.05), the edges' own covariances are multiplied
/// by chi-square over its degrees of freedom (R. T. Birge, Phys. Rev. 40, 1932).

#ifndef RLV_STAGES_H
#define RLV_STAGES_H

#include "error.h"
#include "pose.h"

#include <stdbool.h>

#define RLV_STAGES_WRONG_P 0.001 ///< an edge is wrong where it is rarer than this, over the number of edges tried
#define RLV_STAGES_MARGIN 18.475306906582357 ///< and leaving it out mends this much more than another: see above
#define RLV_STAGES_MISFIT_P 0.05             ///< the misfit is too large where it is rarer than this

/// Two stages that were aligned.
typedef struct rlv_stage_edge
{
    size_t into, from;         ///< `pose` carries stage `from`'s coordinates into stage `into`'s
    rlv_pose pose;             ///< with its covariance; its last row nothing where scale is certain
    double scale_prior_sd;     ///< of the prior of log scale that `pose` holds already (mean 0); 0: it holds none
    double own_covariance[49]; ///< the part of the pose's covariance that no other edge of its stages has a share in,
                               ///< no prior of scale in it; all nothing: the whole
} rlv_stage_edge;

typedef struct rlv_stages_options
{
    size_t stage_count;
    size_t frame;            ///< the stage whose coordinates are the block frame
    const double* scale_sd;  ///< one a stage: relative sd of its scale; 0: exact. NULL: all exact
    const char* const* name; ///< one a stage, for messages; NULL: they are numbered from 1
    double reach_mm;         ///< half the block's length: weighs turns and scale against shifts (above 0)
    bool nothing_shared;     ///< no edge's error is in another, as of joints each of two faces of its own: covariances
                             ///< are then least squares' own, and no bounds
} rlv_stages_options;

/// How far poses that ought to agree do not.
typedef struct rlv_closure
{
    double shift_mm;  ///< at the edge's centre
    double turn_deg;  ///< the angle
    double log_scale; ///< signed: the edge's (or the loop's) scale over what it ought to be
    double distance;  ///< chi-square; NaN where nothing else reaches, so that it cannot be checked
    int freedom;      ///< its degrees of freedom: 7, or 6 where the edge says nothing about scale
    double p;         ///< of as much or more; NaN with it
} rlv_closure;

typedef struct rlv_edge_closure
{
    rlv_closure closure; ///< the edge's own pose against what the solved graph of closures says
    bool rejected;       ///< left out of the solution
    bool suspect;        ///< one of several edges of which one must be wrong, and none can be told
} rlv_edge_closure;

/// An independent loop: an edge outside the tree of surest chains, and the way back through the tree.
typedef struct rlv_loop_closure
{
    size_t edge;         ///< the one outside the tree
    size_t stage_count;  ///< stages on the loop
    const size_t* stage; ///< in order, from the edge's `from` along the tree to its `into`; in rlv_stages' memory
    rlv_closure closure; ///< the edge against the way back
} rlv_loop_closure;

typedef struct rlv_stages
{
    size_t stage_count, edge_count, loop_count;
    rlv_pose* pose; ///< one a stage: carries it into the block frame. Covariances are perturbed on the left at one
                    ///< centre for all, the mean of the images of the accepted edges' centres. The frame stage's is the
                    ///< identity, its covariance nothing
    size_t* chain;  ///< one a stage: edges of its surest chain from the frame
    rlv_edge_closure* edge; ///< one an edge
    rlv_loop_closure* loop; ///< edge_count - stage_count + 1 of them, by rising edge
    size_t* loop_stage;     ///< what the loops' `stage` point into
    size_t rejected;        ///< how many edges were
    bool contradictory;     ///< edges contradict each other, and it cannot be told which is wrong: see `suspect`
    double chi_square;      ///< of the accepted edges and the scales' priors
    double freedom;         ///< its degrees of freedom; 0 where there is no loop and no scale to check
    double p;               ///< NaN where freedom is 0
    bool inflated;          ///< the edges' own covariances have been multiplied by chi_square / freedom
} rlv_stages;

/// Join the stages. RLV_BAD_INPUT where an index, an sd or a pose is not one, an edge's covariance is not positive
/// definite (but for the scale's row), or an edge's scale is certain where its stages' is not, or certain and not 1.
/// RLV_IMPOSSIBLE where the edges do not join all stages: the error names those that the frame stage does not reach.
/// Free with rlv_stages_free, which is safe after a failure.
rlv_status rlv_stages_join(rlv_stages* stages, size_t edge_count, const rlv_stage_edge* edge,
                           const rlv_stages_options* options, rlv_error* error);
void rlv_stages_free(rlv_stages* stages);

#endif
