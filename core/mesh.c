#include "mesh.h"

#include "mesh_edges.h"

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

static rlv_status copy_names(rlv_mesh* to, const rlv_mesh* from, rlv_error* error)
{
    if (from->object_name == NULL)
        return RLV_DONE;
    to->object_name = rlv_reserve(from->object_count, sizeof *to->object_name, error);
    if (to->object_name == NULL)
        return RLV_SYSTEM;
    to->object_count = from->object_count;
    for (size_t i = 0; i < from->object_count; i++)
    {
        if (from->object_name[i] == NULL)
            continue;
        size_t bytes = strlen(from->object_name[i]) + 1;
        to->object_name[i] = rlv_reserve(bytes, 1, error);
        if (to->object_name[i] == NULL)
            return RLV_SYSTEM;
        memcpy(to->object_name[i], from->object_name[i], bytes);
    }
    return RLV_DONE;
}

rlv_status rlv_mesh_copy(rlv_mesh* to, const rlv_mesh* from, rlv_error* error)
{
    rlv_status status = rlv_mesh_reserve(to, from->vertex_count, from->triangle_count, from->colour != NULL,
                                         from->object != NULL, error);
    if (status == RLV_DONE)
        status = copy_names(to, from, error);
    if (status != RLV_DONE)
    {
        rlv_mesh_free(to);
        return status;
    }
    to->origin_mm = from->origin_mm;
    to->object_count = from->object_count;
    if (from->vertex_count != 0)
        memcpy(to->position_mm, from->position_mm, 3 * from->vertex_count * sizeof *to->position_mm);
    if (from->triangle_count != 0)
        memcpy(to->corner, from->corner, 3 * from->triangle_count * sizeof *to->corner);
    if (from->colour != NULL)
        memcpy(to->colour, from->colour, 3 * from->vertex_count * sizeof *to->colour);
    if (from->object != NULL)
        memcpy(to->object, from->object, from->triangle_count * sizeof *to->object);
    return RLV_DONE;
}

#define STRIPS 256 ///< the sums run over this many strips of triangles, whatever the thread count

/// Sums over some of the triangles, about a point of reference on the mesh. Those of the solid are six times its
/// volume, 24 times its first moments and 120 times its second moments (xx, yy, zz, xy, xz, yz).
typedef struct sums
{
    double area2, area6_x, area6_y, area6_z;
    double volume6, first24_x, first24_y, first24_z, second120[6];
    float low[3], high[3];
} sums;

static void widen(sums* sum, const float* at)
{
    for (int i = 0; i < 3; i++)
    {
        sum->low[i] = at[i] < sum->low[i] ? at[i] : sum->low[i];
        sum->high[i] = at[i] > sum->high[i] ? at[i] : sum->high[i];
    }
}

/// Add the tetrahedron over a triangle with its tip at the reference: with corners p and s = sum of p, the integral of
/// x xT over it is volume6 / 120 * (s sT + sum of p pT).
static void add_tetrahedron(sums* sum, rlv_vec3 a, rlv_vec3 b, rlv_vec3 c)
{
    double volume6 = rlv_vec3_dot(a, rlv_vec3_cross(b, c));
    rlv_vec3 s = rlv_vec3_add(a, rlv_vec3_add(b, c));
    sum->volume6 += volume6;
    sum->first24_x += volume6 * s.x;
    sum->first24_y += volume6 * s.y;
    sum->first24_z += volume6 * s.z;
    sum->second120[0] += volume6 * (s.x * s.x + a.x * a.x + b.x * b.x + c.x * c.x);
    sum->second120[1] += volume6 * (s.y * s.y + a.y * a.y + b.y * b.y + c.y * c.y);
    sum->second120[2] += volume6 * (s.z * s.z + a.z * a.z + b.z * b.z + c.z * c.z);
    sum->second120[3] += volume6 * (s.x * s.y + a.x * a.y + b.x * b.y + c.x * c.y);
    sum->second120[4] += volume6 * (s.x * s.z + a.x * a.z + b.x * b.z + c.x * c.z);
    sum->second120[5] += volume6 * (s.y * s.z + a.y * a.z + b.y * b.z + c.y * c.z);
}

static void add_face(sums* sum, rlv_vec3 a, rlv_vec3 b, rlv_vec3 c)
{
    double area2 = rlv_vec3_length(rlv_vec3_cross(rlv_vec3_sub(b, a), rlv_vec3_sub(c, a)));
    sum->area2 += area2;
    sum->area6_x += area2 * (a.x + b.x + c.x);
    sum->area6_y += area2 * (a.y + b.y + c.y);
    sum->area6_z += area2 * (a.z + b.z + c.z);
}

static void add_strip(sums* sum, const rlv_mesh* mesh, rlv_vec3 reference, size_t first, size_t end)
{
    for (int i = 0; i < 3; i++)
        sum->low[i] = INFINITY, sum->high[i] = -INFINITY;
    for (size_t t = first; t < end; t++)
    {
        rlv_vec3 corner[3];
        for (int i = 0; i < 3; i++)
        {
            const float* at = mesh->position_mm + 3 * (size_t)mesh->corner[3 * t + (size_t)i];
            widen(sum, at);
            corner[i] = rlv_vec3_sub(rlv_vec3_from(at), reference);
        }
        add_face(sum, corner[0], corner[1], corner[2]);
        add_tetrahedron(sum, corner[0], corner[1], corner[2]);
    }
}

static void add_sums(sums* to, const sums* from)
{
    to->area2 += from->area2;
    to->area6_x += from->area6_x;
    to->area6_y += from->area6_y;
    to->area6_z += from->area6_z;
    to->volume6 += from->volume6;
    to->first24_x += from->first24_x;
    to->first24_y += from->first24_y;
    to->first24_z += from->first24_z;
    for (int i = 0; i < 6; i++)
        to->second120[i] += from->second120[i];
    // A strip without triangles has its box inside out.
    if (from->low[0] > from->high[0])
        return;
    widen(to, from->low);
    widen(to, from->high);
}

/// Second moments about the centroid, from those about the reference, by the parallel-axis theorem.
static rlv_mat3 central_moment(const sums* sum, double volume, rlv_vec3 c)
{
    const double about[6] = {c.x * c.x, c.y * c.y, c.z * c.z, c.x * c.y, c.x * c.z, c.y * c.z};
    double m[6];
    for (int i = 0; i < 6; i++)
        m[i] = sum->second120[i] / 120.0 - volume * about[i];
    return (rlv_mat3){{m[0], m[3], m[4], m[3], m[1], m[5], m[4], m[5], m[2]}};
}

rlv_mesh_measures rlv_mesh_measure(const rlv_mesh* mesh)
{
    rlv_mesh_measures measures = {.low_mm = mesh->origin_mm,
                                  .high_mm = mesh->origin_mm,
                                  .surface_centroid_mm = mesh->origin_mm,
                                  .centroid_mm = mesh->origin_mm};
    if (mesh->triangle_count == 0)
        return measures;
    // A point of the mesh itself keeps the tetrahedra small where the coordinates are large.
    rlv_vec3 reference = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[0]);
    sums strip[STRIPS] = {0};
    size_t length = (mesh->triangle_count + STRIPS - 1) / STRIPS;
#pragma omp parallel for schedule(dynamic) if (mesh->triangle_count > RLV_SMALL)
    for (size_t i = 0; i < STRIPS; i++)
    {
        size_t first = i * length < mesh->triangle_count ? i * length : mesh->triangle_count;
        size_t end = first + length < mesh->triangle_count ? first + length : mesh->triangle_count;
        add_strip(&strip[i], mesh, reference, first, end);
    }
    for (size_t i = 1; i < STRIPS; i++)
        add_sums(&strip[0], &strip[i]);
    const sums* all = &strip[0];
    rlv_vec3 base = rlv_vec3_add(mesh->origin_mm, reference);
    measures.low_mm = rlv_vec3_add(mesh->origin_mm, rlv_vec3_from(all->low));
    measures.high_mm = rlv_vec3_add(mesh->origin_mm, rlv_vec3_from(all->high));
    measures.area_mm2 = all->area2 / 2.0;
    if (all->area2 > 0.0)
        measures.surface_centroid_mm =
            rlv_vec3_along(base, 1.0 / (3.0 * all->area2), rlv_vec3_of(all->area6_x, all->area6_y, all->area6_z));
    measures.volume_mm3 = all->volume6 / 6.0;
    rlv_vec3 centroid = {0, 0, 0};
    if (all->volume6 != 0.0)
        centroid = rlv_vec3_scale(rlv_vec3_of(all->first24_x, all->first24_y, all->first24_z), 0.25 / all->volume6);
    measures.centroid_mm = rlv_vec3_add(base, centroid);
    measures.moment_mm5 = central_moment(all, measures.volume_mm3, centroid);
    return measures;
}
