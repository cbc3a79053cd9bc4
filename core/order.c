#include "order.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum
{
    DIGIT_BITS = 11,
    DIGITS = 3, // that hold 32 bits
    VALUES = 1 << DIGIT_BITS,
};

/// A key whose order among unsigned numbers is the float's.
static uint32_t key_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits >> 31 ? ~bits : bits | 0x80000000u;
}

static uint32_t digit_of(uint32_t key, unsigned digit)
{
    return key >> (digit * DIGIT_BITS) & (VALUES - 1);
}

void rlv_order_floats(size_t count, float* value, float* spare)
{
    size_t place[DIGITS][VALUES] = {0};
    for (size_t i = 0; i < count; i++)
        for (unsigned d = 0; d < DIGITS; d++)
            place[d][digit_of(key_of(value[i]), d)]++;
    float *from = value, *into = spare;
    for (unsigned d = 0; d < DIGITS; d++)
    {
        size_t before = 0;
        for (size_t k = 0; k < VALUES; k++)
        {
            const size_t here = place[d][k];
            place[d][k] = before;
            before += here;
        }
        for (size_t i = 0; i < count; i++)
            into[place[d][digit_of(key_of(from[i]), d)]++] = from[i];
        float* swap = from;
        from = into;
        into = swap;
    }
    memcpy(value, from, count * sizeof *value);
}

static int by_size(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return x < y ? -1 : x > y;
}

double rlv_median_sorting(size_t count, double* value)
{
    qsort(value, count, sizeof *value, by_size);
    return value[count / 2];
}
