// The colour maps: even steps of lightness, and apart for colour-blind eyes.

#include "colour.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(colour);

typedef rlv_rgb (*colour_map)(double share);
static const colour_map maps[2] = {rlv_colour_removed, rlv_colour_added};

#define STEPS 200

Test(colour, lightness_of_handbook_greys)
{
    // CIE 15:2004: L* of white is 100, of black 0; of the linear reflectance 0.1842 it is 50.
    cr_expect_float_eq(rlv_rgb_lightness((rlv_rgb){1, 1, 1}), 100.0, 1e-4);
    cr_expect_float_eq(rlv_rgb_lightness((rlv_rgb){0, 0, 0}), 0.0, 1e-4);
    rlv_rgb grey = rlv_rgb_srgb((rlv_rgb){0.18418651f, 0.18418651f, 0.18418651f});
    cr_expect_float_eq(rlv_rgb_lightness(grey), 50.0, 1e-3);
}

Test(colour, linear_light_and_back_is_the_same)
{
    for (int i = 0; i <= 255; i++)
    {
        float value = (float)i / 255.0f;
        rlv_rgb back = rlv_rgb_srgb(rlv_rgb_linear((rlv_rgb){value, 0.5f, 1.0f}));
        // A float holds 24 bits, and the power stretches its error by less than 13.
        cr_expect_float_eq(back.r, value, 2e-6f);
    }
}

Test(colour, both_maps_fall_in_lightness_all_the_way)
{
    for (int m = 0; m < 2; m++)
        for (int i = 0; i < STEPS; i++)
            cr_expect_gt(rlv_rgb_lightness(maps[m]((double)i / STEPS)),
                         rlv_rgb_lightness(maps[m]((double)(i + 1) / STEPS)), "map %d at %d", m, i);
}

static void lab(rlv_rgb srgb, double out[3])
{
    // sRGB's primaries in XYZ (IEC 61966-2-1), then CIELAB (CIE 15:2004).
    rlv_rgb c = rlv_rgb_linear(srgb);
    double r = (double)c.r, g = (double)c.g, b = (double)c.b;
    const double xyz[3] = {(0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505, 0.2126 * r + 0.7152 * g + 0.0722 * b,
                           (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.0890};
    double f[3];
    for (int i = 0; i < 3; i++)
        f[i] = xyz[i] > 216.0 / 24389.0 ? cbrt(xyz[i]) : (24389.0 / 27.0 * xyz[i] + 16.0) / 116.0;
    out[0] = 116.0 * f[1] - 16.0;
    out[1] = 500.0 * (f[0] - f[1]);
    out[2] = 200.0 * (f[1] - f[2]);
}

static double difference(rlv_rgb a, rlv_rgb b)
{
    double p[3], q[3];
    lab(a, p);
    lab(b, q);
    return sqrt((p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]) + (p[2] - q[2]) * (p[2] - q[2]));
}

Test(colour, equal_steps_of_depth_are_comparable_steps_to_the_eye)
{
    // No tenth of a scale may look less than half, or more than twice, the mean step (CIE 1976 difference). The bound
    // is ours; a rainbow map passes it by far.
    for (int m = 0; m < 2; m++)
    {
        double step[10], mean = 0.0;
        for (int i = 0; i < 10; i++)
        {
            step[i] = difference(maps[m](i / 10.0), maps[m]((i + 1) / 10.0));
            mean += step[i] / 10.0;
        }
        for (int i = 0; i < 10; i++)
        {
            cr_expect_gt(step[i], 0.5 * mean, "map %d, tenth %d: %g of %g", m, i, step[i], mean);
            cr_expect_lt(step[i], 2.0 * mean, "map %d, tenth %d: %g of %g", m, i, step[i], mean);
        }
    }
}

Test(colour, removed_and_added_stay_apart_for_red_green_blind_eyes)
{
    // Deuteranopia and protanopia after F. Vienot, H. Brettel, J. Mollon, Color Research and Application 24 (1999):
    // in linear sRGB both collapse red and green onto one axis, and blue stays.
    const double blind[2][3] = {{0.11238, 0.88762, 0.0}, {0.29275, 0.70725, 0.0}};
    const double blue[2][3] = {{0.00401, -0.00401, 1.0}, {-0.02234, 0.02234, 1.0}};
    for (int kind = 0; kind < 2; kind++)
        for (int i = 2; i <= 10; i++)
        {
            rlv_rgb seen[2];
            for (int m = 0; m < 2; m++)
            {
                rlv_rgb c = rlv_rgb_linear(maps[m](i / 10.0));
                double rg = blind[kind][0] * (double)c.r + blind[kind][1] * (double)c.g;
                double b = blue[kind][0] * (double)c.r + blue[kind][1] * (double)c.g + (double)c.b;
                seen[m] = rlv_rgb_srgb((rlv_rgb){(float)rg, (float)rg, (float)b});
            }
            // 20 is some nine just noticeable differences (2.3; M. Mahy et al., Color Research and Application 19,
            // 1994).
            cr_expect_gt(difference(seen[0], seen[1]), 20.0, "eye %d at %d: %g", kind, i, difference(seen[0], seen[1]));
        }
}

Test(colour, shares_beyond_the_scale_take_its_ends)
{
    for (int m = 0; m < 2; m++)
    {
        cr_expect_eq(maps[m](-3.0).r, maps[m](0.0).r);
        cr_expect_eq(maps[m](7.0).g, maps[m](1.0).g);
    }
}
