#include "mesh_edges.h"

#include <omp.h>
#include <stdlib.h>
#include <string.h>

#define STRANDS_MOST 4 ///< threads that count and fill, each with its own counters: memory against time

/// Sort what a vertex holds. Few entries as a rule; the hub of a fan may have millions.
static int compare_entries(const void* a, const void* b)
{
    uint64_t x = *(const uint64_t*)a, y = *(const uint64_t*)b;
    return (x > y) - (x < y);
}

void rlv_edges_sort(uint64_t* entry, size_t count)
{
    if (count > 64)
    {
        qsort(entry, count, sizeof *entry, compare_entries);
        return;
    }
    for (size_t i = 1; i < count; i++)
    {
        uint64_t moving = entry[i];
        size_t j = i;
        for (; j > 0 && entry[j - 1] > moving; j--)
            entry[j] = entry[j - 1];
        entry[j] = moving;
    }
}

static void count_strand(uint32_t* count, const rlv_mesh* mesh, size_t first, size_t end)
{
    for (size_t t = first; t < end; t++)
    {
        const uint32_t* c = mesh->corner + 3 * t;
        count[c[0] < c[1] ? c[0] : c[1]]++;
        count[c[1] < c[2] ? c[1] : c[2]]++;
        count[c[2] < c[0] ? c[2] : c[0]]++;
    }
}

static inline void put(uint32_t* next, uint64_t* entry, uint32_t a, uint32_t b, size_t triangle)
{
    uint32_t lower = a < b ? a : b, upper = a < b ? b : a;
    entry[next[lower]++] = (uint64_t)upper << 32 | triangle;
}

static void fill_strand(uint32_t* next, uint64_t* entry, const rlv_mesh* mesh, size_t first, size_t end)
{
    for (size_t t = first; t < end; t++)
    {
        const uint32_t* c = mesh->corner + 3 * t;
        put(next, entry, c[0], c[1], t);
        put(next, entry, c[1], c[2], t);
        put(next, entry, c[2], c[0], t);
    }
}

/// Turn the strands' counts into the places where each strand puts its first entry: by vertex, then by strand.
static void places_from_counts(uint32_t* const* strand, size_t strands, size_t vertices)
{
    uint32_t place = 0;
    for (size_t v = 0; v < vertices; v++)
        for (size_t s = 0; s < strands; s++)
        {
            uint32_t count = strand[s][v];
            strand[s][v] = place;
            place += count;
        }
}

static void fill(rlv_edges* edges, const rlv_mesh* mesh, uint32_t* const* strand, size_t strands)
{
    size_t n = mesh->triangle_count;
#pragma omp parallel for schedule(static, 1) num_threads((int)strands)
    for (size_t s = 0; s < strands; s++)
        count_strand(strand[s], mesh, n * s / strands, n * (s + 1) / strands);
    places_from_counts(strand, strands, mesh->vertex_count);
#pragma omp parallel for schedule(static, 1) num_threads((int)strands)
    for (size_t s = 0; s < strands; s++)
        fill_strand(strand[s], edges->entry, mesh, n * s / strands, n * (s + 1) / strands);
#pragma omp parallel for schedule(dynamic, 4096) if (n > RLV_SMALL)
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        // The last strand's next place is where the vertex ends.
        const uint32_t* end = strand[strands - 1];
        size_t begin = v != 0 ? end[v - 1] : 0;
        rlv_edges_sort(edges->entry + begin, end[v] - begin);
    }
}

rlv_status rlv_edges_build(rlv_edges* edges, const rlv_mesh* mesh, rlv_error* error)
{
    if (mesh->triangle_count > UINT32_MAX / 3)
        return rlv_fail(error, RLV_SYSTEM, NULL, "thin the mesh out first", "more than %u million triangles",
                        UINT32_MAX / 3000000u);
    size_t threads = mesh->triangle_count > RLV_SMALL ? (size_t)omp_get_max_threads() : 1;
    size_t strands = threads < STRANDS_MOST ? threads : STRANDS_MOST;
    uint32_t* strand[STRANDS_MOST] = {0};
    bool held = (edges->entry = rlv_reserve(3 * mesh->triangle_count, sizeof *edges->entry, error)) != NULL;
    for (size_t s = 0; s < strands && held; s++)
        held = (strand[s] = rlv_reserve(mesh->vertex_count, sizeof *strand[s], error)) != NULL;
    if (held)
    {
        fill(edges, mesh, strand, strands);
        edges->end = strand[strands - 1];
        edges->vertex_count = mesh->vertex_count;
        strand[strands - 1] = NULL;
    }
    for (size_t s = 0; s < strands; s++)
        free(strand[s]);
    return held ? RLV_DONE : RLV_SYSTEM;
}

void rlv_edges_free(rlv_edges* edges)
{
    free(edges->end);
    free(edges->entry);
    memset(edges, 0, sizeof *edges);
}

rlv_status rlv_edges_open(rlv_open_edge** open, size_t* count, const rlv_edges* edges, const rlv_mesh* mesh,
                          rlv_error* error)
{
    size_t found = 0;
#pragma omp parallel for schedule(dynamic, 4096) reduction(+ : found) if (edges->vertex_count > RLV_SMALL)
    for (size_t v = 0; v < edges->vertex_count; v++)
        for (rlv_edge_run run = rlv_edges_run(edges, (uint32_t)v, NULL); run.count != 0;
             run = rlv_edges_run(edges, (uint32_t)v, &run))
            found += run.count == 1;
    *count = 0;
    *open = rlv_reserve(found, sizeof **open, error);
    if (*open == NULL)
        return RLV_SYSTEM;
    for (size_t v = 0; v < edges->vertex_count && *count < found; v++)
        for (rlv_edge_run run = rlv_edges_run(edges, (uint32_t)v, NULL); run.count != 0;
             run = rlv_edges_run(edges, (uint32_t)v, &run))
        {
            if (run.count != 1)
                continue;
            uint32_t triangle = rlv_run_triangle(&run, 0);
            bool up = rlv_runs_up(mesh, triangle, run.lower, run.upper);
            (*open)[(*count)++] = (rlv_open_edge){up ? run.lower : run.upper, up ? run.upper : run.lower, triangle};
        }
    return RLV_DONE;
}
