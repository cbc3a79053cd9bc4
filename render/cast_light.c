#include "cast_parts.h"

#include <stdlib.h>
#include <string.h>

#define DEAL 4     // directions are dealt over DEAL * DEAL places
#define BATCH 1024 // rays that are cast together

// A direction: over a plane (`out` along its normal), or in the mesh's axes; and how far it looks.
typedef struct look
{
    float right, up, out, reach_mm;
    uint32_t dealt; // which of the 4 by 4 places has it
    uint32_t order;
} look;

// Directions for all places of a 4 by 4, `rays` for each, such that neighbours point about the same way.
typedef struct looks
{
    size_t rays;
    look* look;
    bool over_plane; // else in the mesh's axes
    look first;      // that was drawn, the one next to their middle
} looks;

static double radical_inverse(size_t n, size_t base)
{
    double value = 0.0, part = 1.0;
    for (; n > 0; n /= base)
    {
        part /= (double)base;
        value += part * (double)(n % base);
    }
    return value;
}

// A point of the unit disc, each part of which is as likely as another, how high the half sphere stands over it, and a
// share from 0 to 1.
typedef struct drawn
{
    double right, up, out, share;
} drawn;

// Point n of Halton's sequence. It starts at a corner of the cube; half a step puts its points within.
static drawn draw(size_t n, size_t count)
{
    static const size_t base[3] = {2, 3, 5};
    double at[3];
    for (int i = 0; i < 3; i++)
        at[i] = fmin(radical_inverse(n, base[i]) + 0.5 / (double)count, 1.0 - 1e-6);
    double radius = sqrt(at[0]), angle = 2.0 * M_PI * at[1];
    return (drawn){radius * cos(angle), radius * sin(angle), sqrt(1.0 - at[0]), at[2]};
}

// How far along a curve that keeps neighbours together (G. Morton, A computer oriented geodetic data base, IBM 1966) a
// point of the disc lies.
static uint32_t along_curve(const drawn* at)
{
    uint32_t right = (uint32_t)(32767.0 * (at->right + 1.0)), up = (uint32_t)(32767.0 * (at->up + 1.0)), along = 0;
    for (unsigned bit = 16; bit-- > 0;)
        along = along << 2 | (up >> bit & 1u) << 1 | (right >> bit & 1u);
    return along;
}

static int by_order(const void* a, const void* b)
{
    const look *x = a, *y = b;
    return (x->order > y->order) - (x->order < y->order);
}

// Draw a direction for each of all places' looks by `over`, and lay them in order.
static bool draw_looks(looks* into, look (*over)(const drawn*, const void*), const void* with, rlv_error* error)
{
    size_t count = into->rays * DEAL * DEAL;
    into->look = rlv_reserve(count, sizeof *into->look, error);
    if (into->look == NULL)
        return false;
    for (size_t n = 0; n < count; n++)
    {
        drawn at = draw(n, count);
        into->look[n] = over(&at, with);
        into->look[n].dealt = (uint32_t)(n / into->rays);
        into->look[n].order = along_curve(&at);
    }
    into->first = into->look[0];
    qsort(into->look, count, sizeof *into->look, by_order);
    return true;
}

// A cosine-weighted direction: a point of the unit disc, lifted to the half sphere (Malley's method; M. Pharr, W.
// Jakob, G. Humphreys, Physically Based Rendering, 3rd edition, 13.6.3). A look that reaches a share s, even over 0 to
// 1, is stopped by an obstacle at a share d in 1 - d of the cases: that is the linear fall of an obstacle's weight.
static look over_plane(const drawn* at, const void* reach_mm)
{
    return (look){.right = (float)at->right,
                  .up = (float)at->up,
                  .out = (float)at->out,
                  .reach_mm = (float)(at->share * *(const double*)reach_mm)};
}

typedef struct lamp_disc
{
    rlv_camera_axes axes;
    rlv_mat3 back; // from the picture's axes to the mesh's
    double reach_mm;
} lamp_disc;

// The direction to a point of the lamp's disc.
static look towards_lamp(const drawn* at, const void* with)
{
    const lamp_disc* disc = with;
    double spread = tan(RLV_CAST_LAMP_RAD);
    rlv_vec3 to = rlv_vec3_along(disc->axes.towards, spread * at->right, disc->axes.right);
    to = rlv_mat3_apply(disc->back, rlv_vec3_unit(rlv_vec3_along(to, spread * at->up, disc->axes.up)));
    return (look){.right = (float)to.x, .up = (float)to.y, .out = (float)to.z, .reach_mm = (float)disc->reach_mm};
}

// Two vectors square to a normal (T. Duff et al., Building an orthonormal basis, revisited, JCGT 6(1), 2017).
static void frame_on(const float n[3], float a[3], float b[3])
{
    float sign = copysignf(1.0f, n[2]);
    float c = -1.0f / (sign + n[2]), d = n[0] * n[1] * c;
    a[0] = 1.0f + sign * n[0] * n[0] * c;
    a[1] = sign * d;
    a[2] = -sign * n[0];
    b[0] = d;
    b[1] = sign + n[1] * n[1] * c;
    b[2] = -n[1];
}

// Which share of the dealt directions a place has: neighbours in a 4 by 4 are far apart in the sequence (B. Bayer, An
// optimum method for two-level rendition of continuous-tone pictures, 1973).
static const uint8_t deal[DEAL][DEAL] = {{0, 8, 2, 10}, {12, 4, 14, 6}, {3, 11, 1, 9}, {15, 7, 13, 5}};

// The grid of places that look around: of each cell of `apart` by `apart` pixels the one next to its middle, in the
// order of rows, that sees the mesh.
typedef struct grid
{
    size_t width, height, apart;
    uint32_t* pixel;   // RLV_TREE_NONE: the cell is all page
    float *open, *lit; // of each cell
} grid;

// A place on the mesh that looks around, in the mesh's axes.
typedef struct place
{
    size_t cell;
    size_t dealt, block; // which share of the directions of its 4 by 4, and which 4 by 4 of its tile
    float at[3], normal[3], a[3], b[3], face[3];
} place;

static void place_on(place* here, const rlv_cast* cast, const rlv_mesh* mesh, size_t p)
{
    size_t t = cast->triangle[p];
    const uint32_t* corner = mesh->corner + 3 * t;
    float u = cast->weight[2 * p], v = cast->weight[2 * p + 1], away = cast->back[p] != 0 ? -1.0f : 1.0f;
    face_of(mesh, t, here->face);
    unit3(here->face);
    for (size_t i = 0; i < 3; i++)
        here->face[i] *= away;
    turn_back(&cast->to_picture, cast->normal + 3 * p, here->normal);
    frame_on(here->normal, here->a, here->b);
    // Half a pixel off the surface: what is smaller than a pixel hides nothing.
    for (size_t i = 0; i < 3; i++)
        here->at[i] = (1.0f - u - v) * mesh->position_mm[3 * (size_t)corner[0] + i] +
                      u * mesh->position_mm[3 * (size_t)corner[1] + i] +
                      v * mesh->position_mm[3 * (size_t)corner[2] + i] + 0.5f * cast->pixel_mm * here->face[i];
}

static rlv_ray look_from(const place* here, const look* way, bool over_plane)
{
    rlv_ray ray = {.direction = {way->right, way->up, way->out}, .limit = way->reach_mm};
    memcpy(ray.origin_mm, here->at, sizeof here->at);
    if (!over_plane)
        return ray;
    for (int i = 0; i < 3; i++)
        ray.direction[i] = way->right * here->a[i] + way->up * here->b[i] + way->out * here->normal[i];
    // Where the smooth facing leans over a flat triangle, looks into the triangle are mirrored out of it.
    float into = dot3(ray.direction, here->face);
    for (int i = 0; into < 0.0f && i < 3; i++)
        ray.direction[i] -= 2.0f * into * here->face[i];
    return ray;
}

// Rays that wait to be cast, and the counts of those that meet something.
typedef struct batch
{
    const rlv_tree* tree;
    size_t count;
    rlv_ray ray[BATCH];
    unsigned* stopped[BATCH];
} batch;

static void cast_batch(batch* rays)
{
    bool blocked[BATCH];
    rlv_tree_blocked(rays->tree, rays->count, rays->ray, blocked);
    for (size_t i = 0; i < rays->count; i++)
        *rays->stopped[i] += blocked[i];
    rays->count = 0;
}

// Look from the places of one 4 by 4, direction by direction: rays that follow each other are close, and point about
// the same way.
static void look_from_block(batch* rays, size_t count, const place* here, const looks* with, unsigned* stopped)
{
    size_t of[DEAL * DEAL];
    for (size_t k = 0; k < DEAL * DEAL; k++)
        of[k] = SIZE_MAX;
    for (size_t i = 0; i < count; i++)
        of[here[i].dealt] = i;
    for (const look* way = with->look; way < with->look + with->rays * DEAL * DEAL; way++)
    {
        size_t i = of[way->dealt];
        if (i == SIZE_MAX)
            continue;
        rays->ray[rays->count] = look_from(&here[i], way, with->over_plane);
        rays->stopped[rays->count++] = &stopped[i];
        if (rays->count == BATCH)
            cast_batch(rays);
    }
}

// The share of each place's looks that meet nothing.
static void look_from_tile(const rlv_tree* tree, size_t count, const place* here, const looks* with, float* clear)
{
    batch rays = {.tree = tree};
    unsigned stopped[TILE_PIXELS] = {0};
    for (size_t first = 0, next = 0; first < count; first = next)
    {
        while (next < count && here[next].block == here[first].block)
            next++;
        look_from_block(&rays, next - first, here + first, with, stopped + first);
    }
    cast_batch(&rays);
    for (size_t i = 0; i < count; i++)
        clear[here[i].cell] = 1.0f - (float)stopped[i] / (float)with->rays;
}

// Keep the places that face any of the lamp's disc; the others are in their own shadow, and no ray need tell it.
static size_t facing_lamp(const grid* at, size_t count, place* here, const looks* lamp)
{
    const float to[3] = {lamp->first.right, lamp->first.up, lamp->first.out};
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (dot3(here[i].normal, to) > -2.0f * (float)RLV_CAST_LAMP_RAD)
            here[kept++] = here[i];
        else
            at->lit[here[i].cell] = 0.0f;
    return kept;
}

static void look_around_tile(const grid* at, const rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree,
                             tile part, const looks* sky, const looks* lamp)
{
    place here[TILE_PIXELS];
    size_t count = 0;
    for (size_t k = 0; k < TILE_PIXELS; k++)
    {
        size_t block = k / (DEAL * DEAL), within = k % (DEAL * DEAL), blocks = TILE / DEAL;
        size_t x = part.left + block % blocks * DEAL + within % DEAL;
        size_t y = part.top + block / blocks * DEAL + within / DEAL;
        if (x >= part.right || y >= part.bottom || at->pixel[y * at->width + x] == RLV_TREE_NONE)
            continue;
        here[count] = (place){.cell = y * at->width + x, .dealt = deal[within / DEAL][within % DEAL], .block = block};
        place_on(&here[count], cast, mesh, at->pixel[here[count].cell]);
        count++;
    }
    look_from_tile(tree, count, here, sky, at->open);
    count = facing_lamp(at, count, here, lamp);
    look_from_tile(tree, count, here, lamp, at->lit);
}

static void choose_row(const grid* at, const rlv_cast* cast, size_t row)
{
    size_t middle = (at->apart - 1) / 2;
    for (size_t column = 0; column < at->width; column++)
    {
        uint32_t best = RLV_TREE_NONE;
        size_t least = SIZE_MAX;
        for (size_t j = 0; j < at->apart; j++)
            for (size_t i = 0; i < at->apart; i++)
            {
                size_t x = column * at->apart + i, y = row * at->apart + j;
                size_t far = (i > middle ? i - middle : middle - i) + (j > middle ? j - middle : middle - j);
                if (x >= cast->width || y >= cast->height || far >= least ||
                    cast->triangle[y * cast->width + x] == RLV_TREE_NONE)
                    continue;
                best = (uint32_t)(y * cast->width + x);
                least = far;
            }
        at->pixel[row * at->width + column] = best;
    }
}

// A surface that pixels are asked to go on with: the pixel that it is known at.
typedef struct anchor
{
    size_t pixel, x, y;
    const float* normal;
} anchor;

static anchor anchor_at(const rlv_cast* cast, size_t p)
{
    return (anchor){p, p % cast->width, p / cast->width, cast->normal + 3 * p};
}

// Whether pixel q goes on with the surface: it lies within a height of the plane there.
static inline bool same_surface(const rlv_cast* cast, const anchor* of, size_t q, float within_px)
{
    float right = (float)(q % cast->width) - (float)of->x, up = (float)of->y - (float)(q / cast->width);
    float rise = (cast->height_mm[q] - cast->height_mm[of->pixel]) / cast->pixel_mm;
    return fabsf(of->normal[0] * right + of->normal[1] * up + of->normal[2] * rise) < within_px;
}

// Gather the dealt directions: a window of 5 by 5 with its outer rim at half weight holds each place of the 4 by 4
// once.
static void gather_row(const grid* from, const rlv_cast* cast, size_t row, grid* into)
{
    static const float share[3] = {1.0f, 1.0f, 0.5f};
    float within_px = 2.0f * (float)from->apart;
    for (size_t x = 0; x < from->width; x++)
    {
        size_t cell = row * from->width + x;
        if (from->pixel[cell] == RLV_TREE_NONE)
            continue;
        anchor own = anchor_at(cast, from->pixel[cell]);
        float opened = 0.0f, lighted = 0.0f, weights = 0.0f;
        tile near = around(from->width, from->height, x, row, 2);
        for (size_t j = near.top; j <= near.bottom; j++)
            for (size_t i = near.left; i <= near.right; i++)
            {
                size_t other = j * from->width + i;
                if (from->pixel[other] == RLV_TREE_NONE || !same_surface(cast, &own, from->pixel[other], within_px))
                    continue;
                float weight = share[i > x ? i - x : x - i] * share[j > row ? j - row : row - j];
                opened += weight * from->open[other];
                lighted += weight * from->lit[other];
                weights += weight;
            }
        into->open[cell] = opened / weights;
        into->lit[cell] = lighted / weights;
    }
}

// What a pixel has of the four cells whose middles are around it, the nearer the more, as far as their places go on
// with its surface; of its own cell where none does.
static void spread_to(rlv_cast* cast, const grid* from, size_t x, size_t y)
{
    size_t p = y * cast->width + x, half = (from->apart - 1) / 2;
    anchor own = anchor_at(cast, p);
    float apart = (float)from->apart, within_px = 2.0f * apart;
    float opened = 0.0f, lighted = 0.0f, weights = 0.0f;
    size_t left = (x + from->apart - 1 - half) / from->apart, top = (y + from->apart - 1 - half) / from->apart;
    for (size_t k = 0; k < 4; k++)
    {
        // The cell's column and row, one too many so that what lies before the first is 0.
        size_t i = left + k % 2, j = top + k / 2;
        if (i == 0 || j == 0 || i > from->width || j > from->height)
            continue;
        size_t cell = (j - 1) * from->width + i - 1;
        float across = fabsf((float)x - ((float)(i - 1) * apart + (float)half)) / apart;
        float down = fabsf((float)y - ((float)(j - 1) * apart + (float)half)) / apart;
        float weight = fmaxf(1.0f - across, 0.0f) * fmaxf(1.0f - down, 0.0f);
        if (!(weight > 0.0f) || from->pixel[cell] == RLV_TREE_NONE ||
            !same_surface(cast, &own, from->pixel[cell], within_px))
            continue;
        opened += weight * from->open[cell];
        lighted += weight * from->lit[cell];
        weights += weight;
    }
    size_t home = y / from->apart * from->width + x / from->apart;
    cast->open[p] = weights > 0.0f ? opened / weights : from->open[home];
    cast->lit[p] = weights > 0.0f ? lighted / weights : from->lit[home];
}

static rlv_status reserve_grid(grid* of, const rlv_cast* cast, size_t apart, bool pixels, rlv_error* error)
{
    of->apart = apart;
    of->width = (cast->width + apart - 1) / apart;
    of->height = (cast->height + apart - 1) / apart;
    size_t count = of->width * of->height;
    bool done = (of->open = rlv_reserve(count, sizeof *of->open, error)) != NULL &&
                (of->lit = rlv_reserve(count, sizeof *of->lit, error)) != NULL &&
                (!pixels || (of->pixel = rlv_reserve(count, sizeof *of->pixel, error)) != NULL);
    return done ? RLV_DONE : RLV_SYSTEM;
}

static void free_grid(grid* of)
{
    free(of->pixel);
    free(of->open);
    free(of->lit);
}

// Choose the places, look around from each, gather and spread.
static void look_from_grid(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, grid* at, grid* gathered,
                           const looks* sky, const looks* lamp)
{
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t row = 0; row < at->height; row++)
        choose_row(at, cast, row);
    size_t tiles = tile_count(at->width, at->height);
#pragma omp parallel for schedule(dynamic, 4)
    for (size_t i = 0; i < tiles; i++)
        look_around_tile(at, cast, mesh, tree, tile_of(at->width, at->height, i), sky, lamp);
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t row = 0; row < at->height; row++)
        gather_row(at, cast, row, gathered);
    gathered->pixel = at->pixel;
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        for (size_t x = 0; x < cast->width; x++)
            if (cast->triangle[y * cast->width + x] != RLV_TREE_NONE)
                spread_to(cast, gathered, x, y);
    gathered->pixel = NULL;
}

rlv_status cast_look_around(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, const rlv_cast_light* light,
                            double diagonal_mm, rlv_error* error)
{
    looks sky = {.rays = (size_t)light->rays, .over_plane = true}, lamp = {.rays = ((size_t)light->rays + 3) / 4};
    double reach_mm = RLV_CAST_REACH * diagonal_mm;
    rlv_camera from_lamp = {.towards = light->towards, .up = {0.0, 1.0, 0.0}};
    lamp_disc disc = {rlv_camera_axes_of(&from_lamp), rlv_mat3_transpose(cast->to_picture), diagonal_mm};
    grid at = {0}, gathered = {0};
    size_t apart = light->apart > 1 ? (size_t)light->apart : 1;
    rlv_status status = reserve_grid(&at, cast, apart, true, error);
    if (status == RLV_DONE)
        status = reserve_grid(&gathered, cast, apart, false, error);
    if (status == RLV_DONE &&
        (!draw_looks(&sky, over_plane, &reach_mm, error) || !draw_looks(&lamp, towards_lamp, &disc, error)))
        status = RLV_SYSTEM;
    if (status == RLV_DONE)
        look_from_grid(cast, mesh, tree, &at, &gathered, &sky, &lamp);
    free(sky.look);
    free(lamp.look);
    free_grid(&gathered);
    free_grid(&at);
    return status;
}
