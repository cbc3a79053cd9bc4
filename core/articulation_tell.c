#include "articulation_tell.h"

#include "articulation_length.h"
#include "pose.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

/// Elements, from which what is displaced in a row is found surely.
static const size_t SURE_ROW = 15;

/// The F distribution's 95 % lie below this for one degree of freedom: 215.7.
static const double MOST_F = 250.0;

static const double DEGREE = M_PI / 180.0;

static const rlv_interval UNTOLD = {NAN, NAN, NAN};

void rlv_articulation_free(rlv_articulation* a)
{
    rlv_body_axis_free(&a->axis);
    free(a->element);
    free(a->row);
    free(a->group);
    free(a->unfilled);
    free(a->gap);
    *a = (rlv_articulation){0};
}

const char* rlv_articulation_state_word(rlv_articulation_state state)
{
    static const char* const word[RLV_ARTICULATION_STATES] = {"in place", "shifted", "rotated", "inverted",
                                                              "unassigned"};
    return word[state];
}

const char* rlv_articulation_word_of(rlv_articulation_word word)
{
    static const char* const said[] = {"articulated", "associated", "isolated"};
    return said[word];
}

// Intervals

static rlv_interval about(double value, double half)
{
    return (rlv_interval){value, value - half, value + half};
}

/// Length of a vector of parts: sds are known with so many degrees of freedom.
static rlv_interval length_interval(const rlv_length_table* table, const double* off, const double* variance, int parts,
                                    double freedom)
{
    return rlv_length_of(table, parts, off, variance,
                         gsl_cdf_tdist_Pinv(0.975, freedom) / gsl_cdf_ugaussian_Pinv(0.975));
}

/// Where a distribution function of two degrees reaches a share, by halving between 0 and `most`. (GSL's own inverses
/// end the program where they do not converge.)
static double quantile(double (*below)(double, double, double), double a, double b, double most, double share)
{
    double low = 0.0, high = most;
    for (int n = 0; n < 60; n++)
    {
        const double middle = 0.5 * (low + high);
        if (below(middle, a, b) < share)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

rlv_interval rlv_articulation_share(double some, double all)
{
    const double rest = all - some;
    if (!(all > 0.0))
        return UNTOLD;
    return (rlv_interval){some / all, some > 0.0 ? quantile(gsl_cdf_beta_P, some, rest + 1.0, 1.0, 0.025) : 0.0,
                          rest > 0.0 ? quantile(gsl_cdf_beta_P, some + 1.0, rest, 1.0, 0.975) : 1.0};
}

// Directions

/// Along, across and out at a life position: out is the pole where the row has attitudes, else away from the axis.
static rlv_mat3 body_axes(const rlv_life* life, size_t row, const rlv_life_place* p)
{
    const rlv_vec3 t = p->frame.along;
    rlv_vec3 out = life->row[row].turned ? rlv_mat3_column(p->attitude, 2) : rlv_vec3_sub(p->at_mm, p->frame.at_mm);
    out = rlv_vec3_unit(rlv_vec3_along(out, -rlv_vec3_dot(out, t), t));
    if (!(rlv_vec3_length(out) > 0.5))
        out = p->frame.side;
    return rlv_mat3_of_columns(t, rlv_vec3_cross(t, out), out);
}

/// Variances along the body axes of what has variances along T, N1 and N2.
static void turn_variances(const rlv_life_place* p, const rlv_mat3* body, const double from[3], double to[3])
{
    const rlv_vec3 axis[3] = {p->frame.along, p->frame.side, p->frame.other};
    for (int k = 0; k < 3; k++)
    {
        to[k] = 0.0;
        for (int i = 0; i < 3; i++)
            to[k] += pow(rlv_vec3_dot(axis[i], rlv_mat3_column(*body, k)), 2.0) * from[i];
    }
}

/// sum of variance_i axis_i axis_i'
static void lay_covariance(const rlv_life_place* p, const double variance[3], double covariance[9])
{
    const rlv_vec3 axis[3] = {p->frame.along, p->frame.side, p->frame.other};
    memset(covariance, 0, 9 * sizeof *covariance);
    for (int i = 0; i < 3; i++)
    {
        const double a[3] = {axis[i].x, axis[i].y, axis[i].z};
        for (int r = 0; r < 3; r++)
            for (int c = 0; c < 3; c++)
                covariance[3 * r + c] += variance[i] * a[r] * a[c];
    }
}

/// A shift in body axes, from parts along T, N1 and N2 with their variances.
static void tell_shift(rlv_body_motion* m, const rlv_length_table* lengths, const rlv_life* life,
                       const rlv_life_place* p, const rlv_mat3* body, const double off[3], const double variance[3],
                       double pitch_mm)
{
    const rlv_vec3 d =
        rlv_vec3_add(rlv_vec3_scale(p->frame.along, off[0]),
                     rlv_vec3_add(rlv_vec3_scale(p->frame.side, off[1]), rlv_vec3_scale(p->frame.other, off[2])));
    double own[3], part[3];
    turn_variances(p, body, variance, own);
    for (int k = 0; k < 3; k++)
        part[k] = rlv_vec3_dot(d, rlv_mat3_column(*body, k));
    const double t = gsl_cdf_tdist_Pinv(0.975, rlv_life_freedom(life));
    m->along_mm = about(part[0], t * sqrt(own[0]));
    m->across_mm = about(part[1], t * sqrt(own[1]));
    m->out_mm = about(part[2], t * sqrt(own[2]));
    m->shift_mm = length_interval(lengths, part, own, 3, rlv_life_freedom(life));
    m->shift_pitches = m->shift_mm.value / pitch_mm;
}

static rlv_interval in_degrees(rlv_interval i)
{
    return (rlv_interval){i.value / DEGREE, i.low / DEGREE, i.high / DEGREE};
}

/// An angle between 0 and 180 degrees.
static rlv_interval angle_in_degrees(rlv_interval i)
{
    return in_degrees((rlv_interval){fmin(i.value, M_PI), fmin(i.low, M_PI), fmin(i.high, M_PI)});
}

/// A turn: its whole angle, the part about the pole, the tilt of the pole and where it leans to.
static void tell_turn(rlv_body_motion* m, const rlv_length_table* lengths, const rlv_life* life, const rlv_life_test* t,
                      const rlv_mat3* attitude, const rlv_mat3* body)
{
    double off[3], variance[3];
    int parts = 0;
    m->rotation_deg = m->about_pole_deg = m->tilt_deg = UNTOLD;
    m->tilt_direction_deg = NAN;
    for (int k = 0; k < 3; k++)
        if (isfinite(t->variance[3 + k]))
            off[parts] = t->off[3 + k], variance[parts++] = t->variance[3 + k];
    if (parts == 0)
        return;
    const double freedom = life->spread[RLV_LIFE_TURN].freedom;
    m->rotation_deg = angle_in_degrees(length_interval(lengths, off, variance, parts, freedom));
    const rlv_vec3 turn = rlv_vec3_of(t->off[3], t->off[4], t->off[5]);
    const rlv_mat3 off_matrix = rlv_rotation_from_vector(turn);
    const rlv_vec3 pole = rlv_mat3_column(off_matrix, 2);
    if (isfinite(t->variance[3]) && isfinite(t->variance[4]))
    {
        // The pole's lean as a vector of two: the parts of the smallest turn that brings it there.
        const double tilt = atan2(hypot(pole.x, pole.y), pole.z), sine = hypot(pole.x, pole.y),
                     lean[2] = {sine > 0.0 ? -tilt * pole.y / sine : 0.0, sine > 0.0 ? tilt * pole.x / sine : 0.0};
        m->tilt_deg = angle_in_degrees(length_interval(lengths, lean, t->variance + 3, 2, freedom));
        const rlv_vec3 way = rlv_mat3_apply(*attitude, rlv_vec3_of(pole.x, pole.y, 0.0));
        m->tilt_direction_deg =
            atan2(rlv_vec3_dot(way, rlv_mat3_column(*body, 1)), rlv_vec3_dot(way, rlv_mat3_column(*body, 0))) / DEGREE;
    }
    if (isfinite(t->variance[5]) && isfinite(t->variance[4]))
    {
        // The twist of the swing-twist decomposition: its half-angle's tangent is q_z / q_w.
        const double angle = rlv_vec3_length(turn), share = angle > 0.0 ? turn.z / angle : 0.0,
                     twist = remainder(2.0 * atan2(share * sin(0.5 * angle), cos(0.5 * angle)), 2.0 * M_PI);
        m->about_pole_deg = in_degrees(about(isfinite(t->variance[3]) ? twist : turn.z,
                                             gsl_cdf_tdist_Pinv(0.975, freedom) * sqrt(t->variance[5])));
    }
}

// Elements

static double natural_of(const rlv_life* life, size_t value)
{
    return life->spread[rlv_life_kind_of(value)].natural;
}

static double pitch_at(const rlv_life* life, size_t row, size_t slot)
{
    const size_t last = life->first[row + 1] - 1, from = slot > life->first[row] ? slot - 1 : slot,
                 to = slot < last ? slot + 1 : slot;
    const rlv_vec3 a = rlv_life_at(life, row, from).at_mm, b = rlv_life_at(life, row, to).at_mm;
    return fmax(rlv_vec3_length(rlv_vec3_sub(b, a)) / (double)(to - from), 1e-3);
}

/// The p of an element from its tests (R. J. Simes, Biometrika 73, 1986); NaN is no test.
static double simes(double a, double b)
{
    if (isnan(a) || isnan(b))
        return isnan(a) ? b : a;
    return fmin(2.0 * fmin(a, b), fmax(a, b));
}

static void tell_element(rlv_articulation* a, const rlv_length_table* lengths, const rlv_life* life,
                         const rlv_placed_element* element, size_t index)
{
    const rlv_life_element* e = &life->element[index];
    rlv_articulated* told = &a->element[e->given];
    const rlv_life_test t = rlv_articulation_test_of(life, e, element);
    const rlv_life_place p = rlv_life_at(life, e->row, e->slot);
    const bool turned = life->row[e->row].turned;
    double life_variance[3];
    told->place = rlv_life_place_of(life, e->row, e->slot);
    told->why = RLV_NOTHING_TELLS;
    if (!t.told)
        return;
    told->why = RLV_TOLD;
    told->state = RLV_IN_PLACE;
    told->row_end = !e->open && (index == life->row[e->row].begin || index + 1 == life->row[e->row].end);
    told->group = e->group;
    told->body = body_axes(life, e->row, &p);
    // Its life position as the others tell it: where it lies, less what it is off.
    told->life_mm =
        rlv_vec3_along(rlv_vec3_along(rlv_vec3_along(e->at_mm, -t.off[0], p.frame.along), -t.off[1], p.frame.side),
                       -t.off[2], p.frame.other);
    told->along_mm = life->value[0][e->slot];
    for (size_t v = 0; v < 3; v++)
        life_variance[v] = t.known[v] + natural_of(life, v);
    lay_covariance(&p, life_variance, told->life_cov_mm2);
    for (int k = 0; k < 9; k++)
        told->life_frame.m[k] = turned ? p.attitude.m[k] : NAN;
    tell_shift(&told->motion, lengths, life, &p, &told->body, t.off, t.variance, pitch_at(life, e->row, e->slot));
    tell_turn(&told->motion, lengths, life, &t, &p.attitude, &told->body);
    told->p_shift = rlv_life_p_shift(life, &t);
    told->p_rotation = rlv_life_p_turn(life, &t);
    told->p = simes(told->p_shift, told->p_rotation);
}

static int by_p(const void* a, const void* b)
{
    const rlv_articulated *x = *(rlv_articulated*const*)a, *y = *(rlv_articulated*const*)b;
    if (x->p != y->p)
        return x->p < y->p ? -1 : 1;
    return x < y ? -1 : x > y;
}

/// Benjamini and Hochberg's adjusted p: the least of p n / rank from there on. Returns how many are rejected.
static size_t adjust(rlv_articulated** told, size_t count)
{
    double least = 1.0;
    size_t rejected = 0;
    qsort(told, count, sizeof(*told), by_p);
    for (size_t i = count; i-- > 0;)
    {
        told[i]->p_adjusted = least = fmin(least, told[i]->p * (double)count / (double)(i + 1));
        rejected += least < RLV_ARTICULATION_LEVEL;
    }
    return rejected;
}

/// The state of an element that was rejected: its own tests, at the level that was left for it.
static rlv_articulation_state state_of(const rlv_articulated* told, double level, unsigned known)
{
    const bool face = (known & RLV_ELEMENT_POLE) && (known & RLV_ELEMENT_FACE);
    const bool both = !isnan(told->p_shift) && !isnan(told->p_rotation);
    const double each = both && fmax(told->p_shift, told->p_rotation) > level ? 0.5 * level : level;
    if (told->p_rotation <= each && face && told->motion.tilt_deg.value > 90.0)
        return RLV_INVERTED;
    return told->p_rotation <= each ? RLV_ROTATED : told->p_shift <= each ? RLV_SHIFTED : RLV_IN_PLACE;
}

static rlv_status judge(rlv_articulation* a, const rlv_life* life, const rlv_placed_element* element, rlv_error* error)
{
    rlv_articulated** told = rlv_reserve(life->count, sizeof(*told), error);
    if (told == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < life->count; i++)
        if (!isnan(a->element[life->element[i].given].p))
            told[a->tests++] = &a->element[life->element[i].given];
    const size_t rejected = adjust(told, a->tests);
    const double level = RLV_ARTICULATION_LEVEL * (double)rejected / fmax((double)a->tests, 1.0);
    // One more would be rejected at this.
    if (a->tests > 0 && rlv_articulation_tell_detectable(
                            a, life, element,
                            RLV_ARTICULATION_LEVEL * fmin((double)rejected + 1.0, (double)a->tests) / (double)a->tests,
                            error) != RLV_DONE)
    {
        free(told);
        return RLV_SYSTEM;
    }
    for (size_t i = 0; i < life->count; i++)
    {
        rlv_articulated* one = &a->element[life->element[i].given];
        if (one->why != RLV_TOLD)
            continue;
        one->state = state_of(one, level, life->element[i].measured->known);
        if (one->state == RLV_IN_PLACE && one->group > 0)
            one->state = RLV_SHIFTED;
    }
    free(told);
    return RLV_DONE;
}

// Places, rows and parts

static void tell_unfilled(rlv_unfilled* u, const rlv_life* life, size_t row, size_t slot, bool corridor)
{
    const rlv_life_place p = rlv_life_at(life, row, slot);
    double variance[3];
    const bool bare = life->row[row].guest || life->row[row].shape == NULL;
    const double widening = !corridor ? 1.0 : bare ? RLV_LIFE_WIDENING_CORRIDOR : RLV_LIFE_WIDENING;
    for (size_t v = 0; v < 3; v++)
        variance[v] = widening * rlv_life_variance(life, row, slot, v) + natural_of(life, v);
    *u = (rlv_unfilled){.row = life->row[row].given,
                        .place = rlv_life_place_of(life, row, slot),
                        .corridor = corridor,
                        .position_mm = p.at_mm,
                        .radius2 = 3.0 * quantile(gsl_cdf_fdist_P, 3.0, rlv_life_freedom(life), MOST_F, 0.95)};
    lay_covariance(&p, variance, u->covariance_mm2);
}

/// Whether an unfilled place is known better than to the length of its row, along its widest direction at the most.
static bool is_somewhere(const rlv_life* life, size_t row, const rlv_unfilled* u)
{
    const double* c = u->covariance_mm2;
    const double length = life->row[row].pitch_mm * (double)(life->first[row + 1] - life->first[row]);
    return gsl_cdf_tdist_Pinv(0.975, rlv_life_freedom(life)) * sqrt(c[0] + c[4] + c[8]) < length;
}

static rlv_status tell_places(rlv_articulation* a, const rlv_life* life, const bool* filled, rlv_error* error)
{
    if ((a->unfilled = rlv_reserve(life->slots, sizeof *a->unfilled, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t r = 0; r < life->rows; r++)
        for (size_t s = life->first[r]; s < life->first[r + 1]; s++)
        {
            rlv_unfilled* u = &a->unfilled[a->unfilled_count];
            if (filled[s])
                continue;
            tell_unfilled(u, life, r, s, rlv_life_extrapolated(life, r, s, NULL));
            if (is_somewhere(life, r, u))
                a->unfilled_count++;
            else
                a->row[life->row[r].given].lost++;
        }
    return RLV_DONE;
}

static void tell_rows(rlv_articulation* a, const rlv_life* life, size_t count, const rlv_placed_element* element)
{
    for (size_t i = 0; i < count; i++)
        if (a->element[i].state != RLV_UNASSIGNED)
        {
            a->row[element[i].row].held++;
            a->row[element[i].row].in_place += a->element[i].state == RLV_IN_PLACE;
            a->row[element[i].row].placed += a->element[i].placed;
            a->row[element[i].row].margin = fmin(a->row[element[i].row].margin, a->element[i].margin); // NaN is none
        }
    for (size_t r = 0; r < life->rows; r++)
    {
        rlv_articulation_row_told* row = &a->row[life->row[r].given];
        for (size_t i = life->row[r].begin; i < life->row[r].end; i++)
            row->untold += a->element[life->element[i].given].why == RLV_NOTHING_TELLS;
        row->used = true;
        row->compared = life->row[r].shape != NULL;
        row->scale = life->row[r].shape != NULL ? rlv_life_scale_of(life, r) : UNTOLD;
        row->short_row = row->held < SURE_ROW;
        row->first = life->row[r].first;
        row->last = row->first + (int)(life->first[r + 1] - life->first[r]) - 1;
        row->pitch_mm = life->row[r].pitch_mm;
    }
}

size_t rlv_articulation_part_at(const rlv_articulation* a, double along_mm)
{
    size_t part = 0;
    while (part + 1 < a->part_count && along_mm >= a->part[part].to_mm)
        part++;
    return part;
}

static void tell_parts(rlv_articulation* a, const rlv_life* life)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < life->slots; i++)
        low = fmin(low, life->value[0][i]), high = fmax(high, life->value[0][i]);
    a->part_count = RLV_ARTICULATION_PARTS;
    for (size_t k = 0; k < a->part_count; k++)
    {
        rlv_articulation_part* part = &a->part[k];
        part->from_mm = low + (high - low) * (double)k / (double)a->part_count;
        part->to_mm = low + (high - low) * (double)(k + 1) / (double)a->part_count;
    }
    for (size_t i = 0; i < a->count; i++)
    {
        if (a->element[i].why != RLV_TOLD)
            continue;
        rlv_articulation_part* part = &a->part[rlv_articulation_part_at(a, a->element[i].along_mm)];
        part->held++;
        part->in_place += a->element[i].state == RLV_IN_PLACE;
    }
    for (size_t k = 0; k < a->part_count; k++)
        a->part[k].share = rlv_articulation_share((double)a->part[k].in_place, (double)a->part[k].held);
}

/// Whether the axis comes nearer to itself than the body is wide, further along than half around the body.
static bool crosses_itself(const rlv_life* life)
{
    double wide = 0.0;
    for (size_t i = 0; i < life->slots; i++)
        wide = fmax(wide, 2.0 * hypot(life->value[1][i], life->value[2][i]));
    const rlv_body_axis* axis = &life->axis;
    const size_t apart = (size_t)(M_PI * wide / axis->step_mm);
    for (size_t i = 0; i + apart < axis->count; i++)
        for (size_t j = i + apart; j < axis->count; j++)
            if (rlv_vec3_length(rlv_vec3_sub(axis->at_mm[i], axis->at_mm[j])) < wide)
                return true;
    return false;
}

static rlv_status tell_groups(rlv_articulation* a, const rlv_length_table* lengths, const rlv_life* life,
                              const rlv_life_group* group, size_t groups, rlv_error* error)
{
    if ((a->group = rlv_reserve(groups, sizeof *a->group, error)) == NULL)
        return RLV_SYSTEM;
    a->group_count = groups;
    for (size_t g = 0; g < groups; g++)
    {
        const rlv_life_group* m = &group[g];
        const rlv_life_element *first = &life->element[m->first], *last = &life->element[m->last];
        const size_t row = first->row, middle = (first->slot + last->slot) / 2;
        const rlv_life_place p = rlv_life_at(life, row, middle);
        const rlv_mat3 body = body_axes(life, row, &p);
        rlv_articulation_group* told = &a->group[g];
        *told = (rlv_articulation_group){.row = life->row[row].given,
                                         .first = rlv_life_place_of(life, row, first->slot),
                                         .last = rlv_life_place_of(life, row, last->slot),
                                         .p = m->p};
        for (size_t i = 0; i < life->count; i++)
            told->count += a->element[life->element[i].given].group == g + 1;
        tell_shift(&told->motion, lengths, life, &p, &body, m->shift, m->variance, pitch_at(life, row, middle));
        told->motion.rotation_deg = told->motion.about_pole_deg = told->motion.tilt_deg = UNTOLD;
        told->motion.tilt_direction_deg = NAN;
    }
    return RLV_DONE;
}

static rlv_status reserve_told(rlv_articulation* a, size_t count, size_t row_count, rlv_error* error)
{
    a->count = count;
    a->row_count = row_count;
    if ((a->element = rlv_reserve(count, sizeof *a->element, error)) == NULL ||
        (a->row = rlv_reserve(row_count, sizeof *a->row, error)) == NULL)
        return RLV_SYSTEM;
    const rlv_body_motion none = {UNTOLD, UNTOLD, UNTOLD, UNTOLD, NAN, UNTOLD, UNTOLD, UNTOLD, NAN};
    for (size_t i = 0; i < count; i++)
    {
        a->element[i] = (rlv_articulated){.state = RLV_UNASSIGNED,
                                          .why = RLV_ROW_UNUSED,
                                          .place = INT_MIN,
                                          .margin = NAN,
                                          .life_mm = {NAN, NAN, NAN},
                                          .along_mm = NAN,
                                          .motion = none,
                                          .p_shift = NAN,
                                          .p_rotation = NAN,
                                          .p = NAN,
                                          .p_adjusted = NAN,
                                          .detectable_mm = {NAN, NAN},
                                          .nearest = SIZE_MAX,
                                          .nearest_mm = UNTOLD};
        for (int k = 0; k < 9; k++)
            a->element[i].life_cov_mm2[k] = a->element[i].body.m[k] = a->element[i].life_frame.m[k] = NAN;
    }
    for (size_t r = 0; r < row_count; r++)
        a->row[r].pitch_mm = a->row[r].margin = NAN, a->row[r].scale = UNTOLD,
        a->row[r].detectable_mm[0] = a->row[r].detectable_mm[1] = UNTOLD, a->row[r].compared_p = NAN;
    return RLV_DONE;
}

/// What is known of the natural scatter of a kind: chi-square of the variance that was found, less what measuring
/// brings. The midpoint of two neighbours is off by half the variance of an uneven step, and by one and a half of that
/// of scatter: a third of the steps' variance would do for scatter as well.
static rlv_interval scatter_of(const rlv_life* life, rlv_life_kind kind)
{
    const rlv_life_spread* s = &life->spread[kind];
    const double measured = s->unit - s->natural, freedom = fmax(s->freedom, 1.0),
                 step = kind == RLV_LIFE_ALONG && s->penalty.walk > 0.0 ? s->unit / s->penalty.walk : 0.0,
                 low = s->unit * freedom / gsl_cdf_chisq_Pinv(0.975, freedom) - measured,
                 high = s->unit * freedom / gsl_cdf_chisq_Pinv(0.025, freedom) - measured + step / 3.0;
    return (rlv_interval){sqrt(s->natural), sqrt(fmax(low, 0.0)), sqrt(fmax(high, s->natural))};
}

rlv_status rlv_articulation_tell(rlv_articulation* a, rlv_life* life, const rlv_life_group* group, size_t groups,
                                 size_t count, const rlv_placed_element* element, const double* margin,
                                 size_t row_count, rlv_error* error)
{
    rlv_length_table lengths;
    rlv_length_lay(&lengths);
    if (reserve_told(a, count, row_count, error) != RLV_DONE)
        return RLV_SYSTEM;
    for (size_t i = 0; i < life->count; i++)
        tell_element(a, &lengths, life, element, i);
    bool* filled = rlv_reserve(life->slots, sizeof *filled, error);
    rlv_status status = filled == NULL ? RLV_SYSTEM : judge(a, life, element, error);
    for (size_t i = 0; i < life->count && status == RLV_DONE; i++)
        filled[life->element[i].slot] = true;
    if (status == RLV_DONE)
        status = tell_groups(a, &lengths, life, group, groups, error);
    if (status == RLV_DONE)
        status = tell_places(a, life, filled, error);
    if (status == RLV_DONE)
        status = rlv_articulation_tell_gaps(a, life, error);
    free(filled);
    if (status != RLV_DONE)
        return status;
    for (size_t i = 0; i < count; i++)
        if (a->element[i].state != RLV_UNASSIGNED)
            a->element[i].margin = margin[i], a->element[i].placed = !isnan(margin[i]);
    tell_rows(a, life, count, element);
    tell_parts(a, life);
    rlv_articulation_tell_nearest(a, element);
    bool judged = false;
    for (size_t i = 0; i < count; i++)
        judged |= a->element[i].state != RLV_UNASSIGNED;
    if (!judged)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "number the places of more elements, or add a row",
                        "no element's life position is told by the others");
    a->scatter_along_mm = sqrt(natural_of(life, 0));
    a->scatter_across_mm = sqrt(natural_of(life, 1));
    a->scatter_deg = sqrt(natural_of(life, 3)) / DEGREE;
    a->scatter_mm[0] = scatter_of(life, RLV_LIFE_ALONG);
    a->scatter_mm[1] = scatter_of(life, RLV_LIFE_ACROSS);
    a->freedom_along = life->spread[RLV_LIFE_ALONG].freedom;
    a->freedom_across = life->spread[RLV_LIFE_ACROSS].freedom;
    a->freedom_turn = life->spread[RLV_LIFE_TURN].freedom;
    a->crossing = crosses_itself(life);
    if (rlv_articulation_tell_ahead(a, life, error) != RLV_DONE)
        return RLV_SYSTEM;
    a->axis = life->axis;
    life->axis = (rlv_body_axis){0};
    a->verdict = rlv_articulation_judge(a);
    return RLV_DONE;
}
