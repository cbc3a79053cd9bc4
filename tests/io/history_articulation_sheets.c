/// The pictures of a skeleton by their names, drawn by `render` of a small specimen.

#include "support/boxed_fish.h"
#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <stdio.h>
#include <string.h>

TestSuite(history_articulation_sheets, .init = program_enter, .fini = program_leave, .timeout = 600);

Test(history_articulation_sheets, its_pictures_are_drawn_by_name_and_are_the_same_bytes_for_any_number_of_threads)
{
    static const char* const pictures[] = {"bone-map", "body-plan", "directions"};
    boxed_fish fish = boxed_fish_make();
    boxed_fish_write(&fish);
    for (size_t i = 0; i < sizeof pictures / sizeof *pictures; i++)
    {
        for (int threads = 1; threads <= 2; threads++)
        {
            char line[160];
            snprintf(line, sizeof line, "render fish --picture %s --format pdf --threads %d --out out%d --json",
                     pictures[i], threads, threads);
            json_t* record = told_by(line, 0);
            const json_t* picture = json_object_get(record, "picture");
            char file[64];
            snprintf(file, sizeof file, "%s.pdf", pictures[i]);
            cr_expect_str_eq(told_text(picture, "path"), file);
            cr_expect_not(told_warns(record, "found no room"));
            if (strcmp(pictures[i], "directions") == 0)
                cr_expect_not_null(strstr(told_text(picture, "alt"), ". Drawn: "), "%s", told_text(picture, "alt"));
            json_decref(record);
        }
        cr_expect_eq(program_shell("cmp out1/%s.pdf out2/%s.pdf", pictures[i], pictures[i]), 0, "%s", pictures[i]);
    }
}

Test(history_articulation_sheets, a_bone_map_is_at_true_scale_from_the_side_and_on_the_stage_that_are_named)
{
    boxed_fish fish = boxed_fish_make();
    boxed_fish_write(&fish);
    json_t* record =
        told_by("render fish --picture bone-map --stage field --view 45,30 --format svg --out out --json", 0);
    const json_t* picture = json_object_get(record, "picture");
    cr_expect_str_eq(told_text(picture, "path"), "bone-map-az45-el30.svg");
    cr_expect_float_eq(told_number(picture, "scale"), 1.0, 1e-12);
    cr_expect_not_null(strstr(told_text(picture, "alt"), "53 elements"), "%s", told_text(picture, "alt"));
    json_decref(record);
    static const char* const refused[] = {"render fish --picture body-plan --out o --stage field",
                                          "render fish --picture directions --out o --view upper",
                                          "render fish --picture bone-map --out o --stage nowhere"};
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++)
    {
        program_run run = program_call(refused[i], NULL);
        cr_expect_eq(run.status, 2, "%s", refused[i]);
        program_free(&run);
    }
    cr_expect_eq(folder_count("o"), -1);
}
