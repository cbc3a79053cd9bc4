// Views: every length true, every colour the legend's, every mark where it was asked for.

#include "view.h"
#include "colour.h"
#include "lettering.h"

#include <criterion/criterion.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

TestSuite(view);

#define WIDE 640
#define TALL 480

// A square sheet of cells * cells * 2 triangles, `side` mm wide about the origin at z = 0, facing +z.
static rlv_mesh sheet(double side, uint32_t cells)
{
    rlv_mesh mesh = {0};
    uint32_t row = cells + 1;
    cr_assert_eq(rlv_mesh_reserve(&mesh, (size_t)row * row, 2 * (size_t)cells * cells, true, false, NULL), RLV_DONE);
    for (uint32_t i = 0; i < row * row; i++)
    {
        mesh.position_mm[3 * i] = (float)(side * ((i % row) / (double)cells - 0.5));
        mesh.position_mm[3 * i + 1] = (float)(side * ((i / row) / (double)cells - 0.5));
    }
    uint32_t* corner = mesh.corner;
    for (uint32_t i = 0; i < cells * cells; i++)
    {
        uint32_t a = i / cells * row + i % cells;
        const uint32_t two[6] = {a, a + 1, a + row + 1, a, a + row + 1, a + row};
        memcpy(corner + 6 * (size_t)i, two, sizeof two);
    }
    return mesh;
}

// A sphere of latitude rings about the origin, inscribed.
static rlv_mesh sphere(double radius, uint32_t rings)
{
    rlv_mesh mesh = {0};
    uint32_t around = 2 * rings, row = around;
    cr_assert_eq(rlv_mesh_reserve(&mesh, (size_t)row * (rings + 1), 2 * (size_t)around * rings, false, false, NULL),
                 RLV_DONE);
    for (uint32_t i = 0; i <= rings; i++)
        for (uint32_t j = 0; j < around; j++)
        {
            double polar = M_PI * i / rings, turn = M_PI * j / rings;
            float* at = mesh.position_mm + 3 * ((size_t)i * row + j);
            at[0] = (float)(radius * sin(polar) * cos(turn));
            at[1] = (float)(radius * sin(polar) * sin(turn));
            at[2] = (float)(radius * cos(polar));
        }
    uint32_t* corner = mesh.corner;
    for (uint32_t i = 0; i < rings; i++)
        for (uint32_t j = 0; j < around; j++, corner += 6)
        {
            uint32_t a = i * row + j, b = i * row + (j + 1) % around, c = a + row, d = b + row;
            const uint32_t two[6] = {a, c, d, a, d, b};
            memcpy(corner, two, sizeof two);
        }
    return mesh;
}

static const rlv_camera above = {{0, 0, 0}, {0, 0, 1}, {0, 1, 0}, 128.0}; // 0.2 mm a pixel at WIDE

static rlv_picture drawn(const rlv_mesh* mesh, const rlv_camera* camera, const rlv_overlay* overlay,
                         const rlv_view_options* options)
{
    rlv_tree* tree = NULL;
    rlv_picture picture;
    rlv_error error = {0};
    cr_assert_eq(rlv_tree_build(&tree, mesh, &error), RLV_DONE, "%s", error.what);
    cr_assert_eq(rlv_view_draw(&picture, WIDE, TALL, mesh, tree, camera, overlay, options, &error), RLV_DONE, "%s",
                 error.what);
    rlv_tree_free(tree);
    return picture;
}

static const uint8_t* pixel(const rlv_picture* picture, size_t x, size_t y)
{
    return picture->rgb + 3 * (y * picture->width + x);
}

static bool is_white(const uint8_t* rgb)
{
    return rgb[0] == 255 && rgb[1] == 255 && rgb[2] == 255;
}

Test(view, a_sphere_fills_its_circle_to_the_pixel)
{
    const double radius = 30.0;
    rlv_mesh mesh = sphere(radius, 180);
    rlv_view_options options = {.samples = 1};
    rlv_picture picture = drawn(&mesh, &above, NULL, &options);
    rlv_frame frame = rlv_frame_of_page(WIDE, TALL);
    // A chord of the outline sags by radius * (1 - cos(pi / 360)), 0.006 of a pixel here; float adds less than 1e-4.
    double radius_px = radius * WIDE / above.width_mm, slack = 0.01;
    size_t inside = 0;
    for (size_t y = (size_t)frame.top + 1; y < (size_t)frame.bottom - 1; y++)
        for (size_t x = (size_t)frame.left + 1; x < (size_t)frame.right - 1; x++)
        {
            double far = hypot((double)x + 0.5 - 0.5 * WIDE, (double)y + 0.5 - 0.5 * TALL);
            bool painted = !is_white(pixel(&picture, x, y));
            inside += painted;
            if (far < radius_px - slack)
                cr_expect(painted, "%zu %zu", x, y);
            if (far > radius_px + slack)
                cr_expect(!painted, "%zu %zu", x, y);
        }
    cr_expect_gt(inside, 60000);
    rlv_picture_free(&picture);
    rlv_mesh_free(&mesh);
}

Test(view, smooth_edges_change_only_the_outline)
{
    rlv_mesh mesh = sphere(30.0, 180);
    rlv_view_options one = {.samples = 1}, four = {.samples = 4};
    rlv_picture hard = drawn(&mesh, &above, NULL, &one), soft = drawn(&mesh, &above, NULL, &four);
    double radius_px = 30.0 * WIDE / above.width_mm;
    size_t between = 0;
    for (size_t y = 0; y < TALL; y++)
        for (size_t x = 0; x < WIDE; x++)
        {
            double far = hypot((double)x + 0.5 - 0.5 * WIDE, (double)y + 0.5 - 0.5 * TALL);
            bool same = memcmp(pixel(&hard, x, y), pixel(&soft, x, y), 3) == 0;
            // Half a pixel's diagonal, and a neighbour's reach.
            if (fabs(far - radius_px) > 2.2)
                cr_expect(same, "%zu %zu", x, y);
            between += !same;
        }
    cr_expect_gt(between, 300);
    rlv_picture_free(&hard);
    rlv_picture_free(&soft);
    rlv_mesh_free(&mesh);
}

Test(view, the_scale_bar_is_as_long_as_it_says)
{
    rlv_mesh mesh = sheet(10.0, 2);
    const double width_mm[4] = {128.0, 91.7, 3.3, 2750.0};
    for (int i = 0; i < 4; i++)
    {
        rlv_camera camera = above;
        camera.width_mm = width_mm[i];
        rlv_picture picture = drawn(&mesh, &camera, NULL, NULL);
        rlv_scale_bar place = rlv_scale_bar_of(WIDE, TALL, width_mm[i]);
        cr_expect_float_eq(place.pixel_mm, picture.pixel_mm, 1e-12);
        double left = place.left_mm / place.pixel_mm, length = place.bar.paper_mm / place.pixel_mm;
        // A row through the bar's middle, which its outline's upper and lower lines do not touch: dark and light parts
        // take turns. Its darkness summed is the length of the dark ones; the outline's right end is left out.
        double darkest = 0.0, wanted = length * (place.bar.parts == 4 ? 0.5 : 0.6), nearest = INFINITY;
        double end = left + (place.bar.parts == 4 ? 0.9 : 1.1) * length;
        for (size_t y = (size_t)(place.top_mm / place.pixel_mm); y < TALL; y++)
        {
            double dark = 0.0, ink = 255.0 - pixel(&picture, (size_t)left + 3, y)[0];
            if (ink < 200.0)
                continue;
            darkest = fmax(darkest, ink);
            for (size_t x = (size_t)left - 5; x < (size_t)end; x++)
                dark += (255.0 - pixel(&picture, x, y)[0]) / ink;
            nearest = fabs(dark - wanted) < fabs(nearest - wanted) ? dark : nearest;
        }
        cr_assert_gt(darkest, 200.0);
        // Ends' pixels are greys of 8 bits, rasterised at 1/256 of a pixel: three parts have six.
        cr_expect_float_eq(nearest, wanted, 0.06, "%g mm: %g px", place.bar.length_mm, nearest);
        cr_expect_float_eq(length, place.bar.length_mm * WIDE / width_mm[i], 1e-9);
        rlv_picture_free(&picture);
    }
    rlv_mesh_free(&mesh);
}

Test(view, on_paper_the_picture_is_to_a_standard_scale_and_fits_A3)
{
    rlv_mesh mesh = sheet(10.0, 2);
    const double width_mm[5] = {128.0, 20.0, 300.0, 420.0, 1500.0};
    // 420 mm across 640 by 480 pixels is 315 mm tall: too tall for A3 at 1 : 1.
    const double scale[5] = {2.0, 10.0, 1.0 / 1.0, 0.5, 0.2};
    for (int i = 0; i < 5; i++)
    {
        rlv_camera camera = above;
        camera.width_mm = width_mm[i];
        rlv_picture picture = drawn(&mesh, &camera, NULL, NULL);
        cr_expect_float_eq(rlv_paper_scale(WIDE, TALL, width_mm[i]), scale[i], 1e-12);
        cr_expect_float_eq(picture.pixel_mm * WIDE, scale[i] * width_mm[i], 1e-9);
        rlv_picture_free(&picture);
    }
    rlv_mesh_free(&mesh);
}

typedef struct painted_sheet
{
    rlv_mesh mesh;
    float* depth;
    uint8_t* shown;
} painted_sheet;

// A sheet 60 mm wide: left of the middle `left`, right of it `right`, all of one depth.
static painted_sheet paint(double depth_mm, uint8_t left, uint8_t right)
{
    painted_sheet of = {sheet(60.0, 40), NULL, NULL};
    of.depth = malloc(of.mesh.vertex_count * sizeof *of.depth);
    of.shown = malloc(of.mesh.triangle_count);
    for (size_t v = 0; v < of.mesh.vertex_count; v++)
        of.depth[v] = (float)depth_mm;
    for (size_t t = 0; t < of.mesh.triangle_count; t++)
        of.shown[t] = (t / 2) % 40 < 20 ? left : right;
    return of;
}

static void wipe(painted_sheet* of)
{
    rlv_mesh_free(&of->mesh);
    free(of->depth);
    free(of->shown);
}

static void expect_colour(const uint8_t* rgb, rlv_rgb colour)
{
    cr_expect_leq(fabs(rgb[0] - 255.0 * (double)colour.r), 1.0);
    cr_expect_leq(fabs(rgb[1] - 255.0 * (double)colour.g), 1.0);
    cr_expect_leq(fabs(rgb[2] - 255.0 * (double)colour.b), 1.0);
}

Test(view, a_plane_that_faces_the_eye_has_the_legends_colour)
{
    const double depth_mm[4] = {0.0, 2.5, 7.0, 10.0};
    for (int i = 0; i < 4; i++)
    {
        painted_sheet of = paint(depth_mm[i], 1, 1);
        rlv_overlay overlay = {
            .depth_mm = of.depth, .shown = of.shown, .deepest_mm = 10.0, .caption = "depth removed, mm"};
        rlv_view_options options = {.occlusion_rays = 16, .samples = 4};
        rlv_picture picture = drawn(&of.mesh, &above, &overlay, &options);
        expect_colour(pixel(&picture, WIDE / 2, TALL / 2), rlv_colour_removed(depth_mm[i] / 10.0));
        rlv_picture_free(&picture);
        wipe(&of);
    }
}

Test(view, what_was_added_is_told_by_dots_as_well_as_by_colour)
{
    painted_sheet of = paint(-6.0, 1, 1);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 10.0, .caption = "depth, mm"};
    rlv_picture picture = drawn(&of.mesh, &above, &overlay, NULL);
    rlv_rgb colour = rlv_colour_added(0.6);
    size_t plain = 0, dotted = 0;
    for (size_t y = TALL / 2 - 40; y < TALL / 2 + 40; y++)
        for (size_t x = WIDE / 2 - 40; x < WIDE / 2 + 40; x++)
        {
            double off = fabs(pixel(&picture, x, y)[2] - 255.0 * (double)colour.b);
            plain += off <= 1.0;
            dotted += off > 60.0;
        }
    cr_expect_gt(plain, 4800);
    cr_expect_gt(dotted, 64);
    rlv_picture_free(&picture);
    wipe(&of);
}

Test(view, hatching_is_where_it_was_asked_for_and_nowhere_else)
{
    painted_sheet of = paint(5.0, 2, 0);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 10.0, .caption = "depth removed, mm"};
    rlv_picture hatched = drawn(&of.mesh, &above, &overlay, NULL), plain = drawn(&of.mesh, &above, NULL, NULL);
    size_t lines = 0;
    for (size_t y = TALL / 2 - 100; y < TALL / 2 + 100; y++)
        for (size_t x = WIDE / 2 - 140; x < WIDE / 2 + 140; x++)
        {
            bool same = memcmp(pixel(&hatched, x, y), pixel(&plain, x, y), 3) == 0;
            // The outline of the hatched half reaches four pixels to each side of it.
            if (x > WIDE / 2 + 4)
                cr_expect(same, "%zu %zu", x, y);
            lines += x < WIDE / 2 - 4 && !same;
        }
    // Lines of a pixel or so, four to six pixels apart, cover a sixth to a half of 136 by 200 pixels.
    cr_expect_gt(lines, 136 * 200 / 6);
    cr_expect_lt(lines, 136 * 200 / 2);
    rlv_picture_free(&hatched);
    rlv_picture_free(&plain);
    wipe(&of);
}

Test(view, an_overlay_that_shows_nothing_leaves_the_clay_alone)
{
    painted_sheet of = paint(5.0, 0, 0);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 10.0, .caption = "depth removed, mm"};
    rlv_picture with = drawn(&of.mesh, &above, &overlay, NULL), without = drawn(&of.mesh, &above, NULL, NULL);
    rlv_frame frame = rlv_frame_of_page(WIDE, TALL);
    for (size_t y = (size_t)frame.top; y < (size_t)frame.bottom; y++)
        cr_expect_arr_eq(pixel(&with, 0, y), pixel(&without, 0, y), 3 * WIDE);
    rlv_picture_free(&with);
    rlv_picture_free(&without);
    wipe(&of);
}

Test(view, a_depth_that_is_no_number_is_plain_clay)
{
    painted_sheet of = paint((double)NAN, 1, 1);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 10.0, .caption = "depth removed, mm"};
    rlv_picture with = drawn(&of.mesh, &above, &overlay, NULL), without = drawn(&of.mesh, &above, NULL, NULL);
    cr_expect_arr_eq(pixel(&with, WIDE / 2, TALL / 2), pixel(&without, WIDE / 2, TALL / 2), 3);
    rlv_picture_free(&with);
    rlv_picture_free(&without);
    wipe(&of);
}

// The legend's place, by what differs there between two pictures.
static size_t legend_difference(const rlv_picture* a, const rlv_picture* b)
{
    rlv_frame frame = rlv_frame_of_page(WIDE, TALL);
    size_t count = 0;
    for (size_t y = (size_t)frame.bottom + 1; y < TALL; y++)
        for (size_t x = WIDE / 3; x < WIDE; x++)
            count += memcmp(pixel(a, x, y), pixel(b, x, y), 3) != 0;
    return count;
}

Test(view, the_legend_explains_hatching_and_added_material_only_where_they_are_seen)
{
    const double depth_mm[2] = {5.0, -5.0};
    const uint8_t right[2] = {0, 2};
    rlv_picture picture[4];
    for (int i = 0; i < 4; i++)
    {
        painted_sheet of = paint(depth_mm[i / 2], 1, right[i % 2]);
        rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 10.0, .caption = "depth, mm"};
        picture[i] = drawn(&of.mesh, &above, &overlay, NULL);
        wipe(&of);
    }
    painted_sheet same = paint(7.0, 1, 0);
    rlv_overlay overlay = {.depth_mm = same.depth, .shown = same.shown, .deepest_mm = 10.0, .caption = "depth, mm"};
    rlv_picture other = drawn(&same.mesh, &above, &overlay, NULL);
    cr_expect_eq(legend_difference(&picture[0], &other), 0);
    cr_expect_gt(legend_difference(&picture[0], &picture[1]), 100); // hatching explained
    cr_expect_gt(legend_difference(&picture[0], &picture[2]), 100); // added explained
    cr_expect_gt(legend_difference(&picture[2], &picture[3]), 100);
    for (int i = 0; i < 4; i++)
        rlv_picture_free(&picture[i]);
    rlv_picture_free(&other);
    wipe(&same);
}

Test(view, one_thread_and_two_give_the_same_bytes)
{
    rlv_mesh mesh = sphere(30.0, 60);
    // Bumps, so that occlusion, creases and edges all have work.
    for (size_t i = 0; i < 3 * mesh.vertex_count; i++)
        mesh.position_mm[i] *= 1.0f + 0.05f * sinf(0.7f * (float)(i / 3)) * cosf(0.013f * (float)(i / 3));
    float* depth = malloc(mesh.vertex_count * sizeof *depth);
    uint8_t* shown = malloc(mesh.triangle_count);
    for (size_t v = 0; v < mesh.vertex_count; v++)
        depth[v] = 4.0f * sinf(0.001f * (float)v);
    for (size_t t = 0; t < mesh.triangle_count; t++)
        shown[t] = (uint8_t)(t / 1000 % 3);
    rlv_overlay overlay = {.depth_mm = depth, .shown = shown, .deepest_mm = 4.0, .caption = "depth removed, mm"};
    rlv_view_options options = {.occlusion_rays = 16, .samples = 4, .title = "Twice", .footer = "the same"};
    omp_set_num_threads(1);
    rlv_picture one = drawn(&mesh, &above, &overlay, &options);
    omp_set_num_threads(2);
    rlv_picture two = drawn(&mesh, &above, &overlay, &options);
    omp_set_num_threads(3);
    rlv_picture three = drawn(&mesh, &above, &overlay, &options);
    cr_expect_arr_eq(one.rgb, two.rgb, 3 * WIDE * TALL);
    cr_expect_arr_eq(one.rgb, three.rgb, 3 * WIDE * TALL);
    rlv_picture_free(&one);
    rlv_picture_free(&two);
    rlv_picture_free(&three);
    rlv_mesh_free(&mesh);
    free(depth);
    free(shown);
}

Test(view, a_far_origin_changes_no_pixel)
{
    rlv_mesh mesh = sphere(30.0, 60);
    rlv_picture near = drawn(&mesh, &above, NULL, NULL);
    // Powers of two, so that moving by them is exact.
    mesh.origin_mm = rlv_vec3_of(33554432.0, -8388608.0, 4096.0);
    rlv_camera camera = above;
    camera.target_mm = mesh.origin_mm;
    rlv_picture far = drawn(&mesh, &camera, NULL, NULL);
    cr_expect_arr_eq(near.rgb, far.rgb, 3 * WIDE * TALL);
    rlv_picture_free(&near);
    rlv_picture_free(&far);
    rlv_mesh_free(&mesh);
}

Test(view, the_meshs_own_colours_are_painted_when_asked_for)
{
    rlv_mesh mesh = sheet(60.0, 4);
    for (size_t v = 0; v < mesh.vertex_count; v++)
        memcpy(mesh.colour + 3 * v, (const uint8_t[3]){40, 120, 200}, 3);
    rlv_view_options options = {.colour = true};
    rlv_picture picture = drawn(&mesh, &above, NULL, &options);
    expect_colour(pixel(&picture, WIDE / 2, TALL / 2), (rlv_rgb){40 / 255.0f, 120 / 255.0f, 200 / 255.0f});
    rlv_picture_free(&picture);
    rlv_mesh_free(&mesh);
}

Test(view, light_from_the_left_darkens_what_faces_right)
{
    rlv_mesh mesh = sphere(30.0, 60);
    rlv_view_options options = {.light = {-1.0, 0.0, 0.5}};
    rlv_picture picture = drawn(&mesh, &above, NULL, &options);
    size_t off = (size_t)(0.7 * 30.0 * WIDE / above.width_mm);
    cr_expect_gt(pixel(&picture, WIDE / 2 - off, TALL / 2)[1], pixel(&picture, WIDE / 2 + off, TALL / 2)[1] + 40);
    rlv_picture_free(&picture);
    rlv_mesh_free(&mesh);
}

Test(view, a_colour_on_a_dark_slope_is_nearer_to_its_key_than_clay_is_to_clay)
{
    rlv_mesh mesh = sphere(30.0, 60);
    float* depth = malloc(mesh.vertex_count * sizeof *depth);
    uint8_t* shown = malloc(mesh.triangle_count);
    for (size_t v = 0; v < mesh.vertex_count; v++)
        depth[v] = 1.0f;
    memset(shown, 1, mesh.triangle_count);
    rlv_view_options options = {.light = {-1.0, 0.0, 0.5}};
    const size_t off = (size_t)(0.7 * 30.0 * WIDE / above.width_mm);
    const rlv_overlay overlay = {.depth_mm = depth, .shown = shown, .deepest_mm = 10.0};
    double darker[2]; // CIELAB lightness that the slope in the shade lost: of clay, of a colour
    for (int k = 0; k < 2; k++)
    {
        rlv_picture picture = drawn(&mesh, &above, k == 0 ? NULL : &overlay, &options);
        const uint8_t* at = pixel(&picture, WIDE / 2 + off, TALL / 2);
        const rlv_rgb seen = {(float)at[0] / 255.0f, (float)at[1] / 255.0f, (float)at[2] / 255.0f};
        darker[k] = rlv_rgb_lightness(k == 0 ? RLV_PAINT_CLAY : rlv_colour_removed(0.1)) - rlv_rgb_lightness(seen);
        rlv_picture_free(&picture);
    }
    // The slope is shaded by the power 0.22 of its light, so L* by about that share of what clay loses; a third leaves
    // room for the curve of L*.
    cr_expect(0.0 < darker[1] && darker[1] < darker[0] / 3.0, "%g of %g", darker[1], darker[0]);
    free(depth);
    free(shown);
    rlv_mesh_free(&mesh);
}

Test(view, a_mesh_out_of_sight_leaves_the_page_white)
{
    rlv_mesh mesh = sheet(10.0, 2);
    rlv_camera camera = above;
    camera.target_mm = rlv_vec3_of(1000.0, 0.0, 0.0);
    rlv_picture picture = drawn(&mesh, &camera, NULL, NULL);
    rlv_frame frame = rlv_frame_of_page(WIDE, TALL);
    for (size_t y = (size_t)frame.top + 1; y < (size_t)frame.bottom; y++)
        for (size_t x = 0; x < WIDE; x++)
            cr_expect(is_white(pixel(&picture, x, y)));
    rlv_picture_free(&picture);
    rlv_mesh_free(&mesh);
}

Test(view, a_mesh_larger_than_the_frame_is_cut_at_the_frame)
{
    rlv_mesh mesh = sheet(1000.0, 2);
    rlv_picture picture = drawn(&mesh, &above, NULL, NULL);
    rlv_frame frame = rlv_frame_of_page(WIDE, TALL);
    cr_expect(!is_white(pixel(&picture, (size_t)frame.left + 1, (size_t)frame.top + 1)));
    cr_expect(!is_white(pixel(&picture, (size_t)frame.right - 2, (size_t)frame.bottom - 2)));
    cr_expect(is_white(pixel(&picture, (size_t)frame.left - 1, TALL / 2)));
    cr_expect(is_white(pixel(&picture, WIDE / 2, (size_t)frame.bottom + 1)));
    rlv_picture_free(&picture);
    rlv_mesh_free(&mesh);
}

Test(view, the_inside_of_an_open_surface_is_grey_and_never_coloured)
{
    painted_sheet of = paint(5.0, 1, 1);
    rlv_camera below = above;
    below.towards = rlv_vec3_of(0, 0, -1);
    rlv_overlay overlay = {.depth_mm = of.depth, .shown = of.shown, .deepest_mm = 10.0, .caption = "depth removed, mm"};
    rlv_picture picture = drawn(&of.mesh, &below, &overlay, NULL);
    const uint8_t* rgb = pixel(&picture, WIDE / 2, TALL / 2);
    cr_expect_lt(abs(rgb[0] - rgb[2]), 16);
    rlv_picture_free(&picture);
    wipe(&of);
}

Test(view, words_of_any_length_and_bytes_that_are_no_text_are_drawn_without_harm)
{
    rlv_mesh mesh = sheet(10.0, 2);
    char longest[5000];
    memset(longest, 'm', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    rlv_view_options options = {.title = longest, .footer = longest};
    rlv_picture picture = drawn(&mesh, &above, NULL, &options);
    rlv_picture_free(&picture);
    options.title = "\xff\xfe broken";
    options.footer = "<b>&amp;";
    picture = drawn(&mesh, &above, NULL, &options);
    rlv_picture_free(&picture);
    rlv_mesh_free(&mesh);
}

Test(view, a_picture_of_one_pixel_can_be_drawn)
{
    rlv_mesh mesh = sheet(10.0, 2);
    rlv_tree* tree = NULL;
    cr_assert_eq(rlv_tree_build(&tree, &mesh, NULL), RLV_DONE);
    for (size_t side = 1; side < 30; side += 7)
    {
        rlv_picture picture;
        rlv_view_options options = {16, 4, "title", "footer", false, {0, 0, 0}};
        cr_expect_eq(rlv_view_draw(&picture, side, side, &mesh, tree, &above, NULL, &options, NULL), RLV_DONE);
        rlv_picture_free(&picture);
    }
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}

Test(view, what_cannot_be_drawn_is_refused_with_words)
{
    rlv_mesh mesh = sheet(10.0, 2), empty = {0};
    rlv_tree* tree = NULL;
    cr_assert_eq(rlv_tree_build(&tree, &mesh, NULL), RLV_DONE);
    rlv_camera flat = above, lost = above;
    flat.width_mm = 0.0;
    lost.target_mm.y = (double)NAN;
    float depth = 1.0f;
    uint8_t shown = 1;
    rlv_overlay no_scale = {.depth_mm = &depth, .shown = &shown, .deepest_mm = (double)NAN},
                no_shown = {.depth_mm = &depth, .deepest_mm = 1.0};
    const struct
    {
        size_t width, height;
        const rlv_mesh* mesh;
        const rlv_camera* camera;
        const rlv_overlay* overlay;
    } bad[] = {{0, 10, &mesh, &above, NULL},       {10, 0, &mesh, &above, NULL},     {10, 10, &empty, &above, NULL},
               {10, 10, &mesh, &flat, NULL},       {10, 10, &mesh, &lost, NULL},     {10, 10, &mesh, &above, &no_scale},
               {10, 10, &mesh, &above, &no_shown}, {100000, 10, &mesh, &above, NULL}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
    {
        rlv_picture picture;
        rlv_error error = {0};
        cr_expect_eq(rlv_view_draw(&picture, bad[i].width, bad[i].height, bad[i].mesh, tree, bad[i].camera,
                                   bad[i].overlay, NULL, &error),
                     RLV_BAD_INPUT, "case %zu", i);
        cr_expect_gt(strlen(error.what), 0, "case %zu", i);
        cr_expect_null(picture.rgb);
    }
    rlv_tree_free(tree);
    rlv_mesh_free(&mesh);
}
