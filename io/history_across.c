#include "history_across.h"

#include "history_sighting.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// One part at one stage, as points lie on it.
typedef struct part_at
{
    size_t stage;
    const char* mesh; ///< `block` or a piece
    double mm_per_unit;
    rlv_pose pose;      ///< into the frame of the answer
    rlv_vec3 middle_mm; ///< of its surface, in its own frame
} part_at;

/// What runs over the joint of one piece.
typedef struct crossing
{
    history_rejoin* rejoin;
    const rlv_history* history;
    part_at piece;
    rlv_answer* answer;
    rlv_error* error;
} crossing;

/// The points of one side of a run, in the frame of its part.
typedef struct run_side
{
    size_t count;
    rlv_placed_point* point;
    int* place;
    bool outline, placed;
    rlv_vec3 outward; ///< sum of what its elements say, in the frame of its part
} run_side;

static void free_side(run_side* side)
{
    free(side->point);
    free(side->place);
    *side = (run_side){0};
}

// --- Where -----------------------------------------------------------------------------------------------------------

/// A pose's covariance about another centre: its small motion there is the one here and what the turn adds.
static void add_covariance(rlv_pose* to, const rlv_pose* from)
{
    const rlv_vec3 arm = rlv_vec3_sub(to->centre_mm, from->centre_mm);
    const double a[3] = {arm.x, arm.y, arm.z};
    double j[49] = {0}, half[49] = {0};
    for (int k = 0; k < 7; k++)
        j[8 * k] = 1.0;
    // t + w x arm + s arm
    j[4] = a[2], j[5] = -a[1], j[6] = a[0];
    j[7 + 3] = -a[2], j[7 + 5] = a[0], j[7 + 6] = a[1];
    j[14 + 3] = a[1], j[14 + 4] = -a[0], j[14 + 6] = a[2];
    for (int r = 0; r < 7; r++)
        for (int c = 0; c < 7; c++)
            for (int k = 0; k < 7; k++)
                half[7 * r + c] += j[7 * r + k] * from->covariance[7 * k + c];
    for (int r = 0; r < 7; r++)
        for (int c = 0; c < 7; c++)
            for (int k = 0; k < 7; k++)
                to->covariance[7 * r + c] += half[7 * r + k] * j[7 * c + k];
}

static void forget(rlv_pose* pose)
{
    memset(pose->covariance, 0, sizeof pose->covariance);
}

/// The block at a stage. The block's mesh at the joint's own stage moved with it: its pose is no error there.
static part_at block_at(const crossing* c, size_t stage)
{
    const history_stage* at = &c->history->stage[stage];
    part_at part = {.stage = stage,
                    .mesh = "block",
                    .mm_per_unit = at->mm_per_unit,
                    .pose = rlv_pose_identity(),
                    .middle_mm = at->given.measures.surface_centroid_mm};
    if (c->history->joined)
        part.pose = history_pose(c->history, stage);
    if (stage == c->rejoin->stage || !c->history->joined)
        forget(&part.pose);
    else
    {
        const rlv_pose own = history_pose(c->history, c->rejoin->stage);
        add_covariance(&part.pose, &own);
    }
    return part;
}

static part_at piece_at(const history_piece* one, size_t stage, const rlv_pose* pose)
{
    return (part_at){stage, one->piece->id, one->mm_per_unit, *pose, one->given.measures.surface_centroid_mm};
}

// --- Bones -----------------------------------------------------------------------------------------------------------

/// The points of one element on one part: its outline, else its two ends, else whatever is numbered.
static rlv_status take_bone(run_side* side, const crossing* c, const part_at* part, const char* element)
{
    const rlv_specimen* s = c->history->specimen;
    size_t count = 0, numbered = 0, ends = 0;
    const size_t* index =
        rlv_specimen_points(s, c->history->stage[part->stage].record->id, part->mesh, element, &count);
    for (size_t i = 0; i < count; i++)
        numbered += rlv_specimen_point_number(&s->point[index[i]]) > 0;
    side->outline = numbered >= 3;
    if ((side->point = rlv_reserve(count, sizeof *side->point, c->error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_landmark mark = rlv_landmark_of(s->point[index[i]].point);
        ends += mark == RLV_LANDMARK_ANTERIOR || mark == RLV_LANDMARK_POSTERIOR;
    }
    for (size_t i = 0; i < count; i++)
    {
        const rlv_point_record* one = &s->point[index[i]];
        const size_t number = rlv_specimen_point_number(one);
        const rlv_landmark mark = rlv_landmark_of(one->point);
        if (side->outline ? number > 0 && number <= numbered
            : ends == 2   ? mark == RLV_LANDMARK_ANTERIOR || mark == RLV_LANDMARK_POSTERIOR
                          : number > 0)
            side->point[side->outline ? number - 1 : side->count] = sighting_point(one, part->mm_per_unit);
        else
            continue;
        side->count++;
    }
    return RLV_DONE;
}

// --- Rows ------------------------------------------------------------------------------------------------------------

static size_t points_on(const crossing* c, const part_at* part, const char* element)
{
    size_t count = 0;
    rlv_specimen_points(c->history->specimen, c->history->stage[part->stage].record->id, part->mesh, element, &count);
    return count;
}

/// Measure one element of a row on one part, and add its place.
static rlv_status add_element(run_side* side, const crossing* c, const part_at* part, const rlv_element_record* record)
{
    const sighting_place place = {.history = c->history,
                                  .stage = part->stage,
                                  .mesh = part->mesh,
                                  .mm_per_unit = part->mm_per_unit,
                                  .local_sd_mm = (double)NAN,
                                  .middle_mm = part->middle_mm};
    history_sighting sighting;
    bool seen = false;
    const rlv_status status = sighting_measure(&sighting, &seen, &place, record, c->answer, c->error);
    if (status != RLV_DONE || !seen)
        return status;
    const rlv_element* e = &sighting.element;
    const double* cov = e->position_cov_mm2;
    side->point[side->count] = (rlv_placed_point){rlv_vec3_of(e->position_mm[0], e->position_mm[1], e->position_mm[2]),
                                                  sqrt((cov[0] + cov[4] + cov[8]) / 3.0)};
    side->place[side->count++] = record->first_place;
    side->placed = side->placed && record->place_known && record->first_place == record->last_place;
    if ((e->known & RLV_ELEMENT_POLE) != 0)
        side->outward = rlv_vec3_add(side->outward, rlv_vec3_of(e->frame[2], e->frame[5], e->frame[8]));
    return RLV_DONE;
}

/// The elements of a row on one part; those that are broken over the joint are no row's.
static rlv_status take_row(run_side* side, const crossing* c, const part_at* part, const part_at* other,
                           const char* row)
{
    const rlv_specimen* s = c->history->specimen;
    rlv_status status = RLV_DONE;
    side->placed = true;
    if ((side->point = rlv_reserve(s->element_count, sizeof *side->point, c->error)) == NULL ||
        (side->place = rlv_reserve(s->element_count, sizeof *side->place, c->error)) == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < s->element_count && status == RLV_DONE; i++)
    {
        const rlv_element_record* one = &s->element[i];
        if (one->row == NULL || strcmp(one->row, row) != 0 || points_on(c, other, one->id) > 0 ||
            (points_on(c, part, one->id) == 0 && (one->part == NULL || strcmp(part->mesh, "block") != 0)))
            continue;
        status = add_element(side, c, part, one);
    }
    return status;
}

// --- One run ---------------------------------------------------------------------------------------------------------

typedef rlv_status take(run_side* side, const crossing* c, const part_at* part, const part_at* other, const char* name);

static rlv_status take_half(run_side* side, const crossing* c, const part_at* part, const part_at* other,
                            const char* name)
{
    (void)other;
    return take_bone(side, c, part, name);
}

/// The block's side of a run: at the joint's stage, or where that shows too little, at the stage that shows the most.
static rlv_status take_from_block(run_side* side, part_at* part, const crossing* c, take* how, const char* name,
                                  size_t least)
{
    const rlv_specimen* s = c->history->specimen;
    rlv_status status = how(side, c, part, &c->piece, name);
    if (strcmp(part->mesh, "block") != 0 || !c->history->joined)
        return status;
    const rlv_piece_record* piece = c->rejoin->told.record;
    const size_t off = piece->detached != NULL ? rlv_specimen_stage_number(s, piece->detached) : 0,
                 back = rlv_specimen_stage_number(s, piece->joined);
    for (size_t k = off; k < c->history->stage_count && k < back && status == RLV_DONE && side->count < least; k++)
    {
        run_side more = {0};
        const part_at at = block_at(c, k);
        if (k != c->rejoin->stage)
            status = how(&more, c, &at, &c->piece, name);
        if (status == RLV_DONE && more.count > side->count)
        {
            free_side(side);
            *side = more;
            *part = at;
            more = (run_side){0};
        }
        free_side(&more);
    }
    return status;
}

static void measure_run(rejoin_run* run, const crossing* c, const run_side side[2], const part_at* block)
{
    const rlv_rejoin* of = &c->rejoin->told.of;
    const bool placed = side[0].placed && side[1].placed;
    const part_at* const part[2] = {block, &c->piece};
    rlv_across_side given[2];
    rlv_vec3 outward = {0, 0, 0};
    for (int k = 0; k < 2; k++)
    {
        given[k] = (rlv_across_side){.count = side[k].count,
                                     .point = side[k].point,
                                     .pose = part[k]->pose,
                                     .outline = side[k].outline,
                                     .place = placed ? side[k].place : NULL};
        outward = rlv_vec3_add(outward, rlv_mat3_apply(part[k]->pose.rotation, side[k].outward));
    }
    // Where no element says it: away from the middle of the block.
    if (!(rlv_vec3_length(outward) > 0.0))
        outward = rlv_vec3_sub(of->joint_mm, rlv_pose_apply(&block->pose, block->middle_mm));
    const rlv_across_joint joint = {of->joint_mm, of->joint_normal, outward};
    rlv_error own = {0};
    const rlv_status status =
        run->row ? rlv_across_row(&run->of, given, &joint, &own) : rlv_across_bone(&run->of, given, &joint, &own);
    run->measured = status == RLV_DONE;
    run->stage = c->history->stage[block->stage].record->id;
    if (status != RLV_DONE)
        rlv_print(run->why, sizeof run->why, "%.300s; %.200s", own.what, own.mend);
}

/// Try what may run over the joint: it does where both parts have some of it.
static rlv_status add_run(const crossing* c, const part_at* at_joint, const char* name, bool row)
{
    rejoin_told* told = &c->rejoin->told;
    run_side side[2] = {{0}, {0}};
    part_at block = *at_joint;
    take* how = row ? take_row : take_half;
    const size_t least = row ? RLV_ACROSS_LEAST : 2;
    rlv_status status = how(&side[1], c, &c->piece, at_joint, name);
    if (status == RLV_DONE && side[1].count > 0)
        status = take_from_block(&side[0], &block, c, how, name, least);
    if (status == RLV_DONE && side[0].count > 0 && side[1].count > 0)
    {
        rejoin_run* run = &told->run[told->run_count++];
        *run = (rejoin_run){.name = name, .row = row};
        measure_run(run, c, side, &block);
    }
    free_side(&side[0]);
    free_side(&side[1]);
    return status;
}

rlv_status history_across_measure(history_rejoin* r, rlv_answer* answer, rlv_error* error)
{
    rejoin_told* told = &r->told;
    const rlv_specimen* s = told->specimen;
    crossing c = {.rejoin = r, .history = r->history, .answer = answer, .error = error};
    part_at block;
    const history_piece *own = history_rejoin_mesh_at(r, told->record), *parent = NULL;
    c.piece = piece_at(own, r->stage, &told->of.closed);
    if (rlv_specimen_is_aside(s, told->record, r->stage))
    {
        const rlv_pose in_place = rlv_pose_identity();
        parent = history_rejoin_mesh_at(r, rlv_specimen_piece(s, told->record->parent));
        block = piece_at(parent, r->stage, &in_place);
    }
    else
        block = block_at(&c, r->stage);
    if ((told->run = rlv_reserve(s->element_count + s->row_count, sizeof *told->run, error)) == NULL)
        return RLV_SYSTEM;
    told->runs_sought = true;
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < s->element_count && status == RLV_DONE; i++)
        status = add_run(&c, &block, s->element[i].id, false);
    for (size_t i = 0; i < s->row_count && status == RLV_DONE; i++)
        status = add_run(&c, &block, s->row[i].id, true);
    return status;
}
