/// The walks of the spatial index: included once for each instruction set, with TREE_WALKS the name of the table to
/// define. Private to the files of `tree`.
///
/// Nearest point: branch and bound, nearest box first, from a bound that the last query's leaf gives.
/// Rays: T. Ize, Robust BVH ray traversal (JCGT 2(2), 2013) and S. Woop, C. Benthin, I. Wald, Watertight ray/triangle
/// intersection (JCGT 2(1), 2013), whose section 3.3 and listing this follows.

#include "lanes.h"
#include "tree_parts.h"

#include <float.h>
#include <math.h>

typedef struct walk_entry
{
    uint32_t child;
    float key; ///< squared distance, or distance along the ray, of its box
} walk_entry;

typedef struct lanes3
{
    lanes x, y, z;
} lanes3;

LANES_INLINE lanes3 lanes3_of(float x, float y, float z)
{
    return (lanes3){lanes_all(x), lanes_all(y), lanes_all(z)};
}

LANES_INLINE lanes3 lanes3_sub(lanes3 a, lanes3 b)
{
    return (lanes3){a.x - b.x, a.y - b.y, a.z - b.z};
}

LANES_INLINE lanes3 lanes3_along(lanes3 a, lanes t, lanes3 b)
{
    return (lanes3){a.x + t * b.x, a.y + t * b.y, a.z + t * b.z};
}

LANES_INLINE lanes lanes3_dot(lanes3 a, lanes3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

LANES_INLINE lanes3 lanes3_cross(lanes3 a, lanes3 b)
{
    return (lanes3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

LANES_INLINE lanes3 leaf_corner(const float* leaf, unsigned count, unsigned corner)
{
    const float* at = leaf + (size_t)corner * 3 * count;
    return (lanes3){lanes_load(at), lanes_load(at + count), lanes_load(at + 2 * (size_t)count)};
}

LANES_INLINE uint32_t leaf_triangle(const float* leaf, unsigned count, unsigned lane)
{
    uint32_t triangle;
    memcpy(&triangle, leaf + (size_t)count * 9 + lane, sizeof triangle);
    return triangle;
}

/// What is still to be visited, the nearest last.
typedef struct walk_stack
{
    unsigned top;
    walk_entry entry[TREE_STACK];
} walk_stack;

/// The next entry that can still hold an answer, or TREE_EMPTY.
LANES_INLINE uint32_t walk_pop(walk_stack* stack, float best)
{
    while (stack->top > 0)
    {
        walk_entry entry = stack->entry[--stack->top];
        if (entry.key <= best)
            return entry.child;
    }
    return TREE_EMPTY;
}

/// Choose the nearest of the children in `bits` (one at least) and push the others, the nearest last.
LANES_INLINE uint32_t walk_descend(walk_stack* stack, unsigned bits, lanes key, const uint32_t* child)
{
    unsigned lane = (unsigned)__builtin_ctz(bits);
    bits &= bits - 1;
    uint32_t nearest = child[lane];
    if (bits == 0)
        return nearest;
    float keys[TREE_WIDTH];
    memcpy(keys, &key, sizeof keys);
    float least = keys[lane];
    unsigned base = stack->top;
    do
    {
        lane = (unsigned)__builtin_ctz(bits);
        bits &= bits - 1;
        walk_entry entry = {child[lane], keys[lane]};
        if (entry.key < least)
        {
            walk_entry swap = {nearest, least};
            nearest = entry.child;
            least = entry.key;
            entry = swap;
        }
        unsigned at = stack->top++;
        for (; at > base && stack->entry[at - 1].key < entry.key; at--)
            stack->entry[at] = stack->entry[at - 1];
        stack->entry[at] = entry;
    } while (bits != 0);
    return nearest;
}

// ------------------------------------------------------------------------------------------------------ nearest point

typedef struct near_walk
{
    lanes3 query;
    float best; ///< squared distance
    uint32_t triangle;
    uint32_t leaf; ///< that the answer came from
    unsigned lane;
} near_walk;

/// Squared distance from the origin to the segment a + t * edge, t in [0, 1]. An edge without length is its start.
LANES_INLINE lanes segment_squared(lanes3 a, lanes3 edge)
{
    lanes zero = lanes_all(0.0f), one = lanes_all(1.0f);
    lanes length = lanes_max(lanes3_dot(edge, edge), lanes_all(FLT_MIN));
    lanes t = lanes_min(lanes_max((zero - lanes3_dot(a, edge)) / length, zero), one);
    lanes3 p = lanes3_along(a, t, edge);
    return lanes3_dot(p, p);
}

/// The least of the distances to the three edges and, where the query projects into the triangle, to its plane. The
/// latter is taken at a point of the triangle, so that bad conditioning in a thin triangle never makes it too small,
/// and the edges bound how much too large it can be.
LANES_INLINE lanes triangle_squared(lanes3 query, const float* leaf, unsigned count)
{
    lanes3 corner0 = leaf_corner(leaf, count, 0);
    lanes3 corner1 = leaf_corner(leaf, count, 1);
    lanes3 corner2 = leaf_corner(leaf, count, 2);
    lanes3 ab = lanes3_sub(corner1, corner0), ac = lanes3_sub(corner2, corner0), bc = lanes3_sub(corner2, corner1);
    lanes3 a = lanes3_sub(corner0, query), b = lanes3_sub(corner1, query);
    lanes squared = segment_squared(a, ab);
    squared = lanes_min(segment_squared(a, ac), squared);
    squared = lanes_min(segment_squared(b, bc), squared);

    lanes zero = lanes_all(0.0f);
    lanes3 normal = lanes3_cross(ab, ac);
    lanes inverse = lanes_all(1.0f) / lanes3_dot(normal, normal); // infinite without area: v or w is then not a number
    lanes v = lanes3_dot(lanes3_cross(ac, a), normal) * inverse;
    lanes w = lanes3_dot(lanes3_cross(a, ab), normal) * inverse;
    lane_masks inside = (v >= zero) & (w >= zero) & (v + w <= lanes_all(1.0f));
    lanes3 p = lanes3_along(lanes3_along(a, v, ab), w, ac);
    lanes plane = lanes3_dot(p, p);
    return lanes_select(inside & (plane < squared), plane, squared);
}

static void nearest_in_leaf(const rlv_tree* tree, uint32_t leaf, near_walk* walk)
{
    const float* at = tree_leaf_at(tree, leaf);
    unsigned count = tree_leaf_count(leaf);
    lanes squared = triangle_squared(walk->query, at, count);
    unsigned bits = lanes_bits(squared <= lanes_all(walk->best)) & ((1u << count) - 1u);
    if (bits == 0)
        return;
    float all[TREE_WIDTH];
    memcpy(all, &squared, sizeof all);
    for (; bits != 0; bits &= bits - 1)
    {
        unsigned lane = (unsigned)__builtin_ctz(bits);
        uint32_t triangle = leaf_triangle(at, count, lane);
        if (all[lane] < walk->best || (all[lane] == walk->best && triangle < walk->triangle))
        {
            walk->best = all[lane];
            walk->triangle = triangle;
            walk->leaf = leaf;
            walk->lane = lane;
        }
    }
}

LANES_INLINE lanes box_squared(const tree_node* node, lanes3 query)
{
    lanes zero = lanes_all(0.0f);
    lanes x = lanes_max(lanes_load(node->bound_mm[0]) - query.x, query.x - lanes_load(node->bound_mm[3]));
    lanes y = lanes_max(lanes_load(node->bound_mm[1]) - query.y, query.y - lanes_load(node->bound_mm[4]));
    lanes z = lanes_max(lanes_load(node->bound_mm[2]) - query.z, query.z - lanes_load(node->bound_mm[5]));
    x = lanes_max(x, zero);
    y = lanes_max(y, zero);
    z = lanes_max(z, zero);
    return x * x + y * y + z * z;
}

/// Walk to the nearest triangle from `node` on.
static void nearest_walk(const rlv_tree* tree, const tree_node* node, near_walk* walk, uint32_t seen)
{
    walk_stack stack;
    stack.top = 0;
    for (;;)
    {
        lanes key = box_squared(node, walk->query);
        unsigned bits = lanes_bits(key <= lanes_all(walk->best));
        uint32_t here = bits != 0 ? walk_descend(&stack, bits, key, node->child) : walk_pop(&stack, walk->best);
        for (; here & TREE_LEAF_BIT; here = walk_pop(&stack, walk->best))
        {
            if (here == TREE_EMPTY)
                return;
            if (here != seen)
                nearest_in_leaf(tree, here, walk);
        }
        node = tree->node + here;
    }
}

/// The nearest point of one triangle in double, so that what is told is as good as float can tell.
static void nearest_tell(const rlv_tree* tree, const near_walk* walk, const float* query_mm, rlv_nearest* nearest)
{
    const float* leaf = tree_leaf_at(tree, walk->leaf) + walk->lane;
    unsigned count = tree_leaf_count(walk->leaf);
    rlv_vec3 corner[3], query = rlv_vec3_from(query_mm), best = {0};
    for (size_t i = 0; i < 3; i++)
    {
        const float* at = leaf + i * 3 * count;
        corner[i] = rlv_vec3_sub(rlv_vec3_of((double)at[0], (double)at[count], (double)at[2 * count]), query);
    }
    double least = INFINITY;
    for (size_t i = 0; i < 3; i++)
    {
        rlv_vec3 edge = rlv_vec3_sub(corner[(i + 1) % 3], corner[i]);
        double length = rlv_vec3_dot(edge, edge);
        double t = length > 0.0 ? -rlv_vec3_dot(corner[i], edge) / length : 0.0;
        rlv_vec3 p = rlv_vec3_along(corner[i], t < 0.0 ? 0.0 : t > 1.0 ? 1.0 : t, edge);
        double squared = rlv_vec3_dot(p, p);
        if (squared < least)
        {
            least = squared;
            best = p;
        }
    }
    rlv_vec3 ab = rlv_vec3_sub(corner[1], corner[0]), ac = rlv_vec3_sub(corner[2], corner[0]);
    rlv_vec3 normal = rlv_vec3_cross(ab, ac);
    double area = rlv_vec3_dot(normal, normal);
    double v = rlv_vec3_dot(rlv_vec3_cross(ac, corner[0]), normal),
           w = rlv_vec3_dot(rlv_vec3_cross(corner[0], ab), normal);
    if (area > 0.0 && v >= 0.0 && w >= 0.0 && v + w <= area)
    {
        rlv_vec3 p = rlv_vec3_along(rlv_vec3_along(corner[0], v / area, ab), w / area, ac);
        if (rlv_vec3_dot(p, p) < least)
        {
            best = p;
            least = rlv_vec3_dot(p, p);
        }
    }
    nearest->point_mm[0] = (float)(query.x + best.x);
    nearest->point_mm[1] = (float)(query.y + best.y);
    nearest->point_mm[2] = (float)(query.z + best.z);
    nearest->distance_mm = (float)sqrt(least);
    nearest->triangle = walk->triangle;
}

/// A squared distance that the nearest point surely lies within: that of the point told last, and what rounding may
/// have put that off the surface by.
static inline float bound_squared(const rlv_nearest* last, const float* q)
{
    float squared = 0.0f, greatest = 0.0f;
    for (int k = 0; k < 3; k++)
    {
        squared += (q[k] - last->point_mm[k]) * (q[k] - last->point_mm[k]);
        greatest = fmaxf(greatest, fmaxf(fabsf(q[k]), fabsf(last->point_mm[k])));
    }
    const float far = sqrtf(squared) * (1.0f + 16.0f * FLT_EPSILON) + 16.0f * FLT_EPSILON * greatest;
    return far * far;
}

static void nearest_block(const rlv_tree* tree, size_t count, const float* query_mm, float limit_mm, bool again,
                          rlv_nearest* nearest)
{
    float limit = fminf(limit_mm * limit_mm, FLT_MAX);
    uint32_t seed = TREE_EMPTY;
    for (size_t i = 0; i < count; i++)
    {
        const float* q = query_mm + 3 * i;
        near_walk walk = {lanes3_of(q[0], q[1], q[2]), limit, RLV_TREE_NONE, TREE_EMPTY, 0};
        const float bound = again && nearest[i].triangle != RLV_TREE_NONE ? bound_squared(nearest + i, q) : INFINITY;
        const bool known = bound < limit;
        if (known)
            walk.best = bound;
        else if (seed != TREE_EMPTY)
            nearest_in_leaf(tree, seed, &walk);
        nearest_walk(tree, tree->node, &walk, known ? TREE_EMPTY : seed);
        if (walk.triangle != RLV_TREE_NONE)
        {
            nearest_tell(tree, &walk, q, nearest + i);
            seed = walk.leaf;
        }
        else
            nearest[i] = (rlv_nearest){{q[0], q[1], q[2]}, INFINITY, RLV_TREE_NONE};
    }
}

// --------------------------------------------------------------------------------------------------------------- rays

/// Without a call, which fmaxf may be.
static inline float greater(float a, float b)
{
    return a > b ? a : b;
}

static inline float lesser(float a, float b)
{
    return a < b ? a : b;
}

/// What the box test needs, by axis.
typedef struct ray_boxes
{
    float near_origin[3], far_origin[3], near_inverse[3], far_inverse[3];
    unsigned near_plane[3], far_plane[3]; ///< which bound of a node the ray meets first, and last
} ray_boxes;

typedef struct ray_walk
{
    ray_boxes boxes;
    unsigned axis[3]; ///< kx, ky, kz of Woop et al.
    float origin[3];  ///< in the order of `axis`
    float shear[3];
    float best;
    float u, v;
    uint32_t triangle;
} ray_walk;

/// What the box test needs. The triangle test rounds a corner's place across the ray by up to 5 half epsilons of the
/// extent seen from the origin (Woop et al., section 3.3: one for its difference from the origin, three for the shear,
/// one for their sum): the planes across are moved apart by 8, and by a step of the origin's own at least. Differences,
/// inverse and product round by 4 half epsilons of the distance: it is stretched by 6.
static void ray_start_boxes(ray_walk* walk, const rlv_tree* tree, const rlv_ray* ray)
{
    const float *o = ray->origin_mm, *d = ray->direction;
    const float less = 1.0f - 3.0f * FLT_EPSILON, more = 1.0f + 3.0f * FLT_EPSILON;
    unsigned kz = walk->axis[2];
    float extent[3], least = 1e-20f * fabsf(d[kz]); // what a direction moves across by less is lost in the slack
    for (unsigned i = 0; i < 3; i++)
        extent[i] = greater(fabsf(o[i] - tree->low_mm[i]), fabsf(o[i] - tree->high_mm[i]));
    for (unsigned i = 0; i < 3; i++)
    {
        bool negative = signbit(d[i]);
        float slack = greater(4.0f * FLT_EPSILON * (extent[i] + extent[kz]), FLT_EPSILON * fabsf(o[i]));
        slack = i == kz ? 0.0f : negative ? -slack : slack;
        walk->boxes.near_origin[i] = o[i] + slack;
        walk->boxes.far_origin[i] = o[i] - slack;
        float inverse = 1.0f / (fabsf(d[i]) < least ? copysignf(least, d[i]) : d[i]);
        walk->boxes.near_inverse[i] = inverse * less;
        walk->boxes.far_inverse[i] = inverse * more;
        walk->boxes.near_plane[i] = negative ? i + 3 : i;
        walk->boxes.far_plane[i] = negative ? i : i + 3;
    }
}

/// False where the ray has no place, no direction or nowhere to go.
static bool ray_start(ray_walk* walk, const rlv_tree* tree, const rlv_ray* ray)
{
    const float *o = ray->origin_mm, *d = ray->direction;
    unsigned kz = fabsf(d[0]) > fabsf(d[1]) ? 0 : 1;
    kz = fabsf(d[2]) > fabsf(d[kz]) ? 2 : kz;
    unsigned kx = (kz + 1) % 3, ky = (kz + 2) % 3;
    if (!(fabsf(d[kz]) > 1e-30f && isfinite(d[0] + d[1] + d[2]) && isfinite(o[0] + o[1] + o[2]) && ray->limit >= 0.0f))
        return false;
    walk->axis[0] = kx;
    walk->axis[1] = ky;
    walk->axis[2] = kz;
    for (unsigned i = 0; i < 3; i++)
        walk->origin[i] = o[walk->axis[i]];
    walk->shear[0] = d[kx] / d[kz];
    walk->shear[1] = d[ky] / d[kz];
    walk->shear[2] = 1.0f / d[kz];
    walk->best = ray->limit;
    walk->triangle = RLV_TREE_NONE;
    ray_start_boxes(walk, tree, ray);
    return true;
}

static void ray_take(ray_walk* walk, float distance, float u, float v, uint32_t triangle)
{
    if (distance < walk->best || (distance == walk->best && triangle < walk->triangle))
    {
        walk->best = distance;
        walk->u = u;
        walk->v = v;
        walk->triangle = triangle;
    }
}

/// Corner `corner` of a leaf's triangles in the ray's sheared frame, where the ray is the z axis.
LANES_INLINE lanes3 ray_shear(const ray_walk* walk, const float* leaf, unsigned count, unsigned corner)
{
    const float* at = leaf + (size_t)corner * 3 * count;
    lanes x = lanes_load(at + (size_t)walk->axis[0] * count) - lanes_all(walk->origin[0]);
    lanes y = lanes_load(at + (size_t)walk->axis[1] * count) - lanes_all(walk->origin[1]);
    lanes z = lanes_load(at + (size_t)walk->axis[2] * count) - lanes_all(walk->origin[2]);
    return (lanes3){x - lanes_all(walk->shear[0]) * z, y - lanes_all(walk->shear[1]) * z, z};
}

/// A lane where an edge function came out zero, again in double: there a product of two floats is exact, so that the
/// signs are too (Woop et al., section 3.2).
static __attribute__((noinline)) void ray_settle(ray_walk* walk, uint32_t triangle, const float a[3], const float b[3],
                                                 const float c[3])
{
    double u = (double)c[0] * (double)b[1] - (double)c[1] * (double)b[0];
    double v = (double)a[0] * (double)c[1] - (double)a[1] * (double)c[0];
    double w = (double)b[0] * (double)a[1] - (double)b[1] * (double)a[0];
    double sum = u + v + w;
    if ((u < 0.0 || v < 0.0 || w < 0.0) && (u > 0.0 || v > 0.0 || w > 0.0))
        return;
    if (!(sum < 0.0 || sum > 0.0))
        return;
    double depth = (u * (double)a[2] + v * (double)b[2] + w * (double)c[2]) / sum;
    float distance = (float)(depth * (double)walk->shear[2]);
    if (distance >= 0.0f && distance <= walk->best)
        ray_take(walk, distance, (float)(v / sum), (float)(w / sum), triangle);
}

static void ray_in_leaf(const rlv_tree* tree, uint32_t leaf, ray_walk* walk)
{
    const float* at = tree_leaf_at(tree, leaf);
    unsigned count = tree_leaf_count(leaf);
    lanes3 a = ray_shear(walk, at, count, 0), b = ray_shear(walk, at, count, 1), c = ray_shear(walk, at, count, 2);
    lanes zero = lanes_all(0.0f);
    lanes u = c.x * b.y - c.y * b.x;
    lanes v = a.x * c.y - a.y * c.x;
    lanes w = b.x * a.y - b.y * a.x;
    lanes least = lanes_min(lanes_min(u, v), w), most = lanes_max(lanes_max(u, v), w);
    unsigned candidates = ((1u << count) - 1u) & ~lanes_bits((least < zero) & (most > zero));
    if (candidates == 0)
        return;
    unsigned unsettled = candidates & lanes_bits((least == zero) | (most == zero));
    lanes sum = u + v + w;
    lanes distance = (u * a.z + v * b.z + w * c.z) / sum * lanes_all(walk->shear[2]);
    unsigned met = candidates & ~unsettled & lanes_bits((distance >= zero) & (distance <= lanes_all(walk->best)));
    for (; met != 0; met &= met - 1)
    {
        unsigned lane = (unsigned)__builtin_ctz(met);
        ray_take(walk, distance[lane], v[lane] / sum[lane], w[lane] / sum[lane], leaf_triangle(at, count, lane));
    }
    for (; unsettled != 0; unsettled &= unsettled - 1)
    {
        unsigned lane = (unsigned)__builtin_ctz(unsettled);
        const float corner_a[3] = {a.x[lane], a.y[lane], a.z[lane]};
        const float corner_b[3] = {b.x[lane], b.y[lane], b.z[lane]};
        const float corner_c[3] = {c.x[lane], c.y[lane], c.z[lane]};
        ray_settle(walk, leaf_triangle(at, count, lane), corner_a, corner_b, corner_c);
    }
}

LANES_INLINE lanes ray_at_plane(const float* bound_mm, float origin, float inverse)
{
    return (lanes_load(bound_mm) - lanes_all(origin)) * lanes_all(inverse);
}

/// The children whose boxes a ray meets before `limit`, and where it enters each.
LANES_INLINE unsigned ray_meets(const ray_boxes* ray, float limit, const tree_node* node, lanes* key)
{
    const unsigned *near = ray->near_plane, *far = ray->far_plane;
    lanes near_x = ray_at_plane(node->bound_mm[near[0]], ray->near_origin[0], ray->near_inverse[0]);
    lanes near_y = ray_at_plane(node->bound_mm[near[1]], ray->near_origin[1], ray->near_inverse[1]);
    lanes near_z = ray_at_plane(node->bound_mm[near[2]], ray->near_origin[2], ray->near_inverse[2]);
    lanes far_x = ray_at_plane(node->bound_mm[far[0]], ray->far_origin[0], ray->far_inverse[0]);
    lanes far_y = ray_at_plane(node->bound_mm[far[1]], ray->far_origin[1], ray->far_inverse[1]);
    lanes far_z = ray_at_plane(node->bound_mm[far[2]], ray->far_origin[2], ray->far_inverse[2]);
    lanes enter = lanes_max(lanes_max(near_x, near_y), lanes_max(near_z, lanes_all(0.0f)));
    lanes leave = lanes_min(lanes_min(far_x, far_y), lanes_min(far_z, lanes_all(limit)));
    *key = enter;
    return lanes_bits(enter <= leave);
}

/// Walk a ray through the tree from `here` on; `any` stops at the first triangle met, which need not be the nearest.
LANES_INLINE void ray_through(const rlv_tree* tree, ray_walk* walk, uint32_t here, bool any)
{
    walk_stack stack;
    stack.top = 0;
    while (here != TREE_EMPTY)
    {
        if (here & TREE_LEAF_BIT)
        {
            ray_in_leaf(tree, here, walk);
            if (any && walk->triangle != RLV_TREE_NONE)
                return;
            here = walk_pop(&stack, walk->best);
            continue;
        }
        const tree_node* node = tree->node + here;
        lanes key;
        unsigned bits = ray_meets(&walk->boxes, walk->best, node, &key);
        here = bits != 0 ? walk_descend(&stack, bits, key, node->child) : walk_pop(&stack, walk->best);
    }
}

static void rays_block(const rlv_tree* tree, size_t count, const rlv_ray* ray, rlv_hit* hit)
{
    for (size_t i = 0; i < count; i++)
    {
        ray_walk walk;
        hit[i] = (rlv_hit){INFINITY, 0.0f, 0.0f, RLV_TREE_NONE};
        if (!ray_start(&walk, tree, ray + i))
            continue;
        ray_through(tree, &walk, 0, false);
        if (walk.triangle != RLV_TREE_NONE)
            hit[i] = (rlv_hit){walk.best, walk.u, walk.v, walk.triangle};
    }
}

#include "tree_bundle.h"

const tree_walks TREE_WALKS = {nearest_block, rays_block, blocked_block};
