// Elements and expected places on a panel: shadows of ellipsoids, what the surface hides, and what the key says of it.

#include "panel_parts.h"
#include "support/table_top.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

TestSuite(panel_bodies);

// A level square of 40 mm, at 1 : 2.
static void lay(table_top* t, const rlv_camera_axes* axes)
{
    table_top_lay(t, 40.0, axes, 0.5, 30.0);
}

Test(panel_bodies, the_shadow_of_an_ellipsoid_is_round_all_its_points_and_touched_by_the_farthest)
{
    // An ellipsoid whose covariance is L L', and its points: at + sqrt(radius2) L u for unit vectors u. Seen askew.
    const double lower[9] = {3.0, 0.0, 0.0, 1.5, 2.0, 0.0, -0.8, 0.6, 1.2}, radius2 = 7.8;
    const rlv_vec3 at = {12.0, 25.0, 3.0}, towards = rlv_vec3_unit(rlv_vec3_of(0.3, -0.5, 0.8));
    const rlv_vec3 right = rlv_vec3_across(towards);
    const rlv_camera_axes axes = {right, rlv_vec3_cross(towards, right), towards};
    double covariance[9], shadow[PANEL_STEPS][2], farthest[PANEL_STEPS];
    table_top t;
    lay(&t, &axes);
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
        {
            covariance[3 * i + k] = 0.0;
            for (int j = 0; j < 3; j++)
                covariance[3 * i + k] += lower[3 * i + j] * lower[3 * k + j];
        }
    const rlv_panel_expected of = {.at_mm = at, .covariance_mm2 = covariance, .radius2 = radius2};
    panel_shadow(&t.panel, &of, shadow);
    for (int k = 0; k < PANEL_STEPS; k++)
        farthest[k] = -INFINITY;
    for (int i = 0; i < 200; i++)
        for (int j = 0; j < 200; j++)
        {
            double z = -1.0 + 2.0 * (i + 0.5) / 200.0, turn = 2.0 * M_PI * j / 200.0, r = sqrt(1.0 - z * z);
            const double u[3] = {r * cos(turn), r * sin(turn), z};
            double off[3];
            for (int k = 0; k < 3; k++)
                off[k] = sqrt(radius2) * (lower[3 * k] * u[0] + lower[3 * k + 1] * u[1] + lower[3 * k + 2] * u[2]);
            rlv_vec3 place = rlv_panel_place(&t.panel.view, rlv_vec3_add(at, rlv_vec3_of(off[0], off[1], off[2])));
            for (int k = 0; k < PANEL_STEPS; k++)
            {
                double angle = 2.0 * M_PI * k / PANEL_STEPS;
                farthest[k] = fmax(farthest[k], place.x * cos(angle) + place.y * sin(angle));
            }
        }
    for (int k = 0; k < PANEL_STEPS; k++)
    {
        double angle = 2.0 * M_PI * k / PANEL_STEPS;
        double x = shadow[k][0] - 0.5 * t.panel.width_mm, y = 0.5 * t.panel.height_mm - shadow[k][1];
        // Points lie up to 1.2 degrees from the farthest: 1 - cos, of half axes of up to 5 mm on paper.
        cr_expect_geq(x * cos(angle) + y * sin(angle), farthest[k] - 1e-9);
        cr_expect_leq(x * cos(angle) + y * sin(angle), farthest[k] + 3e-3);
    }
    table_top_clear(&t);
}

static bool has_entry(const rlv_key* key, const char* words)
{
    for (size_t i = 0; i < key->count; i++)
        if (strncmp(key->entry[i].words, words, strlen(words)) == 0)
            return true;
    return false;
}

Test(panel_bodies, an_element_that_the_surface_hides_is_told_as_hidden_and_not_by_its_state)
{
    const rlv_vec3 over[3] = {{10, 10, 0.1}, {20, 10, 0.1}, {15, 20, 0.1}},
                   under[3] = {{10, 10, -9}, {20, 10, -9}, {15, 20, -9}};
    const rlv_vec3 life = {30, 30, 0};
    const rlv_panel_area area[2] = {
        {.ring_count = 3, .ring_mm = over, .state = RLV_SHIFTED, .label = "LL07"},
        {.ring_count = 3, .ring_mm = under, .state = RLV_INVERTED, .label = "LL08", .life_mm = &life}};
    const rlv_panel_marks marks = {.area_count = 2, .area = area};
    table_top t;
    rlv_key key = {0}, most = {0};
    lay(&t, &table_top_from_above);
    rlv_panel_key(&key, &t.panel, &marks);
    cr_expect(has_entry(&key, "shifted"));
    cr_expect(has_entry(&key, "element that is hidden"));
    cr_expect_not(has_entry(&key, "inverted"));
    cr_expect_not(has_entry(&key, "from a life position"));
    rlv_panel_key_most(&most, &t.surface, &marks);
    cr_expect(has_entry(&most, "inverted"));
    cr_expect(has_entry(&most, "from a life position"));
    cr_expect_eq(most.count, 4);
    table_top_clear(&t);
}

Test(panel_bodies, the_key_tells_expected_places_and_corridors_only_where_they_are)
{
    const double covariance[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    const rlv_panel_expected expected[2] = {
        {.at_mm = {20, 20, 0}, .covariance_mm2 = covariance, .radius2 = 7.8, .label = "LL 3?"},
        {.at_mm = {25, 20, 0}, .covariance_mm2 = covariance, .radius2 = 7.8, .corridor = true}};
    table_top t;
    lay(&t, &table_top_from_above);
    rlv_key key = {0};
    rlv_panel_key(&key, &t.panel, &(rlv_panel_marks){.expected_count = 1, .expected = expected});
    cr_expect_eq(key.count, 1);
    cr_expect(has_entry(&key, "place (pl.) without an element"));
    key.count = 0;
    rlv_panel_key(&key, &t.panel, &(rlv_panel_marks){.expected_count = 2, .expected = expected});
    cr_expect_eq(key.count, 2);
    cr_expect(has_entry(&key, "beyond a row’s last element"));
    table_top_clear(&t);
}

Test(panel_bodies, what_lies_off_its_row_is_looked_up_in_the_table_of_free_places_where_there_is_one)
{
    const double covariance[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    const rlv_vec3 ring[3] = {{10, 10, 0.1}, {20, 10, 0.1}, {15, 20, 0.1}};
    const rlv_panel_area area = {.ring_count = 3, .ring_mm = ring, .state = RLV_UNASSIGNED, .open = RLV_OPEN_OFF_ROW};
    const rlv_panel_expected expected = {.at_mm = {20, 20, 0}, .covariance_mm2 = covariance, .radius2 = 7.8};
    rlv_panel_marks marks = {.area_count = 1, .area = &area};
    table_top t;
    lay(&t, &table_top_from_above);
    rlv_key key = {0};
    rlv_panel_key(&key, &t.panel, &marks);
    cr_expect(has_entry(&key, "off its row: moved, from which place is not sure"));
    marks.expected_count = 1;
    marks.expected = &expected;
    key.count = 0;
    rlv_panel_key(&key, &t.panel, &marks);
    cr_expect(has_entry(&key, "off its row: moved, from which place is not sure (see the table)"));
    table_top_clear(&t);
}

Test(panel_bodies, a_curve_that_is_carried_on_is_drawn_and_explained_apart_and_once)
{
    const rlv_vec3 at[4] = {{5, 5, 0}, {10, 5, 0}, {20, 5, 0}, {30, 5, 0}};
    const rlv_panel_curve curve[3] = {
        {2, at + 1, false, "body axis"}, {2, at, true, NULL}, {2, at + 2, true, "beyond"}};
    table_top t;
    lay(&t, &table_top_from_above);
    rlv_key key = {0};
    rlv_panel_key(&key, &t.panel, &(rlv_panel_marks){.curve_count = 3, .curve = curve});
    cr_expect_eq(key.count, 2);
    cr_expect(has_entry(&key, "body axis") && has_entry(&key, "beyond"));
    cr_expect_eq(key.entry[1].stroke.dash, RLV_DASH_EVEN);
    cr_expect_lt(key.entry[1].stroke.line_mm, key.entry[0].stroke.line_mm);
    table_top_clear(&t);
}

Test(panel_bodies, the_extent_of_an_element_is_at_the_scale_of_its_panel)
{
    const rlv_vec3 ring[4] = {{2, 2, 0.1}, {38, 2, 0.1}, {38, 38, 0.1}, {2, 38, 0.1}};
    const rlv_panel_area area = {.ring_count = 4, .ring_mm = ring, .label = "D01"};
    table_top t;
    double middle[2], half[2];
    lay(&t, &table_top_from_above);
    panel_area_extent(&t.panel, &area, middle, half);
    cr_expect_float_eq(middle[0], 0.5 * t.panel.width_mm, 1e-6);
    cr_expect_float_eq(half[0], 9.0, 1e-6); // 18 mm at 1 : 2
    table_top_clear(&t);
}

Test(panel_bodies, of_a_set_of_triangles_those_stay_that_no_area_holds_or_nears)
{
    // Triangles 0.2 mm small in a row along x, at a height that does not matter from above.
    enum
    {
        COUNT = 40
    };
    float at[9 * COUNT];
    uint32_t corner[3 * COUNT];
    uint8_t set[COUNT];
    for (int i = 0; i < COUNT; i++)
        for (int k = 0; k < 3; k++)
        {
            at[9 * i + 3 * k] = (float)i + (k == 1 ? 0.2f : 0.0f);
            at[9 * i + 3 * k + 1] = 5.0f + (k == 2 ? 0.2f : 0.0f);
            at[9 * i + 3 * k + 2] = (float)i;
            corner[3 * i + k] = (uint32_t)(3 * i + k);
            set[i] = i != 37;
        }
    const rlv_mesh mesh = {.vertex_count = 3 * COUNT, .triangle_count = COUNT, .position_mm = at, .corner = corner};
    // A hook, open to the right: x from 10 to 20, but from 14 on its middle is out of it.
    const rlv_vec3 ring[8] = {{10, 0, 0}, {20, 0, 0}, {20, 2, 0},  {14, 2, 0},
                              {14, 8, 0}, {20, 8, 0}, {20, 10, 0}, {10, 10, 0}};
    const rlv_panel_area area = {.ring_count = 8, .ring_mm = ring};
    cr_assert_eq(rlv_panel_leave_areas(set, &mesh, &table_top_from_above, 1, &area, 2.0, NULL), RLV_DONE);
    for (int i = 0; i < COUNT; i++)
        cr_expect_eq(set[i] != 0, i != 37 && !(i >= 8 && i < 16), "%d mm", i);
}
