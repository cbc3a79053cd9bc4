/// What a command found, until it is told: a JSON record, text for people, and files for --out.
///
/// Nothing reaches standard output or the --out folder before all of it is there: text and record wait in memory, files
/// under temporary names. So a command that fails halfway leaves no half an answer.

#ifndef RLV_ANSWER_H
#define RLV_ANSWER_H

#include "options.h"
#include "out_folder.h"
#include "record.h"
#include "words.h"

typedef struct rlv_answer
{
    json_t* record;     ///< the whole record
    json_t* inputs;     ///< its `inputs`
    json_t* parameters; ///< its `parameters`
    json_t* warnings;   ///< its `warnings`
    FILE* text;         ///< what people read, held in memory
    char* text_bytes;
    size_t text_size;
    char next[512];    ///< what to do next: told last; empty: nothing
    out_folder folder; ///< of --out, or the one that the command makes; path NULL without
    rlv_progress progress;
} rlv_answer;

/// Begin an answer, and open the --out folder where there is one.
rlv_status answer_begin(rlv_answer* answer, const rlv_options* options, rlv_error* error);

/// Add a warning, in words and without a full stop; one that was given already is not told twice.
#if defined(__GNUC__)
__attribute__((format(printf, 2, 3)))
#endif
void answer_warn(rlv_answer* answer, const char* format, ...);

/// Add `name` to the --out folder, holding the record. Nothing without --out.
rlv_status answer_keep_record(rlv_answer* answer, const char* name, rlv_error* error);

/// Tell it: the files brought to the disk, then standard output, then the files given their names.
/// `keep_files` is false where the measurement failed: then the folder is left as it was.
rlv_status answer_tell(rlv_answer* answer, const rlv_options* options, bool keep_files, rlv_error* error);

/// Free it; what was not told goes. Safe on a zeroed one.
void answer_free(rlv_answer* answer);

#endif
