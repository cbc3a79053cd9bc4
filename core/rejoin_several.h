/// Several pieces: a tree of pieces put back one after the other and then together, so that errors do not pile up.
///
/// Each piece is tried on the bodies that are placed already (rejoin.h): first on the one that a person says it came
/// off; then, or where nobody says, on all of them, and the joint is kept that fits over the greatest area. What does
/// not fit anywhere is told, not guessed, and so is what would come to lie where another piece lies. When all are
/// placed, pairs whose faces have come to lie across from each other are joints too, and are measured from there.
///
/// Then all poses are solved together from the joints' poses with their covariances, as the stages of a block are
/// (stages.h): a joint is an edge. In a tree nothing changes by it. A joint that closes a ring adds what the others
/// lack, and tells how far the pieces miss each other there: what a ring should miss by is known from its joints, and
/// one that misses by far more holds a piece in the wrong place, or one that is no longer the shape it broke in (mended
/// out of place, bent, or scanned in another scale).
///
/// Joints are closed by their own faces, which no other joint looks at: their errors are independent. With a stage from
/// before, the outer surface of the body that is joined to several is in several joints: covariances are then bounds,
/// never below what the surest chain alone tells (stages.h), and a ring's p is told too high rather than too low.
/// Joints that close a ring are always measured by their faces alone.
///
/// Simulated, with each part hung on the one before it round the ring (tests/core/rejoin_several_long.c; 60 breaks,
/// then 24 others): by their faces alone the last part lies 0.20 mm off in the median one after the other, and 0.11 mm
/// solved together. Two parts that are neighbours do not always repeat enough of each other's relief to be counted: two
/// of 84 rings were missed so. Where a few parts only meet in an edge that is much broken, they may be told to lie side
/// by side without belonging together.

#ifndef RLV_REJOIN_SEVERAL_H
#define RLV_REJOIN_SEVERAL_H

#include "rejoin.h"

#define RLV_SEVERAL_ANY ((size_t)-1)

/// How many times the told variance a joint has that is closed by its faces alone: of 207 such joints in 60 simulated
/// breaks in three and four parts, 91.1 % of 621 coordinates lay within their 95 % intervals, as of a normal whose
/// variance is (1.960 / 1.701)^2 times as large. Other breaks then check it (rejoin_several_long.c).
#define RLV_SEVERAL_SCATTER 1.33

/// A ring's misses are rarer than this only where something is wrong.
#define RLV_SEVERAL_WRONG_P 0.001
/// A body that has more of its surface in or on another than this lies where the other lies. Neighbours that broke
/// apart share the line of their edges: some hundredths.
#define RLV_SEVERAL_OVERLAP 0.1

/// A piece. Meshes are mended, in millimetres, of exact scale. Bodies are numbered: 0 is the block, 1 the first piece.
typedef struct rlv_several_piece
{
    const rlv_mesh* mesh;
    const uint8_t* face;   ///< one a triangle: 1 on its fracture faces, where a person outlined them; may be NULL
    const uint8_t* bone;   ///< one a triangle: 1 where it is bone; may be NULL: not known
    const char* name;      ///< for messages; NULL: its number
    size_t parent;         ///< the body that it came off; RLV_SEVERAL_ANY: nobody says
    const rlv_pose* start; ///< carries it into the block's frame, to within about 2 mm: no search; may be NULL
    const rlv_mesh* block; ///< the block at the stage at which this piece is off, in the same frame; NULL: the
                           ///< input's
    const uint8_t *block_face, *block_bone; ///< of that; may be NULL
    const rlv_mesh* before;                 ///< the stage from before it came off; NULL where there is none
    const rlv_mesh* after;                  ///< a stage at which it is back, in the block's frame; NULL: there is none
} rlv_several_piece;

typedef struct rlv_several_input
{
    const rlv_mesh* block;
    const rlv_pose* block_in_before; ///< carries the block's frame into that of every `before`; NULL: it is found
    size_t piece_count;
    const rlv_several_piece* piece;
    uint64_t seed; ///< of the sampling; the same seed gives the same bytes
    rlv_progress progress;
} rlv_several_input;

/// Two bodies that share a face.
typedef struct rlv_several_joint
{
    size_t into, from; ///< bodies
    bool carries;      ///< `from` went on by it
    bool counted;      ///< it is in the solution
    bool rejected;     ///< it was, and contradicts the others
    bool suspect;      ///< one of several of which one must be wrong, and none can be told
    rlv_rejoin of; ///< of the two alone: `into` is the block, as it lay when the next piece went on (body.in_turn), in
                   ///< the block's frame. RLV_REJOIN_NONE: the two lie side by side, and their faces do not belong
                   ///< together
    bool together_known;     ///< it is counted, and the two face one another there:
    rlv_rejoin_gap together; ///< the gap with all bodies where they were solved together
} rlv_several_joint;

/// A ring of bodies, and how far they miss each other at one of its joints, the least sure.
typedef struct rlv_several_ring
{
    size_t joint;
    size_t body_count;
    const size_t* body;       ///< in order, from that joint's `from` round to its `into`; in rlv_several's memory
    double miss_mm, miss_deg; ///< at the joint's middle
    double expected_mm, expected_deg; ///< root mean square of what the joints' covariances let one expect
    double p;                         ///< of as much or more
} rlv_several_ring;

typedef struct rlv_several_body
{
    bool placed;
    size_t joint;     ///< that it went on by; of a body that is placed, but for the block
    rlv_pose in_turn; ///< carries it into the block's frame, by that joint alone
    rlv_pose pose;    ///< all solved together, with covariance at the middle of its joint; the block's is the identity
    rlv_rejoin refused; ///< of a piece that is not placed: the best that was tried, as rlv_rejoin_measure leaves it
    char why[400];      ///< in words
} rlv_several_body;

typedef struct rlv_several
{
    size_t body_count, joint_count, ring_count;
    rlv_several_body* body;   ///< the block, then the pieces
    rlv_several_joint* joint; ///< those that carry, in the order in which pieces went on, then the others
    rlv_several_ring* ring;
    size_t* ring_body;  ///< what the rings' `body` point into
    bool contradictory; ///< rings do not close, and it cannot be told which joint is wrong: see `suspect`
    bool inflated;      ///< covariances were widened by what the rings miss beyond what was expected
} rlv_several;

/// Put several pieces back. RLV_IMPOSSIBLE where one could not be placed: the error names it, and all that is known is
/// told. RLV_BAD_INPUT where there is no piece, one has no triangle or is given twice, or parents are none or come
/// round to themselves. Free with rlv_several_free, which is safe after a failure.
rlv_status rlv_rejoin_several(rlv_several* several, const rlv_several_input* input, rlv_error* error);
void rlv_several_free(rlv_several* several);

#endif
