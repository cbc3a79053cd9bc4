#include "mesh_drop.h"

#include "mesh_edges.h"

#include <stdlib.h>
#include <string.h>

#define UNUSED UINT32_MAX

void rlv_mesh_drop_triangles(rlv_mesh* mesh, const uint8_t* drop)
{
    size_t kept = 0;
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        if (drop[t])
            continue;
        memmove(mesh->corner + 3 * kept, mesh->corner + 3 * t, 3 * sizeof *mesh->corner);
        if (mesh->object != NULL)
            mesh->object[kept] = mesh->object[t];
        kept++;
    }
    mesh->triangle_count = kept;
}

/// Move the vertices that a triangle uses together; `number` gets where each went.
static void keep_vertices(rlv_mesh* mesh, uint32_t* number)
{
    size_t kept = 0;
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        if (number[v] == UNUSED)
            continue;
        memmove(mesh->position_mm + 3 * kept, mesh->position_mm + 3 * v, 3 * sizeof *mesh->position_mm);
        if (mesh->colour != NULL)
            memmove(mesh->colour + 3 * kept, mesh->colour + 3 * v, 3 * sizeof *mesh->colour);
        number[v] = (uint32_t)kept++;
    }
    mesh->vertex_count = kept;
}

/// Give back what a block has beyond `bytes`; the block itself where that cannot be done.
static void* shrunk(void* block, size_t bytes)
{
    void* smaller = block != NULL ? realloc(block, bytes != 0 ? bytes : 1) : NULL;
    return smaller != NULL ? smaller : block;
}

static void shrink(rlv_mesh* mesh)
{
    mesh->position_mm = shrunk(mesh->position_mm, 3 * mesh->vertex_count * sizeof *mesh->position_mm);
    mesh->colour = shrunk(mesh->colour, 3 * mesh->vertex_count);
    mesh->corner = shrunk(mesh->corner, 3 * mesh->triangle_count * sizeof *mesh->corner);
    mesh->object = shrunk(mesh->object, mesh->triangle_count * sizeof *mesh->object);
}

rlv_status rlv_mesh_drop(rlv_mesh* mesh, const uint8_t* drop, rlv_error* error)
{
    uint32_t* number = rlv_reserve(mesh->vertex_count, sizeof *number, error);
    if (number == NULL)
        return RLV_SYSTEM;
    memset(number, 0xff, mesh->vertex_count * sizeof *number); // UNUSED
    rlv_mesh_drop_triangles(mesh, drop);
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        number[mesh->corner[i]] = 0;
    keep_vertices(mesh, number);
#pragma omp parallel for schedule(static) if (mesh->triangle_count > RLV_SMALL)
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        mesh->corner[i] = number[mesh->corner[i]];
    free(number);
    shrink(mesh);
    return RLV_DONE;
}
