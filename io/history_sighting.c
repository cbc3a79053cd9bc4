#include "history_sighting.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/// Of a vertex, where no alignment tells it: photogrammetry on the bench (from memory).
static const double USUAL_NOISE_MM = 0.15;

/// The points of an element on one mesh, sorted into an outline and landmarks.
typedef struct sorted_points
{
    size_t outline_count, mark_count, others;
    rlv_placed_point* outline;
    rlv_placed_point mark[RLV_LANDMARKS];
    bool has[RLV_LANDMARKS];
    const rlv_point_record* first; ///< in the file
    const rlv_point_record* other; ///< one that is neither
} sorted_points;

static rlv_status fail_at(const rlv_specimen* specimen, const char* file, size_t line, const rlv_element_record* record,
                          const char* stage, const rlv_error* own, rlv_error* error)
{
    char where[1024];
    snprintf(where, sizeof where, "%.900s/%s:%zu", specimen->folder, file, line);
    return rlv_fail(error, own->status, where, own->mend, "'%.100s' at '%.80s': %s", record->id, stage, own->what);
}

// --- points ----------------------------------------------------------------------------------------------------------

rlv_placed_point sighting_point(const rlv_point_record* point, double mm_per_unit)
{
    return (rlv_placed_point){.at_mm =
                                  rlv_vec3_scale(rlv_vec3_of(point->at[0], point->at[1], point->at[2]), mm_per_unit),
                              .sd_mm = point->sd_mm != NULL ? *point->sd_mm : (double)NAN};
}

/// An outline beside landmarks: its numbers run from 1 without a gap.
static rlv_status check_numbers(const sorted_points* p, const bool* there, const sighting_place* place,
                                const rlv_element_record* record, rlv_error* error)
{
    for (size_t i = 0; i < p->outline_count; i++)
        if (!there[i])
        {
            rlv_error own = {.status = RLV_BAD_INPUT};
            snprintf(own.what, sizeof own.what, "its outline has %zu points, and none is numbered %zu",
                     p->outline_count, i + 1);
            snprintf(own.mend, sizeof own.mend, "number an outline 1, 2, 3 to its end");
            return fail_at(place->history->specimen, "points.csv", p->first->line, record,
                           place->history->stage[place->stage].record->id, &own, error);
        }
    return RLV_DONE;
}

static rlv_status sort_points(sorted_points* p, const sighting_place* place, const rlv_element_record* record,
                              rlv_error* error)
{
    const rlv_specimen* s = place->history->specimen;
    size_t count = 0;
    const size_t* index =
        rlv_specimen_points(s, place->history->stage[place->stage].record->id, place->mesh, record->id, &count);
    p->outline = rlv_reserve(count, sizeof *p->outline, error);
    bool* there = rlv_reserve(count, sizeof *there, error);
    rlv_status status = p->outline != NULL && there != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        p->outline_count += rlv_specimen_point_number(&s->point[index[i]]) > 0;
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
    {
        const rlv_point_record* point = &s->point[index[i]];
        const size_t number = rlv_specimen_point_number(point);
        const rlv_landmark mark = rlv_landmark_of(point->point);
        p->first = p->first == NULL || point->line < p->first->line ? point : p->first;
        if (number > 0 && number <= p->outline_count)
        {
            p->outline[number - 1] = sighting_point(point, place->mm_per_unit);
            there[number - 1] = true;
        }
        else if (mark < RLV_LANDMARKS)
        {
            p->mark[mark] = sighting_point(point, place->mm_per_unit);
            p->has[mark] = true;
            p->mark_count++;
        }
        else if (number == 0)
        {
            p->other = point;
            p->others++;
        }
    }
    if (status == RLV_DONE)
        status = check_numbers(p, there, place, record, error);
    free(there);
    return status;
}

static bool has_outline(const sorted_points* p)
{
    return p->outline_count >= 3;
}

static bool is_enough(const sorted_points* p)
{
    const bool ends = p->has[RLV_LANDMARK_ANTERIOR] && p->has[RLV_LANDMARK_POSTERIOR];
    return has_outline(p) || ends || (p->has[RLV_LANDMARK_LEFT] && p->has[RLV_LANDMARK_RIGHT]);
}

// --- a part of the mesh ----------------------------------------------------------------------------------------------

/// The triangles of an object's name or of a colour as #rrggbb; free() them.
static rlv_status find_part(uint32_t** triangle, size_t* count, const rlv_mesh* mesh, const char* name,
                            rlv_error* error)
{
    int colour[3] = {0};
    rlv_faces faces = {.mesh = mesh, .object = name[0] != '#' ? name : NULL, .colour = colour};
    if (name[0] == '#')
        sscanf(name + 1, "%2x%2x%2x", (unsigned*)&colour[0], (unsigned*)&colour[1], (unsigned*)&colour[2]);
    *triangle = rlv_reserve(mesh->triangle_count, sizeof **triangle, error);
    if (*triangle == NULL)
        return RLV_SYSTEM;
    for (size_t t; rlv_faces_next(&faces, &t);)
        (*triangle)[(*count)++] = (uint32_t)t;
    return RLV_DONE;
}

/// The area of a part, and twice it along its mean normal.
static rlv_vec3 measure_part(double* area_mm2, const rlv_element_part* part)
{
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    *area_mm2 = 0.0;
    for (size_t i = 0; i < part->triangle_count; i++)
    {
        const rlv_vec3 twice = rlv_mesh_twice_area(part->mesh, part->triangle[i]);
        *area_mm2 += 0.5 * rlv_vec3_length(twice);
        sum = rlv_vec3_add(sum, twice);
    }
    return sum;
}

// --- one sighting ----------------------------------------------------------------------------------------------------

/// Why the points of an element tell no place, if it has any, and what would.
static void refuse_points(history_sighting* sighting, const sorted_points* p, const char* stage)
{
    const size_t count = p->outline_count + p->mark_count;
    if (count > 0)
        rlv_print(sighting->refused, sizeof sighting->refused,
                  "at %s %s tell%s no place; give an outline of three, or two opposite landmarks (anterior and "
                  "posterior, or left and right)",
                  stage, words_count(count, "point").text, count == 1 ? "s" : "");
}

static void warn_of_points(const history_sighting* sighting, const sorted_points* p, const sighting_place* place,
                           const rlv_element_record* record, bool part, rlv_answer* answer)
{
    const char* stage = place->history->stage[place->stage].record->id;
    if (p->others > 0)
        answer_warn(
            answer,
            "points.csv:%zu: '%s' of '%s' is no landmark of an element (anterior, posterior, left, right, apex, "
            "base), and is left out",
            p->other->line, p->other->point, record->id);
    if (sighting->refused[0] != '\0')
        answer_warn(answer, "%s %s", record->id, sighting->refused);
    if (p->outline_count > 0 && !has_outline(p) && (is_enough(p) || part))
        answer_warn(answer, "%s at %s: %s enclose%s nothing, and an outline is left out; number three or more round it",
                    record->id, stage, words_count(p->outline_count, "point").text, p->outline_count == 1 ? "s" : "");
}

/// Where it is, roughly: one of its points.
static rlv_vec3 some_place(const sorted_points* p)
{
    int k = 0;
    while (k + 1 < RLV_LANDMARKS && !p->has[k])
        k++;
    return p->outline_count > 0 ? p->outline[0].at_mm : p->mark[k].at_mm;
}

static rlv_status measure(history_sighting* sighting, const sighting_place* place, const rlv_element_record* record,
                          const sorted_points* p, const rlv_element_part* part, rlv_error* error)
{
    rlv_error own = {0};
    const char* stage = place->history->stage[place->stage].record->id;
    rlv_element_seen seen = {.outline_count = has_outline(p) ? p->outline_count : 0, .outline = p->outline};
    for (int k = 0; k < RLV_LANDMARKS; k++)
        seen.landmark[k] = p->has[k] ? &p->mark[k] : NULL;
    sighting->area_mm2 = sighting->area_sd_mm2 = (double)NAN;
    if (part->triangle_count > 0)
    {
        seen.part = has_outline(p) ? NULL : part;
        seen.outward = measure_part(&sighting->area_mm2, part);
        sighting->area_sd_mm2 = 2.0 * place->history->stage[place->stage].scale_sd * sighting->area_mm2;
    }
    else
        seen.outward = rlv_vec3_sub(some_place(p), place->middle_mm);
    sighting->by_part = seen.part != NULL;
    const rlv_status status = rlv_element_measure(&sighting->element, &seen, &own);
    if (status == RLV_DONE)
        return RLV_DONE;
    return seen.part != NULL
               ? fail_at(place->history->specimen, "elements.csv", record->line, record, stage, &own, error)
               : fail_at(place->history->specimen, "points.csv", p->first->line, record, stage, &own, error);
}

rlv_status sighting_measure(history_sighting* sighting, bool* seen, const sighting_place* place,
                            const rlv_element_record* record, rlv_answer* answer, rlv_error* error)
{
    const bool block = strcmp(place->mesh, "block") == 0;
    const rlv_mesh* mesh = &place->history->stage[place->stage].given.mesh;
    sorted_points p = {0};
    uint32_t* triangle = NULL;
    rlv_element_part part = {.mesh = mesh, .noise_length_mm = (double)NAN};
    part.noise_sd_mm = place->local_sd_mm > 0.0 ? place->local_sd_mm : USUAL_NOISE_MM;
    *sighting = (history_sighting){.stage = place->stage, .mesh = place->mesh};
    rlv_status status = sort_points(&p, place, record, error);
    if (status == RLV_DONE && block && record->part != NULL)
        status = find_part(&triangle, &part.triangle_count, mesh, record->part, error);
    part.triangle = triangle;
    *seen = is_enough(&p) || part.triangle_count > 0;
    if (status == RLV_DONE && !*seen)
        refuse_points(sighting, &p, place->history->stage[place->stage].record->id);
    if (status == RLV_DONE)
        warn_of_points(sighting, &p, place, record, part.triangle_count > 0, answer);
    if (status == RLV_DONE && *seen)
        status = measure(sighting, place, record, &p, &part, error);
    free(p.outline);
    free(triangle);
    return status;
}

const rlv_piece_record* sighting_piece(const sighting_place* place, const history_sighting* sighting)
{
    const rlv_specimen* s = place->history->specimen;
    if (strcmp(place->mesh, "block") != 0)
        return rlv_specimen_piece(s, place->mesh);
    const history_stage* stage = &place->history->stage[place->stage];
    const double* at = sighting->element.position_mm;
    if (stage->parts.piece == NULL)
        return NULL;
    const rlv_vec3 about = rlv_vec3_sub(rlv_vec3_of(at[0], at[1], at[2]), stage->given.mesh.origin_mm);
    const float local[3] = {(float)about.x, (float)about.y, (float)about.z};
    rlv_nearest nearest;
    rlv_tree_nearest(stage->tree, 1, local, INFINITY, &nearest);
    const uint32_t piece = nearest.triangle != RLV_TREE_NONE ? stage->parts.piece[nearest.triangle] : 0;
    return piece != 0 ? &s->piece[piece - 1] : NULL;
}
