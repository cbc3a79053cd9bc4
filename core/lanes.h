/// Eight or four floats at once, in the compiler's vector types: arithmetic and comparison are the operators of C. What
/// those lack is here: minimum, maximum, selection and masks. No operation rounds differently on another machine.
///
/// Include it after the target options of the file are set: on x86 the definitions follow them.

#ifndef RLV_LANES_H
#define RLV_LANES_H

#include <stdint.h>
#include <string.h>

#if defined(__x86_64__)
#include <immintrin.h>
#endif

typedef float lanes __attribute__((vector_size(32)));
typedef int32_t lane_masks __attribute__((vector_size(32)));
typedef float quad __attribute__((vector_size(16)));
typedef int32_t quad_masks __attribute__((vector_size(16)));

#define LANES_INLINE static inline __attribute__((always_inline))

#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC diagnostic ignored "-Wpsabi" // all is inlined: no vector is ever passed between files
#endif

LANES_INLINE lanes lanes_load(const float* at)
{
    lanes value;
    memcpy(&value, at, sizeof value);
    return value;
}

LANES_INLINE lanes lanes_all(float value)
{
    return (lanes){value, value, value, value, value, value, value, value};
}

LANES_INLINE lanes lanes_select(lane_masks mask, lanes yes, lanes no)
{
    return (lanes)((mask & (lane_masks)yes) | (~mask & (lane_masks)no));
}

#if defined(__x86_64__)

LANES_INLINE quad quad_min(quad a, quad b)
{
    return (quad)_mm_min_ps((__m128)a, (__m128)b);
}

LANES_INLINE quad quad_max(quad a, quad b)
{
    return (quad)_mm_max_ps((__m128)a, (__m128)b);
}

/// Towards zero. Lanes that no int holds come out as INT32_MIN.
LANES_INLINE quad_masks quad_whole(quad a)
{
    return (quad_masks)_mm_cvttps_epi32((__m128)a);
}

#if defined(RLV_LANES_AVX2)

LANES_INLINE lanes lanes_min(lanes a, lanes b)
{
    return (lanes)_mm256_min_ps((__m256)a, (__m256)b);
}

LANES_INLINE lanes lanes_max(lanes a, lanes b)
{
    return (lanes)_mm256_max_ps((__m256)a, (__m256)b);
}

/// One bit a lane.
LANES_INLINE unsigned lanes_bits(lane_masks mask)
{
    return (unsigned)_mm256_movemask_ps((__m256)mask);
}

#else

typedef union lane_halves
{
    lanes whole;
    __m128 half[2];
} lane_halves;

LANES_INLINE lanes lanes_min(lanes a, lanes b)
{
    lane_halves x = {a}, y = {b};
    x.half[0] = _mm_min_ps(x.half[0], y.half[0]);
    x.half[1] = _mm_min_ps(x.half[1], y.half[1]);
    return x.whole;
}

LANES_INLINE lanes lanes_max(lanes a, lanes b)
{
    lane_halves x = {a}, y = {b};
    x.half[0] = _mm_max_ps(x.half[0], y.half[0]);
    x.half[1] = _mm_max_ps(x.half[1], y.half[1]);
    return x.whole;
}

LANES_INLINE unsigned lanes_bits(lane_masks mask)
{
    lane_halves x = {(lanes)mask};
    return (unsigned)_mm_movemask_ps(x.half[0]) | (unsigned)_mm_movemask_ps(x.half[1]) << 4;
}

#endif
#else

/// As on x86: the second where one is not a number.
LANES_INLINE quad quad_min(quad a, quad b)
{
    quad_masks less = a < b;
    return (quad)((less & (quad_masks)a) | (~less & (quad_masks)b));
}

LANES_INLINE quad quad_max(quad a, quad b)
{
    quad_masks more = a > b;
    return (quad)((more & (quad_masks)a) | (~more & (quad_masks)b));
}

LANES_INLINE quad_masks quad_whole(quad a)
{
    quad_masks whole;
    for (int i = 0; i < 4; i++)
        whole[i] = a[i] > -2147483648.0f && a[i] < 2147483648.0f ? (int32_t)a[i] : INT32_MIN;
    return whole;
}

LANES_INLINE lanes lanes_min(lanes a, lanes b)
{
    return lanes_select(a < b, a, b);
}

LANES_INLINE lanes lanes_max(lanes a, lanes b)
{
    return lanes_select(a > b, a, b);
}

LANES_INLINE unsigned lanes_bits(lane_masks mask)
{
    lane_masks bit = mask & (lane_masks){1, 2, 4, 8, 16, 32, 64, 128};
    return (unsigned)(bit[0] | bit[1] | bit[2] | bit[3] | bit[4] | bit[5] | bit[6] | bit[7]);
}

#endif
#endif
