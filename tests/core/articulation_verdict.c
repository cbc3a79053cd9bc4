#include "articulation.h"

#include <criterion/criterion.h>

enum
{
    COUNTED = 20
};

/// Elements that are told, by hand.
typedef struct hand_made
{
    rlv_articulation of;
    rlv_articulated told[COUNTED];
    rlv_articulation_group group;
} hand_made;

/// `off` of them lie off their rows, `shifted` are shifted by 5 mm; the rest are in place. The body is 100 mm long.
static void hand_make(hand_made* h, size_t shifted, size_t off)
{
    *h = (hand_made){.of = {.count = COUNTED, .axis = {.count = 101, .step_mm = 1.0}}};
    h->of.element = h->told;
    h->of.group = &h->group;
    for (size_t i = 0; i < COUNTED; i++)
    {
        const bool is_off = i >= shifted && i < shifted + off;
        h->told[i].state = i < shifted ? RLV_SHIFTED : is_off ? RLV_UNASSIGNED : RLV_IN_PLACE;
        h->told[i].why = is_off ? RLV_OFF_ROW : RLV_TOLD;
        h->told[i].motion.shift_mm.value = i < shifted ? 5.0 : 0.1;
        h->told[i].nearest_mm.value = 30.0; // more than a fifth of the body
    }
}

/// The probability of so many of COUNTED, or more (`up`), or fewer.
static double tail(size_t some, double share, bool up)
{
    double term = pow(1.0 - share, COUNTED), sum = 0.0;
    for (size_t k = 0; k <= COUNTED; k++)
    {
        sum += (up ? k >= some : k <= some) ? term : 0.0;
        term *= share / (1.0 - share) * (double)(COUNTED - k) / (double)(k + 1);
    }
    return sum;
}

Test(articulation_verdict, the_share_has_its_exact_interval_and_the_word_is_sure_where_it_holds_no_other)
{
    static hand_made h;
    hand_make(&h, 4, 0);
    rlv_articulation_verdict v = rlv_articulation_judge(&h.of);
    cr_expect_eq(v.word, RLV_ARTICULATED);
    cr_expect_not(v.sure);
    cr_expect_float_eq(v.share.value, 0.8, 1e-12);
    // C. J. Clopper, E. S. Pearson, Biometrika 26, 1934: each end leaves 2.5 % beyond it.
    cr_expect_float_eq(tail(16, v.share.low, true), 0.025, 1e-9);
    cr_expect_float_eq(tail(16, v.share.high, false), 0.025, 1e-9);
    hand_make(&h, 0, 0);
    v = rlv_articulation_judge(&h.of);
    cr_expect(v.sure);
    cr_expect_float_eq(v.share.high, 1.0, 1e-12);
}

Test(articulation_verdict, what_lies_off_its_row_counts_as_displaced)
{
    static hand_made h;
    hand_make(&h, 2, 4);
    const rlv_articulation_verdict v = rlv_articulation_judge(&h.of);
    cr_expect_eq(v.judged, COUNTED - 4);
    cr_expect_eq(v.off_row, 4);
    cr_expect_float_eq(v.share.value, 0.7, 1e-12);
    // 16 of 20 lie within a fifth of the body's length.
    cr_expect_eq(v.word, RLV_ASSOCIATED);
    hand_make(&h, 2, 8);
    cr_expect_eq(rlv_articulation_judge(&h.of).word, RLV_ISOLATED);
}

Test(articulation_verdict, what_has_no_state_and_may_have_a_place_does_not_count)
{
    static hand_made h;
    hand_make(&h, 2, 4);
    for (size_t i = 2; i < 6; i++)
        h.told[i].why = RLV_WITHOUT_PLACE;
    const rlv_articulation_verdict v = rlv_articulation_judge(&h.of);
    cr_expect_eq(v.judged, COUNTED - 4);
    cr_expect_eq(v.off_row, 0);
    cr_expect_float_eq(v.share.value, 14.0 / 16.0, 1e-12);
}

Test(articulation_verdict, a_stretch_weighs_as_one_event_in_how_sure_the_share_is)
{
    static hand_made h;
    hand_make(&h, 4, 0);
    const rlv_interval alone = rlv_articulation_judge(&h.of).share;
    h.of.group_count = 1;
    h.group.count = 4;
    const rlv_articulation_verdict v = rlv_articulation_judge(&h.of);
    // L. Kish: (16 + 4)^2 / (16 + 4^2)
    cr_expect_float_eq(v.effective, 12.5, 1e-12);
    cr_expect_float_eq(v.share.value, alone.value, 1e-12);
    cr_expect(v.share.low < alone.low && v.share.high > alone.high);
}

Test(articulation_verdict, without_what_could_not_be_tested_the_share_is_that_of_the_rest)
{
    static hand_made h;
    hand_make(&h, 2, 3);
    h.of.verdict = rlv_articulation_judge(&h.of);
    const rlv_interval all = rlv_articulation_share_tested(&h.of, 0), tested = rlv_articulation_share_tested(&h.of, 5);
    cr_expect_float_eq(all.value, h.of.verdict.share.value, 1e-12);
    cr_expect_float_eq(all.low, h.of.verdict.share.low, 1e-12);
    // 10 of 15, with the binomial interval of as many.
    const rlv_interval exact = rlv_articulation_share(10.0, 15.0);
    cr_expect_float_eq(tested.value, 10.0 / 15.0, 1e-12);
    cr_expect_float_eq(tested.low, exact.low, 1e-12);
    cr_expect_float_eq(tested.high, exact.high, 1e-12);
    // A stretch of six is one event among them too: (6 + 9)^2 / (36 + 9) = 5.
    hand_make(&h, 6, 0);
    h.of.group_count = 1;
    h.group.count = 6;
    h.of.verdict = rlv_articulation_judge(&h.of);
    cr_expect_float_eq(rlv_articulation_share_tested(&h.of, 5).low, rlv_articulation_share(3.0, 5.0).low, 1e-12);
    cr_expect(isnan(rlv_articulation_share_tested(&(rlv_articulation){0}, 0).value));
}
