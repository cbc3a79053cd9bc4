#include "pose.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <string.h>

/// Greatest difference between two rotations' numbers.
static double apart(rlv_mat3 a, rlv_mat3 b)
{
    double most = 0.0;
    for (int i = 0; i < 9; i++)
        most = fmax(most, fabs(a.m[i] - b.m[i]));
    return most;
}

static double gap(rlv_vec3 a, rlv_vec3 b)
{
    return rlv_vec3_length(rlv_vec3_sub(a, b));
}

/// Numbers from 0 to 1, the same in every run.
static double next_share(uint64_t* state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static rlv_vec3 next_vector(uint64_t* state, double size)
{
    double x = next_share(state), y = next_share(state), z = next_share(state);
    return rlv_vec3_scale(rlv_vec3_of(2 * x - 1, 2 * y - 1, 2 * z - 1), size);
}

static rlv_pose next_pose(uint64_t* state)
{
    rlv_pose pose = rlv_pose_identity();
    pose.rotation = rlv_rotation_from_vector(next_vector(state, 3.0));
    pose.translation_mm = next_vector(state, 500.0);
    pose.scale = 0.5 + next_share(state);
    return pose;
}

// A product of two rotations sums three products of numbers up to 1: about 4 rounding errors. 64 of them stand for a
// few such steps in a row, and for the sines and roots between them.
#define ROUNDING (64 * DBL_EPSILON)

Test(pose, identity_leaves_points_where_they_are)
{
    rlv_pose pose = rlv_pose_identity();
    rlv_vec3 point = {1.25, -2.5, 1e6};
    cr_assert_eq(gap(rlv_pose_apply(&pose, point), point), 0.0);
    cr_assert_eq(rlv_pose_position_sd_mm(&pose), 0.0);
    cr_assert_eq(rlv_pose_rotation_sd_deg(&pose), 0.0);
}

Test(pose, a_quarter_turn_about_z_carries_x_to_y)
{
    rlv_mat3 turn = rlv_rotation_from_vector(rlv_vec3_of(0, 0, M_PI / 2));
    cr_assert_leq(gap(rlv_mat3_apply(turn, rlv_vec3_of(1, 0, 0)), rlv_vec3_of(0, 1, 0)), ROUNDING);
}

Test(pose, a_rotation_keeps_lengths_and_handedness)
{
    uint64_t state = 1;
    for (int i = 0; i < 200; i++)
    {
        rlv_mat3 turn = rlv_rotation_from_vector(next_vector(&state, 6.0));
        cr_assert_leq(apart(rlv_mat3_multiply(turn, rlv_mat3_transpose(turn)), rlv_mat3_identity()), ROUNDING);
        rlv_vec3 x = rlv_mat3_apply(turn, rlv_vec3_of(1, 0, 0)), y = rlv_mat3_apply(turn, rlv_vec3_of(0, 1, 0)),
                 z = rlv_mat3_apply(turn, rlv_vec3_of(0, 0, 1));
        cr_assert_leq(gap(rlv_vec3_cross(x, y), z), ROUNDING);
    }
}

Test(pose, rotation_vectors_come_back_from_every_angle_below_half_a_turn)
{
    uint64_t state = 2;
    static const double angle[] = {0.0, 1e-300, 1e-15, 1e-12, 1e-8, 1.01e-8,     1e-4,
                                   0.5, 1.0,    2.0,   3.0,   3.14, M_PI - 1e-4, M_PI - 1e-7};
    for (size_t a = 0; a < sizeof angle / sizeof *angle; a++)
        for (int i = 0; i < 50; i++)
        {
            rlv_vec3 vector = rlv_vec3_scale(rlv_vec3_unit(next_vector(&state, 1.0)), angle[a]);
            rlv_vec3 back = rlv_rotation_to_vector(rlv_rotation_from_vector(vector));
            cr_assert_leq(gap(back, vector), ROUNDING, "angle %g: off by %g", angle[a], gap(back, vector));
        }
}

Test(pose, half_a_turn_comes_back_as_the_same_rotation)
{
    // There the vector's sign is free, and rounding may choose either: the rotation is what must agree.
    uint64_t state = 3;
    for (int i = 0; i < 200; i++)
    {
        rlv_vec3 axis = rlv_vec3_unit(i < 3 ? rlv_vec3_of(i == 0, i == 1, i == 2) : next_vector(&state, 1.0));
        rlv_mat3 turn = rlv_rotation_from_vector(rlv_vec3_scale(axis, M_PI));
        rlv_vec3 back = rlv_rotation_to_vector(turn);
        cr_assert_leq(fabs(rlv_vec3_length(back) - M_PI), ROUNDING);
        cr_assert_leq(apart(rlv_rotation_from_vector(back), turn), ROUNDING);
    }
}

Test(pose, angles_beyond_half_a_turn_come_back_the_short_way)
{
    rlv_vec3 back = rlv_rotation_to_vector(rlv_rotation_from_vector(rlv_vec3_of(0, 0, 1.5 * M_PI)));
    cr_assert_leq(gap(back, rlv_vec3_of(0, 0, -0.5 * M_PI)), ROUNDING);
}

Test(pose, a_quaternion_is_normalised_and_its_negative_is_the_same_rotation)
{
    const double q[4] = {0.4, -0.8, 1.2, 0.2}, negative[4] = {-0.4, 0.8, -1.2, -0.2}, longer[4] = {4, -8, 12, 2};
    rlv_mat3 turn = rlv_rotation_from_quaternion(q);
    cr_assert_eq(apart(turn, rlv_rotation_from_quaternion(negative)), 0.0);
    cr_assert_leq(apart(turn, rlv_rotation_from_quaternion(longer)), ROUNDING);
}

Test(pose, compose_acts_as_one_after_the_other)
{
    uint64_t state = 4;
    for (int i = 0; i < 100; i++)
    {
        rlv_pose first = next_pose(&state), second = next_pose(&state), both = rlv_pose_compose(&second, &first);
        rlv_vec3 point = next_vector(&state, 300.0);
        rlv_vec3 twice = rlv_pose_apply(&second, rlv_pose_apply(&first, point));
        cr_assert_leq(gap(rlv_pose_apply(&both, point), twice), ROUNDING * 2000.0); // coordinates up to about 2 m here
    }
}

Test(pose, inverse_undoes_a_pose_with_scale)
{
    uint64_t state = 5;
    for (int i = 0; i < 100; i++)
    {
        rlv_pose pose = next_pose(&state), inverse = rlv_pose_inverse(&pose);
        rlv_vec3 point = next_vector(&state, 300.0);
        cr_assert_leq(gap(rlv_pose_apply(&inverse, rlv_pose_apply(&pose, point)), point), ROUNDING * 4000.0);
    }
}

Test(pose, nudge_is_the_left_perturbation_that_the_covariance_is_over)
{
    uint64_t state = 6;
    for (int i = 0; i < 100; i++)
    {
        rlv_pose pose = next_pose(&state);
        rlv_vec3 centre = next_vector(&state, 200.0), t = next_vector(&state, 2.0), w = next_vector(&state, 0.3),
                 point = next_vector(&state, 300.0);
        double log_scale = 0.1 * next_share(&state);
        const double delta[7] = {t.x, t.y, t.z, w.x, w.y, w.z, log_scale};
        rlv_pose moved = rlv_pose_nudge(&pose, centre, delta);
        // x'' = centre + t + exp(log scale) exp([w]x) (x' - centre), as the header has it.
        rlv_vec3 arm = rlv_vec3_sub(rlv_pose_apply(&pose, point), centre);
        rlv_vec3 expected =
            rlv_vec3_along(rlv_vec3_add(centre, t), exp(log_scale), rlv_mat3_apply(rlv_rotation_from_vector(w), arm));
        cr_assert_leq(gap(rlv_pose_apply(&moved, point), expected), ROUNDING * 2000.0);
    }
}

Test(pose, nudge_keeps_centre_and_covariance)
{
    rlv_pose pose = rlv_pose_identity();
    pose.centre_mm = rlv_vec3_of(1, 2, 3);
    pose.covariance[8] = 4.0;
    rlv_pose moved = rlv_pose_nudge(&pose, rlv_vec3_of(5, 5, 5), (double[7]){1, 0, 0, 0, 0, 0.1, 0});
    cr_assert_eq(gap(moved.centre_mm, pose.centre_mm), 0.0);
    cr_assert_arr_eq(moved.covariance, pose.covariance, sizeof pose.covariance);
}

Test(pose, matrix_acts_as_the_pose_does)
{
    uint64_t state = 7;
    rlv_pose pose = next_pose(&state);
    rlv_vec3 p = next_vector(&state, 300.0);
    double m[16];
    rlv_pose_matrix(&pose, m);
    rlv_vec3 moved = {m[0] * p.x + m[1] * p.y + m[2] * p.z + m[3], m[4] * p.x + m[5] * p.y + m[6] * p.z + m[7],
                      m[8] * p.x + m[9] * p.y + m[10] * p.z + m[11]};
    cr_assert_leq(gap(moved, rlv_pose_apply(&pose, p)), ROUNDING * 2000.0);
    cr_assert(m[12] == 0.0 && m[13] == 0.0 && m[14] == 0.0 && m[15] == 1.0);
}

Test(pose, sds_are_roots_of_the_traces)
{
    rlv_pose pose = rlv_pose_identity();
    const double variance[7] = {1, 4, 4, 0.01, 0.04, 0.04, 9};
    for (int i = 0; i < 7; i++)
        pose.covariance[8 * i] = variance[i];
    cr_assert_float_eq(rlv_pose_position_sd_mm(&pose), 3.0, 1e-14);
    cr_assert_float_eq(rlv_pose_rotation_sd_deg(&pose), 0.3 * 180.0 / M_PI, 1e-13);
}

Test(pose, covariance_at_another_centre_is_that_of_the_same_small_motions)
{
    uint64_t state = 5;
    rlv_pose pose = rlv_pose_identity();
    pose.centre_mm = rlv_vec3_of(10.0, -20.0, 30.0);
    const rlv_vec3 there = rlv_vec3_of(-7.0, 40.0, 5.0), arm = rlv_vec3_sub(there, pose.centre_mm);
    // The covariance of one small motion is its product with itself: at the other centre it shifts by what it does
    // there.
    const rlv_vec3 shift = next_vector(&state, 1.0), turn = next_vector(&state, 0.01);
    const double scale = 0.003, here[7] = {shift.x, shift.y, shift.z, turn.x, turn.y, turn.z, scale};
    const rlv_vec3 moved = rlv_vec3_along(rlv_vec3_add(shift, rlv_vec3_cross(turn, arm)), scale, arm);
    const double other[7] = {moved.x, moved.y, moved.z, turn.x, turn.y, turn.z, scale};
    for (int i = 0; i < 49; i++)
        pose.covariance[i] = here[i / 7] * here[i % 7];
    const rlv_pose centred = rlv_pose_centred(&pose, there);
    cr_expect_eq(rlv_vec3_length(rlv_vec3_sub(centred.centre_mm, there)), 0.0);
    for (int i = 0; i < 49; i++)
        cr_expect_float_eq(centred.covariance[i], other[i / 7] * other[i % 7], 1e-14); // a dozen products of size 1
}

/// `count` points and their images under a pose.
static void make_points(uint64_t* state, const rlv_pose* pose, size_t count, rlv_vec3* from, rlv_vec3* to)
{
    for (size_t i = 0; i < count; i++)
    {
        from[i] = next_vector(state, 300.0);
        to[i] = rlv_pose_apply(pose, from[i]);
    }
}

Test(pose, fit_finds_a_known_motion_with_scale)
{
    uint64_t state = 8;
    for (size_t count = 4; count <= 40; count++)
    {
        rlv_vec3 from[40], to[40];
        rlv_pose truth = next_pose(&state), found;
        make_points(&state, &truth, count, from, to);
        cr_assert_eq(rlv_pose_fit(&found, count, from, to, NULL, true, NULL), RLV_DONE);
        cr_assert_leq(apart(found.rotation, truth.rotation), 16 * ROUNDING);
        cr_assert_float_eq(found.scale, truth.scale, 16 * ROUNDING);
        cr_assert_leq(gap(found.translation_mm, truth.translation_mm), 16 * ROUNDING * 1000.0);
    }
}

Test(pose, fit_without_scale_keeps_it_at_one)
{
    uint64_t state = 9;
    rlv_vec3 from[12], to[12];
    rlv_pose truth = next_pose(&state), found;
    make_points(&state, &truth, 12, from, to);
    cr_assert_eq(rlv_pose_fit(&found, 12, from, to, NULL, false, NULL), RLV_DONE);
    cr_assert_eq(found.scale, 1.0);
    cr_assert_leq(apart(found.rotation, truth.rotation), 16 * ROUNDING); // the best rotation does not depend on scale
}

Test(pose, fit_finds_turns_of_half_a_circle)
{
    uint64_t state = 10;
    for (int axis = 0; axis < 3; axis++)
    {
        rlv_vec3 from[8], to[8];
        rlv_pose truth = rlv_pose_identity(), found;
        truth.rotation =
            rlv_rotation_from_vector(rlv_vec3_of(M_PI * (axis == 0), M_PI * (axis == 1), M_PI * (axis == 2)));
        make_points(&state, &truth, 8, from, to);
        cr_assert_eq(rlv_pose_fit(&found, 8, from, to, NULL, false, NULL), RLV_DONE);
        cr_assert_leq(apart(found.rotation, truth.rotation), 16 * ROUNDING);
    }
}

Test(pose, fit_of_three_points_or_of_points_in_a_plane_is_exact)
{
    uint64_t state = 11;
    rlv_pose truth = next_pose(&state), found;
    rlv_vec3 from[6] = {{0, 0, 0}, {100, 0, 0}, {0, 70, 0}, {100, 70, 0}, {30, 20, 0}, {60, 10, 0}}, to[6];
    for (int i = 0; i < 6; i++)
        to[i] = rlv_pose_apply(&truth, from[i]);
    for (size_t count = 3; count <= 6; count += 3)
    {
        cr_assert_eq(rlv_pose_fit(&found, count, from, to, NULL, true, NULL), RLV_DONE);
        cr_assert_leq(apart(found.rotation, truth.rotation), 16 * ROUNDING);
    }
}

Test(pose, fit_stays_a_rotation_where_a_mirror_image_would_fit_better)
{
    const rlv_vec3 from[4] = {{0, 0, 0}, {10, 0, 0}, {0, 20, 0}, {0, 0, 30}};
    rlv_vec3 to[4];
    for (int i = 0; i < 4; i++)
        to[i] = rlv_vec3_of(-from[i].x, from[i].y, from[i].z);
    rlv_pose found;
    cr_assert_eq(rlv_pose_fit(&found, 4, from, to, NULL, false, NULL), RLV_DONE);
    rlv_vec3 x = rlv_mat3_apply(found.rotation, rlv_vec3_of(1, 0, 0)),
             y = rlv_mat3_apply(found.rotation, rlv_vec3_of(0, 1, 0)),
             z = rlv_mat3_apply(found.rotation, rlv_vec3_of(0, 0, 1));
    cr_assert_float_eq(rlv_vec3_dot(rlv_vec3_cross(x, y), z), 1.0, ROUNDING);
}

Test(pose, fit_is_the_least_of_the_squares_nearby)
{
    // With noise there is no exact fit: every small move away from the answer must raise the weighted sum of squares.
    uint64_t state = 12;
    rlv_vec3 from[10], to[10];
    double weight[10];
    rlv_pose truth = next_pose(&state), found;
    make_points(&state, &truth, 10, from, to);
    for (int i = 0; i < 10; i++)
    {
        to[i] = rlv_vec3_add(to[i], next_vector(&state, 5.0));
        weight[i] = 0.1 + next_share(&state);
    }
    cr_assert_eq(rlv_pose_fit(&found, 10, from, to, weight, true, NULL), RLV_DONE);
    double least = 0.0;
    for (int way = 0; way < 15; way++)
    {
        double delta[7] = {0}, sum = 0.0;
        if (way != 0)
            delta[(way - 1) / 2] = (way % 2 ? 1e-3 : -1e-3) * ((way - 1) / 2 < 3 ? 100.0 : 1.0);
        rlv_pose moved = rlv_pose_nudge(&found, found.centre_mm, delta);
        for (int i = 0; i < 10; i++)
        {
            rlv_vec3 miss = rlv_vec3_sub(rlv_pose_apply(&moved, from[i]), to[i]);
            sum += weight[i] * rlv_vec3_dot(miss, miss);
        }
        if (way == 0)
            least = sum;
        else
            cr_assert_gt(sum, least, "parameter %d can be bettered", (way - 1) / 2);
    }
}

Test(pose, fit_with_weight_nought_ignores_a_point)
{
    uint64_t state = 13;
    rlv_vec3 from[6], to[6];
    const double weight[6] = {1, 1, 1, 1, 1, 0};
    rlv_pose truth = next_pose(&state), found;
    make_points(&state, &truth, 6, from, to);
    to[5] = rlv_vec3_of(1e4, 1e4, 1e4);
    cr_assert_eq(rlv_pose_fit(&found, 6, from, to, weight, true, NULL), RLV_DONE);
    cr_assert_leq(apart(found.rotation, truth.rotation), 16 * ROUNDING);
}

Test(pose, fit_refuses_points_that_do_not_fix_a_pose)
{
    rlv_error error = {0};
    rlv_pose found;
    const rlv_vec3 line[4] = {{1, 2, 3}, {2, 4, 6}, {4, 8, 12}, {8, 16, 24}};
    const rlv_vec3 spread[4] = {{0, 0, 0}, {10, 0, 0}, {0, 20, 0}, {0, 0, 30}};
    const rlv_vec3 place[4] = {{1, 1, 1}, {1, 1, 1}, {1, 1, 1}, {1, 1, 1}};
    cr_assert_eq(rlv_pose_fit(&found, 4, line, line, NULL, false, &error), RLV_IMPOSSIBLE);
    cr_assert_neq(error.mend[0], '\0');
    cr_assert_eq(rlv_pose_fit(&found, 4, line, spread, NULL, false, NULL), RLV_IMPOSSIBLE);
    cr_assert_eq(rlv_pose_fit(&found, 4, spread, line, NULL, false, NULL), RLV_IMPOSSIBLE);
    cr_assert_eq(rlv_pose_fit(&found, 4, place, place, NULL, true, NULL), RLV_IMPOSSIBLE);
    cr_assert_eq(rlv_pose_fit(&found, 2, spread, spread, NULL, false, NULL), RLV_IMPOSSIBLE);
    const double none[4] = {0};
    cr_assert_eq(rlv_pose_fit(&found, 4, spread, spread, none, false, NULL), RLV_IMPOSSIBLE);
}

Test(pose, fit_refuses_a_line_far_from_the_origin)
{
    // The rounding of large coordinates must not pass for a spread off the line.
    rlv_vec3 line[5];
    for (int i = 0; i < 5; i++)
        line[i] = rlv_vec3_of(4.5e8 + 0.1 * i, -5.2e9 + 0.2 * i, 3e5 + 0.3 * i);
    rlv_pose found;
    cr_assert_eq(rlv_pose_fit(&found, 5, line, line, NULL, false, NULL), RLV_IMPOSSIBLE);
}

Test(pose, a_double_is_rounded_as_a_float_is)
{
    const double value[7] = {0.0, 1.0 / 3.0, -2.0 / 3.0, 1e-30, 4999.123456789, -1.0e7 / 7.0, 16777217.0};
    for (int i = 0; i < 7; i++)
    {
        volatile float kept = (float)value[i]; // the conversion itself may be left out
        cr_expect_eq(rlv_float_rounded(value[i]), (double)kept, "%.17g", value[i]);
    }
}

Test(pose, moved_mesh_has_an_origin_that_floats_hold)
{
    float at[3] = {1.0f, 2.0f, 3.0f};
    rlv_mesh mesh = {.vertex_count = 1, .position_mm = at, .origin_mm = {10.1, 20.2, 30.3}};
    rlv_pose pose = rlv_pose_identity();
    pose.translation_mm = rlv_vec3_of(1.0 / 3.0, 1.0 / 7.0, 1.0 / 9.0);
    rlv_pose_move_mesh(&pose, &mesh);
    volatile float kept[3] = {(float)mesh.origin_mm.x, (float)mesh.origin_mm.y, (float)mesh.origin_mm.z};
    cr_expect_eq((double)kept[0], mesh.origin_mm.x);
    cr_expect_eq((double)kept[1], mesh.origin_mm.y);
    cr_expect_eq((double)kept[2], mesh.origin_mm.z);
}

Test(pose, move_mesh_keeps_microns_at_a_far_origin)
{
    // A scan in a map's coordinates, 5000 km from its zero, in mm: floats of that size are 512 mm apart.
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 250.0, 12);
    mesh.origin_mm = rlv_vec3_of(4.5e8, 5.2e9, 3.0e5);
    rlv_mesh before = {0};
    cr_assert_eq(rlv_mesh_copy(&before, &mesh, NULL), RLV_DONE);
    rlv_pose pose = rlv_pose_identity();
    pose.rotation = rlv_rotation_from_vector(rlv_vec3_of(0.3, -0.2, 0.9));
    pose.translation_mm = rlv_vec3_of(12.5, -80.0, 7.0);
    rlv_pose_move_mesh(&pose, &mesh);
    // Local coordinates are rounded once to float: half a step of a number up to 250 mm plus what the rounding of the
    // new origin leaves over, up to 256 mm, on each axis. The origin's image is a sum of numbers of 5e9 mm in double,
    // rounded in both ways of computing it.
    double bound = sqrt(3.0) * (250.0 + 256.0) * FLT_EPSILON / 2 + 16 * DBL_EPSILON * 5.3e9;
    for (size_t v = 0; v < mesh.vertex_count; v++)
    {
        rlv_vec3 expected = rlv_pose_apply(&pose, rlv_mesh_vertex(&before, v));
        cr_assert_leq(gap(rlv_mesh_vertex(&mesh, v), expected), bound);
    }
    cr_assert_leq(bound, 1e-3); // a micron
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}
