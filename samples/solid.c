#include "solid.h"

#include "noise.h"
#include "scan.h"
#include "tint.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define COARSE_X 144 ///< cells of the coarse grid that the fine one is drawn from
#define COARSE_Y 116
#define SWEEPS 240   ///< of its relaxation
#define OUTLINE 4096 ///< points of the outline's table
#define JITTER 0.22  ///< of a vertex, in cells each way: below a half, so that cells stay apart

#define SNAP 0.45 ///< of a vertex to a bone's outline, in cells

/// The outline by arc length, in four stretches between corners.
typedef struct solid_outline
{
    double x[OUTLINE + 1], y[OUTLINE + 1], arc_mm[OUTLINE + 1];
    double corner_mm[5]; ///< arc lengths of the corners; the last one is the first again
} solid_outline;

/// Everything the vertices are placed by.
typedef struct solid_plan
{
    const demo_specimen* specimen;
    int stage;
    uint64_t seed;
    uint32_t nu, nv;  ///< cells of the upper grid, multiples of four
    uint32_t rows[3]; ///< rows of the sides with all, half and a quarter of the columns
    solid_outline* outline;
    double (*coarse)[2]; ///< (COARSE_X + 1) * (COARSE_Y + 1) plan places
    demo_relief edge;    ///< distance inside the outlines of the bones that show, negative outside, in mm
} solid_plan;

// Numbering. Upper grid, then the rings of the sides from the top down (the first is the grid's border), then the base.

static uint32_t ring_size(const solid_plan* plan, uint32_t zone)
{
    return (2 * (plan->nu + plan->nv)) >> zone;
}

/// The vertex of a grid of n by m cells whose border is a ring: counter-clockwise from (0, 0).
static uint32_t border_index(uint32_t n, uint32_t m, uint32_t i, uint32_t j)
{
    return j == 0 ? i : i == n ? n + j : j == m ? 2 * n + m - i : 2 * (n + m) - j;
}

static size_t top_count(const solid_plan* plan)
{
    return (size_t)(plan->nu + 1) * (plan->nv + 1);
}

/// Rings below the top edge, and the first vertex and the zone (halvings) of each.
static size_t ring_start(const solid_plan* plan, uint32_t ring, uint32_t* zone)
{
    size_t start = top_count(plan);
    uint32_t first = 1;
    for (uint32_t z = 0; z < 3; z++)
    {
        if (ring < first + plan->rows[z])
        {
            *zone = z;
            return start + (size_t)(ring - first) * ring_size(plan, z);
        }
        first += plan->rows[z];
        start += (size_t)plan->rows[z] * ring_size(plan, z);
    }
    *zone = 3;
    return start;
}

static uint32_t ring_count(const solid_plan* plan)
{
    return plan->rows[0] + plan->rows[1] + plan->rows[2];
}

static uint32_t ring_vertex(const solid_plan* plan, uint32_t ring, uint32_t column)
{
    if (ring == 0)
    {
        uint32_t n = plan->nu, m = plan->nv, k = column % (2 * (n + m));
        uint32_t i = k <= n ? k : k <= n + m ? n : k <= 2 * n + m ? 2 * n + m - k : 0;
        uint32_t j = k <= n ? 0 : k <= n + m ? k - n : k <= 2 * n + m ? m : 2 * (n + m) - k;
        return j * (n + 1) + i;
    }
    uint32_t zone;
    size_t start = ring_start(plan, ring, &zone);
    return (uint32_t)(start + column % ring_size(plan, zone));
}

static size_t base_start(const solid_plan* plan)
{
    uint32_t zone;
    return ring_start(plan, ring_count(plan) + 1, &zone);
}

static uint32_t base_vertex(const solid_plan* plan, uint32_t i, uint32_t j)
{
    uint32_t n = plan->nu / 4, m = plan->nv / 4;
    if (i == 0 || j == 0 || i == n || j == m)
        return ring_vertex(plan, ring_count(plan), border_index(n, m, i, j));
    return (uint32_t)(base_start(plan) + (size_t)(j - 1) * (n - 1) + (i - 1));
}

static size_t vertex_count(const solid_plan* plan)
{
    return base_start(plan) + (size_t)(plan->nu / 4 - 1) * (plan->nv / 4 - 1);
}

static size_t triangle_count(const solid_plan* plan)
{
    size_t count = 2 * (size_t)plan->nu * plan->nv + 2 * (size_t)(plan->nu / 4) * (plan->nv / 4);
    for (uint32_t zone = 0; zone < 3; zone++)
        count += (size_t)2 * plan->rows[zone] * ring_size(plan, zone);
    // The first row of a halved zone has three triangles for two columns above: one more a column below.
    return count + ring_size(plan, 1) + ring_size(plan, 2);
}

/// Cells for about so many triangles. Rows of the sides are twice as high as columns are wide.
static void choose_size(solid_plan* plan, size_t triangles)
{
    const double high[3] = {18.0, 34.0, 48.0}, perimeter = 1320.0;
    for (uint32_t nv = 32;; nv += 4)
    {
        struct solid_plan next = *plan;
        next.nv = nv;
        next.nu = 4 * (uint32_t)(nv * 1.27 / 4.0 + 0.5);
        for (uint32_t zone = 0; zone < 3; zone++)
            next.rows[zone] = 1 + (uint32_t)(high[zone] * ring_size(&next, zone) / (1.9 * perimeter));
        if (plan->nv != 0 && triangle_count(&next) > triangles)
            return;
        *plan = next;
    }
}

// The outline and the coarse grid

static void trace_outline(solid_outline* outline, const demo_block* block, uint64_t seed)
{
    for (int i = 0; i <= OUTLINE; i++)
    {
        double bearing = 2.0 * M_PI * (i % OUTLINE) / OUTLINE - M_PI, radius = block_radius_mm(block, bearing);
        outline->x[i] = radius * cos(bearing);
        outline->y[i] = radius * sin(bearing);
        outline->arc_mm[i] = i == 0 ? 0.0
                                    : outline->arc_mm[i - 1] +
                                          hypot(outline->x[i] - outline->x[i - 1], outline->y[i] - outline->y[i - 1]);
    }
    scan_random random = {noise_hash(seed, 21)};
    const double corner = atan2(block->half_mm[1], block->half_mm[0]);
    const double bearing[4] = {corner - M_PI, -corner, corner, M_PI - corner};
    for (int k = 0; k < 4; k++)
    {
        double at = bearing[k] + 0.07 * (2.0 * scan_random_unit(&random) - 1.0);
        outline->corner_mm[k] = outline->arc_mm[(int)((at + M_PI) / (2.0 * M_PI) * OUTLINE)];
    }
    outline->corner_mm[4] = outline->corner_mm[0] + outline->arc_mm[OUTLINE];
}

static void outline_at(const solid_outline* outline, double arc_mm, double at[2])
{
    double whole = outline->arc_mm[OUTLINE], arc = fmod(arc_mm, whole);
    int low = 0, high = OUTLINE;
    while (high - low > 1)
    {
        int middle = (low + high) / 2;
        *(outline->arc_mm[middle] <= arc ? &low : &high) = middle;
    }
    double t = (arc - outline->arc_mm[low]) / (outline->arc_mm[high] - outline->arc_mm[low]);
    at[0] = outline->x[low] + t * (outline->x[high] - outline->x[low]);
    at[1] = outline->y[low] + t * (outline->y[high] - outline->y[low]);
}

/// The outline at a share (0 to 1) of one of its stretches: south, east, north, west, counter-clockwise.
static void stretch_at(const solid_outline* outline, int stretch, double share, double at[2])
{
    const double* corner = outline->corner_mm;
    outline_at(outline, corner[stretch] + share * (corner[stretch + 1] - corner[stretch]), at);
}

/// S. A. Coons's patch (1967) between the four stretches.
static void coons_point(const solid_outline* outline, double u, double v, double at[2])
{
    double south[2], east[2], north[2], west[2], corner[4][2];
    stretch_at(outline, 0, u, south);
    stretch_at(outline, 1, v, east);
    stretch_at(outline, 2, 1.0 - u, north);
    stretch_at(outline, 3, 1.0 - v, west);
    for (int k = 0; k < 4; k++)
        outline_at(outline, outline->corner_mm[k], corner[k]);
    for (int k = 0; k < 2; k++)
        at[k] = (1 - v) * south[k] + v * north[k] + (1 - u) * west[k] + u * east[k] -
                ((1 - u) * (1 - v) * corner[0][k] + u * (1 - v) * corner[1][k] + u * v * corner[2][k] +
                 (1 - u) * v * corner[3][k]);
}

/// How densely vertices should lie at a place of the coarse grid: with the slope, and where the body is.
static double wanted_density(const solid_plan* plan, const double at[2])
{
    const demo_relief* map = &plan->specimen->surface[plan->stage];
    const double reach = 2.0;
    double x = at[0], y = at[1];
    double slope_x = (relief_at(map, x + reach, y) - relief_at(map, x - reach, y)) / (2.0 * reach);
    double slope_y = (relief_at(map, x, y + reach) - relief_at(map, x, y - reach)) / (2.0 * reach);
    double body = plan->specimen->body[relief_nearest(map, x, y)] / 255.0;
    double bone = plan->specimen->owner[relief_nearest(map, x, y)] != BONES_NONE ? 1.0 : 0.0;
    return (1.0 + 1.5 * fmax(body, bone)) * pow(1.0 + slope_x * slope_x + slope_y * slope_y, 0.35);
}

static void measure_density(const solid_plan* plan, double* density, double* spare)
{
    const long wide = COARSE_X + 1, high = COARSE_Y + 1;
    for (long i = 0; i < wide * high; i++)
        density[i] = wanted_density(plan, plan->coarse[i]);
    for (int pass = 0; pass < 3; pass++) // smooth it, or the grid would jump
    {
        memcpy(spare, density, (size_t)(wide * high) * sizeof *spare);
        for (long i = 0; i < wide * high; i++)
        {
            double sum = 0.0, count = 0.0;
            for (long y = i / wide - 1; y <= i / wide + 1; y++)
                for (long x = i % wide - 1; x <= i % wide + 1; x++)
                    if (x >= 0 && y >= 0 && x < wide && y < high)
                        sum += spare[y * wide + x], count += 1.0;
            density[i] = sum / count;
        }
    }
}

/// Move the coarse grid's inner points to the weighted means of their neighbours, weights the densities between them.
static rlv_status relax(const solid_plan* plan, rlv_error* error)
{
    const long wide = COARSE_X + 1, high = COARSE_Y + 1;
    double* density = rlv_reserve((size_t)(2 * wide * high), sizeof *density, error);
    if (density == NULL)
        return RLV_SYSTEM;
    for (int sweep = 0; sweep < SWEEPS; sweep++)
    {
        if (sweep % 40 == 0)
            measure_density(plan, density, density + wide * high);
        for (long y = 1; y < high - 1; y++)
            for (long x = 1; x < wide - 1; x++)
            {
                const long i = y * wide + x, next[4] = {i - 1, i + 1, i - wide, i + wide};
                double sum[2] = {0, 0}, weights = 0.0;
                for (int k = 0; k < 4; k++)
                {
                    double weight = density[i] + density[next[k]];
                    sum[0] += weight * plan->coarse[next[k]][0];
                    sum[1] += weight * plan->coarse[next[k]][1];
                    weights += weight;
                }
                for (int k = 0; k < 2; k++)
                    plan->coarse[i][k] += 1.5 * (sum[k] / weights - plan->coarse[i][k]);
            }
    }
    free(density);
    return RLV_DONE;
}

/// Plan place of the fine grid's parameter (0 to 1 each).
static void grid_point(const solid_plan* plan, double u, double v, double at[2])
{
    double x = fmin(fmax(u, 0.0), 1.0) * COARSE_X, y = fmin(fmax(v, 0.0), 1.0) * COARSE_Y;
    long i = (long)fmin(x, COARSE_X - 1), j = (long)fmin(y, COARSE_Y - 1);
    double p = x - (double)i, q = y - (double)j;
    const double(*c)[2] = (const double(*)[2])plan->coarse + j * (COARSE_X + 1) + i;
    for (int k = 0; k < 2; k++)
        at[k] =
            (1 - q) * ((1 - p) * c[0][k] + p * c[1][k]) + q * ((1 - p) * c[COARSE_X + 1][k] + p * c[COARSE_X + 2][k]);
}

// Outlines of bones

/// Whether a point shows a bone that is large enough to have an outline.
static bool is_plate(const solid_plan* plan, size_t point)
{
    const demo_specimen* specimen = plan->specimen;
    return (specimen->shown[point] >> plan->stage & 1) != 0 && specimen->owner[point] != BONES_GRANULE;
}

static rlv_status measure_edges(solid_plan* plan, rlv_error* error)
{
    const demo_relief* map = &plan->specimen->surface[0];
    const double high[2] = {map->origin_mm[0] + map->pitch_mm * (double)(map->size[0] - 1) - 1e-9,
                            map->origin_mm[1] + map->pitch_mm * (double)(map->size[1] - 1) - 1e-9};
    const size_t count = map->size[0] * map->size[1];
    rlv_status status = relief_reserve(&plan->edge, map->origin_mm, high, map->pitch_mm, 0.0f, error);
    float* inside = status == RLV_DONE ? rlv_reserve(count, sizeof *inside, error) : NULL;
    if (inside == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
    {
        inside[i] = is_plate(plan, i) ? -1e4f : 0.0f;
        plan->edge.height_mm[i] = is_plate(plan, i) ? 0.0f : -1e4f;
    }
    relief_spread(map, inside, 1.0);
    relief_spread(map, plan->edge.height_mm, 1.0);
    for (size_t i = 0; i < count; i++)
        plan->edge.height_mm[i] -= inside[i];
    free(inside);
    return RLV_DONE;
}

/// Move a place that lies within `reach_mm` of a bone's outline onto it, just inside, so that outlines are crisp at any
/// mesh size.
static void snap(const solid_plan* plan, double reach_mm, double at[2])
{
    const double inner_mm = 0.12, arm = 0.4;
    double distance = relief_at(&plan->edge, at[0], at[1]);
    if (fabs(distance) > reach_mm)
        return;
    double x = relief_at(&plan->edge, at[0] + arm, at[1]) - relief_at(&plan->edge, at[0] - arm, at[1]);
    double y = relief_at(&plan->edge, at[0], at[1] + arm) - relief_at(&plan->edge, at[0], at[1] - arm);
    double length = hypot(x, y);
    if (length < 0.8 * arm) // between two outlines: no way to go
        return;
    at[0] += (inner_mm - distance) * x / length;
    at[1] += (inner_mm - distance) * y / length;
}

// Vertices

static double shake(scan_random* random)
{
    return JITTER * (2.0 * scan_random_unit(random) - 1.0);
}

static rlv_vec3 top_vertex(const solid_plan* plan, size_t index)
{
    const uint32_t i = (uint32_t)(index % (plan->nu + 1)), j = (uint32_t)(index / (plan->nu + 1));
    const bool corner = (i == 0 || i == plan->nu) && (j == 0 || j == plan->nv);
    scan_random random = {noise_hash(plan->seed, index)};
    double u = (i + (corner ? 0.0 : shake(&random))) / plan->nu, v = (j + (corner ? 0.0 : shake(&random))) / plan->nv;
    double at[2];
    if (j == 0 || j == plan->nv)
        stretch_at(plan->outline, j == 0 ? 0 : 2, j == 0 ? u : 1.0 - u, at);
    else if (i == 0 || i == plan->nu)
        stretch_at(plan->outline, i == 0 ? 3 : 1, i == 0 ? 1.0 - v : v, at);
    else
    {
        double next[2], above[2];
        grid_point(plan, u, v, at);
        grid_point(plan, u + 1.0 / plan->nu, v, next);
        grid_point(plan, u, v + 1.0 / plan->nv, above);
        double cell = fmin(hypot(next[0] - at[0], next[1] - at[1]), hypot(above[0] - at[0], above[1] - at[1]));
        snap(plan, SNAP * cell, at);
    }
    return rlv_vec3_of(at[0], at[1], relief_at(&plan->specimen->surface[plan->stage], at[0], at[1]));
}

/// A place on a side: `column` of `ring_size` of the zone, `depth` rings down.
static rlv_vec3 side_point(const solid_plan* plan, uint32_t zone, double column, double share)
{
    const double nu = plan->nu >> zone, nv = plan->nv >> zone;
    const double start[5] = {0, nu, nu + nv, 2 * nu + nv, 2 * (nu + nv)};
    if (column < 0.0)
        column += start[4];
    int stretch = 0;
    while (stretch < 3 && column >= start[stretch + 1])
        stretch++;
    double at[2], radius, z_top, z_base;
    stretch_at(plan->outline, stretch, (column - start[stretch]) / (start[stretch + 1] - start[stretch]), at);
    radius = hypot(at[0], at[1]);
    z_top = relief_at(&plan->specimen->surface[plan->stage], at[0], at[1]);
    z_base = block_base_mm(&plan->specimen->block, at[0], at[1], 0.0);
    double z = z_top + (z_base - z_top) * share;
    double out = block_side_mm(&plan->specimen->block, at[0], at[1], z, share);
    return rlv_vec3_of(at[0] * (1.0 + out / radius), at[1] * (1.0 + out / radius), z);
}

static rlv_vec3 side_vertex(const solid_plan* plan, size_t index)
{
    uint32_t ring = 1, zone = 0, last = ring_count(plan);
    size_t start = top_count(plan);
    while (index >= start + ring_size(plan, zone))
    {
        start += ring_size(plan, zone);
        ring++;
        zone += ring > plan->rows[0] && zone == 0;
        zone += ring > plan->rows[0] + plan->rows[1] && zone == 1;
    }
    // Rows grow with the columns' width.
    double rows = 0.0, above = 0.0;
    for (uint32_t r = 1; r <= last; r++)
    {
        double height = r <= plan->rows[0] ? 1.0 : r <= plan->rows[0] + plan->rows[1] ? 2.0 : 4.0;
        rows += height;
        above += r <= ring ? height : 0.0;
    }
    scan_random random = {noise_hash(plan->seed, index)};
    double column = (double)(index - start) + shake(&random);
    double own = (double)(1u << zone), share = ring == last ? 1.0 : (above + 0.8 * own * shake(&random)) / rows;
    return side_point(plan, zone, column, share);
}

static rlv_vec3 base_point(const solid_plan* plan, size_t index)
{
    const uint32_t n = plan->nu / 4, m = plan->nv / 4;
    size_t inner = index - base_start(plan);
    scan_random random = {noise_hash(plan->seed, index)};
    double i = (double)(1 + inner % (n - 1)) + shake(&random), j = (double)(1 + inner / (n - 1)) + shake(&random);
    double at[2];
    coons_point(plan->outline, i / n, j / m, at);
    const double edge = SPECIMEN_BASE_SHARE; // the base's edge is drawn in under the outline
    return rlv_vec3_of(
        edge * at[0], edge * at[1],
        block_base_mm(&plan->specimen->block, at[0], at[1], block_inside_mm(&plan->specimen->block, at[0], at[1])));
}

// Colours

/// Bone: warm dark brown, paler on crests and by clouds; skull and spine a shade darker, granules paler.
static tint bone_tint(const solid_plan* plan, rlv_vec3 at, uint16_t owner)
{
    const uint64_t seed = plan->specimen->block.seed;
    double cloud = noise_smooth_at(seed + 43, 6.0, at), speck = noise_smooth_at(seed + 44, 0.9, at);
    const demo_relief* map = &plan->specimen->surface[plan->stage];
    double mean = 0.25 * (relief_at(map, at.x + 1.2, at.y) + relief_at(map, at.x - 1.2, at.y) +
                          relief_at(map, at.x, at.y + 1.2) + relief_at(map, at.x, at.y - 1.2));
    double crest = fmin(fmax((relief_at(map, at.x, at.y) - mean) / 0.5, -1.0), 1.0);
    tint own = {98, 76, 58};
    if (owner == BONES_SKULL || owner == BONES_SPINE)
        own = (tint){90, 70, 54};
    else if (owner == BONES_FIN || owner == BONES_SCALES)
        own = (tint){110, 88, 66};
    else if (owner == BONES_GRANULE)
        own = (tint){134, 112, 86};
    return tint_lit(own, 1.0 + 0.24 * crest + 0.07 * cloud + 0.05 * speck);
}

static bool shows_bone(const solid_plan* plan, size_t point)
{
    return (plan->specimen->shown[point] >> plan->stage & 1) != 0;
}

static tint top_tint(const solid_plan* plan, rlv_vec3 at)
{
    const demo_specimen* specimen = plan->specimen;
    size_t point = relief_nearest(&specimen->surface[0], at.x, at.y);
    if (shows_bone(plan, point))
        return specimen_painted(specimen, plan->stage, point)
                   ? (tint){SPECIMEN_PAINT_RED, SPECIMEN_PAINT_GREEN, SPECIMEN_PAINT_BLUE}
                   : bone_tint(plan, at, specimen->owner[point]);
    if (plan->stage == SPECIMEN_SLAB_OFF && slab_thickness_mm(&specimen->slab, at.x, at.y) > 0.0)
        return tint_joint(&specimen->block, at);
    double taken = relief_at(&specimen->surface[0], at.x, at.y) - at.z;
    // The skin's stain lies close to it, and so close to what is left in the end.
    double above = at.z - relief_at(&specimen->surface[SPECIMEN_STAGES - 1], at.x, at.y);
    double skin = specimen->body[point] / 255.0 * fmin(fmax(1.5 - 0.5 * above, 0.0), 1.0);
    return tint_matrix(&specimen->block, at, fmin(fmax(taken / 0.8, 0.0), 1.0), skin);
}

static void place_vertices(rlv_mesh* mesh, const solid_plan* plan)
{
    const size_t tops = top_count(plan), base = base_start(plan);
#pragma omp parallel for schedule(dynamic, 2048)
    for (size_t i = 0; i < mesh->vertex_count; i++)
    {
        rlv_vec3 at = i < tops ? top_vertex(plan, i) : i < base ? side_vertex(plan, i) : base_point(plan, i);
        tint own = i < tops ? top_tint(plan, at) : tint_matrix(&plan->specimen->block, at, 0.0, 0.0);
        const double place[3] = {at.x, at.y, at.z}, colour[3] = {own.r, own.g, own.b};
        for (size_t k = 0; k < 3; k++)
        {
            mesh->position_mm[3 * i + k] = (float)place[k];
            mesh->colour[3 * i + k] = tint_byte(colour[k]);
        }
    }
}

// Triangles

static uint32_t* add(uint32_t* to, uint32_t a, uint32_t b, uint32_t c)
{
    to[0] = a;
    to[1] = b;
    to[2] = c;
    return to + 3;
}

/// Two triangles of a cell given counter-clockwise, cut along a, c or along b, d.
static uint32_t* add_cell(uint32_t* to, uint32_t a, uint32_t b, uint32_t c, uint32_t d, bool other)
{
    if (other)
        return add(add(to, a, b, d), b, c, d);
    return add(add(to, a, b, c), a, c, d);
}

/// Whether a cell of n by m is cut along its other diagonal: at random, but at corners, where both borders run along
/// one line, always through the corner.
static bool other_diagonal(const solid_plan* plan, uint32_t n, uint32_t m, uint32_t i, uint32_t j, uint64_t salt)
{
    bool left = i == 0, right = i + 1 == n, low = j == 0, high = j + 1 == m;
    if ((left || right) && (low || high))
        return (left && high) || (right && low);
    return (noise_hash(plan->seed + salt, (uint64_t)j * n + i) >> 63) != 0;
}

/// Cut a cell of the upper surface along the diagonal that is nearer to level, so that steps run along edges; at random
/// where both are.
static bool top_diagonal(const rlv_mesh* mesh, const solid_plan* plan, uint32_t i, uint32_t j)
{
    const uint32_t a = j * (plan->nu + 1) + i, d = a + plan->nu + 1;
    const float* z = mesh->position_mm + 2;
    float own = fabsf(z[3 * (size_t)a] - z[3 * (size_t)(d + 1)]);
    float other = fabsf(z[3 * (size_t)(a + 1)] - z[3 * (size_t)d]);
    bool corner = (i == 0 || i + 1 == plan->nu) && (j == 0 || j + 1 == plan->nv);
    if (!corner && fabsf(own - other) > 0.25f)
        return other < own;
    return other_diagonal(plan, plan->nu, plan->nv, i, j, 1);
}

static uint32_t* join_sides(uint32_t* to, const solid_plan* plan)
{
    for (uint32_t ring = 1; ring <= ring_count(plan); ring++)
    {
        uint32_t zone, above = 0;
        ring_start(plan, ring, &zone);
        if (ring > 1)
            ring_start(plan, ring - 1, &above);
        for (uint32_t k = 0; k < ring_size(plan, zone); k++)
        {
            uint32_t low = ring_vertex(plan, ring, k), low_next = ring_vertex(plan, ring, k + 1);
            if (above == zone)
            {
                bool other = (noise_hash(plan->seed + 2, (uint64_t)ring << 32 | k) >> 63) != 0;
                to = add_cell(to, ring_vertex(plan, ring - 1, k), low, low_next, ring_vertex(plan, ring - 1, k + 1),
                              other);
                continue;
            }
            uint32_t a = ring_vertex(plan, ring - 1, 2 * k), b = ring_vertex(plan, ring - 1, 2 * k + 1);
            to = add(to, a, low, b);
            to = add(to, b, low, low_next);
            to = add(to, b, low_next, ring_vertex(plan, ring - 1, 2 * k + 2));
        }
    }
    return to;
}

static void join(rlv_mesh* mesh, const solid_plan* plan)
{
    const uint32_t nu = plan->nu, nv = plan->nv, n = nu / 4, m = nv / 4;
    uint32_t* to = mesh->corner;
    for (uint32_t j = 0; j < nv; j++)
        for (uint32_t i = 0; i < nu; i++)
        {
            uint32_t a = j * (nu + 1) + i;
            to = add_cell(to, a, a + 1, a + nu + 2, a + nu + 1, top_diagonal(mesh, plan, i, j));
        }
    to = join_sides(to, plan);
    for (uint32_t j = 0; j < m; j++)
        for (uint32_t i = 0; i < n; i++)
        {
            // Seen from below: a, d, c, b; the other diagonal of the turned cell is this one's own.
            bool other = other_diagonal(plan, n, m, i, j, 3);
            to = add_cell(to, base_vertex(plan, i, j), base_vertex(plan, i, j + 1), base_vertex(plan, i + 1, j + 1),
                          base_vertex(plan, i + 1, j), other);
        }
}

/// A triangle is bone where two of its corners are.
static rlv_status name_objects(rlv_mesh* mesh, const solid_plan* plan, rlv_error* error)
{
    static const char* const name[2] = {"matrix", "bone"};
    mesh->object_name = rlv_reserve(2, sizeof *mesh->object_name, error);
    for (size_t k = 0; k < 2 && mesh->object_name != NULL; k++, mesh->object_count++)
        if ((mesh->object_name[k] = strdup(name[k])) == NULL)
            break;
    if (mesh->object_count != 2)
        return rlv_fail(error, RLV_SYSTEM, NULL, "close other programs", "no memory for the names of objects");
    const size_t tops = top_count(plan);
#pragma omp parallel for schedule(static)
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        int bones = 0;
        for (int k = 0; k < 3; k++)
        {
            uint32_t corner = mesh->corner[3 * t + (size_t)k];
            rlv_vec3 at = rlv_mesh_vertex(mesh, corner);
            bones += corner < tops && shows_bone(plan, relief_nearest(&plan->specimen->surface[0], at.x, at.y));
        }
        mesh->object[t] = bones >= 2;
    }
    return RLV_DONE;
}

static rlv_status lay_plan(solid_plan* plan, rlv_error* error)
{
    plan->outline = rlv_reserve(1, sizeof *plan->outline, error);
    plan->coarse = rlv_reserve((size_t)(COARSE_X + 1) * (COARSE_Y + 1), sizeof *plan->coarse, error);
    if (plan->outline == NULL || plan->coarse == NULL)
        return RLV_SYSTEM;
    trace_outline(plan->outline, &plan->specimen->block, plan->seed);
    for (int j = 0; j <= COARSE_Y; j++)
        for (int i = 0; i <= COARSE_X; i++)
            coons_point(plan->outline, (double)i / COARSE_X, (double)j / COARSE_Y,
                        plan->coarse[j * (COARSE_X + 1) + i]);
    rlv_status status = measure_edges(plan, error);
    return status == RLV_DONE ? relax(plan, error) : status;
}

rlv_status solid_mesh(rlv_mesh* mesh, const demo_specimen* specimen, int stage, size_t triangles, uint64_t mesh_seed,
                      rlv_error* error)
{
    if (triangles < SOLID_LEAST || triangles > SOLID_MOST)
        return rlv_fail(error, RLV_BAD_INPUT, NULL, "ask for 40,000 to 5,000,000", "a stage cannot have %zu triangles",
                        triangles);
    solid_plan plan = {.specimen = specimen, .stage = stage, .seed = noise_hash(mesh_seed, 20)};
    choose_size(&plan, triangles);
    rlv_status status = lay_plan(&plan, error);
    if (status == RLV_DONE)
        status = rlv_mesh_reserve(mesh, vertex_count(&plan), triangle_count(&plan), true, true, error);
    if (status == RLV_DONE)
    {
        place_vertices(mesh, &plan);
        join(mesh, &plan);
        status = name_objects(mesh, &plan, error);
    }
    relief_free(&plan.edge);
    free(plan.outline);
    free(plan.coarse);
    if (status != RLV_DONE)
        rlv_mesh_free(mesh);
    return status;
}
