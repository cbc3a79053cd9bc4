/// The unrolled body plan: a skeleton as a hide is laid flat, with each element where it lies and where it belonged.
///
/// The body is cut open along the belly and laid flat with its outside up. The head is on the left, as in a view from
/// above (aspect.h); the back runs through the middle, the rows of the animal's left side stand beneath it and those of
/// its right side above, since that is where they come to lie when nothing is mirrored. Along the page is the distance
/// along the body axis, down the page the way from the back over the left side to the belly. Rows stand apart as
/// they have room, whatever the girth; plates, and how far they moved, are at the plan's scale in both directions.
///
/// Which rows are neighbours is read off their life positions: by their angle about the axis, from the back. The back
/// is where the left and right rows say: for a body that runs along t with its left to l, at l x t.

#ifndef RLV_BODY_PLAN_H
#define RLV_BODY_PLAN_H

#include "articulation.h"
#include "state.h"
#include "title.h"

typedef enum rlv_body_side
{
    RLV_BODY_MEDIAN,
    RLV_BODY_LEFT,
    RLV_BODY_RIGHT,
} rlv_body_side;

/// A row as it is named.
typedef struct rlv_body_row
{
    const char* id;
    const char* title; ///< may be NULL
    rlv_body_side side;
} rlv_body_row;

/// A skeleton as the fit was given it, and as it was told.
typedef struct rlv_skeleton
{
    const rlv_articulation* told;
    const rlv_placed_element* element; ///< told->count
    const rlv_open_why* open;          ///< of each: why it has no state where it has none; NULL: could not be judged
    const char* const* id;             ///< of each
    const char* const* amount;         ///< what is said beside an id, such as how far it moved; any may be NULL
    const bool* went;                  ///< of each: `amount` tells how far it went; NULL: none does
    const char* const* group;          ///< what is said over each of told->group
    const char* summary;               ///< over the strip: what is in place in all; may be NULL
    const rlv_body_row* row;           ///< told->row_count
} rlv_skeleton;

typedef struct rlv_body_plan
{
    rlv_title title;
    rlv_skeleton of;
    double scale; ///< paper over animal; 0: the largest round one (marks.h) that the paper holds
    int paper;    ///< the least size of the A series
} rlv_body_plan;

/// The rows from the top of the plan to its foot, into `order` (one a row). Where no row is of the left or right side,
/// the first median row is the back; where there is none, rows stay as they were given. Rows without life positions are
/// not drawn.
rlv_status rlv_body_plan_order(const rlv_skeleton* skeleton, size_t* order, rlv_error* error);

/// Draw the plan into a zeroed `sheet`: rows by place, elements in their states with arrows from their life positions,
/// unfilled life positions, groups in brackets, and beneath it the share in place along the body. `left_out` (may be
/// NULL): labels that found no room. Free with rlv_sheet_free, which is safe after a failure.
rlv_status rlv_sheet_of_body_plan(rlv_sheet* sheet, const rlv_body_plan* plan, size_t* left_out, rlv_error* error);

#endif
