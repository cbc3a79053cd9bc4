#include "assignment.h"

#include "scan.h"

#include <criterion/criterion.h>

enum
{
    MOST = 6,
};

/// The least sum by trying all.
static double least_by_trying(size_t rows, size_t columns, const double* cost, size_t row, unsigned taken)
{
    double least = row == rows ? 0.0 : INFINITY;
    for (size_t c = 0; c < columns && row < rows; c++)
        if (!(taken >> c & 1u))
            least =
                fmin(least, cost[row * columns + c] + least_by_trying(rows, columns, cost, row + 1, taken | 1u << c));
    return least;
}

Test(assignment, the_sum_is_the_least_of_all_and_no_column_is_given_twice)
{
    scan_random random = {5};
    rlv_error error = {0};
    for (int trial = 0; trial < 300; trial++)
    {
        const size_t rows = 1 + (size_t)(scan_random_unit(&random) * MOST),
                     columns = rows + (size_t)(scan_random_unit(&random) * (double)(MOST + 1 - rows));
        double cost[MOST * MOST], sum;
        size_t column[MOST];
        for (size_t i = 0; i < rows * columns; i++)
            cost[i] = floor(scan_random_unit(&random) * 20.0) - 5.0; // with ties, and below zero
        cr_assert_eq(rlv_assign(rows, columns, cost, column, &sum, &error), RLV_DONE);
        unsigned taken = 0;
        double again = 0.0;
        for (size_t r = 0; r < rows; r++)
        {
            cr_assert_lt(column[r], columns);
            cr_expect(!(taken >> column[r] & 1u));
            taken |= 1u << column[r];
            again += cost[r * columns + column[r]];
        }
        cr_expect_float_eq(sum, again, 1e-9);
        cr_expect_float_eq(sum, least_by_trying(rows, columns, cost, 0, 0), 1e-9);
    }
}
