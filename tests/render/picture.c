// Pictures as files: what is written is read again by libpng, to the bit.

#include "picture.h"

#include <criterion/criterion.h>
#include <math.h>
#include <png.h>
#include <stdlib.h>
#include <string.h>

TestSuite(picture);

static void fill(rlv_picture* picture)
{
    for (size_t i = 0; i < 3 * picture->width * picture->height; i++)
        picture->rgb[i] = (uint8_t)(i * 7 + i / 31);
}

typedef struct bytes
{
    char* data;
    size_t size;
} bytes;

static bytes written(const rlv_picture* picture, size_t text_count, const rlv_picture_text* text)
{
    bytes out = {0};
    FILE* stream = open_memstream(&out.data, &out.size);
    rlv_error error = {0};
    cr_assert_eq(rlv_picture_write_png(picture, stream, text_count, text, &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    return out;
}

typedef struct reading
{
    png_structp png;
    png_infop info;
    FILE* stream;
} reading;

static reading read_back(bytes from)
{
    reading in = {png_create_read_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL), NULL,
                  fmemopen(from.data, from.size, "rb")};
    in.info = png_create_info_struct(in.png);
    png_init_io(in.png, in.stream);
    png_read_png(in.png, in.info, PNG_TRANSFORM_IDENTITY, NULL);
    return in;
}

static void done(reading* in)
{
    png_destroy_read_struct(&in->png, &in->info, NULL);
    fclose(in->stream);
}

Test(picture, pixels_are_read_back_as_they_were)
{
    rlv_picture picture;
    cr_assert_eq(rlv_picture_reserve(&picture, 37, 23, 0.2, NULL), RLV_DONE);
    fill(&picture);
    bytes file = written(&picture, 0, NULL);
    reading in = read_back(file);
    cr_assert_eq(png_get_image_width(in.png, in.info), 37);
    cr_assert_eq(png_get_image_height(in.png, in.info), 23);
    png_bytepp row = png_get_rows(in.png, in.info);
    for (size_t y = 0; y < 23; y++)
        cr_expect_arr_eq(row[y], picture.rgb + 3 * 37 * y, 3 * 37);
    done(&in);
    free(file.data);
    rlv_picture_free(&picture);
}

Test(picture, a_new_picture_is_white)
{
    rlv_picture picture;
    cr_assert_eq(rlv_picture_reserve(&picture, 5, 4, 0.1, NULL), RLV_DONE);
    for (size_t i = 0; i < 60; i++)
        cr_expect_eq(picture.rgb[i], 255);
    rlv_picture_free(&picture);
}

Test(picture, physical_size_is_whole_pixels_a_metre)
{
    // 0.2 mm a pixel are 5000 pixels a metre; 0.13 mm are 7692.3, which the format rounds to 7692.
    const double pixel_mm[2] = {0.2, 0.13};
    const png_uint_32 expected[2] = {5000, 7692};
    for (int i = 0; i < 2; i++)
    {
        rlv_picture picture;
        cr_assert_eq(rlv_picture_reserve(&picture, 8, 8, pixel_mm[i], NULL), RLV_DONE);
        bytes file = written(&picture, 0, NULL);
        reading in = read_back(file);
        png_uint_32 x, y;
        int unit;
        cr_assert_eq(png_get_pHYs(in.png, in.info, &x, &y, &unit), PNG_INFO_pHYs);
        cr_expect_eq(unit, PNG_RESOLUTION_METER);
        cr_expect_eq(x, expected[i]);
        cr_expect_eq(y, expected[i]);
        done(&in);
        free(file.data);
        rlv_picture_free(&picture);
    }
}

Test(picture, text_fields_are_read_back_in_any_script)
{
    const rlv_picture_text text[3] = {{"Title", "Matrix removed"},
                                      {"Description", "profondit\xc3\xa0 \xe2\x89\xa5 2 mm, \xe5\xb2\xa9"},
                                      {"Source", "block-1.ply\nblock-2.ply"}};
    rlv_picture picture;
    cr_assert_eq(rlv_picture_reserve(&picture, 8, 8, 0.1, NULL), RLV_DONE);
    bytes file = written(&picture, 3, text);
    reading in = read_back(file);
    png_textp found;
    int count = 0;
    cr_assert_eq(png_get_text(in.png, in.info, &found, &count), 3);
    for (int i = 0; i < 3; i++)
    {
        cr_expect_str_eq(found[i].key, text[i].keyword);
        cr_expect_str_eq(found[i].text, text[i].text);
    }
    cr_expect_eq(found[0].compression, PNG_TEXT_COMPRESSION_NONE);
    cr_expect_eq(found[1].compression, PNG_ITXT_COMPRESSION_NONE);
    done(&in);
    free(file.data);
    rlv_picture_free(&picture);
}

Test(picture, no_date_is_written_and_the_bytes_repeat)
{
    rlv_picture picture;
    cr_assert_eq(rlv_picture_reserve(&picture, 64, 64, 0.1, NULL), RLV_DONE);
    fill(&picture);
    const rlv_picture_text text = {"Title", "twice"};
    bytes once = written(&picture, 1, &text), again = written(&picture, 1, &text);
    cr_assert_eq(once.size, again.size);
    cr_expect_arr_eq(once.data, again.data, once.size);
    cr_expect_null(memmem(once.data, once.size, "tIME", 4));
    free(once.data);
    free(again.data);
    rlv_picture_free(&picture);
}

Test(picture, what_cannot_be_a_picture_is_refused)
{
    rlv_picture picture;
    cr_expect_eq(rlv_picture_reserve(&picture, 0, 8, 0.1, NULL), RLV_BAD_INPUT);
    cr_expect_eq(rlv_picture_reserve(&picture, 8, 40000, 0.1, NULL), RLV_BAD_INPUT);
    cr_expect_eq(rlv_picture_reserve(&picture, 8, 8, 0.0, NULL), RLV_BAD_INPUT);
    cr_expect_eq(rlv_picture_reserve(&picture, 8, 8, (double)NAN, NULL), RLV_BAD_INPUT);
    cr_expect_null(picture.rgb);
    rlv_picture_free(&picture);
}

Test(picture, unsound_text_fields_are_refused)
{
    char longest[82];
    memset(longest, 'k', 81);
    longest[80] = '\0';
    const rlv_picture_text unsound[] = {{"", "a"},       {" Title", "a"}, {"Two  blanks", "a"}, {"T\xc3\xa4", "a"},
                                        {"Title", NULL}, {NULL, "a"},     {longest, "a"},       {"Title", "\xff\xfe"}};
    rlv_picture picture;
    cr_assert_eq(rlv_picture_reserve(&picture, 8, 8, 0.1, NULL), RLV_DONE);
    FILE* nowhere = fopen("/dev/null", "wb");
    for (size_t i = 0; i < sizeof unsound / sizeof *unsound; i++)
    {
        rlv_error error = {0};
        cr_expect_eq(rlv_picture_write_png(&picture, nowhere, 1, &unsound[i], &error), RLV_BAD_INPUT, "field %zu", i);
        cr_expect_gt(strlen(error.what), 0);
    }
    fclose(nowhere);
    rlv_picture_free(&picture);
}

Test(picture, a_full_disk_is_told)
{
    rlv_picture picture;
    cr_assert_eq(rlv_picture_reserve(&picture, 64, 64, 0.1, NULL), RLV_DONE);
    FILE* full = fopen("/dev/full", "wb");
    cr_assert_not_null(full);
    rlv_error error = {0};
    cr_expect_eq(rlv_picture_write_png(&picture, full, 0, NULL, &error), RLV_SYSTEM);
    cr_expect_gt(strlen(error.mend), 0);
    fclose(full);
    rlv_picture_free(&picture);
}
