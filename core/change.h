/// Change between two stages: what was removed, what was added, and what cannot be told from noise.
///
/// Regions are found where the signed normal depth, smoothed at three scales, stands out of the noise; inside them the
/// signed columns are summed. The residuals on the surface that held still are modelled as a random field: its
/// trend is the motion seen along each normal, its covariance a nugget plus a slow warp of unknown range and strength,
/// estimated by restricted likelihood (H. D. Patterson, R. Thompson, Biometrika 58, 1971). Universal block kriging (N.
/// Cressie, Statistics for Spatial Data, 1993) predicts what the same field did under the changed regions: the
/// prediction, over all that a region's columns run through (label_areas.h), is subtracted and its variance carried,
/// averaged over the likelihood's grid (M. S. Handcock, M. L. Stein, Technometrics 35, 1993). The detection limit is
/// given by area (after D. Lague, N. Brodu, J. Leroux, 2013).
///
/// Two meshes alone tell what went and what came. Where a person said which triangles of BEFORE are bone, and which
/// belong to a piece that came off or went back, what went is kept apart by class. Bone that never showed cannot be
/// told from matrix.

#ifndef RLV_CHANGE_H
#define RLV_CHANGE_H

#include "align.h"
#include "error.h"
#include "interval.h"
#include "mesh.h"
#include "tree.h"

/// What a triangle is known to be of.
enum
{
    RLV_PART_NONE = 0,
    RLV_PART_BONE = 1,
    RLV_PART_PIECE = 2,  ///< the first of the pieces
    RLV_PART_COUNT = 15, ///< parts are below this
};

typedef enum rlv_change_class
{
    RLV_CHANGE_REMOVED,  ///< matrix, or whatever went where nothing is known
    RLV_CHANGE_BONE,     ///< bone lost: gone from what was bone already
    RLV_CHANGE_DETACHED, ///< gone with a piece
    RLV_CHANGE_ADDED,    ///< material that came: resin, gap fill, dust
    RLV_CHANGE_JOINED,   ///< came with a piece
    RLV_CHANGE_CLASSES,
} rlv_change_class;

/// Whether a class is of what went; else it is of what came.
static inline bool rlv_change_went(rlv_change_class kind)
{
    return kind <= RLV_CHANGE_DETACHED;
}

/// A connected stretch of surface that changed. Area and centroid are on BEFORE, in its frame.
typedef struct rlv_change_region
{
    rlv_change_class kind;
    uint8_t part;            ///< of BEFORE or, for a piece that is back, of AFTER
    rlv_interval volume_mm3; ///< always a magnitude: positive for all classes
    rlv_interval area_mm2;   ///< that went deeper than area_from_mm (extents.h)
    double area_from_mm; ///< the detection limit of the smallest patch, or half of the mean depth where that is less; 0
                         ///< for a piece, whose area is what its mask says
    rlv_interval mean_depth_mm; ///< volume over area; NaN where most of the region is on AFTER, so that this is no
                                ///< depth
    rlv_interval max_depth_mm;  ///< of means over cells of a correlation length, without what noise adds to the
                                ///< greatest of many
    rlv_vec3 centroid_mm;
} rlv_change_region;

/// How deep a change must be, over a patch of some area, to be told from noise.
typedef struct rlv_detection_limit
{
    double area_mm2, depth_mm;
} rlv_detection_limit;

typedef struct rlv_change_options
{
    bool aligned; ///< AFTER is in BEFORE's frame already: do not align (the interval still allows for a misfit)
    const rlv_pose* start;      ///< start the alignment here; NULL: from any attitude
    double before_scale_sd;     ///< sd of log scale of BEFORE; 0: exact
    double after_scale_sd;      ///< and of AFTER
    double pitch_mm;            ///< side of a column; 0: chosen from the meshes
    const uint8_t* before_part; ///< one a triangle of BEFORE, below RLV_PART_COUNT: bone, and pieces that came off; may
                                ///< be NULL
    const uint8_t* after_part;  ///< one a triangle of AFTER: pieces that are back; may be NULL
    const rlv_tree* before_tree; ///< BEFORE's tree; NULL: one is built
    const rlv_tree* after_tree;  ///< and AFTER's
    uint64_t seed;
    rlv_progress progress;
} rlv_change_options;

#define RLV_CHANGE_LIMITS 5 ///< rows of the detection limit

/// What every change is measured with, as a report tells it.
#define RLV_CHANGE_MOST_SAMPLES 250000 ///< a stage; a 300 mm block then has a sample every 1.3 mm
#define RLV_CHANGE_PATCHES 360         ///< of the surface that held still: what a warp of 30 mm needs on a 300 mm block
#define RLV_CHANGE_MOST_SETTLING 5     ///< alignments without what changed
#define RLV_CHANGE_STANDS_SD 0.25    ///< a pose stands where another alignment moves it by less than so many of its sd
#define RLV_CHANGE_CELLS_ACROSS 700  ///< default pitch: the block's diagonal over this
#define RLV_CHANGE_LEAST_STABLE 0.02 ///< a stage that shares less of its surface with the other is not measured
#define RLV_CHANGE_CHORD_SHARE 0.25  ///< what is left of the chords' volume between two stages, as an sd
#define RLV_CHANGE_FAINT 2.0 ///< a change with a mean depth under so many detection limits is faint: part may lie below

/// What a class comes to.
typedef struct rlv_change_total
{
    bool known;              ///< false where nothing is known of such a part, so that the class cannot be told
    size_t regions;          ///< found
    rlv_interval volume_mm3; ///< a magnitude; where no region was found, 0 and what the detection limit leaves room for
    double unseen_mm3;       ///< what of its upper half is such room: a bound, and no error of 95 %
    bool faint; ///< found, but with its extent in doubt: under two detection limits deep on the mean, fading out by
                ///< more than its interval, or less than the balance of the two volumes asks for. Its upper end then
                ///< allows for what was not told apart
} rlv_change_total;

typedef struct rlv_change
{
    rlv_change_total total[RLV_CHANGE_CLASSES]; ///< by class
    rlv_change_total went, came;                ///< of all classes that went, and that came
    rlv_interval untold_mm3; ///< signed; went - came + untold = volume before - volume after (divergence_mm3), by
                             ///< `went` and `came` here. Where a caller gives a class another volume, it must keep
                             ///< account of what it took out of it. The interval holds what an even change would be
                             ///< that was taken for scale
    size_t region_count;
    rlv_change_region* region;                    ///< by falling volume
    uint16_t* before_label;                       ///< one a triangle of BEFORE: 0, or 1 + the region's index
    uint16_t* after_label;                        ///< one a triangle of AFTER
    rlv_detection_limit limit[RLV_CHANGE_LIMITS]; ///< by rising area
    double chord_mm; ///< how far vertices lie off the other stage's triangles on the mean, where nothing changed: what
                     ///< two tessellations of one surface differ by
    double noise_sd_mm;     ///< of the residual of a single sample on the surface that held still
    double noise_length_mm; ///< its correlation length
    double warp_sd_mm;      ///< of the slow warp between the stages, along the normal
    double warp_length_mm;  ///< its correlation length (of a Gaussian covariance)
    bool open;              ///< a mesh is open: volumes are against a common base
    double left_out_mm2;    ///< plan area that only one stage saw
    double overlap_mm2;     ///< plan area where a mesh crosses itself
    double axis_spread_mm3; ///< greatest difference between the columns of three axes: an alarm
    double pitch_mm;        ///< side of a column: as asked for, or chosen
    double seed_sd; ///< how far out of the noise a region had to look: RLV_REGION_SEED_SD, or more on a wide surface
    double divergence_mm3;   ///< volume before - volume after by the divergence theorem; NaN where open
    rlv_alignment alignment; ///< the motion used, its covariance from the field; identity where `aligned`
} rlv_change;

/// Measure the change from BEFORE to AFTER, both mended. RLV_IMPOSSIBLE where they cannot be aligned or share too
/// little surface; `change->alignment` then tells what is known. Free with rlv_change_free, which is safe after a
/// failure.
rlv_status rlv_change_measure(rlv_change* change, const rlv_mesh* before, const rlv_mesh* after,
                              const rlv_change_options* options, rlv_error* error);
void rlv_change_free(rlv_change* change);

/// Only the motion: rlv_align, then again without what changed, until it stands. An even cut that is shallower than a
/// few sd of the noise draws a robust fit after it by a millimetre at the farthest corner; found and left out, it does
/// not. The covariance is the field's (misfit.h) where enough held still for one, else rlv_align's own, which leaves
/// long warp out. `options->aligned` is not looked at. Done with `alignment->loose` where the pose is weakly held;
/// RLV_IMPOSSIBLE where it is ambiguous otherwise.
rlv_status rlv_change_align(rlv_alignment* alignment, const rlv_mesh* before, const rlv_mesh* after,
                            const rlv_change_options* options, rlv_error* error);

#endif
