#include "obj.h"

#include "grow.h"
#include "number.h"
#include "objects.h"
#include "polygons.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// The text is cut into chunks at ends of lines, and parsed on all threads. A corner that counts back from the last
// vertex cannot be settled before the chunks ahead of it are counted: until then it is kept relative to its chunk's
// first vertex.

static const char* const mend_export = "export the mesh again";
static const size_t chunk_bytes = (size_t)1 << 21;

/// Marks a corner that is relative to its chunk: its lower 31 bits are a signed number.
static const uint32_t relative_mark = UINT32_C(1) << 31;

/// Where an object or a group begins.
typedef struct beginning
{
    size_t face;      ///< of the chunk, the first that belongs to it
    char kind;        ///< 'o' or 'g'
    const char* name; ///< in the text
    size_t length;
    uint32_t object; ///< its number, once the names are joined
} beginning;

typedef struct chunk
{
    const char* from;
    const char* end;
    size_t vertex_count;
    size_t position_room;
    double* position; ///< 3 a vertex
    size_t colour_room;
    float* colour; ///< 3 a vertex, NaN for one without; NULL where no vertex has one
    rlv_polygons polygons;
    size_t beginning_count, beginning_room;
    beginning* beginning;
    rlv_box box;
    double brightest;
    bool split;

    const char* trouble; ///< what is wrong first, or NULL
    const char* trouble_at;
    bool no_memory;

    size_t first_vertex, first_triangle; ///< in the mesh
    uint32_t object;                     ///< that its first faces belong to
    size_t bad_face;                     ///< the first with a corner out of range or too many corners; else SIZE_MAX
    bool bad_shape;
} chunk;

typedef struct text
{
    rlv_reading* reading;
    rlv_mesh* mesh;
    char line_end;
    size_t chunk_count;
    chunk* chunk;
    rlv_frame frame;
    double white;
} text;

// ---- lines ----------------------------------------------------------------------------------------------------------

/// Step over blanks, and over ends of lines that are marked as no ends.
static const char* skip_blank(const text* t, const char* at)
{
    for (;; at++)
    {
        if (*at == ' ' || *at == '\t' || (*at == '\r' && t->line_end == '\n'))
            continue;
        if (*at != '\\')
            return at;
        const char* next = at + 1;
        while (*next == '\r' && t->line_end == '\n')
            next++;
        if (*next != t->line_end)
            return at;
        at = next;
    }
}

static bool is_blank(const text* t, const char* at)
{
    return *at == ' ' || *at == '\t' || *at == '\r' || *at == '\\' || *at == t->line_end;
}

static bool at_end(const text* t, const chunk* c, const char* at)
{
    return at >= c->end || *at == t->line_end || *at == '#';
}

/// Whether the line that ends at `end` goes on in the next.
static bool goes_on(const text* t, const char* from, const char* end)
{
    while (end > from && end[-1] == '\r' && t->line_end == '\n')
        end--;
    return end > from && end[-1] == '\\';
}

static const char* line_end(const text* t, const char* at, const char* end)
{
    const char* found = at < end ? memchr(at, t->line_end, (size_t)(end - at)) : NULL;
    return found != NULL ? found : end;
}

static const char* skip_line(const text* t, const chunk* c, const char* at)
{
    bool comment = *at == '#';
    for (;;)
    {
        const char* end = line_end(t, at, c->end);
        bool more = !comment && end < c->end && goes_on(t, at, end);
        at = end < c->end ? end + 1 : end;
        if (!more)
            return at;
    }
}

static const char* fail_at(chunk* c, const char* at, const char* trouble)
{
    c->trouble = trouble;
    c->trouble_at = at;
    return NULL;
}

static const char* fail_memory(chunk* c)
{
    c->no_memory = true;
    return fail_at(c, c->from, "no memory for the mesh");
}

/// Keep the colour of the newest vertex; `colour` is NULL where it has none.
static bool keep_colour(chunk* c, const double* colour)
{
    if (colour == NULL && c->colour == NULL)
        return true;
    size_t had = c->colour != NULL ? 3 * (c->vertex_count - 1) : 0, want = 3 * c->vertex_count;
    if (!rlv_grow(&c->colour, &c->colour_room, want, sizeof *c->colour))
        return false;
    for (size_t i = had; i < want; i++)
        c->colour[i] = NAN;
    for (size_t i = 0; i < 3 && colour != NULL; i++)
    {
        c->colour[want - 3 + i] = (float)colour[i];
        c->brightest = rlv_brighter(colour[i], c->brightest);
    }
    return true;
}

/// `v x y z`, and behind it nothing, a weight, a colour, or a colour and how opaque it is.
static const char* read_vertex(const text* t, chunk* c, const char* at)
{
    double value[7];
    int count = 0;
    if (!rlv_grow(&c->position, &c->position_room, 3 * (c->vertex_count + 1), sizeof *c->position))
        return fail_memory(c);
    for (at = skip_blank(t, at); !at_end(t, c, at); at = skip_blank(t, at))
    {
        if (count == 7)
            return fail_at(c, at, "more numbers than a vertex has");
        const char* after = rlv_number(at, value + count++, t->reading->plain);
        if (after == NULL || !(after >= c->end || is_blank(t, after)))
            return fail_at(c, at, "not a number");
        at = after;
    }
    if (count < 3 || count == 5)
        return fail_at(c, at, count < 3 ? "a vertex of less than three coordinates" : "a colour of two parts");
    const double reach = RLV_REACH_MM / t->reading->unit_mm;
    for (int i = 0; i < 3; i++)
        if (!rlv_within(value[i], reach))
            return fail_at(c, at, "a coordinate is not a number, infinite or absurdly large");
    memcpy(c->position + 3 * c->vertex_count++, value, 3 * sizeof *value);
    rlv_box_add(&c->box, value);
    return keep_colour(c, count >= 6 ? value + 3 : NULL) ? at : fail_memory(c);
}

/// Step over the texture point and the normal of a corner: `/7/8`, `//8` or `/7`.
static const char* skip_slashes(chunk* c, const char* at)
{
    for (int i = 0; i < 2 && *at == '/'; i++)
    {
        int64_t ignored;
        const char* after = rlv_whole(at + 1, &ignored);
        at = after != NULL ? after : at + 1;
        c->split = true;
    }
    return at;
}

/// A corner's number as it is kept until the chunks are joined. False where it can be none.
static bool code_corner(const chunk* c, int64_t number, uint32_t* code)
{
    const int64_t from_first = number < 0 ? (int64_t)c->vertex_count + number : 0;
    if (number > 0 && number <= INT32_MAX)
        *code = (uint32_t)(number - 1);
    else if (number < 0 && from_first > -(INT64_C(1) << 30) && from_first < INT64_C(1) << 30)
        *code = relative_mark | ((uint32_t)from_first & ~relative_mark);
    else
        return false;
    return true;
}

static const char* read_face(const text* t, chunk* c, const char* at)
{
    rlv_polygons* polygons = &c->polygons;
    const char* from = at;
    size_t count = 0;
    for (at = skip_blank(t, at); !at_end(t, c, at); at = skip_blank(t, at))
    {
        int64_t number;
        const char* after = rlv_whole(at, &number);
        if (after == NULL)
            return fail_at(c, at, "not the number of a vertex");
        after = skip_slashes(c, after);
        if (!(after >= c->end || is_blank(t, after)))
            return fail_at(c, at, "not the number of a vertex");
        if (polygons->corner_count + count == polygons->corner_room && !rlv_polygons_room(polygons, count + 1))
            return fail_memory(c);
        if (!code_corner(c, number, polygons->corner + polygons->corner_count + count))
            return fail_at(c, at, "a corner that is none of the vertices");
        count++;
        at = after;
    }
    if (count < 3)
        return fail_at(c, from, "a face of less than three corners");
    return rlv_polygons_close(polygons, count) ? at : fail_memory(c);
}

static const char* read_name(const text* t, chunk* c, const char* at, char kind)
{
    const char* from = skip_blank(t, at);
    const char* end = line_end(t, from, c->end);
    const char* last = end;
    while (last > from && (last[-1] == ' ' || last[-1] == '\t' || last[-1] == '\r'))
        last--;
    if (!rlv_grow(&c->beginning, &c->beginning_room, c->beginning_count + 1, sizeof *c->beginning))
        return fail_memory(c);
    c->beginning[c->beginning_count++] =
        (beginning){.face = c->polygons.face_count, .kind = kind, .name = from, .length = (size_t)(last - from)};
    return end;
}

/// One line; where the next begins, or NULL.
static const char* read_line(const text* t, chunk* c, const char* at)
{
    const char* from = at = skip_blank(t, at);
    bool short_word = at + 1 < c->end && is_blank(t, at + 1);
    if (at >= c->end || *at == t->line_end || *at == '#')
        return skip_line(t, c, at);
    if (*at == 'v' && short_word)
        at = read_vertex(t, c, at + 1);
    else if (*at == 'f' && short_word)
        at = read_face(t, c, at + 1);
    else if ((*at == 'o' || *at == 'g') && short_word)
        at = read_name(t, c, at + 1, *at);
    else if ((unsigned char)((*at | 32) - 'a') >= 26)
        return fail_at(c, from, "not a line of an OBJ file");
    return at != NULL ? skip_line(t, c, at) : NULL;
}

static void parse_chunk(void* context, size_t block)
{
    const text* t = context;
    chunk* c = t->chunk + block;
    c->box = rlv_box_empty();
    for (const char* at = c->from; at != NULL && at < c->end;)
        at = read_line(t, c, at);
}

// ---- joining --------------------------------------------------------------------------------------------------------

static rlv_status no_memory(const text* t)
{
    return rlv_fail(t->reading->error, RLV_SYSTEM, t->reading->path, "close other programs, or thin the mesh out",
                    "no memory for the mesh");
}

/// Cut the text into chunks of about the same length, at ends of lines that are ends.
static rlv_status cut_chunks(text* t)
{
    const char* at = (const char*)t->reading->data;
    const char* end = at + t->reading->size;
    at += t->reading->size >= 3 && memcmp(at, "\xef\xbb\xbf", 3) == 0 ? 3 : 0; // a byte-order mark
    t->chunk = rlv_reserve(t->reading->size / chunk_bytes + 1, sizeof *t->chunk, t->reading->error);
    if (t->chunk == NULL)
        return RLV_SYSTEM;
    while (at < end)
    {
        chunk* c = t->chunk + t->chunk_count++;
        c->from = at;
        c->bad_face = SIZE_MAX;
        at = (size_t)(end - at) > chunk_bytes ? at + chunk_bytes : end;
        while (at < end)
        {
            const char* stop = line_end(t, at, end);
            bool more = stop < end && goes_on(t, c->from, stop);
            at = stop < end ? stop + 1 : end;
            if (!more)
                break;
        }
        c->end = at;
    }
    return RLV_DONE;
}

static rlv_status refuse_trouble(const text* t)
{
    for (size_t i = 0; i < t->chunk_count; i++)
    {
        const chunk* c = t->chunk + i;
        if (c->no_memory)
            return no_memory(t);
        if (c->trouble != NULL)
            return rlv_refuse_line(t->reading, (size_t)(c->trouble_at - (const char*)t->reading->data), mend_export,
                                   "%s", c->trouble);
    }
    return RLV_DONE;
}

/// The names that faces bear from some line on.
typedef struct naming
{
    const char *object, *group;
    size_t object_length, group_length;
} naming;

/// Take over a line `o`, which ends the group before it, or `g`.
static void begin(naming* names, const beginning* line)
{
    if (line->kind == 'g')
    {
        names->group = line->name;
        names->group_length = line->length;
        return;
    }
    *names = (naming){.object = line->name, .object_length = line->length};
}

/// The number of the object that these names make: a group in an object is called by both. UINT32_MAX where memory is
/// not to be had.
static uint32_t join_name(const naming* names, rlv_objects* objects)
{
    size_t first = names->object_length, second = names->group_length;
    if (first == 0 && second == 0)
        return rlv_objects_number(objects, "unnamed", 7);
    if (first == 0 || second == 0 || (first == second && memcmp(names->object, names->group, first) == 0))
        return first > 0 ? rlv_objects_number(objects, names->object, first)
                         : rlv_objects_number(objects, names->group, second);
    char* both = malloc(first + 1 + second);
    if (both == NULL)
        return UINT32_MAX;
    memcpy(both, names->object, first);
    both[first] = '/';
    memcpy(both + first + 1, names->group, second);
    uint32_t number = rlv_objects_number(objects, both, first + 1 + second);
    free(both);
    return number;
}

/// Number the objects in the order in which faces first bear their names.
static bool join_names(text* t, rlv_objects* objects)
{
    naming names = {0};
    for (size_t i = 0; i < t->chunk_count; i++)
    {
        chunk* c = t->chunk + i;
        for (size_t k = 0; k <= c->beginning_count; k++)
        {
            beginning* line = k > 0 ? c->beginning + k - 1 : NULL;
            size_t face = line != NULL ? line->face : 0;
            size_t until = k < c->beginning_count ? c->beginning[k].face : c->polygons.face_count;
            if (line != NULL)
                begin(&names, line);
            if (until == face)
                continue;
            uint32_t number = join_name(&names, objects);
            if (number == UINT32_MAX)
                return false;
            *(line != NULL ? &line->object : &c->object) = number;
        }
    }
    return true;
}

static void place_chunk(void* context, size_t block)
{
    const text* t = context;
    chunk* c = t->chunk + block;
    for (size_t v = 0; v < c->vertex_count; v++)
        rlv_frame_place(&t->frame, c->position + 3 * v, t->mesh->position_mm + 3 * (c->first_vertex + v));
    uint8_t* colour = t->mesh->colour != NULL ? t->mesh->colour + 3 * c->first_vertex : NULL;
    for (size_t i = 0; i < 3 * c->vertex_count && colour != NULL; i++)
    {
        double value = c->colour != NULL ? (double)c->colour[i] / t->white : 1.0;
        colour[i] = (uint8_t)((value >= 0.0 ? fmin(value, 1.0) : value < 0.0 ? 0.0 : 1.0) * 255.0 + 0.5);
    }
    free(c->position);
    free(c->colour);
    c->position = NULL;
    c->colour = NULL;
}

/// The face that a corner of a chunk belongs to.
static size_t face_of_corner(const rlv_polygons* polygons, size_t corner)
{
    size_t extra = 0;
    for (size_t i = 0; i < polygons->ngon_count; i++)
    {
        size_t first = 3 * polygons->ngon[i].face + extra, count = polygons->ngon[i].count;
        if (corner < first)
            break;
        if (corner < first + count)
            return polygons->ngon[i].face;
        extra += count - 3;
    }
    return (corner - extra) / 3;
}

static void settle_corners(void* context, size_t block)
{
    const text* t = context;
    chunk* c = t->chunk + block;
    const uint32_t count = (uint32_t)t->mesh->vertex_count;
    for (size_t i = 0; i < c->polygons.corner_count; i++)
    {
        uint32_t* corner = c->polygons.corner + i;
        if (*corner & relative_mark)
        {
            int64_t from_first = (int32_t)(*corner << 1) >> 1;
            int64_t number = (int64_t)c->first_vertex + from_first;
            *corner = number >= 0 && number < count ? (uint32_t)number : UINT32_MAX;
        }
        if (*corner >= count)
        {
            c->bad_face = face_of_corner(&c->polygons, i);
            return;
        }
    }
}

static void cut_chunk(void* context, size_t block)
{
    const text* t = context;
    chunk* c = t->chunk + block;
    uint32_t* object = t->mesh->object != NULL ? t->mesh->object + c->first_triangle : NULL;
    size_t bad;
    if (!rlv_polygons_cut(&c->polygons, t->mesh->position_mm, t->mesh->corner + 3 * c->first_triangle, object, &bad))
    {
        c->no_memory = bad == SIZE_MAX;
        c->bad_shape = true;
        c->bad_face = bad;
        return;
    }
    size_t passed = 0;
    for (size_t i = 0; i < c->polygons.triangle_count && object != NULL; i++)
    {
        while (passed < c->beginning_count && c->beginning[passed].face <= object[i])
            passed++;
        object[i] = passed > 0 ? c->beginning[passed - 1].object : c->object;
    }
    rlv_polygons_free(&c->polygons);
}

/// Where the face of that number stands in its chunk.
static const char* find_face(const text* t, const chunk* c, size_t face)
{
    const char* at = c->from;
    for (;; at = skip_line(t, c, at))
    {
        at = skip_blank(t, at);
        if (at >= c->end || (*at == 'f' && is_blank(t, at + 1) && face-- == 0))
            return at;
    }
}

static rlv_status refuse_face(const text* t)
{
    for (size_t i = 0; i < t->chunk_count; i++)
    {
        const chunk* c = t->chunk + i;
        if (c->no_memory)
            return no_memory(t);
        if (c->bad_face == SIZE_MAX)
            continue;
        size_t offset = (size_t)(find_face(t, c, c->bad_face) - (const char*)t->reading->data);
        if (c->bad_shape)
            return rlv_refuse_line(t->reading, offset, "cut it into triangles first",
                                   "a face that is not convex, with more than %d corners", RLV_MOST_CORNERS);
        return rlv_refuse_line(t->reading, offset, mend_export, "a corner that is none of the %zu vertices",
                               t->mesh->vertex_count);
    }
    return RLV_DONE;
}

/// What the chunks come to together.
typedef struct sum
{
    size_t vertices, triangles;
    bool colour, named;
    double brightest;
    rlv_box box;
} sum;

static sum add_up(text* t)
{
    sum all = {.box = rlv_box_empty()};
    for (size_t i = 0; i < t->chunk_count; i++)
    {
        chunk* c = t->chunk + i;
        c->first_vertex = all.vertices;
        c->first_triangle = all.triangles;
        all.vertices += c->vertex_count;
        all.triangles += c->polygons.triangle_count;
        all.colour |= c->colour != NULL;
        all.named |= c->beginning_count > 0;
        all.brightest = rlv_brighter(c->brightest, all.brightest);
        rlv_box_join(&all.box, &c->box);
    }
    return all;
}

static rlv_status join_chunks(text* t)
{
    sum all = add_up(t);
    rlv_objects objects = {0};
    if (all.vertices == 0)
        return rlv_refuse(t->reading, "check that it is an OBJ file, and export it again",
                          "the file holds no vertices");
    if (all.triangles == 0)
        return rlv_refuse(t->reading, "export the surface, not the points", "the file holds no faces, only points");
    if (all.vertices >= relative_mark)
        return rlv_refuse(t->reading, "thin the mesh out first", "more than 2 thousand million vertices");
    if (all.colour && !(all.brightest <= 255.0))
        return rlv_refuse(t->reading, "export colours from 0 to 1", "a colour is %g, where 0 to 1 or 0 to 255 is usual",
                          all.brightest);
    rlv_status status =
        rlv_mesh_reserve(t->mesh, all.vertices, all.triangles, all.colour, all.named, t->reading->error);
    if (status != RLV_DONE)
        return rlv_reading_place_error(t->reading, status);
    if (all.named && !join_names(t, &objects))
    {
        rlv_objects_free(&objects);
        return no_memory(t);
    }
    if (all.named)
        rlv_objects_give(&objects, t->mesh);
    rlv_large_pages(t->mesh->position_mm, 3 * all.vertices * sizeof(float));
    rlv_large_pages(t->mesh->corner, 3 * all.triangles * sizeof(uint32_t));
    t->white = all.brightest > 1.0 ? 255.0 : 1.0;
    t->frame = rlv_frame_choose(&all.box, t->reading->unit_mm);
    t->mesh->origin_mm = rlv_vec3_of(t->frame.origin_mm[0], t->frame.origin_mm[1], t->frame.origin_mm[2]);
    rlv_reading_run(t->reading, "place vertices", t->chunk_count, place_chunk, t);
    rlv_reading_run(t->reading, "join faces", t->chunk_count, settle_corners, t);
    status = refuse_face(t);
    if (status != RLV_DONE)
        return status;
    rlv_reading_run(t->reading, "cut faces", t->chunk_count, cut_chunk, t);
    return refuse_face(t);
}

static rlv_status check_text(text* t)
{
    const uint8_t* data = t->reading->data;
    if ((data[0] == 0xff && data[1] == 0xfe) || (data[0] == 0xfe && data[1] == 0xff))
        return rlv_refuse(t->reading, "save it as UTF-8", "the text is UTF-16");
    const uint8_t* line = memchr(data, '\n', t->reading->size);
    t->line_end = line == NULL && memchr(data, '\r', t->reading->size) != NULL ? '\r' : '\n';
    return RLV_DONE;
}

rlv_status rlv_obj_read(rlv_mesh* mesh, rlv_reading* reading, bool* split)
{
    text t = {.reading = reading, .mesh = mesh};
    rlv_status status = check_text(&t);
    if (status == RLV_DONE)
        status = cut_chunks(&t);
    if (status == RLV_DONE)
    {
        rlv_reading_run(reading, "read mesh", t.chunk_count, parse_chunk, &t);
        status = refuse_trouble(&t);
    }
    if (status == RLV_DONE)
        status = join_chunks(&t);
    *split = false;
    for (size_t i = 0; i < t.chunk_count; i++)
    {
        chunk* c = t.chunk + i;
        *split |= c->split;
        free(c->position);
        free(c->colour);
        free(c->beginning);
        rlv_polygons_free(&c->polygons);
    }
    free(t.chunk);
    return status;
}
