/// Rejoining: how a detached piece goes back, what stays open when it does, and how surely.
///
/// A block broke, or a slab was taken off it; both parts may have been worn and prepared since. Where a stage from
/// before the break exists, each part is aligned to it by what is left of its outer surface (align.h): that is the
/// place the piece was found in. Without one, the piece is tried on the block from any attitude: descriptors of the one
/// part's surface against those of the other seen from inside propose poses, and a signed distance field punishes those
/// in which solid lies in solid. The piece's faces are then closed on the block's.
///
/// Closing is one objective of two parts, each weighted by the area over which its residuals are correlated: the two
/// fracture faces, with an asymmetric redescending loss (Tukey's biweight, A. E. Beaton, J. W. Tukey, Technometrics 16,
/// 1974: a gap stops pulling at 2 sd of the scans' noise, since what was worn away says nothing; a penetration resists
/// up to 4, since rock does not go into rock but a stuck grain may seem to), and the outer surface of both parts
/// against the stage from before. Both sides of a joint are measured from both. The covariance is a cluster sandwich
/// over patches (K.-Y. Liang, S. L. Zeger, Biometrika 73, 1986), and holds how far apart the faces seem to lie that
/// wear and noise leave open.
///
/// A width is signed, positive where the gap is open, along the local fracture normal, averaged over a spot a few
/// millimetres wide, inside the rim that both parts share; what the scans' noise adds to the median and to the 95 %
/// width is taken off. Gap fill is the signed volume over the whole outline, the flanks of a worn rim with it where a
/// stage from before tells these from a hollow of the outer surface. A
/// stage from before may show a joint that stood open in the rock: the faces then close on one another, and
/// `closing_mm` tells how far.
///
/// Bone that lies on a face, as after preparing it, has a least width of its own: of spots of bone alone, since bone
/// may stand proud of the rock around it. The least of many noisy widths lies lower than any does truly; by how much is
/// reckoned with as much noise again, and taken off.
///
/// Intervals hold the scans' noise and the place. Slow warp of a scan as long as the joint is in neither: a joint told
/// from warped scans is surer than it should be. Nobody should have worked along the joint's edge since the break: gap
/// fill then ends where that work begins.
///
/// Without a stage from before, only what touches tells how far apart two faces stood. Where they were worn nearly all
/// over, by half a millimetre and more, they fit best where they have fallen into one another. Faces that would press
/// over more of the joint than grains and noise explain are held apart until only a few spots meet; the piece is then
/// said to be `loose`, and why. A simulated slab worn by 0.5 to 2 mm but for three spots came to lie 0.2 mm too high
/// and 1 mm aside, where its faces by themselves drew it 2.2 mm too deep. Where no spot was spared no interval tells.
///
/// Two faces that do not belong together are refused, with the figure that says so; a joint too small or too smooth to
/// hold the piece is measured, and said to be `loose`. All of it is advice: whoever holds the two parts feels more.

#ifndef RLV_REJOIN_H
#define RLV_REJOIN_H

#include "change.h"
#include "error.h"
#include "mesh.h"
#include "pose.h"

#include <stdbool.h>
#include <stdint.h>

/// What is measured. Meshes are mended, in millimetres, of exact scale.
typedef struct rlv_rejoin_input
{
    const rlv_mesh* block;
    const rlv_mesh* piece;
    const rlv_mesh* before;         ///< the stage from before the two were apart; NULL where there is none
    const rlv_mesh* after;          ///< a stage at which the piece is back, in the block's frame; NULL: there is none
    const uint8_t* before_left_out; ///< one a triangle of `before`: 1 where it is no part of either; may be NULL
    const uint8_t* block_face;      ///< one a triangle: 1 on the fracture face, where a person outlined it; may be NULL
    const uint8_t* piece_face;      ///< the same of the piece
    const uint8_t* block_bone;      ///< one a triangle: 1 where it is bone; may be NULL: not known
    const uint8_t* piece_bone;      ///< the same of the piece
    const rlv_pose* block_in_before; ///< carries the block into the frame of `before`, about; NULL: it is found
    const rlv_pose* piece_in_before; ///< the same for the piece
    const rlv_pose* start; ///< carries the piece into the block's frame, to within about 2 mm: no search; may be NULL
    uint64_t seed;         ///< of the sampling; the same seed gives the same bytes
    rlv_progress progress;
} rlv_rejoin_input;

/// Whose bone.
typedef enum rlv_rejoin_bone
{
    RLV_REJOIN_BONE_BLOCK = 1,
    RLV_REJOIN_BONE_PIECE = 2,
} rlv_rejoin_bone;

/// Whether bone on the joint is the first to touch.
typedef enum rlv_rejoin_bone_touch
{
    RLV_REJOIN_BONE_UNKNOWN, ///< none is marked on either part
    RLV_REJOIN_BONE_NONE,    ///< none of what is marked lies on the joint
    RLV_REJOIN_BONE_CLEAR,   ///< it stands clear of the other part, and rock is nearer
    RLV_REJOIN_BONE_MAY,     ///< rock is nearer, but bone is not told apart from touching
    RLV_REJOIN_BONE_FIRST,   ///< where the two stand nearest there is bone
} rlv_rejoin_bone_touch;

/// The gap between the two faces, in one place of the piece. 95 % intervals hold the scans' noise and the place.
typedef struct rlv_rejoin_gap
{
    rlv_interval median_mm, p95_mm, max_mm; ///< of the widths, by area
    rlv_interval volume_mm3;                ///< gap fill: signed, over the whole outline
    double area_mm2;                        ///< what both faces share: where either has the other across from it
    double open_mm2;                        ///< of that, wider than what touches
    double wedge_deg;                       ///< how the gap opens, as a wedge:
    rlv_vec3 wedge_towards;                 ///< towards this direction along the joint, of length one
    unsigned bone;        ///< whose bone stands nearest to the other part, rlv_rejoin_bone, or'ed; 0: none lies on it
    rlv_interval bone_mm; ///< the least width over bone; NaN where none lies on the joint, or none is known
    rlv_vec3 bone_at_mm;  ///< where that is
    double bone_rim_mm;   ///< how far from the joint's rim
    double bone_mm2;      ///< bone on both faces, within the rim
} rlv_rejoin_gap;

/// A place where the two faces touch: they stand nearer than `touching_mm`.
typedef struct rlv_rejoin_contact
{
    rlv_vec3 at_mm;
    double pressed_mm; ///< how far the one would lie in the other, beyond what noise explains; 0: they touch
    double area_mm2;   ///< of the touching spot
    unsigned bone;     ///< rlv_rejoin_bone, or'ed: whose bone lies in it
} rlv_rejoin_contact;

typedef enum rlv_rejoin_verdict
{
    RLV_REJOIN_FITS,
    RLV_REJOIN_LOOSE, ///< it goes there, but the joint hardly holds it: see the covariance
    RLV_REJOIN_NONE,  ///< the two faces do not belong together, as far as can be told
} rlv_rejoin_verdict;

#define RLV_REJOIN_CONTACTS 12 ///< most that are told

/// How a piece goes back. Places and directions are in the block's frame.
typedef struct rlv_rejoin
{
    rlv_rejoin_verdict verdict;
    char reason[256]; ///< in words, with the figures, where the verdict is not RLV_REJOIN_FITS
    double fit;       ///< how much of one face's relief the other repeats, 0 to 1: what the verdict stands on

    bool found_known;    ///< there was a stage from before, and both parts lie in it
    rlv_pose found;      ///< carries the piece into the block's frame, to where it was found, with covariance
    rlv_pose closed;     ///< and to where the gap is closed
    rlv_vec3 closing_mm; ///< how the joint's middle moves from the one to the other
    rlv_interval closing_length_mm;
    rlv_vec3 closing_axis; ///< and what the piece turns about on the way, of length one
    rlv_interval closing_turn_deg;
    bool stood_open;      ///< the joint stood open in the rock: the faces agree on a place that is not the one found
    double held_apart_mm; ///< above 0: the faces were worn nearly all over, and fit so much deeper than rock lets them

    rlv_vec3 joint_mm;     ///< middle of the joint
    rlv_vec3 joint_normal; ///< of the block's face on the mean, out of the block: the way that the piece comes off
    double joint_mm2;      ///< area of the outline: the block's whole face, all that looks across at the piece
    double across_mm;      ///< least width of the joint over its plane
    double slope;          ///< root mean square slope of the block's face over it
    double relief_mm;      ///< sd of its relief over stretches of 16 mm, about their own planes
    double noise_mm;       ///< sd of a width where the two faces are one
    double partner[2];     ///< share of the face of block and piece that has a partner; NaN where no face was outlined
    double touching_mm;    ///< spots that stand nearer than this touch, as far as noise lets one tell
    double touching;       ///< share of what both faces share that touches
    double worn;           ///< share that stands wider: worn or broken away

    rlv_rejoin_gap gap_before;               ///< as found; zeros where that is not known
    rlv_rejoin_gap gap_after;                ///< closed
    float *block_before_mm, *block_after_mm; ///< one a vertex of the block: the gap's width there; NaN off the joint.
    float *piece_before_mm, *piece_after_mm; ///< one a vertex of the piece. `before` is NULL where it is not known

    size_t contact_count;                            ///< what touches first
    rlv_rejoin_contact contact[RLV_REJOIN_CONTACTS]; ///< hardest first
    rlv_rejoin_bone_touch bone_touch;
    double relieve_mm3; ///< that would have to go for the piece to lie there without pressing

    size_t step_count;                  ///< places along the joint's edge where both outer surfaces are there
    double step_median_mm, step_p95_mm; ///< how far the outer surface steps there, without sign
    double step_max_mm;
    rlv_vec3 step_max_at_mm;

    bool approach_known;   ///< there is a direction in which the piece can come in without collision
    rlv_vec3 approach;     ///< the freest one: the piece moves this way
    double approach_deg;   ///< half the angle of the widest cone about it that is free
    double approach_share; ///< share of all directions that are free

    bool back_known;                      ///< the piece was found on the stage at which it is back
    rlv_pose back;                        ///< carries it into the block's frame, to where it lies there
    rlv_rejoin_gap gap_back;              ///< within the same outlines as the others
    float *block_back_mm, *piece_back_mm; ///< widths there, likewise; NULL where it is not known
} rlv_rejoin;

/// What is measured with.
#define RLV_REJOIN_REACH_MM 6.0 ///< how far apart two faces are looked for
#define RLV_REJOIN_SPOT_MM 2.5  ///< widths are averaged over a Gaussian of this sd
/// The sd of how far apart two closed faces seem to lie for wear and grains alone: 57 simulated breaks without a stage
/// from before, worn over up to 60 % of either face, erred by 0.059 mm along the normal (root mean square), of which
/// the scans' noise makes 0.026.
#define RLV_REJOIN_OFFSET_MM 0.053

/// Faces that repeat less of each other's relief do not belong together. Of 30 simulated breaks, the most worn of 40
/// among them, the least was 0.56; faces of another break, tried from any attitude on eleven blocks, reached 0.
#define RLV_REJOIN_LEAST_FIT 0.3
/// A face with less relief over 16 mm is too smooth to refuse: twice the noise of a spot in a scan of a bench.
#define RLV_REJOIN_LEAST_RELIEF_MM 0.15
/// Beyond these sds a joint is loose: twice as much is what a hand would notice.
#define RLV_REJOIN_LOOSE_MM 0.25
#define RLV_REJOIN_LOOSE_DEG 0.5

/// Measure how the piece goes back. RLV_IMPOSSIBLE where it does not fit (verdict RLV_REJOIN_NONE; the rest of `rejoin`
/// is of the best that was found), or where no place can be tried. A piece that is not found where it is back is no
/// failure. Free with rlv_rejoin_free, which is safe after a
/// failure.
rlv_status rlv_rejoin_measure(rlv_rejoin* rejoin, const rlv_rejoin_input* input, rlv_error* error);
void rlv_rejoin_free(rlv_rejoin* rejoin);

/// Tell the motion to another closed place of the piece, as where several pieces were solved together
/// (rejoin_several.h): `closed` and all of `closing`. The rest stays as it was measured.
void rlv_rejoin_close_at(rlv_rejoin* rejoin, const rlv_pose* closed);

/// Only the gap, with the piece in a place that is known: `place` carries it into the block's frame. Of the input the
/// two parts and their outlined faces are looked at; and, where `block_in_before` is given, the stage from before, as
/// on which no face lies. Intervals hold the noise of a bench scan and the covariance of
/// `place`. RLV_IMPOSSIBLE where the two do not face one another there.
rlv_status rlv_rejoin_gap_at(rlv_rejoin_gap* gap, const rlv_rejoin_input* input, const rlv_pose* place,
                             rlv_error* error);

#endif
