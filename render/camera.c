#include "camera.h"

#include "section.h"

#include <stdbool.h>

// Shares of the page. The page's unit is a hundredth of its height, or of three quarters of its width where that is
// less.
#define MARGIN 5.0
#define HEAD 11.5
#define FOOT 19.0
#define BREATHING 0.04 // of the frame, left free on each side of the box

rlv_frame rlv_frame_of_page(size_t width, size_t height)
{
    double unit = fmin((double)height, 0.75 * (double)width) / 100.0;
    return (rlv_frame){MARGIN * unit, HEAD * unit, (double)width - MARGIN * unit, (double)height - FOOT * unit};
}

static bool is_finite(rlv_vec3 a)
{
    return isfinite(a.x) && isfinite(a.y) && isfinite(a.z);
}

rlv_camera_axes rlv_camera_axes_of(const rlv_camera* camera)
{
    rlv_plane plane = rlv_plane_facing(camera->target_mm, camera->towards, camera->up);
    return (rlv_camera_axes){plane.right, plane.up, rlv_vec3_cross(plane.right, plane.up)};
}

rlv_vec3 rlv_camera_project(const rlv_camera* camera, size_t width, size_t height, rlv_vec3 point_mm)
{
    rlv_camera_axes axes = rlv_camera_axes_of(camera);
    rlv_vec3 from = rlv_vec3_sub(point_mm, camera->target_mm);
    double pixels_a_mm = (double)width / camera->width_mm;
    return (rlv_vec3){0.5 * (double)width + pixels_a_mm * rlv_vec3_dot(from, axes.right),
                      0.5 * (double)height - pixels_a_mm * rlv_vec3_dot(from, axes.up),
                      rlv_vec3_dot(from, axes.towards)};
}

// Half of what the box spans along a direction.
static double half_span(rlv_vec3 half, rlv_vec3 along)
{
    return half.x * fabs(along.x) + half.y * fabs(along.y) + half.z * fabs(along.z);
}

rlv_camera rlv_camera_of_box(rlv_vec3 low_mm, rlv_vec3 high_mm, rlv_vec3 towards, rlv_vec3 up, size_t width,
                             size_t height)
{
    rlv_camera camera = {rlv_vec3_of(0, 0, 0), towards, up, 1.0};
    rlv_camera_axes axes = rlv_camera_axes_of(&camera);
    camera.towards = axes.towards;
    camera.up = axes.up;
    rlv_vec3 size = rlv_vec3_sub(high_mm, low_mm);
    if (width == 0 || height == 0 || !is_finite(low_mm) || !is_finite(size))
        return camera;

    rlv_vec3 half = rlv_vec3_scale((rlv_vec3){fabs(size.x), fabs(size.y), fabs(size.z)}, 0.5);
    rlv_frame frame = rlv_frame_of_page(width, height);
    double share = 1.0 - 2.0 * BREATHING;
    double mm_a_pixel = fmax(2.0 * half_span(half, axes.right) / (share * (frame.right - frame.left)),
                             2.0 * half_span(half, axes.up) / (share * (frame.bottom - frame.top)));
    if (!(mm_a_pixel > 0.0) || !isfinite(mm_a_pixel))
        mm_a_pixel = 1.0 / (double)width;
    camera.width_mm = mm_a_pixel * (double)width;

    // The box's middle goes to the frame's middle, which is not the picture's.
    double off_right = 0.5 * (double)width - 0.5 * (frame.left + frame.right);
    double off_up = 0.5 * (frame.top + frame.bottom) - 0.5 * (double)height;
    rlv_vec3 middle = rlv_vec3_along(low_mm, 0.5, size);
    camera.target_mm =
        rlv_vec3_along(rlv_vec3_along(middle, off_right * mm_a_pixel, axes.right), off_up * mm_a_pixel, axes.up);
    return camera;
}
