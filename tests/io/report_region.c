/// Tests of what stands beside a region: grams, what was weighed, hours.

#include "report_region.h"
#include "report_tables.h"
#include "report_words.h"

#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>

static short_life life;

static void set_up(void)
{
    short_life_fill(&life);
}

TestSuite(report_region, .init = set_up);

Test(report_region, hours_of_an_area_stand_at_its_largest_region_with_the_rate_of_all)
{
    const report_work first = report_region_work(&life.history, &life.step[0], 0);
    const report_work second = report_region_work(&life.history, &life.step[0], 1);
    cr_expect_str_eq(first.tool, "scribe, needle");
    cr_expect_float_eq(first.hours, 10.0, 0.0);
    // (120 000 + 60 000) mm³ in 10 h; halves 900 and 700 in quadrature.
    cr_expect_float_eq(first.rate.value, 18000.0, 1e-9);
    cr_expect_float_eq(first.rate.high, 18000.0 + hypot(900.0, 700.0) / 10.0, 1e-9);
    cr_expect_str_eq(second.tool, "scribe, needle");
    cr_expect(isnan(second.hours) && isnan(second.rate.value));
}

Test(report_region, hours_without_an_area_are_of_the_step)
{
    const report_work first = report_region_work(&life.history, &life.step[1], 0);
    cr_expect_float_eq(first.hours, 10.0, 0.0);
    cr_expect_float_eq(first.rate.value, 30900.0, 1e-9);
    cr_expect(isnan(report_region_work(&life.history, &life.step[1], 2).hours));
}

Test(report_region, no_rate_is_told_where_some_work_has_no_area)
{
    life.work[1].area = NULL;
    const report_work first = report_region_work(&life.history, &life.step[0], 0);
    cr_expect_float_eq(first.hours, 8.0, 0.0);
    cr_expect(isnan(first.rate.value));
}

Test(report_region, where_a_region_runs_over_several_areas_all_work_of_the_step_stands_at_the_largest)
{
    static char other[] = "dorsal row";
    life.work[1].area = other;
    life.step[0].areas_mixed = true;
    life.step[0].region[0].area = life.step[0].region[1].area = NULL;
    const report_work first = report_region_work(&life.history, &life.step[0], 0);
    cr_expect_str_eq(first.tool, "scribe, needle");
    cr_expect_float_eq(first.hours, 10.0, 0.0);
    cr_expect_float_eq(first.rate.value, 18000.0, 1e-9);
    cr_expect(isnan(report_region_work(&life.history, &life.step[0], 1).hours));
    cr_expect_float_eq(report_region_weighed_g(&life.history, &life.step[0], 0), 420.0, 0.0);
}

Test(report_region, bone_and_pieces_have_no_hours)
{
    cr_expect(isnan(report_region_work(&life.history, &life.step[0], 2).hours));
    cr_expect(isnan(report_region_work(&life.history, &life.step[1], 1).hours));
}

Test(report_region, spoil_stands_at_the_largest_region_of_its_area_and_a_piece_at_its_own)
{
    cr_expect_float_eq(report_region_weighed_g(&life.history, &life.step[0], 0), 420.0, 0.0);
    cr_expect(isnan(report_region_weighed_g(&life.history, &life.step[0], 1)));
    cr_expect(isnan(report_region_weighed_g(&life.history, &life.step[0], 2)));
    cr_expect_float_eq(report_region_weighed_g(&life.history, &life.step[1], 0), 700.0, 0.0);
    cr_expect_float_eq(report_region_weighed_g(&life.history, &life.step[1], 1), 108.5, 0.0);
}

Test(report_region, a_bag_that_was_not_weighed_leaves_its_area_without_a_mass)
{
    life.bag[0].mass = NULL;
    cr_expect(isnan(report_region_weighed_g(&life.history, &life.step[0], 0)));
}

Test(report_region, grams_are_volume_times_density_with_both_errors)
{
    const rlv_interval grams = report_region_grams(&life.specimen, &life.region[0][0]);
    cr_expect_float_eq(grams.value, 120.0 * 2.32, 1e-9);
    // 0.9 mL of 2.32 g/mL, and 1.96 sd of 0.03 g/mL over 120 mL.
    cr_expect_float_eq(grams.high - grams.value, hypot(0.9 * 2.32, 1.959963984540054 * 0.03 * 120.0), 1e-9);
    const rlv_interval bone = report_region_grams(&life.specimen, &life.region[0][2]);
    cr_expect_float_eq(bone.value, 0.42 * 2.96, 1e-9);
}

Test(report_region, grams_are_not_known_without_a_density)
{
    life.specimen.density_count = 0;
    cr_expect(isnan(report_region_grams(&life.specimen, &life.region[0][0]).value));
}

Test(report_region, what_was_weighed_stands_as_written_at_its_region_and_as_its_doubt_allows_in_its_balance)
{
    life.bag_mass[0].grams = 706.6;
    life.row[0].spoil.right_g = 706.6;
    report_tables tables = report_tables_measured(&life.history);
    cr_expect_str_eq(table_show(&tables.table[REPORT_REGIONS], 0, 8).number.text, "706.6");
    cr_expect_str_eq(table_show(&tables.table[REPORT_SPOIL_BALANCE], 0, 3).number.text, "707");
    const report_lines lines = report_step(&life.history, 0);
    bool said = false;
    for (size_t i = 0; i < lines.count; i++)
        said = said || strstr(lines.line[i].words.text, "weighed 707 g") != NULL;
    cr_expect(said);
    report_tables_free(&tables);
}
