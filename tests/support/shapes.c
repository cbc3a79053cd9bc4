#include "shapes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void* grown(void* block, size_t count, size_t size)
{
    void* larger = realloc(block, (count != 0 ? count : 1) * size);
    if (larger == NULL)
    {
        fputs("no memory for a test's mesh\n", stderr);
        abort();
    }
    return larger;
}

size_t shape_add(rlv_mesh* mesh, size_t vertices, const float* position, size_t triangles, const uint32_t* corner)
{
    size_t v = mesh->vertex_count, t = mesh->triangle_count;
    mesh->position_mm = grown(mesh->position_mm, 3 * (v + vertices), sizeof *mesh->position_mm);
    mesh->corner = grown(mesh->corner, 3 * (t + triangles), sizeof *mesh->corner);
    if (vertices != 0)
        memcpy(mesh->position_mm + 3 * v, position, 3 * vertices * sizeof *position);
    for (size_t i = 0; i < 3 * triangles; i++)
        mesh->corner[3 * t + i] = (uint32_t)v + corner[i];
    mesh->vertex_count += vertices;
    mesh->triangle_count += triangles;
    return t;
}

size_t shape_add_box(rlv_mesh* mesh, rlv_vec3 low, rlv_vec3 high)
{
    float position[24];
    for (int i = 0; i < 8; i++)
    {
        position[3 * i] = (float)(i & 1 ? high.x : low.x);
        position[3 * i + 1] = (float)(i & 2 ? high.y : low.y);
        position[3 * i + 2] = (float)(i & 4 ? high.z : low.z);
    }
    static const uint32_t corner[36] = {0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4,
                                        2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5};
    return shape_add(mesh, 8, position, 12, corner);
}

/// Where the point (x, y, z), whole numbers with |x| + |y| + |z| = cuts, stands among an octahedron's vertices: row by
/// row of z, and around in each row.
static uint32_t sphere_vertex(long cuts, long x, long y, long z)
{
    long below =
        z <= 0 ? 2 * (z + cuts) * (z + cuts - 1) + 1 : 4 * cuts * cuts + 2 - (2 * (cuts - z) * (cuts - z + 1) + 1);
    if (z == -cuts)
        return 0;
    long around = cuts - labs(z); // a row has 4 * around points
    if (around == 0)
        return (uint32_t)below;
    long quarter = x > 0 && y >= 0 ? y : y > 0 ? around - x : x < 0 ? 2 * around - y : 3 * around + x;
    return (uint32_t)(below + quarter);
}

size_t shape_add_sphere(rlv_mesh* mesh, rlv_vec3 centre, double radius, size_t cuts)
{
    long n = (long)cuts;
    size_t vertices = 4 * cuts * cuts + 2, triangles = 8 * cuts * cuts, made = 0;
    float* position = grown(NULL, 3 * vertices, sizeof *position);
    uint32_t* corner = grown(NULL, 3 * triangles, sizeof *corner);
    for (long x = -n; x <= n; x++)
        for (long y = -(n - labs(x)); y <= n - labs(x); y++)
            for (int side = -1; side <= 1; side += 2)
            {
                long z = side * (n - labs(x) - labs(y));
                rlv_vec3 on =
                    rlv_vec3_along(centre, radius, rlv_vec3_unit(rlv_vec3_of((double)x, (double)y, (double)z)));
                float* at = position + 3 * sphere_vertex(n, x, y, z);
                at[0] = (float)on.x, at[1] = (float)on.y, at[2] = (float)on.z;
            }
    for (int octant = 0; octant < 8; octant++)
    {
        const long sx = octant & 1 ? -1 : 1, sy = octant & 2 ? -1 : 1, sz = octant & 4 ? -1 : 1;
        for (long i = 0; i < n; i++)
            for (long j = 0; i + j < n; j++)
                for (int half = 0; half < (i + j < n - 1 ? 2 : 1); half++)
                {
                    const long a[2][3][2] = {{{i, j}, {i + 1, j}, {i, j + 1}},
                                             {{i + 1, j}, {i + 1, j + 1}, {i, j + 1}}};
                    for (int k = 0; k < 3; k++)
                    {
                        int from = sx * sy * sz > 0 ? k : (3 - k) % 3; // a mirrored octant turns its triangles
                        long x = a[half][from][0], y = a[half][from][1];
                        corner[3 * made + (size_t)k] = sphere_vertex(n, sx * x, sy * y, sz * (n - x - y));
                    }
                    made++;
                }
    }
    size_t first = shape_add(mesh, vertices, position, triangles, corner);
    free(position);
    free(corner);
    return first;
}

size_t shape_add_turned(rlv_mesh* mesh, size_t count, const double (*rz)[2], size_t steps, bool ring)
{
    // A ring has `count` rows of `steps` vertices; otherwise the first and last row are one vertex each.
    size_t rows = ring ? count : count - 2, vertices = rows * steps + (ring ? 0 : 2), triangles = 0;
    size_t sides = ring ? count : count - 1;
    float* position = grown(NULL, 3 * vertices, sizeof *position);
    uint32_t* corner = grown(NULL, 6 * sides * steps, sizeof *corner);
    size_t v = 0;
    for (size_t row = 0; row < count; row++)
        for (size_t step = 0; step < (!ring && (row == 0 || row == count - 1) ? 1 : steps); step++, v++)
        {
            double angle = 2.0 * M_PI * (double)step / (double)steps;
            position[3 * v] = (float)(rz[row][0] * cos(angle));
            position[3 * v + 1] = (float)(rz[row][0] * sin(angle));
            position[3 * v + 2] = (float)rz[row][1];
        }
    for (size_t side = 0; side < sides; side++)
        for (size_t step = 0; step < steps; step++)
        {
            size_t next = (step + 1) % steps, above = (side + 1) % count;
            bool bottom = !ring && side == 0, top = !ring && side == count - 2;
            size_t low = ring ? side * steps : bottom ? 0 : 1 + (side - 1) * steps;
            size_t high = ring ? above * steps : 1 + side * steps;
            uint32_t a = (uint32_t)(bottom ? 0 : low + step), b = (uint32_t)(bottom ? 0 : low + next);
            uint32_t c = (uint32_t)(top ? high : high + next), d = (uint32_t)(top ? high : high + step);
            if (!bottom)
                memcpy(corner + 3 * triangles++, (uint32_t[]){a, b, c}, 3 * sizeof *corner);
            if (!top)
                memcpy(corner + 3 * triangles++, (uint32_t[]){a, c, d}, 3 * sizeof *corner);
        }
    size_t first = shape_add(mesh, vertices, position, triangles, corner);
    free(position);
    free(corner);
    return first;
}

size_t shape_add_needle(rlv_mesh* mesh, double length)
{
    enum
    {
        MOST = 1000,
    };
    double rz[MOST][2];
    const size_t count = length < MOST - 2 ? (size_t)length + 2 : MOST;
    for (size_t i = 0; i < count; i++)
    {
        rz[i][0] = i == 0 || i == count - 1 ? 0.0 : 1e-24;
        rz[i][1] = length * (double)i / (double)(count - 1);
    }
    return shape_add_turned(mesh, count, (const double(*)[2])rz, 4, false);
}

void shape_turn(rlv_mesh* mesh, size_t first, size_t end)
{
    for (size_t t = first; t < end; t++)
    {
        uint32_t* c = mesh->corner + 3 * t;
        uint32_t second = c[1];
        c[1] = c[2];
        c[2] = second;
    }
}

void shape_shift(rlv_mesh* mesh, size_t first, rlv_vec3 by)
{
    for (size_t v = first; v < mesh->vertex_count; v++)
    {
        float* at = mesh->position_mm + 3 * v;
        rlv_vec3 moved = rlv_vec3_add(rlv_vec3_from(at), by);
        at[0] = (float)moved.x, at[1] = (float)moved.y, at[2] = (float)moved.z;
    }
}
