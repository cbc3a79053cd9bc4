#include "columns.h"
#include "rock.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

// ---- solids to compare ----

static rlv_mesh new_mesh(size_t vertices, size_t triangles)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, vertices, triangles, false, false, NULL), RLV_DONE);
    return mesh;
}

static void put_vertex(rlv_mesh* mesh, size_t index, double x, double y, double z)
{
    mesh->position_mm[3 * index] = (float)x;
    mesh->position_mm[3 * index + 1] = (float)y;
    mesh->position_mm[3 * index + 2] = (float)z;
}

enum
{
    FACE_LOW_X,
    FACE_HIGH_X,
    FACE_LOW_Y,
    FACE_HIGH_Y,
    FACE_LOW_Z,
    FACE_HIGH_Z,
};

/// A box from `low` to `high`; triangles 2 f and 2 f + 1 are face f.
static rlv_mesh box(rlv_vec3 low, rlv_vec3 high)
{
    static const uint32_t corners[36] = {0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5, 0, 1, 5, 0, 5, 4,
                                         2, 6, 7, 2, 7, 3, 0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6};
    rlv_mesh mesh = new_mesh(8, 12);
    for (size_t i = 0; i < 8; i++)
        put_vertex(&mesh, i, (i & 1) != 0 ? high.x : low.x, (i & 2) != 0 ? high.y : low.y,
                   (i & 4) != 0 ? high.z : low.z);
    memcpy(mesh.corner, corners, sizeof corners);
    return mesh;
}

/// Two meshes as one; both are freed.
static rlv_mesh join(rlv_mesh a, rlv_mesh b)
{
    rlv_mesh mesh = new_mesh(a.vertex_count + b.vertex_count, a.triangle_count + b.triangle_count);
    memcpy(mesh.position_mm, a.position_mm, 3 * a.vertex_count * sizeof(float));
    memcpy(mesh.position_mm + 3 * a.vertex_count, b.position_mm, 3 * b.vertex_count * sizeof(float));
    memcpy(mesh.corner, a.corner, 3 * a.triangle_count * sizeof(uint32_t));
    for (size_t i = 0; i < 3 * b.triangle_count; i++)
        mesh.corner[3 * a.triangle_count + i] = b.corner[i] + (uint32_t)a.vertex_count;
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
    return mesh;
}

static void turn_inside_out(rlv_mesh* mesh)
{
    for (size_t i = 0; i < mesh->triangle_count; i++)
    {
        uint32_t corner = mesh->corner[3 * i + 1];
        mesh->corner[3 * i + 1] = mesh->corner[3 * i + 2];
        mesh->corner[3 * i + 2] = corner;
    }
}

/// Leave out the two triangles of a box's face.
static void drop_face(rlv_mesh* mesh, size_t face)
{
    memmove(mesh->corner + 6 * face, mesh->corner + 6 * face + 6,
            (3 * mesh->triangle_count - 6 * face - 6) * sizeof(uint32_t));
    mesh->triangle_count -= 2;
}

static rlv_mesh mesh_of(const rock* stone, size_t triangles)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rock_mesh(&mesh, stone, triangles, 0, NULL), RLV_DONE);
    return mesh;
}

/// Label 1 for the triangles with at least `corners` corners that the other mesh of equal build has elsewhere.
static uint16_t* labels_of_change(const rlv_mesh* mesh, const rlv_mesh* other, int corners)
{
    uint16_t* label = calloc(mesh->triangle_count, sizeof *label);
    cr_assert_not_null(label);
    for (size_t i = 0; i < mesh->triangle_count; i++)
    {
        int changed = 0;
        for (size_t k = 0; k < 3; k++)
        {
            size_t vertex = 3 * (size_t)mesh->corner[3 * i + k];
            changed += memcmp(mesh->position_mm + vertex, other->position_mm + vertex, 3 * sizeof(float)) != 0;
        }
        label[i] = changed >= corners;
    }
    return label;
}

/// Volume by the divergence theorem, straight through.
static double volume_of(const rlv_mesh* mesh)
{
    double sum = 0.0;
    for (size_t i = 0; i < mesh->triangle_count; i++)
    {
        rlv_vec3 corner[3];
        for (size_t k = 0; k < 3; k++)
            corner[k] = rlv_vec3_from(mesh->position_mm + 3 * (size_t)mesh->corner[3 * i + k]);
        sum += rlv_vec3_dot(corner[0], rlv_vec3_cross(corner[1], corner[2]));
    }
    return sum / 6.0;
}

static rlv_columns_difference compare_solids(rlv_solid first, rlv_solid second, size_t labels, rlv_axis axis,
                                             double pitch_mm)
{
    rlv_columns_difference difference;
    rlv_error error = {0};
    cr_assert_eq(rlv_columns_compare(&difference, &first, &second, labels, axis, pitch_mm, &error), RLV_DONE, "%s",
                 error.what);
    return difference;
}

static rlv_columns_difference compare(const rlv_mesh* first, const rlv_mesh* second, rlv_axis axis, double pitch_mm)
{
    return compare_solids((rlv_solid){first, NULL}, (rlv_solid){second, NULL}, 1, axis, pitch_mm);
}

/// What is expected of a pair without labels along each axis.
static void expect(const rlv_mesh* first, const rlv_mesh* second, double pitch_mm, double first_only_mm3,
                   double second_only_mm3, double tolerance_mm3)
{
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_columns_difference d = compare(first, second, (rlv_axis)axis, pitch_mm);
        cr_expect_float_eq(d.label[0].first_only_mm3, first_only_mm3, tolerance_mm3, "axis %d: first only %.9g", axis,
                           d.label[0].first_only_mm3);
        cr_expect_float_eq(d.label[0].second_only_mm3, second_only_mm3, tolerance_mm3, "axis %d: second only %.9g",
                           axis, d.label[0].second_only_mm3);
        cr_expect_float_eq(d.signed_mm3, first_only_mm3 - second_only_mm3, tolerance_mm3);
        cr_expect_not(d.open);
        cr_expect_eq(d.left_out_mm2, 0.0);
        rlv_columns_difference_free(&d);
    }
}

// Depth is a whole number of 2^-31 of the range, each end of a run rounded by half of that: sums of runs of boxes whose
// faces lie between samples stand to a part in 10^8 for runs of a tenth of the range.
#define ROUNDING 1e-8

// ---- solids that a handbook knows ----

Test(columns, shifted_cubes_leave_the_two_ends)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh b = box(rlv_vec3_of(2, 0, 0), rlv_vec3_of(12, 10, 10));
    expect(&a, &b, 0.5, 200.0, 200.0, 200.0 * ROUNDING);
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_columns_difference d = compare(&a, &b, (rlv_axis)axis, 0.5);
        cr_expect_float_eq(d.label[0].max_run_mm, axis == 0 ? 2.0 : 10.0, 12.0 * ROUNDING);
        cr_expect_eq(d.overlap_mm2, 0.0);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

Test(columns, solids_apart_are_filled_by_one_each)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh b = box(rlv_vec3_of(20, 20, 20), rlv_vec3_of(25, 25, 25));
    expect(&a, &b, 0.5, 1000.0, 125.0, 1000.0 * ROUNDING);
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

Test(columns, a_mesh_without_triangles_fills_nothing)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10)), none = {0};
    expect(&a, &none, 0.5, 1000.0, 0.0, 1000.0 * ROUNDING);
    expect(&none, &a, 0.5, 0.0, 1000.0, 1000.0 * ROUNDING);
    rlv_mesh_free(&a);
}

Test(columns, origins_of_meshes_are_heeded)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh b = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    a.origin_mm = rlv_vec3_of(500000.0, 5000000.0, 250.0);
    b.origin_mm = rlv_vec3_of(500002.0, 5000000.0, 250.0);
    // A double five million from its origin stands to 1e-9.
    expect(&a, &b, 0.5, 200.0, 200.0, 1e-5);
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

Test(columns, overlapping_shells_count_once_and_are_told)
{
    rlv_mesh pair =
        join(box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10)), box(rlv_vec3_of(5, 0, 0), rlv_vec3_of(15, 10, 10)));
    rlv_mesh whole = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(15, 10, 10));
    expect(&pair, &whole, 0.5, 0.0, 0.0, 1500.0 * ROUNDING);
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_columns_difference d = compare(&pair, &whole, (rlv_axis)axis, 0.5);
        cr_expect_float_eq(d.overlap_mm2, axis == 0 ? 100.0 : 50.0, 1e-9);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&pair);
    rlv_mesh_free(&whole);
}

Test(columns, a_cavity_is_not_filled)
{
    rlv_mesh hole = box(rlv_vec3_of(3, 3, 3), rlv_vec3_of(6, 7, 5));
    turn_inside_out(&hole);
    rlv_mesh hollow = join(box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10)), hole);
    rlv_mesh full = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    expect(&hollow, &full, 0.5, 0.0, 24.0, 1000.0 * ROUNDING);
    rlv_mesh_free(&hollow);
    rlv_mesh_free(&full);
}

Test(columns, cap_of_a_sphere_has_the_handbook_volume)
{
    // Bronshtein & Semendyayev, Handbook of Mathematics, chapter on solids: V = pi h^2 (3 R - h) / 3, A = 2 pi R h.
    const double radius = 50.0, distance = 30.0, height = radius - distance;
    const double cap_mm3 = M_PI * height * height * (3.0 * radius - height) / 3.0;
    rock before = {.half_axes_mm = {radius, radius, radius}};
    rock after = before;
    after.cut_count = 1;
    after.cut[0] = (rock_cut){.plane = true, .direction = {0.48, 0.6, 0.64}, .distance_mm = distance};
    const size_t triangles = 480000;
    rlv_mesh a = mesh_of(&before, triangles), b = mesh_of(&after, triangles);
    // Flat triangles lie inside the sphere by no more than rho^2 / 2R, rho half the diagonal of a cell of edge e; along
    // the rim, chords cut a corner of the solid off, whose two sides are together at most two edges long.
    const double edge = radius * M_PI / 2 / sqrt((double)triangles / 12.0), rho = edge / sqrt(2.0);
    const double facets_mm3 = 2.0 * M_PI * radius * height * rho * rho / (2.0 * radius);
    const double rim_mm3 = 2.0 * M_PI * 40.0 * 0.5 * edge * edge * 0.8;
    const double tolerance = facets_mm3 + rim_mm3;
    cr_assert_lt(tolerance, 5e-4 * cap_mm3);
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_columns_difference d = compare(&a, &b, (rlv_axis)axis, 0.5);
        cr_expect_float_eq(d.label[0].first_only_mm3, cap_mm3, tolerance, "%.3f for %.3f", d.label[0].first_only_mm3,
                           cap_mm3);
        cr_expect_eq(d.label[0].second_only_mm3, 0.0);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

// ---- labels ----

Test(columns, a_run_belongs_to_the_label_at_its_ends)
{
    // Along z the run reaches from the lower box's lid to the higher one's.
    const uint16_t lids[][3] = {
        {1, 1, 1}, // alike
        {0, 2, 2}, // a label before none
        {2, 0, 2}, //
        {2, 1, 2}, // the first solid's before the second's
        {1, 2, 1}, //
        {0, 0, 0}, // no label
    };
    rlv_mesh tall = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh low = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 8));
    for (size_t i = 0; i < sizeof lids / sizeof lids[0]; i++)
    {
        uint16_t first[12] = {0}, second[12] = {0};
        first[2 * FACE_HIGH_Z] = first[2 * FACE_HIGH_Z + 1] = lids[i][0];
        second[2 * FACE_HIGH_Z] = second[2 * FACE_HIGH_Z + 1] = lids[i][1];
        rlv_columns_difference d =
            compare_solids((rlv_solid){&tall, first}, (rlv_solid){&low, second}, 3, RLV_AXIS_Z, 0.5);
        for (uint16_t label = 0; label < 3; label++)
        {
            double expected = label == lids[i][2] ? 200.0 : 0.0;
            cr_expect_float_eq(d.label[label].first_only_mm3, expected, 200.0 * ROUNDING, "case %zu label %u: %g", i,
                               label, d.label[label].first_only_mm3);
            cr_expect_float_eq(d.label[label].signed_mm3, expected, 200.0 * ROUNDING);
            cr_expect_float_eq(d.label[label].second_only_mm3, 0.0, 200.0 * ROUNDING);
            cr_expect_float_eq(d.label[label].max_run_mm, label == lids[i][2] ? 2.0 : 0.0, 10.0 * ROUNDING);
        }
        rlv_columns_difference_free(&d);
    }
    // Along x both ends lie on the first solid's sides: the lower label has it.
    uint16_t sides[12] = {0};
    sides[2 * FACE_LOW_X] = sides[2 * FACE_LOW_X + 1] = 2;
    sides[2 * FACE_HIGH_X] = sides[2 * FACE_HIGH_X + 1] = 1;
    rlv_columns_difference d = compare_solids((rlv_solid){&tall, sides}, (rlv_solid){&low, NULL}, 3, RLV_AXIS_X, 0.5);
    cr_expect_float_eq(d.label[1].first_only_mm3, 200.0, 200.0 * ROUNDING);
    cr_expect_float_eq(d.label[2].first_only_mm3, 0.0, 200.0 * ROUNDING);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&tall);
    rlv_mesh_free(&low);
}

Test(columns, a_run_through_a_whole_solid_belongs_to_the_labelled_end)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh b = box(rlv_vec3_of(20, 0, 0), rlv_vec3_of(30, 10, 5));
    const uint16_t lid[12] = {[2 * FACE_HIGH_Z] = 1, [2 * FACE_HIGH_Z + 1] = 1};
    rlv_columns_difference d = compare_solids((rlv_solid){&a, lid}, (rlv_solid){&b, NULL}, 2, RLV_AXIS_Z, 0.5);
    cr_expect_float_eq(d.label[1].signed_mm3, 1000.0, 1000.0 * ROUNDING, "%g", d.label[1].signed_mm3);
    cr_expect_float_eq(d.label[0].signed_mm3, -500.0, 500.0 * ROUNDING);
    cr_expect_float_eq(d.label[0].second_only_mm3, 500.0, 500.0 * ROUNDING);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

Test(columns, a_label_beyond_the_count_is_refused)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    const uint16_t label[12] = {0, 0, 0, 0, 0, 0, 0, 3};
    rlv_solid s = {&a, label};
    rlv_columns_difference d;
    rlv_error error = {0};
    cr_expect_eq(rlv_columns_compare(&d, &s, &s, 3, RLV_AXIS_Z, 1.0, &error), RLV_BAD_INPUT);
    cr_expect_not_null(strstr(error.what, "triangle 7"));
    cr_expect_eq(rlv_columns_compare(&d, &s, &s, 0, RLV_AXIS_Z, 1.0, &error), RLV_BAD_INPUT);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&a);
}

static rock block(void)
{
    return (rock){.half_axes_mm = {60, 50, 40}, .relief_mm = 2, .relief_length_mm = 30, .facets = 0.5, .seed = 11};
}

static rock cut_block(void)
{
    rock stone = block();
    stone.cut_count = 2;
    stone.cut[0] = (rock_cut){.plane = true, .direction = {0.5, 0.3, 0.8}, .distance_mm = 32};
    stone.cut[1] = (rock_cut){.direction = {-1, 0.2, 0.3}, .depth_mm = 3, .half_angle_rad = 0.4, .soft_mm = 6};
    return stone;
}

Test(columns, rows_of_closed_meshes_add_up_to_the_difference_of_their_volumes)
{
    const rock before = block(), after = cut_block();
    rlv_mesh a = mesh_of(&before, 100000), b = mesh_of(&after, 100000);
    uint16_t *first = labels_of_change(&a, &b, 1), *second = labels_of_change(&b, &a, 2);
    for (size_t i = 0; i < b.triangle_count; i++)
        second[i] = (uint16_t)(second[i] == 1 && b.position_mm[3 * b.corner[3 * i]] < 0 ? 2 : second[i]);
    const double removed = volume_of(&a) - volume_of(&b), whole = volume_of(&a);
    for (int axis = 0; axis < 3; axis++)
        for (double pitch = 0.3; pitch < 100.0; pitch *= 3.1)
        {
            rlv_columns_difference d =
                compare_solids((rlv_solid){&a, first}, (rlv_solid){&b, second}, 3, (rlv_axis)axis, pitch);
            double sum = 0.0;
            for (size_t i = 0; i < 3; i++)
            {
                sum += d.label[i].signed_mm3;
                cr_expect_float_eq(d.label[i].first_only_mm3 - d.label[i].second_only_mm3, d.label[i].signed_mm3,
                                   1e-12 * whole);
            }
            // Rounding of 10^5 terms, each a share of the block, and of volumes in tiles to 2^-50 of a tile's box.
            cr_expect_float_eq(sum, removed, 1e-10 * whole, "axis %d pitch %g: %.9g", axis, pitch, sum - removed);
            cr_expect_float_eq(d.signed_mm3, sum, 1e-12 * whole);
            rlv_columns_difference_free(&d);
        }
    free(first);
    free(second);
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

Test(columns, a_label_is_right_where_rims_do_not_meet)
{
    const rock before = block(), after = cut_block();
    rlv_mesh a = mesh_of(&before, 300000), b = mesh_of(&after, 300000);
    const double removed = volume_of(&a) - volume_of(&b), pitch = 0.5;
    // What no sample meets along the rims, 450 mm together, is a wedge as steep as the cut's angle to the surface, up
    // to 45 degrees, and narrower than a cell's diagonal: half its square in cross-section.
    const double tolerance = 450.0 * 0.5 * 2.0 * pitch * pitch;
    cr_assert_lt(tolerance, 5e-3 * removed);
    for (int corners = 1; corners <= 3; corners++)
        for (int axis = 0; axis < 3; axis++)
        {
            uint16_t *first = labels_of_change(&a, &b, 1), *second = labels_of_change(&b, &a, corners);
            rlv_columns_difference d =
                compare_solids((rlv_solid){&a, first}, (rlv_solid){&b, second}, 2, (rlv_axis)axis, pitch);
            cr_expect_float_eq(d.label[1].signed_mm3, removed, tolerance, "%.9g", d.label[1].signed_mm3 - removed);
            rlv_columns_difference_free(&d);
            free(first);
            free(second);
        }
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

// ---- the fill rule ----

/// Rotation `index` of the 24 that carry the axes onto themselves.
static rlv_mat3 axis_rotation(int index)
{
    static const int order[6][3] = {{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {0, 2, 1}, {2, 1, 0}, {1, 0, 2}};
    const int* at = order[index / 4];
    double one = index % 4 < 2 ? 1.0 : -1.0, two = index % 2 == 0 ? 1.0 : -1.0;
    double three = (index / 4 < 3 ? 1.0 : -1.0) * one * two;
    const double sign[3] = {one, two, three};
    rlv_mat3 m = {{0}};
    for (int i = 0; i < 3; i++)
        m.m[3 * i + at[i]] = sign[i];
    return m;
}

static void rotate(rlv_mesh* mesh, rlv_mat3 rotation)
{
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        rlv_vec3 p = rlv_mat3_apply(rotation, rlv_vec3_from(mesh->position_mm + 3 * i));
        put_vertex(mesh, i, p.x, p.y, p.z);
    }
}

Test(columns, edges_on_samples_balance_to_the_unit_in_all_24_orientations)
{
    // All boxes together span whole millimetres, so that samples lie a quarter beyond whole and half ones: the faces of
    // the two large boxes, and the diagonals of their faces, lie on samples.
    for (int index = 0; index < 24; index++)
    {
        rlv_mesh a = join(box(rlv_vec3_of(0.25, 0.25, 0.25), rlv_vec3_of(6.25, 5.25, 4.25)),
                          box(rlv_vec3_of(-1, -1, -1), rlv_vec3_of(0, 0, 0)));
        rlv_mesh b = join(box(rlv_vec3_of(2.25, 0.25, 0.25), rlv_vec3_of(8.25, 5.25, 4.25)),
                          box(rlv_vec3_of(10, 9, 8), rlv_vec3_of(11, 10, 9)));
        rotate(&a, axis_rotation(index));
        rotate(&b, axis_rotation(index));
        // One side of each face is scanned and the other is not: areas of plans are right to the sample.
        expect(&a, &b, 0.5, 2.0 * 20.0 + 1.0, 2.0 * 20.0 + 1.0, 81.0 * ROUNDING);
        rlv_mesh_free(&a);
        rlv_mesh_free(&b);
    }
}

static uint64_t next_random(uint64_t* state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return *state >> 33;
}

/// A sphere's net of triangles whose vertices were thrown anywhere on a lattice: closed, and crossing itself
/// everywhere.
static rlv_mesh crumpled(uint64_t seed, double lattice_mm, int steps)
{
    const rock ball = {.half_axes_mm = {1, 1, 1}};
    rlv_mesh mesh = mesh_of(&ball, 12 * 64);
    for (size_t i = 0; i < 3 * mesh.vertex_count; i++)
        mesh.position_mm[i] = (float)(lattice_mm * (double)(next_random(&seed) % (uint64_t)steps));
    return mesh;
}

Test(columns, any_closed_mesh_balances_in_every_column)
{
    // On the coarse lattice vertices and edges fall on samples, and triangles lose their area; on the fine one none do.
    for (uint64_t seed = 1; seed <= 40; seed++)
    {
        rlv_mesh frame = box(rlv_vec3_of(-1, -1, -1), rlv_vec3_of(31, 31, 31));
        rlv_mesh mesh = seed % 2 == 0 ? crumpled(seed, 0.5, 60) : crumpled(seed, 0.001, 30000);
        for (int axis = 0; axis < 3; axis++)
        {
            rlv_columns_difference d = compare(&mesh, &frame, (rlv_axis)axis, 1.0);
            cr_expect_not(d.open, "seed %u axis %d", (unsigned)seed, axis);
            cr_expect_eq(d.left_out_mm2, 0.0);
            cr_expect_gt(d.overlap_mm2, 0.0);
            rlv_columns_difference_free(&d);
        }
        rlv_mesh_free(&mesh);
        rlv_mesh_free(&frame);
    }
}

Test(columns, the_winding_number_above_nought_is_solid)
{
    // A box wound twice around, one wound backwards in a place of its own, and one that takes a winding away again.
    rlv_mesh hole = box(rlv_vec3_of(2, 2, 2), rlv_vec3_of(4, 4, 4)),
             lost = box(rlv_vec3_of(20, 0, 0), rlv_vec3_of(21, 5, 5));
    turn_inside_out(&hole);
    turn_inside_out(&lost);
    rlv_mesh twice =
        join(box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10)), box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10)));
    rlv_mesh mesh = join(join(twice, hole), lost);
    rlv_mesh full = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    expect(&mesh, &full, 0.5, 0.0, 0.0, 1000.0 * ROUNDING);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&full);
}

Test(columns, slivers_and_triangles_without_area_change_nothing)
{
    // The lid of a box is a fan about a point a nanometre from its edge, with the point given twice.
    rlv_mesh plain = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh mesh = new_mesh(10, 16);
    memcpy(mesh.position_mm, plain.position_mm, 24 * sizeof(float));
    memcpy(mesh.corner, plain.corner, 36 * sizeof(uint32_t));
    put_vertex(&mesh, 8, 1e-6, 4.999, 10);
    put_vertex(&mesh, 9, 1e-6, 4.999, 10);
    const uint32_t lid[18] = {4, 5, 8, 5, 7, 8, 7, 6, 9, 6, 4, 9, 8, 7, 9, 4, 8, 9};
    memcpy(mesh.corner + 6 * FACE_HIGH_Z, lid, sizeof lid);
    rlv_mesh low = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 9));
    expect(&mesh, &low, 0.5, 100.0, 0.0, 100.0 * ROUNDING);
    rlv_mesh_free(&plain);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&low);
}

// ---- open meshes ----

Test(columns, open_boxes_are_closed_against_one_base)
{
    rlv_mesh tall = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh low = box(rlv_vec3_of(0, 0, 1), rlv_vec3_of(10, 10, 8));
    drop_face(&tall, FACE_LOW_Z);
    drop_face(&low, FACE_LOW_Z);
    rlv_columns_difference d = compare(&tall, &low, RLV_AXIS_Z, 0.5);
    cr_expect(d.open);
    cr_expect_eq(d.left_out_mm2, 0.0);
    cr_expect_float_eq(d.label[0].first_only_mm3, 200.0, 200.0 * ROUNDING);
    cr_expect_eq(d.label[0].second_only_mm3, 0.0);
    cr_expect_float_eq(d.signed_mm3, 200.0, 200.0 * ROUNDING);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&tall);
    rlv_mesh_free(&low);
}

Test(columns, what_only_one_open_mesh_sees_is_left_out_and_told)
{
    rlv_mesh wide = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh narrow = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(8, 10, 7));
    drop_face(&wide, FACE_LOW_Z);
    drop_face(&narrow, FACE_LOW_Z);
    rlv_columns_difference d = compare(&wide, &narrow, RLV_AXIS_Z, 0.5);
    cr_expect(d.open);
    cr_expect_float_eq(d.left_out_mm2, 20.0, 1e-9);
    cr_expect_float_eq(d.label[0].first_only_mm3, 240.0, 240.0 * ROUNDING);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&wide);
    rlv_mesh_free(&narrow);
}

Test(columns, meshes_open_at_the_high_end_are_left_out)
{
    rlv_mesh tall = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh low = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 8));
    drop_face(&tall, FACE_HIGH_Z);
    drop_face(&low, FACE_HIGH_Z);
    rlv_columns_difference d = compare(&tall, &low, RLV_AXIS_Z, 0.5);
    cr_expect(d.open);
    cr_expect_float_eq(d.left_out_mm2, 100.0, 1e-9);
    cr_expect_float_eq(d.signed_mm3, 0.0, 1e-6);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&tall);
    rlv_mesh_free(&low);
}

/// Keep the triangles whose first corner lies above a height.
static void keep_above(rlv_mesh* mesh, double height_mm)
{
    size_t kept = 0;
    for (size_t i = 0; i < mesh->triangle_count; i++)
        if ((double)mesh->position_mm[3 * mesh->corner[3 * i] + 2] > height_mm)
            memmove(mesh->corner + 3 * kept++, mesh->corner + 3 * i, 3 * sizeof(uint32_t));
    mesh->triangle_count = kept;
}

Test(columns, a_cut_into_an_open_block_is_what_it_is_in_the_closed_one)
{
    rock before = block(), after = block();
    after.cut_count = 1;
    after.cut[0] = (rock_cut){.plane = true, .direction = {0.2, 0.3, 0.9}, .distance_mm = 30};
    rlv_mesh a = mesh_of(&before, 300000), b = mesh_of(&after, 300000);
    const double removed = volume_of(&a) - volume_of(&b);
    uint16_t *first = labels_of_change(&a, &b, 1), *second = labels_of_change(&b, &a, 1);
    keep_above(&a, 2.0);
    keep_above(&b, 2.0);
    rlv_columns_difference d = compare(&a, &b, RLV_AXIS_Z, 0.5);
    // The border is the same on both, the cut is above it, and tiles beside no left-out column are summed exactly.
    cr_expect(d.open);
    cr_expect_eq(d.left_out_mm2, 0.0);
    cr_expect_float_eq(d.label[0].first_only_mm3, removed, 1e-8 * removed, "%.9g", d.signed_mm3 - removed);
    rlv_columns_difference_free(&d);
    free(first);
    free(second);
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

// ---- pitch ----

Test(columns, a_pitch_wider_than_the_solids_still_gives_their_difference)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh b = box(rlv_vec3_of(1, 1, 1), rlv_vec3_of(9, 8, 7));
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_columns_difference d = compare(&a, &b, (rlv_axis)axis, 1e6);
        cr_expect_float_eq(d.signed_mm3, 1000.0 - 8 * 7 * 6, 1e-9);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

Test(columns, a_pitch_too_fine_is_refused_and_one_that_fits_is_named)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(300, 200, 100));
    rlv_mesh rod = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(1000, 0.01, 0.01));
    const rlv_solid solids[2] = {{&a, NULL}, {&rod, NULL}};
    const double extents[2][2] = {{300, 200}, {1000, 0.01}};
    for (int i = 0; i < 2; i++)
    {
        rlv_columns_difference d;
        rlv_error error = {0};
        cr_assert_eq(rlv_columns_compare(&d, &solids[i], &solids[i], 1, RLV_AXIS_Z, 1e-9, &error), RLV_IMPOSSIBLE);
        cr_assert_eq(error.status, RLV_IMPOSSIBLE);
        const char* number = strpbrk(error.mend, "0123456789");
        cr_assert_not_null(number);
        double pitch = strtod(number, NULL);
        double u = ceil(extents[i][0] / pitch), v = ceil(extents[i][1] / pitch);
        cr_expect_leq(u * v, 2147483648.0, "%s", error.mend);
        cr_expect_leq(u, 16777216.0);
        // And it is no wider than it must be, by more than the third figure.
        pitch *= 0.98;
        u = ceil(extents[i][0] / pitch), v = ceil(extents[i][1] / pitch);
        cr_expect(u * v > 2147483648.0 || u > 16777216.0, "%s", error.mend);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&a);
    rlv_mesh_free(&rod);
}

Test(columns, the_finest_pitch_of_a_rod_can_be_counted)
{
    rlv_mesh rod = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(1000, 0.00005, 5));
    rlv_mesh thin = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(1000, 0.00005, 4));
    rlv_columns_difference d = compare(&rod, &thin, RLV_AXIS_Z, 6e-5);
    // One row of 16,666,667 columns; the width is a float's.
    cr_expect_float_eq(d.label[0].first_only_mm3, 0.05, 0.05 * 1e-6);
    cr_expect_not(d.open);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&rod);
    rlv_mesh_free(&thin);
}

Test(columns, a_pitch_that_is_not_above_nought_is_refused)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_solid s = {&a, NULL};
    const double pitches[] = {0.0, -1.0, (double)NAN, (double)INFINITY};
    for (int i = 0; i < 4; i++)
    {
        rlv_columns_difference d;
        rlv_error error = {0};
        cr_expect_eq(rlv_columns_compare(&d, &s, &s, 1, RLV_AXIS_Z, pitches[i], &error), RLV_BAD_INPUT);
        cr_expect_eq(error.status, RLV_BAD_INPUT);
        cr_expect_null(d.label);
        rlv_columns_difference_free(&d);
    }
    rlv_mesh_free(&a);
}

Test(columns, coordinates_that_are_not_finite_and_empty_solids_are_refused)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10)), none = {0};
    const float bad[] = {NAN, INFINITY, -INFINITY};
    rlv_columns_difference d;
    for (int i = 0; i < 3; i++)
    {
        a.position_mm[13] = bad[i];
        rlv_solid s = {&a, NULL};
        cr_expect_eq(rlv_columns_compare(&d, &s, &s, 1, RLV_AXIS_Z, 1.0, NULL), RLV_BAD_INPUT);
    }
    rlv_solid s = {&none, NULL};
    cr_expect_eq(rlv_columns_compare(&d, &s, &s, 1, RLV_AXIS_Z, 1.0, NULL), RLV_BAD_INPUT);
    rlv_columns_difference_free(&d);
    rlv_mesh_free(&a);
}

Test(columns, vertices_that_no_triangle_uses_do_not_widen_the_grid)
{
    rlv_mesh a = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    rlv_mesh stray = new_mesh(1, 0);
    put_vertex(&stray, 0, 1e9, 1e9, 1e9);
    a = join(a, stray);
    rlv_mesh b = box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 9));
    expect(&a, &b, 0.5, 100.0, 0.0, 100.0 * ROUNDING);
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}

// ---- threads ----

Test(columns, any_number_of_threads_gives_the_same_bytes)
{
    const rock before = block(), after = cut_block();
    rlv_mesh a = mesh_of(&before, 200000), b = mesh_of(&after, 200000);
    uint16_t *first = labels_of_change(&a, &b, 1), *second = labels_of_change(&b, &a, 2);
    keep_above(&b, -39.0); // open, too: left-out columns and all
    const int threads = omp_get_max_threads();
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_columns_difference d[3];
        for (int i = 0; i < 3; i++)
        {
            omp_set_num_threads(i + 1);
            d[i] = compare_solids((rlv_solid){&a, first}, (rlv_solid){&b, second}, 2, (rlv_axis)axis, 0.4);
        }
        for (int i = 1; i < 3; i++)
        {
            cr_expect_eq(memcmp(d[0].label, d[i].label, 2 * sizeof *d[0].label), 0);
            cr_expect_eq(memcmp(&d[0].signed_mm3, &d[i].signed_mm3, sizeof(double)), 0);
            cr_expect_eq(memcmp(&d[0].left_out_mm2, &d[i].left_out_mm2, sizeof(double)), 0);
            cr_expect_eq(memcmp(&d[0].overlap_mm2, &d[i].overlap_mm2, sizeof(double)), 0);
        }
        for (int i = 0; i < 3; i++)
            rlv_columns_difference_free(&d[i]);
    }
    omp_set_num_threads(threads);
    free(first);
    free(second);
    rlv_mesh_free(&a);
    rlv_mesh_free(&b);
}
