/// Tests of a stage that somebody named.

#include "specimen_choice.h"

#include <criterion/criterion.h>
#include <glib.h>
#include <stdio.h>
#include <string.h>

static rlv_stage_record stage[] = {{.id = (char*)"field"}, {.id = (char*)"overburden"}, {.id = (char*)"skull"}};
static const rlv_specimen specimen = {.folder = (char*)"fish", .stage_count = 3, .stage = stage};

Test(specimen_choice, a_stage_is_found_by_its_id)
{
    for (size_t i = 0; i < 3; i++)
    {
        size_t found = 9;
        cr_assert_eq(specimen_choose_stage(&found, &specimen, stage[i].id, 0, NULL), RLV_DONE);
        cr_assert_eq(found, i);
    }
    size_t found = 9;
    cr_assert_eq(specimen_choose_stage(&found, &specimen, "overburden", 1, NULL), RLV_DONE);
    cr_assert_eq(found, 1);
}

Test(specimen_choice, an_unknown_id_lists_those_that_would_do)
{
    size_t found = 0;
    rlv_error error = {0};
    cr_assert_eq(specimen_choose_stage(&found, &specimen, "scull", 0, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, "fish");
    cr_assert_str_eq(error.what, "there is no stage 'scull'");
    cr_assert_str_eq(error.mend, "say one of field, overburden, skull");
    cr_assert_eq(specimen_choose_stage(&found, &specimen, "Field", 1, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.mend, "say one of overburden, skull", "where a step must lead to it the first would not do");
}

Test(specimen_choice, the_first_stage_is_refused_where_a_step_must_lead_to_it)
{
    size_t found = 0;
    rlv_error error = {0};
    cr_assert_eq(specimen_choose_stage(&found, &specimen, "field", 1, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.what, "'field' is the first stage, and no step leads to it");
    cr_assert_str_eq(error.mend, "say one of overburden, skull");
}

Test(specimen_choice, a_list_that_does_not_fit_ends_at_a_whole_id)
{
    enum
    {
        STAGES = 40
    };
    char id[STAGES][40];
    rlv_stage_record many[STAGES] = {0};
    for (size_t i = 0; i < STAGES; i++)
    {
        snprintf(id[i], sizeof id[i], "Schädel und Flosse %zu", 100 + i);
        many[i].id = id[i];
    }
    const rlv_specimen long_one = {.folder = (char*)"fish", .stage_count = STAGES, .stage = many};
    size_t found = 0;
    rlv_error error = {0};
    cr_assert_eq(specimen_choose_stage(&found, &long_one, "scull", 0, &error), RLV_BAD_INPUT);
    cr_assert(g_utf8_validate(error.mend, -1, NULL));
    const char* const end = strrchr(error.mend, ',');
    cr_assert_str_eq(end, ", …");
    // All ids here are as long as one another: the last that is told is whole.
    cr_assert_eq(strncmp(end - strlen(id[0]), id[0], strlen(id[0]) - 2), 0, "%s", error.mend);
}
