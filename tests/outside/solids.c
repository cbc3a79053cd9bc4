// Volume, area, centroid and second moments against the formulas of handbooks.
//
// Volumes and areas: I. N. Bronshtein, K. A. Semendyayev, G. Musiol, H. Muehlig, Handbook of Mathematics, the section
// on solids bounded by curved surfaces (sphere, spherical cap, frustum of a cone, torus). Centroids of cap and frustum:
// E. W. Weisstein, MathWorld, "Spherical Cap" and "Conical Frustum". Moments of inertia of box, sphere and cone: J. L.
// Meriam, L. G. Kraige, Engineering Mechanics: Dynamics, table of properties of homogeneous solids; of the torus: J. B.
// Tatum, Classical Mechanics, section 2.8; of the frustum: from memory, the difference of two cones. The parallel-axis
// theorem is any textbook's. All are quoted from memory of these works.

#include "mesh.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>

enum
{
    VOLUME,
    AREA,
    CENTROID, // height of the centroid, z
    ACROSS,   // integral of x^2 about the centroid
    ALONG,    // integral of z^2
    QUANTITIES
};

static const char* const name[QUANTITIES] = {"volume", "area", "centroid", "moment across", "moment along"};

typedef struct quantities
{
    double of[QUANTITIES];
} quantities;

static quantities quantities_of(const rlv_mesh* mesh)
{
    rlv_mesh_measures is = rlv_mesh_measure(mesh);
    return (quantities){{is.volume_mm3, is.area_mm2, is.centroid_mm.z, is.moment_mm5.m[0], is.moment_mm5.m[8]}};
}

/// A solid of revolution, cut the finer the larger `fineness`.
typedef void making(rlv_mesh* mesh, size_t fineness);

/// How far rounding every vertex to float (half a step on each axis) can move each quantity: `reach_mm` is the greatest
/// distance of the surface from the origin, `bend_mm` the integral of both principal curvatures' magnitudes over the
/// surface, edges counted with their length times their angle: the first variation of the area.
static quantities rounding(quantities is, double reach_mm, double bend_mm)
{
    double shift = sqrt(3.0) * reach_mm * FLT_EPSILON / 2;
    quantities by = {{0}};
    by.of[VOLUME] = is.of[AREA] * shift;
    by.of[AREA] = bend_mm * shift;
    by.of[CENTROID] = 2 * reach_mm * by.of[VOLUME] / is.of[VOLUME];
    by.of[ACROSS] = by.of[ALONG] = reach_mm * reach_mm * by.of[VOLUME];
    return by;
}

/// Measure a solid at four finenesses, each twice the last. The error of an inscribed polyhedron is a series in even
/// powers of the step, c h^2 + d h^4 + ...; two finenesses give the first extrapolation (L. F. Richardson, 1911),
/// without h^2, and two of those the second, without h^4. The second differs from the first by the first's own error;
/// its own is a power of the step less, so that the formula must lie within that difference of the second. `expected`
/// may be NaN where no formula is tested.
static void assert_solid(making* make, quantities expected, double reach_mm, double bend_mm)
{
    enum
    {
        FINENESSES = 4
    };
    quantities is[FINENESSES];
    for (size_t i = 0; i < FINENESSES; i++)
    {
        rlv_mesh mesh = {0};
        rlv_mesh_health health;
        make(&mesh, (size_t)16 << i);
        cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
        cr_assert(health.closed);
        cr_assert_eq(health.inside_out + health.mixed_winding + health.zero_area, 0);
        is[i] = quantities_of(&mesh);
        rlv_mesh_free(&mesh);
    }
    quantities round = rounding(is[FINENESSES - 1], reach_mm, bend_mm);
    for (int q = 0; q < QUANTITIES; q++)
    {
        if (isnan(expected.of[q]))
            continue;
        double first[3], second[2];
        for (int i = 0; i < 3; i++)
            first[i] = (4 * is[i + 1].of[q] - is[i].of[q]) / 3;
        for (int i = 0; i < 2; i++)
            second[i] = (16 * first[i + 1] - first[i]) / 15;
        // Rounding comes through the extrapolations at most (5/3) * (17/15) times, and the difference doubles it.
        double bound = fabs(second[1] - first[2]) + 4 * round.of[q];
        cr_expect_float_eq(second[1], expected.of[q], bound, "%s: %.12g for %.12g, bound %.3g", name[q], second[1],
                           expected.of[q], bound);
        // The bound is worth something only where it is far finer than what one polyhedron would do.
        double raw = fabs(is[FINENESSES - 1].of[q] - expected.of[q]);
        cr_expect(raw <= 8 * round.of[q] || bound < raw, "%s: bound %.3g, polyhedron off by %.3g", name[q], bound, raw);
        // The error falls by 4 with every halving of the step: c h^2 (1 + e h^2), and so e h^2 may show in the ratio.
        double before = is[2].of[q] - expected.of[q], after = is[3].of[q] - expected.of[q];
        if (fabs(after) > 1000 * round.of[q])
            cr_expect_float_eq(before / after, 4.0, 0.05, "%s: error falls by %g", name[q], before / after);
    }
}

// --- solids with flat faces: exact to rounding -----------------------------------------------------------------------

Test(solids, box_has_the_handbook_volume_area_and_moments)
{
    const double a = 120.0, b = 80.0, c = 50.0, v = a * b * c;
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(-a / 2, -b / 2, -c / 2), rlv_vec3_of(a / 2, b / 2, c / 2));
    rlv_mesh_measures is = rlv_mesh_measure(&mesh);
    // Coordinates are exact; 12 triangles of a few products each, about a corner that multiplies moments by up to 4.
    const double part = 1000 * DBL_EPSILON;
    cr_assert_float_eq(is.volume_mm3, v, part * v);
    cr_assert_float_eq(is.area_mm2, 2 * (a * b + b * c + c * a), part * is.area_mm2);
    // Moments of inertia m (b^2 + c^2) / 12 and so on, from sums of two second moments.
    const double* m = is.moment_mm5.m;
    cr_assert_float_eq(m[4] + m[8], v * (b * b + c * c) / 12, part * v * a * a);
    cr_assert_float_eq(m[0] + m[8], v * (a * a + c * c) / 12, part * v * a * a);
    cr_assert_float_eq(m[0] + m[4], v * (a * a + b * b) / 12, part * v * a * a);
    rlv_mesh_free(&mesh);
}

Test(solids, parallel_axis_theorem_joins_the_moments_of_two_boxes)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 20, 30));
    shape_add_box(&mesh, rlv_vec3_of(40, -30, 100), rlv_vec3_of(80, -10, 112));
    const rlv_vec3 side[2] = {{10, 20, 30}, {40, 20, 12}}, centre[2] = {{5, 10, 15}, {60, -20, 106}};
    double v[2], total = 0.0, moment[9] = {0};
    rlv_vec3 centroid = {0, 0, 0};
    for (int i = 0; i < 2; i++)
    {
        v[i] = side[i].x * side[i].y * side[i].z;
        total += v[i];
        centroid = rlv_vec3_along(centroid, v[i], centre[i]);
    }
    centroid = rlv_vec3_scale(centroid, 1 / total);
    for (int i = 0; i < 2; i++)
    {
        rlv_vec3 d = rlv_vec3_sub(centre[i], centroid);
        const double s[3] = {side[i].x, side[i].y, side[i].z}, arm[3] = {d.x, d.y, d.z};
        for (int j = 0; j < 9; j++)
            moment[j] += v[i] * ((j % 4 == 0 ? s[j / 3] * s[j / 3] / 12 : 0.0) + arm[j / 3] * arm[j % 3]);
    }
    rlv_mesh_measures is = rlv_mesh_measure(&mesh);
    const double part = 1000 * DBL_EPSILON;
    cr_assert_float_eq(is.volume_mm3, total, part * total);
    cr_assert_leq(rlv_vec3_length(rlv_vec3_sub(is.centroid_mm, centroid)), part * 150.0);
    for (int j = 0; j < 9; j++)
        cr_assert_float_eq(is.moment_mm5.m[j], moment[j], part * total * 150.0 * 150.0);
    rlv_mesh_free(&mesh);
}

Test(solids, inscribed_frustum_of_a_pyramid_is_exact_at_any_number_of_sides)
{
    // What the mesh of a cone's frustum truly is: the frustum of a pyramid over a regular polygon, with
    // V = h / 3 (A + sqrt(A a) + a) and flat sides (Bronshtein et al., polyhedra).
    const double low = 60.0, high = 25.0, h = 40.0;
    for (size_t n = 3; n <= 200; n += 7)
    {
        const double rz[4][2] = {{0, 0}, {low, 0}, {high, h}, {0, h}};
        double polygon = (double)n / 2 * sin(2 * M_PI / (double)n), inner = cos(M_PI / (double)n),
               edge = 2 * sin(M_PI / (double)n);
        double a = polygon * low * low, b = polygon * high * high;
        double slant = hypot(h, inner * (low - high));
        double area = a + b + (double)n * slant * edge * (low + high) / 2;
        rlv_mesh mesh = {0};
        shape_add_turned(&mesh, 4, rz, n, false);
        quantities is = quantities_of(&mesh);
        // Edges: the two rims at up to half a turn, the slanted sides at 2 pi altogether.
        quantities round = rounding(is, 75.0, M_PI * 2 * M_PI * (low + high) + 2 * M_PI * slant);
        cr_expect_float_eq(is.of[VOLUME], h / 3 * (a + sqrt(a * b) + b), round.of[VOLUME]);
        cr_expect_float_eq(is.of[AREA], area, round.of[AREA]);
        rlv_mesh_free(&mesh);
    }
}

// --- solids with curved faces ----------------------------------------------------------------------------------------

#define RADIUS 100.0
#define PROFILE_MOST 1024

static void make_sphere(rlv_mesh* mesh, size_t fineness)
{
    static double rz[PROFILE_MOST][2];
    for (size_t i = 0; i <= fineness; i++)
    {
        double angle = M_PI * (double)i / (double)fineness;
        rz[i][0] = i == 0 || i == fineness ? 0.0 : RADIUS * sin(angle);
        rz[i][1] = -RADIUS * cos(angle);
    }
    shape_add_turned(mesh, fineness + 1, (const double(*)[2])rz, 2 * fineness, false);
}

Test(solids, sphere_has_the_handbook_volume_area_and_moments)
{
    const double v = 4.0 / 3 * M_PI * pow(RADIUS, 3), area = 4 * M_PI * RADIUS * RADIUS;
    const double moment = v * RADIUS * RADIUS / 5; // half of 2/5 m r^2
    assert_solid(make_sphere, (quantities){{v, area, 0.0, moment, moment}}, RADIUS, 2 * area / RADIUS);
}

static void make_octahedral_sphere(rlv_mesh* mesh, size_t fineness)
{
    shape_add_sphere(mesh, rlv_vec3_of(0, 0, 0), RADIUS, fineness);
}

Test(solids, sphere_of_another_mesh_has_them_too)
{
    const double v = 4.0 / 3 * M_PI * pow(RADIUS, 3), area = 4 * M_PI * RADIUS * RADIUS;
    const double moment = v * RADIUS * RADIUS / 5;
    assert_solid(make_octahedral_sphere, (quantities){{v, area, 0.0, moment, moment}}, RADIUS, 2 * area / RADIUS);
}

#define CAP_HEIGHT 30.0

/// The arc of a sphere from its lowest point, or from the plane of the cap, up to the plane, or to the highest point.
static void make_part_of_sphere(rlv_mesh* mesh, size_t fineness, bool cap)
{
    static double rz[PROFILE_MOST][2];
    size_t count = 0;
    double rim = acos(1 - CAP_HEIGHT / RADIUS), from = cap ? rim : M_PI, to = cap ? 0.0 : rim; // angles from the top
    if (cap)
        rz[count][0] = 0.0, rz[count++][1] = RADIUS - CAP_HEIGHT;
    for (size_t i = 0; i <= fineness; i++, count++)
    {
        double angle = from + (to - from) * (double)i / (double)fineness;
        bool pole = cap ? i == fineness : i == 0;
        rz[count][0] = pole ? 0.0 : RADIUS * sin(angle);
        rz[count][1] = RADIUS * cos(angle);
    }
    if (!cap)
        rz[count][0] = 0.0, rz[count++][1] = RADIUS - CAP_HEIGHT;
    shape_add_turned(mesh, count, (const double(*)[2])rz, 2 * fineness, false);
}

static void make_cap(rlv_mesh* mesh, size_t fineness)
{
    make_part_of_sphere(mesh, fineness, true);
}

static void make_cut_sphere(rlv_mesh* mesh, size_t fineness)
{
    make_part_of_sphere(mesh, fineness, false);
}

static double cap_volume(void)
{
    return M_PI * CAP_HEIGHT * CAP_HEIGHT * (3 * RADIUS - CAP_HEIGHT) / 3;
}

static double rim_squared(void)
{
    return CAP_HEIGHT * (2 * RADIUS - CAP_HEIGHT);
}

static double cap_centroid(void)
{
    return 3 * pow(2 * RADIUS - CAP_HEIGHT, 2) / (4 * (3 * RADIUS - CAP_HEIGHT));
}

Test(solids, cap_of_a_sphere_has_the_handbook_volume_area_and_centroid)
{
    double round_area = 2 * M_PI * RADIUS * CAP_HEIGHT, disc = M_PI * rim_squared();
    quantities expected = {{cap_volume(), round_area + disc, cap_centroid(), NAN, NAN}};
    double bend = 2 * round_area / RADIUS + 2 * M_PI * sqrt(rim_squared()) * M_PI;
    assert_solid(make_cap, expected, RADIUS, bend);
}

Test(solids, a_cut_sphere_lacks_the_handbook_cap)
{
    double whole = 4.0 / 3 * M_PI * pow(RADIUS, 3), cut = whole - cap_volume();
    double round_area = 2 * M_PI * RADIUS * (2 * RADIUS - CAP_HEIGHT), disc = M_PI * rim_squared();
    quantities expected = {{cut, round_area + disc, -cap_centroid() * cap_volume() / cut, NAN, NAN}};
    double bend = 2 * round_area / RADIUS + 2 * M_PI * sqrt(rim_squared()) * M_PI;
    assert_solid(make_cut_sphere, expected, RADIUS, bend);
}

#define FRUSTUM_LOW 60.0
#define FRUSTUM_HIGH 25.0
#define FRUSTUM_HEIGHT 40.0

static void make_frustum(rlv_mesh* mesh, size_t fineness)
{
    const double rz[4][2] = {{0, 0}, {FRUSTUM_LOW, 0}, {FRUSTUM_HIGH, FRUSTUM_HEIGHT}, {0, FRUSTUM_HEIGHT}};
    shape_add_turned(mesh, 4, rz, fineness, false);
}

Test(solids, frustum_of_a_cone_has_the_handbook_volume_area_centroid_and_moment)
{
    const double a = FRUSTUM_LOW, b = FRUSTUM_HIGH, h = FRUSTUM_HEIGHT, slant = hypot(h, a - b);
    double v = M_PI * h * (a * a + a * b + b * b) / 3, area = M_PI * (a * a + b * b + slant * (a + b));
    double centroid = h * (a * a + 2 * a * b + 3 * b * b) / (4 * (a * a + a * b + b * b));
    // Of two cones about the axis: 3/10 m (a^5 - b^5) / (a^3 - b^3), which is twice the moment across.
    double across = 0.15 * v * (pow(a, 5) - pow(b, 5)) / (pow(a, 3) - pow(b, 3));
    double bend = M_PI * 2 * M_PI * (a + b) + 2 * M_PI * slant;
    assert_solid(make_frustum, (quantities){{v, area, centroid, across, NAN}}, hypot(a, h), bend);
}

#define TORUS_LARGE 70.0
#define TORUS_SMALL 20.0

static void make_torus(rlv_mesh* mesh, size_t fineness)
{
    static double rz[PROFILE_MOST][2];
    for (size_t i = 0; i < fineness; i++)
    {
        double angle = 2 * M_PI * (double)i / (double)fineness;
        rz[i][0] = TORUS_LARGE + TORUS_SMALL * cos(angle);
        rz[i][1] = TORUS_SMALL * sin(angle);
    }
    shape_add_turned(mesh, fineness, (const double(*)[2])rz, 2 * fineness, true);
}

Test(solids, torus_has_the_handbook_volume_area_and_moments)
{
    const double a = TORUS_LARGE, b = TORUS_SMALL;
    double v = 2 * M_PI * M_PI * a * b * b, area = 4 * M_PI * M_PI * a * b;
    double about_axis = v * (a * a + 0.75 * b * b), about_diameter = v * (4 * a * a + 5 * b * b) / 8;
    double across = about_axis / 2, along = about_diameter - across;
    assert_solid(make_torus, (quantities){{v, area, 0.0, across, along}}, a + b, area * (1 / b + 1 / (a - b)));
}
