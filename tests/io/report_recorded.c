/// Tests of the tables of what was recorded: a person finds there what somebody wrote down.

#include "report_tables.h"

#include "support/short_life.h"

#include <criterion/criterion.h>

static short_life life;

static void set_up(void)
{
    short_life_fill(&life);
}

TestSuite(report_recorded, .init = set_up);

static void expect_shown(const rlv_table* t, size_t column, const char* number)
{
    cr_expect_str_eq(table_show(t, 0, column).number.text, number, "%s: %s", t->column[column].key,
                     table_show(t, 0, column).number.text);
}

// Five figures and more, and few: neither is cut off at four, nor filled up to them.
Test(report_recorded, figures_are_shown_as_they_were_written_down)
{
    double percent = 7.5125, volume_ml = 1250.25, dry_g = 30.125, area_cm2 = 10234.5, pitch_mm = 14.0625,
           pitch_sd_mm = 1.0, aperture_mm = 0.00005;
    rlv_treatment_record treatment = {.concentration_percent = &percent,
                                      .volume_ml = &volume_ml,
                                      .dry_g = &dry_g,
                                      .area_cm2 = &area_cm2,
                                      .material = (char*)"resin"};
    rlv_row_record row = {.id = (char*)"LL", .pitch_mm = &pitch_mm, .pitch_sd_mm = &pitch_sd_mm};
    rlv_joint_record joint = {.id = (char*)"J1", .aperture_mm = &aperture_mm};
    const rlv_answer answer = {0};
    life.stage[0].treatment = &treatment;
    life.stage[0].treatment_count = 1;
    life.specimen.row = &row;
    life.specimen.row_count = 1;
    life.specimen.joint = &joint;
    life.specimen.joint_count = 1;
    life.density[0].sd_g_cm3 = 0.01375;
    report_tables tables = report_tables_of(&life.history, &answer);
    const rlv_table* treatments = &tables.table[REPORT_TREATMENTS];
    expect_shown(treatments, 4, "7.5125");
    expect_shown(treatments, 6, "1250.25");
    expect_shown(treatments, 7, "30.125");
    expect_shown(treatments, 8, "10234.5");
    expect_shown(&tables.table[REPORT_ROWS], 7, "14.0625");
    expect_shown(&tables.table[REPORT_JOINTS], 2, "0.00005");
    expect_shown(&tables.table[REPORT_DENSITIES], 2, "0.01375");
    report_tables_free(&tables);
}
