// Profiles: what was removed is tinted where it went, at its true size, and nothing where only noise lies between.

#include "profile.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <png.h>
#include <stdlib.h>
#include <string.h>

TestSuite(profile);

// A block 60 mm wide and 20 mm tall, and the same with a trench of 20 by 8 mm along y.
static rlv_mesh block(void)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(-30, -10, 0), rlv_vec3_of(30, 10, 20));
    return mesh;
}

static rlv_mesh trenched(void)
{
    static const double outline[8][2] = {{-30, 0}, {30, 0},   {30, 20},  {10, 20},
                                         {10, 12}, {-10, 12}, {-10, 20}, {-30, 20}};
    rlv_mesh mesh = {0};
    float position[48];
    for (int i = 0; i < 8; i++)
        for (int side = 0; side < 2; side++)
        {
            float* at = position + 3 * (8 * side + i);
            at[0] = (float)outline[i][0];
            at[1] = side == 0 ? -10.0f : 10.0f;
            at[2] = (float)outline[i][1];
        }
    uint32_t corner[3 * 28];
    size_t count = 0;
    // The two ends, cut into triangles by hand, and the walls between them.
    static const uint32_t end[6][3] = {{0, 1, 4}, {1, 2, 4}, {2, 3, 4}, {0, 4, 5}, {0, 5, 7}, {5, 6, 7}};
    for (int i = 0; i < 6; i++, count += 2)
    {
        memcpy(corner + 3 * count, end[i], sizeof end[i]);
        const uint32_t back[3] = {8 + end[i][0], 8 + end[i][2], 8 + end[i][1]};
        memcpy(corner + 3 * count + 3, back, sizeof back);
    }
    for (uint32_t i = 0; i < 8; i++, count += 2)
    {
        uint32_t next = (i + 1) % 8;
        const uint32_t two[6] = {i, 8 + next, next, i, 8 + i, 8 + next};
        memcpy(corner + 3 * count, two, sizeof two);
    }
    shape_add(&mesh, 16, position, count, corner);
    return mesh;
}

static const rlv_plane across = {{0, 0, 0}, {1, 0, 0}, {0, 0, 1}};

// The area on paper whose colour is told by `is`, in mm2, of a profile drawn at a scale.
static double area_of(const rlv_profile* profile, double scale, bool (*is)(const uint8_t* rgb))
{
    rlv_sheet sheet;
    rlv_error error = {0};
    cr_assert_eq(rlv_sheet_reserve(&sheet, 150, 80, &error), RLV_DONE);
    cr_assert_eq(rlv_profile_draw(&sheet, profile, 75, 60, scale, rlv_profile_tints_at(profile, scale), &error),
                 RLV_DONE, "%s", error.what);
    char* data = NULL;
    size_t size = 0, count = 0;
    FILE* stream = open_memstream(&data, &size);
    cr_assert_eq(rlv_sheet_write(&sheet, RLV_SHEET_PNG, stream, NULL, &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    png_image image = {.version = PNG_IMAGE_VERSION};
    cr_assert(png_image_begin_read_from_memory(&image, data, size));
    image.format = PNG_FORMAT_RGB;
    uint8_t* rgb = malloc(PNG_IMAGE_SIZE(image));
    cr_assert(png_image_finish_read(&image, NULL, rgb, 0, NULL));
    for (size_t p = 0; p < (size_t)image.width * image.height; p++)
        count += is(rgb + 3 * p);
    free(rgb);
    free(data);
    rlv_sheet_free(&sheet);
    return (double)count * RLV_SHEET_PIXEL_MM * RLV_SHEET_PIXEL_MM;
}

static bool is_warm(const uint8_t* rgb)
{
    return rgb[0] > rgb[2] + 50;
}

static bool is_stone(const uint8_t* rgb)
{
    return rgb[0] < 245 && rgb[0] > 220 && rgb[0] < rgb[2] + 20;
}

Test(profile, the_tint_fills_what_went_and_the_stone_what_is_left)
{
    rlv_mesh before = block(), after = trenched();
    rlv_profile profile;
    const rlv_profile_stage one = {.mesh = &before}, two = {.mesh = &after};
    cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
    cr_expect_float_eq(rlv_lines_area(&profile.before) - rlv_lines_area(&profile.after), 160.0, 1e-9);
    const double scale[2] = {1.0, 2.0};
    for (int i = 0; i < 2; i++)
    {
        // Lines cover a strip along the borders, half of their width of 0.5 mm and a pixel.
        double rim = 0.25 + 0.1;
        double went = 160.0 * scale[i] * scale[i], left = 1040.0 * scale[i] * scale[i];
        cr_expect_leq(area_of(&profile, scale[i], is_warm), went);
        cr_expect_geq(area_of(&profile, scale[i], is_warm), went - 56.0 * scale[i] * rim);
        cr_expect_leq(area_of(&profile, scale[i], is_stone), left);
        cr_expect_geq(area_of(&profile, scale[i], is_stone), left - 176.0 * scale[i] * rim);
    }
    rlv_profile_free(&profile);
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
}

Test(profile, where_no_region_was_told_nothing_is_tinted)
{
    rlv_mesh before = block(), after = trenched();
    uint16_t none[12] = {0}, some[28] = {0};
    rlv_profile profile;
    const rlv_profile_stage one = {.mesh = &before, .region = none};
    rlv_profile_stage two = {.mesh = &after, .region = some};
    cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
    cr_expect_eq(area_of(&profile, 1.0, is_warm), 0.0);
    rlv_profile_free(&profile);
    // The trench's walls and floor as a region: it is tinted again, and as large.
    for (size_t t = 12; t < 28; t++)
    {
        const uint32_t* c = after.corner + 3 * t;
        bool in = true;
        for (int k = 0; k < 3; k++)
            in = in && fabsf(after.position_mm[3 * c[k]]) < 10.5f;
        some[t] = in ? 1 : 0;
    }
    cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
    cr_assert_eq(profile.box_count, 1);
    cr_expect_float_eq(profile.box[0][0], -10.0, 1e-6);
    cr_expect_float_eq(profile.box[0][3], 20.0, 1e-6);
    cr_expect_geq(area_of(&profile, 1.0, is_warm), 160.0 - 56.0 * 0.225);
    rlv_profile_free(&profile);
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
}

Test(profile, before_is_drawn_only_where_it_departs_from_after_by_more_than_the_limit)
{
    rlv_mesh before = block(), after = trenched();
    rlv_profile profile;
    const rlv_profile_stage one = {.mesh = &before, .limit_mm = 1.0}, two = {.mesh = &after};
    cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
    // The lid of the trench, 20 mm, of which a limit at either end is too near its walls, and as much again may be lost
    // between the places that are looked at.
    cr_assert_eq(profile.apart.line_count, 1);
    cr_expect_leq(rlv_lines_length(&profile.apart), 18.0 + 1e-9);
    cr_expect_geq(rlv_lines_length(&profile.apart), 16.0);
    double low[2], high[2];
    rlv_lines_box(&profile.apart, low, high);
    cr_expect_float_eq(low[1], 20.0, 1e-6);
    cr_expect_geq(low[0], -9.0);
    cr_expect_leq(high[0], 9.0);
    rlv_profile_free(&profile);
    // Of a block before that is its own after, nothing, and so its key has no line of it.
    const rlv_profile_stage same = {.mesh = &before};
    cr_assert_eq(rlv_profile_cut(&profile, &one, &same, &across, NULL), RLV_DONE);
    cr_expect_eq(profile.apart.line_count, 0);
    rlv_key key = {0};
    rlv_profile_key(&key, &profile, rlv_profile_tints_at(&profile, 1.0));
    for (size_t i = 0; i < key.count; i++)
        cr_expect_str_neq(key.entry[i].words, "before, in a section");
    rlv_profile_free(&profile);
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
}

Test(profile, a_key_explains_the_tints_that_are_there_and_no_other)
{
    rlv_mesh before = block(), after = trenched();
    const rlv_profile_stage one = {.mesh = &before}, two = {.mesh = &after, .within = "slab A is in it"};
    const char* const tint[2] = {"removed, in a section", "added, in a section"};
    for (int back = 0; back < 2; back++) // filling the trench is the same the other way round
    {
        rlv_profile profile;
        rlv_key key = {0};
        cr_assert_eq(rlv_profile_cut(&profile, back ? &two : &one, back ? &one : &two, &across, NULL), RLV_DONE);
        rlv_profile_key(&key, &profile, rlv_profile_tints_at(&profile, 1.0));
        cr_assert_eq(key.count, 4); // both lines, the stone, and one tint
        cr_expect_eq(key.entry[3].kind, RLV_KEY_AREA);
        cr_expect_str_eq(key.entry[2].words,
                         back ? "block after, in a section" : "block after, in a section: slab A is in it");
        cr_expect_str_eq(key.entry[3].words, tint[back]);
        cr_expect_eq(key.entry[3].dotted, back == 1);
        // The trench of 160 mm2 is 0.4 mm2 on paper at 1 : 20: no tint is seen there.
        key.count = 0;
        rlv_profile_key(&key, &profile, rlv_profile_tints_at(&profile, 0.05));
        cr_expect_eq(key.count, 3);
        rlv_profile_free(&profile);
    }
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
}

// As large as no paper is: what went is still found, all over it, in no more pixels than a sheet of 2 m has.
Test(profile, what_went_is_found_on_sections_of_kilometres, .timeout = 20)
{
    rlv_mesh before = block(), after = trenched();
    const rlv_profile_stage one = {.mesh = &before}, two = {.mesh = &after};
    rlv_profile profile;
    cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
    const rlv_profile_tints tints = rlv_profile_tints_at(&profile, 1e5);
    cr_expect(tints.went);
    cr_expect_not(tints.came);
    rlv_profile_free(&profile);
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
}

Test(profile, its_lines_are_told_apart_by_dash_and_by_twice_the_weight)
{
    rlv_mesh before = block(), after = trenched();
    uint8_t* bone = calloc(after.triangle_count, 1);
    memset(bone, 1, after.triangle_count);
    const rlv_profile_stage one = {.mesh = &before}, two = {.mesh = &after, .bone = bone};
    rlv_profile profile;
    rlv_key key = {0};
    cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
    rlv_profile_key(&key, &profile, (rlv_profile_tints){false, false});
    cr_assert_eq(key.count, 4); // before, after, along bone, and the stone
    for (size_t i = 0; i < 3; i++)
        for (size_t k = 0; k < i; k++)
        {
            const rlv_stroke *thin = &key.entry[k].stroke, *thick = &key.entry[i].stroke;
            cr_expect_geq(thick->line_mm, 2.0 * thin->line_mm, "%s, %s", key.entry[k].words, key.entry[i].words);
        }
    cr_expect_neq(key.entry[0].stroke.dash, key.entry[1].stroke.dash);
    rlv_profile_free(&profile);
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
    free(bone);
}

Test(profile, a_region_of_what_went_is_never_tinted_as_what_came)
{
    // The trench filled, told as a region of which something went.
    rlv_mesh before = trenched(), after = block();
    uint16_t some[28], all[12];
    const bool came[2] = {false, true};
    for (size_t t = 0; t < 28; t++)
        some[t] = 1;
    for (size_t t = 0; t < 12; t++)
        all[t] = 1;
    for (int i = 0; i < 2; i++)
    {
        const rlv_profile_stage one = {.mesh = &before, .region = some, .came = came + i},
                                two = {.mesh = &after, .region = all, .came = came + i};
        rlv_profile profile;
        rlv_key key = {0};
        cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
        rlv_profile_key(&key, &profile, rlv_profile_tints_at(&profile, 1.0));
        cr_expect_eq(key.count, i == 0 ? 3 : 4);
        rlv_profile_free(&profile);
    }
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
}

Test(profile, bone_is_cut_where_it_is)
{
    rlv_mesh before = block(), after = trenched();
    uint8_t bone[28] = {0};
    for (size_t t = 12; t < 28; t++)
    {
        const uint32_t* c = after.corner + 3 * t;
        bone[t] = after.position_mm[3 * c[0] + 2] == 12.0f && after.position_mm[3 * c[1] + 2] == 12.0f &&
                  after.position_mm[3 * c[2] + 2] == 12.0f;
    }
    rlv_profile profile;
    const rlv_profile_stage one = {.mesh = &before}, two = {.mesh = &after, .bone = bone};
    cr_assert_eq(rlv_profile_cut(&profile, &one, &two, &across, NULL), RLV_DONE);
    cr_expect_float_eq(rlv_lines_length(&profile.bone), 20.0, 1e-9);
    double low[2], high[2];
    cr_assert(rlv_profile_box(&profile, low, high));
    cr_expect_float_eq(high[0] - low[0], 60.0, 1e-9);
    rlv_profile_free(&profile);
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
}
