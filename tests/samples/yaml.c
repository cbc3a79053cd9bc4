#include "yaml.h"

#include "support/program.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct written
{
    FILE* stream;
    char* text;
    size_t size;
    yaml_pen pen;
} written;

static void begin(written* w)
{
    memset(w, 0, sizeof *w);
    w->stream = open_memstream(&w->text, &w->size);
    cr_assert(w->stream != NULL);
    w->pen.stream = w->stream;
}

static void expect(written* w, const char* text)
{
    fclose(w->stream);
    cr_expect_str_eq(w->text, text);
    free(w->text);
}

Test(yaml, maps_and_lists_are_in_block_style)
{
    written w;
    begin(&w);
    yaml_text(&w.pen, "specimen", "one");
    yaml_open(&w.pen, "stages");
    for (int k = 0; k < 2; k++)
    {
        yaml_item(&w.pen);
        yaml_text(&w.pen, "id", k == 0 ? "a" : "b");
        yaml_open(&w.pen, "mass");
        yaml_number(&w.pen, "grams", 12.5 + k, 2);
        yaml_close(&w.pen);
        yaml_end_item(&w.pen);
    }
    yaml_close(&w.pen);
    yaml_numbers(&w.pen, "vector", 3, (const double[3]){0, -1, 0.25}, 3);
    expect(&w, "specimen: one\nstages:\n  - id: a\n    mass:\n      grams: 12.5\n  - id: b\n    mass:\n      grams: "
               "13.5\nvector: [0, -1, 0.25]\n");
}

Test(yaml, text_that_could_be_taken_for_something_else_is_quoted)
{
    // YAML 1.2.2, chapters 5.3 (indicators), 7.3.1 (double quotes) and 10.3.2 (the core schema's words).
    static const char* const row[][2] = {
        {"plain words", "plain words"},
        {"true", "\"true\""},
        {"No", "\"No\""},
        {"NULL", "\"NULL\""},
        {"nullarbor", "nullarbor"},
        {"12", "\"12\""},
        {"2031-05-12", "\"2031-05-12\""},
        {"", "\"\""},
        {" lead", "\" lead\""},
        {"trail ", "\"trail \""},
        {"a: b", "\"a: b\""},
        {"a #b", "\"a #b\""},
        {"- a", "\"- a\""},
        {"[a]", "\"[a]\""},
        {"*a", "\"*a\""},
        {"say \"hush\" \\ no", "\"say \\\"hush\\\" \\\\ no\""},
        {"two\nlines\tand a tab", "\"two\\x0Alines\\x09and a tab\""},
        {"< 2 mm & <b>", "\"< 2 mm & <b>\""},
        {"Πέτρα", "\"Πέτρα\""},
    };
    for (size_t k = 0; k < sizeof row / sizeof *row; k++)
    {
        written w;
        char line[128];
        begin(&w);
        yaml_text(&w.pen, "key", row[k][0]);
        snprintf(line, sizeof line, "key: %s\n", row[k][1]);
        expect(&w, line);
    }
}

Test(yaml, what_was_not_recorded_is_left_out_and_numbers_lose_their_trailing_zeros)
{
    written w;
    begin(&w);
    yaml_text(&w.pen, "note", NULL);
    yaml_number(&w.pen, "a", 2.0, 3);
    yaml_number(&w.pen, "b", -0.0004, 3);
    yaml_number(&w.pen, "c", 100.0, 0);
    yaml_count(&w.pen, "d", 7);
    yaml_flag(&w.pen, "e", false);
    expect(&w, "a: 2\nb: 0\nc: 100\nd: 7\ne: false\n");
}

Test(yaml, numbers_have_a_point_in_any_locale, .init = program_enter, .fini = program_leave)
{
    if (!folder_comma_locale())
        cr_skip_test("no locale with decimal commas can be made");
    written w;
    begin(&w);
    yaml_number(&w.pen, "a", 2.25, 3);
    expect(&w, "a: 2.25\n");
}
