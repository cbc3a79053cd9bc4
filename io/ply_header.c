#include "ply_header.h"

#include "grow.h"
#include "number.h"

#include <stdlib.h>
#include <string.h>

static const char* const mend_export = "export the mesh again";

/// One line of the header, and how far it has been read.
typedef struct line
{
    const char* at;
    const char* end;
    size_t offset;
} line;

/// A word of a line.
typedef struct word
{
    const char* at;
    size_t length;
} word;

static bool is_word(word w, const char* text)
{
    return w.length == strlen(text) && memcmp(w.at, text, w.length) == 0;
}

static word next_word(line* l)
{
    while (l->at < l->end && (*l->at == ' ' || *l->at == '\t'))
        l->at++;
    word w = {l->at, 0};
    while (l->at < l->end && *l->at != ' ' && *l->at != '\t')
        l->at++;
    w.length = (size_t)(l->at - w.at);
    return w;
}

/// The length of a word for printing: damage may make it as long as the file.
static int shown(word w)
{
    return w.length < 40 ? (int)w.length : 40;
}

/// The line that begins at `*offset`, which moves on to the next. A line ends as the first of the file does: CR alone,
/// or LF, before which a CR is dropped.
static bool next_line(const rlv_reading* reading, char last, size_t* offset, line* l)
{
    const uint8_t* from = reading->data + *offset;
    const uint8_t* end = *offset < reading->size ? memchr(from, last, reading->size - *offset) : NULL;
    if (end == NULL)
        return false;
    l->offset = *offset;
    l->at = (const char*)from;
    l->end = (const char*)end;
    *offset = (size_t)(end - reading->data) + 1;
    if (last == '\n' && l->end > l->at && l->end[-1] == '\r')
        l->end--;
    return true;
}

size_t rlv_ply_type_bytes(rlv_ply_type type)
{
    static const uint8_t bytes[] = {1, 1, 2, 2, 4, 4, 4, 8, 0};
    return bytes[type];
}

static rlv_ply_type type_of(word w)
{
    static const struct
    {
        const char* name;
        rlv_ply_type type;
    } types[] = {{"char", RLV_PLY_INT8},      {"int8", RLV_PLY_INT8},       {"uchar", RLV_PLY_UINT8},
                 {"uint8", RLV_PLY_UINT8},    {"short", RLV_PLY_INT16},     {"int16", RLV_PLY_INT16},
                 {"ushort", RLV_PLY_UINT16},  {"uint16", RLV_PLY_UINT16},   {"int", RLV_PLY_INT32},
                 {"int32", RLV_PLY_INT32},    {"uint", RLV_PLY_UINT32},     {"uint32", RLV_PLY_UINT32},
                 {"float", RLV_PLY_FLOAT32},  {"float32", RLV_PLY_FLOAT32}, {"double", RLV_PLY_FLOAT64},
                 {"float64", RLV_PLY_FLOAT64}};
    for (size_t i = 0; i < sizeof types / sizeof *types; i++)
        if (is_word(w, types[i].name))
            return types[i].type;
    return RLV_PLY_NO_TYPE;
}

static rlv_ply_role role_of(rlv_ply_kind kind, const rlv_ply_property* property, word w)
{
    static const char* const vertex[] = {"x", "y", "z", "red", "green", "blue"};
    bool whole = property->type < RLV_PLY_FLOAT32;
    if (kind == RLV_PLY_VERTEX && !property->list)
        for (int i = 0; i < 6; i++)
            if (is_word(w, vertex[i]) || (i > 2 && w.length > 8 && memcmp(w.at, "diffuse_", 8) == 0 &&
                                          is_word((word){w.at + 8, w.length - 8}, vertex[i])))
                return (rlv_ply_role)i;
    if (kind == RLV_PLY_FACE || kind == RLV_PLY_STRIPS)
    {
        if (property->list && (is_word(w, "vertex_indices") || is_word(w, "vertex_index")))
            return RLV_PLY_CORNERS;
        if (!property->list && whole && is_word(w, "object"))
            return RLV_PLY_OBJECT;
    }
    return RLV_PLY_OTHER;
}

/// Whether a property of a vertex is one that makes writers repeat vertices along seams and creases.
static bool splits(word w)
{
    static const char* const names[] = {"nx", "ny", "nz", "s", "t", "u", "v", "texture_u", "texture_v"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (is_word(w, names[i]))
            return true;
    return false;
}

static rlv_status read_format(rlv_ply_header* header, const rlv_reading* reading, line* l, bool* told)
{
    static const char* const names[] = {"ascii", "binary_little_endian", "binary_big_endian"};
    word w = next_word(l);
    for (int i = 0; i < 3; i++)
        if (is_word(w, names[i]))
        {
            header->format = (rlv_ply_format)i;
            *told = true;
            return RLV_DONE;
        }
    return rlv_refuse_line(reading, l->offset, "export the mesh as binary PLY", "'%.*s' is not a format of PLY",
                           shown(w), w.at);
}

static rlv_status read_element(rlv_ply_header* header, const rlv_reading* reading, line* l)
{
    static const char* const names[] = {"vertex", "face", "tristrips"};
    word name = next_word(l), number = next_word(l);
    int64_t count = 0;
    if (name.length == 0 || number.length == 0 || rlv_whole(number.at, &count) != number.at + number.length ||
        count < 0)
        return rlv_refuse_line(reading, l->offset, mend_export, "an element without a name and a count");
    if (!rlv_grow(&header->element, &header->element_room, header->element_count + 1, sizeof *header->element))
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs", "no memory for the header");
    rlv_ply_kind kind = RLV_PLY_OTHER_KIND;
    for (int i = 0; i < 3; i++)
        if (is_word(name, names[i]))
            kind = (rlv_ply_kind)i;
    if (kind != RLV_PLY_OTHER_KIND && rlv_ply_element_of(header, kind) != NULL)
        return rlv_refuse_line(reading, l->offset, mend_export, "a second element '%s'", names[kind]);
    rlv_ply_element* element = header->element + header->element_count++;
    *element = (rlv_ply_element){.kind = kind, .count = (size_t)count};
    memset(element->where, -1, sizeof element->where);
    return RLV_DONE;
}

static rlv_status read_property(rlv_ply_header* header, const rlv_reading* reading, line* l)
{
    if (header->element_count == 0)
        return rlv_refuse_line(reading, l->offset, mend_export, "a property before any element");
    rlv_ply_element* element = header->element + header->element_count - 1;
    rlv_ply_property property = {.count_type = RLV_PLY_NO_TYPE};
    word w = next_word(l);
    property.list = is_word(w, "list");
    if (property.list)
    {
        w = next_word(l);
        property.count_type = type_of(w);
        if (property.count_type >= RLV_PLY_FLOAT32)
            return rlv_refuse_line(reading, l->offset, mend_export, "'%.*s' cannot count a list", shown(w), w.at);
        w = next_word(l);
    }
    property.type = type_of(w);
    word name = next_word(l);
    if (property.type == RLV_PLY_NO_TYPE || name.length == 0)
        return rlv_refuse_line(reading, l->offset, mend_export, "a property without a known type and a name");
    property.role = role_of(element->kind, &property, name);
    if (property.role != RLV_PLY_OTHER && element->where[property.role] >= 0)
        return rlv_refuse_line(reading, l->offset, mend_export, "a second property '%.*s'", shown(name), name.at);
    if (element->property_count == INT8_MAX)
        return rlv_refuse_line(reading, l->offset, mend_export, "more than %d properties", INT8_MAX);
    if (!rlv_grow(&element->property, &element->property_room, element->property_count + 1, sizeof property))
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs", "no memory for the header");
    header->split |= element->kind == RLV_PLY_VERTEX && splits(name);
    property.offset = element->bytes;
    if (property.role != RLV_PLY_OTHER)
        element->where[property.role] = (int8_t)element->property_count;
    element->property[element->property_count++] = property;
    element->list_count += property.list;
    element->bytes += rlv_ply_type_bytes(property.list ? property.count_type : property.type);
    return RLV_DONE;
}

static int hexadecimal(char c)
{
    return c >= '0' && c <= '9' ? c - '0' : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

/// The name that a comment holds, as rlv_ply_write puts it: %XX stands for a byte that would break the line.
static char* decode_name(const char* from, const char* end)
{
    char* raw = malloc((size_t)(end - from) + 1);
    if (raw == NULL)
        return NULL;
    size_t length = 0;
    while (from < end)
    {
        bool coded = end - from > 2 && *from == '%' && hexadecimal(from[1]) >= 0 && hexadecimal(from[2]) >= 0;
        raw[length++] = (char)(coded ? 16 * hexadecimal(from[1]) + hexadecimal(from[2]) : *from);
        from += coded ? 3 : 1;
    }
    char* name = rlv_clean_text(raw, length);
    free(raw);
    return name;
}

/// `comment object 3 NAME` names an object; any other comment says nothing here.
static rlv_status read_comment(rlv_ply_header* header, const rlv_reading* reading, line* l)
{
    if (!is_word(next_word(l), "object"))
        return RLV_DONE;
    word number = next_word(l);
    int64_t value = 0;
    if (number.length == 0 || rlv_whole(number.at, &value) != number.at + number.length || l->at >= l->end ||
        value < INT32_MIN || value > UINT32_MAX)
        return RLV_DONE;
    bool held = rlv_grow(&header->object, &header->object_room, header->object_count + 1, sizeof *header->object);
    char* name = held ? decode_name(l->at + 1, l->end) : NULL;
    if (name == NULL)
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "close other programs", "no memory for a name");
    header->object[header->object_count++] = (rlv_ply_object){value, name};
    return RLV_DONE;
}

static rlv_status read_lines(rlv_ply_header* header, const rlv_reading* reading)
{
    bool told = false, ended = false;
    char last = reading->data[3] == '\r' && reading->data[4] != '\n' ? '\r' : '\n';
    size_t offset = 0;
    line l;
    rlv_status status = RLV_DONE;
    next_line(reading, last, &offset, &l);
    while (status == RLV_DONE && !ended && next_line(reading, last, &offset, &l))
    {
        word w = next_word(&l);
        if (is_word(w, "end_header"))
            ended = true;
        else if (is_word(w, "format"))
            status = read_format(header, reading, &l, &told);
        else if (is_word(w, "element"))
            status = read_element(header, reading, &l);
        else if (is_word(w, "property"))
            status = read_property(header, reading, &l);
        else if (is_word(w, "comment"))
            status = read_comment(header, reading, &l);
        else if (w.length != 0 && !is_word(w, "obj_info") && header->element_count > 0) // before, writers leave notes
            status = rlv_refuse_line(reading, l.offset, mend_export, "not a line of a PLY header");
    }
    if (status != RLV_DONE)
        return status;
    if (!ended)
        return rlv_refuse(reading, "copy or export the mesh again", "the header has no end: the file was cut short");
    if (!told)
        return rlv_refuse(reading, mend_export, "the header names no format");
    header->body = offset;
    return RLV_DONE;
}

const rlv_ply_element* rlv_ply_element_of(const rlv_ply_header* header, rlv_ply_kind kind)
{
    for (size_t i = 0; i < header->element_count; i++)
        if (header->element[i].kind == kind)
            return header->element + i;
    return NULL;
}

/// Hold what is declared against what a mesh needs and what the file can hold.
static rlv_status check(const rlv_ply_header* header, const rlv_reading* reading)
{
    const rlv_ply_element* vertex = rlv_ply_element_of(header, RLV_PLY_VERTEX);
    if (vertex == NULL || vertex->count == 0)
        return rlv_refuse(reading, "export the mesh again, with its vertices", "the file holds no vertices");
    for (int i = RLV_PLY_X; i <= RLV_PLY_Z; i++)
        if (vertex->where[i] < 0)
            return rlv_refuse(reading, mend_export, "the vertices have no '%c'", 'x' + i);
    const rlv_ply_element* face = rlv_ply_element_of(header, RLV_PLY_FACE);
    const rlv_ply_element* strips = rlv_ply_element_of(header, RLV_PLY_STRIPS);
    bool faces = face != NULL && face->count > 0, stripped = strips != NULL && strips->count > 0;
    if (!faces && !stripped)
        return rlv_refuse(reading, "export the surface, not the points", "the file holds no faces, only points");
    if ((faces && face->where[RLV_PLY_CORNERS] < 0) || (stripped && strips->where[RLV_PLY_CORNERS] < 0))
        return rlv_refuse(reading, mend_export, "the faces have no list of vertices");
    size_t left = reading->size - header->body;
    for (size_t i = 0; i < header->element_count; i++)
    {
        const rlv_ply_element* element = header->element + i;
        // In text a number takes a figure and the space after it; the last may go without the space.
        size_t least = header->format == RLV_PLY_TEXT ? 2 * element->property_count : element->bytes;
        size_t held = least > 0 ? (left + (header->format == RLV_PLY_TEXT)) / least : SIZE_MAX;
        if (element->count > held)
            return rlv_refuse(reading, "copy or export the mesh again",
                              "the header promises %zu elements where the file has room for %zu: cut short, or damaged",
                              element->count, held);
    }
    return RLV_DONE;
}

rlv_status rlv_ply_header_read(rlv_ply_header* header, const rlv_reading* reading)
{
    rlv_status status = read_lines(header, reading);
    return status == RLV_DONE ? check(header, reading) : status;
}

void rlv_ply_header_free(rlv_ply_header* header)
{
    for (size_t i = 0; i < header->element_count; i++)
        free(header->element[i].property);
    for (size_t i = 0; i < header->object_count; i++)
        free(header->object[i].name);
    free(header->element);
    free(header->object);
    memset(header, 0, sizeof *header);
}
