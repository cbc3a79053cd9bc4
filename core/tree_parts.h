/// What the spatial index is made of. Private to the files of `tree`.

#ifndef RLV_TREE_PARTS_H
#define RLV_TREE_PARTS_H

#include "tree.h"

#define TREE_WIDTH 8        ///< children of a node, and triangles of a leaf
#define TREE_LEAF_FLOATS 10 ///< floats that a triangle takes in a leaf: nine coordinates and its index
#define TREE_LEAF_BIT 0x80000000u
#define TREE_START_BITS 28    ///< bits of a leaf's first triangle
#define TREE_EMPTY UINT32_MAX ///< no leaf: a reference that the builder never makes
#define TREE_STACK 512        ///< entries of a walk's stack: seven a level, and TREE_LEVELS levels
#define TREE_LEVELS 64        ///< levels at most; below half of that, nodes are split by count

/// A node: the boxes of its children, lower corners and then upper ones, axis by axis. An empty child has its corners
/// at plus and minus infinity, so that no query enters it.
typedef struct tree_node
{
    float bound_mm[6][TREE_WIDTH];
    uint32_t child[TREE_WIDTH]; ///< index of a node, or a leaf: TREE_LEAF_BIT | (count - 1) << 28 | first triangle
} tree_node;

/// The leaves' triangles lie in one array in the order of the leaves. A leaf of n triangles from s on owns the floats
/// from TREE_LEAF_FLOATS * s on: nine runs of n coordinates (corner by corner, axis by axis) and n indices. Reading
/// eight of each run reaches into the next run; the lanes from n on are masked.
struct rlv_tree
{
    float low_mm[3], high_mm[3];
    size_t node_count;
    tree_node* node; ///< the first is the root; of a tree with one leaf as well
    size_t triangle_count;
    float* leaf;
};

static inline uint32_t tree_leaf_of(size_t start, size_t count)
{
    return TREE_LEAF_BIT | (uint32_t)(count - 1) << TREE_START_BITS | (uint32_t)start;
}

static inline unsigned tree_leaf_count(uint32_t leaf)
{
    return (leaf >> TREE_START_BITS & 7u) + 1u;
}

static inline const float* tree_leaf_at(const rlv_tree* tree, uint32_t leaf)
{
    return tree->leaf + (size_t)(leaf & ((1u << TREE_START_BITS) - 1u)) * TREE_LEAF_FLOATS;
}

/// The walks over a block of queries, built once for each instruction set.
typedef struct tree_walks
{
    void (*nearest)(const rlv_tree* tree, size_t count, const float* query_mm, float limit_mm, bool again,
                    rlv_nearest* nearest);
    void (*rays)(const rlv_tree* tree, size_t count, const rlv_ray* ray, rlv_hit* hit);
    void (*blocked)(const rlv_tree* tree, size_t count, const rlv_ray* ray, bool* blocked);
} tree_walks;

extern const tree_walks tree_walks_plain;
#if defined(__x86_64__)
extern const tree_walks tree_walks_avx2;
#endif

#endif
