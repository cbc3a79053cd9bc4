#include "cast_parts.h"

#include <stdlib.h>

#define BAND 128      // rows that are filled by one thread at a time
#define CHUNK 2048    // triangles whose rows are known together
#define FINEST 12     // bits of a pixel that corners are placed by, at most
#define WIDEST 0x1p28 // of a corner's place, so that products of two edges fit in 64 bits

// A corner in the cast's rectangle: from the middle of its first pixel to the right and downwards, in parts of a pixel;
// and its height above the target.
typedef struct corner
{
    int32_t x, y;
    double height_mm;
} corner;

// The rows that some triangles may touch.
typedef struct span
{
    int32_t top, bottom; // in parts of a pixel
} span;

typedef struct filling
{
    rlv_cast* cast;
    const rlv_mesh* mesh;
    corner* corner;
    span* span; // a chunk of triangles
    int bits;   // of a pixel
} filling;

static rlv_vec3 in_picture(const rlv_cast* cast, const rlv_mesh* mesh, size_t vertex)
{
    const rlv_vec3 from_eye = rlv_vec3_sub(rlv_vec3_from(mesh->position_mm + 3 * vertex), cast->eye_mm),
                   at = rlv_mat3_apply(cast->to_picture, from_eye);
    const double pixel_mm = (double)cast->pixel_mm;
    return rlv_vec3_of(cast->middle_px.x - (double)cast->left - 0.5 + at.x / pixel_mm,
                       cast->middle_px.y - (double)cast->top - 0.5 - at.y / pixel_mm, cast->eye_height_mm + at.z);
}

// Place all corners, as finely as the farthest of them allows.
static void place_corners(filling* of)
{
    const rlv_mesh* mesh = of->mesh;
    double far = 1.0;
#pragma omp parallel for schedule(static) reduction(max : far)
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        const rlv_vec3 at = in_picture(of->cast, mesh, v);
        far = fmax(far, fmax(fabs(at.x), fabs(at.y)));
    }
    int room;
    (void)frexp(WIDEST / far, &room); // WIDEST / far is at least 2^(room - 1)
    of->bits = room - 1 < FINEST ? room - 1 : FINEST;
    of->bits = of->bits > 0 ? of->bits : 0;
    const double unit = ldexp(1.0, of->bits);
#pragma omp parallel for schedule(static)
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        const rlv_vec3 at = in_picture(of->cast, mesh, v);
        of->corner[v] = (corner){(int32_t)lrint(fmin(fmax(unit * at.x, -WIDEST), WIDEST)),
                                 (int32_t)lrint(fmin(fmax(unit * at.y, -WIDEST), WIDEST)), at.z};
    }
}

static inline int32_t least3(int32_t a, int32_t b, int32_t c)
{
    const int32_t less = a < b ? a : b;
    return less < c ? less : c;
}

static inline int32_t most3(int32_t a, int32_t b, int32_t c)
{
    const int32_t more = a > b ? a : b;
    return more > c ? more : c;
}

static span span_of(const filling* of, size_t triangle)
{
    const uint32_t* corner = of->mesh->corner + 3 * triangle;
    const int32_t a = of->corner[corner[0]].y, b = of->corner[corner[1]].y, c = of->corner[corner[2]].y;
    return (span){least3(a, b, c), most3(a, b, c)};
}

static void span_chunk(const filling* of, size_t chunk)
{
    span all = {INT32_MAX, INT32_MIN};
    for (size_t t = chunk * CHUNK; t < (chunk + 1) * CHUNK && t < of->mesh->triangle_count; t++)
    {
        const span own = span_of(of, t);
        all.top = own.top < all.top ? own.top : all.top;
        all.bottom = own.bottom > all.bottom ? own.bottom : all.bottom;
    }
    of->span[chunk] = all;
}

// How far a place lies off the line from a to b, times the line's length: a pixel is within a triangle where it is on
// one side of all three (J. Pineda, A parallel algorithm for polygon rasterization, SIGGRAPH 1988).
typedef struct edge
{
    int64_t at, right, down; // where the triangle's box begins, and for a pixel's step
} edge;

static inline edge edge_of(const corner* a, const corner* b, int64_t x, int64_t y, int bits, int64_t sign)
{
    const int64_t along = sign * ((int64_t)b->x - a->x), down = sign * ((int64_t)b->y - a->y);
    const int64_t pixel = (int64_t)1 << bits;
    return (edge){along * (y - a->y) - down * (x - a->x), -down * pixel, along * pixel};
}

// The nearest is seen; of two as near, the one with the lower number: in whatever order they come.
static inline void see(rlv_cast* cast, size_t pixel, size_t triangle, float height_mm, float u, float v)
{
    if (height_mm < cast->height_mm[pixel] ||
        (height_mm == cast->height_mm[pixel] && triangle >= cast->triangle[pixel]))
        return;
    cast->triangle[pixel] = (uint32_t)triangle;
    cast->height_mm[pixel] = height_mm;
    cast->weight[2 * pixel] = u;
    cast->weight[2 * pixel + 1] = v;
}

// The pixels of a triangle from row `top` to before `bottom`. Middles on its edges count as within: corners are placed
// once, so that triangles which share an edge leave no pixel between them.
static void fill_triangle(const filling* of, size_t triangle, int64_t top, int64_t bottom)
{
    rlv_cast* cast = of->cast;
    const uint32_t* index = of->mesh->corner + 3 * triangle;
    const corner *a = of->corner + index[0], *b = of->corner + index[1], *c = of->corner + index[2];
    const int bits = of->bits;
    const int64_t twice =
                      ((int64_t)b->x - a->x) * ((int64_t)c->y - a->y) - ((int64_t)b->y - a->y) * ((int64_t)c->x - a->x),
                  sign = twice < 0 ? -1 : 1, up = ((int64_t)1 << bits) - 1;
    int64_t left = (least3(a->x, b->x, c->x) + up) >> bits, right = most3(a->x, b->x, c->x) >> bits,
            first = (least3(a->y, b->y, c->y) + up) >> bits, last = most3(a->y, b->y, c->y) >> bits;
    left = left > 0 ? left : 0;
    right = right < (int64_t)cast->width - 1 ? right : (int64_t)cast->width - 1;
    first = first > top ? first : top;
    last = last < bottom - 1 ? last : bottom - 1;
    if (twice == 0 || left > right || first > last)
        return;
    edge ab = edge_of(a, b, left << bits, first << bits, bits, sign),
         bc = edge_of(b, c, left << bits, first << bits, bits, sign),
         ca = edge_of(c, a, left << bits, first << bits, bits, sign);
    const double share = 1.0 / (double)(sign * twice),
                 rise[2] = {b->height_mm - a->height_mm, c->height_mm - a->height_mm};
    for (int64_t y = first; y <= last; y++)
    {
        int64_t p = ab.at, q = bc.at, r = ca.at;
        for (int64_t x = left; x <= right; x++)
        {
            if ((p | q | r) >= 0)
            {
                const double u = share * (double)r, v = share * (double)p;
                see(cast, (size_t)y * cast->width + (size_t)x, triangle,
                    (float)(a->height_mm + u * rise[0] + v * rise[1]), (float)u, (float)v);
            }
            p += ab.right;
            q += bc.right;
            r += ca.right;
        }
        ab.at += ab.down;
        bc.at += bc.down;
        ca.at += ca.down;
    }
}

static void fill_band(const filling* of, size_t band)
{
    rlv_cast* cast = of->cast;
    const size_t top = band * BAND, bottom = top + BAND < cast->height ? top + BAND : cast->height,
                 chunks = (of->mesh->triangle_count + CHUNK - 1) / CHUNK;
    for (size_t p = top * cast->width; p < bottom * cast->width; p++)
    {
        cast->triangle[p] = RLV_TREE_NONE;
        cast->height_mm[p] = -INFINITY;
        cast->open[p] = cast->lit[p] = 1.0f;
    }
    const int64_t from = (int64_t)top << of->bits, to = (int64_t)(bottom - 1) << of->bits;
    for (size_t chunk = 0; chunk < chunks; chunk++)
    {
        if (of->span[chunk].bottom < from || of->span[chunk].top > to)
            continue;
        for (size_t t = chunk * CHUNK; t < (chunk + 1) * CHUNK && t < of->mesh->triangle_count; t++)
        {
            const span own = span_of(of, t);
            if (own.bottom >= from && own.top <= to)
                fill_triangle(of, t, (int64_t)top, (int64_t)bottom);
        }
    }
    for (size_t p = top * cast->width; p < bottom * cast->width; p++)
    {
        const rlv_hit hit = {.u = cast->weight[2 * p], .v = cast->weight[2 * p + 1], .triangle = cast->triangle[p]};
        bool back = false;
        if (hit.triangle != RLV_TREE_NONE)
            rlv_cast_facing(cast, of->mesh, &hit, cast->normal + 3 * p, &back);
        cast->back[p] = back;
    }
}

rlv_status cast_see(rlv_cast* cast, const rlv_mesh* mesh, rlv_error* error)
{
    const size_t chunks = (mesh->triangle_count + CHUNK - 1) / CHUNK, bands = (cast->height + BAND - 1) / BAND;
    filling of = {.cast = cast, .mesh = mesh};
    rlv_status status = RLV_SYSTEM;
    if ((of.corner = rlv_reserve(mesh->vertex_count, sizeof *of.corner, error)) != NULL &&
        (of.span = rlv_reserve(chunks, sizeof *of.span, error)) != NULL)
    {
        status = RLV_DONE;
        place_corners(&of);
#pragma omp parallel for schedule(static)
        for (size_t i = 0; i < chunks; i++)
            span_chunk(&of, i);
#pragma omp parallel for schedule(dynamic)
        for (size_t i = 0; i < bands; i++)
            fill_band(&of, i);
    }
    free(of.corner);
    free(of.span);
    return status;
}
