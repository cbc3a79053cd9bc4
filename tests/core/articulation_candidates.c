#include "articulation.h"

#include "scan.h"
#include "support/skeleton.h"

#include <criterion/criterion.h>
#include <stdlib.h>

enum
{
    STRAYS = 4,
};

/// An animal whose plates have sizes, `STRAYS` of which are taken out of the rock with a bag's part of it 15 mm wide.
typedef struct scene
{
    skeleton* s;
    rlv_articulation fit;
    rlv_stray stray[STRAYS];
    size_t row[STRAYS];
    int place[STRAYS];
    bool rows[STRAYS][SKELETON_ROWS];
} scene;

static const double BAG_SD_MM = 15.0;

/// Length of a plate: falling along its row, with 4 % scatter.
static rlv_interval length_of(size_t row, int place, scan_random* random)
{
    const double mm = (20.0 + 3.0 * (double)row) * (1.0 - 0.015 * place) * exp(0.04 * scan_random_normal(random));
    return (rlv_interval){mm, mm - 0.4, mm + 0.4};
}

static scene make(uint64_t seed)
{
    scene c = {0};
    scan_random random = {seed + 1000};
    skeleton_plan plan = skeleton_draw(seed, 15);
    plan.rows = 4;
    for (size_t r = 0; r < plan.rows; r++)
        plan.places[r] = 20 + 2 * (int)r;
    plan.displaced = 0.1;
    c.s = skeleton_make(&plan);
    for (size_t i = 0; i < c.s->count; i++)
        c.s->element[i].element.length_mm = length_of(c.s->element[i].row, c.s->element[i].place_low, &random);
    for (size_t k = 0; k < STRAYS; k++)
    {
        size_t i = 0; // one inside row k, in place until the work took it
        while (c.s->element[i].row != k || c.s->element[i].place_low < 6 + (int)(seed % 9) || c.s->truth[i].shifted)
            i++;
        const rlv_vec3 at = c.s->truth[i].life_mm;
        c.row[k] = k, c.place[k] = c.s->element[i].place_low;
        c.stray[k] = (rlv_stray){.row = c.rows[k],
                                 .place_low = INT_MIN,
                                 .place_high = INT_MAX,
                                 .length_mm = c.s->element[i].element.length_mm,
                                 .width_mm = {NAN, NAN, NAN},
                                 .located = true,
                                 .centre_mm = {at.x + BAG_SD_MM * scan_random_normal(&random),
                                               at.y + BAG_SD_MM * scan_random_normal(&random),
                                               at.z + BAG_SD_MM * scan_random_normal(&random)}};
        for (int d = 0; d < 3; d++)
            c.stray[k].covariance_mm2[4 * d] = BAG_SD_MM * BAG_SD_MM;
        for (size_t r = 0; r < plan.rows; r++)
            c.rows[k][r] = true;
        c.s->element[i] = c.s->element[--c.s->count];
        c.s->truth[i] = c.s->truth[c.s->count];
    }
    return c;
}

/// Fit, after which pointers into the scene are its own.
static void fit(scene* c)
{
    rlv_error error = {0};
    for (size_t k = 0; k < STRAYS; k++)
        c->stray[k].row = c->rows[k];
    cr_assert_eq(rlv_articulation_fit(&c->fit, c->s->count, c->s->element, c->s->plan.rows, c->s->row, &error),
                 RLV_DONE, "%s", error.what);
}

static void end(scene* c)
{
    rlv_articulation_free(&c->fit);
    free(c->s);
}

static void find(scene* c, size_t count, rlv_candidates* told)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_articulation_candidates(told, &c->fit, c->s->count, c->s->element, count, c->stray, &error),
                 RLV_DONE, "%s", error.what);
}

/// The probability that a stray is told to be of a place.
static double probability_of(const scene* c, const rlv_candidates* told, size_t row, int place)
{
    for (size_t i = 0; i < told->count; i++)
    {
        const rlv_unfilled* u = &c->fit.unfilled[told->candidate[i].unfilled];
        if (u->row == row && u->place == place)
            return told->candidate[i].probability;
    }
    return 0.0;
}

Test(articulation_candidates, probabilities_add_up_and_no_two_strays_have_one_place)
{
    scene c = make(3);
    fit(&c);
    rlv_candidates told[STRAYS] = {0};
    find(&c, STRAYS, told);
    for (size_t k = 0; k < STRAYS; k++)
    {
        double sum = told[k].none;
        for (size_t i = 0; i < told[k].count; i++)
        {
            sum += told[k].candidate[i].probability;
            cr_expect(i == 0 || told[k].candidate[i].probability <= told[k].candidate[i - 1].probability);
        }
        cr_expect_float_eq(sum, 1.0, 1e-9);
    }
    for (size_t u = 0; u < c.fit.unfilled_count; u++)
    {
        double sum = 0.0;
        for (size_t k = 0; k < STRAYS; k++)
            sum += probability_of(&c, &told[k], c.fit.unfilled[u].row, c.fit.unfilled[u].place);
        cr_expect_leq(sum, 1.0 + 1e-9);
    }
    rlv_candidates_free(told, STRAYS);
    end(&c);
}

Test(articulation_candidates, what_is_told_to_be_likely_comes_true_as_often)
{
    double told_likely = 0.0, variance = 0.0, true_likely = 0.0, of_truth = 0.0;
    int strays = 0;
    for (uint64_t seed = 1; seed <= 12; seed++)
    {
        scene c = make(seed);
        fit(&c);
        rlv_candidates told[STRAYS] = {0};
        find(&c, STRAYS, told);
        for (size_t k = 0; k < STRAYS; k++, strays++)
        {
            const rlv_unfilled* u = &c.fit.unfilled[told[k].candidate[0].unfilled];
            const double p = told[k].candidate[0].probability;
            told_likely += p, variance += p * (1.0 - p);
            true_likely += u->row == c.row[k] && u->place == c.place[k];
            of_truth += probability_of(&c, &told[k], c.row[k], c.place[k]);
        }
        rlv_candidates_free(told, STRAYS);
        end(&c);
    }
    // None of these is true of none here, though a tenth is kept for it: the likeliest may be true that much more
    // often.
    cr_expect(true_likely >= told_likely - 3.0 * sqrt(variance) &&
                  true_likely <= told_likely + 0.15 * strays + 3.0 * sqrt(variance),
              "%.0f true, %.1f told, sd %.1f", true_likely, told_likely, sqrt(variance));
    // Chance alone would give a truth one of some 12 unfilled places.
    cr_expect_gt(of_truth, 0.4 * strays, "%.1f of %d", of_truth, strays);
}

Test(articulation_candidates, a_stray_is_held_to_its_rows_and_places)
{
    scene c = make(5);
    for (size_t k = 0; k < STRAYS; k++)
        c.rows[0][k] = k == 2;
    c.stray[1].place_low = c.stray[1].place_high = 900;
    fit(&c);
    rlv_candidates told[STRAYS] = {0};
    find(&c, 2, told);
    cr_expect_gt(told[0].count, 0);
    for (size_t i = 0; i < told[0].count; i++)
        cr_expect_eq(c.fit.unfilled[told[0].candidate[i].unfilled].row, 2);
    cr_expect(told[1].count == 0 && told[1].none == 1.0);
    rlv_candidates_free(told, 2);
    end(&c);
}

Test(articulation_candidates, what_fits_nowhere_is_none_of_these)
{
    scene c = make(6);
    c.stray[0].length_mm = (rlv_interval){7.0, 6.6, 7.4}; // a third of any plate there
    fit(&c);
    rlv_candidates told[1] = {0};
    find(&c, 1, told);
    cr_expect_gt(told[0].none, 0.9, "%g", told[0].none);
    rlv_candidates_free(told, 1);
    end(&c);
}

Test(articulation_candidates, more_strays_than_are_told_together_are_told_each_by_itself)
{
    scene c = make(7);
    fit(&c);
    rlv_stray many[RLV_STRAYS_TOGETHER + 1];
    rlv_candidates told[RLV_STRAYS_TOGETHER + 1] = {0}, alone[1] = {0};
    rlv_error error = {0};
    for (size_t i = 0; i < sizeof many / sizeof *many; i++)
        many[i] = c.stray[i % STRAYS];
    cr_assert_eq(
        rlv_articulation_candidates(told, &c.fit, c.s->count, c.s->element, sizeof many / sizeof *many, many, &error),
        RLV_DONE);
    find(&c, 1, alone);
    cr_expect_eq(told[0].candidate[0].probability, alone[0].candidate[0].probability);
    rlv_candidates_free(told, sizeof many / sizeof *many);
    rlv_candidates_free(alone, 1);
    end(&c);
}

Test(articulation_candidates, what_is_no_measurement_is_refused)
{
    scene c = make(8);
    fit(&c);
    rlv_candidates told[1] = {0};
    rlv_error error = {0};
    c.stray[0].centre_mm.y = NAN;
    cr_expect_eq(rlv_articulation_candidates(told, &c.fit, c.s->count, c.s->element, 1, c.stray, &error),
                 RLV_BAD_INPUT);
    cr_expect(error.mend[0] != '\0');
    c.stray[0].located = false;
    c.stray[0].length_mm = (rlv_interval){-3.0, -4.0, -2.0};
    cr_expect_eq(rlv_articulation_candidates(told, &c.fit, c.s->count, c.s->element, 1, c.stray, &error),
                 RLV_BAD_INPUT);
    rlv_candidates_free(told, 1);
    end(&c);
}
