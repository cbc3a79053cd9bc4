#include "polygons.h"

#include "grow.h"

#include <stdlib.h>
#include <string.h>

bool rlv_polygons_room(rlv_polygons* polygons, size_t count)
{
    return rlv_grow(&polygons->corner, &polygons->corner_room, polygons->corner_count + count,
                    sizeof *polygons->corner);
}

bool rlv_polygons_close(rlv_polygons* polygons, size_t count)
{
    if (count > 3)
    {
        if (!rlv_grow(&polygons->ngon, &polygons->ngon_room, polygons->ngon_count + 1, sizeof *polygons->ngon))
            return false;
        polygons->ngon[polygons->ngon_count++] = (rlv_ngon){polygons->face_count, count};
    }
    polygons->face_count++;
    polygons->corner_count += count;
    polygons->triangle_count += count - 2;
    return true;
}

void rlv_polygons_free(rlv_polygons* polygons)
{
    free(polygons->corner);
    free(polygons->ngon);
    memset(polygons, 0, sizeof *polygons);
}

/// A polygon laid into its own plane, as a ring of the corners still left.
typedef struct ring
{
    size_t room;
    double (*at)[2];
    uint32_t *before, *after;
    bool *reflex, *ear;
} ring;

static void ring_free(ring* work)
{
    free(work->at);
    free(work->before);
    free(work->after);
    free(work->reflex);
    free(work->ear);
}

static bool ring_hold(ring* work, size_t count)
{
    if (count <= work->room)
        return true;
    ring_free(work);
    *work = (ring){.room = count,
                   .at = malloc(count * sizeof *work->at),
                   .before = malloc(count * sizeof *work->before),
                   .after = malloc(count * sizeof *work->after),
                   .reflex = malloc(count * sizeof *work->reflex),
                   .ear = malloc(count * sizeof *work->ear)};
    if (work->at == NULL || work->before == NULL || work->after == NULL || work->reflex == NULL || work->ear == NULL)
    {
        ring_free(work);
        *work = (ring){0};
    }
    return work->room == count;
}

/// Twice the area of the triangle a, b, c in the plane, positive where it turns left.
static double turn(const double* a, const double* b, const double* c)
{
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

static rlv_vec3 newell_normal(size_t count, const uint32_t* corner, const float* position)
{
    rlv_vec3 sum = {0, 0, 0}, first = rlv_vec3_from(position + 3 * (size_t)corner[0]), last = {0, 0, 0};
    for (size_t i = 1; i < count; i++)
    {
        rlv_vec3 next = rlv_vec3_sub(rlv_vec3_from(position + 3 * (size_t)corner[i]), first);
        sum = rlv_vec3_add(sum, rlv_vec3_cross(last, next));
        last = next;
    }
    return sum;
}

/// Lay the corners into the plane across `normal`, so that the polygon runs counter-clockwise.
static void lay_flat(ring* work, size_t count, const uint32_t* corner, const float* position, rlv_vec3 normal)
{
    rlv_vec3 up = rlv_vec3_unit(normal), first = rlv_vec3_from(position + 3 * (size_t)corner[0]);
    rlv_vec3 side = fabs(up.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0);
    rlv_vec3 u = rlv_vec3_unit(rlv_vec3_cross(side, up)), v = rlv_vec3_cross(up, u);
    for (size_t i = 0; i < count; i++)
    {
        rlv_vec3 at = rlv_vec3_sub(rlv_vec3_from(position + 3 * (size_t)corner[i]), first);
        work->at[i][0] = rlv_vec3_dot(at, u);
        work->at[i][1] = rlv_vec3_dot(at, v);
        work->before[i] = (uint32_t)(i > 0 ? i - 1 : count - 1);
        work->after[i] = (uint32_t)(i + 1 < count ? i + 1 : 0);
    }
}

/// Mark the corners that turn right; how many there are.
static size_t mark_reflex(ring* work, size_t count)
{
    size_t found = 0;
    for (size_t i = 0; i < count; i++)
    {
        work->reflex[i] = turn(work->at[work->before[i]], work->at[i], work->at[work->after[i]]) < 0.0;
        found += work->reflex[i];
    }
    return found;
}

/// Whether corner `i` can be cut off: it turns left, and no reflex corner lies in its triangle.
static bool is_ear(const ring* work, uint32_t i)
{
    uint32_t before = work->before[i], after = work->after[i];
    const double *a = work->at[before], *b = work->at[i], *c = work->at[after];
    if (!(turn(a, b, c) > 0.0))
        return false;
    for (uint32_t j = work->after[after]; j != before; j = work->after[j])
    {
        const double* p = work->at[j];
        bool same = memcmp(p, a, sizeof *work->at) == 0 || memcmp(p, b, sizeof *work->at) == 0 ||
                    memcmp(p, c, sizeof *work->at) == 0;
        if (work->reflex[j] && !same && turn(a, b, p) >= 0.0 && turn(b, c, p) >= 0.0 && turn(c, a, p) >= 0.0)
            return false;
    }
    return true;
}

/// Cutting an ear changes its two neighbours alone (J. O'Rourke, Computational Geometry in C, 1998, section 1.6).
static void look_again(ring* work, uint32_t i)
{
    work->reflex[i] = turn(work->at[work->before[i]], work->at[i], work->at[work->after[i]]) < 0.0;
    work->ear[i] = is_ear(work, i);
}

static void cut_ears(ring* work, size_t count, const uint32_t* corner, uint32_t* triangle)
{
    for (uint32_t i = 0; i < count; i++)
        work->ear[i] = is_ear(work, i);
    uint32_t at = 0;
    for (size_t left = count, tried = 0; left > 2;)
    {
        // A polygon that crosses itself may have no ear left: then corners are cut as they come, so that none is lost.
        if (!work->ear[at] && tried < left)
        {
            at = work->after[at];
            tried++;
            continue;
        }
        uint32_t before = work->before[at], after = work->after[at];
        *triangle++ = corner[before];
        *triangle++ = corner[at];
        *triangle++ = corner[after];
        work->after[before] = after;
        work->before[after] = before;
        look_again(work, before);
        look_again(work, after);
        at = after;
        left--;
        tried = 0;
    }
}

static void fan(size_t count, const uint32_t* corner, uint32_t* triangle)
{
    for (size_t i = 1; i + 1 < count; i++)
    {
        *triangle++ = corner[0];
        *triangle++ = corner[i];
        *triangle++ = corner[i + 1];
    }
}

/// Cut one polygon. False where it is neither convex nor small enough; `work->room` is 0 where memory is not to be had.
static bool cut_one(ring* work, size_t count, const uint32_t* corner, const float* position, uint32_t* triangle)
{
    if (!ring_hold(work, count))
        return false;
    rlv_vec3 normal = newell_normal(count, corner, position);
    lay_flat(work, count, corner, position, normal);
    if (rlv_vec3_dot(normal, normal) == 0.0 || mark_reflex(work, count) == 0)
        fan(count, corner, triangle);
    else if (count > RLV_MOST_CORNERS)
        return false;
    else
        cut_ears(work, count, corner, triangle);
    return true;
}

bool rlv_polygons_cut(const rlv_polygons* polygons, const float* position, uint32_t* triangle, uint32_t* face_of,
                      size_t* bad_face)
{
    if (polygons->face_count == 0)
        return true;
    ring work = {0};
    const uint32_t* corner = polygons->corner;
    bool whole = true;
    size_t face = 0;
    for (size_t n = 0; n <= polygons->ngon_count && whole; n++)
    {
        size_t until = n < polygons->ngon_count ? polygons->ngon[n].face : polygons->face_count, run = until - face;
        memcpy(triangle, corner, 3 * run * sizeof *triangle);
        corner += 3 * run;
        triangle += 3 * run;
        for (; face < until; face++)
            if (face_of != NULL)
                *face_of++ = (uint32_t)face;
        if (n == polygons->ngon_count)
            break;
        size_t count = polygons->ngon[n].count;
        whole = cut_one(&work, count, corner, position, triangle);
        if (!whole)
            *bad_face = work.room == 0 ? SIZE_MAX : face;
        for (size_t i = 0; face_of != NULL && i + 2 < count; i++)
            *face_of++ = (uint32_t)face;
        corner += count;
        triangle += 3 * (count - 2);
        face++;
    }
    ring_free(&work);
    return whole;
}
