/// Places: which place of its row each element holds, where nobody could count them from the head.
///
/// First the order. Elements of a row that are neighbours in the rock are joined by the least tree over all distances
/// (R. C. Prim, Shortest connection networks and some generalizations, Bell Syst. Tech. J. 36, 1957); its longest path
/// is the row. What makes the path longer than its neighbours are apart, by more than a quarter of a step, lies beside
/// the row and is taken out of it; what lies beside it and makes it no longer is let in. The head is where known
/// places, or else the anterior ends of most elements, say it is.
///
/// Then the count. The places along the path rise; that a step passes over a place is as likely as a place without an
/// element; a step of m places is as long as m pitches there, with the spread that pitches have and the errors of the
/// two elements, or, once in a while, of any length: one of the two has moved. The pitch at a step is the median over
/// the nearest steps, each over its places as the round before counted them (the first: as the recorded pitch does),
/// for a row is stretched on the outer side of a bend and shortened on the inner. Under this model the likeliest count
/// is that of A. J. Viterbi (Error bounds for convolutional codes, IEEE Trans. Inf. Theory 13, 1967), and how likely
/// each place of each element is comes from sums over all counts (L. E. Baum and others, Ann. Math. Statist. 41, 1970).
/// Places that are known hold, and ranges.
///
/// Spacing does not tell how many places lie before the first element of a row that has no known place. A row of the
/// other side may: the place that one element is expected to have, and its sd. Where nothing does, the count is told
/// with a low probability, but each step of it may be sure all the same.

#ifndef RLV_PLACES_H
#define RLV_PLACES_H

#include "error.h"
#include "vector.h"

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>

/// Once in how many steps one may be of any length, and how likely a place is to be without an element, before anything
/// is known. From memory, no source: a tenth each.
#define RLV_PLACES_ODD 0.1
#define RLV_PLACES_EMPTY 0.1

/// Spread of pitches where none is recorded, as a share. From memory, no source.
#define RLV_PLACES_SPREAD 0.1

typedef struct rlv_row_element
{
    rlv_vec3 at_mm;
    double variance_mm2;          ///< of its place, along one axis
    rlv_vec3 anterior;            ///< unit; 0 where not known
    int low, high;                ///< places that it may have; INT_MIN to INT_MAX where nothing is known
    double expected, expected_sd; ///< place that it has by what is known from elsewhere; NaN: nothing is
} rlv_row_element;

typedef struct rlv_row_spacing
{
    int first, last;    ///< places of the row
    double pitch_mm;    ///< at its head; NaN: the median step
    double pitch_sd_mm; ///< from one step to another; NaN: RLV_PLACES_SPREAD of it
    double taper;       ///< pitch at its tail over that at its head; NaN: 1
} rlv_row_spacing;

/// What is told of an element.
typedef struct rlv_counted
{
    bool in_row;        ///< false: it lies beside the row, and has no place
    size_t order;       ///< along the row, from 0 at its head; where in the row
    int place;          ///< INT_MIN where not in the row
    double probability; ///< of that place
    double step;        ///< probability that as many places lie between it and the one before; NaN for the first
} rlv_counted;

/// Count the places of `count` elements of one row, into `counted` (one an element). RLV_IMPOSSIBLE where fewer than
/// three lie in a row; no known place and no anterior end tells which end is the head; or more lie in the row than it
/// has places, or known places fall where the others rise.
rlv_status rlv_places_count(rlv_counted* counted, size_t count, const rlv_row_element* element,
                            const rlv_row_spacing* spacing, rlv_error* error);

#endif
