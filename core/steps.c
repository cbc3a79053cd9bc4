#include "steps.h"

#include "averages.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum
{
    LEAST_CELLS = 6,   // of a piece
    MOST_PIECES = 400, // the largest: their jumps are kept in a square table
    NO_PIECE = -1,
};

/// The span of depth among nine cells of pure noise has a mean of 2.97 and an sd of 0.81 of a cell's; 2.5 of its sd
/// over the middle is reached by about one cell in eighty, singly. Only rims that close around a piece set it off.
static const double RIM_SD = 2.5;

/// A jump over a rim is a step from this share of what makes a rim.
static const double STEP_SHARE = 0.5;

typedef struct piece
{
    double area_mm2;
    double depth_mm; ///< against the piece that held still, along the strongest rims
    uint32_t first;  ///< its first cell
    bool reached;
} piece;

/// The sum of jumps over the rim between two pieces, first less second, and how many places it was seen at.
typedef struct jump
{
    double sum_mm;
    double places;
} jump;

typedef struct survey
{
    rlv_averages averages;
    float* span_mm; ///< of depth in a cell's neighbourhood; NaN where it cannot be told
    bool* rim;
    int32_t* piece_of; ///< one a cell
    size_t count;
    piece* piece;
    jump* table; ///< count * count
    double least_mm;
} survey;

static void free_survey(survey* s)
{
    rlv_averages_free(&s->averages);
    free(s->span_mm);
    free(s->rim);
    free(s->piece_of);
    free(s->piece);
    free(s->table);
}

static void span_cell(survey* s, size_t c, double least_area)
{
    float low = INFINITY, high = -INFINITY;
    for (int step = 0; step < 27; step++)
    {
        const uint32_t near = rlv_averages_near(&s->averages, c, step);
        if (near == RLV_CUBES_NONE || (double)s->averages.area[near] < least_area)
            continue;
        low = fminf(low, s->averages.own[near]);
        high = fmaxf(high, s->averages.own[near]);
    }
    s->span_mm[c] = high >= low ? high - low : NAN;
}

static rlv_status mark_rims(survey* s, rlv_error* error)
{
    const size_t n = s->averages.cells.count;
    rlv_bulk bulk;
    const double usual = rlv_median_of(n, s->averages.area, error);
    if (isnan(usual) || (s->span_mm = rlv_reserve(n, sizeof *s->span_mm, error)) == NULL ||
        (s->rim = rlv_reserve(n, sizeof *s->rim, error)) == NULL)
        return RLV_SYSTEM;
#pragma omp parallel for schedule(static)
    for (size_t c = 0; c < n; c++)
        span_cell(s, c, 0.3 * usual);
    rlv_status status = rlv_bulk_of(&bulk, n, s->span_mm, error);
    s->least_mm = bulk.centre + RIM_SD * bulk.sd;
    for (size_t c = 0; c < n; c++)
        s->rim[c] = !((double)s->span_mm[c] <= s->least_mm + 2.0 * (double)s->averages.chord[c]);
    return status;
}

/// Give all cells that hang together with `first` without a rim to piece `number`; `queue` has room for every cell.
static size_t flood(survey* s, uint32_t first, int32_t number, uint32_t* queue, double* area)
{
    size_t head = 0, tail = 0;
    queue[tail++] = first;
    s->piece_of[first] = number;
    *area = 0.0;
    while (head < tail)
    {
        const uint32_t c = queue[head++];
        *area += (double)s->averages.area[c];
        for (int step = 0; step < 27; step++)
        {
            const uint32_t near = rlv_averages_near(&s->averages, c, step);
            if (near == RLV_CUBES_NONE || s->rim[near] || s->piece_of[near] != NO_PIECE)
                continue;
            s->piece_of[near] = number;
            queue[tail++] = near;
        }
    }
    return tail;
}

static int by_falling_area(const void* a, const void* b)
{
    const piece *x = a, *y = b;
    if (x->area_mm2 != y->area_mm2)
        return x->area_mm2 < y->area_mm2 ? 1 : -1;
    return (x->first > y->first) - (x->first < y->first);
}

/// Part the cells into pieces, numbered by falling area; small ones and those past the table are no pieces.
static rlv_status part_pieces(survey* s, rlv_error* error)
{
    const size_t n = s->averages.cells.count;
    uint32_t* queue = rlv_reserve(n, sizeof *queue, error);
    s->piece = rlv_reserve(n, sizeof *s->piece, error);
    s->piece_of = rlv_reserve(n, sizeof *s->piece_of, error);
    const bool held = queue != NULL && s->piece != NULL && s->piece_of != NULL;
    for (size_t c = 0; held && c < n; c++)
        s->piece_of[c] = NO_PIECE;
    for (size_t c = 0; held && c < n; c++)
    {
        if (s->rim[c] || s->piece_of[c] != NO_PIECE)
            continue;
        double area;
        if (flood(s, (uint32_t)c, 0, queue, &area) >= LEAST_CELLS)
            s->piece[s->count++] = (piece){.area_mm2 = area, .first = (uint32_t)c};
    }
    if (held)
    {
        qsort(s->piece, s->count, sizeof *s->piece, by_falling_area);
        s->count = s->count < MOST_PIECES ? s->count : MOST_PIECES;
        for (size_t c = 0; c < n; c++)
            s->piece_of[c] = NO_PIECE;
        for (size_t p = 0; p < s->count; p++)
        {
            double area;
            flood(s, s->piece[p].first, (int32_t)p, queue, &area);
        }
    }
    free(queue);
    return held ? RLV_DONE : RLV_SYSTEM;
}

/// Mean depths of the pieces within two cells of a rim cell.
typedef struct meeting
{
    size_t count;
    int32_t piece[8];
    double sum[8], cells[8];
} meeting;

static meeting meet(const survey* s, size_t cell)
{
    meeting m = {0};
    for (int step = 0; step < 125; step++)
    {
        const int to[3] = {step / 25 - 2, step / 5 % 5 - 2, step % 5 - 2};
        const uint32_t near = rlv_cubes_near(&s->averages.cells, (uint32_t)cell, to);
        if (near == RLV_CUBES_NONE || s->piece_of[near] == NO_PIECE || isnan(s->averages.own[near]))
            continue;
        size_t k = 0;
        while (k < m.count && m.piece[k] != s->piece_of[near])
            k++;
        if (k == m.count && k < 8)
            m.piece[m.count++] = s->piece_of[near];
        if (k < m.count)
            m.sum[k] += (double)s->averages.own[near], m.cells[k] += 1.0;
    }
    return m;
}

static rlv_status sum_jumps(survey* s, rlv_error* error)
{
    if ((s->table = rlv_reserve(s->count * s->count, sizeof *s->table, error)) == NULL)
        return RLV_SYSTEM;
    for (size_t c = 0; c < s->averages.cells.count; c++)
    {
        if (!s->rim[c])
            continue;
        const meeting m = meet(s, c);
        for (size_t i = 0; i < m.count; i++)
            for (size_t j = 0; j < m.count; j++)
            {
                jump* between = s->table + s->count * (size_t)m.piece[i] + (size_t)m.piece[j];
                between->sum_mm += m.sum[i] / m.cells[i] - m.sum[j] / m.cells[j];
                between->places += 1.0;
            }
    }
    return RLV_DONE;
}

/// Depths of all pieces against piece `still`, by the tree of the longest rims (R. C. Prim, Bell System Technical
/// Journal 36, 1957).
static void level_pieces(survey* s, size_t still)
{
    for (size_t p = 0; p < s->count; p++)
        s->piece[p].reached = p == still;
    s->piece[still].depth_mm = 0.0;
    for (;;)
    {
        size_t from = 0, to = s->count;
        double most = 0.0;
        for (size_t a = 0; a < s->count; a++)
            for (size_t b = 0; s->piece[a].reached && b < s->count; b++)
                if (!s->piece[b].reached && s->table[s->count * b + a].places > most)
                    most = s->table[s->count * b + a].places, from = a, to = b;
        if (to == s->count)
            return;
        const jump* over = s->table + s->count * to + from;
        s->piece[to].depth_mm = s->piece[from].depth_mm + over->sum_mm / over->places;
        s->piece[to].reached = true;
    }
}

static int8_t sign_of(const survey* s, size_t p)
{
    if (!s->piece[p].reached || fabs(s->piece[p].depth_mm) < STEP_SHARE * s->least_mm)
        return 0;
    return s->piece[p].depth_mm > 0.0 ? 1 : -1;
}

/// Level against the largest piece; where that makes a piece more than half as large an addition, against that one.
static void choose_still(survey* s)
{
    level_pieces(s, 0);
    for (size_t p = 1; p < s->count && s->piece[p].area_mm2 > 0.5 * s->piece[0].area_mm2; p++)
        if (sign_of(s, p) < 0)
        {
            level_pieces(s, p);
            return;
        }
}

/// The sign of a rim cell: that of a set-off piece beside it whose depth it is nearer to than to the surface that held
/// still.
static int8_t sign_of_rim(const survey* s, size_t cell)
{
    const meeting m = meet(s, cell);
    double still = NAN, best = INFINITY;
    int8_t sign = 0;
    for (size_t k = 0; k < m.count; k++)
        if (sign_of(s, (size_t)m.piece[k]) == 0)
            still = m.sum[k] / m.cells[k];
    if (isnan(still) || isnan(s->averages.own[cell]))
        return 0;
    best = fabs((double)s->averages.own[cell] - still);
    for (size_t k = 0; k < m.count; k++)
    {
        const double apart = fabs((double)s->averages.own[cell] - m.sum[k] / m.cells[k]);
        if (sign_of(s, (size_t)m.piece[k]) != 0 && apart < best)
            best = apart, sign = sign_of(s, (size_t)m.piece[k]);
    }
    return sign;
}

static void seed_cells(const survey* s, int8_t* seed)
{
    const rlv_cubes* cells = &s->averages.cells;
    for (size_t c = 0; c < cells->count; c++)
    {
        const int8_t sign = s->piece_of[c] != NO_PIECE ? sign_of(s, (size_t)s->piece_of[c])
                            : s->rim[c]                ? sign_of_rim(s, c)
                                                       : 0;
        for (uint32_t m = cells->start[c]; sign != 0 && m < cells->start[c + 1]; m++)
            if (seed[cells->member[m]] == 0)
                seed[cells->member[m]] = sign;
    }
}

rlv_status rlv_steps_find(int8_t* seed, double* least_mm, const rlv_depths* depths, const rlv_sampling* sampling,
                          double scale_mm, rlv_error* error)
{
    survey s = {0};
    rlv_status status = rlv_averages_take(&s.averages, depths, sampling, NULL, scale_mm, error);
    if (status == RLV_DONE)
        status = mark_rims(&s, error);
    if (status == RLV_DONE)
        status = part_pieces(&s, error);
    if (status == RLV_DONE)
        status = sum_jumps(&s, error);
    if (status == RLV_DONE && s.count > 1)
    {
        choose_still(&s);
        seed_cells(&s, seed);
    }
    *least_mm = s.least_mm;
    free_survey(&s);
    return status;
}
