#include "panel.h"

#include <math.h>
#include <stdlib.h>

// An area's outline as a view shows it, to the right and upwards, mm of the thing; and the box that it reaches to.
typedef struct flat_ring
{
    size_t count;
    double (*at)[2];
    double low[2], high[2];
} flat_ring;

static flat_ring flat_of(const rlv_panel_area* area, const rlv_camera_axes* axes, double round_mm, rlv_error* error)
{
    flat_ring r = {.count = area->ring_count, .low = {INFINITY, INFINITY}, .high = {-INFINITY, -INFINITY}};
    r.at = rlv_reserve(r.count, sizeof *r.at, error);
    for (size_t i = 0; r.at != NULL && i < r.count; i++)
    {
        const rlv_vec3 axis[2] = {axes->right, axes->up};
        for (int k = 0; k < 2; k++)
        {
            r.at[i][k] = rlv_vec3_dot(area->ring_mm[i], axis[k]);
            r.low[k] = fmin(r.low[k], r.at[i][k] - round_mm);
            r.high[k] = fmax(r.high[k], r.at[i][k] + round_mm);
        }
    }
    return r;
}

// Whether a point is inside a ring (a line from it crosses the ring an odd number of times), or close to it.
static bool is_of(const flat_ring* r, const double p[2], double round_mm)
{
    bool inside = false;
    if (p[0] < r->low[0] || p[0] > r->high[0] || p[1] < r->low[1] || p[1] > r->high[1])
        return false;
    for (size_t i = 0, before = r->count - 1; i < r->count; before = i++)
    {
        const double *a = r->at[before], *b = r->at[i];
        if (rlv_off_stretch(p, a, b) <= round_mm)
            return true;
        if ((a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0] + (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]))
            inside = !inside;
    }
    return inside;
}

rlv_status rlv_panel_leave_areas(uint8_t* set, const rlv_mesh* mesh, const rlv_camera_axes* axes, size_t count,
                                 const rlv_panel_area* area, double round_mm, rlv_error* error)
{
    flat_ring* ring = rlv_reserve(count, sizeof *ring, error);
    rlv_status status = ring != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        ring[i] = flat_of(&area[i], axes, round_mm, error);
        status = ring[i].at != NULL ? RLV_DONE : RLV_SYSTEM;
    }
    const size_t triangles = status == RLV_DONE ? mesh->triangle_count : 0;
#pragma omp parallel for schedule(static)
    for (size_t t = 0; t < triangles; t++)
    {
        rlv_vec3 middle = {0, 0, 0};
        for (size_t k = 0; set[t] != 0 && k < 3; k++)
            middle = rlv_vec3_along(middle, 1.0 / 3.0, rlv_mesh_vertex(mesh, mesh->corner[3 * t + k]));
        const double at[2] = {rlv_vec3_dot(middle, axes->right), rlv_vec3_dot(middle, axes->up)};
        for (size_t i = 0; set[t] != 0 && i < count; i++)
            set[t] = is_of(&ring[i], at, round_mm) ? 0 : set[t];
    }
    for (size_t i = 0; ring != NULL && i < count; i++)
        free(ring[i].at);
    free(ring);
    return status;
}
