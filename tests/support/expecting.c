#include "expecting.h"

#include "program.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

void expect_failure(const char* line, int status, const char* what, const char* mend)
{
    program_run run = program_call(line, NULL);
    cr_expect_eq(run.status, status, "rilievo %s: status %d\n%s", line, run.status, run.err);
    if (status == 2) // on 3 the warnings stand
        cr_expect_eq(run.out_size, 0, "rilievo %s", line);
    cr_expect_not_null(strstr(run.err, what), "rilievo %s: %s", line, run.err);
    cr_expect_not_null(strstr(run.err, mend), "rilievo %s: %s", line, run.err);
    program_free(&run);
}

void expect_in_file(const char* path, const char* text)
{
    char* bytes = program_read(path, NULL);
    cr_assert_not_null(bytes, "%s is missing", path);
    cr_expect_not_null(strstr(bytes, text), "%s lacks '%s'", path, text);
    free(bytes);
}
