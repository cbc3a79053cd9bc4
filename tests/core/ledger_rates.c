#include "ledger.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <string.h>

enum
{
    TRIALS = 2000,
    MOST_ROWS = 16,
    MOST_TOOLS = 4,
};

#define HALF 1.959963984540054

/// The 97.5 % point of Student's t with one degree of freedom: tan(0.475 pi).
#define T_ONE tan(0.475 * M_PI)

/// A fit through singular values and a root found by halving: some hundred roundings of numbers up to 100.
#define ROUNDING (1e3 * DBL_EPSILON * 100.0)

/// mL with an sd.
static rlv_interval ml(double value, double sd)
{
    return (rlv_interval){1e3 * value, 1e3 * (value - HALF * sd), 1e3 * (value + HALF * sd)};
}

static rlv_rates rates_of(rlv_rate* rate, size_t rows, size_t tools, const rlv_interval* volume, const double* hours)
{
    rlv_rates rates;
    rlv_error error = {0};
    cr_assert_eq(rlv_ledger_rates(&rates, rate, rows, tools, volume, hours, &error), RLV_DONE, "%s", error.what);
    return rates;
}

static void expect_interval(rlv_interval i, double value, double low, double high)
{
    cr_expect_float_eq(i.value, value, ROUNDING, "%.12g is not %.12g", i.value, value);
    cr_expect_float_eq(i.low, low, ROUNDING, "low: %.12g is not %.12g", i.low, low);
    cr_expect_float_eq(i.high, high, ROUNDING, "high: %.12g is not %.12g", i.high, high);
}

/// The share of the average over all scatters that lies below a rate: one tool, two rows with sds of 1 mL. Restricted
/// likelihood, Jeffreys' prior and one for no scatter at all, as the header names them, by a plain sum.
static double share_below(const double volume[2], const double hours[2], double rate)
{
    double below = 0.0, whole = 0.0;
    for (int n = -1; n < 4000; n++)
    {
        // t^2 = s^8, so that it runs up to 1e16 and is dense near 0; d t^2 = 8 s^7 d s. The first term is t = 0.
        const double s = 100.0 * (n + 0.5) / 4000.0, t2 = n < 0 ? 0.0 : pow(s, 8.0);
        const double w[2] = {1.0 / (1.0 + t2 * hours[0]), 1.0 / (1.0 + t2 * hours[1])};
        const double xx = w[0] * hours[0] * hours[0] + w[1] * hours[1] * hours[1],
                     best = (w[0] * hours[0] * volume[0] + w[1] * hours[1] * volume[1]) / xx;
        const double off[2] = {volume[0] - best * hours[0], volume[1] - best * hours[1]};
        const double likelihood =
            sqrt(w[0] * w[1] / xx) * exp(-0.5 * (w[0] * off[0] * off[0] + w[1] * off[1] * off[1]));
        const double prior =
            n < 0 ? 1.0 : sqrt(0.5) * hypot(w[0] * hours[0], w[1] * hours[1]) * 8.0 * pow(s, 7.0) * (100.0 / 4000.0);
        whole += likelihood * prior;
        below += likelihood * prior * 0.5 * erfc((best - rate) * sqrt(xx / 2.0));
    }
    return below / whole;
}

Test(ledger_rates, one_tool_by_hand_where_measurement_explains_all)
{
    // sds of 1 mL: (5 * 1 + 11 * 2) / (1 + 4) = 5.4 mL/h, misfit 0.4^2 + 0.2^2 = 0.2 of one degree of freedom: no
    // scatter is told, but the interval allows for some.
    const rlv_interval volume[2] = {ml(5, 1), ml(11, 1)};
    const double hours[2] = {1, 2}, value[2] = {5, 11};
    rlv_rate rate;
    const rlv_rates rates = rates_of(&rate, 2, 1, volume, hours);
    cr_expect(rates.rows_used == 2 && rates.rank == 1 && rates.scatter_known && rates.scatter_ml == 0.0);
    cr_expect_float_eq(rates.chi_square, 0.2, ROUNDING);
    cr_expect(rate.determined && !rate.at_bound);
    cr_expect_float_eq(rate.ml_per_h.value, 5.4, ROUNDING);
    // Both sums leave out scatters below 1e-7 and above 1e16: shares of 1e-7 and 1e-8.
    cr_expect_float_eq(share_below(value, hours, 5.4 - rate.low_half_ml_per_h), 0.025, 1e-6);
    cr_expect_float_eq(share_below(value, hours, 5.4 + rate.high_half_ml_per_h), 0.975, 1e-6);
    cr_expect_gt(rate.high_half_ml_per_h, HALF / sqrt(5.0)); // wider than measurement alone
}

Test(ledger_rates, one_tool_by_hand_where_steps_scatter)
{
    // Exact volumes of 26 and 74 mL in 1 and 4 h: 100 / 5 = 20 mL/h, off by 6 and -6; 36 / 1 + 36 / 4 = 45 = t^2; the
    // variance of the rate is 45 / 5 = 9, with one degree of freedom: Student's t.
    const rlv_interval volume[2] = {ml(26, 0), ml(74, 0)};
    const double hours[2] = {1, 4};
    rlv_rate rate;
    const rlv_rates rates = rates_of(&rate, 2, 1, volume, hours);
    cr_expect_float_eq(rates.scatter_ml, sqrt(45.0), ROUNDING);
    cr_expect_float_eq(rate.ml_per_h.value, 20.0, ROUNDING);
    cr_expect_eq(rate.ml_per_h.low, 0.0); // 20 - 38 is below 0
    // Scatters above 1e16 times the volumes' squares are left out: a share of 1e-8 of the tails' 0.025.
    cr_expect_float_eq(rate.low_half_ml_per_h, 3.0 * T_ONE, 1e-5);
    cr_expect_float_eq(rate.high_half_ml_per_h, 3.0 * T_ONE, 1e-5);
}

Test(ledger_rates, one_row_gives_a_rate_without_scatter)
{
    const rlv_interval volume = ml(30, 1.5);
    const double hours = 3;
    rlv_rate rate;
    const rlv_rates rates = rates_of(&rate, 1, 1, &volume, &hours);
    cr_expect(!rates.scatter_known && isnan(rates.scatter_ml) && isnan(rates.p));
    expect_interval(rate.ml_per_h, 10.0, 10.0 - HALF * 0.5, 10.0 + HALF * 0.5);
}

Test(ledger_rates, two_tools_by_hand)
{
    // Alone: 12 mL/h; together one hour each: 20 mL. So the second takes 8, its variance the sum of both.
    const rlv_interval volume[2] = {ml(12, 0.3), ml(20, 0.4)};
    const double hours[4] = {1, 0, 1, 1};
    rlv_rate rate[2];
    const rlv_rates rates = rates_of(rate, 2, 2, volume, hours);
    cr_expect_eq(rates.rank, 2);
    expect_interval(rate[0].ml_per_h, 12.0, 12.0 - HALF * 0.3, 12.0 + HALF * 0.3);
    expect_interval(rate[1].ml_per_h, 8.0, 8.0 - HALF * 0.5, 8.0 + HALF * 0.5);
}

Test(ledger_rates, tools_always_used_in_step_are_not_told_apart)
{
    // The first two always two to one; the third alone too; the fourth never. Measured so that no scatter is left.
    const rlv_interval volume[3] = {ml(20, 5), ml(40, 5), ml(9, 5)};
    const double hours[12] = {2, 1, 0, 0, 4, 2, 1, 0, 0, 0, 3, 0};
    rlv_rate rate[4];
    const rlv_rates rates = rates_of(rate, 3, 4, volume, hours);
    cr_expect_eq(rates.rank, 2);
    cr_expect(!rate[0].determined && !rate[1].determined && rate[2].determined && !rate[3].determined);
    cr_expect(isnan(rate[0].ml_per_h.value) && isnan(rate[1].low_half_ml_per_h) && isnan(rate[3].ml_per_h.high));
    // The first two together, x: x = (20 + 2 (40 - z)) / 5 and z = ((40 - 2 x) + 3 * 9) / 10, so that z is 27 / 9.2.
    const double z = (67.0 - 2.0 * 20.0) / (10.0 - 2.0 * 0.4);
    cr_expect_float_eq(rate[2].ml_per_h.value, z, ROUNDING);
}

Test(ledger_rates, no_rate_is_below_zero)
{
    // Least squares says 10 and -2; with a bound it says (10 + 8) / 2 = 9 and 0. Intervals hold both answers.
    const rlv_interval volume[2] = {ml(10, 1), ml(8, 1)};
    const double hours[4] = {1, 0, 1, 1};
    rlv_rate rate[2];
    rates_of(rate, 2, 2, volume, hours);
    cr_expect(!rate[0].at_bound && rate[1].at_bound);
    expect_interval(rate[0].ml_per_h, 9.0, 10.0 - HALF, 10.0 + HALF);
    expect_interval(rate[1].ml_per_h, 0.0, 0.0, -2.0 + HALF * sqrt(2.0));
}

Test(ledger_rates, bounded_rates_are_the_best_of_all_that_are_not_negative)
{
    // The conditions of Kuhn and Tucker: a rate above 0 cannot be bettered, one at 0 only by going below.
    scan_random random = {500};
    int bound = 0;
    for (int t = 0; t < 200; t++)
    {
        rlv_interval volume[6];
        double hours[24];
        for (int k = 0; k < 6; k++)
        {
            for (int i = 0; i < 4; i++)
                hours[4 * k + i] = scan_random_unit(&random);
            volume[k] = ml(2.0 + 3.0 * scan_random_normal(&random), 100.0); // so wide that no scatter is left
        }
        rlv_rate rate[4];
        rates_of(rate, 6, 4, volume, hours);
        for (int i = 0; i < 4; i++)
        {
            double pull = 0.0;
            for (int k = 0; k < 6; k++)
            {
                double off = volume[k].value / 1e3;
                for (int j = 0; j < 4; j++)
                    off -= hours[4 * k + j] * rate[j].ml_per_h.value;
                pull += hours[4 * k + i] * off;
            }
            cr_expect_geq(rate[i].ml_per_h.value, 0.0);
            bound += rate[i].at_bound;
            if (rate[i].at_bound)
                cr_expect_leq(pull, 1e-6);
            else
                cr_expect_float_eq(pull, 0.0, 1e-9); // residuals of some 10 mL, conditions up to 1e4
        }
    }
    cr_expect_gt(bound, 100);
}

Test(ledger_rates, rows_without_hours_or_volume_are_not_used)
{
    const rlv_interval volume[4] = {ml(5, 1), ml(11, 1), {NAN, NAN, NAN}, ml(7, 1)};
    const double hours[4] = {1, 2, 3, 0};
    rlv_rate rate;
    cr_expect_eq(rates_of(&rate, 4, 1, volume, hours).rows_used, 2);
    cr_expect_float_eq(rate.ml_per_h.value, 5.4, ROUNDING);
    cr_expect_eq(rates_of(&rate, 2, 1, volume + 2, hours + 2).rows_used, 0);
    cr_expect(!rate.determined && isnan(rate.ml_per_h.value));
}

Test(ledger_rates, refuses_hours_that_are_none)
{
    const rlv_interval volume[2] = {ml(5, 1), {5, 6, 7}};
    const double good[2] = {1, 1}, negative[1] = {-1}, endless[1] = {INFINITY};
    rlv_rates rates;
    rlv_rate rate;
    rlv_error error = {0};
    cr_expect_eq(rlv_ledger_rates(&rates, &rate, 2, 1, volume, good, &error), RLV_BAD_INPUT);
    cr_expect_not_null(strstr(error.what, "row 2"));
    cr_expect_eq(rlv_ledger_rates(&rates, &rate, 1, 1, volume, negative, &error), RLV_BAD_INPUT);
    cr_expect_eq(rlv_ledger_rates(&rates, &rate, 1, 1, volume, endless, &error), RLV_BAD_INPUT);
    cr_expect_not(rate.determined);
}

/// A record: rows of up to 8 h of each tool, true rates of 12, 5 and 30 mL/h, scatter of `t` mL an hour, and volumes
/// measured with an sd of `sd` mL.
static void draw_record(scan_random* random, size_t rows, size_t tools, double t, double sd, rlv_interval* volume,
                        double* hours)
{
    static const double rate[3] = {12.0, 5.0, 30.0};
    for (size_t k = 0; k < rows; k++)
    {
        double truth = 0.0, sum = 0.0;
        for (size_t i = 0; i < tools; i++)
        {
            const double h = 0.5 + 7.5 * scan_random_unit(random);
            hours[tools * k + i] = h;
            truth += rate[i] * h;
            sum += h;
        }
        volume[k] = ml(truth + t * sqrt(sum) * scan_random_normal(random) + sd * scan_random_normal(random), sd);
    }
}

/// How often intervals hold the first tool's rate and the hours that 500 mL (measured to 20) truly take at it: at least
/// 93 %, and at most `most`. The sd of a share of 0.95 is 0.5 %: four of them.
static void cover(const char* what, size_t rows, size_t tools, double t, double sd, double most)
{
    int rate_inside = 0, hours_inside = 0;
#pragma omp parallel for reduction(+ : rate_inside, hours_inside) schedule(static)
    for (int n = 0; n < TRIALS; n++)
    {
        scan_random random = {600 + 10000 * rows + 100000 * tools + (uint64_t)n};
        rlv_interval volume[MOST_ROWS];
        double hours[MOST_ROWS * MOST_TOOLS];
        rlv_rate rate[MOST_TOOLS];
        draw_record(&random, rows, tools, t, sd, volume, hours);
        rates_of(rate, rows, tools, volume, hours);
        rate_inside += rate[0].ml_per_h.low <= 12.0 && rate[0].ml_per_h.high >= 12.0;
        const rlv_interval left = ml(500.0 + 20.0 * scan_random_normal(&random), 20.0),
                           told = rlv_ledger_hours(rate, left);
        hours_inside += told.low <= 500.0 / 12.0 && told.high >= 500.0 / 12.0;
    }
    const double share[2] = {(double)rate_inside / TRIALS, (double)hours_inside / TRIALS};
    for (int i = 0; i < 2; i++)
    {
        cr_log_info("%s: %s inside in %.4f of %d", what, i == 0 ? "rate" : "hours", share[i], (int)TRIALS);
        cr_expect(share[i] > 0.93 && share[i] < most, "%s: %s inside in %.4f of %d", what, i == 0 ? "rate" : "hours",
                  share[i], (int)TRIALS);
    }
}

Test(ledger_rates, intervals_hold_the_truth_where_steps_scatter)
{
    cover("scatter, 5 rows, 1 tool", 5, 1, 6.0, 0.5, 0.97);
    cover("scatter, 8 rows, 2 tools", 8, 2, 6.0, 0.5, 0.97);
    cover("scatter, 12 rows, 3 tools", 12, 3, 6.0, 0.5, 0.97);
    cover("both, 12 rows, 2 tools", 12, 2, 3.0, 6.0, 0.97);
}

Test(ledger_rates, intervals_are_wide_where_few_rows_leave_scatter_open)
{
    // What scatter there may be cannot be seen beneath the measurement: these are bounds.
    cover("both, 5 rows, 1 tool", 5, 1, 3.0, 6.0, 1.0);
    cover("measurement, 8 rows, 2 tools", 8, 2, 0.0, 5.0, 1.0);
}

Test(ledger_rates, hours_of_an_exact_volume_are_it_over_the_ends_of_the_rate)
{
    // Fieller's interval with an exact numerator is that of the reciprocal: 100 / (10 +- 1.96).
    const rlv_rate rate = {
        .determined = true, .ml_per_h = {10, 8, 12}, .low_half_ml_per_h = HALF, .high_half_ml_per_h = HALF};
    expect_interval(rlv_ledger_hours(&rate, ml(100, 0)), 10.0, 100.0 / (10.0 + HALF), 100.0 / (10.0 - HALF));
    // And with an exact rate that of the volume.
    const rlv_rate exact = {.determined = true, .ml_per_h = {10, 10, 10}, .low_half_ml_per_h = 0.0};
    expect_interval(rlv_ledger_hours(&exact, ml(100, 5)), 10.0, 10.0 - HALF * 0.5, 10.0 + HALF * 0.5);
}

Test(ledger_rates, hours_by_hand_from_fiellers_quadratic)
{
    // V 100 (sd 5), r 10 (sd 1), q = 1.96: (100 - 3.8415) x^2 - 2000 x + (10000 - 96.04) = 0.
    const rlv_rate rate = {
        .determined = true, .ml_per_h = {10, 8, 12}, .low_half_ml_per_h = HALF, .high_half_ml_per_h = HALF};
    const double a = 100.0 - HALF * HALF, b = 1000.0, c = 10000.0 - 25.0 * HALF * HALF, root = sqrt(b * b - a * c);
    expect_interval(rlv_ledger_hours(&rate, ml(100, 5)), 10.0, (b - root) / a, (b + root) / a);
}

Test(ledger_rates, hours_have_no_upper_end_where_the_rate_may_be_nothing)
{
    const rlv_rate weak = {
        .determined = true, .ml_per_h = {1, 0, 3}, .low_half_ml_per_h = HALF, .high_half_ml_per_h = HALF};
    const rlv_interval hours = rlv_ledger_hours(&weak, ml(100, 5));
    cr_expect(isinf(hours.high) && hours.low > 0.0 && hours.value == 100.0);
    const rlv_rate none = {.determined = true,
                           .at_bound = true,
                           .ml_per_h = {0, 0, 2},
                           .low_half_ml_per_h = HALF,
                           .high_half_ml_per_h = HALF};
    cr_expect(isinf(rlv_ledger_hours(&none, ml(100, 5)).high) && isinf(rlv_ledger_hours(&none, ml(100, 5)).value));
    const rlv_rate untold = {.determined = false};
    cr_expect(isnan(rlv_ledger_hours(&untold, ml(100, 5)).value));
    cr_expect(isnan(rlv_ledger_hours(&weak, (rlv_interval){NAN, NAN, NAN}).low));
    const rlv_interval nothing = rlv_ledger_hours(&weak, ml(0, 0));
    cr_expect(nothing.value == 0.0 && nothing.low == 0.0 && isinf(nothing.high));
}
