#include "masks.h"
#include "specimen_faults.h"
#include "specimen_parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

// ---- points ---------------------------------------------------------------------------------------------------------

/// Whether an object on one mesh is a line of `least` numbered points or more.
static bool is_line(const rlv_specimen* s, const char* stage, const char* mesh, const char* object, size_t least)
{
    size_t count = 0;
    const size_t* index = rlv_specimen_points(s, stage, mesh, object, &count);
    return count >= least && rlv_specimen_numbered(s, index, count);
}

/// Whether a stage has such an outline, on the block or a piece.
static bool has_outline(const rlv_specimen* s, const rlv_stage_record* stage, const char* outline)
{
    bool found = is_line(s, stage->id, "block", outline, 3);
    for (size_t i = 0; i < s->piece_count && !found; i++)
        found = is_line(s, stage->id, s->piece[i].id, outline, 3);
    return found;
}

static bool has_outline_anywhere(const rlv_specimen* s, const char* outline)
{
    bool found = false;
    for (size_t i = 0; i < s->stage_count && !found; i++)
        found = has_outline(s, &s->stage[i], outline);
    return found;
}

static const char* const mend_outline =
    "write its points, numbered from 1 and three at least, in " RLV_SPECIMEN_POINTS ", or name another";

/// The area of something that was done between two stages: an outline on the earlier.
static void check_area(rlv_faults* f, rlv_key at, const char* area, size_t stage)
{
    if (area == NULL)
        return;
    if (stage == 0)
        rlv_fault(f, at, "leave it out: an area is an outline on the stage before", "the first stage has none before");
    else if (!has_outline(f->specimen, &f->specimen->stage[stage - 1], area))
        rlv_fault(f, at, mend_outline, "there is no outline '%.100s' at the stage before, '%.100s'", area,
                  f->specimen->stage[stage - 1].id);
}

static void check_areas(rlv_faults* f)
{
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->stage_count; i++)
    {
        const rlv_stage_record* stage = &s->stage[i];
        for (size_t k = 0; k < stage->work_count; k++)
            check_area(f, rlv_key_at("stages[%zu].work[%zu].area", i, k), stage->work[k].area, i);
        for (size_t k = 0; k < stage->treatment_count; k++)
        {
            const char* area = stage->treatment[k].area;
            if (area != NULL && !has_outline(s, stage, area) && (i == 0 || !has_outline(s, stage - 1, area)))
                rlv_fault(f, rlv_key_at("stages[%zu].treatments[%zu].area", i, k), mend_outline,
                          "there is no outline '%.100s' at '%.100s' or the stage before", area, stage->id);
        }
    }
    for (size_t i = 0; i < s->spoil_count; i++)
        check_area(f, rlv_key_at("spoil[%zu].area", i), s->spoil[i].area,
                   (size_t)(rlv_specimen_stage(s, s->spoil[i].stage) - s->stage));
}

static void check_bars(rlv_faults* f, rlv_key at, const char* stage, const char* name, const rlv_mesh_record* mesh)
{
    for (size_t i = 0; i < mesh->bar_count; i++)
    {
        const char* bar = mesh->bar[i].bar;
        rlv_key key = rlv_key_at("%.150s.scale_bars[%zu].bar", at.path, i);
        const rlv_point_record* a = rlv_specimen_point(f->specimen, stage, name, bar, "a");
        const rlv_point_record* b = rlv_specimen_point(f->specimen, stage, name, bar, "b");
        if (a == NULL || b == NULL)
            rlv_fault(f, key, "write both ends, the points a and b of that object, in " RLV_SPECIMEN_POINTS,
                      "the point %s of '%.60s' is missing on %.60s at '%.60s'", a == NULL ? "a" : "b", bar, name,
                      stage);
        else if (memcmp(a->at, b->at, sizeof a->at) == 0)
            rlv_fault(f, key, "see to the points in lines of " RLV_SPECIMEN_POINTS,
                      "both ends of '%.60s' are one place", bar);
    }
}

/// A piece's face is outlined where one of its meshes was made, on the block or on that mesh.
static void check_face(rlv_faults* f, size_t i)
{
    const rlv_piece_record* piece = &f->specimen->piece[i];
    bool found = piece->face == NULL;
    for (size_t k = 0; k < piece->mesh_count && !found; k++)
        found = is_line(f->specimen, piece->mesh[k].stage, "block", piece->face, 3) ||
                is_line(f->specimen, piece->mesh[k].stage, piece->id, piece->face, 3);
    if (!found)
        rlv_fault(f, rlv_key_at("pieces[%zu].face", i), mend_outline,
                  "there is no outline '%.100s' on the block or on '%.100s' at a stage of its meshes", piece->face,
                  piece->id);
}

static void check_outlines(rlv_faults* f)
{
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->piece_count; i++)
        check_face(f, i);
    for (size_t i = 0; i < s->mask_count; i++)
        if (s->mask[i].outline != NULL &&
            !is_line(s, s->mask[i].stage, rlv_mask_mesh(&s->mask[i]), s->mask[i].outline, 3))
            rlv_fault(f, rlv_key_at("masks[%zu].outline", i), mend_outline,
                      "there is no outline '%.100s' on the %s at '%.100s'", s->mask[i].outline,
                      s->mask[i].kind == RLV_MASK_BONE && s->mask[i].piece != NULL ? "piece's own mesh" : "block",
                      s->mask[i].stage);
    for (size_t i = 0; i < s->joint_count; i++)
        if (!is_line(s, s->joint[i].stage, "block", s->joint[i].trace, 2))
            rlv_fault(f, rlv_key_at("joints[%zu].trace", i),
                      "write its points, numbered from 1 and two at least, in " RLV_SPECIMEN_POINTS,
                      "there is no line '%.100s' on the block at '%.100s'", s->joint[i].trace, s->joint[i].stage);
    const rlv_display_record* display = s->display;
    if (display != NULL && display->rests_on != NULL && !has_outline_anywhere(s, display->rests_on))
        rlv_fault(f, rlv_key_at("display.rests_on"), mend_outline, "there is no outline '%.100s' at any stage",
                  display->rests_on);
    for (size_t i = 0; display != NULL && i < display->untouchable_count; i++)
        if (!has_outline_anywhere(s, display->untouchable[i]))
            rlv_fault(f, rlv_key_at("display.untouchable[%zu]", i), mend_outline,
                      "there is no outline '%.100s' at any stage", display->untouchable[i]);
}

static void check_bedding(rlv_faults* f)
{
    const rlv_bedding_record* bedding = f->specimen->bedding;
    size_t count = 0;
    if (bedding == NULL || bedding->points == NULL)
        return;
    rlv_specimen_points(f->specimen, bedding->stage, "block", bedding->points, &count);
    if (count < 3)
        rlv_fault(f, rlv_key_at("bedding.points"), "write three points or more on one plane in " RLV_SPECIMEN_POINTS,
                  "%zu points '%.100s' on the block at '%.100s'", count, bedding->points, bedding->stage);
}

// ---- files ----------------------------------------------------------------------------------------------------------

/// Whether a path leads downwards only.
static bool stays_inside(const char* path)
{
    if (path[0] == '/' || strchr(path, '\\') != NULL)
        return false;
    for (const char* part = path; part != NULL; part = strchr(part, '/'))
    {
        part += *part == '/';
        if (strncmp(part, "..", 2) == 0 && (part[2] == '/' || part[2] == '\0'))
            return false;
    }
    return true;
}

/// Whether what `path` really is, links followed, lies in what `folder` really is.
static bool lies_inside(const char* folder, const char* path)
{
    char *real_folder = realpath(folder, NULL), *real_path = realpath(path, NULL);
    size_t length = real_folder != NULL ? strlen(real_folder) : 0;
    bool inside = real_folder != NULL && real_path != NULL && strncmp(real_folder, real_path, length) == 0 &&
                  (real_path[length] == '/' || strcmp(real_folder, "/") == 0);
    free(real_folder);
    free(real_path);
    return inside;
}

static void check_file(rlv_faults* f, rlv_key at, const char* within)
{
    struct stat there;
    if (within == NULL || f->status != RLV_DONE)
        return;
    if (!stays_inside(within))
    {
        rlv_fault(f, at, "copy the file into the folder, and name it from there: meshes/field.ply",
                  "'%.200s' leads out of the folder", within);
        return;
    }
    char* path = rlv_specimen_path(f->specimen, within);
    if (path == NULL)
        f->status = rlv_fail(f->error, RLV_SYSTEM, f->path, "close other programs", "no memory for a name");
    else if (stat(path, &there) != 0)
        rlv_fault(f, at, "copy the file in, and name it here with its unit", "'%.200s' is not there yet", within);
    else if (!S_ISREG(there.st_mode))
        rlv_fault(f, at, "name the file itself", "'%.200s' is no file", within);
    else if (!lies_inside(f->specimen->folder, path))
        rlv_fault(f, at, "copy the file into the folder: the record has to stay whole",
                  "'%.200s' is a link that leads out of the folder", within);
    free(path);
}

/// A mesh file that belongs to two stages.
static void check_shared(rlv_faults* f, rlv_key at, const char* mesh, size_t stages)
{
    for (size_t i = 0; i < stages; i++)
        if (strcmp(f->specimen->stage[i].mesh.mesh, mesh) == 0)
            rlv_fault(f, at, "name the mesh of each stage", "'%.200s' is the mesh of the stage '%.100s' already", mesh,
                      f->specimen->stage[i].id);
}

static void check_files(rlv_faults* f)
{
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->stage_count && f->status == RLV_DONE; i++)
    {
        rlv_key at = rlv_key_at("stages[%zu].mesh", i);
        check_file(f, at, s->stage[i].mesh.mesh);
        check_shared(f, at, s->stage[i].mesh.mesh, i);
    }
    for (size_t i = 0; i < s->piece_count && f->status == RLV_DONE; i++)
        for (size_t k = 0; k < s->piece[i].mesh_count; k++)
        {
            rlv_key at = rlv_key_at("pieces[%zu].meshes[%zu].mesh", i, k);
            check_file(f, at, s->piece[i].mesh[k].mesh.mesh);
            check_shared(f, at, s->piece[i].mesh[k].mesh.mesh, s->stage_count);
        }
    for (size_t i = 0; i < s->row_count; i++)
        check_file(f, rlv_key_at("rows[%zu].life_positions", i), s->row[i].life_positions);
}

rlv_status rlv_specimen_check_places(const rlv_specimen* specimen, const char* path, rlv_error* error)
{
    rlv_faults f = {specimen, path, error, RLV_DONE};
    for (size_t i = 0; i < specimen->stage_count; i++)
        check_bars(&f, rlv_key_at("stages[%zu]", i), specimen->stage[i].id, "block", &specimen->stage[i].mesh);
    for (size_t i = 0; i < specimen->piece_count; i++)
        for (size_t k = 0; k < specimen->piece[i].mesh_count; k++)
            check_bars(&f, rlv_key_at("pieces[%zu].meshes[%zu]", i, k), specimen->piece[i].mesh[k].stage,
                       specimen->piece[i].id, &specimen->piece[i].mesh[k].mesh);
    check_areas(&f);
    check_outlines(&f);
    check_bedding(&f);
    check_files(&f);
    return f.status;
}
