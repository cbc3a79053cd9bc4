/// Where on the block something is, told to somebody who stands at it: by the square of the maps, and by two things
/// that can be seen, the element that shows nearest to it and the nearest edge of the block. Distances are those of the
/// maps, square to their view; how deep it lies is told beside them.

#ifndef RLV_REPORT_PLACE_H
#define RLV_REPORT_PLACE_H

#include "history_elements.h"
#include "report_words.h"

/// "D4, 31 mm north-east of LR20, 58 mm from the western edge", of a place in the block's frame, or by the map's edges
/// where north is not at its top; less where less is known, and empty where no square is.
report_text report_place(const history_elements* elements, rlv_vec3 at_mm);

/// The same of several places in a row, from the first to the last: "from E2 to C2, along the corridor"; "in E2" where
/// both lie in one square; of one alone as report_place.
report_text report_places(const history_elements* elements, rlv_vec3 first_mm, rlv_vec3 last_mm);

/// Add an element to a list of names, with its square of the map: "D08 (square F5), LL08"; without one where its place
/// or the squares are not known.
void report_add_with_square(report_text* names, const rlv_history* history, const history_element* element);

/// How the maps are read: their squares, where those begin on the block as it is now and by the marks recorded on it,
/// what a hatch is and how to measure on a sheet. No lines where no square is known.
report_lines report_map_reading(const rlv_history* history);

/// What such words mean, for people.
report_text report_place_meaning(const rlv_history* history);

#endif
