/// The command line: which commands there are, which options each takes, and what a person typed.
///
/// One table holds the commands and one the options; reading, checking and --help all follow from the two. Options
/// stand anywhere, before the command too; `--name value` and `--name=value` both serve, and `--` ends them.

#ifndef RLV_OPTIONS_H
#define RLV_OPTIONS_H

#include "error.h"
#include "mesh_file.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

struct rlv_answer;
typedef struct rlv_options rlv_options;

/// A command of the program.
typedef struct rlv_command
{
    const char* name;
    const char* operands; ///< as help shows them
    size_t least, most;   ///< how many operands
    const char* operand;  ///< what one is, as words_count takes it
    const char* summary;  ///< one line, no full stop
    const char* about;    ///< a paragraph or two
    const char* next;     ///< cautions, and what to do with the result
    unsigned bit;         ///< its bit in an option's list of commands
    rlv_status (*run)(const rlv_options* options, struct rlv_answer* answer, rlv_error* error);
} rlv_command;

/// What was typed, checked. A zeroed one is empty. `path` belongs to it, the strings to argv.
struct rlv_options
{
    const rlv_command* command; ///< NULL: none was named
    bool help, version, json, aligned;
    const char* out;                    ///< a folder; NULL: none
    rlv_unit unit;                      ///< of all meshes, or of BEFORE where `unit_after` differs
    rlv_unit unit_after;                ///< RLV_UNIT_NONE: as `unit`
    int threads;                        ///< 0: one a core
    double scale_sd, scale_sd_after;    ///< relative; 0: exact
    const char* before;                 ///< a mesh from before a piece came off; NULL: none
    double film_mm;                     ///< of adhesive; 0: not said
    const char* piece;                  ///< of the picture of a joint, as typed; NULL: not said
    const char *picture, *stage, *view; ///< of a picture, as typed; NULL: not said
    const char* format;                 ///< "png", "pdf" or "svg"; NULL: not said
    double scale;                       ///< paper over thing; 0: not said, or `fit`
    bool fit;                           ///< as large as the paper holds
    size_t path_count;
    const char** path; ///< operands, in order
};

/// The commands, `*count` of them.
const rlv_command* command_table(size_t* count);

/// Read `argc` words of `argv` (argv[0] is the program's own name) into zeroed `options`. RLV_BAD_INPUT where a word is
/// not known or a value is not one; the error then says what would do. Free with options_free, also after a failure.
rlv_status options_read(rlv_options* options, int argc, char** argv, rlv_error* error);
void options_free(rlv_options* options);

/// Whether the command opens the folder that it writes to itself, once it knows which.
bool options_opens_out(const rlv_options* options);

/// Print the help of `command`, or of the program where it is NULL.
void options_help(const rlv_command* command, FILE* stream);

/// The one of `count` names that `word` most resembles, or NULL where none is near.
const char* options_nearest(const char* word, const char* const* name, size_t count);

#endif
