#include "outline.h"

#include "mesh_edges.h"
#include "rock.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

// --- meshes ----------------------------------------------------------------------------------------------------------

/// Numbers from 0 to 1, the same in every run.
static double next_share(uint64_t* state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

#define PLANE_CELLS 80
#define PLANE_MM 80.0

/// A square of PLANE_MM with its lower corner at the origin, of shaken triangles; its own border is straight.
static rlv_mesh plane_mesh(void)
{
    enum
    {
        N = PLANE_CELLS + 1
    };
    static float at[3 * N * N];
    static uint32_t corner[6 * PLANE_CELLS * PLANE_CELLS];
    const double pitch = PLANE_MM / PLANE_CELLS;
    uint64_t seed = 5;
    for (size_t i = 0; i < N * N; i++)
    {
        const size_t x = i % N, y = i / N;
        const bool inside = x > 0 && x < PLANE_CELLS && y > 0 && y < PLANE_CELLS;
        at[3 * i] = (float)(pitch * ((double)x + (inside ? 0.6 * (next_share(&seed) - 0.5) : 0.0)));
        at[3 * i + 1] = (float)(pitch * ((double)y + (inside ? 0.6 * (next_share(&seed) - 0.5) : 0.0)));
        at[3 * i + 2] = 0.0f;
    }
    for (size_t i = 0; i < PLANE_CELLS * PLANE_CELLS; i++)
    {
        const uint32_t a = (uint32_t)(i / PLANE_CELLS * N + i % PLANE_CELLS), b = a + 1, c = a + N, d = c + 1;
        memcpy(corner + 6 * i, (const uint32_t[6]){a, b, d, a, d, c}, 6 * sizeof *corner);
    }
    rlv_mesh mesh = {0};
    shape_add(&mesh, N * N, at, 2 * PLANE_CELLS * PLANE_CELLS, corner);
    return mesh;
}

/// The longest edge of a mesh.
static double longest_edge(const rlv_mesh* mesh)
{
    double most = 0.0;
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
    {
        const size_t next = i % 3 == 2 ? i - 2 : i + 1;
        most = fmax(most, rlv_vec3_length(rlv_vec3_sub(rlv_mesh_vertex(mesh, mesh->corner[i]),
                                                       rlv_mesh_vertex(mesh, mesh->corner[next]))));
    }
    return most;
}

static rlv_surface* prepare(const rlv_mesh* mesh)
{
    rlv_surface* surface = NULL;
    rlv_error error = {0};
    cr_assert_eq(rlv_surface_prepare(&surface, mesh, NULL, &error), RLV_DONE, "%s", error.what);
    return surface;
}

static rlv_outline find(const rlv_surface* surface, size_t count, const rlv_vec3* point)
{
    rlv_outline outline = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_outline_find(&outline, surface, count, point, &error), RLV_DONE, "%s", error.what);
    return outline;
}

static rlv_vec3 centre_of(const rlv_mesh* mesh, uint32_t triangle)
{
    rlv_vec3 sum = {0, 0, 0};
    for (size_t i = 0; i < 3; i++)
        sum = rlv_vec3_add(sum, rlv_mesh_vertex(mesh, mesh->corner[3 * (size_t)triangle + i]));
    return rlv_vec3_scale(sum, 1.0 / 3.0);
}

static double area_of(const rlv_mesh* mesh, uint32_t triangle)
{
    const uint32_t* c = mesh->corner + 3 * (size_t)triangle;
    const rlv_vec3 a = rlv_mesh_vertex(mesh, c[0]);
    return rlv_vec3_length(rlv_vec3_cross(rlv_vec3_sub(rlv_mesh_vertex(mesh, c[1]), a),
                                          rlv_vec3_sub(rlv_mesh_vertex(mesh, c[2]), a))) /
           2.0;
}

static void assert_same(const rlv_outline* a, const rlv_outline* b)
{
    cr_assert_eq(a->triangle_count, b->triangle_count);
    cr_assert_eq(memcmp(a->triangle, b->triangle, a->triangle_count * sizeof *a->triangle), 0);
    cr_assert_eq(memcmp(&a->area_mm2, &b->area_mm2, sizeof a->area_mm2), 0);
    cr_assert_eq(a->border_count, b->border_count);
    cr_assert_eq(memcmp(a->border, b->border, a->border_count * sizeof *a->border), 0);
}

/// `count` points on a circle about `centre` across `axis`.
static void draw_circle(rlv_vec3* point, size_t count, rlv_vec3 centre, rlv_vec3 axis, double radius)
{
    const rlv_vec3 aside = fabs(axis.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0);
    const rlv_vec3 u = rlv_vec3_unit(rlv_vec3_cross(axis, aside)), v = rlv_vec3_cross(rlv_vec3_unit(axis), u);
    for (size_t i = 0; i < count; i++)
    {
        const double turn = 2.0 * M_PI * ((double)i + 0.3) / (double)count;
        point[i] = rlv_vec3_along(rlv_vec3_along(centre, radius * cos(turn), u), radius * sin(turn), v);
    }
}

static void expect_refusal(const rlv_mesh* mesh, size_t count, const rlv_vec3* point, const char* words)
{
    rlv_surface* surface = prepare(mesh);
    rlv_outline outline = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_outline_find(&outline, surface, count, point, &error), RLV_BAD_INPUT);
    cr_assert_not_null(strstr(error.what, words), "\"%s\" in place of \"%s\"", error.what, words);
    cr_assert_neq(error.mend[0], '\0');
    cr_assert_null(outline.triangle);
    cr_assert_null(outline.border);
    rlv_surface_free(surface);
}

// --- where the border lies -------------------------------------------------------------------------------------------

#define RING 16

/// Signed area of a polygon in the plane z = 0.
static double polygon_area(const rlv_vec3* point, size_t count)
{
    double area2 = 0.0;
    for (size_t i = 0; i < count; i++)
        area2 += point[i].x * point[(i + 1) % count].y - point[(i + 1) % count].x * point[i].y;
    return area2 / 2.0;
}

/// Distance from a place to the sides of a polygon.
static double off_polygon(rlv_vec3 at, const rlv_vec3* point, size_t count)
{
    double least = INFINITY;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 way = rlv_vec3_sub(point[(i + 1) % count], point[i]), d = rlv_vec3_sub(at, point[i]);
        const double share = fmin(fmax(rlv_vec3_dot(d, way) / rlv_vec3_dot(way, way), 0.0), 1.0);
        least = fmin(least, rlv_vec3_length(rlv_vec3_along(d, -share, way)));
    }
    return least;
}

Test(outline, circle_on_a_plane_keeps_within_an_edge_of_its_sides)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    rlv_vec3 point[RING];
    draw_circle(point, RING, rlv_vec3_of(41.3, 38.7, 0), rlv_vec3_of(0, 0, 1), 23.0);
    const double edge = longest_edge(&mesh), inside = polygon_area(point, RING);
    rlv_outline outline = find(surface, RING, point);
    for (size_t i = 0; i < outline.border_count; i++)
    {
        // The triangles that a straight side crosses have all corners within one edge of it.
        const double off = off_polygon(rlv_mesh_vertex(&mesh, outline.border[i]), point, RING);
        cr_assert_leq(off, edge, "%g mm off, the longest edge is %g", off, edge);
    }
    // A border within an edge of the sides bounds an area within edge times perimeter; on both sides it evens out.
    const double perimeter = 2.0 * RING * 23.0 * sin(M_PI / RING);
    cr_assert_float_eq(outline.area_mm2, inside, edge * perimeter, "%g for %g", outline.area_mm2, inside);
    // Every side's way begins and ends at vertices up to an edge from its points.
    cr_assert_float_eq(outline.length_mm, perimeter, 2.0 * RING * edge);
    cr_assert_leq(outline.farthest_mm, PLANE_MM * 0x1p-23); // a float's rounding, each way
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, what_is_enclosed_is_what_lies_in_it_but_along_its_border)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    // A drawn ring with a bay: an L.
    const rlv_vec3 point[6] = {{10, 10, 0.4}, {60, 12, -0.3}, {58, 30, 0}, {31, 29, 0.2}, {30, 65, 0}, {12, 63, 0}};
    rlv_outline outline = find(surface, 6, point);
    uint8_t* in = calloc(mesh.triangle_count, 1);
    cr_assert_not_null(in);
    for (size_t i = 0; i < outline.triangle_count; i++)
    {
        cr_assert(i == 0 || outline.triangle[i] > outline.triangle[i - 1]);
        in[outline.triangle[i]] = 1;
    }
    const double edge = longest_edge(&mesh);
    double area = 0.0;
    for (uint32_t t = 0; t < mesh.triangle_count; t++)
    {
        area += in[t] ? area_of(&mesh, t) : 0.0;
        const rlv_vec3 at = centre_of(&mesh, t);
        const bool inside =
            (at.x > 10 && at.x < 60 && at.y > 10 && at.y < 30) || (at.x > 10 && at.x < 31 && at.y > 10 && at.y < 65);
        // The corners of the L are up to 2 mm off the right angles that `inside` has.
        if (off_polygon(at, point, 6) > 2.0 + edge)
            cr_assert_eq(in[t], inside, "at %g %g", at.x, at.y);
    }
    cr_assert_float_eq(outline.area_mm2, area, 1e-9 * area); // the same sum
    cr_assert_float_eq(outline.farthest_mm, 0.4, 1e-6);      // a float
    free(in);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

#define RADIUS 100.0

/// What a ring of RING points at an angle off an axis encloses on a sphere: its sides are arcs of great circles. By the
/// angles of the RING triangles that meet at the axis (I. Todhunter, Spherical Trigonometry, 1886, art. 97 and 99):
/// area = R^2 (sum of the angles - pi) for each.
static double ring_on_sphere(double half_angle)
{
    const double wedge = 2.0 * M_PI / RING;
    // The two equal angles of a triangle with sides `half_angle` about `wedge`: cot a = cos(side) tan(wedge / 2).
    const double base = atan2(1.0, cos(half_angle) * tan(wedge / 2.0));
    return RADIUS * RADIUS * RING * (wedge + 2.0 * base - M_PI);
}

static void check_cap(rlv_vec3 axis, double half_angle)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(10, -20, 30), RADIUS, 60);
    rlv_surface* surface = prepare(&mesh);
    axis = rlv_vec3_unit(axis);
    rlv_vec3 point[RING];
    draw_circle(point, RING, rlv_vec3_along(rlv_vec3_of(10, -20, 30), RADIUS * cos(half_angle), axis), axis,
                RADIUS * sin(half_angle));
    rlv_outline outline = find(surface, RING, point);
    const double expected = ring_on_sphere(fmin(half_angle, M_PI - half_angle));
    const double edge = longest_edge(&mesh), perimeter = 2.0 * M_PI * RADIUS * sin(half_angle);
    // A border within an edge of the arcs; and the flat triangles' own lack of area, measured on the whole sphere.
    const double whole = 4.0 * M_PI * RADIUS * RADIUS;
    const double lack = (whole - rlv_mesh_measure(&mesh).area_mm2) / whole;
    cr_assert_float_eq(outline.area_mm2, expected, edge * perimeter + lack * expected, "%g for %g +- %g",
                       outline.area_mm2, expected, edge * perimeter);
    // All on the one side: no triangle's middle farther over the ring's plane than an edge.
    for (size_t i = 0; i < outline.triangle_count; i++)
    {
        const rlv_vec3 at = rlv_vec3_sub(centre_of(&mesh, outline.triangle[i]), rlv_vec3_of(10, -20, 30));
        const double along = rlv_vec3_dot(at, axis) * (half_angle <= M_PI / 2.0 ? 1.0 : -1.0);
        cr_assert_geq(along, RADIUS * fabs(cos(half_angle)) - edge);
    }
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, cap_of_a_sphere_has_the_handbook_area)
{
    check_cap(rlv_vec3_of(0.2, 0.5, 0.9), 0.35);
    check_cap(rlv_vec3_of(-1, 0.1, 0.3), 1.1);
    // A ring of sixteen is that much smaller than the handbook's cap, 2 pi R^2 (1 - cos a): the sides cut corners by
    // 1 - cos(pi / 16) of the distance to the axis, on 2 pi of it: twice that share of the area, to first order.
    const double cap = 2.0 * M_PI * RADIUS * RADIUS * (1.0 - cos(0.35));
    cr_assert_float_eq(ring_on_sphere(0.35), cap, 2.0 * (1.0 - cos(M_PI / RING)) * cap);
}

Test(outline, three_points_a_quarter_turn_apart_enclose_an_eighth_of_a_sphere)
{
    // The mesh is an octahedron's: its own edges are the arcs between the axes, and each face is an eighth.
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), RADIUS, 32);
    rlv_surface* surface = prepare(&mesh);
    const rlv_vec3 point[3] = {{RADIUS + 1.0, 0, 0}, {0, 0, RADIUS - 1.0}, {0, -RADIUS, 0}};
    rlv_outline outline = find(surface, 3, point);
    cr_assert_eq(outline.triangle_count, mesh.triangle_count / 8);
    for (size_t i = 0; i < outline.triangle_count; i++)
    {
        const rlv_vec3 at = centre_of(&mesh, outline.triangle[i]);
        cr_assert(at.x > 0.0 && at.y < 0.0 && at.z > 0.0);
    }
    // Three quarters of a great circle, each of 32 chords: an arc a over its chord 2 sin(a / 2) is longer by a^2 / 24.
    const double arc = M_PI / 2.0 / 32.0, round = 1.5 * M_PI * RADIUS;
    // The chords of the octahedron's edges are not all alike: the longest is under twice the mean.
    cr_assert_float_eq(outline.length_mm, round, round * 4.0 * arc * arc / 24.0);
    cr_assert_lt(outline.length_mm, round);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, the_smaller_side_is_taken_whichever_it_is)
{
    check_cap(rlv_vec3_of(0.1, 0.2, 1), 1.4);
    check_cap(rlv_vec3_of(0.1, 0.2, 1), M_PI - 1.4);
}

Test(outline, fewer_triangles_are_not_less_area)
{
    // A box is twelve triangles; its lid is cut into many, which are the smaller side all the same, and the other way
    // round: what counts is area.
    rlv_mesh mesh = plane_mesh();
    const size_t lid = mesh.triangle_count, first = mesh.vertex_count;
    const float deep[12] = {0, 0, -60, PLANE_MM, 0, -60, PLANE_MM, PLANE_MM, -60, 0, PLANE_MM, -60};
    shape_add(&mesh, 4, deep, 2, (const uint32_t[6]){0, 2, 1, 0, 3, 2});
    // Walls from the bottom's corners to every vertex of the lid's border.
    const size_t n = PLANE_CELLS + 1;
    for (size_t side = 0; side < 4; side++)
        for (size_t i = 0; i < PLANE_CELLS; i++)
        {
            const size_t j = i + 1, last = PLANE_CELLS;
            const size_t along[4][2] = {{i, j},
                                        {i * n + last, j * n + last},
                                        {last * n + last - i, last * n + last - j},
                                        {(last - i) * n, (last - j) * n}};
            const size_t t = shape_add(&mesh, 0, NULL, 1, (const uint32_t[3]){0});
            const uint32_t own[3] = {(uint32_t)along[side][1], (uint32_t)along[side][0], (uint32_t)(first + side)};
            memcpy(mesh.corner + 3 * t, own, sizeof own);
        }
    const uint32_t ends[4] = {PLANE_CELLS, (uint32_t)(n * n - 1), (uint32_t)(n * n - n), 0};
    for (size_t side = 0; side < 4; side++)
    {
        const size_t t = shape_add(&mesh, 0, NULL, 1, (const uint32_t[3]){0});
        const uint32_t own[3] = {(uint32_t)(first + side), (uint32_t)(first + (side + 1) % 4), ends[side]};
        memcpy(mesh.corner + 3 * t, own, sizeof own);
    }
    rlv_mesh_health health;
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
    cr_assert(health.closed);
    rlv_surface* surface = prepare(&mesh);
    const double m = PLANE_MM;
    const rlv_vec3 rim[8] = {{0, 0, 0}, {m / 2, 0, 0}, {m, 0, 0}, {m, m / 2, 0},
                             {m, m, 0}, {m / 2, m, 0}, {0, m, 0}, {0, m / 2, 0}};
    rlv_outline outline = find(surface, 8, rim);
    // Along the rim itself: the lid and nothing else, though the rest of the box has 326 triangles in place of 12,800.
    cr_assert_eq(outline.triangle_count, lid);
    cr_assert_eq(outline.triangle[lid - 1], lid - 1);
    cr_assert_float_eq(outline.area_mm2, m * m, 1e-6 * m * m); // float corners, a part in 2^24 each
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

static const rock block = {
    .half_axes_mm = {110, 80, 60}, .relief_mm = 2.0, .relief_length_mm = 30.0, .facets = 0.5, .seed = 4};

/// A ring on the rock about a direction, its points `off_mm` outside or inside the surface by turns.
static void draw_on_rock(rlv_vec3* point, size_t count, rlv_vec3 axis, double half_angle, double off_mm)
{
    axis = rlv_vec3_unit(axis);
    draw_circle(point, count, rlv_vec3_scale(axis, cos(half_angle)), axis, sin(half_angle));
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 way = rlv_vec3_unit(point[i]);
        point[i] = rlv_vec3_scale(way, rock_radius(&block, way) + (i % 2 != 0 ? off_mm : -off_mm));
    }
}

/// Whether a direction lies in the cone over a ring's polygon, which is convex, by more than `margin_mm` at a place.
static double depth_in_cone(rlv_vec3 at, const rlv_vec3* point, size_t count)
{
    double least = INFINITY;
    for (size_t i = 0; i < count; i++)
        least = fmin(least, rlv_vec3_dot(at, rlv_vec3_unit(rlv_vec3_cross(point[i], point[(i + 1) % count]))));
    return least;
}

Test(outline, ring_on_a_rough_rock_encloses_what_its_cone_holds)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rock_mesh(&mesh, &block, 60000, 9, NULL), RLV_DONE);
    rlv_surface* surface = prepare(&mesh);
    rlv_vec3 point[RING], on[RING];
    draw_on_rock(point, RING, rlv_vec3_of(0.3, -0.4, 1), 0.6, 0.8);
    draw_on_rock(on, RING, rlv_vec3_of(0.3, -0.4, 1), 0.6, 0.0);
    rlv_outline outline = find(surface, RING, point);
    rlv_outline there = find(surface, RING, on);
    uint8_t* in = calloc(mesh.triangle_count, 1);
    cr_assert_not_null(in);
    for (size_t i = 0; i < outline.triangle_count; i++)
        in[outline.triangle[i]] = 1;
    // A side spans at most 18 mm here, over which relief and curvature lift the surface off the chord by up to 3 mm (
    // two sd of the relief's half and the sag). Its section stands along the surface's normal, which is up to 40
    // degrees off the cone's: 2.5 mm; and a border keeps within an edge of its section.
    const double margin = 2.5 + longest_edge(&mesh);
    size_t deep = 0;
    for (uint32_t t = 0; t < mesh.triangle_count; t++)
    {
        const double depth = depth_in_cone(centre_of(&mesh, t), on, RING);
        if (fabs(depth) > margin)
            cr_assert_eq(in[t], depth > 0.0, "%g mm in", depth);
        deep += depth > margin;
    }
    cr_assert_gt(deep, 1000);
    // No farther off than 0.8 mm beyond what lies on the true rock, of which the mesh cuts corners; nor nearer than a
    // tilt of 60 degrees makes it.
    cr_assert_leq(outline.farthest_mm, 0.8 + there.farthest_mm);
    cr_assert_geq(outline.farthest_mm, 0.4 - there.farthest_mm);
    free(in);
    rlv_outline_free(&there);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

// --- what does not matter --------------------------------------------------------------------------------------------

Test(outline, neither_direction_nor_beginning_nor_a_repeated_point_matters)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rock_mesh(&mesh, &block, 40000, 2, NULL), RLV_DONE);
    rlv_surface* surface = prepare(&mesh);
    rlv_vec3 point[RING], other[RING + 2];
    draw_on_rock(point, RING, rlv_vec3_of(1, 0.2, 0.1), 0.5, 0.3);
    rlv_outline outline = find(surface, RING, point);
    for (size_t i = 0; i < RING; i++)
        other[i] = point[(2 * RING - i + 5) % RING];
    rlv_outline turned = find(surface, RING, other);
    assert_same(&outline, &turned);
    memcpy(other, point, sizeof point);
    other[RING] = point[RING - 1];
    other[RING + 1] = point[0];
    rlv_outline closed = find(surface, RING + 2, other);
    assert_same(&outline, &closed);
    rlv_outline_free(&outline);
    rlv_outline_free(&turned);
    rlv_outline_free(&closed);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, of_equal_sides_the_same_is_taken_in_either_direction)
{
    // A ring round the middle of an octahedron's sphere, along its edges: two halves, equal but for rounding.
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), RADIUS, 16);
    rlv_surface* surface = prepare(&mesh);
    rlv_vec3 point[8], back[8];
    draw_circle(point, 8, rlv_vec3_of(0, 0, 0), rlv_vec3_of(0, 0, 1), RADIUS);
    for (size_t i = 0; i < 8; i++)
        back[i] = point[7 - i];
    rlv_outline one = find(surface, 8, point), two = find(surface, 8, back);
    cr_assert_eq(one.triangle_count, mesh.triangle_count / 2);
    assert_same(&one, &two);
    rlv_outline_free(&one);
    rlv_outline_free(&two);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, what_it_encloses_lies_on_the_borders_left)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    rlv_vec3 point[RING];
    draw_circle(point, RING, rlv_vec3_of(40, 40, 0), rlv_vec3_of(0, 0, -1), 20.0);
    cr_assert_lt(polygon_area(point, RING), 0.0); // clockwise
    rlv_outline outline = find(surface, RING, point);
    rlv_vec3* border = calloc(outline.border_count, sizeof *border);
    cr_assert_not_null(border);
    for (size_t i = 0; i < outline.border_count; i++)
        border[i] = rlv_mesh_vertex(&mesh, outline.border[i]);
    // The border bounds the very triangles.
    cr_assert_float_eq(polygon_area(border, outline.border_count), outline.area_mm2, 1e-9 * outline.area_mm2);
    free(border);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, the_same_bytes_for_any_number_of_threads)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rock_mesh(&mesh, &block, 60000, 3, NULL), RLV_DONE);
    rlv_vec3 point[RING];
    draw_on_rock(point, RING, rlv_vec3_of(0, 1, 0.4), 0.7, 0.5);
    rlv_outline outline[2];
    for (int i = 0; i < 2; i++)
    {
        omp_set_num_threads(i == 0 ? 1 : 4);
        rlv_surface* surface = prepare(&mesh);
        outline[i] = find(surface, RING, point);
        rlv_surface_free(surface);
    }
    assert_same(&outline[0], &outline[1]);
    rlv_outline_free(&outline[0]);
    rlv_outline_free(&outline[1]);
    rlv_mesh_free(&mesh);
}

Test(outline, a_far_origin_and_an_index_of_the_callers_own_change_nothing)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    rlv_vec3 point[RING], far[RING];
    draw_circle(point, RING, rlv_vec3_of(40, 40, 0.5), rlv_vec3_of(0, 0, 1), 20.0);
    rlv_outline outline = find(surface, RING, point);
    rlv_surface_free(surface);
    mesh.origin_mm = rlv_vec3_of(4e8, -3e9, 1e6);
    for (size_t i = 0; i < RING; i++)
        far[i] = rlv_vec3_add(point[i], mesh.origin_mm);
    rlv_tree* tree = NULL;
    cr_assert_eq(rlv_tree_build(&tree, &mesh, NULL), RLV_DONE);
    cr_assert_eq(rlv_surface_prepare(&surface, &mesh, tree, NULL), RLV_DONE);
    rlv_outline there = find(surface, RING, far);
    assert_same(&outline, &there);
    rlv_outline_free(&outline);
    rlv_outline_free(&there);
    rlv_surface_free(surface);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

// --- open meshes, handles, sharp corners -----------------------------------------------------------------------------

Test(outline, on_an_open_mesh_it_may_run_along_the_border)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    // Along the lower border, a millimetre outside it, and back through the middle.
    const rlv_vec3 point[6] = {{-1, -1, 0}, {40, -1, 0}, {81, -1, 0}, {81, 25, 0}, {40, 25, 0}, {-1, 25, 0}};
    rlv_outline outline = find(surface, 6, point);
    // Only the far side is free: within an edge of y = 25.
    cr_assert_float_eq(outline.area_mm2, 25.0 * PLANE_MM, longest_edge(&mesh) * PLANE_MM);
    cr_assert_eq(outline.triangle[0], 0);
    for (size_t i = 0; i < outline.triangle_count; i++)
        cr_assert_lt(centre_of(&mesh, outline.triangle[i]).y, 25.0 + longest_edge(&mesh));
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, runs_round_a_hole_that_lies_in_its_way)
{
    rlv_mesh mesh = plane_mesh();
    // A hole of radius 6 mm on the side from (20, 40) to (60, 40).
    size_t kept = 0;
    for (uint32_t t = 0; t < mesh.triangle_count; t++)
    {
        const rlv_vec3 at = rlv_vec3_sub(centre_of(&mesh, t), rlv_vec3_of(40, 41, 0));
        if (rlv_vec3_length(at) > 6.0)
            memmove(mesh.corner + 3 * kept++, mesh.corner + 3 * (size_t)t, 3 * sizeof *mesh.corner);
    }
    mesh.triangle_count = kept;
    rlv_surface* surface = prepare(&mesh);
    const rlv_vec3 point[4] = {{20, 40, 0}, {60, 40, 0}, {60, 20, 0}, {20, 20, 0}};
    rlv_outline outline = find(surface, 4, point);
    // The hole's middle lies above the side: the shorter way is below it. What is enclosed lacks that part of the disc:
    // the segment of radius 6 beyond 1 mm past its middle, r^2 acos(-d / r) + d sqrt(r^2 - d^2), d = -1.
    const double lost = 36.0 * acos(1.0 / 6.0) - sqrt(35.0);
    const double perimeter = 120.0 + 6.0 * M_PI;
    cr_assert_float_eq(outline.area_mm2, 800.0 - lost, longest_edge(&mesh) * perimeter);
    cr_assert_lt(outline.area_mm2, 800.0 - lost / 2.0);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, a_sharp_corner_is_no_crossing)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    for (int degrees = 4; degrees <= 30; degrees += 2)
    {
        const double angle = degrees * M_PI / 180.0;
        const rlv_vec3 point[3] = {
            {15, 15, 0}, {65, 22, 0}, {15 + 50 * cos(angle + 0.14), 15 + 50 * sin(angle + 0.14), 0}};
        rlv_outline outline = find(surface, 3, point);
        double perimeter = 0.0;
        for (size_t i = 0; i < 3; i++)
            perimeter += rlv_vec3_length(rlv_vec3_sub(point[i], point[(i + 1) % 3]));
        cr_assert_float_eq(outline.area_mm2, fabs(polygon_area(point, 3)), longest_edge(&mesh) * perimeter);
        rlv_outline_free(&outline);
    }
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, may_hold_a_handle_but_not_run_round_one)
{
    // A ring-shaped solid: its outer radius 40, its hole's 20.
    double circle[40][2];
    for (size_t i = 0; i < 40; i++)
    {
        circle[i][0] = 30.0 + 10.0 * cos(2.0 * M_PI * (double)i / 40.0);
        circle[i][1] = 10.0 * sin(2.0 * M_PI * (double)i / 40.0);
    }
    rlv_mesh mesh = {0};
    shape_add_turned(&mesh, 40, (const double(*)[2])circle, 120, true);
    rlv_vec3 point[RING];
    draw_circle(point, RING, rlv_vec3_of(30, 0, 0), rlv_vec3_of(0, 1, 0), 10.0);
    expect_refusal(&mesh, RING, point, "handle");
    // A patch on its outside is well and good.
    const rlv_vec3 patch[4] = {{40, -4, -3}, {40, 4, -3}, {40, 4, 3}, {40, -4, 3}};
    rlv_surface* surface = prepare(&mesh);
    rlv_outline outline = find(surface, 4, patch);
    cr_assert_gt(outline.area_mm2, 0.0);
    for (size_t i = 0; i < outline.triangle_count; i++)
        cr_assert_gt(centre_of(&mesh, outline.triangle[i]).x, 35.0);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

// --- what is refused -------------------------------------------------------------------------------------------------

Test(outline, fewer_than_three_points_are_refused)
{
    rlv_mesh mesh = plane_mesh();
    const rlv_vec3 point[2] = {{10, 10, 0}, {20, 20, 0}};
    expect_refusal(&mesh, 2, point, "2 points");
    expect_refusal(&mesh, 1, point, "1 point ");
    expect_refusal(&mesh, 0, point, "0 points");
    rlv_mesh_free(&mesh);
}

Test(outline, points_within_one_triangle_are_refused)
{
    rlv_mesh mesh = plane_mesh();
    const rlv_vec3 point[3] = {{40, 40, 0}, {40.05, 40, 0}, {40, 40.05, 0}};
    expect_refusal(&mesh, 3, point, "smaller than the mesh can tell");
    rlv_mesh_free(&mesh);
}

Test(outline, points_on_a_line_are_refused)
{
    rlv_mesh mesh = plane_mesh();
    const rlv_vec3 point[4] = {{10, 10, 0}, {30, 30, 0}, {60, 60, 0}, {30, 30, 0}};
    expect_refusal(&mesh, 4, point, "encloses nothing");
    rlv_mesh_free(&mesh);
}

Test(outline, a_point_off_the_mesh_is_refused_by_its_number)
{
    rlv_mesh mesh = plane_mesh();
    // 40 mm by 40 mm: 56.6 mm from end to end, of which a tenth is allowed.
    rlv_vec3 point[4] = {{20, 20, 0}, {60, 20, 0}, {60, 60, 5.6}, {20, 60, 0}};
    rlv_surface* surface = prepare(&mesh);
    rlv_outline outline = find(surface, 4, point);
    cr_assert_float_eq(outline.farthest_mm, 5.6, 1e-5);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    point[2].z = 5.8;
    expect_refusal(&mesh, 4, point, "point 3 of 4 lies 5.8 mm off the mesh");
    for (size_t i = 0; i < 4; i++)
        point[i] = rlv_vec3_scale(point[i], 10.0); // in the wrong unit
    expect_refusal(&mesh, 4, point, "point 1 of 4 lies");
    rlv_mesh_free(&mesh);
}

Test(outline, a_small_outlines_points_may_lie_a_millimetre_off)
{
    rlv_mesh mesh = plane_mesh();
    const rlv_vec3 point[4] = {{30, 30, 0.9}, {34, 30, -0.9}, {34, 34, 0.9}, {30, 34, 0.5}};
    rlv_surface* surface = prepare(&mesh);
    rlv_outline outline = find(surface, 4, point);
    cr_assert_float_eq(outline.area_mm2, 16.0, 16.0 * longest_edge(&mesh));
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, a_point_without_a_place_is_refused)
{
    rlv_mesh mesh = plane_mesh();
    rlv_vec3 point[3] = {{10, 10, 0}, {20, NAN, 0}, {10, 20, 0}};
    expect_refusal(&mesh, 3, point, "point 2");
    point[1].y = INFINITY;
    expect_refusal(&mesh, 3, point, "point 2");
    point[1].y = 1e300;
    expect_refusal(&mesh, 3, point, "point 2 of 3 lies");
    rlv_mesh_free(&mesh);
}

Test(outline, one_that_crosses_itself_is_refused)
{
    rlv_mesh mesh = plane_mesh();
    const rlv_vec3 eight[4] = {{20, 20, 0}, {60, 60, 0}, {60, 20, 0}, {20, 60, 0}};
    expect_refusal(&mesh, 4, eight, "crosses itself");
    const rlv_vec3 curl[7] = {{10, 10, 0}, {70, 10, 0}, {70, 70, 0}, {30, 70, 0},
                              {30, 30, 0}, {50, 30, 0}, {50, 75, 0}};
    expect_refusal(&mesh, 7, curl, "crosses itself");
    rlv_vec3 twice[2 * RING];
    draw_circle(twice, RING, rlv_vec3_of(40, 40, 0), rlv_vec3_of(0, 0, 1), 20.0);
    memcpy(twice + RING, twice, RING * sizeof *twice);
    expect_refusal(&mesh, 2 * RING, twice, "crosses itself");
    rlv_mesh_free(&mesh);
}

Test(outline, points_on_two_shells_are_refused)
{
    rlv_mesh mesh = plane_mesh();
    shape_add_sphere(&mesh, rlv_vec3_of(40, 40, 5), 2.0, 4);
    const rlv_vec3 point[3] = {{20, 20, 0}, {60, 20, 0}, {40, 40, 7}};
    expect_refusal(&mesh, 3, point, "hang together");
    rlv_mesh_free(&mesh);
}

Test(outline, one_along_an_open_border_all_the_way_is_refused)
{
    rlv_mesh mesh = plane_mesh();
    const double m = PLANE_MM;
    const rlv_vec3 point[8] = {{0, 0, 0}, {m / 2, 0, 0}, {m, 0, 0}, {m, m / 2, 0},
                               {m, m, 0}, {m / 2, m, 0}, {0, m, 0}, {0, m / 2, 0}};
    expect_refusal(&mesh, 8, point, "open border");
    rlv_mesh_free(&mesh);
}

// --- random rings ----------------------------------------------------------------------------------------------------

Test(outline, every_star_of_random_points_is_enclosed_within_an_edge_and_without_bias)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    const double edge = longest_edge(&mesh);
    uint64_t seed = 99;
    const int trials = 200;
    double sum = 0.0, squares = 0.0;
    for (int trial = 0; trial < trials; trial++)
    {
        rlv_vec3 point[20];
        const size_t count = 4 + (size_t)(16.0 * next_share(&seed));
        double perimeter = 0.0;
        for (size_t i = 0; i < count; i++)
        {
            const double turn = 2.0 * M_PI * ((double)i + 0.8 * next_share(&seed)) / (double)count;
            const double radius = 8.0 + 20.0 * next_share(&seed);
            point[i] = rlv_vec3_of(40.0 + radius * cos(turn), 40.0 + radius * sin(turn), next_share(&seed) - 0.5);
        }
        for (size_t i = 0; i < count; i++)
            perimeter += hypot(point[i].x - point[(i + 1) % count].x, point[i].y - point[(i + 1) % count].y);
        rlv_outline outline = find(surface, count, point);
        cr_assert_float_eq(outline.area_mm2, polygon_area(point, count), edge * perimeter, "trial %d: %g for %g", trial,
                           outline.area_mm2, polygon_area(point, count));
        const double share = (outline.area_mm2 - polygon_area(point, count)) / (edge * perimeter);
        sum += share;
        squares += share * share;
        rlv_outline_free(&outline);
    }
    // Borders stray to either side alike: the mean is within four of its standard errors of nought.
    const double mean = sum / trials, sd = sqrt(squares / trials - mean * mean);
    cr_log_info("area off by %.4f +- %.4f of edge times perimeter", mean, sd);
    cr_assert_leq(fabs(mean), 4.0 * sd / sqrt(trials), "%g +- %g", mean, sd / sqrt(trials));
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

/// Whether a border steps over an edge, either way.
static bool steps_over(const rlv_outline* outline, uint32_t a, uint32_t b)
{
    for (size_t i = 0; i < outline->border_count; i++)
    {
        const uint32_t from = outline->border[i], to = outline->border[(i + 1) % outline->border_count];
        if ((from == a && to == b) || (from == b && to == a))
            return true;
    }
    return false;
}

/// Between what is enclosed and what is not, wherever exactly two triangles meet, runs the border.
static void assert_parted(const rlv_mesh* mesh, const rlv_outline* outline)
{
    rlv_edges edges = {0};
    uint8_t* in = calloc(mesh->triangle_count, 1);
    cr_assert_not_null(in);
    cr_assert_eq(rlv_edges_build(&edges, mesh, NULL), RLV_DONE);
    for (size_t i = 0; i < outline->triangle_count; i++)
        in[outline->triangle[i]] = 1;
    for (uint32_t v = 0; v < mesh->vertex_count; v++)
        for (rlv_edge_run run = rlv_edges_run(&edges, v, NULL); run.count != 0; run = rlv_edges_run(&edges, v, &run))
            if (run.count == 2 && in[rlv_run_triangle(&run, 0)] != in[rlv_run_triangle(&run, 1)])
                cr_assert(steps_over(outline, run.lower, run.upper));
    rlv_edges_free(&edges);
    free(in);
}

Test(outline, torn_meshes_with_fins_are_parted_or_refused)
{
    uint64_t seed = 12;
    size_t found = 0, refused = 0;
    for (int trial = 0; trial < 40; trial++)
    {
        rlv_mesh mesh = {0};
        shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), RADIUS, 7);
        // Some triangles gone, and fins between vertices that lie near each other in number, which branch.
        for (size_t t = 0; t < mesh.triangle_count; t++)
            if (next_share(&seed) < 0.03 * (trial % 4))
                memcpy(mesh.corner + 3 * t, mesh.corner, 3 * sizeof *mesh.corner);
        for (int fin = 0; fin < trial % 10; fin++)
        {
            const size_t t = shape_add(&mesh, 0, NULL, 1, (const uint32_t[3]){0});
            const uint32_t* side = mesh.corner + 3 * (size_t)(next_share(&seed) * (double)t);
            const uint32_t own[3] = {side[0], side[1], (uint32_t)(next_share(&seed) * (double)mesh.vertex_count)};
            memcpy(mesh.corner + 3 * t, own, sizeof own);
        }
        rlv_mesh_health health;
        cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
        rlv_surface* surface = prepare(&mesh);
        for (int ring = 0; ring < 15; ring++)
        {
            rlv_vec3 point[8];
            const size_t count = 3 + (size_t)(6.0 * next_share(&seed));
            const rlv_vec3 axis =
                rlv_vec3_unit(rlv_vec3_of(next_share(&seed) - 0.5, next_share(&seed) - 0.5, next_share(&seed) - 0.5));
            const double open = 0.4 + next_share(&seed);
            draw_circle(point, count, rlv_vec3_scale(axis, RADIUS * cos(open)), axis, RADIUS * sin(open));
            rlv_outline outline = {0};
            rlv_error error = {0};
            const rlv_status status = rlv_outline_find(&outline, surface, count, point, &error);
            cr_assert(status == RLV_DONE || (status == RLV_BAD_INPUT && error.what[0] != '\0'));
            found += status == RLV_DONE;
            refused += status != RLV_DONE;
            if (status == RLV_DONE)
                assert_parted(&mesh, &outline);
            rlv_outline_free(&outline);
        }
        rlv_surface_free(surface);
        rlv_mesh_free(&mesh);
    }
    cr_log_info("%zu parted, %zu refused", found, refused);
    cr_assert_gt(found, 300);
}

// --- traces ----------------------------------------------------------------------------------------------------------

Test(outline, trace_joins_its_points_over_edges)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    const rlv_vec3 point[3] = {{10, 12, 0.5}, {50, 30, 0}, {33, 70, -0.5}};
    const rlv_vec3 foot[3] = {{10, 12, 0}, {50, 30, 0}, {33, 70, 0}};
    rlv_trace trace = {0};
    cr_assert_eq(rlv_trace_find(&trace, surface, 3, point, NULL), RLV_DONE);
    const double edge = longest_edge(&mesh);
    double off = 0.0;
    for (size_t i = 0; i < trace.count; i++)
    {
        const rlv_vec3 at = rlv_mesh_vertex(&mesh, trace.vertex[i]);
        off = fmax(off, fmin(off_polygon(at, foot, 2), off_polygon(at, foot + 1, 2)));
        if (i > 0)
            cr_assert_leq(rlv_vec3_length(rlv_vec3_sub(at, rlv_mesh_vertex(&mesh, trace.vertex[i - 1]))), edge);
    }
    cr_assert_leq(off, edge);
    cr_assert_float_eq(trace.length_mm, hypot(40, 18) + hypot(17, 40), 4.0 * edge); // ends at vertices, an edge away
    cr_assert_float_eq(trace.farthest_mm, 0.5, 1e-6);
    rlv_trace_free(&trace);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, trace_follows_the_surface_over_a_sphere)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), RADIUS, 60);
    rlv_surface* surface = prepare(&mesh);
    const rlv_vec3 point[2] = {{60, 0, 80}, {0, 60, 80}};
    rlv_trace trace = {0};
    cr_assert_eq(rlv_trace_find(&trace, surface, 2, point, NULL), RLV_DONE);
    // The great circle: R times the angle, cos = 0.64. Ends at vertices, an edge away.
    cr_assert_float_eq(trace.length_mm, RADIUS * acos(0.64), 2.0 * longest_edge(&mesh));
    const rlv_vec3 across = rlv_vec3_unit(rlv_vec3_cross(point[0], point[1]));
    for (size_t i = 0; i < trace.count; i++)
        cr_assert_leq(fabs(rlv_vec3_dot(rlv_mesh_vertex(&mesh, trace.vertex[i]), across)), longest_edge(&mesh));
    rlv_trace_free(&trace);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, trace_of_one_point_or_of_one_vertex_is_refused)
{
    rlv_mesh mesh = plane_mesh();
    rlv_surface* surface = prepare(&mesh);
    const rlv_vec3 point[2] = {{40, 40, 0}, {40.01, 40, 0}};
    rlv_trace trace = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_trace_find(&trace, surface, 1, point, &error), RLV_BAD_INPUT);
    cr_assert_not_null(strstr(error.what, "leads nowhere"));
    cr_assert_eq(rlv_trace_find(&trace, surface, 2, point, &error), RLV_BAD_INPUT);
    cr_assert_not_null(strstr(error.what, "one vertex"));
    cr_assert_null(trace.vertex);
    rlv_surface_free(surface);
    rlv_mesh_free(&mesh);
}

Test(outline, free_is_safe_on_nothing)
{
    rlv_outline outline = {0};
    rlv_trace trace = {0};
    rlv_outline_free(&outline);
    rlv_trace_free(&trace);
    rlv_surface_free(NULL);
    cr_assert_null(outline.triangle);
}
