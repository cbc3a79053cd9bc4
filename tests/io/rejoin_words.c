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
