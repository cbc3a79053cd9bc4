#include "boxed_fish.h"

#include "program.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MARGIN_MM 30.0 ///< of rock about the skeleton

static const char* const row_id[BOXED_ROWS] = {"D", "L", "R"};
static const char* const row_side[BOXED_ROWS] = {"median", "left", "right"};

boxed_fish boxed_fish_make(void)
{
    skeleton_plan plan = skeleton_draw(5, BOXED_PLACES);
    plan.shape = SKELETON_STRAIGHT;
    plan.rows = BOXED_ROWS;
    plan.missing = 0.0;
    for (size_t r = 0; r < BOXED_ROWS; r++)
        plan.places[r] = BOXED_PLACES;
    boxed_fish f = {.bones = skeleton_make(&plan),
                    .places = true,
                    .low = {INFINITY, INFINITY, INFINITY},
                    .high = {-INFINITY, -INFINITY, -INFINITY},
                    .more = "",
                    .points = "",
                    .last_of_right = BOXED_PLACES};
    for (size_t i = 0; i < f.bones->count; i++)
    {
        const double* at = f.bones->element[i].element.position_mm;
        f.low = rlv_vec3_of(fmin(f.low.x, at[0]), fmin(f.low.y, at[1]), fmin(f.low.z, at[2]));
        f.high = rlv_vec3_of(fmax(f.high.x, at[0]), fmax(f.high.y, at[1]), fmax(f.high.z, at[2]));
    }
    const rlv_vec3 margin = rlv_vec3_of(MARGIN_MM, MARGIN_MM, MARGIN_MM);
    f.low = rlv_vec3_sub(f.low, margin);
    f.high = rlv_vec3_add(f.high, margin);
    return f;
}

rlv_placed_element* boxed_fish_bone(const boxed_fish* f, size_t row, int place)
{
    for (size_t i = 0; i < f->bones->count; i++)
        if (f->bones->element[i].row == row && f->bones->element[i].place_low == place)
            return &f->bones->element[i];
    fprintf(stderr, "no bone at place %d of row %zu\n", place, row);
    abort();
}

static FILE* open_file(const char* path)
{
    FILE* file = fopen(path, "w");
    if (file == NULL)
    {
        perror(path);
        abort();
    }
    return file;
}

/// An outline of 12 points of a plate of 12 by 8 mm, and the landmarks that tell its attitude.
static void write_plate(FILE* file, const char* id, const rlv_element* e)
{
    static const struct
    {
        const char* name;
        double along, across;
    } mark[] = {{"anterior", 6.0, 0.0}, {"posterior", -6.0, 0.0}, {"left", 0.0, 4.0}, {"right", 0.0, -4.0}};
    rlv_mat3 frame;
    memcpy(frame.m, e->frame, sizeof frame.m);
    const rlv_vec3 middle = rlv_vec3_of(e->position_mm[0], e->position_mm[1], e->position_mm[2]);
    for (int k = 0; k < 16; k++)
    {
        const double turn = 2.0 * M_PI * k / 12;
        const double along = k < 12 ? 6.0 * cos(turn) : mark[k - 12].along;
        const double across = k < 12 ? 4.0 * sin(turn) : mark[k - 12].across;
        const rlv_vec3 at = rlv_vec3_add(middle, rlv_mat3_apply(frame, rlv_vec3_of(along, across, 0.0)));
        char number[16];
        snprintf(number, sizeof number, "%d", k + 1);
        fprintf(file, "field,block,%s,%s,%.6f,%.6f,%.6f,0.3\n", id, k < 12 ? number : mark[k - 12].name, at.x, at.y,
                at.z);
    }
}

void boxed_fish_rock(const char* path, rlv_vec3 low, rlv_vec3 high)
{
    static const char faces[] = "4 3 2 1 0\n4 4 5 6 7\n4 0 1 5 4\n4 1 2 6 5\n4 2 3 7 6\n4 3 0 4 7\n";
    FILE* file = open_file(path);
    fputs("ply\nformat ascii 1.0\nelement vertex 8\nproperty double x\nproperty double y\nproperty double z\n"
          "element face 6\nproperty list uchar int vertex_indices\nend_header\n",
          file);
    for (int k = 0; k < 8; k++)
        fprintf(file, "%.6f %.6f %.6f\n", k % 4 == 1 || k % 4 == 2 ? high.x : low.x, k % 4 >= 2 ? high.y : low.y,
                k >= 4 ? high.z : low.z);
    fputs(faces, file);
    fclose(file);
}

static void write_record(const boxed_fish* f)
{
    FILE* file = open_file("fish/specimen.yaml");
    fputs("specimen: LQ-0417\nstages:\n  - id: field\n    mesh: meshes/field.ply\n    mesh_unit: mm\n"
          "north: {stage: field, vector: [0, 1, 0]}\nup: {stage: field, vector: [0, 0, 1]}\n"
          "spoil:\n  - {bag: S1, stage: field}\nrows:\n",
          file);
    for (size_t r = 0; r < BOXED_ROWS; r++)
        fprintf(file, "  - {id: %s, side: %s, kind: scute, places: [1, %d], places_known: %s}\n", row_id[r],
                row_side[r], BOXED_PLACES, f->places ? "true" : "false");
    fclose(file);
}

void boxed_fish_write(boxed_fish* f)
{
    program_shell("mkdir -p fish/meshes");
    boxed_fish_rock("fish/meshes/field.ply", f->low, f->high);
    write_record(f);
    FILE* points = open_file("fish/points.csv");
    FILE* elements = open_file("fish/elements.csv");
    fputs("stage,mesh,object,point,x,y,z,sd_mm\n", points);
    fputs("id,kind,row,place,side,stage,part,bag,note\n", elements);
    for (size_t i = 0; i < f->bones->count; i++)
    {
        const rlv_placed_element* bone = &f->bones->element[i];
        char id[32], place[32] = "";
        if ((bone->row == 0 && bone->place_low == BOXED_WITHOUT) ||
            (bone->row == 2 && bone->place_low > f->last_of_right))
            continue;
        snprintf(id, sizeof id, "%s%02d", row_id[bone->row], bone->place_low);
        if (f->places || (bone->row == 0 && bone->place_low == 1))
            snprintf(place, sizeof place, "%d", bone->place_low);
        fprintf(elements, "%s,scute,%s,%s,,field,,,\n", id, row_id[bone->row], place);
        write_plate(points, id, &bone->element);
    }
    fputs(f->more, elements);
    fputs(f->points, points);
    fclose(points);
    fclose(elements);
    free(f->bones);
}
