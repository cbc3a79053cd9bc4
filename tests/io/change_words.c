/// Tests of what is said of a change: one quantity has the same figures wherever it stands.

#include "change_words.h"
#include "report_tables.h"
#include "report_words.h"

#include "support/short_life.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static short_life life;

static void set_up(void)
{
    short_life_fill(&life);
}

TestSuite(change_words, .init = set_up);

Test(change_words, a_limit_reads_the_same_in_a_table_and_in_a_sentence)
{
    life.step[0].change.limit[0] = (rlv_detection_limit){123.4, 1.234};
    report_tables tables = report_tables_measured(&life.history);
    const rlv_table* t = &tables.table[REPORT_LIMITS];
    const report_text said = report_limits(&life.history, 0);
    for (size_t i = 0; i < RLV_CHANGE_LIMITS; i++)
    {
        char words[200];
        const table_shown area = table_show(t, i, 2), depth = table_show(t, i, 3);
        snprintf(words, sizeof words, "%s mm over %s cm²", depth.number.text, area.number.text);
        cr_expect_not_null(strstr(said.text, words), "%s is not in: %s", words, said.text);
    }
    report_tables_free(&tables);
}

// By the rule at the head of io/words.h: an sd of 0.10 mL, whose first figure is a 1, allows hundredths, and so would
// half of it; 0.2 mL allows tenths, where half of it would allow hundredths.
Test(change_words, a_check_of_volumes_has_the_figures_that_what_was_not_told_apart_allows)
{
    rlv_change change = {.went = {.volume_mm3 = {12345.6, 12000.0, 12700.0}}, .divergence_mm3 = 12222.2};
    static const struct
    {
        double sd_mm3;
        const char* sum;
    } untold[] = {{100.0, " = 12.35 mL;"}, {200.0, " = 12.3 mL;"}, {400.0, " = 12.3 mL;"}, {2000.0, " = 12 mL;"}};
    for (size_t i = 0; i < sizeof untold / sizeof *untold; i++)
    {
        char* text = NULL;
        size_t size = 0;
        FILE* stream = open_memstream(&text, &size);
        cr_assert_not_null(stream);
        change.untold_mm3 = (rlv_interval){0.0, -RLV_HALF_95 * untold[i].sd_mm3, RLV_HALF_95 * untold[i].sd_mm3};
        change_tell_check(stream, &change);
        fclose(stream);
        cr_expect_not_null(strstr(text, untold[i].sum), "%s is not in: %s", untold[i].sum, text);
        free(text);
    }
}

Test(change_words, what_two_tessellations_differ_by_stands_beside_the_limit)
{
    life.step[0].change.chord_mm = 0.037;
    char* text = NULL;
    size_t size;
    FILE* stream = open_memstream(&text, &size);
    change_tell_limits(stream, &life.step[0].change);
    fclose(stream);
    cr_expect(strstr(text, "triangles cut corners, each mesh’s in their own way: by 0.037 mm") != NULL, "%s", text);
    free(text);
}
