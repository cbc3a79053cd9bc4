#include "history_elements.h"

#include "history_sighting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double IN_95 = 1.959964, DEG = M_PI / 180.0;

static const rlv_interval unknown = {(double)NAN, (double)NAN, (double)NAN};

static bool is_in_frame(const rlv_history* history, size_t stage)
{
    return history->joined || stage == history->frame;
}

// --- up, north, bedding ----------------------------------------------------------------------------------------------

/// A recorded direction in the block's frame. False where it is not known there.
static bool carry_direction(rlv_vec3* direction, const rlv_history* history, const rlv_direction_record* record)
{
    if (record == NULL || !is_in_frame(history, rlv_specimen_stage_number(history->specimen, record->stage)))
        return false;
    const rlv_pose pose = history_pose(history, rlv_specimen_stage_number(history->specimen, record->stage));
    *direction = rlv_vec3_unit(
        rlv_mat3_apply(pose.rotation, rlv_vec3_of(record->vector[0], record->vector[1], record->vector[2])));
    return true;
}

static void find_compass(history_elements* e, rlv_answer* answer)
{
    const rlv_specimen* s = e->history->specimen;
    rlv_vec3 north;
    e->up_known = carry_direction(&e->up, e->history, s->up);
    if (e->up_known && carry_direction(&north, e->history, s->north))
        e->compass_known = rlv_compass_of(&e->compass, e->up, north, NULL) == RLV_DONE;
    if (!e->compass_known)
        answer_warn(answer, "north and up are not known in the block’s frame: no trend and plunge");
}

static rlv_status fit_bedding(history_elements* e, const rlv_bedding_record* bedding, rlv_error* error)
{
    const rlv_history* history = e->history;
    const rlv_specimen* s = history->specimen;
    const size_t stage = rlv_specimen_stage_number(s, bedding->stage);
    size_t count = 0;
    const size_t* index = rlv_specimen_points(s, bedding->stage, "block", bedding->points, &count);
    rlv_placed_point* point = rlv_reserve(count, sizeof *point, error);
    if (point == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        point[i] = sighting_point(&s->point[index[i]], history->stage[stage].mm_per_unit);
    rlv_error own = {0};
    const rlv_status status = rlv_plane_fit(&e->bedding, count, point, &own);
    free(point);
    if (status == RLV_BAD_INPUT)
        return rlv_fail(error, status, "specimen.yaml: bedding.points", own.mend, "'%.100s': %s", bedding->points,
                        own.what);
    if (status != RLV_DONE)
        *error = own;
    e->bedding_known = status == RLV_DONE && is_in_frame(history, stage);
    return status;
}

/// Into the block's frame; a recorded sd stands in the place of the points' own.
static void carry_bedding(history_elements* e, const rlv_bedding_record* bedding)
{
    const rlv_pose pose = history_pose(e->history, rlv_specimen_stage_number(e->history->specimen, bedding->stage));
    const rlv_vec3 pole = rlv_mat3_apply(pose.rotation, e->bedding.pole);
    rlv_mat3 cov;
    memcpy(cov.m, e->bedding.cov_rad2, sizeof cov.m);
    cov = rlv_mat3_multiply(rlv_mat3_multiply(pose.rotation, cov), rlv_mat3_transpose(pose.rotation));
    if (bedding->sd_deg != NULL)
        e->bedding = rlv_plane_known(pole, *bedding->sd_deg);
    else
        memcpy(e->bedding.cov_rad2, cov.m, sizeof cov.m);
    e->bedding.pole = pole;
    for (int k = 0; k < 9; k++)
        e->bedding.cov_rad2[k] += pose.covariance[7 * (3 + k / 3) + 3 + k % 3];
}

static rlv_status find_bedding(history_elements* e, rlv_answer* answer, rlv_error* error)
{
    const rlv_bedding_record* bedding = e->history->specimen->bedding;
    if (bedding == NULL)
        return RLV_DONE;
    if (bedding->points != NULL)
    {
        const rlv_status status = fit_bedding(e, bedding, error);
        if (e->bedding_known)
            carry_bedding(e, bedding);
        return status;
    }
    e->bedding_known = e->compass_known;
    if (!e->bedding_known)
        return RLV_DONE;
    const rlv_strike strike = {*bedding->strike_deg, *bedding->dip_deg};
    e->bedding =
        rlv_plane_known(rlv_strike_pole(&e->compass, strike), bedding->sd_deg != NULL ? *bedding->sd_deg : 0.0);
    if (bedding->sd_deg == NULL)
        answer_warn(answer, "bedding has no sd_deg: angles to it are told as if it were exact");
    return RLV_DONE;
}

// --- what a place on a scan is off by --------------------------------------------------------------------------------

/// Share the mean square of each alignment's residuals out to its two stages: least squares, none below zero, one stage
/// after another, 500 times over.
static rlv_status find_local_sds(history_elements* e, rlv_answer* answer, rlv_error* error)
{
    const rlv_history* history = e->history;
    double* variance = rlv_reserve(history->stage_count, sizeof *variance, error);
    e->local_sd_mm = rlv_reserve(history->stage_count, sizeof *e->local_sd_mm, error);
    if (variance == NULL || e->local_sd_mm == NULL)
    {
        free(variance);
        return RLV_SYSTEM;
    }
    for (int sweep = 0; sweep < 500; sweep++)
        for (size_t k = 0; k < history->stage_count; k++)
        {
            double sum = 0.0, edges = 0.0;
            for (size_t i = 0; i < history->edge_count; i++)
            {
                const history_edge* edge = &history->edge[i];
                if (!edge->done || (edge->into != k && edge->from != k))
                    continue;
                const double square = pow(edge->alignment.rms_mm, 2.0);
                const double other = sweep == 0 ? 0.5 * square : variance[edge->into == k ? edge->from : edge->into];
                sum += square - other;
                edges += 1.0;
            }
            variance[k] = edges > 0.0 ? fmax(sum / edges, 0.0) : (double)NAN;
        }
    for (size_t k = 0; k < history->stage_count; k++)
        e->local_sd_mm[k] = sqrt(variance[k]);
    free(variance);
    if (isnan(e->local_sd_mm[history->frame]))
        answer_warn(answer,
                    "no alignment tells how noisy and warped the scan of %s is: intervals of places there hold "
                    "the points’ own sds and the scale alone",
                    history->stage[history->frame].record->id);
    return RLV_DONE;
}

// --- sightings -------------------------------------------------------------------------------------------------------

static rlv_status add_sighting(history_element* one, const sighting_place* place, rlv_answer* answer, rlv_error* error)
{
    history_sighting* next = &one->sighting[one->sighting_count];
    bool seen = false;
    rlv_status status = sighting_measure(next, &seen, place, one->record, answer, error);
    if (next->refused[0] != '\0')
        memcpy(one->refused, next->refused, sizeof one->refused);
    if (status != RLV_DONE || !seen)
        return status;
    if (one->piece == NULL)
        one->piece = sighting_piece(place, next);
    next->placed = strcmp(place->mesh, "block") == 0 && is_in_frame(place->history, place->stage);
    if (next->placed)
    {
        const rlv_pose pose = history_pose(place->history, place->stage);
        rlv_element_carry(&next->element, &pose, &next->of_pose);
        for (int k = 0; k < 9 && place->local_sd_mm > 0.0; k += 4)
            next->element.position_cov_mm2[k] += place->local_sd_mm * place->local_sd_mm;
    }
    one->sighting_count++;
    return RLV_DONE;
}

static rlv_vec3 middle_of(const history_stage* stage)
{
    return stage->given.measures.surface_centroid_mm;
}

static rlv_status see_on_block(history_elements* e, history_element* one, size_t k, rlv_answer* answer,
                               rlv_error* error)
{
    const sighting_place place = {.history = e->history,
                                  .stage = k,
                                  .mesh = "block",
                                  .mm_per_unit = e->history->stage[k].mm_per_unit,
                                  .local_sd_mm = e->local_sd_mm[k],
                                  .middle_mm = middle_of(&e->history->stage[k])};
    return add_sighting(one, &place, answer, error);
}

static rlv_status see_on_pieces(history_elements* e, history_element* one, const history_pieces* pieces, size_t k,
                                rlv_answer* answer, rlv_error* error)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0; i < pieces->count && status == RLV_DONE; i++)
    {
        const history_piece* piece = &pieces->one[i];
        if (rlv_specimen_stage_number(e->history->specimen, piece->at->stage) != k)
            continue;
        const sighting_place place = {.history = e->history,
                                      .stage = k,
                                      .mesh = piece->piece->id,
                                      .mm_per_unit = piece->mm_per_unit,
                                      .local_sd_mm = (double)NAN,
                                      .middle_mm = piece->given.measures.surface_centroid_mm};
        status = add_sighting(one, &place, answer, error);
    }
    return status;
}

static rlv_status check_part(const history_element* one, const rlv_specimen* specimen, rlv_error* error)
{
    char where[1024];
    bool found = one->record->part == NULL;
    for (size_t i = 0; i < one->sighting_count; i++)
        found |= !isnan(one->sighting[i].area_mm2);
    if (found)
        return RLV_DONE;
    snprintf(where, sizeof where, "%.900s/elements.csv:%zu", specimen->folder, one->record->line);
    return rlv_fail(error, RLV_BAD_INPUT, where,
                    "name an object as the mesh files do, or a colour that two vertices of a face have exactly; or "
                    "leave part empty and place points",
                    "no stage's mesh has the part '%.100s' of '%.100s'", one->record->part, one->record->id);
}

/// One warning of all outlines of an element that tell no attitude.
static void warn_of_slivers(const history_elements* e, const history_element* one, rlv_answer* answer)
{
    char stages[512] = "";
    size_t count = 0, put = 0;
    for (size_t i = 0; i < one->sighting_count; i++)
        if (one->sighting[i].element.sliver)
        {
            put += rlv_print(stages + put, sizeof stages - put, "%s%s", count > 0 ? ", " : "",
                             e->history->stage[one->sighting[i].stage].record->id);
            count++;
        }
    if (count > 0)
        answer_warn(
            answer,
            "%s at %s: its outline%s too little, for the sds of %s points, to tell how it is turned. It is told "
            "where it lies alone; place points on all sides of it, where more of it shows",
            one->record->id, stages, count > 1 ? "s enclose" : " encloses", count > 1 ? "their" : "its");
}

static rlv_status see(history_elements* e, history_element* one, const history_pieces* pieces, rlv_answer* answer,
                      rlv_error* error)
{
    const size_t stages = e->history->stage_count;
    one->sighting = rlv_reserve(stages + pieces->count, sizeof *one->sighting, error);
    rlv_status status = one->sighting != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t k = 0; k < stages && status == RLV_DONE; k++)
    {
        status = see_on_block(e, one, k, answer, error);
        if (status == RLV_DONE)
            status = see_on_pieces(e, one, pieces, k, answer, error);
    }
    if (status == RLV_DONE)
        warn_of_slivers(e, one, answer);
    return status == RLV_DONE ? check_part(one, e->history->specimen, error) : status;
}

// --- what is told ----------------------------------------------------------------------------------------------------

static rlv_vec3 axis_of(const rlv_element* element, int k)
{
    return rlv_vec3_of(element->frame[k], element->frame[3 + k], element->frame[6 + k]);
}

/// The sd of the angle by which small turns of an attitude move `axis` along the unit vector `way`.
static double turn_sd(const rlv_element* element, rlv_vec3 axis, rlv_vec3 way)
{
    const rlv_vec3 lever = rlv_vec3_cross(axis, way); // (w x axis) . way = w . (axis x way)
    const double l[3] = {lever.x, lever.y, lever.z};
    double variance = 0.0;
    for (int k = 0; k < 9; k++)
        variance += l[k / 3] * element->attitude_cov_rad2[k] * l[k % 3];
    return sqrt(fmax(variance, 0.0));
}

static rlv_interval about(double value, double sd)
{
    return (rlv_interval){value, value - IN_95 * sd, value + IN_95 * sd};
}

static void find_trend(history_element* one, const rlv_compass* compass)
{
    rlv_vec3 axis = axis_of(&one->told, 0);
    if ((one->told.known & RLV_ELEMENT_LONG) == 0)
        return;
    if ((one->told.known & RLV_ELEMENT_FRONT) == 0 && rlv_vec3_dot(axis, compass->up) > 0.0)
        axis = rlv_vec3_scale(axis, -1.0);
    const rlv_trend trend = rlv_trend_of(compass, axis);
    const double level = cos(DEG * trend.plunge_deg);
    const rlv_vec3 clockwise = rlv_trend_vector(compass, (rlv_trend){trend.trend_deg + 90.0, 0.0});
    const rlv_vec3 down = rlv_trend_vector(compass, (rlv_trend){trend.trend_deg, trend.plunge_deg + 90.0});
    one->trend_deg = about(trend.trend_deg, fmin(turn_sd(&one->told, axis, clockwise) / level / DEG, 180.0 / IN_95));
    one->plunge_deg = about(trend.plunge_deg, turn_sd(&one->told, axis, down) / DEG);
    one->plunge_deg.low = fmax(one->plunge_deg.low, -90.0);
    one->plunge_deg.high = fmin(one->plunge_deg.high, 90.0);
}

static void find_face(history_element* one, rlv_vec3 up)
{
    const rlv_vec3 pole = axis_of(&one->told, 2);
    if ((one->told.known & RLV_ELEMENT_FACE) == 0)
        return;
    const double rise = rlv_vec3_dot(pole, up);
    const rlv_vec3 way = rlv_vec3_unit(rlv_vec3_along(up, -rise, pole));
    const double least = sin(fmin(IN_95 * turn_sd(&one->told, pole, way), 0.5 * M_PI));
    one->face = fabs(rise) <= least ? HISTORY_FACE_ON_EDGE : rise > 0.0 ? HISTORY_FACE_UP : HISTORY_FACE_DOWN;
}

/// The scale of the frame moves a place about the block's middle, and stretches sizes.
static void add_scale(rlv_element* element, double scale_sd, rlv_vec3 middle)
{
    rlv_pose pose = rlv_pose_identity();
    pose.centre_mm = middle;
    pose.covariance[48] = scale_sd * scale_sd;
    rlv_element_carry(element, &pose, NULL);
}

static rlv_status fuse(history_element* one, rlv_error* error)
{
    size_t count = 0;
    rlv_element* element = rlv_reserve(one->sighting_count, sizeof *element, error);
    size_t* index = rlv_reserve(one->sighting_count, sizeof *index, error);
    bool* partial = rlv_reserve(one->sighting_count, sizeof *partial, error);
    rlv_element_errors* shared = rlv_reserve(one->sighting_count, sizeof *shared, error);
    const bool room = element != NULL && index != NULL && partial != NULL && shared != NULL;
    rlv_status status = room ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < one->sighting_count && status == RLV_DONE; i++)
        if (one->sighting[i].placed)
        {
            index[count] = i;
            shared[count] = one->sighting[i].of_pose;
            element[count++] = one->sighting[i].element;
        }
    one->placed = count > 0;
    if (status == RLV_DONE && count > 0)
        status = rlv_element_fuse(&one->fusion, partial, count, element, shared, error);
    for (size_t i = 0; i < count && status == RLV_DONE; i++)
        one->sighting[index[i]].partial = partial[i];
    if (status == RLV_DONE && one->fusion.disturbed)
    {
        one->disturbed_to = one->sighting[index[one->fusion.since]].stage;
        for (size_t i = 0; i < one->fusion.since; i++)
            one->disturbed_from = partial[i] ? one->disturbed_from : one->sighting[index[i]].stage;
    }
    free(element);
    free(index);
    free(partial);
    free(shared);
    return status;
}

static void warn_of(const history_elements* e, const history_element* one, rlv_answer* answer)
{
    const rlv_element_fusion* fusion = &one->fusion;
    if (fusion->disturbed)
        answer_warn(answer,
                    "%s was moved by the work between %s and %s: by %s mm (sd %s) and %s degrees (sd %s); "
                    "it is told as it lay before",
                    one->record->id, e->history->stage[one->disturbed_from].record->id,
                    e->history->stage[one->disturbed_to].record->id, words_figures(fusion->shift_mm, 2).text,
                    words_figures(fusion->shift_sd_mm, 1).text, words_figures(fusion->turn_deg, 2).text,
                    words_figures(fusion->turn_sd_deg, 1).text);
    if (one->told.contradicts)
        answer_warn(answer,
                    "%s: its apex says one face, its anterior and left the other: "
                    "look whether left and right were taken for each other",
                    one->record->id);
    if (one->sighting_count == 0 && one->bag == NULL)
        answer_warn(answer, "%s can be measured at no stage: it has no place", one->record->id);
}

static rlv_status settle(history_element* one, rlv_error* error)
{
    const rlv_status status = fuse(one, error);
    if (status != RLV_DONE)
        return status;
    if (one->placed)
        one->told = one->fusion.element;
    else if (one->sighting_count > 0)
        one->told = one->sighting[0].element;
    return RLV_DONE;
}

static bool is_alike(const history_element* a, const history_element* b)
{
    const char *kind[2] = {a->record->kind, b->record->kind}, *row[2] = {a->record->row, b->record->row};
    return a != b && b->placed && !b->told.sliver && row[0] != NULL && row[1] != NULL && strcmp(row[0], row[1]) == 0 &&
           (kind[0] == NULL ? kind[1] == NULL : kind[1] != NULL && strcmp(kind[0], kind[1]) == 0);
}

static double apart_mm(const history_element* a, const history_element* b)
{
    const double *p = a->told.position_mm, *q = b->told.position_mm;
    return rlv_vec3_length(rlv_vec3_of(p[0] - q[0], p[1] - q[1], p[2] - q[2]));
}

/// What is covered of an element, by the nearest of its kind and row.
static void find_covered(history_elements* e, history_element* one)
{
    const history_element* nearest[RLV_ELEMENT_ALIKE];
    const rlv_element* alike[RLV_ELEMENT_ALIKE];
    size_t count = 0;
    for (size_t i = 0; i < e->count && one->placed; i++)
    {
        const history_element* other = &e->one[i];
        if (!is_alike(one, other))
            continue;
        size_t k = count;
        for (; k > 0 && apart_mm(one, nearest[k - 1]) > apart_mm(one, other); k--)
            if (k < RLV_ELEMENT_ALIKE)
                nearest[k] = nearest[k - 1];
        if (k < RLV_ELEMENT_ALIKE)
            nearest[k] = other, count = count < RLV_ELEMENT_ALIKE ? count + 1 : RLV_ELEMENT_ALIKE;
    }
    for (size_t i = 0; i < count; i++)
        alike[i] = &nearest[i]->told;
    one->covered = rlv_element_covered_of(&one->told, count, alike);
}

/// Tell of an element what all others being measured leaves to tell.
static void tell_element(history_elements* e, history_element* one, rlv_answer* answer)
{
    const rlv_history* history = e->history;
    if (one->placed)
    {
        one->told = one->fusion.element;
        rlv_element_widen(&one->told, &one->covered);
        rlv_element_widen_in_row(&one->fusion.element, &one->covered);
        for (int k = 0; k < 9; k++)
            one->covered_cov_mm2[k] = one->told.position_cov_mm2[k] - one->fusion.element.position_cov_mm2[k];
        add_scale(&one->told, history->stage[history->frame].scale_sd, middle_of(&history->stage[history->frame]));
        one->bedding_deg = e->bedding_known ? rlv_element_angle_deg(&one->told, &e->bedding) : unknown;
        if (e->compass_known)
            find_trend(one, &e->compass);
        if (e->up_known)
            find_face(one, e->up);
    }
    warn_of(e, one, answer);
}

static void begin(history_element* one, const rlv_specimen* specimen, size_t i)
{
    one->record = &specimen->element[i];
    one->bag = rlv_specimen_bag(specimen, one->record->bag);
    one->trend_deg = one->plunge_deg = one->bedding_deg = unknown;
    one->told.length_mm = one->told.width_mm = one->told.thickness_mm = unknown;
}

/// Whether any element has points on a piece: only then are the pieces' meshes read.
static bool shows_on_pieces(const rlv_specimen* specimen)
{
    for (size_t i = 0; i < specimen->point_count; i++)
        for (size_t k = 0; k < specimen->element_count; k++)
            if (strcmp(specimen->point[i].mesh, "block") != 0 &&
                strcmp(specimen->point[i].object, specimen->element[k].id) == 0)
                return true;
    return false;
}

static rlv_status need_something(const history_elements* e, rlv_error* error)
{
    for (size_t i = 0; i < e->count; i++)
        if (e->one[i].sighting_count > 0)
            return RLV_DONE;
    return rlv_fail(error, RLV_IMPOSSIBLE, e->history->specimen->folder,
                    "place an outline or landmarks on the mesh of a stage, and write them in points.csv under its id",
                    "none of the %zu elements has points or a part of a mesh", e->count);
}

rlv_status history_elements_measure(history_elements* elements, const rlv_history* history, rlv_answer* answer,
                                    rlv_error* error)
{
    const rlv_specimen* s = history->specimen;
    history_pieces own = {0};
    elements->history = history;
    elements->one = rlv_reserve(s->element_count, sizeof *elements->one, error);
    rlv_status status = elements->one != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        find_compass(elements, answer);
        status = find_bedding(elements, answer, error);
    }
    if (status == RLV_DONE)
        status = find_local_sds(elements, answer, error);
    const history_pieces* pieces = &history->pieces;
    if (status == RLV_DONE && pieces->count == 0 && shows_on_pieces(s))
    {
        status = history_pieces_read(&own, s, answer, error);
        pieces = &own;
    }
    for (size_t i = 0; i < s->element_count && status == RLV_DONE; i++)
    {
        history_element* one = &elements->one[elements->count++];
        begin(one, s, i);
        status = see(elements, one, pieces, answer, error);
        if (status == RLV_DONE)
            status = settle(one, error);
    }
    for (size_t i = 0; i < elements->count && status == RLV_DONE; i++)
        find_covered(elements, &elements->one[i]);
    for (size_t i = 0; i < elements->count && status == RLV_DONE; i++)
        tell_element(elements, &elements->one[i], answer);
    history_pieces_free(&own);
    return status == RLV_DONE ? need_something(elements, error) : status;
}

void history_elements_free(history_elements* elements)
{
    for (size_t i = 0; i < elements->count; i++)
        free(elements->one[i].sighting);
    free(elements->one);
    free(elements->local_sd_mm);
    *elements = (history_elements){0};
}
