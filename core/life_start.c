#include "life.h"

#include "order.h"

#include <stdlib.h>
#include <string.h>

/// Rounds of weights by the inverse of the distance: each brings the fit closer to the least sum of distances.
enum
{
    L1_ROUNDS = 20,
    CENTRE_ROUNDS = 4,
};

/// A row's first curve is smoothed as places 28 mm apart are with a penalty of one: that leaves a circle of 70 mm
/// radius within 2 mm of itself. Not over more than about a dozen places: with a penalty of 20.
static const double FIRST_PITCH_MM = 28.0, MOST_FIRST_FINENESS = 2.7;

/// A distance below this, in mm, weighs no more for being smaller.
static const double LEAST_DISTANCE_MM = 0.5;

/// Penalties of the middle of the rows. Both are stiff: an axis that followed the one row that begins first, and then
/// the next, had a kink where each begins, and false alarms there were five times those inside a row.
static const rlv_smoother_penalty MIDDLE_PENALTY = {.own = 1e3, .shared = 1e4};

/// Steps of the axis, in mm, over its length.
static const double AXIS_STEPS = 400.0;

static int by_row_and_place(const void* a, const void* b)
{
    const rlv_life_element *x = a, *y = b;
    if (x->row != y->row)
        return x->row < y->row ? -1 : 1;
    if (x->slot != y->slot)
        return x->slot < y->slot ? -1 : 1;
    return x->given < y->given ? -1 : x->given > y->given;
}

static rlv_status reserve_life(rlv_life* life, size_t count, size_t row_count, rlv_error* error)
{
    if ((life->element = rlv_reserve(count, sizeof *life->element, error)) == NULL ||
        (life->row = rlv_reserve(row_count, sizeof *life->row, error)) == NULL ||
        (life->first = rlv_reserve(row_count + 1, sizeof *life->first, error)) == NULL ||
        (life->block = rlv_reserve(row_count + 1, sizeof *life->block, error)) == NULL)
        return RLV_SYSTEM;
    return RLV_DONE;
}

/// The longest run of places that a row may have: what is further apart is a slip of the pen.
static const int MOST_PLACES = 1000;

static size_t fullest_row(const rlv_life* life)
{
    size_t best = 0;
    for (size_t r = 1; r < life->rows; r++)
        if (life->row[r].end - life->row[r].begin > life->row[best].end - life->row[best].begin)
            best = r;
    return best;
}

/// Take the rows that have elements enough, and lay a slot for each of their places.
static rlv_status take_rows(rlv_life* life, size_t count, const rlv_placed_element* element, size_t row_count,
                            const rlv_articulation_row* row, const rlv_life_shape* shape, rlv_error* error)
{
    for (size_t r = 0; r < row_count; r++)
    {
        const bool shaped = shape != NULL && shape[r].along_mm != NULL && !shape[r].misfits;
        size_t held = 0;
        int low = INT_MAX, high = INT_MIN;
        for (size_t i = 0; i < count; i++)
            if (element[i].row == r && rlv_life_has_place(&element[i]))
            {
                held++;
                low = element[i].place_low < low ? element[i].place_low : low;
                high = element[i].place_low > high ? element[i].place_low : high;
            }
        if (held < (shaped ? RLV_COMPARED_LEAST : RLV_ARTICULATION_LEAST))
            continue;
        if (row[r].first <= row[r].last)
            low = row[r].first < low ? row[r].first : low, high = row[r].last > high ? row[r].last : high;
        if ((long)high - low >= MOST_PLACES)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "check the place numbers",
                            "row %zu runs from place %d to %d, over %d places", r + 1, low, high, MOST_PLACES);
        const size_t used = life->rows++;
        life->row[used] = (rlv_life_row){.given = r,
                                         .first = low,
                                         .begin = life->count,
                                         .guest = held < RLV_ARTICULATION_LEAST,
                                         .shape = shaped ? &shape[r] : NULL,
                                         .scale = 1.0};
        life->first[used + 1] = life->first[used] + (size_t)(high - low + 1);
        for (size_t i = 0; i < count; i++)
            if (element[i].row == r && rlv_life_has_place(&element[i]))
                life->element[life->count++] =
                    (rlv_life_element){.given = i,
                                       .row = used,
                                       .slot = life->first[used] + (size_t)(element[i].place_low - low),
                                       .trust = {1.0, 1.0}};
        life->row[used].end = life->count;
    }
    if (life->rows > 0)
        life->row[fullest_row(life)].guest = false; // some row there must be
    if (life->rows == 0)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "number the places of more elements",
                        "no row has %d elements with a known place", RLV_ARTICULATION_LEAST);
    life->slots = life->first[life->rows];
    return RLV_DONE;
}

/// The shape of a row at its slots. Beyond the shape's own ends it goes on with its last bend: as what costs nothing
/// there.
static void lay_shape(rlv_life* life, size_t row, const rlv_life_shape* shape)
{
    const long all = (long)shape->last - shape->first;
    for (size_t i = life->first[row]; i < life->first[row + 1]; i++)
    {
        const long at = (long)rlv_life_place_of(life, row, i) - shape->first;
        life->shaped[i] = at >= 0 && at <= all;
        const long near = at < 0 ? 0 : at > all ? all : at, on = near < all - 1 ? near : all - 2 > 0 ? all - 2 : 0;
        // Newton's parabola through three neighbours, at its own places exact.
        const double *v = shape->along_mm + on, t = (double)(at - on);
        life->shape[i] = v[0] + t * (v[1] - v[0]) + 0.5 * t * (t - 1.0) * (v[2] - 2.0 * v[1] + v[0]);
        if (life->shaped[i])
            life->shape[i] = shape->along_mm[at];
    }
}

static rlv_status lay_rows(rlv_life* life, size_t count, const rlv_placed_element* element, size_t row_count,
                           const rlv_articulation_row* row, const rlv_life_shape* shape, rlv_error* error)
{
    if (reserve_life(life, count, row_count, error) != RLV_DONE)
        return RLV_SYSTEM;
    rlv_status status = take_rows(life, count, element, row_count, row, shape, error);
    if (status != RLV_DONE)
        return status;
    qsort(life->element, life->count, sizeof *life->element, by_row_and_place);
    for (size_t i = 0; i < life->count; i++)
    {
        rlv_life_element* e = &life->element[i];
        e->measured = &element[e->given].element;
        e->at_mm = rlv_vec3_of(e->measured->position_mm[0], e->measured->position_mm[1], e->measured->position_mm[2]);
        memcpy(e->frame.m, e->measured->frame, sizeof e->frame.m);
    }
    size_t block = 0;
    for (size_t r = 0; r < life->rows; r++)
    {
        const size_t n = life->first[r + 1] - life->first[r];
        life->block[r] = block;
        block += n * n;
    }
    for (size_t k = 0; k < RLV_LIFE_VALUES; k++)
        if ((life->value[k] = rlv_reserve(life->slots, sizeof(double), error)) == NULL)
            return RLV_SYSTEM;
    for (size_t k = 0; k < RLV_LIFE_SPREADS; k++)
        if ((life->covariance[k] = rlv_reserve(block, sizeof(double), error)) == NULL)
            return RLV_SYSTEM;
    if ((life->room[0] = rlv_reserve(life->slots, sizeof(double), error)) == NULL ||
        (life->room[1] = rlv_reserve(life->slots, sizeof(double), error)) == NULL ||
        (life->base_line = rlv_reserve(life->slots, sizeof(double), error)) == NULL ||
        (life->gap = rlv_reserve(life->slots, sizeof(bool), error)) == NULL ||
        (life->gap_p = rlv_reserve(life->slots, sizeof(double), error)) == NULL ||
        (life->shape = rlv_reserve(life->slots, sizeof(double), error)) == NULL ||
        (life->shaped = rlv_reserve(life->slots, sizeof(bool), error)) == NULL ||
        (life->stretch = rlv_reserve(life->slots, sizeof(double), error)) == NULL)
        return RLV_SYSTEM;
    for (size_t r = 0; r < life->rows; r++)
        if (life->row[r].shape != NULL)
            lay_shape(life, r, life->row[r].shape);
    return RLV_DONE;
}

// First curves: each row on its own

/// The median distance of neighbours, for each place between them.
static double plain_pitch(const rlv_life* life, size_t row, double* room)
{
    size_t n = 0;
    for (size_t i = life->row[row].begin; i + 1 < life->row[row].end; i++)
    {
        const size_t places = life->element[i + 1].slot - life->element[i].slot;
        if (places > 0)
            room[n++] =
                rlv_vec3_length(rlv_vec3_sub(life->element[i + 1].at_mm, life->element[i].at_mm)) / (double)places;
    }
    if (n == 0)
        return 1.0;
    return fmax(rlv_median_sorting(n, room), 1e-3);
}

static void part_of(rlv_vec3 v, double part[3])
{
    part[0] = v.x, part[1] = v.y, part[2] = v.z;
}

/// A curve through each row: the least sum of distances, with a penalty. `curve` gets a point a slot.
static rlv_status first_curves(rlv_life* life, rlv_vec3* curve, rlv_error* error)
{
    rlv_smoother s = {0};
    double* room = rlv_reserve(6 * life->slots + life->rows + life->count, sizeof *room, error);
    rlv_status status = room == NULL ? RLV_SYSTEM : RLV_DONE;
    if (status == RLV_DONE)
    {
        double *weight = room, *sum = room + life->slots, *value = room + 4 * life->slots,
               *u = weight + 5 * life->slots, *fine = u + life->slots, *pitches = fine + life->rows;
        for (size_t r = 0; r < life->rows; r++)
        {
            fine[r] = fmin(FIRST_PITCH_MM / plain_pitch(life, r, pitches), MOST_FIRST_FINENESS);
            for (size_t i = life->first[r]; i < life->first[r + 1]; i++)
                u[i] = (double)(i - life->first[r]);
        }
        status = rlv_smoother_lay(&s, life->rows, life->first, u, fine, NULL, 2, 0, NULL, NULL, error);
        for (int round = 0; round < L1_ROUNDS && status == RLV_DONE; round++)
        {
            memset(weight, 0, 4 * life->slots * sizeof *weight);
            for (size_t i = 0; i < life->count; i++)
            {
                const rlv_life_element* e = &life->element[i];
                const double off = rlv_vec3_length(rlv_vec3_sub(e->at_mm, curve[e->slot]));
                const double w = round == 0 ? 1.0 : 1.0 / fmax(off / LEAST_DISTANCE_MM, 1.0);
                double part[3];
                part_of(e->at_mm, part);
                weight[e->slot] += w;
                for (size_t k = 0; k < 3; k++)
                    sum[k * life->slots + e->slot] += w * part[k];
            }
            rlv_smoother_factor(&s, weight, (rlv_smoother_penalty){.own = 1.0});
            for (size_t k = 0; k < 3; k++)
            {
                rlv_smoother_fit(&s, sum + k * life->slots, value, NULL);
                for (size_t i = 0; i < life->slots; i++)
                    *(k == 0 ? &curve[i].x : k == 1 ? &curve[i].y : &curve[i].z) = value[i];
            }
        }
    }
    rlv_smoother_free(&s);
    free(room);
    return status;
}

// A first axis: the row with most elements, and the others laid beside it

/// Lay a guest beside the axis by its elements: where each lies nearest to it, and its shape moved and scaled to these.
/// `curve` gets its life positions.
static void lay_guest(rlv_life* life, size_t row, rlv_vec3* curve)
{
    enum
    {
        STARTS = 200,
    };
    const double whole = rlv_body_axis_length_mm(&life->axis);
    const size_t begin = life->row[row].begin, held = life->row[row].end - begin, from = life->first[row];
    double x = 0.0, y = 0.0, xx = 0.0, xy = 0.0, a = 0.0, b = 0.0;
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = begin; i < begin + held; i++)
        {
            const rlv_life_element* e = &life->element[i];
            double near = 0.0, least = INFINITY;
            for (int k = 0; k <= STARTS; k++)
            {
                const double at = whole * (-0.2 + 1.4 * k / STARTS),
                             off = rlv_vec3_length(rlv_vec3_sub(e->at_mm, rlv_body_axis_at(&life->axis, at).at_mm));
                if (off < least)
                    least = off, near = at;
            }
            const double foot = rlv_body_axis_foot(&life->axis, e->at_mm, near, 0.05 * whole);
            const rlv_body_frame f = rlv_body_axis_at(&life->axis, foot);
            const rlv_vec3 d = rlv_vec3_sub(e->at_mm, f.at_mm);
            const double at = life->shape[e->slot], share = 1.0 / (double)held;
            if (pass == 0)
                x += share * at, y += share * foot, a += share * rlv_vec3_dot(d, f.side),
                    b += share * rlv_vec3_dot(d, f.other);
            else
                xx += (at - x) * (at - x), xy += (at - x) * (foot - y);
        }
    const double scale = xx > 0.0 && xy > 0.0 ? xy / xx : 1.0;
    for (size_t i = from; i < life->first[row + 1]; i++)
    {
        life->value[0][i] = y + scale * (life->shape[i] - x), life->value[1][i] = a, life->value[2][i] = b;
        curve[i] = rlv_life_at(life, row, i).at_mm;
    }
}

/// Find distances along the axis, even from place to place, at which a row's places are nearest to it on the whole.
static void lay_beside(rlv_life* life, size_t row, const rlv_vec3* curve)
{
    enum
    {
        STARTS = 80,
        PITCHES = 25,
    };
    const size_t from = life->first[row], n = life->first[row + 1] - from;
    double length = 0.0, best = INFINITY, start = 0.0, pitch = 1.0;
    for (size_t i = 1; i < n; i++)
        length += rlv_vec3_length(rlv_vec3_sub(curve[from + i], curve[from + i - 1]));
    const double whole = rlv_body_axis_length_mm(&life->axis), plain = length / (double)(n - 1);
    for (int a = 0; a <= STARTS; a++)
        for (int b = 0; b <= PITCHES; b++)
        {
            const double at = whole * (-0.3 + 1.2 * a / STARTS), step = plain * (0.5 + 1.3 * b / PITCHES);
            double sum = 0.0;
            for (size_t i = 0; i < n && sum < best; i++)
                sum += rlv_vec3_length(
                    rlv_vec3_sub(curve[from + i], rlv_body_axis_at(&life->axis, at + step * (double)i).at_mm));
            if (sum < best)
                best = sum, start = at, pitch = step;
        }
    // Then each place on its own, near there, no further on than its neighbour's neighbour.
    for (size_t i = 0; i < n; i++)
        life->value[0][from + i] =
            rlv_body_axis_foot(&life->axis, curve[from + i], start + pitch * (double)i, 3.0 * pitch + 0.03 * whole);
}

/// Offsets of the curves from the axis.
static void measure_offsets(rlv_life* life, const rlv_vec3* curve)
{
    for (size_t i = 0; i < life->slots; i++)
    {
        const rlv_body_frame f = rlv_body_axis_at(&life->axis, life->value[0][i]);
        const rlv_vec3 d = rlv_vec3_sub(curve[i], f.at_mm);
        life->value[1][i] = rlv_vec3_dot(d, f.side);
        life->value[2][i] = rlv_vec3_dot(d, f.other);
    }
}

/// A point of a new axis, where the old one was.
typedef struct new_point
{
    double was_mm;
    rlv_vec3 at_mm;
} new_point;

static int by_was(const void* a, const void* b)
{
    const new_point *x = a, *y = b;
    return x->was_mm < y->was_mm ? -1 : x->was_mm > y->was_mm;
}

/// The straight line of each row's own part, and their mean: where the middle of the rows lies beside the axis.
static double middle_of_rows(const rlv_life* life, const double* own, double at_mm)
{
    double sum = 0.0, rows = 0.0;
    for (size_t r = 0; r < life->rows; r++)
    {
        if (life->row[r].guest)
            continue;
        rows += 1.0;
        const size_t from = life->first[r], to = life->first[r + 1] - 1;
        const double wide = life->value[0][to] - life->value[0][from];
        sum += wide > 0.0 ? own[from] + (own[to] - own[from]) * (at_mm - life->value[0][from]) / wide : own[from];
    }
    return sum / rows;
}

/// New points of the axis at every slot of rows that are no guests: the shared part and the mean of the rows' straight
/// lines. `*count` gets how many.
static rlv_status middle_points(rlv_life* life, new_point* point, size_t* count, rlv_error* error)
{
    rlv_smoother* s = &life->smoother[RLV_LIFE_ACROSS];
    double* room = rlv_reserve(6 * life->slots, sizeof *room, error);
    if (room == NULL)
        return RLV_SYSTEM;
    double *weight = room, *value = room + life->slots, *shared[2] = {value + life->slots, value + 2 * life->slots},
           *own = value + 3 * life->slots, *sum = value + 4 * life->slots;
    for (size_t r = 0; r < life->rows; r++)
        for (size_t i = life->first[r]; i < life->first[r + 1]; i++)
            weight[i] = life->row[r].guest ? 0.0 : 1.0;
    rlv_smoother_factor(s, weight, MIDDLE_PENALTY);
    for (size_t k = 0; k < 2; k++)
    {
        for (size_t i = 0; i < life->slots; i++)
            sum[i] = weight[i] * life->value[1 + k][i];
        rlv_smoother_fit(s, sum, value, shared[k]);
        for (size_t i = 0; i < life->slots; i++)
            own[i] = value[i] - shared[k][i];
        for (size_t i = 0; i < life->slots; i++)
            shared[k][i] += middle_of_rows(life, own, life->value[0][i]);
    }
    *count = 0;
    for (size_t i = 0; i < life->slots; i++)
    {
        const rlv_body_frame f = rlv_body_axis_at(&life->axis, life->value[0][i]);
        if (weight[i] > 0.0)
            point[(*count)++] =
                (new_point){life->value[0][i],
                            rlv_vec3_along(rlv_vec3_along(f.at_mm, shared[0][i], f.side), shared[1][i], f.other)};
    }
    free(room);
    return RLV_DONE;
}

/// Keep points that lie apart, by where the axis was. Returns how many.
static size_t thin_points(new_point* point, size_t count, double apart_mm)
{
    size_t kept = 1;
    qsort(point, count, sizeof *point, by_was);
    for (size_t i = 1; i < count; i++)
        if (point[i].was_mm - point[kept - 1].was_mm >= apart_mm)
            point[kept++] = point[i];
    return kept;
}

/// Where a place of the old axis lies on the new one, by the chords between its points.
static double carried_over(const new_point* point, size_t count, double was_mm)
{
    size_t i = 0;
    double sum = 0.0;
    while (i + 2 < count && point[i + 1].was_mm < was_mm)
    {
        sum += rlv_vec3_length(rlv_vec3_sub(point[i + 1].at_mm, point[i].at_mm));
        i++;
    }
    const double chord = rlv_vec3_length(rlv_vec3_sub(point[i + 1].at_mm, point[i].at_mm));
    return sum + chord * (was_mm - point[i].was_mm) / (point[i + 1].was_mm - point[i].was_mm);
}

/// Move the axis to the middle of the rows. `curve` holds the life positions, which stay.
static rlv_status centre_on(rlv_life* life, const rlv_vec3* curve, rlv_error* error)
{
    rlv_status status = rlv_life_lay(life, error);
    new_point* point = rlv_reserve(life->slots, sizeof *point, error);
    rlv_vec3* at = rlv_reserve(life->slots, sizeof *at, error);
    rlv_body_axis axis = {0};
    size_t points = 0;
    if (status == RLV_DONE && (point == NULL || at == NULL))
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
        status = middle_points(life, point, &points, error);
    if (status == RLV_DONE)
    {
        double low = INFINITY, high = -INFINITY;
        for (size_t i = 0; i < points; i++)
            low = fmin(low, point[i].was_mm), high = fmax(high, point[i].was_mm);
        const size_t kept = thin_points(point, points, (high - low) / 60.0);
        for (size_t i = 0; i < kept; i++)
            at[i] = point[i].at_mm;
        if (kept < 3)
            status = rlv_fail(error, RLV_IMPOSSIBLE, NULL, "check positions and place numbers",
                              "the elements do not lie along a body");
        else
            status = rlv_body_axis_lay(&axis, kept, at, (high - low) / AXIS_STEPS, error);
        if (status == RLV_DONE)
        {
            rlv_body_axis_free(&life->axis);
            life->axis = axis;
            for (size_t i = 0; i < life->slots; i++)
                life->value[0][i] = rlv_body_axis_foot(
                    &life->axis, curve[i], carried_over(point, kept, life->value[0][i]), 0.1 * (high - low));
            measure_offsets(life, curve);
        }
        else
            rlv_body_axis_free(&axis);
    }
    free(point);
    free(at);
    return status;
}

rlv_status rlv_life_centre(rlv_life* life, rlv_error* error)
{
    rlv_vec3* curve = rlv_reserve(life->slots, sizeof *curve, error);
    if (curve == NULL)
        return RLV_SYSTEM;
    for (size_t r = 0; r < life->rows; r++)
        for (size_t i = life->first[r]; i < life->first[r + 1]; i++)
            curve[i] = rlv_life_at(life, r, i).at_mm;
    rlv_status status = centre_on(life, curve, error);
    free(curve);
    if (status == RLV_DONE)
        status = rlv_life_lay(life, error);
    return status;
}

rlv_status rlv_life_start(rlv_life* life, size_t count, const rlv_placed_element* element, size_t row_count,
                          const rlv_articulation_row* row, const rlv_life_shape* shape, rlv_error* error)
{
    rlv_status status = lay_rows(life, count, element, row_count, row, shape, error);
    if (status != RLV_DONE)
        return status;
    rlv_vec3* curve = rlv_reserve(life->slots, sizeof *curve, error);
    if (curve == NULL)
        return RLV_SYSTEM;
    status = first_curves(life, curve, error);
    if (status == RLV_DONE)
    {
        const size_t base = fullest_row(life), from = life->first[base], n = life->first[base + 1] - from;
        double length = 0.0;
        for (size_t i = 1; i < n; i++)
            length += rlv_vec3_length(rlv_vec3_sub(curve[from + i], curve[from + i - 1]));
        status = rlv_body_axis_lay(&life->axis, n, curve + from, length / AXIS_STEPS, error);
    }
    for (size_t r = 0; r < life->rows && status == RLV_DONE; r++)
        if (!life->row[r].guest)
            lay_beside(life, r, curve);
    if (status == RLV_DONE)
        measure_offsets(life, curve);
    for (size_t r = 0; r < life->rows && status == RLV_DONE; r++)
        if (life->row[r].guest)
            lay_guest(life, r, curve);
    for (int round = 0; round < CENTRE_ROUNDS && status == RLV_DONE; round++)
        status = centre_on(life, curve, error);
    free(curve);
    if (status == RLV_DONE)
        status = rlv_life_lay(life, error);
    if (status == RLV_DONE)
        status = rlv_life_base(life, error);
    return status;
}
