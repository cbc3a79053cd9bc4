#include "relief.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

rlv_status relief_reserve(demo_relief* map, const double low_mm[2], const double high_mm[2], double pitch_mm,
                          float height_mm, rlv_error* error)
{
    memset(map, 0, sizeof *map);
    map->pitch_mm = pitch_mm;
    for (int k = 0; k < 2; k++)
    {
        map->origin_mm[k] = low_mm[k];
        map->size[k] = (size_t)ceil((high_mm[k] - low_mm[k]) / pitch_mm) + 1;
    }
    const size_t count = map->size[0] * map->size[1];
    map->height_mm = rlv_reserve(count, sizeof *map->height_mm, error);
    if (map->height_mm == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < count; i++)
        map->height_mm[i] = height_mm;
    return RLV_DONE;
}

void relief_free(demo_relief* map)
{
    free(map->height_mm);
    memset(map, 0, sizeof *map);
}

static double clamped(double x, double high)
{
    return x < 0.0 ? 0.0 : x > high ? high : x;
}

size_t relief_nearest(const demo_relief* map, double x_mm, double y_mm)
{
    double x = clamped((x_mm - map->origin_mm[0]) / map->pitch_mm, (double)(map->size[0] - 1));
    double y = clamped((y_mm - map->origin_mm[1]) / map->pitch_mm, (double)(map->size[1] - 1));
    return (size_t)(y + 0.5) * map->size[0] + (size_t)(x + 0.5);
}

double relief_at(const demo_relief* map, double x_mm, double y_mm)
{
    double x = clamped((x_mm - map->origin_mm[0]) / map->pitch_mm, (double)(map->size[0] - 1));
    double y = clamped((y_mm - map->origin_mm[1]) / map->pitch_mm, (double)(map->size[1] - 1));
    size_t i = (size_t)x, j = (size_t)y;
    i -= i + 1 == map->size[0];
    j -= j + 1 == map->size[1];
    double u = x - (double)i, v = y - (double)j;
    const float* at = map->height_mm + j * map->size[0] + i;
    const float* above = at + map->size[0];
    return (1 - v) * ((1 - u) * (double)at[0] + u * (double)at[1]) +
           v * ((1 - u) * (double)above[0] + u * (double)above[1]);
}

/// Raise the points under a triangle, in grid units; either winding.
static void draw_triangle(demo_relief* map, uint16_t* owner, uint16_t mark, const rlv_vec3 corner[3])
{
    rlv_vec3 p[3];
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    for (int k = 0; k < 3; k++)
    {
        p[k].x = (corner[k].x - map->origin_mm[0]) / map->pitch_mm;
        p[k].y = (corner[k].y - map->origin_mm[1]) / map->pitch_mm;
        p[k].z = corner[k].z;
        low[0] = fmin(low[0], p[k].x), high[0] = fmax(high[0], p[k].x);
        low[1] = fmin(low[1], p[k].y), high[1] = fmax(high[1], p[k].y);
    }
    double area = (p[1].x - p[0].x) * (p[2].y - p[0].y) - (p[2].x - p[0].x) * (p[1].y - p[0].y);
    if (fabs(area) < 1e-12 || low[0] < 0.0 || low[1] < 0.0 || high[0] > (double)(map->size[0] - 1) ||
        high[1] > (double)(map->size[1] - 1))
        return;
    for (size_t j = (size_t)ceil(low[1]); (double)j <= high[1]; j++)
        for (size_t i = (size_t)ceil(low[0]); (double)i <= high[0]; i++)
        {
            double x = (double)i - p[0].x, y = (double)j - p[0].y;
            double b = (x * (p[2].y - p[0].y) - (p[2].x - p[0].x) * y) / area;
            double c = ((p[1].x - p[0].x) * y - x * (p[1].y - p[0].y)) / area;
            if (b < -1e-9 || c < -1e-9 || b + c > 1.0 + 1e-9)
                continue;
            float z = (float)(p[0].z + b * (p[1].z - p[0].z) + c * (p[2].z - p[0].z));
            const size_t at = j * map->size[0] + i;
            if (z > map->height_mm[at])
            {
                map->height_mm[at] = z;
                owner[at] = mark;
            }
        }
}

void relief_draw(demo_relief* map, uint16_t* owner, uint16_t mark, const size_t count[2], const rlv_vec3* sheet)
{
    for (size_t j = 0; j + 1 < count[1]; j++)
        for (size_t i = 0; i + 1 < count[0]; i++)
        {
            const rlv_vec3* at = sheet + j * count[0] + i;
            const rlv_vec3 one[3] = {at[0], at[1], at[count[0] + 1]};
            const rlv_vec3 two[3] = {at[0], at[count[0] + 1], at[count[0]]};
            draw_triangle(map, owner, mark, one);
            draw_triangle(map, owner, mark, two);
        }
}

void relief_spread(const demo_relief* map, float* value, double slope)
{
    static const int step[8][3] = {{-1, 0, 5},   {0, -1, 5},  {-1, -1, 7},  {1, -1, 7},
                                   {-1, -2, 11}, {1, -2, 11}, {-2, -1, 11}, {2, -1, 11}};
    const long wide = (long)map->size[0], high = (long)map->size[1];
    for (int sweep = 0; sweep < 2; sweep++)
    {
        long offset[8];
        float fall[8];
        for (int s = 0; s < 8; s++)
        {
            offset[s] = (sweep == 0 ? 1 : -1) * (step[s][1] * wide + step[s][0]);
            fall[s] = (float)(slope * map->pitch_mm / 5.0 * step[s][2]);
        }
        for (long k = 0; k < (high - 4) * wide; k++)
        {
            long at = (sweep == 0 ? k : (high - 4) * wide - 1 - k) + 2 * wide, x = at % wide;
            if (x < 2 || x >= wide - 2)
                continue;
            float highest = value[at];
            for (int s = 0; s < 8; s++)
            {
                float reach = value[at + offset[s]] - fall[s];
                highest = reach > highest ? reach : highest;
            }
            value[at] = highest;
        }
    }
}
