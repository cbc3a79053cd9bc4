/// Running the built program as a user would, in a folder of its own.

#ifndef RLV_TEST_PROGRAM_H
#define RLV_TEST_PROGRAM_H

#include "own_folder.h"

#include <stddef.h>

typedef struct program_run
{
    int status; ///< its exit status; -1 where a signal ended it
    char* out;  ///< standard output, with a zero after it
    size_t out_size;
    char* err; ///< standard error
} program_run;

/// What stands in the program's way.
typedef struct program_limits
{
    size_t file_bytes; ///< no file may grow beyond this, as on a full disk; 0: no limit
    const char* out;   ///< standard output goes to this path; NULL: it is kept
} program_limits;

/// Make an empty folder and go there. Call program_leave when done.
void program_enter(void);
void program_leave(void);

/// Run the program with the words of `line`, parted by single spaces; `limits` may be NULL. It is stopped after five
/// minutes. Free with program_free.
program_run program_call(const char* line, const program_limits* limits);
void program_free(program_run* run);

/// Run a line of the shell, made as printf does; its exit status, or -1.
__attribute__((format(printf, 1, 2))) int program_shell(const char* format, ...);

/// The bytes of a file, with a zero after them, or NULL. Free with free().
char* program_read(const char* path, size_t* size);

/// Write a text file, or bytes.
void program_write(const char* path, const char* text);
void program_write_bytes(const char* path, const void* bytes, size_t size);

/// Put `to` in the place of the first `from` of a text file; aborts where there is none. And the same of a text: free
/// with free().
void program_change(const char* path, const char* from, const char* to);
char* program_changed(const char* text, const char* from, const char* to);

#endif
