/// Removed volume by a robust boolean of two closed meshes. Read by C and C++.

#ifndef RLV_BENCH_BOOLEAN_H
#define RLV_BENCH_BOOLEAN_H

#include "timing.h"

#include <stdbool.h>
#include <stdint.h>

#if defined(__cplusplus)
extern "C"
{
#endif

    typedef struct boolean_mesh
    {
        size_t vertex_count, triangle_count;
        const float* position_mm; ///< 3 * vertex_count, both meshes about one origin
        const uint32_t* corner;   ///< 3 * triangle_count
    } boolean_mesh;

    typedef struct boolean_result
    {
        timing load, work; ///< making the library's meshes; the boolean and its volume
        double removed_mm3;
        char trouble[200]; ///< where it failed
    } boolean_result;

    /// What is in the first mesh and not in the second, by CGAL: corefinement with exact predicates and inexact
    /// constructions. False where it failed.
    bool boolean_cgal(boolean_result* result, const boolean_mesh mesh[2]);

#if defined(__cplusplus)
}
#endif

#endif
