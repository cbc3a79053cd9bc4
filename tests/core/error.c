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

Test(error, a_letter_that_a_format_cuts_is_left_out_whole)
{
    // Of two, three and four bytes: cut after each number of bytes there are as many letters as fit whole.
    static const char* const letter[] = {"λ", "ल", "𐤀"};
    for (size_t of = 0; of < sizeof letter / sizeof *letter; of++)
    {
        const size_t bytes = strlen(letter[of]);
        char name[101] = "", what[64];
        while (strlen(name) + bytes < sizeof name)
            strcat(name, letter[of]);
        for (int cut = 0; cut <= 20; cut++)
        {
            const size_t length = rlv_print(what, sizeof what, "'%.*s' is not there", cut, name);
            const size_t whole = (size_t)cut / bytes * bytes;
            cr_expect_eq(length, whole + strlen("'' is not there"), "%d bytes of %s: %s", cut, letter[of], what);
            cr_expect_eq(memcmp(what + 1, name, whole), 0);
            cr_expect_str_eq(what + 1 + whole, "' is not there");
        }
    }
}

Test(error, what_does_not_fit_ends_with_a_whole_letter)
{
    char small[8];
    cr_expect_eq(rlv_print(small, sizeof small, "abλμν"), 6); // seven bytes hold two letters of one and two of two
    cr_expect_str_eq(small, "abλμ");
    cr_expect_eq(rlv_print(small, 1, "λ"), 0);
    cr_expect_str_eq(small, "");
}

Test(error, an_error_names_what_is_long_by_whole_letters)
{
    rlv_error error = {0};
    char name[101] = "";
    while (strlen(name) + 3 < sizeof name)
        strcat(name, "ल");
    rlv_fail(&error, RLV_BAD_INPUT, "elements.csv:3", NULL, "no row %.80s, no element %.40s", name, name);
    char expected[512];
    snprintf(expected, sizeof expected, "no row %.78s, no element %.39s", name, name);
    cr_expect_str_eq(error.what, expected);
}

Test(error, bytes_that_are_no_letter_at_all_stay)
{
    char words[] = "a\x80\xff z";
    rlv_whole_letters(words);
    cr_expect_str_eq(words, "a\x80\xff z");
}
