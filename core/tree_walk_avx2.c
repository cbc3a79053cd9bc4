/// The walks of the spatial index for x86-64 with AVX2. Chosen at run time.

#include "tree_parts.h"

#if defined(__x86_64__)

#include <float.h>
#include <immintrin.h>
#include <math.h>
#include <string.h>

#if defined(__clang__)
#pragma clang attribute push(__attribute__((target("avx2,bmi,bmi2,lzcnt"))), apply_to = function)
#else
#pragma GCC push_options
#pragma GCC target("avx2,bmi,bmi2,lzcnt")
#endif

#define RLV_LANES_AVX2
#define TREE_WALKS tree_walks_avx2
#include "tree_walk.h"

#if defined(__clang__)
#pragma clang attribute pop
#else
#pragma GCC pop_options
#endif

#endif
