#include "error.h"

#include <criterion/criterion.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

Test(error, fail_returns_its_status_and_fills_all_three_parts)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_fail(&error, RLV_IMPOSSIBLE, "block.ply:7", "thin it", "%d of %s", 3, "four"), RLV_IMPOSSIBLE);
    cr_assert_eq(error.status, RLV_IMPOSSIBLE);
    cr_assert_str_eq(error.where, "block.ply:7");
    cr_assert_str_eq(error.what, "3 of four");
    cr_assert_str_eq(error.mend, "thin it");
}

Test(error, fail_without_place_or_advice_leaves_them_empty)
{
    rlv_error error;
    memset(&error, 'x', sizeof error);
    rlv_fail(&error, RLV_BAD_INPUT, NULL, NULL, "no");
    cr_assert_str_eq(error.where, "");
    cr_assert_str_eq(error.mend, "");
    cr_assert_str_eq(error.what, "no");
}

Test(error, fail_needs_no_error_to_fill)
{
    cr_assert_eq(rlv_fail(NULL, RLV_SYSTEM, "a", "b", "c"), RLV_SYSTEM);
}

Test(error, words_longer_than_their_field_are_cut_not_overrun)
{
    rlv_error error = {0};
    char* words = malloc(5000);
    memset(words, 'w', 4999);
    words[4999] = '\0';
    rlv_fail(&error, RLV_SYSTEM, words, words, "%s", words);
    cr_assert_eq(strlen(error.where), sizeof error.where - 1);
    cr_assert_eq(strlen(error.what), sizeof error.what - 1);
    cr_assert_eq(strlen(error.mend), sizeof error.mend - 1);
    free(words);
}

Test(error, reserve_gives_zeroed_elements)
{
    rlv_error error = {0};
    unsigned char* block = rlv_reserve(1000, 3, &error);
    cr_assert_not_null(block);
    for (int i = 0; i < 3000; i++)
        cr_assert_eq(block[i], 0);
    free(block);
}

Test(error, reserve_of_nothing_gives_a_block_to_free)
{
    void* block = rlv_reserve(0, 8, NULL);
    cr_assert_not_null(block);
    free(block);
}

Test(error, reserve_refuses_a_product_that_overflows)
{
    rlv_error error = {0};
    cr_assert_null(rlv_reserve(SIZE_MAX / 2, 3, &error));
    cr_assert_eq(error.status, RLV_SYSTEM);
    cr_assert_neq(error.what[0], '\0');
    cr_assert_neq(error.mend[0], '\0');
}

Test(error, reserve_says_when_memory_is_not_to_be_had)
{
    rlv_error error = {0};
    cr_assert_null(rlv_reserve(SIZE_MAX / 16, 8, &error)); // more than any address space
    cr_assert_eq(error.status, RLV_SYSTEM);
    cr_assert_neq(error.mend[0], '\0');
}

static void note(void* user, const char* step, double share)
{
    *(double*)user = strcmp(step, "reading") == 0 ? share : -1.0;
}

Test(error, progress_is_told_where_somebody_listens)
{
    double share = 0.0;
    rlv_progress progress = {note, &share};
    rlv_tell(&progress, "reading", 0.25);
    cr_assert_eq(share, 0.25);
    rlv_tell(NULL, "reading", 0.5);
    rlv_tell(&(rlv_progress){0}, "reading", 0.5);
    cr_assert_eq(share, 0.25);
}
