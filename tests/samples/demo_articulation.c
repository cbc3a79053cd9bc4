/// The demo's own truth, held against what is told of its skeleton: which scutes have moved, which are missing, and
/// where a gap in the spacing is no missing one. The program and the generator share no line of code about either.

#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static json_t *told, *truth;

/// Of the demo's north from x, counter-clockwise; trends are told clockwise from it.
static const double NORTH_DEG = 70.0;

/// Made and measured once: its stages take half a minute to be joined.
static void set_up(void)
{
    program_enter();
    cr_assert_eq(program_shell("%s --out demo --size 120000 > demo.log 2>&1", RLV_MAKE_DEMO), 0);
    told = told_by("articulation demo --json", 0);
    truth = json_load_file("demo/truth.json", 0, NULL);
    cr_assert_not_null(truth);
}

static void tear_down(void)
{
    json_decref(told);
    json_decref(truth);
    program_leave();
}

static const json_t* told_of(const char* id)
{
    return told_row(json_object_get(told, "elements"), "id", id);
}

static bool was(const json_t* scute, const char* fate)
{
    return strcmp(told_text(scute, "fate"), fate) == 0;
}

static bool is(const json_t* element, const char* state)
{
    return strcmp(told_text(element, "state"), state) == 0;
}

static bool is_off_row(const json_t* element)
{
    const char* why = json_string_value(json_object_get(element, "why"));
    return why != NULL && strstr(why, "lies off its row") != NULL;
}

/// Whether a scute is in a row that is used: the ventral ones show too few.
static bool is_in_used_row(const char* id)
{
    return id[0] != 'V';
}

static void check_counts(const char* row, int off, const json_t* element, const json_t* scute)
{
    const char* place = json_string_value(json_object_get(element, "place"));
    if (strncmp(told_text(scute, "id"), row, 2) == 0 && place != NULL && strchr(place, '-') == NULL)
        cr_expect_eq(atoi(place) - (int)told_number(scute, "place"), off, "%s was counted as %s",
                     told_text(scute, "id"), place);
}

/// Of the left row 25 never was there, 29 was turned out of its place, and 31 went with the spoil. The gap in the
/// spacing before 23 is none.
static void check_unfilled(void)
{
    const json_t* unfilled = json_object_get(told, "unfilled");
    size_t left = 0;
    for (size_t i = 0; i < json_array_size(unfilled); i++)
    {
        const json_t* row = json_array_get(unfilled, i);
        const int place = (int)told_number(row, "place");
        if (strcmp(told_text(row, "row"), "LL") != 0)
            continue;
        left++;
        cr_expect(place == 25 || place == 29 || place == 31, "LL %d is told as unfilled", place);
        // The flank was cleared down to the scutes.
        cr_expect_str_neq(told_text(row, "where"), "in the rock");
    }
    cr_expect_eq(left, 3);
}

/// A trend is within 20 degrees of which way a scute went: its part along the body is told to a fifth of it.
static void expect_way(const json_t* group, const char* key, const json_t* scute)
{
    double motion[2];
    for (size_t k = 0; k < 2; k++)
        motion[k] = json_number_value(json_array_get(json_object_get(json_object_get(scute, "found"), "at_mm"), k)) -
                    json_number_value(json_array_get(json_object_get(json_object_get(scute, "life"), "at_mm"), k));
    const double azimuth = NORTH_DEG - atan2(motion[1], motion[0]) * 180.0 / M_PI,
                 apart = fabs(remainder(told_number(group, key) - azimuth, 360.0));
    cr_expect_lt(apart, 20.0, "%s is %g degrees off", key, apart);
}

/// Eight of the left row slid together: most of them are told so, and by how far.
static void check_patch(const json_t* scutes)
{
    const json_t* groups = json_object_get(told, "groups");
    size_t slid = 0;
    cr_assert_eq(json_array_size(groups), 1);
    const json_t* group = json_array_get(groups, 0);
    cr_expect_str_eq(told_text(group, "row"), "LL");
    cr_expect(told_number(group, "shift_low_mm") < 6.0 && told_number(group, "shift_high_mm") > 6.0);
    expect_way(group, "first_trend_deg", told_row(scutes, "id", "LL13"));
    expect_way(group, "last_trend_deg", told_row(scutes, "id", "LL20"));
    for (size_t i = 0; i < json_array_size(scutes); i++)
    {
        const json_t* scute = json_array_get(scutes, i);
        if (was(scute, "slid"))
            slid += is(told_of(told_text(scute, "id")), "shifted");
    }
    cr_expect_geq(slid, 6, "%zu of 8", slid);
}

/// What went with the spoil may have been where it truly was.
static void check_candidates(void)
{
    const json_t* rows = json_object_get(told, "candidates");
    bool found = false;
    for (size_t i = 0; i < json_array_size(rows); i++)
    {
        const json_t* row = json_array_get(rows, i);
        if (strcmp(told_text(row, "id"), "LL31") == 0 && !json_is_null(json_object_get(row, "place")))
            found |= (int)told_number(row, "place") == 31 && told_number(row, "probability_percent") > 20.0;
    }
    cr_expect(found);
}

/// The likeliest place of a loose element; 0 where it is told to be none of the free ones.
static int likeliest_of(const char* id)
{
    const json_t* rows = json_object_get(told, "candidates");
    double most = 0.0;
    int place = 0;
    for (size_t i = 0; i < json_array_size(rows); i++)
    {
        const json_t* row = json_array_get(rows, i);
        if (strcmp(told_text(row, "id"), id) != 0 || !(told_number(row, "probability_percent") > most))
            continue;
        most = told_number(row, "probability_percent");
        place = json_is_null(json_object_get(row, "place")) ? 0 : (int)told_number(row, "place");
    }
    return place;
}

/// What the current carried off the rows goes back to where it came from, though other holes are nearer to it; and the
/// current is told, to three sds of its direction.
static void check_carried(int off)
{
    cr_expect_eq(likeliest_of("LL29"), 29);
    cr_expect_eq(likeliest_of("LR04"), 4 + off);
    cr_expect_eq(likeliest_of("LR09"), 9 + off);
    cr_expect_eq(likeliest_of("LR12"), 12 + off);
    const json_t* carried = json_object_get(told, "carried");
    cr_expect_gt(told_number(carried, "probability_percent"), 70.0);
    const double trend = NORTH_DEG - told_number(json_object_get(truth, "body"), "current_deg"),
                 apart = fabs(remainder(told_number(carried, "motion_trend_deg") - trend, 360.0));
    cr_expect_lt(apart, 3.0 * told_number(carried, "direction_sd_deg"), "%g degrees", apart);
}

Test(demo_articulation, its_truth_is_told, .init = set_up, .fini = tear_down, .timeout = 1200)
{
#if defined(__SANITIZE_ADDRESS__)
    cr_skip_test("its stages take an hour to be joined under sanitizers");
#endif
    const json_t* scutes = json_object_get(truth, "scutes");
    const json_t* elements = json_object_get(told, "elements");
    size_t judged = 0, false_alarms = 0;
    const int off = atoi(told_text(told_of("LR01"), "place")) - 1;
    for (size_t i = 0; i < json_array_size(elements); i++)
    {
        const json_t* element = json_array_get(elements, i);
        const char* id = told_text(element, "id");
        if (!is_in_used_row(id) || json_is_null(json_object_get(element, "row")))
            continue;
        const json_t* scute = told_row(scutes, "id", id);
        if (was(scute, "inverted"))
            cr_expect(is(element, "inverted"), "%s is %s", id, told_text(element, "state"));
        if (was(scute, "carried") || was(scute, "oblique"))
            cr_expect(is_off_row(element) || is(element, "shifted") || is(element, "rotated"), "%s is %s", id,
                      told_text(element, "state"));
        judged += was(scute, "in place") && !is(element, "unassigned");
        false_alarms += was(scute, "in place") && !is(element, "unassigned") && !is(element, "in place");
        cr_expect(!(was(scute, "in place") && is_off_row(element)), "%s lies off its row", id);
        // Of the left row four places are recorded. Nothing of the right one is: its count may begin elsewhere.
        check_counts("LL", 0, element, scute);
        check_counts("LR", off, element, scute);
    }
    // Sides are counted apart to 1.5 places: within two sd.
    cr_expect(abs(off) <= 3, "the right row begins at %d", off + 1);
    check_patch(scutes);
    check_unfilled();
    check_candidates();
    check_carried(off);
    cr_expect_geq(judged, 45);
    cr_expect_leq(20 * false_alarms, 2 * judged, "%zu of %zu in place were told as moved", false_alarms, judged);
}
