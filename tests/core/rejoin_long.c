/// 200 simulated breaks put back: how close, how often the intervals hold the truth, and what is refused.

#include "rejoin.h"

#include "support/rejoining.h"
#include "support/scene.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum
{
    BREAKS = 200,
};

static const size_t triangles = 80000;

/// What a row of breaks came to.
typedef struct tally
{
    int measured, refused;
    double mm[BREAKS], deg[BREAKS];
    int gap_inside, p95_inside;
    double told_mm3, true_mm3, chi2;
} tally;

static void count_break(tally* t, const rejoining* r)
{
    if (r->status != RLV_DONE)
    {
        t->refused++;
        return;
    }
    t->mm[t->measured] = r->closed_mm;
    t->deg[t->measured++] = r->closed_deg;
    t->gap_inside += r->true_gap_mm3 >= r->gap_mm3.low && r->true_gap_mm3 <= r->gap_mm3.high;
    t->p95_inside += r->true_p95_mm >= r->p95_mm.low && r->true_p95_mm <= r->p95_mm.high;
    t->told_mm3 += r->gap_mm3.value;
    t->true_mm3 += r->true_gap_mm3;
    t->chi2 += r->closed_chi2;
}

/// Hold a row against the aims: medians and what 95 % stay below, in mm and degrees.
static void judge(tally* t, const char* name, int trials, double mm, double deg, double mm95, double deg95)
{
    const double share = t->measured > 0 ? 1.0 / t->measured : 0.0;
    const double at[4] = {rejoining_quantile(t->mm, t->measured, 0.5), rejoining_quantile(t->deg, t->measured, 0.5),
                          rejoining_quantile(t->mm, t->measured, 0.95), rejoining_quantile(t->deg, t->measured, 0.95)};
    printf("%s: %d of %d measured; median %.3f mm %.3f deg, 95 %% %.3f mm %.3f deg; chi2 %.2f; gap fill inside %.3f, "
           "bias %+.3f; 95 %% width inside %.3f\n",
           name, t->measured, trials, at[0], at[1], at[2], at[3], share * t->chi2, share * t->gap_inside,
           t->told_mm3 / t->true_mm3 - 1.0, share * t->p95_inside);
    fflush(stdout);
    cr_expect(at[0] <= mm && at[1] <= deg, "median %.3f mm %.3f deg", at[0], at[1]);
    cr_expect(at[2] <= mm95 && at[3] <= deg95, "95 %%: %.3f mm %.3f deg", at[2], at[3]);
    cr_expect_leq(t->refused, 0.02 * trials, "%d of %d refused", t->refused, trials);
    const double stray = trials < BREAKS ? 2.0 * sqrt(0.05 * 0.95 / trials) : 0.0;
    cr_expect(share * t->gap_inside >= 0.93 - stray, "gap fill inside in %.3f", share * t->gap_inside);
    cr_expect(share * t->p95_inside >= 0.93 - stray, "95 %% width inside in %.3f", share * t->p95_inside);
    // One break without a stage from before errs by a third of its gap (0.067 mm of 0.2).
    const double bias_stray = trials < BREAKS ? 2.0 * 0.33 / sqrt(trials) : 0.0;
    cr_expect_lt(fabs(t->told_mm3 / t->true_mm3 - 1.0), 0.07 + bias_stray);
}

/// All draws are of joints of 50 mm and more with a slope of 0.2 and more.
static void try_breaks(tally* t, bool with_before, bool foreign, int trials)
{
    for (int k = 0; k < trials; k++)
    {
        breaking_plan plan = breaking_draw(1000 + (uint64_t)k, triangles);
        plan.foreign = foreign;
        const rejoining r = rejoining_try(&plan, with_before);
        count_break(t, &r);
        if (getenv("RLV_EACH") != NULL)
            printf("%d: status %d fit %.3f closed %.3f mm %.3f deg chi2 %.1f gap %.0f (%.0f to %.0f) truly %.0f\n", k,
                   (int)r.status, r.fit, r.closed_mm, r.closed_deg, r.closed_chi2, r.gap_mm3.value, r.gap_mm3.low,
                   r.gap_mm3.high, r.true_gap_mm3);
    }
}

Test(rejoin_long, pieces_go_back_by_the_stage_from_before)
{
    static tally t;
    const int trials = scene_trials(BREAKS);
    try_breaks(&t, true, false, trials);
    judge(&t, "with the stage from before", trials, 0.12, 0.12, 0.25, 0.35);
}

Test(rejoin_long, pieces_go_back_without_it)
{
    static tally t;
    const int trials = scene_trials(BREAKS);
    try_breaks(&t, false, false, trials);
    judge(&t, "without", trials, 0.25, 0.5, 0.5, 1.0);
}

Test(rejoin_long, pairs_that_do_not_match_are_refused)
{
    static tally t;
    const int trials = scene_trials(BREAKS);
    try_breaks(&t, false, true, trials);
    printf("of another break: %d of %d refused\n", t.refused, trials);
    cr_expect_geq(t.refused, 0.98 * trials);
}
