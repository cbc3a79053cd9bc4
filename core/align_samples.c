#include "align_samples.h"

#include <gsl/gsl_eigen.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK 32768 ///< triangles summed as one, so that sums do not depend on threads

typedef struct block_sum
{
    double taken_mm2;    ///< area that may be sampled
    double area_mm2;     ///< area with what is left out
    rlv_vec3 vector_mm2; ///< sum of area vectors
} block_sum;

/// Twice the area vector of a triangle.
static rlv_vec3 area_vector(const rlv_mesh* mesh, size_t triangle, rlv_vec3 corner[3])
{
    for (int k = 0; k < 3; k++)
        corner[k] = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * triangle + (size_t)k]);
    return rlv_vec3_cross(rlv_vec3_sub(corner[1], corner[0]), rlv_vec3_sub(corner[2], corner[0]));
}

static block_sum sum_block(const rlv_mesh* mesh, const uint8_t* left_out, size_t first, size_t last)
{
    block_sum sum = {0};
    for (size_t t = first; t < last; t++)
    {
        rlv_vec3 corner[3];
        rlv_vec3 twice = area_vector(mesh, t, corner);
        double area = 0.5 * rlv_vec3_length(twice);
        sum.area_mm2 += area;
        sum.vector_mm2 = rlv_vec3_along(sum.vector_mm2, 0.5, twice);
        if (left_out == NULL || left_out[t] == 0)
            sum.taken_mm2 += area;
    }
    return sum;
}

/// Place the samples whose step of area begins in this block. `before_mm2` is the area before the block.
static void sample_block(rlv_samples* samples, const rlv_mesh* mesh, const uint8_t* left_out, size_t first, size_t last,
                         double before_mm2, uint64_t seed)
{
    double inside = 0.0; // summed as sum_block does, so that blocks meet to the bit and no sample falls between two
    size_t next = (size_t)(before_mm2 / samples->step_mm2);
    next = next > 1 ? next - 2 : 0;
    while (next < samples->count && ((double)next + rlv_shake(seed, 3 * next)) * samples->step_mm2 < before_mm2)
        next++;
    for (size_t t = first; t < last; t++)
    {
        if (left_out != NULL && left_out[t] != 0)
            continue;
        rlv_vec3 corner[3];
        rlv_vec3 twice = area_vector(mesh, t, corner);
        double length = rlv_vec3_length(twice);
        inside += 0.5 * length;
        const double reached = before_mm2 + inside;
        for (; next < samples->count && ((double)next + rlv_shake(seed, 3 * next)) * samples->step_mm2 < reached;
             next++)
        {
            double root = sqrt(rlv_shake(seed, 3 * next + 1)), v = rlv_shake(seed, 3 * next + 2);
            rlv_vec3 at = rlv_vec3_scale(corner[0], 1.0 - root);
            at = rlv_vec3_along(at, root * (1.0 - v), corner[1]);
            at = rlv_vec3_along(at, root * v, corner[2]);
            float* p = samples->position_mm + 3 * next;
            float* n = samples->facet + 3 * next;
            p[0] = (float)at.x, p[1] = (float)at.y, p[2] = (float)at.z;
            n[0] = (float)(twice.x / length), n[1] = (float)(twice.y / length), n[2] = (float)(twice.z / length);
        }
    }
}

static uint64_t spread_bits(uint64_t x)
{
    x &= 0x1FFFFF;
    x = (x | x << 32) & 0x1F00000000FFFFu;
    x = (x | x << 16) & 0x1F0000FF0000FFu;
    x = (x | x << 8) & 0x100F00F00F00F00Fu;
    x = (x | x << 4) & 0x10C30C30C30C30C3u;
    return (x | x << 2) & 0x1249249249249249u;
}

static void find_extent(rlv_samples* samples)
{
    rlv_vec3 low = {INFINITY, INFINITY, INFINITY}, high = {-INFINITY, -INFINITY, -INFINITY}, sum = {0, 0, 0};
    for (size_t i = 0; i < samples->count; i++)
    {
        rlv_vec3 p = rlv_vec3_from(samples->position_mm + 3 * i);
        low = rlv_vec3_of(fmin(low.x, p.x), fmin(low.y, p.y), fmin(low.z, p.z));
        high = rlv_vec3_of(fmax(high.x, p.x), fmax(high.y, p.y), fmax(high.z, p.z));
        sum = rlv_vec3_add(sum, p);
    }
    samples->low_mm = low;
    samples->high_mm = high;
    samples->centre_mm = rlv_vec3_scale(sum, 1.0 / (double)samples->count);
    double greatest = 0.0;
    for (size_t i = 0; i < samples->count; i++)
        greatest = fmax(greatest,
                        rlv_vec3_length(rlv_vec3_sub(rlv_vec3_from(samples->position_mm + 3 * i), samples->centre_mm)));
    samples->radius_mm = greatest;
}

/// Sort by the Morton key in `key` (30 bits, index below it), eleven bits at a time.
static void radix_sort(uint64_t* key, uint64_t* spare, size_t count)
{
    for (int shift = 32; shift < 65 - 2; shift += 11)
    {
        size_t start[2049] = {0};
        for (size_t i = 0; i < count; i++)
            start[1 + (key[i] >> shift & 2047)]++;
        for (size_t i = 0; i < 2048; i++)
            start[i + 1] += start[i];
        for (size_t i = 0; i < count; i++)
            spare[start[key[i] >> shift & 2047]++] = key[i];
        memcpy(key, spare, count * sizeof *key);
    }
}

static rlv_status sort_along_curve(rlv_samples* samples, rlv_error* error)
{
    const size_t count = samples->count;
    uint64_t* key = rlv_reserve(2 * count, sizeof *key, error);
    float* moved = key != NULL ? rlv_reserve(6 * count, sizeof *moved, error) : NULL;
    if (moved == NULL)
    {
        free(key);
        return RLV_SYSTEM;
    }
    rlv_vec3 extent = rlv_vec3_sub(samples->high_mm, samples->low_mm);
    double factor = 1023.0 / fmax(fmax(extent.x, extent.y), fmax(extent.z, 1e-30));
    for (size_t i = 0; i < count; i++)
    {
        rlv_vec3 p = rlv_vec3_sub(rlv_vec3_from(samples->position_mm + 3 * i), samples->low_mm);
        uint64_t curve = spread_bits((uint64_t)(p.x * factor)) | spread_bits((uint64_t)(p.y * factor)) << 1 |
                         spread_bits((uint64_t)(p.z * factor)) << 2;
        key[i] = curve << 32 | i;
    }
    radix_sort(key, key + count, count);
    for (size_t i = 0; i < count; i++)
    {
        size_t from = key[i] & UINT32_MAX;
        memcpy(moved + 3 * i, samples->position_mm + 3 * from, 3 * sizeof *moved);
        memcpy(moved + 3 * (count + i), samples->facet + 3 * from, 3 * sizeof *moved);
    }
    memcpy(samples->position_mm, moved, 3 * count * sizeof *moved);
    memcpy(samples->facet, moved + 3 * count, 3 * count * sizeof *moved);
    free(moved);
    free(key);
    return RLV_DONE;
}

/// Mean of the facets' normals around sample `i`, those of the far side of a thin place left out.
static rlv_vec3 mean_normal(const rlv_samples* samples, const rlv_sample_cells* cells, size_t i)
{
    const double radius2 = cells->side_mm * cells->side_mm;
    rlv_vec3 at = rlv_vec3_from(samples->position_mm + 3 * i), own = rlv_vec3_from(samples->facet + 3 * i);
    const double place[3] = {at.x, at.y, at.z};
    size_t low[3], high[3];
    for (int k = 0; k < 3; k++)
    {
        low[k] = rlv_sample_cells_along(cells, k, place[k] - cells->side_mm);
        high[k] = rlv_sample_cells_along(cells, k, place[k] + cells->side_mm);
    }
    rlv_vec3 sum = {0, 0, 0};
    for (size_t z = low[2]; z <= high[2]; z++)
        for (size_t y = low[1]; y <= high[1]; y++)
        {
            size_t row = (z * cells->size[1] + y) * cells->size[0];
            for (uint32_t k = cells->start[row + low[0]]; k < cells->start[row + high[0] + 1]; k++)
            {
                size_t j = cells->item[k];
                rlv_vec3 apart = rlv_vec3_sub(rlv_vec3_from(samples->position_mm + 3 * j), at);
                rlv_vec3 facet = rlv_vec3_from(samples->facet + 3 * j);
                double near = 1.0 - rlv_vec3_dot(apart, apart) / radius2;
                if (near > 0.0 && rlv_vec3_dot(facet, own) > 0.0)
                    sum = rlv_vec3_along(sum, near * near, facet);
            }
        }
    return rlv_vec3_unit(sum);
}

static rlv_status smooth_normals(rlv_samples* samples, rlv_error* error)
{
    rlv_sample_cells cells = {0};
    // About twenty neighbours: steep enough noise (0.1 mm over 1 mm) averages to a degree or so.
    rlv_status status =
        rlv_sample_cells_sort(&cells, samples->count, samples->position_mm, 2.5 * samples->spacing_mm, error);
    if (status != RLV_DONE)
        return status;
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < samples->count; i++)
    {
        rlv_vec3 n = mean_normal(samples, &cells, i);
        float* to = samples->normal + 3 * i;
        to[0] = (float)n.x, to[1] = (float)n.y, to[2] = (float)n.z;
    }
    rlv_sample_cells_free(&cells);
    return RLV_DONE;
}

static rlv_status sum_blocks(rlv_samples* samples, block_sum* sum, double* before_mm2, const rlv_mesh* mesh,
                             const uint8_t* left_out, size_t count, rlv_error* error)
{
    const size_t blocks = (mesh->triangle_count + BLOCK - 1) / BLOCK;
#pragma omp parallel for schedule(static)
    for (size_t b = 0; b < blocks; b++)
    {
        size_t last = (b + 1) * BLOCK < mesh->triangle_count ? (b + 1) * BLOCK : mesh->triangle_count;
        sum[b] = sum_block(mesh, left_out, b * BLOCK, last);
    }
    block_sum total = {0};
    for (size_t b = 0; b < blocks; b++)
    {
        before_mm2[b] = total.taken_mm2;
        total.taken_mm2 += sum[b].taken_mm2;
        total.area_mm2 += sum[b].area_mm2;
        total.vector_mm2 = rlv_vec3_add(total.vector_mm2, sum[b].vector_mm2);
    }
    if (!(total.taken_mm2 > 0.0))
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "leave less of the surface out of the alignment",
                        "no surface is left to align");
    samples->area_mm2 = total.area_mm2;
    samples->imbalance = rlv_vec3_length(total.vector_mm2) / total.area_mm2;
    samples->step_mm2 = total.taken_mm2 / ((double)count + 0.5);
    samples->spacing_mm = sqrt(samples->step_mm2);
    return RLV_DONE;
}

rlv_status rlv_samples_take(rlv_samples* samples, const rlv_mesh* mesh, const uint8_t* left_out, size_t count,
                            uint64_t seed, rlv_error* error)
{
    const size_t blocks = (mesh->triangle_count + BLOCK - 1) / BLOCK;
    block_sum* sum = rlv_reserve(blocks, sizeof *sum, error);
    double* before_mm2 = sum != NULL ? rlv_reserve(blocks, sizeof *before_mm2, error) : NULL;
    samples->position_mm = before_mm2 != NULL ? rlv_reserve(3 * count, sizeof(float), error) : NULL;
    samples->facet = samples->position_mm != NULL ? rlv_reserve(3 * count, sizeof(float), error) : NULL;
    samples->normal = samples->facet != NULL ? rlv_reserve(3 * count, sizeof(float), error) : NULL;
    rlv_status status = samples->normal == NULL ? RLV_SYSTEM : RLV_DONE;
    samples->count = count;
    if (status == RLV_DONE)
        status = sum_blocks(samples, sum, before_mm2, mesh, left_out, count, error);
    if (status == RLV_DONE)
    {
#pragma omp parallel for schedule(static)
        for (size_t b = 0; b < blocks; b++)
        {
            size_t last = (b + 1) * BLOCK < mesh->triangle_count ? (b + 1) * BLOCK : mesh->triangle_count;
            sample_block(samples, mesh, left_out, b * BLOCK, last, before_mm2[b], seed);
        }
        find_extent(samples);
        status = sort_along_curve(samples, error);
    }
    if (status == RLV_DONE)
        status = smooth_normals(samples, error);
    free(before_mm2);
    free(sum);
    if (status != RLV_DONE)
        rlv_samples_free(samples);
    return status;
}

void rlv_samples_free(rlv_samples* samples)
{
    free(samples->position_mm);
    free(samples->facet);
    free(samples->normal);
    memset(samples, 0, sizeof *samples);
}

rlv_status rlv_samples_axes(const rlv_samples* samples, rlv_vec3 axis[3], rlv_error* error)
{
    double moment[9] = {0}, value[3], vector[9];
    for (size_t i = 0; i < samples->count; i++)
    {
        rlv_vec3 p = rlv_vec3_sub(rlv_vec3_from(samples->position_mm + 3 * i), samples->centre_mm);
        const double at[3] = {p.x, p.y, p.z};
        for (int k = 0; k < 9; k++)
            moment[k] += at[k / 3] * at[k % 3];
    }
    gsl_eigen_symmv_workspace* space = gsl_eigen_symmv_alloc(3);
    if (space == NULL)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the axes of a mesh");
    gsl_matrix_view from = gsl_matrix_view_array(moment, 3, 3), to = gsl_matrix_view_array(vector, 3, 3);
    gsl_vector_view values = gsl_vector_view_array(value, 3);
    gsl_eigen_symmv(&from.matrix, &values.vector, &to.matrix, space);
    gsl_eigen_symmv_sort(&values.vector, &to.matrix, GSL_EIGEN_SORT_VAL_ASC);
    gsl_eigen_symmv_free(space);
    for (int k = 0; k < 3; k++)
        axis[k] = rlv_vec3_of(vector[k], vector[3 + k], vector[6 + k]);
    return RLV_DONE;
}

rlv_status rlv_sample_cells_sort(rlv_sample_cells* cells, size_t count, const float* position_mm, double side_mm,
                                 rlv_error* error)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < 3 * count; i++)
    {
        low[i % 3] = fmin(low[i % 3], (double)position_mm[i]);
        high[i % 3] = fmax(high[i % 3], (double)position_mm[i]);
    }
    cells->low_mm = rlv_vec3_of(low[0], low[1], low[2]);
    cells->side_mm = side_mm;
    size_t total = 0;
    for (;;)
    {
        double cell_count = 1.0;
        for (int k = 0; k < 3; k++)
            cell_count *= floor((high[k] - low[k]) / cells->side_mm) + 1.0;
        if (cell_count <= 4e6)
            break;
        cells->side_mm *= 1.25;
    }
    for (int k = 0; k < 3; k++)
        cells->size[k] = (size_t)((high[k] - low[k]) / cells->side_mm) + 1;
    total = cells->size[0] * cells->size[1] * cells->size[2];
    cells->start = rlv_reserve(total + 2, sizeof *cells->start, error);
    cells->item = cells->start != NULL ? rlv_reserve(count, sizeof *cells->item, error) : NULL;
    uint32_t* cell_of = cells->item != NULL ? rlv_reserve(count, sizeof *cell_of, error) : NULL;
    if (cell_of == NULL)
    {
        rlv_sample_cells_free(cells);
        return RLV_SYSTEM;
    }
    for (size_t i = 0; i < count; i++)
    {
        size_t at[3];
        for (int k = 0; k < 3; k++)
            at[k] = rlv_sample_cells_along(cells, k, (double)position_mm[3 * i + (size_t)k]);
        cell_of[i] = (uint32_t)((at[2] * cells->size[1] + at[1]) * cells->size[0] + at[0]);
        cells->start[cell_of[i] + 2]++;
    }
    for (size_t c = 0; c < total; c++)
        cells->start[c + 2] += cells->start[c + 1];
    for (size_t i = 0; i < count; i++)
        cells->item[cells->start[cell_of[i] + 1]++] = (uint32_t)i;
    free(cell_of);
    return RLV_DONE;
}

void rlv_sample_cells_free(rlv_sample_cells* cells)
{
    free(cells->start);
    free(cells->item);
    memset(cells, 0, sizeof *cells);
}
