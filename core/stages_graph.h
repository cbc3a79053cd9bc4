/// The graph beneath rlv_stages: its surest chains, its least squares, and the covariances of both.
///
/// Every stage is perturbed on the left at one common centre in the block frame, by seven numbers in millimetres:
/// shift, reach times rotation vector, reach times log scale. There an edge sees only the difference of its two stages'
/// perturbations, and the normal matrix is a graph's Laplacian with blocks for weights.

#ifndef RLV_STAGES_GRAPH_H
#define RLV_STAGES_GRAPH_H

#include "stages.h"

#define RLV_GRAPH_NONE ((size_t)-1)

/// An edge, ready to be counted.
typedef struct rlv_graph_edge
{
    size_t into, from;
    rlv_pose pose;
    double information[49]; ///< inverse of its covariance, in the seven numbers; the last row 0 where scale is certain
    double prior_per_mm2;   ///< information of the scale's prior that it holds
    double constant;        ///< what its quadratic form lies below a misfit by, once that prior is out
    int freedom;            ///< 7, or 6 where it says nothing about scale
    double cost_mm2;        ///< mean square displacement over a ball of the reach
} rlv_graph_edge;

/// The stages' poses as they stand, and room to better them.
typedef struct rlv_graph
{
    size_t stage_count, edge_count, root;
    double reach_mm;
    rlv_graph_edge* edge;
    double* scale_sd; ///< one a stage
    rlv_vec3 centre_mm;
    rlv_pose* pose;    ///< one a stage, into the root's frame
    double* own_scale; ///< one a stage: u, the log of its scale against the truth
    size_t* via;       ///< one a stage: the edge of the tree that reaches it; RLV_GRAPH_NONE: the root, or not reached
    double* cost_mm2;  ///< one a stage: of its chain
    size_t* order;     ///< stages in the order in which the tree reaches them
    size_t reached;    ///< how many
    size_t* shift;     ///< one a stage: its first column (of six); RLV_GRAPH_NONE: the root, or not reached
    size_t* scale;     ///< one a stage: the column of its own scale; RLV_GRAPH_NONE: exact, or not reached
    size_t columns;
    double* room; ///< a matrix and a vector of 7 * stage_count
} rlv_graph;

/// Room for a graph in a zeroed `graph`; edges and sds are the caller's to fill. Free with rlv_graph_free.
rlv_status rlv_graph_make(rlv_graph* graph, size_t stage_count, size_t edge_count, rlv_error* error);
void rlv_graph_free(rlv_graph* graph);

/// The tree of surest chains from `root` over the edges with `active` set, and the poses along it.
void rlv_graph_grow(rlv_graph* graph, const bool* active, size_t root);

/// The other end of an edge.
size_t rlv_graph_across(const rlv_graph_edge* edge, size_t stage);

/// Grow, then solve. Returns the misfit (chi-square) of the active edges that the root reaches and of their stages'
/// priors.
double rlv_graph_solve(rlv_graph* graph, const bool* active, size_t root);

/// The motion from what the graph says to what the edge says, about the edge's centre: shift, rotation vector, log
/// scale.
void rlv_graph_residual(double residual[7], const rlv_graph* graph, size_t edge);

/// The covariances that are told (49 numbers a stage, as a pose's, about graph->centre_mm; the root's are left alone),
/// for the solution of the active edges as it stands: bounds of what neighbouring edges may share, or, where
/// `nothing_shared`, least squares' own. The tree must reach all stages.
rlv_status rlv_graph_covariances(double* covariance, const rlv_graph* graph, const bool* active, bool nothing_shared,
                                 rlv_error* error);

#endif
