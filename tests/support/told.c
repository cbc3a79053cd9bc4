#include "told.h"

#include "program.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// Say why on standard error, and end the test.
__attribute__((format(printf, 2, 3))) static void need(bool holds, const char* format, ...)
{
    if (holds)
        return;
    va_list list;
    va_start(list, format);
    vfprintf(stderr, format, list);
    va_end(list);
    fputc('\n', stderr);
    abort();
}

json_t* told_in(const char* text)
{
    json_error_t fault;
    json_t* json = json_loads(text, 0, &fault);
    need(json_is_object(json), "%s at line %d", fault.text, fault.line);
    return json;
}

json_t* told_by(const char* line, int status)
{
    program_run run = program_call(line, NULL);
    need(run.status == status, "rilievo %s: status %d\n%s", line, run.status, run.err);
    json_t* record = told_in(run.out);
    program_free(&run);
    return record;
}

double told_number(const json_t* object, const char* key)
{
    const json_t* value = json_object_get(object, key);
    need(json_is_number(value), "%s is no number", key);
    return json_number_value(value);
}

const char* told_text(const json_t* object, const char* key)
{
    const char* value = json_string_value(json_object_get(object, key));
    need(value != NULL, "%s is no text", key);
    return value;
}

void told_has_keys(const json_t* object, const char* const* key)
{
    for (; *key != NULL; key++)
        need(json_object_get(object, *key) != NULL, "%s is missing", *key);
}

const json_t* told_row(const json_t* rows, const char* key, const char* text)
{
    for (size_t i = 0; i < json_array_size(rows); i++)
    {
        const char* is = json_string_value(json_object_get(json_array_get(rows, i), key));
        if (is != NULL && strcmp(is, text) == 0)
            return json_array_get(rows, i);
    }
    need(false, "no row whose %s is %s", key, text);
    return NULL;
}

bool told_warns(const json_t* record, const char* part)
{
    const json_t* warnings = json_object_get(record, "warnings");
    for (size_t i = 0; i < json_array_size(warnings); i++)
        if (strstr(json_string_value(json_array_get(warnings, i)), part) != NULL)
            return true;
    return false;
}
