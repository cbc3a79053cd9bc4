/// The assignment problem: rows to columns, each to one of its own, at the least sum of costs.
///
/// By shortest augmenting paths, rectangular (R. Jonker, A. Volgenant, A shortest augmenting path algorithm for dense
/// and sparse linear assignment problems, Computing 38, 1987), without their reductions beforehand: what is assigned
/// here is some dozens.

#ifndef RLV_ASSIGNMENT_H
#define RLV_ASSIGNMENT_H

#include "error.h"

#include <stddef.h>

/// Give each of `rows` a column of its own, of `columns`, no fewer. `cost` is rows * columns, finite; `column` gets one
/// a row, and `*sum` (may be NULL) the sum of costs. Of equal answers the one is taken that the order of rows and
/// columns leads to.
rlv_status rlv_assign(size_t rows, size_t columns, const double* cost, size_t* column, double* sum, rlv_error* error);

#endif
