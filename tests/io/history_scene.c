#include "history_scene.h"

#include <criterion/criterion.h>
#include <string.h>

/// Steps, each with one region of a depth; 0 is a step without.
static double end_of(size_t count, const double* deepest_mm, size_t which, char words[128])
{
    history_step step[4] = {0};
    rlv_change_region region[4] = {0};
    for (size_t i = 0; i < count; i++)
    {
        region[i].max_depth_mm.value = deepest_mm[i];
        step[i] =
            (history_step){.measured = true, .change = {.region_count = deepest_mm[i] > 0.0, .region = &region[i]}};
    }
    const rlv_history history = {.step_count = count, .step = step};
    return history_scene_colour_end(&history, &step[which], words, 128);
}

Test(history_scene, steps_of_like_depth_have_one_colour_end_and_it_is_round)
{
    const double deepest[3] = {33.7, 12.0, 18.3};
    char words[128];
    for (size_t i = 0; i < 3; i++)
    {
        cr_expect_float_eq(end_of(3, deepest, i, words), 40.0, 1e-9);
        cr_expect(strstr(words, "the same colours") != NULL);
    }
}

Test(history_scene, a_step_that_would_show_nothing_in_the_deepest_ones_colours_has_its_own_and_says_so)
{
    const double deepest[3] = {33.7, 2.1, 8.5};
    char words[128];
    cr_expect_float_eq(end_of(3, deepest, 1, words), 2.5, 1e-9);
    cr_expect(strstr(words, "40" RLV_THIN "mm") != NULL, "%s", words);
    cr_expect_float_eq(end_of(3, deepest, 2, words), 40.0, 1e-9); // a quarter as deep
    cr_expect(strstr(words, "the same colours") != NULL);
}

Test(history_scene, one_step_alone_is_compared_with_nothing)
{
    const double deepest[2] = {4.0, 0.0};
    char words[128];
    cr_expect_float_eq(end_of(2, deepest, 0, words), 4.0, 1e-9);
    cr_expect_str_eq(words, "");
    cr_expect_float_eq(end_of(1, deepest + 1, 0, words), 0.0, 1e-9);
}
