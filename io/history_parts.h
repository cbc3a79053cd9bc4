/// What the files behind history.h share.

#ifndef RLV_HISTORY_PARTS_H
#define RLV_HISTORY_PARTS_H

#include "history.h"

/// Read the mesh of a stage, with its scale and its parts, and take its support out, into a zeroed `stage`.
rlv_status history_read_stage(history_stage* stage, const rlv_specimen* specimen, const rlv_stage_record* record,
                              rlv_answer* answer, rlv_error* error);
void history_free_stage(history_stage* stage);

/// Make the step from stage k to the next ready: its hours, its pieces and the parts of its triangles, with a warning
/// where a piece is not told of by a mask.
rlv_status history_prepare_step(rlv_history* history, size_t k, rlv_answer* answer, rlv_error* error);

/// Measure a step that was made ready, and its edge. One that cannot be measured is done, and says so. Steps and edges
/// may be measured side by side.
rlv_status history_measure_step(const rlv_history* history, history_step* step, history_edge* edge,
                                const rlv_progress* progress, rlv_error* error);
void history_free_step(history_step* step);

/// Of each region of a change the middle of that triangle before which lies nearest to its centroid, in the change's
/// frame, into `place` (region_count); its centroid where it has no triangle.
void history_region_places(rlv_vec3* place, const rlv_change* change, const rlv_mesh* before);

/// Tell each region of a measured step where it is deepest, and how far it is from bone of either stage; its place must
/// be told. The stages' meshes, trees and parts are asked.
rlv_status history_region_distances(history_step* step, const history_stage* before, const history_stage* after,
                                    rlv_error* error);

/// Align two stages as an edge: that of a step with the step's parts, so that its pose is the one that it is measured
/// with; `step` is NULL of any other. What cannot be aligned is done, and says so.
rlv_status history_align_edge(const rlv_history* history, const history_step* step, history_edge* edge,
                              const rlv_progress* progress, rlv_error* error);

/// What is left between tie points under the pose that the surfaces gave.
history_ties history_measure_ties(const rlv_history* history, const history_edge* edge);

/// An edge as the graph may trust it: its scale no surer than slow warp makes it, and what of its covariance is its
/// own. `reach_mm` is half of the block's length.
rlv_stage_edge history_graph_edge(const history_edge* edge, double reach_mm);

/// What an edge is aligned and measured with, but for its parts and progress.
rlv_change_options history_options_of(const rlv_history* history, const history_edge* edge, const rlv_pose* start);

/// Put every parameter of the measurement into the record's `parameters`: options, what was defaulted, thresholds.
void history_record_parameters(json_t* parameters, const rlv_history* history);

/// Part pieces from their joints where they have closed meshes of their own.
void history_part_joints(rlv_history* history, rlv_answer* answer);

/// Add up what was measured and hold it against what was weighed.
rlv_status history_add_up(rlv_history* history, rlv_error* error);

#endif
