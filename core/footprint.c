#include "footprint.h"

#include <math.h>
#include <stdlib.h>

typedef struct spot
{
    double x, y;
} spot;

static int by_x_then_y(const void* a, const void* b)
{
    const spot *p = a, *q = b;
    return p->x != q->x ? (p->x > q->x) - (p->x < q->x) : (p->y > q->y) - (p->y < q->y);
}

/// Twice the area of a triangle: positive where it turns to the left.
static double turn_of(spot a, spot b, spot c)
{
    return (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
}

/// Put the hull of `count` sorted spots into `hull`, which holds count + 1: counter-clockwise, its first spot again at
/// its end. How many sides it has.
static size_t hull_of(spot* hull, const spot* sorted, size_t count)
{
    size_t n = 0;
    for (size_t i = 0; i < count; i++)
    {
        while (n >= 2 && turn_of(hull[n - 2], hull[n - 1], sorted[i]) <= 0.0)
            n--;
        hull[n++] = sorted[i];
    }
    const size_t lower = n + 1;
    for (size_t i = count - 1; i-- > 0;)
    {
        while (n >= lower && turn_of(hull[n - 2], hull[n - 1], sorted[i]) <= 0.0)
            n--;
        hull[n++] = sorted[i];
    }
    return n - 1;
}

/// How far the hull reaches along one direction of length one.
static double reach_along(const spot* hull, size_t sides, spot way)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < sides; i++)
    {
        const double at = hull[i].x * way.x + hull[i].y * way.y;
        low = fmin(low, at);
        high = fmax(high, at);
    }
    return high - low;
}

/// Try each side of the hull as a side of the rectangle.
static void find_smallest(rlv_footprint* f, const spot* hull, size_t sides, rlv_vec3 right, rlv_vec3 ahead)
{
    double least = INFINITY;
    for (size_t i = 0; i < sides; i++)
    {
        spot way = {hull[i + 1].x - hull[i].x, hull[i + 1].y - hull[i].y};
        const double length = hypot(way.x, way.y);
        way = (spot){way.x / length, way.y / length};
        const spot over = {-way.y, way.x};
        const double a = reach_along(hull, sides, way), b = reach_along(hull, sides, over);
        if (!(a * b < least))
            continue;
        least = a * b;
        const spot longer = a >= b ? way : over;
        f->length_mm = fmax(a, b);
        f->width_mm = fmin(a, b);
        f->along = rlv_vec3_add(rlv_vec3_scale(right, longer.x), rlv_vec3_scale(ahead, longer.y));
    }
}

rlv_status rlv_footprint_of(rlv_footprint* footprint, const rlv_mesh* mesh, rlv_vec3 up, rlv_error* error)
{
    *footprint = (rlv_footprint){0};
    const size_t count = mesh->vertex_count;
    const rlv_vec3 right = rlv_vec3_across(up), ahead = rlv_vec3_cross(up, right);
    spot* plan = rlv_reserve(count + 1, sizeof *plan, error);
    spot* hull = plan != NULL ? rlv_reserve(count + 2, sizeof *hull, error) : NULL;
    rlv_status status = hull != NULL ? RLV_DONE : RLV_SYSTEM;
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; status == RLV_DONE && i < count; i++)
    {
        const rlv_vec3 at = rlv_vec3_from(mesh->position_mm + 3 * i);
        plan[i] = (spot){rlv_vec3_dot(at, right), rlv_vec3_dot(at, ahead)};
        low = fmin(low, rlv_vec3_dot(at, up));
        high = fmax(high, rlv_vec3_dot(at, up));
    }
    size_t sides = 0;
    if (status == RLV_DONE && count > 0)
    {
        qsort(plan, count, sizeof *plan, by_x_then_y);
        sides = hull_of(hull, plan, count);
    }
    if (status == RLV_DONE && sides < 3)
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "look at the mesh, or at the direction that is up",
                          "the plan of the mesh encloses no area");
    if (status == RLV_DONE)
        find_smallest(footprint, hull, sides, right, ahead);
    footprint->height_mm = status == RLV_DONE ? high - low : 0.0;
    free(plan);
    free(hull);
    return status;
}
