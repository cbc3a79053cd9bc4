// Labels: they never touch, never leave their panel, and always go to the same places.

#include "labels.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

TestSuite(labels);

static double next_random(uint64_t* state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u; // D. Knuth's MMIX
    return (double)(*state >> 11) / 9007199254740992.0;
}

static void scatter(rlv_label label[100], double width, double height, uint64_t seed)
{
    memset(label, 0, 100 * sizeof *label);
    for (int i = 0; i < 100; i++)
    {
        label[i].anchor[0] = width * next_random(&seed);
        label[i].anchor[1] = height * next_random(&seed);
        label[i].width = 5.0 + 6.0 * next_random(&seed);
        label[i].height = 2.8;
        label[i].clear = 1.2;
    }
}

static bool apart(const rlv_label* a, const rlv_label* b, double gap)
{
    return a->left >= b->left + b->width + gap || b->left >= a->left + a->width + gap ||
           a->top >= b->top + b->height + gap || b->top >= a->top + a->height + gap;
}

Test(labels, a_hundred_labels_never_touch_and_never_leave_the_panel)
{
    const double slack = 1e-9;
    for (uint64_t seed = 1; seed <= 5; seed++)
    {
        rlv_label label[100];
        // From roomy to a third of the panel covered by labels.
        double width = seed < 4 ? 180.0 : 100.0, height = seed < 4 ? 140.0 : 75.0;
        scatter(label, width, height, seed);
        const rlv_box2 bar = {0.0, height - 8.0, 50.0, 8.0};
        cr_expect_eq(rlv_labels_place(100, label, &(rlv_label_place){{0, 0, width, height}, 1, &bar, .gap = 0.5}), 0);
        for (int i = 0; i < 100; i++)
        {
            cr_expect(label[i].placed);
            cr_expect(label[i].left >= -slack && label[i].left + label[i].width <= width + slack);
            cr_expect(label[i].top >= -slack && label[i].top + label[i].height <= height + slack);
            cr_expect(label[i].left >= bar.left + bar.width || label[i].top + label[i].height <= bar.top, "%d", i);
            for (int k = 0; k < i; k++)
                cr_expect(apart(&label[i], &label[k], 0.5 - slack), "seed %d: %d and %d", (int)seed, i, k);
        }
    }
}

Test(labels, a_lone_label_stands_beside_its_anchor_without_a_leader)
{
    rlv_label label = {.anchor = {50, 50}, .width = 10, .height = 3, .clear = 1.0};
    cr_expect_eq(rlv_labels_place(1, &label, &(rlv_label_place){{0, 0, 100, 100}, .gap = 0.5}), 0);
    cr_expect_not(label.led);
    cr_expect_gt(label.left, 50.9);
    cr_expect_lt(label.left, 52.0);
}

Test(labels, a_label_that_stands_far_off_is_led_to_its_edge)
{
    rlv_label label[2] = {{.anchor = {50, 50}, .width = 40, .height = 40, .fixed = true, .left = 30, .top = 30},
                          {.anchor = {50, 50}, .width = 10, .height = 3, .clear = 1.0}};
    cr_expect_eq(rlv_labels_place(2, label, &(rlv_label_place){{0, 0, 100, 100}, .gap = 0.5}), 0);
    cr_expect(label[1].led);
    cr_expect(apart(&label[0], &label[1], 0.5 - 1e-9));
    cr_expect_float_eq(label[1].foot[0], fmin(fmax(50.0, label[1].left), label[1].left + 10.0), 1e-12);
    cr_expect_eq(label[0].left, 30.0);
}

// An outline of four lines about a middle.
static void box_outline(rlv_stretch line[4], double x, double y, double half_wide, double half_tall)
{
    const double corner[5][2] = {{x - half_wide, y - half_tall},
                                 {x + half_wide, y - half_tall},
                                 {x + half_wide, y + half_tall},
                                 {x - half_wide, y + half_tall},
                                 {x - half_wide, y - half_tall}};
    for (int k = 0; k < 4; k++)
        line[k] = (rlv_stretch){{corner[k][0], corner[k][1]}, {corner[k + 1][0], corner[k + 1][1]}};
}

Test(labels, one_nearer_to_a_neighbours_outline_than_to_its_own_is_led)
{
    // All is taken down to 0.6 mm beneath the first body, of 4 by 4 mm: its label stands below that, 4 mm tall. A long
    // neighbour begins 4 mm beneath the body, so that the label cannot but touch it, or 23 mm.
    for (int near = 0; near < 2; near++)
    {
        rlv_stretch line[8];
        const double middle = near == 1 ? 61.0 : 80.0;
        const rlv_box2 above = {0, 0, 100, 52.6};
        rlv_label label[2] = {
            {.anchor = {50, 50}, .width = 8, .height = 4, .clear = 2.0, .own_first = 0, .own_count = 4},
            {.anchor = {50, middle},
             .width = 4,
             .height = 3,
             .clear = 2.0,
             .own_first = 4,
             .own_count = 4,
             .fixed = true,
             .left = 48,
             .top = middle - 1.5}};
        box_outline(line, 50, 50, 2, 2);
        box_outline(line + 4, 50, middle, 20, 5); // from 56, or from 75
        cr_expect_eq(rlv_labels_place(2, label, &(rlv_label_place){{0, 0, 100, 100}, 1, &above, 8, line, 0.3}), 0);
        cr_assert_gt(label[0].top, 52.6);
        if (near == 1)
            cr_expect(label[0].led);
        else
            cr_expect_not(label[0].led, "%g %g", label[0].left, label[0].top);
    }
}

Test(labels, the_same_labels_get_the_same_places)
{
    rlv_label one[100], two[100];
    scatter(one, 100.0, 80.0, 9);
    scatter(two, 100.0, 80.0, 9);
    rlv_labels_place(100, one, &(rlv_label_place){{0, 0, 100, 80}, .gap = 0.5});
    rlv_labels_place(100, two, &(rlv_label_place){{0, 0, 100, 80}, .gap = 0.5});
    for (int i = 0; i < 100; i++)
        cr_expect(one[i].left == two[i].left && one[i].top == two[i].top);
}

Test(labels, what_finds_no_room_is_counted_and_not_placed)
{
    rlv_label label[100];
    scatter(label, 30.0, 20.0, 3);
    size_t left_out = rlv_labels_place(100, label, &(rlv_label_place){{0, 0, 30, 20}, .gap = 0.5}), placed = 0;
    for (int i = 0; i < 100; i++)
        placed += label[i].placed;
    cr_expect_gt(left_out, 50);
    cr_expect_eq(placed + left_out, 100);
}

enum
{
    CROWD = 36, ///< bodies in a square of six by six
    SIDES = 12, ///< of the ring round each
};

/// Bodies as close as they lie on the crowded part of a map: ellipses of 7 by 3 mm, 12 mm apart
/// across and 6 mm down, each with a label of 7 mm and clear of no more than its width.
static void crowd(rlv_label label[CROWD], rlv_stretch ring[CROWD * SIDES])
{
    memset(label, 0, CROWD * sizeof *label);
    for (int i = 0; i < CROWD; i++)
    {
        const double x = 60.0 + 12.0 * (i % 6), y = 60.0 + 6.0 * (int)(i / 6);
        label[i] = (rlv_label){.anchor = {x, y}, .width = 7.0, .height = 2.8, .clear = 1.5};
        for (int k = 0; k < SIDES; k++)
            for (int end = 0; end < 2; end++)
            {
                const double angle = 2.0 * M_PI * (k + end) / SIDES;
                double* at = end == 0 ? ring[SIDES * i + k].from : ring[SIDES * i + k].to;
                at[0] = x + 3.5 * cos(angle);
                at[1] = y + 1.5 * sin(angle);
            }
    }
}

static size_t covered_by(const rlv_label* label, const rlv_stretch* ring)
{
    size_t covered = 0;
    for (int i = 0; i < CROWD; i++)
        covered += rlv_labels_covered((rlv_box2){label[i].left, label[i].top, label[i].width, label[i].height},
                                      CROWD * SIDES, ring) > 0;
    return covered;
}

Test(labels, in_a_crowd_labels_cover_no_outline_and_no_other_label_where_there_is_room_to_step_aside)
{
    rlv_label blind[CROWD], label[CROWD];
    rlv_stretch ring[CROWD * SIDES];
    const rlv_box2 within = {0, 0, 180, 165};
    crowd(blind, ring);
    crowd(label, ring);
    cr_expect_eq(rlv_labels_place(CROWD, blind, &(rlv_label_place){within, .gap = 0.3}), 0);
    cr_expect_eq(rlv_labels_place(CROWD, label,
                                  &(rlv_label_place){within, .line_count = CROWD * SIDES, .line = ring, .gap = 0.3}),
                 0);
    cr_expect_gt(covered_by(blind, ring), 0, "the crowd is one: without the rings labels cover some");
    cr_expect_eq(covered_by(label, ring), 0);
    for (int i = 0; i < CROWD; i++)
        for (int k = 0; k < i; k++)
            cr_expect(apart(&label[i], &label[k], 0.3 - 1e-9), "%d and %d", i, k);
}

Test(labels, those_of_a_row_stand_on_the_side_where_no_other_row_is)
{
    // Two rows that run down the page, 14 mm apart: labels of the left one stand left of it, of the right one right.
    enum
    {
        ROW = 10
    };
    rlv_label label[2 * ROW] = {0};
    for (int i = 0; i < 2 * ROW; i++)
        label[i] = (rlv_label){
            .anchor = {i < ROW ? 50.0 : 64.0, 20.0 + 6.0 * (i % ROW)}, .width = 6.0, .height = 2.8, .clear = 1.5};
    cr_expect_eq(rlv_labels_place(2 * ROW, label, &(rlv_label_place){{0, 0, 120, 100}, .gap = 0.5}), 0);
    for (int i = 0; i < 2 * ROW; i++)
    {
        const bool end = i % ROW == 0 || i % ROW == ROW - 1; // beyond an end there is no neighbour either
        cr_expect(end || (label[i].left + 0.5 * label[i].width < label[i].anchor[0]) == (i < ROW), "%d", i);
        cr_expect_not(label[i].led, "%d", i);
    }
}

#define FOUR "\U00010330" // a letter of four bytes, of Gothic
#define THREE "\u304B"    // of three, of Hiragana
#define TWO "\u0436"      // of two, of Cyrillic
#define ACUTE "\u0301"    // a mark that sits on the letter before it

Test(labels, a_name_that_fits_is_shown_whole_in_every_script)
{
    static const char* const whole[] = {"",
                                        "dv-12",
                                        TWO TWO TWO TWO TWO,
                                        THREE THREE THREE THREE THREE,
                                        FOUR FOUR FOUR FOUR FOUR,
                                        TWO ACUTE TWO ACUTE TWO ACUTE TWO ACUTE TWO ACUTE};
    for (size_t i = 0; i < sizeof whole / sizeof *whole; i++)
        cr_expect_str_eq(rlv_shorten_name(whole[i], 5).text, whole[i]);
}

Test(labels, a_name_that_is_cut_ends_after_a_whole_letter_with_an_ellipsis)
{
    cr_expect_str_eq(rlv_shorten_name("dv-123", 5).text, "dv-1…");
    cr_expect_str_eq(rlv_shorten_name(TWO TWO TWO TWO TWO TWO, 5).text, TWO TWO TWO TWO "…");
    cr_expect_str_eq(rlv_shorten_name(THREE THREE THREE THREE THREE THREE, 5).text, THREE THREE THREE THREE "…");
    cr_expect_str_eq(rlv_shorten_name(FOUR FOUR FOUR FOUR FOUR FOUR, 5).text, FOUR FOUR FOUR FOUR "…");
    cr_expect_str_eq(rlv_shorten_name(TWO TWO ACUTE TWO, 2).text, TWO "…");
    cr_expect_str_eq(rlv_shorten_name(TWO ACUTE TWO TWO, 2).text, TWO ACUTE "…", "a mark stays on its letter");
}

Test(labels, a_name_longer_than_what_holds_it_is_cut_after_a_whole_letter)
{
    char name[4 * 100 + 1] = "";
    for (int i = 0; i < 100; i++)
        memcpy(name + 4 * i, FOUR, 5);
    const rlv_short_name shown = rlv_shorten_name(name, 90);
    const size_t length = strlen(shown.text), sign = strlen("…");
    cr_assert_gt(length, sizeof shown.text - 4 - sign - 1);
    cr_expect_str_eq(shown.text + length - sign, "…");
    cr_expect_eq((length - sign) % 4, 0);
    cr_expect_eq(memcmp(shown.text, name, length - sign), 0);
}
