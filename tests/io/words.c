#include "words.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

// Expected texts follow by hand from the rule at the head of io/words.h (JCGM 100:2008, 7.2.6).

Test(words, a_number_stops_at_the_first_figure_of_its_sd_or_the_second_where_that_is_a_one)
{
    cr_assert_eq(words_decimals(0.3), 1);
    cr_assert_eq(words_decimals(0.15), 2);
    cr_assert_eq(words_decimals(0.099), 1 + 1, "0.099 is a tenth, written 0.10");
    cr_assert_eq(words_decimals(4.0), 0);
    cr_assert_eq(words_decimals(40.0), -1);
    cr_assert_eq(words_decimals(12.0), 0);
}

Test(words, numbers_round_to_tens_and_never_show_a_negative_zero)
{
    cr_assert_str_eq(words_number(12345.0, -2).text, "12300");
    cr_assert_str_eq(words_number(-0.04, 1).text, "0.0");
    cr_assert_str_eq(words_number(2.345, 1).text, "2.3");
    cr_assert_str_eq(words_number((double)NAN, 1).text, "not known");
}

Test(words, significant_figures_have_no_exponent)
{
    cr_assert_str_eq(words_figures(123456.0, 3).text, "123000");
    cr_assert_str_eq(words_figures(0.0123456, 3).text, "0.0123");
    cr_assert_str_eq(words_figures(9.996, 3).text, "10.0");
    cr_assert_str_eq(words_figures(0.0, 3).text, "0");
}

Test(words, an_interval_is_rounded_outward_and_contains_the_unrounded_one)
{
    const rlv_interval interval = {12345.0, 11861.0, 12829.0};
    cr_assert_str_eq(words_value(interval, 1000.0).text, "12.3"); // sd 247: tenths of a mL
    cr_assert_str_eq(words_ends(interval, 1000.0).text, "11.8 to 12.9");
    const rlv_interval exact = {2000.0, 1500.0, 2500.0}; // sd 255: tenths, and both ends stand on one
    cr_assert_str_eq(words_ends(exact, 1000.0).text, "1.5 to 2.5");
}

Test(words, a_lower_end_above_zero_does_not_read_as_zero)
{
    const rlv_interval hours = {1537.9, 822.1, 11892.6}, rate = {6.386, 0.826, 11.946}; // sd 2824, and 2.84
    cr_assert_str_eq(words_value(hours, 1.0).text, "1500");
    cr_assert_str_eq(words_ends(hours, 1.0).text, "800 to 11900");
    cr_assert_str_eq(words_value(rate, 1.0).text, "6.4");
    cr_assert_str_eq(words_ends(rate, 1.0).text, "0.8 to 12.0");
    const rlv_interval hardly = {6.386, 0.0826, 12.7}, none = {6.386, 0.0, 12.8};
    cr_assert_str_eq(words_ends(hardly, 1.0).text, "0 to 13", "two decimals would be more than the sd allows");
    cr_assert_str_eq(words_ends(none, 1.0).text, "0 to 13");
}

Test(words, an_interval_without_an_upper_end_is_rounded_by_its_lower_half)
{
    const rlv_interval open = {392.1, 130.0, (double)INFINITY}; // lower half 262: sd 134, whose first figure is a 1
    cr_assert_str_eq(words_value(open, 1.0).text, "390");
}

Test(words, people_read_a_true_minus_and_machines_a_hyphen)
{
    const rlv_interval interval = {-2500.0, -11500.0, 6500.0}; // sd 4592
    cr_assert_str_eq(words_number(-2.345, 1).text, "\xE2\x88\x92"
                                                   "2.3"); // U+2212 in UTF-8
    cr_assert_str_eq(words_figures(-0.0123456, 2).text, "\xE2\x88\x92"
                                                        "0.012");
    cr_assert_str_eq(words_value(interval, 1000.0).text, "\xE2\x88\x92"
                                                         "2"); // halves go to the even
    cr_assert_str_eq(words_ends(interval, 1000.0).text, "\xE2\x88\x92"
                                                        "12 to 7");
    cr_assert_str_eq(words_exact(-2.5).text, "-2.5");
}

Test(words, numbers_of_unlike_signs_end_at_one_column_of_a_terminal)
{
    const rlv_words plus = words_right(words_number(12.5, 1), 7), minus = words_right(words_number(-12.5, 1), 7);
    cr_assert_str_eq(plus.text, "   12.5");
    cr_assert_str_eq(minus.text, "  \xE2\x88\x92"
                                 "12.5");
    cr_assert_eq(words_width(minus.text), 7);
    cr_assert_str_eq(words_right(words_number(123456.0, 0), 3).text, "123456");
}

Test(words, what_was_written_down_gets_no_zeros_that_nobody_wrote)
{
    cr_assert_str_eq(words_known(0.25, 0.0).text, "0.25");
    cr_assert_str_eq(words_known(-0.25, 0.0).text, "\xE2\x88\x92"
                                                   "0.25");
    cr_assert_str_eq(words_known(706.61234, 0.0).text, "706.6");
    cr_assert_str_eq(words_known(706.61234, 0.3).text, "706.6");
    cr_assert_str_eq(words_known(706.61234, 30.0).text, "710");
}

Test(words, a_bound_is_rounded_outward_to_two_figures_wherever_it_stands)
{
    const rlv_interval none = {0.0, 0.0, 8737.0}, slight = {0.0, 0.0, 61.9};
    cr_assert_str_eq(words_at_most(8.737).text, "8.8");
    cr_assert_str_eq(words_ends(none, 1000.0).text, "0 to 8.8");
    cr_assert_str_eq(words_value(slight, 1000.0).text, "0");
    cr_assert_str_eq(words_ends(slight, 1000.0).text, "0 to 0.062");
    cr_assert_str_eq(words_at_most(962.05).text, "970");
    cr_assert_str_eq(words_at_most(9.91).text, "10");
    cr_assert_str_eq(words_at_most(0.34).text, "0.34");
    cr_assert_str_eq(words_at_least(135.2).text, "130");
    cr_assert_str_eq(words_at_least(0.7).text, "0.70");
    cr_assert_str_eq(words_at_least(0.0).text, "0");
}

Test(words, what_was_weighed_is_told_as_it_was_written_down)
{
    cr_assert_str_eq(words_recorded(25538.5).text, "25538.5");
    cr_assert_str_eq(words_recorded(2706.0).text, "2706");
    cr_assert_str_eq(words_recorded(957.4999999999999).text, "957.5"); // a sum of tenths
    cr_assert_str_eq(words_recorded(-0.15).text, WORDS_MINUS "0.15");
}

Test(words, the_exact_decimal_reads_back_to_the_same_bits)
{
    const double numbers[] = {0.1, 1.0 / 3.0, 12345.678901234567, 5e-324, 1.7976931348623157e308, -2.5};
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
        cr_assert(strtod(words_exact(numbers[i]).text, NULL) == numbers[i]);
    cr_assert_str_eq(words_exact(0.1).text, "0.1");
    cr_assert_str_eq(words_exact((double)INFINITY).text, "");
}

Test(words, counts_take_their_plural)
{
    cr_assert_str_eq(words_count(1, "island").text, "1 island");
    cr_assert_str_eq(words_count(2, "island").text, "2 islands");
    cr_assert_str_eq(words_count(3, "vertex/vertices").text, "3 vertices");
    cr_assert_str_eq(words_count(1, "vertex/vertices").text, "1 vertex");
}

Test(words, a_csv_field_is_quoted_where_rfc_4180_asks_for_it)
{
    char* bytes = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&bytes, &size);
    words_write_csv(stream, "plain");
    fputc(',', stream);
    words_write_csv(stream, "a \"b\", c");
    fclose(stream);
    cr_assert_str_eq(bytes, "plain,\"a \"\"b\"\", c\"");
    free(bytes);
}

Test(words, a_name_says_its_id_where_it_begins_with_it_as_a_word)
{
    cr_expect(words_say_id("field block", "field"));
    cr_expect(words_say_id("Field", "field"));
    cr_expect_not(words_say_id("fieldstone wall", "field"));
    cr_expect_not(words_say_id("the field block", "field"));
    cr_expect_not(words_say_id("fie", "field"));
    cr_expect_not(words_say_id(NULL, "field"));
    cr_expect_not(words_say_id("field block", ""));
}

Test(words, what_was_found_is_never_shown_as_nothing)
{
    const rlv_interval slight = {310.0, 0.0, 11000.0}; // mm3: its sd of 2.8 mL would leave no figure of 0.31 mL
    cr_assert_str_eq(words_value(slight, 1000.0).text, "0");
    cr_assert_eq(words_found_decimals(slight, 1000.0), 1);
    cr_assert_str_eq(words_number(0.31, words_found_decimals(slight, 1000.0)).text, "0.3");
    const rlv_interval sure = {12345.0, 11861.0, 12829.0}, none = {0.0, 0.0, 340.0};
    cr_assert_eq(words_found_decimals(sure, 1000.0), words_interval_decimals(sure, 1000.0));
    cr_assert_eq(words_found_decimals(none, 1000.0), words_interval_decimals(none, 1000.0));
}

Test(words, a_chance_is_never_said_to_be_all_or_nothing)
{
    cr_expect_str_eq(words_chance(0.4512).text, "45 %");
    cr_expect_str_eq(words_chance(1.0).text, "over 99 %");
    cr_expect_str_eq(words_chance(0.0).text, "under 1 %");
    cr_expect_str_eq(words_chance((double)NAN).text, "not known");
}

Test(words, a_span_has_a_dash_and_one_number_none)
{
    cr_expect_str_eq(words_span(13, 20).text, "13–20");
    cr_expect_str_eq(words_span(7, 7).text, "7");
}

Test(words, trend_and_plunge_have_as_many_figures_as_the_trade_writes)
{
    cr_expect_str_eq(words_trend(82.4, 14.6).text, "082/15");
    cr_expect_str_eq(words_trend(359.7, -1.2).text, "000/−01");
    cr_expect_str_eq(words_trend(-10.0, 0.4).text, "350/00");
}
