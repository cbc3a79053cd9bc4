/// The orthographic camera of every picture, and where things fall on the page.
///
/// Projection is parallel, so that a scale bar is true everywhere in the picture. All is in double and in the mesh's
/// own frame.

#ifndef RLV_CAMERA_H
#define RLV_CAMERA_H

#include "vector.h"

#include <stddef.h>

/// An orthographic camera. All in the mesh's own frame (not local).
typedef struct rlv_camera
{
    rlv_vec3 target_mm; ///< at the middle of the picture
    rlv_vec3 towards;   ///< from the target to the eye
    rlv_vec3 up;        ///< up in the picture (made square to `towards`)
    double width_mm;    ///< what the picture's width spans
} rlv_camera;

/// A rectangle of a picture, in pixels from its upper left corner.
typedef struct rlv_frame
{
    double left, top, right, bottom;
} rlv_frame;

/// The part of a picture of `width` by `height` pixels that the mesh is drawn in; title, scale bar, legend and small
/// print keep to the rest.
rlv_frame rlv_frame_of_page(size_t width, size_t height);

/// A camera that looks against `towards` and holds the whole box from `low_mm` to `high_mm` with a margin inside the
/// frame of a picture of `width` by `height` pixels. The same camera serves every stage of a comparison: pass the box
/// of all. Whatever is not a direction is replaced: a `towards` of no length by +z, an `up` along `towards` by the
/// coordinate axis most square to it; a box of no size is given one.
rlv_camera rlv_camera_of_box(rlv_vec3 low_mm, rlv_vec3 high_mm, rlv_vec3 towards, rlv_vec3 up, size_t width,
                             size_t height);

/// The three axes of a picture: right, up and towards the eye, of length one and square to each other (right-handed).
typedef struct rlv_camera_axes
{
    rlv_vec3 right, up, towards;
} rlv_camera_axes;
rlv_camera_axes rlv_camera_axes_of(const rlv_camera* camera);

/// Where a point falls: x and y in pixels from the picture's upper left corner (y downwards), z its height towards the
/// eye above the target, in mm.
rlv_vec3 rlv_camera_project(const rlv_camera* camera, size_t width, size_t height, rlv_vec3 point_mm);

#endif
