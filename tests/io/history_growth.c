/// Tests of a block that grew where it was carved.

#include "history_growth.h"

#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static short_life life;
static rlv_answer answer;

static void set_up(void)
{
    record_watch();
    short_life_fill(&life);
    answer = (rlv_answer){.warnings = json_array()};
}

static void tear_down(void)
{
    json_decref(answer.warnings);
}

TestSuite(history_growth, .init = set_up, .fini = tear_down);

static const char* warned(void)
{
    history_warn_of_growth(&life.history, &answer);
    const char* text = json_string_value(json_array_get(answer.warnings, 0));
    return text != NULL ? text : "";
}

/// Exchange what went and what came at the second step, as two meshes in each other's place have it.
static void swap_second(void)
{
    rlv_change_total* total = life.step[1].change.total;
    total[RLV_CHANGE_ADDED] = total[RLV_CHANGE_REMOVED];
    total[RLV_CHANGE_REMOVED] = (rlv_change_total){.known = true, .volume_mm3 = {0.0, 0.0, 340.0}};
    total[RLV_CHANGE_DETACHED] = (rlv_change_total){.known = true};
}

Test(history_growth, a_block_that_was_carved_and_lost_is_not_warned_of)
{
    cr_expect_str_eq(warned(), "");
}

Test(history_growth, a_block_that_grew_with_nothing_recorded_as_added_is_warned_of)
{
    swap_second();
    life.specimen.stage[1].mass = life.specimen.stage[2].mass = NULL;
    const char* said = warned();
    cr_expect_eq(json_array_size(answer.warnings), 1);
    cr_expect_not_null(strstr(said, "from skull to cleaned the block grew by 309.0 mL"), "%s", said);
    cr_expect_not_null(strstr(said, "nothing that was added"), "%s", said);
}

Test(history_growth, growth_within_what_treatments_left_is_none)
{
    double dry_g = 1.15 * 400.0, little_g = 2.0;
    rlv_density_record density[] = {life.density[0], life.density[1], {(char*)"resin", 1.15, 0.0, NULL}};
    rlv_treatment_record filled = {.what = (char*)"gap fill", .material = (char*)"resin", .dry_g = &dry_g};
    swap_second();
    life.specimen.stage[1].mass = life.specimen.stage[2].mass = NULL;
    life.specimen.density = density;
    life.specimen.density_count = 3;
    life.stage[2].treatment = &filled;
    life.stage[2].treatment_count = 1;
    cr_expect_float_eq(history_brought_mm3(&life.history, 1), 400000.0, 1e-6);
    cr_expect_str_eq(warned(), "");
    filled.dry_g = &little_g;
    cr_expect_not_null(strstr(warned(), "what the record says was added is less"));
}

Test(history_growth, what_was_brought_without_a_figure_could_be_all_of_it_unless_the_scales_say_no)
{
    rlv_treatment_record filled = {.what = (char*)"gap fill", .material = (char*)"plaster"};
    swap_second();
    life.stage[2].treatment = &filled;
    life.stage[2].treatment_count = 1;
    cr_expect(isinf(history_brought_mm3(&life.history, 1)));
    cr_expect_not_null(strstr(warned(), "became lighter")); // 25098.5 g and then 24700 g
    json_array_clear(answer.warnings);
    life.mass[2].grams = 25098.0; // lighter by less than both weighings are unsure
    cr_expect_str_eq(warned(), "");
}

Test(history_growth, a_piece_that_went_back_is_no_growth)
{
    swap_second();
    life.step[1].change.total[RLV_CHANGE_JOINED] = life.step[1].change.total[RLV_CHANGE_ADDED];
    life.step[1].change.total[RLV_CHANGE_ADDED] = (rlv_change_total){.known = true, .volume_mm3 = {0.0, 0.0, 340.0}};
    cr_expect_str_eq(warned(), "");
}

Test(history_growth, a_piece_that_went_back_onto_one_that_is_off_the_block_explains_nothing)
{
    rlv_piece_record piece[] = {
        life.piece,
        {.id = (char*)"chip", .detached = (char*)"skull", .joined = (char*)"cleaned", .parent = (char*)"slab A"}};
    life.specimen.piece = piece;
    life.specimen.piece_count = 2;
    swap_second();
    life.specimen.stage[1].mass = life.specimen.stage[2].mass = NULL;
    life.step[1].change.total[RLV_CHANGE_JOINED] = (rlv_change_total){.known = false};
    cr_expect_eq(history_brought_mm3(&life.history, 1), 0.0);
    cr_expect_not_null(strstr(warned(), "nothing that was added"));
    json_array_clear(answer.warnings);
    piece[1].parent = NULL; // back onto the block itself
    cr_expect(isinf(history_brought_mm3(&life.history, 1)));
    cr_expect_str_eq(warned(), "");
}

Test(history_growth, a_stage_that_is_dated_before_the_one_that_it_follows_is_warned_of)
{
    life.stage[2].date = (char*)"2031-06";
    cr_expect_str_eq(warned(), "", "the same month may be later");
    life.stage[2].date = (char*)"2031-05-30/2031-06-02";
    cr_expect_not_null(strstr(warned(), "cleaned is dated 2031-05-30/2031-06-02, before"));
}
