// Squares on a panel: their letters, and where those stand. That bar and axes keep out of their strips is panel.c's.

#include "panel_parts.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(panel_grid);

Test(panel_grid, letters_leave_out_those_that_read_as_figures)
{
    static const struct
    {
        size_t column;
        const char* letter;
    } told[] = {{0, "A"}, {7, "H"}, {8, "J"}, {13, "P"}, {23, "Z"}, {24, "AA"}};
    for (size_t i = 0; i < sizeof told / sizeof *told; i++)
    {
        char letter[4];
        rlv_grid_letter(letter, told[i].column);
        cr_expect_str_eq(letter, told[i].letter);
    }
}

// A panel of 60 by 40 mm at 1 : 1, with squares of 20 mm from its upper left corner on.
static rlv_panel panel_of(void)
{
    return (rlv_panel){
        .view = {.axes = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, .scale = 1.0}, .width_mm = 60, .height_mm = 40};
}

static const rlv_panel_grid twenties = {{-30, 20, 0}, 20.0, 3, 2};

Test(panel_grid, every_column_has_its_letter_above_and_every_row_its_number_on_the_left)
{
    rlv_sheet sheet = {0};
    rlv_box2 taken[5];
    const rlv_panel panel = panel_of();
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 100, NULL), RLV_DONE);
    cr_assert_eq(panel_letter_grid(&sheet, &panel, 10, 10, &twenties, taken), 5);
    for (int i = 0; i < 3; i++)
        cr_expect_lt(taken[i].top + taken[i].height, 14.0);
    for (int i = 3; i < 5; i++)
        cr_expect_lt(taken[i].left + taken[i].width, 14.0);
    cr_expect_float_eq(taken[1].left + 0.5 * taken[1].width, 40.0, 1e-9); // the middle of the second column
    rlv_sheet_free(&sheet);
}

Test(panel_grid, the_key_tells_large_squares_in_plain_figures)
{
    const rlv_panel_grid squares[2] = {{{0, 0, 0}, 1000.0, 3, 2}, {{0, 0, 0}, 0.5, 3, 2}};
    rlv_key key = {0};
    for (int i = 0; i < 2; i++)
        panel_key_grid(&key, &squares[i]);
    cr_assert_eq(key.count, 2);
    cr_expect_not_null(strstr(key.entry[0].words, "squares of 1000"), "%s", key.entry[0].words);
    cr_expect_not_null(strstr(key.entry[1].words, "squares of 0.5"), "%s", key.entry[1].words);
}
