#include "history_view.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static char first_id[] = "field", second_id[] = "Feld";

/// Two stages in one frame; the second is turned about z by a quarter, so that its x is the block's y.
typedef struct two_joined
{
    rlv_stage_record record[2];
    double up[3], north[3];
    rlv_direction_record up_record, north_record;
    rlv_specimen specimen;
    history_stage stage[2];
    rlv_pose pose[2];
    history_step step[1];
    rlv_history history;
} two_joined;

static void join(two_joined* made)
{
    *made = (two_joined){.record = {{.id = first_id}, {.id = second_id}}, .up = {0, 0, 2}, .north = {0, 3, 0}};
    made->up_record = (rlv_direction_record){first_id, 3, made->up};
    made->north_record = (rlv_direction_record){first_id, 3, made->north};
    made->specimen =
        (rlv_specimen){.stage_count = 2, .stage = made->record, .up = &made->up_record, .north = &made->north_record};
    for (size_t i = 0; i < 2; i++)
        made->stage[i].record = &made->record[i];
    made->pose[0] = rlv_pose_identity();
    made->pose[1] = rlv_pose_identity();
    made->pose[1].rotation = rlv_rotation_from_vector(rlv_vec3_of(0, 0, M_PI_2));
    made->history = (rlv_history){.specimen = &made->specimen,
                                  .stage_count = 2,
                                  .stage = made->stage,
                                  .step_count = 1,
                                  .step = made->step,
                                  .joined = true};
    made->history.stages.stage_count = 2;
    made->history.stages.pose = made->pose;
}

static void cr_same(rlv_vec3 a, double x, double y, double z)
{
    // Directions of length one, turned twice in double.
    cr_assert(rlv_vec3_length(rlv_vec3_sub(a, rlv_vec3_of(x, y, z))) < 1e-12, "%g %g %g", a.x, a.y, a.z);
}

Test(history_view, the_upper_side_has_north_at_the_top_in_the_frame_of_every_stage)
{
    two_joined made;
    history_view view;
    rlv_error error = {0};
    join(&made);
    cr_assert_eq(history_view_find(&view, &made.history, 0, "upper", &error), RLV_DONE);
    cr_same(view.axes.towards, 0, 0, 1);
    cr_same(view.axes.up, 0, 1, 0);
    // The block's y is the second stage's x.
    cr_assert_eq(history_view_find(&view, &made.history, 1, NULL, &error), RLV_DONE);
    cr_same(view.axes.towards, 0, 0, 1);
    cr_same(view.axes.up, 1, 0, 0);
    cr_assert_str_eq(view.key, "upper");
    // North is one of the axes, and is not drawn over it.
    cr_assert_eq(view.direction_count, 3);
    cr_same(view.direction[1].way, 1, 0, 0);
}

Test(history_view, who_stands_in_the_east_sees_north_on_the_right)
{
    two_joined made;
    history_view view;
    rlv_error error = {0};
    join(&made);
    cr_assert_eq(history_view_find(&view, &made.history, 0, "90,0", &error), RLV_DONE);
    cr_same(view.axes.towards, 1, 0, 0);
    cr_same(view.axes.up, 0, 0, 1);
    cr_same(view.axes.right, 0, 1, 0);
    cr_assert_str_eq(view.key, "az90-el0");
}

Test(history_view, without_up_the_usual_view_is_against_z_where_nothing_was_measured)
{
    two_joined made;
    history_view view;
    rlv_error error = {0};
    join(&made);
    made.specimen.up = NULL;
    cr_assert_eq(history_view_find(&view, &made.history, 0, NULL, &error), RLV_DONE);
    cr_same(view.axes.towards, 0, 0, 1);
    cr_assert_eq(history_view_find(&view, &made.history, 0, "upper", &error), RLV_BAD_INPUT);
    cr_assert_not_null(strstr(error.mend, "record up"));
}

Test(history_view, a_direction_does_not_reach_a_stage_that_is_not_joined)
{
    two_joined made;
    history_view view;
    rlv_error error = {0};
    join(&made);
    made.history.joined = false;
    cr_assert_eq(history_view_find(&view, &made.history, 0, "upper", &error), RLV_DONE);
    cr_assert_eq(history_view_find(&view, &made.history, 1, "upper", &error), RLV_IMPOSSIBLE);
    cr_assert_not_null(strstr(error.what, "not joined"));
    // The step between them carries it.
    made.step[0] = (history_step){.after = 1, .measured = true};
    made.step[0].change.alignment.pose = made.pose[1];
    cr_assert_eq(history_view_find(&view, &made.history, 1, "upper", &error), RLV_DONE);
    cr_same(view.axes.up, 1, 0, 0);
}

Test(history_view, names_are_known_and_numbers_are_in_their_bounds)
{
    static const char* const good[] = {"upper", "dorsal", "left-lateral", "0,90", "359.5,-12.25"};
    static const char* const bad[] = {"", "above", "45", "45,", ",30", "361,0", "0,91", "45,30,2", "nan,0", "45;30"};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++)
        cr_assert(history_view_known(good[i]), "%s", good[i]);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_assert_not(history_view_known(bad[i]), "%s", bad[i]);
}

Test(history_view, a_side_of_the_block_without_a_body_is_named_by_the_compass)
{
    two_joined made;
    join(&made);
    cr_assert_str_eq(history_view_side(&made.history, 0, rlv_vec3_of(0.1, 0.9, 0)), "the north side");
    cr_assert_str_eq(history_view_side(&made.history, 0, rlv_vec3_of(0.9, 0.1, 0)), "the east side");
    cr_assert_str_eq(history_view_side(&made.history, 0, rlv_vec3_of(-0.9, 0.1, 0)), "the west side");
    made.specimen.north = NULL;
    cr_assert_null(history_view_side(&made.history, 0, rlv_vec3_of(0, 1, 0)));
}
