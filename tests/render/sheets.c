// Sheets to pin on the wall: never shrunk, always said at what scale, the same bytes for any number of threads.

#include "sheets.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

TestSuite(sheets);

typedef struct thing
{
    rlv_mesh mesh;
    rlv_tree* tree;
    float* depth;
    uint8_t* shown;
    uint16_t* region;
} thing;

// A sphere of a radius, its top 30 degrees coloured as a region.
static thing ball(double radius)
{
    thing of = {0};
    rlv_error error = {0};
    shape_add_sphere(&of.mesh, rlv_vec3_of(0, 0, 0), radius, 24);
    cr_assert_eq(rlv_tree_build(&of.tree, &of.mesh, &error), RLV_DONE, "%s", error.what);
    of.depth = calloc(of.mesh.vertex_count, sizeof *of.depth);
    of.shown = calloc(of.mesh.triangle_count, 1);
    of.region = calloc(of.mesh.triangle_count, sizeof *of.region);
    for (size_t v = 0; v < of.mesh.vertex_count; v++)
        of.depth[v] = fmaxf(of.mesh.position_mm[3 * v + 2], 0.0f);
    for (size_t t = 0; t < of.mesh.triangle_count; t++)
    {
        of.region[t] = of.mesh.position_mm[3 * of.mesh.corner[3 * t] + 2] > (float)(radius * cos(M_PI / 6.0));
        of.shown[t] = (uint8_t)of.region[t];
    }
    return of;
}

static void wipe(thing* of)
{
    rlv_tree_free(of->tree);
    rlv_mesh_free(&of->mesh);
    free(of->depth);
    free(of->shown);
    free(of->region);
}

static const rlv_title_stage stages[2] = {{"field", "2031-05-12", "field.ply", "00112233445566778899aabbccddeeff"},
                                          {"overburden", "2031-06-02", "overburden.ply", "ffeeddccbbaa9988"}};
static const char* const notes[1] = {"Parallel projection: a length on a slope is shortened by its cosine."};
static const rlv_title title = {"LQ-0417",
                                "Armoured fish in a marl concretion",
                                "Depth",
                                2,
                                stages,
                                "0.7 mm",
                                "of stage field",
                                "rilievo",
                                "2031-06-02",
                                1,
                                notes};

static rlv_camera_axes above(void)
{
    return rlv_aspect_of_upper_side(rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0));
}

// A map of depth of a ball that lost a little all round.
static rlv_depth_map map_of(const thing* before, const thing* after, const rlv_overlay* overlay, double scale)
{
    static const char* const head[2] = {"region", "mL"};
    static const char* const cell[2] = {"1", "12.5"};
    static const bool right[2] = {false, true};
    return (rlv_depth_map){.title = title,
                           .axes = above(),
                           .surface = {.mesh = &after->mesh,
                                       .tree = after->tree,
                                       .overlay = overlay,
                                       .region = after->region,
                                       .region_count = 1,
                                       .pixel_mm = 1.0,
                                       .rays = 1,
                                       .samples = 1},
                           .before = {.mesh = &before->mesh, .region = before->region},
                           .scale = scale,
                           .paper = 3,
                           .table = {2, 1, head, cell, right}};
}

static rlv_sheet depth_map(const thing* before, const thing* after, const rlv_overlay* overlay, double scale)
{
    const rlv_depth_map map = map_of(before, after, overlay, scale);
    rlv_sheet sheet;
    rlv_error error = {0};
    size_t left_out = 9;
    cr_assert_eq(rlv_sheet_of_depth(&sheet, &map, &left_out, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(left_out, 0);
    return sheet;
}

Test(sheets, a_depth_map_is_never_shrunk_its_paper_grows)
{
    const double radius[4] = {20.0, 80.0, 100.0, 250.0};
    const double paper[3] = {297.0 * 420.0, 420.0 * 594.0, 594.0 * 841.0}; // A3, A2, A1
    for (int i = 0; i < 4; i++)
    {
        thing before = ball(radius[i]), after = ball(0.97 * radius[i]);
        rlv_overlay overlay = {.depth_mm = after.depth, .shown = after.shown, .deepest_mm = radius[i]};
        rlv_sheet sheet = depth_map(&before, &after, &overlay, 0.0);
        // A plan and two sections, each twice the radius at 1 : 1.
        cr_expect_gt(sheet.width_mm * sheet.height_mm, 12.0 * radius[i] * radius[i]);
        cr_expect_gt(fmin(sheet.width_mm, sheet.height_mm), 2.0 * radius[i]);
        if (i < 3)
            cr_expect_float_eq(sheet.width_mm * sheet.height_mm, paper[i], 1e-6, "%g x %g", sheet.width_mm,
                               sheet.height_mm);
        else // A0 is too short for all three beneath each other, and too narrow for two beside each other: a roll
            cr_expect((sheet.width_mm == 914.0 && sheet.height_mm > 1189.0) || sheet.width_mm == 1118.0, "%g x %g",
                      sheet.width_mm, sheet.height_mm);
        // Letters grow with it, up to those of A0.
        const rlv_paper as = {sheet.width_mm, sheet.height_mm, ""};
        cr_expect_leq(sheet.unit, rlv_paper_unit(&as) * (1.0 + 1e-9));
        cr_expect_geq(sheet.unit, fmax(0.6 * rlv_paper_unit(&as), 1.0) * (1.0 - 1e-9));
        rlv_sheet_free(&sheet);
        wipe(&before);
        wipe(&after);
    }
}

Test(sheets, a_depth_map_is_fitted_to_the_largest_round_scale_that_its_least_paper_holds)
{
    // 1 : 1 fits as it is; the others need larger paper at 1 : 1.
    const double radius[3] = {20.0, 80.0, 250.0};
    for (int i = 0; i < 3; i++)
    {
        thing before = ball(radius[i]), after = ball(0.97 * radius[i]);
        rlv_overlay overlay = {.depth_mm = after.depth, .shown = after.shown, .deepest_mm = radius[i]};
        rlv_depth_map map = map_of(&before, &after, &overlay, 1.0);
        rlv_error error = {0};
        cr_assert_eq(rlv_depth_map_fit(&map, &error), RLV_DONE, "%s", error.what);
        cr_expect_eq(map.scale == 1.0, i == 0, "%g", map.scale);
        cr_expect_float_eq(map.scale, rlv_round_scale(map.scale), 1e-12);
        rlv_sheet sheet = depth_map(&before, &after, &overlay, map.scale);
        cr_expect_eq(fmax(sheet.width_mm, sheet.height_mm), 420.0);
        rlv_sheet_free(&sheet);
        // No two neighbours of the round scales are further apart than 2 : 1.
        double next = 2.0 * map.scale;
        while (rlv_round_scale(0.999 * next) > 1.001 * map.scale)
            next = rlv_round_scale(0.999 * next);
        sheet = depth_map(&before, &after, &overlay, next);
        cr_expect(i == 0 || fmax(sheet.width_mm, sheet.height_mm) > 420.0, "%g", next);
        rlv_sheet_free(&sheet);
        wipe(&before);
        wipe(&after);
    }
}

// A flat stone as long as 1.2 times its width does on upright A1 what it did on A0: both sections lie beneath the plan
// where it is 0.28 times as high as long, and the key lies beside them where it is 0.36 times.
Test(sheets, sections_lie_beneath_each_other_where_that_saves_paper)
{
    const float high[2] = {0.28f, 0.36f};
    for (int k = 0; k < 2; k++)
    {
        thing before = ball(213.0), after = ball(212.0);
        thing* const both[2] = {&before, &after};
        for (int i = 0; i < 2; i++)
        {
            for (size_t v = 0; v < both[i]->mesh.vertex_count; v++)
            {
                both[i]->mesh.position_mm[3 * v + 1] *= 0.83f;
                both[i]->mesh.position_mm[3 * v + 2] *= high[k];
            }
            rlv_tree_free(both[i]->tree);
            cr_assert_eq(rlv_tree_build(&both[i]->tree, &both[i]->mesh, NULL), RLV_DONE);
        }
        rlv_overlay overlay = {.depth_mm = after.depth, .shown = after.shown, .deepest_mm = 20.0};
        rlv_sheet sheet = depth_map(&before, &after, &overlay, 1.0);
        cr_expect_eq(sheet.width_mm, 594.0);
        cr_expect_eq(sheet.height_mm, 841.0);
        rlv_sheet_free(&sheet);
        wipe(&before);
        wipe(&after);
    }
}

Test(sheets, one_thread_and_two_give_the_same_bytes)
{
    thing before = ball(60.0), after = ball(58.0);
    rlv_overlay overlay = {.depth_mm = after.depth, .shown = after.shown, .deepest_mm = 58.0};
    for (int format = RLV_SHEET_PDF; format <= RLV_SHEET_SVG; format++)
    {
        char* data[2] = {NULL, NULL};
        size_t size[2] = {0, 0};
        for (int i = 0; i < 2; i++)
        {
            omp_set_num_threads(i + 1);
            rlv_sheet sheet = depth_map(&before, &after, &overlay, 1.0);
            FILE* stream = open_memstream(&data[i], &size[i]);
            char source[1024];
            const rlv_sheet_info info = rlv_title_info(&title, source);
            cr_assert_eq(rlv_sheet_write(&sheet, (rlv_sheet_format)format, stream, &info, NULL), RLV_DONE);
            fclose(stream);
            rlv_sheet_free(&sheet);
        }
        cr_assert_eq(size[0], size[1]);
        cr_expect(memcmp(data[0], data[1], size[0]) == 0);
        free(data[0]);
        free(data[1]);
    }
    wipe(&before);
    wipe(&after);
}

static rlv_sheet hung(const thing* of, const rlv_overlay* overlay, size_t count, double scale, bool feature)
{
    static const char* const line[2] = {"overburden off", "removed 12 mL"};
    rlv_sheet_view view[12];
    for (size_t i = 0; i < count; i++)
        view[i] = (rlv_sheet_view){.surface = {.mesh = &of->mesh,
                                               .tree = of->tree,
                                               .overlay = i + 1 == count ? overlay : NULL,
                                               .pixel_mm = 1.0,
                                               .rays = 1,
                                               .samples = 1},
                                   .name = "stage",
                                   .date = "2031-06-02",
                                   .line_count = 2,
                                   .line = line};
    const rlv_direction direction[2] = {{{1, 0, 0}, "x"}, {{0, 0, 1}, "z"}};
    const rlv_gallery gallery = {.title = title,
                                 .axes = above(),
                                 .view_count = count,
                                 .view = view,
                                 .scale = scale,
                                 .paper = 3,
                                 .direction_count = 2,
                                 .direction = direction,
                                 .feature = feature};
    rlv_sheet sheet;
    rlv_error error = {0};
    cr_assert_eq(rlv_sheet_of_gallery(&sheet, &gallery, NULL, &error), RLV_DONE, "%s", error.what);
    return sheet;
}

static rlv_sheet gallery_of(const thing* of, const rlv_overlay* overlay, size_t count, double scale)
{
    return hung(of, overlay, count, scale, false);
}

static rlv_sheet feature_of(const thing* of, const rlv_overlay* overlay, double scale)
{
    return hung(of, overlay, 3, scale, true);
}

static cairo_status_t next_bytes(void* user, unsigned char* data, unsigned int length)
{
    return fread(data, 1, length, user) == length ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_READ_ERROR;
}

// The widest row of pixels that are not white, between two heights of a sheet and left of a place, mm.
static double widest_mm(const rlv_sheet* sheet, double from_mm, double to_mm, double left_of_mm)
{
    FILE* stream = tmpfile();
    cr_assert_eq(rlv_sheet_write(sheet, RLV_SHEET_PNG, stream, &(rlv_sheet_info){.pixel_mm = 0.5}, NULL), RLV_DONE);
    rewind(stream);
    cairo_surface_t* image = cairo_image_surface_create_from_png_stream(next_bytes, stream);
    fclose(stream);
    const unsigned char* data = cairo_image_surface_get_data(image);
    const size_t stride = (size_t)cairo_image_surface_get_stride(image);
    size_t most = 0;
    for (size_t y = (size_t)(2.0 * from_mm); y < (size_t)(2.0 * to_mm); y++)
    {
        size_t count = 0;
        for (size_t x = 0; x < (size_t)(2.0 * left_of_mm); x++)
            count += data[y * stride + 4 * x] < 250;
        most = count > most ? count : most;
    }
    cairo_surface_destroy(image);
    return 0.5 * (double)most;
}

Test(sheets, any_number_of_stages_fits_the_paper_that_was_asked_for)
{
    thing of = ball(150.0);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 150.0};
    for (size_t count = 1; count <= 12; count++)
    {
        rlv_sheet sheet = gallery_of(&of, &overlay, count, 0.0);
        cr_expect_float_eq(sheet.width_mm * sheet.height_mm, 297.0 * 420.0, 1e-6, "%zu", count);
        rlv_sheet_free(&sheet);
    }
    wipe(&of);
}

Test(sheets, three_views_that_fit_as_large_in_a_row_leave_no_cell_empty)
{
    // 300 mm across go three times into 390 mm at 1 : 2.5, as they do in two rows on upright paper.
    thing of = ball(150.0);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 150.0};
    rlv_sheet sheet = gallery_of(&of, &overlay, 3, 0.0);
    cr_expect_gt(sheet.width_mm, sheet.height_mm);
    rlv_sheet_free(&sheet);
    wipe(&of);
}

Test(sheets, a_feature_is_drawn_larger_where_the_others_stay_as_large)
{
    // As above, but two balls at 1 : 2.5 in a row over one at 1 : 2 fit upright paper: 145 + 175 mm of 420 less 80.
    thing of = ball(150.0);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 150.0};
    rlv_sheet plain = gallery_of(&of, &overlay, 3, 0.0), featured = feature_of(&of, &overlay, 0.0);
    cr_expect_gt(plain.width_mm, plain.height_mm);
    cr_expect_float_eq(featured.width_mm, 297.0, 1e-9);
    cr_expect_float_eq(featured.height_mm, 420.0, 1e-9);
    // The feature is printed as wide as it says: 150 mm, the row over it 120 mm each. Clay and colours are what is not
    // white; the widest row of pixels beneath the middle of the sheet is the feature's.
    cr_expect_float_eq(widest_mm(&featured, 170.0, 330.0, 190.0), 150.0, 2.0); // pixels of 1 mm on either side
    cr_expect_float_eq(widest_mm(&featured, 60.0, 130.0, 140.0), 120.0, 2.0);
    rlv_sheet_free(&plain);
    rlv_sheet_free(&featured);
    // At a scale that is asked for all views have it.
    plain = gallery_of(&of, &overlay, 3, 0.2);
    featured = feature_of(&of, &overlay, 0.2);
    cr_expect_eq(plain.width_mm, featured.width_mm);
    cr_expect_eq(plain.height_mm, featured.height_mm);
    rlv_sheet_free(&plain);
    rlv_sheet_free(&featured);
    wipe(&of);
}

Test(sheets, at_a_scale_that_was_asked_for_the_paper_grows)
{
    thing of = ball(150.0);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 150.0};
    rlv_sheet sheet = gallery_of(&of, &overlay, 6, 1.0);
    // Six balls of 300 mm each take more than half a square metre.
    cr_expect_geq(sheet.width_mm * sheet.height_mm, 6.0 * 300.0 * 300.0);
    rlv_sheet_free(&sheet);
    wipe(&of);
}

Test(sheets, a_gallery_has_room_for_its_table)
{
    enum
    {
        ROWS = 120
    };
    static const char* const head[1] = {"place"};
    const char* cell[ROWS];
    for (size_t i = 0; i < ROWS; i++)
        cell[i] = "25 of LL";
    thing of = ball(60.0);
    const rlv_sheet_view view = {
        .surface = {.mesh = &of.mesh, .tree = of.tree, .pixel_mm = 1.0, .rays = 1, .samples = 1}, .name = "stage"};
    rlv_gallery gallery = {.title = title,
                           .axes = above(),
                           .view_count = 1,
                           .view = &view,
                           .scale = 1.0,
                           .paper = 3,
                           .table_caption = "t"};
    rlv_sheet plain, tabled;
    rlv_error error = {0};
    cr_assert_eq(rlv_sheet_of_gallery(&plain, &gallery, NULL, &error), RLV_DONE, "%s", error.what);
    gallery.table = (rlv_sheet_table){1, ROWS, head, cell, NULL};
    cr_assert_eq(rlv_sheet_of_gallery(&tabled, &gallery, NULL, &error), RLV_DONE, "%s", error.what);
    // A ball of 120 mm, head and foot leave A3 less than the table is tall.
    const double tall = rlv_sheet_table_size(&plain, &gallery.table).height;
    cr_expect_gt(120.0 + tall, plain.height_mm);
    cr_expect_geq(tabled.height_mm, 120.0 + tall);
    rlv_sheet_free(&plain);
    rlv_sheet_free(&tabled);
    wipe(&of);
}

Test(sheets, a_table_is_as_wide_as_its_words)
{
    static const char* const head[2] = {"region", "mL"};
    static const char* const cell[4] = {"1", "12.5", "2", "1234567.8"};
    const rlv_sheet_table table = {2, 2, head, cell, NULL};
    rlv_sheet sheet;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100, 100, NULL), RLV_DONE);
    const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL};
    rlv_box2 box = rlv_sheet_table_size(&sheet, &table);
    cr_expect_float_eq(box.width,
                       rlv_sheet_measure(&sheet, "region", &small).width_mm + 4.0 +
                           rlv_sheet_measure(&sheet, "1234567.8", &small).width_mm,
                       1e-9);
    rlv_sheet_table_print(&sheet, &table, 10, 10);
    rlv_sheet_free(&sheet);
}

Test(sheets, what_cannot_be_drawn_is_refused)
{
    thing of = ball(20.0);
    rlv_sheet sheet;
    rlv_gallery none = {.title = title, .axes = above()};
    cr_expect_eq(rlv_sheet_of_gallery(&sheet, &none, NULL, NULL), RLV_BAD_INPUT);
    rlv_depth_map map = {.title = title,
                         .axes = above(),
                         .surface = {.mesh = &of.mesh, .tree = of.tree},
                         .before = {.mesh = &of.mesh},
                         .cross_mm = {500, 0, 0}};
    rlv_error error = {0};
    cr_expect_eq(rlv_sheet_of_depth(&sheet, &map, NULL, &error), RLV_BAD_INPUT);
    cr_expect(strstr(error.what, "misses") != NULL);
    cr_expect_eq(rlv_depth_map_fit(&map, &error), RLV_BAD_INPUT);
    map.cross_mm = rlv_vec3_of(0, 0, 0);
    map.scale = 1000.0;
    cr_expect_eq(rlv_sheet_of_depth(&sheet, &map, NULL, &error), RLV_BAD_INPUT); // no paper is that large
    wipe(&of);
}
