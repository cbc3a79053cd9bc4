// A joint laid open: what met lies at equal distances from the fold, and marks are where they were put.

#include "joint_map.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    WIDE = 61, // points along x, 1 mm apart
    TALL = 41,
    PIXELS = 10, // a millimetre of paper
};

// A level sheet about the origin, at a height, that faces up or down.
static rlv_mesh level(double height_mm, bool up)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, WIDE * TALL, 2 * (WIDE - 1) * (TALL - 1), false, false, NULL), RLV_DONE);
    for (size_t i = 0; i < WIDE * TALL; i++)
    {
        mesh.position_mm[3 * i] = (float)(i % WIDE) - 30.0f;
        mesh.position_mm[3 * i + 1] = (float)(i / WIDE) - 20.0f;
        mesh.position_mm[3 * i + 2] = (float)height_mm;
    }
    uint32_t* corner = mesh.corner;
    for (uint32_t y = 0; y + 1 < TALL; y++)
        for (uint32_t x = 0; x + 1 < WIDE; x++)
        {
            const uint32_t a = y * WIDE + x, quad[6] = {a, a + 1, a + WIDE + 1, a, a + WIDE + 1, a + WIDE};
            for (int k = 0; k < 6; k++)
                *corner++ = quad[up ? k : 5 - k];
        }
    return mesh;
}

// A joint of two levels half a millimetre apart; the piece lies elsewhere, turned.
typedef struct plates
{
    rlv_mesh block, piece;
    rlv_tree *block_tree, *piece_tree;
    float width[WIDE * TALL];
    rlv_joint_contact contact[2];
    rlv_joint_map map;
} plates;

static void make(plates* p)
{
    memset(p, 0, sizeof *p);
    p->block = level(0.0, true);
    p->piece = level(0.5, false);
    rlv_pose place = rlv_pose_identity();
    place.rotation = rlv_rotation_from_vector(rlv_vec3_of(0.4, -0.8, 1.1));
    place.translation_mm = rlv_vec3_of(120.0, -40.0, 15.0);
    const rlv_pose away = rlv_pose_inverse(&place);
    rlv_pose_move_mesh(&away, &p->piece);
    cr_assert_eq(rlv_tree_build(&p->block_tree, &p->block, NULL), RLV_DONE);
    cr_assert_eq(rlv_tree_build(&p->piece_tree, &p->piece, NULL), RLV_DONE);
    for (size_t i = 0; i < WIDE * TALL; i++)
        p->width[i] = 0.5f;
    p->map = (rlv_joint_map){.title = {.specimen = "LQ-0417", .subject = "a joint"},
                             .block = &p->block,
                             .piece = &p->piece,
                             .block_tree = p->block_tree,
                             .piece_tree = p->piece_tree,
                             .normal = {0.0, 0.0, 1.0},
                             .up = {0.0, 1.0, 0.0},
                             .trial_count = 1,
                             .trial = {{.name = "Closed", .place = place, .block_mm = p->width, .piece_mm = p->width}},
                             .touching_mm = 0.1,
                             .contact_count = 2,
                             .contact = p->contact,
                             .whole = {.mesh = &p->block, .tree = p->block_tree},
                             .whole_axes = {{1.0, 0.0, 0.0}, {0.0, 1.0, 0.0}, {0.0, 0.0, 1.0}},
                             .scale = 1.0,
                             .paper = 3};
}

static void drop(plates* p)
{
    rlv_tree_free(p->block_tree);
    rlv_tree_free(p->piece_tree);
    rlv_mesh_free(&p->block);
    rlv_mesh_free(&p->piece);
}

// A drawn sheet as grey pixels.
typedef struct seen
{
    size_t width, height;
    uint8_t* grey;
    rlv_sheet sheet;
} seen;

static seen draw(const rlv_joint_map* map)
{
    seen s = {0};
    rlv_error error = {0};
    size_t left_out = 0;
    cr_assert_eq(rlv_sheet_of_joint(&s.sheet, map, &left_out, &error), RLV_DONE, "%s", error.what);
    cr_expect_eq(left_out, 0);
    s.width = (size_t)(s.sheet.width_mm * PIXELS);
    s.height = (size_t)(s.sheet.height_mm * PIXELS);
    cairo_surface_t* image = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)s.width, (int)s.height);
    cairo_t* c = cairo_create(image);
    cairo_set_source_rgb(c, 1.0, 1.0, 1.0);
    cairo_paint(c);
    cairo_scale(c, PIXELS * 25.4 / 72.0, PIXELS * 25.4 / 72.0); // a record is in points
    cairo_set_source_surface(c, s.sheet.record, 0.0, 0.0);
    cairo_paint(c);
    cairo_destroy(c);
    cairo_surface_flush(image);
    s.grey = malloc(s.width * s.height);
    const unsigned char* data = cairo_image_surface_get_data(image);
    const size_t stride = (size_t)cairo_image_surface_get_stride(image);
    for (size_t i = 0; i < s.width * s.height; i++)
        s.grey[i] = data[i / s.width * stride + 4 * (i % s.width) + 2]; // red: the deepest colours are not dark
    cairo_surface_destroy(image);
    return s;
}

static void wipe(seen* s)
{
    free(s->grey);
    rlv_sheet_free(&s->sheet);
}

static bool is_dark(const seen* s, size_t x, size_t y)
{
    return s->grey[y * s->width + x] < 70;
}

// Middles of the black discs, of 1.9 mm, that `with` has and `without` has not, from left to right; in mm.
static size_t find_discs(const seen* with, const seen* without, double at[4][2])
{
    const int radius = 8; // less than a disc's 9.5
    size_t count = 0;
    double weight[4] = {0};
    for (size_t y = 20; y + 20 < with->height; y++)
        for (size_t x = 20; x + 20 < with->width; x++)
        {
            bool all = !is_dark(without, x, y);
            for (int k = 0; k < 16 && all; k++)
                all = is_dark(with, x + (size_t)(int)round(radius * cos(k * M_PI / 8.0)),
                              y + (size_t)(int)round(radius * sin(k * M_PI / 8.0)));
            if (!all || !is_dark(with, x, y))
                continue;
            size_t i = 0;
            while (i < count && hypot(at[i][0] / weight[i] - (double)x, at[i][1] / weight[i] - (double)y) > 10.0)
                i++;
            cr_assert_lt(i, 4);
            if (i == count)
                at[count][0] = at[count][1] = 0.0, count++;
            at[i][0] += (double)x, at[i][1] += (double)y, weight[i] += 1.0;
        }
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 2; k++)
            at[i][k] = (at[i][k] / weight[i] + 0.5) / PIXELS;
    if (count == 2 && at[0][0] > at[1][0])
        for (int k = 0; k < 2; k++)
        {
            const double other = at[0][k];
            at[0][k] = at[1][k];
            at[1][k] = other;
        }
    return count;
}

Test(joint_map, what_met_lies_at_equal_distances_from_the_fold)
{
    plates p;
    make(&p);
    // The longer side lies across, what is up stays so, and the piece's face is the block's turned over.
    const rlv_camera_axes axes = rlv_joint_axes(&p.map);
    cr_expect_float_eq(fabs(axes.right.x), 1.0, 1e-9);
    cr_expect_float_eq(axes.up.y, 1.0, 1e-9);
    double block[2], piece[2];
    for (int k = 0; k < 5; k++)
    {
        const rlv_vec3 point = {-28.0 + 13.0 * k, 17.0 - 8.0 * k, 0.3};
        rlv_joint_place(&p.map, false, point, block);
        rlv_joint_place(&p.map, true, point, piece);
        cr_expect_float_eq(block[0], -piece[0], 1e-9);
        cr_expect_float_eq(block[1], piece[1], 1e-9);
        cr_expect_gt(piece[0], 0.0);
        cr_expect_float_eq(block[1], point.y, 1e-9);
    }
    drop(&p);
}

Test(joint_map, a_contact_is_marked_on_both_faces_where_it_is)
{
    plates p;
    make(&p);
    p.contact[0] = (rlv_joint_contact){{0.0, 8.0, 0.2}, true};
    const rlv_vec3 place[3] = {{-22.0, -11.0, 0.2}, {5.0, -12.0, 0.2}, {21.0, 3.0, 0.2}};
    seen drawn[3];
    double apart[3] = {0}, level_mm[3] = {0}, off[3] = {0}, up[3] = {0};
    for (int k = 0; k < 3; k++)
    {
        p.contact[1] = (rlv_joint_contact){place[k], false};
        drawn[k] = draw(&p.map);
        double at[2];
        rlv_joint_place(&p.map, true, place[k], at);
        off[k] = at[0];
        up[k] = at[1];
    }
    for (int k = 0; k < 3; k++)
    {
        double at[4][2];
        const size_t discs = find_discs(&drawn[k], &drawn[(k + 1) % 3], at);
        cr_assert_eq(discs, 2, "%zu discs, where there is one on either face", discs);
        cr_expect_float_eq(at[0][1], at[1][1], 0.1, "at one height"); // a pixel
        apart[k] = at[1][0] - at[0][0];
        level_mm[k] = at[0][1];
    }
    // At 1 : 1 on A3 the sheet's own letters and gaps stay: twice the way to the fold is what the two are apart by.
    for (int k = 1; k < 3; k++)
    {
        cr_expect_float_eq(apart[k] - apart[0], 2.0 * (off[k] - off[0]), 0.2);
        cr_expect_float_eq(level_mm[k] - level_mm[0], -(up[k] - up[0]), 0.15);
    }
    for (int k = 0; k < 3; k++)
        wipe(&drawn[k]);
    drop(&p);
}

// One a triangle of a level: a rectangle of 12 by 8 mm from a corner on.
static void mark_rectangle(uint8_t* in, int left, int foot)
{
    for (int y = 0; y + 1 < TALL; y++)
        for (int x = 0; x + 1 < WIDE; x++)
            for (int k = 0; k < 2; k++)
                in[2 * (y * (WIDE - 1) + x) + k] = x >= left && x < left + 12 && y >= foot && y < foot + 8;
}

// The box of what is dark in one sheet and not in another, in mm: its middle and its size.
static void find_dark(const seen* with, const seen* without, double middle[2], double size[2])
{
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    for (size_t y = 0; y < with->height; y++)
        for (size_t x = 0; x < with->width; x++)
            if (is_dark(with, x, y) && !is_dark(without, x, y))
            {
                low[0] = fmin(low[0], (double)x), high[0] = fmax(high[0], (double)x + 1.0);
                low[1] = fmin(low[1], (double)y), high[1] = fmax(high[1], (double)y + 1.0);
            }
    for (int k = 0; k < 2; k++)
    {
        middle[k] = 0.5 * (low[k] + high[k]) / PIXELS;
        size[k] = (high[k] - low[k]) / PIXELS;
    }
}

Test(joint_map, bone_on_a_face_is_outlined_where_it_is)
{
    plates p;
    make(&p);
    p.map.contact_count = 0;
    uint8_t* bone = calloc(p.block.triangle_count, 1);
    p.map.block_bone = bone;
    seen drawn[2];
    double middle[2][2], size[2];
    mark_rectangle(bone, 6, 5);
    drawn[0] = draw(&p.map);
    mark_rectangle(bone, 31, 24);
    drawn[1] = draw(&p.map);
    for (int k = 0; k < 2; k++)
    {
        find_dark(&drawn[k], &drawn[1 - k], middle[k], size);
        // The line's own width is within, and its corners are calmed by no more.
        cr_expect(fabs(size[0] - 12.0) < 1.0 && fabs(size[1] - 8.0) < 1.0, "%.2f by %.2f mm", size[0], size[1]);
    }
    // On the block's face alone, which stands unturned: 25 mm across and 19 mm up.
    const double right = rlv_joint_axes(&p.map).right.x;
    cr_expect_float_eq(middle[1][0] - middle[0][0], 25.0 * right, 0.3);
    cr_expect_float_eq(middle[1][1] - middle[0][1], -19.0, 0.3);
    wipe(&drawn[0]);
    wipe(&drawn[1]);
    free(bone);
    drop(&p);
}

// How many pixels are dark in one of two sheets of one size alone: lines are, shades of clay are not.
static size_t differ(const seen* a, const seen* b)
{
    size_t count = 0;
    cr_assert(a->width == b->width && a->height == b->height);
    for (size_t i = 0; i < a->width * a->height; i++)
        count += (a->grey[i] < 70) != (b->grey[i] < 70) ? 1 : 0;
    return count;
}

// The block with a tetrahedron of a size beneath it, where the section is cut.
static void hang_beneath(plates* p, rlv_mesh* with, float size_mm)
{
    const size_t points = WIDE * TALL, triangles = p->block.triangle_count;
    const float at[12] = {-1, -1, -1, 1, -1, -1, 0, 1, -1, 0, 0, 1};
    const uint32_t side[12] = {0, 2, 1, 0, 1, 3, 1, 2, 3, 2, 0, 3};
    memset(with, 0, sizeof *with);
    cr_assert_eq(rlv_mesh_reserve(with, points + 4, triangles + 4, false, false, NULL), RLV_DONE);
    memcpy(with->position_mm, p->block.position_mm, 3 * points * sizeof(float));
    memcpy(with->corner, p->block.corner, 3 * triangles * sizeof(uint32_t));
    for (int i = 0; i < 12; i++)
    {
        with->position_mm[3 * points + (size_t)i] = 0.5f * size_mm * at[i] - (i % 3 == 2 ? 4.0f : 0.0f);
        with->corner[3 * triangles + (size_t)i] = (uint32_t)points + side[i];
    }
}

Test(joint_map, specks_are_left_out_of_a_section)
{
    plates p;
    make(&p);
    p.map.contact_count = 0;
    float width[WIDE * TALL + 4];
    for (size_t i = 0; i < WIDE * TALL + 4; i++)
        width[i] = i < WIDE * TALL ? 0.5f : NAN;
    p.map.trial[0].block_mm = width;
    const seen plain = draw(&p.map);
    // Cut through its middle it encloses half its height times its base at most. A section is drawn at 1 : 1 to 5 : 1:
    // the small one takes 0.5 mm2 of paper at most, the large one 4 at least.
    const float size_mm[2] = {0.2f, 4.0f};
    for (int k = 0; k < 2; k++)
    {
        rlv_mesh with;
        hang_beneath(&p, &with, size_mm[k]);
        rlv_mesh_free(&p.block);
        p.block = with;
        rlv_tree_free(p.block_tree);
        p.block_tree = NULL;
        cr_assert_eq(rlv_tree_build(&p.block_tree, &p.block, NULL), RLV_DONE);
        p.map.block_tree = p.map.whole.tree = p.block_tree;
        seen drawn = draw(&p.map);
        cr_expect(k == 0 ? differ(&drawn, &plain) == 0 : differ(&drawn, &plain) > 0, "%.1f mm: %zu pixels",
                  (double)size_mm[k], differ(&drawn, &plain));
        wipe(&drawn);
    }
    seen first = plain;
    wipe(&first);
    drop(&p);
}

Test(joint_map, hatching_is_explained_where_it_is_drawn)
{
    plates p;
    make(&p);
    p.map.contact_count = 0;
    // Widths of 0.45 and 0.55 lie on one side of every line of equal width; touching from 0.5 on hatches what is below.
    for (size_t i = 0; i < WIDE * TALL; i++)
        p.width[i] = 0.55f;
    p.map.touching_mm = 0.5;
    seen plain = draw(&p.map);
    p.width[0] = p.width[1] = p.width[WIDE + 1] = 0.45f; // a triangle of 0.5 mm2, less than is outlined
    seen speck = draw(&p.map);
    for (size_t i = 0; i < 20 * WIDE; i++)
        p.width[i] = 0.45f;
    seen half = draw(&p.map);
    // The legend stands in the right part of the sheet, which has no face.
    size_t count[2] = {0, 0};
    const seen* const other[2] = {&speck, &half};
    for (int k = 0; k < 2; k++)
        for (size_t y = 0; y < plain.height; y++)
            for (size_t x = plain.width * 7 / 10; x < plain.width; x++)
                count[k] += is_dark(other[k], x, y) != is_dark(&plain, x, y) ? 1 : 0;
    cr_expect_eq(count[0], 0);
    cr_expect_gt(count[1], 0);
    wipe(&plain);
    wipe(&speck);
    wipe(&half);
    drop(&p);
}

Test(joint_map, without_a_joint_there_is_nothing_to_draw)
{
    plates p;
    make(&p);
    for (size_t i = 0; i < WIDE * TALL; i++)
        p.width[i] = NAN;
    rlv_sheet sheet;
    rlv_error error = {0};
    cr_expect_eq(rlv_sheet_of_joint(&sheet, &p.map, NULL, &error), RLV_BAD_INPUT);
    cr_expect_not_null(strstr(error.what, "no joint"));
    rlv_sheet_free(&sheet);
    drop(&p);
}

Test(joint_map, a_scale_that_is_asked_for_is_kept_and_the_paper_grows)
{
    plates p;
    make(&p);
    p.map.contact_count = 0;
    p.map.scale = 5.0;
    seen large = draw(&p.map);
    cr_expect_gt(large.sheet.width_mm, 594.0); // two faces of 60 mm at 5 : 1 alone
    p.map.scale = 0.0;
    seen fitted = draw(&p.map);
    cr_expect_float_eq(fmax(fitted.sheet.width_mm, fitted.sheet.height_mm), 420.0, 0.5);
    wipe(&fitted);
    wipe(&large);
    drop(&p);
}
