/// A relief: heights over a plane on a square grid, bilinear between its points, and surfaces drawn onto it from above.
///
/// Because a relief is bilinear in each cell, the volume between two of them is a plain sum over their points: it is
/// exact, whatever mesh is made of them later.

#ifndef RLV_SAMPLES_RELIEF_H
#define RLV_SAMPLES_RELIEF_H

#include "error.h"
#include "vector.h"

#include <stdint.h>

typedef struct demo_relief
{
    double origin_mm[2]; ///< plan place of point (0, 0)
    double pitch_mm;     ///< from point to point
    size_t size[2];      ///< points along x and y; a point's index is y * size[0] + x
    float* height_mm;    ///< size[0] * size[1]
} demo_relief;

/// Reserve a relief over a box of the plan, all at height `height_mm`. Free with relief_free.
rlv_status relief_reserve(demo_relief* relief, const double low_mm[2], const double high_mm[2], double pitch_mm,
                          float height_mm, rlv_error* error);
void relief_free(demo_relief* relief);

/// Plan place of a point.
static inline double relief_x(const demo_relief* map, size_t index)
{
    return map->origin_mm[0] + map->pitch_mm * (double)(index % map->size[0]);
}

static inline double relief_y(const demo_relief* map, size_t index)
{
    return map->origin_mm[1] + map->pitch_mm * (double)(index / map->size[0]);
}

/// Index of the point nearest to a place of the plan (places outside go to the edge).
size_t relief_nearest(const demo_relief* map, double x_mm, double y_mm);

/// Height at a place of the plan.
double relief_at(const demo_relief* map, double x_mm, double y_mm);

/// Raise each value to the highest of all others less `slope` a millimetre of their distance: cones that spread from
/// high places, or distances where values start at 0 and far below. By two sweeps of a chamfer of 5, 7, 11 (G.
/// Borgefors, Distance transformations in digital images, 1986; within 2 %). `value` holds one a point; the two
/// outermost rows and columns are left.
void relief_spread(const demo_relief* map, float* value, double slope);

/// Draw a sheet of `count[0]` by `count[1]` points (index j * count[0] + i), two triangles a cell, seen from above: a
/// point of the relief goes up to it where it is higher, and `owner` (one a point of the relief) then becomes `mark`.
void relief_draw(demo_relief* map, uint16_t* owner, uint16_t mark, const size_t count[2], const rlv_vec3* sheet);

#endif
