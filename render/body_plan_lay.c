#include "body_plan_parts.h"

#include <math.h>
#include <stdlib.h>

/// What is sorted: a row's angle about the axis from the back, or a place of a row.
typedef struct angled_row
{
    double angle_rad;
    size_t row;
} angled_row;

static int by_angle(const void* one, const void* other)
{
    const angled_row *a = one, *b = other;
    if (a->angle_rad != b->angle_rad)
        return a->angle_rad < b->angle_rad ? -1 : 1;
    return a->row < b->row ? -1 : a->row > b->row;
}

static int by_place(const void* one, const void* other)
{
    const plan_place *a = one, *b = other;
    if (a->row != b->row)
        return a->row < b->row ? -1 : 1;
    return a->place != b->place ? (a->place < b->place ? -1 : 1) : 0;
}

// --- Which rows are neighbours ---------------------------------------------------------------------------------------

static bool has_life(const rlv_articulated* one)
{
    return isfinite(one->life_mm.x) && isfinite(one->life_mm.y) && isfinite(one->life_mm.z) && one->place != INT_MIN;
}

static double nearest_on_axis(const rlv_body_axis* axis, rlv_vec3 point_mm)
{
    size_t best = 0;
    double least = INFINITY;
    for (size_t i = 0; i < axis->count; i++)
    {
        double far = rlv_vec3_length(rlv_vec3_sub(point_mm, axis->at_mm[i]));
        if (far < least)
        {
            least = far;
            best = i;
        }
    }
    return axis->step_mm * (double)best;
}

/// The middle of a row's life positions against the axis, along its two normals: the frame turns no more than it must,
/// so that these are the same round the body from head to tail.
static void middle_of_row(const rlv_skeleton* skeleton, size_t row, double middle[2])
{
    const rlv_articulation* told = skeleton->told;
    double sum[2] = {0.0, 0.0};
    size_t count = 0;
    for (size_t i = 0; i < told->count; i++)
        if (skeleton->element[i].row == row && has_life(&told->element[i]))
        {
            rlv_vec3 life = told->element[i].life_mm;
            rlv_body_frame frame = rlv_body_axis_at(&told->axis, nearest_on_axis(&told->axis, life));
            rlv_vec3 off = rlv_vec3_sub(life, frame.at_mm);
            sum[0] += rlv_vec3_dot(off, frame.side);
            sum[1] += rlv_vec3_dot(off, frame.other);
            count++;
        }
    for (int k = 0; k < 2; k++)
        middle[k] = count > 0 ? sum[k] / (double)count : 0.0;
}

/// Where the back is, in the axis's two normals: N1 x N2 is along, so that left x along = back turns (N1, N2) by minus
/// a quarter. False where nothing tells.
static bool find_back(const rlv_skeleton* skeleton, double (*middle)[2], double back[2])
{
    double left[2] = {0.0, 0.0};
    bool told = false;
    for (size_t r = 0; r < skeleton->told->row_count; r++)
    {
        double sign = skeleton->row[r].side == RLV_BODY_LEFT    ? 1.0
                      : skeleton->row[r].side == RLV_BODY_RIGHT ? -1.0
                                                                : 0.0;
        told = told || sign != 0.0;
        for (int k = 0; k < 2; k++)
            left[k] += sign * middle[r][k];
    }
    if (told && hypot(left[0], left[1]) > 0.0)
    {
        // N1 x T = -N2 and N2 x T = N1.
        back[0] = left[1];
        back[1] = -left[0];
        return true;
    }
    for (size_t r = 0; r < skeleton->told->row_count; r++)
        if (skeleton->row[r].side == RLV_BODY_MEDIAN && hypot(middle[r][0], middle[r][1]) > 0.0)
        {
            back[0] = middle[r][0];
            back[1] = middle[r][1];
            return true;
        }
    return false;
}

/// A row's angle from the back towards the left: above zero on the left side. A median row is on the back or on the
/// belly, where the plan ends beneath.
static double angle_of(const rlv_body_row* row, const double middle[2], const double back[2])
{
    // Left is T x back: N1 for a back along -N2.
    double angle = atan2(-back[1] * middle[0] + back[0] * middle[1], back[0] * middle[0] + back[1] * middle[1]);
    if (row->side == RLV_BODY_MEDIAN)
        return fabs(angle) > 0.5 * M_PI ? M_PI : 0.0;
    return row->side == RLV_BODY_LEFT ? fabs(angle) : -fabs(angle);
}

rlv_status rlv_body_plan_order(const rlv_skeleton* skeleton, size_t* order, rlv_error* error)
{
    size_t rows = skeleton->told->row_count;
    double(*middle)[2] = rlv_reserve(rows, sizeof *middle, error);
    angled_row* angled = rlv_reserve(rows, sizeof *angled, error);
    rlv_status status = middle != NULL && angled != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        double back[2];
        for (size_t r = 0; r < rows; r++)
            middle_of_row(skeleton, r, middle[r]);
        bool told = find_back(skeleton, middle, back);
        for (size_t r = 0; r < rows; r++)
            angled[r] = (angled_row){told ? angle_of(&skeleton->row[r], middle[r], back) : 0.0, r};
        qsort(angled, rows, sizeof *angled, by_angle);
        for (size_t r = 0; r < rows; r++)
            order[r] = angled[r].row;
    }
    free(middle);
    free(angled);
    return status;
}

// --- Where everything stands -----------------------------------------------------------------------------------------

/// Life positions of all elements and of the unfilled places, by row and place, each once; and where they lie along the
/// axis: each is sought from the one before it, so that a body that comes near to itself is not mistaken.
static void lay_places(plan_lay* lay, const rlv_skeleton* skeleton)
{
    const rlv_articulation* told = skeleton->told;
    for (size_t i = 0; i < told->count; i++)
        if (has_life(&told->element[i]))
        {
            lay->place[lay->place_count] =
                (plan_place){.row = skeleton->element[i].row, .place = told->element[i].place, .of = i};
            lay->place_count++;
        }
    for (size_t i = 0; i < told->unfilled_count; i++)
        lay->place[lay->place_count++] = (plan_place){.row = told->unfilled[i].row,
                                                      .place = told->unfilled[i].place,
                                                      .of = i,
                                                      .unfilled = true,
                                                      .corridor = told->unfilled[i].corridor};
    qsort(lay->place, lay->place_count, sizeof *lay->place, by_place);
    for (size_t i = 0; i < lay->place_count; i++)
    {
        plan_place* place = &lay->place[i];
        rlv_vec3 at_mm = place->unfilled ? told->unfilled[place->of].position_mm : told->element[place->of].life_mm;
        const plan_place* before = i > 0 && place[-1].row == place->row ? &place[-1] : NULL;
        double pitch = told->row[place->row].pitch_mm > 0.0 ? told->row[place->row].pitch_mm : told->axis.step_mm;
        double near = before != NULL ? before->life_mm + pitch * (place->place - before->place)
                                     : nearest_on_axis(&told->axis, at_mm);
        double reach = 2.0 * pitch * (before != NULL ? 1.0 + place->place - before->place : 2.0);
        place->life_mm = rlv_body_axis_foot(&told->axis, at_mm, near, reach);
    }
}

/// Leave the rows without life positions out of the order.
static void keep_rows(plan_lay* lay, size_t rows)
{
    for (size_t r = 0; r < rows; r++)
    {
        size_t row = lay->order[r], i = 0;
        while (i < lay->place_count && lay->place[i].row != row)
            i++;
        if (i == lay->place_count)
            continue;
        lay->rank[row] = lay->row_count;
        lay->order[lay->row_count++] = row;
    }
}

static const plan_place* place_of(const plan_lay* lay, size_t row, int place)
{
    const plan_place key = {.row = row, .place = place};
    return bsearch(&key, lay->place, lay->place_count, sizeof key, by_place);
}

static int by_size(const void* one, const void* other)
{
    const double *a = one, *b = other;
    return *a < *b ? -1 : *a > *b;
}

/// Half the median length and width of a row's elements; a third of its pitch where none was measured.
static void size_rows(plan_lay* lay, const rlv_skeleton* skeleton, double* room)
{
    const rlv_articulation* told = skeleton->told;
    for (size_t r = 0; r < told->row_count; r++)
        for (int k = 0; k < 2; k++)
        {
            size_t count = 0;
            for (size_t i = 0; i < told->count; i++)
            {
                const rlv_element* e = &skeleton->element[i].element;
                double size = k == 0 ? e->length_mm.value : e->width_mm.value;
                if (skeleton->element[i].row == r && isfinite(size))
                    room[count++] = size;
            }
            qsort(room, count, sizeof *room, by_size);
            double pitch = told->row[r].pitch_mm > 0.0 ? told->row[r].pitch_mm : 10.0;
            lay->row_mm[r][k] = count > 0 ? 0.5 * room[count / 2] : pitch / 3.0;
        }
}

static plan_plate plate_of(const plan_lay* lay, const rlv_skeleton* skeleton, size_t i)
{
    const rlv_articulation* told = skeleton->told;
    const rlv_articulated* one = &told->element[i];
    const rlv_element* e = &skeleton->element[i].element;
    size_t row = skeleton->element[i].row;
    const plan_place* place = has_life(one) ? place_of(lay, row, one->place) : NULL;
    plan_plate plate = {.element = i, .placed = place != NULL};
    plate.half_mm[0] = isfinite(e->length_mm.value) ? 0.5 * e->length_mm.value : lay->row_mm[row][0];
    plate.half_mm[1] = isfinite(e->width_mm.value) ? 0.5 * e->width_mm.value : lay->row_mm[row][1];
    if (place == NULL)
    {
        rlv_vec3 at = rlv_vec3_of(e->position_mm[0], e->position_mm[1], e->position_mm[2]);
        plate.at_mm[0] = plate.life_mm = nearest_on_axis(&told->axis, at);
        return plate;
    }
    plate.life_mm = place->life_mm;
    plate.at_mm[0] = plate.life_mm + (isfinite(one->motion.along_mm.value) ? one->motion.along_mm.value : 0.0);
    plate.at_mm[1] = isfinite(one->motion.across_mm.value) ? one->motion.across_mm.value : 0.0;
    rlv_vec3 lengthwise = rlv_vec3_of(e->frame[0], e->frame[3], e->frame[6]);
    if ((e->known & RLV_ELEMENT_LONG) != 0)
        plate.turn_rad = atan2(rlv_vec3_dot(lengthwise, rlv_mat3_column(one->body, 1)),
                               rlv_vec3_dot(lengthwise, rlv_mat3_column(one->body, 0)));
    return plate;
}

#define BEYOND 0.12 // of the axis's length: what moved farther off its ends is cut

static void lay_plates(plan_lay* lay, const rlv_skeleton* skeleton)
{
    const rlv_articulation* told = skeleton->told;
    for (int still = 1; still >= 0; still--)
        for (size_t i = 0; i < told->count; i++)
            if ((told->element[i].state == RLV_IN_PLACE) == (still == 1))
            {
                lay->plate[lay->plate_count] = plate_of(lay, skeleton, i);
                lay->unassigned = lay->unassigned || !lay->plate[lay->plate_count].placed;
                lay->plate_count++;
            }
    for (size_t i = 0; i < lay->place_count; i++)
        for (size_t k = 0; k < lay->plate_count && !lay->place[i].unfilled; k++)
            if (lay->plate[k].element == lay->place[i].of)
                lay->place[i].plate = k;
    double length = rlv_body_axis_length_mm(&told->axis), beyond = BEYOND * length;
    lay->from_mm = 0.0;
    lay->to_mm = length;
    for (size_t i = 0; i < lay->place_count; i++)
    {
        double half = lay->row_mm[lay->place[i].row][0];
        lay->from_mm = fmin(lay->from_mm, lay->place[i].life_mm - half);
        lay->to_mm = fmax(lay->to_mm, lay->place[i].life_mm + half);
    }
    for (size_t i = 0; i < lay->plate_count; i++)
    {
        const plan_plate* plate = &lay->plate[i];
        lay->from_mm = fmin(lay->from_mm, fmax(plate->at_mm[0] - plate->half_mm[0], -beyond));
        lay->to_mm = fmax(lay->to_mm, fmin(plate->at_mm[0] + plate->half_mm[0], length + beyond));
    }
}

rlv_status plan_lay_make(plan_lay* lay, const rlv_skeleton* skeleton, rlv_error* error)
{
    const rlv_articulation* told = skeleton->told;
    size_t rows = told->row_count, most = told->count + told->unfilled_count;
    lay->order = rlv_reserve(rows, sizeof *lay->order, error);
    lay->rank = rlv_reserve(rows, sizeof *lay->rank, error);
    lay->row_mm = rlv_reserve(rows, sizeof *lay->row_mm, error);
    lay->plate = rlv_reserve(told->count, sizeof *lay->plate, error);
    lay->place = rlv_reserve(most, sizeof *lay->place, error);
    double* room = rlv_reserve(told->count, sizeof *room, error);
    rlv_status status = RLV_SYSTEM;
    if (lay->order != NULL && lay->rank != NULL && lay->row_mm != NULL && lay->plate != NULL && lay->place != NULL &&
        room != NULL)
        status = rlv_body_plan_order(skeleton, lay->order, error);
    if (status == RLV_DONE)
    {
        lay_places(lay, skeleton);
        keep_rows(lay, rows);
        size_rows(lay, skeleton, room);
        lay_plates(lay, skeleton);
        lay->tray = lay->unassigned || lay->row_count < rows;
    }
    free(room);
    return status;
}

void plan_lay_free(plan_lay* lay)
{
    free(lay->order);
    free(lay->rank);
    free(lay->row_mm);
    free(lay->plate);
    free(lay->place);
    *lay = (plan_lay){0};
}
