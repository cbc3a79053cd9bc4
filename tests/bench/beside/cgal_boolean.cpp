// A boolean of CGAL, by corefinement. It runs on one thread.

#include "boolean.h"

#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Polygon_mesh_processing/corefinement.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Surface_mesh.h>

#include <cstdio>
#include <exception>

namespace
{

using kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
namespace measure = CGAL::Polygon_mesh_processing;
using surface = CGAL::Surface_mesh<kernel::Point_3>;

surface surface_of(const boolean_mesh& mesh)
{
    surface made;
    made.reserve(surface::size_type(mesh.vertex_count), surface::size_type(3 * mesh.vertex_count),
                 surface::size_type(mesh.triangle_count));
    for (size_t i = 0; i < mesh.vertex_count; i++)
    {
        const float* at = mesh.position_mm + 3 * i;
        made.add_vertex({double(at[0]), double(at[1]), double(at[2])});
    }
    for (size_t t = 0; t < mesh.triangle_count; t++)
    {
        const uint32_t* corner = mesh.corner + 3 * t;
        made.add_face(surface::Vertex_index(corner[0]), surface::Vertex_index(corner[1]),
                      surface::Vertex_index(corner[2]));
    }
    return made;
}

} // namespace

bool boolean_cgal(boolean_result* result, const boolean_mesh mesh[2])
{
    try
    {
        timing start = timing_start();
        surface first = surface_of(mesh[0]), second = surface_of(mesh[1]), both;
        result->load = timing_since(start);
        start = timing_start();
        const kernel::FT whole = measure::volume(first);
        const bool done = measure::corefine_and_compute_intersection(first, second, both);
        result->removed_mm3 = done ? CGAL::to_double(whole - measure::volume(both)) : 0.0;
        result->work = timing_since(start);
        if (!done)
            std::snprintf(result->trouble, sizeof result->trouble, "what both share is not a manifold");
        return done;
    }
    catch (const std::exception& fault)
    {
        std::snprintf(result->trouble, sizeof result->trouble, "%s", fault.what());
        return false;
    }
}
