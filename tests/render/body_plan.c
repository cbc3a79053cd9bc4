// The unrolled plan: rows in the order that they have round the body, elements where they moved to, labels apart.

#include "body_plan_parts.h"
#include "state.h"
#include "support/told_skeleton.h"

#include <criterion/criterion.h>
#include <limits.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

TestSuite(body_plan);

static told_skeleton* animal(uint64_t seed, skeleton_shape shape, size_t rows, int places, double displaced)
{
    skeleton_plan plan = {.seed = seed,
                          .shape = shape,
                          .rows = rows,
                          .missing = 0.06,
                          .displaced = displaced,
                          .scatter_mm = 0.6,
                          .scatter_deg = 5.0,
                          .point_sd_mm = 0.3,
                          .attitude_sd_deg = 2.5};
    for (size_t r = 0; r < rows; r++)
        plan.places[r] = places;
    return told_skeleton_make(&plan);
}

static void expect_order(const told_skeleton* t, const char* const* id)
{
    size_t order[SKELETON_ROWS];
    cr_assert_eq(rlv_body_plan_order(&t->of, order, NULL), RLV_DONE);
    for (size_t r = 0; r < t->told.row_count; r++)
        cr_expect_str_eq(t->row[order[r]].id, id[r], "rank %zu", r);
}

Test(body_plan, rows_stand_as_they_do_round_the_body_with_the_left_side_beneath_the_back)
{
    static const char* const id[SKELETON_ROWS] = {"R3", "R2", "R1", "D", "L1", "L2", "L3"};
    for (int shape = 0; shape < SKELETON_SHAPES; shape++)
    {
        told_skeleton* t = animal(11 + (uint64_t)shape, (skeleton_shape)shape, SKELETON_ROWS, 20, 0.0);
        expect_order(t, id);
        // Were the left rows the right ones, the back would be where the belly was: the dorsal row is then the last,
        // and its neighbours are next to it.
        static const char* const exchanged[SKELETON_ROWS] = {"L1", "L2", "L3", "R3", "R2", "R1", "D"};
        for (size_t r = 1; r < SKELETON_ROWS; r++)
            t->row[r].side = t->row[r].side == RLV_BODY_LEFT ? RLV_BODY_RIGHT : RLV_BODY_LEFT;
        expect_order(t, exchanged);
        told_skeleton_free(t);
    }
}

enum
{
    COUNT = 10
};

// A row along x with its outside up, so that left of the way to the tail, and across, is -y.
typedef struct straight
{
    rlv_articulation told;
    rlv_placed_element element[COUNT];
    rlv_articulated one[COUNT];
    rlv_articulation_row_told row;
    rlv_unfilled unfilled;
    const char *id[COUNT], *amount[COUNT];
    rlv_body_row named;
    rlv_skeleton of;
} straight;

static void lay_straight(straight* s)
{
    const rlv_vec3 point[4] = {{0, 0, 0}, {30, 0, 0}, {60, 0, 0}, {100, 0, 0}};
    *s = (straight){
        .named = {"D", NULL, RLV_BODY_MEDIAN},
        .row = {.held = COUNT, .in_place = COUNT - 1, .used = true, .first = 1, .last = COUNT + 1, .pitch_mm = 10},
        .unfilled = {.place = COUNT + 1, .corridor = true, .position_mm = {100, 0, 5}}};
    cr_assert_eq(rlv_body_axis_lay(&s->told.axis, 4, point, 1.0, NULL), RLV_DONE);
    for (int i = 0; i < COUNT; i++)
    {
        s->id[i] = "D";
        s->element[i] = (rlv_placed_element){.element = {.frame = {-1, 0, 0, 0, 1, 0, 0, 0, 1},
                                                         .known = RLV_ELEMENT_LONG,
                                                         .length_mm = {8, 8, 8},
                                                         .width_mm = {4, 4, 4}},
                                             .place_low = i + 1,
                                             .place_high = i + 1};
        s->one[i] = (rlv_articulated){
            .place = i + 1,
            .life_mm = {10.0 * i, 0, 5},
            .body = rlv_mat3_of_columns(rlv_vec3_of(1, 0, 0), rlv_vec3_of(0, -1, 0), rlv_vec3_of(0, 0, 1))};
    }
    s->told.count = COUNT;
    s->told.element = s->one;
    s->told.row_count = 1;
    s->told.row = &s->row;
    s->told.unfilled_count = 1;
    s->told.unfilled = &s->unfilled;
    s->of = (rlv_skeleton){.told = &s->told, .element = s->element, .id = s->id, .amount = s->amount, .row = &s->named};
}

static const plan_plate* plate_of(const plan_lay* lay, size_t element)
{
    for (size_t i = 0; i < lay->plate_count; i++)
        if (lay->plate[i].element == element)
            return &lay->plate[i];
    return NULL;
}

Test(body_plan, an_element_stands_where_its_motion_took_it_and_at_the_angle_that_it_has)
{
    straight s;
    plan_lay lay = {0};
    lay_straight(&s);
    s.one[3].state = RLV_SHIFTED;
    s.one[3].motion.along_mm.value = 4.0;
    s.one[3].motion.across_mm.value = -2.5;
    // Turned by 30 degrees from the tail to the left.
    const double c = cos(M_PI / 6.0), n = sin(M_PI / 6.0), frame[9] = {c, 0, 0, -n, 0, 0, 0, 0, 1};
    memcpy(s.element[5].element.frame, frame, sizeof frame);
    cr_assert_eq(plan_lay_make(&lay, &s.of, NULL), RLV_DONE);
    for (size_t i = 0; i < COUNT; i++)
    {
        const plan_plate* plate = plate_of(&lay, i);
        cr_expect_float_eq(plate->life_mm, 10.0 * (double)i, 1e-6);
        cr_expect_float_eq(plate->at_mm[0], 10.0 * (double)i + (i == 3 ? 4.0 : 0.0), 1e-6);
        cr_expect_float_eq(plate->at_mm[1], i == 3 ? -2.5 : 0.0, 1e-6);
        cr_expect_float_eq(plate->half_mm[0], 4.0, 1e-12);
    }
    cr_expect_float_eq(fabs(plate_of(&lay, 2)->turn_rad), M_PI, 1e-12); // its anterior end to the head
    cr_expect_float_eq(plate_of(&lay, 5)->turn_rad, M_PI / 6.0, 1e-12);
    cr_expect_eq(lay.place_count, COUNT + 1);
    cr_expect(lay.place[COUNT].unfilled && lay.place[COUNT].corridor);
    cr_expect_float_eq(lay.place[COUNT].life_mm, 100.0, 1e-6);
    plan_lay_free(&lay);
    rlv_body_axis_free(&s.told.axis);
}

// A plan laid on paper.
typedef struct on_paper
{
    rlv_body_plan plan;
    plan_lay lay;
    plan_page page;
    rlv_sheet ruler;
    rlv_paper paper;
} on_paper;

enum
{
    A4 = 4,
    A3 = 3,
};

static void lay_on_paper(on_paper* p, const rlv_skeleton* of, double scale, int paper)
{
    size_t left_out = 0;
    rlv_error error = {0};
    *p = (on_paper){.plan = {.of = *of, .scale = scale, .paper = paper}};
    cr_assert_eq(rlv_sheet_reserve(&p->ruler, 100, 100, NULL), RLV_DONE);
    cr_assert_eq(plan_lay_make(&p->lay, &p->plan.of, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(plan_page_make(&p->page, &p->plan, &p->lay, &p->ruler, &p->paper, &left_out, &error), RLV_DONE, "%s",
                 error.what);
    cr_expect_eq(left_out, 0);
}

static void free_on_paper(on_paper* p)
{
    plan_page_free(&p->page);
    plan_lay_free(&p->lay);
    rlv_sheet_free(&p->ruler);
}

Test(body_plan, what_went_farther_than_the_plan_reaches_is_drawn_to_its_edge_and_cut)
{
    straight s;
    on_paper p;
    lay_straight(&s);
    s.one[4].state = RLV_SHIFTED;
    s.one[4].motion.along_mm.value = 300.0;
    s.one[4].motion.across_mm.value = 400.0;
    lay_on_paper(&p, &s.of, 1.0, A4);
    double at[2], x = plan_x(&p.page, 40.0), y = plan_y(&p.page, 0);
    bool cut;
    plan_at(&p.page, plate_of(&p.lay, 4), at, &cut);
    cr_expect(cut);
    cr_expect_leq(at[1], p.page.top + plan_tall(&p.page) + 1e-9);
    cr_expect_float_eq((at[0] - x) * 400.0, (at[1] - y) * 300.0, 1e-6); // on its way
    plan_at(&p.page, plate_of(&p.lay, 3), at, &cut);
    cr_expect_not(cut);
    free_on_paper(&p);
    rlv_body_axis_free(&s.told.axis);
}

Test(body_plan, signs_without_a_place_stand_at_theirs_along_the_body_and_never_over_each_other)
{
    straight s;
    on_paper p;
    lay_straight(&s);
    for (int i = 3; i < 6; i++)
    {
        s.one[i].state = RLV_UNASSIGNED;
        s.one[i].place = INT_MIN;
        s.element[i].element.position_mm[0] = 42.0 + 0.5 * i;
    }
    lay_on_paper(&p, &s.of, 1.0, A4);
    double at[3][2];
    bool cut;
    for (size_t i = 0; i < 3; i++)
    {
        cr_assert_not(plate_of(&p.lay, 3 + i)->placed);
        plan_at(&p.page, plate_of(&p.lay, 3 + i), at[i], &cut);
        // To half a step of the axis, which is laid in steps of 1 mm.
        cr_expect_float_eq(at[i][0], plan_x(&p.page, 43.5 + 0.5 * (double)i), 0.5 + 1e-6);
        cr_expect_geq(at[i][1] - 0.5 * PLAN_SIGN * p.page.unit, p.page.top + plan_tall(&p.page));
        cr_expect_leq(at[i][1] + 0.5 * PLAN_SIGN * p.page.unit,
                      p.page.top + plan_tall(&p.page) + PLAN_TRAY * p.page.unit);
        for (size_t k = 0; k < i; k++)
            cr_expect_gt(hypot(at[i][0] - at[k][0], at[i][1] - at[k][1]), PLAN_SIGN * p.page.unit);
    }
    free_on_paper(&p);
    rlv_body_axis_free(&s.told.axis);
}

static bool overlap(rlv_box2 a, rlv_box2 b)
{
    return a.left < b.left + b.width && b.left < a.left + a.width && a.top < b.top + b.height &&
           b.top < a.top + a.height;
}

Test(body_plan, labels_of_a_crowded_animal_lie_neither_over_each_other_nor_over_plates_nor_off_the_paper)
{
    told_skeleton* t = animal(5, SKELETON_STRAIGHT, SKELETON_ROWS, SKELETON_PLACES, 0.33);
    on_paper p;
    lay_on_paper(&p, &t->of, 0.0, A3);
    size_t moved = 0;
    for (size_t i = 0; i < t->told.count; i++)
        moved += t->told.element[i].state != RLV_IN_PLACE;
    cr_expect_eq(p.page.label_count, moved + t->told.group_count);
    cr_expect_gt(moved, 80);
    for (size_t i = 0; i < p.page.label_count; i++)
    {
        const rlv_label* one = &p.page.label[i];
        const rlv_box2 box = {one->left, one->top, one->width, one->height};
        cr_expect(one->left >= 0.0 && one->left + one->width <= p.paper.width_mm && one->top >= 0.0 &&
                  one->top + one->height <= p.paper.height_mm);
        for (size_t k = 0; k < i; k++)
        {
            const rlv_label* other = &p.page.label[k];
            cr_expect_not(overlap(box, (rlv_box2){other->left, other->top, other->width, other->height}), "%s, %s",
                          p.page.text[i], p.page.text[k]);
        }
        for (size_t k = 0; k < p.lay.plate_count; k++)
        {
            double at[2];
            bool cut;
            plan_at(&p.page, &p.lay.plate[k], at, &cut);
            cr_expect_not(overlap(box, (rlv_box2){at[0], at[1], 0.0, 0.0}), "%s", p.page.text[i]);
        }
    }
    free_on_paper(&p);
    told_skeleton_free(t);
}

Test(body_plan, a_motion_that_is_told_and_has_no_arrow_says_why)
{
    straight s;
    on_paper p;
    bool went[COUNT] = {false};
    lay_straight(&s);
    for (int i = 3; i < 6; i++)
    {
        s.one[i].state = RLV_SHIFTED;
        went[i] = true;
        s.amount[i] = "so far";
    }
    s.one[3].motion.across_mm.value = 6.0; // 2.4 mm on paper: an arrow
    s.one[3].motion.shift_mm.value = 6.0;
    s.one[4].motion.shift_mm.value = 6.0; // the same, all of it out of the body wall
    s.one[5].motion.shift_mm.value = 1.0; // 0.4 mm on paper
    s.of.went = went;
    lay_on_paper(&p, &s.of, 0.4, A4);
    cr_expect_str_eq(plan_why_no_arrow(&p.page, plate_of(&p.lay, 3)), "");
    cr_expect_str_eq(plan_why_no_arrow(&p.page, plate_of(&p.lay, 4)), ", mostly out of the body wall");
    cr_expect_str_eq(plan_why_no_arrow(&p.page, plate_of(&p.lay, 5)), ", too short to draw");
    cr_expect_str_eq(plan_why_no_arrow(&p.page, plate_of(&p.lay, 0)), "");
    free_on_paper(&p);
    rlv_body_axis_free(&s.told.axis);
}

Test(body_plan, a_label_stands_over_the_middle_of_its_plate_where_that_is_free)
{
    straight s;
    on_paper p;
    lay_straight(&s);
    s.one[4].state = RLV_SHIFTED;
    lay_on_paper(&p, &s.of, 0.4, A4);
    double at[2];
    bool cut;
    plan_at(&p.page, plate_of(&p.lay, 4), at, &cut);
    cr_assert_eq(p.page.label_count, 1);
    const rlv_label* label = &p.page.label[0];
    cr_expect_float_eq(label->left + 0.5 * label->width, at[0], 1e-9);
    cr_expect_lt(label->top + label->height, at[1]);
    cr_expect_not(label->led);
    free_on_paper(&p);
    rlv_body_axis_free(&s.told.axis);
}

Test(body_plan, numbers_beneath_a_row_stand_below_all_its_plates_and_apart_from_labels)
{
    straight s;
    on_paper p;
    lay_straight(&s);
    s.one[4].state = RLV_SHIFTED; // place 5, which bears its number
    s.one[4].motion.across_mm.value = 5.0;
    lay_on_paper(&p, &s.of, 0.4, A4);
    cr_assert_not(p.page.numbered[0]);
    double at[2], foot;
    bool cut;
    plan_at(&p.page, plate_of(&p.lay, 4), at, &cut);
    foot = at[1] + 2.0 * p.page.scale; // half its width
    cr_expect_gt(at[1], plan_y(&p.page, 0));
    size_t numbers = 0;
    for (size_t i = 0; i < p.lay.place_count; i++)
    {
        char words[16];
        if (!plan_number(&p.page, &p.ruler, &p.lay.place[i], words, at))
            continue;
        const rlv_text_size size = rlv_sheet_measure(&p.ruler, words, &plan_letters);
        const rlv_box2 number = {at[0] - 0.5 * size.width_mm, at[1] - size.cap_mm, size.width_mm, size.cap_mm};
        cr_expect_gt(number.top, foot, "%s", words);
        cr_expect_leq(at[1], plan_y(&p.page, 0) + plan_half(&p.page, 0), "%s", words);
        for (size_t k = 0; k < p.page.label_count; k++)
            cr_expect_not(overlap(number, (rlv_box2){p.page.label[k].left, p.page.label[k].top, p.page.label[k].width,
                                                     p.page.label[k].height}),
                          "%s", words);
        numbers++;
    }
    cr_expect_eq(numbers, 3); // 1, 5 and 10
    free_on_paper(&p);
    rlv_body_axis_free(&s.told.axis);
}

static bool has_entry(const rlv_key* key, const char* words)
{
    for (size_t i = 0; i < key->count; i++)
        if (strcmp(key->entry[i].words, words) == 0)
            return true;
    return false;
}

Test(body_plan, the_key_tells_what_is_there_and_nothing_else)
{
    straight s;
    on_paper p;
    lay_straight(&s);
    lay_on_paper(&p, &s.of, 1.0, A4);
    rlv_key key = plan_key(&p.page);
    cr_expect_eq(key.count, 2);
    cr_expect(has_entry(&key, "in place"));
    cr_expect(has_entry(&key, "place without an element, beyond its row’s last"));
    s.one[4].state = RLV_INVERTED;
    s.one[4].motion.across_mm.value = 6.0;
    free_on_paper(&p);
    lay_on_paper(&p, &s.of, 1.0, A4);
    key = plan_key(&p.page);
    cr_expect(has_entry(&key, "inverted"));
    cr_expect(has_entry(&key, "from its life position to where it lies"));
    cr_expect_not(has_entry(&key, "shifted"));
    free_on_paper(&p);
    rlv_body_axis_free(&s.told.axis);
}

Test(body_plan, a_long_id_on_a_label_is_cut_after_a_whole_letter_and_the_cut_shows)
{
#define GOTHIC5 "\U00010330\U00010331\U00010332\U00010333\U00010334" // letters of four bytes
    straight s;
    on_paper p;
    lay_straight(&s);
    s.one[4].state = RLV_SHIFTED;
    s.amount[4] = "6.2 mm";
    s.id[4] = GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5;
    lay_on_paper(&p, &s.of, 0.4, A4);
    cr_assert_eq(p.page.label_count, 1);
    cr_expect_str_eq(p.page.text[0], GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 " 6.2 mm", "30 fit");
    free_on_paper(&p);
    s.id[4] = GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 "0";
    lay_on_paper(&p, &s.of, 0.4, A4);
    cr_expect_str_eq(p.page.text[0],
                     GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 GOTHIC5 "\U00010330\U00010331\U00010332\U00010333… 6.2 mm");
    free_on_paper(&p);
    rlv_body_axis_free(&s.told.axis);
}

static char* written(const rlv_body_plan* plan, rlv_sheet_format format, size_t* size)
{
    rlv_sheet sheet;
    rlv_error error = {0};
    char* bytes = NULL;
    cr_assert_eq(rlv_sheet_of_body_plan(&sheet, plan, NULL, &error), RLV_DONE, "%s", error.what);
    FILE* stream = open_memstream(&bytes, size);
    cr_assert_eq(rlv_sheet_write(&sheet, format, stream, &(rlv_sheet_info){.title = "plan", .pixel_mm = 0.2}, &error),
                 RLV_DONE);
    fclose(stream);
    rlv_sheet_free(&sheet);
    return bytes;
}

Test(body_plan, a_plan_is_the_same_bytes_at_any_number_of_threads)
{
    told_skeleton* t = animal(3, SKELETON_CURLED, 5, 20, 0.2);
    const rlv_body_plan plan = {.title = {.specimen = "LQ-0417", .subject = "plan"}, .of = t->of, .paper = 3};
    for (int format = RLV_SHEET_PNG; format <= RLV_SHEET_SVG; format++)
    {
        size_t size[2];
        char* bytes[2];
        for (int k = 0; k < 2; k++)
        {
            omp_set_num_threads(k + 1);
            bytes[k] = written(&plan, (rlv_sheet_format)format, &size[k]);
        }
        cr_expect_eq(size[0], size[1]);
        cr_expect_arr_eq(bytes[0], bytes[1], size[0] < size[1] ? size[0] : size[1]);
        free(bytes[0]);
        free(bytes[1]);
    }
    told_skeleton_free(t);
}

Test(body_plan, a_row_counts_what_lies_off_it_beside_what_is_in_place)
{
    straight s;
    char words[64];
    rlv_open_why open[COUNT] = {0};
    lay_straight(&s);
    s.of.open = open;
    plan_row_words(words, &s.of, 0);
    cr_expect_str_eq(words, "9 of 10 in place");
    s.one[2].state = RLV_UNASSIGNED;
    s.one[4].state = RLV_UNASSIGNED;
    open[2] = RLV_OPEN_OFF_ROW;
    plan_row_words(words, &s.of, 0);
    cr_expect_str_eq(words, "9 of 10 in place, 1 off the row", "the other is not judged");
    s.row.held = s.row.in_place;
    plan_row_words(words, &s.of, 0);
    cr_expect_str_eq(words, "9 in place, 1 off the row");
    rlv_body_axis_free(&s.told.axis);
}
