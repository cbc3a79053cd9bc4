#include "record.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool memory_failed;

static void* watched_malloc(size_t size)
{
    void* block = malloc(size);
    memory_failed = memory_failed || block == NULL;
    return block;
}

void record_watch(void)
{
    memory_failed = false;
    json_set_alloc_funcs(watched_malloc, free);
    // Jansson salts its hash table by the clock unless told otherwise; order is kept, but nothing here hangs on the
    // clock.
    json_object_seed(1);
}

bool record_whole(void)
{
    return !memory_failed;
}

void record_real(json_t* object, const char* key, double value)
{
    json_object_set_new(object, key, isfinite(value) ? json_real(value) : json_null());
}

void record_count(json_t* object, const char* key, size_t value)
{
    json_object_set_new(object, key, json_integer((json_int_t)value));
}

void record_flag(json_t* object, const char* key, bool value)
{
    json_object_set_new(object, key, json_boolean(value));
}

/// Length of the UTF-8 character at `at`, or 0 where there is none (Unicode 15, table 3-7).
static size_t utf8_length(const unsigned char* at)
{
    if (at[0] < 0x80)
        return 1;
    size_t length = at[0] >= 0xC2 && at[0] <= 0xDF   ? 2
                    : (at[0] & 0xF0) == 0xE0         ? 3
                    : at[0] >= 0xF0 && at[0] <= 0xF4 ? 4
                                                     : 0;
    for (size_t i = 1; i < length; i++)
        if ((at[i] & 0xC0) != 0x80)
            return 0;
    bool overlong = (at[0] == 0xE0 && at[1] < 0xA0) || (at[0] == 0xF0 && at[1] < 0x90);
    bool beyond = (at[0] == 0xED && at[1] > 0x9F) || (at[0] == 0xF4 && at[1] > 0x8F);
    return overlong || beyond ? 0 : length;
}

/// `text` as JSON. A file's name may be any bytes, JSON only UTF-8.
static json_t* text_json(const char* text)
{
    json_t* straight = json_string(text);
    if (straight != NULL)
        return straight;
    size_t length = strlen(text), used = 0;
    char* mended = malloc(3 * length + 1);
    if (mended == NULL)
    {
        memory_failed = true;
        return NULL;
    }
    for (size_t at = 0; at < length;)
    {
        size_t step = utf8_length((const unsigned char*)text + at);
        memcpy(mended + used, step > 0 ? text + at : "\xEF\xBF\xBD", step > 0 ? step : 3);
        used += step > 0 ? step : 3;
        at += step > 0 ? step : 1;
    }
    json_t* json = json_stringn(mended, used);
    free(mended);
    return json;
}

void record_text(json_t* object, const char* key, const char* value)
{
    json_object_set_new(object, key, value != NULL ? text_json(value) : json_null());
}

void record_null(json_t* object, const char* key)
{
    json_object_set_new(object, key, json_null());
}

void record_reals(json_t* object, const char* key, size_t count, const double* value)
{
    json_t* list = record_list(object, key);
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, isfinite(value[i]) ? json_real(value[i]) : json_null());
}

void record_place(json_t* object, const char* key, rlv_vec3 place)
{
    record_reals(object, key, 3, (const double[3]){place.x, place.y, place.z});
}

void record_volume(json_t* object, const char* key, const rlv_interval* interval)
{
    json_t* child = record_object(object, key);
    record_real(child, "volume_mm3", interval != NULL ? interval->value : (double)NAN);
    record_real(child, "low_mm3", interval != NULL ? interval->low : (double)NAN);
    record_real(child, "high_mm3", interval != NULL ? interval->high : (double)NAN);
}

void record_interval(json_t* object, const char* name, const char* unit, rlv_interval interval)
{
    static const char* const part[] = {"", "_low", "_high"};
    const double number[3] = {interval.value, interval.low, interval.high};
    char key[64];
    for (size_t k = 0; k < 3; k++)
    {
        snprintf(key, sizeof key, "%.30s%s_%.20s", name, part[k], unit);
        record_real(object, key, number[k]);
    }
}

json_t* record_object(json_t* object, const char* key)
{
    json_object_set_new(object, key, json_object());
    return json_object_get(object, key);
}

json_t* record_list(json_t* object, const char* key)
{
    json_object_set_new(object, key, json_array());
    return json_object_get(object, key);
}

json_t* record_row(json_t* list)
{
    json_array_append_new(list, json_object());
    return json_array_get(list, json_array_size(list) - 1);
}

void record_line(json_t* list, const char* text)
{
    json_array_append_new(list, text_json(text));
}

void record_line_once(json_t* list, const char* text)
{
    for (size_t i = 0; i < json_array_size(list); i++)
    {
        const char* line = json_string_value(json_array_get(list, i));
        if (line != NULL && strcmp(line, text) == 0)
            return;
    }
    record_line(list, text);
}

rlv_status record_write(const json_t* record, FILE* stream, const char* where, rlv_error* error)
{
    if (!record_whole())
        return rlv_fail(error, RLV_SYSTEM, where, "close other programs, or use a smaller mesh",
                        "no memory for the JSON");
    if (json_dumpf(record, stream, JSON_INDENT(2)) != 0 || fputc('\n', stream) == EOF)
        return rlv_fail(error, RLV_SYSTEM, where, "make room on the disk", "the JSON could not be written");
    return RLV_DONE;
}
