/// Squares that places on a block are told by, as a map has them: letters to the right, numbers downwards.
///
/// The squares are those of the specimen's usual view (history_view.h), and begin at the left and the upper edge of all
/// that its stages reach, so that one square is one place at every stage, on every map and in every table. Their side
/// is a round length that leaves at most 16 of them along either edge; I and O are no letters of theirs, since they
/// read as 1 and 0 (a common practice of maps). What is beside what, and how far, is told as the map shows it: square
/// to the view, without depth.

#ifndef RLV_HISTORY_GRID_H
#define RLV_HISTORY_GRID_H

#include "mesh.h"
#include "panel.h"
#include "pose.h"

#include <stdbool.h>
#include <stddef.h>

struct rlv_history;

typedef struct history_grid
{
    bool known;           ///< the stages are in one frame; else nothing is told
    bool north_up;        ///< north is at the top of the maps
    rlv_camera_axes axes; ///< of the maps, in the block's frame
    rlv_vec3 corner_mm;   ///< the upper left corner of the first square, in the block's frame
    double side_mm;
    size_t columns, rows;
} history_grid;

/// The squares of a history whose stages are measured and joined; not `known` where they are not, nor for two stages of
/// a longer record.
history_grid history_grid_of(const struct rlv_history* history);

/// "D4", the square that a place of the block's frame lies in, the nearest one where it lies beyond them; empty where
/// no square is known or the place is not.
typedef struct history_square
{
    char name[8];
} history_square;
history_square history_grid_square(const history_grid* grid, rlv_vec3 at_mm);

/// How far a place lies from the left and the upper line of its square.
void history_grid_in_square(const history_grid* grid, rlv_vec3 at_mm, double in_mm[2]);

/// How far in from the first square's left and upper line a mesh begins, which `pose` carries into the block's frame:
/// its outermost place to the left, and to the top.
void history_grid_begins(const history_grid* grid, const rlv_mesh* mesh, const rlv_pose* pose, double in_mm[2]);

/// How far two places lie from each other on the map.
double history_grid_apart_mm(const history_grid* grid, rlv_vec3 a_mm, rlv_vec3 b_mm);

/// Which way the second lies from the first on the map, by compass where north is at its top: "east of", "north-east
/// of"; else by the map: "towards the right edge of the map from", "towards the upper right of the map from". Never
/// above or below, which say how deep something lies. NULL where both are one place there, or either is not known.
const char* history_grid_way(const history_grid* grid, rlv_vec3 from_mm, rlv_vec3 to_mm);

/// The edge of a mesh that is nearest to a place on the map, along its row or its column: "western", "eastern",
/// "northern" or "southern" where north is at its top, else "left", "right", "upper" or "lower"; with how far in the
/// place lies. `pose` carries the mesh into the block's frame. NULL where the mesh does
/// not reach over that row and column, or the place lies beyond it.
const char* history_grid_edge(const history_grid* grid, const rlv_mesh* mesh, const rlv_pose* pose, rlv_vec3 at_mm,
                              double* in_mm);

/// The same squares for a sheet in the frame of a stage, seen along `axes`; false where they are not known, or that
/// view is another than theirs.
bool history_grid_on(rlv_panel_grid* on, const struct rlv_history* history, size_t stage, const rlv_camera_axes* axes);

#endif
