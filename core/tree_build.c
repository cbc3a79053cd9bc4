/// Building the spatial index, on all threads, in three steps:
///
/// 1. Triangles are sorted along a Morton curve by their centroids and cut into clusters at the curve's cell borders
///    (J. Pantaleoni, D. Luebke, HLBVH: hierarchical LBVH construction for real-time ray tracing, High Performance
///    Graphics 2010).
/// 2. Each cluster is split into leaves of at most eight triangles by the binned surface-area heuristic (I. Wald, On
///    fast construction of SAH-based bounding volume hierarchies, IEEE Symposium on Interactive Ray Tracing 2007). It
///    fits in the first-level cache.
/// 3. The same heuristic, over the boxes of the leaves, makes nodes of eight children level by level: the child with
///    the largest area is split until there are eight.
///
/// A quick tree's clusters are larger; each is cut into full leaves as it lies, with one node over them, and step 3
/// works over those nodes.
///
/// No step depends on the thread count: work is cut at fixed places, and places in arrays are prefix sums.

#include "lanes.h"
#include "tree_parts.h"

#include <math.h>
#include <stdlib.h>

#define BINS 16
#define CLUSTER 16          ///< triangles of a cluster at most, but where more share one Morton cell
#define QUICK_CLUSTER 64    ///< and of a quick tree: a node of full leaves
#define QUICK_QUERIES 3     ///< a triangle: from there on splitting leaves has paid for itself
#define CLUSTERS_A_TASK 128 ///< clusters that one thread takes at a time
#define DIGIT_BITS 10
#define DIGITS 3 ///< a Morton code has a bit of each axis for every third of its bits
#define CHUNKS 64

/// A box with what it holds: a triangle, or a leaf.
typedef struct record
{
    float low[3];
    uint32_t item;
    float high[3];
    uint32_t unused;
} record;

typedef struct box
{
    quad low, high; ///< the fourth lane means nothing
} box;

static const box box_nothing = {{INFINITY, INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY, -INFINITY}};

LANES_INLINE box box_of(const record* from)
{
    box value;
    memcpy(&value.low, from->low, sizeof value.low);
    memcpy(&value.high, from->high, sizeof value.high);
    return value;
}

LANES_INLINE box box_join(box a, box b)
{
    return (box){quad_min(a.low, b.low), quad_max(a.high, b.high)};
}

LANES_INLINE float box_area(box a)
{
    quad size = a.high - a.low;
    return size[0] * size[1] + size[1] * size[2] + size[2] * size[0];
}

// --------------------------------------------------------------------------------------------------- binned splitting

typedef struct bins
{
    box bound[3][BINS];
    uint32_t count[3][BINS];
} bins;

/// The plane that a set is split at, and what falls on either side.
typedef struct cut
{
    int axis; ///< -1: no plane separates the centroids; split by count
    int bin;  ///< the first bin on the right
    box left, right;
} cut;

/// How a centroid (low + high, twice the centroid) becomes a bin.
typedef struct binning
{
    quad start, scale;
} binning;

LANES_INLINE quad_masks bin_of(const binning* to, box of)
{
    quad place = (of.low + of.high - to->start) * to->scale;
    quad last = {BINS - 1, BINS - 1, BINS - 1, BINS - 1}, first = {0};
    return quad_whole(quad_min(quad_max(place, first), last));
}

static binning binning_of(const record* at, size_t count, quad* extent)
{
    quad low = box_nothing.low, high = box_nothing.high;
    for (size_t i = 0; i < count; i++)
    {
        box one = box_of(at + i);
        quad centre = one.low + one.high;
        low = quad_min(centre, low);
        high = quad_max(centre, high);
    }
    *extent = high - low;
    binning to = {low, {0}};
    for (int axis = 0; axis < 3; axis++)
        if ((*extent)[axis] > 0.0f && (*extent)[axis] <= 3.0e38f)
            to.scale[axis] = fminf((float)BINS * 0.9999f / (*extent)[axis], 3.0e38f);
    return to;
}

/// The cheapest plane of one axis: area times blocks of `1 << shift` items, on both sides.
static void cut_axis(const bins* in, int axis, unsigned shift, float* least, cut* best)
{
    box right[BINS];
    uint32_t right_count[BINS];
    box sum = box_nothing;
    uint32_t count = 0;
    for (int i = BINS - 1; i > 0; i--)
    {
        sum = box_join(sum, in->bound[axis][i]);
        count += in->count[axis][i];
        right[i] = sum;
        right_count[i] = count;
    }
    uint32_t round = (1u << shift) - 1u;
    sum = box_nothing;
    count = 0;
    for (int i = 1; i < BINS; i++)
    {
        sum = box_join(sum, in->bound[axis][i - 1]);
        count += in->count[axis][i - 1];
        if (count == 0 || right_count[i] == 0)
            continue;
        float cost = box_area(sum) * (float)((count + round) >> shift) +
                     box_area(right[i]) * (float)((right_count[i] + round) >> shift);
        if (cost < *least)
        {
            *least = cost;
            *best = (cut){axis, i, sum, right[i]};
        }
    }
}

static box box_of_all(const record* at, size_t count)
{
    box sum = box_nothing;
    for (size_t i = 0; i < count; i++)
        sum = box_join(sum, box_of(at + i));
    return sum;
}

/// Split `count` records (two at least) in place; returns how many go left. Both sides have one at least.
static size_t split(record* at, size_t count, unsigned shift, bool by_count, cut* best)
{
    quad extent;
    binning to = binning_of(at, count, &extent);
    best->axis = -1;
    if (!by_count)
    {
        bins in;
        for (int axis = 0; axis < 3; axis++)
            for (int i = 0; i < BINS; i++)
            {
                in.bound[axis][i] = box_nothing;
                in.count[axis][i] = 0;
            }
        for (size_t i = 0; i < count; i++)
        {
            box one = box_of(at + i);
            quad_masks bin = bin_of(&to, one);
            for (int axis = 0; axis < 3; axis++)
            {
                in.bound[axis][bin[axis]] = box_join(in.bound[axis][bin[axis]], one);
                in.count[axis][bin[axis]]++;
            }
        }
        float least = INFINITY;
        for (int axis = 0; axis < 3; axis++)
            if (to.scale[axis] > 0.0f)
                cut_axis(&in, axis, shift, &least, best);
    }
    if (best->axis < 0)
    {
        best->left = box_of_all(at, count / 2);
        best->right = box_of_all(at + count / 2, count - count / 2);
        return count / 2;
    }
    size_t left = 0, right = count;
    while (left < right)
    {
        if (bin_of(&to, box_of(at + left))[best->axis] < best->bin)
            left++;
        else
        {
            record swap = at[left];
            at[left] = at[--right];
            at[right] = swap;
        }
    }
    return left;
}

// ------------------------------------------------------------------------------------------------ step 1: Morton order

/// Everything that building needs, so that one function can free it.
typedef struct build
{
    const rlv_mesh* mesh;
    rlv_tree* tree;
    uint64_t *key, *spare; ///< Morton code << 32 | triangle
    size_t cluster_limit;  ///< triangles
    size_t cluster_count;
    uint32_t* cluster; ///< cluster_count + 1 starts
    uint32_t* bottom;  ///< of a quick tree, cluster_count + 1: where the nodes over each cluster's leaves start
    size_t bottom_count;
    tree_node* bottoms; ///< those nodes
    size_t task_count;
    record** task_leaf; ///< leaves that each task made
    size_t* task_start; ///< task_count + 1 offsets
    record* leaf;
    size_t leaf_count;
    float low[3], scale[3]; ///< of the Morton grid
} build;

static size_t chunk_start(size_t count, size_t chunk)
{
    return count * chunk / CHUNKS;
}

/// Bounds of the mesh's triangles, and whether all of it can be indexed.
static rlv_status measure(build* work, rlv_error* error)
{
    const rlv_mesh* mesh = work->mesh;
    float low[CHUNKS][3], high[CHUNKS][3];
    size_t bad[CHUNKS];
#pragma omp parallel for schedule(static)
    for (size_t chunk = 0; chunk < CHUNKS; chunk++)
    {
        float a[3] = {INFINITY, INFINITY, INFINITY}, b[3] = {-INFINITY, -INFINITY, -INFINITY};
        bad[chunk] = SIZE_MAX;
        size_t end = chunk_start(mesh->triangle_count, chunk + 1);
        for (size_t t = chunk_start(mesh->triangle_count, chunk); t < end; t++)
            for (size_t k = 0; k < 3; k++)
            {
                uint32_t vertex = mesh->corner[3 * t + k];
                if (vertex >= mesh->vertex_count)
                {
                    bad[chunk] = bad[chunk] < t ? bad[chunk] : t;
                    continue;
                }
                const float* p = mesh->position_mm + 3 * (size_t)vertex;
                for (size_t axis = 0; axis < 3; axis++)
                {
                    a[axis] = p[axis] < a[axis] ? p[axis] : a[axis];
                    b[axis] = p[axis] > b[axis] ? p[axis] : b[axis];
                }
                if (!isfinite(p[0]) || !isfinite(p[1]) || !isfinite(p[2]))
                    bad[chunk] = bad[chunk] < t ? bad[chunk] : t;
            }
        memcpy(low[chunk], a, sizeof a);
        memcpy(high[chunk], b, sizeof b);
    }
    rlv_tree* tree = work->tree;
    for (size_t axis = 0; axis < 3; axis++)
    {
        tree->low_mm[axis] = INFINITY;
        tree->high_mm[axis] = -INFINITY;
    }
    for (size_t chunk = 0; chunk < CHUNKS; chunk++)
    {
        if (bad[chunk] != SIZE_MAX)
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "mend the mesh before it is measured",
                            "triangle %zu has a corner without a place", bad[chunk]);
        for (size_t axis = 0; axis < 3; axis++)
        {
            tree->low_mm[axis] = fminf(tree->low_mm[axis], low[chunk][axis]);
            tree->high_mm[axis] = fmaxf(tree->high_mm[axis], high[chunk][axis]);
        }
    }
    for (size_t axis = 0; axis < 3; axis++)
    {
        float extent = tree->high_mm[axis] - tree->low_mm[axis];
        work->low[axis] = tree->low_mm[axis];
        work->scale[axis] = extent > 0.0f ? fminf((float)(1 << DIGIT_BITS) / extent, 3.0e38f) : 0.0f;
    }
    return RLV_DONE;
}

/// Bits of `x` (ten) at every third place.
static uint32_t spread(uint32_t x)
{
    x = (x | x << 16) & 0x030000FFu;
    x = (x | x << 8) & 0x0300F00Fu;
    x = (x | x << 4) & 0x030C30C3u;
    x = (x | x << 2) & 0x09249249u;
    return x;
}

static void encode(build* work)
{
    const rlv_mesh* mesh = work->mesh;
    const float last = (float)((1 << DIGIT_BITS) - 1);
#pragma omp parallel for schedule(static)
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        const uint32_t* corner = mesh->corner + 3 * t;
        uint32_t code = 0;
        for (size_t axis = 0; axis < 3; axis++)
        {
            float a = mesh->position_mm[3 * (size_t)corner[0] + axis];
            float b = mesh->position_mm[3 * (size_t)corner[1] + axis];
            float c = mesh->position_mm[3 * (size_t)corner[2] + axis];
            float place = ((a + b + c) * (1.0f / 3.0f) - work->low[axis]) * work->scale[axis];
            place = place > 0.0f ? place : 0.0f; // also where it is not a number
            place = place < last ? place : last;
            code |= spread((uint32_t)place) << axis;
        }
        work->key[t] = (uint64_t)code << 32 | t;
    }
}

/// One stable pass of a radix sort from key to spare, by a digit of the code.
static void sort_pass(build* work, size_t (*place)[1 << DIGIT_BITS], unsigned digit)
{
    size_t count = work->mesh->triangle_count;
    unsigned shift = 32 + digit * DIGIT_BITS;
    const uint64_t mask = (1 << DIGIT_BITS) - 1;
    const uint64_t* from = work->key;
    uint64_t* to = work->spare;
#pragma omp parallel for schedule(static)
    for (size_t chunk = 0; chunk < CHUNKS; chunk++)
    {
        memset(place[chunk], 0, sizeof place[chunk]);
        size_t end = chunk_start(count, chunk + 1);
        for (size_t i = chunk_start(count, chunk); i < end; i++)
            place[chunk][from[i] >> shift & mask]++;
    }
    size_t sum = 0;
    for (size_t value = 0; value <= mask; value++)
        for (size_t chunk = 0; chunk < CHUNKS; chunk++)
        {
            size_t here = place[chunk][value];
            place[chunk][value] = sum;
            sum += here;
        }
#pragma omp parallel for schedule(static)
    for (size_t chunk = 0; chunk < CHUNKS; chunk++)
    {
        size_t end = chunk_start(count, chunk + 1);
        for (size_t i = chunk_start(count, chunk); i < end; i++)
            to[place[chunk][from[i] >> shift & mask]++] = from[i];
    }
    work->spare = work->key;
    work->key = to;
}

static rlv_status sort(build* work, rlv_error* error)
{
    size_t(*place)[1 << DIGIT_BITS] = rlv_reserve(CHUNKS, sizeof *place, error);
    if (place == NULL)
        return RLV_SYSTEM;
    encode(work);
    for (unsigned digit = 0; digit < DIGITS; digit++)
        sort_pass(work, place, digit);
    free(place);
    return RLV_DONE;
}

/// Cut the sorted keys at the highest bit that differs, until pieces are small. `bit` is of the code.
static void cluster(build* work, size_t start, size_t end, int bit)
{
    while (end - start > work->cluster_limit && bit >= 0)
    {
        uint64_t mask = (uint64_t)1 << (32 + bit--);
        if ((work->key[start] & mask) == (work->key[end - 1] & mask))
            continue;
        size_t low = start, high = end - 1; // low has the bit clear, high has it set
        while (high - low > 1)
        {
            size_t middle = low + (high - low) / 2;
            if (work->key[middle] & mask)
                high = middle;
            else
                low = middle;
        }
        cluster(work, start, high, bit);
        start = high;
    }
    work->cluster[++work->cluster_count] = (uint32_t)end;
}

// ----------------------------------------------------------------------------------------------------- step 2: leaves

LANES_INLINE record record_of(box bound, uint32_t item)
{
    record made = {.item = item};
    memcpy(made.low, &bound.low, sizeof made.low);
    memcpy(made.high, &bound.high, sizeof made.high);
    return made;
}

/// Copy the triangles of `at` into the leaf that starts at `start`.
static record leaf_write(const build* work, const record* at, size_t count, size_t start)
{
    float* leaf = work->tree->leaf + start * TREE_LEAF_FLOATS;
    box bound = box_nothing;
    for (size_t i = 0; i < count; i++)
    {
        const uint32_t* corner = work->mesh->corner + 3 * (size_t)at[i].item;
        for (size_t k = 0; k < 3; k++)
        {
            const float* p = work->mesh->position_mm + 3 * (size_t)corner[k];
            for (size_t axis = 0; axis < 3; axis++)
                leaf[(3 * k + axis) * count + i] = p[axis];
        }
        memcpy(leaf + 9 * count + i, &at[i].item, sizeof at[i].item);
        bound = box_join(bound, box_of(at + i));
    }
    return record_of(bound, tree_leaf_of(start, count));
}

/// Split the triangles of a cluster into leaves, from `start` on, appended to `made`. Returns how many.
static size_t leaves_of(const build* work, record* at, size_t count, size_t start, record* made, unsigned depth)
{
    if (count <= TREE_WIDTH)
    {
        *made = leaf_write(work, at, count, start);
        return 1;
    }
    cut best;
    size_t left = split(at, count, 3, depth >= 32, &best);
    size_t first = leaves_of(work, at, left, start, made, depth + 1);
    return first + leaves_of(work, at + left, count - left, start + left, made + first, depth + 1);
}

static void record_triangle(const rlv_mesh* mesh, uint32_t triangle, record* to)
{
    const uint32_t* corner = mesh->corner + 3 * (size_t)triangle;
    to->item = triangle;
    to->unused = 0;
    for (size_t axis = 0; axis < 3; axis++)
    {
        float a = mesh->position_mm[3 * (size_t)corner[0] + axis];
        float b = mesh->position_mm[3 * (size_t)corner[1] + axis];
        float c = mesh->position_mm[3 * (size_t)corner[2] + axis];
        float low = a < b ? a : b, high = a < b ? b : a;
        to->low[axis] = low < c ? low : c;
        to->high[axis] = high > c ? high : c;
    }
}

static void node_put(tree_node* node, size_t child, box bound, uint32_t item)
{
    for (size_t axis = 0; axis < 3; axis++)
    {
        node->bound_mm[axis][child] = bound.low[axis];
        node->bound_mm[axis + 3][child] = bound.high[axis];
    }
    node->child[child] = item;
}

/// Cut the triangles of a cluster into full leaves as they lie, from `start` on, and put nodes over them, from number
/// `bottom` on; the nodes are appended to `made`. Returns how many.
static size_t bottoms_of(const build* work, const record* at, size_t count, size_t start, size_t bottom, record* made)
{
    size_t nodes = 0;
    for (size_t first = 0; first < count; first += QUICK_CLUSTER, nodes++)
    {
        box whole = box_nothing;
        tree_node* node = work->bottoms + bottom + nodes;
        for (size_t k = 0; k < TREE_WIDTH; k++)
        {
            const size_t from = first + k * TREE_WIDTH, left = from < count ? count - from : 0;
            record leaf = {.item = TREE_EMPTY};
            if (left > 0)
                leaf = leaf_write(work, at + from, left < TREE_WIDTH ? left : TREE_WIDTH, start + from);
            const box bound = left > 0 ? box_of(&leaf) : box_nothing;
            node_put(node, k, bound, leaf.item);
            whole = box_join(whole, bound);
        }
        made[nodes] = record_of(whole, (uint32_t)(bottom + nodes + 1)); // the root comes before
    }
    return nodes;
}

/// The leaves of one task's clusters. False where memory is out.
static bool task_run(build* work, size_t task)
{
    size_t first = task * CLUSTERS_A_TASK, last = first + CLUSTERS_A_TASK;
    last = last < work->cluster_count ? last : work->cluster_count;
    size_t all = work->cluster[last] - work->cluster[first], largest = 0;
    for (size_t c = first; c < last; c++)
        largest = largest > work->cluster[c + 1] - work->cluster[c] ? largest : work->cluster[c + 1] - work->cluster[c];
    record* triangle = malloc(largest * sizeof *triangle);
    record* made = malloc(all * sizeof *made);
    bool done = triangle != NULL && made != NULL;
    size_t count = 0;
    for (size_t c = first; done && c < last; c++)
    {
        size_t start = work->cluster[c], size = work->cluster[c + 1] - start;
        for (size_t i = 0; i < size; i++)
            record_triangle(work->mesh, (uint32_t)work->key[start + i], triangle + i);
        count += work->bottoms != NULL ? bottoms_of(work, triangle, size, start, work->bottom[c], made + count)
                                       : leaves_of(work, triangle, size, start, made + count, 0);
    }
    record* fitting = done ? realloc(made, count * sizeof *made) : NULL;
    if (!done)
    {
        free(made);
        made = NULL;
    }
    work->task_leaf[task] = fitting != NULL ? fitting : made; // a block that will not shrink serves as well
    work->task_start[task + 1] = count;
    free(triangle);
    return done;
}

static rlv_status leaves(build* work, rlv_error* error)
{
    work->task_count = (work->cluster_count + CLUSTERS_A_TASK - 1) / CLUSTERS_A_TASK;
    work->task_leaf = rlv_reserve(work->task_count, sizeof *work->task_leaf, error);
    work->task_start = rlv_reserve(work->task_count + 1, sizeof *work->task_start, error);
    if (work->task_leaf == NULL || work->task_start == NULL)
        return RLV_SYSTEM;
    bool failed = false;
#pragma omp parallel for schedule(dynamic) reduction(|| : failed)
    for (size_t task = 0; task < work->task_count; task++)
        failed = !task_run(work, task) || failed;
    if (failed)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh",
                        "no memory for the leaves of the spatial index");
    for (size_t task = 0; task < work->task_count; task++)
        work->task_start[task + 1] += work->task_start[task];
    work->leaf_count = work->task_start[work->task_count];
    work->leaf = rlv_reserve(work->leaf_count, sizeof *work->leaf, error);
    if (work->leaf == NULL)
        return RLV_SYSTEM;
    for (size_t task = 0; task < work->task_count; task++)
        memcpy(work->leaf + work->task_start[task], work->task_leaf[task],
               (work->task_start[task + 1] - work->task_start[task]) * sizeof *work->leaf);
    return RLV_DONE;
}

// ------------------------------------------------------------------------------------------------------ step 3: nodes

/// Leaves that one node holds, and where its children that are nodes start in the next level.
typedef struct span
{
    size_t start, count;
} span;

typedef struct level
{
    size_t count;
    span* of;         ///< count
    tree_node* node;  ///< count
    span (*child)[8]; ///< count; a child with one leaf, or none, is no span of the next level
} level;

static void level_free(level* at)
{
    free(at->of);
    free(at->node);
    free(at->child);
}

/// The children of a node while it is made.
typedef struct family
{
    size_t count;
    span of[TREE_WIDTH];
    box bound[TREE_WIDTH];
} family;

static void family_split(build* work, family* in, size_t which, unsigned shift, bool by_count)
{
    cut best;
    span whole = in->of[which];
    size_t left = split(work->leaf + whole.start, whole.count, shift, by_count, &best);
    in->of[which] = (span){whole.start, left};
    in->bound[which] = best.left;
    in->of[in->count] = (span){whole.start + left, whole.count - left};
    in->bound[in->count++] = best.right;
}

/// The child with the largest area among those with more than `over` leaves, and few enough to take their leaves in its
/// place if it is to be dissolved. TREE_WIDTH where there is none.
static size_t family_largest(const family* in, size_t over, bool dissolve)
{
    size_t largest = TREE_WIDTH;
    float area = -1.0f;
    for (size_t i = 0; i < in->count; i++)
    {
        float here = in->count == 1 ? 0.0f : box_area(in->bound[i]);
        bool fits = !dissolve || in->count - 1 + in->of[i].count <= TREE_WIDTH;
        if (in->of[i].count > over && fits && !(here <= area))
        {
            largest = i;
            area = here;
        }
    }
    return largest;
}

/// Make one node. The largest child that is too much for one node below is split until there are eight children. Where
/// none is, the largest child whose leaves all find room here is dissolved into them: full nodes are what a walk wants.
static void node_make(build* work, span of, bool by_count, tree_node* node, span child[8])
{
    family in = {.count = 1, .of = {of}, .bound = {box_of(work->leaf + of.start)}}; // for a tree of one leaf
    while (in.count < TREE_WIDTH)
    {
        size_t which = family_largest(&in, TREE_WIDTH, false);
        if (which != TREE_WIDTH)
            family_split(work, &in, which, 3, by_count);
        else
        {
            which = family_largest(&in, 1, true);
            if (which == TREE_WIDTH)
                break;
            family_split(work, &in, which, 0, by_count);
        }
    }
    for (size_t i = 0; i < TREE_WIDTH; i++)
    {
        box here = i < in.count ? in.bound[i] : box_nothing;
        child[i] = i < in.count ? in.of[i] : (span){0, 0};
        node_put(node, i, here, child[i].count == 1 ? work->leaf[child[i].start].item : TREE_EMPTY);
    }
}

/// Make the nodes of a level, number their children from `next` on, and lay out the level below.
static rlv_status level_make(build* work, level* at, level* below, size_t next, bool by_count, rlv_error* error)
{
    at->node = rlv_reserve(at->count, sizeof *at->node, error);
    at->child = rlv_reserve(at->count, sizeof *at->child, error);
    if (at->node == NULL || at->child == NULL)
        return RLV_SYSTEM;
#pragma omp parallel for schedule(dynamic)
    for (size_t i = 0; i < at->count; i++)
        node_make(work, at->of[i], by_count, at->node + i, at->child[i]);
    for (size_t i = 0; i < at->count; i++)
        for (size_t k = 0; k < TREE_WIDTH; k++)
            if (at->child[i][k].count > 1)
                at->node[i].child[k] = (uint32_t)(next + below->count++);
    below->of = rlv_reserve(below->count, sizeof *below->of, error);
    if (below->of == NULL)
        return RLV_SYSTEM;
    size_t place = 0;
    for (size_t i = 0; i < at->count; i++)
        for (size_t k = 0; k < TREE_WIDTH; k++)
            if (at->child[i][k].count > 1)
                below->of[place++] = at->child[i][k];
    free(at->child);
    at->child = NULL;
    return RLV_DONE;
}

static rlv_status nodes(build* work, rlv_error* error)
{
    rlv_tree* tree = work->tree;
    level at[TREE_LEVELS] = {0};
    size_t depth = 0;
    rlv_status status = RLV_DONE;
    at[0].count = 1;
    at[0].of = rlv_reserve(1, sizeof *at[0].of, error);
    if (at[0].of == NULL)
        return RLV_SYSTEM;
    at[0].of[0] = (span){0, work->leaf_count};
    tree->node_count = work->bottom_count; // after the root
    for (; status == RLV_DONE && depth + 1 < TREE_LEVELS && at[depth].count > 0; depth++)
    {
        tree->node_count += at[depth].count;
        status = level_make(work, at + depth, at + depth + 1, tree->node_count, depth >= TREE_LEVELS / 2, error);
    }
    if (status == RLV_DONE)
    {
        tree->node = aligned_alloc(64, (tree->node_count * sizeof *tree->node + 63) & ~(size_t)63);
        if (tree->node == NULL)
            status = rlv_fail(error, RLV_SYSTEM, NULL, "close other programs, or use a smaller mesh",
                              "no memory for the nodes of the spatial index");
        else
            rlv_use_large_pages(tree->node, tree->node_count * sizeof *tree->node);
    }
    size_t place = 0;
    for (size_t i = 0; i <= depth && i < TREE_LEVELS; i++)
    {
        if (status == RLV_DONE && at[i].count > 0)
            memcpy(tree->node + place, at[i].node, at[i].count * sizeof *at[i].node);
        place += at[i].count + (i == 0 ? work->bottom_count : 0);
        level_free(at + i);
    }
    if (status == RLV_DONE && work->bottom_count > 0)
        memcpy(tree->node + 1, work->bottoms, work->bottom_count * sizeof *work->bottoms);
    return status;
}

// --------------------------------------------------------------------------------------------------------------- whole

/// Number the nodes over the leaves of a quick tree.
static rlv_status lay_bottoms(build* work, rlv_error* error)
{
    work->bottom = rlv_reserve(work->cluster_count + 1, sizeof *work->bottom, error);
    if (work->bottom == NULL)
        return RLV_SYSTEM;
    for (size_t c = 0; c < work->cluster_count; c++)
        work->bottom[c + 1] =
            work->bottom[c] + (work->cluster[c + 1] - work->cluster[c] + QUICK_CLUSTER - 1) / QUICK_CLUSTER;
    work->bottom_count = work->bottom[work->cluster_count];
    work->bottoms = rlv_reserve(work->bottom_count, sizeof *work->bottoms, error);
    return work->bottoms != NULL ? RLV_DONE : RLV_SYSTEM;
}

static rlv_status build_run(build* work, bool quick, rlv_error* error)
{
    size_t count = work->mesh->triangle_count;
    rlv_status status = measure(work, error);
    if (status != RLV_DONE)
        return status;
    work->key = rlv_reserve(count, sizeof *work->key, error);
    work->spare = rlv_reserve(count, sizeof *work->spare, error);
    if (work->key == NULL || work->spare == NULL)
        return RLV_SYSTEM;
    status = sort(work, error);
    free(work->spare);
    work->spare = NULL;
    if (status != RLV_DONE)
        return status;

    work->cluster_limit = quick ? QUICK_CLUSTER : CLUSTER;
    work->cluster = rlv_reserve(count + 1, sizeof *work->cluster, error);
    if (work->cluster == NULL)
        return RLV_SYSTEM;
    cluster(work, 0, count, DIGITS * DIGIT_BITS - 1);
    work->tree->triangle_count = count;
    work->tree->leaf = rlv_reserve(count * TREE_LEAF_FLOATS + TREE_WIDTH, sizeof *work->tree->leaf, error);
    if (work->tree->leaf == NULL || (quick && lay_bottoms(work, error) != RLV_DONE))
        return RLV_SYSTEM;
    status = leaves(work, error);
    return status == RLV_DONE ? nodes(work, error) : status;
}

static void build_free(build* work)
{
    free(work->key);
    free(work->spare);
    free(work->cluster);
    free(work->bottom);
    free(work->bottoms);
    for (size_t task = 0; work->task_leaf != NULL && task < work->task_count; task++)
        free(work->task_leaf[task]);
    free(work->task_leaf);
    free(work->task_start);
    free(work->leaf);
}

static rlv_status build_tree(rlv_tree** tree, const rlv_mesh* mesh, bool quick, rlv_error* error)
{
    *tree = NULL;
    if (mesh->triangle_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give a mesh with faces", "the mesh has no triangle");
    if (mesh->triangle_count >= (size_t)1 << TREE_START_BITS)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "use a coarser mesh",
                        "%zu triangles are more than the spatial index can number", mesh->triangle_count);
    rlv_tree* made = rlv_reserve(1, sizeof *made, error);
    if (made == NULL)
        return RLV_SYSTEM;
    build work = {.mesh = mesh, .tree = made};
    rlv_status status = build_run(&work, quick, error);
    build_free(&work);
    if (status != RLV_DONE)
    {
        rlv_tree_free(made);
        return status;
    }
    *tree = made;
    return RLV_DONE;
}

rlv_status rlv_tree_build(rlv_tree** tree, const rlv_mesh* mesh, rlv_error* error)
{
    return build_tree(tree, mesh, false, error);
}

rlv_status rlv_tree_build_for(rlv_tree** tree, const rlv_mesh* mesh, size_t queries, rlv_error* error)
{
    return build_tree(tree, mesh, queries < QUICK_QUERIES * mesh->triangle_count, error);
}
