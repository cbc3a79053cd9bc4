/// A view of a mesh: camera, clay shading with soft occlusion, and a colour overlay of what was measured on it.
///
/// Ray-cast on the spatial index, offscreen. Light comes low from the upper left, as raking light shows relief; soft
/// occlusion darkens hollows (S. Zhukov, A. Iones, G. Kronin, An ambient light illumination model, Rendering
/// Techniques 1998). The depth overlay is a perceptually even published colour map that colour-blind people read (see
/// colour.h). Every length in the picture is true: to the scale bar, and on paper when printed at 100 %.

#ifndef RLV_VIEW_H
#define RLV_VIEW_H

#include "camera.h"
#include "mesh.h"
#include "picture.h"
#include "tree.h"

/// What to paint on the clay.
typedef struct rlv_overlay
{
    const float* depth_mm; ///< one a vertex: how deep material went (positive) or came (negative); NULL: plain clay
    const uint8_t* shown;  ///< one a triangle: 0 plain clay, 1 coloured by depth, 2 hatched (below the detection limit)
    double deepest_mm;     ///< the end of the colour scale; 0: nothing is coloured, and there is no scale
    const char* caption;   ///< beside the legend: what the colours are, with the unit
    const char* note;      ///< beneath it: how far they compare with other pictures; may be NULL
    const char* noun;      ///< what an isoline is of, in a key; NULL: "depth"
    const char* below;     ///< what depths below zero are, on a sheet; NULL: "added, mm (dotted)"
    const char* hatched;   ///< what hatching is, on a sheet; NULL: "not told apart from noise"
    const char* bare;      ///< what plain clay is, in a key; NULL: it is not explained
} rlv_overlay;

/// How to draw. A zeroed one draws plain clay with one ray a pixel, under the usual light, without words.
typedef struct rlv_view_options
{
    int occlusion_rays; ///< rays a pixel for soft occlusion; 16 is smooth
    int samples;        ///< camera rays through a pixel on an edge: 1, or 4 for smooth edges; at most 64
    const char* title;  ///< over the picture; may be NULL
    const char* footer; ///< small print under it, up to three lines; may be NULL
    bool colour;        ///< the mesh's own vertex colours in place of clay, where it has them
    rlv_vec3 light;     ///< towards the light: right, up and towards the eye; zero: low from the upper left
} rlv_view_options;

/// Draw one view into a zeroed `picture` of `width` by `height` pixels: the mesh, title, scale bar, axes and legend.
/// `tree` is of the same mesh; `overlay` and `options` may be NULL. The picture's pixel_mm puts it on paper at a
/// standard scale (ISO 5455), the largest at which the page is no larger than A3; the scale is written beside the scale
/// bar. RLV_BAD_INPUT where the picture, the camera or the overlay cannot be drawn. Free with rlv_picture_free.
rlv_status rlv_view_draw(rlv_picture* picture, size_t width, size_t height, const rlv_mesh* mesh, const rlv_tree* tree,
                         const rlv_camera* camera, const rlv_overlay* overlay, const rlv_view_options* options,
                         rlv_error* error);

#endif
