#include "patch.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#define WIDE 40
#define HIGH 30
static const size_t size[2] = {WIDE, HIGH};

static void fill(uint8_t* mask, size_t x0, size_t y0, size_t x1, size_t y1, uint8_t value)
{
    for (size_t y = y0; y < y1; y++)
        for (size_t x = x0; x < x1; x++)
            mask[y * WIDE + x] = value;
}

static size_t count_of(const uint8_t* mask)
{
    size_t count = 0;
    for (size_t i = 0; i < WIDE * HIGH; i++)
        count += mask[i];
    return count;
}

/// Twice the area that a walk through points encloses, positive where it goes counter-clockwise.
static double turning(const size_t* index, size_t count)
{
    double sum = 0.0;
    for (size_t k = 0; k < count; k++)
    {
        size_t a = index[k], b = index[(k + 1) % count];
        sum += (double)(a % WIDE) * (double)(b / WIDE) - (double)(b % WIDE) * (double)(a / WIDE);
    }
    return sum;
}

Test(patch, the_largest_or_the_nearest_part_is_kept_and_corners_do_not_join)
{
    uint8_t mask[WIDE * HIGH] = {0}, other[WIDE * HIGH];
    fill(mask, 2, 2, 10, 10, 1);
    fill(mask, 10, 10, 15, 15, 1); // touches the first at a corner only
    memcpy(other, mask, sizeof mask);
    cr_assert_eq(patch_keep(mask, size, PATCH_LARGEST, NULL), RLV_DONE);
    cr_expect_eq(count_of(mask), 64);
    cr_expect_eq(mask[3 * WIDE + 3], 1);
    cr_assert_eq(patch_keep(other, size, 20 * WIDE + 20, NULL), RLV_DONE);
    cr_expect_eq(count_of(other), 25);
    cr_expect_eq(other[12 * WIDE + 12], 1);
}

Test(patch, the_outline_of_a_box_goes_around_it_and_past_a_hole)
{
    uint8_t mask[WIDE * HIGH] = {0};
    size_t index[68];
    fill(mask, 5, 4, 25, 18, 1);
    fill(mask, 10, 8, 14, 12, 0);
    // The walk is around the points' cells: 2 (20 + 14) steps, and every one of them is asked for.
    cr_assert_eq(patch_outline(mask, size, 68, index, NULL), RLV_DONE);
    for (size_t k = 0; k < 68; k++)
    {
        size_t x = index[k] % WIDE, y = index[k] / WIDE;
        cr_expect(x == 5 || x == 24 || y == 4 || y == 17);
        cr_expect(mask[index[k]] == 1);
    }
    cr_expect_float_eq(turning(index, 68), 2.0 * 19 * 13, 1e-9); // through the middles of the outer cells
}

Test(patch, an_outline_comes_back_out_of_a_pinch)
{
    uint8_t mask[WIDE * HIGH] = {0};
    size_t index[20];
    fill(mask, 5, 5, 12, 12, 1);
    mask[5 * WIDE + 5] = 0;
    mask[6 * WIDE + 6] = 0; // a notch that meets the clear corner at a corner
    cr_assert_eq(patch_outline(mask, size, 20, index, NULL), RLV_DONE);
    cr_expect_gt(turning(index, 20), 0.0);
    for (size_t k = 0; k < 20; k++)
        cr_expect_eq(mask[index[k]], 1);
}

Test(patch, an_empty_mask_has_no_outline)
{
    uint8_t mask[WIDE * HIGH] = {0};
    size_t index[4];
    rlv_error error = {0};
    cr_assert_eq(patch_keep(mask, size, PATCH_LARGEST, NULL), RLV_DONE);
    cr_expect_eq(patch_outline(mask, size, 4, index, &error), RLV_IMPOSSIBLE);
}
