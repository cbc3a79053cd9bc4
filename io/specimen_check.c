#include "specimen_parts.h"

#include "specimen_faults.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/// An id that its list holds twice.
static void fault_if_again(rlv_faults* f, rlv_key at, const char* id, size_t first)
{
    rlv_fault(f, at, "give each an id of its own", "'%.100s' is the id of number %zu of this list already, from 0", id,
              first);
}

#define FAULT_UNLESS_UNIQUE(f, list, count, member, format)                                                            \
    for (size_t second_ = 1; second_ < (count) && (f)->status == RLV_DONE; second_++)                                  \
        for (size_t first_ = 0; first_ < second_; first_++)                                                            \
            if (strcmp((list)[first_].member, (list)[second_].member) == 0)                                            \
    fault_if_again(f, rlv_key_at(format, second_), (list)[second_].member, first_)

static void check_mesh(rlv_faults* f, rlv_key at, const rlv_mesh_record* mesh)
{
    if (mesh->unit == NULL && mesh->bar_count == 0)
        rlv_fault(f, at, "write mesh_unit (mm, cm, m or in), or scale_bars: a unit is never guessed",
                  "neither mesh_unit nor scale_bars");
    if (mesh->unit != NULL && mesh->bar_count > 0)
        rlv_fault(f, at, "leave one of them out", "both mesh_unit and scale_bars");
    if (mesh->scale_sd != NULL && mesh->unit == NULL)
        rlv_fault(f, rlv_key_at("%s.scale_sd", at.path), "leave it out: scale bars tell it",
                  "scale_sd without mesh_unit");
    rlv_fault_unless_above(f, rlv_key_at("%s.scale_sd", at.path), mesh->scale_sd, 0.0);
    // A scale less sure than one in five is no scale; a percentage ends up here.
    rlv_fault_unless_within(f, rlv_key_at("%s.scale_sd", at.path), mesh->scale_sd, 0.0, 0.2);
    for (size_t i = 0; i < mesh->bar_count; i++)
    {
        const rlv_scale_bar_record* bar = &mesh->bar[i];
        rlv_key key = rlv_key_at("%.150s.scale_bars[%zu]", at.path, i);
        rlv_fault_unless_above(f, rlv_key_at("%.180s.length_mm", key.path), &bar->length_mm, 0.0);
        rlv_fault_unless_above(f, rlv_key_at("%.180s.sd_mm", key.path), &bar->sd_mm, 0.0);
        for (size_t k = 0; k < i; k++)
            if (strcmp(mesh->bar[k].bar, bar->bar) == 0)
                fault_if_again(f, rlv_key_at("%.180s.bar", key.path), bar->bar, k);
    }
}

static void check_treatment(rlv_faults* f, size_t stage, size_t i, const rlv_treatment_record* treatment)
{
    static const char* const bases[] = {"w/v", "w/w"};
    rlv_key at = rlv_key_at("stages[%zu].treatments[%zu]", stage, i);
    const double coats = treatment->coats != NULL ? *treatment->coats : 1.0;
    rlv_fault_unless_above(f, rlv_key_at("%s.concentration_percent", at.path), treatment->concentration_percent, 0.0);
    if (treatment->concentration_percent != NULL && treatment->basis == NULL)
        rlv_fault(f, at, "write basis: w/v or w/w", "a concentration without its basis");
    rlv_fault_unless_word(f, rlv_key_at("%s.basis", at.path), treatment->basis, 2, bases);
    if (treatment->basis != NULL && strcmp(treatment->basis, "w/w") == 0)
        rlv_fault_unless_within(f, rlv_key_at("%s.concentration_percent", at.path), treatment->concentration_percent,
                                0.0, 100.0);
    rlv_fault_unless_within(f, rlv_key_at("%s.volume_ml", at.path), treatment->volume_ml, 0.0, INFINITY);
    rlv_fault_unless_within(f, rlv_key_at("%s.dry_g", at.path), treatment->dry_g, 0.0, INFINITY);
    rlv_fault_unless_above(f, rlv_key_at("%s.area_cm2", at.path), treatment->area_cm2, 0.0);
    rlv_fault_unless_within(f, rlv_key_at("%s.coats", at.path), &coats, 1.0, INFINITY);
}

static void check_stages(rlv_faults* f)
{
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->stage_count; i++)
    {
        const rlv_stage_record* stage = &s->stage[i];
        rlv_fault_unless_id(f, rlv_key_at("stages[%zu].id", i), stage->id);
        rlv_fault_unless_date(f, rlv_key_at("stages[%zu].date", i), stage->date);
        check_mesh(f, rlv_key_at("stages[%zu]", i), &stage->mesh);
        rlv_fault_unless_mass(f, rlv_key_at("stages[%zu].mass", i), stage->mass);
        rlv_fault_unless_mass(f, rlv_key_at("stages[%zu].drying", i), stage->drying);
        for (size_t k = 0; k < stage->work_count; k++)
            rlv_fault_unless_within(f, rlv_key_at("stages[%zu].work[%zu].hours", i, k), &stage->work[k].hours, 0.0,
                                    INFINITY);
        for (size_t k = 0; k < stage->treatment_count; k++)
            check_treatment(f, i, k, &stage->treatment[k]);
    }
    FAULT_UNLESS_UNIQUE(f, s->stage, s->stage_count, id, "stages[%zu].id");
}

static void check_masks(rlv_faults* f)
{
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->mask_count; i++)
    {
        const rlv_mask_record* mask = &s->mask[i];
        rlv_key at = rlv_key_at("masks[%zu]", i);
        int ways = (mask->object != NULL) + (mask->colour_count > 0) + (mask->outline != NULL);
        rlv_fault_unless_stage(f, rlv_key_at("masks[%zu].stage", i), mask->stage);
        if (ways != 1)
            rlv_fault(f, at, "write one of object, colour and outline", "%s of object, colour and outline",
                      ways == 0 ? "none" : "more than one");
        for (int k = 0; k < mask->colour_count; k++)
            if (mask->colour[k] < 0 || mask->colour[k] > 255)
                rlv_fault(f, rlv_key_at("masks[%zu].colour[%d]", i, k), "write red, green and blue from 0 to 255",
                          "%d is no part of an 8-bit colour", mask->colour[k]);
        if (mask->kind == RLV_MASK_PIECE && mask->piece == NULL)
            rlv_fault(f, at, "write piece: and its id", "is: piece, and no piece is named");
        if (mask->kind == RLV_MASK_SUPPORT && mask->piece != NULL)
            rlv_fault(f, rlv_key_at("masks[%zu].piece", i), "leave it out, or write is: piece, or is: bone",
                      "a piece is named, and the mask is of support");
        if (mask->piece != NULL && rlv_specimen_piece(s, mask->piece) == NULL)
            rlv_fault(f, rlv_key_at("masks[%zu].piece", i), "name one of the pieces, by its id",
                      "there is no piece '%.100s'", mask->piece);
        else if (mask->kind == RLV_MASK_BONE && mask->piece != NULL &&
                 rlv_specimen_mesh(s, mask->stage, mask->piece) == NULL)
            rlv_fault(f, rlv_key_at("masks[%zu].stage", i), "name a stage at which it has a mesh of its own",
                      "bone of the piece '%.100s' is masked on its own mesh, and it has none at '%.100s'", mask->piece,
                      mask->stage);
    }
}

/// Parents lead to the block, not round in a circle.
static void check_parents(rlv_faults* f, size_t i)
{
    const rlv_specimen* s = f->specimen;
    const rlv_piece_record* piece = &s->piece[i];
    rlv_key at = rlv_key_at("pieces[%zu].parent", i);
    if (piece->parent != NULL && rlv_specimen_piece(s, piece->parent) == NULL)
        rlv_fault(f, at, "name another piece, by its id, or leave it out where it is the block",
                  "there is no piece '%.100s'", piece->parent);
    const rlv_piece_record* above = piece;
    for (size_t steps = 0; above != NULL && above->parent != NULL && f->status == RLV_DONE; steps++)
    {
        above = rlv_specimen_piece(s, above->parent);
        if (above == piece || steps > s->piece_count)
        {
            rlv_fault(f, at, "leave the parent out where it is the block", "the piece '%.100s' is its own ancestor",
                      piece->id);
            return;
        }
    }
}

static void check_piece_meshes(rlv_faults* f, size_t i)
{
    const rlv_piece_record* piece = &f->specimen->piece[i];
    for (size_t k = 0; k < piece->mesh_count; k++)
    {
        rlv_fault_unless_stage(f, rlv_key_at("pieces[%zu].meshes[%zu].stage", i, k), piece->mesh[k].stage);
        check_mesh(f, rlv_key_at("pieces[%zu].meshes[%zu]", i, k), &piece->mesh[k].mesh);
        for (size_t first = 0; first < k; first++)
            if (strcmp(piece->mesh[first].stage, piece->mesh[k].stage) == 0)
                rlv_fault(f, rlv_key_at("pieces[%zu].meshes[%zu].stage", i, k), "keep one mesh a stage",
                          "the piece has a mesh at '%.100s' already", piece->mesh[k].stage);
    }
}

static void check_pieces(rlv_faults* f)
{
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->piece_count; i++)
    {
        const rlv_piece_record* piece = &s->piece[i];
        rlv_fault_unless_id(f, rlv_key_at("pieces[%zu].id", i), piece->id);
        if (strcmp(piece->id, "block") == 0)
            rlv_fault(f, rlv_key_at("pieces[%zu].id", i), "give the piece another id", "block is the block itself");
        rlv_fault_unless_stage(f, rlv_key_at("pieces[%zu].detached", i), piece->detached);
        rlv_fault_unless_stage(f, rlv_key_at("pieces[%zu].joined", i), piece->joined);
        if (f->status == RLV_DONE && piece->detached != NULL && piece->joined != NULL &&
            rlv_specimen_stage(s, piece->detached) >= rlv_specimen_stage(s, piece->joined))
            rlv_fault(f, rlv_key_at("pieces[%zu].joined", i), "name a later stage, or leave it out",
                      "joined at '%.60s', which is not after '%.60s', where it came off", piece->joined,
                      piece->detached);
        check_parents(f, i);
        rlv_fault_unless_mass(f, rlv_key_at("pieces[%zu].mass", i), piece->mass);
        check_piece_meshes(f, i);
    }
    FAULT_UNLESS_UNIQUE(f, s->piece, s->piece_count, id, "pieces[%zu].id");
}

static void check_direction(rlv_faults* f, const char* key, const rlv_direction_record* direction)
{
    if (direction == NULL)
        return;
    const double* v = direction->vector;
    rlv_fault_unless_stage(f, rlv_key_at("%s.stage", key), direction->stage);
    if (!(hypot(hypot(v[0], v[1]), v[2]) > 0.0))
        rlv_fault(f, rlv_key_at("%s.vector", key), "give two points' difference, in the coordinates of the mesh file",
                  "the vector has no length");
}

/// North and up of one stage do not lie along each other.
static void check_compass(rlv_faults* f)
{
    const rlv_direction_record *north = f->specimen->north, *up = f->specimen->up;
    if (f->status != RLV_DONE || north == NULL || up == NULL || strcmp(north->stage, up->stage) != 0)
        return;
    const double *a = north->vector, *b = up->vector;
    double across = hypot(hypot(a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2]), a[0] * b[1] - a[1] * b[0]);
    double lengths = hypot(hypot(a[0], a[1]), a[2]) * hypot(hypot(b[0], b[1]), b[2]);
    // Within a degree of each other neither tells the compass; sin 1 degree is 0.01745.
    if (!(across > 0.01745 * lengths))
        rlv_fault(f, rlv_key_at("north.vector"), "give the direction of north, and of up", "north lies along up");
}

static void check_bedding(rlv_faults* f)
{
    const rlv_bedding_record* bedding = f->specimen->bedding;
    if (bedding == NULL)
        return;
    bool measured = bedding->strike_deg != NULL || bedding->dip_deg != NULL;
    if (measured == (bedding->points != NULL))
        rlv_fault(f, rlv_key_at("bedding"), "write points, or strike_deg and dip_deg",
                  measured ? "both points and strike or dip" : "neither points nor strike and dip");
    if (measured && (bedding->strike_deg == NULL || bedding->dip_deg == NULL))
        rlv_fault(f, rlv_key_at("bedding"), "write both strike_deg and dip_deg", "strike or dip is missing");
    if (measured && (f->specimen->north == NULL || f->specimen->up == NULL))
        rlv_fault(f, rlv_key_at("bedding"), "write north and up, or give the bedding by points",
                  "strike and dip say nothing without north and up");
    if (bedding->points != NULL && bedding->stage == NULL)
        rlv_fault(f, rlv_key_at("bedding"), "write stage: and its id", "the points' stage is missing");
    rlv_fault_unless_stage(f, rlv_key_at("bedding.stage"), bedding->stage);
    rlv_fault_unless_within(f, rlv_key_at("bedding.strike_deg"), bedding->strike_deg, 0.0, 360.0);
    rlv_fault_unless_within(f, rlv_key_at("bedding.dip_deg"), bedding->dip_deg, 0.0, 90.0);
    rlv_fault_unless_above(f, rlv_key_at("bedding.sd_deg"), bedding->sd_deg, 0.0);
}

static void check_spoil(rlv_faults* f)
{
    static const char* const states[] = {"dry", "damp"};
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->spoil_count; i++)
    {
        const rlv_spoil_record* spoil = &s->spoil[i];
        rlv_fault_unless_id(f, rlv_key_at("spoil[%zu].bag", i), spoil->bag);
        rlv_fault_unless_stage(f, rlv_key_at("spoil[%zu].stage", i), spoil->stage);
        rlv_fault_unless_mass(f, rlv_key_at("spoil[%zu].mass", i), spoil->mass);
        rlv_fault_unless_word(f, rlv_key_at("spoil[%zu].state", i), spoil->state, 2, states);
    }
    FAULT_UNLESS_UNIQUE(f, s->spoil, s->spoil_count, bag, "spoil[%zu].bag");
}

static void check_rock(rlv_faults* f)
{
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->density_count; i++)
    {
        rlv_fault_unless_above(f, rlv_key_at("densities[%zu].g_cm3", i), &s->density[i].g_cm3, 0.0);
        rlv_fault_unless_above(f, rlv_key_at("densities[%zu].sd_g_cm3", i), &s->density[i].sd_g_cm3, 0.0);
    }
    FAULT_UNLESS_UNIQUE(f, s->density, s->density_count, material, "densities[%zu].material");
    for (size_t i = 0; i < s->joint_count; i++)
    {
        rlv_fault_unless_id(f, rlv_key_at("joints[%zu].id", i), s->joint[i].id);
        rlv_fault_unless_stage(f, rlv_key_at("joints[%zu].stage", i), s->joint[i].stage);
        rlv_fault_unless_within(f, rlv_key_at("joints[%zu].aperture_mm", i), s->joint[i].aperture_mm, 0.0, INFINITY);
    }
    FAULT_UNLESS_UNIQUE(f, s->joint, s->joint_count, id, "joints[%zu].id");
}

static void check_rows(rlv_faults* f)
{
    static const char* const sides[] = {"left", "right", "median"};
    const rlv_specimen* s = f->specimen;
    for (size_t i = 0; i < s->row_count; i++)
    {
        const rlv_row_record* row = &s->row[i];
        rlv_fault_unless_id(f, rlv_key_at("rows[%zu].id", i), row->id);
        rlv_fault_unless_word(f, rlv_key_at("rows[%zu].side", i), row->side, 3, sides);
        if (row->first_place < 1 || row->last_place < row->first_place || row->last_place > 9999)
            rlv_fault(f, rlv_key_at("rows[%zu].places", i), "write the first and the last place, counted from 1",
                      "%d to %d are no places", row->first_place, row->last_place);
        rlv_fault_unless_above(f, rlv_key_at("rows[%zu].pitch_mm", i), row->pitch_mm, 0.0);
        rlv_fault_unless_above(f, rlv_key_at("rows[%zu].pitch_sd_mm", i), row->pitch_sd_mm, 0.0);
        rlv_fault_unless_above(f, rlv_key_at("rows[%zu].taper", i), row->taper, 0.0);
    }
    FAULT_UNLESS_UNIQUE(f, s->row, s->row_count, id, "rows[%zu].id");
}

static void check_display(rlv_faults* f)
{
    const rlv_display_record* display = f->specimen->display;
    if (display == NULL)
        return;
    check_direction(f, "display.up", display->up);
    rlv_fault_unless_within(f, rlv_key_at("display.rise"), display->rise, 0.0, INFINITY);
    rlv_fault_unless_within(f, rlv_key_at("display.edge_height_mm"), display->edge_height_mm, 0.0, INFINITY);
    rlv_fault_unless_above(f, rlv_key_at("display.case_length_mm"), display->case_length_mm, 0.0);
    rlv_fault_unless_above(f, rlv_key_at("display.case_width_mm"), display->case_width_mm, 0.0);
    rlv_fault_unless_above(f, rlv_key_at("display.case_height_mm"), display->case_height_mm, 0.0);
    rlv_fault_unless_within(f, rlv_key_at("display.plinth_height_mm"), display->plinth_height_mm, 0.0, INFINITY);
}

static void check_advice(rlv_faults* f)
{
    static const char* const ways[] = {"use", "avoid"};
    const rlv_advice_record* advice = f->specimen->advice;
    if (advice == NULL)
        return;
    rlv_fault_unless_within(f, rlv_key_at("advice.clearance_mm"), advice->clearance_mm, 0.0, INFINITY);
    rlv_fault_unless_within(f, rlv_key_at("advice.margin_mm"), advice->margin_mm, 0.0, INFINITY);
    rlv_fault_unless_above(f, rlv_key_at("advice.hole_diameter_mm"), advice->hole_diameter_mm, 0.0);
    rlv_fault_unless_above(f, rlv_key_at("advice.hole_spacing_mm"), advice->hole_spacing_mm, 0.0);
    rlv_fault_unless_word(f, rlv_key_at("advice.joints"), advice->joints, 2, ways);
    rlv_fault_unless_above(f, rlv_key_at("advice.lift_limit_kg"), advice->lift_limit_kg, 0.0);
}

rlv_status rlv_specimen_check_record(const rlv_specimen* specimen, const char* path, rlv_error* error)
{
    rlv_faults f = {specimen, path, error, RLV_DONE};
    rlv_fault_unless_id(&f, rlv_key_at("specimen"), specimen->id);
    rlv_fault_unless_date(&f, rlv_key_at("collected"), specimen->collected);
    check_stages(&f);
    rlv_fault_unless_stage(&f, rlv_key_at("frame_stage"), specimen->frame_stage);
    check_direction(&f, "north", specimen->north);
    check_direction(&f, "up", specimen->up);
    check_compass(&f);
    check_bedding(&f);
    check_rock(&f);
    check_pieces(&f);
    check_masks(&f);
    check_spoil(&f);
    check_rows(&f);
    check_display(&f);
    check_advice(&f);
    return f.status;
}
