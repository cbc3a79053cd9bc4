#include "report_elements.h"

#include "report_words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS(columns) sizeof(columns) / sizeof *(columns), columns

static const double IN_95 = 1.959964;

const char* elements_face_name(history_face face)
{
    static const char* const name[] = {
        [HISTORY_FACE_UP] = "up", [HISTORY_FACE_DOWN] = "down", [HISTORY_FACE_ON_EDGE] = "on edge"};
    return name[face];
}

double elements_half_mm(const rlv_element* element)
{
    double value[3];
    rlv_vec3 axis[3];
    if (rlv_principal_axes(value, axis, element->position_cov_mm2, NULL) != RLV_DONE)
        return (double)NAN;
    return IN_95 * sqrt(fmax(value[0], 0.0));
}

// --- what several tables tell ----------------------------------------------------------------------------------------

typedef struct element_words
{
    char text[512];
} element_words;

/// The stages at which it was seen, parted by semicolons.
static element_words seen_at(const history_elements* e, const history_element* one)
{
    element_words words = {""};
    size_t length = 0;
    for (size_t i = 0; i < one->sighting_count; i++)
    {
        const char* id = e->history->stage[one->sighting[i].stage].record->id;
        if ((i > 0 && one->sighting[i].stage == one->sighting[i - 1].stage) ||
            length + strlen(id) + 3 > sizeof words.text)
            continue;
        length += (size_t)snprintf(words.text + length, sizeof words.text - length, "%s%s", length > 0 ? "; " : "", id);
    }
    return words;
}

static element_words disturbance(const history_elements* e, const history_element* one)
{
    element_words words = {""};
    const rlv_element_fusion* fusion = &one->fusion;
    if (fusion->disturbed)
        rlv_print(words.text, sizeof words.text, "%.100s to %.100s: %s mm, %s degrees",
                  e->history->stage[one->disturbed_from].record->id, e->history->stage[one->disturbed_to].record->id,
                  words_figures(fusion->shift_mm, 2).text, words_figures(fusion->turn_deg, 2).text);
    return words;
}

static const char* or_null(const char* text)
{
    return text[0] != '\0' ? text : NULL;
}

static void put_place(rlv_table* t, const rlv_element* element, bool placed)
{
    if (!placed)
    {
        table_none(t);
        table_none(t);
        return;
    }
    const double half = elements_half_mm(element);
    table_place(t, rlv_vec3_of(element->position_mm[0], element->position_mm[1], element->position_mm[2]),
                half / IN_95);
    table_number(t, half, half / 10.0);
}

#define WHO_COLUMNS                                                                                                    \
    {"element", NULL, "element", TABLE_TEXT, "Id of the element."},                                                    \
        {"kind", NULL, "kind", TABLE_TEXT, "What it is, in the recorder’s words."},                                    \
        {"row", NULL, "row", TABLE_TEXT, "Row of life positions, as recorded."},                                       \
    {                                                                                                                  \
        "side", NULL, "side", TABLE_TEXT, "Side of the body, as recorded."                                             \
    }

static void put_who(rlv_table* t, const history_element* one)
{
    table_text(t, one->record->id);
    table_text(t, one->record->kind);
    table_text(t, one->record->row);
    table_text(t, one->record->side);
}

#define PLACE_COLUMNS                                                                                                  \
    {"position", "mm", "position", TABLE_PLACE,                                                                        \
     "Centroid of what its outline encloses, else the middle between opposite landmarks, in the block’s frame."},      \
    {                                                                                                                  \
        "position_half", "mm", "± 95 %", TABLE_NUMBER,                                                                 \
            "Half of the 95 % interval of the position along the axis on which it is least sure."                      \
    }

#define STAGE_COLUMN                                                                                                   \
    {                                                                                                                  \
        "stage", NULL, "first seen", TABLE_TEXT, "Stage at which it was seen first, as recorded."                      \
    }

#define PIECE_COLUMN                                                                                                   \
    {                                                                                                                  \
        "piece", NULL, "piece", TABLE_TEXT, "Piece that it is on, by the masks of a stage or by its points."           \
    }

#define DISTURBED_COLUMN                                                                                               \
    {                                                                                                                  \
        "disturbed", NULL, "moved by the work", TABLE_TEXT,                                                            \
            "Where sightings differ by more than their errors (p below 0.001): between which stages, how far and by "  \
            "what turn. All else is told as it lay before."                                                            \
    }

static const char* piece_of(const history_element* one)
{
    return one->piece != NULL ? one->piece->id : NULL;
}

/// Why an element has no place, and what would give it one; empty where it has one.
static report_text unplaced_words(const history_element* one)
{
    report_text words = {""};
    if (one->placed)
        return words;
    rlv_print(words.text, sizeof words.text, "%.1000s",
              one->bag != NULL          ? "found in the spoil"
              : one->sighting_count > 0 ? "seen only where no pose leads into the block’s frame: on a piece that is "
                                          "joined nowhere, or at a stage that is not aligned"
              : one->refused[0] != '\0' ? one->refused
                                        : "no points and no part of it at any stage: place three or more round it");
    return words;
}

/// "width by 36 %": by how much an element is smaller than its neighbours; empty where it is not.
static element_words covered_words(const history_element* one)
{
    static const char* const name[2] = {"length", "width"};
    element_words words = {""};
    size_t length = 0;
    for (int k = 0; k < 2; k++)
        if (one->placed && one->covered.missing_mm[k] > 0.0)
            length += (size_t)snprintf(words.text + length, sizeof words.text - length, "%s%s by %.0f %%",
                                       length > 0 ? ", " : "", name[k],
                                       100.0 * one->covered.missing_mm[k] / one->covered.whole_mm[k]);
    return words;
}

#define COVERED_COLUMN                                                                                                 \
    {                                                                                                                  \
        "covered", NULL, "covered in part", TABLE_TEXT,                                                                \
            "By how much it shows less than the greatest of the four of its row that lie nearest to it, where that "   \
            "is a fifth or more: its place and attitude are told so much less surely."                                 \
    }

#define NOTED_COLUMNS                                                                                                  \
    {"note", NULL, "note", TABLE_TEXT,                                                                                 \
     "The recorder’s own words, as they are: hold what they say of its attitude against what was measured."},          \
    {                                                                                                                  \
        "unplaced", NULL, "why without a place", TABLE_TEXT,                                                           \
            "Why it has no position in the block’s frame, and what would give it one."                               \
    }

static void put_noted(rlv_table* t, const history_element* one)
{
    table_text(t, one->record->note);
    table_text(t, or_null(unplaced_words(one).text));
}

// --- a row an element ------------------------------------------------------------------------------------------------

static const table_column measured_columns[] = {
    WHO_COLUMNS,
    {"place", NULL, "place", TABLE_TEXT, "Place in the row, or a range of places, as recorded."},
    PLACE_COLUMNS,
    {"length", "mm", "length", TABLE_INTERVAL, "Extent along the long axis, of what shows."},
    {"width", "mm", "width", TABLE_INTERVAL, "Extent across it, in the plate."},
    {"thickness", "mm", "thickness", TABLE_INTERVAL,
     "From base to apex along the pole, or of a part of the mesh that shows on both sides."},
    {"trend", "deg", "trend", TABLE_INTERVAL,
     "Azimuth of the long axis, clockwise from true north: to the anterior where that is known, else downwards. An end "
     "may lie below 0 or above 360."},
    {"plunge", "deg", "plunge", TABLE_INTERVAL, "Of the long axis below the horizon."},
    {"bedding", "deg", "to bedding", TABLE_INTERVAL, "Angle between the plate and bedding."},
    {"face", NULL, "external face", TABLE_TEXT,
     "Whether the external face looks up or down, as it lay in the rock; on edge where that cannot be told apart."},
    COVERED_COLUMN,
    NOTED_COLUMNS,
    STAGE_COLUMN,
    {"seen", NULL, "measured at", TABLE_TEXT, "Stages at which it could be measured."},
    PIECE_COLUMN,
    {"bag", NULL, "bag", TABLE_TEXT, "Bag of spoil that it was found in."},
    {"bag_stage", NULL, "bag’s stage", TABLE_TEXT, "Stage that the bag’s spoil was taken off for."},
    {"bag_area", NULL, "bag’s area", TABLE_TEXT, "Area that the spoil came from, where one was recorded."},
    DISTURBED_COLUMN};

static rlv_table measured_table(const history_elements* e)
{
    rlv_table t = table_of("elements", "Elements", COLUMNS(measured_columns));
    for (size_t i = 0; i < e->count; i++)
    {
        const history_element* one = &e->one[i];
        put_who(&t, one);
        table_text(&t, or_null(report_place_in_row(one->record).text));
        put_place(&t, &one->told, one->placed);
        table_interval(&t, one->told.length_mm);
        table_interval(&t, one->told.width_mm);
        table_interval(&t, one->told.thickness_mm);
        table_interval(&t, one->trend_deg);
        table_interval(&t, one->plunge_deg);
        table_interval(&t, one->bedding_deg);
        table_text(&t, elements_face_name(one->face));
        table_text(&t, or_null(covered_words(one).text));
        put_noted(&t, one);
        table_text(&t, one->record->stage);
        table_text(&t, or_null(seen_at(e, one).text));
        table_text(&t, piece_of(one));
        table_text(&t, one->record->bag);
        table_text(&t, one->bag != NULL ? one->bag->stage : NULL);
        table_text(&t, one->bag != NULL ? one->bag->area : NULL);
        table_text(&t, or_null(disturbance(e, one).text));
    }
    return t;
}

// --- the wall --------------------------------------------------------------------------------------------------------

static const table_column wall_columns[] = {
    WHO_COLUMNS,
    {"place", NULL, "place", TABLE_TEXT, "Place in the row: as recorded, found, or counted along it."},
    {"place_known", NULL, "known how", TABLE_TEXT, "How the place is known, where it is not recorded, and how surely."},
    {"state", NULL, "state", TABLE_TEXT, "What became of it."},
    {"told", "mm", "shift found in 80 %", TABLE_NUMBER,
     "Shift of it, whichever way, that would have been told with a probability of 80 %: in place is no more than that "
     "none was found."},
    PLACE_COLUMNS,
    {"size", "mm", "length × width", TABLE_TEXT, "Length by width, by thickness where that is known."},
    COVERED_COLUMN,
    {"trend_plunge", NULL, "trend/plunge of its length °", TABLE_TEXT,
     "Of the axis that its length is measured along, from behind to the front as landmarks tell it, so that a plate "
     "may be wider than it is long. In brackets where no landmark tells the front: then of the outline’s own longer "
     "axis, "
     "or of the line through landmarks, to the end that points downwards. A plunge below zero points upwards: the "
     "front is the higher end. ±: half of its 95 % interval, as an angle in space. Unknown: that is more than 90°."},
    {"bedding", "deg", "to bedding", TABLE_INTERVAL, "Angle between the plate and bedding."},
    {"face", NULL, "external face", TABLE_TEXT, "Up or down."},
    STAGE_COLUMN,
    PIECE_COLUMN,
    {"bag", NULL, "bag", TABLE_TEXT,
     "Bag of spoil that it was found in, the stage that it was taken off for, and where."},
    NOTED_COLUMNS,
    DISTURBED_COLUMN};

static element_words size_words(const rlv_element* told)
{
    element_words words = {""};
    const rlv_interval size[3] = {told->length_mm, told->width_mm, told->thickness_mm};
    size_t length = 0;
    for (int k = 0; k < 3; k++)
        if (!isnan(size[k].value))
            length += (size_t)snprintf(words.text + length, sizeof words.text - length, "%s%s", length > 0 ? " × " : "",
                                       words_value(size[k], 1.0).text);
    return words;
}

/// "082/15 ± 3": three figures of azimuth, as the trade writes it, with half of the 95 % interval, an angle in space.
/// "unknown" where it may as well be any.
static element_words trend_words(const history_element* one)
{
    element_words words = {""};
    if (isnan(one->trend_deg.value))
        return words;
    const bool front = (one->told.known & RLV_ELEMENT_FRONT) != 0;
    if (!rlv_element_axis_told(&one->told, 0))
        snprintf(words.text, sizeof words.text, "unknown");
    else
        snprintf(words.text, sizeof words.text, "%s%s%s ± %s", front ? "" : "(",
                 words_trend(one->trend_deg.value, one->plunge_deg.value).text, front ? "" : ")",
                 words_number(ceil(RLV_HALF_95 * rlv_element_axis_sd_deg(&one->told, 0)), 0).text);
    return words;
}

static void put_bag(rlv_table* t, const history_element* one)
{
    report_text bag = {""};
    if (one->bag != NULL)
        bag = report_say("%s at %s%s%s", one->record->bag, one->bag->stage, one->bag->area != NULL ? ", " : "",
                         one->bag->area != NULL ? one->bag->area : "");
    table_text(t, or_null(bag.text));
}

rlv_table elements_wall(const history_elements* e, elements_judge judged, const void* user)
{
    static const char* const beneath[] = {"kind",    "side",  "place_known", "told",     "position_half",
                                          "covered", "piece", "bag",         "unplaced", "disturbed"};
    rlv_table t = table_of("elements", "Elements", COLUMNS(wall_columns));
    for (size_t i = 0; i < sizeof beneath / sizeof beneath[0]; i++)
        table_beneath(&t, beneath[i]);
    for (size_t i = 0; i < e->count; i++)
    {
        const history_element* one = &e->one[i];
        const elements_judged of = judged != NULL ? judged(user, i) : (elements_judged){.told_mm = (double)NAN};
        put_who(&t, one);
        table_text(&t, or_null(of.place.text[0] != '\0' ? of.place.text : report_place_in_row(one->record).text));
        table_text(&t, or_null(of.place_known.text));
        table_text(&t, or_null(of.state.text));
        table_figures(&t, of.told_mm, 2);
        put_place(&t, &one->told, one->placed);
        table_text(&t, or_null(size_words(&one->told).text));
        table_text(&t, or_null(covered_words(one).text));
        table_text(&t, or_null(trend_words(one).text));
        table_interval(&t, one->bedding_deg);
        table_text(&t, elements_face_name(one->face));
        table_text(&t, one->record->stage);
        table_text(&t, piece_of(one));
        put_bag(&t, one);
        put_noted(&t, one);
        table_text(&t, or_null(disturbance(e, one).text));
    }
    return t;
}

// --- attitudes -------------------------------------------------------------------------------------------------------

static const table_column attitude_columns[] = {
    {"element", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"long_axis", NULL, "long axis", TABLE_PLACE,
     "Unit vector of the long axis in the block’s frame, to the anterior where that is known."},
    {"long_known", NULL, "long axis known", TABLE_FLAG, "Whether the line of the long axis is known."},
    {"anterior_known", NULL, "anterior known", TABLE_FLAG, "Whether it is known which of its ends is anterior."},
    {"long_by_shape", NULL, "by shape", TABLE_FLAG,
     "Whether the long axis is the outline’s own longer one, since no landmark tells it."},
    {"pole", NULL, "pole", TABLE_PLACE,
     "Unit vector across the plate in the block’s frame, out of the external face where that is known."},
    {"pole_known", NULL, "pole known", TABLE_FLAG, "Whether the line of the pole is known."},
    {"face_known", NULL, "face known", TABLE_FLAG, "Whether it is known which end of it is the external face."},
    {"tilt_sd", "deg", "tilt, sd", TABLE_NUMBER,
     "Standard deviation of the pole’s direction, along the way that it is least sure in."},
    {"spin_sd", "deg", "spin, sd", TABLE_NUMBER, "Standard deviation of the turn about the pole."}};

static void put_axis(rlv_table* t, const rlv_element* element, int k, bool known)
{
    if (known)
        table_place(t, rlv_vec3_of(element->frame[k], element->frame[3 + k], element->frame[6 + k]), 0.005);
    else
        table_none(t);
}

/// Variances of turns about the axes of its own frame.
static void own_variances(double variance[3], const rlv_element* element)
{
    for (int axis = 0; axis < 3; axis++)
    {
        variance[axis] = 0.0;
        for (int k = 0; k < 9; k++)
            variance[axis] +=
                element->frame[k / 3 * 3 + axis] * element->attitude_cov_rad2[k] * element->frame[k % 3 * 3 + axis];
    }
}

static rlv_table attitudes_table(const history_elements* e)
{
    static const double deg = 180.0 / M_PI;
    rlv_table t = table_of("attitudes", "How each element is turned", COLUMNS(attitude_columns));
    for (size_t i = 0; i < e->count; i++)
    {
        const history_element* one = &e->one[i];
        if (!one->placed)
            continue;
        const unsigned known = one->told.known;
        double variance[3];
        own_variances(variance, &one->told);
        const double tilt = sqrt(fmax(variance[0], variance[1])) * deg, spin = sqrt(variance[2]) * deg;
        table_text(&t, one->record->id);
        put_axis(&t, &one->told, 0, (known & RLV_ELEMENT_LONG) != 0);
        table_flag(&t, (known & RLV_ELEMENT_LONG) != 0);
        table_flag(&t, (known & RLV_ELEMENT_FRONT) != 0);
        table_flag(&t, one->told.long_by_shape);
        put_axis(&t, &one->told, 2, (known & RLV_ELEMENT_POLE) != 0);
        table_flag(&t, (known & RLV_ELEMENT_POLE) != 0);
        table_flag(&t, (known & RLV_ELEMENT_FACE) != 0);
        table_number(&t, (known & RLV_ELEMENT_POLE) != 0 ? tilt : (double)NAN, tilt / 10.0);
        table_number(&t, (known & RLV_ELEMENT_LONG) != 0 && (known & RLV_ELEMENT_POLE) != 0 ? spin : (double)NAN,
                     spin / 10.0);
    }
    return t;
}

// --- bedding ---------------------------------------------------------------------------------------------------------

static const table_column bedding_columns[] = {
    {"points", NULL, "points", TABLE_TEXT,
     "Points that the plane was fitted through; empty: strike and dip are recorded."},
    {"stage", NULL, "stage", TABLE_TEXT, "Stage that these were placed on."},
    {"pole", NULL, "pole", TABLE_PLACE,
     "Unit vector across it in the block’s frame, to its upper side where up is known."},
    {"strike", "deg", "strike", TABLE_NUMBER, "From true north, clockwise; the plane dips to the right of it."},
    {"dip", "deg", "dip", TABLE_NUMBER, "Below the horizon."},
    {"dip_direction", "deg", "dip direction", TABLE_NUMBER, "Where it dips to, clockwise from true north."},
    {"sd", "deg", "sd", TABLE_NUMBER,
     "Standard deviation of the pole’s direction, along the way that it is least sure in."},
    {"rms", "mm", "rms", TABLE_NUMBER, "How far the points lie off the plane, root mean square."}};

elements_bedding elements_bedding_of(const history_elements* e)
{
    const double unknown = (double)NAN;
    elements_bedding of = {{unknown, unknown, unknown}, {unknown, unknown}, unknown, unknown};
    if (!e->bedding_known)
        return of;
    of.pole = rlv_vec3_scale(e->bedding.pole, e->up_known && rlv_vec3_dot(e->bedding.pole, e->up) < 0.0 ? -1.0 : 1.0);
    of.sd_deg = rlv_plane_pole_sd_deg(&e->bedding);
    if (e->compass_known)
    {
        of.strike = rlv_strike_of(&e->compass, of.pole);
        of.dip_direction_deg = fmod(of.strike.strike_deg + 90.0, 360.0);
    }
    return of;
}

static rlv_table bedding_table(const history_elements* e)
{
    rlv_table t = table_of("bedding", "Bedding", COLUMNS(bedding_columns));
    const rlv_bedding_record* record = e->history->specimen->bedding;
    const elements_bedding of = elements_bedding_of(e);
    if (!e->bedding_known)
        return t;
    const bool fitted = record != NULL && record->points != NULL;
    table_text(&t, fitted ? record->points : NULL);
    table_text(&t, fitted ? record->stage : NULL);
    table_place(&t, of.pole, of.sd_deg * M_PI / 180.0);
    table_number(&t, of.strike.strike_deg, of.sd_deg);
    table_number(&t, of.strike.dip_deg, of.sd_deg);
    table_number(&t, of.dip_direction_deg, of.sd_deg);
    table_figures(&t, of.sd_deg, 2);
    table_figures(&t, fitted ? e->bedding.rms_mm : (double)NAN, 2);
    return t;
}

// --- a row an element and stage --------------------------------------------------------------------------------------

static const table_column sighting_columns[] = {
    {"element", NULL, "element", TABLE_TEXT, "Id of the element."},
    {"stage", NULL, "stage", TABLE_TEXT, "Id of the stage."},
    {"mesh", NULL, "mesh", TABLE_TEXT, "block, or the piece whose mesh shows it."},
    {"by", NULL, "by", TABLE_TEXT, "points, or a part of the mesh."},
    {"in_frame", NULL, "in the frame", TABLE_FLAG,
     "Whether it is in the block’s frame. Else it is measured in its mesh’s own, and has no position here."},
    {"whole", NULL, "whole", TABLE_FLAG,
     "Whether it shows as much of the element as any other does. Where it shows less it does not count."},
    PLACE_COLUMNS,
    {"length", "mm", "length", TABLE_INTERVAL, "Extent along the long axis, of what shows."},
    {"width", "mm", "width", TABLE_INTERVAL, "Extent across it, in the plate."},
    {"thickness", "mm", "thickness", TABLE_INTERVAL, "As in the table of elements."},
    {"exposed", "mm2", "exposed", TABLE_NUMBER,
     "Area of the part of the mesh that is the element, as the mesh has it: noise makes a mesh’s area greater. Empty "
     "where it is known by points."},
    {"exposed_share", "percent", "exposed, of the greatest", TABLE_NUMBER,
     "The same over the greatest of all stages."}};

static double greatest_area(const history_element* one)
{
    double most = 0.0;
    for (size_t i = 0; i < one->sighting_count; i++)
        most = fmax(most, isnan(one->sighting[i].area_mm2) ? 0.0 : one->sighting[i].area_mm2);
    return most;
}

static rlv_table sightings_table(const history_elements* e)
{
    rlv_table t = table_of("sightings", "Elements, stage by stage", COLUMNS(sighting_columns));
    for (size_t i = 0; i < e->count; i++)
        for (size_t k = 0; k < e->one[i].sighting_count; k++)
        {
            const history_element* one = &e->one[i];
            const history_sighting* s = &one->sighting[k];
            table_text(&t, one->record->id);
            table_text(&t, e->history->stage[s->stage].record->id);
            table_text(&t, s->mesh);
            table_text(&t, s->by_part ? "part" : "points");
            table_flag(&t, s->placed);
            table_flag(&t, !s->partial);
            rlv_element all = s->element;
            rlv_element_add_errors(&all, &s->of_pose);
            put_place(&t, &all, s->placed);
            table_interval(&t, s->element.length_mm);
            table_interval(&t, s->element.width_mm);
            table_interval(&t, s->element.thickness_mm);
            table_number(&t, s->area_mm2, s->area_sd_mm2);
            table_number(&t, 100.0 * s->area_mm2 / greatest_area(one), 1.0);
        }
    return t;
}

elements_tables elements_tables_of(const history_elements* elements)
{
    return (elements_tables){{[ELEMENTS_MEASURED] = measured_table(elements),
                              [ELEMENTS_ATTITUDES] = attitudes_table(elements),
                              [ELEMENTS_SIGHTINGS] = sightings_table(elements),
                              [ELEMENTS_BEDDING] = bedding_table(elements)}};
}

void elements_tables_free(elements_tables* tables)
{
    for (size_t i = 0; i < ELEMENTS_TABLES; i++)
        table_free(&tables->table[i]);
}
