// Sheets: sizes true in every format, text that stays text, and the same bytes twice.

#include "sheet.h"

#include <criterion/criterion.h>
#include <math.h>
#include <png.h>
#include <stdlib.h>
#include <string.h>

TestSuite(sheet);

typedef struct bytes
{
    char* data;
    size_t size;
} bytes;

static bytes written(const rlv_sheet* sheet, rlv_sheet_format format, const rlv_sheet_info* info)
{
    bytes out = {0};
    FILE* stream = open_memstream(&out.data, &out.size);
    rlv_error error = {0};
    cr_assert_eq(rlv_sheet_write(sheet, format, stream, info, &error), RLV_DONE, "%s", error.what);
    fclose(stream);
    return out;
}

static bool holds(bytes file, const char* text)
{
    return memmem(file.data, file.size, text, strlen(text)) != NULL;
}

// A sheet of 120 by 80 mm: a black square of 20 mm at (30, 40), a picture, words in five scripts.
static rlv_sheet drawn(void)
{
    rlv_sheet sheet;
    rlv_error error = {0};
    cr_assert_eq(rlv_sheet_reserve(&sheet, 120.0, 80.0, &error), RLV_DONE, "%s", error.what);
    cairo_set_source_rgb(sheet.cairo, 0.0, 0.0, 0.0);
    cairo_rectangle(sheet.cairo, 30.0, 40.0, 20.0, 20.0);
    cairo_fill(sheet.cairo);
    rlv_picture picture;
    cr_assert_eq(rlv_picture_reserve(&picture, 100, 60, 0.1, NULL), RLV_DONE);
    for (size_t i = 0; i < 3 * picture.width * picture.height; i++)
        picture.rgb[i] = (uint8_t)(i * 7 + i / 31);
    cr_assert_eq(rlv_sheet_picture(&sheet, &picture, 90.0, 50.0, NULL), RLV_DONE);
    rlv_picture_free(&picture);
    const rlv_lettering how = {.size_mm = 3.0, .grey = 0.1};
    rlv_sheet_text(&sheet, "Scute LL12, 4.5 mm", 10.0, 12.0, &how);
    rlv_sheet_text(&sheet, "\xce\xb1\xce\xb2 \xd0\x96 \xe5\xb2\xa9 \xe0\xa4\xa8 \xd9\x85 \xff\xfe", 10.0, 20.0, &how);
    return sheet;
}

static const rlv_sheet_info about = {.title = "LQ-0417 <&>",
                                     .subject = "a test",
                                     .software = "rilievo",
                                     .source = "stage.ply 00ff",
                                     .date = "2031-05-12"};

typedef struct reading
{
    png_structp png;
    png_infop info;
    FILE* stream;
    png_bytepp row;
} reading;

static reading read_back(bytes from)
{
    reading in = {png_create_read_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL), NULL,
                  fmemopen(from.data, from.size, "rb"), NULL};
    in.info = png_create_info_struct(in.png);
    png_init_io(in.png, in.stream);
    png_read_png(in.png, in.info, PNG_TRANSFORM_IDENTITY, NULL);
    in.row = png_get_rows(in.png, in.info);
    return in;
}

static void done(reading* in)
{
    png_destroy_read_struct(&in->png, &in->info, NULL);
    fclose(in->stream);
}

Test(sheet, a_png_is_as_large_as_the_paper_and_its_marks_are_where_they_were_put)
{
    rlv_sheet sheet = drawn();
    const double pixel_mm[2] = {0.1, 0.25};
    for (int i = 0; i < 2; i++)
    {
        rlv_sheet_info info = about;
        info.pixel_mm = pixel_mm[i];
        bytes file = written(&sheet, RLV_SHEET_PNG, &info);
        reading in = read_back(file);
        cr_expect_eq(png_get_image_width(in.png, in.info), (png_uint_32)(120.0 / pixel_mm[i]));
        cr_expect_eq(png_get_image_height(in.png, in.info), (png_uint_32)(80.0 / pixel_mm[i]));
        png_uint_32 x, y;
        int unit;
        cr_assert_eq(png_get_pHYs(in.png, in.info, &x, &y, &unit), PNG_INFO_pHYs);
        cr_expect_eq(x, (png_uint_32)(1000.0 / pixel_mm[i]));
        cr_expect_eq(unit, PNG_RESOLUTION_METER);
        // The darkness of a row and of a column through the square, in mm: 20, to the half of a pixel.
        double across = 0.0, down = 0.0, first = 0.0;
        size_t row = (size_t)(50.0 / pixel_mm[i]), column = (size_t)(40.0 / pixel_mm[i]);
        for (size_t k = (size_t)(25.0 / pixel_mm[i]); k < (size_t)(55.0 / pixel_mm[i]); k++)
        {
            double dark = (255.0 - in.row[row][3 * k]) / 255.0 * pixel_mm[i];
            across += dark;
            first += k < (size_t)(35.0 / pixel_mm[i]) ? dark : 0.0;
        }
        for (size_t k = (size_t)(35.0 / pixel_mm[i]); k < (size_t)(65.0 / pixel_mm[i]); k++)
            down += (255.0 - in.row[k][3 * column]) / 255.0 * pixel_mm[i];
        cr_expect_float_eq(across, 20.0, 0.5 * pixel_mm[i]);
        cr_expect_float_eq(first, 5.0, 0.5 * pixel_mm[i]);
        cr_expect_float_eq(down, 20.0, 0.5 * pixel_mm[i]);
        done(&in);
        free(file.data);
    }
    rlv_sheet_free(&sheet);
}

Test(sheet, a_picture_on_the_grid_of_the_page_keeps_its_pixels)
{
    rlv_sheet sheet = drawn();
    bytes file = written(&sheet, RLV_SHEET_PNG, &about);
    reading in = read_back(file);
    for (size_t y = 0; y < 60; y++)
        for (size_t x = 0; x < 300; x++)
        {
            size_t i = 300 * y + x;
            cr_assert_eq(in.row[500 + y][2700 + x], (uint8_t)(i * 7 + i / 31), "%zu %zu", x, y);
        }
    done(&in);
    free(file.data);
    rlv_sheet_free(&sheet);
}

Test(sheet, the_same_drawing_gives_the_same_bytes_in_every_format)
{
    for (int format = RLV_SHEET_PNG; format <= RLV_SHEET_SVG; format++)
    {
        rlv_sheet one = drawn(), two = drawn();
        bytes once = written(&one, (rlv_sheet_format)format, &about);
        bytes again = written(&one, (rlv_sheet_format)format, &about);
        bytes other = written(&two, (rlv_sheet_format)format, &about);
        cr_assert_eq(once.size, again.size);
        cr_assert_eq(once.size, other.size);
        cr_expect(memcmp(once.data, again.data, once.size) == 0);
        cr_expect(memcmp(once.data, other.data, once.size) == 0);
        free(once.data);
        free(again.data);
        free(other.data);
        rlv_sheet_free(&one);
        rlv_sheet_free(&two);
    }
}

Test(sheet, in_pdf_text_is_text_and_the_date_is_the_callers)
{
    rlv_sheet sheet = drawn();
    bytes file = written(&sheet, RLV_SHEET_PDF, &about);
    cr_expect(holds(file, "/ToUnicode"));
    cr_expect(holds(file, "DejaVuSans"));
    cr_expect(holds(file, "/CreationDate (D:20310512)"));
    cr_expect(holds(file, "/ModDate (D:20310512)"));
    cr_expect(holds(file, "/Title (LQ-0417 <&>)"));
    // 120 by 80 mm in points.
    cr_expect(holds(file, "340.15") && holds(file, "226.77"));
    free(file.data);
    rlv_sheet_info undated = about;
    undated.date = NULL;
    file = written(&sheet, RLV_SHEET_PDF, &undated);
    cr_expect_not(holds(file, "/CreationDate"));
    free(file.data);
    undated.date = "2031";
    file = written(&sheet, RLV_SHEET_PDF, &undated);
    cr_expect(holds(file, "/CreationDate (D:2031)"));
    free(file.data);
    rlv_sheet_free(&sheet);
}

Test(sheet, an_svg_is_in_mm_and_tells_its_title)
{
    rlv_sheet sheet = drawn();
    bytes file = written(&sheet, RLV_SHEET_SVG, &about);
    cr_expect(holds(file, "width=\"120mm\" height=\"80mm\" viewBox=\"0 0 120 80\""));
    cr_expect(holds(file, "<title>LQ-0417 &lt;&amp;&gt;</title>"));
    cr_expect(holds(file, "<desc>a test</desc>"));
    free(file.data);
    rlv_sheet_free(&sheet);
}

Test(sheet, every_name_in_an_svg_is_there_and_is_there_once)
{
    rlv_sheet sheet = drawn();
    bytes file = written(&sheet, RLV_SHEET_SVG, &about);
    size_t references = 0;
    for (const char* at = file.data; (at = strstr(at, "href=\"#")) != NULL; at++)
    {
        char id[64];
        int length = (int)strcspn(at + 7, "\"");
        snprintf(id, sizeof id, "id=\"%.*s\"", length, at + 7);
        const char* first = strstr(file.data, id);
        cr_assert_not_null(first, "%s", id);
        cr_expect_null(strstr(first + 1, id), "%s", id);
        references++;
    }
    cr_expect_gt(references, 10);
    free(file.data);
    rlv_sheet_free(&sheet);
}

Test(sheet, a_line_breaks_at_its_width_and_a_number_of_lines_ends_it)
{
    rlv_sheet sheet;
    cr_assert_eq(rlv_sheet_reserve(&sheet, 100.0, 100.0, NULL), RLV_DONE);
    const char* text = "one two three four five six seven eight nine ten eleven twelve";
    rlv_lettering how = {.size_mm = 3.0};
    rlv_text_size free_size = rlv_sheet_measure(&sheet, text, &how);
    how.width_mm = 30.0;
    rlv_text_size broken = rlv_sheet_measure(&sheet, text, &how);
    how.most_lines = 2;
    rlv_text_size two = rlv_sheet_measure(&sheet, text, &how);
    cr_expect_gt(free_size.width_mm, 90.0);
    cr_expect_leq(broken.width_mm, 30.0);
    cr_expect_gt(broken.height_mm, 3.5 * free_size.height_mm);
    cr_expect_lt(two.height_mm, 2.5 * free_size.height_mm);
    // A capital of DejaVu Sans is 0.729 em.
    cr_expect_float_eq(free_size.cap_mm, 0.729 * 3.0, 0.001);
    rlv_sheet_free(&sheet);
}

Test(sheet, paper_grows_through_the_A_series_to_a_roll_and_is_never_too_small)
{
    const double need[8][2] = {{200, 280}, {280, 200},  {400, 290},  {290, 410},
                               {800, 500}, {1100, 700}, {900, 1500}, {2000, 1400}};
    const char* name[8] = {"A4 upright", "A4 lying", "A3 lying", "A3 upright", "A1 lying", "A0 lying", "roll", "roll"};
    for (int i = 0; i < 8; i++)
    {
        rlv_paper paper = rlv_paper_holding(need[i][0], need[i][1], 4);
        cr_expect_str_eq(paper.name, name[i]);
        cr_expect_geq(paper.width_mm, need[i][0]);
        cr_expect_geq(paper.height_mm, need[i][1]);
    }
    cr_expect_float_eq(rlv_paper_holding(900, 1500, 4).width_mm, 914.0, 1e-12);
    cr_expect_float_eq(rlv_paper_holding(2000, 1400, 4).height_mm, 1524.0, 1e-12);
    cr_expect_str_eq(rlv_paper_holding(100, 100, 3).name, "A3 upright");
}

Test(sheet, letters_are_as_many_times_larger_as_the_paper)
{
    const double side[6][2] = {{210, 297}, {297, 420}, {420, 594}, {594, 841}, {1189, 841}, {1524, 3000}};
    const double unit[6] = {1.0, 1.0, 594.0 / 420.0, 2.0, 1189.0 / 420.0, 1189.0 / 420.0};
    for (int i = 0; i < 6; i++)
    {
        const rlv_paper paper = {side[i][0], side[i][1], ""};
        cr_expect_float_eq(rlv_paper_unit(&paper), unit[i], 0.003 * unit[i]); // sides are whole mm
    }
    const rlv_lettering small = {.size_mm = RLV_LETTER_SMALL};
    rlv_sheet sheet = drawn();
    rlv_text_size once = rlv_sheet_measure(&sheet, "Armoured fish", &small);
    sheet.unit = 2.0;
    rlv_text_size twice = rlv_sheet_measure(&sheet, "Armoured fish", &small);
    cr_expect_float_eq(twice.cap_mm, 2.0 * once.cap_mm, 1e-9);
    cr_expect_float_eq(twice.width_mm, 2.0 * once.width_mm, 0.01 * once.width_mm); // 1/1024 mm a letter
    rlv_sheet_free(&sheet);
}

// A thing of a size, with margins that grow with the letters.
static void thing_with_margins(const void* of, double unit, double size_mm[2])
{
    const double* thing = of;
    size_mm[0] = thing[0] + 60.0 * unit;
    size_mm[1] = thing[1] + 90.0 * unit;
}

Test(sheet, paper_is_chosen_with_the_letters_that_it_asks_for)
{
    // The last is too wide for A0 with any letters.
    const double thing[5][2] = {{100, 100}, {400, 300}, {600, 450}, {900, 600}, {1100, 900}};
    const double longer[4] = {420.0, 594.0, 841.0, 1189.0};
    for (int i = 0; i < 5; i++)
    {
        double unit = 0.0, size_mm[2];
        rlv_paper paper = rlv_paper_for(thing_with_margins, thing[i], 3, &unit);
        thing_with_margins(thing[i], unit, size_mm);
        cr_expect_leq(size_mm[0], paper.width_mm);
        cr_expect_leq(size_mm[1], paper.height_mm);
        cr_expect_geq(unit, 0.6 * rlv_paper_unit(&paper) - 1e-9);
        cr_expect_leq(unit, rlv_paper_unit(&paper) + 1e-9);
        // Sheets of one size have letters of few sizes, whatever is on them; none is smaller than on A3.
        const double share = unit / rlv_paper_unit(&paper);
        cr_expect(unit == 1.0 || fabs(share - 1.0) < 1e-9 || fabs(share - 0.7) < 1e-9 || fabs(share - 0.6) < 1e-9, "%g",
                  share);
        if (i < 4)
            cr_expect_float_eq(fmax(paper.width_mm, paper.height_mm), longer[i], 1e-9, "%d", i);
        else
            cr_expect_str_eq(paper.name, "roll");
    }
}

Test(sheet, what_cannot_be_a_sheet_is_refused)
{
    rlv_sheet sheet;
    cr_expect_eq(rlv_sheet_reserve(&sheet, 5.0, 100.0, NULL), RLV_BAD_INPUT);
    cr_expect_eq(rlv_sheet_reserve(&sheet, NAN, 100.0, NULL), RLV_BAD_INPUT);
    cr_expect_eq(rlv_sheet_reserve(&sheet, 100.0, 5001.0, NULL), RLV_BAD_INPUT);
    sheet = drawn();
    FILE* stream = tmpfile();
    const char* date[4] = {"yesterday", "2031-5-12", "12.05.2031", "2031-05-123"};
    for (int i = 0; i < 4; i++)
    {
        rlv_sheet_info info = {.date = date[i]};
        cr_expect_eq(rlv_sheet_write(&sheet, RLV_SHEET_PDF, stream, &info, NULL), RLV_BAD_INPUT, "%s", date[i]);
    }
    rlv_sheet_info fine = {.pixel_mm = 0.001};
    cr_expect_eq(rlv_sheet_write(&sheet, RLV_SHEET_PNG, stream, &fine, NULL), RLV_BAD_INPUT);
    FILE* full = fopen("/dev/full", "wb");
    if (full != NULL)
    {
        for (int format = RLV_SHEET_PNG; format <= RLV_SHEET_SVG; format++)
            cr_expect_eq(rlv_sheet_write(&sheet, (rlv_sheet_format)format, full, &about, NULL), RLV_SYSTEM);
        fclose(full);
    }
    fclose(stream);
    rlv_sheet_free(&sheet);
}
