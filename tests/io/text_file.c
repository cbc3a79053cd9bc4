/// Tests of what a person's text may be: ids, dates, UTF-8.

#include "text_file.h"

#include "support/program.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

TestSuite(text_file, .init = program_enter, .fini = program_leave, .timeout = 60);

Test(text_file, an_id_is_of_letters_and_digits_of_any_script)
{
    const char* const fine[] = {"LQ-0417", "a", "slab A", "1.2_b", "рыба 2", "魚", "é", "e\xCC\x81", "٣", "अंश"};
    const char* const odd[] = {"",     ".",  "..",   ".a",  " a", "a ", "a/b",  "a\\b",  "a\nb",
                               "a\tb", "a*", "a\"b", "a:b", "a|", "☃",  "\xFF", "a\xC3", "\u202Ea"};
    const char* why = NULL;
    for (size_t i = 0; i < sizeof fine / sizeof *fine; i++)
        cr_assert(rlv_text_is_id(fine[i], &why), "%s: %s", fine[i], why);
    for (size_t i = 0; i < sizeof odd / sizeof *odd; i++)
    {
        cr_assert(!rlv_text_is_id(odd[i], &why), "%s", odd[i]);
        cr_assert_not_null(why);
    }
    char longest[102];
    memset(longest, 'a', sizeof longest);
    longest[100] = '\0';
    cr_assert(rlv_text_is_id(longest, &why));
    longest[100] = 'a';
    longest[101] = '\0';
    cr_assert(!rlv_text_is_id(longest, &why));
}

Test(text_file, the_last_day_of_each_month_is_a_date_and_the_next_is_none)
{
    const int days[12] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    char text[32];
    for (int month = 1; month <= 12; month++)
    {
        snprintf(text, sizeof text, "2031-%02d-%02d", month, days[month - 1]);
        cr_assert(rlv_text_is_date(text), "%s", text);
        snprintf(text, sizeof text, "2031-%02d-%02d", month, days[month - 1] + 1);
        cr_assert(!rlv_text_is_date(text), "%s", text);
    }
    // The Gregorian rule: every fourth year, but of the hundreds only every fourth.
    cr_assert(rlv_text_is_date("2032-02-29") && rlv_text_is_date("2000-02-29"));
    cr_assert(!rlv_text_is_date("2031-02-29") && !rlv_text_is_date("2100-02-29"));
}

Test(text_file, two_dates_with_a_slash_are_one_where_the_first_is_not_later)
{
    cr_assert(rlv_text_is_date("2031-05-12/2031-05-14") && rlv_text_is_date("2031/2032"));
    cr_assert(rlv_text_is_date("2031-05-12/2031-05-12"));
    cr_assert(!rlv_text_is_date("2031-05-14/2031-05-12") && !rlv_text_is_date("2031/") && !rlv_text_is_date("/2031"));
    cr_assert(!rlv_text_is_date("2031/2032/2033") && !rlv_text_is_date(""));
}

static rlv_status open_text(rlv_reading* reading, const char* bytes, size_t size, size_t most, rlv_error* error)
{
    char sha256[65];
    program_write_bytes("a.txt", bytes, size);
    return rlv_text_file_open(reading, "a.txt", most, sha256, error);
}

Test(text_file, the_line_of_a_byte_that_is_not_utf8_is_told)
{
    rlv_reading reading = {0};
    rlv_error error = {0};
    cr_assert_eq(open_text(&reading, "a\r\nb\rc\nd\xE9\n", 9, 100, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, "a.txt:4");
    cr_assert_not_null(strstr(error.what, "0xe9"));
    rlv_reading_close(&reading);
    cr_assert_eq(open_text(&reading, "a\n\0", 3, 100, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, "a.txt:2");
    rlv_reading_close(&reading);
}

Test(text_file, a_file_of_as_many_bytes_as_may_be_is_read_and_one_more_is_not)
{
    rlv_reading reading = {0};
    rlv_error error = {0};
    cr_assert_eq(open_text(&reading, "abcd", 4, 4, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(rlv_text_start(&reading), 0);
    rlv_reading_close(&reading);
    cr_assert_eq(open_text(&reading, "abcde", 5, 4, &error), RLV_BAD_INPUT);
    rlv_reading_close(&reading);
    cr_assert_eq(open_text(&reading,
                           "\xEF\xBB\xBF"
                           "a",
                           4, 4, &error),
                 RLV_DONE);
    cr_assert_eq(rlv_text_start(&reading), 3);
    rlv_reading_close(&reading);
}
