#include "mesh_flat.h"

#include <math.h>
#include <stdlib.h>

#define NONE UINT32_MAX

/// The triangles at the corners of the flat ones, as linked lists that only grow: whoever reads one checks that a
/// triangle still has the vertex.
typedef struct flat_links
{
    rlv_mesh* mesh;
    uint8_t* flat;
    uint32_t* head;     ///< one a vertex: its first link; NONE where no flat triangle has it
    uint32_t* triangle; ///< one a link
    uint32_t* next;     ///< one a link
    size_t count;
} flat_links;

static bool has(const rlv_mesh* mesh, size_t triangle, uint32_t vertex)
{
    const uint32_t* c = mesh->corner + 3 * triangle;
    return c[0] == vertex || c[1] == vertex || c[2] == vertex;
}

/// Put a triangle on the list of a vertex that has one.
static void link_to(flat_links* links, uint32_t vertex, size_t triangle)
{
    if (links->head[vertex] == NONE)
        return;
    links->triangle[links->count] = (uint32_t)triangle;
    links->next[links->count] = links->head[vertex] - 1; // heads are one up: 0 is an empty list
    links->head[vertex] = (uint32_t)++links->count;
}

/// How many triangles but `but` have the edge from a to b: 0, 1 (the one found) or 2 for more. `a` has a list.
static int across(const flat_links* links, uint32_t a, uint32_t b, size_t but, uint32_t* found)
{
    int count = 0;
    for (uint32_t at = links->head[a] - 1; at != NONE; at = links->next[at])
    {
        uint32_t t = links->triangle[at];
        if (t == but || links->flat[t] == RLV_FLAT_POINT || !has(links->mesh, t, a) || !has(links->mesh, t, b))
            continue;
        if (count != 0 && t != *found)
            return 2;
        *found = t; // a triangle may be on a list twice
        count = 1;
    }
    return count;
}

/// The corner of a triangle on a line that lies between the other two.
static int middle_corner(const rlv_mesh* mesh, size_t triangle)
{
    const float* at[3];
    for (size_t i = 0; i < 3; i++)
        at[i] = mesh->position_mm + 3 * (size_t)mesh->corner[3 * triangle + i];
    int longest = 0;
    double most = 0.0;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
        {
            const float *p = at[(i + 1) % 3], *q = at[(i + 2) % 3];
            double length = fabs((double)p[k] - (double)q[k]);
            if (length > most)
                most = length, longest = i;
        }
    return longest; // opposite the pair that is farthest apart along an axis
}

static void replace(rlv_mesh* mesh, size_t triangle, uint32_t old, uint32_t new)
{
    for (size_t i = 0; i < 3; i++)
        if (mesh->corner[3 * triangle + i] == old)
            mesh->corner[3 * triangle + i] = new;
}

/// Make a flat triangle and its neighbour over the long side anew. False where that cannot be (yet).
static bool flip(flat_links* links, size_t triangle)
{
    rlv_mesh* mesh = links->mesh;
    int middle = middle_corner(mesh, triangle);
    const uint32_t* c = mesh->corner + 3 * triangle;
    uint32_t a = c[(middle + 1) % 3], b = c[middle], d = c[(middle + 2) % 3], other = NONE, ignored = NONE;
    if (across(links, a, d, triangle, &other) != 1 || links->flat[other] != RLV_FLAT_NOT)
        return false;
    const uint32_t* o = mesh->corner + 3 * (size_t)other;
    uint32_t tip = o[0] ^ o[1] ^ o[2] ^ a ^ d;
    if (tip == b || across(links, b, tip, triangle, &ignored) != 0)
        return false;
    // Both take the neighbour's winding: a flat triangle has none of its own.
    for (size_t i = 0; i < 3; i++)
        mesh->corner[3 * triangle + i] = o[i];
    if (mesh->object != NULL)
        mesh->object[triangle] = mesh->object[other];
    replace(mesh, triangle, a, b);
    replace(mesh, other, d, b);
    links->flat[triangle] = RLV_FLAT_NOT;
    link_to(links, b, other);
    link_to(links, tip, triangle);
    return true;
}

static rlv_status link_all(flat_links* links, size_t flats, rlv_error* error)
{
    const rlv_mesh* mesh = links->mesh;
    links->head = rlv_reserve(mesh->vertex_count, sizeof *links->head, error);
    if (links->head == NULL)
        return RLV_SYSTEM;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        links->head[v] = NONE;
    for (size_t t = 0; t < mesh->triangle_count; t++)
        for (size_t i = 0; i < 3 && links->flat[t] == RLV_FLAT_LINE; i++)
            links->head[mesh->corner[3 * t + i]] = 0;
    size_t room = 2 * flats; // a flip links two more
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        room += links->head[mesh->corner[i]] != NONE;
    links->triangle = rlv_reserve(room, sizeof *links->triangle, error);
    links->next = links->triangle != NULL ? rlv_reserve(room, sizeof *links->next, error) : NULL;
    if (links->next == NULL)
        return RLV_SYSTEM;
    for (size_t t = 0; t < mesh->triangle_count; t++)
        for (size_t i = 0; i < 3; i++)
            link_to(links, mesh->corner[3 * t + i], t);
    return RLV_DONE;
}

/// Flip until nothing more can be: a flat triangle beside another waits for that one. `list` holds the flat ones.
static void flip_all(flat_links* links, uint32_t* list, size_t count)
{
    for (bool any = true; any;)
    {
        size_t left = 0;
        for (size_t i = 0; i < count; i++)
            if (!flip(links, list[i]))
                list[left++] = list[i];
        any = left != count;
        count = left;
    }
}

rlv_status rlv_mesh_flip_flat(rlv_mesh* mesh, uint8_t* flat, rlv_error* error)
{
    flat_links links = {.mesh = mesh, .flat = flat};
    size_t flats = 0;
    for (size_t t = 0; t < mesh->triangle_count; t++)
        flats += flat[t] == RLV_FLAT_LINE;
    if (flats == 0)
        return RLV_DONE;
    uint32_t* list = rlv_reserve(flats, sizeof *list, error);
    rlv_status status = list != NULL ? link_all(&links, flats, error) : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        size_t next = 0;
        for (size_t t = 0; t < mesh->triangle_count; t++)
            if (flat[t] == RLV_FLAT_LINE)
                list[next++] = (uint32_t)t;
        flip_all(&links, list, flats);
    }
    free(list);
    free(links.head);
    free(links.triangle);
    free(links.next);
    return status;
}
