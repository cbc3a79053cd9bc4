// Steps: the place that a region of change is told by.

#include "history_parts.h"

#include <criterion/criterion.h>

TestSuite(history_steps);

enum
{
    SIDE = 30 ///< cells of a plate, of 1 mm
};

Test(history_steps, the_place_of_a_bent_region_lies_in_it_as_near_to_its_centroid_as_it_comes)
{
    static float position[3 * (SIDE + 1) * (SIDE + 1)];
    static uint32_t corner[6 * SIDE * SIDE];
    static uint16_t label[2 * SIDE * SIDE];
    for (uint32_t i = 0; i < (SIDE + 1) * (SIDE + 1); i++)
    {
        position[3 * i] = (float)(i % (SIDE + 1));
        position[3 * i + 1] = (float)(i / (SIDE + 1));
    }
    for (uint32_t i = 0; i < SIDE * SIDE; i++)
    {
        const uint32_t a = i / SIDE * (SIDE + 1) + i % SIDE, x = i % SIDE, y = i / SIDE;
        const uint32_t two[6] = {a, a + 1, a + SIDE + 2, a, a + SIDE + 2, a + SIDE + 1};
        for (uint32_t k = 0; k < 6; k++)
            corner[6 * i + k] = two[k];
        // A frame of 5 mm, open on the right, about nothing; beside it no triangle is of the second region.
        label[2 * i] = label[2 * i + 1] = x < 5 || y < 5 || y >= SIDE - 5;
    }
    const rlv_mesh mesh = {.vertex_count = (SIDE + 1) * (SIDE + 1),
                           .triangle_count = 2 * SIDE * SIDE,
                           .position_mm = position,
                           .corner = corner};
    rlv_change_region region[2] = {{.centroid_mm = {11.0, 15.0, 0.0}}, {.centroid_mm = {40.0, 1.0, 2.0}}};
    const rlv_change change = {.region_count = 2, .region = region, .before_label = label};
    rlv_vec3 place[2];
    history_region_places(place, &change, &mesh);
    // The left bar is nearest: middles of its last triangles lie a third of a cell from its edge at x = 5.
    cr_expect_float_eq(place[0].x, 5.0 - 1.0 / 3.0, 1e-5);
    cr_expect_float_eq(place[0].y, 15.0, 1.0);
    cr_expect_eq(place[1].x, 40.0);
}
