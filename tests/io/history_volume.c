#include "history_parts.h"

#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

/// A block of 1,000,000 mm3 and 60,000 mm2 at two stages, one step between them.
static rlv_history block(history_stage stage[2], history_step* step)
{
    for (int k = 0; k < 2; k++)
    {
        stage[k] = (history_stage){.scale_sd = 0.0};
        stage[k].given.measures.volume_mm3 = 1e6;
        stage[k].given.measures.area_mm2 = 6e4;
        stage[k].given.health.closed = true;
    }
    *step = (history_step){.before = 0, .after = 1, .measured = true};
    return (rlv_history){.stage_count = 2, .stage = stage, .step_count = 1, .step = step};
}

Test(history_volume, a_scale_s_error_is_three_times_the_volume_s)
{
    history_stage stage[2];
    history_step step;
    const rlv_history history = block(stage, &step);
    stage[1].scale_sd = 0.001;
    const rlv_interval volume = history_stage_volume(&history, 1);
    cr_expect_float_eq(volume.high - volume.value, 1.959964 * 3.0 * 0.001 * 1e6, 1e-6);
    cr_expect_float_eq(volume.value - volume.low, volume.high - volume.value, 1e-6);
}

Test(history_volume, noise_and_warp_move_it_by_the_integral_of_their_covariance)
{
    history_stage stage[2];
    history_step step;
    const rlv_history history = block(stage, &step);
    // sd^2 = (s^2 / 2) A 2 pi l^2, s of the difference of two scans.
    step.change.noise_sd_mm = 0.14;
    step.change.noise_length_mm = 2.0;
    rlv_interval volume = history_stage_volume(&history, 0);
    cr_expect_float_eq(volume.high - volume.value, 1.959964 * sqrt(0.5 * 0.14 * 0.14 * 6e4 * 2.0 * M_PI * 4.0), 1e-6);
    // Warp longer than the block moves all of it at once: s A.
    step.change.noise_sd_mm = 0.0;
    step.change.warp_sd_mm = 0.2;
    step.change.warp_length_mm = 1000.0;
    volume = history_stage_volume(&history, 0);
    cr_expect_float_eq(volume.high - volume.value, 1.959964 * 0.2 / sqrt(2.0) * 6e4, 1e-6);
}

Test(history_volume, an_open_mesh_has_none_and_a_piece_s_triangles_may_cut_off_its_bends)
{
    history_stage stage[2];
    history_step step;
    const rlv_history history = block(stage, &step);
    stage[0].given.health.closed = false;
    cr_expect(isnan(history_stage_volume(&history, 0).value));
    history_piece piece = {.chord_mm3 = 700.0};
    piece.given.measures.volume_mm3 = 5e4;
    cr_expect(isnan(history_piece_volume(&history, &piece).value));
    piece.given.health.closed = true;
    const rlv_interval volume = history_piece_volume(&history, &piece);
    cr_expect_float_eq(volume.high - volume.value, 700.0, 1e-6);
}

Test(history_volume, what_was_not_found_leaves_room_for_what_could_not_be_told_at_all)
{
    history_step step = {.measured = true};
    rlv_change_total* bone = &step.change.total[RLV_CHANGE_BONE];
    bone->known = true;
    bone->volume_mm3.high = bone->unseen_mm3 = 0.6; // a film on hardly any bone
    step.change.limit[0] = (rlv_detection_limit){100.0, 0.4};
    double unseen;
    cr_expect_eq(history_class_volume(&unseen, &step, RLV_CHANGE_BONE).high, 40.0);
    cr_expect_eq(unseen, 40.0);
    bone->volume_mm3.high = bone->unseen_mm3 = 55.0;
    cr_expect_eq(history_class_volume(&unseen, &step, RLV_CHANGE_BONE).high, 55.0);
    // What was found has an interval of its own.
    bone->regions = 1;
    bone->volume_mm3 = (rlv_interval){3.0, 2.0, 4.5};
    bone->unseen_mm3 = 0.5;
    cr_expect_eq(history_class_volume(&unseen, &step, RLV_CHANGE_BONE).high, 4.5);
    cr_expect_eq(unseen, 0.5);
}

Test(history_volume, the_bound_of_all_steps_is_the_sum_of_theirs_in_millilitres_and_grams)
{
    static short_life life;
    short_life_fill(&life);
    for (size_t i = 0; i < 2; i++)
    {
        rlv_change_total* bone = &life.step[i].change.total[RLV_CHANGE_BONE];
        *bone = (rlv_change_total){.known = true};
        bone->volume_mm3.high = bone->unseen_mm3 = i == 0 ? 197.0 : 0.6;
        life.step[i].change.limit[0] = (rlv_detection_limit){73.0, 0.85}; // 62.05 mm³
    }
    life.history.tool_count = 0; // they are listed anew
    rlv_error error = {0};
    cr_assert_eq(history_add_up(&life.history, &error), RLV_DONE);
    const rlv_ledger_row *step = life.history.row, *all = &life.history.cumulative[1];
    cr_expect_float_eq(step[0].ml[RLV_CHANGE_BONE].high, 0.197, 1e-12);
    cr_expect_float_eq(step[1].ml[RLV_CHANGE_BONE].high, 0.06205, 1e-12);
    cr_expect_float_eq(all->ml[RLV_CHANGE_BONE].high, 0.197 + 0.06205, 1e-12);
    cr_expect_float_eq(all->g[RLV_CHANGE_BONE].high, 2.96 * (0.197 + 0.06205), 1e-12);
    free(life.history.row);
    free(life.history.cumulative);
    free(life.history.tool);
    free(life.history.rate);
}
