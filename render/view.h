/// A view of a mesh: camera, clay shading with soft occlusion, and a colour overlay of what was measured on it.
///
/// Ray-cast on the spatial index, offscreen. Light comes low from the upper left, as raking light shows relief; soft
/// occlusion darkens hollows (S. Zhukov, A. Iones, G. Kronin, An ambient light illumination model, Rendering
/// Techniques 1998). The depth overlay is a perceptually even published colour map that colour-blind people read.

#ifndef RLV_VIEW_H
#define RLV_VIEW_H

#include "mesh.h"
#include "picture.h"
#include "tree.h"

/// An orthographic camera, so that a scale bar is true everywhere. All in the mesh's own frame (not local).
typedef struct rlv_camera
{
    rlv_vec3 target_mm;  ///< at the middle of the picture
    rlv_vec3 towards;    ///< from the target to the eye
    rlv_vec3 up;         ///< up in the picture (made square to `towards`)
    double width_mm;     ///< what the picture's width spans
} rlv_camera;

/// A camera that looks against `towards` and holds the whole box from `low_mm` to `high_mm` with a margin, for a picture of `width` by `height`
/// pixels. The same camera serves every stage of a comparison: pass the box of all.
rlv_camera rlv_camera_of_box(rlv_vec3 low_mm, rlv_vec3 high_mm, rlv_vec3 towards, rlv_vec3 up, size_t width,
                             size_t height);

/// What to paint on the clay.
typedef struct rlv_overlay
{
    const float* depth_mm;  ///< one a vertex: how deep material went (positive) or came (negative); NULL: plain clay
    const uint8_t* shown;   ///< one a triangle: 0 plain clay, 1 coloured by depth, 2 hatched (below the detection limit)
    double deepest_mm;      ///< the end of the colour scale
    const char* caption;    ///< beside the legend: what the colours are, with the unit
} rlv_overlay;

typedef struct rlv_view_options
{
    int occlusion_rays;     ///< rays a pixel for soft occlusion; 16 is smooth
    int samples;            ///< camera rays a pixel: 1, or 4 for smooth edges
    const char* title;      ///< over the picture; may be NULL
    const char* footer;     ///< small print under it; may be NULL
} rlv_view_options;

/// Draw one view into a zeroed `picture` of `width` by `height` pixels: the mesh, title, scale bar, axes and legend.
/// `tree` is of the same mesh. Free with rlv_picture_free.
rlv_status rlv_view_draw(rlv_picture* picture, size_t width, size_t height, const rlv_mesh* mesh, const rlv_tree* tree,
                         const rlv_camera* camera, const rlv_overlay* overlay, const rlv_view_options* options,
                         rlv_error* error);

#endif
