/// Numbering: which place of its row each element holds, where nobody wrote that down.
///
/// Elements of a row are chained: the longest path in their minimum spanning tree (R. C. Prim, Bell Syst. Tech. J. 36,
/// 1957) runs along the body, and what was carried off hangs beside it. It is walked from head to tail, as known places
/// say, or as the anterior ends of most elements do. Along the chain, places are dealt out by dynamic programming (A.
/// J. Viterbi, IEEE Trans. Inf. Theory 13, 1967): a step of n places is as long as n pitches, with Student's t of three
/// degrees about that, so that a stretch that slid or one natural gap does not shift the count; each place without an
/// element costs the log of nine to one; an element may be passed over. The pitch is
/// the median of the steps nearby. Known places and ranges are kept to, and the row's ends too.
///
/// What can be told from one row alone is told: the whole count may fit as well a place further on. Where another row
/// is numbered that has as many places, its count is taken for a likely one, a place and a half (sd) for the whole row.
/// Each element's margin says how much worse the best numbering is that gives it another place, in units of log
/// likelihood: 3 is twenty to one.

#ifndef RLV_NUMBERING_H
#define RLV_NUMBERING_H

#include "articulation.h"

typedef struct rlv_numbered
{
    int place; ///< INT_MIN where it has none: it does not lie along the chain
    double margin;
} rlv_numbered;

/// Number the elements of all rows that have RLV_ARTICULATION_LEAST elements, known places or not. `numbered` (one an
/// element) gets what was given where that is known. Rows that have known places come first, then the others, the
/// longest first. Elements whose row has too few stay without.
rlv_status rlv_number_rows(rlv_numbered* numbered, size_t count, const rlv_placed_element* element, size_t row_count,
                           const rlv_articulation_row* row, rlv_error* error);

#endif
