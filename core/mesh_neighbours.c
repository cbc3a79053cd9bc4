#include "mesh_neighbours.h"

#include "mesh_edges.h"

#include <string.h>

static void fill(uint32_t* neighbour, const rlv_edges* edges, const rlv_mesh* mesh)
{
#pragma omp parallel for schedule(dynamic, 4096) if (edges->vertex_count > RLV_SMALL)
    for (size_t v = 0; v < edges->vertex_count; v++)
        for (rlv_edge_run run = rlv_edges_run(edges, (uint32_t)v, NULL); run.count != 0;
             run = rlv_edges_run(edges, (uint32_t)v, &run))
        {
            if (run.count != 2)
                continue;
            const uint32_t a = rlv_run_triangle(&run, 0), b = rlv_run_triangle(&run, 1);
            neighbour[3 * (size_t)a + rlv_side_of(mesh, a, run.lower, run.upper)] = b;
            neighbour[3 * (size_t)b + rlv_side_of(mesh, b, run.lower, run.upper)] = a;
        }
}

rlv_status rlv_mesh_neighbours(uint32_t** neighbour, const rlv_mesh* mesh, rlv_error* error)
{
    rlv_edges edges = {0};
    rlv_status status = rlv_edges_build(&edges, mesh, error);
    if (status == RLV_DONE)
    {
        *neighbour = rlv_reserve(3 * mesh->triangle_count, sizeof **neighbour, error);
        status = *neighbour != NULL ? RLV_DONE : RLV_SYSTEM;
    }
    if (status == RLV_DONE)
    {
        memset(*neighbour, 0xff, 3 * mesh->triangle_count * sizeof **neighbour); // RLV_NO_NEIGHBOUR
        fill(*neighbour, &edges, mesh);
    }
    rlv_edges_free(&edges);
    return status;
}
