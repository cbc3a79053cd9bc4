#include "cast_parts.h"

#include <stdlib.h>
#include <string.h>

#define DEAL 4   // directions are dealt over DEAL * DEAL pixels
#define CHUNK 16 // rays a pixel that are cast together

// A direction: over a plane (`out` along its normal), or in the mesh's axes; and how far it looks.
typedef struct look
{
    float right, up, out, reach_mm;
} look;

// Directions for all pixels of a 4 by 4, `rays` for each.
typedef struct looks
{
    size_t rays;
    look* look;
    bool over_plane; // else in the mesh's axes
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

// Point n of Halton's sequence. It starts at a corner of the cube; half a step puts its points within.
static void halton(size_t n, size_t count, double at[3])
{
    static const size_t base[3] = {2, 3, 5};
    for (int i = 0; i < 3; i++)
        at[i] = fmin(radical_inverse(n, base[i]) + 0.5 / (double)count, 1.0 - 1e-6);
}

// Cosine-weighted directions: a point of the unit disc, lifted to the half sphere (Malley's method; M. Pharr, W. Jakob,
// G. Humphreys, Physically Based Rendering, 3rd edition, 13.6.3). A look that reaches a share s, even over 0 to 1, is
// stopped by an obstacle at a share d in 1 - d of the cases: that is the linear fall of an obstacle's weight.
static bool looks_over_plane(looks* into, double reach_mm, rlv_error* error)
{
    size_t count = into->rays * DEAL * DEAL;
    into->over_plane = true;
    into->look = rlv_reserve(count, sizeof *into->look, error);
    for (size_t n = 0; into->look != NULL && n < count; n++)
    {
        double at[3];
        halton(n, count, at);
        double radius = sqrt(at[0]), angle = 2.0 * M_PI * at[1];
        into->look[n] = (look){(float)(radius * cos(angle)), (float)(radius * sin(angle)), (float)sqrt(1.0 - at[0]),
                               (float)(at[2] * reach_mm)};
    }
    return into->look != NULL;
}

// Directions to points of the lamp's disc.
static bool looks_at_lamp(looks* into, const rlv_cast* cast, rlv_vec3 lamp, double reach_mm, rlv_error* error)
{
    size_t count = into->rays * DEAL * DEAL;
    rlv_camera from_lamp = {.towards = lamp, .up = {0.0, 1.0, 0.0}};
    rlv_camera_axes axes = rlv_camera_axes_of(&from_lamp);
    rlv_mat3 back = rlv_mat3_transpose(cast->to_picture);
    into->look = rlv_reserve(count, sizeof *into->look, error);
    for (size_t n = 0; into->look != NULL && n < count; n++)
    {
        double at[3];
        halton(n, count, at);
        double radius = tan(RLV_CAST_LAMP_RAD) * sqrt(at[0]), angle = 2.0 * M_PI * at[1];
        rlv_vec3 to = rlv_vec3_along(axes.towards, radius * cos(angle), axes.right);
        to = rlv_mat3_apply(back, rlv_vec3_unit(rlv_vec3_along(to, radius * sin(angle), axes.up)));
        into->look[n] = (look){(float)to.x, (float)to.y, (float)to.z, (float)reach_mm};
    }
    return into->look != NULL;
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

// Which share of the dealt directions a pixel has: neighbours in a 4 by 4 are far apart in the sequence (B. Bayer, An
// optimum method for two-level rendition of continuous-tone pictures, 1973).
static const uint8_t deal[DEAL][DEAL] = {{0, 8, 2, 10}, {12, 4, 14, 6}, {3, 11, 1, 9}, {15, 7, 13, 5}};

// A place on the mesh that looks around, in the mesh's axes.
typedef struct place
{
    size_t pixel, dealt;
    float at[3], normal[3], a[3], b[3], face[3];
} place;

static void place_on(place* here, const rlv_cast* cast, const rlv_mesh* mesh, size_t p, size_t dealt)
{
    here->pixel = p;
    here->dealt = dealt;
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

// The share of each place's looks that meet nothing.
static void look_from_tile(const rlv_tree* tree, size_t count, const place* here, const looks* with, float* clear)
{
    rlv_ray ray[TILE_PIXELS * CHUNK];
    bool blocked[TILE_PIXELS * CHUNK];
    unsigned stopped[TILE_PIXELS] = {0};
    for (size_t first = 0; first < with->rays; first += CHUNK)
    {
        size_t many = with->rays - first < CHUNK ? with->rays - first : CHUNK;
        for (size_t k = 0; k < many; k++)
            for (size_t i = 0; i < count; i++)
                ray[k * count + i] =
                    look_from(&here[i], &with->look[with->rays * here[i].dealt + first + k], with->over_plane);
        rlv_tree_blocked(tree, count * many, ray, blocked);
        for (size_t k = 0; k < many; k++)
            for (size_t i = 0; i < count; i++)
                stopped[i] += blocked[k * count + i];
    }
    for (size_t i = 0; i < count; i++)
        clear[here[i].pixel] = 1.0f - (float)stopped[i] / (float)with->rays;
}

// Keep the places that face any of the lamp's disc; the others are in their own shadow, and no ray need tell it.
static size_t facing_lamp(rlv_cast* cast, size_t count, place* here, const looks* lamp)
{
    const float to[3] = {lamp->look[0].right, lamp->look[0].up, lamp->look[0].out};
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (dot3(here[i].normal, to) > -2.0f * (float)RLV_CAST_LAMP_RAD)
            here[kept++] = here[i];
        else
            cast->lit[here[i].pixel] = 0.0f;
    return kept;
}

static void look_around_tile(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, tile at, const looks* sky,
                             const looks* lamp)
{
    place here[TILE_PIXELS];
    size_t count = 0;
    // Pixels that were dealt the same directions together: rays that follow each other are parallel and close.
    for (size_t k = 0; k < DEAL * DEAL; k++)
        for (size_t y = at.top + k / DEAL; y < at.bottom; y += DEAL)
            for (size_t x = at.left + k % DEAL; x < at.right; x += DEAL)
                if (cast->triangle[y * cast->width + x] != RLV_TREE_NONE)
                    place_on(&here[count++], cast, mesh, y * cast->width + x, deal[k / DEAL][k % DEAL]);
    look_from_tile(tree, count, here, sky, cast->open);
    count = facing_lamp(cast, count, here, lamp);
    look_from_tile(tree, count, here, lamp, cast->lit);
}

// Whether pixel q goes on with the surface of pixel p: it lies within two pixels of the plane there.
static inline bool same_surface(const rlv_cast* cast, size_t p, const float* normal, float right, float up, size_t q)
{
    if (cast->triangle[q] == RLV_TREE_NONE)
        return false;
    float rise = (cast->height_mm[q] - cast->height_mm[p]) / cast->pixel_mm;
    return fabsf(normal[0] * right + normal[1] * up + normal[2] * rise) < 2.0f;
}

// Gather the dealt directions: a window of 5 by 5 with its outer rim at half weight holds each place of the 4 by 4
// once.
static void gather_row(const rlv_cast* cast, size_t y, float* open, float* lit)
{
    static const float share[3] = {1.0f, 1.0f, 0.5f};
    for (size_t x = 0; x < cast->width; x++)
    {
        size_t p = y * cast->width + x;
        open[p] = lit[p] = 1.0f;
        if (cast->triangle[p] == RLV_TREE_NONE)
            continue;
        float opened = 0.0f, lighted = 0.0f, weights = 0.0f;
        tile near = around(cast, x, y, 2);
        for (size_t j = near.top; j <= near.bottom; j++)
            for (size_t i = near.left; i <= near.right; i++)
            {
                size_t q = j * cast->width + i;
                if (!same_surface(cast, p, cast->normal + 3 * p, (float)i - (float)x, (float)y - (float)j, q))
                    continue;
                float weight = share[i > x ? i - x : x - i] * share[j > y ? j - y : y - j];
                opened += weight * cast->open[q];
                lighted += weight * cast->lit[q];
                weights += weight;
            }
        open[p] = opened / weights;
        lit[p] = lighted / weights;
    }
}

static bool gather(rlv_cast* cast, rlv_error* error)
{
    size_t count = cast->width * cast->height;
    float* open = rlv_reserve(count, sizeof *open, error);
    float* lit = open != NULL ? rlv_reserve(count, sizeof *lit, error) : NULL;
    if (lit == NULL)
    {
        free(open);
        return false;
    }
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        gather_row(cast, y, open, lit);
    free(cast->open);
    free(cast->lit);
    cast->open = open;
    cast->lit = lit;
    return true;
}

rlv_status cast_look_around(rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree, const rlv_cast_light* light,
                            double diagonal_mm, rlv_error* error)
{
    looks sky = {.rays = (size_t)light->rays}, lamp = {.rays = ((size_t)light->rays + 3) / 4};
    bool done = looks_over_plane(&sky, RLV_CAST_REACH * diagonal_mm, error) &&
                looks_at_lamp(&lamp, cast, light->towards, diagonal_mm, error);
    if (done)
    {
        size_t tiles = tile_count(cast);
#pragma omp parallel for schedule(dynamic, 4)
        for (size_t i = 0; i < tiles; i++)
            look_around_tile(cast, mesh, tree, tile_of(cast, i), &sky, &lamp);
        done = gather(cast, error);
    }
    free(sky.look);
    free(lamp.look);
    return done ? RLV_DONE : RLV_SYSTEM;
}
