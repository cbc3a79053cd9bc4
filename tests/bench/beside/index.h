/// One spatial index after the other on the same mesh and the same queries. Read by C and C++.
///
/// A library that is much slower is asked one block of queries in `share`, blocks being as far apart as that makes
/// them, so that neighbours stay neighbours and all sides of the mesh are asked.

#ifndef RLV_BENCH_INDEX_H
#define RLV_BENCH_INDEX_H

#include "timing.h"

#include <stdbool.h>
#include <stdint.h>

#if defined(__cplusplus)
extern "C"
{
#endif

#define INDEX_BLOCK 1024
#define INDEX_REPEAT_MOST 99
#define INDEX_NOT_ASKED 2 ///< of `met`

    /// Which times are taken.
    typedef enum index_kind
    {
        INDEX_BUILD,
        INDEX_NEAREST,
        INDEX_RAYS,
        INDEX_PACKETS, ///< the same rays as a library likes them best, where it has such a way
        INDEX_BLOCKED,
        INDEX_KINDS
    } index_kind;

    typedef struct index_work
    {
        size_t vertex_count, triangle_count;
        const float* position_mm; ///< 3 * vertex_count
        const uint32_t* corner;   ///< 3 * triangle_count
        size_t query_count;
        const float* query_mm; ///< 3 * query_count
        size_t ray_count;
        const float* ray; ///< 7 * ray_count: origin, direction, limit
        size_t repeat;    ///< 1 to INDEX_REPEAT_MOST
    } index_work;

    typedef struct index_result
    {
        timing run[INDEX_KINDS][INDEX_REPEAT_MOST]; ///< all zero where a library has no such way
        size_t share;                               ///< one block in so many was asked; 1: all
        float* distance_mm;                         ///< query_count, given; NaN where not asked
        uint8_t* met;                               ///< ray_count, given; INDEX_NOT_ASKED where not asked
        char trouble[200];                          ///< why there is no result
    } index_result;

    /// Measure `work`. False where the library is not there or fell, with the trouble in words (empty: it is not
    /// there).
    typedef bool index_measure(index_result* result, const index_work* work);

    index_measure index_embree;
    index_measure index_cgal;
    index_measure index_open3d;

    /// Whether item `i` is asked where one block in `share` is.
    static inline bool index_asked(size_t i, size_t share)
    {
        return i / INDEX_BLOCK % share == 0;
    }

#if defined(__cplusplus)
}
#endif

#endif
