#include "stl.h"

#include "grow.h"
#include "number.h"
#include "objects.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const char* const mend_copy = "copy or export the mesh again";

/// Bytes before the first triangle, and of a triangle: a normal, three corners, and two that mean nothing.
enum
{
    HEADER_BYTES = 84,
    TRIANGLE_BYTES = 50,
    BLOCK_TRIANGLES = 1 << 15,
};

// ---- binary ---------------------------------------------------------------------------------------------------------

static uint32_t little32(const uint8_t* at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

bool rlv_stl_is_binary(const uint8_t* data, size_t size)
{
    if (size < HEADER_BYTES)
        return false;
    // Fewer bytes than a triangle may follow the last: some writers end with a line.
    size_t told = little32(data + 80), held = (size - HEADER_BYTES) / TRIANGLE_BYTES;
    if (told == held)
        return true;
    if (strncasecmp((const char*)data, "solid", 5) != 0)
        return true; // it is not text either: a binary file whose count is wrong
    // Text has no zero bytes; the header of a binary file that was cut short is filled up with them.
    return memchr(data, 0, HEADER_BYTES) != NULL;
}

/// A binary file while it is read.
typedef struct binary
{
    rlv_reading* reading;
    rlv_mesh* mesh;
    rlv_box* box;   ///< of each block
    size_t* astray; ///< of each block: the first triangle with a corner that is none, or SIZE_MAX
    rlv_frame frame;
} binary;

static size_t block_end(const binary* b, size_t block)
{
    size_t end = (block + 1) * BLOCK_TRIANGLES;
    return end < b->mesh->triangle_count ? end : b->mesh->triangle_count;
}

/// Copy a block as it stands in the file, and find its bounds.
static void copy_block(void* context, size_t block)
{
    binary* b = context;
    const double reach = RLV_REACH_MM / b->reading->unit_mm;
    rlv_box box = rlv_box_empty();
    size_t astray = SIZE_MAX, end = block_end(b, block);
    for (size_t t = block * BLOCK_TRIANGLES; t < end; t++)
    {
        const uint8_t* from = b->reading->data + HEADER_BYTES + t * TRIANGLE_BYTES + 12;
        uint32_t* corner = b->mesh->corner + 3 * t;
        for (size_t c = 0; c < 3; c++)
        {
            double at[3];
            for (size_t i = 0; i < 3; i++)
            {
                uint32_t bits = little32(from + 12 * c + 4 * i);
                float value;
                memcpy(&value, &bits, sizeof value);
                b->mesh->position_mm[9 * t + 3 * c + i] = value;
                at[i] = (double)value;
                astray = rlv_within(at[i], reach) || astray < t ? astray : t;
            }
            rlv_box_add(&box, at);
            corner[c] = (uint32_t)(3 * t + c);
        }
    }
    b->box[block] = box;
    b->astray[block] = astray;
}

static void place_block(void* context, size_t block)
{
    const binary* b = context;
    for (size_t v = 3 * block * BLOCK_TRIANGLES; v < 3 * block_end(b, block); v++)
    {
        float* to = b->mesh->position_mm + 3 * v;
        const double at[3] = {(double)to[0], (double)to[1], (double)to[2]};
        rlv_frame_place(&b->frame, at, to);
    }
}

static void set_origin(rlv_mesh* mesh, const rlv_frame* frame)
{
    mesh->origin_mm = rlv_vec3_of(frame->origin_mm[0], frame->origin_mm[1], frame->origin_mm[2]);
}

static rlv_status read_blocks(binary* b, size_t blocks)
{
    rlv_reading_run(b->reading, "read mesh", blocks, copy_block, b);
    rlv_box box = rlv_box_empty();
    for (size_t i = 0; i < blocks; i++)
    {
        if (b->astray[i] != SIZE_MAX)
            return rlv_refuse_item(b->reading, "triangle", b->astray[i], "mend or export the mesh again",
                                   "a coordinate is not a number, infinite or absurdly large");
        rlv_box_join(&box, b->box + i);
    }
    b->frame = rlv_frame_choose(&box, b->reading->unit_mm);
    set_origin(b->mesh, &b->frame);
    bool as_it_stands = b->frame.unit_mm == 1.0 && b->frame.origin_mm[0] == 0.0 && b->frame.origin_mm[1] == 0.0 &&
                        b->frame.origin_mm[2] == 0.0;
    if (!as_it_stands)
        rlv_reading_run(b->reading, "place vertices", blocks, place_block, b);
    return RLV_DONE;
}

static rlv_status read_binary(rlv_mesh* mesh, rlv_reading* reading)
{
    size_t count = little32(reading->data + 80), held = (reading->size - HEADER_BYTES) / TRIANGLE_BYTES;
    if (count != held)
        return rlv_refuse(reading, mend_copy,
                          "the header promises %zu triangles where the file holds %zu: cut short, or damaged", count,
                          held);
    if (count == 0)
        return rlv_refuse(reading, "export the mesh again, with its surface", "the file holds no triangles");
    rlv_status status = rlv_mesh_reserve(mesh, 3 * count, count, false, false, reading->error);
    if (status != RLV_DONE)
        return rlv_reading_place_error(reading, status);
    rlv_large_pages(mesh->position_mm, 9 * count * sizeof(float));
    rlv_large_pages(mesh->corner, 3 * count * sizeof(uint32_t));
    size_t blocks = (count + BLOCK_TRIANGLES - 1) / BLOCK_TRIANGLES;
    binary b = {.reading = reading, .mesh = mesh};
    b.box = rlv_reserve(blocks, sizeof *b.box, reading->error);
    b.astray = b.box != NULL ? rlv_reserve(blocks, sizeof *b.astray, reading->error) : NULL;
    status = b.astray != NULL ? read_blocks(&b, blocks) : RLV_SYSTEM;
    free(b.box);
    free(b.astray);
    return status;
}

// ---- text -----------------------------------------------------------------------------------------------------------

/// A text file while it is read.
typedef struct text
{
    rlv_reading* reading;
    const char* at;
    const char* end;
    size_t count, room; ///< coordinates
    double* coordinate;
    size_t object_room; ///< one for each triangle
    uint32_t* object;
    rlv_objects objects;
    size_t solid_count;
    rlv_status status;
} text;

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static void skip_space(text* t)
{
    while (t->at < t->end && (is_blank(*t->at) || (*t->at >= '\n' && *t->at <= '\r')))
        t->at++;
}

/// Step over a word of the format, in either case. False where something else stands there.
static bool take_word(text* t, const char* word)
{
    skip_space(t);
    size_t length = strlen(word);
    if (strncasecmp(t->at, word, length) != 0)
        return false;
    char next = t->at[length];
    if (!is_blank(next) && !(next >= '\n' && next <= '\r') && t->at + length < t->end)
        return false;
    t->at += length;
    return true;
}

static rlv_status refuse_text(const text* t, const char* expected)
{
    if (t->at >= t->end)
        return rlv_refuse(t->reading, mend_copy, "the file ends where '%s' should follow: cut short", expected);
    return rlv_refuse_line(t->reading, (size_t)(t->at - (const char*)t->reading->data), mend_copy,
                           "'%s' is missing here", expected);
}

static rlv_status no_memory(const text* t)
{
    return rlv_fail(t->reading->error, RLV_SYSTEM, t->reading->path, "close other programs, or thin the mesh out",
                    "no memory for the mesh");
}

/// The rest of the line, without the space around it.
static size_t take_rest(text* t, const char** rest)
{
    while (t->at < t->end && is_blank(*t->at))
        t->at++;
    *rest = t->at;
    while (t->at < t->end && *t->at != '\n' && *t->at != '\r')
        t->at++;
    const char* last = t->at;
    while (last > *rest && is_blank(last[-1]))
        last--;
    return (size_t)(last - *rest);
}

static rlv_status take_corner(text* t)
{
    if (!take_word(t, "vertex"))
        return refuse_text(t, "vertex");
    for (int i = 0; i < 3; i++)
    {
        double value = 0.0;
        while (t->at < t->end && is_blank(*t->at))
            t->at++;
        const char* after = rlv_number(t->at, &value, t->reading->plain);
        if (after == NULL || after > t->end)
            return refuse_text(t, "a number");
        if (!rlv_within(value, RLV_REACH_MM / t->reading->unit_mm))
            return rlv_refuse_line(t->reading, (size_t)(t->at - (const char*)t->reading->data),
                                   "mend or export the mesh again", "a coordinate is %g, which is none", value);
        t->coordinate[t->count++] = value;
        t->at = after;
    }
    return RLV_DONE;
}

/// One facet, behind its first word. Its normal is not read: it may be anything, and the corners say it better.
static rlv_status take_facet(text* t, uint32_t object)
{
    const char* normal;
    size_t triangle = t->count / 9;
    if (!rlv_grow(&t->coordinate, &t->room, t->count + 9, sizeof *t->coordinate) ||
        !rlv_grow(&t->object, &t->object_room, triangle + 1, sizeof *t->object))
        return no_memory(t);
    t->object[triangle] = object;
    take_rest(t, &normal);
    if (!take_word(t, "outer") || !take_word(t, "loop"))
        return refuse_text(t, "outer loop");
    for (int i = 0; i < 3; i++)
    {
        rlv_status status = take_corner(t);
        if (status != RLV_DONE)
            return status;
    }
    if (!take_word(t, "endloop"))
        return refuse_text(t, "endloop");
    return take_word(t, "endfacet") ? RLV_DONE : refuse_text(t, "endfacet");
}

/// One solid, behind its first word.
static rlv_status take_solid(text* t)
{
    const char* name;
    char number[32];
    size_t length = take_rest(t, &name);
    uint32_t object = UINT32_MAX;
    t->solid_count++;
    while (take_word(t, "facet"))
    {
        if (object == UINT32_MAX)
        {
            int figures = snprintf(number, sizeof number, "solid %zu", t->solid_count);
            object = length > 0 ? rlv_objects_number(&t->objects, name, length)
                                : rlv_objects_number(&t->objects, number, (size_t)figures);
        }
        if (object == UINT32_MAX)
            return no_memory(t);
        rlv_status status = take_facet(t, object);
        if (status != RLV_DONE)
            return status;
    }
    if (!take_word(t, "endsolid"))
        return refuse_text(t, "endsolid");
    take_rest(t, &name);
    return RLV_DONE;
}

static void parse_text(void* context, size_t block)
{
    text* t = context;
    (void)block;
    while (t->status == RLV_DONE && take_word(t, "solid"))
        t->status = take_solid(t);
    skip_space(t);
    if (t->status == RLV_DONE && t->at < t->end)
        t->status = refuse_text(t, "solid");
}

static rlv_status place_text(rlv_mesh* mesh, text* t)
{
    size_t count = t->count / 9;
    bool object = t->objects.count > 1;
    if (count == 0)
        return rlv_refuse(t->reading, "export the mesh again, with its surface", "the file holds no triangles");
    rlv_status status = rlv_mesh_reserve(mesh, 3 * count, count, false, object, t->reading->error);
    if (status != RLV_DONE)
        return rlv_reading_place_error(t->reading, status);
    rlv_box box = rlv_box_empty();
    for (size_t v = 0; v < 3 * count; v++)
        rlv_box_add(&box, t->coordinate + 3 * v);
    rlv_frame frame = rlv_frame_choose(&box, t->reading->unit_mm);
    set_origin(mesh, &frame);
    for (size_t v = 0; v < 3 * count; v++)
    {
        rlv_frame_place(&frame, t->coordinate + 3 * v, mesh->position_mm + 3 * v);
        mesh->corner[v] = (uint32_t)v;
    }
    if (object)
    {
        memcpy(mesh->object, t->object, count * sizeof *mesh->object);
        rlv_objects_give(&t->objects, mesh);
    }
    return RLV_DONE;
}

static rlv_status read_text(rlv_mesh* mesh, rlv_reading* reading)
{
    text t = {.reading = reading, .at = (const char*)reading->data, .end = (const char*)reading->data + reading->size};
    rlv_reading_run(reading, "read mesh", 1, parse_text, &t);
    rlv_status status = t.status == RLV_DONE ? place_text(mesh, &t) : t.status;
    free(t.coordinate);
    free(t.object);
    rlv_objects_free(&t.objects);
    return status;
}

rlv_status rlv_stl_read(rlv_mesh* mesh, rlv_reading* reading)
{
    if (rlv_stl_is_binary(reading->data, reading->size))
        return read_binary(mesh, reading);
    if (strncasecmp((const char*)reading->data, "solid", 5) == 0)
        return read_text(mesh, reading);
    return rlv_refuse(reading, mend_copy, "not an STL file: too short to be binary, and no 'solid' at its start");
}
