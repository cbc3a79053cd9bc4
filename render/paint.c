#include "paint.h"

#include "colour.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

// Light, in the picture's axes. The key rakes from the upper left; the fill is soft and from the eye's right; the sky
// reaches wherever a place is open.
#define KEY 0.80f
#define FILL 0.16f
#define SKY 0.34f
#define RELIEF                                                                                                         \
    0.22f // how strongly it shades the colours of depth: yellow in half light would be olive, and not in the key
#define GLEAM 0.25f // and how far they brighten where it falls straight

static const rlv_rgb inside = {0.52f, 0.53f, 0.55f}; // of the inside of an open surface

#define RULED 2 // overlay->shown: hatched

#define BYTES 16384 // of linear light: the steepest of sRGB then changes by a fifth of a byte from one to the next

typedef struct painter
{
    const rlv_mesh* mesh;
    const rlv_overlay* overlay; // NULL: none
    const rlv_view_options* options;
    const rlv_paint_pattern* pattern; // NULL: none
    rlv_rgb clay, inside, ink;        // linear
    float key[3];
    float facing_light;  // of an open place that faces the eye
    uint8_t byte[BYTES]; // of even steps of linear light from 0 to 1, in sRGB
} painter;

// A place in sight, as it is painted.
typedef struct spot
{
    uint32_t triangle;
    float u, v, normal[3], open, lit;
    bool back;
} spot;

rlv_paint_pattern rlv_paint_pattern_of(double unit)
{
    return (rlv_paint_pattern){fmax(0.11 * unit, 1.0), fmax(0.62 * unit, 4.0), fmax(0.10 * unit, 0.8),
                               fmax(0.85 * unit, 5.0), fmax(0.13 * unit, 0.9)};
}

static float covered(double distance, double half_width)
{
    return (float)fmin(fmax(half_width + 0.5 - distance, 0.0), fmin(2.0 * half_width, 1.0));
}

float rlv_paint_hatch(const rlv_paint_pattern* pattern, double x, double y)
{
    double across = (x + y) * 0.70710678118654752 / pattern->hatch_gap;
    return covered(fabs(across - round(across)) * pattern->hatch_gap, 0.5 * pattern->hatch_line);
}

float rlv_paint_dot(const rlv_paint_pattern* pattern, double x, double y)
{
    // Rows stand closer than dots by the height of an even triangle, every other one shifted by half a gap.
    double row_gap = pattern->dot_gap * 0.86602540378443865, nearest = INFINITY;
    double row = floor(y / row_gap);
    for (int k = 0; k < 2; k++, row += 1.0)
    {
        double shift = fmod(row, 2.0) != 0.0 ? 0.5 : 0.0;
        double along = x / pattern->dot_gap - shift;
        nearest = fmin(nearest, hypot((along - round(along)) * pattern->dot_gap, y - row * row_gap));
    }
    return covered(nearest, pattern->dot_radius);
}

// Light on a place, as it is reflected by clay that is matt (Lambert).
static float light_on(const painter* with, const float normal[3], float open, float lit)
{
    const float fill[3] = {0.50f, -0.10f, 0.86f};
    float raked = 0.0f, filled = 0.0f;
    for (int i = 0; i < 3; i++)
    {
        raked += normal[i] * with->key[i];
        filled += normal[i] * fill[i];
    }
    float sky = 0.65f + 0.20f * normal[1] + 0.15f * normal[2];
    return KEY * fmaxf(raked, 0.0f) * lit + FILL * fmaxf(filled, 0.0f) * open + SKY * sky * open;
}

rlv_vec3 rlv_paint_light(const rlv_view_options* options)
{
    rlv_vec3 light = options->light;
    double greatest = fmax(fabs(light.x), fmax(fabs(light.y), fabs(light.z)));
    bool usual = !(greatest > 0.0) || !isfinite(light.x + light.y + light.z);
    light = usual ? rlv_vec3_of(-0.62, 0.62, 0.56) : rlv_vec3_scale(light, 1.0 / greatest);
    return rlv_vec3_unit(light);
}

static void set_light(painter* with, rlv_vec3 light)
{
    with->key[0] = (float)light.x;
    with->key[1] = (float)light.y;
    with->key[2] = (float)light.z;
    with->facing_light = light_on(with, (float[3]){0.0f, 0.0f, 1.0f}, 1.0f, 1.0f);
}

static float depth_of(const painter* with, const spot* at)
{
    const uint32_t* corner = with->mesh->corner + 3 * (size_t)at->triangle;
    const float* depth = with->overlay->depth_mm;
    return (1.0f - at->u - at->v) * depth[corner[0]] + at->u * depth[corner[1]] + at->v * depth[corner[2]];
}

// What of the overlay a spot shows: 0, 1 or 2 as in overlay->shown. Where no depth was measured there is none to show.
static uint8_t shown_at(const painter* with, const spot* at)
{
    if (with->overlay == NULL || at->back)
        return 0;
    uint8_t shown = with->overlay->shown[at->triangle];
    if (shown == 1 && (!(with->overlay->deepest_mm > 0.0) || !isfinite(depth_of(with, at))))
        return 0;
    return shown <= RULED ? shown : 0;
}

static rlv_rgb scaled(rlv_rgb colour, float factor)
{
    return (rlv_rgb){colour.r * factor, colour.g * factor, colour.b * factor};
}

static rlv_rgb own_colour(const painter* with, const spot* at)
{
    if (at->back)
        return with->inside;
    if (!with->options->colour || with->mesh->colour == NULL)
        return with->clay;
    const uint32_t* corner = with->mesh->corner + 3 * (size_t)at->triangle;
    const float weight[3] = {1.0f - at->u - at->v, at->u, at->v};
    float sum[3] = {0.0f, 0.0f, 0.0f};
    for (int k = 0; k < 3; k++)
        for (int i = 0; i < 3; i++)
            sum[i] += weight[k] * (float)with->mesh->colour[3 * (size_t)corner[k] + (size_t)i] / 255.0f;
    return rlv_rgb_linear((rlv_rgb){sum[0], sum[1], sum[2]});
}

static void note_seen(rlv_paint_seen* seen, double share)
{
    bool added = share < -RLV_PAINT_LEAST;
    seen->added |= added;
    seen->removed |= !added;
    seen->past_removed |= share > 1.0 + 1e-6;
    seen->past_added |= share < -1.0 - 1e-6;
}

// The colour of depth, under a light that is gentler than the clay's, so that the legend's colour is found again.
static rlv_rgb depth_colour(const painter* with, const spot* at, double x, double y, float light, rlv_paint_seen* seen)
{
    double share = (double)depth_of(with, at) / with->overlay->deepest_mm;
    note_seen(seen, share);
    bool added = share < -RLV_PAINT_LEAST;
    rlv_rgb colour = rlv_rgb_linear(added ? rlv_colour_added(-share) : rlv_colour_removed(share));
    const float gentle = light < 1.0f ? powf(light, RELIEF) : 1.0f + GLEAM * RELIEF * (light - 1.0f);
    colour = scaled(colour, gentle);
    if (!added || with->pattern == NULL)
        return colour;
    return rlv_rgb_mix(colour, with->ink, 0.85f * rlv_paint_dot(with->pattern, x, y));
}

static rlv_rgb paint_spot(const painter* with, const spot* at, double x, double y, rlv_paint_seen* seen)
{
    float light = light_on(with, at->normal, at->open, at->lit) / with->facing_light;
    uint8_t shown = shown_at(with, at);
    if (shown == 1)
        return depth_colour(with, at, x, y, light, seen);
    rlv_rgb colour = scaled(own_colour(with, at), light);
    if (shown != RULED)
        return colour;
    seen->hatched = true;
    if (with->pattern == NULL)
        return colour;
    return rlv_rgb_mix(colour, with->ink, 0.75f * rlv_paint_hatch(with->pattern, x, y));
}

static spot spot_of(const rlv_cast* cast, size_t p)
{
    spot at = {cast->triangle[p], cast->weight[2 * p], cast->weight[2 * p + 1], {0},
               cast->open[p],     cast->lit[p],        cast->back[p] != 0};
    memcpy(at.normal, cast->normal + 3 * p, sizeof at.normal);
    return at;
}

static void merge_seen(rlv_paint_seen* into, const rlv_paint_seen* from)
{
    into->removed |= from->removed;
    into->added |= from->added;
    into->hatched |= from->hatched;
    into->past_removed |= from->past_removed;
    into->past_added |= from->past_added;
}

static void paint_surface(const painter* with, const rlv_cast* cast, rlv_rgb* colour, uint8_t* shown,
                          rlv_paint_seen* seen)
{
#pragma omp parallel
    {
        rlv_paint_seen mine = {0};
#pragma omp for schedule(dynamic, 8)
        for (size_t y = 0; y < cast->height; y++)
            for (size_t x = 0; x < cast->width; x++)
            {
                size_t p = y * cast->width + x;
                if (cast->triangle[p] == RLV_TREE_NONE)
                    continue;
                spot at = spot_of(cast, p);
                shown[p] = shown_at(with, &at);
                colour[p] = paint_spot(with, &at, (double)(cast->left + x) + 0.5, (double)(cast->top + y) + 0.5, &mine);
            }
#pragma omp critical
        merge_seen(seen, &mine);
    }
}

#define REACH 4 // pixels to each side that an outline looks at, at most

// How much of a pixel an outline covers: where the blurred share of what is marked in any bit of `marks` passes one
// half. Only the mesh counts, so that no outline runs along the mesh's own.
static float outline_at(const rlv_cast* cast, const uint8_t* shown, size_t x, size_t y, uint8_t marks,
                        const float* bell, size_t reach)
{
    size_t x0 = x > reach ? x - reach : 0, x1 = x + reach < cast->width ? x + reach : cast->width - 1;
    size_t y0 = y > reach ? y - reach : 0, y1 = y + reach < cast->height ? y + reach : cast->height - 1;
    float sum = 0.0f, all = 0.0f;
    for (size_t j = y0; j <= y1; j++)
        for (size_t i = x0; i <= x1; i++)
        {
            size_t q = j * cast->width + i;
            if (cast->triangle[q] == RLV_TREE_NONE)
                continue;
            float weight = bell[i > x ? i - x : x - i] * bell[j > y ? j - y : y - j];
            all += weight;
            sum += (shown[q] & marks) != 0 ? weight : 0.0f;
        }
    float off = fabsf(sum / all - 0.5f);
    return fminf(fmaxf((0.40f - off) / 0.16f, 0.0f), 1.0f);
}

// A thin dark line round every stretch of colour, a fainter one round every hatched one.
static void outline(const painter* with, const rlv_cast* cast, const uint8_t* shown, rlv_rgb* colour)
{
    double sd = 0.62 * with->pattern->line;
    size_t reach = (size_t)fmin(ceil(2.0 * sd), REACH);
    float bell[REACH + 1];
    for (size_t i = 0; i <= reach; i++)
        bell[i] = (float)exp(-0.5 * (double)(i * i) / (sd * sd));
#pragma omp parallel for schedule(dynamic, 8)
    for (size_t y = 0; y < cast->height; y++)
        for (size_t x = 0; x < cast->width; x++)
        {
            size_t p = y * cast->width + x;
            if (cast->triangle[p] == RLV_TREE_NONE)
                continue;
            float strong = outline_at(cast, shown, x, y, 1, bell, reach);
            float faint = outline_at(cast, shown, x, y, 1 | RULED, bell, reach);
            colour[p] = rlv_rgb_mix(colour[p], with->ink, fmaxf(0.85f * strong, 0.45f * faint));
        }
}

// How far (in pixels) a place lies off the plane of pixel p; infinite where p is the page.
static float off_pixel(const rlv_cast* cast, size_t p, float right, float up, float height_mm)
{
    if (cast->triangle[p] == RLV_TREE_NONE)
        return INFINITY;
    const float* normal = cast->normal + 3 * p;
    return fabsf(normal[0] * right + normal[1] * up + normal[2] * (height_mm - cast->height_mm[p]) / cast->pixel_mm);
}

// Whether a pixel's surroundings are of more than one piece: page and mesh, or two surfaces. Where two kinds of overlay
// meet on one surface, rays through the pixel would all find its own colour.
static bool on_edge(const rlv_cast* cast, size_t x, size_t y)
{
    size_t p = y * cast->width + x;
    size_t x0 = x > 0 ? x - 1 : 0, x1 = x + 1 < cast->width ? x + 1 : x;
    size_t y0 = y > 0 ? y - 1 : 0, y1 = y + 1 < cast->height ? y + 1 : y;
    for (size_t j = y0; j <= y1; j++)
        for (size_t i = x0; i <= x1; i++)
        {
            size_t q = j * cast->width + i;
            bool page = cast->triangle[q] == RLV_TREE_NONE;
            if (page != (cast->triangle[p] == RLV_TREE_NONE))
                return true;
            if (page)
                continue;
            float right = (float)i - (float)x, up = (float)y - (float)j;
            if (off_pixel(cast, p, right, up, cast->height_mm[q]) > 2.0f &&
                off_pixel(cast, q, -right, -up, cast->height_mm[p]) > 2.0f)
                return true;
        }
    return false;
}

#define MOST_SAMPLES 64

// The colour of one ray through a pixel on an edge: that of the pixel around whose surface it meets, or its own.
static rlv_rgb edge_colour(const painter* with, const rlv_cast* cast, const rlv_rgb* colour, const rlv_hit* hit,
                           size_t x, size_t y, float off_x, float off_y, rlv_paint_seen* seen)
{
    if (hit->triangle == RLV_TREE_NONE)
        return (rlv_rgb){1.0f, 1.0f, 1.0f};
    float height_mm = (float)(cast->eye_height_mm - (double)hit->distance);
    size_t x0 = x > 0 ? x - 1 : 0, x1 = x + 1 < cast->width ? x + 1 : x;
    size_t y0 = y > 0 ? y - 1 : 0, y1 = y + 1 < cast->height ? y + 1 : y;
    size_t best = SIZE_MAX;
    float least = INFINITY;
    for (size_t j = y0; j <= y1; j++)
        for (size_t i = x0; i <= x1; i++)
        {
            size_t q = j * cast->width + i;
            float right = (float)x + off_x - (float)i, up = (float)j - (float)y - off_y;
            float far = off_pixel(cast, q, right, up, height_mm) + 0.1f * (right * right + up * up);
            if (far < least)
            {
                least = far;
                best = q;
            }
        }
    if (least < 4.0f)
        return colour[best];
    bool alone = best == SIZE_MAX;
    spot at = {hit->triangle, hit->u, hit->v, {0}, alone ? 1.0f : cast->open[best], alone ? 1.0f : cast->lit[best],
               false};
    rlv_cast_facing(cast, with->mesh, hit, at.normal, &at.back);
    return paint_spot(with, &at, (double)(cast->left + x) + 0.5, (double)(cast->top + y) + 0.5, seen);
}

static rlv_rgb edge_pixel(const painter* with, const rlv_cast* cast, const rlv_tree* tree, const rlv_rgb* colour,
                          size_t x, size_t y, size_t samples, rlv_paint_seen* seen)
{
    rlv_ray ray[MOST_SAMPLES] = {0};
    rlv_hit hit[MOST_SAMPLES];
    float off[MOST_SAMPLES][2];
    for (size_t k = 0; k < samples; k++)
    {
        // J. Hammersley's points: no two in one row or column of the pixel.
        double a = ((double)k + 0.5) / (double)samples, b = 0.5 / (double)samples;
        for (size_t rest = k, part = 2; rest > 0; rest /= 2, part *= 2)
            b += (double)(rest % 2) / (double)part;
        off[k][0] = (float)(a - 0.5);
        off[k][1] = (float)(b - 0.5);
        ray[k] = rlv_cast_ray(cast, (double)(cast->left + x) + a, (double)(cast->top + y) + b);
    }
    rlv_tree_rays(tree, samples, ray, hit);
    rlv_rgb sum = {0.0f, 0.0f, 0.0f};
    for (size_t k = 0; k < samples; k++)
    {
        rlv_rgb one = edge_colour(with, cast, colour, &hit[k], x, y, off[k][0], off[k][1], seen);
        sum = (rlv_rgb){sum.r + one.r, sum.g + one.g, sum.b + one.b};
    }
    return scaled(sum, 1.0f / (float)samples);
}

static void list_bytes(painter* with)
{
    for (size_t i = 0; i < BYTES; i++)
    {
        const float light = (float)i / (float)(BYTES - 1);
        with->byte[i] = (uint8_t)(255.0f * rlv_rgb_srgb((rlv_rgb){light, light, light}).r + 0.5f);
    }
}

static uint8_t byte_of(const painter* with, float light)
{
    const float within = light > 0.0f ? light < 1.0f ? light : 1.0f : 0.0f;
    return with->byte[(size_t)(within * (float)(BYTES - 1) + 0.5f)];
}

static void put(rlv_picture* picture, const painter* with, const rlv_cast* cast, size_t x, size_t y, rlv_rgb linear)
{
    uint8_t* to = picture->rgb + 3 * ((cast->top + y) * picture->width + cast->left + x);
    to[0] = byte_of(with, linear.r);
    to[1] = byte_of(with, linear.g);
    to[2] = byte_of(with, linear.b);
}

static void put_all(rlv_picture* picture, const painter* with, const rlv_cast* cast, const rlv_tree* tree,
                    const rlv_rgb* colour, rlv_paint_seen* seen)
{
    size_t samples = with->options->samples > 1 ? (size_t)with->options->samples : 1;
    if (samples > MOST_SAMPLES)
        samples = MOST_SAMPLES;
#pragma omp parallel
    {
        rlv_paint_seen mine = {0};
#pragma omp for schedule(dynamic, 8)
        for (size_t y = 0; y < cast->height; y++)
            for (size_t x = 0; x < cast->width; x++)
            {
                size_t p = y * cast->width + x;
                if (samples > 1 && on_edge(cast, x, y))
                    put(picture, with, cast, x, y, edge_pixel(with, cast, tree, colour, x, y, samples, &mine));
                else if (cast->triangle[p] != RLV_TREE_NONE)
                    put(picture, with, cast, x, y, colour[p]);
            }
#pragma omp critical
        merge_seen(seen, &mine);
    }
}

rlv_status rlv_paint(rlv_picture* picture, const rlv_cast* cast, const rlv_mesh* mesh, const rlv_tree* tree,
                     const rlv_overlay* overlay, const rlv_view_options* options, const rlv_paint_pattern* pattern,
                     rlv_paint_seen* seen, rlv_error* error)
{
    memset(seen, 0, sizeof *seen);
    if (cast->width == 0)
        return RLV_DONE;
    size_t count = cast->width * cast->height;
    rlv_rgb* colour = rlv_reserve(count, sizeof *colour, error);
    uint8_t* shown = colour != NULL ? rlv_reserve(count, 1, error) : NULL;
    if (shown == NULL)
    {
        free(colour);
        return RLV_SYSTEM;
    }
    painter with = {.mesh = mesh,
                    .overlay = overlay,
                    .options = options,
                    .pattern = pattern,
                    .clay = rlv_rgb_linear(RLV_PAINT_CLAY),
                    .inside = rlv_rgb_linear(inside),
                    .ink = rlv_rgb_linear(RLV_PAINT_INK)};
    set_light(&with, rlv_paint_light(options));
    list_bytes(&with);
    paint_surface(&with, cast, colour, shown, seen);
    if (overlay != NULL && pattern != NULL)
        outline(&with, cast, shown, colour);
    put_all(picture, &with, cast, tree, colour, seen);
    free(colour);
    free(shown);
    return RLV_DONE;
}
