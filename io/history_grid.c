#include "history_grid.h"

#include "history_view.h"

#include <math.h>
#include <stdio.h>

enum
{
    MOST_SQUARES = 16 ///< along an edge
};

static double across(const history_grid* grid, rlv_vec3 at)
{
    return rlv_vec3_dot(at, grid->axes.right);
}

static double downwards(const history_grid* grid, rlv_vec3 at)
{
    return -rlv_vec3_dot(at, grid->axes.up);
}

/// Lengths of the map, from a place, as functions of where a vertex stands in its mesh: to the right, and downwards.
typedef struct map_lengths
{
    rlv_vec3 axis[2];
    double at[2];
} map_lengths;

static map_lengths lengths_from(const history_grid* grid, const rlv_mesh* mesh, const rlv_pose* pose, rlv_vec3 at_mm)
{
    const rlv_vec3 axis[2] = {grid->axes.right, rlv_vec3_scale(grid->axes.up, -1.0)},
                   origin = rlv_vec3_sub(rlv_pose_apply(pose, mesh->origin_mm), at_mm);
    const rlv_mat3 back = rlv_mat3_transpose(pose->rotation);
    map_lengths lengths;
    for (int k = 0; k < 2; k++)
    {
        lengths.axis[k] = rlv_vec3_scale(rlv_mat3_apply(back, axis[k]), pose->scale);
        lengths.at[k] = rlv_vec3_dot(axis[k], origin);
    }
    return lengths;
}

static inline double length_to(const map_lengths* lengths, const rlv_mesh* mesh, size_t vertex, int way)
{
    return lengths->at[way] + rlv_vec3_dot(lengths->axis[way], rlv_vec3_from(mesh->position_mm + 3 * vertex));
}

/// How far a mesh reaches over the map.
static void reach_over(const map_lengths* lengths, const rlv_mesh* mesh, double low[2], double high[2])
{
#pragma omp parallel for schedule(static) reduction(min : low[:2]) reduction(max : high[:2])
    for (size_t v = 0; v < mesh->vertex_count; v++)
        for (int k = 0; k < 2; k++)
        {
            const double at = length_to(lengths, mesh, v, k);
            low[k] = fmin(low[k], at);
            high[k] = fmax(high[k], at);
        }
}

history_grid history_grid_of(const rlv_history* history)
{
    history_grid grid = {0};
    history_view view;
    rlv_error ignored = {0};
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    // Squares lie over all stages as the record has them: two of them alone would have others by the same names.
    if (history->specimen->between || !history->joined ||
        history_view_find(&view, history, history->frame, NULL, &ignored) != RLV_DONE)
        return grid;
    grid.axes = view.axes;
    grid.north_up = view.north_up;
    for (size_t i = 0; i < history->stage_count; i++)
    {
        const rlv_mesh* mesh = &history->stage[i].given.mesh;
        const rlv_pose pose = history_pose(history, i);
        const map_lengths lengths = lengths_from(&grid, mesh, &pose, (rlv_vec3){0.0, 0.0, 0.0});
        reach_over(&lengths, mesh, low, high);
    }
    const double span[2] = {high[0] - low[0], high[1] - low[1]}, most = fmax(span[0], span[1]);
    if (!(most > 0.0) || !isfinite(most))
        return grid;
    grid.side_mm = rlv_round_step(most, MOST_SQUARES);
    grid.columns = (size_t)fmax(ceil(span[0] / grid.side_mm), 1.0);
    grid.rows = (size_t)fmax(ceil(span[1] / grid.side_mm), 1.0);
    grid.corner_mm = rlv_vec3_along(rlv_vec3_scale(grid.axes.right, low[0]), -low[1], grid.axes.up);
    grid.known = true;
    return grid;
}

/// Which of `count` squares a length from the first one's edge falls into.
static size_t square_at(double from_edge, double side, size_t count)
{
    const double which = fmin(fmax(floor(from_edge / side), 0.0), (double)(count - 1));
    return (size_t)which;
}

history_square history_grid_square(const history_grid* grid, rlv_vec3 at_mm)
{
    history_square square = {""};
    char letter[4];
    if (!grid->known || !isfinite(at_mm.x + at_mm.y + at_mm.z))
        return square;
    const rlv_vec3 from = rlv_vec3_sub(at_mm, grid->corner_mm);
    rlv_grid_letter(letter, square_at(across(grid, from), grid->side_mm, grid->columns));
    snprintf(square.name, sizeof square.name, "%s%zu", letter,
             square_at(downwards(grid, from), grid->side_mm, grid->rows) % 100 + 1);
    return square;
}

void history_grid_in_square(const history_grid* grid, rlv_vec3 at_mm, double in_mm[2])
{
    const rlv_vec3 from = rlv_vec3_sub(at_mm, grid->corner_mm);
    const double way[2] = {across(grid, from), downwards(grid, from)};
    const size_t count[2] = {grid->columns, grid->rows};
    for (int k = 0; k < 2; k++)
        in_mm[k] = way[k] - grid->side_mm * (double)square_at(way[k], grid->side_mm, count[k]);
}

void history_grid_begins(const history_grid* grid, const rlv_mesh* mesh, const rlv_pose* pose, double in_mm[2])
{
    double high[2] = {-INFINITY, -INFINITY};
    const map_lengths lengths = lengths_from(grid, mesh, pose, grid->corner_mm);
    in_mm[0] = in_mm[1] = INFINITY;
    reach_over(&lengths, mesh, in_mm, high);
}

double history_grid_apart_mm(const history_grid* grid, rlv_vec3 a_mm, rlv_vec3 b_mm)
{
    const rlv_vec3 from = rlv_vec3_sub(b_mm, a_mm);
    return hypot(across(grid, from), downwards(grid, from));
}

const char* history_grid_way(const history_grid* grid, rlv_vec3 from_mm, rlv_vec3 to_mm)
{
    static const char* const by_compass[8] = {"east of", "south-east of", "south of", "south-west of",
                                              "west of", "north-west of", "north of", "north-east of"};
    static const char* const by_map[8] = {
        "towards the right edge of the map from", "towards the lower right of the map from",
        "towards the lower edge of the map from", "towards the lower left of the map from",
        "towards the left edge of the map from",  "towards the upper left of the map from",
        "towards the upper edge of the map from", "towards the upper right of the map from"};
    const rlv_vec3 from = rlv_vec3_sub(to_mm, from_mm);
    const double right = across(grid, from), down = downwards(grid, from);
    if (!isfinite(right + down) || (right == 0.0 && down == 0.0))
        return NULL;
    const double eighths = atan2(down, right) / (M_PI / 4.0);
    return (grid->north_up ? by_compass : by_map)[(lround(eighths) + 8) % 8];
}

/// Where a line of the map through a place meets a mesh: the least and the greatest along it, from the place.
typedef struct crossing
{
    double least, most;
} crossing;

static inline void meet(crossing* c, double at)
{
    c->least = fmin(c->least, at);
    c->most = fmax(c->most, at);
}

/// An edge of the mesh, each end as how far it lies off the line, and along it. An end on the line meets it, from
/// whichever side the edge comes.
static inline void cross_edge(crossing* c, const double a[2], const double b[2])
{
    if (a[0] == 0.0)
        meet(c, a[1]);
    if (b[0] == 0.0)
        meet(c, b[1]);
    if ((a[0] < 0.0 && b[0] > 0.0) || (a[0] > 0.0 && b[0] < 0.0))
        meet(c, a[1] + (b[1] - a[1]) * (a[0] / (a[0] - b[0])));
}

static crossing crossing_with(crossing a, crossing b)
{
    return (crossing){fmin(a.least, b.least), fmax(a.most, b.most)};
}

#pragma omp declare reduction(widest:crossing                                                                          \
                              : omp_out = crossing_with(omp_out, omp_in))                                              \
    initializer(omp_priv = (crossing){INFINITY, -INFINITY})

/// The row and the column of the map through a place, each as where it meets the mesh.
static void cross_mesh(const map_lengths* lengths, const rlv_mesh* mesh, crossing* row, crossing* column)
{
    crossing along = {INFINITY, -INFINITY}, down = along;
#pragma omp parallel for schedule(static) reduction(widest : along, down)
    for (size_t i = 0; i < mesh->triangle_count; i++)
    {
        double corner[3][2];
        for (size_t k = 0; k < 3; k++)
            for (int way = 0; way < 2; way++)
                corner[k][way] = length_to(lengths, mesh, mesh->corner[3 * i + k], way);
        for (size_t k = 0; k < 3; k++)
        {
            const double *a = corner[k], *b = corner[(k + 1) % 3];
            cross_edge(&along, (double[2]){a[1], a[0]}, (double[2]){b[1], b[0]});
            cross_edge(&down, a, b);
        }
    }
    *row = along;
    *column = down;
}

const char* history_grid_edge(const history_grid* grid, const rlv_mesh* mesh, const rlv_pose* pose, rlv_vec3 at_mm,
                              double* in_mm)
{
    static const char* const name[2][2][2] = {{{"left", "right"}, {"upper", "lower"}},
                                              {{"western", "eastern"}, {"northern", "southern"}}};
    crossing line[2] = {{INFINITY, -INFINITY}, {INFINITY, -INFINITY}}; // along the row, and along the column
    const char* nearest = NULL;
    if (grid->known)
    {
        const map_lengths lengths = lengths_from(grid, mesh, pose, at_mm);
        cross_mesh(&lengths, mesh, &line[0], &line[1]);
    }
    *in_mm = INFINITY;
    for (int k = 0; k < 2; k++)
        for (int end = 0; end < 2; end++)
        {
            const double in = end == 0 ? -line[k].least : line[k].most;
            if (!(in >= 0.0)) // beyond the mesh, or off it
                return NULL;
            if (in < *in_mm)
            {
                *in_mm = in;
                nearest = name[grid->north_up][k][end];
            }
        }
    return isfinite(*in_mm) ? nearest : NULL;
}

bool history_grid_on(rlv_panel_grid* on, const rlv_history* history, size_t stage, const rlv_camera_axes* axes)
{
    const history_grid* grid = &history->grid;
    if (!grid->known)
        return false;
    const rlv_pose pose = history_pose(history, stage), back = rlv_pose_inverse(&pose);
    const double hair = 1e-9; // two ways to one axis differ by rounding alone
    if (rlv_vec3_dot(rlv_mat3_apply(pose.rotation, axes->right), grid->axes.right) < 1.0 - hair ||
        rlv_vec3_dot(rlv_mat3_apply(pose.rotation, axes->up), grid->axes.up) < 1.0 - hair)
        return false;
    *on =
        (rlv_panel_grid){rlv_pose_apply(&back, grid->corner_mm), grid->side_mm / pose.scale, grid->columns, grid->rows};
    return true;
}
