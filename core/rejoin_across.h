/// What runs over a joint: a bone that broke there, or a row of elements that lies on both parts, with the piece
/// closed.
///
/// All that is known here are points with their sds, the two places that carry them into the block's frame, and the
/// joint's mean plane. Each side tells a line and is carried to the joint; where the two meet it, how far the one's end
/// lies from the other's and how the one bends from the other tells whether the run goes straight on. A block and a
/// piece that were closed on faces say nothing of bone; so a run that does not go on is the faces' error, a bone that
/// was bent or worn there, or another bone.
///
/// *A bone's half* is a straight line: the principal axis of points that lie along it, or, of an outline that goes
/// round it, the midline of its two sides: a line through the middles of chords that are parallel to the joint, which
/// a bone broken across at a slant does not tilt, as it does the outline's own axis. The outline's end quarters are
/// left out: the one follows the break, the other the bone's end. An outline also has a plane, by its vector area
/// (element.h). *A row* is a curve through the elements next to the joint, at most RLV_ACROSS_MOST on a side: a line a
/// side with one bend (quadratic) for both, by least squares, across and out each; whatever scatter is left is the
/// row's own and its points' together. Its pitch is the spacing along that curve, with an even taper.
///
/// Errors are carried to first order, by central differences: each coordinate of each point by its sd, which the lines
/// carry on to the joint, and each of the six of either pose by its covariance. A bone's half that is rougher about its
/// line than its sds say is widened by the Birge ratio (R. T. Birge, Phys. Rev. 40, 1932). A row's scatter has few
/// degrees of freedom: its intervals are Student's, with those of F. E. Satterthwaite (Biometrics Bull. 2, 1946) where
/// the pose's part comes in. The length of a vector of two parts, which is never below zero, has the lower end
/// of its interval by the distribution of S. O. Rice (Bell Syst. Tech. J. 24, 1945). A bone is taken to be straight,
/// and to have no other taper than one that leaves its midline straight; a row to bend evenly.

#ifndef RLV_REJOIN_ACROSS_H
#define RLV_REJOIN_ACROSS_H

#include "interval.h"
#include "plane.h"
#include "pose.h"

#define RLV_ACROSS_MOST 5  ///< elements of a row that are looked at on either side
#define RLV_ACROSS_LEAST 3 ///< and that are needed
/// A run that meets the joint's plane at a lesser angle goes along it, not over it.
#define RLV_ACROSS_LEAST_DEG 10.0

/// Where the run crosses. In the block's frame.
typedef struct rlv_across_joint
{
    rlv_vec3 middle_mm, normal; ///< of the joint's mean plane, out of the block, of length one
    rlv_vec3 outward;           ///< roughly away from the body there, of any length; may be 0
} rlv_across_joint;

/// One side of a run: on the block, or on the piece.
typedef struct rlv_across_side
{
    size_t count;
    const rlv_placed_point* point; ///< in the part's own frame
    rlv_pose pose;                 ///< carries them into the block's frame, with its covariance
    bool outline;                  ///< of a bone: they go round it, in order; else they lie along it, in any order
    const int* place;              ///< of a row: each element's place in it; NULL: not known
} rlv_across_side;

/// A run as it goes over a joint. Intervals are of 95 %.
typedef struct rlv_across
{
    rlv_vec3 at_mm;              ///< where it crosses the joint's plane
    rlv_vec3 along, across, out; ///< from the block to the piece; to the left of that as seen from outside; outward
    double carried_mm[2];        ///< how far block and piece's side were carried to get there, from their nearest point
    size_t used[2];              ///< points, or elements
    double rms_mm;               ///< of what was looked at, about the lines or the curve
    rlv_interval across_mm, out_mm;             ///< how far the piece's side lies from the block's there
    rlv_interval offset_mm;                     ///< both together
    rlv_interval bend_across_deg, bend_out_deg; ///< how the piece's side bends from the block's, towards these
    rlv_interval bend_deg;                      ///< both together
    double p; ///< of as much or more, offset and bend together, if it went straight on

    rlv_interval gap_mm; ///< of a bone: along the run, from its one broken end to the other
    rlv_interval
        twist_deg; ///< of a bone with two planes: of the piece's about the run, as a right hand turns; else NaN

    rlv_interval spacing_mm; ///< of a row: over the joint, along the run
    rlv_interval pitch_mm;   ///< the row's own there, from one place to the next
    int places;              ///< that the spacing goes over, by the places; 1 where they are not known
    rlv_interval step_mm;    ///< spacing less as many pitches
    double step_p;           ///< of as much or more, if there were no step
} rlv_across;

/// How a broken bone goes on over the joint: `side` is of block and piece. RLV_IMPOSSIBLE where a side has too few
/// points (two along it, or an outline of three), or it runs along the joint; the error's words begin with which part
/// it is. RLV_BAD_INPUT where a point is not finite or has an sd that is not above zero.
rlv_status rlv_across_bone(rlv_across* across, const rlv_across_side side[2], const rlv_across_joint* joint,
                           rlv_error* error);

/// How a row of elements goes on, whose points are their places; in any order. The same refusals.
rlv_status rlv_across_row(rlv_across* across, const rlv_across_side side[2], const rlv_across_joint* joint,
                          rlv_error* error);

#endif
