// A map of depth: its sections stand in line with the plan and at its scale, as a technical drawing has them.

#include "sheets.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(sheet_depth);

#define PIXEL_MM 0.25 // of paper

// A block of 60 x 40 x 20 mm with a groove 4 mm wide across it, whose underside and top lie where they are told.
static rlv_sheet map_of(double groove_low, double groove_high, double scale)
{
    rlv_mesh mesh = {0};
    rlv_tree* tree = NULL;
    rlv_sheet sheet;
    rlv_error error = {0};
    shape_add_box(&mesh, rlv_vec3_of(-30, -20, 0), rlv_vec3_of(10, 20, 20));
    shape_add_box(&mesh, rlv_vec3_of(10, -20, groove_low), rlv_vec3_of(14, 20, groove_high));
    shape_add_box(&mesh, rlv_vec3_of(14, -20, 0), rlv_vec3_of(30, 20, 20));
    cr_assert_eq(rlv_tree_build(&tree, &mesh, &error), RLV_DONE, "%s", error.what);
    const rlv_depth_map map = {.title = {.specimen = "LQ-0417", .subject = "depth"},
                               .axes = rlv_aspect_of_upper_side(rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0)),
                               .surface = {.mesh = &mesh, .tree = tree, .pixel_mm = 0.5, .rays = 1, .samples = 1},
                               .before = {.mesh = &mesh},
                               .cross_mm = {0, 0, 10},
                               .scale = scale,
                               .paper = 3};
    cr_assert_eq(rlv_sheet_of_depth(&sheet, &map, NULL, &error), RLV_DONE, "%s", error.what);
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
    return sheet;
}

static cairo_surface_t* raster(const rlv_sheet* sheet)
{
    cairo_surface_t* image = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)(sheet->width_mm / PIXEL_MM),
                                                        (int)(sheet->height_mm / PIXEL_MM));
    cairo_t* c = cairo_create(image);
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_paint(c);
    cairo_scale(c, 25.4 / 72.0 / PIXEL_MM, 25.4 / 72.0 / PIXEL_MM); // a record is in points
    cairo_set_source_surface(c, sheet->record, 0.0, 0.0);
    cairo_paint(c);
    cairo_destroy(c);
    cairo_surface_flush(image);
    return image;
}

// Where two sheets of one size differ: a box in mm, empty where they do not.
static rlv_box2 change_of(const rlv_sheet* one, const rlv_sheet* other)
{
    cairo_surface_t *a = raster(one), *b = raster(other);
    const int wide = cairo_image_surface_get_width(a), tall = cairo_image_surface_get_height(a);
    const size_t stride = (size_t)cairo_image_surface_get_stride(a);
    const unsigned char *p = cairo_image_surface_get_data(a), *q = cairo_image_surface_get_data(b);
    int low[2] = {wide, tall}, high[2] = {-1, -1};
    cr_assert_eq(wide, cairo_image_surface_get_width(b));
    cr_assert_eq(tall, cairo_image_surface_get_height(b));
    for (int y = 0; y < tall; y++)
        for (int x = 0; x < wide; x++)
        {
            const size_t at = (size_t)y * stride + 4 * (size_t)x;
            if (p[at] == q[at])
                continue;
            low[0] = x < low[0] ? x : low[0];
            low[1] = y < low[1] ? y : low[1];
            high[0] = x > high[0] ? x : high[0];
            high[1] = y > high[1] ? y : high[1];
        }
    cairo_surface_destroy(a);
    cairo_surface_destroy(b);
    return high[0] < 0 ? (rlv_box2){0}
                       : (rlv_box2){PIXEL_MM * low[0], PIXEL_MM * low[1], PIXEL_MM * (high[0] + 1 - low[0]),
                                    PIXEL_MM * (high[1] + 1 - low[1])};
}

Test(sheet_depth, a_groove_is_in_the_section_beneath_the_plan_where_the_plan_shows_it)
{
    static const double scale[2] = {1.0, 2.0};
    for (int i = 0; i < 2; i++)
    {
        const double s = scale[i];
        rlv_sheet whole = map_of(0, 20, s), under = map_of(3, 20, s), over = map_of(0, 17, s);
        // The section across does not meet the groove: what differs is the plan and the section beneath it, or this
        // alone.
        const rlv_box2 both = change_of(&whole, &over), section = change_of(&whole, &under);
        // To a pixel at either end; and lines, no wider than two pixels, stand on both edges.
        cr_expect_float_eq(section.left, both.left, PIXEL_MM + 1e-9, "%g, %g", section.left, both.left);
        cr_expect_float_eq(section.width, 4.0 * s, 4.0 * PIXEL_MM, "%g", section.width);
        cr_expect_float_eq(both.width, 4.0 * s, 4.0 * PIXEL_MM, "%g", both.width);
        // The plan ends 40 mm beneath where its groove begins, and there the section's edges begin, which are 20 mm
        // high.
        cr_expect_gt(section.top, both.top + 40.0 * s);
        cr_expect_float_eq(section.height, 20.0 * s, 4.0 * PIXEL_MM, "%g", section.height);
        cr_expect_lt(both.top + both.height, section.top + section.height);
        rlv_sheet_free(&whole);
        rlv_sheet_free(&under);
        rlv_sheet_free(&over);
    }
}
