#include "view.h"

#include "cast.h"
#include "lettering.h"
#include "paint.h"

#include <math.h>
#include <string.h>

static rlv_status check(size_t width, size_t height, const rlv_mesh* mesh, const rlv_camera* camera,
                        const rlv_overlay* overlay, rlv_error* error)
{
    if (mesh->triangle_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a mesh with a triangle", "there is nothing to draw");
    if (width == 0 || height == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for at least one pixel", "a picture of %zu by %zu pixels",
                        width, height);
    rlv_vec3 target = camera->target_mm;
    if (!(camera->width_mm > 0.0) || !isfinite(camera->width_mm) || !isfinite(target.x + target.y + target.z))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the camera a target and a positive width",
                        "a camera that spans %g mm", camera->width_mm);
    if (overlay == NULL)
        return RLV_DONE;
    if ((overlay->depth_mm != NULL && overlay->shown == NULL) || !(overlay->deepest_mm >= 0.0) ||
        !isfinite(overlay->deepest_mm))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "say which triangles are shown, and a colour scale from 0 up",
                        "an overlay that cannot be drawn (scale to %g mm)", overlay->deepest_mm);
    return RLV_DONE;
}

rlv_status rlv_view_draw(rlv_picture* picture, size_t width, size_t height, const rlv_mesh* mesh, const rlv_tree* tree,
                         const rlv_camera* camera, const rlv_overlay* overlay, const rlv_view_options* options,
                         rlv_error* error)
{
    memset(picture, 0, sizeof *picture);
    rlv_view_options plain = {0};
    if (options == NULL)
        options = &plain;
    if (overlay != NULL && overlay->depth_mm == NULL)
        overlay = NULL;
    rlv_status status = check(width, height, mesh, camera, overlay, error);
    if (status != RLV_DONE)
        return status;
    double scale = rlv_paper_scale(width, height, camera->width_mm);
    status = rlv_picture_reserve(picture, width, height, scale * camera->width_mm / (double)width, error);

    rlv_cast_light light = {.rays = options->occlusion_rays, .towards = rlv_paint_light(options)};
    rlv_cast cast = {0};
    rlv_paint_seen seen = {0};
    if (status == RLV_DONE)
        status =
            rlv_cast_make(&cast, width, height, rlv_frame_of_page(width, height), mesh, tree, camera, &light, error);
    rlv_paint_pattern pattern = rlv_paint_pattern_of(fmin((double)height, 0.75 * (double)width) / 100.0);
    if (status == RLV_DONE)
        status = rlv_paint(picture, &cast, mesh, tree, overlay, options, &pattern, &seen, error);
    rlv_cast_free(&cast);
    if (status == RLV_DONE)
        status = rlv_letter(picture, camera, overlay, options, &seen, error);
    if (status != RLV_DONE)
        rlv_picture_free(picture);
    return status;
}
