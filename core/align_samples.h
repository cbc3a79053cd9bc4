/// Samples of a surface: points spread evenly over a mesh by area, with the normals that alignment needs.
///
/// Sampling is systematic in the order of the triangles (one point in every step of area, shaken inside its step), so
/// that it is the same for any thread count, and then sorted along a Morton curve (G. M. Morton, 1966): neighbours in
/// space are neighbours in the array, and every n-th sample is spread over the whole surface.

#ifndef RLV_ALIGN_SAMPLES_H
#define RLV_ALIGN_SAMPLES_H

#include "error.h"
#include "mesh.h"

typedef struct rlv_samples
{
    size_t count;
    float* position_mm;       ///< 3 * count, about the mesh's origin_mm
    float* facet;             ///< 3 * count, unit normals of the triangles that the samples lie on
    float* normal;            ///< 3 * count, unit normals averaged over the neighbourhood
    double step_mm2;          ///< area that one sample stands for
    double area_mm2;          ///< area of the whole mesh, what was left out included
    double spacing_mm;        ///< root of step_mm2: typical distance between neighbours
    double imbalance;         ///< |sum of area vectors| / area: 0 for a closed mesh
    rlv_vec3 low_mm, high_mm; ///< bounding box of the samples, about the mesh's origin_mm
    rlv_vec3 centre_mm;       ///< their mean
    double radius_mm;         ///< greatest distance from the mean
} rlv_samples;

/// Take about `count` samples of a mesh into a zeroed `samples`, none of them on a triangle that is `left_out` (may be
/// NULL). RLV_IMPOSSIBLE where everything is left out. Free with rlv_samples_free, which is safe after a failure.
rlv_status rlv_samples_take(rlv_samples* samples, const rlv_mesh* mesh, const uint8_t* left_out, size_t count,
                            uint64_t seed, rlv_error* error);
void rlv_samples_free(rlv_samples* samples);

/// The principal axes of the samples about their mean, of unit length, by rising spread.
rlv_status rlv_samples_axes(const rlv_samples* samples, rlv_vec3 axis[3], rlv_error* error);

/// Points sorted into the cells of a regular grid: a cell's items are item[start[cell]] up to item[start[cell + 1]].
typedef struct rlv_sample_cells
{
    rlv_vec3 low_mm;
    double side_mm;
    size_t size[3];
    uint32_t* start; ///< size[0] * size[1] * size[2] + 1 offsets
    uint32_t* item;  ///< indices of points; in a cell they rise
} rlv_sample_cells;

/// Sort `count` points (3 * count floats) into cells of about `side_mm` (larger where the grid would pass four million
/// cells).
rlv_status rlv_sample_cells_sort(rlv_sample_cells* cells, size_t count, const float* position_mm, double side_mm,
                                 rlv_error* error);
void rlv_sample_cells_free(rlv_sample_cells* cells);

/// The cell that a point lies in, along one axis, clamped to the grid.
static inline size_t rlv_sample_cells_along(const rlv_sample_cells* cells, int axis, double at_mm)
{
    const double low = axis == 0 ? cells->low_mm.x : axis == 1 ? cells->low_mm.y : cells->low_mm.z;
    double cell = (at_mm - low) / cells->side_mm;
    if (!(cell > 0.0))
        return 0;
    size_t index = (size_t)cell;
    return index < cells->size[axis] ? index : cells->size[axis] - 1;
}

/// A number in [0, 1) that depends on `seed` and `index` alone (splitmix64).
static inline double rlv_shake(uint64_t seed, uint64_t index)
{
    uint64_t z = seed + (index + 1) * 0x9E3779B97F4A7C15u;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1.0p-53;
}

#endif
