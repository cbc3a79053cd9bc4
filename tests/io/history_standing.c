// How a block stands: the middle of its volume, and how far the middle of its mass may lie from that.

#include "history.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(history_standing);

Test(history_standing, the_middle_of_the_mass_is_bounded_by_what_weight_and_volume_differ_by)
{
    // A box of 400 by 300 by 100 mm: its corners lie 255 mm from its middle.
    float corner[24];
    for (int i = 0; i < 8; i++)
    {
        corner[3 * i] = i & 1 ? 400.0f : 0.0f;
        corner[3 * i + 1] = i & 2 ? 300.0f : 0.0f;
        corner[3 * i + 2] = i & 4 ? 100.0f : 0.0f;
    }
    double vector[] = {0.0, 0.0, 1.0};
    rlv_direction_record up = {.stage = (char*)"s", .count = 3, .vector = vector};
    rlv_display_record display = {.up = &up};
    rlv_mass_record mass = {30000.0, 0.0}; // of 12,000 mL
    rlv_density_record matrix = {.material = (char*)"matrix", .g_cm3 = 2.4};
    rlv_stage_record record = {.id = (char*)"s", .mass = &mass};
    rlv_specimen specimen = {
        .stage_count = 1, .stage = &record, .density_count = 1, .density = &matrix, .display = &display};
    history_stage stage = {.record = &record,
                           .mm_per_unit = 1.0,
                           .given = {.mesh = {.vertex_count = 8, .position_mm = corner},
                                     .health = {.closed = true},
                                     .measures = {.volume_mm3 = 12e6, .centroid_mm = {200.0, 150.0, 50.0}}}};
    const rlv_history history = {.specimen = &specimen, .stage_count = 1, .stage = &stage};
    history_standing s = history_standing_of(&history);
    cr_assert(s.known);
    cr_assert(s.centre_known);
    cr_expect_eq(s.centre_mm.x, 200.0);
    cr_expect_float_eq(s.whole_g_cm3, 2.5, 1e-12);
    // 2.5 where matrix has 2.4: a share of 0.04 of the mass, of sds of nothing, at a corner at the farthest.
    const double reach = sqrt(200.0 * 200.0 + 150.0 * 150.0 + 50.0 * 50.0);
    cr_expect_float_eq(s.drawn_mm, 0.04 * reach, 1e-3);
    matrix.sd_g_cm3 = 0.024; // 1 %, of a share of 0.96
    s = history_standing_of(&history);
    cr_expect_float_eq(s.drawn_mm, (0.04 + RLV_HALF_95 * 0.0096) * reach, 1e-3);
    specimen.density_count = 0;
    s = history_standing_of(&history);
    cr_expect(s.centre_known && isnan(s.drawn_mm));
    stage.given.health.closed = false; // without a volume there is no middle of it
    cr_expect_not(history_standing_of(&history).centre_known);
}
