/// Points of a specimen that is filled by hand.

#ifndef RLV_TESTS_NUMBERED_H
#define RLV_TESTS_NUMBERED_H

#include "specimen.h"

/// Give a specimen `count` points, which must stay, in the order that reading points.csv gives them: point i is as if
/// in line i + 2. Ends the program where reading would refuse them. Free with numbered_free, before they are placed
/// again.
void numbered_place(rlv_specimen* specimen, size_t count, rlv_point_record* point);
void numbered_free(rlv_specimen* specimen);

#endif
