#include "rejoin_words.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static rejoin_run run_of(double p)
{
    const rlv_interval none = {(double)NAN, (double)NAN, (double)NAN}, some = {0.4, 0.1, 0.7};
    return (rejoin_run){.name = "femur",
                        .stage = "broken",
                        .measured = true,
                        .of = {.across_mm = some,
                               .out_mm = some,
                               .offset_mm = some,
                               .bend_across_deg = some,
                               .bend_out_deg = some,
                               .bend_deg = some,
                               .gap_mm = some,
                               .twist_deg = none,
                               .step_mm = none,
                               .along = {1, 0, 0},
                               .across = {0, 1, 0},
                               .out = {0, 0, 1},
                               .p = p}};
}

Test(rejoin_words, a_run_of_which_no_chance_is_known_is_not_said_to_go_straight_on)
{
    const rejoin_told told = {0};
    const rejoin_run untold = run_of((double)NAN), straight = run_of(0.4), off = run_of(0.001);
    cr_expect_eq(rejoin_run_straight(&untold), REJOIN_STRAIGHT_UNTOLD);
    cr_expect_eq(rejoin_run_straight(&straight), REJOIN_STRAIGHT);
    cr_expect_eq(rejoin_run_straight(&off), REJOIN_NOT_STRAIGHT);
    const report_text words = rejoin_run_words(&told, &untold);
    cr_expect_not_null(strstr(words.text, "whether it goes straight on cannot be told (p not known)"), "%s",
                       words.text);
    cr_expect_null(strstr(words.text, "nan"), "%s", words.text);
    cr_expect_not_null(strstr(rejoin_run_words(&told, &straight).text, "it goes straight on"));
    cr_expect_not_null(strstr(rejoin_run_words(&told, &off).text, "it does not go straight on"));
}

// --- The joint's words -----------------------------------------------------------------------------------------------

/// A joint of 73 cm2 that both faces share, of an outline of 82, of which so much stands open.
static rejoin_told joint_of(double open_share, size_t contacts)
{
    rejoin_told told = {.judged = true, .measured = true, .piece = {.name = "lid"}, .before = {.name = "whole"}};
    told.of =
        (rlv_rejoin){.verdict = RLV_REJOIN_FITS,
                     .fit = 0.96,
                     .found_known = true,
                     .found = rlv_pose_identity(),
                     .closed = rlv_pose_identity(),
                     .joint_mm2 = 8200.0,
                     .touching_mm = 0.3,
                     .touching = 1.0 - open_share,
                     .worn = open_share,
                     .gap_after = {.area_mm2 = 7300.0, .open_mm2 = open_share * 7300.0, .median_mm = {1.94, 1.89, 2.0}},
                     .contact_count = contacts};
    return told;
}

static const char* line_of(const report_lines* lines, const char* name)
{
    for (size_t i = 0; i < lines->count; i++)
        if (strcmp(lines->line[i].name, name) == 0)
            return lines->line[i].words.text;
    return "";
}

Test(rejoin_words, a_joint_that_fits_and_stands_open_says_both)
{
    const rejoin_told open = joint_of(0.99, 0), tight = joint_of(0.2, 5);
    cr_expect_str_eq(rejoin_verdict(&open).text,
                     "it fits: the two faces repeat 96 % of each other’s relief. To fit is to repeat that relief, "
                     "not to touch: 72.3 of the 73.0 cm\u00b2 that they share stand open all the same, 1.9 mm in the "
                     "median, as faces do that wore since");
    cr_expect_str_eq(rejoin_verdict(&tight).text, "it fits: the two faces repeat 96 % of each other’s relief");
}

Test(rejoin_words, what_touches_in_fewer_than_three_places_carries_nothing)
{
    static const char* const words[] = {"nowhere: what both faces share stands more than 0.30 mm apart",
                                        "at 1 place only, the nearest (0, 0, 0): too few to carry it",
                                        "at 2 places only, the nearest (0, 0, 0): too few to carry it"};
    for (size_t k = 0; k < 4; k++)
    {
        const rejoin_told told = joint_of(0.9, k);
        const report_lines lines = rejoin_lines(&told);
        const char* line = line_of(&lines, "Touches first");
        if (k < 3)
            cr_expect_not_null(strstr(line, words[k]), "%s", line);
        cr_expect((strstr(line, "to be held until that does") != NULL) == (k < 3), "%s", line);
    }
}

Test(rejoin_words, each_word_of_a_joint_is_told_once_and_its_areas_add_up)
{
    const rejoin_told told = joint_of(0.75, 5);
    static const char* const word[] = {"outline", "shared", "touching", "open", "as found", "closed"};
    const double area_mm2[] = {8200.0, 7300.0, 0.25 * 7300.0, 0.75 * 7300.0, (double)NAN, (double)NAN};
    rejoin_term term;
    size_t next = 0, count = 0;
    for (; rejoin_term_next(&told, &next, &term); count++)
    {
        cr_assert_lt(count, sizeof word / sizeof *word);
        cr_expect_str_eq(term.word, word[count]);
        cr_expect_gt(strlen(term.is.text), 20);
        if (isnan(area_mm2[count]))
            cr_expect(isnan(term.area_mm2), "%s", term.word);
        else
            cr_expect_float_eq(term.area_mm2, area_mm2[count], 1e-6);
    }
    cr_expect_eq(count, sizeof word / sizeof *word); // nothing lies pressed, and it is nowhere back
    // What stands in the table of the gap is not said in a line too.
    const report_lines lines = rejoin_lines(&told);
    cr_expect_str_eq(line_of(&lines, "Gap"), "");
    cr_expect_str_eq(line_of(&lines, "Gap fill"), "");
}

Test(rejoin_words, a_motion_that_stands_as_nothing_goes_no_way)
{
    rejoin_told told = joint_of(0.9, 2);
    told.before.mesh = &(rlv_mesh){0};
    rejoin_name_axes(&told);
    told.of.closing_mm = rlv_vec3_of(0.3, 0.0, 0.0);
    told.of.closing_length_mm = (rlv_interval){0.3, 0.2, 0.4};
    report_lines lines = rejoin_lines(&told);
    cr_expect_not_null(strstr(line_of(&lines, "To close it"), "towards +x; turned by"), "%s",
                       line_of(&lines, "To close it"));
    told.of.closing_mm = rlv_vec3_of(0.003, 0.0, 0.0);
    told.of.closing_length_mm = (rlv_interval){0.003, 0.0, 0.1};
    lines = rejoin_lines(&told);
    cr_expect_null(strstr(line_of(&lines, "To close it"), "towards"), "%s", line_of(&lines, "To close it"));
    cr_expect_not_null(strstr(line_of(&lines, "To close it"), "mm); turned by"), "%s", line_of(&lines, "To close it"));
}

/// The block's face and the piece's tell a little of each their own: the words go by the mean of both.
Test(rejoin_words, what_touches_is_what_is_shared_and_not_open)
{
    rejoin_told told = joint_of(0.75, 5);
    told.of.gap_after.open_mm2 = 0.76 * 7300.0;
    rejoin_term term;
    size_t next = 0;
    while (rejoin_term_next(&told, &next, &term) && strcmp(term.word, "touching") != 0)
        ;
    cr_expect_float_eq(term.area_mm2, 0.24 * 7300.0, 1e-6);
    cr_expect_not_null(strstr(term.is.text, "that of a contact is of the block’s face alone"), "%s", term.is.text);
}

Test(rejoin_words, a_piece_that_is_back_is_told_first_as_it_lies_and_asks_for_no_hands)
{
    rlv_piece_record record = {.id = (char*)"lid", .joined = (char*)"tail"};
    rejoin_told told = joint_of(0.9, 2);
    report_lines lines = rejoin_lines(&told);
    cr_expect_str_eq(lines.line[0].name, "Verdict", "of meshes nobody recorded anything");
    told.record = &record;
    told.motion.press_mm = (rlv_interval){0.3, 0.2, 0.4};
    told.of.gap_after.median_mm = (rlv_interval){1.94, 1.89, 2.00};
    told.of.gap_back.median_mm = (rlv_interval){2.04, 1.99, 2.09};
    lines = rejoin_lines(&told);
    cr_expect_str_eq(lines.line[0].name, "Today");
    cr_expect_str_eq(lines.line[0].words.text, "back since ‘tail’; how it lies there is not known");
    told.of.back_known = true;
    lines = rejoin_lines(&told);
    cr_expect_not_null(strstr(lines.line[0].words.text, "back since ‘tail’; it lies 0.10 mm wider than closed"), "%s",
                       lines.line[0].words.text);
    cr_expect_not_null(strstr(line_of(&lines, "By hand"), "pressed home by 0.30 mm"), "%s", line_of(&lines, "By hand"));
    cr_expect_null(strstr(line_of(&lines, "Touches first"), "to be held"), "%s", line_of(&lines, "Touches first"));
    cr_expect_str_eq(line_of(&lines, "To close it"), "");
    record.joined = NULL;
    lines = rejoin_lines(&told);
    cr_expect_str_eq(lines.line[0].words.text, "not recorded as joined again at any stage");
    cr_expect_not_null(strstr(line_of(&lines, "By hand"), "press it home by"), "%s", line_of(&lines, "By hand"));
}
