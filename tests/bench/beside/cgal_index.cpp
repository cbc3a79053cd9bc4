// The index of CGAL: its tree of boxes with a search tree for hints, in double with inexact constructions, its quickest
// kernel. It is single-threaded while it is built, and asked from all threads.

#include "index.h"

#include <CGAL/AABB_traits.h>
#include <CGAL/AABB_tree.h>
#include <CGAL/AABB_triangle_primitive.h>
#include <CGAL/Simple_cartesian.h>

#include <cmath>
#include <cstdio>
#include <exception>
#include <vector>

namespace
{

using kernel = CGAL::Simple_cartesian<double>;
using triangles = std::vector<kernel::Triangle_3>;
using primitive = CGAL::AABB_triangle_primitive<kernel, triangles::const_iterator>;
using tree = CGAL::AABB_tree<CGAL::AABB_traits<kernel, primitive>>;

constexpr size_t share = 10;

kernel::Point_3 point_of(const float* at)
{
    return {double(at[0]), double(at[1]), double(at[2])};
}

kernel::Ray_3 ray_of(const float* at)
{
    return {point_of(at), kernel::Vector_3(double(at[3]), double(at[4]), double(at[5]))};
}

triangles triangles_of(const index_work& work)
{
    triangles all;
    all.reserve(work.triangle_count);
    for (size_t t = 0; t < work.triangle_count; t++)
    {
        const uint32_t* corner = work.corner + 3 * t;
        const auto at = [&](size_t k) { return point_of(work.position_mm + 3 * size_t(corner[k])); };
        all.emplace_back(at(0), at(1), at(2));
    }
    return all;
}

/// Ask one block in `share` of `count` items, on all threads.
template <typename question> timing ask(size_t count, question one)
{
    const timing start = timing_start();
    const size_t blocks = (count + INDEX_BLOCK - 1) / INDEX_BLOCK;
#pragma omp parallel for schedule(dynamic)
    for (size_t b = 0; b < blocks; b += share)
        for (size_t i = b * INDEX_BLOCK; i < count && i < (b + 1) * INDEX_BLOCK; i++)
            one(i);
    return timing_since(start);
}

void measure_once(index_result& result, const index_work& work, const triangles& all, size_t turn)
{
    const timing start = timing_start();
    tree index(all.begin(), all.end());
    index.build();
    index.accelerate_distance_queries();
    result.run[INDEX_BUILD][turn] = timing_since(start);
    result.run[INDEX_NEAREST][turn] =
        ask(work.query_count, [&](size_t i)
            { result.distance_mm[i] = float(std::sqrt(index.squared_distance(point_of(work.query_mm + 3 * i)))); });
    result.run[INDEX_BLOCKED][turn] =
        ask(work.ray_count, [&](size_t i) { result.met[i] = index.do_intersect(ray_of(work.ray + 7 * i)); });
    result.run[INDEX_RAYS][turn] = ask(work.ray_count, [&](size_t i)
                                       { result.met[i] = bool(index.first_intersection(ray_of(work.ray + 7 * i))); });
}

} // namespace

bool index_cgal(index_result* result, const index_work* work)
{
    result->share = share;
    try
    {
        const triangles all = triangles_of(*work);
        for (size_t i = 0; i < work->repeat; i++)
            measure_once(*result, *work, all, i);
        return true;
    }
    catch (const std::exception& fault)
    {
        std::snprintf(result->trouble, sizeof result->trouble, "%s", fault.what());
        return false;
    }
}
