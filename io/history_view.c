#include "history_view.h"

#include "depth_overlay.h"
#include "section.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/// How far directions of stage `from` are turned in the frame of stage `into`; false where the two are not joined.
static bool turn_between(const rlv_history* history, size_t into, size_t from, rlv_mat3* turn)
{
    *turn = rlv_mat3_identity();
    if (into == from)
        return true;
    if (history->joined)
    {
        rlv_pose to = history_pose(history, into), of = history_pose(history, from);
        *turn = rlv_mat3_multiply(rlv_mat3_transpose(to.rotation), of.rotation);
        return true;
    }
    // Along the steps: each carries its later stage into its earlier one.
    size_t low = into < from ? into : from, high = into < from ? from : into;
    for (size_t i = low; i < high; i++)
    {
        if (i >= history->step_count || !history->step[i].measured)
            return false;
        *turn = rlv_mat3_multiply(*turn, history->step[i].change.alignment.pose.rotation);
    }
    if (from == low)
        *turn = rlv_mat3_transpose(*turn);
    return true;
}

static rlv_vec3 vector_of(const rlv_direction_record* record)
{
    return rlv_vec3_unit(rlv_vec3_of(record->vector[0], record->vector[1], record->vector[2]));
}

/// A recorded direction in the frame of a stage. RLV_IMPOSSIBLE where it does not reach.
static rlv_status carry(rlv_vec3* way, const rlv_history* history, size_t stage, const char* recorded_on,
                        const char* what, rlv_error* error)
{
    const rlv_stage_record* record = rlv_specimen_stage(history->specimen, recorded_on);
    rlv_mat3 turn;
    if (record == NULL || !turn_between(history, stage, (size_t)(record - history->specimen->stage), &turn))
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "record it on this stage too, or mend what keeps the stages apart",
                        "%s is recorded on stage %.100s, which is not joined to %.100s", what, recorded_on,
                        history->stage[stage].record->id);
    *way = rlv_mat3_apply(turn, *way);
    return RLV_DONE;
}

static rlv_status check_compass(const rlv_specimen* specimen, const rlv_direction_record* record, const char* what,
                                rlv_error* error)
{
    char mend[160];
    snprintf(mend, sizeof mend, "record %s in specimen.yaml, as {stage, vector}", what);
    return record != NULL ? RLV_DONE
                          : rlv_fail(error, RLV_BAD_INPUT, specimen->folder, mend,
                                     "this view needs %s, which is not recorded", what);
}

/// A direction of the compass, which is recorded.
static rlv_status find_compass(rlv_vec3* way, const rlv_history* history, size_t stage,
                               const rlv_direction_record* record, const char* what, rlv_error* error)
{
    *way = vector_of(record);
    return carry(way, history, stage, record->stage, what, error);
}

bool history_view_up(rlv_vec3* up, const rlv_history* history, size_t stage, bool shown)
{
    const rlv_display_record* display = history->specimen->display;
    const rlv_direction_record* in_case = display != NULL ? display->up : NULL;
    const rlv_direction_record* record = shown ? in_case : history->specimen->up;
    rlv_error error = {0};
    return record != NULL && find_compass(up, history, stage, record, "up", &error) == RLV_DONE;
}

// --- The body --------------------------------------------------------------------------------------------------------

static const char* const landmark[4] = {"head", "tail", "belly", "back"};

/// The stage whose block holds all landmarks of the body, or NULL.
static const char* stage_of_body(const rlv_specimen* specimen, const rlv_point_record* point[4])
{
    for (size_t i = 0; i < specimen->stage_count; i++)
    {
        bool all = true;
        for (size_t k = 0; k < 4; k++)
        {
            point[k] = rlv_specimen_point(specimen, specimen->stage[i].id, "block", "body", landmark[k]);
            all = all && point[k] != NULL;
        }
        if (all)
            return specimen->stage[i].id;
    }
    return NULL;
}

/// The body's directions in the frame of the stage that they are recorded on.
static rlv_status read_body(rlv_vec3* along, rlv_vec3* dorsal, const char** on, const rlv_specimen* specimen,
                            rlv_error* error)
{
    const rlv_point_record* point[4];
    rlv_vec3 at[4];
    *on = stage_of_body(specimen, point);
    if (*on == NULL)
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder,
                        "place the points head, tail, belly and back of an object body on the block of one stage, in "
                        "points.csv; or ask for upper, or for an azimuth and an elevation",
                        "this view is named by the body, and which way the body lies is not recorded");
    for (size_t k = 0; k < 4; k++)
        at[k] = rlv_vec3_of(point[k]->at[0], point[k]->at[1], point[k]->at[2]);
    *along = rlv_vec3_unit(rlv_vec3_sub(at[1], at[0]));
    *dorsal = rlv_vec3_unit(rlv_vec3_sub(at[3], at[2]));
    // Within a degree of each other they span no side.
    if (rlv_vec3_length(rlv_vec3_cross(*along, *dorsal)) < sin(M_PI / 180.0))
        return rlv_fail(error, RLV_BAD_INPUT, specimen->folder,
                        "place them so that head to tail and belly to back cross each other",
                        "the landmarks of body on stage %.100s give no side", *on);
    return RLV_DONE;
}

static rlv_status find_body(rlv_vec3* along, rlv_vec3* dorsal, const rlv_history* history, size_t stage,
                            rlv_error* error)
{
    const char* on = NULL;
    rlv_status status = read_body(along, dorsal, &on, history->specimen, error);
    if (status == RLV_DONE)
        status = carry(along, history, stage, on, "the body", error);
    return status == RLV_DONE ? carry(dorsal, history, stage, on, "the body", error) : status;
}

// --- Views by name ---------------------------------------------------------------------------------------------------

/// A number that ends at `end`.
static bool read_number(const char* at, const char* end, double* number)
{
    char* stop = NULL;
    *number = strtod(at, &stop);
    return stop == end && stop != at && isfinite(*number);
}

/// "AZIMUTH,ELEVATION", in degrees from 0 to 360 and -90 to 90.
static bool read_bearing(const char* name, double* azimuth_deg, double* elevation_deg)
{
    const char* comma = strchr(name, ',');
    return comma != NULL && read_number(name, comma, azimuth_deg) &&
           read_number(comma + 1, name + strlen(name), elevation_deg) && *azimuth_deg >= 0.0 && *azimuth_deg <= 360.0 &&
           *elevation_deg >= -90.0 && *elevation_deg <= 90.0;
}

bool history_view_known(const char* name)
{
    double azimuth_deg, elevation_deg;
    rlv_aspect aspect;
    return strcmp(name, "upper") == 0 || rlv_aspect_find(name, &aspect) ||
           read_bearing(name, &azimuth_deg, &elevation_deg);
}

rlv_status history_view_check(const rlv_specimen* specimen, const char* name, rlv_error* error)
{
    double azimuth_deg, elevation_deg;
    rlv_aspect aspect;
    rlv_vec3 along, dorsal;
    const char* on;
    if (name == NULL)
        return RLV_DONE;
    if (rlv_aspect_find(name, &aspect))
        return read_body(&along, &dorsal, &on, specimen, error);
    bool bearing = read_bearing(name, &azimuth_deg, &elevation_deg);
    if (!bearing && strcmp(name, "upper") != 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL,
                        "say upper, dorsal, ventral, left-lateral, right-lateral, anterior, posterior, or an azimuth "
                        "and an elevation in degrees: 45,30",
                        "there is no view '%.60s'", name);
    rlv_status status = check_compass(specimen, specimen->up, "up", error);
    return status == RLV_DONE && bearing ? check_compass(specimen, specimen->north, "north", error) : status;
}

/// The side that was up; north is up in the picture where it is known and reaches.
static rlv_status view_upper(history_view* view, const rlv_history* history, size_t stage, rlv_error* error)
{
    rlv_vec3 up, north = {0.0, 0.0, 0.0};
    rlv_status status = find_compass(&up, history, stage, history->specimen->up, "up", error);
    if (status != RLV_DONE)
        return status;
    if (history->specimen->north != NULL &&
        find_compass(&north, history, stage, history->specimen->north, "north", NULL) != RLV_DONE)
        north = rlv_vec3_of(0.0, 0.0, 0.0);
    view->axes = rlv_aspect_of_upper_side(up, north);
    view->north_up = rlv_vec3_length(north) > 0.0;
    snprintf(view->key, sizeof view->key, "upper");
    snprintf(view->words, sizeof view->words, "seen from the side that was up in the rock%s",
             view->north_up ? ", north at the top" : "");
    return RLV_DONE;
}

static rlv_status view_bearing(history_view* view, const rlv_history* history, size_t stage, double azimuth_deg,
                               double elevation_deg, rlv_error* error)
{
    rlv_vec3 up, north;
    rlv_status status = find_compass(&up, history, stage, history->specimen->up, "up", error);
    if (status == RLV_DONE)
        status = find_compass(&north, history, stage, history->specimen->north, "north", error);
    if (status != RLV_DONE)
        return status;
    view->axes = rlv_aspect_from(up, north, azimuth_deg, elevation_deg);
    snprintf(view->key, sizeof view->key, "az%.10g-el%.10g", azimuth_deg, elevation_deg);
    snprintf(view->words, sizeof view->words,
             "seen from azimuth %.10g\xc2\xb0 (clockwise from north), elevation %s%.10g\xc2\xb0", azimuth_deg,
             elevation_deg < 0.0 ? "\xe2\x88\x92" : "", fabs(elevation_deg));
    return RLV_DONE;
}

static rlv_status view_aspect(history_view* view, const rlv_history* history, size_t stage, rlv_aspect aspect,
                              rlv_error* error)
{
    rlv_vec3 along, dorsal;
    rlv_status status = find_body(&along, &dorsal, history, stage, error);
    if (status != RLV_DONE)
        return status;
    view->axes = rlv_aspect_of_body(aspect, along, dorsal);
    snprintf(view->key, sizeof view->key, "%s", rlv_aspect_name(aspect));
    for (char* at = view->key; *at != '\0'; at++)
        *at = *at == ' ' ? '-' : *at;
    snprintf(view->words, sizeof view->words, "%s view of the body", rlv_aspect_name(aspect));
    return RLV_DONE;
}

// --- The usual view --------------------------------------------------------------------------------------------------

/// Where most went in all steps that reach a stage, in its frame; nothing where nothing did.
static rlv_vec3 side_of_all(const rlv_history* history, size_t stage)
{
    rlv_vec3 sum = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < history->step_count; i++)
    {
        const history_step* step = &history->step[i];
        rlv_mat3 turn;
        if (step->measured && turn_between(history, stage, step->before, &turn))
            sum = rlv_vec3_add(sum,
                               rlv_mat3_apply(turn, depth_side(&step->change, &history->stage[step->before].given.mesh,
                                                               0, NULL, NULL)));
    }
    return sum;
}

static void view_most(history_view* view, const rlv_history* history, size_t stage)
{
    rlv_vec3 side = side_of_all(history, stage), z = {0.0, 0.0, 1.0}, y = {0.0, 1.0, 0.0};
    rlv_mat3 turn;
    if (turn_between(history, stage, history->frame, &turn))
    {
        z = rlv_mat3_apply(turn, z);
        y = rlv_mat3_apply(turn, y);
    }
    bool known = rlv_vec3_length(side) > 0.0;
    rlv_vec3 towards = known ? rlv_vec3_unit(side) : z;
    rlv_plane plane = rlv_plane_facing(rlv_vec3_of(0, 0, 0), towards, fabs(rlv_vec3_dot(towards, z)) < 0.9 ? z : y);
    view->axes = (rlv_camera_axes){plane.right, plane.up, rlv_vec3_cross(plane.right, plane.up)};
    snprintf(view->key, sizeof view->key, known ? "most" : "z");
    snprintf(view->words, sizeof view->words,
             known ? "seen from the side where most went" : "seen against z of the block frame");
}

/// The cross of axes: the block frame's, and north where it can be told apart from them.
static void find_directions(history_view* view, const rlv_history* history, size_t stage)
{
    static const char* const name[3] = {"x", "y", "z"};
    const rlv_vec3 unit[3] = {{1.0, 0.0, 0.0}, {0.0, 1.0, 0.0}, {0.0, 0.0, 1.0}};
    rlv_mat3 turn;
    rlv_vec3 north;
    view->direction_count = 0;
    if (!turn_between(history, stage, history->frame, &turn))
        return;
    bool apart = history->specimen->north != NULL &&
                 find_compass(&north, history, stage, history->specimen->north, "north", NULL) == RLV_DONE;
    for (size_t k = 0; k < 3; k++)
    {
        rlv_vec3 way = rlv_mat3_apply(turn, unit[k]);
        view->direction[view->direction_count++] = (rlv_direction){way, name[k]};
        apart = apart && rlv_vec3_dot(way, north) < cos(M_PI / 9.0);
    }
    if (apart)
        view->direction[view->direction_count++] = (rlv_direction){north, "N"};
}

rlv_status history_view_find(history_view* view, const rlv_history* history, size_t stage, const char* name,
                             rlv_error* error)
{
    double azimuth_deg, elevation_deg;
    rlv_aspect aspect;
    *view = (history_view){0};
    rlv_status status = history_view_check(history->specimen, name, error);
    if (status != RLV_DONE)
        return status;
    if (name == NULL)
    {
        if (history->specimen->up == NULL || view_upper(view, history, stage, NULL) != RLV_DONE)
            view_most(view, history, stage);
    }
    else if (rlv_aspect_find(name, &aspect))
        status = view_aspect(view, history, stage, aspect, error);
    else if (read_bearing(name, &azimuth_deg, &elevation_deg))
        status = view_bearing(view, history, stage, azimuth_deg, elevation_deg, error);
    else
        status = view_upper(view, history, stage, error);
    if (status == RLV_DONE)
        find_directions(view, history, stage);
    return status;
}

// --- Directions in words ---------------------------------------------------------------------------------------------

/// A direction and the one against it.
static size_t add_ways(rlv_direction* way, size_t count, rlv_vec3 at, const char* along, const char* against)
{
    way[count++] = (rlv_direction){at, along};
    way[count++] = (rlv_direction){rlv_vec3_scale(at, -1.0), against};
    return count;
}

size_t history_view_ways(rlv_direction way[HISTORY_WAYS], const rlv_history* history, size_t stage)
{
    const rlv_specimen* specimen = history->specimen;
    rlv_vec3 along, dorsal, up, north;
    size_t count = 0;
    if (find_body(&along, &dorsal, history, stage, NULL) == RLV_DONE)
    {
        dorsal = rlv_vec3_unit(rlv_vec3_along(dorsal, -rlv_vec3_dot(dorsal, along), along));
        count = add_ways(way, count, along, "towards the tail", "towards the head");
        count = add_ways(way, count, dorsal, "towards the back", "towards the belly");
    }
    const bool level = specimen->up != NULL && find_compass(&up, history, stage, specimen->up, "up", NULL) == RLV_DONE;
    if (level)
        count = add_ways(way, count, up, "up as it lay", "down as it lay");
    if (!level || specimen->north == NULL ||
        find_compass(&north, history, stage, specimen->north, "north", NULL) != RLV_DONE)
        return count;
    north = rlv_vec3_unit(rlv_vec3_along(north, -rlv_vec3_dot(north, up), up));
    count = add_ways(way, count, north, "to the north", "to the south");
    return add_ways(way, count, rlv_vec3_cross(north, up), "to the east", "to the west");
}

const char* history_view_side(const rlv_history* history, size_t stage, rlv_vec3 outwards)
{
    static const char* const of_body[RLV_ASPECT_COUNT] = {"the dorsal side",       "the ventral side",
                                                          "the left lateral side", "the right lateral side",
                                                          "the anterior side",     "the posterior side"};
    static const char* const of_compass[4] = {"the north side", "the south side", "the east side", "the west side"};
    const rlv_specimen* specimen = history->specimen;
    rlv_vec3 along, dorsal, up, north;
    size_t best = 0;
    if (find_body(&along, &dorsal, history, stage, NULL) == RLV_DONE)
    {
        double most = -INFINITY;
        for (size_t i = 0; i < RLV_ASPECT_COUNT; i++)
        {
            const double faces = rlv_vec3_dot(rlv_aspect_of_body((rlv_aspect)i, along, dorsal).towards, outwards);
            best = faces > most ? i : best;
            most = fmax(faces, most);
        }
        return of_body[best];
    }
    if (specimen->up == NULL || specimen->north == NULL ||
        find_compass(&up, history, stage, specimen->up, "up", NULL) != RLV_DONE ||
        find_compass(&north, history, stage, specimen->north, "north", NULL) != RLV_DONE)
        return NULL;
    const double northwards = rlv_vec3_dot(outwards, north),
                 eastwards = rlv_vec3_dot(outwards, rlv_vec3_cross(north, up));
    best = fabs(northwards) >= fabs(eastwards) ? 0 : 2;
    return of_compass[best + ((best == 0 ? northwards : eastwards) < 0.0 ? 1 : 0)];
}
