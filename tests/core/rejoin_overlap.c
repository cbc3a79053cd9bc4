#include "rejoin_overlap.h"

#include "support/shapes.h"

#include <criterion/criterion.h>

static rlv_lying ball(rlv_mesh* mesh, rlv_vec3 centre, double radius)
{
    rlv_lying lying = {0};
    rlv_error error = {0};
    shape_add_sphere(mesh, centre, radius, 40);
    cr_assert_eq(rlv_lying_make(&lying, mesh, &error), RLV_DONE, "%s", error.what);
    return lying;
}

static double within(const rlv_lying* one, const rlv_lying* other)
{
    double share = 0.0;
    rlv_error error = {0};
    cr_assert_eq(rlv_lying_within(&share, one, other, &error), RLV_DONE, "%s", error.what);
    return share;
}

Test(rejoin_overlap, a_body_lies_in_or_on_another_by_the_share_of_its_surface)
{
    rlv_mesh mesh[4] = {0};
    rlv_lying whole = ball(&mesh[0], rlv_vec3_of(0, 0, 0), 20.0), inner = ball(&mesh[1], rlv_vec3_of(0, 0, 0), 10.0),
              apart = ball(&mesh[2], rlv_vec3_of(50, 0, 0), 20.0), beside = ball(&mesh[3], rlv_vec3_of(20, 0, 0), 20.0);
    cr_expect_eq(within(&inner, &whole), 1.0);
    cr_expect_eq(within(&whole, &inner), 0.0);
    cr_expect_eq(within(&whole, &apart), 0.0);
    cr_expect_eq(within(&whole, &whole), 1.0); // as a second scan of it would be
    // Of a sphere that is half a diameter aside a cap of half the radius lies within: a quarter of its area. What is
    // less than a millimetre deep and looks the other way is not counted: a ring about 1 / sin 60 mm wide, of 2 %.
    cr_expect_float_eq(within(&whole, &beside), 0.25, 0.03);
    rlv_lying* all[4] = {&whole, &inner, &apart, &beside};
    for (int k = 0; k < 4; k++)
    {
        rlv_lying_free(all[k]);
        rlv_mesh_free(&mesh[k]);
    }
}

/// Two blocks side by side across a gap, and one on the far side of the second.
Test(rejoin_overlap, a_face_looks_at_the_nearest_body_across_from_it)
{
    rlv_mesh mesh[3] = {0};
    rlv_lying lying[3] = {0};
    rlv_error error = {0};
    shape_add_box(&mesh[0], rlv_vec3_of(0, 0, 0), rlv_vec3_of(30, 30, 30));
    shape_add_box(&mesh[1], rlv_vec3_of(31, -10, -10), rlv_vec3_of(33, 40, 40));
    shape_add_box(&mesh[2], rlv_vec3_of(34, -10, -10), rlv_vec3_of(64, 40, 40));
    for (int k = 0; k < 3; k++)
        cr_assert_eq(rlv_lying_make(&lying[k], &mesh[k], &error), RLV_DONE);
    const rlv_lying *both[2] = {&lying[1], &lying[2]}, *far[1] = {&lying[2]};
    double area_mm2[2], far_mm2;
    cr_assert_eq(rlv_lying_across(area_mm2, &lying[0], 2, both, 6.0, &error), RLV_DONE);
    cr_assert_eq(rlv_lying_across(&far_mm2, &lying[0], 1, far, 6.0, &error), RLV_DONE);
    // Samples of a box are its corners, a third of each side's area, whose normals lie between three sides: the near
    // body is across from those that look at it, and hides the far one.
    cr_expect_gt(area_mm2[0], 0.0);
    cr_expect_eq(area_mm2[1], 0.0);
    cr_expect_eq(far_mm2, area_mm2[0]);
    for (int k = 0; k < 3; k++)
    {
        rlv_lying_free(&lying[k]);
        rlv_mesh_free(&mesh[k]);
    }
}
