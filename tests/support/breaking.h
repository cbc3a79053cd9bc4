/// A block that breaks: what was there, the block that is left and the piece that came off, as three scans in three
/// places, and the truth between them.
///
/// The face of a break is a fractal height over a plane, the same for both parts. Each part's own face is then worn:
/// in patches over the face, along its rim, in hollows where a chip was lost; and grains of something else stick to
/// it. The outer surface of either part may have been carved since. So the volume of the gap between the two faces,
/// in the place where the rock was whole, is an integral over a plane.

#ifndef RLV_TESTS_BREAKING_H
#define RLV_TESTS_BREAKING_H

#include "rock.h"
#include "scan.h"

/// What a break is like. Lengths in mm.
typedef struct breaking_plan
{
    uint64_t seed;
    rlv_vec3 half_axes_mm;      ///< of the rock
    double distance_mm;         ///< of the break's plane from the rock's centre
    double slope;               ///< root mean square slope of the face
    double worn_mm;             ///< greatest wear of a patch of either face
    double worn_share;          ///< about the share of a face that is worn at all
    double rim_mm, rim_wide_mm; ///< wear along the rim of either face, and how far in it reaches
    int hollows;                ///< chips that were lost from the faces
    double grains;              ///< that stick to both faces, for 1,000 mm2
    double kept;                ///< share of the outer surface of each part that is still there
    double open_mm;             ///< the two faces stood apart in the rock by so much, and a wedge of as much again
    bool foreign;               ///< the piece has a face of its own, from another break of the same outline
    size_t triangles[3];        ///< of the mesh from before, the block and the piece
    scan_noise scan;            ///< of each; their seeds follow from the plan's
} breaking_plan;

typedef struct breaking
{
    rlv_mesh before, block, piece;
    rlv_pose as_found;   ///< carries the piece into the block's frame, to where it was in the rock
    rlv_pose closed;     ///< and to where the two faces were one
    rlv_pose from_block; ///< carries the block into the frame of `before`
    double gap_mm3;      ///< between the two faces inside the rock, where they were one
    double plan_mm2;     ///< area of the break over its plane
    double across_mm;    ///< least width of the break over its plane
    rlv_mesh true_block; ///< without noise, where the scans lie; only where asked for
    rlv_mesh true_piece;
} breaking;

#define BREAKING_PARTS 4 ///< most

/// A block in three or four parts: the first is the block, the others are pieces, and all are a ring. Of three, a
/// second break cuts the piece in two; of four, two breaks cross, and of two parts that are not neighbours only edges
/// meet.
typedef struct breaking_parts
{
    size_t count;
    rlv_mesh part[BREAKING_PARTS];
    rlv_mesh before;
    rlv_pose in_block[BREAKING_PARTS]; ///< carries a part into the block's frame, to where the faces were one
    rlv_pose from_block;               ///< carries the block into the frame of `before`
} breaking_parts;

/// Break a plan's rock in 3 or 4 parts, each of which is worn by itself; nothing is carved. The face of the part
/// `foreign` in the second break is from another break; `count` or more: that of none. Free with breaking_parts_free.
breaking_parts breaking_make_parts(const breaking_plan* plan, size_t count, size_t foreign);
void breaking_parts_free(breaking_parts* made);

/// A random break: faces 50 to 150 mm across of slope 0.2 to 0.6, rim worn by up to 2 mm, 40 to 100 % of the outer
/// surface kept, noise of 0.1 mm over 2 mm, meshes of unequal size of about `triangles`.
breaking_plan breaking_draw(uint64_t seed, size_t triangles);

/// Make what a plan says. Free with breaking_free.
breaking breaking_make(const breaking_plan* plan, bool with_truth);
void breaking_free(breaking* made);

#endif
