// The camera: it holds what it is asked to hold, keeps lengths, and never answers with no number.

#include "camera.h"

#include <criterion/criterion.h>

TestSuite(camera);

static bool is_number(const rlv_camera* camera)
{
    rlv_camera_axes axes = rlv_camera_axes_of(camera);
    double all = camera->target_mm.x + camera->target_mm.y + camera->target_mm.z + axes.right.x + axes.right.y +
                 axes.right.z + axes.up.x + axes.up.y + axes.up.z + axes.towards.x + axes.towards.y + axes.towards.z;
    return isfinite(all) && camera->width_mm > 0.0 && isfinite(camera->width_mm);
}

static void expect_square(const rlv_camera* camera)
{
    rlv_camera_axes axes = rlv_camera_axes_of(camera);
    cr_expect_float_eq(rlv_vec3_length(axes.right), 1.0, 1e-12);
    cr_expect_float_eq(rlv_vec3_length(axes.up), 1.0, 1e-12);
    cr_expect_float_eq(rlv_vec3_dot(axes.right, axes.up), 0.0, 1e-12);
    cr_expect_float_eq(rlv_vec3_dot(rlv_vec3_cross(axes.right, axes.up), axes.towards), 1.0, 1e-12);
}

Test(camera, holds_the_box_inside_the_frame_from_every_side)
{
    rlv_vec3 low = {1000.0, -20.0, 5.0}, high = {1300.0, 90.0, 65.0};
    const size_t size[3][2] = {{1920, 1440}, {900, 1600}, {200, 200}};
    for (int s = 0; s < 3; s++)
        for (int way = 0; way < 27; way++)
        {
            rlv_vec3 towards = {way % 3 - 1.0, way / 3 % 3 - 1.0, way / 9 - 1.0};
            size_t w = size[s][0], h = size[s][1];
            rlv_camera camera = rlv_camera_of_box(low, high, towards, rlv_vec3_of(0, 0, 1), w, h);
            rlv_frame frame = rlv_frame_of_page(w, h);
            cr_assert(is_number(&camera));
            double least_slack = INFINITY;
            for (int corner = 0; corner < 8; corner++)
            {
                rlv_vec3 p = {corner & 1 ? high.x : low.x, corner & 2 ? high.y : low.y, corner & 4 ? high.z : low.z};
                rlv_vec3 at = rlv_camera_project(&camera, w, h, p);
                least_slack = fmin(fmin(least_slack, fmin(at.x - frame.left, frame.right - at.x)),
                                   fmin(at.y - frame.top, frame.bottom - at.y));
            }
            cr_expect_gt(least_slack, 0.0);
            // And no smaller than it must be: some side comes within a tenth of the frame of its edge.
            cr_expect_lt(least_slack, 0.1 * fmax(frame.right - frame.left, frame.bottom - frame.top));
        }
}

Test(camera, keeps_lengths_along_the_picture)
{
    rlv_camera camera = rlv_camera_of_box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(100, 80, 60), rlv_vec3_of(1, 2, 3),
                                          rlv_vec3_of(0, 0, 1), 1200, 900);
    rlv_camera_axes axes = rlv_camera_axes_of(&camera);
    rlv_vec3 from = {10, 20, 30};
    rlv_vec3 a = rlv_camera_project(&camera, 1200, 900, from);
    rlv_vec3 b = rlv_camera_project(&camera, 1200, 900, rlv_vec3_along(from, 25.0, axes.right));
    rlv_vec3 c = rlv_camera_project(&camera, 1200, 900, rlv_vec3_along(from, 25.0, axes.up));
    double expected = 25.0 * 1200.0 / camera.width_mm;
    cr_expect_float_eq(b.x - a.x, expected, 1e-9);
    cr_expect_float_eq(a.y - c.y, expected, 1e-9);
    cr_expect_float_eq(b.y - a.y, 0.0, 1e-9);
}

Test(camera, up_along_towards_is_replaced)
{
    const rlv_vec3 way[4] = {{0, 0, 1}, {0, 0, -2}, {1, 0, 0}, {1, 1, 1}};
    for (int i = 0; i < 4; i++)
    {
        rlv_camera camera = rlv_camera_of_box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(1, 1, 1), way[i], way[i], 100, 100);
        cr_expect(is_number(&camera));
        expect_square(&camera);
    }
}

Test(camera, nothing_degenerate_gives_no_number)
{
    const double odd[] = {0.0, NAN, INFINITY, -INFINITY, 1e-300, 1e300};
    for (size_t i = 0; i < 6; i++)
        for (size_t j = 0; j < 6; j++)
        {
            rlv_vec3 a = {odd[i], odd[j], 0.0}, b = {odd[j], 0.0, odd[i]};
            rlv_camera one = rlv_camera_of_box(a, b, rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0), 640, 480);
            rlv_camera two = rlv_camera_of_box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(1, 2, 3), a, b, 640, 480);
            cr_expect(is_number(&one), "box %g %g", odd[i], odd[j]);
            cr_expect(is_number(&two), "ways %g %g", odd[i], odd[j]);
            expect_square(&two);
        }
    rlv_camera point = rlv_camera_of_box(rlv_vec3_of(7, 7, 7), rlv_vec3_of(7, 7, 7), rlv_vec3_of(0, 0, 1),
                                         rlv_vec3_of(0, 1, 0), 640, 480);
    cr_expect(is_number(&point));
    rlv_camera none =
        rlv_camera_of_box(rlv_vec3_of(0, 0, 0), rlv_vec3_of(1, 1, 1), rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0), 0, 0);
    cr_expect(is_number(&none));
}
