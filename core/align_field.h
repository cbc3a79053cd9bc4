/// A coarse signed distance grid of a surface: how well a pose fits, in a few microseconds.
///
/// Each cell near the surface keeps the mean plane of the samples around it (a moving least squares surface in the
/// sense of R. Kolluri, Provably good moving least squares, SODA 2005), and the cells beyond know whether they lie
/// inside or outside. What is left of a block lies inside what was there: a pose is rewarded where AFTER lies on
/// BEFORE's surface and faces the same way, and punished where AFTER sticks out of it. Where BEFORE is open and near
/// its borders there is no verdict.

#ifndef RLV_ALIGN_FIELD_H
#define RLV_ALIGN_FIELD_H

#include "align_samples.h"
#include "error.h"
#include "pose.h"

typedef enum rlv_distance_field_kind
{
    RLV_FIELD_UNKNOWN = 0,
    RLV_FIELD_OUTSIDE,
    RLV_FIELD_INSIDE,
    RLV_FIELD_NEAR,
} rlv_distance_field_kind;

typedef struct rlv_distance_field_cell
{
    float distance_mm; ///< of the cell's centre, positive outside
    int8_t normal[3];  ///< of length 127
    uint8_t kind;      ///< rlv_distance_field_kind
} rlv_distance_field_cell;

typedef struct rlv_distance_field
{
    rlv_vec3 low_mm; ///< corner of cell (0, 0, 0)
    double side_mm;
    size_t size[3];
    bool open; ///< the far sides, and what lies off the grid, are unknown
    rlv_distance_field_cell* cell;
} rlv_distance_field;

/// Build the field of samples into a zeroed `field`. `open`: the far sides are unknown. Free with
/// rlv_distance_field_free.
rlv_status rlv_distance_field_build(rlv_distance_field* field, const rlv_samples* samples, bool open, rlv_error* error);
void rlv_distance_field_free(rlv_distance_field* field);

/// Mean reward of a pose of `samples` (every `stride`-th from `first`): 1 where all of it lies on the surface, less
/// where it is farther than `reach_mm` or faces another way, negative where it sticks out.
double rlv_distance_field_score(const rlv_distance_field* field, const rlv_samples* samples, const rlv_pose* pose,
                                double reach_mm, size_t first, size_t stride);

/// Move a pose to a better fit to the field: `rounds` of Gauss-Newton, the reach shrinking from `reach_mm` to
/// `last_mm`.
void rlv_distance_field_settle(const rlv_distance_field* field, const rlv_samples* samples, rlv_pose* pose,
                               double reach_mm, double last_mm, int rounds, size_t stride);

#endif
