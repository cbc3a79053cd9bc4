#include "history.h"

#include <criterion/criterion.h>
#include <math.h>

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
