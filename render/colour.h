/// Colours: sRGB and linear light, lightness as an eye judges it, and the two published colour maps of the overlays.
///
/// The maps are `lajolla` (material removed: pale yellow to brown) and `devon` reversed (material added: pale violet to
/// blue) of F. Crameri, Scientific colour maps 7.0.1, Zenodo 2021, doi:10.5281/zenodo.5501399; why such maps: F.
/// Crameri, G. Shephard, P. Heron, The misuse of colour in science communication, Nature Communications 11, 5444
/// (2020). Both are perceptually even, fall in lightness from end to end, and are read with any colour vision; the pair
/// (warm, cool) stays apart for colour-blind eyes too.

#ifndef RLV_COLOUR_H
#define RLV_COLOUR_H

typedef struct rlv_rgb
{
    float r, g, b;
} rlv_rgb;

/// sRGB (0 to 1) to linear light and back (IEC 61966-2-1:1999).
rlv_rgb rlv_rgb_linear(rlv_rgb srgb);
rlv_rgb rlv_rgb_srgb(rlv_rgb linear);

/// CIELAB lightness L* (0 to 100) of an sRGB colour, for the white of daylight D65 (CIE 15:2004).
double rlv_rgb_lightness(rlv_rgb srgb);

/// a + share * (b - a)
rlv_rgb rlv_rgb_mix(rlv_rgb a, rlv_rgb b, float share);

/// The sRGB colour of material removed, at 0 (none) to 1 (the deepest of the scale); beyond, the end's colour.
rlv_rgb rlv_colour_removed(double share);

/// The sRGB colour of material added.
rlv_rgb rlv_colour_added(double share);

#endif
