/// Tests of reading CSV tables.

#include "tables.h"

#include "support/program.h"
#include "text_file.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

TestSuite(tables, .init = program_enter, .fini = program_leave, .timeout = 60);

static const rlv_table_column columns[] = {{"name", false}, {"size", false}, {"note", true}};

/// Rows as they come: `line:name|size|note;`, a dash where a field is empty.
static rlv_status take(void* user, const rlv_table* table)
{
    char* told = user;
    size_t used = strlen(told);
    const char* const* field = table->field;
    snprintf(told + used, 1000 - used, "%zu:%s|%s|%s;", table->line, field[0] != NULL ? field[0] : "-",
             field[1] != NULL ? field[1] : "-", field[2] != NULL ? field[2] : "-");
    return RLV_DONE;
}

static void expect(const char* text, rlv_status expected, const char* told_or_where)
{
    rlv_reading reading = {0};
    rlv_error error = {0};
    char told[1000] = "", sha256[65];
    program_write("a.csv", text);
    cr_assert_eq(rlv_text_file_open(&reading, "a.csv", 100000, sha256, &error), RLV_DONE);
    rlv_status status = rlv_table_read(&reading, columns, 3, take, told);
    cr_assert_eq(status, expected, "%s: %s", text, error.what);
    cr_assert_str_eq(status == RLV_DONE ? told : error.where, told_or_where, "%s: %s", text, error.what);
    rlv_reading_close(&reading);
}

Test(tables, rows_come_with_their_lines_and_fields_by_name)
{
    expect("name,size,note\na,1,x\nb,2,y\n", RLV_DONE, "2:a|1|x;3:b|2|y;");
    expect("note,size,name\nx,1,a", RLV_DONE, "2:a|1|x;");
    expect("name,size\na,1\n", RLV_DONE, "2:a|1|-;");
    expect("name,size,note\na,1\n,,x\n", RLV_DONE, "2:a|1|-;3:-|-|x;");
    expect("name,size,note\r\n\r\na, 1 ,\" x \"\r\n", RLV_DONE, "3:a|1| x ;");
    expect("\xEF\xBB\xBFname,size\ra,1\r", RLV_DONE, "2:a|1|-;");
    expect("name,size,note\na,1,\"one, \"\"two\"\"\nthree\"\nb,2,\n", RLV_DONE, "2:a|1|one, \"two\"\nthree;4:b|2|-;");
    expect("\n \nname,size\n\n  \n,\na,1\n", RLV_DONE, "7:a|1|-;");
    expect("name,size\n", RLV_DONE, "");
}

Test(tables, what_is_no_such_table_is_refused_with_its_line)
{
    expect("name;size\n", RLV_BAD_INPUT, "a.csv:1");
    expect("\nname,colour\n", RLV_BAD_INPUT, "a.csv:2");
    expect("name,size,name\n", RLV_BAD_INPUT, "a.csv:1");
    expect("name,note\n", RLV_BAD_INPUT, "a.csv:1");
    expect("name,size\na\n", RLV_BAD_INPUT, "a.csv:2");
    expect("name,size\na,1\n\na,1,2\n", RLV_BAD_INPUT, "a.csv:4");
    expect("name,size\na,1\n\"b\n\nc,2\n", RLV_BAD_INPUT, "a.csv:3");
    expect("name,size\na,1\nb\"c,2\n", RLV_BAD_INPUT, "a.csv:3");
    expect("name,size\n\"a\"b,1\n", RLV_BAD_INPUT, "a.csv:2");
}

Test(tables, a_row_of_thousands_of_fields_is_counted_and_no_more)
{
    static char text[20000] = "name,size\na";
    memset(text + strlen(text), ',', 15000);
    expect(text, RLV_BAD_INPUT, "a.csv:2");
    memset(text, ',', 15000);
    expect(text, RLV_BAD_INPUT, "a.csv:1");
}

/// Reads the numbers of the column size.
static rlv_status take_number(void* user, const rlv_table* table)
{
    return rlv_table_number(table, 1, user);
}

Test(tables, a_number_is_finite_and_has_a_point)
{
    const char* const odd[] = {"1,5", "1 5", "nan", "inf", "1e999", "x", "1x", "0x1", "1.2.3", "--1"};
    const char* const fine[] = {"1.5", "+1.5", "15e-1", "0.15E1"};
    char text[100], sha256[65];
    for (size_t i = 0; i < sizeof odd / sizeof *odd + sizeof fine / sizeof *fine; i++)
    {
        bool is_odd = i < sizeof odd / sizeof *odd;
        rlv_reading reading = {0};
        rlv_error error = {0};
        double number = 0.0;
        snprintf(text, sizeof text, "name,size\na,\"%s\"\n", is_odd ? odd[i] : fine[i - sizeof odd / sizeof *odd]);
        program_write("a.csv", text);
        cr_assert_eq(rlv_text_file_open(&reading, "a.csv", 1000, sha256, &error), RLV_DONE);
        rlv_status status = rlv_table_read(&reading, columns, 3, take_number, &number);
        cr_assert_eq(status, is_odd ? RLV_BAD_INPUT : RLV_DONE, "%s: %s", text, error.what);
        cr_assert(is_odd || number == 1.5, "%s", text);
        rlv_reading_close(&reading);
    }
}
