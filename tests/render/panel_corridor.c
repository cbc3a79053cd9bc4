// Corridors on a panel: where their tint is strong, where it ends, and what becomes of it in a PDF.

#include "panel_parts.h"
#include "support/table_top.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

TestSuite(panel_corridor);

// A level square of 60 mm in the middle of a panel of 70 mm, at 1 : 1, pixels of 0.1 mm.
static void lay(table_top* t)
{
    table_top_lay(t, 60.0, &table_top_from_above, 1.0, 70.0);
}

// Regions of radius 4 mm and 16 mm, whatever the way.
static const double narrow[9] = {4, 0, 0, 0, 4, 0, 0, 0, 4}, wide[9] = {64, 0, 0, 0, 64, 0, 0, 0, 64};

static rlv_panel_expected place_of(double x, double y, const double covariance[9], int place)
{
    return (rlv_panel_expected){.at_mm = {x, y, 0},
                                .covariance_mm2 = covariance,
                                .radius2 = 4.0,
                                .corridor = true,
                                .vague = true,
                                .row = 1,
                                .place = place};
}

// How much a pixel is tinted: its red, which the tint has none of, over that without a tint.
static double tint_at(const table_top* t, const rlv_picture* tinted, double x_mm, double y_mm)
{
    size_t x = (size_t)((x_mm + 5.0) / tinted->pixel_mm), y = (size_t)((65.0 - y_mm) / tinted->pixel_mm);
    size_t at = 3 * (y * tinted->width + x);
    return 1.0 - (double)tinted->rgb[at] / (double)t->panel.picture.rgb[at];
}

static rlv_picture tinted_by(const table_top* t, size_t count, const rlv_panel_expected* expected)
{
    rlv_picture picture = {0};
    const rlv_panel_marks marks = {.expected_count = count, .expected = expected};
    rlv_lines edge = {0};
    cr_assert_eq(panel_tint_corridors(&picture, &edge, &t->panel, &marks, NULL), RLV_DONE);
    rlv_lines_free(&edge);
    return picture;
}

// A step of a pixel's red, over the red of clay, which is well above 128.
#define STEP (1.0 / 128.0)

Test(panel_corridor, the_tint_falls_from_the_middle_of_a_place_and_ends_with_its_region)
{
    table_top t;
    lay(&t);
    const rlv_panel_expected one = place_of(30, 30, wide, 7);
    rlv_picture tinted = tinted_by(&t, 1, &one);
    double last = tint_at(&t, &tinted, 30, 30);
    cr_expect_gt(last, 0.4);
    for (int mm = 2; mm < 16; mm += 2)
    {
        double now = tint_at(&t, &tinted, 30 + mm, 30);
        cr_expect_lt(now, last, "%g at %d mm, %g before", now, mm, last);
        cr_expect_float_eq(now, tint_at(&t, &tinted, 30, 30 - mm), 2.0 * STEP);
        last = now;
    }
    cr_expect_lt(last, 0.05); // at 14 of 16 mm: a twentieth of the strongest
    cr_expect_eq(tint_at(&t, &tinted, 30 + 16.2, 30), 0.0);
    rlv_picture_free(&tinted);
    table_top_clear(&t);
}

Test(panel_corridor, its_edge_is_that_of_the_region_that_it_tints)
{
    table_top t;
    lay(&t);
    const rlv_panel_expected one = place_of(30, 30, wide, 7);
    const rlv_panel_marks marks = {.expected_count = 1, .expected = &one};
    rlv_picture tinted = {0};
    rlv_lines edge = {0};
    cr_assert_eq(panel_tint_corridors(&tinted, &edge, &t.panel, &marks, NULL), RLV_DONE);
    cr_assert_eq(edge.line_count, 1);
    cr_expect(edge.closed[0]);
    // A disc of 16 mm, as above; its border is calmed, and stands between pixels: one of them either way.
    const double radius = sqrt(fabs(rlv_line_area(&edge, 0)) / M_PI) * tinted.pixel_mm;
    cr_expect_float_eq(radius, 16.0, tinted.pixel_mm, "%g", radius);
    rlv_lines_free(&edge);
    rlv_picture_free(&tinted);
    table_top_clear(&t);
}

Test(panel_corridor, the_tint_is_paler_where_the_corridor_is_wider)
{
    table_top t;
    lay(&t);
    const rlv_panel_expected both[2] = {place_of(10, 30, narrow, 7), place_of(40, 30, wide, 8)};
    rlv_picture tinted = tinted_by(&t, 2, both);
    // Four times as wide: one over the root of that, half as strong.
    double ratio = tint_at(&t, &tinted, 40, 30) / tint_at(&t, &tinted, 10, 30);
    cr_expect_float_eq(ratio, 0.5, 2.0 * STEP / tint_at(&t, &tinted, 10, 30), "%g", ratio);
    rlv_picture_free(&tinted);
    table_top_clear(&t);
}

Test(panel_corridor, what_lies_between_two_places_is_swept_without_waves)
{
    table_top t;
    lay(&t);
    const rlv_panel_expected both[2] = {place_of(10, 30, narrow, 7), place_of(50, 30, narrow, 8)};
    rlv_picture tinted = tinted_by(&t, 2, both);
    double middle = tint_at(&t, &tinted, 10, 30);
    for (int tenth = 100; tenth <= 500; tenth++)
        cr_expect_float_eq(tint_at(&t, &tinted, 0.1 * tenth, 30), middle, 0.02 * middle + 2.0 * STEP, "at %g mm",
                           0.1 * tenth);
    rlv_picture_free(&tinted);
    table_top_clear(&t);
}

Test(panel_corridor, places_of_other_rows_or_of_the_other_end_of_a_row_are_not_joined)
{
    table_top t;
    lay(&t);
    rlv_panel_expected both[2] = {place_of(10, 30, narrow, 2), place_of(50, 30, narrow, 8)};
    rlv_picture tinted = tinted_by(&t, 2, both);
    cr_expect_eq(tint_at(&t, &tinted, 30, 30), 0.0);
    rlv_picture_free(&tinted);
    both[1].place = 3;
    both[1].row = 2;
    tinted = tinted_by(&t, 2, both);
    cr_expect_eq(tint_at(&t, &tinted, 30, 30), 0.0);
    rlv_picture_free(&tinted);
    both[1].row = 1;
    tinted = tinted_by(&t, 2, both);
    cr_expect_gt(tint_at(&t, &tinted, 30, 30), 0.1);
    rlv_picture_free(&tinted);
    table_top_clear(&t);
}

Test(panel_corridor, nothing_is_tinted_where_there_is_no_surface)
{
    table_top t;
    lay(&t);
    const rlv_panel_expected edge = place_of(60, 30, wide, 7);
    rlv_picture tinted = tinted_by(&t, 1, &edge);
    cr_expect_gt(tint_at(&t, &tinted, 59, 30), 0.1);
    cr_expect_eq(tint_at(&t, &tinted, 61, 30), 0.0);
    rlv_picture_free(&tinted);
    table_top_clear(&t);
}

Test(panel_corridor, a_panel_that_was_lent_its_look_is_tinted_as_the_one_that_lent_it)
{
    table_top t;
    lay(&t);
    rlv_panel_surface surface = t.surface;
    surface.like = &t.panel;
    table_top other;
    memset(&other, 0, sizeof other);
    cr_assert_eq(rlv_panel_make(&other.panel, &surface, &t.panel.view, 70.0, 70.0, NULL), RLV_DONE);
    cr_assert_null(other.panel.own_cast);
    const rlv_panel_expected edge = place_of(60, 30, wide, 7);
    rlv_picture tinted[2] = {tinted_by(&t, 1, &edge), tinted_by(&other, 1, &edge)};
    cr_expect_gt(tint_at(&other, &tinted[1], 59, 30), 0.1);
    cr_expect_eq(tint_at(&other, &tinted[1], 61, 30), 0.0);
    cr_expect_eq(memcmp(tinted[0].rgb, tinted[1].rgb, 3 * tinted[0].width * tinted[0].height), 0);
    rlv_picture_free(&tinted[0]);
    rlv_picture_free(&tinted[1]);
    rlv_panel_free(&other.panel);
    table_top_clear(&t);
}

// The most pixels of any picture in a PDF, and how many there are: Cairo writes them as objects with a plain head.
static size_t pictures_in(const char* data, size_t size, double* most)
{
    static const char head[] = "/Subtype /Image";
    size_t count = 0;
    *most = 0.0;
    for (const char* at = data; (at = memmem(at, size - (size_t)(at - data), head, strlen(head))) != NULL; count++)
    {
        double width = 0.0, height = 0.0;
        at += strlen(head);
        cr_assert_eq(sscanf(at, " /Width %lf /Height %lf", &width, &height), 2);
        *most = fmax(*most, width * height);
    }
    return count;
}

Test(panel_corridor, a_page_with_a_corridor_stays_vectors_but_for_the_picture_of_the_panel)
{
    table_top t;
    rlv_sheet sheet = {0};
    char* data = NULL;
    size_t size = 0;
    double most = 0.0;
    lay(&t);
    const rlv_panel_expected both[2] = {place_of(10, 30, narrow, 7), place_of(40, 30, wide, 8)};
    const rlv_panel_marks marks = {.expected_count = 2, .expected = both};
    cr_assert_eq(rlv_sheet_reserve(&sheet, 210, 297, NULL), RLV_DONE);
    cr_assert_eq(rlv_panel_draw(&sheet, &t.panel, 20, 20, &marks, NULL, NULL), RLV_DONE);
    rlv_key key = {0};
    rlv_panel_key(&key, &t.panel, &marks);
    rlv_key_print(&sheet, &key, 20, 120, 150);
    FILE* stream = open_memstream(&data, &size);
    cr_assert_eq(rlv_sheet_write(&sheet, RLV_SHEET_PDF, stream, &(rlv_sheet_info){.title = "T"}, NULL), RLV_DONE);
    fclose(stream);
    cr_expect_eq(pictures_in(data, size, &most), 1);
    cr_expect_eq(most, (double)(t.panel.picture.width * t.panel.picture.height));
    free(data);
    rlv_sheet_free(&sheet);
    table_top_clear(&t);
}
