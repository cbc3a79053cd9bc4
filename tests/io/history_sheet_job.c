#include "history_sheet_job.h"

#include <criterion/criterion.h>
#include <string.h>

#define MINUS "\xe2\x88\x92"

Test(history_sheet_job, a_hyphen_that_stands_for_minus_and_the_space_of_a_per_cent_are_set_as_such)
{
    const char* const said[5][2] = {{"-0.24 to 0.05", MINUS "0.24 to 0.05"},
                                    {"removed 3 mL (-1 to 7)", "removed 3 mL (" MINUS "1 to 7)"},
                                    {"2031-05-12 left-flank", "2031-05-12 left-flank"},
                                    {"scribe - 3 h", "scribe - 3 h"},
                                    {"45.0 % (30 to 60 %), % of", "45.0" RLV_THIN "% (30 to 60" RLV_THIN "%), % of"}};
    for (int i = 0; i < 5; i++)
    {
        char words[80];
        sheet_letters(words, sizeof words, said[i][0]);
        cr_expect_str_eq(words, said[i][1]);
    }
    char few[8];
    sheet_letters(few, sizeof few, "1234-6-7\xc3\xa9\xc3\xa9");
    cr_expect(strlen(few) < sizeof few);
}

Test(history_sheet_job, a_comma_closes_a_stage_of_which_more_is_recorded_than_its_id)
{
    static char id[] = "left flank", to[] = "skull", date[] = "2031-06-27", title[] = "skull";
    const rlv_stage_record from[3] = {{.id = id}, {.id = id, .date = date}, {.id = id, .title = title}};
    const rlv_stage_record last = {.id = to, .date = date};
    const char* const said[3] = {"left flank to 2031-06-27 (skull)", "2031-06-27 (left flank), to 2031-06-27 (skull)",
                                 "skull (left flank), to 2031-06-27 (skull)"};
    for (int i = 0; i < 3; i++)
    {
        char words[200];
        sheet_from_to(words, sizeof words, &from[i], &last);
        cr_expect_str_eq(words, said[i]);
    }
}

Test(history_sheet_job, a_stage_is_named_by_date_and_title_with_its_id_beside_them_unless_the_title_says_it)
{
    static char id[] = "skull", date[] = "2031-06-27", says_it[] = "skull and dorsal row", title[] = "head end";
    const rlv_stage_record stage[6] = {{.id = id, .date = date, .title = title},
                                       {.id = id, .date = date, .title = says_it},
                                       {.id = id, .date = date},
                                       {.id = id, .title = title},
                                       {.id = id, .title = says_it},
                                       {.id = id}};
    const char* const named[6] = {"2031-06-27, head end (skull)", "2031-06-27, skull and dorsal row",
                                  "2031-06-27 (skull)",           "head end (skull)",
                                  "skull and dorsal row",         "skull"};
    const char* const beside[6] = {"2031-06-27 \xc2\xb7 skull", "2031-06-27", "2031-06-27", "skull", "", ""};
    for (int i = 0; i < 6; i++)
    {
        char words[200];
        sheet_stage_words(words, sizeof words, &stage[i]);
        cr_expect_str_eq(words, named[i]);
        cr_expect_str_eq(sheet_stage_title(&stage[i]), stage[i].title != NULL ? stage[i].title : id);
        sheet_stage_date(words, sizeof words, &stage[i]);
        cr_expect_str_eq(words, beside[i]);
    }
}

Test(history_sheet_job, a_line_that_is_cut_says_so_and_so_does_the_last_of_too_many)
{
    sheet_lines lines = {0};
    char words[2 * SHEET_LINE] = "";
    for (size_t i = 0; i < SHEET_LINE; i++) // letters of two bytes
        memcpy(words + 2 * i, i + 1 < SHEET_LINE ? "é" : "\0", 2);
    sheet_line(&lines, "%s", "short");
    sheet_line(&lines, "%s", words);
    cr_expect_str_eq(lines.text[0], "short");
    // Of 255 bytes the sign has four: 125 letters fit before it.
    cr_expect_eq(strlen(lines.text[1]), 2 * 125 + strlen(" …"));
    cr_expect_str_eq(lines.text[1] + 2 * 125, " …");
    while (lines.count < SHEET_LINES)
        sheet_line(&lines, "%s", "short");
    cr_expect_str_eq(lines.text[SHEET_LINES - 1], "short");
    sheet_line(&lines, "%s", "one too many");
    sheet_line(&lines, "%s", "and another");
    cr_expect_eq(lines.count, SHEET_LINES);
    cr_expect_str_eq(lines.text[SHEET_LINES - 1], "short …");
}
