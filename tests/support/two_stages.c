#include "two_stages.h"

#include "mesh_file.h"
#include "preparing.h"
#include "program.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/// Name the triangles of a mesh by their part.
static void name_parts(rlv_mesh* mesh, const uint8_t* part)
{
    static const char* const name[3] = {"rock", "bone", "piece"};
    mesh->object = calloc(mesh->triangle_count, sizeof *mesh->object);
    mesh->object_name = calloc(3, sizeof *mesh->object_name);
    if (mesh->object == NULL || mesh->object_name == NULL)
        abort();
    mesh->object_count = 3;
    for (size_t i = 0; i < 3; i++)
        mesh->object_name[i] = strdup(name[i]);
    for (size_t i = 0; i < mesh->triangle_count; i++)
        mesh->object[i] = part[i];
}

static void write_mesh(const char* folder, const char* name, const rlv_mesh* mesh)
{
    char path[4096];
    rlv_error error = {0};
    snprintf(path, sizeof path, "%s/meshes/%s", folder, name);
    if (rlv_mesh_file_write(mesh, path, &error) != RLV_DONE)
        abort();
}

static preparing_plan plan_of(unsigned long long seed)
{
    return (preparing_plan){
        .seed = seed,
        .triangles = 16000,
        .matrix_mm = 9.0,
        .matrix_share = 0.2,
        .chip_mm = 5.0,
        .chip_mm_wide = 14.0,
        .film_mm = 2.0,
        .piece_mm = 14.0,
        .scan = {.noise_sd_mm = 0.1, .noise_length_mm = 2.0, .warp_sd_mm = 0.05, .warp_length_mm = 100.0}};
}

void two_stages_write(const char* folder, unsigned long long seed, const char* extra, const char* points)
{
    const preparing_plan plan = plan_of(seed);
    preparing made = prepare(&plan);
    char path[4096], text[8192];
    snprintf(path, sizeof path, "%s/meshes", folder);
    mkdir(folder, 0777);
    mkdir(path, 0777);
    name_parts(&made.before, made.before_part);
    write_mesh(folder, "field.ply", &made.before);
    write_mesh(folder, "cleared.ply", &made.after);
    preparing_free(&made);
    snprintf(text, sizeof text,
             "specimen: LQ-0417\ntitle: Armoured fish in a marl concretion\n"
             "stages:\n"
             "  - id: field\n    title: field block\n    date: \"2031-05-12\"\n"
             "    mesh: meshes/field.ply\n    mesh_unit: mm\n"
             "  - id: second\n    date: \"2031-06-02/2031-06-04\"\n"
             "    mesh: meshes/cleared.ply\n    mesh_unit: mm\n"
             "    work:\n      - tool: scribe\n        hours: 6.25\n      - tool: scribe\n        hours: 1\n"
             "      - tool: brush\n        hours: 0.5\n"
             "masks:\n"
             "  - stage: field\n    is: bone\n    object: bone\n"
             "  - stage: field\n    is: piece\n    piece: corner\n    object: piece\n"
             "pieces:\n  - id: corner\n    detached: second\n%s",
             extra != NULL ? extra : "");
    snprintf(path, sizeof path, "%s/specimen.yaml", folder);
    program_write(path, text);
    snprintf(text, sizeof text, "stage,mesh,object,point,x,y,z,sd_mm\n%s", points != NULL ? points : "");
    snprintf(path, sizeof path, "%s/points.csv", folder);
    program_write(path, text);
}

void two_stages_truth(unsigned long long seed, double truth_mm3[RLV_CHANGE_CLASSES])
{
    const preparing_plan plan = plan_of(seed);
    preparing made = prepare(&plan);
    memcpy(truth_mm3, made.truth_mm3, sizeof made.truth_mm3);
    preparing_free(&made);
}
