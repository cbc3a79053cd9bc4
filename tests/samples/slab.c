#include "slab.h"

#include "demo_specimen.h"
#include "scan.h"

#include <criterion/criterion.h>
#include <omp.h>
#include <string.h>

#define DEGREE (M_PI / 180.0)

static demo_specimen made;

static void make(void)
{
    cr_assert_eq(specimen_make(&made, 417, NULL), RLV_DONE);
}

static void drop(void)
{
    specimen_free(&made);
}

static size_t points(void)
{
    return made.surface[0].size[0] * made.surface[0].size[1];
}

/// Thickness of the slab at a point of the specimen's grid.
static double thick_at(size_t i)
{
    return slab_thickness_mm(&made.slab, relief_x(&made.surface[0], i), relief_y(&made.surface[0], i));
}

static void expect_a_slab_of_the_plan(void)
{
    const demo_slab* slab = &made.slab;
    cr_expect(slab->thickness_mm[0] > 10.0 && slab->thickness_mm[1] < 25.0); // the design's 10 to 25 mm
    double dip = acos(rlv_vec3_dot(made.block.bedding_normal,
                                   rlv_vec3_of(slab->joint_normal[0], slab->joint_normal[1], slab->joint_normal[2]))) /
                 DEGREE;
    cr_expect(dip > 1.0 && dip < 10.0, "the joint dips %g degrees off the bedding", dip);
    for (size_t i = 0; i < points(); i++)
        if (thick_at(i) > 0.0) // no bone comes to light on it or under it
            cr_assert_eq(made.shown[i] & ((1u << (SPECIMEN_SLAB_BACK + 1)) - 1), 0);
}

/// The classes of a step, and the volumes between its surfaces.
static void expect_classes_to_add_up(void)
{
    for (int stage = 1; stage < SPECIMEN_STAGES; stage++)
    {
        double removed, added, c[SPECIMEN_CLASSES];
        specimen_change(&made, stage - 1, stage, &removed, &added);
        specimen_classes(&made, stage, c);
        // The same numbers in another order: rounding of some millions of terms.
        cr_expect_float_eq(c[SPECIMEN_MATRIX_REMOVED] + c[SPECIMEN_BONE_LOST] + c[SPECIMEN_PIECE_DETACHED], removed,
                           1e-9 * removed);
        double gap = stage == SPECIMEN_SLAB_BACK ? made.gap_mm3 : 0.0;
        cr_expect_float_eq(c[SPECIMEN_PIECE_JOINED] + c[SPECIMEN_MATERIAL_ADDED] + gap, added, 1e-9 * removed);
        cr_expect_eq(c[SPECIMEN_PIECE_DETACHED] > 0.0, stage == SPECIMEN_SLAB_OFF);
        cr_expect_eq(c[SPECIMEN_PIECE_JOINED] > 0.0, stage == SPECIMEN_SLAB_BACK);
        cr_expect_eq(c[SPECIMEN_BONE_LOST] > 0.0, stage == SPECIMEN_SLAB_BACK); // the chip
    }
}

/// The gap, summed column by column between the faces, against what the outside gained over the slab's own volume.
static void expect_the_gap_between_the_faces(void)
{
    const demo_relief* face = &made.slab.face;
    const double cell = face->pitch_mm * face->pitch_mm;
    double gap = 0.0, edge = 0.0, reach = 0.0;
    for (size_t i = 0; i < face->size[0] * face->size[1]; i++)
    {
        double x = relief_x(face, i), y = relief_y(face, i), upper, lower, beside[2];
        if (!slab_back_at(&made.slab, x, y, &upper, &lower))
            continue;
        double open = lower - (double)face->height_mm[i];
        gap += open * cell;
        cr_assert_gt(open, 0.0);
        reach = fmax(reach, hypot(x - made.slab.centroid_mm.x, y - made.slab.centroid_mm.y));
        if (!slab_back_at(&made.slab, x + face->pitch_mm, y, &beside[0], &beside[1]) ||
            !slab_back_at(&made.slab, x, y + face->pitch_mm, &beside[0], &beside[1]))
            edge += open * cell;
    }
    // The volume of the slab ends where its faces meet, and the columns end at whole points: half a cell along the
    // edge.
    cr_expect_float_eq(gap, made.gap_mm3, edge, "%g %g +- %g", gap, made.gap_mm3, edge);
    // On the spots that were not worn the faces are as far apart as the slab is high there.
    double turn = tan(SLAB_TURN_DEG * DEGREE) * reach;
    cr_expect(made.least_gap_mm > SLAB_HIGH_MM - turn && made.least_gap_mm < SLAB_HIGH_MM + turn);
}

/// Faces were worn by 0.5 to 2 mm along their normal, away from the edge and the spots where they touch.
static void expect_worn_faces(void)
{
    const demo_relief* face = &made.slab.face;
    double sum = 0.0, count = 0.0;
    for (size_t i = face->size[0]; i + face->size[0] < face->size[0] * face->size[1]; i++)
    {
        double thick = (double)(made.slab.upper.height_mm[i] - made.slab.lower.height_mm[i]);
        if (thick < 9.0)
            continue;
        sum += (double)(made.slab.lower.height_mm[i] - face->height_mm[i]);
        count += 1.0;
    }
    // Both faces together, along the vertical, which is up to twice as long as along the normal.
    cr_expect(sum / count > 2 * 0.5 && sum / count < 2 * 2.0 * 2.0, "%g", sum / count);
}

Test(slab, comes_off_and_goes_back_with_classes_and_a_gap_that_add_up, .init = make, .fini = drop)
{
    expect_a_slab_of_the_plan();
    expect_classes_to_add_up();
    expect_the_gap_between_the_faces();
    expect_worn_faces();
}

/// How much two straight lines between points can miss a surface by, near a place: the second differences there.
static double bend_mm(const demo_relief* map, double x, double y)
{
    const size_t i = relief_nearest(map, x, y), wide = map->size[0];
    double most = 0.0;
    for (long b = -1; b <= 1; b++)
        for (long a = -1; a <= 1; a++)
        {
            const float* at = map->height_mm + (long)i + b * (long)wide + a;
            double across = fabs((double)(at[1] + at[-1] - 2.0f * at[0]));
            double up = fabs((double)(at[wide] + *(at - wide) - 2.0f * at[0]));
            most = fmax(most, across + up);
        }
    return most;
}

Test(slab, lies_where_the_truth_says_and_the_rest_of_the_surface_as_it_was, .init = make, .fini = drop)
{
    const demo_slab* slab = &made.slab;
    const demo_relief *before = &made.surface[SPECIMEN_SLAB_OFF - 1], *after = &made.surface[SPECIMEN_SLAB_BACK];
    scan_random random = {9};
    double high = 0.0, count = 0.0;
    for (int k = 0; k < 20000; k++)
    {
        double x = relief_x(&slab->upper, 0) + 130.0 * scan_random_unit(&random);
        double y = relief_y(&slab->upper, 0) + 110.0 * scan_random_unit(&random);
        if (slab_thickness_mm(slab, x, y) < 3.0) // clear of the edge: the outside at its foot is the block's
            continue;
        rlv_vec3 was = {x, y, relief_at(before, x, y)}, now = rlv_pose_apply(&slab->back, was);
        // Both are straight between their own points; float rounds heights of some 100 mm to 2^-18.
        cr_assert_float_eq(relief_at(after, now.x, now.y), now.z, 0.5 * bend_mm(before, x, y) + 4 * 0x1p-18);
        cr_assert_lt(rlv_vec3_length(rlv_vec3_sub(now, was)), 0.5); // a fraction of a millimetre
        high += now.z - was.z;
        count += 1.0;
    }
    cr_assert_gt(count, 1000.0);
    rlv_vec3 middle = rlv_pose_apply(&slab->back, slab->centroid_mm);
    cr_expect_float_eq(middle.z - slab->centroid_mm.z, SLAB_HIGH_MM, 1e-9);
    cr_expect_float_eq(hypot(middle.x - slab->centroid_mm.x, middle.y - slab->centroid_mm.y), 0.0, 1e-9);
    cr_expect_float_eq(rlv_vec3_length(rlv_rotation_to_vector(slab->back.rotation)), SLAB_TURN_DEG * DEGREE, 1e-9);
    cr_expect_float_eq(high / count, SLAB_HIGH_MM,
                       tan(SLAB_TURN_DEG * DEGREE) * 20.0); // places are not evenly about it
}

static rlv_mesh meshed(size_t triangles, uint64_t seed)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(slab_mesh(&mesh, &made.slab, &made.block, triangles, seed, NULL), RLV_DONE);
    return mesh;
}

static void expect_a_closed_shell(void)
{
    rlv_mesh mesh = meshed(20000, 5);
    const size_t triangles = mesh.triangle_count;
    cr_expect(triangles > 16000 && triangles < 24000);
    rlv_mesh_health health;
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
    cr_expect(health.closed);
    cr_expect_eq(health.shells, 1);
    cr_expect_eq(health.unused_vertices + health.mixed_winding + health.inside_out + health.zero_area, 0);
    cr_expect_eq(mesh.triangle_count, triangles);
    rlv_mesh_free(&mesh);
}

static double volume_off_mm3(size_t triangles)
{
    rlv_mesh mesh = meshed(triangles, 6);
    double off = rlv_mesh_measure(&mesh).volume_mm3 - made.slab.volume_mm3;
    rlv_mesh_free(&mesh);
    return fabs(off);
}

Test(slab, mesh_is_one_closed_shell_whose_volume_goes_to_the_truth, .init = make, .fini = drop)
{
    expect_a_closed_shell();
    // Flat triangles cut corners by the square of their size, and the edge, whose thickness falls to nothing: sixteen
    // times the triangles leave a sixteenth; at least a fourth, since the finest relief is first met then.
    double coarse = volume_off_mm3(5000), fine = volume_off_mm3(80000);
    cr_expect_lt(fine, 0.25 * coarse, "%g %g", coarse, fine);
    rlv_mesh many = meshed(20000, 5), other = meshed(20000, 8);
    omp_set_num_threads(1);
    rlv_mesh one = meshed(20000, 5);
    cr_assert_eq(one.vertex_count, many.vertex_count);
    cr_expect(memcmp(one.position_mm, many.position_mm, 3 * one.vertex_count * sizeof(float)) == 0);
    cr_expect(memcmp(one.corner, many.corner, 3 * one.triangle_count * sizeof(uint32_t)) == 0);
    cr_expect(memcmp(one.position_mm, other.position_mm, 3 * sizeof(float)) != 0);
    rlv_mesh_free(&many);
    rlv_mesh_free(&other);
    rlv_mesh_free(&one);
}
