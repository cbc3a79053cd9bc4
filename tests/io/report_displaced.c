/// Tests of what is said of elements that have left their life positions: by state, by name, and how surely.

#include "report_articulation.h"

#include <criterion/criterion.h>
#include <limits.h>
#include <string.h>

TestSuite(report_displaced);

enum
{
    COUNT = 6,
};

/// Six elements of row LL, all in place.
typedef struct row
{
    rlv_row_record row;
    rlv_specimen specimen;
    rlv_history history;
    rlv_element_record record[COUNT];
    history_element one[COUNT];
    history_elements elements;
    size_t given_of[COUNT], element_of[COUNT];
    rlv_placed_element given[COUNT];
    rlv_counted counted[COUNT];
    history_left_out why[COUNT];
    rlv_articulated told[COUNT];
    rlv_articulation_group group;
    rlv_unfilled life;
    rlv_candidate candidate;
    history_stray stray;
    history_articulation a;
} row;

static void lay(row* r)
{
    static char id[COUNT][6] = {"LL01", "LL02", "LL03", "LL04", "LL05", "LL06"};
    *r = (row){.row = {.id = (char*)"LL"}, .life = {.row = 0, .place = 9, .radius2 = 1.0}};
    for (size_t i = 0; i < COUNT; i++)
    {
        r->record[i] = (rlv_element_record){.id = id[i], .row = (char*)"LL"};
        r->one[i] = (history_element){.record = &r->record[i]};
        r->given_of[i] = r->element_of[i] = i;
        r->counted[i].place = INT_MIN; // its place is recorded
        r->told[i] = (rlv_articulated){.state = RLV_IN_PLACE, .place = (int)i + 1, .p_adjusted = 1.0};
    }
    r->specimen = (rlv_specimen){.row_count = 1, .row = &r->row};
    r->history = (rlv_history){.specimen = &r->specimen, .stage_count = 1};
    r->elements = (history_elements){.history = &r->history, .count = COUNT, .one = r->one};
    r->stray = (history_stray){.element = 5, .candidates = {.count = 1, .candidate = &r->candidate}};
    r->a = (history_articulation){.elements = &r->elements,
                                  .given_count = COUNT,
                                  .given = r->given,
                                  .counted = r->counted,
                                  .given_of = r->given_of,
                                  .element_of = r->element_of,
                                  .why = r->why,
                                  .row_count = 1,
                                  .fitted = true};
    r->a.fit.count = COUNT;
    r->a.fit.element = r->told;
    r->a.fit.group = &r->group;
    r->a.fit.unfilled_count = 1;
    r->a.fit.unfilled = &r->life;
}

static void displace(row* r, size_t element, rlv_articulation_state state, double p)
{
    r->told[element].state = state;
    r->told[element].p_adjusted = p;
    r->told[element].motion.shift_mm = (rlv_interval){6, 4, 8};
    r->told[element].motion.rotation_deg = (rlv_interval){40, 30, 50};
}

static void expect_next(const row* r, size_t* next, const char* of, const char* words)
{
    articulation_said said;
    cr_assert(articulation_displaced(&r->a, next, &said), "nothing more is said; %s is not", of);
    cr_expect_str_eq(said.of.text, of);
    cr_expect_str_eq(said.words.text, words, "%s", said.words.text);
}

static void expect_end(const row* r, size_t* next)
{
    articulation_said said;
    cr_expect_not(articulation_displaced(&r->a, next, &said));
}

Test(report_displaced, nothing_is_said_of_what_lies_in_place)
{
    row r;
    size_t next = 0;
    lay(&r);
    expect_end(&r, &next);
    cr_expect_str_eq(articulation_displaced_words(&r.a).text, "no element that is judged");
}

Test(report_displaced, states_come_one_after_another_and_all_that_is_surely_inverted_at_once)
{
    row r;
    size_t next = 0;
    lay(&r);
    displace(&r, 0, RLV_SHIFTED, 1e-5);
    displace(&r, 1, RLV_ROTATED, 1e-5);
    displace(&r, 2, RLV_INVERTED, 1e-5);
    displace(&r, 4, RLV_INVERTED, 1e-5);
    expect_next(&r, &next, "LL03, LL05", "inverted: the external face looks the other way than the life position’s");
    expect_next(
        &r, &next, "LL02",
        "rotated against the life position, by the order of the other elements: by 40 ° (30 to 50 °), p < 0.001");
    expect_next(&r, &next, "LL01",
                "shifted from the life position, by the order of the other elements: by 6.0 mm (4.0 to 8.0 mm), p < "
                "0.001");
    expect_end(&r, &next);
    cr_expect_str_eq(articulation_displaced_words(&r.a).text, "inverted: LL03, LL05; rotated: LL02; shifted: LL01");
}

Test(report_displaced, what_is_near_its_level_is_told_barely_and_by_itself)
{
    row r;
    size_t next = 0;
    lay(&r);
    displace(&r, 2, RLV_INVERTED, 1e-5);
    displace(&r, 3, RLV_INVERTED, RLV_ARTICULATION_LEVEL / 10.0);
    cr_expect(articulation_is_barely(&r.told[3]));
    cr_expect_not(articulation_is_barely(&r.told[2]));
    cr_expect_not(articulation_is_barely(&r.told[0]), "what is in place is not barely so");
    expect_next(&r, &next, "LL03", "inverted: the external face looks the other way than the life position’s");
    expect_next(&r, &next, "LL04",
                "inverted: the external face looks the other way than the life position’s; but barely told, with p "
                "0.005: it may lie in place after all");
    expect_end(&r, &next);
    cr_expect_str_eq(articulation_displaced_words(&r.a).text, "inverted: LL03, LL04 (barely, p 0.005)");
}

Test(report_displaced, what_moved_together_is_told_by_its_places_and_not_again_by_element)
{
    row r;
    size_t next = 0;
    lay(&r);
    r.a.fit.group_count = 1;
    r.group = (rlv_articulation_group){.first = 2, .last = 3, .count = 2, .p = 1e-6};
    r.group.motion.shift_mm = (rlv_interval){6, 4, 8};
    for (size_t i = 1; i <= 2; i++)
    {
        displace(&r, i, RLV_SHIFTED, 1e-5);
        r.told[i].group = 1;
    }
    expect_next(&r, &next, "places 2–3 of LL", "moved together, by 6.0 mm (4.0 to 8.0 mm)");
    expect_end(&r, &next);
    cr_expect_str_eq(articulation_displaced_words(&r.a).text, "places 2–3 of LL together, by 6.0 mm (4.0 to 8.0 mm)");
    r.group.p = RLV_ARTICULATION_GROUP_LEVEL;
    cr_expect(strstr(articulation_displaced_words(&r.a).text, "(barely, p ") != NULL);
}

Test(report_displaced, from_where_an_element_off_its_row_came_is_named_where_it_is_likelier_than_not)
{
    row r;
    size_t next = 0;
    lay(&r);
    r.told[5].state = RLV_UNASSIGNED;
    r.why[5] = HISTORY_OFF_ROW;
    r.a.stray_count = 1;
    r.a.stray = &r.stray;
    r.candidate.probability = 0.5;
    expect_next(&r, &next, "LL06", "off the row, and so moved; from which place is not known");
    expect_end(&r, &next);
    cr_expect_str_eq(articulation_displaced_words(&r.a).text, "off their rows, from which place is not known: LL06");
    r.candidate.probability = 0.8;
    cr_expect_str_eq(articulation_displaced_words(&r.a).text,
                     "off their rows, each with the place that it probably came from: LL06 (place 9 of LL, 80 %)");
}

Test(report_displaced, what_is_off_its_row_is_told_with_its_square)
{
    static row r;
    articulation_said said;
    size_t next = 0;
    lay(&r);
    r.why[2] = HISTORY_OFF_ROW;
    r.told[2].state = RLV_UNASSIGNED;
    r.one[2].placed = true;
    r.one[2].told.position_mm[0] = 70.0;
    r.one[2].told.position_mm[1] = 60.0;
    r.history.grid = (history_grid){.known = true,
                                    .axes = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
                                    .corner_mm = {0, 100, 0},
                                    .side_mm = 50.0,
                                    .columns = 4,
                                    .rows = 2};
    cr_assert(articulation_displaced(&r.a, &next, &said));
    cr_expect_str_eq(said.of.text, "LL03");
    cr_expect_str_eq(said.at.text, "LL03 (square B1)");
}
