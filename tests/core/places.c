#include "places.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum
{
    MOST = 40,
};

/// A row along the arc of a circle: places `first` on, with a pitch that falls evenly to half over 30 places.
typedef struct arc_row
{
    size_t count;
    rlv_row_element element[MOST];
    int truth[MOST];
} arc_row;

static const rlv_row_spacing spacing = {.first = 1, .last = 30, .pitch_mm = 14.0, .pitch_sd_mm = 1.1, .taper = 0.5};

/// Distance from the row's first place; `radius_mm` bends the row, and `stretch` multiplies its pitches.
static rlv_vec3 at_place(int place, double radius_mm, double stretch)
{
    double along = 0.0;
    for (int k = 1; k < place; k++)
        along += stretch * 14.0 * (1.0 - 0.5 * (k - 1) / 28.0);
    return rlv_vec3_of(radius_mm * sin(along / radius_mm), radius_mm * (1.0 - cos(along / radius_mm)), 3.0);
}

static void add(arc_row* row, int place, double radius_mm, double stretch)
{
    rlv_row_element* e = &row->element[row->count];
    const rlv_vec3 step = rlv_vec3_sub(at_place(place, radius_mm, stretch), at_place(place + 1, radius_mm, stretch));
    *e = (rlv_row_element){.at_mm = at_place(place, radius_mm, stretch),
                           .variance_mm2 = 0.1,
                           .anterior = rlv_vec3_unit(step),
                           .low = INT_MIN,
                           .high = INT_MAX,
                           .expected = NAN};
    row->truth[row->count++] = place;
}

/// Places `from` to `to` without those of `missing` (ends with 0).
static arc_row row_of(int from, int to, const int* missing, double radius_mm, double stretch)
{
    arc_row row = {0};
    for (int place = from; place <= to; place++)
    {
        bool there = true;
        for (const int* m = missing; *m != 0; m++)
            there = there && *m != place;
        if (there)
            add(&row, place, radius_mm, stretch);
    }
    return row;
}

static void know(arc_row* row, int place)
{
    for (size_t i = 0; i < row->count; i++)
        if (row->truth[i] == place)
            row->element[i].low = row->element[i].high = place;
}

static void expect_truth(const arc_row* row, const rlv_counted* counted)
{
    for (size_t i = 0; i < row->count; i++)
        cr_expect(counted[i].in_row && counted[i].place == row->truth[i], "place %d was counted as %d", row->truth[i],
                  counted[i].place);
}

static void count(rlv_counted* counted, const arc_row* row, const rlv_row_spacing* of)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_places_count(counted, row->count, row->element, of, &error), RLV_DONE, "%s", error.what);
}

static const int holes[] = {4, 9, 10, 17, 0};

Test(places, missing_places_do_not_shift_the_count)
{
    rlv_counted counted[MOST];
    arc_row row = row_of(1, 30, holes, 150.0, 1.0);
    know(&row, 1);
    count(counted, &row, &spacing);
    expect_truth(&row, counted);
    // Least sure is the step over two places: 0.01 * 0.9 / sqrt(2 pi 3) / sd for it, 0.1 / (30 pitches) for an odd one
    // of one place. With an sd of 0.1 pitches that is 8.5 to 1.
    for (size_t i = 0; i < row.count; i++)
        cr_expect_gt(counted[i].probability, 0.8);
}

Test(places, the_order_of_the_elements_says_nothing)
{
    rlv_counted counted[MOST], turned[MOST];
    arc_row row = row_of(1, 30, holes, 150.0, 1.0), back = {.count = row.count};
    know(&row, 1);
    for (size_t i = 0; i < row.count; i++)
    {
        back.element[i] = row.element[(7 * i) % row.count]; // 26 elements: 7 and 26 have no factor in common
        back.truth[i] = row.truth[(7 * i) % row.count];
    }
    count(counted, &row, &spacing);
    count(turned, &back, &spacing);
    for (size_t i = 0; i < row.count; i++)
        cr_expect_eq(turned[i].place, counted[(7 * i) % row.count].place);
    expect_truth(&back, turned);
}

Test(places, a_row_on_the_inner_or_outer_side_of_a_bend_is_counted_by_its_own_pitch)
{
    const double stretch[] = {0.75, 1.25};
    for (size_t k = 0; k < 2; k++)
    {
        rlv_counted counted[MOST];
        arc_row row = row_of(1, 30, holes, 100.0, stretch[k]);
        know(&row, 30);
        count(counted, &row, &spacing);
        expect_truth(&row, counted);
    }
}

Test(places, a_natural_gap_in_the_spacing_is_no_place)
{
    // Half a pitch more between 12 and 13; the row ends where the record says, so that nothing else can be missing.
    const int none[] = {0};
    rlv_counted counted[MOST];
    arc_row row = row_of(1, 30, none, 1e6, 1.0);
    know(&row, 1);
    for (size_t i = 12; i < row.count; i++)
        row.element[i].at_mm.x += 5.5;
    count(counted, &row, &spacing);
    expect_truth(&row, counted);
}

Test(places, what_was_carried_off_lies_beside_the_row)
{
    const int none[] = {0};
    rlv_counted counted[MOST];
    arc_row row = row_of(1, 30, none, 150.0, 1.0);
    know(&row, 1);
    row.element[7].at_mm.z += 25.0; // place 8
    row.element[20].at_mm = rlv_vec3_add(row.element[20].at_mm, rlv_vec3_of(9.0, -9.0, 9.0));
    count(counted, &row, &spacing);
    for (size_t i = 0; i < row.count; i++)
        cr_expect_eq(counted[i].place, i == 7 || i == 20 ? INT_MIN : row.truth[i]);
}

Test(places, anterior_ends_tell_the_head_and_another_side_where_it_begins)
{
    const int none[] = {0};
    rlv_counted counted[MOST];
    arc_row row = row_of(6, 25, none, 150.0, 1.0);
    count(counted, &row, &spacing);
    for (size_t i = 0; i < row.count; i++)
        cr_expect_eq(counted[i].place - counted[0].place, (int)i, "the head is where the anterior ends point");
    // 20 elements in 30 places: eleven counts without an empty place fit, and nothing tells which; 19 steps may each
    // pass over a place with a probability of some thousandths.
    cr_expect_float_eq(counted[0].probability, 1.0 / 11.0, 0.2 / 11.0);
    cr_expect_gt(counted[10].step, 0.99);
    row.element[10].expected = 16.2;
    row.element[10].expected_sd = 0.5;
    count(counted, &row, &spacing);
    expect_truth(&row, counted);
    // exp(-0.5 (0.2 / 0.5)^2) against the places beside it, 0.8 and 1.2 off.
    const double here = exp(-0.08), near = exp(-1.28) + exp(-2.88) + exp(-0.5 * 3.6 * 3.6) + exp(-0.5 * 4.4 * 4.4);
    // The same thousandths.
    cr_expect_float_eq(counted[0].probability, here / (here + near), 0.1);
}

Test(places, what_cannot_be_counted_is_refused_in_words)
{
    const int none[] = {0};
    rlv_counted counted[MOST];
    rlv_error error = {0};
    arc_row row = row_of(1, 30, none, 150.0, 1.0);
    cr_expect_eq(rlv_places_count(counted, 2, row.element, &spacing, &error), RLV_IMPOSSIBLE);
    for (size_t i = 0; i < row.count; i++)
        row.element[i].anterior = (rlv_vec3){0};
    cr_expect_eq(rlv_places_count(counted, row.count, row.element, &spacing, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "which end is the head"));
    know(&row, 1);
    know(&row, 2);
    rlv_row_spacing few = spacing;
    few.last = 20;
    cr_expect_eq(rlv_places_count(counted, row.count, row.element, &few, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "30 elements lie in it, and it has 20 places"), "%s", error.what);
    know(&row, 10);
    know(&row, 20);
    row.element[9].low = row.element[9].high = 25;
    cr_expect_eq(rlv_places_count(counted, row.count, row.element, &spacing, &error), RLV_IMPOSSIBLE);
    cr_expect_not_null(strstr(error.what, "no count from head to tail"), "%s", error.what);
}
