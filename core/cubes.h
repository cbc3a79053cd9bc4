/// Points sorted into cubic cells: the one way in which points are thinned, averaged, spread and grouped here.
///
/// A cell is a cube of side `side_mm` and a tag, so that two faces of a thin slab that share a cube can be told apart.
/// Cells are numbered in the order in which their first point comes; members keep the order of the points.

#ifndef RLV_CUBES_H
#define RLV_CUBES_H

#include "error.h"

#include <stdbool.h>
#include <stdint.h>

#define RLV_CUBES_NONE UINT32_MAX

typedef struct rlv_cubes
{
    double side_mm;
    size_t count;
    uint32_t* of_point; ///< which cell a point lies in
    uint32_t* start;    ///< count + 1 offsets into member
    uint32_t* member;   ///< points, cell by cell
    uint64_t* key;      ///< of each cell
    uint32_t* table;    ///< open addressing: cell numbers, RLV_CUBES_NONE where free
    size_t table_mask;
} rlv_cubes;

/// Sort `count` points (3 * count floats) into cells of a zeroed `cells`. `tag` (one a point, below 128) may be NULL.
/// Points must lie within a quarter of a million sides of zero. Free with rlv_cubes_free, which is safe after a
/// failure.
rlv_status rlv_cubes_build(rlv_cubes* cells, size_t count, const float* point_mm, const uint8_t* tag, double side_mm,
                           rlv_error* error);
void rlv_cubes_free(rlv_cubes* cells);

/// The cell `step` away from `cell` (0, 0, 0 is itself) with the same tag, or RLV_CUBES_NONE.
uint32_t rlv_cubes_near(const rlv_cubes* cells, uint32_t cell, const int step[3]);

/// The cell that holds a place, with a tag, or RLV_CUBES_NONE.
uint32_t rlv_cubes_at(const rlv_cubes* cells, const float point_mm[3], uint8_t tag);

/// The cells that lie about a place: its own, and those of the 26 beside it that hold anything. They hold all that is
/// within one side of the place. Zeroed before it is first used.
typedef struct rlv_cubes_about
{
    bool known;
    uint64_t key; ///< of the place's own cell
    size_t count;
    uint32_t cell[27];
} rlv_cubes_about;

/// Find the cells with a tag that lie about a place. What is in `about` stays where the last place was in the same
/// cell: neighbouring places should follow each other. One `about` serves one `cells`.
void rlv_cubes_look_about(rlv_cubes_about* about, const rlv_cubes* cells, const float point_mm[3], uint8_t tag);

/// A tag that keeps faces of unlike direction apart: which of the six axis directions a normal is nearest to.
uint8_t rlv_cubes_facing(const float normal[3]);

#endif
