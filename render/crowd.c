#include "crowd.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CELLS 9        // of a window's side
#define OPEN_TIMES 1.5 // an opening's width over the mean one of what is crowded: of what varies about it, most
#define LEAST_DISCS 4  // of the opening that a part cut off by it must hold: fewer are knots of what was taken out
#define SLACK_PX 1.0   // of distances along the chamfer, either way

// The neighbours that a sweep has passed, and what a step to each of them costs.
#define BEHIND 4
static const int behind_x[BEHIND] = {-1, 0, 1, -1}, behind_y[BEHIND] = {-1, -1, -1, 0};
static const float behind_cost[BEHIND] = {4.0f / 3.0f, 1.0f, 4.0f / 3.0f, 1.0f};

// A sweep of the chamfer, towards the last pixel (`way` 1) or back (-1).
typedef struct sweep
{
    ptrdiff_t wide, tall, way;
    const uint16_t* part;
    bool rim;
    float* far;
} sweep;

static inline float lesser(float a, float b)
{
    return b < a ? b : a;
}

static void sweep_at_rim(const sweep* of, ptrdiff_t x, ptrdiff_t y)
{
    const ptrdiff_t p = y * of->wide + x;
    for (int k = 0; k < BEHIND && of->part[p] != 0; k++)
    {
        const ptrdiff_t nx = x + of->way * behind_x[k], ny = y + of->way * behind_y[k], q = ny * of->wide + nx;
        const bool within = nx >= 0 && ny >= 0 && nx < of->wide && ny < of->tall,
                   same = within && of->part[q] == of->part[p];
        if (within || of->rim)
            of->far[p] = lesser(of->far[p], same ? of->far[q] + behind_cost[k] : 0.5f);
    }
}

// All but the ends of a row that has one behind it.
static void sweep_row(const sweep* of, ptrdiff_t y)
{
    ptrdiff_t step[BEHIND];
    for (int k = 0; k < BEHIND; k++)
        step[k] = of->way * (behind_y[k] * of->wide + behind_x[k]);
    for (ptrdiff_t i = 1; i + 1 < of->wide; i++)
    {
        const ptrdiff_t p = y * of->wide + (of->way > 0 ? i : of->wide - 1 - i);
        const uint16_t own = of->part[p];
        float least = of->far[p];
        if (own == 0)
            continue;
        for (int k = 0; k < BEHIND; k++)
            least = lesser(least, of->part[p + step[k]] == own ? of->far[p + step[k]] + behind_cost[k] : 0.5f);
        of->far[p] = least;
    }
}

static void sweep_all(const sweep* of)
{
    for (ptrdiff_t j = 0; j < of->tall; j++)
    {
        const ptrdiff_t y = of->way > 0 ? j : of->tall - 1 - j, first = of->way > 0 ? 0 : of->wide - 1,
                        last = of->wide - 1 - first;
        for (ptrdiff_t x = first; j == 0 && x != last; x += of->way)
            sweep_at_rim(of, x, y);
        if (j > 0)
        {
            sweep_at_rim(of, first, y);
            sweep_row(of, y);
        }
        if (j == 0 || last != first)
            sweep_at_rim(of, last, y);
    }
}

void rlv_crowd_distances(size_t width, size_t height, const uint16_t* part, bool rim, float* far)
{
    for (size_t p = 0; p < width * height; p++)
        far[p] = part[p] == 0 ? 0.0f : 1e9f;
    sweep of = {(ptrdiff_t)width, (ptrdiff_t)height, 1, part, rim, far};
    sweep_all(&of);
    of.way = -1;
    sweep_all(&of);
}

// What is known of a pixel.
enum
{
    FINE = 1, // a disc does not reach it
    REACHED,  // nor that, and it hangs together with a crowd
    PASSED,   // looked at
};

// A set while it is thinned. Cells are squares of the picture, CELLS of them along a window.
typedef struct thinning
{
    size_t width, height, cell_px, columns, rows;
    uint8_t* in;
    uint32_t *filled, *edges; // one a cell: its pixels in the set, and its sides between one in it and one not
    double* deep[2];          // one a cell: how far from a border its pixels lie, added up, in the set and out of it
    uint8_t* crowded;         // one a cell
    uint16_t* part;
    float *far, *reach; // how far a pixel lies from the nearest border, and from where a disc's middle may stand
    uint8_t* fine;      // one a pixel
    uint32_t* queue;
} thinning;

static size_t cell_of(const thinning* of, size_t p)
{
    return p / of->width / of->cell_px * of->columns + p % of->width / of->cell_px;
}

// What `count` pixels of a row from `p` on, all of them in one cell, add to it.
typedef void add_to_cell(thinning* of, size_t cell, size_t p, size_t count);

static void add_all(thinning* of, add_to_cell* add)
{
    for (size_t y = 0; y < of->height; y++)
        for (size_t column = 0; column < of->columns; column++)
        {
            const size_t x = column * of->cell_px, left = of->width - x;
            add(of, y / of->cell_px * of->columns + column, y * of->width + x, left < of->cell_px ? left : of->cell_px);
        }
}

static void add_sides(thinning* of, size_t cell, size_t p, size_t count)
{
    const uint8_t* in = of->in + p;
    const bool below = p / of->width + 1 < of->height;
    uint32_t filled = 0, edges = 0;
    for (size_t i = 0; i < count; i++)
        filled += in[i] != 0;
    for (size_t i = 0; i + 1 < count; i++)
        edges += (in[i] != 0) != (in[i + 1] != 0);
    edges += (p + count) % of->width != 0 && (in[count - 1] != 0) != (in[count] != 0);
    for (size_t i = 0; below && i < count; i++)
        edges += (in[i] != 0) != (in[i + of->width] != 0);
    of->filled[cell] += filled;
    of->edges[cell] += edges;
}

static void add_depths(thinning* of, size_t cell, size_t p, size_t count)
{
    for (size_t i = p; i < p + count; i++)
        of->deep[of->in[i] != 0 ? 0 : 1][cell] += (double)of->far[i];
}

// Pixels of a cell, which the picture's rim may cut.
static double cell_area(const thinning* of, size_t column, size_t row)
{
    const double wide = fmin((double)of->cell_px, (double)(of->width - column * of->cell_px)),
                 tall = fmin((double)of->cell_px, (double)(of->height - row * of->cell_px));
    return wide * tall;
}

// What a window about a cell holds, in pixels. The length of a border is pi / 4 of the pixels' sides along it (Cauchy
// and Crofton, over all directions).
typedef struct window
{
    double area, filled, border;
    double deep[2]; // as of a cell
} window;

static window window_at(const thinning* of, size_t column, size_t row)
{
    const size_t half = CELLS / 2;
    window w = {0};
    for (size_t j = row > half ? row - half : 0; j <= row + half && j < of->rows; j++)
        for (size_t i = column > half ? column - half : 0; i <= column + half && i < of->columns; i++)
        {
            const size_t cell = j * of->columns + i;
            w.area += cell_area(of, i, j);
            w.filled += (double)of->filled[cell];
            w.border += 0.25 * M_PI * (double)of->edges[cell];
            for (int k = 0; k < 2; k++)
                w.deep[k] += of->deep[k][cell];
        }
    return w;
}

// Which cells have too much border about them; false where none has.
static bool find_crowds(thinning* of, double apart_px)
{
    bool any = false;
    for (size_t row = 0; row < of->rows; row++)
        for (size_t column = 0; column < of->columns; column++)
        {
            const window w = window_at(of, column, row);
            const bool crowded = w.border * apart_px > w.area;
            of->crowded[row * of->columns + column] = crowded;
            any = any || crowded;
        }
    return any;
}

// How wide a part is on the average. A strip of a half width b has the border 1 / b of its area, and lies b / 2 deep on
// the mean; a disc of that radius has 2 / b, and lies b / 3 deep. The area over the summed depth, less the border over
// the area, is 1 / b of both. Between the two shapes what is neither.
static double width_of(double area, double border, double deep)
{
    if (!(area > 0.0 && border > 0.0))
        return 0.0;
    const double strip = area / border, per_b = area / deep - border / area;
    return 2.0 * (per_b * 2.0 * strip > 1.0 ? fmax(1.0 / per_b, strip) : 2.0 * strip);
}

// How wide in pixels what is in the set, and what is not, is in crowds.
static void find_widths(thinning* of, double wide_px[2])
{
    window all = {0};
    add_all(of, add_depths);
    for (size_t row = 0; row < of->rows; row++)
        for (size_t column = 0; column < of->columns; column++)
        {
            if (of->crowded[row * of->columns + column] == 0)
                continue;
            const window w = window_at(of, column, row);
            all.area += w.area;
            all.filled += w.filled;
            all.border += w.border;
            for (int k = 0; k < 2; k++)
                all.deep[k] += w.deep[k];
        }
    wide_px[0] = width_of(all.filled, all.border, all.deep[0]);
    wide_px[1] = width_of(all.area - all.filled, all.border, all.deep[1]);
}

// Mark what of the set, or of its outside, a disc of a radius does not reach within it. The picture's rim bounds no
// disc, since how a part goes on beyond it is not seen; and no disc stands there for being at the rim.
static void mark_fine(thinning* of, bool inside, double radius_px)
{
    const size_t count = of->width * of->height;
    const float radius = (float)radius_px, slack = (float)SLACK_PX;
    for (size_t p = 0; p < count; p++) // what a disc's middle may stand on bounds the rest
        of->part[p] = (of->in[p] != 0) == inside && of->far[p] >= radius ? 0 : 1;
    rlv_crowd_distances(of->width, of->height, of->part, false, of->reach);
    for (size_t p = 0; p < count; p++)
        if ((of->in[p] != 0) == inside && of->part[p] != 0 && of->reach[p] > radius + slack)
            of->fine[p] = FINE;
}

// The pixels beside one, above it and beneath; it itself in place of one beyond the rim.
static void find_beside(const thinning* of, size_t p, size_t next[4])
{
    const size_t x = p % of->width, y = p / of->width;
    next[0] = x > 0 ? p - 1 : p;
    next[1] = x + 1 < of->width ? p + 1 : p;
    next[2] = y > 0 ? p - of->width : p;
    next[3] = y + 1 < of->height ? p + of->width : p;
}

// From what is fine in a crowd to all fine parts that hang together with it, of the set and of its outside.
static void reach_from_crowds(thinning* of)
{
    size_t begun = 0, held = 0;
    const size_t count = of->width * of->height;
    for (size_t p = 0; p < count; p++)
        if (of->fine[p] == FINE && of->crowded[cell_of(of, p)] != 0)
        {
            of->fine[p] = REACHED;
            of->queue[held++] = (uint32_t)p;
        }
    while (begun < held)
    {
        size_t next[4];
        find_beside(of, of->queue[begun++], next);
        for (int k = 0; k < 4; k++)
            if (of->fine[next[k]] == FINE)
            {
                of->fine[next[k]] = REACHED;
                of->queue[held++] = (uint32_t)next[k];
            }
    }
}

// The part of the set about a pixel, as the queue's first; whether it was cut off from what was taken out.
static bool find_part(thinning* of, size_t first, size_t* held)
{
    bool cut = false;
    *held = 1;
    of->queue[0] = (uint32_t)first;
    of->fine[first] = PASSED;
    for (size_t begun = 0; begun < *held; begun++)
    {
        size_t next[4];
        find_beside(of, of->queue[begun], next);
        for (int k = 0; k < 4; k++)
            if (of->in[next[k]] != 0 && of->fine[next[k]] != PASSED)
            {
                of->fine[next[k]] = PASSED;
                of->queue[(*held)++] = (uint32_t)next[k];
            }
            else
                cut = cut || of->fine[next[k]] == REACHED;
    }
    return cut;
}

static void drop_knots(thinning* of, double radius_px)
{
    for (size_t p = 0; p < of->width * of->height; p++)
    {
        size_t held = 0;
        if (of->in[p] == 0 || of->fine[p] == PASSED || !find_part(of, p, &held))
            continue;
        for (size_t k = 0; (double)held < LEAST_DISCS * M_PI * radius_px * radius_px && k < held; k++)
            of->in[of->queue[k]] = 0;
    }
}

// The opening is no wider than `most_px`.
static rlv_status thin(thinning* of, double most_px, bool* thinned, rlv_error* error)
{
    const size_t count = of->width * of->height;
    of->part = rlv_reserve(count, sizeof *of->part, error);
    of->far = of->part != NULL ? rlv_reserve(count, sizeof *of->far, error) : NULL;
    of->reach = of->far != NULL ? rlv_reserve(count, sizeof *of->reach, error) : NULL;
    of->fine = of->reach != NULL ? rlv_reserve(count, sizeof *of->fine, error) : NULL;
    of->queue = of->fine != NULL ? rlv_reserve(count, sizeof *of->queue, error) : NULL;
    if (of->queue == NULL)
        return RLV_SYSTEM;
    for (size_t p = 0; p < count; p++)
        of->part[p] = of->in[p] != 0 ? 1 : 2;
    rlv_crowd_distances(of->width, of->height, of->part, false, of->far);
    double open_px[2];
    find_widths(of, open_px);
    for (int k = 0; k < 2; k++)
    {
        open_px[k] = fmin(OPEN_TIMES * open_px[k], most_px);
        mark_fine(of, k == 0, 0.5 * open_px[k]);
    }
    reach_from_crowds(of);
    bool any = false;
    for (size_t p = 0; p < count; p++)
        if (of->in[p] != 0 && of->fine[p] == REACHED)
        {
            of->in[p] = 0;
            any = true;
        }
    if (any)
        drop_knots(of, 0.5 * open_px[0]);
    *thinned = *thinned || any;
    return RLV_DONE;
}

rlv_status rlv_crowd_thin(size_t width, size_t height, uint8_t* in, double pixel_mm, double unit, double scale,
                          bool* thinned, rlv_error* error)
{
    thinning of = {.width = width, .height = height, .in = in};
    const double apart_px = RLV_CROWD_APART * unit / pixel_mm;
    of.cell_px = (size_t)fmax(RLV_CROWD_WINDOW * unit / CELLS / pixel_mm, 1.0);
    of.columns = (width + of.cell_px - 1) / of.cell_px;
    of.rows = (height + of.cell_px - 1) / of.cell_px;
    of.filled = rlv_reserve(of.columns * of.rows, sizeof *of.filled, error);
    of.edges = of.filled != NULL ? rlv_reserve(of.columns * of.rows, sizeof *of.edges, error) : NULL;
    of.crowded = of.edges != NULL ? rlv_reserve(of.columns * of.rows, sizeof *of.crowded, error) : NULL;
    for (int k = 0; k < 2; k++)
        of.deep[k] = of.crowded != NULL ? rlv_reserve(of.columns * of.rows, sizeof *of.deep[k], error) : NULL;
    rlv_status status = of.deep[0] != NULL && of.deep[1] != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        add_all(&of, add_sides);
        if (find_crowds(&of, apart_px))
            status = thin(&of, fmin(apart_px, RLV_CROWD_SPECK_MM * scale / pixel_mm), thinned, error);
    }
    free(of.filled);
    free(of.edges);
    free(of.crowded);
    free(of.deep[0]);
    free(of.deep[1]);
    free(of.part);
    free(of.far);
    free(of.reach);
    free(of.fine);
    free(of.queue);
    return status;
}
