#include "colour.h"

#include <math.h>
#include <stdint.h>

/* Every 15th of the 256 entries of each map, light end first; between them a straight line in sRGB is true to less than
   two 8-bit steps. The maps are under the MIT licence:

   Copyright (c) 2021, Fabio Crameri

   Permission is hereby granted, free of charge, to any person obtaining a copy of this software and associated
   documentation files (the "Software"), to deal in the Software without restriction, including without limitation the
   rights to use, copy, modify, merge, publish, distribute, sublicense, and/or sell copies of the Software, and to
   permit persons to whom the Software is furnished to do so, subject to the following conditions:

   The above copyright notice and this permission notice shall be included in all copies or substantial portions of the
   Software.

   THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT LIMITED TO THE
   WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT SHALL THE AUTHORS OR
   COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR
   OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE. */
#define MAP_SIZE 18

static const uint8_t lajolla[MAP_SIZE][3] = {
    {255, 255, 204}, {253, 245, 177}, {251, 234, 150}, {248, 220, 123}, {243, 200, 100}, {238, 180, 88},
    {235, 162, 84},  {231, 144, 82},  {226, 126, 80},  {217, 107, 78},  {199, 88, 75},   {174, 74, 69},
    {147, 65, 60},   {120, 57, 49},   {94, 49, 37},    {69, 41, 26},    {46, 34, 15},    {26, 26, 1},
};

static const uint8_t devon_reversed[MAP_SIZE][3] = {
    {255, 255, 255}, {242, 241, 252}, {230, 228, 250}, {218, 214, 247}, {206, 201, 245}, {194, 188, 242},
    {181, 175, 240}, {164, 162, 235}, {140, 149, 226}, {111, 136, 215}, {81, 122, 200},  {59, 109, 180},
    {46, 98, 159},   {40, 84, 138},   {39, 68, 120},   {41, 54, 105},   {42, 40, 90},    {44, 26, 76},
};

// The part of a map that is used: its palest end would be lost on paper and clay, and on its darkest no relief shows.
static const double removed_from = 1.6 / 17.0, removed_to = 11.6 / 17.0;
static const double added_from = 3.0 / 17.0, added_to = 12.2 / 17.0;

static rlv_rgb map_at(const uint8_t map[MAP_SIZE][3], double from, double to, double share)
{
    double at = (from + (to - from) * fmin(fmax(share, 0.0), 1.0)) * (MAP_SIZE - 1);
    int low = (int)fmin(floor(at), MAP_SIZE - 2);
    float part = (float)(at - low) / 255.0f, rest = 1.0f / 255.0f - part;
    const uint8_t *a = map[low], *b = map[low + 1];
    return (rlv_rgb){rest * (float)a[0] + part * (float)b[0], rest * (float)a[1] + part * (float)b[1],
                     rest * (float)a[2] + part * (float)b[2]};
}

rlv_rgb rlv_colour_removed(double share)
{
    return map_at(lajolla, removed_from, removed_to, share);
}

rlv_rgb rlv_colour_added(double share)
{
    return map_at(devon_reversed, added_from, added_to, share);
}

static float to_linear(float value)
{
    return value <= 0.04045f ? value / 12.92f : powf((value + 0.055f) / 1.055f, 2.4f);
}

static float to_srgb(float value)
{
    value = fminf(fmaxf(value, 0.0f), 1.0f);
    return value <= 0.0031308f ? 12.92f * value : 1.055f * powf(value, 1.0f / 2.4f) - 0.055f;
}

rlv_rgb rlv_rgb_linear(rlv_rgb srgb)
{
    return (rlv_rgb){to_linear(srgb.r), to_linear(srgb.g), to_linear(srgb.b)};
}

rlv_rgb rlv_rgb_srgb(rlv_rgb linear)
{
    return (rlv_rgb){to_srgb(linear.r), to_srgb(linear.g), to_srgb(linear.b)};
}

double rlv_rgb_lightness(rlv_rgb srgb)
{
    rlv_rgb linear = rlv_rgb_linear(srgb);
    double y = 0.2126 * (double)linear.r + 0.7152 * (double)linear.g + 0.0722 * (double)linear.b;
    double root = y > 216.0 / 24389.0 ? cbrt(y) : (24389.0 / 27.0 * y + 16.0) / 116.0;
    return 116.0 * root - 16.0;
}

rlv_rgb rlv_rgb_mix(rlv_rgb a, rlv_rgb b, float share)
{
    return (rlv_rgb){a.r + share * (b.r - a.r), a.g + share * (b.g - a.g), a.b + share * (b.b - a.b)};
}
