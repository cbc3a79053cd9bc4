#include "history_sheets.h"

#include <criterion/criterion.h>
#include <stdlib.h>

Test(history_sheets, ids_that_a_system_takes_for_one_name_give_files_of_two_names)
{
    // E with an acute as one letter and as two; capitals; a space and the hyphen that it becomes.
    char id[6][24] = {"\xc3\xa9tage 1", "e\xcc\x81tage 1",
                      "\xc3\x89TAGE-1", "tail",
                      "Tail",           "\xce\xbb\xce\xaf\xce\xb8\xce\xbf\xcf\x82"};
    rlv_stage_record record[6] = {0};
    const rlv_specimen specimen = {.stage_count = 6, .stage = record};
    static const char* const wanted[6] = {"\xc3\xa9tage-1",   "e\xcc\x81tage-1~2",
                                          "\xc3\x89TAGE-1~3", "tail",
                                          "Tail~2",           "\xce\xbb\xce\xaf\xce\xb8\xce\xbf\xcf\x82"};
    rlv_error error = {0};
    for (size_t i = 0; i < 6; i++)
        record[i].id = id[i];
    for (size_t i = 0; i < 6; i++)
    {
        char* name = history_stage_file(&specimen, i, &error);
        cr_assert_str_eq(name, wanted[i]);
        free(name);
    }
}
