// Strokes as they are on a sheet and in its key: what becomes of dashes round a small ring.

#include "key.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(key);

static const rlv_stroke dashed = {RLV_LINE_STRONG, RLV_INK_BLACK, RLV_DASH_EVEN};

// How many dashes a ring of a length has, 0 where its line is whole; and its line's width.
static double dashes_of(rlv_sheet* sheet, double length_mm, double* line_mm)
{
    double dash[4], dashes = 0.0;
    rlv_stroke_begin_ring(sheet, &dashed, length_mm);
    *line_mm = cairo_get_line_width(sheet->cairo);
    if (cairo_get_dash_count(sheet->cairo) == 2)
    {
        cairo_get_dash(sheet->cairo, dash, NULL);
        dashes = length_mm / (dash[0] + dash[1]);
        cr_expect_gt(dash[1], *line_mm, "a gap is seen");
    }
    rlv_stroke_end(sheet);
    return dashes;
}

Test(key, a_small_ring_has_whole_dashes_eight_at_least_or_none)
{
    rlv_sheet sheet = {0};
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 100, NULL), RLV_DONE);
    for (double length = 0.5; length < 200.0; length *= 1.1)
    {
        double line, dashes = dashes_of(&sheet, length, &line);
        cr_expect_float_eq(dashes, round(dashes), 1e-9);
        cr_expect(dashes == 0.0 || round(dashes) >= 8.0, "%g dashes round %g mm", dashes, length);
        // Eight of 2.5 of the finest line's widths, which is where a gap is as wide as the line.
        cr_expect_eq(dashes == 0.0, length <= 8.0 * 2.5 * RLV_LINE_THIN, "%g mm", length);
        cr_expect(line <= RLV_LINE_STRONG + 1e-12 && line >= RLV_LINE_THIN - 1e-12);
    }
    rlv_sheet_free(&sheet);
}

Test(key, a_large_ring_is_dashed_as_any_line)
{
    rlv_sheet sheet = {0};
    double line;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 100, NULL), RLV_DONE);
    // Ten widths a dash and its gap: 57.1 of them round 200 mm.
    cr_expect_float_eq(dashes_of(&sheet, 200.0, &line), 57.0, 1e-9);
    cr_expect_float_eq(line, RLV_LINE_STRONG, 1e-12);
    rlv_sheet_free(&sheet);
}
