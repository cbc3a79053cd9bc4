// States: shapes of one area, tones that are told apart in grey too, and one entry of a key each.

#include "state.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

TestSuite(state);

static double area_of_path(cairo_t* c)
{
    cairo_path_t* path = cairo_copy_path_flat(c);
    double area = 0.0, first[2] = {0.0, 0.0}, last[2] = {0.0, 0.0};
    for (int i = 0; i < path->num_data; i += path->data[i].header.length)
    {
        const cairo_path_data_t* at = &path->data[i];
        double next[2] = {first[0], first[1]};
        if (at->header.type == CAIRO_PATH_MOVE_TO)
        {
            first[0] = last[0] = at[1].point.x;
            first[1] = last[1] = at[1].point.y;
            continue;
        }
        if (at->header.type == CAIRO_PATH_LINE_TO)
        {
            next[0] = at[1].point.x;
            next[1] = at[1].point.y;
        }
        area += 0.5 * (last[0] * next[1] - next[0] * last[1]);
        memcpy(last, next, sizeof last);
    }
    cairo_path_destroy(path);
    return fabs(area);
}

Test(state, shapes_have_one_area_at_one_size_however_they_are_turned)
{
    rlv_sheet sheet;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 100, NULL), RLV_DONE);
    cairo_set_tolerance(sheet.cairo, 1e-4);
    for (int state = 0; state < RLV_ARTICULATION_STATES; state++)
        for (double turn = 0.0; turn < 3.0; turn += 0.7)
        {
            rlv_state_path(&sheet, (rlv_articulation_state)state, 40.0, 30.0, 6.0, 4.0, turn);
            // Paths have 24.8 fixed-point coordinates: 1/256 of a point at each corner.
            cr_expect_float_eq(area_of_path(sheet.cairo), M_PI * 6.0 * 4.0, 0.05, "%s",
                               rlv_articulation_state_word((rlv_articulation_state)state));
        }
    rlv_sheet_free(&sheet);
}

Test(state, a_shape_inside_a_plate_reaches_its_outline_and_no_farther)
{
    rlv_sheet sheet;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 100, NULL), RLV_DONE);
    cairo_set_tolerance(sheet.cairo, 1e-4);
    for (int state = RLV_SHIFTED; state <= RLV_INVERTED; state++) // the round ones are the outline itself
        for (double turn = 0.0; turn < 3.0; turn += 0.7)
        {
            double farthest = 0.0;
            rlv_state_path_inside(&sheet, (rlv_articulation_state)state, 40.0, 30.0, 6.0, 4.0, turn);
            cairo_path_t* path = cairo_copy_path_flat(sheet.cairo);
            for (int i = 0; i < path->num_data; i += path->data[i].header.length)
                if (path->data[i].header.length > 1)
                {
                    const double x = path->data[i + 1].point.x - 40.0, y = path->data[i + 1].point.y - 30.0;
                    farthest = fmax(
                        farthest, hypot((cos(turn) * x + sin(turn) * y) / 6.0, (cos(turn) * y - sin(turn) * x) / 4.0));
                }
            cairo_path_destroy(path);
            // Corners lie on 24.8 fixed-point coordinates: 1/256 of a point of at least 4 mm; SQUARE and its like have
            // four decimals.
            cr_expect_float_eq(farthest, 1.0, 1e-3, "%d: %g", state, farthest);
        }
    rlv_sheet_free(&sheet);
}

Test(state, tones_are_told_apart_by_their_lightness_alone)
{
    // In place, shifted, rotated, inverted: each darker than the last by 4 of CIELAB's 100, and all light enough for
    // black letters (L* of 49 is a contrast of 4.5 : 1 to black, W3C's least).
    for (int state = RLV_SHIFTED; state <= RLV_INVERTED; state++)
    {
        double lightness = rlv_rgb_lightness(rlv_state_tone((rlv_articulation_state)state));
        double before = rlv_rgb_lightness(rlv_state_tone((rlv_articulation_state)(state - 1)));
        cr_expect_gt(before - lightness, 4.0, "%d: %.1f after %.1f", state, lightness, before);
        cr_expect_gt(lightness, 49.0);
    }
}

Test(state, each_has_an_entry_of_its_own_in_a_key)
{
    rlv_key key = {0};
    for (int twice = 0; twice < 2; twice++)
        for (int state = 0; state < RLV_ARTICULATION_STATES; state++)
        {
            rlv_key_entry entry = rlv_state_key((rlv_articulation_state)state);
            rlv_key_add(&key, &entry);
        }
    cr_expect_eq(key.count, (size_t)RLV_ARTICULATION_STATES);
    cr_expect_str_eq(key.entry[RLV_INVERTED].words, "inverted");
}

Test(state, why_there_is_none_has_an_entry_of_its_own_too)
{
    rlv_key key = {0};
    for (int why = 0; why < RLV_OPEN_WHYS; why++)
    {
        rlv_key_entry entry = rlv_open_key((rlv_open_why)why);
        rlv_key_add(&key, &entry);
    }
    cr_expect_eq(key.count, (size_t)RLV_OPEN_WHYS);
    cr_expect_not_null(strstr(key.entry[RLV_OPEN_OFF_ROW].words, "moved"));
    cr_expect_null(strstr(key.entry[RLV_OPEN_UNJUDGED].words, "moved"));
}
