/// Tests of the parameters that a report's record keeps: all of them, read off what was measured.

#include "history_parts.h"

#include "support/short_life.h"
#include "support/told.h"

#include <criterion/criterion.h>

static short_life life;
static json_t* parameters;

static void set_up(void)
{
    record_watch();
    short_life_fill(&life);
    parameters = json_object();
}

static void tear_down(void)
{
    json_decref(parameters);
}

TestSuite(history_parameters, .init = set_up, .fini = tear_down);

static const json_t* row(const char* list, size_t i)
{
    const json_t* found = json_array_get(json_object_get(parameters, list), i);
    cr_assert_not_null(found, "%s has no entry %zu", list, i);
    return found;
}

Test(history_parameters, a_step_tells_its_pitch_and_threshold_and_an_alignment_what_it_began_from)
{
    life.step[0].change.pitch_mm = 0.417;
    life.step[0].change.seed_sd = 4.9;
    life.edge[1].start_ties = 5;
    life.read[2].scale_sd = 3e-4;
    history_record_parameters(parameters, &life.history);
    cr_expect_str_eq(told_text(row("steps", 0), "to"), "skull");
    cr_expect_float_eq(told_number(row("steps", 0), "pitch_mm"), 0.417, 0.0);
    cr_expect_float_eq(told_number(row("steps", 0), "seed_sd"), 4.9, 0.0);
    cr_expect(json_is_true(json_object_get(row("steps", 0), "bone_marked")));
    cr_expect_eq((int)told_number(row("steps", 1), "pieces_marked"), 1);
    cr_expect_eq((int)told_number(row("alignments", 0), "tie_points"), 0);
    cr_expect_eq((int)told_number(row("alignments", 1), "tie_points"), 5);
    cr_expect_float_eq(told_number(row("alignments", 1), "scale_sd"), 2e-4, 0.0);
    cr_expect_float_eq(told_number(row("alignments", 1), "scale_sd_after"), 3e-4, 0.0);
    cr_expect_eq((int)told_number(row("alignments", 1), "seed"), 0);
}

Test(history_parameters, what_is_defaulted_is_said)
{
    rlv_unit unit = RLV_UNIT_MM;
    double sd = 2e-4;
    life.stage[1].mesh.unit = life.stage[2].mesh.unit = &unit;
    life.stage[2].mesh.scale_sd = &sd;
    history_record_parameters(parameters, &life.history);
    cr_expect(json_is_true(json_object_get(parameters, "frame_stage_defaulted")));
    cr_expect_str_eq(told_text(row("stages", 0), "scale_from"), "scale bars");
    cr_expect_str_eq(told_text(row("stages", 1), "scale_from"), "unit, taken as exact");
    cr_expect_str_eq(told_text(row("stages", 2), "scale_from"), "unit and scale_sd");
    life.specimen.frame_stage = (char*)"field";
    json_object_clear(parameters);
    history_record_parameters(parameters, &life.history);
    cr_expect(json_is_false(json_object_get(parameters, "frame_stage_defaulted")));
}

Test(history_parameters, a_step_that_was_not_measured_chose_nothing)
{
    life.step[1] = (history_step){.before = 1, .after = 2, .why = "no common surface"};
    history_record_parameters(parameters, &life.history);
    cr_expect(json_is_null(json_object_get(row("steps", 1), "pitch_mm")));
    cr_expect(json_is_null(json_object_get(row("steps", 1), "seed_sd")));
}

Test(history_parameters, thresholds_are_those_that_the_measurement_uses)
{
    history_record_parameters(parameters, &life.history);
    const json_t* thresholds = json_object_get(parameters, "thresholds");
    cr_expect_float_eq(told_number(thresholds, "region_seed_sd"), 4.5, 0.0);      // as core/regions.h says in words
    cr_expect_float_eq(told_number(thresholds, "cells_across"), 700.0, 0.0);      // docs/methods.md, columns
    cr_expect_float_eq(told_number(thresholds, "scale_point_sd_mm"), 0.3, 0.0);   // core/scale.h
    cr_expect_float_eq(told_number(thresholds, "alignment_wrong_p"), 0.001, 0.0); // core/stages.h
    cr_expect_float_eq(told_number(thresholds, "alignment_settling_sd_mm"), 0.03, 0.0);
    cr_expect_eq(json_object_size(thresholds), 18);
}
