// Crowds: fine parts of dense sets are taken out, and nothing else is.

#include "crowd.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

TestSuite(crowd);

// 100 by 80 mm of pixels of 0.2 mm.
enum
{
    WIDE = 500,
    TALL = 400
};
#define PIXEL_MM 0.2

static uint8_t* nothing(void)
{
    uint8_t* in = calloc((size_t)WIDE * TALL, 1);
    cr_assert_not_null(in);
    return in;
}

static void put_disc(uint8_t* in, double x_mm, double y_mm, double radius_mm)
{
    const int reach = (int)ceil(radius_mm / PIXEL_MM) + 1, middle[2] = {(int)(x_mm / PIXEL_MM), (int)(y_mm / PIXEL_MM)};
    for (int y = middle[1] - reach; y <= middle[1] + reach; y++)
        for (int x = middle[0] - reach; x <= middle[0] + reach; x++)
            if (x >= 0 && x < WIDE && y >= 0 && y < TALL &&
                hypot((x + 0.5) * PIXEL_MM - x_mm, (y + 0.5) * PIXEL_MM - y_mm) < radius_mm)
                in[(size_t)y * WIDE + (size_t)x] = 1;
}

static double area_mm2(const uint8_t* in)
{
    size_t count = 0;
    for (size_t p = 0; p < (size_t)WIDE * TALL; p++)
        count += in[p];
    return (double)count * PIXEL_MM * PIXEL_MM;
}

// A field of granules of 0.8 mm, one every 1.2 mm, over half of the picture.
static void pave(uint8_t* in)
{
    for (double y = 1.0; y < 79.0; y += 1.2)
        for (double x = 1.0; x < 50.0; x += 1.2)
            put_disc(in, x, y, 0.4);
}

Test(crowd, granules_of_a_field_are_taken_out_and_a_scute_among_them_stays)
{
    uint8_t* in = nothing();
    bool thinned = false;
    pave(in);
    put_disc(in, 25.0, 40.0, 6.0);
    put_disc(in, 80.0, 40.0, 0.4); // alone, out of the field
    cr_assert_eq(rlv_crowd_thin(WIDE, TALL, in, PIXEL_MM, 1.0, 1.0, &thinned, NULL), RLV_DONE);
    // The scute alone is left of the field: granules that touch its rim may cling to it, as far as the slack of an
    // opening reaches, two pixels; and the granule that is in no crowd.
    const double scute = M_PI * 36.0, rim = 2.0 * M_PI * 6.0 * 2.0 * PIXEL_MM;
    cr_expect_float_eq(area_mm2(in), scute + M_PI * 0.16, rim);
    cr_expect_eq(in[(size_t)(40.0 / PIXEL_MM) * WIDE + (size_t)(80.0 / PIXEL_MM)], 1);
    cr_expect(thinned);
    free(in);
}

// Round granules are wider than what a strip with as much border about as much area would be: nothing else need stand
// among them for them to be seen as granules.
Test(crowd, a_field_of_nothing_but_round_granules_is_thinned)
{
    static const double radius_mm[3] = {0.4, 0.7, 1.0}, step[3] = {2.3, 2.6, 3.0}; // on paper, at 1 : 1; times a radius
    for (int i = 0; i < 9; i++)
    {
        uint8_t* in = nothing();
        bool thinned = false;
        const double radius = radius_mm[i / 3], apart = step[i % 3] * radius;
        for (double y = 2.0; y < 78.0; y += apart)
            for (double x = 2.0; x < 60.0; x += apart)
                put_disc(in, x, y, radius);
        const double before = area_mm2(in);
        cr_assert_eq(rlv_crowd_thin(WIDE, TALL, in, PIXEL_MM, 1.0, 1.0, &thinned, NULL), RLV_DONE);
        cr_expect(thinned, "of %g mm every %g mm", radius, apart);
        cr_expect_eq(area_mm2(in), 0.0, "%g of %g mm2 are left, of %g mm every %g mm", area_mm2(in), before, radius,
                     apart);
        free(in);
    }
}

// A field that the picture's rim cuts is thinned up to it; a bone that it cuts stays whole.
Test(crowd, granules_at_the_rim_are_taken_out_as_those_within_and_a_bone_there_stays)
{
    uint8_t *in = nothing(), *bone = nothing();
    bool thinned = false;
    for (double y = 0.0; y <= 80.0; y += 1.2)
        for (double x = 0.0; x <= 100.0; x += 1.2)
            if (hypot(x, y - 40.0) > 10.8) // none touches the bone
                put_disc(in, x, y, 0.4);
    put_disc(in, 0.0, 40.0, 10.0);
    put_disc(bone, 0.0, 40.0, 10.0);
    cr_assert_eq(rlv_crowd_thin(WIDE, TALL, in, PIXEL_MM, 1.0, 1.0, &thinned, NULL), RLV_DONE);
    size_t left = 0, lost = 0;
    for (size_t p = 0; p < (size_t)WIDE * TALL; p++)
    {
        left += in[p] != 0 && bone[p] == 0;
        lost += in[p] == 0 && bone[p] != 0;
    }
    cr_expect_eq(left, 0);
    cr_expect_eq(lost, 0);
    cr_expect(thinned);
    free(in);
    free(bone);
}

Test(crowd, a_row_of_scutes_and_specks_here_and_there_keep_their_outlines)
{
    uint8_t *in = nothing(), *as_it_was = nothing();
    bool thinned = false;
    for (double x = 5.0; x < 96.0; x += 5.0)
    {
        put_disc(in, x, 20.0, 1.5);
        put_disc(in, x, 30.0, 1.2);
    }
    for (double x = 7.0; x < 96.0; x += 17.0)
        put_disc(in, x, 60.0, 0.3);
    memcpy(as_it_was, in, (size_t)WIDE * TALL);
    cr_assert_eq(rlv_crowd_thin(WIDE, TALL, in, PIXEL_MM, 1.0, 1.0, &thinned, NULL), RLV_DONE);
    cr_expect_eq(memcmp(in, as_it_was, (size_t)WIDE * TALL), 0);
    cr_expect_not(thinned);
    free(in);
    free(as_it_was);
}

Test(crowd, a_straight_edge_is_no_crowd)
{
    uint8_t* in = nothing();
    bool thinned = false;
    for (size_t p = 0; p < (size_t)WIDE * TALL; p++)
        in[p] = p % WIDE < 200;
    cr_assert_eq(rlv_crowd_thin(WIDE, TALL, in, PIXEL_MM, 1.0, 1.0, &thinned, NULL), RLV_DONE);
    cr_expect_float_eq(area_mm2(in), 200.0 * TALL * PIXEL_MM * PIXEL_MM, 1e-9);
    cr_expect_not(thinned);
    free(in);
}

Test(crowd, distances_are_to_the_nearest_border_of_the_same_part)
{
    uint16_t* part = calloc((size_t)WIDE * TALL, sizeof *part);
    float* far = malloc((size_t)WIDE * TALL * sizeof *far);
    cr_assert(part != NULL && far != NULL);
    for (size_t y = 100; y < 301; y++)
        for (size_t x = 100; x < 201; x++)
            part[y * WIDE + x] = x < 180 ? 1 : 2;
    rlv_crowd_distances(WIDE, TALL, part, true, far);
    // 80 pixels wide: the middle ones lie 39.5 from the border on one side, 40.5 less one half on the other.
    cr_expect_float_eq(far[200 * WIDE + 139], 39.5f, 1e-3f);
    cr_expect_float_eq(far[200 * WIDE + 140], 39.5f, 1e-3f);
    cr_expect_float_eq(far[200 * WIDE + 180], 0.5f, 1e-6f);
    cr_expect_eq(far[0], 0.0f);
    // One part over all of the picture: its rim is its border, or there is none.
    for (size_t p = 0; p < (size_t)WIDE * TALL; p++)
        part[p] = 1;
    rlv_crowd_distances(WIDE, TALL, part, true, far);
    cr_expect_eq(far[200 * WIDE], 0.5f);
    rlv_crowd_distances(WIDE, TALL, part, false, far);
    cr_expect_eq(far[200 * WIDE], 1e9f);
    free(part);
    free(far);
}

// Plates 6 mm wide on paper beside scutes of 2.6 mm, all close together: at 1 : 4 the scutes are bones of 10 mm and
// keep their outlines, all of them; at 1 : 1 they are what is fine among the plates.
Test(crowd, small_bones_of_a_reduced_sheet_are_no_specks)
{
    for (int reduced = 0; reduced <= 1; reduced++)
    {
        uint8_t* in = nothing();
        bool thinned = false;
        for (double y = 10.0; y < 72.0; y += 6.4)
            for (double x = 10.0; x < 48.0; x += 6.4)
                put_disc(in, x, y, 3.0);
        const double plates_mm2 = area_mm2(in);
        for (double y = 10.0; y < 72.0; y += 3.4)
            for (double x = 54.0; x < 92.0; x += 3.4)
                put_disc(in, x, y, 1.3);
        const double all_mm2 = area_mm2(in);
        cr_assert_eq(rlv_crowd_thin(WIDE, TALL, in, PIXEL_MM, 1.0, reduced ? 0.25 : 1.0, &thinned, NULL), RLV_DONE);
        cr_expect_eq(thinned, !reduced);
        cr_expect_float_eq(area_mm2(in), reduced ? all_mm2 : plates_mm2, 1e-9, "%g of %g and %g", area_mm2(in), all_mm2,
                           plates_mm2);
        free(in);
    }
}
