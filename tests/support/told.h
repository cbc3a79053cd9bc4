/// What the program told as JSON, looked into key by key. What is asked for has to be there: else a
/// message says what is not, and the test aborts.

#ifndef RLV_TEST_TOLD_H
#define RLV_TEST_TOLD_H

#include <jansson.h>
#include <stdbool.h>

/// Run the program with the words of `line`, --json among them, which ends with that exit status, 0 or 3. Give the
/// object back with json_decref.
json_t* told_by(const char* line, int status);

/// A text as an object. Give it back with json_decref.
json_t* told_in(const char* text);

double told_number(const json_t* object, const char* key);
const char* told_text(const json_t* object, const char* key);

/// An object has every key; the last is NULL.
void told_has_keys(const json_t* object, const char* const* key);

/// The object of an array that has that text under that key.
const json_t* told_row(const json_t* rows, const char* key, const char* text);

/// Whether a part of one of its warnings is that.
bool told_warns(const json_t* record, const char* part);

#endif
