/// Tests of what is said of places where bone may lie: how deep, how far off they are kept clear, and how likely.

#include "report_articulation.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(report_targets);

enum
{
    PLATES = 3, ///< measured in the first row
    PLACES = 4,
};

/// Rows LL and LR; of LL two neighbours in the rock without an element and one that a loose element came from, of LR
/// one at today's surface. Three plates of LL are 4 mm thick.
typedef struct block
{
    rlv_row_record row[2];
    double clearance_mm;
    rlv_advice_record advice;
    rlv_specimen specimen;
    rlv_history history;
    rlv_element_record record[PLATES + 1];
    history_element one[PLATES + 1];
    history_elements elements;
    rlv_articulation_row_told told[2];
    rlv_unfilled life[PLACES];
    history_unfilled unfilled[PLACES];
    rlv_candidate candidate;
    history_stray stray;
    history_articulation a;
} block;

static void lay(block* b)
{
    const rlv_interval thick_mm = {4, 4, 4}, depth_mm = {12, 10, 14};
    *b = (block){
        .row = {{.id = (char*)"LL"}, {.id = (char*)"LR"}},
        .told = {{.used = true}, {.used = true}},
        .life = {{.row = 0, .place = 3}, {.row = 0, .place = 4}, {.row = 0, .place = 9}, {.row = 1, .place = 7}},
        .unfilled = {{.where = HISTORY_IN_ROCK, .depth_mm = depth_mm},
                     {.where = HISTORY_IN_ROCK, .depth_mm = depth_mm},
                     {.where = HISTORY_IN_ROCK, .depth_mm = depth_mm},
                     {.where = HISTORY_AT_SURFACE, .depth_mm = {0, -1, 1}}},
        .candidate = {.unfilled = 2, .probability = 0.9}};
    for (size_t i = 0; i <= PLATES; i++)
    {
        b->record[i] = (rlv_element_record){.id = (char*)"plate", .row = (char*)"LL"};
        b->one[i] = (history_element){.record = &b->record[i]};
        b->one[i].told.thickness_mm = i < PLATES ? thick_mm : (rlv_interval){(double)NAN, (double)NAN, (double)NAN};
    }
    b->specimen = (rlv_specimen){.row_count = 2, .row = b->row};
    b->history = (rlv_history){.specimen = &b->specimen, .stage_count = 1};
    b->elements = (history_elements){.history = &b->history, .count = PLATES + 1, .one = b->one};
    b->stray = (history_stray){.element = PLATES, .candidates = {.count = 1, .candidate = &b->candidate, .none = 0.1}};
    b->a = (history_articulation){.elements = &b->elements,
                                  .row_count = 2,
                                  .fitted = true,
                                  .unfilled = b->unfilled,
                                  .stray_count = 1,
                                  .stray = &b->stray};
    b->a.fit.row_count = 2;
    b->a.fit.row = b->told;
    b->a.fit.unfilled_count = PLACES;
    b->a.fit.unfilled = b->life;
}

static void record_clearance(block* b, double mm)
{
    b->clearance_mm = mm;
    b->advice.clearance_mm = &b->clearance_mm;
    b->specimen.advice = &b->advice;
}

static report_text words_of(const block* b, size_t unfilled)
{
    const articulation_target target = {unfilled, 100.0};
    return articulation_target_words(&b->a, &target);
}

static void expect_said(const block* b, size_t unfilled, const char* words)
{
    const report_text said = words_of(b, unfilled);
    cr_expect(strstr(said.text, words) != NULL, "“%s” is not in “%s”", words, said.text);
}

static void expect_unsaid(const block* b, size_t unfilled, const char* words)
{
    const report_text said = words_of(b, unfilled);
    cr_expect(strstr(said.text, words) == NULL, "“%s” is in “%s”", words, said.text);
}

Test(report_targets, a_place_in_the_rock_is_told_by_its_depth_and_that_of_the_near_face_of_its_plate)
{
    block b;
    lay(&b);
    expect_said(&b, 0,
                "to over 99 % no loose element’s; in the rock, 12.0 mm (10.0 to 14.0 mm) deep under today’s surface");
    // Half of 4 mm above the middle; plates all alike add nothing to the error.
    expect_said(&b, 0, "the near face of a plate that lies flat there at 10.0 mm (8.0 to 12.0 mm)");
    // Of 3, 4 and 5 mm: sd 1, so that one more has 4 mm ± 4.30 sqrt(1 + 1/3) = 4.97; half of it and 2 mm, in squares.
    b.one[0].told.thickness_mm.value = 3.0;
    b.one[2].told.thickness_mm.value = 5.0;
    expect_said(&b, 0, "the near face of a plate that lies flat there at 10.0 mm (6.8 to 13.2 mm)");
}

Test(report_targets, nothing_is_said_of_a_near_face_where_fewer_than_three_plates_were_measured)
{
    block b;
    lay(&b);
    b.record[2].row = (char*)"LR";
    expect_unsaid(&b, 0, "near face");
    articulation_targets targets = articulation_targets_of(&b.a);
    cr_expect(strstr(articulation_targets_head(&b.a, &targets).text, "not in the figures of row LL: ") != NULL);
    articulation_targets_free(&targets);
    lay(&b);
    targets = articulation_targets_of(&b.a);
    cr_expect(strstr(articulation_targets_head(&b.a, &targets).text, "not in the figure") == NULL);
    articulation_targets_free(&targets);
}

Test(report_targets, a_clearance_is_kept_from_the_shallowest_that_the_bone_may_lie)
{
    block b;
    lay(&b);
    expect_unsaid(&b, 0, "clearance");
    record_clearance(&b, 5.0); // the near face may lie 8 mm deep
    expect_said(&b, 0, "; the clearance recorded, 5 mm, begins 3.0 mm under today’s surface");
    record_clearance(&b, 8.0);
    expect_said(&b, 0, "; all of the rock over it lies within the 8 mm of clearance recorded");
    // Where no thickness is known it is kept from the middle, which may lie 10 mm deep.
    b.record[2].row = (char*)"LR";
    expect_said(&b, 0, "; the clearance recorded, 8 mm, begins 2.0 mm under today’s surface");
    expect_unsaid(&b, 3, "clearance");
}

Test(report_targets, a_place_at_todays_surface_has_no_depth)
{
    block b;
    lay(&b);
    expect_said(&b, 3, "within its error of today’s surface; just beneath it, or the rock that held it has gone");
    expect_unsaid(&b, 3, "mm");
    expect_unsaid(&b, 3, "bone shows already");
    b.unfilled[3].at_bone = true;
    expect_said(&b, 3, "where today’s surface is nearest to it bone shows already");
}

Test(report_targets, people_are_pointed_to_places_that_no_loose_element_probably_came_from)
{
    block b;
    lay(&b);
    articulation_targets targets = articulation_targets_of(&b.a);
    cr_assert_eq(targets.count, 4);
    cr_expect_eq(targets.pointed, 3);
    static const size_t order[4] = {0, 1, 3, 2};
    for (size_t i = 0; i < 4; i++)
        cr_expect_eq(targets.one[i].unfilled, order[i]);
    cr_expect_float_eq(targets.one[3].unclaimed, 10.0, 1e-12); // whole per cent
    const report_text head = articulation_targets_head(&b.a, &targets);
    cr_expect(strstr(head.text, "3 places without an element") == head.text, "%s", head.text);
    cr_expect(strstr(head.text, "a loose element probably came from there: place 9 of LL") != NULL, "%s", head.text);
    articulation_targets_free(&targets);
    b.candidate.probability = 0.7;
    targets = articulation_targets_of(&b.a);
    cr_expect_eq(targets.pointed, 4, "three in ten that it is nobody’s");
    articulation_targets_free(&targets);
}

Test(report_targets, one_line_tells_neighbours_as_one_and_what_is_in_the_block_no_more)
{
    block b;
    lay(&b);
    report_text brief = articulation_targets_brief(&b.a);
    cr_expect(strstr(brief.text,
                     "in the rock places 3–4 of LL (over 99 %); within its error of today’s surface place 7 "
                     "of LR (over 99 %)") != NULL,
              "%s", brief.text);
    // Three places free and one plate loose.
    cr_expect(strstr(brief.text, "at least 2 of LL and 1 of LR would still be missing") != NULL, "%s", brief.text);
    b.unfilled[1].where = HISTORY_TAKEN;
    b.unfilled[3].where = HISTORY_NOT_COLLECTED;
    b.told[1].used = false;
    brief = articulation_targets_brief(&b.a);
    cr_expect(strstr(brief.text,
                     "in the rock place 3 of LL (over 99 %); where matrix was taken, and so in its spoil if "
                     "anywhere: place 4 of LL; beyond the block: place 7 of LR") != NULL,
              "%s", brief.text);
    cr_expect(strstr(brief.text, "Nothing can be said of row LR") != NULL, "%s", brief.text);
}

Test(report_targets, where_no_place_is_free_it_says_why_none_is_pointed_at)
{
    block b;
    lay(&b);
    b.a.fit.unfilled_count = 0;
    cr_expect_str_eq(articulation_targets_brief(&b.a).text, "every life position has its element");
    b.a.fit.unfilled_count = PLACES;
    for (size_t i = 0; i < PLACES; i++)
        b.unfilled[i].where = HISTORY_WHERE_UNKNOWN;
    const report_text brief = articulation_targets_brief(&b.a);
    cr_expect(strstr(brief.text, "it is not known where: the last stage does not lie in the block’s frame") ==
                  brief.text,
              "%s", brief.text);
}
