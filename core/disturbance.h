/// Disturbance: which way the elements of a skeleton went, and how those lie that left their life position.
///
/// It sums up what `articulation` found, over the whole skeleton, each row, and each part of the body. What happened to
/// the carcass is meant, not what the work did: elements that were moved between stages are told by `element`.
///
/// *What counts as a motion.* An element moved that is displaced, and whose shift's interval does not hold 0: one that
/// is only turned went nowhere. A stretch that moved together is one motion, however many elements it has: they
/// were carried by one event, and its direction is seen once. Counted by element, a patch of eight would make a current
/// of itself. Its motion is the common one, its row its own, its part of the body that of its middle.
///
/// *Directions in the level.* A motion is seen along the plane square to up. It has a direction there where its 95 %
/// region in that plane does not hold 0 (Hotelling's T2 against F, of the articulation's degrees of freedom): what
/// only sank has none, and is counted beside. Where it has one, it is a step as long as it can be trusted, the mean
/// cosine of its error (0.90 where it is just told, towards 1 for a long one; rlv_circle_trust): mean, resultant and
/// test are of those steps (directions.h: the test is exact for any number of steps of any length). Errors that are
/// left scatter the directions, so that R-bar and kappa are those of motions as measured: the motions themselves were
/// rather more alike. The interval comes from that scatter. Errors that all share, of the axis, are not in it.
///
/// *Directions in space* are those of the same motions, R. A. Fisher's statistics. Each counts whole: an interval that
/// does not hold 0 means an error of under 20 degrees, and it is in the scatter that the cone comes from. What a
/// current carried along a floor scatters in the level alone, so the cone is the wider of the two of directions.h.
///
/// *Axes.* Poles and long axes of the elements that are displaced by themselves, lie off their row, or are turned in a
/// stretch, each once, where they are known and told (rlv_element_axis_told): the orientation tensor, its shape and
/// strength (N. H. Woodcock, Geol. Soc. Am. Bull. 88, 1977). Elements that a stretch carried along unturned still lie
/// as the body does, and would tell its shape.
///
/// Fewer than RLV_DISTURBANCE_LEAST are no figure but NaN, and the reason: an interval of the mean that told anything
/// left the truth out in 21 of 100 samples of three at kappa 1, in 13 of four and in 9 of five, and of five in 5 from
/// kappa 2 on (4,000 samples each). A mean says something where uniformity is rejected, else not; Rayleigh's test is
/// blind to motions that went as many one way as the other. Bingham's rejects five uniform axes in 3 of 100 samples at
/// 0.05, and thirty in 5: of few it is the slower to claim. Each test is at its own level: of twenty rows and parts
/// without any current, one is rejected at 0.05.
///
/// The share in place along the axis, with its intervals, is the articulation's own (rlv_articulation_part).

#ifndef RLV_DISTURBANCE_H
#define RLV_DISTURBANCE_H

#include "articulation.h"
#include "directions.h"

enum
{
    RLV_DISTURBANCE_LEAST = 5, ///< motions, or axes, from which they are summed up
};

/// One motion, from a life position to where the element lies.
typedef struct rlv_disturbance_motion
{
    size_t element; ///< its index among those given; of a stretch the element nearest to its middle
    size_t group;   ///< 0, or the stretch that moved
    size_t row;
    size_t part; ///< of the body
    rlv_vec3 motion_mm;
    double covariance_mm2[9]; ///< of measuring, natural scatter and life position
    // In the level; NaN where up is not known.
    double level_mm;         ///< how far
    double direction_sd_deg; ///< of which way; to first order
    double trend_deg;        ///< which way, from north; NaN where north is not known
    double trust;            ///< mean cosine of the direction's error; 0 where it has no direction there
} rlv_disturbance_motion;

/// Which way motions went in the level.
typedef struct rlv_disturbance_level
{
    size_t count;           ///< motions that have a direction there
    rlv_vec3 mean;          ///< a unit vector in the frame at hand
    double trend_deg;       ///< of that, from north; NaN where north is not known
    double half_deg;        ///< the 95 % interval of the mean reaches so far to either side; 180: anywhere
    double resultant_share; ///< R-bar: 0 every way, 1 all one way
    double kappa;           ///< von Mises' concentration
    double uniform_p;       ///< Rayleigh's: of as long a resultant, had they gone every way alike
    const char* why;        ///< why there are no figures; NULL where there are
} rlv_disturbance_level;

/// Which way they went in space.
typedef struct rlv_disturbance_space
{
    rlv_sphere_mean mean;
    double cone_deg; ///< half angle of the 95 % cone about the mean, however motions scatter; 180: anywhere
    rlv_trend trend; ///< of the mean; NaN where up or north is not known
    const char* why;
} rlv_disturbance_space;

/// How axes lie. rlv_trend_of tells the trend of a tensor's axis.
typedef struct rlv_disturbance_axes
{
    rlv_orientation tensor;
    size_t off_row; ///< so many of them are of elements off their rows, which belong to no part of the body
    size_t unsure;  ///< so many more are known, but may as well point anywhere: they are left out
    const char* why;
} rlv_disturbance_axes;

/// What is told of all, of a row, or of a part of the body. Where there is a `why`, all but the count is NaN.
typedef struct rlv_disturbed
{
    size_t displaced; ///< elements: shifted, rotated or inverted
    size_t motions;   ///< of these and of stretches
    rlv_disturbance_level level;
    rlv_disturbance_space space;
    rlv_disturbance_axes poles, long_axes;
} rlv_disturbed;

typedef struct rlv_disturbance
{
    size_t motion_count, row_count, part_count;
    rlv_disturbance_motion* motion; ///< elements as they were given, then stretches
    rlv_disturbed all;
    rlv_disturbed* row; ///< one a row
    rlv_disturbed part[RLV_ARTICULATION_PARTS];
} rlv_disturbance;

/// Sum up the disturbance of a skeleton: what `articulation` found of `element`, as many as it was fitted to. `up` and
/// `north` are directions of any length in the same frame, zero where they are not known. A current runs along the
/// floor that became the bedding: where beds were tilted since, give the upper side of the bedding's pole for up.
/// A zeroed `disturbance` is filled; free with rlv_disturbance_free, which is safe after a failure. RLV_BAD_INPUT where
/// up or north is not finite, or both lie along one line.
rlv_status rlv_disturbance_of(rlv_disturbance* disturbance, const rlv_articulation* articulation,
                              const rlv_placed_element* element, rlv_vec3 up, rlv_vec3 north, rlv_error* error);
void rlv_disturbance_free(rlv_disturbance* disturbance);

#endif
