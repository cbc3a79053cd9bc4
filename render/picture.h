/// A picture: pixels with a physical size, lettering and lines on them, and PNG out.
///
/// Lettering and lines are Cairo's with Pango; PNG is libpng's, with its physical pixel size (pHYs) and text fields.

#ifndef RLV_PICTURE_H
#define RLV_PICTURE_H

#include "error.h"

#include <stdint.h>
#include <stdio.h>

typedef struct rlv_picture
{
    size_t width, height;
    uint8_t* rgb;        ///< 3 * width * height, sRGB, top row first
    double pixel_mm;     ///< side of a pixel on paper when printed at 100 %
} rlv_picture;

/// Reserve a white picture. Free with rlv_picture_free.
rlv_status rlv_picture_reserve(rlv_picture* picture, size_t width, size_t height, double pixel_mm, rlv_error* error);
void rlv_picture_free(rlv_picture* picture);

/// A text field of a PNG: a keyword of its standard (Title, Description, Software, Source…) and UTF-8 text.
typedef struct rlv_picture_text
{
    const char* keyword;
    const char* text;
} rlv_picture_text;

/// Write a picture as PNG to an open stream. No date is written: the same picture gives the same bytes.
rlv_status rlv_picture_write_png(const rlv_picture* picture, FILE* stream, size_t text_count,
                                 const rlv_picture_text* text, rlv_error* error);

#endif
