#include "scale.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <string.h>

enum
{
    TRIALS = 2000,
    MOST_BARS = 8,
};

/// A sum of a few products and a root: some 16 rounding errors.
#define ROUNDING (16 * DBL_EPSILON)

/// The share of `TRIALS` in which a 95 % interval holds the truth has an sd of 0.5 %: 93 to 97 % is four of them.
static void expect_coverage(size_t bars, int inside)
{
    const double share = (double)inside / TRIALS;
    cr_log_info("%zu bars: inside in %.4f of %d", bars, share, (int)TRIALS);
    cr_expect(share > 0.93 && share < 0.97, "%zu bars: inside in %.4f of %d", bars, share, (int)TRIALS);
}

static rlv_scale scale_of(size_t count, const rlv_scale_bar* bar, rlv_scale_residual* residual)
{
    rlv_scale scale;
    rlv_error error = {0};
    cr_assert_eq(rlv_scale_from_bars(&scale, residual, count, bar, &error), RLV_DONE, "%s", error.what);
    return scale;
}

/// Bars of 100 to 500 mm seen at `mm_per_unit`, points off along the bar by `true_sd_mm`, said to be off by `sd_mm`.
static void draw_bars(scan_random* random, size_t count, double mm_per_unit, double true_sd_mm, double sd_mm,
                      rlv_scale_bar* bar)
{
    for (size_t i = 0; i < count; i++)
    {
        const double truth = 100.0 + 400.0 * scan_random_unit(random);
        const double ends = true_sd_mm * (scan_random_normal(random) - scan_random_normal(random));
        bar[i] = (rlv_scale_bar){
            (truth + ends) / mm_per_unit, {sd_mm, sd_mm}, truth + 0.05 * scan_random_normal(random), 0.05};
    }
}

Test(scale, one_bar_is_that_bar)
{
    // 250 mm over 0.5 units; sd sqrt(0.3^2 + 0.4^2) = 0.5 mm of 250: 0.002.
    const rlv_scale_bar bar = {0.5, {0.3, 0.4}, 250.0, 0.0};
    rlv_scale_residual residual;
    const rlv_scale scale = scale_of(1, &bar, &residual);
    cr_assert_eq(scale.mm_per_unit, 500.0);
    cr_assert_float_eq(scale.relative_sd, 0.002, 0.002 * ROUNDING);
    cr_assert_eq(residual.residual_mm, 0.0);
    cr_assert(isnan(scale.chi_square) && isnan(scale.p) && isnan(scale.birge_ratio) && isnan(residual.sds));
    cr_assert(!scale.inflated && !residual.alarm && !residual.default_sd);
    cr_assert_eq(scale.mm_per_unit_without, scale.mm_per_unit);
}

Test(scale, two_bars_by_hand)
{
    // Both of 100 mm and sd 0.5 mm, measured as 100.3 and 99.7 units: k = 1, residuals +-0.3 mm, chi-square 2 * 0.36 =
    // 0.72; leverage 1/2 each, so 0.6 * sqrt(2) sds; relative sd 0.005 / sqrt(2).
    const rlv_scale_bar bar[2] = {{100.3, {0.3, 0.4}, 100.0, 0.0}, {99.7, {0.4, 0.3}, 100.0, 0.0}};
    rlv_scale_residual residual[2];
    const rlv_scale scale = scale_of(2, bar, residual);
    cr_assert_float_eq(scale.mm_per_unit, 1.0, ROUNDING);
    cr_assert_float_eq(scale.relative_sd, 0.005 / sqrt(2.0), ROUNDING);
    cr_assert_float_eq(residual[0].residual_mm, 0.3, 100.0 * ROUNDING);
    cr_assert_float_eq(residual[1].residual_mm, -0.3, 100.0 * ROUNDING);
    cr_assert_float_eq(residual[0].sds, 0.6 * sqrt(2.0), 400.0 * ROUNDING);
    cr_assert_float_eq(scale.chi_square, 0.72, 400.0 * ROUNDING);
    // Chi-square of 0.72 with one degree of freedom: erfc(sqrt(0.36)) = 0.396143909 (tables of the error function).
    cr_assert_float_eq(scale.p, erfc(0.6), 400.0 * ROUNDING);
    cr_assert(!scale.inflated);
}

Test(scale, longer_bars_weigh_more)
{
    // Sum of L m over sum of L^2, sds alike: (100 * 101 + 300 * 300) / (100^2 + 300^2) = 1.001 units a millimetre.
    const rlv_scale_bar bar[2] = {{101.0, {1, 1}, 100.0, 0.0}, {300.0, {1, 1}, 300.0, 0.0}};
    rlv_scale_residual residual[2];
    cr_assert_float_eq(scale_of(2, bar, residual).mm_per_unit, 1.0 / 1.001, ROUNDING);
}

Test(scale, what_certificates_make_of_the_sd_is_told_apart)
{
    // 0.3 of a point and 0.4 of a certificate: 3, 4, 5; two bars alike have a root of a half of each.
    const rlv_scale_bar bar[2] = {{200.0, {0.3, 0.0}, 200.0, 0.4}, {200.0, {0.3, 0.0}, 200.0, 0.4}};
    rlv_scale_residual residual[2];
    const rlv_scale one = scale_of(1, bar, residual), two = scale_of(2, bar, residual);
    cr_assert_float_eq(one.relative_sd, 0.5 / 200.0, ROUNDING);
    cr_assert_float_eq(one.certificate_sd, 0.4 / 200.0, ROUNDING);
    cr_assert_float_eq(two.certificate_sd, 0.4 / 200.0 * M_SQRT1_2, ROUNDING);
}

Test(scale, sds_not_given_are_the_stated_default)
{
    const rlv_scale_bar bar = {2.0, {NAN, NAN}, 200.0, 0.0};
    rlv_scale_residual residual;
    const rlv_scale scale = scale_of(1, &bar, &residual);
    cr_assert(residual.default_sd);
    cr_assert_float_eq(scale.relative_sd, 0.3 * sqrt(2.0) / 200.0, ROUNDING);
    cr_assert_eq(scale.certificate_sd, 0.0);
}

Test(scale, unit_of_the_mesh_changes_nothing_but_the_scale)
{
    scan_random random = {7};
    rlv_scale_bar bar[4], inches[4];
    rlv_scale_residual residual[4], in_inches[4];
    draw_bars(&random, 4, 1.0, 0.3, 0.3, bar);
    for (int i = 0; i < 4; i++)
    {
        inches[i] = bar[i];
        inches[i].measured_units /= 1024.0; // exact in binary
    }
    const rlv_scale a = scale_of(4, bar, residual), b = scale_of(4, inches, in_inches);
    cr_assert_eq(b.mm_per_unit, 1024.0 * a.mm_per_unit);
    cr_assert_eq(a.relative_sd, b.relative_sd);
    cr_assert_eq(a.chi_square, b.chi_square);
}

Test(scale, interval_holds_the_truth)
{
    for (size_t count = 1; count <= MOST_BARS; count += count < 4 ? 1 : 4)
    {
        scan_random random = {100 + count};
        int inside = 0;
        for (int t = 0; t < TRIALS; t++)
        {
            rlv_scale_bar bar[MOST_BARS];
            rlv_scale_residual residual[MOST_BARS];
            draw_bars(&random, count, 0.0254, 0.3, NAN, bar);
            const rlv_scale scale = scale_of(count, bar, residual);
            inside += fabs(log(scale.mm_per_unit / 0.0254)) < 1.959963984540054 * scale.relative_sd;
        }
        expect_coverage(count, inside);
    }
}

Test(scale, good_bars_alarm_in_one_stage_of_twenty)
{
    // The rule's level: with Bonferroni at most 0.05 (and little less); four sds of 0.5 % above and below.
    for (size_t count = 2; count <= MOST_BARS; count += 3)
    {
        scan_random random = {200 + count};
        int alarmed = 0;
        for (int t = 0; t < TRIALS; t++)
        {
            rlv_scale_bar bar[MOST_BARS];
            rlv_scale_residual residual[MOST_BARS];
            draw_bars(&random, count, 3.0, 0.3, 0.3, bar);
            alarmed += scale_of(count, bar, residual).alarms > 0;
        }
        cr_expect(alarmed > 0.03 * TRIALS && alarmed < 0.07 * TRIALS, "%zu bars: %d of %d", count, alarmed,
                  (int)TRIALS);
    }
}

Test(scale, a_bar_off_by_one_per_cent_is_flagged_among_four)
{
    const rlv_scale_bar bar[4] = {{250.1, {NAN, NAN}, 250.0, 0.02},
                                  {249.8, {NAN, NAN}, 250.0, 0.02},
                                  {252.5, {NAN, NAN}, 250.0, 0.02},
                                  {250.0, {NAN, NAN}, 250.0, 0.02}};
    rlv_scale_residual residual[4];
    const rlv_scale scale = scale_of(4, bar, residual);
    cr_assert_eq(scale.alarms, 1);
    cr_assert(!residual[0].alarm && !residual[1].alarm && residual[2].alarm && !residual[3].alarm);
    // The flagged bar still counts, and the sd says what that does: 252.5 / 250 shifts the mean by a quarter per cent.
    cr_assert(scale.inflated);
    cr_assert_lt(fabs(log(scale.mm_per_unit)), 1.96 * scale.relative_sd);
    // Without it: the mean of 250.1, 249.8 and 250 is 249.9667.
    cr_assert_float_eq(scale.mm_per_unit_without, 250.0 / (749.9 / 3.0), ROUNDING);
}

Test(scale, a_bar_off_by_one_per_cent_is_flagged_in_nearly_every_draw)
{
    // 2.5 mm over sqrt(2 * 0.3^2) mm is 5.9 sds; with a leverage of a quarter 5.1, against a limit of 2.50: it is
    // missed where a normal number is below -2.6, in 0.5 % of draws. 4 sds of that share of 2000 above: 1.2 %.
    scan_random random = {300};
    int flagged = 0;
    for (int t = 0; t < TRIALS; t++)
    {
        rlv_scale_bar bar[4];
        rlv_scale_residual residual[4];
        for (int i = 0; i < 4; i++)
            bar[i] = (rlv_scale_bar){250.0 + (i == 1 ? 2.5 : 0.0) +
                                         0.3 * (scan_random_normal(&random) - scan_random_normal(&random)),
                                     {NAN, NAN},
                                     250.0,
                                     0.0};
        scale_of(4, bar, residual);
        flagged += residual[1].alarm;
    }
    cr_expect_gt(flagged, 0.988 * TRIALS, "flagged in %d of %d", flagged, (int)TRIALS);
}

Test(scale, a_gross_bar_does_not_accuse_the_good_ones)
{
    const rlv_scale_bar bar[5] = {{250.1, {0.3, 0.3}, 250.0, 0.0},
                                  {500.0, {0.3, 0.3}, 250.0, 0.0},
                                  {249.8, {0.3, 0.3}, 250.0, 0.0},
                                  {300.2, {0.3, 0.3}, 300.0, 0.0},
                                  {199.7, {0.3, 0.3}, 200.0, 0.0}};
    rlv_scale_residual residual[5];
    cr_assert_eq(scale_of(5, bar, residual).alarms, 1);
    cr_assert(residual[1].alarm);
}

Test(scale, of_two_bars_that_disagree_both_alarm)
{
    const rlv_scale_bar bar[2] = {{100.0, {0.3, 0.3}, 100.0, 0.0}, {103.0, {0.3, 0.3}, 100.0, 0.0}};
    rlv_scale_residual residual[2];
    const rlv_scale scale = scale_of(2, bar, residual);
    cr_assert(residual[0].alarm && residual[1].alarm);
    cr_assert(isnan(scale.mm_per_unit_without) && isnan(scale.relative_sd_without));
}

Test(scale, sd_is_inflated_by_the_birge_ratio_where_sds_are_too_small)
{
    // Residuals of +-0.3 mm against sds of 0.05: chi-square 2 * 36 = 72, ratio sqrt(72).
    const rlv_scale_bar bar[2] = {{100.3, {0.03, 0.04}, 100.0, 0.0}, {99.7, {0.04, 0.03}, 100.0, 0.0}};
    rlv_scale_residual residual[2];
    const rlv_scale scale = scale_of(2, bar, residual);
    cr_assert(scale.inflated);
    cr_assert_float_eq(scale.birge_ratio, sqrt(72.0), 4000.0 * ROUNDING);
    cr_assert_float_eq(scale.relative_sd, 0.0005 / sqrt(2.0) * sqrt(72.0), ROUNDING);
}

/// Refuse a bar, and name it.
static void expect_refused(rlv_scale_bar bad)
{
    const rlv_scale_bar bar[2] = {{100.0, {0.3, 0.3}, 100.0, 0.0}, bad};
    rlv_scale scale;
    rlv_scale_residual residual[2];
    rlv_error error = {0};
    cr_expect_eq(rlv_scale_from_bars(&scale, residual, 2, bar, &error), RLV_BAD_INPUT);
    cr_expect_not_null(strstr(error.what, "scale bar 2"), "%s", error.what);
    cr_expect_neq(error.mend[0], '\0');
}

Test(scale, refuses_what_is_no_bar)
{
    rlv_scale scale;
    rlv_error error = {0};
    cr_expect_eq(rlv_scale_from_bars(&scale, NULL, 0, NULL, &error), RLV_BAD_INPUT);
    expect_refused((rlv_scale_bar){0.0, {0.3, 0.3}, 100.0, 0.0});
    expect_refused((rlv_scale_bar){-1.0, {0.3, 0.3}, 100.0, 0.0});
    expect_refused((rlv_scale_bar){NAN, {0.3, 0.3}, 100.0, 0.0});
    expect_refused((rlv_scale_bar){INFINITY, {0.3, 0.3}, 100.0, 0.0});
    expect_refused((rlv_scale_bar){1.0, {0.3, 0.3}, 0.0, 0.0});
    expect_refused((rlv_scale_bar){1.0, {0.3, 0.3}, NAN, 0.0});
    expect_refused((rlv_scale_bar){1.0, {-0.3, 0.3}, 100.0, 0.0});
    expect_refused((rlv_scale_bar){1.0, {0.3, INFINITY}, 100.0, 0.0});
    expect_refused((rlv_scale_bar){1.0, {0.3, 0.3}, 100.0, NAN});
    expect_refused((rlv_scale_bar){1.0, {0.3, 0.3}, 100.0, -0.1});
    expect_refused((rlv_scale_bar){1.0, {0.0, 0.0}, 100.0, 0.0});
}
