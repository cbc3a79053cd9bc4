#include "history_articulation.h"

#include "tree.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/// How far apart the two sides of an animal are in the count of their rows, one sd. From memory, no source.
static const double SIDES_APART = 1.5;

static const rlv_interval UNTOLD = {NAN, NAN, NAN};

// --- what is fitted --------------------------------------------------------------------------------------------------

static size_t row_number(const rlv_specimen* specimen, const char* id)
{
    const rlv_row_record* row = rlv_specimen_row(specimen, id);
    return row != NULL ? (size_t)(row - specimen->row) : SIZE_MAX;
}

static history_left_out first_reason(const history_element* one, size_t row)
{
    if (!one->placed)
        return one->bag != NULL ? HISTORY_SPOIL : HISTORY_NOT_PLACED;
    return row == SIZE_MAX ? HISTORY_NO_ROW : HISTORY_JUDGED;
}

static rlv_placed_element placed_element(const history_element* one, size_t row)
{
    const rlv_element_record* record = one->record;
    rlv_placed_element placed = {.element = one->fusion.element,
                                 .row = row,
                                 .place_low = record->place_known ? record->first_place : INT_MIN,
                                 .place_high = record->place_known ? record->last_place : INT_MAX};
    memcpy(placed.covered_cov_mm2, one->covered_cov_mm2, sizeof placed.covered_cov_mm2);
    return placed;
}

static rlv_status gather(history_articulation* a, rlv_error* error)
{
    const history_elements* e = a->elements;
    const rlv_specimen* specimen = e->history->specimen;
    a->row_count = specimen->row_count;
    a->given = rlv_reserve(e->count, sizeof *a->given, error);
    a->given_of = rlv_reserve(e->count, sizeof *a->given_of, error);
    a->element_of = rlv_reserve(e->count, sizeof *a->element_of, error);
    a->counted = rlv_reserve(e->count, sizeof *a->counted, error);
    a->why = rlv_reserve(e->count, sizeof *a->why, error);
    a->row = rlv_reserve(a->row_count, sizeof *a->row, error);
    a->row_known = rlv_reserve(a->row_count, sizeof *a->row_known, error);
    a->stray = rlv_reserve(e->count, sizeof *a->stray, error);
    if (a->given == NULL || a->given_of == NULL || a->element_of == NULL || a->counted == NULL || a->why == NULL ||
        a->row == NULL || a->row_known == NULL || a->stray == NULL)
        return RLV_SYSTEM;
    for (size_t r = 0; r < a->row_count; r++)
        a->row[r] = (rlv_articulation_row){specimen->row[r].first_place, specimen->row[r].last_place};
    for (size_t i = 0; i < e->count; i++)
    {
        const history_element* one = &e->one[i];
        const size_t row = row_number(specimen, one->record->row);
        a->given_of[i] = SIZE_MAX;
        a->why[i] = first_reason(one, row);
        if (a->why[i] != HISTORY_JUDGED)
            continue;
        a->given_of[i] = a->given_count;
        a->given[a->given_count] = placed_element(one, row);
        a->element_of[a->given_count++] = i;
    }
    return RLV_DONE;
}

// --- places that nobody counted --------------------------------------------------------------------------------------

static bool has_place(const rlv_placed_element* given)
{
    return given->place_low == given->place_high;
}

static rlv_row_element row_element(const rlv_placed_element* given)
{
    const rlv_element* e = &given->element;
    const double* at = e->position_mm;
    return (rlv_row_element){
        .at_mm = {at[0], at[1], at[2]},
        .variance_mm2 = (e->position_cov_mm2[0] + e->position_cov_mm2[4] + e->position_cov_mm2[8]) / 3.0,
        .anterior =
            (e->known & RLV_ELEMENT_FRONT) != 0 ? rlv_vec3_of(e->frame[0], e->frame[3], e->frame[6]) : (rlv_vec3){0},
        .low = given->place_low,
        .high = given->place_high,
        .expected = NAN};
}

static rlv_row_spacing spacing_of(const rlv_row_record* row)
{
    return (rlv_row_spacing){.first = row->first_place,
                             .last = row->last_place,
                             .pitch_mm = row->pitch_mm != NULL ? *row->pitch_mm : (double)NAN,
                             .pitch_sd_mm = row->pitch_sd_mm != NULL ? *row->pitch_sd_mm : (double)NAN,
                             .taper = row->taper != NULL ? *row->taper : (double)NAN};
}

/// The row of the other side: of the same kind, left where this is right.
static size_t other_side(const rlv_specimen* specimen, size_t row)
{
    const rlv_row_record* own = &specimen->row[row];
    for (size_t r = 0; r < specimen->row_count; r++)
    {
        const rlv_row_record* other = &specimen->row[r];
        const bool sides = strcmp(own->side, "median") != 0 && strcmp(other->side, "median") != 0;
        if (sides && strcmp(own->side, other->side) != 0 && own->kind != NULL && other->kind != NULL &&
            strcmp(own->kind, other->kind) == 0)
            return r;
    }
    return SIZE_MAX;
}

/// A place of a row that a point lies beside, and how far off: between two neighbours that have a place.
typedef struct beside
{
    double place, off_mm;
} beside;

static beside beside_row(const history_articulation* a, size_t row, rlv_vec3 at)
{
    beside nearest = {NAN, INFINITY};
    for (size_t i = 0; i < a->given_count; i++)
    {
        size_t next = SIZE_MAX;
        if (a->given[i].row != row || !has_place(&a->given[i]))
            continue;
        for (size_t k = 0; k < a->given_count; k++)
            if (a->given[k].row == row && has_place(&a->given[k]) && a->given[k].place_low > a->given[i].place_low &&
                (next == SIZE_MAX || a->given[k].place_low < a->given[next].place_low))
                next = k;
        if (next == SIZE_MAX)
            continue;
        const rlv_vec3 from = row_element(&a->given[i]).at_mm;
        const rlv_vec3 step = rlv_vec3_sub(row_element(&a->given[next]).at_mm, from);
        const double share = rlv_vec3_dot(rlv_vec3_sub(at, from), step) / rlv_vec3_dot(step, step);
        const double off = rlv_vec3_length(rlv_vec3_sub(at, rlv_vec3_along(from, share, step)));
        if (share >= 0.0 && share <= 1.0 && off < nearest.off_mm)
            nearest = (beside){a->given[i].place_low + share * (a->given[next].place_low - a->given[i].place_low), off};
    }
    return nearest;
}

/// Expect of the element that lies nearest to the row of the other side the place beside it.
static void expect_one(const history_articulation* a, size_t row, size_t count, rlv_row_element* element)
{
    const rlv_specimen* specimen = a->elements->history->specimen;
    const size_t other = other_side(specimen, row);
    beside nearest = {NAN, INFINITY};
    size_t which = 0;
    for (size_t i = 0; i < count && other != SIZE_MAX; i++)
    {
        const beside here = beside_row(a, other, element[i].at_mm);
        if (here.off_mm < nearest.off_mm)
        {
            nearest = here;
            which = i;
        }
    }
    if (isnan(nearest.place))
        return;
    // Sides are counted alike from the head: they may end apart.
    element[which].expected = nearest.place + specimen->row[row].first_place - specimen->row[other].first_place;
    element[which].expected_sd = SIDES_APART;
}

/// Count one row, `of` having room for all that is given. What cannot be counted stays open, and is a warning.
static rlv_status count_row(history_articulation* a, size_t row, size_t* of, rlv_row_element* element,
                            rlv_counted* counted, rlv_answer* answer, rlv_error* error)
{
    const rlv_row_record* record = &a->elements->history->specimen->row[row];
    const rlv_row_spacing spacing = spacing_of(record);
    size_t count = 0, open = 0;
    for (size_t i = 0; i < a->given_count; i++)
        if (a->given[i].row == row)
        {
            open += !has_place(&a->given[i]);
            element[count] = row_element(&a->given[i]);
            of[count++] = i;
        }
    if (open == 0 || count < RLV_ARTICULATION_LEAST)
        return RLV_DONE;
    if (open == count)
        expect_one(a, row, count, element);
    rlv_error own = {0};
    const rlv_status status = rlv_places_count(counted, count, element, &spacing, &own);
    if (status == RLV_IMPOSSIBLE)
        answer_warn(answer, "row %s could not be counted: %s; %s", record->id, own.what, own.mend);
    for (size_t k = 0; k < count && status == RLV_DONE; k++)
    {
        rlv_placed_element* given = &a->given[of[k]];
        a->counted[of[k]] = counted[k];
        if (counted[k].in_row)
            given->place_low = given->place_high = counted[k].place;
    }
    if (status == RLV_SYSTEM)
        *error = own;
    return status == RLV_SYSTEM ? status : RLV_DONE;
}

static rlv_status count_rows(history_articulation* a, rlv_answer* answer, rlv_error* error)
{
    const rlv_specimen* specimen = a->elements->history->specimen;
    size_t* of = rlv_reserve(a->given_count, sizeof *of, error);
    rlv_row_element* element = rlv_reserve(a->given_count, sizeof *element, error);
    rlv_counted* counted = rlv_reserve(a->given_count, sizeof *counted, error);
    bool* has_anchor = rlv_reserve(a->row_count, sizeof *has_anchor, error);
    rlv_status status = of != NULL && element != NULL && counted != NULL && has_anchor != NULL ? RLV_DONE : RLV_SYSTEM;
    for (size_t i = 0; i < a->given_count && status == RLV_DONE; i++)
    {
        a->counted[i].place = INT_MIN;
        has_anchor[a->given[i].row] |= has_place(&a->given[i]);
    }
    // A row with a known place first: it tells of the one on the other side.
    for (size_t r = 0; r < 2 * a->row_count && status == RLV_DONE; r++)
        if (!specimen->row[r % a->row_count].places_known && has_anchor[r % a->row_count] == (r < a->row_count))
            status = count_row(a, r % a->row_count, of, element, counted, answer, error);
    for (size_t i = 0; i < a->given_count; i++)
        a->row_known[a->given[i].row] += has_place(&a->given[i]);
    free(of);
    free(element);
    free(counted);
    free(has_anchor);
    return status;
}

const rlv_articulated* history_told(const history_articulation* a, size_t element)
{
    return a->fitted && a->given_of[element] != SIZE_MAX ? &a->fit.element[a->given_of[element]] : NULL;
}

rlv_articulation_state history_state(const history_articulation* a, size_t element)
{
    const rlv_articulated* told = history_told(a, element);
    return told != NULL ? told->state : RLV_UNASSIGNED;
}

/// Say of what the fit left out why.
static void find_reasons(history_articulation* a)
{
    static const history_left_out reason[] = {[RLV_TOLD] = HISTORY_JUDGED,
                                              [RLV_ROW_UNUSED] = HISTORY_ROW_UNUSED,
                                              [RLV_WITHOUT_PLACE] = HISTORY_NO_PLACE,
                                              [RLV_OFF_ROW] = HISTORY_OFF_ROW,
                                              [RLV_NOTHING_TELLS] = HISTORY_NOTHING_TELLS};
    for (size_t i = 0; i < a->elements->count; i++)
        if (a->why[i] == HISTORY_JUDGED)
            a->why[i] = a->fitted ? reason[a->fit.element[a->given_of[i]].why] : HISTORY_ROW_UNUSED;
}

// --- where unfilled life positions lie -------------------------------------------------------------------------------

/// A stage's block, to be asked about places of the block's frame.
typedef struct stage_rock
{
    size_t stage;
    const rlv_mesh* mesh;
    const rlv_tree* tree;
    rlv_pose out_of_frame; ///< from the block's frame into the stage's own
} stage_rock;

static stage_rock rock_at(const rlv_history* history, size_t stage)
{
    const rlv_pose pose = history_pose(history, stage);
    return (stage_rock){stage, &history->stage[stage].given.mesh, history->stage[stage].tree, rlv_pose_inverse(&pose)};
}

static void local_place(float local[3], const stage_rock* rock, rlv_vec3 place)
{
    const rlv_vec3 own = rlv_pose_apply(&rock->out_of_frame, place);
    const rlv_vec3 about = rlv_vec3_sub(own, rock->mesh->origin_mm);
    local[0] = (float)about.x;
    local[1] = (float)about.y;
    local[2] = (float)about.z;
}

/// The directions to the faces, edges and corners of a cube, each turned a little: along an axis a ray may run in the
/// plane of a cut face.
static rlv_vec3 ray_way(int k)
{
    static const double turn[3] = {0.31, 0.47, 0.23};
    const int cell = k < 13 ? k : k + 1; // of 27, without the middle
    const rlv_mat3 turned = rlv_rotation_from_vector(rlv_vec3_of(turn[0], turn[1], turn[2]));
    return rlv_mat3_apply(turned, rlv_vec3_unit(rlv_vec3_of(cell % 3 - 1, cell / 3 % 3 - 1, cell / 9 - 1)));
}

static bool is_inside(const stage_rock* rock, rlv_vec3 place)
{
    enum
    {
        RAYS = 26,
    };
    float local[3];
    rlv_ray ray[RAYS];
    rlv_hit hit[RAYS];
    local_place(local, rock, place);
    for (int k = 0; k < RAYS; k++)
    {
        const rlv_vec3 way = ray_way(k);
        ray[k] = (rlv_ray){{local[0], local[1], local[2]}, {(float)way.x, (float)way.y, (float)way.z}, INFINITY};
    }
    rlv_tree_rays(rock->tree, RAYS, ray, hit);
    int within = 0;
    for (int k = 0; k < RAYS; k++)
        if (hit[k].triangle != RLV_TREE_NONE)
            within += rlv_vec3_dot(ray_way(k), rlv_mesh_twice_area(rock->mesh, hit[k].triangle)) > 0.0 ? 1 : -1;
    return within > 0;
}

/// A place of the block's frame, and how sure it is.
typedef struct placed
{
    rlv_vec3 at_mm;
    const double* covariance_mm2;
    double freedom;
} placed;

/// How deep a place lies below a stage's surface; `*way`: straight in; `*at_bone`: its nearest place there is bone.
static rlv_interval find_depth(rlv_vec3* way, bool* at_bone, const history_articulation* a, placed place,
                               const stage_rock* rock, bool inside)
{
    const history_elements* e = a->elements;
    const rlv_pose pose = history_pose(e->history, rock->stage);
    float local[3];
    rlv_nearest nearest;
    double of_pose[9];
    local_place(local, rock, place.at_mm);
    rlv_tree_nearest(rock->tree, 1, local, INFINITY, &nearest);
    *way = rlv_vec3_of(0.0, 0.0, 0.0);
    if (nearest.triangle == RLV_TREE_NONE)
        return UNTOLD; // it lies nowhere
    const uint8_t* is = e->history->stage[rock->stage].parts.is;
    *at_bone = is != NULL && (is[nearest.triangle] & RLV_IS_BONE) != 0;
    rlv_vec3 in = rlv_vec3_sub(rlv_vec3_from(local), rlv_vec3_from(nearest.point_mm));
    in = rlv_vec3_scale(rlv_vec3_unit(in), inside ? 1.0 : -1.0);
    if (!(rlv_vec3_length(in) > 0.5))
        in = rlv_vec3_scale(rlv_vec3_unit(rlv_mesh_twice_area(rock->mesh, nearest.triangle)), -1.0);
    *way = rlv_mat3_apply(pose.rotation, in);
    rlv_pose_covariance_at(&pose, place.at_mm, of_pose);
    const double local_sd = isnan(e->local_sd_mm[rock->stage]) ? 0.0 : e->local_sd_mm[rock->stage];
    const double depth = (inside ? 1.0 : -1.0) * nearest.distance_mm;
    const double sd =
        sqrt(rlv_variance_along(place.covariance_mm2, *way) + rlv_variance_along(of_pose, *way) + local_sd * local_sd);
    const double half = sd * gsl_cdf_tdist_Pinv(0.975, place.freedom);
    return (rlv_interval){depth, depth - half, depth + half};
}

history_where history_where_of(rlv_interval depth_mm, bool inside)
{
    const double half = (depth_mm.high - depth_mm.low) / 2.0;
    if (!(depth_mm.low < 0.0 && depth_mm.high > 0.0))
        return inside ? HISTORY_IN_ROCK : HISTORY_NOT_COLLECTED;
    return depth_mm.value >= half / 2.0    ? HISTORY_PROBABLY_IN_ROCK
           : depth_mm.value <= -half / 2.0 ? HISTORY_AT_OR_ABOVE
                                           : HISTORY_AT_SURFACE;
}

bool history_may_hold_bone(history_where where)
{
    return where == HISTORY_IN_ROCK || where == HISTORY_PROBABLY_IN_ROCK || where == HISTORY_AT_SURFACE ||
           where == HISTORY_AT_OR_ABOVE;
}

/// Whether the record has a piece come off at a stage.
static bool piece_comes_off(const rlv_specimen* specimen, size_t stage)
{
    for (size_t i = 0; i < specimen->piece_count; i++)
        if (rlv_specimen_stage_number(specimen, specimen->piece[i].detached) == stage)
            return true;
    return false;
}

/// Where today's block does not hold it: the last stage whose block did, one stage at a time.
static void find_taken(history_articulation* a)
{
    const rlv_history* history = a->elements->history;
    size_t open = 0;
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        open += a->unfilled[i].where == HISTORY_NOT_COLLECTED;
    for (size_t k = history->stage_count - 1; k-- > 0 && open > 0;)
    {
        const stage_rock rock = rock_at(history, k);
        for (size_t i = 0; i < a->fit.unfilled_count; i++)
            if (a->unfilled[i].where == HISTORY_NOT_COLLECTED && is_inside(&rock, a->fit.unfilled[i].position_mm))
            {
                a->unfilled[i].where = HISTORY_TAKEN;
                a->unfilled[i].stage = k + 1;
                a->unfilled[i].taken_with_piece = piece_comes_off(history->specimen, k + 1);
                open--;
            }
    }
}

static rlv_status find_unfilled(history_articulation* a, rlv_error* error)
{
    const rlv_history* history = a->elements->history;
    a->unfilled = rlv_reserve(a->fit.unfilled_count, sizeof *a->unfilled, error);
    if (a->unfilled == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        a->unfilled[i].depth_mm = UNTOLD;
    if (a->fit.unfilled_count == 0 || (!history->joined && history->frame + 1 != history->stage_count))
        return RLV_DONE;
    const stage_rock rock = rock_at(history, history->stage_count - 1);
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
    {
        const rlv_unfilled* life = &a->fit.unfilled[i];
        history_unfilled* u = &a->unfilled[i];
        const bool inside = is_inside(&rock, life->position_mm);
        const placed place = {life->position_mm, life->covariance_mm2,
                              fmin(a->fit.freedom_along, a->fit.freedom_across)};
        u->depth_mm = find_depth(&u->way, &u->at_bone, a, place, &rock, inside);
        u->where = history_where_of(u->depth_mm, inside);
    }
    if (history->joined)
        find_taken(a);
    return RLV_DONE;
}

// --- where the body goes on ------------------------------------------------------------------------------------------

/// Trend and plunge of the axis at a station.
static void find_trend(history_ahead* told, const history_articulation* a, const rlv_body_station* station)
{
    told->trend_deg = told->plunge_deg = UNTOLD;
    if (!a->elements->compass_known)
        return;
    const rlv_trend trend = rlv_trend_of(&a->elements->compass, station->along);
    const double half = station->turn_sd_deg * gsl_cdf_tdist_Pinv(0.975, a->fit.ahead.freedom),
                 // A trend turns the faster, the steeper the axis plunges; beyond half a circle it may be any.
        wide = fmin(half / fmax(cos(trend.plunge_deg * M_PI / 180.0), 1e-3), 180.0);
    told->trend_deg = (rlv_interval){trend.trend_deg, trend.trend_deg - wide, trend.trend_deg + wide};
    told->plunge_deg =
        (rlv_interval){trend.plunge_deg, fmax(trend.plunge_deg - half, -90.0), fmin(trend.plunge_deg + half, 90.0)};
}

/// Depth and direction at each station, until one lies beyond the block.
static void find_ahead(history_articulation* a)
{
    const rlv_history* history = a->elements->history;
    const bool known = history->joined || history->frame + 1 == history->stage_count;
    for (size_t i = 0; i < a->fit.ahead.count; i++)
    {
        const rlv_body_station* station = &a->fit.ahead.station[i];
        history_ahead* told = &a->ahead[a->ahead_count++];
        *told = (history_ahead){.depth_mm = UNTOLD};
        find_trend(told, a, station);
        if (!known)
            continue;
        const stage_rock rock = rock_at(history, history->stage_count - 1);
        const double square = station->across_sd_mm * station->across_sd_mm,
                     covariance[9] = {square, 0, 0, 0, square, 0, 0, 0, square};
        const bool inside = is_inside(&rock, station->at_mm);
        rlv_vec3 way;
        bool at_bone;
        told->depth_mm =
            find_depth(&way, &at_bone, a, (placed){station->at_mm, covariance, a->fit.ahead.freedom}, &rock, inside);
        told->where = history_where_of(told->depth_mm, inside);
        if (told->where == HISTORY_NOT_COLLECTED)
            return;
    }
}

// --- which way they went ---------------------------------------------------------------------------------------------

static rlv_status find_disturbance(history_articulation* a, rlv_error* error)
{
    const history_elements* e = a->elements;
    rlv_vec3 up = e->up_known ? e->up : (rlv_vec3){0};
    a->level_of_bedding = e->up_known && e->bedding_known;
    if (a->level_of_bedding)
        up = rlv_vec3_scale(e->bedding.pole, rlv_vec3_dot(e->bedding.pole, e->up) < 0.0 ? -1.0 : 1.0);
    a->level_up = up;
    const rlv_vec3 north = e->compass_known ? e->compass.north : (rlv_vec3){0};
    return rlv_disturbance_of(&a->disturbance, &a->fit, a->given, up, north, error);
}

// --- what is loose ---------------------------------------------------------------------------------------------------

/// Whether an element belongs to a row that was used, by the record.
static bool is_of_used_row(const history_articulation* a, size_t element)
{
    const size_t row = row_number(a->elements->history->specimen, a->elements->one[element].record->row);
    return row != SIZE_MAX && a->fit.row[row].used;
}

static bool is_loose(const history_articulation* a, size_t element)
{
    const history_left_out why = a->why[element];
    return why == HISTORY_SPOIL || ((why == HISTORY_OFF_ROW || why == HISTORY_NO_PLACE || why == HISTORY_NOT_PLACED) &&
                                    is_of_used_row(a, element));
}

/// What lies loose in the rock: where. Its size is not held against that of its row, of which less may show.
static void tell_in_rock(rlv_stray* stray, const history_articulation* a, size_t element)
{
    const history_element* one = &a->elements->one[element];
    const rlv_element* e = &one->fusion.element;
    stray->length_mm = stray->width_mm = UNTOLD;
    if (!one->placed)
        return;
    stray->centre_mm = rlv_vec3_of(e->position_mm[0], e->position_mm[1], e->position_mm[2]);
    for (int k = 0; k < 9; k++)
        stray->covariance_mm2[k] = e->position_cov_mm2[k] + one->covered_cov_mm2[k];
    stray->located = true;
    stray->moved = a->why[element] == HISTORY_OFF_ROW;
}

/// Whether an element may belong to a row: the one recorded, else those of its kind and its side.
static bool may_belong(const rlv_element_record* element, const rlv_row_record* row)
{
    if (element->row != NULL)
        return strcmp(element->row, row->id) == 0;
    return (element->kind == NULL || row->kind == NULL || strcmp(element->kind, row->kind) == 0) &&
           (element->side == NULL || row->side == NULL || strcmp(element->side, row->side) == 0);
}

/// The part of the rock that a bag came from: the outline of its area, as points of the stage before.
static void locate_bag(rlv_stray* stray, const history_elements* e, const rlv_spoil_record* bag)
{
    const rlv_history* history = e->history;
    const rlv_specimen* specimen = history->specimen;
    const size_t at = rlv_specimen_stage_number(specimen, bag->stage);
    size_t count = 0;
    if (bag->area == NULL || at == 0 || at == SIZE_MAX || (!history->joined && at - 1 != history->frame))
        return;
    const size_t* index = rlv_specimen_points(specimen, specimen->stage[at - 1].id, "block", bag->area, &count);
    const rlv_pose pose = history_pose(history, at - 1);
    if (count < 3)
        return;
    for (int round = 0; round < 2; round++)
        for (size_t i = 0; i < count; i++)
        {
            const double* p = specimen->point[index[i]].at;
            const double unit = history->stage[at - 1].mm_per_unit, share = 1.0 / (double)count;
            const rlv_vec3 place = rlv_pose_apply(&pose, rlv_vec3_of(unit * p[0], unit * p[1], unit * p[2]));
            const rlv_vec3 off = rlv_vec3_sub(place, stray->centre_mm);
            const double d[3] = {off.x, off.y, off.z};
            if (round == 0)
                stray->centre_mm = rlv_vec3_along(stray->centre_mm, share, place);
            for (int k = 0; k < 9 && round == 1; k++)
                stray->covariance_mm2[k] += 0.5 * share * d[k / 3] * d[k % 3];
        }
    stray->located = true;
}

/// What is known of each loose element.
static void tell_strays(const history_articulation* a, rlv_stray* stray, bool* may)
{
    const history_elements* e = a->elements;
    const rlv_specimen* specimen = e->history->specimen;
    for (size_t i = 0; i < a->stray_count; i++)
    {
        const history_element* one = &e->one[a->stray[i].element];
        const rlv_element_record* record = one->record;
        for (size_t r = 0; r < a->row_count; r++)
            may[i * a->row_count + r] = may_belong(record, &specimen->row[r]);
        stray[i] = (rlv_stray){.row = may + i * a->row_count,
                               .place_low = record->place_known ? record->first_place : INT_MIN,
                               .place_high = record->place_known ? record->last_place : INT_MAX,
                               .length_mm = one->sighting_count > 0 ? one->told.length_mm : UNTOLD,
                               .width_mm = one->sighting_count > 0 ? one->told.width_mm : UNTOLD};
        if (a->why[a->stray[i].element] == HISTORY_SPOIL)
            locate_bag(&stray[i], e, one->bag);
        else
            tell_in_rock(&stray[i], a, a->stray[i].element);
    }
}

/// The motions that have a direction in the level, of elements and of stretches; with room for as many as there are.
static rlv_told_motions told_motions(const history_articulation* a, rlv_vec3* motion_mm, double* azimuth_sd_rad)
{
    rlv_told_motions told = {.up = a->level_up, .motion_mm = motion_mm, .azimuth_sd_rad = azimuth_sd_rad};
    for (size_t i = 0; i < a->disturbance.motion_count; i++)
    {
        const rlv_disturbance_motion* m = &a->disturbance.motion[i];
        if (!(m->trust > 0.0))
            continue;
        motion_mm[told.count] = m->motion_mm;
        azimuth_sd_rad[told.count++] = m->direction_sd_deg * M_PI / 180.0;
    }
    return told;
}

static rlv_status find_candidates(history_articulation* a, rlv_error* error)
{
    for (size_t i = 0; i < a->elements->count; i++)
        if (is_loose(a, i))
            a->stray[a->stray_count++].element = i;
    const size_t motions = a->disturbance.motion_count;
    rlv_stray* stray = rlv_reserve(a->stray_count, sizeof *stray, error);
    bool* may = rlv_reserve(a->stray_count * a->row_count, sizeof *may, error);
    rlv_candidates* found = rlv_reserve(a->stray_count, sizeof *found, error);
    rlv_vec3* motion_mm = rlv_reserve(motions, sizeof *motion_mm, error);
    double* azimuth_sd_rad = rlv_reserve(motions, sizeof *azimuth_sd_rad, error);
    const bool room = stray != NULL && may != NULL && found != NULL && motion_mm != NULL && azimuth_sd_rad != NULL;
    rlv_status status = room ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        const rlv_told_motions told = told_motions(a, motion_mm, azimuth_sd_rad);
        tell_strays(a, stray, may);
        status = rlv_articulation_candidates(found, &a->carried, &a->fit, a->given_count, a->given, a->stray_count,
                                             stray, &told, error);
        for (size_t i = 0; i < a->stray_count; i++)
            a->stray[i].candidates = found[i];
    }
    free(stray);
    free(may);
    free(found);
    free(motion_mm);
    free(azimuth_sd_rad);
    return status;
}

double history_unclaimed(const history_articulation* a, size_t unfilled)
{
    double claimed = 0.0;
    for (size_t i = 0; i < a->stray_count; i++)
        for (size_t k = 0; k < a->stray[i].candidates.count; k++)
            if (a->stray[i].candidates.candidate[k].unfilled == unfilled)
                claimed += a->stray[i].candidates.candidate[k].probability;
    return fmax(1.0 - claimed, 0.0);
}

history_open history_open_of(const history_articulation* a, size_t row)
{
    history_open open = {0};
    for (size_t i = 0; i < a->fit.unfilled_count; i++)
        if (a->fit.unfilled[i].row == row)
            *(a->fit.unfilled[i].corridor ? &open.beyond : &open.free) += 1;
    for (size_t i = 0; i < a->stray_count; i++)
        open.loose +=
            row_number(a->elements->history->specimen, a->elements->one[a->stray[i].element].record->row) == row;
    return open;
}

// --- the fit ---------------------------------------------------------------------------------------------------------

/// Fit the order, with the life positions of comparative specimens that the record has.
static rlv_status fit(history_articulation* a, rlv_error* error)
{
    const rlv_specimen* specimen = a->elements->history->specimen;
    const size_t count = specimen->compared_count;
    rlv_compared_place* place = rlv_reserve(count, sizeof *place, error);
    if (place == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        const rlv_compared_record* of = &specimen->compared[i];
        place[i] =
            (rlv_compared_place){of->file, of->row, of->place, {of->at_mm[0], of->at_mm[1], of->at_mm[2]}, of->sd_mm};
    }
    const rlv_status status =
        rlv_articulation_fit_compared(&a->fit, a->given_count, a->given, a->row_count, a->row, count, place, error);
    free(place);
    return status;
}

// --- all of it -------------------------------------------------------------------------------------------------------

static void warn(const history_articulation* a, rlv_answer* answer)
{
    const rlv_specimen* specimen = a->elements->history->specimen;
    for (size_t r = 0; r < a->row_count; r++)
        if (!a->fit.row[r].used)
            answer_warn(answer, "row %s is left out: it has %s with a known place, and %d are needed",
                        specimen->row[r].id, words_count(a->row_known[r], "element").text,
                        specimen->row[r].life_positions != NULL && !(a->fit.row[r].compared_p < 1.0)
                            ? RLV_COMPARED_LEAST
                            : RLV_ARTICULATION_LEAST);
    for (size_t r = 0; r < a->row_count; r++)
        if (!isnan(a->fit.row[r].compared_p) && !a->fit.row[r].compared)
            answer_warn(answer,
                        "row %s does not have the spacing of %s (p = %.2g): it is fitted without; look whether that "
                        "was measured on an animal of its kind, and whether its places are counted alike",
                        specimen->row[r].id, specimen->row[r].life_positions, a->fit.row[r].compared_p);
    if (a->fit.crossing)
        answer_warn(answer, "the body comes nearer to itself than it is wide: look whether each element was given to "
                            "the right stretch of its row");
}

rlv_status history_articulation_measure(history_articulation* a, const history_elements* elements, rlv_answer* answer,
                                        rlv_error* error)
{
    a->elements = elements;
    rlv_status status = gather(a, error);
    if (status == RLV_DONE && a->row_count == 0)
        status = rlv_fail(error, RLV_IMPOSSIBLE, elements->history->specimen->folder,
                          "write them under rows in specimen.yaml, and each element’s row in elements.csv",
                          "the record has no row of life positions");
    if (status == RLV_DONE)
        status = count_rows(a, answer, error);
    if (status == RLV_DONE)
        status = fit(a, error);
    a->fitted = status == RLV_DONE;
    if (status == RLV_DONE || status == RLV_IMPOSSIBLE)
        find_reasons(a);
    if (status == RLV_DONE)
        status = find_unfilled(a, error);
    if (status == RLV_DONE)
        find_ahead(a);
    if (status == RLV_DONE)
        status = find_disturbance(a, error);
    if (status == RLV_DONE)
        status = find_candidates(a, error);
    if (status == RLV_DONE)
        warn(a, answer);
    return status;
}

void history_articulation_free(history_articulation* a)
{
    for (size_t i = 0; i < a->stray_count; i++)
        rlv_candidates_free(&a->stray[i].candidates, 1);
    rlv_disturbance_free(&a->disturbance);
    rlv_articulation_free(&a->fit);
    free(a->given);
    free(a->given_of);
    free(a->element_of);
    free(a->counted);
    free(a->why);
    free(a->row);
    free(a->row_known);
    free(a->unfilled);
    free(a->stray);
    *a = (history_articulation){0};
}
