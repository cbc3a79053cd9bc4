#include "articulation.h"

#include "scan.h"
#include "support/skeleton.h"

#include <criterion/criterion.h>
#include <stdio.h>
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
    rlv_carried carried;
    cr_assert_eq(
        rlv_articulation_candidates(told, &carried, &c->fit, c->s->count, c->s->element, count, c->stray, NULL, &error),
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
    rlv_carried carried;
    rlv_error error = {0};
    for (size_t i = 0; i < sizeof many / sizeof *many; i++)
        many[i] = c.stray[i % STRAYS], many[i].located = false; // so that they tell of no current
    c.stray[0].located = false;
    cr_assert_eq(rlv_articulation_candidates(told, &carried, &c.fit, c.s->count, c.s->element,
                                             sizeof many / sizeof *many, many, NULL, &error),
                 RLV_DONE);
    find(&c, 1, alone);
    // Sums over some hundred ways, rounded otherwise.
    cr_expect_float_eq(told[0].candidate[0].probability, alone[0].candidate[0].probability, 1e-12);
    rlv_candidates_free(told, sizeof many / sizeof *many);
    rlv_candidates_free(alone, 1);
    end(&c);
}

Test(articulation_candidates, what_is_no_measurement_is_refused)
{
    scene c = make(8);
    fit(&c);
    rlv_candidates told[1] = {0};
    rlv_carried carried;
    rlv_error error = {0};
    c.stray[0].centre_mm.y = NAN;
    cr_expect_eq(
        rlv_articulation_candidates(told, &carried, &c.fit, c.s->count, c.s->element, 1, c.stray, NULL, &error),
        RLV_BAD_INPUT);
    cr_expect(error.mend[0] != '\0');
    c.stray[0].located = false;
    c.stray[0].length_mm = (rlv_interval){-3.0, -4.0, -2.0};
    cr_expect_eq(
        rlv_articulation_candidates(told, &carried, &c.fit, c.s->count, c.s->element, 1, c.stray, NULL, &error),
        RLV_BAD_INPUT);
    rlv_candidates_free(told, 1);
    end(&c);
}

// --- what was carried off its row ------------------------------------------------------------------------------------

enum
{
    CARRIED = 5,
    DRAWS = 8,
    ANIMALS = 12,
};

/// What is told of plates that were carried off their rows, and what is true.
typedef struct carried_tally
{
    double right, told, variance, of_truth; ///< of the likeliest places: true, told to be, its variance; of the true
    double log_score, current;              ///< sums of the log probability of the truth, and of a current
    double strays, draws;
} carried_tally;

/// Carry some of the plates that are missing 10 to 40 mm off in the level, and up or down: within 25 degrees of one
/// way (`current`), or any way.
static size_t carry(rlv_stray* stray, size_t* which, const skeleton* s, bool (*row)[SKELETON_ROWS], bool current,
                    scan_random* random)
{
    const double way = 2.0 * M_PI * scan_random_unit(random);
    size_t count = 0;
    bool taken[SKELETON_MOST] = {false};
    for (int tries = 0; tries < 200 && count < CARRIED; tries++)
    {
        const size_t m = (size_t)(scan_random_unit(random) * (double)s->missing_count);
        if (taken[m])
            continue;
        taken[m] = true;
        const double far = 10.0 + 30.0 * scan_random_unit(random), off = 2.0 * scan_random_unit(random) - 1.0,
                     azimuth = way + (current ? 25.0 * M_PI / 180.0 * off : M_PI * off);
        which[count] = m;
        stray[count] = (rlv_stray){
            .row = row[s->missing[m].row],
            .place_low = INT_MIN,
            .place_high = INT_MAX,
            .length_mm = {NAN, NAN, NAN},
            .width_mm = {NAN, NAN, NAN},
            .located = true,
            .moved = true,
            .centre_mm = rlv_vec3_add(s->missing[m].life_mm, rlv_vec3_of(far * cos(azimuth), far * sin(azimuth),
                                                                         6.0 * scan_random_normal(random)))};
        for (int k = 0; k < 3; k++)
            stray[count].covariance_mm2[4 * k] = 0.09;
        count++;
    }
    return count;
}

static void tally_draw(carried_tally* t, const skeleton* s, const rlv_articulation* fit, const rlv_stray* stray,
                       const size_t* which, size_t count, rlv_vec3 up)
{
    const rlv_told_motions motions = {.up = up};
    rlv_candidates told[CARRIED] = {0};
    rlv_carried carried;
    rlv_error error = {0};
    cr_assert_eq(rlv_articulation_candidates(told, &carried, fit, s->count, s->element, count, stray, &motions, &error),
                 RLV_DONE, "%s", error.what);
    for (size_t k = 0; k < count; k++)
    {
        double of_truth = 0.0;
        for (size_t i = 0; i < told[k].count; i++)
        {
            const rlv_unfilled* u = &fit->unfilled[told[k].candidate[i].unfilled];
            const bool is = u->row == s->missing[which[k]].row && u->place == s->missing[which[k]].place;
            const double p = told[k].candidate[i].probability;
            of_truth = is ? p : of_truth;
            if (i == 0)
                t->right += is, t->told += p, t->variance += p * (1.0 - p);
        }
        t->of_truth += of_truth;
        t->log_score += log(fmax(of_truth, 1e-6));
        t->strays += 1.0;
    }
    t->current += carried.probability;
    t->draws += 1.0;
    rlv_candidates_free(told, count);
}

static carried_tally try_carried(bool current, rlv_vec3 up)
{
    carried_tally t = {0};
    bool row[SKELETON_ROWS][SKELETON_ROWS] = {0};
    for (size_t r = 0; r < SKELETON_ROWS; r++)
        row[r][r] = true;
    for (uint64_t seed = 1; seed <= ANIMALS; seed++)
    {
        scan_random random = {seed + 4000};
        skeleton_plan plan = skeleton_draw(seed, 15);
        plan.rows = 4, plan.missing = 0.2;
        for (size_t r = 0; r < plan.rows; r++)
            plan.places[r] = 18 + 2 * (int)r;
        skeleton* s = skeleton_make(&plan);
        rlv_articulation fit = {0};
        rlv_error error = {0};
        cr_assert_eq(rlv_articulation_fit(&fit, s->count, s->element, plan.rows, s->row, &error), RLV_DONE);
        for (int draw = 0; draw < DRAWS; draw++)
        {
            rlv_stray stray[CARRIED];
            size_t which[CARRIED];
            const size_t count = carry(stray, which, s, row, current, &random);
            tally_draw(&t, s, &fit, stray, which, count, up);
        }
        rlv_articulation_free(&fit);
        free(s);
    }
    printf("%s, %s: %.0f strays, likeliest right %.1f %%, told %.1f %%; the truth is given %.1f %%; log score %.3f; "
           "current %.2f\n",
           current ? "a current" : "no current", rlv_vec3_length(up) > 0.0 ? "level known" : "level not known",
           t.strays, 100.0 * t.right / t.strays, 100.0 * t.told / t.strays, 100.0 * t.of_truth / t.strays,
           t.log_score / t.strays, t.current / t.draws);
    return t;
}

/// Strays of one draw share what is not known of the current: as many as half of them weigh as one.
static void hold_calibrated(const carried_tally* t)
{
    const double sd = sqrt(t->variance * 0.5 * CARRIED);
    // None of these is true of none here, though a tenth is kept for it before anything is known.
    cr_expect(t->right >= t->told - 3.0 * sd && t->right <= t->told + RLV_STRAY_NONE * t->strays + 3.0 * sd,
              "%.0f right, %.1f told, sd %.1f", t->right, t->told, sd);
}

Test(articulation_candidates, what_a_current_carried_is_given_the_places_that_it_came_from)
{
    const rlv_vec3 up = {0.0, 0.0, 1.0};
    const carried_tally current = try_carried(true, up), anyhow = try_carried(false, up);
    hold_calibrated(&current);
    hold_calibrated(&anyhow);
    cr_expect_gt(current.current / current.draws, 0.5);
    cr_expect_lt(anyhow.current / anyhow.draws, 0.5);
    // What the report says of it, to its two figures.
    cr_expect_float_eq(current.current / current.draws, RLV_CARRIED_TOLD_WITH, 0.005);
    cr_expect_float_eq(anyhow.current / anyhow.draws, RLV_CARRIED_TOLD_WITHOUT, 0.005);
    // The sd of one probability is 0.3, and half of a draw's weigh as one: of the difference of two means 0.03.
    cr_expect_gt(current.of_truth / current.strays, anyhow.of_truth / anyhow.strays + 0.06);
}

Test(articulation_candidates, a_current_is_found_without_a_level_too)
{
    const carried_tally current = try_carried(true, (rlv_vec3){0.0, 0.0, 0.0});
    hold_calibrated(&current);
    cr_expect_gt(current.current / current.draws, 0.5);
}

Test(articulation_candidates, told_motions_say_which_way_the_current_ran)
{
    scene c = make(3);
    fit(&c);
    rlv_vec3 motion[14];
    double sd[14];
    const rlv_vec3 up = {0.0, 0.0, 1.0};
    for (int way = -1; way <= 1; way += 2)
    {
        rlv_candidates told[1] = {0};
        rlv_carried carried;
        rlv_error error = {0};
        for (size_t i = 0; i < 14; i++)
            motion[i] = rlv_vec3_of(4.0 * way, 0.1 * (double)i - 0.7, 0.0), sd[i] = 0.2;
        const rlv_told_motions motions = {up, 14, motion, sd};
        rlv_stray stray = c.stray[0];
        stray.moved = true;
        cr_assert_eq(
            rlv_articulation_candidates(told, &carried, &c.fit, c.s->count, c.s->element, 1, &stray, &motions, &error),
            RLV_DONE, "%s", error.what);
        cr_expect_gt(carried.probability, 0.9, "%g", carried.probability);
        cr_expect_gt(way * carried.motion_mm.x, 0.0, "%g", carried.motion_mm.x);
        cr_expect_lt(carried.direction_sd_deg, 30.0, "%g", carried.direction_sd_deg);
        rlv_candidates_free(told, 1);
    }
    end(&c);
}
