#include "order.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

static int rising(const void* a, const void* b)
{
    const float x = *(const float*)a, y = *(const float*)b;
    return (x > y) - (x < y);
}

Test(order, floats_of_any_sign_and_size_stand_as_the_library_s_sort_leaves_them)
{
    enum
    {
        MANY = 50001,
    };
    static float ours[MANY], theirs[MANY], spare[MANY];
    srandom(7);
    for (size_t i = 0; i < MANY; i++)
        ours[i] = theirs[i] = (float)ldexp((double)random() / 1e9 - 1.0, (int)(random() % 200) - 100);
    ours[5] = theirs[5] = INFINITY;
    ours[6] = theirs[6] = -INFINITY;
    ours[7] = theirs[7] = 1e-42f; // below the normal ones
    rlv_order_floats(MANY, ours, spare);
    qsort(theirs, MANY, sizeof *theirs, rising);
    for (size_t i = 0; i < MANY; i++)
        cr_assert(ours[i] == theirs[i], "place %zu: %g for %g", i, (double)ours[i], (double)theirs[i]);
}

Test(order, none_and_one_are_left_as_they_are)
{
    float one[1] = {-3.5f}, spare[1];
    rlv_order_floats(0, one, spare);
    rlv_order_floats(1, one, spare);
    cr_expect(one[0] == -3.5f);
}

Test(order, a_median_has_as_many_below_it_as_above_or_one_more)
{
    double odd[] = {3.0, -1.0, 7.5, 0.0, 2.0}, even[] = {4.0, -2.0, 9.0, 1.0}, one[] = {5.0};
    cr_expect(rlv_median_sorting(5, odd) == 2.0);
    cr_expect(rlv_median_sorting(4, even) == 4.0);
    cr_expect(rlv_median_sorting(1, one) == 5.0);
    for (size_t i = 1; i < 5; i++)
        cr_expect(odd[i - 1] < odd[i], "place %zu", i);
}
