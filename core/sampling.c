#include "sampling.h"

#include "cubes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// Sums over the triangles around a vertex.
typedef struct vertex_sum
{
    float normal[3]; ///< a third of their area normals
    float area_mm2;  ///< a third of their areas
    float edge_mm4;  ///< the same, times the mean square of their edges
} vertex_sum;

static void sum_around_vertices(const rlv_mesh* mesh, vertex_sum* sums)
{
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        const uint32_t* corner = mesh->corner + 3 * t;
        const float *a = mesh->position_mm + 3 * (size_t)corner[0], *b = mesh->position_mm + 3 * (size_t)corner[1],
                    *c = mesh->position_mm + 3 * (size_t)corner[2];
        const float u[3] = {b[0] - a[0], b[1] - a[1], b[2] - a[2]}, v[3] = {c[0] - a[0], c[1] - a[1], c[2] - a[2]};
        const float n[3] = {(u[1] * v[2] - u[2] * v[1]) / 6.0f, (u[2] * v[0] - u[0] * v[2]) / 6.0f,
                            (u[0] * v[1] - u[1] * v[0]) / 6.0f};
        const float area = sqrtf(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
        float edges = 0.0f;
        for (int k = 0; k < 3; k++)
            edges += u[k] * u[k] + v[k] * v[k] + (u[k] - v[k]) * (u[k] - v[k]);
        for (int k = 0; k < 3; k++)
        {
            vertex_sum* at = sums + corner[k];
            at->normal[0] += n[0];
            at->normal[1] += n[1];
            at->normal[2] += n[2];
            at->area_mm2 += area;
            at->edge_mm4 += area * edges * (1.0f / 3.0f);
        }
    }
}

/// Mark the vertices on open borders in `border`. A closed surface has no vector area, so that most meshes are spared
/// the walk.
static rlv_status mark_borders(const rlv_mesh* mesh, const vertex_sum* sums, uint8_t* border, rlv_error* error)
{
    rlv_vec3 vector_area = {0, 0, 0};
    double area = 0.0;
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        vector_area = rlv_vec3_add(vector_area, rlv_vec3_from(sums[i].normal));
        area += (double)sums[i].area_mm2;
    }
    // Float sums of areas carry a rounding of about one part in ten million.
    if (rlv_vec3_length(vector_area) < 3e-6 * area)
        return RLV_DONE;
    rlv_mesh_borders borders = {0};
    rlv_status status = rlv_mesh_borders_find(&borders, mesh, error);
    if (status == RLV_DONE)
        for (size_t i = 0; i < borders.start[borders.loop_count]; i++)
            border[borders.vertex[i]] = 1;
    rlv_mesh_borders_free(&borders);
    return status;
}

/// The part of each vertex: 0 where most of its triangles are of none, else the highest of theirs.
static rlv_status part_vertices(uint8_t** part, const rlv_mesh* mesh, const uint8_t* of_triangle, rlv_error* error)
{
    if (of_triangle == NULL)
        return RLV_DONE;
    int16_t* balance = rlv_reserve(mesh->vertex_count, sizeof *balance, error);
    *part = balance != NULL ? rlv_reserve(mesh->vertex_count, 1, error) : NULL;
    if (*part != NULL)
    {
        for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        {
            const uint32_t vertex = mesh->corner[i];
            const uint8_t of = of_triangle[i / 3];
            const int next = balance[vertex] + (of != 0 ? 1 : -1);
            balance[vertex] = (int16_t)(next > INT16_MAX ? INT16_MAX : next < INT16_MIN ? INT16_MIN : next);
            (*part)[vertex] = of > (*part)[vertex] ? of : (*part)[vertex];
        }
        for (size_t v = 0; v < mesh->vertex_count; v++)
            if (balance[v] < 0)
                (*part)[v] = 0;
    }
    free(balance);
    return *part != NULL ? RLV_DONE : RLV_SYSTEM;
}

static rlv_status reserve_samples(rlv_sampling* sampling, size_t count, bool parts, rlv_error* error)
{
    sampling->count = count;
    if (parts && (sampling->part = rlv_reserve(count, 1, error)) == NULL)
        return RLV_SYSTEM;
    if ((sampling->position_mm = rlv_reserve(3 * count, sizeof(float), error)) == NULL ||
        (sampling->normal = rlv_reserve(3 * count, sizeof(float), error)) == NULL ||
        (sampling->area_mm2 = rlv_reserve(count, sizeof(float), error)) == NULL ||
        (sampling->chord_mm = rlv_reserve(count, sizeof(float), error)) == NULL ||
        (sampling->border = rlv_reserve(count, 1, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

/// The vertex of `cell` nearest to its members' centroid: averaging positions would sink the sample below a curved
/// surface.
static uint32_t middle_vertex(const rlv_cubes* cells, size_t cell, const uint32_t* used, const float* position_mm)
{
    double centre[3] = {0};
    const uint32_t first = cells->start[cell], end = cells->start[cell + 1];
    for (uint32_t m = first; m < end; m++)
        for (int k = 0; k < 3; k++)
            centre[k] += (double)position_mm[3 * (size_t)used[cells->member[m]] + (size_t)k] / (end - first);
    uint32_t best = used[cells->member[first]];
    double least = INFINITY;
    for (uint32_t m = first; m < end; m++)
    {
        const uint32_t vertex = used[cells->member[m]];
        double apart = 0.0;
        for (int k = 0; k < 3; k++)
        {
            double step = (double)position_mm[3 * (size_t)vertex + (size_t)k] - centre[k];
            apart += step * step;
        }
        if (apart < least)
            least = apart, best = vertex;
    }
    return best;
}

static void fill_sample(rlv_sampling* sampling, size_t s, const rlv_mesh* mesh, const vertex_sum* sums,
                        const uint8_t* border, const uint8_t* part, const rlv_cubes* cells, const uint32_t* used)
{
    rlv_vec3 normal = {0, 0, 0};
    double area = 0.0, edges = 0.0;
    for (uint32_t m = cells->start[s]; m < cells->start[s + 1]; m++)
    {
        const uint32_t vertex = used[cells->member[m]];
        normal = rlv_vec3_add(normal, rlv_vec3_from(sums[vertex].normal));
        area += (double)sums[vertex].area_mm2;
        edges += (double)sums[vertex].edge_mm4;
        sampling->border[s] |= border[vertex];
        sampling->of_vertex[vertex] = (uint32_t)s;
    }
    const uint32_t middle = middle_vertex(cells, s, used, mesh->position_mm);
    const double length = rlv_vec3_length(normal);
    const double agreement = area > 0.0 ? fmin(length / area, 1.0) : 1.0;
    normal = rlv_vec3_unit(normal);
    memcpy(sampling->position_mm + 3 * s, mesh->position_mm + 3 * (size_t)middle, 3 * sizeof(float));
    sampling->normal[3 * s] = (float)normal.x;
    sampling->normal[3 * s + 1] = (float)normal.y;
    sampling->normal[3 * s + 2] = (float)normal.z;
    sampling->area_mm2[s] = (float)area;
    if (part != NULL)
        sampling->part[s] = part[middle];
    // Normals that stray by the angle a within an edge's length let an edge pass the surface at a * edge / 2.
    const double edge_mm = area > 0.0 ? sqrt(edges / area) : 0.0;
    sampling->chord_mm[s] = (float)(0.5 * edge_mm * sqrt(2.0 * (1.0 - agreement)));
}

/// Sort the used vertices into cells so that about `most` are filled; every vertex has its own where there are fewer.
static rlv_status thin(rlv_cubes* cells, const rlv_mesh* mesh, const uint8_t* part, const uint32_t* used,
                       size_t used_count, double area_mm2, size_t most, rlv_error* error)
{
    rlv_status status = RLV_SYSTEM;
    uint8_t* tag = NULL;
    float* point = rlv_reserve(3 * used_count, sizeof *point, error);
    if (point == NULL || (part != NULL && (tag = rlv_reserve(used_count, 1, error)) == NULL))
        goto end;
    for (size_t i = 0; i < used_count; i++)
        memcpy(point + 3 * i, mesh->position_mm + 3 * (size_t)used[i], 3 * sizeof *point);
    for (size_t i = 0; tag != NULL && i < used_count; i++)
        tag[i] = part[used[i]];
    // A surface that crosses a grid at random fills about 1.5 cells for each area of a cell's face.
    const double side = used_count > most ? sqrt(1.5 * area_mm2 / (double)most) : 1e-2 * sqrt(area_mm2 / (double)most);
    status = rlv_cubes_build(cells, used_count, point, tag, side, error);
end:
    free(point);
    free(tag);
    return status;
}

rlv_status rlv_sampling_take(rlv_sampling* sampling, const rlv_mesh* mesh, const uint8_t* part, size_t most,
                             rlv_error* error)
{
    rlv_status status = RLV_SYSTEM;
    rlv_cubes cells = {0};
    vertex_sum* sums = NULL;
    uint8_t *border = NULL, *of_vertex = NULL;
    uint32_t* used = NULL;
    size_t used_count = 0;
    double area = 0.0;
    if ((sums = rlv_reserve(mesh->vertex_count, sizeof *sums, error)) == NULL ||
        (border = rlv_reserve(mesh->vertex_count, 1, error)) == NULL ||
        (used = rlv_reserve(mesh->vertex_count, sizeof *used, error)) == NULL ||
        (sampling->of_vertex = rlv_reserve(mesh->vertex_count, sizeof *sampling->of_vertex, error)) == NULL)
        goto end;
    sum_around_vertices(mesh, sums);
    if ((status = mark_borders(mesh, sums, border, error)) != RLV_DONE ||
        (status = part_vertices(&of_vertex, mesh, part, error)) != RLV_DONE)
        goto end;
    // A vertex counts where it is a corner, even of slivers whose areas round to nothing: a foot may lie there.
    for (size_t i = 0; i < mesh->vertex_count; i++)
        sampling->of_vertex[i] = RLV_CUBES_NONE;
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
        sampling->of_vertex[mesh->corner[i]] = 0;
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        area += (double)sums[i].area_mm2;
        if (sampling->of_vertex[i] != RLV_CUBES_NONE)
            used[used_count++] = (uint32_t)i;
    }
    if (!(area > 0.0))
    {
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "give a mesh with a surface", "the mesh has no area");
        goto end;
    }
    if ((status = thin(&cells, mesh, of_vertex, used, used_count, area, most, error)) != RLV_DONE ||
        (status = reserve_samples(sampling, cells.count, part != NULL, error)) != RLV_DONE)
        goto end;
    sampling->spacing_mm = sqrt(area / (double)cells.count);
#pragma omp parallel for schedule(static)
    for (size_t s = 0; s < cells.count; s++)
        fill_sample(sampling, s, mesh, sums, border, of_vertex, &cells, used);
    status = RLV_DONE;
end:
    rlv_cubes_free(&cells);
    free(sums);
    free(border);
    free(of_vertex);
    free(used);
    if (status != RLV_DONE)
        rlv_sampling_free(sampling);
    return status;
}

void rlv_sampling_free(rlv_sampling* sampling)
{
    free(sampling->position_mm);
    free(sampling->normal);
    free(sampling->area_mm2);
    free(sampling->chord_mm);
    free(sampling->border);
    free(sampling->part);
    free(sampling->of_vertex);
    memset(sampling, 0, sizeof *sampling);
}
