/// An element: where it lies and how it is turned, as its points or its part of a mesh say.
///
/// *Position* is the centroid of the area that its outline encloses; without an outline, the middle between opposite
/// landmarks. *The pole* is the direction of the outline's vector area, half the sum of p x p' over its sides: by
/// Stokes' theorem the mean normal of any surface that the outline bounds, however much of a keel stands on it (the sum
/// over a polygon is M. E. Newell's). *The long axis* runs to the anterior: from the landmark posterior to anterior;
/// else across the line from right to left; else from the centroid to one of the ends, or across that to one of the
/// sides; without landmarks it is the outline's own longer axis, by second moments of area, and no end of it is called
/// anterior. *The external face* is told by handedness where anterior and left are known (external is anterior cross
/// left), or by the landmark apex, which stands on it. What is not known is kept as not known.
///
/// *Length* and *width* are extents of the outline along the long axis and across it. *Thickness* is from base to apex
/// along the pole, or the extent of a part that shows on both sides.
///
/// Errors are carried to first order, each coordinate of each point moved by sqrt(3) sds to either side. The outermost
/// of many noisy points lies farther out than any of them truly does: by how much is integrated from the distribution
/// of the greatest of normal numbers, about places that a smooth closed curve gives (four harmonics over arc length,
/// with a penalty on the third derivative), and taken off. Where nine points or more are rougher about that curve than
/// their sds say, all is widened by the Birge ratio. Sds given are taken as known, so that an interval is 1.96 sd. An
/// outline cannot tell a bone's edge that matrix covers: what is told is of what shows. Where others alike are much
/// larger, the rest is taken to be covered, and place and attitude are widened by it (rlv_element_widen).
///
/// A part of a mesh has its longest border for an outline, thinned to stretches of three edges and two correlation
/// lengths of the noise, each as uncertain as a vertex and as where a border may run among edges. One that has no
/// border is a solid: it has its centre of volume, and its principal axes, long to short, for a frame.
///
/// Two sightings of one element are fused by information (inverse covariances); chi-square of their difference tells
/// whether the work has disturbed it. A sighting that shows less of the element than the fullest one does is left out
/// of that: its centroid is another place. So is a sliver beside a fuller one, for two slivers are two places of it.

#ifndef RLV_ELEMENT_H
#define RLV_ELEMENT_H

#include "change.h"
#include "plane.h"
#include "pose.h"

/// What of an attitude is known, or'ed.
typedef enum rlv_element_known
{
    RLV_ELEMENT_POLE = 1,  ///< the line across the plate (its pole) is known
    RLV_ELEMENT_FACE = 2,  ///< which end of the pole is the external face is known too
    RLV_ELEMENT_LONG = 4,  ///< the line of the long axis is known
    RLV_ELEMENT_FRONT = 8, ///< which end of the long axis is anterior is known too
} rlv_element_known;

typedef struct rlv_element
{
    double position_mm[3];
    double position_cov_mm2[9];  ///< 3 by 3, row-major
    double frame[9];             ///< row-major; its columns: long axis (anterior), width (left), pole (external face);
                                 ///< right-handed
    double attitude_cov_rad2[9]; ///< of a small rotation vector applied on the left, in the block's axes
    unsigned known; ///< rlv_element_known, or'ed; axes that are not known are filled in but carry no information: about
                    ///< them the covariance is that of any turn, pi^2 / 3
    rlv_interval length_mm, width_mm, thickness_mm; ///< NaN where not measured
    bool long_by_shape; ///< the long axis is the outline's longer one, not what landmarks say: no anatomy is in it
    bool by_centre;     ///< the long axis is told by the centroid: what is covered of the element turns it
    bool contradicts;   ///< apex says one face, anterior and left the other: the face is not known
    bool sliver;        ///< its outline encloses too little to tell how it is turned: it lies there, `known` is 0, and
                        ///< its length and width are extents of what shows along axes that may be any
    bool inflated;      ///< rougher than its sds say: all covariances are larger by as much
} rlv_element;

/// Named points of an element.
typedef enum rlv_landmark
{
    RLV_LANDMARK_ANTERIOR,
    RLV_LANDMARK_LEFT, ///< of the element in the living animal, wherever it lies now
    RLV_LANDMARK_POSTERIOR,
    RLV_LANDMARK_RIGHT,
    RLV_LANDMARK_APEX, ///< highest on the external face
    RLV_LANDMARK_BASE, ///< beneath it, on the inner face
    RLV_LANDMARKS,
} rlv_landmark;

/// "anterior", "left", …; and the landmark of a name, or RLV_LANDMARKS.
const char* rlv_landmark_name(rlv_landmark landmark);
rlv_landmark rlv_landmark_of(const char* name);

/// A part of a mended mesh.
typedef struct rlv_element_part
{
    const rlv_mesh* mesh;
    size_t triangle_count;
    const uint32_t* triangle; ///< each once
    double noise_sd_mm;       ///< of a vertex, along each axis; above zero
    double noise_length_mm;   ///< correlation length of that; NaN: as long as an edge
} rlv_element_part;

/// What is seen of an element at one stage, all in one frame. What is not there is zero.
typedef struct rlv_element_seen
{
    size_t outline_count;
    const rlv_placed_point* outline; ///< in order round it, either way; it closes by itself
    const rlv_placed_point* landmark[RLV_LANDMARKS];
    const rlv_element_part* part; ///< used for the outline where `outline` is not given
    rlv_vec3 outward; ///< roughly out of the rock there: the end of a pole whose face is not known; may be 0
} rlv_element_seen;

/// Measure what is seen. RLV_BAD_INPUT, with what would mend it, where a point is not finite or has an sd that is not
/// above zero; there is neither an outline of three points nor a pair of opposite landmarks (anterior and posterior, or
/// left and right); the points lie on a line within their sds; or the outline crosses itself. Where they enclose
/// so little that the pole would be uncertain by more than 20 degrees, a sliver of a thing that matrix covers, no
/// attitude is told, and for a position the mean of the outline's points (`sliver`).
/// A part's outline is its longest border; a part without a border shows on both sides. Of an elongate element its two
/// ends alone serve: then no pole is known.
rlv_status rlv_element_measure(rlv_element* element, const rlv_element_seen* seen, rlv_error* error);

/// What an element's covariances gain.
typedef struct rlv_element_errors
{
    double position_cov_mm2[9], attitude_cov_rad2[9]; ///< as rlv_element has them
} rlv_element_errors;

/// Carry an element by a pose. The pose's covariance enters the element's, or `of_pose` instead where that is not NULL.
void rlv_element_carry(rlv_element* element, const rlv_pose* pose, rlv_element_errors* of_pose);

/// Add errors to an element's own.
void rlv_element_add_errors(rlv_element* element, const rlv_element_errors* errors);

/// Of several sightings.
typedef struct rlv_element_fusion
{
    rlv_element element; ///< of the sightings that count; where disturbed, of those before that
    size_t whole;        ///< sightings that show as much as the fullest does
    double p;            ///< of as great a difference between them; NaN for one
    bool disturbed;      ///< p below 0.001
    size_t since;        ///< where disturbed: the first sighting after it
    double shift_mm;     ///< how far it was moved, and its sd along that way; 0 where not disturbed
    double shift_sd_mm;
    double turn_deg; ///< and turned, as far as that is known
    double turn_sd_deg;
} rlv_element_fusion;

/// Fuse `count` sightings (one at least), in the order of time and in one frame, with covariances that hold each
/// sighting's own errors. `shared` (count, may be NULL) is what sightings may have in common: the errors of their
/// stages' poses, which all look at one frame. Sightings are weighed by their own errors, and what is shared comes to
/// the fused element whole, as the mean of those that count: more sightings do not shrink it. Tests of difference take
/// it as each one's own, so that it hides a little and alarms at nothing. `partial` (count, may be NULL) is set where a
/// sighting shows less than the fullest.
rlv_status rlv_element_fuse(rlv_element_fusion* fusion, bool* partial, size_t count, const rlv_element* sighting,
                            const rlv_element_errors* shared, rlv_error* error);

/// What matrix covers of an element, as far as others tell.
typedef struct rlv_element_covered
{
    bool partial;         ///< something is
    double whole_mm[2];   ///< length and width of the greatest of those that it was held against, and of itself
    double usual_mm[2];   ///< and of their median
    double missing_mm[2]; ///< what it lacks of the greatest; 0 where that is under a fifth
    double less_mm[2];    ///< the same of the median
} rlv_element_covered;

enum
{
    RLV_ELEMENT_ALIKE =
        4, ///< that an element is held against, at most: two to either side. More may be larger by nature
};

/// Hold an element against `count` others of its kind that lie nearest to it in its row. Each may be covered itself:
/// the greatest tell what is missing.
rlv_element_covered rlv_element_covered_of(const rlv_element* element, size_t count, const rlv_element* const* alike);

/// Add to an element's covariances what is covered of it. Matrix covers a plate from one side, and from which is not
/// known: its centre lies to one side or the other by half of what is missing, one sd. Of an arched or keeled plate
/// what shows faces aside, by a whole flank (0.4 rad, one sd; from memory) where half is missing, by less where less
/// is; and a long axis that is told by the centroid turns by how far that moved over half of what shows across it, and
/// the extents with it: then length times width tells what is missing, and every way in the plate is as unsure. Of a
/// sliver, whose plate is not known, the rest may lie any way in space, by half of what is missing of either extent
/// (where none is alike: of one as wide as the sliver is long). Nothing is added to another that is not partial.
void rlv_element_widen(rlv_element* element, const rlv_element_covered* covered);

/// The same for holding it against its row: where its neighbours are covered as it is, their centres are off as its own
/// is, and the row's line with them. Its place is unsure there by what it lacks of their median alone. (To take what
/// all have in common for errors of each by itself would lose the row: in the demo a slid stretch was no more found.)
/// That is for fitting the row. What is told of this one element holds the rest too (rlv_placed_element), for that the
/// others are covered from its own side is not known.
void rlv_element_widen_in_row(rlv_element* element, const rlv_element_covered* covered);

/// How unsure the direction of an axis of its frame is (0 long, 1 width, 2 pole): sd in degrees, an angle in space,
/// along the way that it is least sure in. Of one that is not known it is that of any turn.
double rlv_element_axis_sd_deg(const rlv_element* element, int axis);

/// Whether a direction is told at all: not where its 95 % interval is wider than 90 degrees to either side, for then it
/// may as well be any.
bool rlv_element_axis_told(const rlv_element* element, int axis);

/// The angle between an element's plate and a plane, 0 to 90 degrees, with its 95 % interval; NaN where no pole is
/// known.
rlv_interval rlv_element_angle_deg(const rlv_element* element, const rlv_fitted_plane* plane);

#endif
