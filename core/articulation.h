/// Articulation: the animal's own order found from its elements, and which of them have left their life position.
///
/// Elements stand in rows (of scutes, say), numbered from head to tail. The order is a body axis common to all rows
/// (`axis`), with in each row r at each place k a distance along the axis, an offset from it and an attitude:
///
///     x = C(u_r(k)) + N1 a_r(k) + N2 b_r(k),   a_r(k) = f_a(u) + g_r(k),  b likewise,   R = F(u) B_r exp([t_r(k)]x).
///
/// C is the axis, F = [T N1 N2] its rotation-minimising frame, f what all rows share of a bend that the axis does not
/// have yet (a cubic spline, third differences penalised); g_r and t_r are a row's own, one value a place, second
/// differences penalised (P. H. C. Eilers, B. D. Marx, Flexible smoothing with B-splines and penalties, Statist. Sci.
/// 11, 1996). Distances along the axis u_r have four parts: a parabola of the place, for an even taper of the pitch
/// costs nothing; what all rows share, for the axis is longer or shorter than the animal's own where it bends beside
/// it; a row's own, third differences penalised; and a walk, for uneven steps add up, each in proportion to itself.
/// Penalties go by the pitch of the row, so that one smoothness in millimetres holds for all. Penalties and scatter are
/// estimated by restricted likelihood (H. D. Patterson, R. Thompson, Biometrika 58, 1971; D. Ruppert, M. P. Wand, R. J.
/// Carroll, Semiparametric Regression, 2003), on the elements that are in place: cross-validation would do, but the
/// likelihood also says how uncertain a prediction is (G. Wahba, J. R. Statist. Soc. B 45, 1983). The natural scatter
/// about the order is independent from element to element, alike in all rows, its sd along the body apart from that
/// across it; the measuring errors are added to it.
///
/// A first fit weighs elements by the inverse of their distance (L1). Stretches of a row that moved together are sought
/// first: does the likelihood of a row gain where a window of neighbours is shifted as one, where a step of the spacing
/// is made free (a natural gap, too wide for chance), or where both are? So the two opposite steps of a slide are
/// weighed against the one of a gap. Each is taken at the roughness and smoothness that suit it best, within what the
/// elements of all rows bear, for a rough pitch looks like slides along the body and a bend like slides across it; a
/// window of up to five elements, which two that moved by themselves make, or of more than twelve, which a gap and a
/// rough step make, pays more; and what lies apart both from
/// the row and from the window has no say. A window whose p is small, times those that were looked at, is taken out,
/// all is fitted anew, and it stands where the p of its motion is small then as well. Then single elements are left
/// out, again and again, that a leave-one-out F test rejects, and let back in where it no longer does. At the end each
/// element has a test of its place and, where its attitude is known, one of that; R. J. Simes, Biometrika 73, 1986
/// makes one p of them, and Y. Benjamini, Y. Hochberg, J. R. Statist. Soc. B 57, 1995 adjust it over all elements.
/// Which of the two tests stands is judged at the level that is left (Y. Benjamini, M. Bogomolov, J. R. Statist. Soc. B
/// 76, 2014).
///
/// An element whose place is open is in no fit; it is given one of the places that are left at the end, all at once
/// (`assignment`), where that is clear. A row whose places nobody counted is counted beforehand (`places`).
///
/// A row may be given as life positions of a comparative specimen as well (`rlv_compared_place`; after I. N. Dryden, K.
/// V. Mardia, Statistical Shape Analysis, 1998: one form is brought to another by position and scale first, and what is
/// left is a bending). Its own order is fitted as one of an animal is, and gives each of its places a distance along
/// its axis, smoothed: so its own curl is out of it. In this animal the distances of the row are then those, moved and
/// scaled, and what they depart from them: a smooth part, of which second differences are penalised and not third (so
/// that a departure costs from its first bend on, where an even taper of the pitch costs nothing otherwise), and the
/// walk. How far animals depart is estimated with the other penalties, and is never taken to be less than an even
/// change of the pitch by RLV_COMPARED_DRIFT from one end of the row to the other. A row whose elements depart from its
/// table by a parabola and a cubic more than that, the walk and the scatter allow is fitted without it. The axis, and
/// how far rows lie from it, stay this animal's own.
///
/// What it cannot tell, it does not claim: a slip of all rows together, which is the animal's own curve; a stretch that
/// reaches the end of its row, unless its elements are told one by one; a motion along the body by whole places.
/// Body directions: along = head to tail, across = to the animal's left, out = away from the body wall.

#ifndef RLV_ARTICULATION_H
#define RLV_ARTICULATION_H

#include "axis.h"
#include "element.h"
#include "error.h"
#include "vector.h"

#include <limits.h>
#include <stdbool.h>
#include <stdint.h>

enum
{
    RLV_ARTICULATION_LEAST = 6, ///< elements with a known place, from which a row is used
    RLV_COMPARED_LEAST = 3,     ///< and of a row with a table of a comparative specimen that fits it
    RLV_ARTICULATION_POWERS = 2,
    RLV_ARTICULATION_STATIONS = 8, ///< at most, that the body is told at beyond its last element
    RLV_ARTICULATION_PARTS = 8,    ///< parts of the body that the share in place is told for
};

/// An element and where it is said to belong. A known place has place_low = place_high; a range has low < high; nothing
/// known is INT_MIN to INT_MAX.
typedef struct rlv_placed_element
{
    rlv_element element;
    size_t row;
    int place_low, place_high;
    double covered_cov_mm2[9]; ///< what its position is unsure by beside that, since matrix covers it: the fit leaves
                               ///< it out, for neighbours that are covered alike are off alike, and its own test,
                               ///< motion and limit hold it, for they need not be
} rlv_placed_element;

/// A row. Its life positions are first to last; first > last where that is not known (then from its first held to
/// its last held place).
typedef struct rlv_articulation_row
{
    int first, last;
} rlv_articulation_row;

/// A life position measured on a comparative specimen. Those of one `specimen` (any number) are of one frame. A row has
/// places of one specimen alone, and RLV_ARTICULATION_LEAST of them at least.
typedef struct rlv_compared_place
{
    size_t specimen, row;
    int place;
    rlv_vec3 at_mm;
    double sd_mm; ///< per axis
} rlv_compared_place;

/// The least sd of the change of a row's pitch, as a share of it, from one end of the row to the other, between two
/// animals of one kind. From memory, no source: one in twenty.
#define RLV_COMPARED_DRIFT 0.05

/// What became of an element: the first that holds of inverted, rotated, shifted.
typedef enum rlv_articulation_state
{
    RLV_IN_PLACE,
    RLV_SHIFTED,
    RLV_ROTATED,
    RLV_INVERTED,
    RLV_UNASSIGNED, ///< none of these is claimed: `why` says why not
    RLV_ARTICULATION_STATES,
} rlv_articulation_state;

/// Why nothing is claimed of an element.
typedef enum rlv_articulation_why
{
    RLV_TOLD,
    RLV_ROW_UNUSED,    ///< its row was left out
    RLV_WITHOUT_PLACE, ///< its place is open, and more than one of the free ones of its row may be its own
    RLV_OFF_ROW,       ///< its place is open, and none of these may: it has moved, and from which place is not known
    RLV_NOTHING_TELLS, ///< the others tell its life position no better than to the next place (95 %): it alone holds
                       ///< its part of the row, or the row is too short to tell how even it is
} rlv_articulation_why;

/// How far an element lies from its life position, and how it is turned against it. The intervals (95 %) hold measuring
/// error, natural scatter and the uncertainty of the life position. NaN where not known.
typedef struct rlv_body_motion
{
    rlv_interval along_mm, across_mm, out_mm;
    rlv_interval shift_mm;       ///< length of the three, less what errors add to it (articulation_length.h)
    double shift_pitches;        ///< shift over the row's pitch there
    rlv_interval rotation_deg;   ///< whole angle, over the axes that are known; as a length
    rlv_interval about_pole_deg; ///< right-handed about out: above zero, the end towards the head goes to the left
    rlv_interval tilt_deg;       ///< between the poles; as a length
    double tilt_direction_deg;   ///< where the pole leans to: 0 tail, 90 left, 180 head, -90 right
} rlv_body_motion;

/// What is told of one element, in the order that they were given.
typedef struct rlv_articulated
{
    rlv_articulation_state state;
    rlv_articulation_why why; ///< where unassigned; all else of it is then not known, but for the place that was given
    int place;                ///< as given or, where that was open, as found; INT_MIN where there is none
    bool placed;              ///< the place was open, and was found
    double margin; ///< of a place that was found: log likelihood of it over the next best's; 3: twenty to one; else NaN
    bool row_end;  ///< first or last of its row's elements: its life position is extrapolated, its intervals are wide
    size_t group;  ///< 0, or one of the stretches that moved together
    rlv_vec3 life_mm;
    double along_mm;        ///< distance along the axis of its life position, by which it belongs to a part of the body
    double life_cov_mm2[9]; ///< natural scatter included
    rlv_mat3 body;          ///< columns: along, across, out; left-handed, so no rotation
    rlv_mat3 life_frame;    ///< its attitude in life, as an element's frame; NaN where the row tells none
    rlv_body_motion motion;
    double p_shift, p_rotation;                    ///< of the leave-one-out tests; NaN where there is none
    double p, p_adjusted;                          ///< of both, and adjusted over all elements
    double detectable_mm[RLV_ARTICULATION_POWERS]; ///< shift of it, whichever way, that is told with a probability of
                                                   ///< 0.8, and of 0.9, by its own errors; NaN where it is not tested
    size_t nearest;          ///< of one without a place: the free place of its row and range that it is nearest to,
                             ///< an index among the unfilled; SIZE_MAX: there is none, or it has a place
    rlv_interval nearest_mm; ///< how far off that is, with the errors of both along the way between them
} rlv_articulated;

/// An element is told as displaced where its adjusted p is below this.
#define RLV_ARTICULATION_LEVEL 0.05

/// A stretch moved together where both its p's are below this: a false one makes half a dozen false elements at once,
/// and on an animal that little is displaced of those are a third of all that are told, so that a level of 0.05 would
/// alone add a hundredth and a half to their share. By simulation (tests/core/articulation_long.c).
#define RLV_ARTICULATION_GROUP_LEVEL 0.02

/// A stretch of a row that moved together.
typedef struct rlv_articulation_group
{
    size_t row, count;      ///< count: its elements
    int first, last;        ///< places
    rlv_body_motion motion; ///< common; no rotation
    double p; ///< the larger of those that it is found and stands with, times the windows; below the level
} rlv_articulation_group;

/// A life position that no element was found for.
typedef struct rlv_unfilled
{
    size_t row;
    int place;
    bool corridor; ///< beyond the row's last held element: the covariance there is a corridor's width, no more
    rlv_vec3 position_mm;
    double covariance_mm2[9]; ///< natural scatter included
    double radius2;           ///< the 95 % region is d' covariance^-1 d <= radius2: three times the F quantile
} rlv_unfilled;

/// A step of a row's spacing that is too wide, or too narrow, for chance, and that no later one takes back: a natural
/// gap, or a place that was counted and is none, or was not counted.
typedef struct rlv_spacing_gap
{
    size_t row;
    int place;            ///< the step is from it to the next
    rlv_interval more_mm; ///< than the mean of the steps beside it: along the row; below zero: less
    double pitches;       ///< the same in those steps
    double p;             ///< times the steps of its row
} rlv_spacing_gap;

/// The body at a distance ahead of the last element in place of all rows.
typedef struct rlv_body_station
{
    double ahead_mm;
    rlv_vec3 at_mm, along; ///< of the axis; along: unit, head to tail
    double across_sd_mm;   ///< of its place, to each side
    double turn_sd_deg;    ///< of its direction, to each side
} rlv_body_station;

/// The body beyond the last element in place of all rows, where some row has places there. The axis turns on as it did
/// before that element, along an arc, and is as unsure as a corridor of one of the rows that reach so far, for they
/// share what they do not know. (The corridors themselves go on almost straight: what bends a row is its body, of which
/// nothing is known there.) Its direction is as unsure as a corridor's and, since that the rows draw nearer to the tail
/// is part of theirs and not of the axis's, by the error of the place over the distance too.
typedef struct rlv_body_ahead
{
    double from_mm;         ///< along the axis, of that element
    rlv_interval length_mm; ///< from there to the last place of any row
    double freedom;         ///< degrees of freedom of its sds
    size_t count;           ///< 0: no row has places there
    rlv_body_station station[RLV_ARTICULATION_STATIONS];
} rlv_body_ahead;

/// What is told of a row.
typedef struct rlv_articulation_row_told
{
    size_t held, in_place; ///< elements with a place that are told; of these in place
    size_t untold;         ///< elements with a place whose life position nothing tells; in no other figure here
    size_t lost;        ///< unfilled places that are known no better than to the length of the row (95 %): in no list
    size_t placed;      ///< of those held, whose place was open and was found
    double margin;      ///< of the least clear of these; below 3, the whole count may be off. NaN where there is none
    bool used;          ///< false: too few elements
    bool compared;      ///< it was fitted with its table of a comparative specimen
    double compared_p;  ///< of its elements departing so far from the table; below 0.01 it was fitted without. NaN: no
                        ///< table, or too few elements for any row
    rlv_interval scale; ///< this animal's row over the table's; NaN where not fitted with it
    bool short_row;     ///< used, but under 15 elements: what is displaced there is found less surely
    int first, last;    ///< places
    double pitch_mm;    ///< median along its own curve
    rlv_interval detectable_mm[RLV_ARTICULATION_POWERS]; ///< of those of its elements the median, the least and the
                                                         ///< greatest: in place is no more than that no shift was
                                                         ///< found. NaN where none is tested
} rlv_articulation_row_told;

/// How much is in place along a part of the body.
typedef struct rlv_articulation_part
{
    double from_mm, to_mm; ///< along the axis
    size_t held, in_place;
    rlv_interval share; ///< as rlv_articulation_share has it
} rlv_articulation_part;

/// A skeleton in one word: articulated where three quarters of its elements, at least, are in place; else associated
/// where three quarters lie within a fifth of the body's length of their life position; else isolated. Its elements are
/// those whose state is told, and those that lie off their rows: these have moved, though no figure says how far, and
/// are near where the free place nearest to them is.
typedef enum rlv_articulation_word
{
    RLV_ARTICULATED,
    RLV_ASSOCIATED,
    RLV_ISOLATED,
} rlv_articulation_word;

/// The skeleton as a whole.
///
/// The interval of the share is the exact binomial one for an effective number of elements (E. L. Korn, B. I. Graubard,
/// Survey Methodology 24, 1998): a stretch that moved together was moved by one event, and weighs in how sure the share
/// is as one, the effective number being (sum m)^2 / sum m^2 of stretches and single elements m (L. Kish, Survey
/// Sampling, 1965).
typedef struct rlv_articulation_verdict
{
    rlv_articulation_word word;
    bool sure;        ///< the interval holds no share that would have another word
    size_t judged;    ///< elements whose state is told
    size_t off_row;   ///< and those beside them that lie off their row
    size_t in_place;  ///< of both
    double effective; ///< the effective number of both
    rlv_interval share;
} rlv_articulation_verdict;

typedef struct rlv_articulation
{
    rlv_body_axis axis;
    size_t count, row_count, group_count, unfilled_count, part_count, gap_count;
    rlv_articulated* element;       ///< one an element given
    rlv_articulation_row_told* row; ///< one a row given
    rlv_articulation_group* group;  ///< group g of an element is group[g - 1]
    rlv_unfilled* unfilled;         ///< by row and place
    rlv_spacing_gap* gap;           ///< natural gaps, by row and place
    rlv_body_ahead ahead;
    rlv_articulation_part part[RLV_ARTICULATION_PARTS];
    double scatter_along_mm, scatter_across_mm, scatter_deg; ///< natural, sd per axis: as the fit weighs by
    rlv_interval scatter_mm[2]; ///< along and across: what of it is known. `low` 0: it may be none; then `value` is
                                ///< nothing to quote, and `high` is what it may be. Along the body an uneven step and
                                ///< scatter look alike: `high` holds all unevenness that would do for scatter
    double freedom_along, freedom_across, freedom_turn; ///< degrees of freedom that they are known with
    rlv_articulation_verdict verdict;
    bool crossing; ///< the axis comes nearer to itself than the body is wide: look at where elements were placed
    size_t tests;  ///< elements whose p was adjusted together
} rlv_articulation;

/// Fit the order to `count` elements in `row_count` rows, and judge each. A zeroed `articulation` is filled; free with
/// rlv_articulation_free, which is safe after a failure. RLV_IMPOSSIBLE where no row has RLV_ARTICULATION_LEAST
/// elements with a known place, or no element's life position is told; RLV_BAD_INPUT where a row, a position or a
/// covariance is none.
rlv_status rlv_articulation_fit(rlv_articulation* articulation, size_t count, const rlv_placed_element* element,
                                size_t row_count, const rlv_articulation_row* row, rlv_error* error);
void rlv_articulation_free(rlv_articulation* articulation);

/// The same, with life positions of comparative specimens for some of the rows. A row with those is used from
/// RLV_COMPARED_LEAST elements on. RLV_BAD_INPUT also where they are not as rlv_compared_place says.
rlv_status rlv_articulation_fit_compared(rlv_articulation* articulation, size_t count,
                                         const rlv_placed_element* element, size_t row_count,
                                         const rlv_articulation_row* row, size_t compared_count,
                                         const rlv_compared_place* compared, rlv_error* error);

/// The part of the body at a distance along the axis.
size_t rlv_articulation_part_at(const rlv_articulation* articulation, double along_mm);

/// A share with its exact 95 % interval (C. J. Clopper, E. S. Pearson, Biometrika 26, 1934): `some` of `all`, which may
/// be an effective number and no whole one; NaN of none.
rlv_interval rlv_articulation_share(double some, double all);

/// The share in place without `untested` of the elements in place, with its interval as of the verdict: those that
/// would have been told as in place wherever they lay. What is displaced counts whatever its errors, so that this share
/// is rather too low where the other, which takes all of those as in place, is rather too high. NaN where none is left.
rlv_interval rlv_articulation_share_tested(const rlv_articulation* articulation, size_t untested);

/// The verdict, of the elements, stretches and axis of an articulation as they stand: as rlv_articulation_fit tells it.
rlv_articulation_verdict rlv_articulation_judge(const rlv_articulation* articulation);

// Elements that were found in the spoil

/// What is known of an element that no place in the rock is known for.
typedef struct rlv_stray
{
    const bool* row;           ///< one a row given to the fit: whether its kind and side may belong there; NULL: any
    int place_low, place_high; ///< INT_MIN to INT_MAX where nothing is known
    rlv_interval length_mm, width_mm; ///< NaN where not measured; an element that broke has none
    bool located;             ///< whether it is known where it lies, or which part of the rock its bag came from
    bool moved;               ///< it lies off its row, so that it has left its life position
    rlv_vec3 centre_mm;       ///< of that part, or where it lies
    double covariance_mm2[9]; ///< its second moments about its centre: as large as the part is
} rlv_stray;

/// Motions of what kept its place, which say which way a current ran, if one did.
typedef struct rlv_told_motions
{
    rlv_vec3 up; ///< of the level that a current ran along; zero: not known, and then `count` is 0
    size_t count;
    const rlv_vec3* motion_mm;
    const double* azimuth_sd_rad; ///< of its direction in the level
} rlv_told_motions;

/// How what a current carried scatters about the common motion, as a share of it, at the most: in radians, about its
/// direction.
#define RLV_CARRIED_SCATTER 0.5

/// What was told as the probability of a current, on the mean of 96 draws of five strays off their rows: where one had
/// carried them, and where they had gone any way. Measured by tests/core/articulation_candidates.c, which holds them.
#define RLV_CARRIED_TOLD_WITH 0.97
#define RLV_CARRIED_TOLD_WITHOUT 0.30

/// Whether what is loose was carried one way.
typedef struct rlv_carried
{
    double probability;      ///< of that; 0 where nothing is loose
    rlv_vec3 motion_mm;      ///< which way and how far, on the mean over all that it may be
    double direction_sd_deg; ///< how unsure the direction is (circular sd)
} rlv_carried;

/// A life position that a stray may have had.
typedef struct rlv_candidate
{
    size_t unfilled; ///< its index among the unfilled
    double probability;
} rlv_candidate;

typedef struct rlv_candidates
{
    size_t count;
    rlv_candidate* candidate; ///< the likeliest first; of equal ones, by row and place
    double none;              ///< probability of none of these; with the others, 1
} rlv_candidates;

enum
{
    RLV_STRAYS_TOGETHER = 12, ///< strays that are told together: the work doubles with each
};

/// The probability with which one of the strays is none of the unfilled elements, before anything is known of it: it
/// may be of another animal, or from beyond the ends of the rows. From memory, no source: one in ten.
#define RLV_STRAY_NONE 0.1

/// From an unfilled life position to where an element lies: the motion, and how far that is, with the errors of both
/// along the way between them and the scatter of life positions in its interval.
rlv_vec3 rlv_articulation_motion_from(const rlv_unfilled* life, const rlv_placed_element* element);
rlv_interval rlv_articulation_distance_from(const rlv_unfilled* life, const rlv_placed_element* element);

/// Which unfilled life positions `stray_count` strays may have had. `element` is what `articulation` was fitted to;
/// `motions` (may be NULL) what told motions say; `candidates` (one a stray, zeroed) and `carried` are filled; free
/// with rlv_candidates_free. RLV_BAD_INPUT where a stray's numbers are none.
///
/// The model (T. Bayes; all parts independent): before anything is known, each unfilled position of the rows and places
/// that a stray may belong to is as likely as any other, and RLV_STRAY_NONE is none of these. *Size*: the log of length
/// and of width at a place is a straight line through those of the row's nearest eight elements, with their scatter
/// about it; where none is one of these, that of all elements. *Place*: what lay in life position came to the bag from
/// there, q = the share in place; what did not, from a normal cloud about it, as wide as the shifts of the displaced
/// elements; with the spread of the bag's part of the rock and the life position's own covariance. What lies off its
/// row was carried, how far is not known; and all that moved may have been carried one way, by a current: over that
/// (articulation_carried.h) the probabilities are summed. None of these: from anywhere, as the life positions of all
/// are spread, and a factor of two (one sd) larger or smaller than all. No two strays had one position: the
/// probabilities are sums over all assignments, exact for RLV_STRAYS_TOGETHER strays; of more, each is told by itself,
/// but for the current.
rlv_status rlv_articulation_candidates(rlv_candidates* candidates, rlv_carried* carried,
                                       const rlv_articulation* articulation, size_t count,
                                       const rlv_placed_element* element, size_t stray_count, const rlv_stray* stray,
                                       const rlv_told_motions* motions, rlv_error* error);
void rlv_candidates_free(rlv_candidates* candidates, size_t stray_count);

/// The English word of a state, and of the summary.
const char* rlv_articulation_state_word(rlv_articulation_state state);
const char* rlv_articulation_word_of(rlv_articulation_word word);

#endif
