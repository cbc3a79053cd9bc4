#include "ply.h"

#include "grow.h"
#include "number.h"
#include "ply_header.h"
#include "polygons.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char* const mend_copy = "copy or export the mesh again";

bool rlv_ply_recognise(const uint8_t* data, size_t size)
{
    return size > 4 && memcmp(data, "ply", 3) == 0 && (data[3] == '\n' || data[3] == '\r');
}

/// What is wrong first in a block of elements.
typedef enum trouble
{
    SOUND,
    NOT_A_TRIANGLE,
    CORNER_OUT_OF_RANGE,
    NOT_A_COORDINATE,
} trouble;

/// What one block of work found.
typedef struct finding
{
    rlv_box box;
    double brightest; ///< the greatest colour
    trouble trouble;
    size_t element; ///< where the trouble is
    double value;   ///< and what was read there
} finding;

/// A body while it is read.
typedef struct body
{
    rlv_reading* reading;
    rlv_mesh* mesh;
    rlv_ply_header header;
    const rlv_ply_element* vertex;
    const rlv_ply_element* face; ///< NULL where there are only strips
    const uint8_t* vertex_from;  ///< fixed layout: where they begin; NULL where `staged` holds them
    const uint8_t* face_from;    ///< all triangles: where they begin; NULL where `polygons` hold them
    size_t face_bytes;           ///< of one triangle in the file
    size_t face_blocks, vertex_blocks;
    finding* finding;     ///< of each block
    double* staged;       ///< 3 a vertex, in the file's unit
    float* staged_colour; ///< 3 a vertex
    rlv_polygons polygons;
    uint32_t* face_object; ///< the number in the file, of each face of `polygons`
    size_t face_object_room;
    rlv_frame frame;
    double white; ///< the value that full colour has
} body;

static const size_t block_elements = 1 << 16;

/// Vertices that are turned into doubles at a time: they stay in the nearest cache.
#define MOUTHFUL 512

// ---- numbers in binary ---------------------------------------------------------------------------------------------

static uint64_t bits_of(const uint8_t* at, size_t bytes, bool big)
{
    uint64_t bits = 0;
    for (size_t i = 0; i < bytes; i++)
        bits |= (uint64_t)at[big ? bytes - 1 - i : i] << (8 * i);
    return bits;
}

/// The number of that type at `at`. A double holds each of them exactly.
static double binary_number(const uint8_t* at, rlv_ply_type type, bool big)
{
    uint64_t bits = bits_of(at, rlv_ply_type_bytes(type), big);
    uint32_t low = (uint32_t)bits;
    float single;
    double whole;
    switch (type)
    {
    case RLV_PLY_INT8:
        return (int8_t)bits;
    case RLV_PLY_UINT8:
        return (uint8_t)bits;
    case RLV_PLY_INT16:
        return (int16_t)bits;
    case RLV_PLY_UINT16:
        return (uint16_t)bits;
    case RLV_PLY_INT32:
        return (int32_t)low;
    case RLV_PLY_UINT32:
        return low;
    case RLV_PLY_FLOAT32:
        memcpy(&single, &low, sizeof single);
        return (double)single;
    default:
        memcpy(&whole, &bits, sizeof whole);
        return whole;
    }
}

static bool is_big(const body* b)
{
    return b->header.format == RLV_PLY_BIG;
}

/// A property of the element at `at`, whose layout is fixed.
static double property_of(const body* b, const rlv_ply_element* element, rlv_ply_role role, const uint8_t* at)
{
    const rlv_ply_property* property = element->property + element->where[role];
    return binary_number(at + property->offset, property->type, is_big(b));
}

static bool host_is_little(void)
{
    const uint16_t one = 1;
    uint8_t first;
    memcpy(&first, &one, 1);
    return first == 1;
}

/// Whether x, y and z lie one after another in this machine's own form, so that they can be copied: by far the usual
/// case.
static bool plain_position(const body* b, rlv_ply_type type)
{
    const rlv_ply_property* p = b->vertex->property;
    const int8_t* w = b->vertex->where;
    size_t bytes = rlv_ply_type_bytes(type);
    return b->header.format == RLV_PLY_LITTLE && host_is_little() && p[w[0]].type == type && p[w[1]].type == type &&
           p[w[2]].type == type && p[w[1]].offset == p[w[0]].offset + bytes && p[w[2]].offset == p[w[1]].offset + bytes;
}

// ---- vertices of fixed layout, in two passes: bounds first, since the origin hangs on them --------------------------

/// Positions of the vertices `first` up to `last`, in double and in the file's unit.
static void load_positions(const body* b, size_t first, size_t last, double* to)
{
    const size_t stride = b->vertex->bytes, x = b->vertex->property[b->vertex->where[RLV_PLY_X]].offset;
    const uint8_t* from = b->vertex_from != NULL ? b->vertex_from + first * stride : NULL;
    if (from == NULL)
        memcpy(to, b->staged + 3 * first, 3 * (last - first) * sizeof *to);
    else if (plain_position(b, RLV_PLY_FLOAT64))
        for (size_t v = first; v < last; v++, from += stride, to += 3)
            memcpy(to, from + x, 3 * sizeof *to);
    else if (plain_position(b, RLV_PLY_FLOAT32))
        for (size_t v = first; v < last; v++, from += stride, to += 3)
        {
            float single[3];
            memcpy(single, from + x, sizeof single);
            for (int i = 0; i < 3; i++)
                to[i] = (double)single[i];
        }
    else
        for (size_t v = first; v < last; v++, from += stride, to += 3)
            for (int i = 0; i < 3; i++)
                to[i] = property_of(b, b->vertex, (rlv_ply_role)i, from);
}

static bool has_colour(const body* b)
{
    return b->vertex->where[RLV_PLY_RED] >= 0 && b->vertex->where[RLV_PLY_GREEN] >= 0 &&
           b->vertex->where[RLV_PLY_BLUE] >= 0;
}

static double colour_of(const body* b, size_t index, int channel)
{
    if (b->vertex_from == NULL)
        return (double)b->staged_colour[3 * index + (size_t)channel];
    return property_of(b, b->vertex, (rlv_ply_role)(RLV_PLY_RED + channel), b->vertex_from + index * b->vertex->bytes);
}

/// The first number among `count` that is no coordinate, or `count`.
static size_t first_astray(const double* at, size_t count, double reach)
{
    size_t i = 0;
    while (i < count && rlv_within(at[i], reach))
        i++;
    return i;
}

static void find_brightest(const body* b, size_t first, size_t last, finding* found)
{
    for (size_t v = first; v < last; v++)
        for (int c = 0; c < 3; c++)
            found->brightest = rlv_brighter(colour_of(b, v, c), found->brightest);
}

static void find_bounds(const body* b, size_t first, size_t last, finding* found)
{
    const double reach = RLV_REACH_MM / b->reading->unit_mm;
    found->box = rlv_box_empty();
    for (size_t v = first, until; v < last && found->trouble == SOUND; v = until)
    {
        double at[3 * MOUTHFUL];
        until = v + MOUTHFUL < last ? v + MOUTHFUL : last;
        load_positions(b, v, until, at);
        const size_t count = 3 * (until - v);
        int astray = 0;
        for (size_t i = 0; i < count; i++)
            astray |= !rlv_within(at[i], reach);
        for (size_t i = 0; i < count; i += 3)
            rlv_box_add(&found->box, at + i);
        if (astray)
        {
            size_t i = first_astray(at, count, reach);
            found->trouble = NOT_A_COORDINATE;
            found->element = v + i / 3;
            found->value = at[i];
        }
    }
    if (b->mesh->colour != NULL)
        find_brightest(b, first, last, found);
}

static void place_block(void* context, size_t block)
{
    const body* b = context;
    size_t first = block * block_elements, last = first + block_elements;
    last = last < b->mesh->vertex_count ? last : b->mesh->vertex_count;
    const rlv_frame frame = b->frame;
    for (size_t v = first, until; v < last; v = until)
    {
        double at[3 * MOUTHFUL];
        until = v + MOUTHFUL < last ? v + MOUTHFUL : last;
        load_positions(b, v, until, at);
        float* to = b->mesh->position_mm + 3 * v;
        for (size_t i = 0; i < 3 * (until - v); i += 3)
            rlv_frame_place(&frame, at + i, to + i);
    }
    uint8_t* colour = b->mesh->colour;
    for (size_t v = first; v < last && colour != NULL; v++)
        for (int c = 0; c < 3; c++)
        {
            double value = fmin(fmax(colour_of(b, v, c) / b->white, 0.0), 1.0);
            colour[3 * v + (size_t)c] = (uint8_t)(value * 255.0 + 0.5);
        }
}

// ---- triangles of fixed layout --------------------------------------------------------------------------------------

/// Whether every face is one list of corners beside plain numbers, so that triangles are all of one length.
static bool maybe_triangles(const body* b, const rlv_ply_element* element)
{
    return element->kind == RLV_PLY_FACE && b->header.format != RLV_PLY_TEXT && element->list_count == 1 &&
           element->where[RLV_PLY_CORNERS] >= 0 && element->count > 0;
}

static void read_triangle(const body* b, const uint8_t* at, double corner[3])
{
    const rlv_ply_property* list = b->face->property + b->face->where[RLV_PLY_CORNERS];
    const uint8_t* from = at + list->offset + rlv_ply_type_bytes(list->count_type);
    for (size_t i = 0; i < 3; i++)
        corner[i] = binary_number(from + i * rlv_ply_type_bytes(list->type), list->type, is_big(b));
}

static double count_of(const body* b, const uint8_t* at)
{
    const rlv_ply_property* list = b->face->property + b->face->where[RLV_PLY_CORNERS];
    return binary_number(at + list->offset, list->count_type, is_big(b));
}

/// Triangles as most files have them: a byte 3 and three 32-bit numbers of this machine's own form.
static size_t copy_plain_triangles(const body* b, size_t first, size_t last)
{
    const rlv_ply_property* list = b->face->property + b->face->where[RLV_PLY_CORNERS];
    const size_t stride = b->face_bytes, offset = list->offset;
    const uint8_t* from = b->face_from + first * stride + offset;
    const uint32_t count = (uint32_t)b->mesh->vertex_count;
    uint32_t* corner = b->mesh->corner + 3 * first;
    size_t f = first;
    for (; f < last; f++, from += stride, corner += 3)
    {
        memcpy(corner, from + 1, 3 * sizeof *corner);
        if (*from != 3 || !((corner[0] < count) & (corner[1] < count) & (corner[2] < count)))
            break;
    }
    return f;
}

static void copy_triangles(body* b, size_t first, size_t last, finding* found)
{
    const rlv_ply_property* list = b->face->property + b->face->where[RLV_PLY_CORNERS];
    size_t f = first;
    if (b->header.format == RLV_PLY_LITTLE && host_is_little() && rlv_ply_type_bytes(list->count_type) == 1 &&
        (list->type == RLV_PLY_INT32 || list->type == RLV_PLY_UINT32))
        f = copy_plain_triangles(b, first, last);
    for (; f < last; f++)
    {
        const uint8_t* at = b->face_from + f * b->face_bytes;
        double corner[3];
        if (count_of(b, at) != 3.0)
        {
            found->trouble = NOT_A_TRIANGLE;
            found->element = f;
            return;
        }
        read_triangle(b, at, corner);
        for (size_t i = 0; i < 3; i++)
        {
            double count = (double)b->mesh->vertex_count;
            if (!(corner[i] >= 0.0 && corner[i] < count && corner[i] == floor(corner[i])))
            {
                found->trouble = CORNER_OUT_OF_RANGE;
                found->element = f;
                found->value = corner[i];
                return;
            }
            b->mesh->corner[3 * f + i] = (uint32_t)corner[i];
        }
    }
}

static void copy_objects(body* b, size_t first, size_t last)
{
    const rlv_ply_property* list = b->face->property + b->face->where[RLV_PLY_CORNERS];
    const rlv_ply_property* object = b->face->property + b->face->where[RLV_PLY_OBJECT];
    size_t offset = object->offset + (object > list ? 3 * rlv_ply_type_bytes(list->type) : 0);
    for (size_t f = first; f < last; f++)
    {
        const uint8_t* at = b->face_from + f * b->face_bytes + offset;
        b->mesh->object[f] = (uint32_t)(int64_t)binary_number(at, object->type, is_big(b));
    }
}

static void pass_one(void* context, size_t block)
{
    body* b = context;
    finding* found = b->finding + block;
    bool faces = block < b->face_blocks;
    size_t first = (faces ? block : block - b->face_blocks) * block_elements, last = first + block_elements;
    size_t count = faces ? b->face->count : b->vertex->count;
    last = last < count ? last : count;
    if (!faces)
    {
        find_bounds(b, first, last, found);
        return;
    }
    copy_triangles(b, first, last, found);
    if (found->trouble == SOUND && b->mesh->object != NULL)
        copy_objects(b, first, last);
}

// ---- the general walk: text, polygons, lists anywhere ---------------------------------------------------------------

/// Where the walk has come to, and at which element.
typedef struct walk
{
    body* b;
    const uint8_t* at;
    const uint8_t* end;
    const char* kind;
    size_t number;
} walk;

static bool is_space(uint8_t c)
{
    return c == ' ' || (c >= '\t' && c <= '\r');
}

/// The next number of the body. False where there is none: the file ends, or holds something else.
static bool take(walk* w, rlv_ply_type type, double* value)
{
    if (w->b->header.format != RLV_PLY_TEXT)
    {
        size_t bytes = rlv_ply_type_bytes(type);
        if ((size_t)(w->end - w->at) < bytes)
            return false;
        *value = binary_number(w->at, type, is_big(w->b));
        w->at += bytes;
        return true;
    }
    while (w->at < w->end && is_space(*w->at))
        w->at++;
    const char* after = w->at < w->end ? rlv_number((const char*)w->at, value, w->b->reading->plain) : NULL;
    if (after == NULL || ((const uint8_t*)after < w->end && !is_space((uint8_t)*after)))
        return false;
    w->at = (const uint8_t*)after;
    return true;
}

/// Refuse what the walk has come to, by line in text and by element in binary.
#define REFUSE_HERE(w, mend, ...)                                                                                      \
    ((w)->b->header.format == RLV_PLY_TEXT                                                                             \
         ? rlv_refuse_line((w)->b->reading, (size_t)((w)->at - (w)->b->reading->data), mend, __VA_ARGS__)              \
         : rlv_refuse_item((w)->b->reading, (w)->kind, (w)->number, mend, __VA_ARGS__))

static rlv_status refuse_missing(const walk* w)
{
    if (w->b->header.format != RLV_PLY_TEXT || w->at >= w->end)
        return rlv_refuse_item(w->b->reading, w->kind, w->number, mend_copy,
                               "the file ends here, before what its header promises");
    return REFUSE_HERE(w, mend_copy, "not a number");
}

static rlv_status no_memory(const body* b)
{
    return rlv_fail(b->reading->error, RLV_SYSTEM, b->reading->path, "close other programs, or thin the mesh out",
                    "no memory for the mesh");
}

/// The count of a list, held against what is left of the file.
static rlv_status take_count(walk* w, const rlv_ply_property* list, size_t* count)
{
    double value = 0.0;
    if (!take(w, list->count_type, &value))
        return refuse_missing(w);
    size_t least = w->b->header.format == RLV_PLY_TEXT ? 2 : rlv_ply_type_bytes(list->type);
    size_t left = (size_t)(w->end - w->at) + 1;
    if (!(value >= 0.0 && value == floor(value) && value <= (double)(left / least)))
        return REFUSE_HERE(w, mend_copy, "a list of %g numbers, where the file has room for %zu", value, left / least);
    *count = (size_t)value;
    return RLV_DONE;
}

static rlv_status skip_list(walk* w, const rlv_ply_property* list)
{
    size_t count = 0;
    rlv_status status = take_count(w, list, &count);
    double ignored;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        status = take(w, list->type, &ignored) ? RLV_DONE : refuse_missing(w);
    return status;
}

static rlv_status take_corner(walk* w, const rlv_ply_property* list, double least, double* corner)
{
    if (!take(w, list->type, corner))
        return refuse_missing(w);
    if (*corner >= least && *corner < (double)w->b->vertex->count && *corner == floor(*corner))
        return RLV_DONE;
    return REFUSE_HERE(w, mend_copy, "corner %.10g is none of the %zu vertices", *corner, w->b->vertex->count);
}

static rlv_status take_face(walk* w, const rlv_ply_property* list)
{
    rlv_polygons* polygons = &w->b->polygons;
    size_t count = 0;
    rlv_status status = take_count(w, list, &count);
    if (status == RLV_DONE && count < 3)
        return REFUSE_HERE(w, mend_copy, "a face of %zu corners: damaged", count);
    if (status == RLV_DONE && !rlv_polygons_room(polygons, count))
        return no_memory(w->b);
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        double corner = 0.0;
        status = take_corner(w, list, 0.0, &corner);
        if (status == RLV_DONE)
            polygons->corner[polygons->corner_count + i] = (uint32_t)corner;
    }
    if (status == RLV_DONE && !rlv_polygons_close(polygons, count))
        return no_memory(w->b);
    return status;
}

/// A strip of triangles, each turned against the last; -1 begins anew.
static rlv_status take_strip(walk* w, const rlv_ply_property* list)
{
    rlv_polygons* polygons = &w->b->polygons;
    size_t count = 0, run = 0;
    uint32_t last[2] = {0, 0};
    rlv_status status = take_count(w, list, &count);
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        double value = 0.0;
        status = take_corner(w, list, -1.0, &value);
        if (status != RLV_DONE || value < 0.0)
        {
            run = 0;
            continue;
        }
        uint32_t corner = (uint32_t)value;
        if (run >= 2)
        {
            if (!rlv_polygons_room(polygons, 3))
                return no_memory(w->b);
            uint32_t* to = polygons->corner + polygons->corner_count;
            to[0] = last[0];
            to[1] = last[1];
            to[2] = corner;
            if (!rlv_polygons_close(polygons, 3))
                return no_memory(w->b);
        }
        last[run & 1] = corner;
        run++;
    }
    return status;
}

/// Keep a plain number that means something.
static rlv_status keep(walk* w, const rlv_ply_element* element, rlv_ply_role role, double value)
{
    body* b = w->b;
    if (element->kind == RLV_PLY_VERTEX && role <= RLV_PLY_Z)
    {
        if (!rlv_within(value, RLV_REACH_MM / b->reading->unit_mm))
            return REFUSE_HERE(w, "mend or export the mesh again", "%c is %g, which is no coordinate", 'x' + (int)role,
                               value);
        b->staged[3 * w->number + role] = value;
    }
    else if (element->kind == RLV_PLY_VERTEX && b->staged_colour != NULL)
        b->staged_colour[3 * w->number + role - RLV_PLY_RED] = (float)value;
    else if (element->kind == RLV_PLY_FACE && role == RLV_PLY_OBJECT)
    {
        if (!(value >= INT32_MIN && value <= UINT32_MAX))
            return REFUSE_HERE(w, mend_copy, "object %g is out of range", value);
        if (!rlv_grow(&b->face_object, &b->face_object_room, w->number + 1, sizeof *b->face_object))
            return no_memory(b);
        b->face_object[w->number] = (uint32_t)(int64_t)value;
    }
    return RLV_DONE;
}

static rlv_status walk_property(walk* w, const rlv_ply_element* element, const rlv_ply_property* property)
{
    if (property->list && property->role == RLV_PLY_CORNERS)
        return element->kind == RLV_PLY_FACE ? take_face(w, property) : take_strip(w, property);
    if (property->list)
        return skip_list(w, property);
    double value = 0.0;
    if (!take(w, property->type, &value))
        return refuse_missing(w);
    return property->role != RLV_PLY_OTHER ? keep(w, element, property->role, value) : RLV_DONE;
}

static rlv_status walk_element(walk* w, const rlv_ply_element* element)
{
    static const char* const kinds[] = {"vertex", "face", "strip", "element"};
    body* b = w->b;
    w->kind = kinds[element->kind];
    if (element->kind == RLV_PLY_VERTEX)
    {
        b->staged = rlv_reserve(3 * element->count, sizeof *b->staged, b->reading->error);
        if (b->staged == NULL)
            return RLV_SYSTEM;
        if (has_colour(b))
            b->staged_colour = rlv_reserve(3 * element->count, sizeof *b->staged_colour, b->reading->error);
        if (has_colour(b) && b->staged_colour == NULL)
            return RLV_SYSTEM;
    }
    rlv_status status = RLV_DONE;
    if (element->property_count == 0)
        return status;
    for (w->number = 0; w->number < element->count && status == RLV_DONE; w->number++)
        for (size_t p = 0; p < element->property_count && status == RLV_DONE; p++)
            status = walk_property(w, element, element->property + p);
    return status;
}

// ---- the whole ------------------------------------------------------------------------------------------------------

/// Walk the elements in their order; what has a fixed layout is stepped over, to be read on all threads.
static rlv_status walk_body(walk* w, bool triangles)
{
    body* b = w->b;
    bool text = b->header.format == RLV_PLY_TEXT;
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < b->header.element_count && status == RLV_DONE; i++)
    {
        const rlv_ply_element* element = b->header.element + i;
        size_t bytes = element->bytes, left = (size_t)(w->end - w->at);
        bool fixed = !text && element->list_count == 0;
        if (triangles && maybe_triangles(b, element))
        {
            bytes += 3 * rlv_ply_type_bytes(element->property[element->where[RLV_PLY_CORNERS]].type);
            fixed = left / bytes >= element->count && count_of(b, w->at) == 3.0;
            b->face_from = fixed ? w->at : NULL;
            b->face_bytes = bytes;
        }
        if (!fixed)
            status = walk_element(w, element);
        else if (bytes > 0 && left / bytes < element->count)
            status = rlv_refuse(b->reading, mend_copy,
                                "the file ends before what its header promises: cut short, or damaged");
        else
        {
            b->vertex_from = element->kind == RLV_PLY_VERTEX ? w->at : b->vertex_from;
            w->at += element->count * bytes;
        }
    }
    while (w->at < w->end && is_space(*w->at))
        w->at++;
    if (status == RLV_DONE && w->at < w->end)
        return rlv_refuse(b->reading, mend_copy, "%zu bytes follow what the header promises: its counts are wrong",
                          (size_t)(w->end - w->at));
    return status;
}

static void forget_walk(body* b)
{
    free(b->staged);
    free(b->staged_colour);
    free(b->face_object);
    free(b->finding);
    rlv_polygons_free(&b->polygons);
    b->staged = NULL;
    b->staged_colour = NULL;
    b->face_object = NULL;
    b->face_object_room = 0;
    b->finding = NULL;
    b->vertex_from = b->face_from = NULL;
}

/// Reserve the mesh for the triangles that are now known.
static rlv_status reserve(body* b, bool object)
{
    size_t count = b->face_from != NULL ? b->face->count : b->polygons.triangle_count;
    if (count == 0)
        return rlv_refuse(b->reading, "export the mesh again, with its surface", "the strips hold no triangles");
    rlv_status status = rlv_mesh_reserve(b->mesh, b->vertex->count, count, has_colour(b), object, b->reading->error);
    if (status == RLV_DONE)
    {
        rlv_large_pages(b->mesh->position_mm, 3 * b->mesh->vertex_count * sizeof(float));
        rlv_large_pages(b->mesh->corner, 3 * count * sizeof(uint32_t));
    }
    return rlv_reading_place_error(b->reading, status);
}

/// The first trouble that the blocks found, in the order of the file's elements.
static const finding* first_trouble(const body* b, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (b->finding[i].trouble != SOUND)
            return b->finding + i;
    return NULL;
}

static rlv_status refuse_finding(const body* b, const finding* found)
{
    if (found->trouble == CORNER_OUT_OF_RANGE)
        return rlv_refuse_item(b->reading, "face", found->element, mend_copy,
                               "corner %.10g is none of the %zu vertices", found->value, b->mesh->vertex_count);
    return rlv_refuse_item(b->reading, "vertex", found->element, "mend or export the mesh again",
                           "a coordinate is %g, which is none", found->value);
}

/// What full colour is: the greatest of a whole type; for fractions 1, or 255 where some go beyond 1.
static rlv_status settle_white(body* b, double brightest)
{
    if (b->mesh->colour == NULL)
        return RLV_DONE;
    // Bytes and 16-bit numbers are full at their greatest. Wider whole numbers are only ever bytes in a wide coat.
    // Fractions are full at 1, unless some go beyond it: then they are bytes again.
    rlv_ply_type type = b->vertex->property[b->vertex->where[RLV_PLY_RED]].type;
    bool narrow = type == RLV_PLY_UINT8 || type == RLV_PLY_UINT16;
    b->white = type == RLV_PLY_UINT16 ? 65535.0 : type < RLV_PLY_FLOAT32 || brightest > 1.0 ? 255.0 : 1.0;
    if (!narrow && !(brightest <= 255.0))
        return rlv_refuse(b->reading, "export the colours as uchar",
                          "a colour is %g, where 0 to 1 or 0 to 255 is usual", brightest);
    return RLV_DONE;
}

/// Put the vertices in place once the first pass has found their bounds.
static rlv_status place_vertices(body* b)
{
    rlv_box box = rlv_box_empty();
    double brightest = 0.0;
    for (size_t i = b->face_blocks; i < b->face_blocks + b->vertex_blocks; i++)
    {
        rlv_box_join(&box, &b->finding[i].box);
        brightest = rlv_brighter(b->finding[i].brightest, brightest);
    }
    b->frame = rlv_frame_choose(&box, b->reading->unit_mm);
    b->mesh->origin_mm = rlv_vec3_of(b->frame.origin_mm[0], b->frame.origin_mm[1], b->frame.origin_mm[2]);
    rlv_status status = settle_white(b, brightest);
    if (status == RLV_DONE)
        rlv_reading_run(b->reading, "place vertices", b->vertex_blocks, place_block, b);
    return status;
}

static rlv_status cut_polygons(body* b)
{
    size_t bad = 0;
    uint32_t* face_of = b->mesh->object; // first the face, then the face's object
    if (rlv_polygons_cut(&b->polygons, b->mesh->position_mm, b->mesh->corner, face_of, &bad))
    {
        for (size_t t = 0; t < b->mesh->triangle_count && face_of != NULL; t++)
            face_of[t] = b->face_object[face_of[t]];
        return RLV_DONE;
    }
    if (bad == SIZE_MAX)
        return no_memory(b);
    return rlv_refuse_item(b->reading, "face", bad, "cut it into triangles first",
                           "not convex, and with more than %d corners", RLV_MOST_CORNERS);
}

/// What a number of an object in the file is worth: as signed as its type.
static int64_t object_value(const body* b, uint32_t stored)
{
    rlv_ply_type type = b->face->property[b->face->where[RLV_PLY_OBJECT]].type;
    return b->header.format != RLV_PLY_TEXT && type == RLV_PLY_UINT32 ? (int64_t)stored : (int64_t)(int32_t)stored;
}

static int by_value(const void* left, const void* right)
{
    const int64_t a = *(const int64_t*)left, c = *(const int64_t*)right;
    return (a > c) - (a < c);
}

/// All numbers of objects that faces or comments bear, each once, in order. NULL where memory is not to be had.
static int64_t* object_values(const body* b, size_t* count)
{
    size_t room = 0;
    int64_t* value = NULL;
    *count = 0;
    for (size_t i = 0; i < b->header.object_count + b->mesh->triangle_count; i++)
    {
        size_t t = i - b->header.object_count;
        if (i >= b->header.object_count && t > 0 && b->mesh->object[t] == b->mesh->object[t - 1])
            continue;
        int64_t next = i < b->header.object_count ? b->header.object[i].number : object_value(b, b->mesh->object[t]);
        if (!rlv_grow(&value, &room, *count + 1, sizeof *value))
        {
            free(value);
            return NULL;
        }
        value[(*count)++] = next;
    }
    qsort(value, *count, sizeof *value, by_value);
    size_t kept = 0;
    for (size_t i = 0; i < *count; i++)
        if (kept == 0 || value[i] != value[kept - 1])
            value[kept++] = value[i];
    *count = kept;
    return value;
}

static char* object_name(const body* b, int64_t value)
{
    for (size_t i = b->header.object_count; i-- > 0;)
        if (b->header.object[i].number == value)
            return strdup(b->header.object[i].name);
    char* name = NULL;
    return asprintf(&name, "%lld", (long long)value) >= 0 ? name : NULL;
}

/// Turn the file's numbers of objects into places in a list of names.
static rlv_status name_objects(body* b)
{
    rlv_mesh* mesh = b->mesh;
    size_t count = 0;
    int64_t* value = object_values(b, &count);
    mesh->object_name = value != NULL ? calloc(count, sizeof *mesh->object_name) : NULL;
    bool held = mesh->object_name != NULL;
    mesh->object_count = held ? count : 0;
    for (size_t i = 0; i < count && held; i++)
        held = (mesh->object_name[i] = object_name(b, value[i])) != NULL;
    uint32_t last = 0, last_place = UINT32_MAX;
    for (size_t t = 0; t < mesh->triangle_count && held; t++)
    {
        if (last_place == UINT32_MAX || mesh->object[t] != last)
        {
            last = mesh->object[t];
            int64_t key = object_value(b, last);
            last_place = (uint32_t)((int64_t*)bsearch(&key, value, count, sizeof key, by_value) - value);
        }
        mesh->object[t] = last_place;
    }
    free(value);
    return held ? RLV_DONE : no_memory(b);
}

/// One way through the body: with `triangles`, faces are taken to be triangles until one is found that is not.
static rlv_status read_body(body* b, bool triangles, bool* again)
{
    walk w = {.b = b, .at = b->reading->data + b->header.body, .end = b->reading->data + b->reading->size};
    rlv_status status = walk_body(&w, triangles);
    *again = status != RLV_DONE && b->face_from != NULL; // faces of other lengths than supposed lead the walk astray
    if (status != RLV_DONE)
        return *again ? RLV_DONE : status;
    bool object = b->face != NULL && b->face->where[RLV_PLY_OBJECT] >= 0 &&
                  (b->face_from != NULL || b->polygons.face_count == b->face->count);
    status = reserve(b, object);
    if (status != RLV_DONE)
        return status;
    b->face_blocks = b->face_from != NULL ? (b->face->count + block_elements - 1) / block_elements : 0;
    b->vertex_blocks = (b->vertex->count + block_elements - 1) / block_elements;
    size_t blocks = b->face_blocks + b->vertex_blocks;
    b->finding = rlv_reserve(blocks, sizeof *b->finding, b->reading->error);
    if (b->finding == NULL)
        return RLV_SYSTEM;
    rlv_reading_run(b->reading, "read mesh", blocks, pass_one, b);
    const finding* found = first_trouble(b, blocks);
    *again = found != NULL && found->trouble == NOT_A_TRIANGLE;
    if (found != NULL)
        return *again ? RLV_DONE : refuse_finding(b, found);
    status = place_vertices(b);
    if (status == RLV_DONE && b->face_from == NULL)
        status = cut_polygons(b);
    return status == RLV_DONE && object ? name_objects(b) : status;
}

rlv_status rlv_ply_read(rlv_mesh* mesh, rlv_reading* reading, bool* split)
{
    body b = {.reading = reading, .mesh = mesh};
    bool again = false;
    rlv_status status = rlv_ply_header_read(&b.header, reading);
    if (status == RLV_DONE)
    {
        b.vertex = rlv_ply_element_of(&b.header, RLV_PLY_VERTEX);
        b.face = rlv_ply_element_of(&b.header, RLV_PLY_FACE);
        status = read_body(&b, true, &again);
    }
    if (status == RLV_DONE && again)
    {
        forget_walk(&b);
        rlv_mesh_free(mesh);
        if (reading->error != NULL)
            memset(reading->error, 0, sizeof *reading->error);
        status = read_body(&b, false, &again);
    }
    *split = b.header.split;
    forget_walk(&b);
    rlv_ply_header_free(&b.header);
    return status;
}
