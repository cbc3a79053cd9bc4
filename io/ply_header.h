/// The header of a PLY file: which elements follow, and how they are laid out. Internal to io.

#ifndef RLV_PLY_HEADER_H
#define RLV_PLY_HEADER_H

#include "objects.h"
#include "reading.h"

typedef enum rlv_ply_format
{
    RLV_PLY_TEXT,
    RLV_PLY_LITTLE,
    RLV_PLY_BIG,
} rlv_ply_format;

typedef enum rlv_ply_type
{
    RLV_PLY_INT8,
    RLV_PLY_UINT8,
    RLV_PLY_INT16,
    RLV_PLY_UINT16,
    RLV_PLY_INT32,
    RLV_PLY_UINT32,
    RLV_PLY_FLOAT32,
    RLV_PLY_FLOAT64,
    RLV_PLY_NO_TYPE,
} rlv_ply_type;

/// What a property means to a mesh; what means nothing is skipped.
typedef enum rlv_ply_role
{
    RLV_PLY_X,
    RLV_PLY_Y,
    RLV_PLY_Z,
    RLV_PLY_RED,
    RLV_PLY_GREEN,
    RLV_PLY_BLUE,
    RLV_PLY_CORNERS,
    RLV_PLY_OBJECT,
    RLV_PLY_OTHER,
} rlv_ply_role;

typedef struct rlv_ply_property
{
    rlv_ply_role role;
    bool list;
    rlv_ply_type count_type; ///< of a list
    rlv_ply_type type;
    size_t offset; ///< bytes from the start of the element, where no list comes before
} rlv_ply_property;

typedef enum rlv_ply_kind
{
    RLV_PLY_VERTEX,
    RLV_PLY_FACE,
    RLV_PLY_STRIPS,
    RLV_PLY_OTHER_KIND,
} rlv_ply_kind;

typedef struct rlv_ply_element
{
    rlv_ply_kind kind;
    size_t count;
    size_t property_count, property_room;
    rlv_ply_property* property;
    size_t list_count;
    size_t bytes;    ///< of one element, with empty lists
    int8_t where[8]; ///< which property has each role, or -1
} rlv_ply_element;

/// A name that a comment gives an object.
typedef struct rlv_ply_object
{
    int64_t number;
    char* name;
} rlv_ply_object;

typedef struct rlv_ply_header
{
    rlv_ply_format format;
    size_t element_count, element_room;
    rlv_ply_element* element;
    size_t object_count, object_room;
    rlv_ply_object* object;
    bool split;  ///< vertices carry texture points or normals, for which they may have been repeated
    size_t body; ///< where the first element begins
} rlv_ply_header;

/// Read the header into a zeroed `header`. Free with rlv_ply_header_free, which is safe after a failure.
rlv_status rlv_ply_header_read(rlv_ply_header* header, const rlv_reading* reading);
void rlv_ply_header_free(rlv_ply_header* header);

/// The element of that kind, or NULL.
const rlv_ply_element* rlv_ply_element_of(const rlv_ply_header* header, rlv_ply_kind kind);

size_t rlv_ply_type_bytes(rlv_ply_type type);

#endif
