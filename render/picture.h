/// A picture: pixels with a physical size, and PNG out.
///
/// PNG is libpng's, with the physical size of a pixel (pHYs), its colour space (sRGB) and text fields (tEXt, or iTXt
/// where a text is more than ASCII). After: Portable Network Graphics (PNG) Specification, W3C, second edition 2003.

#ifndef RLV_PICTURE_H
#define RLV_PICTURE_H

#include "error.h"

#include <stdint.h>
#include <stdio.h>

typedef struct rlv_picture
{
    size_t width, height;
    uint8_t* rgb;    ///< 3 * width * height, sRGB, top row first
    double pixel_mm; ///< side of a pixel on paper when printed at 100 %
} rlv_picture;

/// Reserve a white picture. Free with rlv_picture_free.
/// RLV_BAD_INPUT where a side is 0 or more than 32,767 pixels, or `pixel_mm` is no positive length.
rlv_status rlv_picture_reserve(rlv_picture* picture, size_t width, size_t height, double pixel_mm, rlv_error* error);

/// Free what a picture owns and zero it. Safe on a zeroed picture and after a failure.
void rlv_picture_free(rlv_picture* picture);

/// A text field of a PNG: a keyword of its standard (Title, Description, Software, Source…) and UTF-8 text.
typedef struct rlv_picture_text
{
    const char* keyword;
    const char* text;
} rlv_picture_text;

/// Write a picture as PNG to an open stream. No date is written: the same picture gives the same bytes. The physical
/// size is whole pixels a metre, as the format holds it, so it is true to half a pixel in a metre.
/// RLV_BAD_INPUT where a keyword is not 1 to 79 printable ASCII characters or a text is not UTF-8; RLV_SYSTEM where
/// the stream cannot be written.
rlv_status rlv_picture_write_png(const rlv_picture* picture, FILE* stream, size_t text_count,
                                 const rlv_picture_text* text, rlv_error* error);

/// A picture that is made as it is written: `row` fills the 3 * width bytes of row y; rows come in order, each once.
typedef struct rlv_picture_rows
{
    size_t width, height;
    double pixel_mm;
    void (*row)(void* user, size_t y, uint8_t* rgb, size_t width);
    void* user;
} rlv_picture_rows;

/// The same for a picture that is made row by row.
rlv_status rlv_picture_write_rows(const rlv_picture_rows* rows, FILE* stream, size_t text_count,
                                  const rlv_picture_text* text, rlv_error* error);

#endif
