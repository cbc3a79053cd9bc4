#include "ply.h"

#include <stdlib.h>
#include <string.h>

/// Elements that are put together before they are handed to the stream.
#define MOUTHFUL 8192

/// The widest element: a vertex of three doubles and a colour.
#define MOST_BYTES 27

static uint8_t* put_bits(uint8_t* to, uint64_t bits, size_t bytes)
{
    for (size_t i = 0; i < bytes; i++)
        *to++ = (uint8_t)(bits >> (8 * i));
    return to;
}

static bool is_far(const rlv_mesh* mesh)
{
    return mesh->origin_mm.x != 0.0 || mesh->origin_mm.y != 0.0 || mesh->origin_mm.z != 0.0;
}

/// A name that fits in a comment: what would break the line, and the sign that says so, in hexadecimal.
static void write_name(const char* name, FILE* stream)
{
    for (const char* at = name; *at != '\0'; at++)
        if ((uint8_t)*at < 0x20 || *at == '%' || *at == 0x7f)
            fprintf(stream, "%%%02X", (unsigned)(uint8_t)*at);
        else
            fputc(*at, stream);
}

static void write_header(const rlv_mesh* mesh, FILE* stream)
{
    const char* type = is_far(mesh) ? "double" : "float";
    fprintf(stream, "ply\nformat binary_little_endian 1.0\ncomment unit mm\n");
    for (size_t i = 0; mesh->object != NULL && i < mesh->object_count; i++)
    {
        fprintf(stream, "comment object %zu ", i);
        write_name(mesh->object_name[i], stream);
        fputc('\n', stream);
    }
    fprintf(stream, "element vertex %zu\n", mesh->vertex_count);
    for (int i = 0; i < 3; i++)
        fprintf(stream, "property %s %c\n", type, 'x' + i);
    if (mesh->colour != NULL)
        fprintf(stream, "property uchar red\nproperty uchar green\nproperty uchar blue\n");
    fprintf(stream, "element face %zu\nproperty list uchar %s vertex_indices\n", mesh->triangle_count,
            mesh->vertex_count > (size_t)INT32_MAX ? "uint" : "int");
    if (mesh->object != NULL)
        fprintf(stream, "property uint object\n");
    fprintf(stream, "end_header\n");
}

static uint8_t* put_vertex(const rlv_mesh* mesh, size_t index, bool far, uint8_t* to)
{
    rlv_vec3 at = rlv_mesh_vertex(mesh, index);
    const double whole[3] = {at.x, at.y, at.z};
    for (size_t i = 0; i < 3; i++)
    {
        uint64_t wide;
        uint32_t narrow;
        memcpy(&wide, whole + i, sizeof wide);
        memcpy(&narrow, mesh->position_mm + 3 * index + i, sizeof narrow);
        to = far ? put_bits(to, wide, sizeof wide) : put_bits(to, narrow, sizeof narrow);
    }
    for (size_t i = 0; i < 3 && mesh->colour != NULL; i++)
        *to++ = mesh->colour[3 * index + i];
    return to;
}

static uint8_t* put_triangle(const rlv_mesh* mesh, size_t index, uint8_t* to)
{
    *to++ = 3;
    for (size_t i = 0; i < 3; i++)
        to = put_bits(to, mesh->corner[3 * index + i], sizeof(uint32_t));
    return mesh->object != NULL ? put_bits(to, mesh->object[index], sizeof(uint32_t)) : to;
}

bool rlv_ply_write(const rlv_mesh* mesh, FILE* stream)
{
    uint8_t* block = malloc((size_t)MOUTHFUL * MOST_BYTES);
    if (block == NULL)
        return false;
    const bool far = is_far(mesh);
    write_header(mesh, stream);
    bool whole = !ferror(stream);
    for (size_t v = 0; v < mesh->vertex_count && whole;)
    {
        uint8_t* to = block;
        for (size_t i = 0; i < MOUTHFUL && v < mesh->vertex_count; i++)
            to = put_vertex(mesh, v++, far, to);
        whole = fwrite(block, 1, (size_t)(to - block), stream) == (size_t)(to - block);
    }
    for (size_t t = 0; t < mesh->triangle_count && whole;)
    {
        uint8_t* to = block;
        for (size_t i = 0; i < MOUTHFUL && t < mesh->triangle_count; i++)
            to = put_triangle(mesh, t++, to);
        whole = fwrite(block, 1, (size_t)(to - block), stream) == (size_t)(to - block);
    }
    free(block);
    return whole;
}
