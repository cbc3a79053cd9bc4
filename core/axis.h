/// The body axis: a smooth curve from head to tail with a frame that turns no more than it must.
///
/// The curve is kept as close points at even steps of its own length. The frame at each is carried from the one before
/// by the double reflection of W. Wang, B. Jüttler, D. Zheng, Y. Liu, Computation of rotation minimizing frames, ACM
/// Trans. Graph. 27, 2008: exact for arcs of circles, of fourth order for the frame at the far end of any curve. In
/// such a frame dT/du = k1 N1 + k2 N2 and dN/du = -k T, so that a line of constant offset is parallel to the axis.
///
/// Beyond its ends the axis goes on straight.

#ifndef RLV_AXIS_H
#define RLV_AXIS_H

#include "error.h"
#include "vector.h"

typedef struct rlv_body_axis
{
    size_t count;    ///< points, two at least
    double step_mm;  ///< between them, along the curve
    rlv_vec3* at_mm; ///< one a point
    rlv_vec3* along; ///< unit tangent, head to tail
    rlv_vec3* side;  ///< N1, unit, square to `along`; N2 is along x side
    double* bend[2]; ///< k1 and k2 in 1/mm, one a point each
} rlv_body_axis;

/// The axis at one distance.
typedef struct rlv_body_frame
{
    rlv_vec3 at_mm;
    rlv_vec3 along, side, other; ///< T, N1, N2: right-handed, unit, square to each other
    double bend[2];              ///< k1, k2 in 1/mm
} rlv_body_frame;

/// Lay the axis through `count` points (three at least, head to tail, no two that follow each other the same): a
/// natural cubic spline over their chords, read at even steps of its length, `step_mm` or a little less. A zeroed
/// `axis` is filled; free with rlv_body_axis_free, which is safe after a failure. RLV_BAD_INPUT where points coincide,
/// or are fewer.
rlv_status rlv_body_axis_lay(rlv_body_axis* axis, size_t count, const rlv_vec3* point_mm, double step_mm,
                             rlv_error* error);
void rlv_body_axis_free(rlv_body_axis* axis);

/// The axis at a distance in mm from its first point; it may lie beyond either end.
rlv_body_frame rlv_body_axis_at(const rlv_body_axis* axis, double along_mm);

/// The distance along the axis at which a point lies square to it, sought from `near_mm` on and no further from there
/// than `reach_mm`.
double rlv_body_axis_foot(const rlv_body_axis* axis, rlv_vec3 point_mm, double near_mm, double reach_mm);

/// Length of the axis in mm.
double rlv_body_axis_length_mm(const rlv_body_axis* axis);

#endif
