/// Tests of what a report says in sentences.

#include "report_words.h"

#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static short_life life;

static void set_up(void)
{
    short_life_fill(&life);
}

TestSuite(report_words, .init = set_up);

static const char* line(const report_lines* lines, const char* name)
{
    for (size_t i = 0; i < lines->count; i++)
        if (strcmp(lines->line[i].name, name) == 0)
            return lines->line[i].words.text;
    return "";
}

#define SAYS(lines, name, words)                                                                                       \
    cr_expect(strstr(line(&(lines), name), words) != NULL, "%s: %s", name, line(&(lines), name))

Test(report_words, bone_lost_is_told_first_with_its_step_and_alarms)
{
    const report_lines lines = report_summary(&life.history);
    cr_expect_str_eq(lines.line[0].name, "Bone lost");
    cr_expect(lines.line[0].alarm);
    SAYS(lines, "Bone lost", "in 1 region of bone that showed: field → skull 0.4 mL");
}

Test(report_words, bone_that_was_not_lost_is_told_with_what_could_lie_below_the_limit)
{
    const report_lines lines = report_step(&life.history, 1);
    SAYS(lines, "Bone lost",
         "none that can be told from noise, of bone that showed and was marked; at most 0.34 mL"); // the 340 mm³ of its
                                                                                                   // step
    cr_expect_not(lines.line[0].alarm);
}

Test(report_words, elements_in_the_spoil_stand_beside_bone_lost_and_count_as_matrix)
{
    rlv_element_record element[] = {
        {.id = (char*)"LR20", .bag = (char*)"S1"}, {.id = (char*)"LL31", .bag = (char*)"S2"}, {.id = (char*)"D01"}};
    report_lines lines = report_summary(&life.history);
    cr_expect_null(strstr(line(&lines, "Bone lost"), "spoil"));
    life.specimen.element = element;
    life.specimen.element_count = 3;
    lines = report_summary(&life.history);
    SAYS(lines, "Bone lost",
         "2 elements are recorded from the spoil, LR20 (bag S1), LL31 (bag S2): what of them had not shown counts as "
         "matrix");
    lines = report_step(&life.history, 1);
    SAYS(lines, "Bone lost", "1 element is recorded from the spoil, LL31 (bag S2): what of it had not shown");
}

Test(report_words, what_was_not_found_leaves_room_for_what_could_not_be_told_at_all)
{
    life.step[1].change.total[RLV_CHANGE_BONE].volume_mm3 = (rlv_interval){0.0, 0.0, 0.0};
    life.row[1].ml[RLV_CHANGE_BONE] = life.row[1].g[RLV_CHANGE_BONE] = (rlv_interval){0.0, 0.0, 0.0};
    life.step[1].change.limit[0] = (rlv_detection_limit){100.0, 0.4}; // 0.04 mL
    const report_class bone = report_class_of(&life.history, RLV_CHANGE_BONE, 1);
    cr_expect_float_eq(bone.ml.high, 0.04, 1e-12);
    cr_expect_float_eq(bone.g.high, 0.04 * 2.96, 1e-12);
    const report_lines lines = report_step(&life.history, 1);
    SAYS(lines, "Bone lost", "at most 0.040 mL");
}

Test(report_words, bone_that_nobody_marked_is_not_known_rather_than_none)
{
    for (size_t i = 0; i < 2; i++)
    {
        life.step[i].change.total[RLV_CHANGE_BONE] = (rlv_change_total){.known = false};
        life.row[i].ml[RLV_CHANGE_BONE] = life.cumulative[i].ml[RLV_CHANGE_BONE] = (rlv_interval){NAN, NAN, NAN};
    }
    const report_lines lines = report_step(&life.history, 0), all = report_summary(&life.history);
    SAYS(lines, "Bone lost", "not known: no bone is marked on ‘field’");
    SAYS(all, "Bone lost", "not known");
    cr_expect(strstr(line(&all, "Bone lost"), "none") == NULL);
}

Test(report_words, a_class_that_is_known_in_some_steps_says_in_how_many)
{
    life.step[1].measured = false;
    for (size_t k = 0; k < RLV_CHANGE_CLASSES; k++)
        life.cumulative[1].ml[k] = life.cumulative[1].g[k] = (rlv_interval){NAN, NAN, NAN};
    const report_lines all = report_summary(&life.history);
    SAYS(all, "Matrix removed", "known in 1 of 2 steps");
    SAYS(all, "Not told apart", "not known");
}

Test(report_words, a_balance_says_whether_it_closes_or_what_is_missing)
{
    const report_lines lines = report_summary(&life.history);
    SAYS(lines, "Mass balance", "missing: resin");
    SAYS(lines, "Spoil against volume", "closes: measured 425 g, weighed 420.0 g; unexplained 5 g (−7 to 17 g)");
}

Test(report_words, a_balance_says_that_drying_was_not_recorded)
{
    life.cumulative[1].mass = life.cumulative[1].spoil;
    life.cumulative[1].mass.holds_drying = true;
    const report_lines lines = report_summary(&life.history);
    SAYS(lines, "Mass balance", "unexplained 5 g (−7 to 17 g), drying in it, which was not recorded");
}

Test(report_words, a_balance_that_does_not_close_alarms)
{
    life.cumulative[1].spoil.within = false;
    const report_lines lines = report_summary(&life.history);
    SAYS(lines, "Spoil against volume", "does not close");
    bool alarm = false;
    for (size_t i = 0; i < lines.count; i++)
        alarm = alarm || (lines.line[i].alarm && strcmp(lines.line[i].name, "Spoil against volume") == 0);
    cr_expect(alarm);
}

Test(report_words, what_is_left_is_told_only_where_the_mesh_is_closed)
{
    cr_expect(strstr(report_left(&life.history).text, "8000 mL") != NULL, "%s", report_left(&life.history).text);
    life.read[2].given.health.closed = false;
    cr_expect(strstr(report_left(&life.history).text, "not known: the mesh of ‘cleaned’ is open") != NULL);
}

Test(report_words, areas_of_work_that_were_pooled_are_named)
{
    report_lines lines = report_step(&life.history, 0);
    cr_expect_str_eq(line(&lines, "Areas of work"), "");
    life.step[0].areas_mixed = true;
    life.work[1].area = (char*)"snout";
    lines = report_step(&life.history, 0);
    SAYS(lines, "Areas of work", "‘skull roof’, ‘snout’: not told apart");
    life.work[1].area = (char*)"skull roof";
    lines = report_step(&life.history, 0);
    SAYS(lines, "Areas of work", "‘skull roof’: not told apart"); // named once
}

Test(report_words, the_weight_is_held_against_the_recorded_limit_of_lifting)
{
    double limit_kg = 24.0;
    rlv_advice_record advice = {.lift_limit_kg = &limit_kg};
    report_lines lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block", "the block weighed 24.700 kg at ‘cleaned’");
    cr_expect_null(strstr(line(&lines, "Mass of the block"), "lifting"));
    life.specimen.advice = &advice;
    lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block",
         "‘cleaned’: over the 24 kg recorded for lifting by one person; a qualified person decides");
    limit_kg = 24.7;
    lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block", "not over the 24.7 kg");
    life.stage[2].mass = NULL;
    lines = report_summary(&life.history);
    SAYS(lines, "Mass of the block", "not weighed at ‘cleaned’");
}

Test(report_words, the_size_is_that_of_a_box_that_is_named_and_held_against_the_case)
{
    double length = 500.0, width = 700.0, height = 400.0;
    rlv_display_record display = {.case_length_mm = &length, .case_width_mm = &width, .case_height_mm = &height};
    life.read[2].given.measures.low_mm = (rlv_vec3){-100.0, 0.0, 10.0};
    life.read[2].given.measures.high_mm = (rlv_vec3){200.2, 600.0, 260.0};
    life.specimen.display = &display;
    report_lines lines = report_summary(&life.history);
    SAYS(lines, "Size of the block",
         "600 × 300 × 250 mm, length × width × height of the box along the axes of the mesh of ‘cleaned’");
    SAYS(lines, "Size of the block", "500 × 700 × 400 mm inside, which that box fits into one way round");
    height = 240.0;
    lines = report_summary(&life.history);
    SAYS(lines, "Size of the block", "does not fit into; turned otherwise the block may");
}

Test(report_words, stages_that_are_not_joined_alarm)
{
    life.history.joined = false;
    snprintf(life.history.apart, sizeof life.history.apart, "nothing reaches ‘cleaned’");
    const report_lines lines = report_summary(&life.history);
    cr_expect_str_eq(lines.line[lines.count - 1].name, "One frame");
    cr_expect(lines.line[lines.count - 1].alarm);
}
