/// Text that a person wrote: a whole file of it, in UTF-8, with its digest. Internal to io.

#ifndef RLV_TEXT_FILE_H
#define RLV_TEXT_FILE_H

#include "reading.h"

/// Read the whole of `path` into a zeroed `reading`, `sha256` (65 characters) filled. RLV_BAD_INPUT for a missing or
/// empty file, a folder, a pipe (not waited for), one of more than `most_bytes`, and, with its line, for bytes that are
/// not UTF-8 and for a zero byte. Close with rlv_reading_close, also after a failure.
rlv_status rlv_text_file_open(rlv_reading* reading, const char* path, size_t most_bytes, char* sha256,
                              rlv_error* error);

/// Where the text begins: behind a byte-order mark where there is one.
size_t rlv_text_start(const rlv_reading* reading);

/// Whether a name serves as an id: letters and digits of any script, space, `_`, `-` and `.`, since ids name files; not
/// empty, no dot or space first, no space last. `*why` then says what is wrong with it, for "the id '…' …".
bool rlv_text_is_id(const char* text, const char** why);

/// Whether `text` is a date of ISO 8601: a year, a month or a day (2031, 2031-05, 2031-05-12), or two parted by a
/// slash, the first not after the second.
bool rlv_text_is_date(const char* text);

#endif
