/// The global search: candidate poses from any attitude, without tie points.
///
/// Every key point of AFTER proposes the poses that carry it onto the key points of BEFORE that look most like it, at
/// three sizes of neighbourhood; a single pair fixes a pose. A signed distance field of BEFORE ranks them, a few
/// samples at first and more for what survives, and the best are settled on it.

#ifndef RLV_ALIGN_SEARCH_H
#define RLV_ALIGN_SEARCH_H

#include "align_field.h"
#include "align_samples.h"
#include "error.h"
#include "pose.h"
#include "tree.h"

/// A pose that may be right: local to local, as in align_refine.h.
typedef struct rlv_pose_candidate
{
    rlv_pose pose;
    double score; ///< of the field, at most 1
} rlv_pose_candidate;

#define RLV_CANDIDATES 12 ///< most that a search returns

typedef struct rlv_search
{
    const rlv_samples* before;
    const rlv_tree* before_tree;
    const rlv_samples* after;
    const rlv_tree* after_tree;
    const rlv_distance_field* field; ///< of `before`
} rlv_search;

/// Find distinct candidates, best first. Fewer than RLV_CANDIDATES, even none, where the surfaces have little in
/// common.
rlv_status rlv_search_poses(const rlv_search* search, rlv_pose_candidate candidate[RLV_CANDIDATES], size_t* count,
                            const rlv_progress* progress, rlv_error* error);

/// Settle `candidate` (count of them) on the field and keep the best distinct ones, best first. Returns how many are
/// left.
size_t rlv_search_settle(const rlv_search* search, rlv_pose_candidate* candidate, size_t count, size_t keep,
                         rlv_error* error);

/// How far apart two poses put the farthest sample of AFTER, at most.
double rlv_search_apart_mm(const rlv_samples* after, const rlv_pose* a, const rlv_pose* b);

#endif
