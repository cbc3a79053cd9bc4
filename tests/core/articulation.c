#include "articulation.h"

#include "pose.h"
#include "support/skeleton.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

/// An animal of four rows with nothing displaced, the same for each seed.
static skeleton* whole_animal(uint64_t seed)
{
    skeleton_plan plan = skeleton_draw(seed, 15);
    plan.rows = 4;
    for (size_t r = 0; r < plan.rows; r++)
        plan.places[r] = 18 + 3 * (int)r;
    return skeleton_make(&plan);
}

static rlv_articulation fitted(const skeleton* s)
{
    rlv_articulation a = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_articulation_fit(&a, s->count, s->element, s->plan.rows, s->row, &error), RLV_DONE, "%s",
                 error.what);
    return a;
}

/// The element of a row that holds a place.
static size_t held_at(const skeleton* s, size_t row, int place)
{
    for (size_t i = 0; i < s->count; i++)
        if (s->element[i].row == row && s->element[i].place_low >= place)
            return i;
    return 0;
}

static rlv_vec3 truth_axis(const skeleton* s, size_t i, int k)
{
    return rlv_mat3_column(s->truth[i].life, k);
}

static void move(skeleton* s, size_t i, rlv_vec3 by)
{
    double* at = s->element[i].element.position_mm;
    at[0] += by.x, at[1] += by.y, at[2] += by.z;
}

static void turn(skeleton* s, size_t i, rlv_vec3 axis, double degrees)
{
    rlv_mat3 m;
    memcpy(m.m, s->element[i].element.frame, sizeof m.m);
    m = rlv_mat3_multiply(rlv_rotation_from_vector(rlv_vec3_scale(axis, degrees * M_PI / 180)), m);
    memcpy(s->element[i].element.frame, m.m, sizeof m.m);
}

Test(articulation, animals_with_nothing_displaced_are_seldom_said_to_have_anything)
{
    int alarmed = 0;
    for (uint64_t seed = 1; seed <= 8; seed++)
    {
        skeleton* s = whole_animal(seed);
        rlv_articulation a = fitted(s);
        size_t out = 0;
        for (size_t i = 0; i < a.count; i++)
            out += a.element[i].state != RLV_IN_PLACE;
        alarmed += out > 0;
        cr_expect_eq(a.word, RLV_ARTICULATED);
        rlv_articulation_free(&a);
        free(s);
    }
    // With nothing displaced each animal alarms with probability 0.05: four or more of eight with 0.0004.
    cr_expect_lt(alarmed, 4, "%d of 8 alarmed", alarmed);
}

Test(articulation, a_shift_is_told_in_body_directions)
{
    skeleton* s = whole_animal(11);
    const size_t back = held_at(s, 0, 8), out = held_at(s, 1, 10), left = held_at(s, 2, 12);
    move(s, back, rlv_vec3_scale(truth_axis(s, back, 0), -12.0)); // anterior is against along
    move(s, out, rlv_vec3_scale(truth_axis(s, out, 2), 12.0));
    move(s, left, rlv_vec3_scale(truth_axis(s, left, 1), 12.0));
    rlv_articulation a = fitted(s);
    const rlv_body_motion *m = &a.element[back].motion, *n = &a.element[out].motion, *o = &a.element[left].motion;
    cr_expect_eq(a.element[back].state, RLV_SHIFTED);
    cr_expect_eq(a.element[out].state, RLV_SHIFTED);
    cr_expect_eq(a.element[left].state, RLV_SHIFTED);
    // Life position and body axes are good to the interval and to natural scatter of 5 degrees: 12 sin(10) = 2 mm.
    cr_expect(m->along_mm.low < 12 && m->along_mm.high > 12, "%g", m->along_mm.value);
    cr_expect(n->out_mm.low < 12 && n->out_mm.high > 12, "%g", n->out_mm.value);
    cr_expect(o->across_mm.low < 12 && o->across_mm.high > 12, "%g", o->across_mm.value);
    cr_expect_float_eq(m->shift_pitches, m->shift_mm.value / a.row[0].pitch_mm, 0.4 * m->shift_pitches);
    rlv_articulation_free(&a);
    free(s);
}

Test(articulation, turns_are_told_as_rotated_or_inverted)
{
    skeleton* s = whole_animal(12);
    const size_t over = held_at(s, 0, 8), yaw = held_at(s, 1, 10), tilt = held_at(s, 2, 12);
    turn(s, over, truth_axis(s, over, 0), 175.0);
    turn(s, yaw, truth_axis(s, yaw, 2), 60.0);
    turn(s, tilt, truth_axis(s, tilt, 1), 50.0);
    rlv_articulation a = fitted(s);
    cr_expect_eq(a.element[over].state, RLV_INVERTED);
    cr_expect_eq(a.element[yaw].state, RLV_ROTATED);
    cr_expect_eq(a.element[tilt].state, RLV_ROTATED);
    // sd 5.6 degrees an axis and the life attitude's on top, 2 degrees: four of them.
    cr_expect_float_eq(a.element[yaw].motion.about_pole_deg.value, 60.0, 24.0);
    cr_expect_float_eq(a.element[tilt].motion.tilt_deg.value, 50.0, 24.0);
    // A turn about the animal's left carries the pole from out towards anterior: to the head, 180 degrees; across it
    // errs by 4 * 6 / tan(50).
    cr_expect_float_eq(fabs(a.element[tilt].motion.tilt_direction_deg), 180.0, 25.0);
    rlv_articulation_free(&a);
    free(s);
}

Test(articulation, an_element_whose_face_is_not_known_is_never_inverted)
{
    skeleton* s = whole_animal(13);
    const size_t over = held_at(s, 1, 9);
    turn(s, over, truth_axis(s, over, 0), 175.0);
    s->element[over].element.known = RLV_ELEMENT_POLE | RLV_ELEMENT_LONG | RLV_ELEMENT_FRONT;
    rlv_articulation a = fitted(s);
    cr_expect_neq(a.element[over].state, RLV_INVERTED);
    // Turned over, its pole as a line lies 5 degrees off.
    cr_expect_lt(a.element[over].motion.tilt_deg.value, 30.0);
    rlv_articulation_free(&a);
    free(s);
}

Test(articulation, an_open_place_is_found_where_the_element_lies)
{
    skeleton* s = whole_animal(14);
    const size_t i = held_at(s, 2, 11);
    const int place = s->element[i].place_low;
    s->element[i].place_low = place - 3;
    s->element[i].place_high = place + 3;
    rlv_articulation a = fitted(s);
    cr_expect(a.element[i].placed && a.element[i].place == place, "%d", a.element[i].place);
    rlv_articulation_free(&a);
    move(s, i, rlv_vec3_scale(truth_axis(s, i, 2), 60.0));
    a = fitted(s);
    cr_expect_eq(a.element[i].state, RLV_UNASSIGNED);
    rlv_articulation_free(&a);
    free(s);
}

Test(articulation, a_row_with_too_few_elements_is_left_out)
{
    skeleton* s = whole_animal(15);
    size_t kept = 0;
    for (size_t i = 0, held = 0; i < s->count; i++)
    {
        held += s->element[i].row == 3;
        if (s->element[i].row < 3 || held < RLV_ARTICULATION_LEAST)
            s->element[kept++] = s->element[i];
    }
    s->count = kept;
    rlv_articulation a = fitted(s);
    cr_expect(!a.row[3].used && a.row[2].used);
    cr_expect_eq(a.element[kept - 1].state, RLV_UNASSIGNED);
    rlv_articulation_free(&a);
    rlv_error error = {0};
    cr_expect_eq(rlv_articulation_fit(&a, RLV_ARTICULATION_LEAST - 1, s->element, 4, s->row, &error), RLV_IMPOSSIBLE);
    cr_expect(error.mend[0] != '\0');
    rlv_articulation_free(&a);
    free(s);
}

Test(articulation, a_place_beyond_the_last_held_is_a_corridor)
{
    skeleton* s = whole_animal(16);
    s->row[1].last += 3;
    rlv_articulation a = fitted(s);
    size_t beyond = 0;
    double before = 0.0;
    for (size_t i = 0; i < a.unfilled_count; i++)
        if (a.unfilled[i].row == 1 && a.unfilled[i].place > s->plan.places[1])
        {
            const double* c = a.unfilled[i].covariance_mm2;
            cr_expect(a.unfilled[i].corridor);
            cr_expect_gt(c[0] + c[4] + c[8], before, "a corridor widens");
            before = c[0] + c[4] + c[8];
            beyond++;
        }
    cr_expect_eq(beyond, 3);
    rlv_articulation_free(&a);
    free(s);
}

Test(articulation, a_slid_stretch_is_told_as_one_group)
{
    int inside = 0;
    for (uint64_t seed = 1010; seed < 1016; seed++)
    {
        skeleton_plan plan = skeleton_draw(seed, 20);
        plan.patch = 8;
        plan.patch_mm = 10;
        skeleton* s = skeleton_make(&plan);
        rlv_articulation a = fitted(s);
        size_t in = 0, told = 0;
        for (size_t i = 0; i < s->count; i++)
        {
            in += s->truth[i].in_patch;
            told += s->truth[i].in_patch && a.element[i].group == 1;
        }
        cr_assert_eq(a.group_count, 1, "seed %d: %zu groups", (int)seed, a.group_count);
        cr_expect(told + 2 >= in, "%zu of %zu", told, in);
        inside += a.group[0].motion.shift_mm.low < 10 && a.group[0].motion.shift_mm.high > 10;
        rlv_articulation_free(&a);
        free(s);
    }
    // Each holds the truth with probability 0.95: three or less of six with 0.002.
    cr_expect_geq(inside, 4);
}

Test(articulation, what_is_no_measurement_is_refused)
{
    skeleton* s = whole_animal(17);
    rlv_articulation a = {0};
    rlv_error error = {0};
    s->element[4].element.position_mm[1] = NAN;
    cr_expect_eq(rlv_articulation_fit(&a, s->count, s->element, 4, s->row, &error), RLV_BAD_INPUT);
    s->element[4].element.position_mm[1] = 0.0;
    s->element[4].row = 9;
    cr_expect_eq(rlv_articulation_fit(&a, s->count, s->element, 4, s->row, &error), RLV_BAD_INPUT);
    s->element[4].row = 0;
    s->element[4].place_high = s->element[4].place_low - 1;
    cr_expect_eq(rlv_articulation_fit(&a, s->count, s->element, 4, s->row, &error), RLV_BAD_INPUT);
    rlv_articulation_free(&a);
    free(s);
}

Test(articulation, the_same_elements_give_the_same_bytes)
{
    skeleton_plan plan = skeleton_draw(18, 15);
    plan.displaced = 0.2;
    skeleton* s = skeleton_make(&plan);
    rlv_articulation a = fitted(s), b = fitted(s);
    cr_assert_eq(a.unfilled_count, b.unfilled_count);
    for (size_t i = 0; i < a.count; i++)
    {
        cr_expect(memcmp(&a.element[i].motion, &b.element[i].motion, sizeof a.element[i].motion) == 0);
        cr_expect(memcmp(&a.element[i].p_adjusted, &b.element[i].p_adjusted, sizeof(double)) == 0);
    }
    rlv_articulation_free(&a);
    rlv_articulation_free(&b);
    free(s);
}
