/// What `articulation` tells of a fitted order: states, motions, unfilled life positions, shares.

#ifndef RLV_ARTICULATION_TELL_H
#define RLV_ARTICULATION_TELL_H

#include "life.h"

/// Fill a zeroed `articulation`; the axis of `life` passes into it. `group` holds the motions that its fit gives,
/// `margin` (one an element) how clear a place is that was found; NaN where it was given.
rlv_status rlv_articulation_tell(rlv_articulation* articulation, rlv_life* life, const rlv_life_group* group,
                                 size_t groups, size_t count, const rlv_placed_element* element, const double* margin,
                                 size_t row_count, rlv_error* error);

/// An element's test with all that its position is unsure by: rlv_life_test_of, and what is covered of it (in
/// articulation_detect.c). `element` are those given.
rlv_life_test rlv_articulation_test_of(const rlv_life* life, const rlv_life_element* of,
                                       const rlv_placed_element* element);

/// Tell of each element and each row the shift that is found at a level of p (in articulation_detect.c).
rlv_status rlv_articulation_tell_detectable(rlv_articulation* articulation, const rlv_life* life,
                                            const rlv_placed_element* element, double level, rlv_error* error);

/// Tell the natural gaps in the spacing of rows (in articulation_detect.c).
rlv_status rlv_articulation_tell_gaps(rlv_articulation* articulation, const rlv_life* life, rlv_error* error);

/// Tell where the body goes on beyond the last element (in articulation_ahead.c). Before the axis passes on.
rlv_status rlv_articulation_tell_ahead(rlv_articulation* articulation, rlv_life* life, rlv_error* error);

/// Say of each element without a place of its own whether it may have one of the free places of its row, or lies off
/// it, and which it is nearest to (in articulation_verdict.c). After states and unfilled places are told.
void rlv_articulation_tell_nearest(rlv_articulation* articulation, const rlv_placed_element* element);

#endif
