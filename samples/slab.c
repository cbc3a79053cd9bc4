#include "slab.h"

#include "patch.h"
#include "scan.h"
#include "tint.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define REACH_MM 3.0 ///< beyond the edge, to which the grid goes
#define WALL 3.0     ///< how steeply the joint turns up along the edge
#define DEGREE (M_PI / 180.0)

/// Where the faces touched still, and where scutes drifted by left their moulds: on the slab's plan.
static const double contact[3][2] = {{-168.0, -84.0}, {-131.0, -112.0}, {-74.0, -131.0}};
static const struct
{
    double at[2], turn_rad, half_mm[2];
} mould[3] = {
    {{-153.0, -103.0}, 0.6, {9.0, 6.0}}, {{-111.0, -121.0}, 2.1, {8.0, 5.5}}, {{-95.0, -128.0}, -0.4, {6.5, 5.0}}};

static double smooth_step(double low, double high, double x)
{
    double t = fmin(fmax((x - low) / (high - low), 0.0), 1.0);
    return t * t * (3.0 - 2.0 * t);
}

double slab_edge_mm(const demo_block* block, double x_mm, double y_mm, double inside_mm, double out_mm, double along_mm)
{
    double ragged = 1.3 * noise_smooth_at(block->seed + 50, 7.0, rlv_vec3_of(x_mm, y_mm, 0.0));
    double edge = fmin(fmin(inside_mm - 3.0, out_mm - 10.0), fmin(95.0 - along_mm, -51.0 - y_mm));
    return edge + fmin(ragged, 0.5); // never over the block's outline
}

// The joint

/// The joint's height, but for the turn up along the edge.
static double joint_mm(const demo_block* block, const noise_waves* relief, double x, double y)
{
    const rlv_vec3 n = block->bedding_normal;
    double bedding = block->bedding_mm - (n.x * x + n.y * y) / n.z;
    double height = bedding + 3.5 + 0.045 * (x + 115.0) + 0.055 * (y + 110.0);
    height += noise_waves_at(relief, rlv_vec3_of(x, y, 0.0));
    for (int k = 0; k < 3; k++)
    {
        double c = cos(mould[k].turn_rad), s = sin(mould[k].turn_rad);
        double dx = x - mould[k].at[0], dy = y - mould[k].at[1];
        double u = (dx * c + dy * s) / mould[k].half_mm[0], v = (dy * c - dx * s) / mould[k].half_mm[1];
        double rim = pow(pow(fabs(u), 1.7) + pow(fabs(v), 1.7), 1.0 / 1.7);
        if (rim < 1.0)
            height += 1.3 * (1.0 - pow(rim, 6.0)) + 0.9 * exp(-fabs(v) / 0.22) * (1.0 - rim) +
                      0.18 * cos(15.0 * atan2(v, u)) * rim * (1.0 - pow(rim, 8.0));
    }
    return height;
}

/// How much a face is worn along its normal.
static double worn_mm(const demo_block* block, int side, double x, double y, double edge)
{
    const uint64_t seed = block->seed + 52 + 2 * (uint64_t)side;
    const rlv_vec3 at = {x, y, 0.0};
    double worn = 1.1 + 0.4 * noise_smooth_at(seed, 7.0, at) + 0.16 * noise_smooth_at(seed + 1, 1.4, at);
    worn = fmin(fmax(worn, 0.5), 2.0);
    for (int k = 0; k < 3; k++)
        worn *= smooth_step(2.5, 6.0, hypot(x - contact[k][0], y - contact[k][1]));
    return worn + 0.7 * exp(-pow(edge / 1.8, 2.0));
}

/// Shape both faces of the joint on the slab's grid; `joint` and `edge` hold one a point.
static void wear_faces(demo_slab* slab, const demo_block* block, const float* joint, const float* edge)
{
    const size_t wide = slab->upper.size[0], high = slab->upper.size[1];
    const double pitch = slab->upper.pitch_mm;
#pragma omp parallel for schedule(static)
    for (size_t y = 1; y < high - 1; y++)
        for (size_t x = 1; x < wide - 1; x++)
        {
            const size_t i = y * wide + x;
            double across = (double)(joint[i + 1] - joint[i - 1]) / (2.0 * pitch);
            double up = (double)(joint[i + wide] - joint[i - wide]) / (2.0 * pitch);
            double steep = fmin(sqrt(1.0 + across * across + up * up), 2.0); // from the normal to the vertical
            double px = relief_x(&slab->upper, i), py = relief_y(&slab->upper, i), in = (double)edge[i];
            double top = (double)slab->upper.height_mm[i], at = (double)joint[i];
            double crumbled = in >= 0.0 ? 1.0 : in > -1.8 ? exp(-pow(in / 0.7, 2.0)) : 0.0;
            slab->lower.height_mm[i] = (float)(at + steep * worn_mm(block, 0, px, py, in));
            if (crumbled > 0.0)
                slab->face.height_mm[i] = (float)(fmin(at, top) - crumbled * steep * worn_mm(block, 1, px, py, in));
        }
}

/// Keep the slab's largest part alone: crumbs are lost.
static rlv_status keep_largest(demo_slab* slab, rlv_error* error)
{
    const size_t count = slab->upper.size[0] * slab->upper.size[1];
    uint8_t* there = rlv_reserve(count, 1, error);
    if (there == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        there[i] = slab->upper.height_mm[i] > slab->lower.height_mm[i];
    rlv_status status = patch_keep(there, slab->upper.size, PATCH_LARGEST, error);
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        if (!there[i])
            slab->lower.height_mm[i] = fmaxf(slab->lower.height_mm[i], slab->upper.height_mm[i] + 0.05f);
    free(there);
    return status;
}

/// Thickness, bilinear in the cell of point `i`; never below 0.
static double cell_thickness(const demo_slab* slab, size_t i, double u, double v)
{
    const size_t corner[4] = {i, i + 1, i + slab->upper.size[0], i + slab->upper.size[0] + 1};
    const double weight[4] = {(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v};
    double thick = 0.0;
    for (int k = 0; k < 4; k++)
        thick += weight[k] * (double)(slab->upper.height_mm[corner[k]] - slab->lower.height_mm[corner[k]]);
    return fmax(thick, 0.0);
}

/// Sum up the solid: cells by 8 by 8 midpoints where its edge may cross them, by one where it does not (which is
/// exact).
static void measure(demo_slab* slab)
{
    const demo_relief* map = &slab->upper;
    double sum[3] = {0, 0, 0}, area = 0.0, greatest = 0.0;
    for (size_t y = 0; y + 1 < map->size[1]; y++)
        for (size_t x = 0; x + 1 < map->size[0]; x++)
        {
            const size_t i = y * map->size[0] + x;
            int there = 0;
            for (size_t k = 0; k < 4; k++)
            {
                size_t at = i + (k & 1) + (k >> 1) * map->size[0];
                there += map->height_mm[at] > slab->lower.height_mm[at];
            }
            const int steps = there == 0 ? 0 : there == 4 ? 1 : 8;
            const double cell = steps > 0 ? map->pitch_mm * map->pitch_mm / (steps * steps) : 0.0;
            for (int k = 0; k < steps * steps; k++)
            {
                double u = (k % steps + 0.5) / steps, v = (k / steps + 0.5) / steps;
                double thick = cell_thickness(slab, i, u, v);
                double px = relief_x(map, i) + u * map->pitch_mm, py = relief_y(map, i) + v * map->pitch_mm;
                slab->volume_mm3 += cell * thick;
                if (thick > 0.0)
                    slab->found_gap_mm3 += cell * (relief_at(&slab->lower, px, py) - relief_at(&slab->face, px, py));
                area += thick > 0.0 ? cell : 0.0;
                greatest = fmax(greatest, thick);
                sum[0] += cell * thick * px;
                sum[1] += cell * thick * py;
                sum[2] += cell * thick * (relief_at(map, px, py) - 0.5 * thick);
            }
        }
    slab->plan_area_mm2 = area;
    slab->thickness_mm[0] = slab->volume_mm3 / area;
    slab->thickness_mm[1] = greatest;
    slab->centroid_mm = rlv_vec3_scale(rlv_vec3_of(sum[0], sum[1], sum[2]), 1.0 / slab->volume_mm3);
}

static rlv_status reserve(demo_slab* slab, const demo_relief* surface, const float* edge, rlv_error* error)
{
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    for (size_t i = 0; i < surface->size[0] * surface->size[1]; i++)
        if ((double)edge[i] > -REACH_MM)
        {
            const double at[2] = {relief_x(surface, i), relief_y(surface, i)};
            for (int k = 0; k < 2; k++)
                low[k] = fmin(low[k], at[k]), high[k] = fmax(high[k], at[k]);
        }
    demo_relief* const relief[3] = {&slab->upper, &slab->lower, &slab->face};
    for (int k = 0; k < 3; k++)
    {
        rlv_status status =
            relief_reserve(relief[k], low, (double[2]){high[0] - 1e-9, high[1] - 1e-9}, surface->pitch_mm, 0.0f, error);
        if (status != RLV_DONE)
            return status;
    }
    return RLV_DONE;
}

rlv_status slab_make(demo_slab* slab, const demo_block* block, const demo_relief* surface, const float* edge_mm,
                     rlv_error* error)
{
    rlv_status status = reserve(slab, surface, edge_mm, error);
    const size_t wide = slab->upper.size[0], count = wide * slab->upper.size[1];
    float* joint = status == RLV_DONE ? rlv_reserve(count, sizeof *joint, error) : NULL;
    float* edge = joint != NULL ? rlv_reserve(count, sizeof *edge, error) : NULL;
    if (edge == NULL)
    {
        free(joint);
        slab_free(slab);
        return RLV_SYSTEM;
    }
    const noise_waves relief = noise_waves_fractal(1.2, 55.0, 7, 0.55, noise_hash(block->seed, 51));
    const size_t first = relief_nearest(surface, slab->upper.origin_mm[0], slab->upper.origin_mm[1]);
#pragma omp parallel for schedule(dynamic, 1024)
    for (size_t i = 0; i < count; i++)
    {
        const size_t from = first + i / wide * surface->size[0] + i % wide;
        double x = relief_x(&slab->upper, i), y = relief_y(&slab->upper, i), top = (double)surface->height_mm[from];
        edge[i] = edge_mm[from];
        slab->upper.height_mm[i] = slab->face.height_mm[i] = (float)top;
        slab->lower.height_mm[i] = (float)(top + 1.0);
        double wall = top - WALL * (double)edge[i];
        joint[i] = (float)((double)edge[i] > 0.0 ? fmax(joint_mm(block, &relief, x, y), wall) : wall);
    }
    wear_faces(slab, block, joint, edge);
    status = keep_largest(slab, error);
    free(joint);
    free(edge);
    if (status != RLV_DONE)
    {
        slab_free(slab);
        return status;
    }
    measure(slab);
    slab->back = rlv_pose_identity();
    slab->back.rotation = rlv_rotation_from_vector(rlv_vec3_scale(rlv_vec3_of(0.8, 0.6, 0.0), SLAB_TURN_DEG * DEGREE));
    slab->back.translation_mm = rlv_vec3_sub(slab->centroid_mm, rlv_mat3_apply(slab->back.rotation, slab->centroid_mm));
    slab->back.translation_mm.z += SLAB_HIGH_MM;
    rlv_vec3 n = rlv_vec3_unit(rlv_vec3_add(rlv_vec3_scale(block->bedding_normal, 1.0 / block->bedding_normal.z),
                                            rlv_vec3_of(-0.045, -0.055, 0.0)));
    const double normal[3] = {n.x, n.y, n.z};
    memcpy(slab->joint_normal, normal, sizeof normal);
    return RLV_DONE;
}

void slab_free(demo_slab* slab)
{
    relief_free(&slab->upper);
    relief_free(&slab->lower);
    relief_free(&slab->face);
    memset(slab, 0, sizeof *slab);
}

bool slab_near(const demo_slab* slab, double x_mm, double y_mm)
{
    const demo_relief* map = &slab->upper;
    double x = (x_mm - map->origin_mm[0]) / map->pitch_mm, y = (y_mm - map->origin_mm[1]) / map->pitch_mm;
    return map->height_mm != NULL && x >= 0.0 && y >= 0.0 && x <= (double)(map->size[0] - 1) &&
           y <= (double)(map->size[1] - 1);
}

double slab_thickness_mm(const demo_slab* slab, double x_mm, double y_mm)
{
    if (!slab_near(slab, x_mm, y_mm))
        return -1.0;
    return relief_at(&slab->upper, x_mm, y_mm) - relief_at(&slab->lower, x_mm, y_mm);
}

/// Where a face, carried by `back`, lies over a place; the place on the slab that came there goes to `from`.
static double carried(const demo_slab* slab, const demo_relief* face, double x, double y, double from[2])
{
    rlv_vec3 now = {0, 0, 0};
    from[0] = x, from[1] = y;
    for (int step = 0; step < 4; step++) // moves aside by hundredths of a millimetre: each step gains three figures
    {
        now = rlv_pose_apply(&slab->back, rlv_vec3_of(from[0], from[1], relief_at(face, from[0], from[1])));
        if (step < 3)
            from[0] += x - now.x, from[1] += y - now.y;
    }
    return now.z;
}

bool slab_back_at(const demo_slab* slab, double x_mm, double y_mm, double* upper_mm, double* lower_mm)
{
    double from[2];
    if (!slab_near(slab, x_mm, y_mm))
        return false;
    *lower_mm = carried(slab, &slab->lower, x_mm, y_mm, from);
    *upper_mm = carried(slab, &slab->upper, x_mm, y_mm, from);
    return slab_thickness_mm(slab, from[0], from[1]) > 0.0;
}

// Mesh: a shaken grid over the slab's plan, cut along the edge, with both faces over it.

typedef struct slab_grid
{
    const demo_slab* slab;
    uint64_t seed;
    size_t size[2]; ///< points
    double cell_mm;
    double (*at)[2]; ///< plan place of each
    double* thick;   ///< thickness there
    uint32_t* above; ///< vertex of its upper face; the lower face's is the next one
    uint32_t* cut;   ///< three a point: vertex on the edge to the next along x, along y, along both
} slab_grid;

static const uint32_t no_vertex = UINT32_MAX;

static size_t grid_step(const slab_grid* grid, size_t way)
{
    return way == 0 ? 1 : way == 1 ? grid->size[0] : grid->size[0] + 1;
}

/// Where the slab's edge crosses from a point that has the slab to one that has not.
static void find_cut(const slab_grid* grid, size_t in, size_t out, double at[2])
{
    double low = 0.0, high = 1.0;
    for (int step = 0; step < 40; step++)
    {
        double t = 0.5 * (low + high);
        for (int k = 0; k < 2; k++)
            at[k] = grid->at[in][k] + t * (grid->at[out][k] - grid->at[in][k]);
        *(slab_thickness_mm(grid->slab, at[0], at[1]) > 0.0 ? &low : &high) = t;
    }
}

static rlv_status lay_grid(slab_grid* grid, size_t triangles, rlv_error* error)
{
    const demo_relief* map = &grid->slab->upper;
    grid->cell_mm = sqrt(4.0 * grid->slab->plan_area_mm2 / (double)triangles); // two a cell and face
    for (int k = 0; k < 2; k++)
        grid->size[k] = (size_t)(map->pitch_mm * (double)(map->size[k] - 1) / grid->cell_mm) + 3;
    const size_t count = grid->size[0] * grid->size[1];
    grid->at = rlv_reserve(count, sizeof *grid->at, error);
    grid->thick = rlv_reserve(count, sizeof *grid->thick, error);
    grid->above = rlv_reserve(count, sizeof *grid->above, error);
    grid->cut = rlv_reserve(3 * count, sizeof *grid->cut, error);
    if (grid->at == NULL || grid->thick == NULL || grid->above == NULL || grid->cut == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        scan_random random = {noise_hash(grid->seed, i)};
        for (size_t k = 0; k < 2; k++)
        {
            double place = (double)(k == 0 ? i % grid->size[0] : i / grid->size[0]);
            grid->at[i][k] =
                map->origin_mm[k] + grid->cell_mm * (place - 0.5 + 0.25 * (2.0 * scan_random_unit(&random) - 1.0));
        }
        grid->thick[i] = slab_thickness_mm(grid->slab, grid->at[i][0], grid->at[i][1]);
    }
    return RLV_DONE;
}

static void free_grid(slab_grid* grid)
{
    free(grid->at);
    free(grid->thick);
    free(grid->above);
    free(grid->cut);
}

/// Number the vertices; returns how many.
static uint32_t number_vertices(slab_grid* grid)
{
    uint32_t next = 0;
    for (size_t i = 0; i < grid->size[0] * grid->size[1]; i++)
    {
        grid->above[i] = no_vertex;
        if (grid->thick[i] > 0.0)
            grid->above[i] = next, next += 2;
        for (size_t way = 0; way < 3; way++)
        {
            bool last = (way != 1 && i % grid->size[0] + 1 == grid->size[0]) ||
                        (way != 0 && i / grid->size[0] + 1 == grid->size[1]);
            bool crossed = !last && (grid->thick[i] > 0.0) != (grid->thick[i + grid_step(grid, way)] > 0.0);
            grid->cut[3 * i + way] = crossed ? next++ : no_vertex;
        }
    }
    return next;
}

/// Set a vertex and its colour.
static void set_vertex(rlv_mesh* mesh, const slab_grid* grid, const demo_block* block, uint32_t vertex,
                       const double at[2], bool lower)
{
    const demo_slab* slab = grid->slab;
    rlv_vec3 p = {at[0], at[1], relief_at(lower ? &slab->lower : &slab->upper, at[0], at[1])};
    tint own = lower ? tint_joint(block, p) : tint_matrix(block, p, 1.0, 0.0);
    const double place[3] = {p.x, p.y, p.z}, colour[3] = {own.r, own.g, own.b};
    for (size_t k = 0; k < 3; k++)
    {
        mesh->position_mm[3 * (size_t)vertex + k] = (float)place[k];
        mesh->colour[3 * (size_t)vertex + k] = tint_byte(colour[k]);
    }
}

static void place_vertices(rlv_mesh* mesh, const slab_grid* grid, const demo_block* block)
{
#pragma omp parallel for schedule(dynamic, 512)
    for (size_t i = 0; i < grid->size[0] * grid->size[1]; i++)
    {
        if (grid->above[i] != no_vertex)
        {
            set_vertex(mesh, grid, block, grid->above[i], grid->at[i], false);
            set_vertex(mesh, grid, block, grid->above[i] + 1, grid->at[i], true);
        }
        for (size_t way = 0; way < 3; way++)
        {
            if (grid->cut[3 * i + way] == no_vertex)
                continue;
            const size_t other = i + grid_step(grid, way);
            double at[2];
            find_cut(grid, grid->thick[i] > 0.0 ? i : other, grid->thick[i] > 0.0 ? other : i, at);
            set_vertex(mesh, grid, block, grid->cut[3 * i + way], at, false);
        }
    }
}

static uint32_t cut_vertex(const slab_grid* grid, size_t a, size_t b)
{
    const size_t low = a < b ? a : b, step = a < b ? b - a : a - b;
    return grid->cut[3 * low + (step == 1 ? 0 : step == grid->size[0] ? 1 : 2)];
}

/// Both faces over a triangle of the grid (counter-clockwise from above), as far as the slab goes; returns the end of
/// what was written at `to`, or counts in `count` where `to` is NULL.
static uint32_t* join_triangle(const slab_grid* grid, const size_t corner[3], uint32_t* to, size_t* count)
{
    uint32_t top[4], low[4];
    int points = 0;
    for (int k = 0; k < 3; k++)
    {
        const size_t a = corner[k], b = corner[(k + 1) % 3];
        if (grid->thick[a] > 0.0)
        {
            top[points] = grid->above[a];
            low[points++] = grid->above[a] + 1;
        }
        if ((grid->thick[a] > 0.0) != (grid->thick[b] > 0.0))
            top[points] = low[points] = cut_vertex(grid, a, b), points++;
    }
    for (int k = 2; k < points; k++)
    {
        *count += 2;
        if (to == NULL)
            continue;
        const uint32_t two[6] = {top[0], top[k - 1], top[k], low[0], low[k], low[k - 1]};
        memcpy(to, two, sizeof two);
        to += 6;
    }
    return to;
}

static size_t join(const slab_grid* grid, uint32_t* to)
{
    size_t count = 0;
    for (size_t y = 0; y + 1 < grid->size[1]; y++)
        for (size_t x = 0; x + 1 < grid->size[0]; x++)
        {
            const size_t i = y * grid->size[0] + x, diagonal = i + grid->size[0] + 1;
            to = join_triangle(grid, (const size_t[3]){i, i + 1, diagonal}, to, &count);
            to = join_triangle(grid, (const size_t[3]){i, diagonal, i + grid->size[0]}, to, &count);
        }
    return count;
}

rlv_status slab_mesh(rlv_mesh* mesh, const demo_slab* slab, const demo_block* block, size_t triangles,
                     uint64_t mesh_seed, rlv_error* error)
{
    slab_grid grid = {.slab = slab, .seed = noise_hash(mesh_seed, 22)};
    rlv_status status = lay_grid(&grid, triangles, error);
    if (status == RLV_DONE)
        status = rlv_mesh_reserve(mesh, number_vertices(&grid), join(&grid, NULL), true, true, error);
    if (status == RLV_DONE)
    {
        place_vertices(mesh, &grid, block);
        join(&grid, mesh->corner);
        mesh->object_name = rlv_reserve(1, sizeof *mesh->object_name, error);
        if (mesh->object_name == NULL || (mesh->object_name[0] = strdup("matrix")) == NULL)
            status = rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the name of an object");
        else
            mesh->object_count = 1;
    }
    free_grid(&grid);
    if (status != RLV_DONE)
        rlv_mesh_free(mesh);
    return status;
}
