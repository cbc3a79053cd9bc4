/// Light and colour on what a camera sees: clay under raking light, the colours of depth, hatching and outlines.

#ifndef RLV_PAINT_H
#define RLV_PAINT_H

#include "cast.h"
#include "view.h"

/// What of an overlay is in sight, for the legend to explain.
typedef struct rlv_paint_seen
{
    bool removed, added, hatched;
    bool past_removed, past_added; ///< deeper than the scale's end
} rlv_paint_seen;

/// How wide lines and patterns are drawn, in pixels.
typedef struct rlv_paint_pattern
{
    double line, hatch_gap, hatch_line, dot_gap, dot_radius;
} rlv_paint_pattern;

/// The patterns of a page whose unit (a hundredth of its height) is `unit` pixels.
rlv_paint_pattern rlv_paint_pattern_of(double unit);

/// How much of a pixel at (x, y) a hatching line or a dot covers, 0 to 1.
float rlv_paint_hatch(const rlv_paint_pattern* pattern, double x, double y);
float rlv_paint_dot(const rlv_paint_pattern* pattern, double x, double y);

/// The ink of hatching, dots and outlines, sRGB.
#define RLV_PAINT_INK ((rlv_rgb){0.17f, 0.15f, 0.14f})

/// Clay that faces the eye, sRGB.
#define RLV_PAINT_CLAY ((rlv_rgb){0.795f, 0.765f, 0.722f})

/// A depth within this share of the scale around 0 is drawn as the scale's beginning, on whichever side of 0 it lies.
#define RLV_PAINT_LEAST 0.01

/// The direction towards the key light that options ask for, in the picture's axes, of length one.
rlv_vec3 rlv_paint_light(const rlv_view_options* options);

/// Paint what `cast` saw into `picture`. Without a `pattern` (NULL) there are no hatching, dots and outlines: they are
/// drawn over it as lines.
rlv_status rlv_paint(rlv_picture* picture, const rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree,
                     const rlv_overlay* overlay, const rlv_view_options* options, const rlv_paint_pattern* pattern,
                     rlv_paint_seen* seen, rlv_error* error);

#endif
