/// The JSON record of a command: keys in the order they were put, numbers that read back to the same bits.
///
/// What is not finite becomes null. A record that memory did not suffice for is never written in part: Jansson's
/// allocations are watched, and record_whole tells whether one failed.

#ifndef RLV_RECORD_H
#define RLV_RECORD_H

#include "change.h"
#include "error.h"
#include "vector.h"

#include <jansson.h>
#include <stdio.h>

/// Begin to watch Jansson's allocations. Once, before the first record.
void record_watch(void);

/// False where an allocation has failed since record_watch.
bool record_whole(void);

void record_real(json_t* object, const char* key, double value); ///< null where not finite
void record_count(json_t* object, const char* key, size_t value);
void record_flag(json_t* object, const char* key, bool value);
void record_text(json_t* object, const char* key,
                 const char* value); ///< bytes that are no UTF-8 become U+FFFD; NULL: null
void record_null(json_t* object, const char* key);
void record_reals(json_t* object, const char* key, size_t count, const double* value);
void record_place(json_t* object, const char* key, rlv_vec3 place);

/// `{volume_mm3, low_mm3, high_mm3}`; all null where `interval` is NULL.
void record_volume(json_t* object, const char* key, const rlv_interval* interval);

/// `name_unit`, `name_low_unit` and `name_high_unit`.
void record_interval(json_t* object, const char* name, const char* unit, rlv_interval interval);

json_t* record_object(json_t* object, const char* key); ///< a new object under `key`, which owns it
json_t* record_list(json_t* object, const char* key);   ///< a new list under `key`
json_t* record_row(json_t* list);                       ///< a new object at the end of a list
void record_line(json_t* list, const char* text);       ///< text at the end of a list
void record_line_once(json_t* list, const char* text);  ///< the same, unless it is there

/// Write a record with a line end after it. RLV_SYSTEM where the stream fails or the record is not whole.
rlv_status record_write(const json_t* record, FILE* stream, const char* where, rlv_error* error);

#endif
