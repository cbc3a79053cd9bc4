#include "ledger.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    TRIALS = 2000,
    MOST_STEPS = 8,
};

#define HALF 1.959963984540054

/// Sums of a few products of numbers up to 1e5.
#define ROUNDING (64 * DBL_EPSILON * 1e5)

static const rlv_mass NOTHING = {0.0, 0.0}, UNWEIGHED = {NAN, NAN};

/// The share of `TRIALS` in which a 95 % interval holds the truth has an sd of 0.5 %: 93 to 97 % is four of them.
static void expect_coverage(const char* what, int inside)
{
    const double share = (double)inside / TRIALS;
    cr_log_info("%s: inside in %.4f of %d", what, share, (int)TRIALS);
    cr_expect(share > 0.93 && share < 0.97, "%s: inside in %.4f of %d", what, share, (int)TRIALS);
}

static void expect_interval(rlv_interval i, double value, double low, double high)
{
    cr_expect_float_eq(i.value, value, ROUNDING, "%.12g is not %.12g", i.value, value);
    cr_expect_float_eq(i.low, low, ROUNDING, "low: %.12g is not %.12g", i.low, low);
    cr_expect_float_eq(i.high, high, ROUNDING, "high: %.12g is not %.12g", i.high, high);
}

static bool holds(rlv_interval i, double truth)
{
    return i.low <= truth && truth <= i.high;
}

/// Matrix of this interval in mL, and nothing else; everything weighed, and nothing there.
static rlv_ledger_step matrix_step(double ml, double low_ml, double high_ml)
{
    rlv_ledger_step s = {.spoil = NOTHING};
    s.volume_mm3[RLV_CHANGE_REMOVED] = (rlv_interval){1000.0 * ml, 1000.0 * low_ml, 1000.0 * high_ml};
    return s;
}

/// Every material of 2.5 g/cm3 with an sd of `sd`.
static rlv_ledger_input input_of(size_t steps, const rlv_ledger_step* step, double sd)
{
    rlv_ledger_input in = {.step_count = steps, .step = step};
    for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
        in.density[c] = (rlv_density){2.5, sd};
    return in;
}

static void sum_up(rlv_ledger_row* step, rlv_ledger_row* all, const rlv_ledger_input* in)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_ledger_sum(step, all, in, &error), RLV_DONE, "%s", error.what);
}

Test(ledger, grams_are_volume_times_density_each_half_by_itself)
{
    const rlv_ledger_step s = matrix_step(100.0, 95.0, 108.0);
    const rlv_ledger_input in = input_of(1, &s, 0.05);
    rlv_ledger_row step, all;
    sum_up(&step, &all, &in);
    expect_interval(step.ml[RLV_CHANGE_REMOVED], 100.0, 95.0, 108.0);
    // 250 g; halves of 2.5 * 5 and 2.5 * 8 with 1.96 * 100 * 0.05 in quadrature.
    expect_interval(step.g[RLV_CHANGE_REMOVED], 250.0, 250.0 - hypot(12.5, HALF * 5.0),
                    250.0 + hypot(20.0, HALF * 5.0));
    expect_interval(step.g[RLV_CHANGE_BONE], 0.0, 0.0, 0.0);
    expect_interval(all.g[RLV_CHANGE_REMOVED], step.g[RLV_CHANGE_REMOVED].value, step.g[RLV_CHANGE_REMOVED].low,
                    step.g[RLV_CHANGE_REMOVED].high);
}

Test(ledger, a_multiple_of_an_interval_keeps_its_lopsided_halves)
{
    const rlv_interval i = rlv_interval_times((rlv_interval){-2.0, -5.0, 4.0}, 0.5);
    cr_expect_eq(i.value, -1.0);
    cr_expect_eq(i.low, -2.5);
    cr_expect_eq(i.high, 2.0);
}

Test(ledger, volumes_of_steps_add_in_quadrature)
{
    const rlv_ledger_step s[2] = {matrix_step(100.0, 97.0, 105.0), matrix_step(50.0, 46.0, 62.0)};
    const rlv_ledger_input in = input_of(2, s, 0.0);
    rlv_ledger_row step[2], all[2];
    sum_up(step, all, &in);
    expect_interval(all[0].ml[RLV_CHANGE_REMOVED], 100.0, 97.0, 105.0);
    expect_interval(all[1].ml[RLV_CHANGE_REMOVED], 150.0, 145.0, 163.0); // 3, 4, 5 and 5, 12, 13
}

Test(ledger, a_density_errs_alike_in_all_steps)
{
    const rlv_ledger_step s[2] = {matrix_step(100.0, 100.0, 100.0), matrix_step(100.0, 100.0, 100.0)};
    const rlv_ledger_input in = input_of(2, s, 0.05);
    rlv_ledger_row step[2], all[2];
    sum_up(step, all, &in);
    expect_interval(all[1].g[RLV_CHANGE_REMOVED], 500.0, 500.0 - HALF * 10.0, 500.0 + HALF * 10.0);
}

Test(ledger, what_scales_share_errs_alike_in_all_steps)
{
    // A scale sd of 0.001 is 0.003 of a volume: 0.3 mL of 100, and 0.6 of 200, not 0.42.
    const double half = HALF * 0.3;
    rlv_ledger_step s[2] = {matrix_step(100.0, 100.0 - half, 100.0 + half),
                            matrix_step(100.0, 100.0 - half, 100.0 + half)};
    const rlv_ledger_input in = input_of(2, s, 0.0);
    s[0].shared_scale_sd = s[1].shared_scale_sd = 0.001;
    rlv_ledger_row step[2], all[2];
    sum_up(step, all, &in);
    expect_interval(step[0].ml[RLV_CHANGE_REMOVED], 100.0, 100.0 - half, 100.0 + half);
    // Rounding in the squares of the halves: a root of 1e-15 * 0.35.
    cr_expect_float_eq(all[1].ml[RLV_CHANGE_REMOVED].low, 200.0 - 2.0 * half, 1e-6);
    cr_expect_float_eq(all[1].g[RLV_CHANGE_REMOVED].high, 500.0 + 5.0 * half, 1e-6);
}

Test(ledger, bounds_of_what_lies_below_the_limit_add_up)
{
    // Halves of 3 and 4 about what was found, 20 and 30 beside the first and a step with nothing found.
    rlv_ledger_step s[2] = {matrix_step(100.0, 97.0, 103.0 + 20.0), matrix_step(0.0, 0.0, 30.0)};
    s[0].unseen_mm3[RLV_CHANGE_REMOVED] = 20e3;
    s[1].unseen_mm3[RLV_CHANGE_REMOVED] = 30e3;
    const rlv_ledger_input in = input_of(2, s, 0.05);
    rlv_ledger_row step[2], all[2];
    sum_up(step, all, &in);
    expect_interval(step[0].ml[RLV_CHANGE_REMOVED], 100.0, 97.0, 123.0);
    expect_interval(all[1].ml[RLV_CHANGE_REMOVED], 100.0, 97.0, 153.0);
    const double half = hypot(2.5 * 3.0, HALF * 5.0);
    expect_interval(all[1].g[RLV_CHANGE_REMOVED], 250.0, 250.0 - half, 250.0 + half + 2.5 * 50.0);
}

Test(ledger, drying_that_was_not_recorded_is_in_what_is_unexplained)
{
    // 1000 - 800 = 200 g left, 150 of it in bags; half 1.96 * sqrt(3) g.
    rlv_ledger_step s[2] = {matrix_step(10.0, 9.0, 11.0), matrix_step(0.0, 0.0, 0.0)};
    s[0].spoil = (rlv_mass){150.0, 1.0};
    s[0].drying = UNWEIGHED;
    s[1].drying = (rlv_mass){20.0, 1.0};
    const rlv_mass block[3] = {{1000.0, 1.0}, {800.0, 1.0}, {780.0, 1.0}};
    rlv_ledger_input in = input_of(2, s, 0.0);
    in.block = block;
    rlv_ledger_row step[2], all[2];
    sum_up(step, all, &in);
    const rlv_balance* b = &step[0].mass;
    expect_interval(b->unexplained_g, 50.0, 50.0 - HALF * sqrt(3.0), 50.0 + HALF * sqrt(3.0));
    cr_expect(b->closed && b->holds_drying && b->within, "50 g of water may have gone");
    cr_expect(isnan(step[0].weighed.drying.grams) && isnan(step[0].weighed.drying.sd_g));
    cr_expect_float_eq(all[1].weighed.drying.grams, 20.0, ROUNDING, "what was recorded of it");
    cr_expect(step[1].mass.closed && !step[1].mass.holds_drying && step[1].mass.within);
    cr_expect(all[1].mass.holds_drying && all[1].mass.within);
    cr_expect_float_eq(all[1].mass.unexplained_g.value, 50.0, ROUNDING);
    // More in the bags than the block lost is no drying.
    s[0].spoil.grams = 250.0;
    sum_up(step, all, &in);
    cr_expect(step[0].mass.holds_drying && !step[0].mass.within);
    // And where it was recorded as 50 g less than went, nothing excuses it.
    s[0].spoil.grams = 150.0;
    s[0].drying = NOTHING;
    sum_up(step, all, &in);
    cr_expect(!step[0].mass.holds_drying && !step[0].mass.within);
}

Test(ledger, mass_balance_by_hand)
{
    // 48210 - 39800 = 8410 g left; spoil 8120, drying 150, a piece of 610 off and back, resin 0.6: 8269.4 g. 140.6 g
    // are unexplained; variance 20^2 + 20^2 + 10^2 + 1 + 1 + 50^2 + 0.01 = 3402.01, half 114.3 g: not within.
    rlv_ledger_step s = matrix_step(3500.0, 3480.0, 3520.0);
    s.spoil = (rlv_mass){8120.0, 10.0};
    s.pieces_off = s.pieces_back = (rlv_mass){610.0, 1.0};
    s.drying = (rlv_mass){150.0, 50.0};
    s.resin = (rlv_mass){0.6, 0.1};
    const rlv_mass block[2] = {{48210.0, 20.0}, {39800.0, 20.0}};
    rlv_ledger_input in = input_of(1, &s, 0.0);
    in.block = block;
    rlv_ledger_row step, all;
    sum_up(&step, &all, &in);
    const rlv_balance* b = &step.mass;
    cr_expect(b->closed && b->missing == 0 && b->missing_words[0] == '\0' && !b->damp);
    cr_expect_float_eq(b->left_g, 8410.0, ROUNDING);
    cr_expect_float_eq(b->right_g, 8269.4, ROUNDING);
    const double half = HALF * sqrt(3402.01);
    expect_interval(b->unexplained_g, 140.6, 140.6 - half, 140.6 + half);
    cr_expect_not(b->within);
    const rlv_weighed* w = &step.weighed; // the terms make the balance again
    cr_expect_float_eq(w->before.grams - w->after.grams, b->left_g, ROUNDING);
    cr_expect_float_eq(w->spoil.grams + w->off.grams - w->back.grams + w->drying.grams - w->resin.grams, b->right_g,
                       ROUNDING);
    s.drying.grams = 200.0; // 90.6 g left over
    sum_up(&step, &all, &in);
    cr_expect(step.mass.within);
}

Test(ledger, what_was_not_weighed_is_named_and_leaves_no_number)
{
    rlv_ledger_step s[2] = {matrix_step(10.0, 9.0, 11.0), matrix_step(10.0, 9.0, 11.0)};
    s[1].spoil = s[1].drying = UNWEIGHED;
    const rlv_mass block[3] = {{1000.0, 1.0}, UNWEIGHED, {950.0, 1.0}};
    rlv_ledger_input in = input_of(2, s, 0.0);
    in.block = block;
    rlv_ledger_row step[2], all[2];
    sum_up(step, all, &in);
    cr_expect_eq(step[0].mass.missing, RLV_TERM_AFTER);
    cr_expect_str_eq(step[0].mass.missing_words, "block after");
    cr_expect_eq(step[1].mass.missing, RLV_TERM_BEFORE | RLV_TERM_SPOIL);
    cr_expect_str_eq(step[1].mass.missing_words, "block before, spoil");
    cr_expect_eq(all[1].mass.missing, RLV_TERM_SPOIL);
    for (int k = 0; k < 2; k++)
        cr_expect(!step[k].mass.closed && !step[k].mass.within && isnan(step[k].mass.unexplained_g.value) &&
                  isnan(step[k].mass.unexplained_g.low) && isnan(step[k].mass.left_g) && isnan(step[k].mass.right_g));
    cr_expect(step[0].spoil.closed);
    cr_expect_eq(step[1].spoil.missing, RLV_TERM_SPOIL);
}

Test(ledger, balance_of_all_needs_the_block_only_at_its_ends)
{
    rlv_ledger_step s[2] = {matrix_step(10.0, 9.0, 11.0), matrix_step(10.0, 9.0, 11.0)};
    s[0].spoil = (rlv_mass){30.0, 3.0}, s[1].spoil = (rlv_mass){20.0, 4.0};
    const rlv_mass block[3] = {{1000.0, 0.0}, UNWEIGHED, {952.0, 0.0}};
    rlv_ledger_input in = input_of(2, s, 0.0);
    in.block = block;
    rlv_ledger_row step[2], all[2];
    sum_up(step, all, &in);
    expect_interval(all[1].mass.unexplained_g, -2.0, -2.0 - HALF * 5.0, -2.0 + HALF * 5.0);
    cr_expect(all[1].mass.within);
}

Test(ledger, a_block_never_weighed_is_said_so)
{
    const rlv_ledger_step s = matrix_step(10.0, 9.0, 11.0);
    const rlv_ledger_input in = input_of(1, &s, 0.0);
    rlv_ledger_row step, all;
    sum_up(&step, &all, &in);
    cr_expect_str_eq(all.mass.missing_words, "block before, block after");
}

Test(ledger, volumes_are_held_against_the_spoil)
{
    // 100 mL of matrix and 2 mL of bone at 2.5 are 255 g; the spoil is 250 g with an sd of 1.
    rlv_ledger_step s = matrix_step(100.0, 98.0, 104.0);
    s.volume_mm3[RLV_CHANGE_BONE] = (rlv_interval){2000.0, 1000.0, 3000.0};
    s.spoil = (rlv_mass){250.0, 1.0};
    s.spoil_damp = true;
    const rlv_ledger_input in = input_of(1, &s, 0.02);
    rlv_ledger_row step, all;
    sum_up(&step, &all, &in);
    // Halves: 2.5 * 2 or 2.5 * 4 of matrix, 2.5 of bone, 1.96 * (2, 0.04, 1) of the densities and of the scales' sds.
    const double fixed = 2.5 * 2.5 + HALF * HALF * (4.0 + 0.0016 + 1.0);
    expect_interval(step.spoil.unexplained_g, 5.0, 5.0 - sqrt(25.0 + fixed), 5.0 + sqrt(100.0 + fixed));
    cr_expect(step.spoil.closed && step.spoil.within && step.spoil.damp);
    rlv_ledger_input unknown = in;
    unknown.density[RLV_CHANGE_BONE] = (rlv_density){NAN, NAN};
    sum_up(&step, &all, &unknown);
    cr_expect_str_eq(step.spoil.missing_words, "density");
    cr_expect(isnan(step.g[RLV_CHANGE_BONE].value) && !isnan(step.g[RLV_CHANGE_REMOVED].value));
    s.volume_mm3[RLV_CHANGE_BONE] = (rlv_interval){0, 0, 0}; // where none was lost, its density does not matter
    sum_up(&step, &all, &unknown);
    cr_expect(step.spoil.closed);
    expect_interval(step.g[RLV_CHANGE_BONE], 0.0, 0.0, 0.0);
    s.volume_mm3[RLV_CHANGE_BONE].value = NAN;
    sum_up(&step, &all, &unknown);
    cr_expect_eq(step.spoil.missing, RLV_TERM_VOLUME | RLV_TERM_DENSITY);
}

Test(ledger, a_sum_with_an_unmeasured_step_is_not_known)
{
    rlv_ledger_step s[3] = {matrix_step(1, 1, 1), matrix_step(NAN, NAN, NAN), matrix_step(1, 1, 1)};
    const rlv_ledger_input in = input_of(3, s, 0.0);
    rlv_ledger_row step[3], all[3];
    sum_up(step, all, &in);
    cr_expect(!isnan(all[0].ml[RLV_CHANGE_REMOVED].value) && isnan(all[1].ml[RLV_CHANGE_REMOVED].value) &&
              isnan(all[2].ml[RLV_CHANGE_REMOVED].low) && isnan(all[2].g[RLV_CHANGE_REMOVED].high));
    cr_expect_float_eq(step[2].ml[RLV_CHANGE_REMOVED].value, 1.0, ROUNDING);
}

/// A measured value with its 95 % interval.
static rlv_interval measure(scan_random* random, double truth, double sd)
{
    const double value = truth + sd * scan_random_normal(random);
    return (rlv_interval){value, value - HALF * sd, value + HALF * sd};
}

static rlv_mass weigh(scan_random* random, double truth, double sd)
{
    return (rlv_mass){truth + sd * scan_random_normal(random), sd};
}

Test(ledger, sums_and_balances_hold_the_truth)
{
    // Five steps; matrix of 2.31 and bone of 2.6 g/cm3, each density and what scales share drawn once a specimen, and
    // each stage's own scale.
    int volume = 0, grams = 0, mass = 0, spoil = 0;
    scan_random random = {400};
    for (int t = 0; t < TRIALS; t++)
    {
        rlv_ledger_step s[5];
        rlv_mass block[6];
        const double scale = 0.001 * scan_random_normal(&random);
        double weight = 40000.0, truth_ml = 0.0;
        block[0] = weigh(&random, weight, 20.0);
        for (int k = 0; k < 5; k++)
        {
            s[k] = (rlv_ledger_step){.spoil = NOTHING};
            const double ml = 200.0 + 800.0 * scan_random_unit(&random), bone_ml = 2.0 * scan_random_unit(&random);
            const double own = 2.0 + 0.005 * ml, said = hypot(hypot(own, 0.003 * ml), 0.009 * ml);
            const double seen =
                ml * (1.0 + 3.0 * scale + 0.009 * scan_random_normal(&random)) + own * scan_random_normal(&random);
            s[k].shared_scale_sd = 0.001;
            s[k].volume_mm3[RLV_CHANGE_REMOVED] =
                (rlv_interval){1e3 * seen, 1e3 * (seen - HALF * said), 1e3 * (seen + HALF * said)};
            s[k].volume_mm3[RLV_CHANGE_BONE] = measure(&random, 1e3 * bone_ml, 500.0);
            const double went = 2.31 * ml + 2.6 * bone_ml, dried = 100.0 * scan_random_unit(&random);
            s[k].spoil = weigh(&random, went, 10.0);
            s[k].drying = weigh(&random, dried, 20.0);
            s[k].resin = weigh(&random, 3.0, 0.2);
            s[k].pieces_off = weigh(&random, 600.0, 5.0);
            s[k].pieces_back = weigh(&random, 500.0, 5.0);
            weight -= went + dried - 3.0 + 100.0;
            block[k + 1] = weigh(&random, weight, 20.0);
            truth_ml += ml;
        }
        rlv_ledger_input in = {.step_count = 5, .step = s, .block = block};
        for (int c = 0; c < RLV_CHANGE_CLASSES; c++)
            in.density[c] = (rlv_density){2.6 + 0.05 * scan_random_normal(&random), 0.05};
        in.density[RLV_CHANGE_REMOVED] = (rlv_density){2.31 + 0.03 * scan_random_normal(&random), 0.03};
        rlv_ledger_row step[5], all[5];
        sum_up(step, all, &in);
        volume += holds(all[4].ml[RLV_CHANGE_REMOVED], truth_ml);
        grams += holds(all[4].g[RLV_CHANGE_REMOVED], 2.31 * truth_ml);
        mass += all[4].mass.within;
        spoil += all[4].spoil.within;
    }
    expect_coverage("volume in all", volume);
    expect_coverage("grams in all", grams);
    expect_coverage("balance of masses", mass);
    expect_coverage("balance of volumes and spoil", spoil);
}

Test(ledger, steps_that_share_scans_are_told_no_surer_than_they_are)
{
    // Six scans of one face, each off by its own error: a step is off by the one before less the one after. Where all
    // steps take from one place the errors between fall out, and the interval is one from above; where each takes from
    // a place of its own, half the scan's error being common to both (long warp), they are still of opposite signs.
    for (int common = 0; common < 2; common++)
    {
        scan_random random = {450};
        int inside = 0;
        for (int t = 0; t < TRIALS; t++)
        {
            rlv_ledger_step s[5];
            double last = 10.0 * scan_random_normal(&random);
            for (int k = 0; k < 5; k++)
            {
                const double next = 10.0 * scan_random_normal(&random), own = 10.0 * scan_random_normal(&random);
                const double after = common ? next : sqrt(0.5) * next + sqrt(0.5) * own;
                const double seen = 500.0 + last - after, half = HALF * sqrt(200.0);
                s[k] = matrix_step(seen, seen - half, seen + half);
                last = next;
            }
            const rlv_ledger_input in = input_of(5, s, 0.0);
            rlv_ledger_row step[5], all[5];
            sum_up(step, all, &in);
            inside += holds(all[4].ml[RLV_CHANGE_REMOVED], 2500.0);
        }
        cr_expect_gt(inside, 0.93 * TRIALS, "inside in %d of %d", inside, (int)TRIALS);
    }
}

Test(ledger, refuses_what_is_no_record)
{
    rlv_ledger_row step[2], all[2];
    rlv_error error = {0};
    rlv_ledger_step s = matrix_step(10.0, 9.0, 11.0);
    rlv_ledger_input in = input_of(1, &s, 0.0);
    cr_expect_eq(rlv_ledger_sum(step, all, &(rlv_ledger_input){0}, &error), RLV_BAD_INPUT);
    s.volume_mm3[RLV_CHANGE_ADDED] = (rlv_interval){5.0, 6.0, 7.0};
    cr_expect_eq(rlv_ledger_sum(step, all, &in, &error), RLV_BAD_INPUT);
    cr_expect_not_null(strstr(error.what, "step 1"));
    s = matrix_step(10.0, 9.0, INFINITY);
    cr_expect_eq(rlv_ledger_sum(step, all, &in, &error), RLV_BAD_INPUT);
    s = matrix_step(10.0, 9.0, 11.0), s.spoil = (rlv_mass){10.0, -1.0};
    cr_expect_eq(rlv_ledger_sum(step, all, &in, &error), RLV_BAD_INPUT);
    s.spoil = (rlv_mass){10.0, NAN};
    cr_expect_eq(rlv_ledger_sum(step, all, &in, &error), RLV_BAD_INPUT);
    s.spoil = NOTHING, in.density[0].g_cm3 = -2.0;
    cr_expect_eq(rlv_ledger_sum(step, all, &in, &error), RLV_BAD_INPUT);
    s = matrix_step(10.0, 9.0, 11.0), in = input_of(1, &s, 0.0), s.shared_scale_sd = NAN;
    cr_expect_eq(rlv_ledger_sum(step, all, &in, &error), RLV_BAD_INPUT);
    s.shared_scale_sd = 0.0, s.unseen_mm3[RLV_CHANGE_BONE] = -1.0;
    cr_expect_eq(rlv_ledger_sum(step, all, &in, &error), RLV_BAD_INPUT);
}
