/// The walk of the spatial index for rays that are asked in bundles. Private to the files of `tree`.
///
/// A bundle is first held against boxes as one thick ray, by interval arithmetic (S. Boulos, I. Wald, P. Shirley,
/// Geometric and arithmetic culling methods for entire ray packets, University of Utah 2006), then ray by ray, eight
/// rays at once. Where few of its rays are left they go on alone, each against eight boxes at once (C. Benthin et al.,
/// Combining single and packet-ray tracing for arbitrary ray distributions on the Intel MIC architecture, IEEE TVCG
/// 18(9), 2012).

#define BUNDLE 64    ///< rays of a bundle, at most
#define BUNDLE_FEW 8 ///< so many go on alone

/// Rays of one octant, that is, with the same signs of direction: they meet a box's planes in the same order.
typedef struct ray_bundle
{
    _Alignas(64) float near_origin[3][BUNDLE]; ///< whole lines of the cache: every box is held against them
    float far_origin[3][BUNDLE], near_inverse[3][BUNDLE], far_inverse[3][BUNDLE], limit[BUNDLE];
    ray_boxes thick; ///< what bounds all of them
    float thick_limit;
    unsigned count;
    uint64_t open; ///< open: one bit a ray, that it has met nothing yet
    ray_walk ray[BUNDLE];
    size_t query[BUNDLE]; ///< which of the queries each is
} ray_bundle;

typedef struct bundle_entry
{
    uint64_t rays; ///< one bit for each that meets its box
    uint32_t child;
    float key; ///< where the thick ray enters it
} bundle_entry;

typedef struct bundle_stack
{
    unsigned top;
    bundle_entry entry[TREE_STACK];
} bundle_stack;

static inline unsigned ray_octant(const ray_boxes* ray)
{
    const unsigned* near = ray->near_plane;
    return (unsigned)(near[0] > 2) | (unsigned)(near[1] > 2) << 1 | (unsigned)(near[2] > 2) << 2;
}

/// Write a ray into the bundle's lanes.
LANES_INLINE void bundle_lay(ray_bundle* bundle, unsigned k, const ray_walk* ray)
{
    const ray_boxes* boxes = &ray->boxes;
    for (unsigned i = 0; i < 3; i++)
    {
        bundle->near_origin[i][k] = boxes->near_origin[i];
        bundle->far_origin[i][k] = boxes->far_origin[i];
        bundle->near_inverse[i][k] = boxes->near_inverse[i];
        bundle->far_inverse[i][k] = boxes->far_inverse[i];
    }
    bundle->limit[k] = ray->best;
}

/// The least, or the greatest, of a value of all rays.
LANES_INLINE float bundle_bound(const float value[BUNDLE], bool greatest)
{
    lanes bound = lanes_load(value);
    for (unsigned k = TREE_WIDTH; k < BUNDLE; k += TREE_WIDTH)
    {
        lanes more = lanes_load(value + k);
        bound = greatest ? lanes_max(bound, more) : lanes_min(bound, more);
    }
    float one = bound[0];
    for (unsigned k = 1; k < TREE_WIDTH; k++)
        one = greatest ? greater(one, bound[k]) : lesser(one, bound[k]);
    return one;
}

/// Bound all rays: a plane is met the earlier the further the origin has come and the longer the direction. What lies
/// behind an origin comes out below zero whichever inverse it is taken with, and is no matter.
static void bundle_thicken(ray_bundle* bundle)
{
    ray_boxes* thick = &bundle->thick;
    *thick = bundle->ray[0].boxes;
    for (unsigned k = bundle->count; k < BUNDLE; k++)
        bundle_lay(bundle, k, &bundle->ray[0]);
    bundle->thick_limit = bundle_bound(bundle->limit, true);
    for (unsigned i = 0; i < 3; i++)
    {
        bool more = thick->near_plane[i] < 3;
        thick->near_origin[i] = bundle_bound(bundle->near_origin[i], more);
        thick->far_origin[i] = bundle_bound(bundle->far_origin[i], !more);
        thick->near_inverse[i] = bundle_bound(bundle->near_inverse[i], !more);
        thick->far_inverse[i] = bundle_bound(bundle->far_inverse[i], more);
    }
}

static void bundle_add(ray_bundle* bundle, const ray_walk* ray, size_t query)
{
    unsigned k = bundle->count++;
    bundle_lay(bundle, k, ray);
    bundle->ray[k] = *ray;
    bundle->query[k] = query;
}

LANES_INLINE lanes rays_at_plane(float bound_mm, const float* origin, const float* inverse)
{
    return (lanes_all(bound_mm) - lanes_load(origin)) * lanes_load(inverse);
}

/// The rays that meet the box of a node's child.
LANES_INLINE uint64_t bundle_meets(const ray_bundle* b, const tree_node* node, unsigned child)
{
    const unsigned *near = b->thick.near_plane, *far = b->thick.far_plane;
    uint64_t met = 0;
    for (unsigned k = 0; k < BUNDLE; k += TREE_WIDTH)
    {
        lanes near_x = rays_at_plane(node->bound_mm[near[0]][child], b->near_origin[0] + k, b->near_inverse[0] + k);
        lanes near_y = rays_at_plane(node->bound_mm[near[1]][child], b->near_origin[1] + k, b->near_inverse[1] + k);
        lanes near_z = rays_at_plane(node->bound_mm[near[2]][child], b->near_origin[2] + k, b->near_inverse[2] + k);
        lanes far_x = rays_at_plane(node->bound_mm[far[0]][child], b->far_origin[0] + k, b->far_inverse[0] + k);
        lanes far_y = rays_at_plane(node->bound_mm[far[1]][child], b->far_origin[1] + k, b->far_inverse[1] + k);
        lanes far_z = rays_at_plane(node->bound_mm[far[2]][child], b->far_origin[2] + k, b->far_inverse[2] + k);
        lanes enter = lanes_max(lanes_max(near_x, near_y), lanes_max(near_z, lanes_all(0.0f)));
        lanes leave = lanes_min(lanes_min(far_x, far_y), lanes_min(far_z, lanes_load(b->limit + k)));
        met |= (uint64_t)lanes_bits(enter <= leave) << k;
    }
    return met;
}

/// Push the children that rays of the bundle meet, the nearest last.
LANES_INLINE void bundle_descend(bundle_stack* stack, const ray_bundle* bundle, const tree_node* node, uint64_t rays)
{
    lanes key;
    unsigned base = stack->top;
    for (unsigned bits = ray_meets(&bundle->thick, bundle->thick_limit, node, &key); bits != 0; bits &= bits - 1)
    {
        unsigned lane = (unsigned)__builtin_ctz(bits);
        bundle_entry entry = {rays & bundle_meets(bundle, node, lane), node->child[lane], key[lane]};
        if (entry.rays == 0)
            continue;
        unsigned at = stack->top++;
        for (; at > base && stack->entry[at - 1].key < entry.key; at--)
            stack->entry[at] = stack->entry[at - 1];
        stack->entry[at] = entry;
    }
}

/// Let rays go on alone.
static void bundle_part(const rlv_tree* tree, ray_bundle* bundle, uint32_t here, uint64_t rays)
{
    for (; rays != 0; rays &= rays - 1)
    {
        unsigned k = (unsigned)__builtin_ctzll(rays);
        ray_through(tree, &bundle->ray[k], here, true);
        if (bundle->ray[k].triangle != RLV_TREE_NONE)
            bundle->open &= ~(UINT64_C(1) << k);
    }
}

static void bundle_through(const rlv_tree* tree, ray_bundle* bundle)
{
    bundle_stack stack;
    stack.top = 1;
    stack.entry[0] = (bundle_entry){bundle->open, 0, 0.0f};
    bundle_thicken(bundle);
    while (stack.top > 0)
    {
        bundle_entry entry = stack.entry[--stack.top];
        uint64_t rays = entry.rays & bundle->open;
        if (entry.child & TREE_LEAF_BIT || __builtin_popcountll(rays) <= BUNDLE_FEW)
            bundle_part(tree, bundle, entry.child, rays);
        else
            bundle_descend(&stack, bundle, tree->node + entry.child, rays);
    }
}

/// Tell which rays of a bundle are blocked, and leave it empty.
static void bundle_settle(const rlv_tree* tree, ray_bundle* bundle, bool* blocked)
{
    bundle->open = bundle->count > 0 ? UINT64_MAX >> (BUNDLE - bundle->count) : 0;
    if (bundle->count > 0)
        bundle_through(tree, bundle);
    for (unsigned k = 0; k < bundle->count; k++)
        blocked[bundle->query[k]] = bundle->ray[k].triangle != RLV_TREE_NONE;
    bundle->count = 0;
}

static void blocked_block(const rlv_tree* tree, size_t count, const rlv_ray* ray, bool* blocked)
{
    ray_bundle bundle[8]; // one an octant
    for (unsigned octant = 0; octant < 8; octant++)
        bundle[octant].count = 0;
    for (size_t i = 0; i < count; i++)
    {
        ray_walk walk;
        blocked[i] = false;
        if (!ray_start(&walk, tree, ray + i))
            continue;
        ray_bundle* into = &bundle[ray_octant(&walk.boxes)];
        bundle_add(into, &walk, i);
        if (into->count == BUNDLE)
            bundle_settle(tree, into, blocked);
    }
    for (unsigned octant = 0; octant < 8; octant++)
        bundle_settle(tree, &bundle[octant], blocked);
}
