#include "assignment.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#define NONE SIZE_MAX

/// Potentials and the tree of the path that is being grown.
typedef struct search
{
    size_t rows, columns;
    const double* cost;
    double *row_price, *column_price, *shortest;
    size_t *row_of, *before; ///< one a column: the row that has it, and the column that the path came from
    unsigned char* settled;
} search;

/// Grow shortest paths from a row until one meets a free column; which it is.
static size_t free_column(search* s, size_t row)
{
    size_t at = NONE;
    for (size_t c = 0; c < s->columns; c++)
        s->shortest[c] = INFINITY, s->settled[c] = 0, s->before[c] = NONE;
    for (;;)
    {
        const size_t from = at == NONE ? row : s->row_of[at];
        double step = INFINITY;
        size_t next = NONE;
        for (size_t c = 0; c < s->columns; c++)
        {
            if (s->settled[c])
                continue;
            const double reduced = s->cost[from * s->columns + c] - s->row_price[from] - s->column_price[c];
            if (reduced < s->shortest[c])
                s->shortest[c] = reduced, s->before[c] = at;
            if (s->shortest[c] < step)
                step = s->shortest[c], next = c;
        }
        // All settled columns, and the rows that have them, come nearer by the step.
        s->row_price[row] += step;
        for (size_t c = 0; c < s->columns; c++)
            if (s->settled[c])
                s->row_price[s->row_of[c]] += step, s->column_price[c] -= step;
            else
                s->shortest[c] -= step;
        s->settled[next] = 1;
        at = next;
        if (s->row_of[at] == NONE)
            return at;
    }
}

rlv_status rlv_assign(size_t rows, size_t columns, const double* cost, size_t* column, double* sum, rlv_error* error)
{
    search s = {.rows = rows, .columns = columns, .cost = cost};
    double* price = rlv_reserve(rows + 2 * columns, sizeof *price, error);
    size_t* link = rlv_reserve(2 * columns, sizeof *link, error);
    s.settled = rlv_reserve(columns, 1, error);
    const rlv_status status = price != NULL && link != NULL && s.settled != NULL ? RLV_DONE : RLV_SYSTEM;
    if (status == RLV_DONE)
    {
        s.row_price = price, s.column_price = price + rows, s.shortest = price + rows + columns;
        s.row_of = link, s.before = link + columns;
        for (size_t c = 0; c < columns; c++)
            s.row_of[c] = NONE;
        for (size_t r = 0; r < rows; r++)
            for (size_t at = free_column(&s, r); at != NONE;)
            {
                const size_t before = s.before[at];
                s.row_of[at] = before == NONE ? r : s.row_of[before];
                at = before;
            }
        if (sum != NULL)
            *sum = 0.0;
        for (size_t c = 0; c < columns; c++)
            if (s.row_of[c] != NONE)
            {
                column[s.row_of[c]] = c;
                if (sum != NULL)
                    *sum += cost[s.row_of[c] * columns + c];
            }
    }
    free(price);
    free(link);
    free(s.settled);
    return status;
}
