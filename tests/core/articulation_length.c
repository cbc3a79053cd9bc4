#include "articulation_length.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <math.h>

enum
{
    SAMPLES = 4000,
};

typedef struct outcome
{
    double inside, held, mean; ///< shares of intervals that hold the truth and their own value; mean value
} outcome;

/// Measure a vector again and again.
static outcome measure(int parts, const double* truth, const double* sd, uint64_t seed)
{
    static rlv_length_table table;
    scan_random random = {seed};
    outcome o = {0};
    double length = 0.0, variance[RLV_LENGTH_PARTS];
    for (int k = 0; k < parts; k++)
        length = hypot(length, truth[k]), variance[k] = sd[k] * sd[k];
    rlv_length_lay(&table);
    for (int n = 0; n < SAMPLES; n++)
    {
        double off[RLV_LENGTH_PARTS];
        for (int k = 0; k < parts; k++)
            off[k] = truth[k] + sd[k] * scan_random_normal(&random);
        const rlv_interval told = rlv_length_of(&table, parts, off, variance, 1.0);
        o.inside += (told.low <= length && length <= told.high) / (double)SAMPLES;
        o.held += (told.low <= told.value && told.value <= told.high && told.low < told.high) / (double)SAMPLES;
        o.mean += told.value / SAMPLES;
    }
    return o;
}

/// Two-sided 1 in 1,000 of a share of 0.95 in 4,000 samples.
static const double CHANCE = 3.29 * 0.00345;

Test(articulation_length, intervals_of_vectors_with_like_errors_hold_the_truth_in_95_of_100)
{
    static const double length[] = {0.0, 0.4, 1.0, 1.7, 2.5, 4.0, 7.0, 8.5, 11.0, 40.0};
    const double sd[] = {1.5, 1.5, 1.5};
    for (int parts = 1; parts <= RLV_LENGTH_PARTS; parts++)
        for (size_t k = 0; k < sizeof length / sizeof *length; k++)
        {
            const double part = 1.5 * length[k] / sqrt(parts), truth[] = {part, -part, part};
            const outcome o = measure(parts, truth, sd, 10 * (uint64_t)parts + k);
            cr_expect_float_eq(o.inside, 0.95, CHANCE, "%d parts, %g sds: %g", parts, length[k], o.inside);
            cr_expect_float_eq(o.held, 1.0, 1e-9, "each interval holds its own value");
        }
}

Test(articulation_length, intervals_of_vectors_with_unlike_errors_hold_it_in_no_fewer)
{
    // Along the body a life position is known twice as badly as across it where the pitch is uneven.
    static const double truth[][3] = {{0, 0, 0}, {3, 0, 0}, {0, 2, 0}, {0, 4, 0}, {0, 6, 3}, {6, 6, 0}, {0, 20, 0}};
    const double sd[] = {2.0, 1.0, 1.0};
    for (size_t k = 0; k < sizeof truth / sizeof *truth; k++)
    {
        const outcome o = measure(3, truth[k], sd, 100 + k);
        cr_expect_geq(o.inside, 0.93, "%zu: %g", k, o.inside);
    }
}

Test(articulation_length, an_interval_holds_no_nothing_where_a_test_rejects_it)
{
    // Chi-square of three that one in twenty passes by chance: 7.815; one in a hundred: 11.345.
    static const double sd[] = {2.0, 0.6, 0.6};
    const double variance[] = {4.0, 0.36, 0.36};
    static rlv_length_table table;
    scan_random random = {77};
    rlv_length_lay(&table);
    int rejected = 0, plain = 0;
    for (int n = 0; n < SAMPLES; n++)
    {
        double off[3], sds = 0.0, square = 0.0, mean = 0.0;
        for (int k = 0; k < 3; k++)
        {
            off[k] = (k == 1 ? 1.8 : 0.0) + sd[k] * scan_random_normal(&random);
            sds += off[k] * off[k] / variance[k];
            square += off[k] * off[k], mean += variance[k] / 3.0;
        }
        const rlv_interval told = rlv_length_of(&table, 3, off, variance, 1.0);
        cr_expect(told.low <= told.value && told.value <= told.high && told.high > 0.0);
        if (sds < 7.9) // the table steps by 0.02 sds
            continue;
        rejected++;
        plain += square < 7.815 * mean; // alike errors would not tell it from nothing
        cr_expect_gt(told.low, 0.0, "chi-square %g, %g %g %g", sds, off[0], off[1], off[2]);
    }
    cr_expect(rejected > SAMPLES / 4 && plain > SAMPLES / 20, "%d %d", rejected, plain);
}

Test(articulation_length, intervals_of_vectors_with_very_unlike_errors_hold_it_in_no_fewer)
{
    static const double truth[][3] = {{0, 0, 0}, {2, 0, 0}, {0, 1, 0}, {0, 1.8, 0}, {0, 2.4, 1}, {6, 2, 0}, {0, 8, 0}};
    const double sd[] = {2.0, 0.6, 0.6};
    for (size_t k = 0; k < sizeof truth / sizeof *truth; k++)
    {
        const outcome o = measure(3, truth[k], sd, 300 + k);
        cr_expect_geq(o.inside, 0.93, "%zu: %g", k, o.inside);
    }
}

Test(articulation_length, lengths_of_what_moved_are_right_on_the_mean)
{
    // The estimate takes off what a length is too long: of six sds the plain length is 1/6 sd too long.
    const double truth[] = {0, 6, 0}, sd[] = {1, 1, 1};
    const outcome o = measure(3, truth, sd, 1000);
    cr_expect_float_eq(o.mean, 6.0, 3.29 / sqrt(SAMPLES), "%g", o.mean);
}

Test(articulation_length, of_nothing_the_estimate_is_mostly_nothing)
{
    const double off[] = {0.5, -0.4, 0.9}, variance[] = {1.0, 1.0, 1.0};
    rlv_length_table table;
    rlv_length_lay(&table);
    const rlv_interval told = rlv_length_of(&table, 3, off, variance, 1.0);
    cr_expect(told.value == 0.0 && told.low == 0.0, "shorter than the root of three sds: nothing is likeliest");
    cr_expect(told.high > 1.0 && told.high < 3.0, "%g", told.high);
}
