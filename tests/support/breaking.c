#include "breaking.h"

#include "noise.h"
#include "scene.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum
{
    HOLLOWS = 8,
    GRAINS = 400,
    OCTAVES = 7,
};

/// A round bump on a face: a grain, or a hollow where it is negative.
typedef struct bump
{
    double at[2], radius_mm, high_mm;
} bump;

/// One part's face: how far it lies from the break, into the part.
typedef struct face
{
    noise_waves relief, patches, rim;
    double worn_mm, threshold, rim_mm, rim_wide_mm;
    bump bump[HOLLOWS + GRAINS];
    size_t bumps;
} face;

/// The break, in a frame of its own: heights along `up` over the plane through `middle`.
typedef struct break_plane
{
    rlv_vec3 middle, along, across, up;
    double high_mm; ///< what relief is multiplied with
    const rock* whole;
    const ready_rock* surface; ///< of the whole rock
    face side[2];              ///< block, piece
} break_plane;

static void die(const char* what)
{
    fprintf(stderr, "the scenery of a test could not be made: %s\n", what);
    exit(EXIT_FAILURE);
}

static void* need(size_t count, size_t size)
{
    void* block = calloc(count != 0 ? count : 1, size);
    if (block == NULL)
        die("memory");
    return block;
}

static double relief_of(const break_plane* b, int part, double x, double y)
{
    return b->high_mm * noise_waves_at(&b->side[part].relief, rlv_vec3_of(x, y, 0));
}

static rlv_vec3 place_of(const break_plane* b, double x, double y, double z)
{
    return rlv_vec3_add(
        b->middle, rlv_vec3_add(rlv_vec3_scale(b->along, x), rlv_vec3_along(rlv_vec3_scale(b->across, y), z, b->up)));
}

/// How far inside a rock a place lies, along the radius.
static double inside_mm(const ready_rock* surface, rlv_vec3 at)
{
    const double length = rlv_vec3_length(at);
    return rock_ready_radius(surface, rlv_vec3_scale(at, 1.0 / length)) - length;
}

/// How far a part's face lies from the break: positive where it was worn.
static double wear_of(const break_plane* b, int part, double x, double y, double rim_distance_mm)
{
    const face* f = &b->side[part];
    const rlv_vec3 at = {x, y, 0};
    double worn = f->worn_mm * fmin(1.0, fmax(0.0, noise_waves_at(&f->patches, at) - f->threshold));
    const double in = fmax(rim_distance_mm, 0.0) / fmax(f->rim_wide_mm, 1e-9);
    worn += f->rim_mm * fmin(1.0, fmax(0.0, 0.6 + 0.5 * noise_waves_at(&f->rim, at))) * exp(-in * in);
    for (size_t i = 0; i < f->bumps; i++)
    {
        const double dx = x - f->bump[i].at[0], dy = y - f->bump[i].at[1];
        const double r = (dx * dx + dy * dy) / (f->bump[i].radius_mm * f->bump[i].radius_mm);
        if (r < 1.0)
            worn -= f->bump[i].high_mm * (1.0 - r) * (1.0 - r);
    }
    return worn;
}

/// Height of a part's face over the plane.
static double face_height(const break_plane* b, int part, double x, double y)
{
    const double h = relief_of(b, part, x, y);
    const double worn = wear_of(b, part, x, y, inside_mm(b->surface, place_of(b, x, y, h)));
    return part == 0 ? h - worn : h + worn;
}

/// Above zero where a place belongs to a part, as far as its face tells.
static double kept_by(const break_plane* b, int part, rlv_vec3 at)
{
    const rlv_vec3 from = rlv_vec3_sub(at, b->middle);
    const double z = rlv_vec3_dot(from, b->up),
                 h = face_height(b, part, rlv_vec3_dot(from, b->along), rlv_vec3_dot(from, b->across));
    return part == 0 ? h - z : z - h;
}

static void add_bumps(face* f, const breaking_plan* plan, double reach_mm, scan_random* random)
{
    const double square = 4.0 * reach_mm * reach_mm;
    const int grains = (int)fmin(GRAINS, plan->grains * square / 1000.0);
    for (int i = 0; i < plan->hollows + grains && f->bumps < HOLLOWS + GRAINS; i++)
    {
        bump* one = &f->bump[f->bumps++];
        const bool grain = i >= plan->hollows;
        const double share = grain ? 1.0 : 0.5;
        one->at[0] = share * reach_mm * (2.0 * scan_random_unit(random) - 1.0);
        one->at[1] = share * reach_mm * (2.0 * scan_random_unit(random) - 1.0);
        one->radius_mm = grain ? 0.8 + 1.7 * scan_random_unit(random) : 4.0 + 8.0 * scan_random_unit(random);
        one->high_mm = grain ? 0.2 + 0.8 * scan_random_unit(random) : -1.0 - 3.0 * scan_random_unit(random);
    }
}

static void draw_wear(face* f, const breaking_plan* plan, double reach_mm, scan_random* random)
{
    f->patches = noise_waves_fractal(1.0, 40.0, 4, 0.6, scan_random_bits(random));
    f->rim = noise_waves_fractal(1.0, 15.0, 3, 0.6, scan_random_bits(random));
    f->threshold = 1.6 * (1.0 - 2.0 * plan->worn_share);
    f->worn_mm = plan->worn_mm * (0.3 + 0.7 * scan_random_unit(random));
    f->rim_mm = plan->rim_mm * (0.2 + 0.8 * scan_random_unit(random));
    f->rim_wide_mm = plan->rim_wide_mm;
    f->bumps = 0;
    add_bumps(f, plan, reach_mm, random);
}

static break_plane plane_of(const breaking_plan* plan, const rock* whole, scan_random* random)
{
    const rlv_mat3 any = scan_random_rotation(random);
    break_plane b = {.along = rlv_mat3_apply(any, rlv_vec3_of(1, 0, 0)),
                     .across = rlv_mat3_apply(any, rlv_vec3_of(0, 1, 0)),
                     .up = rlv_mat3_apply(any, rlv_vec3_of(0, 0, 1)),
                     .whole = whole};
    b.middle = rlv_vec3_scale(b.up, plan->distance_mm);
    const double reach = 1.1 * fmax(plan->half_axes_mm.x, fmax(plan->half_axes_mm.y, plan->half_axes_mm.z));
    const uint64_t relief_seed = scan_random_bits(random), other_seed = scan_random_bits(random);
    for (int part = 0; part < 2; part++)
    {
        b.side[part].relief =
            noise_waves_fractal(1.0, reach, OCTAVES, 0.57, part == 1 && plan->foreign ? other_seed : relief_seed);
        draw_wear(&b.side[part], plan, reach, random);
    }
    // Heights so that the root mean square slope, over steps of a millimetre, is as wished.
    double square = 0.0;
    b.high_mm = 1.0;
    for (int i = 0; i < 4000; i++)
    {
        const double x = reach * (2.0 * scan_random_unit(random) - 1.0),
                     y = reach * (2.0 * scan_random_unit(random) - 1.0);
        const double here = relief_of(&b, 0, x, y);
        square += pow(relief_of(&b, 0, x + 1.0, y) - here, 2) + pow(relief_of(&b, 0, x, y + 1.0) - here, 2);
    }
    b.high_mm = plan->slope / sqrt(square / 4000.0);
    return b;
}

// Cutting a mesh by a scalar at its vertices

typedef double (*scalar)(const void* user, rlv_vec3 at);

typedef struct soup
{
    rlv_mesh mesh;
    size_t room_vertices, room_triangles;
} soup;

static uint32_t add_vertex(soup* s, rlv_vec3 at)
{
    if (s->mesh.vertex_count == s->room_vertices)
    {
        s->room_vertices = 2 * s->room_vertices + 1024;
        s->mesh.position_mm = realloc(s->mesh.position_mm, 3 * s->room_vertices * sizeof(float));
        if (s->mesh.position_mm == NULL)
            die("memory");
    }
    float* to = s->mesh.position_mm + 3 * s->mesh.vertex_count;
    to[0] = (float)at.x, to[1] = (float)at.y, to[2] = (float)at.z;
    return (uint32_t)s->mesh.vertex_count++;
}

static void add_triangle(soup* s, uint32_t a, uint32_t b, uint32_t c)
{
    if (a == b || b == c || c == a)
        return;
    if (s->mesh.triangle_count == s->room_triangles)
    {
        s->room_triangles = 2 * s->room_triangles + 1024;
        s->mesh.corner = realloc(s->mesh.corner, 3 * s->room_triangles * sizeof(uint32_t));
        if (s->mesh.corner == NULL)
            die("memory");
    }
    uint32_t* to = s->mesh.corner + 3 * s->mesh.triangle_count++;
    to[0] = a, to[1] = b, to[2] = c;
}

/// The vertex where an edge crosses zero, one for both of its triangles.
typedef struct crossing
{
    uint64_t edge;
    uint32_t vertex;
} crossing;

static uint32_t cross_at(soup* s, crossing* table, size_t mask, const rlv_mesh* mesh, const double* value, uint32_t a,
                         uint32_t b, scalar f, const void* user)
{
    const uint32_t low = a < b ? a : b, high = a < b ? b : a;
    const uint64_t edge = ((uint64_t)low << 32 | high) + 1;
    size_t slot = (size_t)noise_hash(1, edge) & mask;
    while (table[slot].edge != 0 && table[slot].edge != edge)
        slot = (slot + 1) & mask;
    if (table[slot].edge == edge)
        return table[slot].vertex;
    rlv_vec3 p = rlv_mesh_vertex(mesh, low), q = rlv_mesh_vertex(mesh, high);
    double fp = value[low], fq = value[high];
    for (int round = 0; round < 12; round++) // halving after a first guess: the scalar may be rough
    {
        const double t = round < 2 ? fmin(fmax(fp / (fp - fq), 0.02), 0.98) : 0.5;
        const rlv_vec3 middle = rlv_vec3_along(p, t, rlv_vec3_sub(q, p));
        const double fm = f(user, middle);
        if ((fm > 0.0) == (fp > 0.0))
            p = middle, fp = fm;
        else
            q = middle, fq = fm;
    }
    table[slot] = (crossing){edge, add_vertex(s, rlv_vec3_scale(rlv_vec3_add(p, q), 0.5))};
    return table[slot].vertex;
}

/// Add the part of a mesh where the scalar is above zero.
static void add_cut(soup* s, const rlv_mesh* mesh, scalar f, const void* user)
{
    double* value = need(mesh->vertex_count, sizeof *value);
    uint32_t* moved = need(mesh->vertex_count, sizeof *moved);
#pragma omp parallel for schedule(dynamic, 256)
    for (size_t i = 0; i < mesh->vertex_count; i++)
        value[i] = f(user, rlv_mesh_vertex(mesh, i));
    size_t mask = 1024;
    while (mask < mesh->vertex_count)
        mask *= 2;
    crossing* table = need(mask, sizeof *table);
    mask--;
    for (size_t i = 0; i < mesh->vertex_count; i++)
        if (value[i] > 0.0)
            moved[i] = add_vertex(s, rlv_mesh_vertex(mesh, i));
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        const uint32_t* c = mesh->corner + 3 * t;
        uint32_t ring[4];
        size_t count = 0;
        for (int k = 0; k < 3; k++)
        {
            const uint32_t a = c[k], b = c[(k + 1) % 3];
            if (value[a] > 0.0)
                ring[count++] = moved[a];
            if ((value[a] > 0.0) != (value[b] > 0.0))
                ring[count++] = cross_at(s, table, mask, mesh, value, a, b, f, user);
        }
        for (size_t k = 2; k < count; k++)
            add_triangle(s, ring[0], ring[k - 1], ring[k]);
    }
    free(table);
    free(moved);
    free(value);
}

// The two sheets of a part

typedef struct part_maker
{
    const break_plane* plane;
    const rock* carved; ///< the rock as this part's outer surface shows it
    int part;
    const break_plane* within; ///< another break that this one stops at, and which side of it; NULL: none
    int within_part;
} part_maker;

static double shell_scalar(const void* user, rlv_vec3 at)
{
    const part_maker* m = user;
    return kept_by(m->plane, m->part, at);
}

static double face_scalar(const void* user, rlv_vec3 at)
{
    const part_maker* m = user;
    const double inside = inside_mm(m->plane->surface, at);
    return m->within != NULL ? fmin(inside, kept_by(m->within, m->within_part, at)) : inside;
}

/// The outer surface of a part: carved, but not along the joint's edge, which nobody works on before the piece is back.
static rlv_mesh outer_shell(const part_maker* m, size_t triangles, uint64_t seed)
{
    const double free_mm[2] = {2.0, 12.0};
    rlv_mesh mesh = scene_mesh(m->carved, triangles, seed);
#pragma omp parallel for schedule(dynamic, 256)
    for (size_t i = 0; i < mesh.vertex_count; i++)
    {
        const rlv_vec3 at = rlv_mesh_vertex(&mesh, i), u = rlv_vec3_unit(at);
        const double whole = rock_ready_radius(m->plane->surface, u);
        const double off = fabs(kept_by(m->plane, m->part, rlv_vec3_scale(u, whole)));
        const double t = fmin(1.0, fmax(0.0, (off - free_mm[0]) / (free_mm[1] - free_mm[0])));
        const rlv_vec3 to = rlv_vec3_sub(
            rlv_vec3_scale(u, whole + t * t * (3.0 - 2.0 * t) * (rlv_vec3_length(at) - whole)), mesh.origin_mm);
        mesh.position_mm[3 * i] = (float)to.x;
        mesh.position_mm[3 * i + 1] = (float)to.y;
        mesh.position_mm[3 * i + 2] = (float)to.z;
    }
    return mesh;
}

/// A shaken grid over the plane, as high as the part's face, seen from outside the part.
static rlv_mesh face_grid(const part_maker* m, double pitch_mm, double reach_mm, uint64_t seed)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    const size_t n = (size_t)(2.0 * reach_mm / pitch_mm) + 1;
    if (rlv_mesh_reserve(&mesh, n * n, 2 * (n - 1) * (n - 1), false, false, &error) != RLV_DONE)
        die("memory");
#pragma omp parallel for schedule(dynamic, 4)
    for (size_t i = 0; i < n * n; i++)
    {
        const double x = pitch_mm * ((double)(i % n) + 0.25 * noise_white(seed, 2 * i)) - reach_mm,
                     y = pitch_mm * ((double)(i / n) + 0.25 * noise_white(seed, 2 * i + 1)) - reach_mm;
        const rlv_vec3 at = place_of(m->plane, x, y, face_height(m->plane, m->part, x, y));
        mesh.position_mm[3 * i] = (float)at.x;
        mesh.position_mm[3 * i + 1] = (float)at.y;
        mesh.position_mm[3 * i + 2] = (float)at.z;
    }
    uint32_t* c = mesh.corner;
    for (size_t j = 0; j + 1 < n; j++)
        for (size_t i = 0; i + 1 < n; i++)
        {
            const uint32_t a = (uint32_t)(j * n + i), b = a + 1, d = (uint32_t)(a + n), e = d + 1;
            const uint32_t up[6] = {a, b, e, a, e, d}, down[6] = {a, e, b, a, d, e};
            memcpy(c, m->part == 0 ? up : down, sizeof up);
            c += 6;
        }
    return mesh;
}

/// Join the longest border of the first sheet with that of the second, which was added after `first_vertices`.
/// Whether each had only one.
static bool zip(soup* s, size_t first_vertices)
{
    rlv_mesh_borders borders = {0};
    rlv_error error = {0};
    if (rlv_mesh_borders_find(&borders, &s->mesh, &error) != RLV_DONE)
        die(error.what);
    size_t loop[2] = {SIZE_MAX, SIZE_MAX}, loops[2] = {0};
    for (size_t l = 0; l < borders.loop_count; l++)
    {
        const int of = borders.vertex[borders.start[l]] >= first_vertices;
        const size_t length = borders.start[l + 1] - borders.start[l];
        loops[of] += length > 12;
        if (loop[of] == SIZE_MAX || length > borders.start[loop[of] + 1] - borders.start[loop[of]])
            loop[of] = l;
    }
    const bool whole = loops[0] == 1 && loops[1] == 1;
    if (whole)
    {
        const uint32_t *a = borders.vertex + borders.start[loop[0]], *b = borders.vertex + borders.start[loop[1]];
        const size_t na = borders.start[loop[0] + 1] - borders.start[loop[0]],
                     nb = borders.start[loop[1] + 1] - borders.start[loop[1]];
        size_t near = 0;
        double best = INFINITY;
        for (size_t k = 0; k < nb; k++)
        {
            const double d =
                rlv_vec3_length(rlv_vec3_sub(rlv_mesh_vertex(&s->mesh, a[0]), rlv_mesh_vertex(&s->mesh, b[k])));
            if (d < best)
                best = d, near = k;
        }
        // The second sheet's border runs the other way round.
        for (size_t i = 0, j = 0; i < na || j < nb;)
        {
            const uint32_t pa = a[i % na], qa = a[(i + 1) % na], pb = b[(near + nb - j % nb) % nb],
                           qb = b[(near + nb - (j + 1) % nb) % nb];
            const double da = rlv_vec3_length(
                             rlv_vec3_sub(rlv_mesh_vertex(&s->mesh, qa), rlv_mesh_vertex(&s->mesh, pb))),
                         db = rlv_vec3_length(
                             rlv_vec3_sub(rlv_mesh_vertex(&s->mesh, pa), rlv_mesh_vertex(&s->mesh, qb)));
            if (j >= nb || (i < na && da <= db))
                add_triangle(s, qa, pa, pb), i++;
            else
                add_triangle(s, pa, pb, qb), j++;
        }
    }
    rlv_mesh_borders_free(&borders);
    return whole;
}

/// What is left of a closed mesh on one side of a break, closed by the break's face: as part_mesh. The mesh is freed.
static rlv_mesh cut_off(rlv_mesh* from, const part_maker* m, double pitch_mm, double reach_mm, uint64_t seed)
{
    rlv_mesh grid = face_grid(m, pitch_mm, reach_mm, seed);
    soup s = {0};
    add_cut(&s, from, shell_scalar, m);
    const size_t first = s.mesh.vertex_count;
    add_cut(&s, &grid, face_scalar, m);
    const bool whole = zip(&s, first);
    rlv_mesh_free(from);
    rlv_mesh_free(&grid);
    rlv_mesh_health health;
    rlv_error error = {0};
    if (!whole || rlv_mesh_mend(&s.mesh, &health, &error) != RLV_DONE)
        rlv_mesh_free(&s.mesh);
    return s.mesh;
}

static double pitch_of(const rlv_mesh* shell)
{
    return sqrt(2.0 * rlv_mesh_measure(shell).area_mm2 / (double)shell->triangle_count);
}

/// A part as one closed mesh, or one without triangles where the break does not cut the rock in one ring.
static rlv_mesh part_mesh(const part_maker* m, size_t triangles, double reach_mm, uint64_t seed)
{
    rlv_mesh shell = outer_shell(m, triangles, seed);
    return cut_off(&shell, m, pitch_of(&shell), reach_mm, seed);
}

// Carving

/// Carve a pit into a part so that about `share` of its outer surface goes.
static void carve(rock* stone, const break_plane* b, int part, double share, scan_random* random)
{
    enum
    {
        DIRECTIONS = 4000
    };
    if (!(share > 0.0))
        return;
    const rlv_mat3 any = scan_random_rotation(random);
    rlv_vec3 own[DIRECTIONS];
    size_t count = 0;
    for (int i = 0; i < DIRECTIONS; i++)
    {
        const double z = 1.0 - (2.0 * i + 1.0) / DIRECTIONS, turn = i * M_PI * (3.0 - sqrt(5.0)),
                     ring = sqrt(1.0 - z * z);
        const rlv_vec3 u = rlv_mat3_apply(any, rlv_vec3_of(ring * cos(turn), ring * sin(turn), z));
        const rlv_vec3 at = rlv_vec3_scale(u, rock_ready_radius(b->surface, u));
        const double over = rlv_vec3_dot(rlv_vec3_sub(at, b->middle), b->up);
        if ((over > 0.0) == (part == 1))
            own[count++] = u;
    }
    if (count == 0)
        die("a part without outer surface");
    const rlv_vec3 axis = own[(size_t)(scan_random_unit(random) * (double)count)];
    double low = 0.0, high = M_PI;
    for (int round = 0; round < 30; round++)
    {
        const double middle = 0.5 * (low + high);
        size_t inside = 0;
        for (size_t i = 0; i < count; i++)
            inside += acos(fmin(1.0, fmax(-1.0, rlv_vec3_dot(own[i], axis)))) < middle;
        *((double)inside < share * (double)count ? &low : &high) = middle;
    }
    stone->cut[stone->cut_count++] = (rock_cut){.direction = axis,
                                                .depth_mm = 1.5 + 6.0 * scan_random_unit(random),
                                                .half_angle_rad = high,
                                                .soft_mm = 3.0 + 5.0 * scan_random_unit(random)};
}

/// The truth of the gap: wear of both faces over all of the break that lies in the rock.
static void measure_truth(breaking* made, const break_plane* b, double reach_mm)
{
    const double pitch = 0.4;
    const size_t n = (size_t)(2.0 * reach_mm / pitch);
    double gap = 0.0, plan = 0.0, low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
#pragma omp parallel for schedule(static) reduction(+ : gap, plan)
    for (size_t j = 0; j < n; j++)
        for (size_t i = 0; i < n; i++)
        {
            const double x = pitch * ((double)i + 0.5) - reach_mm, y = pitch * ((double)j + 0.5) - reach_mm;
            const double in = inside_mm(b->surface, place_of(b, x, y, relief_of(b, 0, x, y)));
            if (in <= 0.0)
                continue;
            gap += pitch * pitch * (wear_of(b, 0, x, y, in) + wear_of(b, 1, x, y, in));
            plan += pitch * pitch;
#pragma omp critical
            {
                low[0] = fmin(low[0], x), high[0] = fmax(high[0], x);
                low[1] = fmin(low[1], y), high[1] = fmax(high[1], y);
            }
        }
    made->gap_mm3 = gap;
    made->plan_mm2 = plan;
    made->across_mm = fmin(high[0] - low[0], high[1] - low[1]);
}

static double unworn_scalar(const void* user, rlv_vec3 at)
{
    const part_maker* m = user;
    const rlv_vec3 from = rlv_vec3_sub(at, m->plane->middle);
    const double h = relief_of(m->plane, 0, rlv_vec3_dot(from, m->plane->along), rlv_vec3_dot(from, m->plane->across)),
                 z = rlv_vec3_dot(from, m->plane->up);
    return m->part == 0 ? h - z : z - h;
}

/// The rock with the joint standing open: the outer surfaces of both parts, the piece's where it stood. Nobody saw into
/// the joint.
static rlv_mesh opened(const break_plane* b, const rlv_pose* stood, size_t triangles, uint64_t seed)
{
    rlv_mesh whole = scene_mesh(b->whole, triangles, seed);
    soup s = {0};
    add_cut(&s, &whole, unworn_scalar, &(part_maker){.plane = b, .carved = b->whole, .part = 0});
    const size_t first = s.mesh.vertex_count;
    add_cut(&s, &whole, unworn_scalar, &(part_maker){.plane = b, .carved = b->whole, .part = 1});
    for (size_t i = first; i < s.mesh.vertex_count; i++)
    {
        const rlv_vec3 to = rlv_pose_apply(stood, rlv_vec3_from(s.mesh.position_mm + 3 * i));
        s.mesh.position_mm[3 * i] = (float)to.x;
        s.mesh.position_mm[3 * i + 1] = (float)to.y;
        s.mesh.position_mm[3 * i + 2] = (float)to.z;
    }
    rlv_mesh_free(&whole);
    rlv_mesh_health health;
    rlv_error error = {0};
    if (rlv_mesh_mend(&s.mesh, &health, &error) != RLV_DONE)
        die(error.what);
    return s.mesh;
}

static rock draw_rock(const breaking_plan* plan, scan_random* random)
{
    return (rock){.half_axes_mm = plan->half_axes_mm,
                  .relief_mm = 1.5 + 2.5 * scan_random_unit(random),
                  .relief_length_mm = 60.0 + 40.0 * scan_random_unit(random),
                  .facets = scan_random_unit(random),
                  .seed = scan_random_bits(random)};
}

/// Try one seed: false where the break does not cut the rock in one ring.
static bool try_make(breaking* made, const breaking_plan* plan, uint64_t seed, bool with_truth)
{
    scan_random random = {seed};
    rock whole = draw_rock(plan, &random);
    ready_rock* surface = rock_make_ready(&whole);
    if (surface == NULL)
        die("memory");
    break_plane b = plane_of(plan, &whole, &random);
    b.surface = surface;
    const double reach = 1.25 * fmax(plan->half_axes_mm.x, fmax(plan->half_axes_mm.y, plan->half_axes_mm.z));
    rock carved[2] = {whole, whole};
    rlv_mesh* part[2] = {&made->block, &made->piece};
    const uint64_t mesh_seed = scan_random_bits(&random) | 1u;
    for (int k = 0; k < 2; k++)
    {
        carve(&carved[k], &b, k, 1.0 - plan->kept, &random);
        *part[k] = part_mesh(&(part_maker){.plane = &b, .carved = &carved[k], .part = k}, plan->triangles[k + 1], reach,
                             mesh_seed + 2 * (uint64_t)k);
        if (part[k]->triangle_count == 0)
        {
            breaking_free(made);
            free(surface);
            return false;
        }
    }
    measure_truth(made, &b, reach);
    // As found the piece stood off the block: along the break's normal, and opened like a wedge.
    rlv_pose stood = rlv_pose_identity();
    stood.rotation = rlv_rotation_from_vector(rlv_vec3_scale(b.along, plan->open_mm / fmax(made->across_mm, 1.0)));
    stood.translation_mm = rlv_vec3_add(rlv_vec3_sub(b.middle, rlv_mat3_apply(stood.rotation, b.middle)),
                                        rlv_vec3_scale(b.up, plan->open_mm));
    made->before = plan->open_mm > 0.0 ? opened(&b, &stood, plan->triangles[0], mesh_seed + 6)
                                       : scene_mesh(&whole, plan->triangles[0], mesh_seed + 6);
    rlv_error error = {0};
    if (with_truth && (rlv_mesh_copy(&made->true_block, &made->block, &error) != RLV_DONE ||
                       rlv_mesh_copy(&made->true_piece, &made->piece, &error) != RLV_DONE))
        die("memory");
    scan_noise noise = plan->scan;
    const rlv_pose before_home = scene_scan(&made->before, noise, &random);
    const rlv_pose block_home = scene_scan(&made->block, noise, &random);
    const rlv_pose piece_home = scene_scan(&made->piece, noise, &random);
    const rlv_pose to_block = rlv_pose_inverse(&block_home), to_before = rlv_pose_inverse(&before_home),
                   to_piece = rlv_pose_inverse(&piece_home);
    made->closed = rlv_pose_compose(&to_block, &piece_home);
    const rlv_pose home = rlv_pose_compose(&stood, &piece_home);
    made->as_found = rlv_pose_compose(&to_block, &home);
    made->from_block = rlv_pose_compose(&to_before, &block_home);
    if (with_truth)
    {
        rlv_pose_move_mesh(&to_block, &made->true_block);
        rlv_pose_move_mesh(&to_piece, &made->true_piece);
    }
    free(surface);
    return true;
}

breaking breaking_make(const breaking_plan* plan, bool with_truth)
{
    breaking made = {0};
    for (uint64_t again = 0; again < 40; again++)
        if (try_make(&made, plan, noise_hash(plan->seed, 7 + again), with_truth))
            return made;
    die("no break that cuts the rock in one ring");
    return made;
}

void breaking_free(breaking* made)
{
    rlv_mesh_free(&made->before);
    rlv_mesh_free(&made->block);
    rlv_mesh_free(&made->piece);
    rlv_mesh_free(&made->true_block);
    rlv_mesh_free(&made->true_piece);
}

// More than two parts

/// Which side of the first and of the second break a part lies on; -1: the second does not reach it.
static const int part_sides[2][BREAKING_PARTS][2] = {{{0, -1}, {1, 0}, {1, 1}}, {{0, 0}, {1, 0}, {1, 1}, {0, 1}}};

/// Turn the second break across the first, through about the rock's middle.
static void turn_across(break_plane* second, const break_plane* first, scan_random* random)
{
    const double turn = (scan_random_unit(random) - 0.5) * M_PI / 3.0, side = scan_random_unit(random) * 2.0 * M_PI;
    const rlv_vec3 in = rlv_vec3_along(rlv_vec3_scale(first->along, cos(side)), sin(side), first->across);
    second->up = rlv_vec3_along(rlv_vec3_scale(in, cos(turn)), sin(turn), first->up);
    second->along = rlv_vec3_unit(rlv_vec3_cross(second->up, first->up));
    second->across = rlv_vec3_cross(second->up, second->along);
    second->middle = rlv_vec3_scale(second->up, 10.0 * (scan_random_unit(random) - 0.5));
}

/// One part, with wear of its own on each of its faces; without triangles where a break does not cut in one ring.
static rlv_mesh draw_part(const break_plane plane[2], const int side[2], bool foreign, const breaking_plan* plan,
                          double reach_mm, scan_random* random)
{
    break_plane* own = need(2, sizeof *own);
    memcpy(own, plane, 2 * sizeof *own);
    for (int k = 0; k < 2; k++)
        if (side[k] >= 0)
            draw_wear(&own[k].side[side[k]], plan, reach_mm, random);
    if (foreign)
        own[1].side[side[1]].relief = noise_waves_fractal(1.0, reach_mm, OCTAVES, 0.57, scan_random_bits(random));
    const part_maker first = {.plane = &own[0], .carved = plane[0].whole, .part = side[0]};
    const uint64_t seed = scan_random_bits(random) | 1u;
    rlv_mesh mesh = outer_shell(&first, plan->triangles[1], seed);
    const double pitch = pitch_of(&mesh);
    mesh = cut_off(&mesh, &first, pitch, reach_mm, seed);
    const part_maker second = {
        .plane = &own[1], .carved = plane[0].whole, .part = side[1], .within = &own[0], .within_part = side[0]};
    if (side[1] >= 0 && mesh.triangle_count > 0)
        mesh = cut_off(&mesh, &second, pitch, reach_mm, seed + 2);
    free(own);
    return mesh;
}

static bool try_parts(breaking_parts* made, const breaking_plan* plan, size_t count, size_t foreign, uint64_t seed)
{
    scan_random random = {seed};
    rock whole = draw_rock(plan, &random);
    ready_rock* surface = rock_make_ready(&whole);
    break_plane* plane = need(2, sizeof *plane);
    if (surface == NULL)
        die("memory");
    for (int k = 0; k < 2; k++)
    {
        plane[k] = plane_of(plan, &whole, &random);
        plane[k].surface = surface;
    }
    turn_across(&plane[1], &plane[0], &random);
    const double reach = 1.25 * fmax(plan->half_axes_mm.x, fmax(plan->half_axes_mm.y, plan->half_axes_mm.z));
    bool whole_parts = true;
    made->count = count;
    for (size_t k = 0; k < count && whole_parts; k++)
    {
        made->part[k] = draw_part(plane, part_sides[count - 3][k], k == foreign, plan, reach, &random);
        whole_parts = made->part[k].triangle_count > 0;
    }
    made->before = scene_mesh(&whole, plan->triangles[0], scan_random_bits(&random) | 1u);
    free(plane);
    free(surface);
    return whole_parts;
}

breaking_parts breaking_make_parts(const breaking_plan* plan, size_t count, size_t foreign)
{
    breaking_parts made = {0};
    uint64_t again = 0;
    while (!try_parts(&made, plan, count, foreign, noise_hash(plan->seed, 107 + again)))
    {
        breaking_parts_free(&made);
        if (++again == 40)
            die("no breaks that cut the rock in so many parts");
    }
    scan_random random = {noise_hash(plan->seed, 99)};
    rlv_pose home[BREAKING_PARTS];
    for (size_t k = 0; k < count; k++)
        home[k] = scene_scan(&made.part[k], plan->scan, &random);
    const rlv_pose to_block = rlv_pose_inverse(&home[0]), before_home = scene_scan(&made.before, plan->scan, &random),
                   to_before = rlv_pose_inverse(&before_home);
    for (size_t k = 0; k < count; k++)
        made.in_block[k] = rlv_pose_compose(&to_block, &home[k]);
    made.from_block = rlv_pose_compose(&to_before, &home[0]);
    return made;
}

void breaking_parts_free(breaking_parts* made)
{
    for (size_t k = 0; k < BREAKING_PARTS; k++)
        rlv_mesh_free(&made->part[k]);
    rlv_mesh_free(&made->before);
}

breaking_plan breaking_draw(uint64_t seed, size_t triangles)
{
    scan_random random = {noise_hash(seed, 3)};
    breaking_plan plan = {.seed = seed};
    plan.half_axes_mm = rlv_vec3_of(45.0 + 55.0 * scan_random_unit(&random), 40.0 + 45.0 * scan_random_unit(&random),
                                    35.0 + 35.0 * scan_random_unit(&random));
    const double least = fmin(plan.half_axes_mm.x, fmin(plan.half_axes_mm.y, plan.half_axes_mm.z));
    plan.distance_mm = least * (0.05 + 0.5 * scan_random_unit(&random));
    plan.slope = 0.2 + 0.4 * scan_random_unit(&random);
    plan.worn_mm = 0.8 * scan_random_unit(&random);
    plan.worn_share = 0.6 * scan_random_unit(&random);
    plan.rim_mm = 2.0 * scan_random_unit(&random);
    plan.rim_wide_mm = 1.0 + 4.0 * scan_random_unit(&random);
    plan.hollows = (int)(4.0 * scan_random_unit(&random));
    plan.grains = 4.0 * scan_random_unit(&random);
    plan.kept = 0.4 + 0.6 * scan_random_unit(&random);
    for (int k = 0; k < 3; k++)
        plan.triangles[k] = (size_t)((double)triangles * (0.6 + 0.8 * scan_random_unit(&random)));
    plan.scan = (scan_noise){.noise_sd_mm = 0.1, .noise_length_mm = 2.0, .any_pose = true, .place_mm = 300.0};
    return plan;
}
