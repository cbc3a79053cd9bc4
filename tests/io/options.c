#include "options.h"

#include <criterion/criterion.h>
#include <string.h>

/// Read a call written as one line.
static rlv_status read_line(rlv_options* options, rlv_error* error, const char* line)
{
    static char words[512];
    static char* argv[32];
    int argc = 1;
    snprintf(words, sizeof words, "%s", line);
    argv[0] = "rilievo";
    for (char* word = strtok(words, " "); word != NULL; word = strtok(NULL, " "))
        argv[argc++] = word;
    return options_read(options, argc, argv, error);
}

/// A call that must be refused, with `part` somewhere in the message.
static void refuse(const char* line, const char* part)
{
    rlv_options options = {0};
    rlv_error error = {0};
    cr_assert_eq(read_line(&options, &error, line), RLV_BAD_INPUT, "%s was not refused", line);
    cr_assert(strstr(error.what, part) != NULL || strstr(error.mend, part) != NULL, "%s: %s; %s", line, error.what,
              error.mend);
    cr_assert(error.mend[0] != '\0', "%s: nothing said that would mend it", line);
    options_free(&options);
}

Test(options, stand_anywhere_and_take_their_value_after_a_space_or_an_equals_sign)
{
    const char* const lines[] = {"--unit mm --json change a b --out d --threads 3 --scale-sd 0.001",
                                 "change --unit=mm a --out=d b --json --threads=3 --scale-sd=1e-3"};
    for (size_t i = 0; i < 2; i++)
    {
        rlv_options options = {0};
        rlv_error error = {0};
        cr_assert_eq(read_line(&options, &error, lines[i]), RLV_DONE, "%s", error.what);
        cr_assert_str_eq(options.command->name, "change");
        cr_assert_eq(options.unit, RLV_UNIT_MM);
        cr_assert_eq(options.unit_after, RLV_UNIT_NONE);
        cr_assert_eq(options.threads, 3);
        cr_assert_eq(options.path_count, 2);
        cr_assert_str_eq(options.path[0], "a");
        cr_assert_str_eq(options.path[1], "b");
        cr_assert_str_eq(options.out, "d");
        cr_assert(options.json && !options.aligned);
        cr_assert_eq(options.scale_sd, 0.001);
        options_free(&options);
    }
}

Test(options, two_dashes_end_them)
{
    rlv_options options = {0};
    rlv_error error = {0};
    cr_assert_eq(read_line(&options, &error, "inspect --unit mm -- --odd-name.ply"), RLV_DONE);
    cr_assert_str_eq(options.path[0], "--odd-name.ply");
    options_free(&options);
}

Test(options, what_is_not_known_is_refused_with_the_nearest_name)
{
    refuse("change a b --jsn", "--json");
    refuse("change a b --unit-aftr=m", "--unit-after");
    refuse("chnage a b", "change");
    refuse("-x", "there is no option -x");
    refuse("frobnicate a", "rilievo --help");
}

Test(options, a_value_that_is_none_is_refused)
{
    refuse("inspect a --unit furlong", "not a unit");
    refuse("inspect a --unit", "--unit mm|cm|m|in");
    refuse("inspect a --out --json", "--out needs a value");
    refuse("change a b --threads 0", "whole number");
    refuse("change a b --threads 2.5", "whole number");
    refuse("change a b --scale-sd 0.1%", "share");
    refuse("change a b --scale-sd nan", "share");
    refuse("change a b --scale-sd -0.1", "share");
    refuse("change a b --json=yes", "takes no value");
    refuse("inspect a --out=", "empty");
}

Test(options, a_call_that_does_not_fit_its_command_is_refused)
{
    refuse("", "no command");
    refuse("change", "change takes at least 1 operand, and 0 are given");
    refuse("change a b c d", "change BEFORE AFTER | SPECIMEN [STAGE STAGE]");
    refuse("align a b c", "align takes at most 2 operands, and 3 are given");
    refuse("inspect", "inspect MESH");
    refuse("new", "new takes 1 folder, and 0 are given");
    refuse("new a b", "new DIR");
    refuse("new a --out b", "new takes no --out");
    refuse("inspect a --aligned", "--aligned");
    refuse("rejoin", "rejoin takes at least 1 operand, and 0 are given");
    refuse("rejoin a b --aligned", "rejoin takes no --aligned");
    refuse("rejoin a b --film 0", "--film: '0' is not a number");
    refuse("rejoin a b --film thin", "--film");
    refuse("report", "report takes 1 folder, and 0 are given");
    refuse("report a --unit mm", "report takes no --unit");
    refuse("change a b --unit mm --unit cm", "twice");
}

Test(options, help_lists_every_option_that_a_command_takes_and_no_other)
{
    char* bytes = NULL;
    size_t size = 0, count = 0;
    FILE* stream = open_memstream(&bytes, &size);
    const rlv_command* table = command_table(&count);
    cr_assert_eq(count, 9);
    options_help(&table[1], stream);
    fclose(stream);
    cr_assert(strstr(bytes, "--unit ") != NULL && strstr(bytes, "--json") != NULL);
    cr_assert(strstr(bytes, "--aligned") == NULL && strstr(bytes, "--unit-after") == NULL);
    free(bytes);
}
