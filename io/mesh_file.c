#include "mesh_file.h"

#include "ply.h"
#include "reading.h"
#include "safe_file.h"

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

static rlv_status require_unit(const rlv_reading* reading)
{
    if (reading->unit_mm > 0.0)
        return RLV_DONE;
    return rlv_refuse(reading, "say what its coordinates are in, with the unit mm, cm, m or in",
                      "the file does not say what unit it is in");
}

static rlv_status read_known(rlv_mesh* mesh, rlv_reading* reading, rlv_mesh_source* source)
{
    if (!rlv_ply_recognise(reading->data, reading->size))
        return rlv_refuse(reading, "export the mesh as PLY, STL, OBJ or glTF", "not a mesh format that is known here");
    snprintf(source->format, sizeof source->format, "PLY");
    rlv_status status = require_unit(reading);
    return status == RLV_DONE ? rlv_ply_read(mesh, reading) : status;
}

rlv_status rlv_mesh_file_read(rlv_mesh* mesh, rlv_mesh_source* source, const char* path, rlv_unit unit,
                              const rlv_progress* progress, rlv_error* error)
{
    rlv_mesh_source unasked;
    source = source != NULL ? source : &unasked;
    memset(source, 0, sizeof *source);
    rlv_reading reading = {.unit_mm = rlv_unit_mm(unit)};
    rlv_status status = rlv_reading_open(&reading, path, source != &unasked ? source->sha256 : NULL, progress, error);
    source->bytes = reading.size;
    if (status == RLV_DONE)
        status = read_known(mesh, &reading, source);
    if (status == RLV_DONE && reading.digest_failed)
        status = rlv_fail(error, RLV_SYSTEM, path, "check the installation of OpenSSL", "SHA-256 is not to be had");
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
