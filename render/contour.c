#include "contour.h"

#include <math.h>
#include <omp.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

typedef struct grid
{
    size_t width, height;
    const float* value;
    float level;
    size_t left, top; // of its first pixel, in the picture that it is cut from
} grid;

// The corners of cell (x, y), counter-clockwise with y upwards: lower left, lower right, upper right, upper left.
static void corners_of(const grid* of, size_t x, size_t y, size_t corner[4])
{
    size_t upper = y * of->width + x, lower = upper + of->width;
    corner[0] = lower;
    corner[1] = lower + 1;
    corner[2] = upper + 1;
    corner[3] = upper;
}

// Where the level passes the side between two neighbouring pixels.
static void pass(const grid* of, size_t a, size_t b, uint64_t* key, double at[2])
{
    size_t first = a < b ? a : b, second = a < b ? b : a;
    bool down = second - first == of->width;
    double p = (double)of->value[first], q = (double)of->value[second];
    double share = ((double)of->level - p) / (q - p);
    *key = 2 * (uint64_t)first + (down ? 1 : 0);
    at[0] = (double)(of->left + first % of->width) + 0.5 + (down ? 0.0 : share);
    at[1] = -((double)(of->top + first / of->width) + 0.5 + (down ? share : 0.0));
}

// Whether the level passes no side of a cell: most are such.
static bool is_calm(const grid* of, size_t x, size_t y)
{
    const float *upper = of->value + y * of->width + x, *lower = upper + of->width;
    const bool here = upper[0] >= of->level;
    return (upper[1] >= of->level) == here && (lower[0] >= of->level) == here && (lower[1] >= of->level) == here;
}

// The links of one cell, at most two: each from a side where the level is passed downwards to one where it is passed
// upwards.
static size_t cell(const grid* of, size_t x, size_t y, rlv_link link[2])
{
    size_t corner[4], down[2] = {0}, up[2] = {0}, downs = 0, ups = 0;
    corners_of(of, x, y, corner);
    double sum = 0.0;
    for (size_t k = 0; k < 4; k++)
    {
        bool here = of->value[corner[k]] >= of->level, there = of->value[corner[(k + 1) % 4]] >= of->level;
        sum += (double)of->value[corner[k]];
        if (here && !there)
            down[downs++] = k;
        if (!here && there)
            up[ups++] = k;
    }
    if (downs == 0 || isnan(sum))
        return 0;
    // At a saddle, a high middle joins the high corners (each low one is cut off), a low one the low ones.
    bool high = 0.25 * sum >= (double)of->level;
    for (size_t i = 0; i < downs; i++)
    {
        size_t from = down[i], to = downs == 1 ? up[0] : high ? (from + 1) % 4 : (from + 3) % 4;
        pass(of, corner[from], corner[(from + 1) % 4], &link[i].from, link[i].from_at);
        pass(of, corner[to], corner[(to + 1) % 4], &link[i].to, link[i].to_at);
    }
    return downs;
}

static rlv_status contour_of(rlv_lines* lines, const grid* of, rlv_error* error)
{
    memset(lines, 0, sizeof *lines);
    rlv_link* link = NULL;
    size_t count = 0;
    for (int round = 0; round < 2; round++)
    {
        rlv_link two[2];
        size_t put = 0;
        for (size_t y = 0; y + 1 < of->height; y++)
            for (size_t x = 0; x + 1 < of->width; x++)
            {
                size_t found = is_calm(of, x, y) ? 0 : cell(of, x, y, two);
                for (size_t i = 0; i < found && round == 1; i++)
                    link[put + i] = two[i];
                put += found;
            }
        count = put;
        if (round == 0 && (link = rlv_reserve(count, sizeof *link, error)) == NULL)
            return RLV_SYSTEM;
    }
    rlv_status status = rlv_lines_join(lines, count, link, error);
    free(link);
    return status;
}

rlv_status rlv_contour_at(rlv_lines* lines, size_t width, size_t height, const float* value, float level,
                          rlv_error* error)
{
    return contour_of(lines, &(grid){width, height, value, level, 0, 0}, error);
}

#define REACH 9    // pixels that a bell reaches to each side, at most
#define WIDEST 3.0 // sd of a bell that is drawn at once, pixels

static size_t bell_of(double calm_px, float bell[REACH + 1])
{
    size_t reach = (size_t)fmin(ceil(3.0 * calm_px), REACH);
    for (size_t i = 0; i <= reach; i++)
        bell[i] = calm_px > 0.0 ? (float)exp(-0.5 * (double)(i * i) / (calm_px * calm_px)) : 1.0f;
    return reach;
}

// Values with 0 where there is none, and 1 or 0 for whether there is one: so whole rows are added without a question.
typedef struct calming
{
    size_t width, height;
    float *value, *other, *there;
    size_t* span; // of each row, from where to beyond where any is there
    float* work;  // two rows a thread
} calming;

static void find_spans(calming* c)
{
#pragma omp parallel for schedule(static)
    for (size_t y = 0; y < c->height; y++)
    {
        const float* there = c->there + y * c->width;
        size_t from = 0, beyond = c->width;
        while (from < c->width && there[from] == 0.0f)
            from++;
        while (beyond > from && there[beyond - 1] == 0.0f)
            beyond--;
        c->span[2 * y] = from;
        c->span[2 * y + 1] = beyond;
    }
}

static void add_row(size_t count, const float* restrict value, const float* restrict there, float weight,
                    float* restrict sum, float* restrict all)
{
    for (size_t i = 0; i < count; i++)
    {
        sum[i] += weight * value[i];
        all[i] += weight * there[i];
    }
}

static void divide_row(size_t count, const float* restrict there, const float* restrict sum, const float* restrict all,
                       float* restrict into)
{
    for (size_t i = 0; i < count; i++)
        into[i] = there[i] * (sum[i] / (all[i] + (1.0f - there[i])));
}

// One pass of a bell curve along rows or columns, over the values that are there. Outside of a row's span nothing is,
// and both pictures stay 0.
static void calm_along(const calming* c, const float* from, float* into, bool rows, const float* bell, size_t reach)
{
    const size_t width = c->width;
#pragma omp parallel for schedule(dynamic, 16)
    for (size_t y = 0; y < c->height; y++)
    {
        float *sum = c->work + 2 * width * (size_t)omp_get_thread_num(), *all = sum + width;
        const size_t low = c->span[2 * y], high = c->span[2 * y + 1];
        memset(sum + low, 0, (high - low) * sizeof *sum);
        memset(all + low, 0, (high - low) * sizeof *all);
        for (size_t k = 0; k <= 2 * reach; k++)
        {
            // The neighbour's place less the pixel's own is k - reach.
            const float weight = bell[k > reach ? k - reach : reach - k];
            const size_t before = k < reach ? reach - k : 0, beyond = k > reach ? k - reach : 0;
            if (!rows && y >= before && y + beyond < c->height)
            {
                const size_t at = (y + beyond - before) * width + low;
                add_row(high - low, from + at, c->there + at, weight, sum + low, all + low);
                continue;
            }
            const size_t first = low > before ? low : before, last = high + beyond < width ? high : width - beyond;
            const size_t at = y * width + first + beyond - before;
            if (rows && width > beyond && last > first)
                add_row(last - first, from + at, c->there + at, weight, sum + first, all + first);
        }
        divide_row(high - low, c->there + y * width + low, sum + low, all + low, into + y * width + low);
    }
}

rlv_status rlv_contour_calm(size_t width, size_t height, float* value, double calm_px, rlv_error* error)
{
    float bell[REACH + 1];
    // Bells one after another are one bell: their variances add up.
    const double times = fmax(ceil(calm_px * calm_px / (WIDEST * WIDEST)), 1.0);
    size_t reach = bell_of(calm_px / sqrt(times), bell), count = width * height;
    calming c = {.width = width, .height = height, .value = value};
    rlv_status status = RLV_SYSTEM;
    if ((c.other = rlv_reserve(count, sizeof *c.other, error)) != NULL &&
        (c.there = rlv_reserve(count, sizeof *c.there, error)) != NULL &&
        (c.span = rlv_reserve(2 * height, sizeof *c.span, error)) != NULL &&
        (c.work = rlv_reserve(2 * width * (size_t)omp_get_max_threads(), sizeof *c.work, error)) != NULL)
    {
        for (size_t i = 0; i < count; i++)
        {
            c.there[i] = isnan(value[i]) ? 0.0f : 1.0f;
            value[i] = isnan(value[i]) ? 0.0f : value[i];
        }
        find_spans(&c);
        for (double k = 0.0; k < times; k += 1.0)
        {
            calm_along(&c, c.value, c.other, true, bell, reach);
            calm_along(&c, c.other, c.value, false, bell, reach);
        }
        for (size_t i = 0; i < count; i++)
            value[i] = c.there[i] > 0.0f ? value[i] : NAN;
        status = RLV_DONE;
    }
    free(c.work);
    free(c.span);
    free(c.there);
    free(c.other);
    return status;
}

// The rectangle of pixels that holds a set, and a rim round it as far as the picture goes.
typedef struct stretch
{
    size_t left, top, right, bottom; // the latter two beyond the last; all 0 where the set is empty
} stretch;

static stretch stretch_of(size_t width, size_t height, const uint8_t* in, size_t rim)
{
    stretch of = {SIZE_MAX, SIZE_MAX, 0, 0};
    for (size_t y = 0; y < height; y++)
    {
        const uint8_t* row = in + y * width;
        size_t left = 0, right = width;
        while (left < width && row[left] == 0)
            left++;
        if (left == width)
            continue;
        while (row[right - 1] == 0)
            right--;
        of.left = left < of.left ? left : of.left;
        of.right = right > of.right ? right : of.right;
        of.top = y < of.top ? y : of.top;
        of.bottom = y + 1;
    }
    if (of.bottom == 0)
        return (stretch){0, 0, 0, 0};
    return (stretch){of.left > rim ? of.left - rim : 0, of.top > rim ? of.top - rim : 0,
                     of.right + rim < width ? of.right + rim : width,
                     of.bottom + rim < height ? of.bottom + rim : height};
}

rlv_status rlv_contour_set(rlv_lines* lines, size_t width, size_t height, const uint8_t* in, double calm_px,
                           rlv_error* error)
{
    memset(lines, 0, sizeof *lines);
    // A rim of pixels outside, wide enough for the bell to come to rest.
    size_t rim = (size_t)ceil(3.0 * calm_px) + 1;
    const stretch of = stretch_of(width, height, in, rim);
    size_t wide = of.right - of.left + 2 * rim, tall = of.bottom - of.top + 2 * rim;
    float* value = rlv_reserve(wide * tall, sizeof *value, error);
    if (value == NULL)
        return RLV_SYSTEM;
    for (size_t y = of.top; y < of.bottom; y++)
        for (size_t x = of.left; x < of.right; x++)
            value[(y - of.top + rim) * wide + x - of.left + rim] = in[y * width + x] != 0 ? 1.0f : 0.0f;
    rlv_status status = calm_px > 0.0 ? rlv_contour_calm(wide, tall, value, calm_px, error) : RLV_DONE;
    if (status == RLV_DONE)
        status = contour_of(lines, &(grid){wide, tall, value, 0.5f, of.left, of.top}, error);
    const double back[2] = {-(double)rim, (double)rim};
    rlv_lines_carry(lines, back, 1.0, 1.0);
    free(value);
    return status;
}
