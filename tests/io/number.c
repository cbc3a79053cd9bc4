/// Tests of numbers in text, held against the C library's strtod, which rounds correctly (glibc manual,
/// section 20.11.2).

#include "number.h"
#include "scan.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void expect_as_library(const char* text, locale_t plain)
{
    double got = 0.0, want = strtod(text, NULL);
    const char* after = rlv_number(text, &got, plain);
    cr_assert(after != NULL && *after == '\0', "%s", text);
    cr_assert(memcmp(&got, &want, sizeof got) == 0, "%s: %.17g, not %.17g", text, got, want);
}

Test(number, every_number_is_rounded_as_the_library_rounds_it)
{
    static const char* const forms[] = {"%.0f", "%.3f", "%.6f", "%.9g", "%.15g", "%.17g", "%.25g", "%+.12e", "%.3E"};
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    scan_random random = {41};
    for (int i = 0; i < 200000; i++)
    {
        char text[512];
        double size = ldexp(1.0, (int)(scan_random_bits(&random) % 120) - 60);
        snprintf(text, sizeof text, forms[i % 9], (scan_random_unit(&random) - 0.5) * size);
        expect_as_library(text, plain);
    }
    freelocale(plain);
}

Test(number, numbers_at_the_edges_are_rounded_as_the_library_rounds_them)
{
    static const char* const texts[] = {"0",
                                        "-0",
                                        "+1",
                                        "1.",
                                        ".5",
                                        "-.5e-3",
                                        "2.e1",
                                        "9007199254740992",
                                        "9007199254740993",
                                        "9007199254740993e22",
                                        "1e22",
                                        "1e23",
                                        "1e-22",
                                        "1e-23",
                                        "4.9e-324",
                                        "2e-324",
                                        "1.7976931348623157e308",
                                        "1e400",
                                        "1e-400",
                                        "1e99999999999",
                                        "0e99999999999",
                                        "000000000000000000000000001.5",
                                        "0.00000000000000000000000000000000000015",
                                        "18446744073709551616",
                                        "123456789012345678",
                                        "1234567890123456789"};
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        expect_as_library(texts[i], plain);
    freelocale(plain);
}

Test(number, what_is_no_number_is_none)
{
    static const char* const texts[] = {"",     "-",    "+",    ".",   "e5",  "1e",   "1e+",
                                        "1.5x", "0x10", "1e5f", "abc", "--1", "1_000"};
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    double value;
    int64_t whole;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        cr_assert_null(rlv_number(texts[i], &value, plain), "%s", texts[i]);
    cr_assert_null(rlv_whole("99999999999999999999", &whole));
    cr_assert_null(rlv_whole("-", &whole));
    freelocale(plain);
}

Test(number, nan_and_infinity_are_read_as_such)
{
    static const char* const texts[] = {"nan", "-NaN", "nan(ind)", "inf", "-Infinity"};
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    for (size_t i = 0; i < 5; i++)
    {
        double value = 0.0;
        const char* after = rlv_number(texts[i], &value, plain);
        cr_assert(after != NULL && *after == '\0' && !isfinite(value), "%s", texts[i]);
    }
    freelocale(plain);
}
