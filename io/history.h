/// The measured life of a specimen: its stages in one frame, what changed from each to the next by class, and the
/// ledger of it all.
///
/// Stages are read with their scale, mended, and freed of what is not the block. Each step between neighbours is
/// measured (change.h) with the masks of its stage before; that gives one edge of the graph of poses (stages.h). The
/// others join stages two apart, so that what does not close is seen. The ledger (ledger.h) adds up what went, and
/// holds it against what was weighed.

#ifndef RLV_HISTORY_H
#define RLV_HISTORY_H

#include "answer.h"
#include "change.h"
#include "given_mesh.h"
#include "history_grid.h"
#include "history_pieces.h"
#include "history_standing.h"
#include "ledger.h"
#include "masks.h"
#include "scale.h"
#include "specimen.h"
#include "stages.h"

/// What an alignment is off by beside its covariance: over 500 settled alignments of blocks of known pose the far
/// corner was off by 0.027 mm in the median, where noise and warp alone asked for a tenth of that in some directions.
#define HISTORY_SETTLING_MM 0.03

/// Stages that are more than this many times as large as each other were read with the wrong scale.
#define HISTORY_MOST_RATIO 5.0

/// A stage as it was read.
typedef struct history_stage
{
    const rlv_stage_record* record;
    char* path;             ///< of its mesh
    given_mesh given;       ///< mended, in mm by its own scale, in its own frame, without support; measures are of that
    rlv_parts parts;        ///< one entry a triangle
    rlv_tree* tree;         ///< of that mesh: for all that is measured and drawn of the stage
    double mm_per_unit;     ///< brings points.csv into the mesh's frame
    double scale_sd;        ///< relative; 0: exact
    double shared_scale_sd; ///< the part of it that other stages have too: the certificates', or all that was given
    rlv_scale scale;        ///< where it has bars (bar_count > 0)
    rlv_scale_residual* residual;
    size_t dropped; ///< triangles of support
} history_stage;

/// What is told of a region beside what the change tells.
typedef struct history_region
{
    size_t piece;           ///< index into specimen->piece, or SIZE_MAX
    double nearest_bone_mm; ///< from the surface that changed, deeper than the change's area_from_mm, to bone as it
                            ///< shows before or after; NaN where none is known
    rlv_vec3 centroid_mm;   ///< in the block frame
    rlv_vec3 place_mm;      ///< likewise: of the region's own surface before, the place nearest to that; its square is
                            ///< the one that the region is told by, since a bent region has its centroid beside it
    rlv_vec3 deepest_mm;    ///< likewise: of the surface after, where it lies farthest from that before
    const char* area;       ///< the area of a work row that it lies in; NULL: none named
} history_region;

/// The step from stage `before` to the next.
typedef struct history_step
{
    size_t before, after; ///< stages
    bool measured;        ///< false where it could not be; `why` tells
    char why[1056];
    rlv_change change;      ///< in BEFORE's frame
    history_region* region; ///< change.region_count
    uint8_t* before_part;   ///< one a triangle of BEFORE, as change.h has parts; NULL where nothing is known
    uint8_t* after_part;
    size_t piece_count;           ///< pieces that came off or went back at this step
    size_t piece[RLV_PART_COUNT]; ///< part - RLV_PART_PIECE: index into specimen->piece
    double hours;                 ///< of all work rows; NaN where none
    bool areas_mixed;             ///< a region of matrix runs over several areas of work: hours and spoil of the step
                                  ///< are of all its matrix together, and no region has an area
    rlv_interval seen_mm3[RLV_CHANGE_CLASSES]; ///< totals as the block's meshes have them. Where pieces have closed
                                               ///< meshes of their own, those rule the totals of `change`:
    rlv_interval crumbled_mm3; ///< and those of the pieces' regions; then what came off with them and is none of them:
                               ///< it counts as matrix removed
    rlv_interval gap_mm3;      ///< and what the block gained with them and is none of them: the gap of their joint.
                               ///< NaN: not known
} history_step;

/// How far tie points lie from each other under an alignment, which they only start: the surfaces rule it, and so ties
/// check it.
typedef struct history_ties
{
    size_t count;
    double rms_mm, most_mm; ///< of the distances
    double p; ///< of as much or more, by chi-square with three degrees of freedom a point: its sds on both stages, the
              ///< pose's own there, and what the scans leave between surfaces that held still (their warp carries a
              ///< point along); NaN where there are none
} history_ties;

/// An alignment between two stages, as an edge of the graph.
typedef struct history_edge
{
    size_t into, from;
    bool done;         ///< an edge of the graph
    size_t start_ties; ///< tie points that the alignment began from; 0: from any attitude
    char why[1056];    ///< where not
    rlv_alignment alignment;
    history_ties ties;
} history_edge;

typedef struct rlv_history
{
    const rlv_specimen* specimen;
    size_t stage_count;
    history_stage* stage;
    history_pieces pieces; ///< their meshes; none where only poses are asked for
    size_t frame;          ///< the stage whose frame is the block's
    size_t step_count;
    history_step* step; ///< stage_count - 1
    size_t edge_count;
    history_edge* edge;
    size_t* graph_edge; ///< one a done edge, in the graph's order: index into `edge`
    bool joined;        ///< all stages are in one frame. Else `stages` is empty, and `apart` says why
    char apart[1056];
    rlv_stages stages;
    history_standing standing;        ///< of the last stage
    history_grid grid;                ///< the squares that places are told by
    rlv_ledger_row *row, *cumulative; ///< one a step
    size_t tool_count;
    const char** tool; ///< in the order in which the record first names them
    rlv_rate* rate;    ///< one a tool
    rlv_rates rates;
    rlv_rate all_tools; ///< of all work together
} rlv_history;

/// What to measure.
typedef struct history_options
{
    bool poses_only; ///< no changes and no ledger: only edges and their graph
    bool pieces;     ///< and with those, the pieces' meshes
} history_options;

/// Read and measure a specimen into a zeroed `history`; inputs, parameters and warnings go to the answer. A step that
/// cannot be measured is a warning, and so is one missing edge; RLV_IMPOSSIBLE where nothing at all could be measured.
/// `specimen` must outlive it. Free with history_free, also after a failure.
rlv_status history_measure(rlv_history* history, const rlv_specimen* specimen, const history_options* options,
                           rlv_answer* answer, rlv_error* error);
void history_free(rlv_history* history);

/// The volume of the block at a stage by its own mesh, bone and all, and that of a piece by its own; NaN where the mesh
/// is open. The interval holds the scale, noise and slow warp of one scan, as the steps tell them; a piece's also all
/// that its flat triangles may cut off. Two such volumes are far less surely told apart than what changed between them.
rlv_interval history_stage_volume(const rlv_history* history, size_t stage);

/// What a class came to at a measured step that knows it, and in `unseen_mm3` what of its upper half is a bound, which
/// adds up linearly over steps. Where no region was found that is all of it, and no less than the least that could be
/// told at all: the detection limit over the smallest patch that it is told for.
rlv_interval history_class_volume(double* unseen_mm3, const history_step* step, rlv_change_class kind);
rlv_interval history_piece_volume(const rlv_history* history, const history_piece* piece);

/// Whether the tie points of two stages lie so far apart under their alignment that one of the two is wrong; then in
/// words, without a full stop.
bool history_ties_contradict(const rlv_history* history, const history_edge* edge, char* words, size_t size);

/// The pose that carries a stage into the block frame (identity where the stages are not joined).
rlv_pose history_pose(const rlv_history* history, size_t stage);

/// "matrix removed", "bone lost", "piece detached", "material added", "piece joined"; and as keys, with underscores.
const char* history_class_name(rlv_change_class kind);
const char* history_class_key(rlv_change_class kind);

#endif
