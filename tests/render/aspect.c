// Aspects: each named side shows what its name says.

#include "aspect.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(aspect);

// A fish that looks to -x, its back up: its tail is to +x, its left to -y (looking to -x with z up, left is -y).
static const rlv_vec3 along = {1, 0, 0}, dorsal = {0, 0, 1}, left = {0, -1, 0};

static void expect_way(rlv_vec3 found, double x, double y, double z)
{
    cr_expect_float_eq(found.x, x, 1e-12);
    cr_expect_float_eq(found.y, y, 1e-12);
    cr_expect_float_eq(found.z, z, 1e-12);
}

Test(aspect, each_side_faces_the_reader)
{
    const rlv_vec3 towards[RLV_ASPECT_COUNT] = {dorsal, {0, 0, -1}, left, {0, 1, 0}, {-1, 0, 0}, along};
    for (int i = 0; i < RLV_ASPECT_COUNT; i++)
    {
        rlv_camera_axes axes = rlv_aspect_of_body((rlv_aspect)i, along, dorsal);
        expect_way(axes.towards, towards[i].x, towards[i].y, towards[i].z);
        expect_way(rlv_vec3_cross(axes.right, axes.up), axes.towards.x, axes.towards.y, axes.towards.z);
    }
}

Test(aspect, the_back_is_up_in_lateral_views_and_the_head_on_the_side_it_looks_to)
{
    rlv_camera_axes axes = rlv_aspect_of_body(RLV_ASPECT_LEFT_LATERAL, along, dorsal);
    expect_way(axes.up, 0, 0, 1);
    expect_way(axes.right, 1, 0, 0); // tail on the right: head on the left
    axes = rlv_aspect_of_body(RLV_ASPECT_RIGHT_LATERAL, along, dorsal);
    expect_way(axes.up, 0, 0, 1);
    expect_way(axes.right, -1, 0, 0);
    axes = rlv_aspect_of_body(RLV_ASPECT_DORSAL, along, dorsal);
    expect_way(axes.right, 1, 0, 0);
    axes = rlv_aspect_of_body(RLV_ASPECT_VENTRAL, along, dorsal);
    expect_way(axes.right, 1, 0, 0);
    axes = rlv_aspect_of_body(RLV_ASPECT_ANTERIOR, along, dorsal);
    expect_way(axes.right, 0, -1, 0); // face to face, its left is on the right
}

Test(aspect, a_slanted_back_is_made_square_to_the_axis)
{
    rlv_camera_axes axes = rlv_aspect_of_body(RLV_ASPECT_DORSAL, along, rlv_vec3_of(0.7, 0, 0.7));
    expect_way(axes.towards, 0, 0, 1);
}

Test(aspect, the_upper_side_is_a_map_with_north_up)
{
    rlv_camera_axes axes = rlv_aspect_of_upper_side(rlv_vec3_of(0, 0, 2), rlv_vec3_of(3, 0, 1));
    expect_way(axes.towards, 0, 0, 1);
    expect_way(axes.up, 1, 0, 0);
    expect_way(axes.right, 0, -1, 0);
    axes = rlv_aspect_of_upper_side(rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 0, 0));
    expect_way(axes.towards, 0, 0, 1);
}

Test(aspect, an_azimuth_is_where_one_stands)
{
    const rlv_vec3 up = {0, 0, 1}, north = {0, 1, 0};
    rlv_camera_axes axes = rlv_aspect_from(up, north, 90.0, 0.0); // from the east, north is on the right
    expect_way(axes.towards, 1, 0, 0);
    expect_way(axes.right, 0, 1, 0);
    expect_way(axes.up, 0, 0, 1);
    axes = rlv_aspect_from(up, north, 180.0, 90.0); // from above: a map
    expect_way(axes.towards, 0, 0, 1);
    expect_way(axes.up, 0, 1, 0);
    axes = rlv_aspect_from(up, north, 0.0, 30.0);
    expect_way(axes.towards, 0, sqrt(0.75), 0.5);
}

Test(aspect, names_are_found_again)
{
    rlv_aspect found;
    for (int i = 0; i < RLV_ASPECT_COUNT; i++)
    {
        cr_assert(rlv_aspect_find(rlv_aspect_name((rlv_aspect)i), &found));
        cr_expect_eq((int)found, i);
    }
    cr_expect(rlv_aspect_find("left-lateral", &found));
    cr_expect_eq(found, RLV_ASPECT_LEFT_LATERAL);
    cr_expect_not(rlv_aspect_find("left", &found));
    cr_expect_not(rlv_aspect_find("dorsally", &found));
    cr_expect_not(rlv_aspect_find("", &found));
}
