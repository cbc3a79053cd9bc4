#include "patch.h"

#include <stdlib.h>

/// Mark the part that `first` lies in with `mark`; returns how many points it has. `stack` holds one a point.
static size_t flood(uint8_t* mask, const size_t size[2], size_t first, uint8_t mark, size_t* stack)
{
    size_t count = 0, high = 0;
    const uint8_t from = mask[first];
    stack[high++] = first;
    mask[first] = mark;
    while (high > 0)
    {
        const size_t at = stack[--high], x = at % size[0], y = at / size[0];
        const size_t next[4] = {x > 0 ? at - 1 : at, x + 1 < size[0] ? at + 1 : at, y > 0 ? at - size[0] : at,
                                y + 1 < size[1] ? at + size[0] : at};
        count++;
        for (int k = 0; k < 4; k++)
            if (mask[next[k]] == from)
                mask[next[k]] = mark, stack[high++] = next[k];
    }
    return count;
}

static size_t nearest(const uint8_t* mask, const size_t size[2], size_t near)
{
    size_t best = SIZE_MAX;
    double least = 0.0;
    for (size_t i = 0; i < size[0] * size[1]; i++)
    {
        double x = (double)(i % size[0]) - (double)(near % size[0]),
               y = (double)(i / size[0]) - (double)(near / size[0]);
        if (mask[i] != 0 && (best == SIZE_MAX || x * x + y * y < least))
            least = x * x + y * y, best = i;
    }
    return best;
}

rlv_status patch_keep(uint8_t* mask, const size_t size[2], size_t near, rlv_error* error)
{
    enum
    {
        SET = 1,
        SEEN = 2,
        KEPT = 3
    };
    const size_t points = size[0] * size[1];
    size_t* stack = rlv_reserve(points, sizeof *stack, error);
    if (stack == NULL)
        return RLV_SYSTEM;
    for (size_t i = 0; i < points; i++)
        mask[i] = mask[i] != 0 ? SET : 0;
    size_t best = near == PATCH_LARGEST ? SIZE_MAX : nearest(mask, size, near), most = 0;
    for (size_t i = 0; i < points && near == PATCH_LARGEST; i++)
        if (mask[i] == SET)
        {
            size_t count = flood(mask, size, i, SEEN, stack);
            if (count > most)
                most = count, best = i;
        }
    if (best != SIZE_MAX)
        flood(mask, size, best, KEPT, stack);
    for (size_t i = 0; i < points; i++)
        mask[i] = mask[i] == KEPT;
    free(stack);
    return RLV_DONE;
}

/// One step of the walk between the points: outside to the right, the part to the left. `way` is 0 right, 1 up, 2 left,
/// 3 down; the walk goes from corner to corner of the points' cells, and turns left where it can, so that what touches
/// at a corner only stays apart.
static size_t walk(const uint8_t* mask, const size_t size[2], size_t first, size_t* index)
{
    static const long step_x[4] = {1, 0, -1, 0}, step_y[4] = {0, 1, 0, -1};
    // The cell to the left of the way ahead, from a corner at the lower left of cell (x, y): and the one to its right.
    static const long left_x[4] = {0, -1, -1, 0}, left_y[4] = {0, 0, -1, -1};
    static const long right_x[4] = {0, 0, -1, -1}, right_y[4] = {-1, 0, 0, -1};
    const long start_x = (long)(first % size[0]), start_y = (long)(first / size[0]);
    long x = start_x, y = start_y;
    size_t steps = 0;
    int way = 0;
    do
    {
        size_t inner = (size_t)((y + left_y[way]) * (long)size[0] + x + left_x[way]);
        if (index != NULL)
            index[steps] = inner;
        steps++;
        x += step_x[way];
        y += step_y[way];
        for (int turn = 5; turn > 2; turn--) // left, ahead, right
        {
            int next = (way + turn) % 4;
            size_t left = (size_t)((y + left_y[next]) * (long)size[0] + x + left_x[next]);
            size_t right = (size_t)((y + right_y[next]) * (long)size[0] + x + right_x[next]);
            if (mask[left] != 0 && mask[right] == 0)
            {
                way = next;
                break;
            }
        }
    } while (x != start_x || y != start_y || way != 0);
    return steps;
}

rlv_status patch_outline(const uint8_t* mask, const size_t size[2], size_t count, size_t* index, rlv_error* error)
{
    size_t first = 0, points = size[0] * size[1];
    while (first < points && mask[first] == 0)
        first++;
    if (first == points)
        return rlv_fail(error, RLV_IMPOSSIBLE, NULL, "look at what was to be outlined", "there is no patch to outline");
    // The first point set is the lowest, and the leftmost of those: its lower side is on the outside.
    size_t steps = walk(mask, size, first, NULL);
    size_t* all = rlv_reserve(steps, sizeof *all, error);
    if (all == NULL)
        return RLV_SYSTEM;
    walk(mask, size, first, all);
    for (size_t k = 0; k < count; k++)
        index[k] = all[k * steps / count];
    free(all);
    return RLV_DONE;
}
