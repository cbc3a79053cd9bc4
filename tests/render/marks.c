// Marks: bars as long as they say, scales of the standard, numbers as a step asks.

#include "marks.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

TestSuite(marks);

Test(marks, a_bar_is_a_round_length_at_its_scale_and_no_longer_than_its_place)
{
    for (double scale = 0.01; scale < 20.0; scale *= 1.37)
    {
        rlv_bar bar = rlv_bar_of(scale, 60.0);
        cr_expect_float_eq(bar.paper_mm, bar.length_mm * scale, 1e-9);
        cr_expect_leq(bar.paper_mm, 60.0 * (1.0 + 1e-6));
        cr_expect_geq(bar.paper_mm, 60.0 / 2.5 * (1.0 - 1e-6));
        double digit = bar.length_mm / pow(10.0, floor(log10(bar.length_mm) + 1e-9));
        cr_expect(fabs(digit - 1.0) < 1e-9 || fabs(digit - 2.0) < 1e-9 || fabs(digit - 5.0) < 1e-9);
    }
}

Test(marks, standard_scales_are_one_two_and_five_times_a_power_of_ten)
{
    const double wanted[8][2] = {{1.0, 1.0},  {0.99, 0.5},  {0.5, 0.5}, {0.33, 0.2},
                                 {0.11, 0.1}, {0.09, 0.05}, {3.0, 2.0}, {12.0, 10.0}};
    for (int i = 0; i < 8; i++)
        cr_expect_float_eq(rlv_standard_scale(wanted[i][0]), wanted[i][1], 1e-12);
}

Test(marks, round_scales_are_a_series_that_is_the_same_read_from_both_ends)
{
    const double wanted[10][2] = {{1.0, 1.0},  {0.99, 0.5}, {0.49, 0.4}, {0.39, 0.25}, {0.24, 0.2},
                                  {0.19, 0.1}, {0.3, 0.25}, {4.9, 4.0},  {2.6, 2.5},   {0.051, 0.05}};
    for (int i = 0; i < 10; i++)
        cr_expect_float_eq(rlv_round_scale(wanted[i][0]), wanted[i][1], 1e-12);
    for (double scale = 0.003; scale < 300.0; scale *= 1.01)
    {
        double down = rlv_round_scale(scale), again = 1.0 / rlv_round_scale(1.0 / down);
        cr_expect_leq(down, scale * (1.0 + 1e-8));
        cr_expect_float_eq(again, down, 1e-9 * down);
    }
}

Test(marks, the_rulers_line_is_as_long_as_it_says_and_no_wider_than_its_place)
{
    const double unit[6] = {1.0, 1.4, 1.5, 1.99, 2.0, 2.83}, length[6] = {100.0, 100.0, 100.0, 100.0, 200.0, 200.0};
    for (int i = 0; i < 6; i++)
    {
        rlv_sheet sheet;
        cr_assert_eq(rlv_sheet_reserve(&sheet, 400, 100, NULL), RLV_DONE);
        sheet.unit = unit[i];
        rlv_box2 box = rlv_mark_control(&sheet, 10.0, 10.0);
        cr_expect_geq(box.width, length[i]);
        cr_expect_leq(box.width, RLV_CONTROL_MM * unit[i] + 1e-9);
        rlv_sheet_free(&sheet);
    }
}

Test(marks, scales_and_steps_in_words)
{
    char words[48];
    const double scale[5] = {1.0, 0.5, 5.0, 1.0 / 3.3, 0.05};
    const char* said[5] = {"1 : 1", "1 : 2", "5 : 1", "1 : 3.3", "1 : 20"};
    for (int i = 0; i < 5; i++)
    {
        rlv_scale_words(words, sizeof words, scale[i]);
        cr_expect_str_eq(words, said[i]);
    }
    rlv_step_words(words, sizeof words, -1.5, 0.5);
    cr_expect_str_eq(words, "\xe2\x88\x92"
                            "1.5");
    rlv_step_words(words, sizeof words, -0.0, 0.5);
    cr_expect_str_eq(words, "0.0");
    rlv_step_words(words, sizeof words, 20.0, 10.0);
    cr_expect_str_eq(words, "20");
}

Test(marks, round_steps_cut_a_span_into_no_more_parts_than_asked)
{
    for (double span = 0.013; span < 5000.0; span *= 1.7)
        for (int most = 1; most <= 8; most++)
        {
            double step = rlv_round_step(span, most);
            cr_expect_leq(span / step, most * (1.0 + 1e-8));
            cr_expect_gt(span / step, most / 2.5 * (1.0 - 1e-8));
        }
}
