/// Mending: triangles without area and repeated ones go, neighbours over an edge are made to agree, and shells are
/// turned the right way out. Shells are what hangs together over edges of exactly two triangles: two solids that share
/// a vertex or a branching edge are two shells. Shells are found by union-find on all threads (R. J. Anderson, H. Woll,
/// Wait-free parallel algorithms for the union-find problem, STOC 1991); where triangles disagree, a second union-find
/// carries each triangle's winding relative to its root's.

#include "exact.h"
#include "mesh_drop.h"
#include "mesh_edges.h"
#include "mesh_flat.h"
#include "mesh_nest.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

typedef _Atomic uint32_t shared;

/// What a mend works with.
typedef struct mending
{
    rlv_mesh* mesh;
    rlv_mesh_health* health;
    rlv_error* error;
    rlv_edges edges;
    shared* root;       ///< one a triangle: of the union-find, later the index of its shell
    uint8_t* drop;      ///< one a triangle
    size_t open;        ///< edges of one triangle
    size_t disagreeing; ///< edges of two triangles that run the same way
    size_t shell_count;
    rlv_shell* shell;
} mending;

/// Whether a triangle has an area, and how it lacks one.
static uint8_t flatness(const rlv_mesh* mesh, size_t triangle)
{
    const uint32_t* c = mesh->corner + 3 * triangle;
    const float* at[3];
    for (int i = 0; i < 3; i++)
        at[i] = mesh->position_mm + 3 * (size_t)c[i];
    if (!rlv_exact_on_a_line(at[0], at[1], at[2]))
        return RLV_FLAT_NOT;
    for (int i = 0; i < 3; i++)
    {
        const float *p = at[i], *q = at[(i + 1) % 3];
        if (p[0] == q[0] && p[1] == q[1] && p[2] == q[2])
            return RLV_FLAT_POINT;
    }
    return RLV_FLAT_LINE;
}

static size_t count_unused(const rlv_mesh* mesh, uint8_t* used)
{
#pragma omp parallel for schedule(static) if (mesh->triangle_count > RLV_SMALL)
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
    {
#pragma omp atomic write
        used[mesh->corner[i]] = 1;
    }
    size_t unused = 0;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        unused += !used[v];
    return unused;
}

static rlv_status drop_without_area(mending* work)
{
    rlv_mesh* mesh = work->mesh;
    uint8_t* used = rlv_reserve(mesh->vertex_count, 1, work->error);
    if (used == NULL)
        return RLV_SYSTEM;
    work->health->unused_vertices = count_unused(mesh, used);
    free(used);
    work->drop = rlv_reserve(mesh->triangle_count, 1, work->error);
    if (work->drop == NULL)
        return RLV_SYSTEM;
    size_t found = 0, on_a_line = 0;
#pragma omp parallel for schedule(static) reduction(+ : found, on_a_line) if (mesh->triangle_count > RLV_SMALL)
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        work->drop[t] = flatness(mesh, t);
        found += work->drop[t] != RLV_FLAT_NOT;
        on_a_line += work->drop[t] == RLV_FLAT_LINE;
    }
    work->health->zero_area = found;
    if (on_a_line != 0 && rlv_mesh_flip_flat(mesh, work->drop, work->error) != RLV_DONE)
        return RLV_SYSTEM;
    if (found != 0)
        rlv_mesh_drop_triangles(mesh, work->drop);
    if (mesh->triangle_count == 0)
        return rlv_fail(work->error, RLV_BAD_INPUT, NULL, "check that the file holds a surface, not points only",
                        found != 0 ? "no triangle has any area" : "there are no triangles");
    return RLV_DONE;
}

/// Mark a triangle that repeats an earlier one. All three of its edges find that; the one opposite its highest corner
/// counts it: the return value.
static size_t mark_duplicate(uint8_t* drop, uint32_t triangle, uint32_t third, uint32_t upper)
{
#pragma omp atomic write
    drop[triangle] = 1;
    return third > upper;
}

/// Mark the triangles of a run that repeat an earlier one of it: their third corners are the same.
static size_t mark_duplicates(const rlv_mesh* mesh, const rlv_edge_run* run, uint8_t* drop)
{
    size_t found = 0;
    for (size_t i = 1; i < run->count; i++)
    {
        uint32_t triangle = rlv_run_triangle(run, i), third = rlv_opposite(mesh, triangle, run->lower, run->upper);
        for (size_t j = 0; j < i; j++)
            if (rlv_opposite(mesh, rlv_run_triangle(run, j), run->lower, run->upper) == third)
            {
                found += mark_duplicate(drop, triangle, third, run->upper);
                break;
            }
    }
    return found;
}

/// The same for a run of many, whose entries are sorted by third corner for the while.
static size_t mark_many_duplicates(const rlv_mesh* mesh, const rlv_edge_run* run, uint64_t* entry, uint8_t* drop)
{
    for (size_t i = 0; i < run->count; i++)
    {
        uint32_t triangle = (uint32_t)entry[i];
        entry[i] = (uint64_t)rlv_opposite(mesh, triangle, run->lower, run->upper) << 32 | triangle;
    }
    rlv_edges_sort(entry, run->count);
    size_t found = 0;
    for (size_t i = 1; i < run->count; i++)
        if (entry[i] >> 32 == entry[i - 1] >> 32)
            found += mark_duplicate(drop, (uint32_t)entry[i], (uint32_t)(entry[i] >> 32), run->upper);
    for (size_t i = 0; i < run->count; i++)
        entry[i] = (uint64_t)run->upper << 32 | (uint32_t)entry[i];
    rlv_edges_sort(entry, run->count);
    return found;
}

static size_t find_duplicates(mending* work)
{
    const rlv_edges* edges = &work->edges;
    memset(work->drop, 0, work->mesh->triangle_count);
    size_t found = 0;
#pragma omp parallel for schedule(dynamic, 4096) reduction(+ : found) if (edges->vertex_count > RLV_SMALL)
    for (size_t v = 0; v < edges->vertex_count; v++)
        for (rlv_edge_run run = rlv_edges_run(edges, (uint32_t)v, NULL); run.count != 0;
             run = rlv_edges_run(edges, (uint32_t)v, &run))
            if (run.count > 16)
                found += mark_many_duplicates(work->mesh, &run, edges->entry + (run.entry - edges->entry), work->drop);
            else if (run.count > 1)
                found += mark_duplicates(work->mesh, &run, work->drop);
    return found;
}

/// Build the edge table, of a mesh that holds no triangle twice.
static rlv_status build_edges(mending* work)
{
    rlv_status status = rlv_edges_build(&work->edges, work->mesh, work->error);
    if (status != RLV_DONE)
        return status;
    work->health->duplicate = find_duplicates(work);
    if (work->health->duplicate == 0)
        return RLV_DONE;
    rlv_edges_free(&work->edges);
    rlv_mesh_drop_triangles(work->mesh, work->drop);
    return rlv_edges_build(&work->edges, work->mesh, work->error);
}

/// The root of a triangle. Parents only ever fall, so that the root of a shell is its first triangle.
static uint32_t find_root(shared* root, uint32_t triangle)
{
    uint32_t parent = atomic_load_explicit(&root[triangle], memory_order_relaxed);
    while (parent != triangle)
    {
        uint32_t above = atomic_load_explicit(&root[parent], memory_order_relaxed);
        if (above != parent)
            atomic_compare_exchange_weak_explicit(&root[triangle], &parent, above, memory_order_relaxed,
                                                  memory_order_relaxed);
        triangle = above;
        parent = atomic_load_explicit(&root[triangle], memory_order_relaxed);
    }
    return triangle;
}

static void unite(shared* root, uint32_t a, uint32_t b)
{
    for (;;)
    {
        a = find_root(root, a);
        b = find_root(root, b);
        if (a == b)
            return;
        uint32_t high = a > b ? a : b, low = a > b ? b : a;
        uint32_t expected = high;
        if (atomic_compare_exchange_strong_explicit(&root[high], &expected, low, memory_order_relaxed,
                                                    memory_order_relaxed))
            return;
    }
}

/// Unite triangles over edges of two, and count the edges that branch and those whose triangles disagree.
static rlv_status unite_shells(mending* work)
{
    const rlv_mesh* mesh = work->mesh;
    const rlv_edges* edges = &work->edges;
    work->root = malloc(mesh->triangle_count * sizeof *work->root);
    if (work->root == NULL)
        return rlv_fail(work->error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh",
                        "no memory to tell the shells of a mesh apart");
#pragma omp parallel for schedule(static) if (mesh->triangle_count > RLV_SMALL)
    for (size_t t = 0; t < mesh->triangle_count; t++)
        atomic_store_explicit(&work->root[t], (uint32_t)t, memory_order_relaxed);
    size_t open = 0, branching = 0, disagreeing = 0;
#pragma omp parallel for schedule(dynamic, 4096) reduction(+ : open, branching, disagreeing) \
    if (edges->vertex_count > RLV_SMALL)
    for (size_t v = 0; v < edges->vertex_count; v++)
        for (rlv_edge_run run = rlv_edges_run(edges, (uint32_t)v, NULL); run.count != 0;
             run = rlv_edges_run(edges, (uint32_t)v, &run))
        {
            open += run.count == 1;
            branching += run.count > 2;
            if (run.count != 2)
                continue;
            uint32_t a = rlv_run_triangle(&run, 0), b = rlv_run_triangle(&run, 1);
            disagreeing += rlv_runs_up(mesh, a, run.lower, run.upper) == rlv_runs_up(mesh, b, run.lower, run.upper);
            unite(work->root, a, b);
        }
    work->health->open_edges = work->open = open;
    work->health->branching_edges = branching;
    work->disagreeing = disagreeing;
    return RLV_DONE;
}

/// A triangle's root or, once shells are numbered, its shell.
static inline uint32_t label_of(const mending* work, size_t triangle)
{
    return atomic_load_explicit(&work->root[triangle], memory_order_relaxed);
}

/// Turn roots into shell indices, in the order of the shells' first triangles.
static rlv_status number_shells(mending* work)
{
    size_t n = work->mesh->triangle_count, shells = 0;
#pragma omp parallel for schedule(static) reduction(+ : shells) if (n > RLV_SMALL)
    for (size_t t = 0; t < n; t++)
    {
        uint32_t root = find_root(work->root, (uint32_t)t);
        shells += root == t;
        atomic_store_explicit(&work->root[t], root, memory_order_relaxed);
    }
    work->shell_count = work->health->shells = shells;
    work->shell = rlv_reserve(shells, sizeof *work->shell, work->error);
    if (work->shell == NULL)
        return RLV_SYSTEM;
    for (size_t s = 0; s < shells; s++)
        work->shell[s].closed = true; // until something speaks against it
    // A root is below its triangles: it has its shell's index already when they look it up.
    uint32_t next = 0;
    for (size_t t = 0; t < n && shells > 1; t++)
    {
        uint32_t root = label_of(work, t), label = next;
        if (root == t)
            work->shell[next++].first = (uint32_t)t;
        else
            label = label_of(work, root);
        atomic_store_explicit(&work->root[t], label, memory_order_relaxed);
        work->shell[label].triangles++;
    }
    if (shells == 1)
        work->shell[0].triangles = n;
    return RLV_DONE;
}

static void turn_triangle(rlv_mesh* mesh, size_t triangle)
{
    uint32_t* c = mesh->corner + 3 * triangle;
    uint32_t second = c[1];
    c[1] = c[2];
    c[2] = second;
}

/// A union-find whose links tell whether a triangle is wound against its parent: the lowest bit of a link.
typedef struct windings
{
    uint64_t* link;  ///< parent << 1 | against
    bool* one_sided; ///< one a shell
    size_t* against; ///< one a shell: triangles wound against its first
} windings;

static uint64_t find_winding(uint64_t* link, uint32_t triangle)
{
    // Two passes: the root and the winding against it, then every link on the way straight to it.
    uint64_t against = 0;
    uint32_t at = triangle;
    while (link[at] >> 1 != at)
    {
        against ^= link[at] & 1;
        at = (uint32_t)(link[at] >> 1);
    }
    uint64_t left = against;
    while (triangle != at)
    {
        uint64_t old = link[triangle];
        link[triangle] = (uint64_t)at << 1 | left;
        left ^= old & 1;
        triangle = (uint32_t)(old >> 1);
    }
    return (uint64_t)at << 1 | against;
}

static void unite_windings(mending* work, windings* winding)
{
    const rlv_mesh* mesh = work->mesh;
    for (size_t v = 0; v < work->edges.vertex_count; v++)
        for (rlv_edge_run run = rlv_edges_run(&work->edges, (uint32_t)v, NULL); run.count != 0;
             run = rlv_edges_run(&work->edges, (uint32_t)v, &run))
        {
            if (run.count != 2)
                continue;
            uint32_t a = rlv_run_triangle(&run, 0), b = rlv_run_triangle(&run, 1);
            uint64_t same = rlv_runs_up(mesh, a, run.lower, run.upper) == rlv_runs_up(mesh, b, run.lower, run.upper);
            uint64_t x = find_winding(winding->link, a), y = find_winding(winding->link, b);
            uint64_t against = (x ^ y ^ same) & 1;
            if (x >> 1 == y >> 1)
                winding->one_sided[label_of(work, a)] |= against != 0;
            else if (x >> 1 < y >> 1)
                winding->link[y >> 1] = (x & ~(uint64_t)1) | against;
            else
                winding->link[x >> 1] = (y & ~(uint64_t)1) | against;
        }
}

/// Turn the smaller part of every shell to agree with the larger; at a draw, to agree with the first triangle.
static void turn_minorities(mending* work, windings* winding)
{
    for (size_t t = 0; t < work->mesh->triangle_count; t++)
        winding->against[label_of(work, t)] += find_winding(winding->link, (uint32_t)t) & 1;
    for (size_t t = 0; t < work->mesh->triangle_count; t++)
    {
        uint32_t own = label_of(work, t);
        bool against = find_winding(winding->link, (uint32_t)t) & 1;
        bool most_against = 2 * winding->against[own] > work->shell[own].triangles;
        if (winding->one_sided[own] || against == most_against)
            continue;
        turn_triangle(work->mesh, t);
        work->health->mixed_winding++;
    }
}

/// Make the triangles of each shell agree where that can be.
static rlv_status agree(mending* work)
{
    if (work->disagreeing == 0)
        return RLV_DONE;
    windings winding = {0};
    winding.link = rlv_reserve(work->mesh->triangle_count, sizeof *winding.link, work->error);
    winding.one_sided = rlv_reserve(work->shell_count, sizeof *winding.one_sided, work->error);
    winding.against = rlv_reserve(work->shell_count, sizeof *winding.against, work->error);
    bool held = winding.link != NULL && winding.one_sided != NULL && winding.against != NULL;
    if (held)
    {
        for (size_t t = 0; t < work->mesh->triangle_count; t++)
            winding.link[t] = (uint64_t)t << 1;
        unite_windings(work, &winding);
        turn_minorities(work, &winding);
        for (size_t s = 0; s < work->shell_count; s++)
        {
            work->shell[s].closed = !winding.one_sided[s];
            work->health->one_sided |= winding.one_sided[s];
        }
    }
    free(winding.link);
    free(winding.one_sided);
    free(winding.against);
    return held ? RLV_DONE : RLV_SYSTEM;
}

/// Sums over the triangles of one shell in one strip; the volume about the shell's first corner.
typedef struct shell_sums
{
    double area2, volume6;
    float low[3], high[3];
} shell_sums;

static const float* corner_at(const rlv_mesh* mesh, size_t triangle, size_t corner)
{
    return mesh->position_mm + 3 * (size_t)mesh->corner[3 * triangle + corner];
}

static void add_triangle(shell_sums* sum, const rlv_mesh* mesh, size_t triangle, rlv_vec3 reference)
{
    rlv_vec3 corner[3];
    for (size_t i = 0; i < 3; i++)
    {
        const float* at = corner_at(mesh, triangle, i);
        corner[i] = rlv_vec3_sub(rlv_vec3_from(at), reference);
        for (int k = 0; k < 3; k++)
        {
            sum->low[k] = at[k] < sum->low[k] ? at[k] : sum->low[k];
            sum->high[k] = at[k] > sum->high[k] ? at[k] : sum->high[k];
        }
    }
    rlv_vec3 normal = rlv_vec3_cross(rlv_vec3_sub(corner[1], corner[0]), rlv_vec3_sub(corner[2], corner[0]));
    sum->area2 += rlv_vec3_length(normal);
    sum->volume6 += rlv_vec3_dot(corner[0], normal);
}

static void add_to_shell(rlv_shell* shell, const shell_sums* sum)
{
    shell->area_mm2 += sum->area2 / 2.0;
    shell->volume_mm3 += sum->volume6 / 6.0;
    for (int k = 0; k < 3; k++)
    {
        shell->low[k] = sum->low[k] < shell->low[k] ? sum->low[k] : shell->low[k];
        shell->high[k] = sum->high[k] > shell->high[k] ? sum->high[k] : shell->high[k];
    }
}

static const shell_sums nothing = {0.0, 0.0, {INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};

/// The shell with the most triangles, on all threads, in strips that do not depend on their number.
static void measure_largest(mending* work, uint32_t largest)
{
    enum
    {
        STRIPS = 256
    };
    shell_sums strip[STRIPS];
    size_t n = work->mesh->triangle_count;
    rlv_shell* shell = &work->shell[largest];
    rlv_vec3 reference = rlv_vec3_from(corner_at(work->mesh, shell->first, 0));
#pragma omp parallel for schedule(dynamic) if (n > RLV_SMALL)
    for (size_t i = 0; i < STRIPS; i++)
    {
        shell_sums sum = nothing;
        for (size_t t = n * i / STRIPS; t < n * (i + 1) / STRIPS; t++)
            if (label_of(work, t) == largest)
                add_triangle(&sum, work->mesh, t, reference);
        strip[i] = sum;
    }
    for (size_t i = 0; i < STRIPS; i++)
        add_to_shell(shell, &strip[i]);
}

static void measure_shells(mending* work)
{
    uint32_t largest = 0;
    for (size_t s = 0; s < work->shell_count; s++)
    {
        memcpy(work->shell[s].low, nothing.low, sizeof nothing.low);
        memcpy(work->shell[s].high, nothing.high, sizeof nothing.high);
        if (work->shell[s].triangles > work->shell[largest].triangles)
            largest = (uint32_t)s;
    }
    measure_largest(work, largest);
    for (size_t t = 0; t < work->mesh->triangle_count && work->shell_count > 1; t++)
    {
        rlv_shell* shell = &work->shell[label_of(work, t)];
        if (shell == &work->shell[largest])
            continue;
        shell_sums sum = nothing;
        add_triangle(&sum, work->mesh, t, rlv_vec3_from(corner_at(work->mesh, shell->first, 0)));
        add_to_shell(shell, &sum);
    }
    double area = 0.0;
    for (size_t s = 0; s < work->shell_count; s++)
        area += work->shell[s].area_mm2;
    for (size_t s = 0; s < work->shell_count; s++)
        work->health->islands += work->shell[s].area_mm2 < area / 1000.0;
}

/// Whether the triangles of a branching edge (of one shell, or of all for UINT32_MAX) run up it as often as down.
static bool balanced(const mending* work, const rlv_edge_run* run, uint32_t shell)
{
    ptrdiff_t up = 0;
    for (size_t i = 0; i < run->count; i++)
    {
        uint32_t triangle = rlv_run_triangle(run, i);
        if (shell == UINT32_MAX || label_of(work, triangle) == shell)
            up += rlv_runs_up(work->mesh, triangle, run->lower, run->upper) ? 1 : -1;
    }
    return up == 0;
}

/// Take from the shells at a branching edge what they do not close there.
static void judge_branching(mending* work, const rlv_edge_run* run)
{
    work->health->closed &= balanced(work, run, UINT32_MAX);
    for (size_t i = 0; i < run->count; i++)
    {
        // Thousands of triangles at one edge are no solid's, and would take their square in time.
        uint32_t own = label_of(work, rlv_run_triangle(run, i));
        if (work->shell[own].closed && (run->count > 1024 || !balanced(work, run, own)))
            work->shell[own].closed = false;
    }
}

/// Say which shells are closed, and count the border loops.
static rlv_status judge_shells(mending* work)
{
    rlv_mesh_health* health = work->health;
    health->closed = health->open_edges == 0 && !health->one_sided;
    for (uint32_t v = 0; v < work->edges.vertex_count && health->branching_edges != 0; v++)
        for (rlv_edge_run run = rlv_edges_run(&work->edges, v, NULL); run.count != 0;
             run = rlv_edges_run(&work->edges, v, &run))
            if (run.count > 2)
                judge_branching(work, &run);
    if (work->open == 0)
        return RLV_DONE;
    rlv_open_edge* open = NULL;
    size_t count = 0;
    rlv_mesh_borders borders = {0};
    rlv_status status = rlv_edges_open(&open, &count, &work->edges, work->mesh, work->error);
    for (size_t i = 0; i < count; i++)
        work->shell[label_of(work, open[i].triangle)].closed = false;
    if (status == RLV_DONE)
        status = rlv_edges_walk(&borders, open, count, work->error);
    health->border_loops = borders.loop_count;
    rlv_mesh_borders_free(&borders);
    free(open);
    return status;
}

static rlv_status turn_shells(mending* work)
{
    rlv_status status = rlv_mesh_nest(work->shell, work->shell_count, work->root, work->mesh, work->error);
    if (status != RLV_DONE)
        return status;
    for (size_t s = 0; s < work->shell_count; s++)
        work->health->inside_out += work->shell[s].turn;
    if (work->health->inside_out == 0)
        return RLV_DONE;
#pragma omp parallel for schedule(static) if (work->mesh->triangle_count > RLV_SMALL)
    for (size_t t = 0; t < work->mesh->triangle_count; t++)
        if (work->shell[label_of(work, t)].turn)
            turn_triangle(work->mesh, t);
    return RLV_DONE;
}

rlv_status rlv_mesh_mend(rlv_mesh* mesh, rlv_mesh_health* health, rlv_error* error)
{
    memset(health, 0, sizeof *health);
    mending work = {.mesh = mesh, .health = health, .error = error};
    rlv_status status = drop_without_area(&work);
    if (status == RLV_DONE)
        status = build_edges(&work);
    if (status == RLV_DONE)
        status = unite_shells(&work);
    if (status == RLV_DONE)
        status = number_shells(&work);
    if (status == RLV_DONE)
        status = agree(&work);
    if (status == RLV_DONE)
        status = judge_shells(&work);
    rlv_edges_free(&work.edges);
    if (status == RLV_DONE)
    {
        measure_shells(&work);
        status = turn_shells(&work);
    }
    free(work.root);
    free(work.drop);
    free(work.shell);
    return status;
}
