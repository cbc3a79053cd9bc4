#include "align_describe.h"

#include <stdlib.h>
#include <string.h>

#define ANGLES 24
#define LEVEL_RAYS 12 ///< rays on one ring, that level a key point's frame
#define RAYS (RLV_RINGS * ANGLES)
#define BATCH 1024                     ///< key points whose rays are shot together
static const double level_ring = 0.6;  ///< of the radius
static const double reach = 0.7;       ///< how far above and below its plane a place is looked at, in radii
static const double least_seen = 0.95; ///< share of the rays that must meet the surface

/// What every height map shares.
typedef struct rings
{
    double radius_mm[RLV_RINGS];
    double weight[RLV_RINGS]; ///< root of the share of the disc's area that a ring stands for
    double cosine[ANGLES], sine[ANGLES];
    float wave[RLV_WAVES][2][ANGLES];
} rings;

static void rings_set(rings* r, double radius_mm)
{
    double total = 0.0;
    for (int k = 0; k < RLV_RINGS; k++)
        total += k + 1.0;
    for (int k = 0; k < RLV_RINGS; k++)
    {
        r->radius_mm[k] = radius_mm * (k + 1.0) / RLV_RINGS;
        r->weight[k] = sqrt((k + 1.0) / total);
    }
    for (int a = 0; a < ANGLES; a++)
    {
        const double angle = 2.0 * M_PI * a / ANGLES;
        r->cosine[a] = cos(angle);
        r->sine[a] = sin(angle);
        for (int m = 0; m < RLV_WAVES; m++)
        {
            r->wave[m][0][a] = (float)(M_SQRT2 * cos((m + 1) * angle) / ANGLES);
            r->wave[m][1][a] = (float)(M_SQRT2 * sin((m + 1) * angle) / ANGLES);
        }
    }
}

/// A direction at right angles to the normal (J. Duff et al., Building an orthonormal basis, revisited, JCGT 6(1),
/// 2017).
static rlv_vec3 any_side(rlv_vec3 n)
{
    const double sign = copysign(1.0, n.z), a = -1.0 / (sign + n.z), b = n.x * n.y * a;
    return rlv_vec3_of(1.0 + sign * n.x * n.x * a, sign * b, -sign * n.x);
}

static rlv_ray ray_down(const rlv_place* place, double along_side, double across, double height_mm)
{
    rlv_vec3 other = rlv_vec3_cross(place->normal, place->side);
    rlv_vec3 at = rlv_vec3_along(place->at_mm, along_side, place->side);
    at = rlv_vec3_along(at, across, other);
    at = rlv_vec3_along(at, height_mm, place->normal);
    return (rlv_ray){.origin_mm = {(float)at.x, (float)at.y, (float)at.z},
                     .direction = {(float)-place->normal.x, (float)-place->normal.y, (float)-place->normal.z},
                     .limit = (float)(2.0 * height_mm)};
}

/// Turn a place's frame to the plane through the heights of one ring. False where too little of it is seen.
static bool level(rlv_place* place, const rlv_hit* hit, double ring_mm, double height_mm)
{
    double cosine = 0.0, sine = 0.0;
    int seen = 0;
    for (int a = 0; a < LEVEL_RAYS; a++)
    {
        if (hit[a].triangle == RLV_TREE_NONE)
            continue;
        const double angle = 2.0 * M_PI * a / LEVEL_RAYS, height = height_mm - (double)hit[a].distance;
        cosine += height * cos(angle);
        sine += height * sin(angle);
        seen++;
    }
    if (seen < LEVEL_RAYS)
        return false;
    rlv_vec3 other = rlv_vec3_cross(place->normal, place->side);
    const double factor = -2.0 / (LEVEL_RAYS * ring_mm);
    rlv_vec3 n = rlv_vec3_along(place->normal, factor * cosine, place->side);
    place->normal = rlv_vec3_unit(rlv_vec3_along(n, factor * sine, other));
    place->side = any_side(place->normal);
    return true;
}

/// Fill the few heights that no ray met with the mean of their ring. False where they are many.
static bool read_heights(float* height, const rlv_hit* hit, double from_mm)
{
    int seen = 0;
    for (int k = 0; k < RLV_RINGS; k++)
    {
        float sum = 0.0f;
        int count = 0;
        for (int a = 0; a < ANGLES; a++)
            if (hit[k * ANGLES + a].triangle != RLV_TREE_NONE)
            {
                height[k * ANGLES + a] = (float)from_mm - hit[k * ANGLES + a].distance;
                sum += height[k * ANGLES + a];
                count++;
            }
        for (int a = 0; a < ANGLES && count > 0; a++)
            if (hit[k * ANGLES + a].triangle == RLV_TREE_NONE)
                height[k * ANGLES + a] = sum / (float)count;
        seen += count;
    }
    return seen >= (int)(least_seen * RAYS);
}

/// Take out of the series what a shift along the normal (the mean of all) and a tilt (a plane) would change.
static void take_out_plane(rlv_place* place, const rings* r)
{
    double mean = 0.0, tilt[2] = {0.0, 0.0}, plane = 0.0;
    const int stride = 2 * RLV_WAVES + 1;
    for (int k = 0; k < RLV_RINGS; k++)
    {
        const float* ring = place->series + k * stride;
        const double slope = r->weight[k] * r->radius_mm[k];
        mean += r->weight[k] * (double)ring[0];
        tilt[0] += slope * (double)ring[1];
        tilt[1] += slope * (double)ring[2];
        plane += slope * slope;
    }
    for (int k = 0; k < RLV_RINGS; k++)
    {
        float* ring = place->series + k * stride;
        const double slope = r->weight[k] * r->radius_mm[k];
        ring[0] -= (float)(mean * r->weight[k]);
        ring[1] -= (float)(tilt[0] / plane * slope);
        ring[2] -= (float)(tilt[1] / plane * slope);
    }
}

static void transform(rlv_place* place, const float* height, const rings* r)
{
    const int stride = 2 * RLV_WAVES + 1;
    for (int k = 0; k < RLV_RINGS; k++)
    {
        const float* h = height + k * ANGLES;
        float* ring = place->series + k * stride;
        const float weight = (float)r->weight[k];
        float mean = 0.0f;
        for (int a = 0; a < ANGLES; a++)
            mean += h[a];
        ring[0] = weight * mean / ANGLES;
        for (int m = 0; m < RLV_WAVES; m++)
            for (int part = 0; part < 2; part++)
            {
                float sum = 0.0f;
                for (int a = 0; a < ANGLES; a++)
                    sum += h[a] * r->wave[m][part][a];
                ring[1 + 2 * m + part] = weight * sum;
            }
    }
    take_out_plane(place, r);
    for (int k = 0; k < RLV_RINGS; k++)
    {
        const float* ring = place->series + k * stride;
        float* moduli = place->moduli + k * (RLV_WAVES + 1);
        moduli[0] = ring[0];
        for (int m = 0; m < RLV_WAVES; m++)
            moduli[1 + m] = sqrtf(ring[1 + 2 * m] * ring[1 + 2 * m] + ring[2 + 2 * m] * ring[2 + 2 * m]);
    }
}

/// Describe the places [0, count) of a batch; marks in `good` which could be.
static void describe_batch(rlv_place* place, size_t count, bool* good, const rlv_tree* tree, const rings* r,
                           double radius_mm, rlv_ray* ray, rlv_hit* hit)
{
    const double height = reach * radius_mm, ring = level_ring * radius_mm;
    for (size_t i = 0; i < count; i++)
        for (int a = 0; a < LEVEL_RAYS; a++)
        {
            const double angle = 2.0 * M_PI * a / LEVEL_RAYS;
            ray[i * LEVEL_RAYS + (size_t)a] = ray_down(place + i, ring * cos(angle), ring * sin(angle), height);
        }
    rlv_tree_rays(tree, count * LEVEL_RAYS, ray, hit);
    for (size_t i = 0; i < count; i++)
        good[i] = level(place + i, hit + i * LEVEL_RAYS, ring, height);
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < RLV_RINGS; k++)
            for (int a = 0; a < ANGLES; a++)
                ray[i * RAYS + (size_t)(k * ANGLES + a)] =
                    ray_down(place + i, r->radius_mm[k] * r->cosine[a], r->radius_mm[k] * r->sine[a], height);
    rlv_tree_rays(tree, count * RAYS, ray, hit);
    for (size_t i = 0; i < count; i++)
    {
        float heights[RAYS];
        good[i] = good[i] && read_heights(heights, hit + i * RAYS, height);
        if (good[i])
            transform(place + i, heights, r);
    }
}

/// One sample of every cell of a grid, thinned to `limit`.
static rlv_status choose_key_points(rlv_places* places, const rlv_samples* samples, double spacing_mm, size_t limit,
                                    rlv_error* error)
{
    rlv_sample_cells cells = {0};
    // A surface passes through about 1.5 cells per square of their side (mean over its attitudes).
    rlv_status status = rlv_sample_cells_sort(&cells, samples->count, samples->position_mm, 1.22 * spacing_mm, error);
    if (status != RLV_DONE)
        return status;
    const size_t total = cells.size[0] * cells.size[1] * cells.size[2];
    size_t filled = 0;
    for (size_t c = 0; c < total; c++)
        filled += cells.start[c + 1] > cells.start[c];
    const size_t taken = filled < limit ? filled : limit;
    places->place = rlv_reserve(taken, sizeof *places->place, error);
    if (places->place == NULL)
        status = RLV_SYSTEM;
    size_t seen = 0;
    for (size_t c = 0; c < total && status == RLV_DONE; c++)
    {
        if (cells.start[c + 1] == cells.start[c])
            continue;
        if (seen * taken / filled != (seen + 1) * taken / filled)
        {
            const size_t i = cells.item[cells.start[c]];
            rlv_place* place = places->place + places->count++;
            place->at_mm = rlv_vec3_from(samples->position_mm + 3 * i);
            place->normal = rlv_vec3_from(samples->normal + 3 * i);
            place->side = any_side(place->normal);
        }
        seen++;
    }
    rlv_sample_cells_free(&cells);
    return status;
}

rlv_status rlv_places_describe(rlv_places* places, const rlv_samples* samples, const rlv_tree* tree, double radius_mm,
                               double spacing_mm, size_t limit, rlv_error* error)
{
    rlv_status status = choose_key_points(places, samples, spacing_mm, limit, error);
    if (status != RLV_DONE)
        return status;
    rlv_ray* ray = rlv_reserve(BATCH * RAYS, sizeof *ray, error);
    rlv_hit* hit = ray != NULL ? rlv_reserve(BATCH * RAYS, sizeof *hit, error) : NULL;
    bool* good = hit != NULL ? rlv_reserve(places->count, sizeof *good, error) : NULL;
    if (good != NULL)
    {
        rings r;
        rings_set(&r, radius_mm);
        for (size_t i = 0; i < places->count; i += BATCH)
        {
            const size_t count = i + BATCH < places->count ? BATCH : places->count - i;
            describe_batch(places->place + i, count, good + i, tree, &r, radius_mm, ray, hit);
        }
        size_t kept = 0;
        for (size_t i = 0; i < places->count; i++)
            if (good[i])
                places->place[kept++] = places->place[i];
        places->count = kept;
    }
    else
        status = RLV_SYSTEM;
    free(good);
    free(hit);
    free(ray);
    if (status != RLV_DONE)
        rlv_places_free(places);
    return status;
}

void rlv_places_free(rlv_places* places)
{
    free(places->place);
    memset(places, 0, sizeof *places);
}

rlv_turns rlv_turns_table(void)
{
    rlv_turns turns;
    for (int t = 0; t < RLV_TURNS; t++)
        for (int m = 0; m < RLV_WAVES; m++)
        {
            const double angle = 2.0 * M_PI * (m + 1) * t / RLV_TURNS;
            turns.cosine[m][t] = (float)cos(angle);
            turns.sine[m][t] = (float)sin(angle);
        }
    return turns;
}

double rlv_places_compare(const rlv_place* a, const rlv_place* b, const rlv_turns* turns, double* turn_rad)
{
    const int stride = 2 * RLV_WAVES + 1;
    float squares = 0.0f, still = 0.0f, together[RLV_WAVES] = {0}, crossed[RLV_WAVES] = {0};
    for (int i = 0; i < RLV_SERIES; i++)
        squares += a->series[i] * a->series[i] + b->series[i] * b->series[i];
    for (int k = 0; k < RLV_RINGS; k++)
    {
        const float* p = a->series + k * stride;
        const float* q = b->series + k * stride;
        still += p[0] * q[0];
        for (int m = 0; m < RLV_WAVES; m++)
        {
            const float pc = p[1 + 2 * m], ps = p[2 + 2 * m], qc = q[1 + 2 * m], qs = q[2 + 2 * m];
            together[m] += pc * qc + ps * qs;
            crossed[m] += pc * qs - ps * qc;
        }
    }
    // h_b(angle) = h_a(angle - turn): the correlation at a turn is still + sum of together cos(m turn) + crossed sin(m
    // turn).
    float value[RLV_TURNS];
    for (int t = 0; t < RLV_TURNS; t++)
        value[t] = still;
    for (int m = 0; m < RLV_WAVES; m++)
        for (int t = 0; t < RLV_TURNS; t++)
            value[t] += together[m] * turns->cosine[m][t] + crossed[m] * turns->sine[m][t];
    int best = 0;
    for (int t = 1; t < RLV_TURNS; t++)
        if (value[t] > value[best])
            best = t;
    const float left = value[(best + RLV_TURNS - 1) % RLV_TURNS], right = value[(best + 1) % RLV_TURNS];
    const float bend = left - 2.0f * value[best] + right;
    const float shift = bend < 0.0f ? 0.5f * (left - right) / bend : 0.0f;
    *turn_rad = ((double)best + (double)shift) * 2.0 * M_PI / RLV_TURNS;
    return fmax(0.0, (double)squares - 2.0 * (double)(value[best] - 0.25f * (left - right) * shift));
}
