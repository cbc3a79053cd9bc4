/// Names of objects while a file is read: each name once, in the order of first appearance. Internal to io.

#ifndef RLV_OBJECTS_H
#define RLV_OBJECTS_H

#include "error.h"
#include "mesh.h"

typedef struct rlv_objects
{
    size_t count, room;
    char** name;
    size_t slot_count;
    uint32_t* slot; ///< an open hash table of numbers + 1
} rlv_objects;

/// The number of the object called by the `length` bytes at `name`, which is added where it is new. Bytes that are not
/// UTF-8 or cannot be printed become U+FFFD. UINT32_MAX where memory is not to be had.
uint32_t rlv_objects_number(rlv_objects* objects, const char* name, size_t length);

/// Hand the names over to a mesh, which owns them from then on. `objects` is left empty.
void rlv_objects_give(rlv_objects* objects, rlv_mesh* mesh);
void rlv_objects_free(rlv_objects* objects);

/// `length` bytes as UTF-8 text on the heap, as rlv_objects_number cleans them; NULL where memory is not to be had.
char* rlv_clean_text(const char* text, size_t length);

#endif
