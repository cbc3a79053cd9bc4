/// Life positions: the order that `articulation` fits, while it is being fitted.
///
/// Each row has a slot for each of its places, from its first to its last. A slot has six values: the distance along
/// the axis (mm), the offsets along N1 and N2 (mm), and a rotation vector about long axis, width and pole against the
/// row's base attitude (radians). The first is smoothed on its own in each row, the offsets with a part shared by all
/// rows, and each part of the rotation on its own. Elements enter with weights; the model is linearised about the
/// values as they stand, so that an element that lies wildly off pulls in the right direction, not along the axis to
/// where it projects.

#ifndef RLV_LIFE_H
#define RLV_LIFE_H

#include "articulation.h"
#include "smoother.h"

enum
{
    RLV_LIFE_VALUES = 6,      ///< of a slot
    RLV_LIFE_SPREADS = 5,     ///< along, across (both offsets), three of rotation
    RLV_LIFE_MOST_GROUP = 25, ///< elements of a row, from the first to the last of a stretch that moved together
};

typedef enum rlv_life_kind
{
    RLV_LIFE_ALONG,
    RLV_LIFE_ACROSS,
    RLV_LIFE_TURN,
    RLV_LIFE_KINDS,
} rlv_life_kind;

/// An element with a known place in a row that is used, by row and place.
typedef struct rlv_life_element
{
    size_t given; ///< its index among those given
    size_t row, slot;
    rlv_vec3 at_mm;
    rlv_mat3 frame;
    const rlv_element* measured;
    double variance[RLV_LIFE_VALUES]; ///< of measuring: mm^2 and rad^2, along the slot's directions
    double off[RLV_LIFE_VALUES];      ///< from its life position: mm and radians; 0 where not known
    bool told[RLV_LIFE_VALUES];       ///< known
    double trust[2];                  ///< of position and of attitude in the fit: 0 left out, 1 in full
    size_t group;                     ///< 0, or the stretch that it moved with
    bool open;                        ///< its place was not given, but found
} rlv_life_element;

/// A row's places along the axis of a comparative specimen; of a row given, `along_mm` NULL where there is none.
typedef struct rlv_life_shape
{
    int first, last;
    double* along_mm;   ///< one a place
    double* turn[2];    ///< one a place: by how much its axis has turned to N1 and to N2 up to there, in radians
    double* breadth_mm; ///< one a place: how far rows lie off the axis thereabouts
    bool lone;          ///< no other row of the specimen is known: its axis is the row itself, of no breadth
    double p;           ///< of its row departing so far from it; NaN: not tested
    bool misfits;       ///< and so it is left out
} rlv_life_shape;

typedef struct rlv_life_row
{
    size_t given;      ///< its index among those given
    size_t begin, end; ///< its elements
    int first;         ///< place of its first slot
    double pitch_mm;
    rlv_mat3 base; ///< attitude against the axis's frame
    bool turned;   ///< it has attitudes enough for a life attitude
    bool guest;    ///< it has too few elements to be fitted but for its shape: the axis is that of the others
    const rlv_life_shape* shape; ///< what a comparative specimen tells of it; NULL: nothing
    double scale;                ///< where it does: of distances along the axis over the shape's
} rlv_life_row;

/// What is known of one kind of value.
typedef struct rlv_life_spread
{
    rlv_smoother_penalty penalty;
    double natural; ///< variance of the natural scatter: mm^2 or rad^2
    double unit;    ///< phi: variance of weight one
    double freedom; ///< degrees of freedom
} rlv_life_spread;

typedef struct rlv_life
{
    size_t count, rows, slots;
    rlv_life_element* element; ///< by row and place; those whose place was found come last, and are in no fit
    rlv_life_row* row;
    size_t* first; ///< rows + 1: a row's slots
    size_t* block; ///< one a row: where its block of a spread begins
    rlv_body_axis axis;
    double* value[RLV_LIFE_VALUES]; ///< one a slot
    double* stretch;                ///< one a slot: its length over that along the axis, when last looked at
    double* room[2];                ///< one a slot: sums of weights and of weighted values
    double* base_line;              ///< one a slot
    double* shape;                  ///< one a slot of a shaped row: along the axis of the comparative specimen
    bool* shaped;                   ///< one a slot: it is one of those; else, in such a row, it is beyond them
    bool* gap;                      ///< one a slot: the spacing to the next is a natural gap
    double* gap_p;                  ///< and the p that it was found with
    rlv_smoother smoother[RLV_LIFE_KINDS];
    rlv_life_spread spread[RLV_LIFE_KINDS];
    double* covariance[RLV_LIFE_SPREADS]; ///< blocks: over phi
} rlv_life;

/// A slot's life position and attitude.
typedef struct rlv_life_place
{
    rlv_body_frame frame;
    rlv_vec3 at_mm;
    double stretch;    ///< length there over length along the axis
    rlv_mat3 attitude; ///< an element's frame
} rlv_life_place;
rlv_life_place rlv_life_at(const rlv_life* life, size_t row, size_t slot);

/// Lay rows and elements that have a known place, and find a first axis and first values (in life_start.c). `shape` has
/// one a row given, or is NULL. The elements are read on: they must stay. Free with rlv_life_free.
rlv_status rlv_life_start(rlv_life* life, size_t count, const rlv_placed_element* element, size_t row_count,
                          const rlv_articulation_row* row, const rlv_life_shape* shape, rlv_error* error);

/// The shapes of the rows of comparative specimens (in life_shape.c), into `shape`, zeroed, one a row. RLV_BAD_INPUT
/// where a row has places of two specimens, a place twice, or too few. Free with rlv_life_shapes_free.
rlv_status rlv_life_shapes_of(rlv_life_shape* shape, size_t row_count, size_t count, const rlv_compared_place* place,
                              rlv_error* error);
void rlv_life_shapes_free(rlv_life_shape* shape, size_t row_count);

/// After a fit with shapes: test each of them, and mark those that misfit. Returns whether there were any.
rlv_status rlv_life_shapes_test(const rlv_life* life, rlv_life_shape* shape, bool* misfit, rlv_error* error);
void rlv_life_free(rlv_life* life);

/// Lay the smoothers for the values as they stand: after the axis or the distances along it have moved.
rlv_status rlv_life_lay(rlv_life* life, rlv_error* error);

/// Lay the axis again through the middle of the rows, and bring the values over (in life_start.c).
rlv_status rlv_life_centre(rlv_life* life, rlv_error* error);

/// The attitude of each row against the axis, from the elements that agree most (in life_turn.c).
rlv_status rlv_life_base(rlv_life* life, rlv_error* error);
/// How an element is turned against an attitude: a rotation vector in that attitude's axes, and which parts are known.
rlv_vec3 rlv_life_turn(rlv_mat3 attitude, rlv_mat3 frame, unsigned known, bool told[3]);

/// Measure every element against its life position.
void rlv_life_look(rlv_life* life);

/// Fit one kind of value to the elements as they are trusted, and look again.
void rlv_life_fit(rlv_life* life, rlv_life_kind kind);

/// Scale of a shaped row, and its variance: of the distances of its elements in the fit along the axis on those of the
/// shape, with the penalties as they stand (in life_shape.c). NaN where two of them do not lie apart.
rlv_interval rlv_life_scale_of(const rlv_life* life, size_t row);

/// The most that the pitch of a shaped row is let change smoothly against its shape from end to end, as a share of it,
/// one sd: by the animal's kind and by bending.
double rlv_life_drift_of(const rlv_life* life, size_t row);

/// Distance along the axis that an element is measured to lie at: the working value of its slot.
double rlv_life_along_of(const rlv_life* life, const rlv_life_element* element);

/// Choose the penalties of a kind by restricted likelihood, on the elements as they are trusted, and fit.
rlv_status rlv_life_choose(rlv_life* life, rlv_life_kind kind, rlv_error* error);

/// After fits with trust 0 and 1: fit the first `kinds` again, with covariances and with the scatter and its degrees of
/// freedom; `kept` is the share of the variance of what is in place that is left in those that were let in.
/// Of what is not known, `row` gets covariances; RLV_LIFE_ALL are all rows, and get the variances alone.
#define RLV_LIFE_ALL SIZE_MAX
#define RLV_LIFE_NONE (SIZE_MAX - 1)
void rlv_life_spread_of(rlv_life* life, size_t kinds, size_t row, double kept);

/// Whether a life position is told: where its 95 % interval, natural scatter included, reaches no further than the
/// next place in any direction. What is known no better may be that of another place. `known` has three variances.
bool rlv_life_is_told(const rlv_life* life, size_t row, size_t slot, const double* known);

/// An element against its life position as the others tell it: distance and variance of each value (mm and radians);
/// not known is variance infinite. Neither is a part of an attitude whose interval reaches 90 degrees to either side.
typedef struct rlv_life_test
{
    double off[RLV_LIFE_VALUES], variance[RLV_LIFE_VALUES];
    double known[RLV_LIFE_VALUES]; ///< variance of the life position alone, natural scatter left out
    bool told;                     ///< false: the others do not tell where it belongs, and nothing else is known
} rlv_life_test;
rlv_life_test rlv_life_test_of(const rlv_life* life, const rlv_life_element* element);

/// Measure one element against the life position of its slot.
void rlv_life_measure(const rlv_life* life, rlv_life_element* element);

/// Variance of a slot's life position in mm^2 or rad^2, natural scatter left out.
double rlv_life_variance(const rlv_life* life, size_t row, size_t slot, size_t value);

/// Whether a slot lies beyond all the row's elements in the fit, `but` (may be NULL) left aside. An animal bends and
/// tapers more at its ends than the rows do on the whole: the variance of a life position there is widened by the first
/// factor (false alarms of single tests at the nominal 5 % were 7 to 9 % without it), that of an attitude by the second
/// (with the first they were 7.3 %, and 2.6 % at the nominal 1 %).
bool rlv_life_extrapolated(const rlv_life* life, size_t row, size_t slot, const rlv_life_element* but);
#define RLV_LIFE_WIDENING 1.2
#define RLV_LIFE_WIDENING_TURN 1.9
/// And that of a corridor, but of a row that is no guest and has a shape: with the first factor 89 to 93 % of 1,100 of
/// places of guests were covered, and 92 % of 530 of rows whose tapers are held to those of all (rlv_life_temper).
#define RLV_LIFE_WIDENING_CORRIDOR 1.5
/// And that of how far rows go aside beyond the last element of all, for there no row holds another: with the
/// corridor's factor 82 to 90 % of 187 places ahead of 60 animals that were cut at three quarters were covered,
/// with 3.0 98 to 100 of 148 of 50.
#define RLV_LIFE_WIDENING_AHEAD 2.5

/// Beyond the first and last elements of rows, hold distances along the axis to what is known of
/// tapers (in life_beyond.c): the pitch of the rows on the whole changes so fast, and that of one row, or of a part of
/// it, alike to an sd. A parabola through the row's elements alone, drawn out, lets the pitch grow to twice or shrink
/// to nothing. After rlv_life_spread_of of all rows; once.
rlv_status rlv_life_temper(rlv_life* life, rlv_error* error);

/// p of position and of attitude; NaN where nothing is known.
double rlv_life_p_shift(const rlv_life* life, const rlv_life_test* test);
double rlv_life_p_turn(const rlv_life* life, const rlv_life_test* test);

/// How well a value fits with other penalties.
typedef struct rlv_life_profile
{
    double left, freedom; ///< weighted squares that are left, of how many degrees of freedom
    double logs;          ///< what minus twice the log of the restricted likelihood has beside them
} rlv_life_profile;

/// Try other penalties of a value: `room[0]` gets by how much the values of a row's slots would then be more, and the
/// covariance of that row is then that of it. The values and all else stay as they are.
rlv_life_profile rlv_life_try(rlv_life* life, size_t row, size_t value, rlv_smoother_penalty penalty);

/// A stretch of a row that moved together.
typedef struct rlv_life_group
{
    size_t first, last;           ///< elements
    double p;                     ///< times the windows of all rows
    double shift[3], variance[3]; ///< along T, N1 and N2
    double sought_p;              ///< p that it was found with, by the smoothness of the other rows
} rlv_life_group;

/// What most clearly happened in a row (in life_scan.c): a window of neighbours moved together, or a step of the
/// spacing is a natural gap, or both, or neither.
///
/// With P y the observations less all that is known of the order, a window's shift and a step are columns of ones, and
/// what each takes off the squares is a square of a sum over a sum of P: sums once, and every window costs the same.
/// How rough the pitch and how smooth the row is are nuisances: for each supposition the likelihood is at its most over
/// a grid of penalties and over phi, on the elements of all rows, so that neither a walk guessed too still nor a row
/// guessed too smooth makes a stretch. The ratio of likelihoods is chi-square of one, or with the offsets of three; of
/// the two the smaller p counts twice. The p's of a gap and of a window are weighed against each other, and a window of
/// few or many elements pays more (weighted Bonferroni: C. R. Genovese, K. Roeder, L. Wasserman, Biometrika 93, 2006).
typedef struct rlv_life_scanned
{
    double evidence; ///< minus twice the log of the window's p by itself; 0: there is none
    double p;        ///< times the windows of all rows; 1 where there is none
    size_t gap;      ///< slot before a gap; SIZE_MAX: there is none
    double gap_p;    ///< times the steps of the row
} rlv_life_scanned;

/// Scan the row by the elements in the fit. `member` and `out` (one an element of `life` each) get which of them moved
/// with the window, and which lie apart from all. After rlv_life_spread_of, for the row.
rlv_status rlv_life_scan(rlv_life* life, size_t row, rlv_life_scanned* found, bool* member, bool* out,
                         rlv_error* error);

/// Windows of all rows, and by what the p of one of so many elements is multiplied beside them.
double rlv_life_windows(const rlv_life* life);
double rlv_life_price_of_window(size_t elements);

/// The common motion of a group's members, which are left out of the fit. After rlv_life_spread_of.
rlv_life_group rlv_life_group_motion(rlv_life* life, size_t group);

/// Take neighbours of a group, and elements within it, that its motion fits better than their own place does, into it
/// and out of the fit. Returns whether there were any.
bool rlv_life_grow_group(rlv_life* life, size_t group, const rlv_life_group* motion);

/// Which kind a value is of, and which spread.
rlv_life_kind rlv_life_kind_of(size_t value);
size_t rlv_life_spread_index(size_t value);

/// Variance of an element about its life position: natural scatter and measuring.
double rlv_life_scatter(const rlv_life* life, const rlv_life_element* element, size_t value);

/// Degrees of freedom that the scatter of positions is known with: of along and across, the fewer.
double rlv_life_freedom(const rlv_life* life);

/// The place of a slot.
static inline int rlv_life_place_of(const rlv_life* life, size_t row, size_t slot)
{
    return life->row[row].first + (int)(slot - life->first[row]);
}

/// Whether an element's place was given, or is to be found.
static inline bool rlv_life_has_place(const rlv_placed_element* element)
{
    return element->place_low == element->place_high;
}

#endif
