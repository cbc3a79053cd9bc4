/// What a closed walk over edges parts. Every edge carries how often the walk passes it one way less the other, so that
/// a spur that is walked out and back is no wall. A walk that parts the surface gives every triangle a winding number,
/// one more to the left of a wall than to its right; where it does not cross itself, these numbers take two values.

#include "outline_parts.h"

#include <stdlib.h>
#include <string.h>

#define LOOP_MOST 12 ///< steps of a loop that is cut off: sides of a corner of 15 degrees part after four edges

// --- tidying ---------------------------------------------------------------------------------------------------------

/// Cut loops of at most LOOP_MOST steps off a walk, as they close.
static rlv_status cut_loops(outline_walk* walk, rlv_error* error)
{
    outline_numbers last = {0}; // where each vertex on the walk was last reached
    rlv_status status = rlv_outline_numbers_begin(&last, error);
    size_t kept = 0;
    for (size_t i = 0; status == RLV_DONE && i < walk->count; i++)
    {
        const outline_step step = walk->step[i];
        uint64_t* entry = rlv_outline_numbers_at(&last, step.vertex, error);
        if (entry == NULL)
        {
            status = RLV_SYSTEM;
            break;
        }
        const size_t at = (uint32_t)*entry;
        // What was cut off since may have taken the place with it.
        const bool there = at < kept && walk->step[at].vertex == step.vertex;
        if (there && kept - at <= LOOP_MOST)
        {
            kept = at + 1;
            continue;
        }
        *entry = (uint64_t)step.vertex << 32 | kept;
        walk->step[kept++] = step;
    }
    walk->count = kept;
    rlv_outline_numbers_free(&last);
    return status;
}

/// Let a closed walk begin in its middle.
static rlv_status begin_in_the_middle(outline_walk* walk, rlv_error* error)
{
    const size_t half = walk->count / 2;
    outline_step* first = rlv_reserve(half, sizeof *first, error);
    if (first == NULL)
        return RLV_SYSTEM;
    memcpy(first, walk->step, half * sizeof *first);
    memmove(walk->step, walk->step + half, (walk->count - half) * sizeof *first);
    memcpy(walk->step + walk->count - half, first, half * sizeof *first);
    free(first);
    return RLV_DONE;
}

rlv_status rlv_outline_tidy(outline_walk* walk, rlv_error* error)
{
    rlv_status status = cut_loops(walk, error);
    if (status == RLV_DONE && walk->count > 1)
        status = begin_in_the_middle(walk, error);
    return status == RLV_DONE ? cut_loops(walk, error) : status;
}

// --- walls -----------------------------------------------------------------------------------------------------------

/// What is marked on a triangle.
enum
{
    WALL_ON_LEFT = 1,  ///< << side: that side is a wall and the triangle lies to the left of the walk
    WALL_ON_RIGHT = 8, ///< << side: … to the right
    IN_LEFT = 64,      ///< reached from the left
    IN_RIGHT = 128,
    WALLS = 63,
};

/// A passage of the walk over an edge.
typedef struct passage
{
    uint64_t edge; ///< lower vertex << 32 | upper
    uint32_t triangle;
    int32_t up; ///< +1: from the lower to the upper
} passage;

static int by_edge(const void* a, const void* b)
{
    const passage *x = a, *y = b;
    if (x->edge != y->edge)
        return x->edge < y->edge ? -1 : 1;
    return (x->triangle > y->triangle) - (x->triangle < y->triangle);
}

/// The triangles reached from one side of the walls: those that bear its mark.
typedef struct flood
{
    uint8_t mark;
    size_t reached;
    size_t count, capacity;
    uint32_t* front; ///< count triangles reached that have not been gone on from, the last one next
} flood;

typedef struct parting
{
    const rlv_surface* surface;
    uint8_t* mark;  ///< one a triangle, and up to a whole word
    uint32_t first; ///< a triangle at a wall
    flood left, right;
    bool mixed; ///< a triangle was reached from both sides
    rlv_error* error;
} parting;

static rlv_status reach(parting* part, flood* to, uint32_t triangle)
{
    uint8_t* mark = part->mark + triangle;
    part->mixed |= (*mark & (IN_LEFT | IN_RIGHT) & ~to->mark) != 0;
    if (*mark & to->mark)
        return RLV_DONE;
    uint32_t* room = rlv_outline_room(to->front, to->count, &to->capacity, sizeof *to->front, part->error);
    if (room == NULL)
        return RLV_SYSTEM;
    *mark |= to->mark;
    to->front = room;
    to->front[to->count++] = triangle;
    to->reached++;
    return RLV_DONE;
}

static rlv_status set_wall(parting* part, uint32_t triangle, uint32_t lower, uint32_t upper, bool up)
{
    const rlv_mesh* mesh = part->surface->mesh;
    const unsigned side = rlv_side_of(mesh, triangle, lower, upper);
    const bool on_left = rlv_side_starts(mesh, triangle, side, up ? lower : upper);
    part->mark[triangle] |= (uint8_t)((on_left ? WALL_ON_LEFT : WALL_ON_RIGHT) << side);
    part->first = triangle;
    rlv_status status = reach(part, on_left ? &part->left : &part->right, triangle);
    const uint32_t other = part->surface->neighbour[3 * (size_t)triangle + side];
    if (status != RLV_DONE || other == RLV_NO_NEIGHBOUR)
        return status;
    part->mark[other] |= (uint8_t)((on_left ? WALL_ON_RIGHT : WALL_ON_LEFT) << rlv_side_of(mesh, other, lower, upper));
    return reach(part, on_left ? &part->right : &part->left, other);
}

static rlv_status fail_crossing(rlv_error* error)
{
    return rlv_fail(error, RLV_BAD_INPUT, NULL, "number its points in their order around it, once round",
                    "it crosses itself");
}

/// Make walls of the passages, sorted: of what is walked as often one way as the other, none.
static rlv_status set_walls(parting* part, const passage* passages, size_t count)
{
    rlv_status status = RLV_DONE;
    for (size_t i = 0, end; status == RLV_DONE && i < count; i = end)
    {
        int32_t up = 0;
        for (end = i; end < count && passages[end].edge == passages[i].edge; end++)
            up += passages[end].up;
        if (up > 1 || up < -1)
            return fail_crossing(part->error);
        if (up != 0)
            status = set_wall(part, passages[i].triangle, (uint32_t)(passages[i].edge >> 32),
                              (uint32_t)passages[i].edge, up > 0);
    }
    return status;
}

static rlv_status wall_up(parting* part, const outline_walk* walk)
{
    passage* passages = rlv_reserve(walk->count, sizeof *passages, part->error);
    if (passages == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < walk->count; i++)
    {
        const uint32_t from = walk->step[i != 0 ? i - 1 : walk->count - 1].vertex, to = walk->step[i].vertex;
        const uint32_t lower = from < to ? from : to, upper = from < to ? to : from;
        passages[i] = (passage){(uint64_t)lower << 32 | upper, walk->step[i].triangle, from < to ? 1 : -1};
    }
    qsort(passages, walk->count, sizeof *passages, by_edge);
    const rlv_status status = set_walls(part, passages, walk->count);
    free(passages);
    return status;
}

// --- sides -----------------------------------------------------------------------------------------------------------

static bool is_wall(uint8_t mark, unsigned side)
{
    return (mark & ((WALL_ON_LEFT | WALL_ON_RIGHT) << side)) != 0;
}

/// Go on from the last triangle of a flood's front.
static rlv_status spread(parting* part, flood* f)
{
    const uint32_t triangle = f->front[--f->count];
    rlv_status status = RLV_DONE;
    for (unsigned k = 0; status == RLV_DONE && k < 3; k++)
    {
        const uint32_t next = part->surface->neighbour[3 * (size_t)triangle + k];
        if (next != RLV_NO_NEIGHBOUR && !is_wall(part->mark[triangle], k))
            status = reach(part, f, next);
    }
    return status;
}

#define WORD 8 ///< marks that are looked at together

/// The first triangle from `from` on that bears a flood's mark, or as many as there are.
static size_t next_marked(const parting* part, const flood* f, size_t from)
{
    const size_t all = part->surface->mesh->triangle_count;
    const uint64_t wanted = f->mark * 0x0101010101010101u;
    for (size_t t = from; t < all; t++)
    {
        uint64_t word;
        memcpy(&word, part->mark + t, sizeof word);
        if (t % WORD == 0 && (word & wanted) == 0)
            t += WORD - 1;
        else if (part->mark[t] & f->mark)
            return t;
    }
    return all;
}

/// Area reached so far, summed in the order of the triangles.
static double area_reached(const parting* part, const flood* f)
{
    double area2 = 0.0;
    size_t t = next_marked(part, f, 0);
    for (size_t i = 0; i < f->reached; i++, t = next_marked(part, f, t + 1))
        area2 += rlv_vec3_length(outline_area2(part->surface, (uint32_t)t));
    return area2 / 2.0;
}

/// Flood from both sides, always on the one that has reached less, until one is full.
static rlv_status fill_one(parting* part, flood** full, flood** other)
{
    flood *left = &part->left, *right = &part->right;
    rlv_status status = RLV_DONE;
    for (;;)
    {
        flood* less = right->reached < left->reached ? right : left;
        *full = less;
        *other = less == left ? right : left;
        if (status != RLV_DONE || part->mixed || less->count == 0)
            return status;
        status = spread(part, less);
    }
}

/// Find the side with less area. Which has fewer triangles is known first: the other is flooded on, by a quarter at a
/// time, until its area passes that side's or it is full, too.
static rlv_status find_smaller(parting* part, const flood** smaller, double* area_mm2)
{
    flood *full, *other;
    rlv_status status = fill_one(part, &full, &other);
    if (status != RLV_DONE || part->mixed)
        return status;
    const double area = area_reached(part, full);
    double beyond = area_reached(part, other);
    while (status == RLV_DONE && !part->mixed && other->count != 0 && beyond <= area)
    {
        const size_t until = other->reached + other->reached / 4 + 1;
        while (status == RLV_DONE && !part->mixed && other->count != 0 && other->reached < until)
            status = spread(part, other);
        beyond = area_reached(part, other);
    }
    // Equal sides: the walk's direction does not depend on the order of the points, and the left is taken.
    const bool take_full = area < beyond || (area == beyond && full == &part->left);
    *smaller = take_full ? full : other;
    *area_mm2 = take_full ? area : beyond;
    return status;
}

/// How the winding number changes over a side of a triangle.
static int16_t winding_step(uint8_t mark, unsigned side)
{
    if (mark & WALL_ON_RIGHT << side)
        return 1;
    return mark & WALL_ON_LEFT << side ? -1 : 0;
}

/// Number the windings of what hangs together with the first in `queue`, which has room for all triangles; `winding`
/// is INT16_MIN where none is known. Whether they agree wherever the flood comes back.
static bool windings_agree(const parting* part, int16_t* winding, uint32_t* queue)
{
    bool agree = true;
    size_t count = 1;
    winding[queue[0]] = 0;
    for (size_t i = 0; i < count; i++)
        for (unsigned k = 0; k < 3; k++)
        {
            const uint32_t next = part->surface->neighbour[3 * (size_t)queue[i] + k];
            if (next == RLV_NO_NEIGHBOUR)
                continue;
            const int16_t there = (int16_t)(winding[queue[i]] + winding_step(part->mark[queue[i]], k));
            agree &= winding[next] == INT16_MIN || winding[next] == there;
            if (winding[next] != INT16_MIN)
                continue;
            winding[next] = there;
            queue[count++] = next;
        }
    return agree;
}

/// Say why the two sides of the walls are not two: the walk crosses itself, or, where windings do not agree, the
/// surface hangs together round it.
static rlv_status fail_mixed(parting* part)
{
    const size_t all = part->surface->mesh->triangle_count;
    int16_t* winding = rlv_reserve(all, sizeof *winding, part->error);
    uint32_t* queue = winding != NULL ? rlv_reserve(all, sizeof *queue, part->error) : NULL;
    rlv_status status = RLV_SYSTEM;
    if (queue != NULL)
    {
        for (size_t t = 0; t < all; t++)
            winding[t] = INT16_MIN;
        queue[0] = part->first;
        status = windings_agree(part, winding, queue)
                     ? fail_crossing(part->error)
                     : rlv_fail(part->error, RLV_BAD_INPUT, NULL, "draw it so that it closes off a part of the surface",
                                "it does not part the surface in two: it runs round a handle or a hole");
    }
    free(winding);
    free(queue);
    return status;
}

static rlv_status keep_side(rlv_outline* outline, const parting* part, const flood* side)
{
    outline->triangle = rlv_reserve(side->reached, sizeof *outline->triangle, part->error);
    if (outline->triangle == NULL)
        return RLV_SYSTEM;
    size_t t = next_marked(part, side, 0);
    for (size_t i = 0; i < side->reached; i++, t = next_marked(part, side, t + 1))
        outline->triangle[outline->triangle_count++] = (uint32_t)t;
    return RLV_DONE;
}

/// Turn a closed walk's vertices the other way.
static void turn_walk(outline_walk* walk)
{
    for (size_t i = 0, j = walk->count; i + 1 < j; i++)
    {
        const outline_step step = walk->step[i];
        walk->step[i] = walk->step[--j];
        walk->step[j] = step;
    }
}

rlv_status rlv_outline_part(rlv_outline* outline, outline_walk* walk, const rlv_surface* surface, rlv_error* error)
{
    parting part = {.surface = surface, .left = {.mark = IN_LEFT}, .right = {.mark = IN_RIGHT}, .error = error};
    const flood* smaller = NULL;
    part.mark = rlv_reserve(surface->mesh->triangle_count + WORD, 1, error);
    rlv_status status = part.mark != NULL ? wall_up(&part, walk) : RLV_SYSTEM;
    if (status == RLV_DONE && part.left.reached + part.right.reached == 0)
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "place its points around what it is to enclose",
                          "it encloses nothing: its points lie along a line");
    else if (status == RLV_DONE && !part.mixed && (part.left.reached == 0 || part.right.reached == 0))
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "draw it so that it closes off a part of the surface",
                          "it does not part the surface in two: it runs along the open border all the way");
    if (status == RLV_DONE)
        status = find_smaller(&part, &smaller, &outline->area_mm2);
    if (status == RLV_DONE && part.mixed)
        status = fail_mixed(&part);
    if (status == RLV_DONE)
        status = keep_side(outline, &part, smaller);
    if (status == RLV_DONE && smaller == &part.right)
        turn_walk(walk);
    free(part.mark);
    free(part.left.front);
    free(part.right.front);
    return status;
}
