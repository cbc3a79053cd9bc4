#include "element_parts.h"

#include "directions.h"

#include <stdlib.h>
#include <string.h>

enum
{
    LEAST_POINTS = 16, ///< of a border: fewer would cut its corners
};

// --- the border ------------------------------------------------------------------------------------------------------

/// A side of a triangle, from `start` to `end`.
typedef struct side
{
    uint32_t start, end;
    bool used;
} side;

static int by_ends(const void* a, const void* b)
{
    const side *x = a, *y = b;
    const uint32_t x_low = x->start < x->end ? x->start : x->end, x_high = x->start + (x->end - x_low);
    const uint32_t y_low = y->start < y->end ? y->start : y->end, y_high = y->start + (y->end - y_low);
    return x_low != y_low ? (x_low > y_low) - (x_low < y_low) : (x_high > y_high) - (x_high < y_high);
}

static int by_start(const void* a, const void* b)
{
    const side *x = a, *y = b;
    return x->start != y->start ? (x->start > y->start) - (x->start < y->start) : (x->end > y->end) - (x->end < y->end);
}

static bool same_ends(const side* a, const side* b)
{
    return by_ends(a, b) == 0;
}

/// Keep the sides that only one triangle of the part has, by their starts; how many.
static size_t keep_border(side* list, size_t count)
{
    size_t kept = 0;
    qsort(list, count, sizeof *list, by_ends);
    for (size_t first = 0, end = 0; first < count; first = end)
    {
        for (end = first + 1; end < count && same_ends(&list[first], &list[end]);)
            end++;
        if (end == first + 1)
            list[kept++] = list[first];
    }
    qsort(list, kept, sizeof *list, by_start);
    return kept;
}

static side* next_of(side* list, size_t count, uint32_t vertex)
{
    size_t low = 0, high = count;
    while (low < high)
    {
        const size_t mid = low + (high - low) / 2;
        if (list[mid].start < vertex)
            low = mid + 1;
        else
            high = mid;
    }
    while (low < count && list[low].start == vertex && list[low].used)
        low++;
    return low < count && list[low].start == vertex ? &list[low] : NULL;
}

static double side_length(const rlv_mesh* mesh, const side* s)
{
    return rlv_vec3_length(rlv_vec3_sub(rlv_mesh_vertex(mesh, s->end), rlv_mesh_vertex(mesh, s->start)));
}

/// Walk the loops; the longest is left in `loop` as vertices, its length in `*length_mm`. How many vertices.
static size_t longest_loop(uint32_t* loop, uint32_t* walk, double* length_mm, side* list, size_t count,
                           const rlv_mesh* mesh)
{
    size_t best = 0;
    *length_mm = 0.0;
    for (size_t i = 0; i < count; i++)
    {
        size_t steps = 0;
        double length = 0.0;
        for (side* at = list[i].used ? NULL : &list[i]; at != NULL; at = next_of(list, count, at->end))
        {
            at->used = true;
            walk[steps++] = at->start;
            length += side_length(mesh, at);
        }
        if (length > *length_mm)
        {
            memcpy(loop, walk, steps * sizeof *loop);
            *length_mm = length;
            best = steps;
        }
    }
    return best;
}

/// Sums over a stretch of a border.
typedef struct span
{
    double length_mm;
    rlv_vec3 sum; ///< of places, by length
} span;

/// Share a side out to the stretches that it runs through: one may be longer than several. `from_mm` is where on the
/// border it starts.
static void add_side(span* list, size_t count, double stretch_mm, double from_mm, rlv_vec3 a, rlv_vec3 b)
{
    const double length = rlv_vec3_length(rlv_vec3_sub(b, a)), end = from_mm + length;
    const size_t first = (size_t)(from_mm / stretch_mm);
    double at = from_mm;
    for (size_t k = first < count ? first : count - 1; at < end; k++)
    {
        const double upto = k + 1 < count ? fmin(stretch_mm * (double)(k + 1), end) : end;
        const double middle = (0.5 * (at + upto) - from_mm) / length, piece = fmax(upto - at, 0.0);
        list[k].sum = rlv_vec3_along(list[k].sum, piece, rlv_vec3_along(a, middle, rlv_vec3_sub(b, a)));
        list[k].length_mm += piece;
        at = fmax(at, upto);
    }
}

/// The mean of each of `count` stretches of equal length along the loop.
static void thin(rlv_placed_point* point, size_t count, const uint32_t* loop, size_t steps, double length_mm,
                 const rlv_element_part* part)
{
    span list[RLV_ELEMENT_POINTS] = {0};
    double along = 0.0;
    const rlv_vec3 about = rlv_mesh_vertex(part->mesh, loop[0]);
    const double edge = length_mm / (double)steps;
    for (size_t i = 0; i < steps; i++)
    {
        const rlv_vec3 a = rlv_mesh_vertex(part->mesh, loop[i]), b = rlv_mesh_vertex(part->mesh, loop[(i + 1) % steps]);
        add_side(list, count, length_mm / (double)count, along, rlv_vec3_sub(a, about), rlv_vec3_sub(b, about));
        along += rlv_vec3_length(rlv_vec3_sub(b, a));
    }
    for (size_t k = 0; k < count; k++)
    {
        // Where a border runs, along edges, is known to an edge's length: even, and anew for each.
        const double jitter = edge * edge / 12.0 / fmax(list[k].length_mm / edge, 1.0);
        point[k] = (rlv_placed_point){rlv_vec3_along(about, 1.0 / list[k].length_mm, list[k].sum),
                                      sqrt(part->noise_sd_mm * part->noise_sd_mm + jitter)};
    }
}

static rlv_status check_part(const rlv_element_part* part, rlv_error* error)
{
    if (part->triangle_count == 0)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "name a part that has faces", "the part has no faces");
    if (!(part->noise_sd_mm > 0.0 && isfinite(part->noise_sd_mm)))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give the sd of the mesh's noise", "the part's noise is %g mm",
                        part->noise_sd_mm);
    return RLV_DONE;
}

/// How many stretches a border is thinned to, each of three mean edges at least.
static size_t stretches(double length_mm, size_t steps, double noise_length_mm)
{
    const double edge = length_mm / (double)steps;
    const double stretch = fmax(3.0 * edge, isnan(noise_length_mm) ? 0.0 : 2.0 * noise_length_mm);
    const size_t count = (size_t)(length_mm / stretch), most = steps / 3;
    const size_t least = LEAST_POINTS < most ? LEAST_POINTS : most > 3 ? most : 3;
    return count < least ? least : count < RLV_ELEMENT_POINTS ? count : RLV_ELEMENT_POINTS;
}

rlv_status rlv_element_border(rlv_placed_point* point, size_t* count, const rlv_element_part* part, rlv_error* error)
{
    *count = 0;
    rlv_status status = check_part(part, error);
    if (status != RLV_DONE)
        return status;
    side* list = rlv_reserve(3 * part->triangle_count, sizeof *list, error);
    uint32_t* loop = rlv_reserve(3 * part->triangle_count, sizeof *loop, error);
    uint32_t* walk = rlv_reserve(3 * part->triangle_count, sizeof *walk, error);
    status = list != NULL && loop != NULL && walk != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        for (size_t i = 0; i < part->triangle_count; i++)
            for (size_t k = 0; k < 3; k++)
            {
                const uint32_t* corner = part->mesh->corner + 3 * (size_t)part->triangle[i];
                list[3 * i + k] = (side){corner[k], corner[(k + 1) % 3], false};
            }
        double length_mm;
        const size_t open = keep_border(list, 3 * part->triangle_count);
        const size_t steps = longest_loop(loop, walk, &length_mm, list, open, part->mesh);
        if (steps > 0)
        {
            size_t wanted = stretches(length_mm, steps, part->noise_length_mm);
            if (steps < 9) // a part of a few large faces: its corners themselves
            {
                wanted = steps;
                for (size_t i = 0; i < steps; i++)
                    point[i] = (rlv_placed_point){rlv_mesh_vertex(part->mesh, loop[i]), part->noise_sd_mm};
            }
            else
                thin(point, wanted, loop, steps, length_mm, part);
            *count = wanted;
        }
    }
    free(list);
    free(loop);
    free(walk);
    return status;
}

// --- a part that shows on both sides ---------------------------------------------------------------------------------

/// Volume and its first and second moments about a point, from signed tetrahedra.
typedef struct solid
{
    double volume_mm3;
    rlv_vec3 centre_mm;
    double moment[9]; ///< about the centre, over the volume
} solid;

static void corners_of(rlv_vec3 corner[3], const rlv_element_part* part, size_t i, rlv_vec3 about)
{
    const uint32_t* index = part->mesh->corner + 3 * (size_t)part->triangle[i];
    for (int k = 0; k < 3; k++)
        corner[k] = rlv_vec3_sub(rlv_mesh_vertex(part->mesh, index[k]), about);
}

static solid solid_of(const rlv_element_part* part)
{
    solid s = {0};
    rlv_vec3 c[3], about = rlv_mesh_vertex(part->mesh, part->mesh->corner[3 * (size_t)part->triangle[0]]);
    for (int pass = 0; pass < 2; pass++)
    {
        rlv_vec3 first = {0.0, 0.0, 0.0};
        s = (solid){0};
        for (size_t i = 0; i < part->triangle_count; i++)
        {
            corners_of(c, part, i, about);
            const double v = rlv_vec3_dot(c[0], rlv_vec3_cross(c[1], c[2])) / 6.0;
            const rlv_vec3 sum = rlv_vec3_add(c[0], rlv_vec3_add(c[1], c[2]));
            const double all[4][3] = {
                {c[0].x, c[0].y, c[0].z}, {c[1].x, c[1].y, c[1].z}, {c[2].x, c[2].y, c[2].z}, {sum.x, sum.y, sum.z}};
            s.volume_mm3 += v;
            first = rlv_vec3_along(first, 0.25 * v, sum);
            for (int k = 0; k < 9; k++)
                for (int p = 0; p < 4; p++)
                    s.moment[k] += v / 20.0 * all[p][k / 3] * all[p][k % 3];
        }
        s.centre_mm = rlv_vec3_along(about, 1.0 / s.volume_mm3, first);
        about = s.centre_mm; // the second pass takes moments about the centre
    }
    return s;
}

/// Integrals over the surface that say how noise along the normals moves the centroid and turns the axes.
static void add_noise(double place[9], double turn[3], const rlv_element_part* part, const solid* s, rlv_mat3 frame)
{
    const rlv_mat3 into = rlv_mat3_transpose(frame);
    for (size_t i = 0; i < part->triangle_count; i++)
    {
        rlv_vec3 c[3];
        corners_of(c, part, i, s->centre_mm);
        const double area = 0.5 * rlv_vec3_length(rlv_vec3_cross(rlv_vec3_sub(c[1], c[0]), rlv_vec3_sub(c[2], c[0])));
        const rlv_vec3 at = rlv_vec3_scale(rlv_vec3_add(c[0], rlv_vec3_add(c[1], c[2])), 1.0 / 3.0);
        const rlv_vec3 in = rlv_mat3_apply(into, at);
        const double v[3] = {at.x, at.y, at.z};
        for (int k = 0; k < 9; k++)
            place[k] += area * v[k / 3] * v[k % 3];
        turn[0] += area * pow(in.y * in.z, 2.0);
        turn[1] += area * pow(in.z * in.x, 2.0);
        turn[2] += area * pow(in.x * in.y, 2.0);
    }
}

/// How far the part reaches along an axis. Noise alone makes extremes, by up to two sds at either end: the interval
/// reaches as much farther down.
static rlv_interval reach(const rlv_element_part* part, rlv_vec3 axis)
{
    double low = INFINITY, high = -INFINITY;
    const rlv_vec3 about = rlv_mesh_vertex(part->mesh, part->mesh->corner[3 * (size_t)part->triangle[0]]);
    for (size_t i = 0; i < part->triangle_count; i++)
    {
        rlv_vec3 c[3];
        corners_of(c, part, i, about);
        for (int k = 0; k < 3; k++)
        {
            low = fmin(low, rlv_vec3_dot(c[k], axis));
            high = fmax(high, rlv_vec3_dot(c[k], axis));
        }
    }
    rlv_interval told = rlv_element_interval(high - low, sqrt(2.0) * part->noise_sd_mm);
    told.low = fmax(told.low - 4.0 * part->noise_sd_mm, 0.0);
    return told;
}

static double mean_edge_mm(const rlv_element_part* part)
{
    double sum = 0.0;
    for (size_t i = 0; i < part->triangle_count; i++)
    {
        rlv_vec3 c[3];
        corners_of(c, part, i, rlv_vec3_of(0.0, 0.0, 0.0));
        for (int k = 0; k < 3; k++)
            sum += rlv_vec3_length(rlv_vec3_sub(c[(k + 1) % 3], c[k]));
    }
    return sum / (3.0 * (double)part->triangle_count);
}

rlv_status rlv_element_solid(rlv_element* element, const rlv_element_part* part, rlv_error* error)
{
    const solid s = solid_of(part);
    if (!(s.volume_mm3 > 0.0))
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "give it an outline of numbered points",
                        "the part has no border, and holds nothing");
    double value[3], place[9] = {0.0}, turn[3] = {0.0};
    rlv_vec3 axis[3];
    rlv_status status = rlv_principal_axes(value, axis, s.moment, error);
    if (status != RLV_DONE)
        return status;
    const rlv_mat3 frame = rlv_mat3_of_columns(axis[0], axis[1], axis[2]);
    add_noise(place, turn, part, &s, frame);
    const double length = isnan(part->noise_length_mm) ? mean_edge_mm(part) : part->noise_length_mm;
    // The integral of the noise's covariance over the surface: of a volume's variance, a unit of area's share.
    const double noise = 2.0 * M_PI * pow(length * part->noise_sd_mm, 2.0);
    double attitude[9] = {0.0};
    const double gap[3] = {value[1] - value[2], value[0] - value[2], value[0] - value[1]};
    element->known = RLV_ELEMENT_POLE | RLV_ELEMENT_LONG;
    element->long_by_shape = true;
    for (int k = 0; k < 3; k++)
    {
        const double variance = noise * turn[k] / (gap[k] * gap[k]);
        const bool held = variance < RLV_ELEMENT_LIMIT_RAD * RLV_ELEMENT_LIMIT_RAD;
        attitude[4 * k] = held ? variance : RLV_ELEMENT_ANY_TURN;
        if (!held)
            element->known &= k == 2 ? ~(unsigned)RLV_ELEMENT_LONG : k == 0 ? ~(unsigned)RLV_ELEMENT_POLE : 0u;
    }
    rlv_element_turn_cov(element->attitude_cov_rad2, frame, attitude);
    memcpy(element->frame, frame.m, sizeof frame.m);
    const double at[3] = {s.centre_mm.x, s.centre_mm.y, s.centre_mm.z};
    memcpy(element->position_mm, at, sizeof at);
    for (int k = 0; k < 9; k++)
        element->position_cov_mm2[k] = noise * place[k] / (s.volume_mm3 * s.volume_mm3);
    element->length_mm = reach(part, axis[0]);
    element->width_mm = reach(part, axis[1]);
    element->thickness_mm = reach(part, axis[2]);
    return RLV_DONE;
}
