#include "cast_parts.h"
#include "each_width.h"

#include <omp.h>

#define BATCH 64 // triangles whose angles are found together

// Triangles by their parts, so that whole runs are worked at once.
typedef struct batch
{
    size_t count;
    uint32_t corner[BATCH][3];
    float at[3][3][BATCH];                 // of a corner, along an axis
    float face[3][BATCH], angle[3][BATCH]; // the facing, of length one, and the three angles
} batch;

// One over a length; a large number for none, which is of no account to a vector of zeros. Without a branch, as all
// here, so that whole runs are worked at once.
static inline float inverse_length(float x, float y, float z)
{
    return 1.0f / (sqrtf(x * x + y * y + z * z) + 1e-30f);
}

// Arc cosine to 7e-5 (M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 4.4.45), mirrored at the right
// angle.
static inline float angle_of(float cosine)
{
    const float right = 1.5707963f;
    float x = fabsf(cosine);
    float sharp = sqrtf(fabsf(1.0f - x)) * (1.5707288f + x * (-0.2121144f + x * (0.0742610f - 0.0187293f * x)));
    return right - copysignf(right - sharp, cosine);
}

EACH_WIDTH static void find_angles(batch* of)
{
    const float *ax = of->at[0][0], *ay = of->at[0][1], *az = of->at[0][2], *bx = of->at[1][0], *by = of->at[1][1],
                *bz = of->at[1][2], *cx = of->at[2][0], *cy = of->at[2][1], *cz = of->at[2][2];
    float *fx = of->face[0], *fy = of->face[1], *fz = of->face[2];
#pragma omp simd
    for (size_t i = 0; i < BATCH; i++)
    {
        // Edges from a to b, b to c, c to a, of length one.
        float px = bx[i] - ax[i], py = by[i] - ay[i], pz = bz[i] - az[i], p = inverse_length(px, py, pz);
        float qx = cx[i] - bx[i], qy = cy[i] - by[i], qz = cz[i] - bz[i], q = inverse_length(qx, qy, qz);
        float rx = ax[i] - cx[i], ry = ay[i] - cy[i], rz = az[i] - cz[i], r = inverse_length(rx, ry, rz);
        float x = py * qz - pz * qy, y = pz * qx - px * qz, z = px * qy - py * qx, f = inverse_length(x, y, z);
        fx[i] = f * x;
        fy[i] = f * y;
        fz[i] = f * z;
        of->angle[0][i] = angle_of(-(rx * px + ry * py + rz * pz) * (r * p));
        of->angle[1][i] = angle_of(-(px * qx + py * qy + pz * qz) * (p * q));
        of->angle[2][i] = angle_of(-(qx * rx + qy * ry + qz * rz) * (q * r));
    }
}

// Add the batch to the sums of the vertices from `from` to before `to`, and empty it.
static void put_batch(batch* of, size_t from, size_t to, float* normal)
{
    find_angles(of);
    for (size_t i = 0; i < of->count; i++)
        for (size_t k = 0; k < 3; k++)
        {
            size_t v = of->corner[i][k];
            if (v < from || v >= to)
                continue;
            for (size_t axis = 0; axis < 3; axis++)
                normal[3 * v + axis] += of->angle[k][i] * of->face[axis][i];
        }
    of->count = 0;
}

// Each thread sums for its own stretch of vertices, over all triangles in order: the sums are the same for any count.
void cast_sum_corner_normals(const rlv_mesh* mesh, float* normal)
{
#pragma omp parallel
    {
        size_t threads = (size_t)omp_get_num_threads(), thread = (size_t)omp_get_thread_num();
        size_t from = mesh->vertex_count * thread / threads, to = mesh->vertex_count * (thread + 1) / threads;
        batch own = {0};
        for (size_t t = 0; t < mesh->triangle_count; t++)
        {
            const uint32_t* corner = mesh->corner + 3 * t;
            bool mine = false;
            for (size_t k = 0; k < 3; k++)
                mine = mine || (corner[k] >= from && corner[k] < to);
            if (!mine)
                continue;
            size_t i = own.count++;
            for (size_t k = 0; k < 3; k++)
            {
                own.corner[i][k] = corner[k];
                for (size_t axis = 0; axis < 3; axis++)
                    own.at[k][axis][i] = mesh->position_mm[3 * (size_t)corner[k] + axis];
            }
            if (own.count == BATCH)
                put_batch(&own, from, to, normal);
        }
        put_batch(&own, from, to, normal);
#pragma omp barrier
        for (size_t v = from; v < to; v++)
            unit3(normal + 3 * v);
    }
}
