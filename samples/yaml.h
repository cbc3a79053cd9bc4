/// A small writer of YAML 1.2 in block style: maps, lists and scalars, safe for any text.
///
/// Text that could be taken for anything else, or that holds a sign with a meaning, is written in double quotes with
/// JSON's escapes. Numbers have a point in any locale. A failed stream shows in ferror.

#ifndef RLV_SAMPLES_YAML_H
#define RLV_SAMPLES_YAML_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/// Where the writer stands. Start from {stream}.
typedef struct yaml_pen
{
    FILE* stream;
    int indent;
    bool item; ///< the next key begins an item of a list
} yaml_pen;

void yaml_text(yaml_pen* pen, const char* key, const char* value); ///< NULL: nothing is written
void yaml_number(yaml_pen* pen, const char* key, double value,
                 int places); ///< as many decimals, trailing zeros left out
void yaml_count(yaml_pen* pen, const char* key, long value);
void yaml_flag(yaml_pen* pen, const char* key, bool value);
void yaml_numbers(yaml_pen* pen, const char* key, size_t count, const double* value, int places); ///< in one line
void yaml_texts(yaml_pen* pen, const char* key, size_t count, const char* const* value);          ///< in one line

void yaml_open(yaml_pen* pen, const char* key); ///< a map or a list under a key, a step further in
void yaml_item(yaml_pen* pen);                  ///< a new item of a list, a map, whose keys follow
void yaml_end_item(yaml_pen* pen);
void yaml_close(yaml_pen* pen);

/// A note for people.
void yaml_comment(yaml_pen* pen, const char* text);

#endif
