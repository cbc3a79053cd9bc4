#include "rejoin_several_parts.h"

#include "support/rejoining.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <string.h>

static const size_t triangles = 12000;

/// A break in parts and what is asked of it; each piece starts from the truth unless its start is taken away.
typedef struct several_case
{
    breaking_parts made;
    rlv_several_piece piece[BREAKING_PARTS];
    rlv_several_input input;
} several_case;

static void make_case_of(several_case* c, const breaking_plan* plan, size_t parts, size_t foreign)
{
    static const char* const name[] = {"lid", "plug", "wedge"};
    *c = (several_case){.made = breaking_make_parts(plan, parts, foreign)};
    for (size_t k = 1; k < parts; k++)
        c->piece[k - 1] = (rlv_several_piece){
            .mesh = &c->made.part[k], .name = name[k - 1], .parent = RLV_SEVERAL_ANY, .start = &c->made.in_block[k]};
    c->input = (rlv_several_input){.block = &c->made.part[0], .piece_count = parts - 1, .piece = c->piece};
}

static void make_case(several_case* c, uint64_t seed, size_t parts)
{
    const breaking_plan plan = breaking_draw(seed, triangles);
    make_case_of(c, &plan, parts, parts);
}

static const rlv_several_joint* joint_of(const rlv_several* s, size_t a, size_t b)
{
    for (size_t j = 0; j < s->joint_count; j++)
        if ((s->joint[j].into == a && s->joint[j].from == b) || (s->joint[j].into == b && s->joint[j].from == a))
            return &s->joint[j];
    return NULL;
}

/// Within what 95 % of 60 breaks stayed below by their faces alone (rejoin_several_long.c): 0.5 mm and 1 degree are the
/// bounds of one joint without a stage from before (rejoin.c).
static void expect_place(const rlv_several* s, const breaking_parts* made)
{
    for (size_t k = 1; k < s->body_count; k++)
    {
        double mm, deg;
        cr_assert(s->body[k].placed, "%zu: %s", k, s->body[k].why);
        rejoining_apart(&s->body[k].pose, &made->in_block[k], &mm, &deg);
        cr_expect(mm < 0.5 && deg < 1.0, "body %zu: %.3f mm %.3f deg", k, mm, deg);
        // 99.9 % of a chi-square of six degrees.
        cr_expect_lt(rejoining_chi2(&s->body[k].pose, &made->in_block[k]), 22.5, "body %zu", k);
    }
}

Test(rejoin_several, pieces_that_nobody_knows_the_order_of_go_back_and_close_their_ring)
{
    static several_case c;
    make_case(&c, 5001, 3);
    c.piece[0].start = c.piece[1].start = NULL;
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_DONE, "%s", error.what);
    expect_place(&s, &c.made);
    cr_assert_eq(s.joint_count, 3);
    cr_assert_eq(s.ring_count, 1);
    cr_expect_eq(s.ring[0].body_count, 3);
    cr_expect_gt(s.ring[0].p, RLV_SEVERAL_WRONG_P);
    cr_expect(s.ring[0].expected_mm > 0.0 && s.ring[0].expected_deg > 0.0);
    for (size_t j = 0; j < 3; j++)
    {
        cr_expect_eq(s.joint[j].carries, j < 2);
        cr_expect(s.joint[j].counted && s.joint[j].together_known && !s.joint[j].rejected);
    }
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
}

/// Scans so coarse that a hundredth of a sound joint presses by over 3 sds of a spot: it is not held apart for that,
/// and its ring closes.
Test(rejoin_several, a_ring_of_coarse_scans_closes)
{
    static several_case c;
    make_case(&c, 5001, 3);
    c.piece[0].start = c.piece[1].start = NULL;
    c.piece[0].parent = 0; // each off the one before it round the ring
    c.piece[1].parent = 1;
    c.input.seed = 5001;
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_DONE, "%s", error.what);
    expect_place(&s, &c.made);
    for (size_t j = 0; j < s.joint_count; j++)
        cr_expect(s.joint[j].counted && !(s.joint[j].of.held_apart_mm > 0.0), "%zu on %zu", s.joint[j].from,
                  s.joint[j].into);
    cr_assert_eq(s.ring_count, 1);
    cr_expect_gt(s.ring[0].p, RLV_SEVERAL_WRONG_P);
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
}

Test(rejoin_several, four_quarters_are_one_ring_and_those_that_meet_in_an_edge_are_no_neighbours)
{
    static several_case c;
    make_case(&c, 5002, 4);
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_DONE, "%s", error.what);
    expect_place(&s, &c.made);
    cr_expect_null(joint_of(&s, 0, 2));
    cr_expect_null(joint_of(&s, 1, 3));
    cr_assert_eq(s.ring_count, 1);
    cr_assert_eq(s.ring[0].body_count, 4);
    cr_expect_eq(s.ring[0].body[0], s.joint[s.ring[0].joint].from);
    cr_expect_eq(s.ring[0].body[3], s.joint[s.ring[0].joint].into);
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
}

Test(rejoin_several, a_tree_without_a_ring_is_what_its_joints_are)
{
    static several_case c;
    make_case(&c, 5002, 4);
    c.input.piece_count = 2; // the last quarter is missing: block, lid, plug in a row
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(s.joint_count, 2);
    cr_expect_eq(s.ring_count, 0);
    for (size_t k = 1; k <= 2; k++)
    {
        double mm, deg;
        rejoining_apart(&s.body[k].pose, &s.body[k].in_turn, &mm, &deg);
        cr_expect(mm < 1e-9 && deg < 1e-9); // rounding of coordinates of 300 mm
    }
    // The first is as sure as its joint; the second as both together, at its own.
    const rlv_pose *first = &s.joint[0].of.closed, *second = &s.joint[1].of.closed;
    const rlv_pose at_second = rlv_pose_centred(first, s.joint[1].of.joint_mm),
                   own = rlv_pose_centred(second, s.joint[1].of.joint_mm);
    cr_assert(s.joint[1].into == s.joint[0].from);
    for (int i = 0; i < 6; i++)
        cr_expect_float_eq(s.body[s.joint[1].from].pose.covariance[8 * i],
                           RLV_SEVERAL_SCATTER * (at_second.covariance[8 * i] + own.covariance[8 * i]),
                           1e-6 * own.covariance[8 * i]); // two inverses of a matrix of condition 1e5
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
}

Test(rejoin_several, a_piece_that_was_mended_out_of_shape_does_not_close_its_ring)
{
    static several_case c;
    make_case(&c, 5001, 3);
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_DONE, "%s", error.what);
    const rlv_several_joint *block = joint_of(&s, 0, 2), *lid = joint_of(&s, 1, 2);
    cr_assert(block != NULL && lid != NULL);
    rejoining_bend(&c.made.part[2], &c.made.in_block[2], &block->of, &lid->of, 3.0);
    rlv_several_free(&s);
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(s.ring_count, 1);
    cr_expect_lt(s.ring[0].p, RLV_SEVERAL_WRONG_P);
    // It is bent by 3 degrees, and each joint of three is sure to less than one (rejoin.h: else it is loose at 0.5).
    cr_expect_float_eq(s.ring[0].miss_deg, 3.0, 1.0, "%.2f deg", s.ring[0].miss_deg);
    cr_expect_gt(s.ring[0].miss_deg, 2.0 * s.ring[0].expected_deg);
    // One ring cannot tell which of its joints it is.
    cr_expect(s.contradictory && s.inflated);
    for (size_t j = 0; j < s.joint_count; j++)
        cr_expect(s.joint[j].suspect && !s.joint[j].rejected);
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
}

/// Of three parts the plug has a face of another break against the lid; both are right against the block. Steep relief
/// that does not match lies deep in the neighbour here and there; a flatter one only does not fit.
static void make_foreign(several_case* c, double slope)
{
    breaking_plan plan = breaking_draw(5001, triangles);
    plan.slope = slope;
    make_case_of(c, &plan, 3, 2);
    c->piece[0].parent = c->piece[1].parent = 0;
}

Test(rejoin_several, a_neighbour_whose_face_is_of_another_break_is_told)
{
    static several_case c;
    make_foreign(&c, 0.2);
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_DONE, "%s", error.what);
    const rlv_several_joint* joint = joint_of(&s, 1, 2);
    cr_assert_not_null(joint);
    cr_expect_eq(joint->of.verdict, RLV_REJOIN_NONE);
    cr_expect_gt(strlen(joint->of.reason), 0);
    cr_expect(!joint->counted && !joint->carries);
    cr_expect_eq(s.ring_count, 0);
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
}

Test(rejoin_several, a_piece_that_would_lie_in_another_is_not_placed)
{
    static several_case c;
    make_foreign(&c, 0.5);
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "it would come to lie where"), "%s", error.what);
    cr_expect_neq(s.body[1].placed, s.body[2].placed);
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
}

Test(rejoin_several, a_second_scan_of_a_piece_is_not_placed_where_the_first_lies)
{
    static several_case c;
    make_case(&c, 5001, 3);
    rlv_mesh again = {0};
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_copy(&again, c.piece[0].mesh, &error), RLV_DONE);
    c.piece[1] = c.piece[0];
    c.piece[1].mesh = &again;
    c.piece[1].name = "lid again";
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "'lid again' could not be placed"), "%s", error.what);
    cr_expect_not_null(strstr(error.what, "where 'lid' lies"), "%s", error.what);
    cr_expect(s.body[1].placed && !s.body[2].placed); // what is known is told
    cr_expect_eq(s.joint_count, 1);
    rlv_several_free(&s);
    rlv_mesh_free(&again);
    breaking_parts_free(&c.made);
}

Test(rejoin_several, a_piece_of_another_block_is_left_out_and_said_why)
{
    static several_case c, other;
    make_case(&c, 5001, 3);
    make_case(&other, 5003, 3);
    rlv_several s;
    rlv_error error = {0};
    c.piece[1].mesh = &other.made.part[1];
    cr_assert_eq(rlv_rejoin_several(&s, &c.input, &error), RLV_IMPOSSIBLE);
    cr_expect(s.body[1].placed && !s.body[2].placed);
    cr_expect_gt(strlen(s.body[2].why), 0);
    cr_expect_gt(strlen(error.mend), 0);
    rlv_several_free(&s);
    breaking_parts_free(&c.made);
    breaking_parts_free(&other.made);
}

/// A box of many triangles, each split in four `times` over.
static rlv_mesh fine_box(rlv_vec3 low, rlv_vec3 high, int times)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, low, high);
    for (int k = 0; k < times; k++)
    {
        static const int from[6][2] = {{0, 0}, {1, 1}, {2, 2}, {0, 1}, {1, 2}, {2, 0}};
        static const uint32_t part[4][3] = {{0, 3, 5}, {3, 1, 4}, {5, 4, 2}, {3, 4, 5}};
        rlv_mesh finer = {0};
        for (size_t t = 0; t < mesh.triangle_count; t++)
        {
            float position[18];
            for (size_t i = 0; i < 18; i++)
                position[i] = 0.5f * (mesh.position_mm[3 * mesh.corner[3 * t + (size_t)from[i / 3][0]] + i % 3] +
                                      mesh.position_mm[3 * mesh.corner[3 * t + (size_t)from[i / 3][1]] + i % 3]);
            shape_add(&finer, 6, position, 4, &part[0][0]);
        }
        rlv_mesh_health health;
        cr_assert_eq(rlv_mesh_mend(&finer, &health, NULL), RLV_DONE);
        rlv_mesh_free(&mesh);
        mesh = finer;
    }
    return mesh;
}

/// Put a lid back on a block, nobody says where it came off.
static void expect_not_placed(const rlv_mesh* block, const rlv_mesh* lid, const rlv_pose* start)
{
    const rlv_rejoin_input input = {.block = block, .piece = lid, .start = start};
    const rlv_several_piece piece = {.mesh = lid, .name = "lid", .parent = RLV_SEVERAL_ANY, .start = start};
    const rlv_several_input all = {.block = block, .piece_count = 1, .piece = &piece};
    rlv_several_joint joint = {.into = 0, .from = 1};
    rlv_several s;
    rlv_error error = {0};
    cr_assert_eq(rlv_rejoin_measure(&joint.of, &input, &error), RLV_DONE, "%s", error.what);
    cr_expect_lt(joint.of.relief_mm, RLV_REJOIN_LEAST_RELIEF_MM);
    cr_expect(!rlv_several_joint_tells(&joint), "fit %g, sd %g mm", joint.of.fit,
              rlv_pose_position_sd_mm(&joint.of.closed));
    joint.of.found_known = true; // by the stage from before
    cr_expect(rlv_several_joint_tells(&joint));
    rlv_rejoin_free(&joint.of);
    cr_expect_eq(rlv_rejoin_several(&s, &all, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "'lid' could not be placed"), "%s", error.what);
    rlv_several_free(&s);
}

Test(rejoin_several, planes_as_scanned_hold_no_piece)
{
    static several_case c;
    breaking_plan plan = breaking_draw(5001, triangles);
    plan.slope = plan.worn_mm = plan.rim_mm = plan.grains = 0.0;
    plan.hollows = 0;
    make_case_of(&c, &plan, 3, 3);
    expect_not_placed(c.input.block, c.piece[0].mesh, c.piece[0].start);
    breaking_parts_free(&c.made);
}

Test(rejoin_several, planes_to_the_last_digit_hold_no_piece)
{
    rlv_mesh block = fine_box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(80, 60, 30), 5),
             lid = fine_box(rlv_vec3_of(0, 0, 30), rlv_vec3_of(80, 60, 50), 5);
    const rlv_pose there = rlv_pose_identity();
    // As they are cut, and cut across the mesh's axes, where coordinates round.
    expect_not_placed(&block, &lid, &there);
    rlv_pose turn = rlv_pose_identity();
    turn.rotation = rlv_rotation_from_vector(rlv_vec3_of(0.3, -0.5, 0.7));
    rlv_pose_move_mesh(&turn, &block);
    rlv_pose_move_mesh(&turn, &lid);
    expect_not_placed(&block, &lid, &there);
    rlv_mesh_free(&lid);
    rlv_mesh_free(&block);
}

/// The rule itself: no relief and no bound tell nothing; either is enough.
Test(rejoin_several, faces_without_relief_tell_only_where_they_hold)
{
    rlv_several_joint joint = {.of = {.verdict = RLV_REJOIN_LOOSE, .fit = 0.9, .closed = rlv_pose_identity()}};
    joint.of.relief_mm = 0.5 * RLV_REJOIN_LEAST_RELIEF_MM;
    joint.of.closed.covariance[0] = 100.0 * 100.0;
    cr_expect(!rlv_several_joint_tells(&joint));
    joint.of.relief_mm = 2.0 * RLV_REJOIN_LEAST_RELIEF_MM;
    cr_expect(rlv_several_joint_tells(&joint));
    joint.of.relief_mm = 0.5 * RLV_REJOIN_LEAST_RELIEF_MM;
    joint.of.closed.covariance[0] = 0.1 * 0.1;
    cr_expect(rlv_several_joint_tells(&joint));
    joint.of.fit = 0.5 * RLV_REJOIN_LEAST_FIT;
    cr_expect(!rlv_several_joint_tells(&joint));
}

static void expect_refused(const rlv_several_input* input, const char* what)
{
    rlv_several s;
    rlv_error error = {0};
    cr_expect_eq(rlv_rejoin_several(&s, input, &error), RLV_BAD_INPUT, "%s", what);
    cr_expect_not_null(strstr(error.what, what), "'%s' lacks '%s'", error.what, what);
    cr_expect_gt(strlen(error.mend), 0);
    rlv_several_free(&s);
}

Test(rejoin_several, what_is_no_block_with_pieces_is_refused)
{
    rlv_mesh block = {0}, one = {0}, two = {0}, none = {0};
    shape_add_box(&block, rlv_vec3_of(0, 0, 0), rlv_vec3_of(30, 30, 30));
    shape_add_box(&one, rlv_vec3_of(0, 0, 0), rlv_vec3_of(10, 10, 10));
    shape_add_box(&two, rlv_vec3_of(0, 0, 0), rlv_vec3_of(12, 10, 10));
    rlv_several_piece piece[2] = {{.mesh = &one, .name = "lid", .parent = 2},
                                  {.mesh = &two, .name = "plug", .parent = 1}};
    const rlv_several_input input = {.block = &block, .piece_count = 2, .piece = piece}, no_piece = {.block = &block};
    expect_refused(&no_piece, "no piece");
    expect_refused(&input, "come off itself");
    piece[0].parent = 1;
    expect_refused(&input, "come off itself");
    piece[0].parent = 3;
    expect_refused(&input, "body 3, which is none");
    piece[0].parent = 0;
    piece[1].mesh = &one;
    expect_refused(&input, "'lid' and 'plug' are one mesh");
    piece[1].mesh = &block;
    expect_refused(&input, "'plug' is the block itself");
    piece[1].mesh = &none;
    expect_refused(&input, "'plug' has no triangle");
    rlv_mesh_free(&block);
    rlv_mesh_free(&one);
    rlv_mesh_free(&two);
}

Test(rejoin_several, same_bytes_for_any_thread_count)
{
    static several_case c;
    make_case(&c, 5001, 3);
    rlv_several s[2];
    rlv_error error = {0};
    for (int k = 0; k < 2; k++)
    {
        omp_set_num_threads(1 + 2 * k);
        cr_assert_eq(rlv_rejoin_several(&s[k], &c.input, &error), RLV_DONE, "%s", error.what);
    }
    for (size_t k = 0; k < 3; k++)
        cr_expect_eq(memcmp(&s[0].body[k].pose, &s[1].body[k].pose, sizeof(rlv_pose)), 0);
    cr_expect_eq(memcmp(&s[0].ring[0].p, &s[1].ring[0].p, sizeof(double)), 0);
    cr_expect_eq(memcmp(&s[0].joint[2].together, &s[1].joint[2].together, sizeof(rlv_rejoin_gap)), 0);
    rlv_several_free(&s[0]);
    rlv_several_free(&s[1]);
    breaking_parts_free(&c.made);
}
