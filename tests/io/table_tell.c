/// Tests of tables told in lines.

#include "table.h"

#include <criterion/criterion.h>
#include <glib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const table_column columns[] = {{"id", NULL, "place", TABLE_TEXT, "Where."},
                                       {"regions", NULL, "regions", TABLE_COUNT, "How many."},
                                       {"volume", "mm3", "volume", TABLE_INTERVAL, "Volume."},
                                       {"area", "mm2", "area on the stage before", TABLE_NUMBER, "Area."},
                                       {"turn", "deg", "turn", TABLE_NUMBER, "Turn."},
                                       {"mass", "g", "mass", TABLE_NUMBER, "Mass."},
                                       {"held", NULL, "held", TABLE_FLAG, "Whether it held."}};

enum
{
    COLUMNS = sizeof columns / sizeof *columns
};

static void put_row(rlv_table* t, const char* id, size_t regions, rlv_interval volume, double area, bool held)
{
    table_text(t, id);
    table_count(t, regions);
    table_interval(t, volume);
    table_number(t, area, 0.0);
    table_number(t, 0.25, 0.0);
    table_none(t);
    table_flag(t, held);
}

static char* told(const rlv_table* t)
{
    char* bytes = NULL;
    size_t size = 0;
    FILE* stream = open_memstream(&bytes, &size);
    table_tell(t, stream);
    fclose(stream);
    return bytes;
}

/// Line `index`, cut out of what was told.
static char* line_of(char* bytes, size_t index)
{
    for (; index > 0; index--)
        bytes = strchr(bytes, '\n') + 1;
    return g_strndup(bytes, (gsize)(strchr(bytes, '\n') - bytes));
}

/// How many columns of a terminal stand before the first `what` of a line, and before what follows it.
static size_t column_of(char* bytes, size_t line, const char* what, bool end)
{
    char* text = line_of(bytes, line);
    const char* at = strstr(text, what);
    cr_assert_not_null(at, "'%s' is not in '%s'", what, text);
    size_t columns_before = 0;
    for (const char* c = text; c < at + (end ? strlen(what) : 0); c = g_utf8_next_char(c))
        columns_before += g_unichar_iszerowidth(g_utf8_get_char(c)) ? 0 : g_unichar_iswide(g_utf8_get_char(c)) ? 2 : 1;
    g_free(text);
    return columns_before;
}

Test(table_tell, a_table_is_headings_on_two_lines_and_a_line_for_each_row)
{
    rlv_table t = table_of("t", "T", COLUMNS, columns);
    put_row(&t, "skull", 3, (rlv_interval){12345.0, 11861.0, 12829.0}, 14000.0, true);
    put_row(&t, "tail", 12, (rlv_interval){8000.0, (double)NAN, (double)NAN}, 90.0, false);
    char* text = told(&t);
    cr_assert_str_eq(text, "                               volume       area on the  turn  \n"
                           "  place  regions                   mL  stage before cm²     °  held\n"
                           "  skull        3  12.3 (11.8 to 12.9)               140  0.25  yes\n"
                           "  tail        12                8.000               0.9  0.25  no\n");
    free(text);
    table_free(&t);
}

Test(table_tell, columns_stand_under_each_other_whatever_the_letters_take)
{
    // An umlaut of one letter, the same of a letter and a mark, Greek, letters as wide as two, and plain.
    static const char* const id[] = {"Schädel", "Scha\u0308del", "κρανίο", "頭骨", "skull"};
    rlv_table t = table_of("t", "T", COLUMNS, columns);
    for (size_t i = 0; i < 5; i++)
        put_row(&t, id[i], 7, (rlv_interval){12345.0, 11861.0, 12829.0}, 14000.0, true);
    char* text = told(&t);
    for (size_t i = 0; i < 5; i++)
    {
        cr_assert_eq(column_of(text, 2 + i, id[i], false), 2);
        cr_assert_eq(column_of(text, 2 + i, " 7 ", true), column_of(text, 1, "regions ", true), "row %zu", i);
        cr_assert_eq(column_of(text, 2 + i, "to 12.9)", true), column_of(text, 1, "mL", true), "row %zu", i);
        cr_assert_eq(column_of(text, 2 + i, "140", true), column_of(text, 1, "cm²", true), "row %zu", i);
        cr_assert_eq(column_of(text, 2 + i, "yes", false), column_of(text, 1, "held", false), "row %zu", i);
    }
    free(text);
    table_free(&t);
}

Test(table_tell, a_column_in_which_nothing_is_known_is_left_out_and_one_known_once_is_not)
{
    rlv_table t = table_of("t", "T", COLUMNS, columns);
    put_row(&t, NULL, 1, (rlv_interval){(double)NAN, (double)NAN, (double)NAN}, (double)NAN, true);
    put_row(&t, NULL, 2, (rlv_interval){(double)NAN, (double)NAN, (double)NAN}, 500.0, true);
    char* text = told(&t);
    cr_assert_null(strstr(text, "place"));
    cr_assert_null(strstr(text, "volume"));
    cr_assert_null(strstr(text, "mass"));
    cr_assert_eq(column_of(text, 2, "–", true), column_of(text, 3, "5", true), "what is not known has its place");
    free(text);
    table_free(&t);
}

Test(table_tell, a_unit_stands_in_the_heading_as_people_read_it_and_rows_are_in_it)
{
    rlv_table t = table_of("t", "T", COLUMNS, columns);
    put_row(&t, "skull", 3, (rlv_interval){2000.0, 1000.0, 3000.0}, 250.0, true);
    char* text = told(&t);
    cr_assert_not_null(strstr(text, "stage before cm²"));
    cr_assert_not_null(strstr(text, " 2.5 "), "250 mm² are 2.5 cm²:\n%s", text);
    cr_assert_not_null(strstr(text, "(1.0 to 3.0)"), "3000 mm³ are 3 mL:\n%s", text);
    cr_assert_null(strstr(text, "mm"));
    free(text);
    table_free(&t);
}

Test(table_tell, a_text_that_is_too_long_is_cut_at_a_whole_letter)
{
    char long_text[1000] = "a";
    for (size_t i = 0; i < 400; i++)
        memcpy(long_text + 1 + 2 * i, "ä", 3);
    rlv_table t = table_of("t", "T", COLUMNS, columns);
    put_row(&t, long_text, 3, (rlv_interval){2000.0, 1000.0, 3000.0}, 250.0, true);
    put_row(&t, long_text + 1, 3, (rlv_interval){2000.0, 1000.0, 3000.0}, 250.0, true);
    char* text = told(&t);
    cr_assert(g_utf8_validate(text, -1, NULL));
    cr_assert_not_null(strstr(text, "ä…"));
    cr_assert_eq(column_of(text, 2, "yes", false), column_of(text, 3, "yes", false));
    free(text);
    table_free(&t);
}

Test(table_tell, nothing_is_told_where_there_is_no_row)
{
    rlv_table t = table_of("t", "T", COLUMNS, columns);
    char* text = told(&t);
    cr_assert_str_eq(text, "");
    free(text);
    table_free(&t);
}
