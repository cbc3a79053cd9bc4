#include "error.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#if defined(__linux__)
#include <sys/mman.h>
#endif

enum
{
    LARGE_PAGE = 1 << 21, ///< bytes, of the processors and kernels that have it; elsewhere the wish is just not met
};

/// Bytes of the letter that a byte begins; 1 of what begins none of several.
static size_t letter_bytes(unsigned char first)
{
    return first >= 0xF0 && first <= 0xF4  ? 4
           : first >= 0xE0 && first < 0xF0 ? 3
           : first >= 0xC2 && first < 0xE0 ? 2
                                           : 1;
}

void rlv_whole_letters(char* text)
{
    char* to = text;
    for (const char* at = text; *at != '\0';)
    {
        const size_t whole = letter_bytes((unsigned char)*at);
        size_t there = 1;
        while (there < whole && ((unsigned char)at[there] & 0xC0) == 0x80)
            there++;
        if (there == whole)
        {
            memmove(to, at, whole);
            to += whole;
        }
        at += there;
    }
    *to = '\0';
}

size_t rlv_print_list(char* into, size_t size, const char* format, va_list list)
{
    if (size == 0)
        return 0;
    into[0] = '\0';
    (void)vsnprintf(into, size, format, list);
    rlv_whole_letters(into);
    return strlen(into);
}

size_t rlv_print(char* into, size_t size, const char* format, ...)
{
    va_list list;
    va_start(list, format);
    const size_t length = rlv_print_list(into, size, format, list);
    va_end(list);
    return length;
}

rlv_status rlv_fail(rlv_error* error, rlv_status status, const char* where, const char* mend, const char* format, ...)
{
    if (error == NULL)
        return status;
    error->status = status;
    // A path that fits stays as it is: its bytes may be of another coding.
    if ((size_t)snprintf(error->where, sizeof error->where, "%s", where != NULL ? where : "") >= sizeof error->where)
        rlv_whole_letters(error->where);
    rlv_print(error->mend, sizeof error->mend, "%s", mend != NULL ? mend : "");
    va_list words;
    va_start(words, format);
    rlv_print_list(error->what, sizeof error->what, format, words);
    va_end(words);
    return status;
}

rlv_status rlv_first_failure(size_t count, const rlv_status* status, const rlv_error* own, rlv_error* error)
{
    size_t first = 0;
    while (first < count && status[first] == RLV_DONE)
        first++;
    if (first == count)
        return RLV_DONE;
    if (error != NULL)
        *error = own[first];
    return status[first];
}

void rlv_use_large_pages(void* block, size_t bytes)
{
#if defined(MADV_HUGEPAGE)
    const uintptr_t first = ((uintptr_t)block + LARGE_PAGE - 1) & ~(uintptr_t)(LARGE_PAGE - 1),
                    last = ((uintptr_t)block + bytes) & ~(uintptr_t)(LARGE_PAGE - 1);
    if (block != NULL && first < last)
        madvise((void*)first, last - first, MADV_HUGEPAGE); // a wish: a system that has none goes on as before
#else
    (void)block;
    (void)bytes;
#endif
}

void* rlv_reserve(size_t count, size_t size, rlv_error* error)
{
    if (size != 0 && count > SIZE_MAX / size)
    {
        rlv_fail(error, RLV_SYSTEM, NULL, "use a smaller mesh",
                 "%zu elements of %zu bytes pass what a machine can address", count, size);
        return NULL;
    }
    size_t bytes = count * size;
    void* block = calloc(bytes != 0 ? bytes : 1, 1);
    if (block == NULL)
        rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh", "no memory for %zu MB",
                 bytes >> 20);
    else
        rlv_use_large_pages(block, bytes);
    return block;
}

void rlv_tell(const rlv_progress* progress, const char* step, double share)
{
    if (progress != NULL && progress->tell != NULL)
        progress->tell(progress->user, step, share);
}
