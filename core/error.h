/// Statuses and errors: what a call came to, in words that a person can act on.
///
/// Every function that can fail returns an rlv_status and, where it is not RLV_DONE, has filled the rlv_error it was
/// handed, once, at the place that knew most. A message has three parts: where, what is wrong, and what would mend it.

#ifndef RLV_ERROR_H
#define RLV_ERROR_H

#include <stdarg.h>
#include <stddef.h>

/// What a call came to. The values are the exit statuses of the program.
typedef enum rlv_status
{
    RLV_DONE = 0,       ///< done
    RLV_BAD_INPUT = 2,  ///< the input or the call is at fault
    RLV_IMPOSSIBLE = 3, ///< the input is sound, but the measurement cannot be made
    RLV_SYSTEM = 4,     ///< the system failed: disk, memory
} rlv_status;

/// An error. A zeroed one is empty. It holds its own text and needs no freeing.
typedef struct rlv_error
{
    rlv_status status;
    char where[1024]; ///< file, file:line, or a key's path; empty where the call itself is at fault
    char what[512];   ///< what is wrong, no full stop
    char mend[512];   ///< what to do next, in the imperative
} rlv_error;

/// Fill `error` (which may be NULL) and return `status`, so that a function can `return rlv_fail(…)`.
/// `where` and `mend` may be NULL; `format` and what follows make `what`, as printf does.
#if defined(__GNUC__)
__attribute__((format(printf, 5, 6)))
#endif
rlv_status
rlv_fail(rlv_error* error, rlv_status status, const char* where, const char* mend, const char* format, ...);

/// Take away what is left of letters that were cut, as a format such as "%.60s" cuts a text after so many bytes: UTF-8
/// letters have up to four of them (RFC 3629). Whole letters stay, and so do bytes that no UTF-8 letter begins with.
void rlv_whole_letters(char* text);

/// As snprintf, with whole letters alone; how many bytes were written, without the zero byte at their end. Words that
/// people read are made with these.
#if defined(__GNUC__)
__attribute__((format(printf, 3, 4)))
#endif
size_t
rlv_print(char* into, size_t size, const char* format, ...);
#if defined(__GNUC__)
__attribute__((format(printf, 3, 0)))
#endif
size_t
rlv_print_list(char* into, size_t size, const char* format, va_list list);

/// The first of `count` statuses (one at least) that is not RLV_DONE, its error copied to `error` (which may be NULL);
/// RLV_DONE where all are. For parts that ran side by side, each with an error of its own.
rlv_status rlv_first_failure(size_t count, const rlv_status* status, const rlv_error* own, rlv_error* error);

/// `count` zeroed elements of `size` bytes, or NULL with `error` filled (RLV_SYSTEM) where the memory is not to be had
/// or the product overflows. A count of zero gives a block that can be freed. Free with free().
/// What is large lies on large pages where the system has them.
void* rlv_reserve(size_t count, size_t size, rlv_error* error);

/// Ask that what `bytes` from `block` hold in whole large pages lies on them, before it is first written: a walk
/// through hundreds of megabytes spends less of its time on looking addresses up. Changes no value, and does nothing
/// where the system has no such pages.
void rlv_use_large_pages(void* block, size_t bytes);

/// How long work tells how far it is. `tell` may be NULL. It is called from the thread that made the call.
typedef struct rlv_progress
{
    void (*tell)(void* user, const char* step, double share); ///< `share` of the step done, 0 to 1
    void* user;
} rlv_progress;

/// Call `progress` where there is one.
void rlv_tell(const rlv_progress* progress, const char* step, double share);

#endif
