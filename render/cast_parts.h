/// What the files behind cast.h share: small vectors in float, and the tiles that a picture is worked in.

#ifndef RLV_CAST_PARTS_H
#define RLV_CAST_PARTS_H

#include "cast.h"

#include <math.h>

#define TILE 16 // a tile of TILE * TILE places of a grid is one piece of work
#define TILE_PIXELS (TILE * TILE)

static inline float dot3(const float a[3], const float b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static inline void unit3(float a[3])
{
    float length = sqrtf(dot3(a, a));
    float factor = length > 0.0f ? 1.0f / length : 0.0f;
    for (int i = 0; i < 3; i++)
        a[i] *= factor;
}

// A triangle's facing, twice its area long.
static inline void face_of(const rlv_mesh* mesh, size_t triangle, float face[3])
{
    const uint32_t* corner = mesh->corner + 3 * triangle;
    const float* a = mesh->position_mm + 3 * (size_t)corner[0];
    const float* b = mesh->position_mm + 3 * (size_t)corner[1];
    const float* c = mesh->position_mm + 3 * (size_t)corner[2];
    float p[3] = {b[0] - a[0], b[1] - a[1], b[2] - a[2]};
    float q[3] = {c[0] - a[0], c[1] - a[1], c[2] - a[2]};
    face[0] = p[1] * q[2] - p[2] * q[1];
    face[1] = p[2] * q[0] - p[0] * q[2];
    face[2] = p[0] * q[1] - p[1] * q[0];
}

// From the mesh's axes to the picture's, and back.
static inline void turn(const rlv_mat3* to, const float from[3], float into[3])
{
    for (int i = 0; i < 3; i++)
        into[i] = (float)to->m[3 * i] * from[0] + (float)to->m[3 * i + 1] * from[1] + (float)to->m[3 * i + 2] * from[2];
}

static inline void turn_back(const rlv_mat3* to, const float from[3], float into[3])
{
    for (int i = 0; i < 3; i++)
        into[i] = (float)to->m[i] * from[0] + (float)to->m[3 + i] * from[1] + (float)to->m[6 + i] * from[2];
}

typedef struct tile
{
    size_t left, top, right, bottom; // within a grid, such as that of the cast's pixels
} tile;

static inline size_t tile_count(size_t width, size_t height)
{
    return ((width + TILE - 1) / TILE) * ((height + TILE - 1) / TILE);
}

static inline tile tile_of(size_t width, size_t height, size_t index)
{
    size_t across = (width + TILE - 1) / TILE;
    size_t left = (index % across) * TILE, top = (index / across) * TILE;
    size_t right = left + TILE < width ? left + TILE : width;
    size_t bottom = top + TILE < height ? top + TILE : height;
    return (tile){left, top, right, bottom};
}

// The places of a grid within `reach` of (x, y), ends included.
static inline tile around(size_t width, size_t height, size_t x, size_t y, size_t reach)
{
    return (tile){x > reach ? x - reach : 0, y > reach ? y - reach : 0, x + reach < width ? x + reach : width - 1,
                  y + reach < height ? y + reach : height - 1};
}

// A vertex's facing, for all vertices: the mean of its triangles, weighted by their angle there, so that it does not
// hang on how a face was cut into triangles (G. Thuermer, C. Wuethrich, Journal of Graphics Tools 3(1), 1998).
// `normal` has room for three numbers a vertex, and holds zeros.
void cast_sum_corner_normals(const rlv_mesh* mesh, float* normal);

// Fill what each pixel sees: all but cast->open and cast->lit, which are 1, with the facings as they are before they
// are calmed. Corners are placed to the 4096th part of a pixel, or as finely as numbers reach where the mesh is wider
// than 65536 pixels.
rlv_status cast_see(rlv_cast* cast, const rlv_mesh* mesh, rlv_error* error);

// Fill cast->open and cast->lit (see rlv_cast_make).
rlv_status cast_look_around(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, const rlv_cast_light* light,
                            double diagonal_mm, rlv_error* error);

#endif
