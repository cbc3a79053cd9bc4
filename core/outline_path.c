/// Points put on the mesh, and the way from one to the next over its edges.

#include "outline_parts.h"

#include <math.h>
#include <stdlib.h>

#define ABOUT_MOST 64 ///< triangles about a point that its edge's length is the mean of
#define SPOKES 8      ///< places about a point that its normal is the mean of: this many on each of RINGS rings
#define RINGS 4
#define ABOUT (RINGS * SPOKES)
#define PULL 4.0          ///< weight of an edge's squared distance from the section, in squared mean edges
#define LEAST_UPRIGHT 0.3 ///< sine between normal and segment from which on the plane through both is a section

// --- corners ---------------------------------------------------------------------------------------------------------

/// The corner of the nearest triangle that lies nearest to the foot.
static uint32_t nearest_vertex(const rlv_surface* surface, uint32_t triangle, rlv_vec3 foot)
{
    const uint32_t* c = surface->mesh->corner + 3 * (size_t)triangle;
    uint32_t best = c[0];
    double least = INFINITY;
    for (int i = 0; i < 3; i++)
    {
        const double apart = rlv_vec3_length(rlv_vec3_sub(outline_at(surface, c[i]), foot));
        if (apart < least)
            least = apart, best = c[i];
    }
    return best;
}

static bool is_listed(const uint32_t* list, size_t count, uint32_t triangle)
{
    for (size_t i = count; i-- > 0;)
        if (list[i] == triangle)
            return true;
    return false;
}

static bool lies_about(const rlv_surface* surface, uint32_t triangle, rlv_vec3 foot, double reach_mm)
{
    const uint32_t* c = surface->mesh->corner + 3 * (size_t)triangle;
    rlv_vec3 sum =
        rlv_vec3_add(outline_at(surface, c[0]), rlv_vec3_add(outline_at(surface, c[1]), outline_at(surface, c[2])));
    return rlv_vec3_length(rlv_vec3_sub(rlv_vec3_scale(sum, 1.0 / 3.0), foot)) <= reach_mm;
}

/// The mean edge and normal of up to ABOUT_MOST triangles that hang together about a corner, out to `reach_mm`.
static void look_near(outline_corner* corner, const rlv_surface* surface, double reach_mm)
{
    uint32_t list[ABOUT_MOST] = {corner->triangle};
    size_t count = 1;
    double area2 = 0.0;
    rlv_vec3 sum = {0, 0, 0};
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 own = outline_area2(surface, list[i]);
        sum = rlv_vec3_add(sum, own);
        area2 += rlv_vec3_length(own);
        for (unsigned k = 0; k < 3; k++)
        {
            const uint32_t next = surface->neighbour[3 * (size_t)list[i] + k];
            if (next != RLV_NO_NEIGHBOUR && count < ABOUT_MOST && !is_listed(list, count, next) &&
                lies_about(surface, next, corner->foot, reach_mm))
                list[count++] = next;
        }
    }
    corner->normal = rlv_vec3_unit(sum);
    // The edge of an equilateral triangle of the mean area.
    corner->edge_mm = sqrt(2.0 * area2 / (sqrt(3.0) * (double)count));
}

/// Two directions of length one across a normal.
static void frame_across(rlv_vec3 normal, rlv_vec3* u, rlv_vec3* v)
{
    const rlv_vec3 least = fabs(normal.x) < 0.6 ? rlv_vec3_of(1, 0, 0) : rlv_vec3_of(0, 1, 0);
    *u = rlv_vec3_unit(rlv_vec3_cross(normal, least));
    *v = rlv_vec3_cross(normal, *u);
}

static double apart(const outline_corner* a, const outline_corner* b)
{
    return rlv_vec3_length(rlv_vec3_sub(a->foot, b->foot));
}

/// Half the way from a corner to the nearer of its neighbours.
static double reach_of(const outline_corner* corner, size_t count, size_t i, bool closed)
{
    double least = INFINITY;
    if (closed || i > 0)
        least = fmin(least, apart(corner + i, corner + (i + count - 1) % count));
    if (closed || i + 1 < count)
        least = fmin(least, apart(corner + i, corner + (i + 1) % count));
    return least / 2.0;
}

static void set_query(float* query, rlv_vec3 at)
{
    query[0] = (float)at.x;
    query[1] = (float)at.y;
    query[2] = (float)at.z;
}

/// The places of a disc of `reach_mm` about a corner, on rings that part it into equal areas: ABOUT of them.
static void set_about(float* query, const outline_corner* corner, double reach_mm)
{
    rlv_vec3 u, v;
    frame_across(corner->normal, &u, &v);
    for (size_t i = 0; i < ABOUT; i++)
    {
        const double radius = reach_mm * sqrt(((double)(i / SPOKES) + 0.5) / RINGS);
        const double turn = 2.0 * M_PI * ((double)(i % SPOKES) + 0.5 * (double)(i / SPOKES % 2)) / SPOKES;
        set_query(query + 3 * i,
                  rlv_vec3_along(rlv_vec3_along(corner->foot, radius * cos(turn), u), radius * sin(turn), v));
    }
}

/// Take the mean of the normals there: roughness that is finer than a segment must not tilt its section. What faces
/// away is the back of a thin slab, or another wall of a trench.
static void average_about(outline_corner* corner, const rlv_surface* surface, const rlv_nearest* found, double reach_mm)
{
    rlv_vec3 sum = {0, 0, 0};
    for (size_t i = 0; i < ABOUT; i++)
    {
        if (found[i].triangle == RLV_TREE_NONE || (double)found[i].distance_mm > reach_mm)
            continue;
        const rlv_vec3 normal = rlv_vec3_unit(outline_area2(surface, found[i].triangle));
        if (rlv_vec3_dot(normal, corner->normal) > 0.0)
            sum = rlv_vec3_add(sum, normal);
    }
    if (rlv_vec3_length(sum) > 0.0)
        corner->normal = rlv_vec3_unit(sum);
}

/// Look about all corners, each out to half the way to the nearer of its neighbours.
static rlv_status look_around(outline_corner* corner, const rlv_surface* surface, size_t count, bool closed,
                              rlv_error* error)
{
    float* query = rlv_reserve(3 * ABOUT * count, sizeof *query, error);
    rlv_nearest* found = query != NULL ? rlv_reserve(ABOUT * count, sizeof *found, error) : NULL;
    const rlv_status status = found != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        for (size_t i = 0; i < count; i++)
        {
            const double reach = reach_of(corner, count, i, closed);
            look_near(corner + i, surface, reach);
            set_about(query + 3 * ABOUT * i, corner + i, reach);
        }
        rlv_tree_nearest(surface->tree, ABOUT * count, query, INFINITY, found);
        for (size_t i = 0; i < count; i++)
            average_about(corner + i, surface, found + ABOUT * i, reach_of(corner, count, i, closed));
    }
    free(query);
    free(found);
    return status;
}

/// Refuse a point that is not finite; `size_mm` gets the diagonal of the box round them.
static rlv_status check_points(size_t count, const rlv_vec3* point_mm, double* size_mm, rlv_error* error)
{
    rlv_vec3 low = point_mm[0], high = point_mm[0];
    for (size_t i = 0; i < count; i++)
    {
        const rlv_vec3 p = point_mm[i];
        if (!isfinite(p.x) || !isfinite(p.y) || !isfinite(p.z))
            return rlv_fail(error, RLV_BAD_INPUT, NULL, "place it again", "point %zu has no place: it is not finite",
                            i + 1);
        low = rlv_vec3_of(fmin(low.x, p.x), fmin(low.y, p.y), fmin(low.z, p.z));
        high = rlv_vec3_of(fmax(high.x, p.x), fmax(high.y, p.y), fmax(high.z, p.z));
    }
    *size_mm = rlv_vec3_length(rlv_vec3_sub(high, low));
    return RLV_DONE;
}

/// Refuse the first point that lies off the mesh; `farthest_mm` gets how far off the farthest lies.
static rlv_status check_distances(double* farthest_mm, size_t count, const rlv_nearest* found, double size_mm,
                                  rlv_error* error)
{
    const double limit = fmax(RLV_OUTLINE_SHARE * size_mm, RLV_OUTLINE_LEAST_MM);
    for (size_t i = 0; i < count; i++)
    {
        // A point so far off that a float cannot hold its distance finds nothing.
        const bool nowhere = found[i].triangle == RLV_TREE_NONE;
        const double off = nowhere ? INFINITY : (double)found[i].distance_mm;
        if (nowhere || off > limit)
            return rlv_fail(
                error, RLV_BAD_INPUT, NULL, "check the unit, and that it was placed on this stage's mesh file",
                "point %zu of %zu lies %.3g mm off the mesh; %.3g mm are allowed for %.3g mm from end to end", i + 1,
                count, off, limit, size_mm);
        *farthest_mm = fmax(*farthest_mm, off);
    }
    return RLV_DONE;
}

/// Look the points up, all at once.
static rlv_status put_on_mesh(outline_corner* corner, double* farthest_mm, const rlv_surface* surface, size_t count,
                              const rlv_vec3* point_mm, rlv_error* error)
{
    double size = 0.0;
    rlv_status status = check_points(count, point_mm, &size, error);
    if (status != RLV_DONE)
        return status;
    float* query = rlv_reserve(3 * count, sizeof *query, error);
    rlv_nearest* found = query != NULL ? rlv_reserve(count, sizeof *found, error) : NULL;
    status = found != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        for (size_t i = 0; i < count; i++)
            set_query(query + 3 * i, rlv_vec3_sub(point_mm[i], surface->mesh->origin_mm));
        rlv_tree_nearest(surface->tree, count, query, INFINITY, found);
        status = check_distances(farthest_mm, count, found, size, error);
    }
    for (size_t i = 0; status == RLV_DONE && i < count; i++)
    {
        corner[i].foot = rlv_vec3_from(found[i].point_mm);
        corner[i].triangle = found[i].triangle;
        corner[i].vertex = nearest_vertex(surface, found[i].triangle, corner[i].foot);
    }
    free(query);
    free(found);
    return status;
}

/// Leave out what falls on the vertex before. Returns how many are left.
static size_t thin(outline_corner* corner, size_t count, bool closed)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (kept == 0 || corner[i].vertex != corner[kept - 1].vertex)
            corner[kept++] = corner[i];
    while (closed && kept > 1 && corner[kept - 1].vertex == corner[0].vertex)
        kept--;
    return kept;
}

rlv_status rlv_outline_corners(outline_corner** corner, size_t* kept, double* farthest_mm, const rlv_surface* surface,
                               size_t count, const rlv_vec3* point_mm, bool closed, rlv_error* error)
{
    *corner = rlv_reserve(count, sizeof **corner, error);
    if (*corner == NULL)
        return RLV_SYSTEM;
    outline_corner* c = *corner;
    rlv_status status = put_on_mesh(c, farthest_mm, surface, count, point_mm, error);
    if (status != RLV_DONE)
        return status;
    *kept = thin(c, count, closed);
    return *kept > 1 ? look_around(c, surface, *kept, closed, error) : RLV_DONE;
}

// --- the way between two ---------------------------------------------------------------------------------------------

/// What a way is to keep to: the plane through both feet and along the normal, or the line between them where that
/// plane is not to be told.
typedef struct section
{
    rlv_vec3 foot, along, across; ///< a point, the line's direction, the plane's normal (zero: there is no plane)
    double pull_mm2;              ///< weight of a squared distance
} section;

static section section_of(const outline_corner* a, const outline_corner* b)
{
    const rlv_vec3 along = rlv_vec3_unit(rlv_vec3_sub(b->foot, a->foot)), sum = rlv_vec3_add(a->normal, b->normal);
    const rlv_vec3 across = rlv_vec3_cross(rlv_vec3_unit(sum), along);
    const double edge = (a->edge_mm + b->edge_mm) / 2.0;
    section s = {.foot = a->foot, .along = along, .pull_mm2 = PULL / (edge * edge)};
    // Normals more than 150 degrees apart leave a sum of no more than 2 cos 75.
    if (rlv_vec3_length(sum) > 0.5 && rlv_vec3_length(across) > LEAST_UPRIGHT)
        s.across = rlv_vec3_unit(across);
    return s;
}

static bool has_plane(const section* s)
{
    return s->across.x != 0.0 || s->across.y != 0.0 || s->across.z != 0.0;
}

/// How far off the section a place lies: signed where it is a plane.
static double distance_off(const section* s, rlv_vec3 at)
{
    const rlv_vec3 d = rlv_vec3_sub(at, s->foot);
    return has_plane(s) ? rlv_vec3_dot(d, s->across) : rlv_vec3_length(rlv_vec3_cross(d, s->along));
}

/// An edge's length plus the integral along it of the weighted squared distance.
static double cost_of(const section* s, double length, double from_off, double to_off)
{
    return length * (1.0 + s->pull_mm2 * (from_off * from_off + from_off * to_off + to_off * to_off) / 3.0);
}

/// A vertex that the search has seen.
typedef struct search_node
{
    uint32_t vertex, triangle; ///< and a triangle at the edge that it was reached by
    uint32_t parent;
    bool settled;
    double cost, off_mm, left_mm; ///< from the start; off the section; straight to the end
} search_node;

typedef struct search_turn
{
    double key;
    uint32_t node;
} search_turn;

typedef struct search
{
    const rlv_surface* surface;
    section section;
    rlv_vec3 end;
    outline_numbers numbers; ///< the node of each vertex
    size_t count, capacity;
    search_node* node;
    size_t turns, turn_capacity;
    search_turn* turn; ///< a heap
    rlv_error* error;
} search;

static bool comes_first(search_turn a, search_turn b)
{
    return a.key != b.key ? a.key < b.key : a.node < b.node;
}

static rlv_status push_turn(search* s, search_turn turn)
{
    search_turn* room = rlv_outline_room(s->turn, s->turns, &s->turn_capacity, sizeof *s->turn, s->error);
    if (room == NULL)
        return RLV_SYSTEM;
    s->turn = room;
    size_t at = s->turns++;
    for (; at > 0 && comes_first(turn, room[(at - 1) / 2]); at = (at - 1) / 2)
        room[at] = room[(at - 1) / 2];
    room[at] = turn;
    return RLV_DONE;
}

static search_turn pop_turn(search* s)
{
    const search_turn top = s->turn[0], last = s->turn[--s->turns];
    size_t at = 0;
    for (size_t child = 1; child < s->turns; child = 2 * at + 1)
    {
        child += child + 1 < s->turns && comes_first(s->turn[child + 1], s->turn[child]);
        if (!comes_first(s->turn[child], last))
            break;
        s->turn[at] = s->turn[child];
        at = child;
    }
    if (s->turns != 0)
        s->turn[at] = last;
    return top;
}

/// The node of a vertex, made where it is not there; UINT32_MAX where memory fails.
static uint32_t node_of(search* s, uint32_t vertex)
{
    uint64_t* entry = rlv_outline_numbers_at(&s->numbers, vertex, s->error);
    if (entry == NULL || (uint32_t)*entry != UINT32_MAX)
        return entry != NULL ? (uint32_t)*entry : UINT32_MAX;
    search_node* room = rlv_outline_room(s->node, s->count, &s->capacity, sizeof *s->node, s->error);
    if (room == NULL)
        return UINT32_MAX;
    s->node = room;
    const rlv_vec3 at = outline_at(s->surface, vertex);
    room[s->count] = (search_node){.vertex = vertex,
                                   .cost = INFINITY,
                                   .off_mm = distance_off(&s->section, at),
                                   .left_mm = rlv_vec3_length(rlv_vec3_sub(s->end, at))};
    *entry = (uint64_t)vertex << 32 | s->count;
    return (uint32_t)s->count++;
}

/// Try the edge from a node to `vertex`, which `triangle` has.
static rlv_status try_edge(search* s, uint32_t from, uint32_t vertex, uint32_t triangle)
{
    const uint32_t to = node_of(s, vertex);
    if (to == UINT32_MAX)
        return RLV_SYSTEM;
    const search_node* a = s->node + from;
    search_node* b = s->node + to;
    if (b->settled)
        return RLV_DONE;
    const double length =
        rlv_vec3_length(rlv_vec3_sub(outline_at(s->surface, a->vertex), outline_at(s->surface, vertex)));
    const double cost = a->cost + cost_of(&s->section, length, a->off_mm, b->off_mm);
    if (cost >= b->cost)
        return RLV_DONE;
    b->cost = cost;
    b->parent = from;
    b->triangle = triangle;
    return push_turn(s, (search_turn){cost + b->left_mm, to});
}

/// Try the edges of a node's vertex on one way round, from the side between it and `beside` on. `*around` where the way
/// comes back to the triangle it began in.
static rlv_status try_round(search* s, uint32_t from, uint32_t beside, bool* around)
{
    const rlv_mesh* mesh = s->surface->mesh;
    const uint32_t vertex = s->node[from].vertex, first = s->node[from].triangle;
    uint32_t triangle = first;
    *around = false;
    for (;;)
    {
        const unsigned side = rlv_side_of(mesh, triangle, vertex, beside);
        triangle = s->surface->neighbour[3 * (size_t)triangle + side];
        *around = triangle == first;
        if (*around || triangle == RLV_NO_NEIGHBOUR)
            return RLV_DONE;
        const uint32_t* c = mesh->corner + 3 * (size_t)triangle;
        beside = c[0] ^ c[1] ^ c[2] ^ vertex ^ beside;
        const rlv_status status = try_edge(s, from, beside, triangle);
        if (status != RLV_DONE)
            return status;
    }
}

static rlv_status try_all(search* s, uint32_t from)
{
    const uint32_t vertex = s->node[from].vertex, triangle = s->node[from].triangle;
    const uint32_t* c = s->surface->mesh->corner + 3 * (size_t)triangle;
    const int own = c[0] == vertex ? 0 : c[1] == vertex ? 1 : 2;
    const uint32_t next = c[(own + 1) % 3], before = c[(own + 2) % 3];
    bool around = false;
    rlv_status status = try_edge(s, from, next, triangle);
    if (status == RLV_DONE)
        status = try_edge(s, from, before, triangle);
    if (status == RLV_DONE)
        status = try_round(s, from, next, &around);
    // An open border ended it: the other way round, too.
    if (status == RLV_DONE && !around)
        status = try_round(s, from, before, &around);
    return status;
}

/// Search until `end` is settled: `*last` is its node, or UINT32_MAX where the surface does not lead there.
static rlv_status run_search(search* s, const outline_corner* begin, uint32_t end, uint32_t* last)
{
    rlv_status status = RLV_SYSTEM;
    *last = UINT32_MAX;
    const uint32_t start = node_of(s, begin->vertex);
    if (start == UINT32_MAX)
        return status;
    s->node[start].cost = 0.0;
    s->node[start].parent = UINT32_MAX;
    s->node[start].triangle = begin->triangle;
    status = push_turn(s, (search_turn){0.0, start});
    while (status == RLV_DONE && s->turns != 0)
    {
        const uint32_t at = pop_turn(s).node;
        if (s->node[at].settled)
            continue;
        s->node[at].settled = true;
        if (s->node[at].vertex == end)
        {
            *last = at;
            return RLV_DONE;
        }
        status = try_all(s, at);
    }
    return status;
}

static rlv_status append(outline_walk* walk, const search* s, uint32_t to, uint32_t triangle, uint32_t from)
{
    outline_step* room = rlv_outline_room(walk->step, walk->count, &walk->capacity, sizeof *walk->step, s->error);
    if (room == NULL)
        return RLV_SYSTEM;
    walk->step = room;
    const rlv_vec3 way = rlv_vec3_sub(outline_at(s->surface, to), outline_at(s->surface, from));
    const double across = rlv_vec3_dot(way, s->section.across);
    const double length = sqrt(fmax(rlv_vec3_dot(way, way) - across * across, 0.0));
    room[walk->count++] = (outline_step){to, triangle, length};
    return RLV_DONE;
}

/// Append the way found, which runs from the last node to the first, `back` as it is and else turned.
static rlv_status append_way(outline_walk* walk, const search* s, uint32_t last, bool back)
{
    const size_t begin = walk->count;
    rlv_status status = RLV_DONE;
    for (uint32_t at = last; status == RLV_DONE && s->node[at].parent != UINT32_MAX; at = s->node[at].parent)
    {
        const search_node *n = s->node + at, *before = s->node + n->parent;
        status = back ? append(walk, s, before->vertex, n->triangle, n->vertex)
                      : append(walk, s, n->vertex, n->triangle, before->vertex);
    }
    for (size_t i = begin, j = walk->count; !back && i + 1 < j; i++)
    {
        const outline_step step = walk->step[i];
        walk->step[i] = walk->step[--j];
        walk->step[j] = step;
    }
    return status;
}

rlv_status rlv_outline_join(outline_walk* walk, const rlv_surface* surface, const outline_corner* from,
                            const outline_corner* to, rlv_error* error)
{
    // Always searched from the lower vertex, so that the way back is the same way.
    const bool back = to->vertex < from->vertex;
    const outline_corner *low = back ? to : from, *high = back ? from : to;
    search s = {.surface = surface, .section = section_of(low, high), .error = error};
    s.end = outline_at(surface, high->vertex);
    uint32_t last;
    rlv_status status = rlv_outline_numbers_begin(&s.numbers, error);
    if (status == RLV_DONE)
        status = run_search(&s, low, high->vertex, &last);
    if (status == RLV_DONE && last == UINT32_MAX)
        status = rlv_fail(error, RLV_BAD_INPUT, NULL, "keep to one part of the mesh, or remove floating crumbs from it",
                          "its points lie on parts of the mesh that do not hang together");
    if (status == RLV_DONE)
        status = append_way(walk, &s, last, back);
    rlv_outline_numbers_free(&s.numbers);
    free(s.node);
    free(s.turn);
    return status;
}
