/// Floats in order, for medians and other order statistics of many of them.
///
/// By digits, least significant first (D. E. Knuth, The Art of Computer Programming 3, section 5.2.5): the bits of
/// floats, their order turned round where they are negative, are in the order of the floats.

#ifndef RLV_ORDER_H
#define RLV_ORDER_H

#include <stddef.h>

/// Sort `count` floats, none of which is NaN, by rising value; -0 stands before 0. `spare` has room for as many.
void rlv_order_floats(size_t count, float* value, float* spare);

#endif
