#include "mesh.h"

#include <stdlib.h>
#include <string.h>

rlv_status rlv_mesh_reserve(rlv_mesh* mesh, size_t vertices, size_t triangles, bool colour, bool object,
                            rlv_error* error)
{
    if (vertices >= UINT32_MAX || triangles >= UINT32_MAX)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "thin the mesh out first", "more than 4 thousand million elements");
    mesh->position_mm = rlv_reserve(3 * vertices, sizeof *mesh->position_mm, error);
    mesh->corner = mesh->position_mm != NULL ? rlv_reserve(3 * triangles, sizeof *mesh->corner, error) : NULL;
    bool held = mesh->corner != NULL;
    if (held && colour)
        held = (mesh->colour = rlv_reserve(3 * vertices, sizeof *mesh->colour, error)) != NULL;
    if (held && object)
        held = (mesh->object = rlv_reserve(triangles, sizeof *mesh->object, error)) != NULL;
    if (!held)
    {
        rlv_mesh_free(mesh);
        return RLV_SYSTEM;
    }
    mesh->vertex_count = vertices;
    mesh->triangle_count = triangles;
    return RLV_DONE;
}

void rlv_mesh_free(rlv_mesh* mesh)
{
    free(mesh->position_mm);
    free(mesh->corner);
    free(mesh->colour);
    free(mesh->object);
    for (size_t i = 0; i < mesh->object_count && mesh->object_name != NULL; i++)
        free(mesh->object_name[i]);
    free(mesh->object_name);
    memset(mesh, 0, sizeof *mesh);
}
