/// What has left its life position, and where bone may still lie: the order of the animal (articulation.h) fitted to a
/// specimen's measured elements, and held against its block as it stands.
///
/// The rows and what is known of places are the record's; in a row whose places it does not say to be counted from the
/// head they are counted along it (places.h). Elements go in as their sightings tell them, without the
/// scale of the block's frame: that moves all of them alike, and is no motion of any.
///
/// An unfilled life position is looked for in the block at its last stage. A point is inside a mesh where most of the
/// rays from it, in 26 directions, meet the surface from within; rays that find an open border say nothing. Its depth
/// is the distance to the nearest place of the surface, above zero inside; its interval holds the covariance of the
/// life position, of the last stage's pose and of its scan. Where the matrix has gone, the stages before say when: at
/// the stage after the last one that held the place. A life position that no stage's block held lay in rock that was
/// not collected.
///
/// A loose element is one whose own place no figure tells: it was found in the spoil, or lies off its row, or could not
/// be measured. All of them are held against the free life positions at once (rlv_articulation_candidates), since no
/// two had one. Of what lies in the rock it is known where it was carried to; of what lies off its row, that it was.
/// All that are loose may have been carried one way, by a current along the same level that motions are told in: what
/// the told motions say of that, and what the loose elements say themselves, is in the probabilities, and told
/// (`carried`). Their sizes are not held against those of a row: of what is still in its row less may show.
///
/// What happened to the carcass is summed up as core/disturbance.h has it: a current runs along the floor that became
/// the bedding, so the level is the bedding's where that is known.

#ifndef RLV_HISTORY_ARTICULATION_H
#define RLV_HISTORY_ARTICULATION_H

#include "articulation.h"
#include "disturbance.h"
#include "history_elements.h"
#include "places.h"

/// Where an unfilled life position lies today.
typedef enum history_where
{
    HISTORY_WHERE_UNKNOWN,    ///< the last stage is not in the block's frame
    HISTORY_IN_ROCK,          ///< in the matrix that is left: its whole interval of depth lies below today's surface
    HISTORY_PROBABLY_IN_ROCK, ///< below it, though its interval reaches above
    HISTORY_AT_SURFACE,       ///< within its error of today's surface, on either side
    HISTORY_AT_OR_ABOVE,      ///< above it, though its interval reaches below: at the most just beneath
    HISTORY_TAKEN,            ///< where matrix has gone
    HISTORY_NOT_COLLECTED,    ///< beyond the block at every stage
    HISTORY_WHERES,
} history_where;

/// Where a place lies whose depth below today's surface is known with its 95 % interval; `inside`: the block holds its
/// middle. Where the interval holds 0 the value decides: it lies probably below the surface where it is at least half
/// of the interval's half (then below it five times in six, of a normal error), and is told at the surface or above it
/// where it is as far above.
history_where history_where_of(rlv_interval depth_mm, bool inside);

/// Whether bone may lie there: there is rock about it, or at least just beneath it.
bool history_may_hold_bone(history_where where);

typedef struct history_unfilled
{
    history_where where;
    size_t stage;          ///< where taken: the stage at which the place was in the block no more
    bool taken_with_piece; ///< a piece came off at that stage: it may have gone with it
    rlv_interval depth_mm; ///< below today's surface, to its nearest place; NaN where not known
    rlv_vec3 way; ///< unit, in the block's frame: from that place of the surface inwards, along the shortest way
    bool at_bone; ///< that place of the surface is masked as bone: another element shows there
} history_unfilled;

/// A station of the body ahead of its last element (rlv_body_ahead): where its axis lies today.
typedef struct history_ahead
{
    history_where where;                ///< in the rock, at the surface or beyond the block
    rlv_interval depth_mm;              ///< below today's surface, as of an unfilled life position
    rlv_interval trend_deg, plunge_deg; ///< of the axis, head to tail; NaN where north and up are not known. An
                                        ///< interval of a trend of 360 degrees and more tells none
} history_ahead;

/// Why an element is in no judgement.
typedef enum history_left_out
{
    HISTORY_JUDGED,
    HISTORY_NO_ROW,        ///< it belongs to no row
    HISTORY_NOT_PLACED,    ///< not known in the block's frame
    HISTORY_ROW_UNUSED,    ///< its row has too few elements with a known place
    HISTORY_NOTHING_TELLS, ///< the other elements do not tell where it belongs
    HISTORY_NO_PLACE,      ///< more than one of the free places of its row may be its own
    HISTORY_OFF_ROW,       ///< none may: it has moved, and from which place is not known
    HISTORY_SPOIL,         ///< found in the spoil
} history_left_out;

/// A loose element: of HISTORY_SPOIL, or of a used row and of HISTORY_OFF_ROW, HISTORY_NO_PLACE or HISTORY_NOT_PLACED.
typedef struct history_stray
{
    size_t element; ///< index into elements->one
    rlv_candidates candidates;
} history_stray;

/// How many elements and life positions of a row are not accounted for.
typedef struct history_open
{
    size_t free;   ///< life positions without an element, between the row's first and last held element
    size_t beyond; ///< and beyond those, in its corridors
    size_t loose;  ///< its loose elements
} history_open;

typedef struct history_articulation
{
    const history_elements* elements;
    size_t given_count;
    rlv_placed_element* given; ///< what was fitted
    size_t* given_of;          ///< one an element: index into `given` and `fit.element`, or SIZE_MAX
    size_t* element_of;        ///< one given: index into elements->one
    rlv_counted* counted;      ///< one given; its place is INT_MIN where it was not counted
    history_left_out* why;     ///< one an element
    size_t row_count;
    rlv_articulation_row* row; ///< as in the record
    size_t* row_known;         ///< one a row: its elements with a place that is recorded or was counted
    bool fitted;
    rlv_articulation fit;
    history_unfilled* unfilled; ///< one an unfilled life position of the fit
    size_t ahead_count;         ///< stations of the fit that are told: up to the first one beyond the block
    history_ahead ahead[RLV_ARTICULATION_STATIONS];
    size_t stray_count;
    history_stray* stray;        ///< where fitted
    rlv_disturbance disturbance; ///< where fitted
    bool level_of_bedding;       ///< its level is the bedding's; else that of up
    rlv_vec3 level_up;           ///< out of that level; zero where up is not known
    rlv_carried carried;         ///< whether what is loose was carried one way
} history_articulation;

/// Fit and judge measured elements, into a zeroed `articulation`; warnings go to the answer. `elements` must outlive
/// it. RLV_IMPOSSIBLE where the record has no row, or none has RLV_ARTICULATION_LEAST elements with a known place: then
/// `why` and `row_known` say what is known. Free with history_articulation_free, also after a failure.
rlv_status history_articulation_measure(history_articulation* articulation, const history_elements* elements,
                                        rlv_answer* answer, rlv_error* error);
void history_articulation_free(history_articulation* articulation);

/// What the fit tells of an element; NULL where it was not given to one.
const rlv_articulated* history_told(const history_articulation* articulation, size_t element);

/// What became of an element: RLV_UNASSIGNED where it is in no judgement.
rlv_articulation_state history_state(const history_articulation* articulation, size_t element);

/// What of a used row is open.
history_open history_open_of(const history_articulation* articulation, size_t row);

/// The probability that none of the loose elements had an unfilled life position.
double history_unclaimed(const history_articulation* articulation, size_t unfilled);

#endif
