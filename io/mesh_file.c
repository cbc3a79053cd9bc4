#include "mesh_file.h"

#include "assimp_file.h"
#include "obj.h"
#include "ply.h"
#include "reading.h"
#include "safe_file.h"
#include "stl.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const struct
{
    const char* name;
    double mm;
} units[] = {{NULL, 0.0}, {"mm", 1.0}, {"cm", 10.0}, {"m", 1000.0}, {"in", 25.4}};

rlv_unit rlv_unit_from_name(const char* name)
{
    for (int i = RLV_UNIT_MM; i <= RLV_UNIT_IN && name != NULL; i++)
        if (strcmp(name, units[i].name) == 0)
            return (rlv_unit)i;
    return RLV_UNIT_NONE;
}

double rlv_unit_mm(rlv_unit unit)
{
    return unit >= RLV_UNIT_MM && unit <= RLV_UNIT_IN ? units[unit].mm : 0.0;
}

/// A format: how it is known, and whether what it gives is to be welded.
typedef enum format
{
    FORMAT_NONE,
    FORMAT_PLY,
    FORMAT_STL,
    FORMAT_OBJ,
    FORMAT_GLTF,
    FORMAT_OTHER,
} format;

/// What the name of a file ends in, behind the dot; empty where it has none.
static const char* extension_of(const char* path)
{
    const char* slash = strrchr(path, '/');
    const char* name = slash != NULL ? slash + 1 : path;
    const char* dot = strrchr(name, '.');
    return dot != NULL ? dot + 1 : "";
}

/// The bytes say what a file is, where they can; else its name does.
static format format_of(const rlv_reading* reading, const char* extension)
{
    if (rlv_ply_recognise(reading->data, reading->size))
        return FORMAT_PLY;
    if (strcasecmp(extension, "gltf") == 0 || strcasecmp(extension, "glb") == 0)
        return FORMAT_GLTF;
    if (strcasecmp(extension, "stl") == 0)
        return FORMAT_STL;
    if (strcasecmp(extension, "obj") == 0)
        return FORMAT_OBJ;
    if (strcasecmp(extension, "ply") != 0 && rlv_assimp_knows(extension))
        return FORMAT_OTHER;
    return FORMAT_NONE;
}

static void name_format(char name[16], format kind, const char* extension)
{
    static const char* const names[] = {"", "PLY", "STL", "OBJ"};
    snprintf(name, 16, "%s", kind <= FORMAT_OBJ ? names[kind] : extension);
    for (char* at = name; *at != '\0'; at++)
        *at = (char)(*at >= 'a' && *at <= 'z' ? *at - 'a' + 'A' : *at);
}

/// glTF is in metres by its standard (Khronos, glTF 2.0 specification, section 3.4); any other file has to be told.
static rlv_status settle_unit(rlv_reading* reading, format kind)
{
    if (kind != FORMAT_GLTF && !(reading->unit_mm > 0.0))
        return rlv_refuse(reading, "say which unit its coordinates are in: --unit mm, cm, m or in",
                          "the file does not say which unit it is in");
    if (kind == FORMAT_GLTF && reading->unit_mm > 0.0 && reading->unit_mm != 1000.0)
        return rlv_refuse(reading, "leave the unit out, or export the mesh in metres",
                          "glTF is in metres by its standard, and another unit was given");
    if (kind == FORMAT_GLTF)
        reading->unit_mm = 1000.0;
    return RLV_DONE;
}

static rlv_status read_format(rlv_mesh* mesh, rlv_reading* reading, format kind, bool* weld)
{
    *weld = kind != FORMAT_PLY && kind != FORMAT_OBJ;
    if (kind == FORMAT_PLY)
        return rlv_ply_read(mesh, reading, weld);
    if (kind == FORMAT_STL)
        return rlv_stl_read(mesh, reading);
    if (kind == FORMAT_OBJ)
        return rlv_obj_read(mesh, reading, weld);
    return rlv_assimp_read(mesh, reading);
}

/// Read the file that is open, weld what is to be welded, and close it in between: the bytes are not needed twice.
static rlv_status read_open(rlv_mesh* mesh, rlv_reading* reading, rlv_mesh_source* source)
{
    const rlv_reading kept = *reading;
    const char* extension = extension_of(reading->path);
    format kind = format_of(reading, extension);
    bool weld = false;
    if (kind == FORMAT_NONE)
        return rlv_refuse(reading, "export the mesh as PLY, STL, OBJ or glTF",
                          strcasecmp(extension, "ply") == 0 ? "it does not begin as a PLY file does"
                                                            : "no mesh format that is known here");
    name_format(source->format, kind, extension);
    rlv_status status = settle_unit(reading, kind);
    if (status == RLV_DONE)
        status = read_format(mesh, reading, kind, &weld);
    if (status == RLV_DONE && reading->digest_failed)
        return rlv_fail(reading->error, RLV_SYSTEM, reading->path, "check the installation of OpenSSL",
                        "its SHA-256 cannot be taken");
    rlv_reading_close(reading);
    if (status != RLV_DONE || !weld)
        return status;
    rlv_tell(kept.progress, "weld", 0.0);
    size_t before = mesh->vertex_count;
    status = rlv_mesh_weld(mesh, kept.error);
    source->merged = before - mesh->vertex_count;
    return rlv_reading_place_error(&kept, status);
}

rlv_status rlv_mesh_file_read(rlv_mesh* mesh, rlv_mesh_source* source, const char* path, rlv_unit unit,
                              const rlv_progress* progress, rlv_error* error)
{
    rlv_mesh_source unasked;
    char* sha256 = source != NULL ? source->sha256 : NULL;
    source = source != NULL ? source : &unasked;
    memset(source, 0, sizeof *source);
    rlv_reading reading = {.unit_mm = rlv_unit_mm(unit)};
    rlv_status status = rlv_reading_open(&reading, path, sha256, progress, error);
    source->bytes = reading.size;
    if (status == RLV_DONE)
        status = read_open(mesh, &reading, source);
    rlv_reading_close(&reading);
    if (status != RLV_DONE)
        rlv_mesh_free(mesh);
    return status;
}

rlv_status rlv_mesh_file_write(const rlv_mesh* mesh, const char* path, rlv_error* error)
{
    rlv_safe_file file;
    rlv_status status = rlv_safe_file_open(&file, path, error);
    if (status != RLV_DONE)
        return status;
    errno = 0;
    if (rlv_ply_write(mesh, file.stream))
        return rlv_safe_file_commit(&file, error);
    int reason = errno;
    rlv_safe_file_abandon(&file);
    return rlv_fail(error, RLV_SYSTEM, path, "see that the disk has room and may be written to",
                    "could not be written whole: %s", reason != 0 ? strerror(reason) : "the disk refused a part of it");
}
