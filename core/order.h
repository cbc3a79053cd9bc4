/// Numbers in order, for medians and other order statistics.
///
/// Many floats are sorted by digits, least significant first (D. E. Knuth, The Art of Computer Programming 3, section
/// 5.2.5): the bits of floats, their order turned round where they are negative, are in the order of the floats.

#ifndef RLV_ORDER_H
#define RLV_ORDER_H

#include <stddef.h>

/// Sort `count` floats, none of which is NaN, by rising value; -0 stands before 0. `spare` has room for as many.
void rlv_order_floats(size_t count, float* value, float* spare);

/// The median of `count` numbers, one at least and none of them NaN: of an even count the upper of the two in the
/// middle. They are left by rising value.
double rlv_median_sorting(size_t count, double* value);

#endif
