#include "error.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#if defined(__linux__)
#include <sys/mman.h>
#endif

enum
{
    LARGE_PAGE = 1 << 21, ///< bytes, of the processors and kernels that have it; elsewhere the wish is just not met
};

rlv_status rlv_fail(rlv_error* error, rlv_status status, const char* where, const char* mend, const char* format, ...)
{
    if (error == NULL)
        return status;
    error->status = status;
    snprintf(error->where, sizeof error->where, "%s", where != NULL ? where : "");
    snprintf(error->mend, sizeof error->mend, "%s", mend != NULL ? mend : "");
    va_list words;
    va_start(words, format);
    vsnprintf(error->what, sizeof error->what, format, words);
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
