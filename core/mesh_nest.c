/// Nesting of shells by winding numbers: from a few points on each shell a ray goes up the z axis, and the triangles of
/// the other shells that it meets are counted with their direction (the winding number of a closed surface is the
/// signed count of its crossings). All rays are met in one pass over the triangles, through a grid across z. In the
/// plane the test is exact, with edges half open, so that a ray through an edge or a vertex counts once.

#include "mesh_nest.h"

#include "exact.h"
#include "mesh_edges.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#define RAYS 4 ///< from each shell; the first that can be told is believed

/// A ray's start: the middle of one of the shell's triangles, to the nearest float.
typedef struct nest_ray
{
    float at[3];
    uint32_t shell;
} nest_ray;

/// A ray met a triangle of another shell.
typedef struct crossing
{
    uint32_t ray, shell;
    int32_t turn; ///< 1 leaves, -1 enters, 0 cannot be told
} crossing;

typedef struct crossings
{
    crossing* list;
    size_t count, room;
    bool failed;
} crossings;

/// Rays by the cell of their start, in the plane across z.
typedef struct nest_grid
{
    size_t ray_count;
    nest_ray* ray;
    float low[2];
    double cells_per_mm[2];
    uint32_t size[2];
    uint32_t* start; ///< one a cell, and one more
    uint32_t* order; ///< rays by cell
} nest_grid;

static inline uint32_t label_of(const _Atomic uint32_t* label, size_t triangle)
{
    return atomic_load_explicit(&label[triangle], memory_order_relaxed);
}

static void add_crossing(crossings* found, crossing one)
{
    if (found->count == found->room)
    {
        size_t room = found->room != 0 ? 2 * found->room : 256;
        crossing* list = realloc(found->list, room * sizeof *list);
        if (list == NULL)
        {
            found->failed = true;
            return;
        }
        found->list = list;
        found->room = room;
    }
    found->list[found->count++] = one;
}

static uint32_t cell_along(const nest_grid* grid, int axis, float at)
{
    double cell = ((double)at - (double)grid->low[axis]) * grid->cells_per_mm[axis];
    if (!(cell > 0.0))
        return 0;
    return cell < (double)(grid->size[axis] - 1) ? (uint32_t)cell : grid->size[axis] - 1;
}

static size_t cell_of(const nest_grid* grid, const float* at)
{
    return (size_t)cell_along(grid, 1, at[1]) * grid->size[0] + cell_along(grid, 0, at[0]);
}

/// Winding of a triangle about a point in the plane: the edges that pass to the right of it, upward less downward. The
/// lower end of an edge belongs to it, the upper does not; a point on an edge has it on its left.
static int winding_in_plane(const float* const corner[3], const float* at)
{
    int winding = 0;
    for (int i = 0; i < 3; i++)
    {
        const float *u = corner[i], *v = corner[(i + 1) % 3];
        bool up = v[1] > at[1];
        if ((u[1] > at[1]) == up)
            continue;
        const float *lower = up ? u : v, *upper = up ? v : u;
        if (rlv_exact_side((double)lower[0], (double)lower[1], (double)upper[0], (double)upper[1], (double)at[0],
                           (double)at[1]) > 0)
            winding += up ? 1 : -1;
    }
    return winding;
}

/// Where a point lies to the plane of a triangle: above it (1), below it (-1), or too near to tell (0).
static int side_of_plane(const float* const corner[3], const float* at)
{
    rlv_vec3 d = rlv_vec3_from(at);
    rlv_vec3 a = rlv_vec3_sub(rlv_vec3_from(corner[0]), d), b = rlv_vec3_sub(rlv_vec3_from(corner[1]), d),
             c = rlv_vec3_sub(rlv_vec3_from(corner[2]), d);
    double volume = a.z * (b.x * c.y - c.x * b.y) + b.z * (c.x * a.y - a.x * c.y) + c.z * (a.x * b.y - b.x * a.y);
    double permanent = fabs(a.z) * (fabs(b.x * c.y) + fabs(c.x * b.y)) +
                       fabs(b.z) * (fabs(c.x * a.y) + fabs(a.x * c.y)) +
                       fabs(c.z) * (fabs(a.x * b.y) + fabs(b.x * a.y));
    double bound = 7.771561172376103e-16 * permanent; // (7 + 56 u) u: Shewchuk's bound for orient3d
    return volume > bound ? -1 : volume < -bound ? 1 : 0;
}

static bool box_inside(const rlv_shell* inner, const rlv_shell* outer)
{
    for (int i = 0; i < 3; i++)
        if (inner->low[i] < outer->low[i] || inner->high[i] > outer->high[i])
            return false;
    return true;
}

static void meet_ray(const nest_grid* grid, const rlv_shell* shell, uint32_t ray, const float* const corner[3],
                     uint32_t own, crossings* found)
{
    const nest_ray* from = &grid->ray[ray];
    if (from->shell == own || !box_inside(&shell[from->shell], &shell[own]))
        return;
    int winding = winding_in_plane(corner, from->at);
    if (winding == 0)
        return;
    // The determinant's sign follows the triangle's winding: seen so, a positive volume is a point below it.
    int side = side_of_plane(corner, from->at) * winding;
    if (side <= 0)
        add_crossing(found, (crossing){ray, own, side == 0 ? 0 : winding});
}

static void meet_triangle(const nest_grid* grid, const rlv_shell* shell, const rlv_mesh* mesh, size_t triangle,
                          uint32_t own, crossings* found)
{
    const float* corner[3];
    for (size_t i = 0; i < 3; i++)
        corner[i] = mesh->position_mm + 3 * (size_t)mesh->corner[3 * triangle + i];
    uint32_t low[2], high[2];
    for (int i = 0; i < 2; i++)
    {
        low[i] = cell_along(grid, i, fminf(corner[0][i], fminf(corner[1][i], corner[2][i])));
        high[i] = cell_along(grid, i, fmaxf(corner[0][i], fmaxf(corner[1][i], corner[2][i])));
    }
    for (uint32_t y = low[1]; y <= high[1]; y++)
    {
        size_t row = (size_t)y * grid->size[0];
        for (uint32_t i = grid->start[row + low[0]]; i < grid->start[row + high[0] + 1]; i++)
            meet_ray(grid, shell, grid->order[i], corner, own, found);
    }
}

/// Start RAYS rays from each closed shell, from triangles spread over it.
static rlv_status start_rays(nest_grid* grid, const rlv_shell* shell, size_t shell_count, const _Atomic uint32_t* label,
                             const rlv_mesh* mesh, rlv_error* error)
{
    uint32_t* seen = rlv_reserve(shell_count, sizeof *seen, error);
    grid->ray = seen != NULL ? rlv_reserve(RAYS * shell_count, sizeof *grid->ray, error) : NULL;
    if (grid->ray == NULL)
    {
        free(seen);
        return RLV_SYSTEM;
    }
    // Rays stand at RAYS * shell + which, so that a shell finds its own; those of open shells stay unused.
    grid->ray_count = RAYS * shell_count;
    for (size_t i = 0; i < grid->ray_count; i++)
        grid->ray[i].shell = UINT32_MAX;
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        uint32_t mine = label_of(label, t);
        const rlv_shell* own = &shell[mine];
        size_t index = seen[mine]++;
        if (!own->closed)
            continue;
        for (size_t which = 0; which < RAYS; which++)
            if (index == own->triangles * which / RAYS)
            {
                const uint32_t* c = mesh->corner + 3 * t;
                rlv_vec3 sum = {0, 0, 0};
                for (int i = 0; i < 3; i++)
                    sum = rlv_vec3_add(sum, rlv_vec3_from(mesh->position_mm + 3 * (size_t)c[i]));
                nest_ray* ray = &grid->ray[RAYS * (size_t)mine + which];
                *ray = (nest_ray){{(float)(sum.x / 3), (float)(sum.y / 3), (float)(sum.z / 3)}, mine};
            }
    }
    free(seen);
    return RLV_DONE;
}

/// Lay the grid over the rays, about two to a cell, and sort the rays into it.
static rlv_status lay_grid(nest_grid* grid, size_t used, rlv_error* error)
{
    float high[2] = {-INFINITY, -INFINITY};
    grid->low[0] = grid->low[1] = INFINITY;
    for (size_t i = 0; i < grid->ray_count; i++)
        for (int k = 0; k < 2 && grid->ray[i].shell != UINT32_MAX; k++)
        {
            grid->low[k] = fminf(grid->low[k], grid->ray[i].at[k]);
            high[k] = fmaxf(high[k], grid->ray[i].at[k]);
        }
    uint32_t side = (uint32_t)fmin(4096.0, ceil(sqrt((double)used / 2.0)));
    for (int k = 0; k < 2; k++)
    {
        grid->size[k] = side;
        double width = (double)high[k] - (double)grid->low[k];
        grid->cells_per_mm[k] = width > 0.0 ? (double)side / width : 0.0;
    }
    size_t cells = (size_t)side * side;
    grid->start = rlv_reserve(cells + 2, sizeof *grid->start, error);
    grid->order = grid->start != NULL ? rlv_reserve(grid->ray_count, sizeof *grid->order, error) : NULL;
    if (grid->order == NULL)
        return RLV_SYSTEM;
    // Counted two cells ahead, so that filling leaves every start in its place.
    for (size_t i = 0; i < grid->ray_count; i++)
        if (grid->ray[i].shell != UINT32_MAX)
            grid->start[cell_of(grid, grid->ray[i].at) + 2]++;
    for (size_t c = 2; c < cells + 2; c++)
        grid->start[c] += grid->start[c - 1];
    for (size_t i = 0; i < grid->ray_count; i++)
        if (grid->ray[i].shell != UINT32_MAX)
            grid->order[grid->start[cell_of(grid, grid->ray[i].at) + 1]++] = (uint32_t)i;
    return RLV_DONE;
}

static int compare_crossings(const void* a, const void* b)
{
    const crossing *x = a, *y = b;
    if (x->ray != y->ray)
        return x->ray < y->ray ? -1 : 1;
    return (x->shell > y->shell) - (x->shell < y->shell);
}

/// Meet all triangles of closed shells with all rays: the crossings, sorted by ray and shell.
static rlv_status meet_all(crossings* all, const nest_grid* grid, const rlv_shell* shell, const _Atomic uint32_t* label,
                           const rlv_mesh* mesh, rlv_error* error)
{
    bool failed = false;
#pragma omp parallel if (mesh->triangle_count > RLV_SMALL)
    {
        crossings own = {0};
#pragma omp for schedule(dynamic, 8192)
        for (size_t t = 0; t < mesh->triangle_count; t++)
            if (shell[label_of(label, t)].closed)
                meet_triangle(grid, shell, mesh, t, label_of(label, t), &own);
#pragma omp critical(rlv_mesh_nest)
        {
            failed |= own.failed;
            for (size_t i = 0; i < own.count; i++)
                add_crossing(all, own.list[i]);
        }
        free(own.list);
    }
    if (failed || all->failed)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh",
                        "no memory to see which shells lie inside which");
    if (all->count != 0)
        qsort(all->list, all->count, sizeof *all->list, compare_crossings);
    return RLV_DONE;
}

/// A shell lies inside another, whose winding number about it is `winding`.
typedef struct containment
{
    uint32_t inner, outer;
    int32_t winding;
} containment;

/// The winding number of `outer` about a shell, from the first of the shell's rays that can tell; 0 where none can.
static int32_t winding_about(const crossings* all, uint32_t inner, uint32_t outer)
{
    for (uint32_t ray = RAYS * inner; ray < RAYS * (inner + 1); ray++)
    {
        size_t low = 0, high = all->count;
        crossing key = {ray, outer, 0};
        while (low < high)
        {
            size_t middle = low + (high - low) / 2;
            if (compare_crossings(&all->list[middle], &key) < 0)
                low = middle + 1;
            else
                high = middle;
        }
        int32_t winding = 0;
        bool told = true;
        for (; low < all->count && compare_crossings(&all->list[low], &key) == 0; low++)
        {
            winding += all->list[low].turn;
            told &= all->list[low].turn != 0;
        }
        if (told)
            return winding;
    }
    return 0;
}

static int compare_containments(const void* a, const void* b)
{
    const containment *x = a, *y = b;
    if (x->inner != y->inner)
        return x->inner < y->inner ? -1 : 1;
    return (x->outer > y->outer) - (x->outer < y->outer);
}

/// Boil the crossings down to who lies inside whom, in place: `*count` containments sorted by inner shell.
static containment* find_containments(const crossings* all, size_t* count, rlv_error* error)
{
    containment* list = rlv_reserve(all->count, sizeof *list, error);
    *count = 0;
    if (list == NULL)
        return NULL;
    for (size_t i = 0; i < all->count; i++)
        list[i] = (containment){all->list[i].ray / RAYS, all->list[i].shell, 0};
    if (all->count != 0)
        qsort(list, all->count, sizeof *list, compare_containments);
    for (size_t i = 0; i < all->count; i++)
    {
        if (i != 0 && compare_containments(&list[i], &list[i - 1]) == 0)
            continue;
        containment one = list[i];
        one.winding = winding_about(all, one.inner, one.outer);
        if (one.winding != 0)
            list[(*count)++] = one; // never ahead of i: what list[i - 1] is compared for is its own pair
    }
    return list;
}

/// What the turning walks over: shells from the outside in.
typedef struct nest_order
{
    uint32_t shell, depth;
} nest_order;

static int compare_order(const void* a, const void* b)
{
    const nest_order *x = a, *y = b;
    if (x->depth != y->depth)
        return x->depth < y->depth ? -1 : 1;
    return (x->shell > y->shell) - (x->shell < y->shell);
}

/// Turn one shell whose containers are settled: with the one that holds it most closely, and once more where it would
/// then be a solid wound inwards in no solid's inside.
static void settle_turn(rlv_shell* shell, uint32_t own, const containment* in, size_t count, const uint32_t* depth)
{
    bool turn = false;
    uint32_t deepest = 0;
    int32_t winding = 0;
    for (size_t i = 0; i < count; i++)
    {
        winding += shell[in[i].outer].turn ? -in[i].winding : in[i].winding;
        if (i == 0 || depth[in[i].outer] > deepest)
        {
            deepest = depth[in[i].outer];
            turn = shell[in[i].outer].turn;
        }
    }
    bool inwards = (turn ? -shell[own].volume_mm3 : shell[own].volume_mm3) < 0.0;
    shell[own].turn = turn != (winding <= 0 && inwards);
}

static rlv_status settle_turns(rlv_shell* shell, size_t shell_count, const containment* list, size_t count,
                               rlv_error* error)
{
    nest_order* order = rlv_reserve(shell_count, sizeof *order, error);
    uint32_t* depth = rlv_reserve(shell_count, sizeof *depth, error);
    size_t* start = rlv_reserve(shell_count + 1, sizeof *start, error);
    bool held = order != NULL && depth != NULL && start != NULL;
    if (held)
    {
        for (size_t i = 0; i < count; i++)
            start[list[i].inner + 1]++;
        for (size_t i = 0; i < shell_count; i++)
        {
            depth[i] = (uint32_t)start[i + 1];
            order[i] = (nest_order){(uint32_t)i, depth[i]};
            start[i + 1] += start[i];
        }
        qsort(order, shell_count, sizeof *order, compare_order);
        for (size_t i = 0; i < shell_count; i++)
        {
            uint32_t own = order[i].shell;
            if (shell[own].closed)
                settle_turn(shell, own, list + start[own], depth[own], depth);
        }
    }
    free(order);
    free(depth);
    free(start);
    return held ? RLV_DONE : RLV_SYSTEM;
}

rlv_status rlv_mesh_nest(rlv_shell* shell, size_t shell_count, const _Atomic uint32_t* label, const rlv_mesh* mesh,
                         rlv_error* error)
{
    size_t closed = 0;
    for (size_t i = 0; i < shell_count; i++)
        closed += shell[i].closed;
    if (closed == 0)
        return RLV_DONE;
    nest_grid grid = {0};
    crossings all = {0};
    containment* list = NULL;
    size_t count = 0;
    rlv_status status = RLV_DONE;
    if (closed > 1)
    {
        status = start_rays(&grid, shell, shell_count, label, mesh, error);
        if (status == RLV_DONE)
            status = lay_grid(&grid, RAYS * closed, error);
        if (status == RLV_DONE)
            status = meet_all(&all, &grid, shell, label, mesh, error);
        if (status == RLV_DONE && (list = find_containments(&all, &count, error)) == NULL)
            status = RLV_SYSTEM;
    }
    if (status == RLV_DONE)
        status = settle_turns(shell, shell_count, list, count, error);
    free(grid.ray);
    free(grid.start);
    free(grid.order);
    free(all.list);
    free(list);
    return status;
}
