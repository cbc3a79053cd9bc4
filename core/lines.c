#include "lines.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void rlv_lines_free(rlv_lines* lines)
{
    free(lines->start);
    free(lines->closed);
    free(lines->point);
    memset(lines, 0, sizeof *lines);
}

static int by_from(const void* a, const void* b)
{
    const rlv_link *p = a, *q = b;
    if (p->from != q->from)
        return p->from < q->from ? -1 : 1;
    if (p->to != q->to)
        return p->to < q->to ? -1 : 1;
    // Equal keys are equal places: only a link that is there twice is left.
    return 0;
}

// The first link that leaves a place; `count` where none does.
static size_t first_from(const rlv_link* link, size_t count, uint64_t key)
{
    size_t low = 0, high = count;
    while (low < high)
    {
        size_t middle = low + (high - low) / 2;
        if (link[middle].from < key)
            low = middle + 1;
        else
            high = middle;
    }
    return low < count && link[low].from == key ? low : count;
}

// Which link follows each (`count`: none), and whether one comes before it.
static void follow(const rlv_link* link, size_t count, size_t* next, bool* follows)
{
    for (size_t i = 0; i < count; i++)
    {
        size_t k = first_from(link, count, link[i].to);
        while (k < count && link[k].from == link[i].to && follows[k])
            k++;
        bool found = k < count && link[k].from == link[i].to;
        next[i] = found ? k : count;
        if (found)
            follows[k] = true;
    }
}

static bool is_same(const double* a, const double* b)
{
    return a[0] == b[0] && a[1] == b[1];
}

static void put_point(rlv_lines* lines, const double at[2])
{
    size_t first = lines->start[lines->line_count], count = lines->point_count;
    if (count > first && is_same(lines->point + 2 * (count - 1), at))
        return;
    memcpy(lines->point + 2 * lines->point_count++, at, 2 * sizeof *at);
}

// Walk from one link on, and keep the line where it has two points.
static void walk(rlv_lines* lines, const rlv_link* link, size_t count, const size_t* next, bool* used, size_t from)
{
    size_t first = lines->start[lines->line_count], at = from, last = from;
    for (; at < count && !used[at]; last = at, at = next[at])
    {
        used[at] = true;
        put_point(lines, link[at].from_at);
    }
    bool closed = at == from;
    if (!closed)
        put_point(lines, link[last].to_at);
    else if (lines->point_count > first + 1 &&
             is_same(lines->point + 2 * first, lines->point + 2 * (lines->point_count - 1)))
        lines->point_count--;
    if (lines->point_count < first + 2)
    {
        lines->point_count = first;
        return;
    }
    lines->closed[lines->line_count++] = closed;
    lines->start[lines->line_count] = lines->point_count;
}

rlv_status rlv_lines_join(rlv_lines* lines, size_t count, rlv_link* link, rlv_error* error)
{
    memset(lines, 0, sizeof *lines);
    size_t* next = rlv_reserve(count, sizeof *next, error);
    bool* follows = rlv_reserve(count, sizeof *follows, error);
    bool* used = rlv_reserve(count, sizeof *used, error);
    lines->start = rlv_reserve(count + 1, sizeof *lines->start, error);
    lines->closed = rlv_reserve(count, sizeof *lines->closed, error);
    lines->point = rlv_reserve(4 * count, sizeof *lines->point, error);
    bool held = next != NULL && follows != NULL && used != NULL && lines->start != NULL && lines->closed != NULL &&
                lines->point != NULL;
    if (held)
    {
        if (count > 0)
            qsort(link, count, sizeof *link, by_from);
        follow(link, count, next, follows);
        for (int round = 0; round < 2; round++) // open lines from their ends, then the closed ones
            for (size_t i = 0; i < count; i++)
                if (!used[i] && (round == 1 || !follows[i]))
                    walk(lines, link, count, next, used, i);
    }
    else
        rlv_lines_free(lines);
    free(next);
    free(follows);
    free(used);
    return held ? RLV_DONE : RLV_SYSTEM;
}

double rlv_off_stretch(const double p[2], const double a[2], const double b[2])
{
    double x = b[0] - a[0], y = b[1] - a[1], square = x * x + y * y;
    double share = square > 0.0 ? ((p[0] - a[0]) * x + (p[1] - a[1]) * y) / square : 0.0;
    share = fmin(fmax(share, 0.0), 1.0);
    return hypot(p[0] - a[0] - share * x, p[1] - a[1] - share * y);
}

// Mark what stays between two points that do, of a line whose point `last` may be its first again.
static void keep_between(const double* point, size_t count, size_t first, size_t last, double tolerance, bool* keep,
                         size_t* stack)
{
    size_t depth = 0;
    stack[depth++] = first;
    stack[depth++] = last;
    while (depth > 0)
    {
        size_t to = stack[--depth], from = stack[--depth], farthest = from;
        double most = tolerance;
        for (size_t i = from + 1; i < to; i++)
        {
            double off = rlv_off_stretch(point + 2 * i, point + 2 * from, point + 2 * (to % count));
            if (off > most)
            {
                most = off;
                farthest = i;
            }
        }
        if (farthest == from)
            continue;
        keep[farthest] = true;
        stack[depth++] = from;
        stack[depth++] = farthest;
        stack[depth++] = farthest;
        stack[depth++] = to;
    }
}

static size_t farthest_from_first(const double* point, size_t count)
{
    size_t farthest = 0;
    double most = -1.0;
    for (size_t i = 1; i < count; i++)
    {
        double far = hypot(point[2 * i] - point[0], point[2 * i + 1] - point[1]);
        if (far > most)
        {
            most = far;
            farthest = i;
        }
    }
    return farthest;
}

rlv_status rlv_lines_simplify(rlv_lines* lines, double tolerance, rlv_error* error)
{
    bool* keep = rlv_reserve(lines->point_count, sizeof *keep, error);
    size_t* stack = keep != NULL ? rlv_reserve(2 * lines->point_count + 4, sizeof *stack, error) : NULL;
    if (stack == NULL)
    {
        free(keep);
        return RLV_SYSTEM;
    }
    size_t put = 0;
    for (size_t i = 0; i < lines->line_count; i++)
    {
        size_t first = lines->start[i], count = lines->start[i + 1] - first;
        double* point = lines->point + 2 * first;
        bool* mine = keep + first;
        mine[0] = true;
        size_t split = lines->closed[i] ? farthest_from_first(point, count) : count - 1;
        mine[split] = true;
        keep_between(point, count, 0, split, tolerance, mine, stack);
        if (lines->closed[i])
            keep_between(point, count, split, count, tolerance, mine, stack);
        lines->start[i] = put;
        for (size_t k = 0; k < count; k++)
            if (mine[k])
                memmove(lines->point + 2 * put++, point + 2 * k, 2 * sizeof *point);
    }
    if (lines->line_count > 0)
        lines->start[lines->line_count] = put;
    lines->point_count = put;
    free(stack);
    free(keep);
    return RLV_DONE;
}

void rlv_lines_drop_small(rlv_lines* lines, double area, double length)
{
    size_t kept = 0, put = 0;
    for (size_t i = 0; i < lines->line_count; i++)
    {
        bool small = lines->closed[i] ? fabs(rlv_line_area(lines, i)) < area : rlv_line_length(lines, i) < length;
        if (small)
            continue;
        size_t first = lines->start[i], count = lines->start[i + 1] - first;
        memmove(lines->point + 2 * put, lines->point + 2 * first, 2 * count * sizeof *lines->point);
        lines->closed[kept] = lines->closed[i];
        lines->start[kept++] = put;
        put += count;
    }
    if (lines->line_count > 0)
        lines->start[kept] = put;
    lines->line_count = kept;
    lines->point_count = put;
}

void rlv_lines_carry(rlv_lines* lines, const double origin[2], double scale_x, double scale_y)
{
    for (size_t i = 0; i < lines->point_count; i++)
    {
        lines->point[2 * i] = origin[0] + scale_x * lines->point[2 * i];
        lines->point[2 * i + 1] = origin[1] + scale_y * lines->point[2 * i + 1];
    }
}

double rlv_line_area(const rlv_lines* lines, size_t line)
{
    if (!lines->closed[line])
        return 0.0;
    size_t first = lines->start[line], end = lines->start[line + 1];
    const double* o = lines->point + 2 * first;
    double twice = 0.0;
    for (size_t i = first + 1; i + 1 < end; i++)
    {
        const double *a = lines->point + 2 * i, *b = a + 2;
        twice += (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
    }
    return 0.5 * twice;
}

double rlv_line_length(const rlv_lines* lines, size_t line)
{
    size_t first = lines->start[line], end = lines->start[line + 1];
    double sum = 0.0;
    for (size_t i = first; i + 1 < end; i++)
        sum += hypot(lines->point[2 * i + 2] - lines->point[2 * i], lines->point[2 * i + 3] - lines->point[2 * i + 1]);
    if (lines->closed[line])
        sum += hypot(lines->point[2 * first] - lines->point[2 * end - 2],
                     lines->point[2 * first + 1] - lines->point[2 * end - 1]);
    return sum;
}

double rlv_lines_area(const rlv_lines* lines)
{
    double sum = 0.0;
    for (size_t i = 0; i < lines->line_count; i++)
        sum += rlv_line_area(lines, i);
    return sum;
}

double rlv_lines_length(const rlv_lines* lines)
{
    double sum = 0.0;
    for (size_t i = 0; i < lines->line_count; i++)
        sum += rlv_line_length(lines, i);
    return sum;
}

bool rlv_lines_box(const rlv_lines* lines, double low[2], double high[2])
{
    if (lines->point_count == 0)
        return false;
    for (size_t k = 0; k < 2; k++)
    {
        low[k] = INFINITY;
        high[k] = -INFINITY;
        for (size_t i = 0; i < lines->point_count; i++)
        {
            low[k] = fmin(low[k], lines->point[2 * i + k]);
            high[k] = fmax(high[k], lines->point[2 * i + k]);
        }
    }
    return true;
}
