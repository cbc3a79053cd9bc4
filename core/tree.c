/// The spatial index seen from outside: batches cut into blocks of fixed size, so that the answers do not depend on the
/// thread count, and walked with the widest instructions that the machine has.

#include "tree_parts.h"

#include <math.h>
#include <stdlib.h>

#define TREE_BLOCK 1024 ///< queries of a block; the first of each starts without a seed

void rlv_tree_free(rlv_tree* tree)
{
    if (tree == NULL)
        return;
    free(tree->node);
    free(tree->leaf);
    free(tree);
}

size_t rlv_tree_bytes(const rlv_tree* tree)
{
    return sizeof *tree + tree->node_count * sizeof *tree->node +
           (tree->triangle_count * TREE_LEAF_FLOATS + TREE_WIDTH) * sizeof *tree->leaf;
}

static const tree_walks* walks(void)
{
#if defined(__x86_64__)
    if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi2"))
        return &tree_walks_avx2;
#endif
    return &tree_walks_plain;
}

static size_t block_count(size_t count)
{
    return (count + TREE_BLOCK - 1) / TREE_BLOCK;
}

static size_t block_size(size_t count, size_t block)
{
    size_t left = count - block * TREE_BLOCK;
    return left < TREE_BLOCK ? left : TREE_BLOCK;
}

static void find_nearest(const rlv_tree* tree, size_t count, const float* query_mm, float limit_mm, bool again,
                         rlv_nearest* nearest)
{
    const tree_walks* walk = walks();
    size_t blocks = block_count(count);
#pragma omp parallel for schedule(dynamic) if (blocks > 1)
    for (size_t b = 0; b < blocks; b++)
        walk->nearest(tree, block_size(count, b), query_mm + 3 * b * TREE_BLOCK, limit_mm, again,
                      nearest + b * TREE_BLOCK);
}

void rlv_tree_nearest(const rlv_tree* tree, size_t count, const float* query_mm, float limit_mm, rlv_nearest* nearest)
{
    find_nearest(tree, count, query_mm, limit_mm, false, nearest);
}

rlv_nearest* rlv_nearest_reserve(size_t count, rlv_error* error)
{
    rlv_nearest* nearest = rlv_reserve(count, sizeof *nearest, error);
    for (size_t i = 0; nearest != NULL && i < count; i++)
        nearest[i].triangle = RLV_TREE_NONE;
    return nearest;
}

void rlv_tree_nearest_again(const rlv_tree* tree, size_t count, const float* query_mm, float limit_mm,
                            rlv_nearest* nearest)
{
    find_nearest(tree, count, query_mm, limit_mm, true, nearest);
}

void rlv_tree_rays(const rlv_tree* tree, size_t count, const rlv_ray* ray, rlv_hit* hit)
{
    const tree_walks* walk = walks();
    size_t blocks = block_count(count);
#pragma omp parallel for schedule(dynamic) if (blocks > 1)
    for (size_t b = 0; b < blocks; b++)
        walk->rays(tree, block_size(count, b), ray + b * TREE_BLOCK, hit + b * TREE_BLOCK);
}

void rlv_tree_blocked(const rlv_tree* tree, size_t count, const rlv_ray* ray, bool* blocked)
{
    const tree_walks* walk = walks();
    size_t blocks = block_count(count);
#pragma omp parallel for schedule(dynamic) if (blocks > 1)
    for (size_t b = 0; b < blocks; b++)
        walk->blocked(tree, block_size(count, b), ray + b * TREE_BLOCK, blocked + b * TREE_BLOCK);
}
