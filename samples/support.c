#include "support.h"

#include "rock.h"

#include <stdlib.h>
#include <string.h>

#define BAG_TRIANGLES 3000
#define PRESSED_MM 3.0 ///< how far a bag reaches into the block's side

/// A bag beside the block; `side` is 1 on the left of the plan's x and -1 on its right.
static rlv_status make_bag(rlv_mesh* bag, const demo_block* block, double side, uint64_t seed, rlv_error* error)
{
    const rock stone = {.half_axes_mm = {130.0, 38.0, 30.0},
                        .relief_mm = 1.5,
                        .relief_length_mm = 60.0,
                        .seed = noise_hash(seed, side > 0.0 ? 500 : 501)};
    rlv_status status = rock_mesh(bag, &stone, BAG_TRIANGLES, noise_hash(seed, 502), error);
    double y = side * (block_radius_mm(block, side * 0.5 * M_PI) + stone.half_axes_mm.y - PRESSED_MM);
    for (size_t i = 0; i < bag->vertex_count; i++)
    {
        bag->position_mm[3 * i + 1] += (float)y;
        bag->position_mm[3 * i + 2] += 32.0f;
    }
    return status;
}

/// Put the arrays of two meshes one after the other into `both`; the second one's triangles are of object `object`.
static void join_meshes(rlv_mesh* both, const rlv_mesh* first, const rlv_mesh* second, uint32_t object)
{
    static const uint8_t canvas[3] = {122, 128, 112};
    memcpy(both->position_mm, first->position_mm, 3 * first->vertex_count * sizeof *first->position_mm);
    memcpy(both->colour, first->colour, 3 * first->vertex_count);
    memcpy(both->corner, first->corner, 3 * first->triangle_count * sizeof *first->corner);
    memcpy(both->object, first->object, first->triangle_count * sizeof *first->object);
    for (size_t i = 0; i < second->vertex_count; i++)
        for (size_t k = 0; k < 3; k++)
        {
            both->position_mm[3 * (first->vertex_count + i) + k] = second->position_mm[3 * i + k];
            both->colour[3 * (first->vertex_count + i) + k] = canvas[k];
        }
    for (size_t i = 0; i < 3 * second->triangle_count; i++)
        both->corner[3 * first->triangle_count + i] = second->corner[i] + (uint32_t)first->vertex_count;
    for (size_t i = 0; i < second->triangle_count; i++)
        both->object[first->triangle_count + i] = object;
}

/// Give `mesh` one bag more, its triangles of object `object`; names are left with `mesh`.
static rlv_status add_bag(rlv_mesh* mesh, const rlv_mesh* bag, uint32_t object, rlv_error* error)
{
    rlv_mesh both = {0};
    rlv_status status = rlv_mesh_reserve(&both, mesh->vertex_count + bag->vertex_count,
                                         mesh->triangle_count + bag->triangle_count, true, true, error);
    if (status != RLV_DONE)
        return status;
    join_meshes(&both, mesh, bag, object);
    both.object_name = mesh->object_name;
    both.object_count = mesh->object_count;
    mesh->object_name = NULL;
    mesh->object_count = 0;
    rlv_mesh_free(mesh);
    *mesh = both;
    return RLV_DONE;
}

static rlv_status name_object(rlv_mesh* mesh, rlv_error* error)
{
    char** name = realloc(mesh->object_name, (mesh->object_count + 1) * sizeof *name);
    if (name == NULL || (name[mesh->object_count] = strdup("support")) == NULL)
    {
        mesh->object_name = name != NULL ? name : mesh->object_name;
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the name of an object");
    }
    mesh->object_name = name;
    mesh->object_count++;
    return RLV_DONE;
}

rlv_status support_add(rlv_mesh* mesh, const demo_block* block, uint64_t seed, double* volume_mm3, rlv_error* error)
{
    rlv_status status = name_object(mesh, error);
    *volume_mm3 = 0.0;
    for (int k = 0; k < 2 && status == RLV_DONE; k++)
    {
        rlv_mesh bag = {0};
        status = make_bag(&bag, block, k == 0 ? 1.0 : -1.0, seed, error);
        if (status == RLV_DONE)
            *volume_mm3 += rlv_mesh_measure(&bag).volume_mm3;
        if (status == RLV_DONE)
            status = add_bag(mesh, &bag, (uint32_t)mesh->object_count - 1, error);
        rlv_mesh_free(&bag);
    }
    return status;
}
