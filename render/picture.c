#include "picture.h"

#include <glib.h>
#include <math.h>
#include <png.h>
#include <setjmp.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

// The widest surface that Cairo draws on.
#define LONGEST_SIDE 32767

rlv_status rlv_picture_reserve(rlv_picture* picture, size_t width, size_t height, double pixel_mm, rlv_error* error)
{
    memset(picture, 0, sizeof *picture);
    if (width == 0 || height == 0 || width > LONGEST_SIDE || height > LONGEST_SIDE)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for sides of 1 to 32767 pixels",
                        "a picture of %zu by %zu pixels", width, height);
    if (!(pixel_mm > 0.0) || !isfinite(pixel_mm))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a positive length", "a pixel of %g mm", pixel_mm);
    picture->rgb = rlv_reserve(3 * width * height, 1, error);
    if (picture->rgb == NULL)
        return RLV_SYSTEM;
    memset(picture->rgb, 255, 3 * width * height);
    picture->width = width;
    picture->height = height;
    picture->pixel_mm = pixel_mm;
    return RLV_DONE;
}

void rlv_picture_free(rlv_picture* picture)
{
    free(picture->rgb);
    memset(picture, 0, sizeof *picture);
}

// What libpng said before it jumped.
typedef struct complaint
{
    char words[256];
} complaint;

static void on_png_error(png_structp png, png_const_charp words)
{
    complaint* said = png_get_error_ptr(png);
    snprintf(said->words, sizeof said->words, "%s", words);
    png_longjmp(png, 1);
}

static void on_png_warning(png_structp png, png_const_charp words)
{
    (void)png;
    (void)words;
}

static bool keyword_is_sound(const char* keyword)
{
    size_t length = strlen(keyword);
    if (length < 1 || length > 79 || keyword[0] == ' ' || keyword[length - 1] == ' ')
        return false;
    for (size_t i = 0; i < length; i++)
        if (keyword[i] < ' ' || keyword[i] > '~' || (keyword[i] == ' ' && keyword[i + 1] == ' '))
            return false;
    return true;
}

static bool is_ascii(const char* text)
{
    for (; *text != '\0'; text++)
        if ((unsigned char)*text >= 0x80)
            return false;
    return true;
}

static rlv_status check_text(size_t text_count, const rlv_picture_text* text, rlv_error* error)
{
    for (size_t i = 0; i < text_count; i++)
    {
        if (text[i].keyword == NULL || text[i].text == NULL || !keyword_is_sound(text[i].keyword))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "use a keyword of the PNG standard, such as Title or Source",
                            "text field %zu of a PNG has no sound keyword or no text", i + 1);
        if (!g_utf8_validate(text[i].text, -1, NULL))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "write it in UTF-8", "the text field %s of a PNG is not UTF-8",
                            text[i].keyword);
    }
    return RLV_DONE;
}

// tEXt holds Latin-1, so whatever is more than ASCII goes into iTXt.
static void fill_text(png_text* out, size_t text_count, const rlv_picture_text* text)
{
    for (size_t i = 0; i < text_count; i++)
    {
        memset(&out[i], 0, sizeof out[i]);
        bool plain = is_ascii(text[i].text);
        out[i].compression = plain ? PNG_TEXT_COMPRESSION_NONE : PNG_ITXT_COMPRESSION_NONE;
        out[i].key = (png_charp)(uintptr_t)text[i].keyword;
        out[i].text = (png_charp)(uintptr_t)text[i].text;
        out[i].text_length = plain ? strlen(text[i].text) : 0;
        out[i].itxt_length = plain ? 0 : strlen(text[i].text);
    }
}

// All that may jump is in here, and nothing that it changes is read after the jump.
static bool write_all(png_structp png, png_infop info, const rlv_picture_rows* rows, uint8_t* rgb, FILE* stream,
                      int text_count, png_text* text)
{
    if (setjmp(png_jmpbuf(png)))
        return false;
    png_init_io(png, stream);
    png_set_compression_level(png, 1); // half the time of 3 with the filters SUB and UP, and a tenth more bytes
    png_set_filter(png, PNG_FILTER_TYPE_BASE, PNG_FILTER_UP);
    png_set_IHDR(png, info, (png_uint_32)rows->width, (png_uint_32)rows->height, 8, PNG_COLOR_TYPE_RGB,
                 PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    png_set_sRGB_gAMA_and_cHRM(png, info, PNG_sRGB_INTENT_PERCEPTUAL);
    double pixels_a_metre = fmin(round(1000.0 / rows->pixel_mm), 2147483647.0);
    png_set_pHYs(png, info, (png_uint_32)pixels_a_metre, (png_uint_32)pixels_a_metre, PNG_RESOLUTION_METER);
    if (text_count > 0)
        png_set_text(png, info, text, text_count);
    png_write_info(png, info);
    for (size_t y = 0; y < rows->height; y++)
    {
        rows->row(rows->user, y, rgb, rows->width);
        png_write_row(png, rgb);
    }
    png_write_end(png, info);
    return true;
}

rlv_status rlv_picture_write_rows(const rlv_picture_rows* rows, FILE* stream, size_t text_count,
                                  const rlv_picture_text* text, rlv_error* error)
{
    rlv_status status = check_text(text_count, text, error);
    if (status != RLV_DONE)
        return status;
    png_text* field = rlv_reserve(text_count, sizeof *field, error);
    uint8_t* rgb = field != NULL ? rlv_reserve(3 * rows->width, 1, error) : NULL;
    if (rgb == NULL)
    {
        free(field);
        return RLV_SYSTEM;
    }
    fill_text(field, text_count, text);

    complaint said = {"no memory"};
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, &said, on_png_error, on_png_warning);
    png_infop info = png != NULL ? png_create_info_struct(png) : NULL;
    bool written = info != NULL && write_all(png, info, rows, rgb, stream, (int)text_count, field);
    png_destroy_write_struct(&png, &info);
    free(rgb);
    free(field);
    if (!written || fflush(stream) != 0 || ferror(stream))
        return rlv_fail(error, RLV_SYSTEM, NULL, "check the disk's free space and rights",
                        "a PNG could not be written (%s)", written ? "the stream failed" : said.words);
    return RLV_DONE;
}

static void picture_row(void* user, size_t y, uint8_t* rgb, size_t width)
{
    const rlv_picture* picture = user;
    memcpy(rgb, picture->rgb + 3 * width * y, 3 * width);
}

rlv_status rlv_picture_write_png(const rlv_picture* picture, FILE* stream, size_t text_count,
                                 const rlv_picture_text* text, rlv_error* error)
{
    rlv_picture_rows rows = {picture->width, picture->height, picture->pixel_mm, picture_row,
                             (void*)(uintptr_t)picture};
    return rlv_picture_write_rows(&rows, stream, text_count, text, error);
}
