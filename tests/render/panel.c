// Panels: scale true on paper, outlines that follow what is seen, levels where they are, and the same bytes for any
// number of threads.

#include "panel.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

TestSuite(panel);

typedef struct thing
{
    rlv_mesh mesh;
    rlv_tree* tree;
} thing;

static void index_of(thing* of)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_tree_build(&of->tree, &of->mesh, &error), RLV_DONE, "%s", error.what);
}

static void wipe(thing* of)
{
    rlv_tree_free(of->tree);
    rlv_mesh_free(&of->mesh);
}

// A plate 60 mm wide and 40 mm deep in cells of 0.5 mm, its upper side at z = 0.
static thing plate(void)
{
    thing of = {0};
    uint32_t wide = 120, deep = 80, row = wide + 1;
    cr_assert_eq(rlv_mesh_reserve(&of.mesh, (size_t)row * (deep + 1), 2 * (size_t)wide * deep, false, false, NULL),
                 RLV_DONE);
    for (uint32_t i = 0; i < row * (deep + 1); i++)
    {
        of.mesh.position_mm[3 * i] = 0.5f * (float)(i % row) - 30.0f;
        of.mesh.position_mm[3 * i + 1] = 0.5f * (float)(i / row) - 20.0f;
    }
    for (uint32_t i = 0; i < wide * deep; i++)
    {
        uint32_t a = i / wide * row + i % wide;
        const uint32_t two[6] = {a, a + 1, a + row + 1, a, a + row + 1, a + row};
        memcpy(of.mesh.corner + 6 * (size_t)i, two, sizeof two);
    }
    index_of(&of);
    return of;
}

static rlv_camera_axes above(void)
{
    return rlv_aspect_of_upper_side(rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0));
}

static rlv_vec3 middle_of(const rlv_mesh* mesh, size_t triangle)
{
    rlv_vec3 sum = {0, 0, 0};
    for (size_t k = 0; k < 3; k++)
        sum = rlv_vec3_add(sum, rlv_mesh_vertex(mesh, mesh->corner[3 * triangle + k]));
    return rlv_vec3_scale(sum, 1.0 / 3.0);
}

static rlv_panel made(const rlv_panel_surface* surface, const rlv_panel_view* view)
{
    rlv_panel panel;
    rlv_error error = {0};
    cr_assert_eq(rlv_panel_make(&panel, surface, view, view->span_mm[0] * view->scale + 4.0,
                                view->span_mm[1] * view->scale + 4.0, &error),
                 RLV_DONE, "%s", error.what);
    return panel;
}

static rlv_panel_view view_of(const thing* of, double scale)
{
    const rlv_mesh* mesh = &of->mesh;
    rlv_camera_axes axes = above();
    return rlv_panel_view_of(1, &mesh, &axes, scale);
}

// How much of a pixel the clay covers: all where it is as dark as in the middle, give or take the light.
static double covered(const rlv_picture* picture, size_t x, size_t y)
{
    double paper = 255.0 - picture->rgb[3 * (picture->width * (picture->height / 2) + picture->width / 2) + 2];
    double share = (255.0 - picture->rgb[3 * (picture->width * y + x) + 2]) / paper;
    return share > 0.9 ? 1.0 : share;
}

Test(panel, the_clay_is_as_large_as_the_scale_says_to_half_a_pixel)
{
    thing of = plate();
    const double scale[4] = {2.0, 1.0, 0.5, 1.0 / 3.3};
    for (int i = 0; i < 4; i++)
    {
        rlv_panel_view view = view_of(&of, scale[i]);
        cr_expect_float_eq(view.span_mm[0], 60.0, 1e-9);
        rlv_panel_surface surface = {.mesh = &of.mesh, .tree = of.tree, .rays = 1, .samples = 16};
        rlv_panel panel = made(&surface, &view);
        const rlv_picture* picture = &panel.picture;
        cr_expect_float_eq(panel.width_mm, (double)picture->width * picture->pixel_mm, 1e-9);
        size_t middle_x = picture->width / 2, middle_y = picture->height / 2;
        double across = 0.0, down = 0.0;
        for (size_t x = 0; x < picture->width; x++)
            across += covered(picture, x, middle_y);
        for (size_t y = 0; y < picture->height; y++)
            down += covered(picture, middle_x, y);
        cr_expect_float_eq(across * picture->pixel_mm, 60.0 * scale[i], 0.5 * picture->pixel_mm);
        cr_expect_float_eq(down * picture->pixel_mm, 40.0 * scale[i], 0.5 * picture->pixel_mm);
        rlv_panel_free(&panel);
    }
    wipe(&of);
}

Test(panel, an_outline_follows_a_known_disc)
{
    thing of = {0};
    // A sphere of 20 mm; what lies within 35 degrees of its top is in the set: a disc of 20 sin 35 from above.
    shape_add_sphere(&of.mesh, rlv_vec3_of(5, 6, 7), 20.0, 160);
    index_of(&of);
    uint8_t* in = calloc(of.mesh.triangle_count, 1);
    double cosine = cos(35.0 * M_PI / 180.0), disc = 20.0 * sin(35.0 * M_PI / 180.0);
    for (size_t t = 0; t < of.mesh.triangle_count; t++)
        in[t] = rlv_vec3_unit(rlv_vec3_sub(middle_of(&of.mesh, t), rlv_vec3_of(5, 6, 7))).z > cosine;
    const rlv_panel_outline outline = {.in = in};
    rlv_panel_surface surface = {
        .mesh = &of.mesh, .tree = of.tree, .outline_count = 1, .outline = &outline, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0);
    rlv_panel panel = made(&surface, &view);
    cr_assert_eq(panel.outline_count, 1);
    cr_assert_eq(panel.outline[0].line_count, 1);
    cr_expect(panel.outline[0].closed[0]);
    // Triangles are in or out as a whole: a side is sqrt(6) * 20 / 160 at the most, of which two thirds may stand on
    // either side; the line is simplified by a third of its width, and its pixels are 0.1 mm.
    double slack = sqrt(6.0) * 20.0 / 160.0 * 2.0 / 3.0 + RLV_LINE_MEDIUM / 3.0 + 0.1;
    for (size_t k = 0; k < panel.outline[0].point_count; k++)
    {
        const double* at = panel.outline[0].point + 2 * k;
        double far = hypot(at[0] - 0.5 * panel.width_mm, at[1] + 0.5 * panel.height_mm);
        cr_expect_float_eq(far, disc, slack);
    }
    double area = rlv_lines_area(&panel.outline[0]);
    cr_expect_float_eq(area, M_PI * disc * disc, 2.0 * M_PI * disc * 0.5 * slack);
    rlv_panel_free(&panel);
    free(in);
    wipe(&of);
}

Test(panel, what_another_part_hides_is_not_outlined)
{
    thing of = {0};
    shape_add_box(&of.mesh, rlv_vec3_of(-20, -20, 0), rlv_vec3_of(20, 20, 5));
    size_t lid = shape_add_box(&of.mesh, rlv_vec3_of(0, -30, 10), rlv_vec3_of(30, 30, 12));
    index_of(&of);
    uint8_t* in = calloc(of.mesh.triangle_count, 1);
    memset(in, 1, lid);
    const rlv_panel_outline outline = {.in = in};
    rlv_panel_surface surface = {
        .mesh = &of.mesh, .tree = of.tree, .outline_count = 1, .outline = &outline, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0);
    rlv_panel panel = made(&surface, &view);
    // The lower box shows its left half, 20 by 40 mm; corners are rounded by 0.3 mm.
    cr_expect_float_eq(rlv_lines_area(&panel.outline[0]), 800.0, 120.0 * 0.1);
    double low[2], high[2];
    cr_assert(rlv_lines_box(&panel.outline[0], low, high));
    cr_expect_float_eq(high[0] - low[0], 20.0, 0.2);
    rlv_panel_free(&panel);
    free(in);
    wipe(&of);
}

// Depth rises from 0 at the left to 12 mm at the right of the plate.
static rlv_overlay slope(const thing* of)
{
    float* depth = malloc(of->mesh.vertex_count * sizeof *depth);
    uint8_t* shown = malloc(of->mesh.triangle_count);
    for (size_t v = 0; v < of->mesh.vertex_count; v++)
        depth[v] = 12.0f * (of->mesh.position_mm[3 * v] + 30.0f) / 60.0f;
    for (size_t t = 0; t < of->mesh.triangle_count; t++)
        shown[t] = middle_of(&of->mesh, t).x < -25.0 ? 2 : 1;
    return (rlv_overlay){.depth_mm = depth, .shown = shown, .deepest_mm = 12.0, .caption = "depth removed, mm"};
}

Test(panel, isolines_lie_at_their_depth)
{
    thing of = plate();
    rlv_overlay overlay = slope(&of);
    rlv_panel_surface surface = {
        .mesh = &of.mesh, .tree = of.tree, .overlay = &overlay, .isoline_mm = 3.0, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 2.0);
    rlv_panel panel = made(&surface, &view);
    cr_assert_eq(panel.isoline_count, 3);
    for (size_t i = 0; i < 3; i++)
    {
        cr_expect_float_eq(panel.isoline[i].depth_mm, 3.0 * (double)(i + 1), 1e-12);
        const rlv_lines* lines = &panel.isoline[i].lines;
        for (size_t k = 0; k < lines->point_count; k++)
        {
            double x = (lines->point[2 * k] - 0.5 * panel.width_mm) / 2.0;
            cr_expect_float_eq(x, 15.0 * (double)i - 15.0, 0.05);
        }
    }
    // What is hatched is a stripe of 5 mm, 10 on paper, by 80.
    cr_expect_float_eq(rlv_lines_area(&panel.hatched), 800.0, 180.0 * 0.1);
    rlv_panel_free(&panel);
    free((void*)(uintptr_t)overlay.depth_mm);
    free((void*)(uintptr_t)overlay.shown);
    wipe(&of);
}

Test(panel, a_number_stands_deepest_inside_its_region)
{
    thing of = plate();
    uint16_t* region = calloc(of.mesh.triangle_count, sizeof *region);
    for (size_t t = 0; t < of.mesh.triangle_count; t++)
    {
        rlv_vec3 at = middle_of(&of.mesh, t);
        region[t] = hypot(at.x - 10.0, at.y - 5.0) < 8.0 ? 2 : at.x < -28.0 ? 1 : 0;
    }
    rlv_panel_surface surface = {
        .mesh = &of.mesh, .tree = of.tree, .region = region, .region_count = 3, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0);
    rlv_panel panel = made(&surface, &view);
    cr_assert_eq(panel.region_count, 3);
    // Chamfer distances are true to 8 % (Borgefors 1986), cells to 0.5 mm.
    cr_expect_float_eq(panel.region_at[1][0] - 0.5 * panel.width_mm, 10.0, 1.2);
    cr_expect_float_eq(0.5 * panel.height_mm - panel.region_at[1][1], 5.0, 1.2);
    cr_expect_float_eq(panel.region_at[1][2], 8.0, 0.08 * 8.0 + 0.5);
    cr_expect_eq(panel.region_at[2][2], 0.0); // nothing of the third is there
    rlv_panel_free(&panel);
    free(region);
    wipe(&of);
}

Test(panel, a_number_stands_in_the_square_of_its_regions_place_as_far_as_it_is_seen_there)
{
    thing of = plate();
    uint16_t* region = calloc(of.mesh.triangle_count, sizeof *region);
    // A bent region, wide on the left and a narrow strip along the lower edge; the second is not in its place's square.
    for (size_t t = 0; t < of.mesh.triangle_count; t++)
    {
        rlv_vec3 at = middle_of(&of.mesh, t);
        region[t] = at.x < -12.0 || at.y < -17.0 ? 1 : at.x > 25.0 ? 2 : 0;
    }
    const rlv_panel_grid tens = {{-30, 20, 0}, 10.0, 6, 4};
    const rlv_vec3 place[2] = {{14.0, -18.0, 0.0}, {4.0, 4.0, 0.0}};
    rlv_panel_surface surface = {.mesh = &of.mesh,
                                 .tree = of.tree,
                                 .region = region,
                                 .region_count = 2,
                                 .region_mm = place,
                                 .squares = &tens,
                                 .rays = 1,
                                 .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0);
    rlv_panel panel = made(&surface, &view);
    const double x = panel.region_at[0][0] - 0.5 * panel.width_mm, y = 0.5 * panel.height_mm - panel.region_at[0][1];
    cr_expect(x > 10.0 && x < 20.0 && y > -20.0 && y < -17.0 + 0.5, "%g, %g", x, y); // cells of 0.5 mm
    cr_expect_gt(panel.region_at[1][0] - 0.5 * panel.width_mm, 25.0 - 0.5);
    rlv_panel_free(&panel);
    surface.squares = NULL; // then it is deepest inside, on the left
    panel = made(&surface, &view);
    cr_expect_lt(panel.region_at[0][0] - 0.5 * panel.width_mm, -12.0);
    rlv_panel_free(&panel);
    free(region);
    wipe(&of);
}

static bool has_words(const rlv_key* key, const char* words)
{
    for (size_t i = 0; i < key->count; i++)
        if (strcmp(key->entry[i].words, words) == 0)
            return true;
    return false;
}

Test(panel, a_key_explains_the_lines_in_sight_once_each_and_nothing_else)
{
    thing of = plate();
    uint8_t* in = calloc(of.mesh.triangle_count, 1);
    uint8_t* nowhere = calloc(of.mesh.triangle_count, 1);
    for (size_t t = 0; t < of.mesh.triangle_count; t++)
        in[t] = middle_of(&of.mesh, t).x > 0.0;
    rlv_panel_outline outline[4] = {{.in = in, .words = "bone"},
                                    {.in = nowhere, .words = "nowhere"},
                                    {.in = in, .dashed = true},
                                    {.in = in, .words = "bone"}};
    rlv_overlay overlay = slope(&of);
    rlv_panel_surface surface = {
        .mesh = &of.mesh, .tree = of.tree, .outline_count = 4, .outline = outline, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0);
    const rlv_panel_trace trace = {{-20, 0, 0}, {20, 0, 0}, "A"};
    const rlv_panel_marks marks = {.trace_count = 1, .trace = &trace};
    rlv_panel plain = made(&surface, &view);
    rlv_key key = {0};
    rlv_panel_key(&key, &plain, NULL);
    cr_expect_eq(key.count, 1);
    cr_expect(has_words(&key, "bone"));
    rlv_panel_key(&key, &plain, &marks);
    cr_expect_eq(key.count, 2);
    cr_expect(has_words(&key, "where a section is cut"));
    surface.overlay = &overlay;
    surface.isoline_mm = 5.0;
    rlv_panel panel = made(&surface, &view);
    rlv_panel_key(&key, &panel, NULL);
    rlv_key most = {0};
    rlv_panel_key_most(&most, &surface, &marks);
    cr_expect_eq(most.count, 6); // and what turned out to be nowhere, and no crowd
    cr_expect_eq(key.count, 4);
    cr_expect(has_words(&key, "equal depth, every 5" RLV_THIN "mm"));
    cr_expect(has_words(&key, "edge of the coloured depths"));
    rlv_sheet sheet;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 200, 140, NULL), RLV_DONE);
    double rows = rlv_key_print(&sheet, &key, 10, 10, 30), row = rlv_key_print(&sheet, &key, 10, 10, 400);
    cr_expect_float_eq(rows, 4.0 * row, 1e-9); // on 30 mm no two stand side by side
    cr_expect_float_eq(rlv_key_tall(&sheet, &key, 30), rows, 1e-9);
    rlv_sheet_free(&sheet);
    rlv_panel_free(&plain);
    rlv_panel_free(&panel);
    free((void*)overlay.depth_mm);
    free((void*)overlay.shown);
    free(in);
    free(nowhere);
    wipe(&of);
}

Test(panel, a_recorded_outline_runs_from_point_to_point_as_far_as_it_is_seen)
{
    thing of = plate();
    enum
    {
        POINTS = 40
    };
    rlv_vec3 ring[POINTS];
    for (int i = 0; i < POINTS; i++)
        ring[i] = rlv_vec3_of(15.0 * cos(2.0 * M_PI * i / POINTS), 15.0 * sin(2.0 * M_PI * i / POINTS), 1.0);
    rlv_panel_outline outline = {.ring_count = POINTS, .ring_mm = ring};
    rlv_panel_surface surface = {
        .mesh = &of.mesh, .tree = of.tree, .outline_count = 1, .outline = &outline, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0);
    rlv_panel panel = made(&surface, &view);
    cr_assert_eq(panel.outline[0].line_count, 1);
    cr_expect(panel.outline[0].closed[0]);
    // A polygon of 40 sides in a circle of 15 mm: 2 * 40 * 15 * sin(pi / 40).
    cr_expect_float_eq(rlv_lines_length(&panel.outline[0]), 80.0 * 15.0 * sin(M_PI / POINTS), 0.2);
    for (size_t i = 0; i < panel.outline[0].point_count; i++)
    {
        double x = panel.outline[0].point[2 * i] - 0.5 * panel.width_mm;
        double y = panel.outline[0].point[2 * i + 1] + 0.5 * panel.height_mm;
        cr_expect_float_eq(hypot(x, y), 15.0, 1e-4); // coordinates are floats
    }
    rlv_panel_free(&panel);
    // One point that a rough place hides breaks nothing; ten in a row beneath the plate do.
    ring[7].z = -5.0;
    panel = made(&surface, &view);
    cr_expect(panel.outline[0].line_count == 1 && panel.outline[0].closed[0]);
    rlv_panel_free(&panel);
    for (int i = 10; i < 20; i++)
        ring[i].z = -5.0;
    panel = made(&surface, &view);
    cr_assert_eq(panel.outline[0].line_count, 1);
    cr_expect_not(panel.outline[0].closed[0]);
    // Of 40 sides eleven touch a hidden point.
    cr_expect_float_eq(rlv_lines_length(&panel.outline[0]), 29.0 * 2.0 * 15.0 * sin(M_PI / POINTS), 0.2);
    rlv_panel_free(&panel);
    wipe(&of);
}

static cairo_status_t next_bytes(void* stream, unsigned char* into, unsigned count)
{
    return fread(into, 1, count, stream) == count ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_READ_ERROR;
}

// The sheet as a PNG shows it. The sheet is used up.
static cairo_surface_t* image_of(rlv_sheet* sheet)
{
    FILE* stream = tmpfile();
    cr_assert_eq(rlv_sheet_write(sheet, RLV_SHEET_PNG, stream, &(rlv_sheet_info){0}, NULL), RLV_DONE);
    rewind(stream);
    cairo_surface_t* image = cairo_image_surface_create_from_png_stream(next_bytes, stream);
    fclose(stream);
    rlv_sheet_free(sheet);
    return image;
}

// Whether two images of one size differ in a pixel.
static bool differ_at(cairo_surface_t* one, cairo_surface_t* other, size_t x, size_t y)
{
    const size_t at = y * (size_t)cairo_image_surface_get_stride(one) + 4 * x;
    return memcmp(cairo_image_surface_get_data(one) + at, cairo_image_surface_get_data(other) + at, 3) != 0;
}

// The share of pixels darker than a third within 6 by 1 mm beneath and beside the middle of the sheet's first region.
static double dark_share(const thing* of, const rlv_panel_tag* tag)
{
    uint16_t* region = calloc(of->mesh.triangle_count, sizeof *region);
    for (size_t t = 0; t < of->mesh.triangle_count; t++)
        region[t] = hypot(middle_of(&of->mesh, t).x, middle_of(&of->mesh, t).y) < 18.0;
    rlv_panel_surface surface = {
        .mesh = &of->mesh, .tree = of->tree, .region = region, .region_count = 1, .tag = tag, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(of, 1.0);
    rlv_panel panel = made(&surface, &view);
    rlv_sheet sheet;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 80, NULL), RLV_DONE);
    cr_assert_eq(rlv_panel_draw(&sheet, &panel, 10.0, 10.0, NULL, NULL, NULL), RLV_DONE);
    FILE* stream = tmpfile();
    cr_assert_eq(rlv_sheet_write(&sheet, RLV_SHEET_PNG, stream, &(rlv_sheet_info){0}, NULL), RLV_DONE);
    rewind(stream);
    cairo_surface_t* image = cairo_image_surface_create_from_png_stream(next_bytes, stream);
    const unsigned char* data = cairo_image_surface_get_data(image);
    size_t stride = (size_t)cairo_image_surface_get_stride(image), dark = 0, all = 0;
    size_t x0 = (size_t)((10.0 + panel.region_at[0][0] - 3.0) / 0.1),
           y0 = (size_t)((10.0 + panel.region_at[0][1] - 0.5) / 0.1);
    for (size_t y = y0; y < y0 + 10; y++)
        for (size_t x = x0; x < x0 + 60; x++, all++)
            dark += data[y * stride + 4 * x + 1] < 85;
    cairo_surface_destroy(image);
    fclose(stream);
    rlv_sheet_free(&sheet);
    rlv_panel_free(&panel);
    free(region);
    return (double)dark / (double)all;
}

Test(panel, a_strong_tag_is_black_where_a_plain_one_is_white)
{
    thing of = plate();
    const rlv_panel_tag plain = {"bone lost", false}, strong = {"bone lost", true}, none = {NULL, true};
    // Bold letters cover less than half of their line, so a line of them is mostly ground.
    cr_expect_lt(dark_share(&of, &plain), 0.5);
    cr_expect_gt(dark_share(&of, &strong), 0.5);
    cr_expect_float_eq(dark_share(&of, &none), dark_share(&of, NULL), 1e-12);
    wipe(&of);
}

Test(panel, every_large_stretch_of_a_region_has_its_number)
{
    thing of = plate();
    uint16_t* region = calloc(of.mesh.triangle_count, sizeof *region);
    uint8_t* shown = calloc(of.mesh.triangle_count, sizeof *shown);
    float* depth_mm = calloc(of.mesh.vertex_count, sizeof *depth_mm);
    // Two stretches, one of 20 mm and one of 12, with 6 between them.
    for (size_t t = 0; t < of.mesh.triangle_count; t++)
    {
        const double x = middle_of(&of.mesh, t).x, y = middle_of(&of.mesh, t).y;
        shown[t] = fabs(y) < 8.0 && ((x > -22.0 && x < -2.0) || (x > 4.0 && x < 16.0));
        region[t] = shown[t];
    }
    for (size_t v = 0; v < of.mesh.vertex_count; v++)
        depth_mm[v] = 1.0f;
    const rlv_overlay overlay = {.depth_mm = depth_mm, .shown = shown, .deepest_mm = 1.0};
    rlv_panel_surface surface = {.mesh = &of.mesh,
                                 .tree = of.tree,
                                 .overlay = &overlay,
                                 .region = region,
                                 .region_count = 1,
                                 .rays = 1,
                                 .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0);
    rlv_panel panel = made(&surface, &view);
    cr_assert_eq(panel.island_count, 1);
    cr_expect_eq(panel.island[0].region, 0);
    // Deepest inside 12 by 16 mm is 6 mm from the edge, which runs along cells of 0.5 mm, seen in pixels of 0.1 mm.
    const double middle_mm = 0.5 * panel.width_mm;
    cr_expect_lt(panel.region_at[0][0], middle_mm);
    cr_expect_float_eq(panel.island[0].at[0], middle_mm + 10.0, 0.6);
    cr_expect_float_eq(panel.island[0].at[2], 6.0, 0.6);
    rlv_panel_free(&panel);
    // At a twelfth of the scale neither holds a number.
    view = view_of(&of, 1.0 / 12.0);
    panel = made(&surface, &view);
    cr_expect_eq(panel.island_count, 0);
    rlv_panel_free(&panel);
    free(depth_mm);
    free(shown);
    free(region);
    wipe(&of);
}

Test(panel, a_surface_without_numbers_has_no_number_in_its_key)
{
    thing of = plate();
    for (int unnumbered = 0; unnumbered < 2; unnumbered++)
    {
        uint16_t* region = calloc(of.mesh.triangle_count, sizeof *region);
        const rlv_panel_surface surface = {
            .mesh = &of.mesh, .tree = of.tree, .region = region, .region_count = 1, .unnumbered = unnumbered == 1};
        rlv_key key = {0};
        rlv_panel_key_most(&key, &surface, NULL);
        size_t told = 0;
        for (size_t i = 0; i < key.count; i++)
            told += strcmp(key.entry[i].words, "region, by its number") == 0;
        cr_expect_eq(told, unnumbered ? 0 : 1);
        free(region);
    }
    wipe(&of);
}

// The plate with a region in its lower left corner, or without, and a scale bar there; as pixels of 0.1 mm.
static cairo_surface_t* corner_of(const thing* of, bool numbered)
{
    uint16_t* region = calloc(of->mesh.triangle_count, sizeof *region);
    for (size_t t = 0; t < of->mesh.triangle_count; t++)
        region[t] = middle_of(&of->mesh, t).x < -20.0 && middle_of(&of->mesh, t).y < -11.0;
    rlv_panel_surface surface = {
        .mesh = &of->mesh, .tree = of->tree, .region = region, .region_count = numbered, .rays = 1, .samples = 1};
    const rlv_panel_marks marks = {.bar = true};
    rlv_panel_view view = view_of(of, 1.0);
    rlv_panel panel = made(&surface, &view);
    rlv_sheet sheet;
    size_t left_out = 9;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 80, NULL), RLV_DONE);
    cr_assert_eq(rlv_panel_draw(&sheet, &panel, 10.0, 10.0, &marks, &left_out, NULL), RLV_DONE);
    cr_expect_eq(left_out, 0);
    cairo_surface_t* image = image_of(&sheet);
    rlv_panel_free(&panel);
    free(region);
    return image;
}

Test(panel, a_number_gives_way_to_the_scale_bar_and_is_drawn_beside_it)
{
    thing of = plate();
    cairo_surface_t *with = corner_of(&of, true), *without = corner_of(&of, false);
    size_t bar = 0, all = 0;
    for (size_t y = 0; y < 800; y++)
        for (size_t x = 0; x < 1000; x++)
        {
            bool differs = differ_at(with, without, x, y);
            all += differs;
            // The bar takes the panel's lower 7 mm: from 47 to 54 mm of the sheet, and 25 mm across at least.
            bar += differs && y >= 475 && y < 535 && x >= 100 && x < 350;
        }
    cr_expect_eq(bar, 0);
    cr_expect_gt(all, 500); // a disc of 3.5 mm is 960 pixels
    cairo_surface_destroy(with);
    cairo_surface_destroy(without);
    wipe(&of);
}

// The plate with squares, and with or without a bar and a cross of axes.
static cairo_surface_t* with_furniture(const thing* of, bool furnished)
{
    const rlv_panel_grid tens = {{-30, 20, 0}, 10.0, 6, 4};
    const rlv_direction way[2] = {{{1, 0, 0}, "x"}, {{0, 1, 0}, "y"}};
    const rlv_panel_marks marks = {
        .grid = &tens, .bar = furnished, .direction_count = furnished ? 2 : 0, .direction = way};
    rlv_panel_surface surface = {.mesh = &of->mesh, .tree = of->tree, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(of, 1.0);
    rlv_panel panel = made(&surface, &view);
    rlv_sheet sheet;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 80, NULL), RLV_DONE);
    cr_assert_eq(rlv_panel_draw(&sheet, &panel, 10.0, 10.0, &marks, NULL, NULL), RLV_DONE);
    cairo_surface_t* image = image_of(&sheet);
    rlv_panel_free(&panel);
    return image;
}

Test(panel, the_strips_of_letters_along_two_edges_hold_neither_bar_nor_axes)
{
    thing of = plate();
    cairo_surface_t *with = with_furniture(&of, true), *without = with_furniture(&of, false);
    size_t strips = 0, all = 0;
    for (size_t y = 0; y < 800; y++)
        for (size_t x = 0; x < 1000; x++)
        {
            bool differs = differ_at(with, without, x, y);
            all += differs;
            strips += differs && (x < 100 + 34 || y < 100 + 34); // 3.4 mm from the panel's corner
        }
    cr_expect_eq(strips, 0, "%zu", strips);
    cr_expect_gt(all, 500);
    cairo_surface_destroy(with);
    cairo_surface_destroy(without);
    wipe(&of);
}

typedef struct bytes
{
    char* data;
    size_t size;
} bytes;

// All layers on one sheet.
static bytes all_layers(const thing* of, rlv_sheet_format format, size_t* left_out)
{
    rlv_overlay overlay = slope(of);
    uint8_t* in = calloc(of->mesh.triangle_count, 1);
    uint16_t* region = calloc(of->mesh.triangle_count, sizeof *region);
    for (size_t t = 0; t < of->mesh.triangle_count; t++)
    {
        rlv_vec3 at = middle_of(&of->mesh, t);
        in[t] = hypot(at.x, at.y) < 10.0;
        region[t] = at.x > 0.0;
    }
    const rlv_panel_outline outline = {.in = in};
    rlv_panel_surface surface = {.mesh = &of->mesh,
                                 .tree = of->tree,
                                 .overlay = &overlay,
                                 .isoline_mm = 2.0,
                                 .outline_count = 1,
                                 .outline = &outline,
                                 .region = region,
                                 .region_count = 1,
                                 .pixel_mm = 0.2,
                                 .rays = 4};
    const rlv_panel_arrow arrow = {{-10, 0, 0}, {-5, 5, 0}, 2.0, "moved"};
    rlv_panel_point point[20];
    char name[20][8];
    for (int i = 0; i < 20; i++)
    {
        snprintf(name[i], sizeof name[i], "P%d", i);
        point[i] = (rlv_panel_point){.at_mm = {2.0 * i - 20.0, 3.0 * (i % 5) - 6.0, 0.0},
                                     .symbol = (rlv_symbol)(i % RLV_SYMBOL_COUNT),
                                     .label = name[i]};
    }
    const rlv_panel_trace trace = {{-30, 0, 0}, {30, 0, 0}, "A"};
    const rlv_direction direction[3] = {{{1, 0, 0}, "x"}, {{0, 1, 0}, "y"}, {{0, 0, 1}, "z"}};
    const rlv_panel_marks marks = {.arrow_count = 1,
                                   .arrow = &arrow,
                                   .point_count = 20,
                                   .point = point,
                                   .trace_count = 1,
                                   .trace = &trace,
                                   .direction_count = 3,
                                   .direction = direction,
                                   .bar = true};
    rlv_panel_view view = view_of(of, 2.0);
    rlv_panel panel = made(&surface, &view);
    rlv_sheet sheet;
    rlv_error error = {0};
    cr_assert_eq(rlv_sheet_reserve(&sheet, 200, 140, &error), RLV_DONE);
    cr_assert_eq(rlv_panel_draw(&sheet, &panel, 10.03, 10.02, &marks, left_out, &error), RLV_DONE, "%s", error.what);
    bytes out = {0};
    FILE* stream = open_memstream(&out.data, &out.size);
    const rlv_sheet_info info = {.title = "panel", .date = "2031-05-12"};
    cr_assert_eq(rlv_sheet_write(&sheet, format, stream, &info, &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    rlv_sheet_free(&sheet);
    rlv_panel_free(&panel);
    free(region);
    free(in);
    free((void*)(uintptr_t)overlay.depth_mm);
    free((void*)(uintptr_t)overlay.shown);
    return out;
}

Test(panel, one_thread_and_two_give_the_same_bytes_in_every_format)
{
    thing of = plate();
    for (int format = RLV_SHEET_PNG; format <= RLV_SHEET_SVG; format++)
    {
        size_t left_out = 0;
        omp_set_num_threads(1);
        bytes one = all_layers(&of, (rlv_sheet_format)format, &left_out);
        cr_expect_eq(left_out, 0);
        omp_set_num_threads(2);
        bytes two = all_layers(&of, (rlv_sheet_format)format, &left_out);
        cr_assert_eq(one.size, two.size);
        cr_expect(memcmp(one.data, two.data, one.size) == 0);
        free(one.data);
        free(two.data);
    }
    wipe(&of);
}

Test(panel, large_panels_take_coarser_pixels_and_say_so)
{
    thing of = plate();
    rlv_panel_surface surface = {.mesh = &of.mesh, .tree = of.tree, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 2.0);
    rlv_panel panel;
    cr_assert_eq(rlv_panel_make(&panel, &surface, &view, 400.0, 300.0, NULL), RLV_DONE); // 12 million of 0.1 mm
    cr_expect_float_eq(panel.picture.pixel_mm, 0.2, 1e-12);
    rlv_panel_free(&panel);
    surface.pixel_mm = 0.5;
    cr_assert_eq(rlv_panel_make(&panel, &surface, &view, 100.2, 80.0, NULL), RLV_DONE);
    cr_expect_eq(panel.picture.width, 201); // never narrower than asked for
    rlv_panel_free(&panel);
    wipe(&of);
}

Test(panel, what_cannot_be_drawn_is_refused)
{
    thing of = plate();
    rlv_panel panel;
    rlv_panel_surface surface = {.mesh = &of.mesh, .tree = of.tree, .rays = 1, .samples = 1};
    rlv_panel_view view = view_of(&of, 1.0), bad = view;
    bad.scale = 0.0;
    cr_expect_eq(rlv_panel_make(&panel, &surface, &bad, 50, 50, NULL), RLV_BAD_INPUT);
    cr_expect_eq(rlv_panel_make(&panel, &surface, &view, NAN, 50, NULL), RLV_BAD_INPUT);
    surface.pixel_mm = 0.001;
    cr_expect_eq(rlv_panel_make(&panel, &surface, &view, 50, 50, NULL), RLV_BAD_INPUT);
    surface.pixel_mm = 0.0;
    rlv_overlay overlay = {.deepest_mm = 1.0};
    surface.overlay = &overlay;
    cr_expect_eq(rlv_panel_make(&panel, &surface, &view, 50, 50, NULL), RLV_BAD_INPUT);
    rlv_overlay deep = slope(&of);
    surface.overlay = &deep;
    surface.isoline_mm = 0.01; // 1,200 lines
    cr_expect_eq(rlv_panel_make(&panel, &surface, &view, 50, 50, NULL), RLV_BAD_INPUT);
    rlv_panel_free(&panel);
    free((void*)(uintptr_t)deep.depth_mm);
    free((void*)(uintptr_t)deep.shown);
    rlv_mesh empty = {0};
    surface = (rlv_panel_surface){.mesh = &empty, .tree = of.tree};
    cr_expect_eq(rlv_panel_make(&panel, &surface, &view, 50, 50, NULL), RLV_BAD_INPUT);
    wipe(&of);
}
