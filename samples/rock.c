#include "rock.h"

#include "noise.h"
#include "scan.h"

#include <math.h>
#include <stdlib.h>

#define FACETS 9         ///< planes that flatten a quarried block
#define OCTAVES 5        ///< of relief: the shortest wavelength is a thirty-second of the longest
#define SMOOTH_LEVELS 14 ///< how often a square of directions is split at most, for the volume
#define RIM_LEVELS 10    ///< and how often along the rim of a step: to about a hundredth of a millimetre
#define ROUGHNESS 0.1    ///< of a plane cut, as a share of the rock's relief

struct ready_rock
{
    const rock* rock;
    noise_waves relief;
    noise_waves cut_relief; ///< of plane cuts; the n-th one is read at a place of its own
    bool rough;
    size_t facet_count;
    rlv_vec3 facet[FACETS]; ///< normal over distance: the plane is facet . x = 1
    double least_mm;        ///< no radius is shorter, whatever relief and cuts say
};

static rlv_vec3 stretch(rlv_vec3 direction, rlv_vec3 half_axes_mm)
{
    return rlv_vec3_of(direction.x * half_axes_mm.x, direction.y * half_axes_mm.y, direction.z * half_axes_mm.z);
}

static void set_facets(ready_rock* ready, const rock* stone)
{
    scan_random random = {noise_hash(stone->seed, 2)};
    rlv_mat3 turn = scan_random_rotation(&random);
    for (int i = 0; i < FACETS; i++)
    {
        // Spread over the sphere as a golden spiral is, turned at random, so that no side of the block is left round.
        double z = 1.0 - (2.0 * i + 1.0) / FACETS, angle = i * M_PI * (3.0 - sqrt(5.0)), ring = sqrt(1.0 - z * z);
        rlv_vec3 normal = rlv_mat3_apply(turn, rlv_vec3_of(ring * cos(angle), ring * sin(angle), z));
        normal.x += 0.15 * scan_random_normal(&random);
        normal.y += 0.15 * scan_random_normal(&random);
        normal.z += 0.15 * scan_random_normal(&random);
        normal = rlv_vec3_unit(normal);
        double support = rlv_vec3_length(stretch(normal, stone->half_axes_mm));
        double distance = support * (1.25 - stone->facets * (0.35 + 0.25 * scan_random_unit(&random)));
        ready->facet[i] = rlv_vec3_scale(normal, 1.0 / distance);
    }
    ready->facet_count = FACETS;
}

static ready_rock make_ready(const rock* stone)
{
    ready_rock ready = {.rock = stone, .rough = stone->relief_mm > 0.0 && stone->relief_length_mm > 0.0};
    if (ready.rough)
    {
        ready.relief =
            noise_waves_fractal(stone->relief_mm, stone->relief_length_mm, OCTAVES, 0.55, noise_hash(stone->seed, 0));
        ready.cut_relief = noise_waves_fractal(ROUGHNESS * stone->relief_mm, 0.25 * stone->relief_length_mm, 3, 0.6,
                                               noise_hash(stone->seed, 1));
    }
    if (stone->facets > 0.0)
        set_facets(&ready, stone);
    ready.least_mm = 0.05 * fmin(stone->half_axes_mm.x, fmin(stone->half_axes_mm.y, stone->half_axes_mm.z));
    return ready;
}

/// The p-norm of the ellipsoid's and the planes' reciprocal radii, p = 32: a smooth solid within them all.
static double base_radius(const ready_rock* ready, rlv_vec3 u)
{
    rlv_vec3 half = ready->rock->half_axes_mm;
    rlv_vec3 unstretched = {u.x / half.x, u.y / half.y, u.z / half.z};
    double reciprocal = rlv_vec3_length(unstretched);
    if (ready->facet_count == 0)
        return 1.0 / reciprocal;
    double sum = 1.0;
    for (size_t i = 0; i < ready->facet_count; i++)
    {
        double p = fmax(0.0, rlv_vec3_dot(ready->facet[i], u) / reciprocal);
        for (int k = 0; k < 5; k++)
            p *= p;
        sum += p;
    }
    for (int k = 0; k < 5; k++)
        sum = sqrt(sum);
    return 1.0 / (reciprocal * sum);
}

static double after_plane(const ready_rock* ready, size_t index, rlv_vec3 u, double radius)
{
    const rock_cut* cut = &ready->rock->cut[index];
    rlv_vec3 normal = rlv_vec3_unit(cut->direction);
    double share = rlv_vec3_dot(normal, u);
    if (share * radius <= 0.9 * cut->distance_mm)
        return radius; // far inside, whatever the plane's roughness
    double distance = cut->distance_mm;
    if (ready->rough)
    {
        rlv_vec3 on_plane = rlv_vec3_scale(u, distance / share);
        on_plane.x += 1000.0 * (double)(index + 1);
        distance += noise_waves_at(&ready->cut_relief, on_plane);
    }
    return fmin(radius, distance / share);
}

static double after_pit(const rock_cut* cut, rlv_vec3 u, double radius)
{
    rlv_vec3 axis = rlv_vec3_unit(cut->direction);
    double angle = atan2(rlv_vec3_length(rlv_vec3_cross(axis, u)), rlv_vec3_dot(axis, u));
    double inside_mm = (cut->half_angle_rad - angle) * radius;
    if (cut->spared_rad > 0.0)
    {
        const rlv_vec3 spared = rlv_vec3_unit(cut->spared);
        angle = atan2(rlv_vec3_length(rlv_vec3_cross(spared, u)), rlv_vec3_dot(spared, u));
        inside_mm = fmin(inside_mm, (angle - cut->spared_rad) * radius);
    }
    if (inside_mm <= 0.0)
        return radius;
    if (inside_mm >= cut->soft_mm)
        return radius - cut->depth_mm;
    double t = inside_mm / cut->soft_mm;
    return radius - cut->depth_mm * t * t * t * (10.0 + t * (6.0 * t - 15.0));
}

static double ready_radius(const ready_rock* ready, rlv_vec3 u)
{
    double radius = base_radius(ready, u);
    if (ready->rough)
        radius += noise_waves_at(&ready->relief, rlv_vec3_scale(u, radius));
    for (size_t i = 0; i < ready->rock->cut_count; i++)
        radius =
            ready->rock->cut[i].plane ? after_plane(ready, i, u, radius) : after_pit(&ready->rock->cut[i], u, radius);
    return fmax(radius, ready->least_mm);
}

double rock_radius(const rock* stone, rlv_vec3 direction)
{
    ready_rock ready = make_ready(stone);
    return ready_radius(&ready, direction);
}

ready_rock* rock_make_ready(const rock* stone)
{
    ready_rock* ready = malloc(sizeof *ready);
    if (ready != NULL)
        *ready = make_ready(stone);
    return ready;
}

double rock_ready_radius(const ready_rock* ready, rlv_vec3 direction)
{
    return ready_radius(ready, direction);
}

// Volume. Directions are those of a cube's faces with even angles, so that cells are nearly square.

/// The point of the unit cube-sphere at angles a, b (-pi/4 to pi/4) on a face, and the solid angle of a unit of a and
/// b.
static rlv_vec3 face_direction(int face, double a, double b, double* solid_angle)
{
    double p = tan(a), q = tan(b), length = sqrt(1.0 + p * p + q * q);
    if (solid_angle != NULL)
        *solid_angle = (1.0 + p * p) * (1.0 + q * q) / (length * length * length);
    double one = (face & 1 ? -1.0 : 1.0) / length;
    p /= length;
    q /= length;
    return face < 2 ? rlv_vec3_of(one, p, q) : face < 4 ? rlv_vec3_of(q, one, p) : rlv_vec3_of(p, q, one);
}

/// A square of directions on a face, and the Gauss-Legendre sum over it.
typedef struct square
{
    double a, b, side, sum;
} square;

/// r^3 / 3 over a square of directions by the product of four-point Gauss-Legendre rules (Abramowitz & Stegun,
/// table 25.4). The direction is stretched as the ellipsoid is; the stretch of solid angle is det / |.|^3.
static double square_sum(const ready_rock* ready, int face, double a, double b, double side)
{
    static const double node[4] = {-0.8611363115940526, -0.3399810435848563, 0.3399810435848563, 0.8611363115940526};
    static const double weight[4] = {0.3478548451374538, 0.6521451548625461, 0.6521451548625461, 0.3478548451374538};
    const rlv_vec3 half = ready->rock->half_axes_mm;
    const double stretched = half.x * half.y * half.z;
    double sum = 0.0;
    for (int i = 0; i < 4; i++)
        for (int j = 0; j < 4; j++)
        {
            double solid_angle;
            rlv_vec3 q =
                face_direction(face, a + side * 0.5 * (1.0 + node[i]), b + side * 0.5 * (1.0 + node[j]), &solid_angle);
            rlv_vec3 s = stretch(q, half);
            double length = rlv_vec3_length(s), ratio = ready_radius(ready, rlv_vec3_scale(s, 1.0 / length)) / length;
            sum += weight[i] * weight[j] * ratio * ratio * ratio * solid_angle * stretched / 3.0;
        }
    return sum * side * side / 4.0;
}

/// Whether the rim of a stepped pit may run through a square: no sum of a smooth rule can tell by itself.
static bool on_a_rim(const ready_rock* ready, int face, const square* at)
{
    rlv_vec3 corner[4], middle = {0, 0, 0};
    for (int i = 0; i < 4; i++)
    {
        corner[i] = face_direction(face, at->a + (i & 1 ? at->side : 0.0), at->b + (i & 2 ? at->side : 0.0), NULL);
        corner[i] = rlv_vec3_unit(stretch(corner[i], ready->rock->half_axes_mm));
        middle = rlv_vec3_along(middle, 0.25, corner[i]);
    }
    middle = rlv_vec3_unit(middle);
    double reach = 0.0;
    for (int i = 0; i < 4; i++)
        reach = fmax(reach, 1.1 * rlv_vec3_length(rlv_vec3_sub(corner[i], middle)));
    for (size_t i = 0; i < ready->rock->cut_count; i++)
    {
        const rock_cut* cut = &ready->rock->cut[i];
        rlv_vec3 axis = rlv_vec3_unit(cut->direction);
        double angle = atan2(rlv_vec3_length(rlv_vec3_cross(axis, middle)), rlv_vec3_dot(axis, middle));
        if (!cut->plane && cut->soft_mm <= 0.0 && fabs(angle - cut->half_angle_rad) < reach)
            return true;
    }
    return false;
}

static double adaptive_sum(const ready_rock* ready, int face, square whole, double tolerance, int levels)
{
    square part[4];
    double sum = 0.0, side = whole.side / 2.0;
    for (int i = 0; i < 4; i++)
    {
        part[i] = (square){whole.a + (i & 1 ? side : 0.0), whole.b + (i & 2 ? side : 0.0), side, 0.0};
        part[i].sum = square_sum(ready, face, part[i].a, part[i].b, side);
        sum += part[i].sum;
    }
    bool rim = levels > SMOOTH_LEVELS - RIM_LEVELS && on_a_rim(ready, face, &whole);
    if (levels == 0 || (!rim && fabs(sum - whole.sum) <= tolerance))
        return sum;
    sum = 0.0;
    for (int i = 0; i < 4; i++)
        sum += adaptive_sum(ready, face, part[i], tolerance, levels - 1);
    return sum;
}

double rock_volume(const rock* stone)
{
    enum
    {
        SIDE = 32,
        CELLS = 6 * SIDE * SIDE
    };
    ready_rock ready = make_ready(stone);
    const double side = M_PI / 2 / SIDE;
    // Thousands of squares are kept; their errors are far below what each split changed, and of either sign.
    const double tolerance = 1e-11 * stone->half_axes_mm.x * stone->half_axes_mm.y * stone->half_axes_mm.z;
    double cell[CELLS];
#pragma omp parallel for schedule(dynamic, 8)
    for (int i = 0; i < CELLS; i++)
    {
        int face = i / (SIDE * SIDE);
        square whole = {-M_PI / 4 + side * (i % SIDE), -M_PI / 4 + side * (i / SIDE % SIDE), side, 0.0};
        whole.sum = square_sum(&ready, face, whole.a, whole.b, side);
        cell[i] = adaptive_sum(&ready, face, whole, tolerance, SMOOTH_LEVELS);
    }
    double volume = 0.0;
    for (int i = 0; i < CELLS; i++)
        volume += cell[i];
    return volume;
}

// Mesh: the surface of a cube of n by n by n cells, blown up to the sphere, turned and shaken.

/// Number of the vertex (i, j, k) of the cube's surface: the floor, rings of 4 n, the ceiling.
static uint32_t cube_vertex(uint32_t n, uint32_t i, uint32_t j, uint32_t k)
{
    const uint32_t floor_count = (n + 1) * (n + 1);
    if (k == 0)
        return j * (n + 1) + i;
    if (k == n)
        return floor_count + (n - 1) * 4 * n + j * (n + 1) + i;
    uint32_t ring = j == 0 ? i : i == n ? n + j : j == n ? 3 * n - i : 4 * n - j;
    return floor_count + (k - 1) * 4 * n + ring;
}

/// The place of a vertex number, each coordinate 0 to n.
static void cube_place(uint32_t n, uint32_t vertex, uint32_t place[3])
{
    const uint32_t floor_count = (n + 1) * (n + 1), ceiling = floor_count + (n - 1) * 4 * n;
    if (vertex < floor_count || vertex >= ceiling)
    {
        uint32_t flat = vertex < floor_count ? vertex : vertex - ceiling;
        place[0] = flat % (n + 1);
        place[1] = flat / (n + 1);
        place[2] = vertex < floor_count ? 0 : n;
        return;
    }
    uint32_t ring = (vertex - floor_count) % (4 * n), side = ring / n, step = ring % n;
    place[0] = side == 0 ? step : side == 1 ? n : side == 2 ? n - step : 0;
    place[1] = side == 0 ? 0 : side == 1 ? step : side == 2 ? n : n - step;
    place[2] = 1 + (vertex - floor_count) / (4 * n);
}

static rlv_vec3 vertex_direction(uint32_t n, uint32_t vertex, uint64_t mesh_seed, const rlv_mat3* turn)
{
    uint32_t place[3];
    cube_place(n, vertex, place);
    rlv_vec3 q = {tan(M_PI / 2 * ((double)place[0] / n - 0.5)), tan(M_PI / 2 * ((double)place[1] / n - 0.5)),
                  tan(M_PI / 2 * ((double)place[2] / n - 0.5))};
    q = rlv_vec3_unit(q);
    if (mesh_seed == 0)
        return q;
    // A fifth of a cell each way: neighbours, which are never closer than half a cell, cannot change places.
    scan_random random = {noise_hash(mesh_seed, vertex)};
    double reach = 0.2 * M_PI / 2 / n;
    q.x += reach * (2.0 * scan_random_unit(&random) - 1.0);
    q.y += reach * (2.0 * scan_random_unit(&random) - 1.0);
    q.z += reach * (2.0 * scan_random_unit(&random) - 1.0);
    return rlv_mat3_apply(*turn, rlv_vec3_unit(q));
}

static void place_vertices(rlv_mesh* mesh, const ready_rock* ready, uint32_t n, uint64_t mesh_seed)
{
    scan_random random = {mesh_seed};
    const rlv_mat3 turn = scan_random_rotation(&random);
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        rlv_vec3 q = vertex_direction(n, (uint32_t)i, mesh_seed, &turn);
        rlv_vec3 u = rlv_vec3_unit(stretch(q, ready->rock->half_axes_mm));
        rlv_vec3 point = rlv_vec3_scale(u, ready_radius(ready, u));
        mesh->position_mm[3 * i] = (float)point.x;
        mesh->position_mm[3 * i + 1] = (float)point.y;
        mesh->position_mm[3 * i + 2] = (float)point.z;
    }
}

/// The four corners of a cell of a face, counter-clockwise from outside.
static void cell_corners(uint32_t n, int face, uint32_t a, uint32_t b, uint32_t corner[4])
{
    for (uint32_t c = 0; c < 4; c++)
    {
        uint32_t p = a + (c == 1 || c == 2), q = b + (c >= 2);
        uint32_t far = face & 1 ? n : 0;
        uint32_t at = face & 1 ? c : 3 - c; // the near faces are seen from behind
        corner[at] = face < 2   ? cube_vertex(n, far, p, q)
                     : face < 4 ? cube_vertex(n, q, far, p)
                                : cube_vertex(n, p, q, far);
    }
}

static void join_corners(rlv_mesh* mesh, uint32_t n, uint64_t mesh_seed)
{
    const size_t cells = (size_t)n * n;
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < 6 * cells; i++)
    {
        uint32_t c[4];
        cell_corners(n, (int)(i / cells), (uint32_t)(i % n), (uint32_t)(i % cells / n), c);
        bool other = mesh_seed != 0 && (noise_hash(mesh_seed, i) >> 63) != 0;
        const uint32_t corner[6] = {c[0], c[1], c[other ? 3 : 2], c[other ? 1 : 0], c[2], c[3]};
        for (int k = 0; k < 6; k++)
            mesh->corner[6 * i + (size_t)k] = corner[k];
    }
}

rlv_status rock_mesh(rlv_mesh* mesh, const rock* stone, size_t triangles, uint64_t mesh_seed, rlv_error* error)
{
    double side = round(sqrt((double)triangles / 12.0));
    if (!(side >= 1.0) || side > 16384.0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for 12 to 3,000,000,000", "a rock cannot have %zu triangles",
                        triangles);
    const uint32_t n = (uint32_t)side;
    rlv_status status = rlv_mesh_reserve(mesh, (size_t)6 * n * n + 2, (size_t)12 * n * n, false, false, error);
    if (status != RLV_DONE)
        return status;
    ready_rock ready = make_ready(stone);
    place_vertices(mesh, &ready, n, mesh_seed);
    join_corners(mesh, n, mesh_seed);
    return RLV_DONE;
}
