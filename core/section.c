#include "section.h"

#include <stdlib.h>
#include <string.h>

static bool is_finite(rlv_vec3 a)
{
    return isfinite(a.x) && isfinite(a.y) && isfinite(a.z);
}

static rlv_vec3 direction_or(rlv_vec3 a, rlv_vec3 fallback)
{
    double greatest = fmax(fabs(a.x), fmax(fabs(a.y), fabs(a.z)));
    return is_finite(a) && greatest > 0.0 ? rlv_vec3_unit(rlv_vec3_scale(a, 1.0 / greatest)) : fallback;
}

static rlv_vec3 axis_most_square_to(rlv_vec3 a)
{
    double x = fabs(a.x), y = fabs(a.y), z = fabs(a.z);
    if (z <= x && z <= y)
        return rlv_vec3_of(0, 0, 1);
    return y <= x ? rlv_vec3_of(0, 1, 0) : rlv_vec3_of(1, 0, 0);
}

rlv_plane rlv_plane_facing(rlv_vec3 origin_mm, rlv_vec3 towards, rlv_vec3 up)
{
    towards = direction_or(towards, rlv_vec3_of(0, 0, 1));
    up = direction_or(up, towards);
    if (rlv_vec3_length(rlv_vec3_cross(up, towards)) < 1e-6)
        up = axis_most_square_to(towards);
    rlv_vec3 right = rlv_vec3_unit(rlv_vec3_cross(up, towards));
    return (rlv_plane){origin_mm, right, rlv_vec3_cross(towards, right)};
}

rlv_vec3 rlv_plane_place(const rlv_plane* plane, rlv_vec3 point_mm)
{
    rlv_vec3 from = rlv_vec3_sub(point_mm, plane->origin_mm);
    return rlv_vec3_of(rlv_vec3_dot(from, plane->right), rlv_vec3_dot(from, plane->up),
                       rlv_vec3_dot(from, rlv_vec3_cross(plane->right, plane->up)));
}

typedef struct cutter
{
    const rlv_mesh* mesh;
    rlv_plane plane; // its origin in the mesh's local frame
    const double* height;
} cutter;

// Where the plane passes the edge between two vertices.
static void pass(const cutter* with, uint32_t a, uint32_t b, uint64_t* key, double at[2])
{
    uint32_t lower = a < b ? a : b, upper = a < b ? b : a;
    rlv_vec3 from = rlv_vec3_from(with->mesh->position_mm + 3 * (size_t)lower);
    rlv_vec3 to = rlv_vec3_from(with->mesh->position_mm + 3 * (size_t)upper);
    double share = with->height[lower] / (with->height[lower] - with->height[upper]);
    rlv_vec3 place = rlv_vec3_along(from, share, rlv_vec3_sub(to, from));
    place = rlv_plane_place(&with->plane, place);
    *key = (uint64_t)lower << 32 | upper;
    at[0] = place.x;
    at[1] = place.y;
}

static bool is_above(const cutter* with, uint32_t vertex)
{
    return with->height[vertex] >= 0.0;
}

static bool is_cut(const cutter* with, size_t triangle)
{
    const uint32_t* c = with->mesh->corner + 3 * triangle;
    bool above = is_above(with, c[0]);
    return is_above(with, c[1]) != above || is_above(with, c[2]) != above;
}

// Seen from outside, the boundary of a triangle runs counter-clockwise; the cut starts where it goes down through the
// plane and ends where it comes up, which leaves the solid on the left.
static rlv_link cut(const cutter* with, size_t triangle)
{
    const uint32_t* c = with->mesh->corner + 3 * triangle;
    rlv_link link = {0};
    for (int k = 0; k < 3; k++)
    {
        uint32_t a = c[k], b = c[k < 2 ? k + 1 : 0];
        if (is_above(with, a) && !is_above(with, b))
            pass(with, a, b, &link.from, link.from_at);
        if (!is_above(with, a) && is_above(with, b))
            pass(with, a, b, &link.to, link.to_at);
    }
    return link;
}

rlv_status rlv_section_cut(rlv_lines* lines, const rlv_mesh* mesh, const rlv_plane* plane, const uint8_t* only,
                           rlv_error* error)
{
    memset(lines, 0, sizeof *lines);
    if (!is_finite(plane->origin_mm) || !is_finite(plane->right) || !is_finite(plane->up))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a point and two directions", "a plane that is not finite");
    double* height = rlv_reserve(mesh->vertex_count, sizeof *height, error);
    if (height == NULL)
        return RLV_SYSTEM;
    cutter with = {mesh, *plane, height};
    with.plane.origin_mm = rlv_vec3_sub(plane->origin_mm, mesh->origin_mm);
#pragma omp parallel for schedule(static)
    for (size_t v = 0; v < mesh->vertex_count; v++)
        height[v] = rlv_plane_place(&with.plane, rlv_vec3_from(mesh->position_mm + 3 * v)).z;

    size_t count = 0, put = 0;
    for (size_t t = 0; t < mesh->triangle_count; t++)
        count += (only == NULL || only[t] != 0) && is_cut(&with, t);
    rlv_link* link = rlv_reserve(count, sizeof *link, error);
    for (size_t t = 0; link != NULL && t < mesh->triangle_count; t++)
        if ((only == NULL || only[t] != 0) && is_cut(&with, t))
            link[put++] = cut(&with, t);
    rlv_status status = link != NULL ? rlv_lines_join(lines, count, link, error) : RLV_SYSTEM;
    free(link);
    free(height);
    return status;
}
